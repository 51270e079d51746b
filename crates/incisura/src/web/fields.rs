//! Fields of a form that stands for parts of a text, each with the place (`data-at`) it stands for.

use convention::Fault;
use maud::{Markup, html};
use toml::Value;

/// What a field is.
enum Entry {
    Text,
    Lines,
    Number,
    Select(Vec<(String, String)>),
}

/// A field, its name for people, and what is in it.
pub(crate) struct Field<'a> {
    at: &'a str,
    name: &'a str,
    value: &'a str,
    entry: Entry,
    wide: bool,
    redraws: bool,
    verbatim: bool,
    placeholder: &'a str,
}

impl<'a> Field<'a> {
    fn new(at: &'a str, name: &'a str, value: &'a str, entry: Entry) -> Self {
        let (wide, redraws, verbatim) = (false, false, false);
        Self { at, name, value, entry, wide, redraws, verbatim, placeholder: "" }
    }

    /// A line of text.
    pub(crate) fn text(at: &'a str, name: &'a str, value: &'a str) -> Self {
        Self::new(at, name, value, Entry::Text)
    }

    /// A sentence or two.
    pub(crate) fn lines(at: &'a str, name: &'a str, value: &'a str) -> Self {
        Self::new(at, name, value, Entry::Lines).wide()
    }

    /// A number.
    pub(crate) fn number(at: &'a str, name: &'a str, value: &'a str) -> Self {
        Self::new(at, name, value, Entry::Number)
    }

    /// One of several values, each with its name.
    pub(crate) fn select(
        at: &'a str,
        name: &'a str,
        value: &'a str,
        all: impl IntoIterator<Item = (String, String)>,
    ) -> Self {
        Self::new(at, name, value, Entry::Select(all.into_iter().collect()))
    }

    /// Takes a whole row.
    pub(crate) fn wide(self) -> Self {
        Self { wide: true, ..self }
    }

    /// Another value means other fields.
    pub(crate) fn redraws(self) -> Self {
        Self { redraws: true, ..self }
    }

    /// Its choices are not respelled.
    pub(crate) fn verbatim(self) -> Self {
        Self { verbatim: true, ..self }
    }

    /// What holds where it is empty.
    pub(crate) fn placeholder(self, placeholder: &'a str) -> Self {
        Self { placeholder, ..self }
    }
}

pub(crate) fn field(field: &Field<'_>) -> Markup {
    let Field { at, name, value, wide, redraws, verbatim, placeholder, .. } = field;
    let translate = verbatim.then_some("no");
    let hint = (!placeholder.is_empty()).then_some(placeholder);
    html! {
        label.choice.wide[*wide].number[matches!(field.entry, Entry::Number)] {
            span { (name) }
            @match &field.entry {
                Entry::Text => input type="text" data-at=(at) value=(value) placeholder=[hint] maxlength="400";,
                Entry::Number => input type="text" inputmode="decimal" data-at=(at) value=(value) placeholder=[hint] maxlength="20";,
                Entry::Lines => textarea data-at=(at) rows="2" maxlength="2000" placeholder=[hint] { (value) },
                Entry::Select(all) => select data-at=(at) data-redraw[*redraws] translate=[translate] {
                    @if !all.iter().any(|(one, _)| one == value) { option value=(value) selected { (value) } }
                    @for (one, title) in all { option value=(one) selected[one == value] { (title) } }
                },
            }
        }
    }
}

/// Faults in words, each with the key of the line that it is about.
pub(crate) fn faulty<'f>(faults: impl Iterator<Item = &'f Fault>) -> Markup {
    html! {
        div.faulty {
            @for fault in faults { p.fault data-key=[key(&fault.text)] { (fault.what) } }
        }
    }
}

fn key(line: &str) -> Option<&str> {
    let key = line.split_once('=')?.0.trim();
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '_';
    (!key.is_empty() && key.chars().all(plain)).then_some(key)
}

/// What stands in a field for a value of a text.
pub(crate) fn text_of(value: Option<&Value>) -> String {
    match value {
        Some(Value::String(text)) => text.clone(),
        Some(Value::Integer(number)) => number.to_string(),
        Some(Value::Float(number)) => number.to_string(),
        Some(Value::Boolean(flag)) => flag.to_string(),
        _ => String::new(),
    }
}
