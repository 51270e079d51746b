//! The heart: change it, see and hear it, keep it.
//!
//! The page's whole state is its address: [`view`] reads it, `page` shows it, and every link to a
//! file repeats it.

mod beat;
mod compare;
mod controls;
mod into_sheet;
mod page;
#[cfg(test)]
mod tests;
pub(crate) mod view;

use axum::Router;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use figure::FontEmbedding;

use crate::simulate;
use crate::web::desk::Desk;
use crate::web::refusal::Refusal;
use crate::web::shell::Room;
use crate::web::words::heart as words;
use crate::web::{Pairs, SCRIPT, asset, download, off_thread};
use view::{Drawn, View};

pub(crate) const ROOM: Room = Room { path: "/heart", title: words::TITLE };

/// Dots per inch of a downloaded PNG: a page-wide figure fills a projector of 4K.
const PNG_DPI: f64 = 300.0;

pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .route("/heart", get(whole_page))
        .route("/heart/view", get(parts))
        .route("/heart/figure.svg", get(svg))
        .route("/heart/figure.png", get(png))
        .route("/heart/figure.pdf", get(pdf))
        .route("/heart/cycle.json", get(json))
        .route("/heart/traces.csv", get(traces))
        .route("/heart/marks.csv", get(marks))
        .route("/heart/sounds.wav", get(sounds))
        .route("/heart/sheet", post(into_sheet::make))
        .route(
            "/heart-sweep.js",
            get(|| asset(SCRIPT, include_bytes!("../../assets/heart-sweep.js"))),
        )
        .route(
            "/heart-schematic.js",
            get(|| asset(SCRIPT, include_bytes!("../../assets/heart-schematic.js"))),
        )
        .route("/heart.js", get(|| asset(SCRIPT, include_bytes!("../../assets/heart.js"))))
        .route("/heart.css", get(|| asset("text/css", include_bytes!("../../assets/heart.css"))))
}

async fn whole_page(State(desk): State<Desk>, Query(pairs): Query<Pairs>) -> Response {
    match off_thread(move || drawn(&pairs, false)).await {
        Ok((view, drawn)) => page::whole(&desk, &view, Ok(&drawn)).into_response(),
        Err(refusal) => {
            let body = page::whole(&desk, &View::default(), Err(&refusal));
            (StatusCode::BAD_REQUEST, body).into_response()
        }
    }
}

/// The parts of the page that a moved slider changes.
async fn parts(Query(pairs): Query<Pairs>) -> Result<impl IntoResponse, Refusal> {
    let (view, drawn) = off_thread(move || drawn(&pairs, false)).await?;
    Ok(page::parts(&view, &drawn))
}

async fn svg(Query(pairs): Query<Pairs>) -> Result<Response, Refusal> {
    file("svg", "image/svg+xml", pairs, |drawn| {
        Ok(drawn.figure.svg(FontEmbedding::Embedded).into_bytes())
    })
    .await
}

async fn png(Query(pairs): Query<Pairs>) -> Result<Response, Refusal> {
    file("png", "image/png", pairs, |drawn| Ok(drawn.figure.png(PNG_DPI)?)).await
}

async fn pdf(Query(pairs): Query<Pairs>) -> Result<Response, Refusal> {
    file("pdf", "application/pdf", pairs, |drawn| Ok(drawn.figure.pdf()?)).await
}

async fn json(Query(pairs): Query<Pairs>) -> Result<Response, Refusal> {
    file("json", "application/json", pairs, |drawn| Ok(drawn.cycle.to_json().into_bytes())).await
}

async fn traces(Query(pairs): Query<Pairs>) -> Result<Response, Refusal> {
    file("csv", "text/csv; charset=utf-8", pairs, |drawn| {
        Ok(simulate::traces_csv(&drawn.cycle)?.into_bytes())
    })
    .await
}

async fn marks(Query(pairs): Query<Pairs>) -> Result<Response, Refusal> {
    file("marks.csv", "text/csv; charset=utf-8", pairs, |drawn| {
        Ok(drawn.cycle.marks_csv().into_bytes())
    })
    .await
}

async fn sounds(Query(pairs): Query<Pairs>) -> Result<Response, Refusal> {
    file("wav", "audio/wav", pairs, |drawn| Ok(simulate::sound(&drawn.cycle))).await
}

/// One view as a file to keep, named after its condition.
async fn file(
    extension: &'static str,
    kind: &'static str,
    pairs: Pairs,
    write: impl FnOnce(&Drawn) -> Result<Vec<u8>, Refusal> + Send + 'static,
) -> Result<Response, Refusal> {
    let (name, bytes) = off_thread(move || {
        let (view, drawn) = drawn(&pairs, true)?;
        Ok((format!("{}.{extension}", view.condition.name), write(&drawn)?))
    })
    .await?;
    Ok(download(&name, kind, bytes))
}

fn drawn(pairs: &[(String, String)], named: bool) -> Result<(View, Drawn), Refusal> {
    let view = View::read(pairs)?;
    let drawn = view.draw(named)?;
    Ok((view, drawn))
}
