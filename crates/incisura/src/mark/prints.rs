//! The ways in which a test can have been printed, and what is needed to read each.
//!
//! A sheet's code names the test by a digest of its file and of what was changed on the command
//! line, so it can be told which of the variants a sheet is of. They are built when one is seen.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use cycle::{Cycle, Subject};
use reader::{Fault, Printed, ReadPage};
use scan::Picture;
use sheet::{Book, Paper, Test, forms};

use crate::failure::Failure;
use crate::test_file::{self, Changes};

const PAPERS: [Paper; 2] = [Paper::Letter, Paper::A4];
const MOST_FORMS: usize = 26;

/// A test's file as it was when sheets were printed from it.
pub(crate) struct Source {
    pub(crate) path: PathBuf,
    pub(crate) text: String,
    /// What the file itself says.
    pub(crate) test: Test,
}

/// Everything but the paper in which prints of a test can differ.
#[derive(Clone, Copy)]
struct Kind {
    source: usize,
    forms: usize,
    large_print: bool,
}

/// A kind of print on all papers, the file's own first.
struct Edition {
    tests: Vec<(String, Test)>,
    models: Vec<Cycle>,
    conventions: BTreeMap<String, String>,
}

/// All kinds of prints, each made when it is asked for.
pub(crate) struct Editions {
    sources: Vec<Source>,
    kinds: Vec<Kind>,
    /// Which kind a print is of, by what its codes call it.
    ids: BTreeMap<String, usize>,
    /// The conventions of prints whose sheets were read before, as they were then.
    known: BTreeMap<String, BTreeMap<String, String>>,
    made: Vec<OnceLock<Result<Edition, String>>>,
}

impl Editions {
    /// The prints of `sources`, of which the first is the test's own file.
    pub(crate) fn new(
        sources: Vec<Source>,
        known: BTreeMap<String, BTreeMap<String, String>>,
    ) -> Self {
        let (mut kinds, mut ids) = (Vec::new(), BTreeMap::new());
        for (number, source) in sources.iter().enumerate() {
            let own = source.test.forms;
            let others = (1..=MOST_FORMS).filter(|&forms| forms != own);
            for forms in std::iter::once(own).chain(others) {
                for large_print in [false, true] {
                    for paper in PAPERS {
                        let id = test_file::identity(&source.text, forms, paper, large_print);
                        ids.entry(id).or_insert(kinds.len());
                    }
                    kinds.push(Kind { source: number, forms, large_print });
                }
            }
        }
        let made = kinds.iter().map(|_| OnceLock::new()).collect();
        Self { sources, kinds, ids, known, made }
    }

    /// What codes call the print that the test's own file describes.
    pub(crate) fn own_id(&self) -> String {
        let Source { text, test, .. } = &self.sources[0];
        test_file::identity(text, test.forms, test.paper, test.large_print)
    }

    /// Whether codes with this name are of one of the prints.
    pub(crate) fn knows(&self, id: &str) -> bool {
        self.ids.contains_key(id)
    }

    /// The text of the file from which a print was made, and its conventions.
    pub(crate) fn texts(&self, id: &str) -> Option<(&str, &BTreeMap<String, String>)> {
        let kind = *self.ids.get(id)?;
        let edition = self.edition(kind).ok()?;
        Some((&self.sources[self.kinds[kind].source].text, &edition.conventions))
    }

    /// The test of a print.
    pub(crate) fn test(&self, id: &str) -> Option<&Test> {
        let edition = self.edition(*self.ids.get(id)?).ok()?;
        edition.tests.iter().find(|(own, _)| own == id).map(|(_, test)| test)
    }

    fn edition(&self, kind: usize) -> Result<&Edition, String> {
        let make = || self.make(self.kinds[kind]).map_err(|failure| failure.to_string());
        self.made[kind].get_or_init(make).as_ref().map_err(Clone::clone)
    }

    fn make(&self, kind: Kind) -> Result<Edition, Failure> {
        let Source { path, text, test, .. } = &self.sources[kind.source];
        let papers =
            [test.paper].into_iter().chain(PAPERS.into_iter().filter(|p| *p != test.paper));
        let ids: Vec<(Paper, String)> = papers
            .map(|paper| (paper, test_file::identity(text, kind.forms, paper, kind.large_print)))
            .collect();
        let nothing = BTreeMap::new();
        let known = ids.iter().find_map(|(_, id)| self.known.get(id)).unwrap_or(&nothing);
        let changes =
            Changes { forms: Some(kind.forms), paper: None, large_print: kind.large_print };
        let read = test_file::read(path, text, &changes, known)?;
        let models = forms(&read.test)
            .iter()
            .map(|form| Ok(test_file::form_heart(&read.test, form, path, text)?.drawn))
            .collect::<Result<Vec<Cycle>, Failure>>()?;
        let tests = ids.into_iter().map(|(paper, id)| (id, Test { paper, ..read.test.clone() }));
        Ok(Edition { tests: tests.collect(), models, conventions: read.conventions })
    }
}

/// The pages of the prints.
pub(crate) struct Books<'a> {
    pub(crate) editions: &'a Editions,
    subject: &'a Subject,
    made: Vec<OnceLock<Result<Vec<Book<'a>>, String>>>,
}

impl<'a> Books<'a> {
    pub(crate) fn new(editions: &'a Editions, subject: &'a Subject) -> Self {
        let made = editions.kinds.iter().map(|_| OnceLock::new()).collect();
        Self { editions, subject, made }
    }

    /// The pages of a print; none of an unknown one, or where they cannot be laid out.
    pub(crate) fn book(&self, id: &str) -> Option<&Book<'a>> {
        let books = self.of(*self.editions.ids.get(id)?).ok()?;
        books.iter().find(|book| book.id() == id)
    }

    /// Whether the test's own print can be made.
    pub(crate) fn check(&self) -> Result<(), Failure> {
        let path = &self.editions.sources[0].path;
        self.of(0).map(|_| ()).map_err(|what| Failure::file(path, what))
    }

    /// A kind of print on every paper that it fits on, its own first.
    fn of(&self, kind: usize) -> Result<&[Book<'a>], String> {
        let make = || {
            let Edition { tests, models, .. } = self.editions.edition(kind)?;
            let mut books = Vec::new();
            for (index, (id, test)) in tests.iter().enumerate() {
                match Book::new(test, self.subject, id, models.clone()) {
                    Ok(book) => books.push(book),
                    Err(error) if index == 0 => return Err(error.to_string()),
                    // What does not fit on the other paper was not printed on it.
                    Err(_) => {}
                }
            }
            Ok(books)
        };
        self.made[kind].get_or_init(make).as_deref().map_err(Clone::clone)
    }
}

/// What reads the pages of the prints.
pub(crate) struct Readers<'b, 'a> {
    books: &'b Books<'a>,
    made: Vec<OnceLock<Vec<Printed<'b>>>>,
    /// The kind that was seen last: a stack of sheets is mostly of one.
    latest: AtomicUsize,
}

impl<'b, 'a> Readers<'b, 'a> {
    pub(crate) fn new(books: &'b Books<'a>) -> Self {
        let made = books.made.iter().map(|_| OnceLock::new()).collect();
        Self { books, made, latest: AtomicUsize::new(0) }
    }

    /// Reads a page of whichever print it is.
    ///
    /// # Errors
    /// [`Fault`] where it cannot be read.
    pub(crate) fn read(&self, picture: &Picture) -> Result<ReadPage, Fault> {
        let latest = self.latest.load(Ordering::Relaxed);
        let read = Printed::read_one_of(self.of(latest), picture);
        let Err(Fault::OtherTest { code }) = &read else { return read.map(|(_, page)| page) };
        match self.books.editions.ids.get(code.test()) {
            Some(&kind) if kind != latest && !self.of(kind).is_empty() => {
                self.latest.store(kind, Ordering::Relaxed);
                Printed::read_one_of(self.of(kind), picture).map(|(_, page)| page)
            }
            _ => read.map(|(_, page)| page),
        }
    }

    fn of(&self, kind: usize) -> &[Printed<'b>] {
        let make = || {
            let books = self.books.of(kind).unwrap_or_default();
            books.iter().map(Printed::new).collect()
        };
        self.made[kind].get_or_init(make)
    }
}
