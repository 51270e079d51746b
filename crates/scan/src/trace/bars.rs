//! Bars: boxes or strokes along the time axis, such as the time for which a valve is open.

use super::lines::AlignmentLine;
use super::path::Sight;
use crate::BarForm;
use crate::ink::Ink;

/// What is missing inside a bar is no longer than this, in millimetres.
const HOLE_MM: f64 = 1.0;
/// How far a line drawn by hand may stray from straight, in millimetres.
const STRAYS_MM: f64 = 0.5;
/// A bar is at least this long, in millimetres.
const LEAST_MM: f64 = 2.5;
/// A column belongs to a bar if so much of it is inked, in millimetres.
const INKED_MM: f64 = 0.2;
/// A bar's end that is this near to an alignment line is drawn along it, in millimetres.
const ALONG_MM: f64 = 0.8;
/// What reaches farther above a row, in millimetres, is not drawn in it.
const ABOVE_MM: f64 = 2.0;
/// An upright stroke at a bar's end is at least this high, in millimetres.
const UPRIGHT_MM: f64 = 1.6;

/// No bar on paper is surer than this, so that what is met is taken, and what is not met is asked. (In
/// 800 invented drawings 15 of 242 zeros that hung on a bar's end were wrong.)
const SURE: f32 = 0.985;

/// What is drawn in a bar's row.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnBar {
    /// The bar's identifier.
    pub bar: String,
    /// Left and right ends in millimetres from the page's left side: the middles of the strokes
    /// there.
    pub stretches_mm: Vec<[f64; 2]>,
    /// How sure the reading of the whole row is, 0 … 1.
    pub confidence: f32,
}

/// Reads a bar's row; also says which parts of the ink it took.
pub(crate) fn read(
    sight: &Sight<'_>,
    form: &BarForm,
    lines: &[AlignmentLine],
    taken: &mut [bool],
) -> DrawnBar {
    let ink = sight.ink;
    let (left, right) = (ink.column(form.x_mm - 1.0), ink.column(form.x_mm + form.width_mm + 1.0));
    let (top, bottom) = (ink.line(form.y_mm), ink.line(form.y_mm + form.height_mm));
    let middle = form.y_mm + form.height_mm / 2.0;
    let least = ink.px(INKED_MM);
    // The row's own upper and lower lines are printed; what is left of them is no bar.
    let inner = ink.px(0.4);
    // A trace that leaves the panel above may come down to the bar.
    let upper = ink.line(middle - STRAYS_MM);
    let from_above = |at: usize| {
        sight.parts.at(at).is_some_and(|part| sight.parts.bounds(part).top + ink.px(ABOVE_MM) < top)
    };
    let own = |at: usize| sight.inked(at) && (at / ink.width >= upper || !from_above(at));
    let count =
        |x: usize| (top + inner..=bottom - inner).filter(|y| own(y * ink.width + x)).count();
    let counts: Vec<usize> = (left..=right).map(count).collect();
    let masked = |x: usize| {
        let x = ink.x_mm(x as f64);
        lines.iter().any(|line| (line.x_at(middle) - x).abs() < line.width_mm / 2.0 + STRAYS_MM)
    };
    let mut runs: Vec<[usize; 2]> = Vec::new();
    for (n, &count) in counts.iter().enumerate() {
        if count < least {
            continue;
        }
        let joins = runs.last().is_some_and(|last| {
            let bare = (last[1] + 1..n).filter(|&n| !masked(left + n)).count();
            bare <= ink.px(HOLE_MM)
        });
        match runs.last_mut() {
            Some(last) if joins => last[1] = n,
            _ => runs.push([n, n]),
        }
    }
    runs.retain(|&[from, to]| {
        let own = (from..=to).filter(|&n| counts[n] >= least && !masked(left + n)).count();
        to - from >= ink.px(LEAST_MM) && 2 * own > ink.px(LEAST_MM)
    });
    let mut confidence = SURE;
    for [from, to] in &runs {
        let inked = counts[*from..=*to].iter().filter(|&&count| count >= least).count();
        let share = inked as f32 / (to - from + 1) as f32;
        confidence = confidence.min(if share > 0.8 { SURE } else { 0.5 });
    }
    for (at, part) in sight.parts.each() {
        let (x, y) = (at % ink.width, at / ink.width);
        let inside = (top..=bottom).contains(&y);
        if inside && runs.iter().any(|[from, to]| (left + from..=left + to).contains(&x)) {
            taken[part] = true;
        }
    }
    let stretches = runs.iter().map(|&[from, to]| {
        let first = end(ink, &counts[from..=to]);
        let reversed: Vec<usize> = counts[from..=to].iter().rev().copied().collect();
        let last = end(ink, &reversed);
        let along = |x: f64| {
            let near = lines.iter().map(|line| line.x_at(middle));
            near.filter(|line| (line - x).abs() < ALONG_MM)
                .min_by(|a, b| (a - x).abs().total_cmp(&(b - x).abs()))
        };
        let from = ink.x_mm((left + from) as f64) + first.unwrap_or(0.0);
        let to = ink.x_mm((left + to) as f64) - last.unwrap_or(0.0);
        [
            first.map_or_else(|| along(from).unwrap_or(from), |_| from),
            last.map_or_else(|| along(to).unwrap_or(to), |_| to),
        ]
    });
    DrawnBar { bar: form.bar.clone(), stretches_mm: stretches.collect(), confidence }
}

/// How far in, in millimetres, the middle of the upright stroke at a bar's end is; none where
/// there is none.
fn end(ink: &Ink, counts: &[usize]) -> Option<f64> {
    let high = ink.px(UPRIGHT_MM);
    let reach = ink.px(1.2).min(counts.len());
    let first = counts[..reach].iter().position(|&count| count >= high)?;
    let length = counts[first..].iter().take_while(|&&count| count >= high).count();
    // A filled bar goes on: then its stroke is as wide as any.
    let length = if length > ink.px(1.2) { ink.px(0.5) } else { length };
    Some((first as f64 + (length as f64 - 1.0) / 2.0) / ink.px_per_mm)
}
