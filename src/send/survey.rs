//! [`Survey`]: what a job does, in a few figures, found by reading it once from end to end.
//!
//! In: the job's bytes and the machine. Out: sums, boxes, a digest, the course of time and distance,
//! and what is wrong with it. Memory does not grow with the job: the course keeps a bounded number of
//! places, and cuts are compared with each other only where the job is short enough to hold them all.

use std::io::Result;

use sha2::{Digest, Sha256};

use super::course::Course;
use super::spool::Spool;
use crate::check::{self, Watch};
use crate::finding::Finding;
use crate::follow::{End, Follower, Seen, Setup};
use crate::geometry::Bounds;
use crate::led;
use crate::profile::Machine;
use crate::simulate::{Part, Piece, SimulatedCut, Simulation, Totals};

/// Points of a job whose cuts are compared with each other, of the axis and of the tip; some 2 MB of
/// bytes.
const MOST_COMPARED: usize = 400_000;

/// What a job does.
#[derive(Debug, Clone)]
pub struct Survey {
    /// SHA-256 of its bytes, hexadecimal.
    pub digest: String,
    /// How many cuts it has.
    pub cuts: usize,
    /// Sums.
    pub totals: Totals,
    /// The box around all that is cut, mm.
    pub work: Bounds,
    /// The box around all that the axis passes, tool up or down, mm.
    pub everywhere: Bounds,
    /// How far it is by which byte.
    pub course: Course,
    /// What is wrong with it; what plans of drawings are told anyway is left out unless asked for.
    pub findings: Vec<Finding>,
}

impl Survey {
    /// Of `job`.
    ///
    /// # Errors
    /// What the system says when the job can't be read.
    pub fn of(job: &Spool, setup: Setup) -> Result<Self> {
        let mut surveyor = Surveyor::new(setup.machine, setup.simulate.blade_offset_mm);
        let mut digest = Sha256::new();
        // On one core: the heaps of several would keep megabytes.
        let mut follower = Follower::new(setup);
        job.each_block(&mut |block| {
            digest.update(block);
            follower.take(block, &mut |seen| surveyor.see(seen));
            true
        })?;
        let end = follower.end(&mut |seen| surveyor.see(seen));
        let digest = digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
        Ok(surveyor.end(end, digest))
    }
}

struct Surveyor<'a> {
    machine: &'a Machine,
    /// The offset that is set, mm.
    set_mm: f64,
    watch: Watch<'a>,
    together: Together,
    cuts: usize,
    work: Bounds,
    everywhere: Bounds,
    course: Course,
}

impl<'a> Surveyor<'a> {
    fn new(machine: &'a Machine, set_mm: f64) -> Self {
        Self {
            machine,
            set_mm,
            watch: Watch::new(machine),
            together: Together::Held(Simulation::default(), 0),
            cuts: 0,
            work: Bounds::EMPTY,
            everywhere: Bounds::EMPTY,
            course: Course::default(),
        }
    }

    fn see(&mut self, seen: Seen) {
        match seen {
            Seen::Instruction(located) => self.watch.hear(located),
            Seen::Piece(piece) => self.piece(piece),
        }
    }

    fn piece(&mut self, piece: Piece) {
        let cut = &piece.cut;
        self.watch.see(cut, piece.part);
        self.work = self.work.union(Bounds::of(&cut.axis));
        let ways = [&cut.travel, &cut.axis].map(|way| Bounds::of(way));
        self.everywhere = ways.into_iter().fold(self.everywhere, Bounds::union);
        self.course.see(&piece);
        if let Part::Cut { ends: true, .. } = piece.part {
            self.cuts += 1;
        }
        self.together.see(piece);
    }

    fn end(self, end: End, digest: String) -> Survey {
        let mut findings = end.findings;
        let between = self.together.findings(self.machine, self.set_mm);
        findings.extend(self.watch.end((&end.totals, end.left_down), between));
        Survey {
            digest,
            cuts: self.cuts,
            totals: end.totals,
            work: self.work,
            everywhere: self.everywhere,
            course: self.course.end(&end.totals),
            findings,
        }
    }
}

/// Cuts that are compared with each other, as long as there are few.
enum Together {
    /// All of them, and how many points they have.
    Held(Simulation, usize),
    /// There are too many.
    TooMany,
}

impl Together {
    fn see(&mut self, piece: Piece) {
        let Self::Held(simulation, points) = self else { return };
        *points += piece.cut.axis.len() + piece.cut.tip().len();
        match piece.part {
            _ if *points > MOST_COMPARED => *self = Self::TooMany,
            Part::Way => {}
            Part::Cut { begins: true, .. } => simulation.cuts.push(piece.cut),
            Part::Cut { .. } => {
                if let Some(whole) = simulation.cuts.last_mut() {
                    go_on(whole, piece.cut);
                }
            }
        }
    }

    fn findings(self, machine: &Machine, set_mm: f64) -> Vec<Finding> {
        match self {
            Self::Held(simulation, _) => {
                let mut findings = check::between(&simulation, machine);
                findings.extend(led::unfit(&simulation, machine.unit_mm, set_mm));
                findings
            }
            Self::TooMany => {
                let text = "The job is so long that its cuts were not compared with each other for \
                            doubled lines, crossings and pieces cut out before what lies in them.";
                let hint = "`bladewright check` compares them.";
                vec![Finding::note("not-compared", text).hint(hint)]
            }
        }
    }
}

/// The next part of a cut; it begins where the part before ended.
fn go_on(whole: &mut SimulatedCut, part: SimulatedCut) {
    whole.axis.extend(part.axis.into_iter().skip(1));
    if let (Some(tip), Some(rest)) = (&mut whole.trailing, part.trailing) {
        tip.extend(rest.into_iter().skip(1));
    }
    (whole.heading, whole.end_byte, whole.end) = (part.heading, part.end_byte, part.end);
}
