//! Edges in a grid: which is nearest to a point, which might cross an edge.
//!
//! A dense grid of square cells over the box of all edges; each cell lists the edges that run
//! through it, all lists in one array (counted first, then filled). Searching goes outwards ring by
//! ring and stops when no cell further out can hold anything nearer. The cells are as large as asked
//! for unless that makes more than `MOST_CELLS`; then they grow.

use std::ops::Range;

use crate::geometry::{Bounds, Point, nearest_on_segment};
use crate::parallel;

/// Most cells of a grid: 16 MB of offsets.
const MOST_CELLS: f64 = 4e6;
/// Fewer edges are listed faster than a thread begins.
const FEW_EDGES: usize = 10_000;
/// Bands of rows that more are listed in, each by itself: its part of the grid stays near the core.
const BANDS: usize = 16;
/// Edges that a band takes or leaves together.
const BLOCK: usize = 64;
/// Cells around a short edge at most, which are looked at without asking how it lies in them.
const FEW_CELLS: i64 = 4;

/// Edges by the cells that they run through.
pub struct EdgeIndex {
    grid: Grid,
    chains: Chains,
    /// Where each cell's list begins in `listed`; one more than there are cells.
    starts: Vec<u32>,
    listed: Vec<u32>,
    /// Whether edges of several lines run through a cell.
    shared: Vec<bool>,
}

/// The vertices of all lines, one line after the other, each kept once.
///
/// A line has one vertex more than it has edges (a single point is kept twice, of no point something
/// once), so edge n, which belongs to the line `owner[n]`, begins at the vertex n + `owner[n]`.
struct Chains {
    points: Vec<Point>,
    /// Which line each edge belongs to.
    owner: Vec<u32>,
}

impl Chains {
    fn of(lines: impl Iterator<Item: AsRef<[Point]>>) -> Self {
        let mut chains = Self { points: Vec::new(), owner: Vec::new() };
        for (number, line) in lines.enumerate() {
            match line.as_ref() {
                [] => chains.points.push(Point::ORIGIN),
                [dot] => chains.points.extend([*dot, *dot]),
                line => chains.points.extend(line),
            }
            chains.owner.resize(chains.points.len() - number - 1, number as u32);
        }
        chains.points.shrink_to_fit();
        chains.owner.shrink_to_fit();
        chains
    }

    fn len(&self) -> usize {
        self.owner.len()
    }

    fn edge(&self, number: usize) -> (Point, Point) {
        let from = number + self.owner[number] as usize;
        (self.points[from], self.points[from + 1])
    }

    /// The numbers of the edges of a block.
    fn block(&self, number: usize) -> Range<usize> {
        number * BLOCK..self.len().min((number + 1) * BLOCK)
    }

    /// The box around each block of edges.
    fn blocks(&self) -> Vec<Bounds> {
        let bounds = |block| {
            let around = |b: Bounds, number| {
                let (p, q) = self.edge(number);
                b.union(Bounds::of(&[p, q]))
            };
            self.block(block).fold(Bounds::EMPTY, around)
        };
        parallel::map(self.len().div_ceil(BLOCK), threads(self.len()), bounds)
    }
}

/// What is nearest to a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    /// How far it is, mm.
    pub distance: f64,
    /// Its number.
    pub edge: usize,
}

/// Where two edges cross.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// The lines that they belong to, the earlier one first.
    pub lines: (u32, u32),
    /// Their numbers, in the same order.
    pub edges: (usize, usize),
    /// The place.
    pub at: Point,
}

/// Which pairs of edges are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pairs {
    /// Those of two different lines.
    OfTwoLines,
    /// Those of one line with itself too.
    All,
}

/// Where the cells lie.
#[derive(Clone, Copy)]
struct Grid {
    corner: Point,
    cell_mm: f64,
    /// Cells in one millimetre.
    per_mm: f64,
    columns: i64,
    rows: i64,
}

impl EdgeIndex {
    /// Indexes the edges of `lines`; a line of one point is an edge without length.
    pub fn new(lines: impl Iterator<Item: AsRef<[Point]>>, cell_mm: f64) -> Self {
        let chains = Chains::of(lines);
        let blocks = chains.blocks();
        let grid = Grid::over(blocks.iter().copied().fold(Bounds::EMPTY, Bounds::union), cell_mm);
        let bands = if chains.len() < FEW_EDGES { 1 } else { BANDS };
        let Lists { starts, listed, shared } = grid.lists((&chains, &blocks), bands);
        Self { grid, chains, starts, listed, shared }
    }

    /// How many edges there are.
    pub fn len(&self) -> usize {
        self.chains.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// An edge by its number.
    pub fn edge(&self, number: usize) -> (Point, Point) {
        self.chains.edge(number)
    }

    /// The number of the line that an edge belongs to.
    pub fn line(&self, edge: usize) -> usize {
        self.owner(edge as u32) as usize
    }

    /// The numbers of the edges of `line`.
    pub fn edges_of(&self, line: u32) -> Range<usize> {
        let owner = &self.chains.owner;
        owner.partition_point(|&o| o < line)..owner.partition_point(|&o| o <= line)
    }

    fn owner(&self, edge: u32) -> u32 {
        self.chains.owner[edge as usize]
    }

    fn in_cell(&self, cell: usize) -> &[u32] {
        &self.listed[self.starts[cell] as usize..self.starts[cell + 1] as usize]
    }

    /// The edge nearest to `p`; those further than `reach` do not count.
    pub fn nearest(&self, p: Point, reach: f64) -> Option<Nearest> {
        self.near(p, reach, 0.0)
    }

    /// An edge within `enough` of `p`, or else the nearest; those further than `reach` do not count.
    /// Where hundreds of edges lie upon each other, the first will do.
    pub fn near(&self, p: Point, reach: f64, enough: f64) -> Option<Nearest> {
        let cell_mm = self.grid.cell_mm;
        let (cx, cy) = self.grid.key(p);
        let rings = (reach / cell_mm).ceil().clamp(1.0, 1e4) as i64;
        let mut best: Option<Nearest> = None;
        let (mut least, enough) = (reach * reach, enough * enough);
        let inside = self.grid.inside(p, (cx, cy));
        for ring in 0..=rings {
            // What lies in a ring further out is beyond the border of the cells looked at.
            if ring > 0 && best.is_some_and(|b| b.distance <= inside + (ring - 1) as f64 * cell_mm)
            {
                break;
            }
            self.grid.ring(cx, cy, ring, |cell| {
                for &id in self.in_cell(cell) {
                    if least < enough {
                        return;
                    }
                    let (a, b) = self.edge(id as usize);
                    let squared = (nearest_on_segment(p, a, b) - p).length_squared();
                    if squared < least || (squared == least && best.is_none()) {
                        least = squared;
                        best = Some(Nearest { distance: squared.sqrt(), edge: id as usize });
                    }
                }
            });
        }
        best
    }

    /// Lines before `owner` that run along the edge `a`–`b` within `reach`, and for how far.
    pub fn beside(&self, edge: (Point, Point), owner: u32, reach: f64) -> Vec<(u32, f64)> {
        let all = self.stretches_beside(edge, owner, reach).into_iter();
        all.map(|(owner, [from, to])| (owner, to - from)).collect()
    }

    /// Lines before `owner` that run along the edge `a`–`b` within `reach`, and from where to where,
    /// mm from `a`.
    pub fn stretches_beside(
        &self,
        (a, b): (Point, Point),
        owner: u32,
        reach: f64,
    ) -> Vec<(u32, [f64; 2])> {
        let length = a.distance(b);
        if length == 0.0 {
            return Vec::new();
        }
        let mut ids: Vec<u32> = Vec::new();
        let mut look = |cell: usize| {
            // Most cells hold one line only: the edge's own.
            if !self.shared[cell]
                && self.in_cell(cell).first().is_none_or(|&id| self.owner(id) >= owner)
            {
                return;
            }
            let earlier = |id: &&u32| self.owner(**id) < owner;
            ids.extend(self.in_cell(cell).iter().filter(earlier));
        };
        let around = Bounds::of(&[a, b]).grown(reach);
        if self.grid.count(around) <= FEW_CELLS {
            self.grid.within(around).for_each(look);
        } else {
            let aside = (b - a).perpendicular() * (reach / length);
            for shift in [Point::ORIGIN, aside, aside * -1.0] {
                self.grid.along(a + shift, b + shift, &mut look);
            }
        }
        ids.sort_unstable();
        ids.dedup();
        let shared = |id: u32| {
            let stretch = shared((a, b), self.edge(id as usize), reach)?;
            Some((self.owner(id), stretch))
        };
        ids.into_iter().filter_map(shared).collect()
    }

    /// Calls `each` with the numbers of all edges that might run through `bounds`, and of some
    /// beside it; with those that run through several cells more than once.
    pub fn in_box(&self, bounds: Bounds, mut each: impl FnMut(usize)) {
        for cell in self.grid.within(bounds) {
            self.in_cell(cell).iter().for_each(|&id| each(id as usize));
        }
    }

    /// How many pairs of edges share a cell: what comparing all of them costs.
    pub fn pairs(&self) -> u64 {
        let count = |w: &[u32]| u64::from(w[1] - w[0]);
        self.starts.windows(2).map(count).map(|n| n * n / 2).sum()
    }

    /// Lines whose edges cross, each pair of lines once, with the first place.
    pub fn crossings(&self, pairs: Pairs) -> Vec<(u32, u32, Point)> {
        let all = self.all_crossings(pairs).into_iter();
        let mut found: Vec<_> = all.map(|c| (c.lines.0, c.lines.1, c.at)).collect();
        found.sort_by_key(|(a, b, _)| (*a, *b));
        found.dedup_by_key(|(a, b, _)| (*a, *b));
        found
    }

    /// All places where edges cross; one that several cells share comes several times.
    pub fn all_crossings(&self, pairs: Pairs) -> Vec<Crossing> {
        let (cells, rows) = (self.shared.len(), self.grid.rows.max(1) as usize);
        let row = cells.div_ceil(rows);
        let of_row = |i: usize| self.crossings_in(i * row..cells.min((i + 1) * row), pairs);
        parallel::map(rows, parallel::cores(), of_row).concat()
    }

    fn crossings_in(&self, cells: Range<usize>, pairs: Pairs) -> Vec<Crossing> {
        let mut found = Vec::new();
        for cell in cells {
            let ids = self.in_cell(cell);
            let owner = |id: &u32| self.owner(*id);
            let wanted = |a: &u32, b: &u32| pairs == Pairs::All || owner(a) != owner(b);
            if pairs == Pairs::OfTwoLines && !self.shared[cell] {
                continue;
            }
            for (i, a) in ids.iter().enumerate() {
                for b in ids[i + 1..].iter().filter(|b| wanted(a, b)) {
                    if let Some(at) = crossing(self.edge(*a as usize), self.edge(*b as usize)) {
                        // Edges are numbered line by line.
                        let (a, b) = (a.min(b), a.max(b));
                        let edges = (*a as usize, *b as usize);
                        found.push(Crossing { lines: (owner(a), owner(b)), edges, at });
                    }
                }
            }
        }
        found
    }

    /// Whether an edge of `line` lies within `reach` of `p`.
    pub fn is_near_line(&self, p: Point, line: u32, reach: f64) -> bool {
        self.grid.within(Bounds::of(&[p]).grown(reach)).any(|cell| {
            self.in_cell(cell).iter().any(|&id| {
                let (a, b) = self.edge(id as usize);
                self.owner(id) == line && nearest_on_segment(p, a, b).distance(p) <= reach
            })
        })
    }
}

/// What [`Grid::lists`] finds.
#[derive(Debug, PartialEq)]
struct Lists {
    /// Where each cell's list begins in `listed`; one more than there are cells.
    starts: Vec<u32>,
    listed: Vec<u32>,
    /// Whether edges of several lines run through a cell.
    shared: Vec<bool>,
}

/// On how many threads so many edges are worked on.
fn threads(edges: usize) -> usize {
    if edges < FEW_EDGES { 1 } else { parallel::cores() }
}

impl Grid {
    fn over(bounds: Bounds, cell_mm: f64) -> Self {
        if bounds.is_empty() {
            return Self {
                corner: Point::ORIGIN,
                cell_mm,
                per_mm: 1.0 / cell_mm,
                columns: 0,
                rows: 0,
            };
        }
        let mut cell_mm = cell_mm;
        while cell_mm.is_finite() {
            let columns = (bounds.width() / cell_mm).floor() + 1.0;
            let rows = (bounds.height() / cell_mm).floor() + 1.0;
            if columns * rows <= MOST_CELLS {
                let (columns, rows) = (columns as i64, rows as i64);
                return Self { corner: bounds.min, cell_mm, per_mm: 1.0 / cell_mm, columns, rows };
            }
            cell_mm *= 2.0;
        }
        Self { corner: bounds.min, cell_mm: f64::MAX, per_mm: 0.0, columns: 1, rows: 1 }
    }

    /// Column and row of the cell in which `p` lies, or would lie if the grid went on.
    fn key(&self, p: Point) -> (i64, i64) {
        // `floor` is a call on plain x86-64, and this is asked for every end of every edge.
        let of = |x: f64, corner: f64| {
            let cells = (x - corner) * self.per_mm;
            let whole = cells as i64;
            whole - i64::from(cells < whole as f64)
        };
        (of(p.x, self.corner.x), of(p.y, self.corner.y))
    }

    /// How far `p` lies within its cell from the nearest border.
    fn inside(&self, p: Point, (column, row): (i64, i64)) -> f64 {
        let within = |x: f64, corner: f64, cell: i64| {
            let at = x - corner - cell as f64 * self.cell_mm;
            at.min(self.cell_mm - at).max(0.0)
        };
        within(p.x, self.corner.x, column).min(within(p.y, self.corner.y, row))
    }

    fn cell(&self, column: i64, row: i64) -> Option<usize> {
        let inside = (0..self.columns).contains(&column) && (0..self.rows).contains(&row);
        inside.then_some((row * self.columns + column) as usize)
    }

    /// The cells that `bounds` touches, row by row.
    fn within(&self, bounds: Bounds) -> impl Iterator<Item = usize> {
        let (low, high) = (self.key(bounds.min), self.key(bounds.max));
        let columns = low.0.max(0)..high.0.min(self.columns - 1) + 1;
        let rows = low.1.max(0)..high.1.min(self.rows - 1) + 1;
        let width = self.columns;
        rows.flat_map(move |row| columns.clone().map(move |column| (row * width + column) as usize))
    }

    /// How many cells `bounds` touches, those beyond the grid's border included.
    fn count(&self, bounds: Bounds) -> i64 {
        let (low, high) = (self.key(bounds.min), self.key(bounds.max));
        let along = |low: i64, high: i64| high.saturating_sub(low).saturating_add(1);
        along(low.0, high.0).saturating_mul(along(low.1, high.1))
    }

    /// For each cell the edges that run through it; bands of rows are listed side by side.
    fn lists(&self, (chains, blocks): (&Chains, &[Bounds]), bands: usize) -> Lists {
        let height = self.rows / bands as i64 + 1;
        let rows = |band: usize| {
            let first = (band as i64 * height).min(self.rows);
            first..(first + height).min(self.rows)
        };
        let last_row = (self.rows - 1).max(0);
        let row = |p: Point| self.key(p).1.clamp(0, last_row);
        let touched = |b: &Bounds| if b.is_empty() { [1, 0] } else { [row(b.min), row(b.max)] };
        let blocks: Vec<[i64; 2]> = blocks.iter().map(touched).collect();
        let parts = parallel::map(bands, threads(chains.len()).min(bands), |band| {
            let rows = rows(band);
            let within = |&i: &usize| blocks[i][0] < rows.end && blocks[i][1] >= rows.start;
            let taken = (0..blocks.len()).filter(within).flat_map(|i| chains.block(i));
            self.lists_of(rows.clone(), chains, taken)
        });
        let mut all = Lists { starts: vec![0], listed: Vec::new(), shared: Vec::new() };
        all.listed.reserve_exact(parts.iter().map(|part| part.listed.len()).sum());
        for part in parts {
            let before = all.listed.len() as u32;
            all.starts.extend(part.starts[1..].iter().map(|start| start + before));
            all.listed.extend(part.listed);
            all.shared.extend(part.shared);
        }
        all
    }

    /// For each cell of some rows the edges that run through it; no others than the `taken` ones do.
    fn lists_of(
        &self,
        rows: Range<i64>,
        chains: &Chains,
        taken: impl Iterator<Item = usize> + Clone,
    ) -> Lists {
        let first = (rows.start * self.columns) as usize;
        let mut starts = vec![0u32; ((rows.end - rows.start) * self.columns) as usize + 1];
        for id in taken.clone() {
            self.along_in(&rows, chains.edge(id), |cell| starts[cell - first + 1] += 1);
        }
        for i in 1..starts.len() {
            starts[i] += starts[i - 1];
        }
        let mut next = starts.clone();
        let mut listed = vec![0u32; starts.last().map_or(0, |&n| n as usize)];
        for id in taken {
            self.along_in(&rows, chains.edge(id), |cell| {
                listed[next[cell - first] as usize] = id as u32;
                next[cell - first] += 1;
            });
        }
        let owners = |w: &[u32]| {
            let ids = &listed[w[0] as usize..w[1] as usize];
            ids.windows(2).any(|w| chains.owner[w[0] as usize] != chains.owner[w[1] as usize])
        };
        let shared = starts.windows(2).map(owners).collect();
        Lists { starts, listed, shared }
    }

    /// The cells that an edge runs through, row by row.
    fn along(&self, a: Point, b: Point, each: impl FnMut(usize)) {
        self.along_in(&(0..self.rows), (a, b), each);
    }

    /// Those of the cells that an edge runs through that lie in some rows.
    fn along_in(&self, rows: &Range<i64>, (a, b): (Point, Point), mut each: impl FnMut(usize)) {
        if rows.is_empty() {
            return;
        }
        let (key_a, key_b) = (self.key(a), self.key(b));
        let (last_column, last_row) = (self.columns - 1, self.rows - 1);
        let (lowest, highest) = (key_a.1.min(key_b.1), key_a.1.max(key_b.1));
        let first = lowest.clamp(0, last_row).max(rows.start);
        let last = highest.clamp(0, last_row).min(rows.end - 1);
        let mut all = |row: i64, from: i64, to: i64| {
            let begin = row * self.columns;
            (from.clamp(0, last_column)..=to.clamp(0, last_column))
                .for_each(|column| each((begin + column) as usize));
        };
        if lowest == highest || key_a.0 == key_b.0 {
            // One row or one column, as most edges are short: all between the ends.
            let (left, right) = (key_a.0.min(key_b.0), key_a.0.max(key_b.0));
            (first..=last).for_each(|row| all(row, left, right));
            return;
        }
        let (low, high) = if a.y <= b.y { (a, b) } else { (b, a) };
        let hair = self.cell_mm * 1e-6;
        for row in first..=last {
            // The edge's part in this row, a hair wider so that rounding leaves no gap.
            let at = |y: f64| {
                let t = (y - low.y) / (high.y - low.y);
                if t.is_finite() { low.x + (high.x - low.x) * t.clamp(0.0, 1.0) } else { low.x }
            };
            let bottom = self.corner.y + row as f64 * self.cell_mm;
            let (p, q) = (at(bottom), at(bottom + self.cell_mm));
            let column = |x: f64| self.key(Point::new(x, bottom)).0;
            all(row, column(p.min(q) - hair), column(p.max(q) + hair));
        }
    }

    /// The cells at distance `ring` around a column and row.
    fn ring(&self, column: i64, row: i64, ring: i64, mut each: impl FnMut(usize)) {
        for dy in -ring..=ring {
            let step = if dy.abs() == ring { 1 } else { 2 * ring };
            let mut dx = -ring;
            while dx <= ring {
                if let Some(cell) = self.cell(column.saturating_add(dx), row.saturating_add(dy)) {
                    each(cell);
                }
                dx += step.max(1);
            }
        }
    }
}

/// From where to where, mm from its beginning, the second edge runs along the first, at most `reach`
/// beside it.
fn shared((a, b): (Point, Point), (c, d): (Point, Point), reach: f64) -> Option<[f64; 2]> {
    let length = a.distance(b);
    let along = (b - a) * (1.0 / length);
    let (from, to) = ((c - a).dot(along), (d - a).dot(along));
    let (start, end) = (from.min(to).max(0.0), from.max(to).min(length));
    if end <= start {
        return None;
    }
    // Distances beside the first edge where the shared stretch begins and ends.
    let beside = |at: f64| {
        let t = (at - from) / (to - from);
        along.cross(c.lerp(d, t) - a).abs()
    };
    let (p, q) = (beside(start), beside(end));
    (p <= reach && q <= reach).then_some([start, end])
}

/// Where two edges properly cross (touching at an end does not count).
fn crossing((a, b): (Point, Point), (c, d): (Point, Point)) -> Option<Point> {
    let (u, v) = (b - a, d - c);
    let across = u.cross(v);
    if across.abs() < 1e-12 {
        return None;
    }
    let (s, t) = ((c - a).cross(v) / across, (c - a).cross(u) / across);
    let proper = |x: f64| x > 1e-9 && x < 1.0 - 1e-9;
    (proper(s) && proper(t)).then(|| a.lerp(b, s))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lehmer::Lehmer;

    fn scatter(count: usize) -> Vec<Point> {
        let mut dice = Lehmer::new();
        let mut next = move || dice.share() * 40.0 - 10.0;
        (0..count).map(|_| Point::new(next(), next())).collect()
    }

    #[test]
    fn the_nearest_edge_is_the_nearest_of_all() {
        let ends = scatter(300);
        for cell in [0.3, 2.0, 50.0] {
            let index = EdgeIndex::new(ends.chunks(2), cell);
            for p in scatter(500).into_iter().map(|p| p * 1.5) {
                let slow = ends.chunks(2).map(|e| p.distance(nearest_on_segment(p, e[0], e[1])));
                let least = slow.fold(f64::INFINITY, f64::min);
                let found = index.nearest(p, 100.0).map(|n| n.distance);
                assert_eq!(found, Some(least), "{p:?} {cell}");
            }
        }
    }

    #[test]
    fn bands_list_what_the_whole_grid_lists() {
        let ends = scatter(700);
        for cell in [0.3, 7.0, 100.0] {
            let chains = Chains::of(ends.chunks(7));
            let (grid, blocks) = (Grid::over(Bounds::of(&ends), cell), chains.blocks());
            let whole = grid.lists((&chains, &blocks), 1);
            assert!(whole.listed.len() >= chains.len());
            for bands in [2, 3, 16] {
                assert_eq!(grid.lists((&chains, &blocks), bands), whole, "{cell} {bands}");
            }
        }
    }

    #[test]
    fn crossings_are_those_of_all_pairs() {
        let ends = scatter(200);
        let lines: Vec<&[Point]> = ends.chunks(2).collect();
        let mut slow = Vec::new();
        for (i, a) in lines.iter().enumerate() {
            for (j, b) in lines.iter().enumerate().skip(i + 1) {
                if crossing((a[0], a[1]), (b[0], b[1])).is_some() {
                    slow.push((i as u32, j as u32));
                }
            }
        }
        assert!(slow.len() > 100);
        for cell in [0.5, 4.0] {
            let found = EdgeIndex::new(lines.iter().copied(), cell).crossings(Pairs::OfTwoLines);
            assert_eq!(found.iter().map(|f| (f.0, f.1)).collect::<Vec<_>>(), slow);
            let index = EdgeIndex::new(lines.iter().copied(), cell);
            for crossing in index.all_crossings(Pairs::OfTwoLines) {
                let (a, b) = crossing.lines;
                assert!(index.is_near_line(crossing.at, a, 1e-9), "{crossing:?}");
                assert!(index.is_near_line(crossing.at, b, 1e-9), "{crossing:?}");
                assert_eq!(index.edges_of(b), crossing.edges.1..crossing.edges.1 + 1);
            }
        }
    }

    #[test]
    fn a_box_misses_no_edge_that_enters_it() {
        let ends = scatter(400);
        let middle = |e: &[Point]| e[0].lerp(e[1], 0.5);
        for cell in [0.4, 3.0] {
            let index = EdgeIndex::new(ends.chunks(2), cell);
            for p in scatter(60) {
                let mut seen = Vec::new();
                let bounds = Bounds::of(&[p]).grown(1.5);
                index.in_box(bounds, |edge| seen.push(edge));
                for (i, edge) in ends.chunks(2).enumerate() {
                    if bounds.holds(Bounds::of(&[middle(edge)])) {
                        assert!(seen.contains(&i), "{i} {p:?} {cell}");
                    }
                }
            }
        }
        // An empty line and a dot among others.
        let lines = [&ends[..3], &[], &ends[3..4], &ends[4..6]];
        let index = EdgeIndex::new(lines.into_iter(), 1.0);
        assert_eq!(index.len(), 4);
        assert_eq!(index.edge(1), (ends[1], ends[2]));
        assert_eq!((index.edge(2), index.line(2)), ((ends[3], ends[3]), 2));
        assert_eq!((index.edge(3), index.line(3)), ((ends[4], ends[5]), 3));
        assert_eq!((index.edges_of(1), index.edges_of(3)), (2..2, 3..4));
        EdgeIndex::new(std::iter::empty::<&[Point]>(), 1.0)
            .in_box(Bounds::of(&ends), |_| unreachable!());
    }

    #[test]
    fn far_apart_edges_do_not_need_a_huge_grid() {
        let ends = [Point::ORIGIN, Point::new(1e9, 1e9)];
        let index = EdgeIndex::new(ends.chunks(1), 0.2);
        assert_eq!(index.pairs(), 0);
        assert_eq!(index.nearest(Point::new(1.0, 0.0), 5.0).map(|n| n.edge), Some(0));
        assert_eq!(EdgeIndex::new(std::iter::empty::<&[Point]>(), 1.0).nearest(ends[0], 5.0), None);
    }
}
