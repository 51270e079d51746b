//! Means of beats, values between samples, likeness.

/// A mean and variance that grow by one beat at a time (Welford, Technometrics 1962;4:419–420).
#[derive(Clone, Debug, Default)]
pub(crate) struct Growing {
    pub(crate) count: usize,
    pub(crate) mean: Vec<f64>,
    squares: Vec<f64>,
}

impl Growing {
    pub(crate) fn add(&mut self, values: &[f64]) {
        self.mean.resize(values.len(), 0.0);
        self.squares.resize(values.len(), 0.0);
        self.count += 1;
        for (index, value) in values.iter().enumerate() {
            let off = value - self.mean[index];
            self.mean[index] += off / self.count as f64;
            self.squares[index] += off * (value - self.mean[index]);
        }
    }

    pub(crate) fn sd(&self) -> Vec<f64> {
        let free = self.count.saturating_sub(1).max(1) as f64;
        self.squares.iter().map(|sum| (sum / free).sqrt()).collect()
    }
}

/// The value between samples by the cubic through the four nearest (Lagrange).
pub(crate) fn cubic(samples: &[f64], place: f64) -> f64 {
    let Some(last) = samples.len().checked_sub(1) else { return f64::NAN };
    if last < 3 {
        return samples[(place.round().max(0.0) as usize).min(last)];
    }
    let left = (place.floor().max(1.0) as usize).min(last - 2);
    let t = place - left as f64;
    let [a, b, c, d] = [samples[left - 1], samples[left], samples[left + 1], samples[left + 2]];
    let (before, after, beyond) = (t + 1.0, t - 1.0, t - 2.0);
    -a * t * after * beyond / 6.0 + b * before * after * beyond / 2.0
        - c * before * t * beyond / 2.0
        + d * before * t * after / 6.0
}

/// Pearson's correlation of two beats over some samples; 0 where one is empty or flat.
pub(crate) fn correlation(a: &[f64], b: &[f64], over: std::ops::Range<usize>) -> f64 {
    let (Some(a), Some(b)) = (a.get(over.clone()), b.get(over)) else { return 0.0 };
    let count = a.len().max(1) as f64;
    let (mean_a, mean_b) = (a.iter().sum::<f64>() / count, b.iter().sum::<f64>() / count);
    let (mut aa, mut bb, mut ab) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        let (x, y) = (x - mean_a, y - mean_b);
        (aa, bb, ab) = (aa + x * x, bb + y * y, ab + x * y);
    }
    if aa > 0.0 && bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_is_met_exactly_between_samples() {
        let value = |t: f64| 2.0 - t + 0.5 * t * t - 0.1 * t * t * t;
        let samples: Vec<f64> = (0..9).map(|t| value(f64::from(t))).collect();
        for place in [0.3, 1.0, 3.5, 6.9, 7.6] {
            assert!((cubic(&samples, place) - value(place)).abs() < 1e-9, "{place}");
        }
    }

    #[test]
    fn mean_and_spread_grow_beat_by_beat() {
        let mut growing = Growing::default();
        for value in [2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0] {
            growing.add(&[value]);
        }
        assert!((growing.mean[0] - 5.0).abs() < 1e-12);
        assert!((growing.sd()[0] - (32.0_f64 / 7.0).sqrt()).abs() < 1e-12);
    }
}
