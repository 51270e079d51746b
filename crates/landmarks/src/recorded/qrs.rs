//! QRS complexes: where an ECG is steepest.

use super::pick::{Rules, pick};
use super::smooth::{boxcar, grain, odd};
use super::{largest, span, summit};

/// The top of one beat's main deflection.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeatPeak {
    /// Where: samples from the stretch's start.
    pub place: f64,
    /// How far it stands out of what is around it, in the samples' unit; negative where it points
    /// downwards.
    pub height: f64,
    /// How sure it is that a beat is there, 0 … 1.
    pub confidence: f64,
}

/// Finds QRS complexes, in the way of Pan and Tompkins (IEEE Trans Biomed Eng 1985;32:230–236):
/// the slope of the smoothed ECG, squared and averaged over a complex, against a level that
/// follows the recording, with a second look where a beat is due. Differs from theirs in that it
/// looks ahead: filters have no delay, and the level is the middle of 14 s around.
#[derive(Clone, Debug, Default)]
pub struct BeatPeaks {
    a: Vec<f64>,
    b: Vec<f64>,
    light: Vec<f64>,
    grain: f64,
}

/// Smoothing (twice) and reach of the slope, which together pass 5 to 22 Hz with a top at 13, where
/// a QRS complex stands out of P, T and muscle most (Martínez et al. 2004 use the like).
const SMOOTH_S: f64 = 0.022;
const REACH_S: f64 = 0.014;
/// Over this long the squared slope is averaged.
const COMPLEX_S: f64 = 0.09;
/// Around the steepest place the top is looked for this far.
const AROUND_S: f64 = 0.08;
/// The top is found on the ECG smoothed over this long ...
const LIGHT_S: f64 = 0.008;
/// ... and then nearby on the samples themselves where their grain is below this share of its
/// height, so that a lopsided top is not shifted ...
const FINE: f64 = 0.004;
/// ... or on the ECG smoothed over this long where it is above this one.
const COARSE: f64 = 0.04;
const HEAVY_S: f64 = 0.018;
/// A deflection the other way is the main one where it is so many times as high.
const OTHER_WAY: f64 = 1.7;

const RULES: Rules = Rules { apart_s: 0.2, echo_s: 0.36, share: 0.3, due_share: 0.15 };

impl BeatPeaks {
    /// The beats of `samples`, in the order of time. `upright` says whether the main deflection
    /// usually points upwards; `None` leaves that to each beat.
    pub fn find(&mut self, samples: &[f64], rate_hz: f64, upright: Option<bool>) -> Vec<BeatPeak> {
        if (samples.len() as f64) < 0.5 * rate_hz || samples.len() < 16 {
            return Vec::new();
        }
        self.energy(samples, rate_hz);
        let picks = pick(&self.a, rate_hz, &RULES);
        self.prepare(samples, rate_hz);
        let mut peaks: Vec<BeatPeak> = Vec::with_capacity(picks.len());
        for found in picks {
            let confidence = 1.0 / (1.0 + found.rival * found.rival * found.rival);
            let peak = BeatPeak { confidence, ..self.top(samples, found.at, rate_hz, upright) };
            let apart = peaks.last().is_none_or(|l| peak.place - l.place > 0.15 * rate_hz);
            if apart {
                peaks.push(peak);
            }
        }
        peaks
    }

    /// Prepares `samples` for [`Self::near`] without looking for beats.
    pub fn prepare(&mut self, samples: &[f64], rate_hz: f64) {
        boxcar(samples, odd(LIGHT_S, rate_hz), &mut self.light);
        self.grain = grain(samples, &mut self.b);
    }

    /// The top of the main deflection near a place of the samples prepared, where a complex is
    /// known to be from another lead.
    pub fn near(
        &self,
        samples: &[f64],
        place: f64,
        rate_hz: f64,
        upright: Option<bool>,
    ) -> Option<BeatPeak> {
        let inside = (0.0..self.light.len() as f64).contains(&place);
        let fits = inside && samples.len() == self.light.len();
        let top = || self.top(samples, place as usize, rate_hz, upright);
        fits.then(|| BeatPeak { confidence: 1.0, ..top() })
    }

    /// The lightly smoothed value at a place of the samples prepared.
    pub fn value(&self, place: f64) -> f64 {
        super::at(&self.light, place)
    }

    /// How steep the ECG is over a complex's length, into `a`.
    fn energy(&mut self, samples: &[f64], rate_hz: f64) {
        let width = odd(SMOOTH_S, rate_hz);
        boxcar(samples, width, &mut self.b);
        boxcar(&self.b, width, &mut self.a);
        super::smooth::slope(&self.a, (REACH_S * rate_hz).round().max(1.0) as usize, &mut self.b);
        for value in &mut self.b {
            *value *= *value;
        }
        let width = odd(COMPLEX_S, rate_hz);
        boxcar(&self.b, width, &mut self.a);
        let last = self.a.len() - 1;
        for (index, value) in self.a.iter_mut().enumerate() {
            // Outside of the stretch nothing is steep; few samples at its ends are not many.
            let seen = (2 * index.min(last - index) + 1).min(width) as f64 / width as f64;
            *value = (seen * value.max(0.0)).sqrt();
        }
    }

    /// The top of the main deflection near the steepest place.
    fn top(&self, samples: &[f64], near: usize, rate_hz: f64, upright: Option<bool>) -> BeatPeak {
        let light = &self.light;
        let reach = AROUND_S * rate_hz;
        let range = span(near as f64 - reach, near as f64 + reach + 1.0, light.len());
        // What is around it: the mean of what lies just outside.
        let edge = (0.03 * rate_hz).round().max(1.0) as usize;
        let outside = |range: std::ops::Range<usize>| {
            let count = range.len().max(1) as f64;
            light[range].iter().sum::<f64>() / count
        };
        let before = outside(range.start.saturating_sub(edge)..(range.start + 1).min(light.len()));
        let after = outside(range.end - 1..(range.end + edge).min(light.len()));
        let base = 0.5 * (before + after);
        let high = largest(range.clone(), |index| light[index]).unwrap_or(near);
        let low = largest(range, |index| -light[index]).unwrap_or(near);
        let (up, down) = (light[high] - base, base - light[low]);
        let upwards = match upright {
            Some(true) => up * OTHER_WAY >= down,
            Some(false) => up > down * OTHER_WAY,
            None => up >= down,
        };
        let (at, height) = if upwards { (high, up) } else { (low, -down) };
        let place = self.sharpened(samples, at, height, rate_hz);
        BeatPeak { place, height, confidence: 0.0 }
    }

    /// The place of a top at the sample `at` of the lightly smoothed ECG.
    fn sharpened(&self, samples: &[f64], at: usize, height: f64, rate_hz: f64) -> f64 {
        let share = self.grain / height.abs().max(1e-300);
        let sign = height.signum();
        if share < FINE {
            let reach = (0.5 * LIGHT_S * rate_hz).round().max(1.0) as usize;
            let range = at.saturating_sub(reach)..(at + reach + 1).min(samples.len());
            return largest(range, |i| sign * samples[i]).map_or(at as f64, |i| summit(samples, i));
        }
        if share < COARSE {
            return summit(&self.light, at);
        }
        let reach = (0.5 * HEAVY_S * rate_hz).round().max(1.0) as usize;
        let from = at.saturating_sub(3 * reach);
        let part = &samples[from..(at + 3 * reach + 1).min(samples.len())];
        let mut smooth = Vec::with_capacity(part.len());
        boxcar(part, odd(HEAVY_S, rate_hz), &mut smooth);
        let near = at - from;
        let range = near.saturating_sub(reach)..(near + reach + 1).min(smooth.len());
        let top = largest(range, |i| sign * smooth[i]).unwrap_or(near);
        from as f64 + summit(&smooth, top)
    }
}
