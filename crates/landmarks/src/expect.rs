//! When and how high landmarks may be expected.

use std::collections::BTreeMap;

use cycle::{Cycle, Feature, Subject};

use crate::curve::median;

/// What a good trace is thought to look like: it guides and does not decide.
#[derive(Clone, Copy, Debug)]
pub struct Expectation<'a> {
    /// A cycle with its landmarks, such as a drawing's key.
    pub cycle: &'a Cycle,
}

/// Where a landmark lies in the expected cycle.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Expected {
    /// After the beat's anchor, seconds.
    pub(crate) offset_s: f64,
    pub(crate) value: f64,
    /// Whether it keeps its distance from the anchor from beat to beat, and so says something
    /// about time.
    pub(crate) steady: bool,
}

/// A landmark is steady if its offsets lie on average this near to the middle one, seconds.
const STEADY_S: f64 = 0.03;

/// What is expected of each landmark on one channel.
pub(crate) type Guide = BTreeMap<String, Expected>;

impl Expectation<'_> {
    /// When the anchor is expected, in seconds.
    pub(crate) fn anchors(&self, subject: &Subject) -> Vec<f64> {
        let anchors = self.cycle.landmarks.iter().filter(|l| l.name == subject.anchor);
        let mut times: Vec<f64> = anchors.map(|l| l.time_s).collect();
        times.sort_by(f64::total_cmp);
        times
    }

    /// What is expected on `channel`: of each landmark the middle over all beats.
    pub(crate) fn guide(&self, channel: &str, subject: &Subject) -> Guide {
        let anchors = self.anchors(subject);
        let span = self.cycle.span_s().map_or(0.0, |(start, end)| end - start);
        let turns: &[f64] = if self.cycle.repeats { &[-1.0, 0.0, 1.0] } else { &[0.0] };
        let mut guide = Guide::new();
        for kind in &subject.landmarks {
            let Some(feature) = kind.feature_on(channel) else { continue };
            let marks: Vec<(f64, f64)> = self
                .cycle
                .landmarks
                .iter()
                .filter(|l| l.name == kind.id && l.channel == channel)
                .flat_map(|l| turns.iter().map(move |turn| (l.time_s + turn * span, l.value)))
                .collect();
            let nearest = |anchor: &f64| {
                let offsets = marks.iter().map(|(time_s, value)| (time_s - anchor, *value));
                let offsets = offsets.filter(|(offset, _)| outside_s(feature, *offset) < WIDE_S);
                let off = |offset: f64| (offset - middle_s(feature)).abs();
                offsets.min_by(|a, b| off(a.0).total_cmp(&off(b.0)))
            };
            let found: Vec<(f64, f64)> = anchors.iter().filter_map(nearest).collect();
            if !found.is_empty() {
                let offset_s = median(found.iter().map(|f| f.0).collect());
                let value = median(found.iter().map(|f| f.1).collect());
                let off = found.iter().map(|f| (f.0 - offset_s).abs()).sum::<f64>();
                let steady = off <= STEADY_S * found.len() as f64;
                guide.insert(kind.id.clone(), Expected { offset_s, value, steady });
            }
        }
        guide
    }
}

/// So far outside its usual time a key may have a landmark, seconds.
const WIDE_S: f64 = 0.2;

fn middle_s(feature: &Feature) -> f64 {
    f64::midpoint(feature.usual_ms[0], feature.usual_ms[1]) / 1000.0
}

/// How far outside a landmark's usual time an offset from the anchor lies, seconds.
pub(crate) fn outside_s(feature: &Feature, offset_s: f64) -> f64 {
    let [early, late] = feature.usual_ms.map(|ms| ms / 1000.0);
    (early - offset_s).max(offset_s - late).max(0.0)
}

/// What it costs that a landmark lies at an offset from its anchor: `scale` for being off what is
/// expected by more than `width`, in seconds.
pub(crate) fn time_cost(
    feature: &Feature,
    expected: Option<&Expected>,
    offset_s: f64,
    [scale, width]: [f64; 2],
) -> f64 {
    match expected.filter(|expected| expected.steady) {
        Some(expected) => {
            let off = (offset_s - expected.offset_s) / width;
            scale * libm::log(1.0 + off * off)
        }
        None => {
            let off = outside_s(feature, offset_s) / 0.04;
            (0.5 * off * off).min(8.0)
        }
    }
}
