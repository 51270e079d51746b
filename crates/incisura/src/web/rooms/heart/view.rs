//! What a page shows: read from its address, and written back to it.

use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use cycle::{Cycle, Subject};
use figure::{Figure, FigureSpec};
use heart::{Condition, Heart, PARAMETERS, Rhythm};

use crate::args::MOST_BEATS;
use crate::standard::{self, PANELS, PanelChoice};
use crate::web::query::query;
use crate::web::refusal::Refusal;
use crate::web::words::heart as words;

/// Width of the figure in millimetres: it fits on letter and A4.
const WIDTH_MM: f64 = 190.0;
/// Width with a loop, which stands beside the panels; it grows with the scale.
const WIDTH_WITH_LOOP_MM: f64 = 226.0;
/// Beats from which on only two alignment lines are drawn for each, so that they stay apart.
const MANY_BEATS: usize = 4;
/// Height of panels as a part of that on paper, so that the figure has a screen's shape.
const PANEL_HEIGHT: f64 = 0.7;

/// The names of all that is drawn, read once.
pub(super) static SUBJECT: LazyLock<Subject> = LazyLock::new(heart::subject);

/// A part of the figure that can be switched on and off.
#[derive(Debug)]
pub(crate) struct Part {
    pub(crate) id: &'static str,
    pub(crate) title: &'static str,
    pub(crate) standard: bool,
}

const fn part(id: &'static str, title: &'static str, standard: bool) -> Part {
    Part { id, title, standard }
}

/// The parts to choose from.
pub(crate) const PARTS: &[Part] = &[
    part("lines", words::PART_LINES, true),
    part("phases", words::PART_PHASES, true),
    part("bars", words::PART_BARS, true),
    part("labels", words::PART_LABELS, true),
    part("grid", words::PART_GRID, false),
    part("loop", words::PART_LOOP, false),
];

/// Sizes of text and strokes to choose from: identifier, name shown, multiplier.
pub(crate) const SCALES: &[(&str, &str, f64)] =
    &[("print", words::FOR_PRINT, 1.0), ("projector", words::FOR_PROJECTOR, 1.4)];

/// A heart, and how its figure is drawn.
#[derive(Debug)]
pub(crate) struct View {
    /// The condition that the heart started from.
    pub(crate) condition: Condition,
    /// The heart, with all that was changed in it.
    pub(crate) heart: Heart,
    /// Number of beats; `None` for as many as the rhythm needs.
    pub(crate) beats: Option<usize>,
    pub(crate) panels: Vec<&'static PanelChoice>,
    pub(crate) parts: Vec<&'static Part>,
    pub(crate) scale: &'static str,
    /// Landmarks and events with an alignment line; `None` for the usual ones.
    pub(crate) lines: Option<Vec<String>>,
    /// The heart that was kept, to compare this one with.
    pub(crate) kept: Option<Kept>,
}

/// A heart that was kept, drawn beneath the one that is changed.
#[derive(Debug)]
pub(crate) struct Kept {
    condition: Condition,
    heart: Heart,
}

/// A view, computed and laid out.
#[derive(Debug)]
pub(crate) struct Drawn {
    pub(crate) cycle: Cycle,
    pub(crate) kept: Option<Arc<Cycle>>,
    pub(crate) figure: Figure,
}

impl Default for View {
    fn default() -> Self {
        Self::of(heart::conditions().swap_remove(0))
    }
}

impl View {
    fn of(condition: Condition) -> Self {
        Self {
            heart: condition.heart.clone(),
            condition,
            beats: None,
            panels: PANELS.iter().filter(|panel| panel.standard).collect(),
            parts: PARTS.iter().filter(|part| part.standard).collect(),
            scale: "print",
            lines: None,
            kept: None,
        }
    }

    /// Reads the names and values of an address. Whatever is not named is as usual.
    pub(crate) fn read(pairs: &[(String, String)]) -> Result<Self, Refusal> {
        let condition = pairs.iter().find(|(name, _)| name == "condition");
        let mut view = match condition {
            Some((_, name)) => Self::of(heart::condition(name)?),
            None => Self::default(),
        };
        // A switch that is off leaves no trace in an address, so one that is on speaks for all.
        if pairs.iter().any(|(name, _)| name == "panel") {
            view.panels = chosen(pairs, "panel", PANELS, |panel| panel.id)?;
        }
        if pairs.iter().any(|(name, _)| name == "show") {
            view.parts = chosen(pairs, "show", PARTS, |part| part.id)?;
        }
        if pairs.iter().any(|(name, _)| name == "line") {
            view.lines = Some(lines(pairs)?);
        }
        for (name, value) in pairs {
            view.set(name, value.trim())?;
        }
        Ok(view)
    }

    fn set(&mut self, name: &str, value: &str) -> Result<(), Refusal> {
        match name {
            // The last two say where the page's sweep line stands, which only the page needs.
            "condition" | "panel" | "show" | "line" | "at" | "speed" => {}
            "ghost" => self.kept = Kept::read(value)?,
            "rhythm" => self.heart.rhythm = Rhythm::from_name(value)?,
            "beats" => self.beats = beats(value)?,
            "scale" => self.scale = scale(value)?,
            parameter => {
                let no_number = |_| Refusal::of(parameter, words::no_number(value));
                let number = value.parse().map_err(no_number)?;
                self.heart.parameters.set(parameter, number)?;
            }
        }
        Ok(())
    }

    pub(crate) fn shows(&self, part: &str) -> bool {
        self.parts.iter().any(|shown| shown.id == part)
    }

    /// The names and values that [`View::read`] reads back, as an address carries them.
    pub(crate) fn query(&self) -> String {
        let usual = Self::of(self.condition.clone());
        let mut pairs = vec![("condition", self.condition.name.clone())];
        pairs.extend(changes(&self.condition, &self.heart));
        if let Some(beats) = self.beats {
            pairs.push(("beats", beats.to_string()));
        }
        if self.scale != usual.scale {
            pairs.push(("scale", self.scale.to_owned()));
        }
        let ids = |view: &Self| view.panels.iter().map(|panel| panel.id).collect::<Vec<_>>();
        if ids(self) != ids(&usual) {
            pairs.extend(ids(self).into_iter().map(|id| ("panel", id.to_owned())));
        }
        let ids = |view: &Self| view.parts.iter().map(|part| part.id).collect::<Vec<_>>();
        if ids(self) != ids(&usual) {
            let ids = std::iter::once("").chain(ids(self));
            pairs.extend(ids.map(|id| ("show", id.to_owned())));
        }
        if let Some(lines) = &self.lines {
            pairs.push(("line", String::new()));
            pairs.extend(lines.iter().map(|id| ("line", id.clone())));
        }
        if let Some(kept) = &self.kept {
            pairs.push(("ghost", kept.query()));
        }
        query(pairs.iter().map(|(name, value)| (*name, value.as_str())))
    }

    /// Computes the heart and lays out its figure, with its name where it will stand alone.
    pub(crate) fn draw(&self, named: bool) -> Result<Drawn, Refusal> {
        let beats = self.beats.unwrap_or_else(|| heart::natural_beats(&self.heart));
        let cycle = heart::simulate(&self.heart, beats)?;
        let span_s = cycle.span_s().map_or(0.0, |(start, end)| end - start);
        let kept = self.kept.as_ref().map(|kept| kept.cycle(span_s)).transpose()?;
        let spec = self.spec(named, beats);
        let figure = figure::lay_out_over(&cycle, kept.as_deref(), &SUBJECT, &spec)?;
        Ok(Drawn { cycle, kept, figure })
    }

    /// What the heart is: its condition, and whether anything was changed.
    pub(crate) fn heart_title(&self) -> String {
        title(&self.condition, &self.heart)
    }

    /// Alignment lines that are drawn where none were chosen.
    pub(crate) fn usual_lines(&self) -> &'static [&'static str] {
        usual_lines(self.beats.unwrap_or_else(|| heart::natural_beats(&self.heart)))
    }

    fn spec(&self, named: bool, beats: usize) -> FigureSpec {
        let if_shown = |part: &str, ids: &[&str]| {
            let ids = if self.shows(part) { ids } else { &[] };
            ids.iter().map(|&id| id.to_owned()).collect()
        };
        let scale =
            SCALES.iter().find(|(id, ..)| *id == self.scale).map_or(1.0, |(.., factor)| *factor);
        let lines: Vec<&str> = match &self.lines {
            Some(chosen) => chosen.iter().map(String::as_str).collect(),
            None => usual_lines(beats).to_vec(),
        };
        // Panels grow with the scale. Where the sheet does not, they are given back their height.
        let (width_mm, height) = if self.shows("loop") {
            (WIDTH_WITH_LOOP_MM * scale, PANEL_HEIGHT)
        } else {
            (WIDTH_MM, PANEL_HEIGHT / scale)
        };
        FigureSpec {
            title: named.then(|| match &self.kept {
                Some(kept) => words::over(&self.heart_title(), &kept.title()),
                None => self.condition.title.clone(),
            }),
            width_mm,
            scale,
            panels: self.panels.iter().map(|panel| panel.spec(height)).collect(),
            lines: if_shown("lines", &lines),
            ghost_title: Some(words::KEPT.to_owned()),
            bars: if_shown("bars", &standard::BARS),
            phases: self.shows("phases"),
            labels: self.shows("labels"),
            grid: self.shows("grid"),
            loop_channels: self
                .shows("loop")
                .then(|| ["lv_volume", "lv_pressure"].map(str::to_owned)),
            ..FigureSpec::default()
        }
    }
}

impl Kept {
    /// Reads what an address says of the heart that was kept; nothing where it says nothing.
    fn read(query: &str) -> Result<Option<Self>, Refusal> {
        if query.is_empty() {
            return Ok(None);
        }
        let pairs: Vec<(String, String)> = query
            .split('&')
            .filter_map(|pair| pair.split_once('='))
            .filter(|(name, _)| *name != "ghost")
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .collect();
        // What is wrong with it belongs to none of the controls, which are those of the other heart.
        let View { condition, heart, .. } = View::read(&pairs)
            .map_err(|refusal| Refusal::of_all(words::of_kept(&refusal.message)))?;
        Ok(Some(Self { condition, heart }))
    }

    /// The names and values that [`Kept::read`] reads back.
    pub(crate) fn query(&self) -> String {
        let changes = changes(&self.condition, &self.heart);
        let changes = changes.iter().map(|(name, value)| (*name, value.as_str()));
        query(std::iter::once(("condition", self.condition.name.as_str())).chain(changes))
    }

    pub(crate) fn title(&self) -> String {
        title(&self.condition, &self.heart)
    }

    /// Beats enough to fill `span_s` seconds. While sliders move the other heart this one stays,
    /// so the last that was computed is kept in mind.
    fn cycle(&self, span_s: f64) -> Result<Arc<Cycle>, Refusal> {
        static LAST: Mutex<Option<(String, Arc<Cycle>)>> = Mutex::new(None);
        let last = || LAST.lock().unwrap_or_else(PoisonError::into_inner);
        let (query, length_s) =
            (self.query(), |cycle: &Cycle| cycle.span_s().map_or(0.0, |(start, end)| end - start));
        if let Some((known, cycle)) = &*last()
            && *known == query
            && length_s(cycle) >= span_s
        {
            return Ok(Arc::clone(cycle));
        }
        let filling = (span_s * self.heart.parameters.rate_bpm / 60.0).ceil() as usize + 1;
        let beats = filling.max(heart::natural_beats(&self.heart));
        let mut cycle = heart::simulate(&self.heart, beats)?;
        if length_s(&cycle) < span_s {
            // Beats that come early make a run shorter than its rate says.
            cycle = heart::simulate(&self.heart, 2 * beats)?;
        }
        let cycle = Arc::new(cycle);
        *last() = Some((query, Arc::clone(&cycle)));
        Ok(cycle)
    }
}

/// Names and values of what was changed in a condition's heart.
fn changes(condition: &Condition, heart: &Heart) -> Vec<(&'static str, String)> {
    let mut pairs = Vec::new();
    if heart.rhythm != condition.heart.rhythm {
        pairs.push(("rhythm", heart.rhythm.name().to_owned()));
    }
    let parameters = changed_parameters(condition, heart);
    pairs.extend(parameters.map(|(name, value)| (name, value.to_string())));
    pairs
}

/// The parameters that were changed in a condition's heart, with what they are now.
pub(super) fn changed_parameters(
    condition: &Condition,
    heart: &Heart,
) -> impl Iterator<Item = (&'static str, f64)> {
    PARAMETERS.iter().filter_map(|parameter| {
        let [usual, now] =
            [&condition.heart, heart].map(|heart| heart.parameters.get(parameter.name));
        now.filter(|_| now != usual).map(|value| (parameter.name, value))
    })
}

fn title(condition: &Condition, heart: &Heart) -> String {
    let changed = if *heart == condition.heart { "" } else { ", changed" };
    format!("{}{changed}", condition.title)
}

fn usual_lines(beats: usize) -> &'static [&'static str] {
    if beats < MANY_BEATS { &standard::LINES } else { &standard::LINES_OF_MANY_BEATS }
}

/// The landmarks and events that `pairs` asks a line for.
fn lines(pairs: &[(String, String)]) -> Result<Vec<String>, Refusal> {
    let subject = &SUBJECT;
    let asked = pairs.iter().filter(|(name, value)| name == "line" && !value.is_empty());
    let mut lines: Vec<String> = Vec::new();
    for (_, id) in asked {
        if subject.title_of(id).is_none() {
            let known = subject.landmarks.iter().map(|kind| kind.id.as_str());
            let near = cycle::nearest(id, known);
            return Err(Refusal::of("line", words::no_landmark(id, near)));
        }
        if !lines.contains(id) {
            lines.push(id.clone());
        }
    }
    Ok(lines)
}

/// The choices that `pairs` names, in the order in which they are shown.
fn chosen<T>(
    pairs: &[(String, String)],
    control: &str,
    choices: &'static [T],
    id: impl Fn(&T) -> &str,
) -> Result<Vec<&'static T>, Refusal> {
    let named: Vec<&str> = pairs
        .iter()
        .filter(|(name, value)| name == control && !value.is_empty())
        .map(|(_, value)| value.as_str())
        .collect();
    if let Some(unknown) =
        named.iter().find(|name| !choices.iter().any(|choice| id(choice) == **name))
    {
        let known: Vec<&str> = choices.iter().map(&id).collect();
        return Err(Refusal::of(control, words::nothing_to_show(unknown, &known)));
    }
    Ok(choices.iter().filter(|choice| named.contains(&id(choice))).collect())
}

fn beats(value: &str) -> Result<Option<usize>, Refusal> {
    if value.is_empty() {
        return Ok(None);
    }
    let number = value.parse().ok().filter(|beats| (1..=MOST_BEATS as usize).contains(beats));
    number.map(Some).ok_or_else(|| Refusal::of("beats", words::no_beats(MOST_BEATS)))
}

fn scale(value: &str) -> Result<&'static str, Refusal> {
    let known = SCALES.iter().find(|(id, ..)| *id == value);
    known.map(|(id, ..)| *id).ok_or_else(|| Refusal::of("scale", words::NO_SCALE))
}
