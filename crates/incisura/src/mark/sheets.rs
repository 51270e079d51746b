//! Every sheet of a print: its pages that count, and what is made of them.

use std::collections::BTreeMap;
use std::sync::Arc;

use course::{By, Course, Json, Marking, MarkingId, SheetPage, SheetVerdicts, What};
use marking::{DrawnSheet, Located, Marks, Rubric, RuleMark, Ruling};

use crate::failure::Failure;
use crate::mark::clock;
use crate::mark::prints::Books;
use crate::mark::reading::Kept;
use crate::progress;

/// Under which name the landmarks stand among the verdicts.
const LANDMARKS: &str = "@landmarks";
/// Under which name the pages stand that were marked.
const PAGES: &str = "@pages";

/// The pages of one sheet that count.
#[derive(Clone, Debug)]
pub(crate) struct SheetPages {
    pub(crate) sheet: u32,
    pub(crate) form: char,
    pub(crate) pages: Vec<(SheetPage, Arc<Kept>)>,
}

impl SheetPages {
    /// All sheets of a print of which a page could be read.
    pub(crate) fn all(course: &Course, test: &str) -> Result<Vec<Self>, Failure> {
        let mut sheets: Vec<Self> = Vec::new();
        for page in course.sheet_pages(test)? {
            let Some(drawing) = course.drawing(page.counts.id)? else { continue };
            let kept = Arc::new(drawing.to::<Kept>().map_err(Failure::kept)?);
            let form = page.counts.place.as_ref().map_or('A', |place| place.form);
            match sheets.last_mut().filter(|last| last.sheet == page.sheet) {
                Some(last) => last.pages.push((page, kept)),
                None => sheets.push(Self { sheet: page.sheet, form, pages: vec![(page, kept)] }),
            }
        }
        Ok(sheets)
    }

    pub(crate) fn drawn(&self) -> DrawnSheet {
        DrawnSheet { pages: self.pages.iter().map(|(_, kept)| kept.drawn.clone()).collect() }
    }

    /// Numbers of the pages, of so many, that are not there.
    pub(crate) fn missing(&self, of: usize) -> Vec<u32> {
        let there = |number: &u32| self.pages.iter().any(|(page, _)| page.page == *number);
        (1..=of as u32).filter(|number| !there(number)).collect()
    }

    /// What was marked: the files' digests and pages.
    fn evidence(&self) -> Vec<(&str, u32)> {
        let input = |page: &'_ SheetPage| page.counts.input.number;
        self.pages.iter().map(|(page, _)| (page.counts.input.hash.as_str(), input(page))).collect()
    }
}

/// What is found on one sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Finding {
    pub(crate) located: Located,
    pub(crate) marks: Marks,
}

/// Finds landmarks on a sheet and holds it to the rules of its form. What belongs on a page that
/// is not there is neither found nor absent, and so for a person to say.
fn found(sheet: &SheetPages, rubric: &Rubric<'_>) -> Finding {
    let drawn = sheet.drawn();
    let located = marking::locate(&drawn, rubric);
    let marks = marking::mark(&drawn, &located, rubric);
    Finding { located, marks }
}

fn stored(sheet: &SheetPages, finding: &Finding) -> Result<SheetVerdicts, Failure> {
    let json = |rule: &RuleMark| Ok((rule.id.clone(), Json::of(rule).map_err(Failure::kept)?));
    let mut verdicts = finding.marks.rules.iter().map(json).collect::<Result<Vec<_>, Failure>>()?;
    verdicts.push((LANDMARKS.to_owned(), Json::of(&finding.located).map_err(Failure::kept)?));
    verdicts.push((PAGES.to_owned(), Json::of(&sheet.evidence()).map_err(Failure::kept)?));
    Ok(SheetVerdicts { sheet: sheet.sheet, verdicts })
}

fn restored(verdicts: &SheetVerdicts) -> Result<Finding, Failure> {
    let mut finding = Finding::default();
    for (name, verdict) in &verdicts.verdicts {
        match name.as_str() {
            LANDMARKS => finding.located = verdict.to().map_err(Failure::kept)?,
            PAGES => {}
            _ => finding.marks.rules.push(verdict.to().map_err(Failure::kept)?),
        }
    }
    Ok(finding)
}

/// A sheet whose marks the rules as they are now would change.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Change {
    pub(crate) test: String,
    pub(crate) sheet: u32,
    /// Points, the most of them and those that are open, before and after.
    pub(crate) before: [f64; 3],
    pub(crate) after: [f64; 3],
    /// The rules about which something else is said.
    pub(crate) rules: Vec<String>,
}

/// What marking a print came to.
#[derive(Clone, Debug, Default)]
pub(crate) struct Marked {
    pub(crate) sheets: Vec<SheetPages>,
    /// What counts about each, decisions not yet taken in.
    pub(crate) findings: BTreeMap<u32, Finding>,
    pub(crate) changes: Vec<Change>,
}

/// Marks all sheets of a print and keeps what is new. A marking that would change what counts is
/// only proposed unless it is to be accepted.
pub(crate) fn mark_all(
    course: &Course,
    books: &Books<'_>,
    test: &str,
    rules: (&convention::Convention, &str),
    accept: Option<&str>,
) -> Result<Marked, Failure> {
    marked(course, books, test, rules, accept, &[])
}

/// Marks again the sheets of a print of whose pages others count than when they were marked. Where
/// they were marked by other rules or another version of the program, all of them.
pub(crate) fn mark_changed(
    course: &Course,
    books: &Books<'_>,
    test: &str,
    rules: (&convention::Convention, &str),
) -> Result<Marked, Failure> {
    // The last is of all sheets by the rules of then, also where it is only proposed.
    let last = course
        .markings(test)?
        .pop()
        .filter(|last| last.marking.rubric == rules.1 && last.marking.program == program());
    let known = last.map_or_else(|| Ok(Vec::new()), |last| course.verdicts(last.id))?;
    marked(course, books, test, rules, None, &known)
}

/// The program that marks.
fn program() -> String {
    format!("incisura {}, reader {}", env!("CARGO_PKG_VERSION"), reader::VERSION)
}

/// Marks the sheets of a print but those of which `known` are verdicts about the same pages.
fn marked(
    course: &Course,
    books: &Books<'_>,
    test: &str,
    rules: (&convention::Convention, &str),
    accept: Option<&str>,
    known: &[SheetVerdicts],
) -> Result<Marked, Failure> {
    let Some(book) = books.book(test) else {
        return Err(Failure::Other(format!("test {test} cannot be laid out any more")));
    };
    let sheets = SheetPages::all(course, test)?;
    let rubrics: Vec<Rubric<'_>> =
        (0..book.forms()).map(|form| Rubric::new(book, rules.0, form)).collect();
    let new = progress::together("marking sheets", &sheets, |sheet| {
        let pages = Json::of(&sheet.evidence()).map_err(Failure::kept)?;
        let same =
            known.iter().find(|one| one.sheet == sheet.sheet && pages_of(one) == Some(&pages));
        if let Some(same) = same {
            return Ok(same.clone());
        }
        let form = form_index(sheet.form).min(rubrics.len() - 1);
        stored(sheet, &found(sheet, &rubrics[form]))
    })?;
    let marking = Marking {
        test: test.to_owned(),
        rubric: rules.1.to_owned(),
        program: program(),
        at: clock::now(),
    };
    let (counts, changes) = keep(course, &marking, new, accept)?;
    let mut findings = BTreeMap::new();
    for verdicts in &counts {
        findings.insert(verdicts.sheet, restored(verdicts)?);
    }
    Ok(Marked { sheets, findings, changes })
}

/// The sheets of a print with what counts about them, without marking anything.
pub(crate) fn as_marked(course: &Course, test: &str) -> Result<Marked, Failure> {
    let sheets = SheetPages::all(course, test)?;
    let mut findings = BTreeMap::new();
    if let Some(marking) = course.marking(test)? {
        for verdicts in course.verdicts(marking.id)? {
            findings.insert(verdicts.sheet, restored(&verdicts)?);
        }
    }
    Ok(Marked { sheets, findings, changes: Vec::new() })
}

/// The marking of a print by `rubric` that waits for a person to accept it, and whose marks it
/// would change.
pub(crate) fn proposed(
    course: &Course,
    test: &str,
    rubric: &str,
) -> Result<Option<(MarkingId, Vec<Change>)>, Failure> {
    let all = course.markings(test)?;
    let last = all.last().filter(|last| last.accepted.is_empty() && last.marking.rubric == rubric);
    let (Some(last), Some(counts)) = (last, course.marking(test)?) else { return Ok(None) };
    let (old, new) = (course.verdicts(counts.id)?, course.verdicts(last.id)?);
    let decisions = rulings(course, test)?;
    let mut changes = Vec::new();
    for verdicts in &new {
        if let Some(before) = old.iter().find(|other| other.sheet == verdicts.sheet) {
            changes.extend(change(test, before, verdicts, &decisions)?);
        }
    }
    Ok((!changes.is_empty()).then_some((last.id, changes)))
}

/// Number of a form by its letter, from 0.
pub(crate) fn form_index(letter: char) -> usize {
    (letter as usize).saturating_sub('A' as usize)
}

/// Keeps a marking, and gives what counts now and who would get other marks.
fn keep(
    course: &Course,
    marking: &Marking,
    new: Vec<SheetVerdicts>,
    accept: Option<&str>,
) -> Result<(Vec<SheetVerdicts>, Vec<Change>), Failure> {
    let test = &marking.test;
    let who = accept.filter(|who| !who.is_empty()).unwrap_or("incisura mark");
    let by = |why: &str| By::new(who, &marking.at, why);
    let Some(before) = course.marking(test)? else {
        if !new.is_empty() {
            course.add_marking(marking, &new, Some(&by("marked from scans")))?;
        }
        return Ok((new, Vec::new()));
    };
    let old = course.verdicts(before.id)?;
    if old == new {
        return Ok((old, Vec::new()));
    }
    let decisions = rulings(course, test)?;
    let mut changes = Vec::new();
    // What is marked again from the same pages waits for a person to accept it.
    let mut careful = Vec::new();
    for verdicts in &new {
        let same = old
            .iter()
            .find(|other| other.sheet == verdicts.sheet && pages_of(other) == pages_of(verdicts));
        let change = match same {
            Some(same) => change(test, same, verdicts, &decisions)?,
            None => None,
        };
        careful.push(same.filter(|_| change.is_some()).unwrap_or(verdicts).clone());
        changes.extend(change);
    }
    let all = course.markings(test)?;
    let mut proposed = None;
    if let Some(last) = all.last().filter(|last| last.accepted.is_empty())
        && course.verdicts(last.id)? == new
    {
        proposed = Some(last.id);
    }
    if changes.is_empty() || accept.is_some() {
        let why = if changes.is_empty() { "marked from scans" } else { "accepted with --accept" };
        match proposed {
            Some(id) => course.accept_marking(id, &by(why))?,
            None => {
                course.add_marking(marking, &new, Some(&by(why)))?;
            }
        }
        return Ok((new, changes));
    }
    if careful != old {
        course.add_marking(marking, &careful, Some(&by("marked from scans")))?;
        proposed = None;
    }
    if proposed.is_none() {
        course.add_marking(marking, &new, None)?;
    }
    Ok((careful, changes))
}

fn pages_of(verdicts: &SheetVerdicts) -> Option<&Json> {
    verdicts.verdicts.iter().find(|(name, _)| name == PAGES).map(|(_, pages)| pages)
}

/// How a sheet's marks differ, once what people decided about it is taken in.
fn change(
    test: &str,
    old: &SheetVerdicts,
    new: &SheetVerdicts,
    decisions: &Rulings,
) -> Result<Option<Change>, Failure> {
    let decided = |verdicts: &SheetVerdicts| -> Result<Marks, Failure> {
        let mut marks = restored(verdicts)?.marks;
        decisions.take_in(verdicts.sheet, &mut marks);
        Ok(marks)
    };
    let (old, after) = (decided(old)?, decided(new)?);
    let seen = |rule: &RuleMark| (rule.outcome, rule.earned(), rule.max_points, rule.cap.clone());
    let mut rules = Vec::new();
    for rule in &after.rules {
        let before = old.rules.iter().find(|other| other.id == rule.id);
        if before.map(seen) != Some(seen(rule)) {
            rules.push(rule.id.clone());
        }
    }
    let gone = old.rules.iter().filter(|rule| after.rules.iter().all(|other| other.id != rule.id));
    rules.extend(gone.map(|rule| rule.id.clone()));
    let points = |marks: &Marks| [marks.points(), marks.max_points(), marks.open_points()];
    let change = || Change {
        test: test.to_owned(),
        sheet: new.sheet,
        before: points(&old),
        after: points(&after),
        rules: rules.clone(),
    };
    Ok((!rules.is_empty()).then(change))
}

/// What people decided about the rules on a test's sheets.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rulings(Vec<(u32, String, Ruling)>);

/// The decisions about rules that count now.
pub(crate) fn rulings(course: &Course, test: &str) -> Result<Rulings, Failure> {
    let decisions = course.decisions(test)?.into_iter().filter_map(|decision| {
        let What::Rule { rule, ruling } = decision.what else { return None };
        let ruling = match ruling {
            course::Ruling::Outcome(course::Outcome::Met) => Ruling::Met,
            course::Ruling::Outcome(course::Outcome::Half) => Ruling::Half,
            course::Ruling::Outcome(course::Outcome::NotMet) => Ruling::NotMet,
            course::Ruling::Points(points) => Ruling::Points { points },
            course::Ruling::Waived => Ruling::Waived,
            course::Ruling::Reweighted(max_points) => Ruling::Reweighted { max_points },
            course::Ruling::Blind(_) => return None,
        };
        Some((decision.sheet, rule, ruling))
    });
    Ok(Rulings(decisions.collect()))
}

impl Rulings {
    /// Takes what was decided about a sheet into its marks.
    pub(crate) fn take_in(&self, sheet: u32, marks: &mut Marks) {
        for (_, rule, ruling) in self.0.iter().filter(|(own, ..)| *own == sheet) {
            marks.decide(rule, ruling);
        }
    }
}
