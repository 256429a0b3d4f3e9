//! Boxes → groups of boxes that touch, directly or through others.
//!
//! Areas in different groups cannot meet, so each group is overlaid for itself.
//!
//! Method: a sweep along x over boxes sorted by their left side; the boxes still open lie in
//! buckets along y; union-find joins those that touch.

use super::Frame;

/// For each group the indices of its boxes, ascending; groups in the order of their first box.
pub(super) fn clusters(frames: &[Option<Frame>]) -> Vec<Vec<usize>> {
    let mut sets = Sets::new(frames.len());
    let mut order: Vec<usize> = (0..frames.len()).filter(|&i| frames[i].is_some()).collect();
    order.sort_by_key(|&i| (frames[i].map(|f| f.x[0]), i));
    let mut strips = Strips::over(frames);
    for i in order {
        if let Some(frame) = frames[i] {
            strips.visit(i, &frame, frames, &mut sets);
        }
    }
    sets.groups(|i| frames[i].is_some())
}

/// Open boxes in buckets along y.
struct Strips {
    low: i64,
    height: i64,
    open: Vec<Vec<usize>>,
}

impl Strips {
    fn over(frames: &[Option<Frame>]) -> Self {
        let present = || frames.iter().flatten();
        let low = present().map(|f| i64::from(f.y[0])).min().unwrap_or(0);
        let high = present().map(|f| i64::from(f.y[1])).max().unwrap_or(0);
        let count = ((frames.len() as f64).sqrt() as i64 * 2).clamp(1, 4096);
        let height = ((high - low) / count + 1).max(1);
        Self { low, height, open: vec![Vec::new(); count as usize + 1] }
    }

    fn visit(&mut self, i: usize, frame: &Frame, frames: &[Option<Frame>], sets: &mut Sets) {
        let strip = |y: i32| ((i64::from(y) - self.low) / self.height) as usize;
        for open in &mut self.open[strip(frame.y[0])..=strip(frame.y[1])] {
            open.retain(|&j| {
                let Some(other) = &frames[j] else { return false };
                if other.x[1] < frame.x[0] {
                    return false;
                }
                if other.touches(frame) {
                    sets.join(i, j);
                }
                true
            });
            open.push(i);
        }
    }
}

/// Disjoint sets (union-find with path halving; Tarjan and van Leeuwen, J. ACM 31(2), 1984).
struct Sets {
    parent: Vec<usize>,
}

impl Sets {
    fn new(n: usize) -> Self {
        Self { parent: (0..n).collect() }
    }

    fn root(&mut self, mut i: usize) -> usize {
        while self.parent[i] != i {
            self.parent[i] = self.parent[self.parent[i]];
            i = self.parent[i];
        }
        i
    }

    /// The smaller index becomes the root, so a group is named by its first member.
    fn join(&mut self, i: usize, j: usize) {
        let (a, b) = (self.root(i), self.root(j));
        self.parent[a.max(b)] = a.min(b);
    }

    fn groups(&mut self, counts: impl Fn(usize) -> bool) -> Vec<Vec<usize>> {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(x0: i32, y0: i32, x1: i32, y1: i32) -> Option<Frame> {
        Some(Frame { x: [x0, x1], y: [y0, y1] })
    }

    #[test]
    fn chains_of_boxes_are_one_group() {
        let frames = [
            frame(0, 0, 10, 10),
            frame(100, 100, 110, 110),
            frame(10, 10, 20, 20),
            None,
            frame(15, 18, 40, 19),
            frame(0, 1000, 1000, 1001),
        ];
        assert_eq!(clusters(&frames), [vec![0, 2, 4], vec![1], vec![5]]);
        assert!(clusters(&[]).is_empty());
    }
}
