//! ECG or EKG, as the course says.

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;

use super::desk::Desk;
use super::settings::Spelling;

/// Spells what pages and figures show as the course says. What a person typed, in fields and text
/// areas, stays as it is, and so does what is marked with `translate="no"`.
pub(crate) async fn respell(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let response = next.run(request).await;
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    let is_page = kind.is_some_and(|kind| kind.starts_with("text/html") || kind == "image/svg+xml");
    if !is_page || desk.folder().settings().spelling == Spelling::Ecg {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    // Pages are made in memory, so there is nothing to wait for and no bound to keep.
    let Ok(bytes) = to_bytes(body, usize::MAX).await else {
        return Response::from_parts(parts, Body::empty());
    };
    let text = respelled(&String::from_utf8_lossy(&bytes));
    parts.headers.insert(header::CONTENT_LENGTH, HeaderValue::from(text.len()));
    Response::from_parts(parts, Body::from(text))
}

/// `page` with “EKG” for “ECG” wherever it is shown.
pub(crate) fn respelled(page: &str) -> String {
    let mut spelled = String::with_capacity(page.len());
    let mut rest = page;
    while let Some(start) = rest.find('<') {
        spelled.push_str(&rest[..start].replace("ECG", "EKG"));
        rest = &rest[start..];
        let end = rest.find('>').map_or(rest.len(), |end| end + 1);
        let (tag, after) = rest.split_at(end);
        spelled.push_str(&spoken_attributes(tag));
        rest = after;
        let name = tag[1..].split([' ', '>', '\n']).next().unwrap_or_default();
        let stays =
            ["textarea", "script", "style"].contains(&name) || tag.contains(" translate=\"no\"");
        if let Some(end) = rest.find(&format!("</{name}")).filter(|_| stays) {
            spelled.push_str(&rest[..end]);
            rest = &rest[end..];
        }
    }
    spelled + &rest.replace("ECG", "EKG")
}

/// A tag with the attributes respelled that are read aloud or shown.
fn spoken_attributes(tag: &str) -> String {
    if !tag.contains("ECG") {
        return tag.to_owned();
    }
    let mut spelled = String::new();
    for (index, part) in tag.split('"').enumerate() {
        if index > 0 {
            spelled.push('"');
        }
        let name = spelled.trim_end_matches(['=', '"']).rsplit([' ', '\n']).next().unwrap_or("");
        let spoken = ["aria-label", "aria-valuetext", "title", "alt", "placeholder"];
        if index % 2 == 1 && spoken.contains(&name) {
            spelled.push_str(&part.replace("ECG", "EKG"));
        } else {
            spelled.push_str(part);
        }
    }
    spelled
}

#[cfg(test)]
mod tests {
    use super::respelled;

    #[test]
    fn what_is_shown_is_respelled_and_what_was_typed_is_not() {
        let page = "<title>ECG</title><p title=\"the ECG\" id=\"ECG\">An ECG.</p>\
            <textarea name=\"a\">ECG</textarea><input value=\"ECG\" aria-label=\"ECG\">ECG\
            <figure class=\"a\" translate=\"no\"><p>ECG</p></figure>ECG";
        let spelled = "<title>EKG</title><p title=\"the EKG\" id=\"ECG\">An EKG.</p>\
            <textarea name=\"a\">ECG</textarea><input value=\"ECG\" aria-label=\"EKG\">EKG\
            <figure class=\"a\" translate=\"no\"><p>ECG</p></figure>EKG";
        assert_eq!(respelled(page), spelled);
    }
}
