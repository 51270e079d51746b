//! A landmark moved beyond its tolerance: the rule about it is not met, for each kind of rule.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use practice::{Definition, Drawing, Level, Outcome, PlacedPoint, Practice, Verdict};

fn practice(level: Level, seed: u64) -> Practice {
    let test = "title = \"A test\"\nconvention = \"first_course\"\n".to_owned();
    Practice::new(&Definition { test, ..Definition::default() }, level, seed).unwrap()
}

fn outcome(verdict: &Verdict, rule: &str) -> Outcome {
    let found = verdict.rules.iter().find(|one| one.id == rule);
    found.unwrap_or_else(|| panic!("{rule} is not asked")).outcome
}

/// What becomes of `rule` for many hearts, when `draw` draws.
fn outcomes(rule: &str, level: Level, draw: impl Fn(&Practice) -> Drawing) -> [usize; 3] {
    let mut count = [0; 3];
    for seed in 100..112 {
        let practice = practice(level, seed);
        let right = practice.judge(&practice.key()).unwrap();
        assert_eq!(outcome(&right, rule), Outcome::Met, "{rule} {seed}");
        let verdict = practice.judge(&draw(&practice)).unwrap();
        count[outcome(&verdict, rule) as usize] += 1;
    }
    count
}

/// Nothing that is wrong is called right, and most of it is called wrong outright.
fn assert_not_met(rule: &str, level: Level, draw: impl Fn(&Practice) -> Drawing) {
    let [met, not_met, cannot_tell] = outcomes(rule, level, draw);
    assert!(
        met == 0 && not_met > cannot_tell,
        "{rule}: {met} met, {not_met} not, {cannot_tell} open"
    );
}

/// The key's points, those that `is` moved by `by`.
fn moved(practice: &Practice, is: impl Fn(&PlacedPoint) -> bool, by: [f64; 2]) -> Drawing {
    let task = practice.task();
    let mut points = practice.key_points();
    for (point, at) in task.points.iter().zip(&mut points) {
        if is(point) {
            *at = [at[0] + by[0], at[1] + by[1]];
        }
    }
    practice.through(&points)
}

/// The key's strokes in a panel, bent.
fn bent(practice: &Practice, channel: &str, bend: impl Fn([f64; 2]) -> [f64; 2]) -> Drawing {
    let mut drawing = practice.through(&practice.key_points());
    let strokes = drawing.strokes.get_mut(channel).unwrap();
    for stroke in strokes {
        for at in stroke {
            *at = bend(*at);
        }
    }
    drawing
}

/// Where the key has a point of the first beat, across the page.
fn x_of(practice: &Practice, name: &str) -> Vec<f64> {
    let panel = &practice.task().panels[0];
    let times = practice.model().times_of(name);
    let x = |time_s: f64| panel.x_mm + (time_s - panel.time_s[0]) * practice.task().mm_per_s;
    times.into_iter().map(x).collect()
}

#[test]
fn timing_with_another_landmark() {
    for by in [-7.0, 7.0] {
        assert_not_met("notch_with_s2", Level::Given, |practice| {
            moved(practice, |point| point.name == "s2_onset", [by, 0.0])
        });
    }
}

#[test]
fn timing_between_two_others() {
    assert_not_met("s2_in_t", Level::Given, |practice| {
        moved(practice, |point| point.name == "s2_onset", [7.0, 0.0])
    });
}

#[test]
fn height() {
    assert_not_met("s1_taller", Level::Given, |practice| {
        moved(practice, |point| point.name == "s1_onset", [0.0, 8.0])
    });
}

#[test]
fn level() {
    // The pressure stays up until shortly before its foot.
    assert_not_met("diastolic_level", Level::Given, |practice| {
        let feet = x_of(practice, "pressure_foot");
        bent(practice, "aortic_pressure", |[x, y]| {
            let up = feet.iter().map(|foot| {
                let [rise, fall] = [(x - foot + 34.0) / 30.0, (foot - 0.5 - x) / 2.0];
                9.0 * rise.min(fall).clamp(0.0, 1.0)
            });
            [x, y - up.sum::<f64>()]
        })
    });
}

#[test]
fn shape() {
    assert_not_met("runoff", Level::Given, |practice| {
        let tops = x_of(practice, "dicrotic_peak");
        bent(practice, "aortic_pressure", |[x, y]| {
            let bump = tops.iter().map(|top| {
                let off = (x - top - 16.0) / 3.0;
                7.0 * (1.0 - off * off).max(0.0)
            });
            [x, y - bump.sum::<f64>()]
        })
    });
}

#[test]
fn presence() {
    let [met, ..] = outcomes("p_wave", Level::Baselines, |practice| {
        let [from, to] = ["p_onset", "p_end"].map(|name| x_of(practice, name));
        let rest = practice.task().panels[0].baseline_mm.unwrap();
        bent(practice, "ecg", |[x, y]| {
            let flat = from.iter().zip(&to).any(|(from, to)| (from - 2.0..=to + 2.0).contains(&x));
            [x, if flat { rest } else { y }]
        })
    });
    assert_eq!(met, 0, "a P wave was found where none is drawn");
}

#[test]
fn an_error_is_told_with_its_size_and_its_way() {
    let practice = practice(Level::Given, 5);
    let drawing = moved(&practice, |point| point.name == "s2_onset", [7.0, 0.0]);
    let verdict = practice.judge(&drawing).unwrap();
    let rule = verdict.rules.iter().find(|rule| rule.id == "notch_with_s2").unwrap();
    assert_eq!((rule.outcome, rule.way), (Outcome::NotMet, "too early"));
    assert!((rule.off_mm + 7.0).abs() < 0.6, "{}", rule.off_mm);
    assert!((rule.off_ms.unwrap() + 70.0).abs() < 6.0);
    assert!(rule.told.contains("further right"), "{}", rule.told);
    // The notch is taken to where S2 was drawn, with the cause and how it looks.
    let [x, _] = rule.target_mm.unwrap();
    let line = rule.hints.line.as_ref().unwrap();
    assert!((line.area_mm[0]..=line.area_mm[2]).contains(&x));
    assert!(rule.hints.cause.ends_with('.') && rule.hints.ghost.is_some());
}
