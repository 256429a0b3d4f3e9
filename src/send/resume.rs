//! A job from one of its cuts on: [`from_cut`], or from behind them: [`after_cuts`]; and the same job with
//! the tool lifted: [`lifted`].
//!
//! A cut in hand is begun anew, a finished one never. What was set before (tool, speed, force, ...)
//! is set again, the way to the cut is an absolute move, and a trailing blade is first brought to the
//! heading that the cut begins with, by a straight cut in waste. Jobs that scale or turn their
//! coordinates, or whose cuts begin inside an instruction, can only be sent as a whole.
//!
//! The job is read from its beginning, several times, and never held.

use std::io::{Chain, Cursor, Read, Write};

use super::set_before::SetBefore;
use super::spool::{Spool, SpoolReader};
use super::waste;
use crate::blade::BladeSettings;
use crate::follow::Setup;
use crate::geometry::Point;
use crate::hpgl::{Command, Located};
use crate::simulate::Part;

/// Why a job cannot be sent that way.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ResumeError {
    /// No such cut.
    #[error("there is no cut {number}; the job has {cuts}, numbered as in its preview")]
    NoSuchCut {
        /// What was asked for.
        number: usize,
        /// How many there are.
        cuts: usize,
    },
    /// The job's language is not plain enough.
    #[error("the job uses {0}, so it can only be sent as a whole, blade down")]
    NotPlain(String),
    /// The system does not give the job's bytes.
    #[error("the job's copy in the folder for temporary files cannot be used: {0}")]
    Unreadable(String),
}

impl From<std::io::Error> for ResumeError {
    fn from(error: std::io::Error) -> Self {
        Self::Unreadable(error.to_string())
    }
}

pub(super) fn plain(what: &str) -> ResumeError {
    ResumeError::NotPlain(what.to_owned())
}

/// A job from a cut on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// What is sent first.
    pub before: Vec<u8>,
    /// Which byte of the job follows, and all behind it.
    pub job_byte: u64,
    /// A trailing blade's heading could not be re-established: there is no room in the waste.
    pub blind: bool,
}

impl Taken {
    /// The whole job.
    pub fn whole() -> Self {
        Self { before: Vec::new(), job_byte: 0, blind: false }
    }

    /// The same of the job with the tool lifted throughout, whose bytes are those of [`lifted`].
    ///
    /// # Errors
    /// As those of [`lifted`].
    pub fn lifted(&self) -> Result<Self, ResumeError> {
        let spool = lifted(&Spool::of(&mut &self.before[..])?)?;
        Ok(Self { before: spool.piece(0, spool.len())?, ..self.clone() })
    }

    /// Reads what is sent.
    pub fn reader<'a>(&self, job: &'a Spool) -> Chain<Cursor<Vec<u8>>, SpoolReader<'a>> {
        Cursor::new(self.before.clone()).chain(job.from(self.job_byte))
    }

    /// How many bytes are sent of a job of `job` bytes.
    pub fn bytes(&self, job: u64) -> u64 {
        self.before.len() as u64 + job.saturating_sub(self.job_byte)
    }

    /// The job's byte that comes after so many bytes were sent.
    pub fn job_bytes(&self, sent: u64) -> u64 {
        match sent.checked_sub(self.before.len() as u64) {
            Some(own) => self.job_byte + own,
            None => 0,
        }
    }
}

/// The job from cut `number` on (1 is the first); `blade` tells of the blade and the machine's area.
///
/// # Errors
/// [`ResumeError`] when there is no such cut or the job cannot be taken apart.
pub fn from_cut(
    job: &Spool,
    number: usize,
    (setup, blade): (Setup, &BladeSettings),
) -> Result<Taken, ResumeError> {
    let begin = beginning(job, number, setup)?;
    let mut before = begin.set.written(job)?;
    before.extend_from_slice(b"PA;");
    let units = |mm: f64| (mm / setup.machine.unit_mm).round() as i64;
    let mut blind = false;
    if let Some(heading) = begin.heading.filter(|_| blade.offset_mm > 0.0) {
        match waste::turning(job, (number, begin.start), (setup, blade), heading)? {
            Some([a, b]) => {
                let text =
                    format!("PU{},{};PD{},{};", units(a.x), units(a.y), units(b.x), units(b.y));
                before.extend_from_slice(text.as_bytes());
            }
            None => blind = true,
        }
    }
    let start = begin.start;
    before.extend_from_slice(format!("PU{},{};", units(start.x), units(start.y)).as_bytes());
    if begin.set.is_relative() {
        before.extend_from_slice(b"PR;");
    }
    Ok(Taken { before, job_byte: begin.byte, blind })
}

/// How a cut begins.
struct Beginning {
    /// What was set before.
    set: SetBefore,
    /// The instruction that lowers the tool.
    byte: u64,
    start: Point,
    /// The heading that a trailing blade has after the cut before, where this one was made with the
    /// same tool: one that was fetched has no heading to take over, and a pen never has one.
    heading: Option<f64>,
}

fn beginning(job: &Spool, number: usize, setup: Setup) -> Result<Beginning, ResumeError> {
    let (mut cuts, mut last, mut found) = (0, None, None);
    job.each_piece(setup, &mut |piece| {
        let Part::Cut { begins, ends } = piece.part else { return true };
        let cut = &piece.cut;
        cuts = piece.number + 1;
        if begins && cuts == number {
            let start = cut.axis.first().copied().unwrap_or_default();
            let trails = Some(start) != cut.tip().first().copied();
            let heading = last.filter(|(tool, _)| trails && *tool == cut.tool).map(|(_, h)| h);
            found = Some((cut.byte, start, heading));
        }
        if ends {
            last = Some((cut.tool, cut.heading));
        }
        found.is_none()
    })?;
    let (byte, start, heading) = found.ok_or(ResumeError::NoSuchCut { number, cuts })?;
    Ok(Beginning { set: set_before(job, byte)?, byte, start, heading })
}

/// What is set before the instruction at `byte`, which has to be one that lowers the tool.
fn set_before(job: &Spool, byte: u64) -> Result<SetBefore, ResumeError> {
    let (mut set, mut lowers) = (Ok(SetBefore::default()), None);
    job.each_command(&mut |located| {
        if located.byte < byte {
            if let Ok(before) = &mut set {
                set = std::mem::take(before).hear(located);
            }
            return set.is_ok();
        }
        let is_pd = matches!(&located.command, Command::Plain(name, _) if name.0 == *b"PD");
        lowers = Some((located.byte == byte && !located.continues, is_pd));
        false
    })?;
    let set = set?;
    match lowers {
        Some((true, true)) => Ok(set),
        Some((true, false)) => Err(plain("cuts that begin without PD")),
        _ => Err(plain("cuts inside other instructions")),
    }
}

/// What is left of the job when all its cuts are finished: the tool is lifted, and what follows the
/// last cut is done.
///
/// # Errors
/// [`ResumeError`] when the job cannot be taken apart.
pub fn after_cuts(job: &Spool, setup: Setup) -> Result<Taken, ResumeError> {
    let mut last = 0;
    job.each_piece(setup, &mut |piece| {
        if let Part::Cut { ends: true, .. } = piece.part {
            last = piece.cut.end_byte;
        }
        true
    })?;
    let (mut set, mut job_byte) = (Ok(SetBefore::default()), job.len());
    job.each_command(&mut |located| {
        if located.byte > last {
            job_byte = located.byte;
            return false;
        }
        if let Ok(before) = &mut set {
            set = std::mem::take(before).hear(located);
        }
        set.is_ok()
    })?;
    let set = set?;
    let mut before = set.written(job)?;
    before.extend_from_slice(if set.is_relative() { b"PU;PR;" } else { b"PU;" });
    Ok(Taken { before, job_byte, blind: false })
}

/// The job with the tool lifted throughout, byte for byte as long.
///
/// # Errors
/// [`ResumeError::NotPlain`] when an instruction lowers the tool by itself.
pub fn lifted(job: &Spool) -> Result<Spool, ResumeError> {
    let mut trouble = None;
    let spool = Spool::written(&mut |out| {
        let mut copied = 0;
        job.each_command(&mut |located| {
            match lifting(located) {
                Err(error) => trouble = Some(Err(error)),
                Ok(false) => {}
                Ok(true) => {
                    let done = lift(job, (copied, located), out);
                    trouble = done.map_err(ResumeError::from).err().map(Err);
                    copied = located.end;
                }
            }
            trouble.is_none()
        })?;
        std::io::copy(&mut job.from(copied), out).map(drop)
    })?;
    trouble.unwrap_or(Ok(spool))
}

/// Copies the bytes from `copied` on to the end of an instruction that lowers the tool, which lifts it
/// in the copy.
fn lift(
    job: &Spool,
    (copied, located): (u64, &Located),
    out: &mut dyn Write,
) -> std::io::Result<()> {
    std::io::copy(&mut job.from(copied).take(located.byte - copied), out)?;
    let mut text = job.piece(located.byte, located.end)?;
    // Blanks may stand between the two letters.
    let letters = text.iter_mut().filter(|c| c.is_ascii_alphabetic());
    for (letter, up) in letters.take(2).zip(*b"PU") {
        *letter = up;
    }
    out.write_all(&text)
}

/// Whether an instruction is to lift the tool instead of lowering it.
fn lifting(located: &Located) -> Result<bool, ResumeError> {
    match &located.command {
        Command::Encoded(_) => Err(plain("encoded lines (PE)")),
        Command::Plain(name, _) if name.0 == *b"PD" => Ok(!located.continues),
        Command::Plain(name, _) | Command::Text(name, _)
            if [b"CI", b"EA", b"ER", b"EW", b"EP", b"FP", b"RA", b"RR", b"WG", b"LB"]
                .contains(&&name.0) =>
        {
            Err(plain(&format!("{name}, which lowers the tool by itself")))
        }
        _ => Ok(false),
    }
}
