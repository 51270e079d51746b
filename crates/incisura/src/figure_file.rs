//! A figure's description: the figure crate's own keys, and where the cycle comes from.

use std::path::{Path, PathBuf};

use figure::{FigureError, FigureSpec};
use heart::{Heart, HeartError};
use serde::Deserialize;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::failure::Failure;
use crate::{files, standard};

/// What a FIGURE.toml says.
#[derive(Debug)]
pub(crate) struct FigureFile {
    pub(crate) source: Source,
    pub(crate) spec: FigureSpec,
    /// Whether the panels are the standard ones, because the file names none.
    pub(crate) standard: bool,
    path: PathBuf,
    text: String,
}

/// Where the cycle to draw comes from.
#[derive(Debug)]
pub(crate) enum Source {
    /// A heart to compute, for so many beats or as many as its rhythm needs.
    Heart { heart: Box<Heart>, beats: Option<u16> },
    /// A cycle in a file.
    File(PathBuf),
}

/// The keys that are not the figure crate's.
#[derive(Deserialize)]
struct SourceKeys {
    beats: Option<u16>,
    cycle: Option<PathBuf>,
}

const SOURCE_KEYS: [&str; 3] = ["beats", "cycle", "heart"];

impl FigureFile {
    pub(crate) fn read(path: &Path) -> Result<Self, Failure> {
        let text = files::read(path)?;
        let wrong = |error: &toml::de::Error| in_file(path, &text, error);
        let mut keys = DeTable::parse(&text).map_err(|error| wrong(&error))?;
        let missing = ["panels", "lines", "bars"].map(|key| !keys.get_ref().contains_key(key));
        let source = source(path, &text, keys.get_mut())?;
        let mut spec = FigureSpec::deserialize(toml::Deserializer::from(keys))
            .map_err(|error| wrong(&error))?;
        let standard = missing[0];
        if standard {
            standard::fill(&mut spec, missing[1], missing[2]);
        }
        Ok(Self { source, spec, standard, path: path.to_owned(), text })
    }

    /// The failure for what the figure crate found, at the line that names it.
    pub(crate) fn at_fault(&self, error: FigureError) -> Failure {
        let (FigureError::Unknown { name, .. } | FigureError::ChannelMissing { name, .. }) = &error
        else {
            return Failure::file(&self.path, error.to_string());
        };
        let quoted = [format!("\"{name}\""), format!("'{name}'")];
        let named = |line: &str| quoted.iter().any(|quoted| line.contains(quoted));
        match self.text.lines().position(named) {
            Some(index) => in_line(&self.path, &self.text, index + 1, error.to_string()),
            None => Failure::file(&self.path, error.to_string()),
        }
    }
}

/// Takes out of `keys` what says where the cycle comes from.
fn source(path: &Path, text: &str, keys: &mut DeTable<'_>) -> Result<Source, Failure> {
    let mut own = DeTable::new();
    for key in SOURCE_KEYS {
        if let Some((key, value)) = keys.remove_entry(key) {
            own.insert(key, value);
        }
    }
    let heart = own.remove("heart");
    let own = SourceKeys::deserialize(toml::Deserializer::from(Spanned::new(0..0, own)))
        .map_err(|error| in_file(path, text, &error))?;
    match (own.cycle, &heart) {
        (Some(_), Some(_)) => {
            let what = "both a cycle and a heart are given; keep one of them";
            Err(Failure::file(path, what))
        }
        (Some(cycle), None) if own.beats.is_some() => {
            let what = "beats has no effect on a cycle from a file; leave it out, or give start_s and end_s";
            Err(in_line(
                path,
                text,
                line_of(text, "beats"),
                format!("{what} ({})", cycle.display()),
            ))
        }
        (Some(cycle), None) => Ok(Source::File(path.with_file_name("").join(cycle))),
        (None, heart) => {
            let heart = heart
                .as_ref()
                .map_or_else(|| Ok(Heart::default()), |table| read_heart(path, text, table));
            Ok(Source::Heart { heart: Box::new(heart?), beats: own.beats })
        }
    }
}

/// Reads the `[heart]` table by the heart's own rules, with the lines of the whole file.
fn read_heart(path: &Path, text: &str, table: &Spanned<DeValue<'_>>) -> Result<Heart, Failure> {
    let DeValue::Table(entries) = table.get_ref() else {
        let what = "heart must be a table, like [heart] on a line of its own";
        return Err(in_line(path, text, line_at(text, table.span().start), what.into()));
    };
    // The entries one below the other are a heart's description; the lines they came from
    // are kept beside them, so that a fault is told where it stands.
    let (mut description, mut lines) = (String::new(), Vec::new());
    for (key, value) in entries {
        let entry = format!("{} = {}\n", &text[key.span()], &text[value.span()]);
        let first = line_at(text, key.span().start);
        lines.extend((first..).take(entry.lines().count()));
        description += &entry;
    }
    Heart::from_toml(&description).map_err(|error| match error {
        HeartError::Toml { line, what, .. } => {
            let line = lines.get(line - 1).copied().unwrap_or(1);
            in_line(path, text, line, what)
        }
        other => Failure::heart_in(path, other),
    })
}

fn in_file(path: &Path, text: &str, error: &toml::de::Error) -> Failure {
    let line = line_at(text, error.span().map_or(0, |span| span.start));
    let message = error.message();
    // Only the file's own level has the keys that say where the cycle comes from.
    let more = if message.contains("`panels`") { &SOURCE_KEYS[..] } else { &[] };
    let what = cycle::unknown_key(message, more).unwrap_or_else(|| message.to_owned());
    in_line(path, text, line, what)
}

fn in_line(path: &Path, text: &str, line: usize, what: String) -> Failure {
    let shown = text.lines().nth(line - 1).unwrap_or_default().trim().to_owned();
    Failure::InFile { path: path.to_owned(), line, text: shown, what }
}

fn line_at(text: &str, byte: usize) -> usize {
    text.get(..byte).unwrap_or(text).matches('\n').count() + 1
}

fn line_of(text: &str, key: &str) -> usize {
    text.lines().position(|line| line.trim_start().starts_with(key)).map_or(1, |index| index + 1)
}
