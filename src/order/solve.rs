//! From a problem to its best route: first tours, descent, precedence, kicks, spots.
//!
//! Greedy and numbered tours both go through the first descent; the better one goes on. With
//! precedence the first descent is free of it, then parents are held back and a second descent keeps
//! the rule from there on.

use super::cost::Metric;
use super::entries::choose;
use super::greedy;
use super::neighbours::Neighbours;
use super::precedence::hold_back;
use super::problem::{Problem, Route};
use super::search::Search;
use super::settings::Effort;
use super::stretches;
use super::tour::Family;

/// Most kicks of normal effort: a second or two at any size.
const MOST_KICKS: f64 = 500_000.0;

/// Kicks for each node at normal effort, twice as many with precedence (where every other one is
/// not allowed and costs little): 10,000 lines stay under a second.
const PER_NODE: f64 = 2.0;
/// Small problems get up to this many kicks: a tenth of a second.
const FEW_KICKS: f64 = 20_000.0;
/// Up to this many nodes several searches with different kicks compete before the best one goes on.
const SMALL: usize = 1_000;
/// How many compete.
const TRIALS: u64 = 8;

/// How many kicks `effort` allows for `problem`.
pub fn kicks<M: Metric>(effort: Effort, problem: &Problem<M>) -> u64 {
    let nodes = problem.len() as f64;
    let per_node = if problem.has_precedence() { 2.0 * PER_NODE } else { PER_NODE };
    let normal = (nodes * per_node).max((nodes * 200.0).min(FEW_KICKS)).min(MOST_KICKS);
    match effort {
        Effort::Quick => (normal / 5.0) as u64,
        Effort::Normal => normal as u64,
        Effort::Long => (normal * 10.0) as u64,
    }
}

/// The best route found with so many kicks.
pub fn solve<M>(problem: &Problem<M>, near: &Neighbours, kicks: u64) -> Route
where
    M: Metric + Sync,
    M::Spot: Send + Sync,
{
    let family = Family::of(problem);
    let mut best: Option<(f64, Route)> = None;
    for mut start in [greedy::matched(problem, near), greedy::as_numbered(problem)] {
        choose(problem, &mut start);
        let found = descended(problem, near, start, family.as_ref());
        let total = problem.total(&found);
        if best.as_ref().is_none_or(|b| total < b.0) {
            best = Some((total, found));
        }
    }
    let Some((_, route)) = best else { return Route::default() };
    if problem.len() >= stretches::LARGE {
        let mut found = stretches::kicked(problem, near, route.clone(), kicks);
        choose(problem, &mut found);
        return if problem.total(&found) < problem.total(&route) { found } else { route };
    }
    let trials = if problem.len() <= SMALL { TRIALS } else { 0 };
    let mut winner = (problem.total(&route), route.clone());
    for seed in 0..trials {
        let found = kicked(problem, near, &route, (kicks / 2 / trials, seed + 1), family.as_ref());
        let total = problem.total(&found);
        if total < winner.0 {
            winner = (total, found);
        }
    }
    let rest = if trials > 0 { kicks / 2 } else { kicks };
    let last = kicked(problem, near, &winner.1, (rest, 0), family.as_ref());
    if problem.total(&last) < winner.0 { last } else { winner.1 }
}

/// `start` after so many kicks drawn from a seed, with the best spots for its order.
fn kicked<M: Metric>(
    problem: &Problem<M>,
    near: &Neighbours,
    start: &Route,
    (kicks, seed): (u64, u64),
    family: Option<&Family>,
) -> Route {
    let mut search = Search::new(problem, near, start, family.cloned()).with_seed(seed);
    search.kick_for(kicks);
    let mut route = search.route();
    choose(problem, &mut route);
    route
}

/// `start` improved until nothing helps, with precedence kept if there is any.
fn descended<M: Metric>(
    problem: &Problem<M>,
    near: &Neighbours,
    start: Route,
    family: Option<&Family>,
) -> Route {
    let mut free = Search::new(problem, near, &start, None);
    free.descend();
    let mut route = free.route();
    if let Some(family) = family {
        route.nodes = hold_back(problem, &route.nodes);
        choose(problem, &mut route);
        let mut kept = Search::new(problem, near, &route, Some(family.clone()));
        kept.descend();
        route = kept.route();
    }
    route
}
