//! Intervals, rates and pressures, as teaching text.

use serde::Serialize;

use crate::beat::{Anchor, Beat};
use crate::kinds::{CORRECTIONS, Kind, corrected, kind};
use crate::naming::Named;
use crate::normal::published;
use crate::statistics::Statistics;

pub use crate::normal::Published;

/// One quantity over all beats that show it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Measurement {
    /// Identifier, such as `pr` or `qtc_bazett`.
    pub id: &'static str,
    /// The channel it is measured on, where it could be several; else empty.
    pub channel: String,
    /// Name shown to people.
    pub title: &'static str,
    /// Unit.
    pub unit: String,
    /// What exactly is measured.
    pub definition: &'static str,
    /// The beats' values, summed up.
    pub values: Statistics,
    /// The published range at this heart rate, where there is one.
    pub published: Option<Published>,
}

/// All that is measured on a recording.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Measurements {
    /// Beats found.
    pub beats: usize,
    /// The measurements, in the order in which they are shown.
    pub measurements: Vec<Measurement>,
    /// What stands under the table.
    pub note: &'static str,
}

/// What stands under every table.
const NOTE: &str = "For teaching, not for diagnosis. Published ranges describe groups of people under the conditions named; a value inside or outside says nothing about one person.";

/// Landmarks less sure than this are not measured from.
const SURE: f64 = 0.3;
/// An interval that differs from the middle of those around it by more than this share is not one
/// between normal beats and is left out of the rate's variation (common practice, no source).
const NORMAL_SHARE: f64 = 0.2;
/// Intervals on either side that are compared with.
const AROUND: usize = 5;

impl Measurements {
    /// The measurement `id`, on `channel` where it could be several.
    pub fn get(&self, id: &str, channel: &str) -> Option<&Measurement> {
        self.measurements.iter().find(|m| m.id == id && m.channel == channel)
    }
}

/// Measures `beats` of a recording whose signals are `named`.
pub fn measure(beats: &[Beat], named: &[Named]) -> Measurements {
    let mut measure = Measure { beats, named, rate_bpm: 0.0, all: Vec::new() };
    measure.rates();
    measure.ecg();
    measure.sounds();
    for (channel, named) in named.iter().enumerate() {
        match named.channel.as_str() {
            "aortic_pressure" | "radial_pressure" | "pa_pressure" => measure.pressure(channel),
            "finger_pulse" => measure.arrival(channel),
            _ => {}
        }
    }
    Measurements { beats: beats.len(), measurements: measure.all, note: NOTE }
}

struct Measure<'a> {
    beats: &'a [Beat],
    named: &'a [Named],
    rate_bpm: f64,
    all: Vec<Measurement>,
}

impl Measure<'_> {
    fn add(&mut self, kind: &Kind, channel: &str, mut values: Vec<f64>) {
        values.retain(|value| value.is_finite());
        if let Some(values) = Statistics::of(&mut values) {
            let published = published(kind.id, channel, self.rate_bpm);
            let Kind { id, title, unit, definition } = *kind;
            let (channel, unit) = (channel.to_owned(), unit.to_owned());
            self.all.push(Measurement { id, channel, title, unit, definition, values, published });
        }
    }

    fn ecg_channel(&self) -> Option<usize> {
        let named = |wanted: &dyn Fn(&Named) -> bool| self.named.iter().position(wanted);
        named(&|named| named.channel == "ecg").or_else(|| named(&Named::is_ecg))
    }

    fn sound_channel(&self) -> Option<usize> {
        self.named.iter().position(|named| named.channel == "heart_sounds")
    }

    /// Milliseconds from one landmark to another in each beat that has both.
    fn apart(&self, from: (&str, usize), to: (&str, usize)) -> Vec<f64> {
        let apart = |beat: &Beat| Some(1000.0 * (time(beat, to)? - time(beat, from)?));
        self.beats.iter().filter_map(apart).collect()
    }

    fn rates(&mut self) {
        let intervals: Vec<f64> = self.beats.iter().filter_map(|beat| beat.rr_s).collect();
        let normal = normal(&intervals);
        let rr_ms: Vec<f64> = intervals.iter().map(|rr| 1000.0 * rr).collect();
        let middle = Statistics::of(&mut rr_ms.clone()).map_or(0.0, |s| s.median);
        self.rate_bpm = if middle > 0.0 { 60_000.0 / middle } else { 0.0 };
        let rates = rr_ms.iter().map(|rr| 60_000.0 / rr).collect();
        let first =
            kind("heart_rate", "heart rate", "bpm", "60 divided by each RR interval, in seconds");
        self.add(&first, "", rates);
        self.add(
            &kind("rr", "RR interval", "ms", "anchor to anchor of successive beats"),
            "",
            rr_ms,
        );
        let kept: Vec<f64> = intervals
            .iter()
            .zip(&normal)
            .filter(|(_, ok)| **ok)
            .map(|(rr, _)| 1000.0 * rr)
            .collect();
        if let Some(values) = Statistics::of(&mut kept.clone()).filter(|s| s.count > 1) {
            let sdnn = kind(
                "sdnn",
                "SDNN",
                "ms",
                "standard deviation of the intervals between normal beats: those within 20 % of the middle of the ten around them",
            );
            self.add(&sdnn, "", vec![values.sd]);
        }
        let successive: Vec<f64> = (1..intervals.len())
            .filter(|&index| normal[index] && normal[index - 1])
            .map(|index| 1000.0 * (intervals[index] - intervals[index - 1]))
            .collect();
        if !successive.is_empty() {
            let squares = successive.iter().map(|d| d * d).sum::<f64>();
            let rmssd = kind(
                "rmssd",
                "RMSSD",
                "ms",
                "root of the mean squared difference between successive intervals between normal beats",
            );
            self.add(&rmssd, "", vec![(squares / successive.len() as f64).sqrt()]);
        }
    }

    fn ecg(&mut self) {
        let Some(ecg) = self.ecg_channel() else { return };
        let mut add = |kind: Kind, from, to| {
            let values = self.apart((from, ecg), (to, ecg));
            self.add(&kind, "", values);
        };
        add(kind("p", "P wave", "ms", "onset to end of the P wave"), "p_onset", "p_end");
        add(kind("pr", "PR interval", "ms", "onset of P to onset of QRS"), "p_onset", "qrs_onset");
        add(
            kind("qrs", "QRS duration", "ms", "onset to end of QRS, in this lead"),
            "qrs_onset",
            "qrs_end",
        );
        add(
            kind("qt", "QT interval", "ms", "onset of QRS to end of T, in this lead"),
            "qrs_onset",
            "t_end",
        );
        let corrections: Vec<[f64; 4]> = self
            .beats
            .iter()
            .filter_map(|beat| {
                let qt = time(beat, ("t_end", ecg))? - time(beat, ("qrs_onset", ecg))?;
                Some(corrected(1000.0 * qt, beat.rr_s?))
            })
            .collect();
        for (index, kind) in CORRECTIONS.iter().enumerate() {
            self.add(kind, "", corrections.iter().map(|all| all[index]).collect());
        }
    }

    fn sounds(&mut self) {
        let Some(sounds) = self.sound_channel() else { return };
        let (s1, s2) = (("s1_onset", sounds), ("s2_onset", sounds));
        if let Some(ecg) = self.ecg_channel() {
            let r_s1 = self.apart(("r_peak", ecg), s1);
            self.add(
                &kind("r_s1", "R to S1", "ms", "R peak to onset of the first sound"),
                "",
                r_s1,
            );
            let qs2 = self.apart(("qrs_onset", ecg), s2);
            let qs2_kind = kind("qs2", "QS2", "ms", "onset of QRS to onset of the second sound");
            self.add(&qs2_kind, "", qs2);
        }
        let s1_s2 = self.apart(s1, s2);
        let kind =
            kind("s1_s2", "S1 to S2", "ms", "onset of the first to onset of the second sound");
        self.add(&kind, "", s1_s2);
    }

    fn pressure(&mut self, channel: usize) {
        let name = self.named[channel].channel.clone();
        let (foot, notch) = (("pressure_foot", channel), ("dicrotic_notch", channel));
        if let Some(ecg) = self.ecg_channel() {
            let definition = if name == "aortic_pressure" {
                "onset of QRS to the foot of this pressure"
            } else {
                "onset of QRS to the foot of this pressure, so that the pulse's way from the heart to here is in it"
            };
            let values = self.apart(("qrs_onset", ecg), foot);
            self.add(&kind("pep", "PEP (onset of QRS to foot)", "ms", definition), &name, values);
        }
        let lvet = kind(
            "lvet",
            "ejection time",
            "ms",
            "foot to notch of this pressure; its way from the heart is in both",
        );
        self.add(&lvet, &name, self.apart(foot, notch));
        self.pep_from_s2(channel, &name);
        self.arrival(channel);
        let unit = "mmHg";
        let value = |mark: &'static str| -> Vec<f64> {
            self.beats
                .iter()
                .filter_map(|beat| sure(beat, (mark, channel)).map(|m| m.value))
                .collect()
        };
        let (systolic, diastolic) = (value("systolic_peak"), value("pressure_foot"));
        let means: Vec<f64> =
            self.beats.iter().filter_map(|beat| *beat.means.get(channel)?).collect();
        let levels: Vec<f64> = self.beats.iter().filter_map(|beat| level(beat, channel)).collect();
        self.add(
            &kind("systolic", "systolic pressure", unit, "value at the systolic peak"),
            &name,
            systolic,
        );
        self.add(
            &kind("diastolic", "diastolic pressure", unit, "value at the foot"),
            &name,
            diastolic,
        );
        self.add(
            &kind(
                "mean_pressure",
                "mean pressure",
                unit,
                "mean over one beat, from anchor to anchor",
            ),
            &name,
            means,
        );
        let notch = kind(
            "notch_level",
            "notch level",
            "%",
            "height of the notch above the foot, as a share of the pulse pressure",
        );
        self.add(&notch, &name, levels);
    }

    /// PEP without the pulse's way: QS2 less the ejection time (Weissler et al. 1968).
    fn pep_from_s2(&mut self, channel: usize, name: &str) {
        let (Some(ecg), Some(sounds)) = (self.ecg_channel(), self.sound_channel()) else { return };
        let pep = |beat: &Beat| {
            let qs2 = time(beat, ("s2_onset", sounds))? - time(beat, ("qrs_onset", ecg))?;
            let foot = time(beat, ("pressure_foot", channel))?;
            Some(1000.0 * (qs2 - (time(beat, ("dicrotic_notch", channel))? - foot)))
        };
        let values = self.beats.iter().filter_map(pep).collect();
        let kind = kind(
            "pep_from_s2",
            "PEP (QS2 less ejection time)",
            "ms",
            "onset of QRS to onset of S2, less foot to notch of this pressure, which takes the pulse's way out",
        );
        self.add(&kind, name, values);
    }

    fn arrival(&mut self, channel: usize) {
        let Some(ecg) = self.ecg_channel() else { return };
        let values = self.apart(("r_peak", ecg), ("pressure_foot", channel));
        let name = self.named[channel].channel.clone();
        let kind = kind(
            "pulse_arrival",
            "pulse arrival time",
            "ms",
            "R peak to the foot of this pulse: pre-ejection period less QRS onset to R, and the pulse's way",
        );
        self.add(&kind, &name, values);
    }
}

/// The landmark, where it is sure enough; R peaks only of beats that an ECG told.
fn sure<'a>(beat: &'a Beat, (name, channel): (&str, usize)) -> Option<&'a crate::BeatMark> {
    let told = name != "r_peak" || beat.anchor == Anchor::RPeak;
    beat.mark(name, channel).filter(|mark| told && mark.confidence >= SURE)
}

fn time(beat: &Beat, mark: (&str, usize)) -> Option<f64> {
    sure(beat, mark).map(|mark| mark.time_s)
}

/// Height of the notch as a percentage of the pulse pressure.
fn level(beat: &Beat, channel: usize) -> Option<f64> {
    let value = |name| sure(beat, (name, channel)).map(|mark| mark.value);
    let (foot, peak) = (value("pressure_foot")?, value("systolic_peak")?);
    Some(100.0 * (value("dicrotic_notch")? - foot) / (peak - foot))
}

/// Which intervals are between normal beats.
fn normal(intervals: &[f64]) -> Vec<bool> {
    (0..intervals.len())
        .map(|index| {
            let from = index.saturating_sub(AROUND);
            let to = (index + AROUND + 1).min(intervals.len());
            let middle = Statistics::of(&mut intervals[from..to].to_vec());
            middle.is_some_and(|s| (intervals[index] - s.median).abs() <= NORMAL_SHARE * s.median)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_early_beat_is_not_part_of_the_variation() {
        let mut intervals = vec![0.8; 12];
        (intervals[6], intervals[7]) = (0.5, 1.1);
        let found = normal(&intervals);
        assert_eq!(found.iter().filter(|ok| !**ok).count(), 2);
        assert!(!found[6] && !found[7]);
    }
}
