//! Where on the page the printed form really is: what is left after flattening.

use super::plane::Plane;
use super::print::Print;
use crate::BLACK;

/// Distance of the places at which the shift is measured, in millimetres.
const STEP_MM: f64 = 10.0;
/// Half the side of the window about each, in millimetres.
const WINDOW_MM: f64 = 9.0;
/// The largest shift looked for, in millimetres.
const REACH_MM: f64 = 0.5;
/// Ink above this is not compared: a pen's stroke must not pull the form's thin lines along.
const CAP: i16 = BLACK / 20 * 7;
/// Printed ink below this is no line.
const PRINTED: i16 = BLACK / 50 * 3;

/// How far the print is shifted, in pixels, on a coarse raster.
pub(super) struct Field {
    step: f32,
    columns: usize,
    rows: usize,
    shift: Vec<[f32; 2]>,
}

impl Field {
    /// Compares what is `seen` on a page with what is printed there.
    pub(super) fn measured(seen: &Plane, print: &Print) -> Self {
        let Windows { step, columns, rows, reach, .. } = print.windows;
        let found: Vec<Measured> =
            print.windows.of.iter().map(|window| window.shift(seen, reach)).collect();
        let shift = (0..found.len()).map(|at| settled(&found, at, columns, rows)).collect();
        Self { step: step as f32, columns, rows, shift }
    }

    pub(super) fn at(&self, x: usize, y: usize) -> [f32; 2] {
        let (u, v) = (x as f32 / self.step, y as f32 / self.step);
        let (left, top) = ((u as usize).min(self.columns - 2), (v as usize).min(self.rows - 2));
        let (across, down) = (u - left as f32, v - top as f32);
        let corner = |dx: usize, dy: usize| self.shift[(top + dy) * self.columns + left + dx];
        let mix = |a: f32, b: f32, by: f32| a + by * (b - a);
        [0, 1].map(|axis| {
            let upper = mix(corner(0, 0)[axis], corner(1, 0)[axis], across);
            mix(upper, mix(corner(0, 1)[axis], corner(1, 1)[axis], across), down)
        })
    }
}

/// A shift that was measured, and how well the print fits there along each axis.
#[derive(Clone, Copy)]
struct Measured {
    shift: [f32; 2],
    weight: [f32; 2],
}

/// The printed pixels about all places at which the shift is measured.
#[derive(Clone, Debug)]
pub(super) struct Windows {
    step: usize,
    columns: usize,
    rows: usize,
    /// Pixels that are looked at on both sides.
    reach: usize,
    of: Vec<Window>,
}

impl Windows {
    pub(super) fn of(printed: &Plane, px_per_mm: f64) -> Self {
        let step = ((STEP_MM * px_per_mm) as usize).max(1);
        let half = (WINDOW_MM * px_per_mm) as usize;
        let reach = (REACH_MM * px_per_mm).ceil() as usize;
        let (columns, rows) = (printed.width / step + 2, printed.height / step + 2);
        let places = (0..columns * rows).map(|at| [at % columns * step, at / columns * step]);
        let of = places.map(|centre| Window::new(printed, centre, half, reach)).collect();
        Self { step, columns, rows, reach, of }
    }
}

/// The printed pixels about one place.
#[derive(Clone, Debug)]
struct Window {
    /// Pixels on upright lines, and on level ones, with their ink: the first say how far right,
    /// the second how far down.
    lines: [Vec<(u32, i16)>; 2],
}

impl Window {
    fn new(blank: &Plane, centre: [usize; 2], half: usize, margin: usize) -> Self {
        let around = |at: usize, size: usize| {
            at.saturating_sub(half).max(margin + 1)
                ..(at + half).min(size.saturating_sub(margin + 1))
        };
        let mut lines = [Vec::new(), Vec::new()];
        for y in around(centre[1], blank.height) {
            let row = blank.row(y);
            for x in around(centre[0], blank.width) {
                if row[x] < PRINTED || (x + 2 * y) % 3 != 0 {
                    continue;
                }
                let edge = |a: i16, b: i16| f32::from(row[x] - a.max(b)) / f32::from(row[x]);
                let reach = margin.min(3);
                let upright = edge(row[x - reach], row[x + reach]);
                let level = edge(blank.row(y - reach)[x], blank.row(y + reach)[x]);
                let one = ((y * blank.width + x) as u32, row[x].min(CAP));
                if upright > 0.5 && level < 0.3 {
                    lines[0].push(one);
                } else if level > 0.5 && upright < 0.3 {
                    lines[1].push(one);
                }
            }
        }
        Self { lines }
    }

    fn shift(&self, page: &Plane, reach: usize) -> Measured {
        let mut measured = Measured { shift: [0.0; 2], weight: [0.0; 2] };
        for (axis, pixels) in self.lines.iter().enumerate() {
            if pixels.len() < 40 {
                continue;
            }
            let scores = scores(page, pixels, [1, page.width][axis], reach);
            let best = (0..scores.len()).max_by(|&a, &b| scores[a].total_cmp(&scores[b]));
            let Some(best) = best.filter(|&best| best > 0 && best + 1 < scores.len()) else {
                continue;
            };
            let (before, here, after) = (scores[best - 1], scores[best], scores[best + 1]);
            let bend = before - 2.0 * here + after;
            let part = if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 };
            let mean = scores.iter().sum::<f32>() / scores.len() as f32;
            let printed: f32 = pixels.iter().map(|one| f32::from(one.1) * f32::from(one.1)).sum();
            measured.shift[axis] = best as f32 - reach as f32 + part;
            measured.weight[axis] = ((here - mean) / printed).max(0.0) * (pixels.len() as f32);
        }
        measured
    }
}

/// How much of the page's ink the print meets when it is shifted by up to `reach` pixels back and
/// forth, each `stride` farther in the page.
fn scores(page: &Plane, pixels: &[(u32, i16)], stride: usize, reach: usize) -> Vec<f32> {
    // An eighth of the print's ink, so that as many products as a window has pixels fit 32 bits, up
    // to 12 pixels for a millimetre.
    let mut scores = vec![0_u32; 2 * reach + 1];
    for &(at, printed) in pixels {
        let met = page.data[at as usize - reach * stride..].iter().step_by(stride);
        for (score, &seen) in scores.iter_mut().zip(met) {
            *score += seen.min(CAP) as u32 * (printed / 8) as u32;
        }
    }
    scores.into_iter().map(|score| 8.0 * score as f32).collect()
}

/// The weighted median of a place and its neighbours.
fn settled(found: &[Measured], at: usize, columns: usize, rows: usize) -> [f32; 2] {
    let (x, y) = (at % columns, at / columns);
    [0, 1].map(|axis| {
        let mut near: Vec<(f32, f32)> = Vec::new();
        for v in y.saturating_sub(2)..(y + 3).min(rows) {
            for u in x.saturating_sub(2)..(x + 3).min(columns) {
                let apart = u.abs_diff(x).max(v.abs_diff(y));
                let one = found[v * columns + u];
                let weight = one.weight[axis] * [8.0, 1.0, 0.2][apart];
                if weight > 0.0 {
                    near.push((one.shift[axis], weight));
                }
            }
        }
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        let half = near.iter().map(|one| one.1).sum::<f32>() / 2.0;
        let mut sum = 0.0;
        let past = near.iter().find(|one| {
            sum += one.1;
            sum >= half
        });
        past.map_or(0.0, |one| one.0)
    })
}
