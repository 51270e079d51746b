//! Sheets drawn on by a simulated hand, as a flattened scan shows them.

use cardiac::Shipped;
use cycle::Random;
use figure::{Figure, Map};
use scan::{BLACK, Flat, PageForm, PanelForm, Picture};
use serde_json::Value;
use sheet::{Book, Copy, Test};

pub(crate) const PX_PER_MM: f64 = 8.0;

/// A printed sheet, what is known of it, and the curves that belong in its panels.
pub(crate) struct Printed {
    pub(crate) blank: Flat,
    pub(crate) form: PageForm,
    /// Channel by channel, in millimetres on the page.
    pub(crate) curves: Vec<(String, Vec<[f64; 2]>)>,
}

impl Printed {
    pub(crate) fn curve(&self, channel: &str) -> Vec<[f64; 2]> {
        self.curves.iter().find(|curve| curve.0 == channel).unwrap().1.clone()
    }

    pub(crate) fn panel(&self, channel: &str) -> &PanelForm {
        self.form.panels.iter().find(|panel| panel.channel == channel).unwrap()
    }
}

/// The sheet of a test with an ECG, sounds and a pressure, of which `given` is printed.
pub(crate) fn printed(given: &str) -> Printed {
    let subject = heart::subject();
    let convention = Shipped::find("first_course").unwrap().convention();
    let text = format!(
        "title = \"A test\"\nconvention = \"first_course\"\ngiven = [\"{given}\"]\nbeats = 2\n"
    );
    let test = Test::from_toml(&text, &subject, &|_| Ok(convention.clone())).unwrap();
    let base = heart::simulate(&heart::Heart::default(), 1).unwrap();
    let model = convention::schematic(&convention, &subject, &base, 2).unwrap();
    let book = Book::new(&test, &subject, "ABCDEF", vec![model.clone()]).unwrap();
    let copies = [Copy { sheet: 0, form: 0, name: None }];
    let page = book.drawing_sheets(&copies).unwrap().remove(0);
    let geometry: Value = serde_json::from_str(&book.geometry(&copies).unwrap()).unwrap();
    let (mut panels, mut curves) = (Vec::new(), Vec::new());
    for panel in geometry["pages"][0]["panels"].as_array().unwrap() {
        let number = |key: &str| panel[key].as_f64().unwrap();
        let channel = panel["channel"].as_str().unwrap();
        let form = PanelForm {
            channel: channel.to_owned(),
            x_mm: number("x_mm"),
            y_mm: number("y_mm"),
            width_mm: number("width_mm"),
            height_mm: number("height_mm"),
            given: panel["given"].as_bool().unwrap(),
            sounds: subject.channel(channel).unwrap().unit == "relative",
            small_sounds: false,
            narrow_waves: false,
        };
        let map = Map {
            start_s: number("time_start_s"),
            end_s: number("time_end_s"),
            left: form.x_mm,
            right: form.x_mm + form.width_mm,
            low: number("value_bottom"),
            high: number("value_top"),
            top: form.y_mm,
            bottom: form.y_mm + form.height_mm,
        };
        let lines = figure::lines_of(model.trace(channel).unwrap(), &map);
        curves.push((channel.to_owned(), lines.concat()));
        panels.push(form);
    }
    let form = PageForm {
        width_mm: page.width_mm,
        height_mm: page.height_mm,
        marks: Vec::new(),
        mark_mm: 10.0,
        code: None,
        panels,
        bars: Vec::new(),
    };
    Printed { blank: raster(&page.figure()), form, curves }
}

fn raster(figure: &Figure) -> Flat {
    let file = figure.png(PX_PER_MM * 25.4).unwrap();
    let mut reader = png::Decoder::new(std::io::Cursor::new(file)).read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    let each = info.color_type.samples();
    let level: Vec<u8> = pixels.chunks(each).map(|pixel| pixel[0]).collect();
    let picture = Picture::from_grey(info.width as usize, info.height as usize, &level);
    Flat::of(&picture, PX_PER_MM)
}

/// A pixel's ink: 0 paper to 1 black.
fn ink(page: &Flat, at: usize) -> f32 {
    f32::from(page.ink[at]) / f32::from(BLACK)
}

fn set_ink(page: &mut Flat, at: usize, ink: f32) {
    page.ink[at] = (ink.clamp(0.0, 1.0) * f32::from(BLACK)).round() as i16;
}

/// A number from 0 to below 1.
pub(crate) fn share(random: &mut Random) -> f64 {
    random.below(1 << 20) as f64 / f64::from(1 << 20)
}

/// About normal, with standard deviation 1.
fn normal(random: &mut Random) -> f64 {
    (0..12).map(|_| share(random)).sum::<f64>() - 6.0
}

/// What a stroke is drawn with.
#[derive(Clone, Copy)]
pub(crate) struct Tool {
    pub(crate) width: f64,
    pub(crate) ink: f64,
    /// How much of the ink varies from grain to grain.
    pub(crate) grain: f64,
}

pub(crate) const PEN: Tool = Tool { width: 0.5, ink: 0.85, grain: 0.05 };
pub(crate) const PENCIL: Tool = Tool { width: 0.45, ink: 0.5, grain: 0.4 };
pub(crate) const FAINT: Tool = Tool { width: 0.45, ink: 0.2, grain: 0.5 };

/// A sheet that is being drawn on.
pub(crate) struct Hand {
    pub(crate) page: Flat,
    pub(crate) random: Random,
}

impl Hand {
    pub(crate) fn on(blank: &Flat, seed: u64) -> Self {
        Self { page: blank.clone(), random: Random::new(seed) }
    }

    /// `points` as an unsteady hand draws them: points 0.1 mm apart.
    pub(crate) fn unsteady(&mut self, points: &[[f64; 2]], by: f64) -> Vec<[f64; 2]> {
        let waves: Vec<[f64; 5]> = (0..6)
            .map(|n| {
                let length = 1.5 * 2.0_f64.powi(n);
                let mut one = || share(&mut self.random);
                let size = by * (0.3 + 0.12 * f64::from(n));
                [length * (0.7 + 0.6 * one()), 6.3 * one(), 6.3 * one(), size, size]
            })
            .collect();
        let mut way = 0.0;
        let mut out = Vec::new();
        for pair in points.windows(2) {
            let length = (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1]);
            let steps = (length / 0.1).ceil().max(1.0);
            for step in 0..steps as usize {
                let part = step as f64 / steps;
                let mut at =
                    [0, 1].map(|axis| pair[0][axis] + part * (pair[1][axis] - pair[0][axis]));
                for [length, right, down, x, y] in &waves {
                    let phase = std::f64::consts::TAU * (way + part * length) / length;
                    at[0] += x * libm::sin(phase + right);
                    at[1] += y * libm::sin(phase + down);
                }
                out.push(at);
                way += length / steps;
            }
        }
        out
    }

    /// A stroke through `points`, with varying pressure.
    pub(crate) fn stroke(&mut self, points: &[[f64; 2]], tool: Tool) {
        let scale = self.page.px_per_mm;
        let (width, height) = (self.page.width, self.page.height);
        let mut cover = std::collections::BTreeMap::<usize, f64>::new();
        let phase = std::f64::consts::TAU * share(&mut self.random);
        let mut way = 0.0;
        for pair in points.windows(2) {
            let length = (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1]);
            way += length;
            let pressure = 1.0 + 0.2 * libm::sin(way / 4.0 + phase);
            let half = 0.5 * tool.width * scale * (0.7 + 0.3 * pressure);
            let [a, b] = [pair[0], pair[1]].map(|p| p.map(|mm| mm * scale - 0.5));
            let reach = half + 1.0;
            let range = |axis: usize, size: usize| {
                let low = (a[axis].min(b[axis]) - reach).max(0.0) as usize;
                low..((a[axis].max(b[axis]) + reach) as usize + 1).min(size)
            };
            for y in range(1, height) {
                for x in range(0, width) {
                    let off = distance([x as f64, y as f64], a, b);
                    let share = (half - off + 0.5).clamp(0.0, 1.0) * pressure.min(1.1);
                    let old = cover.entry(y * width + x).or_default();
                    *old = old.max(share);
                }
            }
        }
        for (at, share) in cover {
            let grain = 1.0 + tool.grain * normal(&mut self.random).clamp(-2.0, 2.0) * 0.7;
            let more = (tool.ink * share * grain).clamp(0.0, 1.0) as f32;
            let all = 1.0 - (1.0 - ink(&self.page, at)) * (1.0 - more);
            set_ink(&mut self.page, at, all);
        }
    }

    /// A curve drawn by hand; returns where it was really drawn.
    pub(crate) fn draw(&mut self, points: &[[f64; 2]], tool: Tool) -> Vec<[f64; 2]> {
        let drawn = self.unsteady(points, 0.06);
        self.stroke(&drawn, tool);
        drawn
    }

    /// A line from top to bottom in pieces of `dash` with `space` between (0 for a solid one).
    pub(crate) fn line(
        &mut self,
        from: [f64; 2],
        to: [f64; 2],
        [dash, space]: [f64; 2],
        by: f64,
        tool: Tool,
    ) {
        let line = self.unsteady(&[from, to], by);
        if space == 0.0 {
            return self.stroke(&line, tool);
        }
        let (on, period) = ((dash * 10.0) as usize, ((dash + space) * 10.0) as usize);
        for piece in line.chunks(period) {
            self.stroke(&piece[..on.min(piece.len())], tool);
        }
    }

    /// Something like handwriting: `letters` letters of this size.
    pub(crate) fn scribble(&mut self, at: [f64; 2], letters: usize, size: f64, tool: Tool) {
        for n in 0..letters {
            let x = at[0] + 0.85 * size * n as f64;
            let points: Vec<[f64; 2]> = (0..6)
                .map(|_| {
                    [
                        x + 0.6 * size * share(&mut self.random),
                        at[1] + size * share(&mut self.random),
                    ]
                })
                .collect();
            let drawn = self.unsteady(&points, 0.03);
            self.stroke(&drawn, tool);
        }
    }

    /// A burst of strokes side by side about `y`, its height `high` in the middle.
    pub(crate) fn hatched(&mut self, [from, to]: [f64; 2], y: f64, high: f64, tool: Tool) {
        let count = ((to - from) / 0.9).round() as usize;
        for n in 0..=count {
            let x = from + (to - from) * n as f64 / count as f64;
            let half = 0.5 * high * envelope(n as f64 / count as f64);
            let drawn = self.unsteady(&[[x, y - half], [x, y + half]], 0.04);
            self.stroke(&drawn, tool);
        }
    }

    /// The same, filled, with pointed ends.
    pub(crate) fn filled(&mut self, [from, to]: [f64; 2], y: f64, high: f64, tool: Tool) {
        let count = ((to - from) / 0.2).round() as usize;
        for n in 0..=count {
            let part = n as f64 / count as f64;
            let half = 0.5 * high * libm::sin(std::f64::consts::PI * part);
            let x = from + part * (to - from);
            self.stroke(&[[x, y - half], [x, y + half + 0.1]], tool);
        }
    }

    /// The same as one stroke up and down.
    pub(crate) fn zigzag(&mut self, [from, to]: [f64; 2], y: f64, high: f64, tool: Tool) {
        let count = ((to - from) / 0.8).round() as usize;
        let points: Vec<[f64; 2]> = (0..=count)
            .map(|n| {
                let part = n as f64 / count as f64;
                let side = if n % 2 == 0 { 0.5 } else { -0.5 };
                let ends = n == 0 || n == count;
                let side = if ends { 0.0 } else { side };
                [from + part * (to - from), y + side * high * envelope(part)]
            })
            .collect();
        let drawn = self.unsteady(&points, 0.03);
        self.stroke(&drawn, tool);
    }

    /// The same as an outline.
    pub(crate) fn outlined(&mut self, [from, to]: [f64; 2], y: f64, high: f64, tool: Tool) {
        for side in [-0.5, 0.5] {
            let points: Vec<[f64; 2]> = (0..=40)
                .map(|n| {
                    let part = f64::from(n) / 40.0;
                    [
                        from + part * (to - from),
                        y + side * high * libm::sin(std::f64::consts::PI * part),
                    ]
                })
                .collect();
            let drawn = self.unsteady(&points, 0.03);
            self.stroke(&drawn, tool);
        }
    }

    /// Noise of the paper, a shadow and a smudge.
    pub(crate) fn soil(&mut self, noise: f64, smudges: &[[f64; 2]]) {
        let scale = self.page.px_per_mm;
        for at in 0..self.page.ink.len() {
            let (x, y) =
                ((at % self.page.width) as f64 / scale, (at / self.page.width) as f64 / scale);
            let mut more = 0.02 * x / 280.0 + noise * normal(&mut self.random);
            for [u, v] in smudges {
                more += 0.1 * libm::exp(-((x - u) * (x - u) + (y - v) * (y - v)) / 30.0);
            }
            let all = 1.0 - (1.0 - ink(&self.page, at)) * (1.0 - more as f32);
            set_ink(&mut self.page, at, all);
        }
    }

    /// What lossy compression leaves: coarse steps of each 8 by 8 block's cosines.
    pub(crate) fn compressed(&mut self, coarse: f32) {
        let (width, height) = (self.page.width, self.page.height);
        let cosine: Vec<f32> = (0..64)
            .map(|n| {
                let (k, x) = (n / 8, n % 8);
                let size = if k == 0 { (0.125_f64).sqrt() } else { 0.5 };
                (size * libm::cos(std::f64::consts::PI * (x as f64 + 0.5) * k as f64 / 8.0)) as f32
            })
            .collect();
        for top in (0..height / 8 * 8).step_by(8) {
            for left in (0..width / 8 * 8).step_by(8) {
                let mut block = [0.0_f32; 64];
                for (n, value) in block.iter_mut().enumerate() {
                    *value = ink(&self.page, (top + n / 8) * width + left + n % 8);
                }
                let mut turned = both(&block, |k, x| cosine[k * 8 + x]);
                for (n, value) in turned.iter_mut().enumerate() {
                    let step = coarse * (3.0 + (n / 8 + n % 8) as f32) / 255.0;
                    *value = (*value / step).round() * step;
                }
                let block = both(&turned, |x, k| cosine[k * 8 + x]);
                for (n, value) in block.iter().enumerate() {
                    let at = (top + n / 8) * width + left + n % 8;
                    set_ink(&mut self.page, at, *value);
                }
            }
        }
    }
}

fn both(block: &[f32; 64], weight: impl Fn(usize, usize) -> f32) -> [f32; 64] {
    let mut rows = [0.0; 64];
    let mut out = [0.0; 64];
    for n in 0..64 {
        rows[n] = (0..8).map(|i| block[n / 8 * 8 + i] * weight(n % 8, i)).sum();
    }
    for n in 0..64 {
        out[n] = (0..8).map(|i| rows[i * 8 + n % 8] * weight(n / 8, i)).sum();
    }
    out
}

fn envelope(part: f64) -> f64 {
    0.35 + 0.65 * libm::sin(std::f64::consts::PI * part)
}

/// The sheet printed anew: shifted, bent by `bent` millimetres, and its greys times `grey`.
pub(crate) fn reprinted(blank: &Flat, shift: [f64; 2], bent: f64, grey: f32) -> Flat {
    let scale = blank.px_per_mm;
    let mut out = blank.clone();
    let at = |x: f64, y: f64| {
        let (x, y) =
            (x.clamp(0.0, blank.width as f64 - 2.0), y.clamp(0.0, blank.height as f64 - 2.0));
        let (left, top) = (x as usize, y as usize);
        let (across, down) = ((x - left as f64) as f32, (y - top as f64) as f32);
        let row = |y: usize| {
            let at = y * blank.width + left;
            ink(blank, at) * (1.0 - across) + ink(blank, at + 1) * across
        };
        row(top) * (1.0 - down) + row(top + 1) * down
    };
    for y in 0..blank.height {
        for x in 0..blank.width {
            let (u, v) = (x as f64 / scale, y as f64 / scale);
            let by = [
                shift[0] + bent * libm::sin(v / 20.0 + u / 31.0),
                shift[1] + bent * libm::cos(u / 23.0 - v / 29.0),
            ];
            let old = at(x as f64 - by[0] * scale, y as f64 - by[1] * scale);
            let light = ((0.35 - old) / 0.1).clamp(0.0, 1.0);
            set_ink(&mut out, y * blank.width + x, old * (1.0 + light * (grey - 1.0)));
        }
    }
    out
}

pub(crate) fn distance(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length = dx * dx + dy * dy;
    let part = if length > 0.0 {
        (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (p[0] - a[0] - part * dx).hypot(p[1] - a[1] - part * dy)
}

/// Distances from each point of `points` to the polyline `to`, sorted.
pub(crate) fn distances(points: &[[f64; 2]], to: &[[f64; 2]]) -> Vec<f64> {
    let mut all: Vec<f64> = points
        .iter()
        .map(|&p| {
            let near = to.windows(2).map(|pair| distance(p, pair[0], pair[1]));
            near.min_by(f64::total_cmp).unwrap_or(f64::INFINITY)
        })
        .collect();
    all.sort_by(f64::total_cmp);
    all
}
