//! Which ink in a panel for sounds is the sounds' own, and which is written beside them.

use super::parts::{Parts, PixelBox};
use super::path::{Region, Sight};
use super::rest::{resting_line, runs};

/// What reaches the resting line within this many millimetres may be a sound.
const REACHES_MM: f64 = 1.2;
/// How high letters are, and how wide a word is at most, in millimetres.
const LETTER_HIGH_MM: f64 = 6.2;
const LETTER_LOW_MM: f64 = 1.3;
const LETTER_WIDE_MM: f64 = 10.0;
/// What is this high is a sound, in millimetres, and letters are no higher than this share of the
/// highest.
const SOUND_MM: f64 = 6.0;
const LETTER_SHARE: f64 = 0.5;
/// A stroke's width counts as no more than this where lines are told from letters, in millimetres.
const STROKE_MM: f64 = 0.6;
/// A letter that touches a sound reaches to one side of the resting line alone, no farther than
/// this to the other, for at least so long, and at least and at most so far, in millimetres; a
/// sound's stroke is narrower.
const ASIDE_MM: f64 = 0.8;
const TOUCHES_MM: f64 = 2.6;
const BODY_MM: [f64; 2] = [2.0, 8.0];
/// How many times as thick as usual the resting line may be.
const THICKER: f64 = 1.4;
/// What is so near to the usual place of the resting line, in millimetres, lies on it.
const SLACK_MM: f64 = 0.4;
/// How near to the resting line a sound's stroke is where it comes back to it, and how far that is
/// from where it crossed it, in millimetres.
const NEAR_REST_MM: f64 = 0.6;
const THERE_AND_BACK_MM: f64 = 2.2;
/// A stroke that crosses it is near it for so long at most, in millimetres.
const STEEP_MM: f64 = 0.6;
/// What is as narrow as a line, and so near to one, is left of it, in millimetres.
const NARROW_MM: f64 = 1.4;
const OF_LINE_MM: f64 = 1.2;
/// What was cut off a sound is no farther from it and from its resting line, in millimetres.
const CUT_OFF_MM: f64 = 0.8;
/// What an alignment line cut apart is no farther from each other, in millimetres.
const CUT_APART_MM: f64 = 1.8;
/// The sides of an outline are no farther than this from its resting line where they were cut off,
/// in millimetres.
const OUTLINE_MM: f64 = 4.0;
/// A sound goes on beside its higher strokes for so long, in millimetres.
const BESIDE_MM: f64 = 0.4;
/// Letters of a word are no farther apart, in millimetres.
const WORD_MM: f64 = 1.7;

/// The ink of a panel's sounds.
pub(crate) struct Own {
    region: Region,
    columns: usize,
    mask: Vec<bool>,
    /// Columns with a stroke that is higher than the resting line.
    sounding: Vec<bool>,
    /// What was taken for letters, word by word, in pixels from the panel's left and top.
    words: Vec<PixelBox>,
}

impl Own {
    /// Whether a pixel of the page belongs to the sounds.
    pub(crate) fn at(&self, x: usize, y: usize) -> bool {
        let Region { left, top, right, bottom, .. } = self.region;
        let inside = (left..right).contains(&x) && (top..bottom).contains(&y);
        inside && self.mask[(y - top) * self.columns + x - left]
    }

    /// The first and last row of the page with the sounds' ink, in each column of the panel.
    pub(crate) fn spans(&self) -> Vec<Option<[usize; 2]>> {
        let mut spans: Vec<Option<[usize; 2]>> = vec![None; self.columns];
        for (y, row) in (self.region.top..).zip(self.mask.chunks(self.columns)) {
            for (span, _) in spans.iter_mut().zip(row).filter(|(_, inked)| **inked) {
                *span = Some(span.map_or([y, y], |[top, _]| [top, y]));
            }
        }
        spans
    }

    /// Whether a column of the panel, from 0, has a stroke that may be a sound's.
    pub(crate) fn sounds_in(&self, column: usize) -> bool {
        self.sounding[column]
    }

    /// What was taken for letters, word by word, in pixels from the panel's left and top.
    pub(crate) fn words(&self) -> &[PixelBox] {
        &self.words
    }

    /// The parts that reach the resting line, without the letters among them; also says which
    /// parts of the page's ink they took.
    pub(crate) fn of(
        sight: &Sight<'_>,
        region: Region,
        rest: usize,
        lines: &[f64],
        taken: &mut [bool],
        stroke: impl Fn(&Self) -> f64,
    ) -> Self {
        let (ink, parts) = (sight.ink, sight.parts);
        let slack = ink.px(REACHES_MM);
        let reaches = |bounds: PixelBox| {
            bounds.right >= region.left
                && bounds.left < region.right
                && bounds.bottom > region.top
                && bounds.top < region.bottom
                && bounds.top <= rest + slack
                && bounds.bottom + slack >= rest
        };
        let mut own: Vec<bool> =
            (0..parts.count()).map(|part| reaches(parts.bounds(part))).collect();
        // The sides of an outline that an alignment line cuts off where they meet.
        let near = ink.px(OUTLINE_MM);
        let cut_off: Vec<usize> = (0..parts.count())
            .filter(|&part| {
                let bounds = parts.bounds(part);
                let off = bounds.top.saturating_sub(rest) + rest.saturating_sub(bounds.bottom);
                !own[part]
                    && off <= near
                    && bounds.right >= region.left
                    && bounds.left < region.right
            })
            .collect();
        for &one in &cut_off {
            let opposite = |other: &usize| facing(parts.bounds(one), parts.bounds(*other), rest);
            own[one] |= cut_off.iter().any(opposite);
        }
        let (columns, rows) = (region.right - region.left, region.bottom - region.top);
        let part = |at: usize| {
            let (x, y) = (region.left + at % columns, region.top + at / columns);
            parts.at(y * ink.width + x)
        };
        let mut mask = vec![false; columns * rows];
        for (y, mask) in mask.chunks_mut(columns).enumerate() {
            parts.mask_of(&own, [region.left, region.top + y], mask);
        }
        let sounding = vec![true; columns];
        let mut all = Self { region, columns, mask, sounding, words: Vec::new() };
        let stroke = stroke(&all);
        let lines: Vec<f64> = lines.iter().map(|x| x - region.left as f64).collect();
        let letters = all.letters(rest - region.top, stroke, &lines, ink.px_per_mm);
        let mut written = vec![0_u32; parts.count()];
        for at in (0..letters.len()).filter(|&at| letters[at]) {
            all.mask[at] = false;
            if let Some(part) = part(at) {
                written[part] += 1;
            }
        }
        for (part, own) in own.into_iter().enumerate() {
            // What is written stays to be found as a label.
            taken[part] |= own && 2 * written[part] < parts.area(part);
        }
        all
    }

    /// The usual height of the ink on the resting line in pixels, where one is drawn.
    pub(crate) fn resting_stroke(&self, rest: usize) -> Option<f64> {
        let rows = self.mask.len() / self.columns;
        let inked = |x: usize, y: usize| self.mask[y * self.columns + x];
        let run = |x: usize| {
            let y = (rest.saturating_sub(4)..(rest + 5).min(rows)).find(|&y| inked(x, y))?;
            let above = (0..y).rev().take_while(|&y| inked(x, y)).count();
            Some(above + (y..rows).take_while(|&y| inked(x, y)).count())
        };
        let mut runs: Vec<usize> = (0..self.columns).filter_map(run).collect();
        runs.sort_unstable();
        // Where most of the ink there is sounds, it says nothing.
        (2 * runs.len() > self.columns).then(|| runs[runs.len() / 3] as f64)
    }

    /// Letters that touch the resting line or stand on it, and what is left of alignment lines.
    /// The resting line is taken away first; what then hangs together and is as small as a
    /// letter, beside the sounds, is one.
    fn letters(&mut self, rest: usize, stroke: f64, lines: &[f64], px_per_mm: f64) -> Vec<bool> {
        let stroke = stroke.min(STROKE_MM * px_per_mm);
        let (columns, rows) = (self.columns, self.mask.len() / self.columns);
        let thin = (THICKER * self.resting_stroke(rest).unwrap_or(stroke)) as usize + 2;
        let upright = self.without_resting_line(rest, thin, px_per_mm);
        let parts = Parts::of(columns, rows, |at| upright[at]);
        let bounds = (0..parts.count()).map(|piece| parts.bounds(piece)).collect();
        let pieces = Pieces { parts, bounds, rest, rows, px_per_mm };
        let kinds = pieces.kinds(stroke, lines);
        let margin = pieces.px(BESIDE_MM);
        self.sounding.fill(false);
        for (bounds, kind) in pieces.bounds.iter().zip(&kinds) {
            if *kind <= Kind::Stroke && bounds.height() >= pieces.px(LETTER_LOW_MM) {
                let right = (bounds.right + margin + 1).min(columns);
                self.sounding[bounds.left.saturating_sub(margin)..right].fill(true);
            }
        }
        self.words = pieces.words(&kinds);
        let mut letters = vec![false; self.mask.len()];
        // What of a letter went with the line goes with the letter.
        let sound =
            |at: usize| pieces.parts.at(at).is_some_and(|piece| kinds[piece] == Kind::Sound);
        for (bounds, _) in
            pieces.bounds.iter().zip(&kinds).filter(|(_, kind)| **kind > Kind::Stroke)
        {
            for y in bounds.top.saturating_sub(2)..(bounds.bottom + 3).min(rows) {
                for x in bounds.left.saturating_sub(2)..(bounds.right + 3).min(columns) {
                    letters[y * columns + x] = !sound(y * columns + x);
                }
            }
        }
        for piece in (0..kinds.len()).filter(|&piece| kinds[piece] == Kind::Sound) {
            let bounds = pieces.bounds[piece];
            for columns_of_letter in pieces.touching(piece, thin) {
                for x in columns_of_letter {
                    self.sounding[x] = false;
                    for y in bounds.top..=bounds.bottom {
                        letters[y * columns + x] |= pieces.parts.at(y * columns + x) == Some(piece);
                    }
                }
            }
        }
        letters
    }

    /// The ink without what is no higher than a line on the resting line.
    fn without_resting_line(&self, rest: usize, thin: usize, px_per_mm: f64) -> Vec<bool> {
        let (columns, rows) = (self.columns, self.mask.len() / self.columns);
        // As many rows as it takes to tell what is no higher.
        let reach = (REACHES_MM * px_per_mm) as usize + 2 * thin;
        let first = rest.saturating_sub(reach);
        let last = (rest + reach).min(rows);
        let inked = |x: usize, y: usize| self.mask[(first + y) * columns + x];
        let runs = runs([columns, last - first], inked);
        let stroke = thin as f64 / THICKER;
        let base = resting_line(&runs, (rest - first) as f64, stroke, px_per_mm);
        let slack = SLACK_MM * px_per_mm;
        let mut upright = self.mask.clone();
        for (x, runs) in runs.into_iter().enumerate() {
            for [top, bottom] in runs {
                let on = (top as f64) < base[x] + slack && base[x] - slack < bottom as f64;
                if on && bottom - top < thin {
                    (top..=bottom).for_each(|y| upright[(first + y) * columns + x] = false);
                }
            }
        }
        upright
    }
}

/// What a piece of ink in a panel for sounds is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    /// A sound, or most of one.
    Sound,
    /// A stroke that may belong to one.
    Stroke,
    /// A letter.
    Letter,
    /// What is left of an alignment line.
    Line,
}

/// Whether something lies evenly about a row.
fn is_even(bounds: PixelBox, rest: usize) -> bool {
    4 * (bounds.top + bounds.bottom).abs_diff(2 * rest) < bounds.height()
}

/// Whether two things face each other across a row, as the sides of an outline do.
fn facing(one: PixelBox, other: PixelBox, rest: usize) -> bool {
    let (from, to) = (one.left.max(other.left), one.right.min(other.right));
    // Something may be missing of one of them.
    let wide = one.width().min(other.width());
    to > from && 5 * (to - from) > 3 * wide && is_even(one.joined(&other), rest)
}

/// The pieces of ink of a panel, without its resting line.
struct Pieces {
    parts: Parts,
    bounds: Vec<PixelBox>,
    rest: usize,
    rows: usize,
    px_per_mm: f64,
}

impl Pieces {
    fn px(&self, mm: f64) -> usize {
        (mm * self.px_per_mm).round() as usize
    }

    fn kinds(&self, stroke: f64, lines: &[f64]) -> Vec<Kind> {
        let mut kinds: Vec<Kind> = self
            .bounds
            .iter()
            .map(|bounds| if self.leaves(bounds) { Kind::Line } else { Kind::Stroke })
            .collect();
        let strokes = self.bounds.iter().zip(&kinds).filter(|(_, kind)| **kind == Kind::Stroke);
        let highest = strokes.map(|(bounds, _)| bounds.height()).max().unwrap_or(0);
        let most = self.px(LETTER_HIGH_MM).min((LETTER_SHARE * highest as f64) as usize);
        let core = (most + 1).max(self.px(SOUND_MM).min(highest)).max(highest * 3 / 10);
        for (bounds, kind) in self.bounds.iter().zip(&mut kinds) {
            if *kind == Kind::Stroke && bounds.height() >= core.max(self.px(LETTER_LOW_MM)) {
                *kind = Kind::Sound;
            }
        }
        let sounds: Vec<PixelBox> = (self.bounds.iter().zip(&kinds))
            .filter(|(_, kind)| **kind == Kind::Sound)
            .map(|(bounds, _)| *bounds)
            .collect();
        for (bounds, kind) in self.bounds.iter().zip(&mut kinds) {
            if *kind == Kind::Stroke && self.is_along(bounds, lines, &sounds) {
                *kind = Kind::Line;
            }
        }
        let evenly: Vec<bool> = (0..kinds.len()).map(|n| self.is_even(n, &kinds)).collect();
        let strokes: Vec<PixelBox> = (self.bounds.iter().zip(&kinds))
            .filter(|(_, kind)| **kind <= Kind::Stroke)
            .map(|(bounds, _)| *bounds)
            .collect();
        let small = |n: usize| {
            let bounds = &self.bounds[n];
            // Nothing of a letter stands over or under a sound.
            let over = sounds.iter().any(|sound| {
                let (from, to) = (bounds.left.max(sound.left), bounds.right.min(sound.right));
                to > from && 3 * (to - from) > bounds.width()
            });
            let letter = (self.px(LETTER_LOW_MM)..=most).contains(&bounds.height());
            letter
                && !over
                && !evenly[n]
                && !self.goes_on(bounds, &sounds)
                && !self.alternates(bounds, &strokes, lines)
        };
        for (n, (bounds, kind)) in self.bounds.iter().zip(&mut kinds).enumerate() {
            let wide = bounds.width() as f64 > (2.2 * stroke).max(0.9 * self.px_per_mm);
            let letter = wide && bounds.width() <= self.px(LETTER_WIDE_MM) && small(n);
            if *kind == Kind::Stroke && letter && !sounds.is_empty() {
                *kind = Kind::Letter;
            }
        }
        // An l or a 1 is as narrow as a stroke of hatching: it is a letter beside letters.
        while let Some(more) = (0..kinds.len()).find(|&n| {
            let one = &self.bounds[n];
            kinds[n] == Kind::Stroke && small(n) && self.beside_letter(one, &kinds)
        }) {
            kinds[more] = Kind::Letter;
        }
        kinds
    }

    /// Whether a piece lies evenly about the resting line as sounds do, by itself or with what is
    /// opposite to it: an outline falls into pieces where its resting line is taken away.
    fn is_even(&self, n: usize, kinds: &[Kind]) -> bool {
        let one = self.bounds[n];
        let opposite = |(other, kind): (&PixelBox, &Kind)| {
            *kind == Kind::Stroke && facing(one, *other, self.rest)
        };
        is_even(one, self.rest) || self.bounds.iter().zip(kinds).any(opposite)
    }

    /// Whether a piece stands on the resting line, closely beside a sound: then it is one of its
    /// strokes, cut off with an alignment line or where it crosses the resting line.
    fn goes_on(&self, one: &PixelBox, sounds: &[PixelBox]) -> bool {
        let near = self.px(CUT_OFF_MM);
        let stands = one.top <= self.rest + near && self.rest <= one.bottom + near;
        let beside =
            |sound: &PixelBox| one.left <= sound.right + near && sound.left <= one.right + near;
        stands && one.width() <= self.px(TOUCHES_MM) && sounds.iter().any(beside)
    }

    /// Whether a piece stands on one side of the resting line and the next one goes to the other,
    /// as strokes of a zigzag do, also where an alignment line cut them apart.
    fn alternates(&self, one: &PixelBox, strokes: &[PixelBox], lines: &[f64]) -> bool {
        let near = self.px(CUT_OFF_MM);
        let least = self.px(LETTER_LOW_MM);
        let stands = one.top <= self.rest + near && self.rest <= one.bottom + near;
        let above = one.top + least <= self.rest;
        let across = |other: &PixelBox| {
            if above { other.bottom >= self.rest + least } else { other.top + least <= self.rest }
        };
        let beside = |other: &PixelBox| {
            let gap = one.left.max(other.left).saturating_sub(one.right.min(other.right));
            let between = [one.right.min(other.right) as f64, one.left.max(other.left) as f64];
            let cut = lines.iter().any(|x| between[0] <= *x && *x <= between[1]);
            gap <= if cut { self.px(CUT_APART_MM) } else { near }
        };
        stands
            && one.width() <= self.px(TOUCHES_MM)
            && strokes.iter().any(|other| other != one && across(other) && beside(other))
    }

    /// Letters that stand beside one another, together.
    fn words(&self, kinds: &[Kind]) -> Vec<PixelBox> {
        let letters = self.bounds.iter().zip(kinds).filter(|(_, kind)| **kind == Kind::Letter);
        let mut letters: Vec<PixelBox> = letters.map(|(bounds, _)| *bounds).collect();
        letters.sort_by_key(|bounds| bounds.left);
        let mut words: Vec<PixelBox> = Vec::new();
        for letter in letters {
            match words.last_mut() {
                Some(word) if letter.left <= word.right + self.px(WORD_MM) => {
                    word.right = word.right.max(letter.right);
                    word.top = word.top.min(letter.top);
                    word.bottom = word.bottom.max(letter.bottom);
                }
                _ => words.push(letter),
            }
        }
        words
    }

    /// What goes through the panel from top to bottom, or is narrow and leaves it, is left of an
    /// alignment line.
    fn leaves(&self, bounds: &PixelBox) -> bool {
        let edge = self.px(1.0);
        let (above, below) = (bounds.top < edge, bounds.bottom + edge >= self.rows);
        let narrow = self.px(NARROW_MM);
        above && below && bounds.width() <= 2 * narrow
            || (above || below) && bounds.width() <= narrow
    }

    /// What is narrow and lies along a line, away from the sounds, is left of it.
    fn is_along(&self, bounds: &PixelBox, lines: &[f64], sounds: &[PixelBox]) -> bool {
        let middle = (bounds.left + bounds.right) as f64 / 2.0;
        let along = lines.iter().any(|x| (x - middle).abs() < OF_LINE_MM * self.px_per_mm);
        let near = self.px(OF_LINE_MM);
        let beside = |sound: &PixelBox| {
            bounds.left <= sound.right + near && sound.left <= bounds.right + near
        };
        along && bounds.width() <= self.px(NARROW_MM) && !sounds.iter().any(beside)
    }

    fn beside_letter(&self, one: &PixelBox, kinds: &[Kind]) -> bool {
        let letters = self.bounds.iter().zip(kinds).filter(|(_, kind)| **kind == Kind::Letter);
        letters.map(|(bounds, _)| bounds).any(|other| {
            let apart = one.left.max(other.left).saturating_sub(one.right.min(other.right));
            let (top, bottom) = (one.top.max(other.top), one.bottom.min(other.bottom));
            let high = one.height().max(other.height());
            apart <= self.px(WORD_MM) && bottom > top && 2 * (bottom - top) >= high
        })
    }

    /// Columns at a sound's beginning and end in which it reaches to one side of the resting
    /// line alone, and no farther than letters do: where that is for long, a letter touches it.
    fn touching(&self, piece: usize, thin: usize) -> [std::ops::Range<usize>; 2] {
        let bounds = self.bounds[piece];
        let aside = self.px(ASIDE_MM) + thin / 3;
        let [least, most] = BODY_MM.map(|mm| self.px(mm));
        let most = most.min(bounds.height() * 2 / 5);
        let reach = |x: usize| {
            let on = |y: &usize| self.parts.at(y * self.parts.width() + x) == Some(piece);
            let top = (bounds.top..=bounds.bottom).find(on)?;
            let bottom = (bounds.top..=bounds.bottom).rev().find(on)?;
            let (above, below) = (self.rest.saturating_sub(top), bottom.saturating_sub(self.rest));
            Some([above.min(below), above.max(below)])
        };
        let letter = |x: &usize| reach(*x).is_none_or(|[a, b]| a <= aside && b <= most);
        // Next to the rest of the sound the corner of an outline goes on to where nothing of it is
        // near the resting line any more, and a first stroke to where it came out of that.
        let near = self.px(NEAR_REST_MM);
        let rests = |x: &usize| {
            let rows = self.rest.saturating_sub(near)..=(self.rest + near).min(self.rows - 1);
            rows.into_iter().any(|y| self.parts.at(y * self.parts.width() + x) == Some(piece))
        };
        let count = |columns: &mut dyn Iterator<Item = usize>| {
            let columns: Vec<usize> = columns.take_while(letter).collect();
            let body = columns.iter().filter_map(|&x| reach(x)).any(|[_, far]| far >= least);
            if !body || columns.len() < self.px(TOUCHES_MM) {
                return 0;
            }
            let mut outwards = columns.iter().rev().map(rests).peekable();
            let mut run = |of: bool, most: usize| {
                (0..most).take_while(|_| outwards.next_if_eq(&of).is_some()).count()
            };
            let long = self.px(TOUCHES_MM);
            let steep = run(true, long);
            let own = if steep > self.px(STEEP_MM) {
                steep
            } else {
                let apart = run(false, self.px(THERE_AND_BACK_MM));
                let foot = run(true, long);
                if foot == 0 { steep } else { steep + apart + foot }
            };
            columns.len() - own
        };
        let before = count(&mut (bounds.left..=bounds.right));
        let after = count(&mut (bounds.left..=bounds.right).rev());
        [bounds.left..bounds.left + before, bounds.right + 1 - after..bounds.right + 1]
    }
}
