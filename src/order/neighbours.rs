//! For each node the few others that may become its neighbours: [`Neighbours`].
//!
//! Distances are set distances: the least between any spots of the two. The plain nearest are not
//! enough: they fill up with siblings and with the near side of a cluster. So each list holds the
//! nearest, the nearest of each quadrant (Miller and Pekny 1995; Johnson and McGeoch 1997), and the
//! nearest of another family (another parent, not its own child), which links parts with holes to
//! the next part. Lists are sorted by distance.

use super::boxes::{BoxTree, Seek, gaps};
use super::cost::{Metric, Planar};
use super::problem::{NOBODY, Problem};
use super::sheet::Sheet;
use crate::geometry::{Bounds, Point};
use crate::parallel;

/// Plain nearest neighbours: more of them make the search slower before they make it better.
const NEAREST: usize = 5;
/// Neighbours in each quadrant: without them a cluster's nodes know nobody outside it.
const PER_QUADRANT: usize = 1;
/// Neighbours of another family.
const OTHER_FAMILY: usize = 1;
/// After meeting so many nodes another family is not looked for any further.
const FAMILY_PATIENCE: usize = 100;
/// After so many nodes a search ends: only heaps of overlapping contours get there.
const PATIENCE: usize = 1500;

/// Neighbour lists of all nodes.
#[derive(Debug, Clone, Default)]
pub struct Neighbours {
    first: Vec<u32>,
    list: Vec<(u32, f32)>,
}

impl Neighbours {
    /// The neighbours of `node` with a floor of their set distance, the nearest first.
    pub fn of(&self, node: u32) -> &[(u32, f32)] {
        &self.list[self.first[node as usize] as usize..self.first[node as usize + 1] as usize]
    }
    /// The lists of a sheet.
    pub fn on_sheet<M: Planar>(sheet: &Sheet<M>) -> Self {
        let problem = &sheet.problem;
        let mut tree = BoxTree::new(sheet.boxes.clone());
        tree.set(problem.end() as usize, false);
        let families = problem.has_precedence();
        let list_of = |node: u32| {
            if node == problem.end() {
                return Vec::new();
            }
            let mut seek = Around::new(sheet, node, families);
            tree.search(&mut seek);
            seek.finish()
        };
        let lists = parallel::map(problem.len(), |node| list_of(node as u32));
        let floors = |list: Vec<(f64, u32)>| list.into_iter().map(|(d, other)| (other, floor(d)));
        Self::of_lists(lists.into_iter().map(floors))
    }
    /// The lists as they are given, node by node.
    pub fn of_lists(lists: impl Iterator<Item = impl Iterator<Item = (u32, f32)>>) -> Self {
        let mut all = Self { first: vec![0], list: Vec::new() };
        for list in lists {
            all.list.extend(list);
            all.first.push(all.list.len() as u32);
        }
        all
    }
    /// The lists of any problem, every pair looked at.
    pub fn of_all_pairs<M: Metric>(problem: &Problem<M>, keep: usize) -> Self {
        let n = problem.len() as u32;
        let lists = (0..n).map(|node| {
            let others =
                (0..n).filter(|&o| o != node && o != problem.end() && node != problem.end());
            let mut found: Vec<(f64, u32)> =
                others.map(|other| (problem.set_cost(node, other), other)).collect();
            found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            found.truncate(keep);
            found.into_iter().map(|(d, other)| (other, floor(d)))
        });
        Self::of_lists(lists)
    }
}

/// A single-precision number not above `d`.
fn floor(d: f64) -> f32 {
    (d * (1.0 - 1e-6)) as f32
}

/// The search around one node.
struct Around<'a, M: Planar> {
    sheet: &'a Sheet<M>,
    node: u32,
    own: Bounds,
    center: Point,
    met: usize,
    nearest: Best<NEAREST>,
    quadrants: [Best<PER_QUADRANT>; 4],
    family: Best<OTHER_FAMILY>,
    families: bool,
}

impl<'a, M: Planar> Around<'a, M> {
    fn new(sheet: &'a Sheet<M>, node: u32, families: bool) -> Self {
        let own = sheet.boxes[node as usize];
        Self {
            sheet,
            node,
            own,
            center: own.center(),
            met: 0,
            nearest: Best::new(),
            quadrants: [const { Best::new() }; 4],
            family: Best::new(),
            families,
        }
    }
    fn is_other_family(&self, other: u32) -> bool {
        let parent = |node| self.sheet.problem.parent(node);
        self.families
            && parent(other) != parent(self.node)
            && parent(other) != self.node
            && parent(self.node) != other
    }
    /// The set distance to another node if it is below `limit`. Spots too far from the other's box are
    /// not compared with its spots.
    fn distance_below(&self, limit: f64, other: u32) -> Option<f64> {
        let (problem, there) = (&self.sheet.problem, &self.sheet.boxes[other as usize]);
        let is_near = |here: &Bounds, least: f64| {
            let (dx, dy) = gaps(here, there);
            problem.metric.gap(dx, dy) < least
        };
        if !is_near(&self.own, limit) {
            return None;
        }
        let mut least = limit;
        for &p in problem.spots(self.node) {
            if is_near(&Bounds { min: p, max: p }, least) {
                let costs = problem.spots(other).iter().map(|&q| problem.metric.between(p, q));
                least = costs.fold(least, f64::min);
            }
        }
        (least < limit).then_some(least)
    }
    fn finish(self) -> Vec<(f64, u32)> {
        let mut found: Vec<(f64, u32)> = self.nearest.found().collect();
        found.extend(self.quadrants.iter().flat_map(Best::found));
        found.extend(self.family.found());
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        found.dedup_by_key(|f| f.1);
        found
    }
}

impl<M: Planar> Seek for Around<'_, M> {
    fn promise(&self, bounds: &Bounds) -> Option<f64> {
        let (dx, dy) = gaps(&self.own, bounds);
        let price = self.sheet.problem.metric.gap(dx, dy);
        let (left, right) = (bounds.min.x < self.center.x, bounds.max.x >= self.center.x);
        let (low, high) = (bounds.min.y < self.center.y, bounds.max.y >= self.center.y);
        let wanted = price < self.nearest.worst()
            || (left && low && price < self.quadrants[0].worst())
            || (right && low && price < self.quadrants[1].worst())
            || (left && high && price < self.quadrants[2].worst())
            || (right && high && price < self.quadrants[3].worst())
            || (self.families && self.met < FAMILY_PATIENCE && price < self.family.worst());
        (wanted && self.met < PATIENCE).then_some(price)
    }
    fn meet(&mut self, index: usize) {
        let other = index as u32;
        if other == self.node || self.sheet.problem.mate(self.node) == other {
            return;
        }
        self.met += 1;
        let to = self.sheet.boxes[index].center();
        let quadrant = usize::from(to.x >= self.center.x) + 2 * usize::from(to.y >= self.center.y);
        let is_other_family = self.is_other_family(other);
        let mut worst = self.nearest.worst().max(self.quadrants[quadrant].worst());
        if is_other_family {
            worst = worst.max(self.family.worst());
        }
        let Some(distance) = self.distance_below(worst, other) else { return };
        self.nearest.offer(distance, other);
        self.quadrants[quadrant].offer(distance, other);
        if is_other_family {
            self.family.offer(distance, other);
        }
    }
}

/// The `N` nearest of all that were offered.
struct Best<const N: usize> {
    kept: [(f64, u32); N],
}

impl<const N: usize> Best<N> {
    const fn new() -> Self {
        Self { kept: [(f64::INFINITY, NOBODY); N] }
    }
    fn worst(&self) -> f64 {
        self.kept[N - 1].0
    }
    fn offer(&mut self, distance: f64, node: u32) {
        if distance >= self.worst() {
            return;
        }
        let at = self.kept.partition_point(|k| k.0 <= distance);
        self.kept[at..].rotate_right(1);
        self.kept[at] = (distance, node);
    }
    fn found(&self) -> impl Iterator<Item = (f64, u32)> + '_ {
        self.kept.iter().copied().filter(|k| k.1 != NOBODY)
    }
}
