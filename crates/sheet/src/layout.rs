//! Where everything is on a page, in millimetres from its top left corner, y down.

use cycle::{Cycle, Subject};
use figure::{Box2, Map};
use serde::Serialize;

use crate::SheetError;
use crate::code::{CODE_MODULES, CODE_QUIET, CODE_SIZE_MM};
use crate::definition::{PageText, Test};
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

/// The scanner's description of a page.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PanelGeometry {
    /// The channel drawn in it.
    pub channel: String,
    /// Left side.
    pub x_mm: f64,
    /// Top side.
    pub y_mm: f64,
    /// Width.
    pub width_mm: f64,
    /// Height.
    pub height_mm: f64,
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
        // A tenth of a micrometre: far finer than print, and short to read.
        let mm = |value: f64| (value * 1e4).round() / 1e4;
        Self {
            channel: panel.channel.clone(),
            x_mm: mm(panel.area.x),
            y_mm: mm(panel.area.y),
            width_mm: mm(panel.area.w),
            height_mm: mm(panel.area.h),
            time_start_s: panel.time_s[0],
            time_end_s: panel.time_s[1],
            value_bottom: panel.values[0],
            value_top: panel.values[1],
            given: panel.given,
        }
    }
}

/// Height of the head between the upper marks and below them.
const HEAD: f64 = 32.0;
/// Height of the foot: the time axis, the rule, the lower marks.
const FOOT: f64 = 20.0;
/// Distance of the code from the nearest mark's centre: a corner that is torn off takes the
/// mark and leaves the code.
const CODE_FROM_MARK: f64 = 20.0;
/// Room for names and numbers left of the panels.
const NAMES: f64 = 30.0;
/// Room right of the panels for the upright rule.
const RIGHT: f64 = 8.0;
/// Space between panels.
const GAP: f64 = 4.0;

/// Lays a page of `test` out for `model`, whose beat says how long the time axis is.
///
/// # Errors
/// [`SheetError::TooWide`] where the time axis does not fit, with what would.
pub(crate) fn lay_out(
    test: &Test,
    page: &PageText,
    subject: &Subject,
    model: &Cycle,
) -> Result<Layout, SheetError> {
    let size_mm = test.paper.size_mm(test.orientation);
    let frame = marks::frame(size_mm);
    let start_s = model.span_s().map_or(0.0, |(start, _)| start);
    let length_s = model.period_s * test.beats as f64;
    let width = length_s * test.mm_per_s;
    let panels_left = frame.x + NAMES;
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
    let panels_top = frame.y + HEAD;
    let panels_bottom = frame.bottom() - FOOT;
    let weights: Vec<f64> = page.panels.iter().map(|id| weight(subject, id)).collect();
    let gaps = GAP * (weights.len() as f64 - 1.0);
    let each = (panels_bottom - panels_top - gaps) / weights.iter().sum::<f64>();
    let mut panels = Vec::new();
    let mut panel_top = panels_top;
    for (channel, weight) in page.panels.iter().zip(weights) {
        let area = Box2::new(panels_left, panel_top, width, weight * each);
        panel_top += weight * each + GAP;
        panels.push(PanelPlace {
            channel: channel.clone(),
            area,
            time_s: [start_s, start_s + length_s],
            values: values(subject, model, channel),
            given: page.given.contains(channel),
        });
    }
    let across = frame.bottom() - 5.0;
    let down = frame.right() - 1.0;
    let middle = frame.x + frame.w / 2.0;
    let upright = panels_top + (panels_bottom - panels_top - 100.0) / 2.0;
    let mark = marks::MARK_SIZE_MM * (1.0 + 2.0 * marks::MARK_QUIET / marks::MARK_MODULES as f64);
    let quiet = CODE_QUIET / CODE_MODULES as f64 * CODE_SIZE_MM;
    let corner = marks::mark_centre(Corner::TopRight, size_mm);
    let code_left = corner[0] - CODE_FROM_MARK - CODE_SIZE_MM - quiet;
    let code = Box2::new(code_left + quiet, frame.y + 1.0, CODE_SIZE_MM, CODE_SIZE_MM);
    let head_left = frame.x + mark + 3.0;
    Ok(Layout {
        size_mm,
        marks: Corner::ALL.map(|corner| marks::mark_centre(corner, size_mm)),
        code,
        head: Box2::new(head_left, frame.y, code_left - 2.0 - head_left, HEAD - 3.0),
        panels,
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
    let step = figure::nice_step((high - low).max(1e-9) / 5.0);
    let room = 0.12 * (high - low);
    [((low - room) / step).floor() * step, ((high + room) / step).ceil() * step]
}
