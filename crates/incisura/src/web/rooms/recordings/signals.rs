//! Which signal is which, and how the file is read: what was guessed, and what can be said instead.

use maud::{Markup, html};
use recording::{Format, Named};

use super::choices::{Choices, NOT_USED, View};
use super::shelf::{Bench, Now};
use super::strip::{channel_name, shown};
use crate::measure::{channels_known, qualities, quality_words};
use crate::web::words::recordings as words;

/// The signals, each with a choice of what it is.
pub(crate) fn form(bench: &Bench, choices: &Choices, view: &View, now: Option<&Now>) -> Markup {
    let on_strip = shown(bench, view);
    let doubt = bench.named.iter().any(|named| !named.sure || !named.warnings.is_empty());
    html! {
        section.signals aria-labelledby="signals-title" {
            h2 #signals-title { (words::SIGNALS) }
            p.soft { (words::SIGNALS_ABOUT) }
            form #choices action="/recordings" method="get" autocomplete="off" data-doubt[doubt] {
                input type="hidden" name="file" value=(choices.file);
                div.wide tabindex="0" role="group" aria-labelledby="signals-title" {
                    table {
                        thead { tr {
                            @for head in [words::SIGNAL, words::UNIT, words::SAMPLING, words::TAKEN, words::SHOWN] { th scope="col" { (head) } }
                        } }
                        tbody { @for index in 0..bench.signals.len() { (row(bench, choices, index, on_strip.contains(&index), now)) } }
                    }
                }
                div.line {
                    label.switch { input type="checkbox" name="turn" checked[choices.turn]; " " (words::TURN) }
                    div.choice { label for="from" { (words::PART_FROM) } (seconds("from", choices.part[0])) }
                    div.choice { label for="to" { (words::PART_TO) } (seconds("to", choices.part[1])) }
                }
                @if bench.format == Format::Csv { (stored(choices)) }
                noscript { button { (words::APPLY) } }
            }
            @if !bench.remarks.is_empty() {
                details open[doubt] {
                    summary { (words::ODD) }
                    ul { @for remark in &bench.remarks { li { (remark) } } }
                }
            }
        }
    }
}

fn seconds(name: &str, value: Option<f64>) -> Markup {
    html! { input id=(name) name=(name) type="number" min="0" step="any" value=[value]; }
}

fn row(
    bench: &Bench,
    choices: &Choices,
    index: usize,
    is_shown: bool,
    now: Option<&Now>,
) -> Markup {
    let signal = &bench.signals[index];
    let number = index + 1;
    let named = bench.named.iter().position(|named| named.signal == index);
    let unit = format!("unit:{}", signal.label);
    let typed = choices.typed(&unit);
    let rate_hz = (100.0 * signal.rate_hz).round() / 100.0;
    html! {
        tr {
            th scope="row" { (number) ". " (signal.label) }
            td {
                input.unit type="text" name=(unit) value=(typed) placeholder=(signal.unit) maxlength="20" size="6"
                    aria-label={ (words::UNIT) ": " (signal.label) };
            }
            td { (rate_hz) }
            td {
                select name={ "s" (number) } aria-label={ (words::TAKEN) ": " (signal.label) } { (options(bench, choices, index, named)) }
                @if choices.said.iter().any(|(signal, _)| *signal == index) { p.soft { (words::SAID) } }
                @if let Some(at) = named { (remarks(&bench.named[at], at, now)) }
            }
            td {
                input type="checkbox" name="show" value=(number) checked[is_shown] aria-label={ (words::SHOWN) ": " (signal.label) };
            }
        }
    }
}

fn options(bench: &Bench, choices: &Choices, index: usize, named: Option<usize>) -> Markup {
    let said = choices.said.iter().find(|(signal, _)| *signal == index).map(|(_, said)| said);
    let guessed = match (said, named) {
        (None, Some(at)) => {
            format!("{} ({})", channel_name(&bench.named[at].channel), words::GUESSED)
        }
        (None, None) => format!("{} ({})", words::UNUSED, words::GUESSED),
        (Some(_), _) => words::GUESSED.to_owned(),
    };
    let is = |channel: &str| said.is_some_and(|said| said.as_deref() == Some(channel));
    html! {
        option value="" selected[said.is_none()] { (guessed) }
        @for channel in channels_known() {
            option value=(channel) selected[is(channel)] { (channel_name(channel)) }
        }
        option value=(NOT_USED) selected[said.is_some_and(Option::is_none)] { (words::UNUSED) }
    }
}

/// What a person should know of a signal that is taken for something.
fn remarks(named: &Named, at: usize, now: Option<&Now>) -> Markup {
    let found = now.map(|now| qualities(&now.beats, at)).unwrap_or_default();
    let words: Vec<String> =
        found.iter().map(|(quality, count, why)| quality_words(*quality, *count, why)).collect();
    html! {
        ul.plain.soft.remarks {
            @if let Some(lead) = &named.lead { li { (words::from_lead(lead)) } }
            @if !named.sure { li { (words::A_GUESS) } }
            @for warning in &named.warnings { li { (warning) "." } }
            @if !words.is_empty() { li { (words::QUALITY) ": " (words.join("; ")) "." } }
        }
    }
}

/// How a table is written.
fn stored(choices: &Choices) -> Markup {
    html! {
        details.stored {
            summary { (words::STORED) }
            (stored_fields(choices))
        }
    }
}

fn stored_fields(choices: &Choices) -> Markup {
    html! {
        div.line {
            div.choice { label for="rate" { (words::RATE) } input #rate name="rate" type="number" min="0.001" step="any" value=(choices.typed("rate")); }
            div.choice { label for="time" { (words::TIME_COLUMN) } input #time name="time" type="text" maxlength="60" value=(choices.typed("time")); }
            div.choice { label for="separator" { (words::SEPARATOR) } input #separator name="separator" type="text" maxlength="5" size="5" value=(choices.typed("separator")); }
            label.switch { input type="checkbox" name="decimal_comma" checked[!choices.typed("decimal_comma").is_empty()]; " " (words::DECIMAL_COMMA) }
        }
    }
}

/// The same where the file could not be read for it.
pub(crate) fn stored_again(choices: &Choices) -> Markup {
    let small = choices.file.to_lowercase();
    let is_table = [".csv", ".tsv", ".txt"].iter().any(|ending| small.ends_with(ending));
    html! {
        @if is_table {
            form action="/recordings" method="get" autocomplete="off" {
                input type="hidden" name="file" value=(choices.file);
                h3 { (words::STORED) }
                (stored_fields(choices))
                button.primary { (words::OPEN) }
            }
        }
    }
}
