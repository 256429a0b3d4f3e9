//! Clips → areas, each once.

use crate::drawing::{Clip, ClipKind, Drawing};
use crate::merge::Area;

use super::InkError;
use super::paint::{self, Coat};

/// The area of every clip of `drawing`, in its order.
pub(super) fn areas(drawing: &Drawing, tolerance: f64) -> Result<Vec<Area>, InkError> {
    let mut areas: Vec<Area> = Vec::with_capacity(drawing.clips.len());
    for clip in &drawing.clips {
        let area = area(clip, &areas, tolerance)?;
        areas.push(area);
    }
    Ok(areas)
}

fn area(clip: &Clip, known: &[Area], tolerance: f64) -> Result<Area, InkError> {
    let mut total = Area::default();
    for shape in &clip.shapes {
        for coat in paint::shape_coats(shape, known, tolerance)? {
            total = match clip.kind {
                ClipKind::Luminance if hides(&coat) => total.minus(&coat.area),
                _ => total.plus(coat.area),
            };
        }
    }
    Ok(clip
        .clips
        .iter()
        .filter_map(|&i| known.get(i))
        .fold(total, |area, other| area.within(other)))
}

/// Opaque black has no luminance: a mask hides what it covers (CSS Masking 1).
fn hides(coat: &Coat) -> bool {
    coat.paint.solid && coat.paint.rgb == [0; 3] && coat.paint.alpha >= 1.0
}
