//! `check`: what a drawing or a job would do, without writing anything.

use std::path::PathBuf;

use super::options::DrawingOptions;
use super::{Exit, Failure, Outcome, files, talk};
use crate::check;
use crate::finding::{Finding, Severity};
use crate::pipeline;
use crate::report::Report;

#[derive(clap::Args, Debug)]
pub struct Args {
    /// A drawing (SVG, SVGZ) or a job (HPGL); - reads it from stdin
    file: PathBuf,
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
    let settings = args.drawing.settings()?;
    let bytes = files::read(&args.file)?;
    let reports = if is_drawing(&bytes) {
        let plans = args.drawing.plans_of(&bytes, &args.file, &settings)?;
        plans.iter().map(Report::of_plan).collect()
    } else {
        vec![report_of_job(&bytes, args, &settings)?]
    };
    let mut exit = Exit::Done;
    for report in &reports {
        tell(args, report)?;
        let errors = report.findings.iter().any(|f| f.severity == Severity::Error);
        exit = match talk::strictness(args.strict, &report.findings) {
            Exit::Done if errors => Exit::Failed,
            Exit::Done => exit,
            left_out => left_out,
        };
    }
    Ok(exit)
}

fn report_of_job(
    bytes: &[u8],
    args: &Args,
    settings: &pipeline::PlanSettings,
) -> Result<Report, Failure> {
    if bytes.is_empty() {
        return Err(Failure::failed(format!("{}: the file is empty", args.file.display())));
    }
    let back = pipeline::read_back(bytes, &settings.machine, settings.offset_mm());
    if back.simulation.cuts.is_empty() {
        let text = "neither an SVG drawing nor an HPGL job that cuts anything";
        return Err(Failure::failed(format!("{}: {text}", args.file.display())));
    }
    let mut findings: Vec<Finding> = back.findings;
    findings.extend(check::check(&back.simulation, &back.commands, &settings.machine));
    Ok(Report::of_simulation(&back.simulation, findings))
}

/// Whether the bytes begin as XML or gzip do; HPGL begins with neither.
pub fn is_drawing(bytes: &[u8]) -> bool {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let first = text.iter().find(|c| !c.is_ascii_whitespace());
    bytes.starts_with(&[0x1f, 0x8b]) || first == Some(&b'<')
}

fn tell(args: &Args, report: &Report) -> Outcome {
    let mut out = anstream::stdout();
    if args.json {
        talk::print(&mut out, &serde_json::to_string(report).map_err(Failure::failed)?)?;
        return Ok(Exit::Done);
    }
    talk::findings(&args.file.display().to_string(), &report.findings);
    talk::report(report, &mut out)
}
