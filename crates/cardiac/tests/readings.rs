//! What a key says of a strip, against the hearts that the strips come from.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use cardiac::{QUESTIONS, Reading, named, readings};
use cycle::Cycle;
use heart::{Heart, Rhythm, condition, conditions, natural_beats, simulate};

/// Seconds on a strip of 170 mm.
const STRIP_S: f64 = 6.2;

fn natural(heart: &Heart) -> Cycle {
    simulate(heart, natural_beats(heart)).unwrap()
}

fn read(heart: &Heart) -> Vec<Reading> {
    readings(&natural(heart), 0.0, STRIP_S)
}

fn of(name: &str) -> Vec<Reading> {
    read(&condition(name).unwrap().heart)
}

fn find<'a>(all: &'a [Reading], id: &str) -> &'a Reading {
    all.iter().find(|reading| reading.id == id).unwrap_or_else(|| panic!("no {id}"))
}

fn value(all: &[Reading], id: &str) -> f64 {
    find(all, id).value.unwrap_or_else(|| panic!("{id} has no value"))
}

fn answer<'a>(all: &'a [Reading], id: &str) -> &'a str {
    &find(all, id).answer
}

fn sinus(rate_bpm: f64, pr_ms: f64) -> Heart {
    let mut heart = Heart::default();
    heart.parameters.set("rate_bpm", rate_bpm).unwrap();
    heart.parameters.set("pr_interval_ms", pr_ms).unwrap();
    heart
}

#[test]
fn sinus_rhythm_reads_as_it_was_set() {
    for (rate, pr) in [(45.0, 200.0), (60.0, 120.0), (75.0, 160.0), (100.0, 140.0), (150.0, 120.0)]
    {
        let all = read(&sinus(rate, pr));
        assert!((value(&all, "rate") - rate).abs() < 0.01, "{rate}");
        assert!((value(&all, "pr_interval") - pr).abs() < 0.01, "{rate}");
        assert!((find(&all, "pr_interval").small_squares.unwrap() - pr / 40.0).abs() < 1e-3);
        // The QRS complex is 88 ms long; QT is 521 − 2.0·HR up to 110 a minute and 1.2 ms a
        // beat shorter beyond (Chest 1981;80:613; Lance et al.).
        assert!((value(&all, "qrs_duration") - 88.0).abs() < 0.01);
        let qt = 521.0 - 2.0 * rate.min(110.0) - 1.2 * (rate - 110.0).max(0.0);
        assert!((value(&all, "qt_interval") - qt).abs() < 0.01, "{rate}: {qt}");
        assert_eq!(answer(&all, "rhythm_regular"), "regular");
        assert_eq!(answer(&all, "p_before_each_qrs"), "yes, always at the same distance");
        assert_eq!(answer(&all, "qrs_after_each_p"), "yes");
        for absent in ["rr_range", "atrial_rate", "early_beats"] {
            assert!(all.iter().all(|reading| reading.id != absent), "{absent} at {rate}");
        }
    }
}

#[test]
fn the_rate_is_worked_from_small_and_large_squares() {
    let rate = find(&read(&sinus(75.0, 160.0)), "rate").clone();
    assert_eq!(rate.worked, "R–R 20 mm; 1500 / 20 = 75 a minute, or 300 / 4 large squares");
    // R–R read half a millimetre too short: 1500 / 19.5 = 76.9.
    assert_eq!(rate.tolerance, Some(2.0));
    let fast = find(&read(&sinus(150.0, 120.0)), "rate").clone();
    // 1500 / 9.5 = 157.9.
    assert_eq!(fast.tolerance, Some(8.0));
}

#[test]
fn first_degree_block_shows_in_the_pr_interval_alone() {
    let heart = condition("first_degree_av_block").unwrap().heart;
    let all = read(&heart);
    assert!((value(&all, "pr_interval") - heart.parameters.pr_interval_ms).abs() < 0.01);
    assert_eq!(named(&heart, &all).title, "Sinus rhythm with first-degree AV block");
    assert_eq!(answer(&all, "qrs_after_each_p"), "yes");
}

#[test]
fn type_one_lists_the_pr_intervals_and_the_dropped_beats() {
    let all = of("second_degree_av_block_type_1");
    let pr = find(&all, "pr_interval");
    // The rhythm lengthens PR by 90 and 130 ms and drops the fourth beat.
    assert_eq!(pr.value, None);
    assert_eq!(pr.answer, "varies; in ms: 180, 270, 310, dropped, 180, 270, 310, dropped");
    assert_eq!(pr.shown.len(), 6);
    assert_eq!(answer(&all, "qrs_after_each_p"), "no: 2 of 9 P waves have none");
    assert_eq!(
        answer(&all, "rhythm_regular"),
        "irregular, in a pattern that repeats every 3 beats"
    );
    assert!((value(&all, "atrial_rate") - 80.0).abs() < 0.01);
    // R peaks in the first 6 s: at 0.26, 1.10, 1.89 s and 3 s later each.
    assert_eq!(value(&all, "rate"), 60.0);
}

#[test]
fn type_two_keeps_its_pr_interval_and_drops_beats() {
    let all = of("second_degree_av_block_type_2");
    assert!((value(&all, "pr_interval") - 170.0).abs() < 0.01);
    assert_eq!(answer(&all, "qrs_after_each_p"), "no: 2 of 9 P waves have none");
    assert_eq!(answer(&all, "p_before_each_qrs"), "yes, always at the same distance");
    let range = find(&all, "rr_range");
    assert_eq!(range.answer, "750 to 1500 ms");
    let dropped: Vec<f64> =
        find(&all, "qrs_after_each_p").shown.iter().map(|span| span.from_s).collect();
    assert!((dropped[0] - 1.54).abs() < 1e-6 && (dropped[1] - 3.79).abs() < 1e-6, "{dropped:?}");
}

#[test]
fn third_degree_block_has_two_rates_and_no_pr_interval() {
    let all = of("third_degree_av_block");
    // Nine P waves to four escape beats, at 80 P waves a minute.
    assert!((value(&all, "rate") - 80.0 * 4.0 / 9.0).abs() < 0.01);
    assert!((value(&all, "atrial_rate") - 80.0).abs() < 0.01);
    assert_eq!(answer(&all, "rhythm_regular"), "regular");
    assert!(answer(&all, "pr_interval").starts_with("no fixed PR interval; in ms: 160, "));
    assert!(answer(&all, "p_before_each_qrs").contains("at no fixed distance"));
    assert!(answer(&all, "qrs_after_each_p").contains("9 P waves to 4 QRS complexes"));
}

#[test]
fn fibrillating_atria_have_no_p_waves_and_no_order() {
    let heart = condition("atrial_fibrillation").unwrap().heart;
    let all = read(&heart);
    let peaks = natural(&heart).continued(6.0).times_of("r_peak");
    let counted = peaks.iter().filter(|&&peak| peak < 6.0).count();
    assert_eq!(value(&all, "rate"), 10.0 * counted as f64);
    assert!((value(&all, "rate") - heart.parameters.rate_bpm).abs() <= 10.0);
    assert_eq!(answer(&all, "rhythm_regular"), "irregular");
    assert_eq!(answer(&all, "p_before_each_qrs"), "no: there are no P waves");
    assert_eq!(find(&all, "pr_interval").value, None);
}

#[test]
fn premature_beats_are_told_by_p_wave_and_width() {
    let atrial = of("premature_atrial_beats");
    assert_eq!(answer(&atrial, "early_beats"), "2: QRS narrow, after an early P wave");
    assert_eq!(answer(&atrial, "p_before_each_qrs"), "yes, always at the same distance");
    let ventricular = of("premature_ventricular_beats");
    assert_eq!(answer(&ventricular, "early_beats"), "2: QRS wide, without a P wave before it");
    assert_eq!(answer(&ventricular, "p_before_each_qrs"), "no: 2 of 8 QRS complexes have none");
    assert!(answer(&ventricular, "qrs_duration").ends_with("2 of 7 are wide: 150 ms"));
    assert!((value(&ventricular, "pr_interval") - 160.0).abs() < 0.01);
    for (name, _) in Rhythm::ALL.into_iter().filter(|(name, _)| !name.starts_with("premature")) {
        let heart = Heart { rhythm: Rhythm::from_name(name).unwrap(), ..Heart::default() };
        let all = read(&heart);
        assert!(all.iter().all(|reading| reading.id != "early_beats"), "{name}");
    }
}

#[test]
fn every_question_has_an_answer_on_every_strip() {
    for condition in conditions() {
        let all = read(&condition.heart);
        for question in QUESTIONS.iter().filter(|question| question.id != "rhythm") {
            assert!(!answer(&all, question.id).is_empty(), "{}: {}", condition.name, question.id);
        }
        for reading in &all {
            assert_eq!(reading.value.is_some(), reading.value.is_some_and(f64::is_finite));
            let numbers = reading.value.is_none() || reading.tolerance.is_some_and(|t| t > 0.0);
            assert!(numbers, "{}: {}", condition.name, reading.id);
            for span in &reading.shown {
                let within = span.from_s >= 0.0 && span.from_s < span.to_s && span.to_s <= STRIP_S;
                assert!(within, "{}: {}", condition.name, span.label);
            }
        }
        assert!(!named(&condition.heart, &all).title.is_empty());
    }
}

#[test]
fn a_strip_is_named_by_what_it_shows() {
    let title = |name: &str| {
        let heart = condition(name).unwrap().heart;
        named(&heart, &read(&heart)).title
    };
    assert_eq!(title("aortic_stenosis"), "Sinus rhythm", "lead II does not show the valve");
    assert_eq!(title("bradycardia"), "Sinus bradycardia");
    assert_eq!(title("heavy_exercise"), "Sinus tachycardia");
    assert_eq!(title("atrial_fibrillation"), "Atrial fibrillation");
    for (name, rhythm) in Rhythm::ALL.into_iter().filter(|(_, rhythm)| *rhythm != Rhythm::Sinus) {
        let taught = conditions().into_iter().find(|c| c.heart.rhythm == rhythm);
        let heart = Heart { rhythm, ..Heart::default() };
        assert_eq!(Some(named(&heart, &[]).title), taught.map(|c| c.title), "{name}");
    }
}

#[test]
fn a_strip_that_begins_later_reads_the_same() {
    let cycle = natural(&sinus(75.0, 160.0));
    // 0.5 s is within a T wave, so that the first beat is cut.
    let (first, later) = (readings(&cycle, 0.0, STRIP_S), readings(&cycle, 0.5, 0.5 + STRIP_S));
    for id in ["rate", "pr_interval", "qrs_duration", "qt_interval"] {
        assert!((value(&first, id) - value(&later, id)).abs() < 1e-6, "{id}");
    }
    // 0.1 s is within the P wave: its QRS complex has lost its onset, and is not judged.
    let cut = readings(&cycle, 0.1, 0.1 + STRIP_S);
    assert_eq!(answer(&cut, "p_before_each_qrs"), "yes, always at the same distance");
}

#[test]
fn a_strip_too_short_to_read_says_so() {
    let mut cycle = natural(&sinus(75.0, 160.0));
    cycle.repeats = false;
    let all = readings(&cycle, 0.0, STRIP_S);
    assert_eq!(find(&all, "rate").value, None);
    assert!(answer(&all, "rate").contains("fewer than two"));
    assert!((value(&all, "pr_interval") - 160.0).abs() < 0.01);
    let none = readings(&Cycle::default(), 0.0, STRIP_S);
    assert!(none.iter().all(|reading| reading.value.is_none()));
}
