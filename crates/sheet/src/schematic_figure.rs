//! How a convention's figure is drawn, whole and step by step.

use convention::{Convention, Point, Step, alignment_points};
use cycle::{Cycle, Subject};
use figure::{FigureSpec, PanelSpec};

/// The figure of a convention: its panels, its alignment lines, its bars, and the phases where
/// it has the bars that bound them.
pub fn convention_figure(convention: &Convention, subject: &Subject, model: &Cycle) -> FigureSpec {
    let panels = convention.panels.iter().map(|channels| {
        let kinds = channels.iter().filter_map(|id| subject.channel(id));
        let (low, high) = kinds.clone().fold((f64::MAX, f64::MIN), |(low, high), kind| {
            let own = model.trace(&kind.id).and_then(cycle::Trace::range);
            own.map_or((low, high), |(l, h)| (low.min(l), high.max(h)))
        });
        let unit = kinds.clone().next().map_or("", |kind| kind.unit.as_str());
        let height_mm = match (unit, channels.len()) {
            ("mV", _) => 24.0,
            ("relative", _) => 20.0,
            ("mmHg", 1) => 36.0,
            ("mmHg", _) => 50.0,
            _ => 28.0,
        };
        // Room above and below for labels, whatever is drawn so far.
        let room = 0.22 * (high - low);
        let range = (high > low).then_some([low - room, high + room]);
        PanelSpec { channels: channels.clone(), height_mm, range, title: None }
    });
    let lines = alignment_points(convention, subject, model);
    FigureSpec {
        title: Some(convention.title.clone()),
        panels: panels.collect(),
        lines: lines.into_iter().map(|point| point.name).collect(),
        bars: convention.bars.clone(),
        phases: bounds_phases(convention, subject),
        ..FigureSpec::default()
    }
}

/// Whether a convention has the bars that bound the subject's phases.
pub(crate) fn bounds_phases(convention: &Convention, subject: &Subject) -> bool {
    let bars = &subject.phase_bars;
    !bars.is_empty() && bars.iter().all(|bar| convention.bars.contains(bar))
}

/// The figure as it stands after a step: the same frame, with only what is `drawn` so far.
pub fn step_figure(
    whole: &FigureSpec,
    step: &Step,
    drawn: &[Point],
    number: usize,
    of: usize,
) -> FigureSpec {
    let is_drawn = |name: &String| drawn.iter().any(|point| point.name == *name);
    FigureSpec {
        title: Some(format!("Step {number} of {of}: {}", step.title)),
        lines: whole.lines.iter().filter(|name| is_drawn(name)).cloned().collect(),
        phases: false,
        ..whole.clone()
    }
}
