//! Seeded, named random streams.
//!
//! In: a seed and a name. Out: a generator that depends on nothing else, so that a new noise source moves no
//! other. The generator (PCG XSL RR 128/64 MCG) and the hash of the name (FNV-1a, 64 bit) are fixed: a seed
//! written in a record means the same numbers years later.

pub use rand::RngExt as _;
use rand::SeedableRng;
pub use rand_distr::Distribution;
#[cfg(feature = "door")]
use rand_distr::Normal;
use rand_distr::StandardNormal;
pub use rand_pcg::Pcg64Mcg as Stream;

/// The seed of a run; every random stream of the run comes from it by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seed(pub u64);

impl Seed {
    /// The stream called `name`.
    #[must_use]
    pub fn stream(self, name: &str) -> Stream {
        let hash = name
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3));
        Stream::seed_from_u64(self.0.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ hash)
    }

    /// A seed derived from this one, for the `index`-th of many equal things.
    #[must_use]
    pub fn nth(self, index: u64) -> Seed {
        let mut z = self.0.wrapping_add(index.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15));
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        Seed(z ^ (z >> 31))
    }
}

/// One draw from the normal distribution of mean 0 and standard deviation 1.
pub fn standard_normal(stream: &mut Stream) -> f64 {
    StandardNormal.sample(stream)
}

/// One draw from the normal distribution; a standard deviation that is not finite and positive gives the mean.
#[cfg(feature = "door")]
pub fn normal(stream: &mut Stream, mean: f64, sd: f64) -> f64 {
    Normal::new(mean, sd).map_or(mean, |d| d.sample(stream))
}

/// One draw from the uniform distribution on `[low, high)`; an empty range gives `low`.
pub fn uniform(stream: &mut Stream, low: f64, high: f64) -> f64 {
    if low < high { stream.random_range(low..high) } else { low }
}

/// Shuffles `items` in place (Fisher-Yates).
pub fn shuffle<T>(stream: &mut Stream, items: &mut [T]) {
    for i in (1..items.len()).rev() {
        items.swap(i, stream.random_range(0..=i));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_are_named_and_repeatable() {
        let draw = |seed: u64, name: &str| standard_normal(&mut Seed(seed).stream(name));
        assert_eq!(draw(1, "gauge").to_bits(), draw(1, "gauge").to_bits());
        assert_ne!(draw(1, "gauge").to_bits(), draw(1, "scale").to_bits());
        assert_ne!(draw(1, "gauge").to_bits(), draw(2, "gauge").to_bits());
    }
}
