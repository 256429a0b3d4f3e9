//! Separate pieces → laid out again so that they take little film.
//!
//! A piece is an outermost contour with all that lies inside it, and with the lines that cross it or
//! end on it: a fold that runs from edge to edge stays on its card. Input: the lines of the design, y up.
//! Output: the same lines, moved and turned, from 0,0 towards the feed; and a finding that tells the film
//! used against the least that the pieces' area needs.
//!
//! Method: bottom-left fill on true shapes (the heuristic of Baker, Coffman and Rivest, 1980, on a
//! raster as Oliveira and Ferreira, 1993, rather than on boxes): pieces by falling area, each at
//! the place and in the direction in which it ends earliest along the film. The raster marks every
//! cell that a piece touches and is grown by the gap, so the gap holds exactly, not just nearly.
//! With few pieces several orders, aims and sets of directions are tried, and the shortest result is
//! taken: one rule never suits all shapes, and more directions must not end worse than fewer.

use std::collections::BTreeMap;

use super::{CutLine, MOST_COPIES, PlaceError, Placement, fit, mapped, quarter_exact};
use crate::contour_tree;
use crate::edges::EdgeIndex;
use crate::finding::{Finding, counted};
use crate::geometry::{Bounds, Contour, LineRef, Point, distance_to_segment};
use crate::parallel;
use crate::profile::{FeedAxis, Machine};
use crate::sets::Sets;

/// All pieces together cover about this many cells: fine enough for shapes to mesh, few enough for
/// hundreds of pieces in a second.
const CELLS: f64 = 40_000.0;
/// Smallest and largest cell, mm.
const CELL_MM: [f64; 2] = [0.25, 4.0];
/// A line that comes so near to another one meets it, mm: two plotter units. Smaller, and folds of a
/// drawing with two decimals could leave their card.
const MEETS_MM: f64 = 0.05;
/// Size of the cells in which lines that meet are looked for, mm.
const MEETING_CELL_MM: f64 = 2.0;

/// Packs the pieces of `lines`, each as often as there are copies.
pub(super) fn pack(
    lines: &[CutLine],
    placement: &Placement,
    machine: &Machine,
) -> Result<(Vec<CutLine>, Finding), PlaceError> {
    let room = Room::of(placement, machine)?;
    let mut pieces = pieces(lines);
    let copies = (placement.copies.0.max(1) as usize) * (placement.copies.1.max(1) as usize);
    pieces = repeated(pieces, copies.min(MOST_COPIES as usize));
    let area: f64 = pieces.iter().map(Piece::area).sum();
    let cell = (area / CELLS).sqrt().clamp(CELL_MM[0], CELL_MM[1]);
    let attempts = attempts(room.turns, pieces.len());
    let laid = parallel::map(attempts.len(), |i| filled(&pieces, attempts[i], &room, cell));
    // Where a piece does not fit in any way, the first attempt, with all directions, tells which.
    let wide = laid.first().and_then(|first| first.as_ref().err().copied());
    let shortest = laid.into_iter().flatten().min_by(|a, b| a.length_mm.total_cmp(&b.length_mm));
    let Some(Filled { mut lines, length_mm }) = shortest else {
        return Err(room.too_wide(&pieces[wide.unwrap_or(0)], machine));
    };
    let finding = room.told(pieces.len(), length_mm, area);
    if room.feeds_up {
        lines.iter_mut().for_each(stand_up);
    }
    Ok((lines, finding))
}

/// One way to go about it.
#[derive(Debug, Clone, Copy)]
struct Attempt {
    /// How many directions of a piece are tried.
    turns: u32,
    /// Which pieces come first.
    first: First,
    /// Where a piece is laid.
    aim: Aim,
}

/// Which pieces are laid first.
#[derive(Debug, Clone, Copy)]
enum First {
    LargestArea,
    LongestSide,
}

/// Which of a piece's places is the best.
#[derive(Debug, Clone, Copy)]
enum Aim {
    /// Where it ends earliest along the film.
    EarliestEnd,
    /// Where its middle lies earliest along the film.
    EarliestMiddle,
}

/// With more pieces than this only one attempt is made, and with more than the first number only
/// those with all directions: the work grows with the square of the pieces.
const FEW: [usize; 2] = [80, 300];

/// The attempts that are made; the first one has all directions.
fn attempts(turns: u32, pieces: usize) -> Vec<Attempt> {
    let fewer = [8, 4, 2, 1].into_iter().filter(|&n| n < turns && turns.is_multiple_of(n));
    let all: Vec<u32> = std::iter::once(turns).chain(fewer).collect();
    let mut attempts = Vec::new();
    for turns in all {
        for first in [First::LargestArea, First::LongestSide] {
            for aim in [Aim::EarliestEnd, Aim::EarliestMiddle] {
                attempts.push(Attempt { turns, first, aim });
            }
        }
    }
    match pieces {
        n if n <= FEW[0] => {}
        n if n <= FEW[1] => attempts.truncate(4),
        _ => attempts.truncate(1),
    }
    attempts
}

/// All pieces laid.
struct Filled {
    lines: Vec<CutLine>,
    /// Film used, mm.
    length_mm: f64,
}

/// Lays `pieces` in one way; the number of a piece that is wider than the film where one is.
fn filled(pieces: &[Piece], attempt: Attempt, room: &Room, cell: f64) -> Result<Filled, usize> {
    let size = |i: &usize| match attempt.first {
        First::LargestArea => pieces[*i].area(),
        First::LongestSide => {
            let bounds = pieces[*i].bounds();
            bounds.width().max(bounds.height())
        }
    };
    let mut order: Vec<(f64, usize)> = (0..pieces.len()).map(|i| (size(&i), i)).collect();
    order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut sheet = Sheet::new(room, attempt, cell);
    let mut laid: Vec<Vec<CutLine>> = vec![Vec::new(); pieces.len()];
    for (_, i) in order {
        laid[i] = sheet.lay(&pieces[i]).ok_or(i)?;
    }
    let lines: Vec<CutLine> = laid.into_iter().flatten().collect();
    let bounds = lines.iter().fold(Bounds::EMPTY, |b, line| b.union(line.contour.bounds()));
    Ok(Filled { lines, length_mm: bounds.max.x })
}

/// The film: endless along x here, so wide along y.
struct Room {
    width_mm: f64,
    gap_mm: f64,
    turns: u32,
    feeds_up: bool,
}

impl Room {
    fn of(placement: &Placement, machine: &Machine) -> Result<Self, PlaceError> {
        let area = machine
            .limits_mm()
            .ok_or_else(|| PlaceError::NoWidth { machine: machine.name.clone() })?;
        let feeds_up = machine.feed_axis == Some(FeedAxis::Y);
        let across = if feeds_up { area.width() } else { area.height() };
        let border = placement.weeding.distance_mm().unwrap_or(0.0);
        Ok(Self {
            width_mm: across - 2.0 * (fit::EDGE_MM + border),
            gap_mm: placement.gap_mm.max(0.0),
            turns: placement.pack_turns.unwrap_or(1).max(1),
            feeds_up,
        })
    }

    fn too_wide(&self, piece: &Piece, machine: &Machine) -> PlaceError {
        let bounds = piece.bounds();
        PlaceError::PieceTooWide {
            width: bounds.width(),
            height: bounds.height(),
            room: self.width_mm,
            machine: machine.name.clone(),
        }
    }

    fn told(&self, pieces: usize, length: f64, area: f64) -> Finding {
        let least = area / self.width_mm;
        let share = 100.0 * least / length.max(1e-9);
        let take = counted(pieces, "One piece takes", "pieces take");
        let text = format!(
            "{take} {length:.1} mm of film {:.1} mm wide; the area alone needs {least:.1} mm ({share:.0} %).",
            self.width_mm
        );
        Finding::note("film-used", text)
    }
}

/// Along y instead of along x: a quarter turn, so that nothing is mirrored.
fn stand_up(line: &mut CutLine) {
    for p in &mut line.contour.points {
        *p = Point::new(-p.y, p.x);
    }
}

/// Outermost lines that meet, with all that lies inside; mostly it is one outermost line.
#[derive(Clone, Default)]
struct Piece {
    /// The outermost ones first.
    lines: Vec<CutLine>,
    /// How many are outermost.
    outermost: usize,
}

impl Piece {
    fn add(&mut self, line: CutLine, is_outermost: bool) {
        if is_outermost {
            self.lines.insert(self.outermost, line);
            self.outermost += 1;
        } else {
            self.lines.push(line);
        }
    }

    fn bounds(&self) -> Bounds {
        self.lines.iter().fold(Bounds::EMPTY, |b, line| b.union(line.contour.bounds()))
    }

    /// Its closed outermost lines: what is inside cannot be used by another piece.
    fn outlines(&self) -> impl Iterator<Item = &Contour> {
        self.lines[..self.outermost].iter().map(|line| &line.contour).filter(|c| c.closed)
    }

    /// The area that it needs at least, mm²: that inside its largest outline, since outlines that
    /// meet may overlap.
    fn area(&self) -> f64 {
        self.outlines().map(|c| c.signed_area().abs()).fold(0.0, f64::max)
    }

    /// Turned, with its box's lower left corner at 0,0.
    fn turned(&self, degrees: f64) -> Self {
        let turn = quarter_exact(degrees);
        let mut lines = self.lines.clone();
        for line in &mut lines {
            line.contour = mapped(&line.contour, turn);
        }
        let mut piece = Self { lines, ..*self };
        let corner = piece.bounds().min;
        piece.shift(Point::ORIGIN - corner);
        piece
    }

    fn shift(&mut self, by: Point) {
        for p in self.lines.iter_mut().flat_map(|line| &mut line.contour.points) {
            *p = *p + by;
        }
    }
}

/// The pieces in the order of their first outermost lines.
fn pieces(lines: &[CutLine]) -> Vec<Piece> {
    let contours: Vec<LineRef> = lines.iter().map(|line| (&line.contour).into()).collect();
    let tree = contour_tree::build(&contours);
    let outermost = |line: usize| tree.ancestors(line).last().unwrap_or(line);
    let mut sets = Sets::new(lines.len());
    for (a, b) in meetings(&contours) {
        sets.join(outermost(a), outermost(b));
    }
    let mut pieces: BTreeMap<usize, Piece> = BTreeMap::new();
    for (i, line) in lines.iter().enumerate() {
        let piece = pieces.entry(sets.root(outermost(i))).or_default();
        piece.add(line.clone(), tree.parent[i].is_none());
    }
    pieces.into_values().collect()
}

/// Lines that cross, and open lines that touch another one. Closed lines that only touch are
/// pieces of their own.
fn meetings(lines: &[LineRef]) -> Vec<(usize, usize)> {
    let index = EdgeIndex::new(lines.iter().copied(), MEETING_CELL_MM);
    let mut met = index.crossing_lines();
    if lines.iter().all(|line| line.closed) {
        return met;
    }
    for (i, line) in lines.iter().enumerate() {
        for &p in line.points {
            index.in_box(Bounds { min: p, max: p }.grown(MEETS_MM), |(j, _), (a, b)| {
                let open = !(line.closed && lines[j].closed);
                if i != j && open && distance_to_segment(p, a, b) <= MEETS_MM {
                    met.push((i, j));
                }
            });
        }
    }
    met
}

fn repeated(pieces: Vec<Piece>, copies: usize) -> Vec<Piece> {
    (0..copies).flat_map(|_| pieces.iter().cloned()).collect()
}

/// Cells column by column along the film; a column is a row of bits across it.
type Columns = Vec<Vec<u64>>;

/// What is taken of the film.
struct Sheet {
    cell: f64,
    /// Cells across the film.
    across: usize,
    /// Cells of gap around each piece.
    margin: usize,
    gap: f64,
    attempt: Attempt,
    /// Taken cells, with a margin before the first column and below the first bit.
    columns: Columns,
    /// Shapes laid before, by direction: the same shape never fits nearer to the beginning.
    before: Vec<Option<(Columns, usize)>>,
}

/// A place found for a piece in one direction.
struct Found {
    piece: Piece,
    cells: Columns,
    column: usize,
    bit: usize,
    /// How far along the film, mm: the less the better.
    at: f64,
}

impl Sheet {
    fn new(room: &Room, attempt: Attempt, cell: f64) -> Self {
        Self {
            cell,
            across: (room.width_mm / cell).floor().max(0.0) as usize,
            margin: (room.gap_mm / cell).ceil() as usize + 1,
            gap: room.gap_mm,
            attempt,
            columns: Vec::new(),
            before: vec![None; attempt.turns as usize],
        }
    }

    /// Lays `piece` where it is best; `None` when it is wider than the film.
    fn lay(&mut self, piece: &Piece) -> Option<Vec<CutLine>> {
        let turns = self.attempt.turns;
        let mut best: Option<Found> = None;
        for turn in 0..turns {
            let degrees = 360.0 * f64::from(turn) / f64::from(turns);
            let found = self.find(piece.turned(degrees), turn as usize);
            if let Some(found) = found
                && best.as_ref().is_none_or(|b| found.at < b.at - 1e-9)
            {
                best = Some(found);
            }
        }
        let Found { mut piece, cells, column, bit, .. } = best?;
        self.take(&cells, column, bit);
        piece.shift(Point::new(column as f64 * self.cell, bit as f64 * self.cell));
        Some(piece.lines)
    }

    /// The first free place for a turned piece.
    fn find(&mut self, piece: Piece, turn: usize) -> Option<Found> {
        let bounds = piece.bounds();
        let tall = (bounds.max.y / self.cell).floor() as usize + 1;
        let highest = self.across.checked_sub(tall)?;
        let cells = raster(&piece, self.cell, self.words());
        let grown = grown(&cells, self.margin, self.gap / self.cell);
        let known = self.before.get(turn).and_then(Option::as_ref);
        let start = known.filter(|(same, _)| *same == cells).map_or(0, |(_, column)| *column);
        let place = (start..=self.columns.len()).find_map(|column| {
            (0..=highest).find(|&bit| self.is_free(&grown, column, bit)).map(|bit| (column, bit))
        });
        let (column, bit) = place?;
        if let Some(slot) = self.before.get_mut(turn) {
            *slot = Some((cells.clone(), column));
        }
        let share = match self.attempt.aim {
            Aim::EarliestEnd => 1.0,
            Aim::EarliestMiddle => 0.5,
        };
        let at = column as f64 * self.cell + share * bounds.max.x;
        Some(Found { piece, cells, column, bit, at })
    }

    fn words(&self) -> usize {
        (self.across + 2 * self.margin) / 64 + 2
    }

    /// Whether the grown piece touches nothing taken. Its first column stands a margin before the
    /// piece's, as do the sheet's columns.
    fn is_free(&self, grown: &Columns, column: usize, bit: usize) -> bool {
        let taken = self.columns.get(column..).unwrap_or_default();
        taken.iter().zip(grown).all(|(taken, wanted)| !touches(taken, wanted, bit))
    }

    fn take(&mut self, cells: &Columns, column: usize, bit: usize) {
        let first = column + self.margin;
        let needed = first + cells.len();
        if self.columns.len() < needed {
            let words = self.words();
            self.columns.resize(needed, vec![0; words]);
        }
        for (column, wanted) in self.columns.iter_mut().skip(first).zip(cells) {
            or_shifted(column, wanted, bit + self.margin);
        }
    }
}

/// The cells that a piece touches.
fn raster(piece: &Piece, cell: f64, words: usize) -> Columns {
    let wide = (piece.bounds().max.x / cell).floor().max(0.0) as usize + 1;
    let mut columns = vec![vec![0u64; words]; wide];
    for (i, column) in columns.iter_mut().enumerate() {
        let (left, right) = (i as f64 * cell, (i + 1) as f64 * cell);
        for line in &piece.lines {
            mark_edges(&line.contour, [left, right], cell, column);
        }
        for outline in piece.outlines() {
            mark_inside(outline, (left + right) / 2.0, cell, column);
        }
    }
    columns
}

/// Marks the cells of the column that lie inside `outline` along the upright line at `middle`.
fn mark_inside(outline: &Contour, middle: f64, cell: f64, column: &mut [u64]) {
    let crossed = outline.edges().filter(|(a, b)| (a.x > middle) != (b.x > middle));
    let mut at: Vec<f64> =
        crossed.map(|(a, b)| a.y + (b.y - a.y) * (middle - a.x) / (b.x - a.x)).collect();
    at.sort_by(f64::total_cmp);
    for pair in at.chunks_exact(2) {
        mark(column, pair[0], pair[1], cell);
    }
}

/// Marks the cells of the column between `left` and `right` that the line runs through.
fn mark_edges(line: &Contour, [left, right]: [f64; 2], cell: f64, column: &mut [u64]) {
    for (a, b) in line.edges() {
        let (a, b) = if a.x <= b.x { (a, b) } else { (b, a) };
        if b.x < left || a.x > right {
            continue;
        }
        let at = |x: f64| {
            let t = if b.x > a.x { ((x - a.x) / (b.x - a.x)).clamp(0.0, 1.0) } else { 0.0 };
            a.lerp(b, t).y
        };
        let (mut from, mut to) = (at(left), at(right));
        if a.x == b.x {
            (from, to) = (a.y, b.y);
        }
        mark(column, from.min(to), from.max(to), cell);
    }
}

fn mark(column: &mut [u64], low: f64, high: f64, cell: f64) {
    let index = |y: f64| (y / cell).floor().max(0.0) as usize;
    for bit in index(low)..=index(high) {
        if let Some(word) = column.get_mut(bit / 64) {
            *word |= 1 << (bit % 64);
        }
    }
}

/// The cells within `gap` cells of `cells`, with a margin on all sides: cells whose nearest points
/// are less than the gap apart.
fn grown(cells: &Columns, margin: usize, gap: f64) -> Columns {
    let words = cells.first().map_or(0, Vec::len);
    let mut grown = vec![vec![0u64; words]; cells.len() + 2 * margin];
    let apart = |d: usize| d.abs_diff(margin).saturating_sub(1) as f64;
    for dx in 0..=2 * margin {
        for dy in 0..=2 * margin {
            // Neighbouring cells may touch even when no gap is asked for.
            let near = apart(dx).hypot(apart(dy)) < gap || (dx == margin && dy == margin);
            if near {
                for (column, wanted) in grown.iter_mut().skip(dx).zip(cells) {
                    or_shifted(column, wanted, dy);
                }
            }
        }
    }
    grown
}

fn or_shifted(target: &mut [u64], bits: &[u64], by: usize) {
    let (skip, shift) = (by / 64, by % 64);
    for (i, &word) in bits.iter().enumerate() {
        if let Some(low) = target.get_mut(i + skip) {
            *low |= word << shift;
        }
        if shift > 0
            && let Some(high) = target.get_mut(i + skip + 1)
        {
            *high |= word >> (64 - shift);
        }
    }
}

fn touches(taken: &[u64], wanted: &[u64], by: usize) -> bool {
    let (skip, shift) = (by / 64, by % 64);
    let word = |i: usize| taken.get(i).copied().unwrap_or(0);
    wanted.iter().enumerate().any(|(i, &bits)| {
        let high = if shift > 0 { bits >> (64 - shift) } else { 0 };
        word(i + skip) & (bits << shift) != 0 || word(i + skip + 1) & high != 0
    })
}
