//! Bars: boxes or strokes along the time axis, such as the time for which a valve is open.

use std::ops::RangeInclusive;

use super::lines::AlignmentLine;
use super::path::Sight;
use crate::BarForm;
use crate::ink::{Ink, share};

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

/// Bars are drawn so far to either side of the row's printed line, as a share of its height.
const BESIDE: f64 = 0.4;
/// A stroke along that line is seen so far to either side of it, in millimetres.
const ON_PRINT_MM: f64 = 0.9;
/// What crosses a row is narrower than twice this, in millimetres.
const CROSSES_MM: f64 = 0.8;
/// Ends that differ by more than this, in millimetres, are not the same.
const DIFFERS_MM: f64 = 2.0;
/// Where a bar is the row is darker by so many standard deviations.
const CLEARLY: f32 = 4.0;
/// So much of a row lines may cross side by side.
const CROSSED: f64 = 0.08;

/// No bar on paper is surer than this, so that what is met is taken, and what is not met is
/// asked. (In 800 invented drawings 15 of 242 zeros that hung on a bar's end were wrong.)
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
    let mut counts: Vec<usize> = (left..=right).map(count).collect();
    let masked = |x: usize| {
        let x = ink.x_mm(x as f64);
        lines.iter().any(|line| (line.x_at(middle) - x).abs() < line.width_mm / 2.0 + STRAYS_MM)
    };
    let runs = |counts: &[usize]| {
        let mut runs: Vec<[usize; 2]> = Vec::new();
        for n in (0..counts.len()).filter(|&n| counts[n] >= least) {
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
        runs
    };
    let mut found = runs(&counts);
    // Faint strokes are only seen in sum: those along the row's printed line, and those of boxes.
    let row = ink.column(form.x_mm)..=ink.column(form.x_mm + form.width_mm);
    let about = |half: f64| darker(ink, row.clone(), [middle - half, middle + half], masked);
    let (on_print, in_row) = (about(ON_PRINT_MM), about(BESIDE * form.height_mm));
    let clearest = if on_print.1 > in_row.1 { on_print.0 } else { in_row.0 };
    let mut summed = vec![0; counts.len()];
    for (n, darker) in (row.start() - left..).zip(clearest) {
        summed[n] = if darker { least } else { 0 };
    }
    let sums = runs(&summed);
    let apart = |(a, b): (&[usize; 2], &[usize; 2])| a[0].abs_diff(b[0]).max(a[1].abs_diff(b[1]));
    let differ = found.len() != sums.len()
        || found.iter().zip(&sums).any(|pair| apart(pair) > ink.px(DIFFERS_MM));
    let in_sum = differ && !sums.is_empty();
    if in_sum {
        (found, counts) = (sums, summed);
    }
    let runs = found;
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
        if in_sum {
            return [from, to].map(|n| ink.x_mm((left + n) as f64));
        }
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

/// Where a row is darker than elsewhere, all its ink in a column taken together.
fn darker(
    ink: &Ink,
    columns: RangeInclusive<usize>,
    [top, bottom]: [f64; 2],
    masked: impl Fn(usize) -> bool,
) -> (Vec<bool>, f32) {
    let rows = ink.line(top)..=ink.line(bottom);
    let sum =
        |x: usize| rows.clone().map(|y| share(ink.seen[y * ink.width + x].max(0))).sum::<f32>();
    let free: Vec<usize> = columns.clone().filter(|x| !masked(*x)).collect();
    let sums: Vec<f32> = free.iter().map(|x| sum(*x)).collect();
    // What else crosses the line is narrow.
    let half = ink.px(CROSSES_MM);
    let level = |n: usize| {
        let mut near = sums[n.saturating_sub(half)..(n + half + 1).min(sums.len())].to_vec();
        let at = near.len() / 2;
        *near.select_nth_unstable_by(at, f32::total_cmp).1
    };
    let levels: Vec<f32> = (0..sums.len()).map(level).collect();
    let (limit, clearly) = between(&levels);
    let clear = clearly > CLEARLY;
    // On an alignment line it is as dark as beside it: what ends there ends in the line's middle.
    let nearest = |x: usize| {
        let after = free.partition_point(|other| *other < x);
        let beside = [after.checked_sub(1), Some(after)].into_iter().flatten();
        let beside = beside.filter(|n| *n < free.len());
        beside.min_by_key(|n| free[*n].abs_diff(x)).map_or(0.0, |n| levels[n])
    };
    (columns.map(|x| clear && nearest(x) > limit).collect(), clearly)
}

/// The value that divides others in two groups that differ most clearly (Otsu, IEEE Transactions
/// on Systems, Man and Cybernetics 1979;9:62–66), and by how many standard deviations within them
/// their middles do.
fn between(values: &[f32]) -> (f32, f32) {
    if values.len() < 2 {
        return (0.0, 0.0);
    }
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f32::total_cmp);
    let most = sorted[sorted.len() - 1 - (CROSSED * sorted.len() as f64) as usize];
    sorted.iter_mut().for_each(|value| *value = value.min(most));
    let (count, sum) = (sorted.len() as f32, sorted.iter().sum::<f32>());
    let mut best = (0.0, 1);
    let mut below = 0.0;
    for n in 1..sorted.len() {
        below += sorted[n - 1];
        let share = n as f32 / count;
        let apart = (sum - below) / (count - n as f32) - below / n as f32;
        let spread = share * (1.0 - share) * apart * apart;
        if spread > best.0 {
            best = (spread, n);
        }
    }
    let (low, high) = sorted.split_at(best.1);
    let (one, other) = (low[low.len() / 2], high[high.len() / 2]);
    let off = |group: &[f32], middle: f32| -> Vec<f32> {
        group.iter().map(|v| (v - middle).abs()).collect()
    };
    let mut off: Vec<f32> = [off(low, one), off(high, other)].concat();
    let at = off.len() / 2;
    let middle = *off.select_nth_unstable_by(at, f32::total_cmp).1;
    // 1.4826 makes a deviation of a median for normal noise.
    let within = 1.4826 * middle.max(1e-6);
    (f32::midpoint(one, other), (other - one) / within)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::BLACK;
    use crate::trace::lines::LineStyle;
    use crate::trace::parts::Parts;

    const PX_PER_MM: f64 = 8.0;
    const SIZE: [usize; 2] = [1400, 80];

    /// What is read in a row, 160 mm long, whose pixels are as dark as told; nothing of it is
    /// darker than print can be.
    fn read_row(dark: impl Fn(f64, f64) -> f32, lines: &[AlignmentLine]) -> Vec<[f64; 2]> {
        let [width, height] = SIZE;
        let mut noise = noise();
        let place = |n: usize| [n % width, n / width].map(|at| (at as f64 + 0.5) / PX_PER_MM);
        let seen = |n: usize| {
            let [x, y] = place(n);
            ((dark(x, y) + 0.02 * noise()) * f32::from(BLACK)) as i16
        };
        let ink = Ink {
            px_per_mm: PX_PER_MM,
            origin: [0, 0],
            width,
            height,
            ink: vec![0; width * height],
            hidden: vec![false; width * height],
            seen: (0..width * height).map(seen).collect(),
            noise: 0.02,
            shift_mm: 0.0,
        };
        let none = vec![false; width * height];
        let parts = Parts::of_mask(width, &none);
        let form = BarForm {
            bar: "mitral_open".to_owned(),
            x_mm: 5.0,
            y_mm: 1.5,
            width_mm: 160.0,
            height_mm: 7.0,
            given: false,
        };
        let sight = Sight { ink: &ink, line: &none, parts: &parts };
        read(&sight, &form, lines, &mut []).stretches_mm
    }

    /// Even noise from −1 to 1, the same each time (Numerical Recipes' linear congruential
    /// generator).
    fn noise() -> impl FnMut() -> f32 {
        let mut state = 1_u32;
        move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / (1 << 23) as f32 - 1.0
        }
    }

    fn printed(y: f64) -> f32 {
        if (y - 5.0).abs() < 0.15 { 0.5 } else { 0.0 }
    }

    const DRAWN: [[f64; 2]; 3] = [[5.0, 30.0], [72.0, 110.0], [150.0, 165.0]];

    fn is_drawn(x: f64) -> bool {
        DRAWN.iter().any(|[from, to]| (*from..*to).contains(&x))
    }

    fn line(x: f64) -> AlignmentLine {
        AlignmentLine {
            top_x_mm: x,
            bottom_x_mm: x,
            top_mm: 0.0,
            bottom_mm: 10.0,
            width_mm: 0.4,
            style: LineStyle::Solid,
            confidence: 1.0,
        }
    }

    #[track_caller]
    fn as_drawn(found: &[[f64; 2]]) {
        assert_eq!(found.len(), DRAWN.len(), "{found:?}");
        for (found, drawn) in found.iter().flatten().zip(DRAWN.iter().flatten()) {
            assert!((found - drawn).abs() < 0.3, "{found} in place of {drawn}");
        }
    }

    #[test]
    fn a_faint_stroke_along_the_printed_line_is_a_bar() {
        let lines = [32.0, 50.0, 72.0, 108.0].map(line);
        let crossed = |x: f64| lines.iter().any(|line| (line.top_x_mm - x).abs() < 0.2);
        let dark = |x: f64, y: f64| {
            let stroke = is_drawn(x) && (y - 5.1 - 0.1 * libm::sin(x / 9.0)).abs() < 0.2;
            let own = if stroke { 0.12 } else { 0.0 };
            printed(y).max(if crossed(x) { 0.3 } else { 0.0 }) + own
        };
        as_drawn(&read_row(dark, &lines));
    }

    #[test]
    fn a_box_too_faint_to_be_ink_is_a_bar() {
        let edge = |y: f64| (y - 3.4).abs() < 0.15 || (y - 6.6).abs() < 0.15;
        let dark = |x: f64, y: f64| printed(y) + if is_drawn(x) && edge(y) { 0.06 } else { 0.0 };
        as_drawn(&read_row(dark, &[]));
    }

    #[test]
    fn uneven_print_is_no_bar() {
        let dark = |x: f64, y: f64| printed(y) * (1.0 + 0.05 * libm::sin(x / 7.0) as f32);
        assert_eq!(read_row(dark, &[]), [[0.0; 2]; 0]);
        let lines = [32.0, 50.0, 72.5, 108.0].map(line);
        let crossed = |x: f64, y: f64| {
            let on = lines.iter().any(|line| (line.top_x_mm - x).abs() < 0.2);
            printed(y).max(if on { 0.4 } else { 0.0 })
        };
        assert_eq!(read_row(crossed, &lines), [[0.0; 2]; 0]);
    }
}
