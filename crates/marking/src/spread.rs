//! Distributions of a class as pictures.

use figure::style;
use figure::{Align, Box2, Figure, Item, Shape, Tag, font, nice_step};
use sheet::Sizes;

use crate::said::{Names, mm, number};
use crate::statistics::{LandmarkSpread, Statistics};
use crate::view::{line, text};
use convention::Point;

/// Radius of a dot, in millimetres.
const DOT: f64 = 0.5;
/// Distance of dots one above the other, at most.
const STACK: f64 = 1.05;
/// Room for the dots of a row.
const DOTS_HIGH: f64 = 5.2;
/// Room below them for the quartiles.
const QUARTILES: f64 = 2.6;
/// Farther from the key than this, dots stand at the strip's end, in millimetres on the sheet.
const FARTHEST_MM: f64 = 20.0;
/// So far strips reach at least.
const LEAST_REACH_MM: f64 = 5.0;

/// How far from the key strips reach, in millimetres on the sheet, so that all of `spreads` can
/// be compared.
pub(crate) fn reach_mm(spreads: &[LandmarkSpread]) -> f64 {
    let offsets = spreads.iter().flat_map(|spread| &spread.offsets_mm).map(|off| off.abs());
    let farthest = offsets.fold(LEAST_REACH_MM, f64::max);
    // A wide band that nobody left would only squeeze the dots.
    let bands = spreads.iter().filter_map(|spread| spread.band_mm).flatten().flatten();
    let near = bands.map(|end| 1.1 * end.abs()).filter(|end| *end < 1.4 * farthest);
    near.fold(1.05 * farthest, f64::max).min(FARTHEST_MM).ceil()
}

struct Strips {
    left: f64,
    width: f64,
    reach: f64,
    items: Vec<Shape>,
}

impl Strips {
    fn x(&self, off_mm: f64) -> f64 {
        let held = off_mm.clamp(-self.reach, self.reach);
        self.left + (held / self.reach + 1.0) / 2.0 * self.width
    }
}

/// One row for each landmark: a dot for each sheet, the quartiles below, what the rule accepts
/// behind.
pub(crate) fn strips(
    spreads: &[&LandmarkSpread],
    names: Names<'_>,
    width: f64,
    reach: f64,
    sizes: Sizes,
) -> Figure {
    let size = sizes.small.max(2.7);
    let left = (0.3 * width).max(14.0 * size).min(0.34 * width);
    let right = 6.2 * size;
    let mut strips = Strips { left, width: width - left - right, reach, items: Vec::new() };
    let row = (DOTS_HIGH + QUARTILES + 1.2).max(2.6 * size);
    let mut said = Vec::new();
    for (index, spread) in spreads.iter().enumerate() {
        let top = index as f64 * row;
        let title = names.title(&point(spread));
        strips.row(spread, &title, Box2::new(0.0, top, width, row), size);
        said.push(words(spread, &title));
    }
    let bottom = spreads.len() as f64 * row;
    let zero = strips.x(0.0);
    let key = vec![[zero, 0.0], [zero, bottom + 1.0]];
    strips.items.push(line(key, style::ACCENT, 0.3, &[2.0, 1.0]));
    let rows = strips.axis(bottom, size);
    let height_mm = bottom + 3.0 + (1.3 + 1.2 * rows as f64) * size;
    let items = strips.items.into_iter().map(|shape| Item { tag: Tag::Paper, shape }).collect();
    let alt = format!(
        "A strip of dots for each landmark: how far from the key the class drew it, in millimetres. {}",
        said.join(" ")
    );
    Figure { width_mm: width, height_mm, title: String::new(), alt, items }
}

fn point(spread: &LandmarkSpread) -> Point {
    Point::new(&spread.name, spread.channel.as_deref())
}

/// A row in words.
fn words(spread: &LandmarkSpread, title: &str) -> String {
    let count = spread.offsets_mm.len();
    let place = |off: f64| match number(off).as_str() {
        "0" => "on the key".to_owned(),
        _ if off > 0.0 => format!("{} later", mm(off)),
        _ => format!("{} earlier", mm(off)),
    };
    let found = match spread.quartiles_mm {
        Some([low, middle, high]) => format!(
            "{count} found, the middle one {}, half of them from {} to {}",
            place(middle),
            place(low),
            place(high)
        ),
        None => "none found".to_owned(),
    };
    format!("{title}: {found}; {} missing.", spread.missing)
}

impl Strips {
    fn row(&mut self, spread: &LandmarkSpread, title: &str, area: Box2, size: f64) {
        let base = area.y + 0.6 + DOTS_HIGH;
        let (from, to) = (self.x(-self.reach), self.x(self.reach));
        if let Some([low, high]) = spread.band_mm {
            let (a, b) =
                (low.map_or(from, |low| self.x(low)), high.map_or(to, |high| self.x(high)));
            let band = Box2::new(a, area.y + 0.4, b - a, area.h - 0.8);
            self.items.push(Shape::Fill { area: band, colour: style::TINT });
            let within = |end: &f64| end.abs() <= self.reach;
            for end in [low, high].into_iter().flatten().filter(within) {
                let x = self.x(end);
                let ends = vec![[x, band.y], [x, band.bottom()]];
                self.items.push(line(ends, style::HAIRLINE, 0.2, &[]));
            }
        }
        self.items.push(line(vec![[from, base], [to, base]], style::HAIRLINE, 0.15, &[]));
        let lines = font::wrap(title, size, false, self.left - 2.0);
        let first = area.y + area.h / 2.0 + 0.35 * size - 0.6 * size * (lines.len() as f64 - 1.0);
        for (index, words) in lines.iter().enumerate() {
            let at = [0.0, first + 1.2 * size * index as f64];
            self.items.push(text(at, words, size, false, Align::Start, style::INK));
        }
        self.dots(&spread.offsets_mm, base);
        if let Some([low, middle, high]) = spread.quartiles_mm {
            let y = base + 1.5;
            let ends = vec![[self.x(low), y], [self.x(high), y]];
            self.items.push(line(ends, style::INK, 0.7, &[]));
            let x = self.x(middle);
            self.items.push(line(vec![[x, y - 1.1], [x, y + 1.1]], style::INK, 0.6, &[]));
        }
        let count = spread.offsets_mm.len();
        let mut counted = vec![count.to_string()];
        if spread.missing > 0 {
            counted.push(format!("{} missing", spread.missing));
        }
        let middle = area.y + area.h / 2.0 + 0.35 * size;
        let first = middle - 0.6 * size * (counted.len() as f64 - 1.0);
        for (index, words) in counted.iter().enumerate() {
            let at = [to + 2.0, first + 1.2 * size * index as f64];
            self.items.push(text(at, words, size, false, Align::Start, style::INK));
        }
    }

    /// Dots above the base, those that would cover one another stacked; beyond the strip's ends
    /// triangles.
    fn dots(&mut self, offsets: &[f64], base: f64) {
        let column = |off: f64| (self.x(off) / (2.0 * DOT)).round() as i64;
        let groups: Vec<&[f64]> = offsets.chunk_by(|a, b| column(*a) == column(*b)).collect();
        let most = groups.iter().map(|group| group.len()).max().unwrap_or(1) as f64;
        let step = STACK.min((DOTS_HIGH - 2.0 * DOT) / (most - 1.0).max(1.0));
        let mut shapes = Vec::new();
        for group in groups {
            let x = column(group[0]) as f64 * 2.0 * DOT;
            for (row, off) in group.iter().enumerate() {
                let y = base - DOT - 0.1 - row as f64 * step;
                let points = if off.abs() > self.reach {
                    let way = off.signum();
                    let x = self.x(*off);
                    vec![[x + 0.8 * way, y], [x - 0.5 * way, y - 0.6], [x - 0.5 * way, y + 0.6]]
                } else {
                    circle([x, y], DOT)
                };
                shapes.push(Shape::Polygon { points, colour: style::SOFT_INK });
            }
        }
        self.items.extend(shapes);
    }

    /// Gives how many lines of words stand below it.
    fn axis(&mut self, bottom: f64, size: f64) -> usize {
        let (from, to) = (self.x(-self.reach), self.x(self.reach));
        let y = bottom + 1.0;
        self.items.push(line(vec![[from, y], [to, y]], style::INK, 0.2, &[]));
        // Numbers on the axis keep apart from one another.
        let apart = 7.0 * size * self.reach / self.width;
        let step = nice_step((self.reach / 4.0).max(apart));
        let count = (self.reach / step + 1e-9).floor() as i64;
        for index in -count..=count {
            let x = self.x(index as f64 * step);
            self.items.push(line(vec![[x, y], [x, y + 1.0]], style::INK, 0.2, &[]));
            let words = match index {
                0 => "key".to_owned(),
                _ if index > 0 => format!("+{}", number(index as f64 * step)),
                _ => format!("−{}", number(-(index as f64) * step)),
            };
            let at = [x, y + 1.4 + size];
            self.items.push(text(at, &words, size, false, Align::Middle, style::INK));
        }
        let lines = font::wrap("mm later than in the key", size, false, self.left - 2.0);
        for (index, words) in lines.iter().enumerate() {
            let at = [0.0, y + 1.4 + size + 1.2 * size * index as f64];
            self.items.push(text(at, words, size, false, Align::Start, style::INK));
        }
        lines.len()
    }
}

fn circle([x, y]: [f64; 2], radius: f64) -> Vec<[f64; 2]> {
    let corner = |step: usize| {
        let angle = step as f64 / 12.0 * 2.0 * std::f64::consts::PI;
        [x + radius * libm::cos(angle), y + radius * libm::sin(angle)]
    };
    (0..12).map(corner).collect()
}

/// How many sheets earned how much, in columns of ten percent.
pub(crate) fn histogram(statistics: &Statistics, width: f64, sizes: Sizes) -> Figure {
    let counts = statistics.histogram();
    let size = sizes.small;
    let most = counts.iter().copied().max().unwrap_or(0).max(1) as f64;
    let high = 22.0;
    let top = 1.3 * size;
    let base = top + high;
    let width = width.min(120.0);
    // The words at both ends stand beyond the axis by half.
    let [from, each] = [1.8 * size, (width - 3.6 * size) / 10.0];
    let mut shapes = Vec::new();
    for (index, count) in counts.iter().enumerate() {
        let x = from + index as f64 * each;
        let tall = *count as f64 / most * high;
        if *count > 0 {
            let area = Box2::new(x + 0.4, base - tall, each - 0.8, tall);
            shapes.push(Shape::Fill { area, colour: style::TINT });
            let (right, bottom) = (area.right(), area.bottom());
            let frame = vec![[area.x, bottom], [area.x, area.y], [right, area.y], [right, bottom]];
            shapes.push(line(frame, style::INK, 0.25, &[]));
            let at = [x + each / 2.0, base - tall - 0.3 * size];
            shapes.push(text(at, &count.to_string(), size, false, Align::Middle, style::INK));
        }
    }
    let end = from + 10.0 * each;
    shapes.push(line(vec![[from, base], [end, base]], style::INK, 0.2, &[]));
    for tick in (0..=10).step_by(2) {
        let x = from + f64::from(tick) * each;
        shapes.push(line(vec![[x, base], [x, base + 1.0]], style::INK, 0.2, &[]));
        let words = format!("{} %", tick * 10);
        let at = [x, base + 1.4 + size];
        shapes.push(text(at, &words, size, false, Align::Middle, style::INK));
    }
    let told: Vec<String> = (0..)
        .zip(counts)
        .filter(|(_, count)| *count > 0)
        .map(|(index, count)| format!("{count} from {} to {} %", index * 10, index * 10 + 10))
        .collect();
    let alt = format!("How many sheets earned how much: {}.", told.join(", "));
    let items = shapes.into_iter().map(|shape| Item { tag: Tag::Paper, shape }).collect();
    let height_mm = base + 2.0 + 1.2 * size;
    Figure { width_mm: width, height_mm, title: String::new(), alt, items }
}
