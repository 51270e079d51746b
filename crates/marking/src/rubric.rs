//! What the sheets of one form are marked by.

use convention::{Convention, Point, Scale};
use cycle::{Cycle, Subject};
use sheet::{BarPlace, PanelPlace};

/// A panel or bar, and the page that it is on.
#[derive(Clone, Debug, PartialEq)]
pub struct On<T> {
    /// Number of the page, from 1.
    pub page: u8,
    /// Where it is.
    pub place: T,
}

/// What the sheets of one form are marked by.
#[derive(Clone, Debug)]
pub struct Rubric<'a> {
    /// What things are called.
    pub subject: &'a Subject,
    /// The rules.
    pub convention: &'a Convention,
    /// The completed cycle: the key.
    pub model: &'a Cycle,
    /// Millimetres a second on paper.
    pub mm_per_s: f64,
    /// The panels of all pages.
    pub panels: Vec<On<PanelPlace>>,
    /// The bars of all pages.
    pub bars: Vec<On<BarPlace>>,
    /// The rules about what is asked for, by their identifiers.
    pub asked: Vec<String>,
    /// How much the corners of traces are rounded before they are judged: one standard deviation, in
    /// millimetres along them.
    pub rounded_mm: f64,
}

/// How much a pencil's width, and the averages of what reads it, round corners. (In 1,000 invented
/// drawings the beginning of the QRS complex was found 0.57 mm early and its end 0.41 mm late; on
/// the key that is so rounded 0.50 and 0.39 mm, and 0.20 and 0.12 mm on the key as it is.)
const ROUNDED_MM: f64 = 0.43;

impl<'a> Rubric<'a> {
    /// The rubric of form number `index` of `book`, from 0; `convention` is the test's, or what
    /// it has been changed to.
    pub fn new(book: &'a sheet::Book<'a>, convention: &'a Convention, index: usize) -> Self {
        let (mut panels, mut bars) = (Vec::new(), Vec::new());
        for (page, layout) in (1..).zip(book.layouts(index)) {
            panels.extend(layout.panels.iter().cloned().map(|place| On { page, place }));
            bars.extend(layout.bars.iter().cloned().map(|place| On { page, place }));
        }
        let asked = convention.rules.iter().filter(|rule| book.is_asked(rule, index));
        Self {
            subject: book.subject(),
            convention,
            model: book.model(index),
            mm_per_s: book.mm_per_s(),
            panels,
            bars,
            asked: asked.map(|rule| rule.id.clone()).collect(),
            rounded_mm: ROUNDED_MM,
        }
    }

    /// The panel of a channel.
    pub fn panel(&self, channel: &str) -> Option<&On<PanelPlace>> {
        self.panels.iter().find(|on| on.place.channel == channel)
    }

    /// A bar's row.
    pub fn bar(&self, bar: &str) -> Option<&On<BarPlace>> {
        self.bars.iter().find(|on| on.place.bar == bar)
    }

    /// The row on which an event begins or ends a bar.
    pub fn row_of(&self, event: &str) -> Option<&On<BarPlace>> {
        self.bars.iter().find(|on| {
            let kind = self.subject.bar(&on.place.bar);
            kind.is_some_and(|kind| kind.from == event || kind.to == event)
        })
    }

    /// Whether a point is printed.
    pub fn is_given(&self, point: &Point) -> bool {
        match &point.channel {
            Some(channel) => self.panel(channel).is_some_and(|on| on.place.given),
            None => self.row_of(&point.name).is_some_and(|on| on.place.given),
        }
    }

    /// What rules are measured in.
    pub(crate) fn scale(&self) -> Scale {
        let unit = |on: &On<PanelPlace>| (on.place.channel.clone(), on.place.mm_per_unit());
        let mm_per_unit = self.panels.iter().map(unit).collect();
        Scale::Paper { mm_per_s: self.mm_per_s, mm_per_unit }
    }

    /// Whether a channel is drawn in bursts about a baseline.
    pub(crate) fn has_bursts(&self, channel: &str) -> bool {
        has_bursts(self.subject, channel)
    }
}

/// Whether a channel is drawn in bursts about a baseline.
pub fn has_bursts(subject: &Subject, channel: &str) -> bool {
    subject.strokes.iter().any(|stroke| stroke.channel == channel && stroke.burst.is_some())
}
