//! What changed rules would do to the marks: before and after, to accept or to leave.

use axum::extract::{Form, Query, State};
use maud::{Markup, html};
use serde::Deserialize;

use super::super::super::words::marking as words;
use super::work::{Work, database};
use super::{OfTest, Opened, ROOM, address, decide, job, marks_page, test_file};
use crate::mark::sheets::Change;
use crate::web::desk::Desk;
use crate::web::off_thread;
use crate::web::refusal::Refusal;
use crate::web::shell::shell;

pub(super) async fn page(
    State(desk): State<Desk>,
    Query(OfTest { test }): Query<OfTest>,
) -> Result<Markup, Refusal> {
    off_thread(move || {
        let Opened { folder, file, work } = Opened::of(&desk, &test)?;
        let proposals = work.proposals(&database(&folder)?)?;
        let ids: Vec<String> = proposals.iter().map(|(id, _)| id.0.to_string()).collect();
        let changes: Vec<&Change> = proposals.iter().flat_map(|(_, changes)| changes).collect();
        let back = address(ROOM.path, &[("test", &file)]);
        let body = html! {
            div.room {
                div.roomhead { h1 #changes { (words::CHANGES) } p { (work.title()) } }
                @if changes.is_empty() {
                    div.empty { p { (words::NO_CHANGES) } p { a href=(back) { (words::BACK_TO_TABLE) } } }
                } @else {
                    p.prose { (words::CHANGES_ABOUT) }
                    form.actions.accept action="/marking/accept" method="post" data-post=(back) {
                        input type="hidden" name="test" value=(file);
                        input type="hidden" name="shown" value=(ids.join(" "));
                        @if folder.settings().who.is_empty() { (who_field()) }
                        button.primary { (words::ACCEPT) " (" (words::counted(changes.len(), "sheet", "sheets")) ")" }
                        a.button href=(back) { (words::LEAVE) }
                        p.fault role="alert" {}
                    }
                    (table(&work, &changes))
                }
            }
        };
        Ok(shell(
            &desk,
            &marks_page(words::CHANGES, ("changes", words::SKIP), body),
        ))
    })
    .await
}

/// Where a person says who they are.
pub(super) fn who_field() -> Markup {
    html! {
        span.choice {
            label for="who" { (words::YOUR_NAME) }
            input #who name="who" type="text" maxlength="120" required autocomplete="name";
        }
    }
}

fn table(work: &Work, changes: &[&Change]) -> Markup {
    let student = |change: &Change| {
        let record = work.record(Some(&change.test), change.sheet).ok();
        record.and_then(|record| record.whose()).map(|(name, _)| name.to_owned())
    };
    html! {
        table.wide.drawings {
            thead { tr {
                th scope="col" { (words::STUDENT) } th scope="col" { (words::SHEET) }
                th.number scope="col" { (words::BEFORE) } th.number scope="col" { (words::AFTER) }
                th.number scope="col" { (words::DIFFERENCE) } th scope="col" { (words::BY_RULES) }
            } }
            tbody {
                @for change in changes {
                    tr {
                        th scope="row" { (student(change).as_deref().unwrap_or(words::NOBODY)) }
                        td { (change.sheet) }
                        td.number { (said(change.before)) }
                        td.number { (said(change.after)) }
                        td.number { (signed(change.after[0] - change.before[0])) }
                        td { (change.rules.join(", ")) }
                    }
                }
            }
        }
    }
}

fn said([points, most, open]: [f64; 3]) -> String {
    let of = words::of_points(points, most);
    if open > 0.0 { format!("{of}, {}", words::still_open(open)) } else { of }
}

fn signed(value: f64) -> String {
    let number = words::number(value);
    if value > 0.0 { format!("+{number}") } else { number }
}

#[derive(Deserialize)]
pub(super) struct Accept {
    test: String,
    shown: String,
    #[serde(default)]
    who: String,
}

pub(super) async fn accept(
    State(desk): State<Desk>,
    Form(asked): Form<Accept>,
) -> Result<&'static str, Refusal> {
    off_thread(move || {
        let folder = desk.folder();
        let file = test_file(&folder, &asked.test)?;
        let shown: Vec<i64> =
            asked.shown.split_whitespace().filter_map(|id| id.parse().ok()).collect();
        job::accept(&desk, &file, &decide::who_typed(&folder, &asked.who)?, &shown)?;
        Ok("")
    })
    .await
}
