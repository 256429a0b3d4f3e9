//! Values that the SVG library reads otherwise than the standards ask: rewritten, or taken out and told.
//!
//! - `currentcolor` in any case (CSS Color 4, 6.3: keywords are ASCII case-insensitive);
//! - a list of dashes with a fault in it, and a line width that can't be read, count as not given (SVG 2, chapter
//!   Painting, by CSS Syntax 3, 2.2: a declaration that does not parse is dropped whole);
//! - a clone takes the size that its `symbol` gives itself (SVG 2, 5.5 and 5.6);
//! - a nested drawing of no width or height, or with such a view box, is not drawn (SVG 2, 8.2 and 8.6);
//! - a style sheet for other media than screens is not read (SVG 2, 6.4, Media Queries 4);
//! - angles and lengths in a transform of CSS may have any unit (CSS Transforms 1, 11);
//! - `requiredFeatures` says nothing (SVG 2, 5.8, has it no longer);
//! - a comment of XML within a style sheet does not end it (XML 1.0, 2.5).

use usvg::roxmltree::{Attribute, Node};

use super::links::href;
use super::losses::{self, called, quoted};
use super::size::{self, is_zero, readable};
use super::splice::Edit;
use super::visit::{Visitor, svg_tag};
use crate::finding::Finding;

const CURRENT: &str = "currentColor";
const DASHES: &str = "stroke-dasharray";

/// Puts right what an element's own values are. False if it is not drawn for that.
pub(super) fn check<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>) -> bool {
    for attribute in node.attributes() {
        match attribute.name() {
            "fill" | "stroke" | "stop-color" | "color" => current(v, attribute.range_value()),
            "stroke-width" => width(v, node, attribute),
            DASHES => dashes(v, node, attribute),
            "style" => current(v, attribute.range_value()),
            "requiredFeatures" => v.edits.push(unused(attribute)),
            _ => {}
        }
    }
    match svg_tag(node) {
        Some("use") => clone(v, node),
        Some("svg") if node.parent_element().is_some() => frame(v, node),
        Some("style") => sheet(v, node),
        _ => true,
    }
}

/// Spells the keyword as the SVG library does.
fn current(v: &mut Visitor<'_>, range: std::ops::Range<usize>) {
    let Some(text) = v.source.get(range.clone()) else { return };
    for (at, _) in text.match_indices(['c', 'C']) {
        let word = text.get(at..at + CURRENT.len()).unwrap_or_default();
        if word.eq_ignore_ascii_case(CURRENT) && word != CURRENT {
            let at = range.start + at;
            v.edits.push(Edit::replace(at..at + CURRENT.len(), CURRENT));
        }
    }
}

fn width<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, given: Attribute<'a, 'a>) {
    let value = given.value();
    let known = readable(value).map(|(length, _)| length.number).or_else(|| v.relative.px(value));
    let left = matches!(value.trim(), "" | "inherit");
    if !left && known.is_none_or(|width| width < 0.0) {
        not_given(v, node, given);
    }
}

fn dashes<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, given: Attribute<'a, 'a>) {
    match list(v, given.value()) {
        None => not_given(v, node, given),
        Some(list) if list != given.value() => {
            v.edits.push(Edit::replace(given.range_value(), list));
        }
        Some(_) => {}
    }
}

/// A list of dashes in units that the SVG library knows; none if it has a fault.
fn list(v: &Visitor<'_>, value: &str) -> Option<String> {
    if matches!(value.trim(), "none" | "inherit" | "initial" | "unset") {
        return Some(value.to_owned());
    }
    let all = dash_items(value, |item| {
        let (number, text) = match readable(item) {
            Some((length, text)) => (length.number, text),
            None => v.relative.px(item).map(|px| (px, px.to_string()))?,
        };
        (number >= 0.0).then_some(text)
    })?;
    Some(if value.contains(',') { all.join(",") } else { all.join(" ") })
}

/// What `read` makes of each item of a list of dashes; none if the list or an item has a fault.
pub(in crate::drawing) fn dash_items<T>(
    value: &str,
    read: impl Fn(&str) -> Option<T>,
) -> Option<Vec<T>> {
    let mut all = Vec::new();
    for part in value.split(',') {
        let before = all.len();
        for item in part.split_whitespace() {
            all.push(read(item)?);
        }
        if all.len() == before {
            return None;
        }
    }
    Some(all)
}

/// Takes an attribute out, so that what is inherited counts.
fn not_given<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, given: Attribute<'a, 'a>) {
    v.edits.push(unused(given));
    v.tell(node, losses::unreadable(given.name(), given.value(), node.tag_name().name()));
}

fn unused(given: Attribute<'_, '_>) -> Edit {
    Edit::replace(given.range_qname(), format!("unused-{}", given.name()))
}

/// Gives a clone the size of its symbol. False if it has none.
fn clone<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>) -> bool {
    let id = href(node).and_then(|link| link.trim().strip_prefix('#'));
    let Some(target) = id.and_then(|id| v.tags.get(id)).copied() else { return true };
    if !matches!(svg_tag(target), Some("symbol" | "svg")) {
        return true;
    }
    if svg_tag(target) == Some("symbol") {
        for name in ["width", "height"] {
            let own = target.attribute(name).filter(|value| *value != "auto" && is_length(value));
            match (own, node.attribute_node(name)) {
                (Some(own), None) => v.edits.push(Edit::attribute(node, name, own)),
                (Some(own), Some(given)) if given.value().trim() == "auto" => {
                    v.edits.push(Edit::replace(given.range_value(), own));
                }
                _ => {}
            }
        }
    }
    frame(v, node)
}

fn is_length(value: &str) -> bool {
    readable(value).is_some_and(|(length, _)| length.number >= 0.0)
}

/// Whether something with a view of its own has a size. If not, it is taken out and told.
fn frame<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>) -> bool {
    let side = ["width", "height"].into_iter().find(|name| is_zero(node.attribute(*name)));
    let flat = |b: &str| size::sides_of_box(b).is_some_and(|sides| sides.contains(&0.0));
    let what = match side {
        Some(name) => name,
        None if node.attribute("viewBox").is_some_and(flat) => "viewBox",
        None => return true,
    };
    v.take_out(node);
    let text = format!("{} is not drawn: its {what} is zero.", called(node));
    v.tell(node, Finding::note("not-drawn", text));
    false
}

/// Takes a style sheet for other media out.
fn sheet<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>) -> bool {
    let Some(media) = node.attribute("media").filter(|media| !is_for_screens(media)) else {
        for child in node.children() {
            match child.is_comment() {
                true => v.edits.push(Edit::replace(child.range(), "")),
                false => current(v, child.range()),
            }
        }
        return true;
    };
    v.take_out(node);
    let text = format!(
        "a style sheet for other media than a screen ({}) is not read.",
        quoted(&losses::shortened(media))
    );
    v.tell(node, Finding::note("style-media", text));
    false
}

/// Whether one of the media is a screen, without further conditions.
pub(in crate::drawing) fn is_for_screens(media: &str) -> bool {
    media.trim().is_empty()
        || media.split(',').any(|one| {
            let one = one.trim().to_ascii_lowercase();
            let kind = one.strip_prefix("only ").unwrap_or(&one).trim();
            let other = one.strip_prefix("not ").map(str::trim);
            matches!(kind, "all" | "screen") || other.is_some_and(|kind| kind == "print")
        })
}

/// Where numbers with a unit stand in a transform, and the same in degrees or pixels (CSS Values 4, 6 and 7).
pub(super) fn plain_numbers(value: &str) -> Vec<(std::ops::Range<usize>, String)> {
    let bytes = value.as_bytes();
    let is_part = |b: &u8| b.is_ascii_digit() || matches!(b, b'.' | b'+' | b'-');
    let mut found = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        let digits = bytes[at..].iter().take_while(|b| is_part(b)).count();
        let unit = bytes[at + digits..].iter().take_while(|b| b.is_ascii_alphabetic()).count();
        let (number, end) = (at + digits, at + digits + unit);
        if digits > 0
            && let Some(plain) = plain_number(&value[at..number], &value[number..end])
        {
            found.push((at..end, plain));
        }
        at = end.max(at + 1);
    }
    found
}

/// Functions of CSS for one axis, and the same as the SVG library knows them (CSS Transforms 1, 11).
const FUNCTIONS: [(&str, &str, &str); 5] = [
    ("translateX(", "translate(", ""),
    ("translateY(", "translate(0,", ""),
    ("scaleX(", "scale(", ",1"),
    ("scaleY(", "scale(1,", ""),
    ("rotateZ(", "rotate(", ""),
];

/// Where the names of such functions stand in a transform, and what says the same.
pub(super) fn plain_names(value: &str) -> Vec<(std::ops::Range<usize>, String)> {
    let mut found = Vec::new();
    for (name, plain, end) in FUNCTIONS {
        for (at, _) in value.match_indices(name) {
            let start = at + name.len();
            found.push((at..start, plain.to_owned()));
            if let Some(length) = value[start..].find(')').filter(|_| !end.is_empty()) {
                found.push((start + length..start + length, end.to_owned()));
            }
        }
    }
    for (at, name) in value.match_indices("skew(") {
        let inside = value[at + name.len()..].split(')').next().unwrap_or_default();
        if !inside.contains(',') {
            found.push((at..at + name.len(), "skewX(".to_owned()));
        }
    }
    found
}

fn plain_number(number: &str, unit: &str) -> Option<String> {
    let value: f64 = number.parse().ok()?;
    let value = match unit.to_ascii_lowercase().as_str() {
        "deg" | "px" => return Some(number.to_owned()),
        "rad" => value.to_degrees(),
        "grad" => value * 0.9,
        "turn" => value * 360.0,
        "" => return None,
        _ => size::px(readable(&format!("{number}{unit}"))?.0)?,
    };
    Some(value.to_string())
}
