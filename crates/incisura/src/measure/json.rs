//! Everything that is found, for scripts. Names of fields are stable.

use std::collections::BTreeMap;

use convention::Verdict;
use cycle::Cycle;
use recording::{
    AverageMark, Beat, CAUTION, Format, LeftOut, Measurement, Quality, Remark, Source as _,
};
use serde::Serialize;

use super::beside::Beside;
use super::lab::Lab;
use crate::failure::Failure;

#[derive(Serialize)]
struct Whole<'a> {
    recording: String,
    format: Format,
    caution: &'static str,
    duration_s: f64,
    signals: Vec<SignalJson<'a>>,
    remarks: &'a [Remark],
    annotations: usize,
    beats: Vec<BeatJson<'a>>,
    average: Option<AverageJson<'a>>,
    measurements: &'a [Measurement],
    note: &'static str,
    corrections: usize,
    beside: Option<&'a Beside>,
    verdicts: Option<&'a [Verdict]>,
}

#[derive(Serialize)]
struct SignalJson<'a> {
    label: &'a str,
    unit: &'a str,
    rate_hz: f64,
    channel: Option<&'a str>,
    lead: Option<&'a str>,
    sure: bool,
    turned: bool,
    warning: Option<String>,
}

#[derive(Serialize)]
struct BeatJson<'a> {
    anchor_s: f64,
    anchor: recording::Anchor,
    confidence: f64,
    rr_s: Option<f64>,
    landmarks: Vec<LandmarkJson<'a>>,
    quality: BTreeMap<&'a str, QualityJson<'a>>,
}

#[derive(Serialize)]
struct LandmarkJson<'a> {
    name: &'a str,
    channel: &'a str,
    time_s: f64,
    value: f64,
    confidence: f64,
    by_hand: bool,
}

#[derive(Serialize)]
struct QualityJson<'a> {
    quality: Quality,
    why: &'a str,
}

#[derive(Serialize)]
struct AverageJson<'a> {
    #[serde(flatten)]
    cycle: &'a Cycle,
    marks: &'a [AverageMark],
    used: usize,
    left_out: &'a [LeftOut],
    provenance: &'a str,
}

/// The whole finding.
pub(crate) fn json(
    lab: &Lab,
    beside: Option<&Beside>,
    verdicts: Option<&[Verdict]>,
) -> Result<String, Failure> {
    written(&Whole {
        recording: lab.file(),
        format: lab.recording.format,
        caution: CAUTION,
        duration_s: lab.recording.duration_s(),
        signals: signals(lab),
        remarks: &lab.recording.remarks,
        annotations: lab.recording.annotations.len(),
        beats: lab.beats.iter().map(|one| beat(lab, one)).collect(),
        average: lab.average.as_ref().map(|average| AverageJson {
            cycle: &average.cycle,
            marks: &average.marks,
            used: average.used,
            left_out: &average.left_out,
            provenance: &average.provenance,
        }),
        measurements: &lab.measured.measurements,
        note: lab.measured.note,
        corrections: lab.by_hand.as_ref().map_or(0, |by_hand| by_hand.corrections.len()),
        beside,
        verdicts,
    })
}

/// The beats alone, with the caution.
pub(crate) fn beats_json(lab: &Lab) -> Result<String, Failure> {
    #[derive(Serialize)]
    struct Beats<'a> {
        recording: String,
        caution: &'static str,
        beats: Vec<BeatJson<'a>>,
    }
    let beats = lab.beats.iter().map(|one| beat(lab, one)).collect();
    written(&Beats { recording: lab.file(), caution: CAUTION, beats })
}

fn written<T: Serialize>(value: &T) -> Result<String, Failure> {
    let text = serde_json::to_string(value).map_err(|error| Failure::Other(error.to_string()))?;
    Ok(text + "\n")
}

fn signals(lab: &Lab) -> Vec<SignalJson<'_>> {
    let all = lab.recording.signals().iter().enumerate();
    all.map(|(index, signal)| {
        let named = lab.named.iter().find(|named| named.signal == index);
        let warnings = named.map_or(&[][..], |named| &named.warnings);
        SignalJson {
            label: &signal.label,
            unit: &signal.unit,
            rate_hz: signal.rate_hz,
            channel: named.map(|named| named.channel.as_str()),
            lead: named.and_then(|named| named.lead.as_deref()),
            sure: named.is_some_and(|named| named.sure),
            turned: named.is_some_and(|named| named.turned),
            warning: (!warnings.is_empty()).then(|| warnings.join("; ")),
        }
    })
    .collect()
}

fn beat<'a>(lab: &'a Lab, beat: &'a Beat) -> BeatJson<'a> {
    let channel = |index: usize| lab.named.get(index).map_or("", |named| named.channel.as_str());
    let marks = beat.marks.iter().map(|mark| LandmarkJson {
        name: mark.name,
        channel: channel(mark.channel),
        time_s: mark.time_s,
        value: mark.value,
        confidence: mark.confidence,
        by_hand: mark.by_hand,
    });
    let quality = beat
        .quality
        .iter()
        .map(|one| (channel(one.channel), QualityJson { quality: one.quality, why: &one.why }));
    BeatJson {
        anchor_s: beat.anchor_s,
        anchor: beat.anchor,
        confidence: beat.confidence,
        rr_s: beat.rr_s,
        landmarks: marks.collect(),
        quality: quality.collect(),
    }
}
