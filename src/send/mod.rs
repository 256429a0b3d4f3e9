//! Bytes of a job → the machine, none lost, none too early, and a blade that is lifted at the end.
//!
//! States, and who moves between them:
//!
//! ```text
//!   Feeding --machine says hold (Xoff, no CTS, no ACK, no room)--> Held --machine says go--> Feeding
//!   Feeding | Held --stop flag (Ctrl-C, SIGTERM, SIGHUP)--> Stopping --instruction ended, PU; sent--> Stopped
//!   Feeding --last byte on the wire--> Done
//!   any --port gone, or held longer than the stall limit--> Failed
//! ```
//!
//! Invariants:
//! 1. Bytes go out in their order, each once.
//! 2. Never more than a block ahead of what the line can have carried: the system's own buffers take
//!    many thousand bytes and would overrun a machine with 255.
//! 3. A stop never leaves half an instruction, and lifts the tool.
//! 4. Two requests to the machine are never outstanding.
//!
//! Source of the handshakes: HP 7470A Interfacing and Programming Manual (07470-90001), chapter 10.

mod handshake;
mod link;
mod port;

use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use crate::profile::{Handshake, Serial};
use handshake::Gate;

pub use link::{Link, LinkError};
pub use port::{PortError, SerialLink, ports};

/// How a job is sent.
#[derive(Debug, Clone, PartialEq)]
pub struct SendSettings {
    /// Bytes a second that the line carries.
    pub rate_bytes_s: f64,
    /// How the machine holds the sender back.
    pub handshake: Handshake,
    /// Bytes that the machine's buffer takes.
    pub buffer_bytes: u32,
    /// How long the machine may hold the sender before it counts as stalled.
    pub stall: Duration,
}

impl SendSettings {
    /// For a machine wired as `serial` says.
    pub fn of(serial: &Serial) -> Self {
        Self {
            rate_bytes_s: serial.bytes_per_s(),
            handshake: serial.handshake,
            buffer_bytes: serial.buffer_bytes,
            stall: Duration::from_secs(600),
        }
    }

    /// Bytes written at once: at most a quarter of the machine's buffer, and little enough for a
    /// hold to take effect soon.
    fn block(&self) -> usize {
        (self.buffer_bytes as usize / 4).clamp(8, 128)
    }
}

/// Asks to stop, from anywhere (signal handlers included).
#[derive(Debug, Default)]
pub struct StopFlag(AtomicUsize);

impl StopFlag {
    /// A flag that is not up.
    pub const fn new() -> Self {
        Self(AtomicUsize::new(0))
    }
    /// Asks to stop; returns how often that was asked, this time included.
    pub fn raise(&self) -> usize {
        self.0.fetch_add(1, Ordering::SeqCst) + 1
    }
    /// Whether somebody asked.
    pub fn is_up(&self) -> bool {
        self.0.load(Ordering::SeqCst) > 0
    }
}

/// How sending ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// Every byte is on the wire.
    Done,
    /// Stopped when asked; the tool was told to lift.
    Stopped,
}

/// Why sending failed. `sent` bytes had gone out.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SendError {
    /// The port is gone.
    #[error(
        "the port vanished after {sent} bytes ({why}); the blade may stand in the film: lift it by \
         hand at the machine, then check the cable"
    )]
    Vanished {
        /// Bytes sent.
        sent: u64,
        /// What the system said.
        why: String,
    },
    /// The machine holds the sender for too long.
    #[error(
        "the machine has taken nothing for {seconds} s, {sent} bytes in; look whether it is paused \
         or its lever is up, and whether cable and handshake fit its manual"
    )]
    Stalled {
        /// Bytes sent.
        sent: u64,
        /// How long it was waited.
        seconds: u64,
    },
}

/// Sends `job` over `link`; `progress` is told how many bytes have gone out.
///
/// # Errors
/// [`SendError`] when the port vanishes or the machine stalls.
pub fn send(
    job: &[u8],
    settings: &SendSettings,
    link: &mut dyn Link,
    stop: &StopFlag,
    progress: &mut dyn FnMut(u64),
) -> Result<Ending, SendError> {
    let mut sender =
        Sender { settings, link, gate: Gate::new(settings), sent: 0, wire_free: Instant::now() };
    let mut rest = job;
    while !rest.is_empty() {
        if stop.is_up() {
            return sender.stop(rest);
        }
        let block = &rest[..rest.len().min(settings.block())];
        if !sender.wait(block.len(), Some(stop))? {
            continue;
        }
        let taken = sender.put(block)?;
        rest = &rest[taken..];
        progress(sender.sent);
    }
    sender.drain()?;
    Ok(Ending::Done)
}

/// How long a stopping sender tries to bring the lifting instruction through.
const LIFT_PATIENCE: Duration = Duration::from_secs(3);
/// How often a held sender looks again.
const LOOK_AGAIN: Duration = Duration::from_millis(5);

struct Sender<'a> {
    settings: &'a SendSettings,
    link: &'a mut dyn Link,
    gate: Gate,
    sent: u64,
    /// When the line will have carried what was written.
    wire_free: Instant,
}

impl Sender<'_> {
    /// Waits until the line and the machine can take `bytes`; false when a stop was asked for.
    fn wait(&mut self, bytes: usize, stop: Option<&StopFlag>) -> Result<bool, SendError> {
        let since = Instant::now();
        let limit = if stop.is_some() { self.settings.stall } else { LIFT_PATIENCE };
        loop {
            if stop.is_some_and(StopFlag::is_up) {
                return Ok(false);
            }
            let ahead = self.wire_free.saturating_duration_since(Instant::now());
            let block = self.settings.block() as f64 / self.settings.rate_bytes_s;
            if ahead.as_secs_f64() > block {
                std::thread::sleep(ahead.mul_f64(0.5).min(Duration::from_millis(50)));
                continue;
            }
            if self.gate.open(self.link, bytes).map_err(|e| self.vanished(&e))? {
                return Ok(true);
            }
            if since.elapsed() > limit {
                return Err(SendError::Stalled { sent: self.sent, seconds: limit.as_secs() });
            }
            std::thread::sleep(LOOK_AGAIN);
        }
    }

    /// Writes some of `block`; returns how much.
    fn put(&mut self, block: &[u8]) -> Result<usize, SendError> {
        let taken = self.link.write(block).map_err(|e| self.vanished(&e))?;
        if taken == 0 {
            std::thread::sleep(LOOK_AGAIN);
        }
        self.sent += taken as u64;
        self.gate.passed(taken);
        let seconds = taken as f64 / self.settings.rate_bytes_s;
        self.wire_free = self.wire_free.max(Instant::now()) + Duration::from_secs_f64(seconds);
        Ok(taken)
    }

    /// Ends the instruction in hand and lifts the tool.
    fn stop(&mut self, rest: &[u8]) -> Result<Ending, SendError> {
        // Nothing sent yet, or an instruction just ended: nothing to finish.
        let end = rest.iter().position(|&c| c == b';').map_or(rest.len(), |i| i + 1);
        let mut last: Vec<u8> = if self.sent == 0 { Vec::new() } else { rest[..end].to_vec() };
        last.extend_from_slice(b"PU;");
        let mut rest = &last[..];
        let since = Instant::now();
        while !rest.is_empty() && since.elapsed() < LIFT_PATIENCE {
            let block = &rest[..rest.len().min(self.settings.block())];
            self.wait(block.len(), None)?;
            let taken = self.put(block)?;
            rest = &rest[taken..];
        }
        self.drain()?;
        Ok(Ending::Stopped)
    }

    fn drain(&mut self) -> Result<(), SendError> {
        self.link.drain().map_err(|e| self.vanished(&e))?;
        std::thread::sleep(self.wire_free.saturating_duration_since(Instant::now()));
        Ok(())
    }

    fn vanished(&self, error: &LinkError) -> SendError {
        SendError::Vanished { sent: self.sent, why: error.0.clone() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A machine that holds after every 40 bytes until it was asked ten times.
    #[derive(Default)]
    struct Machine {
        got: Vec<u8>,
        until_hold: usize,
        replies: Vec<u8>,
        vanish_after: Option<usize>,
    }

    impl Link for Machine {
        fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
            if self.vanish_after.is_some_and(|n| self.got.len() >= n) {
                return Err(LinkError("no such device".into()));
            }
            let taken = bytes.len().min(7);
            self.got.extend_from_slice(&bytes[..taken]);
            self.until_hold += taken;
            if self.until_hold > 40 {
                self.until_hold = 0;
                self.replies.extend([19, 0, 17]);
            }
            Ok(taken)
        }
        fn read(&mut self) -> Result<Vec<u8>, LinkError> {
            Ok(if self.replies.is_empty() { Vec::new() } else { vec![self.replies.remove(0)] })
        }
        fn may_send(&mut self) -> Result<bool, LinkError> {
            Ok(true)
        }
        fn drain(&mut self) -> Result<(), LinkError> {
            Ok(())
        }
    }

    fn settings() -> SendSettings {
        SendSettings {
            rate_bytes_s: 1e6,
            handshake: Handshake::XonXoff,
            buffer_bytes: 255,
            stall: Duration::from_millis(300),
        }
    }

    #[test]
    fn every_byte_arrives_in_order() {
        let job: Vec<u8> = (0..5000u32).flat_map(|i| format!("PD{i},0;").into_bytes()).collect();
        let mut machine = Machine::default();
        let mut told = 0;
        let ending =
            send(&job, &settings(), &mut machine, &StopFlag::new(), &mut |n| told = n).unwrap();
        assert_eq!(ending, Ending::Done);
        assert_eq!(machine.got, job);
        assert_eq!(told, job.len() as u64);
    }

    #[test]
    fn a_stop_ends_the_instruction_and_lifts() {
        let stop = StopFlag::new();
        let job = b"PU0,0;PD100,100,200,200,300,300,400,400;PU0,0;".repeat(20);
        let mut machine = Machine::default();
        let mut raise = |n: u64| {
            if n > 100 {
                stop.raise();
            }
        };
        let ending = send(&job, &settings(), &mut machine, &stop, &mut raise).unwrap();
        assert_eq!(ending, Ending::Stopped);
        let (lift, before) = machine.got.split_last_chunk::<3>().map(|(a, b)| (b, a)).unwrap();
        assert_eq!(lift, b"PU;");
        assert!(before.ends_with(b";") && job.starts_with(before));
    }

    #[test]
    fn a_vanished_port_is_told_with_the_bytes_sent() {
        let mut machine = Machine { vanish_after: Some(60), ..Machine::default() };
        let job = vec![b';'; 500];
        let error =
            send(&job, &settings(), &mut machine, &StopFlag::new(), &mut |_| ()).unwrap_err();
        assert!(matches!(error, SendError::Vanished { sent: 60..=67, .. }), "{error:?}");
    }

    #[test]
    fn a_machine_that_never_lets_go_is_a_stall() {
        let mut machine = Machine { replies: vec![19], ..Machine::default() };
        let job = vec![b';'; 500];
        let error =
            send(&job, &settings(), &mut machine, &StopFlag::new(), &mut |_| ()).unwrap_err();
        assert!(matches!(error, SendError::Stalled { .. }), "{error:?}");
    }
}
