//! The marks that lead from the SVG library's tree back to the drawing: ids for elements without
//! one, clip paths for those whose copies lose their ids, `shape-rendering` cleared for our own use, units
//! out of CSS transforms; and the way to take an element out of the text altogether. See [`super`] for why
//! each is needed.

use usvg::roxmltree::Node;

use super::Element;
use super::links::local_url;
use super::splice::Edit;
use super::style::{Prop, Props, SVG};
use super::values;
use super::visit::{Inherited, Visitor};
use crate::drawing::error::ReadError;

/// What ends the ids of the clip paths that are marks.
pub(super) const COPY: &str = "-copy";

impl<'a> Visitor<'a> {
    /// Marks the shape marked last, if something is known of it that its copies need: the SVG library keeps no
    /// ids in clones and markers, but those of clip paths. The mark lets everything through that the shape's
    /// own clip path does.
    pub(super) fn mark_copies(&mut self, node: Node<'a, 'a>, props: &Props<'a>) {
        let Some(element) = self.out.elements.last() else { return };
        if element.markers.is_none() && element.path_length.is_none() {
            return;
        }
        let id = self.out.made_up(self.out.elements.len() - 1) + COPY;
        let own = props.get(Prop::ClipPath).and_then(local_url).filter(|id| {
            self.tags.get(id).is_some_and(|clip| clip.tag_name().name() == "clipPath")
        });
        let own = own.map_or(String::new(), |id| format!(" style='clip-path:url(#{id})'"));
        self.copies += &format!(
            "<clipPath xmlns='{SVG}' id='{id}'{own}><path d='M-1e9-1e9H1e9V1e9H-1e9z'/></clipPath>"
        );
        Edit::style(&mut self.edits, node, &format!("clip-path:url(#{id})"));
    }

    /// Records a marked element and gives it an id if it has none.
    pub(super) fn mark(&mut self, node: Node<'a, 'a>, context: &Inherited<'a>) -> usize {
        let index = self.out.elements.len();
        let id = node.attributes().find(|a| a.name() == "id");
        match id {
            Some(a) if a.value().is_empty() => {
                self.edits.push(Edit::replace(a.range_value(), self.out.made_up(index)));
            }
            // The first of several has it; a copy that kept it would be taken for that one.
            Some(a) if self.is_taken(a.value()) => {
                self.edits.push(Edit::replace(a.range_value(), self.out.made_up(index)));
            }
            Some(_) => {}
            None => self.edits.push(Edit::attribute(node, "id", &self.out.made_up(index))),
        }
        let id = id.map(|a| a.value()).filter(|id| !id.is_empty());
        if let Some(id) = id {
            self.out.by_id.entry(id).or_insert(index);
        }
        self.out.elements.push(Element {
            place: self.place(node),
            id,
            tag: node.tag_name().name(),
            layer: context.layer,
            parent: context.parent,
            // What an entity stands for has no place of its own and gets no id.
            expected: !context.hidden && !context.shelved && node.range().start >= self.begin,
            explained: false,
            path_length: None,
            markers: None,
        });
        index
    }

    /// Whether an element before has this id, and no style asks for it.
    fn is_taken(&self, id: &str) -> bool {
        self.out.by_id.contains_key(id) && !self.styles.names(id)
    }

    /// Takes `shape-rendering` out of the drawing: it is used as a mark.
    pub(super) fn marks(&mut self, node: Node<'a, 'a>) {
        const NAME: &str = "shape-rendering";
        for attribute in node.attributes() {
            if attribute.name() == NAME {
                self.edits.push(Edit::replace(attribute.range_qname(), "unused-rendering"));
            } else if attribute.name() == "style" {
                self.blank(attribute.range_value(), NAME);
                self.plain_transforms(attribute.range_value());
            }
        }
        if node.tag_name().name() == "style" {
            for text in node.children().filter(Node::is_text) {
                self.blank(text.range(), NAME);
                self.plain_transforms(text.range());
            }
        }
    }

    /// CSS writes transforms with units (`rotate(5deg) translate(3px)`), which the SVG library does
    /// not read: numbers become degrees and pixels, which is what bare ones mean.
    fn plain_transforms(&mut self, range: std::ops::Range<usize>) {
        let Some(text) = self.source.get(range.clone()) else { return };
        for (at, name) in text.match_indices("transform") {
            let rest = text.get(at + name.len()..).unwrap_or_default();
            if !rest.trim_start().starts_with(':') {
                continue;
            }
            let value = rest.split([';', '}', '"']).next().unwrap_or_default();
            let start = range.start + at + name.len();
            let names = values::plain_names(value).into_iter();
            for (number, plain) in names.chain(values::plain_numbers(value)) {
                let number = start + number.start..start + number.end;
                self.edits.push(Edit::replace(number, plain));
            }
        }
    }

    /// Spoils a name in a style, so that it says nothing.
    pub(super) fn blank(&mut self, range: std::ops::Range<usize>, name: &str) {
        let Some(text) = self.source.get(range.clone()) else { return };
        for (at, _) in text.match_indices(name) {
            let at = range.start + at;
            self.edits.push(Edit::replace(at..at + 1, "x"));
        }
    }

    /// Takes an element out of the text.
    pub(super) fn take_out(&mut self, node: Node<'_, '_>) {
        if node.range().start < self.begin {
            self.refused.get_or_insert(ReadError::Entity(self.place(node)));
        }
        self.edits.push(Edit::replace(node.range(), ""));
    }

    /// The element marked last is not drawn, and a finding has said so.
    pub(super) fn explain_last(&mut self) {
        if let Some(element) = self.out.elements.last_mut() {
            element.expected = false;
            element.explained = true;
        }
    }
}
