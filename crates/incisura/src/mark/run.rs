//! What the command and the app do alike: a test's definition, its prints, their marking, and the
//! files that come of it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use convention::Convention;
use course::Course;

use crate::failure::Failure;
use crate::files;
use crate::mark::class::Class;
use crate::mark::pages;
use crate::mark::prints::{Books, Editions, Source};
use crate::mark::sheets::{Marked, mark_all};
use crate::mark::{gradebook, review};
use crate::test_file::{self, Changes, TestFile};

/// A test as it is marked now, and the files from which its sheets may have been printed.
pub(crate) struct Definition {
    pub(crate) title: String,
    pub(crate) convention: Convention,
    /// The texts of the rules, as they are kept with a marking.
    pub(crate) rubric: String,
    sources: Vec<Source>,
    /// The conventions by which sheets were printed, by what the sheets' codes call the test.
    kept: BTreeMap<String, BTreeMap<String, String>>,
}

impl Definition {
    /// Reads the test in the file `path`.
    pub(crate) fn read(path: &Path) -> Result<Self, Failure> {
        let text = files::read(path)?;
        let TestFile { test, conventions } = parsed(path, &text)?;
        Ok(Self {
            title: test.title.clone(),
            convention: test.convention.clone(),
            // Spelled, since what a marking says is kept with it.
            rubric: test.spelled(&serde_json::to_string(&conventions).map_err(Failure::kept)?),
            sources: vec![Source { path: path.to_owned(), text, test }],
            kept: BTreeMap::new(),
        })
    }

    /// The test's file `path` may have been `text` when sheets were printed.
    pub(crate) fn add_printed(&mut self, path: PathBuf, text: String) -> Result<(), Failure> {
        let test = parsed(&path, &text)?.test;
        self.sources.push(Source { path, text, test });
        Ok(())
    }

    /// Sheets with codes that call the test `id` were printed from `text`, which says `printed`:
    /// they are read by the conventions of then.
    pub(crate) fn add_kept(&mut self, id: String, text: String, printed: TestFile) {
        let TestFile { test, conventions } = printed;
        self.kept.insert(id, conventions);
        if self.sources.iter().all(|source| source.text != text) {
            let path = self.sources[0].path.clone();
            self.sources.push(Source { path, text, test });
        }
    }

    /// Sheets may have been printed from what `course` knows as a test of the same title.
    pub(crate) fn add_known(&mut self, course: &Course) -> Result<(), Failure> {
        for known in course.tests()? {
            let new = self.sources.iter().all(|source| source.text != known.definition);
            if new && known.title == self.title {
                let path = self.sources[0].path.clone();
                // A text that has faults by now was printed with other rules beside it.
                let _ = self.add_printed(path, known.definition);
            }
        }
        Ok(())
    }

    /// All ways in which it can have been printed, and by which rules it is marked.
    pub(crate) fn editions(self, course: &Course) -> Result<(Editions, Rules), Failure> {
        let rules = Rules { title: self.title, convention: self.convention, rubric: self.rubric };
        let mut known = known_conventions(course)?;
        // What lies beside the sheets is what they were printed from; what the course knows is
        // what the rules were when sheets were first read.
        known.extend(self.kept);
        Ok((Editions::new(self.sources, known), rules))
    }
}

/// By what a test is marked now.
pub(crate) struct Rules {
    /// The test's title.
    pub(crate) title: String,
    pub(crate) convention: Convention,
    /// Their texts, as they are kept with a marking.
    pub(crate) rubric: String,
}

fn parsed(path: &Path, text: &str) -> Result<TestFile, Failure> {
    test_file::read(path, text, &Changes::default(), &BTreeMap::new())
}

/// The conventions of prints that were read before, as they were then: sheets look as they were
/// printed, however the rules are changed later.
fn known_conventions(
    course: &Course,
) -> Result<BTreeMap<String, BTreeMap<String, String>>, Failure> {
    let mut known = BTreeMap::new();
    for test in course.tests()? {
        known.insert(test.id, test.conventions.to().map_err(Failure::kept)?);
    }
    Ok(known)
}

/// The prints that the course has sheets of, the test's own first.
pub(crate) fn prints(course: &Course, editions: &Editions) -> Result<Vec<String>, Failure> {
    let own = editions.own_id();
    let mut prints: Vec<String> = course.tests()?.into_iter().map(|test| test.id).collect();
    prints.retain(|id| editions.knows(id));
    prints.sort_by_key(|id| *id != own);
    Ok(prints)
}

/// The print of which most pages were read; the test's own where none was.
pub(crate) fn usual_print(course: &Course, editions: &Editions) -> Result<String, Failure> {
    let mut usual = (0, editions.own_id());
    for id in prints(course, editions)? {
        let pages = course.sheet_pages(&id)?.len();
        if pages > usual.0 {
            usual = (pages, id);
        }
    }
    Ok(usual.1)
}

/// Marks the sheets of all prints. Where the rules have changed, what they change is only
/// proposed, unless someone is named who accepts it.
pub(crate) fn mark_prints(
    course: &Course,
    books: &Books<'_>,
    rules: &Rules,
    accept: Option<&str>,
) -> Result<Vec<(String, Marked)>, Failure> {
    let print = |id: String| {
        let marked = mark_all(course, books, &id, (&rules.convention, &rules.rubric), accept)?;
        Ok((id, marked))
    };
    prints(course, books.editions)?.into_iter().map(print).collect()
}

/// What was written, and how many questions are open.
pub(crate) struct Written {
    pub(crate) questions: usize,
    pub(crate) files: Vec<&'static str>,
}

/// Writes everything that comes of a marking into `folder`.
pub(crate) fn write(
    class: &Class,
    course: &Course,
    books: &Books<'_>,
    convention: &Convention,
    folder: &Path,
) -> Result<Written, Failure> {
    let out = |name: &str, bytes: &[u8]| files::replace(&folder.join(name), bytes);
    out("results.json", &results(class)?)?;
    out("gradebook.csv", gradebook::csv(class).as_bytes())?;
    let questions = review::write(class, course, convention, folder)?;
    let mut files = vec!["results.json", "gradebook.csv", "review.csv", "review/"];
    if let Some(pdfs) = pages::pdfs(class, course, books, convention)? {
        out("feedback.pdf", &pdfs.feedback)?;
        out("class.pdf", &pdfs.class)?;
        files.extend(["feedback.pdf", "class.pdf"]);
    }
    Ok(Written { questions, files })
}

/// `results.json`.
pub(crate) fn results(class: &Class) -> Result<Vec<u8>, Failure> {
    let mut text = serde_json::to_vec(&class.results()).map_err(Failure::kept)?;
    text.push(b'\n');
    Ok(text)
}

/// Whether `review.csv` in `folder` has decisions in it that writing would lose.
pub(crate) fn has_unread_decisions(folder: &Path) -> bool {
    let text = std::fs::read(folder.join("review.csv")).unwrap_or_default();
    crate::mark::decisions::is_filled_in(&String::from_utf8_lossy(&text))
}
