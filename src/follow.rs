//! HPGL bytes as they come → what they do, piece by piece: the reader, the interpreter and the
//! simulation one behind the other, none of them holding more than the instruction in hand.
//!
//! In: bytes, stretch by stretch. Out: each instruction, and behind it each [`Piece`] of a cut that is
//! complete by it. Memory does not grow with the job, however long its lists and its cuts are.
//! [`crate::pipeline::read_back`] follows bytes that are all there, and keeps the cuts.

use std::sync::Mutex;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::Builder;

use crate::finding::Finding;
use crate::hpgl::{Interpreter, Located, Reader, Step, TraceSettings};
use crate::parallel;
use crate::profile::Machine;
use crate::simulate::{Piece, SimulateSettings, Simulator, Totals, Untracked};

/// Points of a piece where the job is not kept: a usual cut is one piece.
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
    /// A cut or a way with more points is given out in pieces.
    pub most_points: usize,
}

impl<'a> Setup<'a> {
    /// `machine` with a blade of `offset_mm`.
    pub fn of(machine: &'a Machine, offset_mm: f64) -> Self {
        Self::new(machine, SimulateSettings::of(machine, offset_mm))
    }

    /// `machine`, simulated as told.
    pub fn new(machine: &'a Machine, simulate: SimulateSettings) -> Self {
        Self { machine, simulate, most_points: MOST_POINTS }
    }

    /// The same, with every cut in one piece.
    #[must_use]
    pub fn in_whole_cuts(self) -> Self {
        Self { most_points: usize::MAX, ..self }
    }
}

/// Instructions, and what the machine does by them.
#[derive(Default)]
struct Obeyed {
    /// Each with the number of steps up to its end.
    instructions: Vec<(Located, usize)>,
    /// Of all together: a list for each would be made and given back by the million.
    steps: Vec<Step>,
}

impl Obeyed {
    /// Lets `each` have one instruction after the other with its steps.
    fn each(self, mut each: impl FnMut(Located, &[Step])) {
        let mut begin = 0;
        for (instruction, end) in self.instructions {
            each(instruction, &self.steps[begin..end]);
            begin = end;
        }
    }
}

/// The reader and the interpreter.
struct Front {
    reader: Reader,
    interpreter: Interpreter,
    bytes: u64,
}

impl Front {
    fn new(machine: &Machine) -> Self {
        let interpreter = Interpreter::new(trace_settings(machine));
        Self { reader: Reader::default(), interpreter, bytes: 0 }
    }

    fn take(&mut self, bytes: &[u8]) -> Obeyed {
        self.bytes += bytes.len() as u64;
        let instructions = self.reader.take(bytes);
        self.obey(instructions)
    }

    fn obey(&mut self, instructions: Vec<Located>) -> Obeyed {
        let mut obeyed = Obeyed::default();
        obeyed.instructions.reserve_exact(instructions.len());
        for instruction in instructions {
            self.interpreter.obey(&instruction, &mut obeyed.steps);
            obeyed.instructions.push((instruction, obeyed.steps.len()));
        }
        obeyed
    }

    /// The last instructions, what could not be read or obeyed, and how many bytes there were.
    fn end(mut self) -> (Obeyed, Vec<Finding>, u64) {
        let (last, mut findings) = std::mem::take(&mut self.reader).end();
        let last = self.obey(last);
        findings.extend(self.interpreter.end());
        (last, findings, self.bytes)
    }
}

/// Simulates what was obeyed and gives it out, step by step.
fn at_once(simulator: &mut Simulator, all: Obeyed, see: &mut dyn FnMut(Seen)) {
    all.each(|instruction, steps| {
        see(Seen::Instruction(&instruction));
        for step in steps {
            simulator.step(step, &mut |piece| see(Seen::Piece(piece.tracked())));
        }
    });
}

/// What an instruction does.
struct Done {
    instruction: Located,
    pieces: Vec<Untracked>,
}

/// Simulates what was obeyed, but for the tip's ways.
fn simulate(simulator: &mut Simulator, all: Obeyed) -> Vec<Done> {
    let mut done = Vec::with_capacity(all.instructions.len());
    all.each(|instruction, steps| {
        let mut pieces = Vec::new();
        steps.iter().for_each(|step| simulator.step(step, &mut |piece| pieces.push(piece)));
        done.push(Done { instruction, pieces });
    });
    done
}

/// An instruction, and what is complete by it.
type Told = (Located, Vec<Piece>);

/// Finds the tip's ways.
fn track(all: Vec<Done>) -> Vec<Told> {
    let tracked = |done: Done| {
        let pieces = done.pieces.into_iter().map(Untracked::tracked).collect();
        (done.instruction, pieces)
    };
    all.into_iter().map(tracked).collect()
}

/// Gives it out.
fn tell(all: Vec<Told>, see: &mut dyn FnMut(Seen)) {
    for (instruction, pieces) in all {
        see(Seen::Instruction(&instruction));
        pieces.into_iter().for_each(|piece| see(Seen::Piece(piece)));
    }
}

fn end(
    simulator: Simulator,
    (last, findings, bytes): (Obeyed, Vec<Finding>, u64),
    see: &mut dyn FnMut(Seen),
) -> End {
    let mut simulator = simulator;
    at_once(&mut simulator, last, see);
    let (totals, left_down) = simulator.end(bytes, &mut |piece| see(Seen::Piece(piece.tracked())));
    End { totals, left_down, findings }
}

/// A job on its way through the reader, the interpreter and the simulation.
pub struct Follower {
    front: Front,
    simulator: Simulator,
}

impl Follower {
    /// At the beginning of a job.
    pub fn new(setup: Setup) -> Self {
        Self {
            front: Front::new(setup.machine),
            simulator: Simulator::new(&setup.simulate, setup.most_points),
        }
    }

    /// Goes on with `bytes`.
    pub fn take(&mut self, bytes: &[u8], see: &mut dyn FnMut(Seen)) {
        let obeyed = self.front.take(bytes);
        at_once(&mut self.simulator, obeyed, see);
    }

    /// Where the last move ends of a cut whose end was not given out yet; `None` where there is none.
    pub fn unsettled(&self) -> Option<u64> {
        self.simulator.unsettled()
    }

    /// No more bytes come.
    pub fn end(self, see: &mut dyn FnMut(Seen)) -> End {
        end(self.simulator, self.front.end(), see)
    }
}

/// Stretches that the reader may be ahead of the simulation.
const AHEAD: usize = 1;

/// Follows a whole job, which `read` gives stretch by stretch: read and obeyed on one core, simulated on
/// another, the tip's ways found on all that are left. The same as by a [`Follower`], sooner; by one where
/// the system lets no more threads begin.
///
/// # Errors
/// Those of `read`.
pub fn follow<E, R>(setup: Setup, read: R, see: &mut dyn FnMut(Seen)) -> Result<End, E>
where
    E: Send,
    R: FnOnce(&mut dyn FnMut(&[u8]) -> bool) -> Result<(), E> + Send,
{
    // The reader's thread takes it, or this one if that one can't begin.
    let read = Mutex::new(Some(read));
    let take = || read.lock().ok().and_then(|mut read| read.take());
    if let Some(end) = side_by_side(setup, &take, see) {
        return end;
    }
    let mut follower = Follower::new(setup);
    if let Some(read) = take() {
        read(&mut |bytes| {
            follower.take(bytes, see);
            true
        })?;
    }
    Ok(follower.end(see))
}

/// [`follow`] on threads of its own; `None`, with nothing taken or seen, where they can't begin.
fn side_by_side<E, R>(
    setup: Setup,
    take: &(impl Fn() -> Option<R> + Sync),
    see: &mut dyn FnMut(Seen),
) -> Option<Result<End, E>>
where
    E: Send,
    R: FnOnce(&mut dyn FnMut(&[u8]) -> bool) -> Result<(), E> + Send,
{
    let trackers = parallel::cores();
    let (give_work, work) = sync_channel::<(Vec<Done>, SyncSender<Vec<Told>>)>(trackers);
    let work = Mutex::new(work);
    std::thread::scope(|scope| {
        let track = || {
            let next = || work.lock().ok()?.recv().ok();
            while let Some((done, told_by)) = next() {
                // Nobody listens any more only where the whole is given up.
                let _ = told_by.send(track(done));
            }
        };
        let tracking = (0..trackers).map_while(|_| Builder::new().spawn_scoped(scope, track).ok());
        if tracking.count() == 0 {
            return None;
        }
        // Stretches are told in their order, each when a tracker is done with it; this bounds how many
        // there are.
        let (give_told, told) = sync_channel(trackers);
        let (give, obeyed) = sync_channel(AHEAD);
        let simulating = Builder::new().spawn_scoped(scope, move || {
            let mut simulator = Simulator::new(&setup.simulate, setup.most_points);
            for obeyed in obeyed {
                let (told_by, told) = sync_channel(1);
                let done = simulate(&mut simulator, obeyed);
                if give_told.send(told).is_err() || give_work.send((done, told_by)).is_err() {
                    break;
                }
            }
            simulator
        });
        let simulating = simulating.ok()?;
        let reader = Builder::new().spawn_scoped(scope, move || {
            let mut front = Front::new(setup.machine);
            if let Some(read) = take() {
                read(&mut |bytes| give.send(front.take(bytes)).is_ok())?;
            }
            Ok(front.end())
        });
        let reader = reader.ok()?;
        told.iter().flatten().for_each(|told| tell(told, see));
        let simulator = joined(simulating.join());
        Some(joined(reader.join()).map(|rest| end(simulator, rest, see)))
    })
}

/// What a thread returned; its panic goes on here.
fn joined<T>(result: std::thread::Result<T>) -> T {
    result.unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pipeline;
    use crate::profile::Library;
    use crate::simulate::{Part, SimulatedCut};

    #[test]
    fn on_two_cores_it_is_the_same_and_trouble_is_told() {
        let machine = Library::with_folder("/nowhere".into()).machine("roll-15").unwrap();
        let each = |i: i64| format!("PU{i},9;PD{},{},77,{i};", i * 31 % 5000, i * 17 % 3000);
        let job: String = (0..3000).map(each).collect();
        let setup = Setup::of(&machine, 0.25);
        let text = |seen: Seen| format!("{seen:?}");
        let (mut one, mut two) = (Vec::new(), Vec::new());
        let mut follower = Follower::new(setup);
        job.as_bytes()
            .chunks(999)
            .for_each(|part| follower.take(part, &mut |seen| one.push(text(seen))));
        let end = follower.end(&mut |seen| one.push(text(seen)));
        let read = |take: &mut dyn FnMut(&[u8]) -> bool| -> Result<(), &str> {
            assert!(job.as_bytes().chunks(777).all(take));
            Ok(())
        };
        let other = follow(setup, read, &mut |seen| two.push(text(seen))).unwrap();
        assert!(one == two);
        assert_eq!(format!("{end:?}"), format!("{other:?}"));
        let breaks = |take: &mut dyn FnMut(&[u8]) -> bool| {
            take(b"PD1,1;");
            Err("the disk is gone")
        };
        assert_eq!(follow(setup, breaks, &mut |_| ()).unwrap_err(), "the disk is gone");
    }

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
                let axis = whole.axis.clone();
                let rest = piece.cut;
                whole.axis = [axis, skip(&rest.axis)].concat();
                if let (Some(tip), Some(rest)) = (&mut whole.trailing, &rest.trailing) {
                    tip.extend(skip(rest));
                }
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
        let instructions = crate::hpgl::read(text.as_bytes()).0.len();
        assert_eq!((count, way), (instructions, whole.simulation.last_travel));
        assert_eq!(cuts.len(), whole.simulation.cuts.len());
        for (cut, other) in cuts.iter().zip(&whole.simulation.cuts) {
            assert_eq!(format!("{cut:?}"), format!("{other:?}"));
        }
    }
}
