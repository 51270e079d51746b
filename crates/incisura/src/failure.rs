//! What a command that could not do its work tells the person who called it.

use std::io;
use std::path::{Path, PathBuf};

use figure::FigureError;
use heart::HeartError;

/// Why a command could not do its work, and what to do next.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Failure {
    #[error("cannot read {}: {}", path.display(), plainly(reason))]
    Unreadable { path: PathBuf, reason: io::Error },
    #[error("cannot write {}: {}", path.display(), cause_of_no_writing(path, reason))]
    Unwritable { path: PathBuf, reason: io::Error },
    /// Something in a file that a person wrote.
    #[error("{}, line {line}: {what}\n    {text}", path.display())]
    InFile { path: PathBuf, line: usize, text: String, what: String },
    /// Everything that is wrong with a convention.
    #[error("{}", faults.0.iter().map(|fault| format!("{}, line {}: {}\n    {}", path.display(), fault.line, fault.what, fault.text)).collect::<Vec<_>>().join("\n"))]
    Faults { path: PathBuf, faults: convention::Faults },
    /// Something about a file as a whole.
    #[error("{}: {what}", path.display())]
    File { path: PathBuf, what: String },
    #[error(transparent)]
    Heart(#[from] HeartError),
    #[error(transparent)]
    Figure(#[from] FigureError),
    #[error(transparent)]
    Course(#[from] course::CourseError),
    /// A recording that cannot be read.
    #[error("{}", in_recording(folder, error))]
    Recording { folder: PathBuf, error: recording::ReadError },
    #[error("cannot write to standard output: {}", plainly(.0))]
    Output(io::Error),
    #[error("{0}")]
    Other(String),
}

impl Failure {
    pub(crate) fn unreadable(path: &Path, reason: io::Error) -> Self {
        Self::Unreadable { path: path.to_owned(), reason }
    }

    pub(crate) fn unwritable(path: &Path, reason: io::Error) -> Self {
        Self::Unwritable { path: path.to_owned(), reason }
    }

    pub(crate) fn file(path: &Path, what: impl Into<String>) -> Self {
        Self::File { path: path.to_owned(), what: what.into() }
    }

    /// What the course's database keeps for us and cannot be understood.
    pub(crate) fn kept(error: serde_json::Error) -> Self {
        Self::Other(format!(
            "the course's database keeps something that this version does not understand ({error}); use the version that wrote it, or start a new folder"
        ))
    }

    /// A recording in the folder of `path` that cannot be read.
    pub(crate) fn recording(path: &Path, error: recording::ReadError) -> Self {
        Self::Recording { folder: path.with_file_name(""), error }
    }

    /// A heart's description in `path` that is at fault.
    pub(crate) fn heart_in(path: &Path, error: HeartError) -> Self {
        match error {
            HeartError::Toml { line, text, what } => {
                Self::InFile { path: path.to_owned(), line, text, what }
            }
            other => Self::file(path, other.to_string()),
        }
    }
}

/// The commonest reasons in plain words; the system's own words for the others.
fn plainly(reason: &io::Error) -> String {
    match reason.kind() {
        io::ErrorKind::NotFound => "there is no such file; check the name and the folder".into(),
        io::ErrorKind::PermissionDenied => "permission is denied; choose another place".into(),
        io::ErrorKind::AlreadyExists => "a file has this name; choose another".into(),
        io::ErrorKind::IsADirectory => "this is a folder; give the name of a file".into(),
        io::ErrorKind::InvalidData => "this is not UTF-8 text; save it as UTF-8".into(),
        io::ErrorKind::StorageFull => "the disk is full; make room or choose another place".into(),
        _ => reason.to_string(),
    }
}

/// What is wrong with a recording, with its folder, and the option that mends it.
fn in_recording(folder: &Path, error: &recording::ReadError) -> String {
    let recording::ReadError { file, place, fault } = error;
    let more = match fault {
        recording::ReadFault::NeedsRate => ": add --rate and the number, like --rate 500",
        _ => "",
    };
    format!("{}{place}: {fault}{more}", folder.join(file).display())
}

fn cause_of_no_writing(path: &Path, reason: &io::Error) -> String {
    if reason.kind() != io::ErrorKind::NotFound {
        return plainly(reason);
    }
    let folder = path.parent().unwrap_or(path);
    format!("the folder {} does not exist; make it first or choose another", folder.display())
}
