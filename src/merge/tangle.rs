//! Contours that were rounded to a coarse grid and now cross → contours that do not.

use i_overlay::core::fill_rule::FillRule as Rule;
use i_overlay::core::overlay::{IntOverlayOptions, Overlay, ShapeType};
use i_overlay::core::overlay_rule::OverlayRule;

use super::{Ring, Vertex};

/// Contours of less than this many square steps of the grid are left out.
const SPECK: u64 = 4;

/// What the contours bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Inside {
    /// Pieces, with holes that run the other way round.
    Pieces,
    /// Holes in a piece whose outline is not among the contours, with islands in them.
    Holes,
}

/// The boundary of what `contours` bound, in whole steps of any grid below 2²⁹: outlines of pieces
/// counter-clockwise, holes clockwise, none crossing another or itself. Where two pieces overlap
/// they become one; where a hole crosses its outline, it opens.
#[must_use]
pub fn untangled(contours: &[Vec<(i32, i32)>], inside: Inside) -> Vec<Vec<(i32, i32)>> {
    let options = IntOverlayOptions { min_output_area: SPECK, ..IntOverlayOptions::ogc() };
    let count = contours.iter().map(Vec::len).sum();
    let mut overlay = Overlay::new_custom(count, options, Default::default());
    for contour in contours {
        let ring: Ring = contour.iter().map(|&(x, y)| Vertex::new(x, y)).collect();
        overlay.add_contour(&ring, ShapeType::Subject);
    }
    let rule = match inside {
        Inside::Pieces => Rule::Positive,
        Inside::Holes => Rule::Negative,
    };
    let shapes = overlay.overlay(OverlayRule::Subject, rule);
    let out = shapes.into_iter().flatten().map(|ring: Ring| {
        let mut points: Vec<(i32, i32)> = ring.iter().map(|v| (v.x, v.y)).collect();
        if inside == Inside::Holes {
            points.reverse();
        }
        points
    });
    out.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(x0: i32, y0: i32, x1: i32, y1: i32) -> Vec<(i32, i32)> {
        vec![(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    }

    fn hole(x0: i32, y0: i32, x1: i32, y1: i32) -> Vec<(i32, i32)> {
        ring(x0, y0, x1, y1).into_iter().rev().collect()
    }

    fn areas(contours: &[Vec<(i32, i32)>]) -> Vec<i64> {
        let area = |ring: &Vec<(i32, i32)>| {
            let next = |i: usize| ring[(i + 1) % ring.len()];
            let twice = ring.iter().enumerate().map(|(i, p)| {
                i64::from(p.0) * i64::from(next(i).1) - i64::from(p.1) * i64::from(next(i).0)
            });
            twice.sum::<i64>() / 2
        };
        let mut areas: Vec<i64> = contours.iter().map(area).collect();
        areas.sort_unstable();
        areas
    }

    #[test]
    fn overlapping_pieces_join_and_a_hole_over_the_edge_opens() {
        let two = [ring(0, 0, 100, 100), ring(99, 20, 200, 80)];
        assert_eq!(areas(&untangled(&two, Inside::Pieces)), [10_000 + 101 * 60 - 60]);
        let open = [ring(0, 0, 100, 100), hole(50, 20, 101, 80)];
        assert_eq!(areas(&untangled(&open, Inside::Pieces)), [10_000 - 50 * 60]);
    }

    #[test]
    fn holes_join_and_islands_in_them_stay() {
        let two = [hole(0, 0, 100, 100), hole(99, 20, 200, 80)];
        assert_eq!(areas(&untangled(&two, Inside::Holes)), [-(10_000 + 101 * 60 - 60)]);
        let island = [hole(0, 0, 100, 100), ring(30, 30, 101, 60)];
        assert_eq!(areas(&untangled(&island, Inside::Holes)), [-(10_000 - 70 * 30)]);
        let within = [hole(0, 0, 100, 100), ring(30, 30, 60, 60)];
        assert_eq!(areas(&untangled(&within, Inside::Holes)), [-10_000, 900]);
    }
}
