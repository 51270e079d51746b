//! Placing landmarks one by one instead of drawing: for the keyboard, and for whoever sees little.

use convention::{Beat, Point, beats};
use cycle::{StrokeKind, Trace};
use marking::has_bursts;
use serde::Serialize;
use sheet::{BarPlace, PanelPlace};

use crate::Practice;
use crate::strokes::{Drawing, Polyline};

/// What kind of thing is placed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A point of a trace: across and up.
    Trace,
    /// The beginning of a sound, or another point of it: across, and how high the sound is.
    Sound,
    /// An end of a bar: across alone.
    Bar,
}

/// Something to place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlacedPoint {
    /// The landmark or event.
    pub name: String,
    /// The panel's channel, or the row's bar.
    pub place: String,
    /// What it is called.
    pub title: String,
    /// The beat, from 0.
    pub beat: usize,
    /// What kind of thing it is.
    pub kind: Kind,
    /// Where it waits to be placed.
    pub start_mm: [f64; 2],
}

/// A point with where the key has it.
struct Keyed {
    point: Point,
    beat: usize,
    time_s: f64,
}

/// How much of a beat lies before its anchor, where points wait to be placed.
const BEFORE: f64 = 0.25;
/// How high a sound is that waits to be placed, from the resting line.
const SOUND_MM: f64 = 3.0;
/// Points of a trace keep this far apart, in seconds.
const APART_S: f64 = 0.002;
/// Steps along a trace that is drawn through points.
const STEP_MM: f64 = 0.1;
/// A point this near to a panel's sides is left out, in seconds.
const EDGE_S: f64 = 0.004;
/// How far a sound is heard before its first landmark and after its last, in seconds.
const LEAD_S: f64 = 0.002;
const TAIL_S: f64 = 0.01;

impl Practice {
    /// What can be placed, panel by panel and from left to right. Where things wait says nothing
    /// about where they belong.
    pub(crate) fn points(&self) -> Vec<PlacedPoint> {
        let mut all = Vec::new();
        for on in self.panels.iter().filter(|on| !on.place.given) {
            let keyed = self.on_channel(&on.place);
            let bursts = has_bursts(&self.subject, &on.place.channel);
            let kind = if bursts { Kind::Sound } else { Kind::Trace };
            let rest = self.resting_mm(&on.place);
            let y = if bursts { rest - SOUND_MM } else { rest };
            let (time_s, x) = (on.place.time_s, |t| on.place.map().x(t));
            all.extend(self.waiting(&keyed, &on.place.channel, kind, time_s, &x, y));
        }
        for on in self.bars.iter().filter(|on| !on.place.given) {
            let keyed = self.on_bar(&on.place);
            let y = on.place.area.y + on.place.area.h / 2.0;
            let (time_s, x) = (on.place.time_s, |t| on.place.x(t));
            all.extend(self.waiting(&keyed, &on.place.bar, Kind::Bar, time_s, &x, y));
        }
        all
    }

    /// Where the key has what can be placed, in the same order.
    pub fn key_points(&self) -> Vec<[f64; 2]> {
        let mut all = Vec::new();
        for on in self.panels.iter().filter(|on| !on.place.given) {
            let place = &on.place;
            let trace = self.model.trace(&place.channel);
            let bursts = has_bursts(&self.subject, &place.channel);
            for one in self.on_channel(place) {
                let x = place.map().x(one.time_s);
                let value = if bursts {
                    self.height_of(place, &one)
                } else {
                    trace.and_then(|trace| trace.at(one.time_s)).unwrap_or(0.0)
                };
                all.push([x, place.map().y(value)]);
            }
        }
        for on in self.bars.iter().filter(|on| !on.place.given) {
            let y = on.place.area.y + on.place.area.h / 2.0;
            all.extend(self.on_bar(&on.place).iter().map(|one| [on.place.x(one.time_s), y]));
        }
        all
    }

    /// How high the key's sound is that a point belongs to.
    fn height_of(&self, place: &PanelPlace, one: &Keyed) -> f64 {
        let all = beats(&self.model, &self.subject);
        let stroke = self
            .subject
            .strokes
            .iter()
            .find(|stroke| stroke.channel == place.channel && is_of(stroke, &one.point.name));
        let span = stroke.zip(all.get(one.beat)).and_then(|(stroke, beat)| span(stroke, beat));
        let (Some([start, end]), Some(trace)) = (span, self.model.trace(&place.channel)) else {
            return 0.0;
        };
        let heard = (0..=(((end - start) * trace.rate_hz) as usize))
            .filter_map(|step| trace.at(start + step as f64 / trace.rate_hz));
        heard.map(f64::abs).fold(0.0, f64::max)
    }

    fn waiting(
        &self,
        keyed: &[Keyed],
        place: &str,
        kind: Kind,
        [start, end]: [f64; 2],
        x: &dyn Fn(f64) -> f64,
        y: f64,
    ) -> Vec<PlacedPoint> {
        let rubric = self.rubric();
        let anchors = self.anchors();
        let period = self.model.period_s;
        let one = |(index, own): (usize, &Keyed)| {
            let count = keyed.iter().filter(|other| other.beat == own.beat).count();
            let rank = keyed[..index].iter().filter(|other| other.beat == own.beat).count();
            let anchor = anchors.get(own.beat).copied().unwrap_or(own.beat as f64 * period);
            let share = (rank as f64 + 0.5) / count as f64 - BEFORE;
            let time_s = (anchor + share * period).clamp(start, end);
            PlacedPoint {
                name: own.point.name.clone(),
                place: place.to_owned(),
                title: rubric.title(&own.point),
                beat: own.beat,
                kind,
                start_mm: [x(time_s), y],
            }
        };
        keyed.iter().enumerate().map(one).collect()
    }

    fn anchors(&self) -> Vec<f64> {
        let anchor = Point::new(&self.subject.anchor, Some(&self.subject.reference_channel));
        beats(&self.model, &self.subject).iter().filter_map(|beat| beat.time_s(&anchor)).collect()
    }

    /// Where the key's trace rests, down the page.
    fn resting_mm(&self, place: &PanelPlace) -> f64 {
        let map = place.map();
        let Some(trace) = self.model.trace(&place.channel) else { return map.y(0.0) };
        let mut samples = trace.samples.clone();
        samples.sort_by(f64::total_cmp);
        map.y(samples.get(samples.len() / 2).copied().unwrap_or(0.0))
    }

    /// The points on a channel that rules are about; all of its landmarks where there are none.
    fn on_channel(&self, place: &PanelPlace) -> Vec<Keyed> {
        let named = self.test.convention.points();
        let on = |point: &&Point| point.channel.as_ref() == Some(&place.channel);
        let mut points: Vec<Point> = named.iter().filter(on).cloned().collect();
        if points.is_empty() {
            for mark in self.model.landmarks.iter().filter(|m| m.channel == place.channel) {
                let point = Point::new(&mark.name, Some(&mark.channel));
                if !points.contains(&point) {
                    points.push(point);
                }
            }
        }
        self.keyed(&points, place.time_s)
    }

    fn on_bar(&self, place: &BarPlace) -> Vec<Keyed> {
        let Some(kind) = self.subject.bar(&place.bar) else { return Vec::new() };
        let ends = [&kind.from, &kind.to].map(|event| Point::new(event, None));
        self.keyed(&ends, place.time_s)
    }

    /// Every occurrence of `points` that the panels show, in the order of time.
    fn keyed(&self, points: &[Point], [start, end]: [f64; 2]) -> Vec<Keyed> {
        let anchors = self.anchors();
        let mut all = Vec::new();
        for point in points {
            let times: Vec<f64> = match &point.channel {
                Some(channel) => {
                    let marks = self.model.landmarks.iter();
                    let own = marks.filter(|m| m.name == point.name && m.channel == *channel);
                    own.map(|mark| mark.time_s).collect()
                }
                None => self.model.times_of(&point.name),
            };
            for time_s in times {
                if !(start + EDGE_S..=end - EDGE_S).contains(&time_s) {
                    continue;
                }
                // A beat begins a while before its anchor.
                let before = |anchor: &&f64| *anchor - BEFORE * self.model.period_s <= time_s;
                let beat = anchors.iter().filter(before).count().saturating_sub(1);
                all.push(Keyed { point: point.clone(), beat, time_s });
            }
        }
        all.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        all
    }

    /// The drawing that goes through points placed at `at_mm`, which are in the order of
    /// [`Task::points`](crate::Task::points); the shape between them is that of the key.
    pub fn through(&self, at_mm: &[[f64; 2]]) -> Drawing {
        let mut drawing = Drawing::default();
        let mut rest = at_mm;
        for on in self.panels.iter().filter(|on| !on.place.given) {
            let place = &on.place;
            let keyed = self.on_channel(place);
            let own = taken(&mut rest, keyed.len());
            let Some(trace) = self.model.trace(&place.channel).filter(|_| own.len() == keyed.len())
            else {
                continue;
            };
            let line = if has_bursts(&self.subject, &place.channel) {
                self.sounds_through(trace, place, &keyed, own)
            } else {
                line_through(trace, place, &keyed, own)
            };
            drawing.strokes.insert(place.channel.clone(), vec![line]);
        }
        for on in self.bars.iter().filter(|on| !on.place.given) {
            let keyed = self.on_bar(&on.place);
            let own = taken(&mut rest, keyed.len());
            let Some(kind) = self.subject.bar(&on.place.bar).filter(|_| own.len() == keyed.len())
            else {
                continue;
            };
            let mut ends: Vec<(f64, bool)> = keyed
                .iter()
                .zip(own)
                .map(|(one, at)| (at[0], one.point.name == kind.from))
                .collect();
            ends.sort_by(|a, b| a.0.total_cmp(&b.0));
            drawing.bars.insert(on.place.bar.clone(), stretches(&ends, &on.place));
        }
        drawing
    }

    /// The resting line with the key's sounds on it, each where its points are.
    fn sounds_through(
        &self,
        trace: &Trace,
        place: &PanelPlace,
        keyed: &[Keyed],
        own: &[[f64; 2]],
    ) -> Polyline {
        let map = place.map();
        let rest = map.y(0.0);
        let all = beats(&self.model, &self.subject);
        let mut line: Polyline = vec![[place.area.x, rest]];
        let mut bursts: Vec<Polyline> = Vec::new();
        for stroke in self.subject.strokes.iter().filter(|s| s.channel == place.channel) {
            for (index, beat) in all.iter().enumerate() {
                let parts = keyed
                    .iter()
                    .zip(own)
                    .filter(|(one, _)| one.beat == index && is_of(stroke, &one.point.name));
                let parts: Vec<(f64, [f64; 2])> =
                    parts.map(|(one, at)| (one.time_s, *at)).collect();
                if let Some(span) = span(stroke, beat).filter(|_| !parts.is_empty()) {
                    bursts.push(burst(trace, place, span, &parts));
                }
            }
        }
        bursts.sort_by(|a, b| a[0][0].total_cmp(&b[0][0]));
        for burst in bursts {
            line.push([burst[0][0], rest]);
            line.extend(&burst);
            line.push([burst[burst.len() - 1][0], rest]);
        }
        line.push([place.area.right(), rest]);
        line
    }
}

/// The next `count` of the points placed.
fn taken<'a>(rest: &mut &'a [[f64; 2]], count: usize) -> &'a [[f64; 2]] {
    let (own, after) = rest.split_at(count.min(rest.len()));
    *rest = after;
    own
}

fn is_of(stroke: &StrokeKind, name: &str) -> bool {
    stroke.landmarks.iter().any(|own| own == name) || stroke.centre.as_deref() == Some(name)
}

/// When a sound of a beat begins and ends on the key.
fn span(stroke: &StrokeKind, beat: &Beat) -> Option<[f64; 2]> {
    let time = |name: &String| beat.time_s(&Point::new(name, Some(&stroke.channel)));
    let start = time(stroke.landmarks.first()?)?;
    let long = stroke.burst.map_or(0.0, |burst| burst.length_ms / 1000.0);
    let end = stroke.landmarks.last().and_then(time).filter(|end| *end > start);
    Some([start, end.unwrap_or(start + long)])
}

/// A sound of the key, moved and stretched to where its points are, as high as the first of them.
fn burst(
    trace: &Trace,
    place: &PanelPlace,
    [start, end]: [f64; 2],
    parts: &[(f64, [f64; 2])],
) -> Polyline {
    let map = place.map();
    let rest = map.y(0.0);
    let seconds = |x: f64| x_to_s(place, x);
    let (first, last) = (&parts[0], &parts[parts.len() - 1]);
    let (key_length, own_length) = (last.0 - first.0, seconds(last.1[0]) - seconds(first.1[0]));
    let scale =
        if key_length > APART_S && own_length > APART_S { own_length / key_length } else { 1.0 };
    let count = ((end + TAIL_S - start + LEAD_S) * trace.rate_hz).max(1.0) as usize;
    let times = (0..=count).map(|step| start - LEAD_S + step as f64 / trace.rate_hz);
    let heard: Vec<(f64, f64)> = times.filter_map(|t| Some((t, trace.at(t)?))).collect();
    let most = heard.iter().map(|(_, value)| value.abs()).fold(1e-9, f64::max);
    let high = (rest - first.1[1]).abs();
    let at = |&(t, value): &(f64, f64)| {
        let time_s = seconds(first.1[0]) + (t - first.0) * scale;
        [map.x(time_s).clamp(place.area.x, place.area.right()), rest - value / most * high]
    };
    let line: Polyline = heard.iter().map(at).collect();
    if line.is_empty() { vec![first.1] } else { line }
}

/// The key's trace, moved so that its points are where they were placed: times between two points
/// are stretched evenly, and heights are moved by a share of what each of the two is moved.
fn line_through(trace: &Trace, place: &PanelPlace, keyed: &[Keyed], own: &[[f64; 2]]) -> Polyline {
    let [start, end] = place.time_s;
    let per_unit = place.mm_per_unit();
    let mut knots: Vec<[f64; 3]> = Vec::new();
    for (one, at) in keyed.iter().zip(own) {
        let value = place.values[0] + (place.area.bottom() - at[1]) / per_unit;
        let least = knots.last().map_or(start + APART_S, |knot| knot[1] + APART_S);
        let moved = x_to_s(place, at[0]).max(least);
        knots.push([one.time_s, moved, value - trace.at(one.time_s).unwrap_or(value)]);
    }
    // The sides of the panel stay where they are.
    let (first, last) = (knots.first().map_or(0.0, |k| k[2]), knots.last().map_or(0.0, |k| k[2]));
    knots.insert(0, [start, start, first]);
    let right = knots[knots.len() - 1][1].max(end - APART_S) + APART_S;
    knots.push([end, right, last]);
    let map = place.map();
    let count = (place.area.w / STEP_MM) as usize;
    let at = |step: usize| {
        let x = place.area.x + step as f64 * STEP_MM;
        let time_s = x_to_s(place, x);
        let after = knots.iter().position(|knot| knot[1] > time_s)?.max(1);
        let ([from_key, from, from_by], [to_key, to, to_by]) = (knots[after - 1], knots[after]);
        let share = (time_s - from) / (to - from);
        let value = trace.at(from_key + share * (to_key - from_key))?;
        Some([x, map.y(value + from_by + share * (to_by - from_by))])
    };
    (0..=count).filter_map(at).collect()
}

fn x_to_s(place: &PanelPlace, x: f64) -> f64 {
    let [start, end] = place.time_s;
    start + (x - place.area.x) / place.area.w * (end - start)
}

/// The stretches between ends that begin and end them; one that has begun before begins with the
/// row, and one that has not ended ends with it.
fn stretches(ends: &[(f64, bool)], place: &BarPlace) -> Vec<[f64; 2]> {
    let mut open = ends.first().filter(|end| !end.1).map(|_| place.area.x);
    let mut all = Vec::new();
    for &(x, begins) in ends {
        match (open, begins) {
            (None, true) => open = Some(x),
            (Some(from), false) => {
                all.push([from, x]);
                open = None;
            }
            _ => {}
        }
    }
    all.extend(open.map(|from| [from, place.area.right()]));
    all
}
