//! One segment of a path → stations along it: points with the true unit normal.
//!
//! A station is spaced from the last one as far as the tolerance allows, for the centre line and
//! for both sides of the stroke. At its ends a curve's tangent skips coincident control points
//! (SVG 2, chapter Paths, "Zero-length path segments" and directionality).

use kurbo::{CubicBez, ParamCurve, ParamCurveDeriv, PathSeg};

use crate::geometry::{Point, nearest_on_segment};

use super::Brush;

/// A place on the path.
#[derive(Debug, Clone, Copy)]
pub(super) struct Station {
    pub p: Point,
    /// Unit tangent.
    pub t: Point,
}

impl Station {
    /// Unit normal, a quarter turn counter-clockwise from the tangent.
    pub fn n(&self) -> Point {
        self.t.perpendicular()
    }
}

/// Normals further apart than this (cosine) within one span mean that the span is too long.
const SPAN_COSINE: f64 = 0.5;
/// The shortest span tried, as a share of the curve; below it the curve has a cusp.
const SHORTEST: f64 = 1.0 / 16384.0;

/// Stations from the start to the end of `segment`, both included; at least two.
///
/// `None` when the segment is shorter than `speck`.
pub(super) fn stations(segment: &PathSeg, brush: &Brush, speck: f64) -> Option<Vec<Station>> {
    match segment {
        PathSeg::Line(line) => {
            let (a, b) = (point(line.p0), point(line.p1));
            let length = a.distance(b);
            (length > speck).then(|| {
                let t = (b - a) * (1.0 / length);
                vec![Station { p: a, t }, Station { p: b, t }]
            })
        }
        PathSeg::Quad(quad) => bent(&quad.raise(), brush, speck),
        PathSeg::Cubic(cubic) => bent(cubic, brush, speck),
    }
}

/// A control point nearer to its end than this share of the curve's size was meant to lie on it:
/// single-precision viewers see it there too.
const NO_ARM: f64 = 1e-5;

fn bent(curve: &CubicBez, brush: &Brush, speck: f64) -> Option<Vec<Station>> {
    let hull = [curve.p1, curve.p2, curve.p3];
    let size = hull.iter().map(|q| point(*q).distance(point(curve.p0))).fold(0.0, f64::max);
    if size <= speck {
        return None;
    }
    let mut curve = *curve;
    let is_arm = |a, b| point(a).distance(point(b)) > NO_ARM * size;
    curve.p1 = if is_arm(curve.p0, curve.p1) { curve.p1 } else { curve.p0 };
    curve.p2 = if is_arm(curve.p3, curve.p2) { curve.p2 } else { curve.p3 };
    let curve = &curve;
    let probe = Probe { curve, derivative: curve.deriv(), speck };
    let mut stations = vec![probe.start()];
    let (mut t, mut step) = (0.0, 0.25);
    while t < 1.0 {
        step = longest_span(&probe, brush, t, step);
        let next = if t + step > 1.0 - SHORTEST { 1.0 } else { t + step };
        stations.push(if next == 1.0 { probe.end() } else { probe.at(next) });
        t = next;
    }
    Some(stations)
}

/// Turns by more than this (cosine) within [`TIGHT`] half widths: viewers that build outlines from
/// offset curves paint them differently.
const SHARP_COSINE: f64 = 0.87;
/// See [`SHARP_COSINE`].
const TIGHT: f64 = 0.05;

/// Where a curve turns so sharply within a small part of its stroke's width that it is neither a
/// corner nor a bend.
pub(super) fn tight_turn(stations: &[Station], r: f64) -> Option<Point> {
    let mut from = 0;
    let mut length = 0.0;
    for to in 1..stations.len() {
        length += stations[to].p.distance(stations[to - 1].p);
        while from < to && length > TIGHT * r {
            length -= stations[from + 1].p.distance(stations[from].p);
            from += 1;
        }
        if stations[from].t.dot(stations[to].t) < SHARP_COSINE {
            return Some(stations[to].p);
        }
    }
    None
}

/// Beyond a hook the curve runs on straight for as long as this, in windows of [`TIGHT`]...
const STRAIGHT_WINDOWS: f64 = 3.0;
/// ... turning by less than this (cosine)...
const STRAIGHT_COSINE: f64 = 0.98;
/// ... and the whole curve is longer than this, so that it is more than its hooks.
const LEAST_WINDOWS: f64 = 10.0;

/// The stations without hooks at the ends: a turn by more than 30 degrees within [`TIGHT`] half
/// widths, beyond which the curve runs straight.
///
/// Such a hook is a handle that was all but drawn back. By the letter of SVG 2 the width swings
/// round it and paints a fan beside the line's end; viewers either draw the line as if it was not
/// there or leave notches and spikes. Here the line ends where it ends, in the direction that it
/// had before the hook.
pub(super) fn without_hooks(mut stations: Vec<Station>, r: f64) -> Vec<Station> {
    if let Some((last, t)) = hook(stations.iter().copied(), r) {
        stations.drain(1..=last);
        stations[0].t = t;
    }
    if let Some((last, t)) = hook(stations.iter().rev().copied(), r) {
        let n = stations.len();
        stations.drain(n - 1 - last..n - 1);
        stations[n - 1 - last].t = t;
    }
    stations
}

/// How many stations after the first one belong to a hook there, and the direction beyond it.
fn hook(stations: impl Iterator<Item = Station>, r: f64) -> Option<(usize, Point)> {
    let window = TIGHT * r;
    let (mut length, mut before) = (0.0, None::<Station>);
    let (mut inside, mut straight) = (None, None);
    let mut first = None;
    for (i, station) in stations.enumerate() {
        length += before.map_or(0.0, |b| b.p.distance(station.p));
        before = Some(station);
        let first = *first.get_or_insert(station);
        if length <= window && i > 0 {
            inside = Some((i, station.t));
        }
        if straight.is_none() && length >= STRAIGHT_WINDOWS * window {
            straight = Some(station.t);
        }
        if length >= LEAST_WINDOWS * window {
            let (last, t) = inside?;
            let turns = first.t.dot(t) < SHARP_COSINE;
            return (turns && t.dot(straight?) > STRAIGHT_COSINE).then_some((last, t));
        }
    }
    None
}

/// The longest span from `t` that keeps within the tolerance, found by halving and stretching
/// from the `guess`.
fn longest_span(probe: &Probe, brush: &Brush, t: f64, guess: f64) -> f64 {
    let from = if t == 0.0 { probe.start() } else { probe.at(t) };
    let fits = |step: f64| span_fits(probe, brush, from, t, step);
    let mut good = guess.min(1.0 - t);
    while good > SHORTEST && !fits(good) {
        good *= 0.5;
    }
    if good <= SHORTEST {
        return SHORTEST;
    }
    let mut bad = (good * 2.0).min(1.0 - t);
    if bad <= good || fits(bad) {
        return bad.max(good);
    }
    for _ in 0..3 {
        let middle = (good + bad) / 2.0;
        if fits(middle) { good = middle } else { bad = middle }
    }
    good
}

fn span_fits(probe: &Probe, brush: &Brush, from: Station, t: f64, step: f64) -> bool {
    let to = if t + step >= 1.0 { probe.end() } else { probe.at(t + step) };
    if from.t.dot(to.t) < SPAN_COSINE {
        return false;
    }
    let side = |s: &Station, r: f64| s.p + s.n() * r;
    let chords = [0.0, brush.r, -brush.r].map(|r| (r, side(&from, r), side(&to, r)));
    [0.5, 0.25, 0.75].into_iter().all(|share| {
        let middle = probe.at(t + step * share);
        from.t.dot(middle.t) > SPAN_COSINE
            && chords.iter().all(|&(r, a, b)| near(side(&middle, r), (a, b), brush.tolerance))
    })
}

/// Whether `p` lies within `tolerance` of the straight line between two points.
fn near(p: Point, (a, b): (Point, Point), tolerance: f64) -> bool {
    (nearest_on_segment(p, a, b) - p).length_squared() <= tolerance * tolerance
}

struct Probe<'a> {
    curve: &'a CubicBez,
    derivative: kurbo::QuadBez,
    speck: f64,
}

impl Probe<'_> {
    fn at(&self, t: f64) -> Station {
        let p = point(self.curve.eval(t));
        let slope = point(self.derivative.eval(t));
        Station { p, t: unit(slope).unwrap_or_else(|| self.chord_direction(t)) }
    }

    /// Direction across a place where the derivative vanishes.
    fn chord_direction(&self, t: f64) -> Point {
        let (a, b) = ((t - 1e-4).max(0.0), (t + 1e-4).min(1.0));
        let chord = point(self.curve.eval(b)) - point(self.curve.eval(a));
        unit(chord).unwrap_or_else(|| self.start().t)
    }

    fn start(&self) -> Station {
        let c = self.curve;
        Station { p: point(c.p0), t: self.first_direction(c.p0, [c.p1, c.p2, c.p3], 1.0) }
    }

    fn end(&self) -> Station {
        let c = self.curve;
        Station { p: point(c.p3), t: self.first_direction(c.p3, [c.p2, c.p1, c.p0], -1.0) }
    }

    /// Direction from `from` to the first of `others` that does not coincide with it.
    fn first_direction(&self, from: kurbo::Point, others: [kurbo::Point; 3], sign: f64) -> Point {
        others
            .into_iter()
            .map(|q| (point(q) - point(from)) * sign)
            .find(|v| v.length() > self.speck)
            .and_then(unit)
            .unwrap_or(Point::new(1.0, 0.0))
    }
}

fn unit(v: Point) -> Option<Point> {
    let length = v.length();
    (length > 1e-12).then(|| v * (1.0 / length))
}

/// kurbo's point as ours.
pub(super) fn point(p: kurbo::Point) -> Point {
    Point::new(p.x, p.y)
}
