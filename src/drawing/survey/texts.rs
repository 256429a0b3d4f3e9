//! What is asked of texts and not followed when they are set, told with row and column.
//!
//! The SVG library sets text by SVG 1.1 and some of CSS. The properties of [`NAMES`] change what a
//! viewer shows, and are not read; those that ask for nothing (`none`, `normal`) are passed over. What is
//! followed by the font's own measures, where viewers take others, is a note.

use usvg::roxmltree::Node;

use super::links::href;
use super::losses::{called, shortened, tally};
use super::shapes;
use super::splice::Edit;
use super::style::{Prop, Props};
use super::visit::{Inherited, Visitor, svg_tag};
use crate::finding::Finding;

/// Letters that end or stand in the middle at their anchor: viewers count the gap after the last of them.
fn spaced<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, props: &Props<'a>) {
    let of = |wanted: &str| props.texts().find(|(name, _)| *name == wanted).map(|(_, value)| value);
    let gaps = of("letter-spacing").is_some_and(|value| !USUAL.contains(&format!(" {value} ")));
    if gaps && matches!(of("text-anchor"), Some("middle" | "end")) {
        let text = format!(
            "the letters of {} are spaced and anchored by their {}; viewers that count the gap after \
             the last letter show them shifted",
            called(node),
            if of("text-anchor") == Some("end") { "end" } else { "middle" }
        );
        tally(v, node, "letter-spacing", Finding::note("text-spacing", text));
    }
}

/// The properties, CSS Text 3, CSS Writing Modes 3, CSS Fonts 4, CSS Text Decoration 3 and SVG 2.
pub(super) const NAMES: [&str; 25] = [
    "baseline-shift",
    "direction",
    "font-feature-settings",
    "font-size-adjust",
    "font-variant",
    "font-variant-alternates",
    "font-variant-caps",
    "font-variant-east-asian",
    "font-variant-ligatures",
    "font-variant-numeric",
    "font-variant-position",
    "inline-size",
    "letter-spacing",
    "shape-inside",
    "text-anchor",
    "text-decoration",
    "text-decoration-line",
    "text-decoration-style",
    "text-decoration-thickness",
    "text-orientation",
    "text-transform",
    "text-underline-offset",
    "text-underline-position",
    "unicode-bidi",
    "white-space",
];

/// Values that ask for nothing, or for what is done anyway.
const USUAL: &str = " none normal auto inherit initial unset ltr mixed solid 0 ";

/// Tells what of an element's text properties is not followed.
/// `around` is the `letter-spacing` that it inherits.
pub(super) fn check<'a>(
    v: &mut Visitor<'a>,
    node: Node<'a, 'a>,
    props: &Props<'a>,
    around: Option<&'a str>,
) {
    if svg_tag(node) == Some("textPath") {
        along_path(v, node);
    }
    if svg_tag(node).is_some_and(|tag| matches!(tag, "text" | "tspan" | "textPath" | "a")) {
        length(v, node, spacing(props, around));
    }
    line_widths(v, node, props);
    bounds(v, node, props);
    if props.texts().next().is_none() || !holds_text(node) {
        return;
    }
    spaced(v, node, props);
    let plain = props.texts().find(|(name, _)| *name == "text-decoration");
    let plain = plain.map_or("", |(_, value)| value);
    for (name, value) in props.texts() {
        let raised = whole_shift(node, name, value);
        if let Some(what) = by_font(name, value).filter(|_| raised.is_none()) {
            let text = format!("{name}: {value} {what}");
            tally(v, node, value, Finding::note("text-by-font", text));
        }
        let usual = USUAL.contains(&format!(" {value} "));
        if let Some(what) = raised.or_else(|| unmet(name, value, plain)).filter(|_| !usual) {
            if name == "white-space" && !has_blanks(node) {
                continue;
            }
            let text = format!("{name}: {} is not followed; {what}", shortened(value));
            let hint =
                "Convert the text to paths in the drawing program, which keeps what you see.";
            let finding = Finding::warning("text-property-ignored", text).hint(hint);
            tally(v, node, &format!("{name}:{value}"), finding);
        }
    }
}

/// The SVG library knows no lines of text whose width keeps when the text is scaled (SVG 2, 8.13).
fn line_widths<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, props: &Props<'a>) {
    const EFFECT: &str = "non-scaling-stroke";
    let is_text = svg_tag(node).is_some_and(|tag| matches!(tag, "text" | "tspan" | "textPath"));
    if is_text && props.get(Prop::VectorEffect) == Some(EFFECT) {
        let text = format!(
            "vector-effect: {EFFECT} of {} is not followed; its letters' lines are scaled with it",
            called(node)
        );
        let hint = "Convert the text to paths in the drawing program, which keeps what you see.";
        tally(v, node, EFFECT, Finding::warning("text-property-ignored", text).hint(hint));
    }
}

/// The weight that an element's letters have (CSS Fonts 4, 2.2).
pub(super) fn weight(own: Option<&str>, around: Option<u16>) -> Option<u16> {
    let outer = around.unwrap_or(NORMAL_WEIGHT);
    Some(match own {
        Some("normal") => NORMAL_WEIGHT,
        Some("bold") => 700,
        Some("bolder") => match outer {
            ..350 => 400,
            350..550 => 700,
            _ => outer.max(900),
        },
        Some("lighter") => match outer {
            ..100 => outer,
            100..550 => 100,
            550..750 => 400,
            _ => 700,
        },
        Some(number) => number.parse().unwrap_or(outer),
        None => return around,
    })
}

/// The gaps between an element's letters, its own or inherited.
pub(super) fn spacing<'a>(props: &Props<'a>, around: Option<&'a str>) -> Option<&'a str> {
    let own = props.texts().find(|(name, _)| *name == "letter-spacing");
    match own.map(|(_, value)| value) {
        None | Some("inherit" | "unset") => around,
        own => own,
    }
}

const NORMAL_WEIGHT: u16 = 400;

/// The SVG library takes a single step for `bolder` and `lighter`, which leads to the same face again.
pub(super) fn weigh<'a>(
    v: &mut Visitor<'a>,
    node: Node<'a, 'a>,
    props: &Props<'a>,
    inner: &Inherited<'a>,
) {
    if let (Some("bolder" | "lighter"), Some(weight)) = (props.get(Prop::FontWeight), inner.weight)
    {
        Edit::style(&mut v.edits, node, &format!("font-weight:{weight}"));
    }
}

/// What a text's box holds: the SVG library and viewers measure the letters' cells each in their own way.
fn bounds<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, props: &Props<'a>) {
    if svg_tag(node) != Some("text") {
        return;
    }
    let Some(what) = shapes::proportional(v, props) else { return };
    let text = format!(
        "the {what} of {} is in proportion to the text; viewers measure texts each in their own way, so its \
         edge may lie elsewhere",
        called(node)
    );
    let hint = "Give the mask or clip path a size of its own.";
    tally(v, node, what, Finding::note("text-bounds", text).hint(hint));
}

/// What is as the font tells, while viewers take measures of their own: seen in a browser, which lowers
/// and raises letters further, and draws lines thicker and lower.
fn by_font(name: &str, value: &str) -> Option<&'static str> {
    let has = |words: &[&str]| value.split_whitespace().any(|word| words.contains(&word));
    match name {
        "baseline-shift" if has(&["sub", "super"]) => {
            Some("moves letters as far as the font tells; viewers may move them further")
        }
        "text-decoration" if has(&["underline", "overline", "line-through"]) => {
            Some("is cut as thick and where the font tells; viewers may draw it otherwise")
        }
        _ => None,
    }
}

/// The SVG library shifts parts of a text, viewers a whole one as well (CSS Inline 3, 4.3.2: text content elements).
fn whole_shift(node: Node<'_, '_>, name: &str, value: &str) -> Option<&'static str> {
    let is_whole = name == "baseline-shift" && svg_tag(node) == Some("text");
    (is_whole && value != "baseline").then_some(
        "the text stands on its line (that of a tspan around all its letters would be followed)",
    )
}

/// What is done instead; `None` where the value is followed after all. `plain` is the value of
/// `text-decoration` beside it.
fn unmet(name: &str, value: &str, plain: &str) -> Option<&'static str> {
    let lines = |word: &&str| matches!(*word, "none" | "underline" | "overline" | "line-through");
    let words = || value.split_whitespace();
    Some(match name {
        "baseline-shift" | "letter-spacing" | "text-anchor" => return None,
        "direction" => "the text is set from left to right from its anchor on",
        "unicode-bidi" if matches!(value, "embed" | "isolate" | "plaintext") => return None,
        "unicode-bidi" => "its characters keep their own direction",
        "font-variant" if value == "small-caps" => return None,
        "text-transform" => "the letters are cut as they are typed",
        "text-decoration" if words().all(|word| lines(&word)) => return None,
        "text-decoration" => "its line is cut plain, in the text's colour",
        "text-decoration-line" if words().all(|word| plain.contains(word)) => return None,
        "text-decoration-line" => "no line is cut (text-decoration would be followed)",
        "text-decoration-style" | "text-decoration-thickness" => {
            "its line is cut as the font has it"
        }
        "text-underline-offset" | "text-underline-position" => "its line is cut as the font has it",
        "text-orientation" => "the letters stand as they usually do",
        "inline-size" | "shape-inside" => "the text is not wrapped, but set where its lines say",
        "white-space" if !value.starts_with("pre") && value != "break-spaces" => return None,
        "white-space" => "blanks are drawn together",
        "font-size-adjust" => "the letters are as high as the font has them",
        _ => "the font's usual letters are cut",
    })
}

/// A `textLength` over several pieces of text is not passed on: the SVG library would stretch each of them
/// to the whole length.
fn length<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, spacing: Option<&str>) {
    let Some(given) = node.attribute_node("textLength") else { return };
    if is_one_piece(node) {
        return spaced_to_length(v, node, spacing);
    }
    v.edits.push(Edit::replace(given.range_qname(), "unused-length"));
    let text = format!(
        "textLength of {} is not followed, for its text is set in several pieces; it becomes as long as its \
         letters are.",
        called(node)
    );
    let hint = "Give each piece its own textLength, or convert the text to paths.";
    v.tell(node, Finding::warning("text-length-ignored", text).hint(hint));
}

/// Viewers count gaps between letters into the length of a text, the SVG library adds them to it.
fn spaced_to_length<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, spacing: Option<&str>) {
    let gaps = spacing.is_some_and(|value| !USUAL.contains(&format!(" {value} ")));
    let moved = node.attribute("dx").is_some_and(|list| list.trim().contains([' ', ',']));
    if moved || gaps {
        let text = format!(
            "textLength of {} stands beside {}, which viewers count in otherwise; its letters may lie \
             elsewhere than they are shown.",
            called(node),
            if moved { "dx" } else { "letter-spacing" }
        );
        let hint = "Use one of them, or convert the text to paths.";
        v.tell(node, Finding::warning("text-spacing", text).hint(hint));
    }
}

/// Whether the element has no text, or one piece, right in it, which its places do not part.
fn is_one_piece(node: Node<'_, '_>) -> bool {
    let is_set = |n: &Node<'_, '_>| {
        let spoken = n.parent().is_some_and(|p| !matches!(svg_tag(p), Some("title" | "desc")));
        spoken && n.text().is_some_and(|text| !text.trim().is_empty())
    };
    let mut pieces = node.descendants().filter(Node::is_text).filter(is_set);
    let Some(first) = pieces.next() else { return true };
    let numbers = |list: &str| list.split([' ', ',']).filter(|n| !n.is_empty()).count();
    let places = |name| node.attribute(name).map_or(0, numbers);
    pieces.next().is_none() && first.parent() == Some(node) && places("x").max(places("y")) <= 1
}

fn along_path<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>) {
    let what = [
        ("side", "right", "the text runs on the path's left side"),
        ("method", "stretch", "the letters are turned, not bent"),
    ];
    for (name, value, what) in what {
        if node.attribute(name) == Some(value) {
            let text = format!("{name}=\"{value}\" of {} is not followed; {what}.", called(node));
            v.tell(node, Finding::warning("text-property-ignored", text));
        }
    }
    let place =
        "places the letters along its path; viewers may place them a tenth of a millimetre off";
    tally(v, node, "textPath", Finding::note("text-on-path", format!("{} {place}", called(node))));
    let scaled = href(node)
        .and_then(|link| v.tags.get(link.trim().strip_prefix('#')?))
        .is_some_and(|path| path.has_attribute("pathLength"));
    let offset = node.attribute("startOffset").map(str::trim).unwrap_or_default();
    if scaled && !matches!(offset, "" | "0") && !offset.ends_with('%') {
        let text = format!(
            "startOffset of {} is not measured in the path's pathLength, but as long as it says; viewers begin \
             the text elsewhere.",
            called(node)
        );
        let hint = "Write startOffset in percent, or take pathLength off the path.";
        v.tell(node, Finding::warning("text-property-ignored", text).hint(hint));
    }
    if is_followed(node) {
        let text = format!(
            "the text after {} is set behind its last letter; viewers set it at the path's end.",
            called(node)
        );
        let hint = "Give it a place of its own (x and y), or convert the text to paths.";
        v.tell(node, Finding::warning("text-property-ignored", text).hint(hint));
    }
    if node.attribute("path").is_some() {
        let text =
            format!("the path in {} itself is not read; its text is left out.", called(node));
        let hint = "Put the path into an element of its own, and name that with href.";
        v.tell(node, Finding::warning("text-path-ignored", text).hint(hint));
    }
}

/// Whether letters without a place of their own follow a text on a path (SVG 2, 11.8.3).
fn is_followed(node: Node<'_, '_>) -> bool {
    let next = node.next_siblings().skip(1).find(|n| match n.is_text() {
        true => n.text().is_some_and(|text| !text.trim().is_empty()),
        false => svg_tag(*n).is_some_and(|tag| matches!(tag, "tspan" | "a" | "textPath")),
    });
    next.is_some_and(|n| svg_tag(n) != Some("textPath") && !n.has_attribute("x"))
}

fn holds_text(node: Node<'_, '_>) -> bool {
    let is_text = |n: &Node<'_, '_>| matches!(svg_tag(*n), Some("text" | "tspan" | "textPath"));
    node.is_element() && node.descendants().filter(Node::is_element).any(|n| is_text(&n))
}

/// Whether blanks follow one another, or lines break, in the element's own text.
fn has_blanks(node: Node<'_, '_>) -> bool {
    let own = node.children().filter(Node::is_text).filter_map(|n| n.text());
    let blank = |c: char| c.is_ascii_whitespace();
    let mut pairs = own.flat_map(|text| text.trim().as_bytes().windows(2).map(|w| [w[0], w[1]]));
    pairs.any(|[a, b]| blank(a.into()) && blank(b.into()) || matches!(b, b'\n' | b'\t'))
}

/// Whether `name` is a property that is looked at here.
pub(super) fn is_looked_at(name: &str) -> bool {
    NAMES.binary_search(&name).is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// CSS Fonts 4, 2.2.1, the table of relative weights.
    #[test]
    fn weights_are_relative_to_those_around() {
        for (around, bolder, lighter) in [
            (50, 400, 50),
            (100, 400, 100),
            (300, 400, 100),
            (400, 700, 100),
            (500, 700, 100),
            (600, 900, 400),
            (700, 900, 400),
            (800, 900, 700),
            (900, 900, 700),
            (950, 950, 700),
        ] {
            assert_eq!(weight(Some("bolder"), Some(around)), Some(bolder), "{around}");
            assert_eq!(weight(Some("lighter"), Some(around)), Some(lighter), "{around}");
        }
        assert_eq!(weight(Some("bolder"), None), Some(700));
        assert_eq!(weight(Some("bold"), Some(300)), Some(700));
        assert_eq!(weight(None, Some(300)), Some(300));
    }

    #[test]
    fn names_are_sorted_for_the_search() {
        assert!(NAMES.is_sorted());
        assert!(is_looked_at("direction") && !is_looked_at("fill"));
    }
}
