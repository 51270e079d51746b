//! What a person decides: each decision is in the database before it is answered.

use axum::Json;
use axum::extract::{Form, State};
use course::{By, Course, Decision, DecisionId, ReviewCursor, What};
use marking::{Outcome, RuleMark, Ruling};
use serde::{Deserialize, Serialize};

use super::super::super::words::marking as words;
use super::work::{Work, database};
use super::{Opened, captures, review, test_file};
use crate::failure::Failure;
use crate::mark::clock;
use crate::mark::decisions::{USUAL_REASON, decided};
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::off_thread;
use crate::web::refusal::Refusal;
use crate::web::settings::Settings;

/// Who decides, as the course's settings have it.
pub(super) fn who(folder: &Folder) -> Result<String, Refusal> {
    let who = folder.settings().who.trim().to_owned();
    if who.is_empty() { Err(Refusal::of("who", words::NAME_NEEDED)) } else { Ok(who) }
}

#[derive(Deserialize)]
pub(super) struct Who {
    who: String,
}

/// Keeps who decides in this course.
pub(super) async fn name(
    State(desk): State<Desk>,
    Form(Who { who: typed }): Form<Who>,
) -> Result<&'static str, Refusal> {
    if typed.trim().is_empty() {
        return Err(Refusal::of("who", words::NAME_NEEDED));
    }
    who_typed(&desk.folder(), &typed)?;
    Ok("")
}

/// Who decides: the name that was typed, which is kept, or else as [`who`].
pub(super) fn who_typed(folder: &Folder, typed: &str) -> Result<String, Refusal> {
    let typed = typed.trim();
    if typed.is_empty() {
        return who(folder);
    }
    let (mut settings, version) = Settings::seen(folder);
    typed.clone_into(&mut settings.who);
    settings.save(folder, Some(&version))?;
    Ok(settings.who)
}

/// A decision, and where the person is now.
#[derive(Deserialize)]
pub(super) struct Decide {
    test: String,
    print: String,
    sheet: u32,
    rule: String,
    decision: String,
    #[serde(default)]
    number: String,
    #[serde(default)]
    why: String,
    #[serde(default)]
    who: String,
    at_print: Option<String>,
    at_sheet: Option<u32>,
    at_rule: Option<String>,
}

impl Decide {
    /// The decision as it would be typed.
    fn typed(&self) -> String {
        let number = self.number.trim();
        match self.decision.trim() {
            "points" => number.to_owned(),
            "worth" => format!("worth {number}"),
            other => other.to_owned(),
        }
    }
}

/// What counts about a rule on a sheet now.
#[derive(Serialize)]
pub(super) struct Counts {
    print: String,
    sheet: u32,
    rule: String,
    decided: Option<String>,
}

impl Counts {
    fn of(work: &Work, print: &str, sheet: u32, rule: &str) -> Self {
        let record = work.record(Some(print), sheet).ok();
        let rules = record.and_then(|record| record.marks()).map(|marks| marks.rules.as_slice());
        let own = rules.unwrap_or_default().iter().find(|one| one.id == rule);
        Self {
            print: print.to_owned(),
            sheet,
            rule: rule.to_owned(),
            decided: own.and_then(decided_word),
        }
    }
}

/// What was decided about a rule, as it would be typed; none while it is open or as measured.
pub(super) fn decided_word(mark: &RuleMark) -> Option<String> {
    if mark.outcome == Outcome::Review {
        return None;
    }
    mark.decided.as_ref().map(|ruling| match ruling {
        Ruling::Met => "met".to_owned(),
        Ruling::Half => "half".to_owned(),
        Ruling::NotMet => "not met".to_owned(),
        Ruling::Points { points } => words::number(*points),
        Ruling::Waived => "waive".to_owned(),
        Ruling::Reweighted { max_points } => format!("worth {}", words::number(*max_points)),
    })
}

pub(super) async fn decide(
    State(desk): State<Desk>,
    Form(asked): Form<Decide>,
) -> Result<Json<Counts>, Refusal> {
    off_thread(move || {
        let Opened { folder, file, work } = Opened::of(&desk, &asked.test)?;
        let who = who_typed(&folder, &asked.who)?;
        let record = work.record(Some(&asked.print), asked.sheet)?;
        let rules = record.marks().map(|marks| marks.rules.as_slice()).unwrap_or_default();
        let rule = rules.iter().find(|rule| rule.id == asked.rule);
        let rule = rule.ok_or_else(|| Refusal::of_all(words::NO_SUCH_SHEET))?;
        let why = asked.why.trim();
        let ruling =
            decided(&asked.typed(), why, rule.worth()).map_err(|what| Refusal::of("why", what))?;
        let why = if why.is_empty() { USUAL_REASON } else { why };
        let by = By::new(&who, clock::now(), why);
        let what = What::Rule { rule: asked.rule.clone(), ruling };
        let course = database(&folder)?;
        let seen = work.marking(&asked.print);
        course.decide(&asked.print, asked.sheet, &what, seen, &by).map_err(Failure::from)?;
        if let (Some(print), Some(sheet), Some(rule)) =
            (asked.at_print, asked.at_sheet, asked.at_rule)
        {
            set_cursor(&course, &who, print, sheet, rule)?;
        }
        let work = desk.marks().work(&folder, &file)?;
        Ok(Json(Counts::of(&work, &asked.print, asked.sheet, &asked.rule)))
    })
    .await
}

fn set_cursor(
    course: &Course,
    who: &str,
    print: String,
    sheet: u32,
    rule: String,
) -> Result<(), Refusal> {
    let cursor = ReviewCursor { who: who.to_owned(), test: print, rule, sheet };
    Ok(course.set_review_cursor(&cursor).map_err(Failure::from)?)
}

#[derive(Deserialize)]
pub(super) struct At {
    test: String,
    print: String,
    sheet: u32,
    rule: String,
}

/// Keeps where a review stopped.
pub(super) async fn cursor(
    State(desk): State<Desk>,
    Form(at): Form<At>,
) -> Result<&'static str, Refusal> {
    off_thread(move || {
        let Opened { folder, work, .. } = Opened::of(&desk, &at.test)?;
        work.record(Some(&at.print), at.sheet)?;
        set_cursor(&database(&folder)?, &who(&folder)?, at.print, at.sheet, at.rule)?;
        Ok("")
    })
    .await
}

/// Takes back the person's last decision about a question of the review that still counts.
pub(super) async fn undo(
    State(desk): State<Desk>,
    Form(super::OfTest { test }): Form<super::OfTest>,
) -> Result<Json<Counts>, Refusal> {
    off_thread(move || {
        let Opened { folder, file, work } = Opened::of(&desk, &test)?;
        let who = who(&folder)?;
        let course = database(&folder)?;
        let questions = review::open(&work);
        let is_asked = |print: &str, decision: &Decision| {
            let What::Rule { rule, .. } = &decision.what else { return false };
            questions.iter().any(|one| {
                (one.record.test.as_str(), one.record.sheet, &one.now.id)
                    == (print, decision.sheet, rule)
            })
        };
        let mut last: Option<(String, Decision)> = None;
        for print in work.prints() {
            for decision in course.decisions(print).map_err(Failure::from)? {
                let own = decision.by.who == who && is_asked(print, &decision);
                if own && last.as_ref().is_none_or(|(_, last)| last.id < decision.id) {
                    last = Some((print.to_owned(), decision));
                }
            }
        }
        let (print, decision) = last.ok_or_else(|| Refusal::of_all(words::NOTHING_TO_UNDO))?;
        withdraw(&course, &print, decision.sheet, decision.id, &who)?;
        let What::Rule { rule, .. } = decision.what else { return Err(Refusal::nothing_there()) };
        let work = desk.marks().work(&folder, &file)?;
        Ok(Json(Counts::of(&work, &print, decision.sheet, &rule)))
    })
    .await
}

fn withdraw(
    course: &Course,
    print: &str,
    sheet: u32,
    id: DecisionId,
    who: &str,
) -> Result<(), Refusal> {
    let by = By::new(who, clock::now(), words::UNDONE);
    course.decide(print, sheet, &What::Withdrawn(id), None, &by).map_err(Failure::from)?;
    Ok(())
}

#[derive(Deserialize)]
pub(super) struct TakeBack {
    test: String,
    print: String,
    sheet: u32,
    decision: i64,
}

/// Takes back one decision about a sheet.
pub(super) async fn take_back(
    State(desk): State<Desk>,
    Form(asked): Form<TakeBack>,
) -> Result<&'static str, Refusal> {
    off_thread(move || {
        let folder = desk.folder();
        let file = test_file(&folder, &asked.test)?;
        let who = who(&folder)?;
        let (course, id) = (database(&folder)?, DecisionId(asked.decision));
        let history = course.history(&asked.print, asked.sheet).map_err(Failure::from)?;
        let of_scan = |one: &Decision| matches!(one.what, What::Page(_) | What::Aside(_));
        let of_scan = history.iter().any(|one| one.id == id && of_scan(one));
        if of_scan {
            captures::idle(&desk, &folder, &file)?;
        }
        withdraw(&course, &asked.print, asked.sheet, id, &who)?;
        if of_scan {
            captures::mark_again(&desk, &folder, &file, &asked.print)?;
        }
        Ok("")
    })
    .await
}

#[derive(Deserialize)]
pub(super) struct Give {
    test: String,
    print: String,
    sheet: u32,
    student: String,
}

/// Says whose a sheet is.
pub(super) async fn give(
    State(desk): State<Desk>,
    Form(asked): Form<Give>,
) -> Result<&'static str, Refusal> {
    off_thread(move || {
        let folder = desk.folder();
        test_file(&folder, &asked.test)?;
        let by = By::new(who(&folder)?, clock::now(), words::WHOSE);
        let student = Some(asked.student).filter(|key| !key.is_empty());
        let what = What::Student(student);
        let course = database(&folder)?;
        course.decide(&asked.print, asked.sheet, &what, None, &by).map_err(Failure::from)?;
        Ok("")
    })
    .await
}
