//! Landmarks of a line: joints assigned to the landmarks of each beat.

use cycle::{Feature, FeatureShape as Shape, Subject};

use crate::agree::{Seen, agreed};
use crate::anchors::Anchor;
use crate::chain::{Candidate, Place, Seat, Solution, solve};
use crate::costs::Costs;
use crate::curve::Grid;
use crate::expect::{Expected, Guide, time_cost};
use crate::joints::{Joint, Way};
use crate::{Found, Missing};

/// How sure it is at most that a landmark belongs to a beat whose anchor is not shown, since where
/// that lies is a guess; likewise of what lies at the curve's beginning or end, which may go on
/// beyond it.
pub(crate) const GUESSED: f64 = 0.75;
/// So near to its ends the curve may go on, seconds.
const EDGE_S: f64 = 0.01;
/// A nearly level stretch before a rise lasts so long at most, seconds, and goes so far, as a share
/// of the curve's height.
const LEVEL_S: f64 = 0.08;
const NEARLY_LEVEL: f64 = 0.05;

/// What it costs that a point that may last for a while does not, so that its beginning is
/// preferred where there is one.
const HELD: f64 = 1.2;

/// What it costs that a peak is the second of two of which the first is lacking.
const SECOND: f64 = 3.0;

/// What it costs at most that a first peak is not the highest, and by how much it is passed then,
/// as a share of the curve's height.
const HIGHEST: f64 = 4.0;
const PASSED: f64 = 0.04;

/// One landmark of one beat.
pub(crate) struct Slot<'a> {
    pub(crate) name: &'a str,
    pub(crate) feature: &'a Feature,
    pub(crate) expected: Option<&'a Expected>,
    /// Whether a good trace is known not to have it.
    pub(crate) unexpected: bool,
    pub(crate) beat: i32,
    pub(crate) anchor: Anchor,
    /// Whether the cut-off neighbours of the beats shown have this slot.
    pub(crate) beyond: bool,
}

/// The landmarks that one channel has, from first to last in a beat.
pub(crate) fn order<'a>(subject: &'a Subject, channel: &str) -> Vec<(&'a str, &'a Feature)> {
    let on = |name: &'a str| Some((name, subject.landmark(name)?.feature_on(channel)?));
    subject.order_on(channel).into_iter().filter_map(on).collect()
}

/// The slots of all beats, in the order of time.
pub(crate) fn slots<'a>(
    names: &[(&'a str, &'a Feature)],
    guide: &'a Guide,
    anchors: &[(i32, Anchor)],
) -> Vec<Slot<'a>> {
    let of = |&(beat, anchor): &(i32, Anchor)| {
        let slot = move |&(name, feature): &(&'a str, &'a Feature)| Slot {
            name,
            feature,
            expected: guide.get(name),
            unexpected: !guide.is_empty() && !guide.contains_key(name),
            beat,
            anchor,
            beyond: anchor.joint.is_none(),
        };
        names.iter().map(slot).collect::<Vec<_>>()
    };
    anchors.iter().flat_map(of).collect()
}

impl Slot<'_> {
    /// What is expected of it, if that says when.
    pub(crate) fn due(&self) -> Option<&Expected> {
        self.expected.filter(|expected| expected.steady)
    }

    /// From when to when the landmark may be looked for, seconds.
    fn window(&self) -> [f64; 2] {
        let usual = self.feature.usual_ms.map(|ms| ms / 1000.0);
        let [early, late] = match self.due() {
            Some(expected) => [expected.offset_s - 0.2, expected.offset_s + 0.2],
            None => [usual[0] - 0.1, usual[1] + 0.1],
        };
        [self.anchor.time_s + early, self.anchor.time_s + late]
    }

    /// When the landmark is most to be expected, seconds.
    fn likely(&self) -> [f64; 2] {
        let usual = self.feature.usual_ms.map(|ms| ms / 1000.0);
        let [early, late] = match self.due() {
            Some(expected) => [expected.offset_s - 0.03, expected.offset_s + 0.03],
            None => usual,
        };
        [self.anchor.time_s + early, self.anchor.time_s + late]
    }

    /// Share of the time at which it is to be expected that the curve shows.
    pub(crate) fn shown(&self, grid: &Grid) -> f64 {
        let [from, to] = self.likely();
        grid.known_share(from, to)
    }

    pub(crate) fn absent(&self, grid: &Grid, costs: &Costs) -> f64 {
        if self.unexpected {
            return 0.0;
        }
        let lacking = self.feature.optional && self.due().is_none();
        let cost = if lacking { costs.absent_optional } else { costs.absent };
        0.1 + cost * self.shown(grid)
    }
}

/// How a curve goes before and after a landmark of that shape, at best.
fn cost_of_shape(feature: &Feature, joint: &Joint, plateau: f64) -> f64 {
    use Way::{Fall, Level, Rise};
    match (feature.shape, joint.before, joint.after) {
        (Shape::Peak, Rise, Level) | (Shape::Trough, Fall, Level) if feature.held => 0.0,
        (Shape::Peak, Rise, Fall) | (Shape::Trough, Fall, Rise) if feature.held => HELD,
        (Shape::Peak, Rise, Fall) | (Shape::Trough, Fall, Rise) => 0.0,
        (Shape::Peak, Fall, Rise) | (Shape::Trough, Rise, Fall) if feature.inverts => 1.5,
        (Shape::Peak, Rise, Rise) | (Shape::Peak, Fall, Fall) => 2.5,
        (Shape::Trough, Rise, Rise) | (Shape::Trough, Fall, Fall) => 2.5,
        (Shape::Peak, Rise, Level) | (Shape::Peak, Level, Fall) => plateau,
        (Shape::Trough, Fall, Level) | (Shape::Trough, Level, Rise) => plateau,
        (Shape::Onset, Level, Rise | Fall) | (Shape::End, Rise | Fall, Level) => 0.0,
        (Shape::Onset | Shape::End, Rise, Fall) | (Shape::Onset | Shape::End, Fall, Rise) => 1.0,
        (Shape::Onset | Shape::End, Rise, Rise) | (Shape::Onset | Shape::End, Fall, Fall) => 0.8,
        (Shape::Foot, Fall, Rise) | (Shape::TangentFoot, Level, Rise) => 0.8,
        (Shape::Foot, Level, Rise) | (Shape::TangentFoot, Fall, Rise) => 0.0,
        (Shape::Foot | Shape::TangentFoot, Rise, Rise) => 1.0,
        (Shape::Corner, Level, Rise) => 0.0,
        (Shape::Corner, Fall | Rise, Rise) => 0.3,
        _ => f64::INFINITY,
    }
}

/// How far the curve moves at a joint in the way that matters to a landmark.
fn strength(shape: Shape, joint: &Joint) -> f64 {
    match shape {
        Shape::Peak | Shape::Trough => joint.moves[0].min(joint.moves[1]),
        Shape::Onset | Shape::Foot | Shape::TangentFoot | Shape::Corner => joint.moves[1],
        Shape::End => joint.moves[0],
    }
}

/// All that is known of one line.
pub(crate) struct Line<'a> {
    pub(crate) grid: &'a Grid,
    pub(crate) joints: &'a [Joint],
    pub(crate) slots: Vec<Slot<'a>>,
    pub(crate) costs: &'a Costs,
}

impl Line<'_> {
    /// Assigns joints to slots. `anchor` is the name of the landmark that the beats hang from,
    /// where it lies on this line.
    pub(crate) fn read(
        &self,
        channel: &str,
        anchor: Option<&str>,
    ) -> (Vec<Found>, Vec<Missing>, f64) {
        let mut places: Vec<Place> =
            self.slots.iter().map(|slot| self.place(slot, anchor)).collect();
        self.pass(&mut places);
        let pair = |a: Seat, b: Seat| self.pair(a, b);
        let first = solve(&places, &pair);
        let seen: Vec<Seen<'_>> = self
            .slots
            .iter()
            .map(|slot| Seen {
                name: slot.name,
                beat: slot.beat,
                shown: !slot.beyond && slot.shown(self.grid) > 0.5,
                steady: slot.due().is_some(),
            })
            .collect();
        let at = |k: usize, c: usize| {
            self.joints[places[k].candidates[c].feature].time_s - self.slots[k].anchor.time_s
        };
        let places = agreed(&places, &first, self.costs, &seen, &at);
        let solution = solve(&places, &pair);
        let (mut found, mut missing) = (Vec::new(), Vec::new());
        self.report(channel, &places, &solution, &mut found, &mut missing);
        (found, missing, solution.cost)
    }

    fn place(&self, slot: &Slot, anchor: Option<&str>) -> Place {
        if anchor == Some(slot.name)
            && let Some(feature) = slot.anchor.joint
        {
            return Place { absent: 12.0, candidates: vec![Candidate { feature, cost: 0.0 }] };
        }
        let [from, to] = slot.window();
        let first = self.joints.partition_point(|joint| joint.time_s < from);
        let near = self.joints[first..].iter().take_while(|joint| joint.time_s <= to);
        let mut candidates: Vec<Candidate> = near
            .enumerate()
            .map(|(place, joint)| Candidate {
                feature: first + place,
                cost: self.cost(slot, joint) + self.early(slot, first + place),
            })
            .filter(|candidate| candidate.cost < 9.0)
            .collect();
        candidates.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        candidates.truncate(12);
        candidates.sort_by_key(|candidate| candidate.feature);
        Place { absent: slot.absent(self.grid, self.costs), candidates }
    }

    fn cost(&self, slot: &Slot, joint: &Joint) -> f64 {
        let offset_s = joint.time_s - slot.anchor.time_s;
        let least = (2.0 * crate::joints::least(self.grid)).max(0.004 * self.grid.height);
        let costs = self.costs;
        let weak = costs.weak * least / (least + strength(slot.feature.shape, joint));
        let hidden = if self.grid.is_known(joint.time_s) { 0.0 } else { 1.0 };
        let unexpected = if slot.unexpected { costs.unexpected } else { 0.0 };
        let beyond = if slot.beyond { costs.beyond } else { 0.0 };
        time_cost(slot.feature, slot.expected, offset_s, [costs.off, costs.off_s])
            + beyond
            + unexpected
            + costs.shape * cost_of_shape(slot.feature, joint, costs.plateau)
            + weak
            + costs.hidden * hidden
            + self.level(slot, joint)
    }

    /// What it costs that a joint is higher or lower than expected.
    fn level(&self, slot: &Slot, joint: &Joint) -> f64 {
        let Some(expected) = slot.due() else { return 0.0 };
        let off = (joint.value - expected.value) / (self.costs.value_share * self.grid.height);
        self.costs.value * libm::log(1.0 + off * off)
    }

    /// What it costs to see the beginning of a rise where the curve goes on nearly level to another
    /// joint and rises only from there.
    fn early(&self, slot: &Slot, index: usize) -> f64 {
        let rises = matches!(slot.feature.shape, Shape::Foot | Shape::TangentFoot | Shape::Corner);
        let (joint, next) = (&self.joints[index], self.joints.get(index + 1));
        let goes_on = next.is_some_and(|next| {
            next.after == Way::Rise
                && next.time_s - joint.time_s < LEVEL_S
                && (next.value - joint.value).abs() < NEARLY_LEVEL * self.grid.height
                && next.moves[1] > 2.0 * (next.value - joint.value).abs()
        });
        if rises && goes_on { self.costs.early } else { 0.0 }
    }

    /// What it costs that one landmark follows another with none between them.
    fn pair(&self, a: Seat, b: Seat) -> f64 {
        let height = self.grid.height;
        let (Some((j, from)), Some((k, to))) = (a, b) else {
            // Before the first and after the last landmark lies what other beats have.
            let travelled = |index: usize| self.joints[index].travelled;
            let last = self.joints.last().map_or(0.0, |joint| joint.travelled);
            let movement = match (a, b) {
                (None, Some((_, to))) => travelled(to),
                (Some((_, from)), None) => last - travelled(from),
                _ => last,
            };
            let cut = match (a, b) {
                (None, Some((k, _))) => self.slots[k].feature.shape == Shape::End,
                (Some((j, _)), None) => self.slots[j].feature.shape == Shape::Onset,
                _ => false,
            };
            let broken = if cut { 0.5 * self.costs.broken } else { 0.0 };
            return self.costs.ends * self.unexplained(movement) + broken;
        };
        let (first, second) = (&self.slots[j], &self.slots[k]);
        let (from, to) = (&self.joints[from], &self.joints[to]);
        let shapes = (first.feature.shape, second.feature.shape);
        if std::ptr::eq(from, to) {
            let shared = shapes == (Shape::End, Shape::Onset) && k == j + 1;
            return if shared { 0.5 } else { f64::INFINITY };
        }
        let change = to.value - from.value;
        let movement = to.travelled - from.travelled - self.explained(shapes, a, b);
        // What has no name mostly lies after a beat's last landmark.
        let share = if first.beat == second.beat { 1.0 } else { self.costs.next_beat };
        let mut cost = share * self.unexplained(movement.max(0.0));
        let turned = first.feature.inverts || second.feature.inverts;
        cost += self.direction(shapes, change).min(if turned { 0.7 } else { 9.0 });
        cost += self.broken(j, k) + self.second(j, k);
        if let (Some(e), Some(f)) = (first.due(), second.due())
            && first.beat == second.beat
        {
            let usual = f.offset_s - e.offset_s;
            let off = (to.time_s - from.time_s - usual) / (self.costs.apart_share * usual + 0.02);
            cost += self.costs.apart * libm::log(1.0 + off * off);
            let usual = f.value - e.value;
            let off = (change - usual) / (self.costs.change_share * usual.abs() + 0.04 * height);
            cost += self.costs.change * libm::log(1.0 + off * off);
        }
        cost
    }

    /// Whether slots `first` to `first + 2` are a peak, and a trough and a second peak that may be
    /// lacking, of one beat.
    fn is_double(&self, first: usize) -> bool {
        let Some([a, b, c]) = self.slots.get(first..first + 3) else { return false };
        let shapes = [a, b, c].map(|slot| (slot.feature.shape, slot.feature.optional));
        shapes == [(Shape::Peak, false), (Shape::Trough, true), (Shape::Peak, true)]
            && a.beat == c.beat
    }

    /// What it costs to see the second of two peaks where neither the first nor the trough between
    /// them is: a single one is the first, unless that may as well be lacking.
    fn second(&self, j: usize, k: usize) -> f64 {
        if k >= j + 3 && self.is_double(k - 2) { SECOND } else { 0.0 }
    }

    /// Adds what it costs that a first peak is passed by the curve before the second is due: the
    /// systolic peak is the highest pressure of its beat, and a dent before it is no notch.
    fn pass(&self, places: &mut [Place]) {
        for first in (0..places.len()).filter(|&first| self.is_double(first)) {
            let second = &self.slots[first + 2];
            let Some(due) = second.due() else { continue };
            let until = second.anchor.time_s + due.offset_s;
            for candidate in &mut places[first].candidates {
                let joint = &self.joints[candidate.feature];
                let later = self.joints.iter();
                let later = later.filter(|other| (joint.time_s..until).contains(&other.time_s));
                let highest = later.map(|other| other.value).fold(joint.value, f64::max);
                let share = (highest - joint.value) / (PASSED * self.grid.height);
                candidate.cost += HIGHEST * share.min(1.0);
            }
        }
    }

    /// What it costs that a wave has a beginning or an end and nothing between them.
    fn broken(&self, j: usize, k: usize) -> f64 {
        let shape = |place: usize| self.slots[place].feature.shape;
        let skips = |wanted: Shape| (j + 1..k).any(|place| shape(place) == wanted);
        match (shape(j), shape(k)) {
            (Shape::Onset, Shape::Onset | Shape::End) | (Shape::End, Shape::End) => {
                self.costs.broken
            }
            (Shape::Onset, _) if skips(Shape::End) => self.costs.broken,
            (_, Shape::End) if skips(Shape::Onset) => self.costs.broken,
            (Shape::Peak | Shape::Trough, Shape::Onset) if skips(Shape::End) => {
                0.5 * self.costs.broken
            }
            (Shape::End, Shape::Peak | Shape::Trough) if skips(Shape::Onset) => {
                0.5 * self.costs.broken
            }
            _ => 0.0,
        }
    }

    /// The movement that two joints of those shapes account for: the way from the one to the
    /// other, by one valley between two peaks, and by one hill between two troughs.
    fn explained(&self, shapes: (Shape, Shape), a: Seat, b: Seat) -> f64 {
        let (Some((_, a)), Some((_, b))) = (a, b) else { return 0.0 };
        let (from, to) = (self.joints[a].value, self.joints[b].value);
        let values = self.joints[a..=b].iter().map(|joint| joint.value);
        match shapes {
            (Shape::Peak, Shape::Peak) => from + to - 2.0 * values.fold(from, f64::min),
            (Shape::Trough, Shape::Trough) => 2.0 * values.fold(from, f64::max) - from - to,
            _ => (to - from).abs(),
        }
    }

    /// What was found and what is missing.
    fn report(
        &self,
        channel: &str,
        places: &[Place],
        solution: &Solution,
        found: &mut Vec<Found>,
        missing: &mut Vec<Missing>,
    ) {
        for (index, slot) in self.slots.iter().enumerate() {
            let shares = &solution.shares[index];
            let candidates = &places[index].candidates;
            let time = |c: usize| self.time_s(slot, &self.joints[candidates[c].feature]);
            let present: f64 = shares.iter().sum();
            let Some(chosen) = solution.chosen[index] else {
                let shown = slot.shown(self.grid);
                if !slot.beyond && shown > 0.5 {
                    missing.push(Missing {
                        name: slot.name.to_owned(),
                        channel: channel.to_owned(),
                        beat: slot.beat,
                        confidence: (1.0 - present).clamp(0.0, 1.0) * shown,
                    });
                }
                continue;
            };
            let joint = &self.joints[candidates[chosen].feature];
            let time_s = time(chosen);
            let same = |other: f64| (other - time_s).abs() <= 1.5 * self.grid.resolution_s;
            let near = (0..candidates.len()).filter(|&c| same(time(c)));
            let mut confidence: f64 = near.map(|c| shares[c]).sum();
            if slot.anchor.joint.is_some() {
                confidence = confidence.min(slot.anchor.confidence);
            }
            let edge = [self.grid.start_s, self.grid.end_s()];
            let at_edge = edge.iter().any(|edge| (time_s - edge).abs() < EDGE_S);
            if slot.beyond && at_edge {
                // Of a beat that is not shown, the landmark itself may lie outside.
                continue;
            }
            if slot.beyond || at_edge {
                confidence *= GUESSED;
            }
            let others = (0..candidates.len()).filter(|&c| !same(time(c)) && shares[c] > 0.01);
            let mut alternatives: Vec<(f64, f64)> = others.map(|c| (time(c), shares[c])).collect();
            alternatives.sort_by(|a, b| b.1.total_cmp(&a.1));
            let hidden = if self.grid.is_known(time_s) { 0.0 } else { 0.01 };
            found.push(Found {
                name: slot.name.to_owned(),
                channel: channel.to_owned(),
                beat: slot.beat,
                time_s,
                value: self.grid.at(time_s),
                confidence: confidence.clamp(0.0, 1.0),
                spread_s: joint.spread_s + hidden,
                alternatives,
            });
        }
    }

    fn time_s(&self, slot: &Slot, joint: &Joint) -> f64 {
        match slot.feature.shape {
            Shape::TangentFoot => joint.tangent_s,
            _ if slot.feature.held => joint.reached_s,
            _ => joint.time_s,
        }
    }

    /// What it costs that the curve moves where no landmark explains it.
    fn unexplained(&self, movement: f64) -> f64 {
        let share = movement / self.grid.height;
        (self.costs.unexplained * share.sqrt()).min(self.costs.unexplained_most)
    }

    /// What it costs that the curve goes another way than two landmarks' shapes have it.
    fn direction(&self, (first, second): (Shape, Shape), change: f64) -> f64 {
        let rank = |shape: Shape| -> i32 {
            match shape {
                Shape::Peak => 1,
                Shape::Trough => -1,
                _ => 0,
            }
        };
        match (rank(second) - rank(first)).signum() * (change.signum() as i32) {
            1 => 0.0,
            -1 => self.costs.against,
            _ => {
                let most = self.costs.level_change;
                (most * change.abs() / self.grid.height).min(0.5 * most)
            }
        }
    }
}
