//! A cycle that repeats, continued; and a cycle cut short.

use crate::{Cycle, Event, Label, Landmark, Phase};

impl Cycle {
    /// The cycle until `end_s` seconds: what lies after it is left out, and a phase that is
    /// under way ends there.
    pub fn cut(&self, end_s: f64) -> Self {
        let mut shorter = self.clone();
        for trace in &mut shorter.traces {
            let count = ((end_s - trace.start_s) * trace.rate_hz).round().max(0.0);
            trace.samples.truncate(count as usize);
        }
        shorter.landmarks.retain(|landmark| landmark.time_s < end_s);
        shorter.events.retain(|event| event.time_s < end_s);
        shorter.phases.retain(|phase| phase.start_s < end_s);
        shorter.labels.retain(|label| label.time_s < end_s);
        for phase in &mut shorter.phases {
            phase.end_s = phase.end_s.min(end_s);
        }
        shorter
    }

    /// The cycle until past `until_s` seconds: one that repeats goes on with its beginning as
    /// often as needed, in whole turns; any other is returned as it is.
    pub fn continued(&self, until_s: f64) -> Self {
        let mut longer = self.clone();
        let Some((start_s, end_s)) = self.span_s().filter(|(start, end)| end > start) else {
            return longer;
        };
        if !self.repeats || until_s < end_s {
            return longer;
        }
        let turns = ((until_s - start_s) / (end_s - start_s)).floor() as usize;
        for trace in &mut longer.traces {
            trace.samples = trace.samples.repeat(turns + 1);
        }
        for turn in 1..=turns {
            let by = turn as f64 * (end_s - start_s);
            let landmarks = self.landmarks.iter();
            longer
                .landmarks
                .extend(landmarks.map(|l| Landmark { time_s: l.time_s + by, ..l.clone() }));
            let events = self.events.iter();
            longer.events.extend(events.map(|e| Event { time_s: e.time_s + by, ..e.clone() }));
            let phases = self.phases.iter();
            longer.phases.extend(phases.map(|p| Phase {
                start_s: p.start_s + by,
                end_s: p.end_s + by,
                ..p.clone()
            }));
            let labels = self.labels.iter();
            longer.labels.extend(labels.map(|l| Label { time_s: l.time_s + by, ..l.clone() }));
        }
        longer
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Trace;

    fn two_seconds(repeats: bool) -> Cycle {
        let place = |time_s| Landmark {
            name: "r_peak".to_owned(),
            channel: "ecg".to_owned(),
            time_s,
            value: 1.0,
        };
        Cycle {
            period_s: 1.0,
            traces: vec![Trace::new("ecg", "mV", 2.0, 0.0, vec![0.0, 1.0, 2.0, 3.0])],
            landmarks: vec![place(0.5), place(1.5)],
            repeats,
            ..Cycle::default()
        }
    }

    #[test]
    fn a_cycle_that_repeats_goes_on_in_whole_turns() {
        let longer = two_seconds(true).continued(4.0);
        assert_eq!(longer.traces[0].samples, [0.0, 1.0, 2.0, 3.0].repeat(3));
        assert_eq!(longer.times_of("r_peak"), [0.5, 1.5, 2.5, 3.5, 4.5, 5.5]);
        assert!(longer.repeats);
        assert_eq!(two_seconds(true).continued(1.9), two_seconds(true));
    }

    #[test]
    fn what_does_not_repeat_is_not_continued() {
        assert_eq!(two_seconds(false).continued(4.0), two_seconds(false));
    }
}
