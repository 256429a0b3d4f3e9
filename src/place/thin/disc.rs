//! [`Walls`]: all edges of a design, and the disc that touches one of them and the wall it faces.
//!
//! The disc at `p` with the inward normal `n` has its centre at `p + r n`. It touches a line with
//! inward normal `m`, from which `p` is `d` away, when `d + r n·m = r`, so `r = d / (1 − n·m)`; it
//! touches a corner `q` when `r = |q − p|² / (2 n·(q − p))`. The least such `r` over the edges within
//! reach is taken ("shrinking ball" in one step; Ma, Bae and Choi, "3D medial axis point approximation
//! using nearest neighbors and the normal field", 2012). Seen from the centre, `p` and the point touched lie
//! at an angle of a half turn less the angle between the walls.

use crate::edges::EdgeIndex;
use crate::geometry::{Bounds, Contour, LineRef, Point};

/// Walls at a larger angle to each other than 60° are a corner, not a strip or a point: its cosine,
/// and the chord that touching points at that angle span in a disc of radius 1.
const FACING_COS: f64 = 0.5;
const FACING_CHORD: f64 = 1.732_050_807_568_877_2;
/// An inner corner that turns by more is looked at for itself, radians: curves within 0.01 mm turn by more
/// at their vertices only on radii below 0.6 mm.
const SHARP: f64 = std::f64::consts::PI / 6.0;
/// Size of a cell of the index, in widths looked for: at 1, entering the edges costs more than looking at
/// them saves.
const CELL: f64 = 2.0;
/// How far the contour may turn round from where straight walls would meet, as a share of how far
/// that is: blunt and bulging points are points too.
const TIP_SHARE: f64 = 0.5;
/// Tolerance of what lies within a corner's cone or on a wall, mm.
const HAIR_MM: f64 = 1e-6;

/// The edges of a design, indexed. Material lies to the left of each.
pub(super) struct Walls<'a> {
    /// Widths from here on are not looked for, mm.
    pub below_mm: f64,
    index: EdgeIndex<'a>,
    /// The contour turns away from the material where an edge ends.
    inner_corner: Vec<bool>,
    /// How far along its contour an edge begins, mm.
    along: Vec<f64>,
    /// The contours.
    pub rings: Vec<Ring<'a>>,
}

/// A contour's edges.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ring<'a> {
    line: LineRef<'a>,
    first: usize,
    count: usize,
    pub length_mm: f64,
}

/// An edge: the number of its contour, and its own among all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Wall {
    ring: usize,
    edge: usize,
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
    angle: f64,
}

impl<'a> Walls<'a> {
    /// Of closed `contours`.
    pub fn new(contours: &[&'a Contour], below_mm: f64) -> Self {
        let index = EdgeIndex::new(contours.iter().copied(), CELL * below_mm);
        let count = index.len();
        let mut walls = Self {
            below_mm,
            index,
            inner_corner: Vec::with_capacity(count),
            along: Vec::with_capacity(count),
            rings: Vec::with_capacity(contours.len()),
        };
        contours.iter().for_each(|&contour| walls.add(contour.into()));
        walls
    }

    /// Adds the next ring.
    fn add(&mut self, line: LineRef<'a>) {
        let first = self.along.len();
        let mut length_mm = 0.0;
        let after = line.points.iter().skip(2).chain(line.points.iter().take(2));
        for ((a, b), &c) in line.edges().zip(after) {
            self.inner_corner.push((b - a).cross(c - b) < 0.0);
            self.along.push(length_mm);
            length_mm += a.distance(b);
        }
        self.rings.push(Ring { line, first, count: self.along.len() - first, length_mm });
    }

    /// The edges of a ring.
    pub fn of_ring(&self, ring: usize) -> impl Iterator<Item = Wall> {
        let Ring { first, count, .. } = self.rings[ring];
        (first..first + count).map(move |edge| Wall { ring, edge })
    }

    fn ends(&self, wall: Wall) -> (Point, Point) {
        let Ring { line, first, .. } = self.rings[wall.ring];
        let at = wall.edge - first;
        (line.points[at], line.after(at))
    }

    /// The edge of `spot` and the place itself.
    fn at(&self, spot: Spot) -> (Wall, Point) {
        let ring = self.rings[spot.ring];
        let starts = &self.along[ring.first..ring.first + ring.count];
        let s = spot.along_mm.rem_euclid(ring.length_mm.max(f64::MIN_POSITIVE));
        let edge = ring.first + starts.partition_point(|&start| start <= s).max(1) - 1;
        let wall = Wall { ring: spot.ring, edge };
        let (a, b) = self.ends(wall);
        let length = a.distance(b);
        let t = if length > 0.0 { ((s - self.along[edge]) / length).min(1.0) } else { 0.0 };
        (wall, a.lerp(b, t))
    }

    /// `point` on `wall` as a place on its contour.
    fn spot(&self, wall: Wall, point: Point) -> Spot {
        let along_mm = self.along[wall.edge] + self.ends(wall).0.distance(point);
        Spot { ring: wall.ring, along_mm }
    }

    fn before(&self, wall: Wall) -> Wall {
        let Ring { first, count, .. } = self.rings[wall.ring];
        let edge = if wall.edge == first { first + count } else { wall.edge } - 1;
        Wall { edge, ..wall }
    }

    fn after(&self, wall: Wall) -> Wall {
        let Ring { first, count, .. } = self.rings[wall.ring];
        let edge = if wall.edge + 1 == first + count { first } else { wall.edge + 1 };
        Wall { edge, ..wall }
    }

    /// The disc that touches the contour at `spot` and the wall facing it, if it is below the width
    /// looked for.
    pub fn disc_at(&self, spot: Spot) -> Option<Disc> {
        let (own, p) = self.at(spot);
        let n = normal(self.ends(own))?;
        let reach = self.below_mm / 2.0;
        let around = Bounds::of(&[p + n * reach]).grown(reach + HAIR_MM);
        let mut limit = reach;
        let mut best: Option<(Point, Wall, f64)> = None;
        self.index.in_box(around, |(ring, edge), ends| {
            let wall = Wall { ring, edge };
            if wall != own
                && let Some(touch) = self.touched((p, n), (wall, ends), limit)
            {
                limit = touch.radius;
                best = Some((touch.point, wall, touch.angle));
            }
        });
        let (point, wall, angle) = best?;
        let (from, to) = (spot, self.spot(wall, point));
        Some(Disc { center: p + n * limit, width_mm: 2.0 * limit, from, to, angle })
    }

    /// How the disc at `p` touches the wall from `a` to `b` or the corner at its end, with a radius below
    /// `limit`.
    fn touched(
        &self,
        (p, n): (Point, Point),
        (wall, (a, b)): (Wall, (Point, Point)),
        limit: f64,
    ) -> Option<Touch> {
        let inward = (b - a).perpendicular();
        let (facing, length_squared) = (n.dot(inward), inward.length_squared());
        let faces = facing < 0.0 && facing * facing >= FACING_COS * FACING_COS * length_squared;
        let between = faces.then(|| touched_between((p, n), (a, b), limit)).flatten();
        let corner = || {
            let near = self.inner_corner[wall.edge] && n.dot(b - p) > 0.0;
            near.then(|| self.touched_corner((p, n), (wall, b), limit)).flatten()
        };
        between.or_else(corner)
    }

    fn touched_corner(
        &self,
        (p, n): (Point, Point),
        (wall, b): (Wall, Point),
        limit: f64,
    ) -> Option<Touch> {
        let (chord, ahead) = ((b - p).length_squared(), n.dot(b - p));
        let radius = chord / (2.0 * ahead);
        let faces = radius < limit && chord >= FACING_CHORD * FACING_CHORD * radius * radius;
        let from = p + n * radius - b;
        (faces && self.in_cone(wall, from)).then_some(Touch { radius, point: b, angle: 0.0 })
    }

    /// Whether `from` the end of `wall`, an inner corner, the corner itself is nearest.
    fn in_cone(&self, wall: Wall, from: Point) -> bool {
        let (a, b) = self.ends(wall);
        let (_, c) = self.ends(self.after(wall));
        let hair = HAIR_MM * HAIR_MM * from.length_squared().max(HAIR_MM * HAIR_MM);
        let at_most = |by: f64, side: Point| by <= 0.0 || by * by <= hair * side.length_squared();
        at_most(-from.dot(b - a), b - a) && at_most(from.dot(c - b), c - b)
    }

    /// Whether the contour has a sharp inner corner at the end of `wall`.
    pub fn is_sharp(&self, wall: Wall) -> bool {
        if !self.inner_corner[wall.edge] {
            return false;
        }
        let ((a, b), (_, c)) = (self.ends(wall), self.ends(self.after(wall)));
        let turn = (b - a).cross(c - b).atan2((b - a).dot(c - b));
        turn < -SHARP
    }

    /// The disc across the neck between the inner corner at the end of `wall` and what is nearest to
    /// it within its cone, if that faces it.
    pub fn neck_at(&self, wall: Wall) -> Option<Disc> {
        let (a, v) = self.ends(wall);
        let next = self.after(wall);
        let around = Bounds::of(&[v]).grown(self.below_mm + HAIR_MM);
        let mut least = self.below_mm;
        let mut best: Option<(Point, Wall)> = None;
        self.index.in_box(around, |(ring, edge), (p, q)| {
            let other = Wall { ring, edge };
            if other == wall || other == next {
                return;
            }
            let point = crate::geometry::nearest_on_segment(v, p, q);
            let width = v.distance(point);
            if width < least
                && width > 0.0
                && self.in_cone(wall, point - v)
                && self.faces((other, (p, q)), point, v)
            {
                least = width;
                best = Some((point, other));
            }
        });
        let (point, other) = best?;
        let from = self.spot(wall, a).moved(a.distance(v));
        let to = self.spot(other, point);
        Some(Disc { center: v.lerp(point, 0.5), width_mm: least, from, to, angle: 0.0 })
    }

    /// The necks at inner corners, however blunt, next to where `disc` touches.
    pub fn necks_beside(&self, disc: &Disc) -> impl Iterator<Item = Disc> {
        let walls = [disc.from, disc.to].map(|spot| self.at(spot).0);
        let corners = walls.into_iter().flat_map(|wall| [self.before(wall), wall]);
        corners.filter(|wall| self.inner_corner[wall.edge]).filter_map(|wall| self.neck_at(wall))
    }

    /// Whether `point`, the point of a wall from `p` to `q` nearest to `v`, sees `v` across the material.
    fn faces(&self, (wall, (p, q)): (Wall, (Point, Point)), point: Point, v: Point) -> bool {
        if point == q {
            return self.inner_corner[wall.edge] && self.in_cone(wall, v - point);
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

/// How the disc at `p` touches the wall from `a` to `b` itself, with a radius below `limit`.
fn touched_between((p, n): (Point, Point), (a, b): (Point, Point), limit: f64) -> Option<Touch> {
    let m = normal((a, b))?;
    let (apart, cos) = ((p - a).dot(m), n.dot(m));
    let radius = apart / (1.0 - cos);
    let point = p + (n - m) * radius;
    let t = (point - a).dot(b - a);
    let touches = apart > 0.0 && radius < limit && t >= 0.0 && t <= (b - a).length_squared();
    touches.then(|| Touch { radius, point, angle: (-cos).clamp(-1.0, 1.0).acos() })
}

/// The unit vector to the left of an edge, into the material.
fn normal((a, b): (Point, Point)) -> Option<Point> {
    let length = a.distance(b);
    (length > 0.0).then(|| (b - a).perpendicular() * (1.0 / length))
}
