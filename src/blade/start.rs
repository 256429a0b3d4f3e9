//! The orienting cut: at the start of a job nobody knows where a freely turning blade points.
//!
//! A straight cut in waste turns it: of all headings it may have, 0.02 % are still more than
//! 0.01 mm off after 12 offsets of travel, 0.0004 % after 16 (offset 0.25 mm; own computation with
//! the exact propagator; a bent cut of the same length is no better, since the heading map of any
//! path has one repelling heading). In: all wanted lines and the sheet. Out: where to cut, or
//! nothing when no free place exists.
//!
//! Invariants: the cut keeps clear of every wanted line by the blade's reach and a margin; it lies
//! outside every piece of the design; it stays on the sheet with the tip on any side.

use std::cell::Cell;
use std::f64::consts::TAU;

use super::{BladeSettings, TipPath};
use crate::geometry::{Bounds, Contour, LineRef, Point, distance_to_segment};
use crate::place::Role;

/// Lengths tried, in blade offsets.
const LENGTHS: [f64; 2] = [16.0, 12.0];
/// Distances kept from wanted lines beyond the blade's reach, mm; the second in crowded sheets.
const MARGINS_MM: [f64; 2] = [1.0, 0.3];
/// Directions tried about each place.
const DIRECTIONS: usize = 12;
/// Rings of places tried about the first cut.
const RINGS: usize = 120;
/// Where no sheet is given, how far beyond the work the cut may go, in its own lengths.
const BEYOND_WORK: f64 = 3.0;

/// A line on the sheet that a cut in waste keeps clear of.
#[derive(Debug, Clone, Copy)]
pub struct Obstacle<'a> {
    /// Only closed [`Role::Design`] lines bound pieces.
    pub role: Role,
    /// The line, mm.
    pub contour: &'a Contour,
}

impl<'a> Obstacle<'a> {
    /// All of `paths`.
    pub fn of(paths: &'a [TipPath]) -> Vec<Self> {
        paths.iter().map(|path| Self { role: path.role, contour: &path.contour }).collect()
    }

    /// The edges of a stretch; a lone point, and the end of an open line, is one without length.
    fn edges(&self, stretch: usize) -> impl Iterator<Item = (Point, Point)> + 'a {
        let line = LineRef::from(self.contour);
        let first = stretch * STRETCH;
        let last = (first + STRETCH).min(line.points.len());
        (first..last).map(move |i| (line.points[i], line.after(i)))
    }
}

/// A straight axis move from the first point to the second, in waste near `first`.
pub(super) fn orienting_cut(
    first: Point,
    around: &[Obstacle<'_>],
    settings: &BladeSettings,
) -> Option<[Point; 2]> {
    MARGINS_MM
        .iter()
        .flat_map(|&margin| LENGTHS.iter().map(move |&length| (margin, length)))
        .find_map(|(margin_mm, lengths)| {
            let length_mm = lengths * settings.offset_mm;
            Search::new(around, settings, length_mm, margin_mm).nearest(first)
        })
}

/// A straight axis move in waste in a wanted direction (radians): a blade whose heading got lost on
/// the way through a job is brought to the heading that the next cut begins with.
pub fn turning_cut(
    paths: &[TipPath],
    settings: &BladeSettings,
    heading: f64,
) -> Option<[Point; 2]> {
    let first = paths.iter().find_map(|p| p.contour.points.first())?;
    let length_mm = LENGTHS[0] * settings.offset_mm;
    let around = Obstacle::of(paths);
    MARGINS_MM.iter().find_map(|&margin_mm| {
        let mut search = Search::new(&around, settings, length_mm, margin_mm);
        search.heading = Some(heading);
        search.nearest(*first)
    })
}

/// Edges of a line that are passed over together where none of them is near.
const STRETCH: usize = 64;

/// An obstacle with the boxes around its stretches, [`STRETCH`] edges each.
struct Barrier<'a> {
    obstacle: Obstacle<'a>,
    around: Bounds,
    stretches: Vec<Bounds>,
}

impl<'a> Barrier<'a> {
    fn new(obstacle: Obstacle<'a>) -> Self {
        let count = obstacle.contour.points.len().div_ceil(STRETCH);
        let around = |stretch| {
            let edges = obstacle.edges(stretch).map(|(p, q)| Bounds::of(&[p, q]));
            edges.fold(Bounds::EMPTY, Bounds::union)
        };
        let stretches: Vec<Bounds> = (0..count).map(around).collect();
        let around = stretches.iter().copied().fold(Bounds::EMPTY, Bounds::union);
        Self { obstacle, around, stretches }
    }

    /// The stretches that may come into a box.
    fn stretches_near(&self, near: Bounds) -> impl Iterator<Item = usize> {
        let stretches = self.stretches.iter().enumerate();
        stretches.filter(move |(_, around)| around.touches(near)).map(|(i, _)| i)
    }
}

struct Search<'a> {
    obstacles: Vec<Barrier<'a>>,
    allowed: Bounds,
    length_mm: f64,
    clear_mm: f64,
    /// The one direction that is wanted.
    heading: Option<f64>,
    /// The obstacle and its stretch that were in the way of the last cut: mostly they are in that of the next.
    in_the_way: Cell<(usize, usize)>,
}

impl<'a> Search<'a> {
    fn new(around: &[Obstacle<'a>], settings: &BladeSettings, length_mm: f64, margin: f64) -> Self {
        let mut obstacles: Vec<_> = around.iter().map(|o| Barrier::new(*o)).collect();
        // What is in the way is mostly the smallest of the lines around a place: in nested rings the
        // others are all around it, too, and long.
        let size = |o: &Bounds| o.width() * o.height();
        obstacles.sort_by(|a, b| size(&a.around).total_cmp(&size(&b.around)));
        let work = obstacles.iter().fold(Bounds::EMPTY, |b, o| b.union(o.around));
        let reach = settings.offset_mm;
        let allowed = match settings.limits {
            Some(limits) => limits.grown(-reach),
            // An unknown sheet begins where the work begins.
            None => Bounds { min: work.min, max: work.grown(BEYOND_WORK * length_mm).max },
        };
        Self {
            obstacles,
            allowed,
            length_mm,
            clear_mm: reach + margin,
            heading: None,
            in_the_way: Cell::default(),
        }
    }

    /// The free place nearest to `start`, ring by ring.
    fn nearest(&self, start: Point) -> Option<[Point; 2]> {
        let widest = self.allowed.width().hypot(self.allowed.height());
        let near = self.clear_mm + self.length_mm / 4.0;
        let growth = (widest / near).max(1.0).powf(1.0 / RINGS as f64);
        (0..=RINGS)
            .map(|ring| near * growth.powi(ring as i32))
            .flat_map(|radius| self.around(start, radius))
            .find(|cut| self.is_free(cut))
    }

    /// Cuts with their middle on a ring about `start`.
    fn around(&self, start: Point, radius: f64) -> impl Iterator<Item = [Point; 2]> {
        let places = ((TAU * radius / self.length_mm * 2.0) as usize).clamp(16, 64);
        let half = self.length_mm / 2.0;
        (0..places).flat_map(move |i| {
            let middle = start + Point::along(TAU * i as f64 / places as f64) * radius;
            let heading = self.heading;
            (0..heading.map_or(DIRECTIONS, |_| 1)).map(move |k| {
                let turn = TAU * k as f64 / DIRECTIONS as f64;
                let way = Point::along(heading.unwrap_or(turn)) * half;
                [middle - way, middle + way]
            })
        })
    }

    fn is_free(&self, cut: &[Point; 2]) -> bool {
        let bounds = Bounds::of(cut);
        if !self.allowed.holds(bounds) {
            return false;
        }
        let near = bounds.grown(self.clear_mm);
        let (obstacle, stretch) = self.in_the_way.get();
        if self
            .obstacles
            .get(obstacle)
            .is_some_and(|o| !self.is_clear(cut, o.obstacle.edges(stretch)))
        {
            return false;
        }
        let mut depth = 0;
        for (i, barrier) in self.obstacles.iter().enumerate() {
            if !barrier.around.touches(near) {
                continue;
            }
            let mut stretches = barrier.stretches_near(near);
            let blocks = |stretch: &usize| !self.is_clear(cut, barrier.obstacle.edges(*stretch));
            if let Some(stretch) = stretches.find(blocks) {
                self.in_the_way.set((i, stretch));
                return false;
            }
            let Obstacle { role, contour } = barrier.obstacle;
            let piece = contour.closed && role == Role::Design;
            depth += usize::from(piece && contour.surrounds(cut[0]));
        }
        depth % 2 == 0
    }

    fn is_clear(&self, cut: &[Point; 2], mut edges: impl Iterator<Item = (Point, Point)>) -> bool {
        let [a, b] = *cut;
        edges.all(|(p, q)| {
            !cross(a, b, p, q)
                && [distance_to_segment(p, a, b), distance_to_segment(q, a, b)]
                    .into_iter()
                    .chain([distance_to_segment(a, p, q), distance_to_segment(b, p, q)])
                    .all(|distance| distance >= self.clear_mm)
        })
    }
}

/// Whether two segments cross; touching does not matter here, since a distance is kept.
fn cross(a: Point, b: Point, p: Point, q: Point) -> bool {
    let apart = |a: Point, b: Point, p: Point, q: Point| {
        (b - a).cross(p - a).signum() != (b - a).cross(q - a).signum()
    };
    apart(a, b, p, q) && apart(p, q, a, b)
}
