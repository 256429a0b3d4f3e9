//! The stage itself: tip paths in cutting order → axis paths, the heading tracked from cut to cut.

use super::fit::{Fitted, Piece, fit};
use super::overcut::run_on;
use super::relay;
use super::settle::{Settled, settle};
use super::start::{Obstacle, orienting_cut};
use super::steer::{Course, Waypoint, steer};
use super::wanted::Wanted;
use super::{AxisPath, BladeSettings, Part, TipPath, TrailingBlade};
use crate::finding::{Finding, Place, first_few};
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
    let (axis, findings, _) = compensate_among(paths, &Obstacle::of(paths), settings);
    (axis, findings)
}

/// As [`compensate`], for a part of the lines `around` (what else is on the sheet; an orienting cut
/// keeps clear of all of it), and the heading that the blade ends with.
pub fn compensate_among(
    paths: &[TipPath],
    around: &[Obstacle<'_>],
    settings: &BladeSettings,
) -> (Vec<AxisPath>, Vec<Finding>, Option<f64>) {
    if settings.offset_mm > 0.0 {
        return trailing(paths, around, settings);
    }
    let passes = settings.passes.max(1) as usize;
    let axis: Vec<_> = paths.iter().filter_map(|path| uncompensated(path, settings)).collect();
    let findings = beyond(&axis, settings.limits);
    let axis = axis.into_iter().flat_map(|path| std::iter::repeat_n(path, passes)).collect();
    (axis, findings, None)
}

fn uncompensated(path: &TipPath, settings: &BladeSettings) -> Option<AxisPath> {
    let mut points = path.contour.track();
    let overcut = if path.contour.closed { run_on(&mut points, settings.overcut_mm) } else { 0 };
    let edges = points.len().checked_sub(1)?;
    let part = |i| if i < edges - overcut { Part::Cut } else { Part::Overcut };
    Some(AxisPath { line: path.line, parts: (0..edges).map(part).collect(), points })
}

/// The same for a blade that trails: the heading is handed over from cut to cut.
fn trailing(
    paths: &[TipPath],
    around: &[Obstacle<'_>],
    settings: &BladeSettings,
) -> (Vec<AxisPath>, Vec<Finding>, Option<f64>) {
    let (orienting, mut findings) = orienting(paths, around, settings);
    let heading = settings.start_heading.or(orienting.heading);
    let lengths: Vec<f64> =
        paths.iter().map(|path| path.contour.length() / settings.offset_mm).collect();
    let cuts = relay::run(&lengths, heading, |i, heading| {
        let cut = cut(&paths[i], heading, settings);
        let heading = cut.heading;
        (cut, heading)
    });
    let all: Vec<Cut> = std::iter::once(orienting).chain(cuts).collect();
    let heading = all.iter().rev().find_map(|cut| cut.heading).or(heading);
    findings.extend(off_line(&all));
    let axis: Vec<AxisPath> = all.into_iter().flat_map(|cut| cut.axis).collect();
    findings.extend(beyond(&axis, settings.limits));
    findings.extend(small_contours(paths, settings));
    (axis, findings, heading)
}

/// Sees to it that the heading is known, by asking, by a cut in waste, or not at all.
fn orienting(
    paths: &[TipPath],
    around: &[Obstacle<'_>],
    settings: &BladeSettings,
) -> (Cut, Vec<Finding>) {
    let first = paths.iter().find_map(|p| p.contour.points.first());
    let Some(first) = first.filter(|_| settings.start_heading.is_none()) else {
        return (Cut::default(), Vec::new());
    };
    let Some([from, to]) = orienting_cut(*first, around, settings) else {
        return (Cut::default(), vec![no_room(*first, settings)]);
    };
    let heading = (to - from).angle() + UNKNOWN_HEADING_OFF;
    let blade = TrailingBlade::new(settings.offset_mm, from, heading);
    let waypoint = |at| Waypoint { at, part: Part::Orient, piece: 0, vertex: 1, rest: None };
    let wanted = Wanted::new(&straight(from, to), settings.unit_mm);
    let mut cut = Cut::default();
    cut.add(None, settle(&[from, to].map(waypoint), &wanted, blade));
    // It begins with the tip beside its line; that is what it is for.
    cut.worst = None;
    (cut, Vec::new())
}

/// A line cut, as often as is wanted.
#[derive(Debug, Clone, Default)]
struct Cut {
    axis: Vec<AxisPath>,
    /// Heading at the last lift, once known.
    heading: Option<f64>,
    /// The largest distance of the tip from its line, mm, and where.
    worst: Option<(f64, Point)>,
}

impl Cut {
    fn add(&mut self, line: Option<usize>, settled: Option<Settled>) {
        let Some(settled) = settled else { return };
        self.heading = Some(settled.blade.heading());
        if self.worst.is_none_or(|(worst_mm, _)| settled.worst_mm > worst_mm) {
            self.worst = Some((settled.worst_mm, settled.worst_at));
        }
        self.axis.push(AxisPath { line, points: settled.points, parts: settled.parts });
    }
}

/// Cuts a line with a blade that comes with `heading`, if that is known.
fn cut(path: &TipPath, heading: Option<f64>, settings: &BladeSettings) -> Cut {
    let mut cut = Cut { heading, ..Cut::default() };
    let Some(&first) = path.contour.points.first() else { return cut };
    let fitted = fit(&path.contour, settings.fit_tolerance_mm);
    for _ in 0..settings.passes.max(1) {
        let mut line = fitted.clone();
        let overcut_from = line.pieces.len();
        if path.contour.closed {
            line.run_on(overcut_mm(cut.heading, settings));
        }
        let half_turn_side = half_turn_side(&path.contour);
        let course = Course { line: &line, overcut_from, heading: cut.heading, half_turn_side };
        let mut way = steer(&course, settings);
        let along = || line.pieces.first().map_or(0.0, |piece| piece.start_tangent().angle());
        let heading = cut.heading.unwrap_or_else(along);
        if way.is_empty() {
            way = dot(first, heading, settings);
            line = straight(first, first);
        }
        let blade = TrailingBlade::new(settings.offset_mm, first, heading);
        cut.add(path.line, settle(&way, &Wanted::new(&line, settings.unit_mm), blade));
    }
    cut
}

fn overcut_mm(heading: Option<f64>, settings: &BladeSettings) -> f64 {
    let blind = if heading.is_none() { BLIND_OVERCUT * settings.offset_mm } else { 0.0 };
    settings.overcut_mm.max(blind)
}

fn dot(tip: Point, heading: f64, settings: &BladeSettings) -> Vec<Waypoint> {
    let at = tip + Point::along(heading) * settings.offset_mm;
    vec![Waypoint { at, part: Part::Cut, piece: 0, vertex: 1, rest: Some(tip) }]
}

fn straight(from: Point, to: Point) -> Fitted {
    Fitted { pieces: vec![Piece::Line { from, to }], ends: vec![1], vertices: vec![from, to] }
}

/// To which side an exact half turn goes: about a point of the outline that is the outer side.
fn half_turn_side(contour: &Contour) -> f64 {
    if contour.closed && contour.signed_area() < 0.0 { -1.0 } else { 1.0 }
}

/// Positions that the axis cannot reach.
fn beyond(axis: &[AxisPath], limits: Option<Bounds>) -> Vec<Finding> {
    let Some(limits) = limits else { return Vec::new() };
    let all = axis.iter().filter_map(|path| {
        let slack = limits.grown(1e-6);
        let at = *path.points.iter().find(|&&p| !slack.holds(Bounds { min: p, max: p }))?;
        let over = (limits.min.x - at.x)
            .max(at.x - limits.max.x)
            .max((limits.min.y - at.y).max(at.y - limits.max.y));
        let text = format!(
            "The blade's axis would have to go {over:.3} mm beyond the hard-clip limits: it runs \
             ahead of the tip and swings around corners."
        );
        Some(
            Finding::error("axis-beyond-limits", text)
                .at(Place::sheet(at))
                .hint("Move the work away from the edge of the sheet by the blade offset."),
        )
    });
    first_few(all.collect(), |n| format!("{n} more cuts lead the axis beyond the limits."))
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

/// Closed contours whose size depends much on the offset, the smallest first.
fn small_contours(paths: &[TipPath], settings: &BladeSettings) -> Vec<Finding> {
    let doubtful = settings.offset_mm * OFFSET_DOUBT_MM / TOLD_ERROR_MM;
    let radius = |bounds: &Bounds| bounds.width().max(bounds.height()) / 2.0;
    let closed = paths.iter().filter(|path| path.contour.closed);
    let bounds = closed.map(|path| path.contour.bounds());
    let mut small: Vec<Bounds> = bounds.filter(|bounds| radius(bounds) < doubtful).collect();
    small.sort_by(|a, b| radius(a).total_cmp(&radius(b)));
    let one = |bounds: &Bounds| small_contour(bounds.center(), radius(bounds), settings.offset_mm);
    first_few(small.iter().map(one).collect(), |n| {
        format!("{n} more contours are as small for this blade.")
    })
}

fn small_contour(center: Point, radius: f64, offset: f64) -> Finding {
    let change = doubtful_radius(radius, offset);
    let text = format!(
        "A contour of {:.2} mm is small for a blade offset of {offset:.2} mm: if the offset is \
         {OFFSET_DOUBT_MM} mm off, its radius changes by up to {change:.3} mm.",
        2.0 * radius
    );
    Finding::warning("contour-small-for-blade", text)
        .at(Place::sheet(center))
        .hint("Tune the offset on this material, or take a blade with a smaller offset.")
}

/// How much the radius of a circle changes at most with an offset that is [`OFFSET_DOUBT_MM`] off, mm: its
/// axis stays on √(r² + d²), so r² changes by what d² does, and r ends at 0.
fn doubtful_radius(radius: f64, offset: f64) -> f64 {
    let with =
        |true_offset: f64| (radius.powi(2) + offset.powi(2) - true_offset.powi(2)).max(0.0).sqrt();
    let change = |off: f64| (with((offset + off).max(0.0)) - radius).abs();
    change(OFFSET_DOUBT_MM).max(change(-OFFSET_DOUBT_MM))
}

/// Lines that the tip could not follow, the worst first.
fn off_line(cuts: &[Cut]) -> Vec<Finding> {
    let all = cuts.iter().filter_map(|cut| cut.worst);
    let mut off: Vec<(f64, Point)> = all.filter(|(mm, _)| *mm > TOLD_ERROR_MM).collect();
    off.sort_by(|a, b| b.0.total_cmp(&a.0));
    first_few(off.into_iter().map(tip_error).collect(), |n| {
        format!("The tip leaves {n} more lines by more than {TOLD_ERROR_MM} mm.")
    })
}

fn tip_error((mm, at): (f64, Point)) -> Finding {
    let text = format!(
        "The tip leaves its line by {mm:.3} mm: the line turns faster than the blade can follow."
    );
    Finding::warning("tip-off-line", text)
        .at(Place::sheet(at))
        .hint("Draw this place larger or smoother, or take a blade with a smaller offset.")
}
