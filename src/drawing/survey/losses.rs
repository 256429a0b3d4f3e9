//! What single elements lose on the way to a cut, told with row and column.
//!
//! Things that occur many times for one reason (a gradient that paints forty shapes) are told once,
//! with how often; see [`finish_tallies`].

use svgtypes::Color;
use usvg::roxmltree::Node;

use super::links::{self, href, local_url};
use super::size::{USABLE, readable};
use super::splice::Edit;
use super::style::{self, Prop, Props, SVG};
use super::values;
use super::viewports::Viewports;
use super::visit::{Inherited, Visitor, is_marked, is_shape, layer_name, svg_tag};
use super::{pictures, texts};
use crate::drawing::limits::MAX_TEXT_CHARS;
use crate::finding::Finding;

/// Tells what an element loses. False if it is not drawn, nor anything inside it.
pub(super) fn check<'a>(
    v: &mut Visitor<'a>,
    node: Node<'a, 'a>,
    props: &Props<'a>,
    context: &Inherited<'a>,
) -> bool {
    if is_hidden(node, props) {
        if props.get(Prop::Display) == Some("contents") {
            Edit::style(&mut v.edits, node, "display:none");
        }
        hidden(v, node, context, props.get(Prop::Display).unwrap_or("none"));
        if context.text.is_some() {
            // Letters that are not there take no place; the SVG library lets them.
            v.take_out(node);
        }
        return false;
    }
    let bare = props.get(Prop::Display) == Some("contents") && without_itself(v, node);
    if !element(v, node, context.viewports) || !values::check(v, node) {
        return false;
    }
    links::check(v, node, props);
    if !bare {
        effects(v, node, props);
    }
    texts::check(v, node, props, context.spacing);
    true
}

/// Whether an element is not drawn, nor anything inside it. `contents` is none for what can't be without itself
/// (CSS Display 3, appendix B).
pub(super) fn is_hidden(node: Node<'_, '_>, props: &Props<'_>) -> bool {
    let is_whole =
        |tag| is_shape(tag) || matches!(tag, "text" | "image" | "a" | "switch" | "textPath");
    match props.get(Prop::Display) {
        Some("none") => true,
        Some("contents") => svg_tag(node).is_some_and(is_whole),
        _ => false,
    }
}

/// Takes from an element with `display: contents` what it does to its contents; true if it has no effects then.
fn without_itself<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>) -> bool {
    let places: &[&str] = match svg_tag(node) {
        Some("g") => &[],
        Some("use") => &["x", "y"],
        Some("tspan") => &["x", "y", "dx", "dy", "rotate", "textLength"],
        Some("svg" | "symbol") if node.parent_element().is_some() => {
            let text = format!(
                "display: contents of {} is not followed; its place, size and viewBox hold.",
                called(node)
            );
            let hint = "Move what is in it out of it, or leave display out.";
            v.tell(node, Finding::warning("display-contents", text).hint(hint));
            return false;
        }
        _ => return false,
    };
    for given in node.attributes().filter(|given| places.contains(&given.name())) {
        v.edits.push(Edit::replace(given.range_qname(), format!("unused-{}", given.name())));
    }
    let none = "transform:none;opacity:1;clip-path:none;mask:none;filter:none";
    Edit::style(&mut v.edits, node, none);
    true
}

fn hidden(v: &mut Visitor<'_>, node: Node<'_, '_>, context: &Inherited<'_>, display: &str) {
    let tag = node.tag_name().name();
    if !(is_shape(tag)
        || matches!(
            tag,
            "g" | "use" | "text" | "image" | "svg" | "a" | "switch" | "tspan" | "textPath"
        ))
    {
        return;
    }
    if context.shelved {
        return;
    }
    let top = node.parent_element().is_some_and(|p| p.parent_element().is_none());
    let finding = if top && tag == "g" {
        let layer = layer_name(node)
            .map_or("a layer without a name".into(), |name| format!("the layer {}", quoted(&name)));
        Finding::note("layer-hidden", format!("{layer} is hidden and is not cut."))
            .hint("Show it in the drawing to cut it.")
    } else {
        Finding::note(
            "hidden",
            format!("{} is hidden (display: {display}) and is not cut.", called(node)),
        )
    };
    v.tell(node, finding);
}

/// Elements that are not ink as a whole.
fn element<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, around: Viewports) -> bool {
    let Some(tag) = svg_tag(node) else { return false };
    let finding = match tag {
        // One of several ways to show the same; another is drawn.
        "foreignObject" if node.parent().is_some_and(|p| p.has_tag_name((SVG, "switch"))) => {
            return false;
        }
        "image" if !has_usable_frame(node) => {
            v.take_out(node);
            let text = format!("{} has a frame beyond any sheet; it is left out.", called(node));
            Finding::error("coordinate-out-of-range", text)
        }
        "image" => match image(node) {
            Some(finding) => finding,
            None => {
                pictures::check(v, node, around);
                v.out.needs_fonts = true;
                return true;
            }
        },
        "foreignObject" | "iframe" | "video" | "audio" | "canvas" => Finding::warning(
            "foreign-content",
            format!("<{tag}> holds content that is not SVG; it is not cut."),
        )
        .hint("Redraw it with SVG shapes or text."),
        "script" => {
            Finding::note("script", "the script is not run; the drawing is cut as it is written.")
        }
        "animate" | "animateTransform" | "animateMotion" | "animateColor" | "set" => Finding::note(
            "animation",
            format!("<{tag}> does not run; the drawing is cut as it is at rest."),
        ),
        _ if is_known(tag) => return true,
        _ => Finding::warning(
            "element-unknown",
            format!("<{tag}> is not an element that is drawn here; it is not cut."),
        )
        .hint("Convert it to paths (or flowed text to ordinary text) in the drawing program."),
    };
    v.tell(node, finding);
    false
}

/// Elements that describe what is drawn.
const DESCRIBING: &str = " symbol defs title desc metadata style tspan textPath tref clipPath mask \
    pattern marker linearGradient radialGradient stop filter view cursor font font-face \
    color-profile mpath glyph missing-glyph hkern vkern ";

fn is_known(tag: &str) -> bool {
    is_marked(tag)
        || DESCRIBING.split_whitespace().any(|known| known == tag)
        || tag.starts_with("fe")
}

/// Whether a picture's width and height can be computed with, if they are given.
fn has_usable_frame(node: Node<'_, '_>) -> bool {
    let side = |name| node.attribute(name).and_then(readable).map(|(length, _)| length.number);
    ["width", "height"].into_iter().filter_map(side).all(|n| n <= 0.0 || USABLE.contains(&n))
}

/// A picture that is not cut; none for an SVG picture inside the drawing.
fn image(node: Node<'_, '_>) -> Option<Finding> {
    let advice = "Trace it to paths in the drawing program to cut its outline.";
    let Some(href) = href(node) else {
        return Some(Finding::warning(
            "image-not-cut",
            "<image> names no picture; nothing is cut.",
        ));
    };
    let Some(data) = href.trim().strip_prefix("data:") else {
        let text =
            format!("the linked picture {} is not read and not cut.", quoted(&shortened(href)));
        return Some(
            Finding::warning("image-not-cut", text)
                .hint("Embed an SVG picture, or trace a photo to paths, in the drawing program."),
        );
    };
    let kind = data.split([';', ',']).next().unwrap_or_default().trim().to_ascii_lowercase();
    if kind == "image/svg+xml" {
        return None;
    }
    let kind = kind.strip_prefix("image/").unwrap_or(&kind).to_uppercase();
    let text = format!(
        "{} is made of pixels ({kind}), which a knife can't follow; it is not cut.",
        called(node)
    );
    Some(Finding::warning("image-not-cut", text).hint(advice))
}

/// Filters, masks, blending: what changes the look but not the outline.
fn effects<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, props: &Props<'a>) {
    unread_css(v, node, props);
    unmet(v, node, props);
    if let Some(value) = props.get(Prop::Filter).filter(|value| *value != "none") {
        filter(v, node, value);
    }
    if let Some(id) = props.get(Prop::Mask).and_then(local_url)
        && node.tag_name().name() != "marker"
        && v.tags.get(id).is_some_and(|n| n.tag_name().name() == "mask")
    {
        let text = format!(
            "the mask {} is taken as the region of its visible part; half-visible parts are cut whole",
            quoted(id)
        );
        tally(v, node, id, Finding::note("mask-as-region", text));
        linear_mask(v, node, id);
        if node.tag_name().name() == "mask" {
            let text = format!("{} is itself masked; many viewers pass over that", called(node));
            tally(v, node, id, Finding::note("mask-of-mask", text));
        }
    }
    if let Some(mode) = props.get(Prop::BlendMode).filter(|m| *m != "normal") {
        blending(v, node, mode);
    }
}

/// Compositing 1, 10.1: where white is multiplied, or the darker colour is taken, what lies under it shows.
fn blending<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, mode: &'a str) {
    let is_white =
        |value: &str| value.parse::<Color>().is_ok_and(|colour| colour == Color::white());
    let white = matches!(mode, "multiply" | "darken")
        && node.descendants().filter(Node::is_element).any(|inner| {
            let props = v.styles.props(inner);
            [Prop::Fill, Prop::Stroke].into_iter().filter_map(|p| props.get(p)).any(is_white)
        });
    if white {
        let text = format!(
            "the white in {}, whose mix-blend-mode is {mode}, covers what lies under it here; viewers show that",
            called(node)
        );
        let hint = "Leave the white out, unless it is to be cut out of what lies under it.";
        return tally(v, node, "white", Finding::warning("blending-ignored", text).hint(hint));
    }
    let text = format!("mix-blend-mode: {mode} has no meaning for a knife; it is left out");
    tally(v, node, mode, Finding::note("blending-ignored", text));
}

/// Effects on elements whose effects the SVG library passes over (CSS Masking 1; SVG 2, 5.5 and 13.7; CSS Color 4,
/// 4.2).
fn unmet<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, props: &Props<'a>) {
    let tag = svg_tag(node).unwrap_or_default();
    let transparent = props.get(Prop::Opacity).and_then(style::share) == Some(0.0);
    if transparent && matches!(tag, "marker" | "tspan" | "textPath") {
        // Hidden letters keep their place, as transparent ones do.
        Edit::style(&mut v.edits, node, "visibility:hidden");
        let text = format!("{} is fully transparent; it is not cut.", called(node));
        v.tell(node, Finding::note("hidden", text));
    }
    for (prop, name) in [(Prop::ClipPath, "clip path"), (Prop::Mask, "mask")] {
        let id = props.get(prop).and_then(local_url).filter(|_| tag == "marker");
        if id.is_some_and(|id| v.tags.contains_key(id)) {
            let text =
                format!("the {name} of {} is not followed; the marker is cut whole", called(node));
            let hint = "Clip what is in the marker instead.";
            tally(v, node, name, Finding::warning("clip-ignored", text).hint(hint));
        }
    }
    let moved = props.get(Prop::Transform).is_some_and(|value| value != "none");
    if moved && tag == "symbol" {
        let text = format!(
            "the transform of {} is not followed; its clones are cut without it.",
            called(node)
        );
        let hint = "Put what is in the symbol into a group, and transform that.";
        v.tell(node, Finding::warning("symbol-transform", text).hint(hint));
    }
}

/// CSS Masking 1 (luminance of masks): a mask's light may be measured in linear RGB, in which dark greys are darker.
fn linear_mask<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, id: &'a str) {
    let mask = v.tags.get(id).copied();
    if mask.and_then(|mask| mask.attribute("color-interpolation")) == Some("linearRGB") {
        let text = format!(
            "the mask {} asks for linearRGB, which is not followed; dark parts of it may show what viewers hide",
            quoted(id)
        );
        let hint = "Use black for what the mask is to hide.";
        tally(v, node, id, Finding::warning("mask-linear", text).hint(hint));
    }
}

/// Whether a property of this name places or sizes the element (SVG 2, chapter Geometry).
fn has_geometry(node: Node<'_, '_>, name: &str) -> bool {
    let framed = matches!(svg_tag(node), Some("use" | "image"));
    is_shape(node.tag_name().name()) || framed && matches!(name, "x" | "y" | "width" | "height")
}

/// CSS that a viewer obeys and the reader does not.
fn unread_css<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, props: &Props<'a>) {
    if let Some(name) = props.get(Prop::CssGeometry).filter(|name| has_geometry(node, name)) {
        let text = format!(
            "{} has its {name} in a style, where it is not read; only attributes are",
            called(node)
        );
        let hint = "Save the drawing again as plain SVG.";
        tally(v, node, name, Finding::warning("style-geometry", text).hint(hint));
    }
    if let Some(name) = props.disputed() {
        let text = format!(
            "{name} of {} is marked !important twice; the first is taken, viewers take the last",
            called(node)
        );
        let hint = "Leave one of them.";
        tally(v, node, name, Finding::warning("style-important", text).hint(hint));
    }
    if let Some(name) = props.get(Prop::CssMask) {
        let text = format!(
            "{} has {name} in its style, which is not followed; more or less of it may be shown",
            called(node)
        );
        let hint = "Name the mask by the property mask alone, and say of the mask itself what its mask-type is.";
        tally(v, node, name, Finding::warning("style-mask", text).hint(hint));
    }
    if let Some(name) = props.get(Prop::CssTransform) {
        let text = format!(
            "{} has {name} in its style, which is not followed; it may lie elsewhere than it is shown",
            called(node)
        );
        let hint = "Save the drawing again as plain SVG, with transforms as attributes.";
        tally(v, node, name, Finding::warning("style-transform", text).hint(hint));
    }
    if let Some(value) = props.get(Prop::ClipPath)
        && value.contains('(')
        && !value.starts_with("url(")
    {
        let text = format!(
            "clip-path: {} is left out; what it should bound is cut whole",
            quoted(&shortened(value))
        );
        let hint = "Clip with a path (a <clipPath> element) instead.";
        tally(v, node, value, Finding::warning("clip-ignored", text).hint(hint));
    }
    if node.tag_name().name() == "style" {
        let texts = node.children().filter(Node::is_text).filter_map(|text| text.text());
        for rule in style::unread_rules(&texts.collect::<String>()) {
            let text = format!("the style rule {} is not read", quoted(&shortened(&rule)));
            let hint = "Save the drawing again as plain SVG, with styles as attributes.";
            tally(v, node, &rule, Finding::warning("style-rule-ignored", text).hint(hint));
        }
    }
}

fn filter<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, value: &'a str) {
    let Some(id) = local_url(value) else {
        let text = format!("the filter {} is left out; the shape is cut without it", quoted(value));
        return tally(v, node, value, Finding::warning("filter-ignored", text));
    };
    if v.tags.get(id).is_some_and(|n| n.tag_name().name() == "filter") {
        // Drawing programs give every shape a filter of its own.
        let text = "a filter is left out; shadows, glows and the like are not cut, the shape is"
            .to_owned();
        return tally(v, node, "filter", Finding::warning("filter-ignored", text));
    }
    let text = format!(
        "the filter {} does not exist, so what it belongs to is not drawn and not cut.",
        quoted(id)
    );
    v.tell(node, Finding::warning("filter-missing", text).hint("Take the filter off the shape."));
}

/// Tells a thing once and counts further occurrences. The text ends without a stop.
pub(super) fn tally(v: &mut Visitor<'_>, node: Node<'_, '_>, thing: &str, finding: Finding) {
    let next = v.out.findings.len();
    let entry = v.tallies.entry((finding.code, thing.to_owned())).or_insert((next, 0));
    entry.1 += 1;
    if entry.1 == 1 {
        v.tell(node, finding);
    }
}

/// Writes the counts into the findings.
pub(super) fn finish_tallies(v: &mut Visitor<'_>) {
    for (at, times) in v.tallies.values() {
        let Some(finding) = v.out.findings.get_mut(*at) else { continue };
        if *times > 1 {
            finding.text.push_str(&format!(" ({times} places)"));
        }
        finding.text.push('.');
    }
}

/// An attribute whose value is not what it should be.
pub(in crate::drawing) fn unreadable(name: &str, value: &str, tag: &str) -> Finding {
    Finding::warning(
        "attribute-unreadable",
        format!(
            "{name}={} of <{tag}> can't be read; it is taken as not given.",
            quoted(&shortened(value))
        ),
    )
    .hint("Write a number, with a unit if need be.")
}

/// A size of the page that viewers do not read (CSS Syntax 3, 4.3.3 and 4.3.12).
pub(super) fn loose_size(name: &str, value: &str) -> Finding {
    let text = format!(
        "{name}={} of the page is taken as it is meant; viewers take it as not given.",
        quoted(&shortened(value))
    );
    Finding::note("page-size-loose", text)
        .hint("Write the unit right behind the number, and a digit behind its point.")
}

/// XML 1.0, 3.3.2: a document type declaration may give attributes a value where an element has none; the XML
/// library passes over that.
pub(super) fn declared_defaults(v: &mut Visitor<'_>) {
    const OPENING: &str = "<!ATTLIST";
    let head = v.source.get(..v.begin).unwrap_or_default();
    let mut at = 0;
    while let Some(found) = head[at..].find("<!").map(|found| at + found) {
        let rest = &head[found..];
        at = found + 2;
        if rest.starts_with("<!--") {
            at = rest.find("-->").map_or(head.len(), |end| found + end);
        } else if let Some(list) = rest.strip_prefix(OPENING)
            && let Some(name) = first_default(list)
        {
            let text = format!(
                "the document type declaration gives {name} a value for elements that have none of it, which is not \
                 followed; viewers follow it."
            );
            let hint = "Give the attribute to the elements themselves.";
            let finding = Finding::warning("default-ignored", text).hint(hint);
            let place = v.lines.place(found);
            v.out.findings.push(finding.at(place));
        }
    }
}

/// The first attribute in a list of declarations that has a value by default, namespaces apart.
fn first_default(list: &str) -> Option<&str> {
    let mut before = ["", "", ""];
    let mut rest = list.trim_start();
    while let Some(first) = rest.chars().next().filter(|c| *c != '>') {
        let length = match first {
            '"' | '\'' => rest[1..].find(first)? + 2,
            '(' => rest.find(')')? + 1,
            _ => rest.find(|c: char| c.is_whitespace() || c == '>')?,
        };
        if matches!(first, '"' | '\'') {
            let fixed = before[2] == "#FIXED";
            let name = if fixed { before[0] } else { before[1] };
            if !name.starts_with("xmlns") {
                return Some(name);
            }
        }
        before = [before[1], before[2], &rest[..length]];
        rest = rest[length..].trim_start();
    }
    None
}

/// Numbers that no 32-bit float can hold, in attributes that are no geometry of shapes (those are
/// checked with the shape): the exponent is cut down.
pub(super) fn huge_numbers(v: &mut Visitor<'_>, node: Node<'_, '_>) {
    for attribute in node.attributes() {
        let value = attribute.value();
        let geometry = matches!(attribute.name(), "d" | "points" | "id" | "href" | "class");
        if geometry || value.contains('#') {
            continue;
        }
        let huge: Vec<_> = huge_exponents(value).collect();
        if huge.is_empty() {
            continue;
        }
        let start = attribute.range_value().start;
        for range in huge {
            v.edits.push(Edit::replace(start + range.start..start + range.end, "15"));
        }
        let text = format!(
            "{}={} is beyond any sheet; it is cut down to a number that can be computed with.",
            attribute.name(),
            quoted(&shortened(value))
        );
        v.tell(node, Finding::warning("number-too-large", text));
    }
}

/// Where exponents above thirty stand.
fn huge_exponents(value: &str) -> impl Iterator<Item = std::ops::Range<usize>> {
    value.match_indices(['e', 'E']).filter_map(|(at, _)| {
        let before = value.as_bytes().get(at.checked_sub(1)?)?;
        let start = at + 1 + usize::from(value.as_bytes().get(at + 1) == Some(&b'+'));
        let digits = value.get(start..)?.bytes().take_while(u8::is_ascii_digit).count();
        let exponent: u32 = value.get(start..start + digits)?.parse().unwrap_or(u32::MAX);
        let number = before.is_ascii_digit() || *before == b'.';
        (number && digits > 0 && exponent > 30).then_some(start..start + digits)
    })
}

/// A text beyond the limit.
pub(super) fn text_too_long(length: usize, most: usize) -> Finding {
    let what = if most == MAX_TEXT_CHARS { "the text has" } else { "the texts up to here have" };
    Finding::error(
        "text-too-long",
        format!("{what} {length} characters, more than {most}; it is left out."),
    )
    .hint("Split it, or convert it to paths in the drawing program.")
}

/// What to call an element in a sentence.
pub(super) fn called(node: Node<'_, '_>) -> String {
    let tag = node.tag_name().name();
    match node.attribute("id") {
        Some(id) if !id.is_empty() => format!("<{tag}> {}", quoted(id)),
        _ => format!("<{tag}>"),
    }
}

/// A name in quotes.
pub(in crate::drawing) fn quoted(name: &str) -> String {
    format!("\u{201c}{name}\u{201d}")
}

/// At most forty characters of a long value.
pub(in crate::drawing) fn shortened(value: &str) -> String {
    let mut text: String = value.chars().take(40).collect();
    if value.chars().nth(40).is_some() {
        text.push('\u{2026}');
    }
    text
}
