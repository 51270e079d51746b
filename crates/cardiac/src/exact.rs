//! Fractions of whole numbers, so that what is printed can be reckoned with exactly.

use std::ops::{Add, Div, Mul, Sub};

/// A fraction in lowest terms with a positive denominator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Exact {
    over: i128,
    under: i128,
}

impl Exact {
    pub(crate) fn whole(number: i64) -> Self {
        Self { over: i128::from(number), under: 1 }
    }

    /// `value` as printed with `decimals`, rounded half away from zero.
    pub(crate) fn printed(value: f64, decimals: usize) -> Self {
        let under = power(decimals);
        Self::new((value * under as f64).round() as i128, under)
    }

    /// # Panics
    /// Where `under` is 0: callers divide by what they know is positive.
    fn new(over: i128, under: i128) -> Self {
        assert!(under != 0, "a fraction's denominator is not 0");
        let common = common_divisor(over.unsigned_abs(), under.unsigned_abs()) as i128;
        Self { over: over * under.signum() / common, under: under.abs() / common }
    }

    /// Rounded to `decimals`, half away from zero.
    pub(crate) fn round(self, decimals: usize) -> Self {
        let scale = power(decimals);
        let twice = 2 * self.over.abs() * scale + self.under;
        Self::new(self.over.signum() * (twice / (2 * self.under)), scale)
    }

    /// Whether it lies just between two numbers of `decimals`.
    pub(crate) fn is_tie(self, decimals: usize) -> bool {
        let twice = 2 * self.over * power(decimals);
        twice % self.under == 0 && (twice / self.under) % 2 != 0
    }

    /// In full where it ends within `decimals`, otherwise cut there, with an ellipsis.
    pub(crate) fn shown(self, decimals: usize) -> String {
        if let Some(enough) = (0..=decimals).find(|&enough| self.round(enough) == self) {
            return format!("{:.*}", enough, self.to_f64());
        }
        let scale = power(decimals);
        let cut = Self::new(self.over * scale / self.under, scale);
        format!("{:.*}…", decimals, cut.to_f64())
    }

    /// The nearest number.
    pub(crate) fn to_f64(self) -> f64 {
        self.over as f64 / self.under as f64
    }
}

fn power(decimals: usize) -> i128 {
    (0..decimals).fold(1, |power, _| power * 10)
}

fn common_divisor(a: u128, b: u128) -> u128 {
    if b == 0 { a.max(1) } else { common_divisor(b, a % b) }
}

impl Add for Exact {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.over * other.under + other.over * self.under, self.under * other.under)
    }
}

impl Sub for Exact {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::new(self.over * other.under - other.over * self.under, self.under * other.under)
    }
}

impl Mul for Exact {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        Self::new(self.over * other.over, self.under * other.under)
    }
}

impl Div for Exact {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        Self::new(self.over * other.under, self.under * other.over)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_are_rounded_away_from_zero_and_known_for_what_they_are() {
        let half = Exact::whole(125) / Exact::whole(2);
        assert!(half.is_tie(0) && !half.is_tie(1));
        assert_eq!(half.round(0).to_f64(), 63.0);
        assert_eq!((Exact::whole(0) - half).round(0).to_f64(), -63.0);
        assert_eq!(half.round(1), half);
    }

    #[test]
    fn what_does_not_end_is_cut_and_what_ends_is_shown_in_full() {
        let two_thirds = Exact::whole(2) / Exact::whole(3);
        assert_eq!(two_thirds.round(1).to_f64(), 0.7);
        assert_eq!(two_thirds.shown(2), "0.66…");
        assert_eq!((Exact::whole(21) / Exact::whole(4)).shown(3), "5.25");
        assert!(!two_thirds.is_tie(0));
    }

    #[test]
    fn printed_numbers_are_the_decimals_that_are_read() {
        assert_eq!(Exact::printed(5.449, 1), Exact::whole(54) / Exact::whole(10));
        assert_eq!(Exact::printed(5.45, 2).to_f64(), 5.45);
    }
}
