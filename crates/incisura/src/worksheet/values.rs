//! What is asked about a recording's strip, and the answers.

use recording::{Beat, Measurement, Measurements, Named, measure};
use sheet::{MM_PER_S, StripPanel, WorksheetQuestion};

/// How exactly an edge is read at 25 mm/s: half a small square, in seconds.
const HALF_SQUARE_S: f64 = 0.02;

/// What is asked: the measurement, and what the student does.
const ASKED: [(&str, &str); 11] = [
    ("rr", "R–R: from one R peak to the next"),
    ("heart_rate", "Heart rate: 60 divided by a beat's length in seconds"),
    ("pr", "PR: from the onset of P to the onset of QRS"),
    ("qrs", "QRS: from its onset to its end"),
    ("qt", "QT: from the onset of QRS to the end of T"),
    ("qtc", "QTc"),
    ("r_s1", "R–S1: from the R peak to the onset of the first sound"),
    ("s1_s2", "S1–S2: from the onset of the first sound to that of the second"),
    ("pulse_arrival", "Pulse delay: from the R peak to the foot of the pulse"),
    ("systolic", "Systolic: the highest value of the beat"),
    ("diastolic", "Diastolic: the value at the foot"),
];
/// The same without an ECG.
const BEAT_TO_BEAT: &str =
    "Beat to beat: from one beat's steepest rise, or first sound, to the next";

/// The questions that the beats shown can answer.
pub(super) fn questions(
    beats: &[Beat],
    chosen: Option<&Beat>,
    named: &[Named],
    panels: &[StripPanel],
    correction: &str,
) -> Vec<WorksheetQuestion> {
    let all = measure(beats, named);
    let one = chosen.map(|beat| measure(std::slice::from_ref(beat), named));
    let late = chosen.map(|beat| measure(&[misread(beat)], named));
    let answers = Answers { all: &all, one: one.as_ref(), late: late.as_ref(), panels };
    let ecg = named.iter().any(Named::is_ecg);
    let mut questions = Vec::new();
    for (id, text) in ASKED {
        let (id, text) = match id {
            "qtc" => (correction, text),
            "rr" if !ecg => (id, BEAT_TO_BEAT),
            _ => (id, text),
        };
        let shown = |one: &&Measurement| {
            one.id == id
                && (one.channel.is_empty() || panels.iter().any(|p| p.channel == one.channel))
        };
        questions
            .extend(all.measurements.iter().filter(shown).map(|one| answers.question(one, text)));
    }
    questions
}

/// The beat with its edges misread by half a small square each: R–R too short and QT too long, so
/// that the corrected QT is as much too long as it can be.
fn misread(beat: &Beat) -> Beat {
    let mut beat = beat.clone();
    beat.rr_s = beat.rr_s.map(|rr| rr - HALF_SQUARE_S);
    for mark in beat.marks.iter_mut().filter(|mark| mark.name == "t_end") {
        mark.time_s += HALF_SQUARE_S;
    }
    beat
}

struct Answers<'a> {
    all: &'a Measurements,
    one: Option<&'a Measurements>,
    late: Option<&'a Measurements>,
    panels: &'a [StripPanel],
}

impl Answers<'_> {
    fn question(&self, measured: &Measurement, text: &str) -> WorksheetQuestion {
        let panel = self.panels.iter().find(|panel| panel.channel == measured.channel);
        let where_at = panel.map(|panel| panel.title.split(" (").next().unwrap_or_default());
        let mut text = match where_at {
            Some(where_at) => format!("{where_at}. {text}"),
            None => text.to_owned(),
        };
        if measured.id.starts_with("qtc") {
            text = format!("{}: {}", measured.title, measured.definition);
        }
        let unit = if measured.unit == "bpm" { "per min" } else { measured.unit.as_str() };
        let told = |value: f64| match measured.unit.as_str() {
            "ms" if !measured.id.starts_with("qtc") => {
                format!("{value:.0} ms = {:.1} mm", value * MM_PER_S / 1000.0)
            }
            _ => format!("{value:.0} {unit}"),
        };
        let of = |all: Option<&Measurements>| {
            all.and_then(|all| all.get(measured.id, &measured.channel)).map(|m| m.values.median)
        };
        let values = self.all.get(measured.id, &measured.channel).map(|m| m.values);
        let middle = values.map_or_else(String::new, |values| {
            let beats = if values.count == 1 { "beat" } else { "beats" };
            format!("{} ({} {beats})", told(values.median), values.count)
        });
        WorksheetQuestion {
            text,
            unit: unit.to_owned(),
            this_beat: of(self.one).map_or_else(|| "not found".to_owned(), told),
            middle,
            accept: self.accepted(measured, unit, panel, of(self.late).zip(of(self.one))),
        }
    }

    /// How far a hand's reading may lie off.
    fn accepted(
        &self,
        measured: &Measurement,
        unit: &str,
        panel: Option<&StripPanel>,
        misread: Option<(f64, f64)>,
    ) -> String {
        let by = match (measured.id, panel) {
            ("systolic" | "diastolic", Some(panel)) => panel.large_square() / 10.0,
            ("heart_rate", _) => {
                let rr_s = 60.0 / measured.values.median;
                60.0 / (rr_s - HALF_SQUARE_S).max(HALF_SQUARE_S) - measured.values.median
            }
            (id, _) if id.starts_with("qtc") => {
                misread.map_or(1000.0 * HALF_SQUARE_S, |(late, one)| (late - one).abs())
            }
            _ => 1000.0 * HALF_SQUARE_S,
        };
        format!("± {:.0} {unit}", by.ceil())
    }
}
