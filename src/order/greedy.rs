//! First tours: greedy matching, and the nodes as they are numbered (along a Hilbert curve).
//!
//! Greedy: take the shortest listed links that leave every node with two at most and close no ring
//! (Bentley 1992); join the pieces in the order of their numbers. Precedence is ignored here.

use super::cost::Metric;
use super::neighbours::Neighbours;
use super::problem::{NOBODY, Problem, Route};

/// The nodes in the order of their numbers.
pub fn as_numbered<M: Metric>(problem: &Problem<M>) -> Route {
    let n = problem.len() as u32;
    Route { nodes: (0..n).collect(), picks: vec![0; problem.len()] }
}

/// A greedy tour.
pub fn matched<M: Metric>(problem: &Problem<M>, near: &Neighbours) -> Route {
    let n = problem.len() as u32;
    let mut links: Vec<(f32, u32, u32)> = (0..n)
        .flat_map(|a| near.of(a).iter().map(move |&(b, gap)| (gap, a.min(b), a.max(b))))
        .collect();
    links.sort_unstable_by(|p, q| p.0.total_cmp(&q.0).then((p.1, p.2).cmp(&(q.1, q.2))));
    let mut pieces = Pieces::new(n);
    for node in 0..n {
        let mate = problem.mate(node);
        if mate != NOBODY && node < mate {
            pieces.link(node, mate);
        }
    }
    for (_, a, b) in links {
        pieces.link(a, b);
    }
    Route { nodes: pieces.in_a_row(), picks: vec![0; problem.len()] }
}

/// Chains of nodes.
struct Pieces {
    beside: Vec<[u32; 2]>,
    /// Union-find over chains.
    chain: Vec<u32>,
}

impl Pieces {
    fn new(n: u32) -> Self {
        Self { beside: vec![[NOBODY; 2]; n as usize], chain: (0..n).collect() }
    }
    fn chain_of(&mut self, mut node: u32) -> u32 {
        while self.chain[node as usize] != node {
            let above = self.chain[self.chain[node as usize] as usize];
            self.chain[node as usize] = above;
            node = above;
        }
        node
    }
    fn link(&mut self, a: u32, b: u32) {
        let full = |n: [u32; 2]| n[1] != NOBODY;
        let (p, q) = (self.chain_of(a), self.chain_of(b));
        if p == q || full(self.beside[a as usize]) || full(self.beside[b as usize]) {
            return;
        }
        self.chain[p.max(q) as usize] = p.min(q);
        for (from, to) in [(a, b), (b, a)] {
            let slots = &mut self.beside[from as usize];
            slots[usize::from(slots[0] != NOBODY)] = to;
        }
    }
    /// All chains one after the other, each begun at its lower end; the one of node 0 is turned and
    /// set so that node 0 comes first.
    fn in_a_row(&self) -> Vec<u32> {
        let n = self.beside.len();
        let (mut row, mut seen) = (Vec::with_capacity(n), vec![false; n]);
        for node in 0..n as u32 {
            if !seen[node as usize] && self.beside[node as usize][1] == NOBODY {
                self.walk(node, &mut row, &mut seen);
            }
        }
        let start = row.iter().position(|&x| x == 0).unwrap_or(0);
        row.rotate_left(start);
        row
    }
    fn walk(&self, from: u32, row: &mut Vec<u32>, seen: &mut [bool]) {
        let mut at = from;
        loop {
            seen[at as usize] = true;
            row.push(at);
            let next =
                self.beside[at as usize].into_iter().find(|&b| b != NOBODY && !seen[b as usize]);
            match next {
                Some(next) => at = next,
                None => return,
            }
        }
    }
}
