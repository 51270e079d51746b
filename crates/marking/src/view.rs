//! A page of a sheet within a smaller picture.

use figure::style::{self, Colour};
use figure::{Align, Box2, Shape, Stroke, font};

use crate::Rubric;
use crate::drawn::DrawnPage;

/// The stretch of a page with its panels and bars, made to fit.
#[derive(Clone, Copy, Debug)]
pub(crate) struct View {
    /// Number of the page.
    pub(crate) page: u8,
    /// The stretch, in millimetres on the page.
    pub(crate) cut: Box2,
    /// Millimetres of print for one on the page.
    pub(crate) scale: f64,
}

/// Room about the panels, in millimetres on the page: left for their names, above, right, and
/// below for the time axis.
const ROOM: [f64; 4] = [30.0, 5.0, 3.0, 8.0];
/// Columns of ink so far apart do not belong to one outline, in millimetres.
const APART_MM: f64 = 2.0;

impl View {
    /// The panels and bars of a page, no larger than `most`; `None` where it has none.
    pub(crate) fn new(rubric: &Rubric<'_>, page: u8, most: [f64; 2]) -> Option<Self> {
        let panels = rubric.panels.iter().filter(|on| on.page == page).map(|on| on.place.area);
        let bars = rubric.bars.iter().filter(|on| on.page == page).map(|on| on.place.area);
        let mut all: Option<Box2> = None;
        for area in panels.chain(bars) {
            let whole = all.unwrap_or(area);
            let (x, y) = (whole.x.min(area.x), whole.y.min(area.y));
            let (right, bottom) =
                (whole.right().max(area.right()), whole.bottom().max(area.bottom()));
            all = Some(Box2::new(x, y, right - x, bottom - y));
        }
        let whole = all?;
        let [left, above, right, below] = ROOM;
        let (x, y) = ((whole.x - left).max(0.0), (whole.y - above).max(0.0));
        let cut = Box2::new(x, y, whole.right() + right - x, whole.bottom() + below - y);
        let scale = (most[0] / cut.w).min(most[1] / cut.h).min(1.0);
        Some(Self { page, cut, scale })
    }

    /// Width and height in print.
    pub(crate) fn size(&self) -> [f64; 2] {
        [self.cut.w * self.scale, self.cut.h * self.scale]
    }

    /// A place on the page in print.
    pub(crate) fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [(x - self.cut.x) * self.scale, (y - self.cut.y) * self.scale]
    }

    /// A place in print on the page.
    pub(crate) fn back(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [x / self.scale + self.cut.x, y / self.scale + self.cut.y]
    }

    /// A box on the page in print.
    pub(crate) fn area(&self, area: &Box2) -> Box2 {
        let [x, y] = self.at([area.x, area.y]);
        Box2::new(x, y, area.w * self.scale, area.h * self.scale)
    }

    /// Frames and names of the page's panels and bars.
    pub(crate) fn frames(&self, rubric: &Rubric<'_>) -> Vec<Shape> {
        let mut shapes = Vec::new();
        let size = (2.9 * self.scale).max(1.9);
        for on in rubric.panels.iter().filter(|on| on.page == self.page) {
            let area = self.area(&on.place.area);
            let (x, y, right, bottom) = (area.x, area.y, area.right(), area.bottom());
            let frame = vec![[x, y], [right, y], [right, bottom], [x, bottom], [x, y]];
            shapes.push(line(frame, style::HAIRLINE, 0.2, &[]));
            let Some(kind) = rubric.subject.channel(&on.place.channel) else { continue };
            let is_short = kind.label.chars().all(char::is_uppercase);
            let title = if is_short { &kind.label } else { &kind.title };
            let lines = font::wrap(title, size, true, x - 1.5);
            let top = y + area.h / 2.0 + 0.35 * size - 0.6 * size * (lines.len() as f64 - 1.0);
            for (row, words) in lines.iter().enumerate() {
                let at = [0.0, top + 1.2 * size * row as f64];
                shapes.push(text(at, words, size, true, Align::Start, style::INK));
            }
        }
        for on in rubric.bars.iter().filter(|on| on.page == self.page) {
            let area = self.area(&on.place.area);
            let middle = area.y + area.h / 2.0;
            let ends = vec![[area.x, middle], [area.right(), middle]];
            shapes.push(line(ends, style::HAIRLINE, 0.2, &[]));
            let Some(kind) = rubric.subject.bar(&on.place.bar) else { continue };
            let at = [0.0, middle + 0.35 * size];
            let words = format!("{} {}", kind.title, kind.state);
            let lines = font::wrap(&words, size, true, area.x - 1.5);
            let name = lines.first().map_or("", String::as_str);
            shapes.push(text(at, name, size, true, Align::Start, style::INK));
        }
        shapes
    }
}

/// The lines that a page's traces and outlines of sounds are, in millimetres on the page.
pub(crate) fn drawn_lines(page: &DrawnPage) -> Vec<Vec<[f64; 2]>> {
    let mut lines = Vec::new();
    for trace in &page.traces {
        let mut part: Vec<[f64; 2]> = Vec::new();
        for &point in &trace.points_mm {
            let last = part.last().map_or(point[0], |last| last[0]);
            let gap =
                trace.gaps_mm.iter().any(|gap| last <= gap[0] + 0.1 && gap[1] <= point[0] + 0.1);
            if gap && !part.is_empty() {
                lines.push(std::mem::take(&mut part));
            }
            part.push(point);
        }
        lines.push(part);
    }
    for sounds in &page.sounds {
        let near = |a: &[f64; 3], b: &[f64; 3]| b[0] - a[0] < APART_MM;
        for part in sounds.envelope_mm.chunk_by(near) {
            lines.push(part.iter().map(|[x, top, _]| [*x, *top]).collect());
            lines.push(part.iter().map(|[x, _, bottom]| [*x, *bottom]).collect());
        }
    }
    lines.retain(|line| line.len() > 1);
    lines
}

pub(crate) fn text(
    at: [f64; 2],
    words: &str,
    size: f64,
    bold: bool,
    align: Align,
    colour: Colour,
) -> Shape {
    Shape::Text { at, text: words.to_owned(), size, bold, align, colour }
}

pub(crate) fn line(points: Vec<[f64; 2]>, colour: Colour, width: f64, dash: &[f64]) -> Shape {
    Shape::Lines { parts: vec![points], stroke: Stroke { colour, width, dash: dash.to_vec() } }
}
