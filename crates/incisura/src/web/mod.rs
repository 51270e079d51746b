//! The local app: the whole job, served to this computer alone.
//!
//! [`app`] is the router, so that tests can ask it without a port. `rooms` has the pages, `shell`
//! what stands around them, `words` what they say, `desk` what they work on.

mod browser;
mod classroom;
mod desk;
mod editing;
mod editor;
mod fault;
mod fields;
mod folder;
mod guard;
mod jobs;
mod printed;
mod query;
mod refusal;
mod rooms;
mod rules;
mod serve;
mod settings;
mod shell;
mod spelling;
#[cfg(test)]
pub(crate) mod tests;
mod toml_text;
mod words;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{StatusCode, header};
use axum::middleware;
use axum::response::{IntoResponse, Response};
use axum::routing::get;

pub(crate) use rooms::practice as practice_room;
pub(crate) use serve::open;

use desk::Desk;
use refusal::Refusal;

/// Names and values of an address or a form, in their order.
type Pairs = Vec<(String, String)>;

/// The largest form, in bytes; files are taken by routes that say so themselves.
const LARGEST_FORM: usize = 2 << 20;

/// All that the app answers.
pub(crate) fn app(desk: Desk) -> Router {
    Router::new()
        .merge(rooms::routes())
        .route("/jobs/{name}", get(jobs::told))
        .route("/app.css", get(|| asset("text/css", include_bytes!("assets/app.css"))))
        .route("/theme.js", get(|| asset(SCRIPT, include_bytes!("assets/theme.js"))))
        .route("/shell.js", get(|| asset(SCRIPT, include_bytes!("assets/shell.js"))))
        .route("/common.js", get(|| asset(SCRIPT, include_bytes!("assets/common.js"))))
        .route("/icon.svg", get(|| asset("image/svg+xml", include_bytes!("assets/icon.svg"))))
        .route("/regular.woff2", get(|| asset("font/woff2", figure::font::REGULAR_WOFF2)))
        .route("/bold.woff2", get(|| asset("font/woff2", figure::font::BOLD_WOFF2)))
        .fallback(nowhere)
        .layer(DefaultBodyLimit::max(LARGEST_FORM))
        .layer(middleware::from_fn(fault::lead_back))
        .layer(middleware::from_fn_with_state(desk.clone(), fault::as_page))
        .layer(middleware::from_fn_with_state(desk.clone(), spelling::respell))
        .layer(middleware::from_fn(guard::guard))
        .with_state(desk)
}

/// The kind of a module.
const SCRIPT: &str = "text/javascript";

async fn nowhere() -> impl IntoResponse {
    (StatusCode::NOT_FOUND, "there is nothing here; the course is at /")
}

/// A file that is part of the program.
async fn asset(kind: &'static str, bytes: &'static [u8]) -> impl IntoResponse {
    ([(header::CONTENT_TYPE, kind)], bytes)
}

/// A file to keep, under a name made of plain letters.
fn download(name: &str, kind: &str, bytes: Vec<u8>) -> Response {
    let plain: String = name
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() || "-_.".contains(c) { c } else { '_' })
        .collect();
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{plain}\"")),
    ];
    (headers, bytes).into_response()
}

/// Computes away from the threads that answer, so that they stay free.
async fn off_thread<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|_| Err(Refusal::our_fault()))
}
