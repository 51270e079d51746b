//! `incisura demo`: an invented course with a class's filled-in sheets, as they come from a copier
//! and from telephones.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use cycle::Random;
use hand::{Capture, Copier, Drawing, Geometry, PdfPage, Phone, Student};
use sheet::{Book, Copy, Test};

use crate::failure::Failure;
use crate::mark::prints::{Books, Editions, Source};
use crate::test_file::{self, Changes};
use crate::{args, demo_recording, files, progress, roster, sheet_command};

const COURSE: &str = include_str!("../demo/course.md");
const SETTINGS: &str = include_str!("../demo/course.toml");
const TEST: &str = include_str!("../demo/test-1.toml");
const ROSTER: &str = include_str!("../demo/roster.csv");
/// Where scans of filled-in sheets are put.
const SCANS: &str = "scans";
/// The invented recording from the lab.
const RECORDING: &str = "recording.csv";
/// Another test, of which a sheet has got among the others.
const OTHER_TEST: &str = include_str!("../demo/quiz.toml");

/// What everything is drawn from: the same course every time.
const SEED: u64 = 24;
/// Of so many sheets one is photographed.
const PHOTOGRAPHED: usize = 3;
/// The sheet that is handed in twice, once copied and once photographed.
const TWICE: usize = 6;
/// Pixels to the inch at which sheets are printed before they are captured.
const PRINT_DPI: f64 = 300.0;
/// The copier's two stacks: pixels to the inch, and whether in colour.
const STACKS: [(f64, bool); 2] = [(200.0, true), (150.0, false)];
/// Of so many drawings the numbers of mistakes.
const MISTAKES: [usize; 10] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 7];

pub(crate) fn run(args: &args::Demo) -> Result<(), Failure> {
    let folder = &args.folder;
    if folder.exists() {
        let mut there =
            std::fs::read_dir(folder).map_err(|reason| Failure::unreadable(folder, reason))?;
        if there.next().is_some() {
            return Err(Failure::file(folder, "this folder is not empty; name a new one"));
        }
    }
    files::make_folder(folder)?;
    if args.recording_only {
        write_recording(folder)?;
        return files::say(&format!(
            "an invented recording of a minute is in {}",
            folder.join(RECORDING).display()
        ));
    }
    write_texts(folder)?;
    let (students, scans) = write_rest(folder)?;
    files::say(&format!(
        "an invented course is in {}: {students} students, their sheets filled in and scanned ({scans} files)\n\
         course.md there says what to try; begin with\n  cd {}\n  incisura mark test-1.toml scans -o marks --sheets sheets/sheets.csv",
        folder.display(),
        crate::mark::summary::quoted(&folder.to_string_lossy()),
    ))
}

/// What a person would have written: rules, test, class list.
pub(crate) fn write_texts(folder: &Path) -> Result<(), Failure> {
    let convention = cardiac::CONVENTIONS[0].toml;
    let texts = [
        ("course.md", COURSE),
        ("course.toml", SETTINGS),
        ("rules.toml", convention),
        ("test-1.toml", TEST),
        (roster::FILE, ROSTER),
    ];
    for (name, text) in texts {
        files::write(&folder.join(name), text.as_bytes())?;
    }
    Ok(())
}

/// Whether all of the course is there.
pub(crate) fn is_whole(folder: &Path) -> bool {
    folder.join(SCANS).is_dir()
}

/// Everything that is made from the texts: printed sheets, a recording, and scans of the filled-in
/// sheets, which come last and all at once. Gives the numbers of students and of scans.
pub(crate) fn write_rest(folder: &Path) -> Result<(usize, usize), Failure> {
    sheet_command::print(&args::Sheet {
        test: folder.join("test-1.toml"),
        output: folder.join("sheets"),
        roster: Some(folder.join(roster::FILE)),
        spare: None,
        forms: None,
        paper: None,
        large_print: false,
        per_student: false,
    })?;
    write_recording(folder)?;
    let students = roster::read(&folder.join(roster::FILE))?;
    let scans = scans(folder, &students)?;
    let (unfinished, finished) = (folder.join("scans.new"), folder.join(SCANS));
    files::make_folder(&unfinished)?;
    for (name, bytes) in &scans {
        files::write(&unfinished.join(name), bytes)?;
    }
    std::fs::rename(&unfinished, &finished)
        .map_err(|reason| Failure::unwritable(&finished, reason))?;
    Ok((students.len(), scans.len()))
}

fn write_recording(folder: &Path) -> Result<(), Failure> {
    let recording = progress::during("inventing a recording", demo_recording::csv)?;
    files::write(&folder.join(RECORDING), recording.as_bytes())
}

/// What was scanned of one page.
struct Taken {
    jpeg: Vec<u8>,
    picture: hand::Picture,
    dpi: f64,
}

/// All files of scans.
fn scans(folder: &Path, students: &[roster::Student]) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let path = folder.join("test-1.toml");
    let text = files::read(&path)?;
    let own = source(path, &text)?;
    let forms = own.test.forms;
    let copies: Vec<Copy> = students
        .iter()
        .enumerate()
        .map(|(index, student)| Copy {
            sheet: index as u32 + 1,
            form: index % forms,
            name: Some(student.name.clone()),
        })
        .collect();
    let other = source(folder.join("quiz.toml"), OTHER_TEST)?;
    let (mut stacks, mut files) = ([Vec::new(), Vec::new()], Vec::new());
    let mut captures = |copy: &Copy, drawing: &Filled| -> Result<(), Failure> {
        let index = copy.sheet as usize - 1;
        let seed = SEED * 1_000 + u64::from(copy.sheet);
        let photo = |seed| Capture::Phone(Phone::any(seed));
        if index % PHOTOGRAPHED == PHOTOGRAPHED - 1 {
            let taken = drawing.taken(&photo(seed))?;
            files.push((format!("photo-{:02}.jpg", files.len() + 1), taken.jpeg));
            return Ok(());
        }
        let number = usize::from(index >= students.len() / 2);
        let (dpi, colour) = STACKS[number];
        let mut copier = Copier::any(seed, dpi, colour);
        copier.upside_down = index == 0;
        stacks[number].push(drawing.taken(&Capture::Copier(copier))?);
        if index == TWICE {
            let taken = drawing.taken(&photo(seed + 500))?;
            files.push((format!("photo-{:02}.jpg", files.len() + 1), taken.jpeg));
        }
        Ok(())
    };
    with_book(own, |test, book| {
        progress::counted("students are drawing", &copies, |copy| {
            captures(copy, &Filled::new(test, book, copy)?)
        })
    })?;
    let stray = with_book(other, |test, book| {
        let copy = Copy { sheet: 7, form: 0, name: None };
        let copier = Copier::any(SEED, STACKS[1].0, STACKS[1].1);
        Filled::new(test, book, &copy)?.taken(&Capture::Copier(copier))
    })?;
    stacks[1].insert(2, stray);
    for (number, stack) in stacks.iter().enumerate() {
        let page = |taken: &'_ Taken| taken.dpi;
        let pages: Vec<PdfPage<'_>> = stack
            .iter()
            .map(|taken| PdfPage { jpeg: &taken.jpeg, picture: &taken.picture, dpi: page(taken) })
            .collect();
        files.push((format!("copier-{}.pdf", number + 1), hand::pdf(&pages)));
    }
    Ok(files)
}

fn source(path: PathBuf, text: &str) -> Result<Source, Failure> {
    let test = test_file::read(&path, text, &Changes::default(), &BTreeMap::new())?.test;
    Ok(Source { path, text: text.to_owned(), test })
}

/// Does `work` with the pages of a test.
fn with_book<T>(
    source: Source,
    work: impl FnOnce(&Test, &Book<'_>) -> Result<T, Failure>,
) -> Result<T, Failure> {
    let path = source.path.clone();
    let editions = Editions::new(vec![source], BTreeMap::new());
    let subject = heart::subject();
    let books = Books::new(&editions, &subject);
    books.check()?;
    let id = editions.own_id();
    match (editions.test(&id), books.book(&id)) {
        (Some(test), Some(book)) => work(test, book),
        _ => Err(Failure::file(&path, "the test cannot be laid out")),
    }
}

/// A sheet's first page, printed and filled in.
struct Filled {
    sheet: hand::Sheet,
}

impl Filled {
    fn new(test: &Test, book: &Book<'_>, copy: &Copy) -> Result<Self, Failure> {
        let at_fault = |error: sheet::SheetError| Failure::Other(error.to_string());
        let copies = std::slice::from_ref(copy);
        let pages = book.drawing_sheets(copies).map_err(at_fault)?;
        let geometry = Geometry::from_json(&book.geometry(copies).map_err(at_fault)?)
            .map_err(Failure::kept)?;
        let seed = SEED * 100 + u64::from(copy.sheet);
        let drawing = drawn(test, book, copy, &pages, &geometry, seed);
        let mut sheet = hand::Sheet::print(&pages[0], PRINT_DPI)?;
        sheet.draw(&drawing.pages[0], seed);
        Ok(Self { sheet })
    }

    fn taken(&self, capture: &Capture) -> Result<Taken, Failure> {
        let taken = capture.take(&self.sheet);
        let jpeg = hand::jpeg(&taken.picture, capture.quality(), taken.orientation)
            .map_err(|error| Failure::Other(format!("a picture cannot be made: {error}")))?;
        let dpi = match capture {
            Capture::Copier(copier) => copier.dpi,
            Capture::Phone(_) => PRINT_DPI,
        };
        Ok(Taken { jpeg, picture: taken.picture, dpi })
    }
}

/// What a student draws on a copy.
fn drawn(
    test: &Test,
    book: &Book<'_>,
    copy: &Copy,
    pages: &[figure::Page],
    geometry: &Geometry,
    seed: u64,
) -> Drawing {
    let handout = hand::Handout {
        pages,
        places: &geometry.pages,
        mm_per_s: geometry.mm_per_s,
        model: book.model(copy.form),
        convention: &test.convention,
        subject: book.subject(),
    };
    let mistakes = MISTAKES[Random::new(seed).below(MISTAKES.len())];
    hand::draw(&handout, &Student::anyone(seed), &hand::mistakes(&handout, mistakes, seed))
}

#[cfg(test)]
mod tests {
    use super::*;
    use figure::font;

    #[test]
    fn the_course_is_well_formed() {
        let students = demo_students();
        assert_eq!(students.len(), 24);
        for student in &students {
            assert!(font::lacking(&student.name).is_empty(), "{}", student.name);
        }
        let rules = [("rules.toml".to_owned(), cardiac::CONVENTIONS[0].toml.to_owned())];
        for text in [TEST, OTHER_TEST] {
            let read =
                test_file::read(Path::new("t"), text, &Changes::default(), &rules.clone().into());
            assert!(read.is_ok(), "{}", read.err().map(|e| e.to_string()).unwrap_or_default());
        }
        // The rule that course.md tells to change is there, and is placed as it says.
        let convention = cardiac::CONVENTIONS[0].toml;
        let rule = convention.split("[[rules]]").find(|rule| rule.contains("\"top_at_mid_t\""));
        assert!(
            rule.is_some_and(|rule| rule.contains("points =") && !rule.contains("tolerance_mm"))
        );
        assert!(COURSE.contains("`top_at_mid_t`"));
    }

    fn demo_students() -> Vec<roster::Student> {
        let mut table = roster::table(ROSTER);
        let row = |row: csv::StringRecord| roster::Student {
            name: row[0].to_owned(),
            id: row[1].to_owned(),
        };
        table.records().map(|record| row(record.unwrap())).collect()
    }
}
