//! What the tip has to follow, made ready for being asked millions of times how far a tip is off.
//!
//! In: the fitted line and the plotter unit. Out: squared distances, mm², of a tip from the pieces
//! that it may be on and from the contour as a pen would draw it on the same grid, between two
//! waypoints. Squares, because the search adds up even powers of distances: no root is drawn.

use super::Part;
use super::fit::{Fitted, Piece};
use super::steer::Waypoint;
use crate::geometry::Point;

/// How many vertices more than those between two waypoints the tip may be at.
const BESIDE: usize = 2;

/// A line with the grid on which its axis has to lie.
#[derive(Debug)]
pub(super) struct Wanted {
    pieces: Vec<Near>,
    /// Size of a plotter unit, mm; `None` leaves the axis where it is.
    pub unit_mm: Option<f64>,
    /// The contour's vertices on the grid; empty without one.
    vertices: Vec<Point>,
    /// The edges between them.
    drawn: Vec<Straight>,
}

/// A straight piece, or an edge, ready to be asked: where it begins, whereto, and 1/length².
#[derive(Debug, Clone, Copy)]
struct Straight {
    from: Point,
    way: Point,
    per_square: f64,
}

/// A piece, ready to be asked.
#[derive(Debug, Clone, Copy)]
enum Near {
    Line(Straight),
    /// An arc of less than half a turn about `center`: its ends as seen from there, its radius and
    /// its sense.
    Arc {
        center: Point,
        begin: Point,
        end: Point,
        radius: f64,
        sense: f64,
    },
}

/// What a tip may be near on the way between two waypoints.
#[derive(Debug, Clone, Copy)]
pub(super) struct Around<'a> {
    piece: &'a Near,
    other: Option<&'a Near>,
    drawn: &'a [Straight],
}

impl Wanted {
    /// The line, and the grid on which its axis has to lie.
    pub fn new(line: &Fitted, unit_mm: Option<f64>) -> Self {
        let round = |v: f64, unit: f64| (v / unit).round() * unit;
        let vertices = unit_mm.map_or_else(Vec::new, |unit| {
            line.vertices.iter().map(|p| Point::new(round(p.x, unit), round(p.y, unit))).collect()
        });
        let drawn = vertices.windows(2).map(|w| Straight::new(w[0], w[1])).collect();
        Self { pieces: line.pieces.iter().map(Near::of).collect(), unit_mm, vertices, drawn }
    }

    /// What the tip may be near on the way between two waypoints.
    pub fn around(&self, from: &Waypoint, to: &Waypoint) -> Around<'_> {
        let i = to.piece;
        let other = if to.part == Part::Swing { i + 1 } else { i.wrapping_sub(1) };
        let low = from.vertex.saturating_sub(BESIDE).min(self.drawn.len());
        let high = (to.vertex + BESIDE).clamp(low, self.drawn.len());
        Around {
            piece: &self.pieces[i],
            other: self.pieces.get(other),
            drawn: &self.drawn[low..high],
        }
    }

    /// Where a pen would draw the vertex that `waypoint` reaches; `None` without a grid.
    pub fn vertex_drawn(&self, waypoint: &Waypoint) -> Option<Point> {
        self.vertices.get(waypoint.vertex).copied()
    }
}

impl Around<'_> {
    /// Squared distance of `tip` from the pieces that it may be on.
    pub fn off_line(&self, tip: Point) -> f64 {
        let off = self.piece.square(tip);
        self.other.map_or(off, |other| off.min(other.square(tip)))
    }

    /// Squared distance of `tip` from the contour as a pen would draw it; 0 without a grid.
    pub fn off_drawn(&self, tip: Point) -> f64 {
        self.drawn.iter().map(|edge| edge.square(tip)).reduce(f64::min).unwrap_or(0.0)
    }
}

impl Straight {
    fn new(from: Point, to: Point) -> Self {
        let way = to - from;
        let square = way.length_squared();
        Self { from, way, per_square: if square > 0.0 { 1.0 / square } else { 0.0 } }
    }

    #[inline]
    fn square(&self, p: Point) -> f64 {
        let to = p - self.from;
        let share = (to.dot(self.way) * self.per_square).clamp(0.0, 1.0);
        (to - self.way * share).length_squared()
    }
}

impl Near {
    fn of(piece: &Piece) -> Self {
        match *piece {
            Piece::Line { from, to } => Self::Line(Straight::new(from, to)),
            Piece::Arc { from, to, center, sweep } => {
                let (begin, end) = (from - center, to - center);
                Self::Arc { center, begin, end, radius: begin.length(), sense: sweep.signum() }
            }
        }
    }

    fn square(&self, p: Point) -> f64 {
        match *self {
            Self::Line(line) => line.square(p),
            Self::Arc { center, begin, end, radius, sense } => {
                let spoke = p - center;
                let before = begin.cross(spoke) * sense < 0.0;
                let after = spoke.cross(end) * sense < 0.0;
                if before || after {
                    (spoke - begin).length_squared().min((spoke - end).length_squared())
                } else {
                    (spoke.length() - radius).powi(2)
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn squares_are_the_squares_of_the_distances() {
        let p = |x, y| Point::new(x, y);
        let arc = |to, sweep| Piece::Arc { from: p(1.0, 0.0), to, center: Point::ORIGIN, sweep };
        let pieces = [
            Piece::Line { from: p(0.3, -0.2), to: p(1.7, 0.9) },
            arc(p(0.0, 1.0), std::f64::consts::FRAC_PI_2),
            arc(p((-2.6f64).cos(), (-2.6f64).sin()), -2.6),
        ];
        for piece in pieces {
            for i in 0..400 {
                let tip = p(f64::from(i % 20) * 0.2 - 2.0, f64::from(i / 20) * 0.2 - 2.0);
                let places = (0..=2000).map(|k| {
                    piece.shortened(piece.length() * f64::from(k) / 2000.0).end().distance(tip)
                });
                let (is, nearest) =
                    (Near::of(&piece).square(tip).sqrt(), places.fold(9.0, f64::min));
                // Half a step beside the nearest place is the most that the places can miss.
                assert!(is <= nearest + 1e-12 && nearest - is < 0.0007, "{piece:?} {tip:?}");
            }
        }
    }
}
