//! [`read`]: a drawing's bytes -> [`Drawing`] and findings. The steps in their order.
//!
//! Everything past the first byte check runs on a thread of its own with a large stack: the XML and
//! SVG libraries recurse, and running out of stack ends a program without a word. A panic in there
//! is turned into an error for the same reason.

use std::borrow::Cow;
use std::panic::AssertUnwindSafe;
use std::path::PathBuf;
use std::sync::Mutex;

use usvg::roxmltree::{self, Document, ParsingOptions};

use super::convert::{Walk, convert};
use super::error::ReadError;
use super::fonts::{Asked, Fonts, UNNAMED};
use super::limits::STACK_BYTES;
use super::lines::LineTable;
use super::respell::respelled;
use super::survey::{MEDIUM_PX, Survey, survey};
use super::{Drawing, closing, door, images, listen};
use crate::finding::{Finding, Place};
use crate::parallel;

/// How a drawing is read.
#[derive(Debug, Clone)]
pub struct ReadSettings {
    /// Folders with further fonts.
    pub font_dirs: Vec<PathBuf>,
    /// The family that stands in for one that is not installed.
    pub font_fallback: Option<String>,
    /// Whether the system's fonts are used (default: yes).
    pub system_fonts: bool,
}

impl Default for ReadSettings {
    fn default() -> Self {
        Self { font_dirs: Vec::new(), font_fallback: None, system_fonts: true }
    }
}

/// Reads an SVG or SVGZ drawing.
///
/// What could not be taken over is told in the findings, with row and column of the (unpacked)
/// text. The limits of [`super::limits`] keep any file within seconds and a gigabyte.
///
/// # Errors
/// When there is no drawing to go on with: see [`ReadError`].
pub fn read(bytes: &[u8], settings: &ReadSettings) -> Result<(Drawing, Vec<Finding>), ReadError> {
    let text = door::open(bytes)?;
    let reading = || {
        std::panic::catch_unwind(AssertUnwindSafe(|| read_text(&text, settings)))
            .unwrap_or_else(|_| Err(ReadError::Internal(PANIC.into())))
    };
    std::thread::scope(|scope| {
        let thread = std::thread::Builder::new()
            .name("drawing".into())
            .stack_size(STACK_BYTES)
            .spawn_scoped(scope, reading)
            .map_err(|e| ReadError::Internal(format!("no memory for it ({e})")))?;
        thread.join().unwrap_or_else(|_| Err(ReadError::Internal(PANIC.into())))
    })
}

const PANIC: &str = "a part of it breaks the SVG library; save it again as plain SVG";

fn read_text(text: &str, settings: &ReadSettings) -> Result<(Drawing, Vec<Finding>), ReadError> {
    let doc = parse_xml(text).map_err(|e| xml_error(&e, text))?;
    let (respelled, mut findings) = respelled(&doc);
    let doc = respelled.as_deref().and_then(|text| parse_xml(text).ok()).unwrap_or(doc);
    let mut survey = survey(&doc)?;
    findings.append(&mut survey.findings);
    let fonts = Fonts::new(
        settings.system_fonts && survey.needs_fonts,
        if survey.needs_fonts { &settings.font_dirs } else { &[] },
        settings.font_fallback.clone(),
    );
    findings.extend(fonts.check(&mut survey));
    let asked = Mutex::new(Asked::default());
    let (mut walk, heard) = parse(&doc, &survey, &fonts, &asked)?;
    walk.settle_layers();
    findings.append(&mut walk.findings);
    findings.extend(listen::findings(&heard, &doc));
    let asked = asked.into_inner().unwrap_or_default();
    findings.extend(fonts.told_late(&survey, &asked));
    closing::add(&mut findings, &mut walk, &asked.borrowed);
    Ok((walk.drawing, closing::settle(findings)))
}

fn parse_xml(text: &str) -> Result<Document<'_>, roxmltree::Error> {
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    Document::parse_with_options(text, options)
}

/// The walk over what the SVG library makes of the document, and what it says; a large plain drawing is read in
/// parts.
fn parse<'a>(
    doc: &Document<'_>,
    survey: &'a Survey<'a>,
    fonts: &Fonts,
    asked: &Mutex<Asked>,
) -> Result<(Walk<'a>, Vec<String>), ReadError> {
    let options = usvg::Options {
        font_family: UNNAMED.into(),
        font_size: MEDIUM_PX as f32,
        fontdb: fonts.database.clone(),
        font_resolver: fonts.resolver(asked),
        image_href_resolver: images::resolver(),
        ..usvg::Options::default()
    };
    let read_tree = |doc: &Document<'_>| {
        let (tree, heard) = listen::while_reading(|| usvg::Tree::from_xmltree(doc, &options));
        tree.map(|tree| (convert(&tree, survey), heard))
    };
    let parts = survey.parts(doc, parallel::cores());
    let read = |i: usize| read_tree(&parse_xml(&parts[i]).ok()?).ok();
    if let Some(read) = parallel::map(parts.len(), read).into_iter().collect::<Option<Vec<_>>>() {
        let (walks, heard): (Vec<_>, Vec<_>) = read.into_iter().unzip();
        if let Some(walk) = walks.into_iter().reduce(Walk::and) {
            return Ok((walk, heard.concat()));
        }
    }
    // The original as it is if nothing was changed, or the changed text should not parse.
    let text = survey.text(doc);
    let changed = match &text {
        Cow::Borrowed(_) => None,
        Cow::Owned(text) => parse_xml(text).ok(),
    };
    read_tree(changed.as_ref().unwrap_or(doc)).map_err(|e| svg_error(&e, survey.root))
}

fn svg_error(error: &usvg::Error, root: Place) -> ReadError {
    match error {
        usvg::Error::InvalidSize => ReadError::NoSize(root),
        usvg::Error::ElementsLimitReached => ReadError::TooManyElements(root),
        usvg::Error::ParsingFailed(roxmltree::Error::NodesLimitReached) => {
            ReadError::TooManyElements(root)
        }
        _ => ReadError::Internal("the SVG library does not take it".into()),
    }
}

/// The XML library's errors in our own words.
fn xml_error(error: &roxmltree::Error, text: &str) -> ReadError {
    use roxmltree::Error as E;
    let what = match error {
        E::UnexpectedCloseTag(expected, actual, _) => {
            format!("</{actual}> closes nothing; </{expected}> is due here")
        }
        E::UnknownNamespace(prefix, _) => format!("the prefix \"{prefix}:\" is not declared"),
        E::DuplicatedAttribute(name, _) => format!("the attribute {name} stands here twice"),
        E::DuplicatedNamespace(name, _) => format!("the prefix {name} is declared here twice"),
        E::UnknownEntityReference(name, _) => format!("&{name}; stands for nothing"),
        E::MalformedEntityReference(_) => "a lone & (write &amp; instead)".into(),
        E::EntityReferenceLoop(_) => "entities that stand for one another without end".into(),
        E::InvalidAttributeValue(_) => "a < inside an attribute's value".into(),
        E::NoRootNode => "no element in it".into(),
        E::UnclosedRootNode | E::UnexpectedEndOfStream => "it ends before its last tag".into(),
        E::NodesLimitReached | E::AttributesLimitReached | E::NamespacesLimitReached => {
            "more elements than can be read".into()
        }
        E::NonXmlChar(..) => "a control character that XML does not allow".into(),
        E::InvalidComment(_) => "a comment with -- in it".into(),
        E::InvalidName(_) => "a name with a character that names can't have".into(),
        _ => "characters that can't stand here".into(),
    };
    let at = error.pos();
    let place = match error {
        E::NoRootNode | E::NodesLimitReached => Place::default(),
        // The library names the beginning.
        E::UnclosedRootNode | E::UnexpectedEndOfStream => LineTable::new(text).place(text.len()),
        _ => Place::text(at.row, at.col),
    };
    ReadError::Xml { what, place }
}
