//! The virtual page: where the panels stand, what is given, what is asked.

use convention::{alignment_points, beats};
use figure::{Box2, lines_of};
use marking::{On, has_bursts};
use serde::Serialize;
use sheet::{BarPlace, Layout, PanelPlace};

use crate::definition::{Level, Practice};
use crate::hear::{PAUSE_S, SLOWER};
use crate::points::PlacedPoint;
use crate::strokes::Polyline;
use crate::words;

/// Room left of the panels for numbers, and right of them.
const LEFT_MM: f64 = 11.0;
const RIGHT_MM: f64 = 4.0;
/// Room above a panel, and above a bar, for its name.
const NAME_MM: f64 = 6.5;
const BAR_NAME_MM: f64 = 5.0;
/// Room below the last for the time axis.
const FOOT_MM: f64 = 8.0;
/// Numbers on an axis are about as far apart as those in print.
const TICK_SIZE: f64 = 1.0;

/// What there is to draw, and on what.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Task {
    /// The test's title.
    pub title: String,
    /// What to do.
    pub told: String,
    /// The level of help, 1 to 4.
    pub level: Level,
    /// What each level is called, the easiest first.
    pub levels: Vec<&'static str>,
    /// What the variant was drawn by.
    pub seed: u64,
    /// Beats a minute.
    pub rate_bpm: f64,
    /// The time scale.
    pub mm_per_s: f64,
    /// The page.
    pub width_mm: f64,
    /// Its height.
    pub height_mm: f64,
    /// How long a beat is on the page.
    pub beat_mm: f64,
    /// The panels, from top to bottom.
    pub panels: Vec<Panel>,
    /// The rows of bars below them.
    pub bars: Vec<Row>,
    /// How fast a trace of it is heard.
    pub hearing: Pace,
    /// Alignment lines that are given.
    pub lines: Vec<AlignmentLine>,
    /// The time axis.
    pub times: Vec<Tick>,
    /// What can be placed point by point, instead of drawn.
    pub points: Vec<PlacedPoint>,
    /// The landmarks of what is given, in words for whoever does not see the page.
    pub given_marks: Vec<AlignmentLine>,
    /// The rules that are judged.
    pub rules: Vec<RuleText>,
    /// Whether there are steps to build along.
    pub has_steps: bool,
}

/// One panel.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Panel {
    /// The channel.
    pub channel: String,
    /// Its name.
    pub title: String,
    /// Its unit; empty for none.
    pub unit: String,
    /// Left side on the page.
    pub x_mm: f64,
    /// Top side.
    pub y_mm: f64,
    /// Width.
    pub width_mm: f64,
    /// Height.
    pub height_mm: f64,
    /// Times at the left and right side, in seconds.
    pub time_s: [f64; 2],
    /// Values at the bottom and top.
    pub values: [f64; 2],
    /// Numbers on its axis.
    pub ticks: Vec<Tick>,
    /// Where the trace rests, if the panel shows that.
    pub baseline_mm: Option<f64>,
    /// Whether it is drawn in bursts about its baseline.
    pub bursts: bool,
    /// Whether its trace is given.
    pub given: bool,
    /// The trace, where it is given.
    pub trace: Vec<Polyline>,
}

/// One row for a bar.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// The bar.
    pub bar: String,
    /// Its name.
    pub title: String,
    /// What it says of its time, such as "open".
    pub state: String,
    /// Left side on the page.
    pub x_mm: f64,
    /// Top side.
    pub y_mm: f64,
    /// Width.
    pub width_mm: f64,
    /// Height.
    pub height_mm: f64,
    /// Whether it is given.
    pub given: bool,
    /// Its stretches, where it is given: left and right ends.
    pub stretches: Vec<[f64; 2]>,
}

/// A number on an axis.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tick {
    /// Where, along the axis.
    pub at_mm: f64,
    /// What it says; empty for a mark alone.
    pub text: String,
}

/// How fast a trace is heard.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Pace {
    /// How many times slower everything goes when it goes slowly.
    pub slower: f64,
    /// Silence between the page's end and its beginning, seconds.
    pub pause_s: f64,
}

/// An alignment line.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AlignmentLine {
    /// Where.
    pub x_mm: f64,
    /// Through what.
    pub name: String,
}

/// A rule, before anything is judged by it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RuleText {
    /// Its identifier.
    pub id: String,
    /// What the student reads.
    pub text: String,
    /// What it is worth.
    pub points: f64,
}

/// The places of all pages, on one page below one another; a channel that stands on several pages
/// stands there once.
pub(crate) fn virtual_page(
    layouts: &[Layout],
) -> (Vec<On<PanelPlace>>, Vec<On<BarPlace>>, [f64; 2]) {
    let mut panels: Vec<On<PanelPlace>> = Vec::new();
    let mut bars: Vec<On<BarPlace>> = Vec::new();
    let (mut top, mut width) = (0.0, 0.0f64);
    for place in layouts.iter().flat_map(|layout| &layout.panels) {
        if panels.iter().any(|on| on.place.channel == place.channel) {
            continue;
        }
        top += NAME_MM;
        let area = Box2::new(LEFT_MM, top, place.area.w, place.area.h);
        panels.push(On { page: 1, place: PanelPlace { area, ..place.clone() } });
        top += place.area.h;
        width = width.max(place.area.w);
    }
    for place in layouts.iter().flat_map(|layout| &layout.bars) {
        if bars.iter().any(|on| on.place.bar == place.bar) {
            continue;
        }
        top += BAR_NAME_MM;
        let area = Box2::new(LEFT_MM, top, place.area.w, place.area.h);
        bars.push(On { page: 1, place: BarPlace { area, ..place.clone() } });
        top += place.area.h;
    }
    (panels, bars, [LEFT_MM + width + RIGHT_MM, top + FOOT_MM])
}

impl Practice {
    /// What there is to draw.
    pub fn task(&self) -> Task {
        let rate_bpm = 60.0 / self.model.period_s;
        let [width_mm, height_mm] = self.size_mm;
        Task {
            title: self.test.title.clone(),
            told: self.told(rate_bpm),
            level: self.level,
            levels: Level::ALL.map(words::level).to_vec(),
            seed: self.seed,
            rate_bpm,
            mm_per_s: self.test.mm_per_s,
            width_mm,
            height_mm,
            beat_mm: self.model.period_s * self.test.mm_per_s,
            panels: self.panels.iter().map(|on| self.panel(&on.place)).collect(),
            bars: self.bars.iter().map(|on| self.row(&on.place)).collect(),
            hearing: Pace { slower: SLOWER, pause_s: PAUSE_S },
            lines: if self.level.has_lines() { self.alignment_lines() } else { Vec::new() },
            times: self.times(),
            points: self.points(),
            given_marks: self.given_marks(),
            rules: self.rule_texts(),
            has_steps: self.steps().is_ok_and(|steps| !steps.is_empty()),
        }
    }

    fn told(&self, rate_bpm: f64) -> String {
        let panels = self.panels.iter().filter(|on| !on.place.given);
        let names = panels.map(|on| self.noun_of_channel(&on.place.channel));
        let bars = self.bars.iter().filter(|on| !on.place.given);
        let rows = bars.filter_map(|on| {
            let kind = self.subject.bar(&on.place.bar)?;
            Some(format!("times at which the {} is {}", kind.title.to_lowercase(), kind.state))
        });
        let asked: Vec<String> = names.chain(rows).collect();
        let reference = &self.subject.reference_channel;
        let free = self.panels.iter().any(|on| on.place.channel == *reference && !on.place.given);
        words::told(&asked, self.level.has_lines(), free.then_some(rate_bpm))
    }

    /// A channel within a sentence, such as "ECG" or "aortic pressure".
    pub(crate) fn noun_of_channel(&self, channel: &str) -> String {
        let Some(kind) = self.subject.channel(channel) else { return channel.to_owned() };
        if kind.label.chars().all(char::is_uppercase) {
            return kind.label.clone();
        }
        let mut letters = kind.title.chars();
        let first = letters.next().map(char::to_lowercase);
        first.into_iter().flatten().chain(letters).collect()
    }

    fn panel(&self, place: &PanelPlace) -> Panel {
        let kind = self.subject.channel(&place.channel);
        let unit = kind.map_or("", |kind| kind.unit.as_str());
        let relative = unit == "relative";
        let map = place.map();
        let Box2 { x, y, w, h } = place.area;
        let (step, values) = figure::value_ticks(place.values, h, TICK_SIZE);
        let inside = |at: &f64| (y + 1.0..=y + h - 1.0).contains(at);
        let ticks = values.into_iter().map(|value| {
            let at_mm = map.y(value);
            let text = if inside(&at_mm) { figure::tick_text(value, step) } else { String::new() };
            Tick { at_mm, text }
        });
        let rests = kind.is_some_and(|kind| relative || !kind.baseline.is_empty());
        let short = kind.filter(|kind| kind.label.chars().all(char::is_uppercase));
        let title = short.map_or_else(
            || kind.map_or_else(|| place.channel.clone(), |kind| kind.title.clone()),
            |kind| kind.label.clone(),
        );
        Panel {
            channel: place.channel.clone(),
            title,
            unit: if relative { String::new() } else { unit.to_owned() },
            x_mm: x,
            y_mm: y,
            width_mm: w,
            height_mm: h,
            time_s: place.time_s,
            values: place.values,
            ticks: if relative { Vec::new() } else { ticks.collect() },
            baseline_mm: Some(map.y(0.0)).filter(|at| rests && (y..=y + h).contains(at)),
            bursts: has_bursts(&self.subject, &place.channel),
            given: place.given,
            trace: if place.given { self.key_lines(place) } else { Vec::new() },
        }
    }

    /// The key's trace in a panel.
    pub(crate) fn key_lines(&self, place: &PanelPlace) -> Vec<Polyline> {
        let trace = self.model.trace(&place.channel);
        trace.map_or_else(Vec::new, |trace| lines_of(trace, &place.map()))
    }

    fn row(&self, place: &BarPlace) -> Row {
        let kind = self.subject.bar(&place.bar);
        Row {
            bar: place.bar.clone(),
            title: kind.map_or_else(|| place.bar.clone(), |kind| kind.title.clone()),
            state: kind.map_or_else(String::new, |kind| kind.state.clone()),
            x_mm: place.area.x,
            y_mm: place.area.y,
            width_mm: place.area.w,
            height_mm: place.area.h,
            given: place.given,
            stretches: if place.given { self.key_stretches(place) } else { Vec::new() },
        }
    }

    /// The key's bar in a row, by its ends on the page.
    pub(crate) fn key_stretches(&self, place: &BarPlace) -> Vec<[f64; 2]> {
        let Some(kind) = self.subject.bar(&place.bar) else { return Vec::new() };
        let all = kind.stretches(&self.model, place.time_s[0], place.time_s[1]);
        all.into_iter().map(|stretch| stretch.map(|time_s| place.x(time_s))).collect()
    }

    fn alignment_lines(&self) -> Vec<AlignmentLine> {
        let rubric = self.rubric();
        let points = alignment_points(&self.test.convention, &self.subject, &self.model);
        let mut lines = Vec::new();
        for beat in beats(&self.model, &self.subject) {
            for point in &points {
                let Some(x_mm) = beat.time_s(point).and_then(|time_s| self.x_of(time_s)) else {
                    continue;
                };
                lines.push(AlignmentLine { x_mm, name: rubric.title(point) });
            }
        }
        lines
    }

    /// The points of given traces and bars that rules are about, from left to right.
    fn given_marks(&self) -> Vec<AlignmentLine> {
        let rubric = self.rubric();
        let named = self.test.convention.points();
        let given: Vec<_> = named.iter().filter(|point| rubric.is_given(point)).collect();
        let mut marks = Vec::new();
        for beat in beats(&self.model, &self.subject) {
            for point in &given {
                let x = beat.time_s(point).and_then(|time_s| self.x_of(time_s));
                marks.extend(x.map(|x_mm| AlignmentLine { x_mm, name: rubric.title(point) }));
            }
        }
        marks.sort_by(|a, b| a.x_mm.total_cmp(&b.x_mm));
        marks
    }

    /// Where a time is across the page, if the panels reach so far.
    pub(crate) fn x_of(&self, time_s: f64) -> Option<f64> {
        let place = &self.panels.first()?.place;
        let [start, end] = place.time_s;
        (start - 1e-9..=end + 1e-9).contains(&time_s).then(|| place.map().x(time_s))
    }

    fn times(&self) -> Vec<Tick> {
        let Some(on) = self.panels.first() else { return Vec::new() };
        let map = on.place.map();
        let [start, end] = on.place.time_s;
        let tenths = (start * 10.0).ceil() as i64..=((end + 1e-9) * 10.0).floor() as i64;
        let tick = |tenth: i64| Tick {
            at_mm: map.x(tenth as f64 / 10.0),
            text: if tenth % 2 == 0 { format!("{}", tenth * 100) } else { String::new() },
        };
        tenths.map(tick).collect()
    }

    fn rule_texts(&self) -> Vec<RuleText> {
        let rules = self.asked.iter().filter_map(|id| self.test.convention.rule(id));
        let text = |rule: &convention::Rule| RuleText {
            id: rule.id.clone(),
            text: words::full_stop(&rule.text),
            points: rule.points,
        };
        rules.map(text).collect()
    }
}
