//! Curves as the language defines them → points.
//!
//! Sources: 7470A manual, pp. 3-12 to 3-21 (chord rule); PCL 5 Technical Reference II, pp. 20-10
//! to 20-22 (three-point arcs, Bezier curves); Liang and Barsky, "A new concept and method for line
//! clipping", ACM TOG 3(1), 1984.

use crate::geometry::{Bounds, Point, wrap_angle};

/// The most chords of one arc; finer than any machine's unit on any sheet.
const MOST_CHORDS: f64 = 3600.0;

/// Points of an arc about `center` from `start` (left out) to its end, by `sweep` degrees, in equal
/// chords of at most `chord` degrees: what a machine makes of an `AA`.
pub fn arc_points(
    center: Point,
    start: Point,
    sweep: f64,
    chord: f64,
) -> impl Iterator<Item = Point> {
    let sweep = if sweep.is_finite() { sweep.clamp(-36000.0, 36000.0) } else { 0.0 };
    // Slightly below a whole number of chords is that number.
    let count = (sweep.abs() / chord - 1e-9).ceil().clamp(1.0, MOST_CHORDS) as usize;
    let arm = start - center;
    (1..=count).map(move |i| {
        let (sin, cos) = (sweep * i as f64 / count as f64).to_radians().sin_cos();
        center + Point::new(arm.x * cos - arm.y * sin, arm.x * sin + arm.y * cos)
    })
}

/// What runs through three points.
pub(super) enum Through {
    Arc { center: Point, sweep: f64 },
    Line(Vec<Point>),
}

/// The arc from `start` through `middle` to `end`.
pub(super) fn three_points(start: Point, middle: Point, end: Point) -> Through {
    if start.distance(end) < 1e-9 {
        return Through::Arc { center: start.lerp(middle, 0.5), sweep: 360.0 };
    }
    let (u, v) = (middle - start, end - start);
    let doubled = 2.0 * u.cross(v);
    if doubled.abs() < 1e-9 {
        let between = u.dot(v) >= 0.0 && u.length() <= v.length();
        return Through::Line(if between { vec![end] } else { vec![middle, start, end] });
    }
    let (uu, vv) = (u.dot(u), v.dot(v));
    let center = start + Point::new(v.y * uu - u.y * vv, u.x * vv - v.x * uu) * (1.0 / doubled);
    let (a, b) = ((start - center).angle(), (end - center).angle());
    let mut sweep = wrap_angle(b - a).to_degrees();
    // The turn at the middle tells the sense.
    if (u.cross(v) > 0.0) != (sweep > 0.0) {
        sweep += if sweep > 0.0 { -360.0 } else { 360.0 };
    }
    Through::Arc { center, sweep }
}

/// Points of a Bezier curve after its start, within about a unit of it.
pub(super) fn bezier_points(p0: Point, p1: Point, p2: Point, p3: Point) -> Vec<Point> {
    let of = |p: Point| kurbo::Point::new(p.x, p.y);
    let mut path = kurbo::BezPath::new();
    path.move_to(of(p0));
    path.curve_to(of(p1), of(p2), of(p3));
    let mut points = Vec::new();
    let reach = [p0, p1, p2, p3].into_iter().map(Point::length).fold(0.0, f64::max);
    // Half a plotter unit, unless the numbers are far beyond any machine's.
    let tolerance = (reach * 1e-6).max(0.5);
    kurbo::flatten(&path, tolerance, |element| {
        if let kurbo::PathEl::LineTo(p) = element {
            points.push(Point::new(p.x, p.y));
        }
    });
    points
}

/// The share of the line from `a` to `b` that lies inside `window`.
pub(super) fn inside(a: Point, b: Point, window: Bounds) -> Option<(f64, f64)> {
    let d = b - a;
    let (mut enter, mut leave) = (0.0f64, 1.0f64);
    for (step, room) in [
        (-d.x, a.x - window.min.x),
        (d.x, window.max.x - a.x),
        (-d.y, a.y - window.min.y),
        (d.y, window.max.y - a.y),
    ] {
        if step == 0.0 {
            if room < 0.0 {
                return None;
            }
        } else if step < 0.0 {
            enter = enter.max(room / step);
        } else {
            leave = leave.min(room / step);
        }
    }
    (enter <= leave).then_some((enter, leave))
}
