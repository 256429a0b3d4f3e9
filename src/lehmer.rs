//! Numbers that look random, for unit tests: a multiplicative congruential generator (D. H. Lehmer, 1951;
//! the multiplier 48271 of S. K. Park, K. W. Miller, P. K. Stockmeyer, 1993).

/// The generator; always the same numbers.
pub(crate) struct Lehmer(u64);

impl Lehmer {
    /// At its beginning.
    pub(crate) fn new() -> Self {
        Self(48_271)
    }
    fn next(&mut self) -> u64 {
        self.0 = self.0 * 48_271 % 0x7fff_ffff;
        self.0
    }
    /// A whole number from 0 up to `limit`.
    pub(crate) fn below(&mut self, limit: i32) -> i32 {
        (self.next() % limit.unsigned_abs() as u64) as i32
    }
    /// A number from 0 up to 1.
    pub(crate) fn share(&mut self) -> f64 {
        self.next() as f64 / 2_147_483_647.0
    }
}
