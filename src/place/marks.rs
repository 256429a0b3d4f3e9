//! Registration marks: by these, films of several colours are laid exactly on one another.
//!
//! Three small squares outside the work, at all corners but the upper right one, so that a film
//! cannot be laid the wrong way round. Squares, because they can be weeded like any piece and their
//! corners show a shift in both directions. Own design; size and distance are our own choice.

use super::{CutLine, Role};
use crate::geometry::{Bounds, Contour, Point};

/// Side of a mark, mm: above the smallest piece that films are weeded at (2 mm).
pub(super) const SIDE_MM: f64 = 4.0;
/// Distance of the marks from the work, mm.
pub(super) const GAP_MM: f64 = 5.0;

/// The marks around `work`.
pub(super) fn around(work: Bounds) -> Vec<CutLine> {
    if work.is_empty() {
        return Vec::new();
    }
    let Bounds { min, max } = work.grown(GAP_MM + SIDE_MM / 2.0);
    [min, Point::new(max.x, min.y), Point::new(min.x, max.y)].map(mark).to_vec()
}

/// A mark around `center`.
pub(super) fn mark(center: Point) -> CutLine {
    let Bounds { min, max } = Bounds { min: center, max: center }.grown(SIDE_MM / 2.0);
    let corners = vec![min, Point::new(max.x, min.y), max, Point::new(min.x, max.y)];
    CutLine { contour: Contour::closed(corners), role: Role::Mark, layer: 0, tool: 1 }
}
