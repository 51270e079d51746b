//! The way of a pen along a trace.

use cycle::{StrokeKind, Trace};

use crate::chance::{Chance, Wander};
use crate::curve::{Monotone, ease};
use crate::form::Panel;
use crate::intent::{ChannelIntent, Knot};
use crate::student::{Skill, SoundStyle};

/// A place on the way, in millimetres on the page, and the knot that it is.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Vertex {
    pub(crate) at: [f64; 2],
    pub(crate) knot: Option<usize>,
}

/// Distance of neighbouring places on a way, in millimetres.
pub(crate) const STEP_MM: f64 = 0.1;

/// The way as it is meant, from one side of the panel to the other.
pub(crate) fn meant(panel: &Panel, trace: &Trace, knots: &[Knot]) -> Vec<Vertex> {
    let map = panel.map();
    let x = |time_s: f64| map.x(time_s);
    let (left, right) = (x(panel.time_start_s), x(panel.time_end_s));
    let mut warp = Vec::new();
    let close =
        |knot: Option<&Knot>, end: f64| knot.is_some_and(|k| (x(k.time_s) - end).abs() < 0.05);
    if !close(knots.first(), left) {
        warp.push([left, panel.time_start_s]);
    }
    warp.extend(knots.iter().map(|knot| [x(knot.time_s), knot.was_s]));
    if !close(knots.last(), right) {
        warp.push([right, panel.time_end_s]);
    }
    let back = Monotone::new(warp);
    let last_s = trace.time_s(trace.samples.len().saturating_sub(1));
    let value = |x: f64| {
        let time_s = back.at(x).clamp(trace.start_s, last_s);
        trace.at(time_s).unwrap_or_default()
    };
    // Between two turns of a trace a higher or lower one is drawn higher or lower throughout.
    let stretched: Vec<Option<f64>> = knots
        .windows(2)
        .map(|pair| {
            let (a, b) = (&pair[0], &pair[1]);
            let (from, to) = (x(a.time_s), x(b.time_s));
            let beyond = 0.01 * (b.was - a.was).abs();
            let (low, high) = (a.was.min(b.was) - beyond, a.was.max(b.was) + beyond);
            let steps = 40;
            let straight = (0..=steps).all(|step| {
                let value = value(from + (to - from) * f64::from(step) / f64::from(steps));
                (low..=high).contains(&value)
            });
            let factor = (b.value - a.value) / (b.was - a.was);
            (straight && (0.1..=10.0).contains(&factor)).then_some(factor)
        })
        .collect();
    let height = |at: f64| {
        let after = knots.partition_point(|knot| x(knot.time_s) <= at);
        let before = after.checked_sub(1).and_then(|index| knots.get(index));
        match (before, knots.get(after)) {
            (Some(a), Some(b)) => {
                let share = (at - x(a.time_s)) / (x(b.time_s) - x(a.time_s));
                let eased = ease(share);
                if a.bridge {
                    a.value + eased * (b.value - a.value)
                } else if let Some(factor) = stretched[after - 1] {
                    a.value + factor * (value(at) - a.was)
                } else {
                    let [from, to] = [a, b].map(|knot| knot.value - knot.was);
                    value(at) + from + eased * (to - from)
                }
            }
            (Some(a), None) if a.bridge => {
                let share = (at - x(a.time_s)) / (right - x(a.time_s)).max(1e-9);
                a.value + ease(share) * (value(right) - a.value)
            }
            (Some(only), None) | (None, Some(only)) => value(at) + only.value - only.was,
            (None, None) => value(at),
        }
    };
    let mut dense: Vec<Vertex> = Vec::new();
    let steps = ((right - left) / (STEP_MM / 2.0)).round() as usize;
    for step in 0..=steps {
        let at = left + (right - left) * step as f64 / steps as f64;
        dense.push(Vertex { at: [at, map.y(height(at))], knot: None });
    }
    for (index, knot) in knots.iter().enumerate() {
        let at = x(knot.time_s);
        let place = dense.partition_point(|vertex| vertex.at[0] < at);
        dense.insert(place, Vertex { at: [at, map.y(knot.value)], knot: Some(index) });
    }
    evenly(&dense)
}

/// The same way with places [`STEP_MM`] apart; knots stay.
fn evenly(dense: &[Vertex]) -> Vec<Vertex> {
    let mut way: Vec<Vertex> = Vec::new();
    for pair in dense.windows(2) {
        let [a, b] = [pair[0].at, pair[1].at];
        let last = way.last().map_or([f64::NEG_INFINITY, 0.0], |vertex| vertex.at);
        if pair[0].knot.is_some() || libm::hypot(a[0] - last[0], a[1] - last[1]) >= STEP_MM {
            way.push(pair[0]);
        }
        let length = libm::hypot(b[0] - a[0], b[1] - a[1]);
        let parts = (length / STEP_MM).floor() as usize;
        for part in 1..parts {
            let share = part as f64 / parts as f64;
            let at = [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])];
            way.push(Vertex { at, knot: None });
        }
    }
    way.extend(dense.last());
    way
}

/// What a hand makes of a way: one for each trace.
#[derive(Clone, Debug)]
pub(crate) struct Motor {
    skill: Skill,
    drift: [Wander; 2],
    tremor: [Wander; 2],
}

impl Motor {
    pub(crate) fn new(skill: Skill, chance: &mut Chance) -> Self {
        let mut pair = |size: f64, lengths: [f64; 2]| {
            [Wander::new(chance, size, lengths), Wander::new(chance, size, lengths)]
        };
        // At 20 to 40 mm a second, 8 to 12 Hz are 2 to 5 mm of the way.
        let drift = pair(skill.drift_mm, [25.0, 120.0]);
        Self { skill, drift, tremor: pair(skill.tremor_mm, [2.0, 5.0]) }
    }

    /// The way as it comes out. What drifts is the hand as it moves across the page, what
    /// trembles is the pen along its way. A trace never turns back in time.
    pub(crate) fn draw(&self, way: &mut [Vertex], forward: bool) {
        round(way, self.skill.rounding_mm);
        self.overshoot(way);
        let mut along = 0.0;
        let mut before = way.first().map_or([0.0; 2], |vertex| vertex.at);
        let mut reached = f64::NEG_INFINITY;
        for vertex in way {
            let at = vertex.at;
            along += libm::hypot(at[0] - before[0], at[1] - before[1]);
            before = at;
            for (axis, at) in vertex.at.iter_mut().enumerate() {
                *at += self.drift[axis].at(before[0]) + self.tremor[axis].at(along);
            }
            if forward {
                vertex.at[0] = vertex.at[0].max(reached);
                reached = vertex.at[0];
            }
        }
    }

    /// Draws sharp turns up or down out beyond where they are meant.
    fn overshoot(&self, way: &mut [Vertex]) {
        if self.skill.overshoot_mm <= 0.0 {
            return;
        }
        let reach = (1.2 / STEP_MM) as usize;
        let turns: Vec<(usize, f64)> = (reach..way.len().saturating_sub(reach))
            .filter(|&index| way[index].knot.is_some())
            .filter_map(|index| {
                let rise = |other: usize| way[other].at[1] - way[index].at[1];
                let (before, after) = (rise(index - reach), rise(index + reach));
                let least = before.abs().min(after.abs());
                (before * after > 0.0 && least > 0.7).then(|| (index, -before.signum()))
            })
            .collect();
        for (index, side) in turns {
            for (step, vertex) in way[index - reach..=index + reach].iter_mut().enumerate() {
                let far = (step as f64 - reach as f64) * STEP_MM / 0.5;
                vertex.at[1] += side * self.skill.overshoot_mm * libm::exp(-far * far);
            }
        }
    }
}

/// Rounds corners by averaging over about `radius` to both sides.
fn round(way: &mut [Vertex], radius: f64) {
    let reach = (radius / STEP_MM).round() as usize;
    if reach == 0 || way.len() < 2 {
        return;
    }
    let old: Vec<[f64; 2]> = way.iter().map(|vertex| vertex.at).collect();
    for (index, vertex) in way.iter_mut().enumerate() {
        // Narrower towards the ends, so that they stay.
        let reach = reach.min(index).min(old.len() - 1 - index);
        let part = &old[index - reach..=index + reach];
        for (axis, at) in vertex.at.iter_mut().enumerate() {
            *at = part.iter().map(|point| point[axis]).sum::<f64>() / part.len() as f64;
        }
    }
}

/// How far from its knot a turn is looked for, in millimetres of the way.
const TURN_MM: f64 = 1.5;

/// Where on a drawn way the knot at `index` is: the turn back beside it, if there is one.
///
/// Whoever draws a peak draws a peak, and where its highest place comes to lie is where the
/// peak is. Where the way does not turn the knot is where it is.
pub(crate) fn place_of(way: &[Vertex], index: usize) -> usize {
    let reach = (TURN_MM / STEP_MM) as usize;
    let (from, to) = (index.saturating_sub(reach), (index + reach).min(way.len() - 1));
    // What trembles within a millimetre makes no turn.
    let half = (0.3 / STEP_MM) as usize;
    let level = |at: usize| {
        let (low, high) = (at.saturating_sub(half), (at + half).min(way.len() - 1));
        way[low..=high].iter().map(|v| v.at[1]).sum::<f64>() / (high - low + 1) as f64
    };
    let levels: Vec<f64> = (from..=to).map(level).collect();
    let (first, last) = (levels[0], levels[levels.len() - 1]);
    for sign in [1.0, -1.0] {
        let most =
            (0..levels.len()).max_by(|&a, &b| (sign * levels[a]).total_cmp(&(sign * levels[b])));
        let Some(most) = most else { continue };
        let clear = |end: f64| sign * (levels[most] - end) > 0.15;
        if clear(first) && clear(last) {
            let near = (from + most).saturating_sub(half)..=(from + most + half).min(way.len() - 1);
            let height = |at: usize| sign * way[at].at[1];
            return near.max_by(|&a, &b| height(a).total_cmp(&height(b))).unwrap_or(index);
        }
    }
    index
}

/// A turn of a trace that is its highest place, or its lowest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Turn {
    Peak,
    Trough,
    /// The beginning of a rise.
    Foot,
}

/// A place beside a landmark that is so much higher, or lower, in millimetres, is the landmark; a
/// rise that begins by so much lower begins there.
const PASSED_MM: f64 = 0.5;
const LOWER_MM: f64 = 3.0;

/// Where a turn is that was meant at `place`, between the landmarks before and after it.
///
/// A mistake may have made another place higher: then that is what everybody takes for the peak.
/// The slope that leads up to a higher landmark beside it is none.
pub(crate) fn passed(way: &[Vertex], [before, place, after]: [usize; 3], turn: Turn) -> usize {
    let (up, least) = match turn {
        Turn::Peak => (true, PASSED_MM),
        Turn::Trough => (false, PASSED_MM),
        Turn::Foot => (false, LOWER_MM),
    };
    let height = |at: &usize| if up { -way[*at].at[1] } else { way[*at].at[1] };
    let lowest = |a: &usize, b: &usize| height(a).total_cmp(&height(b));
    let from = (before..=place).min_by(lowest).unwrap_or(place);
    let to = (place..=after).min_by(lowest).unwrap_or(place);
    let most = (from..=to).max_by(lowest).unwrap_or(place);
    if height(&most) - height(&place) > least { most } else { place }
}

/// A burst about its baseline, as it is meant.
#[derive(Clone, Debug)]
pub(crate) struct Burst {
    /// Knots of the landmarks at which it swells anew, in millimetres from the left; the
    /// first is its onset.
    pub(crate) starts: Vec<(f64, Vec<usize>)>,
    /// Where it ends, and that landmark.
    pub(crate) end: (f64, Option<usize>),
    /// Height above the baseline in millimetres.
    pub(crate) height: f64,
}

/// The bursts of a channel from left to right.
pub(crate) fn bursts(panel: &Panel, intent: &ChannelIntent, strokes: &[&StrokeKind]) -> Vec<Burst> {
    let map = panel.map();
    let mut found = Vec::new();
    let last = intent.knots.iter().map(|knot| knot.beat).max().unwrap_or(0);
    for beat in 0..=last {
        for stroke in strokes {
            let mut own: Vec<(usize, &Knot)> = intent
                .knots
                .iter()
                .enumerate()
                .filter(|(_, knot)| knot.beat == beat)
                .filter(|(_, knot)| {
                    knot.name.as_ref().is_some_and(|n| stroke.landmarks.contains(n))
                })
                .collect();
            own.sort_by(|a, b| a.1.time_s.total_cmp(&b.1.time_s));
            let Some(&(_, first)) = own.first() else { continue };
            let is_end = |knot: &Knot| {
                stroke.landmarks.len() > 1 && knot.name.as_ref() == stroke.landmarks.last()
            };
            let length = stroke.burst.map_or(0.05, |burst| burst.length_ms / 1000.0);
            let end = own.iter().find(|(_, knot)| is_end(knot));
            let end_s = end.map_or(first.time_s + length, |(_, knot)| knot.time_s);
            let mut starts: Vec<(f64, Vec<usize>)> = Vec::new();
            for (index, knot) in own.iter().filter(|(_, knot)| !is_end(knot)) {
                let x = map.x(knot.time_s);
                match starts.last_mut() {
                    Some((before, knots)) if x - *before < 1.0 => knots.push(*index),
                    _ => starts.push((x, vec![*index])),
                }
            }
            let height = first.value * panel.mm_per_unit();
            let end = (map.x(end_s), end.map(|(index, _)| *index));
            found.push(Burst { starts, end, height });
        }
    }
    found.sort_by(|a, b| a.starts[0].0.total_cmp(&b.starts[0].0));
    found
}

/// The ways of a burst about the level `base`, in the student's style.
pub(crate) fn burst_ways(
    burst: &Burst,
    base: f64,
    style: SoundStyle,
    chance: &mut Chance,
) -> Vec<Vec<Vertex>> {
    let mut ways = Vec::new();
    for (index, (start, knots)) in burst.starts.iter().enumerate() {
        let next = burst.starts.get(index + 1).map(|next| next.0);
        let end = next.unwrap_or(burst.end.0).max(start + 0.8);
        let end_knot = if next.is_none() { burst.end.1 } else { None };
        // Of a burst in parts the later are somewhat lower.
        let height = burst.height * if index == 0 { 1.0 } else { 0.85 };
        let one = Swell { ends: [*start, end], base, height };
        let mut drawn = one.ways(style, chance);
        if let Some(first) = drawn.first_mut().and_then(|way| way.first_mut()) {
            first.knot = knots.first().copied();
        }
        if let Some(last) = drawn.first_mut().and_then(|way| way.last_mut()) {
            last.knot = end_knot;
        }
        ways.extend(drawn);
    }
    ways
}

struct Swell {
    ends: [f64; 2],
    base: f64,
    height: f64,
}

impl Swell {
    /// The ways; of the first the two ends are the burst's own.
    fn ways(&self, style: SoundStyle, chance: &mut Chance) -> Vec<Vec<Vertex>> {
        match style {
            SoundStyle::Zigzag => vec![self.back_and_forth(chance, false)],
            SoundStyle::Wave => vec![self.back_and_forth(chance, true)],
            SoundStyle::Hatching => {
                let mut ways =
                    vec![straight(&[[self.ends[0], self.base], [self.ends[1], self.base]])];
                ways.extend(self.hatching(chance, 0.35));
                ways
            }
            SoundStyle::Lozenge => vec![self.lozenge(-1.0), self.lozenge(1.0)],
            SoundStyle::FilledLozenge => {
                let mut ways = vec![self.lozenge(-1.0), self.lozenge(1.0)];
                ways.extend(self.hatching(chance, 0.0));
                ways
            }
        }
    }

    fn at(&self, share: f64) -> f64 {
        self.ends[0] + share * (self.ends[1] - self.ends[0])
    }

    fn back_and_forth(&self, chance: &mut Chance, rounded: bool) -> Vec<Vertex> {
        let pitch = chance.between(0.8, 1.3);
        let count = (((self.ends[1] - self.ends[0]) / pitch).round() as usize).max(3);
        let skew = chance.between(0.6, 1.3);
        let mut tops = Vec::new();
        for index in 1..count {
            let share = index as f64 / count as f64;
            let swell = libm::sin(std::f64::consts::PI * libm::pow(share, skew));
            let side = if index % 2 == 1 { -1.0 } else { 1.0 };
            let uneven = 1.0 - 0.15 * chance.share();
            tops.push([
                self.at(share),
                side * self.height * uneven * libm::pow(swell.max(0.0), 0.7),
            ]);
        }
        // The tallest is as tall as the sound is meant.
        let most = tops.iter().map(|top| top[1].abs()).fold(1e-9, f64::max);
        let mut corners = vec![[self.ends[0], self.base]];
        corners.extend(tops.iter().map(|top| [top[0], self.base + top[1] * self.height / most]));
        corners.push([self.ends[1], self.base]);
        if !rounded {
            return straight(&corners);
        }
        let mut points = Vec::new();
        for pair in corners.windows(2) {
            for step in 0..12 {
                let share = f64::from(step) / 12.0;
                let x = pair[0][0] + share * (pair[1][0] - pair[0][0]);
                points.push([x, pair[0][1] + ease(share) * (pair[1][1] - pair[0][1])]);
            }
        }
        points.extend(corners.last());
        straight(&points)
    }

    fn hatching(&self, chance: &mut Chance, least: f64) -> Vec<Vec<Vertex>> {
        let pitch = chance.between(0.7, 1.2);
        let count = (((self.ends[1] - self.ends[0]) / pitch).round() as usize).max(2);
        let lean = chance.between(-0.15, 0.35);
        let lines = (0..=count).filter_map(|index| {
            let share = index as f64 / count as f64;
            let swell = (1.0 - (2.0 * share - 1.0).abs()).max(least);
            let edge = if least > 0.0 { 1.0 } else { 0.95 };
            let half = self.height * swell / (1.0_f64.max(least)) * edge;
            // A line leans to its right, never out of the burst at its left.
            let lean = lean * half.min(1.5) * if index == 0 || index == count { 0.0 } else { 1.0 };
            let x = self.at(share);
            (half > 0.3)
                .then(|| straight(&[[x + lean, self.base - half], [x - lean, self.base + half]]))
        });
        lines.collect()
    }

    fn lozenge(&self, side: f64) -> Vec<Vertex> {
        let middle = self.at(0.45);
        straight(&[
            [self.ends[0], self.base],
            [middle, self.base + side * self.height],
            [self.ends[1], self.base],
        ])
    }
}

/// Straight from corner to corner.
pub(crate) fn straight(corners: &[[f64; 2]]) -> Vec<Vertex> {
    let vertices: Vec<Vertex> = corners.iter().map(|&at| Vertex { at, knot: None }).collect();
    let mut way: Vec<Vertex> = Vec::new();
    for pair in vertices.windows(2) {
        let [a, b] = [pair[0].at, pair[1].at];
        let parts = (libm::hypot(b[0] - a[0], b[1] - a[1]) / STEP_MM).ceil().max(1.0) as usize;
        way.extend((0..parts).map(|part| {
            let share = part as f64 / parts as f64;
            let at = [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])];
            Vertex { at, knot: None }
        }));
    }
    way.extend(vertices.last());
    way
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_highest_place_between_its_neighbours_is_the_peak() {
        let way = |heights: &[f64]| -> Vec<Vertex> {
            let places = heights.iter().enumerate();
            places.map(|(n, y)| Vertex { at: [n as f64, -y], knot: None }).collect()
        };
        // A bump on the way down, lower than the peak, and higher.
        for (bump, place) in [(3.0, 2), (4.3, 2), (5.0, 5)] {
            let way = way(&[0.0, 2.0, 4.0, 3.0, 2.0, bump, 1.0, 0.0]);
            assert_eq!(passed(&way, [0, 2, 7], Turn::Peak), place, "{bump}");
        }
        // A small peak on the way up to a high one stays, and so does the trough between them.
        let up = way(&[0.0, 3.0, 1.0, 4.0, 9.0]);
        assert_eq!(passed(&up, [0, 1, 4], Turn::Peak), 1);
        assert_eq!(passed(&up, [1, 2, 4], Turn::Trough), 2);
        // A rise that was meant to begin at 3, from a little lower, and from much lower.
        for (lower, place) in [(2.0, 3), (4.0, 2)] {
            let way = way(&[9.0, 5.0, -lower, 0.0, 20.0]);
            assert_eq!(passed(&way, [0, 3, 4], Turn::Foot), place, "{lower}");
        }
    }
}
