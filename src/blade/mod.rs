//! Ordered tip paths → [`AxisPath`]s: where the blade's axis has to go so that the trailing tip
//! runs along the wanted contour; and the exact propagator that tells where the tip really runs.

mod propagate;

pub use propagate::{SAMPLE_TOLERANCE_MM, TrailingBlade};

use crate::geometry::Point;

/// Where the blade's axis goes with the blade down, mm.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AxisPath {
    /// Which line of the layout it cuts; `None` for the orienting cut in waste.
    pub line: Option<usize>,
    /// The axis positions, from plunge to lift.
    pub points: Vec<Point>,
    /// What each edge `points[i]`–`points[i + 1]` is for; one fewer than `points`.
    pub parts: Vec<Part>,
}

/// What a stretch of an axis path is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Part {
    /// Cuts the wanted line.
    Cut,
    /// Turns the blade about its tip.
    Swing,
    /// Cuts the beginning of a closed contour once more.
    Overcut,
    /// Turns the blade in waste at the start of a job.
    Orient,
}
