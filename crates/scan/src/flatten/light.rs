//! Evening out the light on a page.

/// Side of the tiles in which the paper's lightness is estimated, in millimetres.
const TILE_MM: f64 = 4.0;
/// Tiles on each side that count, too: a mark of 10 mm must not pass for dark paper.
const AROUND: usize = 2;
/// Share of the pixels that are darker than what counts as paper.
const SHARE: f64 = 0.8;
/// The darkest that paper can be, of 255.
const DARKEST: f32 = 24.0;

/// From lightness to ink: 0 paper to 1 black, paper being the smooth estimate of what is bright
/// around each pixel.
pub(super) fn evened(level: Vec<f32>, width: usize, height: usize, px_per_mm: f64) -> Vec<f32> {
    let side = ((TILE_MM * px_per_mm).round() as usize).max(1);
    let (columns, rows) = (width.div_ceil(side), height.div_ceil(side));
    let counts = counted(&level, width, side, columns, rows);
    let paper = smoothed(&papers(&counts, columns, rows), columns, rows);
    let mut ink = level;
    let places: Vec<_> = (0..width).map(|x| between(x, side, columns)).collect();
    let mut line = vec![0.0; columns];
    for (y, row) in ink.chunks_exact_mut(width).enumerate() {
        let (above, below, down) = between(y, side, rows);
        for (at, value) in line.iter_mut().enumerate() {
            let (upper, lower) = (paper[above * columns + at], paper[below * columns + at]);
            *value = upper + (lower - upper) * down;
        }
        for (one, &(left, right, across)) in row.iter_mut().zip(&places) {
            let paper = line[left] + (line[right] - line[left]) * across;
            *one = (1.0 - *one / paper).clamp(0.0, 1.0);
        }
    }
    ink
}

/// The tiles before and behind a pixel, and its share of the way between their middles.
#[inline]
fn between(at: usize, side: usize, count: usize) -> (usize, usize, f32) {
    let place = ((at as f32 + 0.5) / side as f32 - 0.5).clamp(0.0, (count - 1) as f32);
    let before = place as usize;
    (before, (before + 1).min(count - 1), place - before as f32)
}

/// How often each lightness occurs in each tile, in 64 steps.
fn counted(
    level: &[f32],
    width: usize,
    side: usize,
    columns: usize,
    rows: usize,
) -> Vec<[u32; 64]> {
    let mut counts = vec![[0; 64]; columns * rows];
    for (y, row) in level.chunks_exact(width).enumerate() {
        for (column, part) in row.chunks(side).enumerate() {
            let tile = &mut counts[y / side * columns + column];
            for &one in part {
                tile[(one as usize / 4).min(63)] += 1;
            }
        }
    }
    counts
}

/// The paper's lightness in each tile: the high quantile of what is around it.
fn papers(counts: &[[u32; 64]], columns: usize, rows: usize) -> Vec<f32> {
    let mut papers = Vec::with_capacity(counts.len());
    for row in 0..rows {
        for column in 0..columns {
            let mut sums = [0_u32; 64];
            for y in row.saturating_sub(AROUND)..(row + AROUND + 1).min(rows) {
                for x in column.saturating_sub(AROUND)..(column + AROUND + 1).min(columns) {
                    let tile = &counts[y * columns + x];
                    sums.iter_mut().zip(tile).for_each(|(sum, count)| *sum += count);
                }
            }
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
