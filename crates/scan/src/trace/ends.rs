//! Where bursts of sound begin and end: where the line leaves its resting line for good.
//!
//! A burst goes to both sides of the resting line, letters and most arrows to one. So a burst is
//! where ink is to both sides within a stroke's distance, and from there its first and last stroke
//! are followed to where they leave the resting line. What touches it there and is low, such as an
//! arrow's head, is left out.

use super::rest::{resting_line, runs};

/// Strokes to either side of a burst are no farther apart, in millimetres.
const STROKES_MM: f64 = 1.6;
/// Ink that is so far from the resting line, in millimetres, has left it.
const LEFT_MM: f64 = 0.4;
/// The same for a small sound, which hardly leaves it, as a share of its height and at least.
const LEFT_SHARE: f64 = 0.17;
const SMALL_LEFT_MM: f64 = 0.2;
/// Ink that is so far from it to both sides is a burst's, in millimetres.
const BOTH_MM: f64 = 0.6;
/// Strokes of one burst are no farther apart, in millimetres.
const APART_MM: f64 = 1.5;
/// An alignment line hides no more of a burst than this, in millimetres, and leaves between its
/// strokes no more than this.
const ALL_HIDDEN_MM: f64 = 3.0;
const SEEN_MM: f64 = 0.6;
/// To either side a burst reaches at least so far, in millimetres, in its highest place.
const REACH_MM: f64 = 0.8;
/// How far a burst may go on to one side alone, in millimetres: a stroke's way there and back.
const ALONE_MM: f64 = 2.2;
/// What is lower than this share of a burst's highest place and than this, in millimetres, is no
/// first stroke by itself: an arrow's head is as low.
const LOW_SHARE: f64 = 0.2;
const LOW_MM: f64 = 1.8;
/// The side of a first stroke or of an outline goes down to the resting line within this, in
/// millimetres.
const SIDE_MM: f64 = 4.0;
/// Two things that touch have between them a place so much lower than both, in millimetres.
const WAIST_MM: f64 = 0.25;
/// Where the line passes the resting line from side to side it is near it for so long at most, in
/// millimetres.
const PASSING_MM: f64 = 0.6;
/// The way over which a stroke's slope is measured, and how far it is continued at most, in
/// millimetres.
const SLOPE_MM: f64 = 0.6;
const CONTINUED_MM: f64 = 1.0;
/// A stroke that is so far beyond having left the resting line, in millimetres, where it is first
/// seen, is an upright one, if no alignment line hides what is before it.
const UPRIGHT_MM: f64 = 0.35;
/// A low upright stroke comes out of the resting line by so much within twice so long, and goes no
/// higher than by so much after that, in millimetres.
const JUMP_MM: f64 = 0.35;
const STANDS_MM: f64 = 0.25;
const LEVEL_MM: f64 = 0.1;
/// What is to one side alone for longer is in doubt, in millimetres.
const DOUBT_MM: f64 = 1.5;
/// So near to an alignment line, in millimetres, strokes may have been cut off with it.
const BESIDE_LINE_MM: f64 = 0.8;
/// How much wider than a stroke an alignment line is taken out, in millimetres to either side, and
/// how far from its middle it can have taken other ink along.
const LINE_MM: f64 = 0.2;
const TAKEN_MM: f64 = 1.6;
/// A stroke that is so high where an alignment line beside it ends, in millimetres, began on the
/// line, which is no farther from there than this, and no farther than the last from where the
/// stroke, continued, comes back to the resting line.
const ON_LINE_MM: f64 = 0.6;
const ON_LINE_AWAY_MM: f64 = 2.4;
const ONTO_MM: f64 = 1.1;
/// What is written beside the resting line is farther from it than this, in millimetres, and what
/// is within a stroke's way there and back is no wider than this.
const APART_FROM_MM: f64 = 1.0;
const WITHIN_MM: f64 = 1.6;

/// How far ink reaches from the resting line, column by column, in pixels.
pub(crate) struct Reaches {
    /// Above it, and below it.
    sides: [Vec<f64>; 2],
    /// Whether a stroke may go on there: there is ink, or an alignment line hides it.
    open: Vec<bool>,
    /// Whether an alignment line hides it, or took along what was there.
    hidden: Vec<bool>,
    /// The columns of alignment lines.
    lines: Vec<f64>,
    px_per_mm: f64,
    /// Width of a stroke in pixels.
    stroke: f64,
}

/// Where a burst is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Extent {
    /// Its first and its last column.
    pub(crate) columns: [usize; 2],
    /// Where its first stroke leaves the resting line and its last one comes back to it, in
    /// columns.
    pub(crate) ends: [f64; 2],
    /// How much of its beginning and its end goes to one side alone for longer than a stroke does,
    /// in columns.
    pub(crate) doubt: [f64; 2],
    /// Whether it begins and ends with an upright stroke.
    pub(crate) upright: [bool; 2],
}

/// One end of a burst.
struct End {
    column: usize,
    /// Where exactly its stroke comes back to the resting line, and how much is in doubt, in
    /// columns.
    exact: f64,
    doubt: f64,
    upright: bool,
}

impl Reaches {
    /// Of a panel's ink: `inked` tells of a column and a row whether there is ink, `lines` in which
    /// columns alignment lines cross the resting line, which is looked for about the row `rest`,
    /// and `lined` of a column whether ink there went with such a line.
    pub(crate) fn of(
        [columns, rows]: [usize; 2],
        rest: f64,
        stroke: f64,
        px_per_mm: f64,
        inked: impl Fn(usize, usize) -> bool,
        lines: &[f64],
        lined: impl Fn(usize) -> bool,
    ) -> Self {
        let runs = runs([columns, rows], inked);
        let base = resting_line(&runs, rest, stroke, px_per_mm);
        let half = stroke / 2.0 - 0.5;
        let line = |x: usize, near: f64| lines.iter().any(|line| (x as f64 - line).abs() <= near);
        let wide = stroke / 2.0 + LINE_MM * px_per_mm;
        let cut = |x: usize| line(x, wide + BESIDE_LINE_MM * px_per_mm);
        let ends = ends(&runs, &base, stroke, px_per_mm, cut);
        let above = |x: usize| ends[x].map_or(0.0, |[top, _]| base[x] - top as f64 - half);
        let below = |x: usize| ends[x].map_or(0.0, |[_, bottom]| bottom as f64 - base[x] - half);
        let open = |x: usize| ends[x].is_some() || line(x, wide);
        let mut hidden: Vec<bool> = (0..columns).map(|x| line(x, wide)).collect();
        let taken = |x: usize| ends[x].is_none() && line(x, TAKEN_MM * px_per_mm) && lined(x);
        for x in 1..columns {
            hidden[x] |= hidden[x - 1] && taken(x);
        }
        for x in (1..columns).rev() {
            hidden[x - 1] |= hidden[x] && taken(x - 1);
        }
        let mut sides: [Vec<f64>; 2] = [
            (0..columns).map(|x| above(x).max(0.0)).collect(),
            (0..columns).map(|x| below(x).max(0.0)).collect(),
        ];
        // What is left of a line reaches no farther than what is on both sides of it.
        for stretch in stretches(&hidden) {
            for side in &mut sides {
                let before = stretch.start.checked_sub(1).map_or(0.0, |n| side[n]);
                let after = side.get(stretch.end).copied().unwrap_or(0.0);
                side[stretch.clone()].iter_mut().for_each(|far| *far = far.min(before.min(after)));
            }
        }
        Self {
            sides,
            open: (0..columns).map(|x| open(x) || hidden[x]).collect(),
            hidden,
            lines: lines.to_vec(),
            px_per_mm,
            stroke,
        }
    }

    fn px(&self, mm: f64) -> usize {
        (mm * self.px_per_mm).round() as usize
    }

    fn half(&self) -> f64 {
        self.stroke / 2.0 - 0.5
    }

    fn most(&self, n: usize) -> f64 {
        self.sides[0][n].max(self.sides[1][n])
    }

    /// Where ink is to both sides within a stroke's distance, and is high enough for a burst.
    pub(crate) fn bursts(&self) -> Vec<Extent> {
        let count = self.sides[0].len();
        let near = self.px(STROKES_MM);
        let [above, below] = [0, 1].map(|side| highest_near(&self.sides[side], near));
        let both: Vec<f64> = (0..count).map(|n| above[n].min(below[n])).collect();
        let [least, left] = [BOTH_MM, LEFT_MM].map(|mm| mm * self.px_per_mm);
        let mut runs: Vec<[usize; 2]> = Vec::new();
        for n in (0..count).filter(|&n| both[n] > least && self.most(n) > left) {
            match runs.last_mut() {
                Some(last) if self.apart(last[1], n) <= self.px(APART_MM) => last[1] = n,
                _ => runs.push([n, n]),
            }
        }
        let high = REACH_MM * self.px_per_mm;
        runs.retain(|[from, to]| both[*from..=*to].iter().any(|both| *both > high));
        let left = |[from, to]: [usize; 2]| {
            let highest = (from..=to).map(|n| self.most(n)).fold(0.0, f64::max);
            (LEFT_SHARE * highest / self.px_per_mm).clamp(SMALL_LEFT_MM, LEFT_MM)
        };
        runs.into_iter().map(|run| self.extent(run, left(run))).collect()
    }

    /// How far apart two columns are; what an alignment line hides between them does not count.
    fn apart(&self, from: usize, to: usize) -> usize {
        let hidden = self.hidden[from..to].iter().filter(|hidden| **hidden).count();
        let seen = to - from - hidden;
        if seen <= self.px(SEEN_MM) && hidden <= self.px(ALL_HIDDEN_MM) { seen } else { to - from }
    }

    /// Where a small sound begins and ends, of which most lies in columns `run`.
    pub(crate) fn small(&self, run: [usize; 2]) -> Extent {
        self.extent(run, SMALL_LEFT_MM)
    }

    fn extent(&self, run: [usize; 2], left_mm: f64) -> Extent {
        let left = left_mm * self.px_per_mm;
        let first = self.end([run[0], run[1]], left, false);
        let last = self.end([run[1], run[0]], left, true);
        Extent {
            columns: [first.column, last.column],
            ends: [first.exact, last.exact],
            doubt: [first.doubt, last.doubt],
            upright: [first.upright, last.upright],
        }
    }

    /// The end of a burst that is searched for from its `outer` column to its `inner` one: its
    /// right end or its left one. What is `left` pixels from the resting line has left it.
    fn end(&self, [outer, inner]: [usize; 2], left: f64, right: bool) -> End {
        let way: Vec<usize> =
            if right { (inner..=outer).rev().collect() } else { (outer..=inner).collect() };
        // The place from which on both sides were reached by what is high enough for a stroke.
        let highest = way.iter().map(|&n| self.most(n)).fold(0.0, f64::max);
        let low = (LOW_SHARE * highest).min(LOW_MM * self.px_per_mm).max(left);
        let reached = |side: usize| way.iter().position(|&n| self.sides[side][n] > low);
        let both = reached(0).unwrap_or(0).max(reached(1).unwrap_or(0)).min(way.len() - 1);
        // From there back to where the line rests.
        let count = self.open.len();
        let back = |from: usize, by: usize| {
            if right { Some(from + by).filter(|&n| n < count) } else { from.checked_sub(by) }
        };
        let inner = way[both];
        let [alone, far] = self.first_stroke(|by| back(inner, by), [left, low]);
        let column = back(inner, far).unwrap_or(inner);
        // Beyond it there is a stroke's beginning only where there is ink.
        let free = (1..).take_while(|&by| back(column, by).is_some_and(|n| self.open[n])).count();
        let inwards: Vec<usize> = (0..=self.px(SLOPE_MM))
            .filter_map(|by| if right { column.checked_sub(by) } else { Some(column + by) })
            .filter(|&n| n < count)
            .collect();
        let cut = back(column, 1).is_some_and(|n| self.hidden[n]);
        let high = self.most(column) / self.px_per_mm;
        let upright = !cut
            && (high > left / self.px_per_mm + UPRIGHT_MM
                || self.stands(&inwards, back(column, self.px(STANDS_MM))));
        let line = self
            .lines
            .iter()
            .map(|line| if right { line - column as f64 } else { column as f64 - line });
        let away = line.filter(|away| (0.0..ON_LINE_AWAY_MM * self.px_per_mm).contains(away));
        let continued = self.continued(&inwards);
        let on_line = away.min_by(f64::total_cmp).filter(|away| {
            cut && high > ON_LINE_MM && away - continued.max(0.0) < ONTO_MM * self.px_per_mm
        });
        let on = match on_line {
            Some(away) => away,
            None if upright => -self.half(),
            None => continued.min(free as f64),
        };
        let exact = if right { column as f64 + on } else { column as f64 - on };
        let doubt = (alone as f64 - DOUBT_MM * self.px_per_mm).max(0.0);
        End { column, exact, doubt, upright }
    }

    /// How far a burst's first stroke goes on from a place where both sides were reached, in
    /// columns: to where it is still higher than `low`, and to where it has left the resting
    /// line by no more than `left`. `back` gives the column that is so many farther out.
    fn first_stroke(
        &self,
        back: impl Fn(usize) -> Option<usize>,
        [left, low]: [f64; 2],
    ) -> [usize; 2] {
        let (mut far, mut near) = (0, 0);
        for by in 1..=self.px(ALONE_MM) {
            match back(by) {
                Some(n) if self.most(n) > low => (far, near) = (by, 0),
                Some(n) if self.hidden[n] || self.most(n) > left => {}
                Some(_) if near < self.px(PASSING_MM) => near += 1,
                _ => break,
            }
        }
        let alone = far;
        // Down its side; what rises again beside it, as an arrow's head does, is another thing.
        let mut least = back(far).map_or(0.0, |n| self.most(n));
        for by in far + 1..=far + self.px(SIDE_MM) {
            match back(by) {
                Some(n) if self.most(n) > left => {
                    if self.most(n) > least + WAIST_MM * self.px_per_mm {
                        break;
                    }
                    if self.most(n) <= least {
                        (far, least) = (by, self.most(n));
                    }
                }
                Some(n) if self.hidden[n] => {}
                _ => break,
            }
        }
        [alone, far]
    }

    /// Whether the ink at the first of `columns` comes out of the resting line at once, compared
    /// with a column `before` it, and then goes no higher, as that of a low upright stroke does.
    fn stands(&self, columns: &[usize], before: Option<usize>) -> bool {
        let near = self.px(STANDS_MM);
        let most =
            |over: usize| columns.iter().take(over + 1).map(|&n| self.most(n)).fold(0.0, f64::max);
        let rise = most(near) - before.map_or(0.0, |n| self.most(n));
        let more = most(2 * near) - most(near);
        rise > JUMP_MM * self.px_per_mm && more < LEVEL_MM * self.px_per_mm
    }

    /// How far before the first of `columns` a stroke that is followed along them left the resting
    /// line, in columns; less than none where it is upright, since its middle counts.
    fn continued(&self, columns: &[usize]) -> f64 {
        let Some(&first) = columns.first() else { return 0.0 };
        let half = self.half();
        let high = self.most(first);
        let over = self.px(SLOPE_MM).max(2);
        let mut far = high;
        for &n in columns.iter().take(over + 1) {
            far = far.max(self.most(n));
        }
        let slope = (far - high) / over as f64;
        if slope < 0.2 {
            return -half;
        }
        // The upper edge of a slanting stroke lies higher above its middle than half its width.
        let edge = half * (libm::sqrt(1.0 + slope * slope) - 1.0);
        ((high - edge) / slope).clamp(-half, CONTINUED_MM * self.px_per_mm)
    }
}

/// First and last row of the ink in each column, without what is written beside the resting line:
/// what stands apart from it on one side alone. But beside an alignment line, of which `cut`
/// tells, that may be what was cut off, and between a stroke's way there and back it is where the
/// stroke turns.
fn ends(
    runs: &[Vec<[usize; 2]>],
    base: &[f64],
    stroke: f64,
    px_per_mm: f64,
    cut: impl Fn(usize) -> bool,
) -> Vec<Option<[usize; 2]>> {
    let all = |x: usize| Some([runs[x].first()?[0], runs[x].last()?[1]]);
    let near = 0.5 * stroke.max(0.4 * px_per_mm);
    let resting = |x: usize| {
        let off = |[top, bottom]: [usize; 2]| {
            (top as f64 - base[x]).max(base[x] - bottom as f64).max(0.0)
        };
        let on = runs[x].iter().find(|&&run| off(run) <= near).copied();
        on.filter(|[top, bottom]| ((bottom - top) as f64) < 2.0 * stroke + 1.0)
    };
    // How far what is in a column reaches beyond its resting line, above and below.
    let beyond = |x: usize| {
        let ([top, bottom], [highest, lowest]) = (resting(x)?, all(x)?);
        Some([top - highest, lowest - bottom])
    };
    let mut ends: Vec<Option<[usize; 2]>> = (0..runs.len()).map(all).collect();
    for side in [0, 1] {
        let written = |x: usize| {
            let apart = |far: [usize; 2]| {
                far[1 - side] == 0 && far[side] as f64 > APART_FROM_MM * px_per_mm
            };
            beyond(x).is_some_and(apart) && !cut(x)
        };
        let written: Vec<bool> = (0..runs.len()).map(written).collect();
        let leaves = |x: usize| {
            let far = |[top, bottom]: [usize; 2]| {
                [base[x] - top as f64, bottom as f64 - base[x]][side] - stroke / 2.0
            };
            !written[x] && all(x).is_some_and(|ends| far(ends) > LEFT_MM * px_per_mm)
        };
        for stretch in stretches(&written) {
            let (before, after) = (stretch.start.checked_sub(1), stretch.end);
            let turns = (stretch.len() as f64) < WITHIN_MM * px_per_mm
                && before.is_some_and(leaves)
                && after < runs.len()
                && leaves(after);
            if !turns {
                stretch.for_each(|x| ends[x] = resting(x));
            }
        }
    }
    ends
}

/// Stretches of columns for which something holds.
fn stretches(holds: &[bool]) -> Vec<std::ops::Range<usize>> {
    let mut found: Vec<std::ops::Range<usize>> = Vec::new();
    for n in (0..holds.len()).filter(|&n| holds[n]) {
        match found.last_mut() {
            Some(last) if last.end == n => last.end = n + 1,
            _ => found.push(n..n + 1),
        }
    }
    found
}

/// The highest of the values within `near` of each place.
fn highest_near(values: &[f64], near: usize) -> Vec<f64> {
    (0..values.len())
        .map(|n| {
            let from = n.saturating_sub(near);
            let to = (n + near + 1).min(values.len());
            values[from..to].iter().copied().fold(0.0, f64::max)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const PX_PER_MM: f64 = 8.0;
    const REST: usize = 60;
    const STROKE: f64 = 4.0;
    const COLUMNS: usize = 400;

    /// The bursts of a panel in which what `drawn` says is inked, and the resting line before and
    /// after that, but for the columns that went with an alignment line at `line`.
    fn bursts(line: Option<[usize; 3]>, drawn: &dyn Fn(f64, f64) -> bool) -> Vec<Extent> {
        let gone = |x: usize| line.is_some_and(|[from, _, to]| (from..=to).contains(&x));
        let inked = |x: usize, y: usize| {
            let resting = y.abs_diff(REST) < 2 && !(100..=180).contains(&x);
            !gone(x) && (resting || drawn(x as f64, y as f64 - REST as f64))
        };
        let lines: Vec<f64> = line.iter().map(|[_, at, _]| *at as f64).collect();
        let size = [COLUMNS, 2 * REST];
        Reaches::of(size, REST as f64, STROKE, PX_PER_MM, inked, &lines, gone).bursts()
    }

    /// Two sides of an outline that goes up and down evenly between two columns.
    fn outline(from: f64, to: f64, high: f64) -> impl Fn(f64, f64) -> bool {
        move |x, y| {
            let half = (to - from) / 2.0;
            let far = high * (1.0 - (x - from - half).abs() / half);
            (from..=to).contains(&x) && (y.abs() - far).abs() < STROKE / 2.0 + 0.5
        }
    }

    /// Distance in millimetres.
    fn off(column: f64, from: f64) -> f64 {
        (column - from).abs() / PX_PER_MM
    }

    #[test]
    fn an_outline_begins_under_the_line_that_took_its_corner() {
        for [from, at, to] in [[97, 102, 107], [94, 98, 102], [98, 104, 112]] {
            let found = bursts(Some([from, at, to]), &outline(100.0, 180.0, 40.0));
            let [one] = &found[..] else { panic!("{found:?}") };
            let told = format!("line {from} to {to}: {one:?}");
            assert!(off(one.ends[0], 100.0) < 0.6, "{told}");
            assert!(off(one.ends[1], 180.0) < 0.4, "{told}");
        }
    }

    #[test]
    fn a_steep_stroke_that_went_with_a_line_began_on_it() {
        // Up along the line, down across the resting line, and back.
        const ALONG: [[f64; 2]; 5] =
            [[100.0, 0.0], [104.0, -50.0], [116.0, 50.0], [128.0, -40.0], [136.0, 0.0]];
        let found = bursts(Some([96, 101, 107]), &zigzag(&ALONG));
        let [one] = &found[..] else { panic!("{found:?}") };
        assert!(off(one.ends[0], 100.0) < 0.4, "{one:?}");
        assert!(off(one.ends[1], 136.0) < 0.4, "{one:?}");
    }

    #[test]
    fn what_is_left_of_a_dotted_line_is_no_stroke() {
        // Dots of a line that was not taken out whole, before an outline of its own.
        let both = |x: f64, y: f64| {
            let dot = (90.0..94.0).contains(&x) && (y.abs() - 20.0).abs() < 3.0;
            dot || outline(102.0, 180.0, 40.0)(x, y)
        };
        let lines = [92.0];
        let inked =
            |x: usize, y: usize| y.abs_diff(REST) < 2 || both(x as f64, y as f64 - REST as f64);
        let size = [COLUMNS, 2 * REST];
        let reaches = Reaches::of(size, REST as f64, STROKE, PX_PER_MM, inked, &lines, |_| false);
        let found = reaches.bursts();
        let [one] = &found[..] else { panic!("{found:?}") };
        assert!(off(one.ends[0], 102.0) < 0.4, "{one:?}");
    }

    #[test]
    fn a_small_sound_begins_with_its_first_small_stroke() {
        let hatched = |x: f64, y: f64| {
            let far = [5.0, 5.0, 6.0, 9.0, 9.0, 6.0, 5.0, 5.0];
            let strokes: Vec<(f64, f64)> =
                (0..).map(|n| 100.0 + 5.0 * f64::from(n)).zip(far).collect();
            strokes.iter().any(|(at, far)| (x - at).abs() < 2.0 && y.abs() < *far)
        };
        let found = bursts(None, &hatched);
        let [one] = &found[..] else { panic!("{found:?}") };
        assert!(off(one.ends[0], 100.0) < 1.0, "{one:?}");
        assert!(off(one.ends[1], 135.0) < 1.0, "{one:?}");
    }

    /// A line through places, column and distance from the resting line, as a zigzag is drawn.
    fn zigzag(at: &'static [[f64; 2]]) -> impl Fn(f64, f64) -> bool {
        |x, y| {
            at.windows(2).any(|two| {
                let [[x0, y0], [x1, y1]] = [two[0], two[1]];
                let share = (x - x0) / (x1 - x0);
                let slope = (y1 - y0).abs() / (x1 - x0);
                (0.0..=1.0).contains(&share)
                    && (y - (y0 + share * (y1 - y0))).abs() < slope.max(STROKE / 2.0)
            })
        }
    }

    const STEEP: [[f64; 2]; 6] =
        [[100.0, 0.0], [106.0, -50.0], [118.0, 60.0], [130.0, -50.0], [142.0, 40.0], [148.0, 0.0]];

    #[test]
    fn an_arrow_that_points_at_a_burst_is_no_part_of_it() {
        // Its head is a low thing to both sides, as wide as a stroke's way there and back.
        let head =
            |x: f64, y: f64| (88.0..99.0).contains(&x) && y.abs() < (99.0 - x).min(x - 84.0) + 1.0;
        let found = bursts(None, &|x, y| head(x, y) || zigzag(&STEEP)(x, y));
        let [one] = &found[..] else { panic!("{found:?}") };
        assert!(off(one.ends[0], 100.0) < 0.4, "{one:?}");
        assert!(off(one.ends[1], 148.0) < 0.4, "{one:?}");
    }

    #[test]
    fn a_first_stroke_turns_above_a_resting_line_that_is_drawn_through() {
        let drawn = |x: f64, y: f64| {
            let resting = (100.0..150.0).contains(&x) && y.abs() < 2.0;
            let comes_from_there = x > 111.0 || y < 2.0;
            resting || comes_from_there && zigzag(&STEEP)(x, y)
        };
        let found = bursts(None, &drawn);
        let [one] = &found[..] else { panic!("{found:?}") };
        assert!(off(one.ends[0], 100.0) < 0.4, "{one:?}");
        assert!(off(one.ends[1], 148.0) < 0.4, "{one:?}");
    }

    #[test]
    fn an_outline_may_lie_to_one_side_of_its_resting_line() {
        // One of its sides is on the resting line where the other one has left it.
        let found = bursts(None, &|x, y| outline(100.0, 180.0, 30.0)(x, y - 8.0));
        let [one] = &found[..] else { panic!("{found:?}") };
        assert!(off(one.ends[0], 100.0) < 1.0, "{one:?}");
        assert!(off(one.ends[1], 180.0) < 1.0, "{one:?}");
    }

    #[test]
    fn a_burst_does_not_begin_on_a_line_with_paper_in_between() {
        let strokes = |x: f64| (0..5).any(|n| (x - 112.0 - 9.0 * f64::from(n)).abs() < 2.0);
        let inked = |x: usize, y: usize| strokes(x as f64) && y.abs_diff(REST) < 40;
        let lined = |x: usize| (96..=104).contains(&x);
        let size = [COLUMNS, 2 * REST];
        let reaches = Reaches::of(size, REST as f64, STROKE, PX_PER_MM, inked, &[100.0], lined);
        let found = reaches.bursts();
        let [one] = &found[..] else { panic!("{found:?}") };
        assert!(off(one.ends[0], 112.0) < 0.3, "{one:?}");
    }

    #[test]
    fn a_burst_goes_on_behind_a_line_that_hides_strokes_of_it() {
        // A wide line, drawn twice, over the middle of a hatching.
        let strokes = |x: f64| (0..8).any(|n| (x - 100.0 - 9.0 * f64::from(n)).abs() < 2.0);
        let gone = |x: usize| (121..=141).contains(&x);
        let inked = |x: usize, y: usize| {
            !gone(x) && (y.abs_diff(REST) < 2 || strokes(x as f64) && y.abs_diff(REST) < 30)
        };
        let size = [COLUMNS, 2 * REST];
        let lines = [126.0, 136.0];
        let reaches = Reaches::of(size, REST as f64, STROKE, PX_PER_MM, inked, &lines, gone);
        let found = reaches.bursts();
        let [one] = &found[..] else { panic!("{found:?}") };
        assert!(off(one.ends[0], 100.0) < 0.3, "{one:?}");
        assert!(off(one.ends[1], 163.0) < 0.3, "{one:?}");
    }
}
