//! Ink over print.

use std::ops::Range;

use super::plane::Plane;
use crate::memory;

/// Printed ink fainter than this hides nothing.
const HIDES: f32 = 0.035;
/// Rows that are worked on together, so that they stay at hand.
const STRIP: usize = 64;

/// Ink that is darker than print alone.
pub(super) struct Over {
    pub(super) ink: Plane,
    /// Where there is print.
    pub(super) hidden: Vec<bool>,
}

/// The ink on a page that is darker than the most that the print alone can have put there, by
/// `least`.
pub(super) fn over(seen: &Plane, printed: &Plane, noise: f32, least: f32) -> Over {
    let [grey, dark] = gains(seen, printed, [(0.05..0.22, 0.0), (0.30..1.01, 0.6)]);
    let (width, height) = (printed.width, printed.height);
    let mut ink = Plane { width, height, data: memory::room(width * height) };
    let mut hidden = Vec::with_capacity(width * height);
    let mut most = vec![0.0; width];
    for top in (0..height).step_by(STRIP) {
        // Two rows more on both sides, since what is beside counts twice.
        let (from, to) = (top.saturating_sub(2), (top + STRIP + 2).min(height));
        let print = Plane::spread_of([width, to - from], |y| printed.row(from + y));
        // The edge of a dark line is as light as a grey one; what is beside it tells them apart.
        let beside = print.spread();
        for y in top..(top + STRIP).min(height) {
            let row = print.row(y - from).iter().zip(beside.row(y - from));
            for (most, (&ink, &beside)) in most.iter_mut().zip(row) {
                let share = ((beside - 0.22) / 0.1).clamp(0.0, 1.0);
                let dark = (ink * (grey + share * (dark - grey))).min(1.0);
                // A grid that the copier dropped hides nothing.
                let hides = (ink > HIDES) & (dark > 0.5 * HIDES);
                *most = least + if hides { dark * 1.15 + 0.02 + 2.0 * noise } else { 0.0 };
            }
            hidden.extend(most.iter().map(|&most| most > least));
            let over = |(&seen, &most): (&f32, &f32)| if seen > most { seen } else { 0.0 };
            ink.data.extend(seen.row(y).iter().zip(&most).map(over));
        }
    }
    Over { ink, hidden }
}

/// How dark print came out that has ink in each of some ranges, as a factor (`least` at least): the
/// copier's contrast. Student's ink over it makes it darker, so the middle of what is seen is taken.
fn gains<const N: usize>(seen: &Plane, printed: &Plane, inks: [(Range<f32>, f32); N]) -> [f32; N] {
    let mut counts = [[0_u32; 128]; N];
    for y in (1..printed.height - 1).step_by(2) {
        let (above, row, below) = (printed.row(y - 1), printed.row(y), printed.row(y + 1));
        for x in 1..printed.width - 1 {
            let ink = row[x];
            let Some(which) = inks.iter().position(|(range, _)| range.contains(&ink)) else {
                continue;
            };
            if (ink >= row[x - 1] && ink >= row[x + 1]) || (ink >= above[x] && ink >= below[x]) {
                let factor = seen.data[y * seen.width + x] / ink;
                counts[which][((factor * 32.0).max(0.0) as usize).min(127)] += 1;
            }
        }
    }
    std::array::from_fn(|which| {
        middle(&counts[which]).map_or(1.0, |at| at.clamp(inks[which].1, 3.0))
    })
}

/// The factor that a little more than half of the counted ones, in 32nds, are no greater than.
fn middle(counts: &[u32; 128]) -> Option<f32> {
    let total: u32 = counts.iter().sum();
    if total == 0 {
        return None;
    }
    let mut sum = 0;
    let at = counts.iter().position(|&count| {
        sum += count;
        sum as f32 > 0.55 * total as f32
    });
    Some(at.unwrap_or(32) as f32 / 32.0)
}

/// Which blocks of a plane, `side` pixels wide and high, have ink (1), or are beside such.
fn near(ink: &Plane, side: usize) -> Plane {
    let (columns, rows) = (ink.width.div_ceil(side), ink.height.div_ceil(side));
    let mut any = Plane::new(columns.max(2), rows);
    for (y, row) in ink.data.chunks(ink.width).enumerate() {
        let blocks = &mut any.data[y / side * any.width..];
        for (any, block) in blocks.iter_mut().zip(row.chunks(side)) {
            if block.iter().fold(false, |any, &ink| any | (ink > 0.0)) {
                *any = 1.0;
            }
        }
    }
    any.spread()
}

/// Carries strokes on over printed lines, from ink on one side to ink on the other.
pub(super) fn bridge(ink: &mut Plane, seen: &Plane, hidden: &[bool], least: f32, reach: usize) {
    if reach == 0 {
        return;
    }
    const WAYS: [[isize; 2]; 4] = [[1, 0], [0, 1], [1, 1], [1, -1]];
    let (width, height) = (ink.width, ink.height);
    let mut found = Vec::new();
    let near = near(ink, reach);
    for y in reach..height.saturating_sub(reach) {
        let blocks = near.row(y / reach).iter().enumerate().filter(|(_, near)| **near > 0.0);
        let columns = blocks.flat_map(|(block, _)| block * reach..(block + 1) * reach);
        for x in columns.filter(|x| (reach..width.saturating_sub(reach)).contains(x)) {
            let at = y * width + x;
            if !hidden[at] || ink.data[at] > 0.0 || seen.data[at] <= least {
                continue;
            }
            // Nothing is carried on to where there is no ink.
            let end = |way: isize| {
                let to = |n: usize| (at as isize + n as isize * way) as usize;
                let found = (1..=reach)
                    .map(|n| (n, to(n)))
                    .find(|&(_, to)| ink.data[to] > 0.0 || !hidden[to])?;
                (ink.data[found.1] > 0.0).then_some(found)
            };
            let carried = WAYS.iter().filter_map(|[dx, dy]| {
                let way = dx + dy * width as isize;
                let ((before, a), (after, b)) = (end(-way)?, end(way)?);
                (before + after <= reach).then_some(ink.data[a].min(ink.data[b]))
            });
            if let Some(most) = carried.max_by(f32::total_cmp) {
                found.push((at, most.min(seen.data[at])));
            }
        }
    }
    for (at, value) in found {
        ink.data[at] = value;
    }
}
