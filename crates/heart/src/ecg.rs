//! Lead II, drawn from the rhythm's own timing.
//!
//! Each wave runs from knot to knot along half cosines, so that onsets, peaks and ends lie
//! exactly where the landmarks say. Amplitudes are a resting adult's (P 0.1–0.2, T 0.2–0.4 mV
//! in lead II; from memory).

use cycle::Landmark;

use crate::schedule::{AtrialBeat, Schedule, VentricularBeat};
use crate::timing::{ECTOPIC_QRS_S, QRS_S, T_PEAK_SHARE, qt_s};
use crate::turn::Turn;

/// A wave's turning points: name, time after the beat's onset, mV.
type Knots = Vec<(&'static str, f64, f64)>;

/// From the peak to the end of T; 85 ± 11 ms (Rautaharju et al. 2013).
const T_PEAK_TO_END_S: f64 = 0.085;
/// Longest rise of T before its peak (from memory).
const T_RISE_S: f64 = 0.16;

/// The QRS complex and T wave of one beat.
fn ventricular(beat: &VentricularBeat) -> Knots {
    let qt_s = qt_s(beat.rate_bpm);
    let qrs_s = if beat.ectopic { ECTOPIC_QRS_S } else { QRS_S };
    let end_s = if beat.ectopic { qt_s + ECTOPIC_QRS_S - QRS_S } else { qt_s };
    // Fast rates leave T less room; its peak keeps its share of QT.
    let peak_s = (end_s - T_PEAK_TO_END_S).max(T_PEAK_SHARE * end_s);
    let onset_s = (peak_s - T_RISE_S).max(qrs_s + 0.1 * (peak_s - qrs_s));
    let mut knots = if beat.ectopic {
        vec![
            ("qrs_onset", 0.0, 0.0),
            ("r_peak", 0.060, 1.5),
            ("s_peak", 0.115, -0.35),
            ("qrs_end", qrs_s, -0.08),
        ]
    } else {
        vec![
            ("qrs_onset", 0.0, 0.0),
            ("q_peak", 0.015, -0.12),
            ("r_peak", 0.040, 1.15),
            ("s_peak", 0.064, -0.22),
            ("qrs_end", qrs_s, 0.0),
        ]
    };
    let (start_mv, peak_mv) = if beat.ectopic { (-0.08, -0.45) } else { (0.0, 0.30) };
    knots.extend([
        ("t_onset", onset_s, start_mv),
        ("t_peak", peak_s, peak_mv),
        ("t_end", end_s, 0.0),
    ]);
    knots
}

/// The P wave of one atrial beat.
fn atrial(beat: &AtrialBeat) -> Knots {
    vec![
        ("p_onset", 0.0, 0.0),
        ("p_peak", 0.5 * beat.duration_s, 0.15),
        ("p_end", beat.duration_s, 0.0),
    ]
}

/// Height of a wave `t_s` after its onset.
fn height(knots: &Knots, t_s: f64) -> f64 {
    let after = |&(_, at_s, _): &(&str, f64, f64)| at_s <= t_s;
    let next = knots.partition_point(after);
    if next == 0 || next == knots.len() {
        return 0.0;
    }
    let ((_, t0, y0), (_, t1, y1)) = (knots[next - 1], knots[next]);
    y0 + (y1 - y0) * 0.5 * (1.0 - libm::cos(std::f64::consts::PI * (t_s - t0) / (t1 - t0)))
}

/// The ECG at `count` equal parts of the period, mV.
pub(crate) fn trace(schedule: &Schedule, count: usize) -> Turn {
    let period_s = schedule.period_s;
    let baseline = |index: usize| {
        if schedule.fibrillation {
            fibrillation(index as f64 / count as f64, period_s)
        } else {
            0.0
        }
    };
    let samples = (0..count).map(baseline).collect();
    let mut sum = Turn { samples, step_s: period_s / count as f64 };
    let waves = (schedule.ventricular.iter().map(|beat| (beat.qrs_s, ventricular(beat))))
        .chain(schedule.atrial.iter().map(|beat| (beat.p_s, atrial(beat))));
    for (onset_s, knots) in waves {
        let lasts_s = knots.last().map_or(0.0, |knot| knot.1);
        sum.add(onset_s, lasts_s, |since_s| height(&knots, since_s));
    }
    sum
}

/// The restless baseline of fibrillating atria: 4 to 9 waves a second (textbook, from memory),
/// whole numbers of them in the period, so that it repeats.
fn fibrillation(turn: f64, period_s: f64) -> f64 {
    [(5.1, 0.030, 0.0), (6.3, 0.035, 1.9), (7.7, 0.020, 4.1)].into_iter().fold(
        0.0,
        |sum, (hz, mv, phase)| {
            let waves: f64 = (hz * period_s).round();
            sum + mv * libm::sin(2.0 * std::f64::consts::PI * waves * turn + phase)
        },
    )
}

/// The landmarks of all waves, in the order of time; times may run past the period.
pub(crate) fn landmarks(schedule: &Schedule) -> Vec<Landmark> {
    let place = |onset_s: f64, knots: Knots| {
        knots.into_iter().map(move |(name, t_s, mv)| Landmark {
            name: name.to_owned(),
            channel: "ecg".to_owned(),
            time_s: onset_s + t_s,
            value: mv,
        })
    };
    let p_waves = schedule
        .atrial
        .iter()
        .filter(|beat| !beat.hidden)
        .flat_map(|beat| place(beat.p_s, atrial(beat)));
    let others = schedule.ventricular.iter().flat_map(|beat| place(beat.qrs_s, ventricular(beat)));
    p_waves.chain(others).collect()
}
