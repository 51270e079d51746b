//! Alignment lines: near-vertical, near-straight strokes through panels and gaps.

use std::ops::Range;

use crate::ink::Ink;
use crate::ink::plane::Plane;
use crate::{PageForm, PanelForm};

/// Height of the pieces in which a page is looked through, in millimetres.
const BAND_MM: f64 = 1.0;
/// What an empty band costs: dots and dashes must be worth more.
const EMPTY: f32 = 0.3;
/// What one pixel to the side from one band to the next costs.
const ASIDE: f32 = 0.08;
/// The greatest slope, as x over y: 4°, since a ruler is not laid on exactly.
const STEEPEST: f64 = 0.07;
/// How far a freehand line may stray from straight, in millimetres.
const STRAYS_MM: f64 = 0.7;
/// The shortest line, in millimetres.
const SHORTEST_MM: f64 = 8.0;
/// The longest piece missing inside a line, in millimetres.
const HOLE_MM: f64 = 6.0;
/// Lines closer than this are looked at together, in millimetres.
const BESIDE_MM: f64 = 0.8;
/// The widest line, in millimetres: two that lie on each other.
const WIDEST_MM: f64 = 2.0;
/// Two lines touch for this long at least, in millimetres.
const TWICE_MM: f64 = 3.0;
/// Lines looked for on a page, and strokes that prove to be none.
const MOST: usize = 60;

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineStyle {
    /// In one go.
    Solid,
    /// In dashes.
    Dashed,
    /// In dots: pieces shorter than 1.5 mm, with the pen's own width.
    Dotted,
}

/// A line that a student drew through panels.
#[derive(Clone, Debug, PartialEq)]
pub struct AlignmentLine {
    /// Its x at the top, in millimetres from the page's left side.
    pub top_x_mm: f64,
    /// Its x at the bottom.
    pub bottom_x_mm: f64,
    /// Where it begins, in millimetres from the page's top side.
    pub top_mm: f64,
    /// Where it ends.
    pub bottom_mm: f64,
    /// Width of the stroke in millimetres.
    pub width_mm: f64,
    /// How it is drawn.
    pub style: LineStyle,
    /// 0 … 1: how much of it there is, and how straight.
    pub confidence: f32,
}

impl AlignmentLine {
    /// Its x at a height, in millimetres.
    pub fn x_at(&self, y_mm: f64) -> f64 {
        let share = (y_mm - self.top_mm) / (self.bottom_mm - self.top_mm);
        self.top_x_mm + share * (self.bottom_x_mm - self.top_x_mm)
    }
}

/// The lines on a page, and a mask of their ink.
pub(crate) fn alignment_lines(ink: &Ink, form: &PageForm) -> (Vec<AlignmentLine>, Vec<bool>) {
    let mut left = Left { ink, mask: vec![false; ink.ink.len()] };
    let mut bands = Bands::of(&left);
    let mut lines: Vec<AlignmentLine> = Vec::new();
    for _ in 0..MOST {
        let Some(path) = bands.best(ink.px(SHORTEST_MM) / bands.high) else { break };
        let mut taken = false;
        for part in path.parts(ink.px(HOLE_MM) / bands.high) {
            let found = part.shares().iter().find_map(|part| line_of(&left, &bands, part, form));
            if let Some((line, own)) = found {
                taken |= own.len() > ink.px(SHORTEST_MM);
                for at in own {
                    left.mask[at] = true;
                }
                if !lines.iter().any(|other| is_rim(&line, other)) {
                    lines.push(line);
                }
            }
        }
        bands.clear(&path, ink.px(BESIDE_MM));
        if taken {
            // Another line may lie close beside it.
            bands.count_again(&left, &path, ink.px(BESIDE_MM));
        }
    }
    lines.sort_by(|a, b| a.top_x_mm.total_cmp(&b.top_x_mm));
    (lines, left.mask)
}

/// Whether what was found is the rim of a line that was found before: close to it and narrow.
fn is_rim(line: &AlignmentLine, other: &AlignmentLine) -> bool {
    let middle = f64::midpoint(line.top_mm, line.bottom_mm);
    (line.x_at(middle) - other.x_at(middle)).abs() < BESIDE_MM
        && 2.0 * line.width_mm < other.width_mm
}

/// The ink without that of the lines that were found.
struct Left<'a> {
    ink: &'a Ink,
    mask: Vec<bool>,
}

impl Left<'_> {
    fn inked(&self, at: usize) -> bool {
        self.ink.ink.get(at).is_some_and(|&ink| ink > 0) && !self.mask[at]
    }
}

/// How much of each band's height is inked at each column: in all, and beyond what is inked
/// beside.
struct Bands {
    high: usize,
    inked: Plane<f32>,
    cover: Plane<f32>,
    /// What the best path to each place is worth, and from which side it comes.
    score: Plane<f32>,
    from: Vec<i8>,
    /// What the band above the first one is worth, and room for a band in work.
    nothing: Vec<f32>,
    fresh: Vec<f32>,
    /// The most that a path to each band is worth.
    most: Vec<f32>,
    /// Columns of each band in which the cover has changed since.
    stale: Vec<Range<usize>>,
}

/// Columns, band by band.
struct Path {
    first: usize,
    columns: Vec<usize>,
    inked: Vec<bool>,
}

impl Bands {
    fn of(left: &Left<'_>) -> Self {
        let ink = left.ink;
        let high = ink.px(BAND_MM);
        let (width, height) = (ink.width, ink.height / high);
        let mut bands = Self {
            high,
            inked: Plane::new(width, height),
            cover: Plane::new(width, height),
            score: Plane::new(width, height),
            from: vec![i8::MIN; width * height],
            nothing: vec![0.0; width],
            fresh: Vec::with_capacity(width),
            most: vec![0.0; height],
            stale: vec![0..width; height],
        };
        for band in 0..height {
            bands.count(left, band, 0..width);
        }
        bands
    }

    /// Counts the ink of some columns of a band.
    fn count(&mut self, left: &Left<'_>, band: usize, columns: Range<usize>) {
        let (ink, high) = (left.ink, self.high);
        let beside = ink.px(1.0);
        let columns = columns.start.max(beside)..columns.end.min(ink.width - beside);
        let first = columns.start - beside;
        // A band has fewer rows than a byte can count.
        let mut counts = vec![0_u8; columns.end + beside - first];
        let mut row = vec![false; counts.len() + 2];
        for y in band * high..(band + 1) * high {
            let start = y * ink.width + first;
            // From the pixel before the first; there is none before the page's, or after its last.
            row.fill(false);
            let (from, none) = (start.saturating_sub(1), usize::from(start == 0));
            let pixels = ink.ink[from..].iter().zip(&left.mask[from..]);
            for (inked, (&ink, &mask)) in row[none..].iter_mut().zip(pixels) {
                *inked = (ink > 0) & !mask;
            }
            for (count, near) in counts.iter_mut().zip(row.windows(3)) {
                *count += u8::from(near[0] | near[1] | near[2]);
            }
        }
        for x in columns {
            let n = x - first;
            let at = band * ink.width + x;
            let [own, left, right] = [n, n - beside, n + beside].map(|n| f32::from(counts[n]));
            self.inked.data[at] = own / high as f32;
            self.cover.data[at] = (own - 0.5 * (left + right)).max(0.0) / high as f32;
        }
    }

    /// Counts again what is left about a path.
    fn count_again(&mut self, left: &Left<'_>, path: &Path, aside: usize) {
        for (n, &x) in path.columns.iter().enumerate() {
            let columns = x.saturating_sub(aside)..x + aside + 1;
            self.count(left, path.first + n, columns);
        }
    }

    /// The path downward that meets most ink and least paper, if it is worth `least` full bands.
    fn best(&mut self, least: usize) -> Option<Path> {
        let width = self.cover.width;
        let mut changed: Range<usize> = 0..0;
        for band in 0..self.cover.height {
            let above = changed.start.saturating_sub(1)..changed.end + 1;
            let above = if changed.is_empty() { 0..0 } else { above };
            let columns = joined(std::mem::replace(&mut self.stale[band], 0..0), above);
            let columns = columns.start.max(1)..columns.end.min(width - 1);
            changed = if columns.is_empty() { 0..0 } else { self.scored(band, columns) };
            if !changed.is_empty() {
                self.most[band] = greatest(self.score.row(band));
            }
        }
        let most = self.most.iter().copied().fold(0.0, f32::max);
        if most < least as f32 * 0.35 {
            return None;
        }
        let band = self.most.iter().position(|&one| one == most)?;
        let x = self.score.row(band).iter().position(|&one| one == most)?;
        Some(self.back(&self.from, band * width + x))
    }

    /// Scores some columns of a band anew; between which columns that changed anything.
    fn scored(&mut self, band: usize, columns: Range<usize>) -> Range<usize> {
        let width = self.cover.width;
        let (above, here) = self.score.data.split_at_mut(band * width);
        let above = band.checked_sub(1).map_or(&self.nothing[..], |it| &above[it * width..]);
        let own = band * width + columns.start..band * width + columns.end;
        let from = self.from[own.clone()].iter_mut().zip(&self.cover.data[own]);
        self.fresh.clear();
        self.fresh.extend(above[columns.start - 1..].windows(3).zip(from).map(
            |(above, (from, cover))| {
                let (left, right) = (above[0] - ASIDE, above[2] - ASIDE);
                let (best, came) = if above[1] > 0.0 { (above[1], 0) } else { (0.0, i8::MIN) };
                let (best, came) = if left > best { (left, -1) } else { (best, came) };
                let (best, came) = if right > best { (right, 1) } else { (best, came) };
                *from = came;
                (best + (1.6 * cover).min(1.0) - EMPTY).max(0.0)
            },
        ));
        let here = &mut here[columns.clone()];
        let differs = |n: &usize| here[*n] != self.fresh[*n];
        let first = (0..here.len()).find(differs);
        let last = (0..here.len()).rev().find(differs);
        here.copy_from_slice(&self.fresh);
        first.zip(last).map_or(0..0, |(from, to)| columns.start + from..columns.start + to + 1)
    }

    fn back(&self, from: &[i8], end: usize) -> Path {
        let width = self.cover.width;
        let (mut x, mut band) = (end % width, end / width);
        let mut columns = vec![x];
        while from[band * width + x] != i8::MIN && band > 0 {
            x = (x as isize + isize::from(from[band * width + x])) as usize;
            band -= 1;
            columns.push(x);
        }
        columns.reverse();
        let inked = columns
            .iter()
            .enumerate()
            .map(|(n, &x)| self.inked.data[(band + n) * width + x] > 0.15)
            .collect();
        Path { first: band, columns, inked }
    }

    fn clear(&mut self, path: &Path, aside: usize) {
        for (n, &x) in path.columns.iter().enumerate() {
            let row = (path.first + n) * self.cover.width;
            let to = (x + aside + 1).min(self.cover.width);
            self.cover.data[row + x.saturating_sub(aside)..row + to].fill(0.0);
            let stale = &mut self.stale[path.first + n];
            *stale = joined(stale.clone(), x.saturating_sub(aside)..to);
        }
    }
}

/// The greatest of some numbers, or 0.
fn greatest(numbers: &[f32]) -> f32 {
    /// So many are compared side by side, since each waits for the one before it.
    const TOGETHER: usize = 16;
    let larger = |most: f32, one: f32| if one > most { one } else { most };
    let mut most = [0.0_f32; TOGETHER];
    for numbers in numbers.chunks(TOGETHER) {
        most.iter_mut().zip(numbers).for_each(|(most, &one)| *most = larger(*most, one));
    }
    most.into_iter().fold(0.0, larger)
}

/// The least range with all of both.
fn joined(one: Range<usize>, other: Range<usize>) -> Range<usize> {
    match (one.is_empty(), other.is_empty()) {
        (true, _) => other,
        (_, true) => one,
        _ => one.start.min(other.start)..one.end.max(other.end),
    }
}

impl Path {
    /// The path, and its ends without the other: a steep trace may lead onto a line or off it.
    fn shares(&self) -> Vec<Self> {
        let all = self.columns.len();
        let share = |from: usize, to: usize| Self {
            first: self.first + from,
            columns: self.columns[from..to].to_vec(),
            inked: self.inked[from..to].to_vec(),
        };
        let ends = [(0, all), (all / 3, all), (0, 2 * all / 3), (all / 2, all), (0, all / 2)];
        ends.into_iter().map(|(from, to)| share(from, to)).collect()
    }

    /// The parts between long holes, each beginning and ending on ink.
    fn parts(&self, hole: usize) -> Vec<Self> {
        let inked: Vec<usize> = (0..self.columns.len()).filter(|&n| self.inked[n]).collect();
        let mut parts = Vec::new();
        let mut start = 0;
        for n in 1..=inked.len() {
            if n == inked.len() || inked[n] - inked[n - 1] > hole {
                let (from, to) = (inked[start], inked[n - 1]);
                parts.push(Self {
                    first: self.first + from,
                    columns: self.columns[from..=to].to_vec(),
                    inked: self.inked[from..=to].to_vec(),
                });
                start = n;
            }
        }
        parts
    }
}

/// A straight line: x at y = 0, and x over y.
#[derive(Clone, Copy)]
pub(super) struct Straight {
    start: f64,
    slope: f64,
}

impl Straight {
    pub(super) fn through(points: &[[f64; 2]]) -> Self {
        let n = points.len() as f64;
        let mean = |axis: usize| points.iter().map(|point| point[axis]).sum::<f64>() / n;
        let (x, y) = (mean(0), mean(1));
        let over: f64 = points.iter().map(|point| (point[0] - x) * (point[1] - y)).sum();
        let spread: f64 = points.iter().map(|point| (point[1] - y) * (point[1] - y)).sum();
        let slope = if spread > 0.0 { over / spread } else { 0.0 };
        Self { start: x - slope * y, slope }
    }

    pub(super) fn at(&self, y: f64) -> f64 {
        self.start + self.slope * y
    }
}

/// The line that a path is, with the pixels of its ink; or `None` where it is something else.
fn line_of(
    left: &Left<'_>,
    bands: &Bands,
    path: &Path,
    form: &PageForm,
) -> Option<(AlignmentLine, Vec<usize>)> {
    let ink = left.ink;
    let middle = |n: usize| ((path.first + n) as f64 + 0.5) * bands.high as f64 - 0.5;
    let mut points: Vec<[f64; 2]> = (0..path.columns.len())
        .filter(|&n| path.inked[n])
        .map(|n| [path.columns[n] as f64, middle(n)])
        .collect();
    let strays = STRAYS_MM * ink.px_per_mm;
    let straight = trimmed(&mut points, strays)?;
    let half = bands.high as f64 / 2.0;
    let (top, bottom) = (points.first()?[1] - half, points.last()?[1] + half);
    let near = |y: f64| nearest(&points, y);
    let rows: Vec<Option<[usize; 2]>> = (top.max(0.0) as usize..=bottom as usize)
        .map(|y| run_at(left, near(y as f64), y, ink.px(0.25)))
        .collect();
    let first = rows.iter().position(Option::is_some)?;
    let last = rows.iter().rposition(Option::is_some)?;
    let top = top.max(0.0) as usize + first;
    let rows = &rows[first..=last];
    let met = rows.iter().flatten().count() as f64 / rows.len() as f64;
    let length = rows.len() as f64 / ink.px_per_mm;
    if straight.slope.abs() > STEEPEST || length < SHORTEST_MM || met < 0.3 {
        return None;
    }
    let bottom = top + rows.len() - 1;
    if !crosses(ink, form, rows, top, straight) {
        return None;
    }
    let mut widths: Vec<usize> = rows.iter().flatten().map(|run| run[1] - run[0]).collect();
    widths.sort_unstable();
    // Crossings and traces that run along make it wider, not narrower.
    let width = widths[widths.len() * 2 / 5].min(ink.px(WIDEST_MM));
    let twice = drawn_twice(ink, form, rows, top, width);
    let own = own_ink(ink, rows, top, width, &twice);
    let spread = spread(&points, straight) / ink.px_per_mm;
    let line = AlignmentLine {
        top_x_mm: ink.x_mm(straight.at(top as f64)),
        bottom_x_mm: ink.x_mm(straight.at(bottom as f64)),
        top_mm: ink.y_mm(top as f64 - 0.5),
        bottom_mm: ink.y_mm(bottom as f64 + 0.5),
        width_mm: width as f64 / ink.px_per_mm,
        style: style(rows, ink),
        confidence: (met.min(0.6) / 0.6 * (1.0 - spread)).clamp(0.0, 1.0) as f32,
    };
    Some((line, own))
}

/// The pixels of a line of this `width`: of each row those about the line's middle, unless
/// something crosses there, or lies so close that the two cannot be told apart (the tip of a
/// narrow wave). Where the line was drawn `twice`, all of the row's ink is its.
fn own_ink(
    ink: &Ink,
    rows: &[Option<[usize; 2]>],
    top: usize,
    width: usize,
    twice: &[bool],
) -> Vec<usize> {
    let middle = |run: &[usize; 2]| (run[0] + run[1] - 1) as f64 / 2.0;
    let clear: Vec<[f64; 2]> = rows
        .iter()
        .enumerate()
        .filter_map(|(n, run)| run.as_ref().map(|run| (n, run)))
        .filter(|(_, run)| (run[1] - run[0]).abs_diff(width) <= 1)
        .map(|(n, run)| [middle(run), n as f64])
        .collect();
    let reach = ink.px(1.5) as f64;
    let crossed = crossed(rows, width);
    let mut own = Vec::new();
    for (n, run) in rows.iter().enumerate() {
        let Some(run) = run.filter(|_| !crossed[n]) else { continue };
        let from = clear.partition_point(|at| at[1] < n as f64 - reach);
        let to = clear.partition_point(|at| at[1] <= n as f64 + reach);
        let near = &clear[from..to];
        let x = if near.is_empty() {
            nearest(&clear, n as f64)
        } else {
            near.iter().map(|at| at[0]).sum::<f64>() / near.len() as f64
        };
        // What is a little wider leaves no rim.
        if twice[n] || !is_thick(run, width) {
            own.extend((run[0]..run[1]).map(|x| (top + n) * ink.width + x));
            continue;
        }
        let half = width as f64 / 2.0 + 1.0;
        let [left, right] = [x - half, x + half + 1.0].map(|x| x.round().max(0.0) as usize);
        let pixels = run[0].max(left)..run[1].min(right);
        let beside = pixels.start.saturating_sub(run[0]).max(run[1].saturating_sub(pixels.end));
        if 5 * beside >= 3 * width {
            own.extend(pixels.map(|x| (top + n) * ink.width + x));
        }
    }
    own
}

/// Whether a row's ink is wider than a line's.
fn is_thick(run: [usize; 2], width: usize) -> bool {
    3 * (run[1] - run[0]) > 4 * width
}

/// In which rows a second line touches this one: where it is thick for long and beyond a panel,
/// as a trace is not.
fn drawn_twice(
    ink: &Ink,
    form: &PageForm,
    rows: &[Option<[usize; 2]>],
    top: usize,
    width: usize,
) -> Vec<bool> {
    let thick = |run: [usize; 2]| is_thick(run, width) && run[1] - run[0] <= 2 * width + 2;
    let hole = ink.px(0.6);
    let mut stretches: Vec<[usize; 2]> = Vec::new();
    for n in (0..rows.len()).filter(|&n| rows[n].is_some_and(thick)) {
        match stretches.last_mut() {
            Some(last) if n - last[1] <= hole => last[1] = n,
            _ => stretches.push([n, n]),
        }
    }
    let beyond = |n: &usize| {
        let y = ink.y_mm((top + n) as f64);
        !form.panels.iter().any(|panel| (panel.y_mm..=panel.y_mm + panel.height_mm).contains(&y))
    };
    let mut twice = vec![false; rows.len()];
    for [from, to] in stretches {
        if to - from > ink.px(TWICE_MM) && (from..=to).filter(beyond).count() > ink.px(0.5) {
            for n in from..=to {
                twice[n] = rows[n].is_some_and(thick);
            }
        }
    }
    twice
}

/// Whether a row's ink is wide because something crosses: wide rows are few then, where a
/// stroke that runs along makes many.
fn crossed(rows: &[Option<[usize; 2]>], width: usize) -> Vec<bool> {
    let wide: Vec<bool> =
        rows.iter().map(|run| run.is_some_and(|run| run[1] - run[0] > 2 * width)).collect();
    let about = |n: usize| {
        let near = &wide[n.saturating_sub(3 * width)..(n + 3 * width + 1).min(wide.len())];
        near.iter().filter(|&&wide| wide).count()
    };
    (0..rows.len()).map(|n| wide[n] && about(n) <= 3 * width).collect()
}

/// Takes off what is not on the line, the farthest first; `None` where that is more than half.
fn trimmed(points: &mut Vec<[f64; 2]>, strays: f64) -> Option<Straight> {
    let least = (points.len() / 2).max(6);
    while points.len() >= least {
        let straight = Straight::through(points);
        let off = |point: &[f64; 2]| (point[0] - straight.at(point[1])).abs();
        let worst =
            (0..points.len()).max_by(|&a, &b| off(&points[a]).total_cmp(&off(&points[b])))?;
        if off(&points[worst]) <= strays {
            return Some(straight);
        }
        points.remove(worst);
    }
    None
}

fn spread(points: &[[f64; 2]], straight: Straight) -> f64 {
    let squares = points.iter().map(|point| point[0] - straight.at(point[1]));
    (squares.map(|off| off * off).sum::<f64>() / points.len() as f64).sqrt()
}

/// The path's x at a height.
fn nearest(points: &[[f64; 2]], y: f64) -> f64 {
    let after = points.partition_point(|point| point[1] < y);
    match (after.checked_sub(1).and_then(|n| points.get(n)), points.get(after)) {
        (Some(a), Some(b)) => a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]),
        (Some(a), None) => a[0],
        (None, Some(b)) => b[0],
        (None, None) => 0.0,
    }
}

/// The run of ink in a row that lies at `x` or within `reach` of it.
fn run_at(left: &Left<'_>, x: f64, y: usize, reach: usize) -> Option<[usize; 2]> {
    let (width, height) = (left.ink.width, left.ink.height);
    let inked = |x: usize| left.inked(y * width + x);
    let x = x.round().clamp(0.0, width as f64 - 1.0) as usize;
    let near = (0..=reach).flat_map(|by| [x.saturating_sub(by), (x + by).min(width - 1)]);
    let on = near.into_iter().filter(|_| y < height).find(|&x| inked(x))?;
    let from = (0..on).rev().find(|&x| !inked(x)).map_or(0, |at| at + 1);
    let to = (on..width).find(|&x| !inked(x)).unwrap_or(width);
    Some([from, to])
}

/// Whether the line goes through a gap between panels, or through a whole panel and beyond.
fn crosses(
    ink: &Ink,
    form: &PageForm,
    rows: &[Option<[usize; 2]>],
    top: usize,
    straight: Straight,
) -> bool {
    let bottom = top + rows.len() - 1;
    let x = ink.x_mm(straight.at((top + bottom) as f64 / 2.0));
    let met = |from: usize, to: usize| {
        let part = &rows[from.max(top) - top..=to.min(bottom) - top];
        part.iter().flatten().count() as f64 > 0.25 * (to - from) as f64
    };
    let slack = ink.px(0.4);
    let spans =
        |from: usize, to: usize| top <= from + slack && bottom + slack >= to && met(from, to);
    let beside =
        |panel: &PanelForm| (panel.x_mm - 2.0..=panel.x_mm + panel.width_mm + 2.0).contains(&x);
    let gap = form.panels.windows(2).any(|pair| {
        let (from, to) = (ink.line(pair[0].y_mm + pair[0].height_mm), ink.line(pair[1].y_mm));
        beside(&pair[0]) && from < to && spans(from, to)
    });
    let whole = form.panels.iter().any(|panel| {
        let (from, to) = (ink.line(panel.y_mm), ink.line(panel.y_mm + panel.height_mm));
        let past = ink.px(0.8);
        let beyond = top + past <= from || bottom >= to + past;
        beside(panel)
            && spans(from + ink.px(0.6), to - ink.px(0.6))
            && (beyond || panel.height_mm > 25.0)
    });
    gap || whole
}

fn style(rows: &[Option<[usize; 2]>], ink: &Ink) -> LineStyle {
    let met = rows.iter().flatten().count();
    let pieces = 1 + rows.windows(2).filter(|pair| pair[0].is_some() && pair[1].is_none()).count();
    if met as f64 > 0.85 * rows.len() as f64 {
        LineStyle::Solid
    } else if met < pieces * ink.px(1.5) {
        LineStyle::Dotted
    } else {
        LineStyle::Dashed
    }
}
