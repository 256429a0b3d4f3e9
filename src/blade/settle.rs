//! Exact axis positions → positions on the plotter's grid, chosen where the tip suffers least.
//!
//! In: [`Waypoint`]s, the pieces that they follow, the blade before the plunge. Out: the axis path,
//! the blade after it, and how far the tip ever was from its line. Rounding each position to the
//! nearest unit throws the tip off by up to 0.7 units and more where many short moves follow one
//! another; but each position has four grid points around it, and the exact propagator is cheap
//! enough to try them: a beam search keeps the best few blades and weighs a high power of the
//! tip's distance, which presses down the largest error without forgetting the rest. (Beam search:
//! B. Lowerre, "The HARPY speech recognition system", 1976.)
//!
//! Without a unit the positions stay exact and the same walk only measures.

use super::Part;
use super::propagate::{Pull, TrailingBlade};
use super::steer::Waypoint;
use super::wanted::{Around, Wanted};
use crate::geometry::Point;

/// How hard a line is searched.
#[derive(Debug, Clone, Copy)]
struct Effort {
    /// Blades kept at each grid point.
    per_place: usize,
    /// Grid points tried around each waypoint, in each direction.
    wide: i32,
    /// Half of the power of the tip's distance that is added up: the higher, the more only the
    /// largest counts.
    half_power: i32,
    /// Whether the distance from the line as a pen would draw it counts, too.
    as_drawn: bool,
    /// The effort is made when the tip strays further than this from what counts, in plotter units;
    /// what is looked at here and there may be a little worse elsewhere.
    beyond_units: f64,
}

/// One effort after another, until the tip keeps near enough to its line: few lines need more than
/// the first.
const EFFORTS: [Effort; 4] = [
    Effort { per_place: 2, wide: 2, half_power: 3, as_drawn: true, beyond_units: 0.0 },
    Effort { per_place: 4, wide: 2, half_power: 4, as_drawn: true, beyond_units: 0.88 },
    Effort { per_place: 4, wide: 3, half_power: 5, as_drawn: true, beyond_units: 0.96 },
    Effort { per_place: 4, wide: 4, half_power: 5, as_drawn: false, beyond_units: 0.96 },
];
/// Where the line as a pen would draw it lies further than this from every tip, it is no guide (a
/// contour of a few units collapses when it is rounded), plotter units.
const NO_GUIDE_UNITS: f64 = 1.6;
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
    /// Largest distance of the tip from the line as a pen would draw it, mm.
    drawn_mm: f64,
}

/// One way to go, up to some waypoint.
#[derive(Debug, Clone, Copy)]
struct State {
    blade: TrailingBlade,
    cost: f64,
    /// Square of the largest distance from the line, and where.
    worst: f64,
    worst_at: Point,
    /// Square of the largest distance from the line as a pen would draw it.
    drawn: f64,
    /// Index of the step before in the log of all steps.
    before: usize,
}

/// Walks the waypoints with a blade that points along `blade`'s heading at the plunge.
pub(super) fn settle(way: &[Waypoint], wanted: &Wanted, blade: TrailingBlade) -> Option<Settled> {
    let unit_mm = wanted.unit_mm.unwrap_or(f64::INFINITY);
    let mut best: Option<Settled> = None;
    for effort in EFFORTS {
        let beyond_mm = effort.beyond_units * unit_mm;
        if best.as_ref().is_some_and(|b| b.strays_mm(effort.as_drawn, unit_mm) <= beyond_mm) {
            continue;
        }
        let settled = search(way, wanted, (blade, effort))?;
        if best.as_ref().is_none_or(|best| settled.rank(unit_mm) < best.rank(unit_mm)) {
            best = Some(settled);
        }
    }
    best
}

impl Settled {
    /// How far the tip strays from what counts.
    fn strays_mm(&self, as_drawn: bool, unit_mm: f64) -> f64 {
        let guides = as_drawn && self.drawn_mm <= NO_GUIDE_UNITS * unit_mm;
        if guides { self.worst_mm.max(self.drawn_mm) } else { self.worst_mm }
    }

    /// The smaller the better.
    fn rank(&self, unit_mm: f64) -> (f64, f64) {
        (self.worst_mm.max(self.drawn_mm.min(NO_GUIDE_UNITS * unit_mm)), self.worst_mm)
    }
}

/// The best states at each grid point around a waypoint, best first at each.
type Beam = Vec<Vec<State>>;

fn search(
    way: &[Waypoint],
    wanted: &Wanted,
    (blade, effort): (TrailingBlade, Effort),
) -> Option<Settled> {
    let first = way.first()?;
    let places = (effort.wide * effort.wide) as usize;
    let room = || vec![Vec::with_capacity(effort.per_place + 1); places];
    let (mut beam, mut next): (Beam, Beam) = (room(), room());
    let mut log: Vec<(Point, usize)> = Vec::with_capacity(way.len() * places * effort.per_place);
    let start = Step::new((first, first), wanted, effort);
    for (place, at) in beam.iter_mut().zip(grid_around(first.at, wanted.unit_mm, effort.wide)) {
        let mut blade = blade;
        blade.carry_to(at);
        place.extend(start.arrive(State::new(blade), f64::INFINITY));
    }
    note(&mut beam, &mut log);
    for pair in way.windows(2) {
        let step = Step::new((&pair[0], &pair[1]), wanted, effort);
        let grid = grid_around(step.to.at, wanted.unit_mm, effort.wide);
        for (place, at) in next.iter_mut().zip(grid) {
            place.clear();
            beam.iter().for_each(|states| step.reach(states, at, place));
        }
        std::mem::swap(&mut beam, &mut next);
        // Good ones first: what comes later is given up the sooner.
        beam.sort_by(|a, b| cheapest(a).total_cmp(&cheapest(b)));
        note(&mut beam, &mut log);
    }
    let best = beam.iter().flatten().min_by(|a, b| a.cost.total_cmp(&b.cost))?;
    Some(trace_back(best, way, &log))
}

fn cheapest(place: &[State]) -> f64 {
    place.first().map_or(f64::INFINITY, |state| state.cost)
}

/// The way from one waypoint to the next.
struct Step<'a> {
    to: &'a Waypoint,
    around: Around<'a>,
    vertex_drawn: Option<Point>,
    effort: Effort,
}

impl<'a> Step<'a> {
    fn new((from, to): (&'a Waypoint, &'a Waypoint), wanted: &'a Wanted, effort: Effort) -> Self {
        Self { to, around: wanted.around(from, to), vertex_drawn: wanted.vertex_drawn(to), effort }
    }

    /// Goes on to `at` from the grid point at which all of `states` stand, and keeps in `place` the
    /// best of what comes there.
    ///
    /// A few at every place, not the few best of all: what a place does to the line that leaves it
    /// is seen only at that line's end.
    fn reach(&self, states: &[State], at: Point, place: &mut Vec<State>) {
        let bar = |place: &[State]| {
            let worst = place.get(self.effort.per_place - 1);
            worst.map_or(f64::INFINITY, |state| state.cost)
        };
        let Some(first) = states.first().filter(|first| first.cost < bar(place)) else { return };
        let pulls = Pulls::new(first.blade, at);
        for state in states {
            let bar = bar(place);
            if state.cost >= bar {
                return;
            }
            let Some(state) = self.taken(*state, &pulls, bar) else { continue };
            let rank = place.partition_point(|kept| kept.cost <= state.cost);
            place.insert(rank, state);
            place.truncate(self.effort.per_place);
        }
    }

    /// The state after the axis went on by `pulls`, the tip watched after each; `None` as soon as it
    /// costs `bar`.
    fn taken(&self, mut state: State, pulls: &Pulls, bar: f64) -> Option<State> {
        let (last, looks) = pulls.looks_and_last()?;
        for pull in looks {
            state.blade.pull(pull);
            state = self.watch(state, bar)?;
        }
        state.blade.pull(last);
        self.arrive(state, bar)
    }

    /// The tip at the waypoint: near its line, and on its corner where it has to rest on one.
    fn arrive(&self, mut state: State, bar: f64) -> Option<State> {
        let Some(corner) = self.to.rest else { return self.watch(state, bar) };
        let tip = state.blade.tip();
        self.add_line(&mut state, (tip - corner).length_squared());
        let drawn = self.vertex_drawn.map_or(0.0, |vertex| (tip - vertex).length_squared());
        self.add_drawn(&mut state, drawn);
        (state.cost < bar).then_some(state)
    }

    fn watch(&self, mut state: State, bar: f64) -> Option<State> {
        let tip = state.blade.tip();
        self.add_line(&mut state, self.around.off_line(tip));
        if state.cost < bar {
            self.add_drawn(&mut state, self.around.off_drawn(tip));
        }
        (state.cost < bar).then_some(state)
    }

    /// Notes the tip's squared distance from the line.
    fn add_line(&self, state: &mut State, square: f64) {
        state.cost += self.weight(square);
        if square > state.worst {
            (state.worst, state.worst_at) = (square, state.blade.tip());
        }
    }

    /// Notes its squared distance from the line as a pen would draw it.
    fn add_drawn(&self, state: &mut State, square: f64) {
        if self.effort.as_drawn {
            state.cost += self.weight(square);
        }
        state.drawn = state.drawn.max(square);
    }

    /// What a squared distance costs.
    fn weight(&self, square: f64) -> f64 {
        let cube = square * square * square;
        match self.effort.half_power {
            3 => cube,
            4 => cube * square,
            power => square.powi(power),
        }
    }
}

/// A way of the axis, parted where the tip is watched.
struct Pulls {
    pulls: [Pull; 3],
    count: usize,
}

impl Pulls {
    /// The way of `blade`'s axis to `at`.
    ///
    /// A lag shows within the first offset of a pull; where it has died, the slant of the axis.
    fn new(blade: TrailingBlade, at: Point) -> Self {
        let (from, offset) = (blade.axis(), blade.offset_mm());
        let length = from.distance(at);
        let pull = |from, to| Pull::new(from, to, offset);
        if length > 4.0 * offset {
            let one = from.lerp(at, LOOKS[0] * offset / length);
            let other = from.lerp(at, LOOKS[1] * offset / length);
            Self { pulls: [pull(from, one), pull(one, other), pull(other, at)], count: 3 }
        } else {
            let first = pull(from, from.lerp(at, 0.5));
            let second = first.onward(at);
            Self { pulls: [first, second, second], count: 2 }
        }
    }

    fn looks_and_last(&self) -> Option<(&Pull, &[Pull])> {
        self.pulls[..self.count].split_last()
    }
}

impl State {
    /// Nothing cut yet.
    fn new(blade: TrailingBlade) -> Self {
        let worst_at = blade.axis();
        Self { blade, cost: 0.0, worst: 0.0, worst_at, drawn: 0.0, before: usize::MAX }
    }
}

/// Logs where each state stands.
fn note(beam: &mut Beam, log: &mut Vec<(Point, usize)>) {
    for state in beam.iter_mut().flatten() {
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
    let State { blade, worst, worst_at, drawn, .. } = *best;
    Settled { points, parts, blade, worst_mm: worst.sqrt(), worst_at, drawn_mm: drawn.sqrt() }
}

/// The grid points around `p`, `wide` in each direction; `p` itself without a grid.
fn grid_around(p: Point, unit_mm: Option<f64>, wide: i32) -> impl Iterator<Item = Point> {
    let unit = unit_mm.unwrap_or(1.0);
    let first = |v: f64| (v / unit - f64::from(wide) / 2.0 + 1.0).floor();
    let (x, y) = (first(p.x), first(p.y));
    let count = if unit_mm.is_some() { wide * wide } else { 1 };
    (0..count).map(move |i| {
        if unit_mm.is_none() {
            return p;
        }
        Point::new((x + f64::from(i % wide)) * unit, (y + f64::from(i / wide)) * unit)
    })
}
