//! Scanned pages to flat pages in millimetres.
//!
//! [`read()`] takes a file's bytes apart into pages, [`find_marks`] finds the corner marks,
//! [`flatten()`] lays the page flat and evens out its light, and [`read_code`] reads its code.
//! Nothing here knows the heart, rubrics, or how sheets are made; nothing is read or written.

mod code;
mod error;
mod flatten;
mod marks;
mod picture;
mod read;

pub use code::{find_code, read_code};
pub use error::{PageFault, ReadError, ReadFault};
pub use flatten::{Flat, Flattened, Model, PageMap, Warp, flatten, flatten_with};
pub use marks::{Mark, find_marks};
pub use picture::{Grey, Picture};
pub use read::{Limits, Pages, read};

/// What is known of a page before it is read.
#[derive(Clone, Debug, PartialEq)]
pub struct PageForm {
    /// Width of the page in millimetres.
    pub width_mm: f64,
    /// Height of the page in millimetres.
    pub height_mm: f64,
    /// Number and centre of each mark, in millimetres from the page's top left corner, y down.
    pub marks: Vec<(usize, [f64; 2])>,
    /// Side of a mark's black square in millimetres.
    pub mark_mm: f64,
    /// Where the code is printed: left, top, width and height in millimetres, without the
    /// white around it.
    pub code: Option<[f64; 4]>,
    /// Frames of the panels: left, top, width and height in millimetres. Their lines are
    /// printed, and show how the paper is bent.
    pub frames: Vec<[f64; 4]>,
}
