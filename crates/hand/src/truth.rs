//! What was really drawn, and what the rules make of it.

use convention::{Scale, Verdict, judge};
use cycle::{Cycle, Event, Label, Landmark, Trace};
use serde::Serialize;

use crate::form::{Handout, Panel};
use crate::mistake::Mistake;
use crate::student::{LineStyle, Student};

/// What was drawn on all pages of one copy.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Truth {
    /// Who drew.
    pub student: Student,
    /// What was got wrong on purpose.
    pub mistakes: Vec<Mistake>,
    /// What is on each page.
    pub pages: Vec<PageTruth>,
    /// What each rule makes of what was drawn, in the convention's order, in millimetres.
    pub verdicts: Vec<Verdict>,
    /// The rules about what was asked for.
    pub asked: Vec<String>,
}

/// What was drawn on one page; places in millimetres from its top left corner, y down.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PageTruth {
    /// The page's code.
    pub code: String,
    /// The page's number, from 1.
    pub page: u8,
    /// The traces that were asked for.
    pub traces: Vec<TraceTruth>,
    /// The bars that were asked for.
    pub bars: Vec<BarTruth>,
    /// What was written.
    pub labels: Vec<LabelTruth>,
    /// The student's alignment lines.
    pub lines: Vec<LineTruth>,
}

/// A trace as it was drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TraceTruth {
    /// Which.
    pub channel: String,
    /// Whether it goes up and down in bursts: then it may be at several heights at a time.
    pub bursts: bool,
    /// The middle of the line, in as many parts as the pen was lifted.
    pub parts: Vec<Vec<[f64; 2]>>,
    /// Its landmarks.
    pub landmarks: Vec<LandmarkTruth>,
    /// The key's landmarks that it lacks, in any beat.
    pub absent: Vec<AbsentTruth>,
}

/// A landmark as it was drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LandmarkTruth {
    /// Which.
    pub name: String,
    /// Of which beat on the page, from 0.
    pub beat: usize,
    /// Where it is, on the middle of the line.
    pub at_mm: [f64; 2],
    /// Where it was meant.
    pub meant_mm: [f64; 2],
    /// Where it would be right.
    pub key_mm: [f64; 2],
}

/// A landmark that was not drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AbsentTruth {
    /// Which.
    pub name: String,
    /// Where the key has it.
    pub key_mm: [f64; 2],
}

/// A bar as it was drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BarTruth {
    /// Which.
    pub bar: String,
    /// Left and right ends.
    pub stretches_mm: Vec<[f64; 2]>,
    /// The events among the ends: which, and where.
    pub events: Vec<(String, f64)>,
}

/// A label as it was written.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LabelTruth {
    /// What it says.
    pub text: String,
    /// The trace that it is written on.
    pub channel: String,
    /// The landmark that it is meant for.
    pub landmark: String,
    /// Where it points.
    pub points_to_mm: [f64; 2],
    /// Left, top, right and bottom side of the writing.
    pub box_mm: [f64; 4],
    /// Whether an arrow leads from it to where it points.
    pub arrow: bool,
}

/// An alignment line as it was drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LineTruth {
    /// The landmark or event that it is meant to go through.
    pub through: String,
    /// Its upper end.
    pub from_mm: [f64; 2],
    /// Its lower end.
    pub to_mm: [f64; 2],
    /// How it was drawn.
    pub style: LineStyle,
}

/// The cycle that the pages show: what is printed, and what was drawn where it was asked for.
pub(crate) fn cycle(handout: &Handout<'_>, pages: &[PageTruth]) -> Cycle {
    let model = handout.model;
    let mut cycle = Cycle { period_s: model.period_s, ..Cycle::default() };
    for panel in handout.panels().filter(|panel| panel.given) {
        let Some(trace) = model.trace(&panel.channel) else { continue };
        cycle.traces.push(trace.clone());
        let within = |t: f64| (panel.time_start_s..=panel.time_end_s).contains(&t);
        let marks = model.landmarks.iter().filter(|mark| mark.channel == panel.channel);
        cycle.landmarks.extend(marks.filter(|mark| within(mark.time_s)).cloned());
    }
    for row in handout.bars().filter(|row| row.given) {
        let Some(kind) = handout.subject.bar(&row.bar) else { continue };
        let ends = model.events.iter().filter(|e| e.name == kind.from || e.name == kind.to);
        let within = |t: f64| (row.time_start_s..=row.time_end_s).contains(&t);
        cycle.events.extend(ends.filter(|event| within(event.time_s)).cloned());
    }
    for drawn in pages.iter().flat_map(|page| &page.traces) {
        let Some(panel) = handout.panel(&drawn.channel) else { continue };
        let Some(trace) = trace(handout, panel, drawn) else { continue };
        cycle.traces.push(trace);
        cycle.landmarks.extend(drawn.landmarks.iter().map(|mark| Landmark {
            name: mark.name.clone(),
            channel: drawn.channel.clone(),
            time_s: panel.time_s(mark.at_mm[0]),
            value: panel.value(mark.at_mm[1]),
        }));
    }
    for bar in pages.iter().flat_map(|page| &page.bars) {
        let Some(row) = handout.bars().find(|row| row.bar == bar.bar) else { continue };
        let events = bar.events.iter();
        cycle
            .events
            .extend(events.map(|(name, x)| Event { name: name.clone(), time_s: row.time_s(*x) }));
    }
    for label in pages.iter().flat_map(|page| &page.labels) {
        let Some(panel) = handout.panel(&label.channel) else { continue };
        if cycle.trace(&label.channel).is_some() {
            let time_s = panel.time_s(label.points_to_mm[0]);
            let (text, channel) = (label.text.clone(), label.channel.clone());
            cycle.labels.push(Label { text, channel, time_s });
        }
    }
    cycle.landmarks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    cycle.events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    cycle.labels.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    cycle
}

/// What each rule makes of a drawn cycle, on paper.
pub(crate) fn verdicts(handout: &Handout<'_>, cycle: &Cycle) -> Vec<Verdict> {
    let (mm_per_s, mm_per_unit) = (handout.mm_per_s, handout.mm_per_unit());
    let scale = Scale::Paper { mm_per_s, mm_per_unit };
    judge(cycle, handout.convention, handout.subject, &scale)
}

/// Samples for each millimetre of paper.
const PER_MM: f64 = 10.0;
/// Widest gap in millimetres over which a drawn line is taken to go on.
const GAP_MM: f64 = 3.0;

/// A drawn trace as a function of time; `None` where nothing was drawn.
fn trace(handout: &Handout<'_>, panel: &Panel, drawn: &TraceTruth) -> Option<Trace> {
    let points = || drawn.parts.iter().flatten();
    let left = points().map(|point| point[0]).reduce(f64::min)?;
    let right = points().map(|point| point[0]).reduce(f64::max)?;
    let count = ((right - left) * PER_MM).floor() as usize + 1;
    let heights = if drawn.bursts {
        let base = base_y(handout, panel)?;
        furthest(drawn, left, count, base)
    } else {
        along(drawn, left, count)
    };
    let unit = handout.subject.channel(&drawn.channel).map_or("", |kind| &kind.unit);
    let samples = heights.into_iter().map(|y| panel.value(y)).collect();
    let rate_hz = PER_MM * handout.mm_per_s;
    Some(Trace::new(&drawn.channel, unit, rate_hz, panel.time_s(left), samples))
}

/// The height at which bursts have their baseline.
pub(crate) fn base_y(handout: &Handout<'_>, panel: &Panel) -> Option<f64> {
    let mut sorted = handout.model.trace(&panel.channel)?.samples.clone();
    sorted.sort_by(f64::total_cmp);
    Some(panel.map().y(*sorted.get(sorted.len() / 2)?))
}

/// The heights of a line that never turns back, by straight lines over gaps.
fn along(drawn: &TraceTruth, left: f64, count: usize) -> Vec<f64> {
    let points: Vec<[f64; 2]> = drawn.parts.iter().flatten().copied().collect();
    let mut after = 0;
    let height = |step: usize| {
        let x = left + step as f64 / PER_MM;
        while after < points.len() - 1 && points[after][0] < x {
            after += 1;
        }
        let (a, b) = (points[after.saturating_sub(1)], points[after]);
        let width = b[0] - a[0];
        let share = if width > 0.0 { ((x - a[0]) / width).clamp(0.0, 1.0) } else { 1.0 };
        a[1] + share * (b[1] - a[1])
    };
    (0..count).map(height).collect()
}

/// The heights furthest from the baseline; between what is drawn, the baseline.
fn furthest(drawn: &TraceTruth, left: f64, count: usize, base: f64) -> Vec<f64> {
    let mut heights: Vec<Option<f64>> = vec![None; count];
    for part in &drawn.parts {
        for pair in part.windows(2) {
            let [a, b] = [pair[0], pair[1]];
            for step in 0..=4 {
                let share = f64::from(step) / 4.0;
                let x = a[0] + share * (b[0] - a[0]);
                let y = a[1] + share * (b[1] - a[1]);
                let column = ((x - left) * PER_MM).round().max(0.0) as usize;
                let Some(height) = heights.get_mut(column) else { continue };
                if height.is_none_or(|before| (y - base).abs() > (before - base).abs()) {
                    *height = Some(y);
                }
            }
        }
    }
    let known: Vec<usize> = (0..count).filter(|&column| heights[column].is_some()).collect();
    for pair in known.windows(2) {
        if (pair[1] - pair[0]) as f64 <= GAP_MM * PER_MM {
            continue;
        }
        for height in &mut heights[pair[0] + 1..pair[1]] {
            *height = Some(base);
        }
    }
    let mut last = base;
    let filled = heights.into_iter().map(|height| {
        last = height.unwrap_or(last);
        last
    });
    filled.collect()
}
