//! Ordered tip paths → the ways of the tools' axes, each tool led as its work asks for.
//!
//! Lines that follow each other and are made in the same way are led together. A blade that goes on
//! after another line takes its heading along; after a change of the tool nobody knows it, so an
//! orienting cut comes first. Pens, creasing tools and blades that the machine turns go where they are
//! sent.

use super::Works;
use crate::blade::{self, AxisPath, Obstacle, TipPath};
use crate::finding::Finding;
use crate::place::Layout;
use crate::simulate::SimulateSettings;

/// Where the axes go.
#[derive(Debug, Clone, Default)]
pub struct Led {
    /// In the order of cutting, orienting cuts among them.
    pub axis: Vec<AxisPath>,
    /// For each of them the index of its work.
    pub works: Vec<usize>,
    /// What could not be followed.
    pub findings: Vec<Finding>,
}

/// Leads the tools along `paths`, lines of `layout` in the order of cutting; orienting cuts keep out of
/// the pieces that `whole` bounds (lines that are cut in stretches bound none).
pub fn lead((paths, whole): (&[TipPath], &Layout), layout: &Layout, works: &Works) -> Led {
    let work_of = |path: &TipPath| {
        let line = path.line.and_then(|line| layout.lines.get(line));
        line.map_or(0, |line| works.index_of(line))
    };
    let whole: Vec<Obstacle<'_>> =
        whole.lines.iter().map(|l| Obstacle { role: l.role, contour: &l.contour }).collect();
    let mut led = Led::default();
    let (mut tool, mut heading) = (0, None);
    for run in paths.chunk_by(|a, b| work_of(a) == work_of(b)) {
        let index = run.first().map_or(0, work_of);
        let work = &works.all[index];
        let known = heading.filter(|_| tool == work.tool);
        let settings = work.blade(&works.machine, known);
        let (axis, told, after) = blade::compensate_among(run, &whole, &settings);
        (tool, heading) = (work.tool, after);
        led.works.extend(std::iter::repeat_n(index, axis.len()));
        led.axis.extend(axis);
        led.findings.extend(told);
    }
    led
}

impl Works {
    /// How the job has to be simulated: with every tool's own offset.
    pub fn simulate(&self) -> SimulateSettings {
        let usual = self.all.first().map_or(0.0, |work| work.offset_mm);
        let mut settings = SimulateSettings::of(&self.machine, usual);
        for (tool, offset) in self.offsets_mm() {
            let sp = self.machine.sp_of_tool(tool);
            if let Some(own) = settings.of_tool_mm.get_mut(sp as usize) {
                *own = Some(offset);
            }
        }
        settings
    }
}
