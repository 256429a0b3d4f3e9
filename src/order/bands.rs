//! Which lines are cut in which turn: stages first, bands along the feed inside a stage.
//!
//! A roll that is fed back and forth over a long stretch creeps; bands keep each feed back short. It is
//! the way from the farthest place reached so far back to where the tool stands. Lines are taken by
//! their far ends, the nearest first; a band ends before it reaches over more than the wanted feed
//! back, so that within it any order will do. What came in bands before reaches no farther than any
//! line to come, so no feed back is longer either. A line that alone reaches over more is cut whole,
//! and its band may reach over as much.
//!
//! A line waits for what is inside it: its turn is the latest of its own and those of its children (so
//! inner before outer holds across turns). The bands' method is our own; what they cost in travel is
//! told with the bound.

use super::settings::{Bands, OrderSettings};
use crate::contour_tree::ContourTree;
use crate::finding::{Finding, Place, counted};
use crate::geometry::LineRef;

/// Lines grouped by turn, the first turn first, each in the order of their index.
pub fn turns(
    lines: &[LineRef],
    tree: &ContourTree,
    settings: &OrderSettings,
) -> (Vec<Vec<usize>>, Vec<Finding>) {
    let depths = tree.depths();
    let own = |i: usize| settings.stages.get(i).copied().unwrap_or(0);
    let mut stages: Vec<u32> = (0..lines.len()).map(own).collect();
    let late = raise_parents(&mut stages, &depths, tree);
    let mut findings = Vec::from_iter(stage_waits(late, lines));
    let Some(bands) = settings.bands else { return (grouped(&stages), findings) };
    let reaches: Vec<Reach> = lines.iter().map(|line| Reach::of(line, bands)).collect();
    findings.extend(tall_lines(lines, &reaches, bands));
    let mut turns = banded(&stages, &depths, &reaches, bands);
    raise_parents(&mut turns, &depths, tree);
    (grouped(&turns), findings)
}

/// The lines of each turn, the first turn first.
fn grouped(turns: &[u32]) -> Vec<Vec<usize>> {
    let mut by_turn: Vec<usize> = (0..turns.len()).collect();
    by_turn.sort_by_key(|&i| (turns[i], i));
    by_turn.chunk_by(|&a, &b| turns[a] == turns[b]).map(<[usize]>::to_vec).collect()
}

/// A number for each line: the band in which it is cut, those of one stage after those before.
fn banded(stages: &[u32], depths: &[usize], reaches: &[Reach], bands: Bands) -> Vec<u32> {
    let mut order: Vec<usize> = (0..reaches.len()).collect();
    order.sort_by(|&a, &b| {
        let far = || reaches[a].high.total_cmp(&reaches[b].high);
        let inner = || depths[b].cmp(&depths[a]);
        stages[a].cmp(&stages[b]).then_with(far).then_with(inner)
    });
    let mut turns = vec![0; reaches.len()];
    let (mut band, mut stage) = (NOWHERE, None);
    let (mut turn, mut most) = (0, bands.height_mm);
    for line in order {
        let wider = band.with(reaches[line]);
        let may = most.max(reaches[line].length());
        if stage.is_some_and(|stage| stage != stages[line]) || wider.length() > may {
            (turn, most) = (turn + 1, bands.height_mm);
            band = NOWHERE;
        }
        stage = Some(stages[line]);
        band = band.with(reaches[line]);
        most = most.max(reaches[line].length());
        turns[line] = turn;
    }
    turns
}

/// From where to where the tool goes along the feed, mm.
#[derive(Clone, Copy)]
struct Reach {
    low: f64,
    high: f64,
}

/// Of no line.
const NOWHERE: Reach = Reach { low: f64::INFINITY, high: f64::NEG_INFINITY };

impl Reach {
    fn of(line: &LineRef, bands: Bands) -> Self {
        let (low, high) = bands.reach(&line.bounds());
        Self { low, high }
    }
    fn with(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }
    /// Below 0 where there is nothing.
    fn length(self) -> f64 {
        self.high - self.low
    }
}

/// Lets every line wait for the lines inside it; returns those that are moved by it, in order.
fn raise_parents(turn: &mut [u32], depths: &[usize], tree: &ContourTree) -> Vec<usize> {
    let mut deepest_first: Vec<usize> = (0..depths.len().min(turn.len())).collect();
    deepest_first.sort_by_key(|&i| std::cmp::Reverse(depths[i]));
    let mut late = Vec::new();
    for line in deepest_first {
        if let Some(parent) = tree.parent[line].filter(|&parent| turn[line] > turn[parent]) {
            late.push(parent);
            turn[parent] = turn[line];
        }
    }
    late.sort_unstable();
    late.dedup();
    late
}

/// Tells of lines that are moved to a later stage.
fn stage_waits(late: Vec<usize>, lines: &[LineRef]) -> Option<Finding> {
    let first = lines[*late.first()?].points.first()?;
    let text = format!(
        "{} cut later than their stage says, because lines inside belong to a later stage.",
        counted(late.len(), "One line is", "lines are")
    );
    Some(Finding::note("stage-waits", text).at(Place::sheet(*first)))
}

/// Tells of lines that are longer along the feed than the film is to be fed back.
fn tall_lines(lines: &[LineRef], reaches: &[Reach], bands: Bands) -> Option<Finding> {
    let tall = || reaches.iter().enumerate().filter(|(_, r)| r.length() > bands.height_mm);
    let longest = tall().map(|(_, r)| r.length()).fold(0.0, f64::max);
    let text = format!(
        "{} farther along the feed than the longest back-feed of {} mm: cut whole, {longest:.1} mm at \
         most.",
        counted(tall().count(), "One line reaches", "lines reach"),
        bands.height_mm
    );
    let first = lines[tall().next()?.0].points.first()?;
    let hint = "Split the design into panels, or accept the longer feed for these lines.";
    Some(Finding::warning("band-too-low", text).at(Place::sheet(*first)).hint(hint))
}
