//! Where the tool is sent: hard-clip limits, the machine's range of numbers, the state at the end.

use crate::finding::{Finding, FirstFew, Place};
use crate::geometry::{Bounds, Point};
use crate::profile::Machine;
use crate::simulate::{Part, SimulatedCut};

/// Moves, lifted or not, that leave the hard-clip area or what the machine can count to; one
/// finding for each cut and the way to it.
#[derive(Default)]
pub(super) struct Limits {
    outside: FirstFew,
    uncounted: FirstFew,
    /// Where the last cut ended.
    end: u64,
    /// The present cut, or the way to it, was told of.
    told: bool,
}

impl Limits {
    pub fn see(&mut self, (cut, part): (&SimulatedCut, Part), machine: &Machine) {
        // A way begins where the cut before ended.
        let moves = || cut.travel.iter().skip(1).chain(&cut.axis);
        let byte = if part == Part::Way { self.end } else { cut.byte };
        let area = machine.limits_mm().map(|a| a.grown(machine.unit_mm * 0.501));
        let count = machine.furthest_units() * machine.unit_mm;
        let outside = |p: &&Point| area.is_some_and(|a| !a.holds(Bounds::of(&[**p])));
        let uncounted = |p: &&Point| machine.sixteen_bit && p.x.abs().max(p.y.abs()) > count;
        if self.told {
            // One finding is enough.
        } else if let Some(p) = moves().find(outside) {
            self.outside.push(outside_limits(*p, byte, machine));
            self.told = true;
        } else if let Some(p) = moves().find(uncounted) {
            self.uncounted.push(beyond_numbers(*p, byte, machine));
            self.told = true;
        }
        if let Part::Cut { ends: true, .. } = part {
            (self.end, self.told) = (cut.end_byte, false);
        }
    }

    pub fn end(self) -> Vec<Finding> {
        let outside = |n| format!("{n} more cuts leave what the machine can reach.");
        let mut findings = self.outside.end(outside);
        findings.extend(self.uncounted.end(|n| format!("{n} more cuts are beyond its numbers.")));
        findings
    }
}

/// The bytes end without lifting the tool after the cut that was begun at a byte and is at a place.
pub(super) fn left_down((byte, at): (u64, Point)) -> Finding {
    Finding::error("left-down", "The job ends with the tool down.")
        .at(Place::byte(byte).at(at))
        .hint("End it with PU; so that the blade does not stand in the film.")
}

fn beyond_numbers(p: Point, byte: u64, machine: &Machine) -> Finding {
    let count = machine.furthest_units() * machine.unit_mm;
    let why = format!("but {} counts only to {count:.1} mm.", machine.name);
    sent("beyond-numbers", (p, byte), &why).hint("The machine would leave out such moves.")
}

fn outside_limits(p: Point, byte: u64, machine: &Machine) -> Finding {
    let why = format!("outside the hard-clip limits of {}.", machine.name);
    sent("outside-limits", (p, byte), &why)
        .hint("The machine would stop at its limits and cut along them.")
}

fn sent(code: &'static str, (p, byte): (Point, u64), why: &str) -> Finding {
    let text = format!("The tool is sent to {:.1}, {:.1} mm, {why}", p.x, p.y);
    Finding::error(code, text).at(Place::byte(byte).at(p))
}
