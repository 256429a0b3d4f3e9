//! Pictures inside the drawing: SVG ones are read with it, no file is ever opened for one.
//!
//! An SVG picture gets the same first look as the drawing, so that its arcs are as fine; what the
//! look finds in it is not told, because its rows and columns are not the drawing's.

use usvg::roxmltree::{Document, ParsingOptions};
use usvg::{ImageHrefResolver, ImageKind, Options, Tree};

use super::{door, survey};

/// The SVG library's way to ask for pictures.
pub(super) fn resolver() -> ImageHrefResolver<'static> {
    ImageHrefResolver {
        resolve_data: Box::new(|kind, data, options| match kind {
            "image/svg+xml" => nested(&data, options).map(ImageKind::SVG),
            _ => None,
        }),
        resolve_string: Box::new(|_, _| None),
    }
}

fn nested(data: &[u8], options: &Options<'_>) -> Option<Tree> {
    let text = door::open(data).ok()?;
    let xml = || ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    let doc = Document::parse_with_options(&text, xml()).ok()?;
    let survey = survey::survey(&doc).ok()?;
    let changed = survey.text(&doc);
    Tree::from_data_nested(changed.as_bytes(), options).ok()
}
