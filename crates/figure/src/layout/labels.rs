//! Labels on traces and landmarks, where there is room.

use cycle::{Landmark, Trace};

use super::panels::Drawn;
use super::scene::Panel;
use super::{LABEL, Layer, Look, NoRoom, Plan};
use crate::curve::{self, Map};
use crate::picture::{Align, Box2, Shape, Stroke, Tag};
use crate::place::{self, LINE, Space, TAKEN};
use crate::{font, style};

/// Air around a label, in millimetres at scale 1.
const AIR: f64 = 0.4;

/// A label's box and, where it stands far off, a leader from there to its point.
pub(super) struct Spot {
    pub(super) area: Box2,
    pub(super) leader: Option<[[f64; 2]; 2]>,
}

/// The best place found so far for a trace's label.
struct Search<'s> {
    k: f64,
    space: &'s Space,
    /// Where the panel's other traces are: near one, a label could be read as its.
    others: &'s Space,
    marks: &'s [[f64; 2]],
    what: u8,
    best: Option<(f64, Box2)>,
}

impl Search<'_> {
    fn offer(&mut self, area: Box2, cost: f64) {
        let k = self.k;
        if self.best.as_ref().is_some_and(|(least, _)| *least <= cost)
            || !self.space.free(&area.grown(AIR * k), self.what)
        {
            return;
        }
        let around = area.grown(3.5 * k);
        let in_the_way = |mark: &[f64; 2]| around.holds(&Box2::new(mark[0], mark[1], 0.0, 0.0));
        let crowded = if self.others.free(&area.grown(1.8 * k), TAKEN) { 0.0 } else { 6.0 };
        let in_the_way = if self.marks.iter().any(in_the_way) { 4.0 } else { 0.0 };
        let cost = cost + crowded + in_the_way;
        if self.best.as_ref().is_none_or(|(least, _)| cost < *least) {
            self.best = Some((cost, area));
        }
    }
}

impl<'a> Plan<'a> {
    /// Labels a panel's traces, then its landmarks.
    pub(super) fn labels(
        &mut self,
        panel: &Panel<'a>,
        map: &Map,
        traces: &[Drawn<'a>],
        ghosts: &[Drawn<'a>],
    ) -> Result<(), NoRoom> {
        let mut space = self.taken(map, traces, ghosts);
        let marks = self.labelled(panel, map);
        if panel.named_traces {
            self.name_traces(map, traces, &marks, &mut space)?;
        }
        self.name_ghost(map, traces, ghosts, &marks, &mut space);
        if self.scene.spec.labels {
            self.name_landmarks(panel, map, traces, &mut space);
        }
        Ok(())
    }

    fn taken(&self, map: &Map, traces: &[Drawn<'_>], ghosts: &[Drawn<'_>]) -> Space {
        let mut space = Space::new(Self::panel_box(map));
        for trace in traces {
            trace.parts.iter().for_each(|part| space.mark_line(part, trace.width, TAKEN));
        }
        for ghost in ghosts {
            ghost.parts.iter().for_each(|part| space.mark_line(part, ghost.width, TAKEN));
        }
        for &time_s in self.scene.lines.iter().flat_map(|line| &line.times_s) {
            let x = self.x(time_s);
            space.mark_line(&[[x, map.top], [x, map.bottom]], 0.25 * self.k, LINE);
        }
        space
    }

    fn name_traces(
        &mut self,
        map: &Map,
        traces: &[Drawn<'a>],
        marks: &[[f64; 2]],
        space: &mut Space,
    ) -> Result<(), NoRoom> {
        let size = LABEL * self.k;
        let mut beside: Vec<&Drawn<'a>> = Vec::new();
        let alone = |trace: &Drawn<'a>| {
            let mut space = Space::new(Self::panel_box(map));
            trace.parts.iter().for_each(|part| space.mark_line(part, 0.0, TAKEN));
            space
        };
        let alone: Vec<Space> = traces.iter().map(alone).collect();
        for (index, trace) in traces.iter().enumerate() {
            let mut others = Space::new(Self::panel_box(map));
            for (other, space) in alone.iter().enumerate() {
                if other != index {
                    others.mark_all(space);
                }
            }
            let width = font::width(trace.label, size, false);
            let close = self.close_to(trace, 0.0, &others, marks, space);
            let spot = close.or_else(|| self.aside(trace, width, map, space));
            match spot {
                Some(spot) => {
                    let tag = Tag::TraceLabel(trace.channel.to_owned());
                    self.put(tag, trace.label, &spot, trace.colour, space);
                }
                None => beside.push(trace),
            }
        }
        self.name_beside(map, &beside)
    }

    /// Room right beside the trace, with more air than usual to the left and right of the label.
    fn close_to(
        &self,
        trace: &Drawn<'_>,
        air: f64,
        others: &Space,
        marks: &[[f64; 2]],
        space: &Space,
    ) -> Option<Spot> {
        let width = font::width(trace.label, LABEL * self.k, false) + 2.0 * air;
        let mut tries = [TAKEN | place::LABEL | LINE, TAKEN | place::LABEL].into_iter();
        tries.find_map(|what| {
            let mut search = Search { k: self.k, space, others, marks, what, best: None };
            self.along(trace, width, &mut search);
            self.flanking(trace, width, &mut search);
            let (_, area) = search.best?;
            let area = Box2::new(area.x + air, area.y, area.w - 2.0 * air, area.h);
            Some(Spot { area, leader: None })
        })
    }

    /// Names the second cycle once, beside the first of its traces that has room.
    fn name_ghost(
        &mut self,
        map: &Map,
        traces: &[Drawn<'a>],
        ghosts: &[Drawn<'a>],
        marks: &[[f64; 2]],
        space: &mut Space,
    ) {
        let mut named = ghosts.iter().filter(|ghost| !ghost.label.is_empty()).peekable();
        if named.peek().is_none() {
            return;
        }
        let mut others = Space::new(Self::panel_box(map));
        for trace in traces {
            trace.parts.iter().for_each(|part| others.mark_line(part, 0.0, TAKEN));
        }
        // Close to another label the two would be read as one.
        let air = 2.5 * self.k;
        let found = named
            .find_map(|ghost| Some((ghost, self.close_to(ghost, air, &others, marks, space)?)));
        if let Some((ghost, spot)) = found {
            let tag = Tag::Ghost(ghost.channel.to_owned());
            self.put(tag, ghost.label, &spot, ghost.colour, space);
        }
    }

    /// Offers room just above or below the trace, the leveller the better.
    fn along(&self, trace: &Drawn<'_>, width: f64, search: &mut Search<'_>) {
        let (k, height) = (self.k, (font::ABOVE + font::BELOW) * LABEL * self.k);
        let gap = AIR * k + trace.width / 2.0 + 0.45;
        let count = ((self.right - self.left - width) / (0.8 * k)).max(0.0) as usize;
        for step in 0..=count {
            let x = self.left + step as f64 * 0.8 * k;
            let Some((top, bottom)) = extent(&trace.parts, x, x + width) else { continue };
            let slope = 0.5 * (bottom - top) / k + self.off_centre(x);
            search.offer(Box2::new(x, top - gap - height, width, height), slope);
            search.offer(Box2::new(x, bottom + gap, width, height), slope + 0.5);
        }
    }

    /// Offers room to the left and right of the trace, for where it is steep.
    fn flanking(&self, trace: &Drawn<'_>, width: f64, search: &mut Search<'_>) {
        let (k, height) = (self.k, (font::ABOVE + font::BELOW) * LABEL * self.k);
        let heights = trace.parts.iter().flatten().map(|point| point[1]);
        let top = heights.clone().fold(f64::INFINITY, f64::min);
        let bottom = heights.fold(f64::NEG_INFINITY, f64::max);
        let (middle, extent) = (f64::midpoint(top, bottom), (bottom - top).max(1.0));
        for pair in trace.parts.iter().flat_map(|part| part.windows(2)) {
            let (a, b) = (pair[0], pair[1]);
            if (b[1] - a[1]).abs() < 2.0 * (b[0] - a[0]).abs() {
                continue;
            }
            let [x, y] = [f64::midpoint(a[0], b[0]), f64::midpoint(a[1], b[1]) - height / 2.0];
            for far in [1.2, 1.7] {
                let cost = 1.5 + far + self.off_centre(x) + 3.0 * ((y - middle) / extent).abs();
                search.offer(Box2::new(x + far * k, y, width, height), cost);
                search.offer(Box2::new(x - far * k - width, y, width, height), cost + 0.2);
            }
        }
    }

    /// Cost of a place far from where the eye begins, a little right of the middle.
    fn off_centre(&self, x: f64) -> f64 {
        2.0 * ((x - self.left) / (self.right - self.left) - 0.55).abs()
    }

    /// Places of the landmarks that will want labels in a panel.
    fn labelled(&self, panel: &Panel<'_>, map: &Map) -> Vec<[f64; 2]> {
        let scene = self.scene;
        let shown = scene.cycle.landmarks.iter().filter(|mark| {
            scene.spec.labels
                && scene.label_of(&mark.name).is_some()
                && panel.traces.iter().any(|(kind, _)| kind.id == mark.channel)
        });
        shown.map(|mark| [map.x(mark.time_s), map.y(mark.value)]).collect()
    }

    /// Room anywhere in the panel, with a leader to the nearest point of the trace.
    fn aside(&self, trace: &Drawn<'_>, width: f64, map: &Map, space: &Space) -> Option<Spot> {
        let (k, height) = (self.k, (font::ABOVE + font::BELOW) * LABEL * self.k);
        let mut best: Option<(f64, Spot)> = None;
        let steps = |extent: f64| (extent.max(0.0) / k) as usize;
        for column in 0..=steps(map.right - map.left - width) {
            for row in 0..=steps(map.bottom - map.top - height) {
                let (x, y) = (map.left + column as f64 * k, map.top + row as f64 * k);
                let area = Box2::new(x, y, width, height);
                if !space.free(&area.grown(AIR * k), TAKEN | place::LABEL) {
                    continue;
                }
                let Some((far, point)) = nearest(&trace.parts, &area) else { continue };
                if best.as_ref().is_some_and(|(least, _)| far >= *least) {
                    continue;
                }
                let leader = [edge(&area, point), point];
                if space.clear(leader[0], leader[1], place::LABEL) {
                    best = Some((far, Spot { area, leader: Some(leader) }));
                }
            }
        }
        best.map(|(_, spot)| spot)
    }

    /// Labels in the margin, level with the traces' ends.
    fn name_beside(&mut self, map: &Map, traces: &[&Drawn<'a>]) -> Result<(), NoRoom> {
        if traces.is_empty() {
            return Ok(());
        }
        let (k, size) = (self.k, LABEL * self.k);
        let widest =
            traces.iter().map(|trace| font::width(trace.label, size, false)).fold(0.0, f64::max);
        if self.label_margin < widest + 4.0 * k {
            return Err(NoRoom { width: widest + 4.0 * k });
        }
        let mut ends: Vec<(f64, &Drawn<'a>)> =
            traces.iter().map(|&trace| (end_height(trace, map), trace)).collect();
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        let height = (font::ABOVE + font::BELOW) * size;
        let wanted: Vec<f64> = ends.iter().map(|end| end.0).collect();
        let heights = vec![height; ends.len()];
        let middles = place::spread(&wanted, &heights, 0.3 * k, map.top - 99.0, map.bottom);
        for ((end, trace), middle) in ends.into_iter().zip(middles.unwrap_or_default()) {
            let x = map.right + 3.0 * k;
            let area =
                Box2::new(x, middle - height / 2.0, font::width(trace.label, size, false), height);
            let leader = Some([[x - 0.4 * k, middle], [map.right, end]]);
            let tag = Tag::TraceLabel(trace.channel.to_owned());
            let mut free = Space::new(area);
            self.put(tag, trace.label, &Spot { area, leader }, trace.colour, &mut free);
        }
        Ok(())
    }

    fn name_landmarks(
        &mut self,
        panel: &Panel<'a>,
        map: &Map,
        traces: &[Drawn<'a>],
        space: &mut Space,
    ) {
        let scene = self.scene;
        let mut seen: Vec<(&str, &str)> = Vec::new();
        let points = self.labelled(panel, map);
        for mark in &scene.cycle.landmarks {
            let Some(text) = scene.label_of(&mark.name) else { continue };
            let trace = panel.traces.iter().find(|(kind, _)| kind.id == mark.channel);
            let Some((_, trace)) = trace else { continue };
            let key = (mark.name.as_str(), mark.channel.as_str());
            let shown = scene.shows_time(mark.time_s) && (map.low..=map.high).contains(&mark.value);
            if !shown || seen.contains(&key) {
                continue;
            }
            let at = [map.x(mark.time_s), map.y(mark.value)];
            let upward = is_crest(trace, mark, scene.end_s - scene.start_s);
            // Where the first has no room, as at a side of the panel, the next may have.
            if let Some(spot) = self.near(at, text, upward, &points, space) {
                seen.push(key);
                let tag = Tag::LandmarkLabel(mark.name.clone());
                let drawn = traces.iter().find(|drawn| drawn.channel == mark.channel);
                let colour = drawn.map_or(style::INK, |drawn| drawn.colour);
                self.put(tag, text, &spot, colour, space);
            }
        }
    }

    /// Room near a point: close before far, above a crest and below a trough. Without a leader
    /// a label stands nearer to its own point than to any of `points`.
    pub(super) fn near(
        &self,
        at: [f64; 2],
        text: &str,
        upward: bool,
        points: &[[f64; 2]],
        space: &Space,
    ) -> Option<Spot> {
        let k = self.k;
        let size = [font::width(text, LABEL * k, false), (font::ABOVE + font::BELOW) * LABEL * k];
        let all = TAKEN | place::LABEL;
        // What the box keeps off and what a leader does: first everything, then less.
        let tries =
            [(all | LINE, all), (all, all), (all | LINE, place::LABEL), (all, place::LABEL)];
        // Near a side of the panel a long label only has room if it moves inwards.
        let mut tries = [false, true].into_iter().flat_map(|inwards| tries.map(|t| (t, inwards)));
        tries.find_map(|((what, barred), inwards)| {
            [1.0, 1.8, 2.8, 4.0, 5.5, 7.5, 10.0].into_iter().find_map(|far| {
                directions(upward).into_iter().find_map(|way| {
                    let mut area = boxed(at, size, way, far * k);
                    if inwards {
                        area = space.inwards(area, k);
                    }
                    if !space.free(&area.grown(AIR * k), what) {
                        return None;
                    }
                    let leader = (far > 2.0).then(|| [edge(&area, at), at]);
                    if leader.is_none() && points.iter().any(|&other| nearer(&area, other, at)) {
                        return None;
                    }
                    // A leader ends on the trace, so its last stretch is not looked at.
                    let clear = leader.is_none_or(|[from, to]| {
                        space.clear(from, short_of(from, to, 1.1 * k), barred)
                    });
                    clear.then_some(Spot { area, leader })
                })
            })
        })
    }

    /// Writes a label, interrupting an alignment line beneath it.
    pub(super) fn put(
        &mut self,
        tag: Tag,
        text: &str,
        spot: &Spot,
        colour: style::Colour,
        space: &mut Space,
    ) {
        let k = self.k;
        let Spot { area, leader } = spot;
        if !space.free(area, LINE) {
            let shape = Shape::Fill { area: area.grown(0.3 * k), colour: style::PAPER };
            self.add(Layer::Backing, tag.clone(), shape);
        }
        if let Some([from, to]) = *leader {
            let stroke = Stroke::solid(style::SOFT_INK, 0.15 * k);
            self.line(Layer::Backing, tag.clone(), &[from, to], stroke);
            space.mark_line(&[from, to], 0.15 * k, TAKEN);
        }
        space.mark(area, place::LABEL);
        let at = [area.x, area.y + font::ABOVE * LABEL * k];
        self.text(tag, at, text, Look::new(LABEL, Align::Start, colour));
    }
}

/// Least and greatest height of a trace between two places; `None` where it is not there.
fn extent(parts: &[Vec<[f64; 2]>], from: f64, to: f64) -> Option<(f64, f64)> {
    let mut found: Option<(f64, f64)> = None;
    let mut add = |y: f64| {
        found = Some(found.map_or((y, y), |(a, b): (f64, f64)| (a.min(y), b.max(y))));
    };
    for part in parts {
        let first = part.partition_point(|p| p[0] < from).saturating_sub(1);
        for pair in part[first..].windows(2) {
            if pair[0][0] > to {
                break;
            }
            let (a, b) = (pair[0], pair[1]);
            let at = |x: f64| {
                let share = if b[0] > a[0] { (x - a[0]) / (b[0] - a[0]) } else { 0.0 };
                a[1] + share.clamp(0.0, 1.0) * (b[1] - a[1])
            };
            if b[0] >= from {
                add(at(a[0].max(from)));
                add(at(b[0].min(to)));
            }
        }
    }
    found
}

/// Distance from a box to a trace, and the trace's nearest point.
fn nearest(parts: &[Vec<[f64; 2]>], area: &Box2) -> Option<(f64, [f64; 2])> {
    let points = parts.iter().flatten().map(|&point| {
        let [x, y] = edge(area, point);
        (libm::hypot(point[0] - x, point[1] - y), point)
    });
    points.min_by(|a, b| a.0.total_cmp(&b.0))
}

/// The point of a box nearest to `point`.
fn edge(area: &Box2, point: [f64; 2]) -> [f64; 2] {
    [point[0].clamp(area.x, area.right()), point[1].clamp(area.y, area.bottom())]
}

/// Whether a box is nearer to one point than to another that is not the same.
fn nearer(area: &Box2, one: [f64; 2], other: [f64; 2]) -> bool {
    let far = |point: [f64; 2]| {
        let [x, y] = edge(area, point);
        libm::hypot(point[0] - x, point[1] - y)
    };
    let apart = libm::hypot(one[0] - other[0], one[1] - other[1]);
    apart > 0.3 && far(one) < far(other)
}

fn end_height(trace: &Drawn<'_>, map: &Map) -> f64 {
    let last = trace.parts.last().and_then(|part| part.last());
    last.map_or(f64::midpoint(map.top, map.bottom), |point| point[1])
}

/// The point on the way `from` one point `to` another that lies `by` before its end.
fn short_of(from: [f64; 2], to: [f64; 2], by: f64) -> [f64; 2] {
    let long = libm::hypot(to[0] - from[0], to[1] - from[1]);
    let share = if long > by { 1.0 - by / long } else { 0.0 };
    [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])]
}

/// Ways from a point to its label, the best first.
fn directions(upward: bool) -> [[f64; 2]; 8] {
    let up = if upward { -1.0 } else { 1.0 };
    [[0.0, up], [1.0, up], [-1.0, up], [1.0, 0.0], [-1.0, 0.0], [1.0, -up], [-1.0, -up], [0.0, -up]]
}

/// A box of `size` that lies `far` from `at` in a direction.
fn boxed(at: [f64; 2], size: [f64; 2], way: [f64; 2], far: f64) -> Box2 {
    let far = if way[0] != 0.0 && way[1] != 0.0 { far * 0.75 } else { far };
    let start = |axis: usize| {
        let middle = at[axis] + way[axis] * (far + size[axis] / 2.0);
        middle - size[axis] / 2.0
    };
    Box2::new(start(0), start(1), size[0], size[1])
}

/// Whether the trace is lower on both sides of a landmark than there, rather than higher.
fn is_crest(trace: &Trace, mark: &Landmark, shown_s: f64) -> bool {
    let side = |step: f64| trace.at(mark.time_s + step * shown_s).unwrap_or(mark.value);
    let around = f64::midpoint(side(-0.015), side(0.015));
    around <= mark.value
}

/// Distance of a point from a run of points.
pub(super) fn distance_to(points: &[[f64; 2]], at: [f64; 2]) -> f64 {
    points.windows(2).map(|pair| curve::distance(at, pair[0], pair[1])).fold(f64::MAX, f64::min)
}
