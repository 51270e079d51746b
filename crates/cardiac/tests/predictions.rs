//! Predictions: each expectation holds in the model, with room to spare.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

use std::collections::BTreeSet;

use cardiac::{CHANGES, Change, Prediction, PredictionError, STAYS, predictions};
use cycle::Cycle;
use heart::{Heart, Rhythm, condition, conditions, natural_beats, simulate};

fn at(rate_bpm: f64) -> Heart {
    let mut heart = Heart::default();
    heart.parameters.set("rate_bpm", rate_bpm).unwrap();
    heart
}

fn simulated(heart: &Heart) -> Cycle {
    simulate(heart, natural_beats(heart)).unwrap()
}

fn find(id: &str) -> Prediction {
    predictions().into_iter().find(|prediction| prediction.id == id).unwrap()
}

#[test]
fn every_expectation_holds_at_rest_and_at_other_rates_with_a_margin() {
    let mut least_change = (f64::MAX, String::new());
    let mut most_kept = (0.0, String::new());
    for rate in [60.0, 75.0, 90.0] {
        let before = at(rate);
        let start = simulated(&before);
        for prediction in predictions() {
            let end = simulated(&prediction.heart(&before).unwrap());
            let found = prediction.answers(&start, &end);
            for ask in &prediction.asks {
                let place = format!("{}, {} at {rate}", prediction.id, ask.name);
                let answer = found.iter().find(|answer| answer.quantity == ask.name);
                let answer = answer.unwrap_or_else(|| panic!("{place} goes another way"));
                assert_eq!(answer.change, ask.expect);
                // Pulse pressure is subtracted from printed numbers and so has no other source.
                let value = |cycle: &Cycle| cycle.summary.get(ask.measure.id).copied();
                let unrounded = value(&start).zip(value(&end));
                let (from, to) = unrounded.unwrap_or((answer.before, answer.after));
                let share = ((to - from) / from).abs();
                if ask.expect == Change::Stays && share > most_kept.0 {
                    most_kept = (share, place);
                } else if ask.expect != Change::Stays && share < least_change.0 {
                    least_change = (share, place);
                }
            }
        }
    }
    // Found: 4.8 % (the time of ejection through a narrow aortic valve) and 1.3 % (mean aortic
    // pressure with stiff arteries), both at 60 a minute.
    assert!(least_change.0 > CHANGES + 0.01, "{least_change:?}");
    assert!(most_kept.0 < STAYS - 0.005, "{most_kept:?}");
}

#[test]
fn nothing_is_said_that_the_numbers_contradict_in_any_condition() {
    let mut said = 0;
    for condition in conditions() {
        let before = simulated(&condition.heart);
        for prediction in predictions() {
            let Ok(changed) = prediction.heart(&condition.heart) else { continue };
            for answer in prediction.answers(&before, &simulated(&changed)) {
                said += 1;
                let (before, after) = (answer.before, answer.after);
                let agrees = match answer.change {
                    Change::Rises => after > before,
                    Change::Falls => after < before,
                    Change::Stays => (after - before).abs() <= 1.0,
                };
                assert!(agrees, "{} {}: {answer:?}", condition.name, prediction.id);
            }
        }
    }
    assert!(said > 700, "{said}");
}

#[test]
fn a_change_that_a_heart_has_already_is_not_asked_of_it() {
    let leaking = condition("aortic_regurgitation").unwrap().heart;
    let error = find("aortic_leaks").heart(&leaking).unwrap_err();
    assert!(matches!(error, PredictionError::Already { .. }), "{error}");
    assert!(error.to_string().contains("aortic_leak_area_cm2 is 0.35"), "{error}");

    let narrow = condition("aortic_stenosis").unwrap().heart;
    let error = find("aortic_narrows").heart(&narrow).unwrap_err();
    assert!(matches!(error, PredictionError::Heart { .. }), "{error}");

    let fibrillating = condition("atrial_fibrillation").unwrap().heart;
    let error = find("pr_lengthens").heart(&fibrillating).unwrap_err();
    assert!(error.to_string().contains("atrial_fibrillation"), "{error}");

    let still = Heart {
        parameters: {
            let mut parameters = Heart::default().parameters;
            parameters.set("atrial_contractility", 0.0).unwrap();
            parameters
        },
        rhythm: Rhythm::Sinus,
    };
    assert!(find("atria_stop").heart(&still).is_err());
}

#[test]
fn a_change_starts_from_the_hearts_own_value() {
    let before = condition("hypertension").unwrap().heart;
    let after = find("resistance_rises").heart(&before).unwrap();
    assert!((after.parameters.systemic_resistance - 1.25 * 1.4).abs() < 1e-12);
    let unchanged = Heart {
        parameters: heart::Parameters {
            systemic_resistance: before.parameters.systemic_resistance,
            ..after.parameters.clone()
        },
        rhythm: after.rhythm,
    };
    assert_eq!(unchanged, before);
}

#[test]
fn a_change_must_show_in_print_to_be_one() {
    assert_eq!(Change::between(10.0, 10.9, 0), None);
    assert_eq!(Change::between(10.0, 11.2, 0), Some(Change::Rises));
    assert_eq!(Change::between(100.0, 96.0, 0), Some(Change::Falls));
    assert_eq!(Change::between(100.0, 97.5, 0), None);
    assert_eq!(Change::between(100.0, 101.0, 0), Some(Change::Stays));
    assert_eq!(Change::between(5.4, 5.6, 1), Some(Change::Rises));
    assert_eq!(Change::between(0.0, 0.0, 0), None);
}

#[test]
fn the_data_is_written_as_it_is_read_aloud() {
    let all = predictions();
    assert!(all.len() >= 10);
    let ids: BTreeSet<_> = all.iter().map(|prediction| &prediction.id).collect();
    assert_eq!(ids.len(), all.len());
    for prediction in &all {
        let names: BTreeSet<_> = prediction.asks.iter().map(|ask| &ask.name).collect();
        assert_eq!(names.len(), prediction.asks.len(), "{}", prediction.id);
        assert!(prediction.asks.len() >= 3, "{}", prediction.id);
        let texts = prediction.asks.iter().map(|ask| &ask.cause).chain([&prediction.text]);
        for text in texts {
            assert!(text.ends_with('.') && text.starts_with(char::is_uppercase), "{text}");
            assert!(text.matches(". ").count() <= 1, "{text}");
        }
        let parameters = prediction.multiply.keys().chain(prediction.set.keys());
        let known = |name: &String| Heart::default().parameters.get(name).is_some();
        assert!(parameters.chain(prediction.from.keys()).all(known), "{}", prediction.id);
    }
}
