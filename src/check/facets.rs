//! How finely curves are made of straight steps: [`facets`].
//!
//! In: what the bytes do. Out: with how many points the tool is led while it is down, and the largest
//! turn from one step to the next along a curve, with its place. A facet shows by that turn, where the
//! steps on either side are long enough to be seen apart.
//!
//! A curve bends on: at the vertex before or after, it turns the same way by half as much at least
//! ([`BENDS_ON`]); a turn that stands alone is a corner, and so is one of more than [`CORNER_DEG`]. Steps
//! in which the tip of a trailing blade rests, while the axis swings about it, are no curve either. The
//! bounds: common practice, no source.

use crate::blade::TrailingBlade;
use crate::geometry::{Point, wrap_angle};
use crate::parallel;
use crate::simulate::{SimulatedCut, Simulation};

/// A sharper turn is a corner, degrees.
const CORNER_DEG: f64 = 30.0;
/// How much a neighbouring vertex turns the same way at least, as a share, where a curve bends on.
const BENDS_ON: f64 = 0.5;
/// Shorter steps are not seen apart, mm: with the sharpest turn that is no corner, a curve lies 0.07 mm
/// beside the middle of such a step, a minute of arc at 25 cm, which is what normal eyes part (the
/// definition of the decimal acuity 1.0; from memory).
const SEEN_MM: f64 = 1.0;
/// A tip that moves less than this share of its axis' step rests.
const RESTS: f64 = 0.5;

/// How curves are made of steps.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Facets {
    /// Points that the tool is led to while it is down, where it is lowered included.
    pub points: usize,
    /// The largest turn between two steps along a curve, degrees; 0 where there is none.
    pub turn_deg: f64,
    /// Where that is, mm.
    pub at: Point,
}

/// The facets of everything that is cut, drawn or scored.
pub fn facets(simulation: &Simulation) -> Facets {
    let cuts = &simulation.cuts;
    let of_cuts = parallel::map(cuts.len(), |i| of_cut(&cuts[i]));
    of_cuts.into_iter().fold(Facets::default(), |all, cut| {
        let largest = if cut.turn_deg > all.turn_deg { cut } else { all };
        Facets { points: all.points + cut.points, ..largest }
    })
}

fn of_cut(cut: &SimulatedCut) -> Facets {
    let mut all = Facets { points: cut.axis.len(), ..Facets::default() };
    // Most steps are too short to be seen: the tip is asked after only where that may matter.
    let bends = bends(&cut.axis);
    if bends.is_empty() {
        return all;
    }
    let goes_along = goes_along(cut);
    for (i, turn) in bends {
        let turn_deg = turn.abs().to_degrees();
        if turn_deg > all.turn_deg && goes_along[i..=i + 1] == [true; 2] {
            all = Facets { turn_deg, at: cut.axis[i + 1], ..all };
        }
    }
    all
}

/// Where a way turns along a curve between two steps that are long enough to be seen: the number of the
/// first of them, and by how much, radians.
fn bends(way: &[Point]) -> Vec<(usize, f64)> {
    let is_seen = |i: usize| way[i].distance(way[i + 1]) >= SEEN_MM;
    let last = way.len().saturating_sub(2);
    let turn = |i: usize| {
        let angle = |i: usize| (way[i + 1] - way[i]).angle();
        (i < last).then(|| wrap_angle(angle(i + 1) - angle(i)))
    };
    let mut found = Vec::new();
    for i in (0..last).filter(|&i| is_seen(i) && is_seen(i + 1)) {
        let Some(turns) = turn(i) else { continue };
        let neighbours = [i.checked_sub(1), Some(i + 1)].into_iter().flatten();
        let bends_on = |j| turn(j).is_some_and(|other| other / turns >= BENDS_ON);
        if turns.abs().to_degrees() <= CORNER_DEG && neighbours.into_iter().any(bends_on) {
            found.push((i, turns));
        }
    }
    found
}

/// For each step of a cut, whether the tip goes along with it.
fn goes_along(cut: &SimulatedCut) -> Vec<bool> {
    let (Some(&axis), Some(&tip)) = (cut.axis.first(), cut.tip().first()) else {
        return Vec::new();
    };
    let offset_mm = axis.distance(tip);
    let mut blade = TrailingBlade::new(offset_mm, axis, (axis - tip).angle());
    let step = |pair: &[Point]| {
        if offset_mm == 0.0 {
            return true;
        }
        let tip = blade.tip();
        blade.line_to(pair[1]);
        blade.tip().distance(tip) > RESTS * pair[0].distance(pair[1])
    };
    cut.axis.windows(2).map(step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blade::{BladeSettings, TipPath, compensate};
    use crate::geometry::Contour;
    use crate::place::Role;

    fn of(axis: Vec<Point>) -> Facets {
        let cut = SimulatedCut { axis, ..SimulatedCut::default() };
        facets(&Simulation { cuts: vec![cut], ..Simulation::default() })
    }

    fn ring(sides: usize, r: f64) -> Vec<Point> {
        let turn = |i: usize| std::f64::consts::TAU * i as f64 / sides as f64;
        (0..=sides).map(|i| Point::along(turn(i)) * r).collect()
    }

    /// A regular polygon of n sides turns by 360/n degrees at each vertex.
    #[test]
    fn a_polygon_turns_by_its_share() {
        for sides in [13, 24, 90] {
            let found = of(ring(sides, 20.0));
            assert_eq!(found.points, sides + 1);
            assert!((found.turn_deg - 360.0 / sides as f64).abs() < 1e-9, "{found:?}");
        }
    }

    #[test]
    fn corners_and_steps_that_nobody_sees_do_not_count() {
        assert_eq!(of(ring(4, 20.0)).turn_deg, 0.0);
        assert_eq!(of(ring(24, 3.0)).turn_deg, 0.0);
        let bend = |deg: f64| Point::along(deg.to_radians()) * 10.0;
        let blunt = vec![Point::ORIGIN, bend(0.0), bend(0.0) + bend(20.0)];
        assert_eq!(of(blunt).turn_deg, 0.0);
        assert_eq!(of(vec![]), Facets::default());
    }

    /// The swings of a blade about the corners of a square are no curves; the chords of a circle are.
    #[test]
    fn swings_do_not_count() {
        let worst = |points: Vec<Point>| {
            let contour = Contour::closed(points[..points.len() - 1].to_vec());
            let settings = BladeSettings {
                offset_mm: 0.8,
                start_heading: Some(0.0),
                ..BladeSettings::default()
            };
            let path = TipPath { line: None, role: Role::Design, contour };
            let axis = compensate(&[path], &settings).0;
            let mut blade = TrailingBlade::new(0.8, Point::ORIGIN, 0.0);
            let cuts = axis.into_iter().map(|path| {
                blade.carry_to(path.points[0]);
                let trailing = Some(vec![blade.tip()]);
                path.points.iter().for_each(|&to| blade.line_to(to));
                SimulatedCut { axis: path.points, trailing, ..SimulatedCut::default() }
            });
            facets(&Simulation { cuts: cuts.collect(), ..Simulation::default() }).turn_deg
        };
        assert_eq!(worst(ring(4, 20.0)), 0.0);
        let circle = worst(ring(360, 60.0));
        assert!(circle > 0.5 && circle < 6.0, "{circle}");
    }
}
