//! Figures with names, and the same figures with numbers in their place.

mod labelled;
mod names;
mod room;
mod words;

use std::collections::BTreeSet;

use cycle::{Cycle, Random, Subject};
use figure::style;
use figure::{Align, Figure, Item, Shape, Stroke, Tag};

pub use labelled::labelled;

use names::{Name, Sheet, contains};
use room::{Ring, place};

/// What a name in a figure is the name of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum BlankKind {
    /// A phase in the band at the top.
    Phase,
    /// An alignment line.
    Line,
    /// One of several traces in a panel.
    Trace,
    /// A point on a trace.
    Landmark,
    /// A bar below the panels.
    Bar,
}

impl BlankKind {
    /// Every kind.
    pub const ALL: [Self; 5] = [Self::Phase, Self::Line, Self::Trace, Self::Landmark, Self::Bar];
}

/// A number in a figure and the name that it stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Blank {
    /// The number, from 1 in reading order.
    pub number: usize,
    /// The name.
    pub answer: String,
    /// What it is the name of.
    pub kind: BlankKind,
}

/// `figure` with numbers in place of its names of these `kinds`, and what the numbers stand for.
///
/// `figure` is one that [`figure::lay_out`] made of `cycle` and `subject`, such as [`labelled`]
/// gives. A ring marks a point, a square whatever is longer: a trace, a line, a phase or a bar.
/// Numbers run in reading order: phases, alignment lines, then panel after panel from left to
/// right, then bars. What occurs several times, such as a phase in every beat, has one number.
/// A name that is not asked for stays, unless it would give away one that is: then it is taken
/// away, and so are the identifiers by which the figure's parts can be found in an SVG file. A
/// title that holds an answer is replaced.
///
/// A number covers neither a trace nor another number as long as there is room for it within
/// its panel. The alternative text says in which panel and at about what time each stands.
pub fn cloze(
    figure: &Figure,
    cycle: &Cycle,
    subject: &Subject,
    kinds: &BTreeSet<BlankKind>,
) -> (Figure, Vec<Blank>) {
    let sheet = Sheet::read(figure, cycle, subject);
    let (asked, others): (Vec<&Name>, Vec<&Name>) =
        sheet.names.iter().partition(|name| kinds.contains(&name.kind));
    let kept: Vec<&Name> =
        others.into_iter().filter(|name| !asked.iter().any(|a| name.betrays(a, subject))).collect();
    let answers: Vec<&str> = asked.iter().map(|name| name.answer.as_str()).collect();
    let mut page = without(figure, &sheet, &kept, &answers);
    let rings = place(&sheet, &asked, &page);
    let (blanks, rings) = number(rings);
    page.alt = words::alt(&page.title, &sheet, &kept, &rings);
    hide(&mut page, &asked, &kept);
    for ring in &rings {
        draw(&mut page, ring, sheet.scale);
    }
    (page, blanks)
}

/// The answers of `blanks` in an order that depends on `seed` alone; an answer that two blanks
/// share is there twice.
pub fn word_list(blanks: &[Blank], seed: u64) -> Vec<String> {
    let mut words: Vec<String> = blanks.iter().map(|blank| blank.answer.clone()).collect();
    // From the alphabet: the order of the numbers must not show through for any seed.
    words.sort();
    Random::new(seed).shuffle(&mut words);
    words
}

/// Rings in reading order, with their numbers, and what the numbers stand for.
fn number(mut rings: Vec<Ring<'_>>) -> (Vec<Blank>, Vec<Ring<'_>>) {
    rings.sort_by(|a, b| (a.name.row.cmp(&b.name.row)).then(a.centre[0].total_cmp(&b.centre[0])));
    let mut blanks: Vec<Blank> = Vec::new();
    let mut things: Vec<&Name> = Vec::new();
    for ring in &mut rings {
        let known = things.iter().position(|other| ring.name.same_thing(other));
        ring.number = known.unwrap_or(things.len()) + 1;
        if known.is_none() {
            things.push(ring.name);
            let (answer, kind) = (ring.name.answer.clone(), ring.name.kind);
            blanks.push(Blank { number: ring.number, answer, kind });
        }
    }
    (blanks, rings)
}

/// The figure with no names but `kept`, and nothing else that holds one of `answers`.
fn without(figure: &Figure, sheet: &Sheet, kept: &[&Name], answers: &[&str]) -> Figure {
    let stays = |name: &Name| kept.iter().any(|other| std::ptr::eq(*other, name));
    let gone: Vec<&Name> = sheet.names.iter().filter(|name| !stays(name)).collect();
    let mut items: BTreeSet<usize> =
        gone.iter().flat_map(|name| name.items.iter().copied()).collect();
    if gone.iter().any(|name| name.kind == BlankKind::Phase) {
        items.extend(&sheet.phase_key);
    }
    let tells = |text: &str| answers.iter().any(|answer| contains(text, answer));
    for panel in sheet.panels.iter().filter(|panel| tells(&panel.name)) {
        items.extend(&panel.name_items);
    }
    let left = figure.items.iter().enumerate().filter(|(index, _)| !items.contains(index));
    let mut page = Figure {
        width_mm: figure.width_mm,
        height_mm: figure.height_mm,
        title: figure.title.clone(),
        alt: String::new(),
        items: left.map(|(_, item)| item.clone()).collect(),
    };
    if tells(&page.title) {
        retitle(&mut page);
    }
    page
}

/// Replaces a title that gives an answer away, in the figure and as its name.
fn retitle(page: &mut Figure) {
    let other = "What do the numbers stand for?";
    other.clone_into(&mut page.title);
    let mut first = true;
    page.items.retain_mut(|item| {
        if item.tag != Tag::Title {
            return true;
        }
        if let Shape::Text { text, .. } = &mut item.shape {
            other.clone_into(text);
        }
        std::mem::take(&mut first)
    });
}

/// Draws a ring or a square with its number, and its leader beneath.
fn draw(page: &mut Figure, ring: &Ring<'_>, k: f64) {
    let [x, y] = ring.centre;
    let number = ring.number.to_string();
    let tag = match ring.name.kind {
        BlankKind::Phase => Tag::Phase(number.clone()),
        BlankKind::Line => Tag::Line(number.clone()),
        BlankKind::Trace => Tag::TraceLabel(number.clone()),
        BlankKind::Landmark => Tag::LandmarkLabel(number.clone()),
        BlankKind::Bar => Tag::Bar(number.clone()),
    };
    let mut add = |shape: Shape| page.items.push(Item { tag: tag.clone(), shape });
    if let Some(leader) = &ring.leader {
        let stroke = Stroke::solid(style::SOFT_INK, 0.18 * k);
        add(Shape::Lines { parts: vec![leader.clone()], stroke });
    }
    let points = ring.outline();
    add(Shape::Polygon { points: points.clone(), colour: style::PAPER });
    let closed = points.iter().chain(&points[..1]).copied().collect();
    add(Shape::Lines { parts: vec![closed], stroke: Stroke::solid(style::INK, 0.25 * k) });
    let (size, colour) = (2.7 * k, style::INK);
    let at = [x, y + 0.35 * size];
    add(Shape::Text { at, text: number, size, bold: true, align: Align::Middle, colour });
}

/// Takes the identifiers of what is not named from the figure's parts.
fn hide(page: &mut Figure, asked: &[&Name], kept: &[&Name]) {
    let named =
        |kind: BlankKind, id: &str| kept.iter().any(|name| name.kind == kind && name.id == id);
    let asked_trace =
        |id: &str| asked.iter().any(|name| name.kind == BlankKind::Trace && name.id == id);
    for item in &mut page.items {
        let hidden = match &mut item.tag {
            Tag::Phase(id) if !named(BlankKind::Phase, id) => id,
            Tag::Line(id) if !named(BlankKind::Line, id) => id,
            Tag::Bar(id) if !named(BlankKind::Bar, id) => id,
            Tag::LoopLabel(id) if !named(BlankKind::Landmark, id) => id,
            Tag::Trace(id) | Tag::Ghost(id) if asked_trace(id) => id,
            _ => continue,
        };
        hidden.clear();
    }
}
