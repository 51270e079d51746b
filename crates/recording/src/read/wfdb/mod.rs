//! WFDB records: a header, signal files in several formats, annotation files, several segments.

mod annotations;
mod flac;
mod formats;
mod header;
mod record;
mod segments;

use header::{Body, Header};
use record::Record;
use segments::Segments;

use super::error::{Place, ReadError, ReadFault, Remark};
use super::files::{Files, open_named};
use super::{Asked, Format, Opened, Samples};
use crate::Signal;

/// Longer headers are no headers.
const MOST_HEADER: usize = 16 << 20;
/// Up to so many samples are added up when a record is opened, to compare checksums: a moment's work.
const VERIFIED: u64 = 2_000_000;

/// Opens the record called `name`.
pub(super) fn open(files: Box<dyn Files>, name: &str, how: &Asked) -> Result<Opened, ReadError> {
    let file = format!("{name}.hea");
    let header = read_header(&*files, &file)?;
    let mut remarks = Vec::new();
    let rate_hz = header.rate_hz;
    let annotations =
        annotations::beside(&*files, name, how.annotator.as_deref(), rate_hz, &mut remarks)?;
    let (samples, signals): (Box<dyn Samples>, Vec<Signal>) = match &header.body {
        Body::Segments(lines) => {
            let (segments, signals) = Segments::open(files, &file, &header, lines, &mut remarks)?;
            (Box::new(segments), signals)
        }
        Body::Signals(lines) => {
            let mut record = Record::open(&*files, &file, &header, lines, &mut remarks)?;
            if record.size() <= VERIFIED {
                // What cannot be read is told when it is asked for; the rest may be sound.
                if let Err(error) = record.verify(&mut remarks) {
                    let text = format!("not all of it can be read ({error})");
                    remarks.push(Remark::new(&file, Place::Whole, text));
                }
            }
            let signals = (0..record.signals.len()).map(|index| record.describe(index)).collect();
            (Box::new(record), signals)
        }
    };
    if signals.is_empty() {
        remarks.push(Remark::new(&file, Place::Whole, "the record has no signals"));
    }
    Ok(Opened { format: Format::Wfdb, signals, annotations, remarks, samples })
}

/// Reads a header by its file's name.
fn read_header(files: &dyn Files, file: &str) -> Result<Header, ReadError> {
    let mut bytes = open_named(files, file, file)?;
    let head = bytes.head(MOST_HEADER)?;
    if head.is_empty() {
        return Err(ReadFault::Empty.of(file));
    }
    Header::read(file, &String::from_utf8_lossy(&head))
}

impl Samples for Record {
    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        Self::read(self, signal, from, count, into)
    }
}
