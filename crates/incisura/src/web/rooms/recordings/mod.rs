//! Recordings: open one from the lab, see its beats, put landmarks right, and lay the average beat
//! beside a computed heart and the class's rules.
//!
//! The page's whole state is its address (`choices`). `shelf` keeps what was opened and found,
//! `envelope` makes hours of it quick to draw, `strip` and `marks` draw, `correct` keeps what a
//! person puts right, `results` tells what follows, `files` hands it out, `upload` brings files in.

mod choices;
mod correct;
mod envelope;
mod files;
mod list;
mod marks;
mod overview;
mod page;
mod results;
mod shelf;
mod signals;
mod stretches;
mod strip;
#[cfg(test)]
mod tests;
mod upload;

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post, put};
use maud::{Markup, html};

use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::shell::Room;
use crate::web::words::recordings as words;
use crate::web::{Pairs, SCRIPT, asset, off_thread};
use choices::{Choices, View};
pub(crate) use shelf::Shelf;
use shelf::{Bench, Stage};

pub(crate) const ROOM: Room = Room { path: "/recordings", title: words::TITLE };

/// A page waits so long for what is found quickly.
const PATIENCE: Duration = Duration::from_millis(1_200);

pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .route("/recordings", get(whole_page))
        .route("/recordings/file", put(upload::put))
        .route("/recordings/strip", get(strip_again))
        .route("/recordings/results", get(results_again))
        .route("/recordings/correct", post(correct::post))
        .route("/recordings/undo", post(correct::undo))
        .merge(files::routes())
        .route(
            "/recordings.js",
            get(|| asset(SCRIPT, include_bytes!("../../assets/recordings.js"))),
        )
        .route(
            "/recordings/strip.js",
            get(|| asset(SCRIPT, include_bytes!("../../assets/recordings/strip.js"))),
        )
        .route(
            "/recordings.css",
            get(|| asset("text/css", include_bytes!("../../assets/recordings.css"))),
        )
}

async fn whole_page(State(desk): State<Desk>, Query(pairs): Query<Pairs>) -> Response {
    let asked = desk.clone();
    let made = off_thread(move || {
        if !Choices::are_in(&pairs) {
            return Ok(page::all(&asked, None));
        }
        let choices = Choices::read(&pairs)?;
        let place = asked.recordings().place(&asked, &choices)?;
        let stage = place.at_the_end(PATIENCE);
        page::one(&asked, &choices, &pairs, &place.job(), &stage)
    });
    match made.await {
        Ok(page) => page.into_response(),
        Err(refusal) => (refusal.status(), page::all(&desk, Some(&refusal))).into_response(),
    }
}

/// The recording that `choices` name, as soon as it is open.
async fn bench(desk: &Desk, choices: &Choices) -> Result<Arc<Bench>, Refusal> {
    let (desk, choices) = (desk.clone(), choices.clone());
    off_thread(move || match desk.recordings().place(&desk, &choices)?.when_open(PATIENCE) {
        Stage::Open(bench) | Stage::Found(bench) => Ok(bench),
        Stage::Opening => Err(Refusal::of_all(words::STILL)),
        Stage::Failed(fault) => Err(Refusal::of_all(fault.message)),
    })
    .await
}

async fn strip_again(
    State(desk): State<Desk>,
    Query(pairs): Query<Pairs>,
) -> Result<Markup, Refusal> {
    let (choices, view) = (Choices::read(&pairs)?, View::read(&pairs)?);
    let bench = bench(&desk, &choices).await?;
    off_thread(move || {
        let whole = pairs.iter().any(|(name, _)| name == "overview");
        let folder = desk.folder();
        let strip = strip_parts(&bench, &folder, view.clone())?;
        let now = bench.now(&folder)?;
        let view = view.within(bench.duration_s);
        Ok(html! {
            (strip)
            @if whole { div data-slot="overview" { (overview::overview(&bench, now.as_ref(), &view)?) } }
        })
    })
    .await
}

/// What is drawn anew when the strip moves or a landmark does.
fn strip_parts(bench: &Bench, folder: &Folder, view: View) -> Result<Markup, Refusal> {
    let now = bench.now(folder)?;
    let view = view.within(bench.duration_s);
    Ok(html! {
        div data-slot="strip" { (strip::strip(bench, now.as_ref(), &view)?) }
        div data-slot="corrections" { @if let Some(now) = &now { (correct::list(now, bench)) } }
    })
}

async fn results_again(
    State(desk): State<Desk>,
    Query(pairs): Query<Pairs>,
) -> Result<Markup, Refusal> {
    let choices = Choices::read(&pairs)?;
    let bench = bench(&desk, &choices).await?;
    off_thread(move || results::parts(&bench, &desk.folder(), &pairs)).await
}
