//! How far from their places the landmarks of the key's own traces are found.

use std::collections::BTreeMap;

use cycle::FeatureShape;
use landmarks::{Curve, Expectation, Form, Found, Reading, find};

use crate::Rubric;
use crate::locate::{time_s, value};

/// Distance of points along a trace, in millimetres.
const STEP_MM: f64 = 0.125;
/// What is found farther than this from its place is taken for something else, in millimetres.
const FARTHEST_MM: f64 = 2.0;

/// Puts beginnings, ends and feet where they are by how far from its place each is found on the key's
/// own trace, its corners rounded as those of a drawing are.
pub(crate) fn correct(reading: &mut Reading, curves: &[Curve], rubric: &Rubric<'_>) {
    let late_s = late_s(curves, rubric);
    for found in &mut reading.found {
        let name = (found.channel.as_str(), found.name.as_str());
        let Some(late_s) = late_s.get(&name) else { continue };
        found.time_s -= late_s;
        for (time_s, _) in &mut found.alternatives {
            *time_s -= late_s;
        }
    }
}

/// How much later than they are the key's landmarks are found on its traces, by channel and name.
fn late_s<'a>(curves: &[Curve], rubric: &'a Rubric<'_>) -> BTreeMap<(&'a str, &'a str), f64> {
    let lines = curves.iter().filter(|curve| curve.form == Form::Line);
    let key: Vec<Curve> = lines.filter_map(|curve| as_in_key(curve, rubric)).collect();
    let reading = find(&key, rubric.subject, Some(Expectation { cycle: rubric.model }));
    let mut all: BTreeMap<(&str, &str), Vec<f64>> = BTreeMap::new();
    for found in reading.found.iter().filter(|found| !is_turn(found, rubric)) {
        let mut own: Vec<&cycle::Landmark> = rubric.model.landmarks.iter().collect();
        own.retain(|mark| mark.name == found.name && mark.channel == found.channel);
        let late = own.iter().map(|mark| (mark, found.time_s - mark.time_s));
        let nearest = late.min_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        if let Some((mark, late)) = nearest
            && late.abs() * rubric.mm_per_s < FARTHEST_MM
        {
            all.entry((&mark.channel, &mark.name)).or_default().push(late);
        }
    }
    all.into_iter().map(|(name, late)| (name, common(&late))).collect()
}

/// Whether a landmark is the highest or the lowest place of a wave: that is where it is, wherever
/// the key has it.
fn is_turn(found: &Found, rubric: &Rubric<'_>) -> bool {
    let kind = rubric.subject.landmark(&found.name);
    let feature = kind.and_then(|kind| kind.feature_on(&found.channel));
    feature.is_some_and(|feature| {
        !feature.held && matches!(feature.shape, FeatureShape::Peak | FeatureShape::Trough)
    })
}

/// What all have in common: the one nearest to nothing, if they go one way.
fn common(late: &[f64]) -> f64 {
    let [least, most] = late.iter().fold([f64::MAX, f64::MIN], |[a, b], x| [a.min(*x), b.max(*x)]);
    if least * most < 0.0 { 0.0 } else { least.max(most.min(0.0)) }
}

/// The key's trace instead of a drawn one, which is known as well as that; printed ones as they are.
fn as_in_key(curve: &Curve, rubric: &Rubric<'_>) -> Option<Curve> {
    let trace = rubric.model.trace(&curve.channel)?;
    let panel = &rubric.panel(&curve.channel)?.place;
    if panel.given {
        return Some(curve.clone());
    }
    let map = panel.map();
    let points = trace.samples.iter().enumerate();
    let points = points.map(|(index, value)| [map.x(trace.time_s(index)), map.y(*value)]);
    let shown = points.filter(|[x, _]| (panel.area.x..=panel.area.right()).contains(x));
    let points = rounded(&shown.collect::<Vec<_>>(), rubric.rounded_mm);
    let points = points.iter().map(|[x, y]| [time_s(panel, *x), value(panel, *y)]);
    Some(Curve { points: points.collect(), unknown: Vec::new(), ..curve.clone() })
}

/// A line whose corners are rounded along it.
fn rounded(points: &[[f64; 2]], by_mm: f64) -> Vec<[f64; 2]> {
    let mut even: Vec<[f64; 2]> = points.first().copied().into_iter().collect();
    let mut next = STEP_MM;
    for pair in points.windows(2) {
        let ([x, y], [to_x, to_y]) = (pair[0], pair[1]);
        let length = libm::hypot(to_x - x, to_y - y);
        while next <= length {
            let share = next / length;
            even.push([x + share * (to_x - x), y + share * (to_y - y)]);
            next += STEP_MM;
        }
        next -= length;
    }
    // A mean of five has a variance of twice their distance squared.
    let rounds = (by_mm * by_mm / (2.0 * STEP_MM * STEP_MM)).round() as usize;
    (0..rounds).fold(even, |even, _| averaged(&even))
}

/// Each point the mean of five, and near an end of as many as there are on both its sides.
fn averaged(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mean = |index: usize| {
        let by = 2.min(index).min(points.len() - 1 - index);
        let near = &points[index - by..=index + by];
        [0, 1].map(|axis| near.iter().map(|point| point[axis]).sum::<f64>() / near.len() as f64)
    };
    (0..points.len()).map(mean).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_right_angle_is_rounded_as_by_a_normal_distribution() {
        let corner = [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0]];
        for by_mm in [0.25, 0.43, 0.8] {
            let nearest = rounded(&corner, by_mm)
                .iter()
                .map(|[x, y]| libm::hypot(10.0 - x, *y))
                .fold(f64::MAX, f64::min);
            // The mean of what is positive of a normal distribution, in both directions.
            let expected = by_mm / std::f64::consts::PI.sqrt();
            assert!((nearest / expected - 1.0).abs() < 0.06, "{by_mm}: {nearest} {expected}");
        }
        assert!(rounded(&corner, 0.0).contains(&[10.0, 0.0]));
    }

    #[test]
    fn beats_that_differ_say_nothing() {
        assert_eq!(common(&[0.3, 0.1]), 0.1);
        assert_eq!(common(&[-0.3, -0.1]), -0.1);
        assert_eq!(common(&[0.3, -0.1]), 0.0);
    }
}
