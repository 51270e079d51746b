//! Question pages and their keys.

use convention::questions::{Kind, Question};
use figure::Page;

use crate::definition::{Orientation, Test};
use crate::flow::{Flow, Piece};
use crate::print::short;

/// A question as it is printed, with its answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Exercise {
    /// The question.
    pub prompt: String,
    /// What there is to choose from, to put in order or to fill in; perhaps nothing.
    pub choices: Vec<String>,
    /// How the answer is to be written, such as "Round to a whole number."
    pub how: String,
    /// Lines to write on.
    pub lines: usize,
    /// The answer.
    pub answer: String,
    /// How to get there, or why it is so.
    pub worked: Vec<String>,
}

impl From<&Question> for Exercise {
    fn from(question: &Question) -> Self {
        let letters = |indices: &[usize]| {
            let letters = indices.iter().map(|&index| letter(index));
            letters.collect::<Vec<_>>().join(", ")
        };
        let count = question.choices.len();
        let every_pair = count * count.saturating_sub(1) / 2;
        let answer = match question.kind {
            Kind::Order if question.pairs.len() < every_pair => {
                let one = letters(&question.answer);
                format!("for example {one}; other orders are right if they keep to the reasons")
            }
            _ if question.answer.is_empty() => "none of them".to_owned(),
            _ => letters(&question.answer),
        };
        let how = match question.kind {
            Kind::Order => "Write the letters from first to last.",
            Kind::First => "Write one letter.",
            Kind::Between => "Write the letters.",
            Kind::Bars => "Write the letters, or “none”.",
        };
        Self {
            prompt: question.prompt.clone(),
            choices: question.choices.iter().map(|choice| choice.text.clone()).collect(),
            how: how.to_owned(),
            lines: 1,
            answer,
            worked: vec![reason(question)],
        }
    }
}

/// Letters of an explanation beyond which only its rules are named.
const LONG: usize = 500;

/// Why the answer is right; where that takes a page, the right order and the rules it rests on.
fn reason(question: &Question) -> String {
    let whole = &question.explanation;
    let rules = question.rules.join(", ");
    match (question.kind, whole.split_once(". ")) {
        (Kind::Order, Some((order, _))) if whole.len() > LONG && !rules.is_empty() => {
            format!("{order}. It follows from these rules: {rules}.")
        }
        _ => whole.clone(),
    }
}

/// The letter of a choice.
fn letter(index: usize) -> String {
    char::from(b'a' + (index % 26) as u8).to_string()
}

/// What is said once, before the questions.
pub(crate) struct Intro<'a> {
    pub(crate) title: &'a str,
    /// What holds for all questions; may be empty.
    pub(crate) note: &'a str,
    pub(crate) points: f64,
}

/// The questions, to be answered on the page.
pub(crate) fn pages(test: &Test, intro: &Intro<'_>, exercises: &[Exercise]) -> Vec<Page> {
    let mut flow = begin(test, intro, exercises.len(), true);
    for (index, exercise) in exercises.iter().enumerate() {
        let mut pieces = asked(&flow, index, intro.points, exercise);
        pieces.push(flow.blank_lines(exercise.lines));
        flow.put(pieces);
    }
    flow.finish()
}

/// The same questions with their answers.
pub(crate) fn key(test: &Test, intro: &Intro<'_>, exercises: &[Exercise]) -> Vec<Page> {
    let mut flow = begin(test, intro, exercises.len(), false);
    for (index, exercise) in exercises.iter().enumerate() {
        let mut pieces = asked(&flow, index, intro.points, exercise);
        pieces.push(flow.strong(&format!("Answer: {}", exercise.answer)));
        pieces.extend(exercise.worked.iter().map(|line| flow.paragraph(line)));
        flow.put(pieces);
    }
    flow.finish()
}

fn begin(test: &Test, intro: &Intro<'_>, count: usize, named: bool) -> Flow {
    let size_mm = test.paper.size_mm(Orientation::Portrait);
    let mut flow = Flow::new(size_mm, test.sizes(), intro.title);
    let total = short(intro.points * count as f64);
    let each = short(intro.points);
    if named {
        flow.put(vec![flow.name_line()]);
    }
    let worth = format!("{count} questions, {each} points each, {total} points in all.");
    let note = format!("{worth} {}", intro.note);
    flow.put(vec![flow.paragraph(note.trim_end())]);
    flow
}

fn asked(flow: &Flow, index: usize, points: f64, exercise: &Exercise) -> Vec<Piece> {
    let unit = if points == 1.0 { "point" } else { "points" };
    let heading = format!("Question {} ({} {unit})", index + 1, short(points));
    let prompt = format!("{} {}", exercise.prompt, exercise.how);
    let mut pieces = vec![flow.heading(2, &heading), flow.paragraph(prompt.trim_end())];
    if !exercise.choices.is_empty() {
        let choices = exercise.choices.iter().enumerate();
        let choices = choices.map(|(index, text)| (format!("{}.", letter(index)), text.clone()));
        pieces.push(flow.list(&choices.collect::<Vec<_>>()));
    }
    pieces
}
