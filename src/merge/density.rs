//! How often the edges of an overlay cross, counted before it is made: each crossing costs the
//! Boolean library some 150 bytes and 5 to 10 µs, and ten thousand lines can cross fifty million times.
//!
//! Method: a sweep along x over edges sorted by their left end, open edges in strips along y; every
//! pair that meets in a strip is compared. Of many thousand edges only every eighth strip is looked at,
//! and each that holds so many that they could pass the limit by themselves. Counting stops when the
//! limit is passed. When comparing takes too long (many long edges that do not cross), what was found
//! is scaled up to all edges.

use super::rows::Rows;
use super::{Ring, Vertex};

/// Fewer edges than this are not counted: they cannot cross more than 125 000 times.
const FEW_EDGES: usize = 500;
/// Up to so many edges all strips are looked at, beyond it one of [`SAMPLED`].
const MANY_EDGES: usize = 50_000;
const SAMPLED: u64 = 8;
/// Pairs compared at most, in all strips together: a second or less.
const MOST_COMPARED: u64 = 200_000_000;

/// An edge with its ends in order of x.
#[derive(Clone, Copy)]
struct Edge {
    left: Vertex,
    right: Vertex,
}

/// About how often the edges of `rings` cross, as far as that is below `most`; else more than `most`.
pub(super) fn crossings<'a>(rings: impl Iterator<Item = &'a Ring>, most: u64) -> u64 {
    let mut edges: Vec<Edge> = rings.flat_map(edges_of).collect();
    if edges.len() < FEW_EDGES {
        return 0;
    }
    let mut strips = Strips::over(&edges, most);
    edges.retain(|edge| strips.any(edge));
    edges.sort_unstable_by_key(|e| (e.left.x, e.left.y, e.right.x, e.right.y));
    for (done, edge) in edges.iter().enumerate() {
        strips.visit(edge);
        if strips.crossings > most {
            break;
        }
        if strips.compared > MOST_COMPARED {
            let share = (done + 1) as f64 / edges.len() as f64;
            return (strips.crossings as f64 / share) as u64;
        }
    }
    strips.crossings
}

fn edges_of(ring: &Ring) -> impl Iterator<Item = Edge> + '_ {
    (0..ring.len()).map(|i| {
        let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
        if a.x <= b.x { Edge { left: a, right: b } } else { Edge { left: b, right: a } }
    })
}

/// Open edges in strips along y.
struct Strips {
    rows: Rows,
    strips: Vec<Strip>,
    crossings: u64,
    compared: u64,
}

/// The open edges of a strip.
#[derive(Default, Clone)]
struct Strip {
    open: Vec<Edge>,
    /// For how many strips it stands; 0 when it is not looked at.
    weight: u64,
}

impl Strips {
    fn over(edges: &[Edge], most: u64) -> Self {
        let ends = || edges.iter().flat_map(|e| [i64::from(e.left.y), i64::from(e.right.y)]);
        let ends = [ends().min().unwrap_or(0), ends().max().unwrap_or(0)];
        let count = ((edges.len() as f64).sqrt() as i64).clamp(1, 2048);
        let strips = vec![Strip { open: Vec::new(), weight: 1 }; count as usize + 1];
        let rows = Rows::over(ends, count);
        let mut all = Self { rows, strips, crossings: 0, compared: 0 };
        if edges.len() > MANY_EDGES {
            all.sample(edges, most);
        }
        all
    }

    fn sample(&mut self, edges: &[Edge], most: u64) {
        let mut held = vec![0u64; self.strips.len()];
        for strip in edges.iter().flat_map(|edge| self.range(edge)) {
            held[strip] += 1;
        }
        for (k, (strip, held)) in self.strips.iter_mut().zip(held).enumerate() {
            // Scattered, so that no regular drawing falls between (Fibonacci hashing, Knuth 1973).
            let drawn = (k as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 32;
            strip.weight = match drawn % SAMPLED {
                _ if held * held / 2 > most / 4 => 1,
                0 => SAMPLED,
                _ => 0,
            };
        }
    }

    /// Whether any strip that an edge runs through is looked at.
    fn any(&self, edge: &Edge) -> bool {
        self.range(edge).any(|strip| self.strips[strip].weight > 0)
    }

    fn range(&self, edge: &Edge) -> std::ops::RangeInclusive<usize> {
        self.rows.between([edge.left.y, edge.right.y])
    }

    fn visit(&mut self, edge: &Edge) {
        for strip in self.range(edge) {
            let weight = self.strips[strip].weight;
            if weight == 0 {
                continue;
            }
            let mut open = std::mem::take(&mut self.strips[strip].open);
            self.compared += open.len() as u64 + 1;
            open.retain(|other| {
                let is_open = other.right.x >= edge.left.x;
                // A pair that shares several strips is counted in the first of them.
                let first = || *self.range(edge).start().max(self.range(other).start()) == strip;
                if is_open && cross(edge, other) && first() {
                    self.crossings += weight;
                }
                is_open
            });
            open.push(*edge);
            self.strips[strip].open = open;
        }
    }
}

/// Whether two edges properly cross.
fn cross(e: &Edge, f: &Edge) -> bool {
    let side = |a: Vertex, b: Vertex, p: Vertex| {
        // Coordinates are within ±5e8, so products within 1e18.
        let of = |v: i32| i64::from(v);
        let (ax, ay) = (of(b.x) - of(a.x), of(b.y) - of(a.y));
        (ax * (of(p.y) - of(a.y)) - ay * (of(p.x) - of(a.x))).signum()
    };
    side(e.left, e.right, f.left) * side(e.left, e.right, f.right) < 0
        && side(f.left, f.right, e.left) * side(f.left, f.right, e.right) < 0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lehmer::Lehmer;

    /// A comb of n upright bars over one of n level bars: 4 n² crossings.
    fn lattice(n: i32) -> Vec<Ring> {
        let bar = |x: i32, y: i32, w: i32, h: i32| {
            let at = |x, y| Vertex::new(x, y);
            vec![at(x, y), at(x + w, y), at(x + w, y + h), at(x, y + h)]
        };
        let long = n * 1000;
        let upright = (0..n).map(|i| bar(i * 1000 + 300, 0, 100, long));
        let level = (0..n).map(|i| bar(0, i * 1000 + 300, long, 100));
        upright.chain(level).collect()
    }

    #[test]
    fn a_lattice_crosses_four_times_at_each_joint() {
        let rings = lattice(100);
        assert_eq!(crossings(rings.iter(), u64::MAX), 40_000);
        assert!(crossings(rings.iter(), 7_000) > 7_000);
        assert_eq!(crossings(lattice(10).iter(), u64::MAX), 0, "too few to be counted");
    }

    /// Of many edges a sample is counted, and what crosses within one strip in any case.
    #[test]
    fn a_sample_tells_the_rest() {
        let rings = lattice(8_000);
        let found = crossings(rings.iter(), u64::MAX) as f64;
        assert!((found / 256e6 - 1.0).abs() < 0.25, "{found}");
        let mut rings: Vec<Ring> = rings[..8_000].to_vec();
        let at = |x: i32, y: i32| Vertex::new(x, y);
        // Crossed by hairs at one height: 2 crossings for each hair and upright bar.
        rings.extend((0..1000).map(|i| vec![at(0, 5_000_000 + i), at(100_000, 5_000_000 + i)]));
        assert!(crossings(rings.iter(), 150_000) > 150_000);
    }

    #[test]
    fn bars_side_by_side_do_not_cross() {
        let rings = lattice(400);
        assert_eq!(crossings(rings[..400].iter(), u64::MAX), 0);
        assert_eq!(crossings(rings[400..].iter(), u64::MAX), 0);
    }

    /// Random chords of a square, against comparing each with each.
    #[test]
    fn chords_are_counted_once() {
        let mut dice = Lehmer::new();
        let mut next = || dice.below(100_000);
        let rings: Vec<Ring> =
            vec![(0..700).map(|_| Vertex::new(next(), next())).collect::<Ring>()];
        let edges: Vec<Edge> = edges_of(&rings[0]).collect();
        let pairs =
            edges.iter().enumerate().flat_map(|(i, e)| edges[i + 1..].iter().map(move |f| (e, f)));
        let slow = pairs.filter(|(e, f)| cross(e, f)).count() as u64;
        assert!(slow > 20_000);
        assert_eq!(crossings(rings.iter(), u64::MAX), slow);
    }
}
