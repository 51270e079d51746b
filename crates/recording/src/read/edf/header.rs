//! The header of an EDF file: 256 bytes, and 256 for each signal.
//!
//! Fields after Kemp, Värri, Rosa, Nielsen, Gade, Electroencephalogr Clin Neurophysiol
//! 1992;82:391–393, and for EDF+ Kemp, Olivan, Clin Neurophysiol 2003;114:1755–1761.
//! What says who was recorded, where and when is passed over.

use super::super::error::{Place, ReadError, ReadFault, Remark};
use super::super::files::Bytes;

/// Label of the signals that hold annotations.
const ANNOTATIONS: &str = "EDF Annotations";

/// What kind of EDF a file is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    Plain,
    Continuous,
    Discontinuous,
}

#[derive(Debug)]
pub(super) struct Header {
    pub(super) kind: Kind,
    /// Bytes before the first data record.
    pub(super) size: u64,
    /// How many records the header says there are, if it knows.
    pub(super) records: Option<u64>,
    /// Seconds that a record lasts.
    pub(super) record_s: f64,
    pub(super) signals: Vec<SignalHeader>,
}

#[derive(Debug)]
pub(super) struct SignalHeader {
    pub(super) label: String,
    pub(super) unit: String,
    /// Least and most value as stored, and in the unit.
    pub(super) digital: [f64; 2],
    pub(super) physical: [f64; 2],
    /// Samples in a record.
    pub(super) samples: u64,
    /// Bytes of a record before this signal's.
    pub(super) offset: u64,
}

impl SignalHeader {
    pub(super) fn is_annotations(&self) -> bool {
        self.label == ANNOTATIONS
    }

    /// Whether stored values can be turned into the unit.
    pub(super) fn is_scaled(&self) -> bool {
        self.digital[0] != self.digital[1] && self.physical[0] != self.physical[1]
    }
}

impl Header {
    /// Bytes of a data record.
    pub(super) fn record_bytes(&self) -> u64 {
        self.signals.last().map_or(0, |last| last.offset + 2 * last.samples)
    }

    pub(super) fn read(bytes: &mut Bytes, remarks: &mut Vec<Remark>) -> Result<Self, ReadError> {
        let fixed = Fields { bytes: bytes.head(256)?, name: bytes.name.clone() };
        fixed.check_version()?;
        let count =
            fixed.number(252, 4, "the number of signals", "a whole number from 1 to 9999")?;
        let (count, most) = (count as u64, bytes.length / 256);
        if count + 1 > most {
            let what = format!("the header announces {count} signals, and the file ends inside it");
            return Err(ReadFault::Damaged(what).at(&bytes.name, Place::Byte(252)));
        }
        let size = 256 * (count + 1);
        let all = Fields { bytes: bytes.head(size as usize)?, name: bytes.name.clone() };
        if all.text(184, 8).parse() != Ok(size) {
            let text = format!(
                "the header is said to have “{}” bytes; with {count} signals it has {size}, which is taken",
                all.text(184, 8)
            );
            remarks.push(Remark::new(&bytes.name, Place::Byte(184), text));
        }
        let kind = match all.text(192, 44) {
            text if text.starts_with("EDF+C") => Kind::Continuous,
            text if text.starts_with("EDF+D") => Kind::Discontinuous,
            _ => Kind::Plain,
        };
        let records = match all.text(236, 8).as_str() {
            "-1" => None,
            _ => {
                Some(all.number(236, 8, "the number of data records", "a whole number, or -1")?
                    as u64)
            }
        };
        let record_s = all.duration()?;
        let signals = all.signals(count as usize)?;
        Ok(Self { kind, size, records, record_s, signals })
    }
}

/// The header's bytes, all of them ASCII texts in fixed places.
struct Fields {
    bytes: Vec<u8>,
    name: String,
}

impl Fields {
    /// The text of a field; letters beyond ASCII, which some recorders write, as in Latin-1.
    fn text(&self, at: usize, length: usize) -> String {
        let field = self.bytes.get(at..at + length).unwrap_or_default();
        let text: String = field.iter().map(|&byte| char::from(byte)).collect();
        text.trim_matches(|letter: char| letter.is_whitespace() || letter == '\0').to_owned()
    }

    fn fault(
        &self,
        at: usize,
        length: usize,
        field: &'static str,
        expected: &'static str,
    ) -> ReadError {
        let fault = ReadFault::field(field, &self.text(at, length), expected);
        fault.at(&self.name, Place::Byte(at as u64))
    }

    fn check_version(&self) -> Result<(), ReadError> {
        if self.bytes.starts_with(b"\xffBIOSEMI") {
            let fault = ReadFault::Unsupported {
                what: "this is the variant of EDF with 24 bits (BDF), which is not read".into(),
                remedy: "export the recording as EDF+",
            };
            return Err(fault.of(&self.name));
        }
        if self.text(0, 8) != "0" {
            return Err(self.fault(0, 8, "the version", "“0”, with which every EDF file begins"));
        }
        if self.bytes.len() < 256 {
            let what =
                format!("the file ends after {} of the header's 256 bytes", self.bytes.len());
            return Err(ReadFault::Damaged(what).of(&self.name));
        }
        Ok(())
    }

    /// A whole number that is not negative.
    fn number(
        &self,
        at: usize,
        length: usize,
        field: &'static str,
        expected: &'static str,
    ) -> Result<u32, ReadError> {
        let text = self.text(at, length);
        text.parse().map_err(|_| self.fault(at, length, field, expected))
    }

    fn duration(&self) -> Result<f64, ReadError> {
        let duration = self.text(244, 8).parse().ok();
        duration
            .filter(|seconds: &f64| seconds.is_finite() && *seconds >= 0.0)
            .ok_or_else(|| self.fault(244, 8, "the duration of a data record", "seconds"))
    }

    fn limit(
        &self,
        at: usize,
        field: &'static str,
        expected: &'static str,
    ) -> Result<f64, ReadError> {
        let value = self.text(at, 8).parse().ok();
        value
            .filter(|value: &f64| value.is_finite())
            .ok_or_else(|| self.fault(at, 8, field, expected))
    }

    /// The signals' fields stand by field: all labels, then all transducers, and so on.
    fn signals(&self, count: usize) -> Result<Vec<SignalHeader>, ReadError> {
        let mut offset = 0;
        let at = |before: usize, width: usize, index: usize| 256 + count * before + index * width;
        let mut signals = Vec::with_capacity(count);
        for index in 0..count {
            let samples = self.number(
                at(216, 8, index),
                8,
                "the number of samples in a data record",
                "a whole number",
            )?;
            let samples = u64::from(samples);
            signals.push(SignalHeader {
                label: self.text(at(0, 16, index), 16),
                unit: self.text(at(96, 8, index), 8),
                physical: [
                    self.limit(at(104, 8, index), "the physical minimum", "a number")?,
                    self.limit(at(112, 8, index), "the physical maximum", "a number")?,
                ],
                digital: [
                    self.limit(at(120, 8, index), "the digital minimum", "a number")?,
                    self.limit(at(128, 8, index), "the digital maximum", "a number")?,
                ],
                samples,
                offset,
            });
            offset += 2 * samples;
        }
        Ok(signals)
    }
}
