//! A hand for testing: fills a sheet in as a student would, then copies or photographs it, with
//! exact truth.
//!
//! [`draw`] takes a printed copy ([`Handout`]), a [`Student`] and [`Mistake`]s and gives strokes
//! in millimetres and the [`Truth`]; [`Sheet`] puts the strokes on the printed page; a [`Capture`]
//! makes a picture of it, with the [`Mapping`] from millimetres on the page to its pixels;
//! [`jpeg`], [`png`] and [`pdf`] write it; [`class()`] does all of that for a whole class. The same
//! seed gives the same bytes. Nothing is read or written, and nothing here is shared with what
//! marks drawings.
//!
//! # `truth.json`
//!
//! What [`Class::truth_json`] writes, one object:
//!
//! | key | what it says |
//! |---|---|
//! | `test` | the test's identifier, as in `geometry.json` |
//! | `seed` | what the class was drawn from |
//! | `scans` | one entry for each page of each file: `file`, `page` (from 1), `code` of the sheet, `sheet` (index in `sheets`), `size_px`, `orientation` (EXIF's, 1 for none), `capture` (`kind` copier or phone, and every setting), `mapping` |
//! | `sheets` | one entry for each copy: `student`, `mistakes`, `pages`, `verdicts`, `asked` |
//!
//! Places are in millimetres from the page's top left corner, y down. `mapping` leads from there
//! to pixels as they are stored in the file, before EXIF's turn: see [`Mapping`] for its formula.
//!
//! Each of a sheet's `pages` has its `code` and `page`, and what was drawn on it:
//!
//! - `traces`: `channel`; `bursts`, where the line goes up and down more than once at a time;
//!   `parts`, the middle of the drawn line, part by part; `landmarks` with `name`, `beat`, `at_mm` (where
//!   it is), `meant_mm` (where the hand was meant to go), `key_mm` (where it would be right; for
//!   bursts all three are on the baseline); `absent`, the key's landmarks that were not drawn. A
//!   trace that was not drawn at all has no parts.
//! - `bars`: `bar`, `stretches_mm`, `events` with the name and place of each end.
//! - `labels`: `text`, `channel`, `landmark` that is meant, `points_to_mm`, `box_mm` (left, top, right,
//!   bottom), `arrow`.
//! - `lines`: the student's alignment lines, `through`, `from_mm`, `to_mm`, `style`.
//!
//! `landmarks` lie on the drawn line. Where it turns back within 1.5 mm of where the hand was
//! with its mind on the landmark, the turn is the landmark. `verdicts` are what
//! [`convention::judge`] makes, on paper, of the cycle that these landmarks and lines are; `asked`
//! names the rules about what the student had to draw. A line that was rubbed out, a second
//! line along the first and what is printed are not part of the truth.

mod capture;
mod chance;
mod class;
mod curve;
mod draw;
mod encode;
mod form;
mod intent;
mod letters;
mod mapping;
mod mistake;
mod path;
mod raster;
mod student;
mod truth;

pub use capture::{Capture, Captured, Copier, Cover, Covered, Phone};
pub use class::{Class, ClassError, Exercise, HandedIn, ScanTruth, class};
pub use draw::{Drawing, Mark, Stroke, draw};
pub use encode::{PdfPage, jpeg, pdf, png};
pub use form::{BarRow, Geometry, Handout, Mark as PageMark, PagePlaces, Panel};
pub use mapping::{Along, Mapping};
pub use mistake::{Mistake, mistakes};
pub use raster::{Picture, Sheet};
pub use student::{Habits, LineStyle, Skill, SoundStyle, Student, Tool};
pub use truth::{
    AbsentTruth, BarTruth, LabelTruth, LandmarkTruth, LineTruth, PageTruth, TraceTruth, Truth,
};
