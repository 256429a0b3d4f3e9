//! A job cut several times along the film: [`Copies`] says how far each copy is moved and before
//! which the film is fed on by hand; [`moved`] moves a job.
//!
//! In: what the job does, the machine, the gap. Out: shifts in plotter units along the feed, as many
//! as the hard-clip limits and a 16-bit machine's numbers allow; then the film is fed on by hand and
//! the shifts begin anew. Only absolute positions are changed; every other byte stays. A job that scales or
//! turns its coordinates, or begins with steps from wherever the tool is, can't be moved: its copies
//! are all fed by hand. The method is our own.

use std::io::{Read, Write};

use super::resume::{ResumeError, plain};
use super::spool::Spool;
use super::survey::Survey;
use crate::hpgl::{Command, Encoded, Located};
use crate::profile::{FeedAxis, Machine};

/// How far a copy is moved, plotter units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Shift {
    /// Across.
    pub x: i64,
    /// Up.
    pub y: i64,
}

/// Copies of a job, one behind the other along the feed.
#[derive(Debug, Clone, PartialEq)]
pub struct Copies {
    count: u32,
    /// From copy to copy, plotter units.
    step: Shift,
    /// How many are cut before the film has to be fed on by hand.
    at_once: u32,
}

impl Copies {
    /// `count` copies of the job that `survey` tells of, `gap_mm` apart.
    pub fn new(count: u32, survey: &Survey, machine: &Machine, gap_mm: f64) -> Self {
        let by_hand = Self { count, step: Shift::default(), at_once: 1 };
        let Some(axis) = machine.feed_axis else { return by_hand };
        let work = survey.work;
        let length_mm = axis.of(work.max) - axis.of(work.min) + gap_mm.max(0.0);
        let step = (length_mm / machine.unit_mm).ceil();
        if !step.is_finite() || step < 1.0 {
            return by_hand;
        }
        let furthest = axis.of(survey.everywhere.max) / machine.unit_mm;
        let fit = 1.0 + ((reach(machine, axis) - furthest) / step).floor().max(0.0);
        let at_once = fit.min(f64::from(count)).max(1.0) as u32;
        let step = step as i64;
        let step = match axis {
            FeedAxis::X => Shift { x: step, y: 0 },
            FeedAxis::Y => Shift { x: 0, y: step },
        };
        Self { step, at_once, ..by_hand }
    }

    /// The same where the job can't be moved.
    #[must_use]
    pub fn by_hand(self) -> Self {
        Self { step: Shift::default(), at_once: 1, ..self }
    }

    /// How many there are.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// How many are cut before the film has to be fed on by hand.
    pub fn at_once(&self) -> u32 {
        self.at_once
    }

    /// How far copy `number` (1 is the first) is moved.
    pub fn shift(&self, number: u32) -> Shift {
        let place = i64::from(number.saturating_sub(1) % self.at_once);
        Shift { x: place * self.step.x, y: place * self.step.y }
    }

    /// Whether the film is fed on by hand before copy `number`.
    pub fn is_fed_by_hand(&self, number: u32) -> bool {
        number > 1 && number.saturating_sub(1).is_multiple_of(self.at_once)
    }
}

/// The furthest position along the feed, plotter units.
fn reach(machine: &Machine, axis: FeedAxis) -> f64 {
    let clip = machine.hard_clip.map_or(f64::INFINITY, |clip| {
        f64::from(if axis == FeedAxis::X { clip.x_max } else { clip.y_max })
    });
    clip.min(machine.furthest_units())
}

/// The job moved by `shift`.
///
/// # Errors
/// [`ResumeError::NotPlain`] when its coordinates are not all positions or steps from one.
pub fn moved(job: &Spool, shift: Shift) -> Result<Spool, ResumeError> {
    let mut mover = Mover { shift, relative: false, placed: false };
    let mut trouble = None;
    let spool = Spool::written(&mut |out| {
        let mut kept = 0;
        job.each_command(&mut |located| {
            match mover.next(job, (&mut kept, located), out) {
                Err(error) => trouble = Some(error),
                Ok(()) => return true,
            }
            false
        })?;
        std::io::copy(&mut job.from(kept), out).map(drop)
    })?;
    trouble.map_or(Ok(spool), Err)
}

struct Mover {
    shift: Shift,
    /// Coordinates are steps.
    relative: bool,
    /// A position was given since the machine was set to its defaults.
    placed: bool,
}

impl Mover {
    /// Writes the instruction as it has to be, and before it what was left from `kept` on.
    fn next(
        &mut self,
        job: &Spool,
        (kept, located): (&mut u64, &Located),
        out: &mut dyn Write,
    ) -> Result<(), ResumeError> {
        let text = |most: u64| job.piece(located.byte, located.end.min(located.byte + most));
        // What may be changed is never longer: lists are read in pieces.
        let Some(instruction) = self.instruction(&located.command, &text(1 << 17)?)? else {
            return Ok(());
        };
        std::io::copy(&mut job.from(*kept).take(located.byte.saturating_sub(*kept)), out)?;
        out.write_all(&instruction)?;
        *kept = located.end;
        Ok(())
    }

    /// The instruction as it has to be; `None` when it stays as it is.
    fn instruction(&mut self, of: &Command, text: &[u8]) -> Result<Option<Vec<u8>>, ResumeError> {
        let (name, numbers) = match of {
            Command::Plain(name, numbers) => (&name.0, numbers),
            Command::Encoded(elements) => return self.encoded(elements).map(|()| None),
            _ => return Ok(None),
        };
        match name {
            b"IN" => (self.relative, self.placed) = (false, false),
            b"DF" => self.relative = false,
            b"PA" => self.relative = false,
            b"PR" => self.relative = true,
            b"SC" | b"RO" | b"IR" | b"IP" | b"IW" if !numbers.is_empty() => {
                return Err(plain("scaled, turned or clipped coordinates (SC, RO, IP, IR, IW)"));
            }
            _ => {}
        }
        let positions = match name {
            b"PA" | b"PU" | b"PD" if !self.relative => numbers.len(),
            b"AA" | b"EA" | b"RA" => 2,
            b"AT" => 4,
            b"BZ" => numbers.len(),
            _ => 0,
        };
        let steps = [b"PR", b"PU", b"PD", b"AR", b"CI", b"RT", b"BR", b"ER", b"EW", b"WG", b"RR"];
        if positions == 0 || numbers.is_empty() {
            let moves = steps.contains(&name) && !numbers.is_empty() || *name == *b"PD";
            return if moves && !self.placed { Err(not_placed()) } else { Ok(None) };
        }
        // An arc and its like begin where the tool is.
        if !self.placed && !matches!(name, b"PA" | b"PU" | b"PD") {
            return Err(not_placed());
        }
        self.placed = true;
        if text.contains(&27) {
            return Err(plain("device control within an instruction"));
        }
        Ok(Some(written(*name, numbers, positions, self.shift)))
    }

    fn encoded(&self, elements: &[Encoded]) -> Result<(), ResumeError> {
        let position = |e: &Encoded| matches!(e, Encoded::Pair { absolute: true, .. });
        if elements.iter().any(position) {
            return Err(plain("positions in encoded lines (PE)"));
        }
        if self.placed { Ok(()) } else { Err(not_placed()) }
    }
}

fn not_placed() -> ResumeError {
    plain("steps before its first position")
}

/// The instruction with the first `positions` of its numbers moved.
fn written(name: [u8; 2], numbers: &[f64], positions: usize, shift: Shift) -> Vec<u8> {
    let moved = numbers.iter().enumerate().map(|(i, &number)| {
        let by = if i.is_multiple_of(2) { shift.x } else { shift.y };
        // At most four decimals are known to the language; f64 holds more of them than that.
        let number = if i < positions { number + by as f64 } else { number };
        (number * 1e4).round() / 1e4
    });
    let list: Vec<String> = moved.map(|number| number.to_string()).collect();
    [&name[..], list.join(",").as_bytes(), b";"].concat()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::follow::Setup;
    use crate::geometry::Point;
    use crate::hpgl::{StepKind, TraceSettings, read, trace};
    use crate::profile::Library;

    fn shifted(job: &str, x: i64, y: i64) -> Result<String, ResumeError> {
        let moved = moved(&Spool::of(&mut job.as_bytes()).unwrap(), Shift { x, y })?;
        Ok(String::from_utf8(moved.piece(0, moved.len()).unwrap()).unwrap())
    }

    #[test]
    fn positions_are_moved_and_steps_are_not() {
        for (job, wanted) in [
            ("IN;SP1;PU10,20;PD30,40,50,60;PU;SP0;", "IN;SP1;PU110,20;PD130,40,150,60;PU;SP0;"),
            ("IN;PU1,2;PD;PR3,4;PA;PU5,6;", "IN;PU101,2;PD;PR3,4;PA;PU105,6;"),
            ("PA1.5-2PDPR3,4;VS10", "PA101.5,-2;PDPR3,4;VS10"),
            ("PU0,0;AA5,6,90,5;CI30;", "PU100,0;AA105,6,90,5;CI30;"),
            ("PU0,0;LBPU1,2\u{3}PD7,8;", "PU100,0;LBPU1,2\u{3}PD107,8;"),
        ] {
            assert_eq!(shifted(job, 100, 0).unwrap(), wanted);
        }
        for job in ["SC0,1,0,1;PU1,1;", "PR;PD1,1;", "PD;PU1,1;", "IN;PU1,1;IN;CI5;", "RO90;PU1,1;"]
        {
            assert!(shifted(job, 1, 1).is_err(), "{job}");
        }
    }

    /// Whatever the worked examples do, moved they do it elsewhere (tests/data/README.md names
    /// their sources); those that can't be moved say so.
    #[test]
    fn a_moved_example_does_the_same_elsewhere() {
        let text = include_str!("../../tests/data/hpgl-vectors.json");
        let data: serde_json::Value = serde_json::from_str(text).unwrap();
        let mut count = 0;
        for vector in data["vectors"].as_array().unwrap() {
            let job: Vec<u8> =
                vector["input_latin1"].as_str().unwrap().chars().map(|c| c as u32 as u8).collect();
            let (commands, _) = read(&job);
            let spool = Spool::of(&mut &job[..]).unwrap();
            let Ok(moved) = moved(&spool, Shift { x: 700, y: -300 }) else { continue };
            let moved = moved.piece(0, moved.len()).unwrap();
            let (before, _) = trace(&commands, &TraceSettings::default());
            let (after, _) = trace(&read(&moved).0, &TraceSettings::default());
            assert_eq!(before.steps.len(), after.steps.len(), "{}", vector["name"]);
            for (a, b) in before.steps.iter().zip(&after.steps) {
                match (a.kind, b.kind) {
                    (StepKind::Move(a), StepKind::Move(b)) => {
                        let off = (a + Point::new(700.0, -300.0)).distance(b);
                        assert!(off < 1e-3, "{}: {a:?} {b:?}", vector["name"]);
                    }
                    (a, b) => assert_eq!(a, b, "{}", vector["name"]),
                }
            }
            count += 1;
        }
        assert!(count >= 8, "{count}");
    }

    /// A list so long that it is read in pieces stays the same list, elsewhere and lifted.
    #[test]
    fn a_long_list_is_moved_and_lifted_whole() {
        let points = |by: i64| {
            let each = (0..3000i64).map(|i| format!("{},{}", i % 977 + by, i % 789));
            each.collect::<Vec<_>>().join(",")
        };
        let job = |by: i64| format!("IN;SP1;PU{},1;P D{};PU0,0;", 1 + by, points(by));
        let spool = Spool::of(&mut job(0).as_bytes()).unwrap();
        let text = |spool: Spool| String::from_utf8(spool.piece(0, spool.len()).unwrap()).unwrap();
        let moved = text(moved(&spool, Shift { x: 50, y: 0 }).unwrap());
        let (after, wanted) = (read(moved.as_bytes()).0, read(job(50).as_bytes()).0);
        let moves = |commands: &[Located]| {
            let (trace, _) = trace(commands, &TraceSettings::default());
            trace.steps.iter().map(|step| step.kind).collect::<Vec<_>>()
        };
        let (after, mut wanted) = (moves(&after), moves(&wanted));
        // The last place, 0,0, is moved as well.
        *wanted.last_mut().unwrap() = StepKind::Move(Point::new(50.0, 0.0));
        assert_eq!(after, wanted);
        let lifted = text(crate::send::lifted(&spool).unwrap());
        assert_eq!(lifted, job(0).replace("P D", "P U"));
    }

    #[test]
    fn as_many_are_cut_at_once_as_the_machine_reaches() {
        let machine = Library::with_folder("/nowhere".into()).machine("roll-15").unwrap();
        let job = b"IN;PU400,400;PD10400,400,10400,5000;PU11000,0;SP0;";
        let job = Spool::of(&mut &job[..]).unwrap();
        let survey = Survey::of(&job, Setup::of(&machine, 0.0)).unwrap();
        // 250 mm and a gap of 5: 10200 units; 11000 + 2 * 10200 = 31400 of 32700.
        let copies = Copies::new(7, &survey, &machine, 5.0);
        assert_eq!(copies.at_once(), 3);
        let places: Vec<i64> = (1..=7).map(|n| copies.shift(n).x).collect();
        assert_eq!(places, [0, 10200, 20400, 0, 10200, 20400, 0]);
        let by_hand: Vec<u32> = (1..=7).filter(|&n| copies.is_fed_by_hand(n)).collect();
        assert_eq!(by_hand, [4, 7]);
        let flat = Library::with_folder("/nowhere".into()).machine("flatbed-a4").unwrap();
        let sheets = Copies::new(3, &survey, &flat, 5.0);
        assert!(sheets.is_fed_by_hand(2) && sheets.shift(3) == Shift::default());
    }
}
