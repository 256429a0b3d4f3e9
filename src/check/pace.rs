//! What holds a job up, and what its simulation had to assume.

use crate::finding::{Finding, Place};
use crate::profile::{EncodedLines, Lists, Machine};
use crate::simulate::{SimulatedCut, Totals};

/// The line is told when it makes the job longer by this share.
const TOLD_SHARE: f64 = 0.05;
/// A straight first cut of at most this many blade offsets is there to turn the blade.
const ORIENTING_OFFSETS: f64 = 20.0;

/// The serial line, and not the machine, sets the pace.
pub(super) fn line_sets_pace(totals: &Totals, machine: &Machine) -> Option<Finding> {
    let (time_s, motion_s, line_s) = (totals.time_s?, totals.motion_s?, totals.line_s?);
    if time_s <= motion_s * (1.0 + TOLD_SHARE) {
        return None;
    }
    let text = format!(
        "The serial line sets the pace: it needs {line_s:.0} s for {} bytes, the machine's motion \
         {motion_s:.0} s.",
        totals.bytes
    );
    Some(Finding::note("line-sets-pace", text).hint(remedies(machine)))
}

/// What would help `machine`.
fn remedies(machine: &Machine) -> String {
    let mut all = vec!["a higher rate"];
    if machine.language.encoded == EncodedLines::Never {
        if machine.language.lists == Lists::Absolute {
            all.push("relative lists");
        }
        all.push("encoded lines (PE) if the machine is HP-GL/2");
    }
    all.push("a coarser --tolerance");
    let last = all.pop().unwrap_or_default();
    format!("What helps: {} or {last}.", all.join(", "))
}

/// Nobody knows where a trailing blade points before the first cut.
#[derive(Default)]
pub(super) struct Heading {
    tool: Option<u32>,
    told: Option<Finding>,
}

impl Heading {
    /// The next cut, or its beginning.
    pub fn see(&mut self, cut: &SimulatedCut) {
        let fetched = self.tool.replace(cut.tool) != Some(cut.tool);
        if fetched && self.told.is_none() {
            self.told = blind_start(cut);
        }
    }

    pub fn end(self) -> Option<Finding> {
        self.told
    }
}

/// A first cut of a tool that trails and was not turned before.
fn blind_start(cut: &SimulatedCut) -> Option<Finding> {
    let offset = cut.axis.first()?.distance(*cut.tip().first()?);
    if offset == 0.0 || is_orienting(cut, offset) {
        return None;
    }
    let text = format!(
        "The job does not turn the blade before the first cut that it makes; it is simulated as if it pointed \
         right, but may begin up to {offset:.2} mm beside the line.",
    );
    Some(
        Finding::note("heading-assumed", text)
            .at(Place::byte(cut.byte).at(*cut.axis.first()?))
            .hint("A short straight cut in waste before the work turns the blade."),
    )
}

fn is_orienting(cut: &SimulatedCut, offset: f64) -> bool {
    let (Some(first), Some(last)) = (cut.axis.first(), cut.axis.last()) else { return false };
    let length: f64 = cut.axis.windows(2).map(|w| w[0].distance(w[1])).sum();
    let straight = first.distance(*last) >= length * 0.999;
    straight && length <= ORIENTING_OFFSETS * offset
}
