//! When the valves move in each beat, and where the landmarks of its traces lie.

use crate::circulation::{AORTIC, MITRAL, PULMONARY, TRICUSPID, at};
use crate::record::Record;
use crate::schedule::Schedule;
use crate::timing::{ATRIAL_DELAY_S, ECTOPIC_DELAY_S, lv_delay_s};
use crate::turn::{Point, Turn};

/// A valve has begun to open once its leaflets are a twentieth of the way.
const OPENING: f64 = 0.05;
/// It has closed for the blood once they are half way back; they meet some milliseconds later.
const CLOSING: f64 = 0.5;

/// When one side's valves move in one beat. `None` where a beat is too weak to move them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct ValveTimes {
    pub(crate) inlet_closes: Option<f64>,
    /// When the inlet's leaflets have met: what the first sound comes from.
    pub(crate) inlet_met: Option<f64>,
    pub(crate) outlet_opens: Option<f64>,
    pub(crate) outlet_closes: Option<f64>,
    pub(crate) inlet_opens: Option<f64>,
}

/// One ventricular beat of the group.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Beat {
    pub(crate) qrs_s: f64,
    pub(crate) next_qrs_s: f64,
    /// Onset of the left ventricle's contraction.
    pub(crate) contracts_s: f64,
    /// Onset of the atrial contraction before it, if there was one since the last beat.
    pub(crate) atrial_s: Option<f64>,
    /// Onset of the atrial contraction before the next beat, if there is one.
    pub(crate) next_atrial_s: Option<f64>,
    pub(crate) left: ValveTimes,
    pub(crate) right: ValveTimes,
}

/// The landmarks of one beat on an arterial trace.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Pulse {
    pub(crate) foot: Option<Point>,
    pub(crate) peak: Option<Point>,
    pub(crate) notch: Option<Point>,
    pub(crate) dicrotic: Option<Point>,
}

/// The landmarks of one beat on an atrial trace.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct AtrialWaves {
    pub(crate) a: Option<Point>,
    pub(crate) c: Option<Point>,
    pub(crate) x: Option<Point>,
    pub(crate) v: Option<Point>,
    pub(crate) y: Option<Point>,
}

/// The beats of the group, in the order of time.
pub(crate) fn beats(record: &Record, schedule: &Schedule) -> Vec<Beat> {
    let onsets = schedule.with_neighbours();
    let count = schedule.ventricular.len();
    (count..2 * count)
        .map(|index| {
            let (beat, last, next) =
                (onsets[index], onsets[index - 1].qrs_s, onsets[index + 1].qrs_s);
            let late_s = if beat.ectopic { ECTOPIC_DELAY_S } else { 0.0 };
            let contracts_s = beat.qrs_s + late_s + lv_delay_s(beat.rate_bpm);
            let times = |inlet: usize, outlet: usize| {
                let between =
                    Between { last_s: last, qrs_s: beat.qrs_s, contracts_s, next_s: next };
                valve_times(&record.leaflet[inlet], &record.leaflet[outlet], &between)
            };
            Beat {
                qrs_s: beat.qrs_s,
                next_qrs_s: next,
                contracts_s,
                atrial_s: atrial_before(schedule, last, beat.qrs_s),
                next_atrial_s: atrial_before(schedule, beat.qrs_s, next),
                left: times(MITRAL, AORTIC),
                right: times(TRICUSPID, PULMONARY),
            }
        })
        .collect()
}

/// Onset of the last atrial contraction between two beats.
fn atrial_before(schedule: &Schedule, last_s: f64, next_s: f64) -> Option<f64> {
    let turns = [-1.0, 0.0, 1.0].map(|turn| turn * schedule.period_s);
    let onsets = schedule.atrial.iter().flat_map(|a| turns.map(|by| a.p_s + by + ATRIAL_DELAY_S));
    onsets.filter(|&t| t > last_s + 0.15 && t < next_s).reduce(f64::max)
}

/// The beat that valve motions are looked for in, by the onsets around it.
struct Between {
    last_s: f64,
    qrs_s: f64,
    contracts_s: f64,
    next_s: f64,
}

fn valve_times(inlet: &Turn, outlet: &Turn, beat: &Between) -> ValveTimes {
    let next_s = beat.next_s;
    // An outlet that opens later than this was not opened by this beat.
    let opens = outlet.rises_through(OPENING, beat.qrs_s, next_s.min(beat.qrs_s + 0.4));
    let by = opens.unwrap_or(beat.qrs_s + 0.15);
    // In a long pause an inlet drifts shut well before the beat.
    let inlet_closes = inlet.last_falls_through(CLOSING, beat.last_s + 0.25, by);
    let inlet_met = inlet_closes
        .and_then(|t| inlet.falls_through(OPENING, t, t + 0.2))
        // Leaflets that met before are drawn tight only as the ventricle contracts.
        .map(|t| t.max(beat.contracts_s + 0.015));
    let inlet_opens = inlet_met.and_then(|t| inlet.rises_through(OPENING, t.max(by), next_s + 0.1));
    let outlet_closes = opens.and_then(|t| {
        // No ejection lasts longer; a leaky outlet may stir again in diastole.
        let until = inlet_opens.unwrap_or(next_s).min(t + 0.45);
        outlet.last_falls_through(CLOSING, t, until.max(t))
    });
    // Leaflets that only stir have let no blood pass.
    let outlet_opens = opens.filter(|_| outlet_closes.is_some());
    ValveTimes { inlet_closes, inlet_met, outlet_opens, outlet_closes, inlet_opens }
}

/// Every trough of a trace between two times.
fn troughs(trace: &Turn, from_s: f64, to_s: f64) -> Vec<Point> {
    let after = |from_s: f64| trace.first_trough(from_s, to_s);
    let next = |last: &Point| after(last.time_s + 0.005).filter(|next| next.time_s > last.time_s);
    std::iter::successors(after(from_s), next).collect()
}

impl Beat {
    /// The pulse on the artery next to the valve: its notch lies where the valve closes.
    pub(crate) fn central_pulse(&self, trace: &Turn, times: &ValveTimes) -> Pulse {
        let (Some(opens), Some(closes)) = (times.outlet_opens, times.outlet_closes) else {
            return Pulse::default();
        };
        let foot = trace.lowest(opens - 0.06, opens + 0.03);
        let notch = trace.first_trough(closes - 0.02, closes + 0.05);
        let peak = trace.highest(opens, notch.map_or(closes, |n| n.time_s));
        let dicrotic = notch.and_then(|n| {
            trace.first_peak(n.time_s + 0.004, (n.time_s + 0.2).min(self.next_qrs_s))
        });
        Pulse { foot, peak, notch, dicrotic }
    }

    /// The pulse further out: its foot is where the tangent of the steepest rise meets the
    /// level before it (intersecting tangents; common practice, no source).
    pub(crate) fn distant_pulse(&self, trace: &Turn, slope: &Turn) -> Pulse {
        let Some(opens) = self.left.outlet_opens else {
            return Pulse::default();
        };
        let Some(steepest) = slope.highest(opens + 0.02, opens + 0.35) else {
            return Pulse::default();
        };
        let foot = trace.lowest(steepest.time_s - 0.15, steepest.time_s).map(|low| {
            let back_s = (trace.at(steepest.time_s) - low.value) / steepest.value.max(1e-9);
            Point { time_s: steepest.time_s - back_s, value: trace.at(steepest.time_s - back_s) }
        });
        let peak = trace.first_peak(steepest.time_s, steepest.time_s + 0.3);
        let notch = peak.and_then(|p| {
            let troughs = troughs(trace, p.time_s + 0.03, p.time_s + 0.35);
            // The valve's closing arrives as much later than its opening as it takes place. What
            // dips before that are waves reflected while the ventricle still ejects.
            let arrives_s = foot.zip(self.left.outlet_closes);
            let arrives_s =
                arrives_s.map_or(p.time_s, |(foot, closes)| foot.time_s + closes - opens);
            let off = |point: &Point| (point.time_s - arrives_s).abs();
            troughs.into_iter().min_by(|a, b| off(a).total_cmp(&off(b)))
        });
        let dicrotic = notch.and_then(|n| trace.first_peak(n.time_s + 0.01, n.time_s + 0.3));
        Pulse { foot, peak, notch, dicrotic }
    }

    /// The waves and descents of an atrium's pressure.
    pub(crate) fn atrial_waves(&self, trace: &Turn, times: &ValveTimes) -> AtrialWaves {
        let (Some(closes), Some(reopens)) = (times.inlet_closes, times.inlet_opens) else {
            return AtrialWaves::default();
        };
        let met = times.inlet_met.unwrap_or(closes);
        // At a fast rate the a wave rides on the fall of the v wave, as a shoulder.
        let a = self.atrial_s.and_then(|t| {
            let until = met.max(t);
            trace.first_peak(t, until).or_else(|| trace.shoulder(t, until))
        });
        let ejecting = times.outlet_opens.unwrap_or(met + 0.05);
        let after_a = a.map_or(closes - 0.02, |a| a.time_s + 0.03);
        let c = trace.first_peak(after_a, ejecting + 0.12);
        // A fast rate brings the next a wave before the y descent is over.
        let next_a = self.next_atrial_s.unwrap_or(self.next_qrs_s);
        let v = trace.highest(reopens - 0.12, (reopens + 0.05).min(next_a));
        let x_from = c.map_or(a.map_or(closes, |a| a.time_s), |c| c.time_s);
        let x = v.and_then(|v| trace.lowest(x_from, v.time_s - 0.05));
        let y = v.and_then(|v| trace.first_trough(v.time_s + 0.02, next_a.min(reopens + 0.35)));
        AtrialWaves { a, c, x, v, y }
    }

    /// When two thirds of what the beat ejects have left: the end of rapid ejection.
    pub(crate) fn rapid_ejection_ends(&self, record: &Record) -> Option<f64> {
        let (opens, closes) = (self.left.outlet_opens?, self.left.outlet_closes?);
        let volume = &record.volume[at::LV];
        let level = volume.at(opens) + (volume.at(closes) - volume.at(opens)) * 2.0 / 3.0;
        volume.falls_through(level, opens, closes)
    }

    /// Peak of early filling, and when it has fallen to half: the end of rapid filling.
    pub(crate) fn early_filling(&self, record: &Record) -> Option<(Point, f64)> {
        let opens = self.left.inlet_opens?;
        let flow = &record.flow[MITRAL];
        let peak = flow.first_peak(opens, (opens + 0.25).min(self.next_qrs_s))?;
        // Filling that the next atrial contraction overtakes ends with it.
        let until = self.next_atrial_s.unwrap_or(self.next_qrs_s).max(peak.time_s);
        let ends = flow.falls_through(0.5 * peak.value, peak.time_s, until).unwrap_or(until);
        Some((peak, ends))
    }
}
