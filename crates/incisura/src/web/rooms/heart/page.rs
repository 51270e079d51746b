//! The page of the heart as HTML.

use figure::{Figure, FontEmbedding, Shape, Tag};
use heart::{PARAMETERS, Parameter, Rhythm};
use maud::{Markup, PreEscaped, html};

use super::ROOM;
use super::view::{Drawn, PARTS, SCALES, View};
use crate::standard::PANELS;
use crate::summary;
use crate::web::desk::Desk;
use crate::web::refusal::Refusal;
use crate::web::shell::{Page, shell};

/// The controls that every course needs, in groups; all others follow under a heading.
const MAIN_CONTROLS: &[(&str, &[&str])] = &[
    ("Rate and conduction", &["rate_bpm", "pr_interval_ms"]),
    (
        "Pump and vessels",
        &["lv_contractility", "blood_volume", "systemic_resistance", "arterial_compliance"],
    ),
    (
        "Valves",
        &[
            "aortic_valve_area_cm2",
            "aortic_leak_area_cm2",
            "mitral_valve_area_cm2",
            "mitral_leak_area_cm2",
        ],
    ),
];

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
                (controls(view, refusal))
                (findings(view, drawn.ok()))
            }
        }
    };
    shell(
        desk,
        &Page {
            room: &ROOM,
            title: &view.condition.title,
            styles: &["/heart.css"],
            scripts: &["/heart.js"],
            skip_to: ("figure", "Skip to the figure"),
            keys: &[],
            body,
        },
    )
}

/// The parts of the page that change with the heart, each with the place it belongs to.
pub(crate) fn parts(view: &View, drawn: &Drawn) -> Markup {
    html! {
        div data-slot="sheet" { (sheet(view, drawn)) }
        div data-slot="numbers" { (numbers(drawn)) }
        div data-slot="words" { (words(drawn)) }
        div data-slot="files" { (files(view)) }
        div data-slot="headline" { (summary::headline(&drawn.cycle)) }
    }
}

fn toolbar(view: &View, refusal: Option<&Refusal>) -> Markup {
    html! {
        div.toolbar role="group" aria-label="Heart" {
            div.choice {
                label for="condition" { "Condition" }
                select #condition name="condition" {
                    @for condition in heart::conditions() {
                        option value=(condition.name) selected[condition.name == view.condition.name] { (condition.title) }
                    }
                }
                (fault(refusal, "condition"))
            }
            div.choice {
                label for="rhythm" { "Rhythm" }
                select #rhythm name="rhythm" data-usual=(view.condition.heart.rhythm.name()) {
                    @for (name, rhythm) in Rhythm::ALL {
                        option value=(name) selected[rhythm == view.heart.rhythm] { (rhythm_title(rhythm)) }
                    }
                }
                (fault(refusal, "rhythm"))
            }
            div.choice {
                label for="beats" { "Beats" }
                select #beats name="beats" data-usual="" {
                    option value="" { "as many as it takes" }
                    @for beats in offered_beats(view) {
                        option value=(beats) selected[view.beats == Some(beats)] { (beats) }
                    }
                }
                (fault(refusal, "beats"))
            }
            div.sound {
                button #whole type="button" { "Figure on the whole screen" }
                button #play type="button" aria-pressed="false" { "Play heart sounds" }
                audio #audio loop preload="none" {}
            }
            noscript { button type="submit" { "Draw" } }
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
        section #figure .figure tabindex="-1" aria-label="Figure" {
            p #problem .fault role="alert" { @if let Some(refusal) = whole { (refusal.message) } }
            div.board {
                div data-slot="sheet" { @if let Ok(drawn) = drawn { (sheet(view, drawn)) } }
                div #cursor .cursor hidden {}
            }
            p.headline.unseen data-slot="headline" { @if let Ok(drawn) = drawn { (summary::headline(&drawn.cycle)) } }
            div.lower {
                details {
                    summary { "The figure in words" }
                    div data-slot="words" { @if let Ok(drawn) = drawn { (words(drawn)) } }
                }
                div data-slot="files" { @if drawn.is_ok() { (files(view)) } }
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
            data-seconds=(end_s - start_s) {
            (PreEscaped(drawn.figure.svg(FontEmbedding::Referenced)))
            (title_block(view, drawn))
        }
    }
}

/// What is drawn, in a row at the foot of the sheet, as on a technical drawing.
fn title_block(view: &View, drawn: &Drawn) -> Markup {
    let changed = if view.heart == view.condition.heart { "" } else { ", changed" };
    let heart = format!("{}{changed}", view.condition.title);
    let first = [("Heart", heart), ("Rhythm", rhythm_title(view.heart.rhythm).to_owned())];
    html! {
        dl.titleblock {
            @for (title, value) in first.into_iter().chain(summary::key_numbers(&drawn.cycle)) {
                div { dt { (title) } dd { (value) } }
            }
            div { dt { "Use" } dd { "teaching only" } }
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

fn words(drawn: &Drawn) -> Markup {
    html! { @for line in drawn.figure.alt.lines() { p { (line) } } }
}

fn files(view: &View) -> Markup {
    let query = view.query();
    let files = [
        ("figure.svg", "SVG"),
        ("figure.png", "PNG"),
        ("figure.pdf", "PDF"),
        ("cycle.json", "JSON"),
        ("traces.csv", "traces (CSV)"),
        ("marks.csv", "landmarks (CSV)"),
        ("sounds.wav", "sounds (WAV)"),
    ];
    html! {
        p.files {
            "Keep this as "
            @for (index, (file, title)) in files.iter().enumerate() {
                @if index > 0 { ", " }
                a href={ "/heart/" (file) "?" (query) } download { (title) }
            }
        }
    }
}

fn controls(view: &View, refusal: Option<&Refusal>) -> Markup {
    let main: Vec<&str> = MAIN_CONTROLS.iter().flat_map(|(_, names)| *names).copied().collect();
    let others: Vec<&str> = PARAMETERS
        .iter()
        .map(|parameter| parameter.name)
        .filter(|name| !main.contains(name))
        .collect();
    html! {
        section.controls aria-label="Controls" {
            div #sliders {
                @for (title, names) in MAIN_CONTROLS {
                    fieldset {
                        legend { (title) }
                        @for name in *names { (slider(view, name, refusal)) }
                    }
                }
                details open[refusal.is_some_and(|refusal| names_any(refusal, &others))] {
                    summary { "All other parameters" }
                    fieldset {
                        legend.unseen { "Other parameters" }
                        @for name in &others { (slider(view, name, refusal)) }
                    }
                }
            }
            p.reset { button #reset type="button" { "Back to the condition as it is" } }
            (switches(view, refusal))
        }
    }
}

fn slider(view: &View, name: &str, refusal: Option<&Refusal>) -> Markup {
    let Some(parameter) = PARAMETERS.iter().find(|parameter| parameter.name == name) else {
        return html! {};
    };
    let value = view.heart.parameters.get(name).unwrap_or(parameter.default);
    let usual = view.condition.heart.parameters.get(name).unwrap_or(parameter.default);
    let Parameter { low, high, title, about, .. } = *parameter;
    let unit = if parameter.unit.is_empty() { "× normal" } else { parameter.unit };
    let range = format!("{low} to {high}");
    let at_fault = refusal.is_some_and(|refusal| names_any(refusal, &[name]));
    html! {
        div.slider {
            label for=(name) title=(about) { (title) }
            input id=(name) name=(name) type="number" min=(low) max=(high) step="any" value=(value) data-usual=(usual)
                aria-describedby={ (name) "-unit " (name) "-fault" } aria-invalid=[at_fault.then_some("true")];
            span.unit id={ (name) "-unit" } { (unit) span.unseen { ", " (range) } }
            input type="range" data-for=(name) min=(low) max=(high) step=(step(parameter)) value=(value)
                aria-label=(title) aria-valuetext={ (value) " " (unit) };
            (fault(refusal, name))
        }
    }
}

/// A step that crosses the range in about a hundred, of a size that people count in.
fn step(parameter: &Parameter) -> f64 {
    let wanted = (parameter.high - parameter.low) / 100.0;
    let steps = [5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02];
    steps.into_iter().find(|step| *step <= wanted * 1.01).unwrap_or(0.01)
}

fn switches(view: &View, refusal: Option<&Refusal>) -> Markup {
    html! {
        fieldset.switches {
            legend { "Panels" }
            input type="hidden" name="panel" value="";
            @for panel in PANELS {
                @let on = view.panels.iter().any(|shown| shown.id == panel.id);
                (switch("panel", panel.id, panel.title, on, panel.standard))
            }
            (fault(refusal, "panel"))
        }
        fieldset.switches {
            legend { "Drawn with" }
            input type="hidden" name="show" value="";
            @for part in PARTS {
                (switch("show", part.id, part.title, view.shows(part.id), part.standard))
            }
            (fault(refusal, "show"))
        }
        div.choice {
            label for="scale" { "Text and lines for" }
            select #scale name="scale" data-usual="print" {
                @for (id, title, _) in SCALES {
                    option value=(id) selected[*id == view.scale] { (title) }
                }
            }
            (fault(refusal, "scale"))
        }
    }
}

fn switch(name: &str, value: &str, title: &str, on: bool, usual: bool) -> Markup {
    html! {
        label.switch {
            input type="checkbox" name=(name) value=(value) checked[on] data-usual=(usual);
            (title)
        }
    }
}

fn findings(view: &View, drawn: Option<&Drawn>) -> Markup {
    html! {
        section.findings aria-label="What it shows" {
            div #about {
                h2 { (view.condition.title) }
                p { (view.condition.about) }
                p.source { "Numbers: " (view.condition.source) }
            }
            div.numbers data-slot="numbers" { @if let Some(drawn) = drawn { (numbers(drawn)) } }
        }
    }
}

fn numbers(drawn: &Drawn) -> Markup {
    html! {
        @for (title, measures) in summary::GROUPS {
            table {
                caption { (title) }
                tbody {
                    @for measure in *measures {
                        @if let Some(value) = measure.shown(&drawn.cycle) {
                            tr { th scope="row" { (measure.title) } td { (value) " " span.unit { (measure.unit) } } }
                        }
                    }
                }
            }
        }
    }
}

/// The place for what is wrong with a control, filled if something is.
fn fault(refusal: Option<&Refusal>, control: &str) -> Markup {
    let message =
        refusal.filter(|refusal| names_any(refusal, &[control])).map(|refusal| &refusal.message);
    html! { p.fault id={ (control) "-fault" } role="alert" { @if let Some(message) = message { (message) } } }
}

fn names_any(refusal: &Refusal, names: &[&str]) -> bool {
    refusal.control.as_deref().is_some_and(|control| names.contains(&control))
}

/// Whether the refusal belongs beside a control that the page has.
fn has_control(refusal: &Refusal) -> bool {
    let others = ["condition", "rhythm", "beats", "scale", "panel", "show"];
    PARAMETERS
        .iter()
        .map(|parameter| parameter.name)
        .chain(others)
        .any(|name| names_any(refusal, &[name]))
}

fn rhythm_title(rhythm: Rhythm) -> &'static str {
    match rhythm {
        Rhythm::Sinus => "Sinus rhythm",
        Rhythm::RespiratorySinusArrhythmia => "Respiratory sinus arrhythmia",
        Rhythm::SecondDegreeTypeI => "AV block, second degree, type I",
        Rhythm::SecondDegreeTypeII => "AV block, second degree, type II",
        Rhythm::ThirdDegree => "AV block, third degree",
        Rhythm::AtrialFibrillation => "Atrial fibrillation",
        Rhythm::PrematureAtrial => "Premature atrial beat",
        Rhythm::PrematureVentricular => "Premature ventricular beat",
    }
}
