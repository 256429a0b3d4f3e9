//! Markers at vertices: those that the SVG library also sets where an arc was parted into cubics are
//! left out.
//!
//! An arc has no vertex but its ends (SVG 2, chapter Painting, marker-mid). The library sees the cubics
//! that stand for it (`survey/arcs.rs`), and lays a group with one child a marker beside the path: the one at
//! the start, those at all vertices between, the one at the end. Joints of an arc are known by the segment
//! without length after each.

use usvg::tiny_skia_path::{Path, PathSegment};

/// Which children of a group of markers stand at vertices that the author drew; none if the node at `at`
/// is no such group, or has nothing to leave out.
pub(super) fn at_vertices(nodes: &[usvg::Node], at: usize) -> Option<Vec<bool>> {
    let usvg::Node::Group(group) = nodes.get(at)? else { return None };
    if !group.id().is_empty() {
        return None;
    }
    let path = |at: Option<usize>| match nodes.get(at?)? {
        usvg::Node::Path(path) => vertices(path.data()),
        _ => None,
    };
    let vertices = path(at.checked_sub(1)).or_else(|| path(Some(at + 1)))?;
    let others = group.children().len().checked_sub(vertices.own.len())?;
    let before = usize::from(vertices.after_start && others > 0);
    let after = others - before;
    let ends = |count| std::iter::repeat_n(true, count);
    (after < 2).then(|| ends(before).chain(vertices.own).chain(ends(after)).collect())
}

/// The vertices between the first and the last.
struct Vertices {
    /// Whether each is the author's own.
    own: Vec<bool>,
    /// Whether a marker at the start comes before them.
    after_start: bool,
}

/// The vertices of a path that has joints of arcs; they are counted as the library does.
fn vertices(data: &Path) -> Option<Vertices> {
    let segments: Vec<PathSegment> = data.segments().collect();
    let inner = 1..segments.len().saturating_sub(1);
    let joint = |i: usize| i.checked_sub(1).is_some_and(|b| is_joint(&segments[b], &segments[i]));
    let first = inner.clone().find(|i| joint(*i))?;
    let own = inner
        .filter(|i| !matches!(segments[*i], PathSegment::Close))
        .map(|i| !joint(i) && !joint(i + 1))
        .collect();
    let after_start = matches!(segments[first], PathSegment::QuadTo(..));
    Some(Vertices { own, after_start })
}

fn is_joint(before: &PathSegment, segment: &PathSegment) -> bool {
    let PathSegment::CubicTo(_, _, end) = before else { return false };
    match segment {
        PathSegment::LineTo(p) => p == end,
        PathSegment::QuadTo(control, p) => control == end && p == end,
        _ => false,
    }
}
