//! A refusal as a page, where a person went to an address; a module gets the words alone. Likewise
//! a form that was sent before its module was there leads back to its page.

use axum::body::to_bytes;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, Method, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use maud::html;

use super::desk::Desk;
use super::shell::{Page, Room, shell};
use super::words::shell as words;

/// A place that is no room.
const NOWHERE: Room = Room { path: "", title: words::FAULT };
/// The longest refusal, in bytes.
const LONGEST: usize = 1 << 16;

/// Whether the browser shows the answer as a page.
fn goes(headers: &HeaderMap) -> bool {
    headers.get("sec-fetch-mode").is_some_and(|mode| mode == "navigate")
}

fn is_of(response: &Response, kinds: &[&str]) -> bool {
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    kind.is_some_and(|kind| kinds.iter().any(|one| kind.starts_with(one)))
}

/// Leads on from a form whose answer is meant for a module: to the address that is answered, or to
/// the page where the form is, which shows how things are now.
pub(crate) async fn lead_back(request: Request, next: Next) -> Response {
    let sent = goes(request.headers()) && request.method() == Method::POST;
    let from = request.headers().get(header::REFERER).and_then(|from| from.to_str().ok());
    let from = from.and_then(|from| from.parse::<Uri>().ok());
    let from = from.and_then(|from| from.path_and_query().map(ToString::to_string));
    let response = next.run(request).await;
    let for_module = is_of(&response, &["text/plain", "application/json"]);
    if !sent || !for_module || !response.status().is_success() {
        return response;
    }
    let bytes = to_bytes(response.into_body(), LONGEST).await.unwrap_or_default();
    let answer = String::from_utf8(bytes.to_vec()).ok();
    // Two strokes would begin the name of another site.
    let is_own = |address: &String| address.starts_with('/') && !address.starts_with("//");
    let to = answer.filter(is_own).or(from.filter(is_own));
    Redirect::to(to.as_deref().unwrap_or("/")).into_response()
}

/// Puts the words of a refusal into a page, with the way on.
pub(crate) async fn as_page(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let went = goes(request.headers());
    let response = next.run(request).await;
    if !went || !is_of(&response, &["text/plain"]) || response.status().is_success() {
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
