//! The room's pages: all recordings, and one.

use maud::{Markup, html};
use recording::CAUTION;

use super::choices::{Choices, View};
use super::list::{Listed, recordings, stem};
use super::shelf::{Bench, Fault, Stage};
use super::{ROOM, correct, overview, results, signals, strip};
use crate::measure::{format_words, lasting};
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::query::address;
use crate::web::refusal::Refusal;
use crate::web::shell::{Page, shell};
use crate::web::words::recordings as words;

fn page(desk: &Desk, title: &str, skip_to: (&str, &str), body: Markup) -> Markup {
    shell(
        desk,
        &Page {
            room: &ROOM,
            title,
            styles: &["/recordings.css"],
            scripts: &["/recordings.js"],
            skip_to,
            keys: words::KEYS,
            body,
        },
    )
}

/// What is shown wherever a recording is opened.
fn caution() -> Markup {
    html! { p.caution role="note" { strong { (words::CAUTION) ". " } (CAUTION) } }
}

/// The recordings of the course, and a place to bring one in.
pub(crate) fn all(desk: &Desk, refusal: Option<&Refusal>) -> Markup {
    let all = recordings(&desk.folder());
    let body = html! {
        div.room #recordings {
            div.roomhead { h1 { (words::TITLE) } }
            (caution())
            @if let Some(refusal) = refusal { p.fault role="alert" { (refusal.message) } }
            p.prose { (words::ABOUT) }
            div.bring {
                section aria-labelledby="here-title" {
                    h2 #here-title { (words::HERE) }
                    @if all.is_empty() { div.empty { p { (words::NONE) } } } @else { (listed(&all)) }
                }
                (drop_here())
            }
        }
    };
    page(desk, words::TITLE, ("here-title", words::SKIP), body)
}

fn listed(all: &[Listed]) -> Markup {
    html! {
        ul.plain.recordings {
            @for one in all {
                li {
                    a href=(address(ROOM.path, &[("file", &one.file)])) { (one.file) }
                    " " span.soft { (words::size(one.bytes)) }
                }
            }
        }
    }
}

fn drop_here() -> Markup {
    html! {
        section #drop.drop aria-label=(words::CHOOSE) data-bringing=(words::BRINGING) data-brought=(words::BROUGHT)
            data-no-header=(words::NO_HEADER) data-too-large=(words::TOO_LARGE) data-most=(super::upload::LARGEST) {
            p { (words::DROP) " " label.button for="files" { (words::CHOOSE) } }
            input #files.unseen type="file" multiple accept=(super::list::TAKEN.join(","));
            p.soft { (words::KINDS) }
            progress #bringing hidden aria-label=(words::BRINGING) {}
            p #brought role="status" {}
        }
    }
}

/// One recording, as far as it is known.
pub(crate) fn one(
    desk: &Desk,
    choices: &Choices,
    pairs: &[(String, String)],
    job: &str,
    stage: &Stage,
) -> Result<Markup, Refusal> {
    let folder = desk.folder();
    let name = stem(&choices.file).to_owned();
    let rest = match stage {
        Stage::Failed(fault) => failed(choices, fault),
        Stage::Opening => working(job),
        Stage::Open(bench) => {
            html! { (working(job)) (opened(bench, &folder, choices, pairs, false)?) }
        }
        Stage::Found(bench) => opened(bench, &folder, choices, pairs, true)?,
    };
    let lasts = match stage {
        Stage::Open(bench) | Stage::Found(bench) => Some(bench),
        _ => None,
    };
    let body = html! {
        div.room #recording data-choices=(choices.query()) {
            div.roomhead {
                h1 { (name) }
                @if let Some(bench) = lasts { p.soft { (format_words(bench.format)) ", " (lasting(bench.duration_s)) (words::annotations(bench.annotations)) } }
                div.actions { a.button href="/recordings" { (words::OTHERS) } }
            }
            (caution())
            @if shares_its_name(&folder, &choices.file) { p.fault { (words::SAME_NAME) } }
            p #problem.fault role="alert" {}
            (rest)
        }
    };
    Ok(page(desk, &name, ("strip", words::SKIP_TO_STRIP), body))
}

/// Whether another recording is called so, too.
fn shares_its_name(folder: &Folder, file: &str) -> bool {
    let same = |one: &Listed| one.file != file && stem(&one.file) == stem(file);
    recordings(folder).iter().any(same)
}

fn working(job: &str) -> Markup {
    html! {
        div #working.card data-job=(job) {
            p { (words::WORKING) }
            p.doing.soft {}
            progress aria-label=(words::WORKING) {}
        }
    }
}

/// What is wrong with the file, and the form that asks for what is lacking.
fn failed(choices: &Choices, fault: &Fault) -> Markup {
    html! {
        section.card.prose #strip tabindex="-1" {
            @if fault.needs_rate {
                h2 { (words::NEEDS_RATE) }
                p { (fault.message) }
                p { (words::RATE_ABOUT) }
                form.line action="/recordings" method="get" autocomplete="off" {
                    input type="hidden" name="file" value=(choices.file);
                    div.choice {
                        label for="rate" { (words::RATE) }
                        input #rate name="rate" type="number" min="1" max="1000000" step="any" required;
                    }
                    button.primary { (words::OPEN) }
                }
            } @else {
                h2 { (words::CANNOT) }
                p.fault { (fault.message) }
                (signals::stored_again(choices))
            }
        }
    }
}

fn opened(
    bench: &Bench,
    folder: &Folder,
    choices: &Choices,
    pairs: &[(String, String)],
    found: bool,
) -> Result<Markup, Refusal> {
    let view = View::read(pairs)?.within(bench.duration_s);
    let now = bench.now(folder)?;
    let no_beats = found && now.as_ref().is_some_and(|now| now.beats.is_empty());
    Ok(html! {
        @if no_beats { p.fault { (words::NO_BEATS) } }
        section.strips aria-labelledby="strip-title" {
            div.striphead {
                h2 #strip-title { (words::STRIP_TITLE) }
                (tools())
            }
            p #strip-keys.unseen { (words::STRIP_KEYS) }
            div #strip.paper.strip tabindex="0" role="group" aria-labelledby="strip-title" aria-describedby="strip-keys"
                data-slot="strip" data-lasts=(bench.duration_s) data-marks=(strip::MARKS_S) {
                (strip::strip(bench, now.as_ref(), &view)?)
            }
            div #overview.paper.overview data-slot="overview" { (overview::overview(bench, now.as_ref(), &view)?) }
            input #scroll.scroll type="range" min="0" max=((bench.duration_s - view.span_s).max(0.0)) step="any" value=(view.at_s)
                aria-label=(words::OVERVIEW) aria-valuetext=(words::seconds(view.at_s));
            p #closer.soft hidden[view.span_s <= strip::MARKS_S] { (words::ZOOM_IN) }
            p.soft.symbols { (words::SYMBOLS) }
        }
        @if found { (correcting(bench, folder, now.as_ref().map(|now| correct::list(now, bench)))) }
        (signals::form(bench, choices, &view, now.as_ref()))
        @if found && !no_beats { (results::sections(bench, folder, pairs)?) }
    })
}

fn tools() -> Markup {
    let tools = [
        ("earlier", "←", words::EARLIER),
        ("later", "→", words::LATER),
        ("closer", "+", words::CLOSER),
        ("farther", "−", words::FARTHER),
    ];
    html! {
        div.actions role="group" aria-label=(words::STRIP_TITLE) {
            @for (act, sign, says) in tools {
                button type="button" data-act=(act) aria-label=(says) title=(says) { (sign) }
            }
            button type="button" data-act="whole" { (words::WHOLE) }
        }
    }
}

fn correcting(bench: &Bench, folder: &Folder, list: Option<Markup>) -> Markup {
    let who = folder.settings().who;
    html! {
        section.correct aria-labelledby="correct-title" {
            h2 #correct-title { (words::CORRECT) }
            div.correctparts {
                div {
                    p #chosen role="status" data-none=(words::CHOSEN_NONE) { (words::CHOSEN_NONE) }
                    p.soft { (words::CORRECT_ABOUT) }
                    form #correct.line autocomplete="off" data-kept=(words::SAVED) data-undone=(words::UNDONE) {
                        div.choice { label for="who" { (words::WHO) } input #who name="who" type="text" maxlength="120" value=(who); }
                        div.choice { label for="why" { (words::WHY) } input #why name="why" type="text" maxlength="200" value=(words::BY_EYE); }
                        button #remove type="button" disabled { (words::REMOVE) }
                        button #undo type="button" { (words::UNDO) }
                    }
                    form #add.line autocomplete="off" {
                        div.choice {
                            label for="what" { (words::ADD_WHAT) }
                            select #what {
                                @for (channel, landmark) in correct::addable(&bench.named) {
                                    option value={ (channel) ":" (landmark) } {
                                        (strip::landmark_name(landmark)) ", " (strip::channel_name(&channel))
                                        @if landmark == "r_peak" { (words::MISSED_BEAT) }
                                    }
                                }
                            }
                        }
                        button { (words::ADD) }
                    }
                    p.soft { (words::ADD_ABOUT) }
                    p #kept role="status" {}
                    p #correct-fault.fault role="alert" {}
                }
                div {
                    h3 { (words::CORRECTIONS) }
                    div data-slot="corrections" { @if let Some(list) = list { (list) } }
                }
            }
        }
    }
}
