//! Where on the student's pages the rules were looked at.

use convention::{Beat, Level, Place, Point, Relative, Rule, Says, beats, judge};
use cycle::Cycle;

use crate::Rubric;
use crate::drawn::DrawnSheet;
use crate::locate::Located;
use crate::marks::RuleMark;
use crate::statistics::{anchor, cycle_of};

/// A place on a page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Spot {
    pub(crate) page: u8,
    pub(crate) at_mm: [f64; 2],
}

/// Where a rule was looked at.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Site {
    /// Where the thing is; or where it would be, if it was not drawn.
    pub(crate) spot: Spot,
    /// Whether it was drawn.
    pub(crate) drawn: bool,
    /// What it is aligned to.
    pub(crate) to: Option<Spot>,
    /// Where the rule has it, if that is elsewhere.
    pub(crate) target_mm: Option<[f64; 2]>,
    /// The landmark whose name stands there; none along a trace.
    pub(crate) point: Option<Point>,
}

/// Beats whose distances differ by less show the same, in millimetres.
const ALIKE_MM: f64 = 0.5;

/// What is needed to say where rules were looked at.
pub(crate) struct Sites<'a> {
    rubric: &'a Rubric<'a>,
    cycle: Cycle,
    beats: Vec<Beat>,
    key: Vec<Beat>,
}

impl<'a> Sites<'a> {
    pub(crate) fn new(drawn: &DrawnSheet, located: &Located, rubric: &'a Rubric<'a>) -> Self {
        let cycle = cycle_of(drawn, located, rubric);
        let beats_of_sheet = beats(&cycle, rubric.subject);
        let key = beats(rubric.model, rubric.subject);
        Self { rubric, beats: beats_of_sheet, cycle, key }
    }

    /// Where a rule was looked at; `None` where no page shows it.
    pub(crate) fn of(&self, rule: &Rule, mark: &RuleMark) -> Option<Site> {
        match &rule.says {
            Says::Shape { channel, from, to, .. } => self.along(channel, from, to),
            Says::Level { channel, at, level } => {
                let beat = self.beat_of(rule, mark)?;
                let time_s = beat.time_s(at)?;
                let y = self.cycle.trace(channel).and_then(|trace| trace.at(time_s));
                let on = self.rubric.panel(channel)?;
                let map = on.place.map();
                let at_mm = [map.x(time_s), map.y(y?)];
                let spot = Spot { page: on.page, at_mm };
                let off = [at_mm[0], at_mm[1] + mark.off_mm];
                let to = match level {
                    Level::Of(point) => beat.get(point).and_then(|at| self.spot(point, at, true)),
                    Level::Baseline => None,
                };
                let target_mm = (mark.off_mm != 0.0).then_some(off);
                Some(Site { spot, drawn: true, to, target_mm, point: None })
            }
            Says::Presence { point }
            | Says::Label { point, .. }
            | Says::Timing { point, .. }
            | Says::Height { point, .. } => self.at_point(rule, mark, point),
        }
    }

    fn at_point(&self, rule: &Rule, mark: &RuleMark, point: &Point) -> Option<Site> {
        let is_height = matches!(rule.says, Says::Height { .. });
        let Some(beat) = self.beat_of(rule, mark) else {
            let spot = self.expected(point)?;
            let point = Some(point.clone());
            return Some(Site { spot, drawn: false, to: None, target_mm: None, point });
        };
        let spot = self.spot(point, beat.get(point)?, is_height)?;
        let [x, y] = spot.at_mm;
        let (other, target) = match &rule.says {
            Says::Timing { timing, .. } => (Some(other(timing, mark)), [x - mark.off_mm, y]),
            Says::Height { height, .. } => (Some(other(height, mark)), [x, y + mark.off_mm]),
            _ => (None, [x, y]),
        };
        let to = other.and_then(|other| self.spot(other, beat.get(other)?, is_height));
        let target_mm = (target != [x, y]).then_some(target);
        Some(Site { spot, drawn: true, to, target_mm, point: Some(point.clone()) })
    }

    /// For each of `marks`, the number of the beat that its measured number is from, the first being
    /// 1, and how many there are; nothing where there is one beat, or nothing was measured.
    pub(crate) fn beats_told(&self, marks: &[RuleMark]) -> Vec<Option<(usize, usize)>> {
        let Rubric { convention, subject, .. } = self.rubric;
        let verdicts = judge(&self.cycle, convention, subject, &self.rubric.scale());
        let told = |mark: &RuleMark| {
            let verdict = verdicts.iter().find(|verdict| verdict.rule == mark.id)?;
            let same = mark.measured_mm.is_some() && mark.measured_mm == verdict.measured;
            let beat = verdict.beat.filter(|_| same && self.beats.len() > 1)?;
            Some((beat, self.beats.len()))
        };
        marks.iter().map(told).collect()
    }

    /// The beat that speaks for a rule: the one that shows what was measured.
    fn beat_of(&self, rule: &Rule, mark: &RuleMark) -> Option<&Beat> {
        let points = rule.says.points();
        let whole = |beat: &&Beat| points.iter().all(|point| beat.get(point).is_some());
        let first = self.beats.iter().find(whole);
        let (Says::Timing { point, timing }, Some(measured)) = (&rule.says, mark.measured_mm)
        else {
            return first.or_else(|| self.beats.iter().find(|b| b.get(points[0]).is_some()));
        };
        let to = match timing {
            Relative::Offset { to, .. } => to,
            Relative::Between { from, .. } => from,
        };
        let far = |beat: &&Beat| {
            let later = beat.time_s(point)? - beat.time_s(to)?;
            Some((later * self.rubric.mm_per_s - measured).abs())
        };
        let near = |beat: &&Beat| far(beat).unwrap_or(f64::MAX);
        let mut all = self.beats.iter().filter(whole);
        // Where the beats are alike, the first.
        all.clone()
            .find(|beat| near(beat) < ALIKE_MM)
            .or_else(|| all.by_ref().min_by(|a, b| near(a).total_cmp(&near(b))))
    }

    /// Where a point is on its page; a burst on its baseline, but for what is about its height.
    fn spot(&self, point: &Point, place: Place, height: bool) -> Option<Spot> {
        match &point.channel {
            Some(channel) => {
                let on = self.rubric.panel(channel)?;
                let map = on.place.map();
                let flat = self.rubric.has_bursts(channel) && !height;
                let y = map.y(if flat { 0.0 } else { place.value });
                Some(Spot { page: on.page, at_mm: [map.x(place.time_s), y] })
            }
            None => {
                let on = self.rubric.row_of(&point.name)?;
                let area = on.place.area;
                let at_mm = [on.place.x(place.time_s), area.y + area.h / 2.0];
                Some(Spot { page: on.page, at_mm })
            }
        }
    }

    /// Where a point would be that was not drawn: where the key has it, from the student's own
    /// anchor.
    fn expected(&self, point: &Point) -> Option<Spot> {
        let anchor = anchor(self.rubric);
        let key = self.key.iter().find(|beat| beat.get(point).is_some())?;
        let place = key.get(point)?;
        let own = self.beats.first().and_then(|beat| beat.time_s(&anchor));
        let shift = own.zip(key.time_s(&anchor)).map_or(0.0, |(own, key)| own - key);
        self.spot(point, Place { time_s: place.time_s + shift, ..place }, false)
    }

    /// The middle of a stretch along a trace.
    fn along(&self, channel: &str, from: &Point, to: &Point) -> Option<Site> {
        let on = self.rubric.panel(channel)?;
        let map = on.place.map();
        let [panel_start, panel_end] = on.place.time_s;
        let start = self.beats.iter().find_map(|beat| beat.time_s(from));
        let drawn = start.is_some();
        let start = match start {
            Some(start) => start,
            None => self.key.iter().find_map(|beat| beat.time_s(from))?,
        };
        let ends = self.beats.iter().filter_map(|beat| beat.time_s(to));
        let end = ends.filter(|end| *end > start).min_by(f64::total_cmp);
        let end = end.unwrap_or(panel_end.min(start + 0.3 * self.rubric.model.period_s));
        let middle = f64::midpoint(start, end).clamp(panel_start, panel_end);
        let own = self.cycle.trace(channel).and_then(|trace| trace.at(middle));
        let value = own.unwrap_or(f64::midpoint(on.place.values[0], on.place.values[1]));
        let spot = Spot { page: on.page, at_mm: [map.x(middle), map.y(value)] };
        Some(Site { spot, drawn, to: None, target_mm: None, point: None })
    }

    /// The landmarks and events that the rules asked for are about, where they were drawn: the
    /// first of each first.
    pub(crate) fn rings(&self, located: &Located) -> Vec<(Point, Spot, bool)> {
        let asked = |point: &Point| {
            let mut rules = self.rubric.convention.rules.iter();
            rules.any(|rule| {
                self.rubric.asked.contains(&rule.id) && rule.says.points().contains(&point)
            })
        };
        let mut rings: Vec<(Point, Spot, bool)> = Vec::new();
        for mark in located.marks.iter().filter(|mark| asked(&mark.point())) {
            let first = !rings.iter().any(|(point, ..)| *point == mark.point());
            rings.push((mark.point(), Spot { page: mark.page, at_mm: mark.at_mm }, first));
        }
        rings
    }
}

/// What a point is aligned to: of two, the one that it is on the wrong side of.
fn other<'r>(relative: &'r Relative, mark: &RuleMark) -> &'r Point {
    match relative {
        Relative::Offset { to, .. } => to,
        Relative::Between { to, .. } if mark.off_mm > 0.0 => to,
        Relative::Between { from, .. } => from,
    }
}
