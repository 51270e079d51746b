//! A test as a drawing task on a screen.
//!
//! Text in, text out: [`Core::ask`] takes a question and its request in JSON and answers in JSON, so
//! that a program and a page call the same thing alike. A [`Definition`] and a seed make a
//! [`Practice`]: the task at a level of help, with other numbers for each seed. What is drawn comes
//! as strokes in millimetres of a virtual page and is judged by what judges the paper
//! ([`marking::locate()`], [`marking::mark()`]), so that a drawing earns the same here and there. On
//! a screen nobody can be asked: what is in doubt is told as such, with the reason and what to draw
//! again, and is never guessed.
//!
//! Nothing is read or written, nothing is kept about anyone, and there is no clock.

mod ask;
mod bursts;
mod code;
mod definition;
mod error;
mod hear;
mod hints;
mod judging;
mod page;
mod points;
mod quiz;
mod steps;
mod strokes;
mod words;

pub use ask::{Core, Request, answer};
pub use bursts::bursts;
pub use code::{CodeFault, TryCode};
pub use convention::Outcome;
pub use definition::{Definition, Level, Practice};
pub use error::PracticeError;
pub use hear::Hearing;
pub use hints::{Ghost, Hints, LineHint};
pub use judging::{Found, RuleVerdict, Verdict};
pub use page::{AlignmentLine, Pace, Panel, Row, RuleText, Task, Tick};
pub use points::{Kind, PlacedPoint};
pub use quiz::{Answered, Asked};
pub use steps::BuildStep;
pub use strokes::{Drawing, Polyline};
