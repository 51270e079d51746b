//! The alignment lines of a convention.

use cycle::{Cycle, Subject};

use crate::rule::{Convention, Relation, Relative, Says};
use crate::{Point, beats};

/// Most alignment lines: more than these are hard to tell apart.
const MOST_LINES: usize = 6;

/// The points through which a convention's alignment lines go: first what something is put on,
/// then what of the reference channel something is put after, before or between. Of those
/// that coincide in `model` one line is enough: that of the reference channel, if there is one.
pub fn alignment_points(convention: &Convention, subject: &Subject, model: &Cycle) -> Vec<Point> {
    let on_reference = |point: &&Point| point.is_reference(subject);
    let mut ranked: Vec<(u8, &Point)> = Vec::new();
    for rule in &convention.rules {
        let Says::Timing { timing, .. } = &rule.says else { continue };
        match timing {
            Relative::Offset { to, relation: Relation::With, .. } => ranked.push((0, to)),
            Relative::Offset { to, .. } => ranked.extend(on_reference(&to).then_some((1, to))),
            Relative::Between { from, to, .. } => {
                let ends = [from, to].into_iter().filter(on_reference);
                ranked.extend(ends.map(|point| (2, point)));
            }
        }
    }
    ranked.sort_by_key(|(rank, point)| (*rank, !on_reference(point)));
    let beat = beats(model, subject).into_iter().next().unwrap_or_default();
    let mut lines: Vec<Point> = Vec::new();
    for (_, point) in ranked {
        let same = |other: &Point| match (beat.time_s(other), beat.time_s(point)) {
            (Some(a), Some(b)) => (a - b).abs() < 0.001,
            _ => other == point,
        };
        if !lines.iter().any(same) && lines.len() < MOST_LINES {
            lines.push(point.clone());
        }
    }
    lines
}
