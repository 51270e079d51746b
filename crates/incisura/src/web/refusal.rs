//! What the app says to a request that it cannot fulfil.

use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use figure::FigureError;
use heart::HeartError;

use crate::failure::Failure;

/// Name of the header that says which control a refusal belongs to.
const CONTROL: &str = "x-control";

/// A status, a sentence for the person, and the control that the sentence belongs beside.
#[derive(Debug)]
pub(crate) struct Refusal {
    status: StatusCode,
    /// The control at fault; `None` where it is the heart or figure as a whole.
    pub(crate) control: Option<String>,
    pub(crate) message: String,
}

impl Refusal {
    /// Something wrong with the value of one control.
    pub(crate) fn of(control: &str, message: impl Into<String>) -> Self {
        Self { control: Some(control.to_owned()), ..Self::of_all(message) }
    }

    /// Something wrong with the heart or the figure as a whole.
    pub(crate) fn of_all(message: impl Into<String>) -> Self {
        Self { status: StatusCode::BAD_REQUEST, control: None, message: message.into() }
    }

    /// There is nothing at this address, or no longer.
    pub(crate) fn nothing_there() -> Self {
        Self { status: StatusCode::NOT_FOUND, ..Self::of_all("there is nothing here") }
    }

    /// A name of a file that the course folder cannot have.
    pub(crate) fn no_such_name(name: &str) -> Self {
        let shown: String = name.chars().filter(|c| !c.is_control()).take(60).collect();
        Self::of_all(format!("“{shown}” is no name for a file in the course folder"))
    }

    /// What was to be changed is no longer what the person saw.
    pub(crate) fn conflict(message: impl Into<String>) -> Self {
        Self { status: StatusCode::CONFLICT, ..Self::of_all(message) }
    }

    /// More bytes than are taken.
    pub(crate) fn too_large(message: impl Into<String>) -> Self {
        Self { status: StatusCode::PAYLOAD_TOO_LARGE, ..Self::of_all(message) }
    }

    /// Too much is asked at once.
    pub(crate) fn busy(message: impl Into<String>) -> Self {
        Self { status: StatusCode::SERVICE_UNAVAILABLE, ..Self::of_all(message) }
    }

    pub(crate) fn status(&self) -> StatusCode {
        self.status
    }

    pub(crate) fn our_fault() -> Self {
        let message =
            "incisura failed to draw this; change the last thing back, and please report it";
        Self { status: StatusCode::INTERNAL_SERVER_ERROR, ..Self::of_all(message) }
    }
}

impl From<HeartError> for Refusal {
    fn from(error: HeartError) -> Self {
        let message = error.to_string();
        match error {
            HeartError::OutOfRange { parameter, .. } => Self::of(parameter.name, message),
            HeartError::UnknownCondition { .. } => Self::of("condition", message),
            HeartError::UnknownRhythm { .. } => Self::of("rhythm", message),
            _ => Self::of_all(message),
        }
    }
}

impl From<FigureError> for Refusal {
    fn from(error: FigureError) -> Self {
        match error {
            FigureError::NoPanels => Self::of("panel", "choose at least one panel"),
            other => Self::of_all(other.to_string()),
        }
    }
}

impl From<Failure> for Refusal {
    fn from(failure: Failure) -> Self {
        match failure {
            Failure::Heart(error) => error.into(),
            Failure::Figure(error) => error.into(),
            // Without the folder, which is this computer's, and without an option of a command.
            Failure::Recording { error, .. } => Self::of_all(error.to_string()),
            other => Self::of_all(other.to_string()),
        }
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let mut response = (self.status, self.message).into_response();
        let control = self.control.and_then(|control| HeaderValue::try_from(control).ok());
        if let Some(control) = control {
            response.headers_mut().insert(CONTROL, control);
        }
        response
    }
}
