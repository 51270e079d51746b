//! Scanned pages to flat pages, and to what was drawn on them, in millimetres.
//!
//! [`read()`] takes a file's bytes apart into pages, [`find_marks`] finds the corner marks,
//! [`flatten()`] lays the page flat and evens out its light, and [`read_code`] reads its code.
//! [`ink`] takes away what was printed, and [`trace`] follows what is left.
//! Nothing here knows the heart, rubrics, or how sheets are made; nothing is read or written.

mod code;
mod error;
mod flatten;
mod form;
pub mod ink;
mod marks;
mod memory;
mod picture;
mod read;
pub mod trace;

pub use code::{find_code, read_code, read_code_in};
pub use error::{PageFault, ReadError, ReadFault};
pub use flatten::{BLACK, Flat, Flattened, Model, PageMap, Warp, flatten, flatten_with};
pub use form::{BarForm, PageForm, PanelForm};
pub use marks::{Mark, find_marks};
pub use picture::Picture;
pub use read::{Limits, Pages, read};
