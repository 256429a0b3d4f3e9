//! Coats painted with a gradient → the part that is ink, and the part that is paper.
//!
//! The paper's part erases what lies under it, like a shape in the colour of the paper.

use crate::drawing::{Drawing, Paint, PaintSource};
use crate::finding::{Finding, Place};
use crate::merge::Area;

use super::InkSettings;
use super::gradient::{self, Asks, Detail, Part};
use super::paint::{Coat, Told};

/// A coat; of a gradient, the part that is ink and the part that erases as the paper does.
pub(super) fn parted(coat: Coat, drawing: &Drawing, settings: &InkSettings) -> Vec<Coat> {
    let PaintSource::Gradient(index) = coat.paint.source else { return vec![coat] };
    let Some(gradient) = drawing.gradients.get(index) else { return vec![coat] };
    let bounds = coat.area.bounds();
    let detail = Detail::of(drawing, settings.tolerance_mm);
    let part = |asks: Asks<'_>| gradient::part(gradient, bounds, detail, asks);
    let ink = match part(&gradient::is_ink(settings.paper)) {
        Part::All => return vec![coat],
        Part::Unknown => {
            let told = Told { gradient_whole: true, ..coat.told };
            return vec![Coat { told, ..coat }];
        }
        Part::Nothing => Area::default(),
        Part::Some(ink) => coat.area.within(&ink),
    };
    let told = Told { fades: true, ..coat.told };
    let paper = settings.paper.and_then(|paper| {
        let area = match part(&gradient::is_paper(paper)) {
            Part::All => coat.area.clone(),
            Part::Some(bare) => coat.area.within(&bare),
            Part::Nothing | Part::Unknown => return None,
        };
        let paint = Paint { rgb: paper, alpha: 1.0, source: PaintSource::Colour };
        Some(Coat { area, paint, told, ..coat.clone() })
    });
    [Coat { area: ink, told, ..coat }].into_iter().chain(paper).collect()
}

/// Gradients that end where the paper begins, and those whose end could not be drawn.
pub(super) fn findings(coats: &[Coat]) -> Vec<Finding> {
    let places = |which: fn(&Told) -> bool| {
        let mut places: Vec<Place> =
            coats.iter().filter(|coat| which(&coat.told)).map(|coat| coat.place).collect();
        places.dedup();
        places
    };
    let finding = |places: Vec<Place>, code, what: &str| {
        let first = *places.first()?;
        let count = match places.len() {
            1 => "A gradient".to_owned(),
            n => format!("A gradient of {n} shapes"),
        };
        Some(Finding::note(code, format!("{count} {what}")).at(first))
    };
    let fades = finding(
        places(|told| told.fades),
        "gradient-fades",
        "fades into the paper; it is cut as far as it differs from it by nine levels of 255.",
    );
    let whole = finding(
        places(|told| told.gradient_whole),
        "gradient-whole",
        "has no single edge (a focus outside its circle, or hundreds of repeats); all that it \
         paints is cut.",
    );
    let hint = "Use plain colours where the edge matters.";
    fades.into_iter().chain(whole).map(|finding| finding.hint(hint)).collect()
}
