//! Axis paths in mm → [`Job`] in plotter units: the last stage before the machine's language.
//!
//! Rounding happens here and only here. Invariants: neighbouring points of a path differ;
//! every coordinate lies within the machine's number range and hard-clip limits.

use crate::blade::Part;

/// A position in plotter units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Units {
    /// Across.
    pub x: i32,
    /// Up.
    pub y: i32,
}

/// A job for one sheet, in plotter units.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Job {
    /// Size of a unit, mm.
    pub unit_mm: f64,
    /// The tool-down paths in the order of cutting.
    pub paths: Vec<JobPath>,
    /// Where the tool goes, lifted, after the last path.
    pub park: Option<Units>,
}

/// One tool-down path.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct JobPath {
    /// Which line of the layout it cuts; `None` for the orienting cut.
    pub line: Option<usize>,
    /// Positions from plunge to lift; one point alone is a dot.
    pub points: Vec<Units>,
    /// What each edge is for; one fewer than `points`.
    pub parts: Vec<Part>,
    /// Tool number, from 1.
    pub tool: u32,
    /// Cutting speed, cm/s, where the machine takes it.
    pub velocity_cm_s: Option<f64>,
    /// Cutting force in the machine's own numbers, where it takes it.
    pub force: Option<f64>,
    /// Speed in swings, cm/s, where it differs.
    pub swing_velocity_cm_s: Option<f64>,
    /// Force in swings, where it differs.
    pub swing_force: Option<f64>,
}
