//! One channel's samples over some time.

/// A channel's samples within a piece.
#[derive(Clone, Debug, Default)]
pub(crate) struct Stretch {
    /// Time of the first sample.
    pub(crate) start_s: f64,
    pub(crate) rate_hz: f64,
    /// Samples, gaps filled with the value before them.
    pub(crate) samples: Vec<f64>,
    /// Where they were filled.
    pub(crate) missing: Vec<bool>,
    pub(crate) range: Option<[f64; 2]>,
}

impl Stretch {
    /// Takes samples with gaps, and turns them upside down where asked.
    pub(crate) fn fill(&mut self, turned: bool) {
        let sign = if turned { -1.0 } else { 1.0 };
        let mut last = self.samples.iter().copied().find(|v| v.is_finite()).unwrap_or(0.0) * sign;
        self.missing.clear();
        for value in &mut self.samples {
            let absent = !value.is_finite();
            last = if absent { last } else { sign * *value };
            *value = last;
            self.missing.push(absent);
        }
        if turned {
            self.range = self.range.map(|[low, high]| [-high, -low]);
        }
    }

    /// Share of the samples that was recorded.
    fn known(&self) -> f64 {
        let missing = self.missing.iter().filter(|missing| **missing).count();
        1.0 - missing as f64 / self.missing.len().max(1) as f64
    }

    pub(crate) fn place(&self, time_s: f64) -> f64 {
        (time_s - self.start_s) * self.rate_hz
    }

    pub(crate) fn time_s(&self, place: f64) -> f64 {
        self.start_s + place / self.rate_hz
    }

    pub(crate) fn range_of(&self, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
        let whole = |s: f64| (self.place(s).max(0.0).round() as usize).min(self.samples.len());
        whole(from_s)..whole(to_s).max(whole(from_s))
    }

    /// The mean of the samples from one time to another.
    pub(crate) fn mean(&self, from_s: f64, to_s: f64) -> Option<f64> {
        let part = &self.samples[self.range_of(from_s, to_s)];
        (!part.is_empty()).then(|| part.iter().sum::<f64>() / part.len() as f64)
    }

    /// Whether anything moves on it at all, and enough of it was recorded.
    pub(crate) fn lives(&self) -> bool {
        let first = self.samples.first();
        self.known() > 0.3 && self.samples.iter().any(|value| Some(value) != first)
    }
}
