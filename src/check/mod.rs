//! A simulated job → findings: what would go wrong on the machine.
//!
//! Reads what the bytes do ([`Simulation`]) and never derives it anew. Every finding carries the
//! byte offset and the place on the sheet.

mod index;
mod tip;

use std::collections::HashMap;

use crate::contour_tree;
use crate::finding::{Finding, Place};
use crate::geometry::{Contour, Point};
use crate::hpgl::{Command, Located};
use crate::profile::Machine;
use crate::simulate::{SimulatedCut, Simulation};
use index::EdgeIndex;

pub use tip::{TipError, tip_error};

/// How many findings of one kind are told one by one.
const NAMED: usize = 5;
/// A line whose end lies this near to its start was meant to close, mm: common practice, no source.
const NEARLY_CLOSED_MM: f64 = 0.5;

/// Cells in which crossings are looked for, mm: a few edges of a usual cut.
const CELL_MM: f64 = 1.0;

/// Everything that is wrong with a job for `machine`.
pub fn check(simulation: &Simulation, commands: &[Located], machine: &Machine) -> Vec<Finding> {
    let mut findings = limits(simulation, machine);
    findings.extend(left_down(simulation));
    findings.extend(settings(commands, machine));
    findings.extend(unknown_to(commands, machine));
    findings.extend(nearly_closed(simulation, machine.unit_mm));
    findings.extend(doubled(simulation, machine.unit_mm));
    findings.extend(crossing(simulation));
    findings.extend(inner_after_outer(simulation, machine.unit_mm));
    findings
}

/// The findings of one kind: the first few one by one, the rest counted.
fn told(
    code: &'static str,
    all: Vec<Finding>,
    rest: impl Fn(usize) -> String,
) -> impl Iterator<Item = Finding> {
    let more = all.len().saturating_sub(NAMED);
    let severity = all.first().map(|f| f.severity);
    let last = severity.filter(|_| more > 0).map(|s| Finding::new(s, code, rest(more)));
    all.into_iter().take(NAMED).chain(last)
}

fn at(cut: &SimulatedCut, p: Point) -> Place {
    Place::byte(cut.byte).at(p)
}

fn limits(simulation: &Simulation, machine: &Machine) -> Vec<Finding> {
    let area = machine.limits_mm().map(|a| a.grown(machine.unit_mm * 0.501));
    let count = f64::from(i16::MAX) * machine.unit_mm;
    let mut all = Vec::new();
    for cut in &simulation.cuts {
        let moves = cut.travel.iter().chain(&cut.axis);
        let outside =
            |p: &&Point| area.is_some_and(|a| !a.holds(crate::geometry::Bounds::of(&[**p])));
        if let Some(p) = moves.clone().find(outside) {
            let text = format!(
                "The tool is sent to {:.1}, {:.1} mm, outside the hard-clip limits of {}.",
                p.x, p.y, machine.name
            );
            all.push(
                Finding::error("outside-limits", text)
                    .at(at(cut, *p))
                    .hint("The machine would stop at its limits and cut along them."),
            );
        } else if let Some(p) =
            moves.clone().find(|p| machine.sixteen_bit && p.x.abs().max(p.y.abs()) > count)
        {
            let text = format!("A coordinate is beyond what {} can count to.", machine.name);
            all.push(Finding::error("beyond-numbers", text).at(at(cut, *p)));
        }
    }
    let more = |n| format!("{n} more cuts leave what the machine can reach.");
    told("outside-limits", all, more).collect()
}

fn left_down(simulation: &Simulation) -> Option<Finding> {
    let cut = simulation.cuts.last().filter(|_| simulation.left_down)?;
    Some(
        Finding::error("left-down", "The job ends with the tool down.")
            .at(at(cut, *cut.axis.last()?))
            .hint("End it with PU; so that the blade does not stand in the film."),
    )
}

/// Speeds and forces that the machine does not take.
fn settings(commands: &[Located], machine: &Machine) -> Vec<Finding> {
    let language = &machine.language;
    let mut all = Vec::new();
    for located in commands {
        let Command::Plain(mnemonic, numbers) = &located.command else { continue };
        let (what, taken, range) = match &mnemonic.0 {
            b"VS" => ("speed", language.velocity, language.velocity_range_cm_s),
            b"FS" => ("force", language.force, language.force_range),
            _ => continue,
        };
        let Some(&number) = numbers.first() else { continue };
        let text = if !taken {
            format!("{} does not take a {what} ({mnemonic}{number}).", machine.name)
        } else if let Some([low, high]) =
            range.filter(|[low, high]| !(*low..=*high).contains(&number))
        {
            format!(
                "The {what} {mnemonic}{number} is outside {low} to {high}, what {} takes.",
                machine.name
            )
        } else {
            continue;
        };
        all.push(Finding::warning("setting-not-taken", text).at(Place::byte(located.byte)));
    }
    told("setting-not-taken", all, |n| format!("{n} more settings are not taken.")).collect()
}

/// Instructions of newer machines in a job for an older one.
fn unknown_to(commands: &[Located], machine: &Machine) -> Vec<Finding> {
    use crate::profile::{Arcs, EncodedLines};
    let language = &machine.language;
    let mut first: HashMap<String, u64> = HashMap::new();
    for located in commands {
        let name = match &located.command {
            Command::Encoded(_) if language.encoded == EncodedLines::Never => "PE".to_owned(),
            Command::Plain(mnemonic, _) => match &mnemonic.0 {
                b"AT" | b"RT" | b"BZ" | b"BR" => mnemonic.to_string(),
                b"AA" | b"AR" | b"CI" if language.arcs == Arcs::Never => mnemonic.to_string(),
                _ => continue,
            },
            _ => continue,
        };
        first.entry(name).or_insert(located.byte);
    }
    let mut found: Vec<_> = first.into_iter().collect();
    found.sort_by_key(|(_, byte)| *byte);
    let finding = |(name, byte): (String, u64)| {
        let text =
            format!("{} may not know the instruction {name}, first used here.", machine.name);
        Finding::warning("instruction-newer", text)
            .at(Place::byte(byte))
            .hint("An older machine passes over it without a word.")
    };
    found.into_iter().map(finding).collect()
}

/// Whether a cut comes back to its start, within `unit`s of rounding.
fn is_closed(cut: &SimulatedCut, unit_mm: f64) -> bool {
    ring_of(cut, unit_mm).is_some()
}

/// The closed contour that a cut begins with; what follows (overcut) is left out.
fn ring_of(cut: &SimulatedCut, unit_mm: f64) -> Option<Contour> {
    let first = *cut.axis.first()?;
    let back = |p: &Point| p.distance(first) <= unit_mm * 1.5;
    let end = (3..cut.axis.len()).find(|&i| back(&cut.axis[i]))?;
    Some(Contour::closed(cut.axis[..end].to_vec()))
}

fn nearly_closed(simulation: &Simulation, unit_mm: f64) -> Vec<Finding> {
    let mut all = Vec::new();
    for cut in simulation.cuts.iter().filter(|cut| cut.axis.len() > 3) {
        let (Some(first), Some(last)) = (cut.axis.first(), cut.axis.last()) else { continue };
        let gap = first.distance(*last);
        if gap <= NEARLY_CLOSED_MM && !is_closed(cut, unit_mm) && !comes_near_start(cut, unit_mm) {
            let text = format!("A cut ends {gap:.2} mm from its start without closing.");
            all.push(
                Finding::warning("nearly-closed", text)
                    .at(at(cut, *last))
                    .hint("The piece will hang on there when it is weeded."),
            );
        }
    }
    told("nearly-closed", all, |n| format!("{n} more cuts nearly close.")).collect()
}

/// A compensated contour's axis does not meet its start, but runs past it.
fn comes_near_start(cut: &SimulatedCut, unit_mm: f64) -> bool {
    let Some(&start) = cut.tip.first() else { return false };
    let later = cut.tip.get(cut.tip.len() / 2..).unwrap_or_default();
    later
        .windows(2)
        .any(|w| crate::geometry::distance_to_segment(start, w[0], w[1]) <= unit_mm * 1.5)
}

/// The same line twice. Passes one after the other are meant.
fn doubled(simulation: &Simulation, unit_mm: f64) -> Vec<Finding> {
    let mut seen: HashMap<Vec<(i64, i64)>, usize> = HashMap::new();
    let mut all = Vec::new();
    for (i, cut) in simulation.cuts.iter().enumerate() {
        let key = |p: &Point| ((p.x / unit_mm).round() as i64, (p.y / unit_mm).round() as i64);
        let mut points: Vec<_> = cut.axis.iter().map(key).collect();
        points.sort_unstable();
        points.dedup();
        let last = seen.insert(points, i);
        if let Some(earlier) = last.filter(|&earlier| earlier + 1 < i) {
            let text = format!("Cut {} runs along the same line as cut {}.", i + 1, earlier + 1);
            let place = cut.axis.first().map_or(Place::byte(cut.byte), |p| at(cut, *p));
            all.push(Finding::warning("cut-twice", text).at(place));
        }
    }
    told("cut-twice", all, |n| format!("{n} more lines are cut twice.")).collect()
}

fn crossing(simulation: &Simulation) -> Vec<Finding> {
    let index = EdgeIndex::new(simulation.cuts.iter().map(|cut| cut.tip.as_slice()), CELL_MM);
    let all = index.crossings().into_iter().map(|(a, b, p)| {
        let text = format!("Cuts {} and {} cross.", a + 1, b + 1);
        let byte = simulation.cuts.get(b as usize).map_or(0, |cut| cut.byte);
        Finding::note("cuts-cross", text).at(Place::byte(byte).at(p))
    });
    told("cuts-cross", all.collect(), |n| format!("{n} more pairs of cuts cross.")).collect()
}

fn inner_after_outer(simulation: &Simulation, unit_mm: f64) -> Vec<Finding> {
    let lines: Vec<Contour> = simulation
        .cuts
        .iter()
        .map(|cut| ring_of(cut, unit_mm).unwrap_or_else(|| Contour::open(cut.axis.clone())))
        .collect();
    let tree = contour_tree::build(&lines);
    let mut all = Vec::new();
    for (inner, parent) in tree.parent.iter().enumerate() {
        if let Some(outer) = parent.filter(|&outer| outer < inner)
            && let Some(p) = lines[inner].points.first()
        {
            let text =
                format!("Cut {} lies inside cut {}, but comes after it.", inner + 1, outer + 1);
            all.push(
                Finding::warning("inner-after-outer", text)
                    .at(at(&simulation.cuts[inner], *p))
                    .hint("The piece may have moved by then."),
            );
        }
    }
    told("inner-after-outer", all, |n| format!("{n} more inner cuts come late.")).collect()
}
