//! The command line: what is typed → what is meant → run → exit code.
//!
//! Results go to stdout, talk to stderr. Exit codes: 0 done; 1 could not; 2 wrong usage; 3 port or
//! machine trouble; 4 done, but something was left out and `--strict` was given; 130 stopped by
//! Ctrl-C. One file a command.

mod as_it_is;
mod check;
mod compare;
mod files;
mod framing;
mod help;
mod job_file;
mod layers;
mod meter;
mod number;
mod options;
mod outputs;
mod page;
mod partners;
mod ports;
mod preview;
mod profiles;
mod rate;
mod send;
#[cfg(unix)]
mod stand_in;
mod talk;
mod tune;
mod write;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

/// From an editable drawing to a proven cut.
#[derive(Parser)]
#[command(name = "bladewright", version, about, long_about = LONG, after_help = CARE)]
struct Program {
    #[command(subcommand)]
    command: Command,
}

const LONG: &str = "From an editable drawing to a proven cut.\n\nTakes an SVG drawing as it is \
(strokes, groups, layers), finds what is visible, outlines strokes, merges overlaps, orders the \
cuts, compensates the trailing blade, writes HPGL or drives the serial port, and proves the job by \
simulating the blade's tip.";

const CARE: &str = "Blades are sharp and the carriage moves without warning: keep hands, hair and \
sleeves clear, stay with the machine, and follow its manual. Never put PVC film into a laser.";

#[derive(Subcommand)]
enum Command {
    /// Write the job for a drawing as HPGL
    Write(write::Args),
    /// Tell what would be cut and what would not, without writing anything
    Check(check::Args),
    /// Show what a job does: a page to look at and play, or a picture
    Preview(preview::Args),
    /// Compare orders of a drawing's cuts, or jobs, side by side
    Compare(compare::Args),
    /// Send a drawing or a job to the machine
    Send(send::Args),
    /// List the serial ports
    Ports(ports::Args),
    /// Open a port that behaves like an old cutter, to rehearse sending without one
    #[cfg(unix)]
    StandIn(stand_in::Args),
    /// Find the true offset of a blade: test sheets, their reading, and where it is kept
    Tune(tune::Args),
    /// List, show and check machine and material profiles
    Profiles(profiles::Args),
    /// Print the completion script of a shell
    Completions(help::CompletionArgs),
    /// Print the manual page
    #[command(hide = true)]
    Man,
}

impl Command {
    /// The options about a drawing, of a command that takes a job instead as well.
    fn drawing(&mut self) -> Option<&mut options::DrawingOptions> {
        match self {
            Self::Check(args) => Some(&mut args.drawing),
            Self::Preview(args) => Some(&mut args.drawing),
            Self::Send(args) => Some(&mut args.drawing),
            _ => None,
        }
    }
}

/// Runs the program with `arguments` (the first is its own name).
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let command = Program::command();
    let typed: Vec<OsString> = arguments.into_iter().collect();
    let arguments = match job_file::expand(&command, typed.clone()) {
        Ok(arguments) => arguments,
        Err(failure) => return failure.report(),
    };
    let parsed = command.clone().try_get_matches_from(arguments);
    let parsed = parsed.and_then(|m| Program::from_arg_matches(&m).map(|program| (program, m)));
    let (mut program, matches) = match parsed {
        Ok(parsed) => parsed,
        Err(error) => {
            let code = if error.use_stderr() { Exit::Usage } else { Exit::Done };
            // Nothing is left to be done if the terminal is gone.
            let _ = error.print();
            return code.into();
        }
    };
    let refused =
        partners::refuse(&command, &matches, &typed).and_then(|()| outputs::refuse(&matches));
    if let Err(failure) = refused {
        return failure.report();
    }
    if let Some(options) = program.command.drawing() {
        options.typed = as_it_is::of_drawing(&command, &matches);
    }
    let outcome = match program.command {
        Command::Write(args) => write::run(&args),
        Command::Check(args) => check::run(&args),
        Command::Send(args) => send::run(&args),
        Command::Ports(args) => ports::run(&args),
        #[cfg(unix)]
        Command::StandIn(args) => stand_in::run(&args),
        Command::Preview(args) => preview::run(&args, &typed),
        Command::Compare(args) => compare::run(&args, &typed),
        Command::Tune(args) => tune::run(&args),
        Command::Profiles(args) => profiles::run(&args),
        Command::Completions(args) => help::completions(&args),
        Command::Man => help::man(),
    };
    match outcome.and_then(|exit| job_file::save(&command, &matches).map(|()| exit)) {
        Ok(exit) => exit.into(),
        Err(failure) => failure.report(),
    }
}

/// The text of a job file for the command `name`, read and written again.
///
/// # Errors
/// The sentence that the program would say.
pub fn rewritten_job_file(name: &str, text: &str) -> Result<String, String> {
    job_file::rewritten(&Program::command(), name, text).map_err(|failure| failure.text)
}

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Exit {
    /// All done.
    Done,
    /// Could not do it.
    Failed,
    /// Typed wrongly.
    Usage,
    /// Port or machine trouble.
    Machine,
    /// Done, but something was left out, and `--strict` was given.
    LeftOut,
    /// Stopped by Ctrl-C.
    Stopped,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        ExitCode::from(match exit {
            Exit::Done => 0,
            Exit::Failed => 1,
            Exit::Usage => 2,
            Exit::Machine => 3,
            Exit::LeftOut => 4,
            Exit::Stopped => 130,
        })
    }
}

/// Why a command could not finish.
#[derive(Debug)]
struct Failure {
    exit: Exit,
    text: String,
}

impl Failure {
    fn new(exit: Exit, text: impl ToString) -> Self {
        Self { exit, text: text.to_string() }
    }

    /// Could not be done.
    fn failed(text: impl ToString) -> Self {
        Self::new(Exit::Failed, text)
    }

    /// Was typed wrongly.
    fn usage(text: impl ToString) -> Self {
        Self::new(Exit::Usage, text)
    }

    fn report(&self) -> ExitCode {
        if !self.text.is_empty() {
            talk::error(&self.text);
        }
        self.exit.into()
    }
}

type Outcome = Result<Exit, Failure>;
