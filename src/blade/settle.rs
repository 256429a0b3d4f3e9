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

use super::fit::Fitted;
use super::steer::Waypoint;
use super::{Part, TrailingBlade};
use crate::geometry::{Point, distance_to_segment};

/// How hard a line is searched.
#[derive(Debug, Clone, Copy)]
struct Effort {
    /// Blades kept at each grid point.
    per_place: usize,
    /// Grid points tried around each waypoint, in each direction.
    wide: i32,
    /// Which power of the tip's distance is added up: the higher, the more only the largest counts.
    exponent: i32,
    /// Weight of the distance from the line as a pen would draw it.
    as_drawn: f64,
    /// The next effort is made when the tip strays further, in plotter units; what is looked at here
    /// and there may be a little worse elsewhere.
    enough_units: f64,
}

/// One effort after another, until the tip keeps near enough to its line: few lines need more than
/// the first.
const EFFORTS: [Effort; 3] = [
    Effort { per_place: 2, wide: 2, exponent: 6, as_drawn: 1.0, enough_units: 0.88 },
    Effort { per_place: 4, wide: 2, exponent: 8, as_drawn: 1.0, enough_units: 0.96 },
    Effort { per_place: 4, wide: 4, exponent: 10, as_drawn: 0.0, enough_units: 0.0 },
];
/// Where the tip is watched on a long pull, in blade offsets from its start.
const LOOKS: [f64; 2] = [1.0, 3.0];

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

/// What the tip has to follow.
#[derive(Debug)]
pub(super) struct Wanted<'a> {
    line: &'a Fitted,
    unit_mm: Option<f64>,
    /// The contour as a pen would draw it on the same grid; empty without a grid.
    drawn: Vec<Point>,
}

impl<'a> Wanted<'a> {
    /// The line, and the grid on which its axis has to lie.
    pub fn new(line: &'a Fitted, unit_mm: Option<f64>) -> Self {
        let round = |v: f64, unit: f64| (v / unit).round() * unit;
        let drawn = unit_mm.map_or_else(Vec::new, |unit| {
            line.vertices.iter().map(|p| Point::new(round(p.x, unit), round(p.y, unit))).collect()
        });
        Self { line, unit_mm, drawn }
    }

    /// Distance of `tip` from the pieces that it may be on, on the way to `waypoint`.
    fn off_line(&self, waypoint: &Waypoint, tip: Point) -> f64 {
        let (i, pieces) = (waypoint.piece, &self.line.pieces);
        let off = pieces[i].distance(tip);
        let other = if waypoint.part == Part::Swing { i + 1 } else { i.wrapping_sub(1) };
        pieces.get(other).map_or(off, |piece| off.min(piece.distance(tip)))
    }

    /// Distance of `tip` from the contour as a pen would draw it, between two waypoints.
    fn off_drawn(&self, vertices: (usize, usize), tip: Point) -> f64 {
        let last = self.drawn.len().saturating_sub(1);
        let (low, high) = (vertices.0.saturating_sub(2), (vertices.1 + 2).min(last));
        let near = self.drawn.get(low..=high).unwrap_or_default();
        let off = near.windows(2).map(|w| distance_to_segment(tip, w[0], w[1])).reduce(f64::min);
        off.unwrap_or(0.0)
    }
}

/// Walks the waypoints with a blade that points along `blade`'s heading at the plunge.
pub(super) fn settle(
    way: &[Waypoint],
    wanted: &Wanted<'_>,
    blade: TrailingBlade,
) -> Option<Settled> {
    let mut best: Option<Settled> = None;
    for effort in EFFORTS {
        let settled = search(way, wanted, (blade, effort))?;
        if best.as_ref().is_none_or(|best| settled.worst_mm < best.worst_mm) {
            best = Some(settled);
        }
        let enough_mm = wanted.unit_mm.map_or(f64::INFINITY, |unit| effort.enough_units * unit);
        if best.as_ref().is_some_and(|best| best.worst_mm <= enough_mm) {
            break;
        }
    }
    best
}

fn search(
    way: &[Waypoint],
    wanted: &Wanted<'_>,
    (blade, effort): (TrailingBlade, Effort),
) -> Option<Settled> {
    let first = way.first()?;
    let mut log: Vec<(Point, usize)> = Vec::with_capacity(way.len() * 4 * effort.per_place);
    let mut beam: Vec<State> = grid_around(first.at, wanted.unit_mm, effort.wide)
        .map(|at| {
            let mut blade = blade;
            blade.carry_to(at);
            let start = State { blade, cost: 0.0, worst_mm: 0.0, worst_at: at, before: usize::MAX };
            Step { from: first, to: first, wanted, effort }.arrive(start)
        })
        .collect();
    prune(&mut beam, &mut log, effort.per_place);
    for pair in way.windows(2) {
        let step = Step { from: &pair[0], to: &pair[1], wanted, effort };
        beam = beam
            .iter()
            .flat_map(|state| {
                let places = grid_around(step.to.at, wanted.unit_mm, effort.wide);
                places.map(|at| step.taken(*state, at))
            })
            .collect();
        prune(&mut beam, &mut log, effort.per_place);
    }
    let best = beam.first()?;
    Some(trace_back(best, way, &log))
}

/// The way from one waypoint to the next.
struct Step<'a> {
    from: &'a Waypoint,
    to: &'a Waypoint,
    wanted: &'a Wanted<'a>,
    effort: Effort,
}

impl Step<'_> {
    /// The state after the axis went on to `at`, the tip watched on the way.
    fn taken(&self, mut state: State, at: Point) -> State {
        let from = state.blade.axis();
        let length = from.distance(at);
        let offset = state.blade.offset_mm();
        // A lag shows within the first offset of a pull; where it has died, the slant of the axis.
        let looks: &[f64] = if length > 4.0 * offset { &LOOKS } else { &[] };
        for look in looks {
            state.blade.line_to(from.lerp(at, look * offset / length));
            self.watch(&mut state);
        }
        if looks.is_empty() {
            state.blade.line_to(from.lerp(at, 0.5));
            self.watch(&mut state);
        }
        state.blade.line_to(at);
        self.arrive(state)
    }

    /// The tip at the waypoint: near its line, and on its corner where it has to rest on one.
    fn arrive(&self, mut state: State) -> State {
        let Some(corner) = self.to.rest else {
            self.watch(&mut state);
            return state;
        };
        let tip = state.blade.tip();
        let drawn = self.wanted.drawn.get(self.to.vertex).map_or(0.0, |p| tip.distance(*p));
        self.add(&mut state, (tip.distance(corner), drawn));
        state
    }

    fn watch(&self, state: &mut State) {
        let tip = state.blade.tip();
        let drawn = self.wanted.off_drawn((self.from.vertex, self.to.vertex), tip);
        self.add(state, (self.wanted.off_line(self.to, tip), drawn));
    }

    /// Notes the tip's distances from the line and from the line as a pen would draw it.
    fn add(&self, state: &mut State, (line, drawn): (f64, f64)) {
        let Effort { exponent, as_drawn, .. } = self.effort;
        state.cost += line.powi(exponent) + as_drawn * drawn.powi(exponent);
        if line > state.worst_mm {
            (state.worst_mm, state.worst_at) = (line, state.blade.tip());
        }
    }
}

/// Keeps the best states at each place, best first, and logs where each stands.
///
/// A few at every place, not the few best of all: what a place does to the line that leaves it is
/// seen only at that line's end.
fn prune(beam: &mut Vec<State>, log: &mut Vec<(Point, usize)>, per_place: usize) {
    beam.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let mut kept: Vec<State> = Vec::with_capacity(beam.len());
    for state in beam.iter() {
        let here = state.blade.axis();
        if kept.iter().filter(|k| k.blade.axis() == here).count() < per_place {
            kept.push(*state);
        }
    }
    for state in &mut kept {
        log.push((state.blade.axis(), state.before));
        state.before = log.len() - 1;
    }
    *beam = kept;
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

/// The grid points around `p`, `wide` in each direction; `p` itself without a grid.
fn grid_around(p: Point, unit_mm: Option<f64>, wide: i32) -> impl Iterator<Item = Point> {
    let unit = unit_mm.unwrap_or(1.0);
    let first = |v: f64| (v / unit).floor() - f64::from(wide / 2 - 1);
    let (x, y) = (first(p.x), first(p.y));
    let count = if unit_mm.is_some() { wide * wide } else { 1 };
    (0..count).map(move |i| {
        if unit_mm.is_none() {
            return p;
        }
        Point::new((x + f64::from(i % wide)) * unit, (y + f64::from(i / wide)) * unit)
    })
}
