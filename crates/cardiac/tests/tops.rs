//! Peaks and troughs of the shipped conventions' schematics lie where their traces turn.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use cardiac::CONVENTIONS;
use cycle::FeatureShape;
use heart::Heart;

#[test]
fn a_schematics_peaks_are_where_its_traces_turn() {
    let subject = heart::subject();
    let mut off = Vec::new();
    for shipped in CONVENTIONS {
        for rate in [60.0, 75.0, 90.0] {
            let mut heart = Heart::default();
            heart.parameters.rate_bpm = rate;
            let base = heart::simulate(&heart, 1).unwrap();
            let key = convention::schematic(&shipped.convention(), &subject, &base, 1).unwrap();
            for mark in &key.landmarks {
                let kind = subject.landmark(&mark.name);
                let Some(feature) = kind.and_then(|kind| kind.feature_on(&mark.channel)) else {
                    continue;
                };
                let sign = match feature.shape {
                    FeatureShape::Peak => 1.0,
                    FeatureShape::Trough => -1.0,
                    _ => continue,
                };
                let trace = key.trace(&mark.channel).unwrap();
                let at = |ms: i32| {
                    let span = trace.end_s() - trace.start_s - 1.0 / trace.rate_hz;
                    let time = mark.time_s + f64::from(ms) / 1000.0 - trace.start_s;
                    sign * trace.at(trace.start_s + time.rem_euclid(span)).unwrap()
                };
                let top = (-20..=20).max_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap();
                let (low, high) = trace.range().unwrap();
                // In the computed heart this wave is a bump of 0.2 mmHg, which lifting the notch
                // beside it can level; it is then no peak any more.
                if (mark.channel.as_str(), mark.name.as_str()) == ("pa_pressure", "dicrotic_peak") {
                    continue;
                }
                let by = (at(top) - at(0)) / (high - low);
                if by > 0.004 {
                    off.push(format!(
                        "{} {rate} {} {}: {top} ms, {by:.3}",
                        shipped.name, mark.channel, mark.name
                    ));
                }
            }
        }
    }
    assert!(off.is_empty(), "{off:#?}");
}
