//! Which rate a machine listens at: asked at one after the other, until it answers.

use std::io::Write;

use super::{Exit, Failure};
use crate::profile::{Handshake, Serial};
use crate::send::{self, SerialLink, StopFlag};

/// The line's rate at which the machine at `port` answers: that of `serial` first, then the usual
/// ones; `None` when it answers at none. Nothing moves.
pub fn find(port: &str, serial: &Serial, stop: &StopFlag) -> Result<Option<u32>, Failure> {
    let others = send::RATES.into_iter().filter(|&rate| rate != serial.baud);
    for baud in std::iter::once(serial.baud).chain(others) {
        if stop.is_up() {
            return Err(Failure::new(Exit::Stopped, "stopped while asking; nothing was sent"));
        }
        let line = Serial { baud, handshake: Handshake::Software, ..serial.clone() };
        let mut link =
            SerialLink::open(port, &line).map_err(|error| Failure::new(Exit::Machine, error))?;
        let answers = send::anybody_there(&mut link);
        let answers = answers.map_err(|error| {
            Failure::new(Exit::Machine, format!("the port vanished: {}", error.0))
        })?;
        let said = if answers { "the machine answers" } else { "no answer" };
        let _ = writeln!(anstream::stderr(), "{baud} bits/s: {said}");
        if answers {
            return Ok(Some(baud));
        }
    }
    Ok(None)
}
