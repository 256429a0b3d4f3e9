//! Moves that choose a spot: another spot where a node stands, and a node moved elsewhere.
//!
//! A contour moved into a gap is priced with its best spot for that gap, not with its present one:
//! beside a long link that is what makes the move worth while.

use super::cost::Metric;
use super::problem::NOBODY;
use super::search::{EPSILON, Search};

impl<M: Metric> Search<'_, M> {
    /// Takes the best spot of `node` between its present neighbours; tells the gain.
    pub(super) fn reenter(&mut self, node: u32) -> Option<f64> {
        if self.problem.spots(node).len() < 2 {
            return None;
        }
        let (before, after) = (self.tour.prev(node), self.tour.next(node));
        let now = self.cost(before, node) + self.cost(node, after);
        if now - self.cost(before, after) <= EPSILON {
            return None;
        }
        let (best, pick) = self.best_spot(node, before, after);
        if best >= now - EPSILON {
            return None;
        }
        self.pick(node, pick);
        self.push(before);
        self.push(after);
        Some(now - best)
    }
    /// The least cost of a visit of `node` between two others, and the spot for it.
    fn best_spot(&self, node: u32, before: u32, after: u32) -> (f64, u32) {
        let (p, q) = (self.spot[before as usize], self.spot[after as usize]);
        let mut best = (f64::INFINITY, 0);
        for (i, &spot) in self.problem.spots(node).iter().enumerate() {
            let arrive = self.problem.cost((before, p), (node, spot));
            if arrive >= best.0 {
                continue;
            }
            let price = arrive + self.problem.cost((node, spot), (after, q));
            if price < best.0 {
                best = (price, i as u32);
            }
        }
        best
    }
    /// Moves `node` to where its visit costs least with the best spot there; tells the gain.
    pub(super) fn relocate(&mut self, node: u32) -> Option<f64> {
        if self.problem.spots(node).len() < 2 || self.problem.mate(node) != NOBODY || node == 0 {
            return None;
        }
        let (before, after) = (self.tour.prev(node), self.tour.next(node));
        let saved = self.cost(before, node) + self.cost(node, after) - self.cost(before, after);
        let near = self.near;
        for &(by, floor) in near.of(node) {
            if f64::from(floor) >= saved {
                break;
            }
            for (from, to) in [(by, self.tour.next(by)), (self.tour.prev(by), by)] {
                if from == node || to == node || self.problem.mate(from) == to {
                    continue;
                }
                // With the present spot it would cost this much; another cannot change more than that.
                let present = self.cost(from, node) + self.cost(node, to) - self.cost(from, to);
                if present - 2.0 * self.problem.slack(node) >= saved {
                    continue;
                }
                let (detour, pick) = self.best_spot(node, from, to);
                let gain = saved + self.cost(from, to) - detour;
                if gain > EPSILON && self.place_between(node, (from, to), pick) {
                    return Some(gain);
                }
            }
        }
        None
    }
    fn place_between(&mut self, node: u32, (from, to): (u32, u32), pick: u32) -> bool {
        let (before, after) = (self.tour.prev(node), self.tour.next(node));
        let ends = [before, node, from, to, node, after];
        let Some(exchange) = self.tour.link_up(&ends) else { return false };
        if !self.allows(&exchange) {
            return false;
        }
        self.tour.apply(&exchange);
        self.pick(node, pick);
        for end in ends {
            self.push(end);
        }
        true
    }
}
