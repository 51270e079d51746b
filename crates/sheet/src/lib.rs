//! A test's definition to pages at true scale, their geometry, keys and rubrics.
//!
//! A [`Test`] says what is drawn and how much of it is given; [`forms()`] are its parallel
//! versions; a [`Book`] prints drawing sheets, keys and rubrics and describes every page to a
//! scanner. Nothing here knows the heart: the completed cycle of each form comes from outside.
//! Nothing is read or written.

mod book;
mod code;
mod definition;
mod error;
mod forms;
mod layout;
pub mod marks;
mod page;
mod rubric;

pub use book::{Book, Copy};
pub use code::{CODE_MODULES, CODE_QUIET, CODE_SIZE_MM, CodeError, SheetCode, test_id};
pub use definition::{Orientation, PageText, Paper, Scaffold, Setting, Test};
pub use error::SheetError;
pub use forms::{Form, forms};
pub use layout::{Layout, PanelGeometry, PanelPlace};
