//! What differs from student to student, from a seed alone.

use std::f64::consts::TAU;

use cycle::Random;

/// Random numbers of the kinds that a hand needs.
#[derive(Clone, Debug)]
pub(crate) struct Chance(Random);

impl Chance {
    /// Numbers that depend on `seed` and on what they are `for_what` alone, so that more of the
    /// one kind leaves the others as they are.
    pub(crate) fn new(seed: u64, for_what: &str) -> Self {
        // FNV-1a, 64 bits (Fowler, Noll and Vo; offset and prime from memory).
        let mut mixed = 0xcbf2_9ce4_8422_2325_u64 ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        for byte in for_what.bytes() {
            mixed = (mixed ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        Self(Random::new(mixed))
    }

    /// From 0 to below 1.
    pub(crate) fn share(&mut self) -> f64 {
        self.0.below(1 << 53) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + self.share() * (high - low)
    }

    pub(crate) fn often(&mut self, share: f64) -> bool {
        self.share() < share
    }

    /// One or minus one.
    pub(crate) fn side(&mut self) -> f64 {
        if self.often(0.5) { 1.0 } else { -1.0 }
    }

    pub(crate) fn below(&mut self, bound: usize) -> usize {
        self.0.below(bound)
    }

    pub(crate) fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.below(from.len())]
    }

    pub(crate) fn shuffle<T>(&mut self, list: &mut [T]) {
        self.0.shuffle(list);
    }

    /// Normally distributed with mean 0 and deviation 1, no further out than 2.5.
    pub(crate) fn normal(&mut self) -> f64 {
        let far = libm::sqrt(-2.0 * libm::log(1.0 - self.share()));
        (far * libm::cos(TAU * self.share())).clamp(-2.5, 2.5)
    }
}

/// A smooth wandering of a hand along its way.
#[derive(Clone, Debug)]
pub(crate) struct Wander(Vec<[f64; 3]>);

impl Wander {
    /// About `size` from peak to middle, with wavelengths from `low` to `high` along the way.
    pub(crate) fn new(chance: &mut Chance, size: f64, [low, high]: [f64; 2]) -> Self {
        const WAVES: usize = 4;
        let wave = |_| {
            let length = low * libm::pow(high / low, chance.share());
            [size / WAVES as f64 * chance.between(0.6, 1.6), TAU / length, TAU * chance.share()]
        };
        Self((0..WAVES).map(wave).collect())
    }

    pub(crate) fn at(&self, along: f64) -> f64 {
        self.0.iter().map(|[size, per_mm, phase]| size * libm::sin(per_mm * along + phase)).sum()
    }
}
