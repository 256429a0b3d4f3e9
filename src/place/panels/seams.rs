//! Where the seams between panels are: [`choose`].
//!
//! Every seam may lie within a window, given by the room of the panels before and after it. It is put where it
//! costs least: a piece that it cuts costs [`PIECE_MM`], and each millimetre of material along it one more; pieces
//! that the seam does not cut cost nothing, so gaps are taken where there are any, and small pieces are
//! cut last, since they cost as much as large ones and leave crumbs, which cost once more.
//!
//! Method: places to choose from are the middles of all gaps in the window and a fine row; the length of
//! material along each by signed sums over the edges that cross it; the seams together by dynamic
//! programming (Bellman, 1957), so that one seam's good place does not spoil the next one's window.

use crate::geometry::Point;
use crate::profile::FeedAxis;

use super::{Along, LEAST_PANEL_MM, MOST_PANELS, Piece, PlaceError, other};

/// What cutting a piece costs, as mm of material along the seam.
const PIECE_MM: f64 = 50.0;
/// A cut that leaves less of a piece than this on one side costs another [`PIECE_MM`], mm.
const CRUMB_MM: f64 = 8.0;
/// What a millimetre away from even panels costs; only breaks ties.
const UNEVEN: f64 = 1e-4;
/// How many places of a fine row are tried for each seam, and how many gaps, the widest first.
const ROW: usize = 200;
const GAPS: usize = 200;

/// Places of the seams along the axis, ascending, mm.
pub(super) fn choose<'a>(
    along: &Along,
    pieces: impl Iterator<Item = &'a Piece>,
) -> Result<Vec<f64>, PlaceError> {
    let pieces: Vec<&Piece> = pieces.collect();
    let windows = windows(along)?;
    let spans: Vec<[f64; 2]> = pieces.iter().map(|piece| piece.parted_by(along.axis)).collect();
    let gaps = gaps(spans.clone(), along.overlap_mm / 2.0);
    let places: Vec<Vec<f64>> = windows.iter().map(|window| candidates(*window, &gaps)).collect();
    let mut sorted: Vec<f64> = places.iter().flatten().copied().collect();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup();
    let costs = costs(along, &pieces, &sorted);
    let cost = |place: f64| {
        let at = sorted.partition_point(|&other| other < place);
        costs.get(at).copied().unwrap_or(0.0)
    };
    Ok(cheapest(along, &places, cost))
}

/// The most that two neighbouring seams may lie apart, mm.
fn pitch(along: &Along) -> f64 {
    along.room_mm - 2.0 * along.past_seam_mm()
}

/// The least that two seams lie apart, mm.
fn least_apart(along: &Along) -> f64 {
    LEAST_PANEL_MM.min(pitch(along) / 2.0)
}

/// For each seam the places from which the panels before and after it can reach the work's ends.
fn windows(along: &Along) -> Result<Vec<[f64; 2]>, PlaceError> {
    let (pitch, past) = (pitch(along), along.past_seam_mm());
    let [from, to] = along.work;
    // The first and the last panel have a seam on one side only.
    let count = ((to - from - 2.0 * past) / pitch).ceil();
    if pitch < LEAST_PANEL_MM || count > MOST_PANELS {
        let room = along.room_mm.max(0.0);
        let least = LEAST_PANEL_MM.max((to - from) / MOST_PANELS) + 2.0 * past;
        return Err(PlaceError::PanelTooNarrow { room, least });
    }
    let count = count.max(2.0);
    let window = |i: u32| {
        let (before, after) = (f64::from(i), count - f64::from(i));
        let latest = from + before * pitch + past;
        let earliest = to - after * pitch - past;
        // A seam near an end would part next to nothing.
        [earliest.max(from + least_apart(along)), latest.min(to - least_apart(along))]
    };
    Ok((1..count as u32).map(window).collect())
}

/// The stretches that no piece reaches into by more than `half`, as [width, middle].
fn gaps(mut spans: Vec<[f64; 2]>, half: f64) -> Vec<[f64; 2]> {
    spans.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut gaps = Vec::new();
    let mut reached = f64::NEG_INFINITY;
    for [from, to] in spans {
        // A seam cuts what reaches more than half the overlap past it on either side.
        let (first, last) = (from + half, to - half);
        if first >= reached && reached.is_finite() {
            gaps.push([first - reached, (first + reached) / 2.0]);
        }
        reached = reached.max(last);
    }
    gaps
}

/// Places to choose from within a window.
fn candidates([from, to]: [f64; 2], gaps: &[[f64; 2]]) -> Vec<f64> {
    let step = (to - from) / (ROW - 1) as f64;
    let mut places: Vec<f64> = (0..ROW).map(|i| from + step * i as f64).collect();
    let mut near: Vec<[f64; 2]> =
        gaps.iter().copied().filter(|gap| gap[1] >= from && gap[1] <= to).collect();
    near.sort_by(|a, b| b[0].total_cmp(&a[0]));
    places.extend(near.iter().take(GAPS).map(|gap| gap[1]));
    places.sort_by(f64::total_cmp);
    places.dedup();
    places
}

/// What a seam at each of `places` (ascending) costs.
fn costs(along: &Along, pieces: &[&Piece], places: &[f64]) -> Vec<f64> {
    let mut costs = vec![0.0; places.len()];
    for piece in pieces {
        let span = piece.parted_by(along.axis);
        let cut = |&place: &f64| along.cuts(place, span);
        let first = places.partition_point(|&place| place < span[0]);
        let count = places[first..].partition_point(|&place| place < span[1]);
        let cut_places = &places[first..first + count];
        for (place, cost) in cut_places.iter().zip(&mut costs[first..]).filter(|(p, _)| cut(p)) {
            let crumb = (place - span[0]).min(span[1] - place) < CRUMB_MM;
            *cost += if crumb { 2.0 * PIECE_MM } else { PIECE_MM };
        }
        if piece.is_region && cut_places.iter().any(cut) {
            let lengths = material(piece, along.axis, cut_places);
            for ((place, cost), length) in cut_places.iter().zip(&mut costs[first..]).zip(lengths) {
                *cost += if cut(place) { length.abs() } else { 0.0 };
            }
        }
    }
    costs
}

/// The length of material along a straight line at each of `places` (ascending).
///
/// Along such a line the material ends and begins where edges cross it; which of both tells the
/// edge's direction, so a signed sum is the length.
fn material(piece: &Piece, axis: FeedAxis, places: &[f64]) -> Vec<f64> {
    let mut lengths = vec![0.0; places.len()];
    for (a, b) in piece.lines.iter().flat_map(|line| line.contour.edges()) {
        let (s, e) = (axis.of(a), axis.of(b));
        let first = places.partition_point(|&place| place < s.min(e));
        let last = places.partition_point(|&place| place < s.max(e));
        for (place, length) in places[first..last].iter().zip(&mut lengths[first..last]) {
            let t = (place - s) / (e - s);
            *length += other(axis).of(a.lerp(b, t)) * if s < e { -1.0 } else { 1.0 };
        }
    }
    lengths
}

/// A place within the piece on the seam: in the middle of its longest stretch there.
pub(super) fn crossing(piece: &Piece, seam: f64, axis: FeedAxis) -> Point {
    let edges = piece.lines.iter().flat_map(|line| line.contour.edges());
    let crossed = edges.filter(|(a, b)| (axis.of(*a) > seam) != (axis.of(*b) > seam));
    let mut at: Vec<f64> = crossed
        .map(|(a, b)| {
            let t = (seam - axis.of(a)) / (axis.of(b) - axis.of(a));
            other(axis).of(a.lerp(b, t))
        })
        .collect();
    at.sort_by(f64::total_cmp);
    let longest = at.chunks_exact(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])));
    let first = at.first().copied().unwrap_or_default();
    let across = longest.map_or(first, |pair| (pair[0] + pair[1]) / 2.0);
    super::point(axis, seam, across)
}

/// The places, one of each list, that together cost least.
fn cheapest(along: &Along, places: &[Vec<f64>], cost: impl Fn(f64) -> f64) -> Vec<f64> {
    let [from, to] = along.work;
    let even = |i: usize| from + (to - from) * (i + 1) as f64 / (places.len() + 1) as f64;
    let mut best: Vec<Vec<(f64, usize)>> = Vec::with_capacity(places.len());
    for (i, own) in places.iter().enumerate() {
        let reach = |place: f64| {
            let Some(before) = i.checked_sub(1) else { return Some((0.0, 0)) };
            let options = places[before].iter().zip(&best[before]).enumerate();
            let within = options.filter(|(_, (earlier, _))| {
                (least_apart(along) - 1e-9..=pitch(along) + 1e-9).contains(&(place - **earlier))
            });
            let cheap = within.min_by(|(_, (_, a)), (_, (_, b))| a.0.total_cmp(&b.0));
            cheap.map(|(j, (_, (total, _)))| (*total, j))
        };
        let row = own.iter().map(|&place| {
            let (total, before) = reach(place).unwrap_or((f64::INFINITY, 0));
            (total + cost(place) + UNEVEN * (place - even(i)).abs(), before)
        });
        let row = row.collect();
        best.push(row);
    }
    let last = best.last().map_or(&[][..], Vec::as_slice).iter().enumerate();
    let mut at = last.min_by(|a, b| a.1.0.total_cmp(&b.1.0)).map_or(0, |(j, _)| j);
    let mut seams = vec![0.0; places.len()];
    for i in (0..places.len()).rev() {
        seams[i] = places[i][at];
        at = best[i][at].1;
    }
    seams
}
