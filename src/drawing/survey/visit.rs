//! Walks the document once, top down, and collects what [`super::Survey`] holds.
//!
//! What a parent hands to its children is in [`Inherited`]; what is collected on the way in
//! [`Visitor`]. What single elements lose is in `losses.rs`, what is wrong with a shape's geometry
//! in `shapes.rs`.

use std::collections::HashMap;

use usvg::roxmltree::{Document, Node};

use super::arcs::Inspected;
use super::parts::Plain;
use super::references::{self, Graph, Reference, TooMuch};
use super::size::{Relative, SizeGiven, page_size};
use super::splice::{Edit, Edits};
use super::style::{Prop, Props, SVG, Styles};
use super::viewports::{Frames, Viewports};
use super::{Survey, TextRun, links, losses, shapes, texts, viewports};
use crate::drawing::Layer;
use crate::drawing::error::ReadError;
use crate::drawing::limits::{
    COMMANDS_PER_ELEMENT, MAX_ALL_TEXT_CHARS, MAX_NESTING, MAX_STYLE_WORK, MAX_TEXT_CHARS,
};
use crate::drawing::lines::LineTable;
use crate::finding::{Finding, Place};

/// What an element takes over from those around it.
#[derive(Clone, Copy, Default)]
pub(super) struct Inherited<'a> {
    pub(super) layer: Option<usize>,
    pub(super) parent: Option<usize>,
    /// Inside what is copied: by clones, or as a marker.
    pub(super) copied: bool,
    pub(super) viewports: Viewports,
    /// Inside something with `display: none`.
    pub(super) hidden: bool,
    /// Inside a definition, or where only one of several is drawn.
    pub(super) shelved: bool,
    pub(super) invisible: bool,
    /// Inside a text element: its index.
    pub(super) text: Option<usize>,
    pub(super) fill: Option<&'a str>,
    pub(super) stroke: Option<&'a str>,
    pub(super) markers: [Option<&'a str>; 3],
    pub(super) families: Option<&'a str>,
    /// Weight of letters; none for the usual one.
    pub(super) weight: Option<u16>,
    pub(super) line_join: Option<&'a str>,
    pub(super) dashes: Option<&'a str>,
    /// Gaps between letters.
    pub(super) spacing: Option<&'a str>,
}

/// What is collected on the way.
pub(super) struct Visitor<'a> {
    pub(super) relative: Relative,
    /// Why the drawing can't be read after all.
    pub(super) refused: Option<ReadError>,
    /// Where the root element begins.
    pub(super) begin: usize,
    /// The original text.
    pub(super) source: &'a str,
    pub(super) lines: LineTable<'a>,
    pub(super) styles: Styles<'a>,
    pub(super) out: Survey<'a>,
    pub(super) edits: Vec<Edit>,
    pub(super) inspected: Inspected,
    pub(super) graph: Graph<'a>,
    /// Tag by id: which kind of thing a reference leads to.
    pub(super) tags: HashMap<&'a str, Node<'a, 'a>>,
    pub(super) frames: Frames<'a>,
    /// Definitions that go to the end of the drawing (`marks.rs`).
    pub(super) copies: String,
    /// Findings told once per thing, with how often it occurred: index of the finding.
    pub(super) tallies: HashMap<(&'static str, String), (usize, usize)>,
    /// Where each element of the graph begins.
    starts: Vec<usize>,
    /// Characters of all texts so far.
    text_chars: usize,
}

/// Walks the document; see [`super::survey`].
pub(super) fn run<'a>(
    doc: &'a Document<'a>,
    lines: LineTable<'a>,
    out: Survey<'a>,
) -> Result<Survey<'a>, ReadError> {
    let depth = depth(doc, &lines)?;
    let mut visitor = Visitor {
        relative: Relative::new(doc.root_element(), None),
        refused: None,
        begin: doc.root_element().range().start,
        source: doc.input_text(),
        lines,
        styles: Styles::new(doc),
        out,
        edits: Vec::new(),
        inspected: Inspected::of(doc),
        graph: Graph::default(),
        tags: ids(doc),
        frames: Frames::new(doc),
        copies: String::new(),
        tallies: HashMap::new(),
        starts: Vec::new(),
        text_chars: 0,
    };
    check_rules(&visitor.styles, doc)?;
    visitor.root(doc.root_element());
    if let Some(error) = visitor.refused.take() {
        return Err(error);
    }
    references::check(&visitor.graph).map_err(|e| refusal(&e, &visitor))?;
    losses::finish_tallies(&mut visitor);
    let copies = std::mem::take(&mut visitor.copies);
    if !copies.is_empty() {
        visitor.edits.push(Edit::content(doc.root_element(), copies));
    }
    let is_sized = ["width", "height"].iter().all(|side| doc.root_element().has_attribute(*side))
        && matches!(visitor.out.size, Some(SizeGiven::Units | SizeGiven::Numbers));
    let plain = Plain {
        has_references: !visitor.graph.references.is_empty(),
        has_rules: visitor.styles.rules() > 0,
        has_text: visitor.out.needs_fonts,
        is_sized,
        depth,
    };
    let Visitor { mut out, edits, begin, .. } = visitor;
    (out.edits, out.is_plain) = (Edits::new(edits, begin), plain.is_so());
    Ok(out)
}

/// How deep nodes are nested. Entities can nest elements deeper than the text shows, so the tree is measured as well.
fn depth(doc: &Document<'_>, lines: &LineTable<'_>) -> Result<usize, ReadError> {
    let (mut depth, mut deepest) = (0usize, 0);
    let mut node = doc.root();
    loop {
        if let Some(child) = node.first_child() {
            depth += 1;
            deepest = deepest.max(depth);
            if depth > MAX_NESTING + 2 {
                return Err(ReadError::TooDeep(lines.place(child.range().start)));
            }
            node = child;
            continue;
        }
        while node.next_sibling().is_none() {
            let Some(parent) = node.parent() else { return Ok(deepest) };
            depth = depth.saturating_sub(1);
            node = parent;
        }
        if let Some(next) = node.next_sibling() {
            node = next;
        }
    }
}

/// Refuses style sheets that would take minutes.
fn check_rules(styles: &Styles<'_>, doc: &Document<'_>) -> Result<(), ReadError> {
    let (rules, elements) = (styles.rules(), doc.descendants().filter(Node::is_element).count());
    if (rules as u64).saturating_mul(elements as u64) > MAX_STYLE_WORK {
        return Err(ReadError::TooManyRules { rules, elements });
    }
    Ok(())
}

fn ids<'a>(doc: &'a Document<'a>) -> HashMap<&'a str, Node<'a, 'a>> {
    let mut ids = HashMap::new();
    for node in doc.descendants() {
        if let Some(id) = node.attribute("id") {
            ids.entry(id).or_insert(node);
        }
    }
    ids
}

fn refusal(error: &TooMuch, visitor: &Visitor<'_>) -> ReadError {
    let place = |i: &usize| visitor.lines.place(visitor.starts.get(*i).copied().unwrap_or(0));
    match error {
        TooMuch::Chain(at) => ReadError::TooManyReferences(place(at)),
        TooMuch::Elements(at) => ReadError::TooManyElements(place(at)),
    }
}

/// Elements that can show up in the tree with their id.
pub(super) fn is_marked(tag: &str) -> bool {
    is_shape(tag) || matches!(tag, "g" | "a" | "use" | "svg" | "switch" | "text" | "image")
}

/// Basic shapes and paths.
pub(super) fn is_shape(tag: &str) -> bool {
    matches!(tag, "path" | "rect" | "circle" | "ellipse" | "line" | "polyline" | "polygon")
}

/// Elements whose content is not drawn where it stands.
fn is_shelf(tag: &str) -> bool {
    matches!(
        tag,
        "defs"
            | "symbol"
            | "clipPath"
            | "mask"
            | "pattern"
            | "marker"
            | "linearGradient"
            | "radialGradient"
            | "filter"
            | "switch"
    )
}

impl<'a> Visitor<'a> {
    /// Where an element begins.
    pub(super) fn place(&self, node: Node<'_, '_>) -> Place {
        self.lines.place(node.range().start)
    }

    /// Tells something about an element.
    pub(super) fn tell(&mut self, node: Node<'_, '_>, finding: Finding) {
        let place = self.place(node);
        self.out.findings.push(finding.at(place));
    }

    fn root(&mut self, root: Node<'a, 'a>) {
        let page = page_size(root);
        self.out.size = Some(page.given);
        if page.unusable {
            self.refused.get_or_insert(ReadError::NoSize(self.place(root)));
        }
        self.edits.extend(page.edits);
        for (name, value) in page.unreadable {
            self.tell(root, losses::unreadable(name, &value, "svg"));
        }
        for (name, value) in page.loose {
            self.tell(root, losses::loose_size(name, &value));
        }
        self.enter(root);
        let props = self.styles.props(root);
        self.relative = Relative::new(root, props.get(Prop::FontSize));
        losses::declared_defaults(self);
        losses::check(self, root, &props, &Inherited::default());
        self.marks(root);
        losses::huge_numbers(self, root);
        let context = self.passed_on(root, &props, &Inherited::default());
        self.refer(root, &props, &context, 0);
        for child in root.children().filter(Node::is_element) {
            let layer = self.layer(child);
            self.element(child, Inherited { layer, ..context });
        }
        self.leave(0);
    }

    /// The layer that a top-level element begins, if it begins one: groups always, what else
    /// holds elements only when it was given a name.
    fn layer(&mut self, node: Node<'a, 'a>) -> Option<usize> {
        let tag = svg_tag(node)?;
        let name = layer_name(node);
        let begins = tag == "g" || (matches!(tag, "svg" | "a" | "switch") && name.is_some());
        if !begins || losses::is_hidden(node, &self.styles.props(node)) {
            return None;
        }
        let number = self.out.layers.len() + 1;
        let name = name.unwrap_or_else(|| format!("layer {number}"));
        let place = self.place(node);
        self.out.layers.push(Layer { name, place });
        Some(number - 1)
    }

    /// Visits an element and all below. Recursion is bounded by [`MAX_NESTING`].
    fn element(&mut self, node: Node<'a, 'a>, context: Inherited<'a>) {
        let Some(tag) = svg_tag(node) else { return };
        let index = self.enter(node);
        let props = self.styles.props(node);
        let mut inner = self.passed_on(node, &props, &context);
        viewports::check(self, node, &context);
        if context.hidden || !losses::check(self, node, &props, &context) {
            inner.hidden = true;
        }
        texts::weigh(self, node, &props, &inner);
        self.marks(node);
        if !context.hidden {
            losses::huge_numbers(self, node);
        }
        if is_marked(tag) && context.text.is_none() {
            inner.parent = Some(self.mark(node, &inner));
        }
        if tag == "text" && context.text.is_none() {
            inner.text = inner.parent;
            self.expect_text(node);
        }
        if is_shape(tag) {
            shapes::check(self, node, &props, &inner);
            if inner.copied {
                self.mark_copies(node, &props);
            }
        }
        self.refer(node, &props, &inner, index);
        self.children(node, tag, inner);
        self.leave(index);
    }

    fn children(&mut self, node: Node<'a, 'a>, tag: &str, inner: Inherited<'a>) {
        if matches!(tag, "text" | "tspan" | "textPath" | "tref" | "a") && inner.text.is_some() {
            self.text_run(node, &inner);
        }
        if tag == "text" {
            self.refuse_long_text(node);
        }
        if !matches!(tag, "foreignObject" | "style" | "script" | "title" | "desc" | "metadata") {
            for child in node.children().filter(Node::is_element) {
                self.element(child, inner);
            }
        }
    }

    /// What children see.
    fn passed_on(
        &self,
        node: Node<'a, 'a>,
        props: &Props<'a>,
        outer: &Inherited<'a>,
    ) -> Inherited<'a> {
        let tag = node.tag_name().name();
        let or = |prop: Prop, outer: Option<&'a str>| match props.get(prop) {
            None | Some("inherit") => outer,
            own => own,
        };
        Inherited {
            copied: outer.copied || tag == "marker" || self.frames.is_cloned(node),
            viewports: self.frames.within(node, outer.viewports),
            shelved: outer.shelved || is_shelf(tag) || is_conditional(node),
            invisible: match or(Prop::Visibility, None) {
                Some(value) => value != "visible",
                None => outer.invisible,
            },
            fill: or(Prop::Fill, outer.fill),
            stroke: or(Prop::Stroke, outer.stroke),
            markers: [
                or(Prop::MarkerStart, outer.markers[0]),
                or(Prop::MarkerMid, outer.markers[1]),
                or(Prop::MarkerEnd, outer.markers[2]),
            ],
            families: or(Prop::FontFamily, outer.families),
            weight: texts::weight(props.get(Prop::FontWeight), outer.weight),
            line_join: or(Prop::LineJoin, outer.line_join),
            dashes: or(Prop::DashArray, outer.dashes),
            spacing: texts::spacing(props, outer.spacing),
            ..*outer
        }
    }

    fn text_run(&mut self, node: Node<'a, 'a>, context: &Inherited<'a>) {
        let text: String = node
            .children()
            .filter(|n| n.is_text())
            .flat_map(|n| n.text().unwrap_or_default().split_whitespace())
            .collect::<Vec<_>>()
            .join(" ");
        if context.hidden || text.is_empty() {
            return;
        }
        self.out.needs_fonts = true;
        let families = context.families.unwrap_or_default().to_owned();
        let place = self.place(node);
        let shelved = context.shelved;
        self.out.runs.push(TextRun { element: context.text, place, families, shelved, text });
    }

    /// A text without letters is not missed.
    fn expect_text(&mut self, node: Node<'a, 'a>) {
        let has_letters = |n: Node<'_, '_>| n.text().is_some_and(|text| !text.trim().is_empty());
        if !node.descendants().any(|n| n.is_text() && has_letters(n)) {
            self.explain_last();
        }
    }

    fn refuse_long_text(&mut self, node: Node<'a, 'a>) {
        let length: usize = node
            .descendants()
            .filter(|n| n.is_text())
            .map(|n| n.text().unwrap_or_default().len())
            .sum();
        self.text_chars = self.text_chars.saturating_add(length);
        let too_long = if length > MAX_TEXT_CHARS {
            Some((length, MAX_TEXT_CHARS))
        } else if self.text_chars > MAX_ALL_TEXT_CHARS {
            Some((self.text_chars, MAX_ALL_TEXT_CHARS))
        } else {
            None
        };
        if let Some((length, most)) = too_long {
            self.take_out(node);
            self.tell(node, losses::text_too_long(length, most));
            self.explain_last();
        }
    }

    fn enter(&mut self, node: Node<'a, 'a>) -> usize {
        let index = self.graph.ends.len();
        self.graph.ends.push(index + 1);
        self.graph.own.push(1);
        self.starts.push(node.range().start);
        if let Some(id) = node.attribute("id") {
            self.graph.ids.entry(id).or_insert(index);
        }
        index
    }

    /// Adds a path's commands to the weight of the element entered last.
    pub(super) fn weigh_commands(&mut self, commands: usize) {
        if let Some(own) = self.graph.own.last_mut() {
            *own += commands as u64 / COMMANDS_PER_ELEMENT;
        }
    }

    fn leave(&mut self, index: usize) {
        self.graph.ends[index] = self.starts.len();
    }

    /// Notes what an element refers to.
    fn refer(
        &mut self,
        node: Node<'a, 'a>,
        props: &Props<'a>,
        context: &Inherited<'a>,
        from: usize,
    ) {
        let mut add = |id: Option<&'a str>, times: u64| {
            if let Some(id) = id {
                self.graph.references.push(Reference { from, id, times });
            }
        };
        let tag = node.tag_name().name();
        if tag != "a" {
            add(links::href(node).and_then(|h| h.strip_prefix('#')), 1);
        }
        for prop in [Prop::ClipPath, Prop::Mask, Prop::Filter] {
            add(props.get(prop).and_then(links::local_url), 1);
        }
        if is_shape(tag) || tag == "text" {
            add(context.fill.and_then(links::local_url), 1);
            add(context.stroke.and_then(links::local_url), 1);
        }
        if is_shape(tag) {
            let vertices = shapes::vertices_at_most(node);
            for (marker, times) in context.markers.iter().zip([1, vertices, 1]) {
                add(marker.and_then(links::local_url), times);
            }
        }
    }
}

/// The tag of an element that SVG knows.
pub(super) fn svg_tag<'a>(node: Node<'a, 'a>) -> Option<&'a str> {
    let tag = node.tag_name();
    matches!(tag.namespace(), None | Some(SVG)).then(|| tag.name())
}

/// Whether a language or an extension decides if the element is drawn.
fn is_conditional(node: Node<'_, '_>) -> bool {
    ["systemLanguage", "requiredExtensions"].iter().any(|name| node.has_attribute(*name))
}

/// Title, else a label in whatever namespace, else the id.
pub(super) fn layer_name(node: Node<'_, '_>) -> Option<String> {
    let title = node
        .children()
        .find(|n| n.is_element() && n.tag_name().name() == "title")
        .and_then(|n| n.text().map(str::to_owned));
    let label = || node.attributes().find(|a| a.name() == "label").map(|a| a.value().to_owned());
    let id = || node.attribute("id").map(str::to_owned);
    title
        .filter(|t| !t.trim().is_empty())
        .or_else(|| label().filter(|t| !t.trim().is_empty()))
        .or_else(|| id().filter(|t| !t.trim().is_empty()))
        .map(|name| name.split_whitespace().collect::<Vec<_>>().join(" "))
}
