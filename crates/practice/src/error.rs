//! Why there is no task.

use convention::{Faults, SchematicError, StepError};
use heart::HeartError;
use sheet::SheetError;

/// Why there is no task, or no answer.
#[derive(Clone, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PracticeError {
    /// The test's file has faults.
    #[error("{0}")]
    Test(Faults),
    /// There is no such heart.
    #[error(transparent)]
    Heart(#[from] HeartError),
    /// The rules cannot be drawn on any of the hearts that the seed gives.
    #[error("this test cannot be drawn by its rules: {0}")]
    Schematic(#[from] SchematicError),
    /// The panels do not fit.
    #[error(transparent)]
    Sheet(#[from] SheetError),
    /// The build is out of order.
    #[error("the steps cannot be built in this order: {0}")]
    Steps(#[from] StepError),
    /// A test of which nothing can be asked.
    #[error("no rule of this test is about anything that could be drawn; choose another test")]
    NothingAsked,
    /// A request that cannot be understood.
    #[error("this request cannot be understood: {0}")]
    Request(String),
    /// Nothing is there to be heard.
    #[error("{0}")]
    Silent(String),
    /// More ink than a student can draw.
    #[error("there is too much drawn to judge; erase some of it")]
    TooMuch,
}
