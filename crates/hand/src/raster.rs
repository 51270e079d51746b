//! Strokes as pixels on the printed page.

use figure::{FigureError, Page};

use crate::chance::{Chance, Wander};
use crate::draw::{Mark, Stroke};
use crate::student::Tool;

/// A colour image, row by row, 8 bits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// The pixels.
    pub rgb: Vec<[u8; 3]>,
}

/// A printed page, filled in.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Its pixels; the top left corner of the first is the page's.
    pub picture: Picture,
    /// How many for a millimetre.
    pub px_per_mm: f64,
    /// Width and height of the page in millimetres.
    pub size_mm: [f64; 2],
}

impl Sheet {
    /// The printed page at `dpi` pixels to the inch.
    ///
    /// # Errors
    /// [`FigureError`] where `dpi` is not 10 to 1200.
    pub fn print(page: &Page, dpi: f64) -> Result<Self, FigureError> {
        let png = page.figure().png(dpi)?;
        let read = image::load_from_memory_with_format(&png, image::ImageFormat::Png);
        let read = read.map_err(|error| FigureError::Output(error.to_string()))?.into_rgb8();
        let (width, height) = (read.width() as usize, read.height() as usize);
        let (whole, _) = read.as_raw().as_chunks::<3>();
        let picture = Picture { width, height, rgb: whole.to_vec() };
        Ok(Self { picture, px_per_mm: dpi / 25.4, size_mm: [page.width_mm, page.height_mm] })
    }

    /// Puts strokes on it; `seed` makes the paper's grain.
    pub fn draw(&mut self, strokes: &[Stroke], seed: u64) {
        for (index, stroke) in strokes.iter().enumerate() {
            let chance = &mut Chance::new(seed, &format!("ink {index}"));
            self.stroke(stroke, &Grain(seed as u32), chance);
        }
    }

    fn stroke(&mut self, stroke: &Stroke, grain: &Grain, chance: &mut Chance) {
        let look = Look::of(stroke);
        let scale = self.px_per_mm;
        let reach = look.width * 1.3 + 0.3;
        let sides = |axis: usize, limit: usize| {
            let at = stroke.points.iter().map(|point| point[axis]);
            let low = at.clone().fold(f64::INFINITY, f64::min) - reach;
            let high = at.fold(f64::NEG_INFINITY, f64::max) + reach;
            let px = |mm: f64| (mm * scale).clamp(0.0, limit as f64) as usize;
            [px(low), px(high + 1.0 / scale)]
        };
        let [left, right] = sides(0, self.picture.width);
        let [top, bottom] = sides(1, self.picture.height);
        if left >= right || top >= bottom {
            return;
        }
        let (width, height) = (right - left, bottom - top);
        let mut cover = vec![0.0_f32; width * height];
        let skips = Wander::new(chance, 1.0, [3.0, 30.0]);
        let mut along = 0.0;
        for pair in stroke.points.windows(2) {
            let [a, b] = [pair[0], pair[1]];
            along += libm::hypot(b[0] - a[0], b[1] - a[1]);
            if skips.at(along) > look.skips {
                continue;
            }
            let pressure = f64::midpoint(a[2], b[2]);
            let half = look.width * (0.72 + 0.35 * pressure) / 2.0;
            let dark = look.dark * (1.0 - look.by_pressure * (1.0 - pressure));
            let ends = [a, b].map(|p| [(p[0] * scale) - left as f64, (p[1] * scale) - top as f64]);
            capsule(&mut cover, width, ends, half * scale, look.soft * half * scale, dark as f32);
        }
        for row in 0..height {
            for column in 0..width {
                let mut ink = f64::from(cover[row * width + column]);
                if ink <= 0.0 {
                    continue;
                }
                let (x, y) = (left + column, top + row);
                if look.grain > 0.0 {
                    let rough = grain.at(x as f64 / scale, y as f64 / scale);
                    ink = (ink * (1.0 + 0.55 * look.grain) - look.grain * 0.62 * rough * look.dark)
                        .max(0.0);
                }
                let pixel = &mut self.picture.rgb[y * self.picture.width + x];
                for (part, colour) in pixel.iter_mut().zip(look.colour) {
                    let left = 1.0 - ink.min(1.0) * (1.0 - colour);
                    *part = (f64::from(*part) * left).round() as u8;
                }
            }
        }
    }
}

/// What a tool leaves on paper.
struct Look {
    colour: [f64; 3],
    width: f64,
    /// How much of the light is kept off the paper, 0 to 1.
    dark: f64,
    /// How far pressure matters, 0 to 1.
    by_pressure: f64,
    /// How far from the edge inwards the line gets paler, in halves of its width.
    soft: f64,
    /// How much the paper's grain shows, 0 to 1.
    grain: f64,
    /// Above what the ink runs out.
    skips: f64,
}

impl Look {
    /// Widths and greys: measured by eye on lines of such pens, no source.
    fn of(stroke: &Stroke) -> Self {
        let pen = |colour: [f64; 3], width: f64| Self {
            colour,
            width,
            dark: 0.92,
            by_pressure: 0.25,
            soft: 0.4,
            grain: 0.12,
            skips: 1.05,
        };
        let lead = |dark: f64, width: f64| Self {
            colour: [0.16, 0.16, 0.17],
            width,
            dark,
            by_pressure: 0.7,
            soft: 0.9,
            grain: 0.55,
            skips: f64::INFINITY,
        };
        let mut look = match stroke.tool {
            Tool::Pencil => lead(0.82, 0.58),
            Tool::FaintPencil => lead(0.28, 0.5),
            Tool::BluePen => pen([0.10, 0.18, 0.62], 0.5),
            Tool::BlackPen => pen([0.08, 0.08, 0.10], 0.5),
            Tool::RedPen => pen([0.80, 0.10, 0.14], 0.5),
            Tool::FeltPen => Self {
                soft: 0.3,
                by_pressure: 0.08,
                skips: f64::INFINITY,
                ..pen([0.09, 0.09, 0.11], 0.75)
            },
        };
        look.width *= stroke.width;
        look.dark = (look.dark * stroke.press).min(1.0);
        match stroke.mark {
            Mark::Line => {}
            Mark::Ghost => look.dark *= 0.22,
            Mark::Smudge => {
                let (soft, grain) = (1.0, 0.25);
                look = Self { width: 4.5, dark: 0.05 * look.dark, soft, grain, ..look };
            }
        }
        look
    }
}

/// Raises the cover to that of a line between two places; lengths in pixels.
fn capsule(
    cover: &mut [f32],
    width: usize,
    [a, b]: [[f64; 2]; 2],
    half: f64,
    soft: f64,
    dark: f32,
) {
    let height = cover.len() / width;
    let reach = half + 1.0;
    let range = |axis: usize, limit: usize| {
        let low = (a[axis].min(b[axis]) - reach).floor().clamp(0.0, limit as f64) as usize;
        let high = (a[axis].max(b[axis]) + reach).ceil().clamp(0.0, limit as f64) as usize;
        low..high
    };
    let way = [b[0] - a[0], b[1] - a[1]];
    let squared = (way[0] * way[0] + way[1] * way[1]).max(1e-12);
    // A line thinner than a pixel covers a share of it.
    let soft = soft.max(1.0);
    for row in range(1, height) {
        let y = row as f64 + 0.5 - a[1];
        for column in range(0, width) {
            let x = column as f64 + 0.5 - a[0];
            let share = ((x * way[0] + y * way[1]) / squared).clamp(0.0, 1.0);
            let (dx, dy) = (x - share * way[0], y - share * way[1]);
            let far = (dx * dx + dy * dy).sqrt();
            let inside = ((half + 0.5 - far) / soft).clamp(0.0, 1.0) as f32 * dark;
            let place = &mut cover[row * width + column];
            *place = place.max(inside);
        }
    }
}

/// The paper's roughness, by place in millimetres: 0 to 1.
struct Grain(u32);

impl Grain {
    fn at(&self, x: f64, y: f64) -> f64 {
        0.6 * self.layer(x / 0.11, y / 0.11, 1) + 0.4 * self.layer(x / 0.3, y / 0.3, 2)
    }

    fn layer(&self, x: f64, y: f64, salt: u32) -> f64 {
        let (column, row) = (x.floor(), y.floor());
        let (right, down) = (x - column, y - row);
        let at = |dx: i64, dy: i64| hashed(column as i64 + dx, row as i64 + dy, self.0 ^ salt);
        let top = at(0, 0) + right * (at(1, 0) - at(0, 0));
        let bottom = at(0, 1) + right * (at(1, 1) - at(0, 1));
        top + down * (bottom - top)
    }
}

/// A number from 0 to 1 for each place of a grid.
pub(crate) fn hashed(column: i64, row: i64, salt: u32) -> f64 {
    let mut mixed = (column as u32).wrapping_mul(0x8da6_b343)
        ^ (row as u32).wrapping_mul(0xd816_3841)
        ^ salt.wrapping_mul(0xcb1a_b31f);
    mixed ^= mixed >> 15;
    mixed = mixed.wrapping_mul(0x2c1b_3c6d);
    mixed ^= mixed >> 12;
    mixed = mixed.wrapping_mul(0x297a_2d39);
    mixed ^= mixed >> 15;
    f64::from(mixed) / f64::from(u32::MAX)
}
