//! What a path does between two corners → stations along it: points with the true unit normal.
//!
//! Cubics that join smoothly are one curve. A side that keeps its sense has stations of its own, as far apart as the tolerance allows
//! (`spacing`); where a curve turns within its stroke both sides share theirs. At its ends a curve's
//! tangent skips coincident control points (SVG 2, chapter Paths, "Zero-length path segments" and
//! directionality).

use kurbo::{CubicBez, Line, ParamCurveDeriv, PathSeg, QuadBez};

use crate::geometry::Point;

use super::Brush;
use super::spacing::{Probe, spaced};

/// A place on the path.
#[derive(Debug, Clone, Copy)]
pub(super) struct Station {
    pub p: Point,
    /// Unit tangent.
    pub t: Point,
    /// How far beside the true side the outline runs here, to the left: at most the tolerance.
    pub lift: f64,
}

impl Station {
    pub fn new(p: Point, t: Point) -> Self {
        Self { p, t, lift: 0.0 }
    }

    /// Unit normal, a quarter turn counter-clockwise from the tangent.
    pub fn n(&self) -> Point {
        self.t.perpendicular()
    }

    /// The outline's point on the side at distance `r` (left above 0).
    pub fn side(&self, r: f64) -> Point {
        self.p + self.n() * (r + self.lift)
    }

    /// The true point of that side.
    pub fn true_side(&self, r: f64) -> Point {
        self.p + self.n() * r
    }
}

/// A cubic that is longer than a speck.
#[derive(Debug, Clone)]
pub(super) struct Cubic {
    pub curve: CubicBez,
    pub derivative: QuadBez,
    /// Parts of it up to this long have no direction.
    speck: f64,
}

/// A control point nearer to its end than this share of the curve's size was meant to lie on it:
/// single-precision viewers see it there too.
const NO_ARM: f64 = 1e-5;

impl Cubic {
    fn new(mut curve: CubicBez, speck: f64) -> Option<Self> {
        let hull = [curve.p1, curve.p2, curve.p3];
        let size = hull.iter().map(|q| point(*q).distance(point(curve.p0))).fold(0.0, f64::max);
        if size <= speck {
            return None;
        }
        let is_arm = |a, b| point(a).distance(point(b)) > NO_ARM * size;
        curve.p1 = if is_arm(curve.p0, curve.p1) { curve.p1 } else { curve.p0 };
        curve.p2 = if is_arm(curve.p3, curve.p2) { curve.p2 } else { curve.p3 };
        Some(Self { curve, derivative: curve.deriv(), speck })
    }

    fn hull(&self) -> [Point; 4] {
        [self.curve.p0, self.curve.p1, self.curve.p2, self.curve.p3].map(point)
    }

    pub fn start(&self) -> Station {
        let c = &self.curve;
        Station::new(point(c.p0), self.first_direction(c.p0, [c.p1, c.p2, c.p3], 1.0))
    }

    pub fn end(&self) -> Station {
        let c = &self.curve;
        Station::new(point(c.p3), self.first_direction(c.p3, [c.p2, c.p1, c.p0], -1.0))
    }

    /// Whether `after` goes on as one curve. Where the bend changes to the other hand it does not: the straight piece
    /// there is worth a vertex that is not lifted, which simplifying may leave out.
    fn joins_smoothly(&self, after: &Self, most_turn: f64) -> bool {
        let (end, start) = (self.end().t, after.start().t);
        let [_, a, b, c] = self.hull();
        let [d, e, f, _] = after.hull();
        let bends = (b - a).cross(c - b) * (e - d).cross(f - e);
        end.dot(start) > 0.0 && end.cross(start).abs() < most_turn && bends >= 0.0
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

/// What a path does between two corners, up to a straight line or to where it bends to the other hand.
#[derive(Debug)]
pub(super) enum Run {
    Line(Line),
    /// Cubics, at least one, that join smoothly in one bend.
    Curve(Vec<Cubic>),
}

/// Cubics that turn by less where they join are one curve: radians...
const SMOOTH_TURN: f64 = 0.002;
/// ... and so that their sides jump along by less than this share of the tolerance.
const SMOOTH_JUMP: f64 = 0.5;

/// The runs of a subpath; segments shorter than `speck` are left out.
pub(super) fn runs(segments: &[PathSeg], brush: &Brush, speck: f64) -> Vec<Run> {
    let most_turn = SMOOTH_TURN.min(SMOOTH_JUMP * brush.tolerance / brush.r);
    let mut runs: Vec<Run> = Vec::with_capacity(segments.len());
    for segment in segments {
        let cubic = match *segment {
            PathSeg::Line(line) => {
                let is_long = point(line.p0).distance(point(line.p1)) > speck;
                runs.extend(is_long.then_some(Run::Line(line)));
                continue;
            }
            PathSeg::Quad(quad) => Cubic::new(quad.raise(), speck),
            PathSeg::Cubic(cubic) => Cubic::new(cubic, speck),
        };
        let Some(cubic) = cubic else { continue };
        match runs.last_mut() {
            Some(Run::Curve(before))
                if before.last().is_some_and(|last| last.joins_smoothly(&cubic, most_turn)) =>
            {
                before.push(cubic);
            }
            _ => runs.push(Run::Curve(vec![cubic])),
        }
    }
    runs
}

/// The stations of a run, for each side of its stroke: at least two, the first and the last of both
/// sides the same.
pub(super) struct Stations {
    pub left: Vec<Station>,
    pub right: Vec<Station>,
    /// Where it turns within a small part of the width: both sides have the same stations then.
    pub tight_turn: Option<Point>,
}

impl Stations {
    /// Those of a straight line.
    pub fn straight(line: &Line) -> Self {
        let (a, b) = (point(line.p0), point(line.p1));
        let t = (b - a) * (1.0 / a.distance(b));
        let left = vec![Station::new(a, t), Station::new(b, t)];
        Self { right: left.clone(), left, tight_turn: None }
    }

    /// Those of a curve, of each cubic by itself where it bends tighter than the stroke is wide.
    pub fn bent(cubics: &[Cubic], brush: &Brush) -> Vec<Self> {
        let probe = Probe::new(cubics);
        let r = brush.r;
        let left = spaced(&probe, &[r], brush.tolerance);
        let right = spaced(&probe, &[-r], brush.tolerance);
        let is_sharp = |side: &[Station]| has_cusp(side) || tight_turn(side, r).is_some();
        if !is_sharp(&left) && !is_sharp(&right) {
            return vec![Self { left, right, tight_turn: None }];
        }
        if cubics.len() > 1 {
            return cubics.chunks(1).flat_map(|cubic| Self::bent(cubic, brush)).collect();
        }
        // Corners inside the curve join both sides, so both need the same stations.
        let mut left = spaced(&probe, &[r, -r], brush.tolerance);
        let tight_turn = tight_turn(&left, r);
        if tight_turn.is_some() {
            left = without_hooks(left, r);
        }
        vec![Self { right: left.clone(), left, tight_turn }]
    }
}

/// Tangents further apart than this (cosine) between neighbouring stations are a cusp (about 0.6 rad
/// more than any accepted span turns).
const CUSP_COSINE: f64 = 0.45;

/// Whether the side at distance `r` runs backwards from `a` to `b`.
pub(super) fn runs_backwards(a: &Station, b: &Station, r: f64) -> bool {
    (b.side(r) - a.side(r)).dot(b.p - a.p) < 0.0
}

fn has_cusp(stations: &[Station]) -> bool {
    stations.windows(2).any(|pair| is_cusp(&pair[0], &pair[1]))
}

/// Whether a curve has a cusp between two neighbouring stations.
pub(super) fn is_cusp(a: &Station, b: &Station) -> bool {
    a.t.dot(b.t) < CUSP_COSINE
}

/// Turns by more than this (cosine) within [`TIGHT`] half widths: viewers that build outlines from
/// offset curves paint them differently.
const SHARP_COSINE: f64 = 0.87;
/// See [`SHARP_COSINE`].
const TIGHT: f64 = 0.05;

/// Where a curve turns so sharply within a small part of its stroke's width that it is neither a
/// corner nor a bend.
fn tight_turn(stations: &[Station], r: f64) -> Option<Point> {
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
fn without_hooks(mut stations: Vec<Station>, r: f64) -> Vec<Station> {
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

/// How many stations after the first one belong to a hook there, and the direction beyond it: between
/// those at the near and the far end of where the curve runs straight.
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
            let ((last, t), straight) = (inside?, straight?);
            let is_hook = first.t.dot(t) < SHARP_COSINE && t.dot(straight) > STRAIGHT_COSINE;
            return if is_hook { Some((last, unit(t + straight)?)) } else { None };
        }
    }
    None
}

pub(super) fn unit(v: Point) -> Option<Point> {
    let length = v.length();
    (length > 1e-12).then(|| v * (1.0 / length))
}

/// kurbo's point as ours.
pub(super) fn point(p: kurbo::Point) -> Point {
    Point::new(p.x, p.y)
}
