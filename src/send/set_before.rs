//! [`SetBefore`]: what the instructions before a cut have set, so that it can be set again.
//!
//! Of each kind of setting the last one counts; of what is set tool by tool the last one for each tool.
//! `IN` undoes all of them but the choice of the tool (HP 7470A manual, p. 1-12: the pen stays in the
//! holder); what was set before a `DF` and is not undone by it stays before it. What acts instead of
//! setting anything (requests, pages, fillings) is left out: it was done. So its size is bounded by the
//! number of kinds.

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
    kept: Vec<Kept>,
    relative: bool,
}

/// One of them.
#[derive(Debug, Clone, Copy)]
struct Kept {
    name: [u8; 2],
    /// The tool, or what else it is for; `None` for all of them.
    of: Option<u8>,
    byte: u64,
    end: u64,
}

impl Kept {
    fn new(name: [u8; 2], numbers: &[f64], located: &Located) -> Self {
        let which = match &name {
            b"VS" | b"FS" | b"AS" | b"PW" => numbers.get(1),
            b"PC" | b"RF" | b"UL" => numbers.first(),
            _ => None,
        };
        // As many as there are tools, whatever a job says.
        let of = which.filter(|&&which| (0.0..=255.0).contains(&which)).map(|&which| which as u8);
        Self { name, of, byte: located.byte, end: located.end }
    }

    /// Whether `later` sets all that this one has set.
    fn is_undone_by(&self, later: &Self) -> bool {
        self.name == later.name && (later.of.is_none() || self.of == later.of)
    }
}

impl SetBefore {
    /// The next instruction.
    pub fn hear(mut self, located: &Located) -> Result<Self, ResumeError> {
        let (name, numbers) = match &located.command {
            Command::Plain(name, numbers) => (name, &numbers[..]),
            // What ends a label, and the symbol at each point.
            Command::Text(name, _) if [b"DT", b"SM"].contains(&&name.0) => (name, &[][..]),
            _ => return Ok(self),
        };
        let instruction = Kept::new(name.0, numbers, located);
        match &name.0 {
            b"PA" => self.relative = false,
            b"PR" => self.relative = true,
            b"IN" => {
                self.relative = false;
                self.kept.retain(|kept| kept.name == *b"SP");
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
            _ => {
                let anew = |kept: &Kept| kept.name == *b"IN" || kept.name == *b"DF";
                let since = self.kept.iter().rposition(anew);
                let mut at = 0;
                self.kept.retain(|kept| {
                    at += 1;
                    at <= since.map_or(0, |i| i + 1) || !kept.is_undone_by(&instruction)
                });
                self.kept.push(instruction);
            }
        }
        Ok(self)
    }

    /// Keeps the last of each kind, and no `DF`.
    fn forget_all_but_last(&mut self) {
        let mut seen: Vec<Kept> = Vec::new();
        self.kept.reverse();
        self.kept.retain(|kept| {
            let first = !seen.iter().any(|later| kept.is_undone_by(later));
            seen.push(*kept);
            first && kept.name != *b"DF"
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
        for &Kept { byte, end, .. } in &self.kept {
            out.extend(job.piece(byte, end)?);
            if out.last() != Some(&b';') {
                out.push(b';');
            }
        }
        Ok(out)
    }
}
