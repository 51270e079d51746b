//! The rooms of the app. Each is a module with its routes, its pages and its words.

pub(crate) mod board;
pub(crate) mod class;
pub(crate) mod conventions;
pub(crate) mod course;
pub(crate) mod heart;
pub(crate) mod marking;
pub(crate) mod practice;
pub(crate) mod recordings;
pub(crate) mod sheets;

use axum::Router;

use super::desk::Desk;
use super::shell::Room;

/// Every room, in the order of the job.
pub(crate) const ROOMS: &[Room] = &[
    course::ROOM,
    heart::ROOM,
    board::ROOM,
    conventions::ROOM,
    sheets::ROOM,
    marking::ROOM,
    class::ROOM,
    recordings::ROOM,
    practice::ROOM,
];

/// All that the rooms answer.
pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .merge(course::routes())
        .merge(heart::routes())
        .merge(board::routes())
        .merge(conventions::routes())
        .merge(sheets::routes())
        .merge(marking::routes())
        .merge(class::routes())
        .merge(recordings::routes())
        .merge(practice::routes())
}
