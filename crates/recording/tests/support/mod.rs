//! What the tests share: the recordings in `shared/data`, noise, and scores.
#![allow(dead_code, unreachable_pub, reason = "each test file uses its own part")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

pub mod errors;
pub mod synthetic;

use std::path::{Path, PathBuf};

use recording::{Asked, Held, Recording, Source as _};

/// A file of the shared recordings, or `None` where they are absent.
pub fn data(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data").join(name);
    let found = Some(path).filter(|path| path.exists());
    if found.is_none() {
        say(&format!("skipped: {name} is not in shared/data"));
    }
    found
}

#[allow(clippy::print_stdout, reason = "a test says what it found, and why it is skipped")]
pub fn say(text: &str) {
    println!("{text}");
}

/// A recording of `shared/data` in memory.
pub fn held(name: &str) -> Option<Held> {
    let mut recording = Recording::open(&data(name)?, &Asked::default()).unwrap();
    let mut held = Held::default();
    for (index, signal) in recording.signals().to_vec().into_iter().enumerate() {
        let mut samples = Vec::new();
        recording.read(index, 0, usize::MAX, &mut samples).unwrap();
        held.add(&signal.label, &signal.unit, signal.rate_hz, signal.range, samples);
    }
    Some(held)
}

/// The only, or last, signal of a table that does not say what it is, under another label.
fn labelled(name: &str, label: &str, unit: &str) -> Option<Held> {
    let mut recording = Recording::open(&data(name)?, &Asked::default()).unwrap();
    let index = recording.signals().len() - 1;
    let (rate_hz, mut samples) = (recording.signals()[index].rate_hz, Vec::new());
    recording.read(index, 0, usize::MAX, &mut samples).unwrap();
    let mut held = Held::default();
    held.add(label, unit, rate_hz, None, samples);
    Some(held)
}

/// Record 100: MLII and V5, 360 Hz.
pub fn record_100() -> Option<Held> {
    held("100.hea")
}

/// Symbols of WFDB annotations that are beats (WFDB's documentation, from memory).
const BEATS: &str = "NLRBAaJSVrFejnE/fQ?";

/// Times of the beats that experts marked on record 100, in seconds.
pub fn marked_100() -> Option<Vec<f64>> {
    let recording = Recording::open(&data("100.hea")?, &Asked::default()).unwrap();
    let beats = recording.annotations.iter().filter(|one| {
        let symbol = one.text.split(' ').next().unwrap_or_default();
        symbol.chars().count() == 1 && BEATS.contains(symbol)
    });
    Some(beats.map(|one| one.time_s).collect())
}

/// Record 208's lead II as SciPy shipped it, 360 Hz.
pub fn scipy_ecg() -> Option<Held> {
    labelled("scipy_ecg_360hz.csv", "II", "mV")
}

/// Twelve leads at 1 kHz.
pub fn s0010() -> Option<Held> {
    held("s0010_re.hea")
}

/// ECG, pressures and pulse at the bedside, 16 s. The ECG has four samples to each of the others.
pub fn record_041() -> Option<Held> {
    held("041s/041s.hea")
}

/// ECG, pressure, pulse and respiration at the bedside, at rates of their own.
pub fn mixed_signals() -> Option<Held> {
    held("mixedsignals.hea")
}

/// One of the examples of an open library at 1 kHz: `biosppy_` and its name.
pub fn biosppy(name: &str, label: &str) -> Option<Held> {
    labelled(&format!("biosppy_{name}.txt"), label, "")
}

/// Heart sounds at 1 kHz, marked from a simultaneous ECG.
pub fn sounds(number: usize) -> Option<Held> {
    labelled(&format!("heart_sounds_{number}.wav"), "PCG", "")
}

/// How well beats agree with what is known: sensitivity and positive predictive value in per cent,
/// mean and standard deviation of the error in ms. Beats are the same within `within_s` (150 ms is
/// EC57's window), one to one.
#[derive(Clone, Copy, Debug)]
pub struct Score {
    pub sensitivity: f64,
    pub predictive: f64,
    pub mean_ms: f64,
    pub sd_ms: f64,
    pub found: usize,
}

pub fn score(found: &[f64], truth: &[f64], within_s: f64) -> Score {
    let mut errors = Vec::new();
    let (mut f, mut t) = (0, 0);
    while f < found.len() && t < truth.len() {
        let error = found[f] - truth[t];
        // The nearer of two goes with the truth.
        let nearer = found.get(f + 1).is_some_and(|next| (next - truth[t]).abs() < error.abs());
        if error < -within_s || nearer {
            f += 1;
        } else if error > within_s {
            t += 1;
        } else {
            errors.push(1000.0 * error);
            (f, t) = (f + 1, t + 1);
        }
    }
    let hits = errors.len() as f64;
    let mean_ms = errors.iter().sum::<f64>() / hits.max(1.0);
    let squares = errors.iter().map(|e| (e - mean_ms) * (e - mean_ms)).sum::<f64>();
    Score {
        sensitivity: 100.0 * hits / truth.len().max(1) as f64,
        predictive: 100.0 * hits / found.len().max(1) as f64,
        mean_ms,
        sd_ms: (squares / (hits - 1.0).max(1.0)).sqrt(),
        found: found.len(),
    }
}
