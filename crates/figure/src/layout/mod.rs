//! Where everything goes, in millimetres.

mod foot;
mod head;
mod labels;
mod loops;
mod panels;
pub(crate) mod scene;

use cycle::{Cycle, Subject};

use crate::picture::{Align, Box2, Figure, Item, Shape, Stroke, Tag};
use crate::style::{self, Colour};
use crate::{FigureError, FigureSpec, axis, describe, font};

use scene::Scene;

/// Lays `cycle` out as `spec` asks, with the names of `subject`.
///
/// # Errors
/// [`FigureError`] where `spec` names what is unknown or absent, or cannot be drawn.
/// An alignment line for a known landmark that this cycle lacks is left out, and the
/// alternative text says so.
pub fn lay_out(cycle: &Cycle, subject: &Subject, spec: &FigureSpec) -> Result<Figure, FigureError> {
    lay_out_over(cycle, None, subject, spec)
}

/// As [`lay_out`], over a second cycle that is drawn thin beneath the first.
///
/// # Errors
/// As [`lay_out`]; a channel that the second cycle lacks is left out.
pub fn lay_out_over(
    cycle: &Cycle,
    ghost: Option<&Cycle>,
    subject: &Subject,
    spec: &FigureSpec,
) -> Result<Figure, FigureError> {
    let scene = Scene::new(cycle, ghost, subject, spec)?;
    let mut plan = Plan::new(&scene, 0.0)?;
    if let Err(NoRoom { width }) = plan.draw() {
        plan = Plan::new(&scene, width)?;
        // With the margin there is always room beside the panel.
        let _ = plan.draw();
    }
    Ok(Figure {
        width_mm: spec.width_mm,
        height_mm: plan.height,
        title: spec.title.clone().unwrap_or_else(|| subject.title.clone()),
        alt: describe::words(&scene),
        items: plan.into_items(),
    })
}

/// A trace's label found no room in its panel and needs a margin this wide beside it.
pub(crate) struct NoRoom {
    pub(crate) width: f64,
}

/// What lies over what.
#[derive(Clone, Copy)]
pub(crate) enum Layer {
    Ground,
    Grid,
    Lines,
    Frames,
    Ghosts,
    Traces,
    Backing,
    Text,
}

const LAYERS: usize = 8;
/// Text sizes in millimetres at scale 1.
const TITLE: f64 = 5.0;
const NAME: f64 = 3.2;
const LABEL: f64 = 3.0;
const SMALL: f64 = 2.7;
/// Stroke widths in millimetres at scale 1.
const FINE: f64 = 0.15;
/// Outer margin in millimetres at scale 1.
const MARGIN: f64 = 4.0;
/// Space between panels in millimetres at scale 1.
const GAP: f64 = 3.0;
/// Least width of the panels in millimetres at scale 1.
const LEAST_PLOT: f64 = 40.0;
/// Side of the loop's frame, and what its axis and its distance need, at scale 1.
const LOOP_SIDE: f64 = 58.0;
const LOOP_AXIS: f64 = 19.0;

/// A figure in the making.
pub(crate) struct Plan<'a> {
    scene: &'a Scene<'a>,
    k: f64,
    /// Left end of the names beside the panels.
    names: f64,
    /// Room for those names.
    names_width: f64,
    /// Left and right end of the time axis.
    left: f64,
    right: f64,
    /// Room to the right of the panels for traces' labels; 0 where none is needed.
    label_margin: f64,
    loop_beside: bool,
    height: f64,
    layers: [Vec<Item>; LAYERS],
}

impl<'a> Plan<'a> {
    fn new(scene: &'a Scene<'a>, label_margin: f64) -> Result<Self, FigureError> {
        let (spec, k) = (scene.spec, scene.spec.scale);
        let (names_width, left, whole) = room(scene, spec.width_mm, label_margin);
        let beside = whole - (LOOP_SIDE + LOOP_AXIS) * k;
        let loop_beside = scene.loop_traces.is_some() && beside - left >= 95.0 * k;
        let right = if loop_beside { beside } else { whole };
        if right - left < LEAST_PLOT * k {
            // Names take a share of the width, so what is needed is found by trying.
            let fits = |width_mm: &f64| {
                let (_, left, right) = room(scene, *width_mm, label_margin);
                right - left >= LEAST_PLOT * k
            };
            let mut widths = (1..).map(|more| (spec.width_mm + f64::from(more)).ceil());
            let needed_mm = widths.find(fits).unwrap_or(spec.width_mm);
            return Err(FigureError::TooNarrow { width_mm: spec.width_mm, scale: k, needed_mm });
        }
        Ok(Self {
            scene,
            k,
            names: MARGIN * k,
            names_width,
            left,
            right,
            label_margin,
            loop_beside,
            height: 0.0,
            layers: Default::default(),
        })
    }

    /// Draws everything from top to bottom.
    fn draw(&mut self) -> Result<(), NoRoom> {
        let k = self.k;
        let top = self.head(MARGIN * k);
        let mut y = top;
        for index in 0..self.scene.panels.len() {
            let gap = if index > 0 { GAP * k } else { 0.0 };
            y = self.panel(index, y + gap)?;
        }
        let panels_end = y;
        y = self.bars(y);
        self.alignment_lines(top, y);
        y = self.time_axis(y);
        if self.scene.loop_traces.is_some() {
            y = self.draw_loop(top, panels_end, y);
        }
        self.height = y + MARGIN * k;
        Ok(())
    }

    fn into_items(mut self) -> Vec<Item> {
        let area = Box2::new(0.0, 0.0, self.scene.spec.width_mm, self.height);
        let paper = Shape::Fill { area, colour: style::PAPER };
        self.layers[0].insert(0, Item { tag: Tag::Paper, shape: paper });
        self.layers.into_iter().flatten().collect()
    }

    fn x(&self, time_s: f64) -> f64 {
        let share = (time_s - self.scene.start_s) / (self.scene.end_s - self.scene.start_s);
        self.left + share * (self.right - self.left)
    }

    fn add(&mut self, layer: Layer, tag: Tag, shape: Shape) {
        self.layers[layer as usize].push(Item { tag, shape });
    }

    fn line(&mut self, layer: Layer, tag: Tag, points: &[[f64; 2]], stroke: Stroke) {
        self.add(layer, tag, Shape::Lines { parts: vec![points.to_vec()], stroke });
    }

    /// Text of `size` at scale 1 on the baseline at `at`.
    fn text(&mut self, tag: Tag, at: [f64; 2], text: &str, look: Look) {
        let Look { size, bold, align, colour } = look;
        let size = size * self.k;
        let shape = Shape::Text { at, text: text.to_owned(), size, bold, align, colour };
        self.add(Layer::Text, tag, shape);
    }

    /// Lines of text from `top` down; gives the bottom of the last.
    fn lines_of_text(&mut self, tag: &Tag, x: f64, top: f64, lines: &[String], look: Look) -> f64 {
        for (index, line) in lines.iter().enumerate() {
            let baseline = top + (font::ABOVE + index as f64 * font::LEADING) * look.size * self.k;
            self.text(tag.clone(), [x, baseline], line, look);
        }
        top + text_height(lines.len(), look.size * self.k)
    }

    fn hairline(&self) -> Stroke {
        Stroke::solid(style::HAIRLINE, FINE * self.k)
    }

    fn grid_line(&self) -> Stroke {
        let k = self.k;
        Stroke { colour: style::GRID, width: 0.1 * k, dash: vec![0.25 * k, 0.75 * k] }
    }
}

/// How a text looks; `size` at scale 1.
#[derive(Clone, Copy)]
pub(crate) struct Look {
    size: f64,
    bold: bool,
    align: Align,
    colour: Colour,
}

impl Look {
    fn new(size: f64, align: Align, colour: Colour) -> Self {
        Self { size, bold: false, align, colour }
    }

    fn bold(self) -> Self {
        Self { bold: true, ..self }
    }
}

/// Height of `count` lines of text of `size`.
fn text_height(count: usize, size: f64) -> f64 {
    let between = count.saturating_sub(1) as f64 * font::LEADING;
    (font::ABOVE + font::BELOW + between) * size
}

/// Width of the names, left end of the panels, and right end where no loop stands beside.
fn room(scene: &Scene<'_>, width_mm: f64, label_margin: f64) -> (f64, f64, f64) {
    let k = scene.spec.scale;
    let names_width = names_width(scene, width_mm);
    let left = (MARGIN + 2.0) * k + names_width + tick_width(scene);
    (names_width, left, width_mm - MARGIN * k - label_margin)
}

/// Room for the names beside the panels: what the widest needs, within reason.
fn names_width(scene: &Scene<'_>, width_mm: f64) -> f64 {
    let k = scene.spec.scale;
    let most = (27.0 * k).min(0.2 * width_mm);
    let mut widest = 14.0 * k;
    for panel in &scene.panels {
        let (lines, size) = panel_name(&panel.title, most, k);
        widest = widest.max(font::widest(&lines, size * k, true));
    }
    for bar in &scene.bars {
        let lines = font::wrap(&foot::bar_name(bar), SMALL * k, false, most);
        widest = widest.max(font::widest(&lines, SMALL * k, false));
    }
    widest.min(most)
}

/// A panel's name in lines, and its size at scale 1: smaller where a word is very long.
fn panel_name(title: &str, room: f64, k: f64) -> (Vec<String>, f64) {
    let longest =
        title.split_whitespace().map(|word| font::width(word, NAME * k, true)).fold(room, f64::max);
    let size = NAME * (room / longest).max(0.6);
    (font::wrap(title, size * k, true, room), size)
}

/// Room for the widest tick value and its tick.
fn tick_width(scene: &Scene<'_>) -> f64 {
    let k = scene.spec.scale;
    let numbered = scene.panels.iter().filter(|panel| panel.unit.is_some());
    let widths = numbered.map(|panel| {
        let (step, ticks) = axis::value_ticks(panel.range, panel.height, k);
        let widths =
            ticks.iter().map(|&value| font::width(&axis::tick_text(value, step), SMALL * k, false));
        widths.fold(0.0, f64::max)
    });
    widths.fold(0.0, f64::max) + 2.6 * k
}
