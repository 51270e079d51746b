//! Alignment rules as data.
//!
//! A [`Convention`] is the set of rules that a class learns. [`check`] says whether they can
//! all hold, [`schematic`] draws the cycle they imply, [`steps`] says in which order it is
//! built, [`judge()`] holds any cycle to them, [`compare()`] lays them beside a computed cycle
//! and published measurement, and [`questions`] asks about them. Nothing here knows the
//! heart: names come from [`cycle::Subject`]. Nothing is read or written.

mod beat;
mod check;
mod compare;
mod decided;
mod heights;
mod judge;
mod lines;
pub mod network;
mod placing;
mod point;
mod published;
pub mod questions;
mod read;
mod rule;
mod schema;
mod schematic;
mod steps;
mod warp;
mod words;

pub use beat::{Beat, Place, beats};
pub use check::{Check, Conflict, check, check_on};
pub use compare::{Band, Comparison, Row, compare};
pub use judge::{Outcome, Scale, Unit, Verdict, judge};
pub use lines::alignment_points;
pub use point::Point;
pub use published::{Measured, Published, PublishedError};
pub use read::{Fault, Faults};
pub use rule::{
    Cap, Convention, Form, Level, ReferenceMissing, Relation, Relative, Rule, Says, StepText,
    Tolerance,
};
pub use schema::{KINDS, schema};
pub use schematic::{SchematicError, schematic};
pub use steps::{Step, StepError, partial, steps};
