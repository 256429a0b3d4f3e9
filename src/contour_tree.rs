//! Contours → [`ContourTree`]: who lies inside whom.
//!
//! In: all lines of a sheet. Out: for each line the smallest closed line around it. Invariants:
//! 1. Only closed lines with an area are parents; an open line may have a parent.
//! 2. Walking up the parents ends at the top: a parent has a larger area than its closed child, or
//!    the same area and a higher index (a contour drawn twice counts as one inside the other, so
//!    that whatever lies inside both comes before both).
//! 3. Touching is not crossing: the place of a line is judged by one of its points that does not
//!    lie on the other's boundary.
//!
//! Where closed lines cross, a line may lie inside several of which none is around the other:
//! [`inside_crossing`] finds those, and [`build_crossing`] makes one tree of it in which a line comes
//! below all closed lines around it.
//!
//! Method: sweep over the boxes by their left side, the open boxes kept in rows (textbook plane
//! sweep; Bentley and Wood 1980 for boxes); then the even-odd rule for one point (Shimrat 1962).

use crate::edges::EdgeIndex;
use crate::geometry::{Bounds, LineRef, Point, distance_to_segment, lent};

/// Nearer than this to a boundary counts as on it, mm: half a step of the 1 µm grid on which
/// contours are merged. Larger, and hairline rings would count as touching; 0, and rounding would
/// put a touching hole outside.
const ON_BOUNDARY_MM: f64 = 0.0005;

/// Cells in which crossings are looked for, mm: a few edges of a usual line.
const CELL_MM: f64 = 1.0;

/// For each line the closed line directly around it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ContourTree {
    /// Index of the smallest closed line around each line; `None` at the top.
    pub parent: Vec<Option<usize>>,
}

impl ContourTree {
    /// This tree, raised so that each `line` comes below the closed line `around` it as well, for `pairs` as
    /// [`inside_crossing`] finds them in the lines of these `shapes`: of two that cross and are around
    /// the same line, the larger comes above the smaller.
    fn below(mut self, shapes: &[Shape], pairs: &[(usize, usize)]) -> Self {
        for &(mut line, mut around) in pairs {
            while let Some(parent) = self.parent[line].filter(|&parent| parent != around) {
                if is_smaller(shapes, around, parent) {
                    self.parent[line] = Some(around);
                    (line, around) = (around, parent);
                } else {
                    line = parent;
                }
            }
            self.parent[line] = Some(around);
        }
        self
    }

    /// How many closed lines are around each line; 0 at the top.
    pub fn depths(&self) -> Vec<usize> {
        let mut depth = vec![usize::MAX; self.parent.len()];
        for line in 0..depth.len() {
            let mut path = Vec::new();
            let mut at = Some(line);
            while let Some(here) = at.filter(|&a| depth[a] == usize::MAX) {
                path.push(here);
                at = self.parent[here];
            }
            let top = at.map_or(0, |a| depth[a] + 1);
            for (below, &node) in path.iter().rev().enumerate() {
                depth[node] = top + below;
            }
        }
        depth
    }
    /// The lines directly inside each line, in the order of their index.
    pub fn children(&self) -> Vec<Vec<usize>> {
        let mut children = vec![Vec::new(); self.parent.len()];
        for (line, parent) in self.parent.iter().enumerate() {
            if let Some(parent) = *parent {
                children[parent].push(line);
            }
        }
        children
    }
    /// The lines around `line`, the nearest first.
    pub fn ancestors(&self, line: usize) -> impl Iterator<Item = usize> + '_ {
        let above = |at: usize| self.parent.get(at).copied().flatten();
        std::iter::successors(above(line), move |&at| above(at))
    }
}

/// Finds for each line the smallest closed line around it.
///
/// Lines that cross belong nowhere for certain: such a line gets the parent that holds its box and
/// its first free point. A line without points has no parent.
pub fn build<'a, L>(lines: &'a [L]) -> ContourTree
where
    LineRef<'a>: From<&'a L>,
{
    let lines = lent(lines);
    build_of(&lines, &Shape::of_all(&lines))
}

fn build_of(lines: &[LineRef], shapes: &[Shape]) -> ContourTree {
    let mut by_left: Vec<usize> =
        (0..lines.len()).filter(|&i| !shapes[i].bounds.is_empty()).collect();
    // A box that begins at the same x as one inside it has to be open before: larger first.
    by_left.sort_by(|&a, &b| {
        let (p, q) = (&shapes[a], &shapes[b]);
        p.bounds.min.x.total_cmp(&q.bounds.min.x).then(q.area.total_cmp(&p.area)).then(b.cmp(&a))
    });
    let mut rows = Rows::new(shapes, by_left.len());
    let mut parent = vec![None; lines.len()];
    for &line in &by_left {
        parent[line] = rows.smallest_around(line, lines, shapes);
        if lines[line].closed && shapes[line].area > 0.0 {
            rows.open(line, shapes[line].bounds);
        }
    }
    ContourTree { parent }
}

/// As [`build`], for lines of which closed ones may cross: each comes below all closed lines around it. Heaps
/// of lines too many to compare are taken as [`build`] takes them.
pub fn build_crossing<'a, L>(lines: &'a [L]) -> ContourTree
where
    LineRef<'a>: From<&'a L>,
{
    let lines = lent(lines);
    let shapes = Shape::of_all(&lines);
    let tree = build_of(&lines, &shapes);
    let Some(index) = EdgeIndex::comparable(lines.iter().copied(), CELL_MM) else { return tree };
    let pairs = inside_crossing_of(&lines, &shapes, (&tree, &index.crossing_lines()));
    tree.below(&shapes, &pairs)
}

/// Lines inside closed lines that are not their ancestors in the `tree` of `lines`, as pairs of indices
/// (line, closed line around it). There are such only where closed lines cross: `crossings`, pairs
/// of indices.
pub fn inside_crossing<'a, L>(
    lines: &'a [L],
    tree: &ContourTree,
    crossings: &[(usize, usize)],
) -> Vec<(usize, usize)>
where
    LineRef<'a>: From<&'a L>,
{
    if crossings.is_empty() {
        return Vec::new();
    }
    let lines = lent(lines);
    inside_crossing_of(&lines, &Shape::of_all(&lines), (tree, crossings))
}

fn inside_crossing_of(
    lines: &[LineRef],
    shapes: &[Shape],
    (tree, crossings): (&ContourTree, &[(usize, usize)]),
) -> Vec<(usize, usize)> {
    let children = tree.children();
    let mut pairs = Vec::new();
    for &(a, b) in crossings {
        let (small, large) = if is_smaller(shapes, a, b) { (a, b) } else { (b, a) };
        let around = &shapes[large];
        if around.area == 0.0 || tree.ancestors(small).any(|above| above == large) {
            continue;
        }
        let mut within = children[small].clone();
        while let Some(line) = within.pop() {
            let holds = around.bounds.grown(ON_BOUNDARY_MM).holds(shapes[line].bounds);
            if line != large && holds && lies_inside(lines[line], lines[large]) {
                pairs.push((line, large));
            }
            within.extend(&children[line]);
        }
    }
    pairs.sort_unstable();
    pairs.dedup();
    pairs
}

/// Whether `a` comes below `b` where one is around the other.
fn is_smaller(shapes: &[Shape], a: usize, b: usize) -> bool {
    shapes[a].area < shapes[b].area || (shapes[a].area == shapes[b].area && a < b)
}

/// What the sweep needs to know of a line.
struct Shape {
    bounds: Bounds,
    /// Area inside, mm²; 0 for open lines.
    area: f64,
}

impl Shape {
    fn of_all(lines: &[LineRef]) -> Vec<Self> {
        lines.iter().copied().map(Self::of).collect()
    }

    fn of(line: LineRef) -> Self {
        let area = if line.closed { line.signed_area().abs() } else { 0.0 };
        Self { bounds: line.bounds(), area }
    }
}

/// The boxes that the sweep has met and not yet passed, listed in every row that they cross.
struct Rows {
    lists: Vec<Vec<usize>>,
    bottom: f64,
    height: f64,
}

impl Rows {
    fn new(shapes: &[Shape], count: usize) -> Self {
        let all = shapes.iter().fold(Bounds::EMPTY, |b, s| b.union(s.bounds));
        let rows = ((count as f64).sqrt().ceil() as usize).clamp(1, 1024);
        let height = (all.height() / rows as f64).max(f64::MIN_POSITIVE);
        Self { lists: vec![Vec::new(); rows], bottom: all.min.y, height }
    }
    fn row(&self, y: f64) -> usize {
        (((y - self.bottom) / self.height) as usize).min(self.lists.len() - 1)
    }
    fn open(&mut self, line: usize, bounds: Bounds) {
        for row in self.row(bounds.min.y)..=self.row(bounds.max.y) {
            self.lists[row].push(line);
        }
    }
    /// The smallest open contour around `line`; forgets passed boxes of its row on the way.
    fn smallest_around(
        &mut self,
        line: usize,
        lines: &[LineRef],
        shapes: &[Shape],
    ) -> Option<usize> {
        let own = &shapes[line];
        let row = self.row(own.bounds.min.y);
        self.lists[row].retain(|&other| shapes[other].bounds.max.x >= own.bounds.min.x);
        let mut best: Option<usize> = None;
        // What was opened last is the smallest, where one lies in the other: the rest is not asked.
        for &other in self.lists[row].iter().rev() {
            if best.is_none_or(|best| is_smaller(shapes, other, best))
                && shapes[other].bounds.grown(ON_BOUNDARY_MM).holds(own.bounds)
                && is_smaller(shapes, line, other)
                && lies_inside(lines[line], lines[other])
            {
                best = Some(other);
            }
        }
        best
    }
}

/// Whether `inner` lies inside `outer`, judged by the first vertex or middle of an edge that is not
/// on `outer`'s boundary. A line that runs along the boundary everywhere counts as inside.
fn lies_inside(inner: LineRef, outer: LineRef) -> bool {
    let vertices = inner.points.iter().copied();
    let middles = inner.edges().map(|(a, b)| a.lerp(b, 0.5));
    vertices.chain(middles).find_map(|p| side(p, outer)).unwrap_or(true)
}

/// Whether `p` lies inside `contour`; `None` on its boundary.
fn side(p: Point, contour: LineRef) -> Option<bool> {
    let mut inside = false;
    for (a, b) in contour.edges() {
        let near_y = p.y >= a.y.min(b.y) - ON_BOUNDARY_MM && p.y <= a.y.max(b.y) + ON_BOUNDARY_MM;
        if !near_y {
            continue;
        }
        let near_x = p.x >= a.x.min(b.x) - ON_BOUNDARY_MM && p.x <= a.x.max(b.x) + ON_BOUNDARY_MM;
        if near_x && distance_to_segment(p, a, b) <= ON_BOUNDARY_MM {
            return None;
        }
        if (a.y > p.y) != (b.y > p.y) && p.x < (b.x - a.x) * (p.y - a.y) / (b.y - a.y) + a.x {
            inside = !inside;
        }
    }
    Some(inside)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Contour;

    fn square(x: f64, y: f64, side: f64) -> Contour {
        Contour::closed(vec![
            Point::new(x, y),
            Point::new(x + side, y),
            Point::new(x + side, y + side),
            Point::new(x, y + side),
        ])
    }

    fn parents(lines: &[Contour]) -> Vec<Option<usize>> {
        build(lines).parent
    }

    #[test]
    fn rings_nest_to_any_depth_in_any_order() {
        let mut lines: Vec<Contour> = (0..50)
            .map(|i| square(f64::from(i), f64::from(i), 101.0 - 2.0 * f64::from(i)))
            .collect();
        let tree = build(&lines);
        assert_eq!(tree.parent[0], None);
        assert!((1..50).all(|i| tree.parent[i] == Some(i - 1)));
        assert_eq!(tree.depths()[49], 49);
        assert_eq!(tree.ancestors(3).collect::<Vec<_>>(), [2, 1, 0]);
        lines.reverse();
        assert!((0..49).all(|i| build(&lines).parent[i] == Some(i + 1)));
    }

    #[test]
    fn neighbours_and_touching_outsides_are_no_children() {
        assert_eq!(parents(&[square(0.0, 0.0, 5.0), square(5.0, 0.0, 5.0)]), [None, None]);
        // The small one fills a corner of an L from the outside.
        let l = Contour::closed(
            [(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 2.0), (2.0, 4.0), (0.0, 4.0)]
                .map(|(x, y)| Point::new(x, y))
                .to_vec(),
        );
        assert_eq!(parents(&[l, square(2.0, 2.0, 2.0)]), [None, None]);
    }

    #[test]
    fn a_hole_that_touches_from_inside_is_a_child() {
        assert_eq!(parents(&[square(0.0, 0.0, 5.0), square(0.0, 0.0, 2.0)]), [None, Some(0)]);
        let diamond = Contour::closed(
            [(2.5, 0.0), (5.0, 2.5), (2.5, 5.0), (0.0, 2.5)]
                .map(|(x, y)| Point::new(x, y))
                .to_vec(),
        );
        assert_eq!(parents(&[diamond, square(0.0, 0.0, 5.0)]), [Some(1), None]);
    }

    #[test]
    fn a_contour_drawn_twice_keeps_what_is_inside_before_both() {
        let lines = [square(0.0, 0.0, 5.0), square(1.0, 1.0, 1.0), square(0.0, 0.0, 5.0)];
        assert_eq!(parents(&lines), [Some(2), Some(0), None]);
    }

    #[test]
    fn what_lies_in_two_that_cross_comes_below_both() {
        let wide = Contour::closed(
            [(-2.0, 1.0), (12.0, 1.0), (12.0, 5.0), (-2.0, 5.0)]
                .map(|(x, y)| Point::new(x, y))
                .to_vec(),
        );
        let aside = square(10.5, 2.0, 1.0);
        let lines =
            [square(0.0, 0.0, 10.0), wide, square(2.0, 2.0, 2.0), aside, square(2.5, 2.5, 0.5)];
        let tree = build(&lines);
        assert_eq!(tree.parent, [None, None, Some(1), Some(1), Some(2)]);
        assert_eq!(inside_crossing(&lines, &tree, &[]), []);
        let pairs = inside_crossing(&lines, &tree, &[(0, 1)]);
        assert_eq!(pairs, [(2, 0), (4, 0)]);
        let below = tree.below(&Shape::of_all(&lent(&lines)), &pairs);
        assert_eq!(below.parent, [None, Some(0), Some(1), Some(1), Some(2)]);
    }

    /// Heaps of squares at random, against the definition: what lies wholly in a square comes below it.
    #[test]
    fn in_heaps_each_comes_below_all_around_it() {
        let mut lehmer = crate::lehmer::Lehmer::new();
        let mut draw = |most: f64| most * lehmer.share();
        for _ in 0..50 {
            let lines: Vec<Contour> =
                (0..30).map(|_| square(draw(20.0), draw(20.0), 0.5 + draw(9.0))).collect();
            let boxes: Vec<Bounds> = lines.iter().map(Contour::bounds).collect();
            let tree = build_crossing(&lines);
            for (inner, outer) in (0..30).flat_map(|a| (0..30).map(move |b| (a, b))) {
                if inner != outer && boxes[outer].holds(boxes[inner]) {
                    assert!(tree.ancestors(inner).any(|above| above == outer));
                }
            }
        }
    }

    #[test]
    fn open_lines_have_parents_but_are_none() {
        let open = Contour::open(square(1.0, 1.0, 3.0).points);
        let lines = [square(0.0, 0.0, 5.0), open, square(2.0, 2.0, 1.0)];
        assert_eq!(parents(&lines), [None, Some(0), Some(0)]);
        assert_eq!(build(&lines).children()[0], [1, 2]);
    }

    #[test]
    fn nothing_and_next_to_nothing() {
        assert!(parents(&[]).is_empty());
        let odd = [
            Contour::closed(vec![]),
            Contour::open(vec![Point::ORIGIN]),
            Contour::closed(vec![Point::ORIGIN; 3]),
        ];
        assert_eq!(parents(&odd).len(), 3);
        assert_eq!(parents(&odd)[0], None);
    }
}
