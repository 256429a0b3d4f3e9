//! How far the blade's tip strays from the wanted lines, and how much of them it leaves uncut.
//!
//! Both are one-sided Hausdorff distances between sets of straight edges, exact to
//! [`EXACT_MM`]: along an edge the distance to any one other edge is convex, so on a piece of it
//! the distance to all is at most the larger of the two at its ends, taken to the edge nearest to
//! either end. The same holds for a chain of edges and all its vertices. A piece whose bound does not
//! beat the worst place found is done with; others are halved (branch and bound, Land and Doig,
//! 1960). A coarse look at all lines comes first, so that most pieces are done with at once.

use crate::edges::EdgeIndex;
use crate::geometry::{Contour, Point, distance_to_segment};
use crate::parallel;

/// What the tip does to the wanted lines.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TipError {
    /// Largest distance of the cutting tip from the nearest wanted line, mm.
    pub stray_mm: f64,
    /// Where.
    pub stray_at: Point,
    /// Largest distance from a wanted line to the nearest place that the tip cut, mm.
    pub uncut_mm: f64,
    /// Where.
    pub uncut_at: Point,
}

impl TipError {
    /// The larger of both, mm.
    pub fn worst_mm(&self) -> f64 {
        self.stray_mm.max(self.uncut_mm)
    }
}

/// How exact the distances are, mm.
const EXACT_MM: f64 = 5e-5;
/// Beyond this the exact distance does not matter any more, mm.
const REACH_MM: f64 = 20.0;
/// An edge within this share of the worst distance found is near enough: whichever is nearest, the
/// place is not the worst, and its chain lies near this edge as well.
const ENOUGH: f64 = 0.25;
/// Edges of a line that are looked at together.
const CHAIN: usize = 16;
/// Halvings of an edge at most: then a piece of the longest possible edge is far below a unit.
const MOST_HALVINGS: u32 = 40;

/// Compares the tip's `tracks` (orienting cuts left out) with the `wanted` lines.
pub fn tip_error(tracks: &[&[Point]], wanted: &[&Contour]) -> TipError {
    let rings: Vec<Vec<Point>> = wanted.iter().map(|line| line.track()).collect();
    let cell = cell_mm(&rings);
    let lines: Vec<&[Point]> = rings.iter().map(Vec::as_slice).collect();
    // One index after the other: they are the largest things that a proof holds.
    let (stray_mm, stray_at) = furthest(tracks, &EdgeIndex::new(lines.iter().copied(), cell));
    let (uncut_mm, uncut_at) = furthest(&lines, &EdgeIndex::new(tracks.iter().copied(), cell));
    TipError { stray_mm, stray_at, uncut_mm, uncut_at }
}

/// Cells about as large as an edge is long.
fn cell_mm(lines: &[Vec<Point>]) -> f64 {
    let (mut length, mut count) = (0.0, 0.0);
    for w in lines.iter().flat_map(|line| line.windows(2)) {
        length += w[0].distance(w[1]);
        count += 1.0;
    }
    if count == 0.0 { 1.0 } else { (length / count).clamp(0.2, 10.0) }
}

/// The largest distance from `lines` to the indexed edges, and where.
fn furthest(lines: &[&[Point]], index: &EdgeIndex) -> Worst {
    let search = |worst| Search { index, worst };
    let all = |of_line: &(dyn Fn(&[Point]) -> Worst + Sync)| {
        let each = parallel::map(lines.len(), parallel::cores(), |i| of_line(lines[i]));
        each.into_iter().fold((0.0, Point::ORIGIN), |a, b| if b.0 > a.0 { b } else { a })
    };
    let coarse = all(&|line| search((0.0, Point::ORIGIN)).here_and_there(line));
    all(&|line| search(coarse).along(line))
}

/// The largest distance found and its place.
type Worst = (f64, Point);

/// A search along one line.
struct Search<'a> {
    index: &'a EdgeIndex,
    worst: Worst,
}

/// A place on the line and the indexed edge nearest to it.
#[derive(Clone, Copy)]
struct Probe {
    at: Point,
    distance: f64,
    edge: Option<usize>,
}

impl Search<'_> {
    /// Looks at some vertices only.
    fn here_and_there(mut self, line: &[Point]) -> Worst {
        for p in line.iter().step_by(CHAIN) {
            self.probe(*p);
        }
        self.worst
    }

    fn along(mut self, line: &[Point]) -> Worst {
        let Some(&first) = line.first() else { return self.worst };
        let mut from = self.probe(first);
        let mut rest = line;
        while rest.len() > 1 {
            let (chain, end) = (&rest[..rest.len().min(CHAIN + 1)], (rest.len() - 1).min(CHAIN));
            let to = self.probe(chain[end]);
            self.chain(chain, from, to);
            from = to;
            rest = &rest[end..];
        }
        self.worst
    }

    /// Looks at a chain whose ends were looked at.
    fn chain(&mut self, chain: &[Point], from: Probe, to: Probe) {
        if chain.len() <= 2 {
            return self.between(from, to, MOST_HALVINGS);
        }
        let furthest = |end: Probe| {
            end.edge.map_or(REACH_MM, |edge| {
                let (a, b) = self.index.edge(edge);
                chain.iter().map(|p| distance_to_segment(*p, a, b)).fold(0.0, f64::max)
            })
        };
        if furthest(from).min(furthest(to)) <= self.worst.0 + EXACT_MM {
            return;
        }
        let half = chain.len() / 2;
        let middle = self.probe(chain[half]);
        self.chain(&chain[..=half], from, middle);
        self.chain(&chain[half..], middle, to);
    }

    fn probe(&mut self, at: Point) -> Probe {
        let nearest = self.index.near(at, REACH_MM, ENOUGH * self.worst.0);
        let distance = nearest.map_or(REACH_MM, |n| n.distance);
        if distance > self.worst.0 {
            self.worst = (distance, at);
        }
        Probe { at, distance, edge: nearest.map(|n| n.edge) }
    }

    fn between(&mut self, from: Probe, to: Probe, halvings: u32) {
        if halvings == 0 || self.bound(from, to) <= self.worst.0 + EXACT_MM {
            return;
        }
        let middle = self.probe(from.at.lerp(to.at, 0.5));
        self.between(from, middle, halvings - 1);
        self.between(middle, to, halvings - 1);
    }

    /// The most that the distance can be anywhere between two places.
    fn bound(&self, from: Probe, to: Probe) -> f64 {
        let by_length = (from.distance + to.distance + from.at.distance(to.at)) / 2.0;
        let to_edge = |end: Probe, other: Probe| {
            end.edge.map_or(REACH_MM, |edge| {
                let (a, b) = self.index.edge(edge);
                end.distance.max(distance_to_segment(other.at, a, b))
            })
        };
        by_length.min(to_edge(from, to)).min(to_edge(to, from)).min(REACH_MM)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_go_both_ways() {
        let corners = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)];
        let square = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
        let mut track = square.points.clone();
        track[1].y = -0.03;
        let error = tip_error(&[&track], &[&square]);
        assert!((error.stray_mm - 0.03).abs() < 1e-9, "{error:?}");
        // The last side is not cut at all: its middle is 5 mm from the two beside it.
        assert!((error.uncut_mm - 5.0).abs() < 0.01, "{error:?}");
        let whole = square.track();
        assert_eq!(tip_error(&[&whole], &[&square]).worst_mm(), 0.0);
    }

    /// The worst place need not be a vertex: the middle of a bridge between two others.
    #[test]
    fn the_worst_place_may_lie_within_an_edge() {
        let wanted = [
            Contour::open(vec![Point::new(0.0, 0.0), Point::new(0.0, 9.0)]),
            Contour::open(vec![Point::new(3.0, 0.0), Point::new(3.0, 9.0)]),
        ];
        let bridge = [Point::new(0.0, 1.0), Point::new(3.0, 1.0)];
        let error = tip_error(&[&bridge], &wanted.each_ref());
        assert!((error.stray_mm - 1.5).abs() <= EXACT_MM, "{error:?}");
        assert!(error.stray_at.distance(Point::new(1.5, 1.0)) < 1e-3);
    }

    /// A circle's chords: the sagitta r(1 − cos(h/2)), known in closed form.
    #[test]
    fn chords_leave_their_circle_by_the_sagitta() {
        let polygon = |n: usize| {
            let step = std::f64::consts::TAU / n as f64;
            Contour::closed((0..n).map(|i| Point::along(step * i as f64) * 10.0).collect())
        };
        let (coarse, fine) = (polygon(36), polygon(36 * 256));
        let track = coarse.track();
        let error = tip_error(&[&track], &[&fine]);
        let sagitta = 10.0 * (1.0 - (std::f64::consts::PI / 36.0).cos());
        assert!((error.stray_mm - sagitta).abs() < 1e-4, "{error:?} {sagitta}");
        assert!((error.uncut_mm - sagitta).abs() < 1e-4, "{error:?} {sagitta}");
    }

    #[test]
    fn a_missing_line_is_as_wrong_as_can_be() {
        let line = Contour::open(vec![Point::ORIGIN, Point::new(5.0, 0.0)]);
        assert_eq!(tip_error(&[], &[&line]).uncut_mm, REACH_MM);
        assert_eq!(tip_error(&[], &[]).worst_mm(), 0.0);
    }
}
