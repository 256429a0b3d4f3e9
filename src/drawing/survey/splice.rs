//! Small changes to the drawing's text before the SVG library sees it.
//!
//! Changes are ranges of bytes of the original text with what stands there instead. They never
//! touch the document type declaration: what an entity declares may be used many times over.

use std::borrow::Cow;
use std::ops::Range;

use usvg::roxmltree::Node;

/// One change.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drawing) struct Edit {
    range: Range<usize>,
    text: String,
}

impl Edit {
    /// Other text in place of a range.
    pub(super) fn replace(range: Range<usize>, text: impl Into<String>) -> Self {
        Self { range, text: text.into() }
    }

    /// One more attribute, straight after the element's name. The value must need no escapes.
    pub(super) fn attribute(node: Node<'_, '_>, name: &str, value: &str) -> Self {
        let at = after_name(node);
        Self { range: at..at, text: [" ", name, "=\"", value, "\""].concat() }
    }

    /// An attribute's value, which replaces the one that it may have.
    pub(super) fn given(node: Node<'_, '_>, name: &str, value: &str) -> Self {
        match node.attribute_node(name) {
            Some(given) => Self::replace(given.range_value(), value),
            None => Self::attribute(node, name, value),
        }
    }

    /// Adds one more declaration at the end of the element's own style. It must need no escapes.
    pub(super) fn style(edits: &mut Vec<Self>, node: Node<'_, '_>, declaration: &str) {
        if let Some(given) = node.attribute_node("style") {
            let at = given.range_value().end;
            let open = matches!(given.value().trim_end().chars().next_back(), None | Some(';'));
            let text = [if open { "" } else { ";" }, declaration].concat();
            // A second one goes behind the first.
            let second = open && edits.iter().rev().take(NEAR).any(|edit| edit.range == (at..at));
            return edits.push(Self {
                range: at..at,
                text: [if second { ";" } else { "" }, &text].concat(),
            });
        }
        let at = after_name(node);
        let begins = " style=\"";
        let earlier = |edit: &&mut Self| edit.range == (at..at) && edit.text.starts_with(begins);
        match edits.iter_mut().rev().take(NEAR).find(earlier) {
            Some(edit) => edit.text.insert_str(begins.len(), &[declaration, ";"].concat()),
            None => edits.push(Self::attribute(node, "style", declaration)),
        }
    }

    /// One more empty element at the end of an element, in the same namespace.
    pub(super) fn child<'a>(node: Node<'a, 'a>, tag: &str, attributes: &str) -> Self {
        let name = qualified_name(node);
        let prefix = name.rsplit_once(':').map_or(String::new(), |(p, _)| format!("{p}:"));
        Self::content(node, format!("<{prefix}{tag} {attributes}/>"))
    }

    /// More content at the end of an element.
    pub(super) fn content<'a>(node: Node<'a, 'a>, child: String) -> Self {
        let range = node.range();
        let name = qualified_name(node);
        let source = node.document().input_text();
        let written = source.get(range.clone()).unwrap_or_default();
        if written.ends_with("/>") {
            let text = format!(">{child}</{name}>");
            return Self { range: range.end - 2..range.end, text };
        }
        let at = range.start + written.rfind("</").unwrap_or(written.len());
        Self { range: at..at, text: child }
    }
}

/// An element's name as it is written, prefix included.
pub(super) fn qualified_name<'a>(node: Node<'a, 'a>) -> &'a str {
    let written = node.range().start + 1..after_name(node);
    node.document().input_text().get(written).unwrap_or_default()
}

/// Changes to one element stand near each other.
const NEAR: usize = 64;

/// The byte after an element's qualified name.
fn after_name(node: Node<'_, '_>) -> usize {
    let start = node.range().start + 1;
    let text = node.document().input_text();
    let rest = text.get(start..).unwrap_or_default();
    start + rest.find(|c: char| c.is_whitespace() || c == '/' || c == '>').unwrap_or(0)
}

/// All changes to a text, in their order, none upon another.
#[derive(Debug, Default)]
pub(in crate::drawing) struct Edits(Vec<Edit>);

impl Edits {
    /// Those of `edits` from the byte `from` on; one that overlaps an earlier one is left out. Changes at
    /// the same place keep their order.
    pub(super) fn new(mut edits: Vec<Edit>, from: usize) -> Self {
        edits.retain(|edit| edit.range.start >= from);
        edits.sort_by_key(|edit| edit.range.start);
        let mut done = 0;
        edits.retain(|edit| {
            let is_free = edit.range.start >= done;
            done = if is_free { edit.range.end } else { done };
            is_free
        });
        Self(edits)
    }

    /// The text with all changes made.
    pub(super) fn all_made<'a>(&self, text: &'a str) -> Cow<'a, str> {
        match self.0.is_empty() {
            true => Cow::Borrowed(text),
            false => Cow::Owned(self.made(text, 0..text.len())),
        }
    }

    /// A range of the text with those changes made that begin in it.
    pub(super) fn made(&self, text: &str, range: Range<usize>) -> String {
        let begins = |at: usize| self.0.partition_point(|edit| edit.range.start < at);
        let edits = &self.0[begins(range.start)..begins(range.end)];
        let added: usize = edits.iter().map(|edit| edit.text.len()).sum();
        let mut out = String::with_capacity(range.len() + added);
        let mut done = range.start;
        for edit in edits {
            out.push_str(text.get(done..edit.range.start).unwrap_or_default());
            out.push_str(&edit.text);
            done = edit.range.end;
        }
        out.push_str(text.get(done..range.end).unwrap_or_default());
        out
    }

    /// Whether a change spans the place before the byte `at`.
    pub(super) fn span(&self, at: usize) -> bool {
        let before = self.0.partition_point(|edit| edit.range.start < at);
        before > 0 && self.0[before - 1].range.end > at
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_are_made_in_place() {
        let text = "<svg><g a='1'/><p:g/></svg>";
        let at = |s: &str| text.find(s).unwrap();
        let edits = vec![
            Edit::replace(at("1")..at("1") + 1, "22"),
            Edit::replace(at("<p:g")..at("</svg"), ""),
            Edit::replace(0..1, "never"),
        ];
        let edits = Edits::new(edits, 1);
        assert_eq!(edits.all_made(text), "<svg><g a='22'/></svg>");
        assert_eq!(edits.made(text, 0..at("<p:g")), "<svg><g a='22'/>");
        assert_eq!(edits.made(text, at("<p:g")..text.len()), "</svg>");
        assert!(edits.span(at("<p:g") + 1) && !edits.span(at("<p:g")) && !edits.span(at("</svg")));
        let unchanged = Edits::new(vec![Edit::replace(0..1, "never")], 1);
        assert!(matches!(unchanged.all_made(text), Cow::Borrowed(same) if same == text));
        let doc = usvg::roxmltree::Document::parse("<svg><g/></svg>").unwrap();
        let g = doc.root_element().first_element_child().unwrap();
        let edits = vec![Edit::attribute(g, "id", "x"), Edit::attribute(g, "b", "y")];
        assert_eq!(
            Edits::new(edits, 0).all_made(doc.input_text()),
            "<svg><g id=\"x\" b=\"y\"/></svg>"
        );
    }

    #[test]
    fn a_declaration_goes_behind_all_others() {
        for (before, after) in [
            ("<g/>", "<g style=\"e:f;a:b\"/>"),
            ("<g style='c:d'/>", "<g style='c:d;a:b;e:f'/>"),
            ("<g style='c:d; '/>", "<g style='c:d; a:b;e:f'/>"),
            ("<g style=''/>", "<g style='a:b;e:f'/>"),
        ] {
            let doc = usvg::roxmltree::Document::parse(before).unwrap();
            let mut edits = Vec::new();
            Edit::style(&mut edits, doc.root_element(), "a:b");
            Edit::style(&mut edits, doc.root_element(), "e:f");
            assert_eq!(Edits::new(edits, 0).all_made(before), after);
        }
    }

    #[test]
    fn a_child_goes_into_empty_and_full_elements() {
        for (before, after) in [
            ("<g><p:x a='1'/></g>", "<g><p:x a='1'><p:y b='2'/></p:x></g>"),
            ("<g><x>text</x ></g>", "<g><x>text<y b='2'/></x ></g>"),
        ] {
            let before = before.replacen("<g>", "<g xmlns:p='urn:p'>", 1);
            let doc = usvg::roxmltree::Document::parse(&before).unwrap();
            let x = doc.root_element().first_element_child().unwrap();
            let edit = Edit::child(x, "y", "b='2'");
            assert_eq!(
                Edits::new(vec![edit], 0).all_made(&before),
                after.replacen("<g>", "<g xmlns:p='urn:p'>", 1)
            );
        }
    }
}
