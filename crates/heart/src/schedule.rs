//! When each atrial and ventricular beat of a rhythm comes.
//!
//! Every rhythm is a group of beats that repeats, so that a steady state exists for all of
//! them: one beat in sinus rhythm, a whole run of irregular beats in atrial fibrillation.

use crate::timing::qt_s;
use crate::{Heart, Rhythm};

/// Where the cycle begins: this long before the first P wave, or earlier where a fast rate has the
/// second sound of the beat before begin there.
pub(crate) const LEAD_IN_S: f64 = 0.04;
/// The second sound begins about this long after the T wave ends, at fast rates in this model.
const S2_AFTER_T_S: f64 = 0.015;
/// How near to the cycle's end and beginning the second sound may begin: nearer, it could hardly
/// be seen as one, and its names would have no room.
const S2_TO_END_S: f64 = 0.02;
const S2_FROM_START_S: f64 = 0.045;

/// One activation of the ventricles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct VentricularBeat {
    /// Onset of the QRS complex.
    pub(crate) qrs_s: f64,
    /// The rate that its duration follows, beats a minute.
    pub(crate) rate_bpm: f64,
    /// Started in the ventricles, so that it spreads slowly.
    pub(crate) ectopic: bool,
}

/// One activation of the atria.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct AtrialBeat {
    /// Onset of the P wave.
    pub(crate) p_s: f64,
    /// Length of the P wave.
    pub(crate) duration_s: f64,
    /// Hidden in another wave, so that its landmarks are not given.
    pub(crate) hidden: bool,
}

/// A group of beats that repeats.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Schedule {
    pub(crate) period_s: f64,
    pub(crate) ventricular: Vec<VentricularBeat>,
    pub(crate) atrial: Vec<AtrialBeat>,
    /// Length of a breath; it divides the period.
    pub(crate) breath_s: Option<f64>,
    /// The atria fibrillate: no P waves, a restless baseline.
    pub(crate) fibrillation: bool,
}

/// How many beats show the rhythm: one where all are alike, else the whole group.
pub fn natural_beats(heart: &Heart) -> usize {
    Schedule::new(heart).ventricular.len()
}

impl Schedule {
    pub(crate) fn new(heart: &Heart) -> Self {
        let p = &heart.parameters;
        let cycle_s = 60.0 / p.rate_bpm;
        let pr_s = p.pr_interval_ms / 1000.0;
        let mut group = Group { pr_s, ..Group::default() };
        match heart.rhythm {
            Rhythm::Sinus => group.sinus(breath_beats(p), cycle_s),
            Rhythm::RespiratorySinusArrhythmia => {
                group.with_breathing(breath_beats(p).max(4), cycle_s)
            }
            Rhythm::SecondDegreeTypeI => group.wenckebach(cycle_s),
            Rhythm::SecondDegreeTypeII => group.dropping(cycle_s),
            Rhythm::ThirdDegree => group.dissociated(cycle_s),
            Rhythm::AtrialFibrillation => group.fibrillating(cycle_s),
            Rhythm::PrematureAtrial => group.premature_atrial(cycle_s),
            Rhythm::PrematureVentricular => group.premature_ventricular(cycle_s),
        }
        let breathing =
            p.respiration_rate_bpm > 0.0 || heart.rhythm == Rhythm::RespiratorySinusArrhythmia;
        let breath_s = breathing.then_some(group.end_s);
        group.finish(breath_s, heart.rhythm == Rhythm::AtrialFibrillation)
    }

    /// Lets the cycle begin before the last beat's second sound where else that would begin at its
    /// edge.
    fn keep_second_sound_whole(&mut self) {
        let Some(last) = self.ventricular.last() else { return };
        let s2_s = last.qrs_s + qt_s(last.rate_bpm) + S2_AFTER_T_S - self.period_s;
        if !(-S2_TO_END_S..S2_FROM_START_S).contains(&s2_s) {
            return;
        }
        let later_s = S2_FROM_START_S - s2_s;
        self.ventricular.iter_mut().for_each(|beat| beat.qrs_s += later_s);
        self.atrial.iter_mut().for_each(|beat| beat.p_s += later_s);
    }

    /// Onsets of the QRS complexes from the beat before the period to the beat after it.
    pub(crate) fn with_neighbours(&self) -> Vec<VentricularBeat> {
        let shifted = |by: f64| {
            self.ventricular.iter().map(move |b| VentricularBeat { qrs_s: b.qrs_s + by, ..*b })
        };
        shifted(-self.period_s).chain(shifted(0.0)).chain(shifted(self.period_s)).collect()
    }
}

/// How many beats make a breath; one beat, and so no breathing, where the rate is 0.
fn breath_beats(p: &crate::Parameters) -> usize {
    if p.respiration_rate_bpm > 0.0 {
        (p.rate_bpm / p.respiration_rate_bpm).round().max(2.0) as usize
    } else {
        1
    }
}

/// A group of beats as it grows.
#[derive(Default)]
struct Group {
    pr_s: f64,
    end_s: f64,
    ventricular: Vec<(f64, bool)>,
    atrial: Vec<AtrialBeat>,
}

impl Group {
    /// A P wave at `p_s`.
    fn p_wave(&mut self, p_s: f64) {
        // A short PR interval leaves less room: the P wave ends before the QRS complex.
        let duration_s = 0.1_f64.min(0.75 * self.pr_s);
        self.atrial.push(AtrialBeat { p_s, duration_s, hidden: false });
    }

    fn conducted(&mut self, p_s: f64, pr_s: f64) {
        self.p_wave(p_s);
        self.ventricular.push((p_s + pr_s, false));
    }

    fn sinus(&mut self, beats: usize, cycle_s: f64) {
        for beat in 0..beats {
            self.conducted(LEAD_IN_S + beat as f64 * cycle_s, self.pr_s);
        }
        self.end_s = beats as f64 * cycle_s;
    }

    /// RR intervals 12 % longer in expiration, 12 % shorter in inspiration: a young adult's
    /// (from memory). Inspiration is the group's first half.
    fn with_breathing(&mut self, beats: usize, cycle_s: f64) {
        let mut p_s = LEAD_IN_S;
        for beat in 0..beats {
            self.conducted(p_s, self.pr_s);
            let phase = 2.0 * std::f64::consts::PI * (beat as f64 + 0.5) / beats as f64;
            p_s += cycle_s * (1.0 - 0.12 * libm::sin(phase));
        }
        self.end_s = p_s - LEAD_IN_S;
    }

    /// Four P waves to three QRS complexes; the PR interval grows by a large step and then a
    /// small one, so that RR shortens before the pause (typical pattern, textbook, from memory).
    fn wenckebach(&mut self, cycle_s: f64) {
        for (beat, longer_s) in [Some(0.0), Some(0.09), Some(0.13), None].into_iter().enumerate() {
            let p_s = LEAD_IN_S + beat as f64 * cycle_s;
            match longer_s {
                Some(longer_s) => self.conducted(p_s, self.pr_s + longer_s),
                None => self.p_wave(p_s),
            }
        }
        self.end_s = 4.0 * cycle_s;
    }

    /// Three P waves to two QRS complexes, PR constant.
    fn dropping(&mut self, cycle_s: f64) {
        for beat in 0..3 {
            let p_s = LEAD_IN_S + f64::from(beat) * cycle_s;
            if beat < 2 { self.conducted(p_s, self.pr_s) } else { self.p_wave(p_s) }
        }
        self.end_s = 3.0 * cycle_s;
    }

    /// Nine P waves to four escape beats, so that every phase between the two is seen.
    fn dissociated(&mut self, cycle_s: f64) {
        self.end_s = 9.0 * cycle_s;
        for beat in 0..9 {
            self.p_wave(LEAD_IN_S + f64::from(beat) * cycle_s);
        }
        for beat in 0..4 {
            self.ventricular
                .push((LEAD_IN_S + self.pr_s + f64::from(beat) * self.end_s / 4.0, false));
        }
    }

    /// Ten intervals without order (invented; spread some 20 %, as in atrial fibrillation, from memory).
    fn fibrillating(&mut self, cycle_s: f64) {
        const INTERVALS: [f64; 10] = [1.04, 0.78, 1.22, 0.91, 0.72, 1.35, 1.10, 0.83, 0.97, 1.08];
        let mut qrs_s = LEAD_IN_S + self.pr_s;
        for interval in INTERVALS {
            self.ventricular.push((qrs_s, false));
            qrs_s += interval * cycle_s;
        }
        self.end_s = qrs_s - LEAD_IN_S - self.pr_s;
    }

    /// Two sinus beats, one that comes at 60 % of the interval, and a pause that is not quite
    /// compensatory, as the early beat resets the sinus node.
    fn premature_atrial(&mut self, cycle_s: f64) {
        for beats in [0.0, 1.0, 1.6, 2.7] {
            self.conducted(LEAD_IN_S + beats * cycle_s, self.pr_s);
        }
        self.end_s = 3.7 * cycle_s;
    }

    /// Two sinus beats, a ventricular beat at 55 % of the interval, whose P wave is hidden and
    /// not conducted, and so a fully compensatory pause.
    fn premature_ventricular(&mut self, cycle_s: f64) {
        for beat in 0..4 {
            let p_s = LEAD_IN_S + f64::from(beat) * cycle_s;
            if beat == 2 {
                self.p_wave(p_s);
                if let Some(p) = self.atrial.last_mut() {
                    p.hidden = true;
                }
            } else {
                self.conducted(p_s, self.pr_s);
            }
        }
        self.ventricular.push((LEAD_IN_S + self.pr_s + 1.55 * cycle_s, true));
        self.end_s = 4.0 * cycle_s;
    }

    fn finish(mut self, breath_s: Option<f64>, fibrillation: bool) -> Schedule {
        self.ventricular.sort_by(|a, b| a.0.total_cmp(&b.0));
        let count = self.ventricular.len();
        let mean_s = self.end_s / count as f64;
        let ventricular = (0..count).map(|index| {
            let (qrs_s, ectopic) = self.ventricular[index];
            let before = if index == 0 {
                self.ventricular[count - 1].0 - self.end_s
            } else {
                self.ventricular[index - 1].0
            };
            // Repolarisation follows the interval just past only in part, the mean for the rest.
            let felt_s = 0.35 * (qrs_s - before) + 0.65 * mean_s;
            VentricularBeat { qrs_s, rate_bpm: 60.0 / felt_s, ectopic }
        });
        let ventricular: Vec<VentricularBeat> = ventricular.collect();
        let mut schedule = Schedule {
            period_s: self.end_s,
            ventricular,
            atrial: self.atrial,
            breath_s,
            fibrillation,
        };
        schedule.keep_second_sound_whole();
        schedule
    }
}
