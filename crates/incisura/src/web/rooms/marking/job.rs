//! Work in the background: reading and marking, as `incisura mark` does it.

use std::path::{Path, PathBuf};

use course::{By, Course};

use super::work::{MARKS, SCANS, SUBJECT, definition};
use crate::failure::Failure;
use crate::mark::class::Class;
use crate::mark::inputs::Inputs;
use crate::mark::list::SheetList;
use crate::mark::prints::{Books, Editions, Readers};
use crate::mark::run::{self, mark_prints, usual_print};
use crate::mark::{clock, pages, reading};
use crate::sheet_command::SHEET_LIST;
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::jobs;
use crate::web::printed::SHEETS;
use crate::web::refusal::Refusal;
use crate::web::words::marking as words;
use crate::{files, roster};

/// The name of the work on a test of a course.
pub(crate) fn name(folder: &Folder, file: &str) -> String {
    jobs::name("marking", folder, file)
}

/// Begins to read what was not read yet and to mark everything.
pub(crate) fn begin(desk: &Desk, file: &str) -> Result<(), Refusal> {
    let folder = desk.folder();
    // What is wrong with the test is told at once.
    definition(&folder, file)?;
    let (name, file) = (name(&folder, file), file.to_owned());
    desk.jobs().begin(&name, move |_| read_and_mark(&folder, &file))
}

fn plainly(refusal: Refusal) -> Failure {
    Failure::Other(refusal.message)
}

fn read_and_mark(folder: &Folder, file: &str) -> Result<String, Failure> {
    let mut definition = definition(folder, file).map_err(plainly)?;
    let marks = folder.root().join(MARKS);
    files::make_folder(&marks)?;
    let course = Course::open(&marks)?;
    definition.add_known(&course)?;
    let (editions, rules) = definition.editions(&course)?;
    let books = Books::new(&editions, &SUBJECT);
    books.check()?;
    let scans = folder.root().join(SCANS);
    let given = if scans.is_dir() { vec![scans] } else { Vec::new() };
    let inputs = Inputs::of(&given, &course)?;
    reading::read_all(&inputs, &Readers::new(&books), &editions, &course)?;
    add_lists(folder, &course, &editions)?;
    let marked = mark_prints(&course, &books, &rules, None)?;
    let changed = marked.iter().map(|(_, marked)| marked.changes.len()).sum();
    let class = Class::new(&course, &books, &rules.title, marked, &inputs)?;
    let output = output_folder(folder, file, &rules.title);
    let sheets = class.handed_in().count();
    if sheets == 0 {
        return Err(Failure::Other(words::NOTHING_READ.to_owned()));
    }
    if run::has_unread_decisions(&output) {
        // Somebody filled in a file; it is theirs to take in or to move.
        return Ok(words::marked_but(sheets, &output.join("review.csv").display().to_string()));
    }
    files::make_folder(&output)?;
    run::write(&class, &course, &books, &rules.convention, &output)?;
    Ok(words::marked(sheets, changed))
}

/// Who has which sheet, as it was printed, and all whose sheet it could be.
fn add_lists(folder: &Folder, course: &Course, editions: &Editions) -> Result<(), Failure> {
    let usual = usual_print(course, editions)?;
    for path in lists(folder) {
        let list = SheetList::read(&path)?;
        if !list.is_of_another(editions) {
            list.add(course, editions, &usual)?;
        }
    }
    let path = folder.root().join(roster::FILE);
    if path.exists() {
        let student =
            |one: roster::Student| course::Student { key: one.key().to_owned(), name: one.name };
        let students: Vec<course::Student> =
            roster::read(&path)?.into_iter().map(student).collect();
        course.add_students(&students, &clock::now())?;
    }
    Ok(())
}

/// The lists of sheets in `sheets/` and in the folders there.
fn lists(folder: &Folder) -> Vec<PathBuf> {
    let sheets = folder.root().join(SHEETS);
    let entries = std::fs::read_dir(&sheets).into_iter().flatten().flatten();
    let mut folders: Vec<PathBuf> =
        entries.map(|entry| entry.path()).filter(|path| path.is_dir()).collect();
    folders.sort();
    folders.insert(0, sheets);
    folders
        .into_iter()
        .map(|folder| folder.join(SHEET_LIST))
        .filter(|path| path.is_file())
        .collect()
}

/// Where files about a test are written: `marks/`, or a folder of its own there where `marks/`
/// has those of another test.
pub(crate) fn output_folder(folder: &Folder, file: &str, title: &str) -> PathBuf {
    let marks = folder.root().join(MARKS);
    let of_another = std::fs::read(marks.join("results.json")).is_ok_and(|text| {
        #[derive(serde::Deserialize)]
        struct Titled {
            title: String,
        }
        serde_json::from_slice::<Titled>(&text).is_ok_and(|results| results.title != title)
    });
    let stem = Path::new(file).file_stem().unwrap_or_default();
    if of_another { marks.join(stem) } else { marks }
}

/// A file about a test that can be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Output {
    Gradebook,
    Feedback,
    Class,
    Results,
}

impl Output {
    pub(crate) const ALL: [Self; 4] = [Self::Gradebook, Self::Feedback, Self::Class, Self::Results];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Gradebook => "gradebook.csv",
            Self::Feedback => "feedback.pdf",
            Self::Class => "class.pdf",
            Self::Results => "results.json",
        }
    }

    pub(crate) fn kind(self) -> &'static str {
        match self {
            Self::Gradebook => "text/csv; charset=utf-8",
            Self::Feedback | Self::Class => "application/pdf",
            Self::Results => "application/json",
        }
    }

    pub(crate) fn of(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.name() == name)
    }
}

/// Makes a file anew from what counts now, and keeps it in the course's folder, too.
pub(crate) fn output(desk: &Desk, file: &str, output: Output) -> Result<Vec<u8>, Refusal> {
    let folder = desk.folder();
    let work = desk.marks().work(&folder, file)?;
    if work.class.handed_in().next().is_none() {
        return Err(Refusal::of_all(words::NOTHING_MARKED));
    }
    let bytes = match output {
        Output::Gradebook => crate::mark::gradebook::csv(&work.class).into_bytes(),
        Output::Results => run::results(&work.class)?,
        Output::Feedback | Output::Class => {
            let course = super::work::database(&folder)?;
            let books = Books::new(work.editions(), &SUBJECT);
            let pdf = if output == Output::Feedback {
                pages::feedback_pdf(&work.class, &course, &books, work.convention())?
            } else {
                pages::class_pdf(&work.class, &books, work.convention())?
            };
            pdf.ok_or_else(|| Refusal::of_all(words::NOTHING_MARKED))?
        }
    };
    let place = output_folder(&folder, file, work.title());
    files::make_folder(&place)?;
    files::replace(&place.join(output.name()), &bytes)?;
    Ok(bytes)
}

/// Lets the marks count that were shown as proposals.
pub(crate) fn accept(desk: &Desk, file: &str, who: &str, shown: &[i64]) -> Result<(), Refusal> {
    let folder = desk.folder();
    let work = desk.marks().work(&folder, file)?;
    let course = super::work::database(&folder)?;
    let proposals = work.proposals(&course)?;
    let ids: Vec<i64> = proposals.iter().map(|(id, _)| id.0).collect();
    if ids.is_empty() || ids != shown {
        return Err(Refusal::conflict(words::PROPOSAL_GONE));
    }
    let by = By::new(who, clock::now(), words::ACCEPTED);
    for (id, _) in proposals {
        course.accept_marking(id, &by).map_err(Failure::from)?;
    }
    Ok(())
}
