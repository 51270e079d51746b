//! Any cycle to a laid-out picture.
//!
//! [`lay_out`] places panels, alignment lines, phases and labels in true millimetres and
//! gives a [`Figure`]: plain drawing primitives with a tag that says what each one shows.
//! [`Figure::svg`] is always there; the features `png` and `pdf` add `Figure::png` and
//! `Figure::pdf`. [`describe`] says in words what the figure shows, from the same cycle.
//!
//! Nothing here knows a subject: names, labels, units, phases and bars come from
//! [`cycle::Subject`], and which panels are drawn from the [`FigureSpec`]. The same input
//! gives the same bytes on every machine. Nothing is read or written.

mod axis;
mod curve;
mod describe;
mod document;
mod error;
pub mod font;
mod image;
mod layout;
#[cfg(feature = "pdf")]
mod pdf;
mod picture;
mod place;
#[cfg(feature = "png")]
mod png;
mod spec;
pub mod style;
mod svg;

pub use axis::{nice_step, tick_text, value_ticks};
pub use curve::{Map, distance, foot, lines as lines_of};
pub use describe::describe;
pub use document::{Block, Cell, ListItem, Page};
pub use error::FigureError;
pub use layout::{lay_out, lay_out_over};
#[cfg(feature = "pdf")]
pub use pdf::pdf_of;
pub use picture::{Align, Box2, Figure, Item, Shape, Stroke, Tag};
pub use spec::{FigureSpec, PanelSpec, Stretch};
pub use svg::{FontEmbedding, base64};
