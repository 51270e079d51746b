//! A test's text with one of its parts changed.

use heart::PARAMETERS;
use toml::Value;

use crate::web::editing::Change;
use crate::web::toml_text::{self, At};

/// Keys of a file in the order in which they are written.
const FILE_KEYS: &[&str] = &[
    "title",
    "course",
    "instructions",
    "convention",
    "panels",
    "bars",
    "given",
    "scaffold",
    "drawn_from",
    "beats",
    "mm_per_s",
    "paper",
    "orientation",
    "forms",
    "seed",
    "handouts",
    "word_list",
    "spelling",
];
/// Keys of a page, which stand at the top where there is but one.
pub(super) const PAGE_KEYS: &[&str] = &["panels", "bars", "given", "scaffold"];
pub(super) const QUESTION_KEYS: &[&str] =
    &["order", "first", "between", "open", "calculate", "predict", "points"];
pub(super) const PAGES: &str = "pages";
pub(super) const STRIPS: &str = "strips";
pub(super) const HEART: &str = "heart";
pub(super) const QUESTIONS: &str = "questions";

/// What may be on a sheet: channels or bars, in their order.
pub(super) struct Parts {
    pub(super) channels: Vec<String>,
    pub(super) bars: Vec<String>,
}

/// `text` with `change` made; `parts` are what its convention draws.
pub(super) fn changed(text: &str, change: &Change, parts: &Parts) -> Result<String, String> {
    match change {
        Change::Set { at, value } => {
            let at = At::read(at).ok_or("there is no such field")?;
            set(text, &at, value, parts)
        }
        Change::Add { table, after } if table == STRIPS => {
            toml_text::add(text, STRIPS, *after, "rate_bpm = 75")
        }
        Change::Add { table, after } if table == PAGES => add_page(text, *after),
        Change::Remove { table, index } if table == PAGES || table == STRIPS => {
            toml_text::remove_item(text, table, *index)
        }
        Change::Move { table, index, to } if table == PAGES || table == STRIPS => {
            toml_text::move_item(text, table, *index, *to)
        }
        _ => Err("this cannot be done to a test".to_owned()),
    }
}

fn set(text: &str, at: &At, value: &[String], parts: &Parts) -> Result<String, String> {
    let key = at.key.as_str();
    let is_page = at.number(PAGES).is_some();
    if key == "traces" && (is_page || *at == At::top(key)) {
        return traces(text, at, value, parts);
    }
    let is_heart = at.is_in(HEART) || at.number(STRIPS).is_some();
    let known = if is_page {
        PAGE_KEYS.contains(&key)
    } else if is_heart {
        ["condition", "rhythm"].contains(&key) || PARAMETERS.iter().any(|one| one.name == key)
    } else if at.is_in(QUESTIONS) {
        QUESTION_KEYS.contains(&key)
    } else {
        *at == At::top(key) && FILE_KEYS.contains(&key)
    };
    if !known {
        return Err("there is no such field".to_owned());
    }
    match literal(key, value)? {
        Some(literal) => toml_text::set(text, at, &literal, FILE_KEYS),
        None => toml_text::remove(text, at),
    }
}

/// What a person put into a field, in TOML; none where the field is empty and may be.
fn literal(key: &str, value: &[String]) -> Result<Option<String>, String> {
    let filled: Vec<&str> =
        value.iter().map(|value| value.trim()).filter(|value| !value.is_empty()).collect();
    let Some(first) = filled.first() else {
        let needed = ["title", "convention"].contains(&key);
        return Ok(needed.then(|| toml_text::quoted("")));
    };
    let is_number = ["beats", "mm_per_s", "forms", "seed"].contains(&key)
        || QUESTION_KEYS.contains(&key)
        || PARAMETERS.iter().any(|one| one.name == key);
    Ok(Some(match key {
        "handouts" => toml_text::list(filled),
        "word_list" => (*first == "true").to_string(),
        _ if is_number => {
            let numbers: Vec<String> =
                filled.iter().map(|one| toml_text::number(one)).collect::<Result<_, _>>()?;
            match &numbers[..] {
                [low, high] if low != high => format!("[{low}, {high}]"),
                _ => numbers[0].clone(),
            }
        }
        _ => toml_text::quoted(first),
    }))
}

/// Sets what is printed, asked for and left out, from `ecg:given` and the like.
fn traces(text: &str, at: &At, value: &[String], parts: &Parts) -> Result<String, String> {
    let is =
        |name: &str, how: &str| value.iter().any(|one| one.split_once(':') == Some((name, how)));
    let on = |all: &[String]| -> Vec<String> {
        let shown = |name: &&String| is(name, "given") || is(name, "asked");
        all.iter().filter(shown).cloned().collect()
    };
    let (panels, bars) = (on(&parts.channels), on(&parts.bars));
    let given: Vec<&str> =
        panels.iter().chain(&bars).filter(|name| is(name, "given")).map(String::as_str).collect();
    let mut text = text.to_owned();
    for (key, shown, all) in [("panels", &panels, &parts.channels), ("bars", &bars, &parts.bars)] {
        let at = at.beside(key);
        text = if shown == all {
            toml_text::remove(&text, &at)?
        } else {
            let list = toml_text::list(shown.iter().map(String::as_str));
            toml_text::set(&text, &at, &list, FILE_KEYS)?
        };
    }
    let at = at.beside("given");
    toml_text::set(&text, &at, &toml_text::list(given), FILE_KEYS)
}

/// One more page. Where there was one alone, what stood at the top becomes the first.
fn add_page(text: &str, after: Option<usize>) -> Result<String, String> {
    let table = text.parse::<toml::Table>().map_err(|error| error.message().to_owned())?;
    if table.get(PAGES).and_then(Value::as_array).is_some_and(|pages| !pages.is_empty()) {
        return toml_text::add(text, PAGES, after, "scaffold = \"given\"");
    }
    let (mut text, mut first) = (text.to_owned(), Vec::new());
    for key in PAGE_KEYS {
        let at = At::top(key);
        if let Some(value) = toml_text::written(&text, &at)? {
            first.push(format!("{key} = {value}"));
            text = toml_text::remove(&text, &at)?;
        }
    }
    if first.is_empty() {
        first.push("scaffold = \"given\"".to_owned());
    }
    let text = toml_text::add(&text, PAGES, None, &first.join("\n"))?;
    toml_text::add(&text, PAGES, None, "scaffold = \"given\"")
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEST: &str = "title = \"T\"\nconvention = \"first_course\" # ours\ngiven = [\"ecg\"]\n\n[heart]\nrate_bpm = [66, 80]\n";

    fn parts() -> Parts {
        let channels = ["ecg", "heart_sounds", "aortic_pressure"].map(str::to_owned);
        Parts { channels: channels.to_vec(), bars: vec!["mitral".to_owned()] }
    }

    fn after(text: &str, at: &str, value: &[&str]) -> String {
        let value = value.iter().map(|one| (*one).to_owned()).collect();
        changed(text, &Change::Set { at: at.to_owned(), value }, &parts()).unwrap()
    }

    #[test]
    fn fields_change_their_own_lines_alone() {
        let text = after(TEST, "heart.rate_bpm", &["70", "90"]);
        assert_eq!(text, TEST.replace("[66, 80]", "[70, 90]"));
        assert_eq!(after(TEST, "heart.rate_bpm", &["70", ""]), TEST.replace("[66, 80]", "70"));
        assert_eq!(
            after(TEST, "heart.rate_bpm", &["", ""]),
            TEST.replace("rate_bpm = [66, 80]\n", "")
        );
        let text = after(TEST, "forms", &["3"]);
        assert_eq!(text, TEST.replace("\"ecg\"]\n", "\"ecg\"]\nforms = 3\n"));
        let text = after(TEST, "questions.order", &["2"]);
        assert!(text.ends_with("[questions]\norder = 2\n"), "{text}");
        let text = after(TEST, "handouts", &["steps", "cloze"]);
        assert!(text.contains("handouts = [\"steps\", \"cloze\"]"));
    }

    #[test]
    fn traces_become_panels_and_what_is_given() {
        let text = after(
            TEST,
            "traces",
            &["ecg:asked", "heart_sounds:none", "aortic_pressure:given", "mitral:asked"],
        );
        assert!(text.contains("panels = [\"ecg\", \"aortic_pressure\"]"), "{text}");
        assert!(text.contains("given = [\"aortic_pressure\"]") && !text.contains("bars"), "{text}");
        let all = after(
            &text,
            "traces",
            &["ecg:given", "heart_sounds:asked", "aortic_pressure:asked", "mitral:none"],
        );
        assert!(
            !all.contains("panels") && all.contains("bars = []") && all.contains("# ours"),
            "{all}"
        );
    }

    #[test]
    fn a_second_page_takes_the_first_along() {
        let add = Change::Add { table: PAGES.to_owned(), after: None };
        let text = changed(TEST, &add, &parts()).unwrap();
        let table = text.parse::<toml::Table>().unwrap();
        assert!(!table.contains_key("given"));
        assert_eq!(table[PAGES].as_array().unwrap().len(), 2);
        assert_eq!(table[PAGES][0]["given"][0].as_str(), Some("ecg"));
        let three = changed(&text, &add, &parts()).unwrap();
        assert_eq!(three.matches("[[pages]]").count(), 3);
    }

    #[test]
    fn what_is_no_field_is_refused() {
        for at in [
            "nonsense",
            "heart.nonsense",
            "rules.0.id",
            "pages.0.title",
            "strips.5.rate_bpm",
            "heart.0.rate_bpm",
        ] {
            let change = Change::Set { at: at.to_owned(), value: vec!["1".to_owned()] };
            assert!(changed(TEST, &change, &parts()).is_err(), "{at}");
        }
    }
}
