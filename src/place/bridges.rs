//! Holding bridges: a line is cut in stretches, and what is left uncut between them holds a piece in
//! its sheet, or makes a fold line a perforation.
//!
//! Invariants: no bridge lies at a corner; the stretches and the bridges together are the line; a
//! part between two corners that is too short for a bridge is cut whole. Bridges stand evenly along
//! each part, so both ends of a part are cuts of the same length. Own method.

use super::{CutLine, Layout};
use crate::geometry::{Contour, Point, stretch, wrap_angle};

/// How a line is cut in stretches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dash {
    /// Length of a cut, about, mm.
    pub cut_mm: f64,
    /// Length of a bridge, mm.
    pub bridge_mm: f64,
}

/// A vertex that turns the line by more than this is a corner: arcs are drawn in steps well below.
const CORNER: f64 = std::f64::consts::PI / 9.0;
/// The least cut that a part keeps on either side of a bridge, as a share of a usual cut.
const LEAST_END: f64 = 0.25;

/// Cuts the lines of the design in the stretches that `dash_of` tells.
pub fn bridge(layout: Layout, dash_of: impl Fn(&CutLine) -> Option<Dash>) -> Layout {
    let lines = layout.lines.into_iter().flat_map(|line| match dash_of(&line) {
        Some(dash) if line.role.is_design() => bridged(&line, &dash),
        _ => vec![line],
    });
    Layout { lines: lines.collect() }
}

fn bridged(line: &CutLine, dash: &Dash) -> Vec<CutLine> {
    let (path, corners) = from_a_corner(&line.contour);
    let mut gaps = Vec::new();
    for part in corners.windows(2) {
        gaps.extend(gaps_of(part[0], part[1], dash));
    }
    if gaps.is_empty() {
        return vec![line.clone()];
    }
    let end = corners.last().copied().unwrap_or(0.0);
    let starts = std::iter::once(0.0).chain(gaps.iter().map(|gap| gap[1]));
    let ends = gaps.iter().map(|gap| gap[0]).chain(std::iter::once(end));
    let mut cuts: Vec<Vec<Point>> = starts.zip(ends).map(|(a, b)| stretch(&path, a, b)).collect();
    if line.contour.closed && cuts.len() > 1 {
        // The line began in the middle of a cut: its last stretch runs on into its first.
        let first = cuts.remove(0);
        if let Some(last) = cuts.last_mut() {
            last.extend(first.into_iter().skip(1));
        }
    } else if line.contour.closed {
        return vec![line.clone()];
    }
    let open = |points| CutLine { contour: Contour::open(points), ..line.clone() };
    cuts.into_iter().filter(|points| points.len() > 1).map(open).collect()
}

/// The line as a path that starts at a corner if a closed line has one (and returns there), and how
/// far along it the corners lie, both ends included.
fn from_a_corner(line: &Contour) -> (Vec<Point>, Vec<f64>) {
    let mut path = line.points.clone();
    if line.closed {
        let n = path.len();
        let first = (0..n).find(|&i| is_corner(path[(i + n - 1) % n], path[i], path[(i + 1) % n]));
        path.rotate_left(first.unwrap_or(0));
        path.extend(path.first().copied());
    }
    let mut corners = vec![0.0];
    let mut along = 0.0;
    for w in path.windows(3) {
        along += w[0].distance(w[1]);
        if is_corner(w[0], w[1], w[2]) {
            corners.push(along);
        }
    }
    corners.push(path.windows(2).map(|w| w[0].distance(w[1])).sum());
    (path, corners)
}

fn is_corner(before: Point, at: Point, after: Point) -> bool {
    wrap_angle((after - at).angle() - (at - before).angle()).abs() > CORNER
}

/// The bridges between two corners, as distances along the path.
fn gaps_of(from: f64, to: f64, dash: &Dash) -> Vec<[f64; 2]> {
    let length = to - from;
    let period = dash.cut_mm + dash.bridge_mm;
    if length < dash.bridge_mm + 2.0 * LEAST_END * dash.cut_mm {
        return Vec::new();
    }
    let count = (length / period).round().max(1.0);
    let center = |i: u32| from + length * (f64::from(i) + 0.5) / count;
    let half = dash.bridge_mm / 2.0;
    (0..count as u32).map(|i| [center(i) - half, center(i) + half]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::place::Role;

    const DASH: Dash = Dash { cut_mm: 3.0, bridge_mm: 1.0 };

    fn cut(contour: Contour) -> Vec<Contour> {
        let line = CutLine { contour, role: Role::Design, layer: 0, tool: 1 };
        bridge(Layout { lines: vec![line] }, |_| Some(DASH))
            .lines
            .into_iter()
            .map(|l| l.contour)
            .collect()
    }

    /// A square of 20 mm: five bridges of 1 mm a side, so 60 mm are cut; each corner lies 1.5 mm
    /// from either end of its stretch.
    #[test]
    fn corners_are_cut() {
        let corners = [(0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0)];
        let square = corners.map(|(x, y)| Point::new(x, y)).to_vec();
        for turned in 0..4 {
            let mut points = square.clone();
            points.rotate_left(turned);
            let cuts = cut(Contour::closed(points));
            assert_eq!(cuts.len(), 20);
            let length: f64 = cuts.iter().map(Contour::length).sum();
            assert!((length - 60.0).abs() < 1e-9, "{length}");
            for corner in &square {
                let holding = cuts.iter().find(|c| c.points.contains(corner)).unwrap();
                let ends = [holding.points[0], holding.points[holding.points.len() - 1]];
                assert!(ends.iter().all(|e| (e.distance(*corner) - 1.5).abs() < 1e-9));
            }
        }
    }

    /// A circle has no corner; its length is a whole number of periods, about.
    #[test]
    fn circles_are_cut_evenly() {
        let at = |i: u32| Point::along(std::f64::consts::TAU * f64::from(i) / 180.0) * 12.0;
        let circle = Contour::closed((0..180).map(at).collect());
        let whole = circle.length();
        let cuts = cut(circle);
        assert_eq!(cuts.len(), (whole / 4.0).round() as usize);
        let length: f64 = cuts.iter().map(Contour::length).sum();
        assert!((length - (whole - cuts.len() as f64)).abs() < 1e-9, "{length} {whole}");
    }

    #[test]
    fn fold_lines_begin_and_end_with_a_cut() {
        let fold = Contour::open(vec![Point::new(0.0, 0.0), Point::new(0.0, 38.0)]);
        let cuts = cut(fold);
        assert_eq!(cuts.len(), 11);
        assert_eq!(cuts[0].points[0], Point::new(0.0, 0.0));
        assert!((cuts[10].points[1].y - 38.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_too_small_is_cut_whole() {
        let tiny = Contour::closed(vec![Point::ORIGIN, Point::new(1.0, 0.0), Point::new(0.0, 1.0)]);
        assert_eq!(cut(tiny.clone()), vec![tiny]);
        assert_eq!(
            cut(Contour::open(vec![Point::ORIGIN])),
            vec![Contour::open(vec![Point::ORIGIN])]
        );
        assert_eq!(cut(Contour::closed(vec![])), vec![Contour::closed(vec![])]);
    }
}
