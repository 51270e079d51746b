//! What was drawn on a sheet, in millimetres from each page's top left corner, y down.

use serde::{Deserialize, Serialize};

/// What is drawn on the pages of one sheet.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DrawnSheet {
    /// The pages that were read, in their order.
    pub pages: Vec<DrawnPage>,
}

/// What is drawn on one page.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DrawnPage {
    /// Number of the page, from 1.
    pub page: u8,
    /// How well places on the page are known: one standard deviation.
    pub uncertainty_mm: f64,
    /// Traces that were asked for.
    pub traces: Vec<DrawnTrace>,
    /// Panels for sounds that were asked for.
    pub sounds: Vec<DrawnSounds>,
    /// Bars that were asked for.
    pub bars: Vec<DrawnBar>,
    /// The student's own alignment lines.
    pub lines: Vec<DrawnLine>,
    /// What is written beside the traces.
    pub written: Vec<Written>,
}

/// A trace in its panel.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DrawnTrace {
    /// The panel's channel.
    pub channel: String,
    /// The stroke's middle from left to right. Empty where nothing is drawn.
    pub points_mm: Vec<[f64; 2]>,
    /// Where nothing is drawn between two points: x from and to.
    pub gaps_mm: Vec<[f64; 2]>,
    /// Where it could be read otherwise, such as at double strokes: x from and to.
    pub ambiguous_mm: Vec<[f64; 2]>,
    /// Width of the stroke.
    pub width_mm: f64,
    /// How sure the reading of the whole panel is, 0 … 1.
    pub sure: f64,
}

/// What is drawn in a panel for sounds.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DrawnSounds {
    /// The panel's channel.
    pub channel: String,
    /// x, top and bottom of the ink, where there is any.
    pub envelope_mm: Vec<[f64; 3]>,
    /// The bursts, from left to right.
    pub bursts: Vec<DrawnBurst>,
    /// What is as small as letters, written more likely than a sound; where there are no bursts, all
    /// that stands on the resting line.
    #[serde(default)]
    pub perhaps: Vec<DrawnBurst>,
    /// Width of the stroke.
    pub width_mm: f64,
    /// How sure the reading of the whole panel is, 0 … 1.
    pub sure: f64,
}

/// One burst of sound.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DrawnBurst {
    /// Where it begins, from the page's left side.
    pub from_mm: f64,
    /// Where it ends.
    pub to_mm: f64,
    /// Its height from top to bottom.
    pub height_mm: f64,
    /// How much later it may begin and how much earlier end, if what stands at its ends is not
    /// part of it.
    pub doubt_mm: [f64; 2],
    /// 0 … 1.
    pub sure: f64,
}

/// A bar in its row.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DrawnBar {
    /// The bar's identifier.
    pub bar: String,
    /// Left and right ends, from left to right.
    pub stretches_mm: Vec<[f64; 2]>,
    /// How sure the reading of the whole row is, 0 … 1.
    pub sure: f64,
}

/// An alignment line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DrawnLine {
    /// Its upper end.
    pub top_mm: [f64; 2],
    /// Its lower end.
    pub bottom_mm: [f64; 2],
    /// How it is drawn: `solid`, `dashed` or `dotted`.
    pub style: String,
}

/// Something written or drawn beside a trace.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Written {
    /// Left, top, right and bottom.
    pub bounds_mm: [f64; 4],
    /// The channel of the panel that it stands in or nearest to.
    pub channel: String,
    /// Whether it is compact, as writing is, rather than a stroke or a smudge.
    pub writing: bool,
}
