//! A copier's scan.

use serde::Serialize;

use super::{At, Captured, Covered, Noise, Seen, byte, filter, for_each_pixel, sample};
use crate::chance::Chance;
use crate::mapping::{Along, Mapping};
use crate::raster::{Picture, Sheet};

/// A copier and how the page lies on it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Copier {
    /// What dust and noise depend on.
    pub seed: u64,
    /// Pixels to the inch.
    pub dpi: f64,
    /// Whether in colour.
    pub colour: bool,
    /// By how many degrees the page is turned, clockwise.
    pub turned_deg: f64,
    /// Whether it lies upside down.
    pub upside_down: bool,
    /// By how much the copy is larger, across and down.
    pub scale: [f64; 2],
    /// By how much the page is moved, in millimetres.
    pub moved_mm: [f64; 2],
    /// Deviation of the blur, in pixels.
    pub blur_px: f64,
    /// Grey, 0 to 1, from which on everything is white.
    pub white: f64,
    /// Grey below which everything is black.
    pub black: f64,
    /// Exponent of what lies between.
    pub gamma: f64,
    /// Share of the sheet's other side that shows through.
    pub bleed: f64,
    /// Specks of dust on a page.
    pub dust: usize,
    /// Streaks along the feed.
    pub streaks: usize,
    /// How dark one edge is, 0 to 1.
    pub dark_edge: f64,
    /// Whether the lid is dark beside the page.
    pub dark_lid: bool,
    /// Quality of the JPEG file.
    pub quality: u8,
    /// What hides a corner.
    pub covered: Option<Covered>,
}

impl Copier {
    /// A copier that changes nothing.
    pub fn perfect(dpi: f64) -> Self {
        Self {
            seed: 0,
            dpi,
            colour: true,
            turned_deg: 0.0,
            upside_down: false,
            scale: [1.0; 2],
            moved_mm: [0.0; 2],
            blur_px: 0.0,
            white: 1.0,
            black: 0.0,
            gamma: 1.0,
            bleed: 0.0,
            dust: 0,
            streaks: 0,
            dark_edge: 0.0,
            dark_lid: false,
            quality: 95,
            covered: None,
        }
    }

    /// Any copier at `dpi`. The ranges are common practice, no source.
    pub fn any(seed: u64, dpi: f64, colour: bool) -> Self {
        let chance = &mut Chance::new(seed, "copier");
        let small = chance.often(0.7);
        let most = if small { 0.7 } else { 3.0 };
        Self {
            seed,
            dpi,
            colour,
            turned_deg: chance.between(-most, most),
            upside_down: false,
            scale: [chance.between(0.99, 1.01), chance.between(0.99, 1.01)],
            moved_mm: [chance.between(-2.5, 2.5), chance.between(-2.5, 2.5)],
            blur_px: chance.between(0.35, 0.8),
            white: chance.between(0.9, 0.99),
            black: chance.between(0.0, 0.12),
            gamma: chance.between(0.8, 1.15),
            bleed: if chance.often(0.25) { chance.between(0.01, 0.05) } else { 0.0 },
            dust: chance.below(25),
            streaks: if chance.often(0.3) { 1 + chance.below(2) } else { 0 },
            dark_edge: if chance.often(0.4) { chance.between(0.1, 0.5) } else { 0.0 },
            dark_lid: chance.often(0.15),
            quality: chance.between(60.0, 90.0) as u8,
            covered: None,
        }
    }

    /// Where everything on a page of this size comes to lie.
    fn mapping(&self, size_mm: [f64; 2]) -> Mapping {
        let px = self.dpi / 25.4;
        let middle = size_mm.map(|side| side / 2.0);
        let half = if self.upside_down { std::f64::consts::PI } else { 0.0 };
        let angle = self.turned_deg.to_radians() + half;
        let (sin, cos) = (libm::sin(angle), libm::cos(angle));
        let [across, down] = self.scale.map(|scale| scale * px);
        let at = [0, 1].map(|axis| (middle[axis] + self.moved_mm[axis]) * px);
        Mapping {
            matrix: [
                [across * cos, -across * sin, 0.0, at[0]],
                [down * sin, down * cos, 0.0, at[1]],
                [0.0, 0.0, 0.0, 1.0],
            ],
            bend_per_mm: 0.0,
            bent_along: Along::X,
            middle_mm: middle,
        }
    }

    pub(super) fn take(&self, sheet: &Sheet) -> Captured {
        let chance = &mut Chance::new(self.seed, "copy");
        let mapping = self.mapping(sheet.size_mm);
        let size = sheet.size_mm.map(|side| (side * self.dpi / 25.4).round() as usize);
        let [width, height] = size;
        let mut noise = Noise::new(chance);
        let lid = if self.dark_lid { 60.0 } else { 246.0 };
        let mut softened = None;
        let factor = sheet.px_per_mm * 25.4 / self.dpi;
        // Before pixels are left out they are averaged.
        let blur = self.blur_px * factor + if factor > 1.2 { 0.4 * factor } else { 0.0 };
        if blur > 0.15 {
            let mut soft = sheet.clone();
            filter::blur(&mut soft.picture, [blur; 2]);
            softened = Some(soft);
        }
        let sheet = softened.as_ref().unwrap_or(sheet);
        let seen = Seen { sheet, covered: self.covered, seed: self.seed };
        let tone = self.tone();
        let edges = Edges::new(self, size, chance);
        let mut rgb = vec![[0; 3]; width * height];
        let noisy = if self.seed == 0 { 0.0 } else { 1.6 };
        for_each_pixel(&mapping, size, |column, row, [x, y]| {
            let mut colour = match seen.at(x, y, 25.4 / self.dpi) {
                At::Page(colour) => colour,
                At::Edge(colour, share) => colour.map(|part| lid + share * (part - lid)),
                At::Thumb(_) | At::Beside => [lid; 3],
            };
            if self.bleed > 0.0 {
                let back = sample(sheet, sheet.size_mm[0] - x, y);
                for (part, back) in colour.iter_mut().zip(back) {
                    *part -= self.bleed as f32 * (255.0 - back);
                }
            }
            if !self.colour {
                colour = [luma(colour); 3];
            }
            let shade = edges.shade(column, row);
            let grain = noisy * noise.next();
            rgb[row * width + column] = colour.map(|part| {
                let toned = tone[usize::from(byte(part * shade))];
                byte(toned + grain)
            });
        });
        let mut picture = Picture { width, height, rgb };
        self.dirt(&mut picture, chance);
        Captured { picture, mapping, orientation: 1 }
    }

    /// What becomes of each grey.
    fn tone(&self) -> Vec<f32> {
        let toned = |value: u16| {
            let grey = f64::from(value) / 255.0;
            let share = ((grey - self.black) / (self.white - self.black)).clamp(0.0, 1.0);
            (255.0 * libm::pow(share, self.gamma)) as f32
        };
        (0..256).map(toned).collect()
    }

    fn dirt(&self, picture: &mut Picture, chance: &mut Chance) {
        let px = self.dpi / 25.4;
        for _ in 0..self.dust {
            let (x, y) =
                (chance.share() * picture.width as f64, chance.share() * picture.height as f64);
            let size = [chance.between(0.04, 0.2) * px, chance.between(0.04, 0.2) * px];
            let dark = chance.between(0.3, 0.9) as f32;
            let reach = size[0].max(size[1]).ceil() as usize + 1;
            let (column, row) = (x as usize, y as usize);
            for row in row.saturating_sub(reach)..(row + reach).min(picture.height) {
                for column in column.saturating_sub(reach)..(column + reach).min(picture.width) {
                    let far =
                        libm::hypot((column as f64 - x) / size[0], (row as f64 - y) / size[1]);
                    if far < 1.0 {
                        let pixel = &mut picture.rgb[row * picture.width + column];
                        *pixel = pixel.map(|part| byte(f32::from(part) * (1.0 - dark)));
                    }
                }
            }
        }
    }
}

fn luma([r, g, b]: [f32; 3]) -> f32 {
    // Weights of ITU-R BT.601.
    0.299 * r + 0.587 * g + 0.114 * b
}

/// Streaks and a darkened edge.
struct Edges {
    streaks: Vec<[f32; 3]>,
    side: usize,
    dark: f32,
    size: [f32; 2],
    reach: f32,
}

impl Edges {
    fn new(copier: &Copier, size: [usize; 2], chance: &mut Chance) -> Self {
        let px = copier.dpi / 25.4;
        let streaks = (0..copier.streaks).map(|_| {
            let half = chance.between(0.04, 0.25) * px;
            [chance.share() * size[0] as f64, half, chance.between(0.06, 0.3)].map(|v| v as f32)
        });
        Self {
            streaks: streaks.collect(),
            side: chance.below(4),
            dark: copier.dark_edge as f32,
            size: size.map(|side| side as f32),
            reach: (chance.between(3.0, 9.0) * px) as f32,
        }
    }

    fn shade(&self, column: usize, row: usize) -> f32 {
        let (x, y) = (column as f32, row as f32);
        let mut shade = 1.0;
        for [at, half, dark] in &self.streaks {
            let far = (x - at).abs() / half;
            if far < 1.0 {
                shade *= 1.0 - dark * (1.0 - far);
            }
        }
        if self.dark > 0.0 {
            let far = [x, self.size[0] - x, y, self.size[1] - y][self.side] / self.reach;
            if far < 1.0 {
                shade *= 1.0 - self.dark * (1.0 - far) * (1.0 - far);
            }
        }
        shade
    }
}
