//! The shipped conventions: that they hold together, can be drawn at every rate, and differ
//! from the computed heart exactly where they say so.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use cardiac::{CONVENTIONS, Shipped, published};
use convention::{
    Convention, Outcome, Says, Scale, Unit, Verdict, check, check_on, compare, judge, schematic,
};
use cycle::Cycle;
use heart::Heart;

fn heart_at(rate_bpm: f64) -> Cycle {
    let mut heart = Heart::default();
    heart.parameters.rate_bpm = rate_bpm;
    heart::simulate(&heart, 1).unwrap()
}

/// The rates at which classes are shown the cycle.
fn rates() -> impl Iterator<Item = f64> {
    (50..=120).step_by(5).map(f64::from)
}

fn shipped(name: &str) -> Convention {
    Shipped::find(name).unwrap().convention()
}

fn with_outcome(verdicts: &[Verdict], outcome: Outcome) -> Vec<&str> {
    let found = verdicts.iter().filter(|verdict| verdict.outcome == outcome);
    found.map(|verdict| verdict.rule.as_str()).collect()
}

#[test]
fn every_convention_is_well_formed_and_says_what_it_simplifies() {
    for shipped in CONVENTIONS {
        let convention = shipped.convention();
        assert!(!convention.simplifies.is_empty(), "{}", shipped.name);
        for rule in &convention.rules {
            assert!(rule.text.ends_with('.') && !rule.cause.is_empty(), "{}", rule.id);
        }
    }
}

#[test]
fn every_convention_holds_together_at_every_rate() {
    let subject = heart::subject();
    for shipped in CONVENTIONS {
        let convention = shipped.convention();
        let alone = check(&convention, &subject);
        assert!(alone.consistent(), "{}: {:?}", shipped.name, alone.conflicts);
        for rate in rates() {
            let on_ecg = check_on(&convention, &subject, &heart_at(rate));
            assert!(on_ecg.consistent(), "{} at {rate}: {:?}", shipped.name, on_ecg.conflicts);
        }
    }
}

/// Whether a rule is met to the last digit: the tolerance plays no part.
fn exactly(verdict: &Verdict, model: &Cycle, convention: &Convention) -> bool {
    let grain = match &verdict.unit {
        // A landmark lies between two samples, so a height is known to a share of the trace's.
        Unit::Value(_) => {
            let rule = convention.rule(&verdict.rule).unwrap();
            let channel = match &rule.says {
                Says::Level { channel, .. } | Says::Shape { channel, .. } => channel,
                says => says.points()[0].channel.as_ref().unwrap(),
            };
            let (low, high) = model.trace(channel).unwrap().range().unwrap();
            0.002 * (high - low)
        }
        _ => 1e-5,
    };
    verdict.outcome == Outcome::Met && verdict.off_by.abs() <= grain
}

#[test]
fn the_schematic_meets_every_rule_exactly_from_50_to_120() {
    let subject = heart::subject();
    for shipped in CONVENTIONS {
        let convention = shipped.convention();
        for rate in rates() {
            for beats in [1, 2] {
                let model = schematic(&convention, &subject, &heart_at(rate), beats).unwrap();
                for verdict in judge(&model, &convention, &subject, &Scale::Measured) {
                    let met = exactly(&verdict, &model, &convention);
                    assert!(met, "{} at {rate}: {verdict:?}", shipped.name);
                    assert!(verdict.beats >= 1);
                }
            }
        }
    }
}

#[test]
fn the_schematic_leaves_the_ecg_as_it_is() {
    let subject = heart::subject();
    let base = heart_at(75.0);
    for shipped in CONVENTIONS {
        let model = schematic(&shipped.convention(), &subject, &base, 1).unwrap();
        assert!(model.trace("ecg") == base.trace("ecg"), "{}", shipped.name);
        assert_eq!(model.landmark("t_end"), base.landmark("t_end"), "{}", shipped.name);
    }
}

#[test]
fn the_two_first_courses_differ_in_where_s2_is() {
    let subject = heart::subject();
    let base = heart_at(75.0);
    let s2_after_t_end_ms = |name: &str| {
        let model = schematic(&shipped(name), &subject, &base, 1).unwrap();
        let time = |landmark: &str| model.time_of(landmark).unwrap();
        assert!((time("dicrotic_notch") - time("s2_onset")).abs() < 1e-8);
        1000.0 * (time("s2_onset") - time("t_end"))
    };
    assert!(s2_after_t_end_ms("first_course_s2_at_t_end").abs() < 1e-5);
    let within_t = s2_after_t_end_ms("first_course");
    assert!((-80.0..=-10.0).contains(&within_t), "{within_t}");
}

#[test]
fn the_resting_heart_meets_all_of_measured_physiology() {
    let subject = heart::subject();
    let verdicts =
        judge(&heart_at(75.0), &shipped("measured_physiology"), &subject, &Scale::Measured);
    let not: Vec<_> = verdicts.iter().filter(|v| v.outcome != Outcome::Met).collect();
    assert!(not.is_empty(), "{not:?}");
}

#[test]
fn classroom_rules_differ_from_the_heart_exactly_where_the_table_says() {
    let subject = heart::subject();
    let heart = heart_at(75.0);
    // What the conventions say of themselves under "simplifies": S1 later than R, the top of
    // the pressure later than the middle of T. S2 lies within the tolerance of both rules.
    for (name, differing) in [
        ("first_course", &["s1_on_r", "top_at_mid_t"][..]),
        ("first_course_s2_at_t_end", &["s1_on_r", "top_at_mid_t"]),
        ("left_heart", &[]),
        ("right_heart", &[]),
    ] {
        let convention = shipped(name);
        let verdicts = judge(&heart, &convention, &subject, &Scale::Measured);
        assert_eq!(with_outcome(&verdicts, Outcome::NotMet), differing, "{name}");
        let table = compare(&convention, &subject, &heart, &published());
        let rows = table.rows.iter().filter(|row| row.computed_differs());
        let told: Vec<&str> = rows.clone().map(|row| row.rule.as_str()).collect();
        assert_eq!(told, differing, "{name}");
        for row in rows {
            assert!(row.sentence.contains("too late"), "{}", row.sentence);
        }
        // What cannot be told is what only a drawing or another heart shows.
        for rule in with_outcome(&verdicts, Outcome::CannotTell) {
            let drawn =
                rule.starts_with("label_") || rule.starts_with("s3") || rule.starts_with("s4");
            assert!(drawn, "{name}: {rule}");
        }
    }
}

#[test]
fn a_hearts_own_disorder_shows_in_the_table() {
    let subject = heart::subject();
    let slow = heart::condition("first_degree_av_block").unwrap().heart;
    let cycle = heart::simulate(&slow, 1).unwrap();
    let table = compare(&shipped("measured_physiology"), &subject, &cycle, &published());
    let row = table.rows.iter().find(|row| row.rule == "pr").unwrap();
    assert!(row.computed_differs(), "{row:?}");
    assert!(row.computed.off_by > 0.0);
}

#[test]
fn rules_that_leave_the_measured_range_are_warned_of_with_the_figures() {
    let text = r#"
        title = "S2 at the middle of T, S1 long after S"
        simplifies = "Much."
        panels = [["ecg"], ["heart_sounds"]]
        [[rules]]
        id = "s2_on_t"
        kind = "timing"
        landmark = "s2_onset"
        with = "t_peak"
        text = "S2 is on the middle of T."
        cause = "None."
        [[rules]]
        id = "s1_late"
        kind = "timing"
        landmark = "s1_onset"
        after = "qrs_onset"
        by_ms = 120
        text = "S1 begins 120 ms after Q."
        cause = "None."
    "#;
    let subject = heart::subject();
    let convention = Convention::from_toml(text, &subject).unwrap();
    let table = compare(&convention, &subject, &heart_at(75.0), &published());
    let leaves: Vec<_> = table.rows.iter().map(|row| row.leaves_published).collect();
    assert_eq!(leaves, [Some(true), Some(true)]);
    let [s2, s1] = [0, 1].map(|index| table.rows[index].published.as_ref().unwrap());
    // 63 to 112 ms from T peak to T end (J Electrocardiol 2013) and 0 to 52 ms from there to S2
    // (Am J Cardiol 1982) add up.
    assert_eq!((s2.low, s2.high, s2.added_up), (Some(63.0), Some(164.0), true));
    assert_eq!((s1.low, s1.high, s1.added_up), (Some(50.0), Some(70.0), false));
    assert!(s1.sources[0].contains("Am J Cardiol 1975;35:346 (verified)"), "{:?}", s1.sources);
    assert!(table.rows[1].sentence.contains("50 to 70 ms after"), "{}", table.rows[1].sentence);
    // It warns, and does not stand in the way.
    assert!(schematic(&convention, &subject, &heart_at(75.0), 1).is_ok());
}

#[test]
fn a_contradiction_is_refused_with_the_exact_smallest_set() {
    let rule = |id: &str, landmark: &str, relation: &str| {
        format!(
            "[[rules]]\nid = \"{id}\"\nkind = \"timing\"\nlandmark = \"{landmark}\"\n{relation}\n\
             text = \"Rule {id}.\"\ncause = \"None.\"\n"
        )
    };
    let head = "title = \"T\"\nsimplifies = \"S\"\n\
                panels = [[\"ecg\"], [\"heart_sounds\"], [\"aortic_pressure\"]]\n";
    let text = [
        head.to_owned(),
        rule("s1", "s1_onset", "with = \"r_peak\""),
        rule("foot", "pressure_foot", "after = \"s1_onset\"\nby_ms = [20, 60]"),
        rule("s2_at_t_end", "s2_onset", "with = \"t_end\""),
        rule("notch_with_s2", "dicrotic_notch", "with = \"s2_onset\""),
        rule("notch_early", "dicrotic_notch", "before = \"t_end\"\nby_ms = [20, 60]"),
    ]
    .concat();
    let subject = heart::subject();
    let convention = Convention::from_toml(&text, &subject).unwrap();
    let found = check(&convention, &subject);
    let sets: Vec<Vec<String>> = found.conflicts.iter().map(|c| c.rules.clone()).collect();
    assert_eq!(sets.len(), 1);
    let mut set = sets[0].clone();
    set.sort();
    assert_eq!(set, ["notch_early", "notch_with_s2", "s2_at_t_end"]);
    let words = &found.conflicts[0].words;
    for rule in ["Rule notch_early", "Rule notch_with_s2", "Rule s2_at_t_end", "20 ms"] {
        assert!(words.contains(rule), "{words}");
    }
    assert!(schematic(&convention, &subject, &heart_at(75.0), 1).is_err());
}

#[test]
fn what_holds_at_one_rate_may_not_hold_at_another() {
    let text = r#"
        title = "Fixed times"
        simplifies = "Systole has the same length at every rate."
        panels = [["ecg"], ["heart_sounds"]]
        [[rules]]
        id = "s2_300_after_r"
        kind = "timing"
        landmark = "s2_onset"
        after = "r_peak"
        by_ms = 330
        text = "S2 begins 330 ms after R."
        cause = "None."
        [[rules]]
        id = "s2_at_t_end"
        kind = "timing"
        landmark = "s2_onset"
        after = "t_end"
        by_ms = [0, 30]
        text = "S2 begins up to 30 ms after T ends."
        cause = "None."
    "#;
    let subject = heart::subject();
    let convention = Convention::from_toml(text, &subject).unwrap();
    assert!(check(&convention, &subject).consistent());
    let holds: Vec<f64> = rates()
        .filter(|&rate| check_on(&convention, &subject, &heart_at(rate)).consistent())
        .collect();
    // QT = 521 - 2·rate and R 40 ms after its onset: R to T end is 331 ms at 75, 301 at 90.
    let expected: Vec<f64> =
        rates().filter(|rate| (300.0..=330.0).contains(&(481.0 - 2.0 * rate))).collect();
    assert_eq!(holds, expected);
}

#[test]
fn published_ranges_do_not_contradict_one_another() {
    // Were they to, none could be added up: the row below would have no published range.
    let convention = shipped("first_course");
    for rate in rates() {
        let table = compare(&convention, &heart::subject(), &heart_at(rate), &published());
        let row = table.rows.iter().find(|row| row.rule == "s1_on_r").unwrap();
        assert!(row.published.as_ref().is_some_and(|band| band.added_up), "at {rate}");
    }
}

#[test]
fn a_convention_is_written_in_either_way() {
    let spelling = heart::subject().spelling("EKG").unwrap();
    for shipped in CONVENTIONS {
        let usual = shipped.convention();
        let spelled = usual.clone().spelled(&spelling);
        let [before, after] = [&usual, &spelled].map(|one| format!("{one:?}"));
        assert!(!after.contains("ECG"), "{}", shipped.name);
        assert_eq!(after, before.replace("ECG", "EKG"), "{}", shipped.name);
    }
    let first = CONVENTIONS[0].convention().spelled(&spelling);
    assert!(first.title.contains("EKG") && first.rules[0].text.contains("EKG"));
}
