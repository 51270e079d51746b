//! A refusal as a page, where a person went to an address; a module gets the words alone.

use axum::body::to_bytes;
use axum::extract::{Request, State};
use axum::http::header;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use maud::html;

use super::desk::Desk;
use super::shell::{Page, Room, shell};
use super::words::shell as words;

/// A place that is no room.
const NOWHERE: Room = Room { path: "", title: words::FAULT };
/// The longest refusal, in bytes.
const LONGEST: usize = 1 << 16;

/// Puts the words of a refusal into a page, with the way on.
pub(crate) async fn as_page(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let went = request.headers().get("sec-fetch-mode").is_some_and(|mode| mode == "navigate");
    let response = next.run(request).await;
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    let is_words = kind.is_some_and(|kind| kind.starts_with("text/plain"));
    if !went || !is_words || response.status().is_success() {
        return response;
    }
    let (parts, body) = response.into_parts();
    let bytes = to_bytes(body, LONGEST).await.unwrap_or_default();
    let message = String::from_utf8_lossy(&bytes);
    let body = html! {
        div.room {
            h1 #fault { (words::FAULT) }
            div.prose {
                @for line in message.lines() { p { (line) } }
                p { a.button href="/" { (words::TO_THE_COURSE) } }
            }
        }
    };
    let page = Page {
        room: &NOWHERE,
        title: words::FAULT,
        styles: &[],
        scripts: &[],
        skip_to: ("fault", words::SKIP),
        keys: &[],
        body,
    };
    (parts.status, shell(&desk, &page)).into_response()
}
