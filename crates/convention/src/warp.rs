//! Curves through knots that repeat.

/// A curve through knots, rising where they rise, repeated every period.
///
/// Between knots it is a cubic whose slopes never overshoot (Fritsch and Carlson, SIAM J
/// Numer Anal 1980;17:238–246, with their harmonic mean of neighbouring slopes), or straight.
#[derive(Clone, Debug)]
pub(crate) struct Periodic {
    /// Knots in the order of their abscissa, the first repeated at the end a period later.
    knots: Vec<[f64; 2]>,
    slopes: Vec<f64>,
    period: f64,
    /// How much the ordinate gains in a period.
    gain: f64,
    straight: bool,
}

impl Periodic {
    /// Through `knots`, which need at least one and no two of the same abscissa; `gain` is
    /// what the ordinate gains in a period.
    pub(crate) fn new(mut knots: Vec<[f64; 2]>, period: f64, gain: f64, straight: bool) -> Self {
        knots.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let first = knots[0];
        knots.push([first[0] + period, first[1] + gain]);
        let steps: Vec<f64> = knots
            .windows(2)
            .map(|pair| (pair[1][1] - pair[0][1]) / (pair[1][0] - pair[0][0]))
            .collect();
        let count = steps.len();
        let slope = |index: usize| {
            let (before, after) = (steps[(index + count - 1) % count], steps[index % count]);
            if before * after <= 0.0 {
                return 0.0;
            }
            let width = |index: usize| knots[index % count + 1][0] - knots[index % count][0];
            let (h0, h1) = (width(index + count - 1), width(index));
            let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
            (w0 + w1) / (w0 / before + w1 / after)
        };
        let slopes = (0..=count).map(slope).collect();
        Self { knots, slopes, period, gain, straight }
    }

    /// Level at the knots with these abscissae, so that what it is added to keeps its peaks and
    /// troughs there.
    pub(crate) fn level_at(mut self, places: &[f64]) -> Self {
        for (knot, slope) in self.knots.iter().zip(&mut self.slopes) {
            let on = |place: &f64| {
                let turns = ((place - knot[0]) / self.period).round();
                (place - knot[0] - turns * self.period).abs() < 1e-9
            };
            if places.iter().any(on) {
                *slope = 0.0;
            }
        }
        self
    }

    /// The ordinate at any abscissa.
    pub(crate) fn at(&self, x: f64) -> f64 {
        let turns = ((x - self.knots[0][0]) / self.period).floor();
        let inner = x - turns * self.period;
        let index =
            self.knots.partition_point(|knot| knot[0] <= inner).clamp(1, self.knots.len() - 1);
        let (a, b) = (self.knots[index - 1], self.knots[index]);
        let h = b[0] - a[0];
        let s = ((inner - a[0]) / h).clamp(0.0, 1.0);
        let value = if self.straight {
            a[1] + s * (b[1] - a[1])
        } else {
            let (s2, s3) = (s * s, s * s * s);
            (2.0 * s3 - 3.0 * s2 + 1.0) * a[1]
                + (s3 - 2.0 * s2 + s) * h * self.slopes[index - 1]
                + (3.0 * s2 - 2.0 * s3) * b[1]
                + (s3 - s2) * h * self.slopes[index]
        };
        value + turns * self.gain
    }
}

/// The values nearest to `values` (least squares) that never fall: pool adjacent violators.
pub(crate) fn never_falling(values: &mut [f64]) {
    let mut blocks: Vec<(f64, usize)> = Vec::new();
    for &value in values.iter() {
        let mut block = (value, 1);
        while let Some(&(sum, count)) = blocks.last() {
            if sum / count as f64 <= block.0 / block.1 as f64 {
                break;
            }
            blocks.pop();
            block = (block.0 + sum, block.1 + count);
        }
        blocks.push(block);
    }
    let mut place = 0;
    for (sum, count) in blocks {
        values[place..place + count].fill(sum / count as f64);
        place += count;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_meets_its_knots_and_never_turns_back() {
        let knots = vec![[0.1, 0.1], [0.2, 0.25], [0.25, 0.26], [0.6, 0.5]];
        for straight in [false, true] {
            let curve = Periodic::new(knots.clone(), 0.8, 0.8, straight);
            for knot in &knots {
                assert!((curve.at(knot[0]) - knot[1]).abs() < 1e-12);
                assert!((curve.at(knot[0] + 1.6) - knot[1] - 1.6).abs() < 1e-12);
            }
            let values: Vec<f64> = (0..2000).map(|i| curve.at(f64::from(i) * 1e-3)).collect();
            assert!(values.windows(2).all(|pair| pair[1] >= pair[0] - 1e-12));
        }
    }

    #[test]
    fn a_curve_is_level_where_it_is_told_to_be() {
        let knots = vec![[0.1, 0.1], [0.2, 0.25], [0.25, 0.26], [0.6, 0.5]];
        let free = Periodic::new(knots.clone(), 0.8, 0.8, false);
        let level = Periodic::new(knots, 0.8, 0.8, false).level_at(&[0.2, 1.05]);
        let slope = |curve: &Periodic, x: f64| (curve.at(x + 1e-6) - curve.at(x - 1e-6)) / 2e-6;
        for x in [0.2, 0.25] {
            assert!(slope(&free, x) > 0.1, "{}", slope(&free, x));
            assert!(slope(&level, x).abs() < 1e-4, "{}", slope(&level, x));
        }
        let values: Vec<f64> = (0..2000).map(|i| level.at(f64::from(i) * 1e-3)).collect();
        assert!(values.windows(2).all(|pair| pair[1] >= pair[0] - 1e-12));
    }

    #[test]
    fn pooled_values_never_fall_and_keep_their_sum() {
        let mut values = [1.0, 3.0, 2.0, 2.0, 5.0, 4.0];
        never_falling(&mut values);
        let third = 7.0 / 3.0;
        let expected = [1.0, third, third, third, 4.5, 4.5];
        assert!(values.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "{values:?}");
    }
}
