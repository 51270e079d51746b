//! The pages of the board.

use convention::Step;
use figure::{Figure, FontEmbedding};
use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::build::{Build, Missing};
use super::{Asked, ROOM, USUAL_RATE, rates};
use crate::schematics::capitalised;
use crate::web::desk::Desk;
use crate::web::query::address;
use crate::web::refusal::Refusal;
use crate::web::rules;
use crate::web::settings::Spelling;
use crate::web::shell::{Page, shell};
use crate::web::words::board as words;

const STYLES: &[&str] = &["/board.css"];

/// Where a convention and a rate are chosen, with what was wrong with those asked for.
pub(super) fn entry(desk: &Desk, asked: Option<&Asked>, refusal: Option<&Refusal>) -> Markup {
    let chosen = asked.map_or("", |asked| asked.convention.as_str());
    let rate = asked.map_or(USUAL_RATE, |asked| asked.rate_bpm);
    let (folder, [low, high]) = (desk.folder(), rates());
    let at_rate = refusal.is_some_and(|refusal| refusal.control.as_deref() == Some("rate"));
    let body = html! {
        div.room {
            div.roomhead { h1 { (words::TITLE) } }
            p.prose { (words::INTRO) }
            @if let Some(refusal) = refusal {
                div.empty.refused role="alert" {
                    @if !at_rate { p { strong { (words::NO_FIGURE) } } }
                    p #entry-fault { (refusal.message) }
                    @if !at_rate { p { a href=(rules::page(&folder, chosen)) { (words::MEND) } } }
                }
            }
            form.entry action="/board" method="get" autocomplete="off" {
                div.choice {
                    label for="convention" { (words::CONVENTION) }
                    (rules::choice("convention", &folder, chosen))
                }
                div.choice {
                    label for="rate" { (words::RATE) }
                    input #rate name="rate" type="number" min=(low) max=(high) step="1" value=(rate)
                        aria-invalid=[at_rate.then_some("true")] aria-describedby=[at_rate.then_some("entry-fault")];
                }
                button.primary autofocus { (words::BEGIN) }
            }
            h2 { (words::KEYS_TITLE) }
            dl.boardkeys { @for (key, does) in words::KEYS { div { dt { kbd { (key) } } dd { (does) } } } }
        }
    };
    shell(
        desk,
        &Page {
            room: &ROOM,
            title: words::TITLE,
            styles: STYLES,
            scripts: &[],
            skip_to: ("convention", words::SKIP_TO_CONVENTIONS),
            keys: &[],
            body,
        },
    )
}

/// What the page's module knows of a step.
#[derive(Serialize)]
struct Told<'a> {
    title: String,
    text: &'a str,
    cause: &'a str,
    question: String,
    of: String,
    rules: &'a [String],
    /// Landmarks and events that are new, and the alignment lines that the step is drawn on.
    draw: Vec<&'a str>,
    lines: Vec<&'a str>,
    bars: Vec<&'a str>,
}

fn told<'a>(build: &'a Build, index: usize, step: &'a Step) -> Told<'a> {
    let draw: Vec<&str> = step.draw.iter().map(|point| point.name.as_str()).collect();
    let bars = build.subject.bars.iter();
    let bars =
        bars.filter(|bar| draw.contains(&bar.from.as_str()) || draw.contains(&bar.to.as_str()));
    Told {
        title: capitalised(&step.title),
        text: &step.text,
        cause: &step.cause,
        question: words::question(step, &build.convention, &build.subject),
        of: words::step_of(index + 1, build.steps.len()),
        rules: &step.rules,
        lines: step.lines.iter().map(|point| point.name.as_str()).collect(),
        bars: bars.map(|bar| bar.id.as_str()).collect(),
        draw,
    }
}

/// The board itself, at a step.
pub(super) fn stage(
    desk: &Desk,
    asked: &Asked,
    build: &Build,
    number: usize,
    missing: &Option<Missing>,
    figure: &Figure,
    veiled: bool,
) -> Markup {
    let steps: Vec<Told<'_>> =
        build.steps.iter().enumerate().map(|(index, step)| told(build, index, step)).collect();
    let mut json = serde_json::to_string(&steps).unwrap_or_default().replace('<', "\\u003c");
    // What stands in a block of data is not respelled on the page's way out.
    if desk.folder().settings().spelling == Spelling::Ekg {
        json = json.replace("ECG", "EKG");
    }
    let now = &steps[number - 1];
    let note = missing.as_ref().map(|missing| match missing {
        Missing::Rule(rule) => words::no_such_rule(rule),
        Missing::Step(step) => words::no_such_step(step, build.steps.len()),
    });
    let body = html! {
        div #stage .stage.veiled[veiled] data-ratio=(format!("{:.4}", build.ratio)) data-convention=(asked.convention) data-rate=(asked.rate_bpm) data-step=(number)
            data-why=(words::WHY) data-jump=(words::JUMP) data-no-step=(words::NO_STEP) {
            div.said {
                h1 { (build.convention.title) }
                p #of .of { (now.of) }
                p #sentence .sentence tabindex="-1" aria-live="polite" { (now.text) }
                p #cause .cause aria-live="polite" {}
                p #note .note role="status" { @if let Some(note) = note { (note) } }
            }
            section #picture .picture aria-label=(words::FIGURE) { (PreEscaped(figure.svg(FontEmbedding::Referenced))) }
            (buttons(asked, number, steps.len()))
            button #unhide type="button" hidden aria-label=(words::SHOW_BUTTONS) title=(words::SHOW_BUTTONS) { "…" }
            output #typed hidden {}
        }
        dialog #step-list aria-labelledby="step-list-title" {
            h2 #step-list-title { (words::STEPS) }
            ol { @for (index, step) in steps.iter().enumerate() { li { button type="button" data-to=(index + 1) { (step.title) } } } }
            form method="dialog" { button { (crate::web::words::shell::CLOSE) } }
        }
        script #steps-data type="application/json" { (PreEscaped(json)) }
    };
    shell(
        desk,
        &Page {
            room: &ROOM,
            title: &build.convention.title,
            styles: STYLES,
            scripts: &["/board.js"],
            skip_to: ("sentence", words::SKIP),
            keys: words::KEYS,
            body,
        },
    )
}

/// Without the page's module, “back” and “next” are links all the same.
fn buttons(asked: &Asked, number: usize, of: usize) -> Markup {
    let to = |number: usize| {
        let (rate, step) = (asked.rate_bpm.to_string(), number.to_string());
        address(ROOM.path, &[("convention", &asked.convention), ("rate", &rate), ("step", &step)])
    };
    html! {
        div #buttons .buttons role="group" aria-label=(words::STAGE) {
            @for (id, title, key) in words::BUTTONS {
                @match *id {
                    "back" => a.button id={ "do-" (id) } href=(to(number.saturating_sub(1).max(1))) aria-keyshortcuts="ArrowLeft" { (title) " " kbd { (key) } },
                    "next" => a.button id={ "do-" (id) } href=(to((number + 1).min(of))) aria-keyshortcuts="ArrowRight" { (title) " " kbd { (key) } },
                    "leave" => a.button id={ "do-" (id) } href="/board" { (title) " " kbd { (key) } },
                    "cause" | "ask" | "labels" | "ground" => button id={ "do-" (id) } type="button" aria-pressed="false" { (title) " " kbd { (key) } },
                    _ => button id={ "do-" (id) } type="button" { (title) " " kbd { (key) } },
                }
            }
        }
    }
}
