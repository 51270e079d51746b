//! What can be wrong with a heart's description.

use crate::Parameter;

/// What can be wrong with a heart's description, and what to do about it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum HeartError {
    /// No parameter has this name.
    #[error("there is no parameter “{name}”{}", offer(nearest.as_deref(), "`incisura simulate --help` lists them"))]
    UnknownParameter {
        /// What was given.
        name: String,
        /// The nearest known name.
        nearest: Option<String>,
    },
    /// No condition has this name.
    #[error("there is no condition “{name}”{}", offer(nearest.as_deref(), "`incisura simulate --help` lists them"))]
    UnknownCondition {
        /// What was given.
        name: String,
        /// The nearest known name.
        nearest: Option<String>,
    },
    /// No rhythm has this name.
    #[error("there is no rhythm “{name}”{}", offer(nearest.as_deref(), "`incisura simulate --help` lists them"))]
    UnknownRhythm {
        /// What was given.
        name: String,
        /// The nearest known name.
        nearest: Option<String>,
    },
    /// A value lies outside the range that the model is made for.
    #[error(
        "{} = {value} is outside the physiological range; give a value from {} to {}{}",
        parameter.name, parameter.low, parameter.high, unit(parameter)
    )]
    OutOfRange {
        /// The parameter and its range.
        parameter: Parameter,
        /// What was given.
        value: f64,
    },
    /// The text is not TOML, or not a heart.
    #[error("line {line}: {what}\n    {text}")]
    Toml {
        /// One-based line.
        line: usize,
        /// The line itself.
        text: String,
        /// What is wrong and what was expected.
        what: String,
    },
    /// No steady state exists or could be found.
    #[error("the circulation does not settle: {reason}")]
    NoSteadyState {
        /// Which parameter makes it impossible, and what to change.
        reason: String,
    },
}

fn offer(nearest: Option<&str>, otherwise: &str) -> String {
    nearest.map_or_else(|| format!("; {otherwise}"), |name| format!("; did you mean “{name}”?"))
}

fn unit(parameter: &Parameter) -> String {
    if parameter.unit.is_empty() {
        format!(" (1 is normal: {})", parameter.title.to_lowercase())
    } else {
        format!(" {}", parameter.unit)
    }
}
