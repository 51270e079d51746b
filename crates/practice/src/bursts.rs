//! What is drawn in a panel for sounds to bursts.

use marking::DrawnBurst;

use crate::strokes::{Polyline, WIDTH_MM};

/// Columns in which ink is looked at.
const COLUMN_MM: f64 = 0.1;
/// Ink farther from the resting line than this belongs to a burst.
const LEAVES_MM: f64 = 0.25;
/// A burst is at least this high from its top to its bottom.
const LEAST_MM: f64 = 1.2;
/// Strokes of one burst are no farther apart.
const APART_MM: f64 = 2.2;
/// One upright stroke is as long as this, so that it has a beginning and an end.
const STROKE_MM: f64 = 0.4;
/// A resting line may lie this far from where it is printed.
const REST_MM: f64 = 2.0;

/// The highest and the lowest ink of one column, if there is any.
type Column = Option<[f64; 2]>;

/// The ink's envelope (x, top and bottom) and its bursts, drawn about a line that rests at `base`.
pub fn bursts(strokes: &[Polyline], base: f64) -> (Vec<[f64; 3]>, Vec<DrawnBurst>) {
    let points = || strokes.iter().flatten().map(|point| point[0]);
    let left = points().fold(f64::MAX, f64::min);
    let right = points().fold(f64::MIN, f64::max);
    if right < left {
        return (Vec::new(), Vec::new());
    }
    let columns = columns(strokes, left, right);
    let rest = resting(&columns, base);
    let x = |column: usize| left + column as f64 * COLUMN_MM;
    let half = WIDTH_MM / 2.0;
    let envelope = columns.iter().enumerate();
    let envelope = envelope
        .filter_map(|(n, ink)| ink.map(|[top, bottom]| [x(n), top - half, bottom + half]))
        .collect();
    let found = stretches(&columns, rest);
    let bursts = found.into_iter().map(|[from, to]| {
        let inside = columns[from..=to].iter().flatten();
        let top = inside.clone().map(|ink| ink[0]).fold(rest, f64::min);
        let bottom = inside.map(|ink| ink[1]).fold(rest, f64::max);
        let (from_mm, to_mm) = (x(from), x(to).max(x(from) + STROKE_MM));
        DrawnBurst { from_mm, to_mm, height_mm: bottom - top, doubt_mm: [0.0; 2], sure: 1.0 }
    });
    let bursts = bursts.filter(|burst| burst.height_mm >= LEAST_MM).collect();
    (envelope, bursts)
}

/// The ink of each column.
fn columns(strokes: &[Polyline], left: f64, right: f64) -> Vec<Column> {
    let count = ((right - left) / COLUMN_MM).round() as usize + 1;
    let mut columns: Vec<Column> = vec![None; count];
    let mut ink = |x: f64, y: f64| {
        let n = (((x - left) / COLUMN_MM).round().max(0.0) as usize).min(count - 1);
        let [top, bottom] = columns[n].unwrap_or([y, y]);
        columns[n] = Some([top.min(y), bottom.max(y)]);
    };
    for stroke in strokes {
        if let [one] = stroke[..] {
            ink(one[0], one[1]);
        }
        for pair in stroke.windows(2) {
            let ([x, y], [to_x, to_y]) = (pair[0], pair[1]);
            let steps = ((to_x - x).abs() / (COLUMN_MM / 2.0)).ceil().max(1.0) as usize;
            for step in 0..=steps {
                let share = step as f64 / steps as f64;
                ink(x + share * (to_x - x), y + share * (to_y - y));
            }
        }
    }
    columns
}

/// Where the line rests: the middle of the flat ink near the printed line, or that line itself.
fn resting(columns: &[Column], base: f64) -> f64 {
    let flat = |ink: &&[f64; 2]| {
        ink[1] - ink[0] < LEAVES_MM && (f64::midpoint(ink[0], ink[1]) - base).abs() < REST_MM
    };
    let mut all: Vec<f64> =
        columns.iter().flatten().filter(flat).map(|ink| f64::midpoint(ink[0], ink[1])).collect();
    all.sort_by(f64::total_cmp);
    // A few such columns are where a burst crosses the line.
    if all.len() * 5 < columns.len() { base } else { all[all.len() / 2] }
}

/// First and last column of each stretch in which the ink leaves the resting line.
fn stretches(columns: &[Column], rest: f64) -> Vec<[usize; 2]> {
    let leaves = |ink: &[f64; 2]| rest - ink[0] > LEAVES_MM || ink[1] - rest > LEAVES_MM;
    let apart = (APART_MM / COLUMN_MM).round() as usize;
    let mut found: Vec<[usize; 2]> = Vec::new();
    for (n, ink) in columns.iter().enumerate() {
        if !ink.as_ref().is_some_and(leaves) {
            continue;
        }
        match found.last_mut() {
            Some(last) if n - last[1] <= apart => last[1] = n,
            _ => found.push([n, n]),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zigzag(from: f64, to: f64, high: f64) -> Polyline {
        let count = ((to - from) / 0.8).round() as usize;
        let at = |n: usize| {
            let up = if n == 0 || n == count { 0.0 } else { high * [1.0, -1.0][n % 2] };
            [from + (to - from) * n as f64 / count as f64, 20.0 - up]
        };
        (0..=count).map(at).collect()
    }

    #[test]
    fn a_zigzag_on_a_line_is_a_burst() {
        let strokes = [vec![[10.0, 20.0], [90.0, 20.0]], zigzag(30.0, 38.0, 5.0)];
        let (envelope, bursts) = bursts(&strokes, 20.0);
        assert_eq!(bursts.len(), 1);
        let burst = &bursts[0];
        assert!(
            (burst.from_mm - 30.0).abs() < 0.3 && (burst.to_mm - 38.0).abs() < 0.3,
            "{burst:?}"
        );
        assert!((burst.height_mm - 10.0).abs() < 0.2);
        assert!(envelope.len() > 700);
    }

    #[test]
    fn bursts_need_no_line_and_may_be_upright_strokes() {
        let upright = |x: f64| vec![[x, 12.0], [x, 28.0]];
        let hatched: Vec<Polyline> = (0..8).map(|n| upright(40.0 + f64::from(n))).collect();
        let mut strokes = hatched;
        strokes.push(upright(80.0));
        let (_, bursts) = bursts(&strokes, 20.0);
        assert_eq!(bursts.len(), 2);
        assert!((bursts[0].from_mm - 40.0).abs() < 0.15 && (bursts[0].to_mm - 47.0).abs() < 0.15);
        assert!(bursts[1].to_mm > bursts[1].from_mm);
    }

    #[test]
    fn a_line_alone_is_no_burst_and_nothing_is_nothing() {
        let (envelope, found) = bursts(&[vec![[10.0, 20.4], [90.0, 20.6]]], 20.0);
        assert!(found.is_empty() && !envelope.is_empty());
        assert_eq!(bursts(&[], 20.0), (Vec::new(), Vec::new()));
    }
}
