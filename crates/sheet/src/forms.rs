//! Parallel forms: the same task with other numbers.

use std::collections::BTreeMap;

use cycle::Random;

use crate::definition::{Setting, Test};

/// One form of a test.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    /// A, B, C and so on.
    pub letter: char,
    /// The model's settings that are numbers.
    pub numbers: BTreeMap<String, f64>,
    /// The model's settings that are names.
    pub names: BTreeMap<String, String>,
    /// What is printed on each page; the rest is asked for.
    pub given: Vec<Vec<String>>,
}

/// The forms of `test`, drawn from its seed.
///
/// Where a page has several sets of what is given, each is used as often as any other.
///
/// A setting that varies takes evenly spaced values, each once, shuffled independently of the
/// other settings: no form lies at all the extremes by plan, and the forms ask for the same
/// traces by the same rules. Values are rounded to whole units where the range is at least
/// as many units wide as there are forms.
pub fn forms(test: &Test) -> Vec<Form> {
    let count = test.forms;
    let mut random = Random::new(test.seed);
    let mut forms: Vec<Form> = (b'A'..)
        .take(count)
        .map(|letter| Form {
            letter: char::from(letter),
            numbers: BTreeMap::new(),
            names: BTreeMap::new(),
            given: Vec::new(),
        })
        .collect();
    for (name, setting) in &test.settings {
        let values: Vec<f64> = match setting {
            Setting::Name(value) => {
                for form in &mut forms {
                    form.names.insert(name.clone(), value.clone());
                }
                continue;
            }
            Setting::Number(value) => vec![*value; count],
            Setting::Between(low, high) => {
                let whole = high - low >= count as f64;
                let mut values: Vec<f64> = (0..count)
                    .map(|index| {
                        let share = (index as f64 + 0.5) / count as f64;
                        let value = low + share * (high - low);
                        if whole { value.round() } else { value }
                    })
                    .collect();
                random.shuffle(&mut values);
                values
            }
        };
        for (form, value) in forms.iter_mut().zip(values) {
            form.numbers.insert(name.clone(), value);
        }
    }
    for page in &test.pages {
        // Each set as often as any other, give or take one.
        let mut sets: Vec<&Vec<String>> = page.given.iter().cycle().take(count).collect();
        random.shuffle(&mut sets);
        for (form, set) in forms.iter_mut().zip(sets) {
            form.given.push(set.clone());
        }
    }
    forms
}
