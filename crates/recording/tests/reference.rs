//! Every value beside what general-purpose libraries read: `wfdb`, `pyedflib`, SciPy and NumPy, on the recordings
//! in `shared/data` and on those that the libraries write from a seed (`reference.py`).
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]
#![allow(clippy::print_stdout, reason = "what was skipped and compared is worth knowing")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use cycle::Random;
use recording::{Asked, Recording, Source};
use serde_json::Value;

const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/data");
const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference.py");
/// The same formula in another order differs by a few units in the last of 53 bits.
const ROUNDING: f64 = 1e-14;

/// What the libraries wrote and read; none without them.
fn reference() -> Option<&'static (PathBuf, Vec<Value>)> {
    static REFERENCE: OnceLock<Option<(PathBuf, Vec<Value>)>> = OnceLock::new();
    REFERENCE.get_or_init(run_libraries).as_ref()
}

fn run_libraries() -> Option<(PathBuf, Vec<Value>)> {
    let Some(python) = std::env::var_os("INCISURA_PYTHON") else {
        println!(
            "skipped: set INCISURA_PYTHON to a Python with wfdb, pyedflib and SciPy; `cargo xtask test` does"
        );
        return None;
    };
    if !Path::new(DATA).is_dir() {
        println!("{DATA} is absent; only what the libraries write is compared");
    }
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("reference");
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    let data = fs::canonicalize(DATA).unwrap_or_default();
    let done = Command::new(python).arg(SCRIPT).arg(&folder).arg(data).status().unwrap();
    assert!(done.success(), "the libraries failed");
    let cases = serde_json::from_slice(&fs::read(folder.join("reference.json")).unwrap()).unwrap();
    Some((folder, cases))
}

fn opened(case: &Value) -> Recording {
    let path = case["path"].as_str().unwrap();
    Recording::open(Path::new(path), &Asked::default())
        .unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// All samples of a signal.
fn whole(recording: &mut Recording, signal: usize) -> Vec<f64> {
    let mut samples = Vec::new();
    recording.read(signal, 0, usize::MAX, &mut samples).unwrap();
    samples
}

fn same(ours: f64, theirs: f64, scale: f64) -> bool {
    (ours.is_nan() && theirs.is_nan()) || (ours - theirs).abs() <= ROUNDING * scale
}

#[test]
fn every_sample_is_what_the_libraries_read() {
    let Some((folder, cases)) = reference() else { return };
    let (mut compared, mut files) = (0, 0);
    for case in cases {
        let name = case["name"].as_str().unwrap();
        let mut recording = opened(case);
        let signals = case["signals"].as_array().unwrap();
        assert_eq!(recording.signals().len(), signals.len(), "{name}");
        for (index, told) in signals.iter().enumerate() {
            let signal = recording.signals()[index].clone();
            assert_eq!(signal.label, told["label"].as_str().unwrap(), "{name}");
            assert_eq!(signal.unit, told["unit"].as_str().unwrap(), "{name}");
            assert_eq!(signal.rate_hz, told["rate_hz"].as_f64().unwrap(), "{name}");
            let bytes = fs::read(folder.join(told["values"].as_str().unwrap())).unwrap();
            let eights =
                bytes.chunks_exact(8).map(|eight| f64::from_le_bytes(eight.try_into().unwrap()));
            let theirs: Vec<f64> = eights.collect();
            let ours = whole(&mut recording, index);
            assert_eq!((ours.len(), signal.samples), (theirs.len(), theirs.len() as u64), "{name}");
            let scale = theirs
                .iter()
                .filter(|value| value.is_finite())
                .fold(0.0, |most: f64, value| most.max(value.abs()));
            let differs = (0..ours.len()).find(|&at| !same(ours[at], theirs[at], scale));
            let values = differs.map(|at| (at, ours[at], theirs[at]));
            assert_eq!(values, None, "{name}, {}: at, ours, theirs", signal.label);
            compared += ours.len();
        }
        files += 1;
    }
    println!("{compared} samples of {files} recordings are the same");
    assert!(files >= 30);
}

#[test]
fn every_annotation_is_what_the_libraries_read() {
    let Some((_, cases)) = reference() else { return };
    let mut compared = 0;
    for case in cases {
        let Some(theirs) = case["annotations"].as_array() else { continue };
        let name = case["name"].as_str().unwrap();
        let recording = opened(case);
        assert_eq!(recording.annotations.len(), theirs.len(), "{name}");
        let mut theirs: Vec<_> = theirs
            .iter()
            .map(|one| {
                let number = |at: usize| one[at].as_f64().unwrap();
                (
                    number(0),
                    number(1),
                    one[2].as_str().unwrap().to_owned(),
                    [3, 4, 5].map(|at| number(at) as i64),
                )
            })
            .collect();
        theirs.sort_by(|one, other| one.0.total_cmp(&other.0));
        for (ours, (time_s, duration_s, text, marking)) in recording.annotations.iter().zip(theirs)
        {
            assert!((ours.time_s - time_s).abs() < 1e-9, "{name}: {ours:?} at {time_s}");
            assert!((ours.duration_s - duration_s).abs() < 1e-9, "{name}: {ours:?}");
            assert_eq!(ours.text, text, "{name}, {time_s} s");
            let numbers = ours.marking.map_or([0; 3], |one| {
                [i64::from(one.subtype), i64::from(one.channel), i64::from(one.number)]
            });
            assert_eq!(numbers, marking, "{name}, {time_s} s");
            compared += 1;
        }
    }
    println!("{compared} annotations are the same");
    assert!(compared >= 200);
}

#[test]
fn pieces_are_the_whole() {
    let Some((_, cases)) = reference() else { return };
    let mut random = Random::new(6);
    for case in cases {
        let mut recording = opened(case);
        for signal in 0..recording.signals().len() {
            let all = whole(&mut recording, signal);
            for _ in 0..20 {
                let from = random.below(all.len());
                let count = random.below(700);
                let mut piece = vec![7.0];
                recording.read(signal, from as u64, count, &mut piece).unwrap();
                let expected = &all[from..all.len().min(from + count)];
                assert_eq!(piece[0], 7.0);
                let equal = piece[1..]
                    .iter()
                    .zip(expected)
                    .all(|(one, other)| one.to_bits() == other.to_bits());
                assert!(
                    equal && piece.len() - 1 == expected.len(),
                    "{} from {from}, {count}",
                    case["name"]
                );
            }
        }
    }
}

/// What the project's list of reference values says of record 100 (row 9.34).
#[test]
fn record_100_begins_as_published() {
    let path = Path::new(DATA).join("100.hea");
    if !path.is_file() {
        println!("skipped: {} is absent", path.display());
        return;
    }
    let mut recording = Recording::open(&path, &Asked::default()).unwrap();
    let first: Vec<f64> = (0..2).map(|signal| whole(&mut recording, signal)[0]).collect();
    assert_eq!(first, [-0.145, -0.065]);
    let told: Vec<_> = recording
        .signals()
        .iter()
        .map(|one| (one.label.as_str(), one.unit.as_str(), one.rate_hz, one.samples, one.range))
        .collect();
    // 11 bits around 1024 at 200 steps per mV.
    let range = Some([-5.12, 5.115]);
    assert_eq!(told, [("MLII", "mV", 360.0, 650_000, range), ("V5", "mV", 360.0, 650_000, range)]);
    // Checksums −22131 and 20052 are compared when it is opened; so are first values.
    assert_eq!(recording.remarks, []);
    // Beats and one rhythm label, as the database's own documentation counts them (from memory: 2273 beats).
    assert_eq!(recording.annotations.len(), 2274);
    assert_eq!(recording.annotations[0].text, "+ (N");
}

/// What is odd about the real recordings is told, and nothing else.
#[test]
fn what_is_odd_is_told() {
    if !Path::new(DATA).is_dir() {
        println!("skipped: {DATA} is absent");
        return;
    }
    let remarks = |name: &str| {
        let recording = Recording::open(&Path::new(DATA).join(name), &Asked::default()).unwrap();
        recording.remarks.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    let missing = remarks("s0010_re.hea");
    assert_eq!(missing.len(), 1, "{missing:?}");
    assert!(
        missing[0].starts_with(
            "s0010_re.hea, line 14: left out: vx, vy, vz (s0010_re.xyz: there is no such file"
        ),
        "{missing:?}"
    );
    assert_eq!(remarks("mixedsignals"), [""; 0]);
    assert_eq!(remarks("heart_sounds_1.wav"), [""; 0]);
    let table = remarks("scipy_ecg_360hz.csv");
    assert!(
        table.contains(
            &"scipy_ecg_360hz.csv: 360 samples a second, from the time column".to_owned()
        ),
        "{table:?}"
    );
    assert_eq!(remarks("041s/041s.hea"), [""; 0]);
    let sounds = remarks("biosppy_pcg.txt");
    let rate = "biosppy_pcg.txt: 1000 samples a second, from the text before the table";
    assert!(sounds.len() == 2 && sounds[1] == rate, "{sounds:?}");
}
