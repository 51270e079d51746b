//! What `incisura measure` makes of a recording: `lab` opens it and finds its beats, `channels` says
//! which signal is which, `by_hand` keeps corrections, `beside` lays the average beat beside a
//! computed one; `report`, `tables`, `json` and `picture` write it down.

mod beside;
mod by_hand;
mod channels;
mod json;
mod lab;
mod over;
mod picture;
mod report;
mod tables;

pub(crate) use beside::{Beside, beside, beside_cycle, computed};
pub(crate) use by_hand::{ByHand, How, addition, row, table_name};
pub(crate) use channels::{channels_known, channels_said};
pub(crate) use json::{beats_json, json};
pub(crate) use lab::{Lab, asked, found};
pub(crate) use over::beneath;
pub(crate) use picture::{average_figure, average_over};
pub(crate) use report::{
    Told, format_words, lasting, left_out_words, published, quality_words, report,
};
pub(crate) use tables::{beats_csv, measurements_csv, qualities, spread_csv};
