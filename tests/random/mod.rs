//! Seeded random numbers, the same everywhere: for tests and benches.
#![allow(dead_code)]

/// SplitMix64 (Steele, Lea and Flood 2014) with its state; any seed.
pub struct Dice(pub u64);

impl Dice {
    /// From 0 up to 1.
    pub fn roll(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A whole number from 0, less than `below`.
    pub fn next(&mut self, below: u64) -> u64 {
        self.bits() % below.max(1)
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
}

/// Xorshift (G. Marsaglia 2003) with its state; any seed but 0.
pub struct Random(pub u64);

impl Random {
    /// From 0 up to 1.
    pub fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
}
