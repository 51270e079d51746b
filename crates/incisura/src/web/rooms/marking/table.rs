//! The room's first page with the table of drawings.

use std::cmp::Ordering;

use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::super::super::words::marking as words;
use super::intake::intake;
use super::job::Output;
use super::review::answered;
use super::work::Work;
use super::{ROOM, address, marks_page, test_choice, test_file, usual_test};
use crate::mark::class::Record;
use crate::mark::results::Status;
use crate::web::desk::Desk;
use crate::web::off_thread;
use crate::web::refusal::Refusal;
use crate::web::shell::{Page, shell};

/// What the page shows of the table.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Shown {
    test: String,
    status: String,
    sort: String,
    names: String,
}

/// Kinds of drawings to choose from, as the address has them, and what they are called.
const KINDS: [(&str, &str); 5] = [
    ("", words::ALL),
    ("review", words::IN_REVIEW),
    ("marked", words::MARKED),
    ("unreadable", words::UNREADABLE),
    ("no_sheet", words::NO_SHEET),
];
const ORDERS: [(&str, &str); 4] = [
    ("", words::SHEET),
    ("name", words::STUDENT),
    ("points", words::POINTS),
    ("open", words::OPEN),
];

pub(super) async fn page(State(desk): State<Desk>, Query(shown): Query<Shown>) -> Response {
    let asked = shown.test.clone();
    let made = {
        let desk = desk.clone();
        off_thread(move || whole(&desk, shown)).await
    };
    match made {
        Ok(body) => page_of(&desk, body).into_response(),
        Err(refusal) => {
            let status = refusal.status();
            let mend = match test_file(&desk.folder(), &asked) {
                Ok(file) => address("/sheets", &[("file", &file)]),
                Err(_) => "/sheets".to_owned(),
            };
            let body = html! {
                div.room {
                    h1 { (words::TITLE) }
                    (test_choice(&desk.folder(), &asked, ROOM.path))
                    div.empty {
                        p { (words::FAULTY) }
                        pre.fault { (refusal.message) }
                        p { (words::MEND) }
                        p { a.button href=(mend) { (words::TO_SHEETS) } }
                    }
                }
            };
            let status = if status.is_success() { StatusCode::BAD_REQUEST } else { status };
            (status, page_of(&desk, body)).into_response()
        }
    }
}

fn page_of(desk: &Desk, body: Markup) -> Markup {
    shell(
        desk,
        &Page {
            keys: words::TABLE_KEYS,
            ..marks_page(words::TITLE, ("drawings", words::SKIP), body)
        },
    )
}

fn whole(desk: &Desk, mut shown: Shown) -> Result<Markup, Refusal> {
    let folder = desk.folder();
    if shown.test.is_empty() {
        match usual_test(&folder)? {
            Some(test) => shown.test = test,
            None => {
                return Ok(html! {
                    div.room {
                        h1 #drawings { (words::TITLE) }
                        div.empty {
                            p { (words::NO_TEST) } p { (words::MAKE_TEST) }
                            p { a.button href="/sheets" { (words::TO_SHEETS) } }
                        }
                    }
                });
            }
        }
    }
    let file = test_file(&folder, &shown.test)?;
    let work = desk.marks().work(&folder, &file)?;
    Ok(html! {
        div.room {
            div.roomhead {
                h1 { (words::TITLE) }
                @if folder.tests().len() > 1 { (test_choice(&folder, &file, ROOM.path)) }
                @else { p.testtitle { (work.title()) } }
            }
            (intake(desk, &folder, &file, &work))
            @if work.outdated { (outdated(&file)) }
            (drawings(&work, &shown))
        }
    })
}

fn outdated(file: &str) -> Markup {
    html! {
        section.notice {
            p { (words::CHANGED) }
            form action="/marking/mark" method="post" data-then=(address("/marking/changes", &[("test", file)])) {
                input type="hidden" name="test" value=(file);
                button { (words::SEE_CHANGES) }
                p.fault role="alert" {}
            }
        }
    }
}

fn drawings(work: &Work, shown: &Shown) -> Markup {
    let handed_in = work.class.handed_in().next().is_some();
    let (done, all) = answered(work);
    let review = address("/marking/review", &[("test", &shown.test)]);
    html! {
        section aria-labelledby="drawings" {
            div.tablehead {
                h2 #drawings { (words::DRAWINGS) }
                @if handed_in {
                    @if all > done { a.button.primary href=(review) data-key="r" { (words::review(all - done)) } }
                    @else if all > 0 { a.button href=(review) data-key="r" { (words::REVIEW_DONE) } }
                    (choices(shown))
                }
            }
            @if handed_in {
                (table(work, shown))
                (outputs(&shown.test))
            } @else {
                div.empty { p { (words::EMPTY) } p { (words::EMPTY_NEXT) } }
            }
        }
    }
}

fn choices(shown: &Shown) -> Markup {
    let select = |name: &str, label: &str, value: &str, all: &[(&str, &str)]| {
        html! {
            span.choice {
                label for=(name) { (label) }
                select id=(name) name=(name) data-go="" {
                    @for (word, title) in all {
                        option value=(word) selected[*word == value] { (title) }
                    }
                }
            }
        }
    };
    html! {
        form.tablechoice action=(ROOM.path) method="get" {
            input type="hidden" name="test" value=(shown.test);
            (select("status", words::SHOW, &shown.status, &KINDS))
            (select("sort", words::SORT, &shown.sort, &ORDERS))
            label.check { input type="checkbox" name="names" value="hidden" checked[shown.names == "hidden"] data-go=""; (words::HIDE_NAMES) }
            noscript { button { (words::SHOW) } }
        }
    }
}

/// How the address has a record's status.
fn kind(record: &Record) -> &'static str {
    match record.status() {
        Some(Status::Marked) => "marked",
        Some(Status::Review) => "review",
        Some(Status::Unreadable) => "unreadable",
        None => "no_sheet",
    }
}

/// Whether anything was handed in, be it set aside.
fn is_there(record: &Record) -> bool {
    record.status().is_some() || !record.aside.is_empty()
}

fn name_of(record: &Record) -> Option<&str> {
    record.whose().map(|(name, _)| name)
}

fn table(work: &Work, shown: &Shown) -> Markup {
    let mut records: Vec<&Record> = work
        .class
        .records
        .iter()
        .filter(|record| record.student.is_some() || is_there(record))
        .filter(|record| shown.status.is_empty() || kind(record) == shown.status)
        .collect();
    let points = |record: &Record| record.marks().map_or(-1.0, marking::Marks::points);
    let open = |record: &Record| record.marks().map_or(0, |marks| marks.open().count());
    let order = |a: &&Record, b: &&Record| match shown.sort.as_str() {
        "name" => name_of(a).map(str::to_lowercase).cmp(&name_of(b).map(str::to_lowercase)),
        "points" => points(a).total_cmp(&points(b)),
        "open" => open(b).cmp(&open(a)),
        _ => Ordering::Equal,
    };
    records.sort_by(order);
    let hidden = shown.names == "hidden";
    html! {
        @if records.is_empty() {
            p { (words::NONE_SUCH) }
        } @else {
            div.scroll { table.wide.drawings {
                thead { tr {
                    th scope="col" { (words::STUDENT) } th scope="col" { (words::SHEET) }
                    th scope="col" { (words::FORM) } th scope="col" { (words::STATUS) }
                    th.number scope="col" { (words::POINTS) } th.number scope="col" { (words::OPEN) }
                    th scope="col" { (words::REASONS) }
                } }
                tbody { @for record in records { (row(record, shown, hidden)) } }
            } }
        }
    }
}

fn row(record: &Record, shown: &Shown, hidden: bool) -> Markup {
    let sheet = record.sheet.to_string();
    let mut pairs = vec![("test", shown.test.as_str()), ("print", &record.test), ("sheet", &sheet)];
    if hidden {
        pairs.push(("names", "hidden"));
    }
    let address = address("/marking/sheet", &pairs);
    let name = match name_of(record) {
        _ if hidden => words::HIDDEN,
        Some(name) => name,
        None => words::NOBODY,
    };
    let status = record.status();
    html! {
        tr {
            th scope="row" { @if hidden { span.soft { (name) } } @else { (name) } }
            td { @if is_there(record) { a href=(address) { (words::sheet(record.sheet)) } } @else { (words::sheet(record.sheet)) } }
            td { (record.form) }
            td { (status_word(status)) }
            @match record.marks() {
                Some(marks) => {
                    td.number { (words::of_points(marks.points(), marks.max_points())) }
                    td.number {
                        @let open = marks.open().count();
                        @if open > 0 { (open) span.soft { " (" (words::number(marks.open_points())) ")" } }
                    }
                }
                None => { td.number { "–" } td {} }
            }
            td.reasons { (reasons(record)) }
        }
    }
}

pub(super) fn status_word(status: Option<Status>) -> Markup {
    let (sign, word) = match status {
        Some(Status::Marked) => ("✓", words::MARKED),
        Some(Status::Review) => ("?", words::IN_REVIEW),
        Some(Status::Unreadable) => ("✗", words::UNREADABLE),
        None => ("–", words::NO_SHEET),
    };
    html! { span.sign aria-hidden="true" { (sign) } " " (word) }
}

/// What is to be known about a record, but for the number of questions, which has its column.
fn reasons(record: &Record) -> Markup {
    let mut reasons = record.remarks();
    reasons.extend(record.unknown().map(str::to_owned));
    html! {
        @match reasons.as_slice() {
            [] => {}
            [one] => { (one) }
            [first, others @ ..] => {
                details { summary { (first) " (+" (others.len()) ")" } ul.plain { @for one in others { li { (one) } } } }
            }
        }
    }
}

fn outputs(test: &str) -> Markup {
    html! {
        section.outputs aria-labelledby="outputs-title" {
            h2 #outputs-title { (words::OUTPUTS) }
            p.soft { (words::OUTPUTS_ABOUT) }
            p.actions #outputs data-writing=(words::WRITING) {
                @for output in Output::ALL {
                    a.button href=(address("/marking/file", &[("test", test), ("name", output.name())])) download { (words::output(output.name())) }
                }
            }
            p #outputs-said .soft role="status" {}
        }
    }
}
