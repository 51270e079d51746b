//! Review: what only a person can say, one question after the other, without names.
//!
//! The page has all questions in a block of data; its module shows one at a time and sends each
//! answer as it is given. Labels are shown together, one label across all drawings.

use axum::extract::{Query, State};
use convention::Says;
use marking::{Outcome, RuleMark};
use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::super::super::words::marking as words;
use super::decide::decided_word;
use super::work::{Work, database};
use super::{OfTest, Opened, ROOM, address, changes, marks_page};
use crate::failure::Failure;
use crate::mark::class::Record;
use crate::web::desk::Desk;
use crate::web::off_thread;
use crate::web::refusal::Refusal;
use crate::web::shell::{Page, shell};

/// A question, as the page's module has it.
#[derive(Debug, Serialize)]
struct Asked<'a> {
    print: &'a str,
    sheet: u32,
    rule: &'a str,
    question: &'a str,
    proposal: Option<&'static str>,
    measured: Option<String>,
    tolerance: String,
    most: f64,
    decided: Option<String>,
    /// Where to look: the page, and left, top, width and height as shares of it.
    place: Option<(u8, [f64; 4])>,
}

/// A rule that is asked about.
#[derive(Debug, Serialize)]
struct AskedRule<'a> {
    id: &'a str,
    text: &'a str,
    label: bool,
}

/// Everything that the page's module is told.
#[derive(Debug, Serialize)]
struct Told<'a> {
    test: &'a str,
    rules: Vec<AskedRule<'a>>,
    questions: Vec<Asked<'a>>,
    /// The question at which the review goes on.
    at: usize,
    words: std::collections::BTreeMap<&'static str, &'static str>,
}

/// A rule on a sheet that was found to be for a person to say, and what counts about it now.
pub(super) struct Open<'a> {
    pub(super) record: &'a Record,
    found: &'a RuleMark,
    pub(super) now: &'a RuleMark,
}

/// All that ever was for a person to say, decided or not: rule by rule across the class, so that
/// one rule is judged alike on all.
pub(super) fn open(work: &Work) -> Vec<Open<'_>> {
    let mut all = Vec::new();
    for id in work.class.rules() {
        for record in &work.class.records {
            let (Some(found), Some(marks)) = (work.found(record), record.marks()) else { continue };
            let own = |rule: &&RuleMark| rule.id == id;
            let found = found.rules.iter().find(own);
            let Some(found) = found.filter(|rule| rule.outcome == Outcome::Review) else {
                continue;
            };
            let Some(now) = marks.rules.iter().find(own) else { continue };
            if now.outcome == Outcome::Review && !now.is_open() {
                continue;
            }
            all.push(Open { record, found, now });
        }
    }
    all
}

/// How many questions are answered, and how many there are.
pub(super) fn answered(work: &Work) -> (usize, usize) {
    let all = open(work);
    (all.iter().filter(|one| one.now.outcome != Outcome::Review).count(), all.len())
}

pub(super) async fn page(
    State(desk): State<Desk>,
    Query(OfTest { test }): Query<OfTest>,
) -> Result<Markup, Refusal> {
    off_thread(move || {
        let Opened { folder, file, work } = Opened::of(&desk, &test)?;
        let who = folder.settings().who.trim().to_owned();
        let open = open(&work);
        let back = address(ROOM.path, &[("test", &file)]);
        let body = html! {
            div.room.review {
                @if open.is_empty() {
                    h1 { (words::REVIEW) }
                    div.empty { p #question { (words::NO_QUESTIONS) } p { a href=(back) { (words::BACK_TO_TABLE) } } }
                } @else if who.is_empty() {
                    h1 #question { (words::REVIEW) }
                    form.card.asks action="/marking/who" method="post" data-post="" {
                        p { (words::NAME_ASKED) }
                        p.actions { (changes::who_field()) button.primary { (words::BEGIN) } }
                        p.fault role="alert" {}
                    }
                } @else {
                    (questions(&work, &open, &file, at(&open, &cursors(&desk, &work, &who)?)))
                    p { a href=(back) { (words::BACK_TO_TABLE) } }
                }
            }
        };
        let asked = !open.is_empty() && !who.is_empty();
        Ok(shell(
            &desk,
            &Page { scripts: if asked { &["/review.js"] } else { &["/marking.js"] }, keys: &words::KEYS, ..marks_page(words::REVIEW, ("question", words::SKIP_TO_QUESTION), body) },
        ))
    })
    .await
}

/// Where the person stopped, on each print.
fn cursors(desk: &Desk, work: &Work, who: &str) -> Result<Vec<course::ReviewCursor>, Failure> {
    let course = database(&desk.folder())?;
    let mut cursors = Vec::new();
    for print in work.prints() {
        cursors.extend(course.review_cursor(who, print)?);
    }
    Ok(cursors)
}

/// The question where the person stopped; the first that is open where they never began or where
/// it is no longer asked.
fn at(open: &[Open<'_>], cursors: &[course::ReviewCursor]) -> usize {
    let is = |one: &Open<'_>, cursor: &course::ReviewCursor| {
        (&one.record.test, one.record.sheet, &one.now.id)
            == (&cursor.test, cursor.sheet, &cursor.rule)
    };
    let stopped = open.iter().rposition(|one| cursors.iter().any(|cursor| is(one, cursor)));
    let first = open.iter().position(|one| one.now.outcome == Outcome::Review);
    stopped.or(first).unwrap_or(0)
}

fn questions(work: &Work, open: &[Open<'_>], file: &str, at: usize) -> Markup {
    let convention = work.convention();
    let mut rules: Vec<AskedRule<'_>> = Vec::new();
    for one in open {
        if rules.last().is_none_or(|last| last.id != one.now.id) {
            let rule = convention.rule(&one.now.id);
            rules.push(AskedRule {
                id: &one.now.id,
                text: rule.map_or(one.now.id.as_str(), |rule| rule.text.as_str()),
                label: rule.is_some_and(|rule| matches!(rule.says, Says::Label { .. })),
            });
        }
    }
    let questions = open.iter().map(|one| asked(work, one)).collect();
    let told = Told { test: file, rules, questions, at, words: words::SAID.into_iter().collect() };
    // What is written into a page must not end its block of data.
    let data = serde_json::to_string(&told).unwrap_or_default().replace('<', "\\u003c");
    html! {
        script #told type="application/json" { (PreEscaped(data)) }
        noscript { p.fault { (words::SCRIPT_NEEDED) } }
        div.reviewparts {
            nav.rulelist aria-label=(words::QUESTIONS) { ol #rulelist {} }
            div.asking {
                div.progressline {
                    p #progress {}
                    progress #bar aria-label=(words::ANSWERED) {}
                    p #kept .soft role="status" {}
                }
                h1 #question tabindex="-1" {}
                p #asked {}
                p #measured .soft {}
                div #crop .paper.crop {}
                div #grid .grid hidden {}
                div #whole .paper.wholepage hidden { p.soft { (words::WHOLE_PAGE) } div.framed { img alt=""; span.frame {} } }
                p #noplace .empty hidden { (words::NOT_SHOWN) }
                div.answers role="group" aria-label=(words::DECISION) {
                    @for (key, decision, title) in words::ANSWERS {
                        button.answer type="button" data-answer=(decision) aria-keyshortcuts=(key) { (title) " " kbd { (key.to_uppercase()) } }
                    }
                    span #points .points {}
                }
                div.actions {
                    button type="button" #back { (words::PREVIOUS) " " kbd { "←" } }
                    button type="button" #next { (words::NEXT) " " kbd { "→" } }
                    button type="button" #skip { (words::SKIP_KEY) " " kbd { "S" } }
                    button type="button" #undo { (words::UNDO) " " kbd { "U" } }
                    button type="button" #rest aria-pressed="false" { (words::REST) " " kbd { "P" } }
                    button type="button" #allmet hidden { (words::ALL_MET) " " kbd { "A" } }
                    button type="button" #first { (words::FIRST_OPEN) " " kbd { "F" } }
                }
                p #fault .fault role="alert" {}
            }
        }
    }
}

fn asked<'a>(work: &Work, one: &Open<'a>) -> Asked<'a> {
    let Open { record, found, now } = one;
    let proposal = match found.proposal {
        Some(Outcome::Met) => Some(words::MET),
        Some(Outcome::NotMet) if found.proposes_half() => Some(words::HALF),
        Some(Outcome::NotMet) => Some(words::NOT_MET),
        Some(Outcome::Review) | None => None,
    };
    let test = work.editions().test(&record.test);
    let size = test.map(|test| test.paper.size_mm(test.orientation));
    let there = |page: u8| {
        let pages = record.pages.as_ref();
        pages.is_some_and(|all| all.pages.iter().any(|(one, _)| one.page == u32::from(page)))
    };
    let place = found.look.filter(|(page, _)| there(*page)).zip(size);
    let place = place.map(|((page, [left, top, right, bottom]), [w, h])| {
        (page, [left / w, top / h, (right - left) / w, (bottom - top) / h])
    });
    Asked {
        print: &record.test,
        sheet: record.sheet,
        rule: &now.id,
        question: found.question.as_deref().unwrap_or_default(),
        proposal,
        measured: found.measured_mm.map(words::number),
        tolerance: words::number(found.tolerance_mm),
        most: now.worth(),
        decided: decided_word(now),
        place,
    }
}
