//! Sequential exchanges of edges (Lin and Kernighan 1973), up to [`MOST_CUTS`] at a time.
//!
//! Beginning with an edge t1–t2, remove it and add t2–t3 to a neighbour, remove an edge t3–t4, and so
//! on while the sum of what was removed exceeds the sum of what was added; closing t2k–t1 makes a
//! tour or not. Whether it does (`cuts`), and whether it keeps precedence, is told from places in the
//! array alone, so nothing is touched before a gain is certain. The first three edges may pass
//! through a state that is no tour; deeper steps go on from tours only. Among those exchanges is the
//! one that moves a stretch without turning it round (Or 1976; path-preserving 3-exchange of
//! Gambardella and Dorigo 2000): the move that precedence needs most.

use super::cost::Metric;
use super::cuts::{Cuts, MOST_CUTS, Senses};
use super::search::{EPSILON, Search};

/// How many ways are followed after so many removed edges.
pub(super) type Breadth = [usize; MOST_CUTS + 1];
/// A descent over all nodes follows many (five at each of five levels, after Helsgaun 2000): it is
/// worth more than the kicks that its time would pay for. Clusters and nested sheets come out 1 to 4 %
/// shorter than with three, two and one.
pub(super) const WIDE: Breadth = [0, 5, 5, 5, 5, 5, 0, 0];
/// After a kick, few: nine times in ten the descent only takes the kick back.
pub(super) const NARROW: Breadth = [0, 2, 1, 0, 0, 0, 0, 0];
/// After a kick when there are many for each node, and the easy gains are made.
pub(super) const MIDDLE: Breadth = [0, 3, 2, 1, 0, 0, 0, 0];
/// The largest breadth.
const WIDEST: usize = 5;

/// One way to go on.
#[derive(Clone, Copy)]
struct Way {
    /// The gain so far.
    open: f64,
    /// The neighbour.
    via: u32,
    /// The other end of its edge that is removed.
    to: u32,
    /// The place after which that edge lies.
    cut: u32,
    /// Whether it is the edge after the neighbour in the array.
    high: bool,
}

impl<M: Metric> Search<'_, M> {
    /// Carries out the first exchange found that begins at `node` and gains; tells the gain.
    pub(super) fn exchange_from(&mut self, node: u32) -> Option<f64> {
        for other in [self.tour.next(node), self.tour.prev(node)] {
            if self.problem.mate(node) == other {
                continue;
            }
            (self.ends[0], self.ends[1]) = (node, other);
            let cuts = self.tour.cut(&Cuts::default(), node, other);
            if let Some(gain) = self.extend(&cuts, self.cost(node, other)) {
                return Some(gain);
            }
        }
        None
    }
    /// Goes on after `cuts` were made with `gain` in hand.
    fn extend(&mut self, cuts: &Cuts, gain: f64) -> Option<f64> {
        let mut ways = [Way::NONE; WIDEST];
        let ways = &mut ways[..self.breadth[cuts.count()]];
        let senses = cuts.senses();
        let (last, near) = (self.ends[2 * cuts.count() - 1], self.near);
        for &(via, floor) in near.of(last) {
            if gain - f64::from(floor) <= EPSILON {
                break;
            }
            let left = gain - self.cost(last, via);
            if left > EPSILON
                && let Some(won) = self.weigh((cuts, &senses), (via, left), ways)
            {
                return Some(won);
            }
        }
        self.follow(cuts, ways)
    }
    /// Carries out the exchange that closes after an edge to `via`, with `left` in hand then, if that
    /// gains; ranks the ways to go on from there.
    #[inline(always)]
    fn weigh(
        &mut self,
        (cuts, senses): (&Cuts, &Senses),
        (via, left): (u32, f64),
        ways: &mut [Way],
    ) -> Option<f64> {
        let (first, last) = (self.ends[0], self.ends[2 * cuts.count() - 1]);
        let (place, before, after) = self.tour.beside(via);
        if after == last || before == last {
            return None;
        }
        let below = if place == 0 { self.tour.len() - 1 } else { place - 1 };
        for (to, cut, high) in [(after, place, true), (before, below, false)] {
            let closes = cuts.closes(senses, place, high);
            let leads_on = closes || cuts.count() == 1;
            if !leads_on || to == first || self.problem.mate(via) == to || cuts.has(cut) {
                continue;
            }
            let way = Way { open: left + self.cost(via, to), via, to, cut, high };
            if closes {
                let closed = way.open - self.cost(to, first);
                if closed > EPSILON
                    && let Some(won) = self.close(cuts, &way, closed)
                {
                    return Some(won);
                }
            }
            way.take_rank(ways);
        }
        None
    }
    fn follow(&mut self, cuts: &Cuts, ways: &[Way]) -> Option<f64> {
        for way in ways {
            if way.open <= EPSILON {
                return None;
            }
            let more = self.cut(cuts, way);
            if let Some(gain) = self.extend(&more, way.open) {
                return Some(gain);
            }
        }
        None
    }
    fn cut(&mut self, cuts: &Cuts, way: &Way) -> Cuts {
        let count = 2 * cuts.count();
        (self.ends[count], self.ends[count + 1]) = (way.via, way.to);
        cuts.with(way.cut, way.high)
    }
    /// Carries out the exchange of `cuts` and that of `way`, which gains so much, or, when precedence
    /// forbids a turned stretch, its repaired form; tells the gain.
    fn close(&mut self, cuts: &Cuts, way: &Way, gain: f64) -> Option<f64> {
        let cuts = self.cut(cuts, way);
        let exchange = self.tour.exchange(&cuts);
        if !self.allows(&exchange) {
            return if cuts.count() == 2 { self.turn_and_repair(&exchange) } else { None };
        }
        self.tour.apply(&exchange);
        for i in 0..2 * cuts.count() {
            self.push(self.ends[i]);
        }
        Some(gain)
    }
}

impl Way {
    const NONE: Self = Self { open: f64::NEG_INFINITY, via: 0, to: 0, cut: 0, high: false };
    /// Takes its place among the best `ways`, if it is one of them.
    fn take_rank(self, ways: &mut [Way]) {
        let Some(mut at) = ways.len().checked_sub(1) else { return };
        if ways[at].open >= self.open {
            return;
        }
        while at > 0 && ways[at - 1].open < self.open {
            ways[at] = ways[at - 1];
            at -= 1;
        }
        ways[at] = self;
    }
}
