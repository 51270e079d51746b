//! The line on which sounds rest: which row of the panel it is, and its place in each column.

use super::path::{Region, Sight};

/// A resting line is thinner than this, in millimetres.
const THIN_MM: f64 = 1.4;
/// A trace rests no farther than this from where its resting line is printed, in millimetres, if
/// little of it is drawn.
const PRINTED_MM: f64 = 1.2;
/// How far the resting line is looked for to either side, in millimetres.
const NEAR_MM: f64 = 8.0;
/// How far from its usual place, in millimetres.
const OFF_MM: f64 = 1.2;

/// The row on which the trace rests: that with most thin ink about the panel's middle, where it is
/// printed. Strokes that cross it have ink in every row.
pub(super) fn resting(sight: &Sight<'_>, region: Region) -> usize {
    let (high, width) = (region.bottom - region.top, region.right - region.left);
    let middle = high / 2;
    let (far, thin) = (high / 5, sight.ink.px(THIN_MM));
    // As many rows as it takes to tell what is thin.
    let first = middle.saturating_sub(far + thin);
    let last = (middle + far + thin).min(high);
    let row = |y: usize| (region.top + first + y) * sight.ink.width + region.left;
    let mut counts = vec![0; high];
    let inked = |x: usize, y: usize| sight.inked(row(y) + x);
    for [top, bottom] in runs([width, last - first], inked).into_iter().flatten() {
        if bottom - top < thin {
            counts[first + top..=first + bottom].iter_mut().for_each(|count| *count += 1);
        }
    }
    let best = |near: usize, share: usize| {
        let rows = middle - near.min(middle)..(middle + near).min(high);
        let best = rows.map(|y| (counts[y], y)).max();
        best.filter(|(count, _)| share * count > width).map(|(_, y)| y)
    };
    // Farther off, letters in a row have as much ink as a resting line that is drawn in part.
    let row = best(far, 3).or_else(|| best(sight.ink.px(PRINTED_MM), 10));
    region.top + row.unwrap_or(middle)
}

/// Stretches of ink in each column: their first and their last row.
pub(super) fn runs(
    [columns, rows]: [usize; 2],
    inked: impl Fn(usize, usize) -> bool,
) -> Vec<Vec<[usize; 2]>> {
    let mut found: Vec<Vec<[usize; 2]>> = vec![Vec::new(); columns];
    // Row by row, as ink lies in memory.
    for y in 0..rows {
        for (_, found) in found.iter_mut().enumerate().filter(|(x, _)| inked(*x, y)) {
            match found.last_mut() {
                Some(last) if y - last[1] <= 2 => last[1] = y,
                _ => found.push([y, y]),
            }
        }
    }
    found
}

/// The row of the resting line in each column: the middle of thin ink near by.
pub(super) fn resting_line(
    runs: &[Vec<[usize; 2]>],
    rest: f64,
    stroke: f64,
    px_per_mm: f64,
) -> Vec<f64> {
    let thin = |runs: &Vec<[usize; 2]>| {
        let middle = |[top, bottom]: [usize; 2]| f64::midpoint(top as f64, bottom as f64);
        let off = |run: [usize; 2]| (middle(run) - rest).abs();
        let nearest = runs.iter().copied().min_by(|a, b| off(*a).total_cmp(&off(*b)))?;
        let resting = ((nearest[1] - nearest[0] + 1) as f64) < 1.5 * stroke + 1.0
            && off(nearest) < OFF_MM * px_per_mm;
        resting.then(|| middle(nearest))
    };
    let middles: Vec<Option<f64>> = runs.iter().map(thin).collect();
    let near = (NEAR_MM * px_per_mm) as usize;
    let step = (px_per_mm as usize).max(1);
    let blocks: Vec<f64> = (0..runs.len())
        .step_by(step)
        .map(|n| {
            let (from, to) = (n.saturating_sub(near), (n + near).min(runs.len()));
            let mut known: Vec<f64> = middles[from..to].iter().flatten().copied().collect();
            known.sort_by(f64::total_cmp);
            if known.len() < step { rest } else { known[known.len() / 2] }
        })
        .collect();
    (0..runs.len()).map(|n| blocks[n / step]).collect()
}
