//! The average beat: a cycle like any other.

use std::collections::BTreeMap;

use cycle::{Cycle, Landmark, Trace};
use landmarks::recorded::percentile;
use serde::Serialize;

use crate::ReadError;
use crate::arithmetic::{Growing, correlation, cubic};
use crate::beat::{Anchor, Beat};
use crate::find::stretch;
use crate::naming::Named;
use crate::piece::marks_of_one;
use crate::quality::Quality;
use crate::source::Source;
use crate::statistics::Statistics;
use crate::stretch::Stretch;

/// The average beat and what it is made of.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Average {
    /// The cycle: period the median interval, the beat's anchor at 0 s, all channels at
    /// [`Average::RATE_HZ`] with the delays between them as recorded.
    pub cycle: Cycle,
    /// How each channel's beats scatter.
    pub spread: Vec<Spread>,
    /// The landmarks of the average beat, and the single beats' beside them.
    pub marks: Vec<AverageMark>,
    /// Beats that went in.
    pub used: usize,
    /// Beats that did not, and why.
    pub left_out: Vec<LeftOut>,
    /// What the cycle is, in words.
    pub provenance: String,
}

/// How the beats of one channel scatter.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Spread {
    /// Channel identifier.
    pub channel: String,
    /// Beats that went in on this channel.
    pub beats: usize,
    /// One standard deviation of the beats at each sample of the trace.
    pub sd: Vec<f64>,
    /// Whether the trace is one typical beat and not a mean: the vibrations of sounds differ from
    /// beat to beat and would cancel.
    pub typical: bool,
}

/// A landmark of the average beat.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AverageMark {
    /// Landmark identifier.
    pub name: &'static str,
    /// Channel identifier.
    pub channel: String,
    /// When, in seconds after the anchor.
    pub time_s: f64,
    /// How sure it is, 0 … 1.
    pub confidence: f64,
    /// The times after the anchor of the single beats that went in, in milliseconds.
    pub beats_ms: Option<Statistics>,
}

/// A beat that is not part of the average.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LeftOut {
    /// When its anchor is, in seconds from the recording's start.
    pub anchor_s: f64,
    /// Why.
    pub why: String,
}

/// Intervals before and after within this share of the median.
const INTERVAL_SHARE: f64 = 0.2;
/// Correlation with the median beat below which a beat is another kind of beat.
const LIKE: f64 = 0.9;
/// The median beat is taken from so many beats at most, spread over the recording.
const FOR_MEDIAN: usize = 61;
/// Fewer beats make no average.
const FEWEST: usize = 3;
/// The cycle begins so many periods before the anchor.
const BEFORE: f64 = 0.4;

impl Average {
    /// Samples per second of every trace.
    pub const RATE_HZ: f64 = 1000.0;
}

/// Averages the good beats of a recording, aligned on their anchor; `None` where fewer than three
/// are alike. The recording is read a second time, beat by beat.
///
/// # Errors
/// What the source could not read.
pub fn average<S: Source + ?Sized>(
    source: &mut S,
    named: &[Named],
    beats: &[Beat],
) -> Result<Option<Average>, ReadError> {
    let Some(lead) = lead_channel(named, beats) else { return Ok(None) };
    let mut intervals: Vec<f64> = beats.iter().filter_map(|beat| beat.rr_s).collect();
    let Some(intervals) = Statistics::of(&mut intervals) else { return Ok(None) };
    let period_s = intervals.median;
    let mut left_out = Vec::new();
    let mut candidates = Vec::new();
    for (index, beat) in beats.iter().enumerate() {
        match unfit(beats, index, period_s, lead) {
            Some(why) => left_out.push(LeftOut { anchor_s: beat.anchor_s, why }),
            None => candidates.push(index),
        }
    }
    let mut averager = Averager { source, named, beats, period_s, room: Stretch::default() };
    let Some(template) = averager.template(&candidates, lead)? else { return Ok(None) };
    let mut used = Vec::new();
    // The vibrations of sounds differ from beat to beat, whatever the beats are.
    if named[lead].channel == "heart_sounds" {
        used.append(&mut candidates);
    }
    for index in candidates {
        let shape = averager.beat(index, lead)?;
        let like = correlation(&shape, &template, averager.compared());
        if like >= LIKE {
            used.push(index);
        } else {
            let why = format!("its shape differs: correlation {like:.2} with the median beat");
            left_out.push(LeftOut { anchor_s: beats[index].anchor_s, why });
        }
    }
    left_out.sort_by(|a, b| a.anchor_s.total_cmp(&b.anchor_s));
    if used.len() < FEWEST {
        return Ok(None);
    }
    averager.finish(&used, left_out).map(Some)
}

/// The channel by whose shape beats are compared: the ECG, or the first on which there are marks.
fn lead_channel(named: &[Named], beats: &[Beat]) -> Option<usize> {
    let by_ecg = beats.iter().any(|beat| beat.anchor == Anchor::RPeak);
    let ecg = named.iter().position(|named| named.channel == "ecg");
    let ecg = ecg.or_else(|| named.iter().position(Named::is_ecg)).filter(|_| by_ecg);
    let marked =
        |channel: &usize| beats.iter().any(|b| b.marks.iter().any(|m| m.channel == *channel));
    ecg.or_else(|| (0..named.len()).find(marked))
}

/// Why a beat is not averaged, if so, before its shape is looked at.
fn unfit(beats: &[Beat], index: usize, period_s: f64, lead: usize) -> Option<String> {
    let beat = &beats[index];
    let after = beats.get(index + 1).and_then(|after| after.rr_s);
    let (Some(before), Some(after)) = (beat.rr_s, after) else {
        return Some("no beat just before or after it".to_owned());
    };
    for (interval, which) in [(before, "before"), (after, "after")] {
        if (interval - period_s).abs() > INTERVAL_SHARE * period_s {
            return Some(format!(
                "the interval {which} it is {:.0} ms, the median {:.0} ms",
                1000.0 * interval,
                1000.0 * period_s
            ));
        }
    }
    let quality = beat.quality.iter().find(|quality| quality.channel == lead)?;
    (quality.quality != Quality::Good).then(|| quality.why.clone())
}

struct Averager<'a, S: Source + ?Sized> {
    source: &'a mut S,
    named: &'a [Named],
    beats: &'a [Beat],
    period_s: f64,
    room: Stretch,
}

impl<S: Source + ?Sized> Averager<'_, S> {
    fn start_s(&self) -> f64 {
        -(BEFORE * self.period_s * Average::RATE_HZ).round() / Average::RATE_HZ
    }

    fn count(&self) -> usize {
        ((self.period_s - self.start_s()) * Average::RATE_HZ).round() as usize + 1
    }

    /// The samples over which shapes are compared: from P to the end of T.
    fn compared(&self) -> std::ops::Range<usize> {
        let at = |s: f64| ((s - self.start_s()) * Average::RATE_HZ).max(0.0) as usize;
        at(-0.25 * self.period_s)..at(0.5 * self.period_s).min(self.count())
    }

    /// One beat of one channel on the common time axis; empty where it was not recorded.
    fn beat(&mut self, index: usize, channel: usize) -> Result<Vec<f64>, ReadError> {
        let anchor_s = self.beats[index].anchor_s;
        let (start_s, count) = (self.start_s(), self.count());
        let ends = [anchor_s + start_s - 0.05, anchor_s + self.period_s + 0.05];
        stretch(self.source, &self.named[channel], ends, &mut self.room)?;
        let room = &self.room;
        let last = room.start_s + room.samples.len() as f64 / room.rate_hz;
        let short = room.start_s > anchor_s + start_s || last < anchor_s + self.period_s;
        if short || room.missing.iter().any(|missing| *missing) {
            return Ok(Vec::new());
        }
        let place = |sample: usize| {
            let time_s = anchor_s + start_s + sample as f64 / Average::RATE_HZ;
            (time_s - room.start_s) * room.rate_hz
        };
        Ok((0..count).map(|sample| cubic(&room.samples, place(sample))).collect())
    }

    /// The median of some beats, sample by sample.
    fn template(&mut self, from: &[usize], channel: usize) -> Result<Option<Vec<f64>>, ReadError> {
        let every = from.len().div_ceil(FOR_MEDIAN).max(1);
        let mut some = Vec::new();
        for &index in from.iter().step_by(every) {
            let beat = self.beat(index, channel)?;
            if !beat.is_empty() {
                some.push(beat);
            }
        }
        if some.len() < FEWEST.min(from.len().max(1)) {
            return Ok(None);
        }
        let mut column = Vec::new();
        let middle = |sample: usize| {
            column.clear();
            column.extend(some.iter().map(|beat| beat[sample]));
            percentile(&mut column, 0.5)
        };
        Ok(Some((0..self.count()).map(middle).collect()))
    }

    fn finish(mut self, used: &[usize], left_out: Vec<LeftOut>) -> Result<Average, ReadError> {
        let (mut spread, mut traces, mut stretches) = (Vec::new(), Vec::new(), Vec::new());
        let mut kept = Vec::new();
        for channel in 0..self.named.len() {
            let Some((samples, found)) = self.channel(channel, used)? else { continue };
            let signal = self.source.signals().get(self.named[channel].signal);
            let unit = signal.map_or("", |signal| signal.unit.as_str());
            let unit = if unit.is_empty() { "relative" } else { unit };
            let name = &self.named[channel].channel;
            let missing = vec![false; samples.len()];
            let (start_s, rate_hz) = (self.start_s(), Average::RATE_HZ);
            traces.push(Trace::new(name, unit, rate_hz, start_s, samples.clone()));
            stretches.push(Stretch { start_s, rate_hz, samples, missing, range: None });
            spread.push(found);
            kept.push(channel);
        }
        let anchor = self.beats[used[0]].anchor;
        let named: Vec<Named> = kept.iter().map(|&channel| self.named[channel].clone()).collect();
        let found = marks_of_one(&named, &stretches, self.period_s, anchor);
        let marks: Vec<AverageMark> = found
            .iter()
            .map(|mark| AverageMark {
                name: mark.name,
                channel: named[mark.channel].channel.clone(),
                time_s: mark.time_s,
                confidence: mark.confidence,
                beats_ms: self.single(used, mark.name, kept[mark.channel]),
            })
            .collect();
        let cycle = self.cycle(traces, &marks);
        let provenance = self.words(used.len(), &left_out, &spread);
        Ok(Average { cycle, spread, marks, used: used.len(), left_out, provenance })
    }

    /// One channel's average, or its typical beat, and the spread.
    fn channel(
        &mut self,
        channel: usize,
        used: &[usize],
    ) -> Result<Option<(Vec<f64>, Spread)>, ReadError> {
        let mut growing = Growing::default();
        let good = |beat: &Beat| {
            let of = beat.quality.iter().find(|quality| quality.channel == channel);
            of.is_some_and(|quality| quality.quality == Quality::Good)
        };
        for &index in used.iter().filter(|&&index| good(&self.beats[index])) {
            let beat = self.beat(index, channel)?;
            if !beat.is_empty() {
                growing.add(&beat);
            }
        }
        let name = self.named[channel].channel.clone();
        let typical = name == "heart_sounds";
        let samples = match self.typical(used, channel).filter(|_| typical) {
            Some(index) => self.beat(index, channel)?,
            None => growing.mean.clone(),
        };
        let enough = growing.count >= FEWEST && !samples.is_empty();
        let spread = Spread { channel: name, beats: growing.count, sd: growing.sd(), typical };
        Ok(enough.then_some((samples, spread)))
    }

    /// The beat whose landmarks on a channel are nearest to the middle of all beats'.
    fn typical(&self, used: &[usize], channel: usize) -> Option<usize> {
        let mut times: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for &index in used {
            let beat = &self.beats[index];
            for mark in beat.marks.iter().filter(|mark| mark.channel == channel) {
                times.entry(mark.name).or_default().push(mark.time_s - beat.anchor_s);
            }
        }
        let middle: BTreeMap<&str, f64> =
            times.iter_mut().map(|(name, all)| (*name, percentile(all, 0.5))).collect();
        // A beat that lacks a landmark is less typical than one that has it 0.1 s away.
        let off = |index: usize| -> f64 {
            let beat = &self.beats[index];
            let of = |(name, middle): (&&str, &f64)| {
                let mark = beat.mark(name, channel);
                mark.map_or(0.1, |mark| (mark.time_s - beat.anchor_s - middle).abs())
            };
            middle.iter().map(of).sum()
        };
        used.iter().copied().min_by(|a, b| off(*a).total_cmp(&off(*b)))
    }

    /// The single beats' times of a landmark.
    fn single(&self, used: &[usize], name: &str, channel: usize) -> Option<Statistics> {
        let time = |index: &usize| {
            let beat = &self.beats[*index];
            Some(1000.0 * (beat.mark(name, channel)?.time_s - beat.anchor_s))
        };
        Statistics::of(&mut used.iter().filter_map(time).collect::<Vec<_>>())
    }

    fn cycle(&self, traces: Vec<Trace>, marks: &[AverageMark]) -> Cycle {
        let mut landmarks: Vec<Landmark> = marks
            .iter()
            .filter_map(|mark| {
                let trace = traces.iter().find(|trace| trace.channel == mark.channel)?;
                let value = trace.at(mark.time_s)?;
                let (name, channel) = (mark.name.to_owned(), mark.channel.clone());
                Some(Landmark { name, channel, time_s: mark.time_s, value })
            })
            .collect();
        landmarks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let summary = BTreeMap::from([("heart_rate_bpm".to_owned(), 60.0 / self.period_s)]);
        Cycle { period_s: self.period_s, traces, landmarks, summary, ..Cycle::default() }
    }

    fn words(&self, used: usize, left_out: &[LeftOut], spread: &[Spread]) -> String {
        let (anchor, aligned) = match self.beats.first().map(|beat| beat.anchor) {
            Some(Anchor::Upstroke) => ("the steepest rise of the pulse", "There is no ECG."),
            Some(Anchor::FirstSound) => ("the first sound", "There is neither ECG nor pulse."),
            _ => ("R", ""),
        };
        let mut text = format!(
            "Average of {used} beats of a recording, aligned on {anchor}; {} of {} beats were left out. {aligned}",
            left_out.len(),
            self.beats.len()
        );
        if spread.iter().any(|spread| spread.typical) {
            text += " The sounds are those of one typical beat.";
        }
        text.trim_end().to_owned()
    }
}
