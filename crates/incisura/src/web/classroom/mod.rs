//! Practice, and nothing else, for the local network: only when asked for, and only for whoever has
//! the code. It is a router of its own, so that nothing of the course can be reached by it.

mod door;
mod invitation;
#[cfg(test)]
mod tests;

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;

use axum::Router;
use axum::extract::connect_info::Connected;
use axum::extract::{ConnectInfo, DefaultBodyLimit, Form, Query, Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::serve::IncomingStream;
use maud::{DOCTYPE, Markup, html};
use serde::Deserialize;
use tokio::net::TcpListener;

pub(crate) use invitation::Invitation;

use super::desk::Desk;
use super::guard::{be_strict, host_name, is_from_here};
use super::rooms::practice;
use super::shell::head;
use super::words::classroom as words;
use super::{SCRIPT, asset};
use crate::failure::Failure;
use door::{Answer, Door};

/// The largest request: a drawing of many strokes.
const LARGEST: usize = 1 << 20;
/// What holds the proof that somebody has joined.
const COOKIE: &str = "practice";

/// Both ends of a connection.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ends {
    peer: SocketAddr,
    own: SocketAddr,
}

impl Connected<IncomingStream<'_, TcpListener>> for Ends {
    fn connect_info(stream: IncomingStream<'_, TcpListener>) -> Self {
        let peer = *stream.remote_addr();
        // Without an address of its own no host name is right, and the request is refused.
        let none = SocketAddr::from((Ipv4Addr::UNSPECIFIED, 0));
        Self { peer, own: stream.io().local_addr().unwrap_or(none) }
    }
}

/// What the classroom works with.
#[derive(Clone)]
struct Class {
    desk: Desk,
    door: Arc<Door>,
}

/// Opens the classroom on all of this computer's addresses; gives what the terminal says.
pub(crate) async fn begin(desk: &Desk, port: Option<u16>) -> Result<String, Failure> {
    let unable = |error: std::io::Error| {
        Failure::Other(format!(
            "cannot open the classroom: {error}; choose another --classroom-port"
        ))
    };
    let listener =
        TcpListener::bind((Ipv4Addr::UNSPECIFIED, port.unwrap_or(0))).await.map_err(unable)?;
    let port = listener.local_addr().map_err(unable)?.port();
    let invitation = Invitation::new(port)?;
    let said = words::said(invitation.address(), invitation.code());
    let door = Arc::new(Door::new(invitation.code()));
    desk.invite(invitation);
    let service = router(desk.clone(), door).into_make_service_with_connect_info::<Ends>();
    tokio::spawn(async move { axum::serve(listener, service).await });
    Ok(said)
}

/// All that the classroom answers.
fn router(desk: Desk, door: Arc<Door>) -> Router {
    let class = Class { desk, door };
    let inside = Router::new()
        .route("/practice", get(page))
        .merge(practice::core_routes(true))
        .layer(middleware::from_fn_with_state(class.clone(), only_joined));
    Router::new()
        .route("/", get(entrance))
        .route("/join", post(join))
        .merge(practice::assets())
        .route("/app.css", get(|| asset("text/css", include_bytes!("../assets/app.css"))))
        .route("/theme.js", get(|| asset(SCRIPT, include_bytes!("../assets/theme.js"))))
        .route("/common.js", get(|| asset(SCRIPT, include_bytes!("../assets/common.js"))))
        .route("/icon.svg", get(|| asset("image/svg+xml", include_bytes!("../assets/icon.svg"))))
        .route("/regular.woff2", get(|| asset("font/woff2", figure::font::REGULAR_WOFF2)))
        .route("/bold.woff2", get(|| asset("font/woff2", figure::font::BOLD_WOFF2)))
        .merge(inside)
        .fallback(|| async { (StatusCode::NOT_FOUND, words::NOTHING) })
        .layer(DefaultBodyLimit::max(LARGEST))
        .layer(middleware::from_fn(guard))
        .with_state(class)
}

impl axum::extract::FromRef<Class> for Desk {
    fn from_ref(class: &Class) -> Self {
        class.desk.clone()
    }
}

/// Answers only requests that name this computer by an address of its own: another site that
/// points a name at it is known by that name.
async fn guard(ConnectInfo(ends): ConnectInfo<Ends>, request: Request, next: Next) -> Response {
    let refuse = |words: &'static str| (StatusCode::FORBIDDEN, words).into_response();
    let mut response = if !invitation::names_this_computer(host_name(request.headers()), ends.own) {
        refuse(words::NOT_HERE)
    } else if !request.method().is_safe() && !is_from_here(request.headers()) {
        refuse(words::FROM_HERE)
    } else {
        next.run(request).await
    };
    be_strict(&mut response);
    response
}

async fn only_joined(State(class): State<Class>, request: Request, next: Next) -> Response {
    match class.door.pass(token(request.headers())) {
        Answer::Yes => next.run(request).await,
        Answer::Slowly => (StatusCode::TOO_MANY_REQUESTS, words::BUSY).into_response(),
        Answer::No if request.method().is_safe() => Redirect::to("/").into_response(),
        Answer::No => (StatusCode::FORBIDDEN, words::NOT_IN).into_response(),
    }
}

/// What the browser says it was given on joining.
fn token(headers: &HeaderMap) -> &str {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut each = cookies.flat_map(|all| all.split(';'));
    each.find_map(|one| one.trim().strip_prefix(COOKIE)?.strip_prefix('=')).unwrap_or_default()
}

async fn page(State(desk): State<Desk>, Query(pairs): Query<super::Pairs>) -> Markup {
    practice::for_class(&desk, &pairs)
}

#[derive(Default, Deserialize)]
struct Code {
    #[serde(default)]
    code: String,
}

async fn entrance(
    State(class): State<Class>,
    Query(code): Query<Code>,
    headers: HeaderMap,
) -> Response {
    if class.door.is_in(token(&headers)) {
        return Redirect::to("/practice").into_response();
    }
    join_page(&code.code, None).into_response()
}

async fn join(
    State(class): State<Class>,
    ConnectInfo(ends): ConnectInfo<Ends>,
    Form(typed): Form<Code>,
) -> Response {
    let refused = |status: StatusCode, words| (status, join_page("", Some(words))).into_response();
    match class.door.join(ends.peer.ip(), &typed.code) {
        Ok(Some(token)) => {
            let cookie = format!("{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/");
            ([(header::SET_COOKIE, cookie)], Redirect::to("/practice")).into_response()
        }
        Ok(None) => refused(StatusCode::SERVICE_UNAVAILABLE, words::FULL),
        Err(door::Refused::Wrong) => refused(StatusCode::FORBIDDEN, words::WRONG),
        Err(door::Refused::Slowly { wait_s }) => {
            let wait = [(header::RETRY_AFTER, wait_s.to_string())];
            (wait, refused(StatusCode::TOO_MANY_REQUESTS, words::SLOWLY)).into_response()
        }
    }
}

/// The only page for whoever has not joined.
fn join_page(code: &str, wrong: Option<&str>) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(words::JOIN, &["/practice/practice.css"], &[]))
            body {
                main.joining {
                    h1 { (words::JOIN) }
                    p { (words::TYPE) }
                    form action="/join" method="post" autocomplete="off" {
                        div.choice {
                            label for="code" { (words::CODE) }
                            input #code name="code" type="text" value=(code) maxlength="20" required autocapitalize="characters" spellcheck="false" aria-describedby=[wrong.map(|_| "wrong")];
                        }
                        button.primary { (words::ENTER) }
                    }
                    @if let Some(wrong) = wrong { p #wrong .fault role="alert" { (wrong) } }
                    p.soft { (words::PRIVATE) }
                }
            }
        }
    }
}
