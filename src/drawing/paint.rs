//! Paints: what is ink, and in which colour it counts.

use kurbo::Affine;
use usvg::Paint as Source;

use super::convert::{Context, Walk};
use super::gradient::{Gradient, gradient};
use super::{Paint, PaintSource, Shape};

impl Walk<'_> {
    /// The paint of a fill or stroke; none if nothing of it can be seen. A gradient counts as the
    /// mean of its visible stops where one colour is asked for; a pattern stands for itself until
    /// it is written out.
    pub(super) fn paint_of(
        &mut self,
        paint: &Source,
        opacity: f32,
        context: &Context,
    ) -> Option<Paint> {
        let opacity = opacity * context.opacity;
        let (rgb, alpha) = match paint {
            Source::Color(c) => ([c.red, c.green, c.blue], 1.0),
            Source::LinearGradient(g) => mean(g.stops())?,
            Source::RadialGradient(g) => mean(g.stops())?,
            Source::Pattern(_) => ([128, 128, 128], 1.0),
        };
        if opacity <= 0.0 {
            return None;
        }
        let source = match gradient(paint, opacity, context.to_page) {
            Some(gradient) => PaintSource::Gradient(self.keep_gradient(gradient)),
            None if matches!(paint, Source::Pattern(_)) => PaintSource::Pattern,
            None => PaintSource::Colour,
        };
        Some(Paint { rgb, alpha: opacity * alpha, source })
    }

    fn keep_gradient(&mut self, gradient: Gradient) -> usize {
        self.drawing.gradients.push(gradient);
        self.drawing.gradients.len() - 1
    }

    /// Moves a shape of a pattern's motif into a tile, with the gradients that paint it.
    pub(super) fn move_shape(&mut self, shape: &mut Shape, by: Affine) {
        shape.to_page = by * shape.to_page;
        let fill = shape.fill.as_mut().map(|f| &mut f.paint);
        for paint in fill.into_iter().chain(shape.stroke.as_mut().map(|s| &mut s.paint)) {
            if let PaintSource::Gradient(index) = paint.source
                && let Some(mut gradient) = self.drawing.gradients.get(index).cloned()
            {
                gradient.to_page = by * gradient.to_page;
                paint.source = PaintSource::Gradient(self.keep_gradient(gradient));
            }
        }
    }
}

/// The pattern behind a paint.
pub(super) fn pattern(paint: &Source) -> Option<&usvg::Pattern> {
    match paint {
        Source::Pattern(pattern) => Some(pattern),
        _ => None,
    }
}

/// Mean colour by opacity, and the highest opacity; none if all stops are fully transparent.
fn mean(stops: &[usvg::Stop]) -> Option<([u8; 3], f32)> {
    let total: f32 = stops.iter().map(|s| s.opacity().get()).sum();
    if total <= 0.0 {
        return None;
    }
    let channel = |pick: fn(usvg::Color) -> u8| {
        let sum: f32 = stops.iter().map(|s| f32::from(pick(s.color())) * s.opacity().get()).sum();
        (sum / total).round().clamp(0.0, 255.0) as u8
    };
    let highest = stops.iter().map(|s| s.opacity().get()).fold(0.0, f32::max);
    Some(([channel(|c| c.red), channel(|c| c.green), channel(|c| c.blue)], highest))
}
