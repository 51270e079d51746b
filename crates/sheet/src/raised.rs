//! Raised-line pages: the completed drawing for swell paper, to be read by touch.
//!
//! What is black rises when the paper is heated. So there is nothing but black, and no grid, frame
//! or print. Three lines differ in width and pattern, whatever is of less weight is broken where
//! it would touch something, and the key is in braille.
//!
//! Sources: things 1/8 inch apart at least, and a label beside what it names (L. Hasty, Design
//! principles for tactile graphics); the less important of two crossing lines broken, keys of
//! two letters that recall the name (accessiblegraphics.org, Design principles for tactile
//! graphics, 2018). Widths and heights without a source are common practice, no source.

mod key;
mod marks;
mod trace;

use convention::{Point, Relation, Relative, Says, alignment_points, beats};
use cycle::{Cycle, Subject};
use figure::style::Colour;
use figure::{Box2, Figure, Item, Map, Shape, Stroke, Tag};

use crate::braille::{self, BrailleError, HEIGHT_MM, LINE_MM};
use crate::definition::{Orientation, Test};
use marks::{Obstacles, clear_parts, dashes, keys, spread};

/// All that rises.
const BLACK: Colour = [0, 0, 0];
/// Least distance of edges of different things: 1/8 inch, rounded up.
const APART: f64 = 3.2;
/// Empty margin on every side.
const MARGIN: f64 = 13.0;
/// Width of a trace, of an alignment line, of an axis and of the mark that says which way is up.
const TRACE_MM: f64 = 1.4;
const LINE_MM_WIDE: f64 = 0.8;
const AXIS_MM: f64 = 0.5;
const NOTCH_MM: f64 = 2.5;
/// Usual length of an alignment line's dashes, longer than a braille dot by far, and of its gaps.
const DASH: [f64; 2] = [3.5, 2.0];
/// Distance of labels in a row: an empty cell, without which they would read as one word.
const LABELS_APART: f64 = 2.0 * braille::CELL_MM - braille::PITCH_MM - braille::DOT_MM;
/// Length of the mark that says which way is up, across and down, and its distance from the paper's
/// edges: in the margin, where no braille comes near it.
const NOTCH: f64 = 9.0;
const NOTCH_MARGIN: f64 = 8.0;
/// Between the labels of alignment lines and the top panel: room for lines to be led aside.
const LEAD: f64 = 15.0;
/// Between one panel's axis and the next panel.
const GAP: f64 = 7.0;
/// Length of an axis's ticks, and their distance in seconds.
const TICK: f64 = 2.5;
const TICK_S: f64 = 0.1;
/// Least height of a panel, and the most that is of use.
const LEAST_HEIGHT: f64 = 40.0;
const MOST_HEIGHT: f64 = 60.0;
/// Alignment lines closer than this cannot be told apart and are drawn as one.
const ONE_LINE: f64 = APART + LINE_MM_WIDE;

/// Pages for swell paper at true size, on `test`'s paper with its long side up: the key in braille,
/// then one beat of `model` with the convention's alignment lines.
///
/// # Errors
/// [`BrailleError`] where a name or sentence has a letter that cannot be written in braille.
pub(crate) fn raised_pages(
    test: &Test,
    subject: &Subject,
    model: &Cycle,
    title: &str,
) -> Result<Vec<Figure>, BrailleError> {
    Drawing::new(test, subject, model, title)?.pages()
}

/// A channel as it is drawn.
struct Channel<'a> {
    trace: &'a cycle::Trace,
    title: String,
    unit: String,
    key: String,
    /// Lowest and highest value in the time shown.
    range: [f64; 2],
    /// Whether it swings about its baseline and is drawn as an outline.
    swings: bool,
}

/// An alignment line.
struct Line {
    name: String,
    label: String,
    title: String,
    /// Seconds from the left.
    time_s: f64,
    /// What else this line stands for, being too near to have its own: title and time.
    also: Vec<(String, f64)>,
    /// What the rules say of it.
    texts: Vec<String>,
}

/// Everything that the pages show.
struct Drawing<'a> {
    test: &'a Test,
    title: String,
    size_mm: [f64; 2],
    window: [f64; 2],
    channels: Vec<Channel<'a>>,
    /// The channels of each drawing, from top to bottom.
    groups: Vec<Vec<usize>>,
    lines: Vec<Line>,
    /// Left and right end of the time axis.
    plot: [f64; 2],
}

/// An alignment line's label.
struct Label {
    cells: Vec<u8>,
    area: Box2,
    /// Where its line is, from the left of the page.
    x: f64,
}

/// Where a panel is on its page.
struct Panel<'a> {
    channel: &'a Channel<'a>,
    map: Map,
    axis: f64,
}

impl<'a> Drawing<'a> {
    fn new(
        test: &'a Test,
        subject: &Subject,
        model: &'a Cycle,
        title: &str,
    ) -> Result<Self, BrailleError> {
        let size_mm = test.paper.size_mm(Orientation::Landscape);
        let start = model.span_s().map_or(0.0, |(start, _)| start);
        let window = [start, start + model.period_s];
        let mut channels = channels(test, subject, model, window);
        let points = alignment_points(&test.convention, subject, model);
        let labels = points.iter().map(|point| own_label(point, subject));
        let fixed: Vec<Option<String>> = channels.iter().map(|_| None).chain(labels).collect();
        let names = channels.iter().map(|channel| channel.trace.channel.as_str());
        let names: Vec<&str> = names.chain(points.iter().map(|p| p.name.as_str())).collect();
        let mut keys = keys(&names, &fixed).into_iter();
        let mut widest: f64 = 0.0;
        for (channel, key) in channels.iter_mut().zip(keys.by_ref()) {
            widest = widest.max(braille::width_mm(braille::cells(&key)?.len()));
            channel.key = key;
        }
        let left = MARGIN + widest + APART + TRACE_MM / 2.0;
        let plot = [left, size_mm[0] - MARGIN - TRACE_MM / 2.0];
        let mut drawing = Self {
            test,
            title: title.replace(" · ", ", "),
            size_mm,
            window,
            groups: Vec::new(),
            lines: Vec::new(),
            channels,
            plot,
        };
        drawing.groups = drawing.grouped(&subject.reference_channel);
        drawing.lines = drawing.placed(subject, model, points.into_iter().zip(keys).collect());
        Ok(drawing)
    }

    fn pages(&self) -> Result<Vec<Figure>, BrailleError> {
        let mut pages = self.key()?;
        for group in &self.groups {
            pages.push(self.drawing(group)?);
        }
        let count = pages.len();
        for (index, page) in pages.iter_mut().enumerate() {
            let words = format!("page {} of {count}", index + 1);
            write(page, &braille::cells(&words)?, [MARGIN, MARGIN]);
            page.title = format!("Raised lines: {}, {words}", self.title);
            page.alt = format!("{}. {}", page.title, page.alt);
        }
        Ok(pages)
    }

    /// A page with nothing but the mark that says which way is up.
    fn blank(&self) -> Figure {
        let [width_mm, height_mm] = self.size_mm;
        let mut page = Figure {
            width_mm,
            height_mm,
            title: String::new(),
            alt: String::new(),
            items: Vec::new(),
        };
        let inset = NOTCH_MARGIN + NOTCH_MM / 2.0;
        let from = [width_mm - inset - NOTCH, inset];
        let to = [width_mm - inset, inset + NOTCH];
        rise(&mut page, Tag::Panel, vec![vec![from, to]], NOTCH_MM);
        page
    }

    /// Room for panels from the top of the first to the axis of the last.
    fn room(&self) -> [f64; 2] {
        let top = MARGIN + LINE_MM + HEIGHT_MM + LEAD;
        [top, self.size_mm[1] - MARGIN - TICK - AXIS_MM]
    }

    /// The channels page by page: the reference channel at the top of each, the others spread
    /// evenly over as many pages as leave every panel its least height.
    fn grouped(&self, reference: &str) -> Vec<Vec<usize>> {
        let [top, bottom] = self.room();
        let most = ((bottom - top + GAP) / (LEAST_HEIGHT + GAP)).floor().max(2.0) as usize;
        let all: Vec<usize> = (0..self.channels.len()).collect();
        let on_top = |index: &usize| self.channels[*index].trace.channel == reference;
        let (first, others): (Vec<usize>, Vec<usize>) = all.into_iter().partition(on_top);
        let pages = others.len().div_ceil(most - first.len()).max(1);
        let each = others.len().div_ceil(pages).max(1);
        if others.is_empty() {
            return vec![first];
        }
        others.chunks(each).map(|some| first.iter().chain(some).copied().collect()).collect()
    }

    /// The alignment lines from left to right, those too near to be told apart as one.
    fn placed(&self, subject: &Subject, model: &Cycle, points: Vec<(Point, String)>) -> Vec<Line> {
        let Some(beat) = beats(model, subject).into_iter().next() else { return Vec::new() };
        let mut placed: Vec<Line> = Vec::new();
        let mut timed: Vec<(f64, Point, String)> = points
            .into_iter()
            .filter_map(|(point, label)| Some((beat.time_s(&point)?, point, label)))
            .filter(|(time_s, ..)| (self.window[0]..=self.window[1]).contains(time_s))
            .collect();
        timed.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mm_per_s = (self.plot[1] - self.plot[0]) / (self.window[1] - self.window[0]);
        for (time_s, point, label) in timed {
            let title = title_of(&point, subject);
            let texts = self.said_of(&beat, time_s);
            let time_s = time_s - self.window[0];
            match placed.last_mut() {
                Some(last) if (time_s - last.time_s) * mm_per_s < ONE_LINE => {
                    last.also.push((title, time_s));
                    last.texts.extend(texts);
                }
                _ => {
                    let (name, also) = (point.name, Vec::new());
                    placed.push(Line { name, label, title, time_s, also, texts });
                }
            }
        }
        placed
    }

    /// What the rules put on the line at `time_s`.
    fn said_of(&self, beat: &convention::Beat, time_s: f64) -> Vec<String> {
        let here =
            |point: &Point| beat.time_s(point).is_some_and(|other| (other - time_s).abs() < 0.001);
        let on_line = self.test.convention.rules.iter().filter(|rule| match &rule.says {
            Says::Timing { point, timing: Relative::Offset { to, relation, .. } } => {
                *relation == Relation::With && here(point) && here(to)
            }
            _ => false,
        });
        on_line.map(|rule| rule.text.clone()).collect()
    }

    /// The panels of one drawing.
    fn panels(&self, group: &[usize]) -> Vec<Panel<'_>> {
        let [top, bottom] = self.room();
        let count = group.len() as f64;
        let height = ((bottom - top - GAP * (count - 1.0)) / count).min(MOST_HEIGHT);
        let panel = |(place, index): (usize, &usize)| {
            let channel = &self.channels[*index];
            let top = top + place as f64 * (height + GAP);
            let axis = top + height;
            let map = Map {
                start_s: self.window[0],
                end_s: self.window[1],
                left: self.plot[0],
                right: self.plot[1],
                low: channel.range[0],
                high: channel.range[1],
                top: top + TRACE_MM / 2.0,
                bottom: axis - AXIS_MM / 2.0 - APART - TRACE_MM / 2.0,
            };
            Panel { channel, map, axis }
        };
        group.iter().enumerate().map(panel).collect()
    }

    fn drawing(&self, group: &[usize]) -> Result<Figure, BrailleError> {
        let mut page = self.blank();
        let panels = self.panels(group);
        let mut obstacles = Obstacles::default();
        for panel in &panels {
            let parts = trace::parts(panel.channel, &panel.map);
            let first = parts.first().and_then(|part| part.first()).map_or(panel.axis, |p| p[1]);
            obstacles.lines(&parts, TRACE_MM);
            let tag = Tag::Trace(panel.channel.trace.channel.clone());
            rise(&mut page, tag, parts, TRACE_MM);
            self.axis(&mut page, &mut obstacles, panel.axis);
            let cells = braille::cells(&panel.channel.key)?;
            let y = (first - HEIGHT_MM / 2.0).clamp(panel.map.top, panel.axis - HEIGHT_MM);
            write(&mut page, &cells, [MARGIN, y]);
        }
        self.alignment_lines(&mut page, &obstacles, panels.last().map_or(0.0, |p| p.axis))?;
        page.alt = self.words(&panels);
        Ok(page)
    }

    /// A panel's time axis with its ticks.
    fn axis(&self, page: &mut Figure, obstacles: &mut Obstacles, y: f64) {
        let [left, right] = self.plot;
        let length_s = self.window[1] - self.window[0];
        let mut parts = vec![vec![[left, y], [right, y]]];
        for tick in 0..=(length_s / TICK_S + 1e-9) as usize {
            let x = left + tick as f64 * TICK_S / length_s * (right - left);
            parts.push(vec![[x, y], [x, y + TICK]]);
        }
        obstacles.area(Box2::new(left, y - AXIS_MM / 2.0, right - left, AXIS_MM + TICK));
        rise(page, Tag::Axis, parts, AXIS_MM);
    }

    /// The labels of the alignment lines, in a row.
    fn labels(&self) -> Result<Vec<Label>, BrailleError> {
        let [left, right] = self.plot;
        let length_s = self.window[1] - self.window[0];
        let all = self.lines.iter().map(|line| braille::cells(&line.label));
        let all = all.collect::<Result<Vec<_>, _>>()?;
        let wanted: Vec<[f64; 2]> = self
            .lines
            .iter()
            .zip(&all)
            .map(|(line, cells)| {
                let x = left + line.time_s / length_s * (right - left);
                [x, braille::width_mm(cells.len())]
            })
            .collect();
        let middles = spread(&wanted, LABELS_APART, [MARGIN, self.size_mm[0] - MARGIN]);
        let labels =
            all.into_iter().zip(wanted).zip(middles).map(|((cells, [x, width]), middle)| {
                let area = Box2::new(middle - width / 2.0, MARGIN + LINE_MM, width, HEIGHT_MM);
                Label { cells, area, x }
            });
        Ok(labels.collect())
    }

    /// The alignment lines down to `bottom`, each from below its label.
    fn alignment_lines(
        &self,
        page: &mut Figure,
        obstacles: &Obstacles,
        bottom: f64,
    ) -> Result<(), BrailleError> {
        let bend = self.room()[0] - APART;
        for (line, label) in self.lines.iter().zip(self.labels()?) {
            let Label { cells, area, x } = label;
            write(page, &cells, [area.x, area.y]);
            let from = [area.x + area.w / 2.0, area.bottom() + APART + LINE_MM_WIDE / 2.0];
            let way = [from, [x, bend], [x, bottom]];
            let parts = clear_parts(&way, obstacles, APART + LINE_MM_WIDE / 2.0);
            let parts = parts.iter().flat_map(|part| dashes(part, DASH)).collect();
            rise(page, Tag::Line(line.name.clone()), parts, LINE_MM_WIDE);
        }
        Ok(())
    }

    /// A drawing in words.
    fn words(&self, panels: &[Panel<'_>]) -> String {
        let names = panels.iter().map(|panel| entry(panel.channel));
        let panels: Vec<String> = names.collect();
        let lines: Vec<String> = self.lines.iter().map(line_entry).collect();
        format!(
            "Drawing with raised lines. Panels from top to bottom on one time axis of {:.0} ms: {}. Alignment lines from left to right: {}.",
            (self.window[1] - self.window[0]) * 1000.0,
            panels.join("; "),
            lines.join("; ")
        )
    }
}

/// The channels of all pages of the test that `model` has, each once.
fn channels<'a>(
    test: &Test,
    subject: &Subject,
    model: &'a Cycle,
    window: [f64; 2],
) -> Vec<Channel<'a>> {
    let mut channels: Vec<Channel<'a>> = Vec::new();
    for id in test.pages.iter().flat_map(|page| &page.panels) {
        let known = channels.iter().any(|channel| channel.trace.channel == *id);
        let (Some(trace), false) = (model.trace(id), known) else { continue };
        let swings = subject.strokes.iter().any(|s| s.channel == *id && s.burst.is_some());
        let kind = subject.channel(id);
        channels.push(Channel {
            trace,
            title: kind.map_or_else(|| id.clone(), |kind| kind.title.clone()),
            unit: trace.unit.clone(),
            key: String::new(),
            range: trace::range(trace, window, swings),
            swings,
        });
    }
    channels
}

/// A landmark's own label, where it has one that is no word.
fn own_label(point: &Point, subject: &Subject) -> Option<String> {
    let label = &subject.landmark(&point.name)?.label;
    (1..=3).contains(&label.chars().count()).then(|| label.clone())
}

/// What a line is called: its landmark, with the channel where several have it, or its event.
fn title_of(point: &Point, subject: &Subject) -> String {
    let title = subject.title_of(&point.name).unwrap_or(&point.name);
    let several = subject.landmark(&point.name).is_some_and(|kind| kind.channels.len() > 1);
    let channel = point.channel.as_ref().filter(|_| several);
    match channel.and_then(|channel| subject.channel(channel)) {
        Some(kind) => format!("{title}, {}", kind.label),
        None => title.to_owned(),
    }
}

/// A channel in the key: its key, its name, its values.
fn entry(channel: &Channel<'_>) -> String {
    let Channel { key, title, unit, range, .. } = channel;
    if unit == "relative" {
        return format!("{key}: {title}");
    }
    let digits = match range[1] - range[0] {
        span if span >= 20.0 => 0,
        span if span >= 2.0 => 1,
        _ => 2,
    };
    let value = |value: f64| format!("{value:.digits$}").replace('-', "−");
    format!("{key}: {title}, {} to {} {unit}", value(range[0]), value(range[1]))
}

/// An alignment line in the key: its label, its name, its time.
fn line_entry(line: &Line) -> String {
    let ms = |time_s: f64| format!("{:.0} ms", time_s * 1000.0);
    let mut text = format!("{}: {}, {}", line.label, line.title, ms(line.time_s));
    for (title, time_s) in &line.also {
        text += &format!("; also {title}, {}", ms(*time_s));
    }
    text
}

/// Adds black lines to a page.
fn rise(page: &mut Figure, tag: Tag, parts: Vec<Vec<[f64; 2]>>, width: f64) {
    let stroke = Stroke::solid(BLACK, width);
    page.items.push(Item { tag, shape: Shape::Lines { parts, stroke } });
}

/// Adds braille to a page; `at` is its top left corner.
fn write(page: &mut Figure, cells: &[u8], at: [f64; 2]) {
    let dots = braille::dots(cells, at).into_iter();
    let shapes = dots.map(|points| Shape::Polygon { points, colour: BLACK });
    page.items.extend(shapes.map(|shape| Item { tag: Tag::Title, shape }));
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]
mod tests;
