//! What can be wrong with a figure that is asked for.

/// Why a figure cannot be drawn, and what to do about it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FigureError {
    /// A name that the subject does not know.
    #[error("there is no {kind} called “{name}”; {hint}")]
    Unknown {
        /// `channel`, `landmark or event`, or `bar`.
        kind: &'static str,
        /// The name as given.
        name: String,
        /// The nearest known name, or all of them.
        hint: String,
    },
    /// A channel that the subject knows and this cycle lacks.
    #[error("this cycle has no channel {name}; it has {present}")]
    ChannelMissing {
        /// The channel.
        name: String,
        /// The channels that there are.
        present: String,
    },
    /// Nothing to draw.
    #[error("the figure has no panels; give at least one, with the channels it shows")]
    NoPanels,
    /// A panel without channels.
    #[error("panel {panel} shows no channels; name at least one")]
    EmptyPanel {
        /// Counted from 1 at the top.
        panel: usize,
    },
    /// Channels that cannot share an axis.
    #[error(
        "panel {panel} mixes {first} and {second}; put channels of different units in different panels"
    )]
    MixedUnits {
        /// Counted from 1 at the top.
        panel: usize,
        /// A channel with its unit.
        first: String,
        /// Another with its unit.
        second: String,
    },
    /// An axis without extent.
    #[error("the range of panel {panel} is {low} to {high}; the first must be the smaller")]
    EmptyRange {
        /// Counted from 1 at the top.
        panel: usize,
        /// Its lower end as given.
        low: f64,
        /// Its upper end as given.
        high: f64,
    },
    /// A number outside what can be drawn.
    #[error("{what} is {value}; it must be {low} to {high}")]
    OutOfRange {
        /// Which number.
        what: String,
        /// As given.
        value: f64,
        /// Least possible.
        low: f64,
        /// Greatest possible.
        high: f64,
    },
    /// A stretch of time in which the cycle has nothing.
    #[error(
        "nothing of the cycle lies between {start_s} s and {end_s} s; it runs from {from_s} s to {to_s} s"
    )]
    EmptyWindow {
        /// First instant asked for, in seconds.
        start_s: f64,
        /// Last instant asked for, in seconds.
        end_s: f64,
        /// Where the cycle begins, in seconds.
        from_s: f64,
        /// Where it ends, in seconds.
        to_s: f64,
    },
    /// A channel without a number in the time shown.
    #[error("channel {name} has no values in the time shown; show another stretch or leave it out")]
    NoValues {
        /// The channel.
        name: String,
    },
    /// Names and axes leave no room for the traces.
    #[error(
        "{width_mm} mm is too narrow at scale {scale}; make the figure at least {needed_mm} mm wide or the scale smaller"
    )]
    TooNarrow {
        /// Width asked for, in millimetres.
        width_mm: f64,
        /// Scale asked for.
        scale: f64,
        /// Width that would do, in millimetres.
        needed_mm: f64,
    },
    /// Text in letters that the bundled typefaces lack.
    #[error(
        "“{text}” cannot be printed: the typefaces have no {}; write it with other letters",
        quoted(letters)
    )]
    NoLetter {
        /// The text.
        text: String,
        /// The letters that are lacking.
        letters: Vec<char>,
    },
    /// A picture of too many pixels, or one that cannot be encoded.
    #[error("the picture cannot be made: {0}")]
    Output(String),
}

fn quoted(letters: &[char]) -> String {
    letters.iter().map(|letter| format!("“{letter}”")).collect::<Vec<_>>().join(", ")
}

/// The error for a name of `kind` that is not among `known`.
pub(crate) fn unknown<'a>(
    kind: &'static str,
    name: &str,
    known: impl Iterator<Item = &'a str>,
) -> FigureError {
    let known: Vec<&str> = known.collect();
    let hint = match cycle::nearest(name, known.iter().copied()) {
        Some(near) => format!("did you mean “{near}”?"),
        None if known.is_empty() => "this subject has none".to_owned(),
        None => format!("known are {}", known.join(", ")),
    };
    FigureError::Unknown { kind, name: name.to_owned(), hint }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_name_is_offered_and_far_ones_are_listed() {
        let known = ["lv_pressure", "la_pressure", "ecg"];
        let near = unknown("channel", "lv_presure", known.into_iter()).to_string();
        assert_eq!(near, "there is no channel called “lv_presure”; did you mean “lv_pressure”?");
        let far = unknown("channel", "spleen", known.into_iter()).to_string();
        assert!(far.contains("known are lv_pressure, la_pressure, ecg"), "{far}");
    }
}
