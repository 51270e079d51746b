//! The stretch that a worksheet shows, as traces with landmarks, in rows.

use cycle::{Cycle, Landmark, Spelling, Trace};
use recording::{Beat, Named, Source};
use sheet::{Interval, MM_PER_MV, MM_PER_S, Orientation, StripPanel, StripSpec, waves};

use crate::failure::Failure;

/// Landmarks less sure than this are neither told nor bracketed, as `recording` does not measure
/// from them.
const SURE: f64 = 0.3;
/// Channels that stand under the ECG in this order, each with what it is called, its least height
/// in mm, and room for so many brackets.
const UNDER: [(&str, &str, f64, usize); 5] = [
    ("heart_sounds", "Heart sounds", 15.0, 2),
    ("aortic_pressure", "Pressure in the aorta", 20.0, 1),
    ("radial_pressure", "Pressure in the radial artery", 20.0, 1),
    ("pa_pressure", "Pressure in the pulmonary artery", 20.0, 1),
    ("finger_pulse", "Pulse at the finger", 15.0, 1),
];
/// An ECG higher than this, in mV, is not in the unit that its file states.
const HIGHEST_MV: f64 = 8.0;
/// An ECG without a unit is drawn so high, in mm.
const UNSCALED_MM: f64 = 20.0;

/// Whether a worksheet shows this signal, if it is the first of its kind.
pub(super) fn is_shown(named: &Named) -> bool {
    named.channel == "ecg" || UNDER.iter().any(|under| under.0 == named.channel)
}

/// What is shown.
pub(super) struct Shown {
    /// Traces and landmarks over the stretch; the ECG is called `ecg`.
    pub(super) cycle: Cycle,
    ecg: Option<usize>,
    lead: String,
    calibrated: bool,
    /// Channels under it: number among those named, place in `UNDER`, unit.
    under: Vec<(usize, usize, String)>,
    window: [f64; 2],
}

impl Shown {
    /// Reads the stretch.
    pub(super) fn read(
        source: &mut dyn Source,
        named: &[Named],
        beats: &[Beat],
        window: [f64; 2],
    ) -> Result<Self, Failure> {
        let ecg = named.iter().position(|named| named.channel == "ecg");
        let ecg = ecg.or_else(|| named.iter().position(Named::is_ecg));
        let lead = ecg.and_then(|ecg| named[ecg].lead.clone());
        let lead = lead.map_or_else(|| "ECG".to_owned(), |lead| format!("lead {lead}"));
        let (cycle, under, calibrated) = (Cycle::default(), Vec::new(), false);
        let mut shown = Self { cycle, ecg, lead, calibrated, under, window };
        if let Some(index) = ecg {
            let mut trace = trace(source, &named[index], window)?;
            shown.calibrated = levelled(&mut trace);
            trace.channel = "ecg".to_owned();
            shown.cycle.traces.push(trace);
        }
        for (place, (channel, ..)) in UNDER.iter().enumerate() {
            let Some(index) = named.iter().position(|one| one.channel == *channel) else {
                continue;
            };
            let trace = trace(source, &named[index], window)?;
            let scaled = channel.ends_with("_pressure") && trace.unit != "relative";
            let unit = if scaled { trace.unit.clone() } else { String::new() };
            shown.under.push((index, place, unit));
            shown.cycle.traces.push(trace);
        }
        shown.cycle.landmarks = shown.landmarks(named, beats);
        Ok(shown)
    }

    /// Writes what the ECG is called in another way.
    pub(super) fn spell(&mut self, spelling: &Spelling) {
        spelling.spell(&mut self.lead);
    }

    /// Whether there is an ECG whose height means something.
    pub(super) fn is_calibrated(&self) -> bool {
        self.ecg.is_some() && self.calibrated
    }

    /// What there is to be seen.
    pub(super) fn about(&self) -> String {
        let under = self.under.iter().map(|(_, place, _)| UNDER[*place].1.to_lowercase());
        let all: Vec<String> =
            self.ecg.map(|_| format!("ECG ({})", self.lead)).into_iter().chain(under).collect();
        let [from, to] = self.window;
        format!(
            "A recording, from {from:.1} s to {to:.1} s: {}. Choose a beat, mark where each landmark is, and measure. Where beats differ, measure three and take the middle.",
            all.join(", ")
        )
    }

    /// The sure landmarks of the channels shown; of a wave none where its beginning or end lacks.
    fn landmarks(&self, named: &[Named], beats: &[Beat]) -> Vec<Landmark> {
        let waves = waves(&heart::subject(), "ecg");
        let mut all = Vec::new();
        for beat in beats {
            for mark in &beat.marks {
                let Some(channel) = self.channel(mark.channel, named) else { continue };
                let wave = waves.iter().find(|wave| wave.landmarks.iter().any(|l| l == mark.name));
                let ends = wave.map(|wave| [wave.landmarks.first(), wave.landmarks.last()]);
                let known = |name: &String| sure(beat, name, mark.channel).is_some();
                let whole = ends.is_none_or(|ends| ends.into_iter().flatten().all(known));
                if mark.confidence < SURE || (channel == "ecg" && !whole) {
                    continue;
                }
                let (name, time_s) = (mark.name.to_owned(), mark.time_s);
                let value = self.cycle.trace(&channel).and_then(|trace| trace.at(time_s));
                let Some(value) = value.filter(|value| value.is_finite()) else { continue };
                all.push(Landmark { name, channel, time_s, value });
            }
        }
        all.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        all
    }

    /// What a channel that is shown is called here.
    fn channel(&self, index: usize, named: &[Named]) -> Option<String> {
        if self.ecg == Some(index) {
            return Some("ecg".to_owned());
        }
        let shown = self.under.iter().any(|(under, ..)| *under == index);
        shown.then(|| named[index].channel.clone())
    }

    /// The rows: as long as the page is wide, and of one length.
    pub(super) fn rows(&self) -> Vec<StripSpec> {
        let whole = StripSpec::new("ecg", &self.lead, Orientation::Portrait);
        let [from, to] = self.window;
        let count = ((to - from) / whole.length_s() - 1e-9).ceil().max(1.0);
        // Whole large squares.
        let squares = ((to - from) / count * MM_PER_S / 5.0 - 1e-9).ceil();
        let before = whole.width_mm - whole.length_s() * MM_PER_S;
        let spec = StripSpec { width_mm: before + 5.0 * squares, ..whole };
        let row = |index: usize| {
            let start_s = from + index as f64 * spec.length_s();
            let title =
                format!("From {start_s:.1} s to {:.1} s", (start_s + spec.length_s()).min(to));
            let channel = if self.ecg.is_some() { "ecg" } else { "" }.to_owned();
            let waves = waves(&heart::subject(), "ecg");
            let calibrated = self.calibrated;
            StripSpec { title, channel, start_s, waves, calibrated, ..spec.clone() }
        };
        (0..count as usize).map(row).collect()
    }

    /// The beat that the key brackets: of those with most brackets within one row the one nearest
    /// to its middle.
    pub(super) fn bracketed<'a>(&self, rows: &[StripSpec], beats: &'a [Beat]) -> Option<&'a Beat> {
        let fitting = |beat: &Beat, row: &StripSpec| {
            let (from, to) = (row.start_s, row.start_s + row.length_s());
            let panels = self.panels(Some(beat)).into_iter().flat_map(|panel| panel.marks);
            let all = self.brackets(Some(beat)).into_iter().chain(panels);
            let count = all.filter(|mark| mark.from_s >= from && mark.to_s <= to).count();
            (count, -(beat.anchor_s - f64::midpoint(from, to)).abs())
        };
        let best = |beat: &Beat| {
            let each = rows.iter().map(|row| fitting(beat, row));
            each.max_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))).unwrap_or_default()
        };
        let all = beats.iter().map(|beat| (beat, best(beat)));
        all.max_by(|(_, a), (_, b)| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))).map(|(beat, _)| beat)
    }

    /// What is bracketed on the ECG.
    pub(super) fn brackets(&self, beat: Option<&Beat>) -> Vec<Interval> {
        let (Some(beat), Some(ecg)) = (beat, self.ecg) else { return Vec::new() };
        let between = |title: &str, from: &str, to: &str| {
            let (from, to) = (sure(beat, from, ecg)?, sure(beat, to, ecg)?);
            Some(interval(title, from, to))
        };
        let mut all: Vec<Interval> = [
            between("PR", "p_onset", "qrs_onset"),
            between("QRS", "qrs_onset", "qrs_end"),
            between("QT", "qrs_onset", "t_end"),
        ]
        .into_iter()
        .flatten()
        .collect();
        all.extend(beat.rr_s.map(|rr| interval("R–R", beat.anchor_s - rr, beat.anchor_s)));
        all
    }

    /// The channels under the ECG, with what is bracketed of `beat`.
    pub(super) fn panels(&self, beat: Option<&Beat>) -> Vec<StripPanel> {
        let panel = |(order, (index, place, unit)): (usize, &(usize, usize, String))| {
            let (channel, title, height_mm, lanes) = UNDER[*place];
            let range = self.cycle.trace(channel).and_then(Trace::range).unwrap_or((0.0, 1.0));
            let alone = self.ecg.is_none() && order == 0;
            let mut marks =
                beat.map_or_else(Vec::new, |beat| self.under_marks(beat, *index, channel));
            if let Some(beat) = beat.filter(|_| alone) {
                let rr = beat.rr_s;
                marks.extend(
                    rr.map(|rr| interval("beat to beat", beat.anchor_s - rr, beat.anchor_s)),
                );
            }
            let said = if unit.is_empty() { "height without a scale" } else { unit.as_str() };
            StripPanel {
                channel: channel.to_owned(),
                title: format!("{title} ({said})"),
                unit: unit.clone(),
                range: [range.0, range.1],
                height_mm,
                lanes: lanes + usize::from(alone),
                marks,
                points: points(channel),
            }
        };
        self.under.iter().enumerate().map(panel).collect()
    }

    fn under_marks(&self, beat: &Beat, index: usize, channel: &str) -> Vec<Interval> {
        let r = self.ecg.and_then(|ecg| sure(beat, "r_peak", ecg));
        let between = |title: &str, from: Option<f64>, to: &str| {
            Some(interval(title, from?, sure(beat, to, index)?))
        };
        if channel == "heart_sounds" {
            let s1 = sure(beat, "s1_onset", index);
            let both = [between("R–S1", r, "s1_onset"), between("S1–S2", s1, "s2_onset")];
            return both.into_iter().flatten().collect();
        }
        between("R to foot", r, "pressure_foot").into_iter().collect()
    }
}

/// The landmarks of a channel that words tell.
fn points(channel: &str) -> Vec<[String; 2]> {
    let all: &[(&str, &str)] = if channel == "heart_sounds" {
        &[
            ("s1_onset", "S1 begins"),
            ("s1_end", "S1 ends"),
            ("s2_onset", "S2 begins"),
            ("s2_end", "S2 ends"),
        ]
    } else {
        &[("pressure_foot", "foot"), ("systolic_peak", "peak"), ("dicrotic_notch", "notch")]
    };
    all.iter().map(|(id, name)| [(*id).to_owned(), (*name).to_owned()]).collect()
}

fn sure(beat: &Beat, name: &str, channel: usize) -> Option<f64> {
    beat.mark(name, channel).filter(|mark| mark.confidence >= SURE).map(|mark| mark.time_s)
}

fn interval(title: &str, from_s: f64, to_s: f64) -> Interval {
    Interval { label: format!("{title} {:.0} ms", 1000.0 * (to_s - from_s)), from_s, to_s }
}

/// One channel's samples over the window, turned where the recording is.
fn trace(source: &mut dyn Source, named: &Named, [from, to]: [f64; 2]) -> Result<Trace, Failure> {
    let signal = source.signals().get(named.signal).cloned();
    let signal =
        signal.ok_or_else(|| Failure::Other(format!("there is no signal {}", named.signal)))?;
    let first = (from.max(0.0) * signal.rate_hz).floor();
    let count = ((to * signal.rate_hz).ceil() - first).max(0.0) as usize + 1;
    let mut samples = Vec::new();
    source
        .read(named.signal, first as u64, count, &mut samples)
        .map_err(|error| Failure::Other(error.to_string()))?;
    if named.turned {
        samples.iter_mut().for_each(|value| *value = -*value);
    }
    let unit = if signal.unit.is_empty() { "relative" } else { signal.unit.as_str() };
    Ok(Trace::new(&named.channel, unit, signal.rate_hz, first / signal.rate_hz, samples))
}

/// Puts an ECG's middle at 0 mV; whether its unit is known. Without one it is made so high that it
/// can be read.
fn levelled(trace: &mut Trace) -> bool {
    let per_mv = match trace.unit.as_str() {
        "mV" => Some(1.0),
        "uV" | "µV" | "μV" => Some(0.001),
        "V" => Some(1000.0),
        _ => None,
    };
    let mut known: Vec<f64> = trace.samples.iter().copied().filter(|v| v.is_finite()).collect();
    known.sort_by(f64::total_cmp);
    let (Some(low), Some(high)) = (known.first(), known.last()) else { return false };
    let (middle, tall) = (known[known.len() / 2], high - low);
    let believed = per_mv.filter(|per_mv| tall * per_mv <= HIGHEST_MV);
    let scale = believed.unwrap_or(UNSCALED_MM / MM_PER_MV / tall.max(1e-300));
    trace.samples.iter_mut().for_each(|value| *value = (*value - middle) * scale);
    believed.is_some()
}
