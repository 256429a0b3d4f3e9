//! [`SetBefore`]: what the instructions before a cut have set, so that it can be set again.
//!
//! Of each kind of setting the last one counts. `IN` undoes all of them but the choice of the tool (HP
//! 7470A manual, p. 1-12: the pen stays in the holder); what was set before a `DF` and is not undone
//! by it stays before it. What acts instead of setting anything (requests, pages, fillings) is left
//! out: it was done. So its size is bounded by the number of kinds.

use super::resume::{ResumeError, plain};
use super::spool::Spool;
use crate::hpgl::{Command, Located};

/// Instructions that draw or act and set nothing.
const ACTS: &[&[u8; 2]] = &[
    b"PU", b"PD", b"AA", b"AR", b"AT", b"RT", b"CI", b"BZ", b"BR", b"EA", b"ER", b"EW", b"PM",
    b"EP", b"FP", b"RA", b"RR", b"WG", b"XT", b"YT", b"CP", b"UC", b"OA", b"OC", b"OD", b"OE",
    b"OF", b"OH", b"OI", b"OO", b"OP", b"OS", b"OT", b"OW", b"PG", b"AF", b"AH", b"NR", b"RP",
    b"EC", b"FR",
];

/// What was set, as instructions of the job.
#[derive(Debug, Clone, Default)]
pub(super) struct SetBefore {
    /// Name, first byte and end of each.
    kept: Vec<([u8; 2], u64, u64)>,
    relative: bool,
}

impl SetBefore {
    /// The next instruction.
    pub fn hear(mut self, located: &Located) -> Result<Self, ResumeError> {
        let Command::Plain(name, numbers) = &located.command else { return Ok(self) };
        let instruction = (name.0, located.byte, located.end);
        match &name.0 {
            b"PA" => self.relative = false,
            b"PR" => self.relative = true,
            b"IN" => {
                self.relative = false;
                self.kept.retain(|(name, ..)| name == b"SP");
                self.kept.push(instruction);
            }
            b"DF" => {
                self.relative = false;
                self.forget_all_but_last();
                self.kept.push(instruction);
            }
            b"SC" | b"RO" | b"IR" if !numbers.is_empty() => {
                return Err(plain("scaled or turned coordinates (SC, RO, IR)"));
            }
            name if ACTS.contains(&name) => {}
            name => {
                let since = self.kept.iter().rposition(|(kept, ..)| kept == b"IN" || kept == b"DF");
                let mut at = 0;
                self.kept.retain(|(kept, ..)| {
                    at += 1;
                    at <= since.map_or(0, |i| i + 1) || kept != name
                });
                self.kept.push(instruction);
            }
        }
        Ok(self)
    }

    /// Keeps the last of each kind, and no `DF`.
    fn forget_all_but_last(&mut self) {
        let mut seen = Vec::new();
        self.kept.reverse();
        self.kept.retain(|(name, ..)| {
            let first = !seen.contains(name);
            seen.push(*name);
            first && name != b"DF"
        });
        self.kept.reverse();
    }

    /// Whether coordinates are steps by then.
    pub fn is_relative(&self) -> bool {
        self.relative
    }

    /// The instructions, each with its end.
    pub fn written(&self, job: &Spool) -> Result<Vec<u8>, ResumeError> {
        let mut out = Vec::new();
        for &(_, byte, end) in &self.kept {
            out.extend(job.piece(byte, end)?);
            if out.last() != Some(&b';') {
                out.push(b';');
            }
        }
        Ok(out)
    }
}
