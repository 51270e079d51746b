//! An invented recording from the lab: a computed heart with what recorders and students add.

use std::f64::consts::TAU;
use std::fmt::Write as _;

use cycle::{Cycle, Random, Trace};
use heart::Heart;

use crate::failure::Failure;

/// How long it lasts, in seconds, and at how many samples a second.
const LENGTH_S: f64 = 60.0;
const RATE_HZ: f64 = 500.0;
/// What its noise is drawn from: the same recording every time.
const SEED: u64 = 6;
const RATE_BPM: f64 = 68.0;
const PR_MS: f64 = 152.0;
/// Breaths a second.
const BREATHING_HZ: f64 = 0.23;
/// By what share of its rate the heart quickens and slows with the breath.
const QUICKENING: f64 = 0.05;
/// Noise (one standard deviation), mains hum, and the baseline's wandering with the breath, of the
/// ECG in mV.
const ECG_NOISE: f64 = 0.012;
const HUM: f64 = 0.01;
const HUM_HZ: f64 = 50.0;
const WANDER: f64 = 0.08;
/// Noise of the sounds, and of the pulse, in their own units.
const SOUND_NOISE: f64 = 0.008;
const PULSE_NOISE: f64 = 0.004;
/// How much the pulse's height and level change with the breath.
const PULSE_BREATH: [f64; 2] = [0.05, 0.06];
/// When the finger slips out of the clip, in seconds.
const SLIPPED_S: std::ops::Range<f64> = 40.0..43.5;
const SLIPPED_AT: f64 = 0.02;

const HEAD: &str = "\
# An invented recording: a computed heart, with noise, breathing, and a finger that slips out of
# its clip for three seconds. Nobody was recorded.
time_s,ECG II (mV),Heart sounds,Finger pulse
";

/// The recording as a table of comma-separated values.
pub(crate) fn csv() -> Result<String, Failure> {
    let mut heart = Heart::default();
    heart.parameters.rate_bpm = RATE_BPM;
    heart.parameters.pr_interval_ms = PR_MS;
    let beats = (1.2 * LENGTH_S * RATE_BPM / 60.0).ceil() as usize;
    let cycle = heart::simulate(&heart, beats)?;
    let lacks = || Failure::Other("the computed heart lacks a channel".to_owned());
    let trace = |channel: &str| cycle.trace(channel).ok_or_else(lacks);
    let traces = [trace("ecg")?, trace("heart_sounds")?, trace("finger_pulse")?];
    let start_s = start(&cycle);
    let mut random = Random::new(SEED);
    let mut text = HEAD.to_owned();
    for index in 0..(LENGTH_S * RATE_HZ) as usize {
        let time_s = index as f64 / RATE_HZ;
        let [ecg, sounds, pulse] = row(traces, start_s + quickened(time_s), time_s, &mut random);
        let _ = writeln!(text, "{time_s:.3},{ecg:.4},{sounds:.4},{pulse:.4}");
    }
    Ok(text)
}

/// How far the heart is, so many seconds into the recording, as it quickens with each breath.
fn quickened(time_s: f64) -> f64 {
    let turn = TAU * BREATHING_HZ;
    time_s + QUICKENING / turn * (1.0 - libm::cos(turn * time_s))
}

fn start(cycle: &Cycle) -> f64 {
    cycle.span_s().map_or(0.0, |(start, _)| start)
}

/// One row: the traces at `at_s` of the cycle, with what is added `time_s` into the recording.
fn row(traces: [&Trace; 3], at_s: f64, time_s: f64, random: &mut Random) -> [f64; 3] {
    let [ecg, sounds, pulse] = traces.map(|trace| trace.at(at_s).unwrap_or(0.0));
    let breath = libm::sin(TAU * BREATHING_HZ * time_s);
    let hum = HUM * libm::sin(TAU * HUM_HZ * time_s);
    let noise = [ECG_NOISE, SOUND_NOISE, PULSE_NOISE].map(|size| size * normal(random));
    let pulse = (1.0 + PULSE_BREATH[0] * breath) * pulse + PULSE_BREATH[1] * breath + noise[2];
    let slipped = SLIPPED_S.contains(&time_s);
    [
        ecg + WANDER * breath + hum + noise[0],
        sounds + noise[1],
        if slipped { SLIPPED_AT } else { pulse },
    ]
}

/// A normal deviate: twelve even ones less six.
fn normal(random: &mut Random) -> f64 {
    (0..12).map(|_| random.below(1 << 20) as f64 / f64::from(1 << 20)).sum::<f64>() - 6.0
}
