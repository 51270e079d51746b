//! The rooms of the app. Each is a module with its routes, its pages and its words.

pub(crate) mod course;
pub(crate) mod heart;

use axum::Router;

use super::desk::Desk;
use super::shell::Room;

/// Every room, in the order of the job.
pub(crate) const ROOMS: &[Room] = &[course::ROOM, heart::ROOM];

/// All that the rooms answer.
pub(crate) fn routes() -> Router<Desk> {
    Router::new().merge(course::routes()).merge(heart::routes())
}
