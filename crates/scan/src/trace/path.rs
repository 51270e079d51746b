//! The curve in a panel: the cheapest way through its ink from left to right.

use std::ops::Range;

use super::parts::Parts;
use crate::ink::{Ink, share};

/// What one column without ink costs; all other costs are relative to it. They are whole numbers,
/// since each sum waits for the one before it, and those are added in less time.
const EMPTY: i32 = 1 << 16;
/// A column on ink of an alignment line, and on print that may hide ink.
const ON_LINE: i32 = cost(0.25);
const ON_PRINT: i32 = cost(0.35);
/// A pixel upright on ink, on a line, on print and on paper.
const UP_INK: i32 = cost(0.01);
const UP_LINE: i32 = cost(0.03);
const UP_PRINT: i32 = cost(0.12);
const UP_EMPTY: i32 = cost(0.6);
/// What the middle of a steep stroke is worth, pixel by pixel: enough that a narrow wave is not
/// cut off at its foot.
const STEEP: i32 = cost(0.06);
/// A step aside costs a tenth of the pixel that it leads to.
const ASIDE: i32 = 10;
/// How much ink of small parts, such as letters, counts.
const SMALL: f32 = 0.3;
/// A part at least this wide or high, in millimetres, is no letter.
const WIDE_MM: f64 = 6.0;
const HIGH_MM: f64 = 8.0;
/// The widest stroke, in millimetres.
const STROKE_MM: f64 = 2.2;
/// So near to a panel's sides, in millimetres, nothing is worth going along: it may be the frame.
const SIDE_MM: f64 = 1.5;

/// A cost, of that of a column without ink.
const fn cost(share: f32) -> i32 {
    (share * EMPTY as f32) as i32
}

/// Columns and rows in which a curve is looked for; the ends are not included.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Region {
    pub(crate) left: usize,
    pub(crate) top: usize,
    pub(crate) right: usize,
    pub(crate) bottom: usize,
    /// The rows within its printed frame; no trace goes along the frame itself.
    pub(crate) inside: [usize; 2],
}

impl Region {
    fn height(&self) -> usize {
        self.bottom - self.top
    }
}

/// What is known of the ink when a curve is looked for.
pub(crate) struct Sight<'a> {
    pub(crate) ink: &'a Ink,
    pub(crate) line: &'a [bool],
    pub(crate) parts: &'a Parts,
}

impl Sight<'_> {
    /// Whether a pixel is a student's ink and no alignment line's.
    pub(crate) fn inked(&self, at: usize) -> bool {
        self.ink.ink[at] > 0 && !self.line[at]
    }

    /// Ink that is no alignment line's.
    pub(crate) fn value(&self, at: usize) -> f32 {
        if self.line[at] { 0.0 } else { share(self.ink.ink[at]) }
    }
}

/// Columns whose costs are found together: ink lies in memory row by row.
const TOGETHER: usize = 32;

/// Costs of some columns, one after the other: to be on a pixel, to enter it upright, and what more
/// it costs to come to it from a row beside.
struct Columns {
    high: usize,
    /// Runs of ink in each: the first pixel, and one past the last.
    runs: Vec<Vec<[usize; 2]>>,
    on: Vec<i32>,
    upright: Vec<i32>,
    aside: Vec<i32>,
}

/// Costs of one column.
#[derive(Clone, Copy)]
struct Column<'a> {
    on: &'a [i32],
    upright: &'a [i32],
    aside: &'a [i32],
}

const CAME: u8 = 0b11;
const DOWN_GOES_ON: u8 = 0b100;
const UP_GOES_ON: u8 = 0b1000;
const BY_UP: u8 = 0b1_0000;

/// The cheapest way, pixel by pixel, columns never falling.
///
/// An exact optimum: in each column the way may go up or down any number of pixels, but not
/// both.
///
/// Ink of the parts that are `outside` is as good as none.
pub(crate) fn cheapest(sight: &Sight<'_>, region: Region, outside: &[bool]) -> Vec<[usize; 2]> {
    let high = region.height();
    let typical = typical(sight, outside);
    // With a place above and one below, from which nothing comes.
    let mut before = vec![0; high + 2];
    (before[0], before[high + 1]) = (NEVER, NEVER);
    let mut entered = vec![0; high];
    let mut up = vec![0; high];
    let mut down = vec![0; high];
    let mut marks = vec![0_u8; high * (region.right - region.left)];
    let mut columns = Columns::new(high);
    for x in region.left..region.right {
        let place = (x - region.left) % TOGETHER;
        if place == 0 {
            columns.fill(sight, region, x..(x + TOGETHER).min(region.right), &typical);
        }
        let column = columns.at(place);
        let marks = &mut marks[(x - region.left) * high..][..high];
        if x == region.left {
            entered.copy_from_slice(column.on);
        } else {
            enter(&before, column, &mut entered, marks);
        }
        go_on(column.upright, &entered, [&mut up, &mut down]);
        let both = up.iter().zip(&down).zip(&entered).zip(before[1..].iter_mut().zip(marks));
        for (((&up, &down), &entered), (before, mark)) in both {
            *before = up.min(down);
            *mark |= (u8::from(down < entered) * DOWN_GOES_ON)
                | (u8::from(up < entered) * UP_GOES_ON)
                | (u8::from(up < down) * BY_UP);
        }
    }
    back(&before[1..=high], &marks, region)
}

/// More than any way costs, and not so much that nothing can be added.
const NEVER: i32 = i32::MAX / 2;

/// Enters a column from the one before it.
fn enter(before: &[i32], column: Column<'_>, entered: &mut [i32], marks: &mut [u8]) {
    let costs = column.on.iter().zip(column.aside);
    let out = entered.iter_mut().zip(marks);
    for ((beside, (&on, &aside)), (entered, mark)) in before.windows(3).zip(costs).zip(out) {
        let (above, own, below) = (beside[0] + aside, beside[1], beside[2] + aside);
        let (best, came) = if above < own { (above, 1) } else { (own, 0) };
        let (best, came) = if below < best { (below, 2) } else { (best, came) };
        *entered = best + on;
        *mark = came;
    }
}

/// Goes on upright, upward and downward, wherever that costs less than to enter: each waits for its
/// own last step, so both are taken together.
fn go_on(upright: &[i32], entered: &[i32], [up, down]: [&mut [i32]; 2]) {
    let high = entered.len();
    let (upright, up, down) = (&upright[..high], &mut up[..high], &mut down[..high]);
    let (mut rising, mut falling) = (NEVER, NEVER);
    for y in 0..high {
        falling = entered[y].min(falling + upright[y]);
        down[y] = falling;
        let y = high - 1 - y;
        rising = entered[y].min(rising + upright[y]);
        up[y] = rising;
    }
}

fn back(last: &[i32], marks: &[u8], region: Region) -> Vec<[usize; 2]> {
    let high = region.height();
    let end = (0..high).min_by_key(|&y| last[y]);
    let mut y = end.unwrap_or(0);
    let mut way = Vec::new();
    for x in (region.left..region.right).rev() {
        let marks = &marks[(x - region.left) * high..][..high];
        let by_up = marks[y] & BY_UP != 0;
        loop {
            way.push([x, region.top + y]);
            if by_up && marks[y] & UP_GOES_ON != 0 {
                y += 1;
            } else if !by_up && marks[y] & DOWN_GOES_ON != 0 {
                y -= 1;
            } else {
                break;
            }
        }
        match marks[y] & CAME {
            1 => y -= 1,
            2 => y += 1,
            _ => {}
        }
    }
    way.reverse();
    way
}

/// For each part, the ink that counts as full, and how much its ink counts.
fn typical(sight: &Sight<'_>, outside: &[bool]) -> Vec<(f32, f32)> {
    let mut sums = vec![0.0_f32; sight.parts.count()];
    for (at, part) in sight.parts.each() {
        sums[part] += share(sight.ink.ink[at]);
    }
    let (wide, high) = (sight.ink.px(WIDE_MM), sight.ink.px(HIGH_MM));
    let one = |(part, sum): (usize, f32)| {
        let bounds = sight.parts.bounds(part);
        let large = bounds.width() >= wide || bounds.height() >= high;
        let counts = if outside[part] { 0.0 } else { 1.0 };
        (sum / sight.parts.area(part) as f32, counts * if large { 1.0 } else { SMALL })
    };
    sums.into_iter().enumerate().map(one).collect()
}

impl Columns {
    fn new(high: usize) -> Self {
        let room = || vec![0; TOGETHER * high];
        let runs = vec![Vec::new(); TOGETHER];
        Self { high, runs, on: room(), upright: room(), aside: room() }
    }

    fn at(&self, place: usize) -> Column<'_> {
        let own = place * self.high..(place + 1) * self.high;
        let [on, upright, aside] =
            [&self.on, &self.upright, &self.aside].map(|costs| &costs[own.clone()]);
        Column { on, upright, aside }
    }

    fn fill(
        &mut self,
        sight: &Sight<'_>,
        region: Region,
        columns: Range<usize>,
        typical: &[(f32, f32)],
    ) {
        let width = sight.ink.width;
        let [first, last] = region.inside;
        self.aside.fill(EMPTY / ASIDE);
        self.runs.iter_mut().for_each(Vec::clear);
        self.on.fill(EMPTY);
        self.upright.fill(UP_EMPTY);
        for y in region.top..region.bottom {
            let is_inside = (first..=last).contains(&y);
            let row = y * width + columns.start..y * width + columns.end;
            let [line, hidden] = [sight.line, &sight.ink.hidden].map(|all| &all[row.clone()]);
            let ink = sight.ink.ink[row].iter().zip(line.iter().zip(hidden));
            // Most of a panel is paper.
            if !ink.fold(false, |any, (&ink, (&line, &hides))| any | (ink > 0) | line | hides) {
                continue;
            }
            for (place, x) in columns.clone().enumerate() {
                let (at, n) = (y * width + x, place * self.high + y - region.top);
                if sight.inked(at) {
                    match self.runs[place].last_mut() {
                        Some(run) if run[1] == n => run[1] = n + 1,
                        _ => self.runs[place].push([n, n + 1]),
                    }
                }
                (self.on[n], self.upright[n]) = if sight.line[at] {
                    (ON_LINE, UP_LINE)
                } else if sight.ink.ink[at] > 0 {
                    let (full, weight) =
                        sight.parts.at(at).map_or((1.0, SMALL), |part| typical[part]);
                    let share = (share(sight.ink.ink[at]) / full).min(1.3) / 1.3;
                    (cost(1.0 - weight * share), UP_INK)
                } else if sight.ink.hidden[at] && is_inside {
                    (ON_PRINT, UP_PRINT)
                } else {
                    (EMPTY, UP_EMPTY)
                };
                self.aside[n] = self.on[n] / ASIDE;
            }
        }
        let side = sight.ink.px(SIDE_MM);
        let clear = region.left + side..region.right.saturating_sub(side);
        for (place, x) in columns.enumerate().filter(|(_, x)| clear.contains(x)) {
            self.steep(sight, region, (place, x), typical);
        }
    }

    /// Makes the middles of steep strokes in one column worth going along.
    fn steep(
        &mut self,
        sight: &Sight<'_>,
        region: Region,
        (place, x): (usize, usize),
        typical: &[(f32, f32)],
    ) {
        let (width, widest) = (sight.ink.width, sight.ink.px(STROKE_MM));
        let first = place * self.high;
        for &[start, end] in &self.runs[place] {
            for n in start..end {
                let at = (region.top + n - first) * width + x;
                let large = sight.parts.at(at).is_some_and(|part| typical[part].1 >= 1.0);
                let across = across(sight, at, widest);
                let middle = across.is_some_and(|[left, right]| {
                    let run = left + right + 1;
                    left.abs_diff(right) <= 1 && left <= right && 2 * (end - start) > 3 * run
                });
                if large && middle {
                    self.aside[n] -= STEEP;
                    self.upright[n] -= STEEP;
                }
            }
        }
    }
}

/// Inked pixels left and right of one, or `None` where the run is wider than a stroke.
fn across(sight: &Sight<'_>, at: usize, widest: usize) -> Option<[usize; 2]> {
    let x = at % sight.ink.width;
    let left = (1..=widest.min(x)).take_while(|n| sight.inked(at - n)).count();
    let room = widest.min(sight.ink.width - 1 - x);
    let right = (1..=room).take_while(|n| sight.inked(at + n)).count();
    (left + right < widest).then_some([left, right])
}
