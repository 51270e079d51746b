//! What is known of a page before it is read.

/// What is known of a page before it is read; millimetres from the page's top left corner, y
/// down.
#[derive(Clone, Debug, PartialEq)]
pub struct PageForm {
    /// Width of the page.
    pub width_mm: f64,
    /// Height of the page.
    pub height_mm: f64,
    /// Number and centre of each mark.
    pub marks: Vec<(usize, [f64; 2])>,
    /// Side of a mark's black square.
    pub mark_mm: f64,
    /// Where the code is printed: left, top, width and height, without the white around it.
    pub code: Option<[f64; 4]>,
    /// The panels, from top to bottom. The lines of their frames are printed, and show how the
    /// paper is bent.
    pub panels: Vec<PanelForm>,
    /// The bars below them, from top to bottom.
    pub bars: Vec<BarForm>,
}

/// A bar's row on a page.
#[derive(Clone, Debug, PartialEq)]
pub struct BarForm {
    /// The bar's identifier.
    pub bar: String,
    /// Left side.
    pub x_mm: f64,
    /// Top side.
    pub y_mm: f64,
    /// Width.
    pub width_mm: f64,
    /// Height.
    pub height_mm: f64,
    /// Whether it is printed.
    pub given: bool,
}

/// A panel of a page.
#[derive(Clone, Debug, PartialEq)]
pub struct PanelForm {
    /// The channel drawn in it.
    pub channel: String,
    /// Left side.
    pub x_mm: f64,
    /// Top side.
    pub y_mm: f64,
    /// Width.
    pub width_mm: f64,
    /// Height.
    pub height_mm: f64,
    /// Whether its trace is printed.
    pub given: bool,
    /// Whether it shows bursts of sound rather than a curve.
    pub sounds: bool,
    /// Whether some of its bursts may be as small as letters.
    pub small_sounds: bool,
    /// Whether its curve has waves so narrow that one stroke up and down may be one, as an R wave is.
    pub narrow_waves: bool,
}

impl PanelForm {
    /// Left, top, width and height of its frame.
    pub(crate) fn frame(&self) -> [f64; 4] {
        [self.x_mm, self.y_mm, self.width_mm, self.height_mm]
    }
}
