//! [`Piece`]s, and what of them lies on a panel.
//!
//! Method: Boolean intersection of each cut piece with the panel's box ([`crate::merge`]); drawn lines are
//! clipped edge by edge. `carried.rs` tells on which piece a drawn line lies.

use crate::clipping;
use crate::drawing::FillRule;
use crate::geometry::{Bounds, Contour, Point};
use crate::ink::Film;
use crate::merge::{self, Area, TooFar};
use crate::profile::FeedAxis;

use super::carried::carry;
use super::{Along, CutLine, Part, extent, low, other, point};

/// An outline with its holes, or a drawn line.
#[derive(Clone)]
pub(super) struct Piece {
    pub(super) lines: Vec<CutLine>,
    /// It is material with an outline, not a line to be followed.
    pub(super) is_region: bool,
    /// The box around the piece on which a drawn line lies; its own if it lies on none.
    pub(super) carrier: Bounds,
    /// It is a line's next stretch, which begins where the piece before it ends.
    pub(super) goes_on: bool,
}

impl Piece {
    fn new(lines: Vec<CutLine>, is_region: bool) -> Self {
        let mut piece = Self { lines, is_region, carrier: Bounds::EMPTY, goes_on: false };
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

    /// The places along the axis at which a seam parts it: within itself and what it lies on.
    pub(super) fn parted_by(&self, axis: FeedAxis) -> [f64; 2] {
        let (own, carrier) = (self.span(axis), span(self.carrier, axis));
        [own[0].max(carrier[0]), own[1].min(carrier[1])]
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
    if film.lines.is_empty() { pieces } else { carry(pieces) }
}

/// What of `piece` lies on a panel. A line that is drawn on a piece goes where that piece goes; where it
/// sticks out so far that the panel ends, it goes on on the next one.
pub(super) fn part_of(piece: &Piece, part: Part, along: &Along) -> Result<Vec<Piece>, TooFar> {
    let [before, after] = part.seams;
    let (half, past) = (along.overlap_mm / 2.0, along.past_seam_mm());
    let (own, carrier) = (piece.span(along.axis), span(piece.carrier, along.axis));
    let middle = |[from, to]: [f64; 2]| (from + to) / 2.0;
    let ends = part.seams.map(|seam| along.cuts(seam, carrier));
    if ends == [false, false] && !part.holds(middle(carrier)) {
        // The middle of a long piece that other seams cut lies on a panel between those.
        let past = past.copysign(before - middle(carrier));
        return within(piece, [before + past, after + past], along.axis);
    }
    // A seam that does not cut the piece does not end it either.
    let before_end = if ends[0] { before } else { f64::NEG_INFINITY };
    let after_end = if ends[1] { after } else { f64::INFINITY };
    let parted = [before_end, after_end].map(|end| along.cuts(end, own));
    if parted == [false, false] && !(before_end..after_end).contains(&middle(own)) {
        return Ok(Vec::new());
    }
    let from = if parted[0] { before - half } else { f64::NEG_INFINITY };
    let to = if parted[1] { after + half } else { f64::INFINITY };
    let from = if ends[0] { from } else { before - past };
    let to = if ends[1] { to } else { after + past };
    within(piece, [from, to], along.axis)
}

/// What of `piece` lies within `reach` along the axis.
fn within(piece: &Piece, reach: [f64; 2], axis: FeedAxis) -> Result<Vec<Piece>, TooFar> {
    let [from, to] = piece.span(axis);
    if reach[0] <= from && to <= reach[1] {
        return Ok(vec![piece.clone()]);
    }
    if to <= reach[0] || from >= reach[1] {
        return Ok(Vec::new());
    }
    clipped(piece, reach, axis)
}

fn clipped(piece: &Piece, reach: [f64; 2], axis: FeedAxis) -> Result<Vec<Piece>, TooFar> {
    let Some(first) = piece.lines.first() else { return Ok(Vec::new()) };
    let like = |contours: Vec<Contour>| {
        let lines = contours.into_iter().map(|c| CutLine { contour: c, ..first.clone() });
        let part = Piece::new(lines.collect(), piece.is_region);
        let (carrier, goes_on) = (piece.carrier, piece.goes_on);
        if piece.is_region { part } else { Piece { carrier, goes_on, ..part } }
    };
    if !piece.is_region {
        let stretches = clipping::clipped(&first.contour, reach, |p| axis.of(p));
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
