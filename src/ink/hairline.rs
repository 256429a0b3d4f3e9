//! What is so small that no outline is left of it: lines drawn to be followed, not to be cut around, and
//! specks. Both are left out and told.

use kurbo::BezPath;

use super::InkSettings;
use super::paint::{Coat, Effect, effect, points, stretch};
use crate::drawing::{Fill, Shape, Stroke};
use crate::finding::{Finding, counted};
use crate::merge::{Area, SPECK_UM2};

/// Below this width no outline is left of a line, mm: outlines are told from each other down to the chord
/// tolerance, which is a little more.
const HAIRLINE_MM: f64 = 0.01;
/// What the finding is called.
pub(super) const CODE: &str = "hairline";

/// Lines that are only meant to be followed, by their width.
pub(super) fn finding(shapes: &[&Shape], settings: &InkSettings) -> Option<Finding> {
    let thin = |shape: &&&Shape| {
        let ink = |stroke: &&Stroke| effect(&stroke.paint, settings.paper) == Effect::Ink;
        let stroke = shape.stroke.as_ref().filter(ink);
        let filled = |fill: Fill| effect(&fill.paint, settings.paper) == Effect::Ink;
        let bare = !shape.fill.is_some_and(filled) || is_straight(&shape.path);
        bare && stroke.is_some_and(|stroke| is_hairline(shape, stroke))
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

/// Whether a line of `shape` is too thin for an outline.
pub(super) fn is_hairline(shape: &Shape, stroke: &Stroke) -> bool {
    stroke.width * stretch(shape.to_page) < HAIRLINE_MM
}

/// Whether a filled area is smaller than any piece that merging keeps. Paths on one line have no area to
/// begin with.
pub(super) fn is_speck(shape: &Shape, area: &Area) -> bool {
    let bounds = area.bounds();
    let size = bounds.max - bounds.min;
    let large = !bounds.is_empty() && size.x * size.y > 100.0 * SPECK_MM2;
    let inside = || area.contours().map(|contour| contour.signed_area()).sum::<f64>();
    !large && inside().abs() < SPECK_MM2 && !is_straight(&shape.path)
}

/// The smallest piece that merging keeps, mm².
const SPECK_MM2: f64 = SPECK_UM2 as f64 * 1e-6;

/// Specks by their coats, which are left out.
pub(super) fn specks(coats: &[Coat], settings: &InkSettings) -> Option<Finding> {
    let speck =
        |coat: &&Coat| coat.told.speck && effect(&coat.paint, settings.paper) == Effect::Ink;
    let mut specks = coats.iter().filter(speck);
    let first = specks.next()?;
    let text = counted(1 + specks.count(), "One shape is a speck", "shapes are specks");
    let text = format!(
        "{text} of less than {SPECK_UM2} square micrometres: no outline is left to cut around, so nothing is \
         cut there."
    );
    let hint = "Draw it larger, or delete it.";
    Some(Finding::note("speck", text).at(first.place).hint(hint))
}

/// Whether a path lies on one line, so that its fill has no area.
fn is_straight(path: &BezPath) -> bool {
    let Some(first) = points(path).next() else { return true };
    let axes = points(path).map(|p| p - first);
    let Some(axis) = axes.max_by(|a, b| a.hypot2().total_cmp(&b.hypot2())) else { return true };
    points(path).all(|p| axis.cross(p - first).abs() <= 1e-9 * axis.hypot2())
}
