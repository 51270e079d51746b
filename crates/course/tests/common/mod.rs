//! A small course. All names are invented.
#![allow(dead_code, reason = "each test uses its part")]

use std::path::PathBuf;

use course::{By, Course, Input, Json, PageId, Place, Sheet, Student, Test};

pub(crate) const TEST: &str = "K7M2QX";
pub(crate) const AT: &str = "2026-03-02T14:05:00Z";

/// An empty folder of this name.
pub(crate) fn folder(name: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    if folder.exists() {
        std::fs::remove_dir_all(&folder).unwrap();
    }
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

pub(crate) fn test() -> Test {
    Test {
        id: TEST.to_owned(),
        title: "Week 3".to_owned(),
        definition: "title = \"Week 3\"\n".to_owned(),
        conventions: Json::parse(r#"{"usual.toml": "[[rules]]\n"}"#).unwrap(),
    }
}

pub(crate) fn by(why: &str) -> By {
    By::new("R. Amsel", AT, why)
}

pub(crate) fn student(key: &str, name: &str) -> Student {
    Student { key: key.to_owned(), name: name.to_owned() }
}

pub(crate) fn sheet(sheet: u32, form: char, student: Option<&str>) -> Sheet {
    Sheet { sheet, form, student: student.map(str::to_owned) }
}

pub(crate) fn input(hash: &str, number: u32) -> Input {
    let (hash, file) = (hash.to_owned(), format!("{hash}.pdf"));
    Input { hash, number, reader: "reader 1".to_owned(), file }
}

pub(crate) fn place(sheet: u32, page: u32) -> Place {
    Place { test: TEST.to_owned(), sheet, form: 'A', page }
}

/// Adds a page that was read.
pub(crate) fn add(course: &Course, hash: &str, sheet: u32) -> PageId {
    let drawing = Json::of(&[0.1, f64::from(sheet)]).unwrap();
    course.add_page(&input(hash, 1), &place(sheet, 1), &drawing, Some(b"png"), AT).unwrap()
}

/// Fills a course with a test, two students, and sheets 1 to 3, of which two are given.
pub(crate) fn fill(course: &Course) {
    course.add_test(&test(), AT).unwrap();
    let students = [student("17", "Ada Brook"), student("18", "Ben Carr")];
    course.add_students(&students, AT).unwrap();
    let sheets = [sheet(1, 'A', Some("17")), sheet(2, 'B', Some("18")), sheet(3, 'A', None)];
    course.add_sheets(TEST, &sheets, &by("as printed")).unwrap();
}
