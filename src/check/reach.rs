//! Where the tool is sent: hard-clip limits, the machine's range of numbers, the state at the end.

use super::at;
use crate::finding::{Finding, Place, first_few};
use crate::geometry::{Bounds, Point};
use crate::profile::Machine;
use crate::simulate::Simulation;

/// Moves, lifted or not, that leave the hard-clip area or what the machine can count to; one
/// finding for each cut and the way to it.
pub(super) fn limits(simulation: &Simulation, machine: &Machine) -> Vec<Finding> {
    let area = machine.limits_mm().map(|a| a.grown(machine.unit_mm * 0.501));
    let count = machine.furthest_units() * machine.unit_mm;
    let (mut all, mut beyond) = (Vec::new(), Vec::new());
    let cuts = simulation.cuts.iter().map(|cut| (cut.byte, cut.travel.as_slice(), &cut.axis[..]));
    let end = simulation.cuts.last().map_or(0, |cut| cut.end_byte);
    for (byte, travel, axis) in cuts.chain([(end, simulation.last_travel.as_slice(), &[][..])]) {
        let outside = |p: &&Point| area.is_some_and(|a| !a.holds(Bounds::of(&[**p])));
        let uncounted = |p: &&Point| machine.sixteen_bit && p.x.abs().max(p.y.abs()) > count;
        // A way begins where the cut before ended.
        let moves = || travel.iter().skip(1).chain(axis);
        if let Some(p) = moves().find(outside) {
            all.push(outside_limits(*p, byte, machine));
        } else if let Some(p) = moves().find(uncounted) {
            let text = format!(
                "The tool is sent to {:.1}, {:.1} mm, but {} counts only to {count:.1} mm.",
                p.x, p.y, machine.name
            );
            let finding = Finding::error("beyond-numbers", text).at(Place::byte(byte).at(*p));
            beyond.push(finding.hint("The machine would leave out such moves."));
        }
    }
    let mut findings =
        first_few(all, |n| format!("{n} more cuts leave what the machine can reach."));
    findings.extend(first_few(beyond, |n| format!("{n} more cuts are beyond its numbers.")));
    findings
}

/// The bytes end without lifting the tool.
pub(super) fn left_down(simulation: &Simulation) -> Option<Finding> {
    let cut = simulation.cuts.last().filter(|_| simulation.left_down)?;
    Some(
        Finding::error("left-down", "The job ends with the tool down.")
            .at(at(cut, *cut.axis.last()?))
            .hint("End it with PU; so that the blade does not stand in the film."),
    )
}

fn outside_limits(p: Point, byte: u64, machine: &Machine) -> Finding {
    let text = format!(
        "The tool is sent to {:.1}, {:.1} mm, outside the hard-clip limits of {}.",
        p.x, p.y, machine.name
    );
    Finding::error("outside-limits", text)
        .at(Place::byte(byte).at(p))
        .hint("The machine would stop at its limits and cut along them.")
}
