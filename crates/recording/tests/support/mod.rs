//! What the tests share: readers for the recordings in `shared/data`, noise, and scores.
#![allow(dead_code, unreachable_pub, reason = "each test file uses its own part")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

pub mod errors;
pub mod synthetic;

use std::fs;
use std::path::{Path, PathBuf};

use recording::Held;

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

/// Samples of WFDB's format 212: two of 12 bits in three bytes, signals in turn.
fn twelve_bits(bytes: &[u8]) -> Vec<i32> {
    let sign = |v: i32| if v > 2047 { v - 4096 } else { v };
    let pair = |b: &[u8]| {
        let [x, y, z] = [0, 1, 2].map(|i| i32::from(b[i]));
        [sign(x | (y & 15) << 8), sign(z | (y >> 4) << 8)]
    };
    bytes.chunks_exact(3).flat_map(pair).collect()
}

/// Record 100: MLII and V5, 360 Hz.
pub fn record_100() -> Option<Held> {
    let numbers = twelve_bits(&fs::read(data("100.dat")?).unwrap());
    let mut memory = Held::default();
    for (signal, label) in ["MLII", "V5"].into_iter().enumerate() {
        let own = numbers.iter().skip(signal).step_by(2);
        let samples = own.map(|v| f64::from(v - 1024) / 200.0).collect();
        memory.add(label, "mV", 360.0, Some([-5.12, 5.115]), samples);
    }
    Some(memory)
}

/// Times of the beats that experts marked on record 100, in seconds. The annotation file has words
/// of 16 bits: a type of 6 bits and the samples since the last of 10; type 59 is a longer time in
/// two words, 63 a text of so many bytes, 1 to 13 (and 30 to 38) kinds of beats.
pub fn marked_100() -> Option<Vec<f64>> {
    let bytes = fs::read(data("100.atr")?).unwrap();
    let word = |at: usize| i64::from(u16::from_le_bytes([bytes[at], bytes[at + 1]]));
    let (mut at, mut sample, mut beats) = (0, 0, Vec::new());
    while at + 1 < bytes.len() && word(at) != 0 {
        let (kind, step) = (word(at) >> 10, word(at) & 1023);
        at += 2;
        match kind {
            59 => {
                sample += word(at) << 16 | word(at + 2);
                at += 4;
            }
            60..=62 => {}
            63 => at += (step + step % 2) as usize,
            _ => {
                sample += step;
                if (1..=13).contains(&kind) || (34..=38).contains(&kind) {
                    beats.push(sample as f64 / 360.0);
                }
            }
        }
    }
    Some(beats)
}

/// The numbers of a column of a text with commas, without its headings.
pub fn column(name: &str, column: usize) -> Option<Vec<f64>> {
    let text = fs::read_to_string(data(name)?).unwrap();
    let number = |line: &str| line.split(',').nth(column)?.trim().parse().ok();
    Some(text.lines().filter(|line| !line.starts_with('#')).filter_map(number).collect())
}

/// Record 208's lead II as SciPy shipped it, 360 Hz.
pub fn scipy_ecg() -> Option<Held> {
    let mut memory = Held::default();
    memory.add("II", "mV", 360.0, None, column("scipy_ecg_360hz.csv", 1)?);
    Some(memory)
}

/// Twelve leads at 1 kHz.
pub fn s0010() -> Option<Held> {
    let bytes = fs::read(data("s0010_re.dat")?).unwrap();
    let numbers: Vec<i16> =
        bytes.chunks_exact(2).map(|b| i16::from_le_bytes([b[0], b[1]])).collect();
    let leads = ["i", "ii", "iii", "avr", "avl", "avf", "v1", "v2", "v3", "v4", "v5", "v6"];
    let mut memory = Held::default();
    for (signal, label) in leads.into_iter().enumerate() {
        let own = numbers.iter().skip(signal).step_by(12);
        let samples = own.map(|v| f64::from(*v) / 2000.0).collect();
        memory.add(label, "mV", 1000.0, None, samples);
    }
    Some(memory)
}

/// ECG, pressures and pulse at the bedside, 16 s. The ECG has four samples to each of the others.
pub fn record_041() -> Option<Held> {
    let signals = [
        ("III", "mV", 4, 2000.0, 0.0),
        ("I", "mV", 4, 2000.0, 0.0),
        ("V", "mV", 4, 2000.0, 0.0),
        ("ABP", "mmHg", 1, 20.0, -1600.0),
        ("PAP", "mmHg", 1, 80.0, -1600.0),
        ("PLETH", "", 1, 2000.0, 0.0),
        ("RESP", "", 1, 2000.0, 0.0),
    ];
    let mut all = vec![Vec::new(); signals.len()];
    for file in ["041s/041s01.dat", "041s/041s02.dat"] {
        let numbers = twelve_bits(&fs::read(data(file)?).unwrap());
        for frame in numbers.chunks_exact(16) {
            let mut at = 0;
            for (signal, (.., each, gain, zero)) in signals.iter().enumerate() {
                let own = frame[at..at + each].iter();
                all[signal].extend(own.map(|v| (f64::from(*v) - zero) / gain));
                at += each;
            }
        }
    }
    let mut memory = Held::default();
    for ((label, unit, each, ..), samples) in signals.into_iter().zip(all) {
        memory.add(label, unit, 125.0 * each as f64, None, samples);
    }
    Some(memory)
}

/// One of the examples of an open library at 1 kHz: `biosppy_` and its name.
pub fn biosppy(name: &str, label: &str) -> Option<Held> {
    let mut memory = Held::default();
    memory.add(label, "", 1000.0, None, column(&format!("biosppy_{name}.txt"), 0)?);
    Some(memory)
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
