//! Ink over print.

use std::ops::Range;

use super::plane::{Plane, part};
use crate::{BLACK, memory};

/// Printed ink fainter than this hides nothing.
const HIDES: i16 = steps(0.035);
/// What counts as grey print, and as dark print; and where ink beside grey print says that it is
/// the edge of a dark line, from none of it to all.
const GREY: Range<i16> = steps(0.05)..steps(0.22);
const DARK: Range<i16> = steps(0.30)..BLACK + 1;
const EDGE: Range<i16> = steps(0.22)..steps(0.22) + 410;
/// By so much of itself, in 32,768ths, and by so much ink, print may be darker than it should.
const DARKER: i16 = 4915;
const MORE: i16 = steps(0.02);
/// In how many parts the factor is counted by which print came out darker or lighter.
const PARTS: i16 = 32;
/// Pixels of a row that are looked at together.
const TOGETHER: usize = 32;
/// Rows that are worked on together, so that they stay at hand.
const STRIP: usize = 64;

/// Ink that is darker than print alone.
pub(super) struct Over {
    pub(super) ink: Plane,
    /// Where there is print.
    pub(super) hidden: Vec<bool>,
    /// Which blocks of so many pixels' side have ink (1), or are beside such.
    side: usize,
    near: Plane,
}

/// A share of black in steps of ink.
const fn steps(share: f64) -> i16 {
    (share * BLACK as f64) as i16
}

/// The ink on a page that is darker than the most that the print alone can have put there, by
/// `least`; strokes are carried on over print by `side` pixels at most.
pub(super) fn over(seen: &Plane, printed: &Plane, noise: i16, least: i16, side: usize) -> Over {
    let gains = gains(seen, printed, [(GREY, 0.0), (DARK, 0.6)]);
    let gains = gains.map(|gain| (gain * f32::from(PARTS)) as i16);
    let (width, height) = (printed.width, printed.height);
    let mut ink = Plane { width, height, data: memory::room(width * height) };
    let mut hidden = Vec::with_capacity(width * height);
    let mut most = vec![0; width];
    let mut near = Near::new([width, height], side);
    for top in (0..height).step_by(STRIP) {
        // Two rows more on both sides, since what is beside counts twice.
        let (from, to) = (top.saturating_sub(2), (top + STRIP + 2).min(height));
        let print = Plane::spread_of([width, to - from], |y| printed.row(from + y));
        // The edge of a dark line is as light as a grey one; what is beside it tells them apart.
        let beside = print.spread();
        for y in top..(top + STRIP).min(height) {
            let row = print.row(y - from).iter().zip(beside.row(y - from));
            for (most, (&ink, &beside)) in most.iter_mut().zip(row) {
                let dark = dark(ink, beside, gains);
                // A grid that the copier dropped hides nothing.
                let hides = (ink > HIDES) & (dark > HIDES / 2);
                let darkest = dark + part(2 * dark, DARKER) + MORE + 2 * noise;
                *most = least + if hides { darkest } else { 0 };
            }
            hidden.extend(most.iter().map(|&most| most > least));
            let over = |(&seen, &most): (&i16, &i16)| if seen > most { seen } else { 0 };
            ink.data.extend(seen.row(y).iter().zip(&most).map(over));
            near.add(&ink.data[y * width..], y);
        }
    }
    Over { ink, hidden, side, near: near.blocks.spread() }
}

/// How dark print of this ink came out, by the factors for grey and for dark print and by the ink
/// beside it.
fn dark(ink: i16, beside: i16, [grey, dark]: [i16; 2]) -> i16 {
    /// All of the way from grey to dark, so that the factor is one in 8,192ths.
    const WHOLE: i16 = 256;
    let share = (5 * (beside.min(EDGE.end) - EDGE.start).max(0)) >> 3;
    let factor = WHOLE * grey + share * (dark - grey);
    (2 * part(4 * ink, factor)).min(BLACK)
}

/// Which blocks of a plane have ink.
struct Near {
    side: usize,
    blocks: Plane,
    /// The most ink in each column of the row of blocks in work.
    most: Vec<i16>,
    height: usize,
}

impl Near {
    fn new([width, height]: [usize; 2], side: usize) -> Self {
        // Two columns at least, so that each is beside another.
        let blocks = Plane::new(width.div_ceil(side).max(2), height.div_ceil(side).max(2));
        Self { side, blocks, most: vec![0; width], height }
    }

    /// Takes in a row of the plane; they come from top to bottom.
    fn add(&mut self, row: &[i16], y: usize) {
        for (most, &ink) in self.most.iter_mut().zip(row) {
            *most = ink.max(*most);
        }
        if (y + 1).is_multiple_of(self.side) || y + 1 == self.height {
            let blocks = &mut self.blocks.data[y / self.side * self.blocks.width..];
            for (block, most) in blocks.iter_mut().zip(self.most.chunks(self.side)) {
                *block = i16::from(most.iter().any(|&most| most > 0));
            }
            self.most.fill(0);
        }
    }
}

/// How dark print came out that has ink in each of some ranges, as a factor (`least` at least): the
/// copier's contrast. Student's ink over it makes it darker, so the middle of what is seen is taken.
fn gains<const N: usize>(seen: &Plane, printed: &Plane, inks: [(Range<i16>, f32); N]) -> [f32; N] {
    let mut counts = [[0_u32; 128]; N];
    for y in (1..printed.height - 1).step_by(2) {
        let (above, row, below) = (printed.row(y - 1), printed.row(y), printed.row(y + 1));
        let inner = row[..printed.width - 1].chunks(TOGETHER).enumerate();
        let any = |part: &[i16]| part.iter().fold(false, |any, &ink| any | (ink >= GREY.start));
        let printed_on = inner.filter(|(_, part)| any(part));
        let columns = printed_on.flat_map(|(n, part)| n * TOGETHER..n * TOGETHER + part.len());
        for x in columns.filter(|&x| x > 0) {
            let ink = row[x];
            let Some(which) = inks.iter().position(|(range, _)| range.contains(&ink)) else {
                continue;
            };
            if (ink >= row[x - 1] && ink >= row[x + 1]) || (ink >= above[x] && ink >= below[x]) {
                let factor = f32::from(seen.data[y * seen.width + x]) / f32::from(ink);
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

/// Carries strokes on over printed lines, from ink on one side to ink on the other.
pub(super) fn bridge(over: &mut Over, seen: &Plane, least: i16) {
    const WAYS: [[isize; 2]; 4] = [[1, 0], [0, 1], [1, 1], [1, -1]];
    let Over { ink, hidden, side: reach, near } = over;
    let reach = *reach;
    let (width, height) = (ink.width, ink.height);
    let mut found = Vec::new();
    for y in reach..height.saturating_sub(reach) {
        let blocks = near.row(y / reach).iter().enumerate().skip(1);
        let columns = blocks.filter(|(_, near)| **near > 0).flat_map(|(block, _)| {
            let from = block * reach;
            from..(from + reach).min(width.saturating_sub(reach)).max(from)
        });
        for at in columns.map(|x| y * width + x) {
            if !hidden[at] || ink.data[at] > 0 || seen.data[at] <= least {
                continue;
            }
            // Nothing is carried on to where there is no ink.
            let end = |way: isize| {
                let to = |n: usize| (at as isize + n as isize * way) as usize;
                let found = (1..=reach)
                    .map(|n| (n, to(n)))
                    .find(|&(_, to)| ink.data[to] > 0 || !hidden[to])?;
                (ink.data[found.1] > 0).then_some(found)
            };
            let carried = WAYS.iter().filter_map(|[dx, dy]| {
                let way = dx + dy * width as isize;
                let ((before, a), (after, b)) = (end(-way)?, end(way)?);
                (before + after <= reach).then_some(ink.data[a].min(ink.data[b]))
            });
            if let Some(most) = carried.max() {
                found.push((at, most.min(seen.data[at])));
            }
        }
    }
    for (at, value) in found {
        ink.data[at] = value;
    }
}
