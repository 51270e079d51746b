//! The one way in from outside: a question and a request in JSON, an answer in JSON.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::hear::Hearing;
use crate::strokes::Drawing;
use crate::{Definition, Level, Practice, PracticeError};

/// A request: which task, and what is asked about it. `S` says where the texts are; a program that
/// keeps them itself has its own.
#[derive(Clone, Debug, Deserialize)]
pub struct Request<S> {
    /// The texts of the test.
    pub definition: S,
    /// The level of help.
    #[serde(default)]
    pub level: Level,
    /// Which variant.
    #[serde(default)]
    pub seed: u64,
    /// What is drawn.
    #[serde(default)]
    pub drawing: Drawing,
    /// Where the points are placed, in millimetres.
    #[serde(default)]
    pub points: Vec<[f64; 2]>,
    /// The number of a question.
    #[serde(default)]
    pub question: usize,
    /// The answer to it.
    #[serde(default)]
    pub answer: Vec<usize>,
    /// What a result code is signed with.
    #[serde(default)]
    pub key: String,
    /// What is to be heard.
    #[serde(default)]
    pub hear: Hearing,
}

impl<S> Request<S> {
    /// Reads a request.
    ///
    /// # Errors
    /// [`PracticeError::Request`] where it cannot be understood.
    pub fn read<'a>(json: &'a str) -> Result<Self, PracticeError>
    where
        S: Deserialize<'a>,
    {
        serde_json::from_str(json).map_err(|error| PracticeError::Request(error.to_string()))
    }

    /// The same request about other texts.
    pub fn about<T>(self, definition: T) -> Request<T> {
        let Self { level, seed, drawing, points, question, answer, key, hear, .. } = self;
        Request { definition, level, seed, drawing, points, question, answer, key, hear }
    }
}

/// What was asked about lately, so that a heart is computed once for a whole task.
#[derive(Debug, Default)]
pub struct Core {
    recent: Vec<(Definition, Arc<Practice>)>,
}

/// How many tasks are kept.
const KEPT: usize = 24;

impl Core {
    /// The task that a request is about, if it was asked about lately.
    pub fn known(&mut self, request: &Request<Definition>) -> Option<Arc<Practice>> {
        let same = |(definition, practice): &(Definition, Arc<Practice>)| {
            practice.level == request.level
                && practice.seed == request.seed
                && *definition == request.definition
        };
        let place = self.recent.iter().position(same)?;
        let entry = self.recent.remove(place);
        self.recent.push(entry);
        self.recent.last().map(|(_, practice)| Arc::clone(practice))
    }

    /// Keeps a task.
    pub fn keep(&mut self, definition: Definition, practice: Arc<Practice>) {
        if self.recent.len() >= KEPT {
            self.recent.remove(0);
        }
        self.recent.push((definition, practice));
    }

    /// Answers what [`answer`] answers, by a request in JSON; and `code`, what a drawing came to.
    ///
    /// # Errors
    /// [`PracticeError`] where the request or the test cannot be understood.
    pub fn ask(&mut self, what: &str, json: &str) -> Result<String, PracticeError> {
        let request: Request<Definition> = Request::read(json)?;
        let practice = match self.known(&request) {
            Some(practice) => practice,
            None => {
                let made = Practice::new(&request.definition, request.level, request.seed)?;
                let made = Arc::new(made);
                self.keep(request.definition.clone(), Arc::clone(&made));
                made
            }
        };
        match what {
            "code" => text(&practice.code(&request)?),
            _ => answer(&practice, what, &request),
        }
    }
}

/// Answers one question about a task: `task`, `judge`, `through` (the drawing that goes through
/// points), `steps`, `questions`, `check`, `key` (the drawing that keeps to every rule),
/// `key_points` (where that has the points) and `sound` (the bytes of a WAV file).
///
/// # Errors
/// [`PracticeError`] where there is no such question, or no answer.
pub fn answer<S>(
    practice: &Practice,
    what: &str,
    request: &Request<S>,
) -> Result<String, PracticeError> {
    match what {
        "task" => text(&practice.task()),
        "judge" => text(&practice.judge(&request.drawing)?),
        "through" => text(&practice.through(&request.points)),
        "steps" => text(&practice.steps()?),
        "questions" => text(&practice.questions()),
        "key" => text(&practice.key()),
        "key_points" => text(&practice.key_points()),
        "sound" => text(&practice.sound(&request.hear, &request.drawing)?),
        "check" => match practice.check(request.question, &request.answer) {
            Some(answered) => text(&answered),
            None => Err(PracticeError::Request("there is no such question".to_owned())),
        },
        other => Err(PracticeError::Request(format!("nothing is called “{other}”"))),
    }
}

fn text<T: Serialize>(answer: &T) -> Result<String, PracticeError> {
    serde_json::to_string(answer).map_err(|error| PracticeError::Request(error.to_string()))
}

impl Practice {
    /// The drawing that keeps to every rule.
    pub fn key(&self) -> Drawing {
        let mut key = Drawing::default();
        for on in self.panels.iter().filter(|on| !on.place.given) {
            key.strokes.insert(on.place.channel.clone(), self.key_lines(&on.place));
        }
        for on in self.bars.iter().filter(|on| !on.place.given) {
            key.bars.insert(on.place.bar.clone(), self.key_stretches(&on.place));
        }
        key
    }
}
