//! The conventions: reading, copying and editing the rules that a class learns.

mod cards;
mod change;
mod findings;
mod page;
#[cfg(test)]
mod tests;

use axum::extract::{Form, Query, State};
use axum::response::{Redirect, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use cardiac::Shipped;
use convention::{Convention, Fault};
use maud::Markup;
use serde::Deserialize;

use crate::web::desk::Desk;
use crate::web::editing::{self, Change, Edited, Kind, Request};
use crate::web::editor;
use crate::web::folder::Folder;
use crate::web::query::address;
use crate::web::refusal::Refusal;
use crate::web::shell::Room;
use crate::web::toml_text::{self, At};
use crate::web::words::conventions as words;
use crate::web::{SCRIPT, asset, off_thread};

pub(crate) const ROOM: Room = Room { path: "/conventions", title: words::TITLE };

pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .route("/conventions", get(page))
        .route("/conventions/view", get(view))
        .route("/conventions/state", get(state))
        .route("/conventions/change", post(change))
        .route("/conventions/copy", post(copy))
        .route("/conventions/remove", post(remove))
        .route("/conventions/restore", post(restore))
        .route("/editor.js", get(|| asset(SCRIPT, include_bytes!("../../assets/editor.js"))))
        .route("/editor.css", get(|| asset("text/css", include_bytes!("../../assets/editor.css"))))
        .route(
            "/conventions.js",
            get(|| asset(SCRIPT, include_bytes!("../../assets/conventions.js"))),
        )
        .route(
            "/conventions.css",
            get(|| asset("text/css", include_bytes!("../../assets/conventions.css"))),
        )
}

/// Conventions as a kind of text that is edited.
struct Rules;

impl Kind for Rules {
    fn faults(&self, _: &Folder, _: &str, text: &str) -> Vec<Fault> {
        let read = Convention::from_toml(text, &heart::subject());
        read.err().map(|faults| faults.0).unwrap_or_default()
    }

    fn forms(&self, _: &Folder, text: &str, faults: &[Fault]) -> Markup {
        cards::forms(text, faults)
    }

    fn changed(&self, _: &Folder, text: &str, change: &Change) -> Result<String, String> {
        change::changed(text, change, &heart::subject())
    }
}

/// Whether a text is one of a convention.
fn is_convention(text: &str) -> bool {
    text.parse::<toml::Table>().is_ok_and(|table| table.contains_key("rules"))
}

/// Which convention, and how it is looked at.
#[derive(Debug, Deserialize)]
struct Wanted {
    /// One of the course.
    file: Option<String>,
    /// One that comes with the program.
    program: Option<String>,
    /// The condition of the heart that it is compared with.
    against: Option<String>,
    #[serde(rename = "as")]
    shown_as: Option<String>,
}

/// The condition with which rules are compared where nothing else is asked for.
const USUAL: &str = "rest";

impl Wanted {
    fn shipped(&self) -> Result<Option<Shipped>, Refusal> {
        let Some(name) = &self.program else { return Ok(None) };
        Shipped::find(name).map(Some).ok_or_else(Refusal::nothing_there)
    }

    fn against(&self) -> &str {
        self.against.as_deref().unwrap_or(USUAL)
    }
}

async fn page(State(desk): State<Desk>, Query(wanted): Query<Wanted>) -> Result<Markup, Refusal> {
    off_thread(move || {
        if let Some(shipped) = wanted.shipped()? {
            return Ok(page::read(&desk, shipped, wanted.against()));
        }
        let Some(file) = &wanted.file else { return Ok(page::list(&desk)) };
        let folder = desk.folder();
        let state = Edited::new(&folder, file, &Rules)?.state()?;
        let as_text = wanted.shown_as.as_deref() == Some("text");
        Ok(page::edit(&desk, file, &state, wanted.against(), as_text))
    })
    .await
}

/// What is found out about the convention: of the text being edited where it is without fault, or
/// else of the one in force.
async fn view(State(desk): State<Desk>, Query(wanted): Query<Wanted>) -> Result<Markup, Refusal> {
    off_thread(move || {
        let heart = heart::condition(wanted.against())?.heart;
        let subject = heart::subject();
        if let Some(shipped) = wanted.shipped()? {
            return Ok(findings::parts(&shipped.convention(), &heart, true)?);
        }
        let file = wanted.file.ok_or_else(Refusal::nothing_there)?;
        let folder = desk.folder();
        let (text, _) = Edited::new(&folder, &file, &Rules)?.text()?;
        if let Ok(convention) = Convention::from_toml(&text, &subject) {
            return Ok(findings::parts(&convention, &heart, true)?);
        }
        let in_force = folder.text(&file).map(|text| text.text).unwrap_or_default();
        match Convention::from_toml(&in_force, &subject) {
            Ok(convention) => Ok(findings::parts(&convention, &heart, false)?),
            Err(_) => Ok(maud::html! {
                div data-slot="consistency" { p.fault { (words::NOTHING_IN_FORCE) } }
                @for slot in ["figure", "comparison", "build"] { div data-slot=(slot) {} }
            }),
        }
    })
    .await
}

#[derive(Deserialize)]
struct Named {
    file: String,
}

async fn state(State(desk): State<Desk>, Query(named): Query<Named>) -> Result<Response, Refusal> {
    editor::state(desk, named.file, &Rules).await
}

async fn change(
    State(desk): State<Desk>,
    Json(request): Json<Request>,
) -> Result<Response, Refusal> {
    editor::change(desk, request, &Rules).await
}

#[derive(Deserialize)]
struct Copy {
    file: Option<String>,
    program: Option<String>,
    title: String,
}

async fn copy(State(desk): State<Desk>, Form(copy): Form<Copy>) -> Result<Redirect, Refusal> {
    let folder = desk.folder();
    let text = match (&copy.program, &copy.file) {
        (Some(name), _) => Shipped::find(name).ok_or_else(Refusal::nothing_there)?.toml.to_owned(),
        (None, Some(file)) => {
            Edited::new(&folder, file, &Rules)?;
            folder.text(file)?.text
        }
        (None, None) => return Err(Refusal::nothing_there()),
    };
    let name = editing::new_name(&folder, &copy.title)?;
    let text = toml_text::set(&text, &At::top("title"), &toml_text::quoted(&copy.title), &[]);
    folder.save(&name, &text.map_err(Refusal::of_all)?, None)?;
    Ok(Redirect::to(&address("/conventions", &[("file", &name)])))
}

async fn remove(State(desk): State<Desk>, Form(named): Form<Named>) -> Result<Redirect, Refusal> {
    let folder = desk.folder();
    Edited::new(&folder, &named.file, &Rules)?.take_away()?;
    Ok(Redirect::to("/conventions"))
}

async fn restore(State(desk): State<Desk>, Form(named): Form<Named>) -> Result<Redirect, Refusal> {
    editing::restore(&desk.folder(), &named.file)?;
    Ok(Redirect::to("/conventions"))
}
