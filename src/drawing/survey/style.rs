//! What an element's attributes, the style sheets and its `style` say about the properties that
//! matter for cutting.
//!
//! The order of precedence is the one of the SVG library (CSS 2.1, 6.4): presentation attribute,
//! then rules by specificity, then `style`; `!important` before all. Values are as written;
//! inheritance is up to the caller, who walks the tree downwards.

use std::collections::HashSet;

use simplecss::{AttributeOperator, DeclarationTokenizer, PseudoClass, Selector, StyleSheet};
use usvg::roxmltree::{Document, Node};

use super::size::percentage;
use super::{texts, values};

/// The SVG namespace.
pub(super) const SVG: &str = "http://www.w3.org/2000/svg";
/// The namespace of `xlink:href`.
pub(super) const XLINK: &str = "http://www.w3.org/1999/xlink";

/// The properties that the survey looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
pub(super) enum Prop {
    Display,
    Visibility,
    Fill,
    Stroke,
    ClipPath,
    Mask,
    Filter,
    MarkerStart,
    MarkerMid,
    MarkerEnd,
    VectorEffect,
    LineJoin,
    DashArray,
    FontFamily,
    FontSize,
    FontWeight,
    Opacity,
    BlendMode,
    Transform,
    /// The name of a geometry property (SVG 2, chapter Geometry) that a style gives.
    CssGeometry,
    /// The name of a property that masks otherwise than `mask` (CSS Masking 1, 7).
    CssMask,
    /// The name of a property that moves a shape beside `transform` (CSS Transforms 2).
    CssTransform,
}

/// How many there are.
const PROPS: usize = Prop::CssTransform as usize + 1;

/// Properties that only SVG 2 lets styles give.
const GEOMETRY: [&str; 10] = ["x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "d"];

/// Properties that move a shape and are not read; what `transform-box` asks for is done for `view-box`.
const TRANSFORMS: [&str; 4] = ["translate", "rotate", "scale", "transform-box"];

impl Prop {
    fn by_name(name: &str) -> Option<Self> {
        Some(match name {
            "display" => Self::Display,
            "visibility" => Self::Visibility,
            "fill" => Self::Fill,
            "stroke" => Self::Stroke,
            "clip-path" => Self::ClipPath,
            "mask" => Self::Mask,
            "filter" => Self::Filter,
            "marker-start" => Self::MarkerStart,
            "marker-mid" => Self::MarkerMid,
            "marker-end" => Self::MarkerEnd,
            "vector-effect" => Self::VectorEffect,
            "stroke-linejoin" => Self::LineJoin,
            "stroke-dasharray" => Self::DashArray,
            "font-family" => Self::FontFamily,
            "font-size" => Self::FontSize,
            "font-weight" => Self::FontWeight,
            "opacity" => Self::Opacity,
            "mix-blend-mode" => Self::BlendMode,
            "transform" => Self::Transform,
            _ => return None,
        })
    }
}

/// One element's own values.
pub(super) struct Props<'a> {
    values: [Option<(&'a str, bool)>; PROPS],
    /// Properties of text that are looked at by name (`texts.rs`), their values, whether important.
    texts: Vec<(&'a str, &'a str, bool)>,
    /// What styles mark as important, name and value.
    important: Vec<(&'a str, &'a str)>,
    /// A property that is marked so twice, with different values.
    disputed: Option<&'a str>,
}

impl<'a> Props<'a> {
    /// The value of a property if the element has one itself.
    pub(super) fn get(&self, prop: Prop) -> Option<&'a str> {
        self.values[prop as usize].map(|(value, _)| value)
    }

    /// The properties of text that are not followed, and their values.
    pub(super) fn texts(&self) -> impl Iterator<Item = (&'a str, &'a str)> + '_ {
        self.texts.iter().map(|(name, value, _)| (*name, *value))
    }

    /// A property that styles mark as important twice: the SVG library takes the first, CSS the last
    /// (CSS Cascade 4, 6.4).
    pub(super) fn disputed(&self) -> Option<&'a str> {
        self.disputed
    }

    /// Takes what a style says.
    fn declare(&mut self, name: &'a str, value: &'a str, important: bool) {
        if important {
            let other = |(n, v): &(&str, &str)| *n == name && *v != value;
            if self.important.iter().any(other) {
                self.disputed = Some(name);
            }
            self.important.push((name, value));
        }
        if GEOMETRY.contains(&name) {
            self.put(Prop::CssGeometry, name, important);
        } else if TRANSFORMS.contains(&name) && !matches!(value.trim(), "none" | "view-box") {
            self.put(Prop::CssTransform, name, important);
        } else if matches!(name, "mask-image" | "mask-mode")
            && !matches!(value.trim(), "none" | "match-source")
        {
            self.put(Prop::CssMask, name, important);
        } else {
            self.set(name, value, important);
        }
    }

    fn set(&mut self, name: &'a str, value: &'a str, important: bool) {
        match name {
            _ if texts::is_looked_at(name) => {
                let stays = |old: &(&str, &str, bool)| old.0 == name && old.2 && !important;
                if !self.texts.iter().any(stays) {
                    self.texts.retain(|old| old.0 != name);
                    self.texts.push((name, value.trim(), important));
                }
            }
            "marker" => {
                for prop in [Prop::MarkerStart, Prop::MarkerMid, Prop::MarkerEnd] {
                    self.put(prop, value, important);
                }
            }
            "font" => {
                if let Ok(font) = svgtypes::FontShorthand::from_str(value) {
                    self.put(Prop::FontFamily, font.font_family, important);
                    self.put(Prop::FontSize, font.font_size, important);
                    self.put(Prop::FontWeight, font.font_weight.unwrap_or("normal"), important);
                }
            }
            _ => {
                if let Some(prop) = Prop::by_name(name) {
                    self.put(prop, value, important);
                }
            }
        }
    }

    fn put(&mut self, prop: Prop, value: &'a str, important: bool) {
        let slot = &mut self.values[prop as usize];
        if important || !slot.is_some_and(|(_, important)| important) {
            *slot = Some((value.trim(), important));
        }
    }
}

/// A document's style sheets.
pub(super) struct Styles<'a> {
    sheet: StyleSheet<'a>,
    /// Ids that they name, colours among them.
    ids: HashSet<&'a str>,
}

/// The names after number signs.
fn ids_in(sheet: &str) -> impl Iterator<Item = &str> {
    let is_part = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
    sheet.split('#').skip(1).map(move |rest| {
        let end = rest.find(|c| !is_part(c)).unwrap_or(rest.len());
        rest.get(..end).unwrap_or_default()
    })
}

impl<'a> Styles<'a> {
    /// Reads every `style` element.
    pub(super) fn new(doc: &'a Document<'_>) -> Self {
        let mut sheet = StyleSheet::new();
        let mut ids = HashSet::new();
        for node in doc.descendants().filter(|n| n.has_tag_name("style")) {
            let css = matches!(node.attribute("type"), None | Some("text/css"));
            let media = node.attribute("media").is_none_or(values::is_for_screens);
            if css && media {
                // Comments part the text.
                let texts = node.children().filter(Node::is_text);
                for text in texts.filter_map(|text| text.text()) {
                    sheet.parse_more(text);
                    ids.extend(ids_in(text));
                }
            }
        }
        Self { sheet, ids }
    }

    /// Whether a rule may be for the element of this id.
    pub(super) fn names(&self, id: &str) -> bool {
        self.ids.contains(id)
    }

    /// How many rules there are.
    pub(super) fn rules(&self) -> usize {
        self.sheet.rules.len()
    }

    /// An element's own values.
    pub(super) fn props(&self, node: Node<'a, 'a>) -> Props<'a> {
        let mut props = Props {
            values: [None; PROPS],
            texts: Vec::new(),
            important: Vec::new(),
            disputed: None,
        };
        for attribute in node.attributes() {
            if matches!(attribute.namespace(), None | Some(SVG)) {
                props.set(attribute.name(), attribute.value(), false);
            }
        }
        for rule in &self.sheet.rules {
            if rule.selector.matches(&Element(node)) {
                for d in &rule.declarations {
                    props.declare(d.name, d.value, d.important);
                }
            }
        }
        if let Some(style) = node.attribute("style") {
            for d in DeclarationTokenizer::from(style) {
                props.declare(d.name, d.value, d.important);
            }
        }
        props
    }
}

/// A share of one: a number or a percentage (CSS Color 4, 4.2).
pub(super) fn share(value: &str) -> Option<f64> {
    percentage(value).or_else(|| value.parse().ok()).map(|share| share.clamp(0.0, 1.0))
}

/// Rules that the CSS library passes over: at-rules, and selectors that it does not know.
pub(super) fn unread_rules(css: &str) -> Vec<String> {
    let bare = without_comments(css);
    let heads = bare.split('}').filter_map(|rule| rule.split('{').next()).map(str::trim);
    let parts = |head: &'_ str| -> Vec<String> {
        match head.starts_with('@') {
            true => head.split(';').take(1).map(str::to_owned).collect(),
            false => head.split(',').filter(|part| !is_read(part)).map(str::to_owned).collect(),
        }
    };
    let unread = heads.filter(|head| !head.is_empty()).flat_map(parts);
    unread.map(|head| head.split_whitespace().collect::<Vec<_>>().join(" ")).collect()
}

/// Whether the CSS library knows a selector. That every element has an id is our own doing; what only a
/// pointer or a key brings about never shows in a cut.
fn is_read(selector: &str) -> bool {
    let dynamic = [":hover", ":active", ":focus"].iter().any(|class| selector.contains(class));
    let known = selector.replace(":first-child", "").replace("~=", "=");
    let odd =
        known.contains([':', '~', '^', '$', '\\']) || known.contains("[id]") || !known.is_ascii();
    dynamic || (!odd && Selector::parse(selector.trim()).is_some())
}

fn without_comments(css: &str) -> String {
    let mut parts = css.split("/*");
    let mut bare = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        bare.push_str(part.split_once("*/").map_or("", |(_, rest)| rest));
    }
    bare
}

/// An element as the CSS library wants to see it.
struct Element<'a>(Node<'a, 'a>);

impl simplecss::Element for Element<'_> {
    fn parent_element(&self) -> Option<Self> {
        self.0.parent_element().map(Element)
    }
    fn prev_sibling_element(&self) -> Option<Self> {
        self.0.prev_sibling_element().map(Element)
    }
    fn has_local_name(&self, name: &str) -> bool {
        self.0.tag_name().name() == name
    }
    fn attribute_matches(&self, name: &str, operator: AttributeOperator<'_>) -> bool {
        self.0.attribute(name).is_some_and(|value| operator.matches(value))
    }
    fn pseudo_class_matches(&self, class: PseudoClass<'_>) -> bool {
        matches!(class, PseudoClass::FirstChild) && self.prev_sibling_element().is_none()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(svg: &str, prop: Prop) -> Option<String> {
        let doc = Document::parse(svg).unwrap();
        let styles = Styles::new(&doc);
        let node = doc.descendants().find(|n| n.attribute("id") == Some("a")).unwrap();
        styles.props(node).get(prop).map(str::to_owned)
    }

    #[test]
    fn the_later_source_wins_unless_an_earlier_is_important() {
        let svg = |css: &str, style: &str| {
            format!(
                "<svg><style>{css}</style><g id='a' class='k' fill='red' style='{style}'/></svg>"
            )
        };
        assert_eq!(value(&svg("", ""), Prop::Fill).as_deref(), Some("red"));
        assert_eq!(value(&svg(".k{fill:blue}", ""), Prop::Fill).as_deref(), Some("blue"));
        assert_eq!(value(&svg(".k{fill:blue}", "fill: none"), Prop::Fill).as_deref(), Some("none"));
        let important = value(&svg(".k{fill:blue !important}", "fill:none"), Prop::Fill);
        assert_eq!(important.as_deref(), Some("blue"));
        assert_eq!(value(&svg("", "marker:url(#m)"), Prop::MarkerMid).as_deref(), Some("url(#m)"));
        assert_eq!(value(&svg("", "font: 12px Tern"), Prop::FontFamily).as_deref(), Some("Tern"));
    }
}
