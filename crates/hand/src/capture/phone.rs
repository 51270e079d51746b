//! A telephone's photograph.

use serde::Serialize;

use super::{At, Captured, Covered, Noise, Seen, byte, filter, for_each_pixel};
use crate::chance::{Chance, Wander};
use crate::mapping::{Along, Mapping};
use crate::raster::{Picture, Sheet, hashed};

/// A telephone and how it is held.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Phone {
    /// What light, noise and desk depend on.
    pub seed: u64,
    /// Longer and shorter side of the picture in pixels.
    pub size_px: [usize; 2],
    /// By how many degrees the camera looks from the side, and from below.
    pub tilted_deg: [f64; 2],
    /// By how many degrees it is turned about its own axis.
    pub turned_deg: f64,
    /// Quarters by which the page is turned in the picture, clockwise.
    pub quarters: u8,
    /// Whether the file says so, so that it is shown upright.
    pub by_exif: bool,
    /// Distance of the camera in millimetres; nearer is more perspective.
    pub far_mm: f64,
    /// Share of the picture's longer side that the page fills.
    pub fills: f64,
    /// By how much the middle of the page is off that of the picture, in shares of it.
    pub off_middle: [f64; 2],
    /// How high the page's sides stand above its middle, in millimetres; below for less than 0.
    pub sag_mm: f64,
    /// Along which way the page is bent.
    pub bent_along: Along,
    /// Deviation of the blur, in pixels: across and down.
    pub blur_px: [f64; 2],
    /// Brightness of white paper, 0 to 1.
    pub light: f64,
    /// Share of the light that is gone at the darker side.
    pub falls_off: f64,
    /// Share of the light that a shadow takes.
    pub shadow: f64,
    /// Share that the lens takes in the corners.
    pub vignette: f64,
    /// Colour of the light: red and blue against green.
    pub tint: [f64; 2],
    /// Strength of stripes as they come of a screen's light, 0 to 1.
    pub moire: f64,
    /// Deviation of the noise in greys.
    pub noise: f64,
    /// Quality of the JPEG file.
    pub quality: u8,
    /// What hides a corner.
    pub covered: Option<Covered>,
}

impl Phone {
    /// Any telephone. The ranges are common practice, no source.
    pub fn any(seed: u64) -> Self {
        let chance = &mut Chance::new(seed, "phone");
        let sizes = [[3264, 2448], [4000, 3000], [3648, 2736], [4032, 2268]];
        let moved = chance.often(0.3);
        let blur = chance.between(0.5, 1.2);
        let light = chance.between(0.72, 0.95);
        Self {
            seed,
            size_px: chance.pick(&sizes),
            tilted_deg: [chance.normal() * 6.0, chance.normal() * 7.0],
            turned_deg: chance.normal() * 2.5,
            quarters: if chance.often(0.6) { 0 } else { 1 + chance.below(3) as u8 },
            by_exif: chance.often(0.5),
            far_mm: chance.between(320.0, 480.0),
            fills: chance.between(0.8, 0.93),
            off_middle: [chance.normal() * 0.012, chance.normal() * 0.012],
            sag_mm: if chance.often(0.6) { chance.between(-2.0, 4.0) } else { 0.0 },
            bent_along: if chance.often(0.6) { Along::X } else { Along::Y },
            blur_px: [blur, if moved { blur + chance.between(0.3, 1.0) } else { blur }],
            light,
            falls_off: chance.between(0.05, 0.4),
            shadow: if chance.often(0.5) { chance.between(0.12, 0.4) } else { 0.0 },
            vignette: chance.between(0.05, 0.22),
            tint: [chance.between(0.97, 1.08), chance.between(0.86, 1.03)],
            moire: if chance.often(0.1) { chance.between(0.01, 0.03) } else { 0.0 },
            noise: chance.between(1.5, 5.0),
            quality: chance.between(70.0, 90.0) as u8,
            covered: None,
        }
    }

    /// The picture's size with the page's longer side along its longer side, and where
    /// everything on the page is in it, before the picture is turned by quarters.
    fn upright(&self, size_mm: [f64; 2]) -> ([usize; 2], Mapping) {
        let [long, short] = self.size_px;
        let wide = size_mm[0] >= size_mm[1];
        let size = if wide { [long, short] } else { [short, long] };
        let [about_y, about_x] = self.tilted_deg.map(f64::to_radians);
        let about_z = self.turned_deg.to_radians();
        let (sx, cx) = (libm::sin(about_x), libm::cos(about_x));
        let (sy, cy) = (libm::sin(about_y), libm::cos(about_y));
        let (sz, cz) = (libm::sin(about_z), libm::cos(about_z));
        let by = |m: [[f64; 3]; 3], n: [[f64; 3]; 3]| -> [[f64; 3]; 3] {
            std::array::from_fn(|i| {
                std::array::from_fn(|j| (0..3).map(|k| m[i][k] * n[k][j]).sum())
            })
        };
        let tilt = by(
            [[1.0, 0.0, 0.0], [0.0, cx, -sx], [0.0, sx, cx]],
            [[cy, 0.0, sy], [0.0, 1.0, 0.0], [-sy, 0.0, cy]],
        );
        let turn = by([[cz, -sz, 0.0], [sz, cz, 0.0], [0.0, 0.0, 1.0]], tilt);
        let longer = size_mm[0].max(size_mm[1]);
        let fits = |axis: usize| size[axis] as f64 / size_mm[axis];
        let room = fits(0).min(fits(1)) * longer;
        let focal = self.fills * room / longer * self.far_mm;
        // From 8 sag / length² (a circle's sagitta).
        let length = match self.bent_along {
            Along::X => size_mm[0],
            Along::Y => size_mm[1],
        };
        let bend_per_mm = -8.0 * self.sag_mm / (length * length);
        let centre = [0, 1].map(|axis| size[axis] as f64 * (0.5 + self.off_middle[axis]));
        let row = |axis: usize| {
            let mut row = [0.0; 4];
            for (column, place) in row.iter_mut().enumerate().take(3) {
                *place = focal * turn[axis][column] + centre[axis] * turn[2][column];
            }
            row[3] = centre[axis] * self.far_mm;
            row
        };
        let last = [turn[2][0], turn[2][1], turn[2][2], self.far_mm];
        let matrix = [row(0), row(1), last];
        let middle_mm = size_mm.map(|side| side / 2.0);
        (size, Mapping { matrix, bend_per_mm, bent_along: self.bent_along, middle_mm })
    }

    /// The picture's size, the mapping and the file's orientation.
    fn framed(&self, size_mm: [f64; 2]) -> ([usize; 2], Mapping, u8) {
        let ([w, h], mapping) = self.upright(size_mm);
        let (wide, high) = (w as f64, h as f64);
        let quarters = self.quarters % 4;
        // EXIF: 8 says that the picture is to be turned back a quarter anticlockwise.
        let (size, change, back) = match quarters {
            0 => ([w, h], [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], 1),
            1 => ([h, w], [[0.0, -1.0, high], [1.0, 0.0, 0.0]], 8),
            2 => ([w, h], [[-1.0, 0.0, wide], [0.0, -1.0, high]], 3),
            _ => ([h, w], [[0.0, 1.0, 0.0], [-1.0, 0.0, wide]], 6),
        };
        (size, mapping.then(change), if self.by_exif { back } else { 1 })
    }

    pub(super) fn take(&self, sheet: &Sheet) -> Captured {
        let chance = &mut Chance::new(self.seed, "photo");
        let (size, mapping, orientation) = self.framed(sheet.size_mm);
        let [width, height] = size;
        let factor = sheet.px_per_mm / mapping.px_per_mm();
        let mut soft = sheet.clone();
        filter::blur(&mut soft.picture, self.blur_px.map(|sigma| sigma * factor));
        let seen = Seen { sheet: &soft, covered: self.covered, seed: self.seed };
        let light = Light::new(self, sheet.size_mm, chance);
        let desk = Desk::new(chance);
        let mut noise = Noise::new(chance);
        let pixel_mm = 1.0 / mapping.px_per_mm();
        let noisy = self.noise as f32;
        let tint = [self.tint[0] as f32, 1.0, self.tint[1] as f32];
        let half = [width as f64 / 2.0, height as f64 / 2.0];
        let mut rgb = vec![[0; 3]; width * height];
        let mut shade = 1.0;
        for_each_pixel(&mapping, size, |column, row, [x, y]| {
            // Light changes slowly.
            if column % 4 == 0 {
                let out = [(column as f64 - half[0]) / half[0], (row as f64 - half[1]) / half[1]];
                let vignette = 1.0 - self.vignette * (out[0] * out[0] + out[1] * out[1]) / 2.0;
                shade = (light.at(x, y) * vignette) as f32;
            }
            let colour = match seen.at(x, y, pixel_mm) {
                At::Page(colour) => colour,
                At::Edge(colour, share) => {
                    let desk = desk.at(x, y);
                    std::array::from_fn(|part| desk[part] + share * (colour[part] - desk[part]))
                }
                At::Thumb(near) => {
                    [214.0, 160.0, 132.0].map(|part| part * (0.62 + 0.5 * near.sqrt()).min(1.0))
                }
                At::Beside => desk.at(x, y),
            };
            let grain = noisy * noise.next();
            let off = noisy * 0.4 * noise.next();
            let stripes = if self.moire > 0.0 {
                1.0 + self.moire as f32 * libm::sin(0.9 * x + 0.25 * y + 0.002 * x * y) as f32
            } else {
                1.0
            };
            rgb[row * width + column] = std::array::from_fn(|part| {
                let tone = if part == 0 {
                    off
                } else if part == 2 {
                    -off
                } else {
                    0.0
                };
                byte(colour[part] * shade * stripes * tint[part] + grain + tone)
            });
        });
        let picture = Picture { width, height, rgb };
        Captured { picture, mapping, orientation }
    }
}

/// The light on the desk.
struct Light {
    base: f64,
    way: [f64; 2],
    middle: [f64; 2],
    shadow: Option<Shadow>,
}

/// A shadow beyond a wavy line, such as of the hand that holds the telephone.
struct Shadow {
    share: f64,
    away: [f64; 2],
    at: f64,
    soft: f64,
    edge: Wander,
}

impl Light {
    fn new(phone: &Phone, size_mm: [f64; 2], chance: &mut Chance) -> Self {
        let turn = |chance: &mut Chance| {
            let angle = std::f64::consts::TAU * chance.share();
            [libm::cos(angle), libm::sin(angle)]
        };
        let half = size_mm[0].max(size_mm[1]) / 2.0;
        let way = turn(chance).map(|part| part * phone.falls_off / (2.0 * half));
        let shadow = (phone.shadow > 0.0).then(|| Shadow {
            share: phone.shadow,
            away: turn(chance),
            at: chance.between(-0.2, 0.7) * half,
            soft: chance.between(4.0, 25.0),
            edge: Wander::new(chance, 12.0, [60.0, 200.0]),
        });
        Self { base: phone.light, way, middle: size_mm.map(|side| side / 2.0), shadow }
    }

    fn at(&self, x: f64, y: f64) -> f64 {
        let [u, v] = [x - self.middle[0], y - self.middle[1]];
        let mut light = self.base * (1.0 + self.way[0] * u + self.way[1] * v).max(0.2);
        if let Some(shadow) = &self.shadow {
            let far = u * shadow.away[0] + v * shadow.away[1] - shadow.at;
            let beside = v * shadow.away[0] - u * shadow.away[1];
            let share = 0.5 + (far + shadow.edge.at(beside)) / shadow.soft;
            light *= 1.0 - shadow.share * crate::curve::ease(share);
        }
        light
    }
}

/// What the page lies on.
struct Desk {
    colour: [f32; 3],
    salt: u32,
    wood: bool,
}

impl Desk {
    fn new(chance: &mut Chance) -> Self {
        let colours =
            [[150.0, 108.0, 70.0], [96.0, 64.0, 42.0], [70.0, 72.0, 78.0], [176.0, 170.0, 160.0]];
        let which = chance.below(colours.len());
        Self { colour: colours[which], salt: chance.below(1 << 20) as u32, wood: which < 2 }
    }

    fn at(&self, x: f64, y: f64) -> [f32; 3] {
        let rough = |cell: [f64; 2], salt: u32| {
            hashed((x / cell[0]).floor() as i64, (y / cell[1]).floor() as i64, self.salt ^ salt)
        };
        let rough = if self.wood {
            // Long in one direction, as wood is.
            let bend = 3.0 * libm::sin(x / 60.0);
            let ring = libm::sin((y + bend) * 0.55) * 0.5 + 0.5;
            0.8 + 0.12 * ring + 0.10 * rough([9.0, 0.5], 1)
        } else {
            0.9 + 0.1 * rough([0.6, 0.6], 2) + 0.05 * rough([2.0, 2.0], 3)
        };
        self.colour.map(|part| part * rough as f32)
    }
}
