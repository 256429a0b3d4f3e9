//! The stage itself: tip paths in cutting order → axis paths, the heading tracked from cut to cut.

use super::fit::{Fitted, Piece, fit};
use super::overcut::run_on;
use super::settle::{Settled, Wanted, settle};
use super::start::orienting_cut;
use super::steer::{Course, Waypoint, steer};
use super::{AxisPath, BladeSettings, Part, TipPath, TrailingBlade};
use crate::finding::{Finding, Place};
use crate::geometry::{Bounds, Contour, Point};

/// A tip that runs further from its line is told, mm: one common plotter unit (1/40 mm).
pub const TOLD_ERROR_MM: f64 = 0.025;
/// What a tuned offset may be off by, mm (two loupe readings of a tuning sheet).
const OFFSET_DOUBT_MM: f64 = 0.02;
/// Overcut in blade offsets that closes a contour whose start nobody could turn the blade for:
/// a start 90° off leaves 0.0003 mm uncut at offset 0.5 mm after 8, 0.009 at 0.25 mm after 4.
const BLIND_OVERCUT: f64 = 4.0;
/// Offsets of travel in waste after which the heading counts as known, seen from 90° off.
const UNKNOWN_HEADING_OFF: f64 = std::f64::consts::FRAC_PI_2;

/// Where the axis has to go so that the tip cuts `paths`, in their order.
///
/// With offset 0 each axis path is exactly its contour (a closed one ends on its first point) plus
/// the overcut. Otherwise the tip follows within the tolerances of `settings`, and an orienting
/// cut comes first where the heading is unknown. Each line comes as often as there are passes.
///
/// ```
/// use bladewright::blade::{BladeSettings, TipPath, compensate};
/// use bladewright::geometry::{Contour, Point};
///
/// let corner = [(10.0, 10.0), (30.0, 10.0), (30.0, 20.0)].map(|(x, y)| Point::new(x, y));
/// let path = TipPath { line: Some(0), role: Default::default(), contour: Contour::open(corner.to_vec()) };
/// let settings = BladeSettings { offset_mm: 0.25, start_heading: Some(0.0), ..Default::default() };
/// let (axis, findings) = compensate(&[path], &settings);
/// assert_eq!(axis[0].points[0], Point::new(10.25, 10.0));
/// assert!(findings.is_empty());
/// ```
pub fn compensate(paths: &[TipPath], settings: &BladeSettings) -> (Vec<AxisPath>, Vec<Finding>) {
    if settings.offset_mm > 0.0 {
        let mut run =
            Run { settings: *settings, heading: None, axis: Vec::new(), findings: Vec::new() };
        run.start(paths);
        for path in paths {
            run.passes(path);
        }
        return (run.axis, run.findings);
    }
    let passes = settings.passes.max(1) as usize;
    let axis: Vec<_> = paths.iter().filter_map(|path| uncompensated(path, settings)).collect();
    let findings = axis.iter().filter_map(|path| beyond(path, settings.limits)).collect();
    (axis.into_iter().flat_map(|path| std::iter::repeat_n(path, passes)).collect(), findings)
}

fn uncompensated(path: &TipPath, settings: &BladeSettings) -> Option<AxisPath> {
    let mut points = path.contour.track();
    let overcut = if path.contour.closed { run_on(&mut points, settings.overcut_mm) } else { 0 };
    let edges = points.len().checked_sub(1)?;
    let part = |i| if i < edges - overcut { Part::Cut } else { Part::Overcut };
    Some(AxisPath { line: path.line, parts: (0..edges).map(part).collect(), points })
}

struct Run {
    settings: BladeSettings,
    /// Heading at the last lift, once known.
    heading: Option<f64>,
    axis: Vec<AxisPath>,
    findings: Vec<Finding>,
}

impl Run {
    /// Sees to it that the heading is known, by asking, by a cut in waste, or not at all.
    fn start(&mut self, paths: &[TipPath]) {
        self.heading = self.settings.start_heading;
        let Some(first) = paths.iter().find_map(|p| p.contour.points.first()) else { return };
        if self.heading.is_some() {
            return;
        }
        let Some([from, to]) = orienting_cut(paths, &self.settings) else {
            self.findings.push(no_room(*first, &self.settings));
            return;
        };
        let along = to - from;
        let blade =
            TrailingBlade::new(self.settings.offset_mm, from, along.angle() + UNKNOWN_HEADING_OFF);
        let way = [from, to].map(|at| Waypoint {
            at,
            part: Part::Orient,
            piece: 0,
            vertex: 1,
            rest: None,
        });
        let line = straight(from, to);
        self.push(None, settle(&way, &Wanted::new(&line, self.settings.unit_mm), blade));
    }

    /// Cuts a line as often as is wanted; what is wrong with it is told once.
    fn passes(&mut self, path: &TipPath) {
        let before = self.findings.len();
        for pass in 0..self.settings.passes.max(1) {
            let told = self.findings.len();
            self.cut(path);
            if pass > 0 && told > before {
                self.findings.truncate(told);
            }
        }
    }

    fn cut(&mut self, path: &TipPath) {
        let Some(&first) = path.contour.points.first() else { return };
        let mut line = fit(&path.contour, self.settings.fit_tolerance_mm);
        let overcut_from = line.pieces.len();
        if path.contour.closed {
            line.run_on(self.overcut_mm());
        }
        let half_turn_side = half_turn_side(&path.contour);
        let course = Course { line: &line, overcut_from, heading: self.heading, half_turn_side };
        let way = steer(&course, &self.settings);
        let heading = self.heading.or_else(|| Some(line.pieces.first()?.start_tangent().angle()));
        let blade = TrailingBlade::new(self.settings.offset_mm, first, heading.unwrap_or(0.0));
        let settled = if way.is_empty() {
            let line = straight(first, first);
            settle(&self.dot(first), &Wanted::new(&line, self.settings.unit_mm), blade)
        } else {
            settle(&way, &Wanted::new(&line, self.settings.unit_mm), blade)
        };
        self.tell(path, settled.as_ref());
        self.push(path.line, settled);
    }

    fn overcut_mm(&self) -> f64 {
        let blind =
            if self.heading.is_none() { BLIND_OVERCUT * self.settings.offset_mm } else { 0.0 };
        self.settings.overcut_mm.max(blind)
    }

    fn dot(&self, tip: Point) -> Vec<Waypoint> {
        let at = tip + Point::along(self.heading.unwrap_or(0.0)) * self.settings.offset_mm;
        vec![Waypoint { at, part: Part::Cut, piece: 0, vertex: 1, rest: Some(tip) }]
    }

    fn push(&mut self, line: Option<usize>, settled: Option<Settled>) {
        let Some(settled) = settled else { return };
        self.heading = Some(settled.blade.heading());
        let path = AxisPath { line, points: settled.points, parts: settled.parts };
        self.findings.extend(beyond(&path, self.settings.limits));
        self.axis.push(path);
    }

    fn tell(&mut self, path: &TipPath, settled: Option<&Settled>) {
        let bounds = path.contour.bounds();
        let radius = bounds.width().max(bounds.height()) / 2.0;
        let doubtful = self.settings.offset_mm * OFFSET_DOUBT_MM / TOLD_ERROR_MM;
        if path.contour.closed && radius < doubtful {
            self.findings.push(small_contour(bounds.center(), radius, self.settings.offset_mm));
        }
        if let Some(settled) = settled
            && settled.worst_mm > TOLD_ERROR_MM
        {
            self.findings.push(tip_error(settled));
        }
    }
}

fn straight(from: Point, to: Point) -> Fitted {
    Fitted { pieces: vec![Piece::Line { from, to }], ends: vec![1], vertices: vec![from, to] }
}

/// To which side an exact half turn goes: about a point of the outline that is the outer side.
fn half_turn_side(contour: &Contour) -> f64 {
    if contour.closed && contour.signed_area() < 0.0 { -1.0 } else { 1.0 }
}

fn beyond(path: &AxisPath, limits: Option<Bounds>) -> Option<Finding> {
    let limits = limits?;
    let slack = limits.grown(1e-6);
    let at = *path.points.iter().find(|&&p| !slack.holds(Bounds { min: p, max: p }))?;
    let over = (limits.min.x - at.x)
        .max(at.x - limits.max.x)
        .max((limits.min.y - at.y).max(at.y - limits.max.y));
    let text = format!(
        "The blade's axis would have to go {over:.3} mm beyond the hard-clip limits: it runs ahead \
         of the tip and swings around corners."
    );
    Some(
        Finding::error("axis-beyond-limits", text)
            .at(Place::sheet(at))
            .hint("Move the work away from the edge of the sheet by the blade offset."),
    )
}

fn no_room(first: Point, settings: &BladeSettings) -> Finding {
    let text = format!(
        "There is no free place of {:.1} mm for a cut in waste that turns the blade, so the first \
         contour may begin up to {:.2} mm beside its line.",
        12.0 * settings.offset_mm,
        settings.offset_mm
    );
    Finding::warning("no-room-to-orient", text)
        .at(Place::sheet(first))
        .hint("Leave a free corner on the sheet, or turn the blade by hand towards the first cut.")
}

fn small_contour(center: Point, radius: f64, offset: f64) -> Finding {
    let change = offset * OFFSET_DOUBT_MM / radius;
    let text = format!(
        "A contour of {:.2} mm is small for a blade offset of {offset:.2} mm: if the offset is \
         {OFFSET_DOUBT_MM} mm off, its radius changes by {change:.3} mm.",
        2.0 * radius
    );
    Finding::warning("contour-small-for-blade", text)
        .at(Place::sheet(center))
        .hint("Tune the offset on this material, or take a blade with a smaller offset.")
}

fn tip_error(settled: &Settled) -> Finding {
    let text = format!(
        "The tip leaves its line by {:.3} mm: the line turns faster than the blade can follow.",
        settled.worst_mm
    );
    Finding::warning("tip-off-line", text)
        .at(Place::sheet(settled.worst_at))
        .hint("Draw this place larger or smoother, or take a blade with a smaller offset.")
}
