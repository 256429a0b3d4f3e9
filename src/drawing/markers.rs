//! Markers at vertices: put where SVG 2 has them, as large and turned as it asks.
//!
//! The SVG library lays a group with one child a marker beside the path: the one at the start, those at all
//! vertices between, the one at the end. It differs from SVG 2 (chapter Painting, markers; chapter Paths,
//! directionality) in this:
//! - it sees the cubics that stand for an arc (`survey/arcs.rs`), which has no vertex but its ends; joints of
//!   an arc are known by the segment without length after each, and their markers are left out;
//! - each is turned halfway between the directions before and after its vertex, also where a subpath closes;
//!   a segment of no length goes on as the one before it;
//! - where a subpath closes amid a path stands a vertex, and none where the next one begins at the same point;
//! - a marker's unit is the width of the painted line in the shape's own coordinates, also where that width
//!   does not scale.

use kurbo::{Affine, Point, Vec2};
use usvg::tiny_skia_path::{Path, PathSegment};

use super::Shape;
use super::convert::{Context, Walk};
use crate::finding::Finding;
use crate::units::MM_PER_PX;

/// How a shape uses the marker of one kind.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct MarkerUse {
    /// Whether there is one.
    pub(super) drawn: bool,
    /// Whether it turns with the line.
    pub(super) turns: bool,
    /// Whether it turns about at the start.
    pub(super) reversed: bool,
    /// Whether it is as large as the line is wide.
    pub(super) by_width: bool,
}

/// The markers that are drawn.
struct Placed {
    /// Index of the child, and where it goes in the group's coordinates.
    markers: Vec<(usize, Affine)>,
    /// Whether one is turned where the closing line has no length, which viewers do otherwise.
    disputed: bool,
}

/// A shape's markers at its start, between and at its end, if they are known, and how much smaller they are
/// than the library has them.
#[derive(Clone, Copy)]
struct Uses {
    of: Option<[MarkerUse; 3]>,
    unit: f64,
}

impl Walk<'_> {
    /// Walks a group beside a path, which is that of its markers if they are not as they should be.
    pub(super) fn markers(
        &mut self,
        group: &usvg::Group,
        path: &usvg::Path,
        context: &Context,
        out: &mut Vec<Shape>,
    ) {
        let element = self.meet(path.id());
        let of = context
            .original
            .or(element)
            .and_then(|e| self.survey.elements.get(e))
            .and_then(|e| e.markers);
        let uses = Uses { of, unit: unit_of(path, context) };
        let Some(placed) = placed(group, path.data(), uses) else {
            return self.group(group, context, out);
        };
        for (child, by) in placed.markers {
            if let Some(usvg::Node::Group(marker)) = group.children().get(child) {
                let context = &Context { to_page: context.to_page * by, ..context.clone() };
                self.group(marker, context, out);
            }
        }
        if placed.disputed && self.inside == 0 {
            let text = "a marker stands where a line closes at a point that it has reached already; it is \
                        turned halfway between the last and the first part, as SVG 2 has it, and viewers \
                        may not turn it.";
            let finding = Finding::note("marker-at-closing", text);
            self.findings.push(finding.at(self.place(element.or(context.element))));
        }
    }
}

/// How much smaller markers are where the line's width does not scale: the square mean of both directions, as
/// Chromium takes it; SVG 2 knows one direction only.
fn unit_of(path: &usvg::Path, context: &Context) -> f64 {
    if path.rendering_mode() != usvg::ShapeRendering::CrispEdges {
        return 1.0;
    }
    let [a, b, c, d, _, _] = context.to_page.as_coeffs();
    let scale = ((a * a + b * b + c * c + d * d) / 2.0).sqrt() / MM_PER_PX;
    if scale > 0.0 { 1.0 / scale } else { 1.0 }
}

/// The path that a group of markers belongs to: the node before or after the one at `at`.
pub(super) fn marked(nodes: &[usvg::Node], at: usize) -> Option<&usvg::Path> {
    let usvg::Node::Group(group) = nodes.get(at)? else { return None };
    let path = |at: Option<usize>| match nodes.get(at?) {
        Some(usvg::Node::Path(path)) => Some(&**path),
        _ => None,
    };
    let beside = || path(at.checked_sub(1)).or_else(|| path(Some(at + 1)));
    if group.id().is_empty() { beside() } else { None }
}

/// Where the markers of `path` go; none if the group has nothing to be put right, or is none of markers.
fn placed(group: &usvg::Group, path: &Path, uses: Uses) -> Option<Placed> {
    let line = Line::of(path);
    if line.segments.len() < 2 || uses.of.is_none() && !line.has_joints() {
        return None;
    }
    let [start, mid, end] = uses.of.unwrap_or_else(|| line.guessed());
    let children = group.children();
    if !children.iter().all(|child| matches!(child, usvg::Node::Group(_))) {
        return None;
    }
    let between = if mid.drawn { line.in_tree().count() } else { 0 };
    let others = children.len().checked_sub(between)?;
    let before = usize::from(start.drawn && others > 0);
    if others - before > 1 {
        return None;
    }
    let mut pen = Pen { children, unit: uses.unit, markers: Vec::new(), disputed: false };
    if before > 0 {
        pen.put(0, line.start(), start);
    }
    if mid.drawn {
        pen.between(before, &line, mid);
    }
    if others > before {
        pen.put(children.len() - 1, line.end(), MarkerUse { reversed: false, ..end });
    }
    Some(Placed { markers: pen.markers, disputed: pen.disputed })
}

/// A place where a marker stands.
#[derive(Clone, Copy)]
struct Vertex {
    at: Point,
    /// Radians.
    turn: f64,
    /// Whether the closing line before it has no length.
    disputed: bool,
    /// Whether the library has it, and whether the author has.
    in_tree: bool,
    own: bool,
}

struct Pen<'a> {
    children: &'a [usvg::Node],
    unit: f64,
    markers: Vec<(usize, Affine)>,
    disputed: bool,
}

impl Pen<'_> {
    /// Puts the marker that the library has at a vertex.
    fn put(&mut self, child: usize, vertex: Vertex, kind: MarkerUse) {
        self.put_from(child, vertex.at, vertex, kind);
    }

    /// Puts a marker that the library has at `from` at a vertex.
    fn put_from(&mut self, child: usize, from: Point, vertex: Vertex, kind: MarkerUse) {
        let Some(usvg::Node::Group(marker)) = self.children.get(child) else { return };
        let turned = f64::from(marker.transform().ky).atan2(f64::from(marker.transform().sx));
        let about = if kind.reversed { std::f64::consts::PI } else { 0.0 };
        let turn = if kind.turns { vertex.turn + about - turned } else { 0.0 };
        self.disputed |= kind.turns && vertex.disputed;
        let unit = if kind.by_width { self.unit } else { 1.0 };
        let to = Affine::translate(vertex.at.to_vec2()) * Affine::rotate(turn);
        let by = to * Affine::scale(unit) * Affine::translate(-from.to_vec2());
        self.markers.push((child, by));
    }

    /// Puts those between the ends, of which the library has the first as child `first`.
    fn between(&mut self, first: usize, line: &Line, kind: MarkerUse) {
        let kind = MarkerUse { reversed: false, ..kind };
        let Some(model) = line.in_tree().next() else { return };
        let mut child = first;
        for vertex in &line.inner {
            match vertex.in_tree {
                true if vertex.own => self.put(child, *vertex, kind),
                true => {}
                false => self.put_from(first, model.at, *vertex, kind),
            }
            child += usize::from(vertex.in_tree);
        }
    }
}

/// A path's segments with what lies around each.
struct Line {
    segments: Vec<PathSegment>,
    /// Where each begins and ends.
    spans: Vec<(Point, Point)>,
    /// Index of the move that each subpath begins with.
    moves: Vec<usize>,
    /// In which directions each begins and ends, radians.
    ways: Vec<(f64, f64)>,
    /// Vertices between the first and the last.
    inner: Vec<Vertex>,
}

impl Line {
    fn of(path: &Path) -> Self {
        let segments: Vec<PathSegment> = path.segments().collect();
        let (mut spans, mut moves) = (Vec::new(), Vec::new());
        let (mut at, mut first) = (Point::ZERO, 0);
        let mut start = Point::ZERO;
        for (i, segment) in segments.iter().enumerate() {
            let end = end(segment).unwrap_or(start);
            if matches!(segment, PathSegment::MoveTo(_)) {
                (start, first) = (end, i);
            }
            spans.push((at, end));
            moves.push(first);
            at = end;
        }
        let mut line = Self { segments, spans, moves, ways: Vec::new(), inner: Vec::new() };
        line.ways = line.ways();
        let last = line.segments.len().saturating_sub(1);
        line.inner = (1..last).map(|i| line.vertex(i)).collect();
        line
    }

    fn has_joints(&self) -> bool {
        (1..self.segments.len()).any(|i| self.is_joint(i))
    }

    /// Which markers there are, by the joints that stand for them.
    fn guessed(&self) -> [MarkerUse; 3] {
        let kind = |drawn| MarkerUse { drawn, ..MarkerUse::default() };
        let first = (1..self.segments.len()).find(|i| self.is_joint(*i));
        let after_start =
            first.is_some_and(|i| matches!(self.segments[i], PathSegment::QuadTo(..)));
        [kind(after_start), kind(true), kind(true)]
    }

    /// Vertices between the ends where the library has a marker.
    fn in_tree(&self) -> impl Iterator<Item = &Vertex> {
        self.inner.iter().filter(|vertex| vertex.in_tree)
    }

    fn start(&self) -> Vertex {
        self.vertex(0)
    }

    fn end(&self) -> Vertex {
        self.vertex(self.segments.len().saturating_sub(1))
    }

    /// The vertex at the end of a segment.
    fn vertex(&self, i: usize) -> Vertex {
        let is =
            |i: usize, wanted: fn(&PathSegment) -> bool| self.segments.get(i).is_some_and(wanted);
        let closes = is(i, |s| matches!(s, PathSegment::Close));
        let begins = is(i, |s| matches!(s, PathSegment::MoveTo(_)));
        let (from, at) = self.spans.get(i).copied().unwrap_or_default();
        let follows = i > 0 && is(i - 1, |s| matches!(s, PathSegment::Close)) && from == at;
        let closing = if closes { Some(i) } else { self.closing(i).filter(|_| begins) };
        Vertex {
            at,
            turn: self.turn(i, closing),
            disputed: closing.is_some_and(|close| self.is_disputed(close)),
            in_tree: !closes,
            own: !(begins && follows || self.is_joint(i) || self.is_joint(i + 1)),
        }
    }

    /// Index of the segment that closes the subpath of segment `i`, if one does.
    fn closing(&self, i: usize) -> Option<usize> {
        let first = *self.moves.get(i)?;
        let last = (first..self.segments.len()).take_while(|j| self.moves[*j] == first).last()?;
        matches!(self.segments[last], PathSegment::Close).then_some(last)
    }

    /// Halfway between the directions before and after the vertex at the end of segment `i`, radians; with one
    /// of them, along that.
    fn turn(&self, i: usize, closing: Option<usize>) -> f64 {
        let begins = matches!(self.segments.get(i), Some(PathSegment::MoveTo(_)));
        let before = closing.or(if begins { None } else { Some(i) });
        let next = if closing.is_some() { self.moves[i] + 1 } else { i + 1 };
        let goes_on = self.moves.get(next) == self.moves.get(i);
        let last = before.map(|i| self.ways[i].1);
        let next = if goes_on { Some(self.ways[next].0) } else { None };
        match (last, next) {
            (Some(last), Some(next)) => halfway(last, next),
            (one, other) => one.or(other).unwrap_or_default(),
        }
    }

    /// The directions in which each segment begins and ends, radians. One of no length goes on as the one
    /// before it in its subpath, else as the one after it.
    fn ways(&self) -> Vec<(f64, f64)> {
        let own = |i: usize| {
            let mut along = self.directions(i).into_iter().filter(|d| *d != Vec2::ZERO);
            let first = along.next()?;
            Some((first.atan2(), along.next_back().unwrap_or(first).atan2()))
        };
        let mut ways: Vec<Option<(f64, f64)>> = Vec::with_capacity(self.segments.len());
        for i in 0..self.segments.len() {
            let begins = self.moves[i] == i;
            let before = ways.last().copied().flatten().map(|(_, end)| (end, end));
            ways.push(if begins { None } else { own(i).or(before) });
        }
        for i in (1..ways.len()).rev() {
            if ways[i - 1].is_none() && self.moves[i - 1] == self.moves[i] {
                ways[i - 1] = ways[i].map(|(start, _)| (start, start));
            }
        }
        ways.into_iter().map(Option::unwrap_or_default).collect()
    }

    /// Whether a subpath that has a length closes with a line of none.
    fn is_disputed(&self, close: usize) -> bool {
        let is_long = |span: &(Point, Point)| span.0 != span.1;
        let before = self.spans.get(self.moves[close] + 1..close).unwrap_or_default();
        !is_long(&self.spans[close]) && before.iter().any(is_long)
    }

    /// Ways along a segment, from its start to its end.
    fn directions(&self, i: usize) -> [Vec2; 3] {
        let (from, to) = self.spans[i];
        match self.segments[i] {
            PathSegment::QuadTo(a, _) => [point(a) - from, to - from, to - point(a)],
            PathSegment::CubicTo(a, b, _) => [point(a) - from, point(b) - point(a), to - point(b)],
            _ => [to - from; 3],
        }
    }

    /// Whether a segment stands for a joint of an arc.
    fn is_joint(&self, i: usize) -> bool {
        let before = i.checked_sub(1).and_then(|before| self.segments.get(before));
        let Some(PathSegment::CubicTo(_, _, end)) = before else { return false };
        match self.segments.get(i) {
            Some(PathSegment::LineTo(p)) => p == end,
            Some(PathSegment::QuadTo(control, p)) => control == end && p == end,
            _ => false,
        }
    }
}

/// Halfway between two directions, the short way round, radians. Between opposite ones, of which both ways are as
/// short, the mean of both as they are: SVG 2 names neither, and Chromium takes now one, now the other.
fn halfway(last: f64, next: f64) -> f64 {
    const SLACK: f64 = 1e-6;
    let (half, between) = (std::f64::consts::PI, next - last);
    let short = if between > half + SLACK {
        between - 2.0 * half
    } else if between < -half - SLACK {
        between + 2.0 * half
    } else {
        between
    };
    last + short / 2.0
}

fn point(p: usvg::tiny_skia_path::Point) -> Point {
    Point::new(f64::from(p.x), f64::from(p.y))
}

/// Where a segment ends; none for one that closes.
fn end(segment: &PathSegment) -> Option<Point> {
    match *segment {
        PathSegment::MoveTo(p) | PathSegment::LineTo(p) => Some(point(p)),
        PathSegment::QuadTo(_, p) | PathSegment::CubicTo(_, _, p) => Some(point(p)),
        PathSegment::Close => None,
    }
}
