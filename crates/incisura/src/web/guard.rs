//! What keeps other sites away from an app on the loopback address.

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// Everything comes from this app; style sheets and scripts stand in files of their own.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    img-src 'self' data:; font-src 'self' data:; media-src 'self'; \
    connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Answers only requests that name this computer, and tells the browser to be strict.
///
/// A foreign page can point a host name of its own at the loopback address and then read
/// what it finds there; its requests still carry that name, and so are known.
pub(crate) async fn guard(request: Request, next: Next) -> Response {
    let mut response = if !names_this_computer(request.headers()) {
        let words = "this address is for this computer only; open the one that incisura printed";
        (StatusCode::FORBIDDEN, words).into_response()
    } else if !request.method().is_safe() && !is_from_here(request.headers()) {
        let words = "this can only be changed from incisura's own pages";
        (StatusCode::FORBIDDEN, words).into_response()
    } else {
        next.run(request).await
    };
    be_strict(&mut response);
    response
}

/// Tells the browser to be strict.
pub(crate) fn be_strict(response: &mut Response) {
    let strict = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // To no other site; and without it, a browser does not say that a form comes from here.
        (header::REFERRER_POLICY, "same-origin"),
        (header::CACHE_CONTROL, "no-store"),
        (header::HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (header::HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    for (name, value) in strict {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
}

/// Whether the browser says that a page of this app asks. Every browser says where a request that
/// changes something comes from.
pub(crate) fn is_from_here(headers: &HeaderMap) -> bool {
    let text = |name| headers.get(name).and_then(|value: &HeaderValue| value.to_str().ok());
    let (Some(origin), Some(host)) = (text(header::ORIGIN), text(header::HOST)) else {
        return false;
    };
    origin.strip_prefix("http://") == Some(host)
}

fn names_this_computer(headers: &HeaderMap) -> bool {
    matches!(host_name(headers), "127.0.0.1" | "localhost" | "[::1]")
}

/// The host that a request names, without its port.
pub(crate) fn host_name(headers: &HeaderMap) -> &str {
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
        _ => host,
    }
}
