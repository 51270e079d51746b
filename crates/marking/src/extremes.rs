//! What is the highest or the lowest place by what it is, wherever it lies.

use cycle::{Feature, FeatureShape};
use landmarks::{Curve, Form, Found, Missing, Reading};

use crate::Rubric;

/// The foot is where the curve is lowest before it rises. Where that is lower than where the rise
/// gets steep by more than this, in millimetres, it was drawn so; by less, a hand drifts.
const LOWER_MM: f64 = 3.0;
/// So long before the rise gets steep its foot may be, seconds.
const BEFORE_S: f64 = 0.15;
/// A peak is higher than the landmarks beside it by this at least, in millimetres.
const HIGHER_MM: f64 = 1.0;
/// How sure it is that the highest place between what comes before and after a peak is that peak,
/// and how well its time is known, seconds.
const HIGHEST: f64 = 0.9;
const SPREAD_S: f64 = 0.01;

/// Puts feet where the curve is lowest before its rise.
pub(crate) fn lower_feet(reading: &mut Reading, curves: &[Curve], rubric: &Rubric<'_>) {
    for curve in curves.iter().filter(|curve| curve.form == Form::Line) {
        let Some(on) = rubric.panel(&curve.channel) else { continue };
        let mut before_s = f64::NEG_INFINITY;
        for found in reading.found.iter_mut().filter(|found| found.channel == curve.channel) {
            let from = before_s.max(found.time_s - BEFORE_S);
            before_s = found.time_s;
            let foot = feature(rubric, &found.name, &found.channel)
                .filter(|feature| feature.shape == FeatureShape::Foot);
            if foot.is_some()
                && let Some([time_s, value]) = extreme(curve, [from, found.time_s], -1.0)
                && (found.value - value) * on.place.mm_per_unit() > LOWER_MM
            {
                (found.time_s, found.value) = (time_s, value);
            }
        }
    }
}

/// Finds peaks that were not found, and that a good trace has, at the highest place between the
/// landmarks before and after them.
pub(crate) fn find_peaks(reading: &mut Reading, curves: &[Curve], rubric: &Rubric<'_>) {
    let found: Vec<Found> =
        reading.missing.iter().filter_map(|one| peak(one, reading, curves, rubric)).collect();
    reading.missing.retain(|missing| !found.iter().any(|found| is_same(missing, found)));
    reading.found.extend(found);
    reading.found.sort_by(|a, b| a.channel.cmp(&b.channel).then(a.time_s.total_cmp(&b.time_s)));
}

fn is_same(missing: &Missing, found: &Found) -> bool {
    missing.name == found.name && missing.channel == found.channel && missing.beat == found.beat
}

fn peak(
    missing: &Missing,
    reading: &Reading,
    curves: &[Curve],
    rubric: &Rubric<'_>,
) -> Option<Found> {
    let Missing { name, channel, beat, .. } = missing;
    feature(rubric, name, channel).filter(|feature| {
        feature.shape == FeatureShape::Peak && !feature.optional && !feature.held
    })?;
    let on = rubric.panel(channel).filter(|on| !on.place.given)?;
    let curve = curves.iter().find(|curve| curve.channel == *channel)?;
    let order = rubric.subject.order_on(channel);
    let place = |name: &str, beat: i32| Some((beat, order.iter().position(|own| *own == name)?));
    let own = place(name, *beat)?;
    let mut others: Vec<((i32, usize), &Found)> = Vec::new();
    for found in reading.found.iter().filter(|found| found.channel == *channel) {
        others.push((place(&found.name, found.beat)?, found));
    }
    let (_, before) = others.iter().filter(|(at, _)| *at < own).max_by_key(|(at, _)| *at)?;
    let (_, after) = others.iter().filter(|(at, _)| *at > own).min_by_key(|(at, _)| *at)?;
    let [time_s, value] = extreme(curve, [before.time_s, after.time_s], 1.0)?;
    let higher = (value - before.value.max(after.value)) * on.place.mm_per_unit();
    (higher > HIGHER_MM).then(|| Found {
        name: name.clone(),
        channel: channel.clone(),
        beat: *beat,
        time_s,
        value,
        confidence: HIGHEST,
        spread_s: SPREAD_S,
        alternatives: Vec::new(),
    })
}

fn feature<'a>(rubric: &Rubric<'a>, name: &str, channel: &str) -> Option<&'a Feature> {
    rubric.subject.landmark(name).and_then(|kind| kind.feature_on(channel))
}

/// The highest point of a curve in a stretch of time, or the lowest where `sign` is negative.
fn extreme(curve: &Curve, [from, to]: [f64; 2], sign: f64) -> Option<[f64; 2]> {
    let within = curve.points.iter().filter(|point| (from..=to).contains(&point[0]));
    within.copied().max_by(|a, b| (sign * a[1]).total_cmp(&(sign * b[1])))
}
