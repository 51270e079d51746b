//! The look of a figure: paper, ink, and one accent.
//!
//! Every colour is dark enough for a copier: lines have at least 3:1 contrast with the
//! paper and text at least 4.5:1, and nothing is told by colour alone.

/// A colour as red, green and blue, 0 to 255 (sRGB).
pub type Colour = [u8; 3];

/// The background.
pub const PAPER: Colour = [255, 255, 255];
/// Text, frames and the first trace.
pub const INK: Colour = [26, 26, 26];
/// Text of less weight: ticks and units.
pub const SOFT_INK: Colour = [82, 82, 82];
/// Axes, frames and separators.
pub const HAIRLINE: Colour = [120, 120, 120];
/// The grid.
pub const GRID: Colour = [142, 142, 142];
/// Every second phase band, and the bars.
pub const TINT: Colour = [238, 238, 236];
/// Alignment lines and their names, and nothing else.
pub const ACCENT: Colour = [168, 50, 10];
/// A second cycle beneath the first.
pub const GHOST: Colour = [112, 112, 112];

/// How one of several traces in a panel is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TraceStyle {
    /// Its colour.
    pub colour: Colour,
    /// Its width in millimetres at scale 1.
    pub width_mm: f64,
    /// Lengths of dashes and gaps in millimetres at scale 1; empty for a solid line.
    pub dash: &'static [f64],
}

/// Styles of the first, second and further traces of a panel, told apart without colour.
pub const TRACES: [TraceStyle; 5] = [
    TraceStyle { colour: INK, width_mm: 0.5, dash: &[] },
    TraceStyle { colour: [31, 84, 128], width_mm: 0.5, dash: &[2.8, 0.8] },
    TraceStyle { colour: [74, 94, 32], width_mm: 0.55, dash: &[0.7, 0.7] },
    TraceStyle { colour: [104, 62, 122], width_mm: 0.45, dash: &[3.2, 0.8, 0.7, 0.8] },
    TraceStyle { colour: [110, 82, 24], width_mm: 0.25, dash: &[] },
];

/// Contrast ratio of two colours, 1 to 21, as the Web Content Accessibility Guidelines define it.
pub fn contrast(a: Colour, b: Colour) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

fn luminance(colour: Colour) -> f64 {
    let linear = |part: u8| {
        let part = f64::from(part) / 255.0;
        if part <= 0.04045 { part / 12.92 } else { libm::pow((part + 0.055) / 1.055, 2.4) }
    };
    0.2126 * linear(colour[0]) + 0.7152 * linear(colour[1]) + 0.0722 * linear(colour[2])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contrast_of_black_and_white_is_21() {
        assert!((contrast([0; 3], [255; 3]) - 21.0).abs() < 1e-9);
    }

    #[test]
    fn lines_and_text_stand_out_from_the_paper_and_in_grey() {
        for line in [HAIRLINE, GRID, GHOST] {
            assert!(contrast(line, PAPER) >= 3.0, "{line:?}");
        }
        for text in [INK, SOFT_INK, ACCENT] {
            assert!(contrast(text, PAPER) >= 4.5, "{text:?}");
            assert!(contrast(text, TINT) >= 4.5, "{text:?}");
        }
        for style in TRACES {
            assert!(contrast(style.colour, PAPER) >= 4.5, "{style:?}");
        }
    }

    #[test]
    fn traces_differ_by_more_than_colour() {
        for (i, a) in TRACES.iter().enumerate() {
            for b in &TRACES[..i] {
                assert!(a.dash != b.dash || (a.width_mm - b.width_mm).abs() >= 0.2);
            }
        }
    }
}
