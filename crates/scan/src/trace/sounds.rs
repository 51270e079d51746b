//! Bursts of sound: where they begin and end, how high they are and how they are drawn.

use super::ends::{Extent, Reaches};
use super::lines::AlignmentLine;
use super::own::Own;
use super::parts::{Parts, PixelBox};
use super::path::{Region, Sight};
use super::rest::resting;
use crate::PanelForm;
use crate::ink::{Ink, share};

/// A burst is at least this long, in millimetres.
const LEAST_LONG_MM: f64 = 1.6;
/// A burst is at least this high, in millimetres.
const LEAST_MM: f64 = 1.6;

/// The widest stroke of a pen, in millimetres, if no resting line tells of a broader one.
const WIDEST_MM: f64 = 0.8;
/// The next stroke of a hatched burst is no farther than this, in millimetres.
const NEXT_MM: f64 = 1.6;
/// How far from the resting line a burst's first stroke reaches at least, in its whole height.
const FIRST: f64 = 0.17;
/// Strokes of a hatching are nearer to one another than this, in millimetres.
const SPARSE_MM: f64 = 1.6;
/// Whether a stroke went with a line is seen so near to the resting line, in millimetres.
const LINED_MM: f64 = 4.0;
/// How much more ink a line has where a stroke lies on it.
const OVERDRAWN: f32 = 1.25;
/// Without a burst, ink shorter than this, in millimetres, is no trace at rest.
const REST_MM: f64 = 10.0;

/// How a burst is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BurstStyle {
    /// Strokes side by side, or filled.
    Hatched,
    /// Its outline alone.
    Outlined,
    /// One stroke up and down.
    Zigzag,
}

/// One burst of sound.
#[derive(Clone, Debug, PartialEq)]
pub struct Burst {
    /// Where it begins, in millimetres from the page's left side: the middle of its first stroke.
    pub from_mm: f64,
    /// Where it ends.
    pub to_mm: f64,
    /// The middle of its envelope's area.
    pub centre_mm: f64,
    /// Its height from the middle of the stroke at its top to that at its bottom.
    pub height_mm: f64,
    /// How it is drawn.
    pub style: BurstStyle,
    /// How much later it may begin and how much earlier end, in millimetres, if what stands at its
    /// ends and is lower is not part of it.
    pub doubt_mm: [f64; 2],
    /// 0 … 1.
    pub confidence: f32,
}

/// What is drawn in a panel for sounds.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnSounds {
    /// The panel's channel.
    pub channel: String,
    /// x, top and bottom of the ink in millimetres on the page, where there is any.
    pub envelope: Vec<[f64; 3]>,
    /// The bursts, from left to right.
    pub bursts: Vec<Burst>,
    /// What stands on the resting line and is as small as letters, written more likely than a
    /// sound; where there are no bursts, whatever stands there.
    pub perhaps: Vec<Burst>,
    /// Width of the stroke in millimetres; 0 where nothing is drawn.
    pub width_mm: f64,
    /// How sure the reading of the whole panel is, 0 … 1; an empty panel can be read for sure.
    pub confidence: f32,
}

/// Reads a panel for sounds; also says which parts of the ink it took.
pub(crate) fn read(
    sight: &Sight<'_>,
    region: Region,
    panel: &PanelForm,
    lines: &[AlignmentLine],
    taken: &mut [bool],
) -> DrawnSounds {
    let ink = sight.ink;
    let rest = resting(sight, region);
    let at: Vec<f64> = lines
        .iter()
        .map(|line| (line.x_at(ink.y_mm(rest as f64)) - ink.x_mm(0.0)) * ink.px_per_mm)
        .collect();
    let own = Own::of(sight, region, rest, &at, taken, |own| stroke(sight, region, rest, own));
    let spans = own.spans();
    let width = stroke(sight, region, rest, &own);
    let mut sounds = DrawnSounds {
        channel: panel.channel.clone(),
        envelope: Vec::new(),
        bursts: Vec::new(),
        perhaps: Vec::new(),
        width_mm: width / ink.px_per_mm,
        confidence: 1.0,
    };
    let inked = spans.iter().flatten().count();
    if inked < ink.px(1.5) {
        sounds.width_mm = 0.0;
        return sounds;
    }
    for (n, span) in spans.iter().enumerate() {
        if let Some([top, bottom]) = span {
            let x = ink.x_mm((region.left + n) as f64);
            sounds.envelope.push([x, ink.y_mm(*top as f64 - 0.5), ink.y_mm(*bottom as f64 + 0.5)]);
        }
    }
    let reaches = reaches(sight, region, rest, width, &own, &at);
    for extent in extents(ink, &spans, &reaches, width, &own) {
        let burst = burst(sight, region, &spans, extent, width, &own);
        sounds
            .bursts
            .extend(burst.map(|one| with_lines(ink, region, rest, one, extent.upright, lines)));
    }
    if sounds.bursts.is_empty() && inked < ink.px(REST_MM) {
        sounds.envelope.clear();
        sounds.width_mm = 0.0;
        return sounds;
    }
    sounds.perhaps =
        own.words().iter().map(|word| perhaps(ink, region, *word, width, &reaches)).collect();
    // Where nothing goes to both sides of the resting line, all sounds may stand on it.
    if panel.small_sounds || sounds.bursts.is_empty() {
        let more = beyond_rest(&spans, width, ink).into_iter();
        let more = more.filter(|one| stands_alone(one, width, ink));
        let more: Vec<Burst> = more.map(|one| perhaps(ink, region, one, width, &reaches)).collect();
        let all = sounds.bursts.iter().chain(&sounds.perhaps);
        let free =
            |one: &Burst| !all.clone().any(|b| b.from_mm < one.to_mm && one.from_mm < b.to_mm);
        let more: Vec<Burst> = more.into_iter().filter(free).collect();
        sounds.perhaps.extend(more);
    }
    let least = sounds.bursts.iter().map(|burst| burst.confidence).min_by(f32::total_cmp);
    sounds.confidence = least.unwrap_or(0.8);
    sounds
}

/// The stroke's width in pixels: the median of the shorter runs, and no more than a pen's or the
/// resting line's, where sounds are filled.
fn stroke(sight: &Sight<'_>, region: Region, rest: usize, own: &Own) -> f64 {
    let most = sight.ink.px(2.0);
    let mut widths = Vec::new();
    for y in (region.top..region.bottom).step_by(3) {
        for x in (region.left..region.right).step_by(3).filter(|&x| own.at(x, y)) {
            // Nothing of it lies beyond the panel.
            let run = |inked: &dyn Fn(usize) -> bool, at: usize| {
                let before = (1..most.min(at + 1)).take_while(|n| inked(at - n));
                let after = (1..most).take_while(|n| inked(at + n));
                1 + before.count() + after.count()
            };
            widths.push(run(&|x| own.at(x, y), x).min(run(&|y| own.at(x, y), y)));
        }
    }
    widths.sort_unstable();
    let width = widths.get(widths.len() / 2).map_or(0.0, |&width| width as f64);
    let line = own.resting_stroke(rest - region.top).unwrap_or(0.0);
    width.min(line.max(WIDEST_MM * sight.ink.px_per_mm))
}

/// How far the sounds' ink reaches from the resting line.
fn reaches(
    sight: &Sight<'_>,
    region: Region,
    rest: usize,
    width: f64,
    own: &Own,
    lines: &[f64],
) -> Reaches {
    let ink = sight.ink;
    let size = [region.right - region.left, region.bottom - region.top];
    let inked = |x: usize, y: usize| own.at(region.left + x, region.top + y);
    let lines: Vec<f64> = lines.iter().map(|x| x - region.left as f64).collect();
    let near = ink.px(LINED_MM);
    let lined = |x: usize| {
        let rows = (rest.saturating_sub(near)).max(region.top)..(rest + near).min(region.bottom);
        let at = |y: usize| y * ink.width + region.left + x;
        rows.into_iter().any(|y| sight.line[at(y)] && ink.ink[at(y)] > 0)
    };
    Reaches::of(size, (rest - region.top) as f64, width, ink.px_per_mm, inked, &lines, lined)
}

/// Where bursts are, without what is left of an alignment line or of letters alone.
fn extents(
    ink: &Ink,
    spans: &[Option<[usize; 2]>],
    reaches: &Reaches,
    width: f64,
    own: &Own,
) -> Vec<Extent> {
    let high = |n: usize| spans[n].map_or(0, |[top, bottom]| bottom - top + 1) as f64;
    let mut found = reaches.bursts();
    found.retain(|Extent { columns: [from, to], .. }| {
        let tall = (*from..=*to).any(|n| high(n) > width + LEAST_MM * ink.px_per_mm);
        tall && to - from >= ink.px(LEAST_LONG_MM) && (*from..=*to).any(|n| own.sounds_in(n))
    });
    found
}

/// A small sound is at least this much higher than a stroke, this long and this high, and its
/// strokes are no farther apart, in millimetres.
const LOW_MM: f64 = 0.3;
const LOW_LONG_MM: f64 = 1.6;
const LOW_HIGH_MM: f64 = 0.6;
const LOW_APART_MM: f64 = 1.2;

/// Where ink goes beyond the resting line's stroke for a while.
fn beyond_rest(spans: &[Option<[usize; 2]>], width: f64, ink: &Ink) -> Vec<PixelBox> {
    let high = |n: usize| spans[n].map_or(0, |[top, bottom]| bottom - top + 1) as f64;
    let least = width + LOW_MM * ink.px_per_mm;
    let mut found: Vec<PixelBox> = Vec::new();
    for n in (0..spans.len()).filter(|&n| high(n) > least) {
        let Some([top, bottom]) = spans[n] else { continue };
        match found.last_mut() {
            Some(last) if n - last.right <= ink.px(LOW_APART_MM) => {
                (last.right, last.top, last.bottom) =
                    (n, last.top.min(top), last.bottom.max(bottom));
            }
            _ => found.push(PixelBox { left: n, right: n, top, bottom }),
        }
    }
    found
}

/// Whether such a stretch may be a small sound by itself.
fn stands_alone(one: &PixelBox, width: f64, ink: &Ink) -> bool {
    one.width() >= ink.px(LOW_LONG_MM) && one.height() as f64 > width + LOW_HIGH_MM * ink.px_per_mm
}

/// How sure it is that what is as small as a letter is a burst.
const PERHAPS: f32 = 0.2;

/// A word as the burst that it could be.
fn perhaps(ink: &Ink, region: Region, word: PixelBox, width: f64, reaches: &Reaches) -> Burst {
    let x = |column: f64| ink.x_mm(region.left as f64 + column);
    let [from_mm, to_mm] = reaches.small([word.left, word.right]).ends.map(x);
    Burst {
        from_mm,
        to_mm,
        centre_mm: f64::midpoint(from_mm, to_mm),
        height_mm: (word.height() as f64 - width).max(0.0) / ink.px_per_mm,
        style: BurstStyle::Hatched,
        doubt_mm: [0.0; 2],
        confidence: PERHAPS,
    }
}

/// A burst, before alignment lines beside it are looked at.
fn burst(
    sight: &Sight<'_>,
    region: Region,
    spans: &[Option<[usize; 2]>],
    Extent { columns: [from, to], ends, doubt, .. }: Extent,
    width: f64,
    own: &Own,
) -> Option<Burst> {
    let ink = sight.ink;
    let rows = spans[from..=to].iter().flatten();
    let top = rows.clone().map(|span| span[0]).min()?;
    let bottom = rows.map(|span| span[1]).max()?;
    let (mut sum, mut moment) = (0.0, 0.0);
    for (n, span) in spans[from..=to].iter().enumerate() {
        let high = span.map_or(0.0, |[top, bottom]| (bottom - top + 1) as f64 - width).max(0.0);
        sum += high;
        moment += high * (from + n) as f64;
    }
    let x = |n: f64| ink.x_mm(region.left as f64 + n);
    let columns = [region.left + from, region.left + to];
    let (style, confidence) = style(sight, columns, [top, bottom], own);
    let [from_mm, to_mm] = ends.map(x);
    let doubt_mm = doubt.map(|columns| columns / ink.px_per_mm);
    Some(Burst {
        from_mm,
        to_mm,
        centre_mm: x(moment / sum.max(1e-9)),
        height_mm: ((bottom - top + 1) as f64 - width).max(0.0) / ink.px_per_mm,
        style,
        doubt_mm,
        confidence,
    })
}

/// A hatched burst often begins or ends on an alignment line, whose ink is taken out: where its
/// first or last stroke is `upright` and such a line is near, there may be another one. If the line
/// is darker or wider there than elsewhere, there is.
fn with_lines(
    ink: &Ink,
    region: Region,
    rest: usize,
    mut burst: Burst,
    upright: [bool; 2],
    lines: &[AlignmentLine],
) -> Burst {
    if burst.style != BurstStyle::Hatched && burst.confidence > 0.7 {
        return burst;
    }
    for line in lines {
        let x = line.x_at(ink.y_mm(rest as f64));
        let (before, after) = (burst.from_mm - x, x - burst.to_mm);
        let near = 0.3..NEXT_MM;
        let begins = upright[0] && near.contains(&before);
        let ends = upright[1] && near.contains(&after);
        if !begins && !ends {
            continue;
        }
        let over = overdrawn(ink, region, rest, line, burst.height_mm);
        if over {
            burst.from_mm = burst.from_mm.min(x);
            burst.to_mm = burst.to_mm.max(x);
        }
        burst.confidence = burst.confidence.min(if over { 0.8 } else { 0.6 });
    }
    burst
}

/// Whether a line has more ink within the height of a burst than above and below it.
fn overdrawn(ink: &Ink, region: Region, rest: usize, line: &AlignmentLine, high_mm: f64) -> bool {
    let (top, bottom) = (ink.line(line.top_mm), ink.line(line.bottom_mm));
    let half = ink.px(FIRST * high_mm);
    let (near, reach) = (ink.px(0.5), ink.px(0.7));
    let row = |y: usize| {
        let x = ink.column(line.x_at(ink.y_mm(y as f64)));
        let from = y * ink.width + x.saturating_sub(reach);
        let to = (from + 2 * reach).min((y + 1) * ink.width - 1);
        ink.ink[from..=to].iter().map(|&ink| share(ink)).sum::<f32>()
    };
    let median = |keep: &dyn Fn(usize) -> bool| {
        let rows = region.top.max(top)..region.bottom.min(bottom);
        let mut sums: Vec<f32> =
            rows.filter(|&y| keep(y.abs_diff(rest))).map(row).filter(|&sum| sum > 0.0).collect();
        sums.sort_by(f32::total_cmp);
        sums.get(sums.len() / 2).copied()
    };
    let inside = median(&|off| near < off && off <= half);
    let outside = median(&|off| off > 3 * half);
    inside.zip(outside).is_some_and(|(inside, outside)| inside > OVERDRAWN * outside)
}

/// How a burst is drawn, by the strokes above its resting line and how they hang together; how
/// sure that is, and how many strokes there are.
fn style(
    sight: &Sight<'_>,
    [left, right]: [usize; 2],
    [top, bottom]: [usize; 2],
    own: &Own,
) -> (BurstStyle, f32) {
    let upper = top + (bottom - top) * 2 / 5;
    let wide = right - left + 1;
    let place = |at: usize| (top + at / wide) * sight.ink.width + left + at % wide;
    let value = |at: usize| {
        let at = place(at);
        let (x, y) = (at % sight.ink.width, at / sight.ink.width);
        if own.at(x, y) { sight.value(at) } else { 0.0 }
    };
    // Strokes stand close: only their middles are looked at.
    let most = (0..wide * (upper - top + 1)).map(value).max_by(f32::total_cmp).unwrap_or(0.0);
    let inked = |at: usize| value(at) > 0.5 * most;
    let high = upper - top + 1;
    let pieces = Parts::of(wide, high, inked);
    let tall = (0..pieces.count()).filter(|&part| 3 * pieces.bounds(part).height() > high);
    let tall: Vec<usize> = tall.collect();
    let low = high - 1;
    let runs = |y: usize| {
        let inked = |x: usize| pieces.at(y * wide + x).is_some_and(|part| tall.contains(&part));
        (0..wide).filter(|&x| inked(x) && (x == 0 || !inked(x - 1))).count()
    };
    let (strokes, pieces) = (runs(low), tall.len().max(1));
    let filled = (0..wide * high).filter(|&at| inked(at)).count();
    let sparse = wide > strokes.max(1) * sight.ink.px(SPARSE_MM) && 3 * filled < wide * high;
    let (style, confidence) = match (strokes, strokes as f32 / pieces as f32) {
        (3.., each) if each > 1.5 => (BurstStyle::Zigzag, (each - 1.0).min(1.0)),
        (2, each) if each > 1.5 => (BurstStyle::Outlined, 0.9),
        _ if sparse => (BurstStyle::Outlined, 0.6),
        (0 | 1, _) => (BurstStyle::Hatched, 0.5),
        (_, each) => (BurstStyle::Hatched, (1.9 - 0.9 * each).clamp(0.4, 1.0)),
    };
    (style, confidence)
}
