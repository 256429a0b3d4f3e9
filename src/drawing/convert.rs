//! The SVG library's tree -> flat shapes with transforms multiplied in f64.
//!
//! The library computes in f32 and offers absolute transforms; multiplying the relative ones here
//! in f64 keeps a 25 m banner within 0.003 mm (measured, against 0.0043 otherwise). Group opacity
//! goes into the paint, clip paths and masks into [`Drawing::clips`] (`clips.rs`), patterns become
//! tiles (`patterns.rs`), text and SVG pictures are walked like groups.

use std::sync::Arc;

use kurbo::{Affine, BezPath, PathEl, Point, Shape as _};
use usvg::tiny_skia_path::PathSegment;

use super::lettering::{self, Lettering, Piece};
use super::limits::{MAX_PAGE_MM, MAX_TILE_SHAPES};
use super::survey::Survey;
use super::{
    Cap, Drawing, Fill, FillRule, Join, Layer, Shape, Stroke, Veil, markers, paint, round,
};
use crate::finding::{Finding, Place};
use crate::units::MM_PER_PX;

/// What a group hands to its children.
#[derive(Clone)]
pub(super) struct Context {
    /// From the group's coordinates to page millimetres.
    pub(super) to_page: Affine,
    /// Product of the opacities of the groups around.
    pub(super) opacity: f32,
    /// What bounds the view.
    pub(super) clips: Vec<usize>,
    /// The innermost group with an opacity.
    pub(super) veil: Option<usize>,
    /// The nearest element known by id.
    pub(super) element: Option<usize>,
    /// The element that the group's shape is a copy of, where that is marked.
    pub(super) original: Option<usize>,
}

/// What happened to shapes that are not in the drawing.
#[derive(Default)]
pub(super) struct Unseen {
    pub(super) transparent: Vec<Place>,
    pub(super) hidden: Vec<Place>,
    pub(super) unpainted: Vec<Place>,
}

/// The walk over one tree.
pub(super) struct Walk<'a> {
    pub(super) survey: &'a Survey<'a>,
    pub(super) drawing: Drawing,
    pub(super) findings: Vec<Finding>,
    pub(super) unseen: Unseen,
    /// Which elements showed up.
    pub(super) seen: Vec<bool>,
    /// Shapes that patterns may still be written out to.
    pub(super) tiles_left: usize,
    /// The fonts that texts were set in.
    fonts: Arc<usvg::fontdb::Database>,
    /// The texts, parted by the fonts that they are set in.
    pub(super) pieces: Vec<Piece>,
    /// Nesting of patterns, clips and masks: inside them, nothing is reported.
    pub(super) inside: usize,
}

/// Walks the tree of a drawing, or of a part of it.
pub(super) fn convert<'a>(tree: &usvg::Tree, survey: &'a Survey<'a>) -> Walk<'a> {
    let size = tree.size();
    let page_mm = (page_side(size.width()), page_side(size.height()));
    let mut walk = Walk {
        survey,
        drawing: Drawing { page_mm, ..Drawing::default() },
        findings: Vec::new(),
        unseen: Unseen::default(),
        seen: vec![false; survey.elements.len()],
        tiles_left: MAX_TILE_SHAPES,
        fonts: Arc::clone(tree.fontdb()),
        pieces: Vec::new(),
        inside: 0,
    };
    let page = Context {
        to_page: Affine::scale(MM_PER_PX),
        opacity: 1.0,
        clips: Vec::new(),
        veil: None,
        element: None,
        original: None,
    };
    let mut shapes = Vec::new();
    walk.children(tree.root(), &page, &mut shapes);
    walk.drawing.shapes = shapes;
    walk
}

/// A side of the page, mm. The library keeps 24 bits of it: a hundred millimetres come back as
/// 100.000001, so it is rounded to a tenth of a micrometre.
fn page_side(px: f32) -> f64 {
    (f64::from(px) * MM_PER_PX * 1e4).round() / 1e4
}

/// Shapes outside every layer get one of their own, where the first of them lies.
fn settle_layers(drawing: &mut Drawing, named: &[Layer]) {
    let loose = drawing.shapes.iter().position(|s| s.layer == LOOSE);
    drawing.layers = named.to_vec();
    let Some(first) = loose else { return };
    let before = drawing.shapes[..first].iter().map(|s| s.layer + 1).max().unwrap_or(0);
    let name = unused_name(named);
    drawing.layers.insert(before, Layer { name, place: drawing.shapes[first].place });
    let shapes = drawing.shapes.iter_mut().map(|shape| &mut shape.layer);
    for layer in shapes.chain(drawing.lettering.iter_mut().map(|letters| &mut letters.layer)) {
        *layer = match *layer {
            LOOSE => before,
            layer if layer >= before => layer + 1,
            layer => layer,
        };
    }
}

/// Stands for "no layer" until layers are settled.
const LOOSE: usize = usize::MAX;

fn unused_name(layers: &[Layer]) -> String {
    let mut name = String::from(if layers.is_empty() { "drawing" } else { "outside layers" });
    while layers.iter().any(|l| l.name == name) {
        name.push('\'');
    }
    name
}

impl Walk<'_> {
    /// Two parts of a drawing, which are of the same page, as one. Parts refer to nothing, so their shapes name
    /// by number only the frames of nested pages and what fades them; nor is there text.
    pub(super) fn and(mut self, mut next: Self) -> Self {
        let (clips, veils) = (self.drawing.clips.len(), self.drawing.veils.len());
        let behind = |veil: &mut Option<usize>| *veil = veil.map(|veil| veil + veils);
        let within = |all: &mut Vec<usize>| all.iter_mut().for_each(|clip| *clip += clips);
        next.drawing.veils.iter_mut().for_each(|veil| behind(&mut veil.around));
        next.drawing.clips.iter_mut().for_each(|clip| within(&mut clip.clips));
        let framing = next.drawing.clips.iter_mut().flat_map(|clip| &mut clip.shapes);
        for shape in next.drawing.shapes.iter_mut().chain(framing) {
            within(&mut shape.clips);
            behind(&mut shape.veil);
        }
        self.drawing.shapes.append(&mut next.drawing.shapes);
        self.drawing.clips.append(&mut next.drawing.clips);
        self.drawing.veils.append(&mut next.drawing.veils);
        self.findings.extend(next.findings);
        self.unseen.transparent.extend(next.unseen.transparent);
        self.unseen.hidden.extend(next.unseen.hidden);
        self.unseen.unpainted.extend(next.unseen.unpainted);
        self.seen.iter_mut().zip(next.seen).for_each(|(seen, too)| *seen |= too);
        self
    }

    /// Gives the whole drawing its layers.
    pub(super) fn settle_layers(&mut self) {
        settle_layers(&mut self.drawing, &self.survey.layers);
    }

    /// Walks a group's children.
    pub(super) fn children(
        &mut self,
        group: &usvg::Group,
        context: &Context,
        out: &mut Vec<Shape>,
    ) {
        for (at, node) in group.children().iter().enumerate() {
            match node {
                usvg::Node::Group(inner) => match markers::marked(group.children(), at) {
                    Some(path) => self.markers(inner, path, context, out),
                    None => self.group(inner, context, out),
                },
                usvg::Node::Path(path) => self.path(path, context, out),
                usvg::Node::Text(text) => self.text(text, context, out),
                usvg::Node::Image(image) => self.image(image, context, out),
            }
        }
    }

    pub(super) fn group(&mut self, group: &usvg::Group, context: &Context, out: &mut Vec<Shape>) {
        let element = self.meet(group.id()).or(context.element);
        let opacity = context.opacity * group.opacity().get();
        let to_page = context.to_page * affine(group.transform());
        let veil = self.veil(group, context);
        let original = group.clip_path().and_then(|clip| self.survey.copied(clip.id()));
        let clips = context.clips.clone();
        let mut inner = Context { to_page, opacity, clips, veil, element, original };
        let clip = group.clip_path();
        let clip = if original.is_some() { clip.and_then(|mark| mark.clip_path()) } else { clip };
        if let Some(clip) = clip {
            let clip = self.clip_path(clip, &inner);
            inner.clips.push(clip);
        }
        if let Some(mask) = group.mask() {
            let mask = self.mask(mask, &inner);
            inner.clips.push(mask);
        }
        self.children(group, &inner, out);
    }

    /// The innermost group with an opacity inside `group`, which may be itself.
    fn veil(&mut self, group: &usvg::Group, context: &Context) -> Option<usize> {
        let opacity = group.opacity().get() * context.opacity;
        if group.opacity().get() >= 1.0 {
            return context.veil;
        }
        self.drawing.veils.push(Veil { around: context.veil, opacity });
        Some(self.drawing.veils.len() - 1)
    }

    /// Notes that an element is in the tree.
    pub(super) fn meet(&mut self, id: &str) -> Option<usize> {
        let element = if id.is_empty() { None } else { self.survey.find(id) }?;
        if let Some(seen) = self.seen.get_mut(element) {
            *seen = true;
        }
        Some(element)
    }

    /// The element's place in the text, as far as known.
    pub(super) fn place(&self, element: Option<usize>) -> Place {
        element.and_then(|e| self.survey.elements.get(e)).map_or(self.survey.root, |e| e.place)
    }

    fn path(&mut self, path: &usvg::Path, context: &Context, out: &mut Vec<Shape>) {
        let own = self.meet(path.id());
        let context = &Context { element: own.or(context.element), ..context.clone() };
        let place = self.place(context.element);
        if !path.is_visible() {
            let bare = path.fill().is_none() && path.stroke().is_none();
            if self.inside == 0 && !(bare && covers_page(path, context, self.drawing.page_mm)) {
                let list = if bare { &mut self.unseen.unpainted } else { &mut self.unseen.hidden };
                list.push(place);
            }
            return;
        }
        let Some(shape) = self.shape(path, own, context) else { return };
        if !in_range(&shape) {
            return self.out_of_range(place);
        }
        let before = out.len();
        self.paint(path, shape, context, out);
        if out.len() == before && self.inside == 0 {
            self.unseen.transparent.push(place);
        }
    }

    fn out_of_range(&mut self, place: Place) {
        let text = "the shape lies hundreds of metres away, beyond any sheet; it is left out.";
        let finding = Finding::error("coordinate-out-of-range", text)
            .hint("Move it to the page, or delete it.");
        self.findings.push(finding.at(place));
    }

    /// The shape without its paint.
    fn shape(&self, path: &usvg::Path, own: Option<usize>, context: &Context) -> Option<Shape> {
        let mut outline = bez_path(path.data());
        if outline.elements().len() < 2 {
            return None;
        }
        let mut to_page = context.to_page;
        let non_scaling = path.rendering_mode() == usvg::ShapeRendering::CrispEdges;
        if non_scaling || path.rendering_mode() == usvg::ShapeRendering::OptimizeSpeed {
            outline = round::refined(outline, &to_page);
        }
        if non_scaling {
            // The line's width counts in CSS pixels of the page (SVG 2, vector-effect).
            outline = Affine::scale(1.0 / MM_PER_PX) * to_page * outline;
            to_page = Affine::scale(MM_PER_PX);
        }
        let known = own.and_then(|e| self.survey.elements.get(e));
        let nearest = context.element.and_then(|e| self.survey.elements.get(e));
        Some(Shape {
            layer: nearest.and_then(|e| e.layer).unwrap_or(LOOSE),
            id: known.and_then(|e| e.id).map(str::to_owned),
            place: self.place(context.element),
            path: outline,
            to_page,
            fill: None,
            stroke: None,
            stroke_first: path.paint_order() == usvg::PaintOrder::StrokeAndFill,
            clips: context.clips.clone(),
            veil: context.veil,
        })
    }

    /// Puts the painted shape into the list: once if its paints are plain, else in parts.
    fn paint(
        &mut self,
        path: &usvg::Path,
        mut shape: Shape,
        context: &Context,
        out: &mut Vec<Shape>,
    ) {
        let own = context.original.or(if path.id().is_empty() { None } else { context.element });
        let length = own.and_then(|e| self.survey.elements.get(e)).and_then(|e| e.path_length);
        shape.fill = path.fill().and_then(|f| {
            let paint = self.paint_of(f.paint(), f.opacity().get(), context)?;
            Some(Fill { rule: fill_rule(f.rule()), paint })
        });
        shape.stroke = path.stroke().and_then(|s| {
            let paint = self.paint_of(s.paint(), s.opacity().get(), context)?;
            Some(line(s, paint, dash_scale(&shape, length)))
        });
        let fill_pattern = path.fill().and_then(|f| paint::pattern(f.paint()));
        let stroke_pattern = path.stroke().and_then(|s| paint::pattern(s.paint()));
        if fill_pattern.is_none() && stroke_pattern.is_none() {
            if shape.fill.is_some() || shape.stroke.is_some() {
                out.push(shape);
            }
            return;
        }
        let stroke_part = (Shape { fill: None, ..shape.clone() }, stroke_pattern);
        let fill_part = (Shape { stroke: None, ..shape }, fill_pattern);
        let parts = match fill_part.0.stroke_first {
            true => [stroke_part, fill_part],
            false => [fill_part, stroke_part],
        };
        for (part, pattern) in parts {
            match pattern {
                _ if part.fill.is_none() && part.stroke.is_none() => {}
                Some(pattern) => self.tiles(&part, pattern, context, out),
                None => out.push(part),
            }
        }
    }

    fn text(&mut self, text: &usvg::Text, context: &Context, out: &mut Vec<Shape>) {
        let element = self.meet(text.id()).or(context.element);
        if self.inside == 0 || text.layouted().iter().any(|s| s.visible) {
            self.missing_glyphs(text, element);
        }
        let place = self.place(element);
        self.pieces.extend(lettering::pieces(text, place, &self.fonts));
        let inner = Context { element, ..context.clone() };
        let before = out.len();
        self.children(text.flattened(), &inner, out);
        if self.inside == 0
            && let Some(shape) = out.get(before)
        {
            self.letters(text, shape, &inner);
        }
    }

    /// Notes how high the letters of a text are, of which `shape` is the first.
    fn letters(&mut self, text: &usvg::Text, shape: &Shape, context: &Context) {
        let place = self.place(context.element);
        let paints = [shape.fill.map(|f| f.paint), shape.stroke.as_ref().map(|s| s.paint)];
        let Some(paint) = paints.into_iter().flatten().next() else { return };
        let letters =
            Lettering::of(text, (place, shape.layer), (context.to_page, paint), &self.fonts);
        self.drawing.lettering.extend(letters);
        self.findings
            .extend(lettering::lacking(text, &self.fonts).map(|finding| finding.at(place)));
    }

    /// A font's box for a missing character would be cut like any other glyph.
    fn missing_glyphs(&mut self, text: &usvg::Text, element: Option<usize>) {
        let glyphs = text.layouted().iter().flat_map(|span| &span.positioned_glyphs);
        let mut missing: Vec<&str> =
            glyphs.filter(|g| g.id.0 == 0).map(|g| g.text.as_str()).collect();
        missing.sort_unstable();
        missing.dedup();
        missing.retain(|t| !t.trim().is_empty());
        if missing.is_empty() {
            return;
        }
        let text = format!(
            "no installed font has {}; an empty box would be cut in its place.",
            missing.iter().map(|m| super::survey::quoted(m)).collect::<Vec<_>>().join(", ")
        );
        let finding = Finding::error("glyph-missing", text)
            .hint("Choose a font that has it, or convert the text to paths.");
        self.findings.push(finding.at(self.place(element)));
    }

    fn image(&mut self, image: &usvg::Image, context: &Context, out: &mut Vec<Shape>) {
        let usvg::ImageKind::SVG(tree) = image.kind() else { return };
        if !image.is_visible() {
            return self.unseen.hidden.push(self.place(context.element));
        }
        let mut inner = context.clone();
        let frame = kurbo::Rect::new(
            0.0,
            0.0,
            f64::from(tree.size().width()),
            f64::from(tree.size().height()),
        );
        let clip = self.frame_clip(frame, &inner);
        inner.clips.push(clip);
        self.inside += 1;
        self.children(tree.root(), &inner, out);
        self.inside -= 1;
    }
}

/// The line's own properties.
fn line(stroke: &usvg::Stroke, paint: super::Paint, dash_scale: f64) -> Stroke {
    let dashes = stroke.dasharray().unwrap_or_default();
    Stroke {
        width: f64::from(stroke.width().get()),
        cap: match stroke.linecap() {
            usvg::LineCap::Butt => Cap::Butt,
            usvg::LineCap::Round => Cap::Round,
            usvg::LineCap::Square => Cap::Square,
        },
        join: match stroke.linejoin() {
            usvg::LineJoin::Miter => Join::Miter,
            usvg::LineJoin::MiterClip => Join::MiterClip,
            usvg::LineJoin::Round => Join::Round,
            usvg::LineJoin::Bevel => Join::Bevel,
        },
        miter_limit: f64::from(stroke.miterlimit().get()),
        dashes: dashes.iter().map(|d| f64::from(*d) * dash_scale).collect(),
        dash_offset: f64::from(stroke.dashoffset()) * dash_scale,
        paint,
    }
}

/// `pathLength` (SVG 2, chapter Paths): the author's dashes count in another length than the
/// path's own. One of zero makes every dash endless and leaves none at zero, so the least that is
/// computed with must only be small.
fn dash_scale(shape: &Shape, length: Option<f64>) -> f64 {
    length.map_or(1.0, |length| shape.path.perimeter(1e-6) / length.max(1e-9))
}

/// An affine map in f64.
pub(super) fn affine(t: usvg::Transform) -> Affine {
    Affine::new([t.sx, t.ky, t.kx, t.sy, t.tx, t.ty].map(f64::from))
}

/// The library's fill rule.
pub(super) fn fill_rule(rule: usvg::FillRule) -> FillRule {
    match rule {
        usvg::FillRule::NonZero => FillRule::NonZero,
        usvg::FillRule::EvenOdd => FillRule::EvenOdd,
    }
}

/// The path in f64, every subpath beginning with a move, without a move at the end.
fn bez_path(data: &usvg::tiny_skia_path::Path) -> BezPath {
    let point = |p: usvg::tiny_skia_path::Point| Point::new(f64::from(p.x), f64::from(p.y));
    let mut path = BezPath::with_capacity(data.len());
    let mut start = Point::ZERO;
    let mut open = false;
    for segment in data.segments() {
        if !open && !matches!(segment, PathSegment::MoveTo(_) | PathSegment::Close) {
            path.move_to(start);
        }
        open = !matches!(segment, PathSegment::Close);
        match segment {
            PathSegment::MoveTo(p) => {
                start = point(p);
                if let Some(PathEl::MoveTo(_)) = path.elements().last() {
                    path.pop();
                }
                path.move_to(start);
            }
            PathSegment::LineTo(p) => path.line_to(point(p)),
            PathSegment::QuadTo(c, p) => path.quad_to(point(c), point(p)),
            PathSegment::CubicTo(a, b, p) => path.curve_to(point(a), point(b), point(p)),
            PathSegment::Close => path.close_path(),
        }
    }
    if let Some(PathEl::MoveTo(_)) = path.elements().last() {
        path.pop();
    }
    path
}

fn in_range(shape: &Shape) -> bool {
    let b = shape.to_page.transform_rect_bbox(shape.path.control_box());
    [b.x0, b.y0, b.x1, b.y1].iter().all(|c| c.is_finite() && c.abs() <= MAX_PAGE_MM)
}

/// Whether a path surrounds the whole page, as the unpainted frames of icon sets do.
fn covers_page(path: &usvg::Path, context: &Context, (width, height): (f64, f64)) -> bool {
    let b = context.to_page.transform_rect_bbox(bez_path(path.data()).control_box());
    let slack = 0.01 * width.max(height);
    b.x0 <= slack && b.y0 <= slack && b.x1 >= width - slack && b.y1 >= height - slack
}
