//! Cuts through the waste that make weeding easier: a border round the work, and lines that part
//! the waste into strips.
//!
//! Input: the lines of the design, laid out. Output: lines of role `Weed`; strips are open, borders
//! closed. Invariants: no weed line comes nearer to a line of the design than the clearance, and
//! none runs inside a piece; strips reach the border.
//!
//! Method of the strips: for each straight line, the edges beside it are taken from a grid; the
//! stretch that an edge blocks is the line's intersection with the edge's capsule (all points within the clearance); a capsule is convex, so
//! that is one interval, exact. Stretches inside pieces follow from winding numbers; small holes count
//! as inside, since a cut in them parts nothing.

use kurbo::BezPath;

use super::{CutLine, Role};
use crate::drawing::{Cap, FillRule, Join, Paint, Stroke};
use crate::edges::EdgeIndex;
use crate::geometry::{Bounds, Contour, Point};
use crate::merge::{self, Area, TooFar};
use crate::outline;

/// Weeding aids that are wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weeding {
    /// Distance of a border around the work, mm.
    pub border_mm: Option<f64>,
    /// How the border runs.
    pub shape: WeedShape,
    /// Lines that part the waste; they bring a border with them.
    pub lines: Option<WeedLines>,
    /// How far the parting lines keep from the work, mm.
    pub clearance_mm: f64,
}

/// How the waste is parted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WeedLines {
    /// By lines across the shorter side, into strips at most so wide, mm.
    Strips(f64),
    /// By lines both ways, into fields at most so large, mm.
    Fields {
        /// Along x, mm.
        width_mm: f64,
        /// Along y, mm.
        height_mm: f64,
    },
}

/// How a weed border runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeedShape {
    /// A rectangle.
    Box,
    /// Along the work's own outline.
    Outline,
}

impl Default for Weeding {
    fn default() -> Self {
        Self { border_mm: None, shape: WeedShape::Box, lines: None, clearance_mm: 1.0 }
    }
}

impl Weeding {
    /// Distance of the border around the work, if there is one, mm.
    pub(super) fn distance_mm(&self) -> Option<f64> {
        self.border_mm.or(self.lines.map(|_| USUAL_BORDER_MM))
    }
}

/// Distance of the border that strips bring with them, mm: weed borders of 3 to 10 mm are common
/// practice, no source.
const USUAL_BORDER_MM: f64 = 5.0;
/// A shorter stretch parts nothing, mm.
const SHORTEST_MM: f64 = 3.0;
/// The most parting lines; a smaller spacing is widened.
const MOST_LINES: f64 = 1000.0;
/// Size of the cells in which edges beside a parting line are looked for, mm.
const CELL_MM: f64 = 5.0;
/// How far a border that follows the work may deviate, mm.
const BORDER_TOLERANCE_MM: f64 = 0.05;

/// The weed lines for `design`: strips first, borders last.
pub(super) fn lines(design: &[CutLine], weeding: &Weeding) -> Result<Vec<CutLine>, TooFar> {
    let Some(gap) = weeding.distance_mm() else { return Ok(Vec::new()) };
    let work: Vec<&Contour> = design.iter().map(|line| &line.contour).collect();
    let borders = match weeding.shape {
        WeedShape::Box => boxed(&work, gap),
        WeedShape::Outline => followed(&work, gap)?,
    };
    let mut cuts = Vec::new();
    if let Some(lines) = weeding.lines {
        let frame = borders.iter().fold(Bounds::EMPTY, |b, line| b.union(line.bounds()));
        for (upright, width) in lines.directions(frame) {
            let parting = Parting { upright, width, clearance: weeding.clearance_mm };
            cuts.extend(parting.strips(&work, &borders, frame));
        }
    }
    cuts.extend(borders);
    let weed = |contour| CutLine { contour, role: Role::Weed, layer: 0, tool: 1 };
    Ok(cuts.into_iter().map(weed).collect())
}

impl WeedLines {
    /// Whether lines stand upright, and how far apart they are at most, mm; for each direction.
    fn directions(self, frame: Bounds) -> Vec<(bool, f64)> {
        match self {
            Self::Strips(width) => vec![(frame.width() >= frame.height(), width)],
            Self::Fields { width_mm, height_mm } => vec![(true, width_mm), (false, height_mm)],
        }
    }
}

fn bounds(lines: &[&Contour]) -> Bounds {
    lines.iter().fold(Bounds::EMPTY, |b, line| b.union(line.bounds()))
}

fn boxed(work: &[&Contour], gap: f64) -> Vec<Contour> {
    let Bounds { min, max } = bounds(work).grown(gap);
    let corners = vec![min, Point::new(max.x, min.y), max, Point::new(min.x, max.y)];
    vec![Contour::closed(corners)]
}

/// The outlines of everything within `gap` of the work.
fn followed(work: &[&Contour], gap: f64) -> Result<Vec<Contour>, TooFar> {
    let mut areas = Vec::with_capacity(work.len());
    for line in work {
        let swept = outline::outline(&path(line), &pen(2.0 * gap), BORDER_TOLERANCE_MM);
        let mut area = Area::swept(&swept.contours)?;
        if line.closed {
            area = area.plus(Area::filled(std::slice::from_ref(&line.points), FillRule::NonZero)?);
        }
        areas.push(area);
    }
    let merged = merge::merge(&areas);
    let outers = merged.into_iter().map(|m| merge::decimate(&m.region.outer, BORDER_TOLERANCE_MM));
    let outers: Vec<Contour> = outers.collect();
    let inner = |i: usize| {
        let first = outers[i].points.first().copied();
        (0..outers.len()).any(|j| j != i && first.is_some_and(|p| outers[j].surrounds(p)))
    };
    Ok((0..outers.len()).filter(|&i| !inner(i)).map(|i| outers[i].clone()).collect())
}

fn path(line: &Contour) -> BezPath {
    let mut path = BezPath::new();
    for (i, p) in line.points.iter().enumerate() {
        if i == 0 {
            path.move_to((p.x, p.y));
        } else {
            path.line_to((p.x, p.y));
        }
    }
    if line.closed {
        path.close_path();
    }
    path
}

fn pen(width: f64) -> Stroke {
    Stroke {
        width,
        cap: Cap::Round,
        join: Join::Round,
        miter_limit: 4.0,
        dashes: Vec::new(),
        dash_offset: 0.0,
        paint: Paint::BLACK,
    }
}

/// How lines in one direction part the waste.
struct Parting {
    /// They stand upright; lying ones are laid out upright, with x and y exchanged.
    upright: bool,
    /// How far apart they are at most, mm.
    width: f64,
    /// How far they keep from the work, mm.
    clearance: f64,
}

impl Parting {
    /// Open lines from border to border, broken where the work is.
    fn strips(&self, work: &[&Contour], borders: &[Contour], frame: Bounds) -> Vec<Contour> {
        let laid = |p: Point| if self.upright { p } else { Point::new(p.y, p.x) };
        let (low, high) = (laid(frame.min), laid(frame.max));
        let count = ((high.x - low.x) / self.width).ceil().clamp(1.0, MOST_LINES);
        let tracks: Vec<Vec<Point>> =
            work.iter().map(|line| line.track().into_iter().map(laid).collect()).collect();
        let index = EdgeIndex::new(tracks.iter(), CELL_MM);
        let parted: Vec<bool> =
            work.iter().map(|line| line.closed && parted(line, self.width)).collect();
        let border: Vec<(Point, Point)> =
            borders.iter().flat_map(Contour::edges).map(|(a, b)| (laid(a), laid(b))).collect();
        let mut strips = Vec::new();
        for i in 1..count as u32 {
            let x = low.x + (high.x - low.x) * f64::from(i) / count;
            let beside = Bounds { min: Point::new(x, low.y), max: Point::new(x, high.y) };
            let blocked = self.blocked(&index, &parted, beside);
            for [from, to] in free(crossings(&border, x), blocked) {
                strips
                    .push(Contour::open(vec![laid(Point::new(x, from)), laid(Point::new(x, to))]));
            }
        }
        strips
    }

    /// The stretches of the upright line `along` that pieces block.
    fn blocked(&self, index: &EdgeIndex, parted: &[bool], along: Bounds) -> Vec<[f64; 2]> {
        let mut edges: Vec<usize> = Vec::new();
        index.in_box(along.grown(self.clearance), |(_, edge), _| edges.push(edge));
        edges.sort_unstable();
        edges.dedup();
        let x = along.min.x;
        let bounding = edges.iter().filter(|&&edge| parted[index.line(edge)]);
        let bounding: Vec<(Point, Point)> = bounding.map(|&edge| index.edge(edge)).collect();
        // Laid out with x and y exchanged, contours run the other way; that changes no stretch.
        let mut blocked = crossings(&bounding, x);
        let near = edges.iter().map(|&edge| index.edge(edge));
        blocked.extend(near.filter_map(|(a, b)| near_stretch(a, b, x, self.clearance)));
        blocked
    }
}

/// Whether `line` bounds a piece, or a hole so large that the waste in it is parted too.
fn parted(line: &Contour, width: f64) -> bool {
    let bounds = line.bounds();
    line.signed_area() > 0.0 || bounds.width().min(bounds.height()) >= 2.0 * width
}

/// The stretches of the upright line at `x` inside the closed `edges` (winding number not zero).
fn crossings(edges: &[(Point, Point)], x: f64) -> Vec<[f64; 2]> {
    let crossed = edges.iter().filter(|(a, b)| (a.x > x) != (b.x > x));
    let mut at: Vec<(f64, i32)> =
        crossed.map(|&(a, b)| (height_at(a, b, x), if a.x > x { 1 } else { -1 })).collect();
    at.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut inside, mut winding, mut from) = (Vec::new(), 0, 0.0);
    for (y, step) in at {
        if winding == 0 {
            from = y;
        }
        winding += step;
        if winding == 0 {
            inside.push([from, y]);
        }
    }
    inside
}

fn height_at(a: Point, b: Point, x: f64) -> f64 {
    a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x)
}

/// The stretch of the upright line at `x` within `clearance` of the edge `a`–`b`.
fn near_stretch(a: Point, b: Point, x: f64, clearance: f64) -> Option<[f64; 2]> {
    if x < a.x.min(b.x) - clearance || x > a.x.max(b.x) + clearance {
        return None;
    }
    let mut heights = Vec::with_capacity(8);
    for end in [a, b] {
        let half = (clearance.powi(2) - (x - end.x).powi(2)).sqrt();
        if half.is_finite() {
            heights.extend([end.y - half, end.y + half]);
        }
    }
    let length = a.distance(b);
    if length > 0.0 {
        let side = (b - a).perpendicular() * (clearance / length);
        let flanks = [
            (a + side, b + side),
            (b + side, b - side),
            (b - side, a - side),
            (a - side, a + side),
        ];
        let crossed = flanks.iter().filter(|(p, q)| (p.x > x) != (q.x > x));
        heights.extend(crossed.map(|(p, q)| height_at(*p, *q, x)));
    }
    let low = heights.iter().copied().reduce(f64::min)?;
    let high = heights.iter().copied().reduce(f64::max)?;
    Some([low, high])
}

/// What of the `open` stretches is not `blocked`, if long enough.
fn free(open: Vec<[f64; 2]>, mut blocked: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    blocked.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut left = Vec::new();
    for [low, high] in open {
        let mut from = low;
        for &[start, end] in blocked.iter().filter(|b| b[1] > low && b[0] < high) {
            if start > from {
                left.push([from, start]);
            }
            from = from.max(end);
        }
        if from < high {
            left.push([from, high]);
        }
    }
    left.retain(|[low, high]| high - low >= SHORTEST_MM);
    left
}
