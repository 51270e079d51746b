//! What to draw.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::FigureError;

/// What a figure shows and how large.
///
/// The default has no panels: whoever knows the subject says which belong together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct FigureSpec {
    /// Title above the figure; without one the subject's title names the file.
    pub title: Option<String>,
    /// Width of the whole figure in millimetres, 60 to 2000.
    pub width_mm: f64,
    /// Multiplier for text and strokes, 0.5 to 4: 1 for print, about 1.6 for a projector.
    pub scale: f64,
    /// Panels from top to bottom, on one time axis.
    pub panels: Vec<PanelSpec>,
    /// Landmarks or events with an alignment line through every panel.
    pub lines: Vec<String>,
    /// Whether the phases are named in a band at the top.
    pub phases: bool,
    /// Bars below the panels, by the subject's identifiers.
    pub bars: Vec<String>,
    /// Whether landmarks are labelled, each at its first occurrence.
    pub labels: bool,
    /// What is written at a landmark in place of the subject's label, by identifier; nothing
    /// where it is empty.
    pub label_texts: BTreeMap<String, String>,
    /// Whether a grid is drawn at the axes' ticks.
    pub grid: bool,
    /// Two channels drawn against each other, x then y: a loop beside or below the panels.
    pub loop_channels: Option<[String; 2]>,
    /// First instant shown, in the cycle's seconds; its beginning if not given.
    pub start_s: Option<f64>,
    /// Last instant shown, in the cycle's seconds; its end if not given.
    pub end_s: Option<f64>,
    /// Whether a second cycle, where one is given, is drawn thin beneath the first.
    pub ghost: bool,
    /// What the second cycle is called; written beside its traces where they part from the first's.
    pub ghost_title: Option<String>,
    /// Stretches of traces that are drawn heavy, as what is new in a picture is.
    pub heavy: Vec<Stretch>,
}

/// A stretch of a trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stretch {
    /// The trace's channel.
    pub channel: String,
    /// Where it begins, in the cycle's seconds.
    pub start_s: f64,
    /// Where it ends, in the cycle's seconds.
    pub end_s: f64,
}

impl Default for FigureSpec {
    fn default() -> Self {
        Self {
            title: None,
            width_mm: 180.0,
            scale: 1.0,
            panels: Vec::new(),
            lines: Vec::new(),
            phases: true,
            bars: Vec::new(),
            labels: true,
            label_texts: BTreeMap::new(),
            grid: false,
            loop_channels: None,
            start_s: None,
            end_s: None,
            ghost: true,
            ghost_title: None,
            heavy: Vec::new(),
        }
    }
}

/// One panel: one or several channels of the same unit on one value axis.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct PanelSpec {
    /// Channels, the most prominent first.
    pub channels: Vec<String>,
    /// Height in millimetres, 6 to 600, whatever the scale.
    pub height_mm: f64,
    /// Lowest and highest value of the axis; taken from the data if not given.
    pub range: Option<[f64; 2]>,
    /// Name beside the panel; made of the channels' names if not given.
    pub title: Option<String>,
}

impl Default for PanelSpec {
    fn default() -> Self {
        Self { channels: Vec::new(), height_mm: 30.0, range: None, title: None }
    }
}

impl PanelSpec {
    /// A panel of `channels`, `height_mm` high, with everything else from the data.
    pub fn new(channels: &[&str], height_mm: f64) -> Self {
        let channels = channels.iter().map(|&id| id.to_owned()).collect();
        Self { channels, height_mm, ..Self::default() }
    }
}

/// Refuses numbers that no figure can have.
pub(crate) fn check(spec: &FigureSpec) -> Result<(), FigureError> {
    let within = |what: String, value: f64, low: f64, high: f64| {
        if (low..=high).contains(&value) {
            return Ok(());
        }
        Err(FigureError::OutOfRange { what, value, low, high })
    };
    within("width_mm".into(), spec.width_mm, 60.0, 2000.0)?;
    within("scale".into(), spec.scale, 0.5, 4.0)?;
    if spec.panels.is_empty() {
        return Err(FigureError::NoPanels);
    }
    for (index, panel) in spec.panels.iter().enumerate() {
        within(format!("height_mm of panel {}", index + 1), panel.height_mm, 6.0, 600.0)?;
        if panel.channels.is_empty() {
            return Err(FigureError::EmptyPanel { panel: index + 1 });
        }
        if let Some([low, high]) = panel.range
            && !(low.is_finite() && high.is_finite() && low < high)
        {
            return Err(FigureError::EmptyRange { panel: index + 1, low, high });
        }
    }
    Ok(())
}
