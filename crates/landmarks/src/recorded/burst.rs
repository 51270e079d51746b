//! Heart sounds: bursts of vibration, on recordings.

use super::alternate::{alternate, usual};
use super::pick::{Rules, pick};
use super::smooth::{boxcar, odd};
use super::{Mark, largest, span};

/// A beat told by its sounds alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoundBeat {
    /// The loudest place of the first sound, in samples from the stretch's start.
    pub first: f64,
    /// That of the second sound, where there is one.
    pub second: Option<f64>,
    /// How sure it is that these are the first and second sound, 0 … 1.
    pub confidence: f64,
}

/// Finds bursts by the outline of the sound between 25 and 150 Hz.
#[derive(Clone, Debug, Default)]
pub struct Bursts {
    outline: Vec<f64>,
    band: Vec<f64>,
    room: Vec<f64>,
    rate_hz: f64,
}

/// What is passed, Hz (as in the project's study of heart sounds).
const BAND_HZ: [f64; 2] = [25.0, 150.0];
/// The outline is the root mean square over this long, seconds.
const OUTLINE_S: f64 = 0.016;
/// A burst begins and ends where its outline has this share of its height above the floor.
const BEGINS: f64 = 0.2;
const ENDS: f64 = 0.08;
/// It reaches so far from its loudest place at most, and stands on what is quietest there: a
/// murmur is not part of it, seconds.
const REACH_S: f64 = 0.12;
/// A silence of up to this long inside a burst does not end it, seconds.
const GAP_S: f64 = 0.025;
/// A burst is so many times as high as the floor, at least.
const FAINT: f64 = 2.5;

/// Sounds are told apart on the outline smoothed over this long, on which each has one top.
const SMOOTH_S: f64 = 0.06;

const RULES: Rules = Rules { apart_s: 0.14, echo_s: 0.0, share: 0.14, due_share: 0.1 };

impl Bursts {
    /// Prepares `samples`.
    pub fn prepare(&mut self, samples: &[f64], rate_hz: f64) {
        self.rate_hz = rate_hz;
        self.band.clear();
        self.band.extend_from_slice(samples);
        pass(&mut self.band, rate_hz, BAND_HZ[0], true);
        if 2.5 * BAND_HZ[1] < rate_hz {
            pass(&mut self.band, rate_hz, BAND_HZ[1], false);
        }
        self.room.clear();
        self.room.extend(self.band.iter().map(|value| value * value));
        boxcar(&self.room, odd(OUTLINE_S, rate_hz), &mut self.outline);
        for value in &mut self.outline {
            *value = value.max(0.0).sqrt();
        }
    }

    /// The first sounds prepared and the second sounds after them, told apart by the shorter
    /// interval; for recordings without an ECG.
    pub fn beats(&self) -> Vec<SoundBeat> {
        let mut smooth = Vec::with_capacity(self.outline.len());
        boxcar(&self.outline, odd(SMOOTH_S, self.rate_hz), &mut smooth);
        let picks = pick(&smooth, self.rate_hz, &RULES);
        let places: Vec<f64> = picks.iter().map(|pick| pick.at as f64).collect();
        let heights: Vec<f64> = picks.iter().map(|pick| pick.height).collect();
        let Some(usual) = usual(&smooth, self.rate_hz) else { return Vec::new() };
        // At fast rates systole and diastole are of one length, and nothing tells which is which.
        let apart = (usual.diastole - usual.systole) / (usual.diastole + usual.systole);
        let sure = usual.regular.sqrt() * (apart / (apart + 0.05)).max(0.0);
        let beat = |(first, second): (usize, Option<usize>)| SoundBeat {
            first: places[first],
            second: second.map(|second| places[second]),
            confidence: if second.is_some() { sure } else { 0.5 * sure },
        };
        alternate(&places, &heights, &usual).into_iter().map(beat).collect()
    }

    /// How loud it is where it is quiet between two places.
    pub fn floor(&mut self, from: f64, to: f64) -> f64 {
        let range = span(from, to, self.outline.len());
        self.room.clear();
        self.room.extend_from_slice(&self.outline[range]);
        super::percentile(&mut self.room, 0.2)
    }

    /// Onset and end of the loudest burst between two places, in a beat whose floor is given.
    pub fn find(
        &self,
        [from, to]: [f64; 2],
        floor: f64,
        [onset, end]: [&'static str; 2],
        into: &mut Vec<Mark>,
    ) {
        let range = span(from, to + 1.0, self.outline.len());
        let Some(top) = largest(range.clone(), |i| self.outline[i]) else { return };
        let height = self.outline[top];
        if height < FAINT * floor || height <= 0.0 {
            return;
        }
        let confidence = 1.0 - FAINT * floor / height * 0.5;
        // What rises towards an edge of the window is another burst's.
        let edge = top == range.start || top + 1 == range.end;
        let confidence = if edge { 0.3 * confidence } else { confidence };
        // The outline's window sees a burst half its length before it begins and after it ends.
        let seen = 0.5 * OUTLINE_S * self.rate_hz;
        let start = self.follow(top, true, BEGINS, floor) + seen;
        let stop = self.follow(top, false, ENDS, floor) - seen;
        let (start, stop) = (start.min(top as f64), stop.max(top as f64));
        into.push(Mark { name: onset, place: start, value: height, confidence });
        into.push(Mark { name: end, place: stop, value: height, confidence });
    }

    /// Where the outline falls below a share of its height above what it stands on, for longer than
    /// a gap.
    fn follow(&self, top: usize, backwards: bool, share: f64, floor: f64) -> f64 {
        let len = self.outline.len();
        let reach = (REACH_S * self.rate_hz) as usize;
        let near = if backwards {
            top.saturating_sub(reach)..top + 1
        } else {
            top..(top + reach + 1).min(len)
        };
        let valley = self.outline[near.clone()].iter().copied().fold(f64::INFINITY, f64::min);
        let base = valley.max(floor);
        let limit = base + share * (self.outline[top] - base);
        let gap = (GAP_S * self.rate_hz) as usize;
        let step = |index: usize, by: usize| {
            let next = if backwards { index.checked_sub(by) } else { Some(index + by) };
            next.filter(|next| near.contains(next))
        };
        let mut last = top;
        let mut by = 1;
        while let Some(index) = step(last, by) {
            if self.outline[index] > limit {
                (last, by) = (index, 1);
            } else if by > gap {
                break;
            } else {
                by += 1;
            }
        }
        let Some(outside) = step(last, 1) else { return last as f64 };
        let (a, b) = (self.outline[last], self.outline[outside]);
        let share = if a > b { ((a - limit) / (a - b)).clamp(0.0, 1.0) } else { 0.0 };
        last as f64 + share * (outside as f64 - last as f64)
    }
}

/// A second-order Butterworth filter forwards and backwards, which leaves no delay.
fn pass(values: &mut [f64], rate_hz: f64, cut_hz: f64, high: bool) {
    let k = libm::tan(std::f64::consts::PI * (cut_hz / rate_hz).min(0.49));
    let scale = 1.0 / (1.0 + std::f64::consts::SQRT_2 * k + k * k);
    let (gain, middle) = if high { (scale, -2.0) } else { (k * k * scale, 2.0) };
    let (a1, a2) =
        (2.0 * (k * k - 1.0) * scale, (1.0 - std::f64::consts::SQRT_2 * k + k * k) * scale);
    let (mut s1, mut s2) = (0.0, 0.0);
    let mut step = |value: &mut f64| {
        let out = gain * *value + s1;
        s1 = gain * middle * *value - a1 * out + s2;
        s2 = gain * *value - a2 * out;
        *value = out;
    };
    values.iter_mut().for_each(&mut step);
    // The end of the way forwards is the beginning of the way back, which the state suits.
    values.iter_mut().rev().for_each(&mut step);
}
