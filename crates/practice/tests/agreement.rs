//! What keeps to the rules is judged to, at every level and for many hearts; what does not is not.

use practice::{Definition, Drawing, Level, Outcome, Practice, Verdict};

/// A test by a shipped convention.
fn definition(convention: &str, more: &str) -> Definition {
    let test = format!("title = \"A test\"\nconvention = \"{convention}\"\n{more}");
    Definition { test, ..Definition::default() }
}

fn wrong(verdict: &Verdict) -> Vec<String> {
    let rules = verdict.rules.iter().filter(|rule| rule.outcome != Outcome::Met);
    rules
        .map(|rule| format!("{} {:?}: {} {}", rule.id, rule.outcome, rule.told, rule.off_mm))
        .collect()
}

const CONVENTIONS: [&str; 3] = ["first_course", "left_heart", "right_heart"];

#[test]
fn the_models_own_traces_meet_every_rule() {
    let mut judged = 0;
    let mut failed = Vec::new();
    for seed in 0..60u64 {
        let convention = CONVENTIONS[seed as usize % CONVENTIONS.len()];
        let level = Level::ALL[(seed as usize / CONVENTIONS.len()) % 4];
        let practice = Practice::new(&definition(convention, ""), level, seed).unwrap();
        let verdict = practice.judge(&practice.key()).unwrap();
        assert!(!verdict.rules.is_empty());
        judged += verdict.rules.len();
        failed.extend(
            wrong(&verdict).into_iter().map(|what| format!("{convention} {level:?} {seed} {what}")),
        );
    }
    assert!(judged > 300, "{judged}");
    assert!(failed.is_empty(), "{} of {judged}:\n{}", failed.len(), failed.join("\n"));
}

#[test]
fn points_where_the_key_has_them_meet_every_rule() {
    let mut failed = Vec::new();
    for seed in 0..24u64 {
        let convention = CONVENTIONS[seed as usize % CONVENTIONS.len()];
        let level = Level::ALL[(seed as usize / CONVENTIONS.len()) % 4];
        let practice = Practice::new(&definition(convention, ""), level, seed).unwrap();
        let drawing = practice.through(&practice.key_points());
        let verdict = practice.judge(&drawing).unwrap();
        failed.extend(
            wrong(&verdict).into_iter().map(|what| format!("{convention} {level:?} {seed} {what}")),
        );
    }
    assert!(failed.is_empty(), "{}:\n{}", failed.len(), failed.join("\n"));
}

/// On a screen a bar ends where it was drawn to: what is far off is told, even on a page with a single
/// beat, and not left in doubt as it is on paper.
#[test]
fn a_bar_that_begins_late_is_told_by_how_much() {
    let definition = definition("left_heart", "beats = 1\n");
    let practice = Practice::new(&definition, Level::Given, 3).unwrap();
    let mut drawing = practice.key();
    for bar in drawing.bars.get_mut("aortic").unwrap() {
        bar[0] += 7.0;
    }
    let verdict = practice.judge(&drawing).unwrap();
    for (id, least) in [("aortic_opens", 4.0), ("foot_with_opening", 6.9)] {
        let rule = verdict.rules.iter().find(|rule| rule.id == id).unwrap();
        assert_eq!(rule.outcome, Outcome::NotMet, "{id}: {}", rule.told);
        assert!((least..7.2).contains(&rule.off_mm.abs()), "{id}: {}", rule.off_mm);
    }
}

#[test]
fn an_empty_page_is_never_met_and_says_that_nothing_is_drawn() {
    let practice = Practice::new(&definition("first_course", ""), Level::Given, 3).unwrap();
    let verdict = practice.judge(&Drawing::default()).unwrap();
    assert_eq!(verdict.points, 0.0);
    for rule in &verdict.rules {
        assert_eq!(rule.outcome, Outcome::CannotTell, "{}", rule.id);
        assert!(rule.told.contains("Nothing is drawn"), "{}", rule.told);
        // Nothing shows where it would have to be drawn.
        assert!(rule.at_mm.is_none() && rule.target_mm.is_none(), "{}", rule.id);
    }
}
