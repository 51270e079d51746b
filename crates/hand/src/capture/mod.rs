//! Sheets copied and photographed.

mod copier;
mod filter;
mod phone;

pub use copier::Copier;
pub use phone::Phone;

use serde::Serialize;

use crate::chance::Chance;
use crate::mapping::Mapping;
use crate::raster::{Picture, Sheet};

/// What hides a corner of the page.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Covered {
    /// Number of the mark in that corner, clockwise from the top left.
    pub mark: usize,
    /// Its centre in millimetres.
    pub at_mm: [f64; 2],
    /// How.
    pub by: Cover,
}

/// How a corner can be hidden.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Cover {
    /// It is torn off.
    Torn,
    /// A thumb holds the page.
    Thumb,
}

/// A picture of a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Captured {
    /// The pixels as they are stored.
    pub picture: Picture,
    /// Where everything on the page is in them.
    pub mapping: Mapping,
    /// How they are to be turned to be looked at, as EXIF's orientation; 1 for not at all.
    pub orientation: u8,
}

/// How a sheet becomes a picture.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Capture {
    /// On a copier's glass or through its feeder.
    Copier(Copier),
    /// With a telephone.
    Phone(Phone),
}

impl Capture {
    /// Takes the picture.
    pub fn take(&self, sheet: &Sheet) -> Captured {
        match self {
            Self::Copier(copier) => copier.take(sheet),
            Self::Phone(phone) => phone.take(sheet),
        }
    }

    /// Quality of the JPEG file, 1 to 100.
    pub fn quality(&self) -> u8 {
        match self {
            Self::Copier(copier) => copier.quality,
            Self::Phone(phone) => phone.quality,
        }
    }

    /// Hides a corner.
    pub fn cover(&mut self, covered: Covered) {
        match self {
            Self::Copier(copier) => copier.covered = Some(covered),
            Self::Phone(phone) => phone.covered = Some(covered),
        }
    }
}

/// The page as it lies there: what is seen at a place of it.
struct Seen<'a> {
    sheet: &'a Sheet,
    covered: Option<Covered>,
    seed: u64,
}

/// What is seen at a place.
enum At {
    /// The page, so far covered by what it lies on or by what lies on it.
    Page([f32; 3]),
    /// The edge of the page: a share of it, 0 to 1.
    Edge([f32; 3], f32),
    /// A thumb; how near its middle, 0 to 1.
    Thumb(f32),
    /// What the page lies on.
    Beside,
}

impl Seen<'_> {
    /// `px` is the size of a pixel in millimetres.
    fn at(&self, x: f64, y: f64, px: f64) -> At {
        let [w, h] = self.sheet.size_mm;
        if let Some(covered) = self.covered {
            let (right, low) = (covered.at_mm[0] > w / 2.0, covered.at_mm[1] > h / 2.0);
            let inward = [if right { w - x } else { x }, if low { h - y } else { y }];
            match covered.by {
                Cover::Torn => {
                    let jagged = 2.5 * crate::raster::hashed((x / 1.7) as i64, 0, self.seed as u32)
                        + 1.2 * crate::raster::hashed((x / 0.4) as i64, 1, self.seed as u32);
                    if inward[0] * 0.9 + inward[1] < 33.0 + jagged {
                        return At::Beside;
                    }
                }
                Cover::Thumb => {
                    let across = (inward[0] - 8.0) * 0.8 - (inward[1] - 8.0) * 0.6;
                    let along = (inward[0] - 8.0) * 0.6 + (inward[1] - 8.0) * 0.8;
                    // A finger of 20 mm from beside the page, rounded at its tip.
                    let far = if along > 0.0 { libm::hypot(across, along) } else { across.abs() };
                    if far < 10.0 {
                        return At::Thumb(1.0 - (far / 10.0) as f32);
                    }
                }
            }
        }
        let inside = x.min(w - x).min(y).min(h - y);
        let share = inside / px + 0.5;
        if share <= 0.0 {
            At::Beside
        } else if share >= 1.0 {
            At::Page(sample(self.sheet, x, y))
        } else {
            At::Edge(sample(self.sheet, x, y), share as f32)
        }
    }
}

/// The sheet's colour at a place, by straight lines between the pixels' middles.
fn sample(sheet: &Sheet, x: f64, y: f64) -> [f32; 3] {
    let Picture { width, height, rgb } = &sheet.picture;
    let place = |mm: f64, limit: usize| {
        let at = (mm * sheet.px_per_mm - 0.5).clamp(0.0, limit as f64 - 1.001);
        (at as usize, (at - at.floor()) as f32)
    };
    let ((column, right), (row, down)) = (place(x, *width), place(y, *height));
    let at = row * width + column;
    let (a, b, c, d) = (rgb[at], rgb[at + 1], rgb[at + width], rgb[at + width + 1]);
    std::array::from_fn(|part| {
        let [a, b, c, d] = [a, b, c, d].map(|pixel| f32::from(pixel[part]));
        let top = a + right * (b - a);
        top + down * (c + right * (d - c) - top)
    })
}

/// Distance of the places for which the mapping is turned round, in pixels.
const GRID: usize = 16;

/// The places on the page of all pixels, row by row, given to `each` with their column and row.
fn for_each_pixel(
    mapping: &Mapping,
    [width, height]: [usize; 2],
    mut each: impl FnMut(usize, usize, [f64; 2]),
) {
    let columns = width / GRID + 2;
    let nodes = |row: usize, from: &mut [f64; 2]| -> Vec<[f64; 2]> {
        let mut guess = *from;
        let nodes = (0..columns).map(|column| {
            guess = mapping.page_at([(column * GRID) as f64, (row * GRID) as f64], guess);
            guess
        });
        let nodes: Vec<[f64; 2]> = nodes.collect();
        *from = nodes[0];
        nodes
    };
    let mut first = mapping.middle_mm;
    let mut upper = nodes(0, &mut first);
    for block in 0..height.div_ceil(GRID) {
        let lower = nodes(block + 1, &mut first);
        for row in block * GRID..((block + 1) * GRID).min(height) {
            let down = ((row - block * GRID) as f64 + 0.5) / GRID as f64;
            for column in 0..width {
                let node = column / GRID;
                let right = ((column - node * GRID) as f64 + 0.5) / GRID as f64;
                let page = std::array::from_fn(|axis| {
                    let top =
                        upper[node][axis] + right * (upper[node + 1][axis] - upper[node][axis]);
                    let bottom =
                        lower[node][axis] + right * (lower[node + 1][axis] - lower[node][axis]);
                    top + down * (bottom - top)
                });
                each(column, row, page);
            }
        }
        upper = lower;
    }
}

/// Noise from a table, by a quick generator: a picture has ten million pixels.
struct Noise {
    table: Vec<f32>,
    state: u32,
}

impl Noise {
    fn new(chance: &mut Chance) -> Self {
        let table = (0..4096).map(|_| chance.normal() as f32).collect();
        Self { table, state: chance.below(1 << 30) as u32 | 1 }
    }

    /// Normally distributed with deviation 1 (Marsaglia's xorshift, 2003).
    fn next(&mut self) -> f32 {
        self.state ^= self.state << 13;
        self.state ^= self.state >> 17;
        self.state ^= self.state << 5;
        self.table[(self.state >> 20) as usize]
    }
}

fn byte(value: f32) -> u8 {
    value.clamp(0.0, 255.0).round() as u8
}
