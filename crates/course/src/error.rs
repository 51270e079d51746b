//! What can go wrong with a course's database, and what to do.

use std::path::PathBuf;

use rusqlite::ErrorCode;

/// A database that cannot be used, or something that it does not take.
///
/// Nothing of the call that returned it was stored, and the file was not replaced.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}: {fault}", file.display())]
pub struct CourseError {
    /// The database's file.
    pub file: PathBuf,
    /// What is wrong.
    pub fault: CourseFault,
}

/// What is wrong, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CourseFault {
    /// The folder is not there.
    #[error("there is no such folder; make it first, or check its name")]
    NoFolder,
    /// Contents of another kind.
    #[error(
        "this is no database, whatever its name says; move it elsewhere, and put the last good copy in its place"
    )]
    NotDatabase,
    /// A database with other contents.
    #[error(
        "this is a database, but not a course's; move it elsewhere, and a new one is made in its place"
    )]
    Foreign,
    /// Written by a later version.
    #[error(
        "this was written by a later version of the program (format {found}; this version knows up to {known}); install that version"
    )]
    Newer {
        /// The file's format.
        found: i64,
        /// The latest known.
        known: i64,
    },
    /// Spoiled or cut off.
    #[error(
        "the file is damaged or cut off ({0}); nothing in it was changed: keep it, and put the last good copy in its place. If it was copied while it was written to, copy it again with the file of the same name that ends in -journal, if there is one"
    )]
    Damaged(String),
    /// Locked by someone else for too long.
    #[error(
        "another program is writing to it, or keeps it open for writing; close that program, and try again"
    )]
    Busy,
    /// No right to open or to write.
    #[error(
        "the file cannot be opened and written to ({0}); check that the folder is not write-protected and that it is on this computer"
    )]
    NotWritable(String),
    /// No room.
    #[error("the disk is full; make room, and do the last step again")]
    Full,
    /// Something refers to what is not there.
    #[error("{0} is not in the course; add it first")]
    Unknown(String),
    /// Something contradicts what is there.
    #[error("{0}")]
    Conflict(String),
    /// A change without its author, time or reason.
    #[error("“{0}” is missing; every change is kept with who, when and why")]
    Missing(&'static str),
    /// A time that is none.
    #[error("“{0}” is no time as RFC 3339 has it, such as 2026-03-02T14:05:00Z")]
    Time(String),
    /// Points that are no number.
    #[error("points must be a number, and the most that can be had not below 0")]
    Points,
    /// Whatever else the database says.
    #[error("the database said: {0}; try again, and if it says so again, check the disk")]
    Database(String),
}

impl From<rusqlite::Error> for CourseFault {
    fn from(error: rusqlite::Error) -> Self {
        let said = error.to_string();
        match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => Self::NotDatabase,
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged(said),
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy,
            Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                Self::NotWritable(said)
            }
            Some(ErrorCode::DiskFull) => Self::Full,
            _ => Self::Database(said),
        }
    }
}
