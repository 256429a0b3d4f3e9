//! A simulated job → pictures, and a page to look at it closely.
//!
//! What is shown is what the bytes do ([`Simulation`]); a plan's job and layout only add names to
//! it: which stretch is overcut, which line is a weed border.

mod lens;
mod pack;
mod page;
mod picture;
mod png;

use crate::blade::Part;
use crate::check::Worst;
use crate::finding::Finding;
use crate::geometry::Point;
use crate::job::{Job, JobPath};
use crate::place::{CutLine, Layout, Role};
use crate::proof::Proof;
use crate::simulate::Simulation;

pub use page::{Page, PageJob, page_html};
pub use picture::picture_svg;
pub use png::{PictureError, picture_png};

/// What is enlarged about the largest error: so many times its length, and so many offsets, to
/// either side. A corner's horn and the side that settles after it are then seen whole.
const LENS_ERRORS: f64 = 6.0;
/// See [`LENS_ERRORS`].
const LENS_OFFSETS: f64 = 3.0;

/// What a picture shows.
#[derive(Debug, Clone)]
pub struct View<'a> {
    /// What the bytes do.
    pub simulation: &'a Simulation,
    /// For each cut what its edges are for; empty when unknown.
    parts: Vec<&'a [Part]>,
    /// For each cut why it is there; empty when unknown.
    roles: Vec<Option<Role>>,
    /// For each cut the layer of its line; empty when unknown.
    layers: Vec<Option<usize>>,
    /// Places where weeding needs care, mm.
    care: Vec<Point>,
    /// A place to be shown enlarged.
    lens: Option<Lens>,
}

/// The place where the tip is furthest from its line.
#[derive(Debug, Clone)]
pub struct Lens {
    /// Where, mm.
    pub at: Point,
    /// How far the tip is off there, mm.
    pub error_mm: f64,
    /// Number of the cut, from 1.
    pub cut: usize,
    /// Half of what is shown in each direction, mm.
    pub half_mm: f64,
    /// The lines that are wanted.
    pub wanted: Vec<Vec<Point>>,
}

impl<'a> View<'a> {
    /// Bytes from anywhere.
    pub fn of_simulation(simulation: &'a Simulation) -> Self {
        let (parts, roles, layers, care) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        Self { simulation, parts, roles, layers, care, lens: None }
    }

    /// A plan: the simulation of its bytes, named by its job and layout.
    pub fn of_plan(simulation: &'a Simulation, job: &'a Job, layout: &Layout) -> Self {
        let line = |path: &JobPath| path.line.and_then(|i| layout.lines.get(i));
        let layer = |line: &CutLine| line.role.is_design().then_some(line.layer);
        Self {
            simulation,
            parts: job.paths.iter().map(|path| path.parts.as_slice()).collect(),
            roles: job.paths.iter().map(|path| Some(line(path)?.role)).collect(),
            layers: job.paths.iter().map(|path| line(path).and_then(layer)).collect(),
            care: Vec::new(),
            lens: None,
        }
    }

    /// With the place enlarged where `proof` found the tip furthest from the lines `wanted`, if a
    /// blade of that offset (mm) is off at all.
    #[must_use]
    pub fn enlarging(self, proof: &Proof, wanted: Vec<Vec<Point>>, offset_mm: f64) -> Self {
        let Worst { mm: error_mm, at, contour: cut } = proof.tip.worst();
        let half_mm = (LENS_ERRORS * error_mm).max(LENS_OFFSETS * offset_mm);
        let lens = Lens { at, error_mm, cut, half_mm, wanted };
        Self { lens: (error_mm > 0.0 && cut > 0).then_some(lens), ..self }
    }

    /// With the places that `findings` name as hard to weed.
    #[must_use]
    pub fn marking(self, findings: &[Finding]) -> Self {
        let about = findings.iter().filter(|finding| finding.code.starts_with("piece-"));
        let places = about.flat_map(|finding| {
            let (x, y) = (finding.place.x_mm, finding.place.y_mm);
            let first = x.zip(y).map(|(x, y)| Point::new(x, y));
            first.into_iter().chain(finding.also.iter().copied())
        });
        Self { care: places.collect(), ..self }
    }

    /// What edge `edge` of cut `cut` is for.
    fn part(&self, cut: usize, edge: usize) -> Part {
        self.parts.get(cut).and_then(|parts| parts.get(edge)).copied().unwrap_or(Part::Cut)
    }

    /// Why cut `cut` is there.
    fn role(&self, cut: usize) -> Role {
        self.roles.get(cut).copied().flatten().unwrap_or_default()
    }

    /// The layer of cut `cut`.
    fn layer(&self, cut: usize) -> Option<usize> {
        self.layers.get(cut).copied().flatten()
    }
}
