//! The search: descent with a work queue, then iterated local search.
//!
//! State: a [`Tour`] and a spot for each node. [`Search::descend`] takes nodes from a queue and tries
//! every move that begins there until none helps (don't-look bits; Bentley 1992). [`Search::kick_for`]
//! then puts some stretches somewhere in another sequence (`kicks`), lets the descent repair their
//! ends, and takes everything back from a journal when the tour got longer. Moves: `exchange`
//! (sequential exchanges of edges, Lin and Kernighan 1973) and `reentry` (another spot; a node moved
//! elsewhere with the best spot there).
//!
//! Invariants: with a family set, every state keeps children before parents; the sum of all gains
//! reported equals the change of the total.

use std::collections::VecDeque;

use super::cost::Metric;
use super::cuts::MOST_CUTS;
use super::entries::choose;
use super::exchange::{Breadth, MIDDLE, NARROW, WIDE};
use super::kicks::Dice;
use super::neighbours::Neighbours;
use super::problem::{NOBODY, Problem, Route};
use super::repair::Bench;
use super::tour::{Exchange, Family, Tour};

/// Gains up to this are taken for rounding: above 0, so that no move can undo another for ever.
pub(super) const EPSILON: f64 = 1e-7;
/// Part of the mean move by which a kick may lengthen the tour at first.
/// Competing searches use different ones: which is best depends on the sheet.
const FORGIVEN: [f64; 4] = [0.2, 0.1, 0.5, 1.0];
/// From so many kicks a node on, each is followed by a wider choice of exchanges.
const MANY_KICKS: u64 = 8;
/// Problems with up to this many pairs of spots choose all spots anew after a kick (a few
/// microseconds); beyond, that costs more than it finds.
const MOST_CHOICES: usize = 10_000;

/// A tour that is being improved.
pub struct Search<'a, M: Metric> {
    pub(super) problem: &'a Problem<M>,
    pub(super) near: &'a Neighbours,
    pub(super) tour: Tour,
    pub(super) spot: Vec<M::Spot>,
    /// The edges that the exchange at hand has removed so far, end by end.
    pub(super) ends: [u32; 2 * MOST_CUTS],
    /// How many ways exchanges follow.
    pub(super) breadth: Breadth,
    /// Kicks of several kinds take turns.
    pub(super) varied: bool,
    family: Option<Family>,
    picks: Vec<u32>,
    old_picks: Vec<(u32, u32)>,
    queue: VecDeque<u32>,
    queued: Vec<bool>,
    pub(super) dice: Dice,
    forgiven: f64,
    pub(super) bench: Bench,
}

impl<'a, M: Metric> Search<'a, M> {
    /// A search that begins with `route`; with `family` it keeps precedence, which `route` then has
    /// to keep.
    pub fn new(
        problem: &'a Problem<M>,
        near: &'a Neighbours,
        route: &Route,
        family: Option<Family>,
    ) -> Self {
        let spot = (0..problem.len() as u32).map(|x| problem.spot(route, x)).collect();
        Self {
            problem,
            near,
            tour: Tour::new(&route.nodes),
            spot,
            ends: [0; 2 * MOST_CUTS],
            breadth: WIDE,
            varied: false,
            family,
            picks: route.picks.clone(),
            old_picks: Vec::new(),
            queue: VecDeque::new(),
            queued: vec![false; problem.len()],
            dice: Dice::new(0x5eed),
            forgiven: FORGIVEN[0],
            bench: Bench::new(problem.len()),
        }
    }
    /// The same search with other kicks.
    pub fn with_seed(mut self, seed: u64) -> Self {
        self.dice = Dice::new(0x5eed ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        self.forgiven = FORGIVEN[seed as usize % FORGIVEN.len()];
        self.varied = seed % 2 == 1;
        self
    }
    /// The tour as it stands, with the end node last if there is one.
    pub fn route(&self) -> Route {
        let mut route = self.round();
        let end = self.problem.end();
        if end != NOBODY && route.nodes.last() != Some(&end) {
            // The start and the end stay side by side: here the end came second.
            route.nodes[1..].reverse();
        }
        route
    }
    /// The tour as it stands, either way round.
    fn round(&self) -> Route {
        Route { nodes: self.tour.in_time(), picks: self.picks.clone() }
    }
    /// Improves everywhere until no move helps, with a wider choice of exchanges than after a kick.
    pub fn descend(&mut self) {
        self.breadth = WIDE;
        for node in self.tour.in_time() {
            self.push(node);
        }
        // Nothing is ever taken back here: a journal of it all would take more memory than the rest.
        while self.work_off_next().is_some() {
            self.keep();
        }
    }
    /// Kicks so many times.
    pub fn kick_for(&mut self, kicks: u64) {
        if self.tour.len() < 8 {
            return;
        }
        let many = kicks >= MANY_KICKS * u64::from(self.tour.len());
        self.breadth = if many { MIDDLE } else { NARROW };
        let forgiven = self.forgiveness();
        for i in 0..kicks {
            let Some(kick) = self.draw_kick() else { continue };
            let lost = self.carry_out(&kick) - self.work_off();
            let allowed = forgiven * (1.0 - i as f64 / kicks as f64) * self.dice.share();
            if lost <= allowed.max(EPSILON) || self.polish(lost) {
                self.keep();
            } else {
                self.undo();
            }
        }
    }
    /// How much longer the tour may get by a kick at the beginning; fades to nothing (threshold
    /// accepting, Dueck and Scheuer 1990).
    fn forgiveness(&self) -> f64 {
        self.forgiven * self.problem.total(&self.round()) / f64::from(self.tour.len())
    }
    /// In a small problem, takes the best spots for the order at hand if that makes up for what was
    /// lost; tells whether it did. Contours that have to change their spots together get there only
    /// this way.
    fn polish(&mut self, lost: f64) -> bool {
        if !(1..=MOST_CHOICES).contains(&self.problem.choices()) {
            return false;
        }
        let mut route = self.round();
        let now = self.problem.total(&route);
        if lost > 0.1 * now {
            return false;
        }
        choose(self.problem, &mut route);
        let won = now - self.problem.total(&route);
        if won < lost + EPSILON {
            return false;
        }
        for node in 0..self.tour.len() {
            let pick = route.picks[node as usize];
            if pick != self.picks[node as usize] {
                self.pick(node, pick);
            }
        }
        true
    }
    fn work_off(&mut self) -> f64 {
        std::iter::from_fn(|| self.work_off_next()).sum()
    }
    /// Improves at the next node of the queue until no move there helps; tells the gain.
    fn work_off_next(&mut self) -> Option<f64> {
        let node = self.queue.pop_front()?;
        self.queued[node as usize] = false;
        Some(std::iter::from_fn(|| self.improve(node)).sum())
    }
    fn improve(&mut self, node: u32) -> Option<f64> {
        self.reenter(node).or_else(|| self.exchange_from(node)).or_else(|| self.relocate(node))
    }
    pub(super) fn push(&mut self, node: u32) {
        if !self.queued[node as usize] {
            self.queued[node as usize] = true;
            self.queue.push_back(node);
        }
    }
    fn keep(&mut self) {
        self.tour.keep();
        self.old_picks.clear();
    }
    fn undo(&mut self) {
        self.tour.undo();
        while let Some((node, pick)) = self.old_picks.pop() {
            self.picks[node as usize] = pick;
            self.spot[node as usize] = self.problem.spots(node)[pick as usize];
        }
    }
    pub(super) fn pick(&mut self, node: u32, pick: u32) {
        self.old_picks.push((node, self.picks[node as usize]));
        self.picks[node as usize] = pick;
        self.spot[node as usize] = self.problem.spots(node)[pick as usize];
    }
    /// The cost of the move between two nodes at their present spots.
    #[inline(always)]
    pub(super) fn cost(&self, a: u32, b: u32) -> f64 {
        self.problem.cost((a, self.spot[a as usize]), (b, self.spot[b as usize]))
    }
    pub(super) fn allows(&self, exchange: &Exchange) -> bool {
        self.family.as_ref().is_none_or(|f| f.allows(&self.tour, exchange))
    }
}
