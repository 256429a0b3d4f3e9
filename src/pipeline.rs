//! The whole way: drawing → [`Plan`], bytes → [`ReadBack`].
//!
//! Nothing is computed here; the stages are called in their order and their findings gathered.
//! Every figure of a plan comes from reading back and simulating the bytes that it would send.

use std::borrow::{Borrow, Cow};
use std::convert::Infallible;
use std::io::{self, Read};
use std::sync::Arc;

use crate::arcs;
use crate::blade::TipPath;
use crate::check::{self, Heard};
use crate::contour_tree::{self, ContourTree};
use crate::drawing::{Drawing, Layer};
use crate::finding::Finding;
use crate::follow::{self, Seen, Setup, follow};
use crate::geometry::{Bounds, LineRef, Point};
use crate::hpgl::{self, Written};
use crate::ink::{self, Film, Ink, InkError, InkSettings, Sheets, Trace};
use crate::job::{self, Job, JobError};
use crate::order::{
    self, Bands, Cost, CutOrder, Effort, End, EntrySettings, Floors, OrderReport, OrderSettings,
    Strategy, Visit,
};
use crate::parallel::{self, Begin};
use crate::place::{self, CutLine, Layout, Panel, PlaceError, Placement, Role};
use crate::profile::{EndAt, FeedAxis, Machine, Material, Tool};
use crate::proof::{self, Proof};
use crate::rounding;
use crate::simulate::{SimulateSettings, Simulation};
use crate::work::{self, Depth, Usual, Wish, Work, WorkError, Works};

/// Everything that is wanted of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanSettings {
    /// How the drawing is looked at.
    pub ink: InkSettings,
    /// Its size.
    pub size: Size,
    /// Its place on the sheet.
    pub placement: Placement,
    /// What cuts it.
    pub machine: Machine,
    /// What is cut.
    pub material: Material,
    /// How deep it is cut.
    pub depth: Depth,
    /// What is wanted for single layers, or for films by colour.
    pub wishes: Vec<Wish>,
    /// Distance of the blade's tip behind its axis, mm; `None` takes the material's.
    pub blade_offset_mm: Option<f64>,
    /// How far closed contours are cut past their start, mm; `None` takes the material's.
    pub overcut_mm: Option<f64>,
    /// How the order is found.
    pub strategy: Strategy,
    /// How long the search lasts.
    pub effort: Effort,
    /// The order makes time small instead of travel.
    pub order_for_time: bool,
    /// Longest feed against the working direction, mm; `None` without limit.
    pub max_back_feed_mm: Option<f64>,
}

impl PlanSettings {
    /// The usual settings for `machine` and `material`.
    pub fn new(machine: Machine, material: Material) -> Self {
        let ink = InkSettings { decimate_mm: machine.unit_mm / 2.0, ..InkSettings::default() };
        Self {
            ink,
            size: Size::AsDrawn,
            placement: Placement { mirror: material.mirrored, ..Placement::default() },
            max_back_feed_mm: machine.max_back_feed_mm,
            machine,
            material,
            depth: Depth::Kiss,
            wishes: Vec::new(),
            blade_offset_mm: None,
            overcut_mm: None,
            strategy: Strategy::Best,
            effort: Effort::Normal,
            order_for_time: false,
        }
    }

    /// The offset that this program compensates, mm: 0 when the machine or the tool needs none.
    pub fn offset_mm(&self) -> f64 {
        if self.machine.needs_compensation() {
            self.blade_offset_mm.unwrap_or(self.material.blade_offset_mm)
        } else {
            0.0
        }
    }

    /// How to look at the drawing. A film of one colour may have its own usual ways, so there no layer's
    /// wish is usual.
    fn ink_settings(&self) -> InkSettings {
        let unusual = |wish: &Wish| match self.ink.sheets {
            Sheets::Colour => wish.clone(),
            Sheets::One | Sheets::Layer => wish.unusual(&self.usual(), self.ink.trace),
        };
        let wishes: Vec<Wish> = self.wishes.iter().map(unusual).collect();
        InkSettings { treatments: work::treatments(&wishes), ..self.ink.clone() }
    }

    fn usual(&self) -> Usual<'_> {
        Usual {
            machine: &self.machine,
            material: &self.material,
            depth: self.depth,
            dash: self.placement.dash,
            blade_offset_mm: self.blade_offset_mm,
            overcut_mm: self.overcut_mm,
        }
    }
}

/// How large the work becomes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Size {
    /// As it was drawn.
    AsDrawn,
    /// So many times as large.
    Scale(f64),
    /// As large as possible within a width and a height of what is cut, mm; proportions are kept.
    Fit {
        /// Width, mm.
        width_mm: Option<f64>,
        /// Height, mm.
        height_mm: Option<f64>,
    },
}

/// A job for one film, proven.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Name of the film; empty when there is only one.
    pub film: String,
    /// The lines on the sheet, the same in every order.
    pub layout: Arc<Layout>,
    /// How each of them is made.
    pub works: Arc<Works>,
    /// The order in which they are cut.
    pub order: CutOrder,
    /// Travel from line to line before the blade is compensated, mm: what the order makes small.
    pub ordered_mm: f64,
    /// Vertices of the outlines before those within the tolerance were left out; `None` for a panel,
    /// which has only a part of them.
    pub merged_points: Option<usize>,
    /// The job in plotter units.
    pub job: Job,
    /// Its bytes.
    pub written: Written,
    /// What the bytes do.
    pub simulation: Simulation,
    /// How well the tip follows the lines.
    pub proof: Proof,
    /// All that is to be told, of the drawing and of the job.
    pub findings: Vec<Finding>,
}

/// What bytes from anywhere do.
#[derive(Debug, Clone)]
pub struct ReadBack {
    /// What the instructions alone tell.
    pub heard: Heard,
    /// What they do.
    pub simulation: Simulation,
    /// What could not be read.
    pub findings: Vec<Finding>,
}

/// Why there is no job.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// Nothing to cut.
    #[error(transparent)]
    Ink(#[from] InkError),
    /// No place for it.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// Out of the machine's reach.
    #[error(transparent)]
    Job(#[from] JobError),
    /// A wish for a layer that cannot be met.
    #[error(transparent)]
    Work(#[from] WorkError),
    /// The size makes no sense.
    #[error("the size {0} makes no sense; scale, width and height must be above 0")]
    Size(String),
    /// Nothing outlasts the rounding to plotter units.
    #[error(
        "all that would be cut is thinner than a step of the machine ({0} mm); cut it larger, or cut along \
         drawn lines (--trace lines)"
    )]
    BelowStep(f64),
}

/// Plans the jobs for `drawing`: one for each film.
///
/// `findings` are those of reading the drawing; they come first in each plan. A drawing that is handed
/// over is let go as soon as its ink is known: it is large.
///
/// # Errors
/// [`PlanError`] when there is nothing to cut or it does not fit.
pub fn plan(
    drawing: impl Borrow<Drawing> + Send,
    findings: &[Finding],
    settings: &PlanSettings,
) -> Result<Vec<Plan>, PlanError> {
    let mut orders = plan_orders(drawing, findings, settings, &[settings.strategy])?;
    Ok(orders.pop().unwrap_or_default())
}

/// Plans the same films once in each of several orders: for each of `strategies` what [`plan`]
/// would return. What does not depend on the order is computed once.
///
/// # Errors
/// As [`plan`].
pub fn plan_orders(
    drawing: impl Borrow<Drawing> + Send,
    findings: &[Finding],
    settings: &PlanSettings,
    strategies: &[Strategy],
) -> Result<Vec<Vec<Plan>>, PlanError> {
    parallel::within(|| planned(drawing, findings, settings, strategies))
}

fn planned(
    drawing: impl Borrow<Drawing>,
    findings: &[Finding],
    settings: &PlanSettings,
    strategies: &[Strategy],
) -> Result<Vec<Vec<Plan>>, PlanError> {
    let ink_settings = settings.ink_settings();
    known(drawing.borrow(), settings)?;
    let sized = sized(drawing.borrow(), settings.size, &ink_settings)?;
    let (ink, seen) = ink::visible(&sized, &ink_settings)?;
    known_films(&ink, &sized.layers, settings)?;
    let low = work::low_letters(&sized, (&ink_settings, &settings.wishes), &settings.material);
    let told = seen.into_iter().chain(low).chain(mirrored(settings));
    let common: Vec<Finding> = findings.iter().cloned().chain(told).collect();
    let (page, layers) = (sized.page_mm, sized.layers.clone());
    drop(sized);
    drop(drawing);
    let sheets = sheets(ink, (page, &layers), settings)?;
    something_left(&sheets, settings)?;
    let (pieces, orders) = parallel::with_aside(
        || sheets.iter().map(|sheet| weak_pieces(sheet, ink_settings.trace)).collect::<Vec<_>>(),
        |begin_aside| {
            let in_order = |&strategy: &Strategy| {
                let settings = PlanSettings { strategy, ..settings.clone() };
                sheets.iter().map(|sheet| plan_sheet(sheet, &settings, begin_aside)).collect()
            };
            strategies.iter().map(in_order).collect::<Result<Vec<Vec<Plan>>, _>>()
        },
    );
    let mut orders = orders?;
    for plans in &mut orders {
        for (plan, (sheet, weak)) in plans.iter_mut().zip(sheets.iter().zip(&pieces)) {
            let before = common.iter().chain(&sheet.told).chain(weak);
            plan.findings.splice(0..0, before.cloned());
        }
    }
    Ok(orders)
}

/// Floors of the travel of `plan`, which was made with `settings`, from line to line before the
/// blade is compensated: compare them with [`Plan::ordered_mm`].
pub fn floors(plan: &Plan, settings: &PlanSettings) -> Floors {
    let (lines, tree) = contours(&plan.layout, &plan.works, settings);
    let order_settings =
        OrderSettings { cost: Cost::Travel, ..order_settings(&plan.layout, &plan.works, settings) };
    order::floors(&lines, &tree, &plan.order, &order_settings, true)
}

/// A film's lines in their places, whatever their order.
struct Sheet {
    film: String,
    layout: Arc<Layout>,
    /// The same lines before they were cut in stretches: where the pieces are.
    whole: Arc<Layout>,
    works: Arc<Works>,
    merged_points: Option<usize>,
    told: Vec<Finding>,
}

/// What the travel could be at least.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Least {
    /// Travel of the order at hand, line to line before the blade is compensated, mm.
    pub ordered_mm: f64,
    /// Floors of it, mm; 0 where there are too many lines to compute one.
    pub floors: Floors,
    /// The same search without bands along the feed, mm; `None` where the job has no bands.
    pub unbanded_mm: Option<f64>,
}

/// How far the travel of `plan`, which was made with `settings`, is from the least possible, and
/// what keeping the film from creeping costs.
pub fn least(plan: &Plan, settings: &PlanSettings) -> Least {
    let banded = bands(&plan.works, settings).is_some();
    let unbanded_mm = banded.then(|| {
        let free = PlanSettings { max_back_feed_mm: None, ..settings.clone() };
        ordered(&plan.layout, &plan.works, &free, &|| {}).1.travel_mm
    });
    Least { ordered_mm: plan.ordered_mm, floors: floors(plan, settings), unbanded_mm }
}

/// A material that is cut from its back turns the work over.
fn mirrored(settings: &PlanSettings) -> Option<Finding> {
    let title = &settings.material.title;
    Some(match (settings.material.mirrored, settings.placement.mirror) {
        (false, _) => return None,
        (true, true) => {
            let text = format!("The work is cut mirrored: {title} is cut from its back.");
            Finding::note("mirrored", text)
        }
        (true, false) => {
            let text = format!(
                "{title} is cut from its back, but the work is not mirrored: it will read the wrong \
                 way round."
            );
            Finding::warning("mirror-undone", text)
                .hint("Leave out --mirror, which turns back what the material asks for.")
        }
    })
}

/// Every wish names a layer, or the film of a colour.
fn known(drawing: &Drawing, settings: &PlanSettings) -> Result<(), WorkError> {
    let colour = |name: &str| settings.ink.sheets == Sheets::Colour && name.starts_with('#');
    let named = |wish: &Wish| drawing.layers.iter().any(|layer| layer.name == wish.name);
    let mut wishes = settings.wishes.iter();
    let of_layer = |wish: &Wish| wish.treatment.is_some() || wish.trace.is_some();
    let stray = wishes.find(|wish| !(named(wish) || colour(&wish.name) && !of_layer(wish)));
    let names: Vec<&str> = drawing.layers.iter().map(|layer| layer.name.as_str()).collect();
    stray.map_or(Ok(()), |wish| {
        Err(WorkError::NoSuchLayer { name: wish.name.clone(), present: names.join(", ") })
    })
}

/// Every wish for a film names one that the drawing gives; films that are not asked for are not looked for.
fn known_films(ink: &Ink, layers: &[Layer], settings: &PlanSettings) -> Result<(), InkError> {
    let films = || ink.films.iter().map(|film| film.name.as_str());
    let of_layer = |wish: &Wish| layers.iter().any(|layer| layer.name == wish.name);
    let stray = settings.wishes.iter().filter(|wish| !of_layer(wish)).find(|wish| {
        let asked_for = settings.ink.colours.is_none() || !is_colour(&wish.name);
        asked_for && !films().any(|film| wish.is_for_film(film))
    });
    stray.map_or(Ok(()), |wish| {
        let present = films().collect::<Vec<_>>().join(", ");
        Err(InkError::NoSuchColour { name: wish.name.clone(), present })
    })
}

/// Whether `name` is `#rrggbb`.
fn is_colour(name: &str) -> bool {
    let digits = name.strip_prefix('#').unwrap_or_default();
    digits.len() == 6 && digits.bytes().all(|digit| digit.is_ascii_hexdigit())
}

/// The films on their sheets: each packed for itself, or all about one origin.
fn sheets(
    ink: Ink,
    (page, layers): ((f64, f64), &[Layer]),
    settings: &PlanSettings,
) -> Result<Vec<Sheet>, PlanError> {
    let (placement, machine) = (&settings.placement, &settings.machine);
    let holds = |film: &&Film| !film.regions.is_empty() || !film.lines.is_empty();
    let films: Vec<&Film> = ink.films.iter().filter(holds).collect();
    let names: Vec<String> = films.iter().map(|film| film.name.clone()).collect();
    let points: Vec<usize> = films.iter().map(|film| film.merged_points).collect();
    let lines: Vec<usize> = films.iter().map(|film| film.contours()).collect();
    let sheet = |film: &str, layout, told| sheet(film, layout, told, (layers, settings));
    if placement.panels.is_some() {
        let panels = place::panels(&films, page, placement, machine)?;
        let sheet = |p: Panel| {
            let film = &names[p.film];
            let part =
                Sheet { film: panel_name(film, p.number), ..sheet(film, p.layout, p.findings)? };
            Ok(part)
        };
        return panels.into_iter().map(sheet).collect();
    }
    let laid: Vec<(Layout, Vec<Finding>)> = if placement.pack_turns.is_some() {
        let packed = films.iter().map(|film| -> Result<_, PlanError> {
            let (layout, told) = place::layout(film, page, placement, machine)?;
            Ok((layout, told.into_iter().chain(packed_apart(films.len())).collect()))
        });
        packed.collect::<Result<_, _>>()?
    } else {
        let layouts = place::layouts(&films, page, placement, machine)?;
        layouts.into_iter().map(|layout| (layout, Vec::new())).collect()
    };
    drop(ink);
    let of_film = |(film, (layout, told)): (usize, (Layout, Vec<Finding>))| {
        let design = layout.lines.iter().filter(|line| line.role.is_design()).count();
        let merged_points = Some(points[film] * design / lines[film].max(1));
        Ok(Sheet { merged_points, ..sheet(&names[film], layout, told)? })
    };
    laid.into_iter().enumerate().map(of_film).collect()
}

/// Tells that films which are packed one by one do not lie about the same origin.
fn packed_apart(films: usize) -> Option<Finding> {
    let text = "Each film is packed for itself: laid on one another, the films do not register.";
    let hint = "Leave --pack out where they have to, or write them as one job (--sheets one).";
    (films > 1).then(|| Finding::warning("films-apart", text).hint(hint))
}

fn something_left(sheets: &[Sheet], settings: &PlanSettings) -> Result<(), PlanError> {
    let left = |sheet: &Sheet| sheet.whole.lines.iter().any(|line| line.role.is_design());
    match sheets.iter().any(left) {
        true => Ok(()),
        false => Err(PlanError::BelowStep(settings.machine.unit_mm)),
    }
}

/// What a panel of a film is called.
fn panel_name(film: &str, number: Option<usize>) -> String {
    match number {
        None => film.to_owned(),
        Some(number) if film.is_empty() => format!("panel-{number}"),
        Some(number) => format!("{film}-panel-{number}"),
    }
}

/// What can be said and done before the order is known.
fn sheet(
    film: &str,
    layout: Layout,
    mut told: Vec<Finding>,
    (layers, settings): (&[Layer], &PlanSettings),
) -> Result<Sheet, PlanError> {
    let lines = (layers, film, &layout.lines[..]);
    let works = work::works(lines, &settings.wishes, &settings.usual())?;
    told.extend(works.findings.iter().cloned());
    let mut settled = Vec::with_capacity(layout.lines.len());
    // Lines that are made in different ways may cross, and so may drawn lines.
    for (work, lines) in apart(layout, &works) {
        if !work.cuts_around(settings.ink.trace) {
            settled.extend(lines);
            continue;
        }
        let (part, joined) = rounding::settle(Layout { lines }, settings.machine.unit_mm);
        told.extend(joined);
        settled.extend(part.lines);
    }
    for line in &mut settled {
        line.tool = works.of(line).tool;
    }
    let whole = Arc::new(Layout { lines: settled });
    let layout = if whole.lines.iter().any(|line| works.of(line).dash.is_some()) {
        Arc::new(place::bridge(&whole, |line| works.of(line).dash))
    } else {
        Arc::clone(&whole)
    };
    Ok(Sheet {
        film: film.to_owned(),
        layout,
        whole,
        works: Arc::new(works),
        merged_points: None,
        told,
    })
}

/// The lines of each work, in their order.
fn apart(layout: Layout, works: &Works) -> Vec<(&Work, Vec<CutLine>)> {
    let mut parts: Vec<(&Work, Vec<CutLine>)> =
        works.all.iter().map(|work| (work, Vec::new())).collect();
    for line in layout.lines {
        parts[works.index_of(&line)].1.push(line);
    }
    parts.retain(|(_, lines)| !lines.is_empty());
    parts
}

/// Tells which pieces of `sheet` may be lost or tear when it is weeded, work by work.
fn weak_pieces(sheet: &Sheet, usual: Trace) -> Vec<Finding> {
    let mut told = Vec::new();
    for (number, work) in sheet.works.all.iter().enumerate() {
        let lines = || sheet.whole.lines.iter().filter(|l| sheet.works.index_of(l) == number);
        told.extend(place::small_pieces(lines(), &work.material));
        // Drawn lines bound nothing for certain.
        if work.cuts_around(usual) {
            told.extend(place::thin_pieces(lines(), &work.material));
        }
    }
    told
}

/// The drawing in its final size, so that every tolerance holds on the sheet.
fn sized<'a>(
    drawing: &'a Drawing,
    size: Size,
    ink_settings: &InkSettings,
) -> Result<Cow<'a, Drawing>, PlanError> {
    let sensible = |x: f64| x.is_finite() && x > 0.0;
    match size {
        Size::AsDrawn => Ok(Cow::Borrowed(drawing)),
        Size::Scale(factor) if sensible(factor) => Ok(Cow::Owned(drawing.clone().scaled(factor))),
        Size::Scale(factor) => Err(PlanError::Size(factor.to_string())),
        Size::Fit { width_mm, height_mm } => {
            for length in [width_mm, height_mm].into_iter().flatten() {
                if !sensible(length) {
                    return Err(PlanError::Size(format!("{length} mm")));
                }
            }
            let now = ink::visible(drawing, ink_settings)?.0.bounds();
            let ratios = [(width_mm, now.width()), (height_mm, now.height())];
            let factors = ratios.into_iter().filter_map(|(want, is)| Some(want? / is));
            let factor = factors.filter(|f| sensible(*f)).fold(f64::INFINITY, f64::min);
            Ok(if factor.is_finite() {
                Cow::Owned(drawing.clone().scaled(factor))
            } else {
                Cow::Borrowed(drawing)
            })
        }
    }
}

/// The job for `sheet`; its findings are only those of the way from the order on.
fn plan_sheet(
    sheet: &Sheet,
    settings: &PlanSettings,
    begin_aside: &Begin,
) -> Result<Plan, PlanError> {
    let layout = &sheet.layout;
    let works = &sheet.works;
    let (order, report) = ordered(layout, works, settings, begin_aside);
    let mut findings = report.findings;
    let paths = tip_paths(layout, &order);
    findings.extend(offset_not_used(settings));
    let led = work::lead((&paths, &sheet.whole), layout, works);
    findings.extend(led.findings);
    let job = job::build(&led.axis, &settings.machine, |path| works.all[led.works[path]].pace)?;
    drop(led.axis);
    let job = arcs::put(job, &paths, (&settings.machine, &works.simulate()));
    drop(paths);
    let written = hpgl::write(&job, &settings.machine.language);
    let back = read_back_with(&written.bytes, &works.machine, &works.simulate());
    findings.extend(back.findings);
    let (own, proof) = parallel::both(
        || check::check(&back.simulation, &back.heard, &works.machine),
        || proof::of_plan(&back.simulation, &job, (layout, &order)),
    );
    if let Some(bands) = bands(works, settings) {
        let reaches = layout.lines.iter().map(|line| bands.reach(&line.contour.bounds()));
        let longest = reaches.map(|(low, high)| high - low).fold(0.0, f64::max);
        let most = (bands.height_mm, longest);
        findings.extend(check::fed_back(&back.simulation, bands.axis, most));
    }
    // Drawn lines may cross, and weeding lines end on their border.
    let crossing = may_cross(works, settings) || settings.placement.weeding.lines.is_some();
    let is_of = |finding: &Finding, kind: &dyn Fn(&CutLine) -> bool| {
        let cut = back.simulation.cuts.iter().position(|cut| Some(cut.byte) == finding.place.byte);
        let line = cut.and_then(|cut| layout.lines.get(job.paths.get(cut)?.line?));
        line.is_some_and(kind)
    };
    let meant = |finding: &Finding| match finding.code {
        "cuts-cross" => crossing,
        "nearly-closed" => is_of(finding, &|line| works.of(line).dash.is_some()),
        // The waste within a frame is parted when the frame is cut.
        "inner-after-outer" => is_of(finding, &|line| line.role == Role::Weed),
        _ => false,
    };
    // What is only counted is meant where all that is named of its kind is.
    let (named, counted): (Vec<Finding>, Vec<Finding>) =
        own.into_iter().partition(|finding| !finding.place.is_unknown());
    let worth = |code| {
        let mut same = named.iter().filter(|finding| finding.code == code).peekable();
        same.peek().is_none() || same.any(|finding| !meant(finding))
    };
    let counted: Vec<Finding> = counted.into_iter().filter(|f| worth(f.code)).collect();
    findings.extend(named.into_iter().filter(|finding| !meant(finding)));
    findings.extend(counted);
    findings.extend(proof::off_line(&proof, &findings));
    let simulation = back.simulation;
    let ordered_mm = report.travel_mm;
    Ok(Plan {
        film: sheet.film.clone(),
        layout: Arc::clone(layout),
        works: Arc::clone(works),
        order,
        ordered_mm,
        merged_points: sheet.merged_points,
        job,
        written,
        simulation,
        proof,
        findings,
    })
}

/// The order in which the lines of `layout` are cut. A search knows when there is a core to spare; without
/// one there is from the beginning.
fn ordered(
    layout: &Layout,
    works: &Works,
    settings: &PlanSettings,
    begin_aside: &Begin,
) -> (CutOrder, OrderReport) {
    if settings.strategy != Strategy::Best {
        begin_aside();
    }
    let (lines, tree) = contours(layout, works, settings);
    order::plan_beside(&lines, &tree, &order_settings(layout, works, settings), begin_aside)
}

/// The lines of `layout` and who has to wait for whom: a line for those inside it, unless its turn
/// comes before theirs.
fn contours<'a>(
    layout: &'a Layout,
    works: &Works,
    settings: &PlanSettings,
) -> (Vec<LineRef<'a>>, ContourTree) {
    let lines: Vec<LineRef> = layout.lines.iter().map(|line| (&line.contour).into()).collect();
    let build =
        if may_cross(works, settings) { contour_tree::build_crossing } else { contour_tree::build };
    let tree = build(&lines);
    let stages: Vec<u32> = layout.lines.iter().map(|line| works.stage(line)).collect();
    let waits = |line: usize| tree.ancestors(line).find(|&around| stages[around] >= stages[line]);
    let parent = (0..lines.len()).map(waits).collect();
    (lines, ContourTree { parent })
}

/// Whether lines of the design may cross: drawn ones, and those of layers that are worked differently.
fn may_cross(works: &Works, settings: &PlanSettings) -> bool {
    settings.ink.trace == Trace::CentreLines || works.mixed()
}

/// The lines in their order, each from its start.
fn tip_paths(layout: &Layout, order: &CutOrder) -> Vec<TipPath> {
    let path_of = |visit: &Visit| {
        let line = layout.lines.get(visit.line)?;
        let contour = visit.tip_path(&line.contour);
        Some(TipPath { line: Some(visit.line), role: line.role, contour })
    };
    let mut paths = Vec::with_capacity(order.visits.len());
    let visits = &order.visits;
    parallel::in_turn(visits.len(), |i| path_of(&visits[i]), |_, path| paths.extend(path));
    paths
}

/// Price of a radian of blade swing between two cuts, mm of travel: enough to make most swings small,
/// far below what a piece more of travel costs.
const HEADING_MM_PER_RAD: f64 = 0.2;

fn order_settings(layout: &Layout, works: &Works, settings: &PlanSettings) -> OrderSettings {
    let machine = &settings.machine;
    let trails = works.offset_mm() > 0.0;
    OrderSettings {
        strategy: settings.strategy,
        effort: settings.effort,
        cost: if settings.order_for_time {
            Cost::time(machine.motion.as_ref())
        } else {
            Cost::Travel
        },
        start: Point::ORIGIN,
        end: end(machine, layout.bounds()),
        stages: layout.lines.iter().map(|line| works.stage(line)).collect(),
        entries: EntrySettings {
            heading_mm_per_rad: if trails { HEADING_MM_PER_RAD } else { 0.0 },
            keep_off_corners_mm: if trails { works.offset_mm() + works.overcut_mm() } else { 0.0 },
            one_sense: false,
        },
        bands: bands(works, settings),
    }
}

/// How film that creeps is fed: a blade's axis leads the tip, and points are rounded to plotter units.
fn bands(works: &Works, settings: &PlanSettings) -> Option<Bands> {
    let beyond_mm = works.offset_mm() + settings.machine.unit_mm;
    let feed = settings.machine.feed_axis.zip(settings.max_back_feed_mm);
    feed.map(|(axis, height_mm)| Bands { axis, height_mm, beyond_mm })
}

fn end(machine: &Machine, work: Bounds) -> End {
    match machine.end_at {
        EndAt::Home => End::At(Point::ORIGIN),
        EndAt::Anywhere => End::Anywhere,
        EndAt::PastWork => {
            let axis = machine.feed_axis.unwrap_or(FeedAxis::X);
            End::Past { axis, at_mm: axis.of(work.max) }
        }
    }
}

/// An offset was asked for that this program must not compensate.
fn offset_not_used(settings: &PlanSettings) -> Option<Finding> {
    let asked = settings.blade_offset_mm.filter(|offset| *offset > 0.0)?;
    let why = match settings.machine.tool {
        _ if settings.machine.needs_compensation() => return None,
        Tool::TrailingBlade => "compensates its blade by itself",
        Tool::TangentialBlade => "has a blade that a motor turns",
        Tool::Pen => "draws with a pen",
        Tool::CreasingTool => "creases",
    };
    let text = format!(
        "The blade offset of {asked:.3} mm is not used: {} {why}, and nothing is compensated twice.",
        settings.machine.name
    );
    let hint = "Set the offset on the machine, or `compensates` in its profile to false.";
    Some(Finding::note("offset-not-used", text).hint(hint))
}

/// Bytes that are read back at a time, while those before are simulated.
const STRETCH_BYTES: usize = 1 << 16;

/// Reads and simulates `bytes` as `machine` would obey them, with a blade of `blade_offset_mm`.
pub fn read_back(bytes: &[u8], machine: &Machine, blade_offset_mm: f64) -> ReadBack {
    read_back_with(bytes, machine, &SimulateSettings::of(machine, blade_offset_mm))
}

fn read_back_with(bytes: &[u8], machine: &Machine, simulation: &SimulateSettings) -> ReadBack {
    let read = |take: &mut dyn FnMut(&[u8]) -> bool| -> Result<(), Infallible> {
        bytes.chunks(STRETCH_BYTES).all(take);
        Ok(())
    };
    let Ok(back) = read_back_all(read, machine, simulation);
    back
}

/// As [`read_back`], of bytes that are read meanwhile and not held.
///
/// # Errors
/// Those of `source`.
pub fn read_back_from(
    source: &mut (dyn Read + Send),
    machine: &Machine,
    blade_offset_mm: f64,
) -> io::Result<ReadBack> {
    let read = |take: &mut dyn FnMut(&[u8]) -> bool| -> io::Result<()> {
        let mut stretch = vec![0; STRETCH_BYTES];
        loop {
            let count = match source.read(&mut stretch) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                count => count?,
            };
            if count == 0 || !take(&stretch[..count]) {
                return Ok(());
            }
        }
    };
    read_back_all(read, machine, &SimulateSettings::of(machine, blade_offset_mm))
}

fn read_back_all<E: Send>(
    read: impl FnOnce(&mut dyn FnMut(&[u8]) -> bool) -> Result<(), E> + Send,
    machine: &Machine,
    simulation: &SimulateSettings,
) -> Result<ReadBack, E> {
    let (mut heard, mut whole) = (Heard::default(), Simulation::default());
    let setup = Setup::new(machine, *simulation).in_whole_cuts();
    let mut see = |seen: Seen| match seen {
        Seen::Instruction(located) => heard.hear(located, machine),
        Seen::Piece(piece) => whole.keep(piece),
    };
    let follow::End { totals, left_down, findings } = follow(setup, read, &mut see)?;
    let simulation = Simulation { totals, left_down, ..whole };
    Ok(ReadBack { heard, simulation, findings })
}

/// What the bytes of `plan` do with a blade whose offset really is `true_offset_mm`.
pub fn what_if(plan: &Plan, true_offset_mm: f64) -> Plan {
    let back = read_back(&plan.written.bytes, &plan.works.machine, true_offset_mm);
    let proof = proof::of_plan(&back.simulation, &plan.job, (&plan.layout, &plan.order));
    Plan { simulation: back.simulation, proof, ..plan.clone() }
}
