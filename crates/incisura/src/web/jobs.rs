//! Work that takes longer than a request: how far it is, and what came of it.

use std::collections::BTreeMap;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash as _, Hasher as _};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::rc::Rc;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;

use axum::Json;
use axum::extract::{Path, State};
use serde::Serialize;

use super::desk::Desk;
use super::folder::Folder;
use super::refusal::Refusal;
use crate::failure::Failure;
use crate::progress::{self, Watcher};

/// How far a piece of work is.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Progress {
    /// What is being done, in words.
    pub(crate) doing: String,
    pub(crate) done: usize,
    /// Of how many; none where that is not known.
    pub(crate) of: Option<usize>,
    pub(crate) state: JobState,
    /// What came of it or what went wrong, in words.
    pub(crate) said: String,
}

/// Whether a piece of work goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum JobState {
    Running,
    Done,
    Failed,
}

/// The name of work of a kind on a file of a course: another course's is other work.
pub(crate) fn name(kind: &str, folder: &Folder, file: &str) -> String {
    let mut hasher = DefaultHasher::new();
    (folder.root(), file).hash(&mut hasher);
    format!("{kind}-{:016x}", hasher.finish())
}

/// All work that was begun since the program was started.
#[derive(Default)]
pub(crate) struct Jobs {
    all: Mutex<BTreeMap<String, Handle>>,
}

/// What a worker tells its progress to.
#[derive(Clone)]
pub(crate) struct Handle(Arc<Mutex<Progress>>);

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What commands tell the terminal is told here, too.
impl Watcher for Handle {
    fn begin(&self, doing: &str, of: Option<usize>) {
        let mut progress = locked(&self.0);
        doing.clone_into(&mut progress.doing);
        progress.done = 0;
        progress.of = of;
    }

    fn at(&self, done: usize) {
        locked(&self.0).done = done;
    }
}

impl Jobs {
    /// Begins `work` under `name`, unless work of that name is under way; then says so.
    pub(crate) fn begin(
        &self,
        name: &str,
        work: impl FnOnce(&Handle) -> Result<String, Failure> + Send + 'static,
    ) -> Result<(), Refusal> {
        let mut all = locked(&self.all);
        if all.get(name).is_some_and(|one| locked(&one.0).state == JobState::Running) {
            return Err(Refusal::of_all("this is under way already; wait until it is done"));
        }
        let progress = Progress {
            doing: String::new(),
            done: 0,
            of: None,
            state: JobState::Running,
            said: String::new(),
        };
        let handle = Handle(Arc::new(Mutex::new(progress)));
        all.insert(name.to_owned(), handle.clone());
        thread::spawn(move || {
            let watcher = Rc::new(handle.clone());
            let result =
                catch_unwind(AssertUnwindSafe(|| progress::watched(watcher, || work(&handle))));
            let mut progress = locked(&handle.0);
            (progress.state, progress.said) = match result {
                Ok(Ok(said)) => (JobState::Done, said),
                Ok(Err(failure)) => (JobState::Failed, failure.to_string()),
                Err(_) => (JobState::Failed, Refusal::our_fault().message),
            };
        });
        Ok(())
    }

    /// How far the work of that name is, if any was begun.
    pub(crate) fn progress(&self, name: &str) -> Option<Progress> {
        locked(&self.all).get(name).map(|one| locked(&one.0).clone())
    }
}

/// `GET /jobs/NAME`
pub(crate) async fn told(
    State(desk): State<Desk>,
    Path(name): Path<String>,
) -> Result<Json<Progress>, Refusal> {
    desk.jobs().progress(&name).map(Json).ok_or_else(Refusal::nothing_there)
}
