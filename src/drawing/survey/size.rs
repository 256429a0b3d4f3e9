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
    /// The same of those that CSS takes for no length, though it is clear which is meant.
    pub(super) loose: Vec<(&'static str, String)>,
}

/// Reads the size from the root element.
pub(super) fn page_size(root: Node<'_, '_>) -> PageSize {
    let mut page = PageSize {
        given: SizeGiven::Units,
        unusable: false,
        edits: vec![],
        unreadable: vec![],
        loose: vec![],
    };
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
    sides_of_box(value)
        .is_some_and(|sides| sides.iter().any(|side| *side > 0.0 && !USABLE.contains(side)))
}

/// Width and height of a view box that can be read.
pub(super) fn sides_of_box(value: &str) -> Option<[f64; 2]> {
    let sides: Vec<f64> = svgtypes::NumberListParser::from(value).flatten().skip(2).collect();
    sides.try_into().ok()
}

/// Whether a length is zero, in whatever unit.
pub(super) fn is_zero(value: Option<&str>) -> bool {
    value.and_then(readable).is_some_and(|(length, _)| length.number == 0.0)
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
    let Some((length, rewritten)) = loosely_readable(trimmed).filter(|(l, _)| l.number.is_finite())
    else {
        page.unreadable.push((name, text.to_owned()));
        return None;
    };
    if has_faulty_number(trimmed) {
        page.loose.push((name, trimmed.to_owned()));
    }
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

/// A side that an outermost element has in its style.
pub(super) fn from_style<'a>(root: Node<'a, 'a>, name: &str) -> Option<&'a str> {
    let style = root.attribute("style")?;
    DeclarationTokenizer::from(style).filter(|d| d.name == name).map(|d| d.value).last()
}

/// What lengths relative to the page and to the root's font are relative to, px.
#[derive(Debug, Clone, Copy)]
pub(super) struct Relative {
    width: f64,
    height: f64,
    font: f64,
}

impl Relative {
    /// Of a root element with a font size of its own, if it has one.
    pub(super) fn new(root: Node<'_, '_>, font_size: Option<&str>) -> Self {
        let view_box: Vec<f64> =
            svgtypes::NumberListParser::from(root.attribute("viewBox").unwrap_or_default())
                .flatten()
                .collect();
        let side = |name: &str, index: usize| {
            let given = root.attribute(name).and_then(loosely_readable).and_then(|(l, _)| px(l));
            given.or(view_box.get(index).copied()).unwrap_or(100.0)
        };
        let font = font_size.and_then(readable).and_then(|(l, _)| px(l)).unwrap_or(MEDIUM_PX);
        Self { width: side("width", 2), height: side("height", 3), font }
    }

    /// The value in px of a length in a unit that the SVG library does not know (CSS Values 4).
    pub(super) fn px(&self, text: &str) -> Option<f64> {
        let text = text.trim();
        let unit = text.trim_start_matches(|c: char| !c.is_ascii_alphabetic() || c == 'e');
        let number: f64 = text.strip_suffix(unit)?.trim().parse().ok()?;
        let hundredth = match unit {
            "rem" => return Some(number * self.font),
            "vw" | "vi" => self.width,
            "vh" | "vb" => self.height,
            "vmin" => self.width.min(self.height),
            "vmax" => self.width.max(self.height),
            _ => return None,
        };
        Some(number * hundredth / 100.0)
    }
}

/// The font size `medium`, px: common practice of browsers, no source.
pub(in crate::drawing) const MEDIUM_PX: f64 = 16.0;

/// A length in pixels, unless it depends on something else.
pub(super) fn px(length: Length) -> Option<f64> {
    let factor = match length.unit {
        LengthUnit::None | LengthUnit::Px => 1.0,
        LengthUnit::In => 96.0,
        LengthUnit::Cm => 96.0 / 2.54,
        LengthUnit::Mm => 96.0 / 25.4,
        LengthUnit::Pt => 96.0 / 72.0,
        LengthUnit::Pc => 16.0,
        LengthUnit::Em | LengthUnit::Ex | LengthUnit::Percent => return None,
    };
    Some(length.number * factor)
}

/// The length, and a way to write it that the SVG library understands.
pub(super) fn readable(text: &str) -> Option<(Length, String)> {
    if has_faulty_number(text) { None } else { loosely_readable(text) }
}

/// The same where a blank parts number and unit, or a number ends with its point.
fn loosely_readable(text: &str) -> Option<(Length, String)> {
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

/// The share of one that a percentage is: a number, and the sign right behind it (CSS Values 4, 5.5).
pub(in crate::drawing) fn percentage(value: &str) -> Option<f64> {
    let number = value.strip_suffix('%').filter(|_| !has_faulty_number(value))?;
    number.parse::<f64>().ok().filter(|number| number.is_finite()).map(|percent| percent / 100.0)
}

/// Whether a blank parts a number from its unit, or no digit follows a number's point: neither is a number
/// (CSS Syntax 3, 4.3.3 and 4.3.12), though the SVG library reads both.
pub(in crate::drawing) fn has_faulty_number(value: &str) -> bool {
    let bytes = value.trim().as_bytes();
    let is_digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let faulty = |at: usize, byte: u8| match byte {
        b'.' => !is_digit(at + 1),
        _ if byte.is_ascii_whitespace() => {
            bytes.get(at + 1).is_some_and(|b| b.is_ascii_alphabetic() || *b == b'%')
        }
        _ => false,
    };
    bytes.iter().enumerate().any(|(at, byte)| faulty(at, *byte))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faulty_numbers_are_known() {
        for bad in ["40 px", "2.e1", "40.", "40.px", "5 %"] {
            assert!(has_faulty_number(bad), "{bad}");
        }
        for good in [" 40px ", "2.0e1", ".5", "40", "auto", "1e-3mm"] {
            assert!(!has_faulty_number(good), "{good}");
        }
    }
}
