//! How short any order could be at best: [`floor`].
//!
//! Every order enters each line once, and each of its moves is at least the set distance of the two
//! lines: so the least tree over the lines (park position included) is a floor, precedence ignored.
//! The 1-tree with node potentials raises it (Held and Karp, Oper. Res. 18, 1970; Math. Prog. 1,
//! 1971): with any potentials p, the least 1-tree under d(i,j) + p(i) + p(j), less twice the sum of
//! the potentials, is a floor of the closed tour. The potentials are found on short neighbour lists;
//! the certificate is one least tree over *all* pairs (Prim 1957), because a tree over lists alone
//! is too heavy and no floor at all. Potentials keep their sum at any value: no triangle inequality
//! is needed.
//!
//! An order that ends anywhere gets a last node at distance 0 from all. An open line is two nodes
//! with a link of its own that costs nothing and is always in the tree.

use super::boxes::gaps;
use super::cost::Planar;
use super::neighbours::Neighbours;
use super::problem::{NOBODY, Problem, Route};
use super::sheet::Sheet;
use crate::geometry::Bounds;

/// Steps of the ascent: the floor still rises a little at the end.
const STEPS: usize = 80;
/// Beyond so many nodes one pass over all pairs takes longer than the order itself.
pub const MOST_DENSE: usize = 25_000;

/// Which starts a floor holds for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Starts {
    /// The ones of the order at hand.
    Chosen,
    /// Any candidate start.
    Any,
}

/// A floor of the cost of every order of the problem of `sheet`, precedence ignored; 0 when it has more
/// than [`MOST_DENSE`] nodes.
///
/// With [`Starts::Chosen`] for all orders that use the spots of `route`. `ascent` looks for better
/// potentials; without it the floor is that of the plain least tree.
pub fn floor<M: Planar>(
    sheet: &Sheet<M>,
    near: &Neighbours,
    (route, starts): (&Route, Starts),
    ascent: bool,
) -> f64 {
    let n = sheet.problem.len();
    if !(3..=MOST_DENSE).contains(&n) {
        return 0.0;
    }
    let graph = Graph { problem: &sheet.problem, boxes: &sheet.boxes, route, starts };
    let mut potential = vec![0.0; n];
    if ascent {
        graph.ascend(near, &mut potential);
    }
    graph.dense_tree(&potential).0.max(0.0)
}

/// The complete graph of a problem.
struct Graph<'a, M: Planar> {
    problem: &'a Problem<M>,
    /// Around the spots of each node.
    boxes: &'a [Bounds],
    route: &'a Route,
    starts: Starts,
}

impl<M: Planar> Graph<'_, M> {
    fn distance(&self, a: u32, b: u32) -> f64 {
        match self.starts {
            Starts::Any => self.problem.set_cost(a, b),
            Starts::Chosen => {
                let at = |x| (x, self.problem.spot(self.route, x));
                self.problem.cost(at(a), at(b))
            }
        }
    }
    /// The weight of a least spanning tree of the closed tour's 1-tree under `potential`, less twice
    /// the potentials, and each node's degree. The start's two links are its fixed link to the end
    /// node and its least other link, so the 1-tree's special node is the start.
    fn dense_tree(&self, potential: &[f64]) -> (f64, Vec<i32>) {
        let n = self.problem.len() as u32;
        let mut tree = Growing::new(n as usize);
        tree.add(1, 0.0, 0);
        for _ in 2..n {
            let from = tree.last;
            for to in tree.outside() {
                let fixed = self.problem.mate(from) == to;
                let floor = potential[from as usize] + potential[to as usize];
                let limit = tree.price[to as usize];
                let weight = if fixed {
                    f64::NEG_INFINITY
                } else {
                    self.at_most(from, to, limit - floor) + floor
                };
                tree.offer(from, to, weight);
            }
            let (next, link) = tree.nearest();
            let weight = if tree.price[next as usize] == f64::NEG_INFINITY {
                potential[next as usize] + potential[link as usize]
            } else {
                tree.price[next as usize]
            };
            tree.add(next, weight, link);
        }
        self.with_start(tree, potential)
    }
    /// Adds the start: its least link to a node other than the end, and the fixed one.
    fn with_start(&self, mut tree: Growing, potential: &[f64]) -> (f64, Vec<i32>) {
        let (n, end) = (self.problem.len() as u32, self.problem.end());
        let weight = |x: u32| self.distance(0, x) + potential[0] + potential[x as usize];
        let open = (1..n).filter(|&x| x != end);
        let first = open.min_by(|&a, &b| weight(a).total_cmp(&weight(b))).unwrap_or(end);
        let fixed = potential[0] + potential[end as usize];
        let total = tree.total + weight(first) + fixed - 2.0 * potential.iter().sum::<f64>();
        for x in [first, end] {
            tree.degree[x as usize] += 1;
        }
        tree.degree[0] = 2;
        (total, tree.degree)
    }
    /// The distance of two nodes, or any value not below `limit` if it is not below it.
    fn at_most(&self, a: u32, b: u32, limit: f64) -> f64 {
        if self.starts == Starts::Any && a != self.problem.end() && b != self.problem.end() {
            return self.set_cost_below(a, b, limit);
        }
        self.distance(a, b)
    }
    /// The least cost between any spots of two nodes, as far as it is below `limit`; else `limit`. Only
    /// spots are compared whose box lets them be near enough.
    fn set_cost_below(&self, a: u32, b: u32, limit: f64) -> f64 {
        let metric = &self.problem.metric;
        let around = &self.boxes[b as usize];
        let away = |from: &Bounds| {
            let (dx, dy) = gaps(from, around);
            metric.gap(dx, dy)
        };
        if away(&self.boxes[a as usize]) >= limit {
            return limit;
        }
        let mut least = limit;
        for &p in self.problem.spots(a) {
            if away(&Bounds { min: p, max: p }) < least {
                let costs = self.problem.spots(b).iter().map(|&q| metric.between(p, q));
                least = costs.fold(least, f64::min);
            }
        }
        least
    }
    /// Raises the potentials of nodes with more than two links, lowers those with one, on a sparse
    /// graph: the neighbour lists, the order itself and the end's links.
    fn ascend(&self, near: &Neighbours, potential: &mut [f64]) {
        let mut links = self.sparse_links(near);
        let n = self.problem.len();
        let mean = self.problem.total(self.route) / n as f64;
        let mut last = vec![0; n];
        let mut best = (f64::NEG_INFINITY, potential.to_vec());
        for step in 0..STEPS {
            let (total, degree) = self.sparse_tree(&mut links, potential);
            if total > best.0 {
                best = (total, potential.to_vec());
            }
            let size = 0.3 * mean * 0.955f64.powi(step as i32);
            for x in 0..n {
                // Both the present and the last degree steer (Volgenant and Jonker 1982).
                let pull = 0.7 * f64::from(degree[x] - 2) + 0.3 * f64::from(last[x]);
                potential[x] += size * pull;
                last[x] = degree[x] - 2;
            }
        }
        potential.copy_from_slice(&best.1);
    }
    fn sparse_links(&self, near: &Neighbours) -> Vec<(f64, u32, u32, f64)> {
        let n = self.problem.len() as u32;
        let mut pairs: Vec<(u32, u32)> = (1..n)
            .flat_map(|a| near.of(a).iter().map(move |&(b, _)| (a.min(b), a.max(b))))
            .chain(self.route.nodes.windows(2).map(|w| (w[0].min(w[1]), w[0].max(w[1]))))
            .chain((1..n).map(|a| (a, self.problem.mate(a))).filter(|&(a, m)| m != NOBODY && a < m))
            .filter(|&(a, _)| a != 0)
            .collect();
        pairs.sort_unstable();
        pairs.dedup();
        let length = |a: u32, b: u32| {
            if self.problem.mate(a) == b { f64::NEG_INFINITY } else { self.distance(a, b) }
        };
        pairs.into_iter().map(|(a, b)| (0.0, a, b, length(a, b))).collect()
    }
    fn sparse_tree(
        &self,
        links: &mut [(f64, u32, u32, f64)],
        potential: &[f64],
    ) -> (f64, Vec<i32>) {
        for link in links.iter_mut() {
            link.0 = link.3 + potential[link.1 as usize] + potential[link.2 as usize];
        }
        links.sort_unstable_by(|p, q| p.0.total_cmp(&q.0).then((p.1, p.2).cmp(&(q.1, q.2))));
        let mut tree = Growing::new(self.problem.len());
        let mut set: Vec<u32> = (0..self.problem.len() as u32).collect();
        for &(weight, a, b, length) in links.iter() {
            let (p, q) = (root(&mut set, a), root(&mut set, b));
            if p != q {
                set[p.max(q) as usize] = p.min(q);
                let fixed = length == f64::NEG_INFINITY;
                let plain = potential[a as usize] + potential[b as usize];
                tree.join(a, b, if fixed { plain } else { weight });
            }
        }
        self.with_start(tree, potential)
    }
}

fn root(set: &mut [u32], mut x: u32) -> u32 {
    while set[x as usize] != x {
        set[x as usize] = set[set[x as usize] as usize];
        x = set[x as usize];
    }
    x
}

/// A spanning tree that grows.
struct Growing {
    total: f64,
    degree: Vec<i32>,
    price: Vec<f64>,
    link: Vec<u32>,
    open: Vec<u32>,
    last: u32,
}

impl Growing {
    fn new(n: usize) -> Self {
        Self {
            total: 0.0,
            degree: vec![0; n],
            price: vec![f64::INFINITY; n],
            link: vec![0; n],
            open: (1..n as u32).collect(),
            last: 0,
        }
    }
    fn outside(&self) -> Vec<u32> {
        self.open.clone()
    }
    fn offer(&mut self, from: u32, to: u32, weight: f64) {
        if weight < self.price[to as usize] {
            (self.price[to as usize], self.link[to as usize]) = (weight, from);
        }
    }
    fn nearest(&self) -> (u32, u32) {
        let price = |x: &u32| self.price[*x as usize];
        let next = self.open.iter().copied().min_by(|a, b| price(a).total_cmp(&price(b)));
        next.map_or((0, 0), |x| (x, self.link[x as usize]))
    }
    fn add(&mut self, node: u32, weight: f64, link: u32) {
        if let Some(at) = self.open.iter().position(|&x| x == node) {
            self.open.swap_remove(at);
        }
        if link != 0 {
            self.join(node, link, weight);
        }
        self.last = node;
    }
    fn join(&mut self, a: u32, b: u32, weight: f64) {
        self.total += weight;
        self.degree[a as usize] += 1;
        self.degree[b as usize] += 1;
    }
}
