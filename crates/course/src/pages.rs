//! Input pages: what was read from each, and which of them count.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, Row};

use crate::by::check_time;
use crate::decisions::{self, Decision, DecisionId, What};
use crate::open::rows;
use crate::roster::{letter, sheet_form};
use crate::{By, Course, CourseError, CourseFault, Json};

/// The number of a page's reading in the database.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PageId(pub i64);

/// One page of a file, and what read it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// A digest of the file's bytes.
    pub hash: String,
    /// The page in the file, from 1.
    pub number: u32,
    /// The version of what read it: another version is another reading.
    pub reader: String,
    /// The file's name.
    pub file: String,
}

impl Input {
    /// Which page of which file it is, whatever read it.
    fn place_in_file(&self) -> (String, u32) {
        (self.hash.clone(), self.number)
    }
}

/// What a page's code says.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The test.
    pub test: String,
    /// The sheet's number in the test.
    pub sheet: u32,
    /// The form's letter.
    pub form: char,
    /// The page of the sheet, from 1.
    pub page: u32,
}

/// An input page as it was read once, without what was drawn on it ([`Course::drawing`]) and
/// its picture ([`Course::picture`]), so that lists of pages stay small.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page {
    /// Its number.
    pub id: PageId,
    /// Where it came from.
    pub input: Input,
    /// What its code says; there is one wherever the page could be read.
    pub place: Option<Place>,
    /// Why it could not be read; none where it could.
    pub unreadable: Option<String>,
    /// When it was added.
    pub added_at: String,
}

/// All input pages that are the same page of the same sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SheetPage {
    /// The sheet's number in the test.
    pub sheet: u32,
    /// The page of the sheet.
    pub page: u32,
    /// The one that counts: the one that was chosen, or else the first.
    pub counts: Page,
    /// Its duplicates, in the order in which they were first added.
    pub others: Vec<Page>,
}

/// An input page that was set aside, and by whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AsidePage {
    /// The page as it was read last.
    pub page: Page,
    /// The decision: taken back, the page counts again.
    pub decision: DecisionId,
    /// Who set it aside, when and why.
    pub by: By,
}

impl Course {
    /// Adds a page that was read, and its sheet if that is not there: `drawing` is what was
    /// found on it, `picture` what it looks like. The test must be there.
    ///
    /// Adding the same again changes nothing and gives the number it has. What is read
    /// differently from the same file's page later counts instead of what was read earlier.
    pub fn add_page(
        &self,
        input: &Input,
        place: &Place,
        drawing: &Json,
        picture: Option<&[u8]>,
        at: &str,
    ) -> Result<PageId, CourseError> {
        let reading =
            Reading { input, place: Some(place), reason: None, drawing: Some(drawing), picture };
        self.write(|connection| reading.add(connection, at))
    }

    /// Adds a page that could not be read, for whatever `reason`; `place` is what its code
    /// says where that alone was found. The rest is as with [`Course::add_page`].
    pub fn add_unreadable_page(
        &self,
        input: &Input,
        place: Option<&Place>,
        reason: &str,
        picture: Option<&[u8]>,
        at: &str,
    ) -> Result<PageId, CourseError> {
        let reading = Reading { input, place, reason: Some(reason), drawing: None, picture };
        self.write(|connection| reading.add(connection, at))
    }

    /// What `reader` read from page `number` of the file with this `hash`, if it did already.
    pub fn page_of(
        &self,
        hash: &str,
        number: u32,
        reader: &str,
    ) -> Result<Option<Page>, CourseError> {
        self.read(|connection| latest(connection, hash, number, reader))
    }

    /// What was drawn on a page; none where it could not be read.
    pub fn drawing(&self, page: PageId) -> Result<Option<Json>, CourseError> {
        self.read(|connection| long_column(connection, "drawing", page))
    }

    /// A page's picture, where one was kept.
    pub fn picture(&self, page: PageId) -> Result<Option<Vec<u8>>, CourseError> {
        self.read(|connection| long_column(connection, "picture", page))
    }

    /// The reading of a page that has this number.
    pub fn page(&self, id: PageId) -> Result<Page, CourseError> {
        self.read(|connection| page_with(connection, id))
    }

    /// The pages of a test's sheets that could be read and are not set aside, in the order of
    /// sheets and pages, and which of them count. Of each file's page the latest reading is taken.
    pub fn sheet_pages(&self, test: &str) -> Result<Vec<SheetPage>, CourseError> {
        self.read(|connection| {
            let aside = decisions::set_aside(connection, test)?;
            let mut places = BTreeMap::<(u32, u32), Vec<Page>>::new();
            for page in current(connection, "status = 'read' AND test = ?1", [test])? {
                let is_aside = aside.contains_key(&page.input.place_in_file());
                if let (Some(place), false) = (&page.place, is_aside) {
                    places.entry((place.sheet, place.page)).or_default().push(page);
                }
            }
            let mut chosen = Vec::new();
            for decision in decisions::counting(connection, test)? {
                if let What::Page(id) = decision.what {
                    chosen.push(page_with(connection, id)?);
                }
            }
            let of_same_file = |page: &Page| {
                chosen.iter().any(|chosen| {
                    (&chosen.input.hash, chosen.input.number)
                        == (&page.input.hash, page.input.number)
                })
            };
            let sheet_page = |((sheet, page), mut pages): ((u32, u32), Vec<Page>)| {
                let counts = pages.remove(pages.iter().position(of_same_file).unwrap_or(0));
                SheetPage { sheet, page, counts, others: pages }
            };
            Ok(places.into_iter().map(sheet_page).collect())
        })
    }

    /// The pages of a test's sheets that were set aside, in the order of adding.
    pub fn aside_pages(&self, test: &str) -> Result<Vec<AsidePage>, CourseError> {
        self.read(|connection| {
            let mut aside = decisions::set_aside(connection, test)?;
            let pages = current(connection, "status = 'read' AND test = ?1", [test])?;
            let set_aside = |page: Page| {
                let Decision { id, by, .. } = aside.remove(&page.input.place_in_file())?;
                Some(AsidePage { page, decision: id, by })
            };
            Ok(pages.into_iter().filter_map(set_aside).collect())
        })
    }

    /// The pages that could not be read when they were read last, in the order of adding.
    pub fn unreadable_pages(&self) -> Result<Vec<Page>, CourseError> {
        self.read(|connection| current(connection, "status = 'unreadable'", []))
    }
}

/// A page to be added.
struct Reading<'a> {
    input: &'a Input,
    place: Option<&'a Place>,
    reason: Option<&'a str>,
    drawing: Option<&'a Json>,
    picture: Option<&'a [u8]>,
}

impl Reading<'_> {
    fn add(&self, connection: &Connection, at: &str) -> Result<PageId, CourseFault> {
        check_time(at)?;
        let Input { hash, number, reader, file } = self.input;
        if let Some(known) = latest(connection, hash, *number, reader)?
            && self.is(connection, &known)?
        {
            return Ok(known.id);
        }
        if let Some(Place { test, sheet, form, .. }) = self.place {
            sheet_form(connection, test, *sheet, *form, at)?;
        }
        let status = if self.reason.is_none() { "read" } else { "unreadable" };
        connection.execute(
            "INSERT INTO pages (hash, number, reader, file, added_at, status, reason, \
             test, sheet, form, page, drawing, picture) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
            rusqlite::params![
                hash,
                number,
                reader,
                file,
                at,
                status,
                self.reason,
                self.place.map(|place| &place.test),
                self.place.map(|place| place.sheet),
                self.place.map(|place| String::from(place.form)),
                self.place.map(|place| place.page),
                self.drawing,
                self.picture,
            ],
        )?;
        Ok(PageId(connection.last_insert_rowid()))
    }

    /// Whether it says the same as one that is there; the file's name may be another.
    fn is(&self, connection: &Connection, known: &Page) -> Result<bool, CourseFault> {
        Ok(self.place == known.place.as_ref()
            && self.reason == known.unreadable.as_deref()
            && self.drawing == long_column(connection, "drawing", known.id)?.as_ref()
            && self.picture == long_column::<Vec<u8>>(connection, "picture", known.id)?.as_deref())
    }
}

const COLUMNS: &str = "no, hash, number, reader, file, added_at, reason, test, sheet, form, page";

fn page(row: &Row<'_>) -> rusqlite::Result<Page> {
    let place = match row.get(7)? {
        None => None,
        Some(test) => {
            Some(Place { test, sheet: row.get(8)?, form: letter(row, 9)?, page: row.get(10)? })
        }
    };
    Ok(Page {
        id: PageId(row.get(0)?),
        input: Input {
            hash: row.get(1)?,
            number: row.get(2)?,
            reader: row.get(3)?,
            file: row.get(4)?,
        },
        place,
        unreadable: row.get(6)?,
        added_at: row.get(5)?,
    })
}

/// The latest reading of each file's page, if it meets `condition`; in the order in which the
/// files' pages were first added.
fn current(
    connection: &Connection,
    condition: &str,
    parameters: impl rusqlite::Params,
) -> Result<Vec<Page>, CourseFault> {
    const SAME: &str = "FROM pages other WHERE other.hash = one.hash AND other.number = one.number";
    let sql = format!(
        "SELECT {COLUMNS} FROM pages one WHERE {condition} \
         AND no = (SELECT max(no) {SAME}) ORDER BY (SELECT min(no) {SAME})"
    );
    rows(connection, &sql, parameters, page)
}

fn latest(
    connection: &Connection,
    hash: &str,
    number: u32,
    reader: &str,
) -> Result<Option<Page>, CourseFault> {
    let sql = format!(
        "SELECT {COLUMNS} FROM pages WHERE hash = ?1 AND number = ?2 AND reader = ?3 \
         ORDER BY no DESC LIMIT 1"
    );
    Ok(connection.query_row(&sql, (hash, number, reader), page).optional()?)
}

/// The page with this number.
pub(crate) fn page_with(connection: &Connection, id: PageId) -> Result<Page, CourseFault> {
    let sql = format!("SELECT {COLUMNS} FROM pages WHERE no = ?1");
    let found = connection.query_row(&sql, [id.0], page).optional()?;
    found.ok_or_else(|| CourseFault::Unknown(format!("page {}", id.0)))
}

fn long_column<T: rusqlite::types::FromSql>(
    connection: &Connection,
    column: &str,
    page: PageId,
) -> Result<Option<T>, CourseFault> {
    let sql = format!("SELECT {column} FROM pages WHERE no = ?1");
    let found = connection.query_row(&sql, [page.0], |row| row.get(0)).optional()?;
    found.ok_or_else(|| CourseFault::Unknown(format!("page {}", page.0)))
}
