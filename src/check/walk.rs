//! How far a track and the line that it follows are apart at most: both walked side by side.
//!
//! Each vertex of the track is paired with a place on the line, each vertex of the line that lies
//! between two such places with one on the track's edge, and neither walk turns back. Between pairs
//! both run straight, so the distance is largest at a pair. Any such pairing is an upper bound of the
//! Fréchet distance (Alt and Godau 1995), which bounds the Hausdorff distance both ways.
//!
//! The pairing is greedy, in time proportional to both lengths: what it finds is often exact to a
//! hair, at the worst far too large, never too small.

use crate::geometry::{Contour, Point};

/// Edges that may be further away than the one before, until the walk along the line stops.
const LOOKAHEAD: usize = 3;

/// Upper bounds, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Apart {
    /// No place of the track is further from the line.
    pub track: f64,
    /// No place of the line is further from the track.
    pub line: f64,
}

/// How far `track` and `line` are apart at most; infinite if one of them is empty.
pub(super) fn apart(line: &Contour, track: &[Point]) -> Apart {
    let rail = Rail::of(line);
    let (Some(&first), Some(begin)) = (track.first(), rail.nearest(track)) else {
        return Apart { track: f64::INFINITY, line: f64::INFINITY };
    };
    let (mut from, mut here) = (first, begin);
    let mut most = first.distance(begin.at);
    for &to in &track[1..] {
        let next = rail.onward(here, to);
        most = most.max(rail.between((from, here), (to, next)));
        (from, here) = (to, next);
    }
    Apart { track: most, line: most.max(rail.left_out((first, begin), (from, here))) }
}

/// A line whose edges go on being counted past the end if it is closed.
struct Rail<'a> {
    points: &'a [Point],
    closed: bool,
}

/// A place on the line.
#[derive(Clone, Copy)]
struct Stand {
    edge: usize,
    /// From 0 at the edge's begin to 1 at its end.
    share: f64,
    at: Point,
}

impl<'a> Rail<'a> {
    fn of(line: &'a Contour) -> Self {
        Self { points: &line.points, closed: line.closed && line.points.len() > 1 }
    }

    /// Edges of one round; a single point is an edge without length.
    fn edges(&self) -> usize {
        if self.closed { self.points.len() } else { (self.points.len() - 1).max(1) }
    }

    fn vertex(&self, number: usize) -> Point {
        self.points[if self.closed { number % self.points.len() } else { number }]
    }

    fn edge(&self, number: usize) -> (Point, Point) {
        let end = if self.points.len() == 1 { number } else { number + 1 };
        (self.vertex(number), self.vertex(end))
    }

    /// The place nearest to `p` on an edge, from `share` on.
    fn foot(&self, edge: usize, share: f64, p: Point) -> Stand {
        let (a, b) = self.edge(edge);
        let (along, length) = ((p - a).dot(b - a), (b - a).length_squared());
        let share = if length > 0.0 { (along / length).clamp(share, 1.0) } else { 1.0 };
        Stand { edge, share, at: a.lerp(b, share) }
    }

    /// Where the line is nearest to the track's begin.
    fn nearest(&self, track: &[Point]) -> Option<Stand> {
        let p = *track.first()?;
        if self.points.is_empty() {
            return None;
        }
        let feet = (0..self.edges()).map(|edge| self.foot(edge, 0.0, p));
        feet.min_by(|a, b| away(a, p).total_cmp(&away(b, p)))
    }

    /// The next place near `p`, at `from` or after it.
    fn onward(&self, from: Stand, p: Point) -> Stand {
        let mut best = self.foot(from.edge, from.share, p);
        let mut least = away(&best, p);
        let last = if self.closed { from.edge + self.edges() } else { self.edges() - 1 };
        let mut edge = from.edge + 1;
        while edge <= last && edge <= best.edge + LOOKAHEAD {
            let foot = self.foot(edge, 0.0, p);
            if away(&foot, p) <= least {
                (best, least) = (foot, away(&foot, p));
            }
            edge += 1;
        }
        best
    }

    /// How far the straight track between two vertices and the line between their places are apart.
    fn between(&self, (p, from): (Point, Stand), (q, to): (Point, Stand)) -> f64 {
        let (mut most, mut share) = (q.distance(to.at), 0.0f64);
        for number in from.edge + 1..=to.edge {
            let v = self.vertex(number);
            let (along, length) = ((v - p).dot(q - p), (q - p).length_squared());
            share = if length > 0.0 { (along / length).clamp(share, 1.0) } else { 1.0 };
            most = most.max(v.distance(p.lerp(q, share)));
        }
        most
    }

    /// How far what lies before the first place and after the last is from the track's ends.
    fn left_out(&self, (first, begin): (Point, Stand), (last, end): (Point, Stand)) -> f64 {
        let far = |range: std::ops::RangeInclusive<usize>, p: Point| {
            range.map(|v| self.vertex(v).distance(p)).fold(0.0, f64::max)
        };
        if self.points.len() == 1 {
            return 0.0;
        }
        if !self.closed {
            return far(0..=begin.edge, first).max(far(end.edge + 1..=self.edges(), last));
        }
        let round = begin.edge + self.edges();
        if (end.edge, end.share) >= (round, begin.share) {
            return 0.0;
        }
        far(end.edge + 1..=round, last).max(begin.at.distance(last))
    }
}

/// Squared distance.
fn away(stand: &Stand, p: Point) -> f64 {
    (stand.at - p).length_squared()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::distance_to_segment;
    use crate::lehmer::Lehmer;

    fn circle(n: usize, radius: f64) -> Vec<Point> {
        let step = std::f64::consts::TAU / n as f64;
        (0..n).map(|i| Point::along(step * i as f64) * radius).collect()
    }

    #[test]
    fn one_walk_round_a_circle_beside_another_is_the_gap_wide() {
        let line = Contour::closed(circle(720, 10.0));
        let mut track = circle(97, 10.2);
        track.push(track[0]);
        let apart = apart(&line, &track);
        assert!((apart.track - 0.2).abs() < 0.02, "{apart:?}");
        assert!((apart.line - 0.2).abs() < 0.02, "{apart:?}");
    }

    #[test]
    fn a_begin_elsewhere_and_an_overcut_cost_nothing() {
        let line = Contour::closed(circle(60, 10.0));
        let track: Vec<Point> = (0..70).map(|i| line.points[(i + 17) % 60]).collect();
        let apart = apart(&line, &track);
        assert!(apart.track.max(apart.line) < 1e-12, "{apart:?}");
    }

    /// Lines that have nothing to do with each other, against their distances at many places.
    #[test]
    fn what_is_found_is_never_too_small() {
        let mut dice = Lehmer::new();
        let mut next = move || dice.share() * 8.0;
        for case in 0..300 {
            let mut points = |n| (0..n).map(|_| Point::new(next(), next())).collect::<Vec<_>>();
            let line = Contour { points: points(1 + case % 9), closed: case % 2 == 0 };
            let track = points(1 + case % 7);
            let found = apart(&line, &track);
            let furthest = |from: &[Point], to: &[Point]| {
                let places = from
                    .windows(2)
                    .flat_map(|w| (0..=20).map(|i| w[0].lerp(w[1], f64::from(i) / 20.0)));
                let to = |p: Point| {
                    to.windows(2)
                        .map(|w| distance_to_segment(p, w[0], w[1]))
                        .fold(f64::INFINITY, f64::min)
                };
                places.map(to).fold(0.0, f64::max)
            };
            let twice = |p: &[Point]| [p, &p[p.len() - 1..]].concat();
            let (line, track) = (twice(&line.track()), twice(&track));
            assert!(found.track >= furthest(&track, &line) - 1e-9, "{case} {found:?}");
            assert!(found.line >= furthest(&line, &track) - 1e-9, "{case} {found:?}");
        }
    }

    #[test]
    fn what_is_left_out_counts_for_the_line_only() {
        let line = Contour::open(vec![Point::ORIGIN, Point::new(9.0, 0.0), Point::new(9.0, 5.0)]);
        let track = [Point::new(1.0, 0.0), Point::new(9.0, 0.0), Point::new(9.0, 3.0)];
        assert_eq!(apart(&line, &track), Apart { track: 0.0, line: 2.0 });
        let half = Contour::closed(circle(60, 10.0));
        let short = apart(&half, &half.points[..31]);
        assert!(short.track < 1e-12, "{short:?}");
        assert!((short.line - 20.0).abs() < 0.1, "{short:?}");
    }

    #[test]
    fn dots_and_nothing() {
        let dot = Contour::open(vec![Point::ORIGIN]);
        let beside = [Point::new(0.0, 0.5), Point::new(0.0, 1.0)];
        assert_eq!(apart(&dot, &beside), Apart { track: 1.0, line: 1.0 });
        assert!(apart(&dot, &[]).line.is_infinite());
        assert!(apart(&Contour::open(Vec::new()), &beside).track.is_infinite());
    }
}
