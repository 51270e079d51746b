//! The class: what it drew as a whole, what it missed most, and how to teach to that.
//!
//! `page` shows it, `slip` what students did about one rule, `practice` makes a sheet that gives
//! everything but what the rule is about.

mod page;
mod practice;
mod slip;
#[cfg(test)]
mod tests;

use axum::Router;
use axum::extract::{Query, State};
use axum::response::Response;
use axum::routing::{get, post};
use figure::FontEmbedding;
use serde::Deserialize;

use super::super::words::class as words;
use super::marking::Opened;
use super::marking::work::Work;
use crate::web::desk::Desk;
use crate::web::refusal::Refusal;
use crate::web::shell::Room;
use crate::web::{download, off_thread};

pub(crate) const ROOM: Room = Room { path: "/class", title: words::TITLE };

pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .route("/class", get(page::page))
        .route("/class/picture.svg", get(picture))
        .route("/class/landmarks.svg", get(landmarks))
        .route("/class/rules.csv", get(rules))
        .route("/class/practice", post(practice::make))
}

/// A picture of the class: which test, form and page.
#[derive(Debug, Deserialize)]
struct OfPicture {
    test: String,
    #[serde(default)]
    form: usize,
    #[serde(default)]
    page: u8,
}

/// Does `make` with a test's work, away from the threads that answer; gives its file's name, too.
async fn made(
    desk: Desk,
    test: String,
    make: impl FnOnce(&Work) -> Result<Vec<u8>, Refusal> + Send + 'static,
) -> Result<(String, Vec<u8>), Refusal> {
    off_thread(move || {
        let Opened { file, work, .. } = Opened::of(&desk, &test)?;
        let bytes = make(&work)?;
        Ok((file.trim_end_matches(".toml").to_owned(), bytes))
    })
    .await
}

async fn picture(
    State(desk): State<Desk>,
    Query(of): Query<OfPicture>,
) -> Result<Response, Refusal> {
    let (stem, svg) = made(desk, of.test, move |work| {
        let print = work.main_print().ok_or_else(|| Refusal::of_all(words::EMPTY))?;
        let figure = work.with_class(print, |class| marking::class_figure(class, of.form, of.page));
        let figure = figure?.ok_or_else(Refusal::nothing_there)?;
        Ok(figure.svg(FontEmbedding::Embedded).into_bytes())
    })
    .await?;
    Ok(download(&format!("{stem}-class.svg"), "image/svg+xml", svg))
}

/// The distributions of one panel, whose number is `page`.
async fn landmarks(
    State(desk): State<Desk>,
    Query(of): Query<OfPicture>,
) -> Result<Response, Refusal> {
    let (stem, svg) = made(desk, of.test, move |work| {
        let print = work.main_print().ok_or_else(|| Refusal::of_all(words::EMPTY))?;
        let statistics = work.statistics()?.ok_or_else(Refusal::nothing_there)?;
        let figures =
            work.with_rubrics(print, |rubrics| marking::landmark_figures(statistics, &rubrics[0]))?;
        let (_, figure) =
            figures.into_iter().nth(usize::from(of.page)).ok_or_else(Refusal::nothing_there)?;
        Ok(figure.svg(FontEmbedding::Embedded).into_bytes())
    })
    .await?;
    Ok(download(&format!("{stem}-landmarks.svg"), "image/svg+xml", svg))
}

async fn rules(State(desk): State<Desk>, Query(of): Query<OfPicture>) -> Result<Response, Refusal> {
    let (stem, csv) = made(desk, of.test, |work| {
        let statistics = work.statistics()?.ok_or_else(|| Refusal::of_all(words::EMPTY))?;
        Ok(page::rules_csv(work, statistics))
    })
    .await?;
    Ok(download(&format!("{stem}-rules.csv"), "text/csv; charset=utf-8", csv))
}
