//! A job from one of its cuts on: [`from_cut`], or from behind them: [`after_cuts`]; which cuts are done: [`Marks`]; and the same job with
//! the tool lifted: [`lifted`].
//!
//! A cut in hand is begun anew, a finished one never. What was set before (tool, speed, force, ...)
//! is set again, the way to the cut is an absolute move, and a trailing blade is first brought to the
//! heading that the cut begins with, by a straight cut in waste. Jobs that scale or turn their
//! coordinates, or whose cuts begin inside an instruction, can only be sent as a whole.

use crate::blade::{BladeSettings, TipPath, turning_cut};
use crate::geometry::Contour;
use crate::hpgl::{Command, Located};
use crate::place::Role;
use crate::simulate::Simulation;

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
}

/// A job from a cut on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// What is sent.
    pub bytes: Vec<u8>,
    /// Where, in `bytes`, the job's own bytes begin again.
    pub own: u64,
    /// Which byte of the job that is.
    pub job_byte: u64,
    /// A trailing blade's heading could not be re-established: there is no room in the waste.
    pub blind: bool,
}

impl Taken {
    /// The job's byte that comes after so many bytes were sent.
    pub fn job_bytes(&self, sent: u64) -> u64 {
        if sent < self.own { 0 } else { self.job_byte + (sent - self.own) }
    }
}

/// The job in `bytes` from cut `number` on (1 is the first); `blade` tells of the blade and the
/// machine's area, `unit_mm` is the size of a plotter unit.
///
/// # Errors
/// [`ResumeError`] when there is no such cut or the job cannot be taken apart.
pub fn from_cut(
    bytes: &[u8],
    (commands, simulation): (&[Located], &Simulation),
    number: usize,
    (blade, unit_mm): (&BladeSettings, f64),
) -> Result<Taken, ResumeError> {
    let cuts = simulation.cuts.len();
    let cut = number.checked_sub(1).and_then(|i| simulation.cuts.get(i));
    let cut = cut.ok_or(ResumeError::NoSuchCut { number, cuts })?;
    let lowering = commands.iter().position(|located| located.byte == cut.byte);
    let place = lowering.ok_or_else(|| plain("cuts inside other instructions"))?;
    let (before, relative) = set_before(bytes, &commands[..place])?;
    if !matches!(&commands[place].command, Command::Plain(name, _) if name.0 == *b"PD") {
        return Err(plain("cuts that begin without PD"));
    }
    let units = |mm: f64| (mm / unit_mm).round() as i64;
    let mut out = before;
    out.extend_from_slice(b"PA;");
    let mut blind = false;
    if let Some(last) = number.checked_sub(2).and_then(|i| simulation.cuts.get(i))
        && blade.offset_mm > 0.0
        // A tool that was fetched for this cut has no heading to take over; a pen never has one.
        && last.tool == cut.tool
        && cut.axis.first() != cut.tip.first()
    {
        match turning_cut(&tips(simulation, number), blade, last.heading) {
            Some([a, b]) => {
                let text =
                    format!("PU{},{};PD{},{};", units(a.x), units(a.y), units(b.x), units(b.y));
                out.extend_from_slice(text.as_bytes());
            }
            None => blind = true,
        }
    }
    if let Some(start) = cut.axis.first() {
        out.extend_from_slice(format!("PU{},{};", units(start.x), units(start.y)).as_bytes());
    }
    if relative {
        out.extend_from_slice(b"PR;");
    }
    let own = out.len() as u64;
    out.extend_from_slice(bytes.get(cut.byte as usize..).unwrap_or_default());
    Ok(Taken { bytes: out, own, job_byte: cut.byte, blind })
}

/// What is left of the job in `bytes` when all its cuts are finished: the tool is lifted, and what
/// follows the last cut is done.
///
/// # Errors
/// [`ResumeError`] when the job cannot be taken apart.
pub fn after_cuts(
    bytes: &[u8],
    (commands, simulation): (&[Located], &Simulation),
) -> Result<Taken, ResumeError> {
    let last = simulation.cuts.last().map_or(0, |cut| cut.end_byte);
    let place = commands.partition_point(|located| located.byte <= last);
    let (mut out, relative) = set_before(bytes, commands.get(..place).unwrap_or_default())?;
    out.extend_from_slice(if relative { b"PU;PR;" } else { b"PU;" });
    let own = out.len() as u64;
    let job_byte = commands.get(place).map_or(bytes.len() as u64, |located| located.byte);
    out.extend_from_slice(bytes.get(job_byte as usize..).unwrap_or_default());
    Ok(Taken { bytes: out, own, job_byte, blind: false })
}

pub(super) fn plain(what: &str) -> ResumeError {
    ResumeError::NotPlain(what.to_owned())
}

/// The tip's ways as wanted lines, the next cut first.
fn tips(simulation: &Simulation, number: usize) -> Vec<TipPath> {
    let (done, rest) = simulation.cuts.split_at(number - 1);
    let line = |points: &[crate::geometry::Point]| {
        let ends = points.first().zip(points.last());
        let closed = points.len() > 3 && ends.is_some_and(|(a, b)| a.distance(*b) < 1.0);
        Contour { points: points.to_vec(), closed }
    };
    let tips = rest.iter().chain(done).map(|cut| TipPath {
        line: None,
        role: Role::Design,
        contour: line(&cut.tip),
    });
    tips.collect()
}

/// What the instructions before a cut have set, and whether coordinates are steps by then.
fn set_before(bytes: &[u8], before: &[Located]) -> Result<(Vec<u8>, bool), ResumeError> {
    let mut kept: Vec<(&[u8], [u8; 2])> = Vec::new();
    let mut relative = false;
    for located in before {
        let text = bytes.get(located.byte as usize..located.end as usize).unwrap_or_default();
        let Command::Plain(name, numbers) = &located.command else { continue };
        match &name.0 {
            b"PA" => relative = false,
            b"PR" => relative = true,
            b"IN" | b"DF" => {
                relative = false;
                kept.push((text, name.0));
            }
            b"SC" | b"RO" | b"IR" if !numbers.is_empty() => {
                return Err(plain("scaled or turned coordinates (SC, RO, IR)"));
            }
            b"PU" | b"PD" | b"AA" | b"AR" | b"AT" | b"RT" | b"CI" | b"BZ" | b"BR" | b"EA"
            | b"ER" | b"EW" | b"PM" | b"EP" => {}
            _ => {
                // Only the last setting of a kind counts since the last IN or DF.
                let since = kept.iter().rposition(|(_, n)| n == b"IN" || n == b"DF");
                let from = since.map_or(0, |i| i + 1);
                if matches!(&name.0, b"VS" | b"FS" | b"SP" | b"AS")
                    && let Some(old) = kept.iter().skip(from).position(|(_, n)| *n == name.0)
                {
                    kept.remove(from + old);
                }
                kept.push((text, name.0));
            }
        }
    }
    let mut out = Vec::new();
    for (text, _) in kept {
        out.extend_from_slice(text);
        if text.last() != Some(&b';') {
            out.push(b';');
        }
    }
    Ok((out, relative))
}

/// The job in `bytes` with the tool lifted throughout.
///
/// # Errors
/// [`ResumeError::NotPlain`] when an instruction lowers the tool by itself.
pub fn lifted(bytes: &[u8], commands: &[Located]) -> Result<Vec<u8>, ResumeError> {
    let mut out = bytes.to_vec();
    for located in commands {
        match &located.command {
            Command::Encoded(_) => return Err(plain("encoded lines (PE)")),
            Command::Plain(name, _) if name.0 == *b"PD" => {
                // Blanks may stand between the two letters.
                let from = located.byte as usize;
                let letters = out.iter_mut().skip(from).filter(|c| c.is_ascii_alphabetic());
                for (letter, up) in letters.take(2).zip(*b"PU") {
                    *letter = up;
                }
            }
            Command::Plain(name, _) | Command::Text(name, _)
                if [b"CI", b"EA", b"ER", b"EW", b"EP", b"FP", b"RA", b"RR", b"WG", b"LB"]
                    .contains(&&name.0) =>
            {
                return Err(plain(&format!("{name}, which lowers the tool by itself")));
            }
            _ => {}
        }
    }
    Ok(out)
}

/// Where the tool is: plotter units, and whether it is down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Across.
    pub x: i64,
    /// Up.
    pub y: i64,
    /// The tool is down.
    pub down: bool,
}

/// Which bytes and places belong to which cut.
#[derive(Debug, Clone)]
pub struct Marks {
    /// For each cut where its last instruction ends.
    ends: Vec<u64>,
    /// For each cut where the next one lowers the tool: by then the tool has left it.
    left: Vec<u64>,
}

impl Marks {
    /// Those of a job.
    pub fn new(commands: &[Located], simulation: &Simulation) -> Self {
        let end = |byte: u64| {
            let i = commands.partition_point(|located| located.byte <= byte);
            i.checked_sub(1).and_then(|i| commands.get(i)).map_or(byte, |located| located.end)
        };
        let cuts = &simulation.cuts;
        let next = cuts.iter().skip(1).map(|cut| cut.byte);
        Self {
            ends: cuts.iter().map(|cut| end(cut.end_byte)).collect(),
            left: next.chain([u64::MAX]).take(cuts.len()).collect(),
        }
    }

    /// For each cut the byte after its last instruction.
    pub(super) fn ends(&self) -> &[u64] {
        &self.ends
    }

    /// How many cuts a machine has finished that has taken so many bytes out of its buffer.
    pub fn finished(&self, obeyed: u64) -> usize {
        self.left.partition_point(|&byte| byte <= obeyed)
    }

    /// How many cuts are whole in so many bytes.
    pub fn whole(&self, sent: u64) -> usize {
        self.ends.partition_point(|&byte| byte <= sent)
    }
}

/// How many cuts are finished when a machine that has done all it got stands at `place`, if at
/// least `from` and at most `to` are; `None` when the place does not tell.
pub fn finished_at(
    place: Place,
    simulation: &Simulation,
    (from, to): (usize, usize),
    unit_mm: f64,
) -> Option<usize> {
    let here = |p: &crate::geometry::Point| {
        let units = |mm: f64| (mm / unit_mm).round() as i64;
        (units(p.x), units(p.y)) == (place.x, place.y)
    };
    let cuts = &simulation.cuts;
    // On the way to the cut after `n` finished ones; in it; at the end of the last finished one.
    let on_the_way = |n: usize| match cuts.get(n) {
        Some(cut) => cut.travel.iter().skip(1).any(here),
        None => simulation.last_travel.iter().skip(1).any(here),
    };
    let within = |n: usize| {
        cuts.get(n).is_some_and(|cut| {
            let inner = cut.axis.len().saturating_sub(1);
            cut.axis.iter().take(inner).skip(1).any(here)
        })
    };
    let last = |n: usize| n.checked_sub(1).and_then(|i| cuts.get(i));
    let at_its_end = |n: usize| last(n).and_then(|cut| cut.axis.last()).is_some_and(here);
    // A closed contour ends where it begins: lifted there, it may be finished or not begun, unless
    // the tool is lifted and taken away in one.
    let lifted_at_end = |n: usize| at_its_end(n) && last(n).is_some_and(|cut| cut.lifts_in_place);
    let up = |n: usize| on_the_way(n) || lifted_at_end(n);
    let only = |test: &dyn Fn(usize) -> bool| {
        let mut all = (from..=to.min(cuts.len())).filter(|&n| test(n));
        (all.next(), all.next())
    };
    let tests: [&dyn Fn(usize) -> bool; 3] =
        if place.down { [&at_its_end, &within, &on_the_way] } else { [&up, &within, &at_its_end] };
    for test in tests {
        match only(test) {
            (Some(n), None) => return Some(n),
            (Some(_), Some(_)) => return None,
            _ => {}
        }
    }
    None
}
