//! Hints, from the least to the most telling: which line, why, and how it looks.

use convention::{Beat, Level, Point, Relative, Rule, Says, beats};
use marking::{DrawnSheet, Located, Rubric, cycle_of};
use serde::Serialize;

use crate::strokes::Polyline;
use crate::{Practice, words};

/// The hints for one rule.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Hints {
    /// Where it belongs; none where that is measured from something that is not drawn yet.
    pub line: Option<LineHint>,
    /// Why.
    pub cause: String,
    /// How it looks.
    pub ghost: Option<Ghost>,
}

/// Where something belongs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LineHint {
    /// What to look at.
    pub told: String,
    /// Left, top, right and bottom of the stretch of the panel in which it belongs.
    pub area_mm: [f64; 4],
    /// The alignment line that it is placed by, where it is placed in time.
    pub line_mm: Option<f64>,
}

/// A piece of what a student who keeps to the rules draws.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ghost {
    /// The channel, or the bar.
    pub place: String,
    /// Its strokes.
    pub lines: Vec<Polyline>,
}

/// How much of a trace is shown on either side of what a rule is about, in seconds.
const AROUND_S: f64 = 0.06;
/// Seconds between the points of a ghost.
const STEP_S: f64 = 0.0005;
/// What may be anywhere on one side is shown for this far.
const OPEN_MM: f64 = 20.0;
/// A stretch is shown at least this wide on either side.
const LEAST_MM: f64 = 0.6;

pub(crate) struct Hinter<'a> {
    practice: &'a Practice,
    rubric: Rubric<'a>,
    own: Vec<Beat>,
    key: Vec<Beat>,
}

impl<'a> Hinter<'a> {
    pub(crate) fn new(practice: &'a Practice, sheet: &DrawnSheet, located: &Located) -> Self {
        let rubric = practice.rubric();
        let own = beats(&cycle_of(sheet, located, &rubric), &practice.subject);
        let key = beats(&practice.model, &practice.subject);
        Self { practice, rubric, own, key }
    }

    pub(crate) fn of(&self, rule: &Rule, tolerance_mm: f64) -> Hints {
        Hints {
            line: self.line(rule, tolerance_mm.max(LEAST_MM)),
            cause: words::full_stop(&rule.cause),
            ghost: self.ghost(rule),
        }
    }

    fn line(&self, rule: &Rule, tolerance: f64) -> Option<LineHint> {
        match &rule.says {
            Says::Timing { point, timing } => self.in_time(point, timing, tolerance),
            Says::Height { point, height } => self.in_height(point, height, tolerance),
            Says::Level { channel, at, level } => self.at_level(channel, at, level, tolerance),
            Says::Shape { channel, from, to, .. } => {
                let beat = self.own_beat(&[from, to]).or_else(|| self.key_beat(&[from, to]))?;
                let (start, end) = (beat.time_s(from)?, beat.time_s(to)?);
                let place = &self.rubric.panel(channel)?.place;
                let map = place.map();
                let right = if end > start { map.x(end) } else { place.area.right() };
                Some(LineHint {
                    told: words::along(&self.practice.noun_of_channel(channel)),
                    area_mm: [map.x(start), place.area.y, right, place.area.bottom()],
                    line_mm: None,
                })
            }
            Says::Presence { .. } | Says::Label { .. } => None,
        }
    }

    /// The first beat of the drawing that has all of `points`.
    fn own_beat(&self, points: &[&Point]) -> Option<&Beat> {
        self.own.iter().find(|beat| points.iter().all(|point| beat.get(point).is_some()))
    }

    fn key_beat(&self, points: &[&Point]) -> Option<&Beat> {
        self.key.iter().find(|beat| points.iter().all(|point| beat.get(point).is_some()))
    }

    /// Top and bottom of the panel or row that a point lies in.
    fn upright(&self, point: &Point) -> Option<[f64; 2]> {
        let area = match &point.channel {
            Some(channel) => self.rubric.panel(channel)?.place.area,
            None => self.rubric.row_of(&point.name)?.place.area,
        };
        Some([area.y, area.bottom()])
    }

    fn in_time(&self, point: &Point, timing: &Relative, tolerance: f64) -> Option<LineHint> {
        let (reference, window, at_s) = match timing {
            Relative::Offset { to, window, .. } => {
                let beat = self.own_beat(&[to])?;
                (to, window.map(|edge| edge.map(|ms| ms / 1000.0)), beat.time_s(to)?)
            }
            Relative::Between { from, to, shares, .. } => {
                let beat = self.own_beat(&[from, to])?;
                let (start, end) = (beat.time_s(from)?, beat.time_s(to)?);
                (from, shares.map(|share| Some(share * (end - start))), start)
            }
        };
        let at_mm = self.practice.x_of(at_s)?;
        let [left, right] = open_ended(window, self.rubric.mm_per_s);
        let [top, bottom] = self.upright(point)?;
        let told = words::on_line(&self.rubric.noun(point), &self.rubric.noun(reference));
        let area_mm = [at_mm + left - tolerance, top, at_mm + right + tolerance, bottom];
        Some(LineHint { told, area_mm, line_mm: Some(at_mm) })
    }

    fn in_height(&self, point: &Point, height: &Relative, tolerance: f64) -> Option<LineHint> {
        let place = &self.rubric.panel(point.channel.as_deref()?)?.place;
        let per_unit = place.mm_per_unit();
        let (reference, window, value, beat) = match height {
            Relative::Offset { to, window, .. } => {
                let beat = self.own_beat(&[to])?;
                (to, *window, beat.get(to)?.value, beat)
            }
            Relative::Between { from, to, shares, .. } => {
                let beat = self.own_beat(&[from, to])?;
                let (low, high) = (beat.get(from)?.value, beat.get(to)?.value);
                (from, shares.map(|share| Some(share * (high - low))), low, beat)
            }
        };
        let at_mm = place.map().y(value);
        let [low, high] = open_ended(window, per_unit);
        let x = self.near(beat, point)?;
        let told = words::at_height(&self.rubric.noun(point), &self.rubric.noun(reference));
        let (top, bottom) = (at_mm - high - tolerance, at_mm - low + tolerance);
        let area_mm = [x - OPEN_MM / 2.0, top, x + OPEN_MM / 2.0, bottom];
        Some(LineHint { told, area_mm: inside(area_mm, place.area), line_mm: None })
    }

    fn at_level(
        &self,
        channel: &str,
        at: &Point,
        level: &Level,
        tolerance: f64,
    ) -> Option<LineHint> {
        let place = &self.rubric.panel(channel)?.place;
        let beat = self.own_beat(&[at])?;
        let x = self.practice.x_of(beat.time_s(at)?)?;
        let (value, of) = match level {
            Level::Baseline => (0.0, "its baseline".to_owned()),
            Level::Of(point) => (beat.get(point)?.value, self.rubric.noun(point)),
        };
        let y = place.map().y(value);
        let told = words::at_height(&self.practice.noun_of_channel(channel), &of);
        let area_mm = [x - OPEN_MM / 4.0, y - tolerance, x + OPEN_MM / 4.0, y + tolerance];
        Some(LineHint { told, area_mm: inside(area_mm, place.area), line_mm: Some(x) })
    }

    /// Where across the page a point is, or would be.
    fn near(&self, beat: &Beat, point: &Point) -> Option<f64> {
        let own = beat.time_s(point).and_then(|time_s| self.practice.x_of(time_s));
        let key = || self.key_beat(&[point])?.time_s(point);
        own.or_else(|| self.practice.x_of(key()?))
    }

    /// What the key draws there, moved to the student's own beat.
    fn ghost(&self, rule: &Rule) -> Option<Ghost> {
        let points = rule.says.points();
        let channel = match &rule.says {
            Says::Level { channel, .. } | Says::Shape { channel, .. } => Some(channel.as_str()),
            _ => {
                let own = points.iter().find(|point| !self.rubric.is_given(point))?;
                if own.channel.is_none() {
                    let place = &self.rubric.row_of(&own.name)?.place;
                    let middle = place.area.y + place.area.h / 2.0;
                    let all = self.practice.key_stretches(place).into_iter();
                    let lines = all.map(|[from, to]| vec![[from, middle], [to, middle]]);
                    return Some(Ghost { place: place.bar.clone(), lines: lines.collect() });
                }
                own.channel.as_deref()
            }
        }?;
        let place = &self.rubric.panel(channel)?.place;
        let index = self.key.iter().position(|beat| beat.get(points[0]).is_some())?;
        let beat = &self.key[index];
        let on = |point: &&&Point| {
            point.channel.as_deref() == Some(channel)
                || matches!(rule.says, Says::Level { .. } | Says::Shape { .. })
        };
        let times = points.iter().filter(on).filter_map(|point| beat.time_s(point));
        let times: Vec<f64> = times.collect();
        let start = times.iter().copied().fold(f64::MAX, f64::min) - AROUND_S;
        let end = times.iter().copied().fold(f64::MIN, f64::max) + AROUND_S;
        // A sound is shown to its end.
        let stroke = points.iter().filter_map(|point| self.practice.subject.stroke_of(&point.name));
        let bursts = stroke.filter(|stroke| stroke.channel == channel);
        let length = bursts.filter_map(|stroke| stroke.burst).map(|burst| burst.length_ms / 1000.0);
        let end = end + length.fold(0.0, f64::max);
        let anchor = Point::new(
            &self.practice.subject.anchor,
            Some(&self.practice.subject.reference_channel),
        );
        let own = self.own.get(index).and_then(|beat| beat.time_s(&anchor));
        let shift = own.zip(beat.time_s(&anchor)).map_or(0.0, |(own, key)| own - key);
        let trace = self.practice.model.trace(channel)?;
        let map = place.map();
        let count = ((end - start) / STEP_S).max(0.0) as usize;
        let at = |step: usize| {
            let time_s = start + step as f64 * STEP_S;
            let x = self.practice.x_of(time_s + shift)?;
            Some([x, map.y(trace.at(time_s)?)])
        };
        let line: Polyline = (0..=count).filter_map(at).collect();
        Some(Ghost { place: channel.to_owned(), lines: vec![line] })
    }
}

/// A window in millimetres; open ends reach as far as can be shown.
fn open_ended(window: [Option<f64>; 2], mm: f64) -> [f64; 2] {
    let [low, high] = window.map(|edge| edge.map(|edge| edge * mm));
    let from = low.unwrap_or_else(|| high.unwrap_or(0.0) - OPEN_MM);
    let to = high.unwrap_or_else(|| low.unwrap_or(0.0) + OPEN_MM);
    [from, to]
}

fn inside([left, top, right, bottom]: [f64; 4], area: figure::Box2) -> [f64; 4] {
    [left.max(area.x), top.max(area.y), right.min(area.right()), bottom.min(area.bottom())]
}
