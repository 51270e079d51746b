//! What all rooms work on: the course folder that is open, and the work under way.

use std::path::PathBuf;
use std::sync::{Arc, OnceLock, PoisonError, RwLock};

use super::classroom::Invitation;
use super::folder::Folder;
use super::jobs::Jobs;
use super::rooms::marking::work::Shelf as Marks;
use super::rooms::recordings::Shelf as Recordings;

/// The app's state, shared by all requests.
#[derive(Clone)]
pub(crate) struct Desk(Arc<Inner>);

struct Inner {
    folder: RwLock<Folder>,
    jobs: Jobs,
    /// Marks that were asked for lately.
    marks: Marks,
    recordings: Recordings,
    /// How students come in, where the classroom is open.
    invitation: OnceLock<Invitation>,
    /// Where courses lie whose folder nobody named.
    library: PathBuf,
}

impl Desk {
    /// A desk with the course in `folder`; new courses are made in `library`.
    pub(crate) fn new(folder: Folder, library: PathBuf) -> Self {
        Self(Arc::new(Inner {
            folder: RwLock::new(folder),
            jobs: Jobs::default(),
            marks: Marks::default(),
            recordings: Recordings::default(),
            invitation: OnceLock::new(),
            library,
        }))
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

    /// The marks of tests, at hand.
    pub(crate) fn marks(&self) -> &Marks {
        &self.0.marks
    }

    /// The recordings that were opened last.
    pub(crate) fn recordings(&self) -> &Recordings {
        &self.0.recordings
    }

    /// How students come in, where the classroom is open.
    pub(crate) fn invitation(&self) -> Option<&Invitation> {
        self.0.invitation.get()
    }

    /// Tells how students come in; once, as long as the program runs.
    pub(crate) fn invite(&self, invitation: Invitation) {
        self.0.invitation.get_or_init(|| invitation);
    }

    pub(crate) fn library(&self) -> &std::path::Path {
        &self.0.library
    }
}
