//! Holding bridges: a line is cut in stretches, and what is left uncut between them holds a piece in
//! its sheet, or makes a fold line a perforation.
//!
//! Invariants: no bridge lies at a corner; the stretches and the bridges together are the line; a
//! part between two corners that is too short for a bridge is cut whole; no two bridges overlap, however
//! long they are. Bridges stand evenly along each part, so both ends of a part are cuts of the same
//! length; a bridge that would lie in a bend as tight as a rounded corner moves to the nearest place in
//! its stretch that bends less. Own method.

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

/// A vertex that turns the line by more than this is a corner: outlines of curves within 0.01 mm
/// turn by more only on radii below 0.6 mm.
const CORNER: f64 = std::f64::consts::PI / 6.0;
/// The least cut that a part keeps on either side of a bridge, as a share of a usual cut.
const LEAST_END: f64 = 0.25;
/// Places tried to either side of a stretch's middle for a bridge out of a tight bend.
const STEPS: u32 = 24;

/// Cuts the lines of the design in the stretches that `dash_of` tells.
pub fn bridge(layout: &Layout, dash_of: impl Fn(&CutLine) -> Option<Dash>) -> Layout {
    let lines = layout.lines.iter().flat_map(|line| match dash_of(line) {
        Some(dash) if line.role.is_design() => bridged(line, &dash),
        _ => vec![line.clone()],
    });
    Layout { lines: lines.collect() }
}

fn bridged(line: &CutLine, dash: &Dash) -> Vec<CutLine> {
    let (path, corners) = from_a_corner(&line.contour);
    let bends = Bends::of(&path);
    let mut gaps = Vec::new();
    for part in corners.windows(2) {
        gaps.extend(
            gaps_of(part[0], part[1], dash).into_iter().map(|slot| bends.place(slot, dash)),
        );
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

/// The stretches between two corners that get a bridge each, as distances along the path.
fn gaps_of(from: f64, to: f64, dash: &Dash) -> Vec<[f64; 2]> {
    let length = to - from;
    let period = dash.cut_mm + dash.bridge_mm;
    let least = dash.bridge_mm + 2.0 * LEAST_END * dash.cut_mm;
    if length < least {
        return Vec::new();
    }
    // Rounded up, a stretch could be shorter than a bridge that is longer than a cut.
    let count = (length / period).round().min((length / least).floor()).max(1.0);
    let at = |i: u32| from + length * f64::from(i) / count;
    (0..count as u32).map(|i| [at(i), at(i + 1)]).collect()
}

/// How far a path has turned, all turns counted as positive, along it.
struct Bends {
    /// Distance along the path and the turn up to and with the vertex there, radians.
    turned: Vec<(f64, f64)>,
}

impl Bends {
    fn of(path: &[Point]) -> Self {
        let (mut along, mut turn) = (0.0, 0.0);
        let mut turned = Vec::with_capacity(path.len());
        for w in path.windows(3) {
            along += w[0].distance(w[1]);
            turn += wrap_angle((w[2] - w[1]).angle() - (w[1] - w[0]).angle()).abs();
            turned.push((along, turn));
        }
        Self { turned }
    }

    /// How far the path turns on the way.
    fn within(&self, [from, to]: [f64; 2]) -> f64 {
        let up_to = |at: f64| {
            let before = self.turned.partition_point(|(along, _)| *along < at);
            before.checked_sub(1).map_or(0.0, |i| self.turned[i].1)
        };
        up_to(to) - up_to(from)
    }

    /// The bridge in a stretch: in its middle, or where the path bends less if it bends as much as a
    /// corner there.
    fn place(&self, slot: [f64; 2], dash: &Dash) -> [f64; 2] {
        let middle = (slot[0] + slot[1]) / 2.0;
        let half = dash.bridge_mm / 2.0;
        let room = ((slot[1] - slot[0]) / 2.0 - half - LEAST_END * dash.cut_mm).max(0.0);
        let shifts = (0..=STEPS).flat_map(|i| {
            let shift = room * f64::from(i) / f64::from(STEPS);
            [middle + shift, middle - shift]
        });
        let mut best = ([middle - half, middle + half], f64::INFINITY);
        for center in shifts {
            let gap = [center - half, center + half];
            let bend = self.within(gap);
            if bend < best.1 - 1e-9 {
                best = (gap, bend);
            }
            if best.1 <= CORNER {
                break;
            }
        }
        best.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::place::Role;

    const DASH: Dash = Dash { cut_mm: 3.0, bridge_mm: 1.0 };

    fn cut(contour: Contour) -> Vec<Contour> {
        let line = CutLine { contour, role: Role::Design, layer: 0, tool: 1 };
        bridge(&Layout { lines: vec![line] }, |_| Some(DASH))
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

    /// Sides of 4 to 40 mm and bridges up to nine times as long as a cut: every bridge has its length, a
    /// quarter of a cut stands on either side of it, and each corner is cut.
    #[test]
    fn bridges_longer_than_cuts_leave_cuts_between_them() {
        for bridge_mm in [1.0, 2.5, 5.0, 9.0] {
            let dash = Dash { cut_mm: 1.0, bridge_mm };
            for tenths in 40..400 {
                let side = f64::from(tenths) / 10.0;
                let corners = [(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)];
                let contour = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
                let line = CutLine { contour, role: Role::Design, layer: 0, tool: 1 };
                let cuts = bridge(&Layout { lines: vec![line] }, |_| Some(dash)).lines;
                let cut: f64 = cuts.iter().map(|line| line.contour.length()).sum();
                let bridges = if side < bridge_mm + 0.5 { 0.0 } else { cuts.len() as f64 };
                let told = format!("{side} {bridge_mm}: {} cuts, {cut} mm", cuts.len());
                assert!((cut - (4.0 * side - bridges * bridge_mm)).abs() < 1e-9, "{told}");
                assert!(cuts.iter().all(|line| line.contour.length() > 0.5 - 1e-9), "{told}");
                let holds = |&(x, y): &(f64, f64)| {
                    let is_corner = |p: &Point| p.distance(Point::new(x, y)) < 1e-9;
                    cuts.iter().any(|line| line.contour.points.iter().any(is_corner))
                };
                assert!(corners.iter().all(holds), "{told}");
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

    /// A square of 20 mm with corners rounded to 0.5 mm in steps of 5°: no vertex is a corner, but no
    /// bridge may lie in the bends, which fill 0.8 mm of the line each.
    #[test]
    fn rounded_corners_are_cut_too() {
        for radius in [0.2, 0.5, 0.8] {
            let corners =
                [(1.0, -1.0, -90.0), (1.0, 1.0, 0.0), (-1.0, 1.0, 90.0), (-1.0, -1.0, 180.0)];
            let arc = |(x, y, from): (f64, f64, f64)| {
                let center = Point::new(x, y) * (10.0 - radius);
                (0..=18).map(move |i| {
                    center + Point::along((from + 5.0 * f64::from(i)).to_radians()) * radius
                })
            };
            let rounded = Contour::closed(corners.into_iter().flat_map(arc).collect());
            let cuts = cut(rounded);
            assert!(cuts.len() >= 16, "{}", cuts.len());
            for (i, cut) in cuts.iter().enumerate() {
                let (end, next) = (cut.points[cut.points.len() - 1], &cuts[(i + 1) % cuts.len()]);
                let bridge = next.points[0] - end;
                let straight = bridge.x.abs() < 1e-6 || bridge.y.abs() < 1e-6;
                // A bridge may reach into the first steps of a bend: 20° of it at most.
                let into = radius * CORNER;
                let aside = bridge.x.abs().min(bridge.y.abs());
                assert!(straight || aside <= into, "{radius}: {bridge:?}");
                assert!(bridge.length() < 1.0 + 1e-9);
            }
        }
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
