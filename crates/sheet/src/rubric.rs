//! A table of the rules for a person who marks by hand.

use convention::{Outcome, Rule, Says, Verdict};
use figure::Page;

use crate::definition::{Orientation, Test};
use crate::flow::{Column, Flow};
use crate::print::short;

/// The columns' heads, and their shares of the width in usual and in large print.
const COLUMNS: [(&str, f64, f64); 5] = [
    ("No.", 10.0, 15.0),
    ("Rule", 66.0, 55.0),
    ("Where it is", 60.0, 50.0),
    ("Accept", 22.0, 32.0),
    ("Points", 16.0, 28.0),
];

/// The rubric's pages; `verdicts` are the rules as the form's key shows them, in millimetres.
pub(crate) fn pages(test: &Test, title: &str, settings: &str, verdicts: &[Verdict]) -> Vec<Page> {
    let size_mm = test.paper.size_mm(Orientation::Portrait);
    let mut flow = Flow::new(size_mm, test.sizes(), title);
    let rules: Vec<&Rule> =
        verdicts.iter().filter_map(|verdict| test.convention.rule(&verdict.rule)).collect();
    let total = rules.iter().fold(0.0, |total, rule| total + rule.points);
    flow.put(vec![
        flow.paragraph(&format!("{settings} Total: {} points.", short(total))),
        flow.paragraph(
            "Measure from the student's own landmarks: what is aligned to a misplaced wave is right if it \
             is aligned to it. Check the 100 mm rules of the sheet first, and correct if a copier has \
             changed them.",
        ),
    ]);
    let rows = rules.iter().zip(verdicts).enumerate().map(|(index, (rule, verdict))| {
        let accept = match (&rule.says, verdict.outcome) {
            (Says::Presence { .. }, _) => "present".to_owned(),
            (Says::Label { .. }, _) => format!("± {} mm", short(rule.tolerance.mm)),
            (_, Outcome::CannotTell) => "by eye".to_owned(),
            _ => {
                let half = rule.tolerance.half_mm;
                let half = half.map(|half| format!("; half: ± {} mm", short(half)));
                format!("± {} mm{}", short(verdict.tolerance), half.unwrap_or_default())
            }
        };
        let broken = if verdict.outcome == Outcome::NotMet {
            " The heart of this form does not keep to it; the key has no bracket for it."
        } else {
            ""
        };
        vec![
            (index + 1).to_string(),
            format!("{}{broken}", rule.text),
            verdict.asks.clone(),
            accept,
            short(rule.points),
        ]
    });
    let columns = COLUMNS.map(|(head, usual, large)| Column {
        head,
        share: if test.large_print { large } else { usual },
    });
    flow.table(&columns, &rows.collect::<Vec<_>>());
    flow.finish()
}
