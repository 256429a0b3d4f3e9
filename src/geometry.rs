//! Points, contours, regions, bounds: the plain geometry that every stage shares. Millimetres.
//!
//! Invariants kept here and relied upon by all stages:
//! 1. A closed contour does not repeat its first point at the end.
//! 2. A [`Region`]'s outer contour has positive signed area, its holes negative, in whatever axes
//!    the region lives (a drawing's y runs down, a sheet's y runs up; `place/` turns it over once).
//! 3. No stage hands on a point that is not finite.
//!
//! Method of the signed area: the shoelace formula, taken about the first point so that far-away
//! coordinates lose no digits.

use std::ops::{Add, Mul, Sub};

/// A point or a vector, mm.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Point {
    /// Across, mm.
    pub x: f64,
    /// Along the other axis, mm.
    pub y: f64,
}

impl Point {
    /// The origin.
    pub const ORIGIN: Self = Self { x: 0.0, y: 0.0 };

    /// The point (x, y).
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }
    /// The unit vector that points along `angle` (radians, counter-clockwise from +x when y is up).
    pub fn along(angle: f64) -> Self {
        Self::new(angle.cos(), angle.sin())
    }
    /// Euclidean distance to `other`, mm.
    pub fn distance(self, other: Self) -> f64 {
        (other - self).length()
    }
    /// Length as a vector, mm.
    pub fn length(self) -> f64 {
        // Not `hypot`: its care for extreme exponents took a sixth of a whole job's time.
        self.length_squared().sqrt()
    }
    /// Squared length as a vector, mm².
    pub fn length_squared(self) -> f64 {
        self.dot(self)
    }
    /// Scalar product.
    pub fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y
    }
    /// The z part of the vector product: positive when `other` lies counter-clockwise (y up).
    pub fn cross(self, other: Self) -> f64 {
        self.x * other.y - self.y * other.x
    }
    /// Direction as an angle in radians, −π to π.
    pub fn angle(self) -> f64 {
        self.y.atan2(self.x)
    }
    /// The point `t` of the way to `other`.
    pub fn lerp(self, other: Self, t: f64) -> Self {
        self + (other - self) * t
    }
    /// Turned a quarter counter-clockwise (y up).
    pub fn perpendicular(self) -> Self {
        Self::new(-self.y, self.x)
    }
    /// Whether both coordinates are finite.
    pub fn is_finite(self) -> bool {
        self.x.is_finite() && self.y.is_finite()
    }
}

impl Add for Point {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.x + other.x, self.y + other.y)
    }
}
impl Sub for Point {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::new(self.x - other.x, self.y - other.y)
    }
}
impl Mul<f64> for Point {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self::new(self.x * factor, self.y * factor)
    }
}

/// Distance from `p` to the segment `a`–`b`, mm.
pub fn distance_to_segment(p: Point, a: Point, b: Point) -> f64 {
    p.distance(nearest_on_segment(p, a, b))
}

/// The point of the segment `a`–`b` that is nearest to `p`.
pub fn nearest_on_segment(p: Point, a: Point, b: Point) -> Point {
    let along = b - a;
    let length_squared = along.length_squared();
    if length_squared == 0.0 {
        return a;
    }
    a.lerp(b, ((p - a).dot(along) / length_squared).clamp(0.0, 1.0))
}

/// Whether a track is longer than `mm`; looks no further than that.
pub fn is_longer(track: &[Point], mm: f64) -> bool {
    let mut length = 0.0;
    track.windows(2).any(|w| {
        length += w[0].distance(w[1]);
        length > mm
    })
}

/// In how many equal steps of at most `step_mm` a straight way of `length_mm` is walked: one at least, ten
/// thousand at most, so that on a way of kilometres the steps grow and not the time.
pub fn steps_along(length_mm: f64, step_mm: f64) -> usize {
    ((length_mm / step_mm).ceil() as usize).clamp(1, 10_000)
}

/// An angle brought into (−π, π].
pub fn wrap_angle(angle: f64) -> f64 {
    use std::f64::consts::{PI, TAU};
    let wrapped = angle.rem_euclid(TAU);
    if wrapped > PI { wrapped - TAU } else { wrapped }
}

/// An upright box around something, mm. Empty when nothing was added.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Smallest x and y.
    pub min: Point,
    /// Largest x and y.
    pub max: Point,
}

impl Bounds {
    /// The box around nothing.
    pub const EMPTY: Self = Self {
        min: Point::new(f64::INFINITY, f64::INFINITY),
        max: Point::new(f64::NEG_INFINITY, f64::NEG_INFINITY),
    };

    /// The box around `points`.
    pub fn of(points: &[Point]) -> Self {
        let mut bounds = Self::EMPTY;
        for &p in points {
            bounds.add(p);
        }
        bounds
    }
    /// Grows to take in `p`.
    pub fn add(&mut self, p: Point) {
        self.min = Point::new(self.min.x.min(p.x), self.min.y.min(p.y));
        self.max = Point::new(self.max.x.max(p.x), self.max.y.max(p.y));
    }
    /// The box around both.
    pub fn union(self, other: Self) -> Self {
        Self {
            min: Point::new(self.min.x.min(other.min.x), self.min.y.min(other.min.y)),
            max: Point::new(self.max.x.max(other.max.x), self.max.y.max(other.max.y)),
        }
    }
    /// Whether nothing was added.
    pub fn is_empty(self) -> bool {
        self.min.x > self.max.x
    }
    /// Extent along x, mm; 0 when empty.
    pub fn width(self) -> f64 {
        (self.max.x - self.min.x).max(0.0)
    }
    /// Extent along y, mm; 0 when empty.
    pub fn height(self) -> f64 {
        (self.max.y - self.min.y).max(0.0)
    }
    /// The middle.
    pub fn center(self) -> Point {
        self.min.lerp(self.max, 0.5)
    }
    /// Whether the boxes share at least a point.
    pub fn touches(self, other: Self) -> bool {
        self.min.x <= other.max.x
            && other.min.x <= self.max.x
            && self.min.y <= other.max.y
            && other.min.y <= self.max.y
    }
    /// Whether `other` lies inside (edges count as inside).
    pub fn holds(self, other: Self) -> bool {
        self.min.x <= other.min.x
            && self.min.y <= other.min.y
            && self.max.x >= other.max.x
            && self.max.y >= other.max.y
    }
    /// The box with `margin` mm added on every side.
    pub fn grown(self, margin: f64) -> Self {
        Self {
            min: Point::new(self.min.x - margin, self.min.y - margin),
            max: Point::new(self.max.x + margin, self.max.y + margin),
        }
    }
}

/// A line to be cut: a chain of straight edges, closed or open, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Contour {
    /// The vertices. A closed contour does not repeat the first one.
    pub points: Vec<Point>,
    /// Whether the last vertex is joined to the first.
    pub closed: bool,
}

/// A [`Contour`] that is lent, or a part of something longer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineRef<'a> {
    /// The vertices.
    pub points: &'a [Point],
    /// Whether the last vertex is joined to the first.
    pub closed: bool,
}

impl<'a> From<&'a Contour> for LineRef<'a> {
    fn from(contour: &'a Contour) -> Self {
        Self { points: &contour.points, closed: contour.closed }
    }
}

impl<'a> From<&'a [Point]> for LineRef<'a> {
    /// An open line.
    fn from(points: &'a [Point]) -> Self {
        Self { points, closed: false }
    }
}

impl<'a> From<&'a Vec<Point>> for LineRef<'a> {
    /// An open line.
    fn from(points: &'a Vec<Point>) -> Self {
        points.as_slice().into()
    }
}

impl<'a, 'b: 'a> From<&'a LineRef<'b>> for LineRef<'a> {
    fn from(line: &'a LineRef<'b>) -> Self {
        *line
    }
}

/// `lines` lent.
pub fn lent<'a, L>(lines: &'a [L]) -> Vec<LineRef<'a>>
where
    LineRef<'a>: From<&'a L>,
{
    lines.iter().map(LineRef::from).collect()
}

impl<'a> LineRef<'a> {
    /// The vertex after one; at the end the first one of a closed line, the last one itself of an open one.
    pub fn after(self, vertex: usize) -> Point {
        match self.points.get(vertex + 1) {
            Some(&next) => next,
            None => self.points[if self.closed { 0 } else { vertex }],
        }
    }
    /// As [`Contour::edges`].
    pub fn edges(self) -> impl Iterator<Item = (Point, Point)> + 'a {
        let (points, n) = (self.points, self.points.len());
        let count = if self.closed && n > 1 { n } else { n.saturating_sub(1) };
        (0..count).map(move |i| (points[i], points[(i + 1) % n]))
    }
    /// As [`Contour::length`].
    pub fn length(self) -> f64 {
        self.edges().map(|(a, b)| a.distance(b)).sum()
    }
    /// As [`Contour::signed_area`].
    pub fn signed_area(self) -> f64 {
        let Some(&origin) = self.points.first() else { return 0.0 };
        let doubled: f64 =
            self.points.windows(2).map(|w| (w[0] - origin).cross(w[1] - origin)).sum();
        doubled / 2.0
    }
    /// The box around the vertices.
    pub fn bounds(self) -> Bounds {
        Bounds::of(self.points)
    }
}

impl Contour {
    /// A closed contour through `points` (the first one not repeated).
    pub fn closed(points: Vec<Point>) -> Self {
        Self { points, closed: true }
    }
    /// An open line through `points`.
    pub fn open(points: Vec<Point>) -> Self {
        Self { points, closed: false }
    }
    /// The edges in order; a closed contour's last edge returns to its first vertex.
    pub fn edges(&self) -> impl Iterator<Item = (Point, Point)> + '_ {
        LineRef::from(self).edges()
    }
    /// The vertices in order; a closed contour's first one again at the end.
    pub fn track(&self) -> Vec<Point> {
        let again = self.points.first().filter(|_| self.closed);
        self.points.iter().chain(again).copied().collect()
    }
    /// Length of the line, mm.
    pub fn length(&self) -> f64 {
        LineRef::from(self).length()
    }
    /// Area inside, mm²; positive when the vertices run counter-clockwise (y up).
    ///
    /// An open line is taken as if closed.
    pub fn signed_area(&self) -> f64 {
        LineRef::from(self).signed_area()
    }
    /// The box around the vertices.
    pub fn bounds(&self) -> Bounds {
        Bounds::of(&self.points)
    }
    /// Whether `p` lies inside (even-odd rule; points on the line may fall on either side).
    pub fn surrounds(&self, p: Point) -> bool {
        let mut inside = false;
        for (a, b) in self.edges() {
            if (a.y > p.y) != (b.y > p.y) && p.x < (b.x - a.x) * (p.y - a.y) / (b.y - a.y) + a.x {
                inside = !inside;
            }
        }
        inside
    }
    /// The same line in the other sense; a closed contour keeps its first vertex.
    #[must_use]
    pub fn reversed(mut self) -> Self {
        let kept = usize::from(self.closed).min(self.points.len());
        self.points[kept..].reverse();
        self
    }
}

/// The path from `from` to `to` mm along it; empty when that is nothing.
pub fn stretch(path: &[Point], from: f64, to: f64) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::new();
    let mut along = 0.0;
    for w in path.windows(2) {
        let length = w[0].distance(w[1]);
        let (start, end) = (from.max(along), to.min(along + length));
        if start < end {
            let at = |s: f64| w[0].lerp(w[1], (s - along) / length);
            if points.is_empty() {
                points.push(at(start));
            }
            points.push(at(end));
        }
        along += length;
    }
    points
}

/// One connected piece of material: an outer contour and its holes, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Region {
    /// The outline; signed area above zero.
    pub outer: Contour,
    /// The holes; signed area below zero.
    pub holes: Vec<Contour>,
}

impl Region {
    /// Area of the piece without its holes, mm².
    pub fn area(&self) -> f64 {
        self.outer.signed_area() + self.holes.iter().map(Contour::signed_area).sum::<f64>()
    }
    /// All contours, the outer one first.
    pub fn contours(&self) -> impl Iterator<Item = &Contour> {
        std::iter::once(&self.outer).chain(&self.holes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square() -> Contour {
        Contour::closed(vec![
            Point::new(0.0, 0.0),
            Point::new(2.0, 0.0),
            Point::new(2.0, 2.0),
            Point::new(0.0, 2.0),
        ])
    }

    #[test]
    fn a_square_measures_itself() {
        assert_eq!(square().length(), 8.0);
        assert_eq!(square().signed_area(), 4.0);
        assert_eq!(square().reversed().signed_area(), -4.0);
        assert_eq!(square().reversed().points[0], square().points[0]);
        assert!(square().surrounds(Point::new(1.0, 1.0)));
        assert!(!square().surrounds(Point::new(3.0, 1.0)));
    }

    #[test]
    fn an_open_line_does_not_return() {
        assert_eq!(Contour::open(square().points).length(), 6.0);
        assert_eq!(Contour::open(vec![]).length(), 0.0);
        assert_eq!(Contour::closed(vec![Point::ORIGIN]).length(), 0.0);
    }

    #[test]
    fn angles_wrap_into_half_turns() {
        use std::f64::consts::PI;
        assert!((wrap_angle(3.0 * PI) - PI).abs() < 1e-12);
        assert!((wrap_angle(-PI / 2.0) + PI / 2.0).abs() < 1e-12);
        assert!((wrap_angle(1.5 * PI) + PI / 2.0).abs() < 1e-12);
    }

    #[test]
    fn empty_bounds_have_no_size() {
        assert!(Bounds::EMPTY.is_empty());
        assert_eq!((Bounds::EMPTY.width(), Bounds::EMPTY.height()), (0.0, 0.0));
        assert!(!Bounds::EMPTY.touches(Bounds::of(&[Point::ORIGIN])));
    }
}
