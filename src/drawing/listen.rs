//! What the SVG library says through the `log` crate while it reads, thread by thread.
//!
//! Most of it is found beforehand by the survey, with row and column; the rest is turned into
//! findings here. A listener can only be put in once per program. If the program has a logger of
//! its own, it stays, nothing is taken away from it, and the survey alone speaks.
//!
//! Invariant: only records of the thread that is reading are kept, so drawings may be read side by
//! side.

use std::cell::RefCell;
use std::collections::HashSet;
use std::sync::Once;

use log::{Level, LevelFilter, Log, Metadata, Record};
use simplecss::DeclarationTokenizer;
use usvg::roxmltree::{Document, Node};

use super::limits::MAX_FINDINGS_PER_CODE;
use super::lines::LineTable;
use super::respell::hint;
use super::survey::quoted;
use crate::finding::{Finding, Place};

thread_local! {
    static HEARD: RefCell<Option<Vec<String>>> = const { RefCell::new(None) };
}

struct Listener;

static LISTENER: Listener = Listener;

impl Log for Listener {
    fn enabled(&self, metadata: &Metadata<'_>) -> bool {
        metadata.level() <= Level::Warn && metadata.target().starts_with("usvg")
    }

    fn log(&self, record: &Record<'_>) {
        if self.enabled(record.metadata()) {
            hear(record.args().to_string());
        }
    }

    fn flush(&self) {}
}

/// Most messages that one reading keeps.
const MAX_HEARD: usize = 1000;

fn hear(message: String) {
    HEARD.with(|heard| {
        if let Ok(mut heard) = heard.try_borrow_mut()
            && let Some(list) = heard.as_mut()
            && list.len() < MAX_HEARD
        {
            list.push(message);
        }
    });
}

/// Runs `read` and returns what the library said meanwhile.
pub(super) fn while_reading<T>(read: impl FnOnce() -> T) -> (T, Vec<String>) {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        if log::set_logger(&LISTENER).is_ok() && log::max_level() < LevelFilter::Warn {
            log::set_max_level(LevelFilter::Warn);
        }
    });
    HEARD.with(|heard| *heard.borrow_mut() = Some(Vec::new()));
    let result = read();
    let heard = HEARD.with(|heard| heard.borrow_mut().take()).unwrap_or_default();
    (result, heard)
}

/// Findings for what the survey has not told. The sentences are our own. The places of as many are looked
/// up as are told singly: each look goes through the whole document.
pub(super) fn findings(heard: &[String], doc: &Document<'_>) -> Vec<Finding> {
    let mut known = HashSet::new();
    let once = heard.iter().filter(|message| known.insert(message.as_str()));
    let told = once.filter_map(|message| finding(message));
    let placed = told.enumerate().filter_map(|(number, (finding, value))| match value {
        // The survey tells attributes.
        Some((WIDTH, value)) => Some(finding.at(first_style_with(doc, WIDTH, value)?)),
        Some((name, value)) if number < MAX_FINDINGS_PER_CODE => {
            Some(finding.at(first_with(doc, name, value)))
        }
        _ => Some(finding),
    });
    placed.collect()
}

/// How a message begins, and what to say for it.
const SENTENCES: [(&str, &str, &str); 8] = [
    ("Recursive 'use'", "clone-of-itself", "a clone contains itself; it is left out."),
    ("Recursive marker", "marker-of-itself", "a marker contains itself; it is left out."),
    ("Element '#", "link-to-itself", "an element refers to itself; the reference is left out."),
    (
        "Clipping of zero-sized",
        "clip-without-size",
        "a clip path in proportion to its shape meets a shape without width or height; the shape \
         is not drawn.",
    ),
    (
        "Masking of zero-sized",
        "mask-without-size",
        "a mask in proportion to its shape meets a shape without width or height; the shape is \
         not drawn.",
    ),
    ("Mask '", "mask-without-size", "a mask has no width or height; what it covers is not drawn."),
    (
        "Failed to load nested SVG",
        "image-unreadable",
        "an SVG picture inside the drawing can't be read; it is not cut.",
    ),
    ("Image ", "image-unreadable", "a picture has no size or can't be read; it is not cut."),
];

/// Properties of which the survey tells with their place, or that mean nothing to a knife.
const TOLD: [&str; 22] = [
    "clip-path",
    "mask",
    "filter",
    "marker-start",
    "marker-mid",
    "marker-end",
    "x",
    "y",
    "width",
    "height",
    "rx",
    "ry",
    "cx",
    "cy",
    "r",
    "x1",
    "y1",
    "x2",
    "y2",
    "color",
    "font-family",
    "href",
];

/// The one property of which the survey reads attributes, and styles say it too.
const WIDTH: &str = "stroke-width";

/// The finding, and the name and the value that it is about.
type Heard<'a> = (Finding, Option<(&'a str, &'a str)>);

fn finding(message: &str) -> Option<Heard<'_>> {
    if let Some(rest) = message.strip_prefix("Failed to parse ") {
        return unreadable(rest);
    }
    let (_, code, text) = SENTENCES.iter().find(|(start, _, _)| message.starts_with(start))?;
    Some((Finding::warning(code, *text), None))
}

/// A value that the library could not read: `NAME value: 'VALUE'...`.
fn unreadable(rest: &str) -> Option<Heard<'_>> {
    let (name, value) = rest.split_once(" value: ")?;
    let value = value.split('\'').nth(1)?;
    if TOLD.contains(&name) || (name == "stroke-linejoin" && value == "arcs") {
        return None;
    }
    if name == "transform" && value.trim() == "none" {
        return None;
    }
    let then = match name {
        "fill" => "black is taken",
        "stroke" => "the line is not painted",
        _ => "it is taken as not given",
    };
    let shown: String = value.chars().take(40).collect();
    let text = format!("{name} {} can't be read; {then}.", quoted(&shown));
    let mut finding = Finding::warning("value-unreadable", text);
    if let "fill" | "stroke" | "transform" = name {
        finding = finding.hint(hint(name));
    }
    Some((finding, Some((name, value))))
}

/// Where the first element begins that says so; a style sheet says it for others.
fn first_with(doc: &Document<'_>, name: &str, value: &str) -> Place {
    let says = |node: &Node<'_, '_>| {
        let mut own = node.attributes().filter(|a| a.name() == name);
        own.any(|a| a.value().trim() == value.trim()) || style_says(node, name, value)
    };
    first(doc, says).unwrap_or_default()
}

/// The same of styles alone.
fn first_style_with(doc: &Document<'_>, name: &str, value: &str) -> Option<Place> {
    first(doc, |node| style_says(node, name, value))
}

fn first(doc: &Document<'_>, says: impl Fn(&Node<'_, '_>) -> bool) -> Option<Place> {
    let node = doc.descendants().filter(Node::is_element).find(says)?;
    Some(LineTable::new(doc.input_text()).place(node.range().start))
}

fn style_says(node: &Node<'_, '_>, name: &str, value: &str) -> bool {
    let style = node.attribute("style").unwrap_or_default();
    DeclarationTokenizer::from(style).any(|d| d.name == name && d.value == value)
        || node.tag_name().name() == "style" && node.text().is_some_and(|t| t.contains(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_thread_hears_itself_only() {
        let ((), heard) = while_reading(|| {
            hear("one".into());
            std::thread::spawn(|| hear("two".into())).join().unwrap();
        });
        assert_eq!(heard, ["one"]);
        hear("nobody".into());
    }
}
