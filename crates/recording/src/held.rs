//! A recording that is held in memory.

use crate::ReadError;
use crate::source::{Signal, Source};

/// Signals with all their samples.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Held {
    signals: Vec<Signal>,
    samples: Vec<Vec<f64>>,
}

impl Held {
    /// Adds a signal: its label, unit, rate, range that could be recorded, and samples.
    pub fn add(
        &mut self,
        label: &str,
        unit: &str,
        rate_hz: f64,
        range: Option<[f64; 2]>,
        samples: Vec<f64>,
    ) {
        self.signals.push(Signal {
            label: label.to_owned(),
            unit: unit.to_owned(),
            rate_hz,
            samples: samples.len() as u64,
            range,
        });
        self.samples.push(samples);
    }
}

impl Source for Held {
    fn signals(&self) -> &[Signal] {
        &self.signals
    }

    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        let all = self.samples.get(signal).map_or(&[][..], Vec::as_slice);
        let from = usize::try_from(from).unwrap_or(usize::MAX).min(all.len());
        into.extend_from_slice(&all[from..from.saturating_add(count).min(all.len())]);
        Ok(())
    }
}
