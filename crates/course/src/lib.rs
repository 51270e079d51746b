//! The database of a course folder: one SQLite file, `marks.sqlite`.
//!
//! It keeps what was printed, read, found and decided, and knows nothing of what it means:
//! drawings and verdicts are their owners' JSON, pictures are bytes, times are texts that come
//! from outside. Everything is added and nothing is overwritten; triggers in the file refuse
//! changes, whatever program attempts them. The one exception is where a review stopped.
//!
//! | table | a row is | what counts |
//! |---|---|---|
//! | `tests`, `test_texts` | a printed test; its title, definition and conventions | the latest texts |
//! | `students`, `student_names` | a line of a class list; a name | the latest name |
//! | `sheets` | a printed copy, with its form | |
//! | `pages` | one page of a file as it was read once: where it belongs, what was drawn, its picture; or why it could not be read | of each file's page the latest reading; of duplicates the chosen, or else the first; none that is set aside |
//! | `markings`, `verdicts` | a run of a rubric over a test; what it found about a sheet and a rule | the marking accepted last |
//! | `acceptances` | who let a marking count, when and why | |
//! | `decisions` | who decided what about a sheet, when and why: a rule's outcome, points or weight, whose sheet it is, which duplicate counts, which page is set aside, what is taken back | of each kind the latest not taken back |
//! | `review_cursors` | where a person's review of a test stopped | |
//!
//! The order of adding is each table's `no`; times are told, not sorted by.
//!
//! Between two calls there is one file, which can be copied with the folder; while a call
//! writes, a file ending in `-journal` lies beside it and belongs to it.
//!
//! ```
//! use course::{By, Course, Input, Json, Outcome, Place, Ruling, Test, What};
//!
//! let course = Course::in_memory()?;
//! let id = "K7M2QX".to_owned();
//! let conventions = Json::parse("[]")?;
//! let test = Test { id, title: "Week 3".into(), definition: String::new(), conventions };
//! course.add_test(&test, "2026-03-02T14:05:00Z")?;
//!
//! let input = Input { hash: "3f8a".into(), number: 1, reader: "1".into(), file: "a.pdf".into() };
//! if course.page_of("3f8a", 1, "1")?.is_none() {
//!     let place = Place { test: test.id.clone(), sheet: 4, form: 'A', page: 1 };
//!     course.add_page(&input, &place, &Json::of(&[0.5, 1.5])?, None, "2026-03-02T14:05:01Z")?;
//! }
//! let by = By::new("R. Amsel", "2026-03-02T15:00:00Z", "the notch is on the line");
//! let ruling = Ruling::Outcome(Outcome::Met);
//! course.decide("K7M2QX", 4, &What::Rule { rule: "notch".into(), ruling }, None, &by)?;
//! assert_eq!(course.decisions("K7M2QX")?[0].by, by);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod by;
mod decisions;
mod error;
mod json;
mod markings;
mod open;
mod pages;
mod roster;

pub use by::By;
pub use decisions::{Decision, DecisionId, Outcome, ReviewCursor, Ruling, What};
pub use error::{CourseError, CourseFault};
pub use json::Json;
pub use markings::{KnownMarking, Marking, MarkingId, SheetVerdicts};
pub use open::{Course, FILE};
pub use pages::{AsidePage, Input, Page, PageId, Place, SheetPage};
pub use roster::{Sheet, Student, Test};
