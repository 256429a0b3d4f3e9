//! `ports`: the serial ports of this computer.

use super::{Exit, Outcome, talk};
use crate::send;

#[derive(clap::Args, Debug)]
pub struct Args {}

pub fn run(_: &Args) -> Outcome {
    let names = send::ports();
    if names.is_empty() {
        talk::error("no serial port was found; plug in the adapter, or look at its cable");
        return Ok(Exit::Machine);
    }
    for name in names {
        talk::print(&mut anstream::stdout(), &name)?;
    }
    Ok(Exit::Done)
}
