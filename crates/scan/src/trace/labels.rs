//! What stands beside traces and lines: writing, arrows, smudges.

use super::parts::{PixelBox, Runs};
use crate::PageForm;
use crate::ink::{Ink, share};

/// The smallest area of a letter's ink in square millimetres, and its least extent in millimetres.
const AREA_MM2: f64 = 0.25;
const EXTENT_MM: f64 = 0.9;
/// Letters of one label are no farther apart, in millimetres.
const APART_MM: f64 = 1.8;
/// An arrow or leader is at least this long, in millimetres, and fills little of its box.
const STROKE_MM: f64 = 4.0;

/// What something beside a trace is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Letters, or what is as compact.
    Writing,
    /// A single long stroke, such as an arrow or a leader.
    Stroke,
    /// Faint and shapeless.
    Smudge,
}

/// Something drawn that is neither trace nor alignment line.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    /// Left, top, right and bottom in millimetres from the page's top left corner.
    pub bounds_mm: [f64; 4],
    /// The panel that it stands in or nearest to, by its number.
    pub panel: usize,
    /// What it is.
    pub kind: Kind,
}

/// Groups what is left of the ink.
pub(crate) fn labels(ink: &Ink, rest: &[bool], form: &PageForm) -> Vec<Label> {
    let parts = Runs::of(ink.width, rest, |left| left);
    let mut sums = vec![0.0_f32; parts.count()];
    for (at, part) in parts.each() {
        sums[part] += share(ink.ink[at]);
    }
    let area = AREA_MM2 * ink.px_per_mm * ink.px_per_mm;
    let extent = ink.px(EXTENT_MM);
    let mut groups: Vec<(PixelBox, Kind)> = Vec::new();
    for (part, &sum) in sums.iter().enumerate() {
        let bounds = parts.bounds(part);
        let large = bounds.width().max(bounds.height()) >= extent;
        if large && f64::from(parts.area(part)) >= area {
            let kind = kind(ink, bounds, f64::from(parts.area(part)), sum);
            join(&mut groups, (bounds, kind), ink.px(APART_MM));
        }
    }
    let label = |(bounds, kind): (PixelBox, Kind)| Label {
        bounds_mm: [
            ink.x_mm(bounds.left as f64 - 0.5),
            ink.y_mm(bounds.top as f64 - 0.5),
            ink.x_mm(bounds.right as f64 + 0.5),
            ink.y_mm(bounds.bottom as f64 + 0.5),
        ],
        panel: nearest(ink, form, &bounds),
        kind,
    };
    groups.into_iter().map(label).collect()
}

/// What something is, by its area in pixels and the sum of its ink.
fn kind(ink: &Ink, bounds: PixelBox, area: f64, sum: f32) -> Kind {
    let mean = f64::from(sum) / area;
    let filled = area / (bounds.width() * bounds.height()) as f64;
    let long = bounds.width().max(bounds.height());
    if mean < 0.1 && filled > 0.5 && long > ink.px(2.0) {
        Kind::Smudge
    } else if long >= ink.px(STROKE_MM) && area < 1.6 * long as f64 * ink.px(0.6) as f64 {
        Kind::Stroke
    } else {
        Kind::Writing
    }
}

/// Adds a part to the groups, and joins all that it stands near to.
fn join(groups: &mut Vec<(PixelBox, Kind)>, mut new: (PixelBox, Kind), apart: usize) {
    while let Some(n) = groups.iter().position(|old| old.1 == new.1 && near(&old.0, &new.0, apart))
    {
        let old = groups.swap_remove(n);
        new.0 = new.0.joined(&old.0);
    }
    groups.push(new);
}

fn near(a: &PixelBox, b: &PixelBox, apart: usize) -> bool {
    a.left <= b.right + apart
        && b.left <= a.right + apart
        && a.top <= b.bottom + apart / 2
        && b.top <= a.bottom + apart / 2
}

fn nearest(ink: &Ink, form: &PageForm, bounds: &PixelBox) -> usize {
    let y = ink.y_mm((bounds.top + bounds.bottom) as f64 / 2.0);
    let off = |n: usize| {
        let panel = &form.panels[n];
        (panel.y_mm - y).max(y - panel.y_mm - panel.height_mm).max(0.0)
    };
    (0..form.panels.len()).min_by(|&a, &b| off(a).total_cmp(&off(b))).unwrap_or(0)
}
