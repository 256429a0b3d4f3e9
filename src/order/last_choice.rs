//! The last choice of starts, and of senses for a trailing blade: [`choose`].
//!
//! The order stays; for each closed line its start and its sense, chosen by dynamic programming, make
//! travel + weight × turn least. The search knew a few starts of each line only; beside the one that
//! it took there may be better ones.
//!
//! The turn: a trailing blade points where the last cut ended; at the next plunge it has to be turned
//! to where the next cut sets out. An open line keeps its sense. A closed line leaves the blade as it
//! set out, because the overcut repeats its first stretch. Common practice of the trade, no source; a
//! tenth of a millimetre a radian is enough to make most turns small (`tests/order_properties.rs`).

use super::candidates::{Start, beside, starts};
use super::cost::Planar;
use super::{Visit, turn};
use crate::geometry::{LineRef, Point};
use crate::parallel;

/// What the choice is made by.
#[derive(Debug, Clone, Copy)]
pub struct Choice {
    /// Price of a turn by one radian, in the units of the metric; at 0 every line keeps its sense.
    pub weight: f64,
    /// Straight run wanted around a start, mm.
    pub keep_off_mm: f64,
    /// Closed lines keep their own sense.
    pub one_sense: bool,
    /// Where the tool stands before the first visit.
    pub start: Point,
    /// Among which starts.
    pub among: Among,
}

/// Starts of a closed line to choose from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Among {
    /// Those that the search knew.
    Coarse,
    /// The present one and finer ones beside it.
    Beside,
}

/// One way to cut a line.
#[derive(Debug, Clone, Copy)]
struct Way {
    visit: Visit,
    from: Point,
    to: Point,
    /// Heading at the plunge and at the end, radians.
    sets_out: f64,
    leaves: f64,
}

/// Changes starts and senses of the closed lines among `visits`.
pub fn choose<M: Planar>(lines: &[LineRef], visits: &mut [Visit], metric: &M, choice: Choice) {
    let offered = |visit: &Visit| ways_of(lines[visit.line], *visit, choice);
    let (mut ways, mut price) = (Vec::new(), Vec::new());
    // For each visit and each way to cut it the way before; the ways themselves, twenty times as
    // large, are looked up anew on the way back.
    let mut table: Vec<Vec<u16>> = Vec::with_capacity(visits.len());
    let take = |i: usize, next: Vec<Way>| {
        let arrive = |way: &Way| match i {
            0 => (metric.between(choice.start, way.from), 0),
            _ => cheapest(&ways, &price, way, metric, choice.weight),
        };
        let (arrived, before) = next.iter().map(arrive).unzip();
        table.push(before);
        (price, ways) = (arrived, next);
    };
    parallel::in_turn(visits.len(), |i| offered(&visits[i]), take);
    let total = |i: &usize| price[*i] + metric.to_end(ways[*i].to);
    let mut at = (0..ways.len()).min_by(|a, b| total(a).total_cmp(&total(b))).unwrap_or(0);
    let mut taken = vec![0; table.len()];
    for (slot, before) in taken.iter_mut().zip(&table).rev() {
        *slot = at;
        at = before[at] as usize;
    }
    let chosen = parallel::map(visits.len(), |i| offered(&visits[i])[taken[i]].visit);
    visits.copy_from_slice(&chosen);
}

/// The cheapest way to arrive at `way`: its price, and which of `before` it comes from.
fn cheapest<M: Planar>(
    before: &[Way],
    price: &[f64],
    way: &Way,
    metric: &M,
    weight: f64,
) -> (f64, u16) {
    let mut best = (f64::INFINITY, 0);
    for (i, last) in before.iter().enumerate() {
        let moved = price[i] + metric.between(last.to, way.from);
        if moved >= best.0 {
            continue;
        }
        let total = moved + weight * turn(last.leaves, way.sets_out);
        if total < best.0 {
            best = (total, i as u16);
        }
    }
    best
}

/// All ways to cut `line`: at least the one of `visit`.
fn ways_of(line: LineRef, visit: Visit, choice: Choice) -> Vec<Way> {
    if !line.closed || line.points.len() < 2 {
        let path = visit.tip_path(line);
        return vec![way(visit, &path.points)];
    }
    let offered = match choice.among {
        Among::Coarse => starts(line, choice.keep_off_mm, 1),
        Among::Beside => beside(line, choice.keep_off_mm, start_of(visit, line)),
    };
    let both = choice.weight > 0.0 && !choice.one_sense;
    let senses = if both { &[false, true][..] } else { &[visit.reversed] };
    let way_of = |start: &Start, &reversed: &bool| {
        let visit = Visit { vertex: start.vertex as usize, along: start.along, reversed, ..visit };
        closed_way(line, visit, *start)
    };
    offered.iter().flat_map(|start| senses.iter().map(move |sense| way_of(start, sense))).collect()
}

/// Where `visit` begins the closed `line`.
fn start_of(visit: Visit, line: LineRef) -> Start {
    let at = visit.ends(line).map_or(line.points[0], |ends| ends.0);
    Start { vertex: visit.vertex as u32, along: visit.along, at }
}

fn closed_way(line: LineRef, visit: Visit, start: Start) -> Way {
    let n = line.points.len();
    let back = if start.along > 0.0 { visit.vertex } else { visit.vertex + n - 1 };
    let towards = if visit.reversed { back % n } else { (visit.vertex + 1) % n };
    let heading = (line.points[towards] - start.at).angle();
    Way { visit, from: start.at, to: start.at, sets_out: heading, leaves: heading }
}

fn way(visit: Visit, path: &[Point]) -> Way {
    let (from, to) = (path.first().copied(), path.last().copied());
    let heading = |pair: Option<&[Point]>| pair.map_or(0.0, |p| (p[1] - p[0]).angle());
    Way {
        visit,
        from: from.unwrap_or_default(),
        to: to.unwrap_or_default(),
        sets_out: heading(path.windows(2).next()),
        leaves: heading(path.windows(2).last()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Contour, lent};
    use crate::order::cost::Euclid;
    use crate::order::settings::End;

    #[test]
    fn the_blade_hardly_turns_between_parallel_squares() {
        let square = |x: f64| {
            let corner = |a: f64, b: f64| Point::new(x + a, b);
            Contour::closed(vec![corner(0., 0.), corner(8., 0.), corner(8., 8.), corner(0., 8.)])
        };
        let lines: Vec<Contour> = (0..6).map(|i| square(f64::from(i) * 10.0)).collect();
        let visit = |line| Visit { line, vertex: line % 4, along: 0.0, reversed: false };
        let mut visits: Vec<Visit> = (0..6).map(visit).collect();
        let (start, among) = (Point::ORIGIN, Among::Coarse);
        let choice = Choice { weight: 0.3, keep_off_mm: 1.0, one_sense: false, start, among };
        choose(&lent(&lines), &mut visits, &Euclid { end: End::Anywhere }, choice);
        let headings: Vec<f64> = visits
            .iter()
            .map(|v| {
                let path = v.tip_path(&lines[v.line]);
                (path.points[1] - path.points[0]).angle()
            })
            .collect();
        assert!(headings.windows(2).all(|h| turn(h[0], h[1]) < 0.01), "{headings:?}");
    }
}
