//! How good a signal is at one beat, and why it is not.

use landmarks::recorded::{grain, percentile};
use serde::Serialize;

/// What a signal is fit for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Quality {
    /// Landmarks are looked for.
    Good,
    /// Too noisy to measure.
    Noisy,
    /// A flat line.
    Flat,
    /// Driven against the limits of what could be recorded.
    Saturated,
    /// Not recorded.
    Missing,
}

/// How good one channel is at one beat.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChannelQuality {
    /// Number of the channel among those named.
    pub channel: usize,
    /// The finding.
    pub quality: Quality,
    /// Why it is not good; empty where it is.
    pub why: String,
}

/// More than this share of a beat's samples absent is a missing beat.
const MISSING: f64 = 0.05;
/// Less than this share of the usual height is a flat line.
const FLAT: f64 = 0.04;
/// A run at the limits of the recorder of so many samples is saturation.
const AT_LIMIT: usize = 3;
/// So is a run at the highest or lowest value of the whole stretch of this length in seconds that
/// comes several times: quickly for ECG and sounds, longer for pulses, whose tops are blunt.
const AT_EXTREME_S: [f64; 2] = [0.016, 0.06];
const TIMES: usize = 3;
/// A grain of more than this share of the beat's height is noise.
const NOISE: f64 = 0.12;
/// A beat so many times as high as usual is an artefact.
const HIGH: f64 = 5.0;
/// A baseline that moves within the beat by this many heights of the beat before and after.
const JUMP: f64 = 0.8;

/// What a stretch says of its signal.
#[derive(Clone, Debug, Default)]
pub(crate) struct Judge {
    /// The usual height within a second and a half.
    usual: f64,
    /// Lowest and highest values at which the signal is saturated.
    limits: [Option<f64>; 2],
    runs: [usize; 2],
    rate_hz: f64,
    room: Vec<f64>,
}

impl Judge {
    /// Looks at a stretch; `missing` tells where samples were only filled in.
    pub(crate) fn new(
        samples: &[f64],
        missing: &[bool],
        rate_hz: f64,
        range: Option<[f64; 2]>,
        quick: bool,
    ) -> Self {
        let mut judge = Self { rate_hz, ..Self::default() };
        let block = ((1.5 * rate_hz) as usize).max(1);
        let mut heights: Vec<f64> = samples.chunks(block).map(height).collect();
        judge.usual = percentile(&mut heights, 0.5);
        let run = (AT_EXTREME_S[usize::from(!quick)] * rate_hz).ceil().max(5.0) as usize;
        for (side, sign) in [(0, -1.0), (1, 1.0)] {
            let limit = range.map(|range| range[side]);
            let extreme = samples
                .iter()
                .zip(missing)
                .filter(|(_, missing)| !**missing)
                .fold(f64::NEG_INFINITY, |top, (value, _)| top.max(sign * value));
            let at_limit = limit.is_some_and(|limit| extreme >= sign * limit);
            if at_limit {
                (judge.limits[side], judge.runs[side]) = (limit, AT_LIMIT);
            } else if times(samples, missing, sign * extreme, run) >= TIMES {
                (judge.limits[side], judge.runs[side]) = (Some(sign * extreme), run);
            }
        }
        judge
    }

    /// The quality of one beat's `samples`, with `absent` of them filled in, and why.
    pub(crate) fn beat(&mut self, samples: &[f64], absent: usize) -> (Quality, String) {
        let count = samples.len().max(1) as f64;
        let share = absent as f64 / count;
        if share > MISSING || samples.len() < 8 {
            let why = format!("{:.0} % of the beat was not recorded", 100.0 * share.max(MISSING));
            return (Quality::Missing, why);
        }
        let tall = height(samples);
        if tall <= 0.0 || tall < FLAT * self.usual {
            return (Quality::Flat, "a flat line".to_owned());
        }
        if let Some(limit) = self.saturated(samples) {
            return (Quality::Saturated, format!("held at its limit of {limit:.4}"));
        }
        let noise = grain(samples, &mut self.room) / tall;
        if noise > NOISE {
            let why = format!("noise of {:.0} % of the beat's height", 100.0 * noise);
            return (Quality::Noisy, why);
        }
        if tall > HIGH * self.usual {
            let why = format!("{:.0} times as high as usual", tall / self.usual);
            return (Quality::Noisy, why);
        }
        let edge = ((0.05 * self.rate_hz) as usize).clamp(1, samples.len() / 2);
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len().max(1) as f64;
        let moved = (mean(&samples[..edge]) - mean(&samples[samples.len() - edge..])).abs();
        if moved > JUMP * tall && moved > JUMP * self.usual {
            return (Quality::Noisy, "the baseline jumps".to_owned());
        }
        (Quality::Good, String::new())
    }

    fn saturated(&self, samples: &[f64]) -> Option<f64> {
        [(0, -1.0), (1, 1.0)].into_iter().find_map(|(side, sign)| {
            let limit = self.limits[side]?;
            let mut run = 0;
            samples.iter().find_map(|value| {
                run = if sign * value >= sign * limit { run + 1 } else { 0 };
                (run >= self.runs[side]).then_some(limit)
            })
        })
    }
}

/// From the lowest to the highest sample.
fn height(samples: &[f64]) -> f64 {
    let low = samples.iter().copied().fold(f64::INFINITY, f64::min);
    samples.iter().copied().fold(f64::NEG_INFINITY, f64::max) - low
}

/// How many times the samples stay at `value` for `run` samples.
fn times(samples: &[f64], missing: &[bool], value: f64, run: usize) -> usize {
    let (mut count, mut length) = (0, 0);
    for (sample, missing) in samples.iter().zip(missing) {
        length = if *sample == value && !missing { length + 1 } else { 0 };
        count += usize::from(length == run);
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wave of height 2 twice a second at 200 Hz.
    fn wave(count: usize) -> Vec<f64> {
        (0..count).map(|i| libm::sin(std::f64::consts::PI * i as f64 / 50.0)).collect()
    }

    fn judged(samples: &[f64], range: Option<[f64; 2]>, at: usize, absent: usize) -> Quality {
        let missing = vec![false; samples.len()];
        let mut judge = Judge::new(samples, &missing, 200.0, range, true);
        judge.beat(&samples[at..at + 150], absent).0
    }

    #[test]
    fn each_fault_is_called_by_its_name() {
        let good = wave(4000);
        assert_eq!(judged(&good, None, 1000, 0), Quality::Good);
        assert_eq!(judged(&good, None, 1000, 20), Quality::Missing);
        let mut flat = good.clone();
        flat[900..1300].fill(0.25);
        assert_eq!(judged(&flat, None, 1000, 0), Quality::Flat);
        let clipped: Vec<f64> = good.iter().map(|v| v.clamp(-2.0, 0.8)).collect();
        assert_eq!(judged(&clipped, None, 1000, 0), Quality::Saturated);
        assert_eq!(judged(&clipped, Some([-2.0, 0.8]), 1000, 0), Quality::Saturated);
        let mut random = cycle::Random::new(1);
        let noisy: Vec<f64> =
            good.iter().map(|v| v + random.below(2000) as f64 / 1000.0 - 1.0).collect();
        assert_eq!(judged(&noisy, None, 1000, 0), Quality::Noisy);
        let mut jump = good;
        jump[1080..].iter_mut().for_each(|v| *v += 30.0);
        assert_eq!(judged(&jump, None, 1000, 0), Quality::Noisy);
    }
}
