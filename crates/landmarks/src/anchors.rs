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

/// How long the flank of an anchor lasts at most, seconds.
const FLANK_S: f64 = 0.05;

/// How tall a peak is on either side, and how steep: in one go, or within the time that an anchor's
/// flank takes, since a flank that was drawn in several strokes goes up in steps.
fn flanks(joint: &Joint, grid: &Grid) -> [[f64; 2]; 2] {
    let top = grid.index(joint.time_s);
    let far = (FLANK_S / grid.step_s) as usize;
    let sides = [top.saturating_sub(far)..top + 1, top..(top + far + 1).min(grid.smooth.len())];
    let mut flanks = [[0.0; 2]; 2];
    for (side, range) in sides.into_iter().enumerate() {
        let lowest = grid.smooth[range.clone()].iter().copied().fold(f64::MAX, f64::min);
        let steepest = grid.slope[range].iter().map(|slope| slope.abs()).fold(0.0, f64::max);
        flanks[0][side] = joint.moves[side].max(grid.smooth[top] - lowest);
        flanks[1][side] = joint.steep[side].max(steepest);
    }
    flanks
}

/// A peak's strength: tall on both sides, and steep.
fn strength(joint: &Joint, grid: &Grid) -> f64 {
    let [tall, steep] = flanks(joint, grid);
    (tall[0] * tall[1]).sqrt() * (steep[0] * steep[1]).sqrt().sqrt()
}

/// Finds the anchors among a reference channel's joints.
pub(crate) fn anchors(joints: &[Joint], grid: &Grid) -> Vec<Anchor> {
    let peak = |joint: &Joint| joint.before == Way::Rise && joint.after == Way::Fall;
    let tall = |joint: &Joint| {
        let [tall, _] = flanks(joint, grid);
        tall[0].min(tall[1]) > 0.15 * grid.height
    };
    let mut peaks: Vec<(usize, f64)> = (0..joints.len())
        .filter(|&index| peak(&joints[index]) && tall(&joints[index]))
        .map(|index| (index, strength(&joints[index], grid)))
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
pub(crate) fn exchanged(
    anchors: &[Anchor],
    joints: &[Joint],
    grid: &Grid,
) -> Vec<(Vec<Anchor>, f64)> {
    let mut others = Vec::new();
    for (place, anchor) in anchors.iter().enumerate() {
        let Some(own) = anchor.joint else { continue };
        for (index, joint) in joints.iter().enumerate() {
            let near = (joint.time_s - anchor.time_s).abs() < EXCHANGE_S;
            let peak = joint.before == Way::Rise && joint.after == Way::Fall;
            let share = strength(joint, grid) / strength(&joints[own], grid);
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

#[cfg(test)]
mod tests {
    use super::{Anchor, anchors};
    use crate::curve::Grid;
    use crate::joints::joints;
    use crate::{Curve, Form};

    /// Along an alignment line the strokes of a QRS complex are read in steps.
    #[test]
    fn a_peak_with_steps_in_its_flanks_is_an_anchor_like_the_others() {
        let clean = |t: f64| (1.0 - t.abs() / 0.02).max(0.0);
        let stepped = |t: f64| match t.abs() {
            near if near < 0.006 => 1.0 - 0.3 * near / 0.006,
            near if near < 0.016 => 0.7,
            far => (0.7 * (1.0 - (far - 0.016) / 0.014)).max(0.0),
        };
        let points = (0..1600).map(|n| {
            let t = f64::from(n) / 1000.0;
            [t, stepped(t - 0.4) + clean(t - 1.2)]
        });
        let curve = Curve {
            channel: String::new(),
            points: points.collect(),
            unknown: Vec::new(),
            noise: 1e-4,
            resolution_s: 0.001,
            form: Form::Line,
            bursts: Vec::new(),
        };
        let grid = Grid::new(&curve).expect("a grid");
        let found: Vec<f64> =
            anchors(&joints(&grid), &grid).iter().map(|anchor: &Anchor| anchor.time_s).collect();
        assert!(
            matches!(found[..], [a, b] if (a - 0.4).abs() < 0.01 && (b - 1.2).abs() < 0.01),
            "{found:?}"
        );
    }
}
