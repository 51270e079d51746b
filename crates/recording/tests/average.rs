//! The average beat of a computed heart's recording: a cycle like any other.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

mod support;

use convention::{Scale, compare, judge};
use figure::{FigureSpec, PanelSpec, lay_out};
use recording::{Average, Held, Named, Source as _, average, beats, guess, look, measure};
use support::errors::CHANNELS;
use support::synthetic::{Noise, recording};

fn rest() -> cycle::Cycle {
    heart::simulate(&heart::Heart::default(), 4).unwrap()
}

fn averaged(mut memory: Held) -> (Average, Vec<Named>, recording::Measurements) {
    let mut named = guess(memory.signals());
    look(&mut memory, &mut named, false).unwrap();
    let found = beats(&mut memory, &named).unwrap();
    let measured = measure(&found, &named);
    (average(&mut memory, &named, &found).unwrap().unwrap(), named, measured)
}

fn with_noise() -> Held {
    recording(&rest(), &CHANNELS, 30, Some((Noise::All, 20.0)), 5)
}

/// Landmarks of the average lie where the model has them, whatever the noise and the rates of the
/// channels; delays between channels stay.
#[test]
fn the_average_beat_is_the_heart_that_was_recorded() {
    let (average, ..) = averaged(with_noise());
    assert!(average.used >= 110, "{}", average.provenance);
    assert!((average.cycle.period_s - 0.8).abs() < 0.002);
    let truth = rest();
    let r_s = truth.landmark("r_peak").unwrap().time_s;
    for (channel, name, within_ms) in [
        ("ecg", "p_onset", 4.0),
        ("ecg", "qrs_onset", 3.0),
        ("ecg", "qrs_end", 4.0),
        ("ecg", "t_end", 4.0),
        ("heart_sounds", "s1_onset", 10.0),
        ("heart_sounds", "s2_onset", 10.0),
        ("aortic_pressure", "pressure_foot", 4.0),
        ("aortic_pressure", "dicrotic_notch", 4.0),
        ("finger_pulse", "pressure_foot", 4.0),
    ] {
        let true_s = truth.landmark_on(name, channel).unwrap().time_s - r_s;
        let found = average.cycle.landmark_on(name, channel).unwrap().time_s;
        let off = 1000.0 * (found - true_s);
        assert!(off.abs() <= within_ms, "{channel} {name}: {off:.1} ms");
    }
    for spread in &average.spread {
        let trace = average.cycle.trace(&spread.channel).unwrap();
        assert_eq!(spread.sd.len(), trace.samples.len());
        assert!(spread.beats >= 110 && trace.rate_hz == Average::RATE_HZ);
    }
    // It is written and read like any other cycle.
    assert_eq!(cycle::Cycle::from_json(&average.cycle.to_json()).unwrap(), average.cycle);
}

/// Intervals against the model's own.
#[test]
fn what_is_measured_is_what_the_model_states() {
    let (_, _, measured) = averaged(with_noise());
    let truth = rest();
    let apart = |from: &str, to: (&str, &str)| {
        1000.0
            * (truth.landmark_on(to.0, to.1).unwrap().time_s - truth.landmark(from).unwrap().time_s)
    };
    let notch = truth.landmark_on("dicrotic_notch", "aortic_pressure").unwrap().time_s;
    let foot = truth.landmark_on("pressure_foot", "aortic_pressure").unwrap().time_s;
    for (id, channel, wanted, within) in [
        ("pr", "", apart("p_onset", ("qrs_onset", "ecg")), 5.0),
        ("qrs", "", apart("qrs_onset", ("qrs_end", "ecg")), 5.0),
        ("qt", "", apart("qrs_onset", ("t_end", "ecg")), 5.0),
        ("r_s1", "", apart("r_peak", ("s1_onset", "heart_sounds")), 6.0),
        ("s1_s2", "", apart("s1_onset", ("s2_onset", "heart_sounds")), 8.0),
        ("pep", "aortic_pressure", apart("qrs_onset", ("pressure_foot", "aortic_pressure")), 5.0),
        ("lvet", "aortic_pressure", 1000.0 * (notch - foot), 5.0),
        ("pulse_arrival", "finger_pulse", apart("r_peak", ("pressure_foot", "finger_pulse")), 5.0),
        ("systolic", "aortic_pressure", truth.summary["aortic_systolic_mmhg"], 2.0),
        ("diastolic", "aortic_pressure", truth.summary["aortic_diastolic_mmhg"], 2.0),
        ("mean_pressure", "aortic_pressure", truth.summary["aortic_mean_mmhg"], 1.0),
        ("heart_rate", "", 75.0, 0.2),
    ] {
        let found = measured.get(id, channel).unwrap();
        let off = found.values.median - wanted;
        assert!(off.abs() <= within, "{id} {channel}: off by {off:.2}");
    }
    assert!(measured.get("lvet", "aortic_pressure").unwrap().published.is_some());
    assert!(measured.note.contains("not for diagnosis"));
    let json = serde_json::to_value(&measured).unwrap();
    assert!(json["measurements"][0]["values"]["median"].is_number());
}

#[test]
fn the_average_beat_can_be_drawn_judged_and_compared() {
    let (average, ..) = averaged(with_noise());
    let subject = heart::subject();
    let spec = FigureSpec {
        panels: ["ecg", "heart_sounds", "aortic_pressure", "finger_pulse"]
            .map(|channel| PanelSpec { channels: vec![channel.to_owned()], ..PanelSpec::default() })
            .to_vec(),
        lines: vec!["r_peak".to_owned(), "t_end".to_owned()],
        phases: false,
        ..FigureSpec::default()
    };
    let figure = lay_out(&average.cycle, &subject, &spec).unwrap();
    assert!(figure.svg(figure::FontEmbedding::Referenced).contains("<svg"));
    let convention = cardiac::Shipped::find("measured_physiology").unwrap().convention();
    let verdicts = judge(&average.cycle, &convention, &subject, &Scale::Measured);
    let of_heart = judge(&rest(), &convention, &subject, &Scale::Measured);
    let mut same = 0;
    for (found, truth) in verdicts.iter().zip(&of_heart) {
        let told = found.outcome != convention::Outcome::CannotTell && found.beats > 0;
        assert!(!told || found.outcome == truth.outcome, "{found:?} but {truth:?}");
        same += usize::from(told);
    }
    assert!(same >= 5, "only {same} rules could be judged");
    let rows = compare(&convention, &subject, &average.cycle, &cardiac::published()).rows;
    assert_eq!(rows.len(), convention.rules.len());
}

/// Exchanged electrodes: everything points downwards, which is said, and turned where asked.
#[test]
fn an_ecg_upside_down_is_told_and_turned_where_asked() {
    let mut upright = recording(&rest(), &CHANNELS[..1], 30, None, 1);
    let mut samples = Vec::new();
    upright.read(0, 0, usize::MAX, &mut samples).unwrap();
    samples.iter_mut().for_each(|value| *value = -*value);
    let mut memory = Held::default();
    memory.add("II", "mV", 500.0, None, samples);
    let mut named = guess(memory.signals());
    look(&mut memory, &mut named, false).unwrap();
    assert!(named[0].inverted && !named[0].upright && !named[0].turned);
    assert!(named[0].warnings.iter().any(|text| text.contains("downwards")));
    let as_recorded = beats(&mut memory, &named).unwrap();
    let mut named = guess(memory.signals());
    look(&mut memory, &mut named, true).unwrap();
    assert!(named[0].turned && named[0].upright);
    let turned = beats(&mut memory, &named).unwrap();
    assert_eq!(as_recorded.len(), turned.len());
    for (a, b) in as_recorded.iter().zip(&turned) {
        let height = |beat: &recording::Beat| beat.mark("r_peak", 0).unwrap().value;
        assert!((a.anchor_s - b.anchor_s).abs() < 1e-9 && height(a) < 0.0 && height(b) > 0.0);
    }
}

/// Nothing is measured where the signal is not good, and it is said why.
#[test]
fn faults_are_marked_and_not_measured() {
    let mut source = recording(&rest(), &CHANNELS, 30, None, 1);
    let mut memory = Held::default();
    for (index, (_, label, rate)) in CHANNELS.iter().enumerate() {
        let mut samples = Vec::new();
        source.read(index, 0, usize::MAX, &mut samples).unwrap();
        let at = |s: f64| (s * rate) as usize;
        match *label {
            "Ao" => samples.iter_mut().for_each(|value| *value = value.min(110.0)),
            "radial" => samples[at(20.0)..at(40.0)].fill(f64::NAN),
            "PPG" => samples[at(30.0)..at(50.0)].fill(0.4),
            _ => {}
        }
        memory.add(label, "mmHg", *rate, None, samples);
    }
    let named = guess(memory.signals());
    let found = beats(&mut memory, &named).unwrap();
    let count = |channel: usize, quality: recording::Quality| {
        found.iter().filter(|beat| beat.quality[channel].quality == quality).count()
    };
    use recording::Quality::{Flat, Missing, Saturated};
    assert!(count(2, Saturated) as f64 > 0.95 * found.len() as f64);
    // Twenty seconds are 25 beats.
    assert!((23..=27).contains(&count(3, Missing)), "{}", count(3, Missing));
    assert!((23..=26).contains(&count(4, Flat)), "{}", count(4, Flat));
    for beat in &found {
        for quality in beat.quality.iter().filter(|q| q.quality != recording::Quality::Good) {
            assert!(!quality.why.is_empty());
            assert!(!beat.marks.iter().any(|mark| mark.channel == quality.channel));
        }
    }
}
