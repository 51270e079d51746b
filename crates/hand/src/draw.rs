//! Everything that a student puts on the pages.

use convention::{Point, alignment_points, beats};
use cycle::{Cycle, FeatureShape, Landmark};
use figure::{Block, Page, Shape};
use serde::Serialize;

use crate::chance::{Chance, Wander};
use crate::form::{BarRow, Handout, PagePlaces, Panel};
use crate::intent::{ChannelIntent, Intent, State};
use crate::letters;
use crate::mistake::Mistake;
use crate::path::{self, Motor, STEP_MM, Turn, Vertex};
use crate::student::{LineStyle, Student, Tool};
use crate::truth::{
    self, AbsentTruth, BarTruth, LabelTruth, LandmarkTruth, LineTruth, PageTruth, TraceTruth, Truth,
};

/// What a stroke leaves on the paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// A line.
    Line,
    /// What is left of a line that was rubbed out.
    Ghost,
    /// A broad grey smear.
    Smudge,
}

/// One stroke of a pen.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// Places in millimetres from the page's left and top side, and the pressure there, 0 to 1.
    pub points: Vec<[f64; 3]>,
    /// What is drawn with.
    pub tool: Tool,
    /// What it leaves.
    pub mark: Mark,
    /// How much of the tool's ink goes on paper, about 1.
    pub press: f64,
    /// Width of the line, times what is usual for the tool.
    pub width: f64,
}

/// A filled-in copy.
#[derive(Clone, Debug)]
pub struct Drawing {
    /// The strokes on each page, in the order of drawing.
    pub pages: Vec<Vec<Stroke>>,
    /// The cycle that the pages show.
    pub cycle: Cycle,
    /// What was drawn.
    pub truth: Truth,
}

/// Fills in `handout` as `student` would who makes these `mistakes`.
pub fn draw(handout: &Handout<'_>, student: &Student, mistakes: &[Mistake]) -> Drawing {
    let mut intent = Intent::right(handout, &mut Chance::new(student.seed, "words"));
    for mistake in mistakes {
        intent.err(mistake);
    }
    intent.misplace(student.skill.placing_mm, &mut Chance::new(student.seed, "placing"));
    let mut pages = Vec::new();
    let mut truths = Vec::new();
    for (page, places) in handout.pages.iter().zip(handout.places) {
        let mut hand = Hand {
            handout,
            student,
            intent: &intent,
            strokes: Vec::new(),
            truth: PageTruth {
                code: places.code.clone(),
                page: places.page,
                ..PageTruth::default()
            },
            size: [page.width_mm, page.height_mm],
        };
        hand.lines(places);
        for panel in places.panels.iter().filter(|panel| !panel.given) {
            hand.trace(panel);
        }
        for row in places.bars.iter().filter(|row| !row.given) {
            hand.bar(row);
        }
        hand.labels(places);
        if student.habits.name {
            hand.name(page);
        }
        pages.push(hand.strokes);
        truths.push(hand.truth);
    }
    let cycle = truth::cycle(handout, &truths);
    let verdicts = truth::verdicts(handout, &cycle);
    let asked = handout.convention.rules.iter().filter(|rule| handout.is_asked(rule));
    let asked = asked.map(|rule| rule.id.clone()).collect();
    let mistakes = mistakes.to_vec();
    let truth = Truth { student: *student, mistakes, pages: truths, verdicts, asked };
    Drawing { pages, cycle, truth }
}

struct Hand<'a> {
    handout: &'a Handout<'a>,
    student: &'a Student,
    intent: &'a Intent<'a>,
    strokes: Vec<Stroke>,
    truth: PageTruth,
    size: [f64; 2],
}

/// Least distance from the paper's edge, in millimetres.
const EDGE_MM: f64 = 2.0;
/// How far a trace may leave its panel, in millimetres.
const OUT_MM: f64 = 2.5;

impl Hand<'_> {
    fn chance(&self, for_what: &str) -> Chance {
        Chance::new(self.student.seed, &format!("{} {for_what}", self.truth.page))
    }

    /// Puts a stroke on paper, pressed unevenly.
    fn stroke(&mut self, points: &[[f64; 2]], mark: Mark, chance: &mut Chance) {
        if points.len() < 2 {
            return;
        }
        let uneven = Wander::new(chance, 0.22, [6.0, 60.0]);
        let mut along = 0.0;
        let mut before = points[0];
        let length: f64 = points
            .windows(2)
            .map(|pair| libm::hypot(pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]))
            .sum();
        let pressed = points.iter().map(|&[x, y]| {
            along += libm::hypot(x - before[0], y - before[1]);
            before = [x, y];
            // A pen comes down and goes up within a millimetre.
            let ends = (0.55 + 0.45 * along.min(length - along).max(0.0)).min(1.0);
            let pressure = ends * (0.8 + uneven.at(along)).clamp(0.3, 1.0);
            let x = x.clamp(EDGE_MM, self.size[0] - EDGE_MM);
            [x, y.clamp(EDGE_MM, self.size[1] - EDGE_MM), pressure]
        });
        let habits = &self.student.habits;
        let (press, width) = (habits.press, habits.width);
        let stroke =
            Stroke { points: pressed.collect(), tool: self.student.tool, mark, press, width };
        self.strokes.push(stroke);
    }

    fn trace(&mut self, panel: &Panel) {
        let channel = panel.channel.as_str();
        let Some(intent) = self.intent.channels.get(channel) else { return };
        let chance = &mut self.chance(channel);
        let motor = Motor::new(self.student.skill, chance);
        let bursts = self.handout.has_bursts(channel);
        let mut truth = TraceTruth {
            channel: channel.to_owned(),
            bursts,
            parts: Vec::new(),
            landmarks: Vec::new(),
            absent: Vec::new(),
        };
        match intent.state {
            State::LeftOut => {}
            State::Flat => {
                let Some(base) = truth::base_y(self.handout, panel) else { return };
                let ends = [panel.x_mm, panel.x_mm + panel.width_mm];
                let mut way = path::straight(&[[ends[0], base], [ends[1], base]]);
                motor.draw(&mut way, true);
                truth.parts = self.run(&way, chance);
            }
            State::Drawn if bursts => self.bursts(panel, intent, &motor, &mut truth, chance),
            State::Drawn => self.curve(panel, intent, &motor, &mut truth, chance),
        }
        self.absent(panel, intent, &mut truth);
        self.truth.traces.push(truth);
    }

    /// What the key has in this panel and the drawing has not.
    fn absent(&self, panel: &Panel, intent: &ChannelIntent, truth: &mut TraceTruth) {
        let map = panel.map();
        let marks = self.handout.model.landmarks.iter();
        for mark in marks.filter(|mark| mark.channel == panel.channel) {
            let within = (panel.time_start_s..=panel.time_end_s).contains(&mark.time_s);
            let key_mm = [map.x(mark.time_s), map.y(mark.value)];
            let drawn = truth.landmarks.iter().any(|landmark| {
                landmark.name == mark.name && (landmark.key_mm[0] - key_mm[0]).abs() < 1e-6
            });
            if within && !drawn {
                debug_assert!(!intent.knots.is_empty() || !intent.absent.is_empty());
                truth.absent.push(AbsentTruth { name: mark.name.clone(), key_mm });
            }
        }
    }

    fn landmark(
        &self,
        panel: &Panel,
        intent: &ChannelIntent,
        knot: usize,
        at: [f64; 2],
    ) -> Option<LandmarkTruth> {
        let knot = &intent.knots[knot];
        let map = panel.map();
        let base =
            truth::base_y(self.handout, panel).filter(|_| self.handout.has_bursts(&panel.channel));
        let y = |value: f64| base.unwrap_or_else(|| map.y(value));
        // The key's own of that name: a knot may stand for another landmark than it did.
        let named =
            self.handout.model.landmarks.iter().filter(|mark| {
                Some(&mark.name) == knot.name.as_ref() && mark.channel == panel.channel
            });
        let off = |mark: &&Landmark| (mark.time_s - knot.was_s).abs();
        let key = named.min_by(|a, b| off(a).total_cmp(&off(b)));
        let key = key.map_or((knot.was_s, knot.was), |mark| (mark.time_s, mark.value));
        Some(LandmarkTruth {
            name: knot.name.clone()?,
            beat: knot.beat,
            at_mm: at,
            meant_mm: [map.x(knot.time_s), y(knot.value)],
            key_mm: [map.x(key.0), y(key.1)],
        })
    }

    /// Whether a landmark is a highest place, a lowest one, or where a rise begins; none where it is
    /// neither, or counts where such a place begins.
    fn turn(&self, name: &str, channel: &str) -> Option<Turn> {
        let feature = self.handout.subject.landmark(name)?.feature_on(channel)?;
        match feature.shape {
            _ if feature.held => None,
            FeatureShape::Peak => Some(Turn::Peak),
            FeatureShape::Trough => Some(Turn::Trough),
            FeatureShape::Foot => Some(Turn::Foot),
            _ => None,
        }
    }

    fn curve(
        &mut self,
        panel: &Panel,
        intent: &ChannelIntent,
        motor: &Motor,
        truth: &mut TraceTruth,
        chance: &mut Chance,
    ) {
        let Some(trace) = self.handout.model.trace(&panel.channel) else { return };
        let mut way = path::meant(panel, trace, &intent.knots);
        motor.draw(&mut way, true);
        let (top, bottom) = (panel.y_mm - OUT_MM, panel.bottom() + OUT_MM);
        for vertex in &mut way {
            vertex.at[0] =
                vertex.at[0].clamp(panel.x_mm - OUT_MM, panel.x_mm + panel.width_mm + OUT_MM);
            vertex.at[1] = vertex.at[1].clamp(top, bottom);
        }
        let ends = self.student.habits.ends_mm / STEP_MM;
        let cut = [chance.share(), chance.share()].map(|share| (share * ends) as usize);
        let way = &way[cut[0]..way.len() - cut[1]];
        let named =
            |index: usize| way[index].knot.filter(|&knot| intent.knots[knot].name.is_some());
        let places: Vec<(usize, usize)> = (0..way.len())
            .filter_map(|index| named(index).map(|knot| (path::place_of(way, index), knot)))
            .collect();
        for (n, &(place, knot)) in places.iter().enumerate() {
            let before = n.checked_sub(1).map_or(0, |before| places[before].0);
            let after = places.get(n + 1).map_or(way.len() - 1, |after| after.0);
            let name = intent.knots[knot].name.as_deref().unwrap_or_default();
            let place = match self.turn(name, &panel.channel) {
                Some(turn) => path::passed(way, [before, place, after], turn),
                None => place,
            };
            truth.landmarks.extend(self.landmark(panel, intent, knot, way[place].at));
        }
        truth.parts = self.run(way, chance);
        // What lies in a gap between two runs of the pen is not there to be seen.
        let shown = |at: &[f64; 2]| truth.parts.iter().flatten().any(|point| point == at);
        truth.landmarks.retain(|landmark| shown(&landmark.at_mm));
    }

    /// Draws a way, lifting the pen now and then, and gives what is left on paper.
    fn run(&mut self, way: &[Vertex], chance: &mut Chance) -> Vec<Vec<[f64; 2]>> {
        let habits = self.student.habits;
        let points: Vec<[f64; 2]> = way.iter().map(|vertex| vertex.at).collect();
        if points.len() < 2 {
            return Vec::new();
        }
        self.first_try(&points, chance);
        let mut parts = Vec::new();
        let mut from = 0;
        let mut overlap = 0;
        while from + 1 < points.len() {
            let run = habits.run_mm * chance.between(0.6, 1.4) / STEP_MM;
            let mut to = if run > 1.0 { from + run as usize } else { points.len() };
            // Nobody lifts the pen at a landmark.
            let clear = (2.5 / STEP_MM) as usize;
            let busy = |at: usize| {
                let near = at.saturating_sub(clear)..(at + clear).min(way.len());
                way[near].iter().any(|vertex| vertex.knot.is_some())
            };
            while to < points.len() && busy(to) {
                to += 1;
            }
            to = to.min(points.len());
            self.overlapping(&points, from, to, overlap, chance);
            parts.push(points[from..to].to_vec());
            let step = (chance.between(-1.6, 0.8) / STEP_MM) as isize;
            overlap = (-step).max(0) as usize;
            from = to + step.max(0) as usize;
            // The end of one run is the beginning of the next.
            if step <= 0 && to < points.len() {
                from = to - 1;
            }
        }
        if chance.often(habits.doubles) && points.len() > 200 {
            let length = (chance.between(8.0, 30.0) / STEP_MM) as usize;
            let start = chance.below(points.len() - length.min(points.len() - 1));
            let end = (start + length).min(points.len());
            let size = chance.between(0.12, 0.25);
            let beside =
                [Wander::new(chance, size, [8.0, 30.0]), Wander::new(chance, size, [8.0, 30.0])];
            let again = points[start..end].iter().enumerate().map(|(step, point)| {
                let along = step as f64 * STEP_MM;
                [point[0] + beside[0].at(along), point[1] + beside[1].at(along)]
            });
            let again: Vec<[f64; 2]> = again.collect();
            self.stroke(&again, Mark::Line, chance);
        }
        parts
    }

    /// One run of the pen, begun a little before the last one ended and beside it.
    fn overlapping(
        &mut self,
        points: &[[f64; 2]],
        from: usize,
        to: usize,
        overlap: usize,
        chance: &mut Chance,
    ) {
        let start = from.saturating_sub(overlap);
        let beside = [chance.normal() * 0.12, chance.normal() * 0.12];
        let run = (start..to).map(|index| {
            let left =
                if index < from { (from - index) as f64 / overlap.max(1) as f64 } else { 0.0 };
            [points[index][0] + left * beside[0], points[index][1] + left * beside[1]]
        });
        let run: Vec<[f64; 2]> = run.collect();
        self.stroke(&run, Mark::Line, chance);
    }

    /// A first try beside what is drawn then, rubbed out.
    fn first_try(&mut self, points: &[[f64; 2]], chance: &mut Chance) {
        let wanted = chance.often(self.student.habits.corrections);
        if !wanted || !self.student.tool.can_be_erased() || points.len() < 200 {
            return;
        }
        let length = (chance.between(10.0, 35.0) / STEP_MM) as usize;
        let length = length.min(points.len() - 1);
        let start = chance.below(points.len() - length);
        let by =
            [chance.side() * chance.between(0.8, 2.5), chance.side() * chance.between(0.8, 2.5)];
        let part = &points[start..start + length];
        let tried = part.iter().enumerate().map(|(step, point)| {
            let share = libm::sin(std::f64::consts::PI * step as f64 / length as f64);
            [point[0] + share * by[0], point[1] + share * by[1]]
        });
        let tried: Vec<[f64; 2]> = tried.collect();
        self.stroke(&tried, Mark::Ghost, chance);
        // The rubber goes to and fro along it.
        for side in [-0.8, 0.8] {
            let rubbed: Vec<[f64; 2]> =
                tried.iter().step_by(8).map(|point| [point[0], point[1] + side]).collect();
            self.stroke(&rubbed, Mark::Smudge, chance);
        }
    }

    fn bursts(
        &mut self,
        panel: &Panel,
        intent: &ChannelIntent,
        motor: &Motor,
        truth: &mut TraceTruth,
        chance: &mut Chance,
    ) {
        let Some(base) = truth::base_y(self.handout, panel) else { return };
        let strokes = self.handout.subject.strokes.iter();
        let strokes: Vec<_> = strokes.filter(|stroke| stroke.channel == panel.channel).collect();
        let bursts = path::bursts(panel, intent, &strokes);
        let mut from = panel.x_mm;
        let right = panel.x_mm + panel.width_mm;
        let rests = chance.often(0.75);
        for burst in &bursts {
            self.rest(rests, [from, burst.starts[0].0], base, motor, truth, chance);
            from = burst.end.0;
            for mut way in path::burst_ways(burst, base, self.student.habits.sounds, chance) {
                motor.draw(&mut way, false);
                for vertex in &mut way {
                    vertex.at[1] = vertex.at[1].clamp(panel.y_mm - OUT_MM, panel.bottom() + OUT_MM);
                }
                let marks = way.iter().filter_map(|vertex| Some((vertex.knot?, vertex.at)));
                let marks: Vec<_> =
                    marks.filter_map(|(knot, at)| self.landmark(panel, intent, knot, at)).collect();
                truth.landmarks.extend(marks);
                let points: Vec<[f64; 2]> = way.iter().map(|vertex| vertex.at).collect();
                self.stroke(&points, Mark::Line, chance);
                truth.parts.push(points);
            }
            // What stands on the same place is the same place.
            for (_, knots) in &burst.starts {
                let known = truth.landmarks.iter();
                let first = known.clone().find(|l| {
                    let knot = &intent.knots[knots[0]];
                    knot.name.as_ref() == Some(&l.name) && knot.beat == l.beat
                });
                let Some(at) = first.map(|landmark| landmark.at_mm) else { continue };
                for &knot in &knots[1..] {
                    truth.landmarks.extend(self.landmark(panel, intent, knot, at));
                }
            }
        }
        self.rest(rests, [from, right], base, motor, truth, chance);
    }

    /// The baseline between two bursts.
    fn rest(
        &mut self,
        drawn: bool,
        [from, to]: [f64; 2],
        base: f64,
        motor: &Motor,
        truth: &mut TraceTruth,
        chance: &mut Chance,
    ) {
        if !drawn || to - from < 1.0 {
            return;
        }
        let mut way = path::straight(&[[from, base], [to, base]]);
        motor.draw(&mut way, true);
        let parts = self.run(&way, chance);
        truth.parts.extend(parts);
    }

    /// A bar: a box from one event to another, or what of it is on the page.
    fn bar(&mut self, row: &BarRow) {
        let Some(kind) = self.handout.subject.bar(&row.bar) else { return };
        let chance = &mut self.chance(&row.bar);
        let events = self.intent.events.iter();
        let own = events.filter(|event| event.name == kind.from || event.name == kind.to);
        let mut cycle = Cycle::default();
        cycle.events.extend(own.map(|event| cycle::Event {
            name: event.name.clone(),
            time_s: event.time_s.clamp(row.time_start_s, row.time_end_s),
        }));
        cycle.events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let mut truth =
            BarTruth { bar: row.bar.clone(), stretches_mm: Vec::new(), events: Vec::new() };
        let style = chance.below(3);
        for [start, end] in kind.stretches(&cycle, row.time_start_s, row.time_end_s) {
            let (left, right) = (row.x(start), row.x(end));
            truth.stretches_mm.push([left, right]);
            let half = row.height_mm * chance.between(0.2, 0.32);
            let middle = row.y_mm + row.height_mm / 2.0;
            let (top, bottom) = (middle - half, middle + half);
            let wobble = Wander::new(chance, self.student.skill.drift_mm * 0.5, [8.0, 40.0]);
            let mut side = |hand: &mut Self, from: [f64; 2], to: [f64; 2]| {
                let points = path::straight(&[from, to]).into_iter().map(|v| v.at);
                let upright = from[0] == to[0];
                let points =
                    points.map(|[x, y]| if upright { [x, y] } else { [x, y + wobble.at(x)] });
                hand.stroke(&points.collect::<Vec<_>>(), Mark::Line, chance);
            };
            side(self, [left, top], [left, bottom]);
            side(self, [right, top], [right, bottom]);
            if style == 2 {
                side(self, [left, middle], [right, middle]);
                continue;
            }
            side(self, [left, top], [right, top]);
            side(self, [left, bottom], [right, bottom]);
            let mut x = left + 2.5;
            while style == 1 && x < right - 0.5 {
                side(self, [x, top + 0.3], [x - 2.0, bottom - 0.3]);
                x += 2.2;
            }
        }
        let events = cycle.events.iter();
        truth.events = events.map(|event| (event.name.clone(), row.x(event.time_s))).collect();
        self.truth.bars.push(truth);
    }

    fn lines(&mut self, places: &PagePlaces) {
        let (Some(style), Some(first)) = (self.student.habits.lines, places.panels.first()) else {
            return;
        };
        let chance = &mut self.chance("lines");
        let panels = places.panels.iter().map(Panel::bottom);
        let bars = places.bars.iter().map(|row| row.y_mm + row.height_mm);
        let bottom = panels.chain(bars).fold(0.0, f64::max);
        let handout = self.handout;
        let all = beats(handout.model, handout.subject);
        for point in alignment_points(handout.convention, handout.subject, handout.model) {
            for beat in &all {
                let Some(was) = beat.time_s(&point) else { continue };
                let Some(time_s) = self.intent.time_s(&point, was) else { continue };
                let within = (first.time_start_s..=first.time_end_s).contains(&time_s);
                let skipped = chance.often(0.12);
                if !within || skipped {
                    continue;
                }
                let off = chance.normal() * self.student.habits.lines_off_mm;
                let x = first.map().x(time_s) + off;
                let tilt = chance.normal() * 0.004 * (bottom - first.y_mm);
                let from = [x - tilt / 2.0, first.y_mm - chance.between(-1.0, 3.0)];
                let to = [x + tilt / 2.0, bottom + chance.between(-2.0, 2.0)];
                self.line(style, from, to, chance);
                let through = point.name.clone();
                self.truth.lines.push(LineTruth { through, from_mm: from, to_mm: to, style });
            }
        }
    }

    fn line(&mut self, style: LineStyle, from: [f64; 2], to: [f64; 2], chance: &mut Chance) {
        let by_hand = matches!(style, LineStyle::Freehand | LineStyle::FreehandDashed);
        let size = if by_hand { 0.5 } else { 0.0 };
        let wobble = Wander::new(chance, size, [20.0, 120.0]);
        let point = |share: f64| {
            let y = from[1] + share * (to[1] - from[1]);
            [from[0] + share * (to[0] - from[0]) + wobble.at(y) - wobble.at(from[1]), y]
        };
        let length = to[1] - from[1];
        let (dash, gap) = match style {
            LineStyle::Solid | LineStyle::Freehand => (length, 1.0),
            LineStyle::Dashed | LineStyle::FreehandDashed => (3.0, 1.8),
            LineStyle::Dotted => (0.25, 1.6),
        };
        let mut at = 0.0;
        while at < length {
            let end = (at + dash * chance.between(0.8, 1.2)).min(length);
            let steps = ((end - at) / 0.5).ceil().max(1.0) as usize;
            let points = (0..=steps)
                .map(|step| point((at + (end - at) * step as f64 / steps as f64) / length));
            let points: Vec<[f64; 2]> = points.collect();
            self.stroke(&points, Mark::Line, chance);
            at = end + gap * chance.between(0.7, 1.3);
        }
    }

    /// Where a landmark was drawn or printed, in the order of beats.
    fn places_of(&self, point: &Point, places: &PagePlaces) -> Vec<[f64; 2]> {
        let Some(panel) = places.panels.iter().find(|p| Some(&p.channel) == point.channel.as_ref())
        else {
            return Vec::new();
        };
        if panel.given {
            let map = panel.map();
            let marks = self.handout.model.landmarks.iter();
            let own = marks.filter(|l| l.name == point.name && l.channel == panel.channel);
            let within = |t: f64| (panel.time_start_s..=panel.time_end_s).contains(&t);
            return own
                .filter(|l| within(l.time_s))
                .map(|l| [map.x(l.time_s), map.y(l.value)])
                .collect();
        }
        let traces = self.truth.traces.iter().filter(|trace| trace.channel == panel.channel);
        let marks = traces.flat_map(|trace| &trace.landmarks);
        let mut found: Vec<_> = marks.filter(|l| l.name == point.name).map(|l| l.at_mm).collect();
        found.sort_by(|a, b| a[0].total_cmp(&b[0]));
        found
    }

    fn labels(&mut self, places: &PagePlaces) {
        let chance = &mut self.chance("labels");
        let every_beat = chance.often(0.3);
        let mut wanted: Vec<(Point, String, f64)> = Vec::new();
        if self.student.habits.labels {
            let labels = self.intent.labels.iter();
            wanted.extend(labels.map(|l| (l.point.clone(), l.text.clone(), l.off_mm)));
        }
        for kind in &self.handout.subject.landmarks {
            for channel in &kind.channels {
                let point = Point::new(&kind.id, Some(channel));
                let asked = self.intent.labels.iter().any(|label| label.point == point);
                let short = !kind.label.is_empty() && kind.label.len() <= 3;
                if short && !asked && chance.often(self.student.habits.more_labels) {
                    wanted.push((point, kind.label.clone(), 0.0));
                }
            }
        }
        for (point, text, off_mm) in wanted {
            let found = self.places_of(&point, places);
            let beats = if every_beat { found.len() } else { 1 };
            for [x, y] in found.into_iter().take(beats) {
                self.label(&point, &text, [x + off_mm, y], places, chance);
            }
        }
    }

    fn label(
        &mut self,
        point: &Point,
        text: &str,
        to: [f64; 2],
        places: &PagePlaces,
        chance: &mut Chance,
    ) {
        let habits = self.student.habits;
        let Some(channel) = point.channel.as_ref() else { return };
        let Some(panel) = places.panels.iter().find(|panel| panel.channel == *channel) else {
            return;
        };
        let size = habits.letters_mm;
        let (written, width) = letters::write(text, size, habits.slant, chance);
        let boxed = |x: f64, y: f64| [x, y - size, x + width, y + 0.3 * size];
        let mut best: Option<(f64, [f64; 2])> = None;
        for ring in 1..=6 {
            for turn in 0..12 {
                let angle = std::f64::consts::TAU * f64::from(turn) / 12.0;
                let far = 1.2 + 2.2 * f64::from(ring);
                let middle = [to[0] + far * libm::cos(angle), to[1] + far * libm::sin(angle)];
                let x = middle[0] - width / 2.0 + 0.4 * width * libm::cos(angle);
                let at = [x, middle[1] + size / 2.0];
                let cost =
                    self.crowding(boxed(at[0], at[1]), panel) + far + chance.between(0.0, 2.0);
                if best.is_none_or(|(least, _)| cost < least) {
                    best = Some((cost, at));
                }
            }
        }
        let Some((_, at)) = best else { return };
        for stroke in &written {
            let placed: Vec<[f64; 2]> =
                stroke.iter().map(|p| [p[0] + at[0], p[1] + at[1]]).collect();
            self.stroke(&placed, Mark::Line, chance);
        }
        let box_mm = boxed(at[0], at[1]);
        let nearest = [to[0].clamp(box_mm[0], box_mm[2]), to[1].clamp(box_mm[1], box_mm[3])];
        let far = libm::hypot(nearest[0] - to[0], nearest[1] - to[1]);
        let arrow = far > 4.5 || (far > 3.0 && chance.often(0.3));
        if arrow {
            self.arrow(nearest, to, chance);
        }
        self.truth.labels.push(LabelTruth {
            text: text.to_owned(),
            channel: channel.clone(),
            landmark: point.name.clone(),
            points_to_mm: to,
            box_mm,
            arrow,
        });
    }

    /// How much stands in the way of writing into a box.
    fn crowding(&self, [left, top, right, bottom]: [f64; 4], panel: &Panel) -> f64 {
        let within =
            |x: f64, y: f64| x > left - 0.5 && x < right + 0.5 && y > top - 0.5 && y < bottom + 0.5;
        let strokes = self.strokes.iter().filter(|stroke| stroke.mark == Mark::Line);
        let ink = strokes.flat_map(|stroke| &stroke.points).filter(|p| within(p[0], p[1])).count();
        let printed = panel.given.then(|| self.handout.model.trace(&panel.channel)).flatten();
        let map = panel.map();
        let printed = printed.map_or(0, |trace| {
            let samples = trace.samples.iter().enumerate();
            samples.filter(|(i, v)| within(map.x(trace.time_s(*i)), map.y(**v))).count()
        });
        let out = (panel.y_mm - top).max(0.0)
            + (bottom - panel.bottom()).max(0.0)
            + (panel.x_mm - left).max(0.0)
            + (right - panel.x_mm - panel.width_mm).max(0.0);
        0.3 * (ink + printed) as f64 + 4.0 * out
    }

    fn arrow(&mut self, from: [f64; 2], to: [f64; 2], chance: &mut Chance) {
        let length = libm::hypot(to[0] - from[0], to[1] - from[1]);
        let along = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
        // It begins clear of the word and ends just short of the line.
        let on = |far: f64, aside: f64| {
            [to[0] - far * along[0] - aside * along[1], to[1] - far * along[1] + aside * along[0]]
        };
        let tip = on(0.6, 0.0);
        let shaft = path::straight(&[on(length - 0.6, 0.0), tip]);
        let bend = chance.normal() * 0.2;
        let count = shaft.len() as f64;
        let points = shaft.iter().enumerate().map(|(step, vertex)| {
            let bulge = bend * libm::sin(std::f64::consts::PI * step as f64 / count);
            [vertex.at[0] - bulge * along[1], vertex.at[1] + bulge * along[0]]
        });
        let points: Vec<[f64; 2]> = points.collect();
        self.stroke(&points, Mark::Line, chance);
        self.stroke(&[on(1.8, 0.7), tip, on(1.8, -0.7)], Mark::Line, chance);
    }

    /// Fills in the line for the name.
    fn name(&mut self, page: &Page) {
        let shapes = page.blocks.iter().flat_map(|block| match block {
            Block::Paragraph(shapes) => shapes.as_slice(),
            _ => &[],
        });
        let place = shapes.into_iter().find_map(|shape| match shape {
            Shape::Text { at, text, .. } if text.trim() == "Name" => Some(*at),
            _ => None,
        });
        let Some(at) = place else { return };
        let chance = &mut self.chance("name");
        // Made up from common given names.
        let given = chance.pick(&[
            "Anna", "Ben", "Carla", "David", "Emre", "Fatima", "Grace", "Hugo", "Ines", "Jonas",
            "Kim", "Lena",
        ]);
        let initial = chance.pick(&["A", "B", "C", "K", "M", "R", "S", "T", "W"]);
        let habits = self.student.habits;
        let size = habits.letters_mm.min(3.6);
        let (written, _) =
            letters::write(&format!("{given} {initial}"), size, habits.slant, chance);
        for stroke in written {
            let placed: Vec<[f64; 2]> =
                stroke.iter().map(|p| [p[0] + at[0] + 13.0, p[1] + at[1] - 0.4]).collect();
            self.stroke(&placed, Mark::Line, chance);
        }
    }
}
