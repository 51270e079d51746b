//! The cardiac cycle as a subject: the conventions that come with the program, what has been
//! published about the intervals that they speak of, and the questions that can be asked about
//! a heart's numbers and its ECG.
//!
//! Conventions, published values and what to predict are data, in TOML; [`heart::subject`] has
//! the names. Answers are computed from a cycle that comes from outside. Nothing is read or written.

mod calculations;
mod exact;
mod predictions;
mod readings;

use convention::{Convention, Published};

pub use calculations::{CALCULATION_KINDS, Calculation, Quantity, calculations, choose};
pub use predictions::{
    Answer, Ask, CHANGES, Change, Measure, NOTHING_ELSE_CHANGES, Prediction, PredictionError,
    STAYS, predictions,
};
pub use readings::{Named, QUESTIONS, Question, Reading, Span, named, readings};

/// A convention that comes with the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shipped {
    /// Identifier.
    pub name: &'static str,
    /// The convention in TOML, to read or to start one's own from.
    pub toml: &'static str,
}

macro_rules! shipped {
    ($($name:literal),*) => {
        [$(Shipped { name: $name, toml: include_str!(concat!("../data/conventions/", $name, ".toml")) }),*]
    };
}

/// The conventions that come with the program, the first course's first.
pub const CONVENTIONS: [Shipped; 5] = shipped![
    "first_course",
    "first_course_s2_at_t_end",
    "left_heart",
    "right_heart",
    "measured_physiology"
];

impl Shipped {
    /// The shipped convention called `name`.
    pub fn find(name: &str) -> Option<Self> {
        CONVENTIONS.into_iter().find(|shipped| shipped.name == name)
    }

    /// The convention, read.
    ///
    /// # Panics
    /// Never: the data is part of the program and a test reads it.
    pub fn convention(&self) -> Convention {
        let read = Convention::from_toml(self.toml, &heart::subject());
        read.expect("a shipped convention is well formed")
    }
}

/// What has been published about the cardiac cycle.
///
/// # Panics
/// Never: the data is part of the program and a test reads it.
pub fn published() -> Published {
    let text = include_str!("../data/published.toml");
    Published::from_toml(text, &heart::subject()).expect("the published data is well formed")
}
