//! The beat at one instant: what the page needs to move a schematic and a sweep line by itself.

use cycle::{BarKind, Cycle};
use heart::{Heart, PARAMETERS};
use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::view::SUBJECT;
use crate::web::words::heart as words;

/// How far apart the samples are that the page gets: as far as the sweep line steps.
const STEP_S: f64 = 0.01;
/// The channels that the schematic and the words at the sweep line tell of.
const CHANNELS: [&str; 10] = [
    "lv_volume",
    "rv_volume",
    "la_volume",
    "ra_volume",
    "lv_pressure",
    "aortic_pressure",
    "la_pressure",
    "rv_pressure",
    "pa_pressure",
    "ra_pressure",
];
/// Leak, as a part of the usual open area, from which on a closed valve is drawn ajar.
const LEAST_LEAK: f64 = 0.01;

#[derive(Serialize)]
struct Beat {
    start_s: f64,
    end_s: f64,
    step_s: f64,
    channels: Vec<Channel>,
    valves: Vec<Valve>,
    phases: Vec<Span>,
}

#[derive(Serialize)]
struct Channel {
    id: &'static str,
    label: String,
    values: Vec<f64>,
}

#[derive(Serialize)]
struct Valve {
    id: String,
    title: String,
    open: Vec<[f64; 2]>,
    /// Parts of the usual open area: what is open when it opens, and what stays when it shuts.
    area: f64,
    leak: f64,
}

#[derive(Serialize)]
struct Span {
    title: String,
    from: f64,
    to: f64,
}

/// The beat as a block of data in the page.
pub(super) fn data(heart: &Heart, cycle: &Cycle) -> Markup {
    let subject = &SUBJECT;
    let (start_s, end_s) = cycle.span_s().unwrap_or((0.0, 1.0));
    let count = ((end_s - start_s) / STEP_S).ceil() as usize;
    let channels = CHANNELS.iter().filter_map(|id| {
        let trace = cycle.trace(id)?;
        let last = trace.samples.last().copied()?;
        let at = |step: usize| trace.at(start_s + step as f64 * STEP_S).unwrap_or(last);
        let values = (0..=count).map(|step| (at(step) * 10.0).round() / 10.0).collect();
        let label = subject.channel(id).map_or(*id, |kind| &kind.label).to_owned();
        Some(Channel { id, label, values })
    });
    let phases = cycle.phases.iter().filter_map(|phase| {
        let title = subject.phase(&phase.name)?.title.clone();
        Some(Span { title, from: phase.start_s, to: phase.end_s })
    });
    let beat = Beat {
        start_s,
        end_s,
        step_s: STEP_S,
        channels: channels.collect(),
        valves: subject.bars.iter().map(|bar| valve(bar, heart, cycle, start_s, end_s)).collect(),
        phases: phases.collect(),
    };
    // Numbers and the subject's own names: nothing that could end the block.
    let json = serde_json::to_string(&beat).unwrap_or_default().replace('<', "\\u003c");
    html! { script #beat-data type="application/json" { (PreEscaped(json)) } }
}

fn valve(bar: &BarKind, heart: &Heart, cycle: &Cycle, start_s: f64, end_s: f64) -> Valve {
    let usual = |name: &str| {
        PARAMETERS
            .iter()
            .find(|parameter| parameter.name == name)
            .map(|parameter| parameter.default)
    };
    let area_name = format!("{}_valve_area_cm2", bar.id);
    let whole = usual(&area_name).unwrap_or(1.0);
    let part = |name: &str| heart.parameters.get(name).map(|area| area / whole);
    let leak = part(&format!("{}_leak_area_cm2", bar.id)).unwrap_or(0.0);
    Valve {
        id: bar.id.clone(),
        title: bar.title.to_lowercase().replace(words::VALVE, ""),
        open: bar.stretches(cycle, start_s, end_s),
        area: part(&area_name).unwrap_or(1.0).min(1.0),
        leak: if leak < LEAST_LEAK { 0.0 } else { leak },
    }
}

/// The column beside the figure: schematic, what moves the sweep line, what is read off there.
pub(super) fn column() -> Markup {
    html! {
        section #beat .beat aria-label=(words::BEAT) data-spoken=(words::SPOKEN) data-none=(words::NONE_OPEN) {
            div.paper { (schematic()) }
            div.transport role="group" aria-label=(words::TIME) {
                button #back type="button" aria-label=(words::BACK) title=(words::BACK) { "←" }
                button #run .primary type="button" data-run=(words::RUN) data-pause=(words::PAUSE) { (words::RUN) }
                button #on type="button" aria-label=(words::ON) title=(words::ON) { "→" }
                select #speed aria-label=(words::SPEED) autocomplete="off" {
                    @for (value, title) in words::SPEEDS { option value=(value) { (title) } }
                }
                input #when type="range" min="0" max="800" step="10" value="0" aria-label=(words::TIME) autocomplete="off";
                p #still .soft hidden { (words::STILL) }
            }
            dl.readout {
                div { dt { (words::TIME_SHORT) } dd { output #r-time { "0" } " ms" } }
                div { dt { (words::PHASE) } dd #r-phase { (words::NO_PHASE) } }
                div { dt { (words::OPEN) } dd #r-open { (words::NONE_OPEN) } }
            }
            table.pressures {
                caption.unseen { (words::PRESSURES) }
                thead { tr { td {} th scope="col" { (words::LEFT) } th scope="col" { (words::RIGHT) } } }
                tbody {
                    tr { th scope="row" { (words::ATRIUM) } td #r-la_pressure {} td #r-ra_pressure {} }
                    tr { th scope="row" { (words::VENTRICLE) } td #r-lv_pressure {} td #r-rv_pressure {} }
                    tr { th scope="row" { (words::ARTERY) } td #r-aortic_pressure {} td #r-pa_pressure {} }
                    tr { th scope="row" { (words::VENTRICLE_ML) } td #r-lv_volume {} td #r-rv_volume {} }
                }
            }
        }
    }
}

/// The parts of the schematic; the page's module gives them their shapes. The heart is unfolded:
/// inflow at the sides, outflow in the middle, so that no vessel crosses another.
fn schematic() -> Markup {
    html! {
        svg #schematic viewBox="0 0 260 252" role="img" aria-label=(words::SCHEMATIC) {
            // Veins enter the atria from the sides, arteries leave beside the septum.
            path.vessel d="M4 112H56M4 126H56M256 112H204M256 126H204" {}
            path.vessel d="M90 136V18M122 136V18M138 136V18M170 136V18" {}
            path.flowhead d="M106 6l-5 9h10zM154 6l-5 9h10z" {}
            @for (id, ..) in words::CHAMBERS { path.wall id={ "wall-" (id) } {} path.cavity id={ "cavity-" (id) } {} }
            path.ring d="M36 136h6M82 136h8M122 136h16M170 136h8M218 136h6" {}
            @for valve in ["tricuspid", "pulmonary", "aortic", "mitral"] {
                path.stream id={ "stream-" (valve) } {}
                path.leaflet id={ "valve-" (valve) } {}
            }
            (in_two_lines("", 106, 40, words::PULMONARY_ARTERY))
            text x="154" y="45" { (words::AORTA) }
            (in_two_lines("end", 2, 84, words::VENAE_CAVAE))
            (in_two_lines("begin", 258, 84, words::PULMONARY_VEINS))
            @for ((id, short, _), (x, y)) in words::CHAMBERS.iter().zip([(62, 122), (84, 160), (198, 122), (178, 160)]) {
                text.name id={ "name-" (id) } x=(x) y=(y) { (short) }
            }
        }
    }
}

fn in_two_lines(class: &str, x: u16, y: u16, lines: [&str; 2]) -> Markup {
    html! {
        text class=(class) x=(x) y=(y) { tspan x=(x) { (lines[0]) } tspan x=(x) dy="10" { (lines[1]) } }
    }
}
