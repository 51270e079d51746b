//! A test's marks, at hand for requests.
//!
//! Everything is kept in `marks/marks.sqlite`, which the command line may write to as well. What
//! was loaded is kept as long as no file that it came from has changed; after a decision only what
//! depends on decisions is made anew.

use std::collections::{BTreeMap, VecDeque};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, LazyLock, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, SystemTime};

use convention::Convention;
use course::{Course, MarkingId, PageId};
use cycle::Subject;
use marking::{ClassForm, ClassSheet, DrawnSheet, Rubric, Statistics, statistics};

use crate::failure::Failure;
use crate::files;
use crate::mark::class::{Class, Record};
use crate::mark::inputs::{Inputs, Looked, in_folder};
use crate::mark::prints::{Books, Editions};
use crate::mark::reading::Kept;
use crate::mark::review::GreyPicture;
use crate::mark::run::{Definition, Rules, prints};
use crate::mark::sheets::{Marked, as_marked, form_index, proposed};
use crate::web::folder::{Folder, HISTORY};
use crate::web::printed;
use crate::web::refusal::Refusal;
use crate::web::words::marking as words;

/// Where scans lie in a course folder, and where marks are kept.
pub(crate) const SCANS: &str = "scans";
pub(crate) const MARKS: &str = "marks";
/// How long the app waits for another program that writes to the database.
const PATIENCE: Duration = Duration::from_secs(2);
/// So many pages' pictures are kept at hand, about 4 MB each.
const PICTURES: usize = 12;
/// So far above the panels there may be something drawn, in millimetres.
const HEAD_MM: f64 = 4.0;
/// So many earlier texts of a test may have been printed.
const EARLIER: usize = 20;

/// What things are called.
pub(crate) static SUBJECT: LazyLock<Subject> = LazyLock::new(heart::subject);

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A file as it was seen: when it was changed, and how long it is.
type Seen = (PathBuf, Option<SystemTime>, u64);

/// What was loaded lately.
#[derive(Default)]
pub(crate) struct Shelf {
    works: Mutex<BTreeMap<(PathBuf, String), Arc<Work>>>,
    looked: Mutex<BTreeMap<PathBuf, (Seen, Looked)>>,
    pictures: Mutex<VecDeque<(PathBuf, PageId, Arc<GreyPicture>)>>,
}

/// What does not depend on decisions.
struct Base {
    rules: Rules,
    editions: Editions,
    marked: Vec<(String, Marked)>,
    /// The texts that it came from.
    texts: Vec<Seen>,
    key: Vec<PrintKey>,
}

/// What was loaded of a print: which marking counts, and which pages, duplicates too.
type PrintKey = (String, Option<MarkingId>, Vec<PageId>);

/// A test's marks.
pub(crate) struct Work {
    base: Arc<Base>,
    /// Everything that was handed in, decisions taken in.
    pub(crate) class: Class,
    /// The files that lie in `scans/`, and what is known of their pages.
    pub(crate) inputs: Inputs,
    /// Whether there are marks by other rules than those of now.
    pub(crate) outdated: bool,
    seen: Vec<Seen>,
    statistics: OnceLock<Statistics>,
}

/// The database of the course in `folder`; one that is gone with the request where nothing was
/// marked yet.
pub(crate) fn database(folder: &Folder) -> Result<Course, Failure> {
    let marks = folder.root().join(MARKS);
    if marks.join(course::FILE).exists() {
        Ok(Course::open_within(&marks, PATIENCE)?)
    } else {
        Ok(Course::in_memory()?)
    }
}

/// The test in `file` as it is now and as it was when sheets may have been printed.
pub(crate) fn definition(folder: &Folder, file: &str) -> Result<Definition, Refusal> {
    let path = folder.path(file)?;
    let mut definition = Definition::read(&path)?;
    for printed::Kept { id, text, printed } in printed::kept(folder, file) {
        definition.add_kept(id, text, printed);
    }
    for earlier in earlier_texts(folder, file) {
        // A text that has faults was not printed.
        let _ = files::read(&earlier).and_then(|text| definition.add_printed(path.clone(), text));
    }
    Ok(definition)
}

/// The texts that the app kept when the test was changed, the latest first.
fn earlier_texts(folder: &Folder, file: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder.root().join(HISTORY).join(file));
    let mut texts: Vec<PathBuf> =
        entries.into_iter().flatten().flatten().map(|entry| entry.path()).collect();
    texts.sort();
    texts.reverse();
    texts.truncate(EARLIER);
    texts
}

fn seen(path: PathBuf) -> Seen {
    let about = fs::metadata(&path).ok();
    let changed = about.as_ref().and_then(|about| about.modified().ok());
    (path, changed, about.map_or(0, |about| about.len()))
}

fn seen_in(folder: &Path) -> Vec<Seen> {
    let mut all: Vec<Seen> =
        fs::read_dir(folder).into_iter().flatten().flatten().map(|one| seen(one.path())).collect();
    all.sort();
    all
}

/// The texts that a test's rules and prints come from.
fn texts(folder: &Folder, file: &str) -> Vec<Seen> {
    let mut all = seen_in(folder.root());
    all.retain(|(path, ..)| path.extension().is_some_and(|kind| kind == "toml"));
    all.extend(earlier_texts(folder, file).into_iter().map(seen));
    all.extend(printed::kept_files(folder).into_iter().map(seen));
    all
}

impl Shelf {
    /// The marks of the test in `file`.
    pub(crate) fn work(&self, folder: &Folder, file: &str) -> Result<Arc<Work>, Refusal> {
        let key = (folder.root().to_owned(), file.to_owned());
        let texts = texts(folder, file);
        let mut now = texts.clone();
        now.push(seen(folder.root().join(MARKS).join(course::FILE)));
        now.extend(seen_in(&folder.root().join(SCANS)));
        let known = locked(&self.works).get(&key).cloned();
        if let Some(work) = known.as_ref().filter(|work| work.seen == now) {
            return Ok(work.clone());
        }
        let course = database(folder)?;
        let base = match known.map(|work| work.base.clone()).filter(|base| base.texts == texts) {
            Some(base) if base.key == print_keys(&course, &base.editions)? => base,
            _ => Arc::new(Base::load(folder, file, texts, &course)?),
        };
        let inputs = self.inputs(folder, &course)?;
        let work = Arc::new(Work::new(base, inputs, &course, now)?);
        locked(&self.works).insert(key, work.clone());
        Ok(work)
    }

    /// What lies in `scans/`. A file is looked into once as long as it does not change.
    fn inputs(&self, folder: &Folder, course: &Course) -> Result<Inputs, Failure> {
        let scans = folder.root().join(SCANS);
        let mut paths = Vec::new();
        if scans.is_dir() {
            in_folder(&scans, &mut paths)?;
        }
        let looked = paths.into_iter().map(|path| self.looked(path)).collect();
        Inputs::known(looked, Vec::new(), course)
    }

    /// What is in a file.
    pub(crate) fn looked(&self, path: PathBuf) -> Looked {
        let now = seen(path.clone());
        if let Some((_, known)) = locked(&self.looked).get(&path).filter(|(then, _)| *then == now) {
            return known.clone();
        }
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let looked = Looked::into(path.clone(), name);
        locked(&self.looked).insert(path, (now, looked.clone()));
        looked
    }

    /// The picture of a page, which shows the whole page.
    pub(crate) fn picture(
        &self,
        folder: &Folder,
        page: PageId,
    ) -> Result<Arc<GreyPicture>, Refusal> {
        let own = |one: &&(PathBuf, PageId, Arc<GreyPicture>)| {
            (one.0.as_path(), one.1) == (folder.root(), page)
        };
        if let Some((.., picture)) = locked(&self.pictures).iter().find(own) {
            return Ok(picture.clone());
        }
        let png = picture_file(folder, page)?;
        let picture = GreyPicture::of_png(&png).ok_or_else(Refusal::nothing_there)?;
        let picture = Arc::new(picture);
        let mut pictures = locked(&self.pictures);
        pictures.push_front((folder.root().to_owned(), page, picture.clone()));
        pictures.truncate(PICTURES);
        Ok(picture)
    }
}

/// The picture of a page as it is kept, a PNG.
pub(crate) fn picture_file(folder: &Folder, page: PageId) -> Result<Vec<u8>, Refusal> {
    let png = database(folder)?.picture(page).map_err(Failure::from)?;
    png.ok_or_else(Refusal::nothing_there)
}

/// Pixels to the millimetre of a page's picture.
pub(crate) fn px_per_mm(folder: &Folder, page: PageId) -> Result<u32, Refusal> {
    let drawing = database(folder)?.drawing(page).map_err(Failure::from)?;
    let kept = drawing.ok_or_else(Refusal::nothing_there)?.to::<Kept>().map_err(Failure::kept)?;
    Ok(kept.px_per_mm)
}

fn print_keys(course: &Course, editions: &Editions) -> Result<Vec<PrintKey>, Failure> {
    let key = |id: String| {
        let marking = course.marking(&id)?.map(|marking| marking.id);
        let pages = course.sheet_pages(&id)?;
        let pages = pages.iter().flat_map(|page| std::iter::once(&page.counts).chain(&page.others));
        let pages = pages.map(|page| page.id).collect();
        Ok((id, marking, pages))
    };
    prints(course, editions)?.into_iter().map(key).collect()
}

impl Base {
    fn load(
        folder: &Folder,
        file: &str,
        texts: Vec<Seen>,
        course: &Course,
    ) -> Result<Self, Refusal> {
        let mut definition = definition(folder, file)?;
        definition.add_known(course)?;
        let (editions, rules) = definition.editions(course)?;
        Books::new(&editions, &SUBJECT).check()?;
        let key = print_keys(course, &editions)?;
        let mut marked = Vec::new();
        for (id, ..) in &key {
            marked.push((id.clone(), as_marked(course, id)?));
        }
        Ok(Self { rules, editions, marked, texts, key })
    }
}

impl Work {
    fn new(
        base: Arc<Base>,
        inputs: Inputs,
        course: &Course,
        seen: Vec<Seen>,
    ) -> Result<Self, Failure> {
        let books = Books::new(&base.editions, &SUBJECT);
        let title = &base.rules.title;
        let class = Class::new(course, &books, title, base.marked.clone(), &inputs)?;
        drop(books);
        let mut outdated = false;
        for (id, ..) in &base.key {
            let counts = course.marking(id)?;
            outdated |= counts.is_some_and(|one| one.marking.rubric != base.rules.rubric);
            // Sheets whose marks stay are marked by the rules of now already, the others wait.
            outdated |= proposed(course, id, &base.rules.rubric)?.is_some();
        }
        Ok(Self { base, class, inputs, outdated, seen, statistics: OnceLock::new() })
    }

    pub(crate) fn title(&self) -> &str {
        &self.base.rules.title
    }

    pub(crate) fn convention(&self) -> &Convention {
        &self.base.rules.convention
    }

    /// The rules as they are now, and their texts.
    pub(crate) fn rules(&self) -> (&Convention, &str) {
        (&self.base.rules.convention, &self.base.rules.rubric)
    }

    pub(crate) fn editions(&self) -> &Editions {
        &self.base.editions
    }

    /// The prints that sheets were read of.
    pub(crate) fn prints(&self) -> impl Iterator<Item = &str> {
        self.base.key.iter().map(|(id, ..)| id.as_str())
    }

    /// The marking of a print that counts.
    pub(crate) fn marking(&self, print: &str) -> Option<MarkingId> {
        self.base.key.iter().find(|(id, ..)| id == print).and_then(|(_, marking, _)| *marking)
    }

    /// What was found on a sheet before anybody decided.
    pub(crate) fn found(&self, record: &Record) -> Option<&marking::Marks> {
        let (_, marked) = self.base.marked.iter().find(|(id, _)| *id == record.test)?;
        marked.findings.get(&record.sheet).map(|finding| &finding.marks)
    }

    /// A sheet of a print; of the first that has it where no print is named.
    pub(crate) fn record(&self, print: Option<&str>, sheet: u32) -> Result<&Record, Refusal> {
        let own = |record: &&Record| {
            record.sheet == sheet && print.is_none_or(|print| record.test == print)
        };
        self.class.records.iter().find(own).ok_or_else(|| Refusal::of_all(words::NO_SUCH_SHEET))
    }

    /// Whose marks the rules as they are now would change, and the markings that say so.
    pub(crate) fn proposals(
        &self,
        course: &Course,
    ) -> Result<Vec<(MarkingId, Vec<crate::mark::sheets::Change>)>, Failure> {
        let of = |id| proposed(course, id, &self.base.rules.rubric).transpose();
        self.prints().filter_map(of).collect()
    }

    /// Does `work` with the rubrics of a print's forms.
    pub(crate) fn with_rubrics<T>(
        &self,
        print: &str,
        work: impl FnOnce(&[Rubric<'_>]) -> T,
    ) -> Result<T, Refusal> {
        let books = Books::new(&self.base.editions, &SUBJECT);
        let book = books.book(print).ok_or_else(|| Refusal::of_all(words::NOT_LAID_OUT))?;
        let convention = &self.base.rules.convention;
        let rubrics: Vec<Rubric<'_>> =
            (0..book.forms()).map(|form| Rubric::new(book, convention, form)).collect();
        Ok(work(&rubrics))
    }

    /// How many millimetres of a page lie above everything that is drawn: its head with the name.
    pub(crate) fn head_mm(&self, print: &str, page: u32) -> Result<f64, Refusal> {
        self.with_rubrics(print, |rubrics| {
            let panels = rubrics.iter().flat_map(|rubric| &rubric.panels);
            let tops = panels.filter(|on| u32::from(on.page) == page).map(|on| on.place.area.y);
            // Titles of panels stand beside them, and lines begin a little above.
            (tops.fold(f64::INFINITY, f64::min) - HEAD_MM).max(0.0)
        })
    }

    /// Does `work` with all sheets of a print that were marked.
    pub(crate) fn with_class<T>(
        &self,
        print: &str,
        work: impl FnOnce(&marking::Class<'_>) -> T,
    ) -> Result<T, Refusal> {
        self.with_rubrics(print, |rubrics| {
            let letters = (b'A'..).map(char::from);
            let forms: Vec<ClassForm<'_>> = rubrics
                .iter()
                .zip(letters)
                .map(|(rubric, letter)| ClassForm {
                    letter: (rubrics.len() > 1).then_some(letter),
                    rubric,
                })
                .collect();
            let marked: Vec<(&Record, DrawnSheet)> = self
                .class
                .records
                .iter()
                .filter(|record| record.test == print && record.finding.is_some())
                .filter_map(|record| Some((record, record.pages.as_ref()?.drawn())))
                .collect();
            let sheets: Vec<ClassSheet<'_>> = marked
                .iter()
                .filter_map(|(record, drawn)| {
                    let finding = record.finding.as_ref()?;
                    Some(ClassSheet {
                        form: form_index(record.form).min(rubrics.len() - 1),
                        drawn,
                        located: &finding.located,
                        marks: &finding.marks,
                    })
                })
                .collect();
            work(&marking::Class { forms: &forms, sheets: &sheets })
        })
    }

    /// The print of which most sheets were marked.
    pub(crate) fn main_print(&self) -> Option<&str> {
        let count = |print: &&str| {
            let own = self.class.records.iter().filter(|record| record.test == *print);
            own.filter(|record| record.finding.is_some()).count()
        };
        // Of equals the first, which is the test's own.
        let mut most: Option<(&str, usize)> = None;
        for print in self.prints() {
            let sheets = count(&print);
            if sheets > most.map_or(0, |(_, most)| most) {
                most = Some((print, sheets));
            }
        }
        most.map(|(print, _)| print)
    }

    /// The numbers of the class; none where nothing was marked.
    pub(crate) fn statistics(&self) -> Result<Option<&Statistics>, Refusal> {
        let Some(print) = self.main_print() else { return Ok(None) };
        if self.statistics.get().is_none() {
            let numbers = self.with_class(print, statistics)?;
            let _ = self.statistics.set(numbers);
        }
        Ok(self.statistics.get())
    }
}
