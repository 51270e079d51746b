//! What was evidently not drawn.

use std::cmp::Ordering;
use std::collections::BTreeSet;

use convention::Point;
use cycle::{FeatureShape, StrokeKind};
use landmarks::{Curve, Drawn, Form, Missing, Reading};
use sheet::PanelPlace;

use crate::{DrawnBurst, DrawnSheet, DrawnSounds, Rubric};

/// So far from where a landmark belongs, seconds, what is drawn may be meant for it.
const ABOUT_S: f64 = 0.3;
/// A landmark that stands out less than this in the key, in millimetres, is easily overlooked.
const CLEAR_MM: f64 = 1.0;
/// Likewise a sound, of which a faint one drawn a fifth as high is not seen.
const CLEAR_SOUND_MM: f64 = 10.0;
/// The hand's tremor makes waves as high as this, in millimetres, and higher ones where higher
/// waves belong: this share of them.
const TREMOR_MM: f64 = 0.1;
const TREMOR: f64 = 0.15;
/// A trace is level where it is lower than this share of the key's.
const LEVEL: f64 = 0.15;
/// A burst is one of the small sounds where it is lower than this share of the highest in the key.
const SMALL: f64 = 0.5;
/// A low sound is higher than its stroke by this much for so long, in millimetres; this far beside
/// other sounds.
const LOW_MM: f64 = 0.4;
const RESTLESS_MM: f64 = 1.0;
const BESIDE_MM: f64 = 1.5;
/// Letters that are no farther apart than this belong to one name, and one no farther than this
/// from a sound is that sound's, in millimetres.
const LETTERS_MM: f64 = 3.0;
const NAMED_MM: f64 = 5.0;
/// So far from its sound a name goes at most that hides nothing else, in millimetres.
const LONGEST_MM: f64 = 15.0;
/// A name is longer than this; so near to where a sound belongs, and beside no other, it is that
/// of what may have been drawn there, in millimetres.
const NAME_MM: f64 = 2.0;
const MEANT_MM: f64 = 5.0;
/// So far from a turn its landmark may be, seconds.
const TURN_S: f64 = 0.03;
/// So far outside of a burst its landmarks may be, seconds.
const END_S: f64 = 0.01;
/// So near to where a landmark belongs, seconds, the trace has to be known.
const NEAR_S: f64 = 0.03;
/// So near to where a trough belongs, seconds, it may be drawn as a mere bend: the trace turns
/// upward by so many degrees from one stretch of so many millimetres to the next.
/// (In drawings by another hand, bends that a person took for a notch turned by 14° to 33°, and
/// smooth falls by up to 20°: these cannot be told apart for sure.)
const BEND_S: f64 = 0.1;
const BEND_DEG: f64 = 12.0;
const BEND_MM: f64 = 4.0;
/// Places at which bends are looked for are so far apart, in millimetres.
const STEP_MM: f64 = 0.25;

/// How sure it is that a wave no higher than tremor was not drawn. (In 2,800 invented drawings
/// three of 138 such P and T waves had been.)
const NO_WAVE: f64 = 0.98;

/// What there is of a landmark that is missing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Lack {
    /// Whether it evidently was not drawn: there is a trace where it belongs, with nothing on it
    /// that could be it in any beat.
    pub(crate) evident: bool,
    /// Whether there is something where it belongs that was not made out.
    pub(crate) something: bool,
}

/// What there is of each landmark that is missing.
///
/// A wave takes its neighbour along, as the notch takes the dicrotic wave: where one landmark
/// alone is missing, it rather was taken for something else. (In 1,500 invented drawings 8 of
/// 1,879 verdicts that rested on what plainly was not drawn were wrong.)
pub(crate) fn lacks(
    sheet: &DrawnSheet,
    reading: &Reading,
    curves: &[Curve],
    rubric: &Rubric<'_>,
) -> Vec<Lack> {
    let mut lacks = vec![Lack::default(); reading.missing.len()];
    for curve in curves {
        let own = |missing: &&Missing| missing.channel == curve.channel;
        let missing: Vec<&Missing> = reading.missing.iter().filter(own).collect();
        let Some(on) = rubric.panel(&curve.channel) else { continue };
        let mut sounds = sheet.pages.iter().flat_map(|page| &page.sounds);
        let sounds = sounds.find(|sounds| sounds.channel == curve.channel);
        let names = sounds.map_or_else(<[_; 2]>::default, |sounds| names_mm(sheet, sounds));
        let trace = Seen { reading, curve, sounds, names_mm: names, rubric, panel: &on.place };
        let nothing = match curve.form {
            Form::Line => trace.no_wave(&missing),
            _ => trace.no_burst(&missing),
        };
        let missing = lacks.iter_mut().zip(&reading.missing);
        for (lack, missing) in missing.filter(|(_, missing)| missing.channel == curve.channel) {
            lack.evident = nothing && trace.lacking(missing);
            lack.something = match curve.form {
                Form::Line => trace.is_bend(missing),
                _ => trace.is_something(missing),
            };
        }
    }
    lacks
}

/// Takes waves that are no higher than a hand's tremor for missing: those that begin and end on
/// their level, and second peaks that no trough parts from the first.
pub(crate) fn drop_tremor(reading: &mut Reading, curves: &[Curve], rubric: &Rubric<'_>) {
    let mut low: Vec<(String, String, i32)> = Vec::new();
    for curve in curves.iter().filter(|curve| curve.form == Form::Line) {
        let Some(on) = rubric.panel(&curve.channel).filter(|on| !on.place.given) else { continue };
        let panel = &on.place;
        let names_mm = <[_; 2]>::default();
        let trace = Seen { reading, curve, sounds: None, names_mm, rubric, panel };
        for stroke in rubric.subject.strokes.iter().filter(|one| one.channel == curve.channel) {
            let beats: BTreeSet<i32> = reading.found.iter().map(|found| found.beat).collect();
            let beats = beats.into_iter().filter(|beat| trace.is_tremor(stroke, *beat));
            let names = |beat| stroke.landmarks.iter().map(move |name| (name.clone(), beat));
            let names = beats.flat_map(names);
            low.extend(names.map(|(name, beat)| (curve.channel.clone(), name, beat)));
        }
        let shoulders = trace.shoulders().into_iter();
        low.extend(shoulders.map(|(name, beat)| (curve.channel.clone(), name.to_owned(), beat)));
    }
    let is_low = |found: &landmarks::Found| {
        low.contains(&(found.channel.clone(), found.name.clone(), found.beat))
    };
    let gone = reading.found.extract_if(.., |found| is_low(found));
    reading.missing.extend(gone.map(|found| Missing {
        name: found.name,
        channel: found.channel,
        beat: found.beat,
        confidence: NO_WAVE,
    }));
}

/// A trace, and what was found on it.
struct Seen<'a> {
    reading: &'a Reading,
    curve: &'a Curve,
    rubric: &'a Rubric<'a>,
    panel: &'a PanelPlace,
    sounds: Option<&'a DrawnSounds>,
    /// From where to where names stand: beside sounds, and elsewhere.
    names_mm: [Vec<[f64; 2]>; 2],
}

/// From where to where names stand, on the resting line or not: beside sounds, and elsewhere.
fn names_mm(sheet: &DrawnSheet, sounds: &DrawnSounds) -> [Vec<[f64; 2]>; 2] {
    let written = sheet.pages.iter().flat_map(|page| &page.written);
    let own = written.filter(|one| one.writing && one.channel == sounds.channel);
    let mut boxes: Vec<[f64; 2]> = own.map(|one| [one.bounds_mm[0], one.bounds_mm[2]]).collect();
    boxes.sort_by(|a, b| a[0].total_cmp(&b[0]));
    // Letters of one name stand together.
    let mut names: Vec<[f64; 2]> = Vec::new();
    for [from, to] in boxes {
        match names.last_mut() {
            Some(last) if from - last[1] < LETTERS_MM => last[1] = last[1].max(to),
            _ => names.push([from, to]),
        }
    }
    // Dashes of a line are no name.
    names.retain(|[from, to]| to - from > NAME_MM);
    let [mut beside, mut elsewhere] = [Vec::new(), Vec::new()];
    for [from, to] in names {
        let near =
            |burst: &&DrawnBurst| burst.from_mm < to + NAMED_MM && burst.to_mm > from - NAMED_MM;
        let own = sounds.bursts.iter().filter(near);
        // What goes on far from its sound may be more than a name.
        let part = own
            .map(|burst| [from.max(burst.from_mm - LONGEST_MM), to.min(burst.to_mm + LONGEST_MM)]);
        let before = beside.len();
        beside.extend(part);
        if beside.len() == before {
            elsewhere.push([from, to]);
        }
    }
    [beside, elsewhere]
}

impl Seen<'_> {
    /// Whether a landmark is found in no beat, and would be seen if it were there.
    fn lacking(&self, missing: &Missing) -> bool {
        let clear = if self.curve.form == Form::Line { CLEAR_MM } else { CLEAR_SOUND_MM };
        !self.is_found(&missing.name) && self.usual_mm(&missing.name) >= clear
    }

    /// Whether what was found of a wave with a beginning and an end is no higher than tremor.
    fn is_tremor(&self, stroke: &StrokeKind, beat: i32) -> bool {
        let [first, within @ .., last] = stroke.landmarks.as_slice() else { return false };
        let shape = |name: &str| {
            let kind = self.rubric.subject.landmark(name);
            kind.and_then(|kind| kind.feature_on(&self.curve.channel)).map(|f| f.shape)
        };
        let is_wave =
            shape(first) == Some(FeatureShape::Onset) && shape(last) == Some(FeatureShape::End);
        if within.is_empty() || !is_wave {
            return false;
        }
        let value = |name: &String| {
            let own = |found: &&landmarks::Found| {
                found.channel == self.curve.channel && found.beat == beat && found.name == *name
            };
            self.reading.found.iter().find(own).map(|found| found.value)
        };
        let level = [first, last].map(value);
        within.iter().all(|name| {
            let Some(top) = value(name) else { return true };
            let sides = level.iter().flatten().map(|level| (top - level).abs());
            let high = sides.fold(f64::NAN, f64::min) * self.panel.mm_per_unit();
            high <= TREMOR_MM + TREMOR * self.usual_mm(name)
        })
    }

    /// Peaks that may be lacking, as may the trough before them, which is, and that are no higher
    /// than tremor above what lies between them and the landmark before.
    fn shoulders(&self) -> Vec<(&str, i32)> {
        let mut found: Vec<&landmarks::Found> =
            self.reading.found.iter().filter(|f| f.channel == self.curve.channel).collect();
        found.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let is = |name: &str, shape: FeatureShape| {
            let kind = self.rubric.subject.landmark(name);
            let feature = kind.and_then(|kind| kind.feature_on(&self.curve.channel));
            feature.is_some_and(|feature| feature.optional && feature.shape == shape)
        };
        let order = self.rubric.subject.order_on(&self.curve.channel);
        let low = |pair: &[&landmarks::Found]| {
            let [before, peak] = pair else { return false };
            let own = order.iter().position(|name| *name == peak.name);
            let trough = own.and_then(|own| order.get(own.checked_sub(1)?));
            let parted = !trough.is_some_and(|name| is(name, FeatureShape::Trough))
                || trough.is_some_and(|name| *name == before.name);
            if parted || !is(&peak.name, FeatureShape::Peak) {
                return false;
            }
            let between = self.curve.points.iter();
            let between = between.filter(|p| (before.time_s..=peak.time_s).contains(&p[0]));
            let lowest = between.map(|point| point[1]).fold(peak.value, f64::min);
            let high = (peak.value - lowest) * self.panel.mm_per_unit();
            high <= TREMOR_MM + TREMOR * self.usual_mm(&peak.name)
        };
        let pairs = found.windows(2).filter(|pair| low(pair));
        pairs.map(|pair| (pair[1].name.as_str(), pair[1].beat)).collect()
    }

    /// Whether a landmark is found in some beat.
    fn is_found(&self, name: &str) -> bool {
        let own = |found: &&landmarks::Found| found.channel == self.curve.channel;
        self.reading.found.iter().filter(own).any(|found| found.name == name)
    }

    /// Whether a line is level, or lacks two landmarks or more and in some beat has no wave that
    /// could be meant for them: what is drawn in one beat is mostly drawn in the others.
    fn no_wave(&self, missing: &[&Missing]) -> bool {
        let names: BTreeSet<&str> = missing
            .iter()
            .map(|missing| missing.name.as_str())
            .filter(|name| !self.is_found(name))
            .collect();
        let level = height(self.curve.points.iter().map(|point| point[1])) < LEVEL * self.key();
        let without_wave = |missing: &&&Missing| {
            let due_s = self.due_s(missing);
            let most = TREMOR_MM + TREMOR * self.usual_mm(&missing.name);
            self.is_known(due_s) && self.wave_mm(missing) <= most && !self.is_bend(missing)
        };
        let clear: BTreeSet<&str> =
            missing.iter().filter(without_wave).map(|missing| missing.name.as_str()).collect();
        // On a level line nothing can be told from tremor.
        let seen = |missing: &&&Missing| self.is_known(self.due_s(missing));
        let seen: BTreeSet<&str> =
            missing.iter().filter(seen).map(|missing| missing.name.as_str()).collect();
        let bare = level && self.found_s().is_empty() && names.is_subset(&seen);
        bare || (level || names.len() > 1) && names.is_subset(&clear)
    }

    /// Whether there is no burst without a name, and nothing low that could be meant for one. Where
    /// the key has small sounds, one may have been taken for another.
    fn no_burst(&self, missing: &[&Missing]) -> bool {
        let strokes =
            self.rubric.subject.strokes.iter().filter(|s| s.channel == self.curve.channel);
        let mut small = strokes.filter(|s| s.burst.is_some_and(|burst| burst.height < SMALL));
        let in_key = |name: &String| {
            let mut marks = self.rubric.model.landmarks.iter();
            marks.any(|mark| mark.channel == self.curve.channel && mark.name == *name)
        };
        !small.any(|stroke| stroke.landmarks.iter().any(in_key))
            && !missing.iter().any(|missing| self.is_something(missing))
    }

    /// Bursts near a time that have no name.
    fn unnamed(&self, due_s: f64) -> impl Iterator<Item = &Drawn> {
        let times = self.found_s();
        let bursts = self.curve.bursts.iter();
        let near =
            bursts.filter(move |one| one.end_s > due_s - ABOUT_S && one.start_s < due_s + ABOUT_S);
        near.filter(move |burst| {
            !times.iter().any(|t| (burst.start_s - END_S..burst.end_s + END_S).contains(t))
        })
    }

    /// Whether there is a burst without a name where one belongs, or something low that could be
    /// meant for it, or a name that is no other's.
    fn is_something(&self, missing: &Missing) -> bool {
        let due_s = self.due_s(missing);
        let is_name = |burst: &Drawn| {
            let middle = self.panel.map().x((burst.start_s + burst.end_s) / 2.0);
            burst.perhaps && self.is_within_name(middle)
        };
        let due_mm = self.panel.map().x(due_s);
        let mut others = self.names_mm[1].iter();
        !self.unnamed(due_s).all(is_name)
            || self.restless_mm(due_s) >= RESTLESS_MM
            || others.any(|[from, to]| (from - MEANT_MM..to + MEANT_MM).contains(&due_mm))
    }

    /// For how long the resting line is higher than a stroke about a time, in millimetres.
    fn restless_mm(&self, due_s: f64) -> f64 {
        let Some(sounds) = self.sounds else { return 0.0 };
        let [from, to] = [-ABOUT_S, ABOUT_S].map(|by| self.panel.map().x(due_s + by));
        let own = |x: f64| {
            let mut bursts = sounds.bursts.iter();
            bursts.any(|burst| (burst.from_mm - BESIDE_MM..burst.to_mm + BESIDE_MM).contains(&x))
                || self.is_within_name(x)
        };
        let step = sounds.envelope_mm.windows(2).map(|pair| pair[1][0] - pair[0][0]);
        let step = step.reduce(f64::min).unwrap_or(0.0);
        let high = sounds.envelope_mm.iter().filter(|[x, top, bottom]| {
            (from..to).contains(x) && !own(*x) && bottom - top > sounds.width_mm + LOW_MM
        });
        high.count() as f64 * step
    }

    /// Whether a place along the time axis is one at which a sound's name stands.
    fn is_within_name(&self, x_mm: f64) -> bool {
        self.names_mm[0].iter().any(|[from, to]| (*from..=*to).contains(&x_mm))
    }

    /// When landmarks were found on it, seconds.
    fn found_s(&self) -> Vec<f64> {
        let own = self.reading.found.iter().filter(|found| found.channel == self.curve.channel);
        own.map(|found| found.time_s).collect()
    }

    /// Whether the trace is known about a time.
    fn is_known(&self, due_s: f64) -> bool {
        let (from, to) = (due_s - NEAR_S, due_s + NEAR_S);
        let [first, last] = [self.curve.points.first(), self.curve.points.last()];
        let shown = first.zip(last).is_some_and(|(first, last)| first[0] <= from && to <= last[0]);
        shown && !self.curve.unknown.iter().any(|[start, end]| *start < to && from < *end)
    }

    /// How high the highest wave is, about where a landmark belongs and between those that come
    /// before and after it, that none of the landmarks that were found explains.
    fn wave_mm(&self, missing: &Missing) -> f64 {
        let due_s = self.due_s(missing);
        let [after, before] = self.room_s(missing);
        let times = self.found_s();
        let goes_on = |a: &[f64; 2], b: &[f64; 2]| {
            let limits = [due_s - ABOUT_S, due_s + ABOUT_S];
            !times.iter().chain(&limits).any(|t| (a[0]..b[0]).contains(t))
        };
        // A landmark need not lie on its turn: a foot is where tangents meet.
        let free = |p: &&[f64; 2]| {
            (after..before).contains(&p[0]) && times.iter().all(|t| (p[0] - t).abs() > TURN_S)
        };
        let free: Vec<[f64; 2]> = self.curve.points.iter().filter(free).copied().collect();
        let pieces = free.chunk_by(goes_on);
        let near = pieces.filter(|piece| (piece[0][0] - due_s).abs() <= ABOUT_S);
        let waves = near.map(|piece| wave(&piece.iter().map(|p| p[1]).collect::<Vec<_>>()));
        waves.fold(0.0, f64::max) * self.panel.mm_per_unit()
    }

    /// After and before when a landmark must lie, by those of all beats that were found, seconds. On
    /// the trace by which beats are counted there may be waves that belong to none: anywhere.
    fn room_s(&self, missing: &Missing) -> [f64; 2] {
        if missing.channel == self.rubric.subject.reference_channel {
            return [f64::NEG_INFINITY, f64::INFINITY];
        }
        let order = self.rubric.subject.order_on(&self.curve.channel);
        let place =
            |name: &str, beat: i32| order.iter().position(|own| *own == name).map(|at| (beat, at));
        let own = place(&missing.name, missing.beat);
        let found = self.reading.found.iter().filter(|f| f.channel == self.curve.channel);
        let sided = found.filter_map(|found| {
            let way = place(&found.name, found.beat)?.cmp(&own?);
            Some((way, found.time_s))
        });
        sided.fold([f64::NEG_INFINITY, f64::INFINITY], |[after, before], (way, time_s)| match way {
            Ordering::Less => [after.max(time_s), before],
            Ordering::Greater => [after, before.min(time_s)],
            Ordering::Equal => [after, before],
        })
    }

    /// Whether the trace bends where the lowest point of a wave belongs, which may be how it was
    /// drawn.
    fn is_bend(&self, missing: &Missing) -> bool {
        let kind = self.rubric.subject.landmarks.iter().find(|kind| kind.id == missing.name);
        let feature = kind.and_then(|kind| kind.feature_on(&self.curve.channel));
        feature.is_some_and(|feature| feature.shape == FeatureShape::Trough)
            && self.bend_deg(self.due_s(missing)) >= BEND_DEG
    }

    /// By how much the trace turns upward about a time at most, in degrees on paper, away from the
    /// landmarks that were found.
    fn bend_deg(&self, due_s: f64) -> f64 {
        let times = self.found_s();
        let map = self.panel.map();
        let points = &self.curve.points;
        let [Some(first), Some(last)] = [points.first(), points.last()] else { return 0.0 };
        // Millimetres to the right and up.
        let at = |t: f64| [map.x(t), value_at(points, t) * self.panel.mm_per_unit()];
        let step = STEP_MM / self.rubric.mm_per_s;
        let slope = |t: f64, way: f64| {
            let from = at(t);
            let far = (1..=(BEND_MM / STEP_MM) as usize)
                .map(|n| at(t + way * n as f64 * step))
                .find(|to| libm::hypot(to[0] - from[0], to[1] - from[1]) >= BEND_MM);
            let to = far.unwrap_or_else(|| at(t + way * BEND_MM / self.rubric.mm_per_s));
            libm::atan2(way * (to[1] - from[1]), way * (to[0] - from[0]))
        };
        let room = BEND_MM / self.rubric.mm_per_s;
        let (from, to) =
            ((due_s - BEND_S).max(first[0] + room), (due_s + BEND_S).min(last[0] - room));
        let count = ((to - from) / step).max(0.0) as usize;
        let places = (0..=count).map(|n| from + n as f64 * step);
        let free = places.filter(|place| times.iter().all(|t| (place - t).abs() > TURN_S));
        free.map(|t| (slope(t, 1.0) - slope(t, -1.0)).to_degrees()).fold(0.0, f64::max)
    }

    /// When a landmark is to be expected, seconds: as long after its beat's anchor as in the key.
    fn due_s(&self, missing: &Missing) -> f64 {
        let subject = self.rubric.subject;
        let reference = subject.reference_channel.as_str();
        let beats = convention::beats(self.rubric.model, subject);
        let beat = usize::try_from(missing.beat).ok().and_then(|beat| beats.get(beat));
        let usual_s = |name: &str, channel: &str| {
            beat.and_then(|beat| beat.time_s(&Point::new(name, Some(channel))))
        };
        let own = self.reading.found.iter().find(|found| {
            found.name == subject.anchor && found.channel == reference && found.beat == missing.beat
        });
        let usual = usual_s(&missing.name, &missing.channel);
        let anchor = usual_s(&subject.anchor, reference);
        let late = own.zip(anchor).map_or(0.0, |(found, usual_s)| found.time_s - usual_s);
        usual.map_or(f64::INFINITY, |usual_s| usual_s + late)
    }

    /// How far a landmark stands out in the key of those beside it, in millimetres: as its wave
    /// does where it begins or ends one; of a burst its height.
    fn usual_mm(&self, name: &str) -> f64 {
        let stroke = self.rubric.subject.stroke_of(name);
        if let Some(burst) = stroke.and_then(|stroke| stroke.burst) {
            return burst.height * self.key() * self.panel.mm_per_unit();
        }
        let own = self.rubric.model.landmarks.iter().filter(|m| m.channel == self.curve.channel);
        let mut marks: Vec<&cycle::Landmark> = own.collect();
        marks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let of = |name: &str| {
            let beside = marks.windows(2).filter(|pair| pair.iter().any(|mark| mark.name == name));
            beside.map(|pair| (pair[1].value - pair[0].value).abs()).reduce(f64::min)
        };
        let wave = stroke.map_or(&[][..], |stroke| &stroke.landmarks);
        let wave = wave.iter().map(String::as_str).chain([name]).filter_map(of);
        wave.fold(0.0, f64::max) * self.panel.mm_per_unit()
    }

    /// The key's height.
    fn key(&self) -> f64 {
        let trace = self.rubric.model.trace(&self.curve.channel);
        height(trace.into_iter().flat_map(|trace| &trace.samples).copied())
    }
}

/// The value at a time between points, of which there is one at least.
fn value_at(points: &[[f64; 2]], time_s: f64) -> f64 {
    let after = points.partition_point(|point| point[0] < time_s).min(points.len() - 1);
    let (before, after) = (points[after.saturating_sub(1)], points[after]);
    let share = (time_s - before[0]) / (after[0] - before[0]).max(f64::MIN_POSITIVE);
    before[1] + share.clamp(0.0, 1.0) * (after[1] - before[1])
}

/// From the lowest to the highest of some values.
fn height(values: impl Iterator<Item = f64>) -> f64 {
    let [low, high] = values.fold([f64::MAX, f64::MIN], |[a, b], v| [a.min(v), b.max(v)]);
    (high - low).max(0.0)
}

/// How far the highest wave between the first and the last of some values, up or down, stands out
/// on both sides.
fn wave(values: &[f64]) -> f64 {
    let up = |sign: f64| {
        let lowest = |low: &mut f64, value: &f64| {
            *low = low.min(sign * value);
            Some(*low)
        };
        let before: Vec<f64> = values.iter().scan(f64::MAX, lowest).collect();
        let mut after: Vec<f64> = values.iter().rev().scan(f64::MAX, lowest).collect();
        after.reverse();
        let sides = before.iter().zip(&after).map(|(before, after)| before.max(*after));
        values.iter().zip(sides).map(|(value, side)| sign * value - side).fold(0.0, f64::max)
    };
    up(1.0).max(up(-1.0))
}

#[cfg(test)]
mod tests {
    use convention::Convention;
    use landmarks::Found;
    use sheet::{Book, Test};

    use super::*;

    /// A second peak on a straight fall, one that is a hump of 5 mm, and one after a notch.
    #[test]
    fn a_shoulder_of_a_fall_is_no_second_peak() {
        let subject = heart::subject();
        let toml = cardiac::Shipped::find("first_course").expect("it is shipped").toml;
        let conventions = |_: &str| Ok(Convention::from_toml(toml, &subject).expect("it is right"));
        let test = "title = \"T\"\nconvention = \"c\"\ngiven = [\"ecg\"]\nbeats = 1\n";
        let test = Test::from_toml(test, &subject, &conventions).expect("it is right");
        let base = heart::simulate(&heart::Heart::default(), 1).expect("it is a heart");
        let key = convention::schematic(&test.convention, &subject, &base, 1).expect("it has one");
        let book = Book::new(&test, &subject, "ABCDEF", vec![key]).expect("it fits a page");
        let rubric = Rubric::new(&book, &test.convention, 0);
        let mm = rubric.panel("aortic_pressure").expect("it is drawn").place.mm_per_unit();
        for (hump_mm, notch, gone) in [(0.0, false, true), (5.0, false, false), (0.0, true, false)]
        {
            let value = |t: f64| {
                let off = (t - 0.42) / 0.02;
                120.0 - 60.0 * (t - 0.3) + hump_mm / mm * libm::exp(-off * off)
            };
            let points = (0..60).map(|n| 0.3 + f64::from(n) * 0.005).map(|t| [t, value(t)]);
            let curve = Curve {
                channel: "aortic_pressure".to_owned(),
                points: points.collect(),
                unknown: Vec::new(),
                noise: 0.01,
                resolution_s: 0.001,
                form: Form::Line,
                bursts: Vec::new(),
            };
            let found = |(name, time_s): (&str, f64)| Found {
                name: name.to_owned(),
                channel: curve.channel.clone(),
                beat: 0,
                time_s,
                value: value(time_s),
                confidence: 0.9,
                spread_s: 0.002,
                alternatives: Vec::new(),
            };
            let peaks = [("systolic_peak", 0.3), ("dicrotic_notch", 0.38), ("dicrotic_peak", 0.42)];
            let drawn = peaks.into_iter().filter(|(name, _)| notch || *name != "dicrotic_notch");
            let mut reading = Reading { found: drawn.map(found).collect(), missing: Vec::new() };
            drop_tremor(&mut reading, std::slice::from_ref(&curve), &rubric);
            let missing: Vec<&str> = reading.missing.iter().map(|one| one.name.as_str()).collect();
            let expected: &[&str] = if gone { &["dicrotic_peak"] } else { &[] };
            assert_eq!(missing, expected, "{hump_mm} {notch}");
        }
    }
}
