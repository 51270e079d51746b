//! Where drawings are judged: a few at a time, each heart computed once.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use practice::{Core, Definition, Practice, Request, answer};
use serde::Deserialize;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::test_file::{self, Changes};
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::words::practice as words;

/// Most requests that wait for their turn.
const WAITING: usize = 64;

/// What computes tasks and judges drawings.
pub(super) struct Bench {
    core: Mutex<Core>,
    /// As many at a time as there are processors but one, which answers.
    turns: Arc<Semaphore>,
    waiting: Arc<Semaphore>,
    /// Whether faults in the course's files are kept from whoever asks.
    discreet: bool,
}

/// Where the texts of a test are: in a file of the course.
#[derive(Deserialize)]
struct Named {
    file: String,
}

impl Bench {
    /// For the instructor, who is told what is wrong with a file; or, if it is `discreet`, for
    /// students.
    pub(super) fn new(discreet: bool) -> Self {
        let processors = std::thread::available_parallelism().map_or(2, usize::from);
        Self {
            core: Mutex::default(),
            turns: Arc::new(Semaphore::new(processors.saturating_sub(1).max(1))),
            waiting: Arc::new(Semaphore::new(WAITING)),
            discreet,
        }
    }

    /// Waits for a turn, unless too many do.
    pub(super) async fn turn(&self) -> Result<OwnedSemaphorePermit, Refusal> {
        let busy = || Refusal::busy(words::BUSY);
        let _place = Arc::clone(&self.waiting).try_acquire_owned().map_err(|_| busy())?;
        Arc::clone(&self.turns).acquire_owned().await.map_err(|_| busy())
    }

    fn core(&self) -> MutexGuard<'_, Core> {
        self.core.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Answers one question about a test of the course.
    pub(super) fn answer(
        &self,
        folder: &Folder,
        what: &str,
        json: &str,
    ) -> Result<String, Refusal> {
        let (practice, request) = self.practice(folder, json)?;
        answer(&practice, what, &request).map_err(|error| Refusal::of_all(error.to_string()))
    }

    /// How the heart of a task sounds.
    pub(super) fn sound(&self, folder: &Folder, json: &str) -> Result<Vec<u8>, Refusal> {
        let (practice, request) = self.practice(folder, json)?;
        let wav = practice.sound(&request.hear, &request.drawing);
        wav.map_err(|error| Refusal::of_all(error.to_string()))
    }

    fn practice(
        &self,
        folder: &Folder,
        json: &str,
    ) -> Result<(Arc<Practice>, Request<Definition>), Refusal> {
        let unclear = |error: practice::PracticeError| Refusal::of_all(error.to_string());
        let named: Request<Named> = Request::read(json).map_err(unclear)?;
        let told =
            |refusal| if self.discreet { Refusal::of("test", words::NO_TEST) } else { refusal };
        let definition = definition(folder, &named.definition.file).map_err(told)?;
        let request = named.about(definition);
        if let Some(known) = self.core().known(&request) {
            return Ok((known, request));
        }
        let made = Practice::new(&request.definition, request.level, request.seed);
        let made = Arc::new(made.map_err(|error| told(unclear(error)))?);
        self.core().keep(request.definition.clone(), Arc::clone(&made));
        Ok((made, request))
    }
}

/// The texts of one of the course's tests; no other file is read.
fn definition(folder: &Folder, file: &str) -> Result<Definition, Refusal> {
    if !folder.tests().iter().any(|test| test.file == file) {
        return Err(Refusal::of("test", words::NO_SUCH_TEST));
    }
    let test = folder.text(file)?.text;
    let read =
        test_file::read(&folder.path(file)?, &test, &Changes::default(), &Default::default())?;
    let spelling = folder.settings().spelling.other().map(str::to_owned);
    Ok(Definition { test, conventions: read.conventions, spelling })
}
