//! A test's file: reading it, what its sheets' codes call it, and the hearts of its forms.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::Path;

use convention::{Convention, schematic};
use heart::{Heart, HeartError};
use sheet::{DrawnFrom, Form, Paper, Setting, StripText, Test};

use crate::exercises::FormHeart;
use crate::failure::Failure;
use crate::schematics;

/// What the command line changes about a test.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Changes {
    pub(crate) forms: Option<usize>,
    pub(crate) paper: Option<Paper>,
    pub(crate) large_print: bool,
}

/// A test and the texts that make it.
#[derive(Clone, Debug)]
pub(crate) struct TestFile {
    pub(crate) test: Test,
    /// The conventions that it names, by name or file.
    pub(crate) conventions: BTreeMap<String, String>,
}

/// Reads the `text` of a test in `path`. Conventions in `known` are taken from there, others are
/// the program's own or files beside it.
pub(crate) fn read(
    path: &Path,
    text: &str,
    changes: &Changes,
    known: &BTreeMap<String, String>,
) -> Result<TestFile, Failure> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let subject = heart::subject();
    let used = RefCell::new(BTreeMap::new());
    let conventions = |named: &str| -> Result<Convention, String> {
        let source = match known.get(named) {
            Some(text) => text.clone(),
            None => {
                schematics::source_beside(named, folder).map_err(|failure| failure.to_string())?
            }
        };
        let read = Convention::from_toml(&source, &subject)
            .map_err(|faults| Failure::Faults { path: folder.join(named), faults }.to_string())?;
        used.borrow_mut().insert(named.to_owned(), source);
        Ok(read)
    };
    let mut test = Test::from_toml(text, &subject, &conventions)
        .map_err(|faults| Failure::Faults { path: path.to_owned(), faults })?;
    if let Some(forms) = changes.forms {
        test.forms = forms;
    }
    if let Some(paper) = changes.paper {
        test.paper = paper;
    }
    if changes.large_print {
        test.enlarge();
    }
    test.about = about(&test);
    Ok(TestFile { test, conventions: used.into_inner() })
}

/// What the sheets' codes call a test: the file and what was changed on the command line make it.
pub(crate) fn identity(text: &str, forms: usize, paper: Paper, large_print: bool) -> String {
    let large = if large_print { " large" } else { "" };
    sheet::test_id(format!("{text}\n{forms} {paper:?}{large}").as_bytes())
}

/// What the hearts are, where they are no healthy adults at rest: their condition's title, or
/// their rhythm.
fn about(test: &Test) -> String {
    let named = |key: &str| match test.settings.get(key) {
        Some(Setting::Name(name)) => Some(name.as_str()),
        _ => None,
    };
    let condition = named("condition").and_then(|name| heart::condition(name).ok());
    let rhythm = named("rhythm").filter(|name| *name != "sinus").map(|name| {
        let taught =
            heart::conditions().into_iter().find(|condition| condition.heart.rhythm.name() == name);
        taught.map_or_else(|| name.replace('_', " "), |condition| condition.title)
    });
    let condition = condition.filter(|condition| condition.name != "rest");
    [condition.map(|condition| condition.title), rhythm]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(", ")
}

/// A form's heart, and its completed cycle: the heart's own, or the convention's schematic on
/// it.
pub(crate) fn form_heart(
    test: &Test,
    form: &Form,
    path: &Path,
    text: &str,
) -> Result<FormHeart, Failure> {
    let heart = heart_of(form).map_err(|error| at_key(path, text, 1, error))?;
    let computed = heart::simulate(&heart, heart::natural_beats(&heart))?;
    let drawn = match test.drawn_from {
        DrawnFrom::Heart => heart::simulate(&heart, test.beats)?,
        DrawnFrom::Rules => {
            let base = heart::simulate(&heart, 1)?;
            schematic(&test.convention, &heart::subject(), &base, test.beats).map_err(|error| {
                let what = format!(
                    "form {} cannot be drawn by the rules: {error}; drawn_from = \"heart\" draws the heart as it is",
                    form.letter
                );
                Failure::file(path, what)
            })?
        }
    };
    Ok(FormHeart { heart, computed, drawn })
}

/// Refuses a test with a heart that cannot be.
pub(crate) fn check_hearts(test: &Test, path: &Path, text: &str) -> Result<(), Failure> {
    for form in sheet::forms(test) {
        heart_of(&form).map_err(|error| at_key(path, text, 1, error))?;
    }
    for strip in &test.strips {
        strip_heart(strip).map_err(|error| at_key(path, text, strip.line, error))?;
    }
    Ok(())
}

/// The heart of a strip.
pub(crate) fn strip_heart(strip: &StripText) -> Result<Heart, HeartError> {
    let numbers = strip.settings.iter().filter_map(|(name, setting)| match setting {
        Setting::Number(value) => Some((name.as_str(), *value)),
        _ => None,
    });
    let names = strip.settings.iter().filter_map(|(name, setting)| match setting {
        Setting::Name(value) => Some((name.as_str(), value.as_str())),
        _ => None,
    });
    Heart::of_settings(numbers, &names.collect())
}

fn heart_of(form: &Form) -> Result<Heart, HeartError> {
    let numbers = form.numbers.iter().map(|(name, value)| (name.as_str(), *value));
    let names = form.names.iter().map(|(name, value)| (name.as_str(), value.as_str()));
    Heart::of_settings(numbers, &names.collect())
}

/// What is wrong with a heart, at its key's line in the test: the first from `from` on.
pub(crate) fn at_key(path: &Path, text: &str, from: usize, error: HeartError) -> Failure {
    let key = match &error {
        HeartError::UnknownParameter { name, .. } => name,
        HeartError::OutOfRange { parameter, .. } => parameter.name,
        HeartError::UnknownCondition { .. } => "condition",
        HeartError::UnknownRhythm { .. } => "rhythm",
        _ => return Failure::heart_in(path, error),
    };
    let is_key = |line: &str| {
        let rest = line.trim_start().strip_prefix(key);
        rest.is_some_and(|rest| rest.trim_start().starts_with('='))
    };
    let mut lines = text.lines().enumerate().skip(from - 1);
    match lines.find(|(_, line)| is_key(line)) {
        Some((index, line)) => Failure::InFile {
            path: path.to_owned(),
            line: index + 1,
            text: line.trim().to_owned(),
            what: error.to_string(),
        },
        None => Failure::heart_in(path, error),
    }
}
