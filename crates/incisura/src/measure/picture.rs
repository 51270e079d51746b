//! The average beat as a picture.

use cycle::{Cycle, Subject};
use figure::{Align, Figure, FigureSpec, Item, PanelSpec, Shape, Tag, font, style};
use recording::{Average, CAUTION};

use crate::failure::Failure;
use crate::standard::PANELS;

/// Alignment lines, where the average beat has them.
const LINES: [&str; 3] = ["r_peak", "s1_onset", "s2_onset"];
/// A panel that shows another's trace larger.
const AGAIN: &str = "atrium";
/// So long before the next R its P wave begins, in seconds.
const NEXT_P_S: f64 = 0.25;
/// At least so much of the period is shown, and so much after the last landmark, in seconds.
const LEAST: f64 = 0.6;
const AFTER_S: f64 = 0.04;
/// Size of the words below the panels, their lines' distance, and the margin at the sides, mm.
const SIZE: f64 = 2.8;
const LINE: f64 = 3.8;
const MARGIN: f64 = 4.0;

/// The figure of an average beat, with the caution below; `None` where no channel of it has a place
/// in a figure.
pub(crate) fn average_figure(
    name: &str,
    average: &Average,
    subject: &Subject,
) -> Result<Option<Figure>, Failure> {
    average_over(name, average, None, subject)
}

/// As [`average_figure`], with another cycle thin beneath it, whose times are the average's.
pub(crate) fn average_over(
    name: &str,
    average: &Average,
    beneath: Option<&Cycle>,
    subject: &Subject,
) -> Result<Option<Figure>, Failure> {
    let cycle = &average.cycle;
    let panels = PANELS.iter().filter(|choice| choice.id != AGAIN).map(|choice| choice.spec(1.0));
    let mut spec = FigureSpec {
        title: Some(format!("{name}: the average of {} beats", average.used)),
        panels: panels.collect(),
        lines: LINES
            .iter()
            .filter(|name| cycle.landmark(name).is_some())
            .map(|l| (*l).to_owned())
            .collect(),
        phases: false,
        end_s: end(cycle),
        ..FigureSpec::default()
    };
    crate::standard::keep_present(&mut spec, cycle);
    spec.panels = spec.panels.into_iter().flat_map(|panel| apart(panel, cycle)).collect();
    if spec.panels.is_empty() {
        return Ok(None);
    }
    let mut figure = figure::lay_out_over(cycle, beneath, subject, &spec)?;
    add_words(&mut figure, &format!("{} {CAUTION}", average.provenance));
    Ok(Some(figure))
}

/// Where the figure ends: intervals vary, and averaged on this beat's R the next one's waves are
/// smeared.
fn end(cycle: &Cycle) -> Option<f64> {
    cycle.trace("ecg")?;
    let (_, end_s) = cycle.span_s()?;
    let last = cycle.landmarks.iter().map(|landmark| landmark.time_s + AFTER_S);
    let least = last.fold(LEAST * cycle.period_s, f64::max);
    Some((cycle.period_s - NEXT_P_S).max(least).min(end_s))
}

/// A panel for each channel where they were recorded in different units.
fn apart(panel: PanelSpec, cycle: &Cycle) -> Vec<PanelSpec> {
    let unit = |id: &String| cycle.trace(id).map(|trace| trace.unit.as_str());
    let first = panel.channels.first().and_then(unit);
    if panel.channels.iter().all(|id| unit(id) == first) {
        return vec![panel];
    }
    let alone = |id: &String| PanelSpec { channels: vec![id.clone()], ..panel.clone() };
    panel.channels.iter().map(alone).collect()
}

/// Adds `words` below everything.
fn add_words(figure: &mut Figure, words: &str) {
    let room = figure.width_mm - 2.0 * MARGIN;
    for text in font::wrap(words, SIZE, false, room) {
        let at = [MARGIN, figure.height_mm + SIZE];
        let shape = Shape::Text {
            at,
            text,
            size: SIZE,
            bold: false,
            align: Align::Start,
            colour: style::SOFT_INK,
        };
        figure.items.push(Item { tag: Tag::Title, shape });
        figure.height_mm += LINE;
    }
    figure.height_mm += LINE;
    let (width, height) = (figure.width_mm, figure.height_mm);
    for item in figure.items.iter_mut().filter(|item| item.tag == Tag::Paper) {
        if let Shape::Fill { area, .. } = &mut item.shape {
            (area.w, area.h) = (width, height);
        }
    }
    figure.alt = format!("{} {words}", figure.alt);
}
