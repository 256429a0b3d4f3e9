//! What is wrong with a shape's geometry: broken path data, coordinates out of any range, sizes of
//! nothing, joins and effects that the SVG library does not know.
//!
//! A shape that can't be read at all is taken out of the text, so that the library never computes
//! with infinities.

use svgtypes::{Length, LengthListParser, LengthUnit};
use usvg::roxmltree::{Attribute, Node};

use super::arcs::{self, Joints, larger};
use super::links::local_url;
use super::losses::{self, called, shortened};
use super::size::{is_zero, readable};
use super::splice::Edit;
use super::style::{Prop, Props};
use super::visit::{Inherited, Visitor};
use crate::drawing::limits::MAX_USER_UNITS;
use crate::drawing::markers::MarkerUse;
use crate::finding::Finding;

/// Lengths among the attributes of shapes.
const LENGTHS: [&str; 14] = [
    "x",
    "y",
    "width",
    "height",
    "rx",
    "ry",
    "cx",
    "cy",
    "r",
    "x1",
    "y1",
    "x2",
    "y2",
    "stroke-width",
];

/// Checks one shape, and marks it for the later stages. It is the element marked last.
pub(super) fn check<'a>(
    v: &mut Visitor<'a>,
    node: Node<'a, 'a>,
    props: &Props<'a>,
    context: &Inherited<'a>,
) {
    let tag = node.tag_name().name();
    let largest = larger(lengths(v, node, context.hidden), geometry(v, node, context));
    if largest > MAX_USER_UNITS {
        return out_of_range(v, node, context.hidden);
    }
    let non_scaling = props.get(Prop::VectorEffect) == Some("non-scaling-stroke");
    let round = matches!(tag, "circle" | "ellipse")
        || (tag == "rect" && (node.has_attribute("rx") || node.has_attribute("ry")));
    if non_scaling || round {
        let mark = if non_scaling { "crispEdges" } else { "optimizeSpeed" };
        v.edits.push(Edit::attribute(node, "shape-rendering", mark));
    }
    if !context.hidden {
        lines(v, node, props, context);
    }
}

/// The largest length; reports what is no length.
fn lengths(v: &mut Visitor<'_>, node: Node<'_, '_>, hidden: bool) -> f64 {
    let mut largest = 0.0;
    for attribute in node.attributes().filter(|a| LENGTHS.contains(&a.name())) {
        let value = attribute.value();
        let relative = || v.relative.px(value).map(|px| (Length::new_number(px), px.to_string()));
        match readable(value).or_else(relative) {
            Some((length, text)) => {
                if length.unit == LengthUnit::Ex && !hidden {
                    letter_height(v, node);
                }
                largest = larger(largest, length.number);
                if text != value {
                    v.edits.push(Edit::replace(attribute.range_value(), text));
                }
            }
            None if matches!(value.trim(), "auto" | "inherit" | "") || hidden => {}
            None => {
                let tag = node.tag_name().name();
                v.tell(node, losses::unreadable(attribute.name(), value, tag));
            }
        }
    }
    largest
}

/// The SVG library does not ask the font how high its letter x is (CSS Values 4, 6.1.1).
fn letter_height(v: &mut Visitor<'_>, node: Node<'_, '_>) {
    let text = format!(
        "a length of {} is in ex, which is taken as half the font's size; viewers ask the font",
        called(node)
    );
    let hint = "Write it in mm or another unit of length.";
    losses::tally(v, node, "ex", Finding::note("unit-ex", text).hint(hint));
}

/// The largest coordinate of a path or polygon; reports what breaks off. A shape with nothing to
/// draw is not expected in the tree.
fn geometry(v: &mut Visitor<'_>, node: Node<'_, '_>, context: &Inherited<'_>) -> f64 {
    let hidden = context.hidden;
    match node.tag_name().name() {
        "path" => match node.attribute_node("d") {
            Some(data) => path(v, node, data, context),
            None => unexpected(v),
        },
        "polyline" | "polygon" => match node.attribute_node("points") {
            Some(points) => polygon(v, node, points, hidden),
            None => unexpected(v),
        },
        "rect" if zero(node, "width") || zero(node, "height") => unexpected(v),
        "circle" if zero(node, "r") => unexpected(v),
        "ellipse" if is_zero(node.attribute("rx")) || is_zero(node.attribute("ry")) => {
            unexpected(v)
        }
        _ => 0.0,
    }
}

fn unexpected(v: &mut Visitor<'_>) -> f64 {
    v.explain_last();
    0.0
}

fn zero(node: Node<'_, '_>, name: &str) -> bool {
    node.attribute(name).is_none_or(|value| is_zero(Some(value)))
}

fn path(
    v: &mut Visitor<'_>,
    node: Node<'_, '_>,
    data: Attribute<'_, '_>,
    context: &Inherited<'_>,
) -> f64 {
    let text = data.value();
    let joints = joints(v, context);
    let known = if joints == Joints::Plain { v.inspected.take(node) } else { None };
    let report = known.unwrap_or_else(|| arcs::inspect(text, joints));
    v.weigh_commands(report.commands);
    if let Some(rewritten) = report.rewritten {
        v.edits.push(Edit::replace(data.range_value(), rewritten));
    }
    if matches!(text.trim(), "" | "none") {
        return unexpected(v);
    }
    if let Some(at) = report.broken_at.filter(|_| !context.hidden) {
        let start = data.range_value().start;
        let offset = text.char_indices().nth(at).map_or(text.len(), |(i, _)| i);
        let near: String = text.chars().skip(at).take(12).collect();
        let kept = match report.commands {
            0 => "nothing of it is cut".to_owned(),
            1 => "only its first command is kept".to_owned(),
            n => format!("only its first {n} commands are cut"),
        };
        let near = if near.is_empty() { "its end".into() } else { losses::quoted(&near) };
        let finding = Finding::warning(
            "path-broken",
            format!("the data of {} break off near {near}; {kept}.", called(node)),
        );
        let place = v.lines.place(start + offset);
        v.out.findings.push(finding.at(place).hint("Draw the path anew, or repair its data."));
    }
    if report.commands < 2 {
        v.explain_last();
    }
    if ends_with_point(text) && !context.hidden {
        let text = format!(
            "a number of {} ends with its point, where some viewers break off",
            called(node)
        );
        losses::tally(v, node, "point", Finding::note("path-number", text));
    }
    report.largest
}

/// Whether a number has nothing behind its decimal point, which SVG 2 (9.3.9) does not allow.
fn ends_with_point(data: &str) -> bool {
    let bytes = data.as_bytes();
    let digit = |at: Option<&u8>| at.is_some_and(u8::is_ascii_digit);
    data.match_indices('.')
        .any(|(at, _)| at > 0 && digit(bytes.get(at - 1)) && !digit(bytes.get(at + 1)))
}

/// Whether joints of arcs must be told from vertices.
fn joints(v: &Visitor<'_>, context: &Inherited<'_>) -> Joints {
    let [start, mid, _] = context.markers.map(|marker| {
        let marker = marker.and_then(local_url).and_then(|id| v.tags.get(id));
        marker.is_some_and(|m| m.tag_name().name() == "marker" && m.has_children())
    });
    match (mid, start) {
        (false, _) => Joints::Plain,
        (true, false) => Joints::Marked,
        (true, true) => Joints::MarkedAfterStart,
    }
}

/// SVG 2, chapter Basic Shapes: an odd coordinate at the end is dropped; points that can't be read
/// count as not given, like any attribute but the data of a path, and nothing is drawn.
fn polygon(
    v: &mut Visitor<'_>,
    node: Node<'_, '_>,
    points: Attribute<'_, '_>,
    hidden: bool,
) -> f64 {
    let text = points.value();
    let parsed: Vec<_> = LengthListParser::from(text).collect();
    v.weigh_commands(parsed.len() / 2);
    let readable = parsed.iter().all(|n| n.is_ok());
    if !readable {
        v.take_out(node);
    }
    if (!readable || parsed.len() % 2 == 1) && !hidden {
        points_broken(v, node, text, readable.then_some(parsed.len() / 2));
    }
    if !readable || parsed.len() < 4 {
        v.explain_last();
    }
    parsed.iter().flatten().fold(0.0, |largest, length| larger(largest, length.number))
}

fn points_broken(v: &mut Visitor<'_>, node: Node<'_, '_>, text: &str, kept: Option<usize>) {
    let (points, shape) = (losses::quoted(&shortened(text)), called(node));
    let text = match kept {
        Some(kept) => format!(
            "the points {points} of {shape} end with half a point; only the first {kept} are cut."
        ),
        None => format!(
            "the points {points} of {shape} can't be read; it is not drawn and not cut, though \
             some viewers show the part before the fault."
        ),
    };
    v.tell(node, Finding::warning("points-broken", text).hint("Points are pairs of numbers."));
}

fn out_of_range(v: &mut Visitor<'_>, node: Node<'_, '_>, hidden: bool) {
    v.take_out(node);
    v.explain_last();
    if !hidden {
        let text = format!("{} has coordinates beyond any sheet; it is left out.", called(node));
        let finding = Finding::error("coordinate-out-of-range", text)
            .hint("Correct the number, or delete the shape.");
        v.tell(node, finding);
    }
}

/// What is special about the shape's line.
fn lines<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, props: &Props<'a>, context: &Inherited<'a>) {
    let stroked = context.stroke.is_some_and(|s| s != "none");
    if stroked && context.line_join == Some("arcs") {
        let text = "stroke-linejoin: arcs is cut as a miter join".to_owned();
        losses::tally(v, node, "arcs", Finding::warning("join-arcs", text));
    }
    if stroked && context.line_join == Some("miter-clip") {
        let text = "stroke-linejoin: miter-clip is cut as SVG 2 defines it; viewers that do not \
                    know it paint a plain miter join"
            .to_owned();
        losses::tally(v, node, "miter-clip", Finding::note("join-miter-clip", text));
    }
    if let Some(effect) = props.get(Prop::VectorEffect)
        && !matches!(effect, "none" | "non-scaling-stroke" | "inherit")
    {
        let text = format!("vector-effect: {effect} is left out");
        losses::tally(v, node, effect, Finding::warning("vector-effect-ignored", text));
    }
    markers(v, node, context);
    marked_bounds(v, node, props, context);
    let dashed = stroked && context.dashes.is_some_and(|d| d != "none");
    if let Some(given) = node.attribute("pathLength").filter(|_| dashed || context.copied) {
        path_length(v, node, given);
    }
}

/// Markers that viewers show in other ways than the standard has it.
fn markers<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, context: &Inherited<'a>) {
    let named = context.markers.map(|m| m.and_then(local_url).and_then(|id| v.tags.get(id)));
    if named.iter().all(Option::is_none) {
        return;
    }
    if let Some(element) = v.out.elements.last_mut() {
        element.markers =
            Some(named.map(|marker| marker.map_or_else(Default::default, |m| marker_use(*m))));
    }
    let tag = node.tag_name().name();
    if node.attribute("d").is_some_and(arcs::has_bare_move) {
        let text = format!(
            "{} has points that no line leaves, where viewers put a marker; none is cut there",
            called(node)
        );
        let hint = "Delete the point, or draw a line from it.";
        losses::tally(v, node, "bare", Finding::warning("marker-on-point", text).hint(hint));
    }
    if matches!(tag, "rect" | "circle" | "ellipse") {
        let text = format!("markers of <{tag}> are cut, as SVG 2 has it; many viewers show none");
        losses::tally(v, node, tag, Finding::note("marker-on-shape", text));
    }
}

/// Whether what bounds an element does so in proportion to it.
pub(super) fn proportional(v: &Visitor<'_>, props: &Props<'_>) -> Option<&'static str> {
    let [clip, mask] = [Prop::ClipPath, Prop::Mask]
        .map(|prop| props.get(prop).and_then(local_url).and_then(|id| v.tags.get(id)));
    if clip.is_some_and(|c| c.attribute("clipPathUnits") == Some("objectBoundingBox")) {
        Some("clip path")
    } else if mask.is_some_and(|m| m.attribute("maskUnits") != Some("userSpaceOnUse")) {
        Some("mask")
    } else {
        None
    }
}

fn marker_use(marker: Node<'_, '_>) -> MarkerUse {
    let orient = marker.attribute("orient").unwrap_or_default().trim();
    MarkerUse {
        drawn: marker.tag_name().name() == "marker" && marker.has_children(),
        turns: orient.starts_with("auto"),
        reversed: orient == "auto-start-reverse",
        by_width: marker.attribute("markerUnits") != Some("userSpaceOnUse"),
    }
}

/// Clip paths and masks in proportion to a shape: the SVG library counts its markers in, the standard does
/// not (SVG 2, 8.10: the object bounding box is of the geometry alone).
fn marked_bounds<'a>(
    v: &mut Visitor<'a>,
    node: Node<'a, 'a>,
    props: &Props<'a>,
    context: &Inherited<'a>,
) {
    let drawn = |id: &str| v.tags.get(id).is_some_and(|m| m.has_children());
    if !context.markers.iter().flatten().filter_map(|m| local_url(m)).any(drawn) {
        return;
    }
    let Some(what) = proportional(v, props) else { return };
    let text = format!(
        "the {what} of {} is in proportion to the shape and its markers; viewers leave the markers out",
        called(node)
    );
    let hint = "Give the mask or clip path a size of its own, or put the shape into a group.";
    losses::tally(v, node, what, Finding::warning("marker-bounds", text).hint(hint));
}

/// SVG 2, chapter Paths: zero is a length like any other, a negative number is none.
fn path_length(v: &mut Visitor<'_>, node: Node<'_, '_>, given: &str) {
    let length = given.trim().parse::<f64>().ok().filter(|l| l.is_finite() && *l >= 0.0);
    if length.is_none() {
        v.tell(node, losses::unreadable("pathLength", given, node.tag_name().name()));
    }
    if let Some(element) = v.out.elements.last_mut() {
        element.path_length = length;
    }
}

/// An upper bound for the number of markers along a shape: a vertex takes two characters at least.
pub(super) fn vertices_at_most(node: Node<'_, '_>) -> u64 {
    ["d", "points"]
        .iter()
        .filter_map(|name| node.attribute(*name))
        .map(|data| data.len() as u64 / 2)
        .sum::<u64>()
        .max(4)
}
