//! Numbers that vary with a seed and with nothing else.

/// SplitMix64 (Steele, Lea and Flood, OOPSLA 2014): the same numbers on every machine.
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// Numbers that depend on `seed` alone.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next of all 64-bit numbers.
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From 0 to below `bound`.
    pub fn below(&mut self, bound: usize) -> usize {
        ((u128::from(self.next()) * bound as u128) >> 64) as usize
    }

    /// Fisher and Yates's shuffle.
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            list.swap(last, self.below(last + 1));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_numbers_are_those_of_the_published_generator() {
        // From memory of the reference implementation's output for the seed 1234567.
        let mut random = Random::new(1_234_567);
        assert_eq!(random.next(), 6_457_827_717_110_365_317);
        assert_eq!(random.next(), 3_203_168_211_198_807_973);
    }
}
