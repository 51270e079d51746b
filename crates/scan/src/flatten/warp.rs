//! What is left when the marks lie flat: paper that is curled, bent by printed lines whose
//! places are known.

use super::PageMap;
use super::homography::{Homography, Normal};
use super::sample::{Frame, Source};
use crate::{PageForm, PanelForm};

/// How far from its place a line is looked for, in millimetres: less than the grid's 5 mm.
const REACH_MM: f64 = 2.5;
/// Distance of the places along a line, and the length over which each is averaged.
const STEP_MM: f64 = 3.0;
const MEAN_MM: f64 = 2.0;
/// A line's ink above what is around it.
const LEAST_INK: f32 = 0.06;
/// Share of the places at which lines must be seen.
const SEEN: f64 = 0.3;
/// What is left of a page that lies flat is not worth a correction, in millimetres.
const WORTH_MM: f64 = 0.08;
/// A correction must leave less than this share: paper's bend leaves a tenth, and lines that were
/// taken for others a third and more.
const BETTER: f64 = 0.25;
/// Share of the seen places that must agree with it.
const AGREE: f64 = 0.6;
/// And never be larger than this, in millimetres.
const MOST_MM: f64 = 5.0;
/// Terms of a polynomial of third degree in two directions.
const TERMS: usize = 10;

/// What printed lines say about the paper's bend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warp {
    /// Places along printed lines at which these were seen, and agree with one another.
    pub places: usize,
    /// Root mean square of their distance from where they belong, in millimetres.
    pub before_mm: f64,
    /// The same with the correction.
    pub after_mm: f64,
    /// Whether the correction is large enough, and good enough, to be made.
    pub applied: bool,
}

/// A smooth correction of places, in millimetres.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Bend {
    size: [f64; 2],
    across: Vec<f64>,
    down: Vec<f64>,
}

impl Bend {
    /// How far off a point of the page is seen.
    pub(super) fn at(&self, mm: [f64; 2]) -> [f64; 2] {
        let terms = terms(mm, self.size);
        let sum = |factors: &[f64]| {
            let sum: f64 = factors.iter().zip(terms).map(|(factor, term)| factor * term).sum();
            sum.clamp(-MOST_MM, MOST_MM)
        };
        [sum(&self.across), sum(&self.down)]
    }
}

fn terms([x, y]: [f64; 2], size: [f64; 2]) -> [f64; TERMS] {
    let (x, y) = (2.0 * x / size[0] - 1.0, 2.0 * y / size[1] - 1.0);
    [1.0, x, y, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y]
}

/// Where something is seen off its place, along one axis.
#[derive(Clone, Copy)]
struct Place {
    mm: [f64; 2],
    off: f64,
    weight: f64,
    /// Whether it is on a printed line, not a mark.
    line: bool,
}

/// A page that the marks flatten.
pub(super) struct Sight<'a> {
    pub(super) source: &'a Source<'a>,
    pub(super) map: &'a PageMap,
    pub(super) frame: &'a Frame,
}

/// Measures the panels' frames on a page; none where too little of them is seen.
pub(super) fn measure(
    sight: &Sight<'_>,
    form: &PageForm,
    corners: &[([f64; 2], [f64; 2])],
) -> Option<(Bend, Warp)> {
    let mut places: [Vec<Place>; 2] = [Vec::new(), Vec::new()];
    let mut wanted = 0;
    for [left, top, width, height] in form.panels.iter().map(PanelForm::frame) {
        let (right, bottom) = (left + width, top + height);
        for x in [left, right] {
            wanted += along(sight, 0, x, [top, bottom], &mut places[0]);
        }
        for y in [top, bottom] {
            wanted += along(sight, 1, y, [left, right], &mut places[1]);
        }
    }
    let seen = places.iter().map(Vec::len).sum::<usize>();
    if wanted == 0 || (seen as f64) < SEEN * wanted as f64 {
        return None;
    }
    hold_corners(form, corners, &sight.map.plane, &mut places);
    let size = [form.width_mm, form.height_mm];
    let [across, down] = places.each_ref().map(|places| fitted(places, size));
    let ((across, across_near), (down, down_near)) = (across?, down?);
    let bend = Bend { size, across, down };
    // What lies far from the polynomial is a trace that passed for a frame.
    let near = [across_near, down_near];
    let bend_of = |place: &Place| bend.at(place.mm);
    let left = |bend: Option<&Bend>| {
        let (mut sum, mut count) = (0.0, 0);
        for (axis, places) in places.iter().enumerate() {
            let lines = places.iter().filter(|place| place.line);
            for place in
                lines.filter(|place| (place.off - bend_of(place)[axis]).abs() <= near[axis])
            {
                let off = place.off - bend.map_or(0.0, |bend| bend.at(place.mm)[axis]);
                sum += off * off;
                count += 1;
            }
        }
        ((sum / f64::from(count.max(1))).sqrt(), count as usize)
    };
    let ((before_mm, places), (after_mm, _)) = (left(None), left(Some(&bend)));
    let applied = before_mm > WORTH_MM
        && after_mm < BETTER * before_mm
        && places as f64 > AGREE * seen as f64;
    Some((bend, Warp { places, before_mm, after_mm, applied }))
}

/// The marks hold the page's corners, where there are no frames; where a mark is missing,
/// nothing is known but that the paper should be flat.
fn hold_corners(
    form: &PageForm,
    corners: &[([f64; 2], [f64; 2])],
    plane: &Homography,
    places: &mut [Vec<Place>; 2],
) {
    const MARKS: f64 = 5.0;
    let missing = form.marks.iter().filter(|(_, centre)| {
        let near = |mm: &[f64; 2]| (mm[0] - centre[0]).abs().max((mm[1] - centre[1]).abs());
        corners.iter().all(|(mm, _)| near(mm) > form.mark_mm)
    });
    let missing: Vec<[f64; 2]> = missing.map(|(_, centre)| *centre).collect();
    for (axis, places) in places.iter_mut().enumerate() {
        places.extend(corners.iter().map(|&(mm, seen)| {
            let off = plane.back(seen, mm)[axis] - mm[axis];
            Place { mm, off, weight: MARKS, line: false }
        }));
        places.extend(missing.iter().map(|&mm| Place { mm, off: 0.0, weight: 2.0, line: false }));
    }
}

/// Looks for a line at `at` on `axis`, from and to on the other; says how many places were
/// looked at.
fn along(
    sight: &Sight<'_>,
    axis: usize,
    at: f64,
    [from, to]: [f64; 2],
    places: &mut Vec<Place>,
) -> usize {
    // At the corners the other sides disturb.
    let (from, to) = (from + REACH_MM + MEAN_MM / 2.0, to - REACH_MM - MEAN_MM / 2.0);
    let count = ((to - from) / STEP_MM).max(0.0) as usize;
    for step in 0..count {
        let other = from + (step as f64 + 0.5) * STEP_MM;
        if let Some(off) = line_off(sight, axis, at, other) {
            let mm = if axis == 0 { [at, other] } else { [other, at] };
            places.push(Place { mm, off, weight: 1.0, line: true });
        }
    }
    count
}

impl Sight<'_> {
    /// The ink at `count` pixels along an axis, each the mean of those from `low` to `high` on the
    /// other. Paper is what is bright among them.
    fn profile(
        &self,
        axis: usize,
        [first, count]: [usize; 2],
        [low, high]: [usize; 2],
    ) -> Vec<f32> {
        /// Share of the places that are darker than what counts as paper.
        const SHARE: f64 = 0.8;
        /// The darkest that paper can be, of 255.
        const DARKEST: f32 = 24.0;
        let place = |along: usize, across: usize| {
            let [x, y] = if axis == 0 { [along, across] } else { [across, along] };
            self.map.to_picture(self.frame.mm(x, y))
        };
        let (start, end, beside) =
            (place(first, low), place(first + count, low), place(first, high));
        let rows = high - low + 1;
        let step = [0, 1].map(|axis| (end[axis] - start[axis]) / count as f64);
        let across = [0, 1].map(|axis| (beside[axis] - start[axis]) / (rows - 1).max(1) as f64);
        let place = |n: usize, step: [f64; 2]| [0, 1].map(|at| start[at] + n as f64 * step[at]);
        let mut sums = vec![0_u32; count];
        // Always along rows, which in most pictures is quicker.
        if axis == 0 {
            let mut line = vec![0_u16; count];
            for row in 0..rows {
                self.source.line(place(row, across), step, &mut line);
                sums.iter_mut().zip(&line).for_each(|(sum, &level)| *sum += u32::from(level));
            }
        } else {
            let mut line = vec![0_u16; rows];
            for (n, sum) in sums.iter_mut().enumerate() {
                self.source.line(place(n, step), across, &mut line);
                *sum = line.iter().map(|&level| u32::from(level)).sum();
            }
        }
        let mut sorted = sums.clone();
        sorted.sort_unstable();
        let paper = sorted.get((SHARE * count as f64) as usize).map_or(0.0, |&paper| paper as f32);
        let paper = paper.max(256.0 * DARKEST * rows as f32);
        sums.iter().map(|&sum| 1.0 - sum as f32 / paper).collect()
    }
}

/// How far from `at` the one line is that crosses there; none where none or several are seen.
fn line_off(sight: &Sight<'_>, axis: usize, at: f64, other: f64) -> Option<f64> {
    /// Half the width in which a line's ink lies, in millimetres.
    const HALF_MM: f64 = 0.35;
    let frame = sight.frame;
    let pixel = |mm: f64| (mm * frame.px_per_mm) as isize;
    let first = pixel(at - REACH_MM);
    let count = (2.0 * REACH_MM * frame.px_per_mm) as isize;
    let (low, high) = (pixel(other - MEAN_MM / 2.0), pixel(other + MEAN_MM / 2.0));
    let limit = if axis == 0 { [frame.width, frame.height] } else { [frame.height, frame.width] };
    if first < 0 || low < 0 || first + count >= limit[0] as isize || high >= limit[1] as isize {
        return None;
    }
    let profile =
        sight.profile(axis, [first as usize, count as usize], [low as usize, high as usize]);
    let mut sorted = profile.clone();
    sorted.sort_by(f32::total_cmp);
    let ground = sorted[sorted.len() / 2];
    let peak = (0..profile.len()).max_by(|a, b| profile[*a].total_cmp(&profile[*b]))?;
    let height = profile[peak] - ground;
    let half = (HALF_MM * frame.px_per_mm).ceil() as usize;
    let near = |index: usize| index.abs_diff(peak) <= half;
    let rival = (0..profile.len())
        .filter(|index| index.abs_diff(peak) > 2 * half)
        .map(|index| profile[index] - ground)
        .fold(0.0, f32::max);
    if height < LEAST_INK || rival > 0.6 * height || peak < half || peak + half >= profile.len() {
        return None;
    }
    let (mut sum, mut moment) = (0.0, 0.0);
    for index in (0..profile.len()).filter(|index| near(*index)) {
        let ink = f64::from((profile[index] - ground).max(0.0));
        sum += ink;
        moment += ink * (index as f64 + 0.5);
    }
    Some((first as f64 + moment / sum) / frame.px_per_mm - at)
}

/// The polynomial through most of the places (least squares, each round with less weight for
/// what lies far off), and how far from it a place can be that counts.
fn fitted(places: &[Place], size: [f64; 2]) -> Option<(Vec<f64>, f64)> {
    /// Holds terms that the places leave open near nothing.
    const RIDGE: f64 = 0.05;
    const ROUNDS: usize = 6;
    let mut factors = vec![0.0; TERMS];
    let mut near = MOST_MM;
    let off = |factors: &[f64], place: &Place| {
        let known = factors.iter().zip(terms(place.mm, size)).map(|(factor, term)| factor * term);
        place.off - known.sum::<f64>()
    };
    for _ in 0..ROUNDS {
        let mut equations = Normal::new(TERMS);
        for term in 0..TERMS {
            let mut row = [0.0; TERMS];
            row[term] = RIDGE;
            equations.add(&row, 0.0);
        }
        for place in places {
            // Tukey's weight for lines: nothing beyond the limit.
            let share = off(&factors, place) / near;
            let inside = (1.0 - share * share).max(0.0);
            let weight = if place.line { inside } else { place.weight };
            equations.add(&terms(place.mm, size).map(|term| term * weight), place.off * weight);
        }
        factors = equations.solve()?.0;
        let lines = places.iter().filter(|place| place.line);
        let mut offs: Vec<f64> = lines.map(|place| off(&factors, place).abs()).collect();
        offs.sort_by(f64::total_cmp);
        near = (6.0 * offs.get(offs.len() / 2)?).clamp(0.15, 3.0);
    }
    Some((factors, near))
}
