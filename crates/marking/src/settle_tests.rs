use super::*;

fn rule(id: &str, points: Option<f64>, max_points: f64) -> RuleMark {
    RuleMark::earning(id, points, max_points)
}

fn on(mut rule: RuleMark, needed: &[&str]) -> RuleMark {
    rule.depends_on = needed.iter().map(|id| (*id).to_owned()).collect();
    rule
}

fn sharing(mut rule: RuleMark, points: f64) -> RuleMark {
    rule.cap = Some(SharedCap { name: "shared".to_owned(), points });
    rule
}

fn settled(rules: Vec<RuleMark>) -> Marks {
    let mut marks = Marks { rules };
    marks.settle();
    marks
}

fn earned(marks: &Marks) -> Vec<Option<f64>> {
    marks.rules.iter().map(RuleMark::earned).collect()
}

/// Earned, worth and open.
fn sums(marks: &Marks) -> [f64; 3] {
    [marks.points(), marks.max_points(), marks.open_points()]
}

#[test]
fn what_depends_on_a_rule_that_is_not_met_earns_nothing_nor_does_what_depends_on_that() {
    let marks = settled(vec![
        rule("a", Some(0.0), 1.0),
        on(rule("b", Some(2.0), 2.0), &["a"]),
        on(rule("c", Some(1.0), 1.0), &["b"]),
        rule("d", Some(1.0), 1.0),
    ]);
    assert_eq!(earned(&marks), [Some(0.0), Some(0.0), Some(0.0), Some(1.0)]);
    assert_eq!(sums(&marks), [1.0, 5.0, 0.0]);
    // The finding stays what it is.
    assert_eq!(marks.rules[1].outcome, Outcome::Met);
    let by = |n: usize| marks.rules[n].withheld.as_ref().unwrap().by.clone();
    assert_eq!([by(1), by(2)], ["a", "b"].map(|id| WithheldBy::NotMet(id.to_owned())));
    // Half of it is enough for what depends on it, and less is not.
    for (points, then) in [(0.5, 2.0), (0.4, 0.0)] {
        let a = rule("a", Some(points), 1.0);
        let part = settled(vec![a, on(rule("b", Some(2.0), 2.0), &["a"])]);
        assert_eq!(earned(&part), [Some(points), Some(then)]);
    }
    // What is not asked for on a sheet cannot be missed.
    assert_eq!(earned(&settled(vec![on(rule("b", Some(2.0), 2.0), &["a"])])), [Some(2.0)]);
}

#[test]
fn what_depends_on_an_open_rule_is_earned_when_that_is_settled() {
    let mut marks = settled(vec![rule("a", None, 1.0), on(rule("b", Some(2.0), 2.0), &["a"])]);
    assert_eq!(earned(&marks), [None, None]);
    assert_eq!(sums(&marks), [0.0, 3.0, 3.0]);
    assert_eq!(marks.open().count(), 1);
    marks.decide("a", &Ruling::Met);
    assert_eq!(sums(&marks), [3.0, 3.0, 0.0]);
    marks.decide("a", &Ruling::NotMet);
    assert_eq!(sums(&marks), [0.0, 3.0, 0.0]);
    // What a person gives in points is given, and what is waived holds nothing up.
    marks.decide("b", &Ruling::Points { points: 1.5 });
    assert_eq!(earned(&marks), [Some(0.0), Some(1.5)]);
    let mut marks = settled(vec![rule("a", None, 1.0), on(rule("b", Some(2.0), 2.0), &["a"])]);
    marks.decide("a", &Ruling::Waived);
    assert_eq!(sums(&marks), [2.0, 2.0, 0.0]);
}

#[test]
fn an_open_rule_that_depends_on_one_that_is_not_met_has_nothing_left_to_earn() {
    let marks = settled(vec![rule("a", Some(0.0), 1.0), on(rule("b", None, 2.0), &["a"])]);
    assert_eq!(earned(&marks), [Some(0.0), Some(0.0)]);
    assert_eq!(sums(&marks), [0.0, 3.0, 0.0]);
    assert_eq!(marks.share(), Some(0.0));
    // So nobody is asked about it.
    assert_eq!(marks.open().count(), 0);
}

#[test]
fn rules_that_share_a_cap_earn_no_more_together() {
    let all = |points: [Option<f64>; 3]| {
        let rules = ["a", "b", "c"].iter().zip(points);
        let mut rules: Vec<RuleMark> =
            rules.map(|(id, points)| sharing(rule(id, points, 1.0), 2.0)).collect();
        rules.push(rule("d", Some(1.0), 1.0));
        settled(rules)
    };
    let full = all([Some(1.0); 3]);
    assert_eq!(earned(&full), [Some(1.0), Some(1.0), Some(0.0), Some(1.0)]);
    assert_eq!(sums(&full), [3.0, 3.0, 0.0]);
    assert_eq!(full.rules[2].withheld, Some(Withheld { points: 1.0, by: WithheldBy::Cap }));
    // One of three may be missed.
    assert_eq!(sums(&all([Some(0.0), Some(1.0), Some(1.0)])), [3.0, 3.0, 0.0]);
    assert_eq!(sums(&all([Some(0.0), Some(0.5), Some(1.0)])), [2.5, 3.0, 0.0]);
    // Of two that are open no more counts than is left of the cap.
    let open = all([None, Some(1.0), None]);
    assert_eq!(sums(&open), [2.0, 3.0, 1.0]);
    assert_eq!(open.share(), Some(1.0));
    assert_eq!(all([None; 3]).share(), Some(1.0));
    // Nobody is asked about what cannot add to a cap that is reached.
    let reached = all([None, Some(1.0), Some(1.0)]);
    assert_eq!(sums(&reached), [3.0, 3.0, 0.0]);
    assert_eq!(reached.open().count(), 0);
    // A cap holds for what a person gives, too: nobody earns more than there is.
    let mut given = full.clone();
    given.decide("c", &Ruling::Points { points: 1.0 });
    assert_eq!(sums(&given), [3.0, 3.0, 0.0]);
}

#[test]
fn what_a_person_judges_counts_though_it_did_not() {
    let mut marks = settled(vec![rule("a", Some(0.0), 0.0)]);
    marks.rules[0].uncounted = Some(2.0);
    assert_eq!(sums(&marks), [0.0, 0.0, 0.0]);
    marks.decide("a", &Ruling::Half);
    assert_eq!(sums(&marks), [1.0, 2.0, 0.0]);
    // What is to be worth something is to be judged.
    let mut anew = settled(vec![rule("a", Some(0.0), 0.0)]);
    anew.rules[0].uncounted = Some(2.0);
    anew.decide("a", &Ruling::Reweighted { max_points: 3.0 });
    assert_eq!((sums(&anew), anew.open().count()), ([0.0, 3.0, 3.0], 1));
    // So does what a person waived and then judged.
    marks.decide("a", &Ruling::Waived);
    assert_eq!((sums(&marks), marks.rules[0].worth()), ([0.0, 0.0, 0.0], 2.0));
    marks.decide("a", &Ruling::Points { points: 1.5 });
    assert_eq!((sums(&marks), marks.rules[0].outcome), ([1.5, 2.0, 0.0], Outcome::NotMet));
}
