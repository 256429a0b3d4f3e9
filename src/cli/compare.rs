//! `compare`: orders of a drawing's cuts, or jobs, side by side.

use std::ffi::OsString;
use std::io::Write;
use std::path::{Path, PathBuf};

use super::files::{Input, Target};
use super::options::DrawingOptions;
use super::page::{self, ORDERS};
use super::{Exit, Failure, Outcome, preview, talk};
use crate::compare::{self, Floor, Row};
use crate::pipeline::{self, Plan, PlanSettings};

#[derive(clap::Args, Debug)]
pub struct Args {
    /// Drawings (SVG, SVGZ), each in three orders, and jobs (HPGL); - reads one from stdin
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// As one JSON object
    #[arg(long, conflicts_with = "csv")]
    json: bool,
    /// As comma-separated values
    #[arg(long)]
    csv: bool,
    /// Also draw them side by side into this page (.html); for one drawing, or for jobs
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    #[command(flatten)]
    drawing: DrawingOptions,
}

pub fn run(args: &Args, typed: &[OsString]) -> Outcome {
    let settings = args.drawing.settings()?;
    let target = args.page.as_ref().map(|page| Target::beside(page, &args.files)).transpose()?;
    let mut rows: Vec<Row> = Vec::new();
    let mut jobs = Vec::new();
    let mut drawn = None;
    for file in &args.files {
        match preview::read(file, &settings)? {
            Input::Drawing(bytes) => {
                let drawing = preview::Planned::new(&args.drawing, &bytes, file, &settings)?;
                let group = rows.last().map_or(0, |last| last.group + 1);
                rows.extend(drawing_rows(&drawing, &settings, (args.files.len() > 1, group)));
                drawn = Some(drawing);
            }
            Input::Job(back) => {
                let back = preview::checked(back, file, &settings)?;
                let floor = Some(compare::floor_of(&back.simulation));
                let name = file.display().to_string();
                // Whatever a job cuts, it is held against what was named first.
                let (group, totals) = (0, back.simulation.totals);
                rows.push(Row { name: name.clone(), group, totals, floor });
                jobs.push((name, back.simulation, back.findings));
            }
        }
    }
    if let Some(target) = target {
        target.put_all(&match drawn {
            None => page::of_jobs(&jobs, &settings),
            Some(drawing) if args.files.len() == 1 => drawing.page(&settings, typed),
            Some(_) => {
                let text = "a page shows one drawing, or jobs; name them in runs of their own";
                return Err(Failure::usage(text));
            }
        })?;
    }
    tell(args, &rows)
}

/// The rows of a drawing: each film in each order, the films in groups from `first` on.
fn drawing_rows(
    drawing: &preview::Planned,
    settings: &PlanSettings,
    (several, first): (bool, usize),
) -> Vec<Row> {
    let mut rows = Vec::new();
    let films = drawing.orders.first().map_or(0, Vec::len);
    for film in 0..films {
        for (plans, (_, order, _)) in drawing.orders.iter().zip(&ORDERS) {
            let Some(plan) = plans.get(film) else { continue };
            let file = if several { drawing.file.as_str() } else { "" };
            let names = [file, &plan.film, order];
            let name: Vec<&str> = names.into_iter().filter(|name| !name.is_empty()).collect();
            rows.push(row((name.join(" "), first + film), plan, settings));
        }
    }
    rows
}

fn row((name, group): (String, usize), plan: &Plan, settings: &PlanSettings) -> Row {
    let floors = pipeline::floors(plan, settings);
    let floor = Some(Floor { ordered_mm: plan.ordered_mm, floors });
    Row { name, group, totals: plan.simulation.totals, floor }
}

fn tell(args: &Args, rows: &[Row]) -> Outcome {
    let mut out = anstream::stdout();
    if args.json {
        talk::print(&mut out, &compare::json(rows))?;
    } else if args.csv {
        talk::print(&mut out, compare::csv(rows).trim_end())?;
    } else {
        for line in compare::table(rows) {
            talk::print(&mut out, &line)?;
        }
        if compare::turns_change_ranks(rows) {
            let text = "Orders are chosen by the travel from line to line, before the blade is \
                        compensated; its turns and overcuts add to that, which changes who comes first here.";
            let _ = writeln!(anstream::stderr(), "{text}");
        }
    }
    Ok(Exit::Done)
}

/// What a file is called in a page.
pub fn name_of(file: &Path) -> String {
    file.file_name().unwrap_or(file.as_os_str()).to_string_lossy().into_owned()
}
