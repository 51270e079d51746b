//! Waves that come without the rest of their beat, and waves that are none but restlessness.

use cycle::Subject;

use crate::Found;
use crate::anchors::Anchor;
use crate::curve::{Grid, median};
use crate::joints::{Joint, Way};

/// Beats from which on it can be told whether waves come regularly, and how regular that is.
const ENOUGH: usize = 4;
const REGULAR_S: f64 = 0.02;

/// The landmarks of waves that the subject calls free and that are none: they neither rise from
/// a level nor come regularly before their beat's anchor.
pub(crate) fn restless<'a>(
    found: &[Found],
    subject: &'a Subject,
    joints: &[Joint],
    anchors: &[Anchor],
) -> Vec<&'a str> {
    let mut names = Vec::new();
    for stroke in subject.strokes.iter().filter(|stroke| stroke.free) {
        let [onset, peak, end] = stroke.landmarks.as_slice() else { continue };
        let level = |f: &&Found| {
            let at = joints.partition_point(|joint| joint.time_s < f.time_s - 1e-9);
            joints.get(at).is_some_and(|joint| joint.before == Way::Level)
        };
        let onsets: Vec<&Found> = found.iter().filter(|f| f.name == *onset).collect();
        let leads = found.iter().filter(|f| f.name == *peak && f.beat >= 0);
        let leads = leads.filter_map(|f| Some(anchors.get(f.beat as usize)?.time_s - f.time_s));
        let leads: Vec<f64> = leads.collect();
        let usual = median(leads.clone());
        let off = median(leads.iter().map(|lead| (lead - usual).abs()).collect());
        let rising = onsets.iter().copied().filter(level).count();
        if leads.len() >= ENOUGH && off > REGULAR_S && 2 * rising < onsets.len() {
            names.extend([onset.as_str(), peak, end]);
        }
    }
    names
}

/// Adds what the subject calls free where it comes more than once in a beat.
pub(crate) fn add(
    mut found: Vec<Found>,
    subject: &Subject,
    joints: &[Joint],
    grid: &Grid,
    anchors: &[Anchor],
) -> Vec<Found> {
    let Some(channel) = found.first().map(|found| found.channel.clone()) else { return found };
    for stroke in subject.strokes.iter().filter(|s| s.free && s.channel == channel) {
        let [onset, peak, end] = stroke.landmarks.as_slice() else { continue };
        let moves = |time_s: f64| {
            let at = joints.partition_point(|joint| joint.time_s < time_s - 1e-9);
            joints.get(at).map_or(0.0, |joint| joint.moves[0].min(joint.moves[1]))
        };
        let known: Vec<f64> =
            found.iter().filter(|f| f.name == *peak).map(|f| moves(f.time_s)).collect();
        if known.is_empty() {
            continue;
        }
        let usual = median(known);
        let waves = waves(&found, joints, grid);
        let extra: Vec<[&Joint; 3]> = waves
            .iter()
            .filter(|wave| wave.level && (0.6..1.6).contains(&(wave.height / usual)))
            .map(|wave| wave.joints)
            .collect();
        for wave in extra {
            let after = anchors.partition_point(|anchor| anchor.time_s < wave[1].time_s);
            for (name, joint) in [onset, peak, end].into_iter().zip(wave) {
                found.push(Found {
                    name: name.clone(),
                    channel: channel.clone(),
                    beat: after as i32 - 1,
                    time_s: joint.time_s,
                    value: joint.value,
                    confidence: 0.8,
                    spread_s: joint.spread_s,
                    alternatives: Vec::new(),
                });
            }
        }
    }
    found.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    found
}

/// An upward wave that no landmark lies on.
struct Wave<'a> {
    joints: [&'a Joint; 3],
    height: f64,
    /// Whether it rises from a level and falls to one.
    level: bool,
}

fn waves<'a>(found: &[Found], joints: &'a [Joint], grid: &Grid) -> Vec<Wave<'a>> {
    let mut taken: Vec<f64> = found.iter().map(|f| f.time_s).collect();
    taken.sort_by(f64::total_cmp);
    let mut waves = Vec::new();
    for (place, joint) in joints.iter().enumerate() {
        if joint.before != Way::Rise || joint.after != Way::Fall {
            continue;
        }
        let before = joints[..place].iter().rev().find(|j| j.after == Way::Rise);
        let after = joints[place + 1..].iter().find(|j| j.before == Way::Fall);
        let (Some(before), Some(after)) = (before, after) else { continue };
        let free = |time_s: f64| {
            let at = taken.partition_point(|t| *t < time_s - grid.resolution_s);
            taken.get(at).is_none_or(|t| *t > time_s + grid.resolution_s)
        };
        if !free(joint.time_s) {
            continue;
        }
        waves.push(Wave {
            joints: [before, joint, after],
            height: joint.moves[0].min(joint.moves[1]),
            level: before.before == Way::Level && after.after == Way::Level,
        });
    }
    waves
}
