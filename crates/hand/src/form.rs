//! What a student is handed: pages, and where everything is on them.

use std::collections::BTreeMap;

use convention::{Convention, Point, Rule, Says};
use cycle::{Cycle, Subject};
use figure::{Map, Page};
use serde::Deserialize;

/// The part of `geometry.json` that is needed here.
#[derive(Clone, Debug, Deserialize)]
pub struct Geometry {
    /// The test's identifier.
    pub test: String,
    /// Width of the page.
    pub page_width_mm: f64,
    /// Height of the page.
    pub page_height_mm: f64,
    /// Corner marks.
    pub marks: Vec<Mark>,
    /// Millimetres a second.
    pub mm_per_s: f64,
    /// The pages.
    pub pages: Vec<PagePlaces>,
}

/// A corner mark.
#[derive(Clone, Copy, Debug, Deserialize)]
pub struct Mark {
    /// Its number.
    pub id: usize,
    /// Its centre, from the left.
    pub x_mm: f64,
    /// Its centre, from the top.
    pub y_mm: f64,
}

/// What is where on a page.
#[derive(Clone, Debug, Deserialize)]
pub struct PagePlaces {
    /// The page's code.
    pub code: String,
    /// The form's letter.
    pub form: char,
    /// The sheet's number.
    pub sheet: u32,
    /// The page's number, from 1.
    pub page: u8,
    /// The panels.
    pub panels: Vec<Panel>,
    /// The bars.
    #[serde(default)]
    pub bars: Vec<BarRow>,
}

/// A panel's place and scale.
#[derive(Clone, Debug, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of geometry.json")]
pub struct Panel {
    pub channel: String,
    pub x_mm: f64,
    pub y_mm: f64,
    pub width_mm: f64,
    pub height_mm: f64,
    pub time_start_s: f64,
    pub time_end_s: f64,
    pub value_bottom: f64,
    pub value_top: f64,
    pub given: bool,
}

/// A bar's row.
#[derive(Clone, Debug, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of geometry.json")]
pub struct BarRow {
    pub bar: String,
    pub x_mm: f64,
    pub y_mm: f64,
    pub width_mm: f64,
    pub height_mm: f64,
    pub time_start_s: f64,
    pub time_end_s: f64,
    pub given: bool,
}

impl Geometry {
    /// Reads `geometry.json`.
    ///
    /// # Errors
    /// What does not fit its form.
    pub fn from_json(text: &str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(text)
    }
}

impl Panel {
    /// From seconds and values to millimetres on the page.
    pub(crate) fn map(&self) -> Map {
        Map {
            start_s: self.time_start_s,
            end_s: self.time_end_s,
            left: self.x_mm,
            right: self.x_mm + self.width_mm,
            low: self.value_bottom,
            high: self.value_top,
            top: self.y_mm,
            bottom: self.bottom(),
        }
    }

    pub(crate) fn bottom(&self) -> f64 {
        self.y_mm + self.height_mm
    }

    pub(crate) fn mm_per_unit(&self) -> f64 {
        self.height_mm / (self.value_top - self.value_bottom)
    }

    pub(crate) fn time_s(&self, x: f64) -> f64 {
        let share = (x - self.x_mm) / self.width_mm;
        self.time_start_s + share * (self.time_end_s - self.time_start_s)
    }

    pub(crate) fn value(&self, y: f64) -> f64 {
        self.value_bottom + (self.bottom() - y) / self.mm_per_unit()
    }
}

impl BarRow {
    pub(crate) fn x(&self, time_s: f64) -> f64 {
        let share = (time_s - self.time_start_s) / (self.time_end_s - self.time_start_s);
        self.x_mm + share * self.width_mm
    }

    pub(crate) fn time_s(&self, x: f64) -> f64 {
        let share = (x - self.x_mm) / self.width_mm;
        self.time_start_s + share * (self.time_end_s - self.time_start_s)
    }
}

/// One copy of a test as it is handed out: its printed pages, where everything is on them, and
/// what is right.
#[derive(Clone, Copy, Debug)]
pub struct Handout<'a> {
    /// The printed pages.
    pub pages: &'a [Page],
    /// Where everything is on them, page by page.
    pub places: &'a [PagePlaces],
    /// Millimetres a second.
    pub mm_per_s: f64,
    /// The completed cycle: the key.
    pub model: &'a Cycle,
    /// The rules.
    pub convention: &'a Convention,
    /// What things are called.
    pub subject: &'a Subject,
}

impl Handout<'_> {
    pub(crate) fn panels(&self) -> impl Iterator<Item = &Panel> {
        self.places.iter().flat_map(|page| &page.panels)
    }

    pub(crate) fn bars(&self) -> impl Iterator<Item = &BarRow> {
        self.places.iter().flat_map(|page| &page.bars)
    }

    pub(crate) fn panel(&self, channel: &str) -> Option<&Panel> {
        self.panels().find(|panel| panel.channel == channel)
    }

    /// The row on which an event begins or ends a bar.
    pub(crate) fn row_of(&self, event: &str) -> Option<&BarRow> {
        let on = |row: &&BarRow| {
            let kind = self.subject.bar(&row.bar);
            kind.is_some_and(|kind| kind.from == event || kind.to == event)
        };
        self.bars().find(on)
    }

    /// Whether a point is to be drawn; `None` where the sheet has no place for it.
    pub(crate) fn asks_for(&self, point: &Point) -> Option<bool> {
        match &point.channel {
            Some(channel) => self.panel(channel).map(|panel| !panel.given),
            None => self.row_of(&point.name).map(|row| !row.given),
        }
    }

    /// Whether a rule is about what the sheet has, and about something that is to be drawn.
    pub fn is_asked(&self, rule: &Rule) -> bool {
        let own = match &rule.says {
            Says::Level { channel, .. } | Says::Shape { channel, .. } => Some(channel),
            _ => None,
        };
        let own = own.map(|channel| self.panel(channel).map(|panel| !panel.given));
        let points = rule.says.points().into_iter().map(|point| self.asks_for(point));
        let all: Option<Vec<bool>> = points.chain(own).collect();
        all.is_some_and(|all| all.contains(&true))
    }

    pub(crate) fn mm_per_unit(&self) -> BTreeMap<String, f64> {
        let panels = self.panels();
        panels.map(|panel| (panel.channel.clone(), panel.mm_per_unit())).collect()
    }

    pub(crate) fn has_bursts(&self, channel: &str) -> bool {
        let mut strokes = self.subject.strokes.iter();
        strokes.any(|stroke| stroke.channel == channel && stroke.burst.is_some())
    }
}
