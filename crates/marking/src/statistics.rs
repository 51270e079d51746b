//! What a class as a whole drew, in numbers.

use std::collections::BTreeMap;

use convention::{Beat, Point, Says, beats, judge};
use cycle::Cycle;
use serde::Serialize;

use crate::drawn::DrawnSheet;
use crate::locate::{Located, shown, with_marks};
use crate::marks::{Marks, Outcome, RuleMark};
use crate::rubric::Rubric;

/// One sheet of a class, without a name.
#[derive(Clone, Copy, Debug)]
pub struct ClassSheet<'a> {
    /// Which form it is, by its place in [`Class::forms`].
    pub form: usize,
    /// What is drawn on it.
    pub drawn: &'a DrawnSheet,
    /// What was found on it.
    pub located: &'a Located,
    /// What was made of it.
    pub marks: &'a Marks,
}

/// One form of a test.
#[derive(Clone, Copy, Debug)]
pub struct ClassForm<'a> {
    /// Its letter, where the test has several.
    pub letter: Option<char>,
    /// What its sheets are marked by.
    pub rubric: &'a Rubric<'a>,
}

/// All sheets of a class that were marked.
#[derive(Clone, Copy, Debug)]
pub struct Class<'a> {
    /// The test's forms.
    pub forms: &'a [ClassForm<'a>],
    /// The sheets, in any order.
    pub sheets: &'a [ClassSheet<'a>],
}

/// What a class as a whole drew, in numbers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Statistics {
    /// How many sheets there are.
    pub sheets: usize,
    /// On how many of them something is still for a person to say.
    pub with_open: usize,
    /// What each sheet earned of what has been settled on it, in percent, from least to most.
    pub percents: Vec<f64>,
    /// Their mean.
    pub mean: Option<f64>,
    /// Their median.
    pub median: Option<f64>,
    /// The rules that were asked for, in the convention's order.
    pub items: Vec<Item>,
    /// The landmarks and events that the rules are about and that were to be drawn.
    pub landmarks: Vec<LandmarkSpread>,
}

/// What a class made of one rule.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Item {
    /// The rule.
    pub id: String,
    /// On how many sheets it was asked for and counts.
    pub sheets: usize,
    /// On how many it is met.
    pub met: usize,
    /// On how many it is not.
    pub not_met: usize,
    /// On how many that is for a person to say.
    pub open: usize,
    /// Mean share of its points, 0 … 1, over the sheets on which it is settled.
    pub difficulty: Option<f64>,
    /// Correlation of its share of points with that of all other rules together, −1 … 1; none
    /// for fewer than [`LEAST_SHEETS`] sheets, or where one of the two does not vary.
    pub discrimination: Option<f64>,
    /// The commonest way in which it is missed, where that can be measured.
    pub miss: Option<Miss>,
}

/// In which direction a rule is missed, and by how much.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Miss {
    /// On how many sheets too late, or too high.
    pub more: usize,
    /// On how many too early, or too low.
    pub less: usize,
    /// The median of the misses in the commoner direction, in millimetres; positive for more.
    pub median_mm: f64,
}

/// Where a class drew one landmark or event.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LandmarkSpread {
    /// Its identifier.
    pub name: String,
    /// The channel that it lies on; none for an event.
    pub channel: Option<String>,
    /// How much later than in the key, each from its own anchor such as the student's R peak, in
    /// millimetres, from the earliest to the latest. Of several beats the middle one counts.
    pub offsets_mm: Vec<f64>,
    /// Their quartiles.
    pub quartiles_mm: Option<[f64; 3]>,
    /// On how many sheets it was not found.
    pub missing: usize,
    /// What the first rule about its time accepts, about the key; ends that it leaves open are
    /// none.
    pub band_mm: Option<[Option<f64>; 2]>,
}

/// For so few sheets there is no discrimination.
pub const LEAST_SHEETS: usize = 10;

impl Statistics {
    /// How many sheets earned below 10 %, 10 to below 20 %, and so on; 100 % is in the last.
    pub fn histogram(&self) -> [usize; 10] {
        let mut counts = [0; 10];
        for percent in &self.percents {
            counts[((percent / 10.0 + 1e-9).max(0.0) as usize).min(9)] += 1;
        }
        counts
    }
}

/// The numbers of a class.
pub fn statistics(class: &Class<'_>) -> Statistics {
    let total = |sheet: &ClassSheet<'_>| sheet.marks.share().map(|part| 100.0 * part);
    let percents = sorted(class.sheets.iter().filter_map(total));
    Statistics {
        sheets: class.sheets.len(),
        with_open: class.sheets.iter().filter(|one| one.marks.open().next().is_some()).count(),
        mean: mean(&percents),
        median: quantile(&percents, 0.5),
        items: rules_asked(class).iter().map(|id| item(class, id)).collect(),
        landmarks: landmarks(class),
        percents,
    }
}

/// The rules that any form asks for, in the convention's order.
fn rules_asked(class: &Class<'_>) -> Vec<String> {
    let Some(first) = class.forms.first() else { return Vec::new() };
    let rules = first.rubric.convention.rules.iter().map(|rule| &rule.id);
    let asked = |id: &&String| class.forms.iter().any(|form| form.rubric.asked.contains(id));
    rules.filter(asked).cloned().collect()
}

/// Share of the points that rules earn by themselves of those that are settled, but for the rule
/// called `without`.
fn share(rules: &[RuleMark], without: &str) -> Option<f64> {
    let others = rules.iter().filter(|rule| rule.id != without);
    let settled = others.filter_map(|rule| Some((rule.points?, rule.max_points)));
    let (earned, most) =
        settled.fold((0.0, 0.0), |sum, (points, most)| (sum.0 + points, sum.1 + most));
    (most > 0.0).then(|| earned / most)
}

/// What was made of a rule on a sheet, if it counts: what was waived is worth nothing.
fn counted<'a>(sheet: &ClassSheet<'a>, id: &str) -> Option<&'a RuleMark> {
    let rule = sheet.marks.rules.iter().find(|rule| rule.id == id);
    rule.filter(|rule| rule.max_points > 0.0)
}

fn item(class: &Class<'_>, id: &str) -> Item {
    let rules: Vec<&RuleMark> =
        class.sheets.iter().filter_map(|sheet| counted(sheet, id)).collect();
    let count = |outcome: Outcome| rules.iter().filter(|rule| rule.outcome == outcome).count();
    let own = |rule: &RuleMark| rule.points.map(|points| points / rule.max_points);
    let shares: Vec<f64> = rules.iter().filter_map(|rule| own(rule)).collect();
    let pairs: Vec<[f64; 2]> = class
        .sheets
        .iter()
        .filter_map(|sheet| {
            let own = counted(sheet, id).and_then(own)?;
            Some([own, share(&sheet.marks.rules, id)?])
        })
        .collect();
    Item {
        id: id.to_owned(),
        sheets: rules.len(),
        met: count(Outcome::Met),
        not_met: count(Outcome::NotMet),
        open: rules.iter().filter(|rule| rule.is_open()).count(),
        difficulty: mean(&shares),
        discrimination: (pairs.len() >= LEAST_SHEETS).then(|| correlation(&pairs)).flatten(),
        miss: miss(&rules),
    }
}

fn miss(rules: &[&RuleMark]) -> Option<Miss> {
    let missed = rules.iter().filter(|rule| rule.outcome == Outcome::NotMet);
    let offs: Vec<f64> =
        missed.filter(|rule| rule.measured_mm.is_some()).map(|rule| rule.off_mm).collect();
    let side = |sign: f64| sorted(offs.iter().copied().filter(|off| sign * off > 0.0));
    let (more, less) = (side(1.0), side(-1.0));
    let commoner = if more.len() >= less.len() { &more } else { &less };
    let median_mm = quantile(commoner, 0.5)?;
    Some(Miss { more: more.len(), less: less.len(), median_mm })
}

/// The cycle that a sheet shows with all that was found on it, on the key's anchors where the
/// student drew none.
pub fn cycle_of(drawn: &DrawnSheet, located: &Located, rubric: &Rubric<'_>) -> Cycle {
    let own = located.marks.iter().map(|mark| (mark, mark.time_s));
    let mut cycle = with_marks(shown(drawn, rubric), own);
    let is_anchor = |one: &&cycle::Landmark| one.name == rubric.subject.anchor;
    if !cycle.landmarks.iter().any(|one| is_anchor(&one)) {
        cycle.landmarks.extend(rubric.model.landmarks.iter().filter(is_anchor).cloned());
        cycle.landmarks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    }
    cycle
}

/// The anchor, such as the R peak.
pub(crate) fn anchor(rubric: &Rubric<'_>) -> Point {
    Point::new(&rubric.subject.anchor, Some(&rubric.subject.reference_channel))
}

/// The points that rules asked for are about and that are to be drawn, panel by panel.
fn points_asked(class: &Class<'_>) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::new();
    for form in class.forms {
        let rubric = form.rubric;
        let rules = rubric.convention.rules.iter().filter(|rule| rubric.asked.contains(&rule.id));
        for point in rules.flat_map(|rule| rule.says.points()) {
            // The anchor is where everything is measured from.
            if !points.contains(point) && !rubric.is_given(point) && *point != anchor(rubric) {
                points.push(point.clone());
            }
        }
    }
    let Some(first) = class.forms.first() else { return points };
    let panels = &first.rubric.panels;
    let subject = first.rubric.subject;
    let place = |point: &Point| match &point.channel {
        Some(channel) => panels.iter().position(|on| on.place.channel == *channel),
        None => None,
    };
    // Within a panel in the order in which the subject lists them.
    let order = |point: &Point| {
        let landmark = subject.landmarks.iter().position(|kind| kind.id == point.name);
        let event = subject.events.iter().position(|kind| kind.id == point.name);
        landmark.or(event).unwrap_or(usize::MAX)
    };
    points.sort_by_key(|point| (place(point).unwrap_or(usize::MAX), order(point)));
    points
}

fn landmarks(class: &Class<'_>) -> Vec<LandmarkSpread> {
    let beats_of = |cycle: &Cycle, rubric: &Rubric<'_>| beats(cycle, rubric.subject);
    let keys: Vec<Vec<Beat>> =
        class.forms.iter().map(|form| beats_of(form.rubric.model, form.rubric)).collect();
    let drawn: Vec<(usize, Vec<Beat>)> = class
        .sheets
        .iter()
        .filter_map(|sheet| {
            let rubric = class.forms.get(sheet.form)?.rubric;
            let cycle = cycle_of(sheet.drawn, sheet.located, rubric);
            Some((sheet.form, beats_of(&cycle, rubric)))
        })
        .collect();
    let bands = bands(class);
    let spread = |point: Point| {
        let mut offsets = Vec::new();
        let mut missing = 0;
        for (form, own) in &drawn {
            let rubric = class.forms[*form].rubric;
            if rubric.is_given(&point) || !is_shown(rubric, &point) {
                continue;
            }
            let anchor = anchor(rubric);
            let late = |beat: &Beat| Some(beat.time_s(&point)? - beat.time_s(&anchor)?);
            let Some(key) = keys[*form].iter().find_map(late) else { continue };
            let own = sorted(own.iter().filter_map(late));
            match own.get(own.len().saturating_sub(1) / 2) {
                Some(own) => offsets.push((own - key) * rubric.mm_per_s),
                None => missing += 1,
            }
        }
        let offsets_mm = sorted(offsets.into_iter());
        let quartile = |share: f64| quantile(&offsets_mm, share);
        let quartiles_mm = match [0.25, 0.5, 0.75].map(quartile) {
            [Some(low), Some(middle), Some(high)] => Some([low, middle, high]),
            _ => None,
        };
        let band_mm = bands.get(&point).copied();
        LandmarkSpread {
            name: point.name,
            channel: point.channel,
            offsets_mm,
            quartiles_mm,
            missing,
            band_mm,
        }
    };
    points_asked(class).into_iter().map(spread).collect()
}

/// Whether a form's pages have a place for a point.
fn is_shown(rubric: &Rubric<'_>, point: &Point) -> bool {
    match &point.channel {
        Some(channel) => rubric.panel(channel).is_some(),
        None => rubric.row_of(&point.name).is_some(),
    }
}

/// What the first rule asked for about each point's time accepts, about the key.
fn bands(class: &Class<'_>) -> BTreeMap<Point, [Option<f64>; 2]> {
    let mut bands = BTreeMap::new();
    for form in class.forms {
        let rubric = form.rubric;
        let verdicts = judge(rubric.model, rubric.convention, rubric.subject, &rubric.scale());
        for (rule, verdict) in rubric.convention.rules.iter().zip(verdicts) {
            let (Says::Timing { point, .. }, Some(measured)) = (&rule.says, verdict.measured)
            else {
                continue;
            };
            if rubric.asked.contains(&rule.id) && !bands.contains_key(point) {
                let [low, high] = verdict.window;
                let low = low.map(|low| low - measured - verdict.tolerance);
                let high = high.map(|high| high - measured + verdict.tolerance);
                bands.insert(point.clone(), [low, high]);
            }
        }
    }
    bands
}

pub(crate) fn sorted(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// The value below which a share of the sorted values lies, by straight lines between them
/// (definition 7 of Hyndman and Fan, The American Statistician 50, 1996).
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = share * last as f64;
    let left = place.floor() as usize;
    let right = (left + 1).min(last);
    Some(sorted[left] + (place - left as f64) * (sorted[right] - sorted[left]))
}

/// Pearson's correlation; none where one of the two does not vary.
fn correlation(pairs: &[[f64; 2]]) -> Option<f64> {
    let column = |side: usize| pairs.iter().map(|pair| pair[side]).collect::<Vec<_>>();
    let [a, b] = [mean(&column(0))?, mean(&column(1))?];
    let sum =
        |of: &dyn Fn(f64, f64) -> f64| pairs.iter().map(|[x, y]| of(x - a, y - b)).sum::<f64>();
    let [xx, yy, xy] = [sum(&|x, _| x * x), sum(&|_, y| y * y), sum(&|x, y| x * y)];
    // What remains where all values are equal but for rounding is no variation.
    let least = 1e-12 * pairs.len() as f64;
    (xx > least && yy > least).then(|| xy / (xx * yy).sqrt())
}

#[cfg(test)]
#[path = "statistics_tests.rs"]
mod tests;
