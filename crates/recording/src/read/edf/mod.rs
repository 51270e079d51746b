//! EDF and EDF+: data records in which every signal has its samples of 16 bits.

mod annotations;
mod header;

use header::{Header, Kind, SignalHeader};

use super::error::{Place, ReadError, ReadFault, Remark};
use super::files::Bytes;
use super::{Format, Opened, Samples};
use crate::{Annotation, Signal};

/// So many faults in annotations are told one by one.
const MOST_TOLD: usize = 5;
/// A gap in time is told from rounding by half a sample; fewer is the clock's.
const HALF: f64 = 0.5;

/// Whether a file begins as this format does.
pub(super) fn is(head: &[u8]) -> bool {
    let number = |at: std::ops::Range<usize>| {
        head.get(at).is_some_and(|field| {
            let text = field.trim_ascii();
            !text.is_empty() && text.iter().all(u8::is_ascii_digit)
        })
    };
    head.starts_with(b"\xffBIOSEMI")
        || head.starts_with(b"0       ") && number(184..192) && number(252..256)
}

struct Edf {
    bytes: Bytes,
    start: u64,
    record_bytes: u64,
    records: u64,
    shown: Vec<Shown>,
    /// Seconds from the first record to each, where there are gaps.
    onsets_s: Option<Vec<f64>>,
}

/// A signal that is not annotations.
struct Shown {
    offset: u64,
    samples: u64,
    rate_hz: f64,
    step: f64,
    digital_min: f64,
    physical_min: f64,
}

/// Opens an EDF file.
pub(super) fn open(mut bytes: Bytes) -> Result<Opened, ReadError> {
    let mut remarks = Vec::new();
    let header = Header::read(&mut bytes, &mut remarks)?;
    let records = count_records(&bytes, &header, &mut remarks)?;
    let mut noted = Noted::read(&mut bytes, &header, records, &mut remarks)?;
    let onsets_s = match header.kind {
        Kind::Discontinuous => noted.gaps(&bytes.name, &header, records, &mut remarks),
        _ => None,
    };
    let end_s = onsets_s
        .as_ref()
        .and_then(|onsets| onsets.last().map(|last| last + header.record_s))
        .unwrap_or(records as f64 * header.record_s);
    let (mut shown, mut signals) = (Vec::new(), Vec::new());
    for (index, one) in header.signals.iter().enumerate().filter(|(_, one)| !one.is_annotations()) {
        if let Some((how, signal)) = show(&bytes.name, &header, index, one, end_s, &mut remarks)? {
            shown.push(how);
            signals.push(signal);
        }
    }
    let format = match header.kind {
        Kind::Plain => Format::Edf,
        Kind::Continuous => Format::EdfPlusContinuous,
        Kind::Discontinuous => Format::EdfPlusDiscontinuous,
    };
    let (start, record_bytes) = (header.size, header.record_bytes());
    let samples = Box::new(Edf { bytes, start, record_bytes, records, shown, onsets_s });
    Ok(Opened { format, signals, annotations: noted.annotations, remarks, samples })
}

/// Records in the file, beside what the header says.
fn count_records(
    bytes: &Bytes,
    header: &Header,
    remarks: &mut Vec<Remark>,
) -> Result<u64, ReadError> {
    let size = header.record_bytes();
    let left = bytes.length.saturating_sub(header.size);
    let there = left.checked_div(size).unwrap_or(0);
    if there == 0 {
        let what = format!(
            "there is no whole data record: one would have {size} bytes, and {left} follow the header"
        );
        return Err(ReadFault::Damaged(what).at(&bytes.name, Place::Byte(header.size)));
    }
    let said = header.records.unwrap_or(there);
    let mut told = |text| remarks.push(Remark::new(&bytes.name, Place::Byte(236), text));
    if said > there {
        told(format!("the header announces {said} data records; the file ends after {there}"));
    } else if header.records.is_none() {
        told(format!(
            "the header does not say how many data records there are; {there} were found"
        ));
    } else if left > said * size {
        let more = left - said * size;
        told(format!("{more} bytes follow the {said} data records that the header announces"));
    }
    Ok(said.min(there))
}

/// How to read a signal and what to say of it; none where it has nothing to read.
fn show(
    file: &str,
    header: &Header,
    index: usize,
    one: &SignalHeader,
    end_s: f64,
    remarks: &mut Vec<Remark>,
) -> Result<Option<(Shown, Signal)>, ReadError> {
    let label =
        if one.label.is_empty() { format!("signal {}", index + 1) } else { one.label.clone() };
    let mut left_out = |why: &str| {
        let text = format!("the signal “{label}” is left out: {why}");
        remarks.push(Remark::new(file, Place::Byte(256 + index as u64 * 16), text));
        Ok(None)
    };
    if one.samples == 0 {
        return left_out("it has no samples");
    }
    if !one.is_scaled() {
        return left_out("its least and most values are the same, so that its unit is unknown");
    }
    if header.record_s == 0.0 {
        let fault = ReadFault::field("the duration of a data record", "0", "more than 0 seconds");
        return Err(fault.at(file, Place::Byte(244)));
    }
    let rate_hz = one.samples as f64 / header.record_s;
    let step = (one.physical[1] - one.physical[0]) / (one.digital[1] - one.digital[0]);
    let how = Shown {
        offset: one.offset,
        samples: one.samples,
        rate_hz,
        step,
        digital_min: one.digital[0],
        physical_min: one.physical[0],
    };
    let [one_end, other_end] = one.physical;
    let signal = Signal {
        label,
        unit: one.unit.clone(),
        rate_hz,
        samples: (end_s * rate_hz).round() as u64,
        range: Some([one_end.min(other_end), one_end.max(other_end)]),
    };
    Ok(Some((how, signal)))
}

/// What the annotation signals say.
#[derive(Default)]
struct Noted {
    annotations: Vec<Annotation>,
    /// When each record starts, where it is said.
    onsets_s: Vec<Option<f64>>,
    /// How many are not of the form.
    faults: usize,
}

impl Noted {
    fn read(
        bytes: &mut Bytes,
        header: &Header,
        records: u64,
        remarks: &mut Vec<Remark>,
    ) -> Result<Self, ReadError> {
        let mut noted = Self::default();
        let signals: Vec<_> = header.signals.iter().filter(|one| one.is_annotations()).collect();
        if signals.is_empty() && header.kind != Kind::Plain {
            let text = "the header says EDF+, but there is no annotation signal";
            remarks.push(Remark::new(&bytes.name, Place::Byte(192), text));
        }
        if signals.is_empty() {
            return Ok(noted);
        }
        for record in 0..records {
            let onset_s = noted.read_record(bytes, header, &signals, record, remarks)?;
            // Without gaps, the first record's start is all that is needed.
            if header.kind == Kind::Discontinuous || record == 0 {
                noted.onsets_s.push(onset_s);
            }
        }
        if noted.faults > MOST_TOLD {
            let text = format!("{} annotations in all are not of the expected form", noted.faults);
            remarks.push(Remark::new(&bytes.name, Place::Whole, text));
        }
        noted.count_from_first();
        Ok(noted)
    }

    /// The annotations in one record; gives its start, if they tell it.
    fn read_record(
        &mut self,
        bytes: &mut Bytes,
        header: &Header,
        signals: &[&SignalHeader],
        record: u64,
        remarks: &mut Vec<Remark>,
    ) -> Result<Option<f64>, ReadError> {
        let mut onset_s = None;
        for one in signals {
            let at = header.size + record * header.record_bytes() + one.offset;
            // A whole record is in the file, so no more than the file is asked for.
            let mut buffer = vec![0; 2 * one.samples as usize];
            bytes.read_at(at, &mut buffer)?;
            for list in annotations::lists(&buffer) {
                match list {
                    Ok(list) => self.take(list, &mut onset_s),
                    Err(place) => self.fault(&bytes.name, at + place as u64, remarks),
                }
            }
        }
        Ok(onset_s)
    }

    fn fault(&mut self, file: &str, byte: u64, remarks: &mut Vec<Remark>) {
        self.faults += 1;
        if self.faults <= MOST_TOLD {
            let text = "an annotation is not of the expected form; it is left out";
            remarks.push(Remark::new(file, Place::Byte(byte), text));
        }
    }

    /// Keeps what a list says.
    fn take(&mut self, list: annotations::List, onset_s: &mut Option<f64>) {
        if list.keeps_time && onset_s.is_none() {
            *onset_s = Some(list.onset_s);
        }
        let (time_s, duration_s) = (list.onset_s, list.duration_s);
        let told = list.texts.into_iter();
        self.annotations.extend(told.map(|text| Annotation {
            time_s,
            duration_s,
            text,
            marking: None,
        }));
    }

    /// From seconds after the header's start to seconds after the first sample.
    fn count_from_first(&mut self) {
        let first = self.onsets_s.first().copied().flatten().unwrap_or(0.0);
        self.annotations.iter_mut().for_each(|one| one.time_s -= first);
        self.onsets_s.iter_mut().flatten().for_each(|onset| *onset -= first);
    }

    /// When each record starts, if any starts later than the one before ends.
    fn gaps(
        &mut self,
        file: &str,
        header: &Header,
        records: u64,
        remarks: &mut Vec<Remark>,
    ) -> Option<Vec<f64>> {
        let onsets = std::mem::take(&mut self.onsets_s);
        let most = header.signals.iter().map(|one| one.samples).max().unwrap_or(1);
        let close_s = HALF * header.record_s / most.max(1) as f64;
        let (mut end_s, mut gaps, mut moved) = (0.0, 0u64, 0u64);
        let mut starts = Vec::new();
        for onset in (0..records as usize).map(|record| onsets.get(record).copied().flatten()) {
            let onset = onset.unwrap_or(end_s);
            gaps += u64::from(onset > end_s + close_s);
            moved += u64::from(onset < end_s - close_s);
            let start_s = if onset > end_s + close_s { onset } else { end_s };
            starts.push(start_s);
            end_s = start_s + header.record_s;
        }
        if moved > 0 {
            let text = format!(
                "{moved} data records start before the one before ends; they are put after it"
            );
            remarks.push(Remark::new(file, Place::Whole, text));
        }
        (gaps > 0).then_some(starts)
    }
}

impl Edf {
    /// Where sample `at` of a signal lies: its record and place therein, and how many follow in
    /// one piece; without a record, how many were not recorded.
    fn locate(&self, how: &Shown, at: u64) -> (Option<(u64, u64)>, u64) {
        let Some(onsets) = &self.onsets_s else {
            let place = at % how.samples;
            return (Some((at / how.samples, place)), how.samples - place);
        };
        let start = |record: usize| (onsets[record] * how.rate_hz).round() as u64;
        let next = onsets.partition_point(|&onset| (onset * how.rate_hz).round() as u64 <= at);
        let end = if next < onsets.len() { start(next) } else { u64::MAX };
        let Some(record) = next.checked_sub(1) else {
            return (None, end - at);
        };
        let place = at - start(record);
        if place < how.samples {
            (Some((record as u64, place)), (how.samples - place).min(end - at))
        } else {
            (None, end - at)
        }
    }
}

impl Samples for Edf {
    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        let mut buffer = Vec::new();
        let end = from + count as u64;
        let mut at = from;
        while at < end {
            let how = &self.shown[signal];
            let (place, run) = self.locate(how, at);
            let run = run.min(end - at);
            match place.filter(|&(record, _)| record < self.records) {
                None => into.extend(std::iter::repeat_n(f64::NAN, run as usize)),
                Some((record, place)) => {
                    buffer.resize(2 * run as usize, 0);
                    let byte = self.start + record * self.record_bytes + how.offset + 2 * place;
                    if self.bytes.read_at(byte, &mut buffer)? < buffer.len() {
                        let fault = ReadFault::Damaged("the file has become shorter".into());
                        return Err(fault.at(&self.bytes.name, Place::Byte(byte)));
                    }
                    let pairs = buffer.chunks_exact(2);
                    let stored = pairs.map(|pair| i16::from_le_bytes([pair[0], pair[1]]));
                    into.extend(stored.map(|value| {
                        (f64::from(value) - how.digital_min) * how.step + how.physical_min
                    }));
                }
            }
            at += run;
        }
        Ok(())
    }
}
