//! Hair-thin spikes at the corners of a contour → none.
//!
//! Where two edges meet at a very small angle, or run side by side before they part, the tip is
//! thinner than its sides are known: each was drawn within a tolerance of its curve, so whether
//! there is anything between them is chance. A blade would follow one side and come back on the
//! other, through the same slit. The tip ends where its sides are as far apart as the tolerance;
//! what is cut changes by less than half of that.
//!
//! Method: from a sharp vertex both sides are walked at the same pace; the distance between two
//! points that move along straight lines is convex in time, so it has to be looked at only where
//! either side has a vertex.

use crate::geometry::{Contour, Point};

/// A spike is this many times as long as wide: any corner is thin at its very tip.
const SLENDER: f64 = 10.0;

/// The closed `contour` without spikes thinner than `width` mm; an open one comes back as it is.
#[must_use]
pub fn without_spikes(contour: &Contour, width: f64) -> Contour {
    let n = contour.points.len();
    if !contour.closed || n < 3 {
        return contour.clone();
    }
    let tips: Vec<usize> = sharp(&contour.points).collect();
    if tips.is_empty() {
        return contour.clone();
    }
    let mut points = contour.points.clone();
    let mut gone = vec![false; n];
    for tip in tips {
        if gone[tip] {
            continue;
        }
        let Some(spike) = Spike::at(&points, &gone, tip, width) else { continue };
        points[tip] = spike.end;
        for vertex in spike.vertices {
            gone[vertex] = true;
        }
    }
    Contour::closed(points.into_iter().zip(gone).filter(|(_, g)| !g).map(|(p, _)| p).collect())
}

/// The vertices at which a closed contour turns by more than about 80 degrees: blunt tips have two such.
fn sharp(points: &[Point]) -> impl Iterator<Item = usize> + '_ {
    let before = points.last().into_iter().chain(points);
    let after = points.iter().skip(1).chain(points.first());
    let edges = before.zip(points).zip(after);
    let is_sharp = |((before, at), after): ((&Point, &Point), &Point)| {
        let (a, b) = (*at - *before, *after - *at);
        let along = a.dot(b);
        // The cosine against 0.17, squared: all vertices are asked, so without roots.
        along <= 0.0 || along * along < 0.17 * 0.17 * a.length_squared() * b.length_squared()
    };
    edges.enumerate().filter(move |(_, corner)| is_sharp(*corner)).map(|(i, _)| i)
}

/// What goes from the tip of a spike, and where the contour turns back instead.
struct Spike {
    vertices: Vec<usize>,
    end: Point,
}

/// One side of a spike, walked away from its tip.
struct Side {
    at: Point,
    /// The vertex ahead.
    ahead: usize,
}

impl Spike {
    fn at(points: &[Point], gone: &[bool], tip: usize, width: f64) -> Option<Self> {
        let n = points.len();
        let next = |i: usize, by: usize| {
            let mut i = (i + by) % n;
            while gone[i] && i != tip {
                i = (i + by) % n;
            }
            i
        };
        let mut sides = [n - 1, 1].map(|by| Side { at: points[tip], ahead: next(tip, by) });
        let mut vertices = Vec::new();
        let mut run = 0.0;
        while sides[0].ahead != sides[1].ahead && sides.iter().all(|s| s.ahead != tip) {
            let step =
                sides.iter().map(|s| s.at.distance(points[s.ahead])).fold(f64::MAX, f64::min);
            let there = [0, 1].map(|i| ahead(&sides[i], points, step));
            if there[0].distance(there[1]) > width {
                let from = [sides[0].at, sides[1].at];
                // Most corners are no spikes: their sides part before one would be slender.
                let slender = ((SLENDER * width - run) / step * (1.0 - 1e-9)).max(0.0);
                if slender >= 1.0 || apart(from, there, slender) > width {
                    return None;
                }
                let share = share_until_apart(from, there, width);
                let [a, b] = [0, 1].map(|i| sides[i].at.lerp(there[i], share));
                run += step * share;
                return (run > SLENDER * width).then(|| Self { vertices, end: a.lerp(b, 0.5) });
            }
            run += step;
            for (side, (there, by)) in sides.iter_mut().zip(there.into_iter().zip([n - 1, 1])) {
                side.at = there;
                if side.at.distance(points[side.ahead]) < 1e-9 {
                    vertices.push(side.ahead);
                    side.ahead = next(side.ahead, by);
                }
            }
        }
        None
    }
}

fn ahead(side: &Side, points: &[Point], step: f64) -> Point {
    let goal = points[side.ahead];
    let left = side.at.distance(goal);
    if left <= step { goal } else { side.at.lerp(goal, step / left) }
}

/// How far two points are apart after a share of their way.
fn apart(from: [Point; 2], to: [Point; 2], share: f64) -> f64 {
    from[0].lerp(to[0], share).distance(from[1].lerp(to[1], share))
}

/// The share of the way at which two points are `width` apart.
fn share_until_apart(from: [Point; 2], to: [Point; 2], width: f64) -> f64 {
    let (mut near, mut far) = (0.0, 1.0);
    for _ in 0..40 {
        let middle = (near + far) / 2.0;
        if apart(from, to, middle) > width { far = middle } else { near = middle }
    }
    near
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contour(points: &[(f64, f64)]) -> Contour {
        Contour::closed(points.iter().map(|&(x, y)| Point::new(x, y)).collect())
    }

    #[test]
    fn a_hair_at_a_square_goes_and_the_square_stays() {
        let hair = contour(&[
            (0.0, 0.0),
            (5.0, 0.0),
            (5.0, 2.0),
            (9.0, 2.001),
            (5.0, 2.003),
            (5.0, 5.0),
            (0.0, 5.0),
        ]);
        let clean = without_spikes(&hair, 0.004);
        assert!(clean.bounds().max.x < 5.01, "{clean:?}");
        assert!((clean.signed_area() - 25.0).abs() < 0.02);
    }

    #[test]
    fn a_wedge_ends_where_it_gets_thinner_than_a_sliver() {
        let wedge = contour(&[(0.0, 0.0), (10.0, 0.05), (0.0, 0.1)]);
        let clean = without_spikes(&wedge, 0.004);
        assert_eq!(clean.points.len(), 3);
        assert!((clean.bounds().max.x - 9.6).abs() < 1e-3, "{:?}", clean.bounds());
    }

    #[test]
    fn other_corners_stay_and_what_is_a_spike_all_over_is_left_alone() {
        let star = contour(&[(0.0, 0.0), (10.0, 1.0), (0.0, 2.0)]);
        assert_eq!(without_spikes(&star, 0.01), star);
        let needle = contour(&[(0.0, 0.0), (5.0, 0.001), (10.0, 0.0), (5.0, -0.001)]);
        assert_eq!(without_spikes(&needle, 0.01), needle);
        let square = contour(&[(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]);
        assert_eq!(without_spikes(&square, 0.01), square);
    }
}
