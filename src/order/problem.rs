//! The ordering problem without its drawing: [`Problem`].
//!
//! A generalised travelling-salesman problem with precedence: nodes, each with one or more spots of
//! which one is chosen; some pairs of nodes stay side by side (the two ends of an open line); a
//! child comes before its parent. Node 0 is where the work begins. If an end node is given it is
//! the last one; without it the tour closes at node 0. Invariant: parents form a forest.

use super::cost::Metric;

/// Stands for "no node".
pub const NOBODY: u32 = u32::MAX;

/// Nodes with their spots, fixed pairs and precedence.
#[derive(Debug, Clone)]
pub struct Problem<M: Metric> {
    /// What a move costs.
    pub metric: M,
    spots: Vec<M::Spot>,
    first: Vec<u32>,
    parent: Vec<u32>,
    mate: Vec<u32>,
    /// The last node, if there is one.
    end: u32,
    /// The last node, if its price is [`Metric::to_end`].
    priced_end: u32,
    /// For each node the largest cost between its first spot and another of its spots.
    reach: Vec<f64>,
}

/// An order of nodes with the spot chosen for each.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Route {
    /// The nodes as they are visited; begins with node 0.
    pub nodes: Vec<u32>,
    /// For each node (by its number) which of its spots is used.
    pub picks: Vec<u32>,
}

impl<M: Metric> Problem<M> {
    /// A problem that begins at one of `start`.
    pub fn new(metric: M, start: &[M::Spot]) -> Self {
        let mut problem = Self {
            metric,
            spots: Vec::new(),
            first: vec![0],
            parent: Vec::new(),
            mate: Vec::new(),
            end: NOBODY,
            priced_end: NOBODY,
            reach: Vec::new(),
        };
        problem.add(start);
        problem
    }
    /// Adds a node that may be visited at any of `spots` (at least one); tells its number.
    pub fn add(&mut self, spots: &[M::Spot]) -> u32 {
        self.spots.extend_from_slice(spots);
        self.first.push(self.spots.len() as u32);
        self.parent.push(NOBODY);
        self.mate.push(NOBODY);
        let from_first = spots.iter().map(|&s| self.metric.between(spots[0], s));
        let reach = from_first.fold(0.0, f64::max);
        self.reach.push(if self.metric.is_shortest() { reach } else { f64::INFINITY });
        self.parent.len() as u32 - 1
    }
    /// Makes a last node whose price is [`Metric::to_end`]; call it once, after all others.
    pub fn add_end(&mut self) {
        self.add_last(self.spots[0]);
        self.priced_end = self.end;
    }
    /// Makes a last node at `spot`; call it once, after all others.
    pub fn add_last(&mut self, spot: M::Spot) {
        self.end = self.add(&[spot]);
        self.join(0, self.end);
        self.spots.shrink_to_fit();
    }
    /// Keeps two nodes side by side, at no cost.
    pub fn join(&mut self, a: u32, b: u32) {
        self.mate[a as usize] = b;
        self.mate[b as usize] = a;
    }
    /// Lets `child` come before `parent`; a node has one parent at most.
    pub fn set_parent(&mut self, child: u32, parent: u32) {
        self.parent[child as usize] = parent;
    }
    /// The same problem when nobody waits for anybody.
    pub fn without_precedence(&self) -> Self {
        let mut free = self.clone();
        free.parent.fill(NOBODY);
        free
    }
    /// Number of nodes, start and end included.
    pub fn len(&self) -> usize {
        self.parent.len()
    }
    /// Whether there is nothing to visit.
    pub fn is_empty(&self) -> bool {
        self.len() <= 1
    }
    /// The node where the work ends, or [`NOBODY`].
    pub fn end(&self) -> u32 {
        self.end
    }
    /// The spots of a node.
    pub fn spots(&self, node: u32) -> &[M::Spot] {
        &self.spots[self.first[node as usize] as usize..self.first[node as usize + 1] as usize]
    }
    /// No spot of `node` is farther than this from any other by way of the present one: what another
    /// choice can change in the cost of a move.
    pub fn slack(&self, node: u32) -> f64 {
        2.0 * self.reach[node as usize]
    }
    /// How many pairs of spots there are along an order, roughly; 0 when every node has one spot.
    pub fn choices(&self) -> usize {
        if self.spots.len() == self.len() {
            return 0;
        }
        self.spots.len() * self.spots.len() / self.len()
    }
    /// The node that has to come after `node`, or [`NOBODY`].
    pub fn parent(&self, node: u32) -> u32 {
        self.parent[node as usize]
    }
    /// The node that stays beside `node`, or [`NOBODY`].
    pub fn mate(&self, node: u32) -> u32 {
        self.mate[node as usize]
    }
    /// Whether any node has to wait for another.
    pub fn has_precedence(&self) -> bool {
        self.parent.iter().any(|&p| p != NOBODY)
    }
    /// The cost of the move between two nodes at given spots.
    #[inline(always)]
    pub fn cost(&self, a: (u32, M::Spot), b: (u32, M::Spot)) -> f64 {
        if a.0 == self.priced_end {
            self.metric.to_end(b.1)
        } else if b.0 == self.priced_end {
            self.metric.to_end(a.1)
        } else {
            self.metric.between(a.1, b.1)
        }
    }
    /// The least cost between any spots of two nodes.
    pub fn set_cost(&self, a: u32, b: u32) -> f64 {
        let mut least = f64::INFINITY;
        for &p in self.spots(a) {
            for &q in self.spots(b) {
                least = least.min(self.cost((a, p), (b, q)));
            }
        }
        least
    }
    /// The spot that `route` uses for `node`.
    pub fn spot(&self, route: &Route, node: u32) -> M::Spot {
        self.spots(node)[route.picks[node as usize] as usize]
    }
    /// The cost of all moves of `route`, the last one back to the start or to the end included.
    pub fn total(&self, route: &Route) -> f64 {
        let n = route.nodes.len();
        let step = |i: usize| {
            let (a, b) = (route.nodes[i], route.nodes[(i + 1) % n]);
            if self.mate(a) == b || a == b {
                return 0.0;
            }
            self.cost((a, self.spot(route, a)), (b, self.spot(route, b)))
        };
        (0..n).map(step).sum()
    }
    /// Whether `route` visits every node once, from node 0 to the end, pairs side by side and
    /// every child before its parent.
    pub fn is_kept_by(&self, route: &Route) -> bool {
        let mut time = vec![usize::MAX; self.len()];
        for (t, &node) in route.nodes.iter().enumerate() {
            match time.get_mut(node as usize) {
                Some(slot) if *slot == usize::MAX => *slot = t,
                _ => return false,
            }
        }
        let ends = route.nodes.first() == Some(&0)
            && (self.end == NOBODY || route.nodes.last() == Some(&self.end));
        let n = self.len();
        ends && route.nodes.len() == n
            && (0..n).all(|x| {
                let (parent, mate) = (self.parent[x], self.mate[x]);
                let late = parent == NOBODY || time[x] < time[parent as usize];
                let beside = mate == NOBODY
                    || matches!(time[x].abs_diff(time[mate as usize]), 1)
                    || time[x].abs_diff(time[mate as usize]) == n - 1;
                late && beside
            })
    }
}
