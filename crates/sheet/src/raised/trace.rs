//! Traces as thick lines, and bursts as outlines that a finger can follow.

use cycle::Trace;
use figure::{Map, lines_of};

use super::{APART, Channel, TRACE_MM};

/// Share of a trace's greatest swing below which it counts as at rest.
const REST: f64 = 0.02;
/// Swings that rest no longer than this belong together, in seconds: a fraction of the time that the
/// lowest heart sounds take to swing back.
const TOGETHER_S: f64 = 0.012;
/// Least height of an outline above its baseline, in millimetres: its two sides are then apart.
const OPEN: f64 = (APART + TRACE_MM) / 2.0;
/// Stretch of an outline, in millimetres, of which one height is kept: a murmur's outline would be
/// too ragged to follow.
const SMOOTH: f64 = 4.0;

/// Lowest and highest value of `trace` in the window; the same on both sides of the
/// baseline for what swings about it.
pub(super) fn range(trace: &Trace, window: [f64; 2], swings: bool) -> [f64; 2] {
    let values = samples(trace, window).map(|(_, value)| value);
    let [low, high] = values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], value| {
        [low.min(value), high.max(value)]
    });
    match (swings, high > low) {
        (_, false) => [-1.0, 1.0],
        (true, _) => [-high.max(-low), high.max(-low)],
        (false, _) => [low, high],
    }
}

/// A channel's trace as lines on paper.
pub(super) fn parts(channel: &Channel<'_>, map: &Map) -> Vec<Vec<[f64; 2]>> {
    if channel.swings { outline(channel.trace, map) } else { lines_of(channel.trace, map) }
}

/// Times and values of `trace` in the window.
fn samples(trace: &Trace, [start, end]: [f64; 2]) -> impl Iterator<Item = (f64, f64)> {
    let timed = trace.samples.iter().enumerate().map(|(i, value)| (trace.time_s(i), *value));
    timed.filter(move |(time_s, value)| (start..=end).contains(time_s) && value.is_finite())
}

/// The baseline, opened into a closed outline for each burst: a finger cannot follow the swings
/// themselves, which lie closer than it can tell apart.
fn outline(trace: &Trace, map: &Map) -> Vec<Vec<[f64; 2]>> {
    let base = map.y(0.0);
    let mut parts = Vec::new();
    let mut from = map.left;
    for burst in bursts(trace, map) {
        let Some(heights) = opened(&envelope(&burst, map)) else { continue };
        let above = heights.iter().map(|&[x, height]| [x, base - height]);
        let below = heights.iter().rev().map(|&[x, height]| [x, base + height]);
        let closed: Vec<[f64; 2]> = above.chain(below).collect();
        let [first, last] = [closed[0][0], closed[heights.len() - 1][0]];
        parts.push(vec![[from, base], [first, base]]);
        parts.push(closed);
        from = last;
    }
    parts.push(vec![[from, base], [map.right, base]]);
    parts
}

/// The stretches in which `trace` is not at rest.
fn bursts(trace: &Trace, map: &Map) -> Vec<Vec<(f64, f64)>> {
    let all: Vec<(f64, f64)> = samples(trace, [map.start_s, map.end_s]).collect();
    let most = all.iter().map(|(_, value)| value.abs()).fold(0.0, f64::max);
    let mut bursts: Vec<Vec<(f64, f64)>> = Vec::new();
    for (time_s, value) in all.into_iter().filter(|(_, value)| value.abs() > REST * most) {
        match bursts.last_mut() {
            Some(burst) if burst.last().is_some_and(|last| time_s - last.0 < TOGETHER_S) => {
                burst.push((time_s, value));
            }
            _ => bursts.push(vec![(time_s, value)]),
        }
    }
    bursts.retain(|burst| burst.len() > 2);
    bursts
}

/// Places and heights of a burst's outline on paper: nothing at its ends, and the greatest of each
/// swing to one side between them.
fn envelope(burst: &[(f64, f64)], map: &Map) -> Vec<[f64; 2]> {
    let swings = burst.chunk_by(|a, b| (a.1 > 0.0) == (b.1 > 0.0));
    let tops = swings.filter_map(|swing| {
        let top = swing.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
        Some([map.x(top.0), map.y(0.0) - map.y(top.1.abs())])
    });
    let [first, last] = [burst[0].0, burst[burst.len() - 1].0].map(|time_s| map.x(time_s));
    let inside: Vec<[f64; 2]> = tops.filter(|top| top[0] > first && top[0] < last).collect();
    let stretch = |top: &[f64; 2]| libm::floor((top[0] - first) / SMOOTH) as i64;
    let highest = inside
        .chunk_by(|a, b| stretch(a) == stretch(b))
        .filter_map(|tops| tops.iter().copied().max_by(|a, b| a[1].total_cmp(&b[1])));
    let mut heights = vec![[first, 0.0]];
    heights.extend(highest);
    heights.push([last, 0.0]);
    heights
}

/// An outline whose sides are apart between its ends: a long low tail is cut off, and what is low
/// in between is raised. None where it is low everywhere.
fn opened(heights: &[[f64; 2]]) -> Option<Vec<[f64; 2]>> {
    let high = |point: &[f64; 2]| point[1] >= OPEN;
    let last = heights.iter().rposition(high)?;
    let first = heights[0];
    let mut opened = vec![first];
    opened.extend(heights[1..=last].iter().map(|&[x, height]| [x, height.max(OPEN)]));
    let ([x, height], [end, low]) = (heights[last], heights[last + 1]);
    let tail = x + (height - OPEN) / (height - low) * (end - x);
    opened.push([tail, OPEN]);
    opened.push([end.min(tail + OPEN), 0.0]);
    Some(opened)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_burst_becomes_an_outline_as_high_as_it_and_as_long() {
        let value = |i: u32| match i {
            200..400 => libm::sin(f64::from(i - 200) * 0.25),
            _ => 0.0,
        };
        let trace = Trace::new("sound", "relative", 1000.0, 0.0, (0..1000).map(value).collect());
        let map = Map {
            start_s: 0.0,
            end_s: 1.0,
            left: 0.0,
            right: 100.0,
            low: -1.0,
            high: 1.0,
            top: 0.0,
            bottom: 40.0,
        };
        let parts = outline(&trace, &map);
        assert_eq!(parts.len(), 3);
        let side = |axis: usize, pick: fn(f64, f64) -> f64| {
            parts[1].iter().map(|p| p[axis]).reduce(pick).unwrap()
        };
        assert!((side(0, f64::min) - 20.0).abs() < 0.2 && (side(0, f64::max) - 40.0).abs() < 0.2);
        assert!(side(1, f64::min) < 0.5 && side(1, f64::max) > 39.5);
        assert_eq!(parts[0][1], parts[1][0]);
    }
}
