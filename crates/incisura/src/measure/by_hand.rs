//! The table of corrections: read, added to, and made on the beats.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use recording::{
    Beat, Change, Correction, CorrectionError, Named, Recording, Which, correct, corrections,
    landmarks_of, makes_beat,
};

use crate::args::{self, Edit};
use crate::failure::Failure;
use crate::files;
use crate::mark::clock;

/// Corrections that were made.
pub(crate) struct ByHand {
    pub(crate) path: PathBuf,
    pub(crate) corrections: Vec<Correction>,
    /// How many of them were added now.
    pub(crate) added: usize,
}

/// A landmark is the one meant where it is nearer than this, seconds.
const NEAR_S: f64 = 0.05;

/// What is done with a landmark.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum How {
    Move,
    Remove,
    Add,
}

/// Reads the table and makes its corrections; adds what was typed, and makes that, too. The table
/// is written only where everything fits.
pub(crate) fn apply(
    args: &args::ByHand,
    recording: &mut Recording,
    path: &Path,
    named: &[Named],
    beats: &mut Vec<Beat>,
) -> Result<Option<ByHand>, Failure> {
    let edits = edits(args);
    let Some(table) = table(args, &recording.name) else {
        if edits.is_empty() {
            return Ok(None);
        }
        return Err(Failure::Other(
            "corrections are kept beside the recording's results, not in it; say where with --corrections FILE or --course DIR".to_owned(),
        ));
    };
    // A table named by hand has to be there, unless it is begun now.
    let begun = table.exists();
    let mut rows = Vec::new();
    if begun || (args.corrections.is_some() && edits.is_empty()) {
        let text = files::read(&table)?;
        rows = corrections(&text).map_err(|error| Failure::file(&table, error.to_string()))?;
    }
    let wrong = |error| match error {
        CorrectionError::Read(error) => Failure::recording(path, error),
        wrong => Failure::file(&table, wrong.to_string()),
    };
    correct(recording, named, beats, &rows).map_err(wrong)?;
    let mut new = Vec::new();
    let said = |text: &Option<String>| text.clone().unwrap_or_default();
    let (who, why) = (said(&args.who), said(&args.why));
    for (how, edit) in edits {
        let row = row(how, edit, [&who, &why], named, beats).map_err(Failure::Other)?;
        correct(recording, named, beats, std::slice::from_ref(&row)).map_err(|error| {
            let place = format!("{}@{}", edit.landmark, edit.at_s);
            Failure::Other(format!("{place}: {error}"))
        })?;
        new.push(row);
    }
    if !new.is_empty() {
        append(&table, begun, &new)?;
    }
    let added = new.len();
    rows.extend(new);
    Ok((!rows.is_empty()).then_some(ByHand { path: table, corrections: rows, added }))
}

fn edits(args: &args::ByHand) -> Vec<(How, &Edit)> {
    let all = [(How::Move, &args.moved), (How::Remove, &args.remove), (How::Add, &args.add)];
    all.into_iter().flat_map(|(how, edits)| edits.iter().map(move |edit| (how, edit))).collect()
}

/// Where corrections are kept.
fn table(args: &args::ByHand, name: &str) -> Option<PathBuf> {
    let in_course = args.course.as_ref().map(|folder| folder.join(table_name(name)));
    args.corrections.clone().or(in_course)
}

/// The table of the recording called `name`, in its course's folder.
pub(crate) fn table_name(name: &str) -> String {
    format!("{name}.corrections.csv")
}

/// The row for what was asked of `beats` as they are now.
pub(crate) fn row(
    how: How,
    edit: &Edit,
    [who, why]: [&str; 2],
    named: &[Named],
    beats: &[Beat],
) -> Result<Correction, String> {
    let channels = channels(edit, named)?;
    let new = || makes_beat(named, beats, channels[0], &edit.landmark, edit.at_s);
    let (channel, found_s, from_s) = match how {
        How::Add if new() => (channels[0], edit.at_s, edit.at_s),
        How::Add => {
            let beat = beats.iter().rev().find(|beat| beat.anchor_s <= edit.at_s + 0.3);
            let beat = beat.or(beats.first()).ok_or("there is no beat")?;
            (channels[0], beat.found_s, edit.at_s)
        }
        How::Move | How::Remove => {
            let (channel, beat, from_s) = there(edit, &channels, named, beats)?;
            (channel, beat.found_s, from_s)
        }
    };
    let name = edit.landmark.as_str();
    let known = landmarks_of(&named[channel].channel).iter().find(|known| **known == name);
    Ok(Correction {
        line: 0,
        channel: named[channel].channel.clone(),
        landmark: known.ok_or("this landmark is not known")?,
        beat: Which::Near(milliseconds(found_s)),
        change: match how {
            How::Move => Change::Moved { from_s: milliseconds(from_s), to_s: edit.to_s },
            How::Remove => Change::Removed { from_s: milliseconds(from_s) },
            How::Add => Change::Added { to_s: edit.to_s },
        },
        who: who.to_owned(),
        when: clock::now(),
        why: why.to_owned(),
    })
}

/// The landmark that is meant: its channel, its beat and its time.
fn there<'a>(
    edit: &Edit,
    channels: &[usize],
    named: &[Named],
    beats: &'a [Beat],
) -> Result<(usize, &'a Beat, f64), String> {
    let all = beats.iter().flat_map(|beat| beat.marks.iter().map(move |mark| (beat, mark)));
    let mine =
        all.filter(|(_, mark)| mark.name == edit.landmark && channels.contains(&mark.channel));
    let off = |time_s: f64| (time_s - edit.at_s).abs();
    let near = mine.min_by(|(_, a), (_, b)| off(a.time_s).total_cmp(&off(b.time_s)));
    let place = format!("{}@{}", edit.landmark, edit.at_s);
    let (beat, mark) = near
        .ok_or_else(|| format!("{place}: no such landmark was found; put one there with --add"))?;
    if off(mark.time_s) > NEAR_S {
        return Err(format!(
            "{place}: there is none; the nearest is on {} at {:.3} s. Move that, or put one there with --add",
            named[mark.channel].channel, mark.time_s
        ));
    }
    Ok((mark.channel, beat, mark.time_s))
}

/// The channels that may be meant.
fn channels(edit: &Edit, named: &[Named]) -> Result<Vec<usize>, String> {
    let may = |named: &Named| edit.channel.as_ref().is_none_or(|channel| *channel == named.channel);
    let has = |named: &Named| landmarks_of(&named.channel).contains(&edit.landmark.as_str());
    let all: Vec<usize> =
        (0..named.len()).filter(|&at| may(&named[at]) && has(&named[at])).collect();
    if !all.is_empty() {
        return Ok(all);
    }
    let known = || named.iter().filter(|n| may(n)).flat_map(|n| landmarks_of(&n.channel)).copied();
    let place = format!("{}@{}", edit.landmark, edit.at_s);
    Err(match (cycle::nearest(&edit.landmark, known()), &edit.channel) {
        (_, Some(channel)) if known().next().is_none() => {
            let there: Vec<&str> = named.iter().map(|n| n.channel.as_str()).collect();
            format!("{place}: no channel is “{channel}”; there are {}", there.join(", "))
        }
        (Some(near), _) => format!("{place}: no such landmark; did you mean “{near}”?"),
        (None, _) => {
            let mut all: Vec<&str> = known().collect();
            all.dedup();
            format!("{place}: no such landmark; there are {}", all.join(", "))
        }
    })
}

fn milliseconds(time_s: f64) -> f64 {
    (1000.0 * time_s).round() / 1000.0
}

/// Adds rows at the end of the table; what is there stays as it is.
fn append(path: &Path, begun: bool, rows: &[Correction]) -> Result<(), Failure> {
    let old = if begun { files::read(path)? } else { String::new() };
    let text = addition(&old, rows).map_err(|what| Failure::file(path, what))?;
    let unwritable = |reason| Failure::unwritable(path, reason);
    let mut file =
        fs::OpenOptions::new().create(true).append(true).open(path).map_err(unwritable)?;
    file.write_all(text.as_bytes()).map_err(unwritable)
}

/// What is to follow the table's `old` text, which is empty where it is begun, to add `rows`.
pub(crate) fn addition(old: &str, rows: &[Correction]) -> Result<String, String> {
    let at_fault = |error: csv::Error| error.to_string();
    // The table may have been saved with semicolons, or without an end of its last line.
    let head = old.lines().next().unwrap_or_default();
    let count = |separator: &u8| head.bytes().filter(|byte| byte == separator).count();
    let separator = [b'\t', b';', b','].into_iter().max_by_key(count).unwrap_or(b',');
    let mut writer = csv::WriterBuilder::new().delimiter(separator).from_writer(Vec::new());
    if old.is_empty() {
        writer.write_record(Correction::HEADER).map_err(at_fault)?;
    }
    let columns = columns(old);
    for row in rows {
        let fields = row.fields();
        let placed = columns.iter().map(|at| at.map_or("", |at| fields[at].as_str()));
        writer.write_record(placed).map_err(at_fault)?;
    }
    let bytes = writer.into_inner().map_err(|error| error.to_string())?;
    let new = String::from_utf8(bytes).map_err(|error| error.to_string())?;
    let end = if old.is_empty() || old.ends_with('\n') { "" } else { "\n" };
    Ok(format!("{end}{new}"))
}

/// Which of a row's fields stands in each of the table's columns.
fn columns(table: &str) -> Vec<Option<usize>> {
    let usual = || (0..Correction::HEADER.len()).map(Some).collect();
    let mut reader = crate::roster::table(table);
    match reader.headers() {
        Ok(headers) if !table.is_empty() => {
            let place = |header: &str| {
                Correction::HEADER.iter().position(|name| *name == header.to_lowercase())
            };
            headers.iter().map(place).collect()
        }
        _ => usual(),
    }
}
