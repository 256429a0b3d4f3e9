//! Exact axis positions → positions on the plotter's grid, chosen where the tip suffers least.
//!
//! In: [`Waypoint`]s, the pieces that they follow, the blade before the plunge. Out: the axis path,
//! the blade after it, and how far the tip ever was from its line. Rounding each position to the
//! nearest unit throws the tip off by up to 0.7 units and more where many short moves follow one
//! another; but each position has four grid points around it, and the exact propagator is cheap
//! enough to try them: a beam search keeps the best few blades and weighs the fourth power of the
//! tip's distance, which presses down the largest error without forgetting the rest. (Beam search:
//! B. Lowerre, "The HARPY speech recognition system", 1976.)
//!
//! Without a unit the positions stay exact and the same walk only measures.

use super::fit::Piece;
use super::steer::Waypoint;
use super::{Part, TrailingBlade};
use crate::geometry::Point;

/// Blades kept from position to position. Twice as many lower the largest error by 2 % only.
const BEAM: usize = 6;

/// An axis path with what it does to the tip.
#[derive(Debug, Clone)]
pub(super) struct Settled {
    /// Axis positions, neighbours differ.
    pub points: Vec<Point>,
    /// What each edge is for.
    pub parts: Vec<Part>,
    /// The blade at the lift.
    pub blade: TrailingBlade,
    /// Largest distance of the tip from its line, mm.
    pub worst_mm: f64,
    /// Where the tip was then.
    pub worst_at: Point,
}

/// One way to go, up to some waypoint.
#[derive(Debug, Clone, Copy)]
struct State {
    blade: TrailingBlade,
    cost: f64,
    worst_mm: f64,
    worst_at: Point,
    /// Index of the step before in the log of all steps.
    before: usize,
}

/// Walks the waypoints with a blade that points along `blade`'s heading at the plunge.
pub(super) fn settle(
    way: &[Waypoint],
    pieces: &[Piece],
    (blade, unit_mm): (TrailingBlade, Option<f64>),
) -> Option<Settled> {
    let first = way.first()?;
    let mut log: Vec<(Point, usize)> = Vec::with_capacity(way.len() * BEAM);
    let mut beam: Vec<State> = grid_around(first.at, unit_mm)
        .map(|at| {
            let mut blade = blade;
            blade.carry_to(at);
            let start = State { blade, cost: 0.0, worst_mm: 0.0, worst_at: at, before: usize::MAX };
            start.seen(first, pieces)
        })
        .collect();
    prune(&mut beam, &mut log);
    for waypoint in &way[1..] {
        beam = beam
            .iter()
            .flat_map(|state| {
                grid_around(waypoint.at, unit_mm).map(|at| state.moved(at, waypoint, pieces))
            })
            .collect();
        prune(&mut beam, &mut log);
    }
    let best = beam.first()?;
    Some(trace_back(best, way, &log))
}

impl State {
    /// The state after the axis went on to `at`, the tip watched on the way.
    fn moved(&self, at: Point, waypoint: &Waypoint, pieces: &[Piece]) -> Self {
        let mut next = *self;
        let from = self.blade.axis();
        let length = from.distance(at);
        let offset = self.blade.offset_mm();
        // A lag shows most within the first offset of a pull; later the tip runs straight.
        let look = if length > 2.0 * offset { offset / length } else { 0.5 };
        next.blade.line_to(from.lerp(at, look));
        next.note(pieces, waypoint, next.blade.tip());
        next.blade.line_to(at);
        next.seen(waypoint, pieces)
    }

    /// The tip at the waypoint: near its line, and on its corner where it has to rest on one.
    fn seen(mut self, waypoint: &Waypoint, pieces: &[Piece]) -> Self {
        let tip = self.blade.tip();
        match waypoint.rest {
            Some(corner) => self.add(tip.distance(corner), tip),
            None => self.note(pieces, waypoint, tip),
        }
        self
    }

    fn note(&mut self, pieces: &[Piece], waypoint: &Waypoint, tip: Point) {
        let i = waypoint.piece;
        let mut off = pieces[i].distance(tip);
        if waypoint.part == Part::Swing
            && let Some(next) = pieces.get(i + 1)
        {
            off = off.min(next.distance(tip));
        } else if i > 0 {
            off = off.min(pieces[i - 1].distance(tip));
        }
        self.add(off, tip);
    }

    fn add(&mut self, off: f64, tip: Point) {
        self.cost += off.powi(4);
        if off > self.worst_mm {
            (self.worst_mm, self.worst_at) = (off, tip);
        }
    }
}

/// Keeps the best states, best first, and logs where each stands.
fn prune(beam: &mut Vec<State>, log: &mut Vec<(Point, usize)>) {
    beam.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    beam.truncate(BEAM);
    for state in beam {
        log.push((state.blade.axis(), state.before));
        state.before = log.len() - 1;
    }
}

fn trace_back(best: &State, way: &[Waypoint], log: &[(Point, usize)]) -> Settled {
    let mut axis = Vec::with_capacity(way.len());
    let mut step = best.before;
    while let Some(&(at, before)) = log.get(step) {
        axis.push(at);
        step = before;
    }
    axis.reverse();
    let (mut points, mut parts) = (Vec::with_capacity(way.len()), Vec::with_capacity(way.len()));
    for (at, waypoint) in axis.into_iter().zip(way) {
        if points.last() == Some(&at) {
            continue;
        }
        if !points.is_empty() {
            parts.push(waypoint.part);
        }
        points.push(at);
    }
    let State { blade, worst_mm, worst_at, .. } = *best;
    Settled { points, parts, blade, worst_mm, worst_at }
}

/// The grid points around `p`, the nearest first; `p` itself without a grid.
fn grid_around(p: Point, unit_mm: Option<f64>) -> impl Iterator<Item = Point> {
    let unit = unit_mm.unwrap_or(1.0);
    let (x, y) = ((p.x / unit).floor(), (p.y / unit).floor());
    let count = if unit_mm.is_some() { 4 } else { 1 };
    (0..count).map(move |i| {
        if count == 1 {
            return p;
        }
        Point::new((x + f64::from(i % 2)) * unit, (y + f64::from(i / 2)) * unit)
    })
}
