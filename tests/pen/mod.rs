//! Strokes → the outline of a letter: what a round pen paints, as straight lines and parabolas.
//!
//! The program's own outliner sweeps the pen and merges what overlaps, to [`FINE`]; that polygon has many
//! points on every curve. It is parted at its corners, at its extremes, and where drawn straight lines begin
//! and end. Each part is a parabola between the tangents at its ends, or is halved until it is (as curves
//! are fitted by Schneider, Graphics Gems, 1990), within [`TOLERANCE`]. Lengths in units of the font.

use crate::font::Knot;
use bladewright::drawing::{Cap, Join, Paint, Stroke};
use bladewright::geometry::{Contour, Point, distance_to_segment, wrap_angle};
use bladewright::merge::{self, Area};
use bladewright::outline;
use kurbo::BezPath;

/// How far the polygon may lie from the true outline.
const FINE: f64 = 0.01;
/// How far a parabola may lie from the polygon, before its points are rounded to units.
const TOLERANCE: f64 = 0.3;
/// Turns that are corners; those of the polygon's curves are below 4 degrees, with the pens used here.
const CORNER: f64 = 0.15;
/// Edges that were drawn straight; on a curve as wide as an em they are below 10.
const STRAIGHT: f64 = 20.0;

/// What a round pen of `width` paints along `path`, its outer contours clockwise (y up).
pub fn painted(path: &BezPath, width: f64) -> Vec<Contour> {
    let stroke = Stroke {
        width,
        cap: Cap::Round,
        join: Join::Round,
        miter_limit: 4.0,
        dashes: vec![],
        dash_offset: 0.0,
        paint: Paint::BLACK,
    };
    let area = Area::swept(&outline::outline(path, &stroke, FINE).contours).unwrap();
    let regions = merge::merge(&[area]);
    regions
        .iter()
        .flat_map(|merged| merged.region.contours())
        .cloned()
        .map(Contour::reversed)
        .collect()
}

/// `contour` as lines and parabolas between whole units.
pub fn fitted(contour: &Contour) -> Vec<Knot> {
    let polygon = Polygon::new(contour);
    let breaks = polygon.breaks();
    let next = breaks.iter().skip(1).copied().chain([breaks[0] + polygon.points.len()]);
    let mut knots = Vec::new();
    for (from, to) in breaks.iter().copied().zip(next) {
        knots.push(knot(polygon.at(from), true));
        polygon.fit(from, to, &mut knots);
    }
    knots.dedup();
    knots
}

fn knot(p: Point, on: bool) -> Knot {
    Knot { x: p.x.round() as i16, y: p.y.round() as i16, on }
}

/// A closed polygon whose points are counted on past its end.
struct Polygon {
    points: Vec<Point>,
}

impl Polygon {
    fn new(contour: &Contour) -> Self {
        let mut points = contour.points.clone();
        points.dedup_by(|a, b| a.distance(*b) < FINE);
        Self { points }
    }

    fn at(&self, i: usize) -> Point {
        self.points[i % self.points.len()]
    }

    fn edge(&self, i: usize) -> Point {
        self.at(i + 1) - self.at(i)
    }

    fn turn(&self, i: usize) -> f64 {
        let before = self.edge(i + self.points.len() - 1);
        wrap_angle(self.edge(i).angle() - before.angle())
    }

    /// Corners, ends of straight lines, and where curves are leftmost, rightmost, highest and lowest.
    fn breaks(&self) -> Vec<usize> {
        let count = self.points.len();
        let parted = |i: &usize| {
            let (before, after) = (self.edge(i + count - 1), self.edge(*i));
            let extreme = before.x * after.x <= 0.0 || before.y * after.y <= 0.0;
            let straight = before.length().max(after.length()) > STRAIGHT;
            extreme || straight || self.turn(*i).abs() > CORNER
        };
        (0..count).filter(parted).collect()
    }

    /// What lies between two points, as knots; both points left out.
    fn fit(&self, from: usize, to: usize, knots: &mut Vec<Knot>) {
        if to <= from + 1 || self.is_near(from, to, &[self.at(from), self.at(to)]) {
            return;
        }
        if let Some(control) = self.control(from, to)
            && self.is_near(from, to, &parabola([self.at(from), control, self.at(to)]))
        {
            knots.push(knot(control, false));
            return;
        }
        let middle = self.middle(from, to);
        self.fit(from, middle, knots);
        knots.push(knot(self.at(middle), true));
        self.fit(middle, to, knots);
    }

    /// The point that is half way on the line.
    fn middle(&self, from: usize, to: usize) -> usize {
        let length = |to: usize| (from..to).map(|i| self.edge(i).length()).sum::<f64>();
        let half = length(to) / 2.0;
        (from + 1..to - 1).find(|i| length(*i) >= half).unwrap_or(to - 1)
    }

    /// Where the tangents at both ends meet, if they do ahead of one and behind the other.
    fn control(&self, from: usize, to: usize) -> Option<Point> {
        let (start, end) = (self.tangent(from, from, to), self.tangent(to, from, to));
        let across = start.cross(end);
        let chord = self.at(to) - self.at(from);
        let (ahead, behind) = (chord.cross(end) / across, start.cross(chord) / across);
        let meet = ahead.is_finite() && ahead > 0.0 && behind > 0.0 && start.dot(end) > 0.0;
        meet.then(|| self.at(from) + start * ahead)
    }

    /// The direction at a point of the part `from..to`: that of a circle through the edges beside it.
    fn tangent(&self, i: usize, from: usize, to: usize) -> Point {
        let step = |i: usize| (self.edge(i).length() + self.edge(i - 1).length()) / 2.0;
        // The edge to start from, and the turn nearest to it.
        let (edge, turn, sign) = if i == to { (to - 1, to - 1, 1.0) } else { (i, i + 1, -1.0) };
        let inside = from < turn && turn < to;
        let bend = if inside { self.turn(turn) / step(turn) } else { 0.0 };
        Point::along(self.edge(edge).angle() + sign * bend * self.edge(edge).length() / 2.0)
    }

    /// Whether all points between two lie near `line`, and `line` near them.
    fn is_near(&self, from: usize, to: usize, line: &[Point]) -> bool {
        let part: Vec<Point> = (from..=to).map(|i| self.at(i)).collect();
        let near = |points: &[Point], line: &[Point]| {
            points.iter().all(|p| {
                line.windows(2).any(|ends| distance_to_segment(*p, ends[0], ends[1]) < TOLERANCE)
            })
        };
        near(&part, line) && near(line, &part)
    }
}

fn parabola([a, b, c]: [Point; 3]) -> Vec<Point> {
    let at = |t: f64| a.lerp(b, t).lerp(b.lerp(c, t), t);
    (0..=32).map(|i| at(f64::from(i) / 32.0)).collect()
}
