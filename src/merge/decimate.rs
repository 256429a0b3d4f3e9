//! Fewer vertices: a contour → a contour that stays within a tolerance of it.
//!
//! Method: from each vertex the longest chord whose skipped vertices all lie within the tolerance
//! (greedy, opening-angle test in constant time per vertex; after Reumann and Witkam, "Optimizing
//! curve segmentation in computer graphics", 1974, and Imai and Iri, 1986). The cone of directions
//! that still pass every skipped vertex is narrowed vertex by vertex, so the whole is linear.
//! A closed contour starts at a vertex that is surely a corner, so the result does not depend on
//! where the ring happens to begin.

use crate::geometry::{Contour, Point, distance_to_segment};

/// `contour` with vertices left out; every vertex left out lies within `tolerance` mm of the chord
/// that replaces it. A closed contour keeps at least three vertices and its sense.
#[must_use]
pub fn decimate(contour: &Contour, tolerance: f64) -> Contour {
    let n = contour.points.len();
    if n < 4 || tolerance <= 0.0 {
        return contour.clone();
    }
    if !contour.closed {
        return Contour::open(decimate_track(&contour.points, tolerance));
    }
    let corner = sharpest(&contour.points);
    let mut ring: Vec<Point> = Vec::with_capacity(n + 1);
    ring.extend(&contour.points[corner..]);
    ring.extend(&contour.points[..=corner]);
    let mut kept = decimate_track(&ring, tolerance);
    kept.pop();
    if kept.len() < 3 {
        return contour.clone();
    }
    Contour::closed(kept)
}

/// The vertex at which the ring turns most.
fn sharpest(points: &[Point]) -> usize {
    let n = points.len();
    // Grows with the angle, from 0 to 2, and needs no arc tangent.
    let turn = |i: usize| {
        let (before, after) =
            (i.checked_sub(1).unwrap_or(n - 1), if i + 1 == n { 0 } else { i + 1 });
        let (a, b) = (points[i] - points[before], points[after] - points[i]);
        let (along, aside) = (a.dot(b), a.cross(b).abs());
        if along == 0.0 && aside == 0.0 { 0.0 } else { 1.0 - along / (along.abs() + aside) }
    };
    (0..n)
        .map(|i| (i, turn(i)))
        .fold((0, -1.0), |best, (i, t)| if t > best.1 + 1e-9 { (i, t) } else { best })
        .0
}

/// An open track with vertices left out, but for its ends; as [`decimate`].
#[must_use]
pub fn decimate_track(points: &[Point], tolerance: f64) -> Vec<Point> {
    let Some(&first) = points.first() else { return Vec::new() };
    let mut kept = vec![first];
    let mut from = 0;
    while from + 1 < points.len() {
        from = furthest(points, from, tolerance);
        kept.push(points[from]);
    }
    kept
}

/// The furthest vertex that a chord from `points[from]` may reach.
fn furthest(points: &[Point], from: usize, tolerance: f64) -> usize {
    let origin = points[from];
    // Its right and its left side, of any length.
    let mut cone: Option<[Point; 2]> = None;
    let mut reach = 0.0;
    let mut last = from + 1;
    for (i, &p) in points.iter().enumerate().skip(from + 1) {
        let d = p - origin;
        let length = d.length();
        // Going back on itself: the skipped vertices would stick out beyond the chord's end.
        if length + tolerance < reach {
            break;
        }
        reach = f64::max(reach, length);
        if length <= tolerance {
            last = i;
            continue;
        }
        // The directions that pass this vertex within the tolerance: asin(tolerance / length) about d.
        let along = ((length - tolerance) * (length + tolerance)).sqrt();
        let aside = d.perpendicular() * (tolerance / along);
        let [right, left] = [d - aside, d + aside];
        let Some([low, high]) = cone else {
            cone = Some([right, left]);
            last = i;
            continue;
        };
        if low.cross(d) < 0.0 || d.cross(high) < 0.0 {
            break;
        }
        last = i;
        let low = if low.cross(right) > 0.0 { right } else { low };
        let high = if left.cross(high) > 0.0 { left } else { high };
        cone = Some([low, high]);
    }
    shrink_to_fit(points, from, last, tolerance)
}

/// The cone test is exact for lines; a chord ends, so vertices near its ends are checked again.
fn shrink_to_fit(points: &[Point], from: usize, mut to: usize, tolerance: f64) -> usize {
    let fits = |to: usize| {
        points[from + 1..to]
            .iter()
            .all(|&p| distance_to_segment(p, points[from], points[to]) <= tolerance)
    };
    while to > from + 1 && !fits(to) {
        to -= 1 + (to - from - 1) / 8;
    }
    to
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(r: f64, n: usize) -> Contour {
        Contour::closed(
            (0..n).map(|i| Point::along(i as f64 / n as f64 * std::f64::consts::TAU) * r).collect(),
        )
    }

    #[test]
    fn every_vertex_left_out_is_near_its_chord() {
        for r in [0.05, 0.5, 5.0, 50.0] {
            let fine = circle(r, 2000);
            let coarse = decimate(&fine, 0.0125);
            assert!(coarse.points.len() < 1000 && coarse.points.len() >= 3, "{r}");
            for p in &fine.points {
                let near = coarse.edges().map(|(a, b)| distance_to_segment(*p, a, b));
                assert!(near.fold(f64::INFINITY, f64::min) <= 0.0125 + 1e-9);
            }
            assert!(coarse.signed_area() > 0.0);
        }
    }

    #[test]
    fn corners_stay_and_straight_edges_lose_their_vertices() {
        let points = (0..40).map(|i| match i / 10 {
            0 => Point::new(f64::from(i), 0.0),
            1 => Point::new(10.0, f64::from(i - 10)),
            2 => Point::new(f64::from(30 - i), 10.0),
            _ => Point::new(0.0, f64::from(40 - i)),
        });
        let square = decimate(&Contour::closed(points.collect()), 0.0125);
        assert_eq!(square.points.len(), 4);
        assert_eq!(square.signed_area(), 100.0);
    }

    #[test]
    fn a_needle_keeps_its_point() {
        let needle = Contour::open(vec![
            Point::new(0.0, 0.0),
            Point::new(5.0, 0.001),
            Point::new(10.0, 0.0),
            Point::new(5.0, -0.001),
            Point::new(0.0, 0.002),
        ]);
        let thin = decimate(&needle, 0.0125);
        assert!(thin.points.contains(&Point::new(10.0, 0.0)), "{thin:?}");
    }
}
