//! What a blade of a given offset cuts on a machine with play: the other half of every reading.
//!
//! A mean diameter of a hole that was cut without compensation depends on the blade's offset and,
//! less, on the play of both axes; the exact propagator foretells it for the very polygon that was
//! cut. Play is the usual lost motion: the tool stays until the carriage has moved by the play
//! after a reversal, each axis for itself.

use std::f64::consts::FRAC_PI_2;

use super::patterns::{TURNS, circle};
use crate::blade::TrailingBlade;
use crate::geometry::{Bounds, Point};

/// Straight way into a modelled circle, mm; what lies before the last turn hardly matters.
const LEAD_MM: f64 = 3.0;

/// Offset of the blade and play of the axes, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cutter {
    /// Distance of tip and axis.
    pub offset_mm: f64,
    /// Lost motion along x and y.
    pub play_mm: Point,
}

/// Mean of width and height of the hole inside a circle of that axis radius, mm.
pub(super) fn hole(cutter: &Cutter, radius_mm: f64, unit_mm: f64) -> f64 {
    if radius_mm <= cutter.offset_mm {
        return 0.0;
    }
    let snap = |v: f64| (v / unit_mm).round() * unit_mm;
    let mut axis: Vec<Point> = circle(Point::ORIGIN, radius_mm, LEAD_MM)
        .into_iter()
        .map(|p| Point::new(snap(p.x), snap(p.y)))
        .collect();
    axis.dedup();
    let axis = with_play(&axis, cutter.play_mm);
    let Some((&first, rest)) = axis.split_first() else { return 0.0 };
    let mut blade = TrailingBlade::new(cutter.offset_mm, first, FRAC_PI_2);
    let last_turn = rest.len() - rest.len() / TURNS;
    let mut bounds = Bounds::EMPTY;
    for (i, &to) in rest.iter().enumerate() {
        blade.line_to(blade.axis().lerp(to, 0.5));
        if i >= last_turn {
            bounds.add(blade.tip());
        }
        blade.line_to(to);
        if i >= last_turn {
            bounds.add(blade.tip());
        }
    }
    (bounds.width() + bounds.height()) / 2.0
}

/// Where the tool goes when the carriage goes along `points` and each axis has play, mm.
///
/// Before the first point the carriage is taken to have come from the lower left.
pub fn with_play(points: &[Point], play_mm: Point) -> Vec<Point> {
    let half = Point::new(play_mm.x.max(0.0), play_mm.y.max(0.0)) * 0.5;
    let Some(&first) = points.first() else { return Vec::new() };
    let mut at = first - half;
    let mut way = vec![at];
    for pair in points.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let mut shares = [
            starts_moving(at.x - from.x, to.x - from.x, half.x),
            starts_moving(at.y - from.y, to.y - from.y, half.y),
            1.0,
        ];
        shares.sort_by(f64::total_cmp);
        for share in shares {
            let carriage = from.lerp(to, share);
            let next = Point::new(
                at.x.clamp(carriage.x - half.x, carriage.x + half.x),
                at.y.clamp(carriage.y - half.y, carriage.y + half.y),
            );
            if next != at {
                way.push(next);
                at = next;
            }
        }
    }
    way
}

/// The share of a move of `travel` after which a tool that is `ahead` of the carriage is taken along.
fn starts_moving(ahead: f64, travel: f64, half: f64) -> f64 {
    let lost = if travel > 0.0 { ahead + half } else { ahead - half };
    if travel == 0.0 { 1.0 } else { (lost / travel).clamp(0.0, 1.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn holes_without_play_follow_the_formula() {
        // 2√(R² − d²); grid values of a simulation of our own from another program, within 0.01.
        for (d, radius, seen) in [(0.25, 0.4, 0.619), (0.5, 0.75, 1.119), (0.9, 1.25, 1.733)] {
            let found = hole(&Cutter { offset_mm: d, play_mm: Point::ORIGIN }, radius, 0.025);
            assert!((found - seen).abs() < 0.01, "{found} instead of {seen}");
        }
    }

    #[test]
    fn play_is_lost_once_at_each_reversal() {
        let go = [0.0, 1.0, 0.0].map(|x| Point::new(x, 0.0));
        let xs: Vec<_> = with_play(&go, Point::new(0.2, 0.0)).iter().map(|p| p.x).collect();
        assert_eq!(xs.first(), Some(&-0.1));
        assert!(xs.iter().any(|x| (x - 0.9).abs() < 1e-12));
        assert!((xs.last().unwrap() - 0.1).abs() < 1e-12);
        assert!(xs.iter().all(|&x| x < 0.9 + 1e-12));
    }
}
