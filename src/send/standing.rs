//! How many cuts are finished where a machine stands: [`finished_at`].
//!
//! A place on the way to a cut, within it or at its end tells; one that fits several cuts does not, unless
//! they are passes over one line: those can't be told apart on the film either, and the first of them is
//! the one to go on with. A closed contour ends where it begins: lifted there, it may be finished or not
//! begun, unless the tool is lifted and taken away in one, or another pass over it follows.

use std::io::Result;

use super::spool::Spool;
use crate::follow::Setup;
use crate::geometry::{Bounds, Point};
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
        found: [None; 4],
        boxes: Vec::new(),
    };
    job.each_piece(setup, &mut |piece| {
        standing.see(&piece);
        piece.number <= to
    })?;
    Ok(standing.answer())
}

/// Cuts whose boxes differ by less are passes over one line, if the machine stands on each of them, mm: a
/// blade's axis goes other ways from pass to pass, by up to its offset.
const SAME_BOX_MM: f64 = 1.0;

struct Standing {
    place: Place,
    unit_mm: f64,
    range: (usize, usize),
    /// The least and the largest number that fit: on the way to the next cut; in it; at the end of the last
    /// finished one; on the way or lifted in place at the end.
    found: [Option<(usize, usize)>; 4],
    /// Of the cuts from the first on that may be unfinished, mm.
    boxes: Vec<Bounds>,
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
        let Part::Cut { begins, ends } = piece.part else { return };
        // No way leads to a cut that begins where the tool is.
        if begins && cut.axis.first().is_some_and(|p| self.here(p)) {
            self.add(n, &[0, 3]);
        }
        self.bound(piece);
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
            for &kind in kinds {
                let (least, most) = self.found[kind].unwrap_or((n, n));
                self.found[kind] = Some((least.min(n), most.max(n)));
            }
        }
    }

    fn answer(&self) -> Option<usize> {
        let kinds = if self.place.down { [2, 1, 0] } else { [3, 1, 2] };
        let (kind, (least, most)) =
            kinds.into_iter().find_map(|kind| Some((kind, self.found[kind]?)))?;
        // Where a cut ended, the cut before the number is meant.
        let ended = usize::from(kind > 1);
        let passes = || least >= ended && self.are_passes(least - ended, most - ended);
        // Lifted where a closed line begins, between its passes: the cuts behind the numbers are meant.
        let between = || kind == 3 && self.are_passes(least, most);
        (least == most || passes() || between()).then_some(least)
    }

    /// Takes the cut's box down.
    fn bound(&mut self, piece: &Piece) {
        let Some(at) = (piece.number + 1).checked_sub(self.range.0) else { return };
        if self.boxes.len() <= at {
            self.boxes.resize(at + 1, Bounds::EMPTY);
        }
        piece.cut.axis.iter().for_each(|&p| self.boxes[at].add(p));
    }

    /// Whether the cuts from index `first` to `last` go over one line.
    fn are_passes(&self, first: usize, last: usize) -> bool {
        let from = self.range.0;
        let cut = |index: usize| self.boxes.get((index + 1).checked_sub(from)?);
        let near = |a: Point, b: Point| a.distance(b) < SAME_BOX_MM;
        let Some(one) = cut(first) else { return false };
        (first..=last)
            .all(|index| cut(index).is_some_and(|b| near(b.min, one.min) && near(b.max, one.max)))
    }
}
