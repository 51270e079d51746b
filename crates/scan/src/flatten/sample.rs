//! Taking a page's pixels from its picture.

use std::borrow::Cow;

use super::PageMap;
use crate::Picture;

/// Pixels between places that are mapped exactly, along both sides. Between them, perspective and
/// bend are straight to a few hundredths of a pixel.
const STEP: usize = 16;
/// Bits of a place's fraction of a pixel, and the farthest place that then fits 32 bits.
const FRACTION: u32 = 14;
const FARTHEST: f64 = (1_u32 << (31 - FRACTION)) as f64 - 1.0;

/// The flattened page's pixels.
pub(super) struct Frame {
    pub(super) px_per_mm: f64,
    pub(super) width: usize,
    pub(super) height: usize,
}

impl Frame {
    pub(super) fn new([width, height]: [f64; 2], px_per_mm: f64) -> Self {
        let pixels = |mm: f64| (mm * px_per_mm).round().max(1.0) as usize;
        Self { px_per_mm, width: pixels(width), height: pixels(height) }
    }

    /// The page at a pixel's centre, in millimetres.
    pub(super) fn mm(&self, x: usize, y: usize) -> [f64; 2] {
        [x, y].map(|at| (at as f64 + 0.5) / self.px_per_mm)
    }

    /// Where every 16th pixel of a row is in the picture, and one more at its end.
    fn places(&self, map: &PageMap, y: usize) -> Vec<[f64; 2]> {
        let count = self.width.div_ceil(STEP);
        (0..=count).map(|column| map.to_picture(self.mm(column * STEP, y))).collect()
    }
}

/// A picture whose pixels are about as large as those of the page to be made.
pub(super) struct Source<'a> {
    picture: Cow<'a, Picture>,
    /// Pixels of the original that one of these is wide.
    by: usize,
    /// Whether its pixels are no smaller than those of the page.
    single: bool,
}

impl<'a> Source<'a> {
    /// Makes a picture ready for pages with pixels `scale` of its own wide: where it is more than
    /// twice as fine, by the mean of `by` times `by` pixels.
    pub(super) fn new(picture: &'a Picture, scale: f64) -> Self {
        let by = ((scale / 2.0).ceil() as usize).clamp(1, 4);
        let picture = if by > 1 { Cow::Owned(picture.reduced(by)) } else { Cow::Borrowed(picture) };
        Self { picture, by, single: scale <= by as f64 }
    }

    /// Lightness times 256 at `to.len()` places in a row: the first at `from`, in pixels of the
    /// original, the others each a `step` farther. Where the picture is finer than the page, it is
    /// the mean of two places, `aside` of each to both sides.
    pub(super) fn line(&self, from: [f64; 2], step: [f64; 2], aside: [f64; 2], to: &mut [u16]) {
        let by = self.by as f64;
        let [from, step, aside] = [from, step, aside].map(|[x, y]| [x / by, y / by]);
        if self.single {
            self.single_line(from, step, to);
            return;
        }
        let mut other = [0_u16; STEP];
        for (n, to) in to.chunks_mut(STEP).enumerate() {
            let at = |axis: usize| from[axis] + (n * STEP) as f64 * step[axis];
            self.single_line([0, 1].map(|axis| at(axis) - aside[axis]), step, to);
            let other = &mut other[..to.len()];
            self.single_line([0, 1].map(|axis| at(axis) + aside[axis]), step, other);
            to.iter_mut().zip(other).for_each(|(to, other)| *to = (*to >> 1) + (*other >> 1));
        }
    }

    /// Lightness times 256 at places in a row, in pixels of the reduced picture.
    fn single_line(&self, from: [f64; 2], step: [f64; 2], to: &mut [u16]) {
        let last = to.len().saturating_sub(1) as f64;
        let end = [from[0] + last * step[0], from[1] + last * step[1]];
        let size = [self.picture.width as f64, self.picture.height as f64];
        let inside = |at: [f64; 2]| {
            (0..2).all(|axis| at[axis] >= 1.0 && at[axis] <= (size[axis] - 1.0).min(FARTHEST))
        };
        if inside(from) && inside(end) {
            self.line_inside(from, step, to);
            return;
        }
        for (at, to) in to.iter_mut().enumerate() {
            let at = at as f64;
            let place = [from[0] + at * step[0], from[1] + at * step[1]];
            *to = (256.0 * self.picture.at(place)) as u16;
        }
    }

    /// As [`Self::single_line`], where no place is within a pixel of the picture's edge.
    fn line_inside(&self, from: [f64; 2], step: [f64; 2], to: &mut [u16]) {
        let one = f64::from(1 << FRACTION);
        let [mut x, mut y] = from.map(|at| ((at - 0.5) * one) as i32);
        let [dx, dy] = step.map(|step| (step * one) as i32);
        let (width, level) = (self.picture.width, &self.picture.level[..]);
        for to in to.chunks_mut(STEP) {
            // First each place's four pixels, then all places' means at once.
            let (mut upper, mut lower) = ([[0_u8; 2]; STEP], [[0_u8; 2]; STEP]);
            let mut part = [[0_u16; STEP]; 2];
            for n in 0..to.len() {
                let first = (y >> FRACTION) as usize * width + (x >> FRACTION) as usize;
                // One check of bounds for all four.
                let four = &level[first..][..width + 2];
                upper[n] = [four[0], four[1]];
                lower[n] = [four[width], four[width + 1]];
                part[0][n] = (x >> (FRACTION - 8) & 255) as u16;
                part[1][n] = (y >> (FRACTION - 8) & 255) as u16;
                x += dx;
                y += dy;
            }
            let [across, down] = part;
            let mean: [u16; STEP] = std::array::from_fn(|n| {
                let mix = |[left, right]: [u8; 2]| {
                    u16::from(left) * (256 - across[n]) + u16::from(right) * across[n]
                };
                // Together 65,535 at most.
                let share = |level: u16, of: u16| ((u32::from(level) * u32::from(of)) >> 16) as u16;
                share(mix(upper[n]), u16::MAX - (down[n] << 8)) + share(mix(lower[n]), down[n] << 8)
            });
            to.copy_from_slice(&mean[..to.len()]);
        }
    }
}

/// Goes through the page's rows: the number of each, and the lightness times 256 of its pixels.
/// Where `every` is more than 1 (it divides 16), only every so manieth row and pixel is looked at.
pub(super) fn rows(
    source: &Source<'_>,
    map: &PageMap,
    frame: &Frame,
    every: usize,
    mut row: impl FnMut(usize, &[u16]),
) {
    let mut line = vec![0_u16; frame.width.div_ceil(every)];
    let mut above = frame.places(map, 0);
    for band in 0..frame.height.div_ceil(STEP) {
        let below = frame.places(map, (band + 1) * STEP);
        for y in (band * STEP..((band + 1) * STEP).min(frame.height)).step_by(every) {
            let down = (y % STEP) as f64 / STEP as f64;
            let place = |at: usize| {
                [0, 1].map(|axis| above[at][axis] + down * (below[at][axis] - above[at][axis]))
            };
            // By turns on both diagonals: rows are smoothed together later.
            let slant = if y % 2 == 0 { 0.25 } else { -0.25 } / STEP as f64;
            let mut from = place(0);
            for (column, part) in line.chunks_mut(STEP / every).enumerate() {
                let to = place(column + 1);
                let along = [0, 1].map(|axis| (to[axis] - from[axis]) / STEP as f64);
                let down = [0, 1].map(|axis| below[column][axis] - above[column][axis]);
                let aside = [0, 1].map(|axis| 0.25 * along[axis] + slant * down[axis]);
                source.line(from, along.map(|one| one * every as f64), aside, part);
                from = to;
            }
            row(y, &line);
        }
        above = below;
    }
}
