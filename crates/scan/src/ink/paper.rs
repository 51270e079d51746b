//! Paper: its noise, shadows and smudges, and specks on it.

use super::plane::Plane;
use crate::trace::parts::Parts;

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
    for row in 0..rows {
        for column in 0..columns {
            ground.data[row * columns + column] = piece(seen, printed, [column, row], side);
        }
    }
    let ground = if columns > 2 && rows > 2 { ground.smoothed() } else { ground };
    let places: Vec<(usize, f32)> = (0..seen.width)
        .map(|x| {
            let u = ((x as f32 + 0.5) / side as f32 - 0.5).clamp(0.0, (columns - 1) as f32);
            (u as usize, u.fract())
        })
        .collect();
    let mut level = vec![0.0; columns + 1];
    for y in 0..seen.height {
        let v = (y as f32 + 0.5) / side as f32 - 0.5;
        for (column, level) in level.iter_mut().enumerate() {
            *level = ground.between(column as f32, v);
        }
        let row = &mut seen.data[y * seen.width..(y + 1) * seen.width];
        for (ink, &(left, across)) in row.iter_mut().zip(&places) {
            let ground = level[left] + across * (level[left + 1] - level[left]);
            *ink = (*ink - ground) / (1.0 - ground);
        }
    }
    noise(seen, printed)
}

/// The ground of one piece: the lower quarter of its ink.
fn piece(seen: &Plane, printed: &Plane, [column, row]: [usize; 2], side: usize) -> f32 {
    let mut counts = [0_u32; STEPS];
    let mut total = 0;
    for y in row * side..((row + 1) * side).min(seen.height) {
        for x in column * side..((column + 1) * side).min(seen.width) {
            let at = y * seen.width + x;
            if printed.data[at] < 0.02 {
                let step = (seen.data[at] / DARKEST_GROUND * STEPS as f32).max(0.0) as usize;
                counts[step.min(STEPS - 1)] += 1;
                total += 1;
            }
        }
    }
    let mut sum = 0;
    let at = counts.iter().position(|&count| {
        sum += count;
        4 * sum > total
    });
    at.map_or(0.0, |step| (step as f32 + 0.5) / STEPS as f32 * DARKEST_GROUND)
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
    let parts = Parts::of(ink.width, ink.height, |at| ink.data[at] > 0.0);
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
