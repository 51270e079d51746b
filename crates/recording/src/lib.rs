//! Recordings from the lab, beat by beat: EDF and EDF+, WFDB, CSV and WAV files read by ranges, and
//! what is found and measured on them.
//!
//! [`Recording::open`] finds out what a file is; [`Source::read`] then gives any range of any
//! signal in its unit, so that a record of 24 hours does not need its size in memory. What was
//! guessed or found odd is told in [`Recording::remarks`]. Names and other details of the person
//! recorded are neither shown nor kept.
//!
//! [`guess`] names a source's signals, [`look`] finds out which way an ECG points, [`landmark`]
//! finds every beat with its landmarks, [`average()`] makes one cycle of them that can be drawn and
//! judged like any other, and [`measure()`] tells intervals and pressures beside what has been
//! published. All of it is for teaching: nothing here is a finding about a person.
//!
//! ```
//! use recording::{Asked, Memory, Recording, Source};
//!
//! let table = b"time_s,ECG (mV)\n0.000,0.1\n0.002,0.2\n0.004,0.1\n0.006,0.0\n";
//! let files = Memory::one("lab.csv", table.to_vec());
//! let mut lab = Recording::open_in(Box::new(files), "lab.csv", &Asked::default())?;
//! assert_eq!(lab.signals()[0].label, "ECG");
//! assert_eq!((lab.signals()[0].unit.as_str(), lab.signals()[0].rate_hz), ("mV", 500.0));
//! let mut samples = Vec::new();
//! lab.read(0, 1, 2, &mut samples)?;
//! assert_eq!(samples, [0.2, 0.1]);
//! # Ok::<(), recording::ReadError>(())
//! ```

/// What is shown wherever a recording is opened, and printed on whatever comes out of it.
pub const CAUTION: &str = "For teaching; not a medical device. Recordings of people are private. Connect people only to approved, isolated equipment, and follow the laboratory's safety rules.";

mod arithmetic;
mod average;
mod beat;
mod corrections;
mod explain;
mod find;
mod held;
mod kinds;
mod measure;
mod naming;
mod normal;
mod piece;
mod quality;
mod read;
mod source;
mod statistics;
mod stretch;

pub use average::{Average, AverageMark, LeftOut, Spread, average};
pub use beat::{Anchor, Beat, BeatMark};
pub use corrections::{
    Change, Correction, CorrectionError, CorrectionFault, Which, correct, corrections, is_anchor,
    landmarks_of, makes_beat,
};
pub use explain::late_pulse;
pub use find::{beats, landmark, landmark_between, look, look_from};
pub use held::Held;
pub use measure::{Measurement, Measurements, Published, measure};
pub use naming::{Named, guess};
pub use quality::{ChannelQuality, Quality};
pub use read::{
    Asked, Files, Folder, Format, Memory, Place, ReadError, ReadFault, Recording, Remark, Stream,
    TimeColumn,
};
pub use source::{Annotation, Marking, Signal, Source};
pub use statistics::Statistics;
