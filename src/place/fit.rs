//! Whether the work fits the machine, and how far it has to move to its place.

use super::Placement;
use crate::geometry::{Bounds, Point};
use crate::merge::TooFar;
use crate::profile::Machine;

/// Why the work has no place on the sheet.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlaceError {
    /// Larger than the machine.
    #[error(
        "the work measures {width:.1} x {height:.1} mm, but {machine} reaches only {room_width:.1} x \
         {room_height:.1} mm; {advice}"
    )]
    TooLarge {
        /// Size of the work, mm.
        width: f64,
        /// Size of the work, mm.
        height: f64,
        /// The machine's name.
        machine: String,
        /// Its reach, mm.
        room_width: f64,
        /// Its reach, mm.
        room_height: f64,
        /// The option that makes it fit.
        advice: String,
    },
    /// It would fit elsewhere.
    #[error(
        "the work would lie from {left:.1}, {bottom:.1} to {right:.1}, {top:.1} mm, outside what \
         {machine} reaches; it fits with --at {at}"
    )]
    Outside {
        /// Where it lies, mm from the lower left corner of the machine's area.
        left: f64,
        /// See `left`.
        bottom: f64,
        /// See `left`.
        right: f64,
        /// See `left`.
        top: f64,
        /// The machine's name.
        machine: String,
        /// Where it would fit, as the option has it.
        at: String,
    },
    /// A piece does not fit across the film.
    #[error(
        "a piece of {width:.1} x {height:.1} mm does not fit across the {room:.1} mm that {machine} \
         cuts; make it smaller, for example with --scale, or leave --pack out"
    )]
    PieceTooWide {
        /// Size of the piece, mm.
        width: f64,
        /// Size of the piece, mm.
        height: f64,
        /// Width that can be cut, mm.
        room: f64,
        /// The machine's name.
        machine: String,
    },
    /// The width of the film is not known.
    #[error(
        "--pack needs the width of the film, and {machine} has none; choose a machine with limits, \
         for example --machine roll-24"
    )]
    NoWidth {
        /// The machine's name.
        machine: String,
    },
    /// Nothing says how wide a panel may be.
    #[error(
        "--panels needs the width of the film, and {machine} has none; give --panel-width, or choose a \
         machine with limits, for example --machine roll-24"
    )]
    NoPanelWidth {
        /// The machine's name.
        machine: String,
    },
    /// Panels would be too narrow.
    #[error(
        "a panel of {room:.1} mm is too narrow; with this overlap and border it needs {least:.1} mm at \
         least"
    )]
    PanelTooNarrow {
        /// Room of a panel, mm.
        room: f64,
        /// What it needs, mm.
        least: f64,
    },
    /// Copies reach too far.
    #[error(transparent)]
    TooFar(#[from] TooFar),
}

/// A trailing blade's axis runs beyond the line it cuts; the work keeps this far from the machine's
/// limits unless it is placed by hand, mm: the largest usual blade offset and some air.
pub(super) const EDGE_MM: f64 = 1.5;
/// How far `work`, drawn on `page`, has to move to come to its place.
pub(super) fn shift(
    work: Bounds,
    page: Bounds,
    placement: &Placement,
    machine: &Machine,
) -> Result<Point, PlaceError> {
    let area = machine.limits_mm();
    let corner = area.map_or(Point::ORIGIN, |area| area.min);
    if let Some(at) = placement.at {
        let shift = corner + at - work.min;
        return inside(work, shift, placement, machine).map(|()| shift);
    }
    let mut shift = corner - page.min;
    if area.is_some() {
        let edge = if machine.needs_compensation() { EDGE_MM } else { 0.0 };
        let missing = |low: f64, limit: f64| (limit + edge - low).max(0.0);
        shift.x += missing(work.min.x + shift.x, corner.x);
        shift.y += missing(work.min.y + shift.y, corner.y);
    }
    inside(work, shift, placement, machine).map(|()| shift)
}

fn inside(
    work: Bounds,
    shift: Point,
    placement: &Placement,
    machine: &Machine,
) -> Result<(), PlaceError> {
    let Some(area) = machine.limits_mm() else { return Ok(()) };
    let placed = Bounds { min: work.min + shift, max: work.max + shift };
    if area.grown(1e-6).holds(placed) {
        return Ok(());
    }
    let name = machine.name.clone();
    if work.width() > area.width() || work.height() > area.height() {
        return Err(PlaceError::TooLarge {
            width: work.width(),
            height: work.height(),
            machine: name,
            room_width: area.width(),
            room_height: area.height(),
            advice: advice(work, area, placement.copies),
        });
    }
    let (min, max) = (placed.min - area.min, placed.max - area.min);
    // In the middle where there is little room, rounded down.
    let free = |room: f64| ((room.max(0.0) * 5.0).floor() / 10.0).min(USUAL_AT_MM);
    let (x, y) = (free(area.width() - work.width()), free(area.height() - work.height()));
    Err(PlaceError::Outside {
        left: min.x,
        bottom: min.y,
        right: max.x,
        top: max.y,
        machine: name,
        at: format!("{x},{y}"),
    })
}

/// A place that is advised where there is room, mm along x and y: more than [`EDGE_MM`].
const USUAL_AT_MM: f64 = 2.0;

/// A scale below this is no advice.
const SMALLEST_ADVICE: f64 = 0.05;

/// The option that makes the work fit: a quarter turn if that is enough, else a scale.
fn advice(work: Bounds, area: Bounds, (columns, rows): (u32, u32)) -> String {
    let fits =
        |w: f64, h: f64| w + 2.0 * EDGE_MM <= area.width() && h + 2.0 * EDGE_MM <= area.height();
    if fits(work.height(), work.width()) {
        return "it fits with --rotate 90".to_owned();
    }
    let room = |length: f64, size: f64| (length - 2.0 * EDGE_MM) / size;
    let factor = room(area.width(), work.width()).min(room(area.height(), work.height()));
    let factor = (factor * 1000.0).floor() / 1000.0;
    if factor < SMALLEST_ADVICE {
        let fewer = if columns * rows > 1 { "ask for fewer copies, or " } else { "" };
        return format!("{fewer}part it with --panels, or draw it smaller");
    }
    let fewer = if columns * rows > 1 { "with fewer copies, " } else { "" };
    format!("it fits {fewer}with --scale {factor}, or in parts with --panels")
}
