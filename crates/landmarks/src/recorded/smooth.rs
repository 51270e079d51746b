//! Smoothing by means over windows, and what is told from a stretch's values alone.

/// An odd number of samples near `seconds` at `rate_hz`, at least 1.
pub(super) fn odd(seconds: f64, rate_hz: f64) -> usize {
    2 * ((seconds * rate_hz - 1.0) / 2.0).round().max(0.0) as usize + 1
}

/// The mean over `width` (odd) samples around each sample; near the ends over those that there are
/// on both sides.
pub(super) fn boxcar(from: &[f64], width: usize, into: &mut Vec<f64>) {
    into.clear();
    let half = (width / 2).min(from.len().saturating_sub(1) / 2);
    let share = 1.0 / (2 * half + 1) as f64;
    // Ends first: the window grows by two with each sample.
    let mut sum = 0.0;
    for reach in 0..half {
        sum = if reach == 0 { from[0] } else { sum + from[2 * reach - 1] + from[2 * reach] };
        into.push(sum / (2 * reach + 1) as f64);
    }
    let mut sum: f64 = from.iter().take(2 * half + 1).sum();
    for index in half..from.len() - half.min(from.len()) {
        into.push(sum * share);
        if let (Some(new), old) = (from.get(index + half + 1), from[index - half]) {
            sum += new - old;
        }
    }
    for reach in (0..half).rev() {
        let part = &from[from.len() - 2 * reach - 1..];
        into.push(part.iter().sum::<f64>() / part.len() as f64);
    }
}

/// Half the difference over `reach` samples on either side, a sample.
pub(super) fn slope(from: &[f64], reach: usize, into: &mut Vec<f64>) {
    let last = from.len().saturating_sub(1);
    into.clear();
    into.extend((0..from.len()).map(|index| {
        let (a, b) = (index.saturating_sub(reach), (index + reach).min(last));
        if a == b { 0.0 } else { (from[b] - from[a]) / (b - a) as f64 }
    }));
}

/// The value below which `share` of `values` lie, or 0 of none. Orders the values.
pub fn percentile(values: &mut [f64], share: f64) -> f64 {
    let Some(last) = values.len().checked_sub(1) else { return 0.0 };
    let place = (share.clamp(0.0, 1.0) * last as f64).round() as usize;
    *values.select_nth_unstable_by(place, f64::total_cmp).1
}

/// The grain of a stretch: one standard deviation of what differs from sample to sample, from the
/// middle of the second differences' sizes (of white noise their variance is six times its own,
/// and the middle of a normal deviate's size 0.6745), so that waves hardly count. Uses `room`.
pub fn grain(samples: &[f64], room: &mut Vec<f64>) -> f64 {
    // Every seventh is enough for a middle, and what repeats with the mains has no period of 7.
    let every = if samples.len() > 7000 { 7 } else { 1 };
    let second = |w: &[f64]| (w[0] - 2.0 * w[1] + w[2]).abs();
    room.clear();
    room.extend(samples.windows(3).step_by(every).map(second));
    percentile(room, 0.5) / 0.6745 / 6.0_f64.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mean_over_a_window_is_that_of_its_samples() {
        let from = [1.0, 5.0, 3.0, 2.0, 9.0, 4.0];
        let mut into = Vec::new();
        boxcar(&from, 3, &mut into);
        let wanted = [1.0, 3.0, 10.0 / 3.0, 14.0 / 3.0, 5.0, 4.0];
        assert_eq!(into.len(), from.len());
        for (found, wanted) in into.iter().zip(wanted) {
            assert!((found - wanted).abs() < 1e-12, "{into:?}");
        }
        boxcar(&from, 99, &mut into);
        assert_eq!(into.len(), from.len());
        boxcar(&[], 5, &mut into);
        assert!(into.is_empty());
    }

    #[test]
    fn the_grain_of_white_noise_is_its_standard_deviation() {
        let mut random = cycle::Random::new(3);
        let mut even = || random.below(1_000_000) as f64 / 1e6 - 0.5;
        // Twelve even deviates less six have variance 1.
        let noise: Vec<f64> = (0..6000).map(|_| (0..12).map(|_| even()).sum()).collect();
        assert!((grain(&noise, &mut Vec::new()) - 1.0).abs() < 0.05);
    }
}
