//! A convention's text with one of its parts changed.

use std::collections::BTreeMap;

use cycle::Subject;
use toml::Value;

use crate::web::editing::Change;
use crate::web::toml_text::{self, At};

/// Keys of a rule in the order in which they are written.
const RULE_KEYS: &[&str] = &[
    "id",
    "kind",
    "landmark",
    "channel",
    "at",
    "level",
    "from",
    "to",
    "shape",
    "with",
    "before",
    "after",
    "level_with",
    "above",
    "below",
    "between",
    "by_ms",
    "by_mm",
    "by",
    "share",
    "aim",
    "label",
    "points",
    "depends_on",
    "cap",
    "tolerance_mm",
    "half_tolerance_mm",
    "tolerance_ms",
    "tolerance_percent",
    "text",
    "cause",
];
/// Keys of a file, in the same way.
const FILE_KEYS: &[&str] = &[
    "title",
    "about",
    "simplifies",
    "panels",
    "bars",
    "mm_per_s",
    "tolerance_mm",
    "half_tolerance_mm",
    "tolerance_ms",
    "tolerance_percent",
    "reference_missing",
    "caps",
];
/// Keys that a rule of any kind has.
const COMMON: &[&str] = &[
    "id",
    "kind",
    "text",
    "cause",
    "points",
    "depends_on",
    "cap",
    "tolerance_mm",
    "half_tolerance_mm",
    "tolerance_ms",
    "tolerance_percent",
];
/// Keys that may be empty and then stay.
const NEEDED: &[&str] = &["title", "simplifies", "id", "text", "cause", "panels"];
/// How times and heights are related to others, in the order in which they are offered.
pub(super) const TIMES: &[&str] = &["with", "before", "after", "between"];
pub(super) const HEIGHTS: &[&str] = &["level_with", "below", "above", "between"];
/// The list of rules in a file.
pub(super) const RULES: &str = "rules";

/// A rule as it is written.
pub(super) type Rule = toml::Table;

/// The rules as they are written, even with faults; none where the text cannot be read at all.
pub(super) fn rules(text: &str) -> Option<Vec<Rule>> {
    let table = text.parse::<toml::Table>().ok()?;
    let Some(rules) = table.get(RULES) else { return Some(Vec::new()) };
    rules.as_array()?.iter().map(|rule| rule.as_table().cloned()).collect()
}

/// The channels that a text draws, in its order.
pub(super) fn channels(table: &toml::Table) -> Vec<Vec<String>> {
    let names = |panel: &Value| -> Vec<String> {
        let all = panel.as_array().into_iter().flatten();
        all.filter_map(|name| name.as_str().map(str::to_owned)).collect()
    };
    let panels = table.get("panels").and_then(Value::as_array);
    panels.into_iter().flatten().map(names).collect()
}

/// `text` with `change` made.
pub(super) fn changed(text: &str, change: &Change, subject: &Subject) -> Result<String, String> {
    match change {
        Change::Set { at, value } => {
            let at = At::read(at).ok_or("there is no such field")?;
            set(text, &at, value, subject)
        }
        Change::Add { table, after } if table == RULES => {
            toml_text::add(text, RULES, *after, &new_rule(text, subject))
        }
        Change::Remove { table, index } if table == RULES => {
            toml_text::remove_item(text, RULES, *index)
        }
        Change::Move { table, index, to } if table == RULES => {
            toml_text::move_item(text, RULES, *index, *to)
        }
        _ => Err("this cannot be done to a convention".to_owned()),
    }
}

fn set(text: &str, at: &At, value: &[String], subject: &Subject) -> Result<String, String> {
    if let Some(index) = at.number(RULES) {
        let first = value.first().map_or("", String::as_str);
        match at.key.as_str() {
            "kind" => return of_kind(text, index, first, subject),
            "relation" => return related(text, index, first, subject),
            "unit" => return counted_in(text, index, first),
            _ => {}
        }
    }
    let order = if at.number(RULES).is_some() { RULE_KEYS } else { FILE_KEYS };
    if !order.contains(&at.key.as_str()) {
        return Err("there is no such field".to_owned());
    }
    match literal(&at.key, value, subject)? {
        Some(literal) => toml_text::set(text, at, &literal, order),
        None => toml_text::remove(text, at),
    }
}

/// What a person put into a field, in TOML; none where the field is empty and may be.
fn literal(key: &str, value: &[String], subject: &Subject) -> Result<Option<String>, String> {
    let first = value.first().map_or("", |value| value.trim());
    let filled: Vec<&str> =
        value.iter().map(|value| value.trim()).filter(|value| !value.is_empty()).collect();
    if filled.is_empty() && !NEEDED.contains(&key) {
        return Ok(None);
    }
    Ok(Some(match key {
        "panels" => panels(value, subject),
        "bars" | "between" => toml_text::list(filled),
        "depends_on" => toml_text::list(words(first)),
        "caps" => caps(first)?,
        "by_ms" | "by_mm" | "by" | "share" => span(&filled)?,
        "points" | "aim" | "mm_per_s" | "tolerance_mm" | "half_tolerance_mm" | "tolerance_ms"
        | "tolerance_percent" => toml_text::number(first)?,
        "label" => match words(first)[..] {
            [word] => toml_text::quoted(word),
            ref several => toml_text::list(several.iter().copied()),
        },
        _ => toml_text::quoted(first),
    }))
}

/// What stands between commas.
fn words(typed: &str) -> Vec<&str> {
    typed.split(',').map(str::trim).filter(|word| !word.is_empty()).collect()
}

/// Caps that are typed like "notch 2, valves 3".
fn caps(typed: &str) -> Result<String, String> {
    let one = |cap: &str| {
        let (name, points) = cap
            .rsplit_once(|c: char| c.is_whitespace())
            .ok_or_else(|| format!("write “{cap}” with its points, like {cap} 2"))?;
        Ok(format!("{} = {}", toml_text::quoted(name), toml_text::number(points)?))
    };
    let all: Vec<String> = words(typed).into_iter().map(one).collect::<Result<_, String>>()?;
    Ok(format!("{{ {} }}", all.join(", ")))
}

/// A number, or a least and a most.
fn span(filled: &[&str]) -> Result<String, String> {
    let numbers: Vec<String> =
        filled.iter().map(|one| toml_text::number(one)).collect::<Result<_, _>>()?;
    Ok(match &numbers[..] {
        [low, high] if low != high => format!("[{low}, {high}]"),
        [one, ..] => one.clone(),
        [] => "0".to_owned(),
    })
}

/// Panels from channels with the numbers of their panels, such as `ecg:1`.
fn panels(value: &[String], subject: &Subject) -> String {
    let mut panels: BTreeMap<usize, Vec<&str>> = BTreeMap::new();
    for one in value {
        let Some((channel, number)) = one.split_once(':') else { continue };
        let known = subject.channel(channel);
        if let (Some(kind), Ok(number)) = (known, number.parse()) {
            panels.entry(number).or_default().push(&kind.id);
        }
    }
    let panels: Vec<String> = panels.into_values().map(toml_text::list).collect();
    format!("[{}]", panels.join(", "))
}

fn rule(text: &str, index: usize) -> Result<Rule, String> {
    let rule = rules(text).and_then(|rules| rules.into_iter().nth(index));
    rule.ok_or_else(|| "this rule is no longer there; reload the page".to_owned())
}

/// The rule with another kind: what the kind lacks is taken away, what it needs is filled in.
fn of_kind(text: &str, index: usize, kind: &str, subject: &Subject) -> Result<String, String> {
    let keys = convention::KINDS.iter().find(|(name, _)| *name == kind);
    let (_, keys) = keys.ok_or_else(|| format!("there is no kind of rule “{kind}”"))?;
    let old = rule(text, index)?;
    let at = |key: &str| At::item(RULES, index, key);
    let mut new = toml_text::set(text, &at("kind"), &toml_text::quoted(kind), RULE_KEYS)?;
    // Between two times is not between two heights.
    let turns = old.get("kind").and_then(Value::as_str) != Some(kind);
    let goes =
        |key: &str| !keys.contains(&key) || (turns && ["between", "share", "aim"].contains(&key));
    for key in old.keys().filter(|key| !COMMON.contains(&key.as_str())) {
        if goes(key) {
            new = toml_text::remove(&new, &at(key))?;
        }
    }
    let mark = ["landmark", "at", "from"].iter().find_map(|key| old.get(*key)?.as_str());
    let choices = if kind == "height" { HEIGHTS } else { TIMES };
    let is_related = choices.iter().any(|key| old.contains_key(*key) && !goes(key));
    for (key, value) in starting(kind, mark, subject) {
        let given = old.contains_key(key) || (is_related && choices.contains(&key));
        if !given {
            new = toml_text::set(&new, &at(key), &value, RULE_KEYS)?;
        }
    }
    Ok(new)
}

/// What a new rule of a kind says about the landmark `mark`.
fn starting(kind: &str, mark: Option<&str>, subject: &Subject) -> Vec<(&'static str, String)> {
    let anchor = subject.anchor.as_str();
    let mark = mark.unwrap_or(anchor);
    let name = mark.split('@').next().unwrap_or(mark);
    let landmark = subject.landmark(name);
    let channel = landmark.and_then(|kind| kind.channels.first());
    let channel = channel.unwrap_or(&subject.reference_channel);
    let fellow = |kind: &&cycle::LandmarkKind| kind.id != name && kind.channels.contains(channel);
    let other = subject.landmarks.iter().find(fellow).map_or(anchor, |kind| kind.id.as_str());
    let label = landmark.filter(|kind| !kind.label.is_empty());
    let label = label.map_or(name, |kind| kind.label.as_str());
    let q = toml_text::quoted;
    match kind {
        "timing" => {
            let to = if name == anchor { other } else { anchor };
            vec![("landmark", q(mark)), ("with", q(to))]
        }
        "height" => vec![("landmark", q(mark)), ("above", q(other))],
        "level" => vec![("channel", q(channel)), ("at", q(mark)), ("level", q("baseline"))],
        "shape" => vec![("from", q(mark)), ("to", q(other)), ("shape", q("rising"))],
        "label" => vec![("landmark", q(mark)), ("label", q(label))],
        _ => vec![("landmark", q(mark))],
    }
}

/// The rule with its landmark related to others in another way.
fn related(text: &str, index: usize, to: &str, subject: &Subject) -> Result<String, String> {
    let old = rule(text, index)?;
    let choices = match old.get("kind").and_then(Value::as_str) {
        Some("height") => HEIGHTS,
        _ => TIMES,
    };
    let Some(to) = choices.iter().find(|key| **key == to) else {
        return Err("there is no such relation".to_owned());
    };
    let at = |key: &str| At::item(RULES, index, key);
    let mut new = text.to_owned();
    let given: Vec<&&str> = choices.iter().filter(|key| old.contains_key(**key)).collect();
    let others = match given.first().and_then(|key| old.get(**key)) {
        Some(Value::Array(two)) => two.iter().filter_map(Value::as_str).collect(),
        Some(Value::String(one)) => vec![one.as_str()],
        _ => Vec::new(),
    };
    let first = others.first().copied().unwrap_or(&subject.anchor);
    let (value, away): (String, &[&str]) = match *to {
        "between" => {
            let mark = old.get("landmark").and_then(Value::as_str).unwrap_or_default();
            let last = subject.landmarks.iter().map(|kind| kind.id.as_str());
            let after = last.clone().skip_while(|id| *id != first).skip(1);
            let second = after.chain(last).find(|id| *id != first && *id != mark);
            let second = others.get(1).copied().or(second).unwrap_or(first);
            (toml_text::list([first, second]), &["by_ms", "by_mm", "by", "aim"])
        }
        "with" | "level_with" => {
            (toml_text::quoted(first), &["by_ms", "by_mm", "by", "share", "aim"])
        }
        _ => (toml_text::quoted(first), &["share"]),
    };
    match given.first() {
        Some(key) => {
            for extra in &given[1..] {
                new = toml_text::remove(&new, &at(extra))?;
            }
            new = toml_text::rename(&new, &at(key), to)?;
            new = toml_text::set(&new, &at(to), &value, RULE_KEYS)?;
        }
        None => new = toml_text::set(&new, &at(to), &value, RULE_KEYS)?,
    }
    // An aim is counted as the distance is, so it goes where that begins to mean something else.
    let turns = given.first().is_some_and(|key| **key == "between") && *to != "between";
    for key in away.iter().chain(turns.then_some(&"aim")) {
        new = toml_text::remove(&new, &at(key))?;
    }
    Ok(new)
}

/// The rule with its distance in milliseconds or in millimetres.
fn counted_in(text: &str, index: usize, unit: &str) -> Result<String, String> {
    let (from, to) = match unit {
        "by_ms" => ("by_mm", "by_ms"),
        "by_mm" => ("by_ms", "by_mm"),
        _ => return Err("there is no such unit".to_owned()),
    };
    toml_text::rename(text, &At::item(RULES, index, from), to)
}

/// A new rule that agrees with whatever else there is: a landmark that no rule names is there.
fn new_rule(text: &str, subject: &Subject) -> String {
    let table = text.parse::<toml::Table>().unwrap_or_default();
    let drawn = channels(&table).concat();
    let rules = rules(text).unwrap_or_default();
    let is_named =
        |id: &str| rules.iter().any(|rule| rule.values().any(|v| v.as_str() == Some(id)));
    let mut drawn = subject
        .landmarks
        .iter()
        .filter(|kind| kind.channels.iter().any(|channel| drawn.contains(channel)));
    let first = drawn.clone().next();
    let landmark = drawn.find(|kind| !is_named(&kind.id)).or(first);
    let (id, title) =
        landmark.map_or((subject.anchor.as_str(), ""), |kind| (&kind.id, &kind.title));
    let numbers = rules.len() + 1..;
    let mut ids = numbers.map(|number| format!("rule_{number}"));
    let own = ids.find(|own| !is_named(own)).unwrap_or_default();
    let text = super::words::new_rule(title);
    format!(
        "id = {}\nkind = \"presence\"\nlandmark = {}\ntext = {}\ncause = \"\"\n",
        toml_text::quoted(&own),
        toml_text::quoted(id),
        toml_text::quoted(&text)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use convention::Convention;

    const FIRST: &str = cardiac::CONVENTIONS[0].toml;

    fn index(id: &str) -> usize {
        let is = |rule: &Rule| rule["id"].as_str() == Some(id);
        rules(FIRST).unwrap().iter().position(is).unwrap()
    }

    fn after(text: &str, at: &str, value: &[&str]) -> String {
        let value = value.iter().map(|v| (*v).to_owned()).collect();
        changed(text, &Change::Set { at: at.to_owned(), value }, &heart::subject()).unwrap()
    }

    fn faults(text: &str) -> String {
        let read = Convention::from_toml(text, &heart::subject());
        read.err().map(|faults| faults.to_string()).unwrap_or_default()
    }

    #[test]
    fn every_rule_can_become_every_kind_and_come_out_whole() {
        let rules = rules(FIRST).unwrap();
        for index in 0..rules.len() {
            for (kind, keys) in convention::KINDS {
                let text = after(FIRST, &format!("rules.{index}.kind"), &[kind]);
                assert_eq!(faults(&text), "", "rule {index} as {kind}");
                let rule = rule(&text, index).unwrap();
                let fits =
                    |key: &String| COMMON.contains(&key.as_str()) || keys.contains(&key.as_str());
                assert!(rule.keys().all(fits), "{rule:?}");
                assert_eq!(text.lines().next(), FIRST.lines().next());
            }
        }
    }

    #[test]
    fn every_relation_can_become_every_other() {
        for (id, relations) in
            [("rise_after_s1", TIMES), ("s2_in_t", TIMES), ("notch_height", HEIGHTS)]
        {
            for relation in relations {
                let text = after(FIRST, &format!("rules.{}.relation", index(id)), &[relation]);
                assert_eq!(faults(&text), "", "{id} {relation}");
                let rule = rule(&text, index(id)).unwrap();
                assert!(rule.contains_key(*relation), "{rule:?}");
                assert_eq!(relations.iter().filter(|key| rule.contains_key(**key)).count(), 1);
            }
        }
    }

    #[test]
    fn distances_are_one_number_or_two_and_can_be_taken_away() {
        let at = format!("rules.{}.by_ms", index("rise_after_s1"));
        let by = |text: &str| rule(text, index("rise_after_s1")).unwrap().get("by_ms").cloned();
        assert_eq!(by(&after(FIRST, &at, &["30", "50"])).unwrap().to_string(), "[30, 50]");
        assert_eq!(by(&after(FIRST, &at, &["30", ""])).unwrap().to_string(), "30");
        assert_eq!(by(&after(FIRST, &at, &["", ""])), None);
        let unit = format!("rules.{}.unit", index("rise_after_s1"));
        let text = after(FIRST, &unit, &["by_mm"]);
        assert!(text.contains("by_mm = [20, 60]") && !text.contains("by_ms"));
        let wrong = Change::Set { at, value: vec!["soon".to_owned()] };
        assert!(changed(FIRST, &wrong, &heart::subject()).unwrap_err().contains("“soon”"));
    }

    #[test]
    fn rules_are_tied_to_others_and_loosened_again() {
        let of = |text: &str, id: &str, key: &str| {
            rule(text, index(id)).unwrap().get(key).map(ToString::to_string)
        };
        let ties = |id: &str, key: &str| format!("rules.{}.{key}", index(id));
        let text = after(FIRST, &ties("notch_height", "depends_on"), &["notch_with_s2, s2_in_t"]);
        let text = after(&text, &ties("notch_height", "cap"), &["the notch"]);
        let text = after(&text, &ties("notch_with_s2", "cap"), &["the notch"]);
        assert!(faults(&text).contains("there is no cap “the notch”"), "{}", faults(&text));
        let text = after(&text, "caps", &["the notch 1,"]);
        assert_eq!(faults(&text), "");
        let needed = of(&text, "notch_height", "depends_on").unwrap();
        assert_eq!(needed, "[\"notch_with_s2\", \"s2_in_t\"]");
        let text = after(&text, "reference_missing", &["not_met"]);
        let read = Convention::from_toml(&text, &heart::subject()).unwrap();
        assert_eq!(read.caps, [convention::Cap { name: "the notch".to_owned(), points: 1.0 }]);
        assert_eq!(read.reference_missing, convention::ReferenceMissing::NotMet);
        for cap in ["notch", "notch two"] {
            let change = Change::Set { at: "caps".to_owned(), value: vec![cap.to_owned()] };
            assert!(changed(FIRST, &change, &heart::subject()).is_err(), "{cap}");
        }
        let mut loose = text;
        for at in [ties("notch_height", "depends_on"), ties("notch_height", "cap")] {
            loose = after(&loose, &at, &[""]);
        }
        for at in [&ties("notch_with_s2", "cap"), "caps"] {
            loose = after(&loose, at, &[""]);
        }
        let asked = after(&loose, "reference_missing", &[""]);
        assert!(!asked.contains("reference_missing"));
        assert_eq!(after(&loose, "reference_missing", &["does_not_count"]), FIRST);
    }

    #[test]
    fn a_new_rule_is_without_fault() {
        let add = Change::Add { table: RULES.to_owned(), after: Some(2) };
        let text = changed(FIRST, &add, &heart::subject()).unwrap();
        assert_eq!(faults(&text), "");
        assert_eq!(rules(&text).unwrap().len(), rules(FIRST).unwrap().len() + 1);
        let twice = changed(&text, &add, &heart::subject()).unwrap();
        assert_eq!(faults(&twice), "");
    }

    #[test]
    fn panels_are_written_from_their_numbers() {
        let text = after(
            FIRST,
            "panels",
            &["ecg:1", "aortic_pressure:2", "lv_pressure:2", "heart_sounds:", "x\":1"],
        );
        assert!(
            text.contains("panels = [[\"ecg\"], [\"aortic_pressure\", \"lv_pressure\"]]"),
            "{text}"
        );
    }

    #[test]
    fn script_and_quotes_stay_text() {
        let odd = "</textarea><script>\"'\\ \"\"\"";
        let text = after(FIRST, "rules.0.text", &[odd]);
        assert_eq!(faults(&text), "");
        assert_eq!(rule(&text, 0).unwrap()["text"].as_str(), Some(odd));
        for at in ["rules.0.nonsense", "a.b.c.d", "rules.99.text", "steps.0.draw"] {
            let change = Change::Set { at: at.to_owned(), value: vec!["x".to_owned()] };
            assert!(changed(FIRST, &change, &heart::subject()).is_err(), "{at}");
        }
    }
}
