//! The room of the course: what lies in it, the way through the job, other courses, settings.

use axum::extract::{Form, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use maud::{Markup, html};
use serde::Deserialize;

use super::ROOMS;
use crate::roster;
use crate::web::desk::Desk;
use crate::web::folder::{Folder, Listed};
use crate::web::jobs::JobState;
use crate::web::refusal::Refusal;
use crate::web::serve::DEMO;
use crate::web::settings::{Settings, Spelling};
use crate::web::shell::{Page, Room, shell};
use crate::web::words::course as words;
use crate::web::{SCRIPT, asset};

pub(crate) const ROOM: Room = Room { path: "/", title: words::TITLE };

pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .route("/", get(page))
        .route("/course/settings", post(set))
        .route("/course/undo", post(undo))
        .route("/course/open", post(open))
        .route("/course/new", post(make))
        .route("/course.js", get(|| asset(SCRIPT, include_bytes!("../assets/course.js"))))
}

async fn page(State(desk): State<Desk>) -> Markup {
    let folder = desk.folder();
    let (settings, version) = Settings::seen(&folder);
    let making = settings.invented
        && desk.jobs().progress(DEMO).is_some_and(|job| job.state == JobState::Running);
    let body = html! {
        div.room {
            div.roomhead { h1 { (settings.title) } }
            @if settings.invented { p.prose { (words::INVENTED) } }
            @if making {
                div #making .card data-job=(DEMO) {
                    p { (words::MAKING) }
                    p.doing.soft {}
                    progress aria-label=(words::MAKING) {}
                }
            }
            div.courseparts {
                section.tour aria-labelledby="tour-title" {
                    h2 #tour-title { (words::TOUR) }
                    ol { @for (path, says) in words::STOPS { (stop(path, says)) } }
                }
                div {
                    (contents(&folder))
                    (settings_form(&settings, &version, folder.undoable(Settings::FILE).unwrap_or(0)))
                    (others(&desk, &folder))
                }
            }
        }
    };
    shell(
        &desk,
        &Page {
            room: &ROOM,
            title: &settings.title,
            styles: &[],
            scripts: &["/course.js"],
            skip_to: ("tour-title", "Skip to the tour"),
            keys: &[],
            body,
        },
    )
}

fn stop(path: &str, says: &str) -> Markup {
    html! {
        @if let Some(room) = ROOMS.iter().find(|room| room.path == path) {
            li { a href=(path) { (room.title) } p { (says) } }
        }
    }
}

fn contents(folder: &Folder) -> Markup {
    let titles = |all: Vec<Listed>| all.into_iter().map(|one| one.title).collect::<Vec<_>>();
    let scans = folder.files("scans", &[""]).len();
    let rows = [
        ("/conventions", "Conventions", titles(folder.conventions())),
        ("/sheets", "Tests", titles(folder.tests())),
        ("/sheets", "Class list", folder.files("", &[roster::FILE])),
        ("/marking", "Scans", if scans == 0 { Vec::new() } else { vec![format!("{scans} files")] }),
    ];
    html! {
        section aria-labelledby="here-title" {
            h2 #here-title { (words::HERE) }
            dl.facts {
                @for (path, title, what) in rows {
                    div {
                        dt { @if ROOMS.iter().any(|room| room.path == path) { a href=(path) { (title) } } @else { (title) } }
                        dd { @if what.is_empty() { (words::NOTHING) } @else { (what.join(", ")) } }
                    }
                }
            }
            p.soft { (words::FOLDER) br; code { (folder.root().display()) } }
        }
    }
}

fn settings_form(settings: &Settings, version: &str, undoable: usize) -> Markup {
    let seen = html! { input type="hidden" name="seen" value=(version); };
    html! {
        section aria-labelledby="settings-title" {
            h2 #settings-title { (words::SETTINGS) }
            form #settings action="/course/settings" method="post" autocomplete="off" {
                (seen)
                div.choice {
                    label for="title" { (words::COURSE_TITLE) }
                    input #title name="title" type="text" maxlength="120" value=(settings.title);
                }
                div.choice {
                    label for="who" { (words::WHO) }
                    input #who name="who" type="text" maxlength="120" value=(settings.who);
                }
                div.choice {
                    label for="spelling" { (words::SPELLING) }
                    select #spelling name="spelling" translate="no" {
                        @for one in Spelling::ALL { option value=(one.word()) selected[settings.spelling == one] { (one.word()) } }
                    }
                }
                p #settings-said .soft role="status" data-saved=(words::SAVED) {}
                noscript { button { (words::SAVED) } }
            }
            form action="/course/undo" method="post" autocomplete="off" {
                (seen)
                button #undo disabled[undoable == 0] { (words::UNDO) }
            }
        }
    }
}

fn others(desk: &Desk, open: &Folder) -> Markup {
    let courses = courses(desk);
    html! {
        section aria-labelledby="others-title" {
            h2 #others-title { (words::OTHERS) }
            @if courses.iter().any(|(_, folder)| folder.root() != open.root()) {
                ul.plain {
                    @for (name, folder) in &courses {
                        @if folder.root() != open.root() {
                            li {
                                form action="/course/open" method="post" {
                                    input type="hidden" name="course" value=(name);
                                    button aria-label={ (words::OPEN) " " (folder.settings().title) } { (words::OPEN) }
                                    " " (folder.settings().title)
                                }
                            }
                        }
                    }
                }
            }
            form.newcourse action="/course/new" method="post" autocomplete="off" {
                div.choice {
                    label for="course-name" { (words::NEW) ": " (words::NAME) }
                    input #course-name name="course" type="text" required maxlength="80";
                }
                button { (words::MAKE) }
            }
        }
    }
}

/// The courses in the library, by the names of their folders.
fn courses(desk: &Desk) -> Vec<(String, Folder)> {
    let Ok(entries) = std::fs::read_dir(desk.library()) else { return Vec::new() };
    let mut names: Vec<String> = entries
        .flatten()
        .filter(|entry| entry.path().join(Settings::FILE).is_file())
        .filter_map(|entry| entry.file_name().into_string().ok())
        .collect();
    names.sort();
    let folder = |name: String| Some((name.clone(), Folder::new(&desk.library().join(name)).ok()?));
    names.into_iter().filter_map(folder).collect()
}

#[derive(Deserialize)]
struct Set {
    title: String,
    who: String,
    spelling: Spelling,
    seen: Option<String>,
}

/// Keeps the settings; gives the new version of their text.
async fn set(State(desk): State<Desk>, Form(set): Form<Set>) -> Result<Response, Refusal> {
    let folder = desk.folder();
    let Set { title, who, spelling, seen } = set;
    let line = |text: String| text.chars().filter(|c| !c.is_control()).take(120).collect();
    let settings = Settings { title: line(title), who: line(who), spelling, ..folder.settings() };
    let version = settings.save(&folder, seen.as_deref())?;
    Ok(Json(version).into_response())
}

#[derive(Deserialize)]
struct Undo {
    seen: Option<String>,
}

/// Puts the settings back to what they were before they were last changed.
async fn undo(State(desk): State<Desk>, Form(undo): Form<Undo>) -> Result<Redirect, Refusal> {
    desk.folder().undo_seen(Settings::FILE, undo.seen.as_deref())?;
    Ok(Redirect::to("/"))
}

#[derive(Deserialize)]
struct Named {
    course: String,
}

async fn open(State(desk): State<Desk>, Form(named): Form<Named>) -> Result<Redirect, Refusal> {
    let known = courses(&desk).into_iter().find(|(name, _)| *name == named.course);
    let (_, folder) = known.ok_or_else(|| Refusal::of_all("there is no course of this name"))?;
    desk.open(folder);
    Ok(Redirect::to("/"))
}

async fn make(State(desk): State<Desk>, Form(named): Form<Named>) -> Result<Redirect, Refusal> {
    let name = Folder::safe_name(&named.course);
    let path = desk.library().join(&name);
    if path.exists() {
        return Err(Refusal::of_all(format!(
            "there is a course folder called “{name}” already; choose another name"
        )));
    }
    let folder = Folder::new(&path)?;
    let title = named.course.chars().filter(|c| !c.is_control()).take(120).collect();
    Settings { title, ..Settings::default() }.save(&folder, None)?;
    desk.open(folder);
    Ok(Redirect::to("/"))
}
