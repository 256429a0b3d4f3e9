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

    /// One more empty element at the end of an element, in the same namespace.
    pub(super) fn child(node: Node<'_, '_>, tag: &str, attributes: &str) -> Self {
        let (range, name_end) = (node.range(), after_name(node));
        let source = node.document().input_text();
        let name = source.get(range.start + 1..name_end).unwrap_or_default();
        let prefix = name.rsplit_once(':').map_or(String::new(), |(p, _)| format!("{p}:"));
        let child = format!("<{prefix}{tag} {attributes}/>");
        let written = source.get(range.clone()).unwrap_or_default();
        if written.ends_with("/>") {
            let text = format!(">{child}</{name}>");
            return Self { range: range.end - 2..range.end, text };
        }
        let at = range.start + written.rfind("</").unwrap_or(written.len());
        Self { range: at..at, text: child }
    }
}

/// The byte after an element's qualified name.
fn after_name(node: Node<'_, '_>) -> usize {
    let start = node.range().start + 1;
    let text = node.document().input_text();
    let rest = text.get(start..).unwrap_or_default();
    start + rest.find(|c: char| c.is_whitespace() || c == '/' || c == '>').unwrap_or(0)
}

/// The text with all changes made; those before `from` and those that overlap an earlier one are
/// left out. Changes at the same place keep their order.
pub(super) fn splice(text: &str, mut edits: Vec<Edit>, from: usize) -> Cow<'_, str> {
    edits.retain(|e| e.range.start >= from);
    if edits.is_empty() {
        return Cow::Borrowed(text);
    }
    edits.sort_by_key(|e| e.range.start);
    let added: usize = edits.iter().map(|e| e.text.len()).sum();
    let mut out = String::with_capacity(text.len() + added);
    let mut done = 0;
    for edit in &edits {
        if edit.range.start < done {
            continue;
        }
        out.push_str(text.get(done..edit.range.start).unwrap_or_default());
        out.push_str(&edit.text);
        done = edit.range.end.max(edit.range.start);
    }
    out.push_str(text.get(done..).unwrap_or_default());
    Cow::Owned(out)
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
        assert_eq!(splice(text, edits, 1), "<svg><g a='22'/></svg>");
        let unchanged = splice(text, vec![Edit::replace(0..1, "never")], 1);
        assert!(matches!(unchanged, Cow::Borrowed(same) if same == text));
        let doc = usvg::roxmltree::Document::parse("<svg><g/></svg>").unwrap();
        let g = doc.root_element().first_element_child().unwrap();
        let edits = vec![Edit::attribute(g, "id", "x"), Edit::attribute(g, "b", "y")];
        assert_eq!(splice(doc.input_text(), edits, 0), "<svg><g id=\"x\" b=\"y\"/></svg>");
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
                splice(&before, vec![edit], 0),
                after.replacen("<g>", "<g xmlns:p='urn:p'>", 1)
            );
        }
    }
}
