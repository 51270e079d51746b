//! Where everything is on a page, in millimetres from its top left corner, y down.

use cycle::{Cycle, Subject};
use figure::{Box2, Map};
use serde::Serialize;

use crate::SheetError;
use crate::code::{CODE_MODULES, CODE_QUIET, CODE_SIZE_MM};
use crate::definition::{DrawnFrom, PageText, Test};
use crate::head::Head;
use crate::marks::{self, Corner};

/// A page's places.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// The paper.
    pub size_mm: [f64; 2],
    /// Centres of the corner marks, clockwise from the top left.
    pub marks: [[f64; 2]; 4],
    /// Where the sheet's code is printed.
    pub code: Box2,
    /// Where title, name and instructions stand.
    pub head: Box2,
    /// The panels, from top to bottom.
    pub panels: Vec<PanelPlace>,
    /// The bars below them, from top to bottom.
    pub bars: Vec<BarPlace>,
    /// The rules of 100 mm: start and end, across and down.
    pub rules: [[[f64; 2]; 2]; 2],
}

/// One panel's place and scale.
#[derive(Clone, Debug, PartialEq)]
pub struct PanelPlace {
    /// The channel drawn in it.
    pub channel: String,
    /// Its frame.
    pub area: Box2,
    /// Times at its left and right side, in seconds.
    pub time_s: [f64; 2],
    /// Values at its bottom and top, in the channel's unit.
    pub values: [f64; 2],
    /// Whether its trace is printed.
    pub given: bool,
}

impl PanelPlace {
    /// From seconds and values to millimetres on the page.
    pub fn map(&self) -> Map {
        Map {
            start_s: self.time_s[0],
            end_s: self.time_s[1],
            left: self.area.x,
            right: self.area.right(),
            low: self.values[0],
            high: self.values[1],
            top: self.area.y,
            bottom: self.area.bottom(),
        }
    }

    /// Millimetres for one unit of the channel.
    pub fn mm_per_unit(&self) -> f64 {
        self.area.h / (self.values[1] - self.values[0])
    }
}

/// One bar's place: a row on the panels' time axis.
#[derive(Clone, Debug, PartialEq)]
pub struct BarPlace {
    /// The bar's identifier.
    pub bar: String,
    /// Its row.
    pub area: Box2,
    /// Times at its left and right side, in seconds.
    pub time_s: [f64; 2],
    /// Whether it is printed.
    pub given: bool,
}

impl BarPlace {
    /// Millimetres from the page's left side, from seconds.
    pub fn x(&self, time_s: f64) -> f64 {
        let share = (time_s - self.time_s[0]) / (self.time_s[1] - self.time_s[0]);
        self.area.x + share * self.area.w
    }
}

impl Layout {
    /// Where the last panel or bar ends.
    pub fn bottom(&self) -> f64 {
        let panel = self.panels.last().map(|panel| panel.area.bottom());
        self.bars.last().map(|bar| bar.area.bottom()).or(panel).unwrap_or_default()
    }
}

/// A place on a page, as the scanner's description has it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Place {
    /// Left side.
    pub x_mm: f64,
    /// Top side.
    pub y_mm: f64,
    /// Width.
    pub width_mm: f64,
    /// Height.
    pub height_mm: f64,
}

impl From<Box2> for Place {
    fn from(Box2 { x, y, w, h }: Box2) -> Self {
        // A tenth of a micrometre: far finer than print, and short to read.
        let [x_mm, y_mm, width_mm, height_mm] =
            [x, y, w, h].map(|value| (value * 1e4).round() / 1e4);
        Self { x_mm, y_mm, width_mm, height_mm }
    }
}

/// The scanner's description of a bar's row.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BarGeometry {
    /// The bar's identifier.
    pub bar: String,
    /// Where it is.
    #[serde(flatten)]
    pub place: Place,
    /// Time at the left side.
    pub time_start_s: f64,
    /// Time at the right side.
    pub time_end_s: f64,
    /// Whether it is printed.
    pub given: bool,
}

impl From<&BarPlace> for BarGeometry {
    fn from(bar: &BarPlace) -> Self {
        let [time_start_s, time_end_s] = bar.time_s;
        let place = bar.area.into();
        Self { bar: bar.bar.clone(), place, time_start_s, time_end_s, given: bar.given }
    }
}

/// The scanner's description of a panel.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PanelGeometry {
    /// The channel drawn in it.
    pub channel: String,
    /// Where it is.
    #[serde(flatten)]
    pub place: Place,
    /// Time at the left side.
    pub time_start_s: f64,
    /// Time at the right side.
    pub time_end_s: f64,
    /// Value at the bottom.
    pub value_bottom: f64,
    /// Value at the top.
    pub value_top: f64,
    /// Whether its trace is printed.
    pub given: bool,
}

impl From<&PanelPlace> for PanelGeometry {
    fn from(panel: &PanelPlace) -> Self {
        Self {
            channel: panel.channel.clone(),
            place: panel.area.into(),
            time_start_s: panel.time_s[0],
            time_end_s: panel.time_s[1],
            value_bottom: panel.values[0],
            value_top: panel.values[1],
            given: panel.given,
        }
    }
}

/// What the size of print decides, in millimetres.
struct Measures {
    /// Height of the head between the upper marks and below them.
    head: f64,
    /// Height of the foot: the time axis, the rule, the lower marks.
    foot: f64,
    /// Room for names and numbers left of the panels.
    names: f64,
    /// Space above a panel.
    gap: f64,
    /// Room for a bar's name above it.
    bar_name: f64,
    /// Height of a bar's row.
    bar: f64,
    /// Least height of a panel that can be drawn in.
    least: f64,
}

const USUAL: Measures =
    Measures { head: 32.0, foot: 20.0, names: 30.0, gap: 4.0, bar_name: 0.0, bar: 7.0, least: 8.0 };

/// Large print has the panels' names above them: beside them there would be no room for time.
const LARGE: Measures = Measures {
    head: 53.0,
    foot: 25.0,
    names: 19.0,
    gap: 9.0,
    bar_name: 7.5,
    bar: 7.0,
    least: 18.0,
};

/// Distance of the code from the nearest mark's centre: a corner that is torn off takes the
/// mark and leaves the code.
const CODE_FROM_MARK: f64 = 20.0;
/// Space between the last panel and the first bar.
const BARS_BELOW: f64 = 1.5;
/// Least space between the head and the panels.
const BELOW_HEAD: f64 = 1.5;
/// Room right of the panels for the upright rule.
const RIGHT: f64 = 8.0;

/// Lays a page of `test` out below its `head`, with what is `given` printed, for `model`, whose
/// beat says how long the time axis is.
///
/// # Errors
/// [`SheetError::TooWide`] where the time axis does not fit, with what would;
/// [`SheetError::TooLow`] where panels, bars and head leave too little height.
pub(crate) fn lay_out(
    test: &Test,
    page: &PageText,
    given: &[String],
    head: &Head<'_>,
    subject: &Subject,
    model: &Cycle,
) -> Result<Layout, SheetError> {
    let measures = if test.large_print { LARGE } else { USUAL };
    let size_mm = test.paper.size_mm(test.orientation);
    let frame = marks::frame(size_mm);
    let (start_s, end_s) = model.span_s().unwrap_or_default();
    let length_s = match test.drawn_from {
        DrawnFrom::Rules => model.period_s * test.beats as f64,
        // Beats of an irregular rhythm are not all as long as their mean.
        DrawnFrom::Heart => end_s - start_s,
    };
    let width = length_s * test.mm_per_s;
    let panels_left = frame.x + measures.names;
    let room = frame.right() - RIGHT - panels_left;
    if width > room + 1e-9 {
        let fits = (room / (model.period_s * test.mm_per_s)).floor() as usize;
        let slower = (room / length_s).floor();
        return Err(SheetError::TooWide {
            beats: test.beats,
            rate_bpm: (60.0 / model.period_s).round(),
            width_mm: width.round(),
            room_mm: room.floor(),
            fits,
            slower,
        });
    }
    let mark = marks::MARK_SIZE_MM * (1.0 + 2.0 * marks::MARK_QUIET / marks::MARK_MODULES as f64);
    let quiet = CODE_QUIET / CODE_MODULES as f64 * CODE_SIZE_MM;
    let corner = marks::mark_centre(Corner::TopRight, size_mm);
    let code_left = corner[0] - CODE_FROM_MARK - CODE_SIZE_MM - quiet;
    let code = Box2::new(code_left + quiet, frame.y + 1.0, CODE_SIZE_MM, CODE_SIZE_MM);
    let head_left = frame.x + mark + 3.0;
    let head_width = code_left - 2.0 - head_left;
    let (_, head_bottom) = head.blocks([head_left, frame.y], head_width, None);
    let panels_top = (frame.y + measures.head).max(head_bottom + BELOW_HEAD);
    let panels_bottom = frame.bottom() - measures.foot;
    // Bars stand close, under the last panel.
    let bars_height = match page.bars.len() {
        0 => 0.0,
        count => BARS_BELOW + count as f64 * (measures.bar_name + measures.bar),
    };
    let weights: Vec<f64> = page.panels.iter().map(|id| weight(subject, id)).collect();
    let above_first = if test.large_print { measures.gap } else { 0.0 };
    let gaps = measures.gap * (weights.len() as f64 - 1.0) + above_first;
    let room = panels_bottom - panels_top - gaps - bars_height;
    let each = room / weights.iter().sum::<f64>();
    let time_s = [start_s, start_s + length_s];
    let mut panels = Vec::new();
    let mut top = panels_top + above_first;
    for (channel, weight) in page.panels.iter().zip(weights) {
        let height = weight * each;
        if height < measures.least {
            return Err(SheetError::TooLow { panels: page.panels.len(), bars: page.bars.len() });
        }
        panels.push(PanelPlace {
            channel: channel.clone(),
            area: Box2::new(panels_left, top, width, height),
            time_s,
            values: values(subject, model, channel),
            given: page.scaffold.shows(given.contains(channel)),
        });
        top += height + measures.gap;
    }
    let mut bars = Vec::new();
    top += BARS_BELOW - measures.gap;
    for bar in &page.bars {
        top += measures.bar_name;
        let area = Box2::new(panels_left, top, width, measures.bar);
        let given = page.scaffold.shows(given.contains(bar));
        bars.push(BarPlace { bar: bar.clone(), area, time_s, given });
        top += measures.bar;
    }
    let across = frame.bottom() - 5.0;
    let down = frame.right() - 1.0;
    let middle = frame.x + frame.w / 2.0;
    // Beside the panels of a head of the usual height: a longer one must not push the rule into
    // a mark.
    let upright = f64::midpoint(frame.y + measures.head, panels_bottom) - 50.0;
    Ok(Layout {
        size_mm,
        marks: Corner::ALL.map(|corner| marks::mark_centre(corner, size_mm)),
        code,
        head: Box2::new(head_left, frame.y, head_width, panels_top - frame.y),
        panels,
        bars,
        rules: [
            [[middle - 50.0, across], [middle + 50.0, across]],
            [[down, upright], [down, upright + 100.0]],
        ],
    })
}

/// How high a channel's panel is, against the others.
fn weight(subject: &Subject, channel: &str) -> f64 {
    match subject.channel(channel).map(|kind| kind.unit.as_str()) {
        Some("relative") => 0.7,
        Some("mV") => 1.0,
        Some("mmHg") => 1.6,
        _ => 1.2,
    }
}

/// Values at a panel's bottom and top: round numbers with room for what is drawn too high.
fn values(subject: &Subject, model: &Cycle, channel: &str) -> [f64; 2] {
    let own = model.trace(channel).and_then(cycle::Trace::range);
    let usual = subject.channel(channel).map_or([0.0, 1.0], |kind| kind.range);
    let (low, high) = own.unwrap_or((usual[0], usual[1]));
    let unit = subject.channel(channel).map_or("relative", |kind| kind.unit.as_str());
    if unit == "relative" && low < 0.0 {
        let most = 1.15 * low.abs().max(high);
        return [-most, most];
    }
    let step = figure::nice_step((high - low).max(1e-9) / 10.0);
    let room = 0.12 * (high - low);
    [((low - room) / step).floor() * step, ((high + room) / step).ceil() * step]
}
