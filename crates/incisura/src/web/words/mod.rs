//! What the app says. Every text that a page shows is in this folder, so that it can be said in
//! another language; what the library crates say is in their own data.

pub(crate) mod board;
pub(crate) mod class;
pub(crate) mod classroom;
pub(crate) mod conventions;
pub(crate) mod course;
pub(crate) mod editing;
pub(crate) mod heart;
pub(crate) mod marking;
pub(crate) mod practice;
pub(crate) mod recordings;
pub(crate) mod sheets;
pub(crate) mod shell;
