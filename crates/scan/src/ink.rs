//! The student's ink: a page without what was printed on it.

mod over;
mod paper;
pub(crate) mod plane;
mod print;
mod register;

use crate::{BLACK, Flat, memory};
use register::Field;

pub use print::Print;

/// Ink fainter than this is never a stroke.
const FAINTEST: f32 = 0.045;
/// Standard deviations of the paper's noise below which ink is not believed.
const DEVIATIONS: f32 = 3.5;
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
    /// 0 none … [`BLACK`], row by row.
    pub ink: Vec<i16>,
    /// Where print leaves open whether there is a student's ink too.
    pub hidden: Vec<bool>,
    /// All that is seen, print as well.
    pub seen: Vec<i16>,
    /// Standard deviation of the paper, as a share of black.
    pub noise: f64,
    /// The largest shift of the print against the page that was found, in millimetres.
    pub shift_mm: f64,
}

impl Drop for Ink {
    fn drop(&mut self) {
        memory::keep(std::mem::take(&mut self.ink));
        memory::keep(std::mem::take(&mut self.seen));
    }
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

    /// How dark the student's strokes are: the middle of the ink that was found; none where there
    /// is none.
    pub fn darkness(&self) -> Option<f32> {
        const EVERY: usize = 5;
        let mut inked: Vec<i16> =
            self.ink.iter().step_by(EVERY).copied().filter(|ink| *ink > 0).collect();
        let middle = inked.len() / 2;
        (!inked.is_empty()).then(|| share(*inked.select_nth_unstable(middle).1))
    }

    /// Pixels of a length in millimetres, at least one.
    pub(crate) fn px(&self, mm: f64) -> usize {
        (mm * self.px_per_mm).round().max(1.0) as usize
    }
}

/// Ink as a share of black.
pub(crate) fn share(ink: i16) -> f32 {
    f32::from(ink) / f32::from(BLACK)
}

/// A share of black in steps of ink.
fn steps(share: f32) -> i16 {
    (share * f32::from(BLACK)).round() as i16
}

fn inside(at: f64, size: usize) -> usize {
    (at.round().max(0.0) as usize).min(size - 1)
}

/// The student's ink about the panels on `page`.
///
/// The print is first laid over the page piece by piece (within 0.5 mm), and its greys are
/// fitted to what the copier made of them. Ink is kept where it is darker than the print can be,
/// and carried on over printed lines where it goes on at both sides. `None` where the page is not
/// at the print's scale or smaller.
pub fn student_ink(page: &Flat, print: &Print) -> Option<Ink> {
    ink_above(page, print, [FAINTEST, DEVIATIONS])
}

/// As [`student_ink`], of what is fainter still: more of it is the paper's grain.
pub fn faint_ink(page: &Flat, print: &Print) -> Option<Ink> {
    ink_above(page, print, [0.25 * FAINTEST, 0.7 * DEVIATIONS])
}

/// The ink that is darker than `faintest` and than so many deviations of the paper's noise.
fn ink_above(page: &Flat, print: &Print, [faintest, deviations]: [f32; 2]) -> Option<Ink> {
    let scale = page.px_per_mm;
    let mut seen = print.seen(page)?;
    let (printed, shift) = print.laid_over(&Field::measured(&seen, print));
    let noise = paper::evened(&mut seen, &printed, scale);
    let least = steps(faintest.max(deviations * noise));
    let reach = (BRIDGE_MM * scale).round().max(1.0) as usize;
    let mut over = over::over(&seen, &printed, steps(noise), least, reach);
    over::bridge(&mut over, &seen, least);
    let over::Over { mut ink, mut hidden, .. } = over;
    paper::without_specks(&mut ink, &hidden, least, scale);
    // Print that shows no ink has nothing hidden under it.
    hidden.iter_mut().zip(&seen.data).for_each(|(hides, &seen)| *hides &= seen > least);
    memory::keep(printed.data);
    Some(Ink {
        px_per_mm: scale,
        origin: print.area.origin,
        width: print.area.width,
        height: print.area.height,
        ink: ink.data,
        hidden,
        seen: seen.data,
        noise: f64::from(noise),
        shift_mm: f64::from(shift) / scale,
    })
}
