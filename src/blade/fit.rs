//! Contour of short chords → chain of [`Piece`]s: straight lines and arcs with true tangents.
//!
//! In: vertices in cut order. Out: pieces that join at vertices of the contour and leave it by at
//! most the tolerance. A chord's direction is noise of (rounding/length) that a blade's offset
//! would magnify; a fitted arc has a tangent one can trust, and a tenth of the points.
//!
//! Method: greedy; from each vertex the longest line or the longest arc within the tolerance,
//! whichever reaches further, found by doubling and halving the reach. An arc's centre lies on the
//! bisector of its end points; its place there is the least-squares fit to the vertices and the
//! chords' middles, so half of the chords' sagitta falls on either side. True corners stay corners:
//! no arc runs over a vertex that turns by more than [`SHARPEST_IN_ARC`].

use std::f64::consts::PI;

use super::overcut::beginning;
use crate::geometry::{Contour, Point, distance_to_segment, wrap_angle};

/// A vertex that turns by more is a corner, never part of a curve, radians (50°).
///
/// Outlines of curves within 0.01 mm turn by more only on radii below 0.2 mm.
const SHARPEST_IN_ARC: f64 = 0.87;
/// An arc must replace at least this many chords: through fewer, any corner would pass for a curve.
const FEWEST_CHORDS: usize = 3;
/// Widest arc, radians: end points further round make the bisector a poor guide.
const WIDEST_ARC: f64 = 0.9 * PI;

/// A stretch of the wanted line with a true tangent everywhere, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Piece {
    /// A straight line.
    Line {
        /// Where it begins.
        from: Point,
        /// Where it ends.
        to: Point,
    },
    /// An arc.
    Arc {
        /// Where it begins.
        from: Point,
        /// Where it ends.
        to: Point,
        /// Its centre.
        center: Point,
        /// Turn about the centre, radians, counter-clockwise above 0.
        sweep: f64,
    },
}

/// A line of the layout as pieces, with the vertices that they replace.
#[derive(Debug, Clone, Default)]
pub(super) struct Fitted {
    /// Lines and arcs in order.
    pub pieces: Vec<Piece>,
    /// For each piece the index in `vertices` of its end.
    pub ends: Vec<usize>,
    /// The contour's vertices without repeats; a closed one's first again at the end.
    pub vertices: Vec<Point>,
}

/// The contour as lines and arcs within `tolerance_mm`; a closed one ends where it begins.
pub(super) fn fit(contour: &Contour, tolerance_mm: f64) -> Fitted {
    let points = chain(contour);
    let corners = corners(&points);
    let (mut pieces, mut ends) = (Vec::new(), Vec::new());
    let mut at = 0;
    while at + 1 < points.len() {
        let rest = &points[at..];
        let line = reach(rest, 1, |run| line_fits(run, tolerance_mm));
        let passed = corners.partition_point(|&corner| corner <= at);
        let round = corners.get(passed).map_or(rest.len() - 1, |corner| corner - at);
        let arc = reach(&rest[..=round], FEWEST_CHORDS, |run| {
            arc_through(run).is_some_and(|arc| arc_fits(&arc, run, tolerance_mm))
        });
        let (end, piece) = match arc_through(&rest[..=arc]) {
            Some(piece) if arc > line && arc >= FEWEST_CHORDS => (arc, piece),
            _ => (line, Piece::Line { from: rest[0], to: rest[line] }),
        };
        pieces.push(piece);
        at += end;
        ends.push(at);
    }
    Fitted { pieces, ends, vertices: points }
}

impl Fitted {
    /// Runs on over the beginning for `length_mm`, once round at most.
    pub fn run_on(&mut self, length_mm: f64) {
        let more = beginning(&self.pieces, length_mm);
        let count = self.vertices.len().saturating_sub(1);
        self.ends.extend((0..more.len()).map(|i| self.ends[i] + count).collect::<Vec<_>>());
        self.vertices.extend_from_within(1..);
        self.pieces.extend(more);
    }

    /// Index in `vertices` of where piece `i` begins.
    pub fn begin(&self, i: usize) -> usize {
        if i == 0 { 0 } else { self.ends[i - 1] }
    }

    /// How far piece `i` leaves the vertices that it replaces and the middles of their chords, mm.
    pub fn off_mm(&self, i: usize) -> f64 {
        let run = &self.vertices[self.begin(i)..=self.ends[i]];
        let piece = &self.pieces[i];
        let off = run.windows(2).flat_map(|w| [w[0].lerp(w[1], 0.5), w[1]]);
        off.map(|p| piece.off_curve(p)).fold(0.0, f64::max)
    }
}

/// The vertices without repeats; a closed contour's first one again at the end.
fn chain(contour: &Contour) -> Vec<Point> {
    let mut points = contour.track();
    points.dedup();
    points
}

/// The last index up to which `fits` holds, at least 1; runs shorter than `least` chords are not
/// asked about. `points` has at least two.
pub(crate) fn reach(points: &[Point], least: usize, fits: impl Fn(&[Point]) -> bool) -> usize {
    let last = points.len() - 1;
    if last < least || !fits(&points[..=least]) {
        return 1;
    }
    let (mut good, mut stride) = (least, 1);
    while good + stride <= last && fits(&points[..=good + stride]) {
        good += stride;
        stride *= 2;
    }
    let mut bad = (good + stride).min(last + 1);
    while bad - good > 1 {
        let middle = good.midpoint(bad);
        if fits(&points[..=middle]) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    good
}

/// The vertices that no arc may run over.
fn corners(points: &[Point]) -> Vec<usize> {
    let turn = |w: &[Point]| wrap_angle((w[2] - w[1]).angle() - (w[1] - w[0]).angle()).abs();
    let turns = points.windows(3).map(turn).enumerate();
    turns.filter(|(_, turn)| *turn > SHARPEST_IN_ARC).map(|(i, _)| i + 1).collect()
}

fn line_fits(run: &[Point], tolerance_mm: f64) -> bool {
    let (a, b) = (run[0], run[run.len() - 1]);
    let way = b - a;
    let inner = &run[1..run.len() - 1];
    // Going back along the line would be lost: each step must lead on.
    inner.iter().all(|&p| distance_to_segment(p, a, b) <= tolerance_mm)
        && run.windows(2).all(|w| (w[1] - w[0]).dot(way) > 0.0)
}

/// The best arc from the first to the last vertex, if there is one.
fn arc_through(run: &[Point]) -> Option<Piece> {
    let (from, to) = (*run.first()?, *run.last()?);
    let chord = to - from;
    let half = chord.length() / 2.0;
    if half < 1e-9 {
        return None;
    }
    let middle = from.lerp(to, 0.5);
    let (along, across) = (chord * (0.5 / half), (chord * (0.5 / half)).perpendicular());
    // x² + y² − half² = 2·k·y for every point of the circle with its centre k above the middle.
    let (mut top, mut bottom) = (0.0, 0.0);
    let mut add = |p: Point| {
        let (x, y) = ((p - middle).dot(along), (p - middle).dot(across));
        top += y * (x * x + y * y - half * half);
        bottom += 2.0 * y * y;
    };
    for w in run.windows(2) {
        add(w[0].lerp(w[1], 0.5));
        add(w[1]);
    }
    if bottom < 1e-18 {
        return None;
    }
    let center = middle + across * (top / bottom);
    arc_about(from, to, center, side(run, middle, across))
}

/// On which side of its chord a run bulges: above 0 to the left.
fn side(run: &[Point], middle: Point, across: Point) -> f64 {
    run.iter().map(|&p| (p - middle).dot(across)).sum()
}

fn arc_about(from: Point, to: Point, center: Point, bulge: f64) -> Option<Piece> {
    let (a, b) = (from - center, to - center);
    let mut sweep = a.cross(b).atan2(a.dot(b));
    // A bulge to the left of the chord is run clockwise.
    if sweep * bulge > 0.0 {
        sweep -= 2.0 * PI * sweep.signum();
    }
    let fine = center.is_finite() && sweep != 0.0 && sweep.abs() <= WIDEST_ARC;
    fine.then_some(Piece::Arc { from, to, center, sweep })
}

fn arc_fits(arc: &Piece, run: &[Point], tolerance_mm: f64) -> bool {
    let Piece::Arc { center, sweep, .. } = *arc else { return false };
    let radius = run[0].distance(center);
    let off = |p: Point| (p.distance(center) - radius).abs() <= tolerance_mm;
    run.windows(2).all(|w| {
        let onward = (w[0] - center).cross(w[1] - center) * sweep > 0.0;
        onward && off(w[1]) && off(w[0].lerp(w[1], 0.5))
    })
}

impl Piece {
    /// Where it begins.
    pub fn start(&self) -> Point {
        match *self {
            Self::Line { from, .. } | Self::Arc { from, .. } => from,
        }
    }
    /// Where it ends.
    pub fn end(&self) -> Point {
        match *self {
            Self::Line { to, .. } | Self::Arc { to, .. } => to,
        }
    }
    /// Its direction where it begins, as a unit vector.
    pub fn start_tangent(&self) -> Point {
        self.tangent(self.start())
    }
    /// Its direction where it ends, as a unit vector.
    pub fn end_tangent(&self) -> Point {
        self.tangent(self.end())
    }
    fn tangent(&self, at: Point) -> Point {
        let way = match *self {
            Self::Line { from, to } => to - from,
            Self::Arc { center, sweep, .. } => (at - center).perpendicular() * sweep.signum(),
        };
        way * (1.0 / way.length())
    }
    /// Its length, mm.
    pub fn length(&self) -> f64 {
        match *self {
            Self::Line { from, to } => from.distance(to),
            Self::Arc { from, center, sweep, .. } => from.distance(center) * sweep.abs(),
        }
    }
    /// The first `length_mm` of it.
    pub fn shortened(&self, length_mm: f64) -> Self {
        let share = (length_mm / self.length()).clamp(0.0, 1.0);
        match *self {
            Self::Line { from, to } => Self::Line { from, to: from.lerp(to, share) },
            Self::Arc { from, center, sweep, .. } => {
                let sweep = sweep * share;
                Self::Arc { from, to: turned_about(from, center, sweep), center, sweep }
            }
        }
    }
    /// Distance of `p` from the whole line or circle that it is a part of, mm.
    fn off_curve(&self, p: Point) -> f64 {
        match *self {
            Self::Line { from, .. } => (p - from).cross(self.start_tangent()).abs(),
            Self::Arc { from, center, .. } => (p.distance(center) - from.distance(center)).abs(),
        }
    }
}

/// `p` turned about `center` by `angle` radians.
pub(super) fn turned_about(p: Point, center: Point, angle: f64) -> Point {
    let (spoke, turn) = (p - center, Point::along(angle));
    center + spoke * turn.x + spoke.perpendicular() * turn.y
}
