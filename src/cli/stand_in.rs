//! `stand-in`: a port that behaves like an old cutter, to rehearse `send` without one.

use std::io::{BufRead, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Sender, channel};

use super::files::Target;
use super::options::MachineOptions;
use super::{Exit, Failure, Outcome, number, talk};
use crate::pipeline;
use crate::preview::{self, View};
use crate::profile::{Handshake, Machine};
use crate::report;
use crate::stand_in::{self, Event, Port, StandIn, StandInSettings, Trouble, When};

#[derive(clap::Args, Debug)]
pub struct Args {
    #[command(flatten)]
    with: MachineOptions,
    /// Bits a second on its line [default: the machine's]
    #[arg(long, value_name = "RATE", allow_negative_numbers = true,
          value_parser = number::whole::<u32>(number::from(1)))]
    baud: Option<u32>,
    /// Bytes that its buffer takes [default: the machine's]
    #[arg(long, value_name = "BYTES", allow_negative_numbers = true,
          value_parser = number::whole::<u32>(number::from(16)))]
    buffer: Option<u32>,
    /// How it holds a sender back [default: the machine's]
    #[arg(long, value_enum, value_name = "HOW")]
    handshake: Option<Handshake>,
    /// Let motion take no time
    #[arg(long)]
    fast: bool,
    /// Requests that it leaves unanswered, separated by commas, for example OH,ESC.B
    #[arg(long, value_name = "REQUESTS", value_delimiter = ',')]
    mute: Vec<String>,
    /// Trouble after so many bytes: pause, go, lever-up, lever-down, garble, hang-up or end; the
    /// same words can be typed while it runs
    #[arg(long, value_name = "BYTES:WHAT", value_delimiter = ',')]
    when: Vec<When>,
    /// Also give the port this name (a symbolic link)
    #[arg(long, value_name = "PATH")]
    link: Option<PathBuf>,
    /// End when a job has been sent and everything is done
    #[arg(long)]
    once: bool,
    /// Draw what it cut into this file (.svg)
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Write what it obeyed, as HPGL, into this file
    #[arg(long, value_name = "FILE")]
    obeyed: Option<PathBuf>,
}

pub fn run(args: &Args) -> Outcome {
    let (machine, material) = args.with.profiles()?;
    let offset = args.with.blade_offset.map_or(material.blade_offset_mm, |length| length.mm());
    let settings = settings(args, machine);
    let picture = target(args.output.as_deref())?;
    let obeyed = target(args.obeyed.as_deref())?;
    args.link.as_deref().map_or(Ok(()), place_for_link)?;
    let mut when = args.when.clone();
    when.sort_by_key(|when| when.byte);
    let rate_bytes_s = settings.rate_bytes_s;
    let machine = settings.machine.clone();
    let baud = machine.serial.as_ref().map(|serial| serial.baud);
    let port = Port { link: args.link.clone(), once: args.once, when, rate_bytes_s, baud };
    let mut stand_in = StandIn::new(settings);
    let (give, orders) = channel();
    listen(&give)?;
    stand_in::serve(&mut stand_in, &port, &orders, &mut tell).map_err(|error| {
        Failure::new(Exit::Machine, format!("the system gives no pseudo-terminal: {error}"))
    })?;
    drop(give);
    let back = pipeline::read_back(stand_in.obeyed(), &machine, offset);
    if let Some(target) = picture {
        let svg = preview::picture_svg(&View::of_simulation(&back.simulation));
        target.put(svg.as_bytes())?;
    }
    if let Some(target) = obeyed {
        target.put(stand_in.obeyed())?;
    }
    let cuts = back.simulation.cuts.len();
    sum_up(&stand_in, cuts)
}

fn settings(args: &Args, mut machine: Machine) -> StandInSettings {
    if let (Some(baud), Some(serial)) = (args.baud, &mut machine.serial) {
        serial.baud = baud;
    }
    let mut settings = StandInSettings::of(&machine);
    if let Some(baud) = args.baud.filter(|_| machine.serial.is_none()) {
        settings.rate_bytes_s = f64::from(baud) / 10.0;
    }
    if let Some(bytes) = args.buffer {
        settings.buffer_bytes = bytes as usize;
    }
    if let Some(handshake) = args.handshake {
        settings.handshake = handshake;
    }
    settings.fast = args.fast;
    settings.mute.clone_from(&args.mute);
    settings
}

/// Only a link is ever replaced.
fn place_for_link(link: &Path) -> Result<(), Failure> {
    let why = match std::fs::symlink_metadata(link) {
        Ok(about) if !about.is_symlink() => {
            "something that is no link is there; name another place"
        }
        Ok(_) => return Ok(()),
        Err(_) if link.parent().is_none_or(|at| at.as_os_str().is_empty() || at.is_dir()) => {
            return Ok(());
        }
        Err(_) => "there is no such folder",
    };
    Err(Failure::usage(format!("--link {}: {why}", link.display())))
}

fn target(path: Option<&Path>) -> Result<Option<Target>, Failure> {
    path.map(|path| Target::open(path, Path::new("-"))).transpose()
}

/// Words typed, and Ctrl-C.
fn listen(give: &Sender<Trouble>) -> Result<(), Failure> {
    let (typed, stopped) = (give.clone(), give.clone());
    // Ends with the program; nothing waits for it.
    let reading = std::thread::Builder::new().spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            match line.parse() {
                Ok(trouble) if typed.send(trouble).is_err() => return,
                Ok(_) => {}
                Err(text) => talk::error(&text),
            }
        }
    });
    reading.map_err(|error| Failure::failed(format!("what is typed cannot be read: {error}")))?;
    ctrlc::set_handler(move || {
        // Too late only when it has ended already.
        let _ = stopped.send(Trouble::End);
    })
    .map_err(|error| Failure::failed(format!("Ctrl-C cannot be caught: {error}")))
}

fn tell(event: &Event) {
    let line = match event {
        Event::Open(name) => {
            // The one line that scripts read; a closed stdout stops nothing.
            let mut out = anstream::stdout();
            let _ = writeln!(out, "{name}");
            let _ = out.flush();
            return;
        }
        Event::Lost(bytes) => format!("the buffer is full: {bytes} bytes lost by now"),
        Event::WrongRate(baud) => format!(
            "the sender's line is set to {baud} bits/s, which is not this machine's: what arrives is \
             garbage"
        ),
        Event::Trouble(Trouble::Pause) => "paused".into(),
        Event::Trouble(Trouble::Go) => "goes on".into(),
        Event::Trouble(Trouble::LeverUp) => "the lever is up".into(),
        Event::Trouble(Trouble::LeverDown) => "the lever is down".into(),
        Event::Trouble(Trouble::Garble) => "a byte came garbled".into(),
        Event::Trouble(Trouble::HangUp) => "the cable was pulled".into(),
        Event::Trouble(Trouble::End) => "ends".into(),
    };
    let _ = writeln!(anstream::stderr(), "stand-in: {line}");
}

fn sum_up(stand_in: &StandIn, cuts: usize) -> Outcome {
    let down = if stand_in.tool().1 { "down" } else { "up" };
    let line = format!(
        "received {} bytes, lost {}, made {}, the tool is {down}",
        stand_in.received(),
        stand_in.lost(),
        report::cuts(cuts)
    );
    talk::print(&mut anstream::stdout(), &line)?;
    Ok(if stand_in.lost() > 0 { Exit::Failed } else { Exit::Done })
}
