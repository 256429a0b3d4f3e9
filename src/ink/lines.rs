//! Shapes → the drawn lines themselves, for pens and score lines.
//!
//! Open paths stay open. What is drawn twice is followed once (`doubled.rs`). Ends that nearly meet
//! are joined when asked for, what runs past the page is trimmed when asked for. Strokes' widths and clips do
//! not matter here.

use std::collections::BTreeMap;

use kurbo::{BezPath, PathEl};

use crate::drawing::{Drawing, Shape};
use crate::edges::EdgeIndex;
use crate::finding::{Finding, Place, counted};
use crate::geometry::{Bounds, Contour, Point};
use crate::merge;

use super::doubled::{Doubled, cut_once};
use super::paint::{Effect, effect};
use super::{Film, FilmLine, InkError, InkSettings, Sheets, Treatment, paint};

/// The films of the lines of `shapes`, and what runs past the page.
pub(super) fn films(
    drawing: &Drawing,
    shapes: &[&Shape],
    settings: &InkSettings,
) -> Result<(Vec<Film>, Vec<Finding>), InkError> {
    let mut films: Vec<Film> = Vec::new();
    // The lines of a film that are treated alike, with their layers.
    let mut groups: BTreeMap<(usize, Treatment), Vec<(Contour, usize)>> = BTreeMap::new();
    let mut drawn = Vec::new();
    let mut dots = Vec::new();
    for shape in shapes {
        paint::within_reach(shape).map_err(|far| InkError::TooFar { far, place: shape.place })?;
        let Some((name, rgb)) = film_of(drawing, shape, settings) else { continue };
        let slot = match films.iter().position(|film| film.name == name) {
            Some(slot) => slot,
            None => {
                films.push(Film { name, rgb, ..Film::default() });
                films.len() - 1
            }
        };
        let (lines, without_length) = lines(shape, settings);
        dots.extend(std::iter::repeat_n(shape.place, without_length));
        films[slot].merged_points += lines.iter().map(|line| line.points.len()).sum::<usize>();
        let group = groups.entry((slot, settings.treatment(drawing, shape.layer))).or_default();
        for line in lines {
            let line = merge::decimate(&line, settings.decimate_mm);
            drawn.push((line.bounds(), *shape));
            if settings.crop_to_page {
                group.extend(paint::on_page(drawing, &line).map(|part| (part, shape.layer)));
            } else {
                group.push((line, shape.layer));
            }
        }
    }
    let mut findings: Vec<Finding> =
        paint::past_page(drawing, drawn.into_iter(), settings.crop_to_page).into_iter().collect();
    findings.extend(no_length(&dots));
    for ((slot, treatment), mut lines) in groups {
        let reach = 2.0 * settings.tolerance_mm.max(settings.decimate_mm) + HAIR_MM;
        let group = |layer| settings.group(drawing, layer);
        findings.extend(twice(cut_once(&mut lines, reach, |a, b| group(a) == group(b))));
        findings.extend(joined(join_ends(&mut lines, settings.join_mm), settings.join_mm));
        let line = |(contour, layer)| FilmLine { contour, layer, treatment };
        films[slot].lines.extend(lines.into_iter().map(line));
    }
    Ok((films, findings))
}

/// Lines that lie on each other by rounding do so within this, mm.
const HAIR_MM: f64 = 0.005;

fn no_length(places: &[Place]) -> Option<Finding> {
    let first = places.first()?;
    let (one, many) = ("A line without length is left out.", "lines without length are left out.");
    let text = counted(places.len(), one, many);
    Some(Finding::note("line-no-length", text).at(*first))
}

fn twice(doubled: Doubled) -> Option<Finding> {
    let Doubled { length_mm, first, lines: 1.. } = doubled else { return None };
    let text = counted(doubled.lines, "A line lies", "lines lie");
    let text = format!(
        "{text} on others for {length_mm:.1} mm (first at {:.1}, {:.1} mm from the page's top left \
         corner), which is cut once.",
        first.x, first.y
    );
    Some(Finding::note("lines-doubled", text))
}

fn joined(count: usize, reach: f64) -> Option<Finding> {
    let gaps = counted(count, "One gap between line ends, of", "gaps between line ends, of");
    let text = format!("Closed: {gaps} at most {reach} mm.");
    (count > 0).then(|| Finding::note("lines-joined", text))
}

/// Name and colour of the film that a shape's lines go to; `None` for paper-coloured shapes and
/// colours that were not chosen.
fn film_of(
    drawing: &Drawing,
    shape: &Shape,
    settings: &InkSettings,
) -> Option<(String, Option<[u8; 3]>)> {
    let paints = [shape.stroke.as_ref().map(|s| s.paint), shape.fill.map(|f| f.paint)];
    let chosen = |rgb: [u8; 3]| settings.colours.as_ref().is_none_or(|c| c.contains(&rgb));
    let mut inks =
        paints.into_iter().flatten().filter(|p| effect(p, settings.paper) == Effect::Ink);
    let paint = inks.find(|p| chosen(p.rgb))?;
    let [r, g, b] = paint.rgb;
    Some(match settings.sheets {
        Sheets::One => (String::new(), None),
        Sheets::Layer => (drawing.layers.get(shape.layer)?.name.clone(), None),
        Sheets::Colour => (format!("#{r:02x}{g:02x}{b:02x}"), Some(paint.rgb)),
    })
}

/// The lines of a shape with all their vertices, and how many have no length.
fn lines(shape: &Shape, settings: &InkSettings) -> (Vec<Contour>, usize) {
    let subpaths = subpaths(&shape.path);
    // A place that the pen only moves to is no line.
    let count = subpaths.iter().filter(|(path, _)| path.elements().len() > 1).count();
    let flat = subpaths.into_iter().filter_map(|(path, closed)| {
        let mut points =
            paint::flatten(&path, shape.to_page, settings.tolerance_mm).into_iter().next()?;
        points.dedup_by(|a, b| a.distance(*b) < 1e-6);
        if closed && points.len() > 2 && points[0].distance(points[points.len() - 1]) < 1e-6 {
            points.pop();
        }
        let line = Contour { closed: closed && points.len() > 2, points };
        (line.points.len() > 1).then_some(line)
    });
    let lines: Vec<Contour> = flat.collect();
    let without_length = count.saturating_sub(lines.len());
    (lines, without_length)
}

fn subpaths(path: &BezPath) -> Vec<(BezPath, bool)> {
    let mut all: Vec<(BezPath, bool)> = Vec::new();
    for element in path.elements() {
        match (element, all.last_mut()) {
            (PathEl::MoveTo(_), _) => all.push((BezPath::from_vec(vec![*element]), false)),
            (_, Some((path, closed))) => {
                path.push(*element);
                *closed |= matches!(element, PathEl::ClosePath);
            }
            (_, None) => {}
        }
    }
    all
}

/// Joins open lines whose ends lie within `reach` of each other, and closes those that nearly
/// close, nearest first among the lines drawn later. Returns how many gaps were closed.
fn join_ends(lines: &mut Vec<(Contour, usize)>, reach: f64) -> usize {
    if reach <= 0.0 {
        return 0;
    }
    let ends: Vec<Point> = lines.iter().flat_map(|(line, _)| ends(line)).collect();
    let index = EdgeIndex::new(ends.chunks(1), (4.0 * reach).max(1.0));
    let mut slots: Vec<Option<(Contour, usize)>> = lines.drain(..).map(Some).collect();
    let mut joins = 0;
    for i in 0..slots.len() {
        let Some((mut line, layer)) = slots[i].take() else { continue };
        while let Some(j) = partner(&line, layer, &slots, &index, reach) {
            let Some((other, _)) = slots[j].take() else { break };
            line = joined_up(line, other);
            joins += 1;
        }
        let n = line.points.len();
        if !line.closed && n > 3 && line.points[0].distance(line.points[n - 1]) <= reach {
            joins += usize::from(line.points[0] != line.points[n - 1]);
            line.points.pop();
            line.closed = true;
        }
        lines.push((line, layer));
    }
    joins
}

fn ends(line: &Contour) -> [Point; 2] {
    [line.points[0], line.points[line.points.len() - 1]]
}

/// Both lines as one, joined where they are nearest.
fn joined_up(mut line: Contour, mut other: Contour) -> Contour {
    let ([a0, a1], [b0, b1]) = (ends(&line), ends(&other));
    if a1.distance(b0).min(a1.distance(b1)) > a0.distance(b0).min(a0.distance(b1)) {
        line.points.reverse();
    }
    let end = ends(&line)[1];
    if end.distance(b1) < end.distance(b0) {
        other.points.reverse();
    }
    line.points.extend(other.points);
    line
}

/// The open line still to come that has an end nearest to an end of `line`.
fn partner(
    line: &Contour,
    layer: usize,
    slots: &[Option<(Contour, usize)>],
    index: &EdgeIndex,
    reach: f64,
) -> Option<usize> {
    if line.closed {
        return None;
    }
    let mut best: Option<(f64, usize)> = None;
    for end in ends(line) {
        index.in_box(Bounds::of(&[end]).grown(reach), |(_, at), (there, _)| {
            let slot = at / 2;
            let open = slots[slot].as_ref().is_some_and(|(l, of)| !l.closed && *of == layer);
            let found = (end.distance(there), slot);
            if open && found.0 <= reach && best.is_none_or(|b| found < b) {
                best = Some(found);
            }
        });
    }
    best.map(|(_, slot)| slot)
}
