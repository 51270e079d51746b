//! What was made of each rule, in words and in places, for whoever shows it on a screen.

use convention::{Point, Rule};
use serde::Serialize;

use crate::Rubric;
use crate::drawn::DrawnSheet;
use crate::locate::Located;
use crate::marks::{Marks, Outcome, RuleMark};
use crate::said::{Names, missed, way};
use crate::sites::Sites;

/// What is told of one rule, and where it was looked at.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Finding {
    /// What was drawn and where it belongs, in a sentence or two; empty where nothing is wrong.
    pub told: String,
    /// Such as "too late"; empty where nothing is wrong.
    pub way: &'static str,
    /// The page that shows it, from 1.
    pub page: Option<u8>,
    /// Where the thing is; or where it would be, if it was not drawn.
    pub at_mm: Option<[f64; 2]>,
    /// Whether it was drawn.
    pub drawn: bool,
    /// What it is aligned to.
    pub to_mm: Option<[f64; 2]>,
    /// Where the rule has it, if that is elsewhere.
    pub target_mm: Option<[f64; 2]>,
}

/// One finding for each rule of `marks`, in their order.
pub fn findings(
    drawn: &DrawnSheet,
    located: &Located,
    marks: &Marks,
    rubric: &Rubric<'_>,
) -> Vec<Finding> {
    let sites = Sites::new(drawn, located, rubric);
    let one = |mark: &RuleMark| {
        let Some(rule) = rubric.convention.rule(&mark.id) else { return Finding::default() };
        finding(rule, mark, located, rubric, &sites)
    };
    marks.rules.iter().map(one).collect()
}

fn finding(
    rule: &Rule,
    mark: &RuleMark,
    located: &Located,
    rubric: &Rubric<'_>,
    sites: &Sites<'_>,
) -> Finding {
    let wrong = mark.outcome != Outcome::Met && (mark.measured_mm.is_none() || mark.off_mm != 0.0);
    let names = Names::of(rubric);
    let mut finding = Finding {
        told: if wrong { missed(rule, mark, located, names) } else { String::new() },
        way: if mark.off_mm == 0.0 { "" } else { way(&rule.says, mark.off_mm) },
        ..Finding::default()
    };
    if let Some(site) = sites.of(rule, mark) {
        finding.page = Some(site.spot.page);
        finding.at_mm = Some(site.spot.at_mm);
        finding.drawn = site.drawn;
        finding.to_mm = site.to.map(|spot| spot.at_mm);
        finding.target_mm = site.target_mm;
    }
    finding
}

impl Rubric<'_> {
    /// What a point is called at the beginning of a line, such as "Dicrotic notch".
    pub fn title(&self, point: &Point) -> String {
        Names::of(self).title(point)
    }

    /// What a point is called within a sentence, such as "the dicrotic notch".
    pub fn noun(&self, point: &Point) -> String {
        Names::of(self).the(point)
    }
}
