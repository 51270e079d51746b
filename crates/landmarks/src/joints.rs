//! Where a curve turns: the joints between its rises, falls and level stretches.

use crate::curve::Grid;

/// How a curve goes on one side of a joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Way {
    Rise,
    Fall,
    Level,
}

/// A place where the curve changes its way.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Joint {
    pub(crate) time_s: f64,
    pub(crate) value: f64,
    pub(crate) before: Way,
    pub(crate) after: Way,
    /// How far the curve moves in one go on either side.
    pub(crate) moves: [f64; 2],
    /// Steepest slope on either side, per second.
    pub(crate) steep: [f64; 2],
    /// How well its time is known, seconds.
    pub(crate) spread_s: f64,
    /// Where the tangent of the steepest rise after it meets its level.
    pub(crate) tangent_s: f64,
    /// Where the curve has come to its value, but for noise.
    pub(crate) reached_s: f64,
    /// All movement of the curve up to here, small turns left out.
    pub(crate) travelled: f64,
}

/// A stretch that rises or falls in one go.
#[derive(Clone, Copy, Debug)]
struct Lobe {
    up: bool,
    start: usize,
    end: usize,
    steepest: usize,
    slope: f64,
    moves: f64,
    edges: [f64; 2],
    spreads: [f64; 2],
}

/// Two lobes are two where the slope between them falls below this share of both.
const VALLEY: f64 = 0.3;
/// Where the slope is less than this share of its lobe's steepest, the lobe is over.
const OVER: f64 = 0.1;
/// A level stretch lasts at least this long, seconds.
const LEVEL_S: f64 = 0.007;
/// So many standard deviations of noise lie between the beginning of a level stretch and its level.
const LEVEL_NOISE: f64 = 2.0;
/// The top of a turn is no more than this share of the lesser movement beside it.
const TURN_SHARE: f64 = 0.3;
/// How many times as far one side of a turn's top may lie from it as the other.
const LOPSIDED: f64 = 3.0;

/// The least movement that counts.
pub(crate) fn least(grid: &Grid) -> f64 {
    (4.0 * grid.grain).max(0.0015 * grid.height)
}

/// All joints of a curve, in the order of time.
pub(crate) fn joints(grid: &Grid) -> Vec<Joint> {
    let least = least(grid);
    let turns = turns(&grid.smooth, least);
    let mut joints: Vec<Joint> = Vec::new();
    let mut last: Option<(Lobe, usize)> = None;
    let mut travelled = 0.0;
    for pair in turns.windows(2) {
        let lobes = lobes(grid, pair[0], pair[1], least);
        for (place, lobe) in lobes.iter().enumerate() {
            let (before, turn) = match (place, &last) {
                (0, None) => (None, None),
                (0, Some((lobe, _))) => (Some(*lobe), Some(pair[0])),
                _ => (Some(lobes[place - 1]), None),
            };
            let travelled_at =
                |index: usize| travelled + (grid.smooth[index] - grid.smooth[pair[0]]).abs();
            between(grid, before, Some(*lobe), turn, travelled_at(lobe.start), &mut joints);
        }
        travelled += (grid.smooth[pair[1]] - grid.smooth[pair[0]]).abs();
        if let Some(lobe) = lobes.last() {
            last = Some((*lobe, pair[1]));
        }
    }
    if let Some((lobe, _)) = last {
        between(grid, Some(lobe), None, None, travelled, &mut joints);
    }
    joints.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    joints
}

/// Indices of the first sample, of every turning point that stands out by `least`, and of the
/// last sample.
pub(crate) fn turns(values: &[f64], least: f64) -> Vec<usize> {
    let mut turns = vec![0];
    let (mut high, mut low) = (0, 0);
    let mut up: Option<bool> = None;
    for index in 1..values.len() {
        if values[index] > values[high] {
            high = index;
        }
        if values[index] < values[low] {
            low = index;
        }
        if up != Some(false) && values[high] - values[index] >= least {
            if high > 0 {
                turns.push(high);
            }
            (up, low, high) = (Some(false), index, index);
        } else if up != Some(true) && values[index] - values[low] >= least {
            if low > 0 {
                turns.push(low);
            }
            (up, low, high) = (Some(true), index, index);
        }
    }
    let extreme = match up {
        Some(true) => high,
        Some(false) => low,
        None => values.len() - 1,
    };
    if turns.last() != Some(&extreme) {
        turns.push(extreme);
    }
    if turns.last() != Some(&(values.len() - 1)) {
        turns.push(values.len() - 1);
    }
    turns
}

/// The lobes of one flank, which runs from turning point to turning point.
fn lobes(grid: &Grid, from: usize, to: usize, least: f64) -> Vec<Lobe> {
    let up = grid.smooth[to] > grid.smooth[from];
    let sign = if up { 1.0 } else { -1.0 };
    let floor = least / 0.04;
    let log = |index: usize| libm::log((sign * grid.slope[index]).max(floor));
    let logs: Vec<f64> = (from..=to).map(log).collect();
    let turning = turns(&logs, -libm::log(VALLEY));
    let mut found = Vec::new();
    for (place, &at) in turning.iter().enumerate() {
        let before = place.checked_sub(1).map(|before| &turning[before]);
        let rises = before.is_none_or(|&before| logs[before] < logs[at]);
        // The last two slopes of a curve are one and the same.
        let falls = turning.get(place + 1).is_none_or(|&after| logs[after] <= logs[at]);
        if !rises || !falls {
            continue;
        }
        let bounds = [
            before.map_or(from, |&index| from + index),
            turning.get(place + 1).map_or(to, |&index| from + index),
        ];
        found.extend(lobe(grid, up, bounds, from + at, least));
    }
    found
}

fn lobe(grid: &Grid, up: bool, bounds: [usize; 2], steepest: usize, least: f64) -> Option<Lobe> {
    let sign = if up { 1.0 } else { -1.0 };
    let slope = sign * grid.slope[steepest];
    let over = |index: usize| sign * grid.slope[index] < OVER * slope;
    let start = (bounds[0]..steepest).rev().find(|&index| over(index)).unwrap_or(bounds[0]);
    let end = (steepest..=bounds[1]).find(|&index| over(index)).unwrap_or(bounds[1]);
    let moves = sign * (grid.smooth[end] - grid.smooth[start]);
    if moves < least {
        return None;
    }
    let near = edge(grid, start, end, bounds[0]);
    let far = edge(grid, end, start, bounds[1]);
    Some(Lobe {
        up,
        start,
        end,
        steepest,
        slope,
        moves,
        edges: [near.0, far.0],
        spreads: [near.1, far.1],
    })
}

/// Where a lobe leaves its level at `base`, and how well that is known, in seconds.
///
/// A wave begins like a parabola, as half a cosine does: the arc sine of the root of its height
/// grows in proportion to time, so the line through that is followed back to height nothing.
fn edge(grid: &Grid, base: usize, top: usize, bound: usize) -> (f64, f64) {
    let forward = top > base;
    let level = level_beside(grid, base, bound);
    let height = grid.smooth[top] - level;
    let share = |index: usize| (grid.light[index] - level) / height;
    let low = (3.0 * grid.light_grain / height.abs()).clamp(0.04, 0.3);
    let high = low + (12.0 * grid.light_grain / height.abs()).clamp(0.1, 0.4);
    let path: Vec<usize> =
        if forward { (base..=top).collect() } else { (top..=base).rev().collect() };
    let half = path.iter().position(|&index| share(index) >= high).unwrap_or(path.len() - 1);
    let half = half.max(5.min(path.len() - 1));
    let mut points: Vec<[f64; 2]> = Vec::new();
    for &index in path[..=half].iter().rev() {
        let share = share(index);
        if share < low {
            break;
        }
        points.push([libm::asin(share.min(1.0).sqrt()), grid.time_s(index as f64)]);
    }
    let nearest = grid.time_s(base as f64);
    if points.len() < 3 {
        return (nearest, grid.resolution_s + 2.0 * grid.step_s);
    }
    let count = points.len() as f64;
    let mean = points.iter().fold([0.0, 0.0], |sum, p| [sum[0] + p[0], sum[1] + p[1]]);
    let mean = mean.map(|sum| sum / count);
    let across: f64 = points.iter().map(|p| (p[0] - mean[0]) * (p[0] - mean[0])).sum();
    let along: f64 = points.iter().map(|p| (p[0] - mean[0]) * (p[1] - mean[1])).sum();
    let time_s = mean[1] - along / across.max(1e-12) * mean[0];
    let bound_s = grid.time_s(bound as f64);
    let time_s = if forward { time_s.max(bound_s) } else { time_s.min(bound_s) };
    // The foot of a parabola is found as well as noise lets its height be told.
    let blur = (along / across.max(1e-12)).abs() * (grid.grain / height.abs()).sqrt();
    (time_s, grid.resolution_s.max(0.5 * blur))
}

/// The level just outside a lobe.
fn level_beside(grid: &Grid, base: usize, bound: usize) -> f64 {
    let reach = (0.02 / grid.step_s) as usize;
    let (from, to) = if bound <= base {
        (bound.max(base.saturating_sub(reach)), base)
    } else {
        (base, bound.min(base + reach))
    };
    // The half that is farther from the lobe has none of its foot.
    let middle = usize::midpoint(from, to);
    let (from, to) = if bound <= base { (from, middle) } else { (middle, to) };
    grid.smooth[from..=to].iter().sum::<f64>() / (to - from + 1) as f64
}

/// Adds the joints between two lobes.
fn between(
    grid: &Grid,
    before: Option<Lobe>,
    after: Option<Lobe>,
    turn: Option<usize>,
    travelled: f64,
    joints: &mut Vec<Joint>,
) {
    let way = |lobe: Option<Lobe>| match lobe {
        Some(Lobe { up: true, .. }) => Way::Rise,
        Some(_) => Way::Fall,
        None => Way::Level,
    };
    // Where the curve begins or ends on its way, it is not known to have been level.
    let cut = |time_s: f64| time_s - grid.start_s < LEVEL_S || grid.end_s() - time_s < LEVEL_S;
    let joint = |time_s: f64, before: Option<Lobe>, after: Option<Lobe>, spread_s: f64| Joint {
        time_s,
        value: grid.at(time_s),
        before: way(before),
        after: way(after),
        moves: [before, after].map(|lobe| lobe.map_or(0.0, |lobe| lobe.moves)),
        steep: [before, after].map(|lobe| lobe.map_or(0.0, |lobe| lobe.slope)),
        spread_s,
        tangent_s: after.map_or(time_s, |lobe| tangent_foot(grid, lobe, time_s)),
        reached_s: reached(grid, time_s, before),
        travelled,
    };
    let (Some(first), Some(second)) = (before, after) else {
        if let Some(lobe) = before {
            let after = before.filter(|_| cut(lobe.edges[1]));
            joints.push(joint(lobe.edges[1], before, after, lobe.spreads[1]));
        }
        if let Some(lobe) = after {
            let before = after.filter(|_| cut(lobe.edges[0]));
            joints.push(joint(lobe.edges[0], before, after, lobe.spreads[0]));
        }
        return;
    };
    let gap_s = second.edges[0] - first.edges[1];
    let apart = gap_s > LEVEL_S.max(2.0 * grid.resolution_s);
    if apart {
        joints.push(joint(first.edges[1], before, None, first.spreads[1]));
        joints.push(joint(second.edges[0], None, after, second.spreads[0]));
    }
    let middle_s = match turn {
        Some(turn) => extreme(grid, turn, first.moves.min(second.moves)),
        None => grid.time_s(usize::midpoint(first.end, second.start) as f64),
    };
    let spread_s = match turn {
        Some(turn) => top_width(grid, turn),
        None => grid.resolution_s + 0.25 * gap_s.abs(),
    };
    joints.push(joint(middle_s, before, after, spread_s));
}

/// Time of a turning point: halfway between the places on either side at which the curve is off it
/// by its noise, since where a flat turn is highest is up to chance. Where the one is much farther
/// away than the other, the extremum by the parabola through its neighbours.
fn extreme(grid: &Grid, turn: usize, moves: f64) -> f64 {
    let values = &grid.smooth;
    if turn == 0 || turn + 1 >= values.len() {
        return grid.time_s(turn as f64);
    }
    let (a, b, c) = (values[turn - 1], values[turn], values[turn + 1]);
    let bend = a - 2.0 * b + c;
    let trough = bend > 0.0;
    let off = grid.noise.min(TURN_SHARE * moves);
    let level = if trough { b + off } else { b - off };
    let from = grid.last_before(turn, level, trough);
    if let Some((from, to)) = from.zip(grid.first_after(turn, level, trough)) {
        let (before, after) = (turn as f64 - from, to - turn as f64);
        if before.max(after) < LOPSIDED * before.min(after) {
            return grid.time_s(f64::midpoint(from, to));
        }
    }
    let shift = if bend == 0.0 { 0.0 } else { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) };
    grid.time_s(turn as f64 + shift)
}

/// When the curve comes to where it is at `time_s` on the way that it goes in the lobe before: of a
/// level stretch the beginning, however it wavers. A lobe ends like a parabola, so that is as long
/// after it is near its level as that is after it was four times as far away.
fn reached(grid: &Grid, time_s: f64, before: Option<Lobe>) -> f64 {
    let Some(lobe) = before.filter(|_| !grid.is_noiseless()) else { return time_s };
    let at = |noise: f64| {
        let level = grid.at(time_s) + if lobe.up { -noise } else { noise };
        grid.last_before(grid.index(time_s), level, !lobe.up)
    };
    let near = LEVEL_NOISE * grid.noise;
    let Some((near, far)) = at(near).zip(at(4.0 * near)) else { return time_s };
    grid.time_s(2.0 * near - far).min(time_s)
}

/// Half the time for which a turning point cannot be told from its neighbours.
fn top_width(grid: &Grid, turn: usize) -> f64 {
    let same = |index: &usize| {
        (grid.smooth[*index] - grid.smooth[turn]).abs() <= grid.grain.max(1e-4 * grid.height)
    };
    let left = (0..turn).rev().take_while(same).count();
    let right = (turn + 1..grid.smooth.len()).take_while(same).count();
    (0.5 * (left + right) as f64 * grid.step_s).max(grid.resolution_s)
}

fn tangent_foot(grid: &Grid, lobe: Lobe, low_s: f64) -> f64 {
    let sign = if lobe.up { 1.0 } else { -1.0 };
    let rise = sign * (grid.smooth[lobe.steepest] - grid.at(low_s));
    grid.time_s(lobe.steepest as f64) - rise / lobe.slope.max(1e-12)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Curve;

    /// A curve of 500 points a second that wavers as a hand does, by a hundredth.
    fn grid(value: impl Fn(f64) -> f64) -> Grid {
        let waver = |time_s: f64| 0.01 * libm::sin(190.0 * time_s) * libm::cos(77.0 * time_s);
        let point = |index: i32| {
            let time_s = f64::from(index) / 500.0;
            [time_s, value(time_s) + waver(time_s)]
        };
        let curve = Curve {
            channel: "lv_volume".to_owned(),
            points: (0..500).map(point).collect(),
            unknown: Vec::new(),
            noise: 0.01,
            resolution_s: 0.002,
            form: crate::Form::Line,
            bursts: Vec::new(),
        };
        Grid::new(&curve).unwrap()
    }

    fn half_cosine(share: f64) -> f64 {
        0.5 - 0.5 * libm::cos(std::f64::consts::PI * share.clamp(0.0, 1.0))
    }

    #[test]
    fn a_level_stretch_that_wavers_is_reached_where_it_begins() {
        // It rises until 0.3 s, and by half its noise once more as it is held.
        for late_s in [0.34, 0.38, 0.42] {
            let held = |time_s: f64| {
                half_cosine(time_s / 0.3) + 0.005 * half_cosine((time_s - late_s) / 0.04)
                    - half_cosine((time_s - 0.6) / 0.2)
            };
            let joints = joints(&grid(held));
            let rises = |joint: &&Joint| joint.before == Way::Rise && joint.time_s < 0.6;
            let last = joints.iter().rev().find(rises).unwrap();
            let off = last.reached_s - 0.3;
            assert!(off.abs() < 0.025, "{late_s}: {off} of {last:?}");
        }
    }

    #[test]
    fn a_broad_turn_is_in_the_middle_of_its_bottom() {
        let trough = |time_s: f64| {
            let off = (time_s - 0.5) / 0.4;
            off * off * off * off
        };
        let joints = joints(&grid(trough));
        let lowest = joints.iter().min_by(|a, b| a.value.total_cmp(&b.value)).unwrap();
        assert_eq!((lowest.before, lowest.after), (Way::Fall, Way::Rise));
        assert!((lowest.time_s - 0.5).abs() < 0.01, "{lowest:?}");
    }
}
