//! A figure in words, from the cycle it shows.

use std::fmt::Write as _;

use cycle::{Cycle, Subject};

use crate::FigureSpec;
use crate::axis::value_text;
use crate::layout::scene::{Scene, capitalised};

/// What the figure of `cycle` that `spec` asks for shows, in one plain paragraph.
///
/// Times are in milliseconds of the cycle; where a figure cannot be drawn, the text says why.
pub fn describe(cycle: &Cycle, subject: &Subject, spec: &FigureSpec) -> String {
    match Scene::new(cycle, None, subject, spec) {
        Ok(scene) => words(&scene),
        Err(error) => format!("There is no figure: {error}."),
    }
}

/// The description of a figure whose names are resolved.
pub(crate) fn words(scene: &Scene<'_>) -> String {
    let parts = [
        opening(scene),
        panels(scene),
        lines(scene),
        course(scene),
        phases(scene),
        bars(scene),
        loop_words(scene),
        summary("in numbers", scene.cycle),
        scene.ghost.map_or(String::new(), |ghost| summary("the second cycle in numbers", ghost)),
    ];
    let parts: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    parts.join(" ")
}

fn ms(time_s: f64) -> String {
    value_text(libm::round(time_s * 1000.0))
}

fn opening(scene: &Scene<'_>) -> String {
    let title = scene.spec.title.as_ref().unwrap_or(&scene.subject.title);
    let stop = if title.ends_with(['.', '!', '?']) { "" } else { "." };
    let mut text =
        format!("{title}{stop} Time runs from {} to {} ms", ms(scene.start_s), ms(scene.end_s));
    let period = ms(scene.cycle.period_s);
    if scene.repeats() {
        let cycles = (scene.end_s - scene.start_s) / scene.cycle.period_s;
        put(&mut text, format_args!(", about {} cycles of {period} ms.", libm::round(cycles)));
    } else {
        put(&mut text, format_args!("; one cycle lasts {period} ms."));
    }
    if scene.ghost.is_some() {
        let name =
            scene.spec.ghost_title.as_ref().map_or(String::new(), |name| format!(" ({name})"));
        let beneath = "is drawn beneath in thin dashed grey lines";
        put(&mut text, format_args!(" A second cycle{name} {beneath}."));
    }
    text
}

fn put(text: &mut String, more: std::fmt::Arguments<'_>) {
    text.write_fmt(more).expect("writing to text in memory succeeds");
}

/// `items` as English lists them.
fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn panels(scene: &Scene<'_>) -> String {
    let names: Vec<String> = scene
        .panels
        .iter()
        .map(|panel| {
            let traces: Vec<String> = panel
                .traces
                .iter()
                .map(|(kind, trace)| {
                    let unit = panel.unit.map_or(String::new(), |unit| format!(" {unit}"));
                    let shown = crate::curve::samples(trace, scene.start_s, scene.end_s);
                    if shown.is_empty() {
                        return format!("{} (nothing drawn yet)", kind.title);
                    }
                    let values = shown.iter().flatten().map(|sample| sample[1]);
                    let low = values.clone().fold(f64::INFINITY, f64::min);
                    let high = values.fold(f64::NEG_INFINITY, f64::max);
                    let from = value_text(low);
                    let range = format!("({from} to {}{unit})", value_text(high));
                    let title = if panel.unit.is_some() { range } else { "(relative)".into() };
                    format!("{} {title}", kind.title)
                })
                .collect();
            let together = if traces.len() > 1 { "together " } else { "" };
            format!("{together}{}", list(&traces))
        })
        .collect();
    format!("Panels from top to bottom on one time axis: {}.", names.join("; "))
}

fn lines(scene: &Scene<'_>) -> String {
    let mut text = String::new();
    if !scene.lines.is_empty() {
        let mut lines: Vec<_> = scene.lines.iter().collect();
        lines.sort_by(|a, b| a.times_s[0].total_cmp(&b.times_s[0]));
        let named: Vec<String> = lines
            .iter()
            .map(|line| format!("{} at {} ms", line.title, ms(line.times_s[0])))
            .collect();
        let each = if scene.repeats() { ", repeated in each cycle" } else { "" };
        text = format!("Alignment lines cross all panels: {}{each}.", list(&named));
    }
    if !scene.absent.is_empty() {
        let absent: Vec<String> = scene.absent.iter().map(|&title| title.to_owned()).collect();
        let space = if text.is_empty() { "" } else { " " };
        let line = if absent.len() == 1 { "no line for" } else { "no lines for" };
        put(
            &mut text,
            format_args!("{space}There is {line} {}: not in the time shown.", list(&absent)),
        );
    }
    text
}

/// Landmarks and events of the first cycle shown, in the order of time.
fn course(scene: &Scene<'_>) -> String {
    let end_s = scene.end_s.min(scene.start_s + scene.cycle.period_s);
    let in_first = |time_s: f64| scene.shows_time(time_s) && time_s <= end_s;
    let mut steps: Vec<(f64, String)> = Vec::new();
    let shown = scene.panels.iter().flat_map(|panel| &panel.traces);
    for (channel, trace) in shown {
        let here = scene.cycle.landmarks.iter().filter(|mark| mark.channel == channel.id);
        for mark in here.filter(|mark| in_first(mark.time_s)) {
            let Some(kind) = scene.subject.landmark(&mark.name) else { continue };
            let mut text = format!("{} at {} ms", kind.title, ms(mark.time_s));
            if trace.unit != "relative" {
                put(&mut text, format_args!(" ({} {}", value_text(mark.value), trace.unit));
                if kind.channels.len() > 1 {
                    put(&mut text, format_args!(", {}", channel.label));
                }
                text.push(')');
            }
            steps.push((mark.time_s, text));
        }
    }
    for event in scene.cycle.events.iter().filter(|event| in_first(event.time_s)) {
        let Some(kind) = scene.subject.event(&event.name) else { continue };
        steps.push((event.time_s, format!("{} at {} ms", kind.title, ms(event.time_s))));
    }
    steps.sort_by(|a, b| a.0.total_cmp(&b.0));
    if steps.is_empty() {
        return String::new();
    }
    let steps: Vec<String> = steps.into_iter().map(|step| step.1).collect();
    format!("In the order of time: {}.", steps.join("; "))
}

fn phases(scene: &Scene<'_>) -> String {
    if !scene.spec.phases {
        return String::new();
    }
    let end_s = scene.end_s.min(scene.start_s + scene.cycle.period_s);
    let shown = scene
        .cycle
        .phases
        .iter()
        .filter(|phase| phase.end_s > scene.start_s && phase.start_s < end_s - 1e-9);
    let named: Vec<String> = shown
        .filter_map(|phase| {
            let kind = scene.subject.phase(&phase.name)?;
            let (from, to) = (phase.start_s.max(scene.start_s), phase.end_s.min(scene.end_s));
            Some(format!("{} from {} to {} ms", kind.title, ms(from), ms(to)))
        })
        .collect();
    if named.is_empty() { String::new() } else { format!("Phases: {}.", list(&named)) }
}

fn bars(scene: &Scene<'_>) -> String {
    let named = scene.bars.iter().map(|bar| {
        let stretches: Vec<String> = scene
            .stretches(bar)
            .iter()
            .map(|[from, to]| format!("from {} to {} ms", ms(*from), ms(*to)))
            .collect();
        if stretches.is_empty() {
            return format!("{}: never {} in the time shown.", bar.title, bar.state);
        }
        format!("{} {} {}.", bar.title, bar.state, list(&stretches))
    });
    named.collect::<Vec<String>>().join(" ")
}

fn loop_words(scene: &Scene<'_>) -> String {
    let Some([(across, _), (up, _)]) = scene.loop_traces else { return String::new() };
    format!("A loop shows {} against {}.", up.title.to_lowercase(), across.title.to_lowercase())
}

/// Units that end a summary's name, the longest first.
const UNITS: [(&str, &str); 10] = [
    ("_mmhg_s", "mmHg/s"),
    ("_l_min", "L/min"),
    ("_ml_s", "mL/s"),
    ("_mmhg", "mmHg"),
    ("_wood", "Wood units"),
    ("_bpm", "per minute"),
    ("_cm2", "cm²"),
    ("_m_s", "m/s"),
    ("_ml", "mL"),
    ("_ms", "ms"),
];

fn summary(what: &str, cycle: &Cycle) -> String {
    let named: Vec<String> = cycle
        .summary
        .iter()
        .filter(|(_, value)| value.is_finite())
        .map(|(name, &value)| {
            let unit = UNITS.iter().find(|(ending, _)| name.ends_with(ending));
            let stem = unit.map_or(name.as_str(), |(ending, _)| &name[..name.len() - ending.len()]);
            let unit = unit.map_or(String::new(), |(_, unit)| format!(" {unit}"));
            let words: Vec<String> = stem.split('_').map(spoken).collect();
            format!("{} {}{unit}", words.join(" "), value_text(value))
        })
        .collect();
    if named.is_empty() {
        String::new()
    } else {
        capitalised(&format!("{what}: {}.", list(&named)))
    }
}

/// Short words that are no abbreviations.
const SHORT_WORDS: [&str; 10] =
    ["area", "end", "flow", "max", "mean", "min", "peak", "rate", "time", "work"];

/// An abbreviation in capitals: it is short, has a digit, or has none of the vowels.
fn spoken(word: &str) -> String {
    let vowels = word.chars().any(|letter| "aeiou".contains(letter));
    let digit = word.chars().any(|letter| letter.is_ascii_digit());
    let abbreviation = word.len() <= 4 && !SHORT_WORDS.contains(&word);
    if abbreviation || digit || !vowels { word.to_uppercase() } else { word.to_owned() }
}
