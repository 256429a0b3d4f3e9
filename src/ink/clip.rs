//! Clips → areas, each once.

use crate::drawing::{Clip, ClipKind, Drawing, Paint, PaintSource};
use crate::merge::Area;

use super::gradient::{self, Asks, Detail, Part};
use super::paint::{self, Coat};
use super::{InkError, InkSettings};

/// The area of every clip of `drawing`, in its order.
pub(super) fn areas(drawing: &Drawing, settings: &InkSettings) -> Result<Vec<Area>, InkError> {
    let mut areas: Vec<Area> = Vec::with_capacity(drawing.clips.len());
    for clip in &drawing.clips {
        let area = area(clip, &areas, drawing, settings)?;
        areas.push(area);
    }
    Ok(areas)
}

fn area(
    clip: &Clip,
    known: &[Area],
    drawing: &Drawing,
    settings: &InkSettings,
) -> Result<Area, InkError> {
    let (mut total, mut hidden) = (Area::default(), Area::default());
    for shape in &clip.shapes {
        for coat in paint::shape_coats(shape, known, settings)? {
            let (shows, hides) = parts(coat, clip.kind, drawing, settings.tolerance_mm);
            // Neighbours that hide are taken off at once: one by one would take their square.
            hidden = hidden.plus(hides);
            if !shows.is_empty() && !hidden.is_empty() {
                total = total.minus(&std::mem::take(&mut hidden));
            }
            total = total.plus(shows);
        }
    }
    let total = if hidden.is_empty() { total } else { total.minus(&hidden) };
    Ok(clip
        .clips
        .iter()
        .filter_map(|&i| known.get(i))
        .fold(total, |area, other| area.within(other)))
}

/// What a coat of a clip shows, and what it hides that others show.
fn parts(coat: Coat, kind: ClipKind, drawing: &Drawing, tolerance: f64) -> (Area, Area) {
    let luminance = kind == ClipKind::Luminance;
    let gradient = match coat.paint.source {
        PaintSource::Gradient(index) => drawing.gradients.get(index),
        _ => None,
    };
    let Some(gradient) = gradient else {
        return match shows(&coat.paint, luminance) {
            Shows::All => (coat.area, Area::default()),
            Shows::Through => (Area::default(), Area::default()),
            Shows::Nothing => (Area::default(), coat.area),
        };
    };
    let bounds = coat.area.bounds();
    let detail = Detail::of(drawing, tolerance);
    let part = |asks: Asks<'_>| gradient::part(gradient, bounds, detail, asks);
    if !luminance {
        return (restricted(&coat.area, part(&gradient::is_ink(None)), true), Area::default());
    }
    let shown = restricted(&coat.area, part(&gradient::is_bright), true);
    (shown, restricted(&coat.area, part(&gradient::is_dark), false))
}

/// `area` within `part`; all or nothing of it if that is not known.
fn restricted(area: &Area, part: Part, if_unknown: bool) -> Area {
    match part {
        Part::Some(part) => area.within(&part),
        Part::All => area.clone(),
        Part::Unknown if if_unknown => area.clone(),
        Part::Nothing | Part::Unknown => Area::default(),
    }
}

/// What plain paint does to what lies under it in a mask.
enum Shows {
    /// It shows the shape.
    All,
    /// It lets through.
    Through,
    /// It hides the shape.
    Nothing,
}

/// By the rule for gradients: up to eight levels of 255 of luminance, or of opacity, show nothing that could
/// be seen (CSS Masking 1: opaque black hides what it covers).
fn shows(paint: &Paint, luminance: bool) -> Shows {
    let (rgb, alpha) = (paint.rgb.map(f64::from), f64::from(paint.alpha));
    let plain = paint.source == PaintSource::Colour;
    match luminance {
        true if !plain || gradient::is_bright(rgb, alpha) => Shows::All,
        true if gradient::is_dark(rgb, alpha) => Shows::Nothing,
        false if !plain || gradient::is_ink(None)(rgb, alpha) => Shows::All,
        _ => Shows::Through,
    }
}
