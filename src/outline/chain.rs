//! A subpath → the two sides of its sweep, closed into contours.
//!
//! The right chain runs with the path, the left one is turned round at the end, so an open line
//! gives one contour that runs counter-clockwise (y up), a closed one gives two.

use kurbo::{BezPath, PathEl, PathSeg};

use crate::geometry::Point;

use super::Brush;
use super::corner::{self, Corner};
use super::curve::{self, Station, point};

/// A line without interruption.
pub(super) struct Subpath {
    start: Point,
    segments: Vec<PathSeg>,
    closed: bool,
    /// It draws something, be it of length zero: a lone `M` does not.
    drawn: bool,
}

impl Subpath {
    /// The subpaths of `path`.
    pub fn split(path: &BezPath) -> Vec<Self> {
        let mut all: Vec<Self> = Vec::new();
        let mut last = kurbo::Point::ORIGIN;
        for element in path.elements() {
            if let PathEl::MoveTo(p) = element {
                all.push(Self::starting(*p));
                last = *p;
                continue;
            }
            // After a closepath the next subpath begins where the closed one did.
            if all.last().is_none_or(|subpath| subpath.closed) {
                all.push(Self::starting(last));
            }
            if let Some(subpath) = all.last_mut() {
                last = subpath.draw(*element, last);
            }
        }
        all.retain(|subpath| subpath.drawn);
        all
    }

    fn starting(p: kurbo::Point) -> Self {
        Self { start: point(p), segments: Vec::new(), closed: false, drawn: false }
    }

    fn draw(&mut self, element: PathEl, from: kurbo::Point) -> kurbo::Point {
        self.drawn = true;
        let segment = match element {
            PathEl::MoveTo(_) => return from,
            PathEl::LineTo(p) => PathSeg::Line(kurbo::Line::new(from, p)),
            PathEl::QuadTo(a, p) => PathSeg::Quad(kurbo::QuadBez::new(from, a, p)),
            PathEl::CurveTo(a, b, p) => PathSeg::Cubic(kurbo::CubicBez::new(from, a, b, p)),
            PathEl::ClosePath => {
                self.closed = true;
                let start = kurbo::Point::new(self.start.x, self.start.y);
                PathSeg::Line(kurbo::Line::new(from, start))
            }
        };
        let end = kurbo::ParamCurve::end(&segment);
        self.segments.push(segment);
        end
    }

    /// A length below which a segment counts as a point: nothing that a drawing means.
    fn speck(&self) -> f64 {
        let reach = self.start.x.abs().max(self.start.y.abs()).max(1.0);
        reach * 1e-9
    }
}

/// The two sides of a sweep, both in the sense of the path.
#[derive(Default)]
pub(super) struct Chains {
    pub left: Vec<Point>,
    pub right: Vec<Point>,
}

/// One drawn segment as stations.
struct Leg {
    stations: Vec<Station>,
    straight: bool,
    /// Where it turns within a small part of the width.
    tight_turn: Option<Point>,
}

impl Leg {
    fn new(segment: &PathSeg, brush: &Brush, speck: f64) -> Option<Self> {
        let stations = curve::stations(segment, brush, speck)?;
        if matches!(segment, PathSeg::Line(_)) {
            return Some(Self { stations, straight: true, tight_turn: None });
        }
        let tight_turn = curve::tight_turn(&stations, brush.r);
        let stations = match tight_turn {
            Some(_) => curve::without_hooks(stations, brush.r),
            None => stations,
        };
        Some(Self { stations, straight: false, tight_turn })
    }
}

/// Adds the contours that `subpath` paints to `out`; tells where a curve turns tightly.
pub(super) fn sweep(subpath: &Subpath, brush: &Brush, out: &mut Vec<Vec<Point>>) -> Option<Point> {
    let speck = subpath.speck();
    let legs: Vec<Leg> =
        subpath.segments.iter().filter_map(|segment| Leg::new(segment, brush, speck)).collect();
    let (Some(first), Some(last)) = (legs.first(), legs.last()) else {
        out.extend(corner::dot(subpath.start, brush));
        return None;
    };
    let mut chains = Chains::default();
    for (i, leg) in legs.iter().enumerate() {
        if i > 0 {
            corner::join(&corner_between(&legs[i - 1], leg), brush, &mut chains);
        }
        walk(leg, brush, &mut chains, out);
    }
    if subpath.closed {
        corner::join(&corner_between(last, first), brush, &mut chains);
        chains.left.reverse();
        out.push(chains.right);
        out.push(chains.left);
    } else {
        out.push(close_open(first, last, brush, chains));
    }
    legs.iter().find_map(|leg| leg.tight_turn)
}

fn corner_between(before: &Leg, after: &Leg) -> Corner {
    let length = |leg: &Leg| {
        if leg.straight { leg.stations[0].p.distance(leg.stations[1].p) } else { 0.0 }
    };
    Corner {
        before: before.stations[before.stations.len() - 1],
        after: after.stations[0],
        room: length(before).min(length(after)),
        cusp: false,
    }
}

/// One contour round an open line: cap, right side, cap, left side back.
fn close_open(first: &Leg, last: &Leg, brush: &Brush, mut chains: Chains) -> Vec<Point> {
    let start = first.stations[0];
    let mut contour = Vec::with_capacity(chains.left.len() + chains.right.len() + 8);
    corner::cap(&Station { p: start.p, t: start.t * -1.0 }, brush, &mut contour);
    contour.append(&mut chains.right);
    corner::cap(&last.stations[last.stations.len() - 1], brush, &mut contour);
    contour.extend(chains.left.into_iter().rev());
    contour
}

/// Pushes the stations inside a leg (its ends belong to corners and caps) and mends the places
/// where a side runs backwards.
fn walk(leg: &Leg, brush: &Brush, chains: &mut Chains, out: &mut Vec<Vec<Point>>) {
    let stations = &leg.stations;
    for pair in stations.windows(2).take(stations.len().saturating_sub(2)) {
        let s = &pair[1];
        if pair[0].t.dot(s.t) < CUSP_COSINE {
            let before = Station { p: s.p, t: pair[0].t };
            let corner = Corner { before, after: *s, room: 0.0, cusp: true };
            corner::join(&corner, brush, chains);
        } else {
            chains.left.push(s.p + s.n() * brush.r);
            chains.right.push(s.p - s.n() * brush.r);
        }
    }
    if let [.., before, end] = stations[..]
        && before.t.dot(end.t) < CUSP_COSINE
    {
        let before = Station { p: end.p, t: before.t };
        corner::join(&Corner { before, after: end, room: 0.0, cusp: true }, brush, chains);
    }
    if !leg.straight {
        mend(stations, brush.r, out);
        mend(stations, -brush.r, out);
    }
}

/// Tangents further apart than this between neighbouring stations are a cusp (about 0.6 rad more
/// than any accepted span turns).
const CUSP_COSINE: f64 = 0.45;

/// Adds, twice, each stretch that the side at distance `r` (left above 0) runs backwards.
fn mend(stations: &[Station], r: f64, out: &mut Vec<Vec<Point>>) {
    let mut run: Vec<(Point, Point)> = Vec::new();
    let mut last = None;
    for pair in stations.windows(2) {
        match flipped(&pair[0], &pair[1], r) {
            Some(meeting) => {
                run.push((pair[0].p + pair[0].n() * r, meeting));
                last = Some(pair[1].p + pair[1].n() * r);
            }
            None => close_run(&mut run, last, out),
        }
    }
    close_run(&mut run, last, out);
}

/// Where the normals of a span meet, if its side at distance `r` runs backwards.
fn flipped(a: &Station, b: &Station, r: f64) -> Option<Point> {
    if a.t.dot(b.t) < CUSP_COSINE {
        return None;
    }
    let chord = b.p - a.p;
    let side = chord + (b.n() - a.n()) * r;
    if side.dot(chord) >= 0.0 {
        return None;
    }
    let across = a.n().cross(b.n());
    if across.abs() < 1e-12 {
        return None;
    }
    let along = chord.cross(b.n()) / across;
    // The normals must meet between the line and its side, else nothing is flipped.
    (along * r > 0.0 && along.abs() <= r.abs()).then(|| a.p + a.n() * along)
}

fn close_run(run: &mut Vec<(Point, Point)>, last: Option<Point>, out: &mut Vec<Vec<Point>>) {
    let Some(last) = last.filter(|_| !run.is_empty()) else { return };
    let mut polygon: Vec<Point> = run.iter().map(|(side, _)| *side).collect();
    polygon.push(last);
    polygon.extend(run.iter().rev().map(|(_, meeting)| *meeting));
    run.clear();
    if crate::geometry::Contour::closed(polygon.clone()).signed_area() < 0.0 {
        polygon.reverse();
    }
    out.push(polygon.clone());
    out.push(polygon);
}
