//! Holding a cycle to the rules.

use std::collections::BTreeMap;

use cycle::{Cycle, Subject, Trace};
use serde::Serialize;

use crate::Point;
use crate::beat::{Beat, Place, baseline, beats};
use crate::rule::{Convention, Form, Level, Relative, Rule, Says, Tolerance};
use crate::words::{Words, amount, distance, later_ms, sentence};

/// In what a cycle is measured.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Scale {
    /// A computed or recorded cycle: milliseconds and the channels' own units.
    #[default]
    Measured,
    /// A drawing: millimetres on paper.
    Paper {
        /// Millimetres a second along the time axis.
        mm_per_s: f64,
        /// Millimetres for one unit of each channel.
        mm_per_unit: BTreeMap<String, f64>,
    },
}

/// What a measured number counts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Milliseconds.
    Ms,
    /// Millimetres on paper.
    Mm,
    /// The channel's unit, which may be none.
    Value(String),
}

impl Unit {
    /// As it is written behind a number; empty for none.
    pub fn name(&self) -> &str {
        match self {
            Self::Ms => "ms",
            Self::Mm => "mm",
            Self::Value(unit) => unit,
        }
    }
}

/// Whether a rule is met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// It is, within its tolerance.
    Met,
    /// It is not.
    NotMet,
    /// The cycle does not show what would be needed to say.
    CannotTell,
}

/// What a cycle makes of one rule.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// The rule.
    pub rule: String,
    /// Whether it is met.
    pub outcome: Outcome,
    /// What was measured: how much later or higher than what the rule names.
    pub measured: Option<f64>,
    /// Least and most that the rule asks for.
    pub window: [Option<f64>; 2],
    /// How far outside that window, later and higher being more; 0 inside.
    pub off_by: f64,
    /// How far outside is tolerated.
    pub tolerance: f64,
    /// What the numbers count.
    pub unit: Unit,
    /// Number of beats that could be looked at; of several, the middle one is told.
    pub beats: usize,
    /// In how many of them the rule is met.
    pub met_in: usize,
    /// Which of the cycle's beats that is, the first being 1; none where nothing was measured.
    pub beat: Option<usize>,
    /// What the rule asks for, counted as this cycle is, such as "2 to 6 mm after the onset of
    /// the first heart sound".
    pub asks: String,
    /// The finding in a sentence.
    pub why: String,
}

/// Judges `cycle` by each rule of `convention`, in their order.
///
/// Times are taken relative to the cycle's own landmarks, never to the clock: what is
/// aligned to a misplaced T wave is right if it is aligned to it. Where a cycle has several
/// beats, the beat with the middle deviation speaks for it.
pub fn judge(
    cycle: &Cycle,
    convention: &Convention,
    subject: &Subject,
    scale: &Scale,
) -> Vec<Verdict> {
    let judge = Judge { cycle, subject, scale, words: Words { subject, convention } };
    let beats = beats(cycle, subject);
    convention.rules.iter().map(|rule| judge.rule(rule, &beats)).collect()
}

/// Less than this share of a trace's height is the grain of its samples.
pub(crate) const GRAIN: f64 = 0.002;

struct Judge<'a> {
    cycle: &'a Cycle,
    subject: &'a Subject,
    scale: &'a Scale,
    words: Words<'a>,
}

/// What one beat shows of one rule, in natural units.
struct Found {
    measured: f64,
    window: [Option<f64>; 2],
    /// The channel in whose unit it is; none for milliseconds.
    channel: Option<String>,
    /// How far outside the window, before any tolerance.
    off_by: f64,
    /// The finding without how far it is off.
    said: String,
}

impl Found {
    fn new(measured: f64, window: [Option<f64>; 2], channel: Option<String>, said: String) -> Self {
        let [low, high] = window;
        let off_by = match (low, high) {
            (Some(low), _) if measured < low => measured - low,
            (_, Some(high)) if measured > high => measured - high,
            _ => 0.0,
        };
        Self { measured, window, channel, off_by, said }
    }
}

impl Judge<'_> {
    fn rule(&self, rule: &Rule, beats: &[Beat]) -> Verdict {
        if let Says::Presence { point } = &rule.says {
            return self.presence(rule, point, beats);
        }
        if let Says::Label { point, accepted } = &rule.says {
            return self.label(rule, point, accepted, beats);
        }
        let mut found = Vec::new();
        let mut reason = self.no_beat();
        for (index, beat) in beats.iter().enumerate() {
            match self.look(rule, beat) {
                Ok(one) => found.push((index, one)),
                Err(why) => reason = why,
            }
        }
        if found.is_empty() {
            return self.cannot_tell(rule, reason);
        }
        found.sort_by(|a, b| a.1.off_by.total_cmp(&b.1.off_by));
        let count = found.len();
        let (beat, told) = &found[(count - 1) / 2];
        let met_in = found.iter().filter(|(_, one)| self.is_met(rule, one)).count();
        Verdict { beat: Some(beat + 1), met_in, ..self.verdict(rule, told, count) }
    }

    fn no_beat(&self) -> String {
        let anchor = self.subject.title_of(&self.subject.anchor).unwrap_or(&self.subject.anchor);
        format!("no {anchor} was found, so there is nothing to measure from")
    }

    fn cannot_tell(&self, rule: &Rule, why: String) -> Verdict {
        Verdict {
            rule: rule.id.clone(),
            outcome: Outcome::CannotTell,
            measured: None,
            window: [None, None],
            off_by: 0.0,
            tolerance: rule.tolerance.ms,
            unit: Unit::Ms,
            beats: 0,
            met_in: 0,
            beat: None,
            asks: self.words.wants(&rule.says),
            why: sentence(&why) + ".",
        }
    }

    /// Factor from natural units, and the unit: of times, or of a channel's heights.
    fn unit(&self, channel: Option<&str>) -> (f64, Unit) {
        match (self.scale, channel) {
            (Scale::Measured, None) => (1.0, Unit::Ms),
            (Scale::Measured, Some(channel)) => {
                let unit = self.subject.channel(channel).map_or("", |kind| &kind.unit);
                (1.0, Unit::Value(if unit == "relative" { "" } else { unit }.to_owned()))
            }
            (Scale::Paper { mm_per_s, .. }, None) => (mm_per_s / 1000.0, Unit::Mm),
            (Scale::Paper { mm_per_unit, .. }, Some(channel)) => {
                (mm_per_unit.get(channel).copied().unwrap_or(1.0), Unit::Mm)
            }
        }
    }

    /// What is tolerated, in that unit.
    fn tolerance(&self, channel: Option<&str>, tolerance: &Tolerance) -> f64 {
        match (self.scale, channel) {
            (Scale::Measured, None) => tolerance.ms,
            (Scale::Measured, Some(channel)) => tolerance.percent / 100.0 * self.extent(channel),
            (Scale::Paper { .. }, _) => tolerance.mm,
        }
    }

    fn extent(&self, channel: &str) -> f64 {
        let range = self.cycle.trace(channel).and_then(Trace::range);
        range.map_or(0.0, |(low, high)| high - low)
    }

    fn is_met(&self, rule: &Rule, found: &Found) -> bool {
        let channel = found.channel.as_deref();
        (found.off_by * self.unit(channel).0).abs() <= self.tolerance(channel, &rule.tolerance)
    }

    fn verdict(&self, rule: &Rule, found: &Found, beats: usize) -> Verdict {
        let channel = found.channel.as_deref();
        let (factor, unit) = self.unit(channel);
        let tolerance = self.tolerance(channel, &rule.tolerance);
        let off_by = found.off_by * factor;
        let met = self.is_met(rule, found);
        let measured = found.measured * factor;
        let window = found.window.map(|side| side.map(|value| value * factor));
        let name = unit.name();
        let asks = self.asks(rule, window, name);
        let mut why = format!("{}; the rule has it {asks}", found.said);
        if met {
            if off_by != 0.0 {
                why += &format!(", and {} off is tolerated", amount(tolerance, name));
            }
        } else {
            let way = match (&rule.says, off_by > 0.0) {
                (Says::Shape { form: Form::Flat, .. }, _) => "too uneven",
                (Says::Shape { .. }, _) => "short of it",
                (Says::Timing { .. }, true) => "too late",
                (Says::Timing { .. }, false) => "too early",
                (_, true) => "too high",
                (_, false) => "too low",
            };
            why += &format!(": {} {way}", amount(off_by.abs(), name));
        }
        Verdict {
            rule: rule.id.clone(),
            outcome: if met { Outcome::Met } else { Outcome::NotMet },
            measured: Some(measured),
            window,
            off_by,
            tolerance,
            unit,
            beats,
            met_in: 0,
            beat: None,
            asks,
            why: sentence(&why) + ".",
        }
    }

    /// What a rule asks for, with the window as this cycle makes it.
    fn asks(&self, rule: &Rule, window: [Option<f64>; 2], unit: &str) -> String {
        match &rule.says {
            Says::Timing { timing: Relative::Offset { to, .. }, .. } => {
                self.words.apart(window, unit, "after", "before", to)
            }
            Says::Height { height: Relative::Offset { to, .. }, .. } => {
                self.words.apart(window, unit, "above", "below", to)
            }
            Says::Timing { timing: Relative::Between { from, .. }, .. } => {
                format!("{} {}", distance(window, unit, "after", "before"), self.words.the(from))
            }
            Says::Height { height: Relative::Between { from, .. }, .. } => {
                format!("{} {}", distance(window, unit, "above", "below"), self.words.the(from))
            }
            Says::Level { level: Level::Baseline, .. } => "on the baseline".to_owned(),
            Says::Level { level: Level::Of(point), .. } => {
                format!("at the level of {}", self.words.the(point))
            }
            Says::Shape { form: Form::Rising, .. } => "rising all the way".to_owned(),
            Says::Shape { form: Form::Falling, .. } => "falling all the way".to_owned(),
            Says::Shape { form: Form::Flat, .. } => "level".to_owned(),
            Says::Presence { .. } | Says::Label { .. } => self.words.wants(&rule.says),
        }
    }

    fn place(&self, beat: &Beat, point: &Point) -> Result<Place, String> {
        beat.get(point).ok_or_else(|| match &point.channel {
            Some(channel) if self.cycle.trace(channel).is_none() => {
                let title = self.subject.channel(channel).map_or(channel.as_str(), |k| &k.title);
                format!("there is no trace called {title}")
            }
            _ => format!("{} was not found", self.words.the(point)),
        })
    }

    fn look(&self, rule: &Rule, beat: &Beat) -> Result<Found, String> {
        match &rule.says {
            Says::Timing { point, timing } => self.timing(beat, point, timing),
            Says::Height { point, height } => self.height(beat, point, height),
            Says::Level { channel, at, level } => self.level(beat, channel, at, level),
            Says::Shape { channel, from, to, form } => {
                self.shape(rule, beat, channel, [from, to], *form)
            }
            Says::Presence { .. } | Says::Label { .. } => Err(String::new()),
        }
    }

    fn timing(&self, beat: &Beat, point: &Point, timing: &Relative) -> Result<Found, String> {
        let place = self.place(beat, point)?;
        let (to, window) = match timing {
            Relative::Offset { to, window, .. } => (to, *window),
            Relative::Between { from, to, shares, .. } => {
                let length = later_ms(self.place(beat, to)?, self.place(beat, from)?);
                if length < 0.0 {
                    let (from, to) = (self.words.the(from), self.words.the(to));
                    return Err(format!("{to} comes before {from}"));
                }
                (from, shares.map(|share| Some(share * length)))
            }
        };
        let measured = later_ms(place, self.place(beat, to)?);
        let (factor, unit) = self.unit(None);
        let (name, to) = (self.words.the(point), self.words.the(to));
        let said = told(&name, measured * factor, unit.name(), ["after", "before"], &to);
        Ok(Found::new(measured, window, None, said))
    }

    fn height(&self, beat: &Beat, point: &Point, height: &Relative) -> Result<Found, String> {
        let place = self.place(beat, point)?;
        let (to, window) = match height {
            Relative::Offset { to, window, .. } => (to, *window),
            Relative::Between { from, to, shares, .. } => {
                let length = self.place(beat, to)?.value - self.place(beat, from)?.value;
                if length < 0.0 {
                    let (from, to) = (self.words.the(from), self.words.the(to));
                    return Err(format!("{to} lies below {from}"));
                }
                (from, shares.map(|share| Some(share * length)))
            }
        };
        let measured = place.value - self.place(beat, to)?.value;
        let channel = point.channel.clone();
        let (factor, unit) = self.unit(channel.as_deref());
        let (name, to) = (self.words.the(point), self.words.the(to));
        let said = told(&name, measured * factor, unit.name(), ["above", "below"], &to);
        Ok(Found::new(measured, window, channel, said))
    }

    fn trace(&self, channel: &str) -> Result<&Trace, String> {
        self.cycle.trace(channel).ok_or_else(|| format!("there is no trace of {channel}"))
    }

    /// A trace's value at a time, which may lie past the end of a cycle that repeats.
    fn value(&self, trace: &Trace, time_s: f64) -> Result<f64, String> {
        let length = trace.end_s() - trace.start_s;
        let wrapped = if self.cycle.repeats {
            trace.start_s + (time_s - trace.start_s).rem_euclid(length)
        } else {
            time_s
        };
        // Between the last sample and the first of the next turn a straight line serves.
        let last = trace.samples.last().copied();
        let at = trace.at(wrapped).or(if self.cycle.repeats { last } else { None });
        at.ok_or_else(|| "the trace does not reach so far".to_owned())
    }

    /// When `point` next occurs after `start`, in this turn of the cycle or in the next.
    fn next(&self, point: &Point, start: f64) -> Option<f64> {
        let (from, to) = self.cycle.span_s()?;
        let turn = if self.cycle.repeats { to - from } else { 0.0 };
        let marks = self
            .cycle
            .landmarks
            .iter()
            .filter(|l| l.name == point.name && Some(&l.channel) == point.channel.as_ref());
        let events = self.cycle.events.iter();
        let events = events.filter(|e| point.channel.is_none() && e.name == point.name);
        let times = marks.map(|l| l.time_s).chain(events.map(|e| e.time_s));
        times.flat_map(|t| [t, t + turn]).filter(|t| *t > start).min_by(f64::total_cmp)
    }

    fn level(
        &self,
        beat: &Beat,
        channel: &str,
        at: &Point,
        level: &Level,
    ) -> Result<Found, String> {
        let trace = self.trace(channel)?;
        let value = self.value(trace, self.place(beat, at)?.time_s)?;
        let (level, name) = match level {
            Level::Baseline => {
                (baseline(trace, self.cycle, self.subject), "its baseline".to_owned())
            }
            Level::Of(point) => (self.place(beat, point)?.value, self.words.the(point)),
        };
        let (factor, unit) = self.unit(Some(channel));
        let label = format!("at {} {}", self.words.the(at), self.words.channel(channel));
        let measured = value - level;
        let said = told(&label, measured * factor, unit.name(), ["above", "below"], &name);
        Ok(Found::new(measured, [Some(0.0), Some(0.0)], Some(channel.to_owned()), said))
    }

    fn shape(
        &self,
        rule: &Rule,
        beat: &Beat,
        channel: &str,
        [from, to]: [&Point; 2],
        form: Form,
    ) -> Result<Found, String> {
        let trace = self.trace(channel)?;
        let start = self.place(beat, from)?.time_s;
        let mut end = self.place(beat, to)?.time_s;
        if end < start {
            end = self.next(to, start).unwrap_or(end);
        }
        if end <= start {
            let (from, to) = (self.words.the(from), self.words.the(to));
            return Err(format!("{to} does not come after {from}"));
        }
        let values = stretch(trace, start, end, |time_s| self.value(trace, time_s))?;
        let (factor, unit) = self.unit(Some(channel));
        let tolerance = self.tolerance(Some(channel), &rule.tolerance);
        let tolerance = tolerance / factor;
        let (first, last) = (values[0], values[values.len() - 1]);
        let (label, name) = (self.words.channel(channel), channel.to_owned());
        let say = |what: &str, value: f64| {
            format!("{label} {what} {}", amount(value * factor, unit.name()))
        };
        let channel = Some(channel.to_owned());
        let (measured, off_by, said) = match form {
            Form::Flat => {
                let middle = f64::midpoint(first, last);
                let far = values.iter().map(|v| (v - middle).abs()).fold(0.0, f64::max);
                let grain = far <= GRAIN * self.extent(&name);
                (far, if grain { 0.0 } else { far }, say("strays from level by", far))
            }
            Form::Rising | Form::Falling => {
                let sign = if form == Form::Rising { 1.0 } else { -1.0 };
                let net = sign * (last - first);
                let setback = setback(values.iter().map(|v| sign * v));
                let verb = if form == Form::Rising { "rises by" } else { "falls by" };
                let back = if form == Form::Rising { "falls back by" } else { "rises again by" };
                if net < 2.0 * tolerance {
                    // So small a change could be none: it must exceed what is tolerated.
                    let said = say(verb, net.max(0.0));
                    (net, (net - 2.0 * tolerance).min(-1.01 * tolerance), said)
                } else if setback > GRAIN * self.extent(&name) {
                    (net, -setback, say(back, setback))
                } else {
                    (net, 0.0, say(verb, net))
                }
            }
        };
        Ok(Found { measured, window: [None, None], channel, off_by, said })
    }

    fn simple(&self, rule: &Rule, met: bool, beats: usize, why: String) -> Verdict {
        Verdict {
            outcome: if met { Outcome::Met } else { Outcome::NotMet },
            beats,
            met_in: if met { beats } else { 0 },
            ..self.cannot_tell(rule, why)
        }
    }

    fn presence(&self, rule: &Rule, point: &Point, beats: &[Beat]) -> Verdict {
        let shown = match &point.channel {
            Some(channel) => self.cycle.trace(channel).is_some(),
            None => !self.cycle.events.is_empty(),
        };
        let count = beats.iter().filter(|beat| beat.get(point).is_some()).count();
        let name = self.words.the(point);
        if beats.is_empty() {
            self.cannot_tell(rule, self.no_beat())
        } else if count > 0 {
            self.simple(rule, true, count, format!("{name} is there"))
        } else if shown {
            self.simple(rule, false, beats.len(), format!("{name} is missing"))
        } else {
            let why = self.place(&beats[0], point).err().unwrap_or_default();
            self.cannot_tell(rule, why)
        }
    }

    fn label(&self, rule: &Rule, point: &Point, accepted: &[String], beats: &[Beat]) -> Verdict {
        if self.cycle.labels.is_empty() {
            return self.cannot_tell(rule, "the labels were not read".to_owned());
        }
        let (factor, unit) = self.unit(None);
        let tolerance = self.tolerance(None, &rule.tolerance);
        let name = self.words.the(point);
        let Some(place) = beats.iter().find_map(|beat| beat.get(point)) else {
            return self.cannot_tell(rule, format!("{name} was not found"));
        };
        let right = |text: &str| accepted.iter().any(|a| a.to_lowercase() == text.to_lowercase());
        let on = self.cycle.labels.iter().filter(|l| Some(&l.channel) == point.channel.as_ref());
        let (start, end) = self.cycle.span_s().unwrap_or_default();
        let turn = if self.cycle.repeats { end - start } else { 0.0 };
        let far = |time_s: f64| (time_s - place.time_s) * 1000.0 * factor;
        let near = on
            .filter(|l| right(l.text.trim()))
            .flat_map(|l| [l.time_s - turn, l.time_s, l.time_s + turn].map(far))
            .min_by(|a, b| a.abs().total_cmp(&b.abs()));
        let wanted = accepted.join("” or “");
        let Some(far) = near else {
            return self.simple(rule, false, 1, format!("nothing says “{wanted}” at {name}"));
        };
        let met = far.abs() <= tolerance;
        let said = told(&format!("“{wanted}”"), far, unit.name(), ["after", "before"], &name);
        let off_by = if met { 0.0 } else { far };
        Verdict { measured: Some(far), off_by, tolerance, unit, ..self.simple(rule, met, 1, said) }
    }
}

/// Such as "the notch is 12 ms after the end of the T wave".
fn told(name: &str, value: f64, unit: &str, [more, less]: [&str; 2], to: &str) -> String {
    let size = amount(value.abs(), unit);
    if size == amount(0.0, unit) {
        let same = if more == "after" { "with" } else { "level with" };
        return format!("{name} is {same} {to}");
    }
    format!("{name} is {size} {} {to}", if value > 0.0 { more } else { less })
}

/// A trace's values from `start` to `end` at its own rate, both ends included.
fn stretch(
    trace: &Trace,
    start: f64,
    end: f64,
    value: impl Fn(f64) -> Result<f64, String>,
) -> Result<Vec<f64>, String> {
    let inner = ((end - start) * trace.rate_hz).floor().max(0.0) as usize;
    let times = (0..=inner).map(|step| start + step as f64 / trace.rate_hz);
    times.chain(std::iter::once(end)).map(value).collect()
}

/// The most by which values fall below what they had reached.
fn setback(values: impl Iterator<Item = f64>) -> f64 {
    let mut reached = f64::MIN;
    let mut most = 0.0f64;
    for value in values {
        reached = reached.max(value);
        most = most.max(reached - value);
    }
    most
}
