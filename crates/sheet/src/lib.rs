//! A test's definition to pages at true scale, their geometry, keys and rubrics.
//!
//! A [`Test`] says what is drawn and how much of it is given; [`forms()`] are its parallel
//! versions; a [`Book`] prints drawing sheets, keys and rubrics and describes every page to a
//! scanner. Nothing here knows the heart: the completed cycle of each form comes from outside.
//! Nothing is read or written.

mod book;
pub mod braille;
mod cloze;
mod code;
mod definition;
mod error;
mod flow;
mod forms;
mod grid_paper;
mod guide;
mod head;
mod layout;
pub mod marks;
mod names;
mod page;
mod print;
mod questions;
mod raised;
mod rubric;
mod schematic_figure;
mod strip;
mod strip_panels;
mod strips;
mod worksheet;

pub use book::{Book, Copy};
pub use cloze::{Blank, BlankKind, cloze, labelled, word_list};
pub use code::{CODE_MODULES, CODE_QUIET, CODE_SIZE_MM, CodeError, SheetCode, test_id};
pub use definition::{
    DrawnFrom, Handout, Orientation, PageText, Paper, Questions, Scaffold, Setting, StripText, Test,
};
pub use error::SheetError;
pub use flow::{Column, Flow, Piece};
pub use forms::{Form, forms};
pub use layout::{BarGeometry, BarPlace, Layout, PanelGeometry, PanelPlace, Place};
pub use print::Sizes;
pub use questions::Exercise;
pub use schematic_figure::{convention_figure, step_figure};
pub use strip::{Interval, MM_PER_MV, MM_PER_S, StripSpec, Wave, strip, waves};
pub use strip_panels::{StripPanel, strip_over};
pub use strips::{StripExercise, StripQuestion, strip_pages};
pub use worksheet::{Worksheet, WorksheetQuestion, WorksheetRow, worksheet_pages};
