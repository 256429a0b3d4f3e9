//! `send`: a drawing or a job → the machine, over a serial port.

use std::io::{BufRead, IsTerminal, Write};
use std::path::PathBuf;

use indicatif::{ProgressBar, ProgressStyle};

use super::options::DrawingOptions;
use super::{Exit, Failure, Outcome, check, files, talk};
use crate::finding::Severity;
use crate::pipeline;
use crate::profile::Serial;
use crate::report::{Report, duration};
use crate::send::{self, Ending, SendSettings, SerialLink, StopFlag};
use crate::simulate::Simulation;

#[derive(clap::Args, Debug)]
pub struct Args {
    /// A drawing (SVG, SVGZ) or a job (HPGL)
    file: PathBuf,
    /// The serial port, for example /dev/ttyUSB0 (see `bladewright ports`)
    #[arg(long, short, value_name = "PORT")]
    port: String,
    /// Bits a second [default: the machine's]
    #[arg(long, value_name = "RATE")]
    baud: Option<u32>,
    /// Do not ask before the knife moves
    #[arg(long, short)]
    yes: bool,
    #[command(flatten)]
    drawing: DrawingOptions,
}

/// Raised by signals; looked at by the sender.
static STOP: StopFlag = StopFlag::new();

pub fn run(args: &Args) -> Outcome {
    let settings = args.drawing.settings()?;
    let serial = serial(args, &settings)?;
    let job = job(args, &settings)?;
    let mut link =
        SerialLink::open(&args.port, &serial).map_err(|e| Failure::new(Exit::Machine, e))?;
    say_what_comes(&job, &settings, args);
    if !args.yes && !agreed()? {
        return Err(Failure::failed("not sent; nothing has moved"));
    }
    listen_for_signals()?;
    let meter = Meter::new(&job.simulation);
    let ending =
        send::send(&job.bytes, &SendSettings::of(&serial), &mut link, &STOP, &mut |progress| {
            meter.show(progress.sent);
        });
    meter.end();
    match ending.map_err(|error| Failure::new(Exit::Machine, error))? {
        Ending::Done => {
            talk::print(
                &mut anstream::stdout(),
                &format!(
                    "sent {} bytes; the machine may still be cutting what its buffer holds",
                    job.bytes.len()
                ),
            )?;
            Ok(Exit::Done)
        }
        Ending::Stopped => {
            talk::error(
                "stopped; the tool was told to lift. What the machine's buffer holds may still be \
                 cut: its own stop key is the only sure stop",
            );
            Ok(Exit::Stopped)
        }
    }
}

/// What is sent, and what it does.
struct Job {
    bytes: Vec<u8>,
    simulation: Simulation,
    report: Report,
}

fn job(args: &Args, settings: &pipeline::PlanSettings) -> Result<Job, Failure> {
    let bytes = files::read(&args.file)?;
    if check::is_drawing(&bytes) {
        let mut plans = args.drawing.plans_of(&bytes, &args.file, settings)?;
        if plans.len() > 1 {
            let text = "the drawing gives several jobs; choose one with --layers or --colours";
            return Err(Failure::usage(text));
        }
        let plan = plans.pop().ok_or_else(|| Failure::failed("there is nothing to cut"))?;
        let report = Report::of_plan(&plan);
        return Ok(Job { bytes: plan.written.bytes, simulation: plan.simulation, report });
    }
    let back = pipeline::read_back(&bytes, &settings.machine, settings.offset_mm());
    if back.simulation.cuts.is_empty() {
        let text = "neither an SVG drawing nor an HPGL job that cuts anything";
        return Err(Failure::failed(format!("{}: {text}", args.file.display())));
    }
    let mut findings = back.findings;
    findings.extend(crate::check::check(&back.simulation, &back.commands, &settings.machine));
    let report = Report::of_simulation(&back.simulation, findings);
    Ok(Job { bytes, simulation: back.simulation, report })
}

fn serial(args: &Args, settings: &pipeline::PlanSettings) -> Result<Serial, Failure> {
    let Some(mut serial) = settings.machine.serial.clone() else {
        let text = format!(
            "the machine \"{}\" has no [serial] table; choose another with --machine",
            settings.machine.name
        );
        return Err(Failure::usage(text));
    };
    if let Some(baud) = args.baud {
        if baud == 0 {
            return Err(Failure::usage("--baud 0: write the line's rate, for example 9600"));
        }
        serial.baud = baud;
    }
    Ok(serial)
}

fn say_what_comes(job: &Job, settings: &pipeline::PlanSettings, args: &Args) {
    let mut err = anstream::stderr();
    talk::findings(&args.file.display().to_string(), &job.report.findings);
    if job.report.findings.iter().any(|f| f.severity == Severity::Error) {
        let _ = writeln!(err, "There are errors above; think twice.");
    }
    let [width, height] = job.report.sheet_mm;
    let [x, y] = job.report.at_mm;
    let time = job.report.time_s.map_or("unknown time".to_owned(), duration);
    let _ = writeln!(
        err,
        "{width:.1} x {height:.1} mm at {x:.1}, {y:.1} mm, {} cuts, {time}, in {} on {} at {}.\n\
         The knife and the rollers will move: hands, hair and sleeves clear. Stay with the machine; \
         its stop key is the only sure stop. Send a new job once with the blade taken out or set back \
         fully, and watch. The machine's manual comes first.",
        job.report.contours, settings.material.title, settings.machine.title, args.port
    );
}

/// Whether the person says yes.
fn agreed() -> Result<bool, Failure> {
    if !std::io::stdin().is_terminal() {
        return Err(Failure::usage("nobody is there to ask; give --yes to send without asking"));
    }
    let mut err = anstream::stderr();
    let _ = write!(err, "Send it now? [y/N] ");
    let _ = err.flush();
    let mut answer = String::new();
    std::io::stdin()
        .lock()
        .read_line(&mut answer)
        .map_err(|e| Failure::failed(files::plain(&e)))?;
    Ok(matches!(answer.trim().to_ascii_lowercase().as_str(), "y" | "yes"))
}

/// The first signal asks to stop, the second leaves at once.
fn listen_for_signals() -> Result<(), Failure> {
    ctrlc::set_handler(|| {
        if STOP.raise() > 1 {
            std::process::exit(130);
        }
    })
    .map_err(|error| Failure::failed(format!("Ctrl-C cannot be caught: {error}")))
}

/// Progress by distance cut: a bar on a terminal, otherwise a line for every tenth.
struct Meter {
    bar: ProgressBar,
    /// For each cut the byte after it and the distance cut by then, mm.
    marks: Vec<(u64, f64)>,
    total_mm: f64,
    tenths: std::cell::Cell<u32>,
}

impl Meter {
    fn new(simulation: &Simulation) -> Self {
        let mut total_mm = 0.0;
        let mut marks = Vec::with_capacity(simulation.cuts.len());
        for cut in &simulation.cuts {
            total_mm += cut.axis.windows(2).map(|w| w[0].distance(w[1])).sum::<f64>();
            marks.push((cut.end_byte, total_mm));
        }
        let bar = if std::io::stderr().is_terminal() {
            ProgressBar::new(total_mm.ceil() as u64)
        } else {
            ProgressBar::hidden()
        };
        if let Ok(style) =
            ProgressStyle::with_template("{bar:30} {pos} of {len} mm sent, {eta} left")
        {
            bar.set_style(style);
        }
        Self { bar, marks, total_mm, tenths: std::cell::Cell::new(0) }
    }

    fn show(&self, sent: u64) {
        let done = self.marks.partition_point(|(byte, _)| *byte < sent);
        let mm = done.checked_sub(1).map_or(0.0, |i| self.marks[i].1);
        self.bar.set_position(mm as u64);
        let tenths = (mm / self.total_mm.max(1e-9) * 10.0) as u32;
        if self.bar.is_hidden() && tenths > self.tenths.get() {
            self.tenths.set(tenths);
            let mut err = anstream::stderr();
            let _ = writeln!(err, "{}0 %: {mm:.0} of {:.0} mm sent", tenths, self.total_mm);
        }
    }

    fn end(&self) {
        self.bar.finish_and_clear();
    }
}
