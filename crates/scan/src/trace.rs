//! What is drawn: traces, sounds, alignment lines, and what is written beside them.

mod bars;
mod centre;
mod ends;
mod labels;
mod lines;
mod own;
pub(crate) mod parts;
mod path;
mod rest;
mod sounds;

pub use bars::DrawnBar;
pub use labels::{Kind, Label};
pub use lines::{AlignmentLine, LineStyle};
pub use sounds::{Burst, BurstStyle, DrawnSounds};

use crate::ink::Ink;
use crate::{PageForm, PanelForm};
use centre::Centred;
use parts::Parts;
use path::{Region, Sight};

/// How far a trace may leave its panel, in millimetres, upward and downward.
const BEYOND_MM: f64 = 1.6;
/// What does not reach into its panel by so much, in millimetres, is left of the printed frame or
/// stands outside.
const INSIDE_MM: f64 = 0.8;
/// A gap in a trace is at least this long, in millimetres.
const GAP_MM: f64 = 0.5;
/// Print may hide a trace for this long, in millimetres: a dash and what is left of its ends.
const HIDDEN_MM: f64 = 4.0;
/// A piece of a trace that stands alone is at least this long, in millimetres.
const PIECE_MM: f64 = 4.0;
/// A shorter piece counts where it is no farther from the next, in millimetres.
const ALONE_MM: f64 = 2.5;
/// A trace is at least this long, in millimetres, and goes on at least so far along the time axis:
/// what stands upright is left of an alignment line, or dirt on the copier's glass.
const LEAST_MM: f64 = 10.0;
const LEAST_WIDE_MM: f64 = 6.0;
/// A stroke that is too wide for this long, in millimetres, may be two.
const WIDE_MM: f64 = 2.0;
/// Strokes side by side may touch or seem one for this long in between, in millimetres.
const BREAK_MM: f64 = 1.5;
/// A way that goes over paper for this long, in millimetres, may have gone elsewhere.
const BARE_MM: f64 = 1.2;
/// A trace may have been followed along a line for this far on either side of it, in millimetres;
/// so far out, and by so many points, is told which way leads there; and it leaves that by more.
const ALONG_MM: f64 = 1.3;
const LEADS_MM: f64 = 2.8;
const LEAST_BESIDE: usize = 4;
const OFF_MM: f64 = 0.8;
/// At half its height such a way up and down is no wider than this, in millimetres.
const NARROW_MM: f64 = 0.6;
/// A trace that is drawn in all of its panel is followed for this share of it.
const MOST: f64 = 0.75;
/// Every how many pixels of the way a point is given.
const EVERY: usize = 2;

/// A trace in its panel.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnTrace {
    /// The panel's channel.
    pub channel: String,
    /// The stroke's middle from left to right, a quarter of a millimetre apart or less, in
    /// millimetres from the page's top left corner; x never falls by more than the stroke's
    /// width. Empty where nothing is drawn.
    pub points_mm: Vec<[f64; 2]>,
    /// For each point, 0 … 1.
    pub confidence: Vec<f32>,
    /// Where nothing is drawn between two points: x from and to.
    pub gaps: Vec<[f64; 2]>,
    /// Where it could be read otherwise, such as at double strokes: x from and to.
    pub ambiguous: Vec<[f64; 2]>,
    /// Width of the stroke; 0 where nothing is drawn.
    pub width_mm: f64,
    /// How sure the reading of the whole panel is, 0 … 1; an empty panel can be read for sure.
    pub sure: f32,
}

/// All that is drawn on a page.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// The traces of the panels that are asked for.
    pub traces: Vec<DrawnTrace>,
    /// What is drawn in panels for sounds.
    pub sounds: Vec<DrawnSounds>,
    /// The bars that are asked for.
    pub bars: Vec<DrawnBar>,
    /// The alignment lines, from left to right.
    pub lines: Vec<AlignmentLine>,
    /// What is written or drawn beside traces and lines.
    pub labels: Vec<Label>,
}

/// Reads what is drawn in the panels of `form`.
pub fn drawing(ink: &Ink, form: &PageForm) -> Drawing {
    let (lines, line) = lines::alignment_lines(ink, form);
    let mut rest: Vec<bool> =
        ink.ink.iter().zip(&line).map(|(&ink, &line)| (ink > 0) & !line).collect();
    let parts = Parts::of_mask(ink.width, &rest);
    let sight = Sight { ink, line: &line, parts: &parts };
    let mut taken = vec![false; parts.count()];
    let (mut traces, mut sounds) = (Vec::new(), Vec::new());
    for panel in form.panels.iter().filter(|panel| !panel.given) {
        let region = region(ink, panel);
        if panel.sounds {
            sounds.push(sounds::read(&sight, region, panel, &lines, &mut taken));
        } else {
            let mut trace = trace(&sight, region, &panel.channel, &mut rest);
            if !panel.narrow_waves {
                lines.iter().for_each(|line| leave(line, panel, &mut trace));
            }
            traces.push(trace);
        }
    }
    let asked = form.bars.iter().filter(|bar| !bar.given);
    let bars: Vec<DrawnBar> =
        asked.map(|bar| bars::read(&sight, bar, &lines, &mut taken)).collect();
    for (at, part) in parts.each() {
        if taken[part] {
            rest[at] = false;
        }
    }
    let labels = labels::labels(ink, &rest, form);
    Drawing { traces, sounds, bars, lines, labels }
}

impl Drawing {
    /// In how many of the panels and bars that are asked for nothing was found.
    pub fn empty(&self) -> usize {
        let traces = self.traces.iter().filter(|trace| trace.points_mm.is_empty());
        let sounds = self.sounds.iter().filter(|sounds| sounds.bursts.is_empty());
        let bars = self.bars.iter().filter(|bar| bar.stretches_mm.is_empty());
        traces.count() + sounds.count() + bars.count()
    }

    /// For how long traces were followed, in millimetres along the time axis.
    pub fn followed_mm(&self) -> f64 {
        self.traces.iter().map(DrawnTrace::followed_mm).sum()
    }

    /// Whether a trace was followed for less than most of its panel.
    pub fn is_sparse(&self, form: &PageForm) -> bool {
        let panel =
            |trace: &DrawnTrace| form.panels.iter().find(|panel| panel.channel == trace.channel);
        self.traces.iter().any(|trace| {
            panel(trace).is_some_and(|panel| trace.followed_mm() < MOST * panel.width_mm)
        })
    }
}

impl DrawnTrace {
    fn followed_mm(&self) -> f64 {
        let [first, last] = [self.points_mm.first(), self.points_mm.last()];
        let whole = first.zip(last).map_or(0.0, |(first, last)| last[0] - first[0]);
        whole - self.gaps.iter().map(|[from, to]| to - from).sum::<f64>()
    }
}

fn region(ink: &Ink, panel: &PanelForm) -> Region {
    Region {
        left: ink.column(panel.x_mm - 0.5),
        top: ink.line(panel.y_mm - BEYOND_MM),
        right: ink.column(panel.x_mm + panel.width_mm + 0.5) + 1,
        bottom: ink.line(panel.y_mm + panel.height_mm + BEYOND_MM) + 1,
        inside: [panel.y_mm + INSIDE_MM, panel.y_mm + panel.height_mm - INSIDE_MM]
            .map(|y| ink.line(y)),
    }
}

/// The parts of the ink that do not reach into a panel.
fn outside(sight: &Sight<'_>, region: Region) -> Vec<bool> {
    let [top, bottom] = region.inside;
    let bounds = (0..sight.parts.count()).map(|part| sight.parts.bounds(part));
    bounds.map(|bounds| bounds.bottom <= top || bounds.top >= bottom).collect()
}

/// What a column of the way is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum On {
    Ink,
    Line,
    Print,
    Paper,
}

fn trace(sight: &Sight<'_>, region: Region, channel: &str, rest: &mut [bool]) -> DrawnTrace {
    let ink = sight.ink;
    let mut drawn = DrawnTrace {
        channel: channel.to_owned(),
        points_mm: Vec::new(),
        confidence: Vec::new(),
        gaps: Vec::new(),
        ambiguous: Vec::new(),
        width_mm: 0.0,
        sure: 1.0,
    };
    let outside = outside(sight, region);
    let way = path::cheapest(sight, region, &outside);
    let pieces = pieces(sight, region, &way, &outside);
    let Some(whole) = pieces.first().zip(pieces.last()).map(|(a, b)| [a[0], b[1]]) else {
        return drawn;
    };
    let within = |at: &&[usize; 2]| whole[0] <= at[0] && at[0] <= whole[1];
    let way: Vec<[usize; 2]> = way.iter().filter(within).copied().collect();
    let width = centre::width(sight, &way);
    let beside = centre::beside(sight, &way, width);
    let doubled = centre::doubled(sight, &beside);
    let x_mm = |column: usize| ink.x_mm(column as f64);
    drawn.width_mm = width / ink.px_per_mm;
    drawn.gaps = pieces.windows(2).map(|pair| [x_mm(pair[0][1]), x_mm(pair[1][0])]).collect();
    let centred = centre::centred(sight, &way, width);
    let two: Vec<bool> = way.iter().map(|at| beside[at[0] - whole[0]].is_some()).collect();
    let unsure = unsure(sight, &way, &centred, width, &two);
    drawn.ambiguous = stretches(way.len(), |n| unsure[n])
        .into_iter()
        .map(|[from, to]| [x_mm(way[from][0]), x_mm(way[to][0])])
        .collect();
    let typical = typical(sight, &way);
    let ends = ends(sight, &way, &pieces);
    let mut piece = 0;
    for (n, (&[x, y], centred)) in way.iter().zip(centred).enumerate() {
        while x > pieces[piece][1] {
            piece += 1;
        }
        let twice = doubled[x - whole[0]];
        if !(ends[piece][0]..=ends[piece][1]).contains(&n) {
            continue;
        }
        take(sight, rest, [x, y], width, twice.unwrap_or(0.0));
        if !(n - ends[piece][0]).is_multiple_of(EVERY) {
            continue;
        }
        let mut point = centred.point;
        point[1] += twice.unwrap_or(0.0);
        let value = (sight.value(y * ink.width + x) / typical).min(1.0);
        let seen = if centred.width.is_some() { 1.0 } else { 0.6 };
        let sure = seen * if unsure[n] { 0.6 } else { 1.0 };
        drawn.points_mm.push([ink.x_mm(point[0]), ink.y_mm(point[1])]);
        drawn.confidence.push(sure * (0.3 + 0.7 * value));
    }
    let count = drawn.confidence.len().max(1) as f32;
    drawn.sure = drawn.confidence.iter().sum::<f32>() / count;
    drawn
}

/// Takes a trace off an alignment line that it was followed along: where, on the line alone, it
/// leaves the way that leads to it and away from it.
fn leave(line: &AlignmentLine, panel: &PanelForm, trace: &mut DrawnTrace) {
    let x = line.x_at(panel.y_mm + panel.height_mm / 2.0);
    let side = |from: f64, to: f64| {
        let beside = trace.points_mm.iter().filter(|point| (from..to).contains(&point[0]));
        // As a function of x.
        let points: Vec<[f64; 2]> = beside.map(|&[x, y]| [y, x]).collect();
        (points.len() >= LEAST_BESIDE).then(|| lines::Straight::through(&points))
    };
    let before = side(x - LEADS_MM, x - ALONG_MM);
    let after = side(x + ALONG_MM, x + LEADS_MM);
    let Some((before, after)) = before.zip(after) else { return };
    let (start, end) = (before.at(x - ALONG_MM), after.at(x + ALONG_MM));
    // How far a point lies off the ways that lead to it: rounded turns lie within their corner.
    let off = |point: &[f64; 2]| {
        let share = (point[0] - x) / (2.0 * ALONG_MM) + 0.5;
        let ways = [before.at(point[0]), after.at(point[0]), start + share * (end - start)];
        let top = ways.into_iter().fold(f64::MAX, f64::min);
        let bottom = ways.into_iter().fold(f64::MIN, f64::max);
        let near = (point[0] - x).abs() < ALONG_MM;
        if near { (top - point[1]).max(point[1] - bottom).max(0.0) } else { 0.0 }
    };
    let most = trace.points_mm.iter().map(off).fold(0.0, f64::max);
    let far = trace.points_mm.iter().filter(|point| 2.0 * off(point) > most);
    let [left, right] =
        far.fold([f64::MAX, f64::MIN], |[a, b], point| [a.min(point[0]), b.max(point[0])]);
    // Nobody draws a wave this narrow but by going up and down one line.
    if most < OFF_MM || right - left > NARROW_MM {
        return;
    }
    let first = trace.points_mm.iter().position(|point| off(point) > OFF_MM / 2.0);
    let last = trace.points_mm.iter().rposition(|point| off(point) > OFF_MM / 2.0);
    if let Some((first, last)) = first.zip(last) {
        trace.points_mm.drain(first..=last);
        trace.confidence.drain(first..=last);
    }
}

/// Which points of a way could be elsewhere: where there is another stroke beside, or one that is
/// too wide for one, for long, and where the way goes far over paper.
fn unsure(
    sight: &Sight<'_>,
    way: &[[usize; 2]],
    centred: &[Centred],
    width: f64,
    two: &[bool],
) -> Vec<bool> {
    let ink = sight.ink;
    let mut unsure = vec![false; way.len()];
    let wide = |n: usize| centred[n].width.is_some_and(|wide| wide > 1.4 * width + 0.5);
    let mut found: Vec<[usize; 2]> = Vec::new();
    for [from, to] in stretches(way.len(), |n| two[n] || wide(n)) {
        match found.last_mut() {
            Some(last) if from - last[1] <= ink.px(BREAK_MM) => last[1] = to,
            _ => found.push([from, to]),
        }
    }
    for [from, to] in found {
        let along = to - from >= ink.px(WIDE_MM);
        if along && way[to][0] - way[from][0] >= ink.px(WIDE_MM / 2.0) {
            unsure[from..=to].fill(true);
        }
    }
    let bare = |n: usize| {
        let at = way[n][1] * ink.width + way[n][0];
        !sight.inked(at) && !ink.hidden[at]
    };
    for [from, to] in stretches(way.len(), bare) {
        if to - from >= ink.px(BARE_MM) {
            unsure[from..=to].fill(true);
        }
    }
    unsure
}

/// First and last point of each piece that is on ink.
fn ends(sight: &Sight<'_>, way: &[[usize; 2]], pieces: &[[usize; 2]]) -> Vec<[usize; 2]> {
    let inked = |n: &usize| sight.inked(way[*n][1] * sight.ink.width + way[*n][0]);
    let one = |&[left, right]: &[usize; 2]| {
        let from = way.partition_point(|at| at[0] < left);
        let to = way.partition_point(|at| at[0] <= right);
        let (first, last) = ((from..to).find(inked), (from..to).rev().find(inked));
        [first.unwrap_or(from), last.unwrap_or(from)]
    };
    pieces.iter().map(one).collect()
}

/// Half of what is usual in the ink along a way.
fn typical(sight: &Sight<'_>, way: &[[usize; 2]]) -> f32 {
    let values = way.iter().map(|[x, y]| sight.value(y * sight.ink.width + x));
    let mut values: Vec<f32> = values.filter(|&value| value > 0.0).collect();
    values.sort_by(f32::total_cmp);
    values.get(values.len() / 2).map_or(1.0, |value| 0.5 * value)
}

/// Columns from and to of the pieces of a trace.
fn pieces(
    sight: &Sight<'_>,
    region: Region,
    way: &[[usize; 2]],
    outside: &[bool],
) -> Vec<[usize; 2]> {
    let ink = sight.ink;
    let columns = region.right - region.left;
    let mut on = vec![On::Paper; columns];
    let mut long = vec![0_usize; columns];
    for [x, y] in way {
        let at = y * ink.width + x;
        let n = x - region.left;
        let here = if sight.line[at] {
            On::Line
        } else if ink.ink[at] > 0 && !sight.parts.at(at).is_some_and(|part| outside[part]) {
            long[n] += 1;
            On::Ink
        } else if ink.hidden[at] {
            On::Print
        } else {
            On::Paper
        };
        on[n] = match (on[n], here) {
            (On::Ink, _) | (_, On::Ink) => On::Ink,
            (On::Line, _) | (_, On::Line) => On::Line,
            (On::Print, _) | (_, On::Print) => On::Print,
            _ => On::Paper,
        };
    }
    let (gap, hidden) = (ink.px(GAP_MM), ink.px(HIDDEN_MM));
    let mut pieces: Vec<[usize; 2]> = Vec::new();
    for n in (0..columns).filter(|&n| on[n] == On::Ink) {
        let joins = pieces.last().is_some_and(|last| {
            let between = &on[last[1] + 1..n];
            let bare = between.iter().filter(|&&on| on == On::Paper).count();
            bare < gap && between.len() < hidden
        });
        match pieces.last_mut() {
            Some(last) if joins => last[1] = n,
            _ => pieces.push([n, n]),
        }
    }
    let length = |[from, to]: [usize; 2]| long[from..=to].iter().sum::<usize>();
    let least = ink.px(PIECE_MM);
    let alone = ink.px(ALONE_MM);
    let near = |n: usize, pieces: &[[usize; 2]]| {
        let bare =
            |from: usize, to: usize| on[from..to].iter().filter(|&&on| on == On::Paper).count();
        let before = n.checked_sub(1).map(|before| bare(pieces[before][1], pieces[n][0]));
        let after = pieces.get(n + 1).map(|after| bare(pieces[n][1], after[0]));
        before.into_iter().chain(after).any(|apart| apart < alone)
    };
    let kept: Vec<[usize; 2]> = (0..pieces.len())
        .filter(|&n| length(pieces[n]) >= least || near(n, &pieces))
        .map(|n| pieces[n])
        .collect();
    let long = kept.iter().map(|&piece| length(piece)).sum::<usize>();
    let wide = kept.iter().map(|[from, to]| to - from).sum::<usize>();
    if long < ink.px(LEAST_MM) || wide < ink.px(LEAST_WIDE_MM) {
        return Vec::new();
    }
    kept.into_iter().map(|piece| piece.map(|n| region.left + n)).collect()
}

/// Takes the ink about a point of a trace out of `rest`.
fn take(sight: &Sight<'_>, rest: &mut [bool], [x, y]: [usize; 2], width: f64, doubled: f64) {
    let ink = sight.ink;
    let reach = (0.7 * width).ceil() as usize + 2;
    let down = reach + (2.0 * doubled.abs()) as usize;
    for v in y.saturating_sub(down)..(y + down + 1).min(ink.height) {
        for u in x.saturating_sub(reach)..(x + reach + 1).min(ink.width) {
            rest[v * ink.width + u] = false;
        }
    }
}

/// First and last of each run of numbers below `count` for which `holds`.
fn stretches(count: usize, holds: impl Fn(usize) -> bool) -> Vec<[usize; 2]> {
    let mut found: Vec<[usize; 2]> = Vec::new();
    for n in (0..count).filter(|&n| holds(n)) {
        match found.last_mut() {
            Some(last) if last[1] + 1 == n => last[1] = n,
            _ => found.push([n, n]),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn panel() -> PanelForm {
        PanelForm {
            channel: "lv_volume".to_owned(),
            x_mm: 20.0,
            y_mm: 100.0,
            width_mm: 60.0,
            height_mm: 30.0,
            given: false,
            sounds: false,
            small_sounds: false,
            narrow_waves: false,
        }
    }

    fn line() -> AlignmentLine {
        AlignmentLine {
            top_x_mm: 49.8,
            bottom_x_mm: 50.2,
            top_mm: 80.0,
            bottom_mm: 150.0,
            width_mm: 0.5,
            style: LineStyle::Solid,
            confidence: 1.0,
        }
    }

    fn left(wave: impl Fn(f64) -> f64) -> Vec<[f64; 2]> {
        let points_mm: Vec<[f64; 2]> =
            (0..400).map(|n| 40.0 + f64::from(n) / 20.0).map(|x| [x, wave(x)]).collect();
        let mut trace = DrawnTrace {
            channel: "lv_volume".to_owned(),
            confidence: vec![1.0; points_mm.len()],
            points_mm,
            gaps: Vec::new(),
            ambiguous: Vec::new(),
            width_mm: 0.5,
            sure: 1.0,
        };
        leave(&line(), &panel(), &mut trace);
        assert_eq!(trace.points_mm.len(), trace.confidence.len());
        trace.points_mm
    }

    #[test]
    fn a_trace_that_was_followed_along_a_line_leaves_it() {
        let off = |x: f64| x - 50.0;
        // Up and down again along the line, from a level and from a gentle slope.
        for slope in [0.0, 0.2, 1.2] {
            let spike = |x: f64| if off(x).abs() < 0.25 { 108.0 } else { 115.0 + slope * off(x) };
            let points = left(spike);
            let stays = |point: &[f64; 2]| (point[1] - 115.0 - slope * off(point[0])).abs() < 0.1;
            assert!(points.iter().all(stays) && points.len() > 350, "{}", points.len());
        }
    }

    #[test]
    fn waves_under_a_line_stay() {
        let off = |x: f64| x - 50.0;
        let notch = |x: f64| 115.0 + 3.0 * (1.0 - off(x).abs() / 2.0).max(0.0) + 0.8 * off(x);
        let round = |x: f64| 115.0 + 2.0 * off(x).hypot(0.8);
        let step = |x: f64| if off(x) < 0.0 { 115.0 } else { 105.0 };
        let small = |x: f64| if off(x).abs() < 0.5 { 114.5 } else { 115.0 };
        for wave in [&notch as &dyn Fn(f64) -> f64, &round, &step, &small] {
            assert_eq!(left(wave).len(), 400);
        }
    }
}
