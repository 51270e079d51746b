//! The whole recording in a bar.

use maud::{Markup, html};

use super::choices::View;
use super::shelf::{Bench, Now};
use super::stretches::bad_stretches;
use super::strip::{Axis, LEFT, RIGHT, hundredth, lanes, line, shown};
use crate::web::refusal::Refusal;

/// Height of the whole recording's bar.
const BAR: f64 = 44.0;

/// The whole recording in a bar, with what is bad on its first signal; the part looked at is a
/// frame on it.
pub(crate) fn overview(bench: &Bench, now: Option<&Now>, view: &View) -> Result<Markup, Refusal> {
    let signal = shown(bench, view).first().copied().unwrap_or(0);
    let whole = View { at_s: 0.0, span_s: bench.duration_s.max(1e-3), ..view.clone() };
    let mut lane = lanes(bench, &View { shown: vec![signal], ..view.clone() });
    let Some(lane) = lane.first_mut() else { return Ok(html! {}) };
    (lane.top, lane.height) = (2.0, BAR - 4.0);
    let right = view.width - RIGHT;
    let axis = Axis { at_s: 0.0, per_s: (right - LEFT) / whole.span_s };
    let (path, gaps) = line(bench, &mut bench.reading(), lane, &whole, &axis)?;
    let beats = now.map_or(&[][..], |now| &now.beats);
    let bad: Vec<[f64; 2]> = lane.named.map_or_else(Vec::new, |(channel, _)| {
        bad_stretches(beats, channel).into_iter().map(|(_, span)| span).collect()
    });
    let bad = bad.into_iter().map(|span| span.map(|s| axis.x(s).clamp(LEFT, right)));
    let [x, end] = [view.at_s, view.end_s()].map(|s| hundredth(axis.x(s)));
    Ok(html! {
        svg #overview-drawing viewBox={ "0 0 " (view.width) " " (BAR) } width=(view.width) height=(BAR) aria-hidden="true"
            data-lasts=(bench.duration_s) data-left=(LEFT) data-right=(right) {
            rect.ground x=(LEFT) y="0" width=(right - LEFT) height=(BAR) {}
            @for [from, to] in gaps.into_iter().chain(bad) {
                rect x=(hundredth(from)) y="2" width=(hundredth((to - from).max(1.0))) height=(BAR - 4.0) fill="url(#hatch)" {}
            }
            path.trace d=(path) {}
            rect #window x=(x) y="1" width=(hundredth((end - x).max(3.0))) height=(BAR - 2.0) {}
        }
    })
}
