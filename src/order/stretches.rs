//! Kicks for large orders, stretch by stretch on all cores: [`kicked`].
//!
//! The order is cut into stretches of about [`STRETCH`] nodes; each becomes a problem of its own
//! whose first and last place stay (the spots just before and just after it), and is kicked there
//! (tour segment partitioning, Helsgaun 2009). The stretches do not know of each other, so they run
//! side by side. In the next round they are cut elsewhere, so that their ends lie within a stretch once.
//! (A descent over the whole order after that found less than 0.1 % in a tenth of the time.)
//!
//! Invariants: what comes before what in different stretches never changes within a round, so inner
//! first is kept when each stretch keeps it; the number of threads does not change the result.

use super::cost::Metric;
use super::neighbours::Neighbours;
use super::problem::{NOBODY, Problem, Route};
use super::search::Search;
use super::tour::Family;
use crate::parallel;

/// Nodes in a stretch, about.
const STRETCH: usize = 5_000;
/// How often the order is cut into stretches, each time elsewhere.
const ROUNDS: usize = 2;
/// Orders below this many nodes are kicked as a whole.
pub(super) const LARGE: usize = 4_000;

/// `route` after so many kicks, spread over its stretches.
pub(super) fn kicked<M>(problem: &Problem<M>, near: &Neighbours, route: Route, kicks: u64) -> Route
where
    M: Metric + Sync,
    M::Spot: Send + Sync,
{
    let per_node = kicks as f64 / (ROUNDS as f64 * problem.len() as f64);
    let mut route = route;
    for round in 0..ROUNDS {
        let stretches = stretches(problem, &route, round);
        let number = numbered(&route, &stretches);
        let done = parallel::map(stretches.len(), |i| {
            let stretch = Stretch::new(problem, near, &route, (stretches[i], &number));
            stretch.kicked((stretch.problem.len() as f64 * per_node) as u64)
        });
        for (&(from, _), (nodes, picks)) in stretches.iter().zip(done) {
            for (i, (node, pick)) in nodes.into_iter().zip(picks).enumerate() {
                route.nodes[from + i] = node;
                route.picks[node as usize] = pick;
            }
        }
    }
    route
}

/// Where stretches begin and end in the order: the start and the end node are in none, pairs are
/// not parted. In every other round they end in the middle of those of the round before.
fn stretches<M: Metric>(problem: &Problem<M>, route: &Route, round: usize) -> Vec<(usize, usize)> {
    let (first, last) = (1, route.nodes.len() - usize::from(problem.end() != NOBODY));
    let count = (route.nodes.len() / STRETCH).max(2);
    let size = (last - first).div_ceil(count);
    let shift = if round % 2 == 1 { size / 2 } else { 0 };
    let cut = |i: usize| {
        let cut = (first + (i * size).saturating_sub(shift)).min(last);
        let parts_pair = cut < last && problem.mate(route.nodes[cut - 1]) == route.nodes[cut];
        cut + usize::from(parts_pair)
    };
    (0..=count).map(|i| (cut(i), cut(i + 1))).filter(|(from, to)| to > from).collect()
}

/// For each node the number of its stretch and its own number there, from 1.
fn numbered(route: &Route, stretches: &[(usize, usize)]) -> Vec<(u32, u32)> {
    let mut number = vec![(NOBODY, 0); route.nodes.len()];
    for (k, &(from, to)) in stretches.iter().enumerate() {
        for (i, &node) in route.nodes[from..to].iter().enumerate() {
            number[node as usize] = (k as u32, i as u32 + 1);
        }
    }
    number
}

/// A stretch as a problem of its own: the place before it, its nodes in their order, the place
/// after it.
struct Stretch<'a, M: Metric> {
    problem: Problem<M>,
    near: Neighbours,
    nodes: &'a [u32],
    picks: Vec<u32>,
}

impl<'a, M: Metric> Stretch<'a, M> {
    fn new(
        whole: &Problem<M>,
        near: &Neighbours,
        route: &'a Route,
        ((from, to), number): ((usize, usize), &[(u32, u32)]),
    ) -> Self {
        let nodes = &route.nodes[from..to];
        let own = number[nodes[0] as usize].0;
        let inside = |node: u32| {
            let there = number.get(node as usize).filter(|n| n.0 == own);
            there.map(|n| n.1)
        };
        let (before, after) = (route.nodes[from - 1], route.nodes.get(to).copied().unwrap_or(0));
        let mut problem = Problem::new(whole.metric.clone(), &[whole.spot(route, before)]);
        for &node in nodes {
            problem.add(whole.spots(node));
        }
        for (i, &node) in nodes.iter().enumerate() {
            if let Some(parent) = inside(whole.parent(node)) {
                problem.set_parent(i as u32 + 1, parent);
            }
            if let Some(mate) = inside(whole.mate(node)) {
                problem.join(i as u32 + 1, mate);
            }
        }
        if after == whole.end() {
            problem.add_end();
        } else {
            problem.add_last(whole.spot(route, after));
        }
        let inner = |node: u32| {
            near.of(node).iter().filter_map(move |&(other, floor)| Some((inside(other)?, floor)))
        };
        let all = std::iter::once(before).chain(nodes.iter().copied()).chain([after]);
        let near = Neighbours::of_lists(all.map(inner));
        let picks = nodes.iter().map(|&node| route.picks[node as usize]);
        let picks = std::iter::once(0).chain(picks).chain([0]).collect();
        Self { problem, near, nodes, picks }
    }
    /// The nodes in their new order and the pick of each.
    fn kicked(&self, kicks: u64) -> (Vec<u32>, Vec<u32>) {
        let nodes = (0..self.problem.len() as u32).collect();
        let start = Route { nodes, picks: self.picks.clone() };
        let mut search = Search::new(&self.problem, &self.near, &start, Family::of(&self.problem));
        search.kick_for(kicks);
        let route = search.route();
        let inner = &route.nodes[1..route.nodes.len() - 1];
        let node = |&x: &u32| self.nodes[x as usize - 1];
        (inner.iter().map(node).collect(), inner.iter().map(|&x| route.picks[x as usize]).collect())
    }
}
