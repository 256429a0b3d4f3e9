//! Dashes: a path → the path of its dashes.
//!
//! kurbo cuts the path; three of its habits are worked around here. It drops dashes of length zero,
//! which SVG paints as dots when the cap is round or square, so they are made 1e-6 of the pattern
//! long and taken off the gap after them. It has no limit, so the number of dashes is estimated
//! first. And a subpath that is closed where it begins (`M5 5Z`) lets the next one begin at 0,0: so
//! subpaths are cut one by one, and what has no length stays as it is.

use kurbo::{BezPath, ParamCurveArclen, PathEl, Point};

use crate::drawing::Stroke;

use super::MOST_DASHES;

/// The line would fall into more than [`MOST_DASHES`] pieces, or a dash and its gap together are
/// shorter than twice the tolerance: nothing of them would be left.
pub(super) struct TooMany;

/// The dashes of `path`, or `None` when the line is whole.
pub(super) fn apply(
    path: &BezPath,
    stroke: &Stroke,
    tolerance: f64,
) -> Result<Option<BezPath>, TooMany> {
    let period: f64 = stroke.dashes.iter().sum();
    if stroke.dashes.is_empty() || !(period.is_finite() && period > 0.0) {
        return Ok(None);
    }
    if period < 2.0 * tolerance {
        return Err(TooMany);
    }
    let pieces = pieces(path, stroke);
    if !pieces.is_finite() || pieces > MOST_DASHES as f64 {
        return Err(TooMany);
    }
    let pattern = without_zeros(&stroke.dashes, period);
    let offset = stroke.dash_offset.rem_euclid(period);
    let mut dashed = BezPath::new();
    for subpath in subpaths(path) {
        if subpath.segments().all(|segment| segment.arclen(period * 1e-3) == 0.0) {
            dashed.extend(subpath);
        } else {
            dashed.extend(kurbo::dash(subpath.into_iter(), offset, &pattern));
        }
    }
    Ok(Some(dashed))
}

/// About how many pieces the dashes of `path` are; 0 for a line without dashes.
pub(super) fn pieces(path: &BezPath, stroke: &Stroke) -> f64 {
    let period: f64 = stroke.dashes.iter().sum();
    if stroke.dashes.is_empty() || !(period.is_finite() && period > 0.0) {
        return 0.0;
    }
    let length: f64 = path.segments().map(|segment| segment.arclen(period * 1e-3)).sum();
    length / period * stroke.dashes.len() as f64
}

/// The subpaths of `path`, each with a move to where it begins.
fn subpaths(path: &BezPath) -> Vec<BezPath> {
    let (mut all, mut begin, mut closed) = (Vec::<BezPath>::new(), Point::ORIGIN, true);
    for &element in path.elements() {
        if let PathEl::MoveTo(p) = element {
            begin = p;
        }
        if closed || matches!(element, PathEl::MoveTo(_)) {
            let mut subpath = BezPath::new();
            subpath.move_to(begin);
            all.push(subpath);
        }
        if let (Some(last), false) = (all.last_mut(), matches!(element, PathEl::MoveTo(_))) {
            last.push(element);
        }
        closed = element == PathEl::ClosePath;
    }
    all
}

/// The pattern with dashes of length zero made just long enough to be kept.
fn without_zeros(dashes: &[f64], period: f64) -> Vec<f64> {
    let speck = period * 1e-6;
    let mut pattern = dashes.to_vec();
    for i in (0..pattern.len()).step_by(2) {
        if pattern[i] < speck {
            pattern[i] = speck;
            if let Some(gap) = pattern.get_mut(i + 1) {
                *gap = (*gap - speck).max(0.0);
            }
        }
    }
    pattern
}

#[cfg(test)]
mod tests {
    use kurbo::ParamCurve;

    use super::*;
    use crate::drawing::{Cap, Join, Paint};

    #[test]
    fn a_subpath_without_length_leaves_the_next_one_alone() {
        let stroke = Stroke {
            width: 1.0,
            cap: Cap::Round,
            join: Join::Round,
            miter_limit: 4.0,
            dashes: vec![4.0, 2.0],
            dash_offset: 0.0,
            paint: Paint::BLACK,
        };
        for (text, moves, length) in [
            ("M20 20H28", 2, 6.0),
            ("M5 5ZL20 5", 4, 11.0),
            ("M5 5ZM20 20H24Z", 2, 6.0),
            ("M5 5H5M20 20H24", 2, 4.0),
        ] {
            let path = BezPath::from_svg(text).unwrap();
            let Ok(Some(dashed)) = apply(&path, &stroke, 0.01) else { panic!("{text}") };
            let begun = dashed.iter().filter(|e| matches!(e, PathEl::MoveTo(_))).count();
            let drawn: f64 = dashed.segments().map(|s| s.arclen(1e-9)).sum();
            assert!(begun == moves && (drawn - length).abs() < 1e-6, "{text}: {dashed:?}");
            let ends = dashed.segments().flat_map(|s| [s.eval(0.0), s.eval(1.0)]);
            assert!(ends.into_iter().all(|p| p.x >= 5.0 && p.y >= 5.0), "{text}: {dashed:?}");
        }
    }
}
