//! Bursts about a baseline, such as heart sounds, and which of them is which.

use cycle::{StrokeKind, Subject};

use crate::agree::{Seen, agreed};
use crate::anchors::Anchor;
use crate::chain::{Candidate, Place, Seat, solve};
use crate::costs::Costs;
use crate::curve::{Drawn, Form, Grid, median};
use crate::expect::{Guide, time_cost};
use crate::joints::turns;
use crate::line::{GUESSED, Slot};
use crate::{Found, Missing};

/// A burst: from when to when it lasts, and how high it is.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Burst {
    pub(crate) start_s: f64,
    pub(crate) end_s: f64,
    pub(crate) height: f64,
    /// How much of its height stands out of what is around it.
    stands_out: f64,
    /// Whether the curve begins or ends within it.
    cut: [bool; 2],
    /// Which of the bursts it is made of are its first and last.
    parts: [usize; 2],
    /// Heights of all bursts before it, and up to its end.
    before: f64,
    through: f64,
    /// What it costs to take it for one.
    extra: f64,
}

/// Half the longest time between two vibrations of one burst, seconds.
const REACH_S: f64 = 0.012;
/// Between two bursts the outline falls to less than this share of both.
const VALLEY: f64 = 0.55;
/// A burst begins and ends where it has this share of its height.
const BEGINS: f64 = 0.03;
const ENDS: f64 = 0.075;

/// Longest time between a burst's beginning and its being seen, seconds.
const LONGEST_SWELL_S: f64 = 0.005;

/// The bursts of a curve, in the order of time.
pub(crate) fn bursts(grid: &Grid, form: Form) -> Vec<Burst> {
    let base = if form == Form::Envelope { 0.0 } else { median(grid.raw.clone()) };
    let away: Vec<f64> = grid.raw.iter().map(|value| (value - base).abs()).collect();
    let reach = if form == Form::Envelope { 0.004 } else { REACH_S };
    let reach = (reach / grid.step_s).round().max(1.0) as usize;
    let outline = highest_within(&away, reach);
    let top = outline.iter().copied().fold(0.0, f64::max);
    let floor = (4.0 * grid.noise).max(0.04 * top);
    let logs: Vec<f64> = outline.iter().map(|value| libm::log(value.max(floor))).collect();
    let turning = turns(&logs, -libm::log(VALLEY));
    let mut found: Vec<Burst> = Vec::new();
    for (place, &at) in turning.iter().enumerate() {
        let before = place.checked_sub(1).map(|before| turning[before]);
        let after = turning.get(place + 1).copied();
        let lower = |other: Option<usize>| other.is_none_or(|other| logs[other] < logs[at]);
        if !lower(before) || !lower(after) || outline[at] < 1.5 * floor {
            continue;
        }
        let bounds = [before.unwrap_or(0), after.unwrap_or(outline.len() - 1)];
        let around = bounds.map(|bound| outline[bound]);
        let at = (at..=bounds[1].min(at + 2 * reach))
            .fold(at, |top, index| if away[index] > away[top] { index } else { top });
        let burst = Extent { grid, away: &away, bounds, around, height: outline[at], at };
        let before = found.last().map_or(0.0, |burst| burst.through);
        let through = before + outline[at];
        let parts = [found.len(); 2];
        let stands_out = outline[at] - around[0].max(around[1]).min(outline[at]);
        let (start_s, end_s) = (burst.start_s(), burst.end_s());
        let height = outline[at];
        let reach_s = reach as f64 * grid.step_s;
        let cut = [start_s - grid.start_s < reach_s, grid.end_s() - end_s < reach_s];
        found.push(Burst {
            start_s,
            end_s,
            height,
            stands_out,
            cut,
            parts,
            before,
            through,
            extra: 0.0,
        });
    }
    joined(&found)
}

/// Bursts that were measured elsewhere, each also as it may be without what is in doubt at its
/// ends.
pub(crate) fn measured(grid: &Grid, drawn: &[Drawn], costs: &Costs) -> Vec<Burst> {
    let mut through = 0.0;
    let mut whole: Vec<Burst> = Vec::new();
    for (part, one) in drawn.iter().enumerate() {
        let before = through;
        if !one.perhaps {
            through += one.height;
        }
        let (start_s, end_s, height) = (one.start_s, one.end_s, one.height.max(1e-9));
        let cut = [start_s - grid.start_s < EDGE_S, grid.end_s() - end_s < EDGE_S];
        let extra = if one.perhaps { costs.burst_perhaps } else { 0.0 };
        let parts = [part; 2];
        whole.push(Burst {
            start_s,
            end_s,
            height,
            stands_out: height,
            cut,
            parts,
            before,
            through,
            extra,
        });
    }
    let mut all = Vec::new();
    for burst in joined(&whole) {
        all.push(burst);
        let [first, last] = burst.parts;
        let (later, earlier) = (drawn[first].doubt_s[0], drawn[last].doubt_s[1]);
        for [later, earlier] in [[later, 0.0], [0.0, earlier], [later, earlier]] {
            let (start_s, end_s) = (burst.start_s + later, burst.end_s - earlier);
            if later + earlier > 0.0
                && end_s > start_s
                && all
                    .last()
                    .is_none_or(|last: &Burst| (last.start_s, last.end_s) != (start_s, end_s))
            {
                all.push(Burst {
                    start_s,
                    end_s,
                    extra: burst.extra + costs.burst_trimmed,
                    ..burst
                });
            }
        }
    }
    all
}

/// So near to its ends the curve may go on, seconds.
const EDGE_S: f64 = 0.006;

/// Bursts closer than this may be parts of one, as the two valves' sounds are, seconds.
const PARTS_S: f64 = 0.04;

/// The bursts, and pairs of them that may be one.
fn joined(bursts: &[Burst]) -> Vec<Burst> {
    let mut all = Vec::new();
    for (place, burst) in bursts.iter().enumerate() {
        all.push(*burst);
        if let Some(next) = bursts.get(place + 1)
            && next.start_s - burst.end_s < PARTS_S
            // What may be a letter is no part of a sound.
            && burst.extra + next.extra <= 0.0
        {
            all.push(Burst {
                end_s: next.end_s,
                cut: [burst.cut[0], next.cut[1]],
                height: burst.height.max(next.height),
                stands_out: burst.stands_out.max(next.stands_out),
                parts: [burst.parts[0], next.parts[1]],
                through: next.through,
                ..*burst
            });
        }
    }
    all
}

/// The highest value within `reach` samples on either side.
fn highest_within(values: &[f64], reach: usize) -> Vec<f64> {
    let mut highest = Vec::with_capacity(values.len());
    let mut queue = std::collections::VecDeque::new();
    for index in 0..values.len() + reach {
        if let Some(&value) = values.get(index) {
            while queue.back().is_some_and(|&last: &usize| values[last] <= value) {
                queue.pop_back();
            }
            queue.push_back(index);
        }
        if index >= reach {
            while queue.front().is_some_and(|&first| first + 2 * reach < index) {
                queue.pop_front();
            }
            highest.push(queue.front().map_or(0.0, |&first| values[first]));
        }
    }
    highest
}

/// A burst between the valleys around it.
struct Extent<'a> {
    grid: &'a Grid,
    away: &'a [f64],
    bounds: [usize; 2],
    /// How high what is around it reaches.
    around: [f64; 2],
    height: f64,
    at: usize,
}

impl Extent<'_> {
    fn level(&self, share: f64, around: f64) -> f64 {
        let noise = 3.5 * self.grid.noise;
        let quiet = around < 0.1 * self.height;
        let around = if quiet { 0.0 } else { 1.2 * around };
        (share * self.height).max(noise).max(around).min(0.9 * self.height)
    }

    /// When the burst first rises above the level around it.
    fn start_s(&self) -> f64 {
        let level = self.level(BEGINS, self.around[0]);
        // What rings on from before is passed over: the burst begins after the last stretch
        // of quiet before its top.
        let quiet = (REACH_S / self.grid.step_s).round() as usize;
        let mut start = self.at;
        let mut below = 0;
        for index in (self.bounds[0]..=self.at).rev() {
            if self.away[index] >= level {
                (start, below) = (index, 0);
            } else {
                below += 1;
                if below > quiet {
                    break;
                }
            }
        }
        let crossed = self.crossing(start, start.saturating_sub(1), level);
        // It swells like a parabola at first, which is twice as long at four times the height;
        // so it began as long before the level as it takes from there to four times the level.
        let higher = (start..=self.at).find(|&index| self.away[index] >= 4.0 * level);
        let swell = higher.map_or(0.0, |index| {
            self.crossing(index, index.saturating_sub(1), 4.0 * level) - crossed
        });
        crossed - (swell - self.grid.step_s).clamp(0.0, LONGEST_SWELL_S)
    }

    fn end_s(&self) -> f64 {
        let level = self.level(ENDS, self.around[1]);
        let quiet = (REACH_S / self.grid.step_s).round() as usize;
        let mut end = self.at;
        let mut below = 0;
        for index in self.at..=self.bounds[1] {
            if self.away[index] >= level {
                (end, below) = (index, 0);
            } else {
                below += 1;
                if below > quiet {
                    break;
                }
            }
        }
        self.dies_away(end, (end + quiet).min(self.bounds[1]), level)
    }

    /// When the outline, which falls from vibration to vibration, meets the level: between the
    /// last vibration above it and the next.
    fn dies_away(&self, end: usize, until: usize, level: f64) -> f64 {
        let top = |from: usize, to: usize| {
            (from..=to).fold(from, |top, i| if self.away[i] > self.away[top] { i } else { top })
        };
        let back = (0.4 * REACH_S / self.grid.step_s).round() as usize;
        let last = top(end.saturating_sub(back).max(self.bounds[0]), end);
        let valley =
            (end..=until).fold(end, |low, i| if self.away[i] < self.away[low] { i } else { low });
        let next = top(valley, until);
        let (a, b) = (self.away[last], self.away[next]);
        if next <= end || next == until || b < 0.1 * level || a <= b {
            return self.crossing(end, (end + 1).min(self.away.len() - 1), level);
        }
        let share = (libm::log(a / level) / libm::log(a / b)).clamp(0.0, 1.0);
        self.grid.time_s(last as f64 + share * (next - last) as f64)
    }

    /// Where between a sample above the level and one below it the level lies.
    fn crossing(&self, above: usize, below: usize, level: f64) -> f64 {
        let (a, b) = (self.away[above], self.away[below]);
        let share = if a > b { ((a - level) / (a - b)).clamp(0.0, 1.0) } else { 0.0 };
        let place = above as f64 + share * (below as f64 - above as f64);
        self.grid.time_s(place)
    }
}

/// A burst that dies away ends within about half a vibration, seconds.
const END_SPREAD_S: f64 = 0.012;

/// Finds which burst is which in each beat.
pub(crate) struct Sounds<'a> {
    pub(crate) grid: &'a Grid,
    pub(crate) bursts: Vec<Burst>,
    pub(crate) subject: &'a Subject,
    pub(crate) guide: &'a Guide,
    pub(crate) channel: &'a str,
    pub(crate) costs: &'a Costs,
}

impl Sounds<'_> {
    /// The bursts that the subject has on this channel, in the order of a beat.
    fn strokes(&self) -> Vec<&StrokeKind> {
        let on = |stroke: &&StrokeKind| stroke.channel == self.channel && stroke.burst.is_some();
        let mut strokes: Vec<&StrokeKind> = self.subject.strokes.iter().filter(on).collect();
        let early = |stroke: &StrokeKind| {
            let kind = self.subject.landmark(stroke.landmarks.first()?)?;
            Some(kind.feature_on(self.channel)?.usual_ms[0])
        };
        strokes.retain(|stroke| early(stroke).is_some());
        strokes
            .sort_by(|a, b| early(a).unwrap_or_default().total_cmp(&early(b).unwrap_or_default()));
        strokes
    }

    pub(crate) fn find(
        &self,
        anchors: &[(i32, Anchor)],
        found: &mut Vec<Found>,
        missing: &mut Vec<Missing>,
    ) {
        let strokes = self.strokes();
        let mut slots: Vec<(Slot, &StrokeKind)> = Vec::new();
        for &(beat, anchor) in anchors {
            for stroke in &strokes {
                let Some(name) = stroke.landmarks.first() else { continue };
                let kind = self.subject.landmark(name);
                let Some(feature) = kind.and_then(|kind| kind.feature_on(self.channel)) else {
                    continue;
                };
                let beyond =
                    anchor.joint.is_none() && (beat < 0 || beat + 2 >= anchors.len() as i32 - 1);
                let expected = self.guide.get(name);
                let unexpected = !self.guide.is_empty() && expected.is_none();
                let slot = Slot { name, feature, expected, unexpected, beat, anchor, beyond };
                slots.push((slot, stroke));
            }
        }
        let places: Vec<Place> =
            slots.iter().map(|(slot, stroke)| self.place(slot, stroke)).collect();
        let pair = |a: Seat, b: Seat| self.pair(a, b);
        let first = solve(&places, &pair);
        let seen: Vec<Seen<'_>> = slots
            .iter()
            .map(|(slot, _)| Seen {
                name: slot.name,
                beat: slot.beat,
                shown: !slot.beyond && slot.shown(self.grid) > 0.5,
                steady: slot.due().is_some(),
            })
            .collect();
        let at = |k: usize, c: usize| {
            self.bursts[places[k].candidates[c].feature].start_s - slots[k].0.anchor.time_s
        };
        let places = agreed(&places, &first, self.costs, &seen, &at);
        let solution = solve(&places, &pair);
        for (index, (slot, stroke)) in slots.iter().enumerate() {
            let shares = &solution.shares[index];
            let present: f64 = shares.iter().sum();
            let candidates = &places[index].candidates;
            let Some(chosen) = solution.chosen[index] else {
                let shown = slot.shown(self.grid);
                if !slot.beyond && shown > 0.5 {
                    let confidence = (1.0 - present).clamp(0.0, 1.0) * shown;
                    missing.extend(self.names(stroke).into_iter().map(|name| Missing {
                        name,
                        channel: self.channel.to_owned(),
                        beat: slot.beat,
                        confidence,
                    }));
                }
                continue;
            };
            let burst = &self.bursts[candidates[chosen].feature];
            let others = (0..candidates.len()).filter(|&c| c != chosen && shares[c] > 0.01);
            let others: Vec<(&Burst, f64)> =
                others.map(|c| (&self.bursts[candidates[c].feature], shares[c])).collect();
            for name in self.names(stroke) {
                if is_cut(burst, stroke, &name) {
                    continue;
                }
                let time_s = |burst: &Burst| when(burst, stroke, &name);
                let mut alternatives: Vec<(f64, f64)> =
                    others.iter().map(|(burst, share)| (time_s(burst), *share)).collect();
                alternatives.sort_by(|a, b| b.1.total_cmp(&a.1));
                let time_s = time_s(burst);
                let first = stroke.landmarks.first() == Some(&name);
                let known = if self.grid.is_known(time_s) { 1.0 } else { 0.7 };
                let guessed = if slot.beyond { GUESSED } else { 1.0 };
                found.push(Found {
                    name,
                    channel: self.channel.to_owned(),
                    beat: slot.beat,
                    time_s,
                    value: burst.height,
                    confidence: shares[chosen].clamp(0.0, 1.0) * known * guessed,
                    spread_s: self.grid.resolution_s
                        + if first { 2.0 * self.grid.step_s } else { END_SPREAD_S },
                    alternatives,
                });
            }
        }
    }

    /// What can be told of a burst: its first landmark, its last and its centre.
    fn names(&self, stroke: &StrokeKind) -> Vec<String> {
        let first = stroke.landmarks.first();
        let last = stroke.landmarks.last().filter(|_| stroke.landmarks.len() > 1);
        first.into_iter().chain(&stroke.centre).chain(last).cloned().collect()
    }

    fn place(&self, slot: &Slot, stroke: &StrokeKind) -> Place {
        let costs = self.costs;
        let usual = stroke.burst.map_or(0.5, |burst| burst.height);
        let cost = |burst: &Burst| {
            let offset_s = burst.start_s - slot.anchor.time_s;
            let top = self.bursts.iter().map(|burst| burst.height).fold(1e-12, f64::max);
            let off = libm::log(burst.height / top / usual) / costs.burst_height_log;
            let weak = costs.burst_faint * (1.0 - burst.stands_out / burst.height);
            let hidden = if self.grid.is_known(burst.start_s) { 0.0 } else { 1.0 };
            let unexpected = if slot.unexpected { costs.unexpected } else { 0.0 };
            burst.extra
                + time_cost(
                    slot.feature,
                    slot.expected,
                    offset_s,
                    [costs.burst_off, costs.burst_off_s],
                )
                + unexpected
                + if burst.parts[0] == burst.parts[1] { 0.0 } else { costs.burst_joined }
                + costs.burst_height * libm::log(1.0 + off * off)
                + weak
                + costs.hidden * hidden
        };
        let near = self.bursts.iter().enumerate();
        let near = near.filter(|(_, b)| (b.start_s - slot.anchor.time_s).abs() < 1.0);
        let candidates = near
            .map(|(feature, burst)| Candidate { feature, cost: cost(burst) })
            .filter(|candidate| candidate.cost < 9.0);
        Place {
            absent: slot.absent(self.grid, self.costs) * self.costs.burst_absent,
            candidates: candidates.collect(),
        }
    }

    fn pair(&self, a: Seat, b: Seat) -> f64 {
        let top = self.bursts.iter().map(|burst| burst.height).fold(1e-12, f64::max);
        let all = self.bursts.last().map_or(0.0, |burst| burst.through);
        let of = |place: Seat| place.map(|place| &self.bursts[place.1]);
        let (left_out, share) = match (of(a), of(b)) {
            (Some(from), Some(to)) if from.parts[1] >= to.parts[0] => return f64::INFINITY,
            (Some(from), Some(to)) => (to.before - from.through, 1.0),
            (Some(from), None) => (all - from.through, 0.5),
            (None, Some(to)) => (to.before, 0.5),
            (None, None) => (all, 0.5),
        };
        share
            * (self.costs.burst_left_out * left_out.max(0.0) / top)
                .min(self.costs.burst_left_out_most)
    }
}

/// When a stroke's landmark lies in a burst.
fn when(burst: &Burst, stroke: &StrokeKind, name: &str) -> f64 {
    if stroke.centre.as_deref() == Some(name) {
        return f64::midpoint(burst.start_s, burst.end_s);
    }
    let last = stroke.landmarks.len() > 1 && stroke.landmarks.last().is_some_and(|l| l == name);
    if last { burst.end_s } else { burst.start_s }
}

/// Whether a stroke's landmark lies beyond where the curve begins or ends.
fn is_cut(burst: &Burst, stroke: &StrokeKind, name: &str) -> bool {
    if stroke.centre.as_deref() == Some(name) {
        return burst.cut[0] || burst.cut[1];
    }
    let first = stroke.landmarks.first().is_some_and(|l| l == name);
    if first { burst.cut[0] } else { burst.cut[1] }
}
