//! What `incisura measure` makes of a recording: `lab` opens it and finds its beats, `channels` says
//! which signal is which, `by_hand` keeps corrections, `beside` lays the average beat beside a
//! computed one; `report`, `tables`, `json` and `picture` write it down.

mod beside;
mod by_hand;
mod channels;
mod json;
mod lab;
mod picture;
mod report;
mod tables;

pub(crate) use beside::beside;
pub(crate) use json::{beats_json, json};
pub(crate) use lab::Lab;
pub(crate) use picture::average_figure;
pub(crate) use report::{Told, report};
pub(crate) use tables::{beats_csv, measurements_csv, spread_csv};
