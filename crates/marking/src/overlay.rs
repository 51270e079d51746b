//! A student's own drawing, with what was found on it.

use std::collections::BTreeMap;

use convention::{Point, Rule, Says};
use figure::style;
use figure::{Align, Box2, Figure, Item, Shape, Tag, font};

use crate::drawn::DrawnPage;
use crate::feedback::Feedback;
use crate::marks::{Outcome, RuleMark};
use crate::page_picture::PagePicture;
use crate::room::Room;
use crate::said::{Names, mm, way};
use crate::sites::{Site, Sites, Spot};
use crate::view::{View, drawn_lines, line, text};

/// Darker than this is ink.
const INK: u8 = 165;
/// Radius of a ring, in millimetres of print.
const RING: f64 = 0.9;
/// Least length of an arrow.
const ARROW: f64 = 3.6;
/// A label farther from its place than this has a line to it.
const NEAR: f64 = 2.2;
/// Room for a tick, and between the parts of a label, in parts of the letters' size.
const TICK: f64 = 0.85;
const SPACE: f64 = 0.6;
/// Reach of the dashed line beyond what it joins.
const BEYOND: f64 = 3.0;

/// A rule with its number, what was made of it, and where it was looked at.
struct Sign<'a> {
    number: usize,
    rule: &'a Rule,
    mark: &'a RuleMark,
    site: Site,
}

/// What stands in one label.
struct Label {
    at: [f64; 2],
    name: String,
    /// Numbers of rules that are met.
    met: Vec<usize>,
    /// Numbers of rules that are with the instructor.
    open: Vec<usize>,
    /// What is framed: a rule that is not met.
    missed: Option<String>,
}

/// The picture of one page; `size` is that of letters.
pub(crate) fn picture(
    feedback: &Feedback<'_>,
    sites: &Sites<'_>,
    page: u8,
    most: [f64; 2],
    size: f64,
) -> Option<Figure> {
    let rubric = feedback.rubric;
    let view = View::new(rubric, page, most)?;
    let scan = feedback.pictures.iter().find(|one| one.page == page && one.is_whole());
    let drawn = feedback.drawn.pages.iter().find(|one| one.page == page);
    let [width, height] = view.size();
    let mut shapes = Vec::new();
    let ground = match scan {
        Some(scan) => {
            shapes.extend(scanned(scan, &view));
            scan.clone()
        }
        None => {
            let lines = traced(drawn, feedback, &view, &mut shapes);
            raster(&view, &lines)
        }
    };
    let area = Box2::new(0.0, 0.0, width, height);
    let mut room = Room::new(area, |at| ground.at(view.back(at)) < INK);
    shapes.iter().filter_map(Shape::text_box).for_each(|named| room.take(named));
    let mut overlay = Overlay { view, room, shapes, size };
    let signs: Vec<Sign<'_>> = signs(feedback, sites);
    let here: Vec<&Sign<'_>> = signs.iter().filter(|one| one.site.spot.page == page).collect();
    let rings = sites.rings(feedback.located);
    for (_, spot, _) in rings.iter().filter(|(_, spot, _)| spot.page == page) {
        overlay.ring(*spot);
    }
    for sign in here.iter().filter(|sign| sign.mark.outcome == Outcome::NotMet) {
        overlay.arrow(sign);
    }
    let names = Names::of(rubric);
    let labels = labels(&here, &rings, names, &view);
    // All lines to labels lie beneath all labels.
    let placed: Vec<Option<Box2>> = labels.iter().map(|label| overlay.placed(label)).collect();
    for (label, area) in labels.iter().zip(placed) {
        if let Some(area) = area {
            overlay.label(label, area);
        }
    }
    let items = overlay.shapes.into_iter().map(|shape| Item { tag: Tag::Paper, shape }).collect();
    let alt = alt(&here, page);
    Some(Figure { width_mm: width, height_mm: height, title: String::new(), alt, items })
}

/// The rules with places, numbered as in the key.
fn signs<'a>(feedback: &Feedback<'a>, sites: &Sites<'_>) -> Vec<Sign<'a>> {
    let numbered = (1..).zip(&feedback.marks.rules);
    let sign = |(number, mark): (usize, &'a RuleMark)| {
        // What earns nothing whatever it is, or does not count, nobody looks at.
        if mark.uncounted.is_some() || mark.outcome == Outcome::Review && !mark.is_open() {
            return None;
        }
        let rule = feedback.rubric.convention.rule(&mark.id)?;
        let site = sites.of(rule, mark)?;
        Some(Sign { number, rule, mark, site })
    };
    numbered.filter_map(sign).collect()
}

fn scanned(scan: &PagePicture, view: &View) -> Option<Shape> {
    match scan.cut(&view.cut, view.scale)? {
        Shape::Image { area, width, height, grey } => {
            Some(Shape::Image { area: view.area(&area), width, height, grey })
        }
        other => Some(other),
    }
}

/// Without a scan: panels, what is printed in them and what was read. Gives all lines in print.
fn traced(
    drawn: Option<&DrawnPage>,
    feedback: &Feedback<'_>,
    view: &View,
    shapes: &mut Vec<Shape>,
) -> Vec<Vec<[f64; 2]>> {
    let rubric = feedback.rubric;
    shapes.extend(view.frames(rubric));
    let mut lines = drawn.map(drawn_lines).unwrap_or_default();
    for on in rubric.panels.iter().filter(|on| on.page == view.page && on.place.given) {
        if let Some(trace) = rubric.model.trace(&on.place.channel) {
            lines.extend(figure::lines_of(trace, &on.place.map()));
        }
    }
    for bar in drawn.into_iter().flat_map(|page| &page.bars) {
        let Some(on) = rubric.bars.iter().find(|on| on.place.bar == bar.bar) else { continue };
        let y = on.place.area.y + on.place.area.h / 2.0;
        for [from, to] in &bar.stretches_mm {
            lines.push(vec![[*from, y], [*to, y]]);
        }
    }
    let print = |run: &Vec<[f64; 2]>| run.iter().map(|point| view.at(*point)).collect();
    let lines: Vec<Vec<[f64; 2]>> = lines.iter().map(print).collect();
    for run in &lines {
        shapes.push(line(run.clone(), style::GHOST, 0.4, &[]));
    }
    lines
}

/// Lines in print as a coarse picture of the page, so that labels can keep off them.
fn raster(view: &View, lines: &[Vec<[f64; 2]>]) -> PagePicture {
    const PER_MM: f64 = 4.0;
    let [w, h] = view.size();
    let (width, height) = ((w * PER_MM).ceil() as usize, (h * PER_MM).ceil() as usize);
    let mut grey = vec![255u8; width * height];
    for pair in lines.iter().flat_map(|run| run.windows(2)) {
        let [dx, dy] = [pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]];
        let steps = (libm::hypot(dx, dy) * PER_MM * 1.5).ceil().max(1.0);
        for step in 0..=steps as usize {
            let share = step as f64 / steps;
            let column = ((pair[0][0] + share * dx) * PER_MM).max(0.0) as usize;
            let row = ((pair[0][1] + share * dy) * PER_MM).max(0.0) as usize;
            if column < width && row < height {
                grey[row * width + column] = 0;
            }
        }
    }
    let area = Box2::new(
        view.cut.x,
        view.cut.y,
        width as f64 / PER_MM / view.scale,
        height as f64 / PER_MM / view.scale,
    );
    PagePicture::new(view.page, area, width, height, grey)
}

/// The labels of a page: first what is missed, which needs the best places.
fn labels(
    signs: &[&Sign<'_>],
    rings: &[(Point, Spot, bool)],
    names: Names<'_>,
    view: &View,
) -> Vec<Label> {
    let blank = |at, name| Label { at, name, met: Vec::new(), open: Vec::new(), missed: None };
    let mut missed = Vec::new();
    let mut along = Vec::new();
    let mut named: BTreeMap<Point, Label> = BTreeMap::new();
    for (point, spot, first) in rings {
        if *first && spot.page == view.page {
            named.insert(point.clone(), blank(view.at(spot.at_mm), names.label(point)));
        }
    }
    for sign in signs {
        let at = view.at(sign.site.spot.at_mm);
        if sign.mark.outcome == Outcome::NotMet {
            let text = match (sign.site.target_mm, sign.site.drawn) {
                (Some(_), _) => format!("{}: {}", sign.number, mm(sign.mark.off_mm)),
                (None, true) => sign.number.to_string(),
                (None, false) => format!("{}: not found", sign.number),
            };
            missed.push(Label { missed: Some(text), ..blank(at, String::new()) });
            continue;
        }
        let label = match &sign.site.point {
            Some(point) => {
                named.entry(point.clone()).or_insert_with(|| blank(at, names.label(point)))
            }
            None => {
                along.push(blank(at, String::new()));
                let Some(last) = along.last_mut() else { continue };
                last
            }
        };
        match sign.mark.outcome {
            Outcome::Met => label.met.push(sign.number),
            _ => label.open.push(sign.number),
        }
    }
    missed.into_iter().chain(named.into_values()).chain(along).collect()
}

struct Overlay {
    view: View,
    room: Room,
    shapes: Vec<Shape>,
    size: f64,
}

impl Overlay {
    fn ring(&mut self, spot: Spot) {
        let [x, y] = self.view.at(spot.at_mm);
        let corner = |step: usize| {
            let angle = step as f64 / 16.0 * 2.0 * std::f64::consts::PI;
            [x + RING * libm::cos(angle), y + RING * libm::sin(angle)]
        };
        self.shapes.push(line((0..=16).map(corner).collect(), style::ACCENT, 0.3, &[]));
        self.room.take(Box2::new(x, y, 0.0, 0.0).grown(RING));
    }

    /// From where it was drawn to where the rule has it, which is dashed.
    fn arrow(&mut self, sign: &Sign<'_>) {
        let Some(target) = sign.site.target_mm else { return };
        let (from, to) = (self.view.at(sign.site.spot.at_mm), self.view.at(target));
        let upright = !matches!(sign.rule.says, Says::Timing { .. });
        let axis = usize::from(upright);
        let way = if to[axis] > from[axis] { 1.0 } else { -1.0 };
        // The dashed line is where it belongs: upright on a time, level at a height.
        let mut ends = [to, to];
        let across = 1 - axis;
        let other = sign.site.to.filter(|other| other.page == self.view.page);
        let other = other.map_or(to[across], |other| self.view.at(other.at_mm)[across]);
        ends[0][across] = to[across].min(other) - BEYOND;
        ends[1][across] = to[across].max(other) + BEYOND;
        if upright {
            (ends[0][0], ends[1][0]) = (to[0] - 2.0 * BEYOND, to[0] + 2.0 * BEYOND);
        }
        let [width, height] = self.view.size();
        for end in &mut ends {
            *end = [end[0].clamp(0.0, width), end[1].clamp(0.0, height)];
        }
        self.shapes.push(line(ends.to_vec(), style::ACCENT, 0.3, &[1.4, 0.8]));
        let [a, b] = ends;
        self.room.take(Box2::new(a[0], a[1], b[0] - a[0], b[1] - a[1]).grown(0.3));
        // A short arrow begins beyond what was drawn, so that it can be seen.
        let length = (to[axis] - from[axis]).abs().max(ARROW);
        let mut tail = to;
        tail[axis] = (to[axis] - way * length).clamp(0.0, [width, height][axis]);
        let head = |along: f64, aside: f64| {
            let mut point = to;
            point[axis] -= way * along;
            point[across] += aside;
            point
        };
        self.shapes.push(line(vec![tail, head(1.2, 0.0)], style::ACCENT, 0.45, &[]));
        let points = vec![to, head(1.8, 0.8), head(1.8, -0.8)];
        self.shapes.push(Shape::Polygon { points, colour: style::ACCENT });
        let (x, y) = (to[0].min(tail[0]), to[1].min(tail[1]));
        let area = Box2::new(x, y, (to[0] - tail[0]).abs(), (to[1] - tail[1]).abs());
        self.room.take(area.grown(0.5));
    }

    /// Finds room for a label; where it stands far from its place a line leads there.
    fn placed(&mut self, label: &Label) -> Option<Box2> {
        let pad = label.pad();
        let width = parts(label, self.size).iter().map(|part| part.width).sum::<f64>();
        let width = width - SPACE * self.size + 2.0 * pad;
        let area = self.room.place(label.at, [width, 1.05 * self.size + 2.0 * pad])?;
        let nearest =
            [label.at[0].clamp(area.x, area.right()), label.at[1].clamp(area.y, area.bottom())];
        if libm::hypot(nearest[0] - label.at[0], nearest[1] - label.at[1]) > NEAR {
            self.shapes.push(line(vec![label.at, nearest], style::ACCENT, 0.2, &[]));
        }
        Some(area)
    }

    fn label(&mut self, label: &Label, area: Box2) {
        let size = self.size;
        self.shapes.push(Shape::Fill { area, colour: style::PAPER });
        if label.missed.is_some() {
            let (x, y, right, bottom) = (area.x, area.y, area.right(), area.bottom());
            let frame = vec![[x, y], [right, y], [right, bottom], [x, bottom], [x, y]];
            self.shapes.push(line(frame, style::ACCENT, 0.3, &[]));
        }
        let baseline = area.y + label.pad() + 0.8 * size;
        let mut x = area.x + label.pad();
        for part in parts(label, size) {
            let mut left = x;
            if part.ticked {
                self.shapes.push(tick([left, baseline], size));
                left += TICK * size;
            }
            let at = [left, baseline];
            let bold = part.bold;
            self.shapes.push(text(at, &part.words, size, bold, Align::Start, style::ACCENT));
            x += part.width;
        }
    }
}

impl Label {
    /// Room between its words and its edge.
    fn pad(&self) -> f64 {
        if self.missed.is_some() { 0.5 } else { 0.15 }
    }
}

/// A stretch of a label, and its width with the space after it.
struct Part {
    ticked: bool,
    words: String,
    bold: bool,
    width: f64,
}

fn parts(label: &Label, size: f64) -> Vec<Part> {
    let part = |ticked: bool, words: String, bold: bool| {
        let own = font::width(&words, size, bold) + if ticked { TICK * size } else { 0.0 };
        Part { ticked, words, bold, width: own + SPACE * size }
    };
    let mut parts = Vec::new();
    if let Some(missed) = &label.missed {
        parts.push(part(false, missed.clone(), true));
    }
    if !label.name.is_empty() {
        parts.push(part(false, label.name.clone(), false));
    }
    parts.extend(label.met.iter().map(|number| part(true, number.to_string(), false)));
    parts.extend(label.open.iter().map(|number| part(false, format!("{number}?"), false)));
    parts
}

/// A tick as high as a figure, from its left end on the baseline.
fn tick([x, y]: [f64; 2], size: f64) -> Shape {
    let points = [[0.05, -0.3], [0.27, -0.04], [0.7, -0.66]];
    let points = points.iter().map(|[right, down]| [x + right * size, y + down * size]);
    line(points.collect(), style::ACCENT, 0.13 * size, &[])
}

fn alt(signs: &[&Sign<'_>], page: u8) -> String {
    let of = |outcome: Outcome| signs.iter().filter(move |sign| sign.mark.outcome == outcome);
    let numbers = |outcome: Outcome| {
        let all: Vec<String> = of(outcome).map(|sign| sign.number.to_string()).collect();
        if all.is_empty() { "none".to_owned() } else { all.join(", ") }
    };
    let missed: Vec<String> = of(Outcome::NotMet)
        .map(|sign| match sign.site.target_mm {
            Some(_) => {
                let off = sign.mark.off_mm;
                format!("{} ({} {})", sign.number, mm(off), way(&sign.rule.says, off))
            }
            None => sign.number.to_string(),
        })
        .collect();
    let missed = if missed.is_empty() { "none".to_owned() } else { missed.join(", ") };
    format!(
        "Page {page} of the sheet as it was drawn, with the numbers of the rules. Met: {}. Not met: {missed}. With the instructor: {}.",
        numbers(Outcome::Met),
        numbers(Outcome::Review)
    )
}
