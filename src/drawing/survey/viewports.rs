//! Percentages of user space, written out where the SVG library takes them of another viewport.
//!
//! By SVG 2 (8.9) a percentage is one of the nearest viewport around the element. The library takes those of a
//! mask, clip path, pattern, gradient or marker of the viewport in which that is used, those in a symbol with a
//! view box of the clone's width and height, and a clone's own share of the width of a symbol of that share again.
//! For definitions, no symbol counts as a viewport: it has none until it is cloned, and definitions are not cloned
//! with it (seen in a browser). Sizes that depend on a clone are left to the library, which knows them; where it
//! takes them wrongly, that is told.

use std::collections::HashSet;

use usvg::roxmltree::{Document, Node};

use super::links::href;
use super::losses::called;
use super::size::{percentage, px, readable, sides_of_box};
use super::splice::Edit;
use super::values::dash_items;
use super::visit::{Inherited, Visitor, svg_tag};
use crate::finding::Finding;

/// A width and a height in user units.
pub(super) type Sides = [f64; 2];

/// What percentages are of.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Viewports {
    /// The nearest `svg` element, if its size is known.
    svg: Option<Sides>,
    /// The nearest viewport, symbols among them.
    nearest: Option<Sides>,
    /// What the percentages of an element's own attributes are to be written out for.
    written_for: Option<Sides>,
}

impl Viewports {
    /// Width (0) or height (1) of the nearest viewport.
    pub(super) fn side(&self, i: usize) -> Option<f64> {
        self.nearest.map(|sides| sides[i])
    }
}

/// What is known of a whole drawing.
#[derive(Debug, Default)]
pub(super) struct Frames<'a> {
    /// There is more than one viewport.
    several: bool,
    /// Clones may lie in another viewport than their originals.
    moved: bool,
    /// The ids that clones name.
    cloned: HashSet<&'a str>,
    /// Gradients and patterns that others take attributes from, which may count in other units.
    taken_from: HashSet<&'a str>,
}

const SERVERS: [&str; 3] = ["linearGradient", "radialGradient", "pattern"];

impl<'a> Frames<'a> {
    pub(super) fn new(doc: &'a Document<'a>) -> Self {
        let inner = |node: &Node<'_, '_>| {
            node.parent_element().is_some() && matches!(svg_tag(*node), Some("svg" | "symbol"))
        };
        let clones = || doc.descendants().filter(|node| node.tag_name().name() == "use");
        let cloned = clones().filter_map(|node| href(node)?.trim().strip_prefix('#')).collect();
        if !doc.descendants().filter(Node::is_element).any(|node| inner(&node)) {
            return Self { cloned, ..Self::default() };
        }
        let servers = doc.descendants().filter(|node| SERVERS.contains(&node.tag_name().name()));
        let taken_from = servers.filter_map(|node| href(node)?.trim().strip_prefix('#')).collect();
        let moved = clones().any(|node| node.ancestors().skip(1).any(|around| inner(&around)));
        Self { several: true, moved, cloned, taken_from }
    }

    /// Whether clones name an element.
    pub(super) fn is_cloned(&self, node: Node<'_, '_>) -> bool {
        node.attribute("id").is_some_and(|id| self.cloned.contains(id))
    }

    /// What an element hands to its children.
    pub(super) fn within(&self, node: Node<'_, '_>, around: Viewports) -> Viewports {
        let is_cloned = self.is_cloned(node);
        let nearest = around.nearest.filter(|_| !(self.moved && is_cloned));
        let around = Viewports { nearest, ..around };
        match node.tag_name().name() {
            "svg" => Viewports {
                svg: of_svg(node, around.svg, is_cloned),
                nearest: of_svg(node, around.nearest, is_cloned),
                written_for: None,
            },
            _ if !self.several => around,
            "symbol" => {
                let own = view_box(node);
                Viewports { nearest: own, written_for: own, ..around }
            }
            "mask" | "clipPath" | "marker" => Viewports { written_for: around.svg, ..around },
            tag if SERVERS.contains(&tag) => Viewports { written_for: around.svg, ..around },
            _ => around,
        }
    }
}

/// Width and height of an element's view box, if it has one that counts.
pub(super) fn view_box(node: Node<'_, '_>) -> Option<Sides> {
    sides_of_box(node.attribute("viewBox")?).filter(|sides| sides.iter().all(|side| *side > 0.0))
}

/// The size of an `svg` element in its own units; none if a clone may give it another.
fn of_svg(node: Node<'_, '_>, around: Option<Sides>, is_cloned: bool) -> Option<Sides> {
    if let Some(sides) = view_box(node) {
        return Some(sides);
    }
    if is_cloned && node.parent_element().is_some() {
        return None;
    }
    let side = |name: &str, around: Option<f64>| match node.attribute(name).map(str::trim) {
        None | Some("auto") => around,
        Some(given) => share(given, around).or_else(|| px(readable(given)?.0)),
    };
    let [width, height] = [0, 1].map(|i| around.map(|sides| sides[i]));
    Some([side("width", width)?, side("height", height)?])
}

/// A percentage of a whole, if it is one.
pub(super) fn share(given: &str, whole: Option<f64>) -> Option<f64> {
    Some(percentage(given)? * whole?)
}

/// What a percentage of this attribute is of.
fn whole(name: &str, [width, height]: Sides) -> Option<f64> {
    match name {
        "x" | "x1" | "x2" | "cx" | "fx" | "rx" | "dx" | "width" | "markerWidth" => Some(width),
        "y" | "y1" | "y2" | "cy" | "fy" | "ry" | "dy" | "height" | "markerHeight" => Some(height),
        "r" | "fr" | "stroke-width" | "stroke-dasharray" | "stroke-dashoffset" => {
            Some((width.hypot(height)) / std::f64::consts::SQRT_2)
        }
        _ => None,
    }
}

/// Writes an element's percentages out, those that it has by default among them.
pub(super) fn check<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, around: &Inherited<'a>) {
    let tag = svg_tag(node).unwrap_or_default();
    let viewports = match tag {
        "svg" => around.viewports,
        _ => v.frames.within(node, around.viewports),
    };
    let sides = match viewports.written_for {
        None if is_share_of_symbol(v, node, tag) => match viewports.nearest {
            None => return untaken_share(v, node),
            nearest => nearest,
        },
        written_for => written_for,
    };
    let Some(sides) = sides else { return };
    let units = match tag {
        "mask" => Some("maskUnits"),
        "pattern" => Some("patternUnits"),
        "linearGradient" | "radialGradient" => Some("gradientUnits"),
        _ => None,
    };
    let lends = SERVERS.contains(&tag)
        && node.attribute("id").is_some_and(|id| v.frames.taken_from.contains(id));
    if units.is_some_and(|units| node.attribute(units) != Some("userSpaceOnUse")) || lends {
        return;
    }
    for given in node.attributes() {
        let Some(whole) = whole(given.name(), sides) else { continue };
        let written = |item: &str| share(item, Some(whole)).map(|n| n.to_string());
        let items = dash_items(given.value(), |item| {
            Some(written(item).unwrap_or_else(|| item.to_owned()))
        });
        if let Some(items) = items.filter(|_| given.value().contains('%')) {
            v.edits.push(Edit::replace(given.range_value(), items.join(" ")));
        }
    }
    if href(node).is_some() {
        return;
    }
    for (name, share) in defaults(tag) {
        if let Some(whole) = whole(name, sides).filter(|_| !node.has_attribute(*name)) {
            v.edits.push(Edit::attribute(node, name, &(share * whole).to_string()));
        }
    }
}

/// Whether an element clones a symbol to a share of the viewport.
fn is_share_of_symbol<'a>(v: &Visitor<'a>, node: Node<'a, 'a>, tag: &str) -> bool {
    let id = href(node).filter(|_| tag == "use").and_then(|link| link.trim().strip_prefix('#'));
    let is_share =
        |name| node.attribute(name).is_some_and(|given| percentage(given.trim()).is_some());
    id.and_then(|id| v.tags.get(id)).is_some_and(|linked| svg_tag(*linked) == Some("symbol"))
        && ["x", "y", "width", "height"].into_iter().any(is_share)
}

/// A share of a viewport whose size is not known, which the library takes twice.
fn untaken_share<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>) {
    let text = format!(
        "the place and size of {} in percent hang on what it is cloned into, which is not followed; viewers \
         show it elsewhere or in another size.",
        called(node)
    );
    let hint = "Give the clone its x, y, width and height as numbers.";
    v.tell(node, Finding::warning("clone-size", text).hint(hint));
}

/// Shares of the viewport that hold where nothing is given (CSS Masking 1, 7.10; SVG 2, 14.2).
fn defaults(tag: &str) -> &'static [(&'static str, f64)] {
    match tag {
        "mask" => &[("x", -0.1), ("y", -0.1), ("width", 1.2), ("height", 1.2)],
        "linearGradient" => &[("x2", 1.0)],
        "radialGradient" => &[("cx", 0.5), ("cy", 0.5), ("r", 0.5)],
        _ => &[],
    }
}
