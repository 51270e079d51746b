//! WFDB annotation files (the MIT format): pairs of bytes with a code and the time since the last.
//!
//! After the published description of the format and the table of codes at physionet.org.

use super::super::error::{Place, Remark};
use super::super::files::{Bytes, Files, open_named};
use crate::{Annotation, Marking, ReadError};

/// Endings of annotation files, the usual first (common practice: reference annotations are `atr`).
const ENDINGS: [&str; 14] = [
    "atr", "ecg", "qrs", "ann", "man", "q1c", "pu0", "pu", "wqrs", "gqrs", "xqrs", "sqrs", "abp",
    "wabp",
];

/// Longer annotation files are no annotation files; a beat takes two bytes.
const MOST_BYTES: u64 = 64 << 20;
/// Symbols of the codes from 1 on; a space stands for codes without one.
const SYMBOLS: &str = "NLRaVFJASEj/Q~ | sT*D\"=pB^t+u?![]en@xf()r";

/// No annotation: only time goes on.
const NONE: u8 = 0;
const NOTE: u8 = 22;
const SKIP: u8 = 59;
const NUMBER: u8 = 60;
const SUBTYPE: u8 = 61;
const CHANNEL: u8 = 62;
const AUXILIARY: u8 = 63;
/// How a note at the start tells the rate of the annotations' own clock.
const RESOLUTION: &str = "## time resolution:";

/// The annotations beside a record: from the ending that was asked for, or the first usual one.
pub(super) fn beside(
    files: &dyn Files,
    record: &str,
    asked: Option<&str>,
    rate_hz: f64,
    remarks: &mut Vec<Remark>,
) -> Result<Vec<Annotation>, ReadError> {
    let mut found = match asked {
        Some(ending) => open_named(files, record, &format!("{record}.{ending}"))?,
        None => {
            let all = ENDINGS.iter().map(|ending| format!("{record}.{ending}"));
            let mut there = all.filter_map(|name| Bytes::open(files, &name).ok());
            let Some(first) = there.next() else { return Ok(Vec::new()) };
            let others: Vec<_> = there.map(|other| other.name).collect();
            if !others.is_empty() {
                let text =
                    format!("these annotations are read; beside them lie {}", others.join(", "));
                remarks.push(Remark::new(&first.name, Place::Whole, text));
            }
            first
        }
    };
    let whole = usize::try_from(found.length.min(MOST_BYTES)).unwrap_or(usize::MAX);
    let bytes = found.head(whole)?;
    Ok(read(&found.name, &bytes, rate_hz, remarks))
}

/// One annotation before times and texts are made of it.
#[derive(Default)]
struct Raw {
    code: u8,
    marking: Option<Marking>,
    auxiliary: String,
}

/// Takes the bytes of an annotation file apart.
pub(super) fn read(
    file: &str,
    bytes: &[u8],
    rate_hz: f64,
    remarks: &mut Vec<Remark>,
) -> Vec<Annotation> {
    let (mut raw, ended) = parse(bytes);
    if !ended {
        let text = "the annotations are not ended; the file may be cut off";
        remarks.push(Remark::new(file, Place::Byte(bytes.len() as u64), text));
    }
    let clock_hz = own_rate(&mut raw).unwrap_or(rate_hz);
    raw.retain(|one| one.code != NONE);
    let told = raw.into_iter().filter_map(|one| {
        let marking = one.marking?;
        Some(Annotation {
            time_s: marking.sample as f64 / clock_hz,
            duration_s: 0.0,
            text: text(one.code, &one.auxiliary),
            marking: Some(marking),
        })
    });
    told.collect()
}

/// The annotations, and whether the end was found.
fn parse(bytes: &[u8]) -> (Vec<Raw>, bool) {
    let word = |at: usize| bytes.get(at..at + 2).map(|pair| u16::from_le_bytes([pair[0], pair[1]]));
    let (mut all, mut at, mut sample) = (Vec::new(), 0, 0i64);
    let (mut channel, mut number) = (0, 0);
    while let Some(pair) = word(at) {
        at += 2;
        let (code, low) = ((pair >> 10) as u8, pair & 0x3ff);
        let byte = low as u8;
        let last: Option<&mut Raw> = all.last_mut();
        match (code, last) {
            (NONE, _) if low == 0 => return (all, true),
            (SKIP, _) => {
                let Some((high, low)) = word(at).zip(word(at + 2)) else { break };
                sample += i64::from((u32::from(high) << 16 | u32::from(low)) as i32);
                at += 4;
            }
            (NUMBER, last) => {
                number = byte as i8;
                edit(last, |marking| marking.number = number);
            }
            (SUBTYPE, last) => edit(last, |marking| marking.subtype = byte as i8),
            (CHANNEL, last) => {
                channel = byte;
                edit(last, |marking| marking.channel = channel);
            }
            (AUXILIARY, last) => {
                let end = at + usize::from(byte);
                let Some(text) = bytes.get(at..end) else { break };
                if let Some(last) = last {
                    last.auxiliary =
                        String::from_utf8_lossy(text).trim_end_matches('\0').to_owned();
                }
                // Padded to whole pairs.
                at = end + usize::from(byte % 2);
            }
            _ => {
                sample += i64::from(low);
                let marking = Marking { sample, subtype: 0, channel, number };
                all.push(Raw { code, marking: Some(marking), auxiliary: String::new() });
            }
        }
    }
    (all, false)
}

fn edit(raw: Option<&mut Raw>, how: impl FnOnce(&mut Marking)) {
    if let Some(marking) = raw.and_then(|raw| raw.marking.as_mut()) {
        how(marking);
    }
}

/// Takes out the notes at the start that are about the file; gives the annotations' rate if one tells it.
fn own_rate(raw: &mut Vec<Raw>) -> Option<f64> {
    let about = |one: &Raw| {
        one.code == NOTE
            && one.marking.is_some_and(|marking| marking.sample == 0)
            && one.auxiliary.starts_with("##")
    };
    let notes = raw.iter().take_while(|one| about(one)).count();
    let mut rates = raw.drain(..notes).filter_map(|one| {
        one.auxiliary.strip_prefix(RESOLUTION).and_then(|rate| rate.trim().parse().ok())
    });
    rates.rfind(|rate: &f64| rate.is_finite() && *rate > 0.0)
}

/// Symbol and auxiliary text.
fn text(code: u8, auxiliary: &str) -> String {
    let symbol = usize::from(code).checked_sub(1).and_then(|at| SYMBOLS.chars().nth(at));
    let symbol = match symbol {
        Some(symbol) if symbol != ' ' => symbol.to_string(),
        _ => format!("[{code}]"),
    };
    match auxiliary.trim() {
        "" => symbol,
        more => format!("{symbol} {}", more.replace(char::is_control, " ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(code: u8, low: u16) -> [u8; 2] {
        (u16::from(code) << 10 | low).to_le_bytes()
    }

    #[test]
    fn every_kind_of_pair_is_read() {
        let mut bytes = Vec::new();
        bytes.extend(pair(28, 18));
        bytes.extend(pair(AUXILIARY, 3));
        bytes.extend(b"(N\0\0");
        bytes.extend(pair(SKIP, 0));
        // High half first: 65 537 samples.
        bytes.extend([1, 0, 1, 0]);
        bytes.extend(pair(1, 5));
        bytes.extend(pair(SUBTYPE, 0xff));
        bytes.extend(pair(CHANNEL, 1));
        bytes.extend(pair(NUMBER, 2));
        bytes.extend(pair(5, 10));
        bytes.extend([0, 0]);
        let mut remarks = Vec::new();
        let all = read("a.atr", &bytes, 100.0, &mut remarks);
        assert_eq!(remarks, []);
        let texts: Vec<_> = all.iter().map(|one| one.text.as_str()).collect();
        assert_eq!(texts, ["+ (N", "N", "V"]);
        let marks: Vec<_> = all.iter().map(|one| one.marking.expect("each has one")).collect();
        assert_eq!(marks.iter().map(|one| one.sample).collect::<Vec<_>>(), [18, 65_560, 65_570]);
        assert_eq!((marks[1].subtype, marks[1].channel, marks[1].number), (-1, 1, 2));
        // Channel and number hold until they change; the subtype does not.
        assert_eq!((marks[2].subtype, marks[2].channel, marks[2].number), (0, 1, 2));
        assert_eq!(all[1].time_s, 655.6);
    }

    #[test]
    fn a_clock_of_its_own_is_used() {
        let note = b"## time resolution: 50";
        let mut bytes = pair(NOTE, 0).to_vec();
        bytes.extend(pair(AUXILIARY, note.len() as u16));
        bytes.extend(note);
        bytes.extend(pair(1, 100));
        let mut remarks = Vec::new();
        let all = read("a.atr", &bytes, 360.0, &mut remarks);
        assert_eq!(all.len(), 1);
        assert_eq!(all[0].time_s, 2.0);
        assert!(remarks[0].text.contains("cut off"));
    }

    #[test]
    fn symbols_are_at_their_codes() {
        let symbol = |code| text(code, "");
        assert_eq!([1, 12, 14, 16, 22, 28].map(symbol), ["N", "/", "~", "|", "\"", "+"]);
        assert_eq!([39, 40, 41].map(symbol), ["(", ")", "r"]);
        assert_eq!([15, 42].map(symbol), ["[15]", "[42]"]);
    }
}
