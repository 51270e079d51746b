//! What the tests share: truth beside what was found, and tables of errors.
#![allow(dead_code, unreachable_pub, reason = "each test file uses its own part")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::collections::BTreeMap;

use cycle::{Cycle, Landmark, Subject};
use landmarks::{Curve, Form, Reading};

/// Truth and finding, landmark by landmark.
#[derive(Debug, Default)]
pub struct Tally {
    /// Error in ms for each truth found, by landmark and channel.
    pub errors: BTreeMap<(String, String), Vec<f64>>,
    /// Truths that nothing was found for.
    pub missed: Vec<String>,
    /// Findings that are no truth, with their confidence.
    pub invented: Vec<(String, f64)>,
}

/// Truth farther from a finding than this is another thing, seconds.
pub const SAME_S: f64 = 0.06;

pub fn form(channel: &str) -> Form {
    if channel == "heart_sounds" { Form::Oscillation } else { Form::Line }
}

pub fn curves(cycle: &Cycle) -> Vec<Curve> {
    cycle.traces.iter().map(|trace| Curve::of(trace, form(&trace.channel))).collect()
}

/// Whether a landmark is looked for at all.
pub fn sought(subject: &Subject, name: &str, channel: &str) -> bool {
    let Some(kind) = subject.landmark(name) else { return false };
    let stroke = subject.stroke_of(name);
    let part = stroke.is_some_and(|s| {
        s.burst.is_some()
            && (s.landmarks.last().is_some_and(|l| l == name) || s.centre.as_deref() == Some(name))
    });
    part || kind.feature_on(channel).is_some()
}

impl Tally {
    /// Counts one reading. What `asked` denies may be found, and counts neither way.
    pub fn add(
        &mut self,
        what: &str,
        cycle: &Cycle,
        subject: &Subject,
        reading: &Reading,
        asked: &dyn Fn(&Landmark) -> bool,
    ) {
        let span = cycle.span_s().unwrap();
        let truth = &cycle.landmarks;
        let mut used = vec![false; reading.found.len()];
        for t in truth.iter().filter(|t| sought(subject, &t.name, &t.channel)) {
            let near = reading.found.iter().enumerate();
            let near =
                near.filter(|(i, f)| !used[*i] && f.name == t.name && f.channel == t.channel);
            let nearest = near.min_by(|a, b| {
                (a.1.time_s - t.time_s).abs().total_cmp(&(b.1.time_s - t.time_s).abs())
            });
            match nearest.filter(|(_, f)| (f.time_s - t.time_s).abs() < SAME_S) {
                Some((index, f)) => {
                    used[index] = true;
                    if !asked(t) {
                        continue;
                    }
                    let error = 1000.0 * (f.time_s - t.time_s);
                    self.errors.entry((t.name.clone(), t.channel.clone())).or_default().push(error);
                }
                None if t.time_s < span.0 + 0.06 || t.time_s > span.1 - 0.06 || !asked(t) => {}
                None => {
                    self.missed.push(format!("{what}: {} {} {:.3}", t.channel, t.name, t.time_s))
                }
            }
        }
        for (f, used) in reading.found.iter().zip(used) {
            let edge = f.time_s < span.0 + 0.06 || f.time_s > span.1 - 0.06;
            let mark = Landmark {
                name: f.name.clone(),
                channel: f.channel.clone(),
                time_s: f.time_s,
                value: f.value,
            };
            if !used && !edge && asked(&mark) {
                self.invented.push((
                    format!(
                        "{what}: {} {} {:.3} beat {} conf {:.2}",
                        f.channel, f.name, f.time_s, f.beat, f.confidence
                    ),
                    f.confidence,
                ));
            }
        }
    }

    /// Count, median and largest of the errors' sizes, by landmark and channel.
    pub fn table(&self) -> Vec<(String, usize, f64, f64, f64)> {
        let row = |((name, channel), errors): (&(String, String), &Vec<f64>)| {
            let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
            sizes.sort_by(f64::total_cmp);
            let mut signed = errors.clone();
            signed.sort_by(f64::total_cmp);
            let (middle, last) = (sizes.len() / 2, sizes.len() - 1);
            (format!("{channel} {name}"), sizes.len(), signed[middle], sizes[middle], sizes[last])
        };
        self.errors.iter().map(row).collect()
    }

    pub fn print(&self, title: &str) {
        use std::io::Write;
        let mut out = std::io::stdout();
        let _ = writeln!(out, "\n{title}\n  landmark: count, bias, median, largest (ms)");
        for (name, count, bias, median, largest) in self.table() {
            let _ = writeln!(out, "  {name:40} {count:4} {bias:7.1} {median:7.1} {largest:7.1}");
        }
        let _ = writeln!(out, "  missed {}, invented {}", self.missed.len(), self.invented.len());
    }
}

/// Numbers from a seed, as a hand's shaking needs them.
pub struct Hand(pub cycle::Random);

impl Hand {
    pub fn uniform(&mut self) -> f64 {
        self.0.below(1 << 30) as f64 / f64::from(1 << 30)
    }

    /// A normal deviate: the sum of twelve uniform ones less six.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

pub const MM_PER_S: f64 = 100.0;
const PANEL_MM: f64 = 30.0;

/// A trace as it comes from paper: a point each 0.25 mm, shaken by 0.1 mm, drifting by 0.3 mm,
/// with gaps of 2 mm.
pub fn drawn(trace: &cycle::Trace, hand: &mut Hand, gaps: bool) -> Curve {
    let (low, high) = trace.range().unwrap_or((0.0, 1.0));
    let per_mm = (high - low) / PANEL_MM;
    let count = ((trace.end_s() - trace.start_s) * MM_PER_S / 0.25) as usize;
    let phase = hand.uniform();
    let mut unknown = Vec::new();
    let mut next = 0.1 + 0.4 * hand.uniform();
    while gaps && next < trace.end_s() {
        unknown.push([next, next + 0.02]);
        next += 0.25 + 0.4 * hand.uniform();
    }
    let mut points = Vec::new();
    for index in 0..count {
        let time_s = trace.start_s + index as f64 * 0.25 / MM_PER_S;
        if unknown.iter().any(|gap: &[f64; 2]| (gap[0]..gap[1]).contains(&time_s)) {
            continue;
        }
        let Some(value) = trace.at(time_s + 0.1 / MM_PER_S * hand.normal()) else { continue };
        let drift = libm::sin(2.0 * std::f64::consts::PI * (0.7 * time_s + phase));
        points.push([time_s, value + per_mm * (0.1 * hand.normal() + 0.3 * drift)]);
    }
    Curve {
        channel: trace.channel.clone(),
        points,
        unknown,
        noise: 0.1 * per_mm,
        resolution_s: 0.003,
        form: form(&trace.channel),
        bursts: Vec::new(),
    }
}

/// A cycle whose landmarks a student has put elsewhere: each moved by up to 8 mm, their order
/// kept, and each stroke (or where there are none the whole trace) 0.5 to 1.5 times as tall.
pub fn misdrawn(key: &Cycle, subject: &Subject, hand: &mut Hand) -> Cycle {
    let mut other = key.clone();
    other.landmarks.clear();
    for trace in &mut other.traces {
        let mut marks: Vec<Landmark> =
            key.landmarks.iter().filter(|l| l.channel == trace.channel).cloned().collect();
        marks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let (start, end) = (trace.start_s, trace.end_s());
        let mut knots = vec![[start, start]];
        // What a student misplaces is misplaced in every beat, give or take a millimetre.
        let mut shifts: BTreeMap<&str, f64> = BTreeMap::new();
        for mark in &marks {
            let last = knots[knots.len() - 1];
            let apart = mark.time_s - last[1];
            if apart < 1e-6 {
                continue;
            }
            // No stretch is squeezed to less than half, and what comes after needs its room.
            let rest = 0.5 * (end - mark.time_s);
            let shift = 0.16 * (hand.uniform() - 0.5);
            let shift = *shifts.entry(&mark.name).or_insert(shift);
            let moved = mark.time_s + shift + 0.02 * (hand.uniform() - 0.5);
            let moved = moved.min(end - rest).max(last[0] + 0.5 * apart);
            knots.push([moved, mark.time_s]);
        }
        knots.push([end, end]);
        let line = |at: f64, from: usize, to: usize| {
            let place = knots.partition_point(|k| k[from] <= at).clamp(1, knots.len() - 1);
            let (a, b) = (knots[place - 1], knots[place]);
            a[to] + (at - a[from]) / (b[from] - a[from]).max(1e-9) * (b[to] - a[to])
        };
        let (low, _) = trace.range().unwrap();
        let flat = trace.channel == "ecg" || trace.channel == "heart_sounds";
        let base = if flat { 0.0 } else { low };
        let strokes: Vec<_> =
            subject.strokes.iter().filter(|s| s.channel == trace.channel).collect();
        let whole = 0.5 + hand.uniform();
        let mut spans: Vec<(f64, f64, f64)> = Vec::new();
        for stroke in &strokes {
            for first in marks.iter().filter(|m| m.name == stroke.landmarks[0]) {
                let factor = 0.5 + hand.uniform();
                let last = marks
                    .iter()
                    .find(|m| m.time_s > first.time_s && stroke.landmarks.last() == Some(&m.name));
                let until = last.map_or(first.time_s + 0.08, |m| {
                    m.time_s + if stroke.burst.is_some() { 0.06 } else { 0.0 }
                });
                spans.push((first.time_s - 0.008, until, factor));
            }
        }
        let was = trace.clone();
        for index in 0..trace.samples.len() {
            let time_s = line(was.time_s(index), 0, 1);
            let within = spans.iter().find(|s| (s.0..=s.1).contains(&time_s));
            let factor = if strokes.is_empty() { whole } else { within.map_or(1.0, |s| s.2) };
            let value = was.at(time_s.clamp(start, end - 1.0 / was.rate_hz)).unwrap();
            trace.samples[index] = base + factor * (value - base);
        }
        for mark in marks {
            let time_s = line(mark.time_s, 1, 0);
            other.landmarks.push(Landmark { time_s, ..mark });
        }
    }
    other
}

/// The size below which `share` of the errors lie.
pub fn percentile(errors: &[f64], share: f64) -> f64 {
    let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let place = (share * sizes.len() as f64).ceil() as usize;
    sizes.get(place.saturating_sub(1)).copied().unwrap_or(0.0)
}

/// Whether the trace itself shows when a landmark is: a peak or trough that it falls away from on
/// both sides by at least 0.3 mm of the panel, and a burst that has not begun before it. Where
/// volume is level, only its height can be read, and a burst dies away without an end.
pub fn shown_by(cycle: &Cycle, subject: &Subject, mark: &Landmark) -> bool {
    use cycle::FeatureShape::{Peak, Trough};
    let Some(trace) = cycle.trace(&mark.channel) else { return false };
    let (low, high) = trace.range().unwrap();
    let at = |time_s: f64| {
        let span = trace.end_s() - trace.start_s;
        let turned = trace.start_s + (time_s - trace.start_s).rem_euclid(span);
        trace.at(turned.min(trace.end_s() - 1.0 / trace.rate_hz)).unwrap()
    };
    let kind = subject.landmark(&mark.name).and_then(|kind| kind.feature_on(&mark.channel));
    let Some(feature) = kind else { return false };
    if form(&mark.channel) == Form::Oscillation {
        let before = (1..=10).map(|ms| at(mark.time_s - f64::from(ms) / 1000.0).abs());
        return before.fold(0.0, f64::max) < 0.03 * high.max(-low);
    }
    let sign = match feature.shape {
        Peak => 1.0,
        Trough => -1.0,
        _ => return true,
    };
    let least = 0.3 / PANEL_MM * (high - low);
    let falls = |by: f64| sign * (at(mark.time_s) - at(mark.time_s + by)) >= least;
    let top = [-0.008, 0.008]
        .iter()
        .all(|by| sign * (at(mark.time_s) - at(mark.time_s + by)) > -0.1 * least);
    top && falls(-0.025) && falls(0.025)
}

/// Prints a line of a table.
pub fn say(line: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stdout(), "{line}");
}
