//! Goes over an open recording as the program does: nothing may panic, and pieces are parts of a whole.

use recording::{Asked, Memory, Recording, Source};

/// So many signals and samples of each are read.
const SIGNALS: usize = 3;
const SAMPLES: usize = 1_000;

/// The files of a WFDB record that one input holds, the header first; and what stands between them.
pub const FILES: [&str; 6] = ["r.hea", "r.dat", "r.atr", "s.hea", "s.dat", "t.hea"];
const MARK: &[u8] = b"\xff\n\xff";

/// The parts of an input.
pub fn divided(data: &[u8]) -> impl Iterator<Item = &[u8]> {
    let mut rest = Some(data);
    std::iter::from_fn(move || {
        let all = rest?;
        let at = all.windows(MARK.len()).position(|window| window == MARK);
        rest = at.map(|at| &all[at + MARK.len()..]);
        Some(at.map_or(all, |at| &all[..at]))
    })
}

/// An input made of files.
pub fn joined(files: &[Vec<u8>]) -> Vec<u8> {
    files.join(MARK)
}

/// Opens files in memory and reads what can be read.
pub fn open(files: Memory, name: &str, how: &Asked) {
    match Recording::open_in(Box::new(files), name, how) {
        Ok(mut recording) => go_over(&mut recording),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

fn go_over(recording: &mut Recording) {
    assert!(recording.remarks.iter().all(|remark| !remark.text.is_empty()));
    assert!(recording.annotations.iter().all(|one| one.time_s.is_finite()));
    for signal in 0..recording.signals().len().min(SIGNALS) {
        let told = recording.signals()[signal].clone();
        assert!(told.rate_hz.is_finite() && told.rate_hz > 0.0);
        assert!(told.range.is_none_or(|[low, high]| low <= high));
        let Some(start) = read(recording, signal, 0, SAMPLES) else { continue };
        assert_eq!(start.len() as u64, told.samples.min(SAMPLES as u64));
        for (from, count) in [(1, 7), (start.len() / 3, 100), (start.len() / 2, SAMPLES)] {
            let Some(piece) = read(recording, signal, from as u64, count) else { continue };
            let equal = |(one, other): (&f64, &f64)| one.to_bits() == other.to_bits();
            assert!(start.iter().skip(from).zip(&piece).all(equal), "a piece differs");
        }
        let end = told.samples.saturating_sub(50);
        if let Some(piece) = read(recording, signal, end, SAMPLES) {
            assert_eq!(piece.len() as u64, told.samples - end);
        }
        assert_eq!(read(recording, signal, u64::MAX, usize::MAX), Some(Vec::new()));
    }
}

fn read(recording: &mut Recording, signal: usize, from: u64, count: usize) -> Option<Vec<f64>> {
    let mut samples = Vec::new();
    match recording.read(signal, from, count, &mut samples) {
        Ok(()) => Some(samples),
        Err(error) => {
            assert!(samples.is_empty() && !error.to_string().is_empty());
            None
        }
    }
}
