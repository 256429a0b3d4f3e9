//! [`Walls`]: all edges of a design, and the disc that touches one of them and the wall it faces.
//!
//! The disc at `p` with the inward normal `n` has its centre at `p + r n`. It touches a line with
//! inward normal `m`, from which `p` is `d` away, when `d + r n·m = r`, so `r = d / (1 − n·m)`; it
//! touches a corner `q` when `r = |q − p|² / (2 n·(q − p))`. The least such `r` over the edges within
//! reach is taken ("shrinking ball" in one step; Ma, Bae and Choi, "3D medial axis point approximation
//! using nearest neighbors and the normal field", 2012). Seen from the centre, `p` and the point touched lie
//! at an angle of a half turn less the angle between the walls.

use crate::edges::EdgeIndex;
use crate::geometry::{Bounds, Contour, Point};

/// Walls at a larger angle to each other than 60° are a corner, not a strip or a point: its cosine,
/// and the chord that touching points at that angle span in a disc of radius 1.
const FACING_COS: f64 = 0.5;
const FACING_CHORD: f64 = 1.732_050_807_568_877_2;
/// An inner corner that turns by more is looked at for itself, radians.
const SHARP: f64 = std::f64::consts::PI / 9.0;
/// Size of a cell of the index, in widths looked for: at 1, entering the edges costs more than looking at
/// them saves.
const CELL: f64 = 2.0;
/// How far the contour may turn round from where straight walls would meet, as a share of how far
/// that is: blunt and bulging points are points too.
const TIP_SHARE: f64 = 0.5;
/// Tolerance of what lies within a corner's cone or on a wall, mm.
const HAIR_MM: f64 = 1e-6;

/// The edges of a design, indexed. Material lies to the left of each.
pub(super) struct Walls {
    /// Widths from here on are not looked for, mm.
    pub below_mm: f64,
    index: EdgeIndex<'static>,
    /// The contour turns away from the material where an edge ends.
    inner_corner: Vec<bool>,
    /// How far along its contour an edge begins, mm.
    along: Vec<f64>,
    /// The contours.
    pub rings: Vec<Ring>,
}

/// A contour's edges.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ring {
    pub first: usize,
    pub count: usize,
    pub length_mm: f64,
}

/// A disc between two walls.
#[derive(Debug, Clone, Copy)]
pub(super) struct Disc {
    pub center: Point,
    pub width_mm: f64,
    /// Where it touches, as edge and mm along that edge's contour.
    pub from: Spot,
    pub to: Spot,
    /// Angle between the walls, radians; 0 at a corner.
    pub angle: f64,
}

/// A place on a contour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spot {
    pub ring: usize,
    pub along_mm: f64,
}

/// What a disc touches.
struct Touch {
    radius: f64,
    point: Point,
    edge: usize,
    angle: f64,
}

impl Walls {
    pub fn new<'a>(lines: impl Iterator<Item = &'a Contour>, below_mm: f64) -> Self {
        let index = EdgeIndex::new(lines.map(Contour::track), CELL * below_mm);
        let count = index.len();
        let mut walls = Self {
            below_mm,
            index,
            inner_corner: Vec::with_capacity(count),
            along: Vec::with_capacity(count),
            rings: Vec::new(),
        };
        while walls.along.len() < count {
            walls.add(walls.along.len());
        }
        walls
    }

    /// Adds the ring whose edges begin with `first`.
    fn add(&mut self, first: usize) {
        let count = self.index.edges_of(self.index.line(first) as u32).len();
        let mut length_mm = 0.0;
        for i in 0..count {
            let ((a, b), (_, c)) = (self.edge(first + i), self.edge(first + (i + 1) % count));
            self.inner_corner.push((b - a).cross(c - b) < 0.0);
            self.along.push(length_mm);
            length_mm += a.distance(b);
        }
        self.rings.push(Ring { first, count, length_mm });
    }

    pub fn edge(&self, edge: usize) -> (Point, Point) {
        self.index.edge(edge)
    }

    /// The edge of `spot` and the place itself.
    fn at(&self, spot: Spot) -> (usize, Point) {
        let ring = self.rings[spot.ring];
        let starts = &self.along[ring.first..ring.first + ring.count];
        let s = spot.along_mm.rem_euclid(ring.length_mm.max(f64::MIN_POSITIVE));
        let edge = ring.first + starts.partition_point(|&start| start <= s).max(1) - 1;
        let (a, b) = self.edge(edge);
        let length = a.distance(b);
        let t = if length > 0.0 { ((s - self.along[edge]) / length).min(1.0) } else { 0.0 };
        (edge, a.lerp(b, t))
    }

    /// `point` on `edge` as a place on its contour.
    fn spot(&self, edge: usize, point: Point) -> Spot {
        let along_mm = self.along[edge] + self.edge(edge).0.distance(point);
        Spot { ring: self.index.line(edge), along_mm }
    }

    fn before(&self, edge: usize) -> usize {
        let ring = self.rings[self.index.line(edge)];
        if edge == ring.first { edge + ring.count - 1 } else { edge - 1 }
    }

    fn after(&self, edge: usize) -> usize {
        let ring = self.rings[self.index.line(edge)];
        if edge + 1 == ring.first + ring.count { ring.first } else { edge + 1 }
    }

    /// The disc that touches the contour at `spot` and the wall facing it, if it is below the width
    /// looked for.
    pub fn disc_at(&self, spot: Spot) -> Option<Disc> {
        let (own, p) = self.at(spot);
        let n = normal(self.edge(own))?;
        let reach = self.below_mm / 2.0;
        let bounds = Bounds::of(&[p + n * reach]).grown(reach);
        let mut best: Option<Touch> = None;
        self.index.in_box(bounds, |edge| {
            let limit = best.as_ref().map_or(reach, |touch| touch.radius);
            if edge != own
                && let Some(touch) = self.touched((p, n), edge, limit)
            {
                best = Some(touch);
            }
        });
        let Touch { radius, point, edge, angle } = best?;
        let (from, to) = (spot, self.spot(edge, point));
        Some(Disc { center: p + n * radius, width_mm: 2.0 * radius, from, to, angle })
    }

    /// How the disc at `p` touches `edge` or the corner at its end, with a radius below `limit`.
    fn touched(&self, (p, n): (Point, Point), edge: usize, limit: f64) -> Option<Touch> {
        let (a, b) = self.edge(edge);
        let along = b - a;
        // Most edges face the same way: this is asked for millions of them, so without a root.
        let facing = n.dot(along.perpendicular());
        let faces =
            facing < 0.0 && facing * facing >= FACING_COS * FACING_COS * along.length_squared();
        let wall = faces.then(|| self.touched_wall((p, n), edge, limit)).flatten();
        let corner = || {
            let ahead = n.dot(b - p);
            let near = self.inner_corner[edge] && ahead > 0.0;
            near.then(|| self.touched_corner((p, n), edge, limit)).flatten()
        };
        wall.or_else(corner)
    }

    fn touched_wall(&self, (p, n): (Point, Point), edge: usize, limit: f64) -> Option<Touch> {
        let (a, b) = self.edge(edge);
        let m = normal((a, b))?;
        let (apart, cos) = ((p - a).dot(m), n.dot(m));
        let radius = apart / (1.0 - cos);
        let point = p + (n - m) * radius;
        let t = (point - a).dot(b - a);
        let touches = apart > 0.0 && radius < limit && t >= 0.0 && t <= (b - a).length_squared();
        touches.then(|| Touch { radius, point, edge, angle: (-cos).clamp(-1.0, 1.0).acos() })
    }

    fn touched_corner(&self, (p, n): (Point, Point), edge: usize, limit: f64) -> Option<Touch> {
        let (_, b) = self.edge(edge);
        let (chord, ahead) = ((b - p).length_squared(), n.dot(b - p));
        let radius = chord / (2.0 * ahead);
        let faces = radius < limit && chord >= FACING_CHORD * FACING_CHORD * radius * radius;
        let from = p + n * radius - b;
        (faces && self.in_cone(edge, from)).then_some(Touch { radius, point: b, edge, angle: 0.0 })
    }

    /// Whether `from` the end of `edge`, an inner corner, the corner itself is nearest.
    fn in_cone(&self, edge: usize, from: Point) -> bool {
        let (a, b) = self.edge(edge);
        let (_, c) = self.edge(self.after(edge));
        let hair = HAIR_MM * from.length().max(HAIR_MM);
        from.dot(b - a) >= -hair * a.distance(b) && from.dot(c - b) <= hair * b.distance(c)
    }

    /// Whether the contour has a sharp inner corner at the end of `edge`.
    pub fn is_sharp(&self, edge: usize) -> bool {
        if !self.inner_corner[edge] {
            return false;
        }
        let ((a, b), (_, c)) = (self.edge(edge), self.edge(self.after(edge)));
        let turn = (b - a).cross(c - b).atan2((b - a).dot(c - b));
        turn < -SHARP
    }

    /// The disc across the neck between the inner corner at the end of `edge` and what is nearest to
    /// it within its cone, if that faces it.
    pub fn neck_at(&self, edge: usize) -> Option<Disc> {
        let (a, v) = self.edge(edge);
        let next = self.after(edge);
        let mut best: Option<(f64, Point, usize)> = None;
        self.index.in_box(Bounds::of(&[v]).grown(self.below_mm), |other| {
            if other == edge || other == next {
                return;
            }
            let (p, q) = self.edge(other);
            let point = crate::geometry::nearest_on_segment(v, p, q);
            let width = v.distance(point);
            let limit = best.map_or(self.below_mm, |(least, _, _)| least);
            if width < limit
                && width > 0.0
                && self.in_cone(edge, point - v)
                && self.faces(other, point, v)
            {
                best = Some((width, point, other));
            }
        });
        let (width_mm, point, other) = best?;
        let from = self.spot(edge, a).moved(a.distance(v));
        let to = self.spot(other, point);
        Some(Disc { center: v.lerp(point, 0.5), width_mm, from, to, angle: 0.0 })
    }

    /// The necks at inner corners, however blunt, next to where `disc` touches.
    pub fn necks_beside(&self, disc: &Disc) -> impl Iterator<Item = Disc> {
        let edges = [disc.from, disc.to].map(|spot| self.at(spot).0);
        let corners = edges.into_iter().flat_map(|edge| [self.before(edge), edge]);
        corners.filter(|&edge| self.inner_corner[edge]).filter_map(|edge| self.neck_at(edge))
    }

    /// Whether `point`, the point of `edge` nearest to `v`, sees `v` across the material.
    fn faces(&self, edge: usize, point: Point, v: Point) -> bool {
        let (p, q) = self.edge(edge);
        if point == q {
            return self.inner_corner[edge] && self.in_cone(edge, v - point);
        }
        // The corner at its beginning is looked at as the end of the edge before.
        point != p && normal((p, q)).is_some_and(|m| m.dot(v - point) > 0.0)
    }

    /// How long the shorter way along the contour between where the disc touches is, mm;
    /// infinite between two contours.
    pub fn way_round(&self, disc: &Disc) -> f64 {
        self.shorter_way(disc).map_or(f64::INFINITY, f64::abs)
    }

    /// How far to go from where the disc touches to where it touches opposite, mm; negative
    /// backwards.
    fn shorter_way(&self, disc: &Disc) -> Option<f64> {
        let length = self.rings[disc.from.ring].length_mm;
        let way = (disc.to.along_mm - disc.from.along_mm).rem_euclid(length);
        let shorter = if way > length / 2.0 { way - length } else { way };
        (disc.from.ring == disc.to.ring).then_some(shorter)
    }

    /// Whether the walls that a disc touches, going on straight, would meet about where the contour
    /// turns round from one to the other: the disc lies in a point, not in a strip.
    pub fn is_tip(&self, disc: &Disc) -> bool {
        let Some(way) = self.shorter_way(disc).filter(|_| disc.angle > 0.0) else { return false };
        let (from, to) = (self.at(disc.from).1, self.at(disc.to).1);
        let opening = disc.center * 2.0 - from - to;
        let ahead = disc.width_mm / 2.0 / (disc.angle / 2.0).sin();
        let meet = disc.center - opening * (ahead / opening.length().max(f64::MIN_POSITIVE));
        let turn = self.at(disc.from.moved(way / 2.0)).1;
        meet.distance(turn) <= TIP_SHARE * ahead
    }
}

impl Spot {
    pub fn moved(self, by_mm: f64) -> Self {
        Self { along_mm: self.along_mm + by_mm, ..self }
    }
}

/// The unit vector to the left of an edge, into the material.
fn normal((a, b): (Point, Point)) -> Option<Point> {
    let length = a.distance(b);
    (length > 0.0).then(|| (b - a).perpendicular() * (1.0 / length))
}
