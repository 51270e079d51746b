//! Drawn traces to a cycle with landmarks.

use convention::Point;
use cycle::{Cycle, Event, Landmark, Trace};
use landmarks::{Curve, Drawn, Expectation, Form, find};
use serde::{Deserialize, Serialize};
use sheet::{BarPlace, PanelPlace};

use crate::absence::{self, Lack};
use crate::drawn::{DrawnBar, DrawnBurst, DrawnPage, DrawnSheet, DrawnSounds, DrawnTrace};
use crate::{Rubric, components, doubt, extremes, misplaced};

/// A landmark or an event where it was drawn.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// Its identifier.
    pub name: String,
    /// The channel that it lies on; none for an event, which lies on a bar.
    pub channel: Option<String>,
    /// Which beat on the page it belongs to; −1 is the one before the first.
    pub beat: i32,
    /// Number of the page, from 1.
    pub page: u8,
    /// Where it is on the page.
    pub at_mm: [f64; 2],
    /// When that is, seconds.
    pub time_s: f64,
    /// The trace's value there; of a burst its height above the baseline; 0 for an event.
    pub value: f64,
    /// How sure it is that this place is this landmark, 0 … 1.
    pub confidence: f64,
    /// How well its place along the time axis is known: one standard deviation.
    pub spread_mm: f64,
    /// Other times that it could be at, in seconds, with how likely each is.
    pub alternatives: Vec<[f64; 2]>,
}

/// A landmark that is looked for and not there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Absent {
    /// Its identifier.
    pub name: String,
    /// The channel; none for an event.
    pub channel: Option<String>,
    /// How sure it is that it was not drawn, 0 … 1.
    pub confidence: f64,
    /// Whether that is plain to see: there is a trace, and nothing on it that could be it.
    #[serde(default)]
    pub evident: bool,
    /// Whether there is something in its place that was not made out.
    #[serde(default)]
    pub something: bool,
}

/// What was found on a sheet.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Located {
    /// Landmarks and events that were drawn.
    pub marks: Vec<Mark>,
    /// Those that were not, in one beat at least.
    pub absent: Vec<Absent>,
    /// Channels and bars in whose place nothing is drawn.
    pub empty: Vec<String>,
}

/// Samples of a trace for each millimetre of paper.
const PER_MM: f64 = 10.0;
/// How far a point of a trace scatters at least, in millimetres.
const SCATTER_MM: f64 = 0.06;
/// How well an end of a bar is known at best, in millimetres.
const END_MM: f64 = 0.2;
/// How much less well a landmark's place is known where strokes lie double, in millimetres.
const DOUBLE_MM: f64 = 0.6;
/// How much less well the ends of a burst are known that could be read otherwise, in millimetres.
const UNSURE_MM: f64 = 1.0;
/// How sure a sound can be where nothing in its panel is one for sure: what stands on the resting
/// line may be letters, so a person has to say.
const ALL_PERHAPS: f64 = 0.25;
/// How well the beginning and the end of a burst are known at best, in millimetres.
const ONSET_MM: f64 = 0.25;
const OFFSET_MM: f64 = 0.5;
/// An end of a bar that is farther than this from the key's is doubted, in millimetres.
const FAR_MM: f64 = 12.0;
/// How sure it can be that a landmark is absent from a beat that another beat has.
const ELSEWHERE: f64 = 0.8;
/// How sure it is that what is plainly not there was not drawn.
const EVIDENT: f64 = 0.999;
/// So near to a row's end a bar goes on past it, in millimetres.
const CUT_MM: f64 = 1.5;

/// Finds the landmarks on what was drawn.
pub fn locate(sheet: &DrawnSheet, rubric: &Rubric<'_>) -> Located {
    let mut located = empty(sheet, rubric);
    located.marks = bar_ends(sheet, rubric);
    doubt::doubt_events(&mut located.marks, rubric);
    let curves = curves(sheet, rubric);
    let mut reading = find(&curves, rubric.subject, Some(Expectation { cycle: rubric.model }));
    extremes::find_peaks(&mut reading, &curves, rubric);
    absence::drop_tremor(&mut reading, &curves, rubric);
    let lacks = absence::lacks(sheet, &reading, &curves, rubric);
    misplaced::correct(&mut reading, &curves, rubric);
    extremes::lower_feet(&mut reading, &curves, rubric);
    doubt::doubt(&mut reading, &curves, rubric);
    for found in reading.found {
        let Some(panel) = rubric.panel(&found.channel).filter(|on| !on.place.given) else {
            continue;
        };
        let Some(page) = sheet.pages.iter().find(|page| page.page == panel.page) else { continue };
        let map = panel.place.map();
        let x = map.x(found.time_s);
        let base = map.y(resting(rubric, &found.channel));
        let y = if rubric.has_bursts(&found.channel) { base } else { map.y(found.value) };
        let double = page.traces.iter().any(|trace| {
            trace.channel == found.channel
                && trace.ambiguous_mm.iter().any(|[from, to]| (*from..=*to).contains(&x))
        });
        let double = if double { DOUBLE_MM } else { 0.0 };
        // Where bursts begin and end was measured on paper; their outline is only drawn after it.
        let burst = burst_at(page, &found.channel, x);
        let double = double.max(UNSURE_MM * (1.0 - burst.map_or(1.0, |burst| burst.sure)));
        let mut sounds = page.sounds.iter();
        let all_perhaps =
            sounds.any(|sounds| sounds.channel == found.channel && sounds.bursts.is_empty());
        let own = match stroke_end(rubric, &found.name) {
            Some(false) => ONSET_MM,
            Some(true) => OFFSET_MM,
            None => found.spread_s * rubric.mm_per_s,
        };
        located.marks.push(Mark {
            beat: found.beat,
            page: panel.page,
            at_mm: [x, y],
            time_s: found.time_s,
            value: found.value,
            confidence: found.confidence.min(if all_perhaps { ALL_PERHAPS } else { 1.0 }),
            spread_mm: libm::hypot(libm::hypot(own, double), page.uncertainty_mm),
            alternatives: found
                .alternatives
                .iter()
                .map(|(time_s, chance)| [*time_s, *chance])
                .collect(),
            name: found.name,
            channel: Some(found.channel),
        });
    }
    components::add(sheet, rubric, &mut located.marks);
    let asked = |(missing, _): &(landmarks::Missing, Lack)| {
        rubric.panel(&missing.channel).is_some_and(|on| !on.place.given)
    };
    let missing = reading.missing.into_iter().zip(lacks);
    located.absent = absent(missing.filter(asked), &located.marks);
    located
}

/// What is missing: as sure as in the beat in which it is least so, and not sure at all where
/// another beat has it.
fn absent(
    missing: impl Iterator<Item = (landmarks::Missing, Lack)>,
    marks: &[Mark],
) -> Vec<Absent> {
    let mut all: Vec<Absent> = Vec::new();
    for (one, lack) in missing {
        let channel = Some(one.channel);
        let same = |absent: &&mut Absent| absent.name == one.name && absent.channel == channel;
        if let Some(before) = all.iter_mut().find(same) {
            before.confidence = before.confidence.min(one.confidence);
            before.evident &= lack.evident;
            before.something |= lack.something;
            continue;
        }
        let seen = marks.iter().any(|mark| mark.name == one.name && mark.channel == channel);
        let confidence = one.confidence * if seen { ELSEWHERE } else { 1.0 };
        let Lack { evident, something } = lack;
        all.push(Absent { name: one.name, channel, confidence, evident, something });
    }
    for one in all.iter_mut().filter(|one| one.evident) {
        one.confidence = EVIDENT;
    }
    all
}

/// The channels in whose place nothing is drawn.
fn empty(sheet: &DrawnSheet, rubric: &Rubric<'_>) -> Located {
    let traces = sheet.pages.iter().flat_map(|page| &page.traces);
    let traces = traces.filter(|trace| trace.points_mm.len() < 2).map(|trace| &trace.channel);
    let sounds = sheet.pages.iter().flat_map(|page| &page.sounds);
    let sounds = sounds.filter(|sounds| sounds.envelope_mm.is_empty()).map(|s| &s.channel);
    let asked = |channel: &&String| rubric.panel(channel).is_some();
    let bars = sheet.pages.iter().flat_map(|page| &page.bars);
    let bars = bars.filter(|bar| bar.stretches_mm.is_empty() && rubric.bar(&bar.bar).is_some());
    let channels = traces.chain(sounds).filter(asked);
    let empty = bars.map(|bar| &bar.bar).chain(channels).cloned().collect();
    Located { empty, ..Located::default() }
}

/// What was drawn as curves, with the printed trace that beats are counted on, where there is one.
pub fn curves(sheet: &DrawnSheet, rubric: &Rubric<'_>) -> Vec<Curve> {
    let traces = sheet.pages.iter().flat_map(|page| &page.traces);
    let traces = traces.filter(|trace| trace.points_mm.len() >= 2);
    let lines = traces.filter_map(|trace| {
        let panel = rubric.panel(&trace.channel)?;
        Some(line(trace, &panel.place, rubric.mm_per_s))
    });
    let sounds = sheet.pages.iter().flat_map(|page| &page.sounds);
    let sounds = sounds.filter(|sounds| !sounds.envelope_mm.is_empty()).filter_map(|sounds| {
        let panel = rubric.panel(&sounds.channel)?;
        Some(outline(sounds, &panel.place, rubric.mm_per_s))
    });
    let reference = rubric.panel(&rubric.subject.reference_channel).filter(|on| on.place.given);
    let printed = reference.and_then(|on| rubric.model.trace(&on.place.channel));
    let printed = printed.map(|trace| Curve::of(trace, Form::Line));
    lines.chain(sounds).chain(printed).collect()
}

/// Whether a landmark is later in a burst than its beginning; none where it is no burst's.
fn stroke_end(rubric: &Rubric<'_>, name: &str) -> Option<bool> {
    let stroke = rubric.subject.stroke_of(name).filter(|stroke| stroke.burst.is_some())?;
    Some(stroke.landmarks.first().is_none_or(|first| first != name))
}

/// The burst at a place.
fn burst_at<'a>(page: &'a DrawnPage, channel: &str, x: f64) -> Option<&'a DrawnBurst> {
    let sounds = page.sounds.iter().filter(|sounds| sounds.channel == channel);
    let mut bursts = sounds.flat_map(|sounds| &sounds.bursts);
    bursts.find(|burst| (burst.from_mm - 1.0..=burst.to_mm + 1.0).contains(&x))
}

/// The level on which the key's trace rests.
fn resting(rubric: &Rubric<'_>, channel: &str) -> f64 {
    let mut samples = rubric.model.trace(channel).map_or_else(Vec::new, |t| t.samples.clone());
    samples.sort_by(f64::total_cmp);
    samples.get(samples.len() / 2).copied().unwrap_or(0.0)
}

pub(crate) fn time_s(panel: &PanelPlace, x_mm: f64) -> f64 {
    let [start, end] = panel.time_s;
    start + (x_mm - panel.area.x) / panel.area.w * (end - start)
}

pub(crate) fn value(panel: &PanelPlace, y_mm: f64) -> f64 {
    panel.values[0] + (panel.area.bottom() - y_mm) / panel.mm_per_unit()
}

fn line(trace: &DrawnTrace, panel: &PanelPlace, mm_per_s: f64) -> Curve {
    let points = trace.points_mm.iter().map(|[x, y]| [time_s(panel, *x), value(panel, *y)]);
    Curve {
        channel: trace.channel.clone(),
        points: points.collect(),
        unknown: trace.gaps_mm.iter().map(|gap| gap.map(|x| time_s(panel, x))).collect(),
        noise: SCATTER_MM / panel.mm_per_unit(),
        resolution_s: 0.3 * trace.width_mm / mm_per_s,
        form: Form::Line,
        bursts: Vec::new(),
    }
}

/// The bursts as they were measured on paper, and what may be some.
fn measured(sounds: &DrawnSounds, panel: &PanelPlace, mm_per_s: f64) -> Vec<Drawn> {
    let drawn = |burst: &DrawnBurst, perhaps: bool| Drawn {
        start_s: time_s(panel, burst.from_mm),
        end_s: time_s(panel, burst.to_mm),
        height: burst.height_mm.max(0.1) / 2.0 / panel.mm_per_unit(),
        doubt_s: burst.doubt_mm.map(|mm| mm / mm_per_s),
        perhaps,
    };
    let sure = sounds.bursts.iter().map(|burst| drawn(burst, false));
    let mut all: Vec<Drawn> = sure.chain(sounds.perhaps.iter().map(|b| drawn(b, true))).collect();
    all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    all
}

/// The bursts' outlines: within a burst the highest of the ink near by, outside nothing.
fn outline(sounds: &DrawnSounds, panel: &PanelPlace, mm_per_s: f64) -> Curve {
    let steps = (panel.area.w * 4.0) as usize;
    let per_unit = panel.mm_per_unit();
    let point = |step: usize| {
        let x = panel.area.x + step as f64 / 4.0;
        let inside = sounds.bursts.iter().find(|burst| (burst.from_mm..=burst.to_mm).contains(&x));
        let height = inside.map_or(0.0, |burst| {
            let near = sounds.envelope_mm.iter().filter(|column| {
                (column[0] - x).abs() <= 1.0
                    && (burst.from_mm - 0.3..=burst.to_mm + 0.3).contains(&column[0])
            });
            let most =
                near.map(|[_, top, bottom]| bottom - top - sounds.width_mm).fold(0.0, f64::max);
            // However low its outline, a burst that was found is one.
            most.clamp(0.3 * burst.height_mm, burst.height_mm.max(0.1))
        });
        [time_s(panel, x), height / 2.0 / per_unit]
    };
    Curve {
        channel: sounds.channel.clone(),
        points: (0..=steps).map(point).collect(),
        unknown: Vec::new(),
        noise: SCATTER_MM / per_unit,
        resolution_s: 0.3 * sounds.width_mm / mm_per_s,
        form: Form::Envelope,
        bursts: measured(sounds, panel, mm_per_s),
    }
}

/// The events at which the bars of a sheet begin and end, each as sure as the reading of its row.
pub fn bar_ends(sheet: &DrawnSheet, rubric: &Rubric<'_>) -> Vec<Mark> {
    let bars = sheet.pages.iter().flat_map(|page| page.bars.iter().map(move |bar| (page, bar)));
    bars.flat_map(|(page, bar)| ends(bar, page, rubric)).collect()
}

fn ends(bar: &DrawnBar, page: &DrawnPage, rubric: &Rubric<'_>) -> Vec<Mark> {
    let Some(row) = rubric.bar(&bar.bar) else { return Vec::new() };
    let Some(kind) = rubric.subject.bar(&bar.bar) else { return Vec::new() };
    let BarPlace { area, time_s, .. } = &row.place;
    // Other bars than the key has are as likely to be misread as misdrawn.
    let key = kind.stretches(rubric.model, time_s[0], time_s[1]).len();
    let sure = if bar.stretches_mm.len() == key { bar.sure } else { 0.5 * bar.sure };
    let end = |name: &str, x: f64, beat: usize| {
        let share = (x - area.x) / area.w;
        // What lies far from where the key has it is as likely to be left of something else.
        let mut events = rubric.model.events.iter().filter(|event| event.name == name);
        let near = events.any(|event| (row.place.x(event.time_s) - x).abs() < FAR_MM);
        let sure = if near { sure } else { 0.5 * sure };
        Mark {
            name: name.to_owned(),
            channel: None,
            beat: beat as i32,
            page: page.page,
            at_mm: [x, area.y + area.h / 2.0],
            time_s: time_s[0] + share * (time_s[1] - time_s[0]),
            value: 0.0,
            confidence: sure,
            spread_mm: libm::hypot(END_MM, page.uncertainty_mm),
            alternatives: Vec::new(),
        }
    };
    let ends = bar.stretches_mm.iter().enumerate().map(|(beat, &[from, to])| {
        let begins = (from > area.x + CUT_MM).then(|| end(&kind.from, from, beat));
        let stops = (to < area.right() - CUT_MM).then(|| end(&kind.to, to, beat));
        [begins, stops]
    });
    ends.flatten().flatten().collect()
}

/// The cycle that a sheet shows, without what was drawn of landmarks and events: what is
/// printed, and the traces that were drawn.
pub(crate) fn shown(sheet: &DrawnSheet, rubric: &Rubric<'_>) -> Cycle {
    let model = rubric.model;
    let mut cycle = Cycle { period_s: model.period_s, ..Cycle::default() };
    for on in rubric.panels.iter().filter(|on| on.place.given) {
        let panel = &on.place;
        let Some(trace) = model.trace(&panel.channel) else { continue };
        cycle.traces.push(trace.clone());
        let within = |time_s: f64| (panel.time_s[0]..=panel.time_s[1]).contains(&time_s);
        let marks = model.landmarks.iter().filter(|mark| mark.channel == panel.channel);
        cycle.landmarks.extend(marks.filter(|mark| within(mark.time_s)).cloned());
    }
    for on in rubric.bars.iter().filter(|on| on.place.given) {
        let Some(kind) = rubric.subject.bar(&on.place.bar) else { continue };
        let ends = model.events.iter().filter(|e| e.name == kind.from || e.name == kind.to);
        let [start, end] = on.place.time_s;
        cycle.events.extend(ends.filter(|event| (start..=end).contains(&event.time_s)).cloned());
    }
    for page in &sheet.pages {
        for trace in &page.traces {
            let Some(panel) = rubric.panel(&trace.channel) else { continue };
            cycle.traces.extend(along(trace, &panel.place, rubric));
        }
        for sounds in &page.sounds {
            let Some(panel) = rubric.panel(&sounds.channel) else { continue };
            cycle.traces.extend(furthest(sounds, &panel.place, rubric));
        }
    }
    cycle
}

/// The unit of a channel.
fn unit<'a>(rubric: &Rubric<'a>, channel: &str) -> &'a str {
    rubric.subject.channel(channel).map_or("", |kind| &kind.unit)
}

/// A drawn trace as a function of time, by straight lines over gaps.
fn along(drawn: &DrawnTrace, panel: &PanelPlace, rubric: &Rubric<'_>) -> Option<Trace> {
    let mut points = drawn.points_mm.clone();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let (left, right) = (points.first()?[0], points.last()?[0]);
    let count = ((right - left) * PER_MM).floor() as usize + 1;
    let mut after = 0;
    let samples = (0..count).map(|step| {
        let x = left + step as f64 / PER_MM;
        while after < points.len() - 1 && points[after][0] < x {
            after += 1;
        }
        let (a, b) = (points[after.saturating_sub(1)], points[after]);
        let width = b[0] - a[0];
        let share = if width > 0.0 { ((x - a[0]) / width).clamp(0.0, 1.0) } else { 1.0 };
        value(panel, a[1] + share * (b[1] - a[1]))
    });
    let rate_hz = PER_MM * rubric.mm_per_s;
    let (channel, unit) = (&drawn.channel, unit(rubric, &drawn.channel));
    Some(Trace::new(channel, unit, rate_hz, time_s(panel, left), samples.collect()))
}

/// How far the bursts reach from the level that they rest on, on the side on which they reach
/// farther.
fn furthest(drawn: &DrawnSounds, panel: &PanelPlace, rubric: &Rubric<'_>) -> Option<Trace> {
    let (left, right) = (drawn.envelope_mm.first()?[0], drawn.envelope_mm.last()?[0]);
    let middle = |column: &[f64; 3]| f64::midpoint(column[1], column[2]);
    let within =
        |x: f64| drawn.bursts.iter().any(|b| (b.from_mm - 0.5..=b.to_mm + 0.5).contains(&x));
    let mut rest: Vec<f64> =
        drawn.envelope_mm.iter().filter(|column| !within(column[0])).map(middle).collect();
    rest.sort_by(f64::total_cmp);
    let printed = panel.map().y(resting(rubric, &drawn.channel));
    let base = rest.get(rest.len() / 2).copied().unwrap_or(printed);
    let count = ((right - left) * PER_MM).floor() as usize + 1;
    let mut heights = vec![base; count];
    for [x, top, bottom] in drawn.envelope_mm.iter().filter(|column| within(column[0])) {
        let half = drawn.width_mm / 2.0;
        let (top, bottom) = (top + half, bottom - half);
        let y = if base - top > bottom - base { top } else { bottom };
        let step = ((x - left) * PER_MM).round().max(0.0) as usize;
        if let Some(height) = heights.get_mut(step.min(count - 1)) {
            *height = y;
        }
    }
    let rate_hz = PER_MM * rubric.mm_per_s;
    let samples = heights.into_iter().map(|y| value(panel, y)).collect();
    let (channel, unit) = (&drawn.channel, unit(rubric, &drawn.channel));
    Some(Trace::new(channel, unit, rate_hz, time_s(panel, left), samples))
}

/// Puts landmarks and events at given times into a cycle.
pub(crate) fn with_marks<'a>(
    mut cycle: Cycle,
    marks: impl Iterator<Item = (&'a Mark, f64)>,
) -> Cycle {
    for (mark, time_s) in marks {
        match &mark.channel {
            Some(channel) => {
                let moved = (time_s - mark.time_s).abs() > 1e-9;
                let at = cycle.trace(channel).and_then(|trace| trace.at(time_s));
                let value = if moved { at.unwrap_or(mark.value) } else { mark.value };
                let (name, channel) = (mark.name.clone(), channel.clone());
                cycle.landmarks.push(Landmark { name, channel, time_s, value });
            }
            None => cycle.events.push(Event { name: mark.name.clone(), time_s }),
        }
    }
    cycle.landmarks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    cycle.events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    cycle
}

impl Mark {
    /// The point that it is.
    pub fn point(&self) -> Point {
        Point::new(&self.name, self.channel.as_deref())
    }
}
