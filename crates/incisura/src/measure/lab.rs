//! A recording with all that is found on it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use cycle::Subject;
use recording::{
    Asked, Average, Beat, Measurements, Named, Recording, Source as _, TimeColumn, average,
    landmark_between, look_from, measure,
};

use super::by_hand::{self, ByHand};
use super::channels::channels;
use crate::args::{Measure, Stored};
use crate::failure::Failure;
use crate::progress;

/// An open recording, its beats with corrections, their average and what is measured.
pub(crate) struct Lab {
    pub(crate) recording: Recording,
    pub(crate) named: Vec<Named>,
    pub(crate) beats: Arc<Vec<Beat>>,
    pub(crate) average: Option<Average>,
    pub(crate) measured: Measurements,
    /// The table of corrections that was read or written, and its rows.
    pub(crate) by_hand: Option<ByHand>,
    path: PathBuf,
}

impl Lab {
    /// Opens the recording and finds everything; adds corrections to their table where asked.
    pub(crate) fn open(args: &Measure) -> Result<Self, Failure> {
        let path = &args.recording;
        let wrong = |error| Failure::recording(path, error);
        let mut recording = Recording::open(path, &asked(&args.stored)).map_err(wrong)?;
        check_units(&recording, &args.stored, path)?;
        let span_s = span(&recording, args)?;
        let mut named =
            channels(recording.signals(), args).map_err(|what| Failure::file(path, what))?;
        look_from(&mut recording, &mut named, args.turn, span_s[0]).map_err(wrong)?;
        let mut beats = found(&mut recording, &named, span_s).map_err(wrong)?;
        if beats.is_empty() {
            return Err(Failure::file(
                path,
                "no beat was found; look at the signals, say which is which with --ecg, --pressure, --sounds or --pulse, or choose another part with --from and --to",
            ));
        }
        let by_hand = by_hand::apply(&args.by_hand, &mut recording, path, &named, &mut beats)?;
        Self::of(recording, named, path, Arc::new(beats), by_hand)
    }

    /// What follows from the `beats` of the recording at `path`.
    pub(crate) fn of(
        recording: Recording,
        named: Vec<Named>,
        path: &Path,
        beats: Arc<Vec<Beat>>,
        by_hand: Option<ByHand>,
    ) -> Result<Self, Failure> {
        let measured = measure(&[], &named);
        let none = Arc::new(Vec::new());
        let path = path.to_owned();
        let mut lab =
            Self { recording, named, beats: none, average: None, measured, by_hand: None, path };
        lab.take(beats, by_hand)?;
        Ok(lab)
    }

    /// Takes other beats, such as corrected ones, and finds out what follows from them.
    pub(crate) fn take(
        &mut self,
        beats: Arc<Vec<Beat>>,
        by_hand: Option<ByHand>,
    ) -> Result<(), Failure> {
        let averaged = progress::during("averaging the beats", || {
            average(&mut self.recording, &self.named, &beats)
        });
        self.average = averaged.map_err(|error| Failure::recording(&self.path, error))?;
        self.measured = measure(&beats, &self.named);
        (self.beats, self.by_hand) = (beats, by_hand);
        Ok(())
    }

    /// The cardiac cycle as a subject, with the units and the lead in which this one was recorded.
    pub(crate) fn subject(&self) -> Subject {
        let mut subject = heart::subject();
        for kind in &mut subject.channels {
            let Some(named) = self.named.iter().find(|named| named.channel == kind.id) else {
                continue;
            };
            let unit = self.recording.signals().get(named.signal).map_or("", |s| &s.unit);
            if !unit.is_empty() && kind.unit != "relative" {
                unit.clone_into(&mut kind.unit);
            }
            if named.is_ecg() {
                let lead = named.lead.as_ref().map(|lead| format!(", lead {lead}"));
                kind.title = format!("Electrocardiogram{}", lead.unwrap_or_default());
            }
        }
        subject
    }

    /// The recording's name for people: the file's, without its folder.
    pub(crate) fn file(&self) -> String {
        self.path.file_name().unwrap_or_default().to_string_lossy().into_owned()
    }
}

/// How a file is to be read, as it was said.
pub(crate) fn asked(stored: &Stored) -> Asked {
    let time_column = stored.time.as_deref().map(|typed| match (typed, typed.parse::<usize>()) {
        ("none", _) => TimeColumn::None,
        (_, Ok(number)) => TimeColumn::Number(number),
        _ => TimeColumn::Named(typed.to_owned()),
    });
    Asked {
        rate_hz: stored.rate,
        time_column,
        separator: stored.separator,
        decimal_comma: stored.decimal_comma.then_some(true),
        units: stored.unit.iter().cloned().collect(),
        annotator: stored.annotations.clone(),
    }
}

/// A unit for a signal that is not there would be passed over in silence.
fn check_units(recording: &Recording, stored: &Stored, path: &Path) -> Result<(), Failure> {
    let labels = || recording.signals().iter().map(|signal| signal.label.as_str());
    for (label, _) in &stored.unit {
        if !labels().any(|known| known == label) {
            let all = labels().map(|l| format!("“{l}”")).collect::<Vec<_>>().join(", ");
            let what = format!("--unit names “{label}”, which is no signal; there are {all}");
            return Err(Failure::file(path, what));
        }
    }
    Ok(())
}

fn span(recording: &Recording, args: &Measure) -> Result<[f64; 2], Failure> {
    let [from, to] = [args.from.unwrap_or(0.0), args.to.unwrap_or(f64::INFINITY)];
    let lasts = recording.duration_s();
    if from >= to || from >= lasts {
        let what = format!(
            "the recording lasts {lasts:.1} s; nothing of it lies from {from} s {}",
            args.to.map_or_else(|| "on".to_owned(), |to| format!("to {to} s"))
        );
        return Err(Failure::file(&args.recording, what));
    }
    Ok([from, to.min(lasts)])
}

/// The beats, with a bar over the seconds gone through.
pub(crate) fn found(
    recording: &mut Recording,
    named: &[Named],
    span_s: [f64; 2],
) -> Result<Vec<Beat>, recording::ReadError> {
    let bar = progress::bar("finding beats, second", (span_s[1] - span_s[0]).ceil() as usize);
    let mut beats = Vec::new();
    let done = landmark_between(recording, named, span_s, &mut |beat| {
        bar.set_position((beat.anchor_s - span_s[0]).max(0.0) as u64);
        beats.push(beat);
    });
    bar.finish_and_clear();
    done.map(|()| beats)
}
