//! What speaks against a reading that was the best.

use std::collections::BTreeMap;

use convention::Point;
use cycle::FeatureShape;
use landmarks::{Curve, Form, Found, Reading};

use crate::Rubric;

/// Beats that differ by more than this, in millimetres, are doubted, and how sure what is found
/// in them is then.
const DIFFERS_MM: f64 = 3.0;
const DIFFERS: f64 = 0.75;
/// A turn that stands out of what is beside it by less than this, in millimetres, is doubted, and
/// so is one that is passed by more than this before the next landmark.
const CLEAR_MM: f64 = 1.2;
/// How sure a landmark is that something speaks against.
const DOUBTED: f64 = 0.75;
/// Sounds lower than this share of the highest may be letters.
const SMALL: f64 = 0.4;
/// How sure it is at most that landmarks are absent where most of a trace's are.
const LOST: f64 = 0.5;

/// Makes what something speaks against less sure.
pub(crate) fn doubt(reading: &mut Reading, curves: &[Curve], rubric: &Rubric<'_>) {
    compare_beats(reading, rubric);
    for curve in curves {
        match curve.form {
            Form::Line => compare_turns(reading, curve, rubric),
            _ => doubt_small_sounds(reading, curve),
        }
        doubt_lost_trace(reading, curve, rubric);
    }
}

/// What is drawn in one beat is mostly drawn in the others, at the same distance from what is
/// already there: what is found in one and not in another, or elsewhere, is less sure.
fn compare_beats(reading: &mut Reading, rubric: &Rubric<'_>) {
    let subject = rubric.subject;
    let key = convention::beats(rubric.model, subject);
    let reference = subject.reference_channel.as_str();
    let on = |beat: i32| usize::try_from(beat).ok().and_then(|beat| key.get(beat));
    let anchors: BTreeMap<i32, f64> = reading
        .found
        .iter()
        .filter(|found| found.name == subject.anchor && found.channel == reference)
        .map(|found| (found.beat, found.time_s))
        .collect();
    // How much later than in the key, in millimetres, each counted from its own anchor.
    let later = |found: &Found| {
        let point = Point::new(&found.name, Some(&found.channel));
        let anchor = Point::new(&subject.anchor, Some(reference));
        let beat = on(found.beat)?;
        let usual = beat.time_s(&point)? - beat.time_s(&anchor)?;
        Some((found.time_s - anchors.get(&found.beat)? - usual) * rubric.mm_per_s)
    };
    let mut by_name: BTreeMap<(String, String), Vec<f64>> = BTreeMap::new();
    for found in &reading.found {
        let name = (found.channel.clone(), found.name.clone());
        by_name.entry(name).or_default().extend(later(found));
    }
    for found in &mut reading.found {
        let name = (found.channel.clone(), found.name.clone());
        let all = by_name.get(&name).map_or(&[][..], Vec::as_slice);
        let most = all.iter().copied().fold(f64::MIN, f64::max);
        let least = all.iter().copied().fold(f64::MAX, f64::min);
        let lacking = reading
            .missing
            .iter()
            .any(|missing| missing.name == found.name && missing.channel == found.channel);
        if lacking || most - least > DIFFERS_MM {
            found.confidence *= DIFFERS;
        }
    }
}

/// A peak is the highest place between its neighbours, and stands out of them; a trough likewise.
fn compare_turns(reading: &mut Reading, curve: &Curve, rubric: &Rubric<'_>) {
    let Some(on) = rubric.panel(&curve.channel) else { return };
    let clear = CLEAR_MM / on.place.mm_per_unit();
    let own = |found: &Found| found.channel == curve.channel;
    let mut places: Vec<[f64; 2]> =
        reading.found.iter().filter(|found| own(found)).map(|f| [f.time_s, f.value]).collect();
    places.sort_by(|a, b| a[0].total_cmp(&b[0]));
    for found in reading.found.iter_mut().filter(|found| own(found)) {
        let kind = rubric.subject.landmark(&found.name);
        let shape = kind.and_then(|kind| kind.feature_on(&curve.channel)).map(|f| f.shape);
        let sign = match shape {
            Some(FeatureShape::Peak) => 1.0,
            Some(FeatureShape::Trough) => -1.0,
            _ => continue,
        };
        let at = places.partition_point(|place| place[0] < found.time_s - 1e-9);
        let before = at.checked_sub(1).and_then(|at| places.get(at));
        let after = places.get(at + 1);
        let from = before.map_or(f64::MIN, |place| place[0]);
        let to = after.map_or(f64::MAX, |place| place[0]);
        let between = curve.points.iter().filter(|point| (from..=to).contains(&point[0]));
        // The neighbours themselves may be peaks of their own.
        let passed = before.is_some() && after.is_some() && {
            let beside = [before, after].into_iter().flatten().map(|place| sign * place[1]);
            let beside = beside.fold(f64::MIN, f64::max);
            let most = between.map(|point| sign * point[1]).fold(f64::MIN, f64::max);
            most > (sign * found.value).max(beside) + clear
        };
        let mut beside = [before, after].into_iter().flatten();
        let flat = beside.any(|place| sign * (found.value - place[1]) < clear);
        if passed || flat {
            found.confidence *= DOUBTED;
        }
    }
}

/// What is low beside the other sounds may be something written.
fn doubt_small_sounds(reading: &mut Reading, curve: &Curve) {
    let own = |found: &Found| found.channel == curve.channel;
    let highest = reading.found.iter().filter(|f| own(f)).map(|f| f.value).fold(0.0, f64::max);
    for found in reading.found.iter_mut().filter(|found| own(found)) {
        if found.value < SMALL * highest {
            found.confidence *= DOUBTED;
        }
    }
}

/// Where most of a trace's landmarks are absent, it may not be the trace that was followed.
fn doubt_lost_trace(reading: &mut Reading, curve: &Curve, rubric: &Rubric<'_>) {
    let key = rubric.model.landmarks.iter().filter(|mark| mark.channel == curve.channel);
    let mut names: Vec<&str> = key.map(|mark| mark.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let own = |missing: &landmarks::Missing| missing.channel == curve.channel;
    let absent = names
        .iter()
        .filter(|name| reading.missing.iter().any(|m| own(m) && m.name == **name))
        .count();
    if 2 * absent > names.len() {
        for missing in reading.missing.iter_mut().filter(|missing| own(missing)) {
            missing.confidence = missing.confidence.min(LOST);
        }
    }
}
