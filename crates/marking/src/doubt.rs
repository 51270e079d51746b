//! How sure a reading is, by what speaks for it and against it.

use std::collections::BTreeMap;

use convention::Point;
use cycle::FeatureShape;
use landmarks::{Curve, Form, Found, Reading};

use crate::{Mark, Rubric};

/// Where more than this share of a trace's landmarks are absent, and how sure that is then at most.
const LOST_SHARE: f64 = 0.5;
const LOST: f64 = 0.5;

/// What speaks for and against a landmark where it was found.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Signs {
    /// How sure `landmarks` is.
    pub confidence: f64,
    /// How far the beats differ about it, in millimetres.
    pub differ_mm: f64,
    /// Whether another beat lacks it.
    pub lacking: bool,
    /// By how much the curve passes it before the next landmark, in millimetres.
    pub passed_mm: f64,
    /// By how much it stands out of the landmarks beside it, in millimetres, where it is a turn.
    pub clear_mm: Option<f64>,
    /// How far it is from where the key has it, in millimetres.
    pub from_key_mm: f64,
    /// The same, in millimetres, from the key as it is or shifted as another landmark in the same
    /// beat of the trace is, whichever is nearer.
    pub alone_mm: f64,
    /// Share of the trace's landmarks that are absent in some beat.
    pub lost: f64,
    /// Its height as a share of the highest on its trace, where it is a burst.
    pub height: Option<f64>,
}

/// The end of a bar that was misread is so far off, in millimetres, in this share of cases: a
/// stroke of its hatching, or a line beside it. (Of 60 ends in 800 invented
/// drawings that were held sure and were not, 58 were 1.5 to 3 mm off.)
const ASTRAY_MM: f64 = 2.0;
const ASTRAY: f64 = 0.95;

/// Weights of a logistic regression: how likely a landmark that was found is within 1.5 mm of
/// where it was drawn, for lines, for bursts and for the ends of bars. Fitted to 1,800 invented
/// drawings (`accuracy --fit signs`).
struct Weights {
    constant: f64,
    confidence: f64,
    differ: f64,
    lacking: f64,
    passed: f64,
    flat: f64,
    /// From the key on, and beyond each of [`FROM_KEY`].
    from_key: [f64; 3],
    alone: f64,
    lost: f64,
    height: f64,
}

/// Near the key a landmark is hardly ever another, and far from it not oftener the farther it is:
/// where that changes, as logarithms of one more than the millimetres (0.8 and 2.7 mm).
const FROM_KEY: [f64; 2] = [0.6, 1.3];

const LINES: Weights = Weights {
    constant: 3.85,
    confidence: 0.87,
    differ: -1.01,
    lacking: -2.06,
    passed: 0.06,
    flat: -0.03,
    from_key: [-2.89, -1.9, 4.58],
    alone: 0.79,
    lost: -0.01,
    height: 0.0,
};
const BURSTS: Weights = Weights {
    constant: 5.78,
    confidence: 0.35,
    differ: -1.54,
    lacking: -1.56,
    passed: 0.0,
    flat: 0.0,
    from_key: [-2.06, -1.17, 4.95],
    alone: -1.63,
    lost: -1.27,
    height: 0.73,
};
const ENDS: Weights = Weights {
    constant: 5.07,
    confidence: 0.37,
    differ: -0.96,
    lacking: 0.0,
    passed: 0.0,
    flat: 0.0,
    from_key: [-2.67, -1.02, 4.29],
    alone: 0.0,
    lost: 0.0,
    height: 0.0,
};

impl Signs {
    /// The signs as numbers: what the weights are for.
    pub fn numbers(&self) -> [f64; 12] {
        let confidence = self.confidence.clamp(0.02, 0.995);
        let flat = self.clear_mm.map_or(0.0, |mm| -libm::log((0.1 + mm.clamp(0.0, 10.0)) / 10.1));
        let from_key = libm::log1p(self.from_key_mm);
        let beyond = FROM_KEY.map(|limit| (from_key - limit).max(0.0));
        [
            1.0,
            libm::log(confidence / (1.0 - confidence)),
            libm::log1p(self.differ_mm),
            f64::from(u8::from(self.lacking)),
            libm::log1p(self.passed_mm),
            flat,
            from_key,
            beyond[0],
            beyond[1],
            libm::log1p(self.alone_mm),
            self.lost,
            libm::log(self.height.unwrap_or(1.0).max(0.05)),
        ]
    }

    /// How sure it is, 0 … 1.
    fn sure(&self, w: &Weights) -> f64 {
        let weights = [
            w.constant,
            w.confidence,
            w.differ,
            w.lacking,
            w.passed,
            w.flat,
            w.from_key[0],
            w.from_key[1],
            w.from_key[2],
            w.alone,
            w.lost,
            w.height,
        ];
        let sum: f64 = weights.iter().zip(self.numbers()).map(|(w, sign)| w * sign).sum();
        1.0 / (1.0 + libm::exp(-sum))
    }
}

/// What speaks for and against what was found, in its order.
pub fn signs(reading: &Reading, curves: &[Curve], rubric: &Rubric<'_>) -> Vec<Signs> {
    let sure = |found: &Found| Signs { confidence: found.confidence, ..Signs::default() };
    let mut signs: Vec<Signs> = reading.found.iter().map(sure).collect();
    compare_beats(reading, rubric, &mut signs);
    for curve in curves {
        match curve.form {
            Form::Line => compare_turns(reading, curve, rubric, &mut signs),
            _ => compare_heights(reading, curve, &mut signs),
        }
        let lost = lost(reading, curve, rubric);
        for (found, signs) in reading.found.iter().zip(&mut signs) {
            if found.channel == curve.channel {
                signs.lost = lost;
            }
        }
    }
    signs
}

/// Makes what was found as sure as it turns out to be where such signs are.
pub(crate) fn doubt(reading: &mut Reading, curves: &[Curve], rubric: &Rubric<'_>) {
    let signs = signs(reading, curves, rubric);
    for (found, signs) in reading.found.iter_mut().zip(signs) {
        let sure = signs.sure(if signs.height.is_some() { &BURSTS } else { &LINES });
        // What is elsewhere, or nowhere, shares what is left as before.
        let left = (1.0 - sure) / (1.0 - found.confidence).max(1e-9);
        for other in &mut found.alternatives {
            other.1 = (other.1 * left).min(1.0 - sure);
        }
        found.confidence = sure;
    }
    for curve in curves {
        doubt_lost_trace(reading, curve, rubric);
    }
}

/// What speaks for and against the ends of bars, in their order: how far they are from the key's
/// and how far the beats differ about that.
pub fn event_signs(ends: &[Mark], rubric: &Rubric<'_>) -> Vec<Signs> {
    let later = |end: &Mark| {
        let own = rubric.model.events.iter().filter(|event| event.name == end.name);
        let later = own.map(|event| (end.time_s - event.time_s) * rubric.mm_per_s);
        later.min_by(|a, b| a.abs().total_cmp(&b.abs()))
    };
    let shifts: Vec<Option<f64>> = ends.iter().map(later).collect();
    let differ = |name: &str| {
        let own = ends.iter().zip(&shifts).filter(|(end, _)| end.name == name);
        let own = own.filter_map(|(_, shift)| *shift);
        let [least, most] = own.fold([f64::MAX, f64::MIN], |[a, b], mm| [a.min(mm), b.max(mm)]);
        (most - least).max(0.0)
    };
    let signs = ends.iter().zip(&shifts).map(|(end, shift)| Signs {
        confidence: end.confidence,
        differ_mm: differ(&end.name),
        from_key_mm: shift.map_or(FARTHEST_MM, |mm| mm.abs().min(FARTHEST_MM)),
        ..Signs::default()
    });
    signs.collect()
}

/// Makes the ends of bars as sure as they turn out to be where such signs are.
pub(crate) fn doubt_events(ends: &mut [Mark], rubric: &Rubric<'_>) {
    let signs = event_signs(ends, rubric);
    for (end, signs) in ends.iter_mut().zip(signs) {
        end.confidence = signs.sure(&ENDS);
        let share = ASTRAY * (1.0 - end.confidence) / 2.0;
        end.alternatives =
            [-1.0, 1.0].map(|way| [end.time_s + way * ASTRAY_MM / rubric.mm_per_s, share]).to_vec();
    }
}

/// What is drawn in one beat is mostly drawn in the others, at the same distance from what is
/// already there.
fn compare_beats(reading: &Reading, rubric: &Rubric<'_>, signs: &mut [Signs]) {
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
    let shifts: Vec<Option<f64>> = reading.found.iter().map(later).collect();
    let mut by_name: BTreeMap<(&str, &str), Vec<f64>> = BTreeMap::new();
    let mut by_beat: BTreeMap<(&str, i32), Vec<(&str, f64)>> = BTreeMap::new();
    for (found, shift) in reading.found.iter().zip(&shifts) {
        by_name.entry((&found.channel, &found.name)).or_default().extend(shift);
        let shift = shift.map(|shift| (found.name.as_str(), shift));
        by_beat.entry((&found.channel, found.beat)).or_default().extend(shift);
    }
    for ((found, own), signs) in reading.found.iter().zip(&shifts).zip(signs) {
        let all = &by_name[&(found.channel.as_str(), found.name.as_str())];
        let most = all.iter().copied().fold(f64::MIN, f64::max);
        let least = all.iter().copied().fold(f64::MAX, f64::min);
        signs.differ_mm = (most - least).max(0.0);
        signs.lacking = reading
            .missing
            .iter()
            .any(|missing| missing.name == found.name && missing.channel == found.channel);
        signs.from_key_mm = own.map_or(FARTHEST_MM, |own| own.abs().min(FARTHEST_MM));
        let beside = by_beat[&(found.channel.as_str(), found.beat)].iter();
        let beside = beside
            .filter(|(name, _)| *name != found.name)
            .filter_map(|(_, shift)| Some((shift - (*own)?).abs()));
        signs.alone_mm = beside.fold(signs.from_key_mm, f64::min);
    }
}

/// The farthest that a landmark counts as being from the key's, or where that has none, in
/// millimetres.
const FARTHEST_MM: f64 = 50.0;

/// A peak is the highest place between its neighbours, and stands out of them; a trough likewise.
fn compare_turns(reading: &Reading, curve: &Curve, rubric: &Rubric<'_>, signs: &mut [Signs]) {
    let Some(on) = rubric.panel(&curve.channel) else { return };
    let mm = on.place.mm_per_unit();
    let own = |found: &Found| found.channel == curve.channel;
    let mut places: Vec<[f64; 2]> =
        reading.found.iter().filter(|found| own(found)).map(|f| [f.time_s, f.value]).collect();
    places.sort_by(|a, b| a[0].total_cmp(&b[0]));
    for (found, signs) in reading.found.iter().zip(signs).filter(|(found, _)| own(found)) {
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
        let beside = || [before, after].into_iter().flatten();
        let clear = beside().map(|place| sign * (found.value - place[1])).reduce(f64::min);
        signs.clear_mm = clear.map(|clear| clear * mm);
        if let (Some(before), Some(after)) = (before, after) {
            let between =
                curve.points.iter().filter(|point| (before[0]..=after[0]).contains(&point[0]));
            // The neighbours themselves may be peaks of their own.
            let highest = beside().map(|place| sign * place[1]).fold(sign * found.value, f64::max);
            let most = between.map(|point| sign * point[1]).fold(f64::MIN, f64::max);
            signs.passed_mm = (most - highest).max(0.0) * mm;
        }
    }
}

/// What is low beside the other sounds may be something written.
fn compare_heights(reading: &Reading, curve: &Curve, signs: &mut [Signs]) {
    let own = |found: &Found| found.channel == curve.channel;
    let highest = reading.found.iter().filter(|f| own(f)).map(|f| f.value).fold(1e-9, f64::max);
    for (found, signs) in reading.found.iter().zip(signs).filter(|(found, _)| own(found)) {
        signs.height = Some(found.value / highest);
    }
}

/// The share of a trace's landmarks that are absent in some beat.
fn lost(reading: &Reading, curve: &Curve, rubric: &Rubric<'_>) -> f64 {
    let key = rubric.model.landmarks.iter().filter(|mark| mark.channel == curve.channel);
    let mut names: Vec<&str> = key.map(|mark| mark.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let gone = |name: &&&str| {
        let mut missing = reading.missing.iter();
        missing.any(|missing| missing.channel == curve.channel && missing.name == **name)
    };
    names.iter().filter(gone).count() as f64 / names.len().max(1) as f64
}

/// Where most of a trace's landmarks are absent, it may not be the trace that was followed.
fn doubt_lost_trace(reading: &mut Reading, curve: &Curve, rubric: &Rubric<'_>) {
    if lost(reading, curve, rubric) > LOST_SHARE {
        for missing in reading.missing.iter_mut().filter(|m| m.channel == curve.channel) {
            missing.confidence = missing.confidence.min(LOST);
        }
    }
}
