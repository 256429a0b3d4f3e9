//! A simulated job → findings: what would go wrong on the machine.
//!
//! Reads what the bytes do ([`Simulation`]) and never derives it anew. Every finding carries the
//! byte offset and, where there is one, the place on the sheet. `reach`: where the tool is sent;
//! `language`: what this machine does not take; `lines`: how the cuts lie to each other;
//! `closing`: whether a cut comes back to its beginning; `pace`:
//! what holds the job up; `tip` (with `walk`): how far the blade strays; `facets`: of which steps curves
//! are made; `feed`: how far film is fed back.
//!
//! [`check`] looks at a whole job; a [`Watch`] is told of instructions and cuts as they come and holds
//! none of them, so it leaves out what compares cuts with each other ([`between`]).

mod closing;
mod facets;
mod feed;
mod language;
mod lines;
mod pace;
mod reach;
mod tip;
mod walk;

use crate::finding::{Finding, FirstFew, Place};
use crate::geometry::Point;
use crate::hpgl::Located;
use crate::parallel;
use crate::profile::Machine;
use crate::simulate::{Part, SimulatedCut, Simulation, Totals};

pub use closing::{closing_gap, comes_back};
pub use facets::{Facets, facets};
pub use feed::{fed_back, longest_back_feed};
pub use tip::{Followed, TipError, Worst, tip_error, tip_error_of};

/// A cut that is seen as a whole.
const WHOLE: Part = Part::Cut { begins: true, ends: true };

/// Everything that is wrong with a job for `machine`, whose instructions were `heard`.
pub fn check(simulation: &Simulation, heard: &Heard, machine: &Machine) -> Vec<Finding> {
    let way = SimulatedCut { travel: simulation.last_travel.clone(), ..SimulatedCut::default() };
    let (between, watch) = parallel::both(
        || between(simulation, machine),
        || {
            let mut watch = Watch { heard: heard.clone(), ..Watch::new(machine) };
            simulation.cuts.iter().for_each(|cut| watch.see(cut, WHOLE));
            watch.see(&way, Part::Way);
            watch
        },
    );
    watch.end((&simulation.totals, simulation.left_down), between)
}

/// How the cuts lie to each other.
pub fn between(simulation: &Simulation, machine: &Machine) -> Vec<Finding> {
    let unit_mm = machine.unit_mm;
    let passes = lines::passes(simulation, unit_mm);
    let (mut findings, crossings) = lines::doubled_or_crossing(simulation, unit_mm, &passes);
    findings.extend(lines::inner_after_outer(simulation, unit_mm, (&passes, &crossings)));
    findings
}

/// What a job's instructions alone tell.
#[derive(Debug, Clone, Default)]
pub struct Heard {
    settings: FirstFew,
    newer: language::Newer,
    /// The first line that needs more bits than the machine's line carries.
    garbled: Option<Finding>,
}

impl Heard {
    /// The next instruction for `machine`.
    pub fn hear(&mut self, located: &Located, machine: &Machine) {
        if let Some(finding) = language::setting_not_taken(located, machine) {
            self.settings.push(finding);
        }
        self.newer.hear(located, machine);
        if self.garbled.is_none() {
            self.garbled = language::eighth_bit_lost(located, machine);
        }
    }

    fn end(self, machine: &Machine) -> Vec<Finding> {
        let mut findings = self.settings.end(|n| format!("{n} more settings are not taken."));
        findings.extend(self.newer.end(machine));
        findings.extend(self.garbled);
        findings
    }
}

/// Looks at a job instruction by instruction and cut by cut.
pub struct Watch<'a> {
    machine: &'a Machine,
    limits: reach::Limits,
    heard: Heard,
    nearly_closed: FirstFew,
    heading: pace::Heading,
    /// The last instruction that lowered the tool, and where its cut has come.
    last: Option<(u64, Point)>,
}

impl<'a> Watch<'a> {
    /// For a job for `machine`.
    pub fn new(machine: &'a Machine) -> Self {
        Self {
            machine,
            limits: reach::Limits::default(),
            heard: Heard::default(),
            nearly_closed: FirstFew::default(),
            heading: pace::Heading::default(),
            last: None,
        }
    }

    /// The next instruction.
    pub fn hear(&mut self, located: &Located) {
        self.heard.hear(located, self.machine);
    }

    /// The next cut, or the next part of it.
    pub fn see(&mut self, cut: &SimulatedCut, part: Part) {
        self.limits.see((cut, part), self.machine);
        let Part::Cut { begins, ends } = part else { return };
        if begins {
            self.heading.see(cut);
        }
        if begins
            && ends
            && let Some(finding) = lines::nearly_closed(cut, self.machine)
        {
            self.nearly_closed.push(finding);
        }
        self.last = cut.axis.last().map(|&p| (cut.byte, p)).or(self.last);
    }

    /// All that was found, with what was found `between` cuts.
    pub fn end(self, (totals, left_down): (&Totals, bool), between: Vec<Finding>) -> Vec<Finding> {
        let mut findings = self.limits.end();
        findings.extend(self.last.filter(|_| left_down).map(reach::left_down));
        findings.extend(self.heard.end(self.machine));
        findings.extend(self.nearly_closed.end(|n| format!("{n} more cuts nearly close.")));
        findings.extend(between);
        findings.extend(pace::line_sets_pace(totals, self.machine));
        findings.extend(self.heading.end());
        findings
    }
}

fn at(cut: &SimulatedCut, p: Point) -> Place {
    Place::byte(cut.byte).at(p)
}
