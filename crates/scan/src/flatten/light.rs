//! Evening out the light on a page.

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
        let shares = (0..side).map(|at| share(at + side / 2, side)).collect();
        Light { side, columns, rows, paper, shares }
    }
}

/// The light on a page.
pub(super) struct Light {
    side: usize,
    columns: usize,
    rows: usize,
    /// The paper's lightness in each tile.
    paper: Vec<f32>,
    /// The shares of pixels between the middles of two tiles.
    shares: Vec<f32>,
}

impl Light {
    /// From one row's lightness (times 256) to ink: 0 paper to 1 black.
    pub(super) fn add_ink(&self, y: usize, level: &[u16], ink: &mut Vec<f32>) {
        let place = share(y, self.side).clamp(0.0, (self.rows - 1) as f32);
        let (above, down) = (place as usize, place.fract());
        let below = (above + 1).min(self.rows - 1);
        let paper = |column: usize| {
            let column = column.min(self.columns - 1);
            let [upper, lower] = [above, below].map(|row| self.paper[row * self.columns + column]);
            256.0 * (upper + (lower - upper) * down)
        };
        let mut add = |level: &[u16], [from, to]: [f32; 2]| {
            ink.extend(level.iter().zip(&self.shares).map(|(&level, share)| {
                (1.0 - f32::from(level) / (from + (to - from) * share)).max(0.0)
            }));
        };
        // Half a tile to the first tile's middle, then from middle to middle.
        let (first, others) = level.split_at((self.side / 2).min(level.len()));
        add(first, [paper(0); 2]);
        for (column, level) in others.chunks(self.side).enumerate() {
            add(level, [paper(column), paper(column + 1)]);
        }
    }
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
