//! The local app: pages about a heart, served to this computer alone.
//!
//! [`app`] is the router, so that tests can ask it without a port. A page's whole state is
//! its address: [`view`] reads it, `page` shows it, and every export link repeats it.

mod browser;
mod guard;
mod page;
mod refusal;
mod serve;
#[cfg(test)]
mod tests;
mod view;

use axum::Router;
use axum::extract::Query;
use axum::http::{StatusCode, header};
use axum::middleware;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use figure::FontEmbedding;

pub(crate) use serve::open;

use crate::simulate;
use refusal::Refusal;
use view::{Drawn, View};

/// Dots per inch of a downloaded PNG: a page-wide figure fills a projector of 4K.
const PNG_DPI: f64 = 300.0;

type Pairs = Query<Vec<(String, String)>>;

/// All that the app answers.
pub(crate) fn app() -> Router {
    Router::new()
        .route("/", get(whole_page))
        .route("/view", get(parts))
        .route("/figure.svg", get(svg))
        .route("/figure.png", get(png))
        .route("/figure.pdf", get(pdf))
        .route("/cycle.json", get(json))
        .route("/traces.csv", get(traces))
        .route("/marks.csv", get(marks))
        .route("/sounds.wav", get(sounds))
        .route("/app.css", get(|| asset("text/css", include_bytes!("assets/app.css"))))
        .route("/app.js", get(|| asset("text/javascript", include_bytes!("assets/app.js"))))
        .route("/icon.svg", get(|| asset("image/svg+xml", include_bytes!("assets/icon.svg"))))
        .route("/regular.woff2", get(|| asset("font/woff2", figure::font::REGULAR_WOFF2)))
        .route("/bold.woff2", get(|| asset("font/woff2", figure::font::BOLD_WOFF2)))
        .fallback(nowhere)
        .layer(middleware::from_fn(guard::guard))
}

async fn nowhere() -> impl IntoResponse {
    (StatusCode::NOT_FOUND, "there is nothing here; the heart is at /")
}

async fn asset(kind: &'static str, bytes: &'static [u8]) -> impl IntoResponse {
    ([(header::CONTENT_TYPE, kind)], bytes)
}

async fn whole_page(Query(pairs): Pairs) -> Response {
    match off_thread(move || drawn(&pairs, false)).await {
        Ok((view, drawn)) => page::whole(&view, Ok(&drawn)).into_response(),
        Err(refusal) => {
            let body = page::whole(&View::default(), Err(&refusal));
            (StatusCode::BAD_REQUEST, body).into_response()
        }
    }
}

/// The parts of the page that a moved slider changes.
async fn parts(Query(pairs): Pairs) -> Result<impl IntoResponse, Refusal> {
    let (view, drawn) = off_thread(move || drawn(&pairs, false)).await?;
    Ok(page::parts(&view, &drawn))
}

async fn svg(Query(pairs): Pairs) -> Result<Response, Refusal> {
    file("svg", "image/svg+xml", pairs, |drawn| {
        Ok(drawn.figure.svg(FontEmbedding::Embedded).into_bytes())
    })
    .await
}

async fn png(Query(pairs): Pairs) -> Result<Response, Refusal> {
    file("png", "image/png", pairs, |drawn| Ok(drawn.figure.png(PNG_DPI)?)).await
}

async fn pdf(Query(pairs): Pairs) -> Result<Response, Refusal> {
    file("pdf", "application/pdf", pairs, |drawn| Ok(drawn.figure.pdf()?)).await
}

async fn json(Query(pairs): Pairs) -> Result<Response, Refusal> {
    file("json", "application/json", pairs, |drawn| Ok(drawn.cycle.to_json().into_bytes())).await
}

async fn traces(Query(pairs): Pairs) -> Result<Response, Refusal> {
    file("csv", "text/csv; charset=utf-8", pairs, |drawn| {
        let table = simulate::traces_csv(&drawn.cycle);
        Ok(table.map_err(|failure| Refusal::of_all(failure.to_string()))?.into_bytes())
    })
    .await
}

async fn marks(Query(pairs): Pairs) -> Result<Response, Refusal> {
    file("marks.csv", "text/csv; charset=utf-8", pairs, |drawn| {
        Ok(drawn.cycle.marks_csv().into_bytes())
    })
    .await
}

async fn sounds(Query(pairs): Pairs) -> Result<Response, Refusal> {
    file("wav", "audio/wav", pairs, |drawn| Ok(simulate::sound(&drawn.cycle))).await
}

/// One view as a file to keep, named after its condition.
async fn file(
    extension: &'static str,
    kind: &'static str,
    pairs: Vec<(String, String)>,
    write: impl FnOnce(&Drawn) -> Result<Vec<u8>, Refusal> + Send + 'static,
) -> Result<Response, Refusal> {
    let (name, bytes) = off_thread(move || {
        let (view, drawn) = drawn(&pairs, true)?;
        Ok((format!("{}.{extension}", view.condition.name), write(&drawn)?))
    })
    .await?;
    let disposition = format!("attachment; filename=\"{name}\"");
    let headers =
        [(header::CONTENT_TYPE, kind.to_owned()), (header::CONTENT_DISPOSITION, disposition)];
    Ok((headers, bytes).into_response())
}

fn drawn(pairs: &[(String, String)], named: bool) -> Result<(View, Drawn), Refusal> {
    let view = View::read(pairs)?;
    let drawn = view.draw(named)?;
    Ok((view, drawn))
}

/// Computes away from the threads that answer, so that they stay free.
async fn off_thread<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|_| Err(Refusal::our_fault()))
}
