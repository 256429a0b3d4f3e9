//! `write`: a drawing → HPGL, a report, a picture.

use std::path::{Path, PathBuf};

use super::files::{self, Target};
use super::options::DrawingOptions;
use super::{Failure, Outcome, preview, talk};
use crate::parallel;
use crate::pipeline::{self, Plan};
use crate::report::Report;

#[derive(clap::Args, Debug)]
pub struct Args {
    /// The drawing, SVG or SVGZ; - reads it from stdin
    file: PathBuf,
    /// Where the job goes; - is stdout [default: the drawing's name with .hpgl, in this folder]
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Also draw the job into this file (.svg or .png)
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    /// Report as JSON on stdout
    #[arg(long)]
    json: bool,
    /// Exit with 4 when something was left out or looks wrong
    #[arg(long)]
    strict: bool,
    #[command(flatten)]
    drawing: DrawingOptions,
}

pub fn run(args: &Args) -> Outcome {
    let output = args.output.clone().unwrap_or_else(|| default_output(&args.file));
    if let Some(picture) = &args.picture {
        preview::Format::of(picture)?;
    }
    // Looked at now, so that a wrong place is told before the work.
    let first = Target::open(&output, &args.file)?;
    let plans = args.drawing.plans(&args.file)?;
    // A disk takes its time.
    let (outputs, reports) = parallel::both(
        || store(&plans, &output, first, &args.file),
        || plans.iter().map(Report::of_plan).collect::<Vec<_>>(),
    );
    let outputs = outputs?;
    let pictures = args.picture.as_ref().map(|picture| files::for_plans(picture, &plans));
    for (plan, picture) in plans.iter().zip(pictures.iter().flatten()) {
        Target::open(picture, &args.file)?.put(&preview::picture(plan, picture)?)?;
    }
    let pictures = pictures.as_deref().unwrap_or_default();
    let told = tell(args, plans.iter().zip(reports), (&outputs, pictures));
    // The program ends here and all its memory with it: to give back line by line would take longer
    // than to tell.
    std::mem::forget(plans);
    told
}

fn default_output(file: &Path) -> PathBuf {
    match file.file_name() {
        Some(name) if file != Path::new("-") => Path::new(name).with_extension("hpgl"),
        _ => PathBuf::from("job.hpgl"),
    }
}

/// Writes every film's job; with several, their names follow the file's.
fn store(
    plans: &[Plan],
    output: &Path,
    first: Target,
    input: &Path,
) -> Result<Vec<PathBuf>, Failure> {
    let outputs = files::for_plans(output, plans);
    if let ([plan], [own]) = (plans, &outputs[..])
        && own == output
    {
        first.put(&plan.written.bytes)?;
        return Ok(outputs);
    }
    if matches!(first, Target::Stdout) {
        let text = "several jobs cannot go to stdout; give -o a file name, their names follow it";
        return Err(Failure::usage(text));
    }
    drop(first);
    for (plan, path) in plans.iter().zip(&outputs) {
        Target::open(path, input)?.put(&plan.written.bytes)?;
    }
    Ok(outputs)
}

/// Tells of each plan, whose job is in the file of the same place, and its picture, if there are any.
fn tell<'a>(
    args: &Args,
    plans: impl Iterator<Item = (&'a Plan, Report)>,
    (outputs, pictures): (&[PathBuf], &[PathBuf]),
) -> Outcome {
    let file = args.file.display().to_string();
    let mut exit = super::Exit::Done;
    for (i, ((plan, mut report), output)) in plans.zip(outputs).enumerate() {
        if talk::strictness(args.strict, &plan.findings) != super::Exit::Done {
            exit = super::Exit::LeftOut;
        }
        if args.drawing.bound {
            report = report.bounded(&pipeline::least(plan, &args.drawing.settings()?));
        }
        if args.json {
            print_json(&report, output)?;
            continue;
        }
        talk::findings(&file, &plan.findings);
        talk::errors_above(&plan.findings);
        let picture = pictures.get(i).map(PathBuf::as_path);
        if output == Path::new("-") {
            report_with((&report, None, picture), &mut anstream::stderr())?;
        } else {
            report_with((&report, Some(output), picture), &mut anstream::stdout())?;
        }
    }
    Ok(exit)
}

/// The report, and where the job and its picture are.
fn report_with(
    (report, job, picture): (&Report, Option<&Path>, Option<&Path>),
    out: &mut impl std::io::Write,
) -> Result<(), Failure> {
    talk::report(report, out)?;
    for (what, path) in [("written to", job), ("drawn to", picture)] {
        if let Some(path) = path.filter(|path| *path != Path::new("-")) {
            talk::named(out, what, &path.display().to_string())?;
        }
    }
    Ok(())
}

/// One object a line; on stderr when the job itself goes to stdout.
fn print_json(report: &Report, output: &Path) -> Result<(), Failure> {
    let text = serde_json::to_string(report).map_err(Failure::failed)?;
    if output == Path::new("-") {
        talk::print(&mut std::io::stderr(), &text)
    } else {
        talk::print(&mut std::io::stdout(), &text)
    }
}
