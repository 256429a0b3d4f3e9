//! A large plain drawing → texts that the SVG library reads side by side.
//!
//! Reading takes a fifth of a pen job's time, and the library does it on one thread. Here the text is cut
//! between elements; each part is a document of its own: what stands before the root, the start tags of
//! the elements around its first cut, all up to the next cut, and the end tags of the elements around
//! that. Shapes know their elements by ids, so those of all parts, one part after the other, are the
//! shapes of the whole.
//!
//! Invariant: nothing in one part bears on another. A drawing with references, style rules, text, or a
//! page without a size is not parted (see [`Plain`]), and around a cut stand only the root and groups that
//! are painted child by child.

use std::ops::Range;

use usvg::roxmltree::{Document, Node};

use super::splice::{Edits, qualified_name};
use super::visit::svg_tag;
use crate::parallel;

/// A part is no shorter than this, bytes.
const PART: usize = 100_000;
/// Deepest nesting of elements in a drawing that is read in parts: on any thread, with its small stack.
const SHALLOW: usize = 12;

/// What decides whether elements of a drawing bear on others far away.
pub(super) struct Plain {
    /// Something refers to an id.
    pub(super) has_references: bool,
    /// There are style rules, which may go by an element's neighbours.
    pub(super) has_rules: bool,
    /// There is text, or a picture that may hold some.
    pub(super) has_text: bool,
    /// The page has a width and a height of its own; else what is drawn bounds it.
    pub(super) is_sized: bool,
    /// How deep elements are nested.
    pub(super) depth: usize,
}

impl Plain {
    /// Whether the drawing may be read in parts.
    pub(super) fn is_so(&self) -> bool {
        let depends = self.has_references || self.has_rules || self.has_text;
        !depends && self.is_sized && self.depth <= SHALLOW
    }
}

/// The texts of up to `most` parts of a plain drawing with all `edits` made; none if it is small, or can't
/// be cut.
pub(super) fn parts(doc: &Document<'_>, edits: &Edits, most: usize) -> Vec<String> {
    let text = doc.input_text();
    let count = most.min(text.len() / PART);
    let is_literal = !["<!ENTITY", "<![CDATA["].iter().any(|other| text.contains(other));
    if count < 2 || !is_literal {
        return Vec::new();
    }
    let root = doc.root_element();
    let all = root.range();
    let at = |i: usize| all.start + all.len() / count * i;
    let mut cuts: Vec<Cut> = (1..count).filter_map(|i| cut(root, at(i))).collect();
    cuts.dedup_by_key(|cut| cut.at);
    if cuts.is_empty() || cuts.iter().any(|cut| edits.span(cut.at)) {
        return Vec::new();
    }
    let edited = |range: Range<usize>| edits.made(text, range);
    let before = |cut: &Cut<'_>| {
        let tags = cut.around.iter().map(|&group| edited(start_tag(group)));
        std::iter::once(edited(0..all.start)).chain(tags).collect::<String>()
    };
    let after = |cut: &Cut<'_>| -> String {
        cut.around.iter().rev().map(|&group| ["</", qualified_name(group), ">"].concat()).collect()
    };
    let part = |i: usize| {
        let (head, from) = match i.checked_sub(1).map(|i| &cuts[i]) {
            Some(cut) => (before(cut), cut.at),
            None => (String::new(), 0),
        };
        let (to, tail) = match cuts.get(i) {
            Some(cut) => (cut.at, after(cut)),
            None => (text.len(), String::new()),
        };
        [head, edited(from..to), tail].concat()
    };
    parallel::map(cuts.len() + 1, part)
}

/// Where a text is cut: before an element.
struct Cut<'a> {
    at: usize,
    /// The elements around it, the root first.
    around: Vec<Node<'a, 'a>>,
}

/// The first cut from the byte `at` on within `root`, as deep as there are plain groups.
fn cut<'a>(root: Node<'a, 'a>, at: usize) -> Option<Cut<'a>> {
    let mut around = vec![root];
    loop {
        let group = *around.last()?;
        let mut children = group.children().filter(Node::is_element);
        let child = children.find(|child| child.range().end > at)?;
        if child.range().start < at && is_plain_group(child) && child.has_children() {
            around.push(child);
            continue;
        }
        let next = if child.range().start < at { children.next()? } else { child };
        return Some(Cut { at: next.range().start, around });
    }
}

/// Whether a group only holds its children, and may as well be two.
fn is_plain_group(node: Node<'_, '_>) -> bool {
    let as_one = |name: &str| matches!(name, "opacity" | "mix-blend-mode" | "isolation" | "style");
    svg_tag(node) == Some("g") && !node.attributes().any(|a| as_one(a.name()))
}

/// Where an element's start tag stands; it has children.
fn start_tag(node: Node<'_, '_>) -> Range<usize> {
    let begin = node.range().start;
    begin..node.first_child().map_or(begin, |child| child.range().start)
}

#[cfg(test)]
mod tests {
    use usvg::roxmltree::Document;

    use crate::drawing::survey::survey;

    /// The numbers of the lines in each part, and the parts.
    fn parted(svg: &str) -> (Vec<Vec<usize>>, Vec<String>) {
        let doc = Document::parse(svg).unwrap();
        let parts = survey(&doc).unwrap().parts(&doc, 3);
        let numbers = |part: &String| {
            let doc = Document::parse(part).unwrap();
            let lines = doc.descendants().filter_map(|node| node.attribute("x1"));
            lines.map(|x| x.parse().unwrap()).collect()
        };
        (parts.iter().map(numbers).collect(), parts)
    }

    fn page(attributes: &str, content: &str) -> String {
        format!("<svg xmlns='http://www.w3.org/2000/svg' {attributes}>{content}</svg>")
    }

    const SIZE: &str = "width='9mm' height='9mm' viewBox='0 0 9 9'";

    fn lines(from: usize, count: usize) -> String {
        let line = |i| format!("<line x1='{i}' y1='1' x2='2' y2='3' stroke='#000'/> <!-- - -->\n");
        (from..from + count).map(line).collect()
    }

    #[test]
    fn parts_hold_all_lines_in_their_order() {
        let count = 6_000;
        let half = lines(3_000, 3_000);
        let nested = format!("<p:g xmlns:p='http://www.w3.org/2000/svg' fill='red'>{half}</p:g>");
        for content in [
            lines(0, count),
            format!("<g id='a'>{}</g>", lines(0, count)),
            format!("<g>{}</g><g><g transform='scale(2)'>{half}</g></g>", lines(0, 3_000)),
            format!("{}<g stroke='red'>{nested}</g>", lines(0, 3_000)),
        ] {
            let (numbers, parts) = parted(&page(SIZE, &content));
            assert_eq!(numbers.len(), 3);
            assert!(numbers.iter().all(|part| part.len() > 1_000), "{:?}", numbers[0].len());
            assert_eq!(numbers.concat(), (0..count).collect::<Vec<_>>());
            assert!(parts.iter().all(|part| part.len() < content.len() * 9 / 10));
        }
    }

    /// A cut in the middle of the second group would make two of it.
    #[test]
    fn what_is_painted_as_one_stays_in_one_part() {
        let faint = format!("<g opacity='0.5'>{}</g>", lines(2_000, 4_000));
        let content = [lines(0, 2_000), faint, lines(6_000, 3_000)].concat();
        let (numbers, _) = parted(&page(SIZE, &content));
        assert!(numbers.len() > 1);
        assert!(numbers.iter().any(|part| (2_000..6_000).all(|i| part.contains(&i))));
    }

    #[test]
    fn drawings_whose_parts_bear_on_each_other_are_not_parted() {
        let all = lines(0, 6_000);
        assert_eq!(parted(&page(SIZE, &all)).0.len(), 3);
        let deep = ["<g>".repeat(13), all.clone(), "</g>".repeat(13)].concat();
        let alone = |content: &str| parted(&page(SIZE, content)).0.is_empty();
        assert!(alone(&lines(0, 100)));
        assert!(alone(&deep));
        assert!(alone(&format!("<g opacity='0.5'>{all}</g>")));
        for more in [
            "<use href='#a'/>",
            "<path d='M0 0h9' fill='url(#a)'/>",
            "<style>line + line { display: none }</style>",
            "<text>letters</text>",
            "<desc><![CDATA[ <g> ]]></desc>",
        ] {
            assert!(alone(&format!("{more}{all}")), "{more}");
        }
        assert!(parted(&page("viewBox='0 0 9 9'", &all)).0.is_empty());
        assert!(parted(&page("width='100%' height='9mm'", &all)).0.is_empty());
    }
}
