//! A simulated job → findings: what would go wrong on the machine.
//!
//! Reads what the bytes do ([`Simulation`]) and never derives it anew. Every finding carries the
//! byte offset and, where there is one, the place on the sheet. `reach`: where the tool is sent;
//! `language`: what this machine does not take; `lines`: how the cuts lie to each other; `pace`:
//! what holds the job up; `tip` (with `walk`): how far the blade strays; `facets`: of which steps curves
//! are made.

mod facets;
mod language;
mod lines;
mod pace;
mod reach;
mod tip;
mod walk;

use crate::finding::{Finding, Place};
use crate::geometry::Point;
use crate::hpgl::Located;
use crate::profile::Machine;
use crate::simulate::{SimulatedCut, Simulation};

pub use facets::{Facets, facets};
pub use tip::{Followed, TipError, Worst, tip_error};

/// Everything that is wrong with a job for `machine`.
pub fn check(simulation: &Simulation, commands: &[Located], machine: &Machine) -> Vec<Finding> {
    let unit_mm = machine.unit_mm;
    let mut findings = reach::limits(simulation, machine);
    findings.extend(reach::left_down(simulation));
    findings.extend(language::settings(commands, machine));
    findings.extend(language::unknown_to(commands, machine));
    findings.extend(lines::nearly_closed(simulation, machine));
    let passes = lines::passes(simulation, unit_mm);
    findings.extend(lines::doubled_or_crossing(simulation, unit_mm, &passes));
    findings.extend(lines::inner_after_outer(simulation, unit_mm, &passes));
    findings.extend(pace::line_sets_pace(simulation, machine));
    findings.extend(pace::heading_assumed(simulation));
    findings
}

fn at(cut: &SimulatedCut, p: Point) -> Place {
    Place::byte(cut.byte).at(p)
}
