//! A page's graphics: panels, grid, traces, and what a key adds.

use convention::{Convention, Outcome, Point, Says, Verdict, beats};
use cycle::{Cycle, Subject};
use figure::style::{self, Colour};
use figure::{Align, Box2, Figure, Item, Shape, Stroke, Tag, font, lines_of};

use crate::definition::{PageText, Scaffold};
use crate::layout::{Layout, PanelPlace};

/// Grey of the grid: a copier keeps it, and a scanner can tell it from a pencil.
const GRID: Colour = [196, 196, 196];
/// Width of the grid's lines.
const GRID_MM: f64 = 0.1;
/// Distance of the grid's lines.
const GRID_STEP_MM: f64 = 5.0;
/// Size of small print.
const SMALL: f64 = 2.7;
/// Width of a printed trace: no thinner than a pencil's, so that both look alike.
const TRACE_MM: f64 = 0.5;

/// Draws the panels of a page.
pub(crate) struct Drawer<'a> {
    pub(crate) subject: &'a Subject,
    pub(crate) convention: &'a Convention,
    pub(crate) model: &'a Cycle,
    pub(crate) layout: &'a Layout,
    pub(crate) page: &'a PageText,
    items: Vec<Item>,
}

impl<'a> Drawer<'a> {
    pub(crate) fn new(
        subject: &'a Subject,
        convention: &'a Convention,
        model: &'a Cycle,
        layout: &'a Layout,
        page: &'a PageText,
    ) -> Self {
        Self { subject, convention, model, layout, page, items: Vec::new() }
    }

    /// The sheet as the student gets it.
    pub(crate) fn sheet(mut self) -> Figure {
        let scaffold = self.page.scaffold;
        self.ground();
        for panel in &self.layout.panels {
            let given = match scaffold {
                Scaffold::Everything => true,
                Scaffold::Lines | Scaffold::Given => panel.given,
                Scaffold::Baselines | Scaffold::Blank => false,
            };
            if given {
                self.trace(panel, style::INK);
            } else if scaffold != Scaffold::Blank {
                self.baseline(panel);
            }
        }
        if scaffold <= Scaffold::Lines {
            self.alignment_lines();
        }
        let alt = self.alt(scaffold);
        self.figure(alt)
    }

    /// The completed page, with alignment lines and the tolerance of each rule that `verdicts`
    /// judges, numbered in their order.
    pub(crate) fn key(mut self, verdicts: &[Verdict]) -> Figure {
        self.ground();
        self.alignment_lines();
        for panel in &self.layout.panels {
            self.trace(panel, style::INK);
        }
        for (index, verdict) in verdicts.iter().enumerate() {
            self.tolerance(index + 1, verdict);
        }
        let alt = format!(
            "Key: all traces drawn, with alignment lines, and for each rule of the rubric a bracket as wide or as high as its tolerance. {}",
            self.alt(Scaffold::Everything)
        );
        self.figure(alt)
    }

    fn figure(self, alt: String) -> Figure {
        let [width_mm, height_mm] = self.layout.size_mm;
        Figure { width_mm, height_mm, title: String::new(), alt, items: self.items }
    }

    fn add(&mut self, tag: Tag, shape: Shape) {
        self.items.push(Item { tag, shape });
    }

    fn line(&mut self, tag: Tag, points: &[[f64; 2]], colour: Colour, width: f64, dash: &[f64]) {
        let stroke = Stroke { colour, width, dash: dash.to_vec() };
        self.add(tag, Shape::Lines { parts: vec![points.to_vec()], stroke });
    }

    fn text(&mut self, at: [f64; 2], text: &str, size: f64, align: Align, bold: bool) {
        let text = text.to_owned();
        let colour = style::INK;
        self.add(Tag::Axis, Shape::Text { at, text, size, bold, align, colour });
    }

    /// Frames, grid, names, numbers, time axis and the rules of 100 mm.
    fn ground(&mut self) {
        for panel in &self.layout.panels {
            self.grid(panel);
            self.frame(panel);
        }
        self.time_axis();
        self.rules();
    }

    fn grid(&mut self, panel: &PanelPlace) {
        let area = panel.area;
        let steps = |length: f64| {
            (1..).map(|n| f64::from(n) * GRID_STEP_MM).take_while(move |d| *d < length - 0.01)
        };
        for across in steps(area.w) {
            let x = area.x + across;
            self.line(Tag::Grid, &[[x, area.y], [x, area.bottom()]], GRID, GRID_MM, &[]);
        }
        for up in steps(area.h) {
            let y = area.bottom() - up;
            self.line(Tag::Grid, &[[area.x, y], [area.right(), y]], GRID, GRID_MM, &[]);
        }
    }

    fn frame(&mut self, panel: &PanelPlace) {
        let Box2 { x, y, .. } = panel.area;
        let (right, bottom) = (panel.area.right(), panel.area.bottom());
        let frame = [[x, y], [right, y], [right, bottom], [x, bottom], [x, y]];
        self.line(Tag::Panel, &frame, style::HAIRLINE, 0.2, &[]);
        let Some(kind) = self.subject.channel(&panel.channel) else { return };
        let short = kind.label.chars().all(char::is_uppercase);
        let title = if short { &kind.label } else { &kind.title };
        let room = 27.0;
        let lines = font::wrap(title, 3.0, true, room);
        let mut baseline = y + panel.area.h / 2.0 - 1.6 * (lines.len() as f64 - 1.0);
        for line in &lines {
            self.text([x - 30.0, baseline], line, 3.0, Align::Start, true);
            baseline += 3.6;
        }
        if kind.unit == "relative" {
            return;
        }
        self.text([x - 30.0, baseline], &kind.unit, SMALL, Align::Start, false);
        let map = panel.map();
        let (step, ticks) = figure::value_ticks(panel.values, panel.area.h, 1.0);
        for value in ticks {
            let at = map.y(value);
            self.line(Tag::Axis, &[[x - 1.2, at], [x, at]], style::HAIRLINE, 0.2, &[]);
            if at > y + 1.0 && at < bottom - 1.0 {
                let text = figure::tick_text(value, step);
                self.text([x - 1.8, at + 0.9], &text, SMALL, Align::End, false);
            }
        }
    }

    fn time_axis(&mut self) {
        let Some(panel) = self.layout.panels.last() else { return };
        let y = panel.area.bottom() + 2.0;
        let (left, right) = (panel.area.x, panel.area.right());
        self.line(Tag::Axis, &[[left, y], [right, y]], style::INK, 0.2, &[]);
        let map = panel.map();
        let mut tenths = (panel.time_s[0] * 10.0).ceil() as i64;
        while tenths as f64 / 10.0 <= panel.time_s[1] + 1e-9 {
            let x = map.x(tenths as f64 / 10.0);
            self.line(Tag::Axis, &[[x, y], [x, y + 1.2]], style::INK, 0.2, &[]);
            if tenths % 2 == 0 {
                let text = format!("{}", tenths * 100);
                self.text([x, y + 4.2], &text, SMALL, Align::Middle, false);
            }
            tenths += 1;
        }
        self.text([left - 30.0, y + 4.2], "Time (ms)", SMALL, Align::Start, false);
    }

    /// A rule across and one down: copiers scale the two directions differently.
    fn rules(&mut self) {
        let [across, down] = self.layout.rules;
        for (index, [from, to]) in [across, down].into_iter().enumerate() {
            self.line(Tag::Axis, &[from, to], style::INK, 0.2, &[]);
            for tick in 0..=10 {
                let share = f64::from(tick) / 10.0;
                let long = if tick % 5 == 0 { 2.0 } else { 1.2 };
                let at = [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])];
                let end = if index == 0 { [at[0], at[1] - long] } else { [at[0] - long, at[1]] };
                self.line(Tag::Axis, &[at, end], style::INK, 0.2, &[]);
            }
        }
        let [from, to] = across;
        let middle = f64::midpoint(from[0], to[0]);
        self.text([middle, from[1] + 3.0], "100 mm", SMALL, Align::Middle, false);
        let [from, to] = down;
        let beside = [from[0] - 3.0, f64::midpoint(from[1], to[1]) + 0.9];
        self.text(beside, "100 mm", SMALL, Align::End, false);
    }

    fn trace(&mut self, panel: &PanelPlace, colour: Colour) {
        let Some(trace) = self.model.trace(&panel.channel) else { return };
        let parts = lines_of(trace, &panel.map());
        let stroke = Stroke::solid(colour, TRACE_MM);
        self.add(Tag::Trace(panel.channel.clone()), Shape::Lines { parts, stroke });
    }

    /// A dashed line where the trace rests, for channels that rest on one.
    fn baseline(&mut self, panel: &PanelPlace) {
        let Some(kind) = self.subject.channel(&panel.channel) else { return };
        if kind.baseline.is_empty() && kind.unit != "relative" {
            return;
        }
        let map = panel.map();
        let y = map.y(0.0);
        if !(panel.area.y..=panel.area.bottom()).contains(&y) {
            return;
        }
        let ends = [[panel.area.x, y], [panel.area.right(), y]];
        self.line(Tag::Axis, &ends, style::HAIRLINE, 0.2, &[2.0, 1.5]);
    }

    /// The time of each alignment line, beat by beat.
    fn line_times(&self) -> Vec<(Point, Vec<f64>)> {
        let points = convention::alignment_points(self.convention, self.subject, self.model);
        let all = beats(self.model, self.subject);
        let Some([start, end]) = self.layout.panels.first().map(|panel| panel.time_s) else {
            return Vec::new();
        };
        let within = |t: &f64| (start..=end).contains(t);
        let times = |point: &Point| {
            all.iter().filter_map(|beat| beat.time_s(point)).filter(within).collect()
        };
        points.into_iter().map(|point| (point.clone(), times(&point))).collect()
    }

    fn alignment_lines(&mut self) {
        let (Some(first), Some(last)) = (self.layout.panels.first(), self.layout.panels.last())
        else {
            return;
        };
        let map = first.map();
        for (point, times) in self.line_times() {
            for time_s in times {
                let x = map.x(time_s);
                let ends = [[x, first.area.y - 1.5], [x, last.area.bottom() + 2.0]];
                self.line(Tag::Line(point.name.clone()), &ends, style::ACCENT, 0.25, &[2.0, 1.0]);
            }
        }
    }

    /// A rule's number and its tolerance: a bracket as wide, or as high, as what is accepted.
    fn tolerance(&mut self, number: usize, verdict: &Verdict) {
        let Some(rule) = self.convention.rule(&verdict.rule) else { return };
        let all = beats(self.model, self.subject);
        // Heights stand on the second beat, where there is one, so that they do not cover times.
        let which = match rule.says {
            Says::Timing { .. } => 0,
            _ => usize::from(all.len() > 1),
        };
        let Some(beat) = all.get(which) else { return };
        let point = rule.says.points()[0];
        let channel = match &rule.says {
            Says::Level { channel, .. } => Some(channel),
            _ => point.channel.as_ref(),
        };
        let Some(channel) = channel else { return };
        let Some(panel) = self.layout.panels.iter().find(|panel| panel.channel == *channel) else {
            return;
        };
        let Some(place) = beat.get(point) else { return };
        let map = panel.map();
        let value = self.model.trace(channel).and_then(|trace| trace.at(place.time_s));
        let (x, y) = (map.x(place.time_s), map.y(value.unwrap_or(place.value)));
        let measured = verdict.measured.unwrap_or(0.0);
        let [low, high] = verdict.window;
        let ends = [low, high].map(|side| side.map(|side| side - measured));
        let [less, more] = [
            ends[0].map_or(-12.0, |end| end - verdict.tolerance),
            ends[1].map_or(12.0, |end| end + verdict.tolerance),
        ];
        let at = match (&rule.says, verdict.outcome) {
            (_, Outcome::CannotTell) => return,
            (Says::Timing { .. }, _) => {
                let [from, to] = [x + less, x + more];
                let bar = (y - 2.0).max(panel.area.y + 1.0);
                let ends = [[from, bar], [to, bar]];
                self.line(Tag::Panel, &ends, style::ACCENT, 0.3, &[]);
                for end in [from, to] {
                    let tick = [[end, bar - 0.8], [end, bar + 0.8]];
                    self.line(Tag::Panel, &tick, style::ACCENT, 0.3, &[]);
                }
                [to + 1.0, bar + 0.9]
            }
            (Says::Height { .. } | Says::Level { .. }, _) => {
                let side = x + 1.5;
                let [from, to] =
                    [y - less, y - more].map(|y| y.clamp(panel.area.y, panel.area.bottom()));
                self.line(Tag::Panel, &[[side, from], [side, to]], style::ACCENT, 0.3, &[]);
                for end in [from, to] {
                    let tick = [[side - 0.8, end], [side + 0.8, end]];
                    self.line(Tag::Panel, &tick, style::ACCENT, 0.3, &[]);
                }
                [side + 1.0, f64::midpoint(from, to) + 0.9]
            }
            _ => return,
        };
        let text = number.to_string();
        let colour = style::ACCENT;
        let (size, bold, align) = (SMALL, true, Align::Start);
        // A number over a trace could not be read.
        let width = font::width(&text, size, bold);
        let area = Box2::new(at[0] - 0.2, at[1] - 0.8 * size, width + 0.4, 0.9 * size);
        self.add(Tag::Panel, Shape::Fill { area, colour: style::PAPER });
        self.add(Tag::Panel, Shape::Text { at, text, size, bold, align, colour });
    }

    /// The page in words.
    fn alt(&self, scaffold: Scaffold) -> String {
        let title = |channel: &str| {
            self.subject.channel(channel).map_or(channel.to_owned(), |kind| kind.title.clone())
        };
        let panels: Vec<String> = self
            .layout
            .panels
            .iter()
            .map(|panel| {
                let given = match scaffold {
                    Scaffold::Everything => true,
                    Scaffold::Lines | Scaffold::Given => panel.given,
                    _ => false,
                };
                let state = if given { "drawn" } else { "to be drawn" };
                format!("{} ({state})", title(&panel.channel))
            })
            .collect();
        let [start, end] = self.layout.panels.first().map_or([0.0, 0.0], |panel| panel.time_s);
        format!(
            "Panels from top to bottom on one time axis from {:.0} to {:.0} ms: {}.",
            start * 1000.0,
            end * 1000.0,
            panels.join("; ")
        )
    }
}
