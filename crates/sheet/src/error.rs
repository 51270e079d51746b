//! Why pages cannot be made.

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
    /// More pages or sheets than a code can name.
    #[error(transparent)]
    Code(#[from] CodeError),
}
