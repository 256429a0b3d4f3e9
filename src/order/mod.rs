//! Contours + contour tree → [`CutOrder`]: which line is cut when, from where, in which sense.
//!
//! The problem is a generalised travelling-salesman problem with precedence: a closed line may be
//! begun at any of its candidate starts, an open one at either end, and what lies inside comes
//! before what is around it. [`plan`] splits the lines into turns (`bands`: stages, then bands along
//! the feed), makes a `sheet::Sheet` of each, and lets the chosen strategy order it:
//!
//! - `nearest`: always the nearest line that may come next;
//! - `search`: neighbour lists, a first tour, descent by exchanges of up to seven edges, then
//!   iterated local search (see there), with `entries` choosing the starts.
//!
//! Invariants: every line is visited exactly once; a line inside another comes before it, at any
//! depth; turns are finished one after the other; the result is never longer than the nearest-
//! neighbour order. Same input, same order: no clock, fixed seeds, budgets in kicks.

mod bands;
pub mod bound;
mod boxes;
mod candidates;
pub mod cost;
mod cuts;
mod drawn;
pub mod entries;
mod exchange;
mod greedy;
mod kicks;
mod last_choice;
mod nearest;
pub mod neighbours;
mod precedence;
pub mod problem;
mod reentry;
mod repair;
mod rows;
mod search;
mod settings;
mod sheet;
pub mod solve;
mod stretches;
mod tour;

pub use settings::{Bands, Cost, Effort, End, EntrySettings, OrderSettings, Strategy};

use candidates::FINER;
use cost::{Chebyshev, Euclid, Metric, Planar, Timed};
use last_choice::{Among, Choice};
use neighbours::Neighbours;
use problem::Route;
use sheet::{Group, Sheet};
use solve::Suggested;

use crate::contour_tree::ContourTree;
use crate::finding::Finding;
use crate::geometry::{Contour, LineRef, Point, lent, wrap_angle};
use crate::parallel::{self, Begin};

/// One visit: a line and where its cut begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Visit {
    /// Index of the line in the layout.
    pub line: usize,
    /// Vertex at which the cut begins, in the line's own numbering.
    pub vertex: usize,
    /// How far along the edge after `vertex` (in the line's own sense) it begins, 0 up to 1;
    /// above 0 only on closed lines.
    pub along: f64,
    /// Cut against the line's own sense. An open line then begins at its last vertex.
    pub reversed: bool,
}

/// The order of all cuts.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CutOrder {
    /// The visits, first cut first.
    pub visits: Vec<Visit>,
}

/// What there is to say about an order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OrderReport {
    /// Length of all moves with the tool up, from the start to the end, mm.
    pub travel_mm: f64,
    /// In how many turns (stages, bands) the lines are cut.
    pub turns: usize,
    /// Lines that wait for another stage, lines too long for their band.
    pub findings: Vec<Finding>,
}

/// Orders `lines`; `tree` tells who lies inside whom.
///
/// Lines without points are visited last, so that every line has its visit.
pub fn plan<'a, L>(
    lines: &'a [L],
    tree: &ContourTree,
    settings: &OrderSettings,
) -> (CutOrder, OrderReport)
where
    LineRef<'a>: From<&'a L>,
{
    plan_beside(lines, tree, settings, &|| {})
}

/// As [`plan`]; begins what is to be done [aside](parallel::with_aside) where a search has work for one
/// core only.
pub fn plan_beside<'a, L>(
    lines: &'a [L],
    tree: &ContourTree,
    settings: &OrderSettings,
    begin_aside: &Begin,
) -> (CutOrder, OrderReport)
where
    LineRef<'a>: From<&'a L>,
{
    let lines = &lent(lines)[..];
    let (turns, findings) = bands::turns(lines, tree, settings);
    let job = Job { lines, tree, settings, begin_aside };
    let mut visits = match settings.cost {
        Cost::Travel => job.in_turn(&turns, |end| Euclid { end }),
        Cost::Chebyshev => job.in_turn(&turns, |end| Chebyshev { end }),
        Cost::Time { speed_mm_s, acceleration_mm_s2 } => {
            job.in_turn(&turns, |end| Timed { end, speed_mm_s, acceleration_mm_s2 })
        }
    };
    let empty = (0..lines.len()).filter(|&i| lines[i].points.is_empty());
    visits.extend(empty.map(|line| Visit { line, vertex: 0, along: 0.0, reversed: false }));
    let order = CutOrder { visits };
    let travel_mm = travel_mm::<LineRef>(lines, &order, settings.start, settings.end);
    (order, OrderReport { travel_mm, turns: turns.len(), findings })
}

/// Floors of the cost of any order of `lines`, by [`OrderSettings::cost`]; stages, bands and inner
/// first are ignored, so no order that keeps them can be below either.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Floors {
    /// No order with the starts chosen in this one is below.
    pub chosen: f64,
    /// No order with any candidate starts is below.
    pub any: f64,
}

/// Floors for `order`. Without `ascent` those of plain spanning trees, a few percent loose; with it
/// certified 1-trees, in a second or two at 10,000 lines. 0 beyond [`bound::MOST_DENSE`] lines.
pub fn floors<'a, L>(
    lines: &'a [L],
    tree: &ContourTree,
    order: &CutOrder,
    settings: &OrderSettings,
    ascent: bool,
) -> Floors
where
    LineRef<'a>: From<&'a L>,
{
    let lines = &lent(lines)[..];
    let job = Job { lines, tree, settings, begin_aside: &|| {} };
    let end = settings.end;
    match settings.cost {
        Cost::Travel => job.floors(order, Euclid { end }, ascent),
        Cost::Chebyshev => job.floors(order, Chebyshev { end }, ascent),
        Cost::Time { speed_mm_s, acceleration_mm_s2 } => {
            job.floors(order, Timed { end, speed_mm_s, acceleration_mm_s2 }, ascent)
        }
    }
}

/// Length of all moves with the tool up, mm: from `start` over all cuts to `end`.
pub fn travel_mm<'a, L>(lines: &'a [L], order: &CutOrder, start: Point, end: End) -> f64
where
    LineRef<'a>: From<&'a L>,
{
    let mut at = start;
    let mut total = 0.0;
    for (from, to) in order.visits.iter().filter_map(|v| v.ends(lines.get(v.line)?)) {
        total += at.distance(from);
        at = to;
    }
    total + Euclid { end }.to_end(at)
}

/// The lines with all that is wanted of their order.
struct Job<'a> {
    lines: &'a [LineRef<'a>],
    tree: &'a ContourTree,
    settings: &'a OrderSettings,
    begin_aside: &'a Begin<'a>,
}

impl Job<'_> {
    /// Orders each turn from where the one before ended.
    fn in_turn<M: Planar>(&self, turns: &[Vec<usize>], metric: impl Fn(End) -> M) -> Vec<Visit> {
        let mut visits = Vec::with_capacity(self.lines.len());
        let mut start = self.settings.start;
        for (i, members) in turns.iter().enumerate() {
            let end = if i + 1 == turns.len() { self.settings.end } else { End::Anywhere };
            let keep_off_mm = self.settings.entries.keep_off_corners_mm;
            let (lines, tree, finer) = (self.lines, self.tree, 1);
            let group = Group { lines, tree, members, keep_off_mm, finer, start };
            let sheet = Sheet::new(&group, metric(end));
            let (more, stop) = sheet.visits(&self.route(&sheet), &group);
            visits.extend(more);
            start = stop;
        }
        self.choose_last(&mut visits, &metric(self.settings.end));
        visits
    }
    fn route<M: Planar>(&self, sheet: &Sheet<M>) -> Route {
        match self.settings.strategy {
            Strategy::Drawn => drawn::order(sheet),
            Strategy::Nearest => nearest::order(sheet),
            Strategy::Best => self.best_route(sheet),
        }
    }
    /// Starts and senses once more, with the order settled: those that keep a blade's swings small,
    /// then finer ones beside them.
    fn choose_last<M: Planar>(&self, visits: &mut [Visit], metric: &M) {
        let wanted = self.settings.entries;
        if self.settings.strategy != Strategy::Best {
            return;
        }
        let weight = cost::heading_weight(self.settings.cost, wanted.heading_mm_per_rad);
        let choice = |among| Choice {
            weight,
            keep_off_mm: wanted.keep_off_corners_mm,
            one_sense: wanted.one_sense,
            start: self.settings.start,
            among,
        };
        if weight > 0.0 {
            last_choice::choose(self.lines, visits, metric, choice(Among::Coarse));
        }
        last_choice::choose(self.lines, visits, metric, choice(Among::Beside));
    }
    fn floors<M: Planar>(&self, order: &CutOrder, metric: M, ascent: bool) -> Floors {
        if order.visits.len() > bound::MOST_DENSE {
            return Floors::default();
        }
        let start = self.settings.start;
        let chosen = Sheet::chosen(self.lines, &order.visits, start, metric.clone());
        let members: Vec<usize> = (0..self.lines.len()).collect();
        let keep_off_mm = self.settings.entries.keep_off_corners_mm;
        let (lines, tree, members, finer) = (self.lines, self.tree, &members[..], FINER);
        let group = Group { lines, tree, members, keep_off_mm, finer, start };
        let any = Sheet::new(&group, metric);
        let floor = |sheet: &Sheet<M>, starts| {
            let near = Neighbours::on_sheet(sheet);
            let route = sheet.route_of(&order.visits);
            bound::floor(sheet, &near, (&route, starts), ascent)
        };
        let (chosen, any) = parallel::both(
            || floor(&chosen, bound::Starts::Chosen),
            || floor(&any, bound::Starts::Any),
        );
        Floors { chosen, any }
    }
    fn best_route<M: Planar>(&self, sheet: &Sheet<M>) -> Route {
        let problem = &sheet.problem;
        let near = Neighbours::on_sheet(sheet);
        let (nearest, rows) = parallel::both(|| nearest::order(sheet), || rows::tours(sheet));
        let suggested = Suggested { nearest: Some(&nearest.nodes), rows: &rows };
        let kicks = solve::kicks(self.settings.effort, problem);
        let best = solve::solve(problem, &near, suggested, kicks, self.begin_aside);
        if problem.total(&nearest) < problem.total(&best) { nearest } else { best }
    }
}

impl Visit {
    /// The line as it is cut: from its start, in its sense. A closed contour stays closed, its
    /// first point is where the cut begins.
    pub fn tip_path<'a>(&self, line: impl Into<LineRef<'a>>) -> Contour {
        let line = line.into();
        if !line.closed {
            let path = Contour::open(line.points.to_vec());
            return if self.reversed { path.reversed() } else { path };
        }
        let n = line.points.len();
        let mut points = Vec::with_capacity(n + 1);
        if self.along > 0.0 {
            let (a, b) = (line.points[self.vertex], line.points[(self.vertex + 1) % n]);
            points.push(a.lerp(b, self.along));
            points.extend((1..=n).map(|i| line.points[(self.vertex + i) % n]));
        } else {
            points.extend((0..n).map(|i| line.points[(self.vertex + i) % n]));
        }
        let path = Contour::closed(points);
        if self.reversed { path.reversed() } else { path }
    }
    /// Where the cut of `line` begins and where it ends; `None` for a line without points.
    pub fn ends<'a>(&self, line: impl Into<LineRef<'a>>) -> Option<(Point, Point)> {
        let line = line.into();
        if line.closed {
            let a = *line.points.get(self.vertex)?;
            let b = line.points[(self.vertex + 1) % line.points.len()];
            let start = if self.along > 0.0 { a.lerp(b, self.along) } else { a };
            return Some((start, start));
        }
        let (first, last) = (*line.points.first()?, *line.points.last()?);
        Some(if self.reversed { (last, first) } else { (first, last) })
    }
}

/// Where a cut of `path` begins and where it ends.
pub fn ends(path: &Contour) -> Option<(Point, Point)> {
    let first = *path.points.first()?;
    Some((first, if path.closed { first } else { *path.points.last()? }))
}

/// The smaller angle between two headings, radians, 0 to π.
pub fn turn(from: f64, to: f64) -> f64 {
    wrap_angle(to - from).abs()
}
