//! Paper: its noise, shadows and smudges, and specks on it.

use std::ops::Range;

use super::plane::{Plane, part};
use crate::BLACK;
use crate::trace::parts::Runs;

/// Side of the pieces whose ground is measured, in millimetres: wider than any stroke.
const PIECE_MM: f64 = 2.0;
/// Ink of the steps in which ground is counted, and their number: what is darker than the last,
/// 0.22 of black, is taken for a filled shape.
const STEP: i16 = 16;
const STEPS: usize = 56;
/// Print fainter than this leaves paper as it is.
const PRINTED: i16 = BLACK / 50;
/// The smallest area of a stroke in square millimetres.
const LEAST_AREA: f64 = 0.12;

/// Takes shadows and smudges off `seen`: what is wide, soft and of low contrast. Returns the
/// standard deviation of the paper that is left.
pub(super) fn evened(seen: &mut Plane, printed: &Plane, px_per_mm: f64) -> f32 {
    let side = (PIECE_MM * px_per_mm) as usize;
    let (columns, rows) = (seen.width.div_ceil(side), seen.height.div_ceil(side));
    let mut ground = Plane::new(columns, rows);
    for (row, ground) in ground.data.chunks_mut(columns).enumerate() {
        let rows = row * side..((row + 1) * side).min(seen.height);
        grounds(seen, printed, rows, side, ground);
    }
    let ground = if columns > 2 && rows > 2 { ground.smoothed() } else { ground };
    // The last column counts twice, since there is nothing beyond it.
    let columns = |row: usize| ground.row(row).iter().chain(ground.row(row).last());
    let pieces: Vec<Vec<Level>> =
        (0..rows).map(|row| columns(row).map(|&ground| Level::of(ground)).collect()).collect();
    let mut levels = pieces[0].clone();
    for (y, row) in seen.data.chunks_mut(seen.width).enumerate() {
        let place = share(y, side).clamp(0.0, (rows - 1) as f32);
        let (above, down) = (place as usize, (place.fract() * WHOLE) as i32);
        let below = &pieces[(above + 1).min(rows - 1)];
        for (level, (above, below)) in levels.iter_mut().zip(pieces[above].iter().zip(below)) {
            *level = above.to(*below, down);
        }
        // Half a piece to the first piece's middle, then from middle to middle.
        let (first, others) = row.split_at_mut(side / 2);
        taken_off(first, [levels[0]; 2], side);
        for (row, level) in others.chunks_mut(side).zip(levels.windows(2)) {
            taken_off(row, [level[0], level[1]], side);
        }
    }
    noise(seen, printed)
}

/// A pixel's share of the way from the middle of the piece before it to that of the next.
fn share(at: usize, side: usize) -> f32 {
    (at as f32 + 0.5) / side as f32 - 0.5
}

/// Parts in which shares, and gains, are counted.
const WHOLE: f32 = 32768.0;

/// How dark the ground is, in parts of a step of ink, and by what part of itself the ink on it
/// gains when that is taken off, so that black stays black.
#[derive(Clone, Copy)]
struct Level {
    ground: i16,
    gain: i16,
}

impl Level {
    /// Bits of a part of a step.
    const FRACTION: u32 = 5;

    fn of(ground: i16) -> Self {
        let gain = f32::from(ground) / f32::from(BLACK - ground) * WHOLE;
        Self { ground: ground << Self::FRACTION, gain: gain as i16 }
    }

    /// The level that is so far on the way to another.
    fn to(self, other: Self, share: i32) -> Self {
        let mix = |from: i16, to: i16| from + ((i32::from(to - from) * share) >> 15) as i16;
        Self { ground: mix(self.ground, other.ground), gain: mix(self.gain, other.gain) }
    }
}

/// Takes ground that goes evenly from one level to another, `side` pixels farther, off a part of a
/// row.
fn taken_off(row: &mut [i16], [from, to]: [Level; 2], side: usize) {
    let each = (2.0 * WHOLE / side as f32) as i16;
    let [down, less] =
        [(from.ground, to.ground), (from.gain, to.gain)].map(|(from, to)| part(to - from, each));
    let Level { mut ground, mut gain } = from;
    for ink in row {
        let left = *ink - (ground >> Level::FRACTION);
        *ink = (left + part(2 * left, gain)).min(BLACK);
        ground += down;
        gain += less;
    }
}

/// The ground of the pieces side by side in some rows: the lower quarter of their ink, by every
/// second row: smoothed as they are, those between say nothing new.
fn grounds(seen: &Plane, printed: &Plane, rows: Range<usize>, side: usize, grounds: &mut [i16]) {
    // What is printed on is counted beyond the last step; pixels side by side in tables of their
    // own, since they are often in the same step, and one count waits for the other then.
    let mut counts = vec![[[0_u32; STEPS + 1]; 2]; grounds.len()];
    let mut steps = vec![0_u8; seen.width];
    for y in rows.step_by(2) {
        let pixels = seen.row(y).iter().zip(printed.row(y));
        for (step, (&ink, &print)) in steps.iter_mut().zip(pixels) {
            let at = (ink / STEP).clamp(0, STEPS as i16 - 1);
            *step = if print < PRINTED { at } else { STEPS as i16 } as u8;
        }
        for (counts, steps) in counts.iter_mut().zip(steps.chunks(side)) {
            for (n, &step) in steps.iter().enumerate() {
                counts[n % 2][usize::from(step)] += 1;
            }
        }
    }
    for (ground, [even, odd]) in grounds.iter_mut().zip(&counts) {
        let counts = || even[..STEPS].iter().zip(odd).map(|(even, odd)| even + odd);
        let total: u32 = counts().sum();
        let mut sum = 0;
        let at = counts().position(|count| {
            sum += count;
            4 * sum > total
        });
        *ground = at.map_or(0, |step| step as i16 * STEP + STEP / 2);
    }
}

/// The paper's standard deviation, by the median of differences between near pixels.
fn noise(seen: &Plane, printed: &Plane) -> f32 {
    /// Pixels apart: beyond what smoothing joined.
    const APART: usize = 4;
    /// So many steps of ink count as one, and what is left over as none.
    const COUNTED: u16 = 2;
    let mut counts = [0_u32; 512];
    let mut total = 0;
    for y in (0..seen.height).step_by(3) {
        let (row, print) = (seen.row(y), printed.row(y));
        for x in (0..seen.width - APART).step_by(2) {
            if print[x].max(print[x + APART]) < PRINTED / 2 {
                let step = usize::from(row[x].abs_diff(row[x + APART]) / COUNTED);
                counts[step.min(511)] += 1;
                total += 1;
            }
        }
    }
    let mut sum = 0;
    let middle = counts.iter().position(|&count| {
        sum += count;
        2 * sum > total
    });
    // 1.4826 makes a deviation of a median for normal noise; two pixels differ by √2 more.
    let middle = middle.map_or(0.0, |step| step as f32 * f32::from(COUNTED) / f32::from(BLACK));
    middle * 1.4826 / std::f32::consts::SQRT_2
}

/// Takes out what is too small or too faint to be a stroke, and what print left along its edges.
pub(super) fn without_specks(ink: &mut Plane, hidden: &[bool], least: i16, px_per_mm: f64) {
    let parts = Runs::of(ink.width, &ink.data, |ink| ink > 0);
    let mut most = vec![0; parts.count()];
    let mut near = vec![0_u32; parts.count()];
    let width = ink.width;
    for (at, part) in parts.each() {
        most[part] = most[part].max(ink.data[at]);
        let beside = [at, at.wrapping_sub(2), at + 2, at.wrapping_sub(2 * width), at + 2 * width];
        if beside.iter().any(|&at| hidden.get(at) == Some(&true)) {
            near[part] += 1;
        }
    }
    let smallest = (LEAST_AREA * px_per_mm * px_per_mm) as u32;
    let gone: Vec<bool> = (0..parts.count())
        .map(|part| {
            let area = parts.area(part);
            let bounds = parts.bounds(part);
            let thin = area < 5 * bounds.width().max(bounds.height()) as u32 / 2;
            let residue = 10 * near[part] > 9 * area
                && (thin || area < 16 * smallest || most[part] < 4 * least);
            area < smallest || 2 * most[part] < 3 * least || residue
        })
        .collect();
    for (at, part) in parts.each() {
        if gone[part] {
            ink.data[at] = 0;
        }
    }
}
