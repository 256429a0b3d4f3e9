//! How many cuts are finished where a machine stands: [`finished_at`].
//!
//! A place on the way to a cut, within it or at its end tells; one that fits several cuts does not. A
//! closed contour ends where it begins: lifted there, it may be finished or not begun, unless the tool
//! is lifted and taken away in one.

use std::io::Result;

use super::spool::Spool;
use crate::follow::Setup;
use crate::geometry::Point;
use crate::simulate::{Part, Piece};

/// Where the tool is: plotter units, and whether it is down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Across.
    pub x: i64,
    /// Up.
    pub y: i64,
    /// The tool is down.
    pub down: bool,
}

/// How many cuts of `job` are finished when a machine that has done all it got stands at `place`, if at
/// least `from` and at most `to` are; `None` when the place does not tell.
///
/// # Errors
/// What the system says when the job can't be read.
pub fn finished_at(
    place: Place,
    job: &Spool,
    (from, to): (usize, usize),
    setup: Setup,
) -> Result<Option<usize>> {
    let mut standing = Standing {
        place,
        unit_mm: setup.machine.unit_mm,
        range: (from, to),
        found: [Only::Nobody; 4],
    };
    job.each_piece(setup, &mut |piece| {
        standing.see(&piece);
        piece.number <= to
    })?;
    Ok(standing.answer())
}

/// Which number fits, if only one does.
#[derive(Clone, Copy, PartialEq)]
enum Only {
    Nobody,
    One(usize),
    Several,
}

impl Only {
    fn add(&mut self, number: usize) {
        *self = match *self {
            Self::Nobody => Self::One(number),
            Self::One(other) if other == number => Self::One(number),
            _ => Self::Several,
        };
    }
}

struct Standing {
    place: Place,
    unit_mm: f64,
    range: (usize, usize),
    /// On the way to the next cut; in it; at the end of the last finished one; on the way or lifted in
    /// place at the end.
    found: [Only; 4],
}

impl Standing {
    fn here(&self, p: &Point) -> bool {
        let units = |mm: f64| (mm / self.unit_mm).round() as i64;
        (units(p.x), units(p.y)) == (self.place.x, self.place.y)
    }

    fn see(&mut self, piece: &Piece) {
        let (cut, n) = (&piece.cut, piece.number);
        if cut.travel.iter().skip(1).any(|p| self.here(p)) {
            self.add(n, &[0, 3]);
        }
        let Part::Cut { ends, .. } = piece.part else { return };
        let inner = cut.axis.len().saturating_sub(usize::from(ends));
        if cut.axis.iter().take(inner).skip(1).any(|p| self.here(p)) {
            self.add(n, &[1]);
        }
        if ends && cut.axis.last().is_some_and(|p| self.here(p)) {
            self.add(n + 1, if cut.lifts_in_place { &[2, 3] } else { &[2] });
        }
    }

    /// With `n` cuts finished the place would fit.
    fn add(&mut self, n: usize, kinds: &[usize]) {
        if (self.range.0..=self.range.1).contains(&n) {
            kinds.iter().for_each(|&kind| self.found[kind].add(n));
        }
    }

    fn answer(&self) -> Option<usize> {
        let kinds = if self.place.down { [2, 1, 0] } else { [3, 1, 2] };
        let first =
            kinds.into_iter().map(|kind| self.found[kind]).find(|one| *one != Only::Nobody)?;
        if let Only::One(n) = first { Some(n) } else { None }
    }
}
