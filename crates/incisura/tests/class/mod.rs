//! A small class's work, drawn by the hand for testing, once for all tests.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use cycle::Cycle;
use hand::{Capture, Copier, Geometry, Handout, PdfPage, Student};
use sheet::{Book, Paper, Test, forms};

/// Sounds and pressure below a printed ECG.
pub(crate) const TEST: &str = "title = \"Test 1\"\ncourse = \"A&P I\"\nconvention = \"rules.toml\"\n\
    given = [\"ecg\"]\nbeats = 1\nforms = 2\nseed = 3\n[heart]\nrate_bpm = [66, 76]\n";
/// Two pages for each sheet.
pub(crate) const TWO_PAGES: &str = "title = \"Test 2\"\nconvention = \"first_course\"\nbeats = 1\n\
    [[pages]]\npanels = [\"ecg\", \"heart_sounds\"]\ngiven = [\"ecg\"]\n\
    [[pages]]\npanels = [\"ecg\", \"aortic_pressure\"]\ngiven = [\"ecg\"]\n";
/// A test of which a sheet has got among the others.
pub(crate) const OTHER: &str =
    "title = \"Quiz\"\nconvention = \"first_course\"\ngiven = [\"ecg\"]\nbeats = 1\n";

pub(crate) const ROSTER: &str = "name,id\nAmara Oyelaran,a1\nBence Halmosi,b2\nCarmen Iturbe,c3\n\
    Đức Trương,d4\nEdda Faber,e5\n";

/// Runs the program; the error tells what it said.
pub(crate) fn incisura(words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_incisura")).args(words).output().unwrap()
}

/// What a run that must succeed said.
pub(crate) fn done(words: &[&str]) -> String {
    let output = incisura(words);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{words:?}: {said}");
    String::from_utf8(output.stdout).unwrap()
}

/// What a run that must fail complained of.
pub(crate) fn refused(words: &[&str]) -> String {
    let output = incisura(words);
    assert_eq!(output.status.code(), Some(1), "{words:?}");
    String::from_utf8(output.stderr).unwrap()
}

/// A new, empty folder for one test.
pub(crate) fn fresh(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

pub(crate) fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// A page that was scanned.
pub(crate) struct Scanned {
    pub(crate) jpeg: Vec<u8>,
    picture: hand::Picture,
}

/// A copier's PDF.
pub(crate) fn bound(pages: &[&Scanned]) -> Vec<u8> {
    let page = |one: &&'_ Scanned| (one.jpeg.clone(), one.picture.clone());
    let kept: Vec<_> = pages.iter().map(page).collect();
    let pages: Vec<PdfPage<'_>> =
        kept.iter().map(|(jpeg, picture)| PdfPage { jpeg, picture, dpi: 150.0 }).collect();
    hand::pdf(&pages)
}

/// Everyone's pages of a test whose sheets lie in `folder`, which has its `geometry.json`.
pub(crate) fn drawn(
    definition: &str,
    folder: &Path,
    more: &[&str],
    mistakes: &[usize],
) -> Vec<Scanned> {
    let subject = heart::subject();
    let conventions = |_: &str| Ok(cardiac::CONVENTIONS[0].convention());
    let mut test = Test::from_toml(definition, &subject, &conventions).unwrap();
    let after = |word: &str| more.iter().position(|one| *one == word).map(|at| more[at + 1]);
    test.forms = after("--forms").map_or(test.forms, |number| number.parse().unwrap());
    if after("--paper") == Some("a4") {
        test.paper = Paper::A4;
    }
    if more.last() == Some(&"--large-print") {
        test.enlarge();
    }
    let models: Vec<Cycle> = forms(&test)
        .iter()
        .map(|form| {
            let mut heart = heart::Heart::default();
            for (name, value) in &form.numbers {
                heart.parameters.set(name, *value).unwrap();
            }
            let base = heart::simulate(&heart, 1).unwrap();
            convention::schematic(&test.convention, &subject, &base, test.beats).unwrap()
        })
        .collect();
    let geometry = fs::read_to_string(folder.join("geometry.json")).unwrap();
    let geometry = Geometry::from_json(&geometry).unwrap();
    let book = Book::new(&test, &subject, &geometry.test, models).unwrap();
    let of = test.pages.len();
    let mut scanned = Vec::new();
    for (index, places) in geometry.pages.chunks(of).enumerate() {
        let form = places[0].form as usize - 'A' as usize;
        let copy = sheet::Copy { sheet: places[0].sheet, form, name: None };
        let pages = book.drawing_sheets(&[copy]).unwrap();
        let handout = Handout {
            pages: &pages,
            places,
            mm_per_s: geometry.mm_per_s,
            model: book.model(form),
            convention: &test.convention,
            subject: &subject,
        };
        let seed = 100 + index as u64;
        let count = mistakes[index % mistakes.len()];
        let student = Student::perfect(seed);
        let drawing = hand::draw(&handout, &student, &hand::mistakes(&handout, count, seed));
        for (page, strokes) in pages.iter().zip(&drawing.pages) {
            let mut sheet = hand::Sheet::print(page, 150.0).unwrap();
            sheet.draw(strokes, seed);
            let capture = Capture::Copier(Copier::any(seed, 150.0, false));
            let taken = capture.take(&sheet);
            let jpeg = hand::jpeg(&taken.picture, 85, 1).unwrap();
            scanned.push(Scanned { jpeg, picture: taken.picture });
        }
    }
    scanned
}

/// Writes a test, prints it and lets it be filled in.
pub(crate) fn printed(
    folder: &Path,
    definition: &str,
    more: &[&str],
    mistakes: &[usize],
) -> Vec<Scanned> {
    fs::create_dir_all(folder).unwrap();
    fs::write(folder.join("test.toml"), definition).unwrap();
    fs::write(folder.join("rules.toml"), cardiac::CONVENTIONS[0].toml).unwrap();
    fs::write(folder.join("roster.csv"), ROSTER).unwrap();
    let (test, sheets) = (folder.join("test.toml"), folder.join("sheets"));
    let mut words = vec!["sheet", text(&test), "-o", text(&sheets)];
    words.extend(more);
    done(&words);
    drawn(definition, &sheets, more, mistakes)
}

/// The class: a folder with the test, its sheets, and scans of them, and the same marked.
///
/// The scans are `stack.pdf` (sheets 1 to 3), `a.jpg` (sheet 4), `b.jpg` (sheet 2 once more),
/// `c.jpg` (a sheet of another test), `notes.pdf` (a text), `empty.png` and `nothing.png` (no
/// bytes) and a file that is none.
pub(crate) fn class() -> &'static Path {
    static CLASS: OnceLock<PathBuf> = OnceLock::new();
    CLASS.get_or_init(|| {
        let folder = fresh("mark-class");
        let roster = folder.join("roster.csv");
        let sheets = printed(&folder, TEST, &["--roster", text(&roster)], &[0, 3, 1, 2]);
        let other = printed(&folder.join("other"), OTHER, &[], &[0]);
        let scans = folder.join("scans");
        fs::create_dir_all(&scans).unwrap();
        let put = |name: &str, bytes: &[u8]| fs::write(scans.join(name), bytes).unwrap();
        put("stack.pdf", &bound(&[&sheets[0], &sheets[1], &sheets[2]]));
        put("a.jpg", &sheets[3].jpeg);
        // The same page from another scan has other bytes.
        put("b.jpg", &hand::jpeg(&sheets[1].picture, 80, 1).unwrap());
        put("c.jpg", &other[0].jpeg);
        put("notes.pdf", b"Remember: room 4 at ten.\n");
        put("empty.png", b"");
        put("nothing.png", b"");
        put("thumbs.db", b"x");
        let marked = folder.join("marked");
        let said = mark(&folder, &marked, &["scans", "--sheets", "sheets/sheets.csv"]);
        fs::write(folder.join("said.txt"), said).unwrap();
        folder
    })
}

/// Marks in a class's folder into `output`; names of files in it are given as they are there.
pub(crate) fn mark(folder: &Path, output: &Path, more: &[&str]) -> String {
    let words = words(folder, output, more);
    done(&words.iter().map(String::as_str).collect::<Vec<_>>())
}

/// The words for [`mark`].
pub(crate) fn words(folder: &Path, output: &Path, more: &[&str]) -> Vec<String> {
    let test = text(&folder.join("test.toml")).to_owned();
    let mut words = vec!["mark".to_owned(), test, "-o".to_owned(), text(output).to_owned()];
    for word in more {
        let path = folder.join(word);
        let file = !word.starts_with("--") && path.exists();
        words.push(if file { text(&path).to_owned() } else { (*word).to_owned() });
    }
    words
}

/// A copy of the marked class for one test: a folder with the test, and what was written.
pub(crate) fn marked(name: &str) -> (PathBuf, PathBuf) {
    let folder = fresh(name);
    copy(class(), &folder);
    let marked = folder.join("marked");
    (folder, marked)
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let other = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy(&path, &other);
        } else {
            fs::copy(&path, &other).unwrap();
        }
    }
}
