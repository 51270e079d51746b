//! What people decided about sheets: added one by one, and which of it counts.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension, Row};

use crate::markings::{exists, sheet_exists, test_of};
use crate::open::rows;
use crate::pages::page_with;
use crate::{By, Course, CourseError, CourseFault, MarkingId, PageId};

/// The number of a decision in the database.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DecisionId(pub i64);

/// What a person says about a rule on a drawing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Met.
    Met,
    /// Met by half.
    Half,
    /// Not met.
    NotMet,
}

/// A decision about a rule, for one student alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ruling {
    /// How it was met. With [`Ruling::Points`], the latest of both counts.
    Outcome(Outcome),
    /// How many points it gives, whatever its outcome.
    Points(f64),
    /// It is not asked of this student. With [`Ruling::Reweighted`], the latest of both counts.
    Waived,
    /// The most points that it can give.
    Reweighted(f64),
    /// How it was met, judged once more without seeing the first judgement. It is kept to tell
    /// how much a person's judgement drifts, and never counts.
    Blind(Outcome),
}

/// What was decided.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// About a rule.
    Rule {
        /// The rule's name.
        rule: String,
        /// The decision.
        ruling: Ruling,
    },
    /// Whose the sheet is: a student's key, or nobody's.
    Student(Option<String>),
    /// Which of several input pages that are the same page of the sheet counts.
    Page(PageId),
    /// An input page of the sheet is set aside: it is kept, and does not count until this is taken
    /// back.
    Aside(PageId),
    /// An earlier decision about the sheet is taken back: what counted before it counts again.
    Withdrawn(DecisionId),
}

/// A decision in the database.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// Its number: later ones are higher.
    pub id: DecisionId,
    /// The sheet's number in the test.
    pub sheet: u32,
    /// What was decided.
    pub what: What,
    /// The marking that was looked at, if any.
    pub seen: Option<MarkingId>,
    /// Who decided, when and why.
    pub by: By,
}

/// Where a person's review stopped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReviewCursor {
    /// The person.
    pub who: String,
    /// The test.
    pub test: String,
    /// The rule.
    pub rule: String,
    /// The sheet's number in the test.
    pub sheet: u32,
}

impl Course {
    /// Adds a decision about a sheet; `seen` is the marking that was looked at, if any.
    ///
    /// All that it names must be there. A decision can be withdrawn once, and a withdrawal not
    /// at all: decide again instead.
    pub fn decide(
        &self,
        test: &str,
        sheet: u32,
        what: &What,
        seen: Option<MarkingId>,
        by: &By,
    ) -> Result<DecisionId, CourseError> {
        self.write(|connection| add(connection, test, sheet, what, seen, by))
    }

    /// The decisions about a test's sheets that count now, in the order of adding.
    ///
    /// They are the latest of each kind that nobody took back. Those of the kinds `Blind` and
    /// `Withdrawn` are not among them.
    pub fn decisions(&self, test: &str) -> Result<Vec<Decision>, CourseError> {
        self.read(|connection| counting(connection, test))
    }

    /// All decisions that were ever made about a sheet, in the order of adding.
    pub fn history(&self, test: &str, sheet: u32) -> Result<Vec<Decision>, CourseError> {
        self.read(|connection| {
            let sql = format!("{SELECT} WHERE d.test = ?1 AND d.sheet = ?2 ORDER BY d.no");
            let found = rows(connection, &sql, (test, sheet), stored)?;
            found.into_iter().map(|(decision, _)| decision).collect()
        })
    }

    /// Keeps where a person's review of a test stopped, in place of where it stopped before.
    pub fn set_review_cursor(&self, cursor: &ReviewCursor) -> Result<(), CourseError> {
        self.write(|connection| {
            let ReviewCursor { who, test, rule, sheet } = cursor;
            sheet_exists(connection, test, *sheet)?;
            connection.execute(
                "INSERT INTO review_cursors VALUES (?1, ?2, ?3, ?4) \
                 ON CONFLICT DO UPDATE SET rule = excluded.rule, sheet = excluded.sheet",
                (who, test, rule, sheet),
            )?;
            Ok(())
        })
    }

    /// Where a person's review of a test stopped.
    pub fn review_cursor(
        &self,
        who: &str,
        test: &str,
    ) -> Result<Option<ReviewCursor>, CourseError> {
        self.read(|connection| {
            let found = connection.query_row(
                "SELECT who, test, rule, sheet FROM review_cursors WHERE who = ?1 AND test = ?2",
                [who, test],
                |row| {
                    Ok(ReviewCursor {
                        who: row.get(0)?,
                        test: row.get(1)?,
                        rule: row.get(2)?,
                        sheet: row.get(3)?,
                    })
                },
            );
            Ok(found.optional()?)
        })
    }
}

/// A decision as columns.
#[derive(Default)]
struct Columns<'a> {
    kind: &'static str,
    rule: Option<&'a str>,
    outcome: Option<&'static str>,
    number: Option<f64>,
    student: Option<&'a str>,
    page: Option<i64>,
    withdraws: Option<i64>,
}

impl<'a> Columns<'a> {
    fn of(what: &'a What) -> Self {
        let none = Self::default();
        match what {
            What::Rule { rule, ruling } => {
                let (kind, outcome, number) = match ruling {
                    Ruling::Outcome(outcome) => ("outcome", Some(outcome.text()), None),
                    Ruling::Points(points) => ("points", None, Some(*points)),
                    Ruling::Waived => ("waived", None, None),
                    Ruling::Reweighted(most) => ("reweighted", None, Some(*most)),
                    Ruling::Blind(outcome) => ("blind", Some(outcome.text()), None),
                };
                Self { kind, rule: Some(rule), outcome, number, ..none }
            }
            What::Student(student) => Self { kind: "student", student: student.as_deref(), ..none },
            What::Page(page) => Self { kind: "page", page: Some(page.0), ..none },
            What::Aside(page) => Self { kind: "aside", page: Some(page.0), ..none },
            What::Withdrawn(id) => Self { kind: "withdrawn", withdraws: Some(id.0), ..none },
        }
    }
}

impl Outcome {
    fn text(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::Half => "half",
            Self::NotMet => "not_met",
        }
    }

    fn of(text: &str) -> Option<Self> {
        [Self::Met, Self::Half, Self::NotMet].into_iter().find(|one| one.text() == text)
    }
}

/// Adds a decision in a transaction that is open.
pub(crate) fn add(
    connection: &Connection,
    test: &str,
    sheet: u32,
    what: &What,
    seen: Option<MarkingId>,
    by: &By,
) -> Result<DecisionId, CourseFault> {
    by.check()?;
    sheet_exists(connection, test, sheet)?;
    if let Some(seen) = seen
        && test_of(connection, seen)? != test
    {
        return Err(CourseFault::Conflict(format!("marking {} is not of test {test}", seen.0)));
    }
    check(connection, test, sheet, what)?;
    let Columns { kind, rule, outcome, number, student, page, withdraws } = Columns::of(what);
    connection.execute(
        "INSERT INTO decisions (test, sheet, kind, rule, outcome, number, student, page, \
         withdraws, seen, who, at, why) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
        rusqlite::params![
            test,
            sheet,
            kind,
            rule,
            outcome,
            number,
            student,
            page,
            withdraws,
            seen.map(|seen| seen.0),
            by.who,
            by.at,
            by.why
        ],
    )?;
    Ok(DecisionId(connection.last_insert_rowid()))
}

/// Whether what a decision names is there and fits the sheet.
fn check(connection: &Connection, test: &str, sheet: u32, what: &What) -> Result<(), CourseFault> {
    match what {
        What::Rule { ruling: Ruling::Points(points), .. } if !points.is_finite() => {
            Err(CourseFault::Points)
        }
        What::Rule { ruling: Ruling::Reweighted(most), .. } if !most.is_finite() || *most < 0.0 => {
            Err(CourseFault::Points)
        }
        What::Rule { .. } | What::Student(None) => Ok(()),
        What::Student(Some(key)) => {
            let sql = "SELECT 1 FROM students WHERE key = ?1";
            exists(connection, sql, [key], || format!("student {key}"))
        }
        What::Page(id) | What::Aside(id) => {
            let page = page_with(connection, *id)?;
            let fits = page.unreadable.is_none()
                && page.place.is_some_and(|place| place.test == test && place.sheet == sheet);
            if !fits {
                return Err(CourseFault::Conflict(format!(
                    "page {} could not be read as one of sheet {sheet} of test {test}; choose another",
                    id.0
                )));
            }
            // A second time would have to be taken back twice.
            match set_aside(connection, test)?.get(&(page.input.hash, page.input.number)) {
                Some(Decision { by, .. }) => Err(CourseFault::Conflict(format!(
                    "page {} was set aside by {} at {}; take that back first",
                    id.0, by.who, by.at
                ))),
                None => Ok(()),
            }
        }
        What::Withdrawn(id) => check_withdrawal(connection, test, sheet, *id),
    }
}

fn check_withdrawal(
    connection: &Connection,
    test: &str,
    sheet: u32,
    id: DecisionId,
) -> Result<(), CourseFault> {
    let conflict = |what: String| Err(CourseFault::Conflict(what));
    let sql = "SELECT kind FROM decisions WHERE no = ?1 AND test = ?2 AND sheet = ?3";
    let kind: Option<String> =
        connection.query_row(sql, (id.0, test, sheet), |row| row.get(0)).optional()?;
    let DecisionId(number) = id;
    match kind.as_deref() {
        None => {
            Err(CourseFault::Unknown(format!("decision {number} on sheet {sheet} of test {test}")))
        }
        Some("withdrawn") => conflict(format!(
            "decision {number} takes another back and stays; decide again instead"
        )),
        Some(_) => {
            let sql = "SELECT who, at FROM decisions WHERE withdraws = ?1";
            let earlier: Option<(String, String)> = connection
                .query_row(sql, [number], |row| Ok((row.get(0)?, row.get(1)?)))
                .optional()?;
            match earlier {
                None => Ok(()),
                Some((who, at)) => {
                    conflict(format!("decision {number} was already taken back by {who} at {at}"))
                }
            }
        }
    }
}

const SELECT: &str = "SELECT d.no, d.sheet, d.kind, d.rule, d.outcome, d.number, d.student, d.page, \
     d.withdraws, d.seen, d.who, d.at, d.why, pages.page \
     FROM decisions d LEFT JOIN pages ON pages.no = d.page";

/// A decision, or why its row cannot be one, and the page of the sheet if it is about one.
type Stored = (Result<Decision, CourseFault>, Option<u32>);

fn stored(row: &Row<'_>) -> rusqlite::Result<Stored> {
    let id = row.get(0)?;
    let Some(what) = what(row)? else {
        let unknown = CourseFault::Damaged(format!("decision {id} is of no known kind"));
        return Ok((Err(unknown), None));
    };
    let decision = Decision {
        id: DecisionId(id),
        sheet: row.get(1)?,
        what,
        seen: row.get::<_, Option<i64>>(9)?.map(MarkingId),
        by: By { who: row.get(10)?, at: row.get(11)?, why: row.get(12)? },
    };
    Ok((Ok(decision), row.get(13)?))
}

/// What a row says, if it is of a known kind.
fn what(row: &Row<'_>) -> rusqlite::Result<Option<What>> {
    let kind: String = row.get(2)?;
    let outcome = row.get::<_, Option<String>>(4)?.and_then(|text| Outcome::of(&text));
    let ruling = match (kind.as_str(), outcome) {
        ("outcome", Some(outcome)) => Ruling::Outcome(outcome),
        ("blind", Some(outcome)) => Ruling::Blind(outcome),
        ("points", _) => Ruling::Points(row.get(5)?),
        ("waived", _) => Ruling::Waived,
        ("reweighted", _) => Ruling::Reweighted(row.get(5)?),
        ("student", _) => return Ok(Some(What::Student(row.get(6)?))),
        ("aside", _) => return Ok(Some(What::Aside(PageId(row.get(7)?)))),
        ("page", _) => return Ok(Some(What::Page(PageId(row.get(7)?)))),
        ("withdrawn", _) => return Ok(Some(What::Withdrawn(DecisionId(row.get(8)?)))),
        _ => return Ok(None),
    };
    Ok(Some(What::Rule { rule: row.get(3)?, ruling }))
}

/// What at most one decision on a sheet can be about at a time.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum About {
    Judgement(String),
    Weight(String),
    Student,
    Page(Option<u32>),
    Aside(PageId),
}

/// The decisions on a test's sheets that count, in the order of adding.
pub(crate) fn counting(connection: &Connection, test: &str) -> Result<Vec<Decision>, CourseFault> {
    let sql = format!("{SELECT} WHERE d.test = ?1 ORDER BY d.no");
    let found: Vec<Stored> = rows(connection, &sql, [test], stored)?;
    let mut latest = BTreeMap::new();
    let withdrawn: BTreeSet<DecisionId> = found
        .iter()
        .filter_map(|(decision, _)| match decision {
            Ok(Decision { what: What::Withdrawn(id), .. }) => Some(*id),
            _ => None,
        })
        .collect();
    for (decision, page) in found {
        let decision = decision?;
        if withdrawn.contains(&decision.id) {
            continue;
        }
        let about = match &decision.what {
            What::Rule { ruling: Ruling::Blind(_), .. } | What::Withdrawn(_) => continue,
            What::Rule { rule, ruling: Ruling::Outcome(_) | Ruling::Points(_) } => {
                About::Judgement(rule.clone())
            }
            What::Rule { rule, ruling: Ruling::Waived | Ruling::Reweighted(_) } => {
                About::Weight(rule.clone())
            }
            What::Student(_) => About::Student,
            What::Page(_) => About::Page(page),
            What::Aside(id) => About::Aside(*id),
        };
        latest.insert((decision.sheet, about), decision);
    }
    let mut counting: Vec<Decision> = latest.into_values().collect();
    counting.sort_by_key(|decision| decision.id);
    Ok(counting)
}

/// The decisions that set input pages of a test aside, by the file's digest and the page in it: what
/// is read anew of the same page stays aside.
pub(crate) fn set_aside(
    connection: &Connection,
    test: &str,
) -> Result<BTreeMap<(String, u32), Decision>, CourseFault> {
    let mut aside = BTreeMap::new();
    for decision in counting(connection, test)? {
        if let What::Aside(id) = decision.what {
            let input = page_with(connection, id)?.input;
            aside.insert((input.hash, input.number), decision);
        }
    }
    Ok(aside)
}
