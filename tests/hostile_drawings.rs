//! Drawings that would take minutes and gigabytes: each ends soon, with a sentence or a finding.
//!
//! That they end soon is not asserted (no test measures time); without the bounds each of these takes
//! minutes, or all memory.

mod random;

use bladewright::drawing::{self, ReadSettings};
use bladewright::finding::Finding;
use bladewright::ink::{Ink, InkError, InkSettings, visible};
use random::Dice;

fn ink(body: &str, settings: &InkSettings) -> Result<(Ink, Vec<Finding>), InkError> {
    let size = "width='400mm' height='400mm' viewBox='0 0 400 400'";
    let svg = format!("<svg xmlns='http://www.w3.org/2000/svg' {size}>{body}</svg>");
    let (drawing, _) = drawing::read(svg.as_bytes(), &ReadSettings::default()).unwrap();
    visible(&drawing, settings)
}

fn scribble(corners: usize) -> String {
    let mut dice = Dice(7);
    let mut at = || format!("{:.2}", 400.0 * dice.roll());
    (0..corners).map(|_| format!("{},{} ", at(), at())).collect()
}

fn lattice(lines: usize) -> String {
    let step = 400.0 / lines as f64;
    let pair = |i: usize| format!("M{x:.3} 0V400M0 {x:.3}H400", x = i as f64 * step);
    let lines: String = (0..lines).map(pair).collect();
    format!("<path stroke='black' stroke-width='0.1' d='{lines}'/>")
}

/// Random chords of a square meet with probability 0.23 (from memory): 3000 of them a million times.
#[test]
fn a_tangle_is_refused_with_its_place() {
    for paint in ["", "fill='none' stroke='black' stroke-width='0.5'"] {
        let body = format!("<g>\n<polygon {paint} points='{}'/></g>", scribble(4000));
        let error = ink(&body, &InkSettings::default()).unwrap_err();
        assert!(matches!(error, InkError::TooDense { .. }), "{error}");
        let text = error.to_string();
        assert!(text.contains("2:1 ") && text.contains("--most-crossings"), "{text}");
    }
}

#[test]
fn a_lattice_is_cut_as_far_as_is_allowed() {
    let (fine, coarse) = (lattice(150), lattice(40));
    let allowed = |most_crossings| InkSettings { most_crossings, ..InkSettings::default() };
    // Four crossings at each of 22 500 joints.
    assert!(matches!(ink(&fine, &allowed(80_000)), Err(InkError::TooDense { .. })));
    let (ink, _) = ink(&coarse, &allowed(80_000)).unwrap();
    let [film] = &ink.films[..] else { panic!("one film") };
    let holes: usize = film.regions.iter().map(|r| r.region.holes.len()).sum();
    // The lines begin on the page's left and upper edge: 39 gaps each way.
    assert_eq!(holes, 39 * 39);
}

#[test]
fn dashes_of_all_lines_together_are_bounded() {
    let line = |y: usize| format!("<path d='M0 {y}H400'/>");
    let dashed = |count: usize, dash: f64| {
        let lines: String = (0..count).map(line).collect();
        let style = format!("stroke='black' stroke-width='0.1' stroke-dasharray='{dash}'");
        let (ink, findings) =
            ink(&format!("<g {style}>{lines}</g>"), &InkSettings::default()).unwrap();
        let told = findings.iter().any(|f| f.code == "too-many-dashes");
        (ink.films[0].regions.len(), told)
    };
    assert_eq!(dashed(4, 1.0), (4 * 200, false));
    // Each line alone would do: 40 000 pieces.
    assert_eq!(dashed(4, 0.01), (4, true));
}

#[test]
fn outlines_of_endless_vertices_are_refused() {
    let circles = "<circle r='390000' cx='200' cy='200' fill='none' stroke='black'/>".repeat(400);
    let settings = InkSettings { tolerance_mm: 0.0005, ..InkSettings::default() };
    let error = ink(&circles, &settings).unwrap_err();
    assert_eq!(error, InkError::TooFine);
    assert!(error.to_string().contains("20 million vertices"), "{error}");
}

#[test]
fn a_gradient_of_endless_repeats_is_cut_as_solid() {
    let stops = "<stop offset='0' stop-color='white'/><stop offset='1' stop-color='black'/>";
    let body = format!(
        "<radialGradient id='g' r='0.001' spreadMethod='repeat'>{stops}</radialGradient>\
         <rect width='300' height='300' fill='url(#g)'/>"
    );
    let (ink, findings) = ink(&body, &InkSettings::default()).unwrap();
    assert!(findings.iter().any(|f| f.code == "gradient-whole"), "{findings:?}");
    assert_eq!(ink.films[0].regions.len(), 1);
}
