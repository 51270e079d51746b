//! Further channels under a strip, on its time axis and its paper.

use cycle::{Cycle, Trace};
use figure::{
    Align, Box2, Figure, Item, Map, Shape, Stroke, Tag, font, lines_of, nice_step, style, tick_text,
};

use crate::grid_paper::{LARGE_MM, grid, landmark_ticks};
use crate::strip::{
    AROUND_MM, BRACKET_MM, CLEAR_MM, Interval, LANE_MM, MM_PER_S, SMALL, StripSpec, TITLE, TRACE,
    spoken, strip, trimmed,
};

/// Room above a panel, with its name in it.
const ABOVE_MM: f64 = 5.5;
/// Room below the last panel.
const BELOW_MM: f64 = 1.0;

/// A channel under a strip.
#[derive(Clone, Debug, PartialEq)]
pub struct StripPanel {
    /// The channel.
    pub channel: String,
    /// What it is called, such as "pressure in the radial artery".
    pub title: String,
    /// Its unit; empty where heights say nothing, and then there is no scale.
    pub unit: String,
    /// Least and greatest value shown, the same in all rows of a strip.
    pub range: [f64; 2],
    /// Least height of the trace in millimetres.
    pub height_mm: f64,
    /// Room for so many brackets above the trace, so that a key is as high as the strip it belongs
    /// to.
    pub lanes: usize,
    /// What a key measures, the first nearest to the trace; one that is not wholly on the strip
    /// is left out.
    pub marks: Vec<Interval>,
    /// Landmarks that the words tell, each with its name.
    pub points: Vec<[String; 2]>,
}

/// A strip of `cycle` as `spec` has it, and `panels` under it: one time axis of 25 mm a second,
/// one grid of millimetres. Where `spec` names no channel, the panels stand alone.
pub fn strip_over(cycle: &Cycle, spec: &StripSpec, panels: &[StripPanel]) -> Figure {
    let mut figure = if spec.channel.is_empty() { heading(spec) } else { strip(cycle, spec) };
    for panel in panels {
        Under { cycle, spec, panel, trace: cycle.trace(&panel.channel) }.draw(&mut figure);
    }
    figure.height_mm += BELOW_MM;
    let (w, h) = (figure.width_mm, figure.height_mm);
    let paper = Shape::Fill { area: Box2::new(0.0, 0.0, w, h), colour: style::PAPER };
    figure.items.insert(0, Item { tag: Tag::Paper, shape: paper });
    figure
}

/// The title alone.
fn heading(spec: &StripSpec) -> Figure {
    let (at, text) = ([AROUND_MM, 3.6], format!("{} ({MM_PER_S} mm/s)", spec.title));
    let (size, bold, align, colour) = (TITLE, true, Align::Start, style::INK);
    let shape = Shape::Text { at, text, size, bold, align, colour };
    let length = trimmed(spec.length_s(), 1);
    Figure {
        width_mm: spec.grid_width() + 2.0 * AROUND_MM,
        height_mm: TITLE + 1.0,
        title: spec.title.clone(),
        alt: format!("A strip on grid paper, {length} seconds at {MM_PER_S} mm/s."),
        items: vec![Item { tag: Tag::Title, shape }],
    }
}

impl StripPanel {
    /// What a large square is worth upwards, in the channel's unit.
    pub fn large_square(&self) -> f64 {
        self.scale().1
    }

    /// The value at the foot of the panel, and what a large square is worth.
    fn scale(&self) -> (f64, f64) {
        let [low, high] = self.range;
        let (low, high) = if low < high { (low, high) } else { (0.0, 1.0) };
        let squares = self.height_mm / LARGE_MM;
        if self.unit.is_empty() {
            return (low, (high - low) / (0.98 * squares));
        }
        let mut step = nice_step((high - low) / squares);
        let base = |step: f64| libm::floor(low / step) * step;
        while base(step) + step * squares < high {
            step = nice_step(1.5 * step);
        }
        (base(step), step)
    }
}

struct Under<'a> {
    cycle: &'a Cycle,
    spec: &'a StripSpec,
    panel: &'a StripPanel,
    trace: Option<&'a Trace>,
}

impl Under<'_> {
    fn end_s(&self) -> f64 {
        self.spec.start_s + self.spec.length_s()
    }

    fn x(&self, time_s: f64) -> f64 {
        StripSpec::trace_left() + (time_s - self.spec.start_s) * MM_PER_S
    }

    /// Adds the panel at the figure's foot.
    fn draw(&self, figure: &mut Figure) {
        let left = StripSpec::trace_left();
        let width = AROUND_MM + self.spec.grid_width() - left;
        let lanes = (self.panel.lanes as f64 * LANE_MM + CLEAR_MM).ceil();
        let height = ((self.panel.height_mm + lanes) / LARGE_MM).ceil() * LARGE_MM;
        let area = Box2::new(left, figure.height_mm + ABOVE_MM, width, height);
        figure.items.extend(grid(&area));
        let name = Panel(&self.panel.title, [left, area.y - 1.3]).text();
        figure.items.push(name);
        let map = self.map(&area, area.y + lanes);
        if !self.panel.unit.is_empty() {
            figure.items.extend(self.scale(&map));
        }
        self.trace_items(&map, figure);
        for (lane, mark) in self.marks().enumerate() {
            let y = area.y + lanes - CLEAR_MM - (lane as f64 + 0.5) * LANE_MM;
            self.bracket(mark, y, &area, figure);
        }
        figure.height_mm = area.bottom();
        figure.alt += &self.words(&map);
    }

    /// Values so that whole steps lie on the thick lines.
    fn map(&self, area: &Box2, top: f64) -> Map {
        let (start_s, end_s, left, right) = (self.spec.start_s, self.end_s(), area.x, area.right());
        let bottom = area.bottom();
        let (low, step) = self.panel.scale();
        let high = low + step * (bottom - top) / LARGE_MM;
        Map { start_s, end_s, left, right, low, high, top, bottom }
    }

    /// The values of the thick lines, left of them.
    fn scale(&self, map: &Map) -> Vec<Item> {
        let step = (map.high - map.low) * LARGE_MM / (map.bottom - map.top);
        let count = ((map.bottom - map.top) / LARGE_MM).round() as usize;
        let item = |line: usize| {
            let value = map.low + line as f64 * step;
            let at = [map.left - 1.2, map.y(value) + 0.35 * SMALL];
            let (text, size, align) = (tick_text(value, step), SMALL, Align::End);
            let shape = Shape::Text { at, text, size, bold: false, align, colour: style::INK };
            Item { tag: Tag::Axis, shape }
        };
        (0..=count).map(item).collect()
    }

    fn trace_items(&self, map: &Map, figure: &mut Figure) {
        let Some(trace) = self.trace else { return };
        let (colour, width) = TRACE;
        let (parts, stroke) = (lines_of(trace, map), Stroke::solid(colour, width));
        let tag = Tag::Trace(self.panel.channel.clone());
        figure.items.push(Item { tag, shape: Shape::Lines { parts, stroke } });
        if self.spec.ticked {
            let at = self
                .landmarks()
                .filter_map(|(mark, _)| Some([map.x(mark.time_s), map.y(trace.at(mark.time_s)?)]));
            let tag = Tag::LandmarkLabel(self.panel.channel.clone());
            figure.items.push(Item { tag, shape: landmark_ticks(at) });
        }
    }

    /// The landmarks on the strip that have a name, with it.
    fn landmarks(&self) -> impl Iterator<Item = (&cycle::Landmark, &str)> {
        let window = self.spec.start_s..=self.end_s();
        let own = self.cycle.landmarks.iter().filter(move |mark| {
            mark.channel == self.panel.channel && window.contains(&mark.time_s)
        });
        own.filter_map(|mark| {
            let name = self.panel.points.iter().find(|[id, _]| *id == mark.name)?;
            Some((mark, name[1].as_str()))
        })
    }

    fn marks(&self) -> impl Iterator<Item = &Interval> {
        let (from, to) = (self.spec.start_s - 1e-9, self.end_s() + 1e-9);
        self.panel.marks.iter().filter(move |mark| mark.from_s >= from && mark.to_s <= to)
    }

    /// A bracket with its label on a lane above the trace.
    fn bracket(&self, mark: &Interval, y: f64, area: &Box2, figure: &mut Figure) {
        let [from, to] = [mark.from_s, mark.to_s].map(|time_s| self.x(time_s));
        let tag = || Tag::Bar(mark.label.clone());
        let stroke = Stroke { colour: style::ACCENT, width: 0.18, dash: vec![0.8, 0.6] };
        let parts = [from, to].map(|x| vec![[x, y], [x, area.bottom()]]).to_vec();
        figure.items.push(Item { tag: tag(), shape: Shape::Lines { parts, stroke } });
        let end = |x: f64| vec![[x, y - BRACKET_MM], [x, y + BRACKET_MM]];
        let parts = vec![end(from), vec![[from, y], [to, y]], end(to)];
        let stroke = Stroke::solid(style::ACCENT, 0.3);
        figure.items.push(Item { tag: tag(), shape: Shape::Lines { parts, stroke } });
        let width = font::width(&mark.label, SMALL, false);
        // Beside the bracket, where it is not on the page's edge.
        let right = to + 1.0;
        let left = if right + width <= area.right() { right } else { from - 1.0 - width };
        let ground = Box2::new(left, y - 0.48 * SMALL, width, 0.96 * SMALL).grown(0.2);
        let fill = Shape::Fill { area: ground, colour: style::PAPER };
        figure.items.push(Item { tag: tag(), shape: fill });
        let (at, text) = ([left, y + 0.26 * SMALL], mark.label.clone());
        let (size, bold, align, colour) = (SMALL, false, Align::Start, style::ACCENT);
        let shape = Shape::Text { at, text, size, bold, align, colour };
        figure.items.push(Item { tag: tag(), shape });
    }

    /// The panel in words: what can be read off it, and no more.
    fn words(&self, map: &Map) -> String {
        let panel = self.panel;
        let step = (map.high - map.low) * LARGE_MM / (map.bottom - map.top);
        let mut words = format!(" Under it, on the same time axis, {}", panel.title);
        if !panel.unit.is_empty() {
            words += &format!(", {} {} to a large square", tick_text(step, step), panel.unit);
        }
        let told = self.landmarks().map(|(mark, name)| {
            let at = spoken(mark.time_s - self.spec.start_s);
            if panel.unit.is_empty() {
                return format!("{name} {at}");
            }
            // To half a small square, as by eye.
            let least = 0.1 * step;
            let value = (mark.value / least).round() * least;
            format!("{name} {at} ({} {})", trimmed(value, 2), panel.unit)
        });
        let told: Vec<String> = told.collect();
        if !told.is_empty() {
            words += &format!(": {}", told.join("; "));
        }
        words += ".";
        let marks: Vec<String> = self.marks().map(|mark| mark.label.clone()).collect();
        if !marks.is_empty() {
            words += &format!(" Key: {}.", marks.join("; "));
        }
        words
    }
}

/// A panel's name and where it stands.
struct Panel<'a>(&'a str, [f64; 2]);

impl Panel<'_> {
    fn text(&self) -> Item {
        let (text, at) = (self.0.to_owned(), self.1);
        let (size, bold, align, colour) = (SMALL, false, Align::Start, style::INK);
        Item { tag: Tag::Panel, shape: Shape::Text { at, text, size, bold, align, colour } }
    }
}
