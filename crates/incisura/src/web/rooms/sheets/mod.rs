//! The sheets: tests, their pages as they will be printed, prints, and the class list.

mod change;
mod form;
mod list;
mod preview;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use axum::body::Bytes;
use axum::extract::{DefaultBodyLimit, Form, Query, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use convention::Fault;
use maud::{Markup, html};
use serde::Deserialize;

use crate::failure::Failure;
use crate::roster::{self, Understood};
use crate::test_file::{self, Changes};
use crate::web::desk::Desk;
use crate::web::editing::{self, Change, DRAFTS, Edited, Kind, Request};
use crate::web::folder::Folder;
use crate::web::jobs::JobState;
use crate::web::query::address;
use crate::web::refusal::Refusal;
use crate::web::shell::Room;
use crate::web::toml_text::{self, At};
use crate::web::words::sheets as words;
use crate::web::{SCRIPT, asset, download, editor, off_thread, printed};

pub(crate) const ROOM: Room = Room { path: "/sheets", title: words::TITLE };

/// The largest class list, in bytes.
const LARGEST_ROSTER: usize = 4 << 20;

pub(crate) fn routes() -> Router<Desk> {
    let lists = Router::new()
        .route("/sheets/roster/preview", post(look_at_roster))
        .route("/sheets/roster/take", post(take_roster))
        .layer(DefaultBodyLimit::max(LARGEST_ROSTER));
    Router::new()
        .route("/sheets", get(page))
        .route("/sheets/state", get(state))
        .route("/sheets/change", post(change))
        .route("/sheets/new", post(new))
        .route("/sheets/copy", post(copy))
        .route("/sheets/remove", post(remove))
        .route("/sheets/restore", post(restore))
        .route("/sheets/pages", get(pages))
        .route("/sheets/print", post(print))
        .route("/sheets/prints", get(prints))
        .route("/sheets/printed", get(printed_file))
        .route("/sheets/roster/undo", post(undo_roster))
        .route("/sheets/roster/remove", post(remove_roster))
        .merge(lists)
        .route("/sheets.js", get(|| asset(SCRIPT, include_bytes!("../../assets/sheets.js"))))
        .route("/sheets.css", get(|| asset("text/css", include_bytes!("../../assets/sheets.css"))))
}

/// Tests as a kind of text that is edited.
struct Tests;

impl Kind for Tests {
    fn faults(&self, folder: &Folder, file: &str, text: &str) -> Vec<Fault> {
        let fault = |line: usize, what: String| {
            let shown = text.lines().nth(line - 1).unwrap_or_default().trim().to_owned();
            vec![Fault { line, text: shown, what }]
        };
        if let Some((line, named)) = outside(folder, text) {
            return fault(line, format!("“{named}” is no file of the course"));
        }
        let path = folder.root().join(file);
        let read = test_file::read(&path, text, &Changes::default(), &BTreeMap::new());
        match read.and_then(|read| test_file::check_hearts(&read.test, &path, text)) {
            Ok(()) => Vec::new(),
            Err(Failure::Faults { faults, .. }) => faults.0,
            Err(Failure::InFile { line, what, .. }) => fault(line, what),
            Err(other) => fault(1, other.to_string()),
        }
    }

    fn forms(&self, folder: &Folder, text: &str, faults: &[Fault]) -> Markup {
        form::forms(folder, text, faults)
    }

    fn locked(&self, folder: &Folder, file: &str) -> Option<&'static str> {
        let draft = folder.path(&format!("{DRAFTS}/{file}")).is_ok_and(|path| path.exists());
        let locked = !draft && printed::is_as_printed(folder, file);
        locked.then_some(words::REFUSED_PRINTED)
    }

    fn changed(&self, folder: &Folder, text: &str, change: &Change) -> Result<String, String> {
        change::changed(text, change, &form::parts(folder, text))
    }
}

/// A convention that is named outside the course's folder, with the line.
fn outside(folder: &Folder, text: &str) -> Option<(usize, String)> {
    let table = text.parse::<toml::Table>().ok()?;
    let named = table.get("convention")?.as_str()?;
    if folder.path(named).is_ok() {
        return None;
    }
    let line = text.lines().position(|line| line.trim_start().starts_with("convention"));
    Some((line.unwrap_or(0) + 1, named.to_owned()))
}

/// Whether a text is one of a test.
fn is_test(text: &str) -> bool {
    text.parse::<toml::Table>().is_ok_and(|table| table.contains_key("convention"))
}

#[derive(Debug, Deserialize)]
struct Wanted {
    file: Option<String>,
    #[serde(rename = "as")]
    shown_as: Option<String>,
}

async fn page(State(desk): State<Desk>, Query(wanted): Query<Wanted>) -> Result<Markup, Refusal> {
    off_thread(move || {
        let Some(file) = &wanted.file else { return Ok(list::page(&desk)) };
        let folder = desk.folder();
        let state = Edited::new(&folder, file, &Tests)?.state()?;
        let as_text = wanted.shown_as.as_deref() == Some("text");
        Ok(edit(&desk, file, &state, as_text))
    })
    .await
}

/// A test to edit, beside its pages.
fn edit(desk: &Desk, file: &str, state: &editing::State, as_text: bool) -> Markup {
    let folder = desk.folder();
    let locked = Tests.locked(&folder, file).is_some();
    let was_printed = !locked && printed::printed_folder(&folder, file).is_some();
    let copy = |label: &str| {
        let title = words::copy_of(&state.title);
        editor::copy("/sheets/copy", &[("file", file)], &title, label, words::COPY_NAME)
    };
    let body = html! {
        div.room.editing data-file=(file) {
            (editor::head(state, &copy(words::COPY), "/sheets", words::ALL))
            @if locked {
                div #printed-note .card {
                    p { b { (words::LOCKED) } }
                    p { (words::LOCKED_NEXT) }
                    div.actions { (copy(words::COPY_INSTEAD)) button #unlock type="button" { (words::EDIT_ANYWAY) } }
                }
            } @else if was_printed { p.soft { (words::CHANGED_SINCE) } }
            div.halves {
                (editor::editor(file, "/sheets/change", state, as_text, locked))
                section.beside aria-label=(words::BESIDE) {
                    div.tabs role="group" aria-label=(words::BESIDE) {
                        button type="button" data-show="preview" aria-pressed="true" { (words::PREVIEW) }
                        button type="button" data-show="print" aria-pressed="false" { (words::PRINT) }
                    }
                    div data-shown="preview" {
                        (looking())
                        div #pages .pages data-slot="pages" aria-busy="true" tabindex="0" role="region" aria-label=(words::PREVIEW) {}
                    }
                    div data-shown="print" hidden { (printing(desk, &folder, file)) }
                }
            }
        }
    };
    list::whole(desk, &state.title, ("forms", words::SKIP_TO_FORMS), body)
}

fn looking() -> Markup {
    html! {
        div.fields {
            label.choice { span { (words::DOCUMENT) } select #document data-slot="documents" {} }
            label.choice { span { (words::FORM) } select #form data-slot="letters" {} }
            label.choice { span { (words::SIZE) }
                select #size { option value="width" { (words::WIDTH) } option value="true" { (words::TRUE_SIZE) } }
            }
            label.tick { input #large type="checkbox" name="large" value="true" form="print"; (words::LARGE) }
        }
    }
}

fn printing(desk: &Desk, folder: &Folder, file: &str) -> Markup {
    let job = preview::job(folder, file);
    let running = desk.jobs().progress(&job).is_some_and(|job| job.state == JobState::Running);
    let roster = folder.path(roster::FILE).ok().filter(|path| path.is_file());
    let students = roster.and_then(|path| roster::read(&path).ok());
    html! {
        section.printing aria-labelledby="print-title" {
            h2 #print-title .unseen { (words::PRINT) }
            form #print action="/sheets/print" method="post" data-job=[running.then_some(&job)] data-made=(words::MADE) data-making=(words::MAKING) {
                input type="hidden" name="file" value=(file);
                @match &students {
                    Some(students) => label.tick { input type="checkbox" name="class" value="true" checked; (words::FOR_CLASS) " (" (students.len()) ")" },
                    None => p.soft { (words::NO_CLASS) },
                }
                label.tick { input type="checkbox" name="each" value="true"; (words::EACH_PDF) }
                label.choice.number { span { (words::SPARE) } input #spare type="text" inputmode="numeric" name="spare" maxlength="4" placeholder="0"; }
                button.primary { (words::MAKE) }
                p #print-said role="status" {}
                progress #print-progress hidden aria-label=(words::MAKING) {}
            }
            h3 { (words::FILES) }
            div data-slot="prints" { (preview::prints(folder, file)) }
        }
    }
}

#[derive(Deserialize)]
struct Named {
    file: String,
}

async fn state(State(desk): State<Desk>, Query(named): Query<Named>) -> Result<Response, Refusal> {
    editor::state(desk, named.file, &Tests).await
}

async fn change(
    State(desk): State<Desk>,
    Json(request): Json<Request>,
) -> Result<Response, Refusal> {
    editor::change(desk, request, &Tests).await
}

#[derive(Deserialize)]
struct New {
    title: String,
    convention: String,
}

async fn new(State(desk): State<Desk>, Form(new): Form<New>) -> Result<Redirect, Refusal> {
    let folder = desk.folder();
    let name = editing::new_name(&folder, &new.title)?;
    let q = toml_text::quoted;
    let settings = folder.settings();
    let spelling = settings.spelling.other();
    let spelling = spelling.map_or_else(String::new, |word| format!("spelling = {}\n", q(word)));
    let text = format!(
        "title = {}\ncourse = {}\nconvention = {}\ngiven = [\"ecg\"]\nforms = 2\n{spelling}\n[heart]\nrate_bpm = [66, 80]\n",
        q(&new.title),
        q(&settings.title),
        q(&new.convention)
    );
    if let Some(fault) = Tests.faults(&folder, &name, &text).first() {
        return Err(Refusal::of_all(fault.what.clone()));
    }
    folder.save(&name, &text, None)?;
    Ok(Redirect::to(&address("/sheets", &[("file", &name)])))
}

#[derive(Deserialize)]
struct Copied {
    file: String,
    title: String,
}

async fn copy(State(desk): State<Desk>, Form(copied): Form<Copied>) -> Result<Redirect, Refusal> {
    let folder = desk.folder();
    Edited::new(&folder, &copied.file, &Tests)?;
    let text = folder.text(&copied.file)?.text;
    let name = editing::new_name(&folder, &copied.title)?;
    let text = toml_text::set(&text, &At::top("title"), &toml_text::quoted(&copied.title), &[]);
    folder.save(&name, &text.map_err(Refusal::of_all)?, None)?;
    Ok(Redirect::to(&address("/sheets", &[("file", &name)])))
}

async fn remove(State(desk): State<Desk>, Form(named): Form<Named>) -> Result<Redirect, Refusal> {
    Edited::new(&desk.folder(), &named.file, &Tests)?.take_away()?;
    Ok(Redirect::to("/sheets"))
}

async fn restore(State(desk): State<Desk>, Form(named): Form<Named>) -> Result<Redirect, Refusal> {
    editing::restore(&desk.folder(), &named.file)?;
    Ok(Redirect::to("/sheets"))
}

async fn pages(
    State(desk): State<Desk>,
    Query(wanted): Query<preview::Wanted>,
) -> Result<Markup, Refusal> {
    off_thread(move || preview::pages(&desk.folder(), &wanted)).await
}

async fn print(
    State(desk): State<Desk>,
    Form(print): Form<preview::Print>,
) -> Result<Response, Refusal> {
    let begun = off_thread(move || preview::begin(&desk, &print)).await?;
    Ok(Json(begun).into_response())
}

async fn prints(State(desk): State<Desk>, Query(named): Query<Named>) -> Result<Markup, Refusal> {
    off_thread(move || {
        let folder = desk.folder();
        Edited::new(&folder, &named.file, &Tests)?;
        Ok(html! { div data-slot="prints" { (preview::prints(&folder, &named.file)) } })
    })
    .await
}

async fn printed_file(
    State(desk): State<Desk>,
    Query(wanted): Query<preview::Printed>,
) -> Result<Response, Refusal> {
    let (name, keep) = (wanted.name.clone(), wanted.keep);
    let bytes = off_thread(move || preview::file(&desk.folder(), &wanted)).await?;
    let mut response = download(&name, "application/pdf", bytes);
    if !keep {
        let shown = HeaderValue::from_static("inline");
        response.headers_mut().insert(header::CONTENT_DISPOSITION, shown);
    }
    Ok(response)
}

fn understood(bytes: &[u8]) -> Result<(Understood, &'static str), Refusal> {
    let (text, encoding) = roster::decoded(bytes);
    Ok((roster::understand(&text).map_err(Refusal::of_all)?, encoding))
}

async fn look_at_roster(bytes: Bytes) -> Result<Markup, Refusal> {
    let (read, encoding) = understood(&bytes)?;
    Ok(list::understood(&read, encoding))
}

fn class_list(folder: &Folder) -> Markup {
    html! { div data-slot="roster" { (list::class_list(folder)) } div data-slot="understood" {} }
}

async fn take_roster(State(desk): State<Desk>, bytes: Bytes) -> Result<Markup, Refusal> {
    let (read, _) = understood(&bytes)?;
    if let Some(alike) = read.alike.first() {
        return Err(Refusal::of_all(alike.clone()));
    }
    if read.students.is_empty() {
        return Err(Refusal::of_all("there is no student in this list"));
    }
    let folder = desk.folder();
    folder.save(roster::FILE, &roster::written(&read.students), None)?;
    Ok(class_list(&folder))
}

async fn undo_roster(State(desk): State<Desk>) -> Result<Markup, Refusal> {
    desk.folder().undo(roster::FILE)?;
    Ok(class_list(&desk.folder()))
}

async fn remove_roster(State(desk): State<Desk>) -> Result<Markup, Refusal> {
    desk.folder().remove(roster::FILE)?;
    Ok(class_list(&desk.folder()))
}
