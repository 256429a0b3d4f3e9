//! `preview`: what a drawing or a job does, as a picture.

use std::path::{Path, PathBuf};

use super::files::{self, Target};
use super::options::DrawingOptions;
use super::{Exit, Failure, Outcome, check};
use crate::pipeline::{self, Plan};
use crate::preview::{self, View};

#[derive(clap::Args, Debug)]
pub struct Args {
    /// A drawing (SVG, SVGZ) or a job (HPGL); - reads it from stdin
    file: PathBuf,
    /// The picture (.svg or .png)
    #[arg(long, short, value_name = "FILE")]
    output: PathBuf,
    #[command(flatten)]
    drawing: DrawingOptions,
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
        match path.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase).as_deref() {
            Some("svg") => Ok(Self::Svg),
            Some("png") => Ok(Self::Png),
            _ => {
                let text = format!("{}: a picture ends in .svg or .png", path.display());
                Err(Failure::usage(text))
            }
        }
    }
}

pub fn run(args: &Args) -> Outcome {
    let format = Format::of(&args.output)?;
    let settings = args.drawing.settings()?;
    let bytes = files::read(&args.file)?;
    let target = Target::open(&args.output, &args.file)?;
    if !check::is_drawing(&bytes) {
        let back = pipeline::read_back(&bytes, &settings.machine, settings.offset_mm());
        if back.simulation.cuts.is_empty() {
            let text = "neither an SVG drawing nor an HPGL job that cuts anything";
            return Err(Failure::failed(format!("{}: {text}", args.file.display())));
        }
        target.put(&render(&View::of_simulation(&back.simulation), format)?)?;
        return Ok(Exit::Done);
    }
    let plans = args.drawing.plans_of(&bytes, &args.file, &settings)?;
    if let [plan] = &plans[..]
        && plan.film.is_empty()
    {
        target.put(&picture(plan, &args.output)?)?;
        return Ok(Exit::Done);
    }
    drop(target);
    for plan in &plans {
        let path = files::for_film(&args.output, &plan.film);
        Target::open(&path, &args.file)?.put(&picture(plan, &path)?)?;
    }
    Ok(Exit::Done)
}

/// The picture of a plan in the format that `path` ends in.
pub fn picture(plan: &Plan, path: &Path) -> Result<Vec<u8>, Failure> {
    render(&View::of_plan(&plan.simulation, &plan.job, &plan.layout), Format::of(path)?)
}

fn render(view: &View, format: Format) -> Result<Vec<u8>, Failure> {
    let svg = preview::picture_svg(view);
    match format {
        Format::Svg => Ok(svg.into_bytes()),
        Format::Png => preview::picture_png(&svg).map_err(Failure::failed),
    }
}
