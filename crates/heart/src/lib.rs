//! The heart and its circulation: a heart's description in, a [`cycle::Cycle`] out.
//!
//! A closed loop of four chambers with time-varying elastance, four valves, systemic and
//! pulmonary arteries and veins is integrated beat by beat, driven from the ECG's own
//! timing. This crate reads no files and draws nothing.

mod beats;
mod circulation;
mod conditions;
mod ecg;
mod equations;
mod error;
mod parameters;
mod record;
mod rhythm;
mod run;
mod schedule;
mod settings;
mod simulate;
mod sounds;
mod timing;
mod turn;

pub use conditions::{Condition, condition, conditions};
pub use equations::Equations;
pub use error::HeartError;
pub use parameters::{PARAMETERS, Parameter, Parameters};

pub use rhythm::Rhythm;
pub use schedule::natural_beats;
pub use simulate::simulate;
pub use sounds::{AUDIO_HZ, Heard, sounds_wav, wav};

use cycle::Subject;

/// A heart: its parameters and its rhythm.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heart {
    /// The numbers.
    pub parameters: Parameters,
    /// How beats follow one another.
    pub rhythm: Rhythm,
}

/// The cardiac cycle as a subject: names, units and ranges of all that a cycle holds.
///
/// # Panics
/// Never: the data is part of the program and a test reads it.
pub fn subject() -> Subject {
    toml::from_str(include_str!("../data/cardiac.toml")).expect("the subject's data is well formed")
}
