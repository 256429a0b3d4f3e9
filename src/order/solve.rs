//! From a problem to its best route: first tours, descent, precedence, kicks, spots.
//!
//! The greedy, the numbered and the nearest-neighbour tour go through the first descent (of a large problem
//! the shortest and those near to it: on strokes the nearest-neighbour tour ends 1 % below the others, on
//! points the greedy one), and those along rows that look promising; the best one goes on. Then kicks.
//! With precedence all that, and two thirds of the kicks, are free of it; then parents are held back, and a
//! second descent and the rest of the kicks keep the rule from there on.

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
use crate::parallel::{self, Begin};

/// Most kicks of normal effort: a second or two at any size.
const MOST_KICKS: f64 = 500_000.0;
/// With precedence, the part of the kicks that is free of it. Parents held back afterwards cost little
/// (0.7 % of travel on strokes, 3 % on rings in rings), and free kicks win more than others in less time.
const FREELY: f64 = 2.0 / 3.0;
/// Small problems get up to this many kicks: some tenths of a second of processor time. Beyond
/// [`stretches::LARGE`] fewer the more there are, down to those for each node: there reading and cutting take
/// long enough.
const FEW_KICKS: f64 = 30_000.0;
/// Up to this many nodes several searches with different kicks compete before the best one goes on.
const SMALL: usize = 1_000;
/// Tours along rows have to be so much shorter than the numbered one to be worth a descent: like parts
/// in rows reach 0.87 to 0.95, sheets on which rows win nothing 0.97 and more.
const PROMISING: f64 = 0.96;
/// Of the other first tours of a large problem the shortest is worth one, and those that are so near to it:
/// how long they are foretells what becomes of them to 2 or 3 %.
const RIVAL: f64 = 1.05;
/// How many compete.
const TRIALS: usize = 8;

/// How many kicks `effort` allows for `problem`: so many for each node, and more for small ones.
pub fn kicks<M: Metric>(effort: Effort, problem: &Problem<M>) -> u64 {
    let nodes = problem.len() as f64;
    let (per_node, of_few) = match effort {
        Effort::Quick => (0.3, 0.2),
        Effort::Normal => (0.8, 1.0),
        Effort::Long => (12.0, 10.0),
    };
    let beyond = (stretches::LARGE as f64 / nodes).powi(2);
    let few = (nodes * 200.0).min(FEW_KICKS).min(FEW_KICKS * beyond) * of_few;
    (nodes * per_node).max(few).min(MOST_KICKS * of_few) as u64
}

/// First tours that only the plane suggests; they have to keep pairs side by side.
#[derive(Debug, Clone, Copy, Default)]
pub struct Suggested<'a> {
    /// Always the nearest node that may come next.
    pub nearest: Option<&'a [u32]>,
    /// Along rows, one for each pattern.
    pub rows: &'a [Vec<u32>],
}

/// The best route found with so many kicks. Of a large problem only one first tour may descend, on one
/// core: what is to be done [aside](parallel::with_aside) begins before.
pub fn solve<M>(
    problem: &Problem<M>,
    near: &Neighbours,
    suggested: Suggested,
    kicks: u64,
    begin_aside: &Begin,
) -> Route
where
    M: Metric + Sync,
    M::Spot: Send + Sync,
{
    let free = problem.without_precedence();
    let tours = first_tours(problem, near, suggested);
    begin_aside();
    let route = best_of(&free, tours.len(), |i| descended(&free, near, &tours[i]));
    if !problem.has_precedence() {
        return kicked(problem, near, route, kicks);
    }
    let freely = (kicks as f64 * FREELY) as u64;
    let mut route = kicked(&free, near, route, freely);
    route.nodes = hold_back(problem, &route.nodes);
    choose(problem, &mut route);
    let route = descended(problem, near, &route);
    kicked(problem, near, route, kicks - freely)
}

/// What becomes of `route` by so many kicks, or `route` itself if that is no shorter.
fn kicked<M>(problem: &Problem<M>, near: &Neighbours, route: Route, kicks: u64) -> Route
where
    M: Metric + Sync,
    M::Spot: Send + Sync,
{
    if problem.len() >= stretches::LARGE {
        return shorter(problem, route, |start| {
            stretches::kicked(problem, near, start.clone(), kicks)
        });
    }
    let family = Family::of(problem);
    let whole = |route: Route, kicks: u64, seed: u64| {
        shorter(problem, route, |start| {
            let mut search = Search::new(problem, near, start, family.clone()).with_seed(seed);
            search.kick_for(kicks);
            let mut route = search.route();
            choose(problem, &mut route);
            route
        })
    };
    if problem.len() > SMALL {
        return whole(route, kicks, 0);
    }
    let share = kicks / 2 / TRIALS as u64;
    let winner = best_of(problem, TRIALS, |i| whole(route.clone(), share, i as u64 + 1));
    whole(winner, kicks / 2, 0)
}

/// First tours, with the best spots for each: the greedy, the numbered and the nearest-neighbour
/// one (of a large problem the shortest and its [`RIVAL`]s), and those along rows that look [`PROMISING`].
fn first_tours<M>(problem: &Problem<M>, near: &Neighbours, suggested: Suggested) -> Vec<Route>
where
    M: Metric + Sync,
    M::Spot: Send + Sync,
{
    let rows = suggested.rows.iter().map(Vec::as_slice);
    let given: Vec<&[u32]> = rows.chain(suggested.nearest).collect();
    let mut along_rows = parallel::map(2 + given.len(), |i| {
        let mut tour = match i.checked_sub(given.len()) {
            Some(0) => greedy::matched(problem, near),
            Some(_) => greedy::as_numbered(problem),
            None => Route { nodes: given[i].to_vec(), picks: vec![0; problem.len()] },
        };
        choose(problem, &mut tour);
        (problem.total(&tour), tour)
    });
    let mut plain = along_rows.split_off(suggested.rows.len());
    let limit = plain.last().map_or(0.0, |numbered| PROMISING * numbered.0);
    if problem.len() >= stretches::LARGE {
        let shortest = plain.iter().map(|tour| tour.0).fold(f64::INFINITY, f64::min);
        plain.retain(|tour| tour.0 <= RIVAL * shortest);
    }
    along_rows.retain(|tour| tour.0 < limit);
    plain.into_iter().chain(along_rows).map(|t| t.1).collect()
}

/// The shortest of so many routes, made side by side; the first of equals.
fn best_of<M>(problem: &Problem<M>, count: usize, make: impl Fn(usize) -> Route + Sync) -> Route
where
    M: Metric + Sync,
    M::Spot: Send + Sync,
{
    let routes = parallel::map(count, |i| {
        let route = make(i);
        (problem.total(&route), route)
    });
    let shortest = routes.into_iter().min_by(|a, b| a.0.total_cmp(&b.0));
    shortest.map(|s| s.1).unwrap_or_default()
}

/// What becomes of `route`, or `route` itself if that is no shorter.
fn shorter<M: Metric>(
    problem: &Problem<M>,
    route: Route,
    improved: impl FnOnce(&Route) -> Route,
) -> Route {
    let found = improved(&route);
    if problem.total(&found) < problem.total(&route) { found } else { route }
}

/// `start` improved until nothing helps.
fn descended<M: Metric>(problem: &Problem<M>, near: &Neighbours, start: &Route) -> Route {
    let mut search = Search::new(problem, near, start, Family::of(problem));
    search.descend();
    search.route()
}
