//! Conditions: hearts that a course teaches, each a small data file with its source.

use serde::Deserialize;
use toml::Spanned;

use crate::{Heart, HeartError, Rhythm};
use cycle::nearest;

/// A named heart, with what to look for and where its numbers come from.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// Identifier in files and on the command line.
    pub name: String,
    /// Name shown to people.
    pub title: String,
    /// What to look for in the figure, in a sentence or two.
    pub about: String,
    /// Where its numbers come from.
    pub source: String,
    /// The heart.
    pub heart: Heart,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ConditionFile {
    title: String,
    about: String,
    source: String,
    heart: toml::Table,
}

macro_rules! condition_files {
    ($($name:literal),+ $(,)?) => {
        /// Identifier and text of each condition's file, in the order in which they are shown.
        const FILES: &[(&str, &str)] = &[$(($name, include_str!(concat!("../data/conditions/", $name, ".toml"))),)+];
    };
}

condition_files!(
    "rest",
    "light_exercise",
    "heavy_exercise",
    "bradycardia",
    "tachycardia",
    "haemorrhage",
    "hypertension",
    "systolic_heart_failure",
    "stiff_ventricle",
    "aortic_stenosis",
    "aortic_regurgitation",
    "mitral_stenosis",
    "mitral_regurgitation",
    "first_degree_av_block",
    "second_degree_av_block_type_1",
    "second_degree_av_block_type_2",
    "third_degree_av_block",
    "atrial_fibrillation",
    "premature_atrial_beats",
    "premature_ventricular_beats",
    "respiratory_sinus_arrhythmia",
);

/// All conditions that the program ships, in the order in which they are shown.
///
/// # Panics
/// Never: the files are part of the program and a test reads each.
pub fn conditions() -> Vec<Condition> {
    FILES
        .iter()
        .map(|(name, text)| read(name, text).expect("a shipped condition is well formed"))
        .collect()
}

/// The condition called `name`.
///
/// # Errors
/// [`HeartError::UnknownCondition`] with the nearest name.
pub fn condition(name: &str) -> Result<Condition, HeartError> {
    let unknown = || HeartError::UnknownCondition {
        name: name.to_owned(),
        nearest: nearest(name, FILES.iter().map(|(known, _)| *known)),
    };
    let (name, text) = FILES.iter().find(|(known, _)| *known == name).ok_or_else(unknown)?;
    read(name, text)
}

fn read(name: &str, text: &str) -> Result<Condition, HeartError> {
    let file: ConditionFile = toml::from_str(text).map_err(|error| toml_error(text, &error))?;
    let mut heart = Heart::default();
    for (key, value) in &file.heart {
        apply(&mut heart, key, value)?;
    }
    Ok(Condition {
        name: name.to_owned(),
        title: file.title,
        about: file.about,
        source: file.source,
        heart,
    })
}

impl Heart {
    /// Reads a heart's description: optional `condition` to start from, optional `rhythm`,
    /// and any parameters by name.
    ///
    /// ```
    /// let heart = heart::Heart::from_toml("condition = \"aortic_stenosis\"\nrate_bpm = 60\n")?;
    /// assert_eq!(heart.parameters.rate_bpm, 60.0);
    /// # Ok::<(), heart::HeartError>(())
    /// ```
    ///
    /// # Errors
    /// [`HeartError::Toml`] with line and text for whatever is wrong in it.
    pub fn from_toml(text: &str) -> Result<Self, HeartError> {
        type Entries = std::collections::BTreeMap<Spanned<String>, Spanned<toml::Value>>;
        let entries: Entries = toml::from_str(text).map_err(|error| toml_error(text, &error))?;
        let mut heart = Self::default();
        // A condition is where the heart starts from, wherever in the file it stands.
        let (start, rest): (Vec<_>, Vec<_>) =
            entries.iter().partition(|(key, _)| key.get_ref() == "condition");
        for (key, value) in start.into_iter().chain(rest) {
            let at = value.span().start;
            apply(&mut heart, key.get_ref(), value.get_ref())
                .map_err(|error| at_line(text, at, error.to_string()))?;
        }
        Ok(heart)
    }
}

/// Applies one entry of a heart's table.
fn apply(heart: &mut Heart, key: &str, value: &toml::Value) -> Result<(), HeartError> {
    match (key, value) {
        ("condition", toml::Value::String(name)) => *heart = condition(name)?.heart,
        ("rhythm", toml::Value::String(name)) => heart.rhythm = Rhythm::from_name(name)?,
        ("condition" | "rhythm", _) => {
            let what = format!("{key} must be a name in quotes, like {key} = \"{}\"", example(key));
            return Err(HeartError::Toml { line: 1, text: key.to_owned(), what });
        }
        (name, toml::Value::Float(number)) => heart.parameters.set(name, *number)?,
        (name, toml::Value::Integer(number)) => heart.parameters.set(name, *number as f64)?,
        (name, _) => {
            // An unknown name is the likelier fault, so it is looked for first.
            heart.parameters.clone().set(name, f64::NAN).or_else(|error| match error {
                HeartError::OutOfRange { .. } => Ok(()),
                other => Err(other),
            })?;
            let what = format!("{name} must be a number, like {name} = 1.0");
            return Err(HeartError::Toml { line: 1, text: name.to_owned(), what });
        }
    }
    Ok(())
}

fn example(key: &str) -> &'static str {
    if key == "rhythm" { "sinus" } else { "rest" }
}

fn toml_error(text: &str, error: &toml::de::Error) -> HeartError {
    at_line(text, error.span().map_or(0, |span| span.start), error.message().to_owned())
}

fn at_line(text: &str, byte: usize, what: String) -> HeartError {
    let before = text.get(..byte).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let shown = text.lines().nth(line - 1).unwrap_or_default().trim().to_owned();
    // An inner message may carry its own line and text; the outer ones are the true ones.
    let what = what
        .split_once(": ")
        .filter(|(head, _)| head.starts_with("line "))
        .map_or(what.as_str(), |(_, rest)| rest);
    let what = what.lines().next().unwrap_or_default().to_owned();
    HeartError::Toml { line, text: shown, what }
}
