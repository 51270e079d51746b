//! Why pages cannot be made.

use crate::braille::BrailleError;
use crate::code::CodeError;

/// Why pages cannot be made, and what to change.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SheetError {
    /// The time axis is longer than the page is wide.
    #[error(
        "{beats} beats at {rate_bpm} a minute are {width_mm} mm wide and the page has room for {room_mm}; \
         set beats = {fits}, or mm_per_s = {slower}, or turn the page"
    )]
    TooWide {
        /// Beats asked for.
        beats: usize,
        /// The form's rate.
        rate_bpm: f64,
        /// What they need.
        width_mm: f64,
        /// What there is.
        room_mm: f64,
        /// Beats that fit.
        fits: usize,
        /// Time scale at which they fit.
        slower: f64,
    },
    /// Panels and bars leave no panel high enough to draw in.
    #[error(
        "{panels} panels and {bars} bars are too many for one page of this size of print; \
         spread them over several [[pages]], leave bars out with bars = [], or turn the page"
    )]
    TooLow {
        /// Panels asked for.
        panels: usize,
        /// Bars asked for.
        bars: usize,
    },
    /// The build cannot be ordered as the convention's file says.
    #[error("the convention's steps cannot be built in this order: {0}")]
    Steps(#[from] convention::StepError),
    /// A figure of a handout cannot be drawn.
    #[error(transparent)]
    Figure(#[from] figure::FigureError),
    /// Something that braille has no sign for.
    #[error(transparent)]
    Braille(#[from] BrailleError),
    /// More pages or sheets than a code can name.
    #[error(transparent)]
    Code(#[from] CodeError),
}
