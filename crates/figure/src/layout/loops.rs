//! One channel against another: a loop, with its direction and its corners named.

use cycle::Trace;

use super::labels::distance_to;
use super::{LOOP_SIDE, Layer, Look, Plan, SMALL, text_height};
use crate::curve::{self, Map};
use crate::picture::{Align, Box2, Shape, Stroke, Tag};
use crate::place::{Space, TAKEN};
use crate::{axis, font, style};

impl<'a> Plan<'a> {
    /// The loop beside the panels or below `y`; gives where the figure's content ends.
    pub(super) fn draw_loop(&mut self, top: f64, panels_end: f64, y: f64) -> f64 {
        let (k, side) = (self.k, LOOP_SIDE * self.k);
        let height = 0.9 * side;
        let size = SMALL * k;
        let names = text_height(1, size) + 1.2 * k;
        let (x, frame_top) = if self.loop_beside {
            let room = panels_end - top - height;
            (self.scene.spec.width_mm - super::MARGIN * k - side, top + (room / 2.0).max(names))
        } else {
            (self.left, y + 6.0 * k + names)
        };
        let area = Box2::new(x, frame_top, side, height);
        let (points, ghost) = (self.loop_points(), self.ghost_loop_points());
        let all: Vec<[f64; 2]> = points.iter().chain(&ghost).copied().collect();
        let (map_x, map_y) = self.loop_axes(&area, &all);
        let on_paper = |points: &[[f64; 2]]| {
            let points: Vec<[f64; 2]> =
                points.iter().map(|p| [map_x.x(p[0]), map_y.y(p[1])]).collect();
            curve::simplified(&points)
        };
        let (points, ghost) = (on_paper(&points), on_paper(&ghost));
        let stroke = Stroke::solid(style::INK, style::TRACES[0].width_mm * k);
        let parts = vec![points.clone()];
        self.add(Layer::Traces, Tag::Loop, Shape::Lines { parts, stroke });
        let mut space = Space::new(area);
        space.mark_line(&points, 0.5 * k, TAKEN);
        space.mark_line(&ghost, 0.35 * k, TAKEN);
        let corners = self.corners(&map_x, &map_y, &points, &mut space);
        self.arrows(&points, &corners, &mut space);
        self.name_corners(&corners, area.y + area.h / 2.0, &mut space);
        self.ghost_loop(&points, ghost, &mut space);
        let below = area.bottom() + 1.9 * k + 2.4 * text_height(1, size);
        below.max(y)
    }

    fn loop_points(&self) -> Vec<[f64; 2]> {
        let scene = self.scene;
        let Some([(_, across), (_, up)]) = scene.loop_traces else { return Vec::new() };
        pairs(across, up, [scene.start_s, scene.end_s], scene.cycle.period_s)
    }

    /// The second cycle's loop: whole, however long the first cycle is.
    fn ghost_loop_points(&self) -> Vec<[f64; 2]> {
        let scene = self.scene;
        let (Some([(across, _), (up, _)]), Some(ghost)) = (scene.loop_traces, scene.ghost) else {
            return Vec::new();
        };
        let (Some(x), Some(y)) = (ghost.trace(&across.id), ghost.trace(&up.id)) else {
            return Vec::new();
        };
        let once = scene.start_s + ghost.period_s;
        let end_s = if scene.repeats() { scene.end_s.max(once) } else { once };
        pairs(x, y, [scene.start_s, end_s.min(y.end_s())], ghost.period_s)
    }

    /// Draws the second cycle's loop, and its name where it is farthest from the first's.
    fn ghost_loop(&mut self, first: &[[f64; 2]], ghost: Vec<[f64; 2]>, space: &mut Space) {
        let Some([_, (up, _)]) = self.scene.loop_traces else { return };
        let far = |point: &&[f64; 2]| distance_to(first, **point);
        let farthest = ghost.iter().max_by(|a, b| far(a).total_cmp(&far(b))).copied();
        let Some(at) = farthest else { return };
        let (tag, stroke) = (Tag::Ghost(up.id.clone()), self.ghost_stroke());
        self.add(Layer::Ghosts, tag.clone(), Shape::Lines { parts: vec![ghost], stroke });
        let Some(name) = self.scene.spec.ghost_title.as_deref() else { return };
        if let Some(spot) = self.near(at, name, true, &[], space) {
            self.put(tag, name, &spot, style::GHOST, space);
        }
    }

    fn loop_axes(&mut self, area: &Box2, points: &[[f64; 2]]) -> (Map, Map) {
        let k = self.k;
        let range = |axis: usize, length: f64| {
            let values = points.iter().map(|point| point[axis]);
            let low = values.clone().fold(f64::INFINITY, f64::min);
            let high = values.fold(f64::NEG_INFINITY, f64::max);
            if low > high { [0.0, 1.0] } else { axis::padded(low, high, length, 6.0 * k, 6.0 * k) }
        };
        let ([left, right], [low, high]) = (range(0, area.w), range(1, area.h));
        // A time axis is any axis that runs to the right; here it carries the first channel.
        let map_x = Map {
            start_s: left,
            end_s: right,
            left: area.x,
            right: area.right(),
            low,
            high,
            top: area.y,
            bottom: area.bottom(),
        };
        self.loop_frame(area, &map_x);
        (map_x, map_x)
    }

    fn loop_frame(&mut self, area: &Box2, map: &Map) {
        let k = self.k;
        let (l, r, t, b) = (area.x, area.right(), area.y, area.bottom());
        let stroke = self.hairline();
        let frame = [[l, t], [r, t], [r, b], [l, b], [l, t]];
        self.line(Layer::Frames, Tag::Loop, &frame, stroke.clone());
        let (step, ticks) = axis::ticks(map.low, map.high, area.h, 9.0 * k);
        for value in ticks {
            let y = map.y(value);
            self.line(Layer::Frames, Tag::Loop, &[[l - k, y], [l, y]], stroke.clone());
            let look = Look::new(SMALL, Align::End, style::SOFT_INK);
            let at = [l - 1.6 * k, y + 0.35 * SMALL * k];
            self.text(Tag::Loop, at, &axis::tick_text(value, step), look);
        }
        let baseline = b + 1.9 * k + font::ABOVE * SMALL * k;
        let (step, ticks) = axis::ticks(map.start_s, map.end_s, area.w, 11.0 * k);
        for value in ticks {
            let x = map.x(value);
            self.line(Layer::Frames, Tag::Loop, &[[x, b], [x, b + 1.3 * k]], stroke.clone());
            let look = Look::new(SMALL, Align::Middle, style::SOFT_INK);
            self.text(Tag::Loop, [x, baseline], &axis::tick_text(value, step), look);
        }
        self.loop_names(area, baseline);
    }

    fn loop_names(&mut self, area: &Box2, baseline: f64) {
        let k = self.k;
        let Some([(across, x_trace), (up, y_trace)]) = self.scene.loop_traces else { return };
        let name = |title: &str, unit: &str| match unit {
            "relative" => title.to_owned(),
            unit => format!("{title} ({unit})"),
        };
        let look = Look::new(SMALL, Align::Start, style::INK).bold();
        let above = [area.x, area.y - 1.2 * k - font::BELOW * SMALL * k];
        self.text(Tag::Loop, above, &name(&up.title, &y_trace.unit), look);
        let below = [area.x, baseline + 1.35 * SMALL * k];
        self.text(Tag::Loop, below, &name(&across.title, &x_trace.unit), look);
    }

    /// Two arrowheads that say which way round time runs.
    fn arrows(&mut self, points: &[[f64; 2]], corners: &[(&str, [f64; 2])], space: &mut Space) {
        let k = self.k;
        let length =
            |pair: &[[f64; 2]]| libm::hypot(pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]);
        let mut longest: Vec<(f64, [f64; 2], [f64; 2])> =
            points.windows(2).map(|pair| (length(pair), pair[0], pair[1])).collect();
        longest.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut tips: Vec<[f64; 2]> = Vec::new();
        for (long, a, b) in longest {
            let tip = [f64::midpoint(a[0], b[0]), f64::midpoint(a[1], b[1])];
            let apart = |other: &[f64; 2], by: f64| {
                libm::hypot(other[0] - tip[0], other[1] - tip[1]) > by * k
            };
            let free = tips.iter().all(|other| apart(other, 20.0))
                && corners.iter().all(|(_, corner)| apart(corner, 4.0));
            if tips.len() == 2 || long == 0.0 || !free {
                continue;
            }
            let (dx, dy) = ((b[0] - a[0]) / long, (b[1] - a[1]) / long);
            let corner = |back: f64, side: f64| {
                [tip[0] + (back * dx - side * dy) * k, tip[1] + (back * dy + side * dx) * k]
            };
            let head = vec![corner(1.6, 0.0), corner(-1.4, 1.2), corner(-1.4, -1.2)];
            space.mark_line(&[head[1], head[2], head[0]], 0.5 * k, TAKEN);
            self.add(Layer::Traces, Tag::Loop, Shape::Polygon { points: head, colour: style::INK });
            tips.push(tip);
        }
    }

    /// Dots where the bars' events fall on the loop.
    fn corners(
        &mut self,
        map_x: &Map,
        map_y: &Map,
        points: &[[f64; 2]],
        space: &mut Space,
    ) -> Vec<(&'a str, [f64; 2])> {
        let (scene, k) = (self.scene, self.k);
        let Some([(_, across), (_, up)]) = scene.loop_traces else { return Vec::new() };
        let mut corners = Vec::new();
        for id in scene.bars.iter().flat_map(|bar| [bar.from.as_str(), bar.to.as_str()]) {
            let mut times = scene.cycle.times_of(id).into_iter();
            let Some(time_s) = times.find(|&time_s| scene.shows_time(time_s)) else { continue };
            let (Some(x), Some(y)) = (across.at(time_s), up.at(time_s)) else { continue };
            let at = [map_x.x(x), map_y.y(y)];
            if distance_to(points, at) < k {
                space.mark(&Box2::new(at[0], at[1], 0.0, 0.0).grown(0.9 * k), TAKEN);
                let tag = Tag::LoopLabel(id.to_owned());
                let points = octagon(at, 0.8 * k);
                self.add(Layer::Traces, tag, Shape::Polygon { points, colour: style::INK });
                corners.push((id, at));
            }
        }
        corners
    }

    fn name_corners(&mut self, corners: &[(&str, [f64; 2])], middle: f64, space: &mut Space) {
        for &(id, at) in corners {
            let title = self.scene.subject.title_of(id).unwrap_or(id);
            if let Some(spot) = self.near(at, title, at[1] < middle, &[], space) {
                self.put(Tag::LoopLabel(id.to_owned()), title, &spot, style::INK, space);
            }
        }
    }
}

/// Pairs of values at the times of the second trace, closed where a cycle is whole.
fn pairs(across: &Trace, up: &Trace, [start_s, end_s]: [f64; 2], period_s: f64) -> Vec<[f64; 2]> {
    let samples = curve::samples(up, start_s, end_s).into_iter().flatten();
    let pairs = samples.filter_map(|[time_s, value]| Some([across.at(time_s)?, value]));
    let mut pairs: Vec<[f64; 2]> = pairs.filter(|pair| pair[0].is_finite()).collect();
    if let Some(&first) = pairs.first()
        && ((end_s - start_s) / period_s - 1.0).abs() < 0.01
    {
        pairs.push(first);
    }
    pairs
}

/// A dot, near enough.
fn octagon(at: [f64; 2], radius: f64) -> Vec<[f64; 2]> {
    let d = radius * std::f64::consts::FRAC_1_SQRT_2;
    let r = radius;
    [[0.0, -r], [d, -d], [r, 0.0], [d, d], [0.0, r], [-d, d], [-r, 0.0], [-d, -d]]
        .iter()
        .map(|p| [at[0] + p[0], at[1] + p[1]])
        .collect()
}
