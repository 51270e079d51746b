//! Taking a page's pixels from its picture.

use std::borrow::Cow;
use std::ops::Range;

use super::PageMap;
use crate::Picture;

/// Pixels between places that are mapped exactly, along both sides. Between them, perspective and
/// bend are straight to a few hundredths of a pixel.
const STEP: usize = 16;
/// So many of these on a straight way, to so many parts of a pixel, are gone along at a time.
const NODES: usize = 4;
const STRAYS: i64 = ONE / 64;
/// Bits of a place's fraction of a pixel, and the farthest place that is handled in 32 bits.
const FRACTION: u32 = 14;
const ONE: i64 = 1 << FRACTION;
const FARTHEST: i64 = 1 << 30;
/// Pixels of the picture side by side between which all places may lie that are gone along at a
/// time.
const SPAN: usize = 256;
/// So many are mixed together.
const TOGETHER: usize = 8;

/// A place in a picture, or a way, in parts of a pixel: whole ones are the pixels' centres.
type Fixed = [i64; 2];

/// Where places on a page are in its picture, row by row.
pub(super) struct Places {
    columns: usize,
    places: Vec<Fixed>,
}

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
}

/// A picture whose pixels are about as large as those of the page to be made.
pub(super) struct Source<'a> {
    picture: Cow<'a, Picture>,
    /// Pixels of the original that one of these is wide.
    by: usize,
}

impl<'a> Source<'a> {
    /// Makes a picture ready for pages with pixels `scale` of its own wide: where it is more than
    /// twice as fine, by the mean of `by` times `by` pixels. Up to that, the four pixels about a
    /// place miss little of what is between places.
    pub(super) fn new(picture: &'a Picture, scale: f64) -> Self {
        let by = ((scale / 2.0).ceil() as usize).clamp(1, 4);
        let picture = if by > 1 { Cow::Owned(picture.reduced(by)) } else { Cow::Borrowed(picture) };
        Self { picture, by }
    }

    /// A place given in pixels of the original.
    fn fixed(&self, at: [f64; 2]) -> Fixed {
        // Far beyond any picture, and far from what cannot be added.
        at.map(|at| ((at / self.by as f64 - 0.5).clamp(-1e6, 1e6) * ONE as f64).round() as i64)
    }

    /// Where every 16th pixel of every 16th row of a page is, and one more at the ends.
    pub(super) fn places(&self, map: &PageMap, frame: &Frame) -> Places {
        let [columns, rows] = [frame.width, frame.height].map(|size| size.div_ceil(STEP) + 1);
        let at = |n: usize| frame.mm(n % columns * STEP, n / columns * STEP);
        let places = (0..columns * rows).map(|n| self.fixed(map.to_picture(at(n))));
        Places { columns, places: places.collect() }
    }

    /// Lightness times 256 at `to.len()` places in a row: the first at `from`, in pixels of the
    /// original, the others each a `step` farther.
    pub(super) fn line(&self, from: [f64; 2], step: [f64; 2], to: &mut [u16]) {
        const LONG: usize = NODES * STEP;
        let mut mixed = Mixed::new();
        let end = |n: usize| [0, 1].map(|axis| from[axis] + (n * LONG) as f64 * step[axis]);
        for (n, to) in to.chunks_mut(LONG).enumerate() {
            let [from, next] = [end(n), end(n + 1)].map(|at| self.fixed(at));
            let along = [0, 1].map(|axis| next[axis] - from[axis]);
            let step = along.map(|one| one / LONG as i64);
            self.part(from, step, slope(along), &mut mixed, to);
        }
    }

    /// As [`Self::line`], of at most 64 places, which lie on a way of this slope.
    fn part(
        &self,
        from: Fixed,
        step: Fixed,
        slope: Option<i16>,
        mixed: &mut Mixed,
        to: &mut [u16],
    ) {
        let last = to.len().saturating_sub(1) as i64;
        let end = [0, 1].map(|axis| from[axis] + last * step[axis]);
        // Just before the last pixel's centre, so that there is always one after a place.
        let most = [self.picture.width, self.picture.height]
            .map(|size| ((size as i64 - 1) * ONE - 1).clamp(0, FARTHEST));
        let inside = (0..2)
            .all(|axis| from[axis].min(end[axis]) >= 0 && from[axis].max(end[axis]) <= most[axis]);
        if !inside {
            for (n, to) in to.iter_mut().enumerate() {
                let at = |axis: usize| from[axis] + n as i64 * step[axis];
                let [x, y] = [0, 1].map(|axis| at(axis).clamp(0, most[axis]) as i32);
                *to = self.pixel(x, y);
            }
            return;
        }
        let [from, step] = [from, step].map(|at| at.map(|at| at as i32));
        if !slope.is_some_and(|slope| self.level_part(from, step[0], slope, mixed, to)) {
            let [mut x, mut y] = from;
            for to in to {
                *to = self.pixel(x, y);
                x += step[0];
                y += step[1];
            }
        }
    }

    /// Places that lie on a way of little slope: between rows first, column by column, then along
    /// the row that this makes. Whether that could be done, and is worth it: not where they are too
    /// near to the picture's last row or far apart.
    fn level_part(
        &self,
        from: [i32; 2],
        dx: i32,
        slope: i16,
        mixed: &mut Mixed,
        to: &mut [u16],
    ) -> bool {
        let (first, last) = (from[0], from[0] + (to.len() as i32 - 1) * dx);
        let left = first.min(last) >> FRACTION;
        let columns = ((first.max(last) >> FRACTION) - left + 2) as usize;
        // Where the way is at the first of the columns, and at the last.
        let back = i64::from((left << FRACTION) - first) * i64::from(slope);
        let start = from[1] + (back >> FRACTION) as i32;
        let slope = i32::from(slope);
        let end = start + (columns as i32 - 1) * slope;
        let (top, bottom) = (start.min(end) >> FRACTION, start.max(end) >> FRACTION);
        let width = self.picture.width;
        let lowest = (bottom as usize + 1) * width + left as usize + columns + TOGETHER;
        let far = columns > SPAN || columns > 4 * to.len();
        if far || top < 0 || lowest > self.picture.level.len() {
            return false;
        }
        let Mixed { columns: mixed, before, after } = mixed;
        let mut column = 0;
        while column < columns {
            let at = start + column as i32 * slope;
            let (row, below) = (at >> FRACTION, at & (ONE as i32 - 1));
            // As far as the way is between these two rows.
            let count = match slope {
                0 => columns,
                1.. => ((ONE as i32 - below + slope - 1) / slope) as usize,
                _ => (below / -slope + 1) as usize,
            };
            let next = (column + count).min(columns);
            let level = &self.picture.level[row as usize * width + left as usize + column..];
            let most = (next - column).next_multiple_of(TOGETHER);
            let mixed = &mut mixed[column..][..most];
            between_two(level, width, [below as u16, slope as u16], mixed);
            column = next;
        }
        let mut at = first - (left << FRACTION);
        for (before, after) in before.iter_mut().zip(after.iter_mut()).take(to.len()) {
            let column = (at >> FRACTION) as usize % SPAN;
            (*before, *after) = (mixed[column], mixed[column + 1]);
            at += dx;
        }
        along_row(before, after, [first as u16, dx as u16], to);
        true
    }

    /// What is at a place between four pixels.
    #[inline]
    fn pixel(&self, x: i32, y: i32) -> u16 {
        let width = self.picture.width;
        let first = (y >> FRACTION) as usize * width + (x >> FRACTION) as usize;
        // One check of bounds for all four, which only a picture one pixel wide or high fails.
        let Some(four) = self.picture.level.get(first..first + width + 2) else { return u16::MAX };
        let [across, down] = [x, y].map(|at| (at >> (FRACTION - 8) & 255) as u16);
        let mix =
            |left: u8, right: u8| u16::from(left) * (256 - across) + u16::from(right) * across;
        let (upper, lower) = (mix(four[0], four[1]), mix(four[width], four[width + 1]));
        // Together 65,535 at most.
        part_of(upper, u16::MAX - (down << 8)) + part_of(lower, down << 8)
    }
}

/// Room for what is made on the way to a part of a row.
struct Mixed {
    /// Between rows, column by column.
    columns: [u16; SPAN + TOGETHER],
    /// The columns before each place and after it.
    before: [u16; NODES * STEP],
    after: [u16; NODES * STEP],
}

impl Mixed {
    fn new() -> Self {
        let beside = [0; NODES * STEP];
        Self { columns: [0; SPAN + TOGETHER], before: beside, after: beside }
    }
}

/// A share of a level, in 65,536ths.
fn part_of(level: u16, share: u16) -> u16 {
    ((u32::from(level) * u32::from(share)) >> 16) as u16
}

/// How far down a way goes for each pixel to the right, if it is little.
fn slope([x, y]: Fixed) -> Option<i16> {
    let little = x != 0 && 4 * y.abs() <= x.abs();
    little.then(|| (y * ONE / x) as i16)
}

/// Numbers of columns, at hand for many at once.
const NUMBERS: [u16; SPAN] = {
    let mut numbers = [0; SPAN];
    let mut n = 0;
    while n < SPAN {
        numbers[n] = n as u16;
        n += 1;
    }
    numbers
};

/// Lightness times 256 in columns between the first two rows of `level`: `below` the first and by
/// `slope` farther below in each column, in parts of a row.
#[inline(never)]
fn between_two(level: &[u8], width: usize, [below, slope]: [u16; 2], to: &mut [u16]) {
    let [upper, lower] = [0, 1].map(|row| &level[row * width..][..to.len()]);
    let levels = upper.iter().zip(lower).zip(&NUMBERS);
    for (to, ((&upper, &lower), &n)) in to.iter_mut().zip(levels) {
        let below = below.wrapping_add(slope.wrapping_mul(n)) >> (FRACTION - 8) & 255;
        *to = u16::from(upper) * (256 - below) + u16::from(lower) * below;
    }
}

/// The levels between columns and those after them, at places of which the first is at `across`,
/// and each other a `step` farther, in parts of a pixel.
#[inline(never)]
fn along_row(before: &[u16], after: &[u16], [across, step]: [u16; 2], to: &mut [u16]) {
    let levels = before.iter().zip(after).zip(&NUMBERS);
    for (to, ((&before, &after), &n)) in to.iter_mut().zip(levels) {
        let share = across.wrapping_add(step.wrapping_mul(n)) << (16 - FRACTION) & 0xff00;
        *to = part_of(before, u16::MAX - share) + part_of(after, share);
    }
}

/// Goes through the page's rows: the number of each, and the lightness times 256 of its pixels.
/// Where `every` is more than 1 (it divides 16), only every so manieth row and pixel is looked at.
pub(super) fn rows(
    source: &Source<'_>,
    places: &Places,
    frame: &Frame,
    every: usize,
    mut row: impl FnMut(usize, &[u16]),
) {
    const PARTS: u32 = STEP.ilog2();
    let mut line = vec![0_u16; frame.width.div_ceil(every)];
    let mut mixed = Mixed::new();
    let way = |from: Fixed, to: Fixed| [0, 1].map(|axis| to[axis] - from[axis]);
    let Places { columns, places } = places;
    for (band, places) in places.windows(2 * columns).step_by(*columns).enumerate() {
        let (above, below) = places.split_at(*columns);
        let parts = parts([above, below]);
        for y in (band * STEP..((band + 1) * STEP).min(frame.height)).step_by(every) {
            let share = (y % STEP) as i64;
            let place = |at: usize| {
                let down = way(above[at], below[at]);
                [0, 1].map(|axis| above[at][axis] + ((share * down[axis]) >> PARTS))
            };
            let mut from = place(0);
            let mut rest = &mut line[..];
            for nodes in &parts {
                let to = place(nodes.end);
                let pixels = nodes.len() * STEP / every;
                let (part, others) = rest.split_at_mut(pixels.min(rest.len()));
                let step = way(from, to).map(|one| one / pixels as i64);
                let slope = slope(way(above[nodes.start], above[nodes.end]));
                source.part(from, step, slope, &mut mixed, part);
                (from, rest) = (to, others);
            }
            row(y, &line);
        }
    }
}

/// The parts of a band of rows, given by its places above and below, that are straight: from which
/// place to which.
fn parts(rows: [&[Fixed]; 2]) -> Vec<Range<usize>> {
    let straight = |nodes: &[Fixed]| {
        let last = nodes.len() - 1;
        let (from, to) = (nodes[0], nodes[last]);
        nodes.iter().enumerate().all(|(n, node)| {
            let off = |axis: usize| {
                let on = from[axis] * (last - n) as i64 + to[axis] * n as i64;
                (last as i64 * node[axis] - on).abs() <= last as i64 * STRAYS
            };
            off(0) && off(1)
        })
    };
    let last = rows[0].len() - 1;
    let mut parts = Vec::new();
    for from in (0..last).step_by(NODES) {
        let to = (from + NODES).min(last);
        if rows.iter().all(|row| straight(&row[from..=to])) {
            parts.push(from..to);
        } else {
            parts.extend((from..to).map(|one| one..one + 1));
        }
    }
    parts
}
