//! [`Trace`](crate::hpgl::Trace) → [`Simulation`]: axis path, tip path, lifts, distances, time.
//!
//! Every figure that a person sees comes from here, computed from the bytes that will be sent.

use crate::geometry::{Bounds, Point};

/// What the bytes of a job do.
#[derive(Debug, Clone, Default)]
pub struct Simulation {
    /// Tool-down stretches in order.
    pub cuts: Vec<SimulatedCut>,
    /// Lifted path after the last cut, mm.
    pub last_travel: Vec<Point>,
    /// Sums.
    pub totals: Totals,
}

/// One tool-down stretch.
#[derive(Debug, Clone, Default)]
pub struct SimulatedCut {
    /// Lifted path to its start, mm; the first point is where the tool was lifted.
    pub travel: Vec<Point>,
    /// Where the axis goes, mm.
    pub axis: Vec<Point>,
    /// Where the tip goes, mm; equals `axis` for a pen.
    pub tip: Vec<Point>,
    /// Heading of the blade (direction tip to axis) after the cut, radians.
    pub heading: f64,
    /// Tool number.
    pub tool: u32,
    /// Offset of the instruction that lowered the tool.
    pub byte: u64,
    /// Offset just past the instruction of its last move.
    pub end_byte: u64,
    /// When it begins and ends, s from the start of the job; 0 when the machine's motion is unknown.
    pub start_s: f64,
    /// See `start_s`.
    pub end_s: f64,
}

/// Sums over a job.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Totals {
    /// Axis path with the tool down, mm.
    pub cut_mm: f64,
    /// Axis path with the tool up, from the start position to the end of the bytes, mm.
    pub travel_mm: f64,
    /// How often the tool goes up after having been down.
    pub lifts: usize,
    /// Bytes read.
    pub bytes: u64,
    /// Motion, lifts and line together, s; `None` when the machine's motion is unknown.
    pub time_s: Option<f64>,
    /// The part of the machine's motion alone, s.
    pub motion_s: Option<f64>,
    /// Time the serial line needs for the bytes, s.
    pub line_s: Option<f64>,
}

impl Simulation {
    /// The box around everything cut by the axis, mm.
    pub fn cut_bounds(&self) -> Bounds {
        self.cuts.iter().fold(Bounds::EMPTY, |b, cut| b.union(Bounds::of(&cut.axis)))
    }
}
