//! Edges in a grid: which is nearest to a point, which might cross an edge.

use std::collections::HashMap;

use crate::geometry::{Point, nearest_on_segment};

/// Edges by the cells that they run through.
pub(super) struct EdgeIndex {
    cell_mm: f64,
    edges: Vec<(Point, Point)>,
    /// Which line each edge belongs to.
    owner: Vec<u32>,
    cells: HashMap<(i32, i32), Vec<u32>>,
}

impl EdgeIndex {
    /// Indexes the edges of `lines`; an edge without length stands for a dot.
    pub fn new<'a>(lines: impl Iterator<Item = &'a [Point]>, cell_mm: f64) -> Self {
        let mut index =
            Self { cell_mm, edges: Vec::new(), owner: Vec::new(), cells: HashMap::new() };
        for (owner, line) in lines.enumerate() {
            match line {
                [] => {}
                [dot] => index.add(*dot, *dot, owner as u32),
                _ => {
                    for w in line.windows(2) {
                        index.add(w[0], w[1], owner as u32);
                    }
                }
            }
        }
        index
    }

    fn add(&mut self, a: Point, b: Point, owner: u32) {
        let id = self.edges.len() as u32;
        for key in self.cells_along(a, b) {
            self.cells.entry(key).or_default().push(id);
        }
        self.edges.push((a, b));
        self.owner.push(owner);
    }

    fn key(&self, p: Point) -> (i32, i32) {
        ((p.x / self.cell_mm).floor() as i32, (p.y / self.cell_mm).floor() as i32)
    }

    /// The cells that the edge runs through (and, at corners, some beside it).
    fn cells_along(&self, a: Point, b: Point) -> Vec<(i32, i32)> {
        let steps = (a.distance(b) / (self.cell_mm * 0.5)).ceil().clamp(1.0, 1e6) as usize;
        let mut keys: Vec<(i32, i32)> = Vec::new();
        let mut last = self.key(a);
        keys.push(last);
        for i in 1..=steps {
            let next = self.key(a.lerp(b, i as f64 / steps as f64));
            if next != last {
                if next.0 != last.0 && next.1 != last.1 {
                    keys.push((next.0, last.1));
                    keys.push((last.0, next.1));
                }
                keys.push(next);
                last = next;
            }
        }
        keys
    }

    /// Distance from `p` to the nearest edge and the place there; edges further than `reach` do
    /// not count.
    pub fn nearest(&self, p: Point, reach: f64) -> Option<(f64, Point)> {
        let (cx, cy) = self.key(p);
        let rings = (reach / self.cell_mm).ceil().clamp(1.0, 1e4) as i32;
        let mut best: Option<(f64, Point)> = None;
        for ring in 0..=rings {
            // What lies in a ring further out is further away than the cells before it are wide.
            if best.is_some_and(|(d, _)| d <= f64::from(ring - 1) * self.cell_mm) {
                break;
            }
            for (dx, dy) in around(ring) {
                for &id in self.cells.get(&(cx + dx, cy + dy)).into_iter().flatten() {
                    let (a, b) = self.edges[id as usize];
                    let q = nearest_on_segment(p, a, b);
                    let d = p.distance(q);
                    if d <= reach && best.is_none_or(|(least, _)| d < least) {
                        best = Some((d, q));
                    }
                }
            }
        }
        best
    }

    /// Pairs of different lines whose edges cross, each pair once, with the place.
    pub fn crossings(&self) -> Vec<(u32, u32, Point)> {
        let mut found: HashMap<(u32, u32), Point> = HashMap::new();
        for ids in self.cells.values() {
            for (i, &a) in ids.iter().enumerate() {
                for &b in &ids[i + 1..] {
                    let (oa, ob) = (self.owner[a as usize], self.owner[b as usize]);
                    let pair = (oa.min(ob), oa.max(ob));
                    if oa == ob || found.contains_key(&pair) {
                        continue;
                    }
                    if let Some(p) = crossing(self.edges[a as usize], self.edges[b as usize]) {
                        found.insert(pair, p);
                    }
                }
            }
        }
        let mut all: Vec<_> = found.into_iter().map(|((a, b), p)| (a, b, p)).collect();
        all.sort_by_key(|(a, b, _)| (*a, *b));
        all
    }
}

/// Offsets of the cells at distance `ring`.
fn around(ring: i32) -> impl Iterator<Item = (i32, i32)> {
    (-ring..=ring).flat_map(move |dx| {
        let step = if dx.abs() == ring || ring == 0 { 1 } else { 2 * ring };
        (-ring..=ring).step_by(step as usize).map(move |dy| (dx, dy))
    })
}

/// Where two edges properly cross (touching at an end does not count).
fn crossing((a, b): (Point, Point), (c, d): (Point, Point)) -> Option<Point> {
    let (u, v) = (b - a, d - c);
    let across = u.cross(v);
    if across.abs() < 1e-12 {
        return None;
    }
    let (s, t) = ((c - a).cross(v) / across, (c - a).cross(u) / across);
    let proper = |x: f64| x > 1e-9 && x < 1.0 - 1e-9;
    (proper(s) && proper(t)).then(|| a.lerp(b, s))
}
