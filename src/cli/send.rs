//! `send`: a drawing or a job → the machine, over a serial port.
//!
//! Here: what is said before. `job`: what is sent; `dry_run`: all but the sending; `resume`: where an
//! interrupted job goes on; `feed`: copy after copy, each with its journal.

mod dry_run;
mod feed;
mod job;
mod resume;

use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::atomic::{AtomicBool, AtomicI32, Ordering::Relaxed};

use super::options::{DrawingOptions, HandshakeWish};
use super::{Exit, Failure, Outcome, files, number, rate, talk};
use crate::pipeline::PlanSettings;
use crate::profile::{Handshake, Kind, Serial};
use crate::report::{cuts, duration};
use crate::send::{self, Copies, Journal, Lock, ResumeError, SendSettings, SerialLink, StopFlag};
use dry_run::DryRun;
use feed::Sending;
use job::Job;

#[derive(clap::Args, Debug)]
pub struct Args {
    /// A drawing (SVG, SVGZ) or a job (HPGL)
    file: PathBuf,
    /// The serial port, for example /dev/ttyUSB0 (see `bladewright ports`)
    #[arg(long, short, value_name = "PORT", required_unless_present = "dry_run",
        value_parser = clap::builder::NonEmptyStringValueParser::new())]
    port: Option<String>,
    /// Bits a second [default: the machine's]
    #[arg(long, value_name = "RATE", allow_negative_numbers = true,
          value_parser = number::whole::<u32>(number::from(1)))]
    baud: Option<u32>,
    /// How the machine holds the sender back; auto asks it, at other rates as well where --baud names
    /// none [default: the machine's]
    #[arg(long, value_name = "HOW", value_parser = HandshakeWish::parser())]
    handshake: Option<HandshakeWish>,
    /// Go on with a job that was interrupted, at the first cut that is not finished
    #[arg(long, conflicts_with = "from_cut")]
    resume: bool,
    /// Begin at this cut, numbered as in the preview
    #[arg(long, value_name = "N", allow_negative_numbers = true,
          value_parser = number::whole::<usize>(number::from(1)))]
    from_cut: Option<usize>,
    /// How often each contour is cut [default: the material's]
    #[arg(long, value_name = "N", allow_negative_numbers = true,
          value_parser = number::whole::<u32>(1..=20))]
    passes: Option<u32>,
    /// Rehearse: send the job with the tool lifted throughout
    #[arg(long)]
    blade_up: bool,
    /// Tell what would be sent and how, without opening the port; with --json as one object on stdout
    #[arg(long)]
    dry_run: bool,
    /// Wait while another send uses the port or sends the same file
    #[arg(long)]
    wait: bool,
    /// Tell progress as JSON on stderr, one event a line (lines that begin otherwise are for people),
    /// and on stdout what was sent, as an object for each copy
    #[arg(long)]
    json: bool,
    /// Do not ask before the tool moves
    #[arg(long, short)]
    yes: bool,
    #[command(flatten)]
    pub drawing: DrawingOptions,
}

impl Args {
    /// The port; only a dry run has none.
    fn port(&self) -> &str {
        self.port.as_deref().unwrap_or_default()
    }
}

/// Raised by signals; looked at by the sender.
static STOP: StopFlag = StopFlag::new();

pub fn run(args: &Args) -> Outcome {
    let mut settings = args.drawing.settings()?;
    if let Some(passes) = args.passes {
        settings.material.passes = passes;
    }
    if args.blade_up {
        // Encoded lines lower the tool by themselves.
        settings.machine.language.encoded = crate::profile::EncodedLines::Never;
    }
    let (count, gap_mm) = args.drawing.row();
    if count > 1 {
        settings.placement.copies = (1, 1);
    }
    let mut serial = serial(args, &settings)?;
    // The time is reckoned with the line that it is.
    settings.machine.serial = Some(serial.clone());
    let job = Rc::new(Job::of(args, &settings)?);
    let copies = copies(&job, Copies::new(count, &job.survey, &settings.machine, gap_mm))?;
    if args.dry_run {
        return DryRun { args, job: &job, copies: &copies, settings: &settings, serial: &serial }
            .tell();
    }
    listen_for_signals()?;
    let _locks = locks(args)?;
    if args.handshake == Some(HandshakeWish::Auto) {
        find_handshake(args, &mut serial)?;
    }
    let mut link = open(args, &serial)?;
    say_findings(&job, args);
    say_what_comes(&job, &settings, args, &copies);
    let start = resume::begin(args, &job, (&serial, &settings, &copies), &mut link)?;
    if !args.yes && !agreed()? {
        return Err(Failure::failed("not sent; nothing has moved"));
    }
    let (settings, line) = (&settings, &SendSettings::of(&serial));
    Sending { args, job: &job, copies: &copies, settings, line }.all(&start, &mut link)
}

/// Those that can be moved; where the job can't be, all are fed by hand.
fn copies(job: &Job, copies: Copies) -> Result<Copies, Failure> {
    if copies.count() < 2 {
        return Ok(copies);
    }
    match send::moved(&job.spool, copies.shift(2)) {
        Ok(_) => Ok(copies),
        Err(error @ ResumeError::Unreadable(_)) => Err(Failure::failed(error)),
        Err(error) => {
            let _ = writeln!(anstream::stderr(), "{error}: each copy is begun by hand");
            Ok(copies.by_hand())
        }
    }
}

fn open(args: &Args, serial: &Serial) -> Result<SerialLink, Failure> {
    SerialLink::open(args.port(), serial).map_err(|e| Failure::new(Exit::Machine, e))
}

/// Asks the machine whether it answers and at which rate, and keeps what the profile says where it
/// does not.
fn find_handshake(args: &Args, serial: &mut Serial) -> Result<(), Failure> {
    if args.baud.is_none() {
        let Some(baud) = rate::find(args.port(), serial, &STOP)? else {
            let text = "the machine answers at no rate: the profile's rate and handshake are kept";
            let _ = writeln!(anstream::stderr(), "{text}");
            return Ok(());
        };
        serial.baud = baud;
    }
    let asking = Serial { handshake: Handshake::Software, ..serial.clone() };
    let mut link = open(args, &asking)?;
    let found = send::probe(&mut link)
        .map_err(|error| Failure::new(Exit::Machine, format!("the port vanished: {}", error.0)))?;
    let said = if found.answers_for_room() {
        *serial = asking;
        "the machine answers: its buffer space is asked for (software checking)"
    } else {
        "the machine does not tell its buffer space: the profile's handshake is kept"
    };
    let _ = writeln!(anstream::stderr(), "{said}");
    Ok(())
}

/// The port for this send alone, and the journal if it keeps one.
fn locks(args: &Args) -> Result<(Lock, Option<Lock>), Failure> {
    let port = lock(args, args.port(), &|| Lock::of_port(args.port()))?;
    if !keeps_journal(args) {
        return Ok((port, None));
    }
    let path = Journal::path(&args.file);
    let what = args.file.display().to_string();
    Ok((port, Some(lock(args, &what, &|| Lock::of_journal(&path))?)))
}

/// Whether there is something to enter and a place for it.
fn keeps_journal(args: &Args) -> bool {
    !args.blade_up && args.file != Path::new("-")
}

/// What `take` takes, which is `what` to a person; waits for it if that was asked for.
fn lock(
    args: &Args,
    what: &str,
    take: &dyn Fn() -> Result<Option<Lock>, String>,
) -> Result<Lock, Failure> {
    let mut told = false;
    loop {
        if let Some(lock) = take().map_err(|text| Failure::new(Exit::Machine, text))? {
            return Ok(lock);
        }
        if !args.wait {
            let text = format!("another send uses {what}; --wait waits for its end");
            return Err(Failure::new(Exit::Machine, text));
        }
        if STOP.is_up() {
            return Err(Failure::new(stopped_by().0, "stopped while waiting; nothing was sent"));
        }
        if !std::mem::replace(&mut told, true) {
            let _ = writeln!(anstream::stderr(), "waiting for another send that uses {what}");
        }
        std::thread::sleep(std::time::Duration::from_millis(200));
    }
}

fn serial(args: &Args, settings: &PlanSettings) -> Result<Serial, Failure> {
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
    if let Some(handshake) = args.handshake.and_then(HandshakeWish::handshake) {
        serial.handshake = handshake;
    }
    Ok(serial)
}

/// Says what is wrong with it.
fn say_findings(job: &Job, args: &Args) {
    talk::findings(&args.file.display().to_string(), &job.findings);
    talk::errors_above(&job.findings);
}

/// Says what will move, and the cautions.
fn say_what_comes(job: &Job, settings: &PlanSettings, args: &Args, copies: &Copies) {
    let mut err = anstream::stderr();
    let time = job.outgoing().totals.time_s.map_or("unknown time".to_owned(), duration);
    let tool = settings.machine.tool.in_a_word();
    let carrier = if settings.machine.kind == Kind::RollCutter { "rollers" } else { "carriage" };
    let _ = writeln!(
        err,
        "{}, {}, {time}, in {} on {} at {}.\n\
         The {tool} and the {carrier} will move: hands, hair and sleeves clear. Stay with the machine; \
         its stop key is the only sure stop. Send a new job once with --blade-up, or with the {tool} \
         taken out, and watch. The machine's manual comes first.",
        size(job),
        cuts(job.contours),
        settings.material.title,
        settings.machine.title,
        args.port()
    );
    if copies.count() > 1 {
        let _ = writeln!(err, "That {}.", times(copies));
    }
}

/// How large it is, and where.
fn size(job: &Job) -> String {
    let work = job.survey.work;
    let (width, height, at) = (work.width(), work.height(), work.min);
    format!("{width:.1} x {height:.1} mm at {:.1}, {:.1} mm", at.x, at.y)
}

/// How often it is cut, and where the film is fed by hand.
fn times(copies: &Copies) -> String {
    let along = match copies.at_once() {
        1 => "; before each you are asked to feed the film on or to lay in a new sheet".to_owned(),
        many if many < copies.count() => {
            format!(
                ", along the feed; after every {many} you are asked to feed the film on by hand"
            )
        }
        _ => ", along the feed".to_owned(),
    };
    format!("{} times{along}", copies.count())
}

/// Whether the person says yes.
fn agreed() -> Result<bool, Failure> {
    if !std::io::stdin().is_terminal() {
        return Err(Failure::usage("nobody is there to ask; give --yes to send without asking"));
    }
    let answer = replied("Send it now? [y/N] ").map_err(|e| Failure::failed(files::plain(&e)))?;
    Ok(matches!(answer.trim().to_ascii_lowercase().as_str(), "y" | "yes"))
}

/// A person is asked, and nothing goes out meanwhile: a signal ends it at once.
static ASKING: AtomicBool = AtomicBool::new(false);

/// What a person answers; empty when nobody does, or a stop was asked for.
fn replied(question: &str) -> std::io::Result<String> {
    let mut err = anstream::stderr();
    let _ = write!(err, "{question}");
    let _ = err.flush();
    ASKING.store(true, Relaxed);
    let mut answer = String::new();
    let read = if STOP.is_up() { Ok(0) } else { std::io::stdin().lock().read_line(&mut answer) };
    ASKING.store(false, Relaxed);
    read.map(|_| answer)
}

/// The signal that asked to stop first; 0 for none, or where signals have no numbers.
static STOPPED_BY: AtomicI32 = AtomicI32::new(0);

/// The first signal asks to stop, the second leaves at once.
#[cfg(unix)]
fn listen_for_signals() -> Result<(), Failure> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let signals = signal_hook::iterator::Signals::new([SIGINT, SIGTERM, SIGHUP]);
    let mut signals = signals.map_err(uncaught)?;
    // Ends with the program; nothing waits for it.
    let listening = std::thread::Builder::new().spawn(move || {
        for signal in &mut signals {
            let first = STOPPED_BY.compare_exchange(0, signal, Relaxed, Relaxed).is_ok();
            let again = STOP.raise() > 1 && !first;
            if ASKING.load(Relaxed) {
                let (exit, why) = stopped_by();
                talk::error(&format!("{why} at the question; nothing more was sent"));
                Lock::remove_all();
                std::process::exit(if exit == Exit::Stopped { 130 } else { 3 });
            }
            if again {
                Lock::remove_all();
                std::process::exit(130);
            }
        }
    });
    listening.map(|_| ()).map_err(uncaught)
}

#[cfg(not(unix))]
fn listen_for_signals() -> Result<(), Failure> {
    ctrlc::set_handler(|| {
        if STOP.raise() > 1 || ASKING.load(Relaxed) {
            Lock::remove_all();
            std::process::exit(130);
        }
    })
    .map_err(uncaught)
}

fn uncaught(error: impl std::fmt::Display) -> Failure {
    Failure::failed(format!("Ctrl-C cannot be caught: {error}"))
}

/// How the program ends when it was stopped, and who stopped it.
fn stopped_by() -> (Exit, &'static str) {
    #[cfg(unix)]
    match STOPPED_BY.load(Relaxed) {
        signal_hook::consts::SIGTERM => {
            return (Exit::Machine, "another program or the system ended the send (SIGTERM)");
        }
        signal_hook::consts::SIGHUP => {
            return (Exit::Machine, "the terminal of the send was closed (SIGHUP)");
        }
        _ => {}
    }
    (Exit::Stopped, "stopped")
}
