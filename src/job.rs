//! Axis paths in mm → [`Job`] in plotter units: the last stage before the machine's language.
//!
//! Rounding happens here and only here. Invariants: neighbouring points of a path differ; every
//! coordinate lies within the machine's number range and hard-clip limits, or there is no job.

use crate::blade::{AxisPath, Part};
use crate::geometry::{Bounds, Point};
use crate::parallel;
use crate::profile::{EndAt, FeedAxis, Machine};
use crate::units::PlotterUnit;

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
    /// Runs of edges that are written as arcs, in order; each edge is one chord.
    pub arcs: Vec<JobArc>,
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

/// Edges of a path that are written as one `AA`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JobArc {
    /// Index of the position where it begins.
    pub from: usize,
    /// How many chords the machine makes of it; their ends, rounded, are the positions after `from`.
    pub chords: usize,
    /// Its centre.
    pub center: Units,
    /// Its sweep, degrees, counter-clockwise above 0.
    pub sweep_deg: f64,
    /// The largest angle of a chord, degrees.
    pub chord_deg: f64,
}

/// Tool, speed and force of a path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Tool number, from 1.
    pub tool: u32,
    /// Cutting speed, cm/s.
    pub velocity_cm_s: Option<f64>,
    /// Cutting force in the machine's own numbers.
    pub force: Option<f64>,
    /// Speed in swings, cm/s.
    pub swing_velocity_cm_s: Option<f64>,
    /// Force in swings.
    pub swing_force: Option<f64>,
}

/// How far past the work the tool goes on machines that end there, mm: room for a finger to hold
/// the film. Common practice, no source.
const PAST_WORK_MM: f64 = 10.0;

/// Why there is no job.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum JobError {
    /// The axis would leave the hard-clip area.
    #[error(
        "the tool would have to go to {x_mm:.1}, {y_mm:.1} mm, outside the machine's area of {left:.1} \
         to {right:.1} by {bottom:.1} to {top:.1} mm; move the work with --at, or make it smaller \
         with --scale"
    )]
    OutsideArea {
        /// Where, mm.
        x_mm: f64,
        /// Where, mm.
        y_mm: f64,
        /// The area, mm.
        left: f64,
        /// The area, mm.
        right: f64,
        /// The area, mm.
        bottom: f64,
        /// The area, mm.
        top: f64,
    },
    /// A coordinate does not fit the machine's numbers.
    #[error(
        "the tool would have to go to {x_mm:.1}, {y_mm:.1} mm, but {machine} counts only to \
         {limit_mm:.1} mm; move the work with --at, or make it smaller with --scale"
    )]
    BeyondNumbers {
        /// Where, mm.
        x_mm: f64,
        /// Where, mm.
        y_mm: f64,
        /// The machine's name.
        machine: String,
        /// The largest coordinate it can count to, mm.
        limit_mm: f64,
    },
    /// The profile's plotter unit is no length.
    #[error("the machine's plotter unit of {0} mm is no length; it must be above 0")]
    NoUnit(f64),
}

/// Puts `paths` (the cuts in their order) into the units of `machine`; `pace_of` tells each path's pace
/// by its number.
///
/// # Errors
/// [`JobError`] when a position lies outside what the machine can reach or count.
pub fn build(
    paths: &[AxisPath],
    machine: &Machine,
    pace_of: impl Fn(usize) -> Pace + Sync,
) -> Result<Job, JobError> {
    let unit = PlotterUnit::new(machine.unit_mm).ok_or(JobError::NoUnit(machine.unit_mm))?;
    within_reach(paths, machine)?;
    let kept = Vec::with_capacity(paths.len());
    let mut job = Job { unit_mm: unit.mm(), paths: kept, ..Job::default() };
    let path = |i: usize| rounded(&paths[i], unit, &pace_of(i));
    parallel::in_turn(paths.len(), path, |_, path| job.paths.push(path));
    job.park = park(&job, machine, unit);
    Ok(job)
}

fn rounded(path: &AxisPath, unit: PlotterUnit, pace: &Pace) -> JobPath {
    let units = |p: &Point| Units { x: unit.count(p.x), y: unit.count(p.y) };
    let mut points: Vec<Units> = Vec::with_capacity(path.points.len());
    let mut parts = Vec::with_capacity(path.parts.len());
    for (i, p) in path.points.iter().enumerate() {
        let p = units(p);
        if points.last() == Some(&p) {
            continue;
        }
        if !points.is_empty() {
            parts.push(path.parts.get(i - 1).copied().unwrap_or(Part::Cut));
        }
        points.push(p);
    }
    JobPath {
        line: path.line,
        points,
        parts,
        arcs: Vec::new(),
        tool: pace.tool,
        velocity_cm_s: pace.velocity_cm_s,
        force: pace.force,
        swing_velocity_cm_s: pace.swing_velocity_cm_s,
        swing_force: pace.swing_force,
    }
}

fn within_reach(paths: &[AxisPath], machine: &Machine) -> Result<(), JobError> {
    let most = machine.furthest_units();
    let limit_mm = most * machine.unit_mm;
    // Half a unit is rounded away.
    let beyond = |area: &Bounds, p| !area.grown(machine.unit_mm * 0.501).holds(Bounds::of(&[p]));
    for p in paths.iter().flat_map(|path| &path.points) {
        if let Some(a) = machine.limits_mm().filter(|area| beyond(area, *p)) {
            return Err(JobError::OutsideArea {
                x_mm: p.x,
                y_mm: p.y,
                left: a.min.x,
                right: a.max.x,
                bottom: a.min.y,
                top: a.max.y,
            });
        }
        if !(p.x.abs() <= limit_mm && p.y.abs() <= limit_mm) {
            let machine = machine.name.clone();
            return Err(JobError::BeyondNumbers { x_mm: p.x, y_mm: p.y, machine, limit_mm });
        }
    }
    Ok(())
}

/// Where the lifted tool goes at the end; never out of the machine's area.
fn park(job: &Job, machine: &Machine, unit: PlotterUnit) -> Option<Units> {
    let points = || job.paths.iter().flat_map(|path| &path.points);
    let past = unit.count(PAST_WORK_MM);
    let wanted = match machine.end_at {
        EndAt::Anywhere => return None,
        EndAt::Home => Units::default(),
        EndAt::PastWork if machine.feed_axis == Some(FeedAxis::Y) => {
            Units { x: 0, y: points().map(|p| p.y).max()?.saturating_add(past) }
        }
        EndAt::PastWork => Units { x: points().map(|p| p.x).max()?.saturating_add(past), y: 0 },
    };
    let Some(clip) = machine.hard_clip else { return Some(wanted) };
    // A profile's limits are in order: it was refused otherwise.
    let within = |n: i32, min: i32, max: i32| n.min(max).max(min);
    Some(Units {
        x: within(wanted.x, clip.x_min, clip.x_max),
        y: within(wanted.y, clip.y_min, clip.y_max),
    })
}
