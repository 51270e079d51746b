//! Rule, computed cycle and published measurement side by side.

use cycle::{Cycle, Subject};
use serde::Serialize;

use crate::Point;
use crate::beat::{Beat, beats};
use crate::judge::{Outcome, Scale, Unit, Verdict, judge};
use crate::published::{Published, Range};
use crate::rule::{Convention, Relative, Rule, Says};
use crate::words::{Words, amount, distance, later_ms, sentence};

/// A convention beside a computed cycle and published measurement.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// One row for each rule, in the rules' order.
    pub rows: Vec<Row>,
}

/// One rule in comparison.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// The rule.
    pub rule: String,
    /// What the student reads.
    pub text: String,
    /// What it says, exactly.
    pub says: String,
    /// What the computed cycle makes of it.
    pub computed: Verdict,
    /// What has been measured, if it has.
    pub published: Option<Band>,
    /// Whether the rule leaves the published range by more than its tolerance; none where
    /// nothing is published.
    pub leaves_published: Option<bool>,
    /// Where they agree or differ, in plain sentences.
    pub sentence: String,
}

/// A published range.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Band {
    /// Lowest usual value.
    pub low: Option<f64>,
    /// Highest usual value.
    pub high: Option<f64>,
    /// What the numbers count.
    pub unit: Unit,
    /// The range in words.
    pub words: String,
    /// Whether it was added up from several measurements.
    pub added_up: bool,
    /// The sources, each with how sure it is.
    pub sources: Vec<String>,
}

impl Row {
    /// Whether the computed cycle does not meet the rule.
    pub fn computed_differs(&self) -> bool {
        self.computed.outcome == Outcome::NotMet
    }
}

/// Lays `convention` beside the cycle `computed` and beside `published`.
pub fn compare(
    convention: &Convention,
    subject: &Subject,
    computed: &Cycle,
    published: &Published,
) -> Comparison {
    let verdicts = judge(computed, convention, subject, &Scale::Measured);
    let beat = beats(computed, subject).into_iter().next().unwrap_or_default();
    let rate_bpm = computed.summary.get("heart_rate_bpm").copied();
    let comparer = Comparer {
        words: Words { subject, convention },
        beat: &beat,
        published,
        rate_bpm: rate_bpm.unwrap_or(60.0 / computed.period_s),
    };
    let rows = convention.rules.iter().zip(verdicts);
    Comparison { rows: rows.map(|(rule, verdict)| comparer.row(rule, verdict)).collect() }
}

struct Comparer<'a> {
    words: Words<'a>,
    beat: &'a Beat,
    published: &'a Published,
    rate_bpm: f64,
}

impl Comparer<'_> {
    fn row(&self, rule: &Rule, computed: Verdict) -> Row {
        let found = self.measured(rule);
        let gaps = found
            .as_ref()
            .map(|(_, range, window, _)| (gap(*window, range), gap(*window, &range.core())));
        let tolerance = match &rule.says {
            Says::Timing { .. } => rule.tolerance.ms,
            _ => computed.tolerance,
        };
        let leaves = gaps.map(|(gap, _)| gap.abs() > tolerance);
        let at_edge = gaps.map(|(_, of_core)| of_core != 0.0);
        let band = found.map(|(to, range, _, unit)| self.band(&to, &range, unit));
        let sentence = self.sentence(rule, &computed, band.as_ref(), leaves.zip(at_edge));
        Row {
            rule: rule.id.clone(),
            text: rule.text.clone(),
            says: self.words.wants(&rule.says),
            computed,
            published: band,
            leaves_published: leaves,
            sentence,
        }
    }

    /// The published range for what a rule is about, with the point it is counted from, and
    /// the rule's window counted from there.
    fn measured(&self, rule: &Rule) -> Option<(Point, Range, [Option<f64>; 2], Unit)> {
        match &rule.says {
            Says::Timing { point, timing: Relative::Offset { to, window, .. } } => {
                let range = self.published.range_ms(to, point, self.rate_bpm)?;
                Some((to.clone(), range, *window, Unit::Ms))
            }
            Says::Timing { point, timing: Relative::Between { from, to, shares, .. } } => {
                let length = later_ms(self.beat.get(to)?, self.beat.get(from)?);
                let window = shares.map(|share| Some(share * length));
                // Counted from whichever end is the better measured.
                let [near, far] =
                    [from, to].map(|end| self.published.range_ms(end, point, self.rate_bpm));
                let closer = |range: &Range, other: Option<&Range>| {
                    width(range).is_some_and(|w| other.and_then(width).is_none_or(|o| w <= o))
                };
                if let Some(range) = far.clone().filter(|range| closer(range, near.as_ref())) {
                    let window = window.map(|side| side.map(|ms| ms - length));
                    return Some((to.clone(), range, window, Unit::Ms));
                }
                Some((from.clone(), near.or(far)?, window, Unit::Ms))
            }
            Says::Height { point, height: Relative::Offset { to, window, .. } } => {
                let range = self.published.range_of_height(to, point, self.rate_bpm)?;
                let unit = Unit::Value(self.words.unit(point).to_owned());
                Some((to.clone(), range, *window, unit))
            }
            _ => None,
        }
    }

    fn band(&self, to: &Point, range: &Range, unit: Unit) -> Band {
        let (more, less) = match unit {
            Unit::Value(_) => ("above", "below"),
            _ => ("after", "before"),
        };
        let words = distance([range.low, range.high], unit.name(), more, less);
        let sources = range.from.iter().map(|&index| {
            let measured = &self.published.measured[index];
            format!("{}: {} ({})", measured.about, measured.source, measured.status)
        });
        Band {
            low: range.low,
            high: range.high,
            words: format!("{words} {}", self.words.the(to)),
            unit,
            added_up: range.from.len() > 1,
            sources: sources.collect(),
        }
    }

    fn sentence(
        &self,
        rule: &Rule,
        computed: &Verdict,
        band: Option<&Band>,
        measured: Option<(bool, bool)>,
    ) -> String {
        let mut said = Vec::new();
        let unit = computed.unit.name();
        let by = amount(computed.off_by.abs(), unit);
        match computed.outcome {
            Outcome::Met if computed.off_by == 0.0 => {
                said.push("The computed cycle does what the rule says.".to_owned());
            }
            Outcome::Met => said.push(format!(
                "The computed cycle is {by} off the rule, which its tolerance allows."
            )),
            Outcome::NotMet => said.push(format!("The computed cycle differs. {}", computed.why)),
            Outcome::CannotTell => said.push(match &rule.says {
                Says::Label { .. } => "A label is judged on a drawing.".to_owned(),
                _ => format!("The computed cycle cannot say: {}", computed.why),
            }),
        }
        if let (Some(band), Some((leaves, at_edge))) = (band, measured) {
            let subject = rule.says.points().first().map_or(String::new(), |p| self.words.the(p));
            let how = if band.added_up { ", added up from several measurements" } else { "" };
            let measured = format!("measurement has {subject} {}{how}", band.words);
            said.push(match (leaves, at_edge) {
                (true, _) => format!("The rule simplifies: {measured}."),
                (false, true) => {
                    sentence(&measured) + "; the rule is at the edge of that, or just outside."
                }
                (false, false) => sentence(&measured) + ", which agrees with the rule.",
            });
        }
        said.join(" ")
    }
}

fn width(range: &Range) -> Option<f64> {
    Some(range.high? - range.low?)
}

/// How far a rule's window lies above (more than 0) or below the measured range; 0 where
/// they meet.
fn gap(window: [Option<f64>; 2], range: &Range) -> f64 {
    let [low, high] = window;
    match (low, high, range.low, range.high) {
        (Some(low), _, _, Some(most)) if low > most => low - most,
        (_, Some(high), Some(least), _) if high < least => high - least,
        _ => 0.0,
    }
}
