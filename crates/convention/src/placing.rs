//! Where every point of the schematic goes in time.

use cycle::{Cycle, Subject};

use crate::beat::Beat;
use crate::check::{Given, Timeline, seconds, ticks};
use crate::network::Minimal;
use crate::rule::{Convention, Relative, Says};
use crate::warp::Periodic;
use crate::{Point, SchematicError, steps};

/// Where every point goes.
pub(crate) struct Times {
    pub(crate) period_s: f64,
    pub(crate) placed: Vec<(Point, f64)>,
    /// How far points have moved, against where they were.
    pub(crate) moved: Periodic,
}

impl Times {
    pub(crate) fn of(&self, point: &Point) -> Option<f64> {
        self.placed.iter().find(|(other, _)| other == point).map(|(_, time_s)| *time_s)
    }

    pub(crate) fn new(
        convention: &Convention,
        subject: &Subject,
        base: &Cycle,
        beat: &Beat,
    ) -> Result<Self, SchematicError> {
        let span = base.span_s().map_or(base.period_s, |(start, end)| end - start);
        let given = Given { beat, period_s: span };
        let channels: Vec<&str> = convention.channels().collect();
        let mut points: Vec<Point> = beat
            .places
            .keys()
            .filter(|p| p.channel.as_deref().is_none_or(|channel| channels.contains(&channel)))
            .cloned()
            .collect();
        let reference = |point: &Point| point.is_reference(subject);
        let time = |point: &Point| beat.time_s(point).unwrap_or(f64::MAX);
        points.sort_by(|a, b| reference(b).cmp(&reference(a)).then(time(a).total_cmp(&time(b))));
        for point in absent(convention, subject, beat)? {
            if !points.contains(&point) {
                points.push(point);
            }
        }
        let order = placing_order(convention, subject, base, &points)?;
        let timeline = Timeline::new(convention, subject, points, Some(given));
        let Ok(minimal) = timeline.network.solve() else {
            let conflicts = timeline.conflicts(convention, subject);
            return Err(SchematicError::Contradiction(conflicts));
        };
        let placer = Placer { convention, subject, beat, timeline: &timeline, span };
        Ok(placer.place(minimal, &order))
    }
}

/// What rules name and the given beat lacks: events, and bursts with all their landmarks.
fn absent(
    convention: &Convention,
    subject: &Subject,
    beat: &Beat,
) -> Result<Vec<Point>, SchematicError> {
    let mut points = Vec::new();
    for point in convention.points().into_iter().filter(|point| beat.get(point).is_none()) {
        let Some(channel) = &point.channel else {
            points.push(point);
            continue;
        };
        let burst = subject.stroke_of(&point.name).filter(|stroke| stroke.burst.is_some());
        let Some(stroke) = burst.filter(|stroke| stroke.channel == *channel) else {
            let (channel, name) = (channel.clone(), point.name.clone());
            return Err(SchematicError::Missing { channel, name });
        };
        let names = stroke.landmarks.iter().chain(&stroke.centre);
        points.extend(names.map(|name| Point::new(name, Some(channel))));
    }
    Ok(points)
}

/// Indices of `points` in the order in which they are placed: the reference, then what the
/// rules name in the order of the build, then the others from left to right.
fn placing_order(
    convention: &Convention,
    subject: &Subject,
    base: &Cycle,
    points: &[Point],
) -> Result<Vec<usize>, SchematicError> {
    let mut order: Vec<usize> =
        (0..points.len()).filter(|&index| points[index].is_reference(subject)).collect();
    let named = convention.points();
    for step in steps(convention, subject, base)? {
        // Within a stroke, what the rules name goes before what goes along with it.
        let (first, then): (Vec<&Point>, Vec<&Point>) =
            step.draw.iter().partition(|point| named.contains(point));
        for point in first.into_iter().chain(then) {
            if let Some(index) = points.iter().position(|other| other == point)
                && !order.contains(&index)
            {
                order.push(index);
            }
        }
    }
    for index in 0..points.len() {
        if !order.contains(&index) {
            order.push(index);
        }
    }
    Ok(order)
}

/// Places points one by one.
struct Placer<'a> {
    convention: &'a Convention,
    subject: &'a Subject,
    beat: &'a Beat,
    timeline: &'a Timeline,
    span: f64,
}

impl Placer<'_> {
    fn place(&self, mut minimal: Minimal, order: &[usize]) -> Times {
        let points = &self.timeline.points;
        let origin = order[0];
        let start = self.beat.time_s(&points[origin]).unwrap_or(0.0);
        let mut placed: Vec<(Point, f64)> = vec![(points[origin].clone(), start)];
        // The first landmark of the beat stays; so does that of the next.
        let mut moves: Vec<[f64; 2]> = vec![[start, 0.0]];
        for &index in &order[1..] {
            let point = &points[index];
            let low = minimal.least(origin, index);
            let high = minimal.most(origin, index);
            let field = Periodic::new(moves.clone(), self.span, 0.0, true);
            let wish = self.wish(point, &placed, &field, [low, high], start);
            let mut at = ticks(wish - start);
            at = at.max(low.unwrap_or(i64::MIN)).min(high.unwrap_or(i64::MAX));
            let fixed = minimal.fix(origin, index, at);
            debug_assert!(
                fixed,
                "a minimal network lets every point go anywhere within its limits"
            );
            let was = self.beat.time_s(point);
            // What does not move keeps every digit.
            let stays = was.filter(|was| ticks(was - start) == at);
            let time_s = stays.unwrap_or_else(|| start + seconds(at));
            if let (Some(was), false) = (was, point.is_reference(self.subject)) {
                let knot = [was, time_s - was];
                let apart = |other: &[f64; 2]| {
                    let gap = (other[0] - was).rem_euclid(self.span);
                    gap.min(self.span - gap) > 1e-6
                };
                if moves.iter().all(apart) {
                    moves.push(knot);
                }
            }
            placed.push((point.clone(), time_s));
        }
        let moved = Periodic::new(moves, self.span, 0.0, true);
        Times { period_s: self.span, placed, moved }
    }

    /// Where a point would go if the rules left it free.
    fn wish(
        &self,
        point: &Point,
        placed: &[(Point, f64)],
        field: &Periodic,
        window: [Option<i64>; 2],
        start: f64,
    ) -> f64 {
        let of = |point: &Point| placed.iter().find(|(other, _)| other == point).map(|(_, t)| *t);
        if let Some(aim) = self.aim(point, &of) {
            return aim;
        }
        if point.is_reference(self.subject) {
            return self.beat.time_s(point).unwrap_or(start);
        }
        // A stroke moves as a whole.
        if let Some(was) = self.beat.time_s(point) {
            let stroke = self.subject.stroke_of(&point.name);
            let mates = stroke.into_iter().flat_map(|s| s.landmarks.iter().chain(&s.centre));
            let moved = mates.into_iter().find_map(|name| {
                let mate = Point { name: name.clone(), channel: point.channel.clone() };
                let goes = of(&mate).or_else(|| self.aim(&mate, &of));
                Some(goes? - self.beat.time_s(&mate)?)
            });
            return was + moved.unwrap_or_else(|| field.at(was));
        }
        // What the given cycle lacks goes half-way, or just beyond its one limit.
        const JUST_S: f64 = 0.02;
        match window.map(|side| side.map(seconds)) {
            [Some(low), Some(high)] => start + f64::midpoint(low, high),
            [Some(low), None] => start + low + JUST_S,
            [None, Some(high)] => start + high - JUST_S,
            [None, None] => start,
        }
    }

    /// Where a rule would have a point, if it says.
    fn aim(&self, point: &Point, of: &dyn Fn(&Point) -> Option<f64>) -> Option<f64> {
        self.convention.rules.iter().find_map(|rule| match &rule.says {
            Says::Timing { point: p, timing: Relative::Offset { to, aim, .. } } if p == point => {
                Some(of(to)? + (*aim)? / 1000.0)
            }
            Says::Timing { point: p, timing: Relative::Between { from, to, aim, .. } }
                if p == point =>
            {
                let (from, to) = (of(from)?, of(to)?);
                Some(from + (*aim)? * (to - from))
            }
            _ => None,
        })
    }
}
