//! SVG pictures in the drawing: fitted into their frames as viewers do.
//!
//! The SVG library takes every picture as one of its own size. By SVG 2 (12.2) and CSS Images (default sizing),
//! as browsers follow them: the frame of an `image` is the viewport that bounds the picture; a view box is fitted
//! into it as the `image` asks; a picture without one, or one that asks for no proportions itself, fills the frame
//! each way; a side that the picture does not give is the frame's.
//!
//! So the picture is written anew with the frame's size as its own, and the `image` asks for nothing.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use usvg::roxmltree::{Document, Node, ParsingOptions};

use super::links::href_attribute;
use super::losses::{called, tally};
use super::size::{from_style, px, readable};
use super::splice::{Edit, Edits};
use super::viewports::{Sides, Viewports, share, view_box};
use super::visit::Visitor;
use crate::drawing::door;
use crate::finding::Finding;

const FIT: &str = "preserveAspectRatio";
const BYTE_ORDER_MARK: char = '\u{feff}';

/// How a picture fills its frame.
struct Fitted {
    frame: Sides,
    /// Corner, width and height.
    view_box: String,
    fit: String,
}

/// Fits a picture into its frame; told if that can't be done.
pub(super) fn check<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, around: Viewports) {
    let Some(link) = href_attribute(node) else { return };
    let Some(data) = decoded(link.value()) else { return };
    let Ok(text) = door::open(&data) else { return };
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    let Ok(doc) = Document::parse_with_options(&text, options) else { return };
    let picture = doc.root_element();
    match fitted(node, picture, around) {
        Some(fitted) => {
            told_fit(v, node, picture);
            let text = written(picture, &fitted);
            let data = STANDARD.encode(format!("{BYTE_ORDER_MARK}{text}"));
            let link = link.range_value();
            v.edits.push(Edit::replace(link, format!("data:image/svg+xml;base64,{data}")));
            let [width, height] = fitted.frame.map(|side| side.to_string());
            for (name, value) in [("width", &*width), ("height", &*height), (FIT, "none")] {
                v.edits.push(Edit::given(node, name, value));
            }
        }
        None if !is_as_it_is(node, picture) => {
            let text = format!(
                "the size of {} hangs on what is around it, which is not followed; viewers may show it in \
                 another size, or trim it to its frame.",
                called(node)
            );
            let hint = "Give the image a width and a height, and the picture in it a viewBox.";
            v.tell(node, Finding::warning("image-size", text).hint(hint));
        }
        None => {}
    }
}

fn decoded(link: &str) -> Option<Vec<u8>> {
    Some(data_url::DataUrl::process(link.trim()).ok()?.decode_to_vec().ok()?.0)
}

/// The `image` has the say where the picture has a view box; browsers ask the picture itself (seen in one), but for
/// `none`.
fn told_fit<'a>(v: &mut Visitor<'a>, node: Node<'a, 'a>, picture: Node<'_, '_>) {
    let [wanted, own] = [node, picture].map(|node| {
        let mut words = node.attribute(FIT).unwrap_or_default().split_whitespace();
        let align = words.next().unwrap_or("xMidYMid").to_owned();
        (align, words.next() == Some("slice"))
    });
    let is_none = [&wanted, &own].iter().any(|(align, _)| align == "none");
    if view_box(picture).is_some() && !is_none && wanted != own {
        let text = format!(
            "{} and the picture in it ask for different places in the frame; the first is followed, viewers may \
             follow the second",
            called(node)
        );
        let hint = "Give both the same preserveAspectRatio.";
        tally(v, node, FIT, Finding::warning("image-fit", text).hint(hint));
    }
}

/// How the picture is shown; none if it is left to the SVG library.
fn fitted(node: Node<'_, '_>, picture: Node<'_, '_>, around: Viewports) -> Option<Fitted> {
    if is_styled(picture) {
        return None;
    }
    let [width, height] =
        [("width", 0), ("height", 1)].map(|(name, i)| side(node.attribute(name), around.side(i)));
    let natural = natural(picture);
    let view = view_box(picture);
    let ratio = match (natural, view) {
        ([Some(w), Some(h)], _) | (_, Some([w, h])) => Some(w / h),
        _ => None,
    };
    let frame = match (width, height) {
        (Some(width), Some(height)) => [width, height],
        (Some(width), None) if is_auto(node, "height") => [width, width / ratio?],
        (None, Some(height)) if is_auto(node, "width") => [height * ratio?, height],
        _ => return None,
    };
    let own = picture.attribute(FIT).unwrap_or_default();
    let fills = own.split_whitespace().any(|word| word == "none");
    let (view_box, fit) = match view {
        None => {
            let [width, height] =
                [0, 1].map(|i| natural[i].or_else(|| shown(picture, i, frame[i])));
            (format!("0 0 {} {}", width?, height?), "none")
        }
        Some(_) if fills => (plain(picture.attribute("viewBox")?), "none"),
        Some([w, h]) => {
            if natural.iter().all(Option::is_some) && (ratio? * h / w - 1.0).abs() > 1e-3 {
                return None;
            }
            let fit = node.attribute(FIT).unwrap_or_default();
            (plain(picture.attribute("viewBox")?), fit)
        }
    };
    Some(Fitted { frame, view_box, fit: plain(fit) })
}

/// A value without what would need escapes in an attribute.
fn plain(value: &str) -> String {
    value.replace(['"', '\'', '<', '&'], " ")
}

fn is_auto(node: Node<'_, '_>, name: &str) -> bool {
    matches!(node.attribute(name).map(str::trim), None | Some("auto" | ""))
}

/// A length above zero.
fn side(given: Option<&str>, around: Option<f64>) -> Option<f64> {
    let given = given?.trim();
    let length = share(given, around).or_else(|| px(readable(given)?.0));
    length.filter(|length| *length > 0.0)
}

/// The sides that a picture gives itself.
fn natural(picture: Node<'_, '_>) -> [Option<f64>; 2] {
    ["width", "height"].map(|name| side(picture.attribute(name), None))
}

/// The side of a picture without view box that it does not give itself, in a frame.
fn shown(picture: Node<'_, '_>, i: usize, frame: f64) -> Option<f64> {
    match picture.attribute(["width", "height"][i]).map(str::trim) {
        None | Some("auto" | "" | "100%") => Some(frame),
        given => side(given, None),
    }
}

/// Whether the SVG library shows a picture as viewers do, which it does in its own size.
fn is_as_it_is(node: Node<'_, '_>, picture: Node<'_, '_>) -> bool {
    let slice = node.attribute(FIT).is_some_and(|fit| fit.contains("slice"));
    let own_size = ["width", "height"].iter().all(|name| is_auto(node, name));
    let natural = natural(picture).iter().all(Option::is_some);
    let has_box = view_box(picture).is_some();
    !is_styled(picture) && (own_size && (natural || has_box) || !slice && natural && has_box)
}

fn is_styled(picture: Node<'_, '_>) -> bool {
    ["width", "height"].iter().any(|name| from_style(picture, name).is_some())
}

/// The picture's text with the frame's size.
fn written(picture: Node<'_, '_>, fitted: &Fitted) -> String {
    let [width, height] = fitted.frame.map(|side| side.to_string());
    let given: [(&str, &str); 4] =
        [("width", &width), ("height", &height), ("viewBox", &fitted.view_box), (FIT, &fitted.fit)];
    let edits = given.into_iter().filter(|(_, value)| !value.is_empty());
    let edits = edits.map(|(name, value)| Edit::given(picture, name, value)).collect();
    Edits::new(edits, picture.range().start).all_made(picture.document().input_text()).into_owned()
}
