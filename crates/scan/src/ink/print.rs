//! The sheet as it was printed.

use super::plane::Plane;
use super::register::{Field, Windows};
use crate::{BLACK, Flat, PageForm, PanelForm, memory};

/// Room about the panels in which ink is looked for, in millimetres: alignment lines and their
/// names reach beyond.
const AROUND_MM: f64 = 10.0;
/// Fainter ink than this is not printed.
const FAINTEST: i16 = BLACK / 100;
/// Pixels that are moved together.
const BLOCK: usize = 8;

/// A page's print about its panels, made ready once for all scans of that page.
#[derive(Clone, Debug)]
pub struct Print {
    px_per_mm: f64,
    pub(super) area: Area,
    pub(super) windows: Windows,
    plane: Plane,
    /// Which blocks are printed on, or beside such.
    blocks: Plane,
}

/// A part of the page, in pixels.
#[derive(Clone, Debug)]
pub(super) struct Area {
    pub(super) origin: [usize; 2],
    pub(super) width: usize,
    pub(super) height: usize,
}

impl Print {
    /// The print about the panels of `form`, of the sheet `blank` as a flattened scan would show
    /// it before anyone has drawn on it. `None` where the form has no panels or the sheet is too
    /// small.
    pub fn of(blank: &Flat, form: &PageForm) -> Option<Self> {
        let area = Area::about(form, blank)?;
        let plane = area.smoothed(blank);
        let windows = Windows::of(&plane, blank.px_per_mm);
        let blocks = blocks(&plane).spread();
        Some(Self { px_per_mm: blank.px_per_mm, area, windows, plane, blocks })
    }

    /// What is seen on the same part of a page; `None` where the page is smaller or at another
    /// scale.
    pub(super) fn seen(&self, page: &Flat) -> Option<Plane> {
        let Area { origin, width, height } = self.area;
        let fits = page.px_per_mm == self.px_per_mm
            && origin[0] + width <= page.width
            && origin[1] + height <= page.height;
        fits.then(|| self.area.smoothed(page))
    }

    /// The print moved to where it is on the page, and the farthest that it was moved.
    pub(super) fn laid_over(&self, field: &Field) -> (Plane, f32) {
        let (width, height) = (self.plane.width, self.plane.height);
        let mut out = Plane { width, height, data: memory::room(width * height) };
        let mut farthest = 0.0_f32;
        for (row, blocks) in self.blocks.data.chunks(self.blocks.width).enumerate() {
            // Emptied just before it is needed, it is still at hand.
            out.data.resize(width * (BLOCK * (row + 1)).min(height), 0);
            for column in (0..blocks.len()).filter(|&column| blocks[column] > 0) {
                let [left, top] = [column * BLOCK, row * BLOCK];
                let [dx, dy] = field.at(left + BLOCK / 2, top + BLOCK / 2);
                farthest = farthest.max(dx.abs()).max(dy.abs());
                let from = [left as f32 - dx, top as f32 - dy];
                if !self.moved(from, [left, top], &mut out) {
                    for y in top..(top + BLOCK).min(height) {
                        for x in left..(left + BLOCK).min(width) {
                            let place = [x as f32 - dx, y as f32 - dy];
                            out.data[y * width + x] = self.plane.between(place[0], place[1]) as i16;
                        }
                    }
                }
            }
        }
        (out, farthest)
    }

    /// Moves a block whose first pixel comes from a place between pixels, quickly; false where it
    /// is too near to the edge for that.
    fn moved(&self, [x, y]: [f32; 2], [left, top]: [usize; 2], out: &mut Plane) -> bool {
        let (width, height) = (self.plane.width, self.plane.height);
        let inside = x >= 0.0
            && y >= 0.0
            && (x as usize) + BLOCK < width
            && (y as usize) + BLOCK < height
            && left + BLOCK <= width
            && top + BLOCK <= height;
        if !inside {
            return false;
        }
        let [across, down] = [x, y].map(|at| Share::of(at.fract()));
        let mut above = [0; BLOCK];
        for row in 0..=BLOCK {
            let from = (y as usize + row) * width + x as usize;
            let from = &self.plane.data[from..][..BLOCK + 1];
            let here: [i16; BLOCK] =
                std::array::from_fn(|at| across.between(from[at], from[at + 1]));
            if row > 0 {
                let to = &mut out.data[(top + row - 1) * width + left..][..BLOCK];
                for at in 0..BLOCK {
                    to[at] = down.between(above[at], here[at]);
                }
            }
            above = here;
        }
        true
    }
}

/// A share of the way between two pixels: eighths, and eighths of an eighth, so that products of
/// them and of ink fit 16 bits.
#[derive(Clone, Copy)]
struct Share([i16; 2]);

impl Share {
    fn of(share: f32) -> Self {
        let parts = (share * 64.0) as i16;
        Self([parts / 8, parts % 8])
    }

    fn between(self, from: i16, to: i16) -> i16 {
        let Self([eighths, parts]) = self;
        let way = to - from;
        from + ((way * eighths) >> 3) + ((way * parts) >> 6)
    }
}

/// Which blocks are printed on.
fn blocks(plane: &Plane) -> Plane {
    let (columns, rows) = (plane.width.div_ceil(BLOCK), plane.height.div_ceil(BLOCK));
    let mut any = Plane::new(columns, rows);
    for (y, row) in plane.data.chunks(plane.width).enumerate() {
        for (column, block) in row.chunks(BLOCK).enumerate() {
            if block.iter().any(|&ink| ink > FAINTEST) {
                any.data[y / BLOCK * columns + column] = 1;
            }
        }
    }
    any
}

impl Area {
    fn about(form: &PageForm, blank: &Flat) -> Option<Self> {
        let panels = form.panels.iter().map(PanelForm::frame);
        let bars = form.bars.iter().map(|bar| [bar.x_mm, bar.y_mm, bar.width_mm, bar.height_mm]);
        let frames: Vec<[f64; 4]> = panels.chain(bars).collect();
        let least = |side: fn(&[f64; 4]) -> f64| frames.iter().map(side).min_by(f64::total_cmp);
        let most = |side: fn(&[f64; 4]) -> f64| frames.iter().map(side).max_by(f64::total_cmp);
        let pixel = |mm: f64| (mm.max(0.0) * blank.px_per_mm) as usize;
        let left = pixel(least(|frame| frame[0])? - AROUND_MM);
        let top = pixel(least(|frame| frame[1])? - AROUND_MM);
        let right = pixel(most(|frame| frame[0] + frame[2])? + AROUND_MM);
        let bottom = pixel(most(|frame| frame[1] + frame[3])? + AROUND_MM);
        // A flattened page has so many whole pixels; the sheet's own picture may have one more.
        let page = [form.width_mm, form.height_mm].map(|mm| pixel(mm + 0.5 / blank.px_per_mm));
        let width = right.min(page[0]).min(blank.width).checked_sub(left)?;
        let height = bottom.min(page[1]).min(blank.height).checked_sub(top)?;
        let fits = width > 32 && height > 32;
        fits.then_some(Self { origin: [left, top], width, height })
    }

    /// What a flat page shows there, smoothed.
    fn smoothed(&self, flat: &Flat) -> Plane {
        let [left, top] = self.origin;
        let row = |y: usize| &flat.ink[(top + y) * flat.width + left..][..self.width];
        Plane::smoothed_of([self.width, self.height], row)
    }
}
