//! What all rooms work on: the course folder that is open, and the work under way.

use std::path::PathBuf;
use std::sync::{Arc, PoisonError, RwLock};

use super::folder::Folder;
use super::jobs::Jobs;

/// The app's state, shared by all requests.
#[derive(Clone)]
pub(crate) struct Desk(Arc<Inner>);

struct Inner {
    folder: RwLock<Folder>,
    jobs: Jobs,
    /// Where courses lie whose folder nobody named.
    library: PathBuf,
}

impl Desk {
    /// A desk with the course in `folder`; new courses are made in `library`.
    pub(crate) fn new(folder: Folder, library: PathBuf) -> Self {
        Self(Arc::new(Inner { folder: RwLock::new(folder), jobs: Jobs::default(), library }))
    }

    /// The course folder that is open.
    pub(crate) fn folder(&self) -> Folder {
        self.0.folder.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Opens another course in place of this one; what the other rooms have begun goes on in
    /// the folder where it was begun.
    pub(crate) fn open(&self, folder: Folder) {
        *self.0.folder.write().unwrap_or_else(PoisonError::into_inner) = folder;
    }

    pub(crate) fn jobs(&self) -> &Jobs {
        &self.0.jobs
    }

    pub(crate) fn library(&self) -> &std::path::Path {
        &self.0.library
    }
}
