//! Tests, students and sheets.

use rusqlite::{Connection, OptionalExtension};

use crate::by::check_time;
use crate::decisions::{self, Decision, What};
use crate::open::rows;
use crate::{By, Course, CourseError, CourseFault, Json};

/// A test as it was printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Test {
    /// What its sheets' codes call it.
    pub id: String,
    /// Its title.
    pub title: String,
    /// The text that defines it.
    pub definition: String,
    /// The texts of its conventions.
    pub conventions: Json,
}

/// Someone who draws.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Student {
    /// What the class list knows them by: a number or login, or the name where it has none.
    pub key: String,
    /// Their name.
    pub name: String,
}

/// A printed copy of a test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// Its number in the test.
    pub sheet: u32,
    /// Its form's letter.
    pub form: char,
    /// The key of the student whose it is.
    pub student: Option<String>,
}

impl Course {
    /// Adds a test at the time `at`, or other texts for one that is there: the latest count.
    /// Adding the same again changes nothing; the answer is whether anything was added.
    pub fn add_test(&self, test: &Test, at: &str) -> Result<bool, CourseError> {
        self.write(|connection| {
            check_time(at)?;
            if find_test(connection, &test.id)?.as_ref() == Some(test) {
                return Ok(false);
            }
            connection.execute(
                "INSERT INTO tests VALUES (?1, ?2) ON CONFLICT DO NOTHING",
                [&test.id, at],
            )?;
            connection.execute(
                "INSERT INTO test_texts (test, title, definition, conventions, added_at) \
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                (&test.id, &test.title, &test.definition, &test.conventions, at),
            )?;
            Ok(true)
        })
    }

    /// A test with its latest texts.
    pub fn test(&self, id: &str) -> Result<Option<Test>, CourseError> {
        self.read(|connection| find_test(connection, id))
    }

    /// All tests with their latest texts, in the order in which they were first added.
    pub fn tests(&self) -> Result<Vec<Test>, CourseError> {
        self.read(|connection| {
            let ids: Vec<String> =
                rows(connection, "SELECT id FROM tests ORDER BY rowid", (), |row| row.get(0))?;
            let mut tests = Vec::new();
            for id in ids {
                tests.extend(find_test(connection, &id)?);
            }
            Ok(tests)
        })
    }

    /// Adds students at the time `at`, or other names for those that are there: the latest count.
    /// The answer is how many were added or renamed.
    pub fn add_students(&self, students: &[Student], at: &str) -> Result<usize, CourseError> {
        self.write(|connection| {
            check_time(at)?;
            let mut added = 0;
            for Student { key, name } in students {
                let known: Option<String> = connection
                    .query_row(
                        "SELECT name FROM student_names WHERE student = ?1 ORDER BY no DESC LIMIT 1",
                        [key],
                        |row| row.get(0),
                    )
                    .optional()?;
                if known.as_ref() == Some(name) {
                    continue;
                }
                connection.execute(
                    "INSERT INTO students (key, added_at) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
                    [key, at],
                )?;
                connection.execute(
                    "INSERT INTO student_names (student, name, added_at) VALUES (?1, ?2, ?3)",
                    [key, name, at],
                )?;
                added += 1;
            }
            Ok(added)
        })
    }

    /// All students with their latest names, in the order in which they were first added.
    pub fn students(&self) -> Result<Vec<Student>, CourseError> {
        self.read(|connection| {
            rows(
                connection,
                "SELECT key, (SELECT name FROM student_names WHERE student = key \
                 ORDER BY student_names.no DESC LIMIT 1) FROM students ORDER BY no",
                (),
                |row| Ok(Student { key: row.get(0)?, name: row.get(1)? }),
            )
        })
    }

    /// Adds printed sheets of a test. Their students are those of the print: a sheet that was
    /// already given to someone, or taken from them, stays as it is.
    ///
    /// The test and the students must be there. A sheet of the same number with another form
    /// is refused.
    pub fn add_sheets(&self, test: &str, sheets: &[Sheet], by: &By) -> Result<(), CourseError> {
        self.write(|connection| {
            by.check()?;
            let given: Vec<u32> = rows(
                connection,
                "SELECT sheet FROM decisions WHERE test = ?1 AND kind = 'student'",
                [test],
                |row| row.get(0),
            )?;
            for Sheet { sheet, form, student } in sheets {
                let there = sheet_form(connection, test, *sheet, *form, &by.at)?;
                if there != *form {
                    return Err(CourseFault::Conflict(format!(
                        "sheet {sheet} of test {test} is there with form {there}, not {form}; \
                         print the test again, so that it has another code"
                    )));
                }
                if student.is_some() && !given.contains(sheet) {
                    let what = What::Student(student.clone());
                    decisions::add(connection, test, *sheet, &what, None, by)?;
                }
            }
            Ok(())
        })
    }

    /// The sheets of a test in the order of their numbers, with the students whose they are now.
    pub fn sheets(&self, test: &str) -> Result<Vec<Sheet>, CourseError> {
        self.read(|connection| {
            let mut sheets = rows(
                connection,
                "SELECT sheet, form FROM sheets WHERE test = ?1 ORDER BY sheet",
                [test],
                |row| Ok(Sheet { sheet: row.get(0)?, form: letter(row, 1)?, student: None }),
            )?;
            for Decision { sheet, what, .. } in decisions::counting(connection, test)? {
                if let What::Student(student) = what
                    && let Ok(place) = sheets.binary_search_by_key(&sheet, |one| one.sheet)
                {
                    sheets[place].student = student;
                }
            }
            Ok(sheets)
        })
    }
}

fn find_test(connection: &Connection, id: &str) -> Result<Option<Test>, CourseFault> {
    let found = connection.query_row(
        "SELECT test, title, definition, conventions FROM test_texts WHERE test = ?1 \
         ORDER BY no DESC LIMIT 1",
        [id],
        |row| {
            Ok(Test {
                id: row.get(0)?,
                title: row.get(1)?,
                definition: row.get(2)?,
                conventions: row.get(3)?,
            })
        },
    );
    Ok(found.optional()?)
}

/// Adds a sheet unless it is there, and gives the form with which it is there.
pub(crate) fn sheet_form(
    connection: &Connection,
    test: &str,
    sheet: u32,
    form: char,
    at: &str,
) -> Result<char, CourseFault> {
    if find_test(connection, test)?.is_none() {
        return Err(CourseFault::Unknown(format!("test {test}")));
    }
    connection.execute(
        "INSERT INTO sheets VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING",
        (test, sheet, String::from(form), at),
    )?;
    let there = connection.query_row(
        "SELECT form FROM sheets WHERE test = ?1 AND sheet = ?2",
        (test, sheet),
        |row| letter(row, 0),
    );
    Ok(there?)
}

/// A column that the schema holds to one character.
pub(crate) fn letter(row: &rusqlite::Row<'_>, column: usize) -> rusqlite::Result<char> {
    Ok(row.get::<_, String>(column)?.chars().next().unwrap_or_default())
}
