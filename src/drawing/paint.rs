//! Paints: what is ink, and in which colour it counts.

use usvg::Paint as Source;

use super::Paint;

/// The paint as one colour; none if nothing of it can be seen. A gradient counts as the mean of
/// its visible stops and is never paper; a pattern stands for itself until it is written out.
pub(super) fn solid(paint: &Source, opacity: f32) -> Option<Paint> {
    let visible = opacity > 0.0;
    let (rgb, alpha, solid) = match paint {
        Source::Color(c) => ([c.red, c.green, c.blue], 1.0, true),
        Source::LinearGradient(g) => mean(g.stops())?,
        Source::RadialGradient(g) => mean(g.stops())?,
        Source::Pattern(_) => ([128, 128, 128], 1.0, false),
    };
    visible.then_some(Paint { rgb, alpha: opacity * alpha, solid })
}

/// The pattern behind a paint.
pub(super) fn pattern(paint: &Source) -> Option<&usvg::Pattern> {
    match paint {
        Source::Pattern(pattern) => Some(pattern),
        _ => None,
    }
}

/// Mean colour by opacity, and the highest opacity; none if all stops are fully transparent.
fn mean(stops: &[usvg::Stop]) -> Option<([u8; 3], f32, bool)> {
    let total: f32 = stops.iter().map(|s| s.opacity().get()).sum();
    if total <= 0.0 {
        return None;
    }
    let channel = |pick: fn(usvg::Color) -> u8| {
        let sum: f32 = stops.iter().map(|s| f32::from(pick(s.color())) * s.opacity().get()).sum();
        (sum / total).round().clamp(0.0, 255.0) as u8
    };
    let highest = stops.iter().map(|s| s.opacity().get()).fold(0.0, f32::max);
    Some(([channel(|c| c.red), channel(|c| c.green), channel(|c| c.blue)], highest, false))
}
