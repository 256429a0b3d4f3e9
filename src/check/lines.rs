//! How the cuts lie to each other: open ones that were meant to close, doubled lines, crossings,
//! pieces cut out before what lies inside them.

use std::collections::BTreeMap;

use super::{at, comes_back};
use crate::contour_tree;
use crate::edges::{Crossing, EdgeIndex, Pairs};
use crate::finding::{Finding, Place, first_few};
use crate::geometry::{Bounds, LineRef, Point, distance_to_segment, is_longer, steps_along};
use crate::parallel;
use crate::profile::Machine;
use crate::simulate::{SimulatedCut, Simulation};

/// A line whose end lies this near to its start was meant to close, mm: common practice, no source.
const NEARLY_CLOSED_MM: f64 = 0.5;
/// Ends nearer than this meet: each was rounded to whole plotter units.
const ROUNDED_UNITS: f64 = 1.5;
/// A short stretch ends near its start, too; a line that goes round is longer, gaps between its ends.
const ROUND: f64 = 4.0;
/// Cells in which crossings are looked for, mm: a few edges of a usual cut.
const CELL_MM: f64 = 1.0;
/// So many edges of a cut are looked at together whether any other cut comes near.
const RUN: usize = 8;
/// Lines this near to each other are the same line, plotter units: both were rounded by up to half
/// a unit each way.
const DOUBLED_UNITS: f64 = 0.75;
/// The tip of a further pass keeps to that of the first, plotter units: each was rounded.
const PASS_UNITS: f64 = 2.0;
/// It begins and ends near where the first does, plotter units: where a line closes smoothly, the blade
/// need not rest on its start, and takes over what the pass before left it.
const PASS_ENDS_UNITS: f64 = 8.0;
/// A cut that comes no further over another is touching it, plotter units: the tip of each may stray
/// by one.
const TOUCHING_UNITS: f64 = 2.0;
/// Shorter stretches along another cut are no doubled line, mm: a shared corner is cut through.
const DOUBLED_MM: f64 = 1.0;

/// The point of its axis with which a cut comes back to its start, within a `unit_mm` of rounding.
fn closed_at(cut: &SimulatedCut, unit_mm: f64) -> Option<usize> {
    let first = *cut.axis.first()?;
    let reach = unit_mm * ROUNDED_UNITS;
    let back = |p: &Point| (p.x - first.x).abs() <= reach && p.distance(first) <= reach;
    (3..cut.axis.len()).find(|&i| back(&cut.axis[i]))
}

/// The closed contour that a cut begins with; what follows (overcut) is left out.
fn ring_of(cut: &SimulatedCut, unit_mm: f64) -> Option<LineRef<'_>> {
    let end = closed_at(cut, unit_mm)?;
    Some(LineRef { points: &cut.axis[..end], closed: true })
}

/// A cut whose end comes near its start without meeting it.
pub(super) fn nearly_closed(cut: &SimulatedCut, machine: &Machine) -> Option<Finding> {
    let unit_mm = machine.unit_mm;
    // What a pen leaves open holds no piece.
    if cut.axis.len() <= 3 || !machine.tool_kind(machine.tool_of_sp(cut.tool)).cuts() {
        return None;
    }
    // The axis of a blade that is swung ends elsewhere than its tip.
    let (gap, last) = (end_gap(&cut.axis)?, cut.tip().last()?);
    let gap = end_gap(cut.tip()).map_or(gap, |tip| gap.min(tip));
    if gap > NEARLY_CLOSED_MM
        || closed_at(cut, unit_mm).is_some()
        || comes_back(cut.tip(), unit_mm * ROUNDED_UNITS)
    {
        return None;
    }
    let text = format!("A cut ends {gap:.2} mm from its start without closing.");
    Some(
        Finding::warning("nearly-closed", text)
            .at(at(cut, *last))
            .hint("The piece will hang on there when it is weeded."),
    )
}

/// How far a track that is longer than [`ROUND`] times that ends from its start, mm.
fn end_gap(track: &[Point]) -> Option<f64> {
    let gap = track.first()?.distance(*track.last()?);
    is_longer(track, ROUND * gap).then_some(gap)
}

/// Lines that run along each other or cross.
pub(super) fn doubled_or_crossing(
    simulation: &Simulation,
    unit_mm: f64,
    passes: &[usize],
) -> (Vec<Finding>, Vec<(usize, usize)>) {
    let tips = simulation.cuts.iter().map(|cut| cut.tip());
    let Some(index) = EdgeIndex::comparable(tips, CELL_MM) else {
        let text = "So many cuts lie upon each other that they were not compared for doubled lines \
                    and crossings.";
        return (vec![Finding::warning("not-compared", text)], Vec::new());
    };
    let mut findings = doubled(simulation, &index, (unit_mm, passes));
    let crossings = crossings(&index, passes);
    findings.extend(crossing(simulation, &index, (unit_mm, &crossings)));
    let mut pairs: Vec<(usize, usize)> =
        crossings.iter().map(|c| (c.lines.0 as usize, c.lines.1 as usize)).collect();
    pairs.dedup();
    (findings, pairs)
}

/// Lines that are cut twice, whole or in part. Passes one after the other are meant; of several
/// the first is told of.
fn doubled(
    simulation: &Simulation,
    index: &EdgeIndex,
    (unit_mm, passes): (f64, &[usize]),
) -> Vec<Finding> {
    let firsts: Vec<usize> = (0..passes.len()).filter(|&i| passes[i] == i).collect();
    let shared = parallel::map(firsts.len(), |k| {
        shared_stretches(&simulation.cuts[firsts[k]], (firsts[k], index), unit_mm)
    });
    let mut all = Vec::new();
    for (&i, shared) in firsts.iter().zip(shared) {
        let cut = &simulation.cuts[i];
        for (earlier, (length, place)) in shared {
            let other = &simulation.cuts[earlier];
            if length >= DOUBLED_MM && passes[earlier] == earlier && same_tool(cut, other) {
                let text =
                    format!("Cut {} runs along cut {} for {length:.1} mm.", i + 1, earlier + 1);
                all.push(
                    Finding::warning("cut-twice", text)
                        .at(at(cut, place))
                        .hint("The second cut may lift or fray the film."),
                );
            }
        }
    }
    first_few(all, |n| format!("{n} more lines are cut twice."))
}

/// For how far a cut runs along others before it, by their number, and where it first does.
fn shared_stretches(
    cut: &SimulatedCut,
    (number, index): (usize, &EdgeIndex),
    unit_mm: f64,
) -> BTreeMap<usize, (f64, Point)> {
    let (owner, reach) = (number as u32, unit_mm * DOUBLED_UNITS);
    let mut shared: BTreeMap<usize, (f64, Point)> = BTreeMap::new();
    let tip = cut.tip();
    for from in (0..tip.len().saturating_sub(1)).step_by(RUN) {
        let run = &tip[from..tip.len().min(from + RUN + 1)];
        if !index.any_beside(run, owner, reach) {
            continue;
        }
        for w in run.windows(2) {
            let (a, b) = (w[0], w[1]);
            for (earlier, length) in index.beside((a, b), owner, reach) {
                shared.entry(earlier as usize).or_insert((0.0, a)).0 += length;
            }
        }
    }
    shared
}

/// Cuts of one tool: what another tool did before or does later is no second cut.
fn same_tool(a: &SimulatedCut, b: &SimulatedCut) -> bool {
    a.tool == b.tool
}

/// For each cut the first of the passes that it belongs to.
pub(super) fn passes(simulation: &Simulation, unit_mm: f64) -> Vec<usize> {
    let mut first: Vec<usize> = Vec::with_capacity(simulation.cuts.len());
    for (i, cut) in simulation.cuts.iter().enumerate() {
        let before = i.checked_sub(1);
        let before = before.filter(|&b| is_pass(&simulation.cuts[b], cut, unit_mm));
        first.push(before.map_or(i, |b| first[b]));
    }
    first
}

/// Whether the tip does in `cut` what it did in `before`: from about the same start, through all the
/// same vertices, to about the same end. (The axis need not: it takes over a blade that points otherwise.)
fn is_pass(before: &SimulatedCut, cut: &SimulatedCut, unit_mm: f64) -> bool {
    let near = |p: Option<&Point>, q: Option<&Point>, units: f64| {
        p.zip(q).is_some_and(|(p, q)| p.distance(*q) <= units * unit_mm)
    };
    let [start, end] = [before.tip().first(), before.tip().last()];
    if !near(start, cut.tip().first(), PASS_ENDS_UNITS)
        || !near(end, cut.tip().last(), PASS_ENDS_UNITS)
    {
        return false;
    }
    let (bounds, again) = (Bounds::of(before.tip()), Bounds::of(cut.tip()));
    let between = || {
        let at_end = |p: &&Point| [start, end].iter().any(|e| near(*e, Some(p), PASS_ENDS_UNITS));
        cut.tip().iter().filter(|p| !at_end(p)).copied().collect::<Vec<Point>>()
    };
    near(Some(&bounds.min), Some(&again.min), PASS_UNITS)
        && near(Some(&bounds.max), Some(&again.max), PASS_UNITS)
        && follows(before.tip(), &between(), PASS_UNITS * unit_mm)
}

/// Whether every vertex of `track` lies on `line`, one after the other.
fn follows(line: &[Point], track: &[Point], tolerance_mm: f64) -> bool {
    let mut at = 0;
    track.iter().all(|&p| {
        let on = |w: &[Point]| distance_to_segment(p, w[0], w[1]) <= tolerance_mm;
        let next = line.get(at..).unwrap_or_default().windows(2).position(on);
        at += next.unwrap_or(0);
        next.is_some() || line.len() < 2
    })
}

/// Cuts that cross each other.
fn crossing(
    simulation: &Simulation,
    index: &EdgeIndex,
    (unit_mm, crossings): (f64, &[Crossing]),
) -> Vec<Finding> {
    let of_pairs = crossings.chunk_by(|p, q| p.lines == q.lines);
    let all = of_pairs.filter_map(|places| {
        let Crossing { lines: (a, b), at, .. } = *really_cross(index, places, unit_mm)?;
        let text = format!("Cuts {} and {} cross.", a + 1, b + 1);
        let byte = simulation.cuts.get(b as usize).map_or(0, |cut| cut.byte);
        Some(Finding::note("cuts-cross", text).at(Place::byte(byte).at(at)))
    });
    first_few(all.collect(), |n| format!("{n} more pairs of cuts cross."))
}

/// Where cuts touch or cross, those of each pair in their order along the later one; of several passes the
/// first counts.
fn crossings(index: &EdgeIndex, passes: &[usize]) -> Vec<Crossing> {
    let is_first = |cut: u32| passes.get(cut as usize) == Some(&(cut as usize));
    let mut crossings = index.all_crossings(Pairs::OfTwoLines);
    crossings.retain(|c| is_first(c.lines.0) && is_first(c.lines.1));
    let start = |c: &Crossing| index.edge_of(c.lines.1, c.edges.1).0.distance(c.at);
    crossings.sort_by(|p, q| {
        let along = |c: &Crossing| (c.lines, c.edges.1);
        along(p).cmp(&along(q)).then(start(p).total_cmp(&start(q))).then(p.edges.cmp(&q.edges))
    });
    crossings.dedup_by_key(|c| c.edges);
    crossings
}

/// Whether `outer`, made before `inner`, went as deep as that: with the same tool, at no less force, as
/// often. A line that is scored or kiss cut frees nothing that a deeper cut inside it could move.
fn as_deep((outer, inner): (usize, usize), simulation: &Simulation, passes: &[usize]) -> bool {
    let (a, b) = (&simulation.cuts[outer], &simulation.cuts[inner]);
    let times = |first: usize| passes.iter().filter(|&&other| other == first).count();
    let lighter = a.force.zip(b.force).is_some_and(|(outer, inner)| outer < inner);
    same_tool(a, b) && !lighter && times(outer) >= times(inner)
}

/// The first of `places`, in their order along the later cut, where it passes to the other side of
/// the earlier one for good.
///
/// Lines that touch cross by part of a unit where the tip strays: over as often as back before the
/// cut is away from the line again, or up to the cut's end upon it.
fn really_cross<'a>(
    index: &EdgeIndex,
    places: &'a [Crossing],
    unit_mm: f64,
) -> Option<&'a Crossing> {
    let near = |from: (usize, Point), to: (usize, Point)| {
        stays_near(index, (from, to), (places[0].lines.0, TOUCHING_UNITS * unit_mm))
    };
    let here = |c: &Crossing| (c.edges.1, c.at);
    let cut = index.edges_of(places[0].lines.1);
    let begin = (cut.start, index.edge(cut.start).0);
    let end = (cut.end - 1, index.edge(cut.end - 1).1);
    let touches = places.chunk_by(|p, q| near(here(p), here(q)));
    let mut over = touches.filter(|touch| touch.len() % 2 == 1);
    over.find(|touch| !near(begin, here(&touch[0])) && !near(here(&touch[touch.len() - 1]), end))
        .map(|touch| &touch[0])
}

/// Whether a cut, from a place on one of its edges to one on the same or a later edge, keeps within
/// `reach_mm` of a line.
fn stays_near(
    index: &EdgeIndex,
    ((edge, from), (last, to)): ((usize, Point), (usize, Point)),
    (line, reach_mm): (u32, f64),
) -> bool {
    let own = index.line(edge) as u32;
    let corners = (edge..last).map(|e| index.edge_of(own, e).1);
    let way: Vec<Point> = [from].into_iter().chain(corners).chain([to]).collect();
    way.windows(2).all(|w| {
        let steps = steps_along(w[0].distance(w[1]), reach_mm);
        let at = |i: usize| w[0].lerp(w[1], i as f64 / steps as f64);
        (1..=steps).all(|i| index.is_near_line(at(i), line, reach_mm))
    })
}

/// Cuts inside others that are cut before them; of several passes the first counts. `crossings` are the
/// pairs of cuts that cross.
pub(super) fn inner_after_outer(
    simulation: &Simulation,
    unit_mm: f64,
    (passes, crossings): (&[usize], &[(usize, usize)]),
) -> Vec<Finding> {
    let firsts: Vec<usize> = (0..passes.len()).filter(|&i| passes[i] == i).collect();
    let lines: Vec<LineRef> = parallel::map(firsts.len(), |k| {
        let cut = &simulation.cuts[firsts[k]];
        ring_of(cut, unit_mm).unwrap_or(LineRef { points: &cut.axis, closed: false })
    });
    let tree = contour_tree::build(&lines);
    let number = |cut: usize| firsts.binary_search(&cut).ok();
    let crossings: Vec<(usize, usize)> =
        crossings.iter().filter_map(|&(a, b)| Some((number(a)?, number(b)?))).collect();
    let direct =
        tree.parent.iter().enumerate().filter_map(|(line, parent)| Some((line, (*parent)?)));
    let mut inside: Vec<(usize, usize)> = direct.collect();
    inside.extend(contour_tree::inside_crossing(&lines, &tree, &crossings));
    inside.sort_unstable();
    let mut all = Vec::new();
    for (inner, outer) in inside {
        if outer < inner
            && let Some(p) = lines[inner].points.first()
        {
            let (inner, outer) = (firsts[inner], firsts[outer]);
            if !as_deep((outer, inner), simulation, passes) {
                continue;
            }
            let text =
                format!("Cut {} lies inside cut {}, but comes after it.", inner + 1, outer + 1);
            all.push(
                Finding::warning("inner-after-outer", text)
                    .at(at(&simulation.cuts[inner], *p))
                    .hint("The piece may have moved by then."),
            );
        }
    }
    first_few(all, |n| format!("{n} more inner cuts come late."))
}
