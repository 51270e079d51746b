//! A worksheet of a recording: a strip to be measured by hand, and its key.

mod quiet;
mod strip;
#[cfg(test)]
mod tests;
mod values;

use std::path::{Path, PathBuf};

use cycle::Spelling;
use figure::Page;
use recording::{Beat, Named, Source, measure};
use sheet::{Paper, StripPanel, StripSpec, Worksheet, WorksheetRow, strip_over, worksheet_pages};

use crate::failure::Failure;
use crate::files;
use strip::Shown;

/// What a worksheet is to show.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Options<'a> {
    /// What the recording is called.
    pub(crate) title: &'a str,
    /// What it is printed on.
    pub(crate) paper: Paper,
    /// Where the strip begins, in seconds; the quietest stretch where none is given.
    pub(crate) from_s: Option<f64>,
    /// How many seconds it shows.
    pub(crate) length_s: f64,
    /// Which correction of QT is asked for: `qtc_bazett` or another of the measurements.
    pub(crate) correction: &'a str,
    /// The caution, which stands at the foot of every page.
    pub(crate) caution: &'a str,
    /// How the electrocardiogram's name is written, where not in the usual way.
    pub(crate) spelling: Option<&'a Spelling>,
}

/// How many seconds a worksheet shows where nobody says so.
pub(crate) const LENGTH_S: f64 = 10.0;
/// The shortest and longest strip, in seconds.
const LENGTHS_S: [f64; 2] = [2.0, 60.0];

/// Pages for students and for the key, of a recording whose signals are `named` and whose `beats`
/// were found.
///
/// # Errors
/// Where the recording cannot be read, or no beat lies in the stretch asked for.
pub(crate) fn worksheet(
    source: &mut dyn Source,
    named: &[Named],
    beats: &[Beat],
    options: &Options<'_>,
) -> Result<[Vec<Page>; 2], Failure> {
    let end_s = named
        .iter()
        .filter_map(|named| source.signals().get(named.signal))
        .map(|signal| signal.samples as f64 / signal.rate_hz)
        .fold(0.0, f64::max);
    let length_s = options.length_s.clamp(LENGTHS_S[0], LENGTHS_S[1]).min(end_s);
    let from_s = match options.from_s {
        Some(from_s) => from_s,
        None => quiet::from_s(beats, named, length_s, end_s),
    };
    let inside = |beat: &&Beat| (from_s..from_s + length_s).contains(&beat.anchor_s);
    let beats: Vec<Beat> = beats.iter().filter(inside).cloned().collect();
    if beats.is_empty() {
        return Err(Failure::Other(format!(
            "no beat was found between {from_s:.1} s and {:.1} s of {}, which is {end_s:.1} s long; choose another beginning",
            from_s + length_s,
            options.title
        )));
    }
    let mut shown = Shown::read(source, named, &beats, [from_s, from_s + length_s])?;
    if let Some(spelling) = options.spelling {
        shown.spell(spelling);
    }
    Ok(worksheet_pages(&filled(&shown, named, &beats, options)))
}

/// Writes the worksheet to `path` and its key beside it; the key's path.
///
/// # Errors
/// As [`worksheet`], and where a file cannot be written.
pub(crate) fn write(
    source: &mut dyn Source,
    named: &[Named],
    beats: &[Beat],
    options: &Options<'_>,
    path: &Path,
) -> Result<PathBuf, Failure> {
    let [blank, key] = worksheet(source, named, beats, options)?;
    let key_path = beside(path);
    let [title, of_key] = titles(options.title);
    let pdfs = [figure::pdf_of(&blank, &title)?, figure::pdf_of(&key, &of_key)?];
    for (path, pdf) in [path, &key_path].into_iter().zip(pdfs) {
        files::replace(path, &pdf)?;
    }
    Ok(key_path)
}

/// The titles of the worksheet of a recording called `name`, and of its key.
pub(crate) fn titles(name: &str) -> [String; 2] {
    let title = format!("Measuring a recording: {name}");
    let key = format!("Key: {title}");
    [title, key]
}

/// Where the key of the worksheet at `path` goes.
fn beside(path: &Path) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!("{stem}-key.pdf"))
}

fn filled(shown: &Shown, named: &[Named], beats: &[Beat], options: &Options<'_>) -> Worksheet {
    let rows = shown.rows();
    let chosen = shown.bracketed(&rows, beats);
    let [blank, marked] = [None, chosen].map(|beat| shown.panels(beat));
    let row = |spec: &StripSpec| WorksheetRow {
        blank: strip_over(&shown.cycle, spec, &blank),
        marked: strip_over(&shown.cycle, &key_spec(shown, spec, chosen), &marked),
    };
    let measured = measure(beats, named);
    let mut notes = vec![format!(
        "Measured by the program on {} beats; the bracketed beat has its R peak, or what stands for it, at {:.1} s. Ticks show where the landmarks were found: whoever puts one elsewhere measures from there.",
        beats.len(),
        chosen.map_or(f64::NAN, |beat| beat.anchor_s),
    )];
    notes.extend(recording::late_pulse(&measured));
    let [title, _] = titles(options.title);
    let mut filled = Worksheet {
        title,
        paper: options.paper,
        about: shown.about(),
        scale: scale(&blank, shown.is_calibrated()),
        caution: options.caution.to_owned(),
        rows: rows.iter().map(row).collect(),
        questions: values::questions(beats, chosen, named, &blank, options.correction),
        notes,
    };
    if let Some(spelling) = options.spelling {
        let Worksheet { about, scale, questions, notes, .. } = &mut filled;
        let questions = questions.iter_mut().map(|one| &mut one.text);
        for text in [about, scale].into_iter().chain(questions).chain(notes) {
            spelling.spell(text);
        }
    }
    filled
}

fn key_spec(shown: &Shown, spec: &StripSpec, chosen: Option<&Beat>) -> StripSpec {
    StripSpec { marks: shown.brackets(chosen), ticked: true, ..spec.clone() }
}

/// What squares are worth, and how exactly a hand can read them.
fn scale(panels: &[StripPanel], calibrated: bool) -> String {
    let mut text =
        "Across, a small square is 1 mm = 40 ms and a large square 5 mm = 200 ms.".to_owned();
    if calibrated {
        text += " On the ECG a small square up is 0.1 mV.";
    }
    text += " By hand an edge can be read to half a small square, so times are good to ± 20 ms";
    if panels.iter().any(|panel| !panel.unit.is_empty()) {
        text += ", and pressures to half a small square of their scale";
    }
    text + ". Print at full size."
}
