//! [`Layout`] → a layout that stays sound when it is rounded to plotter units.
//!
//! The machine goes only to whole units. Lines nearer to each other than that may cross once they
//! are rounded, and a line thinner than that falls upon itself. What would cross is joined here:
//! two pieces become one, a wall between a hole and the outside opens; what has no area left is
//! left out and told. All other lines stay as they are, unrounded, so that the blade gets true
//! tangents.
//!
//! Method: crossings are found on the rounded contours (grid of edges); each tangle of contours is
//! resolved for itself by winding numbers; new corners are whole units, so the result may touch
//! what is beside it, and a few rounds follow (snap rounding, after Hobby, "Practical segment
//! intersection with finite precision output", 1999, limited to where it is needed).

use crate::edges::{EdgeIndex, Pairs};
use crate::finding::{Finding, Place, counted};
use crate::geometry::{Bounds, Contour, LineRef, Point};
use crate::merge::{self, Inside};
use crate::parallel;
use crate::place::{CutLine, Layout, Role};
use crate::sets::Sets;
use crate::units::PlotterUnit;

/// Tangles are resolved again at most so often; each round leaves far fewer.
const ROUNDS: usize = 4;
/// Size of the cells in which crossings are looked for, units.
const CELL_UNITS: f64 = 40.0;
/// Rings wider or higher than so many cells are looked at again after each round.
const LARGE_CELLS: f64 = 64.0;
/// Beyond this many units no machine counts, and the sums of the resolver would overflow.
const FURTHEST_UNITS: f64 = (1 << 29) as f64;

/// A closed line of the design, its corners on whole units.
#[derive(Clone)]
struct Ring {
    /// Index of the line that it was made from.
    line: usize,
    points: Vec<Point>,
    /// Whether it differs from that line.
    joined: bool,
}

/// Joins what would cross in units of `unit_mm`, leaves out what would have no area.
#[must_use]
pub fn settle(layout: Layout, unit_mm: f64) -> (Layout, Vec<Finding>) {
    let furthest = FURTHEST_UNITS * unit_mm;
    let holds = |b: Bounds| b.min.x.min(b.min.y) > -furthest && b.max.x.max(b.max.y) < furthest;
    let unit = PlotterUnit::new(unit_mm).filter(|_| holds(layout.bounds()));
    let Some(unit) = unit else { return (layout, Vec::new()) };
    let all: Vec<Ring> = rings(&layout, unit);
    let (mut kept, flat): (Vec<Ring>, Vec<Ring>) = all.into_iter().partition(has_area);
    let mut doubtful: Vec<usize> = (0..kept.len()).collect();
    for _ in 0..ROUNDS {
        let tangles = tangles(&kept, &doubtful);
        if tangles.is_empty() {
            break;
        }
        let fresh;
        (kept, fresh) = resolved(kept, &tangles);
        doubtful = beside(&kept, &fresh);
    }
    let findings = told(&flat, &layout).into_iter().collect();
    (put_back(layout, kept, unit_mm), findings)
}

fn is_ring(line: &CutLine) -> bool {
    line.role == Role::Design && line.contour.closed && line.contour.points.len() > 2
}

fn rings(layout: &Layout, unit: PlotterUnit) -> Vec<Ring> {
    let lines: Vec<usize> =
        (0..layout.lines.len()).filter(|&i| is_ring(&layout.lines[i])).collect();
    parallel::map(lines.len(), |i| {
        let line = lines[i];
        let count = |p: &Point| in_plane((unit.count(p.x), unit.count(p.y)));
        let mut points: Vec<Point> = layout.lines[line].contour.points.iter().map(count).collect();
        points.dedup();
        while points.len() > 1 && points.first() == points.last() {
            points.pop();
        }
        Ring { line, points, joined: false }
    })
}

fn has_area(ring: &Ring) -> bool {
    twice_area(ring) != 0
}

fn twice_area(ring: &Ring) -> i64 {
    let cross = |(a, b): (Point, Point)| {
        let ((ax, ay), (bx, by)) = (in_units(a), in_units(b));
        i64::from(ax) * i64::from(by) - i64::from(ay) * i64::from(bx)
    };
    outline(ring).edges().map(cross).sum()
}

/// Groups of the `doubtful` among `rings` (in their order) that cross each other, or one that crosses
/// itself.
fn tangles(rings: &[Ring], doubtful: &[usize]) -> Vec<Vec<usize>> {
    let index = EdgeIndex::new(doubtful.iter().map(|&i| outline(&rings[i])), CELL_UNITS);
    let crossings = index.crossings(Pairs::All);
    let mut sets = Sets::new(doubtful.len());
    let mut tangled = vec![false; doubtful.len()];
    for (a, b, _) in crossings {
        let (a, b) = (a as usize, b as usize);
        (tangled[a], tangled[b]) = (true, true);
        sets.join(a, b);
    }
    let groups = sets.groups(|i| tangled[i]).into_iter();
    groups.map(|group| group.into_iter().map(|i| doubtful[i]).collect()).collect()
}

/// The rings that may cross after a round: the `fresh` ones and those that such a one may run through.
/// All others were there before and crossed nothing.
fn beside(rings: &[Ring], fresh: &[usize]) -> Vec<usize> {
    let edges = EdgeIndex::new(fresh.iter().map(|&i| outline(&rings[i])), CELL_UNITS);
    let may_cross = |&i: &usize| {
        let frame = frame(&rings[i]);
        frame.width().max(frame.height()) > LARGE_CELLS * CELL_UNITS || edges.any_in_box(frame)
    };
    (0..rings.len()).filter(may_cross).collect()
}

fn frame(ring: &Ring) -> Bounds {
    Bounds::of(&ring.points)
}

fn in_plane((x, y): (i32, i32)) -> Point {
    Point::new(f64::from(x), f64::from(y))
}

/// The whole numbers that `p` was made from.
fn in_units(p: Point) -> (i32, i32) {
    (p.x as i32, p.y as i32)
}

fn outline(ring: &Ring) -> LineRef<'_> {
    LineRef { points: &ring.points, closed: true }
}

/// The rings without `tangles`, and which of them are new.
fn resolved(rings: Vec<Ring>, tangles: &[Vec<usize>]) -> (Vec<Ring>, Vec<usize>) {
    let mut slots: Vec<Vec<Ring>> = rings.into_iter().map(|ring| vec![ring]).collect();
    for tangle in tangles {
        let members: Vec<Ring> =
            tangle.iter().flat_map(|&i| std::mem::take(&mut slots[i])).collect();
        let inside = if members.iter().any(|ring| is_stray_hole(ring, &members)) {
            Inside::Holes
        } else {
            Inside::Pieces
        };
        let (line, first) = (members[0].line, tangle[0]);
        let whole = |ring: Ring| ring.points.into_iter().map(in_units).collect();
        let contours: Vec<Vec<(i32, i32)>> = members.into_iter().map(whole).collect();
        let fresh = |points: Vec<(i32, i32)>| {
            let points = points.into_iter().map(in_plane).collect();
            Ring { line, points, joined: true }
        };
        slots[first] = merge::untangled(&contours, inside).into_iter().map(fresh).collect();
    }
    let mut is_fresh = vec![false; slots.len()];
    tangles.iter().for_each(|tangle| is_fresh[tangle[0]] = true);
    let (mut kept, mut fresh) = (Vec::with_capacity(slots.len()), Vec::new());
    for (slot, is_fresh) in slots.into_iter().zip(is_fresh) {
        if is_fresh {
            fresh.extend(kept.len()..kept.len() + slot.len());
        }
        kept.extend(slot);
    }
    (kept, fresh)
}

/// Whether a ring is a hole in a piece whose outline is not among `members`.
fn is_stray_hole(ring: &Ring, members: &[Ring]) -> bool {
    // A hole may stand out of its outline by the rounding of both.
    let holds = |outer: &Ring| twice_area(outer) > 0 && frame(outer).grown(2.0).holds(frame(ring));
    twice_area(ring) < 0 && !members.iter().any(holds)
}

/// The layout with `rings` in place of its closed design lines.
fn put_back(layout: Layout, rings: Vec<Ring>, unit_mm: f64) -> Layout {
    let mut rings = rings.into_iter().peekable();
    let mut lines = Vec::with_capacity(layout.lines.len());
    for (i, line) in layout.lines.into_iter().enumerate() {
        if !is_ring(&line) {
            lines.push(line);
            continue;
        }
        let CutLine { role, layer, tool, mut contour } = line;
        while let Some(ring) = rings.next_if(|ring| ring.line == i) {
            // A line that was not joined is its only ring.
            let contour = if ring.joined {
                Contour::closed(ring.points.iter().map(|&p| p * unit_mm).collect())
            } else {
                std::mem::replace(&mut contour, Contour::closed(Vec::new()))
            };
            lines.push(CutLine { contour, role, layer, tool });
        }
    }
    Layout { lines }
}

fn told(flat: &[Ring], layout: &Layout) -> Option<Finding> {
    let first = layout.lines.get(flat.first()?.line)?;
    let one = "One contour is thinner than a step of the machine and is left out.";
    let many = "contours are thinner than a step of the machine and are left out.";
    let text = counted(flat.len(), one, many);
    let hint = "If they are thin lines, --trace lines cuts along them; else cut larger.";
    let finding = Finding::note("below-step", text).hint(hint);
    Some(finding.at(Place::sheet(first.contour.bounds().center())))
}

#[cfg(test)]
mod tests {
    use super::*;

    const UNIT: f64 = 0.025;

    fn line(points: &[(f64, f64)]) -> CutLine {
        let points = points.iter().map(|&(x, y)| Point::new(x, y)).collect();
        CutLine { contour: Contour::closed(points), role: Role::Design, layer: 2, tool: 1 }
    }

    fn settled(lines: Vec<CutLine>) -> (Vec<f64>, Vec<Finding>) {
        let (layout, findings) = settle(Layout { lines }, UNIT);
        (layout.lines.iter().map(|line| line.contour.signed_area()).collect(), findings)
    }

    /// A corner 0.007 mm below another piece's long side is rounded to 0.01 mm above it.
    #[test]
    fn pieces_nearer_than_a_step_are_joined() {
        let lower = line(&[(0.0, -2.0), (30.0, -2.0), (30.0, 9.9), (10.025, 3.345), (0.0, -0.1)]);
        let upper = line(&[(0.0, 0.01), (30.0, 10.01), (0.0, 10.0)]);
        let apart = |lines: &[CutLine]| {
            let rounded = |line: &CutLine| {
                let round = |p: &Point| {
                    let count = |x: f64| (x / UNIT).round();
                    Point::new(count(p.x), count(p.y))
                };
                let mut points: Vec<Point> = line.contour.points.iter().map(round).collect();
                points.push(points[0]);
                points
            };
            let lines: Vec<Vec<Point>> = lines.iter().map(rounded).collect();
            let index = EdgeIndex::new(lines.iter(), CELL_UNITS);
            index.crossings(Pairs::All).is_empty()
        };
        let lines = vec![lower, upper];
        assert!(!apart(&lines), "the example does not cross when it is rounded");
        let area: f64 = lines.iter().map(|line| line.contour.signed_area()).sum();
        let (layout, findings) = settle(Layout { lines }, UNIT);
        assert!(findings.is_empty());
        assert!(apart(&layout.lines));
        let after: f64 = layout.lines.iter().map(|line| line.contour.signed_area()).sum();
        assert!((after - area).abs() < 0.03 * 70.0, "{after} {area}");
        assert!(layout.lines.iter().all(|line| line.layer == 2));
    }

    #[test]
    fn what_has_no_area_in_units_is_left_out_and_told() {
        let speck = line(&[(5.0, 5.0), (9.0, 5.0), (9.0, 5.01)]);
        let piece = line(&[(0.0, 0.0), (3.01, 0.0), (3.0, 3.0)]);
        let (areas, findings) = settled(vec![speck, piece.clone()]);
        assert_eq!(areas, [piece.contour.signed_area()]);
        assert_eq!(findings[0].code, "below-step");
    }

    #[test]
    fn sound_lines_stay_as_they_are() {
        let mut ring = line(&[(0.003, 0.0), (30.0, 0.0), (30.0, 20.0), (0.0, 20.0)]);
        let hole = line(&[(1.0, 1.007), (1.0, 5.0), (5.0, 5.0)]);
        let lines = vec![ring.clone(), hole];
        assert_eq!(settle(Layout { lines: lines.clone() }, UNIT).0.lines, lines);
        ring.role = Role::Weed;
        ring.contour.closed = false;
        assert_eq!(settle(Layout { lines: vec![ring.clone()] }, UNIT).0.lines, [ring]);
    }
}
