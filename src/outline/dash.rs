//! Dashes: a path → the path of its dashes.
//!
//! kurbo cuts the path; two of its habits are worked around here. It drops dashes of length zero,
//! which SVG paints as dots when the cap is round or square, so they are made 1e-6 of the pattern
//! long and taken off the gap after them. And it has no limit, so the number of dashes is
//! estimated first.

use kurbo::{BezPath, ParamCurveArclen};

use crate::drawing::Stroke;

use super::MOST_DASHES;

/// The line would fall into more than [`MOST_DASHES`] pieces.
pub(super) struct TooMany;

/// The dashes of `path`, or `None` when the line is whole.
pub(super) fn apply(path: &BezPath, stroke: &Stroke) -> Result<Option<BezPath>, TooMany> {
    let period: f64 = stroke.dashes.iter().sum();
    if stroke.dashes.is_empty() || !(period.is_finite() && period > 0.0) {
        return Ok(None);
    }
    let length: f64 = path.segments().map(|segment| segment.arclen(period * 1e-3)).sum();
    let pieces = length / period * stroke.dashes.len() as f64;
    if !pieces.is_finite() || pieces > MOST_DASHES as f64 {
        return Err(TooMany);
    }
    let pattern = without_zeros(&stroke.dashes, period);
    let offset = stroke.dash_offset.rem_euclid(period);
    Ok(Some(kurbo::dash(path.iter(), offset, &pattern).collect()))
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
