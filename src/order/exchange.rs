//! Sequential exchanges of edges (Lin and Kernighan 1973), up to [`MOST_CUTS`] at a time.
//!
//! Beginning with an edge t1–t2, remove it and add t2–t3 to a neighbour, remove an edge t3–t4, and so
//! on while the sum of what was removed exceeds the sum of what was added; closing t2k–t1 makes a
//! tour or not. Whether it does, and whether it keeps precedence, is told from places in the array
//! alone (Helsgaun 2000), so nothing is touched before a gain is certain. The first three edges may
//! pass through states that are no tour; deeper steps go on from tours only. Among those exchanges
//! is the one that moves a stretch without turning it round (Or 1976; path-preserving 3-exchange of
//! Gambardella and Dorigo 2000): the move that precedence needs most.

use super::cost::Metric;
use super::search::{EPSILON, Search};
use super::tour::MOST_CUTS;

/// How many ways are followed after so many removed edges. At equal time 3, 2, 1 beats wider and
/// deeper choices on all sets measured.
const BREADTH: [usize; MOST_CUTS + 1] = [0, 3, 2, 1, 0, 0];

/// One way to go on: gain so far, the neighbour, the other end of its removed edge.
type Way = (f64, u32, u32);

impl<M: Metric> Search<'_, M> {
    /// Carries out the first exchange found that begins at `node` and gains; tells the gain.
    pub(super) fn exchange_from(&mut self, node: u32) -> Option<f64> {
        for other in [self.tour.next(node), self.tour.prev(node)] {
            if self.problem.mate(node) == other {
                continue;
            }
            (self.ends[0], self.ends[1]) = (node, other);
            let removed = self.cost(node, other);
            if let Some(gain) = self.extend(1, removed) {
                return Some(gain);
            }
        }
        None
    }
    /// Goes on after `cuts` edges were removed with `gain` in hand.
    fn extend(&mut self, cuts: usize, gain: f64) -> Option<f64> {
        let mut ways: [Way; 3] = [(f64::NEG_INFINITY, 0, 0); 3];
        let breadth = BREADTH[cuts];
        let (first, last) = (self.ends[0], self.ends[2 * cuts - 1]);
        let near = self.near;
        for &(via, floor) in near.of(last) {
            if gain - f64::from(floor) <= EPSILON {
                break;
            }
            let (after, before) = (self.tour.next(via), self.tour.prev(via));
            let left = gain - self.cost(last, via);
            if left <= EPSILON || after == last || before == last {
                continue;
            }
            for to in [after, before] {
                if to == first || self.problem.mate(via) == to || self.is_removed(cuts, via, to) {
                    continue;
                }
                let open = left + self.cost(via, to);
                let closed = open - self.cost(to, first);
                if closed > EPSILON
                    && let Some(more) = self.close(cuts, (via, to), closed)
                {
                    return Some(more);
                }
                if breadth == 0 {
                    continue;
                }
                let worst = ways[breadth - 1].0;
                if open > worst {
                    let at = ways[..breadth].partition_point(|w| w.0 >= open);
                    ways[at..breadth].rotate_right(1);
                    ways[at] = (open, via, to);
                }
            }
        }
        self.follow(cuts, &ways[..breadth])
    }
    fn follow(&mut self, cuts: usize, ways: &[Way]) -> Option<f64> {
        if ways.is_empty() {
            return None;
        }
        for &(open, via, to) in ways {
            if open <= EPSILON {
                return None;
            }
            (self.ends[2 * cuts], self.ends[2 * cuts + 1]) = (via, to);
            let is_tour = cuts < 2 || self.tour.link_up(&self.ends[..2 * cuts + 2]).is_some();
            if is_tour && let Some(gain) = self.extend(cuts + 1, open) {
                return Some(gain);
            }
        }
        None
    }
    fn is_removed(&self, cuts: usize, a: u32, b: u32) -> bool {
        let removed = |e: &[u32]| (e[0] == a && e[1] == b) || (e[0] == b && e[1] == a);
        self.ends[..2 * cuts].chunks_exact(2).any(removed)
    }
    /// Carries out the exchange that also removes `via`–`to` and closes there with `gain`, or, when
    /// precedence forbids a turned stretch, its repaired form; tells the gain.
    fn close(&mut self, cuts: usize, (via, to): (u32, u32), gain: f64) -> Option<f64> {
        (self.ends[2 * cuts], self.ends[2 * cuts + 1]) = (via, to);
        let count = 2 * cuts + 2;
        let exchange = self.tour.link_up(&self.ends[..count])?;
        if !self.allows(&exchange) {
            return if cuts == 1 { self.turn_and_repair(&exchange) } else { None };
        }
        self.tour.apply(&exchange);
        for i in 0..count {
            self.push(self.ends[i]);
        }
        Some(gain)
    }
}
