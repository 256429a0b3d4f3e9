//! The first look at the drawing's XML: everything that the SVG library would lose without a word.
//!
//! Input: the parsed document and its text. Output: a [`Survey`]: the changes to the text that is then
//! read for real, the elements by id, the layers, the findings with row and column.
//!
//! The text differs from the original in six ways, each of which the library needs and none of
//! which changes what is drawn:
//! 1. every element without an id gets one, so that a shape in the library's tree can be led back
//!    to its element (layer, row and column);
//! 2. elliptical arcs in paths become fine cubics (`arcs.rs`);
//! 3. `shape-rendering`, which means nothing to a knife, is taken out and used as a mark that
//!    survives clones: `optimizeSpeed` for circles, ellipses and rounded rectangles (whose curves
//!    are made anew), `crispEdges` for lines whose width does not scale;
//! 4. units of the page that the library does not know are converted (`size.rs`);
//! 5. shapes whose copies the later stages must know, though the library drops their ids, get a clip path that
//!    clips nothing (`marks.rs`);
//! 6. percentages in definitions and symbols are written out (`viewports.rs`).

mod arcs;
mod links;
mod losses;
mod marks;
mod parts;
mod pictures;
mod references;
mod shapes;
mod size;
mod splice;
mod style;
mod texts;
mod values;
mod viewports;
mod visit;

use std::borrow::Cow;
use std::collections::HashMap;
use std::hash::{Hash, Hasher};

use usvg::roxmltree::Document;

pub(super) use links::local_url;
pub(super) use losses::{quoted, shortened, unreadable};
pub(super) use size::{MEDIUM_PX, SizeGiven, has_faulty_number, percentage};
use splice::Edits;
pub(super) use values::{dash_items, is_for_screens};

use super::Layer;
use super::error::ReadError;
use super::lines::LineTable;
use super::markers::MarkerUse;
use crate::finding::{Finding, Place};

/// One element that can show up in the SVG library's tree.
#[derive(Debug, Clone, Default)]
pub(super) struct Element<'a> {
    /// Where it begins.
    pub(super) place: Place,
    /// Its own id, if it has one.
    pub(super) id: Option<&'a str>,
    /// Tag, without prefix.
    pub(super) tag: &'a str,
    /// The layer it lies in; none outside layers.
    pub(super) layer: Option<usize>,
    /// The nearest marked element around it.
    pub(super) parent: Option<usize>,
    /// Whether it must show up in the tree: drawn, not hidden, not part of a definition.
    pub(super) expected: bool,
    /// Whether a finding has said why it is not drawn.
    pub(super) explained: bool,
    /// The author's own length of the path, on which its dashes are based.
    pub(super) path_length: Option<f64>,
    /// Its markers, if it has any: at its start, between, at its end.
    pub(super) markers: Option<[MarkerUse; 3]>,
}

/// Some text, and the fonts that it asks for.
#[derive(Debug, Clone)]
pub(super) struct TextRun {
    /// The text element, as an index into [`Survey::elements`].
    pub(super) element: Option<usize>,
    /// Where the run's own element begins.
    pub(super) place: Place,
    /// The value of `font-family`; empty if none was given.
    pub(super) families: String,
    /// Whether it stands in a definition.
    pub(super) shelved: bool,
    /// The text, blanks collapsed.
    pub(super) text: String,
}

/// What the first look found.
#[derive(Debug, Default)]
pub(super) struct Survey<'a> {
    /// The changes to the text for the SVG library.
    edits: Edits,
    /// It may be read in parts (`parts.rs`).
    is_plain: bool,
    /// Elements that can show up in the tree, in document order.
    pub(super) elements: Vec<Element<'a>>,
    /// The layers in painting order.
    pub(super) layers: Vec<Layer>,
    /// What was found.
    pub(super) findings: Vec<Finding>,
    /// How the page's size is given.
    pub(super) size: Option<SizeGiven>,
    /// Where the root element begins.
    pub(super) root: Place,
    /// Every text that is drawn, with the fonts it asks for.
    pub(super) runs: Vec<TextRun>,
    /// Whether there is text or a picture that may hold text: whether fonts are needed at all.
    pub(super) needs_fonts: bool,
    /// Made-up ids are this and an index into `elements`.
    prefix: String,
    /// Elements by the id that the author gave.
    by_id: HashMap<&'a str, usize>,
}

impl Survey<'_> {
    /// The text of `doc` for the SVG library; borrowed if it is the original as it was.
    pub(super) fn text<'d>(&self, doc: &'d Document<'_>) -> Cow<'d, str> {
        self.edits.all_made(doc.input_text())
    }

    /// The same in up to `most` parts to be read side by side, whose shapes one after another are those of
    /// the whole; none if it has to be read as a whole.
    pub(super) fn parts(&self, doc: &Document<'_>, most: usize) -> Vec<String> {
        if self.is_plain { parts::parts(doc, &self.edits, most) } else { Vec::new() }
    }

    /// The made-up id of an element.
    fn made_up(&self, index: usize) -> String {
        [self.prefix.as_str(), itoa::Buffer::new().format(index)].concat()
    }

    /// The element of whose copies a clip path made up for that tells (`marks.rs`).
    pub(super) fn copied(&self, clip_path: &str) -> Option<usize> {
        let number = clip_path.strip_prefix(self.prefix.as_str())?.strip_suffix(marks::COPY)?;
        number.parse().ok().filter(|n| *n < self.elements.len())
    }

    /// The element that an id in the tree stands for.
    pub(super) fn find(&self, id: &str) -> Option<usize> {
        match id.strip_prefix(self.prefix.as_str()) {
            Some(number) if !self.prefix.is_empty() => {
                number.parse().ok().filter(|n| *n < self.elements.len())
            }
            _ => self.by_id.get(id).copied(),
        }
    }
}

/// Surveys a document.
pub(super) fn survey<'a>(doc: &'a Document<'a>) -> Result<Survey<'a>, ReadError> {
    let text = doc.input_text();
    let lines = LineTable::new(text);
    let root = doc.root_element();
    let place = lines.place(root.range().start);
    let namespace = root.tag_name().namespace();
    if root.tag_name().name() != "svg" || !matches!(namespace, None | Some(style::SVG)) {
        return Err(ReadError::NotSvg(root.tag_name().name().to_owned(), place));
    }
    let prefix = unused_prefix(text);
    visit::run(doc, lines, Survey { root: place, prefix, ..Survey::default() })
}

/// A beginning for made-up ids that occurs nowhere in the text: made from the text's own hash, so
/// that no text can be written to hold it.
fn unused_prefix(text: &str) -> String {
    let mut hasher = std::hash::DefaultHasher::new();
    text.hash(&mut hasher);
    format!("e{:016x}-", hasher.finish())
}
