//! Numbers that sum many up.

use landmarks::recorded::percentile;
use serde::Serialize;

/// What is said of a set of numbers.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Statistics {
    /// How many there are.
    pub count: usize,
    /// The middle one.
    pub median: f64,
    /// The mean.
    pub mean: f64,
    /// One standard deviation of single numbers (of the sample; 0 of a single one).
    pub sd: f64,
    /// The smallest.
    pub min: f64,
    /// The largest.
    pub max: f64,
}

impl Statistics {
    /// Of `values`, whose order it changes; `None` of none.
    pub fn of(values: &mut [f64]) -> Option<Self> {
        let count = values.len();
        if count == 0 {
            return None;
        }
        let mean = values.iter().sum::<f64>() / count as f64;
        let squares = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>();
        let sd = if count > 1 { (squares / (count - 1) as f64).sqrt() } else { 0.0 };
        let min = values.iter().copied().fold(f64::INFINITY, f64::min);
        let max = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let low = percentile(values, 0.5);
        // Of an even number the middle lies between two.
        let median = if count % 2 == 1 {
            low
        } else {
            let place = (0.5 * (count - 1) as f64).round() as usize;
            let below = values[..place].iter().copied().fold(f64::NEG_INFINITY, f64::max);
            f64::midpoint(low, below)
        };
        Some(Self { count, median, mean, sd, min, max })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_of_an_even_number_lies_between_two() {
        let found = Statistics::of(&mut [4.0, 1.0, 3.0, 2.0]).unwrap();
        assert_eq!((found.median, found.mean, found.min, found.max), (2.5, 2.5, 1.0, 4.0));
        assert!((found.sd - 1.290_994_448_735_805_6).abs() < 1e-12);
        assert_eq!(Statistics::of(&mut [7.0]).unwrap().sd, 0.0);
        assert_eq!(Statistics::of(&mut [3.0, 9.0, 1.0]).unwrap().median, 3.0);
        assert_eq!(Statistics::of(&mut []), None);
    }
}
