//! Bars and the time axis.

use cycle::BarKind;

use super::{Layer, Look, Plan, SMALL, text_height};
use crate::picture::{Align, Box2, Shape, Stroke, Tag};
use crate::{axis, font, style};

/// What stands beside a bar: what it is and what it says, such as "Mitral valve open".
pub(super) fn bar_name(bar: &BarKind) -> String {
    format!("{} {}", bar.title, bar.state)
}

impl Plan<'_> {
    /// The bars, from `y` down; gives the bottom of the last.
    pub(super) fn bars(&mut self, mut y: f64) -> f64 {
        let (scene, k) = (self.scene, self.k);
        if !scene.bars.is_empty() {
            y += 1.5 * k;
        }
        for bar in &scene.bars {
            let size = SMALL * k;
            let lines = font::wrap(&bar_name(bar), size, false, self.names_width);
            let height = (text_height(lines.len(), size) + 1.4 * k).max(5.5 * k);
            let middle = y + height / 2.0;
            let tag = Tag::Bar(bar.id.clone());
            let top = middle - text_height(lines.len(), size) / 2.0;
            let look = Look::new(SMALL, Align::Start, style::INK);
            self.lines_of_text(&tag, self.names, top, &lines, look);
            let stroke = self.hairline();
            let ends = [[self.left, middle], [self.right, middle]];
            self.line(Layer::Grid, tag.clone(), &ends, stroke);
            for [from, to] in scene.stretches(bar) {
                self.stretch(&tag, self.x(from), self.x(to), middle);
            }
            y += height;
        }
        y
    }

    fn stretch(&mut self, tag: &Tag, from: f64, to: f64, middle: f64) {
        let k = self.k;
        let area = Box2::new(from, middle - 1.5 * k, to - from, 3.0 * k);
        let colour = [205, 205, 202];
        self.add(Layer::Grid, tag.clone(), Shape::Fill { area, colour });
        let (top, bottom) = (area.y, area.bottom());
        let frame = [[from, top], [to, top], [to, bottom], [from, bottom], [from, top]];
        let stroke = Stroke::solid(style::INK, 0.25 * k);
        self.line(Layer::Frames, tag.clone(), &frame, stroke);
    }

    /// Factor from seconds, name of the unit, ticks in seconds and their step in that unit.
    pub(super) fn time_ticks(&self) -> ((f64, &'static str, f64), Vec<f64>) {
        let (start_s, end_s) = (self.scene.start_s, self.scene.end_s);
        let (factor, unit) = if end_s - start_s <= 2.0 { (1000.0, "ms") } else { (1.0, "s") };
        let length = self.right - self.left;
        let (step, ticks) = axis::ticks(start_s * factor, end_s * factor, length, 11.0 * self.k);
        ((factor, unit, step), ticks.into_iter().map(|tick| tick / factor).collect())
    }

    /// The time axis, below `y`; gives where its numbers end.
    pub(super) fn time_axis(&mut self, y: f64) -> f64 {
        let k = self.k;
        let y = y + 2.0 * k;
        let ((factor, unit, step), ticks) = self.time_ticks();
        let stroke = Stroke::solid(style::INK, 0.2 * k);
        let ends = [[self.left, y], [self.right, y]];
        self.line(Layer::Frames, Tag::Axis, &ends, stroke.clone());
        let baseline = y + 1.9 * k + font::ABOVE * SMALL * k;
        for time_s in ticks {
            let x = self.x(time_s);
            self.line(Layer::Frames, Tag::Axis, &[[x, y], [x, y + 1.3 * k]], stroke.clone());
            let text = axis::tick_text(time_s * factor, step);
            let look = Look::new(SMALL, Align::Middle, style::SOFT_INK);
            self.text(Tag::Axis, [x, baseline], &text, look);
        }
        let look = Look::new(SMALL, Align::Start, style::SOFT_INK);
        self.text(Tag::Axis, [self.names, baseline], &format!("Time ({unit})"), look);
        baseline + font::BELOW * SMALL * k
    }
}
