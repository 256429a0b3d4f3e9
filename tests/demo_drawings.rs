//! The demo drawings are cut as they are told to be: nothing is lost but their hidden layers, and no font
//! is needed but the one beside them.

use bladewright::drawing::{self, Drawing, ReadSettings};
use bladewright::finding::{Finding, Severity};
use bladewright::geometry::{Bounds, Region};
use bladewright::ink::{Ink, InkSettings, LayerTreatment, Sheets, Treatment, visible};

fn read(name: &str) -> (Drawing, Vec<Finding>) {
    let path = format!("{}/demo/{name}.svg", env!("CARGO_MANIFEST_DIR"));
    let bytes = std::fs::read(path).unwrap();
    let fonts = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/fonts").into();
    let settings =
        ReadSettings { font_dirs: vec![fonts], system_fonts: false, ..ReadSettings::default() };
    drawing::read(&bytes, &settings).unwrap()
}

fn ink(name: &str, sheets: Sheets) -> Ink {
    let settings = InkSettings { sheets, ..InkSettings::default() };
    let (ink, findings) = visible(&read(name).0, &settings).unwrap();
    assert_eq!(findings, [], "{name}");
    ink
}

/// Pieces and holes of the film `index`.
fn counts(ink: &Ink, index: usize) -> (usize, usize) {
    let regions = ink.films[index].regions.iter().map(|r| &r.region);
    regions.fold((0, 0), |(pieces, holes), r: &Region| (pieces + 1, holes + r.holes.len()))
}

#[test]
fn only_hidden_layers_stay_out() {
    for (name, layer) in [
        ("wheel-emblem", "Sketch"),
        ("frame-decal", "Notes"),
        ("opening-hours", "Window outline"),
        ("price-tags", "Print only"),
    ] {
        let findings = read(name).1;
        assert_eq!(findings.len(), 1, "{name}: {findings:?}");
        assert_eq!(findings[0].severity, Severity::Note);
        assert!(findings[0].text.contains(layer), "{name}: {findings:?}");
    }
}

#[test]
fn the_drawings_are_as_large_as_they_say() {
    for (name, page) in [
        ("wheel-emblem", (120.0, 152.0)),
        ("frame-decal", (258.0, 62.0)),
        ("opening-hours", (300.0, 400.0)),
        ("price-tags", (210.0, 210.0)),
        ("standing-tags", (150.0, 90.0)),
        ("jersey-lettering", (240.0, 150.0)),
    ] {
        let drawing = read(name).0;
        let (width, height) = drawing.page_mm;
        assert!((width - page.0).abs() < 1e-3 && (height - page.1).abs() < 1e-3, "{name}");
        let ink = visible(&drawing, &InkSettings::default()).unwrap().0.bounds();
        assert!(ink.min.x >= 0.0 && ink.min.y >= 0.0, "{name}");
        assert!(ink.max.x <= page.0 && ink.max.y <= page.1, "{name}");
    }
}

/// Counted by eye on the drawings: the wheel melts into one piece, each letter is one, and so is
/// the wave; R and A of TERN LANE have one counter each.
#[test]
fn strokes_melt_into_pieces_as_seen() {
    let emblem = ink("wheel-emblem", Sheets::One);
    // Wheel and hub pin; eight letters; the wave.
    let regions = &emblem.films[0].regions;
    let letters = regions.iter().filter(|r| r.region.outer.bounds().min.y > 125.0).count();
    assert_eq!(letters, 8 + 1);
    let tags = ink("price-tags", Sheets::Layer);
    assert_eq!(tags.films[0].name, "Cut");
    assert_eq!(counts(&tags, 0), (12, 12));
    let area: f64 = tags.films[0].regions.iter().map(|r| r.region.area()).sum();
    // 60 x 38 mm, less two corners of 8 x 8 mm, two round ones of 3 mm and a hole of 6 mm.
    let pi = std::f64::consts::PI;
    let tag = 60.0 * 38.0 - 64.0 - 2.0 * (9.0 - 9.0 * pi / 4.0) - 9.0 * pi;
    assert!((area - 12.0 * tag).abs() < 12.0 * 0.5, "{area} {}", 12.0 * tag);
}

#[test]
fn the_decal_comes_off_two_films() {
    let decal = ink("frame-decal", Sheets::Colour);
    let names: Vec<&str> = decal.films.iter().map(|film| film.name.as_str()).collect();
    assert_eq!(names, ["#e2571e", "#00626e"]);
    // 8 and 15 letters; counters in R, A and in B, R, O, O, P (B has two).
    assert_eq!(counts(&decal, 1), (8 + 15, 2 + 6));
}

/// Two tents of 60 x 70 mm with rounded corners and a hole each; four folds and 12 labels' lines
/// (frames and strokes) stay lines.
#[test]
fn the_standing_tags_keep_their_layers_apart() {
    let treat = |layer: &str, treatment| LayerTreatment {
        layer: layer.into(),
        treatment,
        group: 0,
        trace: None,
    };
    let treatments = vec![treat("Fold", Treatment::Score), treat("Label", Treatment::Draw)];
    let settings = InkSettings { treatments, ..InkSettings::default() };
    let (drawing, findings) = read("standing-tags");
    assert_eq!(findings, []);
    let ink = visible(&drawing, &settings).unwrap().0;
    assert_eq!(counts(&ink, 0), (2, 2));
    let area: f64 = ink.films[0].regions.iter().map(|r| r.region.area()).sum();
    let pi = std::f64::consts::PI;
    let tent = 60.0 * 70.0 - 16.0 * (4.0 - pi) - 2.5 * 2.5 * pi;
    assert!((area - 2.0 * tent).abs() < 1.0, "{area}");
    let of = |treatment| ink.films[0].lines.iter().filter(move |l| l.treatment == treatment);
    let folds: Vec<f64> = of(Treatment::Score).map(|l| l.contour.length()).collect();
    assert_eq!(folds.len(), 4);
    assert!(folds.iter().all(|length| (length - 60.0).abs() < 1e-3), "{folds:?}");
    assert!(of(Treatment::Draw).count() >= 12);
}

/// Each letter is one piece, and so is the bird; R, A, A, D, A, D and R have one counter each. The
/// stretched word is as long as its `textLength`, less the room beside its first and its last letter
/// (2.1 and 1.2 less half the pen, as `demo/fonts/tern-lane.txt` has it, in letters of 13 mm).
#[test]
fn the_jersey_is_lettered_in_the_font_beside_it() {
    let (drawing, findings) = read("jersey-lettering");
    let codes: Vec<&str> = findings.iter().map(|finding| finding.code).collect();
    assert_eq!(codes, ["text-on-path", "text-spacing"], "{findings:?}");
    let lettering = ink("jersey-lettering", Sheets::One);
    assert_eq!(counts(&lettering, 0), (8 + 1 + 7 + 5 + 7, 7));
    let line = lettering.films[0].regions.iter().map(|r| r.region.outer.bounds());
    let line: Vec<Bounds> = line.filter(|b| b.min.y > 122.0 && b.max.y < 135.0).collect();
    let left = line.iter().map(|b| b.min.x).fold(f64::INFINITY, f64::min);
    let right = line.iter().map(|b| b.max.x).fold(0.0, f64::max);
    let room = (2.1 - 0.85 + 1.2 - 0.85) * 0.06 * 13.0;
    assert!(line.len() == 5 && (right - left - (112.0 - room)).abs() < 0.02, "{line:?}");
    let heights: Vec<f64> = drawing.lettering.iter().filter_map(|text| text.small_mm).collect();
    assert!(heights.len() == 1 && heights[0] < 5.0, "{heights:?}");
}
