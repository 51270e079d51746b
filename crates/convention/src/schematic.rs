//! The cycle nearest to a given one that meets every rule exactly.

use cycle::{Burst, Cycle, Event, FeatureShape, Label, Landmark, Phase, Subject, Trace};

use crate::beat::{Beat, baseline, beats, stroke_span};
use crate::heights::{Levels, Lift};
use crate::judge::{GRAIN, Outcome, Scale, Unit, Verdict, judge};
use crate::placing::Times;
use crate::rule::{Convention, Form, Says};
use crate::warp::{Periodic, never_falling};
use crate::words::amount;
use crate::{Conflict, Point, StepError};

/// Why there is no schematic.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SchematicError {
    /// The timing rules contradict one another.
    #[error("the rules cannot all hold: {}", .0.iter().map(|c| c.words.as_str()).collect::<Vec<_>>().join(" "))]
    Contradiction(Vec<Conflict>),
    /// The rules about heights contradict one another.
    #[error("the heights that these rules ask for cannot all be: {}", .0.join(", "))]
    Heights(Vec<String>),
    /// The given cycle has no beat to start from, or more than one.
    #[error("a schematic starts from a cycle of exactly one beat that repeats; this has {0} beats")]
    Base(usize),
    /// A rule is about a landmark that the given cycle does not have.
    #[error(
        "the cycle to start from has no {name} on {channel}, and no way to draw one; start from another, or leave its rules out"
    )]
    Missing {
        /// The trace.
        channel: String,
        /// The landmark.
        name: String,
    },
    /// A landmark would have to change places with another of the same trace.
    #[error(
        "on {channel}, {name} would have to change places with another landmark; the rules ask for an order that this trace cannot have"
    )]
    Order {
        /// The trace.
        channel: String,
        /// The landmark.
        name: String,
    },
    /// Some rules could not be met on the given cycle.
    #[error("these rules could not be drawn exactly on this cycle: {}", unmet(.0))]
    Unmet(Vec<Verdict>),
    /// The file's steps are in an impossible order.
    #[error(transparent)]
    Steps(#[from] StepError),
}

/// What is not met, and by how much where its tolerance would allow it.
fn unmet(verdicts: &[Verdict]) -> String {
    let told = verdicts.iter().map(|verdict| match verdict.outcome {
        Outcome::Met => {
            let off = amount(verdict.off_by.abs(), verdict.unit.name());
            format!("{} (it would be {off} off)", verdict.rule)
        }
        _ => format!("{} ({})", verdict.rule, verdict.why.trim_end_matches('.')),
    });
    told.collect::<Vec<_>>().join("; ")
}

/// How far from exact still counts as met in milliseconds: the rounding of nanoseconds.
const EXACT_MS: f64 = 1e-5;

/// Draws the schematic of `convention` for as many `beats_shown`: the cycle nearest to `base` that
/// meets every rule exactly.
///
/// `base` is one beat of a normal cycle that repeats, such as a computed heart at the rate
/// wanted. "Nearest" means: the reference channel stays as it is; then each point, in the
/// order of the build, goes as near as the rules allow to where `base` has it (or to the
/// rule's aim). Because the network is minimal, no later point is ever left without a place.
/// Points that no rule names move along with their neighbours. Traces are `base`'s, stretched
/// in time between their landmarks, and lifted where a rule about height asks for it.
///
/// # Errors
/// [`SchematicError`], each of which names the rules or landmarks at fault.
pub fn schematic(
    convention: &Convention,
    subject: &Subject,
    base: &Cycle,
    beats_shown: usize,
) -> Result<Cycle, SchematicError> {
    let found = beats(base, subject);
    let [beat] = found.as_slice() else { return Err(SchematicError::Base(found.len())) };
    if !base.repeats {
        return Err(SchematicError::Base(0));
    }
    let times = Times::new(convention, subject, base, beat)?;
    let mut drawing = Drawing { convention, subject, base, times, traces: Vec::new() };
    drawing.warp(beat)?;
    drawing.add_bursts(beat);
    // Lifting a point bends the trace beside it, and smoothing a stretch moves its ends by a
    // share of a sample: a few rounds settle both.
    for _ in 0..ROUNDS {
        drawing.heights()?;
        drawing.shapes();
    }
    let one = drawing.cycle(1);
    let unmet: Vec<Verdict> = judge(&one, convention, subject, &Scale::Measured)
        .into_iter()
        .filter(|v| v.outcome != Outcome::Met || !is_exact(v, convention))
        .collect();
    if !unmet.is_empty() {
        return Err(SchematicError::Unmet(unmet));
    }
    Ok(if beats_shown > 1 { drawing.cycle(beats_shown) } else { one })
}

/// Rounds of lifting and smoothing.
const ROUNDS: usize = 4;

/// Whether a verdict is met to the grain of times, and of samples where it is about heights.
fn is_exact(verdict: &Verdict, convention: &Convention) -> bool {
    let percent = convention.rule(&verdict.rule).map_or(1.0, |rule| rule.tolerance.percent);
    // The tolerance is so many hundredths of the trace's height; the grain is a share of it.
    let grain = match verdict.unit {
        Unit::Value(_) => verdict.tolerance * 100.0 / percent * GRAIN,
        Unit::Ms | Unit::Mm => EXACT_MS,
    };
    verdict.off_by.abs() <= grain
}

/// The schematic in the making.
pub(crate) struct Drawing<'a> {
    pub(crate) convention: &'a Convention,
    pub(crate) subject: &'a Subject,
    pub(crate) base: &'a Cycle,
    times: Times,
    pub(crate) traces: Vec<Trace>,
}

/// Least distance of two knots of a stretched trace, and most by which it is stretched.
const APART_S: f64 = 0.004;
const STRETCH: f64 = 4.0;

impl Drawing<'_> {
    /// Stretches every trace of the convention in time.
    fn warp(&mut self, beat: &Beat) -> Result<(), SchematicError> {
        for channel in self.convention.channels() {
            let Some(trace) = self.base.trace(channel) else { continue };
            let mut warped = trace.clone();
            if channel == self.subject.reference_channel {
                self.traces.push(warped);
                continue;
            }
            let knots = self.knots(channel, beat)?;
            if knots.iter().any(|knot| knot[0] != knot[1]) {
                let period = self.times.period_s;
                let back = knots.iter().map(|&[was, is]| [is, was]).collect();
                let back = Periodic::new(back, period, period, self.has_bursts(channel));
                for index in 0..warped.samples.len() {
                    let was = back.at(warped.time_s(index));
                    warped.samples[index] = around(trace, was);
                }
            }
            self.traces.push(warped);
        }
        Ok(())
    }

    fn has_bursts(&self, channel: &str) -> bool {
        self.subject.strokes.iter().any(|s| s.channel == channel && s.burst.is_some())
    }

    /// Pairs of where something was and where it is now, for one channel.
    ///
    /// The channel's own landmarks must all be there. Events that rules name are taken in where
    /// they agree with them, so that traces that meet stay together; other channels' landmarks
    /// do the same where rules name no event.
    fn knots(&self, channel: &str, beat: &Beat) -> Result<Vec<[f64; 2]>, SchematicError> {
        let period = self.times.period_s;
        let mut own: Vec<([f64; 2], &Point)> = Vec::new();
        let mut others: Vec<[f64; 2]> = Vec::new();
        let named = self.convention.points();
        let by_events = named.iter().any(|point| point.channel.is_none());
        for (point, is) in &self.times.placed {
            let Some(was) = beat.time_s(point) else { continue };
            let knot = [was, *is];
            let reference = self.subject.reference_channel.as_str();
            match point.channel.as_deref() {
                Some(on) if on == channel => own.push((knot, point)),
                _ if self.has_bursts(channel) => {}
                // What no rule names only follows its neighbours and has nothing to say.
                _ if !named.contains(point) => {}
                None => others.push(knot),
                Some(on) if by_events || on == reference || self.has_bursts(on) => {}
                Some(_) => others.push(knot),
            }
        }
        own.sort_by(|a, b| a.0[0].total_cmp(&b.0[0]));
        let mut knots: Vec<[f64; 2]> = Vec::new();
        for (knot, point) in own {
            let fits = |other: &[f64; 2]| {
                let (was, is) = (knot[0] - other[0], knot[1] - other[1]);
                was > 0.0 && is > 0.0 && was < period && is < period
            };
            let same = |other: &[f64; 2]| {
                (other[0] - knot[0]).abs() < 1e-9 && (other[1] - knot[1]).abs() < 2e-9
            };
            if knots.iter().any(same) {
                continue;
            }
            if !knots.iter().all(fits) {
                let (channel, name) = (channel.to_owned(), point.name.clone());
                return Err(SchematicError::Order { channel, name });
            }
            knots.push(knot);
        }
        // The beat's first landmark stays for every channel.
        let first = self.times.placed[0].1;
        others.push([first, first]);
        for knot in others {
            let fits = knots.iter().all(|other| {
                let turn = |at: f64| (at + period / 2.0).rem_euclid(period) - period / 2.0;
                let (was, is) = (turn(knot[0] - other[0]), turn(knot[1] - other[1]));
                let rate = is / was;
                was.abs() > APART_S && (1.0 / STRETCH..=STRETCH).contains(&rate)
            });
            if fits {
                knots.push(knot);
            }
        }
        Ok(knots)
    }

    /// Draws the bursts that the given cycle lacks.
    fn add_bursts(&mut self, beat: &Beat) {
        for stroke in &self.subject.strokes {
            let Some(burst) = stroke.burst else { continue };
            let Some(name) = stroke.landmarks.first() else { continue };
            let point = Point::new(name, Some(&stroke.channel));
            let (None, Some(start)) = (beat.get(&point), self.times.of(&point)) else { continue };
            let base = self.base_level(&stroke.channel);
            if let Some(trace) = self.traces.iter_mut().find(|t| t.channel == stroke.channel) {
                draw_burst(trace, burst, start, base, self.times.period_s);
            }
        }
    }

    pub(crate) fn base_level(&self, channel: &str) -> f64 {
        let trace = self.base.trace(channel);
        trace.map_or(0.0, |trace| baseline(trace, self.base, self.subject))
    }

    /// The beat as it is drawn so far, with heights read off the traces.
    fn drawn_beat(&self) -> Beat {
        beats(&self.cycle(1), self.subject).into_iter().next().unwrap_or_default()
    }

    fn cycle(&self, count: usize) -> Cycle {
        let (period, base) = (self.times.period_s, self.base);
        let start = base.span_s().map_or(0.0, |(start, _)| start);
        let end = start + period * count as f64;
        let turns = |time_s: f64| {
            let first = start + (time_s - start).rem_euclid(period);
            (0..count).map(move |turn| first + turn as f64 * period)
        };
        let mut landmarks = Vec::new();
        let mut events = Vec::new();
        for (point, time_s) in &self.times.placed {
            match &point.channel {
                None => events.extend(
                    turns(*time_s).map(|time_s| Event { name: point.name.clone(), time_s }),
                ),
                Some(channel) => {
                    let Some(trace) = self.traces.iter().find(|t| t.channel == *channel) else {
                        continue;
                    };
                    if self.is_idle(point) {
                        continue;
                    }
                    let value = around(trace, *time_s);
                    landmarks.extend(turns(*time_s).map(|time_s| Landmark {
                        name: point.name.clone(),
                        channel: channel.clone(),
                        time_s,
                        value,
                    }));
                }
            }
        }
        landmarks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let mut labels: Vec<Label> = Vec::new();
        for rule in &self.convention.rules {
            if let Says::Label { point, accepted } = &rule.says
                && let (Some(time_s), Some(channel)) = (self.times.of(point), &point.channel)
            {
                let (text, channel) = (accepted[0].clone(), channel.clone());
                labels.extend(turns(time_s).map(|time_s| {
                    let (text, channel) = (text.clone(), channel.clone());
                    Label { text, channel, time_s }
                }));
            }
        }
        labels.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let traces = self
            .traces
            .iter()
            .map(|trace| Trace { samples: trace.samples.repeat(count), ..trace.clone() });
        // What is cut at the beat's edge stays cut there.
        let edges = [start, start + period];
        let moved = |t: f64| {
            let edge = edges.into_iter().find(|edge| (edge - t).abs() < 1e-6);
            edge.unwrap_or_else(|| t + self.times.moved.at(t))
        };
        let turned = (0..count)
            .flat_map(|turn| base.phases.iter().map(move |phase| (turn as f64 * period, phase)));
        let phases = turned.map(|(by, phase)| Phase {
            name: phase.name.clone(),
            start_s: (moved(phase.start_s) + by).max(start),
            end_s: (moved(phase.end_s) + by).min(end),
        });
        Cycle {
            period_s: period,
            traces: traces.collect(),
            landmarks,
            events,
            phases: phases.filter(|phase| phase.end_s > phase.start_s).collect(),
            labels,
            repeats: true,
            summary: [("heart_rate_bpm".to_owned(), 60.0 / period)].into(),
        }
    }

    /// Whether a point is a detail within a burst that the class does not learn.
    fn is_idle(&self, point: &Point) -> bool {
        let stroke = self.subject.stroke_of(&point.name).filter(|stroke| stroke.burst.is_some());
        let ends = stroke.and_then(|s| Some([s.landmarks.first()?, s.landmarks.last()?]));
        ends.is_some_and(|ends| !ends.contains(&&point.name))
            && !self.convention.points().contains(point)
    }

    /// Lifts and lowers traces so that the rules about heights hold.
    fn heights(&mut self) -> Result<(), SchematicError> {
        let drawn = self.drawn_beat();
        let levels = Levels::new(self, &drawn);
        if !levels.needed {
            return Ok(());
        }
        let values = levels.solve()?;
        for trace_index in 0..self.traces.len() {
            let channel = self.traces[trace_index].channel.clone();
            if self.has_bursts(&channel) {
                self.scale_bursts(trace_index, &drawn, &values);
                continue;
            }
            let mut knots: Vec<[f64; 2]> = Vec::new();
            let marks = drawn.places.iter().filter(|(p, _)| p.channel.as_deref() == Some(&channel));
            for (point, place) in marks {
                let lifted =
                    values.iter().find(|lift| lift.point == *point && lift.channel == channel);
                knots.push([place.time_s, lifted.map_or(0.0, |lift| lift.by)]);
            }
            for lift in values.iter().filter(|lift| lift.channel == channel) {
                let time_s = drawn.time_s(&lift.point).unwrap_or(0.0);
                if knots.iter().all(|knot| (knot[0] - time_s).abs() > APART_S / 2.0) {
                    knots.push([time_s, lift.by]);
                }
            }
            if knots.iter().all(|knot| knot[1] == 0.0) {
                continue;
            }
            let turning = |point: &Point| {
                let kind = self.subject.landmark(&point.name);
                let shape = kind.and_then(|kind| kind.feature_on(&channel)).map(|f| f.shape);
                matches!(shape, Some(FeatureShape::Peak | FeatureShape::Trough))
            };
            let marks = drawn.places.iter().filter(|(p, _)| p.channel.as_deref() == Some(&channel));
            let turns: Vec<f64> =
                marks.filter(|(point, _)| turning(point)).map(|(_, place)| place.time_s).collect();
            let places: Vec<f64> = knots.iter().map(|knot| knot[0]).collect();
            let lift = Periodic::new(apart(knots), self.times.period_s, 0.0, false);
            let lift = lift.level_at(&turns);
            let (period, trace) = (self.times.period_s, &mut self.traces[trace_index]);
            let was = trace.clone();
            for (index, sample) in trace.samples.iter_mut().enumerate() {
                *sample += lift.at(was.time_s(index));
            }
            let mut turns = turns;
            turns.sort_by(f64::total_cmp);
            turns.extend(turns.first().map(|first| first + period));
            for pair in turns.windows(2) {
                let inside = |at: &f64| {
                    let since = (at - pair[0]).rem_euclid(period);
                    since > 1e-6 && since < pair[1] - pair[0] - 1e-6
                };
                // What other rules say of the way between is not to be undone.
                if !places.iter().any(inside) {
                    rescale(trace, &was, &lift, [pair[0], pair[1]]);
                }
            }
        }
        Ok(())
    }

    fn scale_bursts(&mut self, trace_index: usize, drawn: &Beat, values: &[Lift]) {
        let channel = self.traces[trace_index].channel.clone();
        let base = self.base_level(&channel);
        let period = self.times.period_s;
        for stroke in self.subject.strokes.iter().filter(|s| s.channel == channel) {
            let Some([start, end]) = stroke_span(stroke, drawn) else { continue };
            let lift = values.iter().find(|lift| {
                lift.channel == channel && stroke.landmarks.contains(&lift.point.name)
            });
            let Some(lift) = lift.filter(|lift| lift.was > 0.0) else { continue };
            let factor = (lift.was + lift.by) / lift.was;
            let trace = &mut self.traces[trace_index];
            for index in 0..trace.samples.len() {
                let since = (trace.time_s(index) - start).rem_euclid(period);
                if since <= end - start {
                    trace.samples[index] = base + factor * (trace.samples[index] - base);
                }
            }
        }
    }

    /// Smooths away what a rule about shape forbids.
    fn shapes(&mut self) {
        for rule in &self.convention.rules {
            let Says::Shape { channel, from, to, form } = &rule.says else { continue };
            let (Some(start), Some(mut end)) = (self.times.of(from), self.times.of(to)) else {
                continue;
            };
            let period = self.times.period_s;
            if end < start {
                end += period;
            }
            let Some(trace) = self.traces.iter_mut().find(|t| t.channel == *channel) else {
                continue;
            };
            let (first, last) = (around(trace, start), around(trace, end));
            let count = trace.samples.len();
            let index = |time_s: f64| ((time_s - trace.start_s) * trace.rate_hz) as i64;
            let places: Vec<usize> = (index(start) + 1..=index(end))
                .map(|place| place.rem_euclid(count as i64) as usize)
                .collect();
            let mut values: Vec<f64> = places.iter().map(|&place| trace.samples[place]).collect();
            let steps = values.len().max(1) as f64;
            match form {
                Form::Flat => {
                    for (step, value) in values.iter_mut().enumerate() {
                        *value = first + (step as f64 + 0.5) / steps * (last - first);
                    }
                }
                Form::Rising => {
                    never_falling(&mut values);
                    values.iter_mut().for_each(|v| *v = v.max(first.min(last)).min(last));
                }
                Form::Falling => {
                    values.iter_mut().for_each(|v| *v = -*v);
                    never_falling(&mut values);
                    values.iter_mut().for_each(|v| *v = (-*v).min(first.max(last)).max(last));
                }
            }
            for (place, value) in places.into_iter().zip(values) {
                trace.samples[place] = value;
            }
        }
    }
}

/// A trace's value at any time, as it repeats.
pub(crate) fn around(trace: &Trace, time_s: f64) -> f64 {
    let count = trace.samples.len();
    let place = ((time_s - trace.start_s) * trace.rate_hz).rem_euclid(count as f64);
    let left = place.floor() as usize % count;
    let share = place - place.floor();
    trace.samples[left] + share * (trace.samples[(left + 1) % count] - trace.samples[left])
}

/// Adds a burst that swells and dies away.
fn draw_burst(trace: &mut Trace, burst: Burst, start: f64, base: f64, period: f64) {
    let length = burst.length_ms / 1000.0;
    let pi = std::f64::consts::PI;
    for index in 0..trace.samples.len() {
        let since = (trace.time_s(index) - start).rem_euclid(period);
        if since < length {
            let swell = libm::sin(pi * since / length);
            let wave = libm::sin(2.0 * pi * burst.frequency_hz * since);
            trace.samples[index] = base + burst.height * swell * swell * wave;
        }
    }
}

/// Between a peak and a trough that follow one another, a trace is stretched in height rather
/// than lifted, so that it still turns there and nowhere else.
fn rescale(trace: &mut Trace, was: &Trace, lift: &Periodic, [from, to]: [f64; 2]) {
    let ends = [from, to].map(|time_s| (around(was, time_s), lift.at(time_s)));
    let [(a, up_a), (b, up_b)] = ends;
    let factor = (b + up_b - a - up_a) / (b - a);
    // A turn lies between two samples, of which either may go a little beyond it.
    let beyond = 0.01 * (b - a).abs();
    let inside = |value: f64| value >= a.min(b) - beyond && value <= a.max(b) + beyond;
    let period = was.end_s() - was.start_s;
    let within: Vec<usize> = (0..was.samples.len())
        .filter(|&index| (was.time_s(index) - from).rem_euclid(period) < to - from)
        .collect();
    // Only what goes straight from the one to the other can be stretched so.
    let straight = within.iter().all(|&index| inside(was.samples[index]));
    if !straight || !(0.1..=10.0).contains(&factor) {
        return;
    }
    for index in within {
        trace.samples[index] = a + up_a + factor * (was.samples[index] - a);
    }
}

/// Knots no two of which are closer than a trace's own grain.
fn apart(mut knots: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    knots.sort_by(|a, b| a[0].total_cmp(&b[0]));
    knots.dedup_by(|b, a| {
        let near = b[0] - a[0] < 1e-6;
        if near && a[1] == 0.0 {
            a[1] = b[1];
        }
        near
    });
    knots
}
