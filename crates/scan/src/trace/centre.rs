//! From a way through pixels to the middle of the stroke.

use super::path::Sight;

/// Pixels before and after a point from which its direction is taken.
const AHEAD: usize = 4;
/// Pixels before and after a point with which it is averaged.
const EVEN: usize = 2;
/// How far apart two strokes may be that were meant as one, in millimetres.
const DOUBLE_MM: f64 = 1.3;
/// How long they must run side by side, in millimetres.
const TOGETHER_MM: f64 = 2.0;

/// The median width of the stroke along a way, in pixels.
pub(crate) fn width(sight: &Sight<'_>, way: &[[usize; 2]]) -> f64 {
    let ink = sight.ink;
    let most = ink.px(2.0);
    let run = |at: usize, step: usize| {
        let before = (1..most).take_while(|n| at >= n * step && sight.inked(at - n * step));
        let after =
            (1..most).take_while(|n| at + n * step < ink.ink.len() && sight.inked(at + n * step));
        1 + before.count() + after.count()
    };
    let inked = way.iter().map(|[x, y]| y * ink.width + x).filter(|&at| sight.inked(at));
    let mut widths: Vec<usize> = inked.map(|at| run(at, 1).min(run(at, ink.width))).collect();
    widths.sort_unstable();
    widths.get(widths.len() / 2).map_or(0.0, |&width| width as f64)
}

/// A point of a stroke.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Centred {
    /// Its middle, in pixels.
    pub(crate) point: [f64; 2],
    /// How wide it is there, in pixels, where that could be seen.
    pub(crate) width: Option<f64>,
}

/// Moves each point of `way` onto the middle of the stroke of this `width`, across its direction.
pub(crate) fn centred(sight: &Sight<'_>, way: &[[usize; 2]], width: f64) -> Vec<Centred> {
    let mut points: Vec<[f64; 2]> = way.iter().map(|at| at.map(|at| at as f64)).collect();
    let mut seen = vec![None; points.len()];
    for _ in 0..2 {
        let even = averaged(&points, EVEN);
        let found: Vec<Option<([f64; 2], f64)>> = (0..points.len())
            .map(|n| {
                let [dx, dy] = direction(&even, n)?;
                let across = [-dy, dx];
                let [by, wide] = middle(sight, even[n], across, width)?;
                Some(([by * across[0], by * across[1]], wide))
            })
            .collect();
        seen = found.iter().map(|one| one.map(|(_, wide)| wide)).collect();
        let offsets: Vec<_> = found.iter().map(|one| one.map(|(by, _)| by)).collect();
        let offsets = filled(&offsets, sight.ink.px(1.5));
        points = even.iter().zip(offsets).map(|(p, by)| [p[0] + by[0], p[1] + by[1]]).collect();
    }
    let points = averaged(&points, EVEN).into_iter().zip(seen);
    points.map(|(point, width)| Centred { point, width }).collect()
}

fn averaged(points: &[[f64; 2]], by: usize) -> Vec<[f64; 2]> {
    (0..points.len())
        .map(|n| {
            let by = by.min(n).min(points.len() - 1 - n);
            let near = &points[n - by..=n + by];
            [0, 1].map(|axis| near.iter().map(|p| p[axis]).sum::<f64>() / near.len() as f64)
        })
        .collect()
}

fn direction(points: &[[f64; 2]], n: usize) -> Option<[f64; 2]> {
    let (from, to) = (points[n.saturating_sub(AHEAD)], points[(n + AHEAD).min(points.len() - 1)]);
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let length = libm::hypot(dx, dy);
    (length > 2.0).then(|| [dx / length, dy / length])
}

/// How far across the stroke's middle is, by the mean of its ink, and how wide it is.
fn middle(sight: &Sight<'_>, from: [f64; 2], across: [f64; 2], width: f64) -> Option<[f64; 2]> {
    const STEP: f64 = 0.5;
    let reach = ((1.2 * width + 2.0) / STEP) as i32;
    let at = |n: i32| {
        let by = f64::from(n) * STEP;
        between(sight, from[0] + by * across[0], from[1] + by * across[1])
    };
    let start =
        (0..=(0.7 * width / STEP) as i32 + 2).flat_map(|n| [n, -n]).find(|&n| at(n) > 0.02)?;
    let mut most = 0.0_f32;
    let mut end = |way: i32| {
        let mut n = start;
        while (n + way).abs() <= reach {
            let next = at(n + way);
            most = most.max(next);
            if next < 0.02 {
                return Some(n);
            }
            n += way;
        }
        None
    };
    let (first, last) = (end(-1)?, end(1)?);
    let wide = f64::from(last - first) * STEP;
    if wide > 1.9 * width + 2.0 {
        return None;
    }
    let (mut sum, mut moment) = (0.0, 0.0);
    for n in first..=last {
        let ink = f64::from(at(n));
        sum += ink;
        moment += ink * f64::from(n) * STEP;
    }
    Some([moment / sum, wide])
}

fn between(sight: &Sight<'_>, x: f64, y: f64) -> f32 {
    let (width, height) = (sight.ink.width, sight.ink.height);
    if x < 0.0 || y < 0.0 || x >= width as f64 - 1.0 || y >= height as f64 - 1.0 {
        return 0.0;
    }
    let (left, top) = (x as usize, y as usize);
    let (across, down) = ((x - left as f64) as f32, (y - top as f64) as f32);
    let at = top * width + left;
    let mix = |at: usize| {
        let (a, b) = (sight.value(at), sight.value(at + 1));
        a + across * (b - a)
    };
    let (upper, lower) = (mix(at), mix(at + width));
    upper + down * (lower - upper)
}

/// Gives what is missing a mean of its neighbours along the way, no farther than `reach`.
fn filled(offsets: &[Option<[f64; 2]>], reach: usize) -> Vec<[f64; 2]> {
    let mut before = vec![None; offsets.len()];
    let mut last = None;
    for (n, offset) in offsets.iter().enumerate() {
        last = offset.map(|by| (n, by)).or(last);
        before[n] = last;
    }
    let mut out = vec![[0.0; 2]; offsets.len()];
    let mut next = None;
    for n in (0..offsets.len()).rev() {
        next = offsets[n].map(|by| (n, by)).or(next);
        let near = |one: Option<(usize, [f64; 2])>| one.filter(|(at, _)| at.abs_diff(n) <= reach);
        out[n] = match (near(before[n]), near(next)) {
            (Some((a, one)), Some((b, other))) if b > a => {
                let share = (n - a) as f64 / (b - a) as f64;
                [0, 1].map(|axis| one[axis] + share * (other[axis] - one[axis]))
            }
            (Some((_, one)), _) | (None, Some((_, one))) => one,
            (None, None) => [0.0; 2],
        };
    }
    out
}

/// For each column of the way, how far the middle of a stroke beside it is from its own, in
/// pixels; `None` where there is none or the way is steep.
pub(crate) fn beside(sight: &Sight<'_>, way: &[[usize; 2]], width: f64) -> Vec<Option<f64>> {
    let Some(first) = way.first().map(|at| at[0]) else { return Vec::new() };
    let mut spans = vec![[usize::MAX, 0]; way[way.len() - 1][0] - first + 1];
    for [x, y] in way {
        let span = &mut spans[x - first];
        *span = [span[0].min(*y), span[1].max(*y)];
    }
    let flat = 2 + width as usize / 2;
    let other = |(n, [top, bottom]): (usize, &[usize; 2])| {
        let at = [first + n, (top + bottom) / 2];
        (bottom - top <= flat).then(|| other(sight, at, width))?
    };
    spans.iter().enumerate().map(other).collect()
}

/// How far the mean of two strokes that run side by side for long is from the way's own stroke;
/// `None` where there is one stroke.
pub(crate) fn doubled(sight: &Sight<'_>, beside: &[Option<f64>]) -> Vec<Option<f64>> {
    let least = sight.ink.px(TOGETHER_MM);
    let mut out = vec![None; beside.len()];
    let goes_on = |n: usize| {
        let pair = beside[n - 1].zip(beside[n]);
        pair.is_some_and(|(before, here)| (before - here).abs() < 3.0)
    };
    let mut start = 0;
    for n in 1..=beside.len() {
        if n < beside.len() && goes_on(n) {
            continue;
        }
        if n - start >= least {
            for at in start..n {
                out[at] = beside[at].map(|by| by / 2.0);
            }
        }
        start = n;
    }
    out
}

/// Where the middle of another stroke is in a column, from the middle of that at `y`.
fn other(sight: &Sight<'_>, [x, y]: [usize; 2], width: f64) -> Option<f64> {
    let ink = sight.ink;
    let inked = |y: usize| y < ink.height && sight.inked(y * ink.width + x);
    if !inked(y) {
        return None;
    }
    let reach = ink.px(DOUBLE_MM);
    let (mut top, mut bottom) = (y, y);
    while top > 0 && inked(top - 1) {
        top -= 1;
    }
    while inked(bottom + 1) {
        bottom += 1;
    }
    let own = (top + bottom) as f64 / 2.0;
    let widest = 1.6 * width + 2.0;
    if (bottom - top + 1) as f64 > widest {
        return None;
    }
    let run = |start: usize, down: bool| {
        let step = |y: usize| if down { y + 1 } else { y.saturating_sub(1) };
        let mut end = start;
        while end > 0 && inked(step(end)) {
            end = step(end);
        }
        let thick = (end.abs_diff(start) + 1) as f64;
        let centre = (start + end) as f64 / 2.0;
        (thick <= widest && thick >= 0.4 * width).then_some(centre - own)
    };
    let below = (bottom + 2..bottom + reach).find(|&y| inked(y)).and_then(|y| run(y, true));
    let least = top.saturating_sub(reach).max(1);
    let above =
        (least..top.saturating_sub(1)).rev().find(|&y| inked(y)).and_then(|y| run(y, false));
    let near = |by: &f64| by.abs() <= reach as f64;
    below.into_iter().chain(above).filter(near).min_by(|a, b| a.abs().total_cmp(&b.abs()))
}
