//! Finding the marks in the corners of a sheet.
//!
//! The marks are AprilTags of the family 36h11, numbers 0 to 3 (Olson, "AprilTag: a robust and
//! flexible visual fiducial system", ICRA 2011). Dark patches of a reduced picture whose hull
//! is a quadrilateral are candidates; at full resolution lines are fitted to where the outline
//! passes half the step from white to black, and the modules are read between them. Fitted
//! lines use a hundred edge points for each corner, and keep their accuracy under perspective,
//! where detectors of corners lose it.

use std::collections::BTreeMap;

use crate::flatten::Homography;
use crate::{PageFault, Picture};

/// Codewords of the marks 0 to 3, read row by row from the top, lowest bit first, white being
/// 1. Source: the family's published table, as sheets print it.
const CODEWORDS: [u64; 4] = [0xd_5d62_8584, 0xd_97f1_8b49, 0xd_d280_910e, 0xe_479e_9c98];
/// Modules along a side, and those inside the black border.
const MODULES: usize = 8;
const INNER: usize = 6;
/// Modules that may be wrong: the family tells marks apart by 11 at least, so 5 would still
/// be unequivocal among marks; 4 leaves a margin to what is no mark at all.
const MOST_WRONG: u32 = 4;
/// Border modules, of 28, that may be spoiled.
const MOST_SPOILED_BORDER: usize = 5;
/// Pixels along the shorter side of the reduced pictures that are searched, one after another
/// until all marks are found. The first is what makes the search fast; small marks in a
/// photo need the others.
const SEARCHED: [usize; 3] = [600, 900, 2000];
/// A picture with fewer pixels along its shorter side cannot show modules of 3 pixels.
const SMALLEST: usize = 420;
/// Edges wider than this share of the picture's shorter side blur a mark's modules (1.25 mm
/// of 200 mm) into one another.
const BLURRED: f64 = 1.0 / 150.0;

/// A mark in a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Its number.
    pub id: usize,
    /// Corners of its black square in pixels, (0, 0) being the picture's top left corner:
    /// top left, top right, bottom right and bottom left of the mark held upright.
    pub corners: [[f64; 2]; 4],
    /// Modules that were read wrongly.
    pub wrong: u32,
    /// Width of its edges in pixels, from a tenth to nine tenths of the step.
    pub edge_px: f64,
}

impl Mark {
    /// Its centre in pixels: where the diagonals cross.
    pub fn centre(&self) -> [f64; 2] {
        let [a, b, c, d] = self.corners;
        crossing(Line::through(a, c), Line::through(b, d)).unwrap_or(a)
    }

    /// Mean length of its sides in pixels.
    pub fn side_px(&self) -> f64 {
        (0..4).map(|at| distance(self.corners[at], self.corners[(at + 1) % 4])).sum::<f64>() / 4.0
    }
}

/// The marks 0 to 3 in a picture, in the order of their numbers. Where three or more of the
/// four are found first, `layout`, the centres on the page by number, says where to look for
/// the rest.
///
/// # Errors
/// Where the picture is too small or blurred for marks, has none, is mirrored, or shows a
/// mark twice.
pub fn find_marks(grey: &Picture, layout: &[(usize, [f64; 2])]) -> Result<Vec<Mark>, PageFault> {
    let shorter = grey.width.min(grey.height);
    if shorter < SMALLEST {
        return Err(PageFault::TooSmall { width: grey.width, height: grey.height });
    }
    let mut found = BTreeMap::new();
    let mut mirrored = false;
    let mut last = 0;
    for pixels in SEARCHED {
        let by = (shorter / pixels).max(1);
        if by == last {
            continue;
        }
        last = by;
        search(grey, by, &mut found, &mut mirrored)?;
        if found.len() < 4 {
            look_again(grey, layout, &mut found);
        }
        if found.len() == 4 {
            break;
        }
    }
    if found.is_empty() {
        return Err(if mirrored { PageFault::Mirrored } else { nothing_found(grey) });
    }
    Ok(found.into_values().collect())
}

fn nothing_found(grey: &Picture) -> PageFault {
    let edge_px = sharpest_edges(grey);
    let shorter = grey.width.min(grey.height) as f64;
    if edge_px > (shorter * BLURRED).max(4.0) {
        PageFault::Blurred { edge_px }
    } else {
        PageFault::NoMarks
    }
}

/// Width of the sharpest edges: the range of lightness over the steepest slope, each without
/// its outermost parts, times the share from a tenth to nine tenths.
fn sharpest_edges(grey: &Picture) -> f64 {
    let mut levels = [0_usize; 256];
    let mut slopes = [0_usize; 256];
    for row in grey.level.chunks_exact(grey.width) {
        for pair in row.windows(2) {
            levels[usize::from(pair[0])] += 1;
            slopes[usize::from(pair[0].abs_diff(pair[1]))] += 1;
        }
    }
    let total: usize = levels.iter().sum();
    let quantile = |counts: &[usize; 256], share: f64| {
        let wanted = (total as f64 * share) as usize;
        let mut sum = 0;
        counts.iter().position(|count| {
            sum += count;
            sum > wanted
        })
    };
    let range = quantile(&levels, 0.99).unwrap_or(255) as f64
        - quantile(&levels, 0.002).unwrap_or(0) as f64;
    let slope = quantile(&slopes, 0.9995).unwrap_or(255) as f64;
    0.8 * range / slope.max(1.0)
}

/// Searches the picture reduced `by`.
fn search(
    grey: &Picture,
    by: usize,
    found: &mut BTreeMap<usize, Mark>,
    mirrored: &mut bool,
) -> Result<(), PageFault> {
    let small = grey.reduced(by);
    let dark = dark(&small);
    for patch in patches(&dark, small.width) {
        let Some(quad) = patch.quadrilateral() else { continue };
        let quad = quad.map(|[x, y]| [x * by as f64, y * by as f64]);
        // What is no mark at all, which is nearly everything, is told from one look.
        let Some(first) = read_modules(grey, &quad) else { continue };
        if first.wrong > MOST_WRONG + 4 {
            continue;
        }
        let Some((corners, edge_px)) = refined(grey, quad, by as f64) else { continue };
        let Some(modules) = read_modules(grey, &corners) else { continue };
        if modules.wrong > MOST_WRONG {
            continue;
        }
        if modules.mirrored {
            *mirrored = true;
            continue;
        }
        keep(found, modules.mark(corners, edge_px))?;
    }
    Ok(())
}

fn keep(found: &mut BTreeMap<usize, Mark>, mark: Mark) -> Result<(), PageFault> {
    if let Some(other) = found.get(&mark.id) {
        if distance(other.centre(), mark.centre()) > mark.side_px() / 2.0 {
            return Err(PageFault::Twice { id: mark.id });
        }
        return Ok(());
    }
    found.insert(mark.id, mark);
    Ok(())
}

/// Looks for missing marks where the others say that they are: a scribble that touches a mark
/// makes its patch no quadrilateral.
fn look_again(grey: &Picture, layout: &[(usize, [f64; 2])], found: &mut BTreeMap<usize, Mark>) {
    let place = |id: usize| layout.iter().find(|(of, _)| *of == id).map(|(_, at)| *at);
    let pairs: Vec<_> = found.values().filter_map(|mark| Some((place(mark.id)?, mark))).collect();
    if pairs.len() < 3 {
        return;
    }
    // The side of a mark on the page, from the found ones.
    let across = distance(pairs[0].0, pairs[1].0)
        / distance(pairs[0].1.centre(), pairs[1].1.centre()).max(1.0);
    let half = across * pairs.iter().map(|(_, mark)| mark.side_px()).sum::<f64>()
        / pairs.len() as f64
        / 2.0;
    let points: Vec<_> = pairs
        .iter()
        .flat_map(|(centre, mark)| square(*centre, half).into_iter().zip(mark.corners))
        .collect();
    let Some(map) = Homography::fit(&points) else { return };
    let missing = layout.iter().filter(|(id, _)| !found.contains_key(id));
    let mut more = Vec::new();
    for &(id, centre) in missing {
        let quad = square(centre, half).map(|at| map.apply(at));
        let side = distance(quad[0], quad[1]);
        // The guess may be a millimetre off: first from afar, then close.
        let Some((rough, _)) = refined(grey, quad, side / 16.0) else { continue };
        let Some((corners, edge_px)) = refined(grey, rough, side / 40.0) else { continue };
        if let Some(modules) = read_modules(grey, &corners)
            && modules.wrong <= MOST_WRONG
            && modules.id == id
            && !modules.mirrored
        {
            more.push(modules.mark(corners, edge_px));
        }
    }
    found.extend(more.into_iter().map(|mark| (mark.id, mark)));
}

/// Corners of an upright square, from the top left clockwise.
pub(crate) fn square([x, y]: [f64; 2], half: f64) -> [[f64; 2]; 4] {
    [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]]
}

/// Which pixels are clearly darker than what is around them.
fn dark(grey: &Picture) -> Vec<bool> {
    /// Half the window's side as a share of the picture's shorter side: a mark, 10 mm of
    /// 200 mm or so, and as much again on both sides.
    const WINDOW: usize = 14;
    /// Below this share of the mean around it a pixel is dark.
    const SHARE: (u32, u32) = (17, 20);
    let (width, height) = (grey.width, grey.height);
    let stride = width + 1;
    // Sums may pass the most that they can hold: their differences, of windows, are right still.
    let mut sums = vec![0_u32; stride * (height + 1)];
    for (y, row) in grey.level.chunks_exact(width).enumerate() {
        let (above, below) = sums[y * stride..].split_at_mut(stride);
        let mut along = 0_u32;
        for ((below, &above), &level) in below[1..].iter_mut().zip(&above[1..]).zip(row) {
            along = along.wrapping_add(u32::from(level));
            *below = above.wrapping_add(along);
        }
    }
    let half = (width.min(height) / WINDOW).max(8);
    let mut dark = Vec::with_capacity(width * height);
    let mut columns = Vec::with_capacity(stride);
    for (y, row) in grey.level.chunks_exact(width).enumerate() {
        let (top, bottom) = (y.saturating_sub(half), (y + half + 1).min(height));
        let (above, below) = (&sums[top * stride..][..stride], &sums[bottom * stride..][..stride]);
        let is_dark = |level: u8, [left, right, wide]: [u32; 3]| {
            u32::from(level) * wide * SHARE.1 < right.wrapping_sub(left) * SHARE.0
        };
        // Sums of whole columns, and the pixels in those of a window; pictures that are searched
        // are so small that 20 times a window's levels fit 32 bits.
        let high = (bottom - top) as u32;
        columns.clear();
        columns.extend(below.iter().zip(above).map(|(below, above)| below.wrapping_sub(*above)));
        let edge = |x: usize| {
            let (left, right) = (x.saturating_sub(half), (x + half + 1).min(width));
            is_dark(row[x], [columns[left], columns[right], (right - left) as u32 * high])
        };
        let inner = half.min(width)..width.saturating_sub(half).max(half.min(width));
        dark.extend((0..inner.start).map(edge));
        let sides = columns.iter().zip(columns.get(2 * half + 1..).unwrap_or_default());
        let wide = (2 * half + 1) as u32 * high;
        let levels = row[inner.clone()].iter().zip(sides);
        dark.extend(levels.map(|(&level, (&left, &right))| is_dark(level, [left, right, wide])));
        dark.extend((inner.end..width).map(edge));
    }
    dark
}

/// A patch of dark pixels that hang together: for each of its rows the first and last one.
struct Patch {
    top: usize,
    rows: Vec<[usize; 2]>,
    area: usize,
}

/// Patches of about a mark's size and shape.
fn patches(dark: &[bool], width: usize) -> Vec<Patch> {
    /// Pixels of the smallest mark: 2 to a module.
    const LEAST: usize = 14;
    let height = dark.len() / width.max(1);
    let most = width.min(height) / 4;
    let mut runs: Vec<[usize; 3]> = Vec::new();
    let mut parents: Vec<usize> = Vec::new();
    let mut above = 0..0;
    for y in 0..height {
        let row = &dark[y * width..(y + 1) * width];
        let first = runs.len();
        let mut x = 0;
        let mut upper = above.start;
        while x < width {
            if !row[x] {
                x += 1;
                continue;
            }
            let from = x;
            while x < width && row[x] {
                x += 1;
            }
            let this = runs.len();
            runs.push([y, from, x - 1]);
            parents.push(this);
            while upper < above.end && runs[upper][2] < from {
                upper += 1;
            }
            let mut other = upper;
            while other < above.end && runs[other][1] < x {
                unite(&mut parents, this, other);
                other += 1;
            }
        }
        above = first..runs.len();
    }
    let mut patches: BTreeMap<usize, Patch> = BTreeMap::new();
    for (index, &[y, from, to]) in runs.iter().enumerate() {
        let root = root(&mut parents, index);
        let patch =
            patches.entry(root).or_insert_with(|| Patch { top: y, rows: Vec::new(), area: 0 });
        patch.area += to + 1 - from;
        match patch.rows.get_mut(y - patch.top) {
            Some(row) => *row = [row[0].min(from), row[1].max(to)],
            None => patch.rows.push([from, to]),
        }
    }
    let fits = |patch: &Patch| {
        let left = patch.rows.iter().map(|row| row[0]).min().unwrap_or(0);
        let right = patch.rows.iter().map(|row| row[1]).max().unwrap_or(0);
        let (wide, high) = (right + 1 - left, patch.rows.len());
        let side = LEAST..=most;
        side.contains(&wide)
            && side.contains(&high)
            && wide.max(high) <= 3 * wide.min(high)
            && 6 * patch.area >= wide * high
    };
    patches.into_values().filter(fits).collect()
}

fn root(parents: &mut [usize], mut at: usize) -> usize {
    while parents[at] != at {
        parents[at] = parents[parents[at]];
        at = parents[at];
    }
    at
}

fn unite(parents: &mut [usize], one: usize, other: usize) {
    let (one, other) = (root(parents, one), root(parents, other));
    // The first run stays the root, so that patches come in the order of their tops.
    let (low, high) = (one.min(other), one.max(other));
    parents[high] = low;
}

impl Patch {
    /// The quadrilateral that the patch fills, corners clockwise, where it is one.
    fn quadrilateral(&self) -> Option<[[f64; 2]; 4]> {
        let hull = self.hull();
        let count = hull.len() as f64;
        let sum = hull.iter().fold([0.0; 2], |sum, at| [sum[0] + at[0], sum[1] + at[1]]);
        let middle = [sum[0] / count, sum[1] / count];
        let farthest = |from: [f64; 2]| {
            hull.iter().copied().max_by(|a, b| distance(from, *a).total_cmp(&distance(from, *b)))
        };
        let a = farthest(middle)?;
        let c = farthest(a)?;
        let off = |at: &[f64; 2]| turn(a, c, *at);
        let b = hull.iter().copied().min_by(|p, q| off(p).total_cmp(&off(q)))?;
        let d = hull.iter().copied().max_by(|p, q| off(p).total_cmp(&off(q)))?;
        let quad = [a, b, c, d];
        let (inside, all) = (area(&quad), area(&hull));
        let solid = all > 0.0 && inside / all > 0.85 && self.area as f64 > 0.35 * all;
        let sides = (0..4).map(|at| distance(quad[at], quad[(at + 1) % 4]));
        let (short, long) = sides.fold((f64::INFINITY, 0.0_f64), |(short, long), side| {
            (short.min(side), long.max(side))
        });
        if !solid || short < 8.0 || long > 3.0 * short {
            return None;
        }
        Some(if signed_area(&quad) < 0.0 { [a, d, c, b] } else { quad })
    }

    /// The convex hull of the patch's pixels (monotone chain over the rows' ends).
    fn hull(&self) -> Vec<[f64; 2]> {
        let mut points: Vec<[f64; 2]> = Vec::with_capacity(4 * self.rows.len());
        for (row, &[from, to]) in self.rows.iter().enumerate() {
            let y = (self.top + row) as f64;
            let (from, to) = (from as f64, to as f64 + 1.0);
            points.extend([[from, y], [to, y], [from, y + 1.0], [to, y + 1.0]]);
        }
        points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
        let mut hull: Vec<[f64; 2]> = Vec::new();
        for pass in 0..2 {
            let base = hull.len();
            let mut add = |at: [f64; 2]| {
                while hull.len() >= base + 2
                    && turn(hull[hull.len() - 2], hull[hull.len() - 1], at) <= 0.0
                {
                    hull.pop();
                }
                hull.push(at);
            };
            if pass == 0 {
                points.iter().copied().for_each(&mut add);
            } else {
                points.iter().rev().copied().for_each(&mut add);
            }
            hull.pop();
        }
        hull
    }
}

/// Twice the area of the triangle, positive where it turns from x towards y.
fn turn(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

fn signed_area(points: &[[f64; 2]]) -> f64 {
    let next = points.iter().cycle().skip(1);
    points.iter().zip(next).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum::<f64>() / 2.0
}

fn area(points: &[[f64; 2]]) -> f64 {
    signed_area(points).abs()
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    ((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])).sqrt()
}

/// A line: the points p with normal · p = offset.
#[derive(Clone, Copy)]
struct Line {
    normal: [f64; 2],
    offset: f64,
}

impl Line {
    fn through(a: [f64; 2], b: [f64; 2]) -> Self {
        let long = distance(a, b).max(1e-9);
        let normal = [(b[1] - a[1]) / long, (a[0] - b[0]) / long];
        Self { normal, offset: normal[0] * a[0] + normal[1] * a[1] }
    }

    fn off(&self, at: [f64; 2]) -> f64 {
        self.normal[0] * at[0] + self.normal[1] * at[1] - self.offset
    }

    /// The line nearest to the points, measured across it (total least squares).
    fn fit(points: &[[f64; 2]]) -> Option<Self> {
        let count = points.len() as f64;
        let sum = points.iter().fold([0.0; 2], |sum, at| [sum[0] + at[0], sum[1] + at[1]]);
        let [x, y] = [sum[0] / count, sum[1] / count];
        let [mut xx, mut xy, mut yy] = [0.0; 3];
        for at in points {
            let (dx, dy) = (at[0] - x, at[1] - y);
            xx += dx * dx;
            xy += dx * dy;
            yy += dy * dy;
        }
        // The direction across: the eigenvector of the smaller eigenvalue.
        let small = (xx + yy) / 2.0 - ((xx - yy) * (xx - yy) / 4.0 + xy * xy).sqrt();
        let across = if xx < yy { [small - yy, xy] } else { [xy, small - xx] };
        let long = (across[0] * across[0] + across[1] * across[1]).sqrt();
        if !(long > 0.0 && long.is_finite()) {
            return None;
        }
        let normal = [across[0] / long, across[1] / long];
        Some(Self { normal, offset: normal[0] * x + normal[1] * y })
    }
}

fn crossing(a: Line, b: Line) -> Option<[f64; 2]> {
    let area = a.normal[0] * b.normal[1] - a.normal[1] * b.normal[0];
    (area.abs() > 0.1).then(|| {
        [
            (a.offset * b.normal[1] - b.offset * a.normal[1]) / area,
            (b.offset * a.normal[0] - a.offset * b.normal[0]) / area,
        ]
    })
}

/// Corners at full resolution, and the width of the edges; `off` is how many pixels the given
/// corners may be off. Corners are clockwise.
fn refined(grey: &Picture, quad: [[f64; 2]; 4], off: f64) -> Option<([[f64; 2]; 4], f64)> {
    /// Profiles across each side, and as many as say about where it is.
    const PROFILES: usize = 40;
    const FEW: usize = 16;
    let mut corners = quad;
    let mut width = 0.0;
    // The last time counts.
    let rounds = [(2.0 * off + 1.0, FEW), (off + 1.0, FEW), (off + 1.0, PROFILES)];
    for (reach, profiles) in rounds {
        let mut lines = Vec::with_capacity(4);
        let mut widths = Vec::with_capacity(4);
        for side in 0..4 {
            let ends = [corners[side], corners[(side + 1) % 4]];
            let (line, wide) = edge(grey, ends, reach, profiles)?;
            lines.push(line);
            widths.push(wide);
        }
        for at in 0..4 {
            corners[at] = crossing(lines[(at + 3) % 4], lines[at])?;
        }
        width = widths.iter().sum::<f64>() / 4.0;
    }
    let moved = (0..4).map(|at| distance(corners[at], quad[at])).fold(0.0, f64::max);
    let side = distance(quad[0], quad[1]);
    (moved < 6.0 * off + 4.0 && moved < side / 2.0).then_some((corners, width))
}

/// The line along the outline's side from `a` to `b`, the black being to the right of it (as
/// seen with y down: inside of a clockwise outline), and the edge's width in pixels; by so many
/// profiles across it.
fn edge(grey: &Picture, [a, b]: [[f64; 2]; 2], reach: f64, profiles: usize) -> Option<(Line, f64)> {
    /// Left out at its ends, which the other sides round off.
    const ENDS: f64 = 0.1;
    let side = distance(a, b);
    let module = side / MODULES as f64;
    let along = [(b[0] - a[0]) / side, (b[1] - a[1]) / side];
    let inwards = [-along[1], along[0]];
    // Inwards no farther than the border is black, outwards not beyond the white around it.
    let (outer, inner) = ((0.8 * module).max(reach.min(module)), 0.7 * module);
    let outer = outer.max(1.5);
    let step = 0.25_f64.max(module / 40.0);
    let count = ((outer + inner) / step).ceil() as usize + 1;
    let share =
        |profile: usize| ENDS + (1.0 - 2.0 * ENDS) * (profile as f64 + 0.5) / profiles as f64;
    let at = |profile: usize, depth: f64| {
        let share = share(profile);
        [
            a[0] + (b[0] - a[0]) * share + inwards[0] * depth,
            a[1] + (b[1] - a[1]) * share + inwards[1] * depth,
        ]
    };
    let depth = |index: f64| index * step - outer;
    let steps: Vec<(usize, Step)> = (0..profiles)
        .filter_map(|profile| {
            let level = |index: usize| grey.at(at(profile, depth(index as f64)));
            Some((profile, Step::of((0..count).map(level).collect())?))
        })
        .collect();
    if steps.len() < profiles / 2 {
        return None;
    }
    // One white and one black for the whole side: those of single profiles are noise.
    let typical =
        |of: fn(&Step) -> f64| median(&steps.iter().map(|(_, one)| of(one)).collect::<Vec<_>>());
    let (white, black) = (typical(|one| one.white), typical(|one| one.black));
    let level = |share: f64| black + share * (white - black);
    let points: Vec<[f64; 2]> = steps
        .iter()
        .filter_map(|(profile, one)| Some(at(*profile, depth(one.passes(level(0.5))?))))
        .collect();
    if points.len() < profiles / 2 {
        return None;
    }
    let widths: Vec<f64> = steps
        .iter()
        .filter_map(|(_, one)| Some(one.passes(level(0.1))? - one.passes(level(0.9))?))
        .collect();
    let width = if widths.is_empty() { 2.0 } else { median(&widths) };
    Some((robust_line(points)?, width.max(1.0) * step))
}

/// A profile across an edge, from white to black.
struct Step {
    levels: Vec<f64>,
    /// Where it falls most steeply.
    steepest: usize,
    white: f64,
    black: f64,
}

impl Step {
    fn of(levels: Vec<f64>) -> Option<Self> {
        /// Less contrast than this, of 255, is no edge of a mark.
        const LEAST: f64 = 16.0;
        let fall = |at: &usize| levels[at - 1] - levels[at + 1];
        let steepest =
            (1..levels.len() - 1).max_by(|a, b| fall(a).total_cmp(&fall(b)).then(b.cmp(a)))?;
        let white = levels[..=steepest].iter().copied().fold(0.0, f64::max);
        let black = levels[steepest..].iter().copied().fold(255.0, f64::min);
        (white - black >= LEAST).then_some(Self { levels, steepest, white, black })
    }

    /// Where it passes a level around its steepest place, in samples.
    fn passes(&self, wanted: f64) -> Option<f64> {
        let levels = &self.levels;
        let mut at = self.steepest;
        while at > 0 && levels[at] < wanted {
            at -= 1;
        }
        while at + 1 < levels.len() && levels[at + 1] >= wanted {
            at += 1;
        }
        let next = *levels.get(at + 1)?;
        (levels[at] >= wanted)
            .then(|| at as f64 + (levels[at] - wanted) / (levels[at] - next).max(1e-9))
    }
}

/// The line through most of the points: twice without those that lie far off.
fn robust_line(mut points: Vec<[f64; 2]>) -> Option<Line> {
    let mut line = Line::fit(&points)?;
    for _ in 0..3 {
        let mut offs: Vec<f64> = points.iter().map(|at| line.off(*at).abs()).collect();
        offs.sort_by(f64::total_cmp);
        let limit = (3.0 * offs[offs.len() / 2]).max(0.15);
        points.retain(|at| line.off(*at).abs() <= limit);
        line = Line::fit(&points)?;
    }
    Some(line)
}

/// What the modules between four corners say.
struct Modules {
    id: usize,
    /// How many of the given corners come before the mark's own top left.
    first: usize,
    wrong: u32,
    mirrored: bool,
}

impl Modules {
    fn mark(&self, corners: [[f64; 2]; 4], edge_px: f64) -> Mark {
        let corners = std::array::from_fn(|at| corners[(at + self.first) % 4]);
        Mark { id: self.id, corners, wrong: self.wrong, edge_px }
    }
}

/// Reads the modules between four corners, clockwise from any; none where there is no black
/// border.
fn read_modules(grey: &Picture, corners: &[[f64; 2]; 4]) -> Option<Modules> {
    let modules = MODULES as f64;
    let unit = square([modules / 2.0; 2], modules / 2.0);
    let points: Vec<_> = unit.into_iter().zip(*corners).collect();
    let map = Homography::fit(&points)?;
    let level = |column: f64, row: f64| {
        let mut sum = 0.0;
        for dy in [-0.22, 0.0, 0.22] {
            for dx in [-0.22, 0.0, 0.22] {
                sum += grey.at(map.apply([column + dx, row + dy]));
            }
        }
        sum / 9.0
    };
    let ring = |from: f64, to: f64| {
        let count = (to - from).round() as usize;
        let along = move |at: usize| from + at as f64;
        (0..count)
            .flat_map(move |at| {
                [[along(at), from], [to, along(at)], [along(at + 1), to], [from, along(at + 1)]]
            })
            .map(|[x, y]| level(x, y))
            .collect::<Vec<f64>>()
    };
    let border = ring(0.5, modules - 0.5);
    let around = ring(-0.5, modules + 0.5);
    let (black, white) = (median(&border), median(&around));
    if white - black < 16.0 {
        return None;
    }
    let middle = (white + black) / 2.0;
    if border.iter().filter(|level| **level > middle).count() > MOST_SPOILED_BORDER {
        return None;
    }
    let mut word = 0_u64;
    for row in 0..INNER {
        for column in 0..INNER {
            let is_white = level(column as f64 + 1.5, row as f64 + 1.5) > middle;
            word |= u64::from(is_white) << (row * INNER + column);
        }
    }
    best(word)
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

/// The mark, the way it is turned, and whether it is mirrored, that are nearest to a word.
fn best(word: u64) -> Option<Modules> {
    let mut nearest: Option<Modules> = None;
    for mirrored in [false, true] {
        let mut seen =
            if mirrored { moved(word, |row, column| (row, INNER - 1 - column)) } else { word };
        for first in 0..4 {
            for (id, codeword) in CODEWORDS.iter().enumerate() {
                let wrong = (codeword ^ seen).count_ones();
                if nearest.as_ref().is_none_or(|other| wrong < other.wrong) {
                    nearest = Some(Modules { id, first, wrong, mirrored });
                }
            }
            // Beginning at the next corner, clockwise: what was the right column is the top row.
            seen = moved(seen, |row, column| (column, INNER - 1 - row));
        }
    }
    nearest
}

/// The word whose module at (row, column) is that of `word` at what `from` says.
fn moved(word: u64, from: impl Fn(usize, usize) -> (usize, usize)) -> u64 {
    let mut out = 0;
    for row in 0..INNER {
        for column in 0..INNER {
            let (r, c) = from(row, column);
            out |= (word >> (r * INNER + c) & 1) << (row * INNER + column);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codewords_stay_apart_however_they_are_turned_or_mirrored() {
        for (id, &codeword) in CODEWORDS.iter().enumerate() {
            let mut seen = codeword;
            for turned in 0..4 {
                let mirror = moved(seen, |row, column| (row, INNER - 1 - column));
                for (other, &against) in CODEWORDS.iter().enumerate() {
                    let apart = (seen ^ against).count_ones();
                    assert!(apart >= 11 || (id, turned) == (other, 0), "{id} {turned} {other}");
                    let apart = (mirror ^ against).count_ones();
                    assert!(apart > 2 * MOST_WRONG, "{id} {turned} mirrored {other}: {apart}");
                }
                seen = moved(seen, |row, column| (column, INNER - 1 - row));
            }
        }
    }

    #[test]
    fn a_turned_word_is_told_with_errors_and_its_first_corner() {
        for (id, &codeword) in CODEWORDS.iter().enumerate() {
            let mut seen = codeword;
            for turned in 0..4 {
                let found = best(seen ^ 0b1000_0000_0001_0000_0100_0000_0010).unwrap();
                assert_eq!((found.id, found.wrong, found.mirrored), (id, 4, false));
                assert_eq!((found.first + turned) % 4, 0);
                seen = moved(seen, |row, column| (column, INNER - 1 - row));
            }
        }
    }

    #[test]
    fn a_line_is_fitted_across_whatever_its_direction() {
        for angle in 0..36 {
            let angle = f64::from(angle) * 5.0_f64.to_radians();
            let (sin, cos) = (libm::sin(angle), libm::cos(angle));
            let points: Vec<_> =
                (0..20).map(|at| [3.0 + f64::from(at) * cos, 7.0 + f64::from(at) * sin]).collect();
            let line = Line::fit(&points).unwrap();
            assert!(points.iter().all(|at| line.off(*at).abs() < 1e-9), "{angle}");
        }
    }
}
