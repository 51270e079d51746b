//! What a figure names, and where: read from the drawing itself.

use std::collections::BTreeSet;

use cycle::{Cycle, Subject};
use figure::{Align, Box2, Figure, Item, Shape, Tag};

use super::BlankKind;

/// Size of small print in a figure at scale 1, in millimetres.
const SMALL: f64 = 2.7;

/// A panel: its frame and its name.
pub(super) struct Panel {
    pub(super) frame: Box2,
    pub(super) name: String,
    /// Which of the figure's items write the name.
    pub(super) name_items: Vec<usize>,
}

/// A name in a figure and what it is written at.
pub(super) struct Name {
    pub(super) kind: BlankKind,
    /// Identifier of the phase, line, channel, landmark, event or bar.
    pub(super) id: String,
    pub(super) answer: String,
    /// Which of the figure's items write it and lead from it.
    pub(super) items: Vec<usize>,
    /// Its place in reading order, before its place from left to right.
    pub(super) row: usize,
    /// The panel in which it is written.
    pub(super) panel: Option<usize>,
    /// The channel of the trace or of the point's trace.
    pub(super) channel: Option<String>,
    /// The middle of the place where it is written.
    pub(super) at: [f64; 2],
    /// Where a number for it may stand.
    pub(super) bounds: Box2,
    /// What a leader would lead to, by way of which corner.
    pub(super) target: Target,
    /// From where to where it lasts, for phases and bars.
    pub(super) spans: Vec<[f64; 2]>,
}

/// What a number's leader leads to.
pub(super) enum Target {
    /// Nothing: the number stands where it belongs.
    Place,
    /// A point on a trace.
    Point([f64; 2]),
    /// The nearest point of the trace of [`Name::id`].
    Trace,
    /// Whatever these points lead to: there is always a leader.
    Way(Vec<[f64; 2]>),
}

/// A figure's names and what is needed to speak of their places.
pub(super) struct Sheet<'a> {
    pub(super) figure: &'a Figure,
    pub(super) scale: f64,
    pub(super) panels: Vec<Panel>,
    pub(super) names: Vec<Name>,
    /// Items of the key to phases that are only numbered in their band.
    pub(super) phase_key: Vec<usize>,
    /// Two places on the time axis and their times in seconds.
    clock: Option<[[f64; 2]; 2]>,
}

impl Name {
    /// Whether the two are one thing, which has one number wherever it occurs.
    pub(super) fn same_thing(&self, other: &Self) -> bool {
        let repeats = matches!(self.kind, BlankKind::Phase | BlankKind::Line | BlankKind::Bar);
        std::ptr::eq(self, other) || repeats && self.kind == other.kind && self.id == other.id
    }

    /// Whether this name, left in the figure, would give away `asked`.
    pub(super) fn betrays(&self, asked: &Self, subject: &Subject) -> bool {
        let stroke = |id: &str| subject.stroke_of(id).map(|stroke| stroke.id.as_str());
        let related = match (self.kind, asked.kind) {
            (BlankKind::Line, BlankKind::Landmark) => {
                self.id == asked.id
                    || stroke(&self.id).is_some() && stroke(&self.id) == stroke(&asked.id)
            }
            (BlankKind::Line, BlankKind::Bar) => subject
                .bars
                .iter()
                .any(|bar| bar.id == asked.id && (bar.from == self.id || bar.to == self.id)),
            _ => false,
        };
        let part = self.id == asked.id
            && self.answer.chars().count() > 2
            && contains(&asked.answer, &self.answer);
        related || part || resembles(&self.answer, &asked.answer)
    }
}

impl<'a> Sheet<'a> {
    /// Reads what `figure` names; `subject` says in full what is abbreviated or broken there,
    /// and `cycle` where the landmarks are.
    pub(super) fn read(figure: &'a Figure, cycle: &Cycle, subject: &Subject) -> Self {
        let small = figure.items.iter().find_map(|item| match (&item.tag, &item.shape) {
            (Tag::Axis, Shape::Text { size, .. }) => Some(size / SMALL),
            _ => None,
        });
        let mut sheet = Self {
            figure,
            scale: small.unwrap_or(1.0),
            panels: panels(figure),
            names: Vec::new(),
            phase_key: Vec::new(),
            clock: clock(figure),
        };
        sheet.head(subject);
        sheet.labels(cycle);
        sheet.bars(subject);
        sheet
    }

    /// The time at a distance from the left, in seconds, if the figure has a time axis.
    pub(super) fn time_s(&self, x: f64) -> Option<f64> {
        let [[x0, t0], [x1, t1]] = self.clock?;
        Some(t0 + (x - x0) / (x1 - x0) * (t1 - t0))
    }

    /// Where a time in seconds is, from the left.
    fn x(&self, time_s: f64) -> Option<f64> {
        let [[x0, t0], [x1, t1]] = self.clock?;
        Some(x0 + (time_s - t0) / (t1 - t0) * (x1 - x0))
    }

    /// The panel that holds a point.
    fn panel_at(&self, [x, y]: [f64; 2]) -> Option<usize> {
        let point = Box2::new(x, y, 0.0, 0.0);
        self.panels.iter().position(|panel| panel.frame.holds(&point))
    }

    fn page(&self) -> Box2 {
        Box2::new(0.0, 0.0, self.figure.width_mm, self.figure.height_mm)
    }

    fn items(&self) -> impl Iterator<Item = (usize, &'a Item)> {
        self.figure.items.iter().enumerate()
    }

    /// Phases and alignment lines.
    fn head(&mut self, subject: &Subject) {
        let (mut found, mut key) = (Vec::new(), Vec::new());
        let mut lines: BTreeSet<&str> = BTreeSet::new();
        for (index, item) in self.items() {
            match (&item.tag, &item.shape) {
                (Tag::Phase(id), Shape::Lines { parts, .. }) if parts[0].len() == 5 => {
                    let [first, .., corner, _, _] = &parts[0][..] else { continue };
                    let band =
                        Box2::new(first[0], first[1], corner[0] - first[0], corner[1] - first[1]);
                    found.push(self.phase(id, band, subject));
                }
                (Tag::Phase(id), Shape::Text { text, .. })
                    if id.is_empty() && text.starts_with(|c: char| c.is_ascii_digit()) =>
                {
                    key.push(index);
                }
                (Tag::Line(id), Shape::Text { .. }) if lines.insert(id) => {
                    found.extend(self.line(id, subject));
                }
                _ => {}
            }
        }
        self.names.extend(found);
        self.phase_key = key;
    }

    /// The name of one phase's band; all its texts belong to the first.
    fn phase(&self, id: &str, band: Box2, subject: &Subject) -> Name {
        let k = self.scale;
        let mine = |item: &Item| matches!(&item.tag, Tag::Phase(other) if other == id);
        let named = |shape: &Shape| match shape {
            Shape::Text { .. } => true,
            Shape::Lines { parts, .. } => parts[0].len() == 3,
            _ => false,
        };
        let items =
            self.items().filter(|(_, item)| mine(item) && named(&item.shape)).map(|(i, _)| i);
        let middle = band.x + band.w / 2.0;
        let slim = band.w < 5.0 * k;
        let (at, bounds, target) = if slim {
            let way = vec![[middle, band.y - 0.6 * k], [middle, band.y + 0.9 * k]];
            let above = Box2::new(0.0, band.y - 12.0 * k, self.figure.width_mm, 11.2 * k);
            ([middle, band.y - 4.4 * k], above, Target::Way(way))
        } else {
            ([middle, band.y + band.h / 2.0], band, Target::Place)
        };
        Name {
            kind: BlankKind::Phase,
            id: id.to_owned(),
            answer: subject.phase(id).map_or(id, |kind| &kind.title).to_owned(),
            items: items.collect(),
            row: 0,
            panel: None,
            channel: None,
            at,
            bounds,
            target,
            spans: vec![[band.x, band.right()]],
        }
    }

    /// The name of an alignment line, above where it begins.
    fn line(&self, id: &str, subject: &Subject) -> Option<Name> {
        let k = self.scale;
        let mine = |item: &Item| matches!(&item.tag, Tag::Line(other) if other == id);
        let mut items = Vec::new();
        let mut bottom = f64::NEG_INFINITY;
        let mut end = None;
        for (index, item) in self.items().filter(|(_, item)| mine(item)) {
            match &item.shape {
                Shape::Text { .. } => {
                    bottom = bottom.max(item.shape.text_box()?.bottom());
                    items.push(index);
                }
                Shape::Lines { parts, stroke } if stroke.dash.is_empty() => {
                    end = parts[0].last().copied();
                    items.push(index);
                }
                _ => {}
            }
        }
        let end = end?;
        let bounds = Box2::new(0.0, bottom - 5.0 * k, self.figure.width_mm, 6.4 * k);
        Some(Name {
            kind: BlankKind::Line,
            id: id.to_owned(),
            answer: subject.title_of(id).unwrap_or(id).to_owned(),
            items,
            row: 1,
            panel: None,
            channel: None,
            at: [end[0], bottom - 1.4 * k],
            bounds,
            target: Target::Way(vec![end]),
            spans: Vec::new(),
        })
    }

    /// Labels of traces and landmarks.
    fn labels(&mut self, cycle: &Cycle) {
        let mut found: Vec<Name> = Vec::new();
        for (index, item) in self.items() {
            let (kind, id) = match &item.tag {
                Tag::TraceLabel(id) => (BlankKind::Trace, id),
                Tag::LandmarkLabel(id) | Tag::LoopLabel(id) => (BlankKind::Landmark, id),
                _ => continue,
            };
            let Shape::Text { text, .. } = &item.shape else { continue };
            let Some(area) = item.shape.text_box() else { continue };
            let at = [area.x + area.w / 2.0, area.y + area.h / 2.0];
            let around = area.grown(0.6 * self.scale);
            let beside = |shape: &Shape| match shape {
                Shape::Lines { parts, .. } => around.holds(&spot(parts[0][0])),
                Shape::Fill { area: ground, .. } => around.holds(ground),
                _ => false,
            };
            let own = self.items().filter(|(_, other)| other.tag == item.tag);
            let mut items: Vec<usize> =
                own.filter(|(_, other)| beside(&other.shape)).map(|(i, _)| i).collect();
            items.push(index);
            let panel = self.panel_at(at);
            let (channel, target) = match kind {
                BlankKind::Trace => (Some(id.clone()), Target::Trace),
                _ => {
                    let marked = panel.and_then(|panel| self.marked(cycle, panel, item));
                    let (channel, point) = marked.unzip();
                    (channel, Target::Point(point.unwrap_or_else(|| self.point(&items, item, at))))
                }
            };
            let frame = panel.map(|panel| self.panels[panel].frame.grown(-0.4));
            found.push(Name {
                kind,
                id: id.clone(),
                answer: text.clone(),
                channel,
                items,
                row: 2 + panel.unwrap_or(self.panels.len()),
                panel,
                at,
                bounds: frame.unwrap_or_else(|| self.page()),
                target,
                spans: Vec::new(),
            });
        }
        self.names.extend(found);
    }

    /// The channel and the point of the landmark that a label in a panel names: its first
    /// occurrence there, on a trace of the label's colour.
    fn marked(&self, cycle: &Cycle, panel: usize, label: &Item) -> Option<(String, [f64; 2])> {
        let (Tag::LandmarkLabel(id), Shape::Text { colour, .. }) = (&label.tag, &label.shape)
        else {
            return None;
        };
        let frame = self.panels[panel].frame.grown(0.01);
        let mut marks = cycle.landmarks.iter().filter(|mark| mark.name == *id);
        marks.find_map(|mark| {
            let x = self.x(mark.time_s)?;
            let mut traces =
                self.figure.items.iter().filter_map(|item| match (&item.tag, &item.shape) {
                    (Tag::Trace(channel), Shape::Lines { parts, stroke })
                        if *channel == mark.channel && stroke.colour == *colour =>
                    {
                        Some([x, height_at(parts, x)?])
                    }
                    _ => None,
                });
            let point = traces.find(|point| frame.holds(&spot(*point)))?;
            Some((mark.channel.clone(), point))
        })
    }

    /// The point that a label stands at, as far as it can be seen: where its leader ends, or the nearest of its trace.
    fn point(&self, items: &[usize], label: &Item, at: [f64; 2]) -> [f64; 2] {
        let leader = items.iter().find_map(|&index| match &self.figure.items[index].shape {
            Shape::Lines { parts, .. } => parts[0].last().copied(),
            _ => None,
        });
        let Shape::Text { colour, .. } = &label.shape else { return at };
        let traces = self.figure.items.iter().filter_map(|item| match (&item.tag, &item.shape) {
            (Tag::Trace(_) | Tag::Loop, Shape::Lines { parts, stroke })
                if stroke.colour == *colour =>
            {
                Some(parts)
            }
            _ => None,
        });
        let area = label.shape.text_box().unwrap_or_else(|| spot(at));
        leader.unwrap_or_else(|| nearest_to(traces.flatten(), &area).unwrap_or(at))
    }

    /// Names of bars, beside them.
    fn bars(&mut self, subject: &Subject) {
        let mut ids: Vec<&str> = Vec::new();
        for item in &self.figure.items {
            if let Tag::Bar(id) = &item.tag
                && !ids.contains(&id.as_str())
            {
                ids.push(id);
            }
        }
        let left = self.panels.first().map_or(self.figure.width_mm, |panel| panel.frame.x);
        for (order, id) in ids.into_iter().enumerate() {
            let mine = |item: &Item| matches!(&item.tag, Tag::Bar(other) if other == id);
            let mut name = Name {
                kind: BlankKind::Bar,
                id: id.to_owned(),
                answer: String::new(),
                items: Vec::new(),
                row: 3 + self.panels.len() + order,
                panel: None,
                channel: None,
                at: [0.0; 2],
                bounds: Box2::new(0.0, 0.0, left, self.figure.height_mm),
                target: Target::Place,
                spans: Vec::new(),
            };
            let mut boxes: Vec<Box2> = Vec::new();
            for (index, item) in self.items().filter(|(_, item)| mine(item)) {
                match &item.shape {
                    Shape::Text { .. } => {
                        boxes.extend(item.shape.text_box());
                        name.items.push(index);
                    }
                    Shape::Fill { area, .. } => name.spans.push([area.x, area.right()]),
                    _ => {}
                }
            }
            let (Some(first), Some(last)) = (boxes.first(), boxes.last()) else { continue };
            name.at = [first.x + 2.4 * self.scale, f64::midpoint(first.y, last.bottom())];
            let kind = subject.bars.iter().find(|bar| bar.id == id);
            name.answer = kind.map_or(id.to_owned(), |bar| format!("{} {}", bar.title, bar.state));
            self.names.push(name);
        }
    }
}

/// The height of a trace at a distance from the left.
fn height_at(parts: &[Vec<[f64; 2]>], x: f64) -> Option<f64> {
    let mut pairs = parts.iter().flat_map(|part| part.windows(2));
    // The time axis is read from printed numbers, so an end may be missed by rounding.
    let pair = pairs.find(|pair| pair[0][0] - 1e-6 <= x && x <= pair[1][0] + 1e-6)?;
    let width = pair[1][0] - pair[0][0];
    let share = if width > 0.0 { (x - pair[0][0]) / width } else { 0.0 };
    Some(pair[0][1] + share * (pair[1][1] - pair[0][1]))
}

/// A point as a box.
fn spot([x, y]: [f64; 2]) -> Box2 {
    Box2::new(x, y, 0.0, 0.0)
}

/// The point of some lines that is nearest to a box.
fn nearest_to<'p>(parts: impl Iterator<Item = &'p Vec<[f64; 2]>>, area: &Box2) -> Option<[f64; 2]> {
    let far = |p: &[f64; 2]| {
        let (x, y) = (p[0].clamp(area.x, area.right()), p[1].clamp(area.y, area.bottom()));
        libm::hypot(p[0] - x, p[1] - y)
    };
    parts.flatten().copied().min_by(|a, b| far(a).total_cmp(&far(b)))
}

/// The panels from top to bottom: frames are drawn in that order, and each name begins no
/// higher than its frame.
fn panels(figure: &Figure) -> Vec<Panel> {
    let mut panels: Vec<Panel> = Vec::new();
    for item in figure.items.iter().filter(|item| item.tag == Tag::Panel) {
        if let Shape::Lines { parts, .. } = &item.shape
            && let [first, _, corner, ..] = &parts[0][..]
        {
            let frame = Box2::new(first[0], first[1], corner[0] - first[0], corner[1] - first[1]);
            panels.push(Panel { frame, name: String::new(), name_items: Vec::new() });
        }
    }
    for (index, item) in figure.items.iter().enumerate() {
        if let (Tag::Panel, Shape::Text { text, bold: true, at, .. }) = (&item.tag, &item.shape)
            && let Some(panel) = panels.iter_mut().rfind(|panel| panel.frame.y <= at[1])
        {
            let between = if panel.name.is_empty() { "" } else { " " };
            panel.name = format!("{}{between}{text}", panel.name);
            panel.name_items.push(index);
        }
    }
    panels
}

/// The first and the last number on the time axis, with their times in seconds.
fn clock(figure: &Figure) -> Option<[[f64; 2]; 2]> {
    let texts = figure.items.iter().filter_map(|item| match (&item.tag, &item.shape) {
        (Tag::Axis, Shape::Text { text, at, align, .. }) => Some((text.as_str(), *at, *align)),
        _ => None,
    });
    let seconds = if texts.clone().any(|(text, ..)| text.ends_with("(ms)")) { 0.001 } else { 1.0 };
    let mut ticks = texts.filter(|(_, _, align)| *align == Align::Middle).filter_map(|tick| {
        let value: f64 = tick.0.replace('−', "-").parse().ok()?;
        Some([tick.1[0], value * seconds])
    });
    let first = ticks.next()?;
    let last = ticks.next_back()?;
    (last[0] > first[0]).then_some([first, last])
}

fn words_of(text: &str) -> Vec<&str> {
    text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect()
}

/// Whether two words are the same; short ones are symbols, for which capitals matter.
fn same_word(a: &str, b: &str) -> bool {
    if a.chars().count() > 2 { a.to_lowercase() == b.to_lowercase() } else { a == b }
}

/// Whether `text` holds the words of `answer` one after another.
pub(super) fn contains(text: &str, answer: &str) -> bool {
    let (text, answer) = (words_of(text), words_of(answer));
    !answer.is_empty()
        && text
            .windows(answer.len())
            .any(|run| run.iter().zip(&answer).all(|(a, b)| same_word(a, b)))
}

/// Whether `text` has every word of `answer`, if in another form: "ventricular" for
/// "ventricle".
fn resembles(text: &str, answer: &str) -> bool {
    let stem = |word: &str| word.chars().take(5).collect::<String>().to_lowercase();
    let alike = |have: &str, want: &str| {
        same_word(have, want)
            || want.chars().count() > 3 && have.to_lowercase().starts_with(&stem(want))
    };
    let (text, answer) = (words_of(text), words_of(answer));
    !answer.is_empty() && answer.iter().all(|want| text.iter().any(|have| alike(have, want)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_holds_an_answer_as_whole_words() {
        assert!(contains("The dicrotic Notch.", "dicrotic notch"));
        assert!(contains("end of the T wave", "T"));
        assert!(!contains("The atria", "T") && !contains("a trace", "A"));
        assert!(!contains("notch, dicrotic", "dicrotic notch") && !contains("text", ""));
    }

    #[test]
    fn another_form_of_a_word_gives_it_away_too() {
        assert!(resembles("left ventricular peak pressure", "left ventricle"));
        assert!(!resembles("aortic valve closes", "aorta"));
        assert!(!resembles("mitral valve closes", "Mitral valve open"));
    }
}
