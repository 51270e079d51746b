//! A slip: what students did about one rule, and how to teach to it.

use std::collections::BTreeMap;

use figure::FontEmbedding;
use marking::{Item, Outcome, RuleMark};
use maud::{Markup, PreEscaped, html};

use super::super::super::words::class as words;
use super::super::marking::work::Work;
use super::ROOM;
use crate::mark::class::Record;
use crate::mark::review::Question;
use crate::web::folder::Folder;
use crate::web::query::address;
use crate::web::refusal::Refusal;

/// So many examples are shown.
const EXAMPLES: usize = 6;

/// A drawing that misses the rule.
struct Example<'a> {
    record: &'a Record,
    rule: &'a RuleMark,
}

pub(super) fn shown(
    work: &Work,
    file: &str,
    print: &str,
    item: &Item,
    folder: &Folder,
) -> Result<Markup, Refusal> {
    let rule = work.convention().rule(&item.id);
    let text = rule.map_or(item.id.as_str(), |rule| rule.text.as_str());
    let examples = examples(work, print, &item.id);
    let (told, cause, ways) = work.with_rubrics(print, |rubrics| {
        let way = |one: &Example<'_>| {
            let off = one.rule.off_mm;
            let measured = one.rule.measured_mm.is_some() && off.abs() >= 0.05;
            measured.then(|| words::off(off, marking::way_words(&item.id, off, &rubrics[0])))
        };
        let ways: Vec<Option<String>> = examples.iter().map(way).collect();
        (marking::item_words(item, &rubrics[0]), marking::cause_words(&item.id, &rubrics[0]), ways)
    })?;
    let mut unmeasured: BTreeMap<&str, usize> = BTreeMap::new();
    for one in missing(work, print, &item.id).filter(|one| one.rule.measured_mm.is_none()) {
        *unmeasured.entry(&one.rule.why).or_default() += 1;
    }
    let statistics = work.statistics()?;
    let spread = work.with_rubrics(print, |rubrics| {
        marking::rule_landmarks_figure(&item.id, statistics?, &rubrics[0])
    })?;
    let convention = convention_of(folder, file);
    Ok(html! {
        section.slip aria-labelledby="slip" {
            h2 #slip { (text) }
            p { strong { (told) } }
            @for (why, count) in &unmeasured { p { (words::unmeasured(*count, why)) } }
            @if !cause.is_empty() { p { (words::CAUSE) ": " (cause) } }
            div.actions {
                @if let Some(convention) = &convention {
                    a.button.primary href=(address("/board", &[("convention", convention), ("rule", &item.id)])) { (words::TO_BOARD) }
                }
                form action="/class/practice" method="post" data-post="answer" {
                    input type="hidden" name="test" value=(file);
                    input type="hidden" name="rule" value=(item.id);
                    button { (words::MAKE_PRACTICE) }
                    p.fault role="alert" {}
                }
                a.button href=(address(ROOM.path, &[("test", file)])) { (words::CLOSE) }
            }
            p.soft.prose { (words::PRACTICE_ABOUT) }
            @if let Some(spread) = &spread {
                h3 { (words::LANDMARKS) }
                div.paper { (PreEscaped(spread.svg(FontEmbedding::Referenced))) }
            }
            h3 { (words::EXAMPLES) }
            @if examples.is_empty() { p { (words::NO_EXAMPLES) } } @else {
                p.soft { (words::EXAMPLES_ABOUT) }
                ul.examples {
                    @for (number, (one, way)) in examples.iter().zip(&ways).enumerate() {
                        @let sheet = one.record.sheet.to_string();
                        li { figure.paper {
                            img loading="lazy" alt={ (words::EXAMPLES) " " (number + 1) }
                                src=(address("/marking/crop.png", &[("test", file), ("print", print), ("sheet", &sheet), ("rule", &item.id)]));
                            figcaption { (way.as_deref().unwrap_or(one.rule.why.as_str())) }
                        } }
                    }
                }
            }
        }
    })
}

/// All drawings that miss a rule.
fn missing<'a>(work: &'a Work, print: &'a str, id: &'a str) -> impl Iterator<Item = Example<'a>> {
    let own = work.class.records.iter().filter(move |record| record.test == print);
    own.filter_map(move |record| {
        let missed = |rule: &&RuleMark| rule.id == id && rule.outcome == Outcome::NotMet;
        let rule = record.marks()?.rules.iter().find(missed)?;
        Some(Example { record, rule })
    })
}

/// Drawings that miss the rule, spread evenly from the least off to the most.
fn examples<'a>(work: &'a Work, print: &'a str, id: &'a str) -> Vec<Example<'a>> {
    let seen =
        |one: &Example<'_>| (Question { record: one.record, rule: one.rule }).page().is_some();
    let mut all: Vec<Example<'_>> = missing(work, print, id).filter(seen).collect();
    all.sort_by(|a, b| a.rule.off_mm.total_cmp(&b.rule.off_mm));
    let count = all.len();
    if count <= EXAMPLES {
        return all;
    }
    let chosen: Vec<usize> = (0..EXAMPLES).map(|one| one * (count - 1) / (EXAMPLES - 1)).collect();
    let kept = all.into_iter().enumerate().filter(|(index, _)| chosen.contains(index));
    kept.map(|(_, one)| one).collect()
}

/// The convention's name or file, as the test names it.
fn convention_of(folder: &Folder, file: &str) -> Option<String> {
    let table: toml::Table = folder.text(file).ok()?.text.parse().ok()?;
    table.get("convention")?.as_str().map(str::to_owned)
}
