//! A printed sheet, and captures of it as scanners and phones make them.
#![allow(dead_code, reason = "each test uses its part")]

use std::sync::OnceLock;

use cardiac::Shipped;
use cycle::Random;
use figure::{Item, Shape, Tag};
use scan::{Limits, PageForm, PanelForm, Picture, read};
use serde_json::Value;
use sheet::marks::{Corner, MARK_SIZE_MM, mark};
use sheet::{Book, Copy, Test};

/// Dots per inch at which the sheet is drawn before it is captured.
const DRAWN_DPI: f64 = 400.0;

/// A printed sheet and what is known of it.
pub(crate) struct Sheet {
    pub(crate) form: PageForm,
    pub(crate) code: String,
    /// The page at [`DRAWN_DPI`].
    pub(crate) drawn: Picture,
    pub(crate) px_per_mm: f64,
}

/// The first test's sheet, with something drawn on it.
pub(crate) fn sheet() -> &'static Sheet {
    static SHEET: OnceLock<Sheet> = OnceLock::new();
    SHEET.get_or_init(made)
}

fn made() -> Sheet {
    let subject = heart::subject();
    let conventions = |name: &str| {
        Shipped::find(name).map(|one| one.convention()).ok_or_else(|| format!("no {name}"))
    };
    let text = include_str!("../../../../docs/first_test.toml").replace("forms = 3", "forms = 1");
    let test = Test::from_toml(&text, &subject, &conventions).unwrap();
    let model = heart::simulate(&heart::Heart::default(), test.beats).unwrap();
    let book = Book::new(&test, &subject, "A7Q6XQ", vec![model]).unwrap();
    let copies = [Copy { sheet: 42, form: 0, name: None }];
    let page = book.drawing_sheets(&copies).unwrap().remove(0);
    let geometry: Value = serde_json::from_str(&book.geometry(&copies).unwrap()).unwrap();
    let form = form_of(&geometry);
    let mut figure = page.figure();
    figure.items.extend(scribbles(&form).map(|shape| Item { tag: Tag::Panel, shape }));
    let png = figure.png(DRAWN_DPI).unwrap();
    let drawn = read(png, "sheet.png", Limits::default()).unwrap().next().unwrap().unwrap();
    let code = geometry["pages"][0]["code"].as_str().unwrap().to_owned();
    Sheet { form, code, drawn, px_per_mm: DRAWN_DPI / 25.4 }
}

/// Pencil lines that go across the panels and over their frames.
fn scribbles(form: &PageForm) -> impl Iterator<Item = Shape> {
    form.panels.iter().map(|panel| {
        let (x, y, w, h) = (panel.x_mm, panel.y_mm, panel.width_mm, panel.height_mm);
        let points = (0..=200)
            .map(|at| {
                let share = f64::from(at) / 200.0;
                let wave = 0.55 * libm::sin(40.0 * share) * libm::sin(7.0 * share);
                [x + w * share, y + h * (0.5 + wave)]
            })
            .collect();
        let stroke = figure::Stroke { colour: [90, 90, 90], width: 0.5, dash: Vec::new() };
        Shape::Lines { parts: vec![points], stroke }
    })
}

fn form_of(geometry: &Value) -> PageForm {
    let number = |of: &Value, name: &str| of[name].as_f64().unwrap();
    let list = |of: &Value| of.as_array().unwrap().clone();
    let marks = list(&geometry["marks"])
        .iter()
        .map(|mark| {
            let id = mark["id"].as_u64().unwrap() as usize;
            (id, [number(mark, "x_mm"), number(mark, "y_mm")])
        })
        .collect();
    let panels = list(&geometry["pages"][0]["panels"])
        .iter()
        .map(|panel| PanelForm {
            channel: panel["channel"].as_str().unwrap().to_owned(),
            x_mm: number(panel, "x_mm"),
            y_mm: number(panel, "y_mm"),
            width_mm: number(panel, "width_mm"),
            height_mm: number(panel, "height_mm"),
            given: panel["given"].as_bool().unwrap(),
            sounds: panel["channel"] == "heart_sounds",
            small_sounds: false,
            narrow_waves: false,
        })
        .collect();
    let code =
        ["x_mm", "y_mm", "width_mm", "height_mm"].map(|name| number(&geometry["code"], name));
    PageForm {
        width_mm: number(geometry, "page_width_mm"),
        height_mm: number(geometry, "page_height_mm"),
        marks,
        mark_mm: MARK_SIZE_MM,
        code: Some(code),
        panels,
        bars: Vec::new(),
    }
}

/// How a sheet is captured.
#[derive(Clone, Debug)]
pub(crate) struct Capture {
    pub(crate) dpi: f64,
    /// Degrees, clockwise.
    pub(crate) turned: f64,
    /// How much nearer one side is than the other, across and down.
    pub(crate) tilt: [f64; 2],
    /// Standard deviation of the blur in pixels.
    pub(crate) blur_px: f64,
    /// Standard deviation of the noise, of 255.
    pub(crate) noise: f64,
    /// How much darker one corner is than the other: 0.4 for 40 %.
    pub(crate) shade: f64,
    /// JPEG quality.
    pub(crate) jpeg: Option<u32>,
    /// How far the paper is bent in its middle, in millimetres.
    pub(crate) bend_mm: f64,
    /// Marks that are covered.
    pub(crate) covered: Vec<usize>,
    pub(crate) mirrored: bool,
}

impl Default for Capture {
    fn default() -> Self {
        Self {
            dpi: 200.0,
            turned: 0.7,
            tilt: [0.0; 2],
            blur_px: 0.7,
            noise: 3.0,
            shade: 0.0,
            jpeg: None,
            bend_mm: 0.0,
            covered: Vec::new(),
            mirrored: false,
        }
    }
}

/// A captured sheet and the truth about it.
pub(crate) struct Captured {
    pub(crate) picture: Picture,
    /// From millimetres on flat paper to pixels, row by row.
    pub(crate) map: [f64; 9],
    size: [f64; 2],
    bend_mm: f64,
}

impl Captured {
    /// The pixel where a point of the page is.
    pub(crate) fn truth(&self, mm: [f64; 2]) -> [f64; 2] {
        applied(&self.map, bent(mm, self.size, self.bend_mm))
    }
}

/// Paper that lies flat in its corners and is bent between them.
fn bent([x, y]: [f64; 2], [width, height]: [f64; 2], by: f64) -> [f64; 2] {
    let (u, v) = (2.0 * x / width - 1.0, 2.0 * y / height - 1.0);
    [x + 0.4 * by * (1.0 - v * v) * u, y + by * (1.0 - u * u) * (1.0 - 0.3 * v)]
}

/// Where on the page a point of the bent page is.
fn unbent(at: [f64; 2], size: [f64; 2], by: f64) -> [f64; 2] {
    let mut page = at;
    if by != 0.0 {
        for _ in 0..6 {
            let seen = bent(page, size, by);
            page = [page[0] + at[0] - seen[0], page[1] + at[1] - seen[1]];
        }
    }
    page
}

fn applied(map: &[f64; 9], [x, y]: [f64; 2]) -> [f64; 2] {
    let [a, b, c, d, e, f, g, h, i] = *map;
    let under = g * x + h * y + i;
    [(a * x + b * y + c) / under, (d * x + e * y + f) / under]
}

fn inverse(map: &[f64; 9]) -> [f64; 9] {
    let [a, b, c, d, e, f, g, h, i] = *map;
    [
        e * i - f * h,
        c * h - b * i,
        b * f - c * e,
        f * g - d * i,
        a * i - c * g,
        c * d - a * f,
        d * h - e * g,
        b * g - a * h,
        a * e - b * d,
    ]
}

pub(crate) fn capture(sheet: &Sheet, how: &Capture, seed: u64) -> Captured {
    let size = [sheet.form.width_mm, sheet.form.height_mm];
    let scale = how.dpi / 25.4;
    let angle = how.turned.to_radians();
    let (sin, cos) = (libm::sin(angle), libm::cos(angle));
    let (mx, my) = (size[0] / 2.0, size[1] / 2.0);
    let (g, h) = (how.tilt[0] / size[0], how.tilt[1] / size[1]);
    // Turned and tilted around the page's middle; moved into the picture afterwards.
    let flip = if how.mirrored { -1.0 } else { 1.0 };
    let (a, b, d, e) = (scale * cos * flip, -scale * sin * flip, scale * sin, scale * cos);
    let about = |a: f64, b: f64| -(a * mx + b * my);
    let mut map = [a, b, about(a, b), d, e, about(d, e), g, h, 1.0 + about(g, h)];
    let corners = [[0.0, 0.0], [size[0], 0.0], size, [0.0, size[1]]].map(|at| applied(&map, at));
    let least = |axis: usize| corners.iter().map(|at| at[axis]).fold(f64::INFINITY, f64::min);
    let most = |axis: usize| corners.iter().map(|at| at[axis]).fold(f64::NEG_INFINITY, f64::max);
    let margin = 0.03 * scale * size[0];
    let (dx, dy) = (margin - least(0), margin - least(1));
    for column in 0..3 {
        map[column] += dx * map[6 + column];
        map[3 + column] += dy * map[6 + column];
    }
    let (width, height) = ((most(0) + dx + margin) as usize, (most(1) + dy + margin) as usize);
    let back = inverse(&map);
    let mut level = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            let mut sum = 0.0;
            for (u, v) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                let seen = applied(&back, [x as f64 + u, y as f64 + v]);
                sum += paper(sheet, how, unbent(seen, size, how.bend_mm));
            }
            level.push(sum / 4.0);
        }
    }
    blur(&mut level, width, how.blur_px);
    let mut random = Random::new(seed);
    let mut grey: Vec<u8> = level
        .iter()
        .enumerate()
        .map(|(at, level)| {
            let across = (at % width) as f64 / width as f64;
            let down = (at / width) as f64 / height as f64;
            let light = 1.0 - how.shade * (0.7 * across + 0.3 * down * down);
            // The sum of four has nearly the normal distribution, deviation 0.577.
            let sum: f64 = (0..4).map(|_| random.below(4096) as f64 / 4096.0 - 0.5).sum();
            (level * light + how.noise * sum / 0.577).clamp(0.0, 255.0) as u8
        })
        .collect();
    if let Some(quality) = how.jpeg {
        jpeg(&mut grey, width, quality);
    }
    let picture = Picture::from_grey(width, height, &grey);
    Captured { picture, map, size, bend_mm: how.bend_mm }
}

/// Lightness of the page at a point; around it is a grey table.
fn paper(sheet: &Sheet, how: &Capture, mm: [f64; 2]) -> f64 {
    let [x, y] = mm;
    if x < 0.0 || y < 0.0 || x > sheet.form.width_mm || y > sheet.form.height_mm {
        return 110.0;
    }
    for id in &how.covered {
        let (_, [mx, my]) = sheet.form.marks[*id];
        if (x - mx).abs() < 7.0 && (y - my).abs() < 7.0 {
            return 180.0;
        }
    }
    // Marks as exact as they are defined: where boxes overlap, a drawing's edges are too dark.
    for (id, [mx, my]) in &sheet.form.marks {
        let module = |at: f64, middle: f64| ((at - middle) / MARK_SIZE_MM + 0.5) * 8.0;
        let (column, row) = (module(x, *mx), module(y, *my));
        let inside = 0.0..8.0;
        if inside.contains(&column) && inside.contains(&row) {
            let black = mark(Corner::from_id(*id).unwrap())[row as usize][column as usize];
            return if black { 30.0 } else { 244.0 };
        }
        if (-0.5..8.5).contains(&column) && (-0.5..8.5).contains(&row) {
            return 244.0;
        }
    }
    30.0 + 0.84 * sheet.drawn.at([x * sheet.px_per_mm, y * sheet.px_per_mm])
}

fn blur(level: &mut [f64], width: usize, sigma: f64) {
    if sigma <= 0.0 {
        return;
    }
    let reach = (3.0 * sigma).ceil() as usize;
    let weight = |at: usize| {
        let off = (at as f64 - reach as f64) / sigma;
        libm::exp(-0.5 * off * off)
    };
    let kernel: Vec<f64> = (0..=2 * reach).map(weight).collect();
    let sum: f64 = kernel.iter().sum();
    let height = level.len() / width;
    let line = |values: &[f64]| -> Vec<f64> {
        let last = values.len() - 1;
        (0..values.len())
            .map(|at| {
                let parts = kernel.iter().enumerate().map(|(step, weight)| {
                    weight * values[(at + step).saturating_sub(reach).min(last)]
                });
                parts.sum::<f64>() / sum
            })
            .collect()
    };
    for row in level.chunks_exact_mut(width) {
        let out = line(row);
        row.copy_from_slice(&out);
    }
    for x in 0..width {
        let column: Vec<f64> = (0..height).map(|y| level[y * width + x]).collect();
        for (y, value) in line(&column).into_iter().enumerate() {
            level[y * width + x] = value;
        }
    }
}

/// What JPEG does to a grey picture: cosine transform of 8 by 8 pixels, rounded.
///
/// Source: ITU-T T.81 (1992), A.3.3 and table K.1; the scaling by quality is the common one of
/// the Independent JPEG Group.
fn jpeg(grey: &mut [u8], width: usize, quality: u32) {
    const STEPS: [i32; 64] = [
        16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69,
        56, 14, 17, 22, 29, 51, 87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81,
        104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99,
    ];
    let scale = if quality < 50 { 5000 / quality } else { 200 - 2 * quality };
    let height = grey.len() / width;
    let basis: Vec<f64> = (0..64)
        .map(|at| {
            let (k, n) = (at / 8, at % 8);
            let factor = if k == 0 { 0.5 / 2.0_f64.sqrt() } else { 0.5 };
            factor * libm::cos((2 * n + 1) as f64 * k as f64 * std::f64::consts::PI / 16.0)
        })
        .collect();
    let transform = |block: &[f64; 64], forth: bool| -> [f64; 64] {
        let at = |k: usize, n: usize| if forth { basis[k * 8 + n] } else { basis[n * 8 + k] };
        let mut half = [0.0; 64];
        let mut out = [0.0; 64];
        for row in 0..8 {
            for k in 0..8 {
                half[row * 8 + k] = (0..8).map(|n| at(k, n) * block[row * 8 + n]).sum();
            }
        }
        for k in 0..8 {
            for column in 0..8 {
                out[k * 8 + column] = (0..8).map(|n| at(k, n) * half[n * 8 + column]).sum();
            }
        }
        out
    };
    for top in (0..height / 8 * 8).step_by(8) {
        for left in (0..width / 8 * 8).step_by(8) {
            let place = |at: usize| (top + at / 8) * width + left + at % 8;
            let block = std::array::from_fn(|at| f64::from(grey[place(at)]) - 128.0);
            let mut parts = transform(&block, true);
            for (part, step) in parts.iter_mut().zip(STEPS) {
                let step = f64::from(((step * scale as i32 + 50) / 100).clamp(1, 255));
                *part = (*part / step).round() * step;
            }
            for (at, value) in transform(&parts, false).into_iter().enumerate() {
                grey[place(at)] = (value + 128.0).round().clamp(0.0, 255.0) as u8;
            }
        }
    }
}
