//! Keys of one to four letters, and where labels and lines have room.

use figure::{Box2, distance};

/// What a line of less weight keeps away from.
#[derive(Default)]
pub(super) struct Obstacles {
    lines: Vec<(Vec<[f64; 2]>, f64)>,
    areas: Vec<Box2>,
}

impl Obstacles {
    /// Adds lines of this width.
    pub(super) fn lines(&mut self, parts: &[Vec<[f64; 2]>], width: f64) {
        self.lines.extend(parts.iter().map(|part| (part.clone(), width / 2.0)));
    }

    /// Adds a box.
    pub(super) fn area(&mut self, area: Box2) {
        self.areas.push(area);
    }

    /// Distance from `point` to the nearest edge.
    pub(super) fn distance(&self, point: [f64; 2]) -> f64 {
        let lines = self.lines.iter().flat_map(|(part, half)| {
            part.windows(2).map(move |pair| distance(point, pair[0], pair[1]) - half)
        });
        let areas = self.areas.iter().map(|area| {
            let across = (area.x - point[0]).max(point[0] - area.right()).max(0.0);
            let down = (area.y - point[1]).max(point[1] - area.bottom()).max(0.0);
            libm::hypot(across, down)
        });
        lines.chain(areas).fold(f64::INFINITY, f64::min)
    }
}

/// Length of the steps in which a line's way is tried, in millimetres.
const STEP: f64 = 0.25;

/// The parts of `way` that are at least `apart` from every obstacle, as points in even steps.
pub(super) fn clear_parts(
    way: &[[f64; 2]],
    obstacles: &Obstacles,
    apart: f64,
) -> Vec<Vec<[f64; 2]>> {
    let mut parts: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut open = false;
    for point in steps(way) {
        let clear = obstacles.distance(point) >= apart;
        match parts.last_mut() {
            Some(part) if clear && open => part.push(point),
            _ if clear => parts.push(vec![point]),
            _ => {}
        }
        open = clear;
    }
    parts
}

/// `part`, given in even steps, as whole dashes of about this length with gaps of this length; none
/// where it is shorter than a dash.
pub(super) fn dashes(part: &[[f64; 2]], [dash, gap]: [f64; 2]) -> Vec<Vec<[f64; 2]>> {
    let [dash, gap] = [dash / STEP, gap / STEP];
    let length = part.len().saturating_sub(1) as f64;
    if length < dash {
        return Vec::new();
    }
    let count = ((length + gap) / (dash + gap)).round().max(1.0);
    let period = (length + gap) / count;
    let one = |index: usize| {
        let from = index as f64 * period;
        let to = (from + period - gap).round().min(length);
        corners(&part[from.round() as usize..=to as usize])
    };
    (0..count as usize).map(one).collect()
}

/// Points along `way` in even steps.
pub(super) fn steps(way: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut points = Vec::new();
    for pair in way.windows(2) {
        let [from, to] = [pair[0], pair[1]];
        let count = (libm::hypot(to[0] - from[0], to[1] - from[1]) / STEP).ceil().max(1.0);
        for step in 0..count as usize {
            let share = step as f64 / count;
            points.push([0, 1].map(|axis| from[axis] + share * (to[axis] - from[axis])));
        }
    }
    points.extend(way.last());
    points
}

/// `part` without the points on the straight way between their neighbours.
fn corners(part: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut kept: Vec<[f64; 2]> = Vec::new();
    for (index, &point) in part.iter().enumerate() {
        let next = part.get(index + 1);
        let straight = match (kept.last(), next) {
            (Some(&last), Some(&next)) => distance(point, last, next) < 1e-6,
            _ => false,
        };
        if !straight {
            kept.push(point);
        }
    }
    kept
}

/// Middles of labels in a row, each as near to its own place as `apart` from its neighbours and
/// the row's ends allow: `wanted` are places, in order, and widths.
///
/// Least squares: neighbours that would overlap move as one block (pool adjacent violators,
/// Ayer et al. 1955).
pub(super) fn spread(wanted: &[[f64; 2]], apart: f64, [left, right]: [f64; 2]) -> Vec<f64> {
    // Each label's distance from the first one's left side when all stand close.
    let mut close = Vec::new();
    let mut length = 0.0;
    for [_, width] in wanted {
        close.push(length);
        length += width + apart;
    }
    let mut blocks: Vec<(f64, usize)> = Vec::new();
    for (&[place, width], close) in wanted.iter().zip(&close) {
        let mut block = (place - width / 2.0 - close, 1);
        while let Some(&(before, count)) = blocks.last()
            && before > block.0
        {
            blocks.pop();
            let both = count + block.1;
            block = ((before * count as f64 + block.0 * block.1 as f64) / both as f64, both);
        }
        blocks.push(block);
    }
    let most = (right - (length - apart)).max(left);
    let starts = blocks.into_iter().flat_map(|(start, count)| vec![start; count]);
    let starts = starts.map(|start| start.clamp(left, most));
    let middles =
        starts.zip(close).zip(wanted).map(|((start, close), [_, w])| start + close + w / 2.0);
    middles.collect()
}

/// Longest first word of a name that stands in its key as a whole.
const WHOLE: usize = 2;
/// Longest name that is its own key.
const OWN: usize = 3;

/// A key for each of `names`, all different: the one in `fixed` where there is one, else made of
/// the name's initials, as `hs` of `heart_sounds` and `lvp` of `lv_pressure`.
pub(super) fn keys(names: &[&str], fixed: &[Option<String>]) -> Vec<String> {
    let mut taken: Vec<String> = fixed.iter().flatten().cloned().collect();
    let mut keys = Vec::new();
    for (name, fixed) in names.iter().zip(fixed) {
        let key = fixed.clone().unwrap_or_else(|| {
            let key = initials(name);
            // A second letter in the place of the last tells apart what begins alike.
            let stem: String = key.chars().take(OWN - 1).collect();
            let others = ('a'..='z').map(|letter| format!("{stem}{letter}"));
            let free = std::iter::once(key.clone()).chain(others);
            free.into_iter().find(|key| !taken.contains(key)).unwrap_or(key)
        });
        taken.push(key.clone());
        keys.push(key);
    }
    keys
}

fn initials(name: &str) -> String {
    let words: Vec<&str> = name.split('_').collect();
    if words.len() == 1 {
        let length = if name.len() <= OWN { OWN } else { WHOLE };
        return name.chars().take(length).collect();
    }
    let first = words[0];
    let whole = first.len() <= WHOLE && first.chars().all(char::is_alphabetic);
    let length = if whole { WHOLE } else { 1 };
    let others = words[1..].iter().filter_map(|word| word.chars().next());
    first.chars().take(length).chain(others).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_recall_names_and_differ() {
        let names = ["ecg", "heart_sounds", "lv_pressure", "lv_peak", "t_end", "s1_onset"];
        let mut fixed = vec![None; names.len()];
        fixed[5] = Some("S1".to_owned());
        assert_eq!(keys(&names, &fixed), ["ecg", "hs", "lvp", "lva", "te", "S1"]);
    }

    #[test]
    fn labels_stay_in_order_apart_and_near() {
        let wanted = [[20.0, 10.0], [22.0, 10.0], [60.0, 10.0], [99.0, 10.0]];
        let middles = spread(&wanted, 3.0, [0.0, 100.0]);
        assert_eq!(middles[2], 60.0);
        assert!((middles[1] - middles[0] - 13.0).abs() < 1e-9);
        assert!((middles[0] + middles[1] - 42.0).abs() < 1e-9);
        assert_eq!(middles[3], 95.0);
    }

    #[test]
    fn a_line_is_broken_where_something_crosses_it() {
        let mut obstacles = Obstacles::default();
        obstacles.lines(&[vec![[-10.0, 20.0], [10.0, 20.0]]], 1.0);
        let parts = clear_parts(&[[0.0, 0.0], [0.0, 40.0]], &obstacles, 3.0);
        let ends: Vec<[f64; 2]> = parts.iter().map(|p| [p[0][1], p[p.len() - 1][1]]).collect();
        assert_eq!(ends, [[0.0, 16.5], [23.5, 40.0]]);
    }

    #[test]
    fn dashes_are_whole_and_reach_from_end_to_end() {
        for length in [3.5, 6.0, 7.1, 20.0, 33.3] {
            let dashes = dashes(&steps(&[[0.0, 0.0], [0.0, length]]), [3.5, 2.0]);
            let long = |dash: &Vec<[f64; 2]>| dash[dash.len() - 1][1] - dash[0][1];
            assert!(dashes.iter().all(|dash| (2.4..=6.3).contains(&long(dash))), "{dashes:?}");
            assert_eq!(dashes[0][0][1], 0.0);
            assert!((dashes[dashes.len() - 1][1][1] - length).abs() < 1e-9);
        }
        assert!(dashes(&steps(&[[0.0, 0.0], [0.0, 3.0]]), [3.5, 2.0]).is_empty());
    }
}
