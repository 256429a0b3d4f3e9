//! Where a closed contour may be begun: [`starts`].
//!
//! For a pen every vertex will do. A trailing blade should begin on a straight or gently bent run,
//! far enough from the next corner that it already trails when it gets there and that the overcut
//! repeats a straight (common practice, no source); long edges get extra points for that. The search
//! chooses among [`COARSE`] at most, spread along the contour; the last choice, with the order settled,
//! among those and [`FINER`] times as many beside what it chose ([`beside`]).

use crate::geometry::{LineRef, Point, wrap_angle};

/// The most starts among which the search chooses for one contour. Fewer lengthen the travel between
/// nested contours; the time to choose grows with their square.
pub const COARSE: usize = 16;
/// How many times as many starts of one contour may be used in the end. Rings of 24 vertices travel
/// 0.7 % less than without.
pub const FINER: usize = 2;

/// A turn sharper than this is a corner, radians (36 degrees): outlines of curves within 0.01 mm turn
/// by more only on radii below 0.4 mm, those of lettering at every corner.
const CORNER_RAD: f64 = 36.0 * std::f64::consts::PI / 180.0;

/// A place on a closed contour where its cut may begin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Start {
    /// The vertex at or before it.
    pub vertex: u32,
    /// How far along the edge after that vertex, 0 up to 1.
    pub along: f64,
    /// The place, mm.
    pub at: Point,
}

/// The places where `contour` may be begun, in its own sense; at least one unless it has no points.
///
/// `keep_off_mm` is the straight run wanted on both sides of a start; 0 offers plain vertices. `finer` is
/// 1 for [`COARSE`] starts, or how many times as many there are: those and others between them.
pub fn starts<'a>(contour: impl Into<LineRef<'a>>, keep_off_mm: f64, finer: usize) -> Vec<Start> {
    let contour = contour.into();
    if contour.points.is_empty() {
        return Vec::new();
    }
    Ruler::new(contour).starts(keep_off_mm, finer)
}

/// `present` and the [`FINER`] starts of `contour` that lie between its neighbours among [`COARSE`] ones.
///
/// `present` has to be a start of `contour`.
pub fn beside<'a>(contour: impl Into<LineRef<'a>>, keep_off_mm: f64, present: Start) -> Vec<Start> {
    let ruler = Ruler::new(contour.into());
    let reach = ruler.total / COARSE as f64;
    let here = ruler.mark(&present);
    let is_near = |start: &Start| {
        let gap = (ruler.mark(start) - here).abs();
        let gap = gap.min(ruler.total - gap);
        gap > 0.0 && gap <= reach
    };
    let others = ruler.starts(keep_off_mm, FINER).into_iter().filter(is_near);
    std::iter::once(present).chain(others).collect()
}

/// A closed contour with the distance of each vertex along it.
struct Ruler<'a> {
    points: &'a [Point],
    /// Distance from vertex 0, one more entry than vertices.
    marks: Vec<f64>,
    total: f64,
}

impl<'a> Ruler<'a> {
    fn new(contour: LineRef<'a>) -> Self {
        let mut marks = Vec::with_capacity(contour.points.len() + 1);
        let mut total = 0.0;
        marks.push(total);
        for (a, b) in contour.edges() {
            total += a.distance(b);
            marks.push(total);
        }
        Self { points: contour.points, marks, total }
    }
    fn starts(&self, keep_off_mm: f64, finer: usize) -> Vec<Start> {
        if self.total <= 0.0 {
            return vec![self.vertex(0)];
        }
        if keep_off_mm <= 0.0 {
            return self.spread_vertices(COARSE * finer);
        }
        let corners = self.corners();
        if corners.is_empty() {
            return self.spread_places(&[(0.0, self.total)], finer);
        }
        let mut runs = self.runs_between(&corners);
        let roomy: Vec<(f64, f64)> = runs
            .iter()
            .map(|&(from, to)| (from + keep_off_mm, to - keep_off_mm))
            .filter(|(from, to)| from <= to)
            .collect();
        if !roomy.is_empty() {
            return self.spread_places(&roomy, finer);
        }
        // No run is long enough: the middles of the longest ones come nearest to the wish.
        runs.sort_by(|p, q| (q.1 - q.0).total_cmp(&(p.1 - p.0)));
        let longest = runs[0].1 - runs[0].0;
        let middles =
            runs.iter().take(COARSE * finer).filter(|(from, to)| to - from > 0.7 * longest);
        middles.map(|(from, to)| self.place((from + to) / 2.0)).collect()
    }
    fn vertex(&self, index: usize) -> Start {
        Start { vertex: index as u32, along: 0.0, at: self.points[index] }
    }
    /// How far along the contour a start lies, mm.
    fn mark(&self, start: &Start) -> f64 {
        let edge = start.vertex as usize;
        self.marks[edge] + start.along * (self.marks[edge + 1] - self.marks[edge])
    }
    /// All vertices, or as many as are allowed, evenly along the contour.
    fn spread_vertices(&self, most: usize) -> Vec<Start> {
        let n = self.points.len();
        if n <= most {
            return (0..n).map(|i| self.vertex(i)).collect();
        }
        let mut picked: Vec<usize> = (0..most)
            .map(|i| {
                let at = self.total * i as f64 / most as f64;
                self.marks[..n].partition_point(|&m| m < at).min(n - 1)
            })
            .collect();
        picked.dedup();
        picked.into_iter().map(|i| self.vertex(i)).collect()
    }
    /// Distances along the contour at which it turns sharply.
    fn corners(&self) -> Vec<f64> {
        let n = self.points.len();
        let sharp = |i: &usize| {
            let (a, b, c) =
                (self.points[(i + n - 1) % n], self.points[*i], self.points[(i + 1) % n]);
            wrap_angle((c - b).angle() - (b - a).angle()).abs() > CORNER_RAD
        };
        (0..n).filter(sharp).map(|i| self.marks[i]).collect()
    }
    /// From each corner to the next; the last run goes past the end of the ruler.
    fn runs_between(&self, corners: &[f64]) -> Vec<(f64, f64)> {
        let next = corners.iter().skip(1).copied().chain([corners[0] + self.total]);
        corners.iter().copied().zip(next).collect()
    }
    /// Places spread over `runs`: each gets its share by length, one at least; `finer` places for each,
    /// the first of them the same whatever their number.
    fn spread_places(&self, runs: &[(f64, f64)], finer: usize) -> Vec<Start> {
        let length: f64 = runs.iter().map(|(from, to)| to - from).sum();
        let mut longest_first: Vec<(f64, f64)> = runs.to_vec();
        longest_first.sort_by(|p, q| (q.1 - q.0).total_cmp(&(p.1 - p.0)));
        longest_first.truncate(COARSE);
        let mut places = Vec::with_capacity(COARSE * finer);
        for (i, &(from, to)) in longest_first.iter().enumerate() {
            let share = if length > 0.0 { (to - from) / length } else { 0.0 };
            let room = COARSE - places.len() / finer - (longest_first.len() - 1 - i);
            let count = ((share * COARSE as f64) as usize).clamp(1, room);
            let step = (to - from) / count as f64;
            let at = |k: usize| from + step * (k as f64 / finer as f64 + 0.5);
            places.extend((0..count * finer).map(|k| self.place(at(k))));
        }
        places
    }
    /// The place `at` mm along the contour.
    fn place(&self, at: f64) -> Start {
        let n = self.points.len();
        let at = at.rem_euclid(self.total);
        let edge = self.marks.partition_point(|&m| m <= at).saturating_sub(1).min(n - 1);
        let length = self.marks[edge + 1] - self.marks[edge];
        let along =
            if length > 0.0 { ((at - self.marks[edge]) / length).clamp(0.0, 1.0) } else { 0.0 };
        if along > 1.0 - 1e-9 {
            return self.vertex((edge + 1) % n);
        }
        let (a, b) = (self.points[edge], self.points[(edge + 1) % n]);
        if along < 1e-9 {
            self.vertex(edge)
        } else {
            Start { vertex: edge as u32, along, at: a.lerp(b, along) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Contour;

    fn rectangle(w: f64, h: f64) -> Contour {
        Contour::closed(vec![
            Point::new(0.0, 0.0),
            Point::new(w, 0.0),
            Point::new(w, h),
            Point::new(0.0, h),
        ])
    }

    #[test]
    fn a_pen_begins_at_vertices() {
        let found = starts(&rectangle(8.0, 6.0), 0.0, 1);
        assert_eq!(found.iter().map(|s| s.vertex).collect::<Vec<_>>(), [0, 1, 2, 3]);
        assert!(found.iter().all(|s| s.along == 0.0));
    }

    #[test]
    fn a_blade_keeps_off_corners() {
        let contour = rectangle(8.0, 6.0);
        let found = starts(&contour, 1.0, 1);
        assert!(found.len() >= 8 && found.len() <= COARSE);
        for start in found {
            assert!(contour.points.iter().all(|p| p.distance(start.at) >= 1.0 - 1e-9));
            let (a, b) = (start.vertex as usize, (start.vertex as usize + 1) % 4);
            assert!(
                contour.points[a].lerp(contour.points[b], start.along).distance(start.at) < 1e-9
            );
        }
    }

    #[test]
    fn too_short_runs_are_begun_in_the_middle() {
        let found = starts(&rectangle(1.0, 0.2), 1.0, 1);
        assert_eq!(found.len(), 2);
        assert!(found.iter().all(|s| (s.at.x - 0.5).abs() < 1e-9));
    }

    #[test]
    fn many_vertices_are_thinned_evenly() {
        let circle = Contour::closed(
            (0..200).map(|i| Point::along(f64::from(i) * std::f64::consts::TAU / 200.0)).collect(),
        );
        for keep_off in [0.0, 0.5] {
            let found = starts(&circle, keep_off, 1);
            assert_eq!(found.len(), COARSE);
            assert!(found.windows(2).all(|w| w[0].at.distance(w[1].at) < 0.45));
        }
    }

    #[test]
    fn finer_starts_lie_beside_the_present_one() {
        let circle = Contour::closed(
            (0..200).map(|i| Point::along(f64::from(i) * std::f64::consts::TAU / 200.0)).collect(),
        );
        for keep_off in [0.0, 0.5] {
            for present in starts(&circle, keep_off, 1) {
                let found = beside(&circle, keep_off, present);
                assert_eq!(found[0], present);
                assert!((3..=5).contains(&found.len()), "{}", found.len());
                assert!(found.iter().all(|s| s.at.distance(present.at) < 0.4));
            }
        }
        let square = rectangle(8.0, 8.0);
        let present = starts(&square, 0.0, 1)[0];
        assert_eq!(beside(&square, 0.0, present), [present]);
    }

    #[test]
    fn coarse_starts_are_among_the_finer_ones() {
        let circle = |n: u32| {
            let corner = |i: u32| Point::along(f64::from(i) * std::f64::consts::TAU / f64::from(n));
            Contour::closed((0..n).map(corner).collect())
        };
        for contour in [circle(24), circle(200), rectangle(8.0, 6.0), rectangle(1.0, 0.2)] {
            for keep_off in [0.0, 0.5] {
                let fine = starts(&contour, keep_off, FINER);
                for start in starts(&contour, keep_off, 1) {
                    assert!(fine.contains(&start), "{start:?} {keep_off}");
                }
            }
        }
    }

    #[test]
    fn a_contour_without_extent_has_one_start() {
        assert!(starts(&Contour::closed(vec![]), 1.0, 1).is_empty());
        assert_eq!(starts(&Contour::closed(vec![Point::ORIGIN; 5]), 1.0, COARSE).len(), 1);
    }
}
