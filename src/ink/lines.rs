//! Shapes → the drawn lines themselves, for pens and score lines.
//!
//! Open paths stay open. A line that is drawn twice is followed once. Ends that nearly meet are
//! joined when asked for. Strokes' widths and clips do not matter here.

use std::collections::HashSet;

use kurbo::{BezPath, PathEl};

use crate::drawing::{Drawing, Shape};
use crate::finding::Finding;
use crate::geometry::{Contour, Point};
use crate::merge;

use super::{Film, InkError, InkSettings, Sheets, paint};

/// The films of the lines of `shapes`, and what runs past the page.
pub(super) fn films(
    drawing: &Drawing,
    shapes: &[&Shape],
    settings: &InkSettings,
) -> Result<(Vec<Film>, Vec<Finding>), InkError> {
    let mut films: Vec<Film> = Vec::new();
    let mut seen = HashSet::new();
    let mut drawn = Vec::new();
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
        for line in lines(shape, settings) {
            drawn.push((line.bounds(), *shape));
            if seen.insert((slot, fingerprint(&line))) {
                films[slot].lines.push((line, shape.layer));
            }
        }
    }
    for film in &mut films {
        join_ends(&mut film.lines, settings.join_mm);
    }
    let finding = paint::past_page(drawing, drawn.into_iter(), false);
    Ok((films, finding.into_iter().collect()))
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
        paints.into_iter().flatten().filter(|p| !p.solid || settings.paper != Some(p.rgb));
    let paint = inks.find(|p| chosen(p.rgb))?;
    let [r, g, b] = paint.rgb;
    Some(match settings.sheets {
        Sheets::One => (String::new(), None),
        Sheets::Layer => (drawing.layers.get(shape.layer)?.name.clone(), None),
        Sheets::Colour => (format!("#{r:02x}{g:02x}{b:02x}"), Some(paint.rgb)),
    })
}

fn lines(shape: &Shape, settings: &InkSettings) -> Vec<Contour> {
    let subpaths = subpaths(&shape.path);
    let flat = subpaths.into_iter().filter_map(|(path, closed)| {
        let mut points =
            paint::flatten(&path, shape.to_page, settings.tolerance_mm).into_iter().next()?;
        points.dedup_by(|a, b| a.distance(*b) < 1e-6);
        if closed && points.len() > 2 && points[0].distance(points[points.len() - 1]) < 1e-6 {
            points.pop();
        }
        let line = Contour { closed: closed && points.len() > 2, points };
        (line.points.len() > 1).then(|| merge::decimate(&line, settings.decimate_mm))
    });
    flat.collect()
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

/// The same for a line and for its reverse, in whole micrometres.
fn fingerprint(line: &Contour) -> Vec<(i64, i64)> {
    let grid = |p: &Point| ((p.x * 1000.0).round() as i64, (p.y * 1000.0).round() as i64);
    let mut key: Vec<_> = line.points.iter().map(grid).collect();
    if line.closed {
        let least = key.iter().enumerate().min_by_key(|(_, k)| **k).map_or(0, |(i, _)| i);
        key.rotate_left(least);
        let mut back = key.clone();
        back[1..].reverse();
        return key.min(back);
    }
    let mut back = key.clone();
    back.reverse();
    key.min(back)
}

/// Joins open lines whose ends lie within `reach` of each other, and closes those that nearly
/// close, nearest first among the lines drawn later.
fn join_ends(lines: &mut Vec<(Contour, usize)>, reach: f64) {
    if reach <= 0.0 {
        return;
    }
    let mut i = 0;
    while i < lines.len() {
        while let Some(j) = partner(lines, i, reach) {
            let (mut other, _) = lines.remove(j);
            let line = &mut lines[i].0;
            let ends = |c: &Contour| (c.points[0], c.points[c.points.len() - 1]);
            let ((a0, a1), (b0, b1)) = (ends(line), ends(&other));
            if a1.distance(b0).min(a1.distance(b1)) > a0.distance(b0).min(a0.distance(b1)) {
                line.points.reverse();
            }
            let end = line.points[line.points.len() - 1];
            if end.distance(b1) < end.distance(b0) {
                other.points.reverse();
            }
            line.points.extend(other.points);
        }
        let line = &mut lines[i].0;
        let n = line.points.len();
        if !line.closed && n > 3 && line.points[0].distance(line.points[n - 1]) <= reach {
            line.points.pop();
            line.closed = true;
        }
        i += 1;
    }
}

/// The later open line that has an end nearest to an end of line `i`.
fn partner(lines: &[(Contour, usize)], i: usize, reach: f64) -> Option<usize> {
    let (line, layer) = &lines[i];
    if line.closed {
        return None;
    }
    let ends = |c: &Contour| [c.points[0], c.points[c.points.len() - 1]];
    let gap = |other: &Contour| {
        let pairs = ends(line).into_iter().flat_map(|a| ends(other).map(|b| a.distance(b)));
        pairs.fold(f64::INFINITY, f64::min)
    };
    (i + 1..lines.len())
        .filter(|&j| !lines[j].0.closed && lines[j].1 == *layer)
        .map(|j| (j, gap(&lines[j].0)))
        .filter(|(_, gap)| *gap <= reach)
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(j, _)| j)
}
