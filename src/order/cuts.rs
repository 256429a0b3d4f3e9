//! The edges that a sequential exchange removes, and what the ring falls into: [`Cuts`].
//!
//! Ends of removed edges are numbered as they come, two for each edge. An exchange adds the edges
//! from the second end of each removed one to the first end of the next, and from the last end to the
//! first. Along the array ends alternate: low end of the first cut, its high end, low end of the
//! second, and so on; an end's number in that row is its rank. Going from stretch to stretch by ranks
//! tells whether one ring is left (Helsgaun 2000), without a look at any node.

/// The most edges that one exchange removes.
pub const MOST_CUTS: usize = 7;

/// Edges to be removed, sorted by where they cut the array.
#[derive(Debug, Clone, Copy, Default)]
pub struct Cuts {
    count: usize,
    /// The place after which each edge cuts.
    place: [u32; MOST_CUTS],
    /// The number of the end on its low side; the other one is of the same pair.
    low: [u8; MOST_CUTS],
}

/// How the way from the first end to the last one runs, before the last edge is added.
#[derive(Debug, Clone, Copy)]
pub struct Senses {
    /// Whether it runs through all stretches: then the last edge makes one ring.
    pub is_ring: bool,
    of_stretch: [Sense; MOST_CUTS],
}

/// How a way passes a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sense {
    /// Along the array.
    Forward,
    /// Against it.
    Backward,
    /// Not at all: it is part of a ring of its own.
    NotReached,
}

impl Cuts {
    /// Number of edges.
    pub fn count(&self) -> usize {
        self.count
    }
    /// Whether the edge after `place` is one of them.
    pub fn has(&self, place: u32) -> bool {
        self.place[..self.count].contains(&place)
    }
    /// With one edge more, after `place`; `low_first` if its first end is the low one.
    pub fn with(&self, place: u32, low_first: bool) -> Self {
        let mut cuts = *self;
        let mut i = cuts.count;
        while i > 0 && cuts.place[i - 1] > place {
            (cuts.place[i], cuts.low[i]) = (cuts.place[i - 1], cuts.low[i - 1]);
            i -= 1;
        }
        (cuts.place[i], cuts.low[i]) = (place, (2 * cuts.count + usize::from(!low_first)) as u8);
        cuts.count += 1;
        cuts
    }
    /// Where each stretch begins in an array of `n` places, and its length; stretch i is the one
    /// after cut i.
    pub fn stretches(&self, n: u32, out: &mut [(u32, u32); MOST_CUTS]) {
        for (i, slot) in out[..self.count].iter_mut().enumerate() {
            let begin = if self.place[i] + 1 == n { 0 } else { self.place[i] + 1 };
            let end = self.place[if i + 1 == self.count { 0 } else { i + 1 }];
            *slot = (begin, if end >= begin { end - begin + 1 } else { end + n - begin + 1 });
        }
    }
    /// The stretches as they follow one another afterwards, and whether each is turned round; they
    /// have to make one ring.
    pub fn sequence(&self, out: &mut [(u8, bool); MOST_CUTS]) {
        let ranks = self.ranks();
        let mut enter = 1;
        for slot in &mut out[..self.count] {
            let (stretch, forward) = self.entered(enter);
            *slot = (stretch as u8, !forward);
            enter = ranks[self.across(enter)] as usize;
        }
    }
    /// How the way from the first end to the last one runs.
    pub fn senses(&self) -> Senses {
        if self.count == 1 {
            // The whole ring, from the one end of the edge to the other.
            let sense = if self.low[0] == 1 { Sense::Forward } else { Sense::Backward };
            return Senses { is_ring: true, of_stretch: [sense; MOST_CUTS] };
        }
        let ranks = self.ranks();
        let mut of_stretch = [Sense::NotReached; MOST_CUTS];
        let mut end = 0;
        for step in 1..=self.count {
            let enter = ranks[end] as usize;
            let (stretch, forward) = self.entered(enter);
            of_stretch[stretch] = if forward { Sense::Forward } else { Sense::Backward };
            end = self.across(enter);
            if end == 0 {
                return Senses { is_ring: step == self.count, of_stretch };
            }
        }
        Senses { is_ring: false, of_stretch }
    }
    /// Whether a further cut beside `place`, on its high side or not, gives one ring when the new
    /// edge comes from the last end to the node there.
    pub fn closes(&self, senses: &Senses, place: u32, high: bool) -> bool {
        match senses.of_stretch[self.stretch_of(place)] {
            Sense::Forward => senses.is_ring && high,
            Sense::Backward => senses.is_ring && !high,
            Sense::NotReached => true,
        }
    }
    fn stretch_of(&self, place: u32) -> usize {
        let before = self.place[..self.count].iter().filter(|&&p| p < place).count();
        if before == 0 { self.count - 1 } else { before - 1 }
    }
    /// For each end by its number, its rank.
    fn ranks(&self) -> [u8; 2 * MOST_CUTS] {
        let mut ranks = [0; 2 * MOST_CUTS];
        for (i, &low) in self.low[..self.count].iter().enumerate() {
            ranks[low as usize] = 2 * i as u8;
            ranks[low as usize ^ 1] = 2 * i as u8 + 1;
        }
        ranks
    }
    /// The stretch that is entered at the end of this rank, and whether along the array.
    fn entered(&self, rank: usize) -> (usize, bool) {
        let forward = rank % 2 == 1;
        let stretch = if forward || rank > 0 { (rank - 1) / 2 } else { self.count - 1 };
        (stretch, forward)
    }
    /// The end that is reached by entering a stretch at the end of rank `enter`, going to its other
    /// end, and along the added edge from there.
    fn across(&self, enter: usize) -> usize {
        let ends = 2 * self.count;
        let beyond = |x: usize| {
            let other = if x % 2 == 1 { x + 1 } else { x + ends - 1 };
            if other >= ends { other - ends } else { other }
        };
        let leave = beyond(enter);
        beyond(self.low[leave / 2] as usize ^ (leave % 2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lehmer::Lehmer;
    use crate::order::tour::Tour;

    /// The length of the ring through node 0 when each node is beside the given two.
    fn ring_length(beside: &[Vec<u32>]) -> usize {
        let (mut before, mut at, mut length) = (0, beside[0][0], 1);
        while at != 0 {
            let next = if beside[at as usize][0] == before { 1 } else { 0 };
            (before, at) = (at, beside[at as usize][next]);
            length += 1;
        }
        length
    }

    /// Who is beside whom on a ring of `n` once edges of `ends` are exchanged.
    fn exchanged(n: u32, ends: &[u32]) -> Vec<Vec<u32>> {
        let mut beside: Vec<Vec<u32>> =
            (0..n).map(|x| vec![(x + n - 1) % n, (x + 1) % n]).collect();
        let mut replace = |x: u32, old: u32, new: u32| {
            let slots = &mut beside[x as usize];
            if let Some(slot) = slots.iter_mut().find(|s| **s == old) {
                *slot = new;
            }
        };
        let count = ends.len();
        for i in 0..count {
            let added = if i % 2 == 1 { (i + 1) % count } else { (i + count - 1) % count };
            replace(ends[i], ends[i ^ 1], ends[added]);
        }
        beside
    }

    #[test]
    fn ranks_tell_what_going_round_the_ring_tells() {
        let (n, mut dice) = (30, Lehmer::new());
        let mut draw = |below: u32| dice.below(below as i32) as u32;
        let tour = Tour::new(&(0..n).collect::<Vec<_>>());
        let mut rings = 0;
        for _ in 0..4_000 {
            let count = 2 + draw(MOST_CUTS as u32 - 1) as usize;
            let mut ends = Vec::new();
            while ends.len() < 2 * count {
                // No two removed edges share a node, so that each node loses one neighbour at most.
                let a = draw(n);
                let b = (a + 1) % n;
                if !ends.contains(&a) && !ends.contains(&b) {
                    ends.extend(if draw(2) == 0 { [a, b] } else { [b, a] });
                }
            }
            let wanted = exchanged(n, &ends);
            let found = tour.link_up(&ends);
            assert_eq!(found.is_some(), ring_length(&wanted) == n as usize, "{ends:?}");
            let Some(exchange) = found else { continue };
            rings += 1;
            let mut changed = tour.clone();
            changed.apply(&exchange);
            for x in 0..n {
                let mut now = [changed.prev(x), changed.next(x)];
                let mut want = wanted[x as usize].clone();
                now.sort_unstable();
                want.sort_unstable();
                assert_eq!(now[..], want[..], "{ends:?}");
            }
        }
        assert!(rings > 200);
    }

    #[test]
    fn a_cut_that_closes_makes_one_ring() {
        let (n, mut dice) = (24, Lehmer::new());
        let mut draw = |below: u32| dice.below(below as i32) as u32;
        for _ in 0..4_000 {
            let (mut cuts, count) = (Cuts::default(), 1 + draw(MOST_CUTS as u32 - 1));
            for _ in 0..count {
                let place = draw(n);
                if !cuts.has(place) {
                    cuts = cuts.with(place, draw(2) == 0);
                }
            }
            let senses = cuts.senses();
            // With more than two cuts the search goes on from rings only.
            let (place, high) = (draw(n), draw(2) == 0);
            let cut = if high { place } else { (place + n - 1) % n };
            if cuts.has(cut) || (cuts.count() > 2 && !senses.is_ring) {
                continue;
            }
            let closes = cuts.closes(&senses, place, high);
            assert_eq!(closes, cuts.with(cut, high).senses().is_ring, "{cuts:?} {place} {high}");
        }
    }
}
