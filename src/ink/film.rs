//! Coats → films: one for all, or one for each layer or colour, each merged for itself.

use crate::drawing::Drawing;
use crate::geometry::{Bounds, Region};
use crate::merge::{self, Area, Merged};
use crate::parallel;

use super::paint::{self, Coat};
use super::{Covered, Film, FilmRegion, InkSettings, Sheets};

/// The films of `coats` (bottom first).
pub(super) fn films(drawing: &Drawing, coats: Vec<Coat>, settings: &InkSettings) -> Vec<Film> {
    match settings.sheets {
        Sheets::One => vec![film(String::new(), None, coats, settings)],
        Sheets::Layer => (0..drawing.layers.len())
            .filter_map(|layer| {
                let own: Vec<Coat> =
                    coats.iter().filter(|coat| coat.layer == layer).cloned().collect();
                let name = drawing.layers[layer].name.clone();
                (!own.is_empty()).then(|| film(name, None, own, settings))
            })
            .collect(),
        Sheets::Colour => by_colour(coats, settings),
    }
}

fn by_colour(coats: Vec<Coat>, settings: &InkSettings) -> Vec<Film> {
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
        film(format!("#{r:02x}{g:02x}{b:02x}"), Some(rgb), own, settings)
    });
    films.filter(|film| !film.regions.is_empty()).collect()
}

/// Each coat without what later opaque coats of another colour cover.
fn without_covered(coats: Vec<Coat>, settings: &InkSettings) -> Vec<Coat> {
    let bounds: Vec<Bounds> = coats.iter().map(|coat| coat.area.bounds()).collect();
    let areas = parallel::map(coats.len(), settings.threads, |i| {
        let covers = (i + 1..coats.len())
            .filter(|&j| coats[j].paint.rgb != coats[i].paint.rgb && coats[j].paint.alpha >= 1.0)
            .map(|j| (&coats[j].area, bounds[j]));
        paint::uncovered(&coats[i].area, covers)
    });
    let kept = coats.into_iter().zip(areas).map(|(coat, area)| Coat { area, ..coat });
    kept.filter(|coat| !coat.area.is_empty()).collect()
}

fn film(name: String, rgb: Option<[u8; 3]>, coats: Vec<Coat>, settings: &InkSettings) -> Film {
    let (areas, layers): (Vec<Area>, Vec<usize>) =
        coats.into_iter().map(|coat| (coat.area, coat.layer)).unzip();
    let merged = merge::merge(&areas, settings.threads);
    let regions = parallel::map(merged.len(), settings.threads, |i| {
        let Merged { region, first } = &merged[i];
        FilmRegion { region: simplified(region, settings.decimate_mm), layer: layers[*first] }
    });
    Film { name, rgb, regions, lines: Vec::new() }
}

/// The region with fewer vertices, within `tolerance`. A contour that would turn over keeps all.
fn simplified(region: &Region, tolerance: f64) -> Region {
    let simple = |contour: &crate::geometry::Contour| {
        let coarse = merge::decimate(contour, tolerance);
        let same_sense = coarse.signed_area() * contour.signed_area() > 0.0;
        if same_sense { coarse } else { contour.clone() }
    };
    Region { outer: simple(&region.outer), holes: region.holes.iter().map(simple).collect() }
}
