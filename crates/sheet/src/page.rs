//! A page's graphics: panels, grid, traces, and what a key adds.

use convention::{Convention, Outcome, Point, Says, Verdict, beats};
use cycle::{Cycle, Subject};
use figure::style::{self, Colour};
use figure::{Align, Box2, Figure, Item, Shape, Stroke, Tag, font, lines_of};

use crate::definition::{PageText, Scaffold, Test};
use crate::layout::{BarPlace, Layout, PanelPlace};
use crate::print::Sizes;

/// Grey of the grid: a copier keeps it, and a scanner can tell it from a pencil.
const GRID: Colour = [196, 196, 196];
/// Width of the grid's lines.
const GRID_MM: f64 = 0.1;
/// Distance of the grid's lines.
const GRID_STEP_MM: f64 = 5.0;
/// Heights at which a bracket is tried, from a panel's top, and their distance.
const LANES: u8 = 6;
const LANE_MM: f64 = 2.6;
/// Grey of a bar while it lasts.
const BAR: Colour = [205, 205, 202];
/// Room for names left of the panels, in the usual print.
const NAMES: f64 = 30.0;
/// Size of a panel's name.
const NAME: f64 = 3.0;

/// Draws the panels of a page.
pub(crate) struct Drawer<'a> {
    pub(crate) subject: &'a Subject,
    pub(crate) convention: &'a Convention,
    pub(crate) model: &'a Cycle,
    pub(crate) layout: &'a Layout,
    pub(crate) page: &'a PageText,
    sizes: Sizes,
    items: Vec<Item>,
    /// Names that stand over everything else.
    names: Vec<Shape>,
}

impl<'a> Drawer<'a> {
    pub(crate) fn new(
        test: &'a Test,
        subject: &'a Subject,
        model: &'a Cycle,
        layout: &'a Layout,
        page: &'a PageText,
    ) -> Self {
        let (convention, sizes) = (&test.convention, test.sizes());
        Self {
            subject,
            convention,
            model,
            layout,
            page,
            sizes,
            items: Vec::new(),
            names: Vec::new(),
        }
    }

    /// The sheet as the student gets it.
    pub(crate) fn sheet(mut self) -> Figure {
        let scaffold = self.page.scaffold;
        self.ground();
        for panel in &self.layout.panels {
            if scaffold.shows(panel.given) {
                self.trace(panel);
            } else if scaffold != Scaffold::Blank {
                self.baseline(panel);
            }
        }
        for bar in &self.layout.bars {
            if scaffold.shows(bar.given) {
                self.bar(bar);
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
        self.complete();
        for (index, verdict) in verdicts.iter().enumerate() {
            self.tolerance(index + 1, verdict);
        }
        let alt = format!(
            "Key: all traces drawn, with alignment lines, and for each rule of the rubric a bracket as wide or as high as its tolerance. {}",
            self.alt(Scaffold::Everything)
        );
        self.figure(alt)
    }

    /// The completed page with alignment lines, to draw after.
    pub(crate) fn copy(mut self) -> Figure {
        self.complete();
        let alt = self.alt(Scaffold::Everything);
        self.figure(alt)
    }

    fn complete(&mut self) {
        self.ground();
        self.alignment_lines();
        for panel in &self.layout.panels {
            self.trace(panel);
        }
        for bar in &self.layout.bars {
            self.bar(bar);
        }
    }

    fn figure(mut self, alt: String) -> Figure {
        for name in std::mem::take(&mut self.names) {
            if let Some(area) = name.text_box() {
                let ground = Shape::Fill { area: area.grown(0.3), colour: style::PAPER };
                self.add(Tag::Panel, ground);
            }
            self.add(Tag::Panel, name);
        }
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

    /// A name above its panel, kept for the end: alignment lines go beneath it.
    fn named(&mut self, at: [f64; 2], name: &str) {
        let (size, bold, align) = (self.sizes.small, true, Align::Start);
        let (text, colour) = (name.to_owned(), style::INK);
        self.names.push(Shape::Text { at, text, size, bold, align, colour });
    }

    /// Frames, grid, names, numbers, time axis and the rules of 100 mm.
    fn ground(&mut self) {
        for panel in &self.layout.panels {
            self.grid(panel);
            self.frame(panel);
        }
        self.rows();
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
        let small = self.sizes.small;
        let large = self.sizes == Sizes::LARGE;
        let short = kind.label.chars().all(char::is_uppercase);
        let title = if short { &kind.label } else { &kind.title };
        let mut baseline = y + panel.area.h / 2.0;
        if large {
            let unit = if kind.unit == "relative" { "" } else { &kind.unit };
            let name = if unit.is_empty() { title.clone() } else { format!("{title} ({unit})") };
            self.named([x, y - 2.0], &name);
        } else {
            let lines = font::wrap(title, NAME, true, NAMES - 9.0);
            baseline -= 1.6 * (lines.len() as f64 - 1.0);
            for line in &lines {
                self.text([x - NAMES, baseline], line, NAME, Align::Start, true);
                baseline += 1.2 * NAME;
            }
        }
        if kind.unit == "relative" {
            return;
        }
        if !large {
            self.text([x - NAMES, baseline], &kind.unit, small, Align::Start, false);
        }
        let map = panel.map();
        let (step, ticks) = figure::value_ticks(panel.values, panel.area.h, small / 2.7);
        for value in ticks {
            let at = map.y(value);
            self.line(Tag::Axis, &[[x - 1.2, at], [x, at]], style::HAIRLINE, 0.2, &[]);
            if at > y + 1.0 && at < bottom - 1.0 {
                let text = figure::tick_text(value, step);
                self.text([x - 1.8, at + small / 3.0], &text, small, Align::End, false);
            }
        }
    }

    /// The rows of the bars, empty, with their names.
    fn rows(&mut self) {
        for place in &self.layout.bars {
            let Some(kind) = self.subject.bar(&place.bar) else { continue };
            let middle = place.area.y + place.area.h / 2.0;
            let ends = [[place.area.x, middle], [place.area.right(), middle]];
            self.line(Tag::Bar(kind.id.clone()), &ends, style::HAIRLINE, 0.2, &[]);
            if self.sizes == Sizes::LARGE {
                let at = [place.area.x, place.area.y - 1.5];
                let name = format!("{} {}", kind.title, kind.state);
                self.named(at, &name);
                continue;
            }
            let at = [place.area.x - NAMES, middle];
            self.text([at[0], at[1] - 0.1], &kind.title, self.sizes.small, Align::Start, true);
            let state = [at[0], at[1] + 2.8];
            self.text(state, &kind.state, self.sizes.small, Align::Start, false);
        }
    }

    /// What a bar shows: filled boxes while it lasts.
    fn bar(&mut self, place: &BarPlace) {
        let Some(kind) = self.subject.bar(&place.bar) else { return };
        let [start, end] = place.time_s;
        for [from, to] in kind.stretches(self.model, start, end) {
            let [from, to] = [place.x(from), place.x(to)];
            let high = 0.5 * place.area.h;
            let area = Box2::new(from, place.area.y + (place.area.h - high) / 2.0, to - from, high);
            let tag = Tag::Bar(kind.id.clone());
            self.add(tag.clone(), Shape::Fill { area, colour: BAR });
            let (top, bottom) = (area.y, area.bottom());
            let frame = [[from, top], [to, top], [to, bottom], [from, bottom], [from, top]];
            self.line(tag, &frame, style::INK, 0.6 * self.sizes.trace, &[]);
        }
    }

    fn time_axis(&mut self) {
        let Some(panel) = self.layout.panels.last() else { return };
        let small = self.sizes.small;
        let y = self.layout.bottom() + 2.0;
        let baseline = y + 1.5 + small;
        let (left, right) = (panel.area.x, panel.area.right());
        self.line(Tag::Axis, &[[left, y], [right, y]], style::INK, 0.2, &[]);
        let map = panel.map();
        let mut tenths = (panel.time_s[0] * 10.0).ceil() as i64;
        while tenths as f64 / 10.0 <= panel.time_s[1] + 1e-9 {
            let x = map.x(tenths as f64 / 10.0);
            self.line(Tag::Axis, &[[x, y], [x, y + 1.2]], style::INK, 0.2, &[]);
            if tenths % 2 == 0 {
                let text = format!("{}", tenths * 100);
                self.text([x, baseline], &text, small, Align::Middle, false);
            }
            tenths += 1;
        }
        if self.sizes == Sizes::LARGE {
            let name = [left, baseline + 1.15 * small];
            self.text(name, "Time (ms)", small, Align::Start, false);
        } else {
            self.text([left - NAMES, baseline], "Time (ms)", small, Align::Start, false);
        }
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
        self.text(
            [middle, from[1] + 0.3 + self.sizes.small],
            "100 mm",
            self.sizes.small,
            Align::Middle,
            false,
        );
        let [from, to] = down;
        let at = if self.sizes == Sizes::LARGE {
            [from[0], from[1] - 2.0]
        } else {
            [from[0] - 3.0, f64::midpoint(from[1], to[1]) + 0.9]
        };
        self.text(at, "100 mm", self.sizes.small, Align::End, false);
    }

    fn trace(&mut self, panel: &PanelPlace) {
        let Some(trace) = self.model.trace(&panel.channel) else { return };
        let parts = lines_of(trace, &panel.map());
        let stroke = Stroke::solid(style::INK, self.sizes.trace);
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
        let Some(first) = self.layout.panels.first() else { return };
        let bottom = self.layout.bottom();
        let map = first.map();
        for (point, times) in self.line_times() {
            for time_s in times {
                let x = map.x(time_s);
                let ends = [[x, first.area.y - 1.5], [x, bottom + 2.0]];
                self.line(
                    Tag::Line(point.name.clone()),
                    &ends,
                    style::ACCENT,
                    self.sizes.line,
                    &[2.0, 1.0],
                );
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
        let Some(place) = beat.get(point) else { return };
        let channel = match &rule.says {
            Says::Level { channel, .. } => Some(channel),
            _ => point.channel.as_ref(),
        };
        let (x, y, panel_top, panel_bottom) = match channel {
            Some(channel) => {
                let on = |panel: &&PanelPlace| panel.channel == *channel;
                let Some(panel) = self.layout.panels.iter().find(on) else { return };
                let map = panel.map();
                let value = self.model.trace(channel).and_then(|trace| trace.at(place.time_s));
                let y = map.y(value.unwrap_or(place.value));
                (map.x(place.time_s), y, panel.area.y, panel.area.bottom())
            }
            None => {
                let Some(bar) = self.bar_of(&point.name) else { return };
                let middle = bar.area.y + bar.area.h / 2.0;
                (bar.x(place.time_s), middle, bar.area.y, bar.area.bottom())
            }
        };
        let measured = verdict.measured.unwrap_or(0.0);
        let [low, high] = verdict.window;
        let ends = [low, high].map(|side| side.map(|side| side - measured));
        let [less, more] = [
            ends[0].map_or(-12.0, |end| end - verdict.tolerance),
            ends[1].map_or(12.0, |end| end + verdict.tolerance),
        ];
        // Baselines at which the number may begin: outside the bracket, then beyond its ends.
        let size = self.sizes.small;
        let width = font::width(&number.to_string(), size, true);
        match (&rule.says, verdict.outcome) {
            // A heart that breaks a rule is drawn where the rule does not have it.
            (_, Outcome::CannotTell | Outcome::NotMet) => {}
            (Says::Timing { .. }, _) => {
                let [from, to] = [x + less, x + more];
                let near = (y - 2.0).max(panel_top + 1.0);
                // A number in the highest lane stays within its panel.
                let highest = panel_top + (0.45 * size).max(1.2);
                let apart = (0.95 * size).max(LANE_MM);
                let lanes = (0..LANES).map(|lane| highest + f64::from(lane) * apart);
                let lanes = lanes.filter(|&lane| lane < panel_bottom - 1.0);
                // Apart from its own point a bracket near the trace must cross nothing.
                let hidden = |bar: f64| {
                    let area = Box2::new(from - 0.5, bar - 0.9, to - from + 1.0, 1.8);
                    self.covered(&area)
                };
                let bar = std::iter::once(near).chain(lanes).min_by_key(|&bar| hidden(bar));
                let bar = bar.unwrap_or(near);
                self.bracket([from, bar], [to, bar]);
                let middle = f64::midpoint(from, to) - width / 2.0;
                let (right, left) = (to + 1.0, from - 1.0 - width);
                let level = bar + size / 3.0;
                let places = [
                    [right, level],
                    [left, level],
                    [middle, bar - 1.0],
                    [middle, bar + 1.0 + 0.8 * size],
                    [right, level - size],
                    [right, level + size],
                    [left, level - size],
                    [left, level + size],
                ];
                self.number(number, &places);
            }
            (Says::Height { .. } | Says::Level { .. }, _) => {
                let side = x + 1.5;
                let [from, to] = [y - less, y - more].map(|y| y.clamp(panel_top, panel_bottom));
                self.bracket([side, from], [side, to]);
                let (right, left) = (side + 1.2, side - 1.2 - width);
                let level = f64::midpoint(from, to) + size / 3.0;
                let centre = side - width / 2.0;
                let places = [
                    [right, level],
                    [right, to + size],
                    [right, from],
                    [left, level],
                    [centre, to - 1.0],
                    [centre, from + 1.0 + 0.8 * size],
                    [right + size, level - size],
                    [right + size, level + size],
                ];
                self.number(number, &places);
            }
            _ => {}
        }
    }

    /// A line with a tick at each end.
    fn bracket(&mut self, from: [f64; 2], to: [f64; 2]) {
        let width = self.sizes.line + 0.05;
        self.line(Tag::Panel, &[from, to], style::ACCENT, width, &[]);
        let level = from[1] == to[1];
        for end in [from, to] {
            let [dx, dy] = if level { [0.0, 0.8] } else { [0.8, 0.0] };
            let tick = [[end[0] - dx, end[1] - dy], [end[0] + dx, end[1] + dy]];
            self.line(Tag::Panel, &tick, style::ACCENT, width, &[]);
        }
    }

    /// A rule's number, at the first of the places where it covers least.
    fn number(&mut self, number: usize, places: &[[f64; 2]]) {
        let text = number.to_string();
        let colour = style::ACCENT;
        let (size, bold, align) = (self.sizes.small, true, Align::Start);
        let width = font::width(&text, size, bold);
        let ground =
            |at: [f64; 2]| Box2::new(at[0] - 0.2, at[1] - 0.8 * size, width + 0.4, 0.9 * size);
        let Some(&at) = places.iter().min_by_key(|&&at| self.covered(&ground(at))) else { return };
        // A number over a line could not be read.
        let area = ground(at);
        self.add(Tag::Panel, Shape::Fill { area, colour: style::PAPER });
        self.add(Tag::Panel, Shape::Text { at, text, size, bold, align, colour });
    }

    /// How much of what is drawn a number in `area` would cover: other numbers weigh most, then
    /// traces, then brackets and alignment lines.
    fn covered(&self, area: &Box2) -> u32 {
        let weigh = |item: &Item| match &item.shape {
            Shape::Text { .. } if item.tag == Tag::Panel => {
                let other = item.shape.text_box();
                if other.is_some_and(|other| other.overlaps(area)) { 9 } else { 0 }
            }
            Shape::Lines { parts, stroke } => {
                let weight = match item.tag {
                    Tag::Trace(_) => 4,
                    _ if stroke.colour == style::ACCENT => 1,
                    _ => return 0,
                };
                let mut runs = parts.iter().flat_map(|part| part.windows(2));
                if runs.any(|ends| area.crossed_by(ends[0], ends[1])) { weight } else { 0 }
            }
            _ => 0,
        };
        let outside = self.layout.panels.iter().all(|panel| !panel.area.overlaps(area))
            && self.layout.bars.iter().all(|bar| !bar.area.overlaps(area));
        // What stands over everything would cover the number.
        let mut names = self.names.iter().filter_map(Shape::text_box);
        let hidden = names.any(|name| name.grown(0.3).overlaps(area));
        let [outside, hidden] =
            [(outside, 2), (hidden, 6)].map(|(so, cost)| if so { cost } else { 0 });
        self.items.iter().map(weigh).sum::<u32>() + outside + hidden
    }

    /// The row on which an event is seen.
    fn bar_of(&self, event: &str) -> Option<&BarPlace> {
        self.layout.bars.iter().find(|place| {
            let kind = self.subject.bar(&place.bar);
            kind.is_some_and(|kind| kind.from == event || kind.to == event)
        })
    }

    /// The page in words.
    fn alt(&self, scaffold: Scaffold) -> String {
        let title = |channel: &str| {
            self.subject.channel(channel).map_or(channel.to_owned(), |kind| kind.title.clone())
        };
        let state = |drawn: bool| if drawn { "drawn" } else { "to be drawn" };
        let panels: Vec<String> = self
            .layout
            .panels
            .iter()
            .map(|panel| {
                let state = state(scaffold.shows(panel.given));
                format!("{} ({state})", title(&panel.channel))
            })
            .collect();
        let bars: Vec<String> = self
            .layout
            .bars
            .iter()
            .filter_map(|place| {
                let kind = self.subject.bar(&place.bar)?;
                Some(format!(
                    "{} {} ({})",
                    kind.title,
                    kind.state,
                    state(scaffold.shows(place.given))
                ))
            })
            .collect();
        let bars = if bars.is_empty() {
            String::new()
        } else {
            format!(" Below them, bars: {}.", bars.join("; "))
        };
        let [start, end] = self.layout.panels.first().map_or([0.0, 0.0], |panel| panel.time_s);
        format!(
            "Panels from top to bottom on one time axis from {:.0} to {:.0} ms: {}.{bars}",
            start * 1000.0,
            end * 1000.0,
            panels.join("; ")
        )
    }
}
