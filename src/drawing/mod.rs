//! SVG text → [`Drawing`]: layers of painted shapes, in millimetres, y down as drawn.
//!
//! This folder is the only one that knows SVG. What comes out has no CSS, no `use`, no text and
//! no transforms left to look up: a flat list of [`Shape`]s in painting order, each with its own
//! path, the map from path to page, and the clips that bound it. Everything that could not be
//! taken over is told in the findings beside it, with row and column.
//!
//! Files in the order in which a drawing passes through them: `read.rs` (the steps), `door.rs`
//! (bytes to text), `respell/` (styles as the CSS library reads them), `survey/` (what the XML says and the SVG library would lose), `fonts.rs`
//! with `families.rs`, `images.rs` and `listen.rs` (what the library asks and says), `convert.rs` with `paint.rs`,
//! `gradient.rs`, `round.rs`, `clips.rs`, `patterns.rs` and `lettering.rs` (its tree to shapes), `closing.rs` (the last findings).
//! `limits.rs` holds what a drawing may ask for; `error.rs` why it may be refused.
//!
//! Invariants:
//! 1. `shapes` stand in painting order: a later one lies on top of an earlier one.
//! 2. `to_page` maps the shape's own coordinates to page millimetres, y down, page corner at 0,0.
//!    Strokes are not transformed yet: their width is in the shape's own coordinates.
//! 3. Every index (`layer`, `clips`, `veil`, a paint's gradient) is in range; clips and veils refer only to those
//!    before themselves.
//! 4. Nothing invisible is in the list (opacity 0, `visibility: hidden`, `display: none`).

mod clips;
mod closing;
mod convert;
mod door;
mod error;
mod families;
mod fonts;
mod gradient;
mod images;
mod lettering;
pub mod limits;
mod lines;
mod listen;
mod markers;
mod paint;
mod patterns;
mod read;
mod respell;
mod round;
mod survey;

pub use error::ReadError;
pub use gradient::{Gradient, GradientForm, GradientStop, Spread};
pub use lettering::Lettering;
pub use read::{ReadSettings, read};

use crate::finding::Place;
use kurbo::{Affine, BezPath};

/// A drawing, flattened to painted shapes.
#[derive(Debug, Clone, Default)]
pub struct Drawing {
    /// Width and height of the page, mm.
    pub page_mm: (f64, f64),
    /// Whether the page's size was given with units; if not, 96 px were taken as an inch.
    pub page_known: bool,
    /// The layers in painting order: the top-level groups. Shapes outside any group share a
    /// layer of their own.
    pub layers: Vec<Layer>,
    /// What is painted, bottom first.
    pub shapes: Vec<Shape>,
    /// Clip paths, masks and pattern tiles that shapes refer to.
    pub clips: Vec<Clip>,
    /// Gradients that paints refer to.
    pub gradients: Vec<Gradient>,
    /// Groups with an opacity of their own.
    pub veils: Vec<Veil>,
    /// How high the letters of set texts are.
    pub lettering: Vec<Lettering>,
}

/// A group whose opacity holds for all of it at once: inside, its shapes cover each other whole (SVG 2, chapter
/// Rendering Model).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Veil {
    /// The one around it, an index below its own.
    pub around: Option<usize>,
    /// Its opacity with those around it, below 1.
    pub opacity: f32,
}

/// A top-level group.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Layer {
    /// Its title, else its label, else its id, else a made-up name such as "layer 3".
    pub name: String,
    /// Where it begins in the text.
    pub place: Place,
}

/// One painted shape.
#[derive(Debug, Clone)]
pub struct Shape {
    /// Index into [`Drawing::layers`].
    pub layer: usize,
    /// The element's id, if it has one.
    pub id: Option<String>,
    /// Where the element (or the nearest known ancestor) begins in the text.
    pub place: Place,
    /// The outline in the shape's own coordinates.
    pub path: BezPath,
    /// From the shape's own coordinates to page millimetres.
    pub to_page: Affine,
    /// How the inside is painted.
    pub fill: Option<Fill>,
    /// How the line is painted.
    pub stroke: Option<Stroke>,
    /// `paint-order`: the stroke lies under the fill.
    pub stroke_first: bool,
    /// The shape shows only inside all of these: indices into [`Drawing::clips`].
    pub clips: Vec<usize>,
    /// The innermost group with an opacity around it: index into [`Drawing::veils`].
    pub veil: Option<usize>,
}

/// The inside of a shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fill {
    /// Which points count as inside.
    pub rule: FillRule,
    /// Its paint.
    pub paint: Paint,
}

/// Which points a path surrounds (SVG 2, chapter Painting).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FillRule {
    /// Any winding number but zero.
    NonZero,
    /// An odd winding number.
    EvenOdd,
}

/// What a shape is painted with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paint {
    /// Red, green, blue. For a gradient or a pattern: a colour that stands for it.
    pub rgb: [u8; 3],
    /// Opacity above 0 up to 1, groups included; of a gradient the highest.
    pub alpha: f32,
    /// Where its colour comes from.
    pub source: PaintSource,
}

/// Where a paint's colour comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PaintSource {
    /// It is the same all over.
    Colour,
    /// It changes: index into [`Drawing::gradients`].
    Gradient(usize),
    /// A pattern that is not written out.
    Pattern,
}

impl Paint {
    /// Opaque black.
    pub const BLACK: Self = Self { rgb: [0; 3], alpha: 1.0, source: PaintSource::Colour };

    /// Whether it is `rgb` all over.
    pub fn is(&self, rgb: [u8; 3]) -> bool {
        self.source == PaintSource::Colour && self.rgb == rgb
    }
}

/// A painted line (SVG 2, chapter Painting). Lengths in the shape's own coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct Stroke {
    /// Its width, above 0.
    pub width: f64,
    /// Its ends.
    pub cap: Cap,
    /// Its corners.
    pub join: Join,
    /// Miter limit, at least 1.
    pub miter_limit: f64,
    /// Lengths of dashes and gaps in turn; empty for a whole line, otherwise an even number.
    pub dashes: Vec<f64>,
    /// Where in the dash pattern the line begins.
    pub dash_offset: f64,
    /// Its paint.
    pub paint: Paint,
}

/// The end of an open line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cap {
    /// Cut off at the end point.
    Butt,
    /// A half circle.
    Round,
    /// Half a square.
    Square,
}

/// The corner of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Join {
    /// Pointed; bevelled beyond the miter limit.
    Miter,
    /// Pointed; cut off at the miter limit.
    MiterClip,
    /// Round.
    Round,
    /// Cut off.
    Bevel,
}

/// Where the shapes that refer to it may show: the union of what its own shapes paint.
#[derive(Debug, Clone, Default)]
pub struct Clip {
    /// What bounds the view. Paint colours matter only in a mask.
    pub shapes: Vec<Shape>,
    /// How the shapes count.
    pub kind: ClipKind,
    /// Further clips that all hold at once: indices below this clip's own.
    pub clips: Vec<usize>,
}

/// How a clip's shapes count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ClipKind {
    /// Everything painted shows (clip paths, pattern tiles, alpha masks).
    #[default]
    Painted,
    /// What is painted other than black shows; black on top hides again (luminance masks).
    Luminance,
}

impl Drawing {
    /// The same drawing, `factor` times as large.
    #[must_use]
    pub fn scaled(mut self, factor: f64) -> Self {
        self.page_mm = (self.page_mm.0 * factor, self.page_mm.1 * factor);
        let enlarge = Affine::scale(factor);
        let clipped = self.clips.iter_mut().flat_map(|clip| &mut clip.shapes);
        for shape in self.shapes.iter_mut().chain(clipped) {
            shape.to_page = enlarge * shape.to_page;
        }
        for gradient in &mut self.gradients {
            gradient.to_page = enlarge * gradient.to_page;
        }
        self.lettering.iter_mut().for_each(|letters| letters.enlarge(factor));
        self
    }
}
