//! How far the blade's tip strays from the wanted lines, and how much of them it leaves uncut.

use super::index::EdgeIndex;
use crate::geometry::{Contour, Point};
use crate::parallel;

/// What the tip does to the wanted lines.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TipError {
    /// Largest distance of the cutting tip from the nearest wanted line, mm.
    pub stray_mm: f64,
    /// Where.
    pub stray_at: Point,
    /// Largest distance from a wanted line to the nearest place that the tip cut, mm.
    pub uncut_mm: f64,
    /// Where.
    pub uncut_at: Point,
}

impl TipError {
    /// The larger of both, mm.
    pub fn worst_mm(&self) -> f64 {
        self.stray_mm.max(self.uncut_mm)
    }
}

/// Edges longer than this are looked at in between as well, mm.
const STEP_MM: f64 = 0.5;
/// Beyond this the exact distance does not matter any more, mm.
const REACH_MM: f64 = 20.0;

/// Compares the tip's `tracks` (orienting cuts left out) with the `wanted` lines.
pub fn tip_error(tracks: &[&[Point]], wanted: &[&Contour]) -> TipError {
    let rings: Vec<Vec<Point>> = wanted.iter().map(|line| ring(line)).collect();
    let cell = cell_mm(&rings);
    let wanted_index = EdgeIndex::new(rings.iter().map(Vec::as_slice), cell);
    let cut_index = EdgeIndex::new(tracks.iter().copied(), cell);
    let (stray_mm, stray_at) = furthest(tracks, &wanted_index);
    let lines: Vec<&[Point]> = rings.iter().map(Vec::as_slice).collect();
    let (uncut_mm, uncut_at) = furthest(&lines, &cut_index);
    TipError { stray_mm, stray_at, uncut_mm, uncut_at }
}

fn ring(line: &Contour) -> Vec<Point> {
    let mut points = line.points.clone();
    if line.closed {
        points.extend(line.points.first());
    }
    points
}

/// Cells about as large as an edge is long.
fn cell_mm(lines: &[Vec<Point>]) -> f64 {
    let (mut length, mut count) = (0.0, 0.0);
    for w in lines.iter().flat_map(|line| line.windows(2)) {
        length += w[0].distance(w[1]);
        count += 1.0;
    }
    if count == 0.0 { 1.0 } else { (length / count).clamp(0.2, 10.0) }
}

/// The largest distance from `lines` to the indexed edges, and where.
fn furthest(lines: &[&[Point]], index: &EdgeIndex) -> (f64, Point) {
    let of_line = |i: usize| {
        let mut worst = (0.0, Point::ORIGIN);
        for p in looked_at(lines[i]) {
            let distance = index.nearest(p, REACH_MM).map_or(REACH_MM, |(d, _)| d);
            if distance > worst.0 {
                worst = (distance, p);
            }
        }
        worst
    };
    let each = parallel::map(lines.len(), parallel::cores(), of_line);
    each.into_iter().fold((0.0, Point::ORIGIN), |a, b| if b.0 > a.0 { b } else { a })
}

/// The vertices of a line and, on long edges, places in between.
fn looked_at(line: &[Point]) -> impl Iterator<Item = Point> + '_ {
    let between = line.windows(2).flat_map(|w| {
        let count = (w[0].distance(w[1]) / STEP_MM).ceil().clamp(1.0, 1e6) as usize;
        (0..count).map(move |i| w[0].lerp(w[1], i as f64 / count as f64))
    });
    between.chain(line.last().copied())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_go_both_ways() {
        let corners = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)];
        let square = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
        let mut track = square.points.clone();
        track[1].y = -0.03;
        let error = tip_error(&[&track], &[&square]);
        assert!((error.stray_mm - 0.03).abs() < 1e-9, "{error:?}");
        // The last side is not cut at all: its middle is 5 mm from the two beside it.
        assert!((error.uncut_mm - 5.0).abs() < 0.01, "{error:?}");
        let whole = ring(&square);
        assert_eq!(tip_error(&[&whole], &[&square]).worst_mm(), 0.0);
    }
}
