//! The parts of `incisura mark`.
//!
//! `inputs` finds the files, `prints` the variants in which the test may have been printed,
//! `reading` reads pages into the database, `list` and `decisions` take in what people wrote,
//! `sheets` marks, `class` takes everything together, and `results`, `gradebook`, `review`,
//! `pages` and `summary` say it. `run` is what the command and the app do alike.

pub(crate) mod class;
pub(crate) mod clock;
pub(crate) mod decisions;
pub(crate) mod gradebook;
pub(crate) mod inputs;
pub(crate) mod list;
pub(crate) mod pages;
pub(crate) mod prints;
pub(crate) mod reading;
pub(crate) mod results;
pub(crate) mod review;
pub(crate) mod run;
pub(crate) mod sheets;
pub(crate) mod summary;
