//! HPGL bytes as they come → what they do, piece by piece: the reader, the interpreter and the
//! simulation one behind the other, none of them holding more than the instruction in hand.
//!
//! In: bytes, stretch by stretch. Out: each instruction, and behind it each [`Piece`] of a cut that is
//! complete by it. Memory does not grow with the job, however long its lists and its cuts are.
//! [`crate::pipeline::read_back`] does the same for bytes that are all there, and keeps everything.

use crate::finding::Finding;
use crate::hpgl::{Interpreter, Located, Reader, TraceSettings};
use crate::profile::Machine;
use crate::simulate::{Piece, SimulateSettings, Simulator, Totals};

/// Points of a piece: a usual cut is one piece.
const MOST_POINTS: usize = 4096;

/// What is given out.
#[derive(Debug)]
pub enum Seen<'a> {
    /// The next instruction.
    Instruction(&'a Located),
    /// The next piece of what the job does.
    Piece(Piece),
}

/// What is known at the end.
#[derive(Debug)]
pub struct End {
    /// Sums over the job.
    pub totals: Totals,
    /// The bytes end with the tool down.
    pub left_down: bool,
    /// What could not be read or obeyed.
    pub findings: Vec<Finding>,
}

/// What an interpreter has to know of `machine`: `RO` and `IR` are about its area; nothing is clipped,
/// so that it can be told.
pub fn trace_settings(machine: &Machine) -> TraceSettings {
    TraceSettings { area: machine.limits_units(), ..TraceSettings::default() }
}

/// Which machine obeys, and with which blade.
#[derive(Debug, Clone, Copy)]
pub struct Setup<'a> {
    /// The machine.
    pub machine: &'a Machine,
    /// How it is simulated.
    pub simulate: SimulateSettings,
}

impl<'a> Setup<'a> {
    /// `machine` with a blade of `offset_mm`.
    pub fn of(machine: &'a Machine, offset_mm: f64) -> Self {
        Self { machine, simulate: SimulateSettings::of(machine, offset_mm) }
    }
}

/// A job on its way through the reader, the interpreter and the simulation.
pub struct Follower {
    reader: Reader,
    interpreter: Interpreter,
    simulator: Simulator,
    bytes: u64,
}

impl Follower {
    /// At the beginning of a job.
    pub fn new(setup: Setup) -> Self {
        Self {
            reader: Reader::default(),
            interpreter: Interpreter::new(trace_settings(setup.machine)),
            simulator: Simulator::new(&setup.simulate, MOST_POINTS),
            bytes: 0,
        }
    }

    /// Goes on with `bytes`.
    pub fn take(&mut self, bytes: &[u8], see: &mut dyn FnMut(Seen)) {
        self.bytes += bytes.len() as u64;
        for located in self.reader.take(bytes) {
            obey(&located, (&mut self.interpreter, &mut self.simulator), see);
        }
    }

    /// Where the last move ends of a cut whose end was not given out yet; `None` where there is none.
    pub fn unsettled(&self) -> Option<u64> {
        self.simulator.unsettled()
    }

    /// No more bytes come.
    pub fn end(mut self, see: &mut dyn FnMut(Seen)) -> End {
        let (last, mut findings) = self.reader.end();
        for located in &last {
            obey(located, (&mut self.interpreter, &mut self.simulator), see);
        }
        findings.extend(self.interpreter.end());
        let (totals, left_down) =
            self.simulator.end(self.bytes, &mut |piece| see(Seen::Piece(piece)));
        End { totals, left_down, findings }
    }
}

fn obey(
    located: &Located,
    (interpreter, simulator): (&mut Interpreter, &mut Simulator),
    see: &mut dyn FnMut(Seen),
) {
    see(Seen::Instruction(located));
    for step in interpreter.obey(located) {
        simulator.step(&step, &mut |piece| see(Seen::Piece(piece)));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pipeline;
    use crate::profile::Library;
    use crate::simulate::{Part, SimulatedCut};

    /// Puts the pieces of a cut together again.
    fn joined(cuts: &mut Vec<SimulatedCut>, way: &mut Vec<crate::geometry::Point>, piece: Piece) {
        let skip = |points: &[crate::geometry::Point]| points.get(1..).unwrap_or_default().to_vec();
        match piece.part {
            Part::Way if way.is_empty() => *way = piece.cut.travel,
            Part::Way => way.extend(skip(&piece.cut.travel)),
            Part::Cut { begins: true, .. } => {
                let mut cut = piece.cut;
                if !way.is_empty() {
                    way.extend(skip(&cut.travel));
                    cut.travel = std::mem::take(way);
                }
                cuts.push(cut);
            }
            Part::Cut { .. } => {
                let whole = cuts.last_mut().unwrap();
                let (axis, tip) = (whole.axis.clone(), whole.tip.clone());
                let rest = piece.cut;
                whole.axis = [axis, skip(&rest.axis)].concat();
                whole.tip = [tip, skip(&rest.tip)].concat();
                (whole.end_byte, whole.end, whole.end_s) = (rest.end_byte, rest.end, rest.end_s);
                (whole.heading, whole.lifts_in_place) = (rest.heading, rest.lifts_in_place);
            }
        }
    }

    /// Long cuts, long ways, tools, a tool left down: the same as from the whole job.
    #[test]
    fn a_job_in_stretches_does_what_it_does_as_a_whole() {
        let machine = Library::with_folder("/nowhere".into()).machine("roll-15").unwrap();
        let mut text = String::from("IN;SP1;VS20;PU10,10;PD20,20;PU;PU30,0;PD30,40;");
        for i in 0..30_000 {
            let (x, y) = (1000 + (i * 37) % 9000, 1000 + (i * 91) % 7000);
            match i % 12_000 {
                0 => text += &format!("PU;PU{x},{y}"),
                5000 => text += &format!(";SP2;PD{x},{y}"),
                _ => text += &format!(",{x},{y}"),
            }
        }
        text += ";PU;PD5,5;";
        let whole = pipeline::read_back(text.as_bytes(), &machine, 0.25);
        let (mut cuts, mut way, mut count) = (Vec::new(), Vec::new(), 0);
        let mut follower = Follower::new(Setup::of(&machine, 0.25));
        let mut see = |seen: Seen| match seen {
            Seen::Instruction(_) => count += 1,
            Seen::Piece(piece) => {
                assert!(
                    piece.cut.axis.len() <= MOST_POINTS + 1
                        && piece.cut.travel.len() <= MOST_POINTS
                );
                joined(&mut cuts, &mut way, piece);
            }
        };
        for stretch in text.as_bytes().chunks(777) {
            follower.take(stretch, &mut see);
        }
        let end = follower.end(&mut see);
        assert_eq!((end.totals, end.left_down), (whole.simulation.totals, true));
        assert_eq!((count, way), (whole.commands.len(), whole.simulation.last_travel));
        assert_eq!(cuts.len(), whole.simulation.cuts.len());
        for (cut, other) in cuts.iter().zip(&whole.simulation.cuts) {
            assert_eq!(format!("{cut:?}"), format!("{other:?}"));
        }
    }
}
