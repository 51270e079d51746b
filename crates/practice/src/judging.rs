//! A drawing held to the rules.

use convention::{Outcome, Point, Rule, Says};
use marking::{FAR_MM, Finding, Located, MISSED_BY_MM, Rubric, RuleMark, findings, locate, mark};
use serde::Serialize;

use crate::hints::{Hinter, Hints};
use crate::strokes::Drawing;
use crate::{Practice, PracticeError, words};

/// What is made of a drawing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// The rules that were asked for, in the convention's order.
    pub rules: Vec<RuleVerdict>,
    /// Points earned.
    pub points: f64,
    /// What all of it is worth.
    pub max_points: f64,
    /// How many rules are met, in a sentence.
    pub told: String,
    /// Whether all are.
    pub all_met: bool,
    /// What was found on the drawing.
    pub found: Vec<Found>,
}

/// What is made of one rule.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RuleVerdict {
    /// The rule.
    pub id: String,
    /// What the student reads.
    pub text: String,
    /// What is made of it.
    pub outcome: Outcome,
    /// What was drawn and where it belongs, or why it cannot be told; empty where it is met.
    pub told: String,
    /// Which way it is off, such as "too late"; empty where it is not.
    pub way: &'static str,
    /// How far outside of what the rule asks for it is, later and higher being more.
    pub off_mm: f64,
    /// The same in milliseconds, where the rule is about time.
    pub off_ms: Option<f64>,
    /// How far outside is accepted.
    pub tolerance_mm: f64,
    /// What it earned.
    pub points: f64,
    /// What it is worth.
    pub max_points: f64,
    /// Where the thing is; none where it was not drawn, for where it belongs is for a hint to tell.
    pub at_mm: Option<[f64; 2]>,
    /// What it is aligned to.
    pub to_mm: Option<[f64; 2]>,
    /// Where the rule has it, if that is elsewhere.
    pub target_mm: Option<[f64; 2]>,
    /// The hints, from the least to the most telling.
    pub hints: Hints,
}

/// A landmark or event that was found on the drawing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Found {
    /// Its identifier.
    pub name: String,
    /// The channel; none for an event.
    pub channel: Option<String>,
    /// What it is called.
    pub title: String,
    /// Where it is on the page.
    pub at_mm: [f64; 2],
    /// How sure that is, 0 … 1.
    pub sure: f64,
}

impl Practice {
    /// Judges a drawing as if it were on paper, but for what a person would be asked.
    ///
    /// # Errors
    /// [`PracticeError::TooMuch`] where there is more ink than a student can draw.
    pub fn judge(&self, drawing: &Drawing) -> Result<Verdict, PracticeError> {
        let rubric = self.rubric();
        let sheet = self.sheet(drawing)?;
        let located = locate(&sheet, &rubric);
        let marks = mark(&sheet, &located, &rubric);
        let all = findings(&sheet, &located, &marks, &rubric);
        let hinter = Hinter::new(self, &sheet, &located);
        let judge = Judge { rubric: &rubric, located: &located, hinter, practice: self };
        let rules = marks.rules.iter().zip(all).filter_map(|(mark, finding)| {
            let rule = rubric.convention.rule(&mark.id)?;
            Some(judge.rule(rule, mark, finding))
        });
        let rules: Vec<RuleVerdict> = rules.collect();
        let count = |outcome| rules.iter().filter(|rule| rule.outcome == outcome).count();
        let met = count(Outcome::Met);
        let found = located.marks.iter().map(|mark| Found {
            name: mark.name.clone(),
            channel: mark.channel.clone(),
            title: rubric.title(&mark.point()),
            at_mm: mark.at_mm,
            sure: mark.confidence,
        });
        Ok(Verdict {
            points: marks.points(),
            max_points: marks.max_points(),
            told: words::total(met, rules.len(), count(Outcome::CannotTell)),
            all_met: met == rules.len(),
            found: found.collect(),
            rules,
        })
    }
}

struct Judge<'a> {
    rubric: &'a Rubric<'a>,
    located: &'a Located,
    hinter: Hinter<'a>,
    practice: &'a Practice,
}

impl Judge<'_> {
    fn rule(&self, rule: &Rule, mark: &RuleMark, finding: Finding) -> RuleVerdict {
        let outcome = match mark.outcome {
            marking::Outcome::Met => Outcome::Met,
            marking::Outcome::NotMet => Outcome::NotMet,
            marking::Outcome::Review => Outcome::CannotTell,
        };
        let told = match outcome {
            Outcome::Met => String::new(),
            Outcome::NotMet => finding.told,
            Outcome::CannotTell => self.doubt(rule, mark),
        };
        let timed = matches!(rule.says, Says::Timing { .. });
        RuleVerdict {
            id: rule.id.clone(),
            text: words::full_stop(&rule.text),
            outcome,
            told,
            way: if outcome == Outcome::NotMet { finding.way } else { "" },
            off_mm: mark.off_mm,
            off_ms: timed.then(|| mark.off_mm / self.rubric.mm_per_s * 1000.0),
            tolerance_mm: mark.tolerance_mm,
            points: mark.earned().unwrap_or(0.0),
            max_points: mark.max_points,
            at_mm: finding.at_mm.filter(|_| finding.drawn),
            to_mm: finding.to_mm,
            target_mm: finding.target_mm.filter(|_| outcome == Outcome::NotMet),
            hints: self.hinter.of(rule, mark.tolerance_mm),
        }
    }

    /// Why it cannot be told whether a rule is met, and what to draw again.
    fn doubt(&self, rule: &Rule, mark: &RuleMark) -> String {
        if let Some(place) = self.empty_place(rule) {
            return words::nothing_drawn(&place);
        }
        let off = mark.off_mm.abs();
        let met = mark.proposal == Some(marking::Outcome::Met);
        match mark.measured_mm {
            None if !met => words::not_found(&mark.why),
            Some(_) if off > FAR_MM.max(mark.tolerance_mm) => words::too_far(off),
            Some(_) if (off - mark.tolerance_mm).abs() < MISSED_BY_MM => {
                words::too_close(off, mark.tolerance_mm)
            }
            _ => {
                let points = rule.says.points().into_iter();
                let open = points.filter(|point| !self.rubric.is_given(point));
                words::not_plain(&open.map(|point| self.rubric.noun(point)).collect::<Vec<_>>())
            }
        }
    }

    /// What a rule's empty panel or row is called, if it has one.
    fn empty_place(&self, rule: &Rule) -> Option<String> {
        let channel = match &rule.says {
            Says::Level { channel, .. } | Says::Shape { channel, .. } => Some(channel),
            _ => None,
        };
        let place = |point: &Point| match &point.channel {
            Some(channel) => Some(channel.clone()),
            None => self.rubric.row_of(&point.name).map(|on| on.place.bar.clone()),
        };
        let places = rule.says.points().into_iter().filter_map(place);
        let mut places = places.chain(channel.cloned());
        let empty = places.find(|place| self.located.empty.contains(place))?;
        let bar = self.rubric.subject.bar(&empty).map(|bar| bar.title.to_lowercase());
        Some(bar.unwrap_or_else(|| self.practice.noun_of_channel(&empty)))
    }
}
