//! Coats → films: one for all, or one for each layer or colour, each merged for itself.

use std::collections::BTreeMap;

use kurbo::BezPath;

use crate::drawing::{Cap, Drawing, Join, Paint, Stroke};
use crate::edges::EdgeIndex;
use crate::geometry::{Bounds, Contour, Point, Region, distance_to_segment};
use crate::merge::{self, Area, Merged};
use crate::outline;
use crate::parallel;

use super::paint::Coat;
use super::{Covered, Film, FilmRegion, InkError, InkSettings, Sheets, dense};

/// The films of `coats` (bottom first).
pub(super) fn films(
    drawing: &Drawing,
    coats: Vec<Coat>,
    settings: &InkSettings,
) -> Result<Vec<Film>, InkError> {
    match settings.sheets {
        Sheets::One => Ok(vec![film((String::new(), None), drawing, coats, settings)?]),
        Sheets::Layer => (0..drawing.layers.len())
            .filter_map(|layer| {
                let own: Vec<Coat> =
                    coats.iter().filter(|coat| coat.layer == layer).cloned().collect();
                let name = drawing.layers[layer].name.clone();
                (!own.is_empty()).then(|| film((name, None), drawing, own, settings))
            })
            .collect(),
        Sheets::Colour => by_colour(drawing, coats, settings),
    }
}

fn by_colour(
    drawing: &Drawing,
    coats: Vec<Coat>,
    settings: &InkSettings,
) -> Result<Vec<Film>, InkError> {
    let mut colours: Vec<[u8; 3]> = Vec::new();
    for coat in &coats {
        if !colours.contains(&coat.paint.rgb) {
            colours.push(coat.paint.rgb);
        }
    }
    let coats = match settings.covered {
        Covered::Keep => coats,
        Covered::Remove => without_covered(coats, settings),
    };
    let films = colours.into_iter().map(|rgb| {
        let own = coats.iter().filter(|coat| coat.paint.rgb == rgb).cloned().collect();
        let [r, g, b] = rgb;
        film((format!("#{r:02x}{g:02x}{b:02x}"), Some(rgb)), drawing, own, settings)
    });
    let inked = |film: &Result<Film, InkError>| !matches!(film, Ok(f) if f.regions.is_empty());
    films.filter(inked).collect()
}

/// Each coat without what later opaque coats of another colour cover; what is left reaches under
/// them by the underlap.
fn without_covered(coats: Vec<Coat>, settings: &InkSettings) -> Vec<Coat> {
    let bounds: Vec<Bounds> = coats.iter().map(|coat| coat.area.bounds()).collect();
    let areas = parallel::map(coats.len(), |i| {
        let reach = bounds[i].grown(settings.underlap_mm.max(0.0));
        let covers = (i + 1..coats.len())
            .filter(|&j| coats[j].paint.rgb != coats[i].paint.rgb && coats[j].paint.alpha >= 1.0)
            .filter(|&j| bounds[j].touches(reach));
        let cover = covers.fold(Area::default(), |all, j| all.plus(coats[j].area.clone()));
        if cover.is_empty() {
            return coats[i].area.clone();
        }
        underlapped(coats[i].area.minus(&cover), &cover, settings)
    });
    let kept = coats.into_iter().zip(areas).map(|(coat, area)| Coat { area, ..coat });
    kept.filter(|coat| !coat.area.is_empty()).collect()
}

/// How far the edge of an underlap may deviate, as a share of it: nobody sees it.
const UNDERLAP_TOLERANCE: f64 = 0.02;

/// `seen` and what of `cover` lies within the underlap of it: the sum with a disc (Minkowski), as
/// the area itself and the outline of a line of twice the width along its edge.
fn underlapped(seen: Area, cover: &Area, settings: &InkSettings) -> Area {
    if settings.underlap_mm <= 0.0 || seen.is_empty() {
        return seen;
    }
    let mut edge = BezPath::new();
    for contour in seen.contours() {
        for (i, p) in contour.points.iter().enumerate() {
            if i == 0 { edge.move_to((p.x, p.y)) } else { edge.line_to((p.x, p.y)) }
        }
        edge.close_path();
    }
    let tolerance = settings.underlap_mm * UNDERLAP_TOLERANCE;
    let band = outline::outline(&edge, &round_line(2.0 * settings.underlap_mm), tolerance);
    let Ok(band) = Area::swept(&band.contours) else { return seen };
    let both = [seen, band.within(cover)];
    let regions: Vec<Region> =
        merge::merge(&both).into_iter().map(|merged| merged.region).collect();
    let [seen, _] = both;
    // What does not hang on the area itself, beyond a gap, would be a sliver under the other film.
    let hanging = regions.iter().zip(hang_on(&seen, &regions)).filter(|(_, hangs)| *hangs);
    let contours: Vec<Vec<Point>> = hanging
        .flat_map(|(region, _)| region.contours().map(|c| c.points.clone()).collect::<Vec<_>>())
        .collect();
    Area::swept(&contours).unwrap_or(seen)
}

/// Areas that come so near hang together, mm: the grid may leave its step of 1 µm, rounded at both
/// sides, between a shape and what covered a part of it.
const HANGS_MM: f64 = 0.003;
/// Size of the cells in which edges beside a corner are looked for, mm.
const CELL_MM: f64 = 2.0;

/// Which of `regions` hold a part of `seen`, or lie at its edge.
fn hang_on(seen: &Area, regions: &[Region]) -> Vec<bool> {
    let contours = |i: usize| regions[i].contours().map(move |contour| (i, contour));
    let (owners, lines): (Vec<usize>, Vec<&Contour>) =
        (0..regions.len()).flat_map(contours).unzip();
    let index = EdgeIndex::new(lines.iter().copied(), CELL_MM);
    let mut hangs = vec![false; regions.len()];
    for contour in seen.contours() {
        for &p in &contour.points {
            index.in_box(Bounds { min: p, max: p }.grown(HANGS_MM), |(line, _), (a, b)| {
                hangs[owners[line]] |= distance_to_segment(p, a, b) <= HANGS_MM;
            });
        }
        let Some(&first) = contour.points.first() else { continue };
        for (region, hangs) in regions.iter().zip(&mut hangs).filter(|(_, hangs)| !**hangs) {
            let in_hole = region.holes.iter().any(|hole| hole.surrounds(first));
            *hangs = region.outer.surrounds(first) && !in_hole;
        }
    }
    hangs
}

fn round_line(width: f64) -> Stroke {
    let paint = Paint::BLACK;
    let (cap, join) = (Cap::Round, Join::Round);
    Stroke { width, cap, join, miter_limit: 1.0, dashes: Vec::new(), dash_offset: 0.0, paint }
}

/// The film of `coats`; those of layers that are cut in different ways are merged apart.
fn film(
    (name, rgb): (String, Option<[u8; 3]>),
    drawing: &Drawing,
    coats: Vec<Coat>,
    settings: &InkSettings,
) -> Result<Film, InkError> {
    let mut groups: BTreeMap<u32, (Vec<Area>, Vec<usize>)> = BTreeMap::new();
    for coat in coats {
        let (areas, layers) = groups.entry(settings.group(drawing, coat.layer)).or_default();
        areas.push(coat.area);
        layers.push(coat.layer);
    }
    let mut regions = Vec::new();
    let mut merged_points = 0;
    for (areas, layers) in groups.into_values() {
        let groups = merge::grouped(&areas);
        dense::refuse(groups.crossings(settings.most_crossings), settings, None)?;
        let fewer = groups.merged(|Merged { region, first }| {
            let points = region.contours().map(|contour| contour.points.len()).sum::<usize>();
            (points, FilmRegion { region: simplified(&region, settings), layer: layers[first] })
        });
        merged_points += fewer.iter().map(|(points, _)| points).sum::<usize>();
        regions.extend(fewer.into_iter().map(|(_, region)| region));
    }
    Ok(Film { name, rgb, regions, lines: Vec::new(), merged_points })
}

/// The region without spikes thinner than the outline is known, and with fewer vertices. A contour
/// that would turn over keeps all.
fn simplified(region: &Region, settings: &InkSettings) -> Region {
    let simple = |contour: &Contour| {
        let coarse = merge::decimate(
            &merge::without_spikes(contour, settings.tolerance_mm),
            settings.decimate_mm,
        );
        let same_sense = coarse.signed_area() * contour.signed_area() > 0.0;
        if same_sense { coarse } else { contour.clone() }
    };
    Region { outer: simple(&region.outer), holes: region.holes.iter().map(simple).collect() }
}
