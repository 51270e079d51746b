//! A computed cycle made ready to lie beneath an average beat.

use cycle::{Cycle, Trace};
use recording::Average;

use super::beside::Beside;

/// `computed` on the average beat's time axis, with the landmark that `beside` is aligned on where
/// the average has it. What has no unit, or another one than was recorded, is as high as the recorded
/// trace.
pub(crate) fn beneath(average: &Average, computed: &Cycle, beside: &Beside) -> Option<Cycle> {
    let on = |cycle: &Cycle| {
        cycle.landmark_on(beside.aligned_on, beside.channel).map(|landmark| landmark.time_s)
    };
    let own_s = on(&average.cycle)?;
    let (start_s, end_s) = average.cycle.span_s()?;
    let (first_s, last_s) = computed.span_s()?;
    let turn_s = if computed.repeats { last_s - first_s } else { 0.0 };
    // The second turn's landmark is taken, so that there is something before it.
    let by_s = own_s - (on(computed)? + turn_s);
    let mut cycle = computed.continued(last_s + turn_s + (end_s - start_s));
    for trace in &mut cycle.traces {
        trace.start_s += by_s;
        if let Some(recorded) = average.cycle.trace(&trace.channel) {
            let same = trace.unit == recorded.unit && trace.unit != "relative";
            if !same {
                as_high(trace, recorded);
            }
        }
    }
    cycle.landmarks.iter_mut().for_each(|landmark| landmark.time_s += by_s);
    // Only traces are drawn of it.
    cycle.events.clear();
    cycle.phases.clear();
    Some(cycle)
}

fn as_high(trace: &mut Trace, recorded: &Trace) {
    let [low, high] = extent(&trace.samples);
    let [to_low, to_high] = extent(&recorded.samples);
    if high > low && to_high > to_low {
        let factor = (to_high - to_low) / (high - low);
        trace.samples.iter_mut().for_each(|value| *value = to_low + factor * (*value - low));
        trace.unit.clone_from(&recorded.unit);
    }
}

fn extent(samples: &[f64]) -> [f64; 2] {
    let low = samples.iter().copied().fold(f64::INFINITY, f64::min);
    [low, samples.iter().copied().fold(f64::NEG_INFINITY, f64::max)]
}

#[cfg(test)]
mod tests {
    use cycle::Landmark;

    use super::*;

    fn cycle(start_s: f64, height: f64, peak_s: f64, repeats: bool) -> Cycle {
        let samples = (0..100).map(|i| if i == 50 { height } else { 0.0 }).collect();
        let trace = Trace::new("finger_pulse", "relative", 100.0, start_s, samples);
        // The same name on another channel is another landmark.
        let landmarks = [("aortic_pressure", peak_s - 0.1), ("finger_pulse", peak_s)];
        let landmark = |(channel, time_s): (&str, f64)| Landmark {
            name: "systolic_peak".into(),
            channel: channel.into(),
            time_s,
            value: height,
        };
        let landmarks = landmarks.map(landmark).to_vec();
        Cycle { period_s: 1.0, traces: vec![trace], landmarks, repeats, ..Cycle::default() }
    }

    fn on(aligned_on: &'static str, channel: &'static str) -> Beside {
        Beside { aligned_on, channel, recorded_bpm: 60.0, computed_bpm: 60.0, rows: Vec::new() }
    }

    #[test]
    fn the_computed_landmark_comes_to_lie_on_the_recorded_one_of_the_same_channel() {
        let mut average = Average {
            cycle: cycle(-0.4, 3.0, 0.1, false),
            spread: Vec::new(),
            marks: Vec::new(),
            used: 3,
            left_out: Vec::new(),
            provenance: String::new(),
        };
        // On the other channel it is elsewhere than on the computed cycle.
        average.cycle.landmarks[0].time_s = -0.3;
        let computed = cycle(0.0, 1.0, 0.5, true);
        let pulse = on("systolic_peak", "finger_pulse");
        let under = beneath(&average, &computed, &pulse).unwrap();
        let trace = under.trace("finger_pulse").unwrap();
        assert!((trace.at(0.1).unwrap() - 3.0).abs() < 1e-9, "as high as the recorded one");
        assert!(trace.start_s <= -0.4 && trace.time_s(trace.samples.len()) >= 0.59);
        for nowhere in [on("r_peak", "ecg"), on("systolic_peak", "radial_pressure")] {
            assert!(beneath(&average, &computed, &nowhere).is_none());
        }
    }
}
