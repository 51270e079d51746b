//! What must hold for every heart, whatever its parameters.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]
#![allow(clippy::print_stdout, reason = "a measured drift is worth seeing")]

use heart::{Equations, Heart, HeartError, PARAMETERS, Rhythm, natural_beats, simulate};
use proptest::prelude::*;

/// The first volumes of a state, see [`Equations`].
const VOLUMES: usize = 15;

fn blood(state: &[f64]) -> f64 {
    state[..VOLUMES].iter().sum()
}

/// Total blood volume stays the same to 1e-8 over 1,000 beats.
#[test]
fn blood_is_conserved_over_a_thousand_beats() {
    let equations = Equations::new(&Heart::default());
    let mut state = equations.start();
    let before = blood(&state);
    for _ in 0..1000 {
        state = *equations.states(&state).last().unwrap();
    }
    let drift = (blood(&state) / before - 1.0).abs();
    println!("drift over 1,000 beats: {drift:.1e}");
    assert!(drift < 1e-8, "drift {drift:e}");
}

#[test]
fn the_steady_state_returns_to_itself() {
    let equations = Equations::new(&Heart::default());
    let start = equations.steady().unwrap();
    let end = *equations.states(&start).last().unwrap();
    for (index, (a, b)) in start.iter().zip(end).enumerate() {
        assert!((a - b).abs() < 1e-4, "state {index}: {a} becomes {b}");
    }
}

/// The area of the pressure–volume loop is the work done on the blood: ∮P dV = ∫P·Q dt.
#[test]
fn the_loops_area_is_the_work_done() {
    let cycle = simulate(&Heart::default(), 1).unwrap();
    let trace = |name: &str| &cycle.trace(name).unwrap().samples;
    let (p, v) = (trace("lv_pressure"), trace("lv_volume"));
    let (out, inward) = (trace("aortic_flow"), trace("mitral_flow"));
    let step_s = 1.0 / cycle.trace("ecg").unwrap().rate_hz;
    let count = p.len();
    let area: f64 =
        (0..count).map(|i| 0.5 * (p[i] + p[(i + 1) % count]) * (v[i] - v[(i + 1) % count])).sum();
    let work: f64 = (0..count).map(|i| p[i] * (out[i] - inward[i]) * step_s).sum();
    assert!((area / work - 1.0).abs() < 0.005, "{area} against {work}");
    // 0.93 J for 70 mL at 100 mmHg (Nichols et al., Circ Res 1977;40:451 for the power).
    let joule = area * 133.322e-6;
    assert!((0.7..1.4).contains(&joule), "{joule} J");
}

/// Both ventricles pump the same amount over a steady beat, and the mean pressures close.
#[test]
fn flows_and_resistances_close() {
    let cycle = simulate(&Heart::default(), 1).unwrap();
    let mean = |name: &str| cycle.trace(name).unwrap().mean().unwrap();
    assert!((mean("aortic_flow") / mean("mitral_flow") - 1.0).abs() < 1e-3);
    let wood = cycle.summary["systemic_resistance_wood"];
    let expected = (mean("aortic_pressure") - mean("ra_pressure")) / (mean("aortic_flow") * 0.06);
    assert!((wood / expected - 1.0).abs() < 0.005);
}

fn any_heart() -> impl Strategy<Value = Heart> {
    let values: Vec<_> = PARAMETERS.iter().map(|p| p.low..=p.high).collect();
    // All parameters at once at random is never a living heart, so most stay near normal.
    let changed = prop::collection::vec((0..PARAMETERS.len(), 0.0..=1.0f64), 1..5);
    (changed, 0..Rhythm::ALL.len()).prop_map(move |(changed, rhythm)| {
        let mut heart = Heart { rhythm: Rhythm::ALL[rhythm].1, ..Heart::default() };
        for (index, share) in changed {
            let (low, high) = (*values[index].start(), *values[index].end());
            heart.parameters.set(PARAMETERS[index].name, low + share * (high - low)).unwrap();
        }
        heart
    })
}

proptest! {
    // The seed is fixed so that a change is judged by the same hearts as the one before it;
    // PROPTEST_CASES and PROPTEST_RNG_SEED explore further.
    #![proptest_config(ProptestConfig {
        rng_seed: proptest::test_runner::RngSeed::Fixed(
            std::env::var("PROPTEST_RNG_SEED").map_or(20_261_125, |seed| seed.parse().unwrap()),
        ),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]
    #[test]
    fn every_heart_settles_or_says_why(heart in any_heart()) {
        match simulate(&heart, natural_beats(&heart) + 3) {
            Ok(cycle) => {
                for trace in &cycle.traces {
                    prop_assert!(trace.samples.iter().all(|v| v.is_finite()), "{}", trace.channel);
                    if trace.channel.ends_with("_volume") {
                        prop_assert!(trace.samples.iter().all(|v| *v > 0.0), "{} below 0", trace.channel);
                    }
                }
                prop_assert!(cycle.summary.values().all(|v| v.is_finite()));
                in_order(&cycle)?;
            }
            Err(HeartError::NoSteadyState { reason }) => {
                let named = PARAMETERS.iter().any(|p| reason.contains(p.name));
                prop_assert!(named, "{reason}");
                // That would be the integrator's fault, not the circulation's.
                prop_assert!(!reason.contains("without bound"), "{reason}");
            }
            Err(other) => prop_assert!(false, "{other}"),
        }
    }
}

/// Landmarks lie inside the cycle, in the order of time, and each is followed by the next of
/// its wave before that could belong to another beat.
fn in_order(cycle: &cycle::Cycle) -> Result<(), TestCaseError> {
    const LONGEST_S: f64 = 0.75;
    let (start, end) = cycle.span_s().unwrap();
    let times: Vec<f64> = cycle.landmarks.iter().map(|l| l.time_s).collect();
    prop_assert!(times.windows(2).all(|pair| pair[0] <= pair[1]));
    prop_assert!(times.iter().all(|t| (start..=end).contains(t)));
    let waves: [&[&str]; 5] = [
        &["p_onset", "p_peak", "p_end"],
        &["qrs_onset", "r_peak", "s_peak", "qrs_end", "t_onset", "t_peak", "t_end"],
        &["s1_onset", "s1_end"],
        &["a2", "s2_end"],
        &["aortic_opens", "aortic_closes"],
    ];
    for pair in waves.iter().flat_map(|wave| wave.windows(2)) {
        let thens = cycle.times_of(pair[1]);
        for first in cycle.times_of(pair[0]).into_iter().filter(|t| t + LONGEST_S < end) {
            let follows = thens.iter().any(|then| (first..first + LONGEST_S).contains(then));
            prop_assert!(
                follows,
                "{} at {first:.3} s without {} after it: {thens:.3?}",
                pair[0],
                pair[1]
            );
        }
    }
    Ok(())
}

/// One parameter alone at either end of its range leaves a circulation, but for the few ends
/// that no one survives.
#[test]
fn single_parameters_at_their_ends_settle() {
    let impossible = [("systemic_resistance", 0.2), ("blood_volume", 0.6)];
    for parameter in PARAMETERS {
        for value in [parameter.low, parameter.high] {
            let mut heart = Heart::default();
            heart.parameters.set(parameter.name, value).unwrap();
            let settles = simulate(&heart, 1).is_ok();
            assert_eq!(
                settles,
                !impossible.contains(&(parameter.name, value)),
                "{} = {value}",
                parameter.name
            );
        }
    }
}
