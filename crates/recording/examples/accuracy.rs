//! How exactly recordings are read: writes `docs/recordings-accuracy.md`.
//!
//! `INCISURA_PYTHON=… cargo run --release -p recording --example accuracy`, with a Python that has
//! wfdb and neurokit2; without it their columns are absent.
#![allow(clippy::print_stdout, clippy::print_stderr, reason = "the page is what it is for")]
#![allow(clippy::unwrap_used, reason = "a fault should stop it")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::time::Instant;

use recording::{Held, Source as _, beats, guess, look};
use serde_json::{Value, json};
use support::errors::{CHANNELS, CONDITIONS, Tallies, Tally, add, count, cycles};
use support::synthetic::{NOISES, Noise, recording, truth};
use support::{
    Score, biosppy, marked_100, mixed_signals, record_041, record_100, s0010, scipy_ecg, score,
};

const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/recordings-accuracy.md");
const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/compare.py");
const DBS: [f64; 5] = [40.0, 30.0, 20.0, 10.0, 5.0];
/// Twice the standard deviation between referees, ms (CSE working party, Eur Heart J
/// 1985;6:815–825; from memory).
const REFEREES: [(&str, f64); 5] =
    [("p_onset", 10.2), ("p_end", 12.7), ("qrs_onset", 6.5), ("qrs_end", 11.6), ("t_end", 30.6)];

/// One signal that all detectors read.
struct Case {
    name: String,
    kind: &'static str,
    only_r: bool,
    signal: usize,
    memory: Held,
    truth: Option<Vec<f64>>,
    /// The truths of waves, of a computed heart.
    waves: BTreeMap<&'static str, Vec<f64>>,
}

impl Case {
    fn new(name: &str, kind: &'static str, signal: usize, memory: Held) -> Self {
        let (name, truth, waves) = (name.to_owned(), None, BTreeMap::new());
        Self { name, kind, only_r: true, signal, memory, truth, waves }
    }

    /// The signal alone.
    fn alone(&self) -> (Held, f64) {
        let mut source = self.memory.clone();
        let signal = source.signals()[self.signal].clone();
        let mut samples = Vec::new();
        source.read(self.signal, 0, signal.samples as usize, &mut samples).unwrap();
        // Not all detectors know gaps: as `recording` does, they get the value before.
        let mut last = samples.iter().copied().find(|value| value.is_finite()).unwrap_or(0.0);
        for value in &mut samples {
            last = if value.is_finite() { *value } else { last };
            *value = last;
        }
        let mut alone = Held::default();
        alone.add(&signal.label, &signal.unit, signal.rate_hz, signal.range, samples);
        (alone, signal.rate_hz)
    }
}

/// What one detector found of one case.
#[derive(Default)]
struct Found {
    times: BTreeMap<String, Vec<f64>>,
    seconds: f64,
    error: String,
}

fn cases() -> Vec<Case> {
    let mut all = Vec::new();
    if let (Some(memory), Some(truth)) = (record_100(), marked_100()) {
        all.push(Case {
            truth: Some(truth),
            only_r: false,
            ..Case::new("100 MLII", "ecg", 0, memory)
        });
    }
    all.extend(scipy_ecg().map(|memory| Case::new("208 II (5 min)", "ecg", 0, memory)));
    all.extend(s0010().map(|memory| Case::new("s0010_re I", "ecg", 0, memory)));
    all.extend(biosppy("ecg", "ECG").map(|memory| Case::new("biosppy ECG", "ecg", 0, memory)));
    all.extend(record_041().map(|memory| Case::new("041s III", "ecg", 0, memory)));
    all.extend(record_041().map(|memory| Case::new("041s ABP", "pressure", 3, memory)));
    for (name, kind, signal) in [
        ("mixedsignals II", "ecg", 0),
        ("mixedsignals ABP", "pressure", 3),
        ("mixedsignals Pleth", "pulse", 4),
    ] {
        all.extend(mixed_signals().map(|memory| Case::new(name, kind, signal, memory)));
    }
    all.extend(biosppy("pcg", "PCG").map(|memory| Case::new("biosppy PCG", "sounds", 0, memory)));
    all.extend(biosppy("ppg", "PPG").map(|memory| Case::new("biosppy PPG", "pulse", 0, memory)));
    all.extend([None, Some(20.0), Some(10.0), Some(5.0)].map(synthetic));
    all
}

/// Ten minutes of a computed heart at rest with all noises.
fn synthetic(db: Option<f64>) -> Case {
    let heart = heart::condition("rest").unwrap().heart;
    let cycle = heart::simulate(&heart, 5).unwrap();
    let turns = 150;
    let added = db.map(|db| (Noise::All, db));
    let memory = recording(&cycle, &CHANNELS[..1], turns, added, 11);
    let name = db.map_or("computed, clean".to_owned(), |db| format!("computed, {db:.0} dB"));
    let of = |name: &'static str| (name, truth(&cycle, name, "ecg", turns));
    let names = ["p_onset", "p_peak", "p_end", "qrs_onset", "qrs_end", "t_peak", "t_end"];
    Case {
        truth: Some(truth(&cycle, "r_peak", "ecg", turns)),
        waves: names.map(of).into_iter().collect(),
        only_r: false,
        ..Case::new(&name, "ecg", 0, memory)
    }
}

/// What this project finds, with the time of everything: beats, waves and qualities.
fn ours(case: &Case) -> Found {
    let (mut memory, _) = case.alone();
    let start = Instant::now();
    let mut named = guess(memory.signals());
    look(&mut memory, &mut named, false).unwrap();
    let found = beats(&mut memory, &named).unwrap();
    let seconds = start.elapsed().as_secs_f64();
    let mut times: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for beat in &found {
        for mark in &beat.marks {
            times.entry(mark.name.to_owned()).or_default().push(mark.time_s);
        }
    }
    let main = match case.kind {
        "ecg" | "sounds" => found.iter().map(|beat| beat.anchor_s).collect(),
        "pulse" => times.get("systolic_peak").cloned().unwrap_or_default(),
        _ => times.get("pressure_foot").cloned().unwrap_or_default(),
    };
    times.insert(String::new(), main);
    Found { times, seconds, error: String::new() }
}

/// Beats alone, as the libraries find them; the shortest of three times.
fn beats_alone(case: &Case) -> Found {
    let (mut memory, rate_hz) = case.alone();
    let mut samples = Vec::new();
    memory.read(0, 0, usize::MAX, &mut samples).unwrap();
    let mut found = Found { seconds: f64::INFINITY, ..Found::default() };
    for _ in 0..3 {
        let start = Instant::now();
        let peaks = landmarks::recorded::BeatPeaks::default().find(&samples, rate_hz, None);
        found.seconds = found.seconds.min(start.elapsed().as_secs_f64());
        found.times.insert(String::new(), peaks.iter().map(|peak| peak.place / rate_hz).collect());
    }
    found
}

/// What the libraries find of all cases, by case and library.
fn theirs(cases: &[Case]) -> BTreeMap<String, BTreeMap<String, Found>> {
    let Some(python) = std::env::var_os("INCISURA_PYTHON") else {
        eprintln!("INCISURA_PYTHON is not set: no comparison with wfdb and neurokit2");
        return BTreeMap::new();
    };
    let folder = std::env::temp_dir().join(format!("incisura-accuracy-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let listed: Vec<Value> = cases
        .iter()
        .enumerate()
        .map(|(index, case)| {
            let (mut memory, rate_hz) = case.alone();
            let mut samples = Vec::new();
            memory.read(0, 0, usize::MAX, &mut samples).unwrap();
            let file = folder.join(format!("{index}.f64"));
            let bytes: Vec<u8> = samples.iter().flat_map(|v| v.to_le_bytes()).collect();
            std::fs::write(&file, bytes).unwrap();
            let rate = if rate_hz.fract() == 0.0 { json!(rate_hz as u64) } else { json!(rate_hz) };
            json!({"name": case.name, "kind": case.kind, "rate_hz": rate, "file": file, "only_r": case.only_r})
        })
        .collect();
    let mut child = Command::new(python)
        .arg(SCRIPT)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(json!(listed).to_string().as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "compare.py failed");
    std::fs::remove_dir_all(&folder).unwrap();
    let answers: BTreeMap<String, BTreeMap<String, Value>> =
        serde_json::from_slice(&output.stdout).unwrap();
    let found = |value: Value| Found {
        times: serde_json::from_value(value["found"].clone()).unwrap(),
        seconds: value["seconds"].as_f64().unwrap(),
        error: value["error"].as_str().unwrap_or_default().to_owned(),
    };
    let each = |all: BTreeMap<String, Value>| all.into_iter().map(|(k, v)| (k, found(v))).collect();
    answers.into_iter().map(|(name, all)| (name, each(all))).collect()
}

/// Beats that at least two detectors have within 75 ms, at the mean of their times.
fn agreed(all: &[&Vec<f64>]) -> Vec<f64> {
    let mut times: Vec<(f64, usize)> = all
        .iter()
        .enumerate()
        .flat_map(|(who, times)| times.iter().map(move |t| (*t, who)))
        .collect();
    times.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut beats = Vec::new();
    let mut at = 0;
    while at < times.len() {
        let near = times[at..].iter().take_while(|t| t.0 - times[at].0 <= 0.075).count();
        let group = &times[at..at + near];
        let mut who: Vec<usize> = group.iter().map(|t| t.1).collect();
        who.sort_unstable();
        who.dedup();
        if who.len() >= 2 {
            beats.push(group.iter().map(|t| t.0).sum::<f64>() / near as f64);
        }
        at += near;
    }
    beats
}

fn line(page: &mut String, name: &str, who: &str, found: &Found, score: &Score, unit_s: f64) {
    let Score { sensitivity, predictive, mean_ms, sd_ms, .. } = score;
    let ratio = found.seconds / unit_s;
    writeln!(
        page,
        "| {name} | {who} | {} | {sensitivity:.2} | {predictive:.2} | {mean_ms:.1} | {sd_ms:.1} | {:.3} | {ratio:.1} |",
        score.found, found.seconds
    )
    .unwrap();
}

fn beats_table(
    page: &mut String,
    cases: &[Case],
    theirs: &BTreeMap<String, BTreeMap<String, Found>>,
) {
    page.push_str("| recording | found by | beats | Se % | PPV % | mean error ms | SD ms | time s | times ours alone |\n|---|---|--:|--:|--:|--:|--:|--:|--:|\n");
    let none = BTreeMap::new();
    for case in cases {
        let own = ours(case);
        let others = theirs.get(&case.name).unwrap_or(&none);
        let beats = |found: &Found| found.times.get("").cloned().unwrap_or_default();
        let alone = beats_alone(case);
        let mut all = vec![("this project", &own)];
        all.extend(
            others.iter().filter(|o| o.0 != "neurokit2 waves").map(|(n, f)| (n.as_str(), f)),
        );
        let lists: Vec<Vec<f64>> = all.iter().map(|(_, found)| beats(found)).collect();
        let lists: Vec<&Vec<f64>> = lists.iter().collect();
        // Of two, the other one is the reference.
        let truth = match (&case.truth, lists.len()) {
            (Some(truth), _) => truth.clone(),
            (None, 2) => lists[1].clone(),
            (None, _) => agreed(&lists),
        };
        if case.kind == "ecg" {
            let score = score(&beats(&alone), &truth, 0.15);
            line(page, &case.name, "this project, beats alone", &alone, &score, alone.seconds);
        }
        for ((who, found), list) in all.iter().zip(&lists) {
            if !found.error.is_empty() {
                writeln!(
                    page,
                    "| {} | {who} | failed: {} | | | | | {:.3} | |",
                    case.name, found.error, found.seconds
                )
                .unwrap();
                continue;
            }
            let score = score(list, &truth, 0.15);
            let unit_s = if case.kind == "ecg" { alone.seconds } else { own.seconds };
            line(page, &case.name, who, found, &score, unit_s);
        }
    }
}

/// Errors of waves, ours and neurokit2's, on the computed ECG.
fn waves_table(
    page: &mut String,
    cases: &[Case],
    theirs: &BTreeMap<String, BTreeMap<String, Found>>,
) {
    page.push_str("| recording | landmark | ours: found %, mean, 2 SD ms | neurokit2 (dwt): found %, mean, 2 SD ms |\n|---|---|---|---|\n");
    for case in cases.iter().filter(|case| !case.waves.is_empty()) {
        let own = ours(case);
        let other = theirs.get(&case.name).and_then(|all| all.get("neurokit2 waves"));
        for (name, truth) in &case.waves {
            let cell = |found: Option<&Found>| {
                let Some(times) = found.and_then(|found| found.times.get(*name)) else {
                    return "–".to_owned();
                };
                let mut tally = Tally { truths: truth.len(), ..Tally::default() };
                count(&mut tally, times, truth, f64::INFINITY);
                format!("{:.1}, {:.1}, {:.1}", tally.found(), tally.mean(), tally.twice_sd())
            };
            writeln!(page, "| {} | `{name}` | {} | {} |", case.name, cell(Some(&own)), cell(other))
                .unwrap();
        }
        if let Some(other) = other {
            writeln!(
                page,
                "| {} | time | {:.3} s | {:.3} s, {:.0} times ours |",
                case.name,
                own.seconds,
                other.seconds,
                other.seconds / own.seconds
            )
            .unwrap();
        }
    }
}

/// Errors over the SNR, all conditions together.
fn noise_tables(page: &mut String) {
    let cycles = cycles();
    let tallies = |added: Option<(Noise, f64)>| {
        let mut tallies = Tallies::default();
        for (index, cycle) in cycles.iter().enumerate() {
            let (start, end) = cycle.span_s().unwrap();
            let turns = (60.0 / (end - start)).ceil() as usize;
            add(&mut tallies, cycle, turns, added, 7 + index as u64);
        }
        tallies
    };
    let clean = tallies(None);
    for noise in NOISES {
        writeln!(page, "\n### {noise:?}\n").unwrap();
        page.push_str("| channel | landmark | CSE | clean | 40 dB | 30 dB | 20 dB | 10 dB | 5 dB |\n|---|---|--:|---|---|---|---|---|---|\n");
        let noisy: Vec<Tallies> = DBS.iter().map(|db| tallies(Some((noise, *db)))).collect();
        for (key, first) in &clean {
            let cell = |tally: &Tally| {
                format!("{:.0}; {:.1} ± {:.1}", tally.found(), tally.mean(), tally.twice_sd())
            };
            let limit = REFEREES.iter().find(|row| key.0 == "ecg" && row.0 == key.1);
            let limit = limit.map_or(String::new(), |row| format!("{:.1}", row.1));
            let cells: Vec<String> = noisy.iter().map(|all| cell(&all[key])).collect();
            writeln!(
                page,
                "| {} | `{}` | {limit} | {} | {} |",
                key.0,
                key.1,
                cell(first),
                cells.join(" | ")
            )
            .unwrap();
        }
    }
}

fn main() {
    let cases = cases();
    let theirs = theirs(&cases);
    let mut page = String::from(include_str!("accuracy_head.md"));
    beats_table(&mut page, &cases, &theirs);
    page.push_str(include_str!("accuracy_waves.md"));
    waves_table(&mut page, &cases, &theirs);
    let conditions = CONDITIONS.map(|name| name.replace('_', " ")).join(", ");
    page.push_str(&include_str!("accuracy_noise.md").replace("{conditions}", &conditions));
    noise_tables(&mut page);
    std::fs::write(PAGE, &page).unwrap();
    println!("{page}");
}
