//! [`Gate`]: whether the machine can take the next bytes, and what it must have obeyed by now.
//!
//! HP 7470A manual, pp. 10-17 to 10-22: Xoff (19) and Xon (17) in the program as well as in the
//! driver; wires; ENQ (5) answered by ACK (6) for each block; `ESC.B` answered by the free bytes.
//!
//! The next block's room is asked for while this one is on the wire, so that the line never waits for
//! an answer that comes in time. Bytes that go out behind a question count against its answer, which
//! may have been given before they came.
//!
//! An answer that comes late must not be taken for the answer to a later question: it would grant
//! room that is filled already. So once a question was repeated, its answers are only heard, and
//! after a silence it is asked anew. A garbled answer grants nothing: the question is repeated. Where
//! no other answers come for a while, that is told, since the line is at fault and not the machine.

use std::time::Duration;

use super::SendSettings;
use super::link::{Link, LinkError};
use crate::profile::Handshake;

const XON: u8 = 17;
const XOFF: u8 = 19;
const ENQ: u8 = 5;
const ACK: u8 = 6;
/// Bytes kept free beyond a block when buffer space is asked for.
pub(super) const SPARE: usize = 16;
/// How long an answer to `ESC.B` may take before it is asked again; it is answered at once.
/// Doubled with every silence, so that an answer that always comes late is met at last.
const ANSWER: Duration = Duration::from_secs(2);
const LONGEST_ANSWER: Duration = Duration::from_secs(64);
/// So many garbled answers one after the other, over so long a time, are no passing noise.
const MOST_GARBLED: u32 = 8;
const GARBLED_FOR: Duration = Duration::from_secs(20);
/// The pause before asking again a machine that had no room.
const NO_ROOM: Duration = Duration::from_millis(50);

/// The machine's permission to send.
pub(super) struct Gate {
    handshake: Handshake,
    /// What an ACK grants.
    block: usize,
    /// Bytes that the machine's buffer takes.
    buffer: usize,
    /// Xoff was seen.
    held: bool,
    /// Requests that may still be answered; more than one only after a silence.
    asked: u32,
    /// Bytes sent when room was last asked for.
    asked_at: u64,
    /// Since when nothing was asked or answered.
    quiet: Duration,
    /// How long an answer may take now.
    patience: Duration,
    /// Whether an answer came that belongs to an unknown request.
    doubtful: bool,
    /// What the last answer granted; asking again is worth a pause when that was too little.
    last_grant: usize,
    /// How many bytes may have gone out before the machine has to be asked again.
    limit: u64,
    /// Bytes of questions that have gone out and were not counted yet.
    put: usize,
    /// What the line has not taken of a question; nothing else may go out before it.
    rest: &'static [u8],
    /// Digits of an answer that is not complete.
    digits: String,
    /// That answer holds more than digits, or is no ACK.
    garbled: bool,
    /// Garbled answers since the last good one, and when the first of them came.
    spoilt: (u32, Duration),
    /// Bytes that the machine must have taken out of its buffer.
    obeyed: u64,
}

impl Gate {
    pub fn new(settings: &SendSettings) -> Self {
        Self {
            handshake: settings.handshake,
            block: settings.block(),
            buffer: settings.buffer_bytes as usize,
            held: false,
            asked: 0,
            asked_at: 0,
            quiet: Duration::ZERO,
            patience: ANSWER,
            doubtful: false,
            last_grant: usize::MAX,
            limit: 0,
            put: 0,
            rest: b"",
            digits: String::new(),
            garbled: false,
            spoilt: (0, Duration::ZERO),
            obeyed: 0,
        }
    }

    /// Whether `bytes` may go out now, after `sent` of them. Never waits.
    pub fn open(
        &mut self,
        link: &mut dyn Link,
        bytes: usize,
        sent: u64,
    ) -> Result<bool, LinkError> {
        let now = link.now();
        for byte in link.read()? {
            self.heard(byte, now);
        }
        match self.handshake {
            Handshake::XonXoff | Handshake::RtsCts | Handshake::Paced => Ok(!self.held),
            Handshake::DtrDsr => Ok(!self.held && link.may_send()?),
            Handshake::EnqAck | Handshake::Software => {
                let room = self.room(sent) >= bytes;
                if self.rest.is_empty() && (!room || (self.asked == 0 && self.until_due(sent) == 0))
                {
                    self.ask(link.now(), bytes, sent);
                }
                self.put_rest(link)?;
                Ok(room && self.rest.is_empty())
            }
        }
    }

    /// How many of `bytes` go out at once, after `sent`: no grant is left unused, none passes the
    /// place where the next one is asked for (by then the answer could not come in time), and none is
    /// waited for that no answer can give.
    pub fn piece(&self, bytes: usize, sent: u64) -> usize {
        let next = self.until_due(sent);
        match self.room(sent) {
            0 if next == 0 => bytes.min(self.step()),
            0 => bytes.min(next),
            room if self.asked > 0 || next == 0 => bytes.min(room),
            room => bytes.min(room).min(next),
        }
    }

    /// Bytes that the machine has room for, as far as it said.
    fn room(&self, sent: u64) -> usize {
        self.limit.saturating_sub(sent) as usize
    }

    /// Bytes from one question to the next. The rest of what an answer can grant is on the wire while
    /// the answer comes: 40 bytes of an ACK's 80, 79 of the 239 of a buffer with 255. What the
    /// questions cost: 1 byte in 41, 3 in 163.
    fn step(&self) -> usize {
        match self.handshake {
            Handshake::EnqAck => self.block.div_ceil(2),
            Handshake::Software => (self.buffer.saturating_sub(SPARE) * 2).div_ceil(3),
            _ => usize::MAX,
        }
    }

    /// Bytes to go out before room is asked for in good time; 0 when that is due.
    fn until_due(&self, sent: u64) -> usize {
        let at = self.asked_at.saturating_add(self.step() as u64);
        at.saturating_sub(sent) as usize
    }

    /// Bytes of questions that have gone out since this was last called.
    pub fn put(&mut self) -> usize {
        std::mem::take(&mut self.put)
    }

    /// Bytes that the machine must have taken out of its buffer, as far as it said.
    pub fn obeyed(&self) -> u64 {
        self.obeyed
    }

    /// Whether no answer is awaited, so that something else may be asked.
    pub fn is_quiet(&self) -> bool {
        self.asked == 0
    }

    /// Forgets what was granted, so that the machine is asked before the next byte.
    pub fn forget(&mut self) {
        self.limit = 0;
    }

    /// Hands the line what it has not taken of a question.
    fn put_rest(&mut self, link: &mut dyn Link) -> Result<(), LinkError> {
        if !self.rest.is_empty() {
            let taken = link.write(self.rest)?;
            self.put += taken;
            self.rest = self.rest.get(taken..).unwrap_or_default();
            self.quiet = link.now();
        }
        Ok(())
    }

    /// Asks for room, unless an answer is awaited.
    fn ask(&mut self, now: Duration, bytes: usize, sent: u64) {
        let enq = self.handshake == Handshake::EnqAck;
        let pause = match self.asked {
            0 if enq => Duration::ZERO,
            0 if self.last_grant < bytes => NO_ROOM,
            0 => Duration::ZERO,
            // A full machine keeps its ACK back as long as it cuts.
            _ if enq && !self.garbled && !self.doubtful => LONGEST_ANSWER,
            _ => self.patience,
        };
        if now.saturating_sub(self.quiet) < pause {
            return;
        }
        if self.doubtful {
            (self.asked, self.doubtful) = (0, false);
            // Only a machine whose answers are always late needs more of it.
            self.patience = if enq { ANSWER } else { self.patience };
        }
        if self.asked > 0 {
            self.patience = (self.patience * 2).min(LONGEST_ANSWER);
        }
        // Something was said, but no answer ended.
        if !enq && (self.garbled || !self.digits.is_empty()) {
            self.is_spoilt(now);
        }
        self.digits.clear();
        self.garbled = false;
        self.rest = if enq { &[ENQ] } else { b"\x1b.B" };
        self.asked += 1;
        self.asked_at = sent;
    }

    fn heard(&mut self, byte: u8, now: Duration) {
        match (self.handshake, byte) {
            (Handshake::EnqAck, ACK) => self.acknowledged(now),
            (Handshake::EnqAck, b'\r' | b'\n') => {}
            (Handshake::EnqAck, _) if self.asked > 0 => {
                (self.garbled, self.quiet) = (true, now);
                self.is_spoilt(now);
            }
            (Handshake::Software, b'0'..=b'9') => self.digits.push(byte as char),
            (Handshake::Software, b'\r') => self.answered(now),
            (_, XOFF) => self.held = true,
            (_, XON) => self.held = false,
            (Handshake::Software, b'\n' | 0) => {}
            _ => self.garbled = true,
        }
    }

    /// ENQ is answered.
    fn acknowledged(&mut self, now: Duration) {
        self.quiet = now;
        self.spoilt.0 = 0;
        if self.asked == 1 && !self.garbled {
            self.limit = self.asked_at + self.block as u64;
            self.takes(self.block);
            self.asked = 0;
        } else if self.asked > 0 {
            self.doubtful = true;
        }
    }

    /// An answer came garbled.
    fn is_spoilt(&mut self, now: Duration) {
        let (count, since) = self.spoilt;
        self.spoilt = (count + 1, if count == 0 { now } else { since });
    }

    /// Whether answers come garbled, and no others.
    pub fn hears_garble(&self, now: Duration) -> bool {
        let (count, since) = self.spoilt;
        count >= MOST_GARBLED && now.saturating_sub(since) >= GARBLED_FOR
    }

    /// The answer to `ESC.B` is complete.
    fn answered(&mut self, now: Duration) {
        let digits = std::mem::take(&mut self.digits);
        let garbled = std::mem::take(&mut self.garbled);
        let free = digits.parse().ok().filter(|&free: &usize| !garbled && free <= self.buffer);
        self.quiet = now;
        match free {
            None if self.asked > 0 => self.is_spoilt(now),
            None => {}
            Some(_) => self.spoilt.0 = 0,
        }
        match self.asked {
            0 => {}
            1 => {
                self.asked = 0;
                self.last_grant = free.map_or(0, |free| free.saturating_sub(SPARE));
                // The room of an earlier answer is not lost by a later one.
                self.limit = self.limit.max(self.asked_at + self.last_grant as u64);
                if let Some(free) = free {
                    self.takes(free);
                }
            }
            _ => self.doubtful = true,
        }
    }

    /// With `free` bytes in the buffer, at most the others wait in it.
    fn takes(&mut self, free: usize) {
        let waiting = self.buffer.saturating_sub(free) as u64;
        self.obeyed = self.obeyed.max(self.asked_at.saturating_sub(waiting));
    }
}
