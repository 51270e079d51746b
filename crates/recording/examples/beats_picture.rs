//! Average beats of real recordings with what was found on them: writes
//! `docs/pictures/recorded-beats.svg`, to be judged by eye.
//!
//! `cargo run --release -p recording --example beats_picture`, where `shared/data` is. The recordings
//! shown are from databases under ODC-By, whose names stand in the picture.
#![allow(clippy::unwrap_used, reason = "a fault should stop it")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::collections::BTreeMap;

use figure::{Figure, FigureSpec, FontEmbedding, Item, PanelSpec, Shape, Tag, lay_out};
use recording::{AverageMark, Held, Source as _, average, beats, guess, look};
use support::{record_041, record_100, s0010, say};

const PICTURE: &str =
    concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/pictures/recorded-beats.svg");
/// What is written at landmarks that the subject leaves without a label, or names otherwise.
const LABELS: [(&str, &str); 10] = [
    ("p_onset", "P on"),
    ("p_end", "P end"),
    ("qrs_onset", "QRS on"),
    ("qrs_end", "QRS end"),
    ("t_onset", ""),
    ("t_end", "T end"),
    ("pressure_foot", "foot"),
    ("systolic_peak", "peak"),
    ("dicrotic_notch", "notch"),
    ("dicrotic_peak", "dicrotic wave"),
];
/// What is less sure is not measured from, and not shown.
const SURE: f64 = 0.3;
/// Space between the figures.
const BETWEEN_MM: f64 = 6.0;

fn drawn(mut memory: Held, title: &str, panels: &[(&str, &str, f64)]) -> Figure {
    let mut named = guess(memory.signals());
    look(&mut memory, &mut named, false).unwrap();
    let found = beats(&mut memory, &named).unwrap();
    let average = average(&mut memory, &named, &found).unwrap().unwrap();
    let mut cycle = average.cycle.clone();
    cycle.landmarks.retain(|landmark| {
        let same =
            |mark: &&AverageMark| mark.name == landmark.name && mark.channel == landmark.channel;
        average.marks.iter().find(same).is_some_and(|mark| mark.confidence >= SURE)
    });
    let panel = |(channel, title, height_mm): &(&str, &str, f64)| PanelSpec {
        title: Some((*title).to_owned()),
        ..PanelSpec::new(&[channel], *height_mm)
    };
    let spec = FigureSpec {
        title: Some(format!("{title}: {} beats", average.used)),
        panels: panels.iter().map(panel).collect(),
        phases: false,
        label_texts: LABELS
            .map(|(id, text)| (id.to_owned(), text.to_owned()))
            .into_iter()
            .collect::<BTreeMap<_, _>>(),
        ..FigureSpec::default()
    };
    lay_out(&cycle, &heart::subject(), &spec).unwrap()
}

/// The figures below one another.
fn stacked(figures: &[Figure]) -> Figure {
    let (mut items, mut height_mm) = (Vec::new(), 0.0);
    for figure in figures {
        let down = |item: &Item| Item { shape: item.shape.moved(0.0, height_mm), ..item.clone() };
        items.extend(figure.items.iter().map(down));
        height_mm += figure.height_mm + BETWEEN_MM;
    }
    let width_mm = figures.iter().map(|figure| figure.width_mm).fold(0.0, f64::max);
    let area = figure::Box2::new(0.0, 0.0, width_mm, height_mm);
    let paper = Shape::Fill { area, colour: figure::style::PAPER };
    items.insert(0, Item { tag: Tag::Paper, shape: paper });
    let alt = figures.iter().map(|figure| figure.alt.as_str()).collect::<Vec<_>>().join(" ");
    Figure { width_mm, height_mm, title: "Average beats of real recordings".to_owned(), alt, items }
}

fn main() {
    let (Some(mit), Some(ptb), Some(mimic)) = (record_100(), s0010(), record_041()) else { return };
    let figures = [
        drawn(
            mit,
            "MIT-BIH Arrhythmia Database, record 100 (ODC-By)",
            &[("ecg", "Lead MLII", 36.0)],
        ),
        drawn(ptb, "PTB Diagnostic ECG Database, s0010_re (ODC-By)", &[("ecg", "Lead II", 36.0)]),
        drawn(
            mimic,
            "MIMIC Database, record 041 (ODC-By)",
            &[
                ("ecg", "Lead III", 30.0),
                ("radial_pressure", "Arterial pressure", 36.0),
                ("pa_pressure", "Pulmonary artery", 30.0),
                ("finger_pulse", "Finger pulse", 24.0),
            ],
        ),
    ];
    std::fs::write(PICTURE, stacked(&figures).svg(FontEmbedding::Embedded)).unwrap();
    say(PICTURE);
}
