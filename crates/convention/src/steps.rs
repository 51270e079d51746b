//! The order in which the figure is built.

use cycle::{Cycle, Subject};
use serde::Serialize;

use crate::Point;
use crate::beat::{Beat, beats, stroke_span};
use crate::rule::{Convention, Rule, Says};
use crate::words::sentence;

/// One step of the build.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// What the step draws, such as "first heart sound".
    pub title: String,
    /// The points that it places.
    pub draw: Vec<Point>,
    /// The alignment lines on which it is drawn: the points it is placed by.
    pub lines: Vec<Point>,
    /// The rules that it carries out.
    pub rules: Vec<String>,
    /// What to draw, in a sentence or several.
    pub text: String,
    /// Why, in a sentence or several.
    pub cause: String,
}

/// An order of steps that the rules do not allow.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct StepError {
    /// Line in the convention's file, from 1.
    pub line: usize,
    /// What is wrong and what to do.
    pub what: String,
}

/// Something drawn in one go: a stroke, or a single landmark or event.
struct Piece {
    title: String,
    points: Vec<Point>,
    /// What to draw, and why, where no rule says it.
    draw: Option<(String, String)>,
}

/// The steps of the build of `convention`, on the times that `model` has.
///
/// The reference channel comes first, stroke by stroke. A piece is drawn after those it is
/// aligned to; where that leaves a choice, panels go from top to bottom and each from left to
/// right, or, where rules name events, which belong to all panels, everything from left to
/// right. Steps that the convention's file words or orders come as it says.
///
/// # Errors
/// [`StepError`] where the file orders a step before one that it depends on.
pub fn steps(
    convention: &Convention,
    subject: &Subject,
    model: &Cycle,
) -> Result<Vec<Step>, StepError> {
    let beat = beats(model, subject).into_iter().next().unwrap_or_default();
    let builder = Builder { convention, subject, beat: &beat };
    let pieces = builder.pieces();
    let needs = builder.needs(&pieces);
    let order = builder.order(&pieces, &needs)?;
    Ok(builder.steps(&pieces, &order))
}

/// What one step draws.
struct Group {
    pieces: Vec<usize>,
    /// The step of the file that says so, if one does.
    text: Option<usize>,
}

struct Builder<'a> {
    convention: &'a Convention,
    subject: &'a Subject,
    beat: &'a Beat,
}

impl Builder<'_> {
    /// Everything to draw: the reference's strokes, then what the rules are about.
    fn pieces(&self) -> Vec<Piece> {
        let reference = &self.subject.reference_channel;
        let named = self.convention.points();
        let mut pieces: Vec<Piece> = Vec::new();
        for stroke in &self.subject.strokes {
            let on = |name: &String| Point::new(name, Some(&stroke.channel));
            let mut points: Vec<Point> = stroke.landmarks.iter().map(on).collect();
            points.extend(stroke.centre.iter().map(on));
            let wanted = stroke.channel == *reference && self.beat.get(&points[0]).is_some();
            if wanted || points.iter().any(|point| named.contains(point)) {
                points.retain(|p| wanted || named.contains(p) || self.beat.get(p).is_some());
                let draw = (stroke.draw.clone(), stroke.cause.clone());
                pieces.push(Piece { title: stroke.title.clone(), points, draw: Some(draw) });
            }
        }
        for point in named {
            if !pieces.iter().any(|piece| piece.points.contains(&point)) {
                let title = self.subject.title_of(&point.name).unwrap_or(&point.name).to_owned();
                pieces.push(Piece { title, points: vec![point], draw: None });
            }
        }
        let by_time = pieces.iter().any(|piece| piece.points[0].channel.is_none());
        let key = |piece: &Piece| {
            let channel = piece.points[0].channel.as_deref();
            let panel = self.convention.channels().position(|c| Some(c) == channel);
            let reference = channel == Some(reference.as_str());
            let time = self.beat.time_s(&piece.points[0]).unwrap_or(f64::MAX);
            (!reference, panel.filter(|_| !by_time), time)
        };
        pieces.sort_by(|a, b| {
            let (a, b) = (key(a), key(b));
            (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2))
        });
        pieces
    }

    fn of(&self, pieces: &[Piece], point: &Point) -> Option<usize> {
        pieces.iter().position(|piece| piece.points.contains(point))
    }

    /// For each piece, the pieces that must be there before it.
    fn needs(&self, pieces: &[Piece]) -> Vec<Vec<usize>> {
        let mut needs = vec![Vec::new(); pieces.len()];
        let reference = |index: usize| pieces[index].points[0].is_reference(self.subject);
        for rule in &self.convention.rules {
            let Says::Timing { .. } = rule.says else { continue };
            let points = rule.says.points();
            let Some(placed) = self.of(pieces, points[0]) else { continue };
            for point in &points[1..] {
                if let Some(by) = self.of(pieces, point)
                    && by != placed
                    && !reference(placed)
                    && !reaches(&needs, by, placed)
                {
                    needs[placed].push(by);
                }
            }
        }
        // A curve is drawn from left to right.
        let strokes = |index: usize| {
            let stroke = self.subject.stroke_of(&pieces[index].points[0].name);
            stroke.is_some_and(|stroke| stroke.burst.is_some())
        };
        for later in 1..pieces.len() {
            let earlier = later - 1;
            let same = pieces[earlier].points[0].channel == pieces[later].points[0].channel;
            let curve = pieces[later].points[0].channel.is_some() && !strokes(later);
            if same && curve && !reaches(&needs, earlier, later) {
                needs[later].push(earlier);
            }
        }
        needs
    }

    /// Which pieces each step draws, in order.
    fn order(&self, pieces: &[Piece], needs: &[Vec<usize>]) -> Result<Vec<Group>, StepError> {
        let mut groups: Vec<Group> = Vec::new();
        for (index, text) in self.convention.steps.iter().enumerate() {
            let refuse = |what: String| Err(StepError { line: text.line, what });
            let mut found: Vec<usize> = Vec::new();
            for name in &text.draw {
                let Some(piece) = self.named(pieces, name) else {
                    return refuse(format!("no rule draws “{name}”; leave it out, or add a rule"));
                };
                let before = groups.iter().any(|group| group.pieces.contains(&piece));
                if before || found.contains(&piece) {
                    let title = &pieces[piece].title;
                    return refuse(format!("“{name}” draws “{title}”, which is drawn already"));
                }
                found.push(piece);
            }
            groups.push(Group { pieces: found, text: Some(index) });
        }
        let listed = |piece: usize| groups.iter().position(|group| group.pieces.contains(&piece));
        for piece in 0..pieces.len() {
            for need in 0..pieces.len() {
                let (Some(own), Some(other)) = (listed(piece), listed(need)) else { continue };
                if other > own && reaches(needs, piece, need) {
                    let line = self.convention.steps[own].line;
                    let what = format!(
                        "this step draws “{}”, which is placed by “{}”, drawn only in step {}; put it after that",
                        pieces[piece].title,
                        pieces[need].title,
                        other + 1
                    );
                    return Err(StepError { line, what });
                }
            }
        }
        let unlisted = (0..pieces.len()).filter(|&piece| listed(piece).is_none());
        let mut waiting: Vec<Group> =
            unlisted.map(|piece| Group { pieces: vec![piece], text: None }).collect();
        waiting.extend(groups);
        // Those that the file lists keep their order; the others fill in as early as they can.
        let mut done: Vec<usize> = Vec::new();
        let mut order = Vec::new();
        let mut next_listed = 0;
        while !waiting.is_empty() {
            let ready = |group: &Group| {
                let there = |need: &usize| done.contains(need) || group.pieces.contains(need);
                group.text.is_none_or(|index| index == next_listed)
                    && group.pieces.iter().all(|&piece| needs[piece].iter().all(there))
            };
            let found = (0..waiting.len())
                .filter(|&index| ready(&waiting[index]))
                .min_by_key(|&index| waiting[index].pieces.iter().min().copied());
            // Pieces that need one another cannot all come after one another.
            let group = waiting.remove(found.unwrap_or(0));
            if group.text.is_some() {
                next_listed += 1;
            }
            done.extend(&group.pieces);
            order.push(group);
        }
        Ok(order)
    }

    /// The last point of the trace that a rule is about, where what the rule says lies
    /// outside the trace's landmarks and so is drawn with its end.
    fn end_of(&self, rule: &Rule, pieces: &[Piece]) -> Option<Point> {
        let Says::Level { channel, at, .. } = &rule.says else { return None };
        let own = pieces.iter().flat_map(|piece| &piece.points);
        let own: Vec<(&Point, f64)> = own
            .filter(|point| point.channel.as_ref() == Some(channel))
            .filter_map(|point| Some((point, self.beat.time_s(point)?)))
            .collect();
        let time = self.beat.time_s(at)?;
        let within = own.iter().any(|(_, t)| *t <= time) && own.iter().any(|(_, t)| *t >= time);
        let last = own.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        (!within).then(|| last.0.clone())
    }

    fn named(&self, pieces: &[Piece], name: &str) -> Option<usize> {
        let stroke = self.subject.strokes.iter().find(|stroke| stroke.id == name);
        if let Some(stroke) = stroke {
            return self.of(pieces, &Point::new(stroke.landmarks.first()?, Some(&stroke.channel)));
        }
        let channels: Vec<String> = self.convention.channels().map(str::to_owned).collect();
        self.of(pieces, &Point::find(name, &channels, self.subject).ok()?)
    }

    fn steps(&self, pieces: &[Piece], order: &[Group]) -> Vec<Step> {
        let mut drawn: Vec<usize> = Vec::new();
        let mut used: Vec<&str> = Vec::new();
        let mut steps = Vec::new();
        for Group { pieces: group, text } in order {
            drawn.extend(group);
            let here = |point: &Point| group.iter().any(|&g| pieces[g].points.contains(point));
            let there =
                |point: &Point| self.of(pieces, point).is_none_or(|piece| drawn.contains(&piece));
            let rules: Vec<&Rule> = self
                .convention
                .rules
                .iter()
                .filter(|rule| !used.contains(&rule.id.as_str()))
                .filter(|rule| {
                    let mut points = rule.says.points();
                    let end = self.end_of(rule, pieces);
                    points.extend(&end);
                    points.iter().any(|p| here(p)) && points.iter().all(|p| there(p))
                })
                .collect();
            used.extend(rules.iter().map(|rule| rule.id.as_str()));
            let mut lines: Vec<Point> = Vec::new();
            for rule in &rules {
                if let Says::Timing { .. } = rule.says {
                    let by = rule.says.points().into_iter().filter(|point| !here(point)).cloned();
                    lines.extend(by);
                }
            }
            lines.sort();
            lines.dedup();
            let title = group.iter().map(|&g| pieces[g].title.as_str()).collect::<Vec<_>>();
            let own = text.map(|index| &self.convention.steps[index]);
            let said = own.and_then(|step| step.text.clone());
            let why = own.and_then(|step| step.cause.clone());
            steps.push(Step {
                title: title.join(", "),
                draw: group.iter().flat_map(|&g| pieces[g].points.clone()).collect(),
                lines,
                rules: rules.iter().map(|rule| rule.id.clone()).collect(),
                text: said.unwrap_or_else(|| text_of(pieces, group, &rules)),
                cause: why.unwrap_or_else(|| cause_of(pieces, group, &rules)),
            });
        }
        steps
    }
}

/// Whether `to` is among what `from` needs, directly or through others.
fn reaches(needs: &[Vec<usize>], from: usize, to: usize) -> bool {
    let mut open = vec![from];
    let mut seen = vec![false; needs.len()];
    while let Some(piece) = open.pop() {
        if piece == to {
            return true;
        }
        if !std::mem::replace(&mut seen[piece], true) {
            open.extend(&needs[piece]);
        }
    }
    false
}

fn text_of(pieces: &[Piece], group: &[usize], rules: &[&Rule]) -> String {
    let mut parts: Vec<String> = Vec::new();
    for &index in group {
        let piece = &pieces[index];
        if let Some((draw, _)) = &piece.draw {
            parts.push(format!("Draw the {}: {draw}.", piece.title));
        }
    }
    // That a wave is there is said by telling a person to draw it.
    let rules =
        rules.iter().filter(|rule| parts.is_empty() || !matches!(rule.says, Says::Presence { .. }));
    parts = parts.iter().cloned().chain(rules.map(|rule| full_stop(&rule.text))).collect();
    parts.dedup();
    if parts.is_empty() {
        let titles: Vec<&str> = group.iter().map(|&g| pieces[g].title.as_str()).collect();
        parts.push(format!("Mark: {}.", titles.join(", ")));
    }
    parts.join(" ")
}

/// One cause: that of the rule that says where the step is drawn; without one, why the stroke
/// is there at all.
fn cause_of(pieces: &[Piece], group: &[usize], rules: &[&Rule]) -> String {
    let timing = rules.iter().find(|rule| matches!(rule.says, Says::Timing { .. }));
    let stroke = group.iter().find_map(|&index| pieces[index].draw.as_ref());
    let other = rules.iter().find(|rule| !matches!(rule.says, Says::Label { .. }));
    let cause = timing.map(|rule| rule.cause.as_str());
    let cause = cause.or(stroke.map(|(_, cause)| cause.as_str()));
    cause.or(other.map(|rule| rule.cause.as_str())).map_or_else(String::new, full_stop)
}

fn full_stop(text: &str) -> String {
    sentence(text.trim_end_matches('.')) + "."
}

/// `model` as it stands when only `drawn` has been built: traces as far as they have come,
/// bursts that are not there yet left silent, and only the landmarks that are placed.
///
/// A trace appears up to the last of the points that it is built from, with no gap before it,
/// and whole once all are drawn; one of which nothing is drawn has no samples. It is built
/// from its own landmarks that rules name, and from the points between which rules say how it
/// runs.
pub fn partial(
    convention: &Convention,
    subject: &Subject,
    model: &Cycle,
    drawn: &[Point],
) -> Cycle {
    let beat = beats(model, subject).into_iter().next().unwrap_or_default();
    let mut part = model.clone();
    let is_drawn = |name: &str, channel: Option<&str>| {
        drawn.iter().any(|point| point.name == name && point.channel.as_deref() == channel)
    };
    part.landmarks.retain(|l| is_drawn(&l.name, Some(&l.channel)));
    part.labels.retain(|label| {
        part.landmarks.iter().any(|l| l.channel == label.channel && l.time_s == label.time_s)
    });
    part.events.retain(|event| is_drawn(&event.name, None));
    part.phases.clear();
    let bursts =
        |channel: &str| subject.strokes.iter().any(|s| s.channel == channel && s.burst.is_some());
    for trace in &mut part.traces {
        let marks = marks_of(&trace.channel, convention, subject, &beat);
        let reached = marks.iter().take_while(|(point, _)| drawn.contains(point)).count();
        let burst = bursts(&trace.channel);
        if burst && marks.iter().any(|(point, _)| drawn.contains(point)) {
            silence(trace, model, subject, &beat, drawn);
        } else if reached == 0 {
            trace.samples.clear();
        } else if reached < marks.len() {
            let end = marks[reached - 1].1;
            let count = ((end - trace.start_s) * trace.rate_hz).round().max(0.0) as usize;
            trace.samples.truncate(count + 1);
        }
    }
    part.repeats = false;
    part
}

/// The points that a trace is built from, in the order of time.
fn marks_of(
    channel: &str,
    convention: &Convention,
    subject: &Subject,
    beat: &Beat,
) -> Vec<(Point, f64)> {
    let mut points: Vec<Point> = Vec::new();
    if channel == subject.reference_channel {
        let strokes = subject.strokes.iter().filter(|stroke| stroke.channel == channel);
        let names = strokes.flat_map(|stroke| &stroke.landmarks);
        points.extend(names.map(|name| Point::new(name, Some(channel))));
    }
    points
        .extend(convention.points().into_iter().filter(|p| p.channel.as_deref() == Some(channel)));
    for rule in &convention.rules {
        if let Says::Shape { channel: on, from, to, .. } = &rule.says
            && on == channel
        {
            points.extend([from.clone(), to.clone()]);
        }
    }
    points.sort();
    points.dedup();
    let mut marks: Vec<(Point, f64)> =
        points.into_iter().filter_map(|p| beat.time_s(&p).map(|time_s| (p, time_s))).collect();
    marks.sort_by(|a, b| a.1.total_cmp(&b.1));
    marks
}

/// Leaves a trace of bursts on its baseline where a burst is not drawn yet.
fn silence(
    trace: &mut cycle::Trace,
    model: &Cycle,
    subject: &Subject,
    beat: &Beat,
    drawn: &[Point],
) {
    let base = crate::beat::baseline(trace, model, subject);
    let strokes: Vec<[f64; 2]> = subject
        .strokes
        .iter()
        .filter(|stroke| stroke.channel == trace.channel)
        .filter(|stroke| {
            let first =
                stroke.landmarks.first().map(|name| Point::new(name, Some(&stroke.channel)));
            first.is_some_and(|first| drawn.contains(&first))
        })
        .filter_map(|stroke| stroke_span(stroke, beat))
        .collect();
    let length = trace.end_s() - trace.start_s;
    for index in 0..trace.samples.len() {
        let time_s = trace.time_s(index);
        let turn = if model.repeats { length } else { 0.0 };
        let turns = |t: f64| [t, t + turn, t - turn];
        let shown = strokes.iter().any(|&[start, end]| {
            turns(time_s).iter().any(|t| (start - 0.002..=end + 0.01).contains(t))
        });
        if !shown {
            trace.samples[index] = base;
        }
    }
}
