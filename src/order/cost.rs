//! What a move with the tool up costs: the [`Metric`] that the search is built on.
//!
//! Three planar measures (length, longer side, time) and one matrix. All have to be symmetric: the
//! search turns stretches of an order round and takes their inner cost as unchanged. The planar
//! ones also keep the triangle inequality and grow with either side, which the neighbour lists and
//! the bound rely on.

use super::settings::{Cost, End};
use crate::geometry::Point;
use crate::profile::FeedAxis;

/// Prices moves between spots: points of the plane, or rows of a matrix.
pub trait Metric: Clone {
    /// A place where a cut may begin or end.
    type Spot: Copy;
    /// The cost of moving from one spot to the other, either way; never below 0.
    fn between(&self, a: Self::Spot, b: Self::Spot) -> f64;
    /// The cost of the last move, from a spot to wherever the work ends.
    fn to_end(&self, from: Self::Spot) -> f64;
    /// Whether no detour is cheaper than the direct move (the triangle inequality).
    fn is_shortest(&self) -> bool {
        true
    }
}

/// A [`Metric`] on the plane.
pub trait Planar: Metric<Spot = Point> + Sync {
    /// No move between two boxes `dx` and `dy` apart can be cheaper than this.
    fn gap(&self, dx: f64, dy: f64) -> f64 {
        self.between(Point::ORIGIN, Point::new(dx, dy))
    }
}

impl<M: Metric<Spot = Point> + Sync> Planar for M {}

/// Where the end lies, by the same measure as everything else.
fn end_cost(end: End, from: Point, between: impl Fn(Point, Point) -> f64) -> f64 {
    match end {
        End::At(home) => between(from, home),
        End::Anywhere => 0.0,
        End::Past { axis: FeedAxis::X, at_mm } => between(from, Point::new(at_mm, from.y)),
        End::Past { axis: FeedAxis::Y, at_mm } => between(from, Point::new(from.x, at_mm)),
    }
}

/// Length, mm.
#[derive(Debug, Clone, Copy)]
pub struct Euclid {
    /// Where the work ends.
    pub end: End,
}

impl Metric for Euclid {
    type Spot = Point;
    fn between(&self, a: Point, b: Point) -> f64 {
        // Not `hypot`: its care for extreme exponents costs the search a third of its speed.
        (a - b).length_squared().sqrt()
    }
    fn to_end(&self, from: Point) -> f64 {
        end_cost(self.end, from, |a, b| self.between(a, b))
    }
}

/// Longer side, mm.
#[derive(Debug, Clone, Copy)]
pub struct Chebyshev {
    /// Where the work ends.
    pub end: End,
}

impl Metric for Chebyshev {
    type Spot = Point;
    fn between(&self, a: Point, b: Point) -> f64 {
        (a.x - b.x).abs().max((a.y - b.y).abs())
    }
    fn to_end(&self, from: Point) -> f64 {
        end_cost(self.end, from, |a, b| self.between(a, b))
    }
}

/// Time of a trapezoid of speed on the longer side, s.
#[derive(Debug, Clone, Copy)]
pub struct Timed {
    /// Where the work ends.
    pub end: End,
    /// Top speed, mm/s; above 0.
    pub speed_mm_s: f64,
    /// Acceleration, mm/s²; above 0.
    pub acceleration_mm_s2: f64,
}

impl Metric for Timed {
    type Spot = Point;
    fn between(&self, a: Point, b: Point) -> f64 {
        let side = (a.x - b.x).abs().max((a.y - b.y).abs());
        let ramps_mm = self.speed_mm_s * self.speed_mm_s / self.acceleration_mm_s2;
        if side < ramps_mm {
            2.0 * (side / self.acceleration_mm_s2).sqrt()
        } else {
            (side + ramps_mm) / self.speed_mm_s
        }
    }
    fn to_end(&self, from: Point) -> f64 {
        end_cost(self.end, from, |a, b| self.between(a, b))
    }
}

/// Costs read from a table; the work ends where it began, at `home`.
#[derive(Debug, Clone)]
pub struct Matrix {
    /// Number of spots.
    pub size: usize,
    /// Row after row, `size` × `size`, symmetric.
    pub cost: Vec<f64>,
    /// The spot where the work begins and ends.
    pub home: u32,
}

impl Metric for Matrix {
    type Spot = u32;
    fn between(&self, a: u32, b: u32) -> f64 {
        self.cost[a as usize * self.size + b as usize]
    }
    fn to_end(&self, from: u32) -> f64 {
        self.between(from, self.home)
    }
    fn is_shortest(&self) -> bool {
        false
    }
}

/// The weight of `heading_mm_per_rad` in the units of `cost`.
pub fn heading_weight(cost: Cost, heading_mm_per_rad: f64) -> f64 {
    match cost {
        Cost::Travel | Cost::Chebyshev => heading_mm_per_rad,
        Cost::Time { speed_mm_s, .. } => heading_mm_per_rad / speed_mm_s,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_timed_move_speeds_up_runs_and_slows_down() {
        let timed = Timed { end: End::Anywhere, speed_mm_s: 600.0, acceleration_mm_s2: 6000.0 };
        let time = |mm: f64| timed.gap(mm, mm / 2.0);
        // 60 mm are just the two ramps of 0.1 s; each further 600 mm take a second.
        assert!((time(60.0) - 0.2).abs() < 1e-12);
        assert!((time(660.0) - 1.2).abs() < 1e-12);
        assert!((time(15.0) - 0.1).abs() < 1e-12);
    }

    #[test]
    fn the_end_is_priced_by_its_rule() {
        let from = Point::new(3.0, 4.0);
        let to = |end| Euclid { end }.to_end(from);
        assert_eq!(to(End::At(Point::ORIGIN)), 5.0);
        assert_eq!(to(End::Anywhere), 0.0);
        assert_eq!(to(End::Past { axis: FeedAxis::X, at_mm: 10.0 }), 7.0);
        assert_eq!(to(End::Past { axis: FeedAxis::Y, at_mm: 10.0 }), 6.0);
    }
}
