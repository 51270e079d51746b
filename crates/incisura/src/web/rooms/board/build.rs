//! A convention's build, and the figure of each of its steps as large as a projector needs it.

use std::sync::{Arc, Mutex, PoisonError};

use convention::{Convention, Point, Step, beats, partial, schematic, steps};
use cycle::{Cycle, Subject, Trace};
use figure::{Figure, FigureSpec, PanelSpec, Stretch, lay_out};
use heart::Heart;

use crate::schematics::normal_beat;
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::rules;
use crate::web::words::board as words;
use crate::web::words::heart::VALVE;

/// Size of the figure in millimetres. The board shows it 870 pixels wide on a screen of 1280, at 8.1
/// pixels a millimetre, so that labels of 3 mm are 24 pixels high.
const WIDTH_MM: f64 = 107.0;
const HEIGHT_MM: f64 = 80.5;
/// Strokes and text are as on paper: the millimetres are large already.
const SCALE: f64 = 1.0;
/// No panel is lower than this.
const LEAST_PANEL_MM: f64 = 6.5;
/// The reference, from which everything hangs, has this much more height than on paper.
const REFERENCE: f64 = 1.5;
/// How often heights are tried to fit.
const TRIES: usize = 4;

/// The build of a convention at a heart rate.
pub(super) struct Build {
    pub(super) convention: Convention,
    pub(super) steps: Vec<Step>,
    pub(super) subject: Subject,
    model: Cycle,
    whole: FigureSpec,
    /// How much wider than high the figure is when all is drawn.
    pub(super) ratio: f64,
}

impl Build {
    /// The build of the convention that is called `named`. All steps of a build are asked for one
    /// after another, so the last build is kept in mind.
    pub(super) fn of(folder: &Folder, named: &str, rate_bpm: f64) -> Result<Arc<Self>, Refusal> {
        static LAST: Mutex<Option<(String, f64, Arc<Build>)>> = Mutex::new(None);
        let last = || LAST.lock().unwrap_or_else(PoisonError::into_inner);
        let source = rules::source(folder, named)?;
        if let Some((text, rate, build)) = &*last()
            && *text == source
            && rate.to_bits() == rate_bpm.to_bits()
        {
            return Ok(Arc::clone(build));
        }
        let build = Arc::new(Self::new(named, &source, rate_bpm)?);
        *last() = Some((source, rate_bpm, Arc::clone(&build)));
        Ok(build)
    }

    fn new(named: &str, source: &str, rate_bpm: f64) -> Result<Self, Refusal> {
        let subject = subject();
        let convention = Convention::from_toml(source, &subject)
            .map_err(|faults| Refusal::of("convention", format!("{named}, {faults}")))?;
        let mut heart = Heart::default();
        heart.parameters.set("rate_bpm", rate_bpm).map_err(|error| {
            let refusal = Refusal::from(error);
            Refusal::of("rate", refusal.message)
        })?;
        let base = normal_beat(&heart)?;
        let why = |error: String| Refusal::of("convention", error);
        let model =
            schematic(&convention, &subject, &base, 1).map_err(|error| why(error.to_string()))?;
        let mut steps =
            steps(&convention, &subject, &model).map_err(|error| why(error.to_string()))?;
        let beats = beats(&model, &subject);
        let has = |point: &Point| beats.iter().any(|beat| beat.get(point).is_some());
        steps.retain(|step| step.draw.iter().any(has));
        if steps.is_empty() {
            return Err(why(words::NOTHING_DRAWN.to_owned()));
        }
        let whole = fitted(&convention, &subject, &model)?;
        let ratio = WIDTH_MM / HEIGHT_MM;
        let mut build = Self { convention, steps, subject, model, whole, ratio };
        build.fit_steps()?;
        Ok(build)
    }

    /// Makes panels so low that the highest figure of a step fits, too: with few lines their names
    /// may take more rows than with all.
    fn fit_steps(&mut self) -> Result<(), Refusal> {
        let heights = (1..=self.steps.len()).map(|number| Ok(self.figure(number)?.height_mm));
        let heights: Vec<f64> = heights.collect::<Result<_, Refusal>>()?;
        let highest = heights.into_iter().fold(HEIGHT_MM, f64::max);
        let before = panels_mm(&self.whole);
        scale_panels(&mut self.whole, HEIGHT_MM - highest);
        self.ratio = WIDTH_MM / (highest + panels_mm(&self.whole) - before);
        Ok(())
    }

    /// The number of the step that is wanted, the first where there is no such, and what to say.
    pub(super) fn place(&self, step: Option<&str>, rule: Option<&str>) -> (usize, Option<Missing>) {
        if let Some(rule) = rule {
            let found = self.steps.iter().position(|step| step.rules.iter().any(|id| id == rule));
            let missing = found.is_none().then(|| Missing::Rule(rule.to_owned()));
            return (found.map_or(1, |index| index + 1), missing);
        }
        let Some(asked) = step else { return (1, None) };
        match asked.parse().ok().filter(|number| (1..=self.steps.len()).contains(number)) {
            Some(number) => (number, None),
            None => (1, Some(Missing::Step(asked.to_owned()))),
        }
    }

    /// The figure after the step of that number, from 1; what it adds is drawn heavy.
    pub(super) fn figure(&self, number: usize) -> Result<Figure, Refusal> {
        let drawn = |count: usize| -> Vec<Point> {
            self.steps[..count].iter().flat_map(|step| step.draw.clone()).collect()
        };
        let (before, now) = (drawn(number - 1), drawn(number));
        let part = |points: &[Point]| partial(&self.convention, &self.subject, &self.model, points);
        let (earlier, part) = (part(&before), part(&now));
        let heavy = part.traces.iter().flat_map(|trace| {
            let earlier = earlier.trace(&trace.channel).map_or(&[][..], |trace| &trace.samples);
            fresh(trace, earlier)
        });
        let step = &self.steps[number - 1];
        let spec = sheet::step_figure(&self.whole, step, &now, number, self.steps.len());
        let spec = FigureSpec { title: None, heavy: heavy.collect(), ..spec };
        Ok(lay_out(&part, &self.subject, &spec)?)
    }
}

/// What an address asks for that the build does not have.
pub(super) enum Missing {
    Rule(String),
    Step(String),
}

/// The subject with short names for its alignment lines and bars.
fn subject() -> Subject {
    let mut subject = heart::subject();
    for kind in &mut subject.landmarks {
        for (long, short) in words::SHORT {
            kind.title = kind.title.replace(long, short);
        }
    }
    for bar in &mut subject.bars {
        bar.title = bar.title.replace(VALVE, "");
    }
    subject
}

/// The figure when all is drawn, with panels as high as the board's height allows.
fn fitted(
    convention: &Convention,
    subject: &Subject,
    model: &Cycle,
) -> Result<FigureSpec, Refusal> {
    let start_s = model.span_s().map_or(0.0, |(start, _)| start);
    let usual = sheet::convention_figure(convention, subject, model);
    let panels = usual.panels.iter().map(|panel| {
        let kinds = panel.channels.iter().filter_map(|id| subject.channel(id));
        let labels: Vec<&str> = kinds.map(|kind| kind.label.as_str()).collect();
        let title = if let [only] = labels[..] { Some(only.to_owned()) } else { None };
        let reference = panel.channels.contains(&subject.reference_channel);
        let height_mm = panel.height_mm * if reference { REFERENCE } else { 1.0 };
        PanelSpec { title, height_mm, ..panel.clone() }
    });
    let mut spec = FigureSpec {
        title: None,
        width_mm: WIDTH_MM,
        scale: SCALE,
        panels: panels.collect(),
        phases: false,
        start_s: Some(start_s),
        end_s: Some(start_s + model.period_s),
        ..usual
    };
    for _ in 0..TRIES {
        let height = lay_out(model, subject, &spec)?.height_mm;
        scale_panels(&mut spec, HEIGHT_MM - height);
    }
    Ok(spec)
}

fn panels_mm(spec: &FigureSpec) -> f64 {
    spec.panels.iter().map(|panel| panel.height_mm).sum()
}

/// Makes panels higher by so many millimetres together, or lower, as far as they may be.
fn scale_panels(spec: &mut FigureSpec, by_mm: f64) {
    let share = 1.0 + by_mm / panels_mm(spec);
    for panel in &mut spec.panels {
        panel.height_mm = (panel.height_mm * share).max(LEAST_PANEL_MM);
    }
}

/// The stretches of a trace that were not there, or not like this, before. Of a trace that lies
/// on its baseline but for bursts, the bursts alone.
fn fresh(trace: &Trace, earlier: &[f64]) -> Vec<Stretch> {
    let bursts = trace.unit == "relative" && earlier.is_empty();
    let base = trace.samples.first().copied().unwrap_or(0.0);
    let differs = |index: usize| match earlier.get(index) {
        Some(before) => (before - trace.samples[index]).abs() > 1e-9,
        None => !bursts || (trace.samples[index] - base).abs() > 1e-9,
    };
    let mut stretches = Vec::new();
    let mut begun: Option<usize> = None;
    for index in 0..=trace.samples.len() {
        let new = index < trace.samples.len() && differs(index);
        match (begun, new) {
            (None, true) => begun = Some(index),
            (Some(from), false) => {
                let (start_s, end_s) =
                    (trace.time_s(from.saturating_sub(1)), trace.time_s(index - 1));
                stretches.push(Stretch { channel: trace.channel.clone(), start_s, end_s });
                begun = None;
            }
            _ => {}
        }
    }
    joined(stretches)
}

/// A burst swings through its baseline; what lies so close together is one stretch.
fn joined(stretches: Vec<Stretch>) -> Vec<Stretch> {
    let mut joined: Vec<Stretch> = Vec::new();
    for stretch in stretches {
        match joined.last_mut() {
            Some(last) if stretch.start_s - last.end_s < 0.01 => last.end_s = stretch.end_s,
            _ => joined.push(stretch),
        }
    }
    joined
}
