//! The tour as an array, and the one change that is ever made to it: [`Exchange`].
//!
//! The tour is a ring; time runs along the array or against it (`forward`), whichever way the start
//! node's stretch lies. An exchange cuts the ring into at most [`MOST_CUTS`] stretches and puts them
//! together anew, some turned round. The longest stretch stays where it is, so the cost is the
//! length of all others: what is usually the shorter side of a 2-opt move.
//!
//! Precedence: turning a stretch round, or passing one stretch by another, changes the relative time
//! of exactly the pairs inside it, or across them. Parents form a forest and time runs upwards along
//! it, so it is enough that no *direct* parent pair changes: between a node and any ancestor inside
//! such stretches lies a direct pair that changes too.

use super::cost::Metric;
use super::cuts::{Cuts, MOST_CUTS};
use super::problem::{NOBODY, Problem};

/// A ring of nodes.
#[derive(Debug, Clone)]
pub struct Tour {
    nodes: Vec<u32>,
    place: Vec<u32>,
    forward: bool,
    /// What was overwritten since the last [`Tour::keep`].
    journal: Vec<(u32, u32)>,
    was_forward: bool,
    buffer: Vec<u32>,
}

/// Stretches of the ring in a new sequence.
#[derive(Debug, Clone, Copy, Default)]
pub struct Exchange {
    /// Number of stretches.
    count: usize,
    /// Where each stretch begins in the array, and its length.
    stretch: [(u32, u32); MOST_CUTS],
    /// The new sequence: number of the stretch, whether it is turned round.
    sequence: [(u8, bool); MOST_CUTS],
}

impl Tour {
    /// A tour through `nodes`, in time order.
    pub fn new(nodes: &[u32]) -> Self {
        let mut place = vec![0; nodes.len()];
        for (i, &node) in nodes.iter().enumerate() {
            place[node as usize] = i as u32;
        }
        let (nodes, journal, buffer) = (nodes.to_vec(), Vec::new(), Vec::new());
        Self { nodes, place, forward: true, journal, was_forward: true, buffer }
    }
    /// Number of nodes.
    pub fn len(&self) -> u32 {
        self.nodes.len() as u32
    }
    /// The node after `node` in the array.
    pub fn next(&self, node: u32) -> u32 {
        let at = self.place[node as usize] as usize + 1;
        self.nodes[if at == self.nodes.len() { 0 } else { at }]
    }
    /// The node before `node` in the array.
    pub fn prev(&self, node: u32) -> u32 {
        let at = self.place[node as usize] as usize;
        self.nodes[if at == 0 { self.nodes.len() - 1 } else { at - 1 }]
    }
    /// The node at a place of the array; places from n to 2n − 1 go round the ring once more.
    pub fn at(&self, place: u32) -> u32 {
        let n = self.len();
        self.nodes[if place >= n { place - n } else { place } as usize]
    }
    /// The nodes in time order, node 0 first.
    pub fn in_time(&self) -> Vec<u32> {
        let (n, start) = (self.len(), self.place[0]);
        let back = |i: u32| if self.forward { start + i } else { start + n - i };
        (0..n).map(|i| self.at(back(i))).collect()
    }
    /// Where `node` stands in the array, and the nodes before and after it there.
    pub fn beside(&self, node: u32) -> (u32, u32, u32) {
        let place = self.place[node as usize];
        let (at, last) = (place as usize, self.nodes.len() - 1);
        let before = self.nodes[if at == 0 { last } else { at - 1 }];
        let after = self.nodes[if at == last { 0 } else { at + 1 }];
        (place, before, after)
    }
    /// `cuts` with one more between two neighbours of the ring, its next two ends.
    pub fn cut(&self, cuts: &Cuts, a: u32, b: u32) -> Cuts {
        let (p, q) = (self.place[a as usize], self.place[b as usize]);
        let a_is_low = q == p + 1 || (q == 0 && p + 1 == self.len());
        cuts.with(if a_is_low { p } else { q }, a_is_low)
    }
    /// The exchange that removes the edges `ends[0]`–`ends[1]`, `ends[2]`–`ends[3]` ... and adds
    /// `ends[1]`–`ends[2]` ... and last–first; `None` if that leaves more than one ring.
    pub fn link_up(&self, ends: &[u32]) -> Option<Exchange> {
        let pairs = ends.chunks_exact(2);
        let cuts = pairs.fold(Cuts::default(), |cuts, pair| self.cut(&cuts, pair[0], pair[1]));
        cuts.senses().is_ring.then(|| self.exchange(&cuts))
    }
    /// The exchange of `cuts`, which have to leave one ring.
    pub fn exchange(&self, cuts: &Cuts) -> Exchange {
        let mut exchange = Exchange { count: cuts.count(), ..Exchange::default() };
        cuts.stretches(self.len(), &mut exchange.stretch);
        cuts.sequence(&mut exchange.sequence);
        exchange
    }
    /// The exchange that puts the stretches of these lengths that begin at `place` in the opposite
    /// sequence; a length of 0 is no stretch, and only the last one may have it.
    pub fn resequenced(&self, place: u32, lengths: [u32; 3]) -> Exchange {
        let n = self.len();
        let total: u32 = lengths.iter().sum();
        let mut exchange = Exchange { count: 1, ..Exchange::default() };
        exchange.stretch[0] = ((place + total) % n, n - total);
        let mut begin = place;
        for length in lengths.into_iter().filter(|&l| l > 0) {
            exchange.stretch[exchange.count] = (begin % n, length);
            exchange.count += 1;
            begin += length;
        }
        for i in 1..exchange.count {
            exchange.sequence[i] = ((exchange.count - i) as u8, false);
        }
        exchange
    }
    /// Where a node stands in the array.
    pub fn place(&self, node: u32) -> u32 {
        self.place[node as usize]
    }
    fn offset(&self, place: u32, begin: u32) -> u32 {
        if place >= begin { place - begin } else { place + self.len() - begin }
    }
    fn holds(&self, stretch: (u32, u32), node: u32) -> bool {
        self.offset(self.place[node as usize], stretch.0) < stretch.1
    }
    /// Carries out `exchange`.
    pub fn apply(&mut self, exchange: &Exchange) {
        let n = self.len();
        let longest = (0..exchange.count).max_by_key(|&i| exchange.stretch[i].1).unwrap_or(0);
        let sequence = exchange.around(longest);
        self.buffer.clear();
        for &(stretch, turned) in &sequence[1..exchange.count] {
            let (begin, length) = exchange.stretch[stretch as usize];
            let inside = |i: u32| if begin + i >= n { begin + i - n } else { begin + i } as usize;
            if turned {
                self.buffer.extend((0..length).rev().map(|i| self.nodes[inside(i)]));
            } else {
                self.buffer.extend((0..length).map(|i| self.nodes[inside(i)]));
            }
            if turned && self.holds(exchange.stretch[stretch as usize], 0) {
                self.forward = !self.forward;
            }
        }
        let (begin, length) = exchange.stretch[longest];
        let mut place = (begin + length) % n;
        for &node in &self.buffer {
            self.journal.push((place, self.nodes[place as usize]));
            self.nodes[place as usize] = node;
            self.place[node as usize] = place;
            place = if place + 1 == n { 0 } else { place + 1 };
        }
    }
    /// Of an exchange of two edges the stretch that it turns round in time.
    pub fn turned_stretch(&self, exchange: &Exchange) -> (u32, u32) {
        exchange.stretch[usize::from(self.holds(exchange.stretch[0], 0))]
    }
    /// The nodes of a stretch in time order, into `out`.
    pub fn read(&self, (begin, length): (u32, u32), out: &mut Vec<u32>) {
        out.clear();
        out.extend((0..length).map(|i| self.at(begin + i)));
        if !self.forward {
            out.reverse();
        }
    }
    /// The nodes just before and just after a stretch, in time.
    pub fn around(&self, (begin, length): (u32, u32)) -> (u32, u32) {
        let n = self.len();
        let (low, high) = (self.at((begin + n - 1) % n), self.at((begin + length) % n));
        if self.forward { (low, high) } else { (high, low) }
    }
    /// Puts `nodes`, in time order, in place of the stretch that holds them.
    pub fn rewrite(&mut self, (begin, length): (u32, u32), nodes: &[u32]) {
        let n = self.len();
        for (i, &node) in nodes.iter().enumerate() {
            let offset = if self.forward { i as u32 } else { length - 1 - i as u32 };
            let place = (begin + offset) % n;
            self.journal.push((place, self.nodes[place as usize]));
            self.nodes[place as usize] = node;
            self.place[node as usize] = place;
        }
    }
    /// Makes what was done so far final.
    pub fn keep(&mut self) {
        self.journal.clear();
        self.was_forward = self.forward;
    }
    /// Takes back everything since the last [`Tour::keep`].
    pub fn undo(&mut self) {
        while let Some((place, node)) = self.journal.pop() {
            self.nodes[place as usize] = node;
            self.place[node as usize] = place;
        }
        self.forward = self.was_forward;
    }
}

impl Exchange {
    /// The new sequence, begun at `stretch` and read so that this one is not turned round.
    fn around(&self, stretch: usize) -> [(u8, bool); MOST_CUTS] {
        let mut out = [(0, false); MOST_CUTS];
        let at = (0..self.count).find(|&i| self.sequence[i].0 as usize == stretch).unwrap_or(0);
        let turned = self.sequence[at].1;
        for (step, slot) in out[..self.count].iter_mut().enumerate() {
            let i = if turned { at + self.count - step } else { at + step } % self.count;
            *slot = (self.sequence[i].0, self.sequence[i].1 != turned);
        }
        out
    }
}

/// The parents of a problem, both ways, to judge exchanges by.
#[derive(Debug, Clone)]
pub struct Family {
    parent: Vec<u32>,
    first: Vec<u32>,
    children: Vec<u32>,
}

impl Family {
    /// The family of `problem`; `None` if nobody waits for anybody.
    pub fn of<M: Metric>(problem: &Problem<M>) -> Option<Self> {
        let n = problem.len();
        let parent: Vec<u32> = (0..n as u32).map(|x| problem.parent(x)).collect();
        let mut children: Vec<u32> =
            (0..n as u32).filter(|&x| parent[x as usize] != NOBODY).collect();
        children.sort_by_key(|&x| (parent[x as usize], x));
        let first = (0..=n as u32)
            .map(|x| children.partition_point(|&c| parent[c as usize] < x) as u32)
            .collect();
        (!children.is_empty()).then_some(Self { parent, first, children })
    }
    fn children(&self, node: u32) -> &[u32] {
        &self.children[self.first[node as usize] as usize..self.first[node as usize + 1] as usize]
    }
    /// Whether `exchange` leaves every child before its parent.
    pub fn allows(&self, tour: &Tour, exchange: &Exchange) -> bool {
        let count = exchange.count;
        let start = (0..count).find(|&i| tour.holds(exchange.stretch[i], 0)).unwrap_or(0);
        let sequence = exchange.around(start);
        let rank = |stretch: u8| (stretch as usize + count - start) % count;
        for i in 1..count {
            let (stretch, turned) = sequence[i];
            if turned && self.meets_parent(tour, exchange.stretch[stretch as usize]) {
                return false;
            }
            for &(other, _) in &sequence[1..i] {
                let passed = rank(other) > rank(stretch);
                let (a, b) = (exchange.stretch[stretch as usize], exchange.stretch[other as usize]);
                if passed && self.related(tour, a, b) {
                    return false;
                }
            }
        }
        true
    }
    fn meets_parent(&self, tour: &Tour, stretch: (u32, u32)) -> bool {
        (0..stretch.1).any(|i| {
            let parent = self.parent[tour.at(stretch.0 + i) as usize];
            parent != NOBODY && tour.holds(stretch, parent)
        })
    }
    fn related(&self, tour: &Tour, a: (u32, u32), b: (u32, u32)) -> bool {
        let (small, large) = if a.1 <= b.1 { (a, b) } else { (b, a) };
        (0..small.1).any(|i| {
            let node = tour.at(small.0 + i);
            let parent = self.parent[node as usize];
            (parent != NOBODY && tour.holds(large, parent)) || self.has_child_in(tour, node, large)
        })
    }
    /// Looks through the children or through the stretch, whichever are fewer.
    fn has_child_in(&self, tour: &Tour, node: u32, stretch: (u32, u32)) -> bool {
        let children = self.children(node);
        if children.len() <= stretch.1 as usize {
            return children.iter().any(|&child| tour.holds(stretch, child));
        }
        (0..stretch.1).any(|i| self.parent[tour.at(stretch.0 + i) as usize] == node)
    }
}
