//! The best spots for a given order of nodes: [`choose`].
//!
//! Dynamic programming along the order (for a closed tour once for each spot of the first node);
//! exact. The method is the "cluster optimisation" of Fischetti, Salazar and Toth (1997) and of
//! Karapetyan and Gutin (2012).

use super::cost::Metric;
use super::problem::{Problem, Route};

/// Changes the picks of `route` to those of least cost for its order.
pub fn choose<M: Metric>(problem: &Problem<M>, route: &mut Route) {
    let mut best = f64::INFINITY;
    let mut picks = route.picks.clone();
    for first in 0..problem.spots(0).len() as u32 {
        let walk = Walk::along(problem, &route.nodes, first);
        let (price, last) = walk.close(problem, &route.nodes, first);
        if price < best {
            best = price;
            walk.trace_back(&route.nodes, last, &mut picks);
        }
    }
    route.picks = picks;
}

/// The cheapest ways to every spot along an order.
struct Walk {
    /// Price of arriving at each spot of the last node.
    price: Vec<f64>,
    /// For every node in order and each of its spots the pick before it.
    before: Vec<u32>,
    /// Where each node's part of `before` begins.
    offset: Vec<u32>,
}

impl Walk {
    fn along<M: Metric>(problem: &Problem<M>, nodes: &[u32], first: u32) -> Self {
        let spots = problem.spots(0).len();
        let mut price = vec![f64::INFINITY; spots];
        price[first as usize] = 0.0;
        let mut walk = Self { price, before: vec![0; spots], offset: vec![0] };
        for pair in nodes.windows(2) {
            walk.step(problem, pair[0], pair[1]);
        }
        walk
    }
    fn step<M: Metric>(&mut self, problem: &Problem<M>, from: u32, to: u32) {
        self.offset.push(self.before.len() as u32);
        let fixed = problem.mate(from) == to;
        let mut arrived = Vec::with_capacity(problem.spots(to).len());
        for &q in problem.spots(to) {
            let (mut least, mut pick) = (f64::INFINITY, 0);
            for (i, &p) in problem.spots(from).iter().enumerate() {
                // No link costs less than nothing.
                if self.price[i] >= least {
                    continue;
                }
                let link = if fixed { 0.0 } else { problem.cost((from, p), (to, q)) };
                let price = self.price[i] + link;
                if price < least {
                    (least, pick) = (price, i as u32);
                }
            }
            arrived.push(least);
            self.before.push(pick);
        }
        self.price = arrived;
    }
    /// The price of the whole way and the last node's pick; a tour without an end node returns to
    /// its first spot.
    fn close<M: Metric>(&self, problem: &Problem<M>, nodes: &[u32], first: u32) -> (f64, u32) {
        let last = nodes[nodes.len() - 1];
        let home = problem.spots(0)[first as usize];
        let mut best = (f64::INFINITY, 0);
        for (i, &price) in self.price.iter().enumerate() {
            let returns = last != problem.end() && last != 0;
            let back =
                if returns { problem.cost((last, problem.spots(last)[i]), (0, home)) } else { 0.0 };
            if price + back < best.0 {
                best = (price + back, i as u32);
            }
        }
        best
    }
    fn trace_back(&self, nodes: &[u32], last: u32, picks: &mut [u32]) {
        let mut pick = last;
        for (i, &node) in nodes.iter().enumerate().rev() {
            picks[node as usize] = pick;
            pick = self.before[(self.offset[i] + pick) as usize];
        }
    }
}
