//! Overcut: a closed line runs on past its start, corners included, so that no bridge is left.

use super::fit::Piece;
use crate::geometry::Point;

/// What is left of an overcut below this is rounding, and has no direction, mm.
const NOTHING_MM: f64 = 1e-6;

/// The pieces of the first `length_mm` of a chain, once round at most.
pub(super) fn beginning(pieces: &[Piece], length_mm: f64) -> Vec<Piece> {
    let mut left = length_mm;
    let mut taken = Vec::new();
    for piece in pieces {
        if left <= NOTHING_MM {
            break;
        }
        let length = piece.length();
        taken.push(if length <= left { *piece } else { piece.shortened(left) });
        left -= length;
    }
    taken
}

/// `points` (a closed line, its first point repeated at the end) run on for `length_mm`.
///
/// Returns how many of its points lie in the overcut. Nothing is refitted.
pub(super) fn run_on(points: &mut Vec<Point>, length_mm: f64) -> usize {
    let (before, mut left) = (points.len(), length_mm);
    for i in 1..before {
        let (a, b) = (points[i - 1], points[i]);
        let length = a.distance(b);
        if left <= NOTHING_MM {
            break;
        }
        if length > 0.0 {
            points.push(if length <= left { b } else { a.lerp(b, left / length) });
        }
        left -= length;
    }
    points.len() - before
}
