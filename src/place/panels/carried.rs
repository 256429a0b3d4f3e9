//! Drawn lines → the pieces on which they lie: [`carry`].
//!
//! A fold goes where its card goes, also one that sticks out past the card or runs over several: each
//! stretch lies on the piece with the smallest outline around it, unless that outline is a hole's. A line
//! that lies on one piece alone belongs to it from end to end; one that lies on several is parted between
//! them, in the middle of the stretches that lie on none. [`joined`] puts stretches that end up on one
//! panel together again.
//!
//! Method: the line is divided where it crosses outlines, and every part is judged by its middle (even-odd
//! rule; Shimrat, 1962).

use std::ops::Range;

use crate::contour_tree;
use crate::geometry::{Bounds, Contour, LineRef, Point, distance_to_segment, stretch};

use super::super::{CutLine, Role};
use super::pieces::Piece;

/// A line that runs over a piece for no longer than this does not lie on it, mm: two plotter units.
/// Smaller, and folds of a drawing with two decimals that end on the next card's edge would be parted.
const TOUCHES_MM: f64 = 0.05;

/// An outline that is cut, and the number of its piece.
struct Outline<'a> {
    piece: usize,
    contour: &'a Contour,
    area: f64,
    bounds: Bounds,
}

/// A part of a line between two lengths, mm, and the piece on which it lies.
struct Stretch {
    lengths: Range<f64>,
    piece: Option<usize>,
}

/// Finds for each drawn line the piece on which it lies, and parts those that lie on several.
pub(super) fn carry(pieces: Vec<Piece>) -> Vec<Piece> {
    let within = within(&pieces);
    let bounds: Vec<Bounds> = pieces.iter().map(Piece::bounds).collect();
    let outlines = outlines(&pieces);
    let crossing: Vec<Vec<Stretch>> = pieces
        .iter()
        .zip(&within)
        .map(|(piece, within)| match piece.lines.first() {
            Some(line) if within.is_none() && !bears(piece) => runs(&line.contour, &outlines),
            _ => Vec::new(),
        })
        .collect();
    let mut carried = Vec::with_capacity(pieces.len());
    for ((mut piece, within), runs) in pieces.into_iter().zip(within).zip(crossing) {
        let closed = piece.lines.first().is_some_and(|line| line.contour.closed);
        let alone = if let [run] = &runs[..] { run.piece } else { None };
        if runs.len() > 1 && !closed {
            carried.extend(parted(&piece, &runs, &bounds));
            continue;
        }
        if let Some(carrier) = within.or(alone) {
            piece.carrier = bounds[carrier];
        }
        carried.push(piece);
    }
    carried
}

/// The lines of `pieces`, those that were parted put together again where they meet.
pub(super) fn joined(pieces: impl Iterator<Item = Piece>) -> Vec<CutLine> {
    let mut lines: Vec<CutLine> = Vec::new();
    for piece in pieces {
        let before =
            lines.last_mut().filter(|_| piece.goes_on).map(|line| &mut line.contour.points);
        match (before, piece.lines.first().map(|line| &line.contour.points[..])) {
            (Some(before), Some([first, rest @ ..])) if before.last() == Some(first) => {
                let straight = |a: &Point, b: &Point| distance_to_segment(*first, *a, *b) < 1e-9;
                before.pop();
                if !before.last().zip(rest.first()).is_some_and(|(a, b)| straight(a, b)) {
                    before.push(*first);
                }
                before.extend_from_slice(rest);
            }
            _ => lines.extend(piece.lines),
        }
    }
    lines
}

/// Whether lines can lie on it: it has an outline that is cut.
fn bears(piece: &Piece) -> bool {
    piece.lines.first().is_some_and(|line| line.contour.closed && line.role == Role::Design)
}

/// For each piece that is a line the piece around it: that of the nearest cut line, unless it is a hole.
fn within(pieces: &[Piece]) -> Vec<Option<usize>> {
    let all =
        pieces.iter().enumerate().flat_map(|(i, piece)| piece.lines.iter().map(move |l| (i, l)));
    let (owners, lines): (Vec<usize>, Vec<&CutLine>) = all.unzip();
    let contours: Vec<LineRef> = lines.iter().map(|line| (&line.contour).into()).collect();
    let tree = contour_tree::build(&contours);
    let mut within = vec![None; pieces.len()];
    for line in (0..lines.len()).filter(|&line| !pieces[owners[line]].is_region) {
        let around = tree.ancestors(line).find(|&around| lines[around].role == Role::Design);
        // In a hole a line lies on no piece.
        let around = around.filter(|&around| lines[around].contour.signed_area() > 0.0);
        within[owners[line]] = around.map(|around| owners[around]);
    }
    within
}

fn outlines<'a>(pieces: &'a [Piece]) -> Vec<Outline<'a>> {
    let bearing = pieces.iter().enumerate().filter(|(_, piece)| bears(piece));
    let lines = bearing.flat_map(|(i, piece)| piece.lines.iter().map(move |line| (i, line)));
    let outline = |(piece, line): (usize, &'a CutLine)| {
        let contour = &line.contour;
        Outline { piece, contour, area: contour.signed_area(), bounds: contour.bounds() }
    };
    lines.map(outline).collect()
}

/// The pieces on which `line` lies, one after the other, and between which lengths it belongs to them.
fn runs(line: &Contour, outlines: &[Outline]) -> Vec<Stretch> {
    let bounds = line.bounds();
    let near: Vec<&Outline> = outlines.iter().filter(|o| o.bounds.touches(bounds)).collect();
    let mut runs: Vec<Stretch> = Vec::new();
    let on_pieces = stretches(line, &near).into_iter().filter(|stretch| stretch.piece.is_some());
    for on_piece in merged(on_pieces) {
        if on_piece.lengths.end - on_piece.lengths.start <= TOUCHES_MM {
            continue;
        }
        match runs.last_mut() {
            Some(run) if run.piece == on_piece.piece => run.lengths.end = on_piece.lengths.end,
            Some(run) => {
                let between = (run.lengths.end + on_piece.lengths.start) / 2.0;
                run.lengths.end = between;
                runs.push(Stretch { lengths: between..on_piece.lengths.end, ..on_piece });
            }
            None => runs.push(on_piece),
        }
    }
    runs
}

/// With neighbours on one piece that touch taken together.
fn merged(stretches: impl Iterator<Item = Stretch>) -> Vec<Stretch> {
    let mut merged: Vec<Stretch> = Vec::new();
    for stretch in stretches {
        match merged.last_mut() {
            Some(last)
                if last.piece == stretch.piece && last.lengths.end == stretch.lengths.start =>
            {
                last.lengths.end = stretch.lengths.end;
            }
            _ => merged.push(stretch),
        }
    }
    merged
}

/// The line divided at its vertices and where it crosses outlines.
fn stretches(line: &Contour, outlines: &[&Outline]) -> Vec<Stretch> {
    let mut stretches = Vec::new();
    let mut along = 0.0;
    for (a, b) in line.edges() {
        let mut at = vec![0.0, 1.0];
        for outline in outlines {
            at.extend(outline.contour.edges().filter_map(|edge| crossed((a, b), edge)));
        }
        at.sort_by(f64::total_cmp);
        let length = a.distance(b);
        for pair in at.windows(2).filter(|pair| pair[0] < pair[1]) {
            let lengths = along + pair[0] * length..along + pair[1] * length;
            let piece = piece_at(a.lerp(b, (pair[0] + pair[1]) / 2.0), outlines);
            stretches.push(Stretch { lengths, piece });
        }
        along += length;
    }
    stretches
}

/// Where on `edge`, from 0 to 1, it crosses `other`.
fn crossed((a, b): (Point, Point), (c, d): (Point, Point)) -> Option<f64> {
    let (own, other, apart) = (b - a, d - c, c - a);
    let area = own.cross(other);
    let (on_own, on_other) = (apart.cross(other) / area, apart.cross(own) / area);
    // Parallel edges give no number, which lies in no range.
    ((0.0..=1.0).contains(&on_own) && (0.0..=1.0).contains(&on_other)).then_some(on_own)
}

/// The piece of the smallest outline around `p`; in a hole there is none.
fn piece_at(p: Point, outlines: &[&Outline]) -> Option<usize> {
    let held = Bounds { min: p, max: p };
    let around = outlines.iter().filter(|o| o.bounds.holds(held) && o.contour.surrounds(p));
    let smallest = around.min_by(|a, b| a.area.abs().total_cmp(&b.area.abs()))?;
    (smallest.area > 0.0).then_some(smallest.piece)
}

/// The runs of an open line as pieces; its ends stay where they are.
fn parted(piece: &Piece, runs: &[Stretch], bounds: &[Bounds]) -> Vec<Piece> {
    let Some(line) = piece.lines.first() else { return Vec::new() };
    let last = runs.len() - 1;
    let of_run = |(i, run): (usize, &Stretch)| {
        let from = if i == 0 { 0.0 } else { run.lengths.start };
        let to = if i == last { f64::INFINITY } else { run.lengths.end };
        let contour = Contour::open(stretch(&line.contour.points, from, to));
        let carrier = run.piece.map_or(piece.carrier, |carrier| bounds[carrier]);
        let lines = vec![CutLine { contour, ..line.clone() }];
        Piece { lines, carrier, goes_on: i > 0, ..piece.clone() }
    };
    runs.iter().enumerate().map(of_run).collect()
}
