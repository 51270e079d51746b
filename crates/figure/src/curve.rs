//! Traces as points on paper: cut to the time shown, thinned, cut to the panel.

use cycle::Trace;

/// Maps seconds and values to millimetres on paper, y down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Map {
    /// Time at the left side, in seconds.
    pub start_s: f64,
    /// Time at the right side, in seconds.
    pub end_s: f64,
    /// Left side.
    pub left: f64,
    /// Right side.
    pub right: f64,
    /// Value at the bottom.
    pub low: f64,
    /// Value at the top.
    pub high: f64,
    /// Top side.
    pub top: f64,
    /// Bottom side.
    pub bottom: f64,
}

impl Map {
    /// Where `time_s` is, from the left of the page.
    pub fn x(&self, time_s: f64) -> f64 {
        self.left + (time_s - self.start_s) / (self.end_s - self.start_s) * (self.right - self.left)
    }

    /// Where `value` is, from the top of the page.
    pub fn y(&self, value: f64) -> f64 {
        self.bottom - (value - self.low) / (self.high - self.low) * (self.bottom - self.top)
    }
}

/// Widest stretch of paper, in millimetres, that a minimum and a maximum may stand for.
const COLUMN_MM: f64 = 0.1;
/// How far a thinned line may stray from its points, in millimetres.
const TOLERANCE_MM: f64 = 0.02;

/// Times and values of `trace` in the window, with interpolated ends; gaps split it.
pub(crate) fn samples(trace: &Trace, start_s: f64, end_s: f64) -> Vec<Vec<[f64; 2]>> {
    let mut parts = vec![Vec::new()];
    let mut add = |time_s: f64, value: f64| {
        if value.is_finite() {
            parts.last_mut().expect("one part at least").push([time_s, value]);
        } else if parts.last().is_some_and(|part| !part.is_empty()) {
            parts.push(Vec::new());
        }
    };
    if let Some(value) = trace.at(start_s) {
        add(start_s, value);
    }
    for (index, &value) in trace.samples.iter().enumerate() {
        let time_s = trace.time_s(index);
        if time_s > start_s && time_s < end_s {
            add(time_s, value);
        }
    }
    if let Some(value) = trace.at(end_s) {
        add(end_s, value);
    }
    parts.retain(|part| part.len() > 1);
    parts
}

/// `trace` as lines on paper, thinned to what can be seen and kept inside the panel.
pub fn lines(trace: &Trace, map: &Map) -> Vec<Vec<[f64; 2]>> {
    lines_between(trace, map, map.start_s, map.end_s)
}

/// As [`lines`], of what lies between two times.
pub(crate) fn lines_between(
    trace: &Trace,
    map: &Map,
    start_s: f64,
    end_s: f64,
) -> Vec<Vec<[f64; 2]>> {
    let mut drawn = Vec::new();
    for part in samples(trace, start_s.max(map.start_s), end_s.min(map.end_s)) {
        let points: Vec<[f64; 2]> = part.iter().map(|&[t, v]| [map.x(t), map.y(v)]).collect();
        let points = simplified(&columns(&points));
        drawn.extend(clipped(&points, map.top, map.bottom));
    }
    drawn
}

/// Points of a fast trace, no more than first, least, greatest and last of each column.
fn columns(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return Vec::new() };
    let count = (last[0] - first[0]) / COLUMN_MM;
    if (points.len() as f64) < 2.0 * count {
        return points.to_vec();
    }
    let column = |point: &[f64; 2]| libm::floor((point[0] - first[0]) / COLUMN_MM) as i64;
    let mut kept = Vec::new();
    for group in points.chunk_by(|a, b| column(a) == column(b)) {
        let by_y = |a: &(usize, &[f64; 2]), b: &(usize, &[f64; 2])| a.1[1].total_cmp(&b.1[1]);
        let least = group.iter().enumerate().min_by(by_y).map_or(0, |(i, _)| i);
        let greatest = group.iter().enumerate().max_by(by_y).map_or(0, |(i, _)| i);
        let mut chosen = [0, least, greatest, group.len() - 1];
        chosen.sort_unstable();
        let mut previous = usize::MAX;
        for index in chosen {
            if index != previous {
                kept.push(group[index]);
            }
            previous = index;
        }
    }
    kept
}

/// The fewest of `points` whose lines stay within the tolerance of all (Ramer 1972,
/// Douglas and Peucker 1973).
pub(crate) fn simplified(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    if points.len() < 3 {
        return points.to_vec();
    }
    let mut keep = vec![false; points.len()];
    keep[0] = true;
    keep[points.len() - 1] = true;
    let mut open = vec![(0, points.len() - 1)];
    while let Some((from, to)) = open.pop() {
        let far = (from + 1..to)
            .map(|i| (squared_distance(points[i], points[from], points[to]), i))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((far, middle)) = far
            && far > TOLERANCE_MM * TOLERANCE_MM
        {
            keep[middle] = true;
            open.push((from, middle));
            open.push((middle, to));
        }
    }
    points.iter().zip(keep).filter(|(_, keep)| *keep).map(|(point, _)| *point).collect()
}

/// How far along the stretch from `a` to `b`, 0 to 1, the point nearest to `point` is.
fn along(point: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let squared = dx * dx + dy * dy;
    if squared > 0.0 {
        (((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / squared).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

/// The point of the stretch from `a` to `b` that is nearest to `point`.
pub fn foot(point: [f64; 2], a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    let along = along(point, a, b);
    [a[0] + along * (b[0] - a[0]), a[1] + along * (b[1] - a[1])]
}

/// Distance of `point` from the stretch between `a` and `b`.
pub fn distance(point: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let [x, y] = foot(point, a, b);
    libm::hypot(point[0] - x, point[1] - y)
}

/// The square of [`distance`], without a root.
fn squared_distance(point: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let [x, y] = foot(point, a, b);
    let (dx, dy) = (point[0] - x, point[1] - y);
    dx * dx + dy * dy
}

/// The parts of a run of points between two heights.
fn clipped(points: &[[f64; 2]], top: f64, bottom: f64) -> Vec<Vec<[f64; 2]>> {
    let inside = |p: &[f64; 2]| p[1] >= top && p[1] <= bottom;
    if points.iter().all(inside) {
        return vec![points.to_vec()];
    }
    let mut parts: Vec<Vec<[f64; 2]>> = Vec::new();
    for pair in points.windows(2) {
        let Some((a, b)) = segment(pair[0], pair[1], top, bottom) else { continue };
        match parts.last_mut() {
            Some(part) if part.last() == Some(&a) => part.push(b),
            _ => parts.push(vec![a, b]),
        }
    }
    parts
}

/// The piece of one line between two heights.
fn segment(a: [f64; 2], b: [f64; 2], top: f64, bottom: f64) -> Option<([f64; 2], [f64; 2])> {
    if a[1].max(b[1]) < top || a[1].min(b[1]) > bottom {
        return None;
    }
    let at = |y: f64| {
        let share = (y - a[1]) / (b[1] - a[1]);
        [a[0] + share * (b[0] - a[0]), y]
    };
    let held = |p: [f64; 2]| {
        if p[1] < top {
            at(top)
        } else if p[1] > bottom {
            at(bottom)
        } else {
            p
        }
    };
    Some((held(a), held(b)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thinning_stays_within_its_tolerance() {
        let points: Vec<[f64; 2]> = (0..2000)
            .map(|i| [f64::from(i) * 0.05, 10.0 * libm::sin(f64::from(i) * 0.01)])
            .collect();
        let thin = simplified(&points);
        assert!(thin.len() < 200, "{}", thin.len());
        for point in points {
            let near = thin.windows(2).map(|w| distance(point, w[0], w[1])).fold(9.0, f64::min);
            assert!(near <= TOLERANCE_MM + 1e-9);
        }
    }

    #[test]
    fn a_fast_trace_keeps_its_extremes_with_few_points() {
        let mut points: Vec<[f64; 2]> =
            (0..40_000).map(|i| [f64::from(i) * 0.0025, libm::sin(f64::from(i) * 1.7)]).collect();
        points[12_345][1] = 7.0;
        let thin = columns(&points);
        assert!(thin.len() <= 4 * 1001);
        assert!(thin.iter().any(|p| p[1] == 7.0));
    }

    #[test]
    fn a_trace_that_leaves_the_panel_is_cut_at_its_edge() {
        let parts = clipped(&[[0.0, 5.0], [1.0, -5.0], [2.0, 5.0]], 0.0, 10.0);
        assert_eq!(parts, [vec![[0.0, 5.0], [0.5, 0.0]], vec![[1.5, 0.0], [2.0, 5.0]]]);
    }

    #[test]
    fn missing_samples_split_a_trace() {
        let trace = Trace::new("ecg", "mV", 1.0, 0.0, vec![0.0, 1.0, f64::NAN, 1.0, 2.0]);
        let parts = samples(&trace, 0.0, 4.5);
        assert_eq!(parts.len(), 2);
        assert_eq!(parts[1], [[3.0, 1.0], [4.0, 2.0]]);
    }
}
