//! `incisura mark`: from scans of filled-in sheets to marks, feedback and questions.

use std::collections::BTreeMap;
use std::path::Path;

use course::{Course, MarkingId};

use crate::args;
use crate::failure::Failure;
use crate::files;
use crate::mark::class::Class;
use crate::mark::decisions::{self, Askable};
use crate::mark::inputs::Inputs;
use crate::mark::list::SheetList;
use crate::mark::prints::{Books, Editions, Readers, Source};
use crate::mark::results::PageStatus;
use crate::mark::sheets::{Marked, mark_all};
use crate::mark::summary::{Told, quoted};
use crate::mark::{gradebook, pages, reading, review, sheets};
use crate::test_file::{self, Changes, TestFile};

pub(crate) fn run(args: &args::Mark) -> Result<(), Failure> {
    let text = files::read(&args.test)?;
    let read = |path: &Path, text: &str| {
        test_file::read(path, text, &Changes::default(), &BTreeMap::new())
    };
    let TestFile { test, conventions } = read(&args.test, &text)?;
    let rubric = serde_json::to_string(&conventions).map_err(Failure::kept)?;
    let (title, convention) = (test.title.clone(), test.convention.clone());
    let mut sources = vec![Source { path: args.test.clone(), text, test }];
    for path in &args.printed {
        let text = files::read(path)?;
        let test = read(path, &text)?.test;
        sources.push(Source { path: path.clone(), text, test });
    }
    let lists =
        args.sheets.iter().map(|path| SheetList::read(path)).collect::<Result<Vec<_>, _>>()?;
    let rows = args.decisions.as_deref().map(decisions::read).transpose()?;
    files::make_folder(&args.output)?;
    keep_unread_decisions(args)?;
    let folder = args.course.as_deref().unwrap_or(&args.output);
    if let Some(course) = &args.course {
        files::make_folder(course)?;
    }
    let course = Course::open(folder)?;

    let editions = Editions::new(sources, known_conventions(&course)?);
    let subject = heart::subject();
    let books = Books::new(&editions, &subject);
    books.check()?;
    let inputs = Inputs::of(&args.scans, &course)?;
    let readers = Readers::new(&books);
    reading::read_all(&inputs, &readers, &editions, &course)?;

    let usual = usual_print(&course, &editions)?;
    for list in &lists {
        list.add(&course, &editions, &usual)?;
    }
    let prints = prints(&course, &editions)?;
    let before = prints
        .iter()
        .map(|id| Ok((id.clone(), course.marking(id)?.map(|marking| marking.id))))
        .collect::<Result<BTreeMap<String, Option<MarkingId>>, Failure>>()?;
    let accept = args.accept.then(|| args.who.as_deref().unwrap_or_default());
    let mut marked = Vec::new();
    for id in &prints {
        let sheets = mark_all(&course, &books, id, (&convention, &rubric), accept)?;
        marked.push((id.clone(), sheets));
    }
    let decided = match (&rows, &args.decisions, &args.who) {
        (Some(rows), Some(path), Some(who)) => {
            // What a person looked at was marked before this run, if anything was.
            let seen = |id: &str| match before.get(id).copied().flatten() {
                Some(seen) => Ok(Some(seen)),
                None => Ok(course.marking(id)?.map(|marking| marking.id)),
            };
            Some(decisions::keep(rows, path, who, &course, &usual, &Findings(&marked), &seen)?)
        }
        _ => None,
    };
    let changes: Vec<sheets::Change> =
        marked.iter().flat_map(|(_, marked)| marked.changes.clone()).collect();
    let class = Class::new(&course, &books, &title, marked, &inputs)?;

    let results = serde_json::to_string(&class.results()).map_err(Failure::kept)? + "\n";
    let out = |name: &str, bytes: &[u8]| files::replace(&args.output.join(name), bytes);
    out("results.json", results.as_bytes())?;
    out("gradebook.csv", gradebook::csv(&class).as_bytes())?;
    let questions = review::write(&class, &course, &convention, &args.output)?;
    let mut written = vec!["results.json", "gradebook.csv", "review.csv", "review/"];
    if let Some(pdfs) = pages::pdfs(&class, &course, &books, &convention)? {
        out("feedback.pdf", &pdfs.feedback)?;
        out("class.pdf", &pdfs.class)?;
        written.extend(["feedback.pdf", "class.pdf"]);
    }
    if args.json {
        files::write_or_print(None, results.as_bytes())?;
    } else {
        let told = Told {
            class: &class,
            inputs: &inputs,
            convention: &convention,
            changes: &changes,
            accepted: args.accept,
            decided,
            questions,
            files: &written,
            folder: &args.output,
            command: &command(args),
        };
        files::say(told.text().trim_end())?;
    }
    let read = class.pages.iter().any(|page| page.status != PageStatus::Unreadable);
    let there = class.handed_in().next().is_some();
    match (args.scans.is_empty(), read, there) {
        (true, _, true) | (false, true, _) => Ok(()),
        (true, _, false) => Err(Failure::Other(
            "there is no drawing to be marked; name the scans after the test's file".to_owned(),
        )),
        (false, false, _) => Err(Failure::Other("no page could be read".to_owned())),
    }
}

/// What a person filled in must not be written over before it was taken in.
fn keep_unread_decisions(args: &args::Mark) -> Result<(), Failure> {
    let path = args.output.join("review.csv");
    let same = |other: &Path| {
        let whole = |path: &Path| std::fs::canonicalize(path).ok();
        whole(other).is_some() && whole(other) == whole(&path)
    };
    if args.decisions.as_deref().is_some_and(same) {
        return Ok(());
    }
    let text = std::fs::read(&path).unwrap_or_default();
    if decisions::is_filled_in(&String::from_utf8_lossy(&text)) {
        return Err(Failure::file(
            &path,
            "there are decisions in this file that would be written over; take them in with --decisions and --who, or move the file elsewhere",
        ));
    }
    Ok(())
}

/// The conventions of prints that were read before, as they were then: sheets look as they were
/// printed, however the rules are changed later.
fn known_conventions(
    course: &Course,
) -> Result<BTreeMap<String, BTreeMap<String, String>>, Failure> {
    let mut known = BTreeMap::new();
    for test in course.tests()? {
        known.insert(test.id, test.conventions.to().map_err(Failure::kept)?);
    }
    Ok(known)
}

/// The prints that the course has sheets of, the test's own first.
fn prints(course: &Course, editions: &Editions) -> Result<Vec<String>, Failure> {
    let own = editions.own_id();
    let mut prints: Vec<String> = course.tests()?.into_iter().map(|test| test.id).collect();
    prints.retain(|id| editions.knows(id));
    prints.sort_by_key(|id| *id != own);
    Ok(prints)
}

/// The print of which most pages were read; the test's own where none was.
fn usual_print(course: &Course, editions: &Editions) -> Result<String, Failure> {
    let mut usual = (0, editions.own_id());
    for id in prints(course, editions)? {
        let pages = course.sheet_pages(&id)?.len();
        if pages > usual.0 {
            usual = (pages, id);
        }
    }
    Ok(usual.1)
}

/// What can be decided about.
struct Findings<'a>(&'a [(String, Marked)]);

impl Askable for Findings<'_> {
    fn max_points(&self, test: &str, sheet: u32, rule: &str) -> Option<f64> {
        let (_, marked) = self.0.iter().find(|(id, _)| id == test)?;
        let rules = &marked.findings.get(&sheet)?.marks.rules;
        rules.iter().find(|one| one.id == rule).map(|rule| rule.max_points)
    }
}

/// The command that marks the same again, without reading scans.
fn command(args: &args::Mark) -> String {
    let path = |path: &Path| quoted(&path.to_string_lossy());
    let mut words = vec!["incisura mark".to_owned(), path(&args.test)];
    words.extend(["-o".to_owned(), path(&args.output)]);
    for (name, paths) in [("--course", args.course.as_slice()), ("--printed", &args.printed)] {
        for one in paths {
            words.extend([name.to_owned(), path(one)]);
        }
    }
    words.join(" ")
}
