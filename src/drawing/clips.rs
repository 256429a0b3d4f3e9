//! Clip paths and masks -> [`Clip`]s.
//!
//! A clip path shows the union of its children's fills; clip paths on its children and on itself
//! bound it further. A mask shows where its content is lighter than black (or, by `mask-type`,
//! opaque), inside its own rectangle. Both hang in the coordinates of the group that they bound.

use kurbo::{Affine, Rect, Shape as _};

use super::convert::{Context, Walk, affine};
use super::{Clip, ClipKind, Fill, FillRule, Paint, Shape};

impl Walk<'_> {
    /// The clip's index.
    pub(super) fn clip_path(&mut self, clip: &usvg::ClipPath, context: &Context) -> usize {
        let parent = clip.clip_path().map(|parent| self.clip_path(parent, context));
        let inner = Context {
            to_page: context.to_page * affine(clip.transform()),
            opacity: 1.0,
            clips: Vec::new(),
            veil: None,
            element: context.element,
            original: None,
        };
        let shapes = self.contents(clip.root(), &inner);
        self.keep(Clip { shapes, kind: ClipKind::Painted, clips: parent.into_iter().collect() })
    }

    /// The mask's index.
    pub(super) fn mask(&mut self, mask: &usvg::Mask, context: &Context) -> usize {
        let parent = mask.mask().map(|parent| self.mask(parent, context));
        let inner = Context {
            to_page: context.to_page,
            opacity: 1.0,
            clips: Vec::new(),
            veil: None,
            element: context.element,
            original: None,
        };
        let r = mask.rect();
        let rect = [r.left(), r.top(), r.right(), r.bottom()].map(f64::from);
        let frame = self.frame_clip(Rect::new(rect[0], rect[1], rect[2], rect[3]), &inner);
        let shapes = self.contents(mask.root(), &inner);
        let kind = match mask.kind() {
            usvg::MaskType::Luminance => ClipKind::Luminance,
            usvg::MaskType::Alpha => ClipKind::Painted,
        };
        self.keep(Clip { shapes, kind, clips: parent.into_iter().chain([frame]).collect() })
    }

    fn contents(&mut self, root: &usvg::Group, inner: &Context) -> Vec<Shape> {
        let mut shapes = Vec::new();
        self.inside += 1;
        self.children(root, inner, &mut shapes);
        self.inside -= 1;
        for shape in &mut shapes {
            shape.layer = 0;
        }
        shapes
    }

    /// A clip in the shape of a rectangle in the context's coordinates.
    pub(super) fn frame_clip(&mut self, frame: Rect, context: &Context) -> usize {
        let shape = self.frame(frame, context.to_page, context.element);
        self.keep(Clip { shapes: vec![shape], ..Clip::default() })
    }

    fn frame(&self, frame: Rect, to_page: Affine, element: Option<usize>) -> Shape {
        Shape {
            layer: 0,
            id: None,
            place: self.place(element),
            path: frame.to_path(1.0),
            to_page,
            fill: Some(Fill { rule: FillRule::NonZero, paint: Paint::BLACK }),
            stroke: None,
            stroke_first: false,
            clips: Vec::new(),
            veil: None,
        }
    }

    /// A clip in the shape of what one shape paints.
    pub(super) fn area_clip(&mut self, shape: &Shape) -> usize {
        let mut area = Shape { clips: Vec::new(), layer: 0, ..shape.clone() };
        if let Some(fill) = &mut area.fill {
            fill.paint = Paint::BLACK;
        }
        if let Some(stroke) = &mut area.stroke {
            stroke.paint = Paint::BLACK;
        }
        self.keep(Clip { shapes: vec![area], ..Clip::default() })
    }

    fn keep(&mut self, clip: Clip) -> usize {
        self.drawing.clips.push(clip);
        self.drawing.clips.len() - 1
    }
}
