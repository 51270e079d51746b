//! Reading all pages that were not read yet: by all cores, and into the database in the order in
//! which they were given.

use std::collections::BTreeMap;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

use course::{Course, Input, Json, Place};
use marking::DrawnPage;
use reader::{Fault, PagePicture, ReadPage};
use scan::{Limits, Pages, Picture};
use serde::{Deserialize, Serialize};
use sheet::SheetCode;

use crate::failure::Failure;
use crate::mark::clock;
use crate::mark::inputs::{InputPage, Inputs, State, digest};
use crate::mark::prints::{Editions, Readers};
use crate::progress;

/// What is kept of a page besides its picture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Kept {
    pub(crate) drawn: DrawnPage,
    pub(crate) residual_mm: f64,
    pub(crate) remarks: Vec<String>,
    /// Of the picture.
    pub(crate) px_per_mm: u32,
}

/// Copies of a master have no number of their own: they are numbered from here on.
pub(crate) const FIRST_COPY: u32 = 90_001;
/// Pages that may wait for an earlier one, for each thread.
const AHEAD: usize = 4;

/// What is said of a sheet of a test that is not known.
pub(crate) const REMEDY: &str = "; if the test's file was changed after printing, give it as it was then with --printed OLD.toml";
/// What is said of a page at which the program itself failed.
const FAILED: &str = "the program failed at this page, which is its own fault; mark the page by hand, and please report it";

/// Reads what is to be read and keeps it.
pub(crate) fn read_all(
    inputs: &Inputs,
    readers: &Readers<'_, '_>,
    editions: &Editions,
    course: &Course,
) -> Result<(), Failure> {
    let todo: Vec<&InputPage> =
        inputs.pages.iter().filter(|page| matches!(page.state, State::New)).collect();
    let threads = thread::available_parallelism().map_or(1, usize::from).min(todo.len().max(1));
    let desk = Desk::new(&todo, inputs, AHEAD * threads);
    let (send, results) = sync_channel(threads);
    let bar = progress::bar("reading pages", todo.len());
    thread::scope(|scope| {
        for _ in 0..threads {
            let (send, desk) = (send.clone(), &desk);
            scope.spawn(move || work(desk, readers, &send));
        }
        drop(send);
        let mut keeper = Keeper { inputs, editions, course, copy: None };
        let kept = keep_in_order(&mut keeper, &desk, results, &|| bar.inc(1));
        desk.close();
        kept
    })?;
    bar.finish_and_clear();
    Ok(())
}

/// Keeps page after page; what is read early waits.
fn keep_in_order(
    keeper: &mut Keeper<'_>,
    desk: &Desk<'_>,
    results: Receiver<(usize, Result<ReadPage, Unread>)>,
    each: &dyn Fn(),
) -> Result<(), Failure> {
    let mut waiting = BTreeMap::new();
    let mut next = 0;
    for page in &keeper.inputs.pages {
        match &page.state {
            State::Known(known) => keeper.pass(page, known.place.as_ref()),
            State::Fault(reason) => keeper.keep(page, Err(Unread::file(reason)))?,
            State::Closed(_) | State::Same(_) => keeper.copy = None,
            State::New => {
                let read = loop {
                    if let Some(read) = waiting.remove(&next) {
                        break read;
                    }
                    let Ok((number, read)) = results.recv() else {
                        return Err(Failure::Other("reading stopped; run this again".to_owned()));
                    };
                    waiting.insert(number, read);
                };
                keeper.keep(page, read)?;
                next += 1;
                desk.kept(next);
                each();
            }
        }
    }
    Ok(())
}

/// Why a page could not be read, and which it is where that is known.
struct Unread {
    reason: String,
    code: Option<SheetCode>,
    /// Whether it is of a test that is not known here.
    foreign: bool,
}

impl Unread {
    fn file(reason: &str) -> Self {
        Self { reason: reason.to_owned(), code: None, foreign: false }
    }
}

impl From<Fault> for Unread {
    fn from(fault: Fault) -> Self {
        let foreign = matches!(fault, Fault::OtherTest { .. });
        Self { reason: fault.to_string(), code: fault.code().cloned(), foreign }
    }
}

/// One of the threads that read.
fn work(
    desk: &Desk<'_>,
    readers: &Readers<'_, '_>,
    send: &SyncSender<(usize, Result<ReadPage, Unread>)>,
) {
    while let Some((number, picture)) = desk.next() {
        let read = picture.map_err(|reason| Unread::file(&reason)).and_then(|picture| {
            // One odd page must not take the others with it.
            let read = catch_unwind(AssertUnwindSafe(|| readers.read(&picture)));
            match read {
                Ok(read) => read.map_err(Unread::from),
                Err(_) => Err(Unread::file(FAILED)),
            }
        });
        if send.send((number, read)).is_err() {
            return;
        }
    }
}

/// Where the threads get pages from. Pictures are made one at a time, each by the thread that
/// reads it, so that there are never more of them than threads.
struct Desk<'a> {
    pile: Mutex<Pile<'a>>,
    gate: Mutex<Gate>,
    moved: Condvar,
    ahead: usize,
}

struct Pile<'a> {
    todo: &'a [&'a InputPage],
    inputs: &'a Inputs,
    next: usize,
    /// The file that is open: its number, its pages, and the page that comes next.
    open: Option<(usize, Result<Pages, String>, u32)>,
}

/// How many pages were taken, and how many kept.
struct Gate {
    taken: usize,
    kept: usize,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl<'a> Desk<'a> {
    fn new(todo: &'a [&'a InputPage], inputs: &'a Inputs, ahead: usize) -> Self {
        let pile = Mutex::new(Pile { todo, inputs, next: 0, open: None });
        let gate = Mutex::new(Gate { taken: 0, kept: 0 });
        Self { pile, gate, moved: Condvar::new(), ahead }
    }

    fn next(&self) -> Option<(usize, Result<Picture, String>)> {
        let gate = locked(&self.gate);
        let far = |gate: &mut Gate| gate.taken >= gate.kept.saturating_add(self.ahead);
        let mut gate = self.moved.wait_while(gate, far).unwrap_or_else(PoisonError::into_inner);
        gate.taken += 1;
        drop(gate);
        locked(&self.pile).next()
    }

    fn kept(&self, count: usize) {
        let mut gate = locked(&self.gate);
        gate.kept = gate.kept.max(count);
        self.moved.notify_all();
    }

    /// Nothing more is wanted.
    fn close(&self) {
        self.kept(usize::MAX);
        let mut pile = locked(&self.pile);
        pile.next = pile.todo.len();
    }
}

impl Pile<'_> {
    fn next(&mut self) -> Option<(usize, Result<Picture, String>)> {
        let page = *self.todo.get(self.next)?;
        let number = self.next;
        self.next += 1;
        if self.open.as_ref().is_none_or(|(file, ..)| *file != page.file) {
            self.open = Some((page.file, self.opened(page.file), 1));
        }
        let Some((_, pages, next)) = &mut self.open else { return None };
        let picture = match pages {
            Err(reason) => Err(reason.clone()),
            Ok(pages) => {
                let skipped = (page.number - *next) as usize;
                *next = page.number + 1;
                let picture = pages.nth(skipped);
                picture.map_or_else(
                    || Err("the page is gone from the file; run this again".to_owned()),
                    |picture| picture.map_err(|error| error.fault.to_string()),
                )
            }
        };
        Some((number, picture))
    }

    fn opened(&self, file: usize) -> Result<Pages, String> {
        let file = &self.inputs.files[file];
        let bytes = fs::read(&file.path)
            .map_err(|reason| Failure::unreadable(&file.path, reason).to_string())?;
        if digest(&bytes) != file.hash {
            return Err("the file was changed while it was read; run this again".to_owned());
        }
        scan::read(bytes, &file.name, Limits::default()).map_err(|error| error.fault.to_string())
    }
}

/// Puts pages into the database.
struct Keeper<'a> {
    inputs: &'a Inputs,
    editions: &'a Editions,
    course: &'a Course,
    /// The copy of a master whose next page may follow: the page after which it would, and where
    /// that belongs.
    copy: Option<(usize, u32, Place)>,
}

impl Keeper<'_> {
    fn keep(&mut self, page: &InputPage, read: Result<ReadPage, Unread>) -> Result<(), Failure> {
        let file = &self.inputs.files[page.file];
        let input = Input {
            hash: file.hash.clone(),
            number: page.number,
            reader: reader::VERSION.to_owned(),
            file: file.name.clone(),
        };
        let at = clock::now();
        match read {
            Ok(ReadPage { code, drawn, residual_mm, remarks, picture }) => {
                let PagePicture { png, px_per_mm } = picture;
                add_test(self.course, self.editions, code.test(), &at)?;
                let place = self.place(page, &code)?;
                let kept = Kept { drawn, residual_mm, remarks, px_per_mm };
                let drawing = Json::of(&kept).map_err(Failure::kept)?;
                self.course.add_page(&input, &place, &drawing, Some(&png), &at)?;
                self.pass(page, Some(&place));
            }
            Err(Unread { reason, code, foreign }) => {
                let reason = if foreign { self.remedy(&reason, code.as_ref())? } else { reason };
                let own = code.filter(|code| code.sheet() > 0 && self.editions.knows(code.test()));
                let place = own.map(|code| Place {
                    test: code.test().to_owned(),
                    sheet: code.sheet(),
                    form: code.form(),
                    page: u32::from(code.page()),
                });
                if let Some(place) = &place {
                    add_test(self.course, self.editions, &place.test, &at)?;
                }
                self.course.add_unreadable_page(&input, place.as_ref(), &reason, None, &at)?;
                self.copy = None;
            }
        }
        Ok(())
    }

    /// Remembers where a page belongs, for the page that follows it.
    fn pass(&mut self, page: &InputPage, place: Option<&Place>) {
        let copy = place.filter(|place| place.sheet >= FIRST_COPY);
        self.copy = copy.map(|place| (page.file, page.number, place.clone()));
    }

    /// Where a page belongs: what its code says, or a number of its own for a master's copy.
    fn place(&self, page: &InputPage, code: &SheetCode) -> Result<Place, Failure> {
        let (test, form, number) = (code.test().to_owned(), code.form(), u32::from(code.page()));
        let mut place = Place { test, sheet: code.sheet(), form, page: number };
        if place.sheet > 0 {
            return Ok(place);
        }
        let goes_on = self.copy.as_ref().filter(|(file, before, other)| {
            (*file, *before + 1) == (page.file, page.number)
                && (&other.test, other.form, other.page + 1)
                    == (&place.test, place.form, place.page)
        });
        place.sheet = match goes_on {
            Some((_, _, other)) => other.sheet,
            None => {
                let last = self.course.sheets(&place.test)?.last().map_or(0, |sheet| sheet.sheet);
                (last + 1).max(FIRST_COPY)
            }
        };
        Ok(place)
    }

    /// What to do about a sheet of another test.
    fn remedy(&self, reason: &str, code: Option<&SheetCode>) -> Result<String, Failure> {
        let other = code.map(|code| self.course.test(code.test())).transpose()?.flatten();
        Ok(match other {
            Some(test) => format!(
                "{reason}, which this course knows as “{}”; mark it with that test's file",
                test.title
            ),
            None => format!("{reason}{REMEDY}"),
        })
    }
}

/// Adds a print with its texts as they are now, unless it is there.
pub(crate) fn add_test(
    course: &Course,
    editions: &Editions,
    id: &str,
    at: &str,
) -> Result<(), Failure> {
    if course.test(id)?.is_some() {
        return Ok(());
    }
    let (Some((definition, conventions)), Some(test)) = (editions.texts(id), editions.test(id))
    else {
        return Ok(());
    };
    let test = course::Test {
        id: id.to_owned(),
        title: test.title.clone(),
        definition: definition.to_owned(),
        conventions: Json::of(conventions).map_err(Failure::kept)?,
    };
    course.add_test(&test, at)?;
    Ok(())
}
