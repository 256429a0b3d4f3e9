//! Numbered things that hang together, directly or through others.

/// Disjoint sets (union-find with path halving; Tarjan and van Leeuwen, J. ACM 31(2), 1984).
pub struct Sets {
    parent: Vec<usize>,
}

impl Sets {
    /// Each of `n` members by itself.
    pub fn new(n: usize) -> Self {
        Self { parent: (0..n).collect() }
    }

    /// The smallest member of the set that `i` belongs to.
    pub fn root(&mut self, mut i: usize) -> usize {
        while self.parent[i] != i {
            self.parent[i] = self.parent[self.parent[i]];
            i = self.parent[i];
        }
        i
    }

    /// The smaller index becomes the root, so a group is named by its first member.
    pub fn join(&mut self, i: usize, j: usize) {
        let (a, b) = (self.root(i), self.root(j));
        self.parent[a.max(b)] = a.min(b);
    }

    /// The members that count, set by set, in the order of their first ones.
    pub fn groups(&mut self, counts: impl Fn(usize) -> bool) -> Vec<Vec<usize>> {
        let mut slot = vec![usize::MAX; self.parent.len()];
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for i in (0..self.parent.len()).filter(|&i| counts(i)) {
            let root = self.root(i);
            if slot[root] == usize::MAX {
                slot[root] = groups.len();
                groups.push(Vec::new());
            }
            groups[slot[root]].push(i);
        }
        groups
    }
}
