//! Words for direction and size.

use super::*;
use crate::settle::{SharedCap, Withheld};

fn rule<'a>(convention: &'a Convention, id: &str) -> &'a Rule {
    convention.rule(id).unwrap()
}

fn mark(measured_mm: f64, window_mm: [Option<f64>; 2], off_mm: f64) -> RuleMark {
    RuleMark {
        measured_mm: Some(measured_mm),
        window_mm,
        off_mm,
        why: "Something else.".to_owned(),
        ..RuleMark::earning("", Some(0.0), 2.0)
    }
}

fn told(id: &str, mark: &RuleMark) -> String {
    let subject = heart::subject();
    let convention = cardiac::Shipped::find("first_course").unwrap().convention();
    let names = Names { subject: &subject, convention: &convention };
    missed(rule(&convention, id), mark, &Located::default(), names)
}

#[test]
fn times_are_told_with_the_way_to_go() {
    let same = [Some(0.0), Some(0.0)];
    assert_eq!(
        told("notch_with_s2", &mark(3.2, same, 3.2)),
        "You drew the dicrotic notch 3.2 mm after the onset of the second heart sound; \
         it belongs on the same line: 3.2 mm further left."
    );
    assert_eq!(
        told("notch_with_s2", &mark(-4.0, same, -4.0)),
        "You drew the dicrotic notch 4 mm before the onset of the second heart sound; \
         it belongs on the same line: 4 mm further right."
    );
    assert_eq!(
        told("rise_after_s1", &mark(0.02, [Some(2.0), Some(6.0)], -1.98)),
        "You drew the foot of the pressure rise on the line of the onset of the first heart sound; \
         it belongs 2 to 6 mm after it: 2 mm further right."
    );
    assert_eq!(
        told("s2_in_t", &mark(12.3, [Some(0.0), Some(9.0)], 3.3)),
        "You drew the onset of the second heart sound 12 mm after the peak of the T wave; it \
         belongs between that and the end of the T wave: 3.3 mm further left."
    );
}

#[test]
fn heights_levels_and_shapes_are_told_with_the_way_to_go() {
    assert_eq!(
        told("notch_height", &mark(2.0, [Some(8.0), Some(18.0)], -6.0)),
        "You drew the dicrotic notch 2 mm above the foot of the pressure rise; it \
         belongs 8 to 18 mm above the foot of the pressure rise: 6 mm higher."
    );
    assert_eq!(
        told("ecg_baseline", &mark(2.5, [Some(0.0), Some(0.0)], 2.5)),
        "At the end of the T wave your ECG is 2.5 mm above its baseline; it belongs on it: 2.5 mm \
         lower."
    );
    let mut steep = mark(20.0, [None, None], -3.0);
    assert_eq!(
        told("steep_rise", &steep),
        "From the foot of the pressure rise to the systolic peak your aortic pressure should rise \
         all the way; yours falls back by 3 mm."
    );
    steep.measured_mm = Some(1.5);
    assert!(told("steep_rise", &steep).ends_with("should rise; yours does so by only 1.5 mm."));
    steep.measured_mm = Some(-3.0);
    assert!(told("steep_rise", &steep).ends_with("should rise; yours does not."));
}

#[test]
fn what_was_not_measured_is_told_as_it_was_found() {
    let mut absent = mark(0.0, [None, None], 0.0);
    absent.measured_mm = None;
    absent.why = "The dicrotic notch was not drawn, or cannot be told from the rest.".to_owned();
    assert_eq!(told("notch_with_s2", &absent), absent.why);
}

#[test]
fn part_of_the_points_is_said() {
    let mut half = mark(3.2, [Some(0.0), Some(0.0)], 3.2);
    half.points = Some(1.0);
    assert!(told("notch_with_s2", &half).ends_with("near enough for part of the points."));
    assert_eq!(earned(&half), "1 of 2 points");
    (half.points, half.max_points) = (None, 1.0);
    assert_eq!(earned(&half), "1 point open");
}

#[test]
fn what_other_rules_make_of_one_is_said() {
    let convention = cardiac::Shipped::find("first_course").unwrap().convention();
    let mut one = mark(0.0, [Some(0.0), Some(0.0)], 0.0);
    (one.outcome, one.points) = (Outcome::Met, Some(2.0));
    let cap = SharedCap { name: "notch".to_owned(), points: 2.5 };
    let mut other = RuleMark { id: "dicrotic_wave".to_owned(), ..one.clone() };
    other.cap = Some(cap.clone());
    let words =
        |one: &RuleMark| (withheld(one, &[one.clone(), other.clone()], &convention), earned(one));
    assert_eq!(words(&one), (String::new(), "2 of 2 points".to_owned()));
    let mut by = |points: f64, by: WithheldBy| {
        one.withheld = Some(Withheld { points, by });
        words(&one)
    };
    let on = "It depends on “The dicrotic notch is on the line of S2”, which is";
    let needed = || "notch_with_s2".to_owned();
    let said = |words: &str, earned: &str| (words.to_owned(), earned.to_owned());
    let not_met = by(2.0, WithheldBy::NotMet(needed()));
    assert_eq!(not_met, said(&format!("{on} not met."), "0 of 2 points"));
    let open = by(2.0, WithheldBy::Open(needed()));
    assert_eq!(open, said(&format!("{on} still open."), "2 points open"));
    one.cap = Some(cap.clone());
    one.withheld = Some(Withheld { points: 0.5, by: WithheldBy::Cap });
    let beside =
        "Together with “After the notch comes the dicrotic wave” it earns at most 2.5 points.";
    assert_eq!(words(&one), said(beside, "1.5 of 2 points"));
}

#[test]
fn windows_are_told_on_both_sides() {
    let words = |window| belongs(window, ["after it", "before it"], "on the same line");
    assert_eq!(words([Some(-11.0), Some(-4.0)]), "4 to 11 mm before it");
    assert_eq!(words([Some(-1.0), Some(4.0)]), "between 1 mm before it and 4 mm after it");
    assert_eq!(words([Some(0.1), None]), "after it");
    assert_eq!(words([None, Some(-5.0)]), "at least 5 mm before it");
    assert_eq!(words([Some(4.0), Some(4.0)]), "4 mm after it");
}

#[test]
fn an_empty_panel_is_told_and_a_label_needs_no_words() {
    let subject = heart::subject();
    let convention = cardiac::Shipped::find("first_course").unwrap().convention();
    let names = Names { subject: &subject, convention: &convention };
    let located = Located { empty: vec!["aortic_pressure".to_owned()], ..Located::default() };
    let mut absent = mark(0.0, [None, None], 0.0);
    absent.measured_mm = None;
    let told = |id: &str| missed(rule(&convention, id), &absent, &located, names);
    assert_eq!(told("notch_with_s2"), "Nothing was found in the panel of aortic pressure.");
    assert_eq!(told("steep_rise"), "Nothing was found in the panel of aortic pressure.");
    assert_eq!(told("s1_on_r"), "Something else.");
    assert_eq!(told("label_notch"), "");
}
