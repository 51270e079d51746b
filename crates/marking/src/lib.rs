//! What was drawn and a rubric to marks, feedback and the class picture.
//!
//! A [`DrawnSheet`] is what a reader of scans makes of a sheet's pages. [`locate()`] finds the
//! landmarks on it, [`mark()`] holds it to the [`Rubric`] of its form. Everything is relative to
//! the student's own drawing, each finding comes with how sure it is, and what is not sure is
//! for a person to say. [`feedback_pages`] tells each student, [`class_pages`] the instructor.
//! Pictures of pages are only shown, never measured, and nothing is read or written.

mod absence;
mod class_picture;
mod components;
mod doubt;
mod drawn;
mod extremes;
mod feedback;
mod finding;
mod locate;
mod marks;
mod misplaced;
mod overlay;
mod page_picture;
mod question;
mod room;
mod rubric;
mod said;
mod settle;
mod shown;
mod sites;
mod spread;
mod statistics;
mod view;

pub use class_picture::class_pages;
pub use doubt::{Signs, event_signs, signs};
pub use drawn::{
    DrawnBar, DrawnBurst, DrawnLine, DrawnPage, DrawnSheet, DrawnSounds, DrawnTrace, Written,
};
pub use feedback::{Feedback, Head, feedback_pages};
pub use finding::{Finding, findings};
pub use locate::{Absent, Located, Mark, bar_ends, curves, locate};
pub use marks::{FAR_MM, MET_BY_MM, MISSED_BY_MM, Marks, Outcome, RuleMark, Ruling, mark};
pub use page_picture::PagePicture;
pub use rubric::{On, Rubric, has_bursts};
pub use settle::{SharedCap, Withheld, WithheldBy};
pub use shown::{
    beats_told, cause_words, class_figure, drawing_figure, item_words, landmark_figures,
    missed_words, pages_of, points_figure, results_words, rule_landmarks_figure, way_words,
    withheld_words,
};
pub use statistics::{
    Class, ClassForm, ClassSheet, Item, LEAST_SHEETS, LandmarkSpread, Miss, Statistics, cycle_of,
    statistics,
};
