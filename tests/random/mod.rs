//! Seeded random numbers, the same everywhere (xorshift, G. Marsaglia 2003).

/// The generator with its state; any seed but 0.
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
