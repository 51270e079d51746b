//! The scans of a sheet's pages: which of several counts, and which are set aside.
//!
//! A scan that was set aside stays in the folder and in the database, and can be brought back. What
//! was handed in is marked again at once, so that marks are always of the pages that count.

use std::collections::BTreeSet;

use axum::extract::{Form, State};
use course::{AsidePage, By, Course, Page, PageId, What};
use maud::{Markup, html};
use serde::Deserialize;

use super::super::super::words::marking as words;
use super::decide::who_typed;
use super::work::{SUBJECT, database};
use super::{address, job, test_file};
use crate::failure::Failure;
use crate::mark::class::Record;
use crate::mark::clock;
use crate::mark::prints::Books;
use crate::mark::sheets::mark_changed;
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::jobs::JobState;
use crate::web::off_thread;
use crate::web::refusal::Refusal;

/// What can be decided about a scan of a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Decision {
    /// Of those of the same page, this one counts.
    Counts,
    Aside,
    Back,
}

impl Decision {
    fn name(self) -> &'static str {
        match self {
            Self::Counts => "counts",
            Self::Aside => "aside",
            Self::Back => "back",
        }
    }

    fn title(self) -> &'static str {
        match self {
            Self::Counts => words::LET_COUNT,
            Self::Aside => words::SET_ASIDE,
            Self::Back => words::BRING_BACK,
        }
    }

    /// What is kept as the reason where a person gave none.
    fn usual_reason(self) -> &'static str {
        match self {
            Self::Counts => words::WHY_COUNTS,
            Self::Aside => words::WHY_ASIDE,
            Self::Back => words::WHY_BACK,
        }
    }
}

#[derive(Deserialize)]
pub(super) struct Asked {
    test: String,
    /// Numbers of readings, with spaces between.
    pages: String,
    what: Decision,
    #[serde(default)]
    why: String,
    #[serde(default)]
    who: String,
}

/// Keeps what was decided about scans of pages.
pub(super) async fn decide(
    State(desk): State<Desk>,
    Form(asked): Form<Asked>,
) -> Result<&'static str, Refusal> {
    off_thread(move || {
        let folder = desk.folder();
        let file = test_file(&folder, &asked.test)?;
        let (who, why) = (who_typed(&folder, &asked.who)?, asked.why.trim());
        let why = if why.is_empty() { asked.what.usual_reason() } else { why };
        idle(&desk, &folder, &file)?;
        let work = desk.marks().work(&folder, &file)?;
        let course = database(&folder)?;
        let mut prints = BTreeSet::new();
        for id in asked.pages.split_whitespace() {
            let id = id.parse().map(PageId).map_err(|_| Refusal::nothing_there())?;
            let place = course.page(id).map_err(Failure::from)?.place;
            let own = place.filter(|place| work.prints().any(|print| print == place.test));
            let place = own.ok_or_else(Refusal::nothing_there)?;
            let what = match asked.what {
                Decision::Counts => What::Page(id),
                Decision::Aside => What::Aside(id),
                Decision::Back => back(&course, &place.test, id)?,
            };
            let by = By::new(&who, clock::now(), why);
            course.decide(&place.test, place.sheet, &what, None, &by).map_err(Failure::from)?;
            prints.insert(place.test);
        }
        prints.iter().try_for_each(|print| mark_again(&desk, &folder, &file, print))?;
        Ok("")
    })
    .await
}

/// What brings a page back.
fn back(course: &Course, print: &str, id: PageId) -> Result<What, Refusal> {
    let aside = course.aside_pages(print).map_err(Failure::from)?;
    let own = aside.into_iter().find(|one| one.page.id == id);
    own.map(|one| What::Withdrawn(one.decision)).ok_or_else(Refusal::nothing_there)
}

/// Refuses while scans are being read and marked: what counts would change under that.
pub(super) fn idle(desk: &Desk, folder: &Folder, file: &str) -> Result<(), Refusal> {
    let job = desk.jobs().progress(&job::name(folder, file));
    if job.is_some_and(|job| job.state == JobState::Running) {
        return Err(Refusal::busy(words::UNDER_WAY));
    }
    Ok(())
}

/// Marks the sheets of a print of which other pages count now. The others stay as they are, so that
/// this takes no longer in a large class.
pub(super) fn mark_again(
    desk: &Desk,
    folder: &Folder,
    file: &str,
    print: &str,
) -> Result<(), Refusal> {
    let work = desk.marks().work(folder, file)?;
    let books = Books::new(work.editions(), &SUBJECT);
    mark_changed(&database(folder)?, &books, print, work.rules())?;
    Ok(())
}

/// How a scan of a page stands.
enum Stands<'a> {
    Counts,
    Duplicate,
    Aside(&'a AsidePage),
}

/// A scan of one of a sheet's pages.
pub(super) struct Capture<'a> {
    /// The page of the sheet.
    pub(super) number: u32,
    pub(super) page: &'a Page,
    stands: Stands<'a>,
}

impl Capture<'_> {
    pub(super) fn counts(&self) -> bool {
        matches!(self.stands, Stands::Counts)
    }
}

/// All scans of a sheet's pages, page by page, of each first the one that counts.
pub(super) fn captures(record: &Record) -> Vec<Capture<'_>> {
    let mut all = Vec::new();
    for (page, _) in record.pages.iter().flat_map(|pages| &pages.pages) {
        let capture = |one, stands| Capture { number: page.page, page: one, stands };
        all.push(capture(&page.counts, Stands::Counts));
        all.extend(page.others.iter().map(|one| capture(one, Stands::Duplicate)));
    }
    all.extend(record.aside.iter().map(|one| {
        let number = one.page.place.as_ref().map_or(0, |place| place.page);
        Capture { number, page: &one.page, stands: Stands::Aside(one) }
    }));
    all.sort_by_key(|capture| capture.number);
    all
}

/// The scans of a sheet, and what can be decided about them.
pub(super) fn section(folder: &Folder, file: &str, record: &Record, hidden: bool) -> Markup {
    let captures = captures(record);
    let several = captures.windows(2).any(|pair| pair[0].number == pair[1].number);
    let pages = captures.iter().any(|capture| capture.number > 1);
    html! {
        @if !captures.is_empty() {
            section aria-labelledby="scans" {
                h2 #scans { (words::SCANS_OF_SHEET) }
                @if several { p.soft.prose { (words::SCANNED_TWICE) } }
                ul.captures {
                    @for capture in &captures {
                        li.card {
                            @let source = picture(file, record, capture, hidden);
                            @let name = words::file_page(&capture.page.input.file, capture.page.input.number);
                            @if several { a href=(source) { img src=(source) alt=(name) loading="lazy"; } }
                            p {
                                @if pages { (words::page(capture.number)) ": " }
                                a href=(source) { (name) }
                            }
                            (stands(capture))
                            @let asked = std::slice::from_ref(&capture.page.id);
                            @match capture.stands {
                                Stands::Aside(_) => (ask(folder, file, asked, Decision::Back, &name)),
                                Stands::Counts => (ask(folder, file, asked, Decision::Aside, &name)),
                                Stands::Duplicate => {
                                    (ask(folder, file, asked, Decision::Counts, &name))
                                    (ask(folder, file, asked, Decision::Aside, &name))
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn stands(capture: &Capture<'_>) -> Markup {
    html! {
        @match capture.stands {
            Stands::Counts => p { strong { (words::COUNTS) } },
            Stands::Duplicate => p { (words::DUPLICATE) },
            Stands::Aside(AsidePage { by, .. }) => p { (words::aside_by(&by.who, &by.why)) },
        }
    }
}

fn picture(file: &str, record: &Record, capture: &Capture<'_>, hidden: bool) -> String {
    let (sheet, page) = (record.sheet.to_string(), capture.number.to_string());
    let id = capture.page.id.0.to_string();
    let mut pairs = vec![("test", file), ("print", &record.test), ("sheet", &sheet)];
    pairs.extend([("page", page.as_str()), ("capture", &id)]);
    if hidden {
        pairs.push(("names", "hidden"));
    }
    address("/marking/page.png", &pairs)
}

/// Asks for a decision about readings of pages; `name` says to those who do not see where it stands
/// what it is about.
pub(super) fn ask(
    folder: &Folder,
    file: &str,
    pages: &[PageId],
    decision: Decision,
    name: &str,
) -> Markup {
    let ids: Vec<String> = pages.iter().map(|id| id.0.to_string()).collect();
    html! {
        details.overrule {
            summary { (decision.title()) span.unseen { ": " (name) } }
            form action="/marking/scan" method="post" data-post="" {
                input type="hidden" name="test" value=(file);
                input type="hidden" name="pages" value=(ids.join(" "));
                input type="hidden" name="what" value=(decision.name());
                label.choice { span { (words::REASON) }
                    input name="why" type="text" maxlength="300" placeholder=(decision.usual_reason());
                }
                @if folder.settings().who.trim().is_empty() {
                    label.choice { (words::YOUR_NAME) input name="who" type="text" maxlength="120" required data-who=""; }
                }
                button { (decision.title()) }
                p.fault role="alert" {}
            }
        }
    }
}
