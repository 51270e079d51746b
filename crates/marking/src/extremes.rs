//! What is the highest or the lowest place by what it is, wherever it lies.

use cycle::{Feature, FeatureShape};
use landmarks::{Curve, Form, Found, Missing, Reading};

use crate::Rubric;

/// The foot is where the curve is lowest before it rises. Where that is lower than where the rise
/// gets steep by more than this, in millimetres, it was drawn so; by less, a hand drifts.
const LOWER_MM: f64 = 3.0;
/// What is higher than the lowest place by no more than this is as low, in millimetres: of a level
/// before a rise its end counts.
const TREMOR_MM: f64 = 0.2;
/// A lowest place is none so near to where it is looked for from, seconds.
const EDGE_S: f64 = 0.01;
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
        let Some(on) = rubric.panel(&curve.channel).filter(|on| !on.place.given) else { continue };
        let mm = on.place.mm_per_unit();
        let mut before_s = f64::NEG_INFINITY;
        for found in reading.found.iter_mut().filter(|found| found.channel == curve.channel) {
            let within = [before_s.max(found.time_s - BEFORE_S), found.time_s];
            before_s = found.time_s;
            let feature = feature(rubric, &found.name, &found.channel);
            let is_foot = feature.is_some_and(|feature| feature.shape == FeatureShape::Foot);
            let Some([lowest_s, lowest]) = extreme(curve, within, -1.0).filter(|_| is_foot) else {
                continue;
            };
            // At the edge the curve is on its way down from or up to somewhere else.
            let is_inner = lowest_s > within[0] + EDGE_S;
            if !is_inner || (found.value - lowest) * mm <= LOWER_MM {
                continue;
            }
            let low = |point: &&[f64; 2]| (point[1] - lowest) * mm <= TREMOR_MM;
            let within = |p: &&[f64; 2]| (within[0]..=within[1]).contains(&p[0]);
            if let Some(&[time_s, value]) = curve.points.iter().rfind(|p| within(p) && low(p)) {
                (found.time_s, found.value) = (time_s, value);
            }
        }
    }
}

/// Finds peaks that were not found, and that a good trace has, at the highest place between the
/// landmarks before and after them. Those of the trace by which beats are counted stay missing.
pub(crate) fn find_peaks(reading: &mut Reading, curves: &[Curve], rubric: &Rubric<'_>) {
    let peaks = reading.missing.iter().filter_map(|one| peak(one, reading, curves, rubric));
    let mut found: Vec<Found> = peaks.collect();
    // Of two at one place nobody knows which it is.
    let all = found.clone();
    let same = |a: &Found, b: &Found| a.channel == b.channel && a.time_s == b.time_s;
    found.retain(|one| all.iter().filter(|other| same(one, other)).count() == 1);
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
    let is_main = |feature: &Feature| {
        let other = feature.optional || feature.held || feature.inverts;
        feature.shape == FeatureShape::Peak && !other
    };
    feature(rubric, name, channel).filter(|feature| is_main(feature))?;
    if *channel == rubric.subject.reference_channel {
        return None;
    }
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
