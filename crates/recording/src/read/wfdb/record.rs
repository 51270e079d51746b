//! A WFDB record of one segment: its signal files and how samples lie in them.

use super::super::error::{Place, ReadError, ReadFault, Remark};
use super::super::files::{Bytes, Files, open_named};
use super::flac::Flac;
use super::formats::Coding;
use super::header::{Header, SignalLine};
use crate::Signal;

/// So many samples are read at a time, of all signals of a file together.
const PIECE: u64 = 16_384;
/// More frames are a fault; so that products stay exact.
const MOST_FRAMES: u64 = 1 << 47;

pub(super) struct Record {
    /// The header's name.
    pub(super) name: String,
    pub(super) rate_hz: f64,
    pub(super) frames: u64,
    pub(super) signals: Vec<Stored>,
    groups: Vec<Group>,
    /// Whether all that the header announces is there.
    whole: bool,
}

/// A signal and where it lies.
pub(super) struct Stored {
    pub(super) line: SignalLine,
    group: usize,
    /// Samples of a frame before this signal's; of FLAC files, the channel.
    place: u64,
}

/// Signals that share a file.
struct Group {
    data: Data,
    coding: Coding,
    offset: u64,
    /// Samples of a frame.
    width: u64,
    /// Samples in the file, of all signals; of FLAC files, of each.
    samples: Option<u64>,
}

enum Data {
    None,
    Raw(Bytes),
    Flac(Box<Flac>),
}

impl Record {
    /// Opens the signal files. One that cannot be opened is left out with its signals, unless none is left.
    pub(super) fn open(
        files: &dyn Files,
        name: &str,
        header: &Header,
        lines: &[SignalLine],
        remarks: &mut Vec<Remark>,
    ) -> Result<Self, ReadError> {
        let rate_hz = header.rate_hz;
        let (signals, groups) = (Vec::new(), Vec::new());
        let mut record =
            Self { name: name.to_owned(), rate_hz, frames: 0, signals, groups, whole: true };
        let mut fault = None;
        for lines in lines.chunk_by(|one, next| one.file == next.file && one.file != "~") {
            match Group::open(files, name, lines) {
                Ok(group) => record.add(group, lines),
                Err(error) => {
                    let labels: Vec<_> = lines.iter().map(|line| line.label.as_str()).collect();
                    let text = format!("left out: {} ({error})", labels.join(", "));
                    remarks.push(Remark::new(name, Place::Line(lines[0].line), text));
                    fault.get_or_insert(error);
                }
            }
        }
        if let Some(error) = fault.filter(|_| record.signals.is_empty()) {
            return Err(error);
        }
        record.count_frames(header, remarks)?;
        record.tell_uncalibrated(remarks);
        Ok(record)
    }

    fn add(&mut self, group: Group, lines: &[SignalLine]) {
        let flac = matches!(group.data, Data::Flac(_));
        let mut place = 0;
        for line in lines {
            self.signals.push(Stored { line: line.clone(), group: self.groups.len(), place });
            place += if flac { 1 } else { line.per_frame };
        }
        self.groups.push(group);
    }

    /// How long the record is: what the header says, if the files hold as much.
    fn count_frames(
        &mut self,
        header: &Header,
        remarks: &mut Vec<Remark>,
    ) -> Result<(), ReadError> {
        let groups = self.groups.iter().enumerate();
        let there = groups.filter_map(|(index, group)| group.frames(&self.signals, index));
        let (least, most) =
            there.fold((u64::MAX, 0), |(least, most), one| (least.min(one), most.max(one)));
        let open_ended = self.groups.iter().any(|group| group.samples.is_none());
        let said = header.frames.unwrap_or(if self.groups.is_empty() { 0 } else { most });
        self.frames = if open_ended || self.groups.is_empty() { said } else { said.min(most) };
        if said > least && least < u64::MAX {
            self.whole = false;
            let text = format!(
                "{said} samples are announced, and a signal file ends after {least}; what is missing counts as not recorded"
            );
            remarks.push(Remark::new(&self.name, Place::Whole, text));
        }
        if self.frames > MOST_FRAMES || (self.frames == 0 && !self.signals.is_empty()) {
            let what = format!("the record would have {} samples", self.frames);
            return Err(ReadFault::Damaged(what).of(&self.name));
        }
        Ok(())
    }

    fn tell_uncalibrated(&self, remarks: &mut Vec<Remark>) {
        for line in self.signals.iter().map(|one| &one.line).filter(|line| line.uncalibrated) {
            let text = format!(
                "the header gives no gain for {}; {} steps per {} are taken",
                line.label, line.gain, line.unit
            );
            remarks.push(Remark::new(&self.name, Place::Line(line.line), text));
        }
    }

    /// What is said of a signal.
    pub(super) fn describe(&self, index: usize) -> Signal {
        let line = &self.signals[index].line;
        let [low, high] =
            line.coding.limits(line.resolution, line.zero).map(|value| line.physical(value));
        Signal {
            label: line.label.clone(),
            unit: line.unit.clone(),
            rate_hz: self.rate_hz * line.per_frame as f64,
            samples: self.frames * line.per_frame,
            range: Some([low.min(high), low.max(high)]),
        }
    }

    /// Appends exactly `count` samples in the signal's unit, NaN where there is none.
    pub(super) fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        let mut raw = Vec::new();
        let mut done = 0;
        while done < count {
            let piece = (count - done).min(PIECE as usize);
            raw.clear();
            self.raw(signal, from + done as u64, piece, &mut raw)?;
            let line = &self.signals[signal].line;
            let invalid = line.coding.invalid();
            into.extend(
                raw.iter().map(
                    |&value| {
                        if value == invalid { f64::NAN } else { line.physical(value) }
                    },
                ),
            );
            done += piece;
        }
        Ok(())
    }

    /// Appends exactly `count` samples as stored; the invalid value where there is none.
    fn raw(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<i64>,
    ) -> Result<(), ReadError> {
        let one = &self.signals[signal];
        let group = &mut self.groups[one.group];
        let before = into.len();
        let from = from + one.line.skew * one.line.per_frame;
        match &mut group.data {
            Data::None => {}
            Data::Flac(flac) => flac.read(one.place as usize, from, count, into)?,
            Data::Raw(bytes) => {
                let layout = Layout {
                    coding: group.coding,
                    offset: group.offset,
                    width: group.width,
                    samples: group.samples.unwrap_or(0),
                    place: one.place,
                    per_frame: one.line.per_frame,
                };
                layout.read(bytes, from, count, into)?;
            }
        }
        into.resize(before + count, group.coding.invalid());
        Ok(())
    }

    /// Samples of all signals together.
    pub(super) fn size(&self) -> u64 {
        let per_frame: u64 = self.signals.iter().map(|one| one.line.per_frame).sum();
        self.frames.saturating_mul(per_frame)
    }

    /// Compares first values and checksums with the header's; reads the whole record.
    pub(super) fn verify(&mut self, remarks: &mut Vec<Remark>) -> Result<(), ReadError> {
        for signal in 0..self.signals.len() {
            let (mut sum, mut first) = (0i64, None);
            let (mut at, end) = (0, self.frames * self.signals[signal].line.per_frame);
            let mut raw = Vec::new();
            while at < end {
                raw.clear();
                self.raw(signal, at, (end - at).min(PIECE) as usize, &mut raw)?;
                first = first.or(raw.first().copied());
                sum += raw.iter().sum::<i64>();
                at += raw.len() as u64;
            }
            let line = &self.signals[signal].line;
            // Sums are of what is stored; a skewed signal's ends are not all seen.
            if line.skew > 0 || line.coding == Coding::Null || !self.whole {
                continue;
            }
            let mut told =
                |text| remarks.push(Remark::new(&self.name, Place::Line(line.line), text));
            if let Some(said) = line.checksum.filter(|said| said.wrapping_sub(sum) % 65_536 != 0) {
                let sum = sum as i16;
                told(format!(
                    "the samples of {} add up to {sum}, not to the header's checksum {said}: they may be spoiled",
                    line.label
                ));
            }
            let first = first.filter(|first| *first != line.coding.invalid());
            if let Some((said, first)) = line.first.zip(first).filter(|(said, first)| said != first)
            {
                told(format!(
                    "the first sample of {} is {first}, not {said} as the header says",
                    line.label
                ));
            }
        }
        Ok(())
    }
}

impl SignalLine {
    fn physical(&self, value: i64) -> f64 {
        (value as f64 - self.baseline) / self.gain
    }
}

impl Group {
    fn open(files: &dyn Files, header: &str, lines: &[SignalLine]) -> Result<Self, ReadError> {
        let first = &lines[0];
        let (coding, offset) = (first.coding, first.offset);
        let width = lines.iter().map(|line| line.per_frame).sum();
        let fault =
            |what: &str| ReadFault::Damaged(what.into()).at(header, Place::Line(first.line));
        if lines.iter().any(|line| line.coding != coding) {
            return Err(fault("signals of one file have different formats"));
        }
        if coding == Coding::Null || first.file == "~" {
            return Ok(Self {
                data: Data::None,
                coding: Coding::Null,
                offset,
                width,
                samples: None,
            });
        }
        let bytes = open_named(files, header, &first.file)?;
        let Coding::Flac(bits) = coding else {
            let samples = Some(coding.samples_in(bytes.length.saturating_sub(offset)));
            return Ok(Self { data: Data::Raw(bytes), coding, offset, width, samples });
        };
        let flac = Flac::open(bytes)?;
        if flac.channels != lines.len() || flac.bits > bits {
            return Err(fault("the FLAC file has other signals than the header says"));
        }
        if lines.iter().any(|line| line.per_frame != first.per_frame) {
            return Err(fault("signals of one FLAC file have different rates"));
        }
        let samples = flac.samples;
        Ok(Self { data: Data::Flac(Box::new(flac)), coding, offset, width, samples })
    }

    /// Whole frames in the file, if it says how many.
    fn frames(&self, signals: &[Stored], index: usize) -> Option<u64> {
        let samples = self.samples?;
        let per_frame = match self.data {
            Data::Flac(_) => {
                signals.iter().find(|one| one.group == index).map_or(1, |one| one.line.per_frame)
            }
            _ => self.width,
        };
        Some(samples / per_frame)
    }
}

/// How one signal's samples lie among those of its file.
struct Layout {
    coding: Coding,
    offset: u64,
    width: u64,
    samples: u64,
    place: u64,
    per_frame: u64,
}

impl Layout {
    /// Where a signal's sample lies among all of the file.
    fn index(&self, sample: u64) -> u64 {
        sample / self.per_frame * self.width + self.place + sample % self.per_frame
    }

    /// Appends as many samples as the file holds.
    fn read(
        &self,
        bytes: &mut Bytes,
        from: u64,
        count: usize,
        into: &mut Vec<i64>,
    ) -> Result<(), ReadError> {
        let (group, size) = self.coding.group();
        let piece = (PIECE / self.width).max(1);
        let frames = self.samples.div_ceil(self.width);
        let end = (from + count as u64).min(frames * self.per_frame);
        let (mut at, mut buffer) = (from, Vec::new());
        while at < end {
            let stop = ((at / self.per_frame + piece) * self.per_frame).min(end);
            let (first, last) = (self.index(at) / group, self.index(stop - 1) / group);
            buffer.resize(((last - first + 1) * size) as usize, 0);
            let filled = bytes.read_at(self.offset + first * size, &mut buffer)?;
            buffer.truncate(filled);
            for index in (at..stop).map(|sample| self.index(sample)) {
                if index >= self.samples {
                    return Ok(());
                }
                into.push(self.coding.sample(&buffer, (index - first * group) as usize));
            }
            at = stop;
        }
        Ok(())
    }
}
