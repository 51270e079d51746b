//! A table of the rules for a person who marks by hand.

use convention::{Cap, Convention, Outcome, Rule, Says, Verdict};
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
    let total = test.convention.worth(rules.iter().copied());
    flow.put(vec![
        flow.paragraph(&format!("{settings} Total: {} points.", short(total))),
        flow.paragraph(
            "Measure from the student's own landmarks: what is aligned to a misplaced wave is right if it \
             is aligned to it. Check the 100 mm rules of the sheet first, and correct if a copier has \
             changed them.",
        ),
    ]);
    let missing = test.convention.reference_missing.words().unwrap_or_default();
    let notes = [&together(&test.convention, &rules), missing];
    let notes: Vec<&str> = notes.into_iter().filter(|note| !note.is_empty()).collect();
    if !notes.is_empty() {
        flow.put(vec![flow.paragraph(&notes.join(" "))]);
    }
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
            format!("{}{}{broken}", rule.text, depends(rule, &rules)),
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

/// Such as " Only if 3 is met."; empty where a rule depends on none that is asked for.
fn depends(rule: &Rule, rules: &[&Rule]) -> String {
    let needed = (1..).zip(rules).filter(|(_, other)| rule.depends_on.contains(&other.id));
    // Where half of what is needed can be earned, that is enough.
    let half = needed.clone().any(|(_, other): (usize, _)| other.tolerance.half_mm.is_some());
    let half = if half { ", or half of it" } else { "" };
    let numbers: Vec<String> = needed.map(|(number, _)| number.to_string()).collect();
    match numbers.len() {
        0 => String::new(),
        1 => format!(" Only if {} is met{half}.", numbers[0]),
        _ => format!(" Only if {} are met{half}.", listed(&numbers)),
    }
}

/// What rules that share a cap earn together at most; a cap that those asked for do not reach is
/// left out.
fn together(convention: &Convention, rules: &[&Rule]) -> String {
    let one = |cap: &Cap| {
        let own = (1..).zip(rules).filter(|(_, rule)| rule.cap.as_ref() == Some(&cap.name));
        let worth: f64 = own.clone().map(|(_, rule): (usize, _)| rule.points).sum();
        let numbers: Vec<String> = own.map(|(number, _)| number.to_string()).collect();
        let unit = if cap.points == 1.0 { "point" } else { "points" };
        let most = short(cap.points);
        (worth > cap.points)
            .then(|| format!("Rules {} together earn at most {most} {unit}.", listed(&numbers)))
    };
    convention.caps.iter().filter_map(one).collect::<Vec<_>>().join(" ")
}

/// Such as "2, 3 and 5".
fn listed(numbers: &[String]) -> String {
    match numbers {
        [others @ .., last] if !others.is_empty() => format!("{} and {last}", others.join(", ")),
        _ => numbers.concat(),
    }
}
