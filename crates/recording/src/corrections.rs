//! Landmarks that a person moved, removed or put there: a table kept beside the recording's results.
//!
//! The table has the columns of [`Correction::HEADER`]. `beat` is the time of the beat's anchor in
//! seconds, or `#` and its number from 1; `from_s` is where the program had the landmark, or
//! `added`; `to_s` is where it belongs, or `removed`. Later rows go before earlier ones. An R peak
//! that is added where no beat is makes one, which is called by the time in the row's `beat`.

use std::fmt;

use crate::ReadError;
use crate::beat::{Anchor, Beat, BeatMark};
use crate::find::{LONGEST_RR_S, beat_at, stretch};
use crate::naming::Named;
use crate::source::Source;
use crate::stretch::Stretch;

/// What one row says.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// Its line in the table; 0 of one that is not in a table yet.
    pub line: u64,
    /// Channel identifier.
    pub channel: String,
    /// Landmark identifier.
    pub landmark: &'static str,
    /// The beat.
    pub beat: Which,
    /// What is done.
    pub change: Change,
    /// Who says so.
    pub who: String,
    /// When it was said; free text, by the program RFC 3339.
    pub when: String,
    /// Why.
    pub why: String,
}

/// Which beat is meant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Which {
    /// The one that was found nearest to this time, in seconds from the recording's start.
    Near(f64),
    /// The one with this number among those found, from 1.
    Number(usize),
}

/// What is done with a landmark; times in seconds from the recording's start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// It was here and belongs there.
    Moved {
        /// Where the program had it.
        from_s: f64,
        /// Where it belongs.
        to_s: f64,
    },
    /// It is none.
    Removed {
        /// Where the program had it.
        from_s: f64,
    },
    /// The program did not find it.
    Added {
        /// Where it is.
        to_s: f64,
    },
}

/// A row that cannot be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CorrectionFault {
    /// Its line; 0 of one that is not in a table yet.
    pub line: u64,
    /// What is wrong, and what to do.
    pub what: String,
}

impl fmt::Display for CorrectionFault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => out.write_str(&self.what),
            line => write!(out, "line {line}: {}", self.what),
        }
    }
}

/// Corrections that cannot be made; then nothing is changed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CorrectionError {
    /// Rows at fault, all of them.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
    Wrong(Vec<CorrectionFault>),
    /// The recording cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
}

/// A beat is the one meant where its anchor is nearer than this, seconds.
const SAME_BEAT_S: f64 = 0.15;
/// So long before and after its anchor something can belong to a beat, seconds.
const REACH_S: [f64; 2] = [-1.0, 1.5];

const ECG: &[&str] = &[
    "p_onset",
    "p_peak",
    "p_end",
    "qrs_onset",
    "q_peak",
    "r_peak",
    "s_peak",
    "qrs_end",
    "t_onset",
    "t_peak",
    "t_end",
];
const SOUNDS: &[&str] = &["s1_onset", "s1_end", "s2_onset", "s2_end", "a2", "p2", "s3", "s4"];
const PULSE: &[&str] = &["pressure_foot", "systolic_peak", "dicrotic_notch", "dicrotic_peak"];

/// The landmarks that a channel can have; none of a channel that is not known.
pub fn landmarks_of(channel: &str) -> &'static [&'static str] {
    match channel {
        "heart_sounds" => SOUNDS,
        "aortic_pressure" | "radial_pressure" | "pa_pressure" | "finger_pulse" => PULSE,
        _ if channel == "ecg" || channel.starts_with("ecg_") => ECG,
        _ => &[],
    }
}

impl Correction {
    /// The table's columns.
    pub const HEADER: [&str; 8] =
        ["channel", "landmark", "beat", "from_s", "to_s", "who", "when", "why"];

    /// The row, as it stands in the table.
    pub fn fields(&self) -> [String; 8] {
        let beat = match self.beat {
            Which::Near(time_s) => time_s.to_string(),
            Which::Number(number) => format!("#{number}"),
        };
        let [from, to] = match self.change {
            Change::Moved { from_s, to_s } => [from_s.to_string(), to_s.to_string()],
            Change::Removed { from_s } => [from_s.to_string(), "removed".to_owned()],
            Change::Added { to_s } => ["added".to_owned(), to_s.to_string()],
        };
        let said = [&self.who, &self.when, &self.why].map(Clone::clone);
        let [who, when, why] = said;
        [self.channel.clone(), self.landmark.to_owned(), beat, from, to, who, when, why]
    }
}

/// Reads a table of corrections, separated by commas, semicolons or tabs.
///
/// # Errors
/// All rows at fault, with their lines.
pub fn corrections(text: &str) -> Result<Vec<Correction>, CorrectionError> {
    let text = text.trim_start_matches('\u{feff}');
    let head = text.lines().next().unwrap_or_default();
    let count = |separator: &u8| head.bytes().filter(|byte| byte == separator).count();
    let separator = [b'\t', b';', b','].into_iter().max_by_key(count).unwrap_or(b',');
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator)
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(text.as_bytes());
    let wrong = |line: u64, what: String| CorrectionFault { line, what };
    let unread = |error: csv::Error| {
        let line = error.position().map_or(1, csv::Position::line);
        CorrectionError::Wrong(vec![wrong(line, error.to_string())])
    };
    let headers = reader.headers().map_err(unread)?.clone();
    let place = |name: &str| headers.iter().position(|header| header.to_lowercase() == name);
    let columns = Correction::HEADER.map(place);
    if let Some(missing) = columns.iter().position(Option::is_none) {
        let what = format!(
            "there is no column “{}”; the columns are {}",
            Correction::HEADER[missing],
            Correction::HEADER.join(", ")
        );
        return Err(CorrectionError::Wrong(vec![wrong(1, what)]));
    }
    let (mut all, mut faults) = (Vec::new(), Vec::new());
    for record in reader.records() {
        let record = record.map_err(unread)?;
        let line = record.position().map_or(0, csv::Position::line);
        let fields = columns.map(|at| at.and_then(|at| record.get(at)).unwrap_or_default());
        if record.iter().all(str::is_empty) {
            continue;
        }
        match correction(line, fields) {
            Ok(correction) => all.push(correction),
            Err(what) => faults.push(wrong(line, what)),
        }
    }
    if faults.is_empty() { Ok(all) } else { Err(CorrectionError::Wrong(faults)) }
}

/// One row's meaning, or what is wrong with it.
fn correction(line: u64, fields: [&str; 8]) -> Result<Correction, String> {
    let [channel, landmark, beat, from, to, who, when, why] = fields;
    let known = landmarks_of(channel);
    if known.is_empty() {
        return Err(format!(
            "“{channel}” is no channel with landmarks; write it as `beats.csv` does, such as ecg"
        ));
    }
    let landmark = known.iter().find(|name| **name == landmark).ok_or_else(|| {
        format!("“{landmark}” is no landmark on {channel}; there are {}", known.join(", "))
    })?;
    let beat = match beat.strip_prefix('#') {
        Some(digits) => {
            let number = digits.trim().parse().ok().filter(|number| *number > 0);
            Which::Number(number.ok_or_else(|| format!("“{beat}” is no beat, like 12.345 or #15"))?)
        }
        None => Which::Near(seconds(beat, "12.345 or #15")?),
    };
    let change = match (from.to_lowercase().as_str(), to.to_lowercase().as_str()) {
        ("added", "removed") => {
            return Err("a landmark cannot be added and removed in one row".to_owned());
        }
        ("added", _) => Change::Added { to_s: seconds(to, "12.35")? },
        (_, "removed") => Change::Removed { from_s: seconds(from, "12.35 or “added”")? },
        _ => Change::Moved {
            from_s: seconds(from, "12.35 or “added”")?,
            to_s: seconds(to, "12.35 or “removed”")?,
        },
    };
    if who.is_empty() || why.is_empty() {
        return Err("the columns “who” and “why” say who changed this and why; fill them in".into());
    }
    let channel = channel.to_owned();
    let (who, when, why) = (who.to_owned(), when.to_owned(), why.to_owned());
    Ok(Correction { line, channel, landmark, beat, change, who, when, why })
}

fn seconds(text: &str, like: &str) -> Result<f64, String> {
    let number = text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite());
    number.ok_or_else(|| format!("“{text}” is no time in seconds; write it like {like}"))
}

/// A beat that a row can name, with its name; without the beat where a row removed it.
struct Known {
    found_s: f64,
    beat: Option<Beat>,
}

/// Makes `corrections` on `beats`, all of them or none, in their order.
///
/// A landmark that was moved or added has confidence 1 and says that it was put there by hand. A
/// beat is aligned anew where its R peak was moved on the ECG it was found on, and is no beat where
/// that R peak was removed. Where an R peak was added far from every beat there is a new one, with
/// what else is found of it.
///
/// # Errors
/// What does not fit this recording, row by row; what the source could not read.
pub fn correct<S: Source + ?Sized>(
    source: &mut S,
    named: &[Named],
    beats: &mut Vec<Beat>,
    corrections: &[Correction],
) -> Result<(), CorrectionError> {
    let mut faults = Vec::new();
    let known = |beat: &Beat| Known { found_s: beat.found_s, beat: Some(beat.clone()) };
    let mut known: Vec<Known> = beats.iter().map(known).collect();
    for correction in corrections {
        let done = one(source, named, &mut known, beats.len(), correction)?;
        if let Err(what) = done {
            faults.push(CorrectionFault { line: correction.line, what });
        }
    }
    if !faults.is_empty() {
        return Err(CorrectionError::Wrong(faults));
    }
    *beats = known.into_iter().filter_map(|known| known.beat).collect();
    beats.sort_by(|a, b| a.anchor_s.total_cmp(&b.anchor_s));
    let mut last: Option<f64> = None;
    for beat in beats {
        let rr_s = last.map(|last| beat.anchor_s - last);
        beat.rr_s = rr_s.filter(|rr_s| *rr_s <= LONGEST_RR_S);
        last = Some(beat.anchor_s);
    }
    Ok(())
}

/// Makes one correction; what is wrong with it is the inner error. The first `found` of those
/// `known` have numbers.
fn one<S: Source + ?Sized>(
    source: &mut S,
    named: &[Named],
    known: &mut Vec<Known>,
    found: usize,
    correction: &Correction,
) -> Result<Result<(), String>, ReadError> {
    let Correction { landmark, change, .. } = correction;
    let Some(channel) = named.iter().position(|n| n.channel == correction.channel) else {
        let there: Vec<&str> = named.iter().map(|n| n.channel.as_str()).collect();
        let what = format!("“{}” is not in this recording; ", correction.channel);
        return Ok(Err(what + "there are " + &there.join(", ")));
    };
    let anchors = is_anchor(named, channel, landmark);
    let place = which(known, found, correction.beat);
    let there = place.as_ref().is_ok_and(|index| known[*index].beat.is_some());
    if let (Change::Added { to_s }, Which::Near(found_s)) = (*change, correction.beat)
        && anchors
        && !there
    {
        let beat = match new_beat(source, named, known, channel, [found_s, to_s])? {
            Ok(beat) => Known { found_s, beat: Some(beat) },
            Err(what) => return Ok(Err(what)),
        };
        match place {
            Ok(removed) => known[removed] = beat,
            Err(_) => known.push(beat),
        }
        return Ok(Ok(()));
    }
    let slot = match place {
        Ok(index) => &mut known[index].beat,
        Err(what) => return Ok(Err(what)),
    };
    let Some(beat) = slot.as_mut() else {
        return Ok(Err("a row above removed this beat; take one of the two rows out".to_owned()));
    };
    let anchors = anchors && beat.anchor == Anchor::RPeak;
    let to_s = match *change {
        Change::Removed { .. } if anchors => {
            *slot = None;
            return Ok(Ok(()));
        }
        Change::Removed { .. } => {
            beat.marks.retain(|mark| !(mark.channel == channel && mark.name == *landmark));
            return Ok(Ok(()));
        }
        Change::Moved { to_s, .. } | Change::Added { to_s } => to_s,
    };
    if !(REACH_S[0]..=REACH_S[1]).contains(&(to_s - beat.anchor_s)) {
        let what = format!("{to_s} s is too far from the beat at {:.3} s", beat.anchor_s);
        return Ok(Err(what + "; name the beat it belongs to in the column “beat”"));
    }
    let value = match value_at(source, &named[channel], to_s)? {
        Ok(value) => value,
        Err(what) => return Ok(Err(what)),
    };
    put(named, beat, channel, landmark, to_s, value);
    if anchors {
        beat.anchor_s = to_s;
    }
    Ok(Ok(()))
}

/// The beat, called by `found_s`, whose R peak was missed at `to_s`; or why it cannot be.
fn new_beat<S: Source + ?Sized>(
    source: &mut S,
    named: &[Named],
    known: &[Known],
    channel: usize,
    [found_s, to_s]: [f64; 2],
) -> Result<Result<Beat, String>, ReadError> {
    let near = |a: f64, b: f64| (a - b).abs() <= SAME_BEAT_S;
    if !near(found_s, to_s) {
        return Ok(Err(format!(
            "there is no beat at {found_s} s; to add one, write its R peak's time, {to_s}, in the \
             column “beat”, too"
        )));
    }
    let beats = known.iter().filter_map(|known| known.beat.as_ref());
    let others: Vec<f64> = beats.map(|beat| beat.anchor_s).collect();
    if let Some(other_s) = others.iter().find(|other_s| near(**other_s, to_s)) {
        return Ok(Err(format!("there is a beat at {other_s:.3} s already; move its R peak")));
    }
    let value = match value_at(source, &named[channel], to_s)? {
        Ok(value) => value,
        Err(what) => return Ok(Err(what)),
    };
    let mut beat = beat_at(source, named, to_s, &others)?;
    beat.found_s = found_s;
    put(named, &mut beat, channel, "r_peak", to_s, value);
    Ok(Ok(beat))
}

/// Puts a landmark where a person has it.
fn put(
    named: &[Named],
    beat: &mut Beat,
    channel: usize,
    name: &'static str,
    time_s: f64,
    value: f64,
) {
    let old = beat.mark(name, channel).map(|mark| mark.value);
    // Of a burst the value is its height, which does not change with where it begins.
    let value = old.filter(|_| named[channel].channel == "heart_sounds").unwrap_or(value);
    beat.marks.retain(|mark| !(mark.channel == channel && mark.name == name));
    beat.marks.push(BeatMark { name, channel, time_s, value, confidence: 1.0, by_hand: true });
    beat.marks.sort_by(|a, b| a.channel.cmp(&b.channel).then(a.time_s.total_cmp(&b.time_s)));
}

/// Whether a landmark on the channel numbered `channel` is what beats are found by.
pub fn is_anchor(named: &[Named], channel: usize, landmark: &str) -> bool {
    let first = named.iter().position(|named| named.channel == "ecg");
    let first = first.or_else(|| named.iter().position(Named::is_ecg));
    landmark == "r_peak" && first == Some(channel)
}

/// Whether a landmark that is added at a time, in seconds, makes a beat: an R peak that was missed,
/// where none of `beats` is.
pub fn makes_beat(
    named: &[Named],
    beats: &[Beat],
    channel: usize,
    landmark: &str,
    time_s: f64,
) -> bool {
    let far = |place_s: f64| (place_s - time_s).abs() > SAME_BEAT_S;
    is_anchor(named, channel, landmark)
        && beats.iter().all(|beat| far(beat.found_s) && far(beat.anchor_s))
}

fn which(known: &[Known], found: usize, which: Which) -> Result<usize, String> {
    match which {
        Which::Number(number) if (1..=found).contains(&number) => Ok(number - 1),
        Which::Number(number) => Err(format!("there is no beat #{number}; there are {found}")),
        Which::Near(time_s) => {
            let off = |index: &usize| (known[*index].found_s - time_s).abs();
            let near = (0..known.len()).min_by(|a, b| off(a).total_cmp(&off(b)));
            near.filter(|index| off(index) <= SAME_BEAT_S).ok_or_else(|| {
                let near =
                    near.map(|index| format!("; the nearest is at {:.3} s", known[index].found_s));
                format!("there is no beat at {time_s} s{}", near.unwrap_or_default())
            })
        }
    }
}

/// The value of a channel at a time; or why there is none.
fn value_at<S: Source + ?Sized>(
    source: &mut S,
    named: &Named,
    time_s: f64,
) -> Result<Result<f64, String>, ReadError> {
    let nothing = || format!("nothing was recorded on {} at {time_s} s", named.channel);
    let signal = source.signals().get(named.signal);
    let Some(rate_hz) = signal.map(|signal| signal.rate_hz).filter(|_| time_s >= 0.0) else {
        return Ok(Err(nothing()));
    };
    let mut room = Stretch::default();
    stretch(source, named, [time_s, time_s + 2.0 / rate_hz], &mut room)?;
    let place = room.place(time_s).max(0.0);
    let left = place.floor() as usize;
    let (Some(low), Some(false)) = (room.samples.get(left), room.missing.get(left)) else {
        return Ok(Err(nothing()));
    };
    let high = room.samples.get(left + 1).unwrap_or(low);
    Ok(Ok(low + place.fract() * (high - low)))
}
