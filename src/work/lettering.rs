//! Texts whose letters are lower than their material can be weeded.

use super::Wish;
use crate::drawing::{Drawing, Lettering};
use crate::finding::{Finding, first_few};
use crate::ink::{InkSettings, Sheets};
use crate::profile::Material;

/// Tells of each text of `drawing`, which has its final size, with letters that `material`, or that of
/// its layer or its colour's film, may not let you weed.
pub fn low_letters(
    drawing: &Drawing,
    (ink, wishes): (&InkSettings, &[Wish]),
    material: &Material,
) -> Vec<Finding> {
    let of = |letters: &Lettering| {
        let layer = &drawing.layers.get(letters.layer)?.name;
        let [r, g, b] = letters.rgb;
        let film = format!("#{r:02x}{g:02x}{b:02x}");
        let own = |name: &str| wishes.iter().find(|wish| wish.name == name)?.material.as_ref();
        let of_film = wishes.iter().find(|wish| wish.is_for_film(&film));
        let of_film = of_film
            .and_then(|wish| wish.material.as_ref())
            .filter(|_| ink.sheets == Sheets::Colour);
        low(letters, own(layer).or(of_film).unwrap_or(material))
    };
    let cut = drawing.lettering.iter().filter(|letters| ink.is_cut_out(drawing, letters));
    first_few(cut.filter_map(of).collect(), |n| format!("{n} more texts have letters as low."))
}

fn low(letters: &Lettering, material: &Material) -> Option<Finding> {
    let least = material.smallest_letter_mm?;
    let heights = [("small letters", letters.small_mm), ("capitals", letters.capitals_mm)];
    let known = heights.into_iter().filter_map(|(what, mm)| Some((what, mm?)));
    let told: Vec<String> = known.clone().map(|(what, mm)| format!("{what} {mm:.1} mm")).collect();
    let lowest = known.map(|(_, mm)| mm).fold(f64::INFINITY, f64::min);
    if lowest >= least {
        return None;
    }
    let text = format!(
        "the text \u{201c}{}\u{201d} has {} high; below {least} mm {} may not let you weed it.",
        letters.text,
        told.join(" and "),
        material.title
    );
    let hint =
        format!("It would have to be {:.1} times as large.", (least / lowest * 10.0).ceil() / 10.0);
    Some(Finding::note("letters-low", text).at(letters.place).hint(hint))
}
