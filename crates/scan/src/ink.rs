//! The student's ink: a page without what was printed on it.

mod paper;
pub(crate) mod plane;
mod register;

use crate::{Flat, PageForm};
use plane::Plane;
use register::Field;

/// Room about the panels in which ink is looked for, in millimetres: alignment lines and their
/// names reach beyond.
const AROUND_MM: f64 = 10.0;
/// Ink fainter than this is never a stroke.
const FAINTEST: f32 = 0.045;
/// Standard deviations of the paper's noise below which ink is not believed.
const DEVIATIONS: f32 = 3.5;
/// Printed ink fainter than this hides nothing.
const HIDES: f32 = 0.035;
/// The widest printed line over which a stroke is carried on, in millimetres.
const BRIDGE_MM: f64 = 0.8;

/// The student's ink on a part of a page.
#[derive(Clone, Debug, PartialEq)]
pub struct Ink {
    /// Pixels to the millimetre.
    pub px_per_mm: f64,
    /// The page's pixel with which this part begins: column and row.
    pub origin: [usize; 2],
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// 0 none … 1 black, row by row.
    pub ink: Vec<f32>,
    /// Where print leaves open whether there is a student's ink too.
    pub hidden: Vec<bool>,
    /// Standard deviation of the paper, in ink.
    pub noise: f64,
    /// The largest shift of the print against the page that was found, in millimetres.
    pub shift_mm: f64,
}

impl Ink {
    /// Millimetres from the page's left side, of a place in pixels (centres at whole numbers).
    pub fn x_mm(&self, x: f64) -> f64 {
        (self.origin[0] as f64 + x + 0.5) / self.px_per_mm
    }

    /// Millimetres from the page's top side.
    pub fn y_mm(&self, y: f64) -> f64 {
        (self.origin[1] as f64 + y + 0.5) / self.px_per_mm
    }

    /// The column of a place in millimetres, kept inside.
    pub(crate) fn column(&self, x_mm: f64) -> usize {
        inside(x_mm * self.px_per_mm - 0.5 - self.origin[0] as f64, self.width)
    }

    /// The row of a place in millimetres, kept inside.
    pub(crate) fn line(&self, y_mm: f64) -> usize {
        inside(y_mm * self.px_per_mm - 0.5 - self.origin[1] as f64, self.height)
    }

    /// Pixels of a length in millimetres, at least one.
    pub(crate) fn px(&self, mm: f64) -> usize {
        (mm * self.px_per_mm).round().max(1.0) as usize
    }
}

fn inside(at: f64, size: usize) -> usize {
    (at.round().max(0.0) as usize).min(size - 1)
}

/// The student's ink about the panels of `form` on `page`, where `blank` is the sheet as it was
/// printed, at the same scale.
///
/// The print is first laid over the page piece by piece (within 0.5 mm), and its greys are
/// fitted to what the copier made of them. Ink is kept where it is darker than the print can be,
/// and carried on over printed lines where it goes on at both sides. `None` where the form has
/// no panels or one of the rasters is too small.
pub fn student_ink(page: &Flat, blank: &Flat, form: &PageForm) -> Option<Ink> {
    ink_above(page, blank, form, [FAINTEST, DEVIATIONS])
}

/// As [`student_ink`], of what is fainter still: more of it is the paper's grain.
pub fn faint_ink(page: &Flat, blank: &Flat, form: &PageForm) -> Option<Ink> {
    ink_above(page, blank, form, [0.4 * FAINTEST, 0.7 * DEVIATIONS])
}

/// The ink that is darker than `faintest` and than so many deviations of the paper's noise.
fn ink_above(
    page: &Flat,
    blank: &Flat,
    form: &PageForm,
    [faintest, deviations]: [f32; 2],
) -> Option<Ink> {
    let scale = page.px_per_mm;
    let area = Area::about(form, page, blank)?;
    let seen = area.cut(page).smoothed();
    let printed = area.cut(blank).smoothed();
    let field = Field::measured(&seen, &printed, scale);
    let (printed, shift) = laid_over(&printed, &field);
    let mut seen = seen;
    let noise = paper::evened(&mut seen, &printed, scale);
    let least = faintest.max(deviations * noise);
    let (print, hidden) = expected(&seen, &printed, noise);
    let mut ink = kept(&seen, &print, &hidden, least);
    bridge(&mut ink, &seen, &hidden, least, (BRIDGE_MM * scale).round() as usize);
    paper::without_specks(&mut ink, &hidden, least, scale);
    // Print that shows no ink has nothing hidden under it.
    let dark = |at: usize| seen.data[at] > least;
    let hidden = hidden.iter().enumerate().map(|(at, &hides)| hides && dark(at)).collect();
    Some(Ink {
        px_per_mm: scale,
        origin: area.origin,
        width: area.width,
        height: area.height,
        ink: ink.data,
        hidden,
        noise: f64::from(noise),
        shift_mm: f64::from(shift) / scale,
    })
}

/// A part of the page, in pixels.
struct Area {
    origin: [usize; 2],
    width: usize,
    height: usize,
}

impl Area {
    fn about(form: &PageForm, page: &Flat, blank: &Flat) -> Option<Self> {
        let panels = form.panels.iter().map(crate::PanelForm::frame);
        let bars = form.bars.iter().map(|bar| [bar.x_mm, bar.y_mm, bar.width_mm, bar.height_mm]);
        let frames: Vec<[f64; 4]> = panels.chain(bars).collect();
        let least = |side: fn(&[f64; 4]) -> f64| frames.iter().map(side).min_by(f64::total_cmp);
        let most = |side: fn(&[f64; 4]) -> f64| frames.iter().map(side).max_by(f64::total_cmp);
        let pixel = |mm: f64| (mm.max(0.0) * page.px_per_mm) as usize;
        let left = pixel(least(|frame| frame[0])? - AROUND_MM);
        let top = pixel(least(|frame| frame[1])? - AROUND_MM);
        let right = pixel(most(|frame| frame[0] + frame[2])? + AROUND_MM);
        let bottom = pixel(most(|frame| frame[1] + frame[3])? + AROUND_MM);
        let width = right.min(page.width).min(blank.width).checked_sub(left)?;
        let height = bottom.min(page.height).min(blank.height).checked_sub(top)?;
        let fits = width > 32 && height > 32;
        fits.then_some(Self { origin: [left, top], width, height })
    }

    fn cut(&self, flat: &Flat) -> Plane {
        let mut plane = Plane { width: self.width, height: self.height, data: Vec::new() };
        plane.data.reserve_exact(self.width * self.height);
        for y in self.origin[1]..self.origin[1] + self.height {
            let from = y * flat.width + self.origin[0];
            plane.data.extend_from_slice(&flat.ink[from..from + self.width]);
        }
        plane
    }
}

/// The print moved to where it is on the page, and the farthest that it was moved.
fn laid_over(printed: &Plane, field: &Field) -> (Plane, f32) {
    /// Pixels that are moved together.
    const BLOCK: usize = 4;
    let (columns, rows) = (printed.width.div_ceil(BLOCK), printed.height.div_ceil(BLOCK));
    let mut any = Plane::new(columns, rows);
    for (y, row) in printed.data.chunks(printed.width).enumerate() {
        for (column, block) in row.chunks(BLOCK).enumerate() {
            if block.iter().any(|&ink| ink > 0.01) {
                any.data[y / BLOCK * columns + column] = 1.0;
            }
        }
    }
    let any = any.spread();
    let mut out = Plane::new(printed.width, printed.height);
    let mut farthest = 0.0_f32;
    for row in 0..rows {
        for column in 0..columns {
            if any.data[row * columns + column] == 0.0 {
                continue;
            }
            let [left, top] = [column * BLOCK, row * BLOCK];
            let [dx, dy] = field.at(left + BLOCK / 2, top + BLOCK / 2);
            farthest = farthest.max(dx.abs()).max(dy.abs());
            for y in top..(top + BLOCK).min(printed.height) {
                for x in left..(left + BLOCK).min(printed.width) {
                    out.data[y * out.width + x] = printed.between(x as f32 - dx, y as f32 - dy);
                }
            }
        }
    }
    (out, farthest)
}

/// The most ink that the print alone can have put at each pixel, and where there is print.
fn expected(seen: &Plane, printed: &Plane, noise: f32) -> (Plane, Vec<bool>) {
    let grey = gain(seen, printed, 0.05..0.22, 0.0);
    let dark = gain(seen, printed, 0.30..1.01, 0.6);
    let mut print = printed.spread();
    // The edge of a dark line is as light as a grey one; what is beside it tells them apart.
    let beside = print.spread();
    let mut hidden = vec![false; print.data.len()];
    for ((ink, hides), beside) in print.data.iter_mut().zip(&mut hidden).zip(&beside.data) {
        let share = ((beside - 0.22) / 0.1).clamp(0.0, 1.0);
        let most = (*ink * (grey + share * (dark - grey))).min(1.0);
        // A grid that the copier dropped hides nothing.
        *hides = *ink > HIDES && most > 0.5 * HIDES;
        *ink = if *hides { most * 1.15 + 0.02 + 2.0 * noise } else { 0.0 };
    }
    (print, hidden)
}

/// How dark print of this ink came out, as a factor: the copier's contrast. Student's ink over
/// it makes it darker, so the middle of what is seen is taken.
fn gain(seen: &Plane, printed: &Plane, inks: std::ops::Range<f32>, least: f32) -> f32 {
    let mut counts = [0_u32; 128];
    for (y, row) in printed.data.chunks(printed.width).enumerate().skip(1).step_by(2) {
        if y + 1 == printed.height {
            break;
        }
        let (above, below) = (printed.row(y - 1), printed.row(y + 1));
        for x in 1..printed.width - 1 {
            let ink = row[x];
            let ridge =
                (ink >= row[x - 1] && ink >= row[x + 1]) || (ink >= above[x] && ink >= below[x]);
            if inks.contains(&ink) && ridge {
                let factor = seen.data[y * seen.width + x] / ink;
                counts[((factor * 32.0).max(0.0) as usize).min(127)] += 1;
            }
        }
    }
    let total: u32 = counts.iter().sum();
    if total == 0 {
        return 1.0;
    }
    let mut sum = 0;
    let at = counts.iter().position(|&count| {
        sum += count;
        sum as f32 > 0.55 * total as f32
    });
    (at.unwrap_or(32) as f32 / 32.0).clamp(least, 3.0)
}

/// Ink that is darker than print alone.
fn kept(seen: &Plane, print: &Plane, hidden: &[bool], least: f32) -> Plane {
    let mut out = Plane::new(seen.width, seen.height);
    for (at, ink) in out.data.iter_mut().enumerate() {
        let here = seen.data[at];
        let over = if hidden[at] { print.data[at] + least } else { least };
        if here > over {
            *ink = here;
        }
    }
    out
}

/// Carries strokes on over printed lines, from ink on one side to ink on the other.
fn bridge(ink: &mut Plane, seen: &Plane, hidden: &[bool], least: f32, reach: usize) {
    const WAYS: [[isize; 2]; 4] = [[1, 0], [0, 1], [1, 1], [1, -1]];
    let (width, height) = (ink.width, ink.height);
    let mut found = Vec::new();
    for y in reach..height.saturating_sub(reach) {
        for x in reach..width.saturating_sub(reach) {
            let at = y * width + x;
            if !hidden[at] || ink.data[at] > 0.0 || seen.data[at] <= least {
                continue;
            }
            let end = |way: isize| {
                let to = |n: usize| (at as isize + n as isize * way) as usize;
                (1..=reach).map(|n| (n, to(n))).find(|&(_, to)| ink.data[to] > 0.0 || !hidden[to])
            };
            let carried = WAYS.iter().filter_map(|[dx, dy]| {
                let way = dx + dy * width as isize;
                let ((before, a), (after, b)) = (end(-way)?, end(way)?);
                let ends = ink.data[a].min(ink.data[b]);
                (ends > 0.0 && before + after <= reach).then_some(ends)
            });
            if let Some(most) = carried.max_by(f32::total_cmp) {
                found.push((at, most.min(seen.data[at])));
            }
        }
    }
    for (at, value) in found {
        ink.data[at] = value;
    }
}
