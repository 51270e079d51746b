//! `incisura mark`: from scans of filled-in sheets to marks, feedback and questions.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use course::{Course, MarkingId};
use marking::Marks;

use crate::args;
use crate::failure::Failure;
use crate::files;
use crate::mark::class::Class;
use crate::mark::decisions::{self, Askable};
use crate::mark::inputs::Inputs;
use crate::mark::list::SheetList;
use crate::mark::prints::{Books, Readers};
use crate::mark::reading;
use crate::mark::results::PageStatus;
use crate::mark::run::{self, Definition, Written, mark_prints, prints, usual_print};
use crate::mark::sheets::{self, Marked};
use crate::mark::summary::{Told, quoted};

pub(crate) fn run(args: &args::Mark) -> Result<(), Failure> {
    let mut definition = Definition::read(&args.test)?;
    for path in &args.printed {
        definition.add_printed(path.clone(), files::read(path)?)?;
    }
    let lists =
        args.sheets.iter().map(|path| SheetList::read(path)).collect::<Result<Vec<_>, _>>()?;
    let rows = args.decisions.as_deref().map(decisions::read).transpose()?;
    all_there(&args.scans)?;
    files::make_folder(&args.output)?;
    keep_unread_decisions(args)?;
    let folder = args.course.as_deref().unwrap_or(&args.output);
    if let Some(course) = &args.course {
        files::make_folder(course)?;
    }
    let course = Course::open(folder)?;

    let (editions, rules) = definition.editions(&course)?;
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
    let before = prints(&course, &editions)?
        .into_iter()
        .map(|id| Ok((id.clone(), course.marking(&id)?.map(|marking| marking.id))))
        .collect::<Result<BTreeMap<String, Option<MarkingId>>, Failure>>()?;
    let accept = args.accept.then(|| args.who.as_deref().unwrap_or_default());
    let marked = mark_prints(&course, &books, &rules, accept)?;
    let decided = match (&rows, &args.decisions, &args.who) {
        (Some(rows), Some(path), Some(who)) => {
            // What a person looked at was marked before this run, if anything was.
            let seen = |id: &str| match before.get(id).copied().flatten() {
                Some(seen) => Ok(Some(seen)),
                None => Ok(course.marking(id)?.map(|marking| marking.id)),
            };
            let findings = Findings::of(&course, &marked)?;
            Some(decisions::keep(rows, path, who, &course, &usual, &findings, &seen)?)
        }
        _ => None,
    };
    let changes: Vec<sheets::Change> =
        marked.iter().flat_map(|(_, marked)| marked.changes.clone()).collect();
    let class = Class::new(&course, &books, &rules.title, marked, &inputs)?;

    let Written { questions, files: written } =
        run::write(&class, &course, &books, &rules.convention, &args.output)?;
    if args.json {
        files::write_or_print(None, &run::results(&class)?)?;
    } else {
        let told = Told {
            class: &class,
            inputs: &inputs,
            convention: &rules.convention,
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

/// A name that was mistyped is told before anything is written: nobody handed it in.
fn all_there(scans: &[PathBuf]) -> Result<(), Failure> {
    let missing: Vec<String> = scans
        .iter()
        .filter_map(|path| Some((path, std::fs::metadata(path).err()?)))
        .filter(|(_, reason)| reason.kind() == io::ErrorKind::NotFound)
        .map(|(path, reason)| Failure::unreadable(path, reason).to_string())
        .collect();
    if missing.is_empty() { Ok(()) } else { Err(Failure::Other(missing.join("\n"))) }
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
    if run::has_unread_decisions(&args.output) {
        return Err(Failure::file(
            &path,
            "there are decisions in this file that would be written over; take them in with --decisions and --who, or move the file elsewhere",
        ));
    }
    Ok(())
}

/// What can be decided about, with what was decided so far: by print and sheet.
struct Findings(BTreeMap<(String, u32), Marks>);

impl Findings {
    fn of(course: &Course, marked: &[(String, Marked)]) -> Result<Self, Failure> {
        let mut all = BTreeMap::new();
        for (test, marked) in marked {
            let rulings = sheets::rulings(course, test)?;
            for (sheet, finding) in &marked.findings {
                let mut marks = finding.marks.clone();
                rulings.take_in(*sheet, &mut marks);
                all.insert((test.clone(), *sheet), marks);
            }
        }
        Ok(Self(all))
    }
}

impl Askable for Findings {
    fn max_points(&self, test: &str, sheet: u32, rule: &str) -> Option<f64> {
        let rules = &self.0.get(&(test.to_owned(), sheet))?.rules;
        rules.iter().find(|one| one.id == rule).map(marking::RuleMark::worth)
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
