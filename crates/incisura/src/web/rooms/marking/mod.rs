//! Marking: from dropped scans to marks, with what only a person can say.
//!
//! `scans` takes files in and `intake` shows them, `job` reads and marks in the background,
//! `table` shows all drawings, `drawing` one of them, `captures` the scans of its pages, `review` asks
//! what is open, `changes` shows what changed rules would do. `work` has what all of them need at hand.

mod captures;
mod changes;
mod decide;
mod drawing;
mod intake;
pub(crate) mod job;
mod review;
mod scans;
mod table;
#[cfg(test)]
pub(crate) mod tests;
pub(crate) mod work;

use std::sync::Arc;

use axum::extract::{Form, Query, Request, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post, put};
use axum::{Json, Router};
use maud::{Markup, html};
use serde::Deserialize;

use super::super::words::marking as words;
use crate::failure::Failure;
use crate::mark::review::{Question, crop};
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::printed::printed_folder;
use crate::web::query::address;
use crate::web::refusal::Refusal;
use crate::web::shell::{Page, Room};
use crate::web::{SCRIPT, asset, download, off_thread};
use job::Output;

pub(crate) const ROOM: Room = Room { path: "/marking", title: words::TITLE };

pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .route("/marking", get(table::page))
        .route("/marking/scans", put(take).get(intake::scans))
        .route("/marking/mark", post(mark))
        .route("/marking/sheet", get(drawing::page))
        .route("/marking/page.png", get(page_picture))
        .route("/marking/crop.png", get(crop_picture))
        .route("/marking/review", get(review::page))
        .route("/marking/changes", get(changes::page))
        .route("/marking/accept", post(changes::accept))
        .route("/marking/who", post(decide::name))
        .route("/marking/decide", post(decide::decide))
        .route("/marking/undo", post(decide::undo))
        .route("/marking/takeback", post(decide::take_back))
        .route("/marking/scan", post(captures::decide))
        .route("/marking/student", post(decide::give))
        .route("/marking/cursor", post(decide::cursor))
        .route("/marking/file", get(file))
        .route("/marking.js", get(|| asset(SCRIPT, include_bytes!("../../assets/marking.js"))))
        .route("/review.js", get(|| asset(SCRIPT, include_bytes!("../../assets/review.js"))))
        .route(
            "/marking.css",
            get(|| asset("text/css", include_bytes!("../../assets/marking.css"))),
        )
}

/// Which test.
#[derive(Clone, Debug, Deserialize)]
pub(crate) struct OfTest {
    pub(crate) test: String,
}

/// Which sheet of a test, and what of it.
#[derive(Clone, Debug, Deserialize)]
struct OfSheet {
    test: String,
    print: Option<String>,
    sheet: u32,
    #[serde(default)]
    page: u32,
    /// The number of a reading of the page; that of the one that counts where there is none.
    capture: Option<i64>,
    #[serde(default)]
    rule: String,
    #[serde(default)]
    names: String,
}

/// The test that is shown where none is asked for: the one that was marked last for the first
/// time, or else one that was printed, or else the first.
pub(crate) fn usual_test(folder: &Folder) -> Result<Option<String>, Refusal> {
    let tests = folder.tests();
    let known = work::database(folder)?.tests().map_err(Failure::from)?;
    let marked =
        known.iter().rev().find_map(|known| tests.iter().find(|test| test.title == known.title));
    let printed = || tests.iter().find(|test| printed_folder(folder, &test.file).is_some());
    Ok(marked.or_else(printed).or(tests.first()).map(|test| test.file.clone()))
}

/// The file of the test that is asked for: a test of the course.
pub(crate) fn test_file(folder: &Folder, wanted: &str) -> Result<String, Refusal> {
    let known = folder.tests().into_iter().find(|test| test.file == wanted);
    known.map(|test| test.file).ok_or_else(|| Refusal::no_such_name(wanted))
}

/// A test of the course that is open, with its marks at hand.
pub(crate) struct Opened {
    pub(crate) folder: Folder,
    pub(crate) file: String,
    pub(crate) work: Arc<work::Work>,
}

impl Opened {
    pub(crate) fn of(desk: &Desk, test: &str) -> Result<Self, Refusal> {
        let folder = desk.folder();
        let file = test_file(&folder, test)?;
        let work = desk.marks().work(&folder, &file)?;
        Ok(Self { folder, file, work })
    }
}

/// A page about marks, but for its keys.
pub(crate) fn marks_page<'a>(
    title: &'a str,
    skip_to: (&'a str, &'a str),
    body: Markup,
) -> Page<'a> {
    Page {
        room: &ROOM,
        title,
        styles: &["/marking.css"],
        scripts: &["/marking.js"],
        skip_to,
        keys: &[],
        body,
    }
}

#[derive(Deserialize)]
struct Named {
    name: String,
}

async fn take(
    State(desk): State<Desk>,
    Query(Named { name }): Query<Named>,
    request: Request,
) -> Result<Json<scans::Taken>, Refusal> {
    let folder = desk.folder();
    scans::take(&folder, &name, request.into_body(), scans::LARGEST).await.map(Json)
}

/// Begins to read and mark; says under which name the work can be followed.
async fn mark(
    State(desk): State<Desk>,
    Form(OfTest { test }): Form<OfTest>,
) -> Result<String, Refusal> {
    off_thread(move || {
        let folder = desk.folder();
        let file = test_file(&folder, &test)?;
        job::begin(&desk, &file)?;
        Ok(job::name(&folder, &file))
    })
    .await
}

/// A page as it was scanned, made flat; without its head where names are hidden.
async fn page_picture(
    State(desk): State<Desk>,
    Query(of): Query<OfSheet>,
) -> Result<Response, Refusal> {
    let png = off_thread(move || {
        let Opened { folder, work, .. } = Opened::of(&desk, &of.test)?;
        let record = work.record(of.print.as_deref(), of.sheet)?;
        let mut captures = captures::captures(record).into_iter();
        let own = captures.find(|one| match of.capture {
            Some(id) => one.page.id.0 == id,
            None => one.number == of.page && one.counts(),
        });
        let own = own.ok_or_else(Refusal::nothing_there)?;
        let id = own.page.id;
        if of.names != "hidden" {
            return work::picture_file(&folder, id);
        }
        let head_mm = work.head_mm(&record.test, own.number)?;
        let picture = desk.marks().picture(&folder, id)?;
        // A page without panels is all head.
        let rows = (head_mm * f64::from(work::px_per_mm(&folder, id)?)) as usize;
        Ok(picture.blanked(rows.min(picture.height)).png())
    });
    Ok(picture(png.await?))
}

/// The part of a page that a rule is about.
async fn crop_picture(
    State(desk): State<Desk>,
    Query(of): Query<OfSheet>,
) -> Result<Response, Refusal> {
    let png = off_thread(move || {
        let Opened { folder, work, .. } = Opened::of(&desk, &of.test)?;
        let record = work.record(of.print.as_deref(), of.sheet)?;
        let mut rules = record.marks().into_iter().flat_map(|marks| &marks.rules);
        let rule = rules.find(|rule| rule.id == of.rule).ok_or_else(Refusal::nothing_there)?;
        let question = Question { record, rule };
        let page = question.page().ok_or_else(Refusal::nothing_there)?;
        let picture = desk.marks().picture(&folder, page)?;
        crop(&question, work.convention(), &picture).ok_or_else(Refusal::nothing_there)
    });
    Ok(picture(png.await?))
}

fn picture(png: Vec<u8>) -> Response {
    ([(header::CONTENT_TYPE, "image/png")], png).into_response()
}

#[derive(Deserialize)]
struct OfFile {
    test: String,
    name: String,
}

/// A file to keep, made anew.
async fn file(State(desk): State<Desk>, Query(of): Query<OfFile>) -> Result<Response, Refusal> {
    off_thread(move || {
        let output = Output::of(&of.name).ok_or_else(Refusal::nothing_there)?;
        let file = test_file(&desk.folder(), &of.test)?;
        let bytes = job::output(&desk, &file, output)?;
        let stem = file.strip_suffix(".toml").unwrap_or(&file);
        Ok(download(&format!("{stem}-{}", output.name()), output.kind(), bytes))
    })
    .await
}

/// The choice of a test, where there are several. `room` is the address that shows it.
pub(crate) fn test_choice(folder: &Folder, file: &str, room: &str) -> Markup {
    let tests = folder.tests();
    html! {
        @if tests.len() > 1 {
            form.choice.testchoice action=(room) method="get" {
                label for="test" { (words::TEST) }
                select #test name="test" data-go="" {
                    @for test in &tests {
                        option value=(test.file) selected[test.file == file] { (test.title) }
                    }
                }
                noscript { button { (words::SHOW) } }
            }
        }
    }
}
