//! Evening out the light on a page.

use super::BLACK;
use super::sample::Frame;

/// Side of the tiles in which the paper's lightness is estimated, in millimetres.
const TILE_MM: f64 = 4.0;
/// Tiles on each side that count, too: a mark of 10 mm must not pass for dark paper.
const AROUND: usize = 2;
/// Share of the pixels that are darker than what counts as paper.
const SHARE: f64 = 0.8;
/// The darkest that paper can be, of 255.
const DARKEST: f32 = 24.0;

/// Of so many rows and pixels one is looked at: what is beside it looks much the same.
pub(super) const EVERY: usize = 8;

/// For so many rows the light stays as it is.
const STAYS: usize = 4;

/// How often each lightness occurs in each tile of a page, in 64 steps.
pub(super) struct Tiles {
    side: usize,
    columns: usize,
    rows: usize,
    counts: Vec<[u32; 64]>,
}

impl Tiles {
    pub(super) fn new(frame: &Frame) -> Self {
        let side = ((TILE_MM * frame.px_per_mm).round() as usize).max(1);
        let (columns, rows) = (frame.width.div_ceil(side), frame.height.div_ceil(side));
        Self { side, columns, rows, counts: vec![[0; 64]; columns * rows] }
    }

    /// Counts one row of pixels (lightness times 256).
    pub(super) fn count(&mut self, y: usize, level: &[u16]) {
        let row = &mut self.counts[y / self.side * self.columns..];
        for (at, &one) in level.iter().enumerate() {
            row[at * EVERY / self.side][usize::from(one >> 10)] += 1;
        }
    }

    /// The smooth estimate of what is bright around each pixel.
    pub(super) fn light(self) -> Light {
        let Self { side, columns, rows, counts } = self;
        let paper = smoothed(&papers(&counts, columns, rows), columns, rows);
        Light { side, columns, rows, paper, factors: Vec::new() }
    }
}

/// The light on a page.
pub(super) struct Light {
    side: usize,
    columns: usize,
    rows: usize,
    /// The paper's lightness in each tile.
    paper: Vec<f32>,
    /// What makes ink of each pixel's lightness in the row in work.
    factors: Vec<u16>,
}

impl Light {
    /// From one row's lightness (times 256) to ink; rows come from top to bottom.
    pub(super) fn add_ink(&mut self, y: usize, level: &[u16], ink: &mut Vec<i16>) {
        if y.is_multiple_of(STAYS) {
            self.look(y + STAYS / 2, level.len());
        }
        inked(level, &self.factors, ink);
    }

    /// Finds the factors for the rows about one.
    fn look(&mut self, y: usize, width: usize) {
        let place = share(y, self.side).clamp(0.0, (self.rows - 1) as f32);
        let (above, down) = (place as usize, place.fract());
        let below = (above + 1).min(self.rows - 1);
        let factor = |column: usize| {
            let column = column.min(self.columns - 1);
            let [upper, lower] = [above, below].map(|row| self.paper[row * self.columns + column]);
            (WHOLE / (upper + (lower - upper) * down)) as i32
        };
        self.factors.resize(width, 0);
        // Half a tile to the first tile's middle, then from middle to middle.
        let (first, others) = self.factors.split_at_mut((self.side / 2).min(width));
        let mut from = factor(0);
        fill(first, from, 0);
        for (column, factors) in others.chunks_mut(self.side).enumerate() {
            let to = factor(column + 1);
            fill(factors, from, (to - from) / self.side as i32);
            from = to;
        }
    }
}

/// What is divided by the paper's lightness to make the factor from lightness, times 256, to steps
/// of ink, in 65,536ths, which has so many bits more: the darkest paper's has 31.
const FRACTION: u32 = 15;
const WHOLE: f32 = 256.0 * BLACK as f32 * (1 << FRACTION) as f32;

/// Factors that go on from one by so much each.
fn fill(factors: &mut [u16], from: i32, step: i32) {
    let mut at = from + step / 2;
    for factor in factors {
        *factor = (at >> FRACTION) as u16;
        at += step;
    }
}

/// Adds the ink of some pixels. (A loop of its own: numbers of 16 bits, 8 at a time.)
#[inline(never)]
fn inked(level: &[u16], factors: &[u16], ink: &mut Vec<i16>) {
    ink.extend(level.iter().zip(factors).map(|(&level, &factor)| {
        let light = ((u32::from(level) * u32::from(factor)) >> 16) as u16;
        (BLACK as u16).saturating_sub(light) as i16
    }));
}

/// A pixel's share of the way from the middle of the tile before it to that of the next.
fn share(at: usize, side: usize) -> f32 {
    (at as f32 + 0.5) / side as f32 - 0.5
}

/// The paper's lightness in each tile: the high quantile of what is around it.
fn papers(counts: &[[u32; 64]], columns: usize, rows: usize) -> Vec<f32> {
    let around = |at: usize, size: usize| at.saturating_sub(AROUND)..(at + AROUND + 1).min(size);
    let add = |sums: &mut [u32; 64], other: &[u32; 64]| {
        sums.iter_mut().zip(other).for_each(|(sum, count)| *sum += count);
    };
    let mut papers = Vec::with_capacity(counts.len());
    for row in 0..rows {
        let mut upright = vec![[0_u32; 64]; columns];
        for y in around(row, rows) {
            let tiles = &counts[y * columns..(y + 1) * columns];
            upright.iter_mut().zip(tiles).for_each(|(sums, tile)| add(sums, tile));
        }
        for column in 0..columns {
            let mut sums = [0_u32; 64];
            upright[around(column, columns)].iter().for_each(|other| add(&mut sums, other));
            papers.push(quantile(&sums).max(DARKEST));
        }
    }
    papers
}

fn quantile(counts: &[u32; 64]) -> f32 {
    let total: u32 = counts.iter().sum();
    let wanted = f64::from(total) * SHARE;
    let mut sum = 0.0;
    for (step, &count) in counts.iter().enumerate() {
        let count = f64::from(count);
        if sum + count >= wanted && count > 0.0 {
            return (4.0 * (step as f64 + (wanted - sum) / count)) as f32;
        }
        sum += count;
    }
    255.0
}

/// The mean of each tile and its neighbours.
fn smoothed(papers: &[f32], columns: usize, rows: usize) -> Vec<f32> {
    let mut out = Vec::with_capacity(papers.len());
    for row in 0..rows {
        for column in 0..columns {
            let mut sum = 0.0;
            let mut count = 0.0;
            for y in row.saturating_sub(1)..(row + 2).min(rows) {
                for x in column.saturating_sub(1)..(column + 2).min(columns) {
                    sum += papers[y * columns + x];
                    count += 1.0;
                }
            }
            out.push(sum / count);
        }
    }
    out
}
