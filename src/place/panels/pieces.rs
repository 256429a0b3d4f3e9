//! [`Piece`]s, and what of them lies on a panel.
//!
//! Method: Boolean intersection of each cut piece with the panel's box ([`crate::merge`]); drawn lines are
//! clipped edge by edge.

use crate::contour_tree;
use crate::drawing::FillRule;
use crate::geometry::{Bounds, Contour, LineRef, Point};
use crate::ink::Film;
use crate::merge::{self, Area, TooFar};
use crate::profile::FeedAxis;

use super::super::Role;
use super::{Along, CutLine, Part, extent, low, on, other, point};

/// An outline with its holes, or a drawn line.
#[derive(Clone)]
pub(super) struct Piece {
    pub(super) lines: Vec<CutLine>,
    /// It is material with an outline, not a line to be followed.
    pub(super) is_region: bool,
    /// The box around the piece on which a drawn line lies; its own if it lies on none.
    carrier: Bounds,
}

impl Piece {
    fn new(lines: Vec<CutLine>, is_region: bool) -> Self {
        let mut piece = Self { lines, is_region, carrier: Bounds::EMPTY };
        piece.carrier = piece.bounds();
        piece
    }

    pub(super) fn bounds(&self) -> Bounds {
        self.lines.first().map_or(Bounds::EMPTY, |line| line.contour.bounds())
    }

    /// From where to where it reaches along the axis.
    pub(super) fn span(&self, axis: FeedAxis) -> [f64; 2] {
        span(self.bounds(), axis)
    }
}

fn span(bounds: Bounds, axis: FeedAxis) -> [f64; 2] {
    [low(bounds, axis), low(bounds, axis) + extent(bounds, axis)]
}

/// The pieces of `film`, whose lines, regions first, were repeated to `lines`.
pub(super) fn pieces(film: &Film, lines: Vec<CutLine>) -> Vec<Piece> {
    let counts = film.regions.iter().map(|piece| (1 + piece.region.holes.len(), true));
    let drawn = film.lines.iter().map(|_| (1, false));
    let mut each = counts.chain(drawn).collect::<Vec<_>>().into_iter().cycle();
    let mut lines = lines.into_iter().peekable();
    let mut pieces = Vec::new();
    while lines.peek().is_some() {
        let Some((count, is_region)) = each.next() else { break };
        pieces.push(Piece::new(lines.by_ref().take(count).collect(), is_region));
    }
    if !film.lines.is_empty() {
        carry(&mut pieces);
    }
    pieces
}

/// Finds for each drawn line the piece on which it lies: that of the nearest cut line around it.
fn carry(pieces: &mut [Piece]) {
    let all =
        pieces.iter().enumerate().flat_map(|(i, piece)| piece.lines.iter().map(move |l| (i, l)));
    let (owners, lines): (Vec<usize>, Vec<&CutLine>) = all.unzip();
    let contours: Vec<LineRef> = lines.iter().map(|line| (&line.contour).into()).collect();
    let tree = contour_tree::build(&contours);
    let carrier = |line: usize| {
        let around = tree.ancestors(line).find(|&around| lines[around].role == Role::Design)?;
        // In a hole a line lies on no piece.
        (lines[around].contour.signed_area() > 0.0)
            .then(|| (owners[line], lines[around].contour.bounds()))
    };
    let drawn = (0..lines.len()).filter(|&line| !pieces[owners[line]].is_region);
    let carriers: Vec<(usize, Bounds)> = drawn.filter_map(carrier).collect();
    for (line, carrier) in carriers {
        pieces[line].carrier = carrier;
    }
}

/// What of `piece` lies on a panel. A line that is drawn on a piece goes where that piece goes.
pub(super) fn part_of(piece: &Piece, part: Part, along: &Along) -> Result<Vec<Piece>, TooFar> {
    let half = along.overlap_mm / 2.0;
    let carrier = span(piece.carrier, along.axis);
    // A seam that does not cut the piece does not end it either.
    let [before, after] = part.seams;
    let before = if along.cuts(before, carrier) { before } else { f64::NEG_INFINITY };
    let after = if along.cuts(after, carrier) { after } else { f64::INFINITY };
    let middle = |[from, to]: [f64; 2]| (from + to) / 2.0;
    if before.is_infinite() && after.is_infinite() {
        // The middle of a long piece that other seams cut lies on a panel between those.
        let here = part.holds(middle(carrier));
        return Ok(if here { vec![piece.clone()] } else { Vec::new() });
    }
    let own = piece.span(along.axis);
    if along.cuts(before, own) || along.cuts(after, own) {
        let from = if along.cuts(before, own) { before - half } else { f64::NEG_INFINITY };
        let to = if along.cuts(after, own) { after + half } else { f64::INFINITY };
        return clipped(piece, [from, to], along.axis);
    }
    let here = Part { seams: [before, after], ..part }.holds(middle(own));
    Ok(if here { vec![piece.clone()] } else { Vec::new() })
}

fn clipped(piece: &Piece, reach: [f64; 2], axis: FeedAxis) -> Result<Vec<Piece>, TooFar> {
    let Some(first) = piece.lines.first() else { return Ok(Vec::new()) };
    let like = |contours: Vec<Contour>| {
        let lines = contours.into_iter().map(|c| CutLine { contour: c, ..first.clone() });
        let part = Piece::new(lines.collect(), piece.is_region);
        if piece.is_region { part } else { Piece { carrier: piece.carrier, ..part } }
    };
    if !piece.is_region {
        let stretches = clipped_line(&first.contour, reach, axis);
        return Ok(stretches.into_iter().map(|stretch| like(vec![stretch])).collect());
    }
    let bounds = piece.bounds().grown(1.0);
    let [from, to] =
        reach.map(|end| end.clamp(low(bounds, axis), low(bounds, axis) + extent(bounds, axis)));
    let across = other(axis);
    let frame = Bounds {
        min: point(axis, from, low(bounds, across)),
        max: point(axis, to, low(bounds, across) + extent(bounds, across)),
    };
    let rings: Vec<Vec<Point>> =
        piece.lines.iter().map(|line| line.contour.points.clone()).collect();
    let area = Area::filled(&rings, FillRule::NonZero)?.within(&Area::rectangle(frame)?);
    let regions = merge::merge(&[area]).into_iter().map(|merged| merged.region);
    Ok(regions.map(|region| like([vec![region.outer], region.holes].concat())).collect())
}

/// The stretches of a drawn line within `reach`; a closed line that is cut becomes open ones.
fn clipped_line(line: &Contour, [from, to]: [f64; 2], axis: FeedAxis) -> Vec<Contour> {
    let mut stretches: Vec<Vec<Point>> = Vec::new();
    let mut whole = true;
    for (a, b) in line.edges() {
        let (s, e) = (on(a, axis), on(b, axis));
        let at = |limit: f64| ((limit - s) / (e - s)).clamp(0.0, 1.0);
        let (mut first, mut last) = (0.0, 1.0);
        for (limit, sign) in [(from, 1.0), (to, -1.0)] {
            match ((s - limit) * sign < 0.0, (e - limit) * sign < 0.0) {
                (true, true) => last = -1.0,
                (true, false) => first = f64::max(first, at(limit)),
                (false, true) => last = f64::min(last, at(limit)),
                (false, false) => {}
            }
        }
        whole &= first == 0.0 && last == 1.0;
        if first >= last {
            continue;
        }
        let (start, end) = (a.lerp(b, first), a.lerp(b, last));
        match stretches.last_mut() {
            Some(stretch) if stretch.last() == Some(&start) => stretch.push(end),
            _ => stretches.push(vec![start, end]),
        }
    }
    if whole {
        return vec![line.clone()];
    }
    // A closed line begins in the middle of a stretch: its last one runs on into its first.
    if line.closed
        && stretches.len() > 1
        && stretches[0].first() == stretches[stretches.len() - 1].last()
    {
        let first = stretches.remove(0);
        if let Some(last) = stretches.last_mut() {
            last.extend(first.into_iter().skip(1));
        }
    }
    stretches.into_iter().map(Contour::open).collect()
}
