//! The board: the build of a convention's figure, step by step, for a projector.
//!
//! The page's whole state is its address: convention, rate, step, and how the board is shown.

mod build;
mod page;
#[cfg(test)]
mod tests;

use std::sync::Arc;

use axum::Router;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use figure::FontEmbedding;

use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::shell::Room;
use crate::web::words::board as words;
use crate::web::{Pairs, SCRIPT, asset, off_thread};
use build::Build;

pub(crate) const ROOM: Room = Room { path: "/board", title: words::TITLE };

/// The slowest and the fastest heart that there is, in beats a minute.
fn rates() -> [f64; 2] {
    let rate = heart::PARAMETERS.iter().find(|parameter| parameter.name == "rate_bpm");
    rate.map_or([USUAL_RATE; 2], |rate| [rate.low, rate.high])
}

/// The rate at which a build is drawn where none is asked for.
const USUAL_RATE: f64 = 75.0;

pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .route("/board", get(whole_page))
        .route("/board/step.svg", get(picture))
        .route("/board.js", get(|| asset(SCRIPT, include_bytes!("../../assets/board.js"))))
        .route("/board.css", get(|| asset("text/css", include_bytes!("../../assets/board.css"))))
}

/// What an address asks the board to show.
#[derive(Clone, Debug)]
struct Asked {
    convention: String,
    rate_bpm: f64,
    /// The step as it is written there, and the rule whose step is wanted.
    step: Option<String>,
    rule: Option<String>,
}

impl Asked {
    /// Reads the names and values of an address; none where no convention is named.
    fn read(pairs: &[(String, String)]) -> Result<Option<Self>, Refusal> {
        let value = |name: &str| {
            let found = pairs.iter().find(|(own, _)| own == name).map(|(_, value)| value.trim());
            found.filter(|value| !value.is_empty()).map(str::to_owned)
        };
        let Some(convention) = value("convention") else { return Ok(None) };
        let rate_bpm = match value("rate") {
            None => USUAL_RATE,
            Some(text) => text.parse().map_err(|_| Refusal::of("rate", words::no_rate(&text)))?,
        };
        Ok(Some(Self { convention, rate_bpm, step: value("step"), rule: value("rule") }))
    }

    fn build(&self, folder: &Folder) -> Result<Arc<Build>, Refusal> {
        Build::of(folder, &self.convention, self.rate_bpm)
    }
}

async fn whole_page(State(desk): State<Desk>, Query(pairs): Query<Pairs>) -> Response {
    let folder = desk.folder();
    let asked = match Asked::read(&pairs) {
        Ok(None) => return page::entry(&desk, None, None).into_response(),
        Ok(Some(asked)) => asked,
        Err(refusal) => {
            let body = page::entry(&desk, None, Some(&refusal));
            return (StatusCode::BAD_REQUEST, body).into_response();
        }
    };
    let wanted = asked.clone();
    let on = |name: &str| pairs.iter().any(|(own, value)| own == name && value == "on");
    // A question that is still open must not show its answer while the page loads.
    let veiled = on("ask") && !on("revealed");
    let drawn = off_thread(move || {
        let build = wanted.build(&folder)?;
        let (number, note) = build.place(wanted.step.as_deref(), wanted.rule.as_deref());
        let figure = build.figure(number)?;
        Ok((build, number, note, figure))
    });
    match drawn.await {
        Ok((build, number, note, figure)) => {
            page::stage(&desk, &asked, &build, number, &note, &figure, veiled).into_response()
        }
        Err(refusal) => {
            let body = page::entry(&desk, Some(&asked), Some(&refusal));
            (refusal.status(), body).into_response()
        }
    }
}

/// `GET /board/step.svg?convention=…&rate=…&step=N`
async fn picture(
    State(desk): State<Desk>,
    Query(pairs): Query<Pairs>,
) -> Result<impl IntoResponse, Refusal> {
    let folder = desk.folder();
    let asked = Asked::read(&pairs)?.ok_or_else(Refusal::nothing_there)?;
    let svg = off_thread(move || {
        let build = asked.build(&folder)?;
        let number = asked.step.as_deref().and_then(|step| step.parse().ok());
        let number = number.filter(|number| (1..=build.steps.len()).contains(number));
        let figure = build.figure(number.ok_or_else(Refusal::nothing_there)?)?;
        Ok(figure.svg(FontEmbedding::Referenced))
    })
    .await?;
    Ok(([(header::CONTENT_TYPE, "image/svg+xml")], svg))
}
