//! Where, in the waste, a blade is brought to its heading before a job goes on: [`turning`].
//!
//! The cuts of the whole job are in the way, those that are done and those that are not. Where they have
//! more than `MOST_POINTS`, only those within `NEAR_MM` of the place are held, and the place is looked
//! for there; where even those are more, there is none.

use super::resume::ResumeError;
use super::spool::Spool;
use crate::blade::{BladeSettings, TipPath, turning_cut};
use crate::follow::Setup;
use crate::geometry::{Bounds, Contour, Point};
use crate::place::Role;
use crate::simulate::Part;

/// Points of the tip's ways that are held.
const MOST_POINTS: usize = 200_000;
/// How far from the cut a place is looked for in a crowded job, mm.
const NEAR_MM: f64 = 60.0;

/// A straight cut in the waste in the direction `heading`, near the place where cut `number` begins.
pub(super) fn turning(
    job: &Spool,
    (number, start): (usize, Point),
    (setup, blade): (Setup, &BladeSettings),
    heading: f64,
) -> Result<Option<[Point; 2]>, ResumeError> {
    if let Some(paths) = paths(job, (number, None), setup)? {
        return Ok(turning_cut(&paths, blade, heading));
    }
    let near = Bounds::of(&[start]).grown(NEAR_MM);
    let Some(paths) = paths(job, (number, Some(near)), setup)? else { return Ok(None) };
    let limits = blade.limits.map_or(near, |limits| Bounds {
        min: Point::new(limits.min.x.max(near.min.x), limits.min.y.max(near.min.y)),
        max: Point::new(limits.max.x.min(near.max.x), limits.max.y.min(near.max.y)),
    });
    let blade = BladeSettings { limits: Some(limits), ..*blade };
    Ok(turning_cut(&paths, &blade, heading))
}

/// The tip's ways as wanted lines, that of cut `number` first; `near` a place only, if there is one.
/// `None` when they have too many points.
fn paths(
    job: &Spool,
    (number, near): (usize, Option<Bounds>),
    setup: Setup,
) -> Result<Option<Vec<TipPath>>, ResumeError> {
    let (mut paths, mut tip, mut points, mut first) = (Vec::new(), Vec::new(), 0, 0);
    job.each_piece(setup, &mut |piece| {
        let Part::Cut { begins, ends } = piece.part else { return true };
        tip.extend(piece.cut.tip().iter().skip(usize::from(!begins)));
        if points + tip.len() > MOST_POINTS {
            points += tip.len();
            return false;
        }
        if ends {
            let tip = std::mem::take(&mut tip);
            if piece.number + 1 == number {
                first = paths.len();
            } else if near.is_some_and(|near| !near.touches(Bounds::of(&tip))) {
                return true;
            }
            points += tip.len();
            paths.push(path(tip));
        }
        true
    })?;
    let first = first.min(paths.len());
    paths.rotate_left(first);
    Ok((points <= MOST_POINTS).then_some(paths))
}

fn path(points: Vec<Point>) -> TipPath {
    let ends = points.first().zip(points.last());
    let closed = points.len() > 3 && ends.is_some_and(|(a, b)| a.distance(*b) < 1.0);
    TipPath { line: None, role: Role::Design, contour: Contour { points, closed } }
}
