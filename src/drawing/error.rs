//! [`ReadError`]: why a drawing can't be read at all.
//!
//! Each is one plain sentence with what, where and what to do. Where a place in the text is known,
//! [`ReadError::place`] gives it; the sentence itself does not repeat it, so that a caller can put
//! `file:row:column` in front.

use crate::finding::Place;
use thiserror::Error;

use super::limits::{MAX_ATTRIBUTES, MAX_EXPANDED, MAX_NESTING, MAX_REFERENCES, MAX_TEXT_BYTES};

/// Why a drawing can't be read at all.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ReadError {
    /// Nothing in the file.
    #[error("the file is empty; save the drawing again as SVG")]
    Empty,
    /// Compressed data that does not unpack.
    #[error("the compressed drawing is damaged or cut short; save it again, or as plain SVG")]
    Gzip,
    /// Longer than [`MAX_TEXT_BYTES`], unpacked.
    #[error(
        "the drawing is larger than {} MB of text; split it or simplify its paths",
        MAX_TEXT_BYTES / (1024 * 1024)
    )]
    TooLarge,
    /// An encoding that is not read.
    #[error("the drawing is saved as {0}; save it as UTF-8")]
    Encoding(&'static str),
    /// Bytes that are no text in the encoding that the drawing names.
    #[error(
        "the drawing says that it is saved as {0}, but some of its bytes are no such text; save it as UTF-8"
    )]
    Undecodable(&'static str),
    /// A byte that is no UTF-8, where nothing else is named.
    #[error("the drawing's text is not UTF-8 (byte {byte}); save it as UTF-8")]
    NotUtf8 {
        /// Offset of the first wrong byte.
        byte: u64,
        /// Its row and column.
        place: Place,
    },
    /// Data that is no XML by its first characters.
    #[error("this is not an SVG drawing but {0}; export the drawing as SVG")]
    OtherFormat(&'static str),
    /// XML that breaks its rules.
    #[error("the drawing's XML is broken: {what}")]
    Xml {
        /// What is wrong.
        what: String,
        /// Where.
        place: Place,
    },
    /// XML, but another document.
    #[error("this is XML but not an SVG drawing: it begins with <{0}> instead of <svg>")]
    NotSvg(String, Place),
    /// Elements inside elements beyond [`MAX_NESTING`].
    #[error(
        "elements are nested more than {MAX_NESTING} deep here; ungroup what is grouped so \
         deeply"
    )]
    TooDeep(Place),
    /// Clones of clones (or markers in markers, ...) beyond [`MAX_REFERENCES`].
    #[error(
        "what is used here uses other parts more than {MAX_REFERENCES} deep; turn clones into \
         plain shapes"
    )]
    TooManyReferences(Place),
    /// More than [`MAX_EXPANDED`] elements once clones, markers and masks are written out.
    #[error(
        "the drawing grows beyond {MAX_EXPANDED} elements (or four million path points) when \
         its clones, markers, patterns and masks are written out; leave out what is not cut"
    )]
    TooManyElements(Place),
    /// More than [`MAX_ATTRIBUTES`] on one element.
    #[error(
        "an element has more than {MAX_ATTRIBUTES} attributes here; save the drawing again as \
         plain SVG"
    )]
    TooManyAttributes(Place),
    /// Too many style rules for too many elements.
    #[error(
        "{rules} style rules for {elements} elements are more than can be read; save the \
         drawing again as plain SVG, with styles as attributes"
    )]
    TooManyRules {
        /// Rules of all style sheets.
        rules: usize,
        /// Elements of the drawing.
        elements: usize,
    },
    /// Width or height of zero or less, or beyond all sense.
    #[error(
        "the page has no usable size: width and height of <svg> must be more than zero and \
         less than a kilometre, the sides of its viewBox at most ten million; set them, for example \
         width=\"100mm\" viewBox=\"0 0 100 100\""
    )]
    NoSize(Place),
    /// A part beyond the limits inside an entity, from where it can't be taken out.
    #[error(
        "an entity of the document type declaration holds a part beyond all limits \
         (coordinates or length of text); correct it, or save the drawing as plain SVG"
    )]
    Entity(Place),
    /// The reading thread could not be started, or gave up.
    #[error("the drawing could not be read: {0}")]
    Internal(String),
}

impl ReadError {
    /// Where in the text, if known.
    pub fn place(&self) -> Place {
        match self {
            Self::NotUtf8 { place, .. }
            | Self::Xml { place, .. }
            | Self::NotSvg(_, place)
            | Self::TooDeep(place)
            | Self::TooManyReferences(place)
            | Self::TooManyElements(place)
            | Self::TooManyAttributes(place)
            | Self::Entity(place)
            | Self::NoSize(place) => *place,
            _ => Place::default(),
        }
    }

    /// A stable name in kebab-case.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Empty => "drawing-empty",
            Self::Gzip => "drawing-damaged",
            Self::TooLarge => "drawing-too-large",
            Self::Encoding(_) | Self::Undecodable(_) | Self::NotUtf8 { .. } => "drawing-encoding",
            Self::OtherFormat(_) | Self::NotSvg(..) => "drawing-not-svg",
            Self::Xml { .. } => "drawing-xml",
            Self::TooDeep(_) | Self::TooManyReferences(_) => "drawing-too-deep",
            Self::TooManyElements(_) => "drawing-too-many-elements",
            Self::TooManyAttributes(_) | Self::TooManyRules { .. } => "drawing-too-many-styles",
            Self::NoSize(_) => "page-size",
            Self::Entity(_) => "drawing-entity",
            Self::Internal(_) => "drawing-unreadable",
        }
    }
}
