//! Pieces that are too small to weed.

use super::{Layout, Role};
use crate::finding::{Finding, Place};
use crate::geometry::Contour;
use crate::profile::Material;

/// How many places are named one by one.
const NAMED: usize = 5;

/// Tells pieces of `layout` that are smaller or thinner than `material` can be weeded.
///
/// A contour's thickness is taken as twice its area over its length: exact for long thin pieces.
pub fn small_pieces(layout: &Layout, material: &Material) -> Vec<Finding> {
    let outlines = || {
        let designs = layout.lines.iter().filter(|line| line.role == Role::Design);
        designs.map(|line| &line.contour).filter(|contour| contour.closed)
    };
    let least = material.smallest_piece_mm;
    let small: Vec<&Contour> =
        outlines().filter(|c| c.bounds().width().min(c.bounds().height()) < least).collect();
    let thin: Vec<&Contour> = outlines()
        .filter(|c| c.bounds().width().min(c.bounds().height()) >= least)
        .filter(|c| thickness(c) < material.smallest_stroke_mm)
        .collect();
    let mut findings = told(&small, "piece-small", |n| {
        format!("{n} smaller than {least} mm, which {} may not let you weed.", material.title)
    });
    findings.extend(told(&thin, "piece-thin", |n| {
        format!("{n} thinner than {} mm, which may tear when weeded.", material.smallest_stroke_mm)
    }));
    findings
}

fn thickness(contour: &Contour) -> f64 {
    2.0 * contour.signed_area().abs() / contour.length().max(1e-9)
}

fn told(
    contours: &[&Contour],
    code: &'static str,
    text: impl Fn(String) -> String,
) -> Vec<Finding> {
    let Some(first) = contours.first() else { return Vec::new() };
    let count = match contours.len() {
        1 => "One contour is".to_owned(),
        n => format!("{n} contours are"),
    };
    let places: Vec<String> = contours
        .iter()
        .take(NAMED)
        .map(|c| format!("{:.1}, {:.1}", c.bounds().center().x, c.bounds().center().y))
        .collect();
    let more = if contours.len() > NAMED { " ..." } else { "" };
    let finding = Finding::note(code, text(count)).at(Place::sheet(first.bounds().center())).hint(
        format!("They lie around {}{more} mm. Cut larger, or leave them out.", places.join("; ")),
    );
    vec![finding]
}
