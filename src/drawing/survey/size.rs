//! What the drawing says about the page's physical size.
//!
//! SVG lengths are CSS lengths: 96 px to the inch whatever the screen. A page whose width and
//! height carry units has a size; bare numbers and percentages only have one by that convention,
//! and the reader says so. The SVG library does not know the unit `Q` (a quarter millimetre), does
//! not take blanks round a value and reads no size from `style`: such values are rewritten.

use simplecss::DeclarationTokenizer;
use svgtypes::{Length, LengthUnit};
use usvg::roxmltree::Node;

use super::splice::Edit;

/// How the page's size is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::drawing) enum SizeGiven {
    /// With units, both sides or one side and the view box.
    Units,
    /// As bare numbers.
    Numbers,
    /// As a percentage, or relative to a font.
    Relative,
    /// Only by the view box.
    ViewBox,
    /// Not at all: what is drawn bounds the page.
    Nothing,
}

/// The finding of this file.
pub(super) struct PageSize {
    pub(super) given: SizeGiven,
    /// Whether a side is zero, or so small or large that nothing can be computed with it.
    pub(super) unusable: bool,
    pub(super) edits: Vec<Edit>,
    /// Attributes whose value is no length, with it.
    pub(super) unreadable: Vec<(&'static str, String)>,
}

/// Reads the size from the root element.
pub(super) fn page_size(root: Node<'_, '_>) -> PageSize {
    let mut page =
        PageSize { given: SizeGiven::Units, unusable: false, edits: vec![], unreadable: vec![] };
    let width = side(root, "width", &mut page);
    let height = side(root, "height", &mut page);
    let view_box = root.has_attribute("viewBox");
    page.unusable |= root.attribute("viewBox").is_some_and(is_unusable_box);
    page.given = match (width, height) {
        (Some(w), Some(h)) => weaker(w, h),
        (Some(one), None) | (None, Some(one)) if view_box => one,
        (Some(_), None) | (None, Some(_)) => SizeGiven::Relative,
        (None, None) if view_box => SizeGiven::ViewBox,
        (None, None) => SizeGiven::Nothing,
    };
    page
}

/// Numbers that a side may have, whatever its unit: a kilometre is 4e6 px.
pub(super) const USABLE: std::ops::RangeInclusive<f64> = 1e-6..=1e7;

/// Whether a view box has a side of no use. One that can't be read is left out, as SVG asks.
fn is_unusable_box(value: &str) -> bool {
    let sides: Vec<f64> = svgtypes::NumberListParser::from(value).flatten().skip(2).collect();
    sides.len() == 2 && sides.iter().any(|side| *side > 0.0 && !USABLE.contains(side))
}

fn weaker(a: SizeGiven, b: SizeGiven) -> SizeGiven {
    let rank = |s| [SizeGiven::Units, SizeGiven::Numbers].iter().position(|x| *x == s).unwrap_or(2);
    if rank(a) >= rank(b) { a } else { b }
}

fn side(root: Node<'_, '_>, name: &'static str, page: &mut PageSize) -> Option<SizeGiven> {
    let attribute = root.attribute_node(name);
    let (text, from_style) = match attribute {
        Some(a) => (a.value(), false),
        None => (from_style(root, name)?, true),
    };
    let trimmed = text.trim();
    if matches!(trimmed, "" | "auto" | "none") {
        return None;
    }
    let Some((length, rewritten)) = readable(trimmed).filter(|(l, _)| l.number.is_finite()) else {
        page.unreadable.push((name, text.to_owned()));
        return None;
    };
    page.unusable |= !USABLE.contains(&length.number);
    match attribute {
        Some(a) if rewritten != text => page.edits.push(Edit::replace(a.range_value(), rewritten)),
        None if from_style => page.edits.push(Edit::attribute(root, name, &rewritten)),
        _ => {}
    }
    Some(match length.unit {
        LengthUnit::None => SizeGiven::Numbers,
        LengthUnit::Percent | LengthUnit::Em | LengthUnit::Ex => SizeGiven::Relative,
        _ => SizeGiven::Units,
    })
}

fn from_style<'a>(root: Node<'a, 'a>, name: &str) -> Option<&'a str> {
    let style = root.attribute("style")?;
    DeclarationTokenizer::from(style).filter(|d| d.name == name).map(|d| d.value).last()
}

/// The length, and a way to write it that the SVG library understands.
pub(super) fn readable(text: &str) -> Option<(Length, String)> {
    let trimmed = text.trim();
    if let Ok(length) = trimmed.parse::<Length>() {
        return Some((length, trimmed.to_owned()));
    }
    let compact = trimmed.to_ascii_lowercase().split_whitespace().collect::<String>();
    if let Some(quarters) = compact.strip_suffix('q') {
        let mm = quarters.parse::<f64>().ok()? / 4.0;
        return Some((Length::new(mm, LengthUnit::Mm), format!("{mm}mm")));
    }
    let length = compact.parse::<Length>().ok()?;
    Some((length, compact))
}
