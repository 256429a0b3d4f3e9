//! How far the blade's tip strays from the line that it follows, and how much of it it leaves uncut.
//!
//! Both are one-sided Hausdorff distances between straight edges, exact to [`EXACT_MM`]. First every
//! line is walked side by side with its tracks (`walk`), which bounds both. Then the lines are taken,
//! the largest bound first, and measured, until no bound beats the worst place found: usually a few.
//!
//! Measuring: along an edge the distance to any one other edge is convex, so on a piece of it the
//! distance to all is at most the larger of the two at its ends, taken to the edge nearest to either
//! end. The same holds for a chain of edges and all its vertices. A piece whose bound does not beat
//! the worst place found is done with; others are halved (branch and bound, Land and Doig, 1960).

use std::borrow::Cow;

use super::walk::{Apart, apart};
use crate::edges::EdgeIndex;
use crate::geometry::{Contour, Point, distance_to_segment};
use crate::parallel;

/// A wanted line and the tracks of the tip that cut it, one for each pass.
#[derive(Debug, Clone, Copy)]
pub struct Followed<'a> {
    /// The line.
    pub wanted: &'a Contour,
    /// Where the tip went, mm.
    pub tracks: &'a [&'a [Point]],
}

/// A length, where it is, and to which contour it belongs.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Worst {
    /// How much, mm.
    pub mm: f64,
    /// Where.
    pub at: Point,
    /// Number of the contour in the order of cutting, from 1; 0 when there is none.
    pub contour: usize,
}

/// What the tip does to the wanted lines.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TipError {
    /// Largest distance of the cutting tip from the line that it follows.
    pub stray: Worst,
    /// Largest distance from a wanted line to the nearest place where it was cut.
    pub uncut: Worst,
}

impl TipError {
    /// The larger of both.
    pub fn worst(&self) -> Worst {
        if self.stray.mm >= self.uncut.mm { self.stray } else { self.uncut }
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
/// Most lines that are measured side by side, before what was found counts for the next.
const MOST_AT_ONCE: usize = 256;

/// Compares the tip's tracks (orienting cuts left out) with the lines that they follow.
pub fn tip_error(lines: &[Followed<'_>]) -> TipError {
    tip_error_of(lines.len(), |i| (Cow::Borrowed(lines[i].wanted), lines[i].tracks))
}

/// The same for `count` lines that need not all be there at once: each is made when it is looked at.
pub fn tip_error_of<'a>(
    count: usize,
    line: impl Fn(usize) -> (Cow<'a, Contour>, &'a [&'a [Point]]) + Sync,
) -> TipError {
    let walked = parallel::map(count, |i| look(line(i), walked));
    let bounds = |of: fn(&Apart) -> f64| walked.iter().map(of).collect::<Vec<f64>>();
    TipError {
        stray: worst(&bounds(|apart| apart.track), |i, worst| {
            look(line(i), |line| stray(line, worst))
        }),
        uncut: worst(&bounds(|apart| apart.line), |i, worst| {
            look(line(i), |line| uncut(line, worst))
        }),
    }
}

fn look<T>((wanted, tracks): (Cow<'_, Contour>, &[&[Point]]), at: impl Fn(Followed<'_>) -> T) -> T {
    at(Followed { wanted: &wanted, tracks })
}

/// Bounds of what a line's tracks stray, all together, and of what they leave uncut.
fn walked(line: Followed<'_>) -> Apart {
    let none = Apart { track: 0.0, line: f64::INFINITY };
    line.tracks
        .iter()
        .map(|track| apart(line.wanted, track))
        .fold(none, |a, b| Apart { track: a.track.max(b.track), line: a.line.min(b.line) })
}

/// The largest distance of all lines. `bounds` are what each can have at most; `measure` finds what
/// beats the worst of the lines before.
fn worst(bounds: &[f64], measure: impl Fn(usize, f64) -> Found + Sync) -> Worst {
    let mut order: Vec<usize> = (0..bounds.len()).collect();
    order.sort_by(|a, b| bounds[*b].total_cmp(&bounds[*a]));
    let (mut worst, mut rest, mut at_once) = (Worst::default(), order.as_slice(), 1);
    while rest.first().is_some_and(|i| bounds[*i] > worst.mm + EXACT_MM) {
        let (now, later) = rest.split_at(at_once.min(rest.len()));
        let found = parallel::map(now.len(), |k| measure(now[k], worst.mm));
        for (&line, (mm, at)) in now.iter().zip(found) {
            if mm > worst.mm {
                worst = Worst { mm, at, contour: line + 1 };
            }
        }
        (rest, at_once) = (later, (at_once * 2).min(MOST_AT_ONCE));
    }
    worst
}

/// How far the tracks of a line stray, if that is more than `worst`.
fn stray(line: Followed<'_>, worst: f64) -> Found {
    let ring = line.wanted.track();
    furthest(line.tracks, &[&ring], worst)
}

/// How much of a line its tracks leave uncut, if that is more than `worst`.
fn uncut(line: Followed<'_>, worst: f64) -> Found {
    let ring = line.wanted.track();
    furthest(&[&ring], line.tracks, worst)
}

/// The largest distance from `lines` to the edges of `others`, if that is more than `worst`.
fn furthest(lines: &[&[Point]], others: &[&[Point]], worst: f64) -> Found {
    let index = EdgeIndex::new(others.iter().copied(), cell_mm(others));
    let search = |worst| Search { index: &index, worst };
    // A coarse look at all lines comes first, so that most pieces are done with at once.
    let coarse = |worst, line: &&[Point]| search(worst).here_and_there(line);
    let worst = lines.iter().fold((worst, Point::ORIGIN), coarse);
    lines.iter().fold(worst, |worst, line| search(worst).along(line))
}

/// Cells about as large as an edge is long.
fn cell_mm(lines: &[&[Point]]) -> f64 {
    let (mut length, mut count) = (0.0, 0.0);
    for w in lines.iter().flat_map(|line| line.windows(2)) {
        length += w[0].distance(w[1]);
        count += 1.0;
    }
    if count == 0.0 { 1.0 } else { (length / count).clamp(0.2, 10.0) }
}

/// The largest distance found and its place.
type Found = (f64, Point);

/// A search along one line.
struct Search<'a> {
    index: &'a EdgeIndex<'a>,
    worst: Found,
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
    fn here_and_there(mut self, line: &[Point]) -> Found {
        for p in line.iter().step_by(CHAIN) {
            self.probe(*p);
        }
        self.worst
    }

    fn along(mut self, line: &[Point]) -> Found {
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

    fn error_of(track: &[Point], wanted: &Contour) -> TipError {
        tip_error(&[Followed { wanted, tracks: &[track] }])
    }

    #[test]
    fn distances_go_both_ways() {
        let corners = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)];
        let square = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
        let mut track = square.points.clone();
        track[1].y = -0.03;
        let error = error_of(&track, &square);
        assert!((error.stray.mm - 0.03).abs() < 1e-9, "{error:?}");
        // The last side is not cut at all: its middle is 5 mm from the two beside it.
        assert!((error.uncut.mm - 5.0).abs() < 0.01, "{error:?}");
        assert_eq!(error_of(&square.track(), &square).worst(), Worst::default());
    }

    /// The worst place need not be a vertex: the middle of a bridge between two others.
    #[test]
    fn the_worst_place_may_lie_within_an_edge() {
        let fork = [(0.0, 9.0), (0.0, -9.0), (3.0, -9.0), (3.0, 9.0)];
        let wanted = Contour::open(fork.map(|(x, y)| Point::new(x, y)).to_vec());
        let bridge = [Point::new(0.0, 1.0), Point::new(3.0, 1.0)];
        let error = error_of(&bridge, &wanted);
        assert!((error.stray.mm - 1.5).abs() <= EXACT_MM, "{error:?}");
        assert!(error.stray.at.distance(Point::new(1.5, 1.0)) < 1e-3);
    }

    /// A circle's chords: the sagitta r(1 − cos(h/2)), known in closed form.
    #[test]
    fn chords_leave_their_circle_by_the_sagitta() {
        let polygon = |n: usize| {
            let step = std::f64::consts::TAU / n as f64;
            Contour::closed((0..n).map(|i| Point::along(step * i as f64) * 10.0).collect())
        };
        let (coarse, fine) = (polygon(36), polygon(36 * 256));
        let error = error_of(&coarse.track(), &fine);
        let sagitta = 10.0 * (1.0 - (std::f64::consts::PI / 36.0).cos());
        assert!((error.stray.mm - sagitta).abs() < 1e-4, "{error:?} {sagitta}");
        assert!((error.uncut.mm - sagitta).abs() < 1e-4, "{error:?} {sagitta}");
    }

    #[test]
    fn a_missing_line_is_as_wrong_as_can_be() {
        let line = Contour::open(vec![Point::ORIGIN, Point::new(5.0, 0.0)]);
        let uncut = tip_error(&[Followed { wanted: &line, tracks: &[] }]).uncut;
        assert_eq!((uncut.mm, uncut.contour), (REACH_MM, 1));
        assert_eq!(tip_error(&[]), TipError::default());
    }

    /// A line beside does not excuse a stray tip, and a cut beside does not cut a line.
    #[test]
    fn each_line_answers_for_its_own_tracks() {
        let line = |y: f64| Contour::open(vec![Point::new(0.0, y), Point::new(5.0, y)]);
        let (low, high) = (line(0.0), line(1.0));
        let right = Followed { wanted: &low, tracks: &[&low.points] };
        let wrong = Followed { wanted: &high, tracks: &[&low.points] };
        let error = tip_error(&[right, wrong]);
        for worst in [error.stray, error.uncut] {
            assert_eq!((worst.mm, worst.contour), (1.0, 2), "{error:?}");
        }
    }

    /// Two passes cut a line together.
    #[test]
    fn passes_help_each_other() {
        let line = Contour::open(vec![Point::ORIGIN, Point::new(9.0, 0.0)]);
        let halves =
            [[Point::ORIGIN, Point::new(5.0, 0.0)], [Point::new(4.0, 0.0), line.points[1]]];
        let error = tip_error(&[Followed { wanted: &line, tracks: &[&halves[0], &halves[1]] }]);
        assert_eq!(error, TipError::default());
    }
}
