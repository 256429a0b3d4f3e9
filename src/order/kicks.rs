//! Kicks: changes that the descent does not find by itself, for it to improve on.
//!
//! A kick puts two or three stretches that follow one another in the opposite sequence, none of them
//! turned round (precedence seldom minds that). A double bridge (Martin, Otto and Felten 1991) parts them:
//! four edges that lie near one another on the sheet, found by random walks along neighbour lists
//! (Applegate, Cook and Rohe 2003); no sequential exchange of up to three edges takes it back. It reaches
//! [`WINDOW`] places at most, so that a kick costs about the same at any size. Where no such edges are
//! found, and in turns by chance in every other one of competing searches (kicks of one kind can get
//! stuck), two stretches of up to [`LONGEST_STRETCH`] nodes anywhere change places (segment insertion, by
//! the same authors).
//!
//! Measured on nine sheets of 10,000 lines (28 November 2026): a third of the kicks, all of them bridges and each
//! with another spot beside it, comes out as short (0.4 % shorter to 0.6 % longer) as when every other kick
//! is an insertion and every other one leaves the spots.

use super::cost::Metric;
use super::search::Search;

/// Longest stretch that is inserted elsewhere.
const LONGEST_STRETCH: u32 = 20;
/// Farthest places of a bridge, forth and back from its first one.
const WINDOW: u32 = 500;
/// Steps of a random walk at most.
const STEPS: u32 = 10;
/// Walks to find three other edges.
const WALKS: usize = 12;
/// How often a kick may fall on a pair that stays together, or break precedence, before it is let go.
const TRIES: usize = 8;

/// Stretches that follow one another.
#[derive(Debug, Clone, Copy)]
pub(super) struct Kick {
    /// Where the first begins in the array.
    place: u32,
    /// How many nodes each has; the last one may have none.
    lengths: [u32; 3],
}

impl<M: Metric> Search<'_, M> {
    /// A kick that breaks no pair and no precedence.
    pub(super) fn draw_kick(&mut self) -> Option<Kick> {
        let other_kind = self.varied && self.dice.below(2) == 0;
        let bridge = if other_kind { None } else { self.draw(Self::bridge) };
        bridge.or_else(|| self.draw(Self::swap))
    }
    fn draw(&mut self, kind: impl Fn(&mut Self) -> Option<Kick>) -> Option<Kick> {
        for _ in 0..TRIES {
            let Some(kick) = kind(self) else { continue };
            let (ends, count) = self.kicked_ends(&kick);
            let parts_pair = |e: &[u32]| self.problem.mate(e[0]) == e[1];
            if !ends[..count].chunks_exact(2).any(parts_pair)
                && self.allows(&self.tour.resequenced(kick.place, kick.lengths))
            {
                return Some(kick);
            }
        }
        None
    }
    /// Two stretches anywhere.
    fn swap(&mut self) -> Option<Kick> {
        let n = self.tour.len();
        let longest = LONGEST_STRETCH.min((n - 2) / 3);
        let place = self.dice.below(n);
        let lengths = [1 + self.dice.below(longest), 1 + self.dice.below(longest), 0];
        Some(Kick { place, lengths })
    }
    /// Three stretches between four edges that lie near one another.
    fn bridge(&mut self) -> Option<Kick> {
        let n = self.tour.len();
        let window = WINDOW.min((n - 2) / 2);
        let home = self.dice.below(n);
        let node = self.tour.at(home);
        // How far each edge's place is from the window's first.
        let mut offsets = [window; 4];
        let mut found = 1;
        for _ in 0..WALKS {
            let other = self.walk_from(node);
            let offset = (self.tour.place(other) + n + window - home) % n;
            if offset <= 2 * window && !offsets[..found].contains(&offset) {
                offsets[found] = offset;
                found += 1;
            }
            if found == offsets.len() {
                offsets.sort_unstable();
                let [a, b, c, d] = offsets;
                let place = (home + n - window + a + 1) % n;
                return Some(Kick { place, lengths: [b - a, c - b, d - c] });
            }
        }
        None
    }
    /// The end of a random walk along neighbour lists.
    fn walk_from(&mut self, node: u32) -> u32 {
        let near = self.near;
        let mut at = node;
        for _ in 0..1 + self.dice.below(STEPS) {
            let list = near.of(at);
            if list.is_empty() {
                break;
            }
            at = list[self.dice.below(list.len() as u32) as usize].0;
        }
        at
    }
    /// Carries `kick` out and shifts a spot beside it; tells what that costs.
    pub(super) fn carry_out(&mut self, kick: &Kick) -> f64 {
        let (ends, count) = self.kicked_ends(kick);
        let loss = self.kick_cost(&ends[..count]);
        for &node in &ends[..count] {
            self.push(node);
        }
        let exchange = self.tour.resequenced(kick.place, kick.lengths);
        self.tour.apply(&exchange);
        loss + self.shift_spot(kick.place)
    }
    /// The ends of the edges that a kick removes, edge by edge, and their count.
    fn kicked_ends(&self, kick: &Kick) -> ([u32; 8], usize) {
        let n = self.tour.len();
        let mut ends = [0; 8];
        let (mut place, mut count) = (kick.place, 0);
        for length in std::iter::once(0).chain(kick.lengths.into_iter().filter(|&l| l > 0)) {
            place += length;
            ends[count] = self.tour.at((place + n - 1) % n);
            ends[count + 1] = self.tour.at(place % n);
            count += 2;
        }
        (ends, count)
    }
    /// What putting the stretches between the edges `ends` in the opposite sequence costs.
    fn kick_cost(&self, ends: &[u32]) -> f64 {
        let removed: f64 = ends.chunks_exact(2).map(|e| self.cost(e[0], e[1])).sum();
        let (before, after) = (ends[0], ends[ends.len() - 1]);
        // Each stretch lies from the second end of an edge to the first end of the next.
        let mut added = 0.0;
        let mut at = before;
        for stretch in ends[1..ends.len() - 1].chunks_exact(2).rev() {
            added += self.cost(at, stretch[0]);
            at = stretch[1];
        }
        added + self.cost(at, after) - removed
    }
    /// Gives the node at `place` a spot by chance (every other time where kinds take turns); tells what
    /// that costs. Without it, chains of contours get stuck that would have to change their spots together.
    fn shift_spot(&mut self, place: u32) -> f64 {
        let node = self.tour.at(place);
        let spots = self.problem.spots(node).len() as u32;
        if spots < 2 || (self.varied && self.dice.below(2) == 0) {
            return 0.0;
        }
        let (before, after) = (self.tour.prev(node), self.tour.next(node));
        let old = self.cost(before, node) + self.cost(node, after);
        let pick = self.dice.below(spots);
        self.pick(node, pick);
        for changed in [before, after] {
            self.push(changed);
        }
        self.cost(before, node) + self.cost(node, after) - old
    }
}

/// Pseudo-random numbers, always the same (xorshift64*, Vigna 2016).
pub(super) struct Dice(u64);

impl Dice {
    /// Dice that begin with a seed other than 0.
    pub(super) fn new(seed: u64) -> Self {
        Self(seed)
    }
    /// From 0 up to 1.
    pub(super) fn share(&mut self) -> f64 {
        f64::from(self.below(1 << 20)) / f64::from(1 << 20)
    }
    fn below(&mut self, limit: u32) -> u32 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let high = self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 32;
        ((high * u64::from(limit)) >> 32) as u32
    }
}
