//! Lines drawn on top of each other → each stretch once, so that no blade runs through its own cut.
//!
//! In the order of the drawing: what runs along a line drawn before that is made in the same way, within a
//! tolerance, is left out, whatever their layers; what remains of a closed line is open. Only whole lines and stretches of [`LEAST_MM`] count, so that
//! lines which touch or cross keep whole. Where one line runs along itself nothing is left out.

use crate::edges::EdgeIndex;
use crate::geometry::{Contour, Point, stretch};

/// Shorter stretches along another line are left, mm: touching curves share some millimetres within the
/// tolerance.
const LEAST_MM: f64 = 5.0;
/// A line of which no more than this is left was drawn twice as a whole, as a share of its length.
const REST: f64 = 0.02;
/// Size of the cells in which lines beside each other are looked for, mm.
const CELL_MM: f64 = 2.0;

/// How much was left out.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Doubled {
    /// Lines that lay on others, wholly or in part.
    pub lines: usize,
    /// Length left out, mm.
    pub length_mm: f64,
    /// Where the first one was, mm on the page.
    pub first: Point,
}

/// The lines with their layers without what runs within `reach` mm along lines before them that are
/// `alike`, as far as their layers are asked.
pub(super) fn cut_once(
    lines: &mut Vec<(Contour, usize)>,
    reach: f64,
    alike: impl Fn(usize, usize) -> bool,
) -> Doubled {
    let tracks: Vec<Vec<Point>> = lines.iter().map(|(line, _)| line.track()).collect();
    let index = EdgeIndex::new(tracks.iter(), CELL_MM);
    let layers: Vec<usize> = lines.iter().map(|(_, layer)| *layer).collect();
    let mut doubled = Doubled::default();
    let mut kept = Vec::with_capacity(lines.len());
    for (number, (line, layer)) in std::mem::take(lines).into_iter().enumerate() {
        let track = &tracks[number];
        let length = line.length();
        let counts = |earlier: u32| alike(layers[earlier as usize], layer);
        let covered = covered((track, number as u32), &index, counts, reach);
        let total: f64 = covered.iter().map(|[from, to]| to - from).sum();
        let whole = total >= (1.0 - REST) * length && length > 0.0;
        let long: Vec<[f64; 2]> =
            covered.into_iter().filter(|[from, to]| to - from >= LEAST_MM).collect();
        if long.is_empty() && !whole {
            kept.push((line, layer));
            continue;
        }
        if doubled.lines == 0 {
            doubled.first = track[0];
        }
        doubled.lines += 1;
        doubled.length_mm += if whole { length } else { long.iter().map(|[a, b]| b - a).sum() };
        if !whole {
            kept.extend(rest(track, line.closed, &long, length).into_iter().map(|l| (l, layer)));
        }
    }
    *lines = kept;
    doubled
}

/// The stretches of `track` along which lines before `number` that count run, as mm along it,
/// ascending.
fn covered(
    (track, number): (&[Point], u32),
    index: &EdgeIndex,
    counts: impl Fn(u32) -> bool,
    reach: f64,
) -> Vec<[f64; 2]> {
    let mut stretches: Vec<[f64; 2]> = Vec::new();
    let mut along = 0.0;
    for edge in track.windows(2) {
        let beside = index.stretches_beside((edge[0], edge[1]), number, reach);
        let beside = beside.into_iter().filter(|(earlier, _)| counts(*earlier));
        stretches.extend(beside.map(|(_, [from, to])| [along + from, along + to]));
        along += edge[0].distance(edge[1]);
    }
    stretches.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut merged: Vec<[f64; 2]> = Vec::new();
    for [from, to] in stretches {
        match merged.last_mut() {
            // At a bend the two lines' edges part a little.
            Some(last) if from <= last[1] + 2.0 * reach => last[1] = last[1].max(to),
            _ => merged.push([from, to]),
        }
    }
    merged
}

/// What is left of a line between the `covered` stretches.
fn rest(track: &[Point], closed: bool, covered: &[[f64; 2]], length: f64) -> Vec<Contour> {
    let starts = std::iter::once(0.0).chain(covered.iter().map(|c| c[1]));
    let ends = covered.iter().map(|c| c[0]).chain(std::iter::once(length));
    let mut parts: Vec<Vec<Point>> = starts.zip(ends).map(|(a, b)| stretch(track, a, b)).collect();
    let last = parts.len() - 1;
    if closed && last > 0 && !parts[0].is_empty() && !parts[last].is_empty() {
        // The line began in the middle of a stretch: its last one runs on into its first.
        let first = std::mem::take(&mut parts[0]);
        parts[last].extend(first.into_iter().skip(1));
    }
    parts.into_iter().filter(|points| points.len() > 1).map(Contour::open).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const REACH: f64 = 0.03;

    fn line(points: &[(f64, f64)]) -> Contour {
        Contour::open(points.iter().map(|&(x, y)| Point::new(x, y)).collect())
    }

    fn once(lines: Vec<Contour>) -> (Vec<Contour>, Doubled) {
        let mut lines: Vec<_> = lines.into_iter().map(|line| (line, 0)).collect();
        let doubled = cut_once(&mut lines, REACH, |a, b| a == b);
        (lines.into_iter().map(|(line, _)| line).collect(), doubled)
    }

    /// Two plates of 20 x 10 mm side by side: their shared side of 10 mm is cut once.
    #[test]
    fn a_shared_side_is_cut_once() {
        let plate = |x: f64| {
            let corners = [(x, 0.0), (x + 20.0, 0.0), (x + 20.0, 10.0), (x, 10.0)];
            Contour::closed(line(&corners).points)
        };
        let (lines, doubled) = once(vec![plate(0.0), plate(20.0)]);
        assert_eq!((lines.len(), doubled.lines), (2, 1));
        assert!((doubled.length_mm - 10.0).abs() < 1e-9);
        assert_eq!(lines[0], plate(0.0));
        assert!(!lines[1].closed && (lines[1].length() - 50.0).abs() < 1e-9, "{:?}", lines[1]);
        assert_eq!(lines[1].points.first(), Some(&Point::new(20.0, 0.0)));
        assert_eq!(lines[1].points.last(), Some(&Point::new(20.0, 10.0)));
    }

    #[test]
    fn what_is_drawn_twice_is_cut_once_in_either_sense() {
        let arc = |i: i32| Point::along(std::f64::consts::PI * f64::from(i) / 60.0) * 15.0;
        let arc: Vec<Point> = (0..=60).map(arc).collect();
        let ring = Contour::closed(arc.iter().skip(1).copied().collect());
        let mut shifted = ring.clone().reversed();
        shifted.points.rotate_left(17);
        let (open, back) =
            (Contour::open(arc.clone()), Contour::open(arc.into_iter().rev().collect()));
        assert_eq!(once(vec![open.clone(), back]).0, [open]);
        assert_eq!(once(vec![ring.clone(), shifted]).0, [ring]);
        // A short tick drawn twice.
        let tick = line(&[(0.0, 0.0), (0.4, 0.3)]);
        assert_eq!(once(vec![tick.clone(), tick.clone(), tick.clone()]).0, [tick]);
    }

    #[test]
    fn a_stretch_in_the_middle_leaves_two_ends() {
        let long = line(&[(-10.0, 0.0), (40.0, 0.0)]);
        let (lines, doubled) = once(vec![line(&[(0.0, 0.0), (12.0, 0.0)]), long]);
        assert!((doubled.length_mm - 12.0).abs() < 0.2, "{doubled:?}");
        let lengths: Vec<f64> = lines.iter().map(Contour::length).collect();
        assert_eq!(lines.len(), 3);
        assert!((lengths[1] - 10.0).abs() < 1e-9 && (lengths[2] - 28.0).abs() < 1e-9);
    }

    /// A fold and a cut at the same place are two different things; two layers that are cut alike are not.
    #[test]
    fn layers_that_are_made_differently_keep_their_lines() {
        let side = line(&[(0.0, 0.0), (12.0, 0.0)]);
        for (alike, left) in [(false, 2), (true, 1)] {
            let mut lines = vec![(side.clone(), 0), (side.clone(), 1)];
            assert_eq!(cut_once(&mut lines, REACH, |a, b| a == b || alike).lines, 2 - left);
            assert_eq!(lines.len(), left);
        }
    }

    #[test]
    fn what_touches_or_crosses_stays() {
        let cross = line(&[(0.0, -10.0), (0.0, 10.0)]);
        let other = line(&[(-10.0, 0.0), (10.0, 0.0)]);
        let ring = |x: f64| {
            let turn = |i: i32| std::f64::consts::TAU * f64::from(i) / 360.0;
            Contour::closed(
                (0..360).map(|i| Point::along(turn(i)) * 20.0 + Point::new(x, 50.0)).collect(),
            )
        };
        let beside = line(&[(0.1, -10.0), (0.1, 10.0)]);
        let all = vec![cross, other, ring(0.0), ring(40.0), beside];
        let (lines, doubled) = once(all.clone());
        assert_eq!((lines, doubled.lines), (all, 0));
        assert_eq!(once(vec![]).0, []);
    }
}
