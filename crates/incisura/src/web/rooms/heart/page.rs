//! The page of the heart as HTML.

use figure::{Figure, FontEmbedding, Shape, Tag};
use heart::Rhythm;
use maud::{Markup, PreEscaped, html};

use super::controls::{controls, fault, has_control};
use super::view::{Drawn, View};
use super::{ROOM, beat, compare, into_sheet};
use crate::summary;
use crate::web::desk::Desk;
use crate::web::refusal::Refusal;
use crate::web::shell::{Page, shell};
use crate::web::words::heart as words;

/// Numbers of beats offered; other numbers can stand in the address.
const BEATS: [usize; 6] = [1, 2, 3, 4, 6, 8];

/// The whole page, with the figure or with what was wrong.
pub(crate) fn whole(desk: &Desk, view: &View, drawn: Result<&Drawn, &Refusal>) -> Markup {
    let refusal = drawn.err();
    let body = html! {
        h1.unseen { (ROOM.title) }
        form #heart action="/heart" method="get" autocomplete="off" {
            (toolbar(view, refusal))
            div.desk {
                (picture(view, drawn))
                (beat::column())
                (controls(view, refusal))
            }
        }
        (findings(view, drawn.ok()))
        (into_sheet::dialog(&desk.folder()))
    };
    shell(
        desk,
        &Page {
            room: &ROOM,
            title: &view.condition.title,
            styles: &["/heart.css"],
            scripts: &["/heart.js"],
            skip_to: ("figure", words::SKIP),
            keys: words::KEYS,
            body,
        },
    )
}

/// The parts of the page that change with the heart, each with the place it belongs to.
pub(crate) fn parts(view: &View, drawn: &Drawn) -> Markup {
    html! {
        div data-slot="sheet" { (sheet(view, drawn)) }
        div data-slot="beat" { (beat::data(&view.heart, &drawn.cycle)) }
        div data-slot="numbers" { (compare::numbers(&drawn.cycle, drawn.kept.as_deref())) }
        div data-slot="words" { (in_words(drawn)) }
        div data-slot="files" { (files(view)) }
        div data-slot="headline" { (summary::headline(&drawn.cycle)) }
    }
}

fn toolbar(view: &View, refusal: Option<&Refusal>) -> Markup {
    html! {
        div.toolbar role="group" aria-label=(words::TITLE) {
            div.choice {
                label for="condition" { (words::CONDITION) }
                select #condition name="condition" {
                    @for condition in heart::conditions() {
                        option value=(condition.name) selected[condition.name == view.condition.name] { (condition.title) }
                    }
                }
                (fault(refusal, "condition"))
            }
            div.choice {
                label for="rhythm" { (words::RHYTHM) }
                select #rhythm name="rhythm" data-usual=(view.condition.heart.rhythm.name()) {
                    @for (name, rhythm) in Rhythm::ALL {
                        option value=(name) selected[rhythm == view.heart.rhythm] { (words::rhythm(rhythm)) }
                    }
                }
                (fault(refusal, "rhythm"))
            }
            div.choice {
                label for="beats" { (words::BEATS) }
                select #beats name="beats" data-usual="" {
                    option value="" { (words::ENOUGH_BEATS) }
                    @for beats in offered_beats(view) {
                        option value=(beats) selected[view.beats == Some(beats)] { (beats) }
                    }
                }
                (fault(refusal, "beats"))
            }
            div.sound {
                (compare::controls(view))
                button #whole type="button" { (words::WHOLE_SCREEN) }
                button #play type="button" aria-pressed="false"
                    data-play=(words::PLAY) data-stop=(words::STOP) data-mute=(words::NO_SOUND) {
                    (words::PLAY)
                }
                audio #audio loop preload="none" {}
            }
            noscript { button type="submit" { (words::DRAW) } }
        }
    }
}

fn offered_beats(view: &View) -> Vec<usize> {
    let mut offered = BEATS.to_vec();
    offered.extend(view.beats.filter(|beats| !BEATS.contains(beats)));
    offered
}

fn picture(view: &View, drawn: Result<&Drawn, &Refusal>) -> Markup {
    let whole = drawn.err().filter(|refusal| !has_control(refusal));
    html! {
        section #figure .figure tabindex="0" aria-label=(words::FIGURE) {
            p #problem .fault role="alert" { @if let Some(refusal) = whole { (refusal.message) } }
            div.board {
                div data-slot="sheet" { @if let Ok(drawn) = drawn { (sheet(view, drawn)) } }
                div #cursor .cursor hidden {}
                div #dot .dot hidden {}
                div data-slot="beat" hidden { @if let Ok(drawn) = drawn { (beat::data(&view.heart, &drawn.cycle)) } }
            }
            p.headline.unseen data-slot="headline" { @if let Ok(drawn) = drawn { (summary::headline(&drawn.cycle)) } }
            div.lower {
                details {
                    summary { (words::IN_WORDS) }
                    div data-slot="words" { @if let Ok(drawn) = drawn { (in_words(drawn)) } }
                }
                div data-slot="files" { @if drawn.is_ok() { (files(view)) } }
                button #into-sheet type="button" { (words::INTO_SHEET) "…" }
            }
        }
    }
}

/// The figure, with where on it time runs so that a cursor can follow the sound.
fn sheet(view: &View, drawn: &Drawn) -> Markup {
    let plot = plot(&drawn.figure).unwrap_or([0.0, 0.0, 1.0, 1.0]);
    let (start_s, end_s) = drawn.cycle.span_s().unwrap_or((0.0, 1.0));
    html! {
        div.sheet data-left=(plot[0]) data-top=(plot[1]) data-right=(plot[2]) data-bottom=(plot[3])
            data-seconds=(end_s - start_s) data-loop=[loop_frame(drawn)]
            data-lines=(view.usual_lines().join(" ")) {
            (PreEscaped(drawn.figure.svg(FontEmbedding::Referenced)))
            (title_block(view, drawn))
        }
    }
}

/// What is drawn, in a row at the foot of the sheet, as on a technical drawing.
fn title_block(view: &View, drawn: &Drawn) -> Markup {
    let rhythm = words::rhythm(view.heart.rhythm).to_owned();
    let kept = view.kept.as_ref().map(|kept| (words::KEPT_DASHED, kept.title()));
    let two = kept.is_some();
    let cells = std::iter::once((words::TITLE, view.heart_title()))
        .chain(kept)
        .chain([(words::RHYTHM, rhythm)])
        .chain(summary::key_numbers(&drawn.cycle))
        .chain([(words::USE, words::TEACHING.to_owned())]);
    html! {
        dl.titleblock.two[two] {
            @for (title, value) in cells { div { dt { (title) } dd { (value) } } }
        }
    }
}

/// Left, top, right and bottom of the traces as parts of the figure's width and height.
fn plot(figure: &Figure) -> Option<[f64; 4]> {
    let traces = figure.items.iter().filter(|item| matches!(item.tag, Tag::Trace(_)));
    let points = traces.filter_map(|item| match &item.shape {
        Shape::Lines { parts, .. } => Some(parts.iter().flatten()),
        _ => None,
    });
    let extent = points.flatten().fold(None, |extent: Option<[f64; 4]>, &[x, y]| {
        let [left, top, right, bottom] = extent.unwrap_or([x, y, x, y]);
        Some([left.min(x), top.min(y), right.max(x), bottom.max(y)])
    });
    let [left, top, right, bottom] = extent?;
    let (w, h) = (figure.width_mm, figure.height_mm);
    Some([left / w, top / h, right / w, bottom / h])
}

/// Where the loop's volume and pressure lie: least and greatest value, each with its place as a
/// part of the figure's width or height, so that a point can follow the sweep line round the loop.
fn loop_frame(drawn: &Drawn) -> Option<String> {
    let figure = &drawn.figure;
    let lines = figure.items.iter().filter(|item| item.tag == Tag::Loop);
    let parts = lines.filter_map(|item| match &item.shape {
        Shape::Lines { parts, .. } => parts.first(),
        _ => None,
    });
    // The frame and the ticks have a few points, the loop has many.
    let points = parts.max_by_key(|part| part.len())?;
    let extent = |axis: usize| {
        let along = points.iter().map(|point| point[axis]);
        (along.clone().fold(f64::INFINITY, f64::min), along.fold(f64::NEG_INFINITY, f64::max))
    };
    let ((left, right), (top, bottom)) = (extent(0), extent(1));
    let (least_ml, most_ml) = drawn.cycle.trace("lv_volume")?.range()?;
    let (least_mmhg, most_mmhg) = drawn.cycle.trace("lv_pressure")?.range()?;
    let (w, h) = (figure.width_mm, figure.height_mm);
    let numbers =
        [least_ml, left / w, most_ml, right / w, least_mmhg, bottom / h, most_mmhg, top / h];
    Some(numbers.map(|number| format!("{number:.5}")).join(" "))
}

fn in_words(drawn: &Drawn) -> Markup {
    html! { @for line in drawn.figure.alt.lines() { p { (line) } } }
}

fn files(view: &View) -> Markup {
    let query = view.query();
    html! {
        p.files {
            (words::KEEP_AS) " "
            @for (index, (file, title)) in words::FILES.iter().enumerate() {
                @if index > 0 { ", " }
                a href={ "/heart/" (file) "?" (query) } download { (title) }
            }
        }
    }
}

fn findings(view: &View, drawn: Option<&Drawn>) -> Markup {
    html! {
        section.findings aria-label=(words::FINDINGS) {
            div #about {
                h2 { (view.condition.title) }
                p { (view.condition.about) }
                p.source { (words::NUMBERS) (view.condition.source) }
            }
            @if view.kept.is_some() { h2.unseen { (words::COMPARED) } }
            div.numbers data-slot="numbers" {
                @if let Some(drawn) = drawn { (compare::numbers(&drawn.cycle, drawn.kept.as_deref())) }
            }
        }
    }
}
