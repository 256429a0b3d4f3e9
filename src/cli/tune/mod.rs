//! `tune`: test sheets for the blade, what their reading means (`read`), and where the result is
//! kept (`save`).

mod read;
mod save;

use std::path::{Path, PathBuf};

use clap::{Args as ClapArgs, Subcommand};

use super::files::Target;
use super::options::MachineOptions;
use super::{Exit, Failure, Outcome, number, talk};
use crate::geometry::Point;
use crate::hpgl;
use crate::job::{self, Job, Pace};
use crate::profile::{Machine, Material};
use crate::tuning::{self, Pattern, Sheet, SheetSettings};
use crate::units::Length;

/// Room between the machine's corner and a sheet, mm: the rollers' and the holder's own width.
const CORNER_MM: f64 = 10.0;
/// Tests in a row: eight steps between the first and the last.
const STEPS: f64 = 8.0;
/// What sums of steps may be off by in the last digits.
const FUZZ: f64 = 1e-9;

#[derive(ClapArgs, Debug)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand, Debug)]
enum What {
    /// Write a test sheet, and a page to print that shows what to look for
    Sheet(SheetArgs),
    /// Tell the blade offset from what was seen on test sheets
    Read(read::ReadArgs),
    /// Keep tuned values in your own copy of a material profile
    Save(save::SaveArgs),
}

#[derive(ClapArgs, Debug)]
struct SheetArgs {
    /// circles, vernier, eyelets, ladder, overcut, force or speed
    #[arg(long)]
    pattern: Pattern,
    /// Where the job goes [default: tune-PATTERN.hpgl]
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Where the page goes [default: tune-PATTERN.html]
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    #[command(flatten)]
    row: Row,
    #[command(flatten)]
    with: MachineOptions,
}

/// The values of a row of tests.
#[derive(ClapArgs, Debug, Clone, Copy)]
struct Row {
    /// Value of the first test, mm, cm/s, or the machine's own force number
    #[arg(long, value_name = "NUMBER", requires = "step",
          allow_negative_numbers = true, value_parser = number::decimal)]
    first: Option<f64>,
    /// From one test to the next; for circles how many times as large
    #[arg(long, value_name = "NUMBER", requires = "first",
          allow_negative_numbers = true, value_parser = number::decimal)]
    step: Option<f64>,
}

pub fn run(args: &Args) -> Outcome {
    match &args.what {
        What::Sheet(args) => sheet(args),
        What::Read(args) => read::run(args),
        What::Save(args) => save::run(args),
    }
}

fn sheet(args: &SheetArgs) -> Outcome {
    let (machine, material) = args.with.profiles()?;
    let settings = sheet_settings(args.pattern, args.row, &args.with, (&machine, &material))?;
    let named = |ending: &str| PathBuf::from(format!("tune-{}.{ending}", args.pattern));
    let output = args.output.clone().unwrap_or_else(|| named("hpgl"));
    let page = args.page.clone().unwrap_or_else(|| named("html"));
    let none = Path::new("");
    let (job_target, page_target) = (Target::open(&output, none)?, Target::open(&page, none)?);
    let sheet = tuning::sheet(&settings);
    let job = job_of(&sheet, &machine, &material)?;
    job_target.put(&hpgl::write(&job, &machine.language).bytes)?;
    let how = how_to_read(args, &settings, &material);
    page_target.put(tuning::page(&sheet, &how).as_bytes())?;
    let area = sheet.bounds();
    let mut err = anstream::stderr();
    let line = format!(
        "{} tests on {:.0} by {:.0} mm: {}; what to look for: {}",
        sheet.marks.len(),
        area.width(),
        area.height(),
        output.display(),
        page.display()
    );
    talk::print(&mut err, &line)?;
    talk::print(&mut err, &format!("then: {how}"))?;
    talk::print(
        &mut err,
        "Tune on scrap; change blades with the power off; keep fingers away from the carriage; the \
         machine's manual comes first.",
    )?;
    Ok(Exit::Done)
}

/// The command that takes what was seen, as it is to be typed: a number means the value that it has
/// on this very sheet.
fn how_to_read(args: &SheetArgs, settings: &SheetSettings, material: &Material) -> String {
    let named = quoted(args.with.material.as_deref().unwrap_or(&material.name));
    let save = |option: &str| format!("bladewright tune save --material {named} {option}");
    let seen = match args.pattern {
        Pattern::Circles => "--hole NUMBER=MM,NUMBER=MM (or --opened NUMBER)",
        // A vernier alone does not tell the offset from the play.
        Pattern::Vernier => "--hole NUMBER=MM,NUMBER=MM --tick-x NUMBER --tick-y NUMBER",
        Pattern::Eyelets => "--eyelet NUMBER,NUMBER",
        Pattern::Ladder => "--square NUMBER",
        Pattern::Overcut => return save("--overcut VALUEmm"),
        Pattern::Force => return save("--force VALUE"),
        Pattern::Speed => return save("--speed VALUE"),
    };
    let row = args.row.first.zip(args.row.step).map_or_else(String::new, |(first, step)| {
        format!(" --pattern {} --first {first} --step {step}", args.pattern)
    });
    let with = same_profiles(&args.with, material);
    format!("bladewright tune read {seen} --blade-offset {}mm {with}{row}", settings.offset_mm)
}

/// The options that name the same machine and material again.
fn same_profiles(with: &MachineOptions, material: &Material) -> String {
    let material = with.material.as_deref().unwrap_or(&material.name);
    format!("--machine {} --material {}", quoted(&with.machine), quoted(material))
}

/// A word for the command line; in quotes if it is not a plain one.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "-_./:\\".contains(c);
    if word.chars().all(plain) { word.to_owned() } else { format!("\"{word}\"") }
}

fn sheet_settings(
    pattern: Pattern,
    row: Row,
    with: &MachineOptions,
    (machine, material): (&Machine, &Material),
) -> Result<SheetSettings, Failure> {
    let offset_mm = with.blade_offset.map_or(material.blade_offset_mm, Length::mm);
    if pattern.tells_offset() && (offset_mm <= 0.0 || !machine.needs_compensation()) {
        return Err(Failure::usage(format!(
            "{} with {} has no trailing blade to compensate, so there is no offset to tune",
            machine.name, material.name
        )));
    }
    let row = row.first.zip(row.step);
    if row.is_some_and(|(first, step)| !(first >= 0.0 && step > 0.0 && (first + step).is_finite()))
    {
        return Err(Failure::usage("--first must be 0 or more and --step above 0"));
    }
    let taken = match pattern {
        Pattern::Force => Some((machine.language.force, machine.language.force_range)),
        Pattern::Speed => Some((machine.language.velocity, machine.language.velocity_range_cm_s)),
        _ => None,
    };
    let row = taken.map_or(Ok(row), |taken| row_of(pattern, taken, row).map(Some))?;
    let most = taken.and_then(|(_, range)| range).map(|[_, high]| high + FUZZ);
    let corner = machine.limits_mm().map_or(Point::ORIGIN, |limits| limits.min);
    let at = corner + Point::new(CORNER_MM, CORNER_MM);
    Ok(SheetSettings { pattern, offset_mm, row, most, at, unit_mm: machine.unit_mm })
}

/// The row of forces or speeds: as typed, else over the machine's range.
fn row_of(
    what: Pattern,
    (taken, range): (bool, Option<[f64; 2]>),
    row: Option<(f64, f64)>,
) -> Result<(f64, f64), Failure> {
    if !taken {
        let text = format!("the machine's profile says that it takes no {what} from a job");
        return Err(Failure::usage(format!("{text}; set it on the machine, test by test")));
    }
    let whole = |[low, high]: [f64; 2]| (low.max(1.0), ((high - low) / STEPS).max(1.0).floor());
    let row = row.or(range.map(whole)).ok_or_else(|| {
        Failure::usage(format!("the machine's range of {what} is unknown; give --first and --step"))
    })?;
    match range {
        Some([low, high]) if row.0 < low || row.0 + row.1 > high + FUZZ => {
            let text = format!(
                "--first {} --step {}: the machine takes a {what} from {low} to {high}, and two tests at \
                 least belong on a sheet",
                row.0, row.1
            );
            Err(Failure::usage(text))
        }
        _ => Ok(row),
    }
}

fn job_of(sheet: &Sheet, machine: &Machine, material: &Material) -> Result<Job, Failure> {
    let pace = Pace {
        tool: 1,
        velocity_cm_s: material.velocity_cm_s.filter(|_| machine.language.velocity),
        force: material.machine_force.filter(|_| machine.language.force),
        swing_velocity_cm_s: None,
        swing_force: None,
    };
    let mut job = job::build(&sheet.axis, machine, |_| pace).map_err(Failure::failed)?;
    for (path, test) in job.paths.iter_mut().zip(&sheet.test_of) {
        let value = test.and_then(|number| sheet.value(number));
        match sheet.pattern {
            Pattern::Force => path.force = value.or(path.force),
            Pattern::Speed => path.velocity_cm_s = value.or(path.velocity_cm_s),
            _ => {}
        }
    }
    Ok(job)
}
