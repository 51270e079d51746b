//! Reading a page's QR code.
//!
//! On a flattened page the code's place is known, so that its modules can be looked up one by
//! one, with no need to find its finders first; the code's own redundancy (level Q restores a
//! quarter) mends what a pencil has spoiled. Only where that fails is it searched for.

use std::panic::{AssertUnwindSafe, catch_unwind};

use rqrr::{Grid, PreparedImage, SimpleGrid};

use crate::flatten::map_of;
use crate::{BLACK, Flat, Mark, PageForm, Picture};

/// Modules along a side of version 1, the only one printed.
const MODULES: usize = 21;
/// Shifts in modules that are tried where the page's paper does not lie quite flat.
const SHIFTS: [f64; 5] = [0.0, -0.3, 0.3, -0.6, 0.6];
/// Share of the way from paper to black at which a module counts as black.
const LEVELS: [f32; 3] = [0.5, 0.35, 0.65];
/// Longest text that a code of this size can hold (41 digits).
const LONGEST: usize = 41;

/// The text of the code printed at `place` (left, top, width and height in millimetres) on a
/// flattened page: read at its place, then searched for around it.
pub fn read_code(flat: &Flat, place: [f64; 4]) -> Option<String> {
    at_place(place, |at, half| mean_ink(flat, at, half)).or_else(|| around(flat, place))
}

/// The text of the code of a page whose `marks` were found in a picture, without laying it flat:
/// quicker than [`read_code`], and less patient with what is bent or spoiled.
pub fn read_code_in(grey: &Picture, marks: &[Mark], form: &PageForm) -> Option<String> {
    let map = map_of(marks, form)?;
    at_place(form.code?, |[x, y], half| {
        let part = |step: i32| f64::from(step) * half * 0.7;
        let places = (-1..=1).flat_map(|v| (-1..=1).map(move |u| [x + part(u), y + part(v)]));
        let sum: f64 = places.map(|place| grey.at(map.to_picture(place))).sum();
        1.0 - (sum / 9.0 / 255.0) as f32
    })
}

/// The texts of all codes in a picture.
pub fn find_code(grey: &Picture) -> Vec<String> {
    /// Pixels along the shorter side: modules of 4 pixels or so.
    const SEARCHED: usize = 1_400;
    let by = (grey.width.min(grey.height) / SEARCHED).max(1);
    let mut texts = Vec::new();
    for by in [by, by.div_ceil(2)] {
        let small = grey.reduced(by);
        texts = search(small.width, small.height, |x, y| small.level[y * small.width + x]);
        if !texts.is_empty() || by == 1 {
            break;
        }
    }
    texts
}

/// Reads the code at a place, where `mean` is the ink about a point within a distance.
fn at_place(
    [left, top, width, height]: [f64; 4],
    mean: impl Fn([f64; 2], f64) -> f32,
) -> Option<String> {
    let (across, down) = (width / MODULES as f64, height / MODULES as f64);
    for dy in SHIFTS {
        for dx in SHIFTS {
            let ink = |row: usize, column: usize| {
                let x = left + (column as f64 + 0.5 + dx) * across;
                let y = top + (row as f64 + 0.5 + dy) * down;
                mean([x, y], 0.25 * across)
            };
            let inks: Vec<f32> =
                (0..MODULES * MODULES).map(|at| ink(at / MODULES, at % MODULES)).collect();
            let (light, dark) = ends(&inks)?;
            for share in LEVELS {
                let limit = light + share * (dark - light);
                let grid = SimpleGrid::from_func(MODULES, |x, y| inks[y * MODULES + x] > limit);
                if let Some(text) = decoded(&Grid::new(grid)) {
                    return Some(text);
                }
            }
        }
    }
    None
}

/// Typical ink of white and black modules; none where the place is all of one lightness.
fn ends(inks: &[f32]) -> Option<(f32, f32)> {
    let mut sorted = inks.to_vec();
    sorted.sort_by(f32::total_cmp);
    let (light, dark) = (sorted[sorted.len() / 5], sorted[sorted.len() * 4 / 5]);
    (dark - light > 0.1).then_some((light, dark))
}

fn mean_ink(flat: &Flat, [x, y]: [f64; 2], half: f64) -> f32 {
    let range = |at: f64, most: usize| {
        let low = ((at - half) * flat.px_per_mm).max(0.0) as usize;
        let high = ((at + half) * flat.px_per_mm).max(0.0).ceil() as usize;
        low.min(most.saturating_sub(1))..high.min(most)
    };
    let (columns, rows) = (range(x, flat.width), range(y, flat.height));
    let count = (columns.len() * rows.len()).max(1);
    let pixels = rows.flat_map(|row| &flat.ink[row * flat.width..][columns.clone()]);
    let sum: u64 = pixels.map(|&ink| ink as u64).sum();
    sum as f32 / count as f32 / f32::from(BLACK)
}

fn around(flat: &Flat, [left, top, width, height]: [f64; 4]) -> Option<String> {
    /// Millimetres around the code that are searched: its white, and a little more.
    const MORE: f64 = 6.0;
    let pixel = |mm: f64, most: usize| ((mm * flat.px_per_mm).max(0.0) as usize).min(most);
    let (x0, x1) = (pixel(left - MORE, flat.width), pixel(left + width + MORE, flat.width));
    let (y0, y1) = (pixel(top - MORE, flat.height), pixel(top + height + MORE, flat.height));
    let level = |ink: i16, gain: f32| {
        (255.0 * (1.0 - (f32::from(ink) / f32::from(BLACK) * gain).min(1.0))) as u8
    };
    [1.0, 2.0, 0.7].into_iter().find_map(|gain| {
        let texts = search(x1.saturating_sub(x0), y1.saturating_sub(y0), |x, y| {
            level(flat.ink[(y + y0) * flat.width + x + x0], gain)
        });
        texts.into_iter().next()
    })
}

fn search(width: usize, height: usize, level: impl FnMut(usize, usize) -> u8) -> Vec<String> {
    if width < MODULES || height < MODULES {
        return Vec::new();
    }
    // The library is not proof against every pattern that looks like a code's.
    let searched = AssertUnwindSafe(|| {
        let mut image = PreparedImage::prepare_from_greyscale(width, height, level);
        image.detect_grids().iter().filter_map(decoded).collect()
    });
    catch_unwind(searched).unwrap_or_default()
}

fn decoded<G: rqrr::BitGrid>(grid: &Grid<G>) -> Option<String> {
    let (_, text) = grid.decode().ok()?;
    (!text.is_empty() && text.len() <= LONGEST).then_some(text)
}
