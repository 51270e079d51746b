//! The request with every name resolved: what is drawn, before where.

use cycle::{BarKind, ChannelKind, Cycle, Subject, Trace};

use crate::error::unknown;
use crate::{FigureError, FigureSpec, axis, curve, spec};

/// Everything a figure shows, found in the cycle.
pub(crate) struct Scene<'a> {
    pub(crate) cycle: &'a Cycle,
    pub(crate) ghost: Option<&'a Cycle>,
    pub(crate) subject: &'a Subject,
    pub(crate) spec: &'a FigureSpec,
    pub(crate) start_s: f64,
    pub(crate) end_s: f64,
    pub(crate) panels: Vec<Panel<'a>>,
    pub(crate) lines: Vec<Line<'a>>,
    /// Titles of lines that are known and do not occur here.
    pub(crate) absent: Vec<&'a str>,
    pub(crate) bars: Vec<&'a BarKind>,
    pub(crate) loop_traces: Option<[(&'a ChannelKind, &'a Trace); 2]>,
}

/// One panel's traces and axis.
pub(crate) struct Panel<'a> {
    pub(crate) traces: Vec<(&'a ChannelKind, &'a Trace)>,
    pub(crate) title: String,
    /// `None` for relative values, which have no numbers on the axis.
    pub(crate) unit: Option<&'a str>,
    pub(crate) height: f64,
    pub(crate) range: [f64; 2],
    /// Whether each trace carries its own label.
    pub(crate) named_traces: bool,
}

/// An alignment line: where it passes.
pub(crate) struct Line<'a> {
    pub(crate) id: &'a str,
    pub(crate) title: &'a str,
    pub(crate) times_s: Vec<f64>,
}

impl<'a> Scene<'a> {
    /// Finds what `spec` names.
    pub(crate) fn new(
        cycle: &'a Cycle,
        ghost: Option<&'a Cycle>,
        subject: &'a Subject,
        spec: &'a FigureSpec,
    ) -> Result<Self, FigureError> {
        spec::check(spec)?;
        let mut scene = Self {
            cycle,
            ghost: ghost.filter(|_| spec.ghost),
            subject,
            spec,
            start_s: 0.0,
            end_s: 0.0,
            panels: Vec::new(),
            lines: Vec::new(),
            absent: Vec::new(),
            bars: Vec::new(),
            loop_traces: None,
        };
        (scene.start_s, scene.end_s) = scene.window()?;
        for index in 0..spec.panels.len() {
            scene.panels.push(scene.panel(index)?);
        }
        for id in &spec.lines {
            scene.line(id)?;
        }
        for id in &spec.bars {
            let kind = subject.bars.iter().find(|bar| bar.id == *id);
            let known = subject.bars.iter().map(|bar| bar.id.as_str());
            scene.bars.push(kind.ok_or_else(|| unknown("bar", id, known))?);
        }
        if let Some([x, y]) = &spec.loop_channels {
            scene.loop_traces = Some([scene.channel(x)?, scene.channel(y)?]);
        }
        Ok(scene)
    }

    /// Whether more than one beat or so is shown.
    pub(crate) fn repeats(&self) -> bool {
        self.end_s - self.start_s > 1.5 * self.cycle.period_s
    }

    pub(crate) fn shows_time(&self, time_s: f64) -> bool {
        // Times are written in decimal; one at the very edge still counts.
        let slack = 1e-9 * (1.0 + self.end_s.abs());
        (self.start_s - slack..=self.end_s + slack).contains(&time_s)
    }

    /// What is written at the landmark called `id`, if anything.
    pub(crate) fn label_of(&self, id: &str) -> Option<&'a str> {
        let kind = self.subject.landmark(id)?;
        let text = self.spec.label_texts.get(id).unwrap_or(&kind.label);
        (!text.is_empty()).then_some(text.as_str())
    }

    fn channel(&self, id: &str) -> Result<(&'a ChannelKind, &'a Trace), FigureError> {
        let known = self.subject.channels.iter().map(|kind| kind.id.as_str());
        let kind = self.subject.channel(id).ok_or_else(|| unknown("channel", id, known))?;
        let trace = self.cycle.trace(id).ok_or_else(|| {
            let present: Vec<&str> =
                self.cycle.traces.iter().map(|trace| trace.channel.as_str()).collect();
            let present = if present.is_empty() { "none".into() } else { present.join(", ") };
            FigureError::ChannelMissing { name: id.to_owned(), present }
        })?;
        Ok((kind, trace))
    }

    /// The time shown: as asked, or the span of the traces shown.
    fn window(&self) -> Result<(f64, f64), FigureError> {
        let mut span: Option<(f64, f64)> = None;
        for id in self.spec.panels.iter().flat_map(|panel| &panel.channels) {
            let (_, trace) = self.channel(id)?;
            let (from, to) = (trace.start_s, trace.end_s());
            span = Some(span.map_or((from, to), |(a, b)| (a.min(from), b.max(to))));
        }
        let (from_s, to_s) = span.ok_or(FigureError::NoPanels)?;
        let start_s = self.spec.start_s.unwrap_or(from_s);
        let end_s = self.spec.end_s.unwrap_or(to_s);
        let shows = start_s.max(from_s) < end_s.min(to_s);
        if !(shows && start_s.is_finite() && end_s.is_finite()) {
            return Err(FigureError::EmptyWindow { start_s, end_s, from_s, to_s });
        }
        Ok((start_s, end_s))
    }

    fn panel(&self, index: usize) -> Result<Panel<'a>, FigureError> {
        let asked = &self.spec.panels[index];
        let traces: Vec<_> =
            asked.channels.iter().map(|id| self.channel(id)).collect::<Result<_, _>>()?;
        let unit = traces[0].1.unit.as_str();
        let written = |t: &(&ChannelKind, &Trace)| format!("{} ({})", t.0.id, t.1.unit);
        if let Some(other) = traces.iter().find(|(_, trace)| trace.unit != unit) {
            let (first, second) = (written(&traces[0]), written(other));
            return Err(FigureError::MixedUnits { panel: index + 1, first, second });
        }
        let mut panel = Panel {
            named_traces: traces.len() > 1 || asked.title.is_some(),
            title: asked.title.clone().unwrap_or_else(|| common_title(&traces)),
            unit: (unit != "relative").then_some(unit),
            height: asked.height_mm,
            range: [0.0; 2],
            traces,
        };
        if asked.title.as_deref() == Some(panel.traces[0].0.title.as_str())
            || asked.title.as_deref() == Some(panel.traces[0].0.label.as_str())
        {
            panel.named_traces = panel.traces.len() > 1;
        }
        panel.range = match asked.range {
            Some(range) => {
                // A trace without any sample is one that is still to be drawn.
                if panel.traces.iter().any(|(_, trace)| !trace.samples.is_empty()) {
                    self.extremes(&panel)?;
                }
                range
            }
            None => self.range(&panel)?,
        };
        Ok(panel)
    }

    /// Least and greatest value that a panel shows.
    fn extremes(&self, panel: &Panel<'_>) -> Result<(f64, f64), FigureError> {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for (kind, trace) in &panel.traces {
            let parts = curve::samples(trace, self.start_s, self.end_s);
            if parts.is_empty() && !(trace.samples.is_empty() && panel.traces.len() > 1) {
                return Err(FigureError::NoValues { name: kind.id.clone() });
            }
            let ghost = self.ghost.and_then(|ghost| ghost.trace(&kind.id));
            let ghost = ghost.map(|trace| curve::samples(trace, self.start_s, self.end_s));
            for [_, value] in parts.into_iter().chain(ghost.unwrap_or_default()).flatten() {
                low = low.min(value);
                high = high.max(value);
            }
        }
        Ok((low, high))
    }

    fn range(&self, panel: &Panel<'_>) -> Result<[f64; 2], FigureError> {
        let (low, high) = self.extremes(panel)?;
        let labelled = self.spec.labels
            && self.cycle.landmarks.iter().any(|landmark| {
                self.label_of(&landmark.name).is_some()
                    && panel.traces.iter().any(|(kind, _)| kind.id == landmark.channel)
            });
        let k = self.spec.scale;
        let (below, above) = match (labelled, panel.named_traces) {
            (true, _) => (4.5 * k, 5.0 * k),
            (false, true) => (2.5 * k, 4.5 * k),
            (false, false) => (1.5 * k, 1.5 * k),
        };
        Ok(axis::padded(low, high, panel.height, below, above))
    }

    fn line(&mut self, id: &'a str) -> Result<(), FigureError> {
        let Some(title) = self.subject.title_of(id) else {
            let landmarks = self.subject.landmarks.iter().map(|kind| kind.id.as_str());
            let events = self.subject.events.iter().map(|kind| kind.id.as_str());
            return Err(unknown("landmark or event", id, landmarks.chain(events)));
        };
        let mut times_s = self.times(id);
        times_s.retain(|&time_s| self.shows_time(time_s));
        if times_s.is_empty() {
            self.absent.push(title);
        } else {
            self.lines.push(Line { id, title, times_s });
        }
        Ok(())
    }

    /// When `id` happens: a landmark on the first shown channel that has it, or an event.
    fn times(&self, id: &str) -> Vec<f64> {
        let shown = self.panels.iter().flat_map(|panel| &panel.traces);
        let has = |channel: &str| self.cycle.landmark_on(id, channel).is_some();
        let channel = shown.map(|(kind, _)| kind.id.as_str()).find(|channel| has(channel));
        let first = self.cycle.landmark(id).map(|landmark| landmark.channel.as_str());
        match channel.or(first) {
            Some(channel) => {
                let marks = self.cycle.landmarks.iter();
                let here = marks.filter(|mark| mark.name == id && mark.channel == channel);
                here.map(|mark| mark.time_s).collect()
            }
            None => self.cycle.times_of(id),
        }
    }

    /// Stretches shown during which `bar` lasts; a bar that has begun before the window
    /// begins with it.
    pub(crate) fn stretches(&self, bar: &BarKind) -> Vec<[f64; 2]> {
        bar.stretches(self.cycle, self.start_s, self.end_s)
    }
}

/// A panel's name: its channel's, the words its channels' names share, or all their labels.
fn common_title(traces: &[(&ChannelKind, &Trace)]) -> String {
    let first = &traces[0].0.title;
    if traces.len() == 1 {
        return first.clone();
    }
    let same = |words: &[Vec<&str>]| {
        let alike = |i: &usize| words.iter().all(|other| other.get(*i) == words[0].get(*i));
        (0..words[0].len()).take_while(alike).count()
    };
    let titles = traces.iter().map(|(kind, _)| kind.title.split_whitespace());
    let ahead: Vec<Vec<&str>> = titles.clone().map(Iterator::collect).collect();
    let words: Vec<Vec<&str>> = titles.map(|title| title.rev().collect()).collect();
    let (begin, same) = (same(&ahead), same(&words));
    if same == 0 || same == words[0].len() {
        let labels: Vec<&str> = traces.iter().map(|(kind, _)| kind.label.as_str()).collect();
        return labels.join(", ");
    }
    // One shared word in front tells little ("Left … pressure"); a phrase belongs to the name.
    let front = if begin > 1 && begin + same <= words[0].len() { begin } else { 0 };
    let end = words[0][..same].iter().rev();
    let shared: Vec<&str> = ahead[0][..front].iter().chain(end).copied().collect();
    capitalised(&shared.join(" "))
}

/// `text` with its first letter large.
pub(crate) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or(String::new(), |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
