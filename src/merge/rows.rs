//! Rows of equal height along y, for sweeps along x.

use std::ops::RangeInclusive;

/// Where the rows lie, µm.
pub(super) struct Rows {
    low: i64,
    height: i64,
}

impl Rows {
    /// `count` rows, and one for rounding, from `low` to `high`.
    pub fn over([low, high]: [i64; 2], count: i64) -> Self {
        Self { low, height: (high - low) / count + 1 }
    }

    /// The row of a height between the lowest and the highest.
    pub fn of(&self, y: i32) -> usize {
        ((i64::from(y) - self.low) / self.height) as usize
    }

    /// The rows between two heights, whichever is the lower one; both lie between the lowest and the
    /// highest.
    pub fn between(&self, [a, b]: [i32; 2]) -> RangeInclusive<usize> {
        let (a, b) = (self.of(a), self.of(b));
        a.min(b)..=a.max(b)
    }
}
