//! Strokes → outlines: the area that a stroked path paints, as contours.
//!
//! In: a path in its own coordinates and the stroke's style. Out: closed contours in the same
//! coordinates whose winding number is nowhere below zero, so that the non-zero union of them is
//! exactly the painted area; [`crate::merge`] resolves overlaps later.
//!
//! Method (our own sweep): the stroke is the area swept by a segment of length `width` that stands
//! across the path. Each side of the sweep is one chain of points with a spacing of its own; where a
//! side runs backwards (the path bends tighter than half the width) the swept area would count
//! negatively, so the chain leaves that part out and it is added as a contour of its own. Caps, joins
//! and the miter limit follow W3C SVG 2, chapter Painting; a turn inside a curve is the limit of finite
//! curvature and therefore round (Nehab, "Converting stroked primitives to filled primitives", ACM
//! Transactions on Graphics 39(4), 2020).
//!
//! Outline before transforming: only then are non-uniform scales and skews exact.

mod chain;
mod corner;
mod curve;
mod dash;
mod spacing;

use kurbo::BezPath;

use crate::drawing::Stroke;
use crate::geometry::Point;

use chain::Subpath;

/// The most pieces that the dashed strokes of a drawing may fall into. Beyond it a finding says which
/// lines are taken as whole: a million dashes are a drawing mistake or an attack, not a cut.
pub const MOST_DASHES: usize = 100_000;

/// The outline of a stroke.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Outline {
    /// Closed contours (first point not repeated), winding numbers nowhere below zero.
    pub contours: Vec<Vec<Point>>,
    /// The line had more than [`MOST_DASHES`] dashes, or dashes finer than the tolerance, and was
    /// taken as whole.
    pub dashes_dropped: bool,
    /// A place where a curve turns within a small part of the width, in the path's coordinates: the
    /// outline follows the definition there, and viewers differ from it and from each other.
    pub tight_turn: Option<Point>,
}

/// Outlines `path` as `stroke` paints it; deviation at most `tolerance`, in the path's own units. (Each span is
/// looked at in seven places: of a thousand places on curves one is up to a twentieth further off.)
///
/// ```
/// use bladewright::drawing::{Cap, Join, Paint, Stroke};
/// let mut path = kurbo::BezPath::new();
/// path.move_to((0.0, 0.0));
/// path.line_to((10.0, 0.0));
/// let stroke = Stroke {
///     width: 2.0, cap: Cap::Butt, join: Join::Miter, miter_limit: 4.0,
///     dashes: vec![], dash_offset: 0.0, paint: Paint::BLACK,
/// };
/// let outline = bladewright::outline::outline(&path, &stroke, 0.01);
/// assert_eq!(outline.contours.len(), 1);
/// assert_eq!(outline.contours[0].len(), 4);
/// ```
pub fn outline(path: &BezPath, stroke: &Stroke, tolerance: f64) -> Outline {
    let mut result = Outline::default();
    let dashed = match dash::apply(path, stroke, tolerance) {
        Ok(dashed) => dashed,
        Err(dash::TooMany) => {
            result.dashes_dropped = true;
            None
        }
    };
    let brush = Brush::new(stroke, tolerance);
    for subpath in Subpath::split(dashed.as_ref().unwrap_or(path)) {
        let tight = chain::sweep(&subpath, &brush, &mut result.contours);
        result.tight_turn = result.tight_turn.or(tight);
    }
    result
}

/// About how many pieces the dashes of `path` are; 0 for a line without dashes.
pub fn dashes(path: &BezPath, stroke: &Stroke) -> f64 {
    dash::pieces(path, stroke)
}

/// A stroke's style with its derived figures.
struct Brush<'a> {
    style: &'a Stroke,
    /// Half the width.
    r: f64,
    tolerance: f64,
}

impl<'a> Brush<'a> {
    fn new(style: &'a Stroke, tolerance: f64) -> Self {
        let r = style.width / 2.0;
        // A tolerance beyond the half width would flatten caps to nothing.
        Self { style, r, tolerance: tolerance.min(r / 4.0).max(r * 1e-6) }
    }

    /// Points of the arc about `center` from `center + from·r`, turning by `sweep` radians; both
    /// ends left out.
    ///
    /// As on curves (`spacing`) they are lifted off the arc as far as the chords then lie within it.
    fn arc(&self, center: Point, from: Point, sweep: f64, out: &mut Vec<Point>) {
        let share = (self.tolerance / self.r).min(0.25);
        // Half the angles that chords span, as seen from a lifted end and from one that is not.
        let [lifted, end] = [1.0 + share, 1.0].map(|reach| ((1.0 - share) / reach).acos());
        let (inner, outer) = (2.0 * lifted, lifted + end);
        if sweep.abs() <= 2.0 * end {
            return;
        }
        let inside = ((sweep.abs() - 2.0 * outer) / inner).ceil().clamp(0.0, 4096.0);
        // Where they need not reach as far all are shorter alike, and lifted less.
        let shorter = sweep / (2.0 * outer + inside * inner);
        let r = self.r * (1.0 + share * shorter * shorter);
        let start = from.angle();
        for i in 0..=inside as usize {
            let angle = start + (outer + inner * i as f64) * shorter;
            out.push(center + Point::along(angle) * r);
        }
    }
}
