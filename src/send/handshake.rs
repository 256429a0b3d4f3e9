//! [`Gate`]: whether the machine can take the next block.
//!
//! HP 7470A manual, pp. 10-17 to 10-22: Xoff (19) and Xon (17) in the program as well as in the
//! driver; wires; ENQ (5) answered by ACK (6) for each block; `ESC.B` answered by the free bytes.
//!
//! An answer that comes late must not be taken for the answer to a later question: it would grant
//! room that is filled already. So once a question was repeated, its answers are only heard, and
//! after a silence it is asked anew.

use std::time::{Duration, Instant};

use super::SendSettings;
use super::link::{Link, LinkError};
use crate::profile::Handshake;

const XON: u8 = 17;
const XOFF: u8 = 19;
const ENQ: u8 = 5;
const ACK: u8 = 6;
/// Bytes kept free beyond a block when buffer space is asked for.
const SPARE: usize = 16;
/// How long an answer to `ESC.B` may take before it is asked again; it is answered at once.
const ANSWER: Duration = Duration::from_secs(2);
/// The pause before asking again a machine that had no room.
const NO_ROOM: Duration = Duration::from_millis(50);

/// The machine's permission to send.
pub(super) struct Gate {
    handshake: Handshake,
    block: usize,
    /// Xoff was seen.
    held: bool,
    /// Requests that may still be answered; more than one only after a silence.
    asked: u32,
    /// Since when nothing was asked or answered.
    quiet: Instant,
    /// Whether an answer came that belongs to an unknown request.
    doubtful: bool,
    /// Whether the last answer left no room for a block.
    full: bool,
    /// Bytes that the machine's buffer takes.
    buffer: usize,
    /// Bytes that may go out before the machine has to be asked again.
    granted: usize,
    /// Digits of an answer that is not complete.
    digits: String,
}

impl Gate {
    pub fn new(settings: &SendSettings) -> Self {
        Self {
            handshake: settings.handshake,
            block: settings.block(),
            held: false,
            asked: 0,
            quiet: Instant::now(),
            doubtful: false,
            full: false,
            buffer: settings.buffer_bytes as usize,
            granted: 0,
            digits: String::new(),
        }
    }

    /// Whether `bytes` may go out now. Never waits.
    pub fn open(&mut self, link: &mut dyn Link, bytes: usize) -> Result<bool, LinkError> {
        for byte in link.read()? {
            self.heard(byte);
        }
        match self.handshake {
            Handshake::XonXoff | Handshake::RtsCts | Handshake::Paced => Ok(!self.held),
            Handshake::DtrDsr => Ok(!self.held && link.may_send()?),
            Handshake::EnqAck | Handshake::Software => {
                if self.granted >= bytes {
                    return Ok(true);
                }
                self.ask(link)?;
                Ok(false)
            }
        }
    }

    /// `bytes` have gone out.
    pub fn passed(&mut self, bytes: usize) {
        self.granted = self.granted.saturating_sub(bytes);
    }

    /// Asks for room, unless an answer is awaited.
    fn ask(&mut self, link: &mut dyn Link) -> Result<(), LinkError> {
        let enq = self.handshake == Handshake::EnqAck;
        let pause = match self.asked {
            0 if enq => Duration::ZERO,
            0 if self.full => NO_ROOM,
            0 => Duration::ZERO,
            // A full machine keeps its ACK back as long as it cuts.
            _ if enq => return Ok(()),
            _ => ANSWER,
        };
        if self.quiet.elapsed() < pause {
            return Ok(());
        }
        if self.doubtful {
            (self.asked, self.doubtful) = (0, false);
        }
        self.digits.clear();
        let request: &[u8] = if enq { &[ENQ] } else { b"\x1b.B" };
        if link.write(request)? == request.len() {
            self.asked += 1;
        }
        self.quiet = Instant::now();
        Ok(())
    }

    fn heard(&mut self, byte: u8) {
        match (self.handshake, byte) {
            (Handshake::EnqAck, ACK) => {
                self.granted = self.block;
                self.asked = 0;
            }
            (Handshake::Software, b'0'..=b'9') => self.digits.push(byte as char),
            (Handshake::Software, b'\r') => {
                // A garbled answer grants nothing, and never more than the buffer.
                let free = self.digits.parse().unwrap_or(0usize).min(self.buffer);
                self.digits.clear();
                self.quiet = Instant::now();
                if self.asked > 1 {
                    self.doubtful = true;
                } else if self.asked == 1 {
                    self.asked = 0;
                    self.granted = free.saturating_sub(SPARE);
                    self.full = self.granted < self.block;
                }
            }
            (_, XOFF) => self.held = true,
            (_, XON) => self.held = false,
            _ => {}
        }
    }
}
