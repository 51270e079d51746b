//! A figure as pixels.

use std::sync::{Arc, OnceLock};

use resvg::{tiny_skia, usvg};

use crate::{Figure, FigureError, FontEmbedding, font};

/// More than this many pixels a side is a mistake in the request.
const MOST_PIXELS: f64 = 30_000.0;

fn fonts() -> Arc<usvg::fontdb::Database> {
    static FONTS: OnceLock<Arc<usvg::fontdb::Database>> = OnceLock::new();
    let load = || {
        let mut fonts = usvg::fontdb::Database::new();
        fonts.load_font_data(font::REGULAR_TTF.to_vec());
        fonts.load_font_data(font::BOLD_TTF.to_vec());
        Arc::new(fonts)
    };
    FONTS.get_or_init(load).clone()
}

impl Figure {
    /// The figure as a PNG file of `dpi` pixels to the inch, with the bundled typeface only.
    ///
    /// # Errors
    /// [`FigureError::OutOfRange`] where `dpi` is not 10 to 1200, [`FigureError::Output`]
    /// where the picture would be larger than 30,000 pixels a side or cannot be encoded.
    pub fn png(&self, dpi: f64) -> Result<Vec<u8>, FigureError> {
        if !(10.0..=1200.0).contains(&dpi) {
            let what = "dpi".to_owned();
            return Err(FigureError::OutOfRange { what, value: dpi, low: 10.0, high: 1200.0 });
        }
        let pixels = |mm: f64| (mm / 25.4 * dpi).ceil();
        let (wide, high) = (pixels(self.width_mm), pixels(self.height_mm));
        if wide > MOST_PIXELS || high > MOST_PIXELS {
            return Err(FigureError::Output(format!(
                "it would be {wide} by {high} pixels; ask for fewer dots per inch"
            )));
        }
        let options = usvg::Options { fontdb: fonts(), ..usvg::Options::default() };
        let tree = usvg::Tree::from_str(&self.svg(FontEmbedding::Referenced), &options)
            .map_err(|error| FigureError::Output(error.to_string()))?;
        let mut pixmap = tiny_skia::Pixmap::new(wide as u32, high as u32)
            .ok_or_else(|| FigureError::Output("there is not enough memory".to_owned()))?;
        let factor = (dpi / 25.4 * self.width_mm) as f32 / tree.size().width();
        let transform = tiny_skia::Transform::from_scale(factor, factor);
        pixmap.fill(tiny_skia::Color::WHITE);
        resvg::render(&tree, transform, &mut pixmap.as_mut());
        pixmap.encode_png().map_err(|error| FigureError::Output(error.to_string()))
    }
}
