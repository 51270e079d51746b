//! A cycle's landmarks, beat by beat.

use std::collections::BTreeMap;

use cycle::{Cycle, StrokeKind, Subject, Trace};

use crate::Point;

/// Where a point is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// When, in the cycle's seconds.
    pub time_s: f64,
    /// How high, in the channel's unit: for a burst its height above the baseline; for an
    /// event 0.
    pub value: f64,
}

/// One beat's points: each landmark and event once, in the order that its name implies.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beat {
    /// The points.
    pub places: BTreeMap<Point, Place>,
}

impl Beat {
    /// Where `point` is, if the beat has it.
    pub fn get(&self, point: &Point) -> Option<Place> {
        self.places.get(point).copied()
    }

    /// When `point` is, in seconds.
    pub fn time_s(&self, point: &Point) -> Option<f64> {
        self.get(point).map(|place| place.time_s)
    }
}

/// How much before a beat's first landmark something of that beat may lie, in seconds.
const EARLY_S: f64 = 0.01;

/// The beats of `cycle`, one for each occurrence of the subject's anchor.
///
/// A beat begins with the reference channel's first landmark. From there each of the
/// subject's sequences takes the next occurrence of its landmarks in turn, so that a T wave
/// belongs to its own QRS complex even where several beats are shown. In a cycle that
/// repeats, a beat's late landmarks are also found where they have wrapped round to the
/// beginning, and are given times past the end.
///
/// In a drawing, which does not repeat, something may stand before what it should follow: where
/// the next occurrence comes only after the next beat's anchor, or not at all, the one in this
/// beat belongs to it. In a drawing of one beat every landmark belongs to that, wherever it
/// stands.
pub fn beats(cycle: &Cycle, subject: &Subject) -> Vec<Beat> {
    let all = Occurrences::new(cycle, subject);
    let reference = subject.reference_channel.as_str();
    let anchors = all.of(&Point::new(&subject.anchor, Some(reference)));
    let span = if cycle.repeats { cycle.span_s().map(|(start, end)| end - start) } else { None };
    let count = anchors.len();
    let starts: Vec<f64> = (0..count)
        .map(|index| {
            let previous = index.checked_sub(1).map(|before| anchors[before].time_s);
            let first = subject
                .sequences
                .iter()
                .flatten()
                .next()
                .map(|name| all.of(&Point::new(name, Some(reference))));
            let after = |place: &&Place| previous.is_none_or(|t| place.time_s > t);
            let before = |place: &&Place| place.time_s <= anchors[index].time_s;
            let first = first.unwrap_or_default();
            let first = first.iter().filter(before).rfind(after);
            let guess = anchors[index].time_s - 0.15 * cycle.period_s;
            first.map_or(guess, |place| place.time_s)
        })
        .collect();
    let mut found: Vec<Beat> = Vec::with_capacity(count);
    for index in 0..count {
        let end = starts.get(index + 1).copied();
        let next_anchor = anchors.get(index + 1).map(|anchor| anchor.time_s);
        let mut beat = Beat::default();
        for point in all.points() {
            if beat.places.contains_key(point) {
                continue;
            }
            // The last of a point's predecessors that this beat has says where to look.
            let before = predecessors(point, subject);
            let earlier = before.iter().rev().find_map(|point| beat.time_s(point));
            let from = earlier.unwrap_or(starts[index] - EARLY_S);
            let places = all.of(point);
            let lone = count == 1 && span.is_none();
            let turn = |place: &Place| {
                let turns = span.map_or(0.0, |span| ((from - place.time_s) / span).ceil().max(0.0));
                Place { time_s: place.time_s + turns * span.unwrap_or(0.0), ..*place }
            };
            let next = places.iter().map(turn).filter(|place| place.time_s >= from);
            let next = next.min_by(|a, b| a.time_s.total_cmp(&b.time_s));
            // What first occurs in the next beat is missing from this one.
            let limit = end.map(|end| end + from - starts[index]);
            let next = next.filter(|place| limit.is_none_or(|limit| place.time_s < limit));
            let own = next.filter(|place| next_anchor.is_none_or(|anchor| place.time_s < anchor));
            let taken = found.last().and_then(|before| before.time_s(point));
            let early = places.iter().rfind(|place| {
                (starts[index] - EARLY_S..from).contains(&place.time_s)
                    && taken.is_none_or(|taken| place.time_s > taken)
            });
            let early = early.filter(|_| span.is_none()).copied();
            let place = own.or(early).or(next);
            if let Some(place) = place.or(places.first().filter(|_| lone).copied()) {
                beat.places.insert(point.clone(), place);
            }
        }
        add_strokes(&mut beat, cycle, subject);
        found.push(beat);
    }
    found
}

/// What the subject's sequences put before `point` on its own channel or among the events.
fn predecessors(point: &Point, subject: &Subject) -> Vec<Point> {
    let holding = subject.sequences.iter().filter(|names| names.contains(&point.name));
    holding
        .flat_map(|names| names.iter().take_while(|name| **name != point.name))
        .map(|name| Point { name: name.clone(), channel: point.channel.clone() })
        .collect()
}

/// How many landmarks the subject's sequences put before `name`, along the longest way.
fn depth(name: &str, subject: &Subject) -> usize {
    let before = subject.sequences.iter().filter_map(|names| {
        let place = names.iter().position(|other| other == name)?;
        names.get(place.checked_sub(1)?)
    });
    before.map(|name| depth(name, subject) + 1).max().unwrap_or(0)
}

/// All occurrences of all points, in an order in which predecessors come first.
struct Occurrences {
    order: Vec<Point>,
    places: BTreeMap<Point, Vec<Place>>,
}

impl Occurrences {
    fn new(cycle: &Cycle, subject: &Subject) -> Self {
        let mut places: BTreeMap<Point, Vec<Place>> = BTreeMap::new();
        for l in &cycle.landmarks {
            let place = Place { time_s: l.time_s, value: l.value };
            places.entry(Point::new(&l.name, Some(&l.channel))).or_default().push(place);
        }
        for e in &cycle.events {
            let place = Place { time_s: e.time_s, value: 0.0 };
            places.entry(Point::new(&e.name, None)).or_default().push(place);
        }
        let mut order: Vec<Point> = places.keys().cloned().collect();
        order.sort_by_key(|point| depth(&point.name, subject));
        Self { order, places }
    }

    fn points(&self) -> &[Point] {
        &self.order
    }

    fn of(&self, point: &Point) -> Vec<Place> {
        self.places.get(point).cloned().unwrap_or_default()
    }
}

/// Adds the middles of strokes, and gives bursts their heights.
fn add_strokes(beat: &mut Beat, cycle: &Cycle, subject: &Subject) {
    for stroke in &subject.strokes {
        let Some([start, end]) = stroke_span(stroke, beat) else { continue };
        let on = |name: &str| Point::new(name, Some(&stroke.channel));
        if let Some(centre) = &stroke.centre
            && !beat.places.contains_key(&on(centre))
        {
            let place = Place { time_s: f64::midpoint(start, end), value: 0.0 };
            beat.places.insert(on(centre), place);
        }
        let Some(trace) = stroke.burst.and_then(|_| cycle.trace(&stroke.channel)) else { continue };
        let height = burst_height(trace, cycle, subject, [start, end]);
        for name in stroke.landmarks.iter().chain(&stroke.centre) {
            if let Some(place) = beat.places.get_mut(&on(name)) {
                place.value = height;
            }
        }
    }
}

/// From when to when a stroke lasts; `None` where its first landmark is missing.
///
/// A burst with one landmark begins there and lasts its usual length.
pub(crate) fn stroke_span(stroke: &StrokeKind, beat: &Beat) -> Option<[f64; 2]> {
    let on = |name: &String| beat.time_s(&Point::new(name, Some(&stroke.channel)));
    let (first, last) = (stroke.landmarks.first()?, stroke.landmarks.last()?);
    let start = on(first)?;
    if stroke.landmarks.len() > 1 {
        return Some([start, on(last)?]);
    }
    let length_s = stroke.burst.map_or(0.0, |burst| burst.length_ms / 1000.0);
    Some([start, start + length_s])
}

/// Greatest distance of a trace from its baseline in a stretch of time.
fn burst_height(trace: &Trace, cycle: &Cycle, subject: &Subject, [start, end]: [f64; 2]) -> f64 {
    let base = baseline(trace, cycle, subject);
    let period = cycle.repeats.then(|| trace.end_s() - trace.start_s);
    let steps = ((end - start) * trace.rate_hz).ceil().max(0.0) as usize;
    let heights = (0..=steps).filter_map(|step| {
        let time_s = start + step as f64 / trace.rate_hz;
        let wrapped = period
            .map_or(time_s, |period| trace.start_s + (time_s - trace.start_s).rem_euclid(period));
        Some((trace.at(wrapped)? - base).abs())
    });
    heights.fold(0.0, f64::max)
}

/// The level that a trace rests on.
///
/// The mean height of the landmarks that the subject names for it; where there are none,
/// the trace's median.
pub(crate) fn baseline(trace: &Trace, cycle: &Cycle, subject: &Subject) -> f64 {
    let names = subject.channel(&trace.channel).map_or(&[][..], |kind| &kind.baseline);
    let marks = cycle
        .landmarks
        .iter()
        .filter(|l| l.channel == trace.channel && names.contains(&l.name))
        .map(|l| l.value);
    let (count, sum) = marks.fold((0.0, 0.0), |(count, sum), value| (count + 1.0, sum + value));
    if count > 0.0 {
        return sum / count;
    }
    if trace.samples.is_empty() {
        return 0.0;
    }
    let mut samples = trace.samples.clone();
    let middle = samples.len() / 2;
    // Only the middle one is needed, and marking asks for it hundreds of times.
    *samples.select_nth_unstable_by(middle, f64::total_cmp).1
}
