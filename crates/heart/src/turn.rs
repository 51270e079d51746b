//! A trace that repeats, and what can be found on it.

/// Equally spaced samples of something that repeats after the last.
#[derive(Clone, Debug)]
pub(crate) struct Turn {
    pub(crate) samples: Vec<f64>,
    pub(crate) step_s: f64,
}

/// A point on a trace.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Point {
    pub(crate) time_s: f64,
    pub(crate) value: f64,
}

impl Turn {
    fn sample(&self, index: i64) -> f64 {
        self.samples[index.rem_euclid(self.samples.len() as i64) as usize]
    }

    /// Value at any time, by straight lines between samples.
    pub(crate) fn at(&self, time_s: f64) -> f64 {
        let place = time_s / self.step_s;
        let left = place.floor();
        let (a, b) = (self.sample(left as i64), self.sample(left as i64 + 1));
        a + (place - left) * (b - a)
    }

    /// Adds what begins at `from_s` and lasts `lasts_s`, no longer than a turn, by the time since
    /// it began.
    pub(crate) fn add(&mut self, from_s: f64, lasts_s: f64, value: impl Fn(f64) -> f64) {
        let count = self.samples.len() as i64;
        let first = (from_s / self.step_s).ceil() as i64;
        for index in (first..first + count)
            .take_while(|&index| index as f64 * self.step_s - from_s < lasts_s)
        {
            let since_s = index as f64 * self.step_s - from_s;
            self.samples[index.rem_euclid(count) as usize] += value(since_s);
        }
    }

    /// Mean over the whole turn.
    pub(crate) fn mean(&self) -> f64 {
        self.samples.iter().sum::<f64>() / self.samples.len() as f64
    }

    fn indices(&self, from_s: f64, to_s: f64) -> std::ops::RangeInclusive<i64> {
        (from_s / self.step_s).ceil() as i64..=(to_s / self.step_s).floor() as i64
    }

    /// The highest point of the parabola through a sample and its neighbours.
    fn refined(&self, index: i64) -> Point {
        let (a, b, c) = (self.sample(index - 1), self.sample(index), self.sample(index + 1));
        let bend = a - 2.0 * b + c;
        let shift = if bend == 0.0 { 0.0 } else { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) };
        Point { time_s: (index as f64 + shift) * self.step_s, value: b - 0.25 * (a - c) * shift }
    }

    /// The highest sample between two times, refined.
    pub(crate) fn highest(&self, from_s: f64, to_s: f64) -> Option<Point> {
        self.indices(from_s, to_s)
            .max_by(|&a, &b| self.sample(a).total_cmp(&self.sample(b)))
            .map(|i| self.refined(i))
    }

    /// The lowest sample between two times, refined.
    pub(crate) fn lowest(&self, from_s: f64, to_s: f64) -> Option<Point> {
        self.indices(from_s, to_s)
            .min_by(|&a, &b| self.sample(a).total_cmp(&self.sample(b)))
            .map(|i| self.refined(i))
    }

    /// The first sample between two times that is higher than both neighbours.
    pub(crate) fn first_peak(&self, from_s: f64, to_s: f64) -> Option<Point> {
        let peak =
            |&i: &i64| self.sample(i) > self.sample(i - 1) && self.sample(i) >= self.sample(i + 1);
        self.indices(from_s, to_s).find(peak).map(|i| self.refined(i))
    }

    /// The sample between two times that lies highest above the straight line between them,
    /// if one lies above it.
    pub(crate) fn shoulder(&self, from_s: f64, to_s: f64) -> Option<Point> {
        let (first, last) = (self.at(from_s), self.at(to_s));
        let above = |i: i64| {
            let share = (i as f64 * self.step_s - from_s) / (to_s - from_s);
            self.sample(i) - (first + share * (last - first))
        };
        let best = self.indices(from_s, to_s).max_by(|&a, &b| above(a).total_cmp(&above(b)))?;
        let point = Point { time_s: best as f64 * self.step_s, value: self.sample(best) };
        (above(best) > 0.0).then_some(point)
    }

    /// The first sample between two times that is lower than both neighbours.
    pub(crate) fn first_trough(&self, from_s: f64, to_s: f64) -> Option<Point> {
        let trough =
            |&i: &i64| self.sample(i) < self.sample(i - 1) && self.sample(i) <= self.sample(i + 1);
        self.indices(from_s, to_s).find(trough).map(|i| self.refined(i))
    }

    /// Change per second at each sample, by central differences.
    pub(crate) fn slope(&self) -> Self {
        let count = self.samples.len() as i64;
        let slopes =
            (0..count).map(|i| (self.sample(i + 1) - self.sample(i - 1)) / (2.0 * self.step_s));
        Self { samples: slopes.collect(), step_s: self.step_s }
    }

    /// When the trace first rises through `level` between two times.
    pub(crate) fn rises_through(&self, level: f64, from_s: f64, to_s: f64) -> Option<f64> {
        self.crossings(level, from_s, to_s, true).next()
    }

    /// When the trace first falls through `level` between two times.
    pub(crate) fn falls_through(&self, level: f64, from_s: f64, to_s: f64) -> Option<f64> {
        self.crossings(level, from_s, to_s, false).next()
    }

    /// When the trace last falls through `level` between two times.
    pub(crate) fn last_falls_through(&self, level: f64, from_s: f64, to_s: f64) -> Option<f64> {
        self.crossings(level, from_s, to_s, false).last()
    }

    fn crossings(
        &self,
        level: f64,
        from_s: f64,
        to_s: f64,
        upward: bool,
    ) -> impl Iterator<Item = f64> {
        self.indices(from_s, to_s - self.step_s).filter_map(move |i| {
            let (a, b) = (self.sample(i) - level, self.sample(i + 1) - level);
            let crosses = if upward { a < 0.0 && b >= 0.0 } else { a >= 0.0 && b < 0.0 };
            crosses.then(|| (i as f64 + a / (a - b)) * self.step_s)
        })
    }

    /// The trace later by `delay_s`, and smoothed by a first-order lag of `lag_s`.
    pub(crate) fn delayed(&self, delay_s: f64, lag_s: f64) -> Self {
        let count = self.samples.len();
        let keep = libm::exp(-self.step_s / lag_s);
        let mut value = self.mean();
        let mut samples = vec![0.0; count];
        // A second round starts from where the first ended, so that the turn closes.
        for index in (0..count).chain(0..count) {
            value = keep * value + (1.0 - keep) * self.at(index as f64 * self.step_s - delay_s);
            samples[index] = value;
        }
        Self { samples, step_s: self.step_s }
    }
}
