//! P, QRS and T of one beat of an ECG.

use super::fit::{Cut, Fit, Limits, Shape, settle};
use super::smooth::{boxcar, odd, slope};
use super::{Mark, at, largest, span, summit};

/// Where the beats beside this one are, in samples from the stretch's start.
#[derive(Clone, Copy, Debug, Default)]
pub struct Neighbours {
    /// The main deflection of the beat before.
    pub before: Option<f64>,
    /// The end of its T wave.
    pub t_end_before: Option<f64>,
    /// The main deflection of the beat after.
    pub after: Option<f64>,
}

/// Finds the waves of beats whose main deflection is known, by fitting each flank or wave with its
/// shape (see `fit.rs`). Onsets and ends are therefore where a half cosine begins and ends; the
/// tangent at T's steepest fall meets the baseline 0.18 of the fall's length before its end.
#[derive(Clone, Debug, Default)]
pub struct Waves {
    pub(super) light: Vec<f64>,
    steep: Vec<f64>,
    pub(super) heavy: Vec<f64>,
    room: Vec<f64>,
    pub(super) cut: Cut,
    pub(super) rate_hz: f64,
    grain: f64,
}

/// Smoothing under which turns of the QRS complex, and tops of P and T, are looked for, seconds.
const LIGHT_S: f64 = 0.008;
const HEAVY_S: f64 = 0.035;
/// A complex reaches at most this far from its main deflection, seconds.
const BEFORE_S: f64 = 0.09;
const AFTER_S: f64 = 0.13;
/// A complex begins and ends about where its slope stays below this share of its steepest ...
const QUIET: f64 = 0.08;
/// ... for this long, seconds.
const QUIET_S: f64 = 0.012;
/// The smallest deflection that counts, as a share of the main one; of 1 mV about the 20 to 30 µV
/// of IEC 60601-2-51 (second-hand).
pub(super) const SMALLEST: f64 = 0.025;
/// A notch within a complex goes back by at least this share of its height (no source).
const NOTCH: f64 = 0.15;
/// A wave is there where it explains so many times as much as is left for each sample.
pub(super) const STANDS_OUT: f64 = 12.0;

impl Waves {
    /// Prepares `samples`, whose grain ([`super::grain`]) is given.
    pub fn prepare(&mut self, samples: &[f64], rate_hz: f64, grain: f64) {
        (self.rate_hz, self.grain) = (rate_hz, grain);
        boxcar(samples, odd(LIGHT_S, rate_hz), &mut self.light);
        slope(&self.light, (0.004 * rate_hz).round().max(1.0) as usize, &mut self.steep);
        let width = odd(0.5 * HEAVY_S, rate_hz);
        boxcar(&self.light, width, &mut self.room);
        boxcar(&self.room, width, &mut self.heavy);
    }

    pub(super) fn samples(&self, seconds: f64) -> f64 {
        seconds * self.rate_hz
    }

    /// The waves of the beat whose main deflection is at `r` of the `samples` prepared and points
    /// upwards or not, in the order of time. `r_peak` is among them, with `confidence`.
    pub fn find(
        &mut self,
        samples: &[f64],
        r: f64,
        upright: bool,
        confidence: f64,
        near: &Neighbours,
        into: &mut Vec<Mark>,
    ) {
        if samples.len() != self.light.len() || !(0.0..samples.len() as f64).contains(&r) {
            return;
        }
        let sign = if upright { 1.0 } else { -1.0 };
        let first = into.len();
        let [rough_onset, rough_end] = self.rough(r, sign);
        let onset = self.onset(samples, r, sign, rough_onset, into);
        let value = at(&self.light, r);
        into.push(Mark { name: "r_peak", place: r, value, confidence });
        let end = self.end(samples, r, sign, rough_end, into);
        let height = (value - at(&self.light, onset)).abs().max(1e-12);
        self.t_wave(samples, r, end, height, near, into);
        self.p_wave(samples, r, onset, height, near, into);
        into[first..].sort_by(|a, b| a.place.total_cmp(&b.place));
    }

    /// About where the complex begins and ends: where its slope has become small.
    fn rough(&self, r: f64, sign: f64) -> [f64; 2] {
        let len = self.steep.len();
        let side = |before: bool| {
            let [from, to] = if before {
                [r - self.samples(BEFORE_S), r]
            } else {
                [r, r + self.samples(AFTER_S)]
            };
            let range = span(from, to + 1.0, len);
            let turned = if before { sign } else { -sign };
            let close = self.samples(0.06);
            let near = span(from.max(r - close), to.min(r + close) + 1.0, len);
            let Some(steepest) = largest(near, |i| turned * self.steep[i]) else { return r };
            let top = self.steep[steepest].abs();
            let limit = (QUIET * top).max(2.0 * self.grain / self.samples(LIGHT_S).max(1.0));
            let quiet = self.samples(QUIET_S).max(2.0) as usize;
            self.until_quiet(steepest, range, before, limit.min(0.5 * top), quiet)
        };
        [side(true), side(false)]
    }

    fn until_quiet(
        &self,
        from: usize,
        range: std::ops::Range<usize>,
        backwards: bool,
        limit: f64,
        quiet: usize,
    ) -> f64 {
        let (mut last, mut count) = (from, 0);
        let way: &mut dyn Iterator<Item = usize> =
            if backwards { &mut (range.start..from).rev() } else { &mut (from..range.end) };
        for index in way {
            if self.steep[index].abs() > limit {
                (last, count) = (index, 0);
            } else {
                count += 1;
                if count > quiet {
                    break;
                }
            }
        }
        last as f64
    }

    /// The mean of the lightly smoothed ECG from one place to another.
    fn level(&self, from: f64, to: f64) -> f64 {
        let range = span(from, to + 1.0, self.light.len());
        let count = range.len().max(1) as f64;
        self.light[range].iter().sum::<f64>() / count
    }

    /// The deepest point against `sign` within a stretch, if it is deep enough below `level`.
    fn counter(&self, from: f64, to: f64, sign: f64, level: f64, height: f64) -> Option<usize> {
        let range = span(from, to + 1.0, self.light.len());
        let lowest = largest(range.clone(), |i| -sign * self.light[i])?;
        let depth = sign * (level - self.light[lowest]);
        let noise = 3.0 * self.grain / self.samples(LIGHT_S).max(1.0).sqrt();
        let inside = lowest > range.start && lowest + 1 < range.end;
        (inside && depth > (SMALLEST * height).max(noise)).then_some(lowest)
    }

    /// Where a complex that is notched before its main deflection first turns back: its first
    /// flank alone tells its onset.
    fn first_turn(&self, from: f64, to: f64, level: f64, height: f64) -> Option<usize> {
        let noise = 4.0 * self.grain / self.samples(LIGHT_S).max(1.0).sqrt();
        let back = (NOTCH * height.abs()).max(noise);
        let (mut high, mut low) = ((0.0, None), (0.0, None));
        for index in span(from, to, self.light.len()) {
            let off = self.light[index] - level;
            if off > high.0 {
                high = (off, Some(index));
            }
            if off < low.0 {
                low = (off, Some(index));
            }
            if high.0 > back && off < high.0 - back {
                return high.1;
            }
            if low.0 < -back && off > low.0 + back {
                return low.1;
            }
        }
        None
    }

    /// Q, if there is one, and the onset of the complex; its place.
    fn onset(
        &mut self,
        samples: &[f64],
        r: f64,
        sign: f64,
        rough: f64,
        into: &mut Vec<Mark>,
    ) -> f64 {
        let level = self.level(rough - self.samples(0.035), rough - self.samples(0.005));
        let height = sign * (at(&self.light, r) - level);
        let q = self.counter(rough - self.samples(0.004), r, sign, level, height);
        let first = q.or_else(|| self.first_turn(rough, r, level, height));
        let first = first.map_or(r, |first| summit(&self.light, first));
        let from = (rough - self.samples(0.045)).min(first - self.samples(0.05));
        let whole = self.samples(0.001).floor().max(1.0) as usize;
        self.cut.take(samples, span(from, first + 1.0, samples.len()), whole, false);
        let limits = Limits {
            onset: [from + self.samples(0.01), first - self.samples(0.005)],
            peak: [first; 2],
            end: [first; 2],
            flank: self.samples(0.005),
            flat: 0.0,
        };
        let guess = rough.clamp(limits.onset[0], limits.onset[1].max(limits.onset[0]));
        let start = Shape { onset: Some(guess), peak: first, ..Shape::default() };
        let step = [self.samples(0.008), self.samples(0.0005)];
        let (shape, found) = settle(&self.cut, start, &limits, step);
        let onset = shape.onset.unwrap_or(rough);
        self.push("qrs_onset", onset, sure(&found), into);
        if let Some(q) = q {
            self.push("q_peak", summit(&self.light, q), sure(&found), into);
        }
        onset
    }

    /// S, if there is one, and the end of the complex; its place.
    fn end(&mut self, samples: &[f64], r: f64, sign: f64, rough: f64, into: &mut Vec<Mark>) -> f64 {
        let level = self.level(rough + self.samples(0.005), rough + self.samples(0.035));
        let height = sign * (at(&self.light, r) - level);
        let s = self.counter(r, rough + self.samples(0.004), sign, level, height);
        let last = s.map_or(r, |s| summit(&self.light, s));
        let to = (rough + self.samples(0.05)).max(last + self.samples(0.06));
        let whole = self.samples(0.001).floor().max(1.0) as usize;
        self.cut.take(samples, span(last, to + 1.0, samples.len()), whole, false);
        let limits = Limits {
            onset: [last; 2],
            peak: [last; 2],
            end: [last + self.samples(0.005), to - self.samples(0.01)],
            flank: self.samples(0.005),
            flat: 0.0,
        };
        let guess = rough.clamp(limits.end[0], limits.end[1].max(limits.end[0]));
        let start = Shape { peak: last, end: Some(guess), ..Shape::default() };
        let step = [self.samples(0.008), self.samples(0.0005)];
        let (shape, found) = settle(&self.cut, start, &limits, step);
        let end = shape.end.unwrap_or(rough);
        if let Some(s) = s {
            self.push("s_peak", summit(&self.light, s), sure(&found), into);
        }
        self.push("qrs_end", end, sure(&found), into);
        end
    }

    pub(super) fn push(
        &self,
        name: &'static str,
        place: f64,
        confidence: f64,
        into: &mut Vec<Mark>,
    ) {
        into.push(Mark { name, place, value: at(&self.light, place), confidence });
    }
}

/// How sure a wave is that explains so much.
pub(super) fn sure(found: &Fit) -> f64 {
    let out = found.stands_out();
    out / (out + 2.0 * STANDS_OUT)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_found_where_nothing_was_prepared() {
        let mut marks = Vec::new();
        Waves::default().find(&[0.0; 9], 4.0, true, 1.0, &Neighbours::default(), &mut marks);
        assert!(marks.is_empty());
    }
}
