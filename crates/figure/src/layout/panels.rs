//! Panels: frame, axis, grid, traces.

use cycle::Trace;

use super::scene::Panel;
use super::{Layer, Look, NoRoom, Plan, SMALL, panel_name, text_height};
use crate::curve::{self, Map};
use crate::picture::{Align, Box2, Shape, Stroke, Tag};
use crate::{axis, font, style};

/// How much thicker than usual a heavy stretch is, and how thick at least, at scale 1.
const HEAVY: f64 = 2.0;
const HEAVY_MM: f64 = 0.9;
/// How far a trace of the second cycle must part from the first's to be named, at scale 1.
const APART: f64 = 1.5;

/// A trace on paper.
pub(super) struct Drawn<'a> {
    pub(super) channel: &'a str,
    pub(super) label: &'a str,
    pub(super) parts: Vec<Vec<[f64; 2]>>,
    pub(super) width: f64,
    pub(super) colour: style::Colour,
}

impl<'a> Plan<'a> {
    /// Draws a panel from `top`; gives its bottom.
    pub(super) fn panel(&mut self, index: usize, top: f64) -> Result<f64, NoRoom> {
        let scene = self.scene;
        let panel = &scene.panels[index];
        let map = self.map(panel, top);
        self.frame(panel, &map);
        self.axis(panel, &map);
        let ghosts = self.ghosts(panel, &map);
        let traces = self.traces(panel, &map);
        self.labels(panel, &map, &traces, &ghosts)?;
        Ok(map.bottom)
    }

    fn map(&self, panel: &Panel<'_>, top: f64) -> Map {
        Map {
            start_s: self.scene.start_s,
            end_s: self.scene.end_s,
            left: self.left,
            right: self.right,
            low: panel.range[0],
            high: panel.range[1],
            top,
            bottom: top + panel.height,
        }
    }

    fn frame(&mut self, panel: &Panel<'_>, map: &Map) {
        let k = self.k;
        let (l, r, t, b) = (map.left, map.right, map.top, map.bottom);
        let frame = [[l, t], [r, t], [r, b], [l, b], [l, t]];
        let stroke = self.hairline();
        self.line(Layer::Frames, Tag::Panel, &frame, stroke);
        let (lines, size) = panel_name(&panel.title, self.names_width, k);
        let name = text_height(lines.len(), size * k);
        let unit = panel.unit.map_or(0.0, |_| 0.6 * k + text_height(1, SMALL * k));
        // Beside the middle, but never above the frame's top.
        let y = (t + (map.bottom - t - name - unit) / 2.0).max(t);
        let look = Look::new(size, Align::Start, style::INK).bold();
        let y = self.lines_of_text(&Tag::Panel, self.names, y, &lines, look);
        if let Some(unit) = panel.unit {
            let baseline = y + 0.6 * k + font::ABOVE * SMALL * k;
            let look = Look::new(SMALL, Align::Start, style::SOFT_INK);
            self.text(Tag::Panel, [self.names, baseline], unit, look);
        }
    }

    fn axis(&mut self, panel: &Panel<'_>, map: &Map) {
        let k = self.k;
        if panel.unit.is_none() {
            if map.low < 0.0 && map.high > 0.0 {
                let stroke = Stroke::solid(style::HAIRLINE, 0.1 * k);
                let y = map.y(0.0);
                self.line(Layer::Grid, Tag::Axis, &[[map.left, y], [map.right, y]], stroke);
            }
        } else {
            let (step, ticks) = axis::value_ticks(panel.range, panel.height, k);
            for value in ticks {
                let y = map.y(value);
                let stroke = self.hairline();
                self.line(Layer::Frames, Tag::Axis, &[[map.left - k, y], [map.left, y]], stroke);
                let at = [map.left - 1.6 * k, y + 0.35 * SMALL * k];
                let look = Look::new(SMALL, Align::End, style::SOFT_INK);
                self.text(Tag::Axis, at, &axis::tick_text(value, step), look);
                if self.scene.spec.grid {
                    let stroke = self.grid_line();
                    self.line(Layer::Grid, Tag::Grid, &[[map.left, y], [map.right, y]], stroke);
                }
            }
        }
        if self.scene.spec.grid {
            for time_s in self.time_ticks().1 {
                let (x, stroke) = (self.x(time_s), self.grid_line());
                self.line(Layer::Grid, Tag::Grid, &[[x, map.top], [x, map.bottom]], stroke);
            }
        }
    }

    /// Draws the second cycle's traces. Each is labelled with the second cycle's name, or with
    /// nothing where it runs along the first's.
    fn ghosts(&mut self, panel: &Panel<'a>, map: &Map) -> Vec<Drawn<'a>> {
        let mut all = Vec::new();
        let Some(ghost) = self.scene.ghost else { return all };
        let name = self.scene.spec.ghost_title.as_deref();
        for (kind, first) in &panel.traces {
            let Some(trace) = ghost.trace(&kind.id) else { continue };
            let parts = curve::lines(trace, map);
            let stroke = self.ghost_stroke();
            let (width, colour) = (stroke.width, stroke.colour);
            let tag = Tag::Ghost(kind.id.clone());
            self.add(Layer::Ghosts, tag, Shape::Lines { parts: parts.clone(), stroke });
            let samples = first.samples.iter().enumerate().map(|(i, &v)| (first.time_s(i), v));
            let mut apart = samples.filter_map(|(t, v)| Some(map.y(trace.at(t)?) - map.y(v)));
            let parted = apart.any(|by| by.abs() > APART * self.k);
            let label = name.filter(|_| parted).unwrap_or_default();
            all.push(Drawn { channel: &kind.id, label, parts, width, colour });
        }
        all
    }

    pub(super) fn ghost_stroke(&self) -> Stroke {
        let k = self.k;
        Stroke { colour: style::GHOST, width: 0.35 * k, dash: vec![1.4 * k, 0.9 * k] }
    }

    fn traces(&mut self, panel: &Panel<'a>, map: &Map) -> Vec<Drawn<'a>> {
        let mut drawn = Vec::new();
        for (index, (kind, trace)) in panel.traces.iter().enumerate() {
            let look = style::TRACES[index % style::TRACES.len()];
            // A trace so fast that it fills its band needs a fine line to be seen at all.
            let parts = curve::lines(trace, map);
            if parts.is_empty() {
                continue;
            }
            let points: usize = parts.iter().map(Vec::len).sum();
            let fine = points as f64 > 3.0 * (map.right - map.left);
            let width = self.k * if fine { look.width_mm.min(0.2) } else { look.width_mm };
            let dash = look.dash.iter().map(|length| length * self.k).collect();
            let stroke = Stroke { colour: look.colour, width, dash };
            let tag = Tag::Trace(kind.id.clone());
            self.heavy(trace, map, &stroke);
            self.add(Layer::Traces, tag, Shape::Lines { parts: parts.clone(), stroke });
            let (channel, label) = (kind.id.as_str(), kind.label.as_str());
            drawn.push(Drawn { channel, label, parts, width, colour: look.colour });
        }
        drawn
    }

    /// The stretches of a trace that are to stand out, by weight and not by colour.
    fn heavy(&mut self, trace: &Trace, map: &Map, usual: &Stroke) {
        let width = (usual.width * HEAVY).max(HEAVY_MM * self.k);
        for stretch in self.scene.spec.heavy.iter().filter(|s| s.channel == trace.channel) {
            let parts = curve::lines_between(trace, map, stretch.start_s, stretch.end_s);
            // Over its own dashes a heavy one would be a muddle.
            let stroke = Stroke::solid(usual.colour, width);
            let tag = Tag::Trace(trace.channel.clone());
            self.add(Layer::Traces, tag, Shape::Lines { parts, stroke });
        }
    }

    /// The panel's frame as a box.
    pub(super) fn panel_box(map: &Map) -> Box2 {
        Box2::new(map.left, map.top, map.right - map.left, map.bottom - map.top)
    }

    /// The alignment lines, from the end of their names through panels and bars.
    pub(super) fn alignment_lines(&mut self, top: f64, bottom: f64) {
        let (scene, k) = (self.scene, self.k);
        for line in &scene.lines {
            let parts = line
                .times_s
                .iter()
                .map(|&time_s| vec![[self.x(time_s), top], [self.x(time_s), bottom]])
                .collect();
            let dash = vec![1.6 * k, 1.0 * k];
            let stroke = Stroke { colour: style::ACCENT, width: 0.25 * k, dash };
            let tag = Tag::Line(line.id.to_owned());
            self.add(Layer::Lines, tag, Shape::Lines { parts, stroke });
        }
    }
}
