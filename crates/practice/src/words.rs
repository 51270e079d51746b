//! What the task and its judgement say, in one place.

use crate::definition::Level;

/// What a level is called.
pub(crate) fn level(level: Level) -> &'static str {
    match level {
        Level::OneTrace => "One trace, with alignment lines",
        Level::Lines => "Given traces and alignment lines",
        Level::Given => "Given traces",
        Level::Baselines => "Baselines only",
    }
}

/// What the student is told to do.
pub(crate) fn told(asked: &[String], lines: bool, rate: Option<f64>) -> String {
    let place = if asked.len() == 1 { " in its place" } else { ", each in its place" };
    let mut told = format!("Draw the {}{place}.", listed(asked));
    if lines {
        told += " The alignment lines show where things belong together.";
    }
    if let Some(rate) = rate {
        told += &format!(" The heart beats {rate:.0} times a minute.");
    }
    told
}

/// Such as "a, b and c".
pub(crate) fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

pub(crate) fn no_tone(channel: &str) -> String {
    format!("the page has no trace “{channel}” that could be heard as a tone")
}

pub(crate) fn nothing_drawn(place: &str) -> String {
    format!("Nothing is drawn yet in the panel of the {place}.")
}

/// Why it cannot be said whether a thing is met that is so near to what is tolerated.
pub(crate) fn too_close(off_mm: f64, tolerance_mm: f64) -> String {
    format!(
        "Cannot tell: this is {off_mm:.1} mm off, and {tolerance_mm:.1} mm is accepted, which is too close to call. Draw this part again, nearer to where it belongs."
    )
}

pub(crate) fn too_far(off_mm: f64) -> String {
    format!(
        "Cannot tell: what was taken for it is {off_mm:.0} mm away from where it belongs, and may be something else. Draw this part again, nearer to where it belongs."
    )
}

pub(crate) fn not_plain(nouns: &[String]) -> String {
    format!(
        "Cannot tell: {} cannot be told from the rest of the drawing for certain. Draw this part again, more plainly.",
        listed(nouns)
    )
}

pub(crate) fn not_found(why: &str) -> String {
    format!("Cannot tell: {} Draw this part again, more plainly.", full_stop(why))
}

pub(crate) fn full_stop(text: &str) -> String {
    let text = text.trim();
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase);
    let text: String = first.into_iter().flatten().chain(letters).collect();
    if text.is_empty() || text.ends_with(['.', '!', '?']) { text } else { text + "." }
}

/// The total, for a screen reader and for the head of the list.
pub(crate) fn total(met: usize, of: usize, open: usize) -> String {
    let rules = if of == 1 { "rule is" } else { "rules are" };
    let mut total = format!("{met} of {of} {rules} met.");
    if open > 0 {
        let cannot = if open == 1 { "one cannot be told" } else { "some cannot be told" };
        total = format!("{met} of {of} {rules} met; {cannot} yet.");
    }
    total
}

/// On which line a thing belongs, as a hint.
pub(crate) fn on_line(thing: &str, of: &str) -> String {
    format!("Look at {of}: {thing} is placed by it. The marked stretch is where it belongs.")
}

/// At which height a thing belongs, as a hint.
pub(crate) fn at_height(thing: &str, of: &str) -> String {
    format!(
        "Look at the height of {of}: {thing} is placed by it. The marked stretch is where it belongs."
    )
}

pub(crate) fn along(channel: &str) -> String {
    format!("Look at the marked stretch of the {channel}.")
}
