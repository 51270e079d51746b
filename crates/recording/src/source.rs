//! What every recording looks like to those who use it.

use serde::Serialize;

use crate::ReadError;

/// Where samples come from, in pieces: nothing is held in memory but what was asked for.
pub trait Source {
    /// What the signals are, in the file's order.
    fn signals(&self) -> &[Signal];

    /// Appends samples `from .. from + count` of `signal` to `into`, in the signal's unit; NaN where none was
    /// recorded (gaps, invalid samples). Past the end fewer are appended.
    ///
    /// # Errors
    ///
    /// Where there is no such signal or the file cannot be read; then nothing is appended.
    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError>;
}

/// One signal of a recording.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Signal {
    /// Its name in the file, such as `MLII` or `ABP`; `signal 1` where it has none.
    pub label: String,
    /// Unit of the samples as the file writes it; empty where it says none, `relative` for sound files.
    pub unit: String,
    /// Samples per second.
    pub rate_hz: f64,
    /// How many samples there are, gaps included.
    pub samples: u64,
    /// Least and most value that the recorder can store, in the unit: what lies there may be cut off.
    pub range: Option<[f64; 2]>,
}

/// A remark in the file about a time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Annotation {
    /// Seconds from the recording's first sample.
    pub time_s: f64,
    /// How long it lasts in seconds; 0 where the file does not say.
    pub duration_s: f64,
    /// EDF+: the text. WFDB: the symbol, and after a space the auxiliary text where there is one.
    pub text: String,
    /// What only WFDB annotations carry.
    pub marking: Option<Marking>,
}

/// The numbers of a WFDB annotation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Marking {
    /// The sample, counted from 0 at the annotation file's rate.
    pub sample: i64,
    /// Finer class of the annotation.
    pub subtype: i8,
    /// The signal it is about.
    pub channel: u8,
    /// A number whose meaning is the annotator's.
    pub number: i8,
}
