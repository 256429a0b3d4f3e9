//! `check`: what a drawing or a job would do, without writing anything.

use std::io;
use std::path::{Path, PathBuf};

use super::files::{Input, Source, Target};
use super::options::DrawingOptions;
use super::{Exit, Failure, Outcome, as_it_is, files, preview, talk};
use crate::finding::{Finding, Severity};
use crate::led;
use crate::pipeline::{self, Plan, PlanSettings, ReadBack};
use crate::preview::View;
use crate::proof::{self, WrittenFor};
use crate::report::Report;
use crate::simulate::{SimulateSettings, Simulation};
use crate::units::Length;

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
    /// Show what the job does with a blade whose offset really is this
    #[arg(long, value_name = "LENGTH", help_heading = "Proof")]
    true_offset: Option<Length>,
    /// Exit with 1 when the tip strays further from the lines, or leaves a contour open by more
    #[arg(long, value_name = "LENGTH", help_heading = "Proof")]
    tip_tolerance: Option<Length>,
    /// Of a job: whether the tip's way or the axis' way is what was wanted [default: the tip's if the
    /// job leads a blade]
    #[arg(long, value_enum, value_name = "WAY", help_heading = "Proof")]
    wanted: Option<Wanted>,
    /// Also draw what the tip does into this file (.svg or .png)
    #[arg(long, value_name = "FILE", help_heading = "Proof")]
    picture: Option<PathBuf>,
    #[command(flatten)]
    pub drawing: DrawingOptions,
}

#[derive(clap::ValueEnum, Debug, Clone, Copy, PartialEq)]
enum Wanted {
    Tip,
    Axis,
}

pub fn run(args: &Args) -> Outcome {
    let settings = args.drawing.settings()?;
    args.proof_options(&settings)?;
    let mut reports = match files::input(&args.file, |source| args.read_job(source, &settings))? {
        Input::Drawing(bytes) => {
            args.of_a_job()?;
            let plans = args.drawing.plans_of(&bytes, &args.file, &settings)?;
            let pictures = args.picture.as_ref().map(|picture| files::for_plans(picture, &plans));
            let picture = |i: usize| Some(pictures.as_ref()?.get(i)?.as_path());
            let report = |(i, plan)| report_of_plan(plan, (args, picture(i)), &settings);
            plans.iter().enumerate().map(report).collect::<Result<_, _>>()?
        }
        Input::Job(job) => vec![report_of_job(job, args, &settings)?],
    };
    let mut exit = Exit::Done;
    for report in &mut reports {
        report.findings.extend(args.tip_tolerance.and_then(|most| beyond(report, most.mm())));
        tell(args, report)?;
        exit = if report.findings.iter().any(|f| f.severity == Severity::Error) {
            Exit::Failed
        } else if exit == Exit::Done {
            talk::strictness(args.strict, &report.findings)
        } else {
            exit
        };
    }
    Ok(exit)
}

/// A job with the offset that is set, and with the true one if one was told.
type Read = (ReadBack, Option<Simulation>);

impl Args {
    fn read_job(&self, source: &mut Source, settings: &PlanSettings) -> io::Result<Read> {
        let (machine, set) = (&settings.machine, settings.offset_mm());
        let Some(offset) = self.true_offset else {
            return Ok((pipeline::read_back_from(source, machine, set)?, None));
        };
        let mut bytes = Vec::new();
        source.read_to_end(&mut bytes)?;
        let read = |offset_mm| pipeline::read_back(&bytes, machine, offset_mm);
        Ok((read(set), Some(read(offset.mm()).simulation)))
    }

    /// Nothing was typed that only a job obeys.
    fn of_a_job(&self) -> Result<(), Failure> {
        if self.wanted.is_none() {
            return Ok(());
        }
        let text = "--wanted is about a job, whose lines are not known; a drawing's lines are what is \
                    wanted: leave it out";
        Err(Failure::usage(text))
    }

    /// What was typed for the proof makes sense with the machine.
    fn proof_options(&self, settings: &PlanSettings) -> Result<(), Failure> {
        if let Some(picture) = &self.picture {
            preview::Format::of(picture)?;
        }
        if let Some(most) = self.tip_tolerance.filter(|most| most.mm() <= 0.0) {
            return Err(Failure::usage(format!("--tip-tolerance {most}: it must be above 0")));
        }
        let Some(offset) = self.true_offset else { return Ok(()) };
        if !(0.0..=50.0).contains(&offset.mm()) {
            return Err(Failure::usage(format!("--true-offset {offset}: it must be 0 to 50mm")));
        }
        if !settings.machine.needs_compensation() {
            let text = format!(
                "--true-offset {offset}: with {} no job is compensated for a trailing blade, so its \
                 offset changes nothing",
                settings.machine.name
            );
            return Err(Failure::usage(text));
        }
        Ok(())
    }
}

fn report_of_plan(
    plan: &Plan,
    (args, picture): (&Args, Option<&Path>),
    settings: &PlanSettings,
) -> Result<Report, Failure> {
    let bound = args.drawing.bound.then(|| pipeline::least(plan, settings));
    let bounded = |report: Report| bound.iter().fold(report, |report, least| report.bounded(least));
    let Some(offset) = args.true_offset else {
        draw(args, picture, &View::of_plan(&plan.simulation, &plan.job, &plan.layout))?;
        return Ok(bounded(Report::of_plan(plan)));
    };
    let really = pipeline::what_if(plan, offset.mm());
    let wanted = plan.layout.lines.iter().map(|line| line.contour.track()).collect();
    let view = View::of_plan(&really.simulation, &plan.job, &plan.layout);
    draw(args, picture, &view.enlarging(&really.proof, wanted, offset.mm()))?;
    Ok(bounded(Report { true_offset_mm: Some(offset.mm()), ..Report::of_plan(&really) }))
}

fn report_of_job(
    (back, really): Read,
    args: &Args,
    settings: &PlanSettings,
) -> Result<Report, Failure> {
    if back.simulation.totals.bytes == 0 {
        return Err(preview::empty(&args.file));
    }
    if let Some(tolerance) = args.drawing.tolerance {
        return Err(Failure::usage(format!(
            "--tolerance {tolerance} is how far outlines may leave a drawing's curves, and a job has \
             none; to fail when the tip strays, say --tip-tolerance {tolerance}"
        )));
    }
    as_it_is::refuse(&args.drawing.typed, &[])?;
    let true_offset = args.true_offset.map(Length::mm);
    let back = preview::checked(back, &args.file, settings)?;
    let set = settings.offset_mm();
    let mut findings: Vec<Finding> = back.findings;
    let written = Written::of((&back.simulation, settings), args.wanted);
    findings.extend(written.told);
    let simulation = really.as_ref().unwrap_or(&back.simulation);
    let as_written = written.simulation.as_ref().unwrap_or(&back.simulation);
    let own_way = written.way == WrittenFor::TrailingBlade
        && really.is_none()
        && written.simulation.is_none();
    let proof = if own_way {
        proof::of_own_ways(simulation)
    } else {
        proof::of_job(as_written, simulation, written.way)
    };
    if args.picture.is_some() {
        let wanted = proof::wanted_of(as_written, written.way).into_iter();
        let wanted = wanted.map(|(line, _)| line.points).collect();
        let view = View::of_simulation(simulation);
        draw(
            args,
            args.picture.as_deref(),
            &view.enlarging(&proof, wanted, true_offset.unwrap_or(set)),
        )?;
    }
    if true_offset.is_none() {
        let hint = written.hint;
        findings.extend(proof::off_line(&proof, &findings).map(|told| told.hint(hint)));
    }
    let report = Report::of_simulation(simulation, findings).proven(&proof);
    let report = Report { true_offset_mm: true_offset, ..report };
    Ok(if own_way { report.without_error() } else { report })
}

/// What a job was written for.
struct Written {
    way: WrittenFor,
    /// What the job does with the blade that it leads, if that is not the one that is set.
    simulation: Option<Simulation>,
    told: Option<Finding>,
    /// What helps where the tip leaves the lines.
    hint: &'static str,
}

impl Written {
    /// As the job shows, unless it was said what is wanted.
    fn of((read, settings): (&Simulation, &PlanSettings), wanted: Option<Wanted>) -> Self {
        let set = settings.offset_mm();
        let plain = |way, told| Self { way, simulation: None, told, hint: NOT_COMPENSATED };
        match wanted {
            Some(Wanted::Axis) => return plain(WrittenFor::Axis, None),
            Some(Wanted::Tip) => return plain(WrittenFor::TrailingBlade, None),
            None => {}
        }
        match led::written_for(read, settings.machine.unit_mm, set) {
            led::Written::For(way) => plain(way, Some(proof::assumed(way, set))),
            led::Written::OtherOffset(offset) => Self {
                way: WrittenFor::TrailingBlade,
                simulation: Some(
                    read.clone().with_tools(&SimulateSettings::of(&settings.machine, offset)),
                ),
                told: Some(led::other_offset(offset, set)),
                hint: OTHER_BLADE,
            },
        }
    }
}

/// What helps a job that leads another blade.
const OTHER_BLADE: &str = "The job leads a blade of another offset: set the one that is in the machine \
    with --blade-offset, and write the job anew if it is not the job's.";

/// What helps a job that sends a trailing blade along its lines.
const NOT_COMPENSATED: &str = "The job does not lead a trailing blade ahead of its tip: write it for \
    this offset, or check with --blade-offset 0 if the machine turns the blade by itself.";

fn draw(args: &Args, picture: Option<&Path>, view: &View) -> Result<(), Failure> {
    let Some(path) = picture else { return Ok(()) };
    Target::open(path, &args.file)?.put(&preview::render(view, preview::Format::of(path)?)?)
}

/// The tip strays, or leaves a contour open, by more than is wanted.
fn beyond(report: &Report, most_mm: f64) -> Option<Finding> {
    let error = report.tip_error_mm.unwrap_or_default();
    let gap = report.closing_gap_mm.unwrap_or_default();
    let (what, mm) = if error >= gap { ("strays", error) } else { ("leaves a contour open", gap) };
    (mm > most_mm).then(|| {
        let text = format!(
            "The tip {what} by {mm:.3} mm, more than the {most_mm:.3} mm of --tip-tolerance."
        );
        Finding::error("tip-beyond-tolerance", text)
            .hint("Set the blade's true offset with --blade-offset; `tune` finds it.")
    })
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
