//! What a figure with numbers shows, in words that give no answer away.

use figure::{Shape, Tag};

use super::BlankKind;
use super::names::{Name, Sheet, Target, contains};
use super::room::Ring;

/// The alternative text of a figure with numbers.
pub(super) fn alt(title: &str, sheet: &Sheet<'_>, kept: &[&Name], rings: &[Ring<'_>]) -> String {
    let stop = if title.ends_with(['.', '!', '?']) { "" } else { "." };
    let count = rings.iter().map(|ring| ring.number).max().unwrap_or(0);
    let names = if count == 1 { "name is" } else { "names are" };
    let panels: Vec<String> =
        (0..sheet.panels.len()).map(|panel| panel_name(panel, sheet, rings)).collect();
    let mut parts = vec![
        format!("{title}{stop} {count} {names} left out, with a number in place of each."),
        format!("Panels from top to bottom on one time axis: {}.", panels.join("; ")),
    ];
    parts.extend(rings.iter().map(|ring| numbered(ring, sheet, rings)));
    if !kept.is_empty() {
        let printed: Vec<String> = kept.iter().map(|name| printed(name, sheet)).collect();
        parts.push(format!("Named in the figure: {}.", printed.join("; ")));
    }
    parts.join(" ")
}

/// A panel by its name, or by its number where the name would give an answer away.
fn panel_name(panel: usize, sheet: &Sheet<'_>, rings: &[Ring<'_>]) -> String {
    let name = &sheet.panels[panel].name;
    if name.is_empty() || rings.iter().any(|ring| contains(name, &ring.name.answer)) {
        return format!("panel {}", panel + 1);
    }
    name.clone()
}

/// Where one number stands.
fn numbered(ring: &Ring<'_>, sheet: &Sheet<'_>, rings: &[Ring<'_>]) -> String {
    let (name, number) = (ring.name, ring.number);
    let panel = name.panel.map_or_else(String::new, |panel| {
        format!(" in the panel “{}”", panel_name(panel, sheet, rings))
    });
    match name.kind {
        BlankKind::Phase => format!("Number {number} is a phase{}.", spans(name, sheet)),
        BlankKind::Bar => format!("Number {number} is a bar{}.", spans(name, sheet)),
        BlankKind::Line => {
            format!("Number {number} is an alignment line{}.", when(time_x(ring), sheet))
        }
        BlankKind::Trace => {
            format!("Number {number} is the {} trace{panel}.", look(&name.id, sheet))
        }
        BlankKind::Landmark => {
            let trace = trace_of(name, sheet);
            format!("Number {number} is a point{trace}{panel}{}.", when(time_x(ring), sheet))
        }
    }
}

/// On which trace a point is, where its panel has several.
fn trace_of(name: &Name, sheet: &Sheet<'_>) -> String {
    let named = |other: &&Name| other.kind == BlankKind::Trace && other.panel == name.panel;
    match &name.channel {
        Some(channel) if sheet.names.iter().filter(named).count() > 1 => {
            format!(" of the {} trace", look(channel, sheet))
        }
        _ => String::new(),
    }
}

/// A name that is printed, and when.
fn printed(name: &Name, sheet: &Sheet<'_>) -> String {
    let place = match &name.target {
        Target::Trace => format!(" ({})", look(&name.id, sheet)),
        Target::Point([x, _]) => when(*x, sheet),
        _ if !name.spans.is_empty() => spans(name, sheet),
        Target::Way(points) => when(points[0][0], sheet),
        Target::Place => String::new(),
    };
    format!("{}{place}", name.answer)
}

/// The place on the time axis that a number speaks of.
fn time_x(ring: &Ring<'_>) -> f64 {
    match &ring.name.target {
        Target::Point([x, _]) => *x,
        Target::Way(points) => points[0][0],
        Target::Place | Target::Trace => ring.centre[0],
    }
}

fn when(x: f64, sheet: &Sheet<'_>) -> String {
    sheet.time_s(x).map_or_else(String::new, |time_s| format!(" at about {} ms", tens(time_s)))
}

/// From when to when a phase or a bar lasts.
fn spans(name: &Name, sheet: &Sheet<'_>) -> String {
    let spans: Option<Vec<String>> = name
        .spans
        .iter()
        .map(|&[from, to]| {
            let (from, to) = (sheet.time_s(from)?, sheet.time_s(to)?);
            Some(format!("from about {} to {} ms", tens(from), tens(to)))
        })
        .collect();
    let spans = spans.unwrap_or_default().join(" and ");
    if spans.is_empty() { spans } else { format!(" {spans}") }
}

/// Milliseconds to the next ten: as near as the eye reads them off.
fn tens(time_s: f64) -> i64 {
    (time_s * 100.0).round() as i64 * 10
}

/// How a trace is drawn.
fn look(channel: &str, sheet: &Sheet<'_>) -> &'static str {
    let dash = sheet.figure.items.iter().find_map(|item| match (&item.tag, &item.shape) {
        (Tag::Trace(id), Shape::Lines { stroke, .. }) if id == channel => Some(&stroke.dash),
        _ => None,
    });
    match dash.map_or(&[][..], Vec::as_slice) {
        [] => "solid",
        [mark, ..] if *mark < sheet.scale => "dotted",
        [_, _] => "dashed",
        _ => "dashed and dotted",
    }
}
