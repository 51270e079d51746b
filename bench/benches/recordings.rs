//! Real recordings: how long half an hour and a day take, and how much memory.
#![allow(clippy::print_stdout, reason = "what is measured is printed")]

use divan::Bencher;
use recording::{Held, Named, ReadError, Signal, Source, beats, landmark};

/// A heart's beat at rest that is repeated without end, with a grain, on two leads at 360 Hz.
struct Endless {
    signals: Vec<Signal>,
    beat: Vec<f64>,
}

impl Endless {
    fn new(seconds: f64) -> Self {
        let rate_hz = 360.0;
        let cycle =
            heart::simulate(&heart::Heart::default(), 1).expect("the resting heart settles");
        let ecg = cycle.trace("ecg").expect("a heart has an ECG");
        let count = (0.8 * rate_hz) as usize;
        let beat = (0..count).map(|i| ecg.at(ecg.start_s + i as f64 / rate_hz).unwrap_or_default());
        let signal = |label: &str| Signal {
            label: label.to_owned(),
            unit: "mV".to_owned(),
            rate_hz,
            samples: (seconds * rate_hz) as u64,
            range: None,
        };
        Self { signals: vec![signal("II"), signal("V5")], beat: beat.collect() }
    }

    /// Noise that depends on the place alone: some 0.02 mV.
    fn grain(at: u64) -> f64 {
        let mixed = at.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        0.07 * ((mixed >> 40) as f64 / (1u64 << 24) as f64 - 0.5)
    }
}

impl Source for Endless {
    fn signals(&self) -> &[Signal] {
        &self.signals
    }

    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        let last = self.signals[signal].samples.min(from.saturating_add(count as u64));
        let scale = 1.0 - 0.3 * signal as f64;
        let length = self.beat.len() as u64;
        let value = |at: u64| scale * self.beat[(at % length) as usize] + Self::grain(at);
        into.extend((from..last).map(value));
        Ok(())
    }
}

fn named() -> Vec<Named> {
    vec![Named::new(0, "ecg"), Named::new(1, "ecg_v5")]
}

fn main() {
    a_day();
    divan::main();
}

/// 24 hours through the source, and the most memory that the program had before and after.
fn a_day() {
    let before = most_memory_mb();
    let mut source = Endless::new(86_400.0);
    let start = std::time::Instant::now();
    let (mut count, mut marks) = (0u64, 0u64);
    let told = landmark(&mut source, &named(), &mut |beat| {
        count += 1;
        marks += beat.marks.len() as u64;
    });
    told.expect("memory can be read");
    println!(
        "24 hours, two leads: {count} beats, {marks} landmarks in {:.1} s; most memory {:.1} MB, before {before:.1} MB",
        start.elapsed().as_secs_f64(),
        most_memory_mb()
    );
}

/// The most memory that the program has had, where the system tells it; else 0.
fn most_memory_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let number = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    number.unwrap_or_default() / 1024.0
}

/// Half an hour of two leads in memory: beats, waves and qualities; the aim is 0.3 s on two cores.
#[divan::bench]
fn half_an_hour_of_two_leads(bencher: Bencher) {
    let mut endless = Endless::new(1800.0);
    let mut memory = Held::default();
    for signal in 0..2 {
        let mut samples = Vec::new();
        endless.read(signal, 0, usize::MAX, &mut samples).expect("memory can be read");
        memory.add(&endless.signals[signal].label, "mV", 360.0, None, samples);
    }
    let named = named();
    bencher.bench_local(|| beats(&mut memory, &named).expect("memory can be read").len());
}
