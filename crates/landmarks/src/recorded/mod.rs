//! Finding landmarks on long recordings, beat by beat.
//!
//! [`crate::find`] weighs all assignments against one another, which a recording of a day cannot
//! afford. Here each beat is found by its slope and each wave by the shape that fits it best.
//! Everything works on stretches of equally spaced samples without gaps, at any rate; places are
//! fractions of a sample from the stretch's start, so that a caller adds its own time. Nothing is
//! allocated for each sample, and buffers can be kept from stretch to stretch.

mod alternate;
mod burst;
mod fit;
mod mains;
mod p_and_t;
mod pick;
mod pulse;
mod qrs;
mod smooth;
mod waves;

pub use burst::{Bursts, SoundBeat};
pub use mains::remove_mains;
pub use pulse::{Foot, PulseWindow, Pulses};
pub use qrs::{BeatPeak, BeatPeaks};
pub use smooth::{grain, percentile};
pub use waves::{Neighbours, Waves};

/// A landmark on a stretch of samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Landmark identifier.
    pub name: &'static str,
    /// Where: samples from the stretch's start, not necessarily a whole number.
    pub place: f64,
    /// The value there, in the samples' unit; of a burst its height.
    pub value: f64,
    /// How sure it is that this place is this landmark, 0 … 1. A rule of thumb (no source): how
    /// far the wave stands out of what is left when it is taken away.
    pub confidence: f64,
}

/// The value at a place between samples, by a straight line; the nearest one outside.
fn at(samples: &[f64], place: f64) -> f64 {
    let Some(last) = samples.len().checked_sub(1) else { return f64::NAN };
    let place = place.clamp(0.0, last as f64);
    let left = place.floor() as usize;
    let right = (left + 1).min(last);
    samples[left] + (place - left as f64) * (samples[right] - samples[left])
}

/// The place of an extremum near the sample `at`, by the parabola through it and its neighbours.
fn summit(samples: &[f64], at: usize) -> f64 {
    if at == 0 || at + 1 >= samples.len() {
        return at as f64;
    }
    let (a, b, c) = (samples[at - 1], samples[at], samples[at + 1]);
    let bend = a - 2.0 * b + c;
    if bend == 0.0 { at as f64 } else { at as f64 + (0.5 * (a - c) / bend).clamp(-0.5, 0.5) }
}

/// A stretch from one place to another within `len` samples; empty where they are the wrong way
/// round.
fn span(from: f64, to: f64, len: usize) -> std::ops::Range<usize> {
    let whole = |place: f64| (place.max(0.0).round() as usize).min(len);
    let (from, to) = (whole(from), whole(to));
    from..to.max(from)
}

/// The sample of `range` whose `key` is largest.
fn largest(range: std::ops::Range<usize>, key: impl Fn(usize) -> f64) -> Option<usize> {
    range.map(|index| (index, key(index))).max_by(|a, b| a.1.total_cmp(&b.1)).map(|best| best.0)
}
