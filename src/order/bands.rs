//! Which lines are cut in which turn: stages first, bands along the feed inside a stage.
//!
//! A roll that is fed back and forth over a long stretch creeps; bands keep each feed back short.
//! A line belongs to the band of its box's middle. A line waits for what is inside it: its turn is
//! the latest of its own and those of its children (so inner before outer holds across turns).
//! Common practice of the trade, no source; what they cost in travel is told with the bound.

use super::settings::{Bands, OrderSettings};
use crate::contour_tree::ContourTree;
use crate::finding::{Finding, Place, counted};
use crate::geometry::{Bounds, LineRef};
use crate::profile::FeedAxis;

/// Lines grouped by turn, the first turn first, each in the order of their index.
pub fn turns(
    lines: &[LineRef],
    tree: &ContourTree,
    settings: &OrderSettings,
) -> (Vec<Vec<usize>>, Vec<Finding>) {
    let mut findings = Vec::new();
    let bottom = lowest(lines, settings.bands);
    let own = |i: usize| {
        let stage = settings.stages.get(i).copied().unwrap_or(0);
        (stage, settings.bands.map_or(0, |b| band_of(&lines[i].bounds(), b, bottom)))
    };
    let mut turn: Vec<(u32, u32)> = (0..lines.len()).map(own).collect();
    findings.extend(raise_parents(&mut turn, lines, tree));
    findings.extend(settings.bands.and_then(|bands| tall_lines(lines, bands)));
    let mut by_turn: Vec<usize> = (0..lines.len()).collect();
    by_turn.sort_by_key(|&i| (turn[i], i));
    let groups = by_turn.chunk_by(|&a, &b| turn[a] == turn[b]).map(<[usize]>::to_vec).collect();
    (groups, findings)
}

/// Lets every line wait for the lines inside it; tells when that moves it to a later stage.
fn raise_parents(
    turn: &mut [(u32, u32)],
    lines: &[LineRef],
    tree: &ContourTree,
) -> Option<Finding> {
    let depths = tree.depths();
    let mut deepest_first: Vec<usize> = (0..depths.len().min(turn.len())).collect();
    deepest_first.sort_by_key(|&i| std::cmp::Reverse(depths[i]));
    let mut late = Vec::new();
    for line in deepest_first {
        if let Some(parent) = tree.parent[line] {
            if turn[line].0 > turn[parent].0 {
                late.push(parent);
            }
            turn[parent] = turn[parent].max(turn[line]);
        }
    }
    late.sort_unstable();
    late.dedup();
    let first = lines[*late.first()?].points.first()?;
    let text = format!(
        "{} cut later than their stage says, because lines inside belong to a later stage.",
        counted(late.len(), "One line is", "lines are")
    );
    Some(Finding::note("stage-waits", text).at(Place::sheet(*first)))
}

/// Tells of lines that are longer along the feed than a band is high.
fn tall_lines(lines: &[LineRef], bands: Bands) -> Option<Finding> {
    let extent = |line: &LineRef| {
        let bounds = line.bounds();
        if bounds.is_empty() {
            0.0
        } else {
            along(bands.axis, &bounds).1 - along(bands.axis, &bounds).0
        }
    };
    let tall: Vec<&LineRef> = lines.iter().filter(|l| extent(l) > bands.height_mm).collect();
    let longest = tall.iter().map(|l| extent(l)).fold(0.0, f64::max);
    let text = format!(
        "{} farther along the feed than the longest back-feed of {} mm: cut whole, {longest:.1} mm at \
         most.",
        counted(tall.len(), "One line reaches", "lines reach"),
        bands.height_mm
    );
    let first = tall.first()?.points.first()?;
    let hint = "Split the design into panels, or accept the longer feed for these lines.";
    Some(Finding::warning("band-too-low", text).at(Place::sheet(*first)).hint(hint))
}

fn along(axis: FeedAxis, bounds: &Bounds) -> (f64, f64) {
    match axis {
        FeedAxis::X => (bounds.min.x, bounds.max.x),
        FeedAxis::Y => (bounds.min.y, bounds.max.y),
    }
}

fn lowest(lines: &[LineRef], bands: Option<Bands>) -> f64 {
    let all = lines.iter().fold(Bounds::EMPTY, |b, l| b.union(l.bounds()));
    bands.filter(|_| !all.is_empty()).map_or(0.0, |b| along(b.axis, &all).0)
}

fn band_of(bounds: &Bounds, bands: Bands, bottom: f64) -> u32 {
    if bounds.is_empty() || bands.height_mm <= 0.0 {
        return 0;
    }
    let (low, high) = along(bands.axis, bounds);
    (((low + high) / 2.0 - bottom) / bands.height_mm) as u32
}
