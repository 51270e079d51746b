//! A laid-out figure as drawing primitives.

use std::sync::Arc;

use crate::font;
use crate::style::Colour;

/// A box with sides along the axes, in millimetres; y runs down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Box2 {
    /// Left side.
    pub x: f64,
    /// Top side.
    pub y: f64,
    /// Width.
    pub w: f64,
    /// Height.
    pub h: f64,
}

impl Box2 {
    /// The box with this left, top, width and height.
    pub fn new(x: f64, y: f64, w: f64, h: f64) -> Self {
        Self { x, y, w, h }
    }

    /// Right side.
    pub fn right(&self) -> f64 {
        self.x + self.w
    }

    /// Bottom side.
    pub fn bottom(&self) -> f64 {
        self.y + self.h
    }

    /// The box grown by `by` on each side.
    pub fn grown(&self, by: f64) -> Self {
        Self::new(self.x - by, self.y - by, self.w + 2.0 * by, self.h + 2.0 * by)
    }

    /// Whether `other` lies wholly inside.
    pub fn holds(&self, other: &Self) -> bool {
        other.x >= self.x
            && other.y >= self.y
            && other.right() <= self.right()
            && other.bottom() <= self.bottom()
    }

    /// Whether the two share more than an edge.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.x < other.right()
            && other.x < self.right()
            && self.y < other.bottom()
            && other.y < self.bottom()
    }

    /// Whether the straight line from `a` to `b` passes through the inside.
    pub fn crossed_by(&self, a: [f64; 2], b: [f64; 2]) -> bool {
        let (mut from, mut to) = (0.0_f64, 1.0_f64);
        for (start, end, low, high) in
            [(a[0], b[0], self.x, self.right()), (a[1], b[1], self.y, self.bottom())]
        {
            let way = end - start;
            if way == 0.0 {
                if start <= low || start >= high {
                    return false;
                }
                continue;
            }
            let (p, q) = ((low - start) / way, (high - start) / way);
            from = from.max(p.min(q));
            to = to.min(p.max(q));
        }
        from < to
    }
}

/// How a line is drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// Its colour.
    pub colour: Colour,
    /// Its width in millimetres.
    pub width: f64,
    /// Dashes and gaps in millimetres; empty for a solid line.
    pub dash: Vec<f64>,
}

impl Stroke {
    /// A solid line.
    pub fn solid(colour: Colour, width: f64) -> Self {
        Self { colour, width, dash: Vec::new() }
    }
}

/// Where text stands relative to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

/// One thing to draw; lengths in millimetres from the top left corner, y down.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A filled box.
    Fill {
        /// The box.
        area: Box2,
        /// Its colour.
        colour: Colour,
    },
    /// Lines through points, in one or several parts.
    Lines {
        /// The parts, each a run of points.
        parts: Vec<Vec<[f64; 2]>>,
        /// How they are drawn.
        stroke: Stroke,
    },
    /// A filled polygon.
    Polygon {
        /// Its corners.
        points: Vec<[f64; 2]>,
        /// Its colour.
        colour: Colour,
    },
    /// One line of text.
    Text {
        /// Its point on the baseline.
        at: [f64; 2],
        /// The text.
        text: String,
        /// Size (the em).
        size: f64,
        /// Whether bold.
        bold: bool,
        /// Where it stands relative to the point.
        align: Align,
        /// Its colour.
        colour: Colour,
    },
    /// A grey picture that fills a box. One whose `grey` is not as long as its size says is left
    /// out.
    Image {
        /// The box.
        area: Box2,
        /// Pixels in a row.
        width: usize,
        /// Rows.
        height: usize,
        /// The pixels, row by row from the top, 0 black and 255 white.
        grey: Arc<[u8]>,
    },
}

impl Shape {
    /// The same shape elsewhere: right by `dx` and down by `dy` millimetres.
    pub fn moved(&self, dx: f64, dy: f64) -> Self {
        let shift = |point: &[f64; 2]| [point[0] + dx, point[1] + dy];
        let run = |points: &Vec<[f64; 2]>| points.iter().map(shift).collect();
        let mut moved = self.clone();
        match &mut moved {
            Self::Fill { area, .. } | Self::Image { area, .. } => {
                *area = Box2::new(area.x + dx, area.y + dy, area.w, area.h);
            }
            Self::Lines { parts, .. } => *parts = parts.iter().map(run).collect(),
            Self::Polygon { points, .. } => *points = run(points),
            Self::Text { at, .. } => *at = shift(at),
        }
        moved
    }

    /// The box a text fills, or `None` for what is no text.
    pub fn text_box(&self) -> Option<Box2> {
        let Self::Text { at, text, size, bold, align, .. } = self else { return None };
        let width = font::width(text, *size, *bold);
        let left = match align {
            Align::Start => at[0],
            Align::Middle => at[0] - width / 2.0,
            Align::End => at[0] - width,
        };
        let top = at[1] - font::ABOVE * size;
        Some(Box2::new(left, top, width, (font::ABOVE + font::BELOW) * size))
    }
}

/// What a thing drawn shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Tag {
    /// The white ground.
    Paper,
    /// The title.
    Title,
    /// A phase band and its name, by the phase's identifier; empty for the key.
    Phase(String),
    /// A panel's frame, name and unit.
    Panel,
    /// Ticks and their values.
    Axis,
    /// The grid.
    Grid,
    /// An alignment line and its name, by the landmark's or event's identifier.
    Line(String),
    /// A trace of the second cycle and its name, by channel; in a loop, by that of the upward axis.
    Ghost(String),
    /// A trace, by channel.
    Trace(String),
    /// A trace's own label, by channel.
    TraceLabel(String),
    /// A landmark's label, by the landmark's identifier.
    LandmarkLabel(String),
    /// A bar and its name, by the bar's identifier.
    Bar(String),
    /// The loop of one channel against another.
    Loop,
    /// An event's or landmark's label on the loop, by identifier.
    LoopLabel(String),
}

/// A thing drawn and what it shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// What it shows.
    pub tag: Tag,
    /// What is drawn.
    pub shape: Shape,
}

/// A laid-out figure.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// Width in millimetres.
    pub width_mm: f64,
    /// Height in millimetres.
    pub height_mm: f64,
    /// The name of the figure, for documents that need one.
    pub title: String,
    /// What the figure shows, in words.
    pub alt: String,
    /// What is drawn, from back to front.
    pub items: Vec<Item>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_crosses_a_box_only_through_its_inside() {
        let area = Box2::new(0.0, 0.0, 2.0, 1.0);
        assert!(area.crossed_by([-1.0, 0.5], [3.0, 0.5]));
        assert!(area.crossed_by([0.5, 0.5], [0.6, 0.6]));
        assert!(!area.crossed_by([-1.0, 1.0], [3.0, 1.0]));
        assert!(!area.crossed_by([-1.0, 2.0], [3.0, 1.5]));
        assert!(!area.crossed_by([3.0, -1.0], [3.0, 2.0]));
    }
}
