//! Contours + contour tree → [`CutOrder`]: which line is cut when, from where, in which sense.
//!
//! Invariants: every line is visited exactly once; a line inside another comes before it, at any
//! depth; stages are finished in turn. Same input, same order: no clock, fixed seeds.

use crate::geometry::{Contour, Point, wrap_angle};

/// One visit: a line and where its cut begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Visit {
    /// Index of the line in the layout.
    pub line: usize,
    /// Vertex at which the cut begins, in the line's own numbering.
    pub vertex: usize,
    /// How far along the edge after `vertex` (in the line's own sense) it begins, 0 up to 1;
    /// above 0 only on closed lines.
    pub along: f64,
    /// Cut against the line's own sense. An open line then begins at its last vertex.
    pub reversed: bool,
}

/// The order of all cuts.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CutOrder {
    /// The visits, first cut first.
    pub visits: Vec<Visit>,
}

impl Visit {
    /// The line as it is cut: from its start, in its sense. A closed contour stays closed, its
    /// first point is where the cut begins.
    pub fn tip_path(&self, line: &Contour) -> Contour {
        if !line.closed {
            return if self.reversed { line.reversed() } else { line.clone() };
        }
        let n = line.points.len();
        let mut points = Vec::with_capacity(n + 1);
        if self.along > 0.0 {
            let (a, b) = (line.points[self.vertex], line.points[(self.vertex + 1) % n]);
            points.push(a.lerp(b, self.along));
            points.extend((1..=n).map(|i| line.points[(self.vertex + i) % n]));
        } else {
            points.extend((0..n).map(|i| line.points[(self.vertex + i) % n]));
        }
        let path = Contour::closed(points);
        if self.reversed { path.reversed() } else { path }
    }
}

/// Where a cut of `path` begins and where it ends.
pub fn ends(path: &Contour) -> Option<(Point, Point)> {
    let first = *path.points.first()?;
    Some((first, if path.closed { first } else { *path.points.last()? }))
}

/// The smaller angle between two headings, radians, 0 to π.
pub fn turn(from: f64, to: f64) -> f64 {
    wrap_angle(to - from).abs()
}
