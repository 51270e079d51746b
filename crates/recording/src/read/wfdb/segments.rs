//! WFDB records of several segments: with fixed layout all have the same signals; with variable
//! layout a first segment without samples names all signals, and each segment has some of them.

use std::collections::BTreeMap;

use super::super::Samples;
use super::super::error::{Place, ReadError, ReadFault, Remark};
use super::super::files::Files;
use super::header::{Body, Header, SegmentLine};
use super::read_header;
use super::record::Record;
use crate::Signal;

pub(super) struct Segments {
    files: Box<dyn Files>,
    list: Vec<Segment>,
    signals: Vec<Wanted>,
    current: Option<(usize, Part)>,
}

/// A part of the record; without a name nothing was recorded.
struct Segment {
    name: Option<String>,
    start: u64,
    frames: u64,
}

/// A signal as all segments have it.
struct Wanted {
    label: String,
    unit: String,
    per_frame: u64,
}

/// An open segment, and which of its signals is which of the record's.
struct Part {
    record: Record,
    which: Vec<Option<usize>>,
}

impl Segments {
    /// Opens a record of several segments; each is looked at once, so that what is wrong is told at once.
    pub(super) fn open(
        files: Box<dyn Files>,
        name: &str,
        header: &Header,
        lines: &[SegmentLine],
        remarks: &mut Vec<Remark>,
    ) -> Result<(Self, Vec<Signal>), ReadError> {
        let variable = lines.len() > 1 && lines[0].frames == 0 && lines[0].name != "~";
        let named = lines
            .iter()
            .find(|line| line.name != "~")
            .ok_or_else(|| ReadFault::Damaged("all segments are gaps".into()).of(name))?;
        let mut signals = described(&*files, &named.name, header)?;
        let wanted = signals.iter().map(|(signal, per_frame)| Wanted {
            label: signal.label.clone(),
            unit: signal.unit.clone(),
            per_frame: *per_frame,
        });
        let wanted = wanted.collect();
        let mut all = Self { files, list: Vec::new(), signals: wanted, current: None };
        let mut ranges = vec![None; signals.len()];
        let mut seen = BTreeMap::new();
        let mut start = 0u64;
        for line in lines.iter().skip(usize::from(variable)) {
            let there = line.name != "~"
                && *seen
                    .entry(line.name.as_str())
                    .or_insert_with(|| all.look_at(name, line, header, &mut ranges, remarks));
            let segment = there.then(|| line.name.clone());
            all.list.push(Segment { name: segment, start, frames: line.frames });
            start = start.saturating_add(line.frames);
        }
        if header.frames.is_some_and(|said| said != start) {
            let text = format!(
                "the segments have {start} samples together, which is taken; the header says otherwise"
            );
            remarks.push(Remark::new(name, Place::Whole, text));
        }
        for ((signal, per_frame), range) in signals.iter_mut().zip(ranges) {
            signal.samples = start.saturating_mul(*per_frame);
            signal.range = range.flatten();
        }
        Ok((all, signals.into_iter().map(|(signal, _)| signal).collect()))
    }

    /// Whether a segment can be read; what its signals' ranges are, as far as they agree.
    fn look_at(
        &self,
        name: &str,
        line: &SegmentLine,
        header: &Header,
        ranges: &mut [Option<Option<[f64; 2]>>],
        remarks: &mut Vec<Remark>,
    ) -> bool {
        let mut told = |text| remarks.push(Remark::new(name, Place::Line(line.line), text));
        match self.part(&line.name) {
            Ok((part, more)) => {
                let same_rate = part.record.rate_hz == header.rate_hz;
                if !same_rate {
                    told(format!(
                        "segment {} has another sampling rate; it counts as not recorded",
                        line.name
                    ));
                    return false;
                }
                for (range, which) in ranges.iter_mut().zip(&part.which) {
                    let Some(index) = which else { continue };
                    let this = part.record.describe(*index).range;
                    *range =
                        Some(if range.is_none_or(|range| range == this) { this } else { None });
                }
                remarks.extend(more);
                true
            }
            Err(error) => {
                told(format!("segment {} counts as not recorded ({error})", line.name));
                false
            }
        }
    }

    /// Opens a segment and finds the signals by their labels, and in their order where labels repeat.
    fn part(&self, name: &str) -> Result<(Part, Vec<Remark>), ReadError> {
        let mut remarks = Vec::new();
        let file = format!("{name}.hea");
        let header = read_header(&*self.files, &file)?;
        let Body::Signals(lines) = &header.body else {
            let what = "a segment cannot have segments itself".to_owned();
            return Err(ReadFault::Damaged(what).of(&file));
        };
        let record = Record::open(&*self.files, &file, &header, lines, &mut remarks)?;
        let mut free: Vec<bool> = vec![true; record.signals.len()];
        let mut places: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (index, signal) in record.signals.iter().enumerate().rev() {
            places.entry(signal.line.label.as_str()).or_default().push(index);
        }
        let mut which = Vec::with_capacity(self.signals.len());
        for wanted in &self.signals {
            let index = places.get_mut(wanted.label.as_str()).and_then(Vec::pop);
            let fits = |index: &usize| {
                let line = &record.signals[*index].line;
                line.per_frame == wanted.per_frame && line.unit == wanted.unit
            };
            if let Some(index) = index.filter(|index| !fits(index)) {
                let text = format!(
                    "{} has another rate or unit here; it counts as not recorded",
                    wanted.label
                );
                remarks.push(Remark::new(
                    &file,
                    Place::Line(record.signals[index].line.line),
                    text,
                ));
            }
            let index = index.filter(fits);
            if let Some(index) = index {
                free[index] = false;
            }
            which.push(index);
        }
        drop(places);
        for (signal, _) in record.signals.iter().zip(free).filter(|(_, free)| *free) {
            let text =
                format!("{} is not among the record's signals; it is left out", signal.line.label);
            remarks.push(Remark::new(&file, Place::Line(signal.line.line), text));
        }
        Ok((Part { record, which }, remarks))
    }
}

/// The signals of a segment by its header alone, each with its samples per frame.
fn described(
    files: &dyn Files,
    name: &str,
    whole: &Header,
) -> Result<Vec<(Signal, u64)>, ReadError> {
    let file = format!("{name}.hea");
    let header = read_header(files, &file)?;
    let Body::Signals(lines) = &header.body else {
        return Err(ReadFault::Damaged("a segment cannot have segments itself".into()).of(&file));
    };
    let told = lines.iter().map(|line| {
        let signal = Signal {
            label: line.label.clone(),
            unit: line.unit.clone(),
            rate_hz: whole.rate_hz * line.per_frame as f64,
            samples: 0,
            range: None,
        };
        (signal, line.per_frame)
    });
    Ok(told.collect())
}

impl Samples for Segments {
    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        let per_frame = self.signals[signal].per_frame;
        let (mut at, end) = (from, from + count as u64);
        while at < end {
            let index =
                self.list.partition_point(|one| one.start.saturating_mul(per_frame) <= at).max(1)
                    - 1;
            let segment = &self.list[index];
            let start = segment.start.saturating_mul(per_frame);
            let stop =
                segment.start.saturating_add(segment.frames).saturating_mul(per_frame).min(end);
            if stop <= at {
                break;
            }
            let run = (stop - at) as usize;
            if let Some(name) = &segment.name {
                if self.current.as_ref().is_none_or(|(open, _)| *open != index) {
                    let (part, _) = self.part(name)?;
                    self.current = Some((index, part));
                }
                if let Some((_, part)) = &mut self.current {
                    part.read(signal, at - start, run, per_frame, into)?;
                }
            } else {
                into.extend(std::iter::repeat_n(f64::NAN, run));
            }
            at = stop;
        }
        into.extend(std::iter::repeat_n(f64::NAN, (end - at) as usize));
        Ok(())
    }
}

impl Part {
    /// Appends exactly `count` samples; NaN past the segment's end, and where it has not got the signal.
    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        per_frame: u64,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        let before = into.len();
        if let Some(index) = self.which[signal] {
            let left = (self.record.frames * per_frame).saturating_sub(from);
            self.record.read(
                index,
                from,
                count.min(usize::try_from(left).unwrap_or(count)),
                into,
            )?;
        }
        into.resize(before + count, f64::NAN);
        Ok(())
    }
}
