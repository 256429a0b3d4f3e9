//! Where pieces are thin: strips that tear and points that lift when a film is weeded.
//!
//! Input: the lines of a design, outer contours counter-clockwise and holes clockwise, so that the
//! material lies to the left of every edge. Output: [`ThinPlace`]s, each once, in the order of the
//! lines.
//!
//! Method: the width is that of the medial axis (H. Blum, "A transformation for extracting new
//! descriptors of shape", 1967): at points along every contour the disc that touches the contour there
//! and the wall that faces it (`disc.rs`), in closed form, no raster. Walls count as facing when they are within
//! 60° of parallel, so no square corner is thin. Touching points that neighbour each
//! other, along a contour or across the strip, are one place; its width is the least found,
//! narrowed down between the points. Sharp inner corners between the points are looked at for
//! themselves, so that no neck slips through.

mod disc;
mod place;

use crate::contour_tree;
use crate::finding::{Finding, Place, counted};
use crate::geometry::{Contour, LineRef, Point};
use crate::profile::Material;

use super::{CutLine, Role};

/// A strip that is drawn just as wide as it has to be counts as wide enough: outlines follow
/// their curves within 0.01 mm, and are simplified by half a plotter unit, on either side, mm.
const SLACK_MM: f64 = 0.05;
/// How many places are named one by one.
const NAMED: usize = 5;

/// A place where a piece is thin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThinPlace {
    /// Where it is thinnest, in the middle of the material, mm.
    pub at: Point,
    /// Least width there, mm; of a point the width where it was last measured.
    pub width_mm: f64,
    /// For how far it is thinner than was asked for, about, mm.
    pub length_mm: f64,
    /// It tapers to nothing instead of going on.
    pub pointed: bool,
}

/// Where the pieces bounded by `lines` are thinner than `below_mm`: strips at least as long as
/// that, necks of any length, and points more than twice as long.
///
/// Lines that are open or have no area are passed over.
pub fn thin_places<'a>(lines: impl Iterator<Item = &'a Contour>, below_mm: f64) -> Vec<ThinPlace> {
    let usable = |line: &&Contour| line.closed && line.points.len() > 2;
    let contours: Vec<&Contour> = lines.filter(usable).collect();
    place::places(&disc::Walls::new(&contours, below_mm))
}

/// Tells where pieces bounded by `lines` are thinner than `material` can be weeded.
pub fn thin_pieces<'a>(
    lines: impl Iterator<Item = &'a CutLine>,
    material: &Material,
) -> Vec<Finding> {
    let least = material.smallest_stroke_mm;
    if least <= SLACK_MM {
        return Vec::new();
    }
    let designs = lines.filter(|line| line.role == Role::Design);
    let outlines = of_large(designs.map(|line| &line.contour), material);
    let found = thin_places(outlines.into_iter(), least - SLACK_MM);
    let (points, strips): (Vec<ThinPlace>, Vec<ThinPlace>) =
        found.into_iter().partition(|place| place.pointed);
    told_strips(strips, least).into_iter().chain(told_points(points, least)).collect()
}

/// The outlines of pieces that are large enough to be weeded: small ones, which are told as such, go
/// together with their holes, since nothing but a hole's own piece lies around it.
fn of_large<'a>(
    outlines: impl Iterator<Item = &'a Contour>,
    material: &Material,
) -> Vec<&'a Contour> {
    let (small, mut large): (Vec<&Contour>, Vec<&Contour>) =
        outlines.partition(|line| line.closed && super::small::is_small(line, material));
    let lines: Vec<LineRef> = small.iter().map(|&line| line.into()).collect();
    let parents = contour_tree::build(&lines).parent;
    let is_hole = |line: &Contour| line.signed_area() < 0.0;
    let holes =
        small.into_iter().zip(parents).filter(|(line, around)| is_hole(line) && around.is_none());
    large.extend(holes.map(|(line, _)| line));
    large
}

fn told_strips(mut strips: Vec<ThinPlace>, least: f64) -> Option<Finding> {
    strips.sort_by(|a, b| a.width_mm.total_cmp(&b.width_mm));
    strips.first()?;
    let count = counted(strips.len(), "One strip is", "strips are");
    let text = format!("{count} thinner than {least} mm, which may tear when weeded.");
    let named = named(&strips, |strip| {
        format!("{:.2} mm wide for {:.1} mm", strip.width_mm, strip.length_mm)
    });
    Some(
        finding("piece-thin", text, &strips).hint(format!("{named} Draw {} wider.", them(&strips))),
    )
}

fn told_points(mut points: Vec<ThinPlace>, least: f64) -> Option<Finding> {
    points.sort_by(|a, b| b.length_mm.total_cmp(&a.length_mm));
    points.first()?;
    let count = counted(points.len(), "One point tapers", "points taper");
    let text = format!("{count} slowly below {least} mm and may lift when weeded.");
    let named = named(&points, |point| format!("over {:.1} mm", point.length_mm));
    Some(
        finding("piece-pointed", text, &points)
            .hint(format!("{named} Blunt {0}, or weed away from {0}.", them(&points))),
    )
}

fn finding(code: &'static str, text: String, places: &[ThinPlace]) -> Finding {
    let mut places = places.iter().map(|place| place.at);
    let first = places.next().unwrap_or_default();
    Finding::note(code, text).at(Place::sheet(first)).also(places.collect())
}

fn named(places: &[ThinPlace], words: impl Fn(&ThinPlace) -> String) -> String {
    let name =
        |place: &ThinPlace| format!("{} at {:.1}, {:.1}", words(place), place.at.x, place.at.y);
    let first: Vec<String> = places.iter().take(NAMED).map(name).collect();
    let more = if places.len() > NAMED { "; and more" } else { "" };
    format!("{}{more}.", first.join("; "))
}

fn them(places: &[ThinPlace]) -> &'static str {
    if places.len() == 1 { "it" } else { "them" }
}

#[cfg(test)]
mod tests;
