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

impl Exercise {
    /// The same, as `test` writes it.
    fn spelled(&self, test: &Test) -> Self {
        let all = |texts: &[String]| texts.iter().map(|text| test.spelled(text)).collect();
        Self {
            prompt: test.spelled(&self.prompt),
            choices: all(&self.choices),
            how: test.spelled(&self.how),
            lines: self.lines,
            answer: test.spelled(&self.answer),
            worked: all(&self.worked),
        }
    }
}

impl From<&Question> for Exercise {
    fn from(question: &Question) -> Self {
        let letters = |indices: &[usize]| {
            let letters = indices.iter().map(|&index| letter(index));
            letters.collect::<Vec<_>>().join(", ")
        };
        let answer = match question.answer.as_slice() {
            [] => "none of them".to_owned(),
            right => letters(right),
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
            worked: reasons(question),
        }
    }
}

/// Letters of an explanation beyond which it is cut to its first sentence.
const LONG: usize = 300;

/// Why the answer is right, choice by choice or in one piece. Where that would take a page, its
/// first sentence says what is so, and the rules are named that it follows from.
fn reasons(question: &Question) -> Vec<String> {
    let choices = question.choices.iter().enumerate();
    let each: Vec<String> = choices
        .filter_map(|(index, choice)| {
            let so = if question.answer.contains(&index) { "yes" } else { "no" };
            Some(format!("{}: {so}. {}", letter(index), short_of(choice.why.as_ref()?)))
        })
        .collect();
    if each.len() == question.choices.len() {
        return each;
    }
    let rules = question.rules.join(", ");
    let short = short_of(&question.explanation);
    if short.len() == question.explanation.len() || rules.is_empty() {
        return vec![short];
    }
    vec![format!("{short} It follows from these rules: {rules}.")]
}

/// A text, or its first sentence where it is long.
fn short_of(text: &str) -> String {
    match text.split_once(". ") {
        Some((first, _)) if text.len() > LONG => format!("{first}."),
        _ => text.to_owned(),
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
pub(crate) fn pages(
    test: &Test,
    intro: &Intro<'_>,
    name: Option<&str>,
    exercises: &[Exercise],
) -> Vec<Page> {
    let mut flow = begin(test, intro, exercises.len(), Some(name));
    for (index, exercise) in exercises.iter().enumerate() {
        let exercise = exercise.spelled(test);
        let mut pieces = asked(&flow, index, intro.points, &exercise);
        pieces.push(flow.blank_lines(exercise.lines));
        flow.put(pieces);
    }
    flow.finish()
}

/// The same questions with their answers.
pub(crate) fn key(test: &Test, intro: &Intro<'_>, exercises: &[Exercise]) -> Vec<Page> {
    let mut flow = begin(test, intro, exercises.len(), None);
    for (index, exercise) in exercises.iter().enumerate() {
        let exercise = exercise.spelled(test);
        let mut pieces = asked(&flow, index, intro.points, &exercise);
        pieces.push(flow.strong(&format!("Answer: {}", exercise.answer)));
        pieces.extend(exercise.worked.iter().map(|line| flow.paragraph(line)));
        flow.put(pieces);
    }
    flow.finish()
}

/// The head of question pages, with a line for the name, printed or not, or without.
fn begin(test: &Test, intro: &Intro<'_>, count: usize, name: Option<Option<&str>>) -> Flow {
    let size_mm = test.paper.size_mm(Orientation::Portrait);
    let mut flow = Flow::new(size_mm, test.sizes(), intro.title);
    let total = short(intro.points * count as f64);
    let each = short(intro.points);
    if let Some(name) = name {
        flow.put(vec![flow.name_line(name)]);
    }
    let unit = if intro.points == 1.0 { "point" } else { "points" };
    let worth = format!("{count} questions, {each} {unit} each, {total} points in all.");
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
