//! The nearest-neighbour order: always the nearest line that may be cut next, entered where it is
//! nearest. It is what the search has to beat, and what it falls back to when it does not.
//!
//! Exact at every step: a tree of boxes holds the nodes whose children are all done.

use super::boxes::{BoxTree, Seek, gaps};
use super::cost::Planar;
use super::problem::{NOBODY, Problem, Route};
use super::sheet::Sheet;
use crate::geometry::{Bounds, Point};

/// The nearest-neighbour order of `sheet`.
pub fn order<M: Planar>(sheet: &Sheet<M>) -> Route {
    let problem = &sheet.problem;
    let mut ready = Ready::new(sheet);
    let mut route = Route { nodes: vec![0], picks: vec![0; problem.len()] };
    ready.take(problem, 0);
    ready.take(problem, problem.end());
    let mut at = problem.spots(0)[0];
    while let Some((node, pick)) = ready.nearest_to(sheet, at) {
        route.picks[node as usize] = pick;
        at = problem.spot(&route, node);
        route.nodes.push(node);
        ready.take(problem, node);
        let mate = problem.mate(node);
        if mate != NOBODY {
            at = problem.spot(&route, mate);
            route.nodes.push(mate);
            ready.take(problem, mate);
        }
    }
    route.nodes.push(problem.end());
    route
}

/// The nodes that may come next.
struct Ready {
    tree: BoxTree,
    /// Children not yet visited, by node.
    waiting: Vec<u32>,
}

impl Ready {
    fn new<M: Planar>(sheet: &Sheet<M>) -> Self {
        let problem = &sheet.problem;
        let mut waiting = vec![0; problem.len()];
        for node in 0..problem.len() as u32 {
            if let Some(count) = waiting.get_mut(problem.parent(node) as usize) {
                *count += 1;
            }
        }
        let mut tree = BoxTree::new(sheet.boxes.clone());
        for (node, &count) in waiting.iter().enumerate() {
            tree.set(node, count == 0);
        }
        Self { tree, waiting }
    }
    /// Takes `node` out; its parent may come in.
    fn take<M: Planar>(&mut self, problem: &Problem<M>, node: u32) {
        self.tree.set(node as usize, false);
        let parent = problem.parent(node) as usize;
        if let Some(count) = self.waiting.get_mut(parent) {
            *count -= 1;
            if *count == 0 {
                self.tree.set(parent, true);
            }
        }
    }
    fn nearest_to<M: Planar>(&self, sheet: &Sheet<M>, at: Point) -> Option<(u32, u32)> {
        let from = Bounds::of(&[at]);
        let mut seek = FromPoint { sheet, from, best: f64::INFINITY, found: None };
        self.tree.search(&mut seek);
        seek.found
    }
}

struct FromPoint<'a, M: Planar> {
    sheet: &'a Sheet<M>,
    from: Bounds,
    best: f64,
    found: Option<(u32, u32)>,
}

impl<M: Planar> Seek for FromPoint<'_, M> {
    fn promise(&self, bounds: &Bounds) -> Option<f64> {
        let (dx, dy) = gaps(&self.from, bounds);
        Some(self.sheet.problem.metric.gap(dx, dy)).filter(|&price| price < self.best)
    }
    fn meet(&mut self, index: usize) {
        for (pick, &spot) in self.sheet.problem.spots(index as u32).iter().enumerate() {
            let price = self.sheet.problem.metric.between(self.from.min, spot);
            if price < self.best {
                (self.best, self.found) = (price, Some((index as u32, pick as u32)));
            }
        }
    }
}
