//! `ports`: the serial ports of this computer, and what a machine at one of them answers.

use std::io::Write;

use super::{Exit, Failure, Outcome, number, options, rate, talk};
use crate::profile::Handshake;
use crate::send::{self, Lock, SerialLink, StopFlag};

#[derive(clap::Args, Debug)]
pub struct Args {
    /// Ask the machine at this port what it is, and print a machine profile for it; nothing moves
    #[arg(long, value_name = "PORT")]
    probe: Option<String>,
    /// With --probe: bits a second [default: the machine's, then the other usual ones]
    #[arg(long, value_name = "RATE", requires = "probe", allow_negative_numbers = true,
          value_parser = number::whole::<u32>(number::from(1)))]
    baud: Option<u32>,
    /// With --probe: machine profile that the printed one begins with, and whose rate is asked at
    /// first: a name (see `profiles list`) or a file [default: roll-24]
    #[arg(long, short, value_name = "NAME", requires = "probe")]
    machine: Option<String>,
}

pub fn run(args: &Args) -> Outcome {
    match &args.probe {
        Some(port) => probe(port, args),
        None => list(),
    }
}

fn list() -> Outcome {
    let ports = send::ports_with_what_is_known();
    if ports.is_empty() {
        return Err(Failure::new(Exit::Machine, send::NO_PORT));
    }
    let width = ports.iter().map(|(name, _)| name.chars().count()).max().unwrap_or_default();
    for (name, about) in ports {
        let line = format!("{name:<width$}  {about}");
        talk::print(&mut anstream::stdout(), line.trim_end())?;
    }
    Ok(Exit::Done)
}

fn probe(port: &str, args: &Args) -> Outcome {
    let mut like = options::machine(args.machine.as_deref().unwrap_or(options::USUAL_MACHINE))?;
    let Some(serial) = &mut like.serial else {
        let text = format!("the machine \"{}\" has no [serial] table; choose another", like.name);
        return Err(Failure::usage(text));
    };
    serial.baud = args.baud.unwrap_or(serial.baud);
    let trouble = |text: String| Failure::new(Exit::Machine, text);
    let Some(_lock) = Lock::of_port(port).map_err(trouble)? else {
        return Err(trouble(format!("a send uses {port}; ask when it has ended")));
    };
    if args.baud.is_none() {
        let found = rate::find(port, serial, &StopFlag::new())?;
        serial.baud = found.ok_or_else(|| trouble(send::SendError::Silent.to_string()))?;
    }
    let line = crate::profile::Serial { handshake: Handshake::Software, ..serial.clone() };
    let mut link = SerialLink::open(port, &line).map_err(|e| trouble(e.to_string()))?;
    let found =
        send::probe(&mut link).map_err(|e| trouble(format!("the port vanished: {}", e.0)))?;
    let mut err = anstream::stderr();
    for (request, answer) in &found.answers {
        let _ = writeln!(err, "{request:>6}  {}", answer.as_deref().unwrap_or("no answer"));
    }
    if !found.any() {
        return Err(trouble(send::SendError::Silent.to_string()));
    }
    let profile = toml::to_string(&found.profile(&like)).map_err(Failure::failed)?;
    let head = format!("# As \"{}\", with what the machine at {port} answered.", like.name);
    talk::print(&mut anstream::stdout(), &format!("{head}\n{profile}"))?;
    Ok(Exit::Done)
}
