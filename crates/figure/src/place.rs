//! Finding room: which parts of a panel are taken, and names in a row that do not collide.

use crate::picture::Box2;

/// Side of one cell of the map of taken space, in millimetres.
const CELL: f64 = 0.25;

/// Something stands here and no label may.
pub(crate) const TAKEN: u8 = 1;
/// An alignment line passes; a label may interrupt it if there is no other room.
pub(crate) const LINE: u8 = 2;
/// A label stands here; leaders may not pass either.
pub(crate) const LABEL: u8 = 4;

/// What is taken in one panel, cell by cell.
#[derive(Debug)]
pub(crate) struct Space {
    area: Box2,
    columns: usize,
    rows: usize,
    cells: Vec<u8>,
}

impl Space {
    /// An empty panel.
    pub(crate) fn new(area: Box2) -> Self {
        let columns = (area.w / CELL).ceil().max(1.0) as usize;
        let rows = (area.h / CELL).ceil().max(1.0) as usize;
        Self { area, columns, rows, cells: vec![0; columns * rows] }
    }

    /// `area` moved sideways until it lies `air` inside the panel.
    pub(crate) fn inwards(&self, area: Box2, air: f64) -> Box2 {
        let least = self.area.x + air;
        let most = (self.area.right() - air - area.w).max(least);
        Box2 { x: area.x.clamp(least, most), ..area }
    }

    /// Columns and rows that `area` touches, cut to the panel.
    fn cover(&self, area: &Box2) -> (std::ops::Range<usize>, std::ops::Range<usize>) {
        let span = |low: f64, high: f64, count: usize| {
            let first = (low / CELL).clamp(0.0, count as f64) as usize;
            let end = (high / CELL + 1.0).clamp(0.0, count as f64) as usize;
            first..end
        };
        (
            span(area.x - self.area.x, area.right() - self.area.x, self.columns),
            span(area.y - self.area.y, area.bottom() - self.area.y, self.rows),
        )
    }

    /// Marks a box.
    pub(crate) fn mark(&mut self, area: &Box2, as_what: u8) {
        let (columns, rows) = self.cover(area);
        for row in rows {
            for cell in &mut self.cells[row * self.columns..][columns.clone()] {
                *cell |= as_what;
            }
        }
    }

    /// Marks a line `width` wide through `points`.
    pub(crate) fn mark_line(&mut self, points: &[[f64; 2]], width: f64, as_what: u8) {
        for pair in points.windows(2) {
            for [x, y] in steps(pair[0], pair[1]) {
                self.mark(&Box2::new(x, y, 0.0, 0.0).grown(width / 2.0 + CELL / 2.0), as_what);
            }
        }
    }

    /// Marks all that is marked in another map of the same panel.
    pub(crate) fn mark_all(&mut self, other: &Self) {
        self.cells.iter_mut().zip(&other.cells).for_each(|(cell, what)| *cell |= what);
    }

    /// Whether `area` lies inside the panel and touches nothing marked as any of `what`.
    pub(crate) fn free(&self, area: &Box2, what: u8) -> bool {
        if !self.area.holds(area) {
            return false;
        }
        let (columns, mut rows) = self.cover(area);
        rows.all(|row| {
            self.cells[row * self.columns..][columns.clone()].iter().all(|cell| cell & what == 0)
        })
    }

    /// Whether the straight line from `a` to `b` touches nothing marked as any of `what`.
    pub(crate) fn clear(&self, a: [f64; 2], b: [f64; 2], what: u8) -> bool {
        steps(a, b).all(|[x, y]| {
            let (mut columns, rows) = self.cover(&Box2::new(x, y, 0.0, 0.0));
            columns.all(|column| {
                rows.clone().all(|row| self.cells[row * self.columns + column] & what == 0)
            })
        })
    }
}

/// Points along a line, less than a cell apart.
fn steps(a: [f64; 2], b: [f64; 2]) -> impl Iterator<Item = [f64; 2]> {
    let length = libm::hypot(b[0] - a[0], b[1] - a[1]);
    let count = (length / (CELL * 0.6)).ceil().max(1.0) as usize;
    (0..=count).map(move |i| {
        let share = i as f64 / count as f64;
        [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
    })
}

/// Middles of boxes `widths` wide, in order, at least `gap` apart and as near to `wanted`
/// as they can be between `low` and `high`; `None` where they are too wide together.
pub(crate) fn spread(
    wanted: &[f64],
    widths: &[f64],
    gap: f64,
    low: f64,
    high: f64,
) -> Option<Vec<f64>> {
    let needed: f64 = widths.iter().sum::<f64>() + gap * widths.len().saturating_sub(1) as f64;
    if needed > high - low + 1e-9 {
        return None;
    }
    // Runs of boxes that touch move as one; each stands where its boxes would like it best.
    let mut runs: Vec<Run> = Vec::new();
    for (&middle, &width) in wanted.iter().zip(widths) {
        let mut run = Run { count: 1, wish: middle - width / 2.0, width };
        while let Some(before) = runs.last() {
            if before.left(low, high) + before.width + gap <= run.left(low, high) {
                break;
            }
            let before = runs.pop().expect("just seen");
            let shift = before.width + gap;
            let count = before.count + run.count;
            let wish = (before.wish * before.count as f64 + (run.wish - shift) * run.count as f64)
                / count as f64;
            run = Run { count, wish, width: shift + run.width };
        }
        runs.push(run);
    }
    let mut middles = Vec::with_capacity(widths.len());
    for run in &runs {
        let mut left = run.left(low, high);
        for _ in 0..run.count {
            let width = widths[middles.len()];
            middles.push(left + width / 2.0);
            left += width + gap;
        }
    }
    Some(middles)
}

/// Boxes side by side: how many, where their left side would best be, how wide in all.
struct Run {
    count: usize,
    wish: f64,
    width: f64,
}

impl Run {
    fn left(&self, low: f64, high: f64) -> f64 {
        self.wish.clamp(low, (high - self.width).max(low))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_a_row_keep_their_order_and_distance() {
        let widths = [10.0, 20.0, 8.0, 12.0];
        let middles = spread(&[11.0, 12.0, 13.0, 58.0], &widths, 2.0, 0.0, 60.0).unwrap();
        for i in 1..4 {
            let apart = middles[i] - middles[i - 1] - (widths[i] + widths[i - 1]) / 2.0;
            assert!(apart >= 2.0 - 1e-9, "{middles:?}");
        }
        assert!(middles[0] - 5.0 >= 0.0 && middles[3] + 6.0 <= 60.0 + 1e-9);
        assert_eq!(spread(&[5.0], &[4.0], 1.0, 0.0, 60.0), Some(vec![5.0]));
        assert_eq!(spread(&[5.0, 5.0], &[40.0, 30.0], 1.0, 0.0, 60.0), None);
    }

    #[test]
    fn a_box_moves_no_further_inwards_than_it_must() {
        let space = Space::new(Box2::new(10.0, 10.0, 40.0, 20.0));
        let moved = |x: f64, w: f64| space.inwards(Box2::new(x, 12.0, w, 3.0), 1.0).x;
        assert_eq!([moved(5.0, 8.0), moved(20.0, 8.0), moved(48.0, 8.0)], [11.0, 20.0, 41.0]);
        assert_eq!(moved(30.0, 60.0), 11.0);
    }

    #[test]
    fn a_line_takes_the_space_it_passes() {
        let mut space = Space::new(Box2::new(10.0, 10.0, 40.0, 20.0));
        space.mark_line(&[[10.0, 10.0], [50.0, 30.0]], 0.5, TAKEN);
        assert!(!space.free(&Box2::new(29.0, 19.0, 2.0, 2.0), TAKEN));
        assert!(space.free(&Box2::new(12.0, 20.0, 8.0, 5.0), TAKEN));
        assert!(space.free(&Box2::new(29.0, 19.0, 2.0, 2.0), LABEL));
        assert!(!space.free(&Box2::new(8.0, 20.0, 8.0, 5.0), TAKEN));
        assert!(!space.clear([12.0, 25.0], [40.0, 12.0], TAKEN));
    }
}
