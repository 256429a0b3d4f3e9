//! Pieces that are too small to weed.

use super::{CutLine, Role};
use crate::finding::{Finding, Place, counted};
use crate::geometry::{Contour, Point};
use crate::profile::Material;

/// How many places are named one by one.
const NAMED: usize = 5;

/// Tells pieces and holes bounded by `lines` that are smaller than `material` can be weeded.
pub fn small_pieces<'a>(
    lines: impl Iterator<Item = &'a CutLine>,
    material: &Material,
) -> Option<Finding> {
    let designs = lines.filter(|line| line.role == Role::Design);
    let outlines = designs.map(|line| &line.contour).filter(|contour| contour.closed);
    let small: Vec<Point> = outlines
        .filter(|contour| is_small(contour, material))
        .map(|contour| contour.bounds().center())
        .collect();
    let (first, others) = small.split_first()?;
    let count = counted(small.len(), "One contour is", "contours are");
    let least = material.smallest_piece_mm;
    let text =
        format!("{count} smaller than {least} mm, which {} may not let you weed.", material.title);
    let places = small.iter().take(NAMED).map(|p| format!("{:.1}, {:.1}", p.x, p.y));
    let more = if small.len() > NAMED { " ..." } else { "" };
    let places = places.collect::<Vec<_>>().join("; ");
    let (they, them) = if others.is_empty() { ("It lies", "it") } else { ("They lie", "them") };
    let hint = format!("{they} around {places}{more} mm. Cut larger, or leave {them} out.");
    let finding = Finding::note("piece-small", text).at(Place::sheet(*first));
    Some(finding.also(others.to_vec()).hint(hint))
}

/// Whether the shorter side of the box around `contour` is below what `material` can be weeded at.
pub(super) fn is_small(contour: &Contour, material: &Material) -> bool {
    let bounds = contour.bounds();
    bounds.width().min(bounds.height()) < material.smallest_piece_mm
}
