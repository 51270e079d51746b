//! The controls of the heart: sliders, and switches for what is drawn.

use heart::{PARAMETERS, Parameter};
use maud::{Markup, html};

use super::view::{PARTS, SCALES, SUBJECT, View};
use crate::standard::PANELS;
use crate::web::refusal::Refusal;
use crate::web::words::heart as words;

/// The controls that every course needs, in groups; all others follow under a heading.
const MAIN_CONTROLS: &[(&str, &[&str])] = &[
    (words::RATE_AND_CONDUCTION, &["rate_bpm", "pr_interval_ms"]),
    (
        words::PUMP_AND_VESSELS,
        &["lv_contractility", "blood_volume", "systemic_resistance", "arterial_compliance"],
    ),
    (
        words::VALVES,
        &[
            "aortic_valve_area_cm2",
            "aortic_leak_area_cm2",
            "mitral_valve_area_cm2",
            "mitral_leak_area_cm2",
        ],
    ),
];

pub(super) fn controls(view: &View, refusal: Option<&Refusal>) -> Markup {
    let main: Vec<&str> = MAIN_CONTROLS.iter().flat_map(|(_, names)| *names).copied().collect();
    let others: Vec<&str> = PARAMETERS
        .iter()
        .map(|parameter| parameter.name)
        .filter(|name| !main.contains(name))
        .collect();
    html! {
        section.controls aria-label=(words::CONTROLS) {
            div #sliders {
                @for (title, names) in MAIN_CONTROLS {
                    fieldset {
                        legend { (title) }
                        @for name in *names { (slider(view, name, refusal)) }
                    }
                }
                details open[refusal.is_some_and(|refusal| names_any(refusal, &others))] {
                    summary { (words::ALL_OTHERS) }
                    fieldset {
                        legend.unseen { (words::OTHERS) }
                        @for name in &others { (slider(view, name, refusal)) }
                    }
                }
            }
            p.reset { button #reset type="button" { (words::RESET) } }
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
    let unit = if parameter.unit.is_empty() { words::TIMES_NORMAL } else { parameter.unit };
    let range = words::range(low, high);
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
            legend { (words::PANELS) }
            input type="hidden" name="panel" value="";
            @for panel in PANELS {
                @let on = view.panels.iter().any(|shown| shown.id == panel.id);
                (switch("panel", panel.id, panel.title, on, panel.standard))
            }
            (fault(refusal, "panel"))
        }
        fieldset.switches {
            legend { (words::DRAWN_WITH) }
            input type="hidden" name="show" value="";
            @for part in PARTS {
                (switch("show", part.id, part.title, view.shows(part.id), part.standard))
            }
            (fault(refusal, "show"))
        }
        (lines(view, refusal))
        div.choice {
            label for="scale" { (words::SCALE) }
            select #scale name="scale" data-usual="print" {
                @for (id, title, _) in SCALES {
                    option value=(id) selected[*id == view.scale] { (title) }
                }
            }
            (fault(refusal, "scale"))
        }
    }
}

/// A switch for each landmark and event that can have an alignment line.
fn lines(view: &View, refusal: Option<&Refusal>) -> Markup {
    let subject = &SUBJECT;
    let usual = view.usual_lines();
    let on = |id: &str| match &view.lines {
        Some(lines) => lines.iter().any(|line| line == id),
        None => usual.contains(&id),
    };
    let groups = subject.landmarks.chunk_by(|a, b| a.channels[0] == b.channels[0]);
    let channel =
        |id: &str| subject.channel(id).map_or_else(String::new, |kind| kind.title.clone());
    html! {
        details #lines open[refusal.is_some_and(|refusal| names_any(refusal, &["line"]))] {
            summary { (words::LINES) "…" }
            p.soft { (words::LINES_HINT) }
            @for group in groups {
                fieldset.switches {
                    legend { (channel(&group[0].channels[0])) }
                    @for kind in group { (switch("line", &kind.id, &kind.title, on(&kind.id), usual.contains(&kind.id.as_str()))) }
                }
            }
            fieldset.switches {
                legend { (words::EVENTS) }
                @for kind in &subject.events { (switch("line", &kind.id, &kind.title, on(&kind.id), usual.contains(&kind.id.as_str()))) }
            }
        }
        (fault(refusal, "line"))
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

/// The place for what is wrong with a control, filled if something is.
pub(super) fn fault(refusal: Option<&Refusal>, control: &str) -> Markup {
    let message =
        refusal.filter(|refusal| names_any(refusal, &[control])).map(|refusal| &refusal.message);
    html! { p.fault id={ (control) "-fault" } role="alert" { @if let Some(message) = message { (message) } } }
}

fn names_any(refusal: &Refusal, names: &[&str]) -> bool {
    refusal.control.as_deref().is_some_and(|control| names.contains(&control))
}

/// Whether the refusal belongs beside a control that the page has.
pub(super) fn has_control(refusal: &Refusal) -> bool {
    let others = ["condition", "rhythm", "beats", "scale", "panel", "show", "line"];
    PARAMETERS
        .iter()
        .map(|parameter| parameter.name)
        .chain(others)
        .any(|name| names_any(refusal, &[name]))
}
