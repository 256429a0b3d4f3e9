//! Bytes of a job → the machine, none lost, none too early, and a blade that is lifted at the end.
//!
//! States, and who moves between them:
//!
//! ```text
//!   Feeding --machine says hold (Xoff, no CTS, no ACK, no room)--> Held --machine says go--> Feeding
//!   Feeding | Held --stop flag (Ctrl-C, SIGTERM, SIGHUP)--> Stopping --instruction ended, PU; sent--> Stopped
//!   Stopping --machine takes nothing--> Failed (the blade is not lifted, and that is said)
//!   Feeding --last byte on the wire--> Done
//!   any --port gone, or held longer than the stall limit--> Failed
//! ```
//!
//! Invariants:
//! 1. Bytes go out in their order, each once.
//! 2. Never more than a block ahead of what the line can have carried, nor with more than a block in
//!    the system's own buffers: they take many thousand bytes, which would overrun a machine with 255,
//!    and would all be cut after a stop.
//! 3. A stop never leaves half an instruction, and lifts the tool; a list of points ends after the
//!    pair in hand. A machine that answers `ESC.B` is told to drop its buffer (`ESC.K`) as well.
//! 4. Two requests to the machine are never outstanding, unless the first was met by silence; then
//!    no answer counts until silence has come back.
//! 5. Nothing waits for ever: whatever takes nothing for the stall limit ends in a sentence.
//!
//! Source of the handshakes: HP 7470A Interfacing and Programming Manual (07470-90001), chapter 10.

mod handshake;
mod link;
mod port;
mod stream;

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
    /// hold to take effect soon. HP 7470A manual, pp. 10-22 and 10-28: with 80 bytes left the wire
    /// drops, and an ACK promises 80; two blocks may be on their way when the wire is read.
    fn block(&self) -> usize {
        let most = match self.handshake {
            Handshake::DtrDsr => 32,
            Handshake::EnqAck => 80,
            _ => 128,
        };
        (self.buffer_bytes as usize / 4).clamp(8, most)
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
    /// Stopped, but the machine did not take the instruction that lifts the tool.
    #[error(
        "stopped after {sent} bytes, but the machine takes nothing, so the blade may stand in the \
         film: press the machine's stop key and lift it by hand"
    )]
    NotLifted {
        /// Bytes sent.
        sent: u64,
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
    let now = Instant::now();
    let gate = Gate::new(settings);
    let mut sender = Sender { settings, link, gate, sent: 0, wire_free: now, moved: now };
    let mut rest = job;
    while !rest.is_empty() {
        if stop.is_up() {
            return sender.stop(job, job.len() - rest.len());
        }
        let block = &rest[..rest.len().min(settings.block())];
        if !sender.wait(block.len(), settings.stall, Some(stop))? {
            continue;
        }
        let taken = sender.put(block, settings.stall)?;
        rest = &rest[taken..];
        progress(sender.sent);
    }
    if sender.drain(settings.stall, Some(stop))? {
        return Ok(Ending::Done);
    }
    sender.stop(job, job.len())
}

/// How long a stopping sender tries to bring the lifting instruction through.
/// A machine with a full buffer makes room only as fast as it cuts; a second Ctrl-C ends the wait.
const LIFT_PATIENCE: Duration = Duration::from_secs(60);
/// How often a held sender looks again.
const LOOK_AGAIN: Duration = Duration::from_millis(5);

struct Sender<'a> {
    settings: &'a SendSettings,
    link: &'a mut dyn Link,
    gate: Gate,
    sent: u64,
    /// When the line will have carried what was written.
    wire_free: Instant,
    /// When the line last took something.
    moved: Instant,
}

impl Sender<'_> {
    /// Waits until the line and the machine can take `bytes`; false when a stop was asked for.
    fn wait(
        &mut self,
        bytes: usize,
        limit: Duration,
        stop: Option<&StopFlag>,
    ) -> Result<bool, SendError> {
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
            let room = self.unsent()? <= self.settings.block();
            if self.gate.open(self.link, bytes).map_err(|e| self.vanished(&e))? && room {
                return Ok(true);
            }
            self.rest(limit)?;
        }
    }

    /// A short pause, unless the line has taken nothing for `limit`.
    fn rest(&self, limit: Duration) -> Result<(), SendError> {
        if self.moved.elapsed() > limit {
            return Err(SendError::Stalled { sent: self.sent, seconds: limit.as_secs() });
        }
        std::thread::sleep(LOOK_AGAIN);
        Ok(())
    }

    /// Writes some of `block`; returns how much.
    fn put(&mut self, block: &[u8], limit: Duration) -> Result<usize, SendError> {
        let taken = self.link.write(block).map_err(|e| self.vanished(&e))?;
        if taken == 0 {
            self.rest(limit)?;
            return Ok(0);
        }
        self.sent += taken as u64;
        self.moved = Instant::now();
        self.gate.passed(taken);
        let seconds = taken as f64 / self.settings.rate_bytes_s;
        self.wire_free = self.wire_free.max(Instant::now()) + Duration::from_secs_f64(seconds);
        Ok(taken)
    }

    /// Ends the instruction in hand and lifts the tool.
    fn stop(&mut self, job: &[u8], sent: usize) -> Result<Ending, SendError> {
        self.moved = Instant::now();
        let lifted = if self.settings.handshake == Handshake::Software && sent > 0 {
            // It answers ESC. sequences: drop its buffer and what it has read of an instruction.
            self.bring(&[b"\x1b.K", stream::LIFT].concat(), false)
        } else {
            self.bring(&stream::ending(job, sent), true)
        };
        match lifted {
            Err(SendError::Stalled { sent, .. }) => Err(SendError::NotLifted { sent }),
            other => other.map(|()| Ending::Stopped),
        }
    }

    /// Sends the last bytes, asking the machine for room or not.
    fn bring(&mut self, last: &[u8], ask: bool) -> Result<(), SendError> {
        let mut rest = last;
        while !rest.is_empty() {
            let block = &rest[..rest.len().min(self.settings.block())];
            if ask {
                self.wait(block.len(), LIFT_PATIENCE, None)?;
            }
            let taken = self.put(block, LIFT_PATIENCE)?;
            rest = &rest[taken..];
        }
        self.drain(LIFT_PATIENCE, None).map(|_| ())
    }

    /// Waits until everything is on the wire; false when a stop was asked for.
    fn drain(&mut self, limit: Duration, stop: Option<&StopFlag>) -> Result<bool, SendError> {
        let mut before = usize::MAX;
        loop {
            let unsent = self.unsent()?;
            if unsent == 0 {
                break;
            }
            if stop.is_some_and(StopFlag::is_up) {
                return Ok(false);
            }
            if unsent < before {
                (before, self.moved) = (unsent, Instant::now());
            }
            self.rest(limit)?;
        }
        self.link.drain().map_err(|e| self.vanished(&e))?;
        std::thread::sleep(self.wire_free.saturating_duration_since(Instant::now()));
        Ok(true)
    }

    fn unsent(&mut self) -> Result<usize, SendError> {
        self.link.unsent().map_err(|e| self.vanished(&e))
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
        /// What the system holds back (a wire or an Xoff that the driver saw).
        unsent: usize,
        /// Takes nothing more after so many bytes.
        shut_after: Option<usize>,
    }

    impl Link for Machine {
        fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
            if self.vanish_after.is_some_and(|n| self.got.len() >= n) {
                return Err(LinkError("no such device".into()));
            }
            if self.shut_after.is_some_and(|n| self.got.len() >= n) {
                return Ok(0);
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
        fn unsent(&mut self) -> Result<usize, LinkError> {
            Ok(self.unsent)
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
        assert!(before.ends_with(b";"));
        assert!(job.starts_with(&before[..before.len() - 1]));
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

    #[test]
    fn a_line_that_takes_nothing_is_a_stall() {
        for machine in [
            Machine { shut_after: Some(0), ..Machine::default() },
            Machine { shut_after: Some(70), ..Machine::default() },
            Machine { unsent: 4000, ..Machine::default() },
        ] {
            let (mut machine, job) = (machine, vec![b';'; 500]);
            let error =
                send(&job, &settings(), &mut machine, &StopFlag::new(), &mut |_| ()).unwrap_err();
            assert!(matches!(error, SendError::Stalled { .. }), "{error:?}");
        }
    }

    /// A machine of 255 bytes that answers `ESC.B` and empties its buffer slowly.
    #[derive(Default)]
    struct Answering {
        got: Vec<u8>,
        held: usize,
        escape: Vec<u8>,
        replies: Vec<u8>,
        dropped: bool,
        overflow: bool,
    }

    impl Link for Answering {
        fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
            for &byte in bytes {
                if !self.escape.is_empty() || byte == 27 {
                    self.escape.push(byte);
                    if self.escape.len() == 3 {
                        match byte {
                            b'B' => self.replies.extend(format!("{}\r", 255 - self.held).bytes()),
                            _ => (self.dropped, self.held) = (true, 0),
                        }
                        self.escape.clear();
                    }
                    continue;
                }
                self.got.push(byte);
                self.held += 1;
                self.overflow |= self.held > 255;
            }
            Ok(bytes.len())
        }
        fn read(&mut self) -> Result<Vec<u8>, LinkError> {
            self.held = self.held.saturating_sub(40);
            Ok(std::mem::take(&mut self.replies))
        }
        fn may_send(&mut self) -> Result<bool, LinkError> {
            Ok(true)
        }
        fn unsent(&mut self) -> Result<usize, LinkError> {
            Ok(0)
        }
        fn drain(&mut self) -> Result<(), LinkError> {
            Ok(())
        }
    }

    #[test]
    fn asking_for_room_never_overruns_and_a_stop_drops_the_buffer() {
        let job = b"PU0,0;PD100,100,200,200;".repeat(25);
        let settings = SendSettings { handshake: Handshake::Software, ..settings() };
        let mut machine = Answering::default();
        send(&job, &settings, &mut machine, &StopFlag::new(), &mut |_| ()).unwrap();
        assert!(machine.got == job && !machine.overflow && !machine.dropped);

        let (mut machine, stop) = (Answering::default(), StopFlag::new());
        let mut raise = |_| {
            stop.raise();
        };
        let ending = send(&job, &settings, &mut machine, &stop, &mut raise).unwrap();
        assert_eq!(ending, Ending::Stopped);
        assert!(machine.dropped && machine.got.ends_with(b"PU;"));
    }
}
