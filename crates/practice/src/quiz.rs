//! Questions that the rules imply: what comes first, in which order, which valves are open.

use convention::questions::{self, Question, questions_of};
use convention::{beats, check, check_on};
use serde::Serialize;

use crate::page::AlignmentLine;
use crate::{Practice, words};

/// A question.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Asked {
    /// `order`, `first`, `between` or `bars`.
    pub kind: questions::Kind,
    /// The question.
    pub prompt: String,
    /// What to choose from or to put in order.
    pub choices: Vec<String>,
    /// Where to look on the figure.
    pub lines: Vec<AlignmentLine>,
}

/// What an answer is worth.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Answered {
    /// Whether it is right.
    pub right: bool,
    /// Why, or why not.
    pub why: String,
    /// The right choices, in order where an order is asked for.
    pub answer: Vec<usize>,
}

/// Kinds in the order in which they are asked, and how many of each.
const WANTED: [(questions::Kind, usize); 4] = [
    (questions::Kind::Order, 2),
    (questions::Kind::Bars, 3),
    (questions::Kind::First, 2),
    (questions::Kind::Between, 1),
];
/// How many are looked at, to find those with one answer.
const LOOKED_FOR: usize = 60;
/// Most choices of a question.
const CHOICES: usize = 6;

impl Practice {
    /// The questions of this variant.
    pub fn questions(&self) -> Vec<Asked> {
        let rubric = self.rubric();
        let beat = beats(&self.model, &self.subject).into_iter().next().unwrap_or_default();
        let asked = |question: &Question| {
            let line = |point: &convention::Point| {
                let x_mm = self.x_of(beat.time_s(point)?)?;
                Some(AlignmentLine { x_mm, name: rubric.title(point) })
            };
            Asked {
                kind: question.kind,
                prompt: question.prompt.clone(),
                choices: question.choices.iter().map(|choice| choice.text.clone()).collect(),
                lines: question.about.iter().filter_map(line).collect(),
            }
        };
        self.all_questions().iter().map(asked).collect()
    }

    /// Marks an answer to the question of that number; none where there is no such question.
    pub fn check(&self, question: usize, answer: &[usize]) -> Option<Answered> {
        let all = self.all_questions();
        let question = all.get(question)?;
        let marked = question.check(answer);
        let why = words::full_stop(&marked.why);
        Some(Answered { right: marked.right, why, answer: question.answer.clone() })
    }

    fn all_questions(&self) -> Vec<Question> {
        let (convention, subject) = (&self.test.convention, &self.subject);
        let on_ecg = check_on(convention, subject, &self.model);
        let found = if on_ecg.consistent() { on_ecg } else { check(convention, subject) };
        let model = Some(&self.model);
        let mut all = Vec::new();
        for (kind, count) in WANTED {
            let these =
                questions_of(&[kind], convention, subject, &found, model, self.seed, LOOKED_FOR);
            let fit = |question: &Question| {
                question.choices.len() <= CHOICES && question.is_decided(subject, &self.model)
            };
            all.extend(these.into_iter().filter(fit).take(count));
        }
        all
    }
}
