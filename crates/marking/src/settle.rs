//! What rules earn once what they depend on and the caps that they share are taken in.

use serde::{Deserialize, Serialize};

use crate::{Marks, Outcome, RuleMark, Ruling};

/// A cap that a rule shares.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SharedCap {
    /// Its name.
    pub name: String,
    /// What the rules that share it earn together at most.
    pub points: f64,
}

/// What a rule does not earn because of other rules.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Withheld {
    /// How many of its points; of what it is worth, where it is still open itself.
    pub points: f64,
    /// Why.
    pub by: WithheldBy,
}

/// Why a rule does not earn all that it could.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WithheldBy {
    /// This rule, on which it depends, is not met.
    NotMet(String),
    /// It is still open whether this rule, on which it depends, is met.
    Open(String),
    /// The rules that share its cap earn that already.
    Cap,
}

impl RuleMark {
    /// What it earns, other rules taken in; none while that is open.
    pub fn earned(&self) -> Option<f64> {
        match &self.withheld {
            Some(Withheld { by: WithheldBy::Open(_), .. }) => None,
            Some(withheld) => Some(self.points.unwrap_or(self.max_points) - withheld.points),
            None => self.points,
        }
    }

    /// Whether a person is to say what to make of it: not where it earns nothing whatever is said.
    pub fn is_open(&self) -> bool {
        self.outcome == Outcome::Review && self.earned() != Some(0.0)
    }

    /// What it may still earn, before caps.
    fn may_earn(&self) -> f64 {
        match (&self.withheld, self.points) {
            (_, None) if self.is_open() => self.max_points,
            (Some(Withheld { points, by: WithheldBy::Open(_) }), _) => *points,
            _ => 0.0,
        }
    }

    /// Whether what depends on it earns nothing, and whether that is still open.
    fn fails(&self) -> [bool; 2] {
        let by = self.withheld.as_ref().map(|withheld| &withheld.by);
        // Half of it is enough.
        let little = self.points.is_some_and(|points| 2.0 * points < self.max_points);
        let lost = self.outcome == Outcome::NotMet && (little || self.max_points == 0.0);
        let open = self.outcome == Outcome::Review;
        [
            lost || matches!(by, Some(WithheldBy::NotMet(_))),
            open || matches!(by, Some(WithheldBy::Open(_))),
        ]
    }

    /// Whether a person said how many points it earns, or that it does not count, whatever it
    /// depends on.
    fn is_given(&self) -> bool {
        matches!(self.decided, Some(Ruling::Points { .. } | Ruling::Waived))
    }
}

impl Marks {
    /// Takes in on which rules others depend, and which caps they share. Rules depend on those
    /// before them, and those before earn a shared cap first.
    pub(crate) fn settle(&mut self) {
        for n in 0..self.rules.len() {
            let (before, rest) = self.rules.split_at_mut(n);
            let Some(rule) = rest.first_mut() else { break };
            rule.withheld = None;
            rule.withheld = on_others(rule, before).or_else(|| over_cap(rule, before));
        }
        // What the others have reached already, what is open cannot earn.
        for n in 0..self.rules.len() {
            let rule = &self.rules[n];
            let Some(cap) = rule.cap.as_ref().filter(|_| rule.is_open()) else { continue };
            let sharing = self.rules.iter().filter(|other| other.cap.as_ref() == Some(cap));
            if sharing.filter_map(RuleMark::earned).sum::<f64>() >= cap.points {
                let points = rule.max_points;
                self.rules[n].withheld = Some(Withheld { points, by: WithheldBy::Cap });
            }
        }
    }

    /// Points earned so far; what is for a person to say counts when it is said.
    pub fn points(&self) -> f64 {
        self.rules.iter().filter_map(RuleMark::earned).sum()
    }

    /// What all of it is worth.
    pub fn max_points(&self) -> f64 {
        self.capped(|rule| rule.max_points, |_| 0.0)
    }

    /// What may still be earned by what is for a person to say.
    pub fn open_points(&self) -> f64 {
        self.capped(RuleMark::may_earn, |rule| rule.earned().unwrap_or(0.0))
    }

    /// Share of the points earned of those that are settled; none where nothing is.
    pub fn share(&self) -> Option<f64> {
        let settled = |rule: &RuleMark| rule.earned().map_or(0.0, |_| rule.max_points);
        let most = self.capped(settled, |_| 0.0);
        (most > 0.0).then(|| self.points() / most)
    }

    /// The sum of something over all rules, no more than is left of each cap by what was `earned`.
    fn capped(&self, value: impl Fn(&RuleMark) -> f64, earned: impl Fn(&RuleMark) -> f64) -> f64 {
        let sum = |cap: Option<&SharedCap>, value: &dyn Fn(&RuleMark) -> f64| {
            let own = self.rules.iter().filter(|rule| rule.cap.as_ref() == cap);
            own.fold(0.0, |sum, rule| sum + value(rule))
        };
        let mut caps: Vec<&SharedCap> = Vec::new();
        for cap in self.rules.iter().filter_map(|rule| rule.cap.as_ref()) {
            if !caps.contains(&cap) {
                caps.push(cap);
            }
        }
        let left = |cap: &SharedCap| (cap.points - sum(Some(cap), &earned)).max(0.0);
        let shared = caps.into_iter().map(|cap| sum(Some(cap), &value).min(left(cap)));
        sum(None, &value) + shared.fold(0.0, |all, points| all + points)
    }
}

/// What a rule does not earn because of those on which it depends. One that is not asked for on
/// this sheet cannot be missed.
fn on_others(rule: &RuleMark, before: &[RuleMark]) -> Option<Withheld> {
    if rule.is_given() {
        return None;
    }
    let needed = || before.iter().filter(|other| rule.depends_on.contains(&other.id));
    let lost = needed().find(|other| other.fails()[0]).map(|other| other.id.clone());
    let open = || needed().find(|other| other.fails()[1]).map(|other| other.id.clone());
    let by = lost.map(WithheldBy::NotMet).or_else(|| open().map(WithheldBy::Open))?;
    let points = rule.points.unwrap_or(rule.max_points);
    (points > 0.0).then_some(Withheld { points, by })
}

/// What a rule does not earn since the cap that it shares is reached.
fn over_cap(rule: &RuleMark, before: &[RuleMark]) -> Option<Withheld> {
    let cap = rule.cap.as_ref()?;
    let sharing = before.iter().filter(|other| other.cap.as_ref() == Some(cap));
    let earned: f64 = sharing.filter_map(RuleMark::earned).sum();
    let points = rule.points? - (cap.points - earned).max(0.0);
    (points > 0.0).then_some(Withheld { points, by: WithheldBy::Cap })
}

#[cfg(test)]
#[path = "settle_tests.rs"]
mod tests;
