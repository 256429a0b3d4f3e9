//! `preview`: what a drawing or a job does, as a page or a picture.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use super::files::{self, Input, Target};
use super::options::DrawingOptions;
use super::page::{self, Drawn, ORDERS};
use super::{Exit, Failure, Outcome, as_it_is, compare, talk};
use crate::drawing::ReadError;
use crate::finding::Finding;
use crate::hpgl::UNSIMULATED;
use crate::pipeline::{self, Plan, PlanSettings, ReadBack};
use crate::preview::{self, View};

#[derive(clap::Args, Debug)]
pub struct Args {
    /// A drawing (SVG, SVGZ) or a job (HPGL); - reads it from stdin
    file: PathBuf,
    /// The page (.html) or the picture (.svg or .png)
    #[arg(long, short, value_name = "FILE")]
    output: PathBuf,
    /// Show it at once with what the desktop has for such files
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    pub drawing: DrawingOptions,
}

/// What a picture is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Vector picture, true to scale.
    Svg,
    /// Pixels.
    Png,
}

impl Format {
    /// By the ending of `path`.
    pub fn of(path: &Path) -> Result<Self, Failure> {
        match ending(path).as_deref() {
            Some("svg") => Ok(Self::Svg),
            Some("png") => Ok(Self::Png),
            _ => {
                let text = format!("{}: a picture ends in .svg or .png", path.display());
                Err(Failure::usage(text))
            }
        }
    }
}

fn ending(path: &Path) -> Option<String> {
    path.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase)
}

pub fn run(args: &Args, typed: &[OsString]) -> Outcome {
    if matches!(ending(&args.output).as_deref(), Some("html" | "htm")) {
        write_page(args, typed)?;
    } else if Format::of(&args.output).is_ok() {
        write_pictures(args)?;
    } else {
        let path = args.output.display();
        let text = format!("{path}: a page ends in .html, a picture in .svg or .png");
        return Err(Failure::usage(text));
    }
    if args.open {
        page::open(&args.output)?;
    }
    Ok(Exit::Done)
}

fn write_page(args: &Args, typed: &[OsString]) -> Result<(), Failure> {
    let settings = args.drawing.settings()?;
    let target = Target::open(&args.output, &args.file)?;
    let input = read(&args.file, &settings)?;
    let back = match input {
        Input::Job(back) => {
            as_it_is::refuse(&args.drawing.typed, &[])?;
            checked(back, &args.file, &settings)?
        }
        Input::Drawing(bytes) => {
            let planned = Planned::new(&args.drawing, &bytes, &args.file, &settings)?;
            return target.put_all(&planned.page(&settings, typed));
        }
    };
    let name = compare::name_of(&args.file);
    target.put_all(&page::of_jobs(&[(name, back.simulation, back.findings)], &settings))
}

fn write_pictures(args: &Args) -> Result<(), Failure> {
    let format = Format::of(&args.output)?;
    let settings = args.drawing.settings()?;
    let target = Target::open(&args.output, &args.file)?;
    let input = read(&args.file, &settings)?;
    let bytes = match input {
        Input::Drawing(bytes) => bytes,
        Input::Job(back) => {
            as_it_is::refuse(&args.drawing.typed, &[])?;
            // A picture tells no findings: nothing is checked for it.
            let back = cutting(back, &args.file)?;
            return target.put(&render(&View::of_simulation(&back.simulation), format)?);
        }
    };
    let plans = args.drawing.plans_of(&bytes, &args.file, &settings)?;
    if let [plan] = &plans[..]
        && plan.film.is_empty()
    {
        return target.put(&picture(plan, &args.output)?);
    }
    drop(target);
    for (plan, path) in plans.iter().zip(files::for_plans(&args.output, &plans)) {
        Target::open(&path, &args.file)?.put(&picture(plan, &path)?)?;
    }
    Ok(())
}

/// A drawing, planned in each of [`ORDERS`].
pub struct Planned {
    /// What the drawing is called.
    pub file: String,
    /// Its plans, a list for each order.
    pub orders: Vec<Vec<Plan>>,
    layers: Vec<String>,
}

impl Planned {
    /// Plans the drawing in `bytes`.
    pub fn new(
        options: &DrawingOptions,
        bytes: &[u8],
        file: &Path,
        settings: &PlanSettings,
    ) -> Result<Self, Failure> {
        let strategies = ORDERS.map(|order| order.0);
        let (layers, orders) = options.orders_of(bytes, file, settings, &strategies)?;
        Ok(Self { file: compare::name_of(file), orders, layers })
    }

    /// The page that shows them.
    pub fn page(&self, settings: &PlanSettings, typed: &[OsString]) -> Vec<String> {
        let (orders, layers) = (&self.orders, &self.layers);
        Drawn { title: &self.file, orders, layers, settings, typed }.page()
    }
}

/// Reads a drawing, or a job from anywhere.
pub fn read(file: &Path, settings: &PlanSettings) -> Result<Input<ReadBack>, Failure> {
    files::input(file, |source| {
        pipeline::read_back_from(source, &settings.machine, settings.offset_mm())
    })
}

/// A job with the findings about what it does; an error when it cuts nothing.
pub fn checked(back: ReadBack, file: &Path, settings: &PlanSettings) -> Result<ReadBack, Failure> {
    let mut back = cutting(back, file)?;
    let own = crate::check::check(&back.simulation, &back.heard, &settings.machine);
    back.findings.extend(own);
    Ok(back)
}

/// A job; an error when it cuts nothing.
fn cutting(back: ReadBack, file: &Path) -> Result<ReadBack, Failure> {
    match back.simulation.totals.bytes {
        0 => Err(empty(file)),
        _ if back.simulation.cuts.is_empty() => Err(cuts_nothing(file, &back.findings)),
        _ => Ok(back),
    }
}

/// There is nothing in `file`.
pub fn empty(file: &Path) -> Failure {
    Failure::failed(format!("{}: {}", file.display(), ReadError::Empty))
}

/// `file` holds no work; `found` is what was told of reading it.
pub fn cuts_nothing(file: &Path, found: &[Finding]) -> Failure {
    let fills: Vec<Finding> = found.iter().filter(|f| f.code == UNSIMULATED).cloned().collect();
    let text = if fills.is_empty() || found.iter().any(|f| f.code == "stray-byte") {
        "neither an SVG drawing nor an HPGL job that cuts anything"
    } else {
        talk::findings(&file.display().to_string(), &fills);
        "an HPGL job that only fills areas or letters and follows no line, so nothing can be cut along \
         it; write it from the drawing, or export its outlines"
    };
    Failure::failed(format!("{}: {text}", file.display()))
}

/// The picture of a plan in the format that `path` ends in.
pub fn picture(plan: &Plan, path: &Path) -> Result<Vec<u8>, Failure> {
    let view = View::of_plan(&plan.simulation, &plan.job, &plan.layout).marking(&plan.findings);
    render(&view, Format::of(path)?)
}

/// The picture of `view` as bytes.
pub fn render(view: &View, format: Format) -> Result<Vec<u8>, Failure> {
    let svg = preview::picture_svg(view);
    match format {
        Format::Svg => Ok(svg.into_bytes()),
        Format::Png => preview::picture_png(&svg).map_err(Failure::failed),
    }
}
