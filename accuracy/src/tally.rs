//! Counting what is right on one drawing, and on many.

use std::collections::BTreeMap;

use convention::Outcome as True;
use marking::{Located, MET_BY_MM, MISSED_BY_MM, Mark, Marks, Outcome, RuleMark};

use crate::drawings::{KINDS, One, TESTS};

/// What was measured.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tally {
    /// Of one drawing: how it was captured, and of which test it is.
    pub(crate) kind: usize,
    pub(crate) test: usize,
    pub(crate) drawings: usize,
    /// Why pages were lost.
    pub(crate) lost: Vec<String>,
    /// Drawings taken for another sheet.
    pub(crate) mistaken: usize,
    /// Distances of landmarks from the truth along the time axis, in millimetres.
    pub(crate) off_mm: Vec<f64>,
    pub(crate) by_name: BTreeMap<String, Vec<f64>>,
    /// Landmarks that were drawn, and those of them that were not found.
    pub(crate) landmarks: usize,
    pub(crate) missed: usize,
    /// Verdicts given without a person, and those of them that are wrong.
    pub(crate) right: usize,
    pub(crate) wrong: Vec<String>,
    /// Points that a wrong verdict took away.
    pub(crate) wrong_zeros: usize,
    /// Verdicts left to a person, by their reason.
    pub(crate) review: BTreeMap<&'static str, Left>,
    /// Verdicts that in truth lie so near to their tolerance that they are for a person however
    /// well they are read.
    pub(crate) near: usize,
    /// Labels, which are always for a person.
    pub(crate) labels: usize,
}

/// Verdicts left to a person, those for which one was proposed, and those for which the right one
/// was.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Left {
    pub(crate) count: usize,
    pub(crate) proposed: usize,
    pub(crate) right: usize,
}

/// A verdict that is this sure and still left to a person is so near its tolerance.
const SURE: f64 = 0.9;

impl Tally {
    pub(crate) fn of(one: &One, show: bool) -> Self {
        let mut tally = Self { kind: one.kind, test: one.test, drawings: 1, ..Self::default() };
        tally.mistaken = usize::from(one.mistaken);
        match &one.made {
            Err(why) => tally.lost.push(format!("drawing {}: {why}", one.number)),
            Ok((located, marks)) => {
                tally.find(one, located, show);
                tally.judge(one, marks, show);
            }
        }
        tally
    }

    fn find(&mut self, one: &One, located: &Located, show: bool) {
        for trace in one.truth.pages.iter().flat_map(|page| &page.traces) {
            for mark in &trace.landmarks {
                let off = |found: &Mark| found.at_mm[0] - mark.at_mm[0];
                let same = trace.landmarks.iter().filter(|other| other.name == mark.name);
                // What was found of another beat is not this one.
                let own = |found: &&Mark| {
                    found.name == mark.name
                        && found.channel.as_ref() == Some(&trace.channel)
                        && same.clone().all(|other| {
                            off(found).abs() <= (found.at_mm[0] - other.at_mm[0]).abs()
                        })
                };
                let near = located.marks.iter().filter(own);
                let near = near.min_by(|a, b| off(a).abs().total_cmp(&off(b).abs()));
                self.landmarks += 1;
                let Some(near) = near else {
                    self.missed += 1;
                    continue;
                };
                if show {
                    println!(
                        "drawing {}, {}: {} {} {:.2} mm off, confidence {:.2}, spread {:.2} mm",
                        one.number,
                        KINDS[one.kind],
                        trace.channel,
                        mark.name,
                        off(near),
                        near.confidence,
                        near.spread_mm
                    );
                }
                self.off_mm.push(off(near).abs());
                let name = format!("{} `{}`", trace.channel, mark.name);
                self.by_name.entry(name).or_default().push(off(near).abs());
            }
        }
    }

    fn judge(&mut self, one: &One, marks: &Marks, show: bool) {
        for rule in &marks.rules {
            if one.labels.contains(&rule.id) {
                self.labels += 1;
                continue;
            }
            let Some(truth) = one.truth.verdicts.iter().find(|truth| truth.rule == rule.id) else {
                continue;
            };
            if show {
                println!("{}", told(one, rule, truth));
            }
            let from_tolerance = (truth.off_by.abs() - truth.tolerance).abs();
            let measured = truth.measured.is_some() && truth.outcome != True::CannotTell;
            let least = if truth.outcome == True::Met { MET_BY_MM } else { MISSED_BY_MM };
            self.near += usize::from(measured && from_tolerance < least);
            let right = match rule.outcome {
                Outcome::Review => {
                    let left = self.review.entry(reason(rule)).or_default();
                    left.count += 1;
                    left.proposed += usize::from(rule.proposal.is_some());
                    let met = truth.outcome == True::Met;
                    left.right += usize::from(match rule.proposal {
                        Some(Outcome::Met) => met,
                        Some(Outcome::NotMet) => !met,
                        _ => false,
                    });
                    continue;
                }
                // What a rule measures by was not drawn.
                _ if rule.uncounted.is_some() => truth.outcome == True::CannotTell,
                Outcome::Met => truth.outcome == True::Met,
                // What was not drawn earns nothing, whether or not it can be measured.
                Outcome::NotMet => truth.outcome != True::Met,
            };
            if right {
                self.right += 1;
                continue;
            }
            let nothing = rule.outcome == Outcome::NotMet || rule.uncounted.is_some();
            self.wrong_zeros += usize::from(nothing && truth.outcome == True::Met);
            self.wrong.push(format!(
                "drawing {} ({}, {}): `{}` {}; in truth: {}",
                one.number, KINDS[one.kind], TESTS[one.test].title, rule.id, rule.why, truth.why
            ));
        }
    }

    /// Verdicts left to a person.
    pub(crate) fn left(&self) -> usize {
        self.review.values().map(|left| left.count).sum()
    }

    /// What was measured on all of `tallies`.
    pub(crate) fn joined<'a>(tallies: impl IntoIterator<Item = &'a Self>) -> Self {
        let mut all = Self::default();
        for tally in tallies {
            all.drawings += tally.drawings;
            all.lost.extend(tally.lost.iter().cloned());
            all.mistaken += tally.mistaken;
            all.off_mm.extend(&tally.off_mm);
            for (name, off) in &tally.by_name {
                all.by_name.entry(name.clone()).or_default().extend(off);
            }
            all.landmarks += tally.landmarks;
            all.missed += tally.missed;
            all.right += tally.right;
            all.wrong.extend(tally.wrong.iter().cloned());
            all.wrong_zeros += tally.wrong_zeros;
            for (reason, left) in &tally.review {
                let sum = all.review.entry(reason).or_default();
                sum.count += left.count;
                sum.proposed += left.proposed;
                sum.right += left.right;
            }
            all.near += tally.near;
            all.labels += tally.labels;
        }
        all
    }
}

/// Why a verdict was left to a person.
fn reason(rule: &RuleMark) -> &'static str {
    match (rule.proposal, rule.measured_mm) {
        (None, _) => "what it is about was not found",
        (Some(_), None) => "what it is about seems not to be drawn",
        (Some(_), Some(_)) if rule.confidence < SURE => "a landmark could be elsewhere",
        _ => "near the tolerance",
    }
}

/// What was made of a rule, beside the truth.
fn told(one: &One, rule: &RuleMark, truth: &convention::Verdict) -> String {
    format!(
        "drawing {}, {}: {} is {:?} (proposed {:?}, {}; confidence {:.2}, {:?} mm, off {:.2}, \
         tolerance {:.2}); in truth {:?}, {:?} mm, off {:.2}",
        one.number,
        KINDS[one.kind],
        rule.id,
        rule.outcome,
        rule.proposal,
        reason(rule),
        rule.confidence,
        rule.measured_mm,
        rule.off_mm,
        rule.tolerance_mm,
        truth.outcome,
        truth.measured,
        truth.off_by
    )
}
