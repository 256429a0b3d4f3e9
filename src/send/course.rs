//! [`Course`]: by which byte of a job how much time has passed and how much was cut.
//!
//! Kept at the beginnings and ends of cuts; between them both run evenly with the bytes. Where a job has
//! more of them than `MOST_PLACES`, every second one is dropped, again and again: what is left is at most
//! a two-thousandth of the cuts apart.

use crate::geometry::Point;
use crate::simulate::{Part, Piece, Totals};

/// Places that are kept at most.
const MOST_PLACES: usize = 4096;

/// How far a job is by a byte.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reached {
    /// Offset in the job.
    pub byte: u64,
    /// Seconds of the simulation; 0 when the machine's motion is unknown.
    pub seconds: f64,
    /// Path of the axis with the tool down, mm.
    pub cut_mm: f64,
}

/// How far a job is by which byte.
#[derive(Debug, Clone, Default)]
pub struct Course {
    /// Places in order, of which every `stride`th was kept.
    places: Vec<Reached>,
    stride: usize,
    seen: usize,
    cut_mm: f64,
    is_timed: bool,
}

impl Course {
    /// The next piece of what the job does.
    pub fn see(&mut self, piece: &Piece) {
        let cut = &piece.cut;
        let Part::Cut { begins, ends } = piece.part else { return };
        if begins {
            self.put(cut.byte, cut.start_s);
        }
        let length = |points: &[Point]| points.windows(2).map(|w| w[0].distance(w[1])).sum::<f64>();
        self.cut_mm += length(&cut.axis);
        if ends {
            self.put(cut.end, cut.end_s);
        }
    }

    /// No more pieces come.
    #[must_use]
    pub fn end(mut self, totals: &Totals) -> Self {
        self.is_timed = totals.time_s.is_some();
        let (byte, seconds) = (totals.bytes, totals.time_s.unwrap_or_default());
        self.places.push(Reached { byte, seconds, cut_mm: self.cut_mm });
        self
    }

    fn put(&mut self, byte: u64, seconds: f64) {
        self.stride = self.stride.max(1);
        if self.seen.is_multiple_of(self.stride) {
            self.places.push(Reached { byte, seconds, cut_mm: self.cut_mm });
        }
        self.seen += 1;
        if self.places.len() >= MOST_PLACES {
            let mut number = 0;
            self.places.retain(|_| {
                number += 1;
                number % 2 == 1
            });
            self.stride *= 2;
        }
    }

    /// Whether the seconds are known.
    pub fn is_timed(&self) -> bool {
        self.is_timed
    }

    /// At the end of the job.
    pub fn whole(&self) -> Reached {
        self.places.last().copied().unwrap_or_default()
    }

    /// How far the job is by `byte`.
    pub fn by(&self, byte: u64) -> Reached {
        let above = self.places.partition_point(|place| place.byte <= byte);
        let below = above.checked_sub(1).and_then(|i| self.places.get(i));
        let a = below.copied().unwrap_or_default();
        let Some(b) = self.places.get(above) else { return Reached { byte, ..a } };
        let share = (byte - a.byte) as f64 / (b.byte - a.byte).max(1) as f64;
        Reached {
            byte,
            seconds: a.seconds + (b.seconds - a.seconds) * share,
            cut_mm: a.cut_mm + (b.cut_mm - a.cut_mm) * share,
        }
    }
}
