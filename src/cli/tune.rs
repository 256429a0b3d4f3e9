//! `tune`: test sheets for the blade, what their reading means, and where the result is kept.

use std::path::{Path, PathBuf};

use clap::{Args as ClapArgs, Subcommand};
use serde::Serialize;

use super::files::{self, Target};
use super::options::MachineOptions;
use super::{Exit, Failure, Outcome, talk};
use crate::geometry::Point;
use crate::hpgl;
use crate::job::{self, Job, Pace};
use crate::profile::{Library, Machine, Material};
use crate::tuning::{self, Estimate, Pattern, Readings, Sheet, SheetSettings, Tuned};
use crate::units::Length;

/// Room between the machine's corner and a sheet, mm: the rollers' and the holder's own width.
const CORNER_MM: f64 = 10.0;
/// Tests in a row: eight steps between the first and the last.
const STEPS: f64 = 8.0;

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
    Read(ReadArgs),
    /// Keep tuned values in your own copy of a material profile
    Save(SaveArgs),
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
    #[arg(long, value_name = "NUMBER", requires = "step")]
    first: Option<f64>,
    /// From one test to the next; for circles how many times as large
    #[arg(long, value_name = "NUMBER", requires = "first")]
    step: Option<f64>,
}

#[derive(ClapArgs, Debug)]
struct ReadArgs {
    /// Only sheets of this pattern were read
    #[arg(long)]
    pattern: Option<Pattern>,
    /// Circles: number and mean of width and height of the hole in mm, as 7=0.52, separated by commas
    #[arg(long, value_name = "NUMBER=MM", value_delimiter = ',')]
    hole: Vec<String>,
    /// Circles: number of the smallest one from which a clean disc fell
    #[arg(long, value_name = "NUMBER")]
    opened: Option<usize>,
    /// Vernier: number of the pair along x that lines up
    #[arg(long, value_name = "NUMBER")]
    tick_x: Option<usize>,
    /// Vernier: number of the pair along y that lines up
    #[arg(long, value_name = "NUMBER")]
    tick_y: Option<usize>,
    /// Eyelets: numbers of the strokes without an eye, separated by commas
    #[arg(long, value_name = "NUMBER", value_delimiter = ',')]
    eyelet: Vec<usize>,
    /// Ladder: number of the square whose cut comes back to its beginning
    #[arg(long, value_name = "NUMBER")]
    square: Option<usize>,
    /// What one measurement may be off by
    #[arg(long, value_name = "LENGTH", default_value = "0.02mm")]
    noise: Length,
    /// Answer as JSON
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    row: Row,
    #[command(flatten)]
    with: MachineOptions,
}

#[derive(ClapArgs, Debug)]
struct SaveArgs {
    /// The material whose profile is copied and changed
    #[arg(long, value_name = "NAME")]
    material: String,
    /// The tuned blade offset
    #[arg(long, value_name = "LENGTH")]
    blade_offset: Option<Length>,
    /// The tuned overcut
    #[arg(long, value_name = "LENGTH")]
    overcut: Option<Length>,
    /// The tuned force, in the machine's own numbers
    #[arg(long, value_name = "NUMBER")]
    force: Option<f64>,
    /// The tuned speed, cm/s
    #[arg(long, value_name = "NUMBER")]
    speed: Option<f64>,
    /// Show the change, write nothing
    #[arg(long)]
    dry_run: bool,
}

pub fn run(args: &Args) -> Outcome {
    match &args.what {
        What::Sheet(args) => sheet(args),
        What::Read(args) => read(args),
        What::Save(args) => save(args),
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
    page_target.put(tuning::page(&sheet).as_bytes())?;
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
    talk::print(
        &mut err,
        "Tune on scrap; change blades with the power off; keep fingers away from the carriage; the \
         machine's manual comes first.",
    )?;
    Ok(Exit::Done)
}

fn sheet_settings(
    pattern: Pattern,
    row: Row,
    with: &MachineOptions,
    (machine, material): (&Machine, &Material),
) -> Result<SheetSettings, Failure> {
    let offset_mm = with.blade_offset.map_or(material.blade_offset_mm, Length::mm);
    let about_offset = !matches!(pattern, Pattern::Overcut | Pattern::Force | Pattern::Speed);
    if about_offset && (offset_mm <= 0.0 || !machine.needs_compensation()) {
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
    let row = match pattern {
        Pattern::Force => {
            let taken = machine.language.force;
            Some(row_of("force", (taken, machine.language.force_range), row)?)
        }
        Pattern::Speed => {
            let taken = machine.language.velocity;
            Some(row_of("speed", (taken, machine.language.velocity_range_cm_s), row)?)
        }
        _ => row,
    };
    let corner = machine.limits_mm().map_or(Point::ORIGIN, |limits| limits.min);
    let at = corner + Point::new(CORNER_MM, CORNER_MM);
    Ok(SheetSettings { pattern, offset_mm, row, at, unit_mm: machine.unit_mm })
}

/// The row of forces or speeds: as typed, else over the machine's range.
fn row_of(
    what: &str,
    (taken, range): (bool, Option<[f64; 2]>),
    row: Option<(f64, f64)>,
) -> Result<(f64, f64), Failure> {
    if !taken {
        let text = format!("the machine's profile says that it takes no {what} from a job");
        return Err(Failure::usage(format!("{text}; set it on the machine, test by test")));
    }
    let whole = |[low, high]: [f64; 2]| (low.max(1.0), ((high - low) / STEPS).max(1.0).floor());
    row.or(range.map(whole)).ok_or_else(|| {
        Failure::usage(format!("the machine's range of {what} is unknown; give --first and --step"))
    })
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

fn read(args: &ReadArgs) -> Outcome {
    let readings = readings(args)?;
    let estimate = tuning::read(&readings).map_err(Failure::failed)?;
    let mut out = anstream::stdout();
    if args.json {
        let text = serde_json::to_string(&Answer::of(&estimate)).map_err(Failure::failed)?;
        talk::print(&mut out, &text)?;
        return Ok(Exit::Done);
    }
    let line = |value: f64, range: f64| format!("{value:.3} mm ± {range:.3} mm");
    talk::print(
        &mut out,
        &format!("blade offset  {}", line(estimate.offset_mm, estimate.uncertainty_mm)),
    )?;
    for (axis, play) in [("x", estimate.play_x_mm), ("y", estimate.play_y_mm)] {
        if let Some((value, range)) = play {
            talk::print(&mut out, &format!("play along {axis}  {}", line(value, range)))?;
        }
    }
    if estimate.closing_doubtful {
        talk::print(
            &mut out,
            "the eyelets count for little: the machine's play may be so large against \
             this offset that they close where they should not; trust circles and vernier",
        )?;
    }
    if let Some(pattern) = readings.row_ended {
        let text = format!(
            "what closes best on the {pattern} sheet stands at the end of its row: the offset may lie \
             beyond it"
        );
        talk::print(&mut out, &text)?;
    }
    let next = estimate.next.map_or_else(
        || "nothing more to cut; keep it with `tune save`".to_owned(),
        |p| {
            format!("cut next: tune sheet --pattern {p} --blade-offset {:.3}mm", estimate.offset_mm)
        },
    );
    talk::print(&mut out, &next)?;
    Ok(Exit::Done)
}

/// The answer as JSON.
#[derive(Serialize)]
struct Answer {
    format: u32,
    blade_offset_mm: f64,
    uncertainty_mm: f64,
    play_x_mm: Option<f64>,
    play_x_uncertainty_mm: Option<f64>,
    play_y_mm: Option<f64>,
    play_y_uncertainty_mm: Option<f64>,
    closing_doubtful: bool,
    next: Option<&'static str>,
}

impl Answer {
    fn of(estimate: &Estimate) -> Self {
        Self {
            format: 1,
            blade_offset_mm: fine(estimate.offset_mm),
            uncertainty_mm: fine(estimate.uncertainty_mm),
            play_x_mm: estimate.play_x_mm.map(|p| fine(p.0)),
            play_x_uncertainty_mm: estimate.play_x_mm.map(|p| fine(p.1)),
            play_y_mm: estimate.play_y_mm.map(|p| fine(p.0)),
            play_y_uncertainty_mm: estimate.play_y_mm.map(|p| fine(p.1)),
            closing_doubtful: estimate.closing_doubtful,
            next: estimate.next.map(Pattern::name),
        }
    }
}

/// Numbers on sheets → values, by laying the sheets out again.
fn readings(args: &ReadArgs) -> Result<Readings, Failure> {
    let (machine, material) = args.with.profiles()?;
    let noise_mm = args.noise.mm();
    if !(noise_mm > 0.0 && noise_mm < 5.0) {
        return Err(Failure::usage("--noise must be above 0 and below 5mm"));
    }
    let sheet = |pattern| {
        let row = if args.pattern.is_none_or(|p| p == pattern) { args.row } else { NO_ROW };
        let settings = sheet_settings(pattern, row, &args.with, (&machine, &material))?;
        Ok::<_, Failure>(tuning::sheet(&settings))
    };
    let circles = sheet(Pattern::Circles)?;
    let mut readings = Readings { noise_mm, unit_mm: machine.unit_mm, ..Readings::default() };
    for text in &args.hole {
        readings.holes.push(hole(text, &circles)?);
    }
    if let Some(number) = args.opened {
        let open = value_of(&circles, number)?;
        let shut = circles.value(number.saturating_sub(1)).unwrap_or(0.0);
        readings.opened = Some((shut, open));
    }
    let step = |sheet: &Sheet| match &sheet.marks[..] {
        [a, b, ..] => b.value - a.value,
        _ => 0.0,
    };
    if args.tick_x.is_some() || args.tick_y.is_some() {
        let vernier = sheet(Pattern::Vernier)?;
        let tick = |number: Option<usize>| match number {
            Some(number) => Ok::<_, Failure>(Some((value_of(&vernier, number)?, step(&vernier)))),
            None => Ok(None),
        };
        (readings.tick_x, readings.tick_y) = (tick(args.tick_x)?, tick(args.tick_y)?);
    }
    let mut closing = |pattern, number: usize| {
        let row = sheet(pattern)?;
        let value = value_of(&row, number)?;
        let ends = row.marks.first().zip(row.marks.last());
        if ends.is_some_and(|(first, last)| value == first.value || value == last.value) {
            readings.row_ended = Some(pattern);
        }
        Ok::<_, Failure>((value, step(&row)))
    };
    let square = args.square.map(|number| closing(Pattern::Ladder, number)).transpose()?;
    let eyelets = args.eyelet.iter().map(|&number| closing(Pattern::Eyelets, number));
    let eyelets = eyelets.collect::<Result<_, _>>()?;
    (readings.square, readings.closed) = (square, eyelets);
    Ok(readings)
}

const NO_ROW: Row = Row { first: None, step: None };

fn hole(text: &str, circles: &Sheet) -> Result<(f64, f64), Failure> {
    let wrong = || Failure::usage(format!("--hole {text}: write number=diameter, as 7=0.52"));
    let (number, diameter) = text.split_once('=').ok_or_else(wrong)?;
    let number = number.trim().parse().map_err(|_| wrong())?;
    let diameter: f64 = diameter.trim().trim_end_matches("mm").parse().map_err(|_| wrong())?;
    Ok((value_of(circles, number)?, diameter))
}

fn value_of(sheet: &Sheet, number: usize) -> Result<f64, Failure> {
    sheet.value(number).ok_or_else(|| {
        let (pattern, most) = (sheet.pattern, sheet.marks.len());
        Failure::usage(format!("the {pattern} sheet has the numbers 1 to {most}, not {number}"))
    })
}

fn save(args: &SaveArgs) -> Outcome {
    let library = Library::of_user();
    let (text, _) = library.material_text(&args.material).map_err(Failure::usage)?;
    let tuned = Tuned {
        blade_offset_mm: args.blade_offset.map(Length::mm),
        overcut_mm: args.overcut.map(Length::mm),
        machine_force: args.force,
        velocity_cm_s: args.speed,
    };
    let (text, changes) = tuning::save(&text, &tuned).map_err(Failure::usage)?;
    let path = save_place(&library, &args.material)?;
    let mut err = anstream::stderr();
    for change in &changes {
        let before = change.before.map_or_else(|| "not set".to_owned(), |v| v.to_string());
        talk::print(&mut err, &format!("{}: {before} -> {}", change.key, change.after))?;
    }
    if changes.is_empty() {
        talk::print(&mut err, "nothing to change")?;
    } else if !args.dry_run {
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|e| {
                Failure::failed(format!(
                    "{} cannot be made: {}",
                    folder.display(),
                    files::plain(&e)
                ))
            })?;
        }
        Target::open(&path, Path::new(""))?.put(text.as_bytes())?;
        talk::print(&mut err, &format!("written to {}", path.display()))?;
    }
    Ok(Exit::Done)
}

/// The named file itself, or the user's copy of a profile that is known by name.
fn save_place(library: &Library, material: &str) -> Result<PathBuf, Failure> {
    let named = Path::new(material);
    if named.is_file() {
        return Ok(named.to_owned());
    }
    let folder = library.material_folder().ok_or_else(|| {
        Failure::failed("there is no folder for your profiles; set BLADEWRIGHT_PROFILES to one")
    })?;
    Ok(folder.join(format!("{material}.toml")))
}

/// To a tenth of a micrometre.
fn fine(mm: f64) -> f64 {
    (mm * 1e4).round() / 1e4
}
