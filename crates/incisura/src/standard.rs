//! The standard figure, and the panels that one can be made of.

use cycle::Cycle;
use figure::{FigureSpec, PanelSpec};

/// A panel that can be switched on and off.
#[derive(Debug)]
pub(crate) struct PanelChoice {
    pub(crate) id: &'static str,
    pub(crate) title: &'static str,
    channels: &'static [&'static str],
    height_mm: f64,
    /// Whether the standard figure has it.
    pub(crate) standard: bool,
}

/// The panels to choose from, from top to bottom.
pub(crate) const PANELS: &[PanelChoice] = &[
    panel("ecg", "ECG", &["ecg"], 24.0, true),
    panel("sounds", "Heart sounds", &["heart_sounds"], 16.0, true),
    panel(
        "left",
        "Left heart and aorta",
        &["lv_pressure", "aortic_pressure", "la_pressure"],
        46.0,
        true,
    ),
    panel("atrium", "Left atrium, enlarged", &["la_pressure"], 20.0, false),
    panel("wrist", "Radial artery", &["radial_pressure"], 24.0, false),
    panel("finger", "Finger pulse", &["finger_pulse"], 16.0, false),
    panel("right", "Right heart", &["rv_pressure", "pa_pressure", "ra_pressure"], 34.0, false),
    panel("volume", "LV volume", &["lv_volume"], 26.0, true),
    panel("flow", "Valve flow", &["aortic_flow", "mitral_flow"], 26.0, false),
];

/// Alignment lines of the standard figure.
pub(crate) const LINES: [&str; 4] = ["r_peak", "s1_onset", "s2_onset", "t_end"];
/// Alignment lines where beats stand close together.
pub(crate) const LINES_OF_MANY_BEATS: [&str; 2] = ["r_peak", "s2_onset"];
/// Bars of the standard figure.
pub(crate) const BARS: [&str; 2] = ["mitral", "aortic"];

const fn panel(
    id: &'static str,
    title: &'static str,
    channels: &'static [&'static str],
    height_mm: f64,
    standard: bool,
) -> PanelChoice {
    PanelChoice { id, title, channels, height_mm, standard }
}

impl PanelChoice {
    /// The panel at `factor` times its height on paper.
    pub(crate) fn spec(&self, factor: f64) -> PanelSpec {
        PanelSpec::new(self.channels, self.height_mm * factor)
    }
}

/// Gives `spec` the standard panels and, where wanted, the standard lines and bars.
pub(crate) fn fill(spec: &mut FigureSpec, lines: bool, bars: bool) {
    spec.panels =
        PANELS.iter().filter(|choice| choice.standard).map(|choice| choice.spec(1.0)).collect();
    if lines {
        spec.lines = LINES.map(str::to_owned).to_vec();
    }
    if bars {
        spec.bars = BARS.map(str::to_owned).to_vec();
    }
}

/// Drops from the standard panels what a cycle from elsewhere does not have.
pub(crate) fn keep_present(spec: &mut FigureSpec, cycle: &Cycle) {
    for panel in &mut spec.panels {
        panel.channels.retain(|channel| cycle.trace(channel).is_some());
    }
    spec.panels.retain(|panel| !panel.channels.is_empty());
}
