//! The anchors by which beats are counted: the sharpest tall peaks of the reference channel.

use crate::curve::Grid;
use crate::joints::{Joint, Way};

/// An anchor on the reference channel, or where one is thought to be.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Anchor {
    pub(crate) time_s: f64,
    /// Its joint on the reference channel; none where it only marks the cycle before the curve
    /// begins or after it ends.
    pub(crate) joint: Option<usize>,
    pub(crate) confidence: f64,
}

/// Two anchors are at least this far apart, seconds: 240 beats a minute.
const APART_S: f64 = 0.25;
/// An anchor reaches this share of the usual anchor's strength.
const SHARE: f64 = 0.4;

/// A peak's strength: tall on both sides, and steep.
fn strength(joint: &Joint) -> f64 {
    let tall = (joint.moves[0] * joint.moves[1]).sqrt();
    tall * (joint.steep[0] * joint.steep[1]).sqrt().sqrt()
}

/// Finds the anchors among a reference channel's joints.
pub(crate) fn anchors(joints: &[Joint], grid: &Grid) -> Vec<Anchor> {
    let peak = |joint: &Joint| joint.before == Way::Rise && joint.after == Way::Fall;
    let tall = |joint: &Joint| joint.moves[0].min(joint.moves[1]) > 0.15 * grid.height;
    let mut peaks: Vec<(usize, f64)> = (0..joints.len())
        .filter(|&index| peak(&joints[index]) && tall(&joints[index]))
        .map(|index| (index, strength(&joints[index])))
        .collect();
    let top = peaks.iter().map(|peak| peak.1).fold(0.0, f64::max);
    let strong = peaks.iter().filter(|peak| peak.1 > 0.5 * top).map(|peak| peak.1);
    let usual = crate::curve::median(strong.collect());
    let rejected = peaks.iter().map(|peak| peak.1).filter(|s| *s < SHARE * usual);
    let next = rejected.fold(0.0, f64::max);
    peaks.retain(|peak| peak.1 >= SHARE * usual);
    let mut kept: Vec<(usize, f64)> = Vec::new();
    for peak in peaks {
        match kept.last_mut() {
            Some(last) if joints[peak.0].time_s - joints[last.0].time_s < APART_S => {
                if peak.1 > last.1 {
                    *last = peak;
                }
            }
            _ => kept.push(peak),
        }
    }
    let anchor = |(index, strength): (usize, f64)| {
        let ratio = next / strength;
        let known = grid.is_known(joints[index].time_s);
        let confidence = 1.0 / (1.0 + ratio * ratio * ratio) * if known { 1.0 } else { 0.6 };
        Anchor { time_s: joints[index].time_s, joint: Some(index), confidence }
    };
    kept.into_iter().map(anchor).collect()
}

/// Other anchors that could be meant, and what it costs to mean them: each time one anchor is
/// exchanged for a weaker peak nearby.
pub(crate) fn exchanged(anchors: &[Anchor], joints: &[Joint]) -> Vec<(Vec<Anchor>, f64)> {
    let mut others = Vec::new();
    for (place, anchor) in anchors.iter().enumerate() {
        let Some(own) = anchor.joint else { continue };
        for (index, joint) in joints.iter().enumerate() {
            let near = (joint.time_s - anchor.time_s).abs() < EXCHANGE_S;
            let peak = joint.before == Way::Rise && joint.after == Way::Fall;
            let share = strength(joint) / strength(&joints[own]);
            if index == own || !near || !peak || share < WEAKEST {
                continue;
            }
            let mut set = anchors.to_vec();
            set[place] = Anchor { time_s: joint.time_s, joint: Some(index), ..*anchor };
            if set.is_sorted_by(|a, b| a.time_s + APART_S < b.time_s) {
                others.push((set, -libm::log(share)));
            }
        }
    }
    others
}

/// How far a peak may lie from one that it is exchanged for, seconds, and how strong it is at
/// least, as a share of that one's strength.
const EXCHANGE_S: f64 = 0.4;
const WEAKEST: f64 = 0.08;

/// The anchors with one more on either side, for what belongs to beats that are cut off.
pub(crate) fn with_neighbours(anchors: &[Anchor], period_s: f64) -> Vec<(i32, Anchor)> {
    let (Some(first), Some(last)) = (anchors.first(), anchors.last()) else {
        return Vec::new();
    };
    let beyond = |time_s: f64| Anchor { time_s, joint: None, confidence: 0.0 };
    let mut all = vec![beyond(first.time_s - period_s)];
    all.extend_from_slice(anchors);
    all.push(beyond(last.time_s + period_s));
    all.into_iter().enumerate().map(|(place, anchor)| (place as i32 - 1, anchor)).collect()
}
