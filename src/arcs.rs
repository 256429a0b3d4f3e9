//! Chords of a [`Job`] → `AA` instructions, where the machine draws arcs finely enough.
//!
//! In: a job, the lines that it cuts, the machine. Out: the same job with runs of chords replaced by
//! arcs. A [`JobArc`] keeps the chords that the machine will make of it, so that positions and parts
//! of a path stay those of the machine's moves.
//!
//! An arc has whole units for its centre and whole degrees for its sweep (HP 7470A manual, p. 3-17:
//! integers), and begins where the tool is; so its radius, its end and its middle are all a little
//! off. It is kept only if every position that it replaces lies within `TOLERANCES_UNITS` of it,
//! and the simulated tip of the whole path, with the chords of the arc as the machine computes them
//! and with each chord's end rounded to a whole unit, stays within `MOST_OFF_MM` of its line. The
//! sweep is cut off to whole degrees, so the tool never has to come back; a short chord goes on to
//! the position where the arc was to end.

use std::collections::BTreeMap;

use crate::blade::{Part, TOLD_ERROR_MM, TipPath, TrailingBlade, reach};
use crate::check::{Followed, tip_error};
use crate::geometry::{Bounds, Contour, Point, wrap_angle};
use crate::hpgl::arc_points;
use crate::job::{Job, JobArc, JobPath, Units};
use crate::profile::{Arcs, Machine};
use crate::simulate::SimulateSettings;

/// How far the positions that an arc replaces may lie from it, plotter units: first as much as a
/// centre in whole units is off, then less where the tip does not bear that.
const TOLERANCES_UNITS: [f64; 2] = [0.6, 0.35];
/// How far the tip may be off with arcs, mm; a hair below what is told.
const MOST_OFF_MM: f64 = 0.96 * TOLD_ERROR_MM;
/// An arc replaces at least so many chords: fewer are hardly longer than the instruction.
const FEWEST_CHORDS: usize = 5;
/// Sagitta of a chord of an arc, plotter units: far below what rounding does.
const SAGITTA_UNITS: f64 = 0.08;
/// Shortest chord of an arc, plotter units: shorter ones have no direction on the machine's grid.
const SHORTEST_CHORD_UNITS: f64 = 2.0;
/// Coarsest chord that is asked for, degrees: what a machine takes when nothing is said.
const COARSEST_DEG: f64 = 5.0;
/// Widest arc, degrees: more would be taken for a whole circle by its ends.
const WIDEST_DEG: f64 = 350.0;
/// Largest number of an arc's centre (HP 7470A manual, p. 3-17).
const FURTHEST_CENTER: f64 = 32767.0;

/// `job` with arcs for chords, if `machine` takes them; the tip is judged as `simulate` does, every
/// tool's by its own offset.
pub fn put(
    mut job: Job,
    lines: &[TipPath],
    (machine, simulate): (&Machine, &SimulateSettings),
) -> Job {
    if machine.language.arcs == Arcs::Never {
        return job;
    }
    let wanted: BTreeMap<usize, &Contour> =
        lines.iter().filter_map(|path| Some((path.line?, &path.contour))).collect();
    let fetched = |tool: u32| {
        let offset_mm = simulate.offset_mm(machine.sp_of_tool(tool));
        TrailingBlade::new(offset_mm, Point::ORIGIN, simulate.heading)
    };
    let (mut tool, mut blade) = (0, fetched(0));
    let unit_mm = job.unit_mm;
    for path in &mut job.paths {
        if path.tool != tool {
            (tool, blade) = (path.tool, fetched(path.tool));
        }
        if let Some(line) = path.line.and_then(|line| wanted.get(&line)) {
            let tries = TOLERANCES_UNITS.iter().map(|&units| with_arcs(path, units, machine));
            let kept = tries.take_while(|tried| !tried.arcs.is_empty()).find(|tried| {
                [moves(tried), rounded_moves(tried)].iter().all(|moves| {
                    let mut own = blade;
                    let track = own.track(moves.iter().map(|&p| p * unit_mm));
                    let followed = Followed { wanted: line, tracks: &[&track] };
                    tip_error(&[followed]).worst().mm <= MOST_OFF_MM
                })
            });
            if let Some(kept) = kept {
                *path = kept;
            }
        }
        blade.track(moves(path).into_iter().map(|p| p * unit_mm));
    }
    job
}

/// Where the machine takes the tool along a path, plotter units.
fn moves(path: &JobPath) -> Vec<Point> {
    let mut all = rounded_moves(path);
    for arc in &path.arcs {
        let ends = arc_points(point(arc.center), all[arc.from], arc.sweep_deg, arc.chord_deg);
        let ends: Vec<Point> = ends.collect();
        all[arc.from + 1..=arc.from + arc.chords].copy_from_slice(&ends);
    }
    all
}

fn rounded_moves(path: &JobPath) -> Vec<Point> {
    path.points.iter().map(|&p| point(p)).collect()
}

fn point(units: Units) -> Point {
    Point::new(f64::from(units.x), f64::from(units.y))
}

/// The path with as many of its chords as can be in arcs.
fn with_arcs(path: &JobPath, tolerance: f64, machine: &Machine) -> JobPath {
    let points = rounded_moves(path);
    let mut out =
        JobPath { points: Vec::new(), parts: Vec::new(), arcs: Vec::new(), ..path.clone() };
    out.points.extend(path.points.first());
    let mut at = 0;
    while at < path.parts.len() {
        let part = path.parts[at];
        let same = path.parts[at..].iter().take_while(|&&p| p == part).count();
        let run = &points[at..=at + same];
        let from = out.points.len() - 1;
        let fits = |run: &[Point]| arc_through(run, tolerance, machine).is_some();
        // Where an arc ended is not known to the unit: none begins there.
        let after_arc = out.arcs.last().is_some_and(|arc| arc.from + arc.chords == from);
        let end =
            if part == Part::Swing || after_arc { 1 } else { reach(run, FEWEST_CHORDS, fits) };
        match arc_through(&run[..=end], tolerance, machine).filter(|_| end >= FEWEST_CHORDS) {
            Some((arc, ends)) => {
                let last = *ends.last().unwrap_or(&run[end]);
                out.points.extend(ends.iter().map(|p| units(*p)));
                out.arcs.push(JobArc { from, ..arc });
                // From an end that is nearly right the next move may start as well.
                let ends_path = at + end == path.parts.len();
                let goes_on = last.distance(run[end]) > 1.0 || ends_path;
                if goes_on && out.points.last() != Some(&path.points[at + end]) {
                    out.points.push(path.points[at + end]);
                }
            }
            None => out.points.push(path.points[at + end]),
        }
        out.parts.resize(out.points.len() - 1, part);
        at += end;
    }
    out
}

fn units(p: Point) -> Units {
    Units { x: p.x.round() as i32, y: p.y.round() as i32 }
}

/// The arc from the first position of `run` to about its last, and the ends of its chords, if all
/// positions lie within `tolerance` of it.
fn arc_through(run: &[Point], tolerance: f64, machine: &Machine) -> Option<(JobArc, Vec<Point>)> {
    let start = run[0];
    let exact = center_of(run)?;
    let around =
        (-1..=1).flat_map(|x| (-1..=1).map(move |y| Point::new(f64::from(x), f64::from(y))));
    let whole = Point::new(exact.x.round(), exact.y.round());
    let off = |center: Point| off_circle(run, center);
    let center = around.map(|step| whole + step).min_by(|a, b| off(*a).total_cmp(&off(*b)))?;
    let radius = start.distance(center);
    let in_range = center.x.abs() <= FURTHEST_CENTER && center.y.abs() <= FURTHEST_CENTER;
    if !in_range || off(center) > tolerance {
        return None;
    }
    let sweep_deg = sweep(run, center)?;
    let chord_deg = chord_deg(radius, machine.language.finest_chord_deg)?;
    let ends: Vec<Point> = arc_points(center, start, sweep_deg, chord_deg).collect();
    if machine.limits_units().is_some_and(|area| !area.holds(Bounds::of(&ends))) {
        return None;
    }
    let center = units(center);
    Some((JobArc { from: 0, chords: ends.len(), center, sweep_deg, chord_deg }, ends))
}

/// The centre of the circle through the first position that fits the others best.
///
/// From the first position as origin, |p|² = 2·p·c for every p of the circle about c: two linear
/// equations by least squares.
fn center_of(run: &[Point]) -> Option<Point> {
    let (mut xx, mut xy, mut yy, mut bx, mut by) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for p in run.iter().map(|&p| p - run[0]) {
        let half = p.length_squared() / 2.0;
        (xx, xy, yy) = (xx + p.x * p.x, xy + p.x * p.y, yy + p.y * p.y);
        (bx, by) = (bx + p.x * half, by + p.y * half);
    }
    let determinant = xx * yy - xy * xy;
    let center = Point::new(yy * bx - xy * by, xx * by - xy * bx) * (1.0 / determinant);
    center.is_finite().then(|| run[0] + center)
}

/// How far positions and middles of chords lie from the circle about `center` through the first.
fn off_circle(run: &[Point], center: Point) -> f64 {
    let radius = run[0].distance(center);
    let places = run.windows(2).flat_map(|w| [w[0].lerp(w[1], 0.5), w[1]]);
    places.map(|p| (p.distance(center) - radius).abs()).fold(0.0, f64::max)
}

/// The sweep in whole degrees that does not pass the last position; all positions follow one another
/// round `center`.
fn sweep(run: &[Point], center: Point) -> Option<f64> {
    let turns =
        run.windows(2).map(|w| wrap_angle((w[1] - center).angle() - (w[0] - center).angle()));
    let turns: Vec<f64> = turns.collect();
    let one_way = turns.iter().all(|t| t * turns[0] > 0.0);
    let degrees = turns.iter().sum::<f64>().to_degrees();
    let whole = (degrees.abs() + 1e-9).floor() * degrees.signum();
    (one_way && (1.0..=WIDEST_DEG).contains(&whole.abs())).then_some(whole)
}

/// The chord angle to ask for, whole degrees unless the machine takes finer ones.
fn chord_deg(radius: f64, finest: f64) -> Option<f64> {
    let fine = (8.0 * SAGITTA_UNITS / radius).sqrt().to_degrees();
    let fine = if fine < 1.0 { finest } else { fine.floor().max(finest) };
    let chord = fine.min(COARSEST_DEG.max(finest));
    let shortest = (SHORTEST_CHORD_UNITS / radius).to_degrees();
    let chord = if chord < shortest { shortest.ceil() } else { chord };
    (chord <= 30.0).then_some(chord)
}
