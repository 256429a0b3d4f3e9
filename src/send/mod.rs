//! Bytes of a job → the machine, none lost, none too early, and a blade that is lifted at the end.
//!
//! States, and who moves between them:
//!
//! ```text
//!   Greeting --machine answers, or need not--> Feeding        (only machines that answer ESC.)
//!   Feeding --machine says hold (Xoff, no CTS, no ACK, no room)--> Held --machine says go--> Feeding
//!   Feeding | Held --stop flag (Ctrl-C, SIGTERM, SIGHUP)--> Stopping --instruction ended, PU; sent--> Stopped
//!   Stopping --machine takes nothing--> Failed (the blade is not lifted, and that is said)
//!   Feeding --last byte on the wire--> Finishing --all is done, OE; answers 0, or nobody to ask--> Done
//!   any --port gone, held longer than the stall limit, machine reports an error--> Failed
//! ```
//!
//! Invariants:
//! 1. Bytes go out in their order, each once.
//! 2. Never further ahead of what the line can have carried than [`SendSettings`] allows, nor with
//!    more than that in the system's own buffers: they take many thousand bytes, which would overrun
//!    a machine with 255, and would all be cut after a stop.
//! 3. Never more bytes outstanding than the machine granted, where it grants (ENQ/ACK, `ESC.B`); what
//!    goes out behind a question counts against its answer.
//! 4. A stop never leaves half an instruction, and lifts the tool; a list of points ends after the
//!    pair in hand. A machine that answers `ESC.B` is told to drop its buffer (`ESC.K`) as well.
//! 5. Two requests to the machine are never outstanding, unless the first was met by silence; then
//!    no answer counts until silence has come back.
//! 6. Nothing waits for ever: whatever takes nothing for the stall limit ends in a sentence.
//! 7. Memory does not grow with the job: it is read as it goes out, a fixed number of bytes ahead. Where
//!    it can't be read to its end, that is a stop.
//!
//! Source of the handshakes: HP 7470A Interfacing and Programming Manual (07470-90001), chapter 10.

mod clock;
mod copies;
mod course;
mod feed;
mod handshake;
mod journal;
mod link;
mod lock;
mod marks;
mod port;
mod probe;
mod resume;
mod set_before;
mod spool;
mod standing;
mod stream;
mod survey;
mod waste;
mod words;

use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use crate::profile::{Handshake, Serial};

pub use clock::Clock;
pub use copies::{Copies, Shift, moved};
pub use course::{Course, Reached};
pub use feed::send;
pub use journal::{Journal, JournalWriter, State};
pub use link::{Link, LinkError};
pub use lock::Lock;
pub use marks::{Marks, MarksAlong};
pub use port::{NO_PORT, PortError, SerialLink, ports, ports_with_what_is_known};
pub use probe::{Found, RATES, anybody_there, place, probe};
pub use resume::{ResumeError, Taken, after_cuts, from_cut, lifted};
pub use spool::{Spool, SpoolReader};
pub use standing::{Place, finished_at};
pub use survey::Survey;
pub use words::{halt, language_error, line_error};

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

    /// Whether the machine answers `ESC.` requests.
    pub fn answers(&self) -> bool {
        self.handshake == Handshake::Software
    }

    /// What an ACK grants: 80 bytes (HP 7470A manual, p. 10-28), or half of a small buffer.
    fn block(&self) -> usize {
        (self.buffer_bytes as usize / 2).min(80)
    }

    /// Bytes written at once: half of what may be ahead, and no more than is granted at once.
    fn piece(&self) -> usize {
        let half = self.ahead().div_ceil(2);
        if self.handshake == Handshake::EnqAck { half.min(self.block()) } else { half }
    }

    /// Bytes that may have left the program and not the line: what the line carries in 50 ms, so
    /// that a late wake-up costs no speed and a stop takes hold soon; less where the machine's hold
    /// must take effect before its buffer is full. By default a machine sends Xoff with 81 bytes
    /// left and drops its wire with 80 (pp. 10-26 and 10-31). One that grants bytes is never sent
    /// more, however far ahead.
    fn ahead(&self) -> usize {
        let buffer = self.buffer_bytes as usize;
        let most = match self.handshake {
            // The program sees the wire, later than a driver would.
            Handshake::DtrDsr => 32.min(buffer / 4),
            Handshake::XonXoff => (buffer / 16).max(64).min(buffer / 4),
            Handshake::RtsCts | Handshake::Paced => 1024.min(buffer / 4),
            Handshake::EnqAck | Handshake::Software => 1024,
        };
        let seconds = (self.rate_bytes_s * 0.05) as usize;
        seconds.max(16).min(most).max(8)
    }

    /// How often a sender that waits looks again: in the time of 4 bytes, or often enough for a
    /// person. A machine's grant lasts for some 40.
    fn look_again(&self) -> Duration {
        let seconds = 4.0 / self.rate_bytes_s.max(1.0);
        Duration::from_secs_f64(seconds).clamp(Duration::from_micros(200), link::LOOK_AGAIN)
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

/// How far a job is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Bytes of the job that have left the program.
    pub sent: u64,
    /// Bytes of the job that the machine must have taken out of its buffer: what it said, or what its buffer
    /// could not have held.
    pub obeyed: u64,
    /// Why the machine stands, if it says so.
    pub halted: Option<&'static str>,
}

/// Why sending failed. `sent` bytes had gone out.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SendError {
    /// The port is gone.
    #[error(
        "the port vanished after {sent} bytes ({why}); the tool may be down on the film: lift it by \
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
        "the machine has taken nothing for {seconds} s, {sent} bytes in, and the tool may be down on the \
         film; {}",
        why.unwrap_or("look whether it is paused or its lever is up, and whether cable and handshake \
                       fit its manual")
    )]
    Stalled {
        /// What the machine says of itself.
        why: Option<&'static str>,
        /// Bytes sent.
        sent: u64,
        /// How long it was waited.
        seconds: u64,
    },
    /// Nothing but garbled answers comes.
    #[error(
        "the machine's answers come garbled, {sent} bytes in, and the tool may be down on the film: lift \
         it by hand at the machine; then look whether rate, data bits, parity and stop bits are the \
         same at both ends, and the cable (its plugs, its length, motors beside it)"
    )]
    Garbled {
        /// Bytes sent.
        sent: u64,
    },
    /// The machine reports an error.
    #[error("the machine reports error {number}, {sent} bytes in: {meaning}")]
    Machine {
        /// Bytes sent.
        sent: u64,
        /// Its number for `OE` or `ESC.E`.
        number: u32,
        /// What that means.
        meaning: &'static str,
    },
    /// The job's bytes end too early; the tool was told to lift.
    #[error(
        "the rest of the job cannot be read ({why}), {sent} bytes in; the tool was told to lift. Look \
         whether the folder for temporary files is still there, then go on with --resume"
    )]
    Unreadable {
        /// Bytes sent.
        sent: u64,
        /// What the system said.
        why: String,
    },
    /// Nobody answers.
    #[error(
        "nothing answers: is the machine on and on-line, is the cable crossed as its manual wants, \
         are rate and data bits the same at both ends? If it never answers, choose another handshake"
    )]
    Silent,
    /// Stopped, but the machine did not take the instruction that lifts the tool.
    #[error(
        "stopped after {sent} bytes, but the machine takes nothing, so the tool may be down on the \
         film: press the machine's stop key and lift it by hand"
    )]
    NotLifted {
        /// Bytes sent.
        sent: u64,
    },
}
