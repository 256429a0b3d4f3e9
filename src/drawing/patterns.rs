//! Patterns, written out: every tile that meets the painted area, bounded by the area.
//!
//! A tile's content is bounded by the tile only where it sticks out. Edges of neighbouring tiles
//! are computed by the same expression, so that they meet exactly and melt in the merge.

use kurbo::{Affine, Point, Rect};

use super::Shape;
use super::convert::{Context, Walk, affine};
use super::limits::MAX_TILES_PER_SHAPE;
use crate::finding::Finding;

/// The grid of a pattern's tiles in its own coordinates.
struct Grid {
    rect: Rect,
    columns: std::ops::Range<i64>,
    rows: std::ops::Range<i64>,
}

impl Grid {
    /// The tiles that meet an area.
    fn new(rect: Rect, area: Rect) -> Self {
        let range = |from: f64, to: f64, start: f64, step: f64| {
            // A hair less: a tile that only touches the area is not needed.
            let slack = 1e-6 * step;
            let first = ((from + slack - start) / step).floor();
            let last = ((to - slack - start) / step).floor();
            first.clamp(-1e12, 1e12) as i64..last.clamp(-1e12, 1e12) as i64 + 1
        };
        Self {
            rect,
            columns: range(area.x0, area.x1, rect.x0, rect.width()),
            rows: range(area.y0, area.y1, rect.y0, rect.height()),
        }
    }

    fn tiles(&self) -> u128 {
        let length = |r: &std::ops::Range<i64>| r.end.saturating_sub(r.start).max(0) as u128;
        length(&self.columns) * length(&self.rows)
    }

    fn tile(&self, column: i64, row: i64) -> Rect {
        let x = |c: i64| self.rect.x0 + c as f64 * self.rect.width();
        let y = |r: i64| self.rect.y0 + r as f64 * self.rect.height();
        Rect::new(x(column), y(row), x(column + 1), y(row + 1))
    }
}

impl Walk<'_> {
    /// Paints a shape (with a fill or a stroke, not both) with a pattern.
    pub(super) fn tiles(
        &mut self,
        shape: &Shape,
        pattern: &usvg::Pattern,
        context: &Context,
        out: &mut Vec<Shape>,
    ) {
        let to_page = context.to_page * affine(pattern.transform());
        let r = pattern.rect();
        let rect = Rect::new(
            f64::from(r.left()),
            f64::from(r.top()),
            f64::from(r.right()),
            f64::from(r.bottom()),
        );
        let Some(grid) = grid(shape, rect, to_page) else { return self.as_solid(shape, out) };
        let motif = self.motif(pattern, opacity_of(shape), context);
        let count = grid.tiles() as usize * motif.len();
        if count > self.tiles_left {
            return self.as_solid(shape, out);
        }
        self.tiles_left -= count;
        let mut clips = shape.clips.clone();
        clips.push(self.area_clip(shape));
        let bounds = Bounds { context: Context { to_page, clips, ..context.clone() }, grid };
        for row in bounds.grid.rows.clone() {
            for column in bounds.grid.columns.clone() {
                self.tile(&motif, bounds.grid.tile(column, row), &bounds, shape, out);
            }
        }
    }

    /// The pattern's content once, in the coordinates of its tile.
    fn motif(&mut self, pattern: &usvg::Pattern, opacity: f32, context: &Context) -> Vec<Shape> {
        let own = Context {
            to_page: Affine::IDENTITY,
            opacity,
            clips: Vec::new(),
            veil: None,
            element: context.element,
            original: None,
        };
        let mut shapes = Vec::new();
        self.inside += 1;
        self.children(pattern.root(), &own, &mut shapes);
        self.inside -= 1;
        shapes
    }

    fn tile(
        &mut self,
        motif: &[Shape],
        tile: Rect,
        bounds: &Bounds,
        painted: &Shape,
        out: &mut Vec<Shape>,
    ) {
        let to_page = bounds.context.to_page * Affine::translate((tile.x0, tile.y0));
        let frame = Rect::from_origin_size(Point::ZERO, bounds.grid.rect.size());
        let mut tile_clip = None;
        for part in motif {
            let mut clips = bounds.context.clips.clone();
            if !frame.contains_rect(reach(part)) {
                let clip = *tile_clip.get_or_insert_with(|| self.frame_clip(tile, &bounds.context));
                clips.push(clip);
            }
            for inner in &part.clips {
                clips.push(self.moved_clip(*inner, to_page));
            }
            let (layer, place) = (painted.layer, painted.place);
            let mut shape = Shape { layer, place, clips, id: None, ..part.clone() };
            self.move_shape(&mut shape, to_page);
            out.push(shape);
        }
    }

    /// A copy of a clip in the motif's coordinates, for one tile.
    fn moved_clip(&mut self, index: usize, by: Affine) -> usize {
        let Some(mut clip) = self.drawing.clips.get(index).cloned() else { return index };
        clip.clips = clip.clips.iter().map(|c| self.moved_clip(*c, by)).collect();
        for shape in &mut clip.shapes {
            self.move_shape(shape, by);
            shape.clips = shape.clips.iter().map(|c| self.moved_clip(*c, by)).collect();
        }
        self.drawing.clips.push(clip);
        self.drawing.clips.len() - 1
    }

    fn as_solid(&mut self, shape: &Shape, out: &mut Vec<Shape>) {
        let text = "the pattern would be written out to thousands of tiles; the area that it \
                    paints is cut as solid.";
        let finding = Finding::warning("pattern-solid", text)
            .hint("Use a coarser pattern, or convert it to paths.");
        if self.inside == 0 {
            self.findings.push(finding.at(shape.place));
        }
        out.push(shape.clone());
    }
}

/// What all tiles of one shape have in common.
struct Bounds {
    context: Context,
    grid: Grid,
}

/// The tiles that a shape needs; none if there are too many.
fn grid(shape: &Shape, rect: Rect, to_page: Affine) -> Option<Grid> {
    if to_page.determinant().abs() < 1e-18 {
        return None;
    }
    let area = (to_page.inverse() * shape.to_page).transform_rect_bbox(reach_own(shape));
    let grid = Grid::new(rect, area);
    (grid.tiles() <= MAX_TILES_PER_SHAPE as u128).then_some(grid)
}

/// Opacity of a shape that has one paint.
fn opacity_of(shape: &Shape) -> f32 {
    let fill = shape.fill.map(|f| f.paint.alpha);
    fill.or(shape.stroke.as_ref().map(|s| s.paint.alpha)).unwrap_or(1.0)
}

/// How far a shape paints, in its own coordinates: at most, miters included.
fn reach_own(shape: &Shape) -> Rect {
    let outset = shape.stroke.as_ref().map_or(0.0, |s| {
        let factor = if matches!(s.join, super::Join::Miter | super::Join::MiterClip) {
            s.miter_limit.max(std::f64::consts::SQRT_2)
        } else {
            std::f64::consts::SQRT_2
        };
        s.width / 2.0 * factor
    });
    shape.path.control_box().inflate(outset, outset)
}

/// The same in the coordinates that its `to_page` leads to.
fn reach(shape: &Shape) -> Rect {
    shape.to_page.transform_rect_bbox(reach_own(shape))
}
