//! Edges in a grid: which is nearest to a point, which might cross an edge.
//!
//! A dense grid of square cells over the box of all edges; each cell lists the runs of edges that pass
//! through it, all lists in one array (counted first, then filled). A run is what a line does within a
//! cell: the edges of a curve are far shorter than a cell, so there are far fewer runs than edges.
//! Searching goes outwards ring by ring and stops when no cell further out can hold anything nearer. The
//! cells are as large as asked for unless that makes more than `MOST_CELLS`; then they grow.

use std::ops::Range;

use crate::geometry::{Bounds, LineRef, Point, nearest_on_segment};
use crate::parallel;

/// Most cells of a grid: 16 MB of offsets.
const MOST_CELLS: f64 = 4e6;
/// Fewer edges are listed in one band.
const FEW_EDGES: usize = 10_000;
/// Bands of rows that more are listed in, each by itself: its part of the grid stays near the core.
const BANDS: usize = 16;
/// Edges in a [`Block`] at most.
const BLOCK: u32 = 64;

/// Edges by the cells that they run through.
pub struct EdgeIndex<'a> {
    grid: Grid,
    chains: Chains<'a>,
    lists: Lists,
}

/// All lines, their edges numbered one line after the other.
struct Chains<'a> {
    lines: Vec<LineRef<'a>>,
    /// The number of each line's first edge; one more than there are lines.
    first: Vec<u32>,
}

/// Edges of a line that follow one another.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Run {
    line: u32,
    /// The number of the first one.
    first: u32,
    count: u32,
}

impl<'a> Chains<'a> {
    fn of(lines: impl Iterator<Item = impl Into<LineRef<'a>>>) -> Self {
        let lines: Vec<LineRef> = lines.map(Into::into).collect();
        let edges = |line: &LineRef| match line.points.len() {
            // A single point is an edge, too.
            few @ (0 | 1) => few,
            count => count - usize::from(!line.closed),
        };
        let mut count = 0;
        let first = std::iter::once(0).chain(lines.iter().map(|line| {
            count += edges(line) as u32;
            count
        }));
        let first = first.collect();
        Self { lines, first }
    }

    fn len(&self) -> usize {
        self.first.last().map_or(0, |&count| count as usize)
    }

    /// The line that an edge belongs to.
    fn owner(&self, edge: usize) -> usize {
        self.first.partition_point(|&first| first as usize <= edge) - 1
    }

    fn edge(&self, number: usize) -> (Point, Point) {
        self.edge_of(self.owner(number), number)
    }

    fn edge_of(&self, line: usize, number: usize) -> (Point, Point) {
        let (points, at) = (self.lines[line].points, number - self.first[line] as usize);
        (points[at], self.lines[line].after(at))
    }

    /// The edges of a run and their numbers.
    fn along(&self, run: Run) -> impl Iterator<Item = (usize, (Point, Point))> {
        let line = self.lines[run.line as usize];
        let before = self.first[run.line as usize] as usize;
        let numbers = run.first as usize..(run.first + run.count) as usize;
        numbers.map(move |i| (i, (line.points[i - before], line.after(i - before))))
    }

    /// All edges in blocks, those of a line after each other.
    fn blocks(&self) -> Vec<Block> {
        let of_line = |line: usize| {
            let edges = self.first[line]..self.first[line + 1];
            edges.clone().step_by(BLOCK as usize).map(move |first| {
                let count = (edges.end - first).min(BLOCK);
                Run { line: line as u32, first, count }
            })
        };
        let runs: Vec<Run> = (0..self.lines.len()).flat_map(of_line).collect();
        let around = |run| {
            let boxes = self.along(run).map(|(_, (p, q))| Bounds::of(&[p, q]));
            boxes.fold(Bounds::EMPTY, Bounds::union)
        };
        parallel::map(runs.len(), |i| Block { run: runs[i], around: around(runs[i]) })
    }
}

/// Edges of one line that a band takes or leaves together.
struct Block {
    run: Run,
    around: Bounds,
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

/// Pairs of edges that are compared at most. Ten thousand usual cuts make a few million; more come
/// from cuts that lie upon each other by the dozen.
const MOST_PAIRS: u64 = 50_000_000;
/// As many for each edge are compared in any case: large jobs are as dense as small ones.
const PAIRS_PER_EDGE: u64 = 50;

/// How much finer the cells of a heap are made, one after the other.
const FINER: [f64; 3] = [1.0 / 4.0, 1.0 / 16.0, 1.0 / 64.0];
/// No more runs are listed for that, unless twice as many as there are edges: 300 MB.
const MOST_RUNS: f64 = 1e7;

impl<'a> EdgeIndex<'a> {
    /// Indexes the edges of `lines`; a line of one point is an edge without length.
    pub fn new(lines: impl Iterator<Item = impl Into<LineRef<'a>>>, cell_mm: f64) -> Self {
        let chains = Chains::of(lines);
        let blocks = chains.blocks();
        let around = blocks.iter().map(|block| block.around).fold(Bounds::EMPTY, Bounds::union);
        let grid = Grid::over(around, cell_mm);
        let bands = if chains.len() < FEW_EDGES { 1 } else { BANDS };
        let lists = grid.lists((&chains, &blocks), bands);
        Self { grid, chains, lists }
    }

    /// As [`Self::new`], with cells as much finer as it takes to compare all edges that share one; `None` where
    /// so many lie upon each other that no cells are fine enough.
    pub fn comparable<L: Into<LineRef<'a>>>(
        lines: impl Iterator<Item = L> + Clone,
        cell_mm: f64,
    ) -> Option<Self> {
        let index = Self::new(lines.clone(), cell_mm);
        if !index.is_heap() {
            return Some(index);
        }
        let edges = index.len() as f64;
        drop(index);
        let length: f64 = lines.clone().map(|line| line.into().length()).sum();
        let listed = |finer: &f64| edges + length / finer <= MOST_RUNS.max(2.0 * edges);
        let finer = FINER.map(|share| cell_mm * share).into_iter().take_while(listed);
        let indexed = finer.map(|finer| (finer, Self::new(lines.clone(), finer)));
        let as_fine = indexed.take_while(|(finer, index)| index.grid.cell_mm <= *finer);
        as_fine.map(|(_, index)| index).find(|index| !index.is_heap())
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

    /// An edge by its number and that of its line: sooner than by its own alone.
    pub fn edge_of(&self, line: u32, number: usize) -> (Point, Point) {
        self.chains.edge_of(line as usize, number)
    }

    /// The number of the line that an edge belongs to.
    pub fn line(&self, edge: usize) -> usize {
        self.chains.owner(edge)
    }

    /// The numbers of the edges of `line`.
    pub fn edges_of(&self, line: u32) -> Range<usize> {
        let first = |line: usize| self.chains.first[line] as usize;
        first(line as usize)..first(line as usize + 1)
    }

    /// The runs of edges through a cell, in the order of lines.
    fn in_cell(&self, cell: usize) -> &[Run] {
        self.lists.of(cell)
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
                for &run in self.in_cell(cell) {
                    for (edge, (a, b)) in self.chains.along(run) {
                        if least < enough {
                            return;
                        }
                        let squared = (nearest_on_segment(p, a, b) - p).length_squared();
                        if squared < least || (squared == least && best.is_none()) {
                            least = squared;
                            best = Some(Nearest { distance: squared.sqrt(), edge });
                        }
                    }
                }
            });
        }
        best
    }

    /// Whether any line before `owner` might come within `reach` of `points`: if none does, none runs
    /// along an edge between them.
    pub fn any_beside(&self, points: &[Point], owner: u32, reach: f64) -> bool {
        let around = Bounds::of(points).grown(a_hair_more(reach));
        self.grid.within(around).any(|cell| self.before(cell, owner).next().is_some())
    }

    /// What lines before `owner` do in a cell.
    fn before(&self, cell: usize, owner: u32) -> impl Iterator<Item = Run> {
        self.in_cell(cell).iter().copied().take_while(move |run| run.line < owner)
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
        let mut met: Vec<(usize, u32)> = Vec::new();
        let around = Bounds::of(&[a, b]).grown(a_hair_more(reach));
        let mut look = |cell: usize| {
            for run in self.before(cell, owner) {
                let edges = self.chains.along(run);
                let near = edges.filter(|(_, (c, d))| Bounds::of(&[*c, *d]).touches(around));
                met.extend(near.map(|(edge, _)| (edge, run.line)));
            }
        };
        if let Some((columns, rows)) = self.grid.few(around) {
            for row in rows {
                columns
                    .clone()
                    .filter_map(|column| self.grid.cell(column, row))
                    .for_each(&mut look);
            }
        } else {
            let aside = (b - a).perpendicular() * (reach / a.distance(b));
            for shift in [Point::ORIGIN, aside, aside * -1.0] {
                self.grid.along(a + shift, b + shift, &mut look);
            }
        }
        if met.is_empty() || a.distance(b) == 0.0 {
            return Vec::new();
        }
        met.sort_unstable();
        met.dedup();
        let shared = |(edge, line): (usize, u32)| {
            let stretch = shared((a, b), self.chains.edge_of(line as usize, edge), reach)?;
            Some((line, stretch))
        };
        met.into_iter().filter_map(shared).collect()
    }

    /// Calls `each` with all edges that might run through `bounds`: those whose box touches it; with those
    /// that run through several cells more than once. An edge is told by its line's number and its own,
    /// and by its ends.
    pub fn in_box(&self, bounds: Bounds, mut each: impl FnMut((usize, usize), (Point, Point))) {
        for cell in self.grid.within(bounds) {
            for &run in self.in_cell(cell) {
                let mut aside = None;
                for (edge, ends) in self.chains.along(run) {
                    // Most edges of a cell lie beside the box, and this is asked for millions of them.
                    let from = aside.unwrap_or_else(|| sides(ends.0, &bounds));
                    let to = sides(ends.1, &bounds);
                    aside = Some(to);
                    if from & to == 0 {
                        each((run.line as usize, edge), ends);
                    }
                }
            }
        }
    }

    /// Whether any edge might run through `bounds`.
    pub fn any_in_box(&self, bounds: Bounds) -> bool {
        self.grid.within(bounds).any(|cell| !self.in_cell(cell).is_empty())
    }

    /// Whether so many edges lie upon each other that comparing all that share a cell takes too long.
    fn is_heap(&self) -> bool {
        self.pairs() > MOST_PAIRS.max(PAIRS_PER_EDGE * self.len() as u64)
    }

    /// How many pairs of edges share a cell: what comparing all of them costs.
    fn pairs(&self) -> u64 {
        let edges = |cell| self.in_cell(cell).iter().map(|run| u64::from(run.count)).sum();
        (0..self.lists.cells()).map(edges).map(|n: u64| n * n / 2).sum()
    }

    /// Lines whose edges cross, each pair of lines once, with the first place.
    pub fn crossings(&self, pairs: Pairs) -> Vec<(u32, u32, Point)> {
        let all = self.all_crossings(pairs).into_iter();
        let mut found: Vec<_> = all.map(|c| (c.lines.0, c.lines.1, c.at)).collect();
        found.sort_by_key(|(a, b, _)| (*a, *b));
        found.dedup_by_key(|(a, b, _)| (*a, *b));
        found
    }

    /// The pairs of lines whose edges cross, each once.
    pub fn crossing_lines(&self) -> Vec<(usize, usize)> {
        let found = self.crossings(Pairs::OfTwoLines).into_iter();
        found.map(|(a, b, _)| (a as usize, b as usize)).collect()
    }

    /// All places where edges cross; one that several cells share comes several times.
    pub fn all_crossings(&self, pairs: Pairs) -> Vec<Crossing> {
        let (cells, rows) = (self.lists.cells(), self.grid.rows.max(1) as usize);
        let row = cells.div_ceil(rows);
        let of_row = |i: usize| self.crossings_in(i * row..cells.min((i + 1) * row), pairs);
        parallel::map(rows, of_row).concat()
    }

    fn crossings_in(&self, cells: Range<usize>, pairs: Pairs) -> Vec<Crossing> {
        let mut found = Vec::new();
        for cell in cells {
            let runs = self.in_cell(cell);
            for (i, &run) in runs.iter().enumerate() {
                // They are in the order of lines: those of its own come first.
                let mut later = &runs[i + 1..];
                if pairs == Pairs::OfTwoLines {
                    later = &later[later.partition_point(|other| other.line == run.line)..];
                    if later.is_empty() {
                        continue;
                    }
                }
                for (a, edge) in self.chains.along(run) {
                    if pairs == Pairs::All {
                        self.cross((run.line, a, edge), run.after(a), &mut found);
                    }
                    for &other in later {
                        self.cross((run.line, a, edge), other, &mut found);
                    }
                }
            }
        }
        found
    }

    /// Notes where an edge, told by its line's number, its own and its ends, crosses those of a run.
    #[inline]
    fn cross(
        &self,
        (line, number, edge): (u32, usize, (Point, Point)),
        run: Run,
        found: &mut Vec<Crossing>,
    ) {
        for (other, ends) in self.chains.along(run) {
            if let Some(at) = crossing(edge, ends) {
                let (lines, edges) = ((line, run.line), (number, other));
                found.push(Crossing { lines, edges, at });
            }
        }
    }

    /// Whether an edge of `line` lies within `reach` of `p`.
    pub fn is_near_line(&self, p: Point, line: u32, reach: f64) -> bool {
        self.grid.within(Bounds::of(&[p]).grown(reach)).any(|cell| {
            let own = self.in_cell(cell).iter().filter(|run| run.line == line);
            let mut edges = own.flat_map(|&run| self.chains.along(run));
            edges.any(|(_, (a, b))| nearest_on_segment(p, a, b).distance(p) <= reach)
        })
    }
}

impl Run {
    /// The edges after one of them.
    fn after(self, edge: usize) -> Self {
        let first = edge as u32 + 1;
        Self { first, count: self.first + self.count - first, ..self }
    }

    /// Takes an edge of `line` on if it comes next.
    fn takes_on(&mut self, line: u32, edge: u32) -> bool {
        let next = self.line == line && self.first + self.count == edge;
        self.count += u32::from(next);
        next
    }
}

/// A place, and the column and row of its cell.
type Keyed = (Point, (i64, i64));

/// What [`Grid::lists`] finds.
#[derive(Debug, PartialEq)]
struct Lists {
    /// Where each cell's list begins in `runs`; one more than there are cells.
    starts: Vec<u32>,
    /// Those of each cell in the order of lines, and of edges.
    runs: Vec<Run>,
}

impl Lists {
    fn cells(&self) -> usize {
        self.starts.len() - 1
    }

    fn of(&self, cell: usize) -> &[Run] {
        &self.runs[self.starts[cell] as usize..self.starts[cell + 1] as usize]
    }
}

/// On which sides of a box a point lies, a bit for each (the outcodes of Cohen and Sutherland): what lies
/// between two points on one side is there, too.
fn sides(p: Point, Bounds { min, max }: &Bounds) -> u8 {
    u8::from(p.x < min.x)
        | u8::from(p.x > max.x) << 1
        | u8::from(p.y < min.y) << 2
        | u8::from(p.y > max.y) << 3
}

/// A distance within which rounding leaves nothing out.
fn a_hair_more(reach: f64) -> f64 {
    reach * (1.0 + 1e-9)
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

    /// The columns and rows that `bounds` touches, those beyond the grid's border included, if they
    /// make only a few cells.
    fn few(&self, bounds: Bounds) -> Option<(Range<i64>, Range<i64>)> {
        let (low, high) = (self.key(bounds.min), self.key(bounds.max));
        let is_few = |low: i64, high: i64| high.saturating_sub(low) <= 1;
        let few = is_few(low.0, high.0) && is_few(low.1, high.1);
        few.then(|| (low.0..high.0.saturating_add(1), low.1..high.1.saturating_add(1)))
    }

    /// For each cell the runs of edges through it; bands of rows are listed side by side.
    fn lists(&self, (chains, blocks): (&Chains, &[Block]), bands: usize) -> Lists {
        let height = self.rows / bands as i64 + 1;
        let rows = |band: usize| {
            let first = (band as i64 * height).min(self.rows);
            first..(first + height).min(self.rows)
        };
        let last_row = (self.rows - 1).max(0);
        let row = |p: Point| self.key(p).1.clamp(0, last_row);
        let touched = |block: &Block| [row(block.around.min), row(block.around.max)];
        let touched: Vec<[i64; 2]> = blocks.iter().map(touched).collect();
        let parts = parallel::map(bands, |band| {
            let rows = rows(band);
            let within = |[low, high]: &[i64; 2]| *low < rows.end && *high >= rows.start;
            let all = blocks.iter().zip(&touched);
            let taken: Vec<Run> =
                all.filter(|(_, touched)| within(touched)).map(|(block, _)| block.run).collect();
            self.lists_of(rows, chains, &taken)
        });
        let mut all = Lists { starts: vec![0], runs: Vec::new() };
        all.runs.reserve_exact(parts.iter().map(|part| part.runs.len()).sum());
        for part in parts {
            let before = all.runs.len() as u32;
            all.starts.extend(part.starts[1..].iter().map(|start| start + before));
            all.runs.extend(part.runs);
        }
        all
    }

    /// For each cell of some rows the runs of edges through it, all of those `taken`.
    fn lists_of(&self, rows: Range<i64>, chains: &Chains, taken: &[Run]) -> Lists {
        let first = (rows.start * self.columns) as usize;
        let mut starts = vec![0u32; ((rows.end - rows.start) * self.columns) as usize + 1];
        let mut known = (Point::ORIGIN, self.key(Point::ORIGIN));
        // Each cell and run as they are met; which cells those are is told once, for counting and for
        // listing.
        let edges: usize = taken.iter().map(|run| run.count as usize).sum();
        let mut met: Vec<(u32, Run)> = Vec::with_capacity(edges / 4);
        // For each cell the last one met in it.
        let mut last = vec![u32::MAX; starts.len() - 1];
        for &taken in taken {
            let line = taken.line;
            for (edge, ends) in chains.along(taken) {
                let (ends, edge) = (self.keyed(&mut known, ends), edge as u32);
                self.along_in(&rows, ends, |cell| {
                    let cell = cell - first;
                    let open = met.get_mut(last[cell] as usize);
                    if !open.is_some_and(|(_, run)| run.takes_on(line, edge)) {
                        last[cell] = met.len() as u32;
                        met.push((cell as u32, Run { line, first: edge, count: 1 }));
                        starts[cell + 1] += 1;
                    }
                });
            }
        }
        for i in 1..starts.len() {
            starts[i] += starts[i - 1];
        }
        let mut next = starts.clone();
        let mut runs = vec![Run { line: 0, first: 0, count: 0 }; met.len()];
        for (cell, run) in met {
            let at = &mut next[cell as usize];
            runs[*at as usize] = run;
            *at += 1;
        }
        Lists { starts, runs }
    }

    /// The cells that an edge runs through, row by row.
    fn along(&self, a: Point, b: Point, each: impl FnMut(usize)) {
        self.along_in(&(0..self.rows), [(a, self.key(a)), (b, self.key(b))], each);
    }

    /// The ends of an edge with their cells, that of the end of the edge before being `known`.
    fn keyed(&self, known: &mut Keyed, (a, b): (Point, Point)) -> [Keyed; 2] {
        let from = if known.0 == a { *known } else { (a, self.key(a)) };
        *known = (b, self.key(b));
        [from, *known]
    }

    /// Those of the cells that an edge runs through that lie in some rows.
    fn along_in(&self, rows: &Range<i64>, ends: [Keyed; 2], mut each: impl FnMut(usize)) {
        if rows.is_empty() {
            return;
        }
        let [(a, key_a), (b, key_b)] = ends;
        if key_a == key_b
            && let Some(cell) = self.cell(key_a.0, key_a.1)
        {
            if rows.contains(&key_a.1) {
                each(cell);
            }
            return;
        }
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
            let edges: u32 = whole.runs.iter().map(|run| run.count).sum();
            assert!(edges as usize >= chains.len());
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
    fn heaps_get_finer_cells_unless_all_lie_upon_each_other() {
        let crowd: Vec<Point> = scatter(60_000).into_iter().map(|p| p * 0.1).collect();
        let short = |p: &Point| [*p, *p + Point::new(0.01, 0.02)];
        let edges: Vec<[Point; 2]> = crowd.iter().map(short).collect();
        let lines = || edges.iter().map(|edge| edge.as_slice());
        assert!(EdgeIndex::new(lines(), 1.0).is_heap());
        let found = EdgeIndex::comparable(lines(), 1.0).unwrap().crossing_lines();
        assert_eq!(found, EdgeIndex::new(lines(), 0.05).crossing_lines());
        assert!(
            EdgeIndex::comparable(lines().take(300), 1.0).is_some_and(|i| i.grid.cell_mm == 1.0)
        );
        for one in [edges[0], [crowd[0]; 2]] {
            let many = std::iter::repeat_n(one.as_slice(), 20_000);
            assert!(EdgeIndex::comparable(many, 1.0).is_none());
        }
        // A line that is far longer than finer cells could list.
        let far = [Point::ORIGIN, Point::new(1e6, 0.0)];
        let lines = lines().chain(std::iter::repeat_n(far.as_slice(), 3));
        assert!(EdgeIndex::comparable(lines, 1.0).is_none());
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
                index.in_box(bounds, |(line, edge), ends| {
                    assert_eq!((line, ends), (index.line(edge), index.edge(edge)));
                    seen.push(edge);
                });
                for (i, edge) in ends.chunks(2).enumerate() {
                    if bounds.holds(Bounds::of(&[middle(edge)])) {
                        assert!(seen.contains(&i), "{i} {p:?} {cell}");
                    }
                }
            }
        }
        // An empty line and a dot among others.
        let lines: [&[Point]; 4] = [&ends[..3], &[], &ends[3..4], &ends[4..6]];
        let index = EdgeIndex::new(lines.into_iter(), 1.0);
        assert_eq!(index.len(), 4);
        assert_eq!(index.edge(1), (ends[1], ends[2]));
        assert_eq!((index.edge(2), index.line(2)), ((ends[3], ends[3]), 2));
        assert_eq!((index.edge(3), index.line(3)), ((ends[4], ends[5]), 3));
        assert_eq!((index.edges_of(1), index.edges_of(3)), (2..2, 3..4));
        EdgeIndex::new(std::iter::empty::<&[Point]>(), 1.0)
            .in_box(Bounds::of(&ends), |_, _| unreachable!());
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
