//! What can be wrong with a file, and what was found odd about it.

use std::fmt;
use std::io;

use serde::Serialize;

/// Where in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// The file as a whole.
    Whole,
    /// At this byte, counted from 0.
    Byte(u64),
    /// In this line, counted from 1.
    Line(u64),
}

impl fmt::Display for Place {
    /// Written after a file's name: `, line 3`.
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Whole => Ok(()),
            Self::Byte(byte) => write!(out, ", byte {byte}"),
            Self::Line(line) => write!(out, ", line {line}"),
        }
    }
}

/// What was guessed or found odd, in words, with where.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Remark {
    /// The file's name.
    pub file: String,
    /// Where in it.
    pub place: Place,
    /// What, in words.
    pub text: String,
}

impl Remark {
    pub(crate) fn new(file: &str, place: Place, text: impl Into<String>) -> Self {
        Self { file: file.to_owned(), place, text: text.into() }
    }
}

impl fmt::Display for Remark {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}{}: {}", self.file, self.place, self.text)
    }
}

/// A recording that cannot be opened or read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}{place}: {fault}")]
pub struct ReadError {
    /// The file's name.
    pub file: String,
    /// Where in it.
    pub place: Place,
    /// What is wrong.
    pub fault: ReadFault,
}

/// What is wrong with a file, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadFault {
    /// No file of this name.
    #[error(
        "there is no such file; a WFDB record needs its header (.hea) and its signal files in the same folder"
    )]
    Missing,
    /// The operating system refuses.
    #[error("it cannot be read: {0}")]
    Refused(String),
    /// No bytes.
    #[error("the file is empty; copy or export it again")]
    Empty,
    /// Contents of no known kind.
    #[error(
        "this is neither EDF nor WAV nor a table of text, and no WFDB header has its name; open a WFDB record by its header (.hea), or export the recording as EDF+, WFDB, CSV or WAV"
    )]
    Kind,
    /// A name that leads out of the folder.
    #[error(
        "it names the file “{0}”, which lies outside its folder; put the file beside the header and name it without a path"
    )]
    Outside(String),
    /// A field of a header.
    #[error("{field} is “{text}”; expected {expected}")]
    Field {
        /// Its name.
        field: &'static str,
        /// What stands there.
        text: String,
        /// What should.
        expected: &'static str,
    },
    /// Cut off or spoiled.
    #[error("{0}; copy or export the file again")]
    Damaged(String),
    /// A way of storing that is not read.
    #[error("{what}; {remedy}")]
    Unsupported {
        /// What it is.
        what: String,
        /// What to do instead.
        remedy: &'static str,
    },
    /// A table without times.
    #[error(
        "neither a time column nor a sampling rate was found; say how many samples there are per second"
    )]
    NeedsRate,
    /// Something asked for is not there.
    #[error("{0}")]
    Asked(String),
}

impl ReadFault {
    pub(crate) fn at(self, file: &str, place: Place) -> ReadError {
        ReadError { file: file.to_owned(), place, fault: self }
    }

    /// For the file as a whole.
    pub(crate) fn of(self, file: &str) -> ReadError {
        self.at(file, Place::Whole)
    }

    pub(crate) fn field(field: &'static str, text: &str, expected: &'static str) -> Self {
        Self::Field { field, text: excerpt(text), expected }
    }
}

impl From<io::Error> for ReadFault {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound => Self::Missing,
            _ => Self::Refused(error.to_string()),
        }
    }
}

/// As much of a text as can stand in a message.
pub(crate) fn excerpt(text: &str) -> String {
    const MOST: usize = 40;
    let mut short: String =
        text.chars().take(MOST).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    if text.chars().nth(MOST).is_some() {
        short.push('…');
    }
    short
}
