//! What a scan shows, as what was drawn.

use marking::{DrawnBar, DrawnBurst, DrawnLine, DrawnPage, DrawnSounds, DrawnTrace, Written};
use scan::PageForm;
use scan::trace::{Drawing, Kind, LineStyle};

/// The drawing on page number `page`, whose corners are known to `uncertainty_mm`.
pub(crate) fn drawn(drawing: Drawing, form: &PageForm, page: u8, uncertainty_mm: f64) -> DrawnPage {
    let traces = drawing.traces.into_iter().map(|trace| DrawnTrace {
        channel: trace.channel,
        points_mm: trace.points_mm.into_iter().map(rounded).collect(),
        gaps_mm: trace.gaps,
        ambiguous_mm: trace.ambiguous,
        width_mm: trace.width_mm,
        sure: f64::from(trace.sure),
    });
    let sounds = drawing.sounds.into_iter().map(|sounds| DrawnSounds {
        channel: sounds.channel,
        envelope_mm: sounds.envelope.into_iter().map(rounded).collect(),
        bursts: sounds.bursts.iter().map(burst).collect(),
        perhaps: sounds.perhaps.iter().map(burst).collect(),
        width_mm: sounds.width_mm,
        sure: f64::from(sounds.confidence),
    });
    let bars = drawing.bars.into_iter().map(|bar| DrawnBar {
        bar: bar.bar,
        stretches_mm: bar.stretches_mm,
        sure: f64::from(bar.confidence),
    });
    let lines = drawing.lines.into_iter().map(|line| DrawnLine {
        top_mm: [line.top_x_mm, line.top_mm],
        bottom_mm: [line.bottom_x_mm, line.bottom_mm],
        style: match line.style {
            LineStyle::Solid => "solid",
            LineStyle::Dashed => "dashed",
            LineStyle::Dotted => "dotted",
        }
        .to_owned(),
    });
    let written = drawing.labels.into_iter().map(|label| Written {
        bounds_mm: label.bounds_mm,
        channel: form.panels[label.panel].channel.clone(),
        writing: label.kind == Kind::Writing,
    });
    DrawnPage {
        page,
        uncertainty_mm,
        traces: traces.collect(),
        sounds: sounds.collect(),
        bars: bars.collect(),
        lines: lines.collect(),
        written: written.collect(),
    }
}

/// To a thousandth of a millimetre: far finer than it is known, and short to keep.
fn rounded<const N: usize>(place: [f64; N]) -> [f64; N] {
    place.map(|mm| (mm * 1e3).round() / 1e3)
}

fn burst(burst: &scan::trace::Burst) -> DrawnBurst {
    DrawnBurst {
        from_mm: burst.from_mm,
        to_mm: burst.to_mm,
        height_mm: burst.height_mm,
        doubt_mm: burst.doubt_mm,
        sure: f64::from(burst.confidence),
    }
}
