//! Values that the CSS library does not know though CSS has them, others that say the same, and those that
//! mean nothing.

use super::colours;
use crate::drawing::survey::{dash_items, has_faulty_number, percentage};

/// Properties whose plain words are the same in any case, with their initial values (SVG 2, Property Index;
/// CSS Masking 1, Compositing 1).
const INITIAL: [(&str, &str); 33] = [
    ("clip-path", "none"),
    ("clip-rule", "nonzero"),
    ("display", "inline"),
    ("dominant-baseline", "auto"),
    ("fill", "black"),
    ("fill-opacity", "1"),
    ("fill-rule", "nonzero"),
    ("filter", "none"),
    ("font-size", "medium"),
    ("font-style", "normal"),
    ("font-weight", "normal"),
    ("letter-spacing", "normal"),
    ("marker-end", "none"),
    ("marker-mid", "none"),
    ("marker-start", "none"),
    ("mask", "none"),
    ("mix-blend-mode", "normal"),
    ("opacity", "1"),
    ("overflow", "visible"),
    ("paint-order", "normal"),
    ("stop-color", "black"),
    ("stop-opacity", "1"),
    ("stroke", "none"),
    ("stroke-dasharray", "none"),
    ("stroke-dashoffset", "0"),
    ("stroke-linecap", "butt"),
    ("stroke-linejoin", "miter"),
    ("stroke-miterlimit", "4"),
    ("stroke-opacity", "1"),
    ("stroke-width", "1"),
    ("text-anchor", "start"),
    ("vector-effect", "none"),
    ("visibility", "visible"),
];

/// Absolute sizes of fonts (CSS Fonts 4, 2.5), px as browsers have them: seen in one.
const FONT_SIZES: [(&str, &str); 7] = [
    ("xx-small", "9px"),
    ("x-small", "10px"),
    ("small", "13px"),
    ("medium", "16px"),
    ("large", "18px"),
    ("x-large", "24px"),
    ("xx-large", "32px"),
];

/// A plain word as the CSS library knows it; `None` if it knows the word as it is.
pub(super) fn spelled(name: &str, word: &str) -> Option<String> {
    let at = INITIAL.binary_search_by_key(&name, |(name, _)| name).ok()?;
    let small = word.to_ascii_lowercase();
    let meant = if small == "initial" { INITIAL[at].1.to_owned() } else { small };
    let size = FONT_SIZES.iter().find(|(size, _)| name == "font-size" && *size == meant);
    let meant = size.map_or(meant, |(_, px)| (*px).to_owned());
    (meant != word).then_some(meant)
}

/// A colour as the SVG library knows it; `None` if it knows it as it is.
pub(super) fn colour(name: &str, value: &str) -> Option<String> {
    let coloured = matches!(name, "fill" | "stroke" | "color" | "stop-color");
    if coloured { colours::written(value) } else { None }
}

/// Whether a value takes back what is said elsewhere (CSS Cascade 4, 7.3), which is not followed.
pub(super) fn is_undone(value: &str) -> bool {
    ["unset", "revert", "revert-layer"].iter().any(|word| value.eq_ignore_ascii_case(word))
}

/// Whether a length of a line can be read: a number, with a unit or without, that is not below zero.
pub(super) fn is_length(value: &str) -> bool {
    !has_faulty_number(value)
        && value.parse::<svgtypes::Length>().is_ok_and(|length| length.number >= 0.0)
}

/// Single lengths of elements (SVG 2, chapters Geometry, Painting and Paint Servers).
const LENGTHS: [&str; 24] = [
    "cx",
    "cy",
    "font-size",
    "fr",
    "fx",
    "fy",
    "height",
    "markerHeight",
    "markerWidth",
    "r",
    "refX",
    "refY",
    "rx",
    "ry",
    "startOffset",
    "stroke-dashoffset",
    "stroke-width",
    "width",
    "x",
    "x1",
    "x2",
    "y",
    "y1",
    "y2",
];

/// Words of properties that children inherit (SVG 2, Property Index).
const INHERITED: [(&str, &[&str]); 6] = [
    ("clip-rule", &["nonzero", "evenodd"]),
    ("fill-rule", &["nonzero", "evenodd"]),
    ("stroke-linecap", &["butt", "round", "square"]),
    ("stroke-linejoin", &["miter", "miter-clip", "round", "bevel", "arcs"]),
    ("text-anchor", &["start", "middle", "end"]),
    ("visibility", &["visible", "hidden", "collapse"]),
];

/// Whether a value says nothing, so that what is inherited holds (CSS Syntax 3, 2.2). The SVG library takes the
/// initial value instead. `name` is in small letters. Functions that it can't read are left to it to tell.
pub(super) fn means_nothing(name: &str, value: &str) -> bool {
    let value = value.trim();
    let is = |word: &&str| value.eq_ignore_ascii_case(word);
    if ["inherit", "initial", "unset"].iter().any(is) || colour(name, value).is_some() {
        return false;
    }
    if let Some((_, words)) = INHERITED.iter().find(|(known, _)| *known == name) {
        return !value.contains('(') && !words.iter().any(is);
    }
    match name {
        "color" => !is_colour(value),
        "fill" | "stroke" => !is_paint(value),
        "fill-opacity" | "stroke-opacity" | "stroke-miterlimit" => {
            let share = percentage(value).filter(|_| name != "stroke-miterlimit");
            !value.contains('(') && share.is_none() && value.parse::<f64>().is_err()
        }
        _ => false,
    }
}

/// Whether an element's attribute, which may be a length, is none.
pub(super) fn is_faulty_length(name: &str, value: &str) -> bool {
    LENGTHS.contains(&name) && has_faulty_number(value)
}

fn is_paint(value: &str) -> bool {
    let url = value.get(..4).is_some_and(|start| start.eq_ignore_ascii_case("url("));
    let fallback = match value.find(')').filter(|_| url) {
        Some(at) => value[at + 1..].trim(),
        None => value,
    };
    let known = ["none", "context-fill", "context-stroke"];
    (url && fallback.is_empty())
        || known.iter().any(|word| fallback.eq_ignore_ascii_case(word))
        || is_colour(fallback)
}

fn is_colour(value: &str) -> bool {
    value.contains('(')
        || value.eq_ignore_ascii_case("currentcolor")
        || value.parse::<svgtypes::Color>().is_ok()
}

/// Whether a list of dashes holds only numbers, each with a unit or without, and none below zero (SVG 2,
/// chapter Painting).
pub(super) fn is_dash_list(value: &str) -> bool {
    dash_items(value, |item| is_length(item).then_some(())).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_found() {
        assert!(INITIAL.is_sorted());
        assert_eq!(spelled("fill", "NONE").as_deref(), Some("none"));
        assert_eq!(spelled("fill", "none"), None);
        assert_eq!(spelled("stroke-width", "Initial").as_deref(), Some("1"));
        assert_eq!(spelled("font-size", "large").as_deref(), Some("18px"));
        assert_eq!(spelled("font-family", "Tern"), None);
    }

    #[test]
    fn what_means_nothing_is_known() {
        for (name, value) in [
            ("fill-rule", "bogus"),
            ("visibility", ""),
            ("fill", "blurple"),
            ("fill", "url(#k) blurple"),
            ("fill", "123456"),
            ("stroke", "#12345"),
            ("color", "none"),
            ("fill-opacity", "half"),
            ("stroke-miterlimit", "9%"),
            ("fill-opacity", "50 %"),
            ("stroke-opacity", "inf%"),
        ] {
            assert!(means_nothing(name, value), "{name} {value}");
        }
        for (name, value) in [
            ("fill-rule", "EvenOdd"),
            ("stroke-linejoin", "arcs"),
            ("fill", "CurrentColor"),
            ("fill", "Url(#k) None"),
            ("fill", "url(#k)"),
            ("fill", "oklch(.5 .1 20)"),
            ("fill", " #fff "),
            ("fill", "RED"),
            ("stroke", "inherit"),
            ("color", "transparent"),
            ("fill-opacity", "50%"),
            ("fill-opacity", ".5"),
            ("opacity", "half"),
        ] {
            assert!(!means_nothing(name, value), "{name} {value}");
        }
    }

    #[test]
    fn dash_lists_are_judged_whole() {
        for good in ["4 2", "4,2", "1mm , 2em", "10%", "1e1 .5", "0"] {
            assert!(is_dash_list(good), "{good}");
        }
        for bad in ["1rem", "4 -2", "4,,2", "4 x", "", "4 2 bogus", "red"] {
            assert!(!is_dash_list(bad), "{bad}");
        }
    }
}
