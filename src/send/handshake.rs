//! [`Gate`]: whether the machine can take the next block.
//!
//! HP 7470A manual, pp. 10-17 to 10-22: Xoff (19) and Xon (17) in the program as well as in the
//! driver; wires; ENQ (5) answered by ACK (6) for each block; `ESC.B` answered by the free bytes.

use super::SendSettings;
use super::link::{Link, LinkError};
use crate::profile::Handshake;

const XON: u8 = 17;
const XOFF: u8 = 19;
const ENQ: u8 = 5;
const ACK: u8 = 6;
/// Bytes kept free beyond a block when buffer space is asked for.
const SPARE: usize = 16;

/// The machine's permission to send.
pub(super) struct Gate {
    handshake: Handshake,
    block: usize,
    /// Xoff was seen.
    held: bool,
    /// A request is on its way.
    asked: bool,
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
            asked: false,
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
                if !self.asked {
                    let request: &[u8] =
                        if self.handshake == Handshake::EnqAck { &[ENQ] } else { b"\x1b.B" };
                    self.asked = link.write(request)? == request.len();
                }
                Ok(false)
            }
        }
    }

    /// `bytes` have gone out.
    pub fn passed(&mut self, bytes: usize) {
        self.granted = self.granted.saturating_sub(bytes);
    }

    fn heard(&mut self, byte: u8) {
        match (self.handshake, byte) {
            (Handshake::EnqAck, ACK) => {
                self.granted = self.block;
                self.asked = false;
            }
            (Handshake::Software, b'0'..=b'9') => self.digits.push(byte as char),
            (Handshake::Software, b'\r') => {
                let free: usize = self.digits.parse().unwrap_or(0);
                self.granted = free.saturating_sub(SPARE);
                self.asked = false;
                self.digits.clear();
            }
            (_, XOFF) => self.held = true,
            (_, XON) => self.held = false,
            _ => {}
        }
    }
}
