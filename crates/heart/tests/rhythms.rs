//! Rhythms beat by beat: what a course teaches must come out of the physics.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use cycle::Cycle;
use heart::{Heart, condition, conditions, natural_beats, simulate};

fn run(name: &str) -> Cycle {
    let heart = condition(name).unwrap().heart;
    simulate(&heart, natural_beats(&heart)).unwrap()
}

fn times(cycle: &Cycle, name: &str) -> Vec<f64> {
    cycle.times_of(name)
}

/// Systolic peaks of the aortic pressure, each with the time of the QRS complex before it.
fn pulses(cycle: &Cycle) -> Vec<(f64, f64)> {
    let peaks = cycle
        .landmarks
        .iter()
        .filter(|l| l.name == "systolic_peak" && l.channel == "aortic_pressure");
    let feet: Vec<_> = cycle
        .landmarks
        .iter()
        .filter(|l| l.name == "pressure_foot" && l.channel == "aortic_pressure")
        .collect();
    let qrs = times(cycle, "qrs_onset");
    peaks
        .filter_map(|peak| {
            let foot = feet.iter().rfind(|foot| foot.time_s < peak.time_s)?;
            let onset = qrs.iter().rfind(|&&t| t < peak.time_s)?;
            Some((*onset, peak.value - foot.value))
        })
        .collect()
}

#[test]
fn every_condition_reads_and_settles() {
    let all = conditions();
    assert_eq!(all.len(), 21);
    for condition in all {
        assert!(
            !condition.about.is_empty() && !condition.source.is_empty(),
            "{} lacks words",
            condition.name
        );
        let beats = natural_beats(&condition.heart);
        let cycle = simulate(&condition.heart, beats)
            .unwrap_or_else(|error| panic!("{}: {error}", condition.name));
        assert_eq!(times(&cycle, "qrs_onset").len(), beats, "{}", condition.name);
        assert_eq!(cycle.traces.len(), 16);
        for trace in &cycle.traces {
            assert!(
                trace.samples.iter().all(|v| v.is_finite()),
                "{}: {}",
                condition.name,
                trace.channel
            );
        }
    }
}

#[test]
fn an_early_beat_is_weak_and_the_beat_after_the_pause_is_strong() {
    for name in ["premature_ventricular_beats", "premature_atrial_beats"] {
        let cycle = run(name);
        let qrs = times(&cycle, "qrs_onset");
        assert_eq!(qrs.len(), 4);
        let intervals: Vec<f64> = qrs.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let early = 1 + intervals
            .iter()
            .position(|i| *i < 0.8 * intervals[0])
            .expect("one beat comes early");
        let strength = |index: usize| {
            let found =
                pulses(&cycle).into_iter().find(|(onset, _)| (*onset - qrs[index]).abs() < 1e-6);
            found.map_or(0.0, |(_, pulse)| pulse)
        };
        let (usual, weak, strong) = (strength(1), strength(early), strength((early + 1) % 4));
        assert!(weak < 0.7 * usual, "{name}: the early pulse {weak:.0} against {usual:.0} mmHg");
        assert!(
            strong > 1.1 * usual,
            "{name}: after the pause {strong:.0} against {usual:.0} mmHg"
        );
    }
}

#[test]
fn a_ventricular_beat_is_wide_and_has_no_p_wave() {
    let cycle = run("premature_ventricular_beats");
    let widths: Vec<f64> = times(&cycle, "qrs_onset")
        .iter()
        .zip(times(&cycle, "qrs_end"))
        .map(|(on, off)| off - on)
        .collect();
    assert_eq!(widths.iter().filter(|w| **w > 0.12).count(), 1, "{widths:?}");
    assert_eq!(times(&cycle, "p_onset").len(), 3);
}

/// PR over 200 ms (AHA/ACCF/HRS).
#[test]
fn blocks_change_pr_and_drop_beats_as_named() {
    let pr = |cycle: &Cycle| -> Vec<f64> {
        let qrs = times(cycle, "qrs_onset");
        let next = |p: f64| qrs.iter().find(|&&q| q > p).map(|q| q - p);
        times(cycle, "p_onset").into_iter().filter_map(next).collect()
    };
    let first = run("first_degree_av_block");
    assert!(
        pr(&first).iter().all(|pr| *pr > 0.2)
            && times(&first, "p_onset").len() == times(&first, "qrs_onset").len()
    );

    let one = run("second_degree_av_block_type_1");
    let intervals = pr(&one);
    assert!(
        intervals[0] < intervals[1] && intervals[1] < intervals[2],
        "PR grows: {intervals:.3?}"
    );
    assert_eq!((times(&one, "p_onset").len(), times(&one, "qrs_onset").len()), (4, 3));

    let two = run("second_degree_av_block_type_2");
    let intervals = pr(&two);
    assert!((intervals[0] - intervals[1]).abs() < 1e-9, "PR is constant: {intervals:.3?}");
    assert_eq!((times(&two, "p_onset").len(), times(&two, "qrs_onset").len()), (3, 2));

    let three = run("third_degree_av_block");
    assert_eq!((times(&three, "p_onset").len(), times(&three, "qrs_onset").len()), (9, 4));
    let rate = three.summary["heart_rate_bpm"];
    assert!(rate < 45.0, "an escape rhythm beats under 45 a minute, this one {rate:.0}");
    // Cannon waves: an atrium that beats while its valve is shut (textbook, from memory).
    let right = three.trace("ra_pressure").unwrap().range().unwrap().1;
    let usual = run("rest").trace("ra_pressure").unwrap().range().unwrap().1;
    assert!(right > usual + 2.0, "a cannon wave of {right:.1} against {usual:.1} mmHg");
}

#[test]
fn fibrillating_atria_make_no_waves_and_filling_makes_the_pulse() {
    let cycle = run("atrial_fibrillation");
    for name in ["p_onset", "a_wave", "s4", "atrial_systole_begins"] {
        assert!(times(&cycle, name).is_empty(), "{name} in atrial fibrillation");
    }
    let qrs = times(&cycle, "qrs_onset");
    // The longer the interval before it, the stronger the pulse.
    let pairs: Vec<(f64, f64)> = pulses(&cycle)
        .into_iter()
        .filter_map(|(onset, pulse)| {
            qrs.iter().rfind(|&&t| t < onset - 1e-6).map(|before| (onset - before, pulse))
        })
        .collect();
    assert!(pairs.len() >= 8);
    let count = pairs.len() as f64;
    let (mx, my) = (
        pairs.iter().map(|p| p.0).sum::<f64>() / count,
        pairs.iter().map(|p| p.1).sum::<f64>() / count,
    );
    let cov: f64 = pairs.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    let (xx, yy): (f64, f64) = (
        pairs.iter().map(|p| (p.0 - mx).powi(2)).sum(),
        pairs.iter().map(|p| (p.1 - my).powi(2)).sum(),
    );
    assert!(cov / (xx * yy).sqrt() > 0.7, "r = {:.2}", cov / (xx * yy).sqrt());
}

/// On inspiration P2 moves away from A2 by 20 ms or more; in expiration they lie within 30
/// (Leatham; McGee; from memory).
#[test]
fn inspiration_splits_the_second_sound() {
    let cycle = run("respiratory_sinus_arrhythmia");
    let (a2, p2) = (times(&cycle, "a2"), times(&cycle, "p2"));
    assert!(a2.len() >= 4 && a2.len() == p2.len());
    let splits: Vec<f64> = a2.iter().zip(&p2).map(|(a, p)| 1000.0 * (p - a)).collect();
    let (narrow, wide) = (
        splits.iter().copied().fold(f64::MAX, f64::min),
        splits.iter().copied().fold(f64::MIN, f64::max),
    );
    assert!(
        wide - narrow >= 20.0 && (0.0..30.0).contains(&narrow) && (30.0..60.0).contains(&wide),
        "A2–P2 in ms: {splits:.0?}"
    );
    let qrs = times(&cycle, "qrs_onset");
    let intervals: Vec<f64> = qrs.windows(2).map(|pair| pair[1] - pair[0]).collect();
    assert!(
        intervals.iter().copied().fold(f64::MIN, f64::max)
            > 1.1 * intervals.iter().copied().fold(f64::MAX, f64::min)
    );
}

#[test]
fn third_and_fourth_sounds_come_where_filling_makes_them() {
    let rest = run("rest");
    assert!(
        rest.time_of("s3").is_none() && rest.time_of("s4").is_none(),
        "a resting adult has neither"
    );
    let failing = run("systolic_heart_failure");
    let s3 = 1000.0
        * (failing.time_of("s3").expect("a failing heart has S3") - failing.time_of("a2").unwrap());
    // 130–180 ms after A2 (JAMA 1978;239:2790).
    let s3 = if s3 < 0.0 { s3 + 1000.0 * failing.period_s } else { s3 };
    assert!((130.0..=180.0).contains(&s3), "S3 {s3:.0} ms after A2");
    let stiff = run("stiff_ventricle");
    let s4 = 1000.0
        * (stiff.time_of("s1_onset").unwrap()
            - stiff.time_of("s4").expect("a stiff ventricle has S4"));
    // 40–110 ms before S1 (Am J Cardiol 1976;37:848).
    assert!((40.0..=110.0).contains(&s4), "S4 {s4:.0} ms before S1");
}

/// Murmurs sound where the jet is: between S1 and S2, or after S2.
#[test]
fn murmurs_fall_where_the_flow_is() {
    let loudness = |cycle: &Cycle, from: f64, to: f64| {
        let trace = cycle.trace("heart_sounds").unwrap();
        let inside: Vec<f64> = (0..trace.samples.len())
            .filter(|&i| (from..to).contains(&trace.time_s(i)))
            .map(|i| trace.samples[i].powi(2))
            .collect();
        (inside.iter().sum::<f64>() / inside.len() as f64).sqrt()
    };
    let systole =
        |c: &Cycle| loudness(c, c.time_of("s1_end").unwrap(), c.time_of("a2").unwrap() - 0.02);
    let early_diastole = |c: &Cycle| {
        let from = c.time_of("s2_end").unwrap();
        loudness(c, from, (from + 0.1).min(c.period_s))
    };
    let rest = run("rest");
    assert!(
        systole(&rest) < 0.03 && early_diastole(&rest) < 0.03,
        "a resting adult is silent between the sounds"
    );
    for name in ["aortic_stenosis", "mitral_regurgitation"] {
        assert!(systole(&run(name)) > 0.08, "{name}: {:.3}", systole(&run(name)));
    }
    assert!(early_diastole(&run("aortic_regurgitation")) > 0.08);
}

/// Cut by the cycle's edge, a second sound could not be seen as one.
#[test]
fn no_rate_has_the_second_sound_begin_at_the_cycles_edge() {
    for rate_bpm in (40..=200).step_by(5) {
        let mut heart = Heart::default();
        heart.parameters.set("rate_bpm", f64::from(rate_bpm)).unwrap();
        let cycle = simulate(&heart, 1).unwrap();
        let a2_s = cycle.time_of("a2").unwrap();
        let to_end_s = cycle.period_s - a2_s;
        assert!(
            a2_s > 0.035 && to_end_s > 0.012,
            "{rate_bpm}/min: A2 at {a2_s} s, {to_end_s} s to the end"
        );
    }
}
