//! A practice sheet: a test that gives everything but what one rule is about.

use std::collections::{BTreeMap, BTreeSet};

use axum::extract::{Form, State};
use marking::Rubric;
use serde::Deserialize;
use toml::{Table, Value};

use super::super::super::words::class as words;
use super::super::marking::Opened;
use crate::test_file::{self as test_files, Changes};
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::off_thread;
use crate::web::query::address;
use crate::web::refusal::Refusal;

/// What a practice sheet takes over from the test.
const KEPT: [&str; 10] = [
    "course",
    "convention",
    "beats",
    "mm_per_s",
    "paper",
    "orientation",
    "heart",
    "drawn_from",
    "seed",
    "forms",
];

#[derive(Deserialize)]
pub(super) struct OfRule {
    test: String,
    rule: String,
}

/// Makes the sheet as a new test of the course; gives the address where it is shown.
pub(super) async fn make(
    State(desk): State<Desk>,
    Form(OfRule { test, rule }): Form<OfRule>,
) -> Result<String, Refusal> {
    off_thread(move || {
        let Opened { folder, file, work } = Opened::of(&desk, &test)?;
        let print = work.main_print().ok_or_else(|| Refusal::of_all(words::EMPTY))?;
        let [asked, given] = work.with_rubrics(print, |rubrics| places(&rubrics[0], &rule))?;
        if asked.is_empty() {
            return Err(Refusal::of_all(words::NO_PRACTICE));
        }
        let rule_text = work.convention().rule(&rule).map_or("", |rule| rule.text.as_str());
        let table: Table = folder
            .text(&file)?
            .text
            .parse()
            .map_err(|fault: toml::de::Error| Refusal::of_all(fault.to_string()))?;
        let text = practice(table, rule_text, &given);
        let name = keep(&folder, &rule, &text)?;
        Ok(address("/sheets", &[("file", &name)]))
    })
    .await
}

/// The panels and bars that a rule is about and that were to be drawn, and all others.
fn places(rubric: &Rubric<'_>, id: &str) -> [Vec<String>; 2] {
    let Some(rule) = rubric.convention.rule(id) else { return [Vec::new(), Vec::new()] };
    let mut asked: BTreeSet<String> = BTreeSet::new();
    let own = match &rule.says {
        convention::Says::Level { channel, .. } | convention::Says::Shape { channel, .. } => {
            Some(channel)
        }
        _ => None,
    };
    let points = rule.says.points();
    let channels = points.iter().filter_map(|point| point.channel.as_ref()).chain(own);
    asked.extend(channels.cloned());
    let events = points.iter().filter(|point| point.channel.is_none());
    asked.extend(events.filter_map(|point| Some(rubric.row_of(&point.name)?.place.bar.clone())));
    let panels = rubric.panels.iter().map(|on| (&on.place.channel, on.place.given));
    let bars = rubric.bars.iter().map(|on| (&on.place.bar, on.place.given));
    let (mut to_draw, mut given) = (Vec::new(), Vec::new());
    for (name, is_given) in panels.chain(bars) {
        let side = if asked.contains(name) && !is_given { &mut to_draw } else { &mut given };
        if !side.contains(name) {
            side.push(name.clone());
        }
    }
    [to_draw, given]
}

fn practice(test: Table, rule: &str, given: &[String]) -> String {
    let mut table: Table =
        test.into_iter().filter(|(key, _)| KEPT.contains(&key.as_str())).collect();
    let title = format!("{}: {}", words::PRACTICE, rule.trim_end_matches('.'));
    table.insert("title".to_owned(), Value::String(title));
    let given = given.iter().cloned().map(Value::String).collect();
    table.insert("given".to_owned(), Value::Array(given));
    toml::to_string(&table).unwrap_or_default()
}

/// Keeps the sheet under a free name, or finds the one that is there.
fn keep(folder: &Folder, rule: &str, text: &str) -> Result<String, Refusal> {
    let stem = format!("practice-{}", Folder::safe_name(rule).replace(['_', ' '], "-"));
    for number in 1.. {
        let name =
            if number == 1 { format!("{stem}.toml") } else { format!("{stem}-{number}.toml") };
        let path = folder.path(&name)?;
        match folder.text(&name) {
            Ok(there) if there.text == text => return Ok(name),
            Ok(_) => {}
            Err(_) if path.exists() => {}
            Err(_) => {
                // What is kept can be printed.
                test_files::read(&path, text, &Changes::default(), &BTreeMap::new())?;
                folder.save(&name, text, None)?;
                return Ok(name);
            }
        }
    }
    Err(Refusal::our_fault())
}
