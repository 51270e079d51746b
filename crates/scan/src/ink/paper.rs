//! Paper: its noise, shadows and smudges, and specks on it.

use std::ops::Range;

use super::plane::Plane;
use crate::trace::parts::Runs;

/// Side of the pieces whose ground is measured, in millimetres: wider than any stroke.
const PIECE_MM: f64 = 2.0;
/// Ground darker than this is taken for a filled shape.
const DARKEST_GROUND: f32 = 0.22;
/// Steps in which ground is counted.
const STEPS: usize = 64;
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
    let shares: Vec<f32> = (0..side).map(|at| share(at + side / 2, side)).collect();
    let mut level = vec![0.0; columns + 1];
    for y in 0..seen.height {
        for (column, level) in level.iter_mut().enumerate() {
            *level = ground.between(column as f32, share(y, side));
        }
        let row = &mut seen.data[y * seen.width..(y + 1) * seen.width];
        // Half a piece to the first piece's middle, then from middle to middle.
        let (first, others) = row.split_at_mut(side / 2);
        taken_off(first, [level[0]; 2], &shares);
        for (row, level) in others.chunks_mut(side).zip(level.windows(2)) {
            taken_off(row, [level[0], level[1]], &shares);
        }
    }
    noise(seen, printed)
}

/// A pixel's share of the way from the middle of the piece before it to that of the next.
fn share(at: usize, side: usize) -> f32 {
    (at as f32 + 0.5) / side as f32 - 0.5
}

/// Takes ground that goes evenly from one value to another off a part of a row.
fn taken_off(row: &mut [f32], [from, to]: [f32; 2], shares: &[f32]) {
    for (ink, share) in row.iter_mut().zip(shares) {
        let ground = from + share * (to - from);
        *ink = (*ink - ground) / (1.0 - ground);
    }
}

/// The ground of the pieces side by side in some rows: the lower quarter of their ink, by every
/// second row: smoothed as they are, those between say nothing new.
fn grounds(seen: &Plane, printed: &Plane, rows: Range<usize>, side: usize, grounds: &mut [f32]) {
    const SCALE: f32 = STEPS as f32 / DARKEST_GROUND;
    // What is printed on is counted beyond the last step.
    let mut counts = vec![[0_u32; STEPS + 1]; grounds.len()];
    let mut steps = vec![0_u8; seen.width];
    for y in rows.step_by(2) {
        let pixels = seen.row(y).iter().zip(printed.row(y));
        for (step, (&ink, &print)) in steps.iter_mut().zip(pixels) {
            let at = (ink * SCALE).clamp(0.0, (STEPS - 1) as f32) as i32 as u8;
            *step = if print < 0.02 { at } else { STEPS as u8 };
        }
        for (counts, steps) in counts.iter_mut().zip(steps.chunks(side)) {
            steps.iter().for_each(|&step| counts[usize::from(step)] += 1);
        }
    }
    for (ground, counts) in grounds.iter_mut().zip(&counts) {
        let total: u32 = counts[..STEPS].iter().sum();
        let mut sum = 0;
        let at = counts[..STEPS].iter().position(|&count| {
            sum += count;
            4 * sum > total
        });
        *ground = at.map_or(0.0, |step| (step as f32 + 0.5) / STEPS as f32 * DARKEST_GROUND);
    }
}

/// The paper's standard deviation, by the median of differences between near pixels.
fn noise(seen: &Plane, printed: &Plane) -> f32 {
    /// Pixels apart: beyond what smoothing joined.
    const APART: usize = 4;
    let mut counts = [0_u32; 512];
    let mut total = 0;
    for (row, print) in seen.data.chunks(seen.width).zip(printed.data.chunks(seen.width)).step_by(3)
    {
        for x in (0..seen.width - APART).step_by(2) {
            if print[x] < 0.01 && print[x + APART] < 0.01 {
                let step = ((row[x] - row[x + APART]).abs() * 2048.0) as usize;
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
    middle.map_or(0.0, |step| step as f32 / 2048.0 * 1.4826 / std::f32::consts::SQRT_2)
}

/// Takes out what is too small or too faint to be a stroke, and what print left along its edges.
pub(super) fn without_specks(ink: &mut Plane, hidden: &[bool], least: f32, px_per_mm: f64) {
    let inked: Vec<bool> = ink.data.iter().map(|&ink| ink > 0.0).collect();
    let parts = Runs::of(ink.width, &inked);
    let mut most = vec![0.0_f32; parts.count()];
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
                && (thin || area < 16 * smallest || most[part] < 4.0 * least);
            area < smallest || most[part] < 1.5 * least || residue
        })
        .collect();
    for (at, part) in parts.each() {
        if gone[part] {
            ink.data[at] = 0.0;
        }
    }
}
