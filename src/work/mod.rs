//! What is wanted for single layers → [`Works`]: with which tool, how deep and how fast each line of a
//! film is cut, scored or drawn.
//!
//! In: [`Wish`]es by layer (or by film, where films are by colour), the machine, the usual material.
//! Out: a [`Work`] for every line, the machine with the tools that this film needs, and in which stage
//! a line's turn comes. Invariants: one tool has one blade, so one offset; a tool that draws never cuts
//! in the same job; whatever cannot be done as wished is refused or told, never done otherwise.
//!
//! The order of the stages, common practice, no source: first what is drawn, while the sheet lies
//! flat and whole, so that a pen is not caught by cut edges; then score lines, which need the sheet's
//! tension; then kiss cuts; then the cuts that only help weeding; last what goes through the carrier,
//! since a sheet that is cut through holds nothing still any more; and where the cuts that help weeding go
//! through it too, they come after all others.

mod lead;
mod lettering;
mod resolve;

use crate::blade::BladeSettings;
use crate::finding::Finding;
use crate::ink::{LayerTreatment, Trace, Treatment};
use crate::job::Pace;
use crate::place::{CutLine, Dash, Role};
use crate::profile::{MOST_TOOLS, Machine, Material, Tool};

pub use lead::{Led, lead};
pub use lettering::low_letters;
pub use resolve::{Usual, works};

/// How deep a cut goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, PartialOrd, Ord, Hash)]
pub enum Depth {
    /// As the material is usually cut: its carrier stays whole.
    #[default]
    Kiss,
    /// Through the carrier as well.
    Through,
}

/// What is wanted for one layer, or for the film of one colour; `None` is as usual.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Wish {
    /// Name of the layer, or of the colour's film (`#rrggbb`).
    pub name: String,
    /// What is done with it; layers only.
    pub treatment: Option<Treatment>,
    /// Tool number, from 1.
    pub tool: Option<u32>,
    /// What it is cut from.
    pub material: Option<Material>,
    /// How deep.
    pub depth: Option<Depth>,
    /// In stretches with bridges between them.
    pub dash: Option<Dash>,
    /// Whether its outlines or its drawn lines are cut; layers only.
    pub trace: Option<Trace>,
}

impl Wish {
    /// Whether `name` means the same: digits of colours are written either way, layers as they are called.
    pub fn is_meant_by(&self, name: &str) -> bool {
        let is_colour = |hex: &str| hex.len() == 6 && hex.chars().all(|c| c.is_ascii_hexdigit());
        self.name == name
            || name.strip_prefix('#').is_some_and(is_colour) && self.name.eq_ignore_ascii_case(name)
    }

    /// Whether it names the colour's film called `film`; digits of colours are written either way.
    pub fn is_for_film(&self, film: &str) -> bool {
        !film.is_empty() && self.name.eq_ignore_ascii_case(film)
    }
}

/// How some lines of a film are made.
#[derive(Debug, Clone, PartialEq)]
pub struct Work {
    /// The layers that it is for; empty for all others.
    pub layers: Vec<String>,
    /// What is done.
    pub treatment: Treatment,
    /// How deep, where it is cut.
    pub depth: Depth,
    /// Tool number, from 1.
    pub tool: u32,
    /// Distance of the tip behind the axis that is compensated, mm; 0 for tools that do not trail.
    pub offset_mm: f64,
    /// How far closed lines run past their start, mm.
    pub overcut_mm: f64,
    /// The material, at this depth.
    pub material: Material,
    /// Speed and force as the machine takes them, and the tool.
    pub pace: Pace,
    /// In stretches with bridges between them.
    pub dash: Option<Dash>,
    /// Whether outlines or drawn lines are cut; `None` is as usual.
    pub trace: Option<Trace>,
}

impl Work {
    /// Whether its closed lines are the edges of pieces, which never cross, and not lines as they were
    /// drawn; `usual` says so where the work does not.
    pub fn cuts_around(&self, usual: Trace) -> bool {
        self.trace.unwrap_or(usual) == Trace::Outlines
    }
}

/// How all lines of a film are made.
#[derive(Debug, Clone, PartialEq)]
pub struct Works {
    /// The machine, its tools as they have to be for this film.
    pub machine: Machine,
    /// The usual work first: lines of layers without a wish, marks, weed lines.
    pub all: Vec<Work>,
    /// For each layer of the drawing which of `all` it is.
    of_layer: Vec<usize>,
    /// What there is to tell.
    pub findings: Vec<Finding>,
}

/// Why a wish cannot be met.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WorkError {
    /// No such layer or film.
    #[error("there is no layer \"{name}\" to treat so; the drawing has: {present}")]
    NoSuchLayer {
        /// What was asked for.
        name: String,
        /// What there is.
        present: String,
    },
    /// The machine has fewer tools.
    #[error(
        "the layer {layer} asks for tool {tool}, but {machine} has {tools}; choose another --tool, say \
         language.tools in the machine's profile, or write a job for each layer (--sheets layer) and \
         change the tool between them"
    )]
    NoSuchTool {
        /// The layer.
        layer: String,
        /// What was asked for.
        tool: u32,
        /// The machine's name.
        machine: String,
        /// How many it has.
        tools: u32,
    },
    /// A tool is not fit for what it is to do.
    #[error(
        "the layer {layer} is {done}, but tool {tool} of {machine} {other}; give it another --tool (say \
         further_tools in the machine's profile), or write a job for each layer (--sheets layer) and \
         change the tool between them"
    )]
    WrongTool {
        /// The layer.
        layer: String,
        /// "drawn" or "cut".
        done: &'static str,
        /// The tool.
        tool: u32,
        /// The machine's name.
        machine: String,
        /// What is the matter with the tool.
        other: String,
    },
    /// The material does not tell how it is cut so deep.
    #[error(
        "{title} has no [through] values: how the layer {layer} is cut through its carrier is not known; \
         make a test cut, and add force and passes to the material's profile"
    )]
    NoDepth {
        /// The material's title.
        title: String,
        /// The layer.
        layer: String,
    },
    /// Only one of two materials is cut from the back.
    #[error(
        "{one} is cut mirrored and {other} is not, so they cannot lie in the same drawing's films; \
         write them one after the other with --layers or --colours"
    )]
    Mirrored {
        /// One material's title.
        one: String,
        /// The other's.
        other: String,
    },
    /// The material is not for a trailing blade.
    #[error("{title} is not cut with a trailing blade: {why}")]
    Refused {
        /// The material's title.
        title: String,
        /// Why.
        why: String,
    },
}

impl Wish {
    /// Whether `name` means the same: digits of colours are written either way, layers as they are called.
    pub fn is_called(&self, name: &str) -> bool {
        let is_colour = |hex: &str| hex.len() == 6 && hex.chars().all(|c| c.is_ascii_hexdigit());
        self.name == name
            || name.strip_prefix('#').is_some_and(is_colour) && self.name.eq_ignore_ascii_case(name)
    }

    /// Without what it asks for that is usual anyway, drawn lines traced as `trace` says.
    pub fn unusual(&self, usual: &Usual, trace: Trace) -> Self {
        let usual_tool = usual_tool(usual.machine, self.treatment.unwrap_or_default());
        let cut = self.treatment.is_none_or(|treatment| treatment == Treatment::Cut);
        Self {
            tool: self.tool.filter(|tool| *tool != usual_tool),
            material: self.material.clone().filter(|material| material != usual.material),
            depth: self.depth.filter(|depth| *depth != usual.depth),
            dash: self.dash.filter(|dash| !cut || Some(*dash) != usual.dash),
            trace: self.trace.filter(|own| *own != trace),
            ..self.clone()
        }
    }
}

/// What is done with the layers, for the eyes of [`crate::ink`]: layers with the same wish are merged.
pub fn treatments(wishes: &[Wish]) -> Vec<LayerTreatment> {
    let same = |a: &Wish, b: &Wish| {
        let (a, b) = (a.clone(), Wish { name: a.name.clone(), ..b.clone() });
        a == b
    };
    let plain = Wish::default();
    let group = |wish: &Wish| {
        let first = wishes.iter().position(|other| same(other, wish)).unwrap_or(0) as u32 + 1;
        let usual =
            Wish { treatment: wish.treatment.filter(|t| *t != Treatment::Cut), ..wish.clone() };
        if same(&usual, &plain) { 0 } else { first }
    };
    let treatment = |wish: &Wish| LayerTreatment {
        layer: wish.name.clone(),
        treatment: wish.treatment.unwrap_or_default(),
        group: group(wish),
        trace: wish.trace,
    };
    wishes.iter().map(treatment).collect()
}

impl Works {
    /// Which of `all` makes `line`.
    pub fn index_of(&self, line: &CutLine) -> usize {
        let own = line.role.is_design().then(|| self.of_layer.get(line.layer)).flatten();
        own.copied().unwrap_or(0)
    }

    /// How `line` is made.
    pub fn of(&self, line: &CutLine) -> &Work {
        &self.all[self.index_of(line)]
    }

    /// When the turn of `line` comes: lower numbers first (see the head of the file), and few changes
    /// of the tool.
    pub fn stage(&self, line: &CutLine) -> u32 {
        let work = self.of(line);
        let class = match (line.role, work.depth) {
            (Role::Draw, _) => 0,
            (Role::Score, _) => 1,
            (Role::Design, Depth::Through) => 5,
            (Role::Design | Role::Mark, _) => 2,
            (Role::Weed, depth) => {
                let after = if depth == Depth::Through { 3 } else { 0 };
                3 + after + u32::from(line.contour.closed)
            }
        };
        class * (MOST_TOOLS + 1) + work.tool
    }

    /// The largest offset that is compensated, mm.
    pub fn offset_mm(&self) -> f64 {
        self.all.iter().map(|work| work.offset_mm).fold(0.0, f64::max)
    }

    /// The largest overcut, mm.
    pub fn overcut_mm(&self) -> f64 {
        self.all.iter().map(|work| work.overcut_mm).fold(0.0, f64::max)
    }

    /// Whether lines of this film may cross because they are made in different ways.
    pub fn mixed(&self) -> bool {
        self.all.len() > 1
    }

    /// The offset of each tool, by its number.
    pub fn offsets_mm(&self) -> impl Iterator<Item = (u32, f64)> + '_ {
        self.all.iter().map(|work| (work.tool, work.offset_mm))
    }
}

impl Work {
    /// How the tool is led.
    pub fn blade(&self, machine: &Machine, start_heading: Option<f64>) -> BladeSettings {
        BladeSettings {
            offset_mm: self.offset_mm,
            overcut_mm: self.overcut_mm,
            swing_tolerance_mm: self.material.swing_tolerance_mm,
            unit_mm: Some(machine.unit_mm),
            start_heading,
            limits: machine.limits_mm(),
            passes: self.material.passes,
            ..BladeSettings::default()
        }
    }

    /// In words what is done.
    pub fn done(&self) -> &'static str {
        match (self.treatment, self.depth) {
            (Treatment::Draw, _) => "drawn",
            (Treatment::Score, _) => "scored",
            (_, Depth::Through) => "cut through",
            _ => "kiss cut",
        }
    }
}

/// The tool that serves a treatment best, if nobody names one.
fn usual_tool(machine: &Machine, treatment: Treatment) -> u32 {
    let wanted = match treatment {
        Treatment::Draw => Tool::Pen,
        Treatment::Score => Tool::CreasingTool,
        Treatment::Cut | Treatment::Skip => return 1,
    };
    (1..=machine.language.tools).find(|&n| machine.tool_kind(n) == wanted).unwrap_or(1)
}
