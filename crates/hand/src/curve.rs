//! Curves through knots.

/// A curve that rises or falls between its knots as they do: a cubic with slopes that never
/// overshoot (Fritsch and Carlson, SIAM J Numer Anal 1980;17:238–246, with the harmonic mean of
/// neighbouring slopes), and straight beyond its ends.
#[derive(Clone, Debug)]
pub(crate) struct Monotone {
    knots: Vec<[f64; 2]>,
    slopes: Vec<f64>,
}

impl Monotone {
    /// Through `knots`, at least one, in the order of strictly growing abscissas.
    pub(crate) fn new(knots: Vec<[f64; 2]>) -> Self {
        let rate = |a: [f64; 2], b: [f64; 2]| (b[1] - a[1]) / (b[0] - a[0]);
        let rates: Vec<f64> = knots.windows(2).map(|pair| rate(pair[0], pair[1])).collect();
        let slope = |index: usize| match (index.checked_sub(1), rates.get(index)) {
            (None, None) => 1.0,
            (None, Some(&only)) => only,
            (Some(before), None) => rates[before],
            (Some(before), Some(&after)) => {
                let before = rates[before];
                if before * after <= 0.0 { 0.0 } else { 2.0 * before * after / (before + after) }
            }
        };
        let slopes = (0..knots.len()).map(slope).collect();
        Self { knots, slopes }
    }

    pub(crate) fn at(&self, x: f64) -> f64 {
        let last = self.knots.len() - 1;
        let after = self.knots.partition_point(|knot| knot[0] <= x);
        if after == 0 || after > last {
            let end = if after == 0 { 0 } else { last };
            return self.knots[end][1] + self.slopes[end] * (x - self.knots[end][0]);
        }
        let (a, b) = (self.knots[after - 1], self.knots[after]);
        let h = b[0] - a[0];
        let s = (x - a[0]) / h;
        let (s2, s3) = (s * s, s * s * s);
        (2.0 * s3 - 3.0 * s2 + 1.0) * a[1]
            + (s3 - 2.0 * s2 + s) * h * self.slopes[after - 1]
            + (3.0 * s2 - 2.0 * s3) * b[1]
            + (s3 - s2) * h * self.slopes[after]
    }
}

/// From 0 to 1 without a corner at either end.
pub(crate) fn ease(share: f64) -> f64 {
    let s = share.clamp(0.0, 1.0);
    s * s * (3.0 - 2.0 * s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_meets_its_knots_and_never_turns_back() {
        let knots = vec![[0.0, 0.1], [0.2, 0.25], [0.25, 0.26], [0.6, 0.5]];
        let curve = Monotone::new(knots.clone());
        assert!(knots.iter().all(|knot| (curve.at(knot[0]) - knot[1]).abs() < 1e-12));
        let values: Vec<f64> = (-100..800).map(|i| curve.at(f64::from(i) * 1e-3)).collect();
        assert!(values.windows(2).all(|pair| pair[1] >= pair[0] - 1e-12));
    }
}
