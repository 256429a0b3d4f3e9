//! Ordered tip paths → [`AxisPath`]s: where the blade's axis has to go so that the trailing tip
//! runs along the wanted contour; and the exact propagator that tells where the tip really runs.
//!
//! [`compensate`] fits lines and arcs to each contour (`fit`), appends the overcut (`overcut`),
//! steers the axis ahead of the tip with swings at corners (`steer`, `swing`), turns a blade of
//! unknown heading in waste first (`start`), and rounds to plotter units where the tip suffers
//! least (`settle`). The heading is tracked from cut to cut with the exact [`TrailingBlade`].
//!
//! Invariants: with offset 0 an axis path is exactly its contour (plus overcut), point by point; a
//! path that could not be followed within [`TOLD_ERROR_MM`] is told with place and error.

mod compensate;
mod fit;
mod overcut;
mod propagate;
mod relay;
mod settle;
mod start;
mod steer;
mod swing;
mod wanted;

pub use compensate::{TOLD_ERROR_MM, compensate, compensate_among};
pub(crate) use fit::reach;
pub use propagate::{SAMPLE_TOLERANCE_MM, TrailingBlade};
pub use start::{Obstacle, turning_cut};

use crate::geometry::{Bounds, Contour, Point};
use crate::place::Role;

/// One line to be cut, as it is cut, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct TipPath {
    /// Which line of the layout it is.
    pub line: Option<usize>,
    /// Why it is there; only [`Role::Design`] contours bound pieces that the orienting cut must
    /// keep out of.
    pub role: Role,
    /// The line, from where the cut begins, in the sense of the cut.
    pub contour: Contour,
}

/// How the blade is compensated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BladeSettings {
    /// Distance of tip and axis, mm; 0 for a pen, a tangential blade, or a machine that
    /// compensates by itself.
    pub offset_mm: f64,
    /// How far a closed line is cut past its start, mm.
    pub overcut_mm: f64,
    /// How far the tip may leave its line where it swings, and on arcs for their fit and their
    /// chords together, mm.
    pub swing_tolerance_mm: f64,
    /// How far lines and arcs may leave the contour they replace, mm.
    pub fit_tolerance_mm: f64,
    /// Size of a plotter unit, mm: axis positions are put on its grid where the tip suffers least.
    /// `None` leaves them exact.
    pub unit_mm: Option<f64>,
    /// Heading of the blade (direction tip to axis) before the first cut, radians; `None` when
    /// nobody knows: then an orienting cut comes first.
    pub start_heading: Option<f64>,
    /// Where the axis can go, mm; `None` when unknown or without limit.
    pub limits: Option<Bounds>,
    /// How often each line is cut before the next; every pass takes the blade over as the one
    /// before left it. 0 counts as 1.
    pub passes: u32,
}

impl Default for BladeSettings {
    fn default() -> Self {
        Self {
            offset_mm: 0.0,
            overcut_mm: 0.0,
            swing_tolerance_mm: 0.005,
            fit_tolerance_mm: 0.0035,
            unit_mm: None,
            start_heading: None,
            limits: None,
            passes: 1,
        }
    }
}

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
