//! What was evidently not drawn.

use std::collections::BTreeSet;

use convention::Point;
use landmarks::{Curve, Drawn, Form, Missing, Reading};
use sheet::PanelPlace;

use crate::{DrawnSheet, DrawnSounds, Rubric};

/// So far from where a landmark belongs, seconds, what is drawn may be meant for it.
const ABOUT_S: f64 = 0.3;
/// A landmark that stands out less than this in the key, in millimetres, is easily overlooked.
const CLEAR_MM: f64 = 1.0;
/// The hand's tremor makes waves as high as this, in millimetres, and higher ones where higher
/// waves belong: this share of them.
const TREMOR_MM: f64 = 0.1;
const TREMOR: f64 = 0.15;
/// A trace is level where it is lower than this share of the key's.
const LEVEL: f64 = 0.15;
/// A burst is one of the small sounds where it is lower than this share of the highest in the key.
const SMALL: f64 = 0.5;
/// A low sound is higher than its stroke by this much for so long, in millimetres; this far beside
/// other sounds.
const LOW_MM: f64 = 0.4;
const RESTLESS_MM: f64 = 1.0;
const BESIDE_MM: f64 = 1.5;
/// So far from a turn its landmark may be, seconds.
const TURN_S: f64 = 0.03;
/// So far outside of a burst its landmarks may be, seconds.
const END_S: f64 = 0.01;
/// So near to where a landmark belongs, seconds, the trace has to be known.
const NEAR_S: f64 = 0.03;

/// For each landmark that is missing, whether it evidently was not drawn: there is a trace where it
/// belongs, with nothing on it that could be it in any beat.
///
/// A wave takes its neighbour along, as the notch takes the dicrotic wave: where one landmark
/// alone is missing, it rather was taken for something else. (In 500 invented drawings none of
/// 397 verdicts that rested on what plainly was not drawn was wrong, in 500 others two were.)
pub(crate) fn evident(
    sheet: &DrawnSheet,
    reading: &Reading,
    curves: &[Curve],
    rubric: &Rubric<'_>,
) -> Vec<bool> {
    let mut evident = vec![false; reading.missing.len()];
    for curve in curves {
        let own = |missing: &&Missing| missing.channel == curve.channel;
        let missing: Vec<&Missing> = reading.missing.iter().filter(own).collect();
        let Some(on) = rubric.panel(&curve.channel) else { continue };
        let mut sounds = sheet.pages.iter().flat_map(|page| &page.sounds);
        let sounds = sounds.find(|sounds| sounds.channel == curve.channel);
        let trace = Seen { reading, curve, sounds, rubric, panel: &on.place };
        let nothing = match curve.form {
            Form::Line => trace.no_wave(&missing),
            _ => trace.no_burst(&missing),
        };
        for (evident, missing) in evident.iter_mut().zip(&reading.missing) {
            if nothing && missing.channel == curve.channel {
                *evident = trace.lacking(missing);
            }
        }
    }
    evident
}

/// A trace, and what was found on it.
struct Seen<'a> {
    reading: &'a Reading,
    curve: &'a Curve,
    rubric: &'a Rubric<'a>,
    panel: &'a PanelPlace,
    sounds: Option<&'a DrawnSounds>,
}

impl Seen<'_> {
    /// Whether a landmark is found in no beat, and would be seen if it were there.
    fn lacking(&self, missing: &Missing) -> bool {
        !self.is_found(&missing.name) && self.usual_mm(&missing.name) >= CLEAR_MM
    }

    /// Whether a landmark is found in some beat.
    fn is_found(&self, name: &str) -> bool {
        let own = |found: &&landmarks::Found| found.channel == self.curve.channel;
        self.reading.found.iter().filter(own).any(|found| found.name == name)
    }

    /// Whether a line is level, or lacks two landmarks or more and in some beat has no wave that
    /// could be meant for them: what is drawn in one beat is mostly drawn in the others.
    fn no_wave(&self, missing: &[&Missing]) -> bool {
        let names: BTreeSet<&str> = missing
            .iter()
            .map(|missing| missing.name.as_str())
            .filter(|name| !self.is_found(name))
            .collect();
        let level = height(self.curve.points.iter().map(|point| point[1])) < LEVEL * self.key();
        let without_wave = |missing: &&&Missing| {
            let due_s = self.due_s(missing);
            let most = TREMOR_MM + TREMOR * self.usual_mm(&missing.name);
            self.is_known(due_s) && self.wave_mm(due_s) <= most
        };
        let clear: BTreeSet<&str> =
            missing.iter().filter(without_wave).map(|missing| missing.name.as_str()).collect();
        (level || names.len() > 1) && names.is_subset(&clear)
    }

    /// Whether there is no burst without a name, and nothing low that could be meant for one. Where
    /// the key has small sounds, one may have been taken for another.
    fn no_burst(&self, missing: &[&Missing]) -> bool {
        let strokes =
            self.rubric.subject.strokes.iter().filter(|s| s.channel == self.curve.channel);
        let mut small = strokes.filter(|s| s.burst.is_some_and(|burst| burst.height < SMALL));
        let in_key = |name: &String| {
            let mut marks = self.rubric.model.landmarks.iter();
            marks.any(|mark| mark.channel == self.curve.channel && mark.name == *name)
        };
        let times = self.found_s();
        let named = |burst: &Drawn| {
            times.iter().any(|t| (burst.start_s - END_S..burst.end_s + END_S).contains(t))
        };
        !small.any(|stroke| stroke.landmarks.iter().any(in_key))
            && missing.iter().all(|missing| {
                let due_s = self.due_s(missing);
                let near = |burst: &&Drawn| {
                    burst.end_s > due_s - ABOUT_S && burst.start_s < due_s + ABOUT_S
                };
                self.curve.bursts.iter().filter(near).all(named)
                    && self.restless_mm(due_s) < RESTLESS_MM
            })
    }

    /// For how long the resting line is higher than a stroke about a time, in millimetres.
    fn restless_mm(&self, due_s: f64) -> f64 {
        let Some(sounds) = self.sounds else { return 0.0 };
        let [from, to] = [-ABOUT_S, ABOUT_S].map(|by| self.panel.map().x(due_s + by));
        let own = |x: f64| {
            let mut bursts = sounds.bursts.iter();
            bursts.any(|burst| (burst.from_mm - BESIDE_MM..burst.to_mm + BESIDE_MM).contains(&x))
        };
        let step = sounds.envelope_mm.windows(2).map(|pair| pair[1][0] - pair[0][0]);
        let step = step.reduce(f64::min).unwrap_or(0.0);
        let high = sounds.envelope_mm.iter().filter(|[x, top, bottom]| {
            (from..to).contains(x) && !own(*x) && bottom - top > sounds.width_mm + LOW_MM
        });
        high.count() as f64 * step
    }

    /// When landmarks were found on it, seconds.
    fn found_s(&self) -> Vec<f64> {
        let own = self.reading.found.iter().filter(|found| found.channel == self.curve.channel);
        own.map(|found| found.time_s).collect()
    }

    /// Whether the trace is known about a time.
    fn is_known(&self, due_s: f64) -> bool {
        let (from, to) = (due_s - NEAR_S, due_s + NEAR_S);
        let [first, last] = [self.curve.points.first(), self.curve.points.last()];
        let shown = first.zip(last).is_some_and(|(first, last)| first[0] <= from && to <= last[0]);
        shown && !self.curve.unknown.iter().any(|[start, end]| *start < to && from < *end)
    }

    /// How high the highest wave about a time is that none of the landmarks that were found
    /// explains.
    fn wave_mm(&self, due_s: f64) -> f64 {
        let times = self.found_s();
        let goes_on = |a: &[f64; 2], b: &[f64; 2]| {
            let limits = [due_s - ABOUT_S, due_s + ABOUT_S];
            !times.iter().chain(&limits).any(|t| (a[0]..b[0]).contains(t))
        };
        // A landmark need not lie on its turn: a foot is where tangents meet.
        let free = |p: &&[f64; 2]| times.iter().all(|t| (p[0] - t).abs() > TURN_S);
        let free: Vec<[f64; 2]> = self.curve.points.iter().filter(free).copied().collect();
        let pieces = free.chunk_by(goes_on);
        let near = pieces.filter(|piece| (piece[0][0] - due_s).abs() <= ABOUT_S);
        let waves = near.map(|piece| wave(&piece.iter().map(|p| p[1]).collect::<Vec<_>>()));
        waves.fold(0.0, f64::max) * self.panel.mm_per_unit()
    }

    /// When a landmark is to be expected, seconds: as long after its beat's anchor as in the key.
    fn due_s(&self, missing: &Missing) -> f64 {
        let subject = self.rubric.subject;
        let reference = subject.reference_channel.as_str();
        let beats = convention::beats(self.rubric.model, subject);
        let beat = usize::try_from(missing.beat).ok().and_then(|beat| beats.get(beat));
        let usual_s = |name: &str, channel: &str| {
            beat.and_then(|beat| beat.time_s(&Point::new(name, Some(channel))))
        };
        let own = self.reading.found.iter().find(|found| {
            found.name == subject.anchor && found.channel == reference && found.beat == missing.beat
        });
        let usual = usual_s(&missing.name, &missing.channel);
        let anchor = usual_s(&subject.anchor, reference);
        let late = own.zip(anchor).map_or(0.0, |(found, usual_s)| found.time_s - usual_s);
        usual.map_or(f64::INFINITY, |usual_s| usual_s + late)
    }

    /// How far a landmark stands out in the key of those beside it, in millimetres: as its wave
    /// does where it begins or ends one; of a burst its height.
    fn usual_mm(&self, name: &str) -> f64 {
        let stroke = self.rubric.subject.stroke_of(name);
        if let Some(burst) = stroke.and_then(|stroke| stroke.burst) {
            return burst.height * self.key() * self.panel.mm_per_unit();
        }
        let own = self.rubric.model.landmarks.iter().filter(|m| m.channel == self.curve.channel);
        let mut marks: Vec<&cycle::Landmark> = own.collect();
        marks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let of = |name: &str| {
            let beside = marks.windows(2).filter(|pair| pair.iter().any(|mark| mark.name == name));
            beside.map(|pair| (pair[1].value - pair[0].value).abs()).reduce(f64::min)
        };
        let wave = stroke.map_or(&[][..], |stroke| &stroke.landmarks);
        let wave = wave.iter().map(String::as_str).chain([name]).filter_map(of);
        wave.fold(0.0, f64::max) * self.panel.mm_per_unit()
    }

    /// The key's height.
    fn key(&self) -> f64 {
        let trace = self.rubric.model.trace(&self.curve.channel);
        height(trace.into_iter().flat_map(|trace| &trace.samples).copied())
    }
}

/// From the lowest to the highest of some values.
fn height(values: impl Iterator<Item = f64>) -> f64 {
    let [low, high] = values.fold([f64::MAX, f64::MIN], |[a, b], v| [a.min(v), b.max(v)]);
    (high - low).max(0.0)
}

/// How far the highest wave between the first and the last of some values, up or down, stands out
/// on both sides.
fn wave(values: &[f64]) -> f64 {
    let up = |sign: f64| {
        let lowest = |low: &mut f64, value: &f64| {
            *low = low.min(sign * value);
            Some(*low)
        };
        let before: Vec<f64> = values.iter().scan(f64::MAX, lowest).collect();
        let mut after: Vec<f64> = values.iter().rev().scan(f64::MAX, lowest).collect();
        after.reverse();
        let sides = before.iter().zip(&after).map(|(before, after)| before.max(*after));
        values.iter().zip(sides).map(|(value, side)| sign * value - side).fold(0.0, f64::max)
    };
    up(1.0).max(up(-1.0))
}
