//! The questions of a test's forms: from the rules, from the heart's numbers, and from what a
//! change does to it.

use cardiac::{Answer, Calculation, Change, Prediction};
use convention::questions::{Kind, Question, questions_of};
use convention::{check, check_on};
use cycle::{Cycle, Random, Subject};
use heart::Heart;
use sheet::{Exercise, Test};

use crate::failure::Failure;

/// A form's heart, its beat as computed, and what its key draws.
pub(crate) struct FormHeart {
    pub(crate) heart: Heart,
    pub(crate) computed: Cycle,
    pub(crate) drawn: Cycle,
}

/// How many questions of a kind are looked at, to find those with one answer.
const LOOKED_FOR: usize = 200;
/// How many choices a question of the first form has, where it can.
const CHOICES: usize = 5;
/// What is asked about one change, at least and at most.
const ASKED: [usize; 2] = [2, 4];
/// Lines to work a number out on, and to answer a prediction on.
const TO_CALCULATE: usize = 3;
const TO_PREDICT: usize = 2;

/// The questions of each form, in the same order and of the same kinds in all.
pub(crate) fn exercises(test: &Test, forms: &[FormHeart]) -> Result<Vec<Vec<Exercise>>, Failure> {
    let known = heart::subject();
    let subject = test.subject(&known);
    let mut all: Vec<Vec<Exercise>> = Vec::new();
    for (index, form) in forms.iter().enumerate() {
        let seed = test.seed.wrapping_add(index as u64);
        let like = all.first().map_or(&[][..], Vec::as_slice);
        let questions = from_rules(test, &subject, form, seed, like)?;
        all.push(questions);
    }
    for calculations in calculated(test, forms)? {
        for (form, calculation) in all.iter_mut().zip(&calculations) {
            form.push(calculation_exercise(calculation));
        }
    }
    for predictions in predicted(test, forms)? {
        for (form, exercise) in all.iter_mut().zip(predictions) {
            form.push(exercise);
        }
    }
    Ok(all)
}

/// What holds for all questions of a page.
pub(crate) fn note(test: &Test) -> String {
    let mut parts = Vec::new();
    if test.questions.calculate > 0 {
        parts.push("All numbers belong to one computed heart. Show your working and the unit.");
    }
    if test.questions.predict > 0 {
        parts.push("Where a change is to be predicted:");
        parts.push(cardiac::NOTHING_ELSE_CHANGES);
    }
    parts.join(" ")
}

fn too_few(kind: &str, asked: usize, found: usize) -> Failure {
    let remedy = match (found, kind) {
        (0, "open") => {
            "give the convention bars, such as bars = [\"mitral\", \"aortic\"], or leave it out"
                .to_owned()
        }
        (0, _) => "leave it out".to_owned(),
        _ => format!("ask for {found} or fewer"),
    };
    let what = format!(
        "{kind} = {asked} in [questions]: this convention and this heart give {found} with one answer each; {remedy}"
    );
    Failure::Other(what)
}

/// Questions that the rules imply, each as large as the one in its place in `like`, if that has
/// one and there is such a question.
fn from_rules(
    test: &Test,
    subject: &Subject,
    form: &FormHeart,
    seed: u64,
    like: &[Exercise],
) -> Result<Vec<Exercise>, Failure> {
    let convention = &test.convention;
    let on_ecg = check_on(convention, subject, &form.drawn);
    let found = if on_ecg.consistent() { on_ecg } else { check(convention, subject) };
    let asked = &test.questions;
    let wanted = [
        ("order", Kind::Order, asked.order),
        ("first", Kind::First, asked.first),
        ("between", Kind::Between, asked.between),
        ("open", Kind::Bars, asked.open),
    ];
    let mut exercises = Vec::new();
    for (name, kind, count) in wanted {
        let drawn = Some(&form.drawn);
        let mut these = questions_of(&[kind], convention, subject, &found, drawn, seed, LOOKED_FOR);
        these.retain(|question| question.is_decided(subject, &form.drawn));
        if these.len() < count {
            return Err(too_few(name, count, these.len()));
        }
        let mut answers: Vec<Vec<usize>> = Vec::new();
        for _ in 0..count {
            // As many choices as the same question of the first form has: as difficult. Among
            // those, one whose answer has not been asked for yet.
            let wanted = like.get(exercises.len()).map_or(CHOICES, |one| one.choices.len());
            let worse = |one: &Question| {
                (one.choices.len().abs_diff(wanted), answers.contains(&one.answer))
            };
            let place = (0..these.len()).min_by_key(|&place| worse(&these[place])).unwrap_or(0);
            let question = these.remove(place);
            exercises.push(Exercise::from(&question));
            answers.push(question.answer);
        }
    }
    Ok(exercises)
}

/// For each calculation, what it is in each form.
fn calculated(test: &Test, forms: &[FormHeart]) -> Result<Vec<Vec<Calculation>>, Failure> {
    let of = |form: &FormHeart| cardiac::calculations(&form.computed, test.mm_per_s);
    let each: Vec<Vec<Calculation>> = forms.iter().map(of).collect();
    let in_form = |form: &Vec<Calculation>, kind: &str| {
        form.iter().find(|calculation| calculation.kind == kind).cloned()
    };
    let Some(first) = each.first() else { return Ok(Vec::new()) };
    let everywhere: Vec<Calculation> = first
        .iter()
        .filter(|one| each.iter().all(|form| in_form(form, one.kind).is_some()))
        .cloned()
        .collect();
    let count = test.questions.calculate;
    let chosen = cardiac::choose(&everywhere, test.seed, count);
    if chosen.len() < count {
        return Err(too_few("calculate", count, chosen.len()));
    }
    let parallel = |one: &Calculation| each.iter().filter_map(|form| in_form(form, one.kind));
    Ok(chosen.iter().map(|one| parallel(one).collect()).collect())
}

fn calculation_exercise(calculation: &Calculation) -> Exercise {
    let mut worked = calculation.worked.clone();
    worked.extend(calculation.note.clone());
    Exercise {
        prompt: calculation.prompt.clone(),
        choices: Vec::new(),
        how: calculation.rounding.clone(),
        lines: TO_CALCULATE,
        answer: calculation.answer_text(),
        worked,
    }
}

/// For each change, the question about it in each form: the same quantities in all.
fn predicted(test: &Test, forms: &[FormHeart]) -> Result<Vec<Vec<Exercise>>, Failure> {
    let count = test.questions.predict;
    let mut predictions = cardiac::predictions();
    Random::new(test.seed).shuffle(&mut predictions);
    let mut chosen = Vec::new();
    for prediction in &predictions {
        if chosen.len() == count {
            break;
        }
        let answers: Option<Vec<Vec<Answer>>> =
            forms.iter().map(|form| answers(prediction, form)).collect();
        let Some(answers) = answers else { continue };
        let everywhere = |one: &&Answer| {
            answers.iter().all(|form| form.iter().any(|other| other.quantity == one.quantity))
        };
        let Some(first) = answers.first() else { continue };
        let asked: Vec<&str> = first
            .iter()
            .filter(everywhere)
            .map(|one| one.quantity.as_str())
            .take(ASKED[1])
            .collect();
        if asked.len() < ASKED[0] {
            continue;
        }
        let exercise = |form: &Vec<Answer>| {
            let of = |name: &&str| form.iter().find(|one| one.quantity == **name);
            prediction_exercise(prediction, &asked.iter().filter_map(of).collect::<Vec<_>>())
        };
        chosen.push(answers.iter().map(exercise).collect());
    }
    if chosen.len() < count {
        return Err(too_few("predict", count, chosen.len()));
    }
    Ok(chosen)
}

/// What a change does to a form's heart; `None` where it makes no sense for it, or where the
/// changed heart finds no steady state.
fn answers(prediction: &Prediction, form: &FormHeart) -> Option<Vec<Answer>> {
    let changed = prediction.heart(&form.heart).ok()?;
    let beats = heart::natural_beats(&changed);
    let after = heart::simulate(&changed, beats).ok()?;
    Some(prediction.answers(&form.computed, &after))
}

fn prediction_exercise(prediction: &Prediction, answers: &[&Answer]) -> Exercise {
    let letters = || ('a'..='z').map(String::from);
    let way = |change: Change| match change {
        Change::Rises => "rises",
        Change::Falls => "falls",
        Change::Stays => "stays about the same",
    };
    let each = || letters().zip(answers);
    let right = each().map(|(letter, one)| format!("{letter} {}", way(one.change)));
    let worked = each().map(|(letter, one)| {
        let Answer { before, after, unit, decimals, .. } = one;
        format!("{letter}. From {before:.decimals$} to {after:.decimals$} {unit}. {}", one.cause)
    });
    Exercise {
        prompt: format!("{} What happens to each of these?", prediction.text),
        choices: answers.iter().map(|one| one.quantity.clone()).collect(),
        how: "Write “rises”, “falls” or “stays about the same” for each letter.".to_owned(),
        lines: TO_PREDICT,
        answer: right.collect::<Vec<_>>().join(", "),
        worked: worked.collect(),
    }
}
