//! The file: what is refused, who else may have it open, and that rows stay as they are.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

mod common;

use std::fs;
use std::path::Path;
use std::time::Duration;

use common::*;
use course::{Course, CourseFault, FILE, Json, Marking, Outcome, Ruling, SheetVerdicts, What};
use rusqlite::Connection;

/// A course with a row in every table.
fn full(name: &str) -> std::path::PathBuf {
    let folder = folder(name);
    let course = Course::open(&folder).unwrap();
    fill(&course);
    add(&course, "a", 1);
    let [test, rubric, program, at] = [TEST, "rubric", "0.1.0", AT].map(str::to_owned);
    let verdicts = vec![("s2".to_owned(), Json::parse("{}").unwrap())];
    let sheets = [SheetVerdicts { sheet: 1, verdicts }];
    let marking = Marking { test, rubric, program, at };
    course.add_marking(&marking, &sheets, Some(&by("first run"))).unwrap();
    folder
}

fn raw(folder: &Path) -> Connection {
    Connection::open(folder.join(FILE)).unwrap()
}

#[test]
fn a_course_is_one_file_that_opens_again() {
    let folder = full("opens_again");
    let names: Vec<_> = fs::read_dir(&folder).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(names, [FILE]);
    let course = Course::open(&folder).unwrap();
    course.check().unwrap();
    assert_eq!(course.tests().unwrap(), [test()]);
    assert_eq!(course.sheets(TEST).unwrap().len(), 3);
    assert_eq!(course.sheet_pages(TEST).unwrap().len(), 1);
    assert_eq!(course.marking(TEST).unwrap().unwrap().accepted, [by("first run")]);
}

#[test]
fn rows_are_neither_changed_nor_removed() {
    let folder = full("append_only");
    let connection = raw(&folder);
    let query = "SELECT name FROM sqlite_schema WHERE type = 'table'";
    let mut statement = connection.prepare(query).unwrap();
    let tables: Vec<String> =
        statement.query_map((), |row| row.get(0)).unwrap().map(Result::unwrap).collect();
    assert_eq!(tables.len(), 11);
    for table in tables.iter().filter(|table| *table != "review_cursors") {
        let count = format!("SELECT count(*) FROM {table}");
        let rows = || connection.query_row(&count, (), |row| row.get::<_, i64>(0)).unwrap();
        assert!(rows() > 0, "{table} has no row to try it with");
        let before = rows();
        for change in [format!("DELETE FROM {table}"), format!("UPDATE {table} SET rowid = 99")] {
            let error = connection.execute(&change, ()).unwrap_err().to_string();
            assert!(error.contains("are added and never changed"), "{change}: {error}");
        }
        assert_eq!(rows(), before);
    }
}

#[test]
fn what_is_no_course_is_refused_and_left_alone() {
    let course = fs::read(full("good").join(FILE)).unwrap();
    let mut spoiled = course.clone();
    spoiled[100..4096].fill(0x5a);
    let mut no_header = course.clone();
    no_header[..16].fill(0);
    let cases: [(&str, &[u8], &str); 5] = [
        ("text", b"name,points\nAda Brook,3\n", "this is no database"),
        ("header", &no_header, "this is no database"),
        ("cut_off", &course[..course.len() / 2], "damaged or cut off"),
        ("short", &course[..700], "damaged or cut off"),
        ("spoiled", &spoiled, "damaged or cut off"),
    ];
    for (name, bytes, message) in cases {
        let folder = folder(&format!("refused_{name}"));
        fs::write(folder.join(FILE), bytes).unwrap();
        let error = Course::open(&folder).unwrap_err().to_string();
        assert!(error.contains(FILE) && error.contains(message), "{name}: {error}");
        assert!(error.contains("the last good copy"), "{name}: {error}");
        assert_eq!(fs::read(folder.join(FILE)).unwrap(), bytes, "{name}");
    }
}

#[test]
fn damage_further_on_is_found_by_the_check() {
    let folder = full("spoiled_inside");
    let query = "SELECT rootpage FROM sqlite_schema WHERE name = 'decisions'";
    let page: u32 = raw(&folder).query_row(query, (), |row| row.get(0)).unwrap();
    let mut bytes = fs::read(folder.join(FILE)).unwrap();
    let page = page as usize;
    bytes[4096 * (page - 1)..4096 * page].fill(0x5a);
    fs::write(folder.join(FILE), bytes).unwrap();
    let course = Course::open(&folder).unwrap();
    for error in [course.check().unwrap_err(), course.decisions(TEST).unwrap_err()] {
        assert!(matches!(error.fault, CourseFault::Damaged(_)), "{error}");
    }
}

#[test]
fn a_later_format_and_other_databases_are_refused() {
    let folder = full("later");
    raw(&folder).execute_batch("PRAGMA user_version = 3").unwrap();
    let fault = Course::open(&folder).unwrap_err().fault;
    assert_eq!(fault, CourseFault::Newer { found: 3, known: 2 });

    let other = common::folder("other");
    raw(&other).execute_batch("CREATE TABLE marks (points)").unwrap();
    let before = fs::read(other.join(FILE)).unwrap();
    assert_eq!(Course::open(&other).unwrap_err().fault, CourseFault::Foreign);
    assert_eq!(fs::read(other.join(FILE)).unwrap(), before);

    let nowhere = other.join("nowhere");
    assert_eq!(Course::open(&nowhere).unwrap_err().fault, CourseFault::NoFolder);
    assert!(!nowhere.exists());
}

/// The table of decisions in the first format, as it was written into courses.
const FIRST_DECISIONS: &str = "
CREATE TABLE decisions (
    no INTEGER PRIMARY KEY,
    test TEXT NOT NULL,
    sheet INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN
        ('outcome', 'points', 'waived', 'reweighted', 'blind', 'student', 'page', 'withdrawn')),
    rule TEXT CHECK ((rule IS NULL) = (kind IN ('student', 'page', 'withdrawn'))),
    outcome TEXT CHECK (outcome IN ('met', 'half', 'not_met')),
    number REAL CHECK ((number IS NOT NULL) = (kind IN ('points', 'reweighted'))),
    student TEXT REFERENCES students (key) CHECK (student IS NULL OR kind = 'student'),
    page INTEGER REFERENCES pages (no) CHECK ((page IS NOT NULL) = (kind = 'page')),
    withdraws INTEGER UNIQUE REFERENCES decisions (no) CHECK ((withdraws IS NOT NULL) = (kind = 'withdrawn')),
    seen INTEGER REFERENCES markings (no),
    who TEXT NOT NULL,
    at TEXT NOT NULL,
    why TEXT NOT NULL,
    CHECK ((outcome IS NOT NULL) = (kind IN ('outcome', 'blind'))),
    FOREIGN KEY (test, sheet) REFERENCES sheets (test, sheet)
) STRICT;
CREATE INDEX decisions_sheet ON decisions (test, sheet);
CREATE TRIGGER decisions_no_UPDATE BEFORE UPDATE ON decisions BEGIN SELECT RAISE(ABORT, 'x'); END;
CREATE TRIGGER decisions_no_DELETE BEFORE DELETE ON decisions BEGIN SELECT RAISE(ABORT, 'x'); END;
";

#[test]
fn a_course_of_the_first_format_is_taken_over_as_it_is() {
    let folder = full("first_format");
    let page = add(&Course::open(&folder).unwrap(), "b", 1);
    let histories = || {
        let course = Course::open(&folder).unwrap();
        (1..=3).map(|sheet| course.history(TEST, sheet).unwrap()).collect::<Vec<_>>()
    };
    {
        let course = Course::open(&folder).unwrap();
        let chosen = course.decide(TEST, 1, &What::Page(page), None, &by("sharper")).unwrap();
        course.decide(TEST, 1, &What::Withdrawn(chosen), None, &by("a slip")).unwrap();
        let half = What::Rule { rule: "s2".into(), ruling: Ruling::Outcome(Outcome::Half) };
        course.decide(TEST, 1, &half, None, &by("nearly")).unwrap();
    }
    let schema = || -> Vec<(String, String)> {
        let raw = raw(&folder);
        let query = "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name";
        let mut statement = raw.prepare(query).unwrap();
        let found = statement.query_map((), |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
        found.map(Result::unwrap).collect()
    };
    let (before, wanted) = (histories(), schema());
    raw(&folder)
        .execute_batch(&format!(
            "PRAGMA foreign_keys = OFF; CREATE TABLE kept AS SELECT * FROM decisions; \
             DROP TABLE decisions; {FIRST_DECISIONS} \
             INSERT INTO decisions SELECT * FROM kept; DROP TABLE kept; PRAGMA user_version = 1;"
        ))
        .unwrap();
    assert_ne!(schema(), wanted);
    assert_eq!(histories(), before);
    assert_eq!(schema(), wanted);
    let course = Course::open(&folder).unwrap();
    course.check().unwrap();
    course.decide(TEST, 1, &What::Aside(page), None, &by("of another class")).unwrap();
    assert_eq!(course.aside_pages(TEST).unwrap().len(), 1);
}

#[test]
fn a_lock_is_waited_for_and_then_told() {
    let folder = full("locked");
    let patience = Duration::from_millis(50);
    let course = Course::open_within(&folder, patience).unwrap();
    let other = raw(&folder);
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    let met = What::Rule { rule: "s2".into(), ruling: Ruling::Outcome(Outcome::Met) };
    let decide = |course: &Course| course.decide(TEST, 1, &met, None, &by("seen"));
    assert_eq!(decide(&course).unwrap_err().fault, CourseFault::Busy);
    assert_eq!(Course::open_within(&folder, patience).unwrap_err().fault, CourseFault::Busy);

    // With more patience, it is there when the other one is done.
    let patient = std::thread::spawn({
        let folder = folder.clone();
        move || Course::open(&folder).map(|course| course.tests().unwrap())
    });
    std::thread::sleep(Duration::from_millis(100));
    other.execute_batch("COMMIT").unwrap();
    assert_eq!(patient.join().unwrap().unwrap(), [test()]);
    decide(&course).unwrap();
}

#[test]
fn two_at_a_time_lose_nothing() {
    let folder = folder("two");
    std::thread::scope(|scope| {
        for who in ["a", "b"] {
            let folder = &folder;
            scope.spawn(move || {
                // Both find an empty folder, or nearly so.
                let course = Course::open(folder).unwrap();
                course.add_test(&test(), AT).unwrap();
                for one in 0..20 {
                    add(&course, &format!("{who}{one}"), one);
                }
            });
        }
    });
    let course = Course::open(&folder).unwrap();
    course.check().unwrap();
    assert_eq!(course.tests().unwrap().len(), 1);
    let pages = course.sheet_pages(TEST).unwrap();
    assert_eq!(pages.len(), 20);
    assert!(pages.iter().all(|page| page.others.len() == 1));
}

#[test]
fn another_programs_journal_mode_is_set_back() {
    let folder = full("wal");
    raw(&folder).execute_batch("PRAGMA journal_mode = WAL").unwrap();
    fill(&Course::open(&folder).unwrap());
    let mode: String = raw(&folder).query_row("PRAGMA journal_mode", (), |row| row.get(0)).unwrap();
    assert_eq!(mode, "delete");
}
