//! The last findings, once everything is known, and the order in which all are told.

use std::collections::HashSet;

use super::convert::Walk;
use super::lettering::Piece;
use super::limits::{MAX_FINDINGS_PER_CODE, MAX_NOTES_PER_CODE};
use super::survey::{Element, SizeGiven, quoted};
use super::{Drawing, Shape};
use crate::finding::{Finding, Place, Severity, counted};

/// Adds what only the whole reading shows.
pub(super) fn add(findings: &mut Vec<Finding>, walk: &mut Walk<'_>, borrowed: &[(char, String)]) {
    walk.drawing.page_known = walk.survey.size == Some(SizeGiven::Units);
    findings.extend(page_size(walk));
    findings.extend(vanished(walk, findings));
    findings.extend(borrowed_glyphs(borrowed, &walk.pieces));
    findings.extend(unseen(walk));
    findings.extend(without_area(&walk.drawing));
    findings.extend(coarse(&walk.drawing));
}

fn page_size(walk: &Walk<'_>) -> Option<Finding> {
    let (width, height) = walk.drawing.page_mm;
    let why = match walk.survey.size? {
        SizeGiven::Units => return None,
        SizeGiven::Numbers => "the page's width and height have no unit",
        SizeGiven::Relative => "the page's width and height are relative",
        SizeGiven::ViewBox => "the page has a view box but no width and height",
        SizeGiven::Nothing => "the page has no width and height",
    };
    let text = format!("{why}; 96 px are taken as an inch, so it is {width:.2} x {height:.2} mm.");
    let hint = "Set width and height with units in the drawing, or give the size of the cut.";
    Some(Finding::note("page-size-assumed", text).hint(hint).at(walk.survey.root))
}

/// Elements that should be in the tree and are not, the outermost only.
fn vanished(walk: &Walk<'_>, told: &[Finding]) -> Vec<Finding> {
    let elements = &walk.survey.elements;
    let lost = |i: usize| {
        let e = &elements[i];
        e.expected && !e.explained && !walk.seen[i] && reappears(e)
    };
    let places: HashSet<_> = told.iter().map(|f| (f.place.row, f.place.column)).collect();
    let told = |place: &Place| places.contains(&(place.row, place.column));
    (0..elements.len())
        .filter(|i| lost(*i) && !elements[*i].parent.is_some_and(lost))
        .filter(|i| !told(&elements[*i].place))
        .map(|i| vanished_finding(&elements[i]))
        .collect()
}

/// Whether the SVG library keeps the id of such an element.
fn reappears(element: &Element<'_>) -> bool {
    !matches!(element.tag, "svg" | "switch" | "image" | "use")
}

fn vanished_finding(element: &Element<'_>) -> Finding {
    let name = match element.id {
        Some(id) => format!("<{}> {}", element.tag, quoted(id)),
        None => format!("<{}>", element.tag),
    };
    if element.tag == "text" {
        let text = format!("the text of {name} could not be set; it is not cut.");
        return Finding::warning("text-vanished", text)
            .hint("Convert it to paths in the drawing program.")
            .at(element.place);
    }
    let text = format!(
        "{name} is not drawn: its size, transform, clip path or mask leaves nothing of it."
    );
    Finding::warning("not-drawn", text).at(element.place)
}

/// Characters that the font asked for does not have, text by text. The SVG library sets all of a text in the
/// other font if that has all of it.
fn borrowed_glyphs(borrowed: &[(char, String)], pieces: &[Piece]) -> Vec<Finding> {
    let borrowed: HashSet<(char, &str)> = borrowed.iter().map(|(c, f)| (*c, f.as_str())).collect();
    let finding = |piece: &Piece| {
        let lent = |c: char| borrowed.contains(&(c, piece.font.as_str()));
        let mut lacking: Vec<char> = piece.text.chars().filter(|c| lent(*c)).collect();
        lacking.sort_unstable();
        lacking.dedup();
        if lacking.is_empty() {
            return None;
        }
        let whole = piece.text.chars().any(|c| !c.is_whitespace() && !lent(c));
        let lacking = quoted(&lacking.iter().take(20).collect::<String>());
        let font = quoted(&piece.font);
        let text = if whole {
            let all = quoted(&piece.text.trim().chars().take(40).collect::<String>());
            format!("the font asked for lacks {lacking}, so all of {all} is set in {font}.")
        } else {
            format!("the font asked for lacks {lacking}, taken from {font} instead.")
        };
        let hint = "Choose a font that has all of it, or convert the text to paths.";
        Some(Finding::warning("glyph-substituted", text).hint(hint).at(piece.place))
    };
    pieces.iter().filter_map(finding).collect()
}

fn unseen(walk: &Walk<'_>) -> Vec<Finding> {
    let kinds = [
        (&walk.unseen.transparent, "transparent", "fully transparent"),
        (&walk.unseen.hidden, "invisible", "invisible (visibility)"),
        (&walk.unseen.unpainted, "nothing-painted", "without fill and line"),
    ];
    kinds
        .into_iter()
        .filter_map(|(places, code, what)| {
            let first = *places.first()?;
            let text = match places.len() {
                1 => format!("one shape is {what}; it is not cut."),
                n => format!("{n} shapes are {what}; they are not cut."),
            };
            Some(Finding::note(code, text).at(first))
        })
        .collect()
}

/// Filled lines: nothing is inside them, and they have no stroke.
fn without_area(drawing: &Drawing) -> Option<Finding> {
    let flat: Vec<&Shape> = drawing.shapes.iter().filter(|s| is_flat(s)).collect();
    let first = flat.first()?;
    let one = "one shape is a line without a stroke: it has no area and is not cut.";
    let many = "shapes are lines without a stroke: they have no area and are not cut.";
    let text = counted(flat.len(), one, many);
    let hint = "With a stroke it becomes an area; --trace lines cuts along the drawn line itself.";
    Some(Finding::warning("no-area", text).hint(hint).at(first.place))
}

fn is_flat(shape: &Shape) -> bool {
    if shape.stroke.is_some() || shape.fill.is_none() {
        return false;
    }
    let points: Vec<kurbo::Point> = shape
        .path
        .elements()
        .iter()
        .flat_map(|e| match *e {
            kurbo::PathEl::MoveTo(p) | kurbo::PathEl::LineTo(p) => vec![p],
            kurbo::PathEl::QuadTo(a, p) => vec![a, p],
            kurbo::PathEl::CurveTo(a, b, p) => vec![a, b, p],
            kurbo::PathEl::ClosePath => vec![],
        })
        .take(64)
        .collect();
    let Some(first) = points.first() else { return true };
    let far = points
        .iter()
        .max_by(|a, b| a.distance_squared(*first).total_cmp(&b.distance_squared(*first)));
    let Some(axis) = far.map(|p| *p - *first) else { return true };
    points.len() < 64
        && points.iter().all(|p| axis.cross(*p - *first).abs() <= 1e-9 * axis.hypot2())
}

/// Largest rounding error that goes without saying, mm.
const FINE_MM: f64 = 0.005;

/// The SVG library keeps coordinates in 24 bits: far from the origin they get coarse.
fn coarse(drawing: &Drawing) -> Option<Finding> {
    let error = |s: &Shape| {
        let b = s.path.control_box();
        let largest = [b.x0, b.y0, b.x1, b.y1].into_iter().fold(0.0, |m: f64, c| m.max(c.abs()));
        largest * 6e-8 * super::round::largest_scale(&s.to_page)
    };
    let (worst, shape) = drawing
        .shapes
        .iter()
        .map(|s| (error(s), s))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|(worst, _)| *worst > FINE_MM)?;
    let text = format!(
        "the drawing lies so far from its origin that coordinates are rounded by up to {worst:.3} mm."
    );
    let hint = "Move it close to 0,0 in the drawing program (transforms included).";
    Some(Finding::warning("far-from-origin", text).hint(hint).at(shape.place))
}

/// How many findings of a kind are told singly.
fn most_of(severity: Severity) -> usize {
    if severity == Severity::Note { MAX_NOTES_PER_CODE } else { MAX_FINDINGS_PER_CODE }
}

/// Errors first, then by place; a code that floods the list is counted after some.
pub(super) fn settle(mut findings: Vec<Finding>) -> Vec<Finding> {
    findings.sort_by(|a, b| {
        let key = |f: &Finding| {
            (std::cmp::Reverse(f.severity), f.place.row.unwrap_or(0), f.place.column.unwrap_or(0))
        };
        key(a).cmp(&key(b)).then(a.code.cmp(b.code))
    });
    findings.dedup();
    let mut counts: std::collections::HashMap<(Severity, &str), usize> = Default::default();
    let mut more: Vec<(Severity, &'static str)> = Vec::new();
    findings.retain(|f| {
        let count = counts.entry((f.severity, f.code)).or_insert(0);
        *count += 1;
        let most = most_of(f.severity);
        if *count == most + 1 {
            more.push((f.severity, f.code));
        }
        *count <= most
    });
    for (severity, code) in more {
        let rest = counts.get(&(severity, code)).copied().unwrap_or(0) - most_of(severity);
        findings.push(Finding::new(
            severity,
            code,
            format!("and {rest} more of this kind ({code})."),
        ));
    }
    findings
}
