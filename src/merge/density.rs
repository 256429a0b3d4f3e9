//! How often the edges of an overlay cross, counted before it is made: each crossing costs the
//! Boolean library some 150 bytes and 5 to 10 µs, and ten thousand lines can cross fifty million times.
//!
//! Method: a sweep along x over edges sorted by their left end, open edges in strips along y; every
//! pair that meets in a strip is compared, unless so few edges run through each strip that the pairs do not
//! matter. Of many thousand edges only every eighth strip is looked at,
//! and each that holds so many that they could pass the limit by themselves. Counting stops when the
//! limit is passed. When comparing takes too long (many long edges that do not cross), what was found
//! is scaled up to all edges.

use std::ops::RangeInclusive;

use super::rows::Rows;
use super::{Ring, Vertex};

/// Fewer edges than this are not counted: they cannot cross more than [`FEW_PAIRS`] times.
const FEW_EDGES: usize = 500;
/// Nor are edges of which fewer pairs share a strip.
const FEW_PAIRS: u64 = 125_000;
/// Up to so many edges all strips are looked at, beyond it one of [`SAMPLED`].
const MANY_EDGES: usize = 50_000;
const SAMPLED: u64 = 8;
/// Strips at most.
const MOST_STRIPS: u16 = 2048;
/// Pairs compared at most, in all strips together: a second or less.
const MOST_COMPARED: u64 = 200_000_000;

/// An edge with its ends in order of x, and the first and the last strip that it runs through.
#[derive(Clone, Copy)]
struct Edge {
    left: Vertex,
    right: Vertex,
    strips: [u16; 2],
}

/// About how often the edges of `rings` cross, as far as that is below `most`; else more than `most`.
pub(super) fn crossings<'a>(rings: impl Iterator<Item = &'a Ring> + Clone, most: u64) -> u64 {
    let count = rings.clone().map(Vec::len).sum();
    if count < FEW_EDGES {
        return 0;
    }
    let strips_along = ((count as f64).sqrt() as u16).clamp(1, MOST_STRIPS);
    let rows = rows(rings.clone().flatten(), strips_along);
    let mut edges: Vec<Edge> = Vec::with_capacity(count);
    rings.for_each(|ring| add(&mut edges, ring, &rows));
    let held = held(&edges, strips_along);
    if held.iter().map(|held| held * held / 2).sum::<u64>() <= FEW_PAIRS {
        return 0;
    }
    let mut strips = Strips::over(&edges, &held, most);
    edges.retain(|edge| strips.any(edge));
    edges.sort_unstable_by_key(|edge| edge.left.x);
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

/// Strips along y that hold all `vertices`.
fn rows<'a>(vertices: impl Iterator<Item = &'a Vertex>, count: u16) -> Rows {
    let [low, high] = vertices
        .fold([i32::MAX, i32::MIN], |[low, high], vertex| [low.min(vertex.y), high.max(vertex.y)]);
    Rows::over([i64::from(low), i64::from(high)], i64::from(count))
}

fn add(edges: &mut Vec<Edge>, ring: &Ring, rows: &Rows) {
    let in_strip = |vertex: Vertex| (vertex, rows.of(vertex.y) as u16);
    let Some(&last) = ring.last() else { return };
    let mut from = in_strip(last);
    for to in ring.iter().map(|&vertex| in_strip(vertex)) {
        edges.push(Edge::between(from, to));
        from = to;
    }
}

impl Edge {
    /// The edge between two vertices, each with its strip.
    fn between((a, in_a): (Vertex, u16), (b, in_b): (Vertex, u16)) -> Self {
        let (left, right) = if a.x <= b.x { (a, b) } else { (b, a) };
        Self { left, right, strips: [in_a.min(in_b), in_a.max(in_b)] }
    }

    fn strips(&self) -> RangeInclusive<usize> {
        usize::from(self.strips[0])..=usize::from(self.strips[1])
    }

    fn is_above(&self, other: &Self) -> bool {
        self.left.y.min(self.right.y) >= other.left.y.max(other.right.y)
    }
}

/// How many edges run through each strip.
fn held(edges: &[Edge], count: u16) -> Vec<u64> {
    // One more for rounding.
    let mut held = vec![0; usize::from(count) + 1];
    edges.iter().flat_map(Edge::strips).for_each(|strip| held[strip] += 1);
    held
}

/// Open edges in strips along y.
struct Strips {
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
    fn over(edges: &[Edge], held: &[u64], most: u64) -> Self {
        let strips = vec![Strip { open: Vec::new(), weight: 1 }; held.len()];
        let mut all = Self { strips, crossings: 0, compared: 0 };
        if edges.len() > MANY_EDGES {
            all.sample(held, most);
        }
        all
    }

    fn sample(&mut self, held: &[u64], most: u64) {
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
        self.strips[edge.strips()].iter().any(|strip| strip.weight > 0)
    }

    fn visit(&mut self, edge: &Edge) {
        for k in edge.strips() {
            let Strip { open, weight } = &mut self.strips[k];
            if *weight == 0 {
                continue;
            }
            self.compared += open.len() as u64 + 1;
            open.retain(|other| {
                let is_open = other.right.x > edge.left.x;
                // A pair that shares several strips is counted in the first of them.
                let first = || usize::from(edge.strips[0].max(other.strips[0])) == k;
                if is_open && cross(edge, other) && first() {
                    self.crossings += *weight;
                }
                is_open
            });
            open.push(*edge);
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
    // Most pairs only share a strip or an end.
    if e.is_above(f) || f.is_above(e) {
        return false;
    }
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
        let mut edges: Vec<Edge> = Vec::new();
        add(&mut edges, &rings[0], &rows(rings[0].iter(), 1));
        let pairs =
            edges.iter().enumerate().flat_map(|(i, e)| edges[i + 1..].iter().map(move |f| (e, f)));
        let slow = pairs.filter(|(e, f)| cross(e, f)).count() as u64;
        assert!(slow > 20_000);
        assert_eq!(crossings(rings.iter(), u64::MAX), slow);
    }
}
