//! Strokes on a screen to what a reader of scans would make of them.

use std::collections::BTreeMap;

use figure::Box2;
use marking::{DrawnBar, DrawnPage, DrawnSheet, DrawnSounds, DrawnTrace, has_bursts};
use serde::{Deserialize, Serialize};
use sheet::{BarPlace, PanelPlace};

use crate::bursts::bursts;
use crate::{Practice, PracticeError};

/// Points of a stroke in millimetres on the page, in the order in which they were drawn.
pub type Polyline = Vec<[f64; 2]>;

/// What a student drew.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Drawing {
    /// Strokes by the panel's channel, in the order in which they were drawn.
    pub strokes: BTreeMap<String, Vec<Polyline>>,
    /// Left and right ends of bars by the row's bar.
    pub bars: BTreeMap<String, Vec<[f64; 2]>>,
}

/// Most points of a drawing: more than an hour with a pen.
const MOST_POINTS: usize = 200_000;
/// Width of a stroke on the screen: a pencil's.
pub(crate) const WIDTH_MM: f64 = 0.5;
/// How well places on a screen are known.
const UNCERTAINTY_MM: f64 = 0.1;
/// A trace goes this far back before it counts as drawn anew.
const BACK_MM: f64 = 1.5;
/// Ends of strokes that are no farther apart join.
const JOIN_MM: f64 = 1.2;
/// How far points of one column are apart at least.
const COLUMN_MM: f64 = 0.02;
/// Points of a stroke are at most so far apart along the time axis.
const STEP_MM: f64 = 0.2;
/// How far outside its panel a stroke may go.
const OUTSIDE_MM: f64 = 3.0;
/// A bar is at least this long.
const BAR_MM: f64 = 0.5;

impl Practice {
    /// The sheet that a reader of scans would make of a drawing.
    ///
    /// # Errors
    /// [`PracticeError::TooMuch`] where there is more ink than a student can draw.
    pub fn sheet(&self, drawing: &Drawing) -> Result<DrawnSheet, PracticeError> {
        let strokes = drawing.strokes.values().flatten().map(Vec::len).sum::<usize>();
        let bars = drawing.bars.values().map(Vec::len).sum::<usize>();
        if strokes + bars > MOST_POINTS {
            return Err(PracticeError::TooMuch);
        }
        let none = Vec::new();
        let mut page =
            DrawnPage { page: 1, uncertainty_mm: UNCERTAINTY_MM, ..DrawnPage::default() };
        for on in self.panels.iter().filter(|on| !on.place.given) {
            let place = &on.place;
            let strokes = drawing.strokes.get(&place.channel).unwrap_or(&none);
            let strokes = held(strokes, place.area);
            if has_bursts(&self.subject, &place.channel) {
                page.sounds.push(sounds(&strokes, place));
            } else {
                page.traces.push(trace(&strokes, place));
            }
        }
        let no_bars = Vec::new();
        for on in self.bars.iter().filter(|on| !on.place.given) {
            let ends = drawing.bars.get(&on.place.bar).unwrap_or(&no_bars);
            page.bars.push(bar(ends, &on.place));
        }
        Ok(DrawnSheet { pages: vec![page] })
    }
}

/// The strokes, kept near their panel: within its times, and a little above and below it.
fn held(strokes: &[Polyline], area: Box2) -> Vec<Polyline> {
    let near = |&[x, y]: &[f64; 2]| {
        let (low, high) = (area.y - OUTSIDE_MM, area.bottom() + OUTSIDE_MM);
        [x.clamp(area.x, area.right()), y.clamp(low, high)]
    };
    let whole = |stroke: &Polyline| stroke.iter().map(near).collect::<Polyline>();
    strokes.iter().map(whole).filter(|stroke| !stroke.is_empty()).collect()
}

/// A trace: what was drawn later takes the place of what was drawn before.
fn trace(strokes: &[Polyline], place: &PanelPlace) -> DrawnTrace {
    let mut kept: Vec<Polyline> = Vec::new();
    for run in strokes.iter().flat_map(runs) {
        let (Some(first), Some(last)) = (run.first(), run.last()) else { continue };
        let span = [first[0], last[0]];
        kept = kept.into_iter().flat_map(|old| outside(old, span)).collect();
        kept.push(run);
    }
    kept.sort_by(|a, b| a[0][0].total_cmp(&b[0][0]));
    let mut gaps_mm = Vec::new();
    let mut points_mm: Polyline = Vec::new();
    for run in kept {
        if let Some(end) = points_mm.last().copied() {
            let next = run[0];
            if next[0] - end[0] > JOIN_MM {
                gaps_mm.push([end[0], next[0]]);
            }
        }
        // Two strokes that meet in a column share it.
        let after = points_mm.last().map_or(f64::MIN, |end| end[0] + COLUMN_MM / 2.0);
        points_mm.extend(run.into_iter().filter(|point| point[0] > after));
    }
    DrawnTrace {
        channel: place.channel.clone(),
        points_mm: dense(&points_mm, &gaps_mm),
        gaps_mm,
        ambiguous_mm: Vec::new(),
        width_mm: WIDTH_MM,
        sure: 1.0,
    }
}

/// A stroke as runs from left to right. Going back a little is a trembling hand; going back farther
/// draws that stretch anew.
fn runs(stroke: &Polyline) -> Vec<Polyline> {
    let mut runs: Vec<Polyline> = Vec::new();
    let mut from = 0;
    while from < stroke.len() {
        let to = turn(&stroke[from..]) + from;
        let mut part = stroke[from..=to].to_vec();
        if part[part.len() - 1][0] < part[0][0] {
            part.reverse();
        }
        runs.push(forward(&part));
        // The turning point belongs to both runs.
        from = if to > from && to + 1 < stroke.len() { to } else { to + 1 };
    }
    runs.retain(|run| run.len() > 1);
    runs
}

/// The index of the point from which the stroke goes back by more than a trembling hand.
fn turn(stroke: &[[f64; 2]]) -> usize {
    let (mut most, mut least) = (0, 0);
    for (index, point) in stroke.iter().enumerate() {
        if point[0] > stroke[most][0] {
            most = index;
        }
        if point[0] < stroke[least][0] {
            least = index;
        }
        let (back, forth) = (stroke[most][0] - point[0], point[0] - stroke[least][0]);
        let rightwards = most > least;
        if rightwards && back > BACK_MM && stroke[most][0] - stroke[0][0] > BACK_MM {
            return most;
        }
        if !rightwards && forth > BACK_MM && stroke[0][0] - stroke[least][0] > BACK_MM {
            return least;
        }
    }
    stroke.len() - 1
}

/// The points moved so that each is right of the one before: steep parts stay steep.
fn forward(stroke: &[[f64; 2]]) -> Polyline {
    let mut run: Polyline = Vec::new();
    for &[x, y] in stroke {
        let least = run.last().map_or(f64::MIN, |last| last[0] + COLUMN_MM);
        run.push([x.max(least), y]);
    }
    run
}

/// What of an old run is left when the stretch `span` is drawn anew.
fn outside(run: Polyline, [from, to]: [f64; 2]) -> Vec<Polyline> {
    let (first, last) = (run[0][0], run[run.len() - 1][0]);
    if last <= from || first >= to {
        return vec![run];
    }
    let left: Polyline = run.iter().copied().filter(|point| point[0] < from).collect();
    let right: Polyline = run.into_iter().filter(|point| point[0] > to).collect();
    [left, right].into_iter().filter(|part| part.len() > 1).collect()
}

/// The points with others between them, so that none are far apart but where a gap is.
fn dense(points: &[[f64; 2]], gaps: &[[f64; 2]]) -> Polyline {
    let mut all = Vec::new();
    for pair in points.windows(2) {
        let ([x, y], [to_x, to_y]) = (pair[0], pair[1]);
        all.push([x, y]);
        let is_gap = gaps.iter().any(|gap| gap[0] == x && gap[1] == to_x);
        let parts = if is_gap { 1 } else { ((to_x - x) / STEP_MM).ceil() as usize };
        for part in 1..parts {
            let share = part as f64 / parts as f64;
            all.push([x + share * (to_x - x), y + share * (to_y - y)]);
        }
    }
    all.extend(points.last());
    all
}

fn sounds(strokes: &[Polyline], place: &PanelPlace) -> DrawnSounds {
    let base = place.map().y(0.0).clamp(place.area.y, place.area.bottom());
    let (envelope_mm, bursts) = bursts(strokes, base);
    DrawnSounds {
        channel: place.channel.clone(),
        envelope_mm,
        bursts,
        perhaps: Vec::new(),
        width_mm: WIDTH_MM,
        sure: 1.0,
    }
}

fn bar(ends: &[[f64; 2]], place: &BarPlace) -> DrawnBar {
    let held = |x: f64| x.clamp(place.area.x, place.area.right());
    let mut stretches: Vec<[f64; 2]> =
        ends.iter().map(|&[a, b]| [held(a.min(b)), held(a.max(b))]).collect();
    stretches.retain(|[from, to]| to - from >= BAR_MM);
    stretches.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut merged: Vec<[f64; 2]> = Vec::new();
    for [from, to] in stretches {
        match merged.last_mut() {
            Some(last) if from <= last[1] => last[1] = last[1].max(to),
            _ => merged.push([from, to]),
        }
    }
    DrawnBar { bar: place.bar.clone(), stretches_mm: merged, sure: 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place() -> PanelPlace {
        PanelPlace {
            channel: "aortic_pressure".to_owned(),
            area: Box2::new(10.0, 5.0, 160.0, 40.0),
            time_s: [0.0, 1.6],
            values: [60.0, 140.0],
            given: false,
        }
    }

    fn line(from: [f64; 2], to: [f64; 2]) -> Polyline {
        let share = |n: u32| f64::from(n) / 50.0;
        let at = |n| [0, 1].map(|axis| from[axis] + share(n) * (to[axis] - from[axis]));
        (0..=50).map(at).collect()
    }

    fn height(trace: &DrawnTrace, x: f64) -> f64 {
        let near = |point: &&[f64; 2]| (point[0] - x).abs();
        trace.points_mm.iter().min_by(|a, b| near(a).total_cmp(&near(b))).unwrap()[1]
    }

    #[test]
    fn what_is_drawn_later_takes_the_place_of_what_was_there() {
        let strokes = [line([10.0, 30.0], [170.0, 30.0]), line([50.0, 10.0], [80.0, 10.0])];
        let drawn = trace(&strokes, &place());
        assert_eq!(height(&drawn, 30.0), 30.0);
        assert_eq!(height(&drawn, 65.0), 10.0);
        assert_eq!(height(&drawn, 100.0), 30.0);
        assert!(drawn.points_mm.windows(2).all(|pair| pair[1][0] > pair[0][0]));
        // The old stroke is sampled every 3.2 mm: it ends that far from the new one.
        assert!(drawn.gaps_mm.iter().all(|gap| gap[1] - gap[0] < 3.3));
    }

    #[test]
    fn a_stroke_from_right_to_left_is_the_same_trace() {
        let there = trace(&[line([20.0, 12.0], [60.0, 33.0])], &place());
        let back = trace(&[line([60.0, 33.0], [20.0, 12.0])], &place());
        for x in [20.0, 31.0, 47.0, 60.0] {
            assert!((height(&there, x) - height(&back, x)).abs() < 0.2);
        }
    }

    #[test]
    fn going_back_draws_that_stretch_anew() {
        let mut stroke = line([20.0, 30.0], [80.0, 30.0]);
        stroke.extend(line([80.0, 30.0], [50.0, 15.0]));
        let drawn = trace(&[stroke], &place());
        assert_eq!(height(&drawn, 40.0), 30.0);
        assert!((height(&drawn, 55.0) - 17.5).abs() < 0.3, "{}", height(&drawn, 55.0));
    }

    #[test]
    fn a_trembling_hand_keeps_its_peak() {
        let mut stroke = line([20.0, 30.0], [50.0, 30.0]);
        stroke.extend([[50.4, 20.0], [50.2, 8.0], [50.6, 9.0], [51.0, 30.0]]);
        stroke.extend(line([51.2, 30.0], [90.0, 30.0]));
        let drawn = trace(&[stroke], &place());
        let top = drawn.points_mm.iter().map(|point| point[1]).fold(f64::MAX, f64::min);
        assert!((top - 8.0).abs() < 0.01, "{top}");
    }

    #[test]
    fn a_gap_is_told() {
        let strokes = [line([10.0, 30.0], [50.0, 30.0]), line([60.0, 30.0], [90.0, 30.0])];
        assert_eq!(trace(&strokes, &place()).gaps_mm, [[50.0, 60.0]]);
    }

    #[test]
    fn bars_that_touch_are_one() {
        let place = BarPlace {
            bar: "mitral".to_owned(),
            area: Box2::new(10.0, 0.0, 100.0, 7.0),
            time_s: [0.0, 1.0],
            given: false,
        };
        let drawn = bar(&[[30.0, 20.0], [28.0, 45.0], [-4.0, 12.0], [70.0, 70.1]], &place);
        assert_eq!(drawn.stretches_mm, [[10.0, 12.0], [20.0, 45.0]]);
    }
}
