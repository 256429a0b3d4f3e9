//! Work that is too large for the machine → panels, each on a sheet of its own.
//!
//! Input: the films of a drawing. Output: for each panel and film a [`Layout`], and where its seams
//! are. Panels lie side by side across the film, or one after another along it where the work fits
//! across but is too long. Work that is too large both ways is parted along the film into rows first, and
//! each row across the film. Seams are straight, at the same place on every film, and chosen so that
//! they cut few pieces (`seams.rs`).
//!
//! Invariants: a piece that no seam cuts lies whole on one panel, even if it reaches over a seam by up
//! to half the overlap; a piece that is cut has its part up to half the overlap past the seam on either
//! panel, so that both lie on one another exactly there and nothing is missing. Two square marks stand on
//! every seam, outside the work (the seams of a row: outside the row's work), on both panels: laid on one another they put the panels in their places,
//! and being at the same distance along the film they show a slanted panel too.
//!
//! `pieces.rs` tells what of a piece lies on a panel, `carried.rs` on which piece a drawn line lies. Overlap and marks: common practice, no source.

mod carried;
mod pieces;
mod seams;

use crate::finding::{Finding, Place, counted};
use crate::geometry::{Bounds, Point};
use crate::ink::Film;
use crate::merge::TooFar;
use crate::profile::{FeedAxis, Machine};

use pieces::{Piece, part_of, pieces};

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

/// Pieces that are cut lie on a grid of 1 µm, so a panel may come out larger by one step on each side.
const CUT_GRID_MM: f64 = 0.001;
/// What the marks at both ends of a seam add to the work, mm.
const MARKS_MM: f64 = 2.0 * (marks::GAP_MM + marks::SIDE_MM);
/// A smaller panel is not worth its seams, mm.
const LEAST_PANEL_MM: f64 = 20.0;
/// More panels than this nobody lays.
const MOST_PANELS: f64 = 100.0;

/// What a panel may measure, marks and border not counted, mm.
#[derive(Debug, Clone, Copy)]
struct Rooms {
    feed: FeedAxis,
    along_mm: f64,
    across_mm: f64,
    overlap_mm: f64,
}

/// Work that lies side by side: all of it, or a row of it.
#[derive(Default)]
struct Row {
    /// Its pieces on each film.
    films: Vec<Vec<Piece>>,
    /// The marks by which it is laid beside the other rows.
    marks: Vec<CutLine>,
    /// What its seams with the other rows are on each film, and where they cut pieces.
    told: Vec<(String, Vec<Point>)>,
    /// "Row 1 of 3, " if there are several.
    name: String,
}

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
/// [`PlaceError`] when the machine's width is not known, or a panel would be too narrow.
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
    let all = Row { films, ..Row::default() };
    let (work, rooms) = (all.bounds(), Rooms::of(placement, machine)?);
    let across = other(rooms.feed);
    match rooms.exceeded(work) {
        (false, false) => whole(all.films, placement, machine),
        (false, true) => all.parted(&rooms.along(work, rooms.feed), 0, (placement, machine)),
        (true, false) => all.parted(&rooms.along(work, across), 0, (placement, machine)),
        (true, true) => {
            let mut panels: Vec<Panel> = Vec::new();
            for row in all.rows(&rooms.with_marks().along(work, rooms.feed))? {
                let before = panels.last().and_then(|panel| panel.number).unwrap_or(0);
                let along = rooms.along(row.bounds(), across);
                panels.extend(row.parted(&along, before, (placement, machine))?);
            }
            Ok(panels)
        }
    }
}

impl Rooms {
    fn of(placement: &Placement, machine: &Machine) -> Result<Self, PlaceError> {
        let limits = machine.limits_mm();
        let panels = placement.panels.unwrap_or(Panels { width_mm: None, overlap_mm: 0.0 });
        if limits.is_none() && panels.width_mm.is_none() {
            return Err(PlaceError::NoPanelWidth { machine: machine.name.clone() });
        }
        let edge =
            if machine.needs_compensation() && limits.is_some() { fit::EDGE_MM } else { 0.0 };
        let reserve = 2.0 * (edge + CUT_GRID_MM + placement.weeding.distance_mm().unwrap_or(0.0));
        let room = |axis| limits.map_or(f64::INFINITY, |b| extent(b, axis)) - reserve;
        let feed = machine.feed_axis.unwrap_or(FeedAxis::Y);
        let panel_mm = panels.width_mm.map_or(f64::INFINITY, |width| width - reserve);
        Ok(Self {
            feed,
            along_mm: room(feed),
            across_mm: room(other(feed)).min(panel_mm),
            overlap_mm: panels.overlap_mm,
        })
    }

    /// Along the film with room for the marks of seams that run along it.
    fn with_marks(self) -> Self {
        Self { along_mm: self.along_mm - MARKS_MM, ..self }
    }

    /// Whether `work` has to be parted across the film, and along it. Parted one way, it has marks at
    /// its ends the other way.
    fn exceeded(&self, work: Bounds) -> (bool, bool) {
        let marks = |parted: bool| if parted { MARKS_MM } else { 0.0 };
        let across = |long| extent(work, other(self.feed)) > self.across_mm - marks(long) + 1e-9;
        let along = |wide| extent(work, self.feed) > self.along_mm - marks(wide) + 1e-9;
        let wide = across(along(false));
        (wide, along(wide))
    }

    fn along(&self, work: Bounds, axis: FeedAxis) -> Along {
        let from = low(work, axis);
        let room_mm = if axis == self.feed { self.along_mm } else { self.across_mm };
        let work = [from, from + extent(work, axis)];
        Along { axis, work, room_mm, overlap_mm: self.overlap_mm }
    }
}

impl Row {
    fn bounds(&self) -> Bounds {
        let work = self.films.iter().flatten().fold(Bounds::EMPTY, |b, p| b.union(p.bounds()));
        work.union(bounds_of(&self.marks))
    }

    /// The rows of all work, from the beginning of the film on.
    fn rows(&self, along: &Along) -> Result<Vec<Self>, PlaceError> {
        let work = self.bounds();
        let seams = seams::choose(along, self.films.iter().flatten())?;
        let row = |part: Part| {
            let of_film = |pieces: &Vec<Piece>| {
                let parts = pieces.iter().map(|piece| part_of(piece, part, along));
                Ok(parts.collect::<Result<Vec<_>, TooFar>>()?.into_iter().flatten().collect())
            };
            let (number, of) = (part.number, part.of);
            Ok(Self {
                films: self.films.iter().map(of_film).collect::<Result<_, PlaceError>>()?,
                marks: part.finite().flat_map(|seam| marks_on(seam, work, along.axis)).collect(),
                told: self.films.iter().map(|pieces| seams_told(pieces, part, along)).collect(),
                name: format!("Row {number} of {of}, "),
            })
        };
        parts(&seams).map(row).collect()
    }

    /// The panels of the row, numbered from `before` on.
    fn parted(
        &self,
        along: &Along,
        before: usize,
        on: (&Placement, &Machine),
    ) -> Result<Vec<Panel>, PlaceError> {
        let fits = along.work[1] - along.work[0] <= along.room_mm + 1e-9;
        let pieces = self.films.iter().flatten();
        let seams = if fits { Vec::new() } else { seams::choose(along, pieces)? };
        let mut panels = Vec::new();
        for part in parts(&seams) {
            panels.extend(self.panel(part, along, on)?.into_iter().map(|panel| Panel {
                number: panel.number.map(|number| before + number),
                ..panel
            }));
        }
        Ok(panels)
    }

    /// One panel of every film that has work on it; where none has, one with its marks.
    fn panel(
        &self,
        part: Part,
        along: &Along,
        (placement, machine): (&Placement, &Machine),
    ) -> Result<Vec<Panel>, PlaceError> {
        let work = self.bounds();
        let middle = |line: &&CutLine| part.holds(along.axis.of(line.contour.bounds().center()));
        let mut layouts = Vec::new();
        let mut numbers = Vec::new();
        for (film, pieces) in self.films.iter().enumerate() {
            let mut parts = Vec::new();
            for piece in pieces {
                parts.extend(part_of(piece, part, along)?);
            }
            let lines = carried::joined(parts.into_iter());
            if !lines.is_empty() {
                layouts.push(Layout { lines });
                numbers.push(film);
            }
        }
        let empty = layouts.is_empty();
        if empty {
            // Without it its neighbours would have no seam in common.
            (layouts, numbers) = (vec![Layout::default()], vec![0]);
        }
        for layout in &mut layouts {
            layout.lines.extend(self.marks.iter().filter(middle).cloned());
            layout.lines.extend(part.finite().flat_map(|seam| marks_on(seam, work, along.axis)));
        }
        let (layouts, shift) = finished(layouts, None, placement, machine)?;
        let panels = numbers.into_iter().zip(layouts).map(|(film, layout)| Panel {
            film,
            number: Some(part.number),
            layout,
            findings: self.findings(film, part, (along, shift)).chain(only_marks(empty)).collect(),
        });
        Ok(panels.collect())
    }

    /// Where the panel's seams are, and what they cut of the film's pieces.
    fn findings(
        &self,
        film: usize,
        part: Part,
        (along, shift): (&Along, Point),
    ) -> impl Iterator<Item = Finding> {
        let placed = |points: Vec<Point>, finding: Finding| {
            let places: Vec<Point> = points.into_iter().map(|p| p + shift).collect();
            match places.split_first() {
                Some((first, others)) => finding.at(Place::sheet(*first)).also(others.to_vec()),
                None => finding,
            }
        };
        let row = self.told.get(film).map(|(text, points)| {
            let text = format!("{}as a whole: {text}.", self.name);
            let hint = "Lay the panels of each row together first, then the rows by the marks at their \
                        ends.";
            let here = points.iter().copied().filter(|p| part.holds(along.axis.of(*p)));
            placed(here.collect(), Finding::note("panel-row", text).hint(hint))
        });
        let panel = (part.of > 1).then(|| {
            let (text, points) = seams_told(&self.films[film], part, along);
            let name = if self.name.is_empty() { "Panel" } else { "panel" };
            let text = format!("{}{name} {} of {}: {text}.", self.name, part.number, part.of);
            let hint = format!(
                "Neighbouring panels overlap by {} mm where a piece is cut; lay them so that their \
                 square marks cover each other.",
                along.overlap_mm
            );
            placed(points, Finding::note("panel-seam", text).hint(hint))
        });
        panel.into_iter().chain(row)
    }
}

fn only_marks(empty: bool) -> Option<Finding> {
    let text = "Nothing lies on this panel: it carries only the marks between its neighbours.";
    empty.then(|| Finding::note("panel-empty", text))
}

impl Part {
    /// Its seams, without the ends of the work.
    fn finite(self) -> impl Iterator<Item = f64> {
        self.seams.into_iter().filter(|seam| seam.is_finite())
    }

    /// Whether a place along the axis is on this side of both seams.
    fn holds(self, at: f64) -> bool {
        self.seams[0] <= at && at < self.seams[1]
    }
}

impl Along {
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

fn low(b: Bounds, axis: FeedAxis) -> f64 {
    axis.of(b.min)
}

fn extent(b: Bounds, axis: FeedAxis) -> f64 {
    if axis == FeedAxis::X { b.width() } else { b.height() }
}

/// A point by its place along the axis and across it.
fn point(axis: FeedAxis, along: f64, across: f64) -> Point {
    if axis == FeedAxis::X { Point::new(along, across) } else { Point::new(across, along) }
}

/// The work on one sheet, as it is.
fn whole(
    films: Vec<Vec<Piece>>,
    placement: &Placement,
    machine: &Machine,
) -> Result<Vec<Panel>, PlaceError> {
    let note =
        Finding::note("panels-one", "The work fits the machine; it is not parted into panels.");
    let flat = |pieces: Vec<Piece>| Layout { lines: carried::joined(pieces.into_iter()) };
    let layouts = films.into_iter().map(flat).collect();
    let (layouts, _) = finished(layouts, None, placement, machine)?;
    let panel = |(film, layout)| Panel { film, number: None, layout, findings: vec![note.clone()] };
    Ok(layouts.into_iter().enumerate().map(panel).collect())
}

/// Two marks on a seam, before and past the work.
fn marks_on(seam: f64, work: Bounds, axis: FeedAxis) -> Vec<CutLine> {
    let across = other(axis);
    let around = work.grown(marks::GAP_MM + marks::SIDE_MM / 2.0);
    let ends = [low(around, across), low(around, across) + extent(around, across)];
    ends.map(|end| marks::mark(point(axis, seam, end))).to_vec()
}

/// From where to where a part reaches, what its seams cut of `pieces`, and where.
fn seams_told(pieces: &[Piece], part: Part, along: &Along) -> (String, Vec<Point>) {
    let [start, end] = along.work;
    let mut texts = Vec::new();
    let mut places = Vec::new();
    for seam in part.finite() {
        let cut: Vec<&Piece> =
            pieces.iter().filter(|piece| along.cuts(seam, piece.parted_by(along.axis))).collect();
        let cuts = counted(cut.len(), "1 piece", "pieces");
        texts.push(format!("the seam at {:.1} mm cuts {cuts}", seam - start));
        places.extend(cut.iter().map(|piece| seams::crossing(piece, seam, along.axis)));
    }
    let [from, to] = part.seams.map(|seam| seam.clamp(start, end) - start);
    let texts = texts.join(", ");
    (format!("from {from:.1} to {to:.1} mm of {:.1} mm; {texts}", end - start), places)
}
