//! Errors of each landmark on computed hearts, against what the model states.

use std::collections::BTreeMap;

use cycle::Cycle;
use recording::{Beat, Named, Source as _, beats, guess, look};

use super::synthetic::{Noise, recording, truth};

/// Channels of a recording with their labels and rates.
pub const CHANNELS: [(&str, &str, f64); 5] = [
    ("ecg", "II", 500.0),
    ("heart_sounds", "PCG", 1000.0),
    ("aortic_pressure", "Ao", 250.0),
    ("radial_pressure", "radial", 250.0),
    ("finger_pulse", "PPG", 250.0),
];

/// Landmarks asked for, by channel.
pub const ASKED: [(&str, &[&str]); 5] = [
    ("ecg", &["p_onset", "p_peak", "p_end", "qrs_onset", "r_peak", "qrs_end", "t_peak", "t_end"]),
    ("heart_sounds", &["s1_onset", "s1_end", "s2_onset", "s2_end"]),
    ("aortic_pressure", &["pressure_foot", "systolic_peak", "dicrotic_notch", "dicrotic_peak"]),
    ("radial_pressure", &["pressure_foot", "systolic_peak"]),
    ("finger_pulse", &["pressure_foot", "systolic_peak"]),
];

/// What became of one landmark.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub errors_ms: Vec<f64>,
    pub truths: usize,
    pub invented: usize,
}

impl Tally {
    pub fn mean(&self) -> f64 {
        self.errors_ms.iter().sum::<f64>() / self.errors_ms.len().max(1) as f64
    }

    /// Twice the standard deviation of the error.
    pub fn twice_sd(&self) -> f64 {
        let mean = self.mean();
        let squares = self.errors_ms.iter().map(|e| (e - mean) * (e - mean)).sum::<f64>();
        2.0 * (squares / (self.errors_ms.len() as f64 - 1.0).max(1.0)).sqrt()
    }

    pub fn found(&self) -> f64 {
        100.0 * self.errors_ms.len() as f64 / self.truths.max(1) as f64
    }
}

pub type Tallies = BTreeMap<(String, String), Tally>;

/// A truth farther from a finding is another thing, seconds.
const SAME_S: f64 = 0.1;

/// Adds one recording's errors. The first and last two seconds do not count.
pub fn add(
    tallies: &mut Tallies,
    cycle: &Cycle,
    turns: usize,
    added: Option<(Noise, f64)>,
    seed: u64,
) {
    let mut memory = recording(cycle, &CHANNELS, turns, added, seed);
    let mut named = guess(memory.signals());
    look(&mut memory, &mut named, false).unwrap();
    let found = beats(&mut memory, &named).unwrap();
    let (start, end) = cycle.span_s().unwrap();
    let last = (end - start) * turns as f64 - 2.0;
    for (channel, names) in ASKED {
        for name in names {
            let mut truths = truth(cycle, name, channel, turns);
            truths.retain(|t| (2.0..last).contains(t));
            let times = times(&found, &named, name, channel);
            let tally = tallies.entry((channel.to_owned(), (*name).to_owned())).or_default();
            tally.truths += truths.len();
            count(tally, &times, &truths, last);
        }
    }
}

fn times(found: &[Beat], named: &[Named], name: &str, channel: &str) -> Vec<f64> {
    let number = named.iter().position(|named| named.channel == channel);
    let of = |beat: &Beat| Some(beat.mark(name, number?)?.time_s);
    found.iter().filter_map(of).collect()
}

/// Counts what was found of `truths` until `last`.
pub fn count(tally: &mut Tally, times: &[f64], truths: &[f64], last: f64) {
    let mut used = vec![false; times.len()];
    for truth in truths {
        let off = |&i: &usize| (times[i] - truth).abs();
        let free = (0..times.len()).filter(|i| !used[*i] && off(i) < SAME_S);
        if let Some(nearest) = free.min_by(|a, b| off(a).total_cmp(&off(b))) {
            used[nearest] = true;
            tally.errors_ms.push(1000.0 * (times[nearest] - truth));
        }
    }
    let inside = |t: f64| (2.1..last - 0.1).contains(&t);
    tally.invented += times.iter().zip(&used).filter(|(t, used)| !**used && inside(**t)).count();
}

/// Conditions with P, QRS and T apart from one another.
pub const CONDITIONS: [&str; 6] = [
    "rest",
    "bradycardia",
    "light_exercise",
    "hypertension",
    "first_degree_av_block",
    "aortic_stenosis",
];

/// The cycles of those conditions.
pub fn cycles() -> Vec<Cycle> {
    let cycle = |name: &&str| {
        let heart = heart::condition(name).unwrap().heart;
        heart::simulate(&heart, heart::natural_beats(&heart).max(4)).unwrap()
    };
    CONDITIONS.iter().map(cycle).collect()
}
