//! Markings: a rubric held against what is on the sheets.

use rusqlite::{Connection, OptionalExtension};

use crate::by::check_time;
use crate::open::rows;
use crate::{By, Course, CourseError, CourseFault, Json};

/// The number of a marking in the database.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MarkingId(pub i64);

/// One run of a rubric over all sheets of a test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Marking {
    /// The test.
    pub test: String,
    /// The text of the rubric.
    pub rubric: String,
    /// The version of what marked.
    pub program: String,
    /// When.
    pub at: String,
}

/// What was found about one sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SheetVerdicts {
    /// The sheet's number in the test.
    pub sheet: u32,
    /// Rules' names and what was found about each, in the rubric's order.
    pub verdicts: Vec<(String, Json)>,
}

/// A marking in the database.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KnownMarking {
    /// Its number.
    pub id: MarkingId,
    /// The marking.
    pub marking: Marking,
    /// Who accepted it, in order: none as long as it is only proposed.
    pub accepted: Vec<By>,
}

impl Course {
    /// Adds a marking with all its verdicts, whole or not at all. It is only proposed as long as
    /// nobody accepts it: with `accepted`, that is done in the same step.
    ///
    /// The test and the sheets must be there, and a sheet can have one verdict on a rule. Of a
    /// sheet without any verdict nothing is kept.
    pub fn add_marking(
        &self,
        marking: &Marking,
        sheets: &[SheetVerdicts],
        accepted: Option<&By>,
    ) -> Result<MarkingId, CourseError> {
        self.write(|connection| {
            let Marking { test, rubric, program, at } = marking;
            check_time(at)?;
            exists(connection, "SELECT 1 FROM tests WHERE id = ?1", [test], || {
                format!("test {test}")
            })?;
            connection.execute(
                "INSERT INTO markings (test, rubric, program, added_at) VALUES (?1, ?2, ?3, ?4)",
                [test, rubric, program, at],
            )?;
            let id = MarkingId(connection.last_insert_rowid());
            let mut insert = connection.prepare(
                "INSERT INTO verdicts (marking, test, sheet, rule, verdict) \
                 VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
            )?;
            for SheetVerdicts { sheet, verdicts } in sheets {
                sheet_exists(connection, test, *sheet)?;
                for (rule, verdict) in verdicts {
                    if insert.execute((id.0, test, sheet, rule, verdict))? == 0 {
                        return Err(CourseFault::Conflict(format!(
                            "sheet {sheet} of test {test} has two verdicts on “{rule}”; \
                             give each rule a name of its own"
                        )));
                    }
                }
            }
            if let Some(by) = accepted {
                accept(connection, id, by)?;
            }
            Ok(id)
        })
    }

    /// Lets a marking count from now on, in place of the one that did; an earlier one can be
    /// accepted again. Where it counts already, nothing changes.
    pub fn accept_marking(&self, marking: MarkingId, by: &By) -> Result<(), CourseError> {
        self.write(|connection| {
            let test = test_of(connection, marking)?;
            if counting(connection, &test)? == Some(marking) {
                return Ok(());
            }
            accept(connection, marking, by)
        })
    }

    /// The marking of a test that counts: the one that was accepted last.
    pub fn marking(&self, test: &str) -> Result<Option<KnownMarking>, CourseError> {
        self.read(|connection| {
            let id = counting(connection, test)?;
            id.map(|id| known(connection, id)).transpose()
        })
    }

    /// All markings of a test in the order of adding, whether accepted or not.
    pub fn markings(&self, test: &str) -> Result<Vec<KnownMarking>, CourseError> {
        self.read(|connection| {
            let sql = "SELECT no FROM markings WHERE test = ?1 ORDER BY no";
            let ids = rows(connection, sql, [test], |row| row.get(0).map(MarkingId))?;
            ids.into_iter().map(|id| known(connection, id)).collect()
        })
    }

    /// A marking's verdicts, in the order in which they were given.
    pub fn verdicts(&self, marking: MarkingId) -> Result<Vec<SheetVerdicts>, CourseError> {
        self.read(|connection| {
            test_of(connection, marking)?;
            let all: Vec<(u32, String, Json)> = rows(
                connection,
                "SELECT sheet, rule, verdict FROM verdicts WHERE marking = ?1 ORDER BY no",
                [marking.0],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )?;
            let mut sheets: Vec<SheetVerdicts> = Vec::new();
            for (sheet, rule, verdict) in all {
                match sheets.last_mut() {
                    Some(last) if last.sheet == sheet => last.verdicts.push((rule, verdict)),
                    _ => sheets.push(SheetVerdicts { sheet, verdicts: vec![(rule, verdict)] }),
                }
            }
            Ok(sheets)
        })
    }
}

fn accept(connection: &Connection, marking: MarkingId, by: &By) -> Result<(), CourseFault> {
    by.check()?;
    connection.execute(
        "INSERT INTO acceptances (marking, who, at, why) VALUES (?1, ?2, ?3, ?4)",
        (marking.0, &by.who, &by.at, &by.why),
    )?;
    Ok(())
}

fn counting(connection: &Connection, test: &str) -> Result<Option<MarkingId>, CourseFault> {
    let found = connection.query_row(
        "SELECT markings.no FROM acceptances JOIN markings ON markings.no = acceptances.marking \
         WHERE test = ?1 ORDER BY acceptances.no DESC LIMIT 1",
        [test],
        |row| row.get(0).map(MarkingId),
    );
    Ok(found.optional()?)
}

fn known(connection: &Connection, id: MarkingId) -> Result<KnownMarking, CourseFault> {
    let marking = connection.query_row(
        "SELECT test, rubric, program, added_at FROM markings WHERE no = ?1",
        [id.0],
        |row| {
            Ok(Marking {
                test: row.get(0)?,
                rubric: row.get(1)?,
                program: row.get(2)?,
                at: row.get(3)?,
            })
        },
    )?;
    let accepted = rows(
        connection,
        "SELECT who, at, why FROM acceptances WHERE marking = ?1 ORDER BY no",
        [id.0],
        |row| Ok(By { who: row.get(0)?, at: row.get(1)?, why: row.get(2)? }),
    )?;
    Ok(KnownMarking { id, marking, accepted })
}

/// The test of a marking, which must be there.
pub(crate) fn test_of(connection: &Connection, id: MarkingId) -> Result<String, CourseFault> {
    let found = connection
        .query_row("SELECT test FROM markings WHERE no = ?1", [id.0], |row| row.get(0))
        .optional()?;
    found.ok_or_else(|| CourseFault::Unknown(format!("marking {}", id.0)))
}

/// An error unless the sheet is there.
pub(crate) fn sheet_exists(
    connection: &Connection,
    test: &str,
    sheet: u32,
) -> Result<(), CourseFault> {
    let sql = "SELECT 1 FROM sheets WHERE test = ?1 AND sheet = ?2";
    exists(connection, sql, (test, sheet), || format!("sheet {sheet} of test {test}"))
}

/// An error that names `what` unless the query finds something.
pub(crate) fn exists(
    connection: &Connection,
    sql: &str,
    parameters: impl rusqlite::Params,
    what: impl FnOnce() -> String,
) -> Result<(), CourseFault> {
    let found = connection.query_row(sql, parameters, |_| Ok(())).optional()?;
    found.ok_or_else(|| CourseFault::Unknown(what()))
}
