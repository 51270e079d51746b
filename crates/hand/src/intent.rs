//! Where a student means every landmark to be.

use std::collections::{BTreeMap, BTreeSet};

use convention::{Form, Level, Point, Relative, Rule, Says, beats};
use cycle::{FeatureShape, StrokeKind};

use crate::chance::Chance;
use crate::curve::Monotone;
use crate::form::Handout;
use crate::mistake::Mistake;

/// A point that a trace is drawn through.
#[derive(Clone, Debug)]
pub(crate) struct Knot {
    /// The landmark; none for a bend that is only a way of drawing.
    pub(crate) name: Option<String>,
    /// Which beat, from 0.
    pub(crate) beat: usize,
    /// Where the key has it.
    pub(crate) was_s: f64,
    pub(crate) was: f64,
    /// Where it is meant to be.
    pub(crate) time_s: f64,
    pub(crate) value: f64,
    /// Whether from here to the next knot what the key shows is left out.
    pub(crate) bridge: bool,
    /// Whether a mistake says where it is.
    pinned: bool,
}

/// What becomes of a trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum State {
    Drawn,
    Flat,
    LeftOut,
}

/// One trace as it is meant.
#[derive(Clone, Debug)]
pub(crate) struct ChannelIntent {
    pub(crate) state: State,
    pub(crate) knots: Vec<Knot>,
    /// Landmarks that are left out.
    pub(crate) absent: BTreeSet<String>,
}

impl ChannelIntent {
    /// A peak alone is no second one: where `first` was left out with the trough after it, the peak
    /// that followed, of those that may be lacking, is what everybody takes for it.
    fn left_alone(&mut self, first: &str, gone: &[Knot], second: &dyn Fn(&str) -> bool) {
        for gone in gone {
            let mut after = self.knots.iter_mut().filter(|knot| knot.was_s > gone.was_s);
            let next = after.find(|knot| knot.name.is_some()).filter(|knot| knot.beat == gone.beat);
            let Some(next) = next.filter(|knot| knot.name.as_deref().is_some_and(second)) else {
                continue;
            };
            self.absent.extend(next.name.replace(first.to_owned()));
            self.absent.remove(first);
        }
    }
}

/// An event as it is meant.
#[derive(Clone, Debug)]
pub(crate) struct EventIntent {
    pub(crate) name: String,
    pub(crate) was_s: f64,
    pub(crate) time_s: f64,
}

/// A label as it is meant.
#[derive(Clone, Debug)]
pub(crate) struct LabelIntent {
    pub(crate) point: Point,
    pub(crate) text: String,
    pub(crate) off_mm: f64,
}

/// Everything that is to be drawn.
pub(crate) struct Intent<'a> {
    handout: &'a Handout<'a>,
    pub(crate) channels: BTreeMap<String, ChannelIntent>,
    pub(crate) events: Vec<EventIntent>,
    pub(crate) labels: Vec<LabelIntent>,
}

/// A turn of a trace is at least so much higher or lower than those beside it, in millimetres.
const CLEAR_MM: f64 = 1.2;
/// Least distance of two landmarks of one trace, in millimetres.
const APART_MM: f64 = 0.6;

impl<'a> Intent<'a> {
    /// What one means who knows everything.
    pub(crate) fn right(handout: &'a Handout<'a>, chance: &mut Chance) -> Self {
        let model = handout.model;
        let all = beats(model, handout.subject);
        let mut channels = BTreeMap::new();
        for panel in handout.panels().filter(|panel| !panel.given) {
            let Some(trace) = model.trace(&panel.channel) else { continue };
            let within = |t: f64| t >= panel.time_start_s - 1e-9 && t <= panel.time_end_s + 1e-9;
            let bursts = handout.has_bursts(&panel.channel);
            let marks = model.landmarks.iter();
            let marks = marks.filter(|mark| mark.channel == panel.channel && within(mark.time_s));
            let knot = |mark: &cycle::Landmark| {
                let point = Point::new(&mark.name, Some(&mark.channel));
                let here = all.iter().filter_map(|beat| beat.get(&point));
                let place =
                    here.into_iter().find(|place| (place.time_s - mark.time_s).abs() < 1e-6);
                let value = match place {
                    Some(place) if bursts => place.value,
                    _ => trace.at(mark.time_s).unwrap_or(mark.value),
                };
                let beat = ((mark.time_s - panel.time_start_s) / model.period_s).floor().max(0.0);
                Knot {
                    name: Some(mark.name.clone()),
                    beat: beat as usize,
                    was_s: mark.time_s,
                    was: value,
                    time_s: mark.time_s,
                    value,
                    bridge: false,
                    pinned: false,
                }
            };
            let mut knots: Vec<Knot> = marks.map(knot).collect();
            knots.sort_by(|a, b| a.was_s.total_cmp(&b.was_s));
            let (state, absent) = (State::Drawn, BTreeSet::new());
            channels.insert(panel.channel.clone(), ChannelIntent { state, knots, absent });
        }
        let mut events = Vec::new();
        for row in handout.bars().filter(|row| !row.given) {
            let Some(kind) = handout.subject.bar(&row.bar) else { continue };
            let ends = model.events.iter().filter(|e| e.name == kind.from || e.name == kind.to);
            let ends = ends.filter(|e| e.time_s >= row.time_start_s && e.time_s <= row.time_end_s);
            events.extend(ends.map(|event| EventIntent {
                name: event.name.clone(),
                was_s: event.time_s,
                time_s: event.time_s,
            }));
        }
        let mut labels = Vec::new();
        for rule in &handout.convention.rules {
            if let Says::Label { point, accepted } = &rule.says {
                // Most write what they were told, some another word for it.
                let first = chance.often(0.6);
                let other = chance.below(accepted.len());
                let text = accepted[if first { 0 } else { other }].clone();
                labels.push(LabelIntent { point: point.clone(), text, off_mm: 0.0 });
            }
        }
        Self { handout, channels, events, labels }
    }

    fn rule(&self, id: &str) -> Option<&'a Rule> {
        self.handout.convention.rule(id)
    }

    fn ms_per_mm(&self) -> f64 {
        1000.0 / self.handout.mm_per_s
    }

    /// The knot of a point where the key has it at this time.
    fn knot_mut(&mut self, point: &Point, was_s: f64) -> Option<&mut Knot> {
        let channel = self.channels.get_mut(point.channel.as_ref()?)?;
        let knots = channel.knots.iter_mut();
        let mut named = knots.filter(|knot| knot.name.as_ref() == Some(&point.name));
        named.find(|knot| (knot.was_s - was_s).abs() < 1e-6)
    }

    /// When a point is meant that the key has at this time: for what is printed, then.
    pub(crate) fn time_s(&self, point: &Point, was_s: f64) -> Option<f64> {
        let near = |at: f64| (at - was_s).abs() < 1e-6;
        let Some(channel) = &point.channel else {
            let moved = self.events.iter().find(|e| e.name == point.name && near(e.was_s));
            return Some(moved.map_or(was_s, |event| event.time_s));
        };
        let Some(intent) = self.channels.get(channel) else { return Some(was_s) };
        let mut named = intent.knots.iter().filter(|k| k.name.as_ref() == Some(&point.name));
        named.find(|knot| near(knot.was_s)).map(|knot| knot.time_s)
    }

    fn value(&self, point: &Point, was_s: f64, was: f64) -> f64 {
        let intent = point.channel.as_ref().and_then(|channel| self.channels.get(channel));
        let knots = intent.into_iter().flat_map(|intent| &intent.knots);
        let mut named = knots.filter(|knot| knot.name.as_ref() == Some(&point.name));
        named.find(|knot| (knot.was_s - was_s).abs() < 1e-6).map_or(was, |knot| knot.value)
    }

    /// Moves a point, and with it the stroke that it is part of.
    fn move_to(&mut self, point: &Point, was_s: f64, time_s: f64, alone: bool) {
        if point.channel.is_none() {
            let found = self.events.iter_mut();
            let mut found = found.filter(|event| event.name == point.name);
            if let Some(event) = found.find(|event| (event.was_s - was_s).abs() < 1e-6) {
                event.time_s = time_s;
            }
            return;
        }
        let Some(knot) = self.knot_mut(point, was_s) else { return };
        let (by, beat) = (time_s - knot.time_s, knot.beat);
        knot.time_s = time_s;
        knot.pinned = true;
        let stroke = self.handout.subject.stroke_of(&point.name);
        let (Some(stroke), false) = (stroke, alone) else { return };
        let channel = self.channels.get_mut(&stroke.channel);
        let knots = channel.into_iter().flat_map(|channel| &mut channel.knots);
        for knot in knots.filter(|knot| knot.beat == beat && (knot.was_s - was_s).abs() > 1e-6) {
            if knot.name.as_ref().is_some_and(|name| stroke.landmarks.contains(name)) {
                knot.time_s += by;
            }
        }
    }

    /// Makes a mistake.
    pub(crate) fn err(&mut self, mistake: &Mistake) {
        match mistake {
            Mistake::Shifted { rule, off_mm } => {
                let off = off_mm * self.ms_per_mm() / 1000.0;
                self.retime(rule, |[low, high]| match (low, high) {
                    (_, Some(high)) if off > 0.0 => high + off,
                    (Some(low), _) => low - off.abs(),
                    (None, Some(high)) => high + off.abs(),
                    (None, None) => off,
                });
            }
            Mistake::Swapped { rule } => {
                let tolerance = self.rule(rule).map_or(1.0, |rule| rule.tolerance.mm);
                let clear = (tolerance + 1.0) * self.ms_per_mm() / 1000.0;
                self.retime(rule, |[low, high]| match (low, high) {
                    (Some(low), _) if low >= 0.0 => -low.max(clear),
                    (_, Some(high)) if high <= 0.0 => (-high).max(clear),
                    _ => -clear,
                });
            }
            Mistake::Lifted { rule, off_mm } => self.lift(rule, *off_mm),
            Mistake::OffLevel { rule, off_mm } => self.off_level(rule, *off_mm),
            Mistake::Misshapen { rule, by_mm } => self.misshape(rule, *by_mm),
            Mistake::Absent { rule } => {
                let point = self.rule(rule).and_then(|rule| rule.says.points().first().copied());
                if let Some(point) = point {
                    self.leave_out(point);
                }
            }
            Mistake::Stretched { stroke, times } => self.stretch(stroke, *times),
            Mistake::Flat { channel } => self.set_state(channel, State::Flat),
            Mistake::LeftOut { channel } => self.set_state(channel, State::LeftOut),
            Mistake::Unlabelled { rule } => {
                if let Some(index) = self.label_of(rule) {
                    self.labels.remove(index);
                }
            }
            Mistake::Mislabelled { rule, text } => {
                if let Some(index) = self.label_of(rule) {
                    self.labels[index].text.clone_from(text);
                }
            }
            Mistake::LabelOff { rule, off_mm } => {
                if let Some(index) = self.label_of(rule) {
                    self.labels[index].off_mm = *off_mm;
                }
            }
        }
    }

    fn label_of(&self, rule: &str) -> Option<usize> {
        let Says::Label { point, .. } = &self.rule(rule)?.says else { return None };
        self.labels.iter().position(|label| label.point == *point)
    }

    fn set_state(&mut self, channel: &str, state: State) {
        if let Some(intent) = self.channels.get_mut(channel) {
            intent.state = state;
            let names = intent.knots.drain(..).filter_map(|knot| knot.name);
            intent.absent.extend(names);
        }
    }

    /// Moves what a rule about time places, so that it is later by what `target` makes of the
    /// window, in seconds, than what it is placed by.
    fn retime(&mut self, rule: &str, target: impl Fn([Option<f64>; 2]) -> f64) {
        let Some(Rule { says: Says::Timing { point, timing }, .. }) = self.rule(rule) else {
            return;
        };
        for beat in beats(self.handout.model, self.handout.subject) {
            let (to, window) = match timing {
                Relative::Offset { to, window, .. } => {
                    (to, window.map(|side| side.map(|ms| ms / 1000.0)))
                }
                Relative::Between { from, to, shares, .. } => {
                    let ends =
                        [from, to].map(|p| self.time_s(p, beat.time_s(p).unwrap_or(f64::NAN)));
                    let [Some(start), Some(end)] = ends else { continue };
                    (from, shares.map(|share| Some(share * (end - start))))
                }
            };
            let (Some(was), Some(to_was)) = (beat.time_s(point), beat.time_s(to)) else { continue };
            let (Some(at), Some(to_at)) = (self.time_s(point, was), self.time_s(to, to_was)) else {
                continue;
            };
            let later = target(window);
            let stroke = |p: &Point| self.handout.subject.stroke_of(&p.name).map(|s| s.id.as_str());
            let alone = stroke(point).is_some() && stroke(point) == stroke(to);
            if self.handout.asks_for(point) == Some(true) {
                self.move_to(point, was, to_at + later, alone);
            } else if matches!(timing, Relative::Offset { .. }) {
                self.move_to(to, to_was, at - later, alone);
            }
        }
        self.settle();
    }

    fn mm_per_unit(&self, channel: Option<&String>) -> f64 {
        let panel = channel.and_then(|channel| self.handout.panel(channel));
        panel.map_or(1.0, super::form::Panel::mm_per_unit)
    }

    fn lift(&mut self, rule: &str, off_mm: f64) {
        let Some(Rule { says: Says::Height { point, height }, .. }) = self.rule(rule) else {
            return;
        };
        let off = off_mm / self.mm_per_unit(point.channel.as_ref());
        for beat in beats(self.handout.model, self.handout.subject) {
            let value = |p: &Point| beat.get(p).map(|at| self.value(p, at.time_s, at.value));
            let (to, window) = match height {
                Relative::Offset { to, window, .. } => (to, *window),
                Relative::Between { from, to, shares, .. } => {
                    let (Some(low), Some(high)) = (value(from), value(to)) else { continue };
                    (from, shares.map(|share| Some(share * (high - low))))
                }
            };
            let (Some(was), Some(to)) = (beat.get(point), value(to)) else { continue };
            let target = match (window[0], window[1]) {
                (_, Some(high)) if off > 0.0 => high + off,
                (Some(low), _) => low - off.abs(),
                (None, Some(high)) => high + off.abs(),
                (None, None) => off,
            };
            let stroke = self.handout.subject.stroke_of(&point.name);
            let burst = stroke.filter(|stroke| stroke.burst.is_some());
            let turned = self.still_turning(point, was.time_s, to + target);
            let Some(knot) = self.knot_mut(point, was.time_s) else { continue };
            let beat = knot.beat;
            // A burst is at least some height above nothing.
            let least = if burst.is_some() { 0.05 } else { f64::NEG_INFINITY };
            let value = turned.max(least);
            knot.value = value;
            let channel = burst.and_then(|stroke| self.channels.get_mut(&stroke.channel));
            for knot in channel.into_iter().flat_map(|channel| &mut channel.knots) {
                let named =
                    |s: &StrokeKind| knot.name.as_ref().is_some_and(|n| s.landmarks.contains(n));
                if knot.beat == beat && burst.is_some_and(named) {
                    knot.value = value;
                }
            }
        }
    }

    /// The height nearest to `value` at which a peak is still one and a trough still a trough:
    /// where it passed its neighbours, what is drawn would have its turn elsewhere.
    fn still_turning(&self, point: &Point, was_s: f64, value: f64) -> f64 {
        use cycle::FeatureShape::{Peak, Trough};
        let own = || {
            let channel = point.channel.as_ref()?;
            let shape =
                self.handout.subject.landmark(&point.name)?.feature_on(channel).map(|f| f.shape)?;
            if self.handout.has_bursts(channel) {
                return None;
            }
            let knots = &self.channels.get(channel)?.knots;
            let here = knots.iter().position(|knot| {
                knot.name.as_ref() == Some(&point.name) && (knot.was_s - was_s).abs() < 1e-6
            })?;
            let clear = CLEAR_MM / self.mm_per_unit(Some(channel));
            let beside = [here.checked_sub(1), Some(here + 1)];
            let beside = beside.into_iter().flatten().filter_map(|at| knots.get(at));
            let heights: Vec<f64> = beside.map(|knot| knot.value).collect();
            let highest = heights.iter().copied().reduce(f64::max)?;
            let lowest = heights.iter().copied().reduce(f64::min)?;
            match shape {
                Peak => Some(value.max(highest + clear)),
                Trough => Some(value.min(lowest - clear)),
                _ => None,
            }
        };
        own().unwrap_or(value)
    }

    /// Adds bends to a trace, at times and heights as they are meant.
    fn bend(&mut self, channel: &str, bends: &[[f64; 2]]) {
        let near = APART_MM * self.ms_per_mm() / 1000.0;
        let Some(trace) = self.handout.model.trace(channel) else { return };
        let Some(intent) = self.channels.get_mut(channel) else { return };
        let Some(first) = intent.knots.first() else { return };
        let mut warp: Vec<[f64; 2]> = vec![[first.time_s, first.was_s]];
        warp.extend(intent.knots[1..].iter().map(|knot| [knot.time_s, knot.was_s]));
        let back = Monotone::new(warp);
        for &[time_s, value] in bends {
            let close = intent.knots.iter_mut().find(|knot| (knot.time_s - time_s).abs() < near);
            if let Some(knot) = close {
                knot.value = value;
                continue;
            }
            let was_s = back.at(time_s);
            let was = trace.at(was_s).unwrap_or(value);
            let place = intent.knots.partition_point(|knot| knot.time_s < time_s);
            let before = place.checked_sub(1).and_then(|index| intent.knots.get(index));
            let (beat, bridge) = before.map_or((0, false), |knot| (knot.beat, knot.bridge));
            let (name, pinned) = (None, true);
            let knot = Knot { name, beat, was_s, was, time_s, value, bridge, pinned };
            intent.knots.insert(place, knot);
        }
    }

    /// What a trace is meant to be at a time, roughly: as the key has it, lifted as its knots are.
    fn height(&self, channel: &str, time_s: f64) -> Option<f64> {
        let trace = self.handout.model.trace(channel)?;
        let knots = &self.channels.get(channel)?.knots;
        let warp = knots.iter().map(|knot| [knot.time_s, knot.was_s]).collect::<Vec<_>>();
        let lift =
            knots.iter().map(|knot| [knot.time_s, knot.value - knot.was]).collect::<Vec<_>>();
        if warp.is_empty() {
            return None;
        }
        let value = trace.at(Monotone::new(warp).at(time_s))?;
        Some(value + Monotone::new(lift).at(time_s))
    }

    fn off_level(&mut self, rule: &str, off_mm: f64) {
        let Some(Rule { says: Says::Level { channel, at, level }, .. }) = self.rule(rule) else {
            return;
        };
        let off = off_mm / self.mm_per_unit(Some(channel));
        let mut bends = Vec::new();
        for beat in beats(self.handout.model, self.handout.subject) {
            let Some(was_s) = beat.time_s(at) else { continue };
            let Some(time_s) = self.time_s(at, was_s) else { continue };
            let level = match level {
                Level::Of(point) => {
                    let Some(place) = beat.get(point) else { continue };
                    self.value(point, place.time_s, place.value)
                }
                Level::Baseline => {
                    let Some(value) = self.height(channel, time_s) else { continue };
                    value
                }
            };
            bends.push([time_s, level + off]);
        }
        self.bend(channel, &bends);
    }

    fn misshape(&mut self, rule: &str, by_mm: f64) {
        let Some(Rule { says: Says::Shape { channel, from, to, form }, .. }) = self.rule(rule)
        else {
            return;
        };
        let by = by_mm / self.mm_per_unit(Some(channel));
        let all = beats(self.handout.model, self.handout.subject);
        let mut bends = Vec::new();
        for (index, beat) in all.iter().enumerate() {
            let ends = [from, to].map(|p| beat.time_s(p).and_then(|was| self.time_s(p, was)));
            let [Some(start), Some(mut end)] = ends else { continue };
            if end < start {
                let next = all.get(index + 1).and_then(|beat| beat.time_s(to));
                let Some(next) = next.and_then(|was| self.time_s(to, was)) else { continue };
                end = next;
            }
            let at = |share: f64| start + share * (end - start);
            let height = |share: f64| self.height(channel, at(share));
            match form {
                Form::Flat => bends.extend(height(0.5).map(|h| [at(0.5), h + by])),
                Form::Rising | Form::Falling => {
                    let sign = if *form == Form::Rising { 1.0 } else { -1.0 };
                    let (Some(a), Some(b)) = (height(0.4), height(0.65)) else { continue };
                    let middle = f64::midpoint(a, b);
                    bends.push([at(0.4), middle + sign * by / 2.0]);
                    bends.push([at(0.65), middle - sign * by / 2.0]);
                }
            }
        }
        self.bend(channel, &bends);
    }

    fn stretch(&mut self, stroke: &str, times: f64) {
        let mut strokes = self.handout.subject.strokes.iter();
        let Some(stroke) = strokes.find(|kind| kind.id == stroke) else { return };
        let Some(intent) = self.channels.get_mut(&stroke.channel) else { return };
        let last = stroke.landmarks.last();
        for index in 0..intent.knots.len() {
            let knot = &intent.knots[index];
            let part = knot.name.as_ref().is_some_and(|name| stroke.landmarks.contains(name));
            if !part || knot.name.as_ref() == stroke.landmarks.first() {
                continue;
            }
            let start = intent.knots.iter().find(|other| {
                other.beat == knot.beat && other.name.as_ref() == stroke.landmarks.first()
            });
            let Some(start) = start.map(|start| start.time_s) else { continue };
            let is_last = knot.name.as_ref() == last;
            let knot = &mut intent.knots[index];
            knot.time_s = start + times * (knot.time_s - start);
            knot.pinned = is_last;
        }
        self.settle();
    }

    /// Leaves a landmark out, with its stroke; or, where it belongs to none, with the turn back
    /// that makes it one.
    fn leave_out(&mut self, point: &Point) {
        let Some(channel) = &point.channel else { return };
        let stroke = self.handout.subject.stroke_of(&point.name);
        let bursts = self.handout.has_bursts(channel);
        let side = self.handout.panel(channel).and_then(|panel| {
            let at_s = panel.time_start_s;
            let value = self.handout.model.trace(channel)?.at(at_s)?;
            Some(Knot {
                name: None,
                beat: 0,
                was_s: at_s,
                was: value,
                time_s: at_s,
                value,
                bridge: true,
                pinned: true,
            })
        });
        let Some(intent) = self.channels.get_mut(channel) else { return };
        let names: Vec<String> =
            match stroke {
                Some(stroke) => stroke.landmarks.iter().chain(&stroke.centre).cloned().collect(),
                None => {
                    let sequences = &self.handout.subject.sequences;
                    let own = sequences.iter().find(|names| names.contains(&point.name));
                    let own = own.map_or(&[][..], Vec::as_slice);
                    let drawn = |name: &&String| {
                        intent.knots.iter().any(|knot| knot.name.as_ref() == Some(name))
                    };
                    let own: Vec<&String> = own.iter().filter(drawn).collect();
                    let here = own.iter().position(|name| **name == point.name);
                    // A wave goes with the trough before it, and a trough with the wave after it.
                    let last = sequences.iter().any(|names| names.last() == Some(&point.name));
                    let pair = here.and_then(|at| {
                        if last { own.get(at.wrapping_sub(1)) } else { own.get(at + 1) }
                    });
                    std::iter::once(point.name.clone()).chain(pair.map(|n| (*n).clone())).collect()
                }
            };
        let out = |knot: &Knot| knot.name.as_ref().is_some_and(|name| names.contains(name));
        let first = stroke.and_then(|stroke| stroke.landmarks.first());
        let last = stroke.and_then(|stroke| stroke.landmarks.last());
        let mut kept: Vec<Knot> = Vec::new();
        let is_first = |knot: &&Knot| knot.name.as_ref() == names.first();
        let gone: Vec<Knot> = intent.knots.iter().filter(is_first).cloned().collect();
        for mut knot in std::mem::take(&mut intent.knots) {
            if !out(&knot) {
                kept.push(knot);
                continue;
            }
            let name = knot.name.take();
            // The ends of a wave stay as places between which the line runs level.
            let [begins, ends] = [first, last].map(|end| end.is_some() && name.as_ref() == end);
            intent.absent.extend(name);
            if bursts {
                continue;
            }
            if begins || ends {
                knot.bridge = begins;
                kept.push(knot);
            } else if stroke.is_none() {
                // Where nothing stands before it, the line runs on from the panel's side.
                if kept.is_empty() {
                    kept.extend(side.clone());
                }
                if let Some(before) = kept.last_mut() {
                    before.bridge = true;
                }
            }
        }
        intent.knots = kept;
        if let [first, _] = names.as_slice() {
            let subject = self.handout.subject;
            let feature = |name: &str| subject.landmark(name)?.feature_on(channel);
            let first_peak = feature(first).filter(|f| f.shape == FeatureShape::Peak);
            if first_peak.is_some_and(|feature| !feature.optional) {
                intent.left_alone(first, &gone, &|name| {
                    feature(name).is_some_and(|f| f.shape == FeatureShape::Peak && f.optional)
                });
            }
        }
    }

    /// Puts everything a little beside where it is meant.
    pub(crate) fn misplace(&mut self, placing_mm: f64, chance: &mut Chance) {
        let s_per_mm = self.ms_per_mm() / 1000.0;
        for (channel, intent) in &mut self.channels {
            let unit = self.handout.panel(channel).map_or(1.0, super::form::Panel::mm_per_unit);
            let times: Vec<f64> = intent.knots.iter().map(|knot| knot.time_s).collect();
            for (index, knot) in intent.knots.iter_mut().enumerate() {
                let before = index.checked_sub(1).map(|before| times[index] - times[before]);
                let after = times.get(index + 1).map(|after| after - times[index]);
                let room = before.into_iter().chain(after).fold(f64::INFINITY, f64::min);
                let by = [chance.normal(), chance.normal()];
                if knot.name.is_some() {
                    knot.time_s += by[0] * (placing_mm * s_per_mm).min(0.25 * room.max(0.0));
                    knot.value += by[1] * placing_mm * 0.7 / unit;
                }
            }
        }
        for event in &mut self.events {
            event.time_s += chance.normal() * placing_mm * s_per_mm;
        }
        self.settle();
    }

    /// Restores the order of each trace's landmarks: what a mistake has moved stays, its
    /// neighbours make room.
    fn settle(&mut self) {
        let apart = APART_MM * self.ms_per_mm() / 1000.0;
        for (channel, intent) in &mut self.channels {
            let Some(panel) = self.handout.panel(channel) else { continue };
            let knots = &mut intent.knots;
            let room = |a: &Knot, b: &Knot| apart.min(0.5 * (b.was_s - a.was_s));
            for index in 1..knots.len() {
                let least = knots[index - 1].time_s + room(&knots[index - 1], &knots[index]);
                if knots[index].time_s < least && !knots[index].pinned {
                    knots[index].time_s = least;
                }
            }
            for index in (1..knots.len()).rev() {
                let most = knots[index].time_s - room(&knots[index - 1], &knots[index]);
                if knots[index - 1].time_s > most {
                    knots[index - 1].time_s = most;
                }
            }
            for index in 1..knots.len() {
                let least = knots[index - 1].time_s + room(&knots[index - 1], &knots[index]);
                knots[index].time_s = knots[index].time_s.max(least);
            }
            knots.retain(|knot| {
                knot.time_s >= panel.time_start_s - 1e-9 && knot.time_s <= panel.time_end_s + 1e-9
            });
        }
    }
}
