//! A subpath → the two sides of its sweep, closed into contours.
//!
//! The right chain runs with the path, the left one is turned round at the end, so an open line
//! gives one contour that runs counter-clockwise (y up), a closed one gives two.

use kurbo::{BezPath, PathEl, PathSeg};

use crate::geometry::{Contour, Point};

use super::Brush;
use super::corner::{self, Corner};
use super::curve::{self, Run, Station, Stations, is_cusp, point, runs_backwards};

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

/// A run as stations, or a part of it: a cusp parts it.
struct Leg {
    left: Vec<Station>,
    right: Vec<Station>,
    straight: bool,
    /// It begins where a curve has a cusp.
    after_cusp: bool,
    /// Where it turns within a small part of the width.
    tight_turn: Option<Point>,
}

impl Leg {
    fn of(run: &Run, brush: &Brush) -> Vec<Self> {
        match run {
            Run::Line(line) => vec![Self::whole(Stations::straight(line), true)],
            Run::Curve(cubics) => {
                let bent = Stations::bent(cubics, brush).into_iter();
                bent.flat_map(|stations| Self::whole(stations, false).parted()).collect()
            }
        }
    }

    fn whole(Stations { left, right, tight_turn }: Stations, straight: bool) -> Self {
        Self { left, right, straight, after_cusp: false, tight_turn }
    }

    /// Its parts between cusps.
    fn parted(self) -> Vec<Self> {
        let mut rest = self;
        let mut legs = Vec::with_capacity(1);
        while let Some(cusp) = rest.left.windows(2).position(|pair| is_cusp(&pair[0], &pair[1])) {
            let after = rest.left.split_off(cusp + 1);
            rest.left.push(Station::new(after[0].p, rest.left[cusp].t));
            legs.push(Self { right: rest.left.clone(), ..rest });
            rest = Self {
                right: after.clone(),
                left: after,
                after_cusp: true,
                ..legs[legs.len() - 1]
            };
        }
        legs.push(rest);
        legs
    }

    fn start(&self) -> &Station {
        &self.left[0]
    }

    fn end(&self) -> &Station {
        &self.left[self.left.len() - 1]
    }
}

/// Adds the contours that `subpath` paints to `out`; tells where a curve turns tightly.
pub(super) fn sweep(subpath: &Subpath, brush: &Brush, out: &mut Vec<Vec<Point>>) -> Option<Point> {
    let speck = subpath.speck();
    let runs = curve::runs(&subpath.segments, brush, speck);
    let legs: Vec<Leg> = runs.iter().flat_map(|run| Leg::of(run, brush)).collect();
    let (Some(first), Some(last)) = (legs.first(), legs.last()) else {
        out.extend(corner::dot(subpath.start, brush));
        return None;
    };
    let mut chains = Chains::default();
    for (i, leg) in legs.iter().enumerate() {
        if i > 0 {
            corner::join(&corner_between(&legs[i - 1], leg), brush, &mut chains);
        }
        walk(&leg.left, brush.r, &mut chains.left, out);
        walk(&leg.right, -brush.r, &mut chains.right, out);
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
        if leg.straight { leg.start().p.distance(leg.end().p) } else { 0.0 }
    };
    Corner {
        before: *before.end(),
        after: *after.start(),
        room: length(before).min(length(after)),
        cusp: after.after_cusp,
    }
}

/// One contour round an open line: cap, right side, cap, left side back.
fn close_open(first: &Leg, last: &Leg, brush: &Brush, mut chains: Chains) -> Vec<Point> {
    let start = first.start();
    let mut contour = Vec::with_capacity(chains.left.len() + chains.right.len() + 8);
    corner::cap(&Station::new(start.p, start.t * -1.0), brush, &mut contour);
    contour.append(&mut chains.right);
    corner::cap(last.end(), brush, &mut contour);
    contour.extend(chains.left.into_iter().rev());
    contour
}

/// Adds one side of a leg, at distance `r` (left above 0), to its chain: what lies between its ends, which
/// belong to corners and caps.
///
/// Where the side runs backwards, the sweep covers the triangles between it and the places where the
/// normals meet. The chain follows those places instead, which leaves the triangles out, and each
/// such stretch is added as a contour of its own.
fn walk(stations: &[Station], r: f64, chain: &mut Vec<Point>, out: &mut Vec<Vec<Point>>) {
    let mut backwards = Backwards::default();
    for (i, pair) in stations.windows(2).enumerate() {
        let side = pair[0].side(r);
        let meeting = flipped(&pair[0], &pair[1], r);
        if i > 0 && (meeting.is_none() || backwards.is_empty()) {
            chain.push(side);
        }
        match meeting {
            Some(meeting) => {
                chain.push(meeting);
                backwards.go(side, meeting);
            }
            None => out.extend(backwards.end(side)),
        }
    }
    if let Some(last) = stations.last() {
        out.extend(backwards.end(last.side(r)));
    }
}

/// A stretch of a side that runs backwards, so far.
#[derive(Default)]
struct Backwards {
    sides: Vec<Point>,
    meetings: Vec<Point>,
}

impl Backwards {
    fn is_empty(&self) -> bool {
        self.sides.is_empty()
    }

    fn go(&mut self, side: Point, meeting: Point) {
        self.sides.push(side);
        self.meetings.push(meeting);
    }

    /// What the sweep covers there, counter-clockwise (y up): the stretch ends at `last`.
    fn end(&mut self, last: Point) -> Option<Vec<Point>> {
        if self.is_empty() {
            return None;
        }
        let mut points = std::mem::take(&mut self.sides);
        points.push(last);
        points.extend(self.meetings.drain(..).rev());
        let mut contour = Contour::closed(points);
        if contour.signed_area() < 0.0 {
            contour.points.reverse();
        }
        Some(contour.points)
    }
}

/// Where the normals of a span meet, if its side at distance `r` runs backwards.
fn flipped(a: &Station, b: &Station, r: f64) -> Option<Point> {
    let chord = b.p - a.p;
    if !runs_backwards(a, b, r) {
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
