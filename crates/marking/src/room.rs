//! Finding room for labels on a picture.

use figure::Box2;

/// Side of a cell, in millimetres.
const CELL: f64 = 0.5;
/// Nearest and farthest that a label may stand from its place, in millimetres.
const NEAREST: f64 = 1.2;
const FARTHEST: f64 = 26.0;
/// Directions in which it is tried.
const DIRECTIONS: usize = 16;
/// What a cell of ink costs, against a millimetre of distance.
const INK_COST: f64 = 0.8;

/// Which places of a picture are taken.
pub(crate) struct Room {
    area: Box2,
    columns: usize,
    rows: usize,
    ink: Vec<bool>,
    taken: Vec<Box2>,
}

impl Room {
    /// A picture of this area; `ink` says whether something is drawn at a place.
    pub(crate) fn new(area: Box2, ink: impl Fn([f64; 2]) -> bool) -> Self {
        let columns = (area.w / CELL).ceil() as usize;
        let rows = (area.h / CELL).ceil() as usize;
        // Lines are thinner than a cell: each is looked at in nine places.
        let parts = [1.0 / 6.0, 0.5, 5.0 / 6.0];
        let cell = |index: usize| {
            let (column, row) = (index % columns.max(1), index / columns.max(1));
            parts.iter().any(|down| {
                parts.iter().any(|across| {
                    let x = area.x + (column as f64 + across) * CELL;
                    ink([x, area.y + (row as f64 + down) * CELL])
                })
            })
        };
        let ink = (0..columns * rows).map(cell).collect();
        Self { area, columns, rows, ink, taken: Vec::new() }
    }

    /// Keeps labels away from a box.
    pub(crate) fn take(&mut self, area: Box2) {
        self.taken.push(area);
    }

    /// Room for a label of this size near `at`, which it takes; `None` where there is none.
    pub(crate) fn place(&mut self, at: [f64; 2], [w, h]: [f64; 2]) -> Option<Box2> {
        let mut best: Option<(f64, Box2)> = None;
        let mut distance = NEAREST;
        while distance <= FARTHEST {
            if best.is_some_and(|(cost, _)| cost <= distance) {
                break;
            }
            for direction in 0..DIRECTIONS {
                let angle = direction as f64 / DIRECTIONS as f64 * 2.0 * std::f64::consts::PI;
                let [across, down] = [libm::cos(angle), libm::sin(angle)];
                let x = at[0] + across * (distance + w / 2.0) - w / 2.0;
                let y = at[1] + down * (distance + h / 2.0) - h / 2.0;
                let area = Box2::new(x, y, w, h);
                if !self.area.holds(&area) || self.taken.iter().any(|one| one.overlaps(&area)) {
                    continue;
                }
                let cost = distance + INK_COST * self.inked(&area) as f64;
                if best.is_none_or(|(least, _)| cost < least) {
                    best = Some((cost, area));
                }
            }
            distance += 1.0;
        }
        let (_, area) = best?;
        self.taken.push(area.grown(0.25));
        Some(area)
    }

    /// Cells of `area` in which something is drawn.
    fn inked(&self, area: &Box2) -> usize {
        let span = |low: f64, high: f64, count: usize| {
            let first = (low / CELL).floor().max(0.0) as usize;
            first..((high / CELL).ceil().max(0.0) as usize).min(count)
        };
        let columns = span(area.x - self.area.x, area.right() - self.area.x, self.columns);
        let rows = span(area.y - self.area.y, area.bottom() - self.area.y, self.rows);
        let row = |row: usize| {
            let cells = &self.ink[row * self.columns..][columns.clone()];
            cells.iter().filter(|&&ink| ink).count()
        };
        rows.map(row).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_keep_off_the_ink_and_one_another() {
        let area = Box2::new(0.0, 0.0, 60.0, 40.0);
        // A thick line across the middle.
        let mut room = Room::new(area, |[_, y]| (19.0..21.0).contains(&y));
        let mut placed: Vec<Box2> = Vec::new();
        for _ in 0..6 {
            let one = room.place([30.0, 20.0], [10.0, 4.0]).unwrap();
            assert!(area.holds(&one));
            assert!(one.bottom() <= 19.0 || one.y >= 21.0, "{one:?}");
            assert!(placed.iter().all(|other| !other.overlaps(&one)), "{one:?} {placed:?}");
            placed.push(one);
        }
        let first = placed[0];
        let gap = (first.y - 20.0).max(20.0 - first.bottom());
        assert!(gap < 4.0, "the first is near: {first:?}");
    }

    #[test]
    fn where_there_is_no_room_there_is_no_label() {
        let mut room = Room::new(Box2::new(0.0, 0.0, 8.0, 3.0), |_| false);
        assert_eq!(room.place([4.0, 1.5], [10.0, 4.0]), None);
    }
}
