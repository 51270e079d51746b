//! Opening recordings: which format a file has, and what had to be guessed.
//!
//! The formats are read by our own code, since general libraries read whole files and a record of
//! 24 hours is to be read by ranges.

mod csv;
mod edf;
mod error;
mod files;
mod wav;
mod wfdb;

use std::collections::BTreeMap;
use std::fmt;
use std::path::Path;

use serde::Serialize;

pub use error::{Place, ReadError, ReadFault, Remark};
use files::Bytes;
pub use files::{Files, Folder, Memory, Stream};

use crate::{Annotation, Signal, Source};

/// A recording lasts no longer than this, ten years: more is a fault in a header.
const LONGEST_S: f64 = 10.0 * 366.0 * 86_400.0;
/// So much of a file tells what it is.
const HEAD: usize = 4_096;

/// What may have to be asked for, where a file does not say it; empty at first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Asked {
    /// CSV: samples per second. Goes before what the file says.
    pub rate_hz: Option<f64>,
    /// CSV: which column holds the times.
    pub time_column: Option<TimeColumn>,
    /// CSV: what stands between columns; a space stands for any number of spaces.
    pub separator: Option<char>,
    /// CSV: whether decimals are written with a comma.
    pub decimal_comma: Option<bool>,
    /// Units by the signal's label, for any format. They go before what the file says; numbers stay as they are.
    pub units: BTreeMap<String, String>,
    /// WFDB: ending of the annotation file, such as `atr`; otherwise the first usual one that lies beside.
    pub annotator: Option<String>,
}

/// Which column of a table holds the times.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TimeColumn {
    /// None does.
    None,
    /// The one with this number, from 1.
    Number(usize),
    /// The one with this name.
    Named(String),
}

/// How a recording is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Format {
    /// European Data Format, without annotations.
    Edf,
    /// EDF+ without gaps.
    EdfPlusContinuous,
    /// EDF+ with gaps.
    EdfPlusDiscontinuous,
    /// WFDB: a header, signal files, annotation files.
    Wfdb,
    /// A table of text.
    Csv,
    /// A sound file.
    Wav,
}

/// An open recording.
pub struct Recording {
    /// The file's name without its ending.
    pub name: String,
    /// How it is stored.
    pub format: Format,
    /// What the file says about times, in their order.
    pub annotations: Vec<Annotation>,
    /// What was guessed or found odd.
    pub remarks: Vec<Remark>,
    signals: Vec<Signal>,
    samples: Box<dyn Samples>,
    file: String,
}

/// What a format's reader makes of a file.
struct Opened {
    format: Format,
    signals: Vec<Signal>,
    annotations: Vec<Annotation>,
    remarks: Vec<Remark>,
    samples: Box<dyn Samples>,
}

/// A format's samples. Signal and range exist: `Recording` has seen to that.
trait Samples: Send {
    /// Appends exactly `count` samples.
    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError>;
}

impl Recording {
    /// Opens a recording: any one of its files, or a WFDB record's name. The format is found by
    /// content first, then by name.
    ///
    /// # Errors
    ///
    /// Where the file is missing, damaged, or of no known format; [`ReadFault::NeedsRate`] where
    /// something has to be asked for.
    pub fn open(path: &Path, how: &Asked) -> Result<Self, ReadError> {
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
        let Some(name) = name else {
            return Err(ReadFault::Missing.of(&path.to_string_lossy()));
        };
        Self::open_in(Box::new(Folder::new(path.parent().unwrap_or(Path::new("")))), &name, how)
    }

    /// Opens the recording called `name` among `files`, such as an upload.
    ///
    /// # Errors
    ///
    /// As [`Recording::open`].
    pub fn open_in(files: Box<dyn Files>, name: &str, how: &Asked) -> Result<Self, ReadError> {
        let mut opened = opened(files, name, how)?;
        for signal in &mut opened.signals {
            check_length(name, signal)?;
            if let Some(unit) = how.units.get(&signal.label) {
                signal.unit.clone_from(unit);
            }
        }
        opened.annotations.retain(|one| one.time_s.is_finite());
        opened.annotations.sort_by(|one, other| one.time_s.total_cmp(&other.time_s));
        let (file, name) = (name.to_owned(), stem(name).to_owned());
        let Opened { format, signals, annotations, remarks, samples } = opened;
        Ok(Self { name, format, annotations, remarks, signals, samples, file })
    }

    /// How long the longest signal lasts, in seconds.
    pub fn duration_s(&self) -> f64 {
        self.signals.iter().map(|one| one.samples as f64 / one.rate_hz).fold(0.0, f64::max)
    }
}

impl fmt::Debug for Recording {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.debug_struct("Recording")
            .field("name", &self.name)
            .field("format", &self.format)
            .field("signals", &self.signals)
            .field("annotations", &self.annotations.len())
            .field("remarks", &self.remarks)
            .finish_non_exhaustive()
    }
}

impl Source for Recording {
    fn signals(&self) -> &[Signal] {
        &self.signals
    }

    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        let Some(one) = self.signals.get(signal) else {
            let what = format!("there is no signal {}; there are {}", signal, self.signals.len());
            return Err(ReadFault::Asked(what).of(&self.file));
        };
        let left = usize::try_from(one.samples.saturating_sub(from)).unwrap_or(usize::MAX);
        let (before, count) = (into.len(), count.min(left));
        let done = self.samples.read(signal, from, count, into);
        debug_assert!(done.is_err() || into.len() - before == count, "as many as asked for");
        if done.is_err() {
            into.truncate(before);
        }
        done
    }
}

/// Finds the format and lets its reader open the file.
fn opened(files: Box<dyn Files>, name: &str, how: &Asked) -> Result<Opened, ReadError> {
    let mut bytes = match Bytes::open(&*files, name) {
        Ok(bytes) => bytes,
        // A WFDB record is called by its name without an ending.
        Err(error) if error.fault == ReadFault::Missing => {
            return if Bytes::open(&*files, &format!("{name}.hea")).is_ok() {
                wfdb::open(files, name, how)
            } else {
                Err(error)
            };
        }
        Err(error) => return Err(error),
    };
    if bytes.length == 0 {
        return Err(ReadFault::Empty.of(name));
    }
    let head = bytes.head(HEAD)?;
    let ending = name.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase());
    match ending.as_deref() {
        _ if wav::is(&head) => wav::open(bytes),
        _ if edf::is(&head) => edf::open(bytes),
        Some("hea") => wfdb::open(files, stem(name), how),
        Some("edf" | "bdf") => edf::open(bytes),
        Some("wav") => wav::open(bytes),
        // A table may lie beside a record of the same name.
        Some("csv" | "tsv" | "txt") if csv::is(&head) => csv::open(bytes, how),
        _ if Bytes::open(&*files, &format!("{}.hea", stem(name))).is_ok() => {
            wfdb::open(files, stem(name), how)
        }
        _ if csv::is(&head) => csv::open(bytes, how),
        _ => Err(ReadFault::Kind.of(name)),
    }
}

/// A name without its ending.
fn stem(name: &str) -> &str {
    match name.rsplit_once('.') {
        Some((stem, _)) if !stem.is_empty() => stem,
        _ => name,
    }
}

/// Whoever goes over a signal must come to an end.
fn check_length(file: &str, signal: &Signal) -> Result<(), ReadError> {
    let rated = signal.rate_hz.is_finite() && signal.rate_hz > 0.0;
    if rated && signal.samples as f64 / signal.rate_hz <= LONGEST_S {
        return Ok(());
    }
    let what = format!(
        "the signal “{}” would have {} samples at {} a second, more than ten years",
        signal.label, signal.samples, signal.rate_hz
    );
    Err(ReadFault::Damaged(what).of(file))
}
