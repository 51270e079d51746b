//! A cycle: traces on one time axis, with named landmarks.
//!
//! A computed heart, a set of rules drawn as a schematic, a recording and a student's
//! drawing each become a [`Cycle`]; what draws, prints, compares or judges one works on
//! all of them. This crate knows nothing of where a cycle comes from and reads no files:
//! text goes in and text comes out.
//!
//! ```
//! use cycle::{Cycle, Trace};
//!
//! let ecg = Trace::new("ecg", "mV", 500.0, 0.0, vec![0.0, 1.0, 0.0]);
//! let cycle = Cycle { period_s: 0.006, traces: vec![ecg], ..Cycle::default() };
//! let again = Cycle::from_json(&cycle.to_json())?;
//! assert_eq!(again, cycle);
//! # Ok::<(), cycle::Error>(())
//! ```

mod continued;
mod nearest;
mod random;
mod subject;
mod table;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use nearest::{nearest, unknown_key};
pub use random::Random;
pub use subject::{
    BarKind, Burst, ChannelKind, EventKind, Feature, FeatureShape, LandmarkKind, PhaseKind,
    Spelling, StrokeKind, Subject,
};

/// What can be wrong with a cycle that is read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The text is not JSON of the expected form.
    #[error("not a cycle: {0}; expected the JSON that `incisura simulate --json` writes")]
    Json(#[from] serde_json::Error),
    /// The text is not a table of the expected form.
    #[error("line {line}: {what}")]
    Table {
        /// One-based line in the text.
        line: u64,
        /// What is wrong, and what was expected.
        what: String,
    },
    /// The parts contradict one another.
    #[error("{0}")]
    Inconsistent(String),
}

/// One channel's samples, equally spaced in time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Trace {
    /// Channel identifier, such as `aortic_pressure`.
    #[serde(rename = "name")]
    pub channel: String,
    /// Unit of the samples, such as `mmHg`; `relative` where a trace has no unit.
    pub unit: String,
    /// Samples per second.
    pub rate_hz: f64,
    /// Time of the first sample.
    pub start_s: f64,
    /// The samples.
    pub samples: Vec<f64>,
}

impl Trace {
    /// A trace of `samples` in `unit`, the first at `start_s`, `rate_hz` of them a second.
    pub fn new(channel: &str, unit: &str, rate_hz: f64, start_s: f64, samples: Vec<f64>) -> Self {
        Self { channel: channel.into(), unit: unit.into(), rate_hz, start_s, samples }
    }

    /// Time of sample `index`, in seconds.
    pub fn time_s(&self, index: usize) -> f64 {
        self.start_s + index as f64 / self.rate_hz
    }

    /// Time just after the last sample, in seconds.
    pub fn end_s(&self) -> f64 {
        self.time_s(self.samples.len())
    }

    /// Value at `time_s` by straight lines between samples, or `None` outside the trace.
    pub fn at(&self, time_s: f64) -> Option<f64> {
        let place = (time_s - self.start_s) * self.rate_hz;
        let last = self.samples.len().checked_sub(1)?;
        // A landmark's time is written in decimal, so it may miss the grid by an ulp or two.
        if !(-1e-6..=last as f64 + 1e-6).contains(&place) {
            return None;
        }
        let place = place.clamp(0.0, last as f64);
        let left = place.floor() as usize;
        let right = (left + 1).min(last);
        let share = place - left as f64;
        Some(self.samples[left] + share * (self.samples[right] - self.samples[left]))
    }

    /// Smallest and largest sample, or `None` where there is none.
    pub fn range(&self) -> Option<(f64, f64)> {
        let first = *self.samples.first()?;
        Some(self.samples.iter().fold((first, first), |(lo, hi), &v| (lo.min(v), hi.max(v))))
    }

    /// Mean of the samples, or `None` where there is none.
    pub fn mean(&self) -> Option<f64> {
        let count = self.samples.len();
        (count > 0).then(|| self.samples.iter().sum::<f64>() / count as f64)
    }
}

/// A named point on a trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Landmark {
    /// Identifier, such as `dicrotic_notch`.
    pub name: String,
    /// The channel it lies on.
    pub channel: String,
    /// When.
    pub time_s: f64,
    /// The channel's value there.
    pub value: f64,
}

/// A named instant that belongs to no one trace, such as a valve closing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Identifier, such as `aortic_closes`.
    pub name: String,
    /// When.
    pub time_s: f64,
}

/// A named stretch of the cycle, such as isovolumic contraction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Phase {
    /// Identifier, such as `rapid_filling`.
    pub name: String,
    /// When it begins.
    pub start_s: f64,
    /// When it ends.
    pub end_s: f64,
}

/// Words written beside a trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Label {
    /// What is written.
    pub text: String,
    /// The channel it is written on.
    pub channel: String,
    /// When: the instant that it points to.
    pub time_s: f64,
}

/// Traces on one time axis, with what is named on them.
///
/// One cycle, or a run of several: then landmarks, events and phases occur once for each.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Cycle {
    /// Length of one cycle; of a run, the mean length.
    pub period_s: f64,
    /// The traces, in the order in which they are shown.
    #[serde(rename = "channels")]
    pub traces: Vec<Trace>,
    /// Landmarks, in the order of time.
    #[serde(default)]
    pub landmarks: Vec<Landmark>,
    /// Events, in the order of time.
    #[serde(default)]
    pub events: Vec<Event>,
    /// Phases, in the order of time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub phases: Vec<Phase>,
    /// Words written on the traces, as on a drawing, in the order of time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub labels: Vec<Label>,
    /// Whether what follows the end of the traces is their beginning again.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub repeats: bool,
    /// Named numbers that sum the cycle up; the unit is in the name.
    #[serde(default)]
    pub summary: BTreeMap<String, f64>,
}

impl Cycle {
    /// The trace of `channel`.
    pub fn trace(&self, channel: &str) -> Option<&Trace> {
        self.traces.iter().find(|trace| trace.channel == channel)
    }

    /// The first landmark called `name`, on whichever channel.
    pub fn landmark(&self, name: &str) -> Option<&Landmark> {
        self.landmarks.iter().find(|landmark| landmark.name == name)
    }

    /// The first landmark called `name` on `channel`.
    pub fn landmark_on(&self, name: &str, channel: &str) -> Option<&Landmark> {
        self.landmarks.iter().find(|landmark| landmark.name == name && landmark.channel == channel)
    }

    /// The first event called `name`.
    pub fn event(&self, name: &str) -> Option<&Event> {
        self.events.iter().find(|event| event.name == name)
    }

    /// When the first landmark or event called `name` happens, in seconds.
    pub fn time_of(&self, name: &str) -> Option<f64> {
        let landmark = self.landmark(name).map(|landmark| landmark.time_s);
        landmark.or_else(|| self.event(name).map(|event| event.time_s))
    }

    /// All times of the landmarks or events called `name`, in seconds.
    pub fn times_of(&self, name: &str) -> Vec<f64> {
        let mut times: Vec<f64> =
            self.landmarks.iter().filter(|l| l.name == name).map(|l| l.time_s).collect();
        if times.is_empty() {
            times.extend(
                self.events.iter().filter(|event| event.name == name).map(|event| event.time_s),
            );
        }
        times
    }

    /// Start of the earliest and end of the latest trace, in seconds.
    pub fn span_s(&self) -> Option<(f64, f64)> {
        let mut spans = self.traces.iter().map(|trace| (trace.start_s, trace.end_s()));
        let first = spans.next()?;
        Some(spans.fold(first, |(start, end), (s, e)| (start.min(s), end.max(e))))
    }

    /// The cycle as JSON; numbers are written so that they read back to the same bits.
    pub fn to_json(&self) -> String {
        // Only a map with keys that are not text can fail, and there is none.
        serde_json::to_string(self).expect("a cycle is plain data")
    }

    /// Reads what [`Cycle::to_json`] writes.
    ///
    /// # Errors
    /// [`Error::Json`] where the text is not of that form, [`Error::Inconsistent`] where a
    /// rate is not positive, a number is missing or a landmark names a channel that is absent.
    pub fn from_json(text: &str) -> Result<Self, Error> {
        let cycle: Self = serde_json::from_str(text)?;
        cycle.check()?;
        Ok(cycle)
    }

    /// Says what contradicts itself in a cycle that came from outside.
    fn check(&self) -> Result<(), Error> {
        let wrong = |what: String| Err(Error::Inconsistent(what));
        if !(self.period_s.is_finite() && self.period_s > 0.0) {
            return wrong(format!("period_s is {}; it must be more than 0", self.period_s));
        }
        for (index, trace) in self.traces.iter().enumerate() {
            if !(trace.rate_hz.is_finite() && trace.rate_hz > 0.0) {
                return wrong(format!(
                    "channel {}: rate_hz is {}; it must be more than 0",
                    trace.channel, trace.rate_hz
                ));
            }
            if self.traces[..index].iter().any(|other| other.channel == trace.channel) {
                return wrong(format!(
                    "channel {} is given twice; give each channel once",
                    trace.channel
                ));
            }
        }
        let landmarks = self.landmarks.iter().map(|l| ("landmark", &l.name, &l.channel));
        let labels = self.labels.iter().map(|l| ("label", &l.text, &l.channel));
        for (kind, name, channel) in landmarks.chain(labels) {
            if self.trace(channel).is_none() {
                return wrong(format!(
                    "{kind} {name} lies on channel {channel}, which is absent; add the channel or leave the {kind} out"
                ));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_between_samples_lies_on_the_line() {
        let trace = Trace::new("ecg", "mV", 10.0, 1.0, vec![0.0, 2.0, 1.0]);
        assert_eq!(trace.at(1.0), Some(0.0));
        for (time_s, value) in [(1.05, 1.0), (1.15, 1.5), (1.2, 1.0)] {
            assert!((trace.at(time_s).unwrap() - value).abs() < 1e-12);
        }
        assert_eq!(trace.at(0.9), None);
        assert_eq!(trace.at(1.25), None);
    }

    #[test]
    fn a_landmark_on_an_absent_channel_is_named() {
        let text = r#"{"period_s":1,"channels":[],"landmarks":[{"name":"r_peak","channel":"ecg","time_s":0,"value":1}]}"#;
        let error = Cycle::from_json(text).unwrap_err().to_string();
        assert!(error.contains("r_peak") && error.contains("ecg"), "{error}");
    }

    #[test]
    fn a_channel_given_twice_is_named() {
        let text = r#"{"period_s":1,"channels":[
            {"name":"ecg","unit":"mV","rate_hz":1,"start_s":0,"samples":[]},
            {"name":"ecg","unit":"mV","rate_hz":1,"start_s":0,"samples":[]}]}"#;
        assert!(Cycle::from_json(text).unwrap_err().to_string().contains("twice"));
    }
}
