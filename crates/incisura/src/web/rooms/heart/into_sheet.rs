//! This heart as a new test in the course folder.

use std::collections::BTreeMap;
use std::path::Path;

use axum::Json;
use axum::extract::{Form, Query, State};
use maud::{Markup, html};
use serde::Serialize;

use super::view::{View, changed_parameters};
use crate::failure::Failure;
use crate::test_file::{self, Changes};
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::settings::Spelling;
use crate::web::words::conventions::NO_SUCH;
use crate::web::words::heart as words;
use crate::web::{Pairs, off_thread, rules};

/// The longest title of a test, in letters.
const LONGEST_TITLE: usize = 80;

/// What was made of it.
#[derive(Serialize)]
pub(super) struct Made {
    file: String,
    said: String,
    link: &'static str,
}

/// The choices in the dialog.
pub(super) fn dialog(folder: &Folder) -> Markup {
    html! {
        dialog #sheet-dialog aria-labelledby="sheet-title-of" {
            form #sheet-form action="/heart/sheet" method="post" autocomplete="off" {
                h2 #sheet-title-of { (words::INTO_SHEET) }
                div.choice {
                    label for="sheet-title" { (words::SHEET_TITLE) }
                    input #sheet-title name="title" type="text" required maxlength=(LONGEST_TITLE);
                }
                div.choice {
                    label for="sheet-convention" { (words::SHEET_CONVENTION) }
                    (rules::choice("sheet-convention", folder, ""))
                }
                p #sheet-said role="status" {}
                div.actions {
                    button.primary { (words::SHEET_MAKE) }
                    button #sheet-close type="button" { (crate::web::words::shell::CLOSE) }
                }
            }
        }
    }
}

/// `POST /heart/sheet?STATE`: makes the test and says what it is called.
pub(super) async fn make(
    State(desk): State<Desk>,
    Query(pairs): Query<Pairs>,
    Form(form): Form<BTreeMap<String, String>>,
) -> Result<Json<Made>, Refusal> {
    let folder = desk.folder();
    let made = off_thread(move || {
        let view = View::read(&pairs)?;
        let field = |name: &str| form.get(name).map(|text| text.trim()).unwrap_or_default();
        let (title, convention) = (field("title"), field("convention"));
        let long = title.chars().count() > LONGEST_TITLE;
        if title.is_empty() || long || title.contains(char::is_control) {
            return Err(Refusal::of("sheet-title", words::SHEET_NO_TITLE));
        }
        if !rules::is_known(&folder, convention) {
            return Err(Refusal::of("sheet-convention", NO_SUCH));
        }
        let file = free_name(&folder, title);
        let path = folder.path(&file)?;
        let spelling = folder.settings().spelling;
        let text = |by_rules| text(&view, title, convention, spelling, by_rules);
        let by_rules = text(true)?;
        let (text, drawn_by_rules) = match drawable(&path, &by_rules) {
            Ok(()) => (by_rules, true),
            Err(_) => {
                let as_it_is = text(false)?;
                drawable(&path, &as_it_is)?;
                (as_it_is, false)
            }
        };
        folder.save(&file, &text, None)?;
        let said = words::sheet_made(&file, drawn_by_rules);
        Ok(Made { file, said, link: words::SHEET_LINK })
    })
    .await?;
    Ok(Json(made))
}

/// A name that no file of the course has yet.
fn free_name(folder: &Folder, title: &str) -> String {
    let stem = Folder::safe_name(title).to_lowercase().replace(' ', "-");
    let name = |number: usize| match number {
        1 => format!("{stem}.toml"),
        number => format!("{stem}-{number}.toml"),
    };
    let taken = |name: &String| folder.path(name).map_or(true, |path| path.exists());
    (1..).map(name).find(|name| !taken(name)).unwrap_or_else(|| name(1))
}

/// The test's file.
fn text(
    view: &View,
    title: &str,
    convention: &str,
    spelling: Spelling,
    by_rules: bool,
) -> Result<String, Refusal> {
    let mut test = toml::Table::new();
    test.insert("title".into(), title.into());
    test.insert("convention".into(), convention.into());
    test.insert("given".into(), vec![toml::Value::from("ecg")].into());
    let beats = view.beats.unwrap_or_else(|| heart::natural_beats(&view.heart));
    if !by_rules {
        test.insert("drawn_from".into(), "heart".into());
    }
    let beats = i64::try_from(beats.clamp(2, 4)).unwrap_or(2);
    test.insert("beats".into(), beats.into());
    if let Some(word) = spelling.other() {
        test.insert("spelling".into(), word.into());
    }
    let mut heart = toml::Table::new();
    heart.insert("condition".into(), view.condition.name.clone().into());
    if view.heart.rhythm != view.condition.heart.rhythm {
        heart.insert("rhythm".into(), view.heart.rhythm.name().into());
    }
    for (name, value) in changed_parameters(&view.condition, &view.heart) {
        heart.insert(name.into(), value.into());
    }
    test.insert("heart".into(), heart.into());
    toml::to_string(&test)
        .map_err(|error| Refusal::of_all(words::sheet_unwritten(&error.to_string())))
}

/// Whether a test of this text can be read and its first form's key drawn.
fn drawable(path: &Path, text: &str) -> Result<(), Failure> {
    let read = test_file::read(path, text, &Changes::default(), &BTreeMap::new())?;
    let form = sheet::forms(&read.test).into_iter().next();
    form.map_or(Ok(()), |form| test_file::form_heart(&read.test, &form, path, text).map(drop))
}
