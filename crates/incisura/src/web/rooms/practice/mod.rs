//! The room of practice: a test of the course as a drawing task on the screen.
//!
//! The page's modules reach the core by one address for each question, `/practice/core/…`; what
//! they send names a test of the course, and the texts come from the folder. Nothing is stored.

mod bench;
mod page;
#[cfg(test)]
mod tests;

use std::sync::Arc;

use axum::extract::{FromRef, Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use clap::ValueEnum as _;
use maud::Markup;

use crate::practice_page::{self, Package};
use crate::web::desk::Desk;
use crate::web::folder::Listed;
use crate::web::refusal::Refusal;
use crate::web::shell::{Page, Room, shell};
use crate::web::words::practice as words;
use crate::web::{Pairs, SCRIPT, asset, download, off_thread};
use bench::Bench;
pub(crate) use page::InFile;

pub(crate) const ROOM: Room = Room { path: "/practice", title: words::TITLE };

pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .route("/practice", get(whole_page))
        .route("/practice/page", get(for_home))
        .merge(core_routes(false))
        .merge(assets())
}

/// The core, for the app and for the classroom alike; if it is `discreet`, it tells nothing of what
/// is in the course's files.
pub(crate) fn core_routes<S>(discreet: bool) -> Router<S>
where
    S: Clone + Send + Sync + 'static,
    Desk: FromRef<S>,
{
    Router::new()
        .route("/practice/core/sound", post(sound))
        .route("/practice/core/{what}", post(ask))
        .layer(Extension(Arc::new(Bench::new(discreet))))
}

macro_rules! modules {
    ($($name:literal)*) => {
        [$(($name, include_str!(concat!("../../assets/practice/", $name)))),*]
    };
}

/// The modules, which import one another by these names.
pub(crate) const MODULES: [(&str, &str); 13] = modules![
    "page.js" "core.js" "source.js" "drawing.js" "stage.js" "pen.js" "points.js" "findings.js"
    "build.js" "quiz.js" "progress.js" "report.js" "sound.js"
];
/// What stands in the place of `source.js` where the core is in the page.
pub(crate) const SOURCE_IN_PAGE: &str = include_str!("../../assets/practice/source-wasm.js");
/// The style sheets.
pub(crate) const STYLES: [&str; 2] =
    [include_str!("../../assets/app.css"), include_str!("../../assets/practice/practice.css")];

/// The modules and the style sheet.
pub(crate) fn assets<S: Clone + Send + Sync + 'static>() -> Router<S> {
    let style = get(|| asset("text/css", STYLES[1].as_bytes()));
    let router = Router::new().route("/practice/practice.css", style);
    MODULES.into_iter().fold(router, |router, (name, text)| {
        router.route(&format!("/practice/{name}"), get(move || asset(SCRIPT, text.as_bytes())))
    })
}

/// The value of a name in an address.
fn named<'a>(pairs: &'a Pairs, name: &str) -> Option<&'a str> {
    pairs.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
}

/// The test that an address names, or the first.
fn chosen(tests: &[Listed], pairs: &Pairs) -> Option<Listed> {
    let wanted = named(pairs, "test");
    let found = tests.iter().find(|test| Some(test.file.as_str()) == wanted);
    found.or_else(|| tests.first()).cloned()
}

async fn whole_page(State(desk): State<Desk>, Query(pairs): Query<Pairs>) -> Markup {
    let tests = desk.folder().tests();
    let chosen = chosen(&tests, &pairs);
    let said = chosen.as_ref().and_then(|test| code_said(&desk, test, &pairs));
    let body = page::room(&tests, chosen.as_ref(), said.as_deref(), desk.invitation());
    shell(
        &desk,
        &Page {
            room: &ROOM,
            title: words::TITLE,
            styles: &["/practice/practice.css"],
            scripts: if chosen.is_some() { &["/practice/page.js"] } else { &[] },
            skip_to: ("stage", words::SKIP),
            keys: words::KEYS,
            body,
        },
    )
}

/// What the result code in the address says.
fn code_said(desk: &Desk, test: &Listed, pairs: &Pairs) -> Option<String> {
    let code = named(pairs, "code").filter(|code| !code.trim().is_empty())?;
    let path = desk.folder().path(&test.file).ok()?;
    Some(practice_page::verified(&path, code).unwrap_or_else(|why| words::not_accepted(&why)))
}

/// The page for home, or a package with it, as a file to keep.
async fn for_home(
    State(desk): State<Desk>,
    Query(pairs): Query<Pairs>,
) -> Result<Response, Refusal> {
    let file = named(&pairs, "test").unwrap_or_default().to_owned();
    let folder = desk.folder();
    if !folder.tests().iter().any(|test| test.file == file) {
        return Err(Refusal::of("test", words::NO_SUCH_TEST));
    }
    let package = match named(&pairs, "package") {
        None => None,
        Some(name) => {
            let found = Package::from_str(name, false);
            Some(found.map_err(|_| Refusal::of("package", words::NO_SUCH_PACKAGE))?)
        }
    };
    let path = folder.path(&file)?;
    let spelling = folder.settings().spelling.other();
    let bytes = off_thread(move || Ok(practice_page::made(&path, package, spelling)?)).await?;
    let stem = file.strip_suffix(".toml").unwrap_or(&file);
    Ok(match named(&pairs, "package") {
        None => download(&format!("{stem}.html"), "text/html", bytes),
        Some(name) => download(&format!("{stem}-{name}.zip"), "application/zip", bytes),
    })
}

/// The page as students in the classroom see it: practice alone.
pub(crate) fn for_class(desk: &Desk, pairs: &Pairs) -> Markup {
    let tests = desk.folder().tests();
    page::alone(&tests, chosen(&tests, pairs).as_ref())
}

async fn ask(
    State(desk): State<Desk>,
    Extension(bench): Extension<Arc<Bench>>,
    Path(what): Path<String>,
    body: String,
) -> Result<Response, Refusal> {
    let turn = bench.turn().await?;
    let answer = off_thread(move || {
        // Whoever hangs up keeps the turn until the work is done.
        let _turn = turn;
        bench.answer(&desk.folder(), &what, &body)
    });
    let answer = answer.await?;
    Ok(([(header::CONTENT_TYPE, "application/json")], answer).into_response())
}

async fn sound(
    State(desk): State<Desk>,
    Extension(bench): Extension<Arc<Bench>>,
    body: String,
) -> Result<Response, Refusal> {
    let turn = bench.turn().await?;
    let wav = off_thread(move || {
        let _turn = turn;
        bench.sound(&desk.folder(), &body)
    });
    let wav = wav.await?;
    Ok(([(header::CONTENT_TYPE, "audio/wav")], wav).into_response())
}
