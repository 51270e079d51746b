//! Sizes of what is printed, and the shapes of text and rules.

use figure::style;
use figure::{Align, Shape, Stroke, font};

/// Sizes in millimetres: of letters the em, of lines the width.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sizes {
    /// A page's title.
    pub title: f64,
    /// Headings within a page.
    pub heading: f64,
    /// Running text.
    pub text: f64,
    /// Numbers on axes and other small print.
    pub small: f64,
    /// A printed trace: no thinner than a pencil's, so that both look alike.
    pub trace: f64,
    /// Alignment lines and brackets.
    pub line: f64,
}

impl Sizes {
    /// The usual print.
    pub const USUAL: Self =
        Self { title: 4.4, heading: 3.9, text: 3.4, small: 2.7, trace: 0.5, line: 0.25 };

    /// Large print: no letter smaller than 18 points (6.35 mm), the least that is commonly
    /// called large print. (Common practice, from memory.)
    pub const LARGE: Self =
        Self { title: 7.4, heading: 6.8, text: 6.35, small: 6.35, trace: 1.0, line: 0.5 };

    /// Distance of baselines of running text.
    pub fn leading(&self) -> f64 {
        1.28 * self.text
    }
}

/// One line of text.
pub(crate) fn text(at: [f64; 2], text: &str, size: f64, align: Align, bold: bool) -> Shape {
    Shape::Text { at, text: text.to_owned(), size, bold, align, colour: style::INK }
}

/// A thin line.
pub(crate) fn rule(from: [f64; 2], to: [f64; 2]) -> Shape {
    Shape::Lines { parts: vec![vec![from, to]], stroke: Stroke::solid(style::HAIRLINE, 0.2) }
}

/// Text in lines no wider than `width`, from a first baseline down.
pub(crate) fn paragraph(
    [x, y]: [f64; 2],
    words: &str,
    size: f64,
    bold: bool,
    width: f64,
    leading: f64,
) -> Vec<Shape> {
    let mut lines = font::wrap(words, size, bold, width);
    // A line's end is a space to whoever reads the lines as one text.
    let ends = lines.len().saturating_sub(1);
    lines[..ends].iter_mut().for_each(|line| line.push(' '));
    let rows = lines.iter().enumerate();
    rows.map(|(row, line)| text([x, y + row as f64 * leading], line, size, Align::Start, bold))
        .collect()
}

/// A number without needless decimals.
pub(crate) fn short(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}
