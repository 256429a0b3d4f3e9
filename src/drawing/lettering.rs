//! Set texts → [`Lettering`]: how high their letters are; and what their fonts cannot do as asked.
//!
//! The height of capitals and of small letters is the font's own (OpenType, table OS/2: sCapHeight,
//! sxHeight; where a font does not tell, the tops of its H and its x), in the size and under the
//! transforms of the text. A font without the weight, the slant or the small capitals that a text asks
//! for is set as it is, where viewers thicken, slant or shrink it: that is told.

use kurbo::Affine;
use skrifa::instance::{LocationRef, Size};
use skrifa::raw::TableProvider;
use skrifa::{FontRef, MetadataProvider, Tag};
use usvg::fontdb::{Database, FaceInfo, ID, Style};

use super::Paint;
use super::convert::affine;
use super::survey::quoted;
use crate::finding::{Finding, Place};

/// How high the letters of a text are.
#[derive(Debug, Clone, PartialEq)]
pub struct Lettering {
    /// How the text begins.
    pub text: String,
    /// Where its element begins in the drawing's text.
    pub place: Place,
    /// Index into [`super::Drawing::layers`].
    pub layer: usize,
    /// Its colour.
    pub rgb: [u8; 3],
    /// Height of its lowest capitals or digits, mm; `None` without any.
    pub capitals_mm: Option<f64>,
    /// Height of its lowest small letters, without ascenders, mm; `None` without any.
    pub small_mm: Option<f64>,
}

impl Lettering {
    /// The letters of `text`, which is mapped to the page by `to_page` and painted with `paint`.
    pub(super) fn of(
        text: &usvg::Text,
        (place, layer): (Place, usize),
        (to_page, paint): (Affine, Paint),
        fonts: &Database,
    ) -> Option<Self> {
        let mut letters = Self {
            text: beginning(text),
            place,
            layer,
            rgb: paint.rgb,
            capitals_mm: None,
            small_mm: None,
        };
        let mut known: Vec<(ID, [f64; 2])> = Vec::new();
        let shown = text.layouted().iter().filter(|span| span.visible);
        for glyph in shown.flat_map(|span| &span.positioned_glyphs) {
            let Some(first) = glyph.text.chars().find(|c| c.is_alphanumeric()) else { continue };
            if !known.iter().any(|(id, _)| *id == glyph.font) {
                known.push((glyph.font, heights(fonts, glyph.font).unwrap_or_default()));
            }
            let heights =
                known.iter().find(|(id, _)| *id == glyph.font).map(|(_, heights)| *heights);
            let [capital, small] = heights.unwrap_or_default();
            let map = to_page * affine(glyph.transform());
            let (lowest, height) = if first.is_lowercase() {
                (&mut letters.small_mm, small * rise(map))
            } else {
                (&mut letters.capitals_mm, capital * rise(map))
            };
            if height > 0.0 && lowest.is_none_or(|known| height < known) {
                *lowest = Some(height);
            }
        }
        (letters.capitals_mm.is_some() || letters.small_mm.is_some()).then_some(letters)
    }

    /// The same, `factor` times as large.
    pub(super) fn enlarge(&mut self, factor: f64) {
        for height in [&mut self.capitals_mm, &mut self.small_mm].into_iter().flatten() {
            *height *= factor;
        }
    }
}

/// What of a text is set in one font.
#[derive(Debug)]
pub(super) struct Piece {
    pub(super) place: Place,
    /// The font's family.
    pub(super) font: String,
    pub(super) text: String,
}

/// A text, parted by the fonts that it is set in.
pub(super) fn pieces(text: &usvg::Text, place: Place, fonts: &Database) -> Vec<Piece> {
    let mut pieces: Vec<(ID, String)> = Vec::new();
    for glyph in text.layouted().iter().flat_map(|span| &span.positioned_glyphs) {
        match pieces.iter_mut().find(|(id, _)| *id == glyph.font) {
            Some((_, text)) => text.push_str(&glyph.text),
            None => pieces.push((glyph.font, glyph.text.clone())),
        }
    }
    let family = |id| fonts.face(id).and_then(|f| f.families.first()).map(|f| f.0.clone());
    let named = pieces.into_iter().filter_map(|(id, text)| Some((family(id)?, text)));
    named.map(|(font, text)| Piece { place, font, text }).collect()
}

fn beginning(text: &usvg::Text) -> String {
    let whole: String =
        text.chunks().iter().map(|chunk| chunk.text()).collect::<Vec<_>>().join(" ");
    let words: Vec<&str> = whole.split_whitespace().collect();
    words.join(" ").chars().take(40).collect()
}

/// How far apart two lines of text one unit apart come to lie.
fn rise(map: Affine) -> f64 {
    let [a, b, ..] = map.as_coeffs();
    let along = a.hypot(b);
    if along > 0.0 { map.determinant().abs() / along } else { 0.0 }
}

/// Heights of a font's capitals and small letters in its own units.
fn heights(fonts: &Database, id: ID) -> Option<[f64; 2]> {
    with_font(fonts, id, |font| {
        let (size, location) = (Size::unscaled(), LocationRef::default());
        let metrics = font.metrics(size, location);
        let top = |c: char| {
            let glyph = font.charmap().map(c)?;
            font.glyph_metrics(size, location).bounds(glyph).map(|bounds| bounds.y_max)
        };
        let height = |told: Option<f32>, c: char| {
            told.filter(|height| *height > 0.0).or_else(|| top(c)).map_or(0.0, f64::from)
        };
        Some([height(metrics.cap_height, 'H'), height(metrics.x_height, 'x')])
    })
}

fn with_font<T>(fonts: &Database, id: ID, ask: impl Fn(&FontRef) -> Option<T>) -> Option<T> {
    fonts.with_face_data(id, |data, index| ask(&FontRef::from_index(data, index).ok()?))?
}

/// From this weight on a text is meant to be bold (CSS Fonts 3, 5.2: above 500 bolder ones first).
const BOLD: u16 = 600;

/// What the fonts of `text` do not have, though it is asked for.
pub(super) fn lacking(text: &usvg::Text, fonts: &Database) -> Option<Finding> {
    let spans = || text.chunks().iter().flat_map(|chunk| chunk.spans());
    let mut used: Vec<ID> = text
        .layouted()
        .iter()
        .flat_map(|span| &span.positioned_glyphs)
        .map(|glyph| glyph.font)
        .collect();
    used.sort_unstable();
    used.dedup();
    let has = |test: &dyn Fn(&FaceInfo) -> bool| {
        used.is_empty() || used.iter().filter_map(|id| fonts.face(*id)).any(test)
    };
    let axis = |face: &FaceInfo, tag: &[u8; 4]| has_axis(fonts, face.id, tag);
    let bold = |face: &FaceInfo| face.weight.0 >= BOLD || axis(face, b"wght");
    let slanted =
        |face: &FaceInfo| face.style != Style::Normal || axis(face, b"slnt") || axis(face, b"ital");
    let mut lacks = Vec::new();
    if spans().any(|span| span.font().weight() >= BOLD) && !has(&bold) {
        lacks.push("bold");
    }
    if spans().any(|span| span.font().style() != usvg::FontStyle::Normal) && !has(&slanted) {
        lacks.push("slanted");
    }
    if spans().any(|span| span.small_caps()) && !has(&|face| has_small_capitals(fonts, face.id)) {
        lacks.push("small-capital");
    }
    if lacks.is_empty() {
        return None;
    }
    let sentence = format!(
        "the text {} asks for {} letters, which its font does not have; it is cut in the font as it is, \
         where viewers make up a likeness.",
        quoted(&beginning(text)),
        lacks.join(" and ")
    );
    let hint = "Install that face of the font, choose another font, or convert the text to paths.";
    Some(Finding::warning("font-face-missing", sentence).hint(hint))
}

fn has_axis(fonts: &Database, id: ID, tag: &[u8; 4]) -> bool {
    let found = with_font(fonts, id, |font| {
        Some(font.axes().iter().any(|axis| axis.tag() == Tag::new(tag)))
    });
    found.unwrap_or(false)
}

/// Whether a font can set small capitals (OpenType feature `smcp`).
fn has_small_capitals(fonts: &Database, id: ID) -> bool {
    let found = with_font(fonts, id, |font| {
        let list = font.gsub().ok()?.feature_list().ok()?;
        Some(list.feature_records().iter().any(|record| record.feature_tag() == Tag::new(b"smcp")))
    });
    found.unwrap_or(false)
}
