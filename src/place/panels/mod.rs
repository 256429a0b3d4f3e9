//! Work that is too large for the machine → panels, each on a sheet of its own.
//!
//! Input: the films of a drawing. Output: for each panel and film a [`Layout`], and where its seams
//! are. Panels lie side by side across the film, or one after another along it where the work fits
//! across but is too long. Seams are straight, at the same place on every film, and chosen so that
//! they cut few pieces (`seams.rs`).
//!
//! Invariants: a piece that no seam cuts lies whole on one panel, even if it reaches over a seam by up
//! to half the overlap; a piece that is cut has its part up to half the overlap past the seam on either
//! panel, so that both lie on one another exactly there and nothing is missing. Two square marks stand on
//! every seam, outside the work, on both panels: laid on one another they put the panels in their places,
//! and being at the same distance along the film they show a slanted panel too.
//!
//! Method: Boolean intersection of each cut piece with the panel's box ([`crate::merge`]); drawn lines are
//! clipped edge by edge. Overlap and marks: common practice, no source.

mod seams;

use crate::drawing::FillRule;
use crate::finding::{Finding, Place, counted};
use crate::geometry::{Bounds, Contour, Point};
use crate::ink::Film;
use crate::merge::{self, Area, TooFar};
use crate::profile::{FeedAxis, Machine};

use super::{
    CutLine, Layout, PlaceError, Placement, bounds_of, copies, finished, fit, marks, turn,
};

/// How work is parted into panels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Panels {
    /// Largest width of a panel, marks and border included, mm; `None` takes what the machine
    /// reaches.
    pub width_mm: Option<f64>,
    /// How far two panels overlap at their seam, mm.
    pub overlap_mm: f64,
}

/// One film of one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// Index of the film.
    pub film: usize,
    /// Number of the panel, from 1, in the order along x or y; `None` when one sheet is enough.
    pub number: Option<usize>,
    /// Its lines.
    pub layout: Layout,
    /// Where its seams are, and what they cut.
    pub findings: Vec<Finding>,
}

/// A smaller panel is not worth its seams, mm.
const LEAST_PANEL_MM: f64 = 20.0;
/// More panels than this nobody lays.
const MOST_PANELS: f64 = 100.0;

/// The work along the axis on which it is parted.
#[derive(Debug, Clone, Copy)]
struct Along {
    axis: FeedAxis,
    /// Least and largest coordinate of the work, mm.
    work: [f64; 2],
    /// Room of a panel between its edges, mm.
    room_mm: f64,
    overlap_mm: f64,
}

/// A panel's part of the work along the axis, mm.
#[derive(Debug, Clone, Copy)]
struct Part {
    number: usize,
    of: usize,
    /// Seams on either side; infinite at the ends of the work.
    seams: [f64; 2],
}

/// Parts `films` of one drawing into panels, all about the same origin.
///
/// # Errors
/// [`PlaceError`] when the machine's width is not known, a panel would be too narrow, or the work is
/// too large in both directions.
pub fn panels(
    films: &[&Film],
    page_mm: (f64, f64),
    placement: &Placement,
    machine: &Machine,
) -> Result<Vec<Panel>, PlaceError> {
    let turned: Vec<_> = films.iter().map(|film| turn(film, page_mm, placement).lines).collect();
    let design = turned.iter().fold(Bounds::EMPTY, |b, lines| b.union(bounds_of(lines)));
    let films: Vec<Vec<Piece>> = films
        .iter()
        .zip(turned)
        .map(|(film, lines)| pieces(film, copies(lines, design, placement)))
        .collect();
    let work = films.iter().flatten().fold(Bounds::EMPTY, |b, piece| b.union(piece.bounds()));
    let Some(along) = Along::of(work, placement, machine)? else {
        return whole(films, placement, machine);
    };
    let seams = seams::choose(&along, films.iter().flatten())?;
    let mut panels = Vec::new();
    for part in parts(&seams) {
        panels.extend(panel(&films, part, (&along, work), (placement, machine))?);
    }
    Ok(panels)
}

impl Along {
    /// How the work is parted; `None` when it fits the machine as it is.
    fn of(
        work: Bounds,
        placement: &Placement,
        machine: &Machine,
    ) -> Result<Option<Self>, PlaceError> {
        let Some(panels) = placement.panels else { return Ok(None) };
        let limits = machine.limits_mm();
        if limits.is_none() && panels.width_mm.is_none() {
            return Err(PlaceError::NoPanelWidth { machine: machine.name.clone() });
        }
        let edge =
            if machine.needs_compensation() && limits.is_some() { fit::EDGE_MM } else { 0.0 };
        let reserve = 2.0 * (edge + placement.weeding.distance_mm().unwrap_or(0.0));
        let room = |axis| limits.map_or(f64::INFINITY, |b| extent(b, axis)) - reserve;
        let feed = machine.feed_axis.unwrap_or(FeedAxis::Y);
        let across = other(feed);
        let panel_mm = panels.width_mm.map_or(f64::INFINITY, |width| width - reserve);
        let split = |axis: FeedAxis, room_mm: f64| Self {
            axis,
            work: [low(work, axis), low(work, axis) + extent(work, axis)],
            room_mm,
            overlap_mm: panels.overlap_mm,
        };
        let wide = extent(work, across) > room(across).min(panel_mm) + 1e-9;
        let with_marks = extent(work, feed) + 2.0 * (marks::GAP_MM + marks::SIDE_MM);
        if wide && with_marks > room(feed) {
            let (width, height, machine) = (work.width(), work.height(), machine.name.clone());
            return Err(PlaceError::TooLargeBothWays { width, height, machine });
        }
        let long = extent(work, feed) > room(feed) + 1e-9;
        Ok(match (wide, long) {
            (true, _) => Some(split(across, room(across).min(panel_mm))),
            (false, true) => Some(split(feed, room(feed))),
            (false, false) => None,
        })
    }

    /// How far a panel reaches past its seam, mm: half the overlap, and half a mark at least.
    fn past_seam_mm(&self) -> f64 {
        (self.overlap_mm / 2.0).max(marks::SIDE_MM / 2.0)
    }

    /// Whether a seam cuts what reaches from `from` to `to`.
    fn cuts(&self, seam: f64, [from, to]: [f64; 2]) -> bool {
        let half = self.overlap_mm / 2.0;
        from < seam - half && to > seam + half
    }
}

fn parts(seams: &[f64]) -> impl Iterator<Item = Part> {
    let of = seams.len() + 1;
    let at = |i: usize| seams.get(i).copied();
    (0..of).map(move |i| {
        let before = i.checked_sub(1).and_then(at).unwrap_or(f64::NEG_INFINITY);
        Part { number: i + 1, of, seams: [before, at(i).unwrap_or(f64::INFINITY)] }
    })
}

/// The axis across.
fn other(axis: FeedAxis) -> FeedAxis {
    match axis {
        FeedAxis::X => FeedAxis::Y,
        FeedAxis::Y => FeedAxis::X,
    }
}

fn on(p: Point, axis: FeedAxis) -> f64 {
    if axis == FeedAxis::X { p.x } else { p.y }
}

fn low(b: Bounds, axis: FeedAxis) -> f64 {
    on(b.min, axis)
}

fn extent(b: Bounds, axis: FeedAxis) -> f64 {
    if axis == FeedAxis::X { b.width() } else { b.height() }
}

/// A point by its place along the axis and across it.
fn point(axis: FeedAxis, along: f64, across: f64) -> Point {
    if axis == FeedAxis::X { Point::new(along, across) } else { Point::new(across, along) }
}

/// An outline with its holes, or a drawn line.
struct Piece {
    lines: Vec<CutLine>,
    /// It is material with an outline, not a line to be followed.
    is_region: bool,
}

impl Piece {
    fn bounds(&self) -> Bounds {
        self.lines.first().map_or(Bounds::EMPTY, |line| line.contour.bounds())
    }

    /// From where to where it reaches along the axis.
    fn span(&self, axis: FeedAxis) -> [f64; 2] {
        let bounds = self.bounds();
        [low(bounds, axis), low(bounds, axis) + extent(bounds, axis)]
    }
}

/// The pieces of `film`, whose lines, regions first, were repeated to `lines`.
fn pieces(film: &Film, lines: Vec<CutLine>) -> Vec<Piece> {
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

/// The work on one sheet, as it is.
fn whole(
    films: Vec<Vec<Piece>>,
    placement: &Placement,
    machine: &Machine,
) -> Result<Vec<Panel>, PlaceError> {
    let note =
        Finding::note("panels-one", "The work fits the machine; it is not parted into panels.");
    let flat =
        |pieces: Vec<Piece>| Layout { lines: pieces.into_iter().flat_map(|p| p.lines).collect() };
    let layouts = films.into_iter().map(flat).collect();
    let (layouts, _) = finished(layouts, None, placement, machine)?;
    let panel = |(film, layout)| Panel { film, number: None, layout, findings: vec![note.clone()] };
    Ok(layouts.into_iter().enumerate().map(panel).collect())
}

/// One panel of every film that has work on it.
fn panel(
    films: &[Vec<Piece>],
    part: Part,
    (along, work): (&Along, Bounds),
    (placement, machine): (&Placement, &Machine),
) -> Result<Vec<Panel>, PlaceError> {
    let mut layouts = Vec::new();
    let mut numbers = Vec::new();
    for (film, pieces) in films.iter().enumerate() {
        let mut lines = Vec::new();
        for piece in pieces {
            lines.extend(part_of(piece, part, along)?);
        }
        if !lines.is_empty() {
            let seams = part.seams.into_iter().filter(|seam| seam.is_finite());
            lines.extend(seams.flat_map(|seam| marks_on(seam, work, along.axis)));
            layouts.push(Layout { lines });
            numbers.push(film);
        }
    }
    if layouts.is_empty() {
        return Ok(Vec::new());
    }
    let (layouts, shift) = finished(layouts, None, placement, machine)?;
    let panels = numbers.into_iter().zip(layouts).map(|(film, layout)| Panel {
        film,
        number: Some(part.number),
        layout,
        findings: told(&films[film], part, along, shift),
    });
    Ok(panels.collect())
}

/// Two marks on a seam, before and past the work.
fn marks_on(seam: f64, work: Bounds, axis: FeedAxis) -> Vec<CutLine> {
    let across = other(axis);
    let around = work.grown(marks::GAP_MM + marks::SIDE_MM / 2.0);
    let ends = [low(around, across), low(around, across) + extent(around, across)];
    ends.map(|end| marks::mark(point(axis, seam, end))).to_vec()
}

/// What of `piece` lies on a panel.
fn part_of(piece: &Piece, part: Part, along: &Along) -> Result<Vec<CutLine>, TooFar> {
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
    let middle = (span[0] + span[1]) / 2.0;
    let here = before <= middle && middle < after;
    // The middle of a long piece that other seams cut lies on a panel between those.
    Ok(if here { piece.lines.clone() } else { Vec::new() })
}

fn clipped(piece: &Piece, reach: [f64; 2], axis: FeedAxis) -> Result<Vec<CutLine>, TooFar> {
    let Some(first) = piece.lines.first() else { return Ok(Vec::new()) };
    let like = |contour: Contour| CutLine { contour, ..first.clone() };
    if !piece.is_region {
        return Ok(clipped_line(&first.contour, reach, axis).into_iter().map(like).collect());
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
    let lines = regions.flat_map(|region| {
        std::iter::once(region.outer).chain(region.holes).map(like).collect::<Vec<_>>()
    });
    Ok(lines.collect())
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

/// Where the panel's seams are, and what they cut of the film's `pieces`.
fn told(pieces: &[Piece], part: Part, along: &Along, shift: Point) -> Vec<Finding> {
    let start = along.work[0];
    let mut texts = Vec::new();
    let mut places = Vec::new();
    for seam in part.seams.into_iter().filter(|seam| seam.is_finite()) {
        let cut: Vec<&Piece> =
            pieces.iter().filter(|piece| along.cuts(seam, piece.span(along.axis))).collect();
        let cuts = counted(cut.len(), "1 piece", "pieces");
        texts.push(format!("the seam at {:.1} mm cuts {cuts}", seam - start));
        places.extend(cut.iter().map(|piece| seams::crossing(piece, seam, along.axis) + shift));
    }
    let [from, to] = part.seams.map(|seam| seam.clamp(along.work[0], along.work[1]) - start);
    let text = format!(
        "Panel {} of {}: from {from:.1} to {to:.1} mm of {:.1} mm; {}.",
        part.number,
        part.of,
        along.work[1] - start,
        texts.join(", "),
    );
    let hint = format!(
        "Neighbouring panels overlap by {} mm where a piece is cut; lay them so that their square \
         marks cover each other.",
        along.overlap_mm
    );
    let finding = Finding::note("panel-seam", text).hint(hint);
    vec![match places.split_first() {
        Some((first, others)) => finding.at(Place::sheet(*first)).also(others.to_vec()),
        None => finding,
    }]
}
