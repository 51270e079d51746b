//! Strips on grid paper at true scale, as an electrocardiograph writes them.

use cycle::{Cycle, StrokeKind, Subject, Trace};
use figure::style::{self, Colour};
use figure::{Align, Box2, Figure, Item, Map, Shape, Stroke, Tag, font, lines_of};

use crate::definition::Orientation;
use crate::grid_paper::{LARGE_MM, grid, landmark_ticks};

/// Paper speed, in millimetres a second (IEC 60601-2-25, from memory).
pub const MM_PER_S: f64 = 25.0;
/// Gain, in millimetres a millivolt (IEC 60601-2-25, from memory).
pub const MM_PER_MV: f64 = 10.0;

/// From the left side of the grid to where the trace begins: room for the calibration pulse.
const BEFORE_TRACE_MM: f64 = 15.0;
/// Narrowest grid: the calibration pulse and a second of trace.
const NARROWEST_MM: f64 = 40.0;
/// Room around the grid, for half the width of its outermost lines.
pub(crate) const AROUND_MM: f64 = 1.0;
/// Distance of the ticks at the top edge, in seconds: two of them count 6 s (common practice,
/// no source).
const TICK_EVERY_S: f64 = 3.0;
/// Length of those ticks.
const TICK_MM: f64 = 2.0;
/// Black without a tint, which a copier would break up into dots.
pub(crate) const TRACE: (Colour, f64) = ([0, 0, 0], 0.45);
/// Sizes of print.
pub(crate) const TITLE: f64 = 3.6;
pub(crate) const SMALL: f64 = 2.7;
/// Space between the trace's extremes and the nearest bracket's lane.
pub(crate) const CLEAR_MM: f64 = 1.0;
/// Height of a lane, which holds brackets with their labels.
pub(crate) const LANE_MM: f64 = 4.0;
/// Lanes that every strip has room for above and below the trace, so that a key with the usual
/// brackets is as high as the strip it belongs to.
const USUAL_LANES: [usize; 2] = [1, 2];
/// Least distance of brackets and labels from one another.
const NEXT_MM: f64 = 1.0;
/// Half the height of a bracket's ends.
pub(crate) const BRACKET_MM: f64 = 1.1;
/// In how many lanes a place is looked for where no bracket's side crosses a label.
const STRICT_LANES: usize = 4;
/// Times in words are given to half a small square, in seconds.
const WORDS_STEP_S: f64 = 0.02;
/// A trace that strays less than this between its waves, in mV, is called level.
const LEVEL_MV: f64 = 0.1;

/// What a strip shows.
#[derive(Clone, Debug, PartialEq)]
pub struct StripSpec {
    /// Number or title above the grid, such as "Strip 1"; may be empty.
    pub title: String,
    /// The channel, in mV.
    pub channel: String,
    /// What the channel is called under the grid, such as "lead II".
    pub lead: String,
    /// Where in the cycle the trace begins, in seconds.
    pub start_s: f64,
    /// Width of the grid in millimetres, a multiple of 5.
    pub width_mm: f64,
    /// Least height of the grid in millimetres, a multiple of 5; it is higher where trace and
    /// brackets need more.
    pub height_mm: f64,
    /// The waves whose times the words tell, as [`waves`] has them.
    pub waves: Vec<Wave>,
    /// What a key measures; one that is not wholly on the strip is left out.
    pub marks: Vec<Interval>,
    /// Whether the channel is in mV: without it there is no calibration pulse, and heights say
    /// nothing.
    pub calibrated: bool,
    /// Whether a key's ticks show where on the trace the landmarks lie.
    pub ticked: bool,
}

/// A wave by its landmarks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wave {
    /// Name shown to people, such as "P wave".
    pub name: String,
    /// Its landmarks, from first to last.
    pub landmarks: Vec<String>,
}

/// A stretch of time that a key measures.
#[derive(Clone, Debug, PartialEq)]
pub struct Interval {
    /// What is written beside its bracket, such as "PR 160 ms = 4 small squares".
    pub label: String,
    /// Where it begins, in the cycle's seconds.
    pub from_s: f64,
    /// Where it ends.
    pub to_s: f64,
}

impl StripSpec {
    /// A blank strip of `channel` from the cycle's first second, as wide as the margins of
    /// 18 mm that Letter and A4 both leave: 170 mm on an upright page, 240 mm on one that lies.
    pub fn new(channel: &str, lead: &str, orientation: Orientation) -> Self {
        Self {
            title: String::new(),
            channel: channel.to_owned(),
            lead: lead.to_owned(),
            start_s: 0.0,
            width_mm: match orientation {
                Orientation::Portrait => 170.0,
                Orientation::Landscape => 240.0,
            },
            height_mm: 30.0,
            waves: Vec::new(),
            marks: Vec::new(),
            calibrated: true,
            ticked: false,
        }
    }

    /// How many seconds of trace the strip shows.
    pub fn length_s(&self) -> f64 {
        (self.grid_width() - BEFORE_TRACE_MM) / MM_PER_S
    }

    /// Left side of the trace.
    pub(crate) fn trace_left() -> f64 {
        AROUND_MM + BEFORE_TRACE_MM
    }

    /// Width of the grid: the width asked for, in whole large squares.
    pub(crate) fn grid_width(&self) -> f64 {
        // What misses a multiple by rounding alone is one.
        let squares = (self.width_mm / LARGE_MM + 1e-6).floor();
        (squares * LARGE_MM).max(NARROWEST_MM)
    }
}

/// The waves that `subject` has on `channel`.
pub fn waves(subject: &Subject, channel: &str) -> Vec<Wave> {
    let own = |stroke: &&StrokeKind| stroke.channel == channel;
    let wave = |stroke: &StrokeKind| Wave {
        name: stroke.title.clone(),
        landmarks: stroke.landmarks.clone(),
    };
    subject.strokes.iter().filter(own).map(wave).collect()
}

/// A strip of `cycle` on grid paper, 25 mm a second and 10 mm a millivolt.
///
/// A cycle that repeats is continued to the strip's end; any other is cut where it ends. A
/// channel that the cycle lacks leaves the grid empty. The words tell the times of the waves
/// and no more than the picture: whoever reads them can work the answers out as from the grid.
pub fn strip(cycle: &Cycle, spec: &StripSpec) -> Figure {
    let end_s = spec.start_s + spec.length_s();
    let cycle = cycle.continued(end_s);
    Drawer::new(&cycle, spec, end_s).figure()
}

/// A mark with its place: across from the left of the page, down from 0 mV.
struct Placed<'a> {
    mark: &'a Interval,
    /// The bracket's box.
    bracket: Box2,
    /// The label's box, and its size of print.
    label: Box2,
    size: f64,
    /// The bracket's sides, from the trace to the bracket.
    sides: [[[f64; 2]; 2]; 2],
}

impl Placed<'_> {
    /// Whether the two would touch.
    fn touches(&self, other: &Self) -> bool {
        let grown = [self.bracket, self.label].map(|area| area.grown(NEXT_MM));
        grown.iter().any(|area| area.overlaps(&other.bracket) || area.overlaps(&other.label))
    }

    /// Whether a side of one runs through the other.
    fn crosses(&self, other: &Self) -> bool {
        let through = |a: &Self, b: &Self| {
            a.sides.iter().any(|[from, to]| {
                b.bracket.crossed_by(*from, *to) || b.label.grown(0.2).crossed_by(*from, *to)
            })
        };
        through(self, other) || through(other, self)
    }
}

struct Drawer<'a> {
    cycle: &'a Cycle,
    spec: &'a StripSpec,
    trace: Option<&'a Trace>,
    end_s: f64,
    /// The grid.
    area: Box2,
    /// Height of the trace above and below 0 mV, in millimetres.
    reach: [f64; 2],
    items: Vec<Item>,
}

impl<'a> Drawer<'a> {
    fn new(cycle: &'a Cycle, spec: &'a StripSpec, end_s: f64) -> Self {
        let trace = cycle.trace(&spec.channel);
        let shown = trace.map(|trace| window(trace, spec.start_s, end_s)).unwrap_or_default();
        // The calibration pulse is as high as 1 mV.
        let high = shown.iter().fold(1.0_f64, |high, &[_, mv]| high.max(mv));
        let low = shown.iter().fold(0.0_f64, |low, &[_, mv]| low.min(mv));
        let top = if spec.title.is_empty() { 0.5 } else { 5.5 } + TICK_MM;
        let area = Box2::new(AROUND_MM, top, spec.grid_width(), 0.0);
        let reach = [high * MM_PER_MV, -low * MM_PER_MV];
        Self { cycle, spec, trace, end_s, area, reach, items: Vec::new() }
    }

    fn figure(mut self) -> Figure {
        let (placed, lanes) = self.place_marks();
        let [above, below] = self.heights(lanes);
        self.area.h = above + below;
        let zero = self.area.y + above;
        let (width_mm, height_mm) = (self.area.w + 2.0 * AROUND_MM, self.area.bottom() + 6.0);
        let paper = Box2::new(0.0, 0.0, width_mm, height_mm);
        self.add(Tag::Paper, Shape::Fill { area: paper, colour: style::PAPER });
        self.grid();
        self.ticks();
        self.words();
        self.calibration(zero);
        for placed in &placed {
            self.sides(placed, zero);
        }
        self.draw_trace(above, below);
        self.landmark_ticks(zero);
        for placed in &placed {
            self.bracket(placed, zero);
        }
        let alt = self.alt();
        Figure { width_mm, height_mm, title: self.spec.title.clone(), alt, items: self.items }
    }

    /// Height of the grid above and below 0 mV, each in whole large squares, so that 0 mV lies
    /// on one of their lines.
    fn heights(&self, lanes: [usize; 2]) -> [f64; 2] {
        let [mut above, mut below] = [0, 1].map(|side| {
            let lanes = lanes[side].max(USUAL_LANES[side]) as f64;
            let needed = self.reach[side] + CLEAR_MM + lanes * LANE_MM;
            (needed / LARGE_MM).ceil() * LARGE_MM
        });
        while above + below < self.spec.height_mm - 1e-6 {
            if below < above { below += LARGE_MM } else { above += LARGE_MM }
        }
        [above, below]
    }

    fn add(&mut self, tag: Tag, shape: Shape) {
        self.items.push(Item { tag, shape });
    }

    fn line(&mut self, tag: Tag, points: Vec<[f64; 2]>, (colour, width): (Colour, f64)) {
        let stroke = Stroke::solid(colour, width);
        self.add(tag, Shape::Lines { parts: vec![points], stroke });
    }

    fn grid(&mut self) {
        self.items.extend(grid(&self.area));
    }

    /// Ticks where the landmarks lie on the trace.
    fn landmark_ticks(&mut self, zero: f64) {
        if !self.spec.ticked {
            return;
        }
        let own = self.cycle.landmarks.iter().filter(|l| l.channel == self.spec.channel);
        let shown = own.filter(|l| (self.spec.start_s..=self.end_s).contains(&l.time_s));
        let at = shown.map(|l| [self.x(l.time_s), zero + self.depth(l.time_s)]);
        let shape = landmark_ticks(at);
        self.add(Tag::LandmarkLabel(self.spec.channel.clone()), shape);
    }

    fn trace_left(&self) -> f64 {
        self.area.x + BEFORE_TRACE_MM
    }

    /// Where `time_s` is, from the left of the page.
    fn x(&self, time_s: f64) -> f64 {
        self.trace_left() + (time_s - self.spec.start_s) * MM_PER_S
    }

    fn ticks(&mut self) {
        let (top, left) = (self.area.y, self.trace_left());
        let mut count = 0_u32;
        loop {
            let x = left + f64::from(count) * TICK_EVERY_S * MM_PER_S;
            if x > self.area.right() + 1e-6 {
                return;
            }
            self.line(Tag::Axis, vec![[x, top - TICK_MM], [x, top]], (style::INK, 0.3));
            count += 1;
        }
    }

    fn text(&mut self, tag: Tag, at: [f64; 2], text: &str, size: f64, align: Align) {
        let (text, bold) = (text.to_owned(), tag == Tag::Title);
        self.add(tag, Shape::Text { at, text, size, bold, align, colour: style::INK });
    }

    fn words(&mut self) {
        let spec = self.spec;
        if !spec.title.is_empty() {
            self.text(Tag::Title, [self.area.x, 3.6], &spec.title, TITLE, Align::Start);
        }
        let under = self.area.bottom() + 4.0;
        let height = if spec.calibrated {
            format!("{MM_PER_MV} mm/mV")
        } else {
            "height without a scale".to_owned()
        };
        let scale = format!("{MM_PER_S} mm/s · {height} · {}", spec.lead);
        self.text(Tag::Axis, [self.area.x, under], &scale, SMALL, Align::Start);
        let every = format!("ticks above the grid: every {TICK_EVERY_S} s");
        self.text(Tag::Axis, [self.area.right(), under], &every, SMALL, Align::End);
    }

    /// 1 mV for 0.2 s, on the grid's lines.
    fn calibration(&mut self, zero: f64) {
        if !self.spec.calibrated {
            return;
        }
        let up = self.area.x + LARGE_MM;
        let (down, high) = (up + LARGE_MM, zero - MM_PER_MV);
        let pulse = vec![
            [up - 2.0, zero],
            [up, zero],
            [up, high],
            [down, high],
            [down, zero],
            [down + 2.0, zero],
        ];
        self.line(Tag::Panel, pulse, TRACE);
    }

    fn draw_trace(&mut self, above: f64, below: f64) {
        let Some(trace) = self.trace else { return };
        let map = Map {
            start_s: self.spec.start_s,
            end_s: self.end_s,
            left: self.trace_left(),
            right: self.area.right(),
            low: -below / MM_PER_MV,
            high: above / MM_PER_MV,
            top: self.area.y,
            bottom: self.area.bottom(),
        };
        let (colour, width) = TRACE;
        let stroke = Stroke::solid(colour, width);
        let parts = lines_of(trace, &map);
        self.add(Tag::Trace(self.spec.channel.clone()), Shape::Lines { parts, stroke });
    }

    /// The marks that are wholly on the strip.
    fn marks(&self) -> Vec<&'a Interval> {
        let on_strip = |mark: &&Interval| {
            mark.from_s >= self.spec.start_s - 1e-9
                && mark.to_s <= self.end_s + 1e-9
                && mark.from_s < mark.to_s
        };
        self.spec.marks.iter().filter(on_strip).collect()
    }

    /// The marks in their lanes, and how many lanes they need above and below the trace.
    fn place_marks(&self) -> (Vec<Placed<'a>>, [usize; 2]) {
        let mut marks = self.marks();
        // Short brackets go nearest to the trace, where their waves are.
        marks.sort_by(|a, b| (a.to_s - a.from_s).total_cmp(&(b.to_s - b.from_s)));
        let mut placed: Vec<Placed<'a>> = Vec::new();
        let mut lanes = [0, 0];
        for mark in marks {
            let side = self.side(mark);
            let tries = |lanes: std::ops::Range<usize>| {
                lanes.flat_map(|lane| self.places(mark, side, lane).map(move |p| (lane, p)))
            };
            let free =
                |(_, place): &(usize, Placed<'_>)| !placed.iter().any(|other| place.touches(other));
            let clear =
                |(_, place): &(usize, Placed<'_>)| !placed.iter().any(|other| place.crosses(other));
            let strict = tries(0..STRICT_LANES).filter(free).find(clear);
            // A side that has to cross a label passes behind it; a lane more than there are
            // marks is always free.
            let loose = || tries(0..placed.len() + 1).find(free);
            let Some((lane, place)) = strict.or_else(loose) else { continue };
            lanes[side] = lanes[side].max(lane + 1);
            placed.push(place);
        }
        (placed, lanes)
    }

    /// Value at `time_s` in millimetres below 0 mV.
    fn depth(&self, time_s: f64) -> f64 {
        -MM_PER_MV * self.trace.and_then(|trace| trace.at(time_s)).unwrap_or(0.0)
    }

    /// 0 where a mark is better measured above the trace, 1 where below.
    fn side(&self, mark: &Interval) -> usize {
        let depth = f64::midpoint(self.depth(mark.from_s), self.depth(mark.to_s));
        let middle = f64::midpoint(-self.reach[0], self.reach[1]);
        usize::from(depth > middle)
    }

    /// Where a mark can stand in a lane: its label within the bracket, right of it, or left.
    fn places(
        &self,
        mark: &'a Interval,
        side: usize,
        lane: usize,
    ) -> impl Iterator<Item = Placed<'a>> {
        let out = self.reach[side] + CLEAR_MM + (lane as f64 + 0.5) * LANE_MM;
        let y = if side == 0 { -out } else { out };
        let [from, to] = [mark.from_s, mark.to_s].map(|time_s| self.x(time_s));
        let bracket = Box2::new(from, y - BRACKET_MM, to - from, 2.0 * BRACKET_MM);
        let within = [self.area.x + 0.5, self.area.right() - 0.5];
        let rooms = [to - from - 4.0, within[1] - to - 1.0, from - 1.0 - within[0]];
        // A label longer than any room is set smaller.
        let room = rooms.into_iter().fold(0.0, f64::max) - 1e-6;
        let size = SMALL * (room / font::width(&mark.label, SMALL, false)).min(1.0);
        let width = font::width(&mark.label, size, false);
        let beside = [
            (width <= rooms[0]).then_some(f64::midpoint(from, to) - width / 2.0),
            Some(to + 1.0),
            Some(from - 1.0 - width),
        ];
        let fits = move |left: &f64| *left >= within[0] && left + width <= within[1];
        let sides = [[from, mark.from_s], [to, mark.to_s]]
            .map(|[x, time_s]| [[x, self.depth(time_s)], [x, y]]);
        beside.into_iter().flatten().filter(fits).map(move |left| Placed {
            mark,
            bracket,
            label: Box2::new(left, y - 0.48 * size, width, 0.96 * size),
            size,
            sides,
        })
    }

    fn sides(&mut self, placed: &Placed<'_>, zero: f64) {
        let parts = placed.sides.map(|side| side.map(|[x, y]| [x, y + zero]).to_vec()).to_vec();
        let stroke = Stroke { colour: style::ACCENT, width: 0.18, dash: vec![0.8, 0.6] };
        let tag = Tag::Bar(placed.mark.label.clone());
        self.add(tag, Shape::Lines { parts, stroke });
    }

    fn bracket(&mut self, placed: &Placed<'_>, zero: f64) {
        let tag = Tag::Bar(placed.mark.label.clone());
        let moved = |area: &Box2| Box2::new(area.x, area.y + zero, area.w, area.h);
        let (area, label) = (moved(&placed.bracket), moved(&placed.label));
        let middle = area.y + BRACKET_MM;
        let end = |x: f64| vec![[x, area.y], [x, area.bottom()]];
        let parts =
            vec![end(area.x), vec![[area.x, middle], [area.right(), middle]], end(area.right())];
        let stroke = Stroke::solid(style::ACCENT, 0.3);
        self.add(tag.clone(), Shape::Lines { parts, stroke });
        // The grid would run through the letters.
        let (ground, colour) = (label.grown(0.2), style::PAPER);
        self.add(tag.clone(), Shape::Fill { area: ground, colour });
        let at = [label.x, label.y + 0.74 * placed.size];
        let (text, size) = (placed.mark.label.clone(), placed.size);
        let (bold, align, colour) = (false, Align::Start, style::ACCENT);
        self.add(tag, Shape::Text { at, text, size, bold, align, colour });
    }

    /// The strip in words.
    fn alt(&self) -> String {
        let spec = self.spec;
        let height = if spec.calibrated {
            format!("and {MM_PER_MV} mm/mV, after a calibration pulse of 1 mV")
        } else {
            "with no scale for heights".to_owned()
        };
        let mut words = format!(
            "A strip of {} on grid paper, {} seconds at {MM_PER_S} mm/s {height}.",
            spec.lead,
            trimmed(spec.length_s(), 1),
        );
        let seen = self.seen();
        if !seen.is_empty() {
            let all: Vec<String> = seen.iter().map(|wave| wave.words(spec, self.end_s)).collect();
            words += &format!(
                " Waves, in seconds from where the trace begins, to the nearest {WORDS_STEP_S}, with the height of the peak: {}.",
                all.join("; ")
            );
            words += &self.between(&seen);
        }
        let marks: Vec<String> = self.marks().into_iter().map(|m| self.measured(m)).collect();
        if !marks.is_empty() {
            words += &format!(" Key, measured on the strip: {}.", marks.join("; "));
        }
        words
    }

    fn measured(&self, mark: &Interval) -> String {
        let [from, to] = [mark.from_s, mark.to_s].map(|t| self.spoken(t));
        format!("{}, from {from} to {to} s", mark.label)
    }

    fn spoken(&self, time_s: f64) -> String {
        spoken(time_s - self.spec.start_s)
    }

    /// The waves of which anything is on the strip, in the order of time.
    fn seen(&self) -> Vec<Seen<'a>> {
        let spec = self.spec;
        let mut all: Vec<Seen<'a>> = spec.waves.iter().flat_map(|wave| self.of(wave)).collect();
        all.retain(|seen| seen.to_s > spec.start_s && seen.from_s < self.end_s);
        all.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        all
    }

    /// All occurrences of a wave, also those that the cycle's beginning cuts.
    fn of(&self, wave: &'a Wave) -> Vec<Seen<'a>> {
        let times = |name: Option<&String>| -> Vec<f64> {
            let own = self.cycle.landmarks.iter().filter(|l| l.channel == self.spec.channel);
            own.filter(|l| Some(&l.name) == name).map(|l| l.time_s).collect()
        };
        let (starts, ends) = (times(wave.landmarks.first()), times(wave.landmarks.last()));
        let first = starts.first().copied().unwrap_or(f64::INFINITY);
        let cut = ends.iter().filter(|&&end| end < first).map(|&end| (f64::NEG_INFINITY, end));
        let whole = starts.iter().map(|&start| {
            let end = ends.iter().copied().find(|&end| end > start);
            (start, end.unwrap_or(f64::INFINITY))
        });
        let seen = |(from_s, to_s)| {
            let value = self.height(wave, from_s, to_s);
            Seen { name: &wave.name, from_s, to_s, value }
        };
        cut.chain(whole).map(seen).collect()
    }

    /// The value of a wave's landmarks that is furthest from 0.
    fn height(&self, wave: &Wave, from_s: f64, to_s: f64) -> f64 {
        let shown = from_s.max(self.spec.start_s)..=to_s.min(self.end_s);
        let own = self.cycle.landmarks.iter().filter(|l| {
            l.channel == self.spec.channel
                && wave.landmarks.contains(&l.name)
                && shown.contains(&l.time_s)
        });
        own.fold(0.0, |most: f64, l| if l.value.abs() > most.abs() { l.value } else { most })
    }

    /// Whether the trace is level between the waves.
    fn between(&self, seen: &[Seen<'_>]) -> String {
        let Some(trace) = self.trace else { return String::new() };
        let in_wave =
            |time_s: f64| seen.iter().any(|wave| (wave.from_s..=wave.to_s).contains(&time_s));
        let outside = window(trace, self.spec.start_s, self.end_s)
            .into_iter()
            .filter(|&[time_s, _]| !in_wave(time_s))
            .map(|[_, mv]| (mv, mv));
        let range = outside.reduce(|(low, high), (mv, _)| (low.min(mv), high.max(mv)));
        match range.map(|(low, high)| high - low) {
            Some(range) if range >= LEVEL_MV => {
                format!(" Between them the trace wavers by {} mV.", trimmed(range, 1))
            }
            Some(_) => " Between them the trace is level.".to_owned(),
            None => String::new(),
        }
    }
}

/// A wave on the strip; infinite where the trace does not hold its beginning or end.
struct Seen<'a> {
    name: &'a str,
    from_s: f64,
    to_s: f64,
    /// Its greatest height, in mV.
    value: f64,
}

impl Seen<'_> {
    fn words(&self, spec: &StripSpec, end_s: f64) -> String {
        let name = self.name;
        let [from, to] = [self.from_s, self.to_s].map(|t| spoken(t - spec.start_s));
        let value = format!("{} mV", trimmed((self.value * 20.0).round() / 20.0, 2));
        match (self.from_s < spec.start_s, self.to_s > end_s) {
            (false, false) => format!("{name} {from} to {to} ({value})"),
            (true, false) => format!("{name} until {to}, its beginning cut off"),
            (false, true) => format!("{name} from {from}, its end cut off"),
            (true, true) => format!("{name} throughout"),
        }
    }
}

/// Samples of `trace` within a window, with their times.
fn window(trace: &Trace, start_s: f64, end_s: f64) -> Vec<[f64; 2]> {
    let samples = trace.samples.iter().enumerate();
    let timed = samples.map(|(index, &value)| [trace.time_s(index), value]);
    timed.filter(|[t, value]| (start_s..=end_s).contains(t) && value.is_finite()).collect()
}

/// Seconds to half a small square.
pub(crate) fn spoken(time_s: f64) -> String {
    format!("{:.2}", (time_s / WORDS_STEP_S).round() * WORDS_STEP_S)
}

/// A number with `decimals` places, without the zeros at its end.
pub(crate) fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if !text.contains('.') {
        return text;
    }
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.replace('-', "−") }
}
