//! What elements refer to: clones, clip paths, masks, markers, paints; and what is told when the
//! other end does not exist, lies in another file, or is a paint without an edge.

use usvg::roxmltree::{Attribute, Node};

use super::losses::{quoted, shortened, tally};
use super::splice::Edit;
use super::style::{Prop, Props, SVG, XLINK};
use super::visit::Visitor;
use crate::finding::Finding;

/// Tells of an element's references that lead nowhere, or out of the file.
pub(super) fn check<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, props: &Props<'a>) {
    paints(v, node, props);
    let tag = node.tag_name().name();
    if matches!(tag, "use" | "textPath" | "tref") {
        link(v, node, tag);
    }
    for (prop, wanted) in TARGETS {
        target(v, node, props.get(prop), &wanted);
    }
}

/// What a reference of a property must lead to, and what happens when it does not.
const TARGETS: [(Prop, Wanted); 5] = [
    (Prop::ClipPath, CLIP),
    (Prop::Mask, MASK),
    (Prop::MarkerStart, MARKER),
    (Prop::MarkerMid, MARKER),
    (Prop::MarkerEnd, MARKER),
];
const CLIP: Wanted = Wanted {
    code: "clip-missing",
    tag: "clipPath",
    none: "clip-path:none",
    lost: "the clip path {} does not exist; what it should bound is cut whole.",
};
const MASK: Wanted = Wanted {
    code: "mask-missing",
    tag: "mask",
    none: "mask:none",
    lost: "the mask {} does not exist; what it should cover is cut whole.",
};
const MARKER: Wanted = Wanted {
    code: "marker-missing",
    tag: "marker",
    none: "marker:none",
    lost: "the marker {} does not exist; none is cut.",
};

fn link(v: &mut Visitor<'_>, node: Node<'_, '_>, tag: &str) {
    let finding = match href(node) {
        None => Finding::warning("link-missing", format!("<{tag}> names nothing; nothing is cut.")),
        Some(href) => match href.trim().strip_prefix('#') {
            Some(id) if v.tags.contains_key(id) => return,
            Some(id) => Finding::warning(
                "link-missing",
                format!(
                    "<{tag}> names {}, which does not exist; nothing is cut for it.",
                    quoted(id)
                ),
            )
            .hint("Restore the original in the drawing program, or delete the clone."),
            None => Finding::warning(
                "link-outside",
                format!(
                    "<{tag}> names {}, another file; it is not read.",
                    quoted(&shortened(href))
                ),
            )
            .hint("Bring the part into this drawing."),
        },
    };
    v.tell(node, finding);
}

/// Links from gradient to gradient are followed so far.
const MOST_LINKS: usize = 32;

struct Wanted {
    code: &'static str,
    tag: &'static str,
    /// What says that there is none.
    none: &'static str,
    lost: &'static str,
}

fn target<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, value: Option<&'a str>, wanted: &Wanted) {
    let Some(id) = value.and_then(local_url) else { return };
    if v.tags.get(id).is_some_and(|n| n.tag_name().name() == wanted.tag) {
        return;
    }
    if v.tags.contains_key(id) && wanted.tag != MARKER.tag {
        // CSS Masking 1: something else bounds nothing. The SVG library would leave the element out.
        Edit::style(&mut v.edits, node, wanted.none);
    }
    let text = wanted.lost.replace("{}", &quoted(id));
    v.tell(node, Finding::warning(wanted.code, text));
}

/// Gradients, and paints that do not exist.
fn paints<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, props: &Props<'a>) {
    for value in [Prop::Fill, Prop::Stroke].into_iter().filter_map(|prop| props.get(prop)) {
        let Some(id) = local_url(value) else { continue };
        match v.tags.get(id).map(|n| n.tag_name().name()) {
            Some("linearGradient" | "radialGradient") if !has_stops(v, id) => {
                without_stops(v, node, id)
            }
            Some("linearGradient" | "radialGradient") => {
                let text = format!(
                    "the gradient {} is cut as one solid area, as far as it can be told from the \
                     paper",
                    quoted(id)
                );
                tally(v, node, id, Finding::note("gradient-solid", text));
            }
            Some("pattern") => {}
            _ => {
                let then = match value.rsplit(')').next().map(str::trim) {
                    None | Some("" | "none") => "nothing is painted".to_owned(),
                    Some(fallback) => format!("{fallback} is used instead"),
                };
                let text = format!("the paint {} does not exist; {then}.", quoted(id));
                v.tell(node, Finding::warning("paint-missing", text));
            }
        }
    }
}

/// Whether a gradient has stops, its own or those of the one that it refers to.
fn has_stops(v: &Visitor<'_>, id: &str) -> bool {
    let mut gradient = v.tags.get(id);
    for _ in 0..MOST_LINKS {
        let Some(node) = gradient else { return false };
        if node.children().any(|child| child.has_tag_name((SVG, "stop"))) {
            return true;
        }
        let next = href(*node).and_then(|link| link.trim().strip_prefix('#'));
        gradient = next.and_then(|id| v.tags.get(id));
    }
    true
}

/// A gradient without stops paints nothing (SVG 2, chapter Paint Servers), whatever the fallback;
/// the SVG library paints the fallback, so it is given a stop that lets everything through.
fn without_stops<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, id: &'a str) {
    let text = format!("the gradient {} has no colours; nothing is painted", quoted(id));
    tally(v, node, id, Finding::warning("gradient-empty", text));
    if let Some(gradient) = v.tags.get(id).copied() {
        v.edits.push(Edit::child(gradient, "stop", "stop-opacity=\"0\""));
    }
}

/// The element's link: plain `href` before `xlink:href` (SVG 2, Linking).
pub(super) fn href<'a>(node: Node<'a, 'a>) -> Option<&'a str> {
    href_attribute(node).map(|a| a.value())
}

/// The attribute that the link stands in.
pub(super) fn href_attribute<'a>(node: Node<'a, 'a>) -> Option<Attribute<'a, 'a>> {
    node.attributes()
        .find(|a| a.name() == "href" && a.namespace().is_none())
        .or_else(|| node.attributes().find(|a| a.name() == "href" && a.namespace() == Some(XLINK)))
}

/// The id in `url(#id)`, whatever follows.
pub(in crate::drawing) fn local_url(value: &str) -> Option<&str> {
    let inner = value.trim().strip_prefix("url(")?.split(')').next()?;
    inner.trim().trim_matches(['"', '\'']).trim().strip_prefix('#')
}
