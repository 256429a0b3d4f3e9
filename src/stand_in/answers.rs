//! What the stand-in says: answers to `O.` and `ESC.` requests, Xon and Xoff, ACK.
//!
//! HP 7470A manual, pp. 7-2 to 7-8 (`O.`), 10-19 to 10-32 and 10-39 (device control).

use super::control::Handshake as Set;
use super::{StandIn, StandInSettings};
use crate::hpgl::Command;
use crate::profile::Handshake;

/// Bytes stored at which Xon is sent, in the manual's machine.
const XON_AT: usize = 128;

/// The handshake as if set on the machine's front panel.
pub(super) fn front_panel(settings: &StandInSettings) -> Set {
    let usual = Set { wire: false, ..Set::default() };
    match settings.handshake {
        Handshake::XonXoff => Set { level: 81, go: vec![17], hold: vec![19], ..usual },
        Handshake::EnqAck => Set { enquiry: Some(5), go: vec![6], ..usual },
        Handshake::RtsCts | Handshake::DtrDsr => Set::default(),
        Handshake::Software | Handshake::Paced => usual,
    }
}

/// Block size or Xoff level; a buffer that is no larger than that takes half of itself.
pub(super) fn level(settings: &StandInSettings, handshake: &Set) -> usize {
    handshake.level.min(settings.buffer_bytes / 2)
}

/// Whether a position lies outside what the machine counts to (p. 3-6).
pub(super) fn out_of_range(command: &Command, sixteen_bit: bool) -> bool {
    let Command::Plain(name, numbers) = command else { return false };
    let list = [b"PA", b"PR", b"PU", b"PD"].contains(&&name.0);
    sixteen_bit && list && numbers.iter().any(|n| !(-32768.0..32768.0).contains(n))
}

impl StandIn {
    /// Starts an answer, unless one is going out: then error 10, and no answer (p. 10-27).
    pub(super) fn answer(&mut self, text: &str) {
        if self.saying > self.now {
            self.control_error = 10;
            return;
        }
        self.said.extend_from_slice(text.as_bytes());
        self.said.extend_from_slice(&self.controls.handshake.end);
        let bytes = (text.len() + self.controls.handshake.end.len()) as f64;
        let seconds = bytes / self.settings.rate_bytes_s;
        self.saying = self.now + std::time::Duration::from_secs_f64(seconds);
    }

    fn is_mute(&self, request: &str) -> bool {
        self.settings.mute.iter().any(|mute| mute.eq_ignore_ascii_case(request))
    }

    pub(super) fn control_asked(&mut self, letter: u8) {
        if self.is_mute(&format!("ESC.{}", letter as char)) {
            return;
        }
        if self.size_asked {
            self.control_error = 10;
            return;
        }
        match letter {
            b'A' => self.answer(&self.settings.machine.name.to_uppercase()),
            b'B' => self.answer(&self.free().to_string()),
            b'E' => {
                let error = std::mem::take(&mut self.control_error);
                self.answer(&error.to_string());
            }
            // Answered when the buffer is empty.
            b'L' => self.size_asked = true,
            _ => {
                let bits = [(self.buffer.is_empty(), 8), (self.paused, 16), (self.lever_up, 32)];
                let sum: u32 = bits.iter().filter(|(on, _)| *on).map(|(_, bit)| bit).sum();
                self.answer(&sum.to_string());
            }
        }
    }

    /// `OA`, `OE`, ... by the second letter.
    pub(super) fn asked(&mut self, letter: u8) {
        if self.is_mute(&format!("O{}", letter as char)) {
            self.error = 1;
            return;
        }
        let (at, down) = self.tool();
        let (x, y, pen) = (at.x.floor(), at.y.floor(), u8::from(down));
        let clip = self.settings.machine.hard_clip;
        match (letter, clip) {
            (b'A' | b'C', _) => self.answer(&format!("{x},{y},{pen}")),
            (b'E', _) => {
                let error = std::mem::take(&mut self.error);
                self.answer(&error.to_string());
            }
            (b'F', _) => self.answer("40,40"),
            (b'I', _) => self.answer(&self.settings.machine.name.to_uppercase()),
            (b'O', _) => self.answer("0,1,0,0,1,0,0,0"),
            (b'P', _) => self.answer("250,279,10250,7479"),
            (b'S', _) => {
                let error = self.error != 0;
                let bits = [
                    (down, 1),
                    (std::mem::take(&mut self.initialised), 8),
                    (true, 16),
                    (error, 32),
                ];
                let sum: u32 = bits.iter().filter(|(on, _)| *on).map(|(_, bit)| bit).sum();
                self.answer(&sum.to_string());
            }
            (b'H' | b'W', Some(c)) => {
                self.answer(&format!("{},{},{},{}", c.x_min, c.y_min, c.x_max, c.y_max));
            }
            _ => self.error = 1,
        }
    }

    /// Xoff and Xon by the room that is left, ACK for an enquiry that finds room.
    pub(super) fn hold_back(&mut self) {
        let (free, stored) = (self.free(), self.buffer.len());
        let handshake = &self.controls.handshake;
        let level = level(&self.settings, handshake);
        if handshake.enquiry.is_some() {
            if self.room_asked && free >= level && self.saying <= self.now {
                self.room_asked = false;
                self.said.extend_from_slice(&handshake.go);
            }
        } else if !self.holding && free <= level {
            self.holding = true;
            self.said.extend_from_slice(&handshake.hold);
        } else if self.holding && stored <= xon_at(self.settings.buffer_bytes - level, level) {
            self.holding = false;
            self.said.extend_from_slice(&handshake.go);
        }
    }
}

/// Bytes stored at which Xon is sent, when `filled` bytes brought the Xoff (p. 10-20): 128 or
/// fewer; one byte above a level beyond that; half in a buffer that never stores so many.
fn xon_at(filled: usize, level: usize) -> usize {
    if level > XON_AT {
        filled.saturating_sub(1)
    } else if filled > XON_AT {
        XON_AT
    } else {
        filled / 2
    }
}
