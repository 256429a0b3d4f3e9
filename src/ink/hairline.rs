//! Lines so thin that no outline is left of them: drawn to be followed, not to be cut around.

use kurbo::BezPath;

use super::InkSettings;
use super::paint::{Effect, effect, points, stretch};
use crate::drawing::{Shape, Stroke};
use crate::finding::{Finding, counted};

/// Below this width no outline is left of a line, mm: outlines are told from each other down to the chord
/// tolerance, which is a little more.
const HAIRLINE_MM: f64 = 0.01;
/// What the finding is called.
pub(super) const CODE: &str = "hairline";

/// Lines that are only meant to be followed, by their width.
pub(super) fn finding(shapes: &[&Shape], settings: &InkSettings) -> Option<Finding> {
    let thin = |shape: &&&Shape| {
        let ink = |stroke: &&Stroke| effect(&stroke.paint, settings.paper) == Effect::Ink;
        let width = |stroke: &Stroke| stroke.width * stretch(shape.to_page);
        let stroke = shape.stroke.as_ref().filter(ink);
        let bare = shape.fill.is_none() || is_straight(&shape.path);
        bare && stroke.is_some_and(|stroke| width(stroke) < HAIRLINE_MM)
    };
    let mut thin = shapes.iter().filter(thin);
    let first = thin.next()?;
    let text = counted(1 + thin.count(), "One line is a hairline", "lines are hairlines");
    let text = format!(
        "{text}, thinner than {HAIRLINE_MM} mm: no outline is left to cut around, so nothing is cut there."
    );
    let hint =
        "To cut along such lines use --trace lines; else draw them as wide as the strip is to be.";
    Some(Finding::warning(CODE, text).at(first.place).hint(hint))
}

/// Whether a path lies on one line, so that its fill has no area.
fn is_straight(path: &BezPath) -> bool {
    let Some(first) = points(path).next() else { return true };
    let axes = points(path).map(|p| p - first);
    let Some(axis) = axes.max_by(|a, b| a.hypot2().total_cmp(&b.hypot2())) else { return true };
    points(path).all(|p| axis.cross(p - first).abs() <= 1e-9 * axis.hypot2())
}
