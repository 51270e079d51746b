//! A convention's completed figure with every name that a student should know.

use std::collections::{BTreeMap, BTreeSet};

use convention::{Convention, alignment_points};
use cycle::{Cycle, LandmarkKind, Subject};
use figure::{Figure, FigureError, FigureSpec, PanelSpec, Tag, lay_out};

use crate::schematic_figure::bounds_phases;

/// Room for labels above and below what is drawn in a panel, in millimetres.
const LABEL_ROOM: f64 = 6.5;
/// Factors by which panels grow until every label finds room.
const GROWTH: [f64; 4] = [1.0, 1.15, 1.3, 1.5];

/// The completed figure of `convention`, drawn from `model` with the title, width and scale of
/// `look`, with its alignment lines, bars and phases, and with a label at each landmark that its rules speak of.
///
/// A landmark is called by the subject's symbol where that is one (P, S1, EDV) and in words
/// otherwise; one that an alignment line names has no second name. Phases are shown where the
/// convention has the bars that bound them. Panels
/// grow to half as high again for labels that find no room; what finds none even then is left
/// out.
///
/// # Errors
/// [`FigureError`] where the figure cannot be drawn, such as at a width that is too narrow.
pub fn labelled(
    convention: &Convention,
    subject: &Subject,
    model: &Cycle,
    look: &FigureSpec,
) -> Result<Figure, FigureError> {
    let lines: Vec<String> =
        alignment_points(convention, subject, model).into_iter().map(|point| point.name).collect();
    let label_texts = label_texts(convention, subject, &lines);
    let drawn: Vec<&str> = convention.channels().collect();
    let here = |id: &str| {
        let mut marks = model.landmarks.iter();
        marks.any(|mark| mark.name == id && drawn.contains(&mark.channel.as_str()))
    };
    let wanted: BTreeSet<&str> = label_texts
        .iter()
        .filter(|(id, text)| !text.is_empty() && here(id))
        .map(|(id, _)| id.as_str())
        .collect();
    let mut best: Option<(usize, Figure)> = None;
    for growth in GROWTH {
        let spec = FigureSpec {
            title: look.title.clone(),
            width_mm: look.width_mm,
            scale: look.scale,
            panels: panels(convention, subject, model, growth, look.scale),
            lines: lines.clone(),
            phases: bounds_phases(convention, subject),
            bars: convention.bars.clone(),
            label_texts: label_texts.clone(),
            ..FigureSpec::default()
        };
        let figure = lay_out(model, subject, &spec)?;
        let missing = wanted.len() - written(&figure).intersection(&wanted).count();
        if best.as_ref().is_none_or(|(least, _)| missing < *least) {
            best = Some((missing, figure));
        }
        if missing == 0 {
            break;
        }
    }
    best.map(|(_, figure)| figure).ok_or(FigureError::NoPanels)
}

/// Landmarks that carry a label.
fn written(figure: &Figure) -> BTreeSet<&str> {
    let ids = figure.items.iter().filter_map(|item| match &item.tag {
        Tag::LandmarkLabel(id) => Some(id.as_str()),
        _ => None,
    });
    ids.collect()
}

/// What is written at each of the subject's landmarks; empty for nothing.
fn label_texts(
    convention: &Convention,
    subject: &Subject,
    lines: &[String],
) -> BTreeMap<String, String> {
    let spoken: BTreeSet<String> =
        convention.points().into_iter().map(|point| point.name).collect();
    let text = |kind: &LandmarkKind| match (kind.label.is_empty(), spoken.contains(&kind.id)) {
        // What a line names has no second name.
        _ if lines.contains(&kind.id) => String::new(),
        (false, _) | (true, true) => in_words(kind),
        _ => String::new(),
    };
    subject.landmarks.iter().map(|kind| (kind.id.clone(), text(kind))).collect()
}

/// The symbol of a landmark, or its name without what is in brackets.
fn in_words(kind: &LandmarkKind) -> String {
    if kind.label.starts_with(char::is_uppercase) {
        return kind.label.clone();
    }
    let name = kind.title.split(" (").next().unwrap_or(&kind.title);
    name.to_owned()
}

/// The convention's panels, with room for labels above and below the traces.
fn panels(
    convention: &Convention,
    subject: &Subject,
    model: &Cycle,
    growth: f64,
    scale: f64,
) -> Vec<PanelSpec> {
    // Larger labels take more room, which higher panels give.
    let (growth, label_room) = (growth * (1.0 + scale) / 2.0, LABEL_ROOM * scale);
    let panel = |channels: &Vec<String>| {
        let kinds = channels.iter().filter_map(|id| subject.channel(id));
        let unit = kinds.clone().next().map_or("", |kind| kind.unit.as_str());
        let height_mm = growth
            * match (unit, channels.len()) {
                ("mV", _) => 32.0,
                ("relative", _) => 26.0,
                ("mmHg", 1) => 42.0,
                ("mmHg", _) => 62.0,
                _ => 34.0,
            };
        let ranges = kinds.filter_map(|kind| model.trace(&kind.id)?.range());
        let (low, high) =
            ranges.fold((f64::MAX, f64::MIN), |(low, high), (l, h)| (low.min(l), high.max(h)));
        let room = label_room * (high - low) / (height_mm - 2.0 * label_room);
        let range = (high > low).then_some([low - room, high + room]);
        PanelSpec { channels: channels.clone(), height_mm, range, title: None }
    };
    convention.panels.iter().map(panel).collect()
}
