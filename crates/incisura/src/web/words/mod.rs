//! What the app says. Every text that a page shows is in this folder, so that it can be said in
//! another language; what the library crates say is in their own data.

pub(crate) mod course;
pub(crate) mod shell;
