//! The strip: the recording over time, as a drawing whose unit is a pixel.

use std::fmt::Write as _;
use std::sync::OnceLock;

use cycle::Subject;
use figure::{tick_text, value_ticks};
use maud::{Markup, html};
use recording::{Beat, Named, Recording};

use super::choices::View;
use super::envelope::{Drawn, Extent};
use super::marks;
use super::shelf::{Bench, Now};
use super::stretches::{bad, hatch};
use crate::web::refusal::Refusal;
use crate::web::words::recordings as words;

/// Room for values and names at the left, at the right, for the axis of time, above, in pixels.
pub(crate) const LEFT: f64 = 62.0;
pub(crate) const RIGHT: f64 = 20.0;
const TOP: f64 = 20.0;
const AXIS: f64 = 24.0;
/// Heights of an ECG's lane and another's, and the room between two.
const ECG_HEIGHT: f64 = 170.0;
const HEIGHT: f64 = 116.0;
const BETWEEN: f64 = 10.0;
/// Free below and above what a signal usually reaches, as shares of its height: for names.
const FREE: [f64; 2] = [0.2, 0.34];
/// Landmarks are shown on strips no longer than this, alignment lines on those, in seconds.
pub(crate) const MARKS_S: f64 = 12.0;
const LINES_S: f64 = 25.0;
/// Ticks of time are at least so far apart, in pixels.
const TICK_APART: f64 = 84.0;
const TIME_STEPS: [f64; 19] = [
    0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 300.0, 600.0, 1_800.0, 3_600.0,
    7_200.0, 14_400.0, 43_200.0, 86_400.0,
];
/// So many signals are shown where none is taken for anything.
const UNNAMED: usize = 4;

/// What everything is called, read once.
pub(crate) fn subject() -> &'static Subject {
    static SUBJECT: OnceLock<Subject> = OnceLock::new();
    SUBJECT.get_or_init(heart::subject)
}

/// A channel's name for people.
pub(crate) fn channel_name(channel: &str) -> String {
    let subject = subject();
    match (subject.channel(channel), channel.strip_prefix("ecg_")) {
        _ if channel == "ecg" => words::ECG.to_owned(),
        (Some(kind), _) => kind.title.clone(),
        (None, Some(lead)) => words::further_lead(lead),
        (None, None) => channel.to_owned(),
    }
}

/// A landmark's name for people.
pub(crate) fn landmark_name(landmark: &str) -> String {
    subject().title_of(landmark).unwrap_or(landmark).to_owned()
}

/// A signal on the strip.
pub(crate) struct Lane<'a> {
    pub(crate) signal: usize,
    /// Its number among those named, and what it is named.
    pub(crate) named: Option<(usize, &'a Named)>,
    pub(crate) top: f64,
    pub(crate) height: f64,
    /// Values at the lane's foot and top.
    range: [f64; 2],
}

impl Lane<'_> {
    pub(crate) fn y(&self, value: f64) -> f64 {
        let share = (value - self.range[0]) / (self.range[1] - self.range[0]);
        self.top + self.height * (1.0 - share.clamp(-0.02, 1.02))
    }

    fn turned(&self) -> bool {
        self.named.is_some_and(|(_, named)| named.turned)
    }
}

/// Where times are on the strip.
#[derive(Clone, Copy)]
pub(crate) struct Axis {
    pub(crate) at_s: f64,
    pub(crate) per_s: f64,
}

impl Axis {
    pub(crate) fn x(&self, time_s: f64) -> f64 {
        LEFT + (time_s - self.at_s) * self.per_s
    }

    pub(crate) fn per_s(&self) -> f64 {
        self.per_s
    }
}

/// The signals that are shown: those asked for, or those taken for something but for further leads.
pub(crate) fn shown(bench: &Bench, view: &View) -> Vec<usize> {
    let asked: Vec<usize> =
        view.shown.iter().copied().filter(|signal| *signal < bench.signals.len()).collect();
    if !asked.is_empty() {
        return asked;
    }
    let main = bench.named.iter().filter(|named| !named.channel.starts_with("ecg_"));
    let main: Vec<usize> = main.map(|named| named.signal).collect();
    let any = || bench.named.iter().map(|named| named.signal).take(1).collect::<Vec<_>>();
    match (main.is_empty(), any()) {
        (false, _) => main,
        (true, any) if !any.is_empty() => any,
        _ => (0..bench.signals.len().min(UNNAMED)).collect(),
    }
}

/// The lanes of the signals shown.
pub(crate) fn lanes<'a>(bench: &'a Bench, view: &View) -> Vec<Lane<'a>> {
    let mut top = TOP;
    let lane = |signal: usize| {
        let named = bench.named.iter().enumerate().find(|(_, named)| named.signal == signal);
        let height =
            if named.is_some_and(|(_, named)| named.is_ecg()) { ECG_HEIGHT } else { HEIGHT };
        let [low, high] = bench.envelope.usual(signal).unwrap_or([0.0, 1.0]);
        let turned = named.is_some_and(|(_, named)| named.turned);
        let [low, high] = if turned { [-high, -low] } else { [low, high] };
        let [below, above] = FREE.map(|share| share * (high - low));
        let lane = Lane { signal, named, top, height, range: [low - below, high + above] };
        top += height + BETWEEN;
        lane
    };
    shown(bench, view).into_iter().map(lane).collect()
}

/// The strip as it is looked at.
pub(crate) fn strip(bench: &Bench, now: Option<&Now>, view: &View) -> Result<Markup, Refusal> {
    let lanes = lanes(bench, view);
    let per_s = (view.width - LEFT - RIGHT) / view.span_s;
    let axis = Axis { at_s: view.at_s, per_s };
    let foot = lanes.last().map_or(TOP, |lane| lane.top + lane.height);
    let height = foot + AXIS;
    let mut reading = bench.reading();
    let drawn: Result<Vec<Line>, Refusal> =
        lanes.iter().map(|lane| line(bench, &mut reading, lane, view, &axis)).collect();
    drop(reading);
    let drawn = drawn?;
    let beats = now.map_or(&[][..], |now| &now.beats);
    let near = within(beats, view);
    let right = view.width - RIGHT;
    Ok(html! {
        svg #strip-drawing viewBox={ "0 0 " (view.width) " " (height) } width=(view.width) height=(height)
            role="group" aria-label=(words::STRIP)
            data-at=(view.at_s) data-span=(view.span_s) data-left=(LEFT) data-right=(right) {
            (patterns(&lanes, right))
            (times(view, &axis, foot))
            @for (lane, (path, gaps)) in lanes.iter().zip(&drawn) {
                g.lane {
                    @for [from, to] in gaps { (hatch(*from, *to, lane, words::NOT_RECORDED)) }
                    @if let Some((channel, _)) = lane.named { (bad(near, channel, lane, &axis, right)) }
                    path.trace d=(path) clip-path={ "url(#lane-" (lane.signal) ")" } {}
                    (values(bench, lane, right))
                }
            }
            @if view.span_s <= LINES_S { (beat_lines(near, &axis, right, foot)) }
            @if view.span_s <= MARKS_S { (marks::marks(bench, near, &lanes, &axis, right)) }
        }
    })
}

/// The beats on or near the strip.
fn within<'a>(beats: &'a [Beat], view: &View) -> &'a [Beat] {
    let from = beats.partition_point(|beat| beat.anchor_s < view.at_s - 1.5);
    let to = beats.partition_point(|beat| beat.anchor_s < view.end_s() + 1.5);
    &beats[from..to.max(from)]
}

fn patterns(lanes: &[Lane<'_>], right: f64) -> Markup {
    html! {
        defs {
            pattern #hatch width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                line.hatchline x1="0" y1="0" x2="0" y2="7" {}
            }
            @for lane in lanes {
                clipPath id={ "lane-" (lane.signal) } {
                    rect x=(LEFT) y=(lane.top) width=(right - LEFT) height=(lane.height) {}
                }
            }
        }
    }
}

/// The axis of time, with a hairline at each tick.
fn times(view: &View, axis: &Axis, foot: f64) -> Markup {
    let least = TICK_APART / axis.per_s();
    let step = TIME_STEPS.into_iter().find(|step| *step >= least).unwrap_or(86_400.0);
    let first = (view.at_s / step - 1e-9).ceil();
    let count = ((view.end_s() / step + 1e-9).floor() - first).max(-1.0) as usize + 1;
    let ticks = (0..count).map(|index| (first + index as f64) * step);
    html! {
        g.times aria-hidden="true" {
            @for time_s in ticks {
                @let x = hundredth(axis.x(time_s));
                line.hair x1=(x) y1=(TOP) x2=(x) y2=(foot) {}
                text x=(x) y=(foot + 16.0) text-anchor="middle" { (clock(time_s, step)) }
            }
        }
    }
}

/// A time on the axis: seconds, or hours, minutes and seconds.
fn clock(time_s: f64, step: f64) -> String {
    if step < 60.0 && time_s < 600.0 {
        return format!("{} s", tick_text(time_s, step));
    }
    let whole = (time_s + 1e-6).floor();
    let (hours, minutes) = ((whole / 3_600.0).floor(), (whole / 60.0).floor() % 60.0);
    let seconds = time_s - 60.0 * (whole / 60.0).floor();
    if step >= 1.0 {
        format!("{hours:.0}:{minutes:02.0}:{:02.0}", seconds.round())
    } else {
        format!("{hours:.0}:{minutes:02.0}:{seconds:05.2}")
    }
}

pub(crate) fn hundredth(value: f64) -> f64 {
    (100.0 * value).round() / 100.0
}

/// A lane's name, its values and its frame.
fn values(bench: &Bench, lane: &Lane<'_>, right: f64) -> Markup {
    let (step, ticks) = value_ticks(lane.range, lane.height / 4.0, 1.0);
    let signal = &bench.signals[lane.signal];
    let name = match lane.named {
        Some((_, named)) => channel_name(&named.channel),
        None => signal.label.clone(),
    };
    let lead = lane.named.filter(|(_, named)| named.channel == "ecg");
    let lead = lead.and_then(|(_, named)| named.lead.as_deref());
    let lead = lead.map_or_else(String::new, words::lead);
    let unit = if signal.unit.is_empty() { String::new() } else { format!(" ({})", signal.unit) };
    let foot = lane.top + lane.height;
    html! {
        line.frame x1=(LEFT) y1=(lane.top) x2=(LEFT) y2=(foot) {}
        line.frame x1=(LEFT) y1=(foot) x2=(right) y2=(foot) {}
        @for value in ticks {
            @let y = hundredth(lane.y(value));
            line.frame x1=(LEFT - 4.0) y1=(y) x2=(LEFT) y2=(y) {}
            text.value x=(LEFT - 7.0) y=(y + 4.0) text-anchor="end" { (tick_text(value, step)) }
        }
        text.name x=(LEFT + 6.0) y=(lane.top + 11.0) { (name) (lead) (unit) }
    }
}

/// A line's path, and where it is interrupted, in pixels.
pub(crate) type Line = (String, Vec<[f64; 2]>);

/// A lane's line, and where nothing was recorded.
pub(crate) fn line(
    bench: &Bench,
    reading: &mut Recording,
    lane: &Lane<'_>,
    view: &View,
    axis: &Axis,
) -> Result<Line, Refusal> {
    let columns = (view.width - LEFT - RIGHT).round().max(1.0) as usize;
    let span_s = [view.at_s, view.end_s()];
    let drawn = bench.envelope.stretch(reading, lane.signal, span_s, columns);
    let drawn = drawn.map_err(|error| Refusal::of_all(error.to_string()))?;
    let sign = if lane.turned() { -1.0 } else { 1.0 };
    let mut pen = Pen::default();
    match drawn {
        Drawn::Samples(points) => {
            for [time_s, value] in points {
                pen.to(axis.x(time_s), value.is_finite().then(|| [lane.y(sign * value)]));
            }
        }
        Drawn::Columns(all) => {
            for (index, extent) in all.into_iter().enumerate() {
                pen.to(LEFT + index as f64 + 0.5, ends(extent, lane, sign));
            }
        }
    }
    Ok(pen.done())
}

fn ends(extent: Extent, lane: &Lane<'_>, sign: f64) -> Option<[f64; 2]> {
    let [low, high] = extent.map(|value| sign * f64::from(value));
    (low.is_finite() && high.is_finite()).then(|| [lane.y(low), lane.y(high)])
}

/// Writes a path that is interrupted where nothing was recorded.
#[derive(Default)]
struct Pen {
    path: String,
    down: bool,
    /// Where the present gap began, and the gaps so far.
    gap: Option<f64>,
    gaps: Vec<[f64; 2]>,
    last: f64,
}

impl Pen {
    fn to<const N: usize>(&mut self, x: f64, ys: Option<[f64; N]>) {
        match ys {
            None => {
                self.gap.get_or_insert(x);
                self.down = false;
            }
            Some(ys) => {
                if let Some(from) = self.gap.take() {
                    self.gaps.push([from, x]);
                }
                for y in ys {
                    let verb = if self.down { 'L' } else { 'M' };
                    let _ = write!(self.path, "{verb}{x:.1} {y:.1}");
                    self.down = true;
                }
            }
        }
        self.last = x;
    }

    fn done(mut self) -> Line {
        if let Some(from) = self.gap {
            self.gaps.push([from, self.last]);
        }
        self.gaps.retain(|[from, to]| to - from > 2.0);
        (self.path, self.gaps)
    }
}

/// An alignment line at each beat, through all lanes.
fn beat_lines(beats: &[Beat], axis: &Axis, right: f64, foot: f64) -> Markup {
    html! {
        g.beats aria-hidden="true" {
            @for beat in beats {
                @let x = hundredth(axis.x(beat.anchor_s));
                @if (LEFT..=right).contains(&x) { line x1=(x) y1=(TOP - 6.0) x2=(x) y2=(foot) {} }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pen_is_lifted_where_nothing_was_recorded() {
        let mut pen = Pen::default();
        for (x, y) in
            [(1.0, Some([5.0])), (2.0, None), (6.0, None), (7.0, Some([6.0])), (8.0, Some([7.0]))]
        {
            pen.to(x, y);
        }
        assert_eq!(pen.done(), ("M1.0 5.0M7.0 6.0L8.0 7.0".to_owned(), vec![[2.0, 7.0]]));
    }

    #[test]
    fn times_are_told_as_people_count_them() {
        assert_eq!(clock(12.5, 0.5), "12.5 s");
        assert_eq!(clock(3_723.0, 1.0), "1:02:03");
        assert_eq!(clock(3_723.25, 0.05), "1:02:03.25");
        assert_eq!(clock(86_400.0, 14_400.0), "24:00:00");
    }
}
