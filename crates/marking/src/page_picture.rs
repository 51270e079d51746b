//! Grey pictures of flattened pages, cut and lightened for printing.

use std::sync::Arc;

use figure::{Box2, Shape};

/// A grey picture of a flattened page, or of a stretch of it.
#[derive(Clone, Debug, PartialEq)]
pub struct PagePicture {
    /// Number of the page, from 1.
    pub page: u8,
    /// The stretch of the page that it shows, in millimetres.
    pub area: Box2,
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// The pixels, row by row from the top, 0 black and 255 white.
    pub grey: Arc<[u8]>,
}

/// Pixels for a millimetre of print: about 150 to the inch.
const PER_MM: f64 = 6.0;
/// How much of the darkness is kept, so that what is drawn over the picture stands out.
const KEPT: f64 = 0.72;
/// From here on paper is white.
const WHITE: u8 = 236;
/// Greys are rounded to multiples of this: fewer of them make smaller files.
const STEP: f64 = 17.0;

impl PagePicture {
    /// A picture of `area` on page number `page`.
    pub fn new(
        page: u8,
        area: Box2,
        width: usize,
        height: usize,
        grey: impl Into<Arc<[u8]>>,
    ) -> Self {
        Self { page, area, width, height, grey: grey.into() }
    }

    /// Whether there are as many pixels as its size says.
    pub(crate) fn is_whole(&self) -> bool {
        let count = self.width.checked_mul(self.height);
        self.width > 0 && self.area.w > 0.0 && self.area.h > 0.0 && count == Some(self.grey.len())
    }

    /// The grey at a place on the page; white outside.
    pub(crate) fn at(&self, [x, y]: [f64; 2]) -> u8 {
        let column = (x - self.area.x) / self.area.w * self.width as f64;
        let row = (y - self.area.y) / self.area.h * self.height as f64;
        if column < 0.0 || row < 0.0 {
            return 255;
        }
        let (column, row) = (column as usize, row as usize);
        if column >= self.width || row >= self.height {
            return 255;
        }
        self.grey[row * self.width + column]
    }

    /// The part within `cut`, lightened, no finer than print `scale` times its size needs; its
    /// area is still in millimetres on the page. `None` where nothing of it is there.
    pub(crate) fn cut(&self, cut: &Box2, scale: f64) -> Option<Shape> {
        if !self.is_whole() {
            return None;
        }
        let per_mm = [self.width as f64 / self.area.w, self.height as f64 / self.area.h];
        let span = |low: f64, high: f64, start: f64, per_mm: f64, count: usize| {
            let first = ((low - start) * per_mm).round().clamp(0.0, count as f64) as usize;
            first..(((high - start) * per_mm).round().clamp(0.0, count as f64) as usize)
        };
        let columns = span(cut.x, cut.right(), self.area.x, per_mm[0], self.width);
        let rows = span(cut.y, cut.bottom(), self.area.y, per_mm[1], self.height);
        let block = (per_mm[0] / scale / PER_MM).floor().max(1.0) as usize;
        let (width, height) = (columns.len() / block, rows.len() / block);
        if width == 0 || height == 0 {
            return None;
        }
        let mut grey = Vec::with_capacity(width * height);
        for row in 0..height {
            for column in 0..width {
                let top = rows.start + row * block;
                let left = columns.start + column * block;
                let pixels = (top..top + block).flat_map(|row| {
                    let start = row * self.width + left;
                    &self.grey[start..start + block]
                });
                let sum: usize = pixels.map(|&pixel| usize::from(pixel)).sum();
                grey.push(lightened((sum / (block * block)) as u8));
            }
        }
        let area = Box2::new(
            self.area.x + columns.start as f64 / per_mm[0],
            self.area.y + rows.start as f64 / per_mm[1],
            (width * block) as f64 / per_mm[0],
            (height * block) as f64 / per_mm[1],
        );
        Some(Shape::Image { area, width, height, grey: grey.into() })
    }
}

fn lightened(grey: u8) -> u8 {
    if grey >= WHITE {
        return 255;
    }
    let lighter = 255.0 - KEPT * f64::from(255 - grey);
    ((lighter / STEP).round() * STEP) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 40 by 20 pixels of 20 by 10 mm, white but for a black pixel in column 10, row 4.
    fn picture() -> PagePicture {
        let mut grey = vec![255; 800];
        grey[4 * 40 + 10] = 0;
        PagePicture::new(1, Box2::new(100.0, 50.0, 20.0, 10.0), 40, 20, grey)
    }

    #[test]
    fn a_cut_shows_the_same_place() {
        let cut = Box2::new(104.0, 51.0, 4.0, 3.0);
        let Some(Shape::Image { area, width, height, grey }) = picture().cut(&cut, 1.0) else {
            panic!("there is a picture")
        };
        assert_eq!((area, width, height), (cut, 8, 6));
        let dark: Vec<usize> = (0..grey.len()).filter(|&i| grey[i] < 255).collect();
        assert_eq!(dark, [2 * 8 + 2], "the black pixel, at 105 and 52 mm");
        assert_eq!(grey[dark[0]], 68, "255 less 72 % of it is 71, rounded to a multiple of 17");
    }

    #[test]
    fn what_is_outside_is_white_and_what_is_not_whole_is_left_out() {
        assert_eq!(picture().at([105.2, 52.2]), 0);
        assert_eq!(picture().at([99.0, 52.2]), 255);
        assert_eq!(picture().cut(&Box2::new(0.0, 0.0, 5.0, 5.0), 1.0), None);
        let short = PagePicture { height: 21, ..picture() };
        assert_eq!(short.cut(&short.area, 1.0), None);
    }

    #[test]
    fn a_fine_picture_is_made_coarser() {
        let area = Box2::new(0.0, 0.0, 10.0, 10.0);
        let fine = PagePicture::new(1, area, 240, 240, vec![100; 240 * 240]);
        let Some(Shape::Image { width, height, .. }) = fine.cut(&area, 0.5) else {
            panic!("there is a picture")
        };
        // 24 pixels to the millimetre, printed at half size: 48; an eighth of that is 6.
        assert_eq!((width, height), (30, 30));
    }
}
