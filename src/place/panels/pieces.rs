//! [`Piece`]s, and what of them lies on a panel.
//!
//! Method: Boolean intersection of each cut piece with the panel's box ([`crate::merge`]); drawn lines are
//! clipped edge by edge.

use crate::drawing::FillRule;
use crate::geometry::{Bounds, Contour, Point};
use crate::ink::Film;
use crate::merge::{self, Area, TooFar};
use crate::profile::FeedAxis;

use super::{Along, CutLine, Part, extent, low, on, other, point};

/// An outline with its holes, or a drawn line.
#[derive(Clone)]
pub(super) struct Piece {
    pub(super) lines: Vec<CutLine>,
    /// It is material with an outline, not a line to be followed.
    pub(super) is_region: bool,
}

impl Piece {
    pub(super) fn bounds(&self) -> Bounds {
        self.lines.first().map_or(Bounds::EMPTY, |line| line.contour.bounds())
    }

    /// From where to where it reaches along the axis.
    pub(super) fn span(&self, axis: FeedAxis) -> [f64; 2] {
        let bounds = self.bounds();
        [low(bounds, axis), low(bounds, axis) + extent(bounds, axis)]
    }
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
        pieces.push(Piece { lines: lines.by_ref().take(count).collect(), is_region });
    }
    pieces
}

/// What of `piece` lies on a panel.
pub(super) fn part_of(piece: &Piece, part: Part, along: &Along) -> Result<Vec<Piece>, TooFar> {
    let span = piece.span(along.axis);
    let [before, after] = part.seams;
    let half = along.overlap_mm / 2.0;
    let cut = |seam: f64| seam.is_finite() && along.cuts(seam, span);
    if cut(before) || cut(after) {
        // A seam that does not cut the piece does not end it either.
        let from = if cut(before) { before - half } else { f64::NEG_INFINITY };
        let to = if cut(after) { after + half } else { f64::INFINITY };
        return clipped(piece, [from, to], along.axis);
    }
    // The middle of a long piece that other seams cut lies on a panel between those.
    let here = part.holds((span[0] + span[1]) / 2.0);
    Ok(if here { vec![piece.clone()] } else { Vec::new() })
}

fn clipped(piece: &Piece, reach: [f64; 2], axis: FeedAxis) -> Result<Vec<Piece>, TooFar> {
    let Some(first) = piece.lines.first() else { return Ok(Vec::new()) };
    let like = |contours: Vec<Contour>| Piece {
        lines: contours.into_iter().map(|c| CutLine { contour: c, ..first.clone() }).collect(),
        is_region: piece.is_region,
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
    let regions = merge::merge(&[area], 1).into_iter().map(|merged| merged.region);
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
