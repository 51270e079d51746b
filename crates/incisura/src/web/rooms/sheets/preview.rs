//! A test's pages as they will be printed, and printing them.

use std::path::Path;

use figure::{FontEmbedding, Page};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;

use super::{Tests, words};
use crate::args;
use crate::failure::Failure;
use crate::roster;
use crate::sheet_command::{self, Document, Order, Press, SHEET_LIST};
use crate::test_file::Changes;
use crate::web::desk::Desk;
use crate::web::editing::{Edited, Kind as _};
use crate::web::folder::{Folder, durably};
use crate::web::jobs;
use crate::web::printed;
use crate::web::query::address;
use crate::web::refusal::Refusal;

/// Which pages are looked at.
#[derive(Debug, Deserialize)]
pub(super) struct Wanted {
    file: String,
    document: Option<String>,
    /// A form's letter; all of them where there is none.
    form: Option<String>,
    #[serde(default)]
    large: bool,
}

/// The pages of one document as pictures, and which documents there are.
pub(super) fn pages(folder: &Folder, wanted: &Wanted) -> Result<Markup, Refusal> {
    let (text, _) = Edited::new(folder, &wanted.file, &Tests)?.text()?;
    let whole = Tests.faults(folder, &wanted.file, &text).is_empty();
    let in_force = || folder.text(&wanted.file).ok().map(|text| text.text);
    let usable = |text: &String| Tests.faults(folder, &wanted.file, text).is_empty();
    let text = if whole { Some(text) } else { in_force().filter(usable) };
    let Some(text) = text else {
        return Ok(html! { div data-slot="pages" { p.empty { (words::NOTHING_YET) } } });
    };
    let changes = Changes { large_print: wanted.large, ..Changes::default() };
    let path = folder.path(&wanted.file)?;
    let drawn = sheet_command::with_press(&path, &text, &changes, Order::default(), |press| {
        shown(press, wanted, whole)
    });
    Ok(drawn.unwrap_or_else(|failure| {
        html! {
            div data-slot="pages" {
                div.empty { p.fault { (words::CANNOT_PRINT) } p { (plainly(&failure, &path)) } }
            }
        }
    }))
}

/// What went wrong, without the path of a file that everybody here knows.
fn plainly(failure: &Failure, path: &Path) -> String {
    failure
        .to_string()
        .replace(&format!("{}: ", path.display()), "")
        .replace(&format!("{}, ", path.display()), "")
}

fn shown(press: &Press<'_>, wanted: &Wanted, whole: bool) -> Result<Markup, Failure> {
    let all = Document::of(press.test);
    let named = |document: &&Document| Some(document.file()) == wanted.document.as_deref();
    let document = *all.iter().find(named).unwrap_or(&Document::DrawingSheets);
    let pages = press.pages(document)?;
    let letters: Vec<String> =
        sheet::forms(press.test).iter().map(|form| form.letter.into()).collect();
    // Pages of one form say so in their title; a page without a title goes with the one before.
    let mut form = None;
    let mut of_form = |page: &Page| {
        if !page.title.is_empty() {
            let is = |letter: &&String| page.title.contains(&format!("· Form {letter}"));
            form = letters.iter().find(is).cloned();
        }
        wanted.form.is_none() || form.is_none() || form == wanted.form
    };
    let count = pages.len();
    let numbered: Vec<(usize, &Page)> = pages.iter().enumerate().collect();
    let kept: Vec<(usize, &Page)> =
        numbered.into_iter().filter(|(_, page)| of_form(page)).collect();
    Ok(html! {
        div data-slot="documents" {
            @for one in &all { option value=(one.file()) selected[*one == document] { (one.title()) } }
        }
        div data-slot="letters" {
            option value="" { (words::ALL_FORMS) }
            @for letter in &letters { option value=(letter) selected[wanted.form.as_ref() == Some(letter)] { (letter) } }
        }
        div data-slot="pages" {
            @if !whole { p.fault { (words::IN_FORCE_SHOWN) } }
            @for (index, page) in kept {
                figure.sheetpage translate="no" {
                    figcaption { (words::page_of(index + 1, count, &page.title)) }
                    div.paper { (PreEscaped(picture(page, index, count))) }
                }
            }
        }
    })
}

/// A page as a picture, with all that it says as its words.
fn picture(page: &Page, index: usize, count: usize) -> String {
    let mut figure = page.figure();
    figure.title = words::page_of(index + 1, count, &page.title);
    figure.alt = page.said();
    figure.svg(FontEmbedding::Referenced)
}

/// How a test is to be printed.
#[derive(Debug, Deserialize)]
pub(super) struct Print {
    file: String,
    /// Whether for the class list.
    #[serde(default)]
    class: bool,
    #[serde(default)]
    spare: String,
    #[serde(default)]
    each: bool,
    #[serde(default)]
    large: bool,
}

/// The name of the work that prints a test.
pub(super) fn job(folder: &Folder, file: &str) -> String {
    jobs::name("print", folder, file)
}

/// Most spare sheets, as on the command line.
const MOST_SPARE: u16 = 2000;

/// Begins to print; gives the name of the work.
pub(super) fn begin(desk: &Desk, print: &Print) -> Result<String, Refusal> {
    let folder = desk.folder();
    let edited = Edited::new(&folder, &print.file, &Tests)?;
    let state = edited.state()?;
    if !state.in_force {
        return Err(Refusal::of_all(words::NOTHING_YET));
    }
    let spare = match print.spare.trim() {
        "" | "0" => None,
        typed => {
            let number = typed.parse::<u16>().ok().filter(|number| *number <= MOST_SPARE);
            let what = || {
                Refusal::of("spare", format!("spare sheets are a number from 0 to {MOST_SPARE}"))
            };
            Some(number.ok_or_else(what)?)
        }
    };
    let roster = folder.path(roster::FILE)?;
    let roster = (print.class && roster.is_file()).then_some(roster);
    let students = roster.as_deref().map(roster::read).transpose()?.unwrap_or_default();
    printed::same_rules(&folder, &print.file, print.large)?;
    let into = printed::folder_to_print(&folder, &print.file, print.large)?;
    let order = Order { students, spare };
    let forms = state.text.parse::<toml::Table>().ok();
    let forms = forms.and_then(|table| table.get("forms")?.as_integer()).unwrap_or(1);
    let numbered = !order.students.is_empty() || order.spare.is_some();
    let forms = usize::try_from(forms).unwrap_or(1).clamp(1, 26);
    let list = numbered.then(|| order.sheet_list(forms));
    if let Some(list) = &list {
        printed::same_people(&into, list).map_err(Refusal::of_all)?;
    }
    let args = args::Sheet {
        test: folder.path(&print.file)?,
        output: into.clone(),
        roster,
        spare,
        forms: None,
        paper: None,
        large_print: print.large,
        per_student: print.each,
    };
    let name = job(&folder, &print.file);
    desk.jobs().begin(&name, move |_| {
        let said = sheet_command::print(&args)?;
        if let Some(list) = list {
            // Also of spare sheets alone, so that no later print gives their numbers to students.
            durably(&into.join(SHEET_LIST), list.as_bytes())?;
        }
        Ok(said)
    })?;
    Ok(name)
}

/// The files of all prints of a test.
pub(super) fn prints(folder: &Folder, test: &str) -> Markup {
    let prints = printed::prints(folder, test);
    let as_now = printed::is_as_printed(folder, test);
    html! {
        @if prints.is_empty() { p.soft { (words::NOT_PRINTED) } }
        @for (index, print) in prints.iter().enumerate() {
            @let name = print.strip_prefix(folder.root()).unwrap_or(print).to_string_lossy().into_owned();
            @let large = name.ends_with(" large");
            div.print {
                h3 {
                    (sheets_in(print)) " "
                    span.soft { @if large { (words::IN_LARGE) } @else if index == 0 && as_now { (words::NOW) } @else { (words::BEFORE) } }
                }
                p.soft { code { (name) } }
                ul.plain { @for file in folder.files(&name, &[".pdf"]) { (link(test, index, &file)) } }
                @let each = folder.files(&format!("{name}/per-student"), &[".pdf"]);
                @if !each.is_empty() {
                    details {
                        summary { (words::PER_STUDENT) " (" (each.len()) ")" }
                        ul.plain { @for file in each { (link(test, index, &format!("per-student/{file}"))) } }
                    }
                }
            }
        }
    }
}

fn sheets_in(print: &Path) -> String {
    let list = std::fs::read_to_string(print.join(SHEET_LIST)).unwrap_or_default();
    match list.lines().count() {
        0 | 1 => words::MASTERS.to_owned(),
        lines => words::sheets(lines - 1),
    }
}

fn link(test: &str, print: usize, file: &str) -> Markup {
    let number = print.to_string();
    let query = [("file", test), ("print", number.as_str()), ("name", file)];
    let there = address("/sheets/printed", &query);
    let known = Document::ALL.into_iter().find(|document| document.file() == file);
    let title = match known {
        Some(document) => document.title(),
        None => file,
    };
    html! {
        li {
            a href=(there) target="_blank" { (title) }
            " " a.soft href={ (there) "&keep=true" } download { (words::DOWNLOAD) span.unseen { ": " (file) } }
        }
    }
}

/// Which printed file is asked for.
#[derive(Debug, Deserialize)]
pub(super) struct Printed {
    file: String,
    print: usize,
    pub(super) name: String,
    #[serde(default)]
    pub(super) keep: bool,
}

/// The bytes of a printed file.
pub(super) fn file(folder: &Folder, printed: &Printed) -> Result<Vec<u8>, Refusal> {
    let prints = printed::prints(folder, &printed.file);
    let print = prints.get(printed.print).ok_or_else(Refusal::nothing_there)?;
    let inside = print.strip_prefix(folder.root()).unwrap_or(print).to_string_lossy();
    let path = folder.path(&format!("{inside}/{}", printed.name))?;
    if !printed.name.ends_with(".pdf") || !path.is_file() {
        return Err(Refusal::nothing_there());
    }
    Ok(std::fs::read(&path).map_err(|reason| Failure::unreadable(&path, reason))?)
}
