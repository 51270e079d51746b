//! The build, step by step, as a handout.

use convention::{Point, Step, beats, partial, steps};
use cycle::{Cycle, Subject};
use figure::{FigureSpec, Page, lay_out};

use crate::SheetError;
use crate::definition::{Orientation, Test};
use crate::flow::Flow;
use crate::schematic_figure::{convention_figure, step_figure};

/// Shares of its usual height that a small figure's panels have, at most and at least.
const SMALL: f64 = 0.6;
const LEAST: f64 = 0.38;
/// Height of a step's words and of all but the panels of its figure.
const WORDS: f64 = 74.0;
const LARGE_WORDS: f64 = 150.0;

/// One small figure a step, with what to draw and why.
///
/// # Errors
/// [`SheetError::Steps`] where the convention orders a step before one that it depends on.
pub(crate) fn pages(
    test: &Test,
    subject: &Subject,
    model: &Cycle,
    title: &str,
) -> Result<Vec<Page>, SheetError> {
    let convention = &test.convention;
    let size_mm = test.paper.size_mm(Orientation::Portrait);
    let mut flow = Flow::new(size_mm, test.sizes(), title);
    // What a convention simplifies, it says of a healthy heart.
    if !convention.simplifies.is_empty() && test.about.is_empty() {
        flow.put(vec![flow.paragraph(&format!("What is simplified: {}", convention.simplifies))]);
    }
    let start_s = model.span_s().map_or(0.0, |(start, _)| start);
    // One beat, in the same frame from the first step on.
    let whole = FigureSpec {
        start_s: Some(start_s),
        end_s: Some(start_s + model.period_s),
        ..small(convention_figure(convention, subject, model), &flow, test)
    };
    let beats = beats(model, subject);
    let has = |point: &Point| beats.iter().any(|beat| beat.get(point).is_some());
    let mut steps = steps(convention, subject, model)?;
    steps.retain(|step| step.draw.iter().any(has));
    let mut drawn = Vec::new();
    for (index, step) in steps.iter().enumerate() {
        drawn.extend(step.draw.iter().cloned());
        let part = partial(convention, subject, model, &drawn);
        let spec = step_figure(&whole, step, &drawn, index + 1, steps.len());
        let figure = lay_out(&part, subject, &FigureSpec { title: None, ..spec })?;
        flow.put(vec![
            flow.heading(2, &heading(index + 1, step)),
            flow.paragraph(&step.text),
            flow.paragraph(&format!("Why: {}", step.cause)),
            flow.picture(&figure),
        ]);
    }
    Ok(flow.finish())
}

/// As small as it takes to have two or three on a page, or one in large print.
fn small(whole: FigureSpec, flow: &Flow, test: &Test) -> FigureSpec {
    let heights: f64 = whole.panels.iter().map(|panel| panel.height_mm).sum();
    let (share, scale, width) = if test.large_print {
        // Labels above, bars and the time axis take twice as much as in the usual print.
        (((flow.full_height() - LARGE_WORDS) / heights).clamp(LEAST, 1.0), 2.0, flow.width())
    } else {
        let share = (flow.full_height() / 2.0 - WORDS) / heights;
        (share.clamp(LEAST, SMALL), 0.9, 0.86 * flow.width())
    };
    let mut spec = FigureSpec { width_mm: width, scale, ..whole };
    for panel in &mut spec.panels {
        panel.height_mm *= share;
    }
    spec
}

fn heading(number: usize, step: &Step) -> String {
    let mut letters = step.title.chars();
    let first = letters.next().map(|letter| letter.to_uppercase().to_string());
    format!("{number}. {}{}", first.unwrap_or_default(), letters.as_str())
}
