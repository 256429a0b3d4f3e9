//! Turning the blade about its resting tip: how far the axis must stand off, in how many chords.
//!
//! A swing by τ about a corner C takes the axis around C at about the blade offset d. Chords cut
//! the arc short, so their vertices stand off a little further: a chord turns the blade by exactly
//! 2h when its length is 2d·artanh(sin h), hence vertex radius ρ = d·artanh(sin h)/sin h
//! (≈ d(1 + h²/3)). With ρ the swing ends on the wanted heading exactly and the tip leaves C by no
//! more than ρ − d; with vertices at d it ends up to 4° short. (Own derivation from the tractrix;
//! the values are among the records of `tests/data/knife-check-vectors.json`.)

use std::f64::consts::PI;

use crate::geometry::Point;

/// Widest step of a swing, radians: beyond a sixth of a turn, ρ − d is no longer about d·h²/3.
const WIDEST_STEP: f64 = PI / 3.0;
/// Narrowest step, radians (2°): whatever the tolerance, a swing has an end.
const NARROWEST_STEP: f64 = PI / 90.0;

/// One swing of the blade about its tip.
#[derive(Debug, Clone, Copy)]
pub(super) struct Swing {
    /// Where the tip rests, mm.
    pub corner: Point,
    /// Heading before, radians.
    pub from: f64,
    /// How far to turn, radians, counter-clockwise above 0.
    pub turn: f64,
}

impl Swing {
    /// The axis positions from the first to the last, mm; at least two.
    pub fn vertices(&self, offset_mm: f64, tolerance_mm: f64) -> Vec<Point> {
        let steps = (self.turn.abs() / step(offset_mm, tolerance_mm)).ceil().max(1.0);
        let radius = vertex_radius(offset_mm, self.turn / steps);
        (0..=steps as usize)
            .map(|i| self.corner + Point::along(self.from + self.turn * i as f64 / steps) * radius)
            .collect()
    }
}

/// Widest step, radians, for which the tip leaves the corner by no more than `tolerance_mm`.
///
/// From ρ − d ≈ d·(h²/3 + 4h⁴/45). It is also the turn below which a corner needs no swing of its own: one
/// chord does it.
pub(super) fn step(offset_mm: f64, tolerance_mm: f64) -> f64 {
    let square = 3.0 * tolerance_mm / offset_mm;
    (2.0 * square.sqrt() * (1.0 - square * 2.0 / 15.0)).clamp(NARROWEST_STEP, WIDEST_STEP)
}

/// Distance of the chords' vertices from the resting tip for a blade turned by `step` each, mm.
pub(super) fn vertex_radius(offset_mm: f64, step: f64) -> f64 {
    let sin = (step / 2.0).sin().abs();
    if sin < 1e-9 { offset_mm } else { offset_mm * sin.atanh() / sin }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blade::TrailingBlade;

    #[test]
    fn a_swing_ends_on_its_heading_with_the_tip_at_rest() {
        for offset in [0.1, 0.25, 0.9] {
            for turn in [-3.1, -1.5, 0.1, 0.6, 2.0, PI] {
                let corner = Point::new(3.0, -2.0);
                let axis = Swing { corner, from: 0.7, turn }.vertices(offset, 0.005);
                let mut blade = TrailingBlade::new(offset, axis[0], 0.7);
                for &to in &axis[1..] {
                    assert!(blade.tip().distance(corner) < 0.00501, "{offset} {turn}");
                    blade.line_to(to);
                }
                let off = crate::geometry::wrap_angle(blade.heading() - 0.7 - turn);
                assert!(off.abs() < 1e-12, "{off}");
            }
        }
    }

    #[test]
    fn the_step_rule_gives_the_known_angles() {
        // Trailing-knife step rule for 0.005 mm: 28°, 20° and 15°.
        for (offset, degrees) in [(0.25, 28.07), (0.5, 19.85), (0.9, 14.79)] {
            assert!((step(offset, 0.005).to_degrees() - degrees).abs() < 0.3);
        }
    }
}
