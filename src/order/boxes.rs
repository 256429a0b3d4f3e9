//! A tree of boxes for searches by distance: [`BoxTree`].
//!
//! The boxes come in the order of a Hilbert curve; eight neighbours in that order share a box one
//! level up, and so on (packed Hilbert R-tree, Kamel and Faloutsos 1994). Boxes can be switched off
//! one by one, which serves nearest-neighbour orders.

use crate::geometry::{Bounds, Point};

/// Boxes that share a parent. Below 4 the tree gets deep, above 16 too many boxes are looked at.
const FAN: usize = 8;

/// Boxes in a tree, each with a number of its own.
#[derive(Debug, Clone)]
pub struct BoxTree {
    /// The boxes themselves, then the levels above, down to one box.
    levels: Vec<Vec<Bounds>>,
    /// How many boxes are switched on below each.
    alive: Vec<Vec<u32>>,
}

/// What a search wants to know and to be told.
pub trait Seek {
    /// The price of getting to anything in `bounds` at least, or `None` if it is of no interest.
    fn promise(&self, bounds: &Bounds) -> Option<f64>;
    /// A box that was reached, by its number.
    fn meet(&mut self, index: usize);
}

impl BoxTree {
    /// A tree over `boxes`, best sorted by [`hilbert_key`]; all are switched on.
    pub fn new(boxes: Vec<Bounds>) -> Self {
        let mut levels = vec![boxes];
        let mut alive = vec![vec![1; levels[0].len()]];
        while let Some(below) = levels.last().filter(|l| l.len() > 1) {
            let join = |c: &[Bounds]| c.iter().fold(Bounds::EMPTY, |a, &b| a.union(b));
            let level = below.chunks(FAN).map(join).collect();
            let counts = alive[alive.len() - 1].chunks(FAN).map(|c| c.iter().sum()).collect();
            levels.push(level);
            alive.push(counts);
        }
        Self { levels, alive }
    }
    /// Switches a box on or off.
    pub fn set(&mut self, index: usize, on: bool) {
        let (mut at, was) = (index, self.alive[0][index] == 1);
        if was == on {
            return;
        }
        for counts in &mut self.alive {
            counts[at] = if on { counts[at] + 1 } else { counts[at] - 1 };
            at /= FAN;
        }
    }
    /// Lets `seek` meet every box of interest that is switched on, the most promising first.
    pub fn search(&self, seek: &mut impl Seek) {
        let top = self.levels.len() - 1;
        if !self.levels[top].is_empty() {
            self.descend(top, 0, seek);
        }
    }
    fn descend(&self, level: usize, index: usize, seek: &mut impl Seek) {
        if level == 0 {
            return seek.meet(index);
        }
        let below = index * FAN..((index + 1) * FAN).min(self.levels[level - 1].len());
        let mut open = [(0.0, 0); FAN];
        let mut count = 0;
        for child in below {
            if self.alive[level - 1][child] > 0
                && let Some(price) = seek.promise(&self.levels[level - 1][child])
            {
                open[count] = (price, child);
                count += 1;
            }
        }
        open[..count].sort_unstable_by(|p, q| p.0.total_cmp(&q.0).then(p.1.cmp(&q.1)));
        for &(_, child) in &open[..count] {
            if seek.promise(&self.levels[level - 1][child]).is_some() {
                self.descend(level - 1, child, seek);
            }
        }
    }
}

/// The gaps between two boxes along x and y, mm; 0 where they overlap.
pub fn gaps(a: &Bounds, b: &Bounds) -> (f64, f64) {
    let dx = (b.min.x - a.max.x).max(a.min.x - b.max.x).max(0.0);
    let dy = (b.min.y - a.max.y).max(a.min.y - b.max.y).max(0.0);
    (dx, dy)
}

/// The place of `p` on a Hilbert curve through `frame` (Hilbert 1891; the usual bitwise walk).
pub fn hilbert_key(p: Point, frame: &Bounds) -> u64 {
    const ORDER: u32 = 20;
    let size = frame.width().max(frame.height()).max(f64::MIN_POSITIVE);
    let cell = |v: f64| ((v / size * f64::from(1u32 << ORDER)) as u64).min((1 << ORDER) - 1);
    let (mut x, mut y) = (cell(p.x - frame.min.x), cell(p.y - frame.min.y));
    let mut key = 0;
    for bit in (0..ORDER).rev() {
        let (rx, ry) = ((x >> bit) & 1, (y >> bit) & 1);
        key = (key << 2) | ((3 * rx) ^ ry);
        let mask = (1 << bit) - 1;
        if ry == 0 {
            if rx == 1 {
                (x, y) = (mask - (x & mask), mask - (y & mask));
            }
            (x, y) = (y, x);
        }
        (x, y) = (x & mask, y & mask);
    }
    key
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_steps_from_cell_to_cell() {
        let frame = Bounds::of(&[Point::ORIGIN, Point::new(8.0, 8.0)]);
        let mut cells: Vec<Point> =
            (0..64).map(|i| Point::new(f64::from(i % 8) + 0.5, f64::from(i / 8) + 0.5)).collect();
        cells.sort_by_key(|&p| hilbert_key(p, &frame));
        assert!(cells.windows(2).all(|w| (w[0].distance(w[1]) - 1.0).abs() < 1e-9));
    }

    struct Nearest {
        to: Point,
        boxes: Vec<Bounds>,
        best: (f64, usize),
    }
    impl Seek for Nearest {
        fn promise(&self, bounds: &Bounds) -> Option<f64> {
            let (dx, dy) = gaps(&Bounds::of(&[self.to]), bounds);
            Some(dx.hypot(dy)).filter(|&d| d < self.best.0)
        }
        fn meet(&mut self, index: usize) {
            self.best = (self.boxes[index].min.distance(self.to), index);
        }
    }

    #[test]
    fn the_nearest_box_that_is_on_is_found() {
        let boxes: Vec<Bounds> =
            (0..100).map(|i| Bounds::of(&[Point::new(f64::from(i), 0.0)])).collect();
        let mut tree = BoxTree::new(boxes.clone());
        tree.set(40, false);
        let mut seek = Nearest { to: Point::new(40.2, 0.0), boxes, best: (f64::INFINITY, 0) };
        tree.search(&mut seek);
        assert_eq!(seek.best.1, 41);
    }
}
