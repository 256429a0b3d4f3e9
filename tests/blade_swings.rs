//! What the axis of a trailing blade does beside keeping its tip on the line: how far it runs, where
//! it swings, in how many chords, to which side.
//!
//! Referees: closed forms. An arc of radius r has an axis arc of radius √(r² + d²) about the same
//! centre (S. Dunbar, R. Bosman, S. Nooij, "The track of a bicycle back tire", 2001); a corner's axis
//! stands d·artanh(sin h)/sin h from it in chords of 2h, and 2√(3·tolerance/d) is the widest chord
//! (own derivation; values in `tests/data`).

use std::f64::consts::{PI, TAU};

use bladewright::blade::{AxisPath, BladeSettings, Part, TipPath, compensate};
use bladewright::geometry::{Contour, Point, wrap_angle};
use bladewright::place::Role;

const OFFSETS: [f64; 3] = [0.25, 0.5, 0.9];

fn axis_of(contour: Contour, offset_mm: f64, heading: f64) -> AxisPath {
    let settings = BladeSettings { offset_mm, start_heading: Some(heading), ..Default::default() };
    let path = TipPath { line: Some(0), role: Role::Design, contour };
    compensate(&[path], &settings).0.remove(0)
}

fn length(points: &[Point]) -> f64 {
    points.windows(2).map(|w| w[0].distance(w[1])).sum()
}

fn points(of: &[(f64, f64)]) -> Vec<Point> {
    of.iter().map(|&(x, y)| Point::new(x, y)).collect()
}

/// In chords of 0.05 mm a circle that was rounded turns this way and that by many times its one turn,
/// and an axis that swung at each vertex would run 2.4 times as far (measured elsewhere for a grid of
/// 0.025 mm). Lines and arcs fitted to it within what rounding did leave hardly any way more, and of
/// the points that merging leaves (grid 0.001 mm) less than a sixth.
#[test]
fn rounding_noise_does_not_lengthen_the_axis() {
    let usual = BladeSettings::default().fit_tolerance_mm;
    for (grid, fit_tolerance_mm, most, share) in [(0.001, usual, 1.01, 6), (0.025, 0.02, 1.2, 6)] {
        let snap = |v: f64| (v / grid).round() * grid;
        let n = (TAU * 5.0 / 0.05) as usize;
        let rounded = |i: usize| {
            let p = Point::along(TAU * i as f64 / n as f64) * 5.0;
            Point::new(snap(p.x), snap(p.y))
        };
        let noisy: Vec<Point> = (0..n).map(rounded).collect();
        for offset_mm in OFFSETS {
            let start_heading = Some(PI / 2.0);
            let settings = BladeSettings {
                offset_mm,
                start_heading,
                fit_tolerance_mm,
                ..BladeSettings::default()
            };
            let contour = Contour::closed(noisy.clone());
            let path = TipPath { line: Some(0), role: Role::Design, contour };
            let axis = compensate(&[path], &settings).0.remove(0);
            let ratio = length(&axis.points) / (TAU * 5.0_f64.hypot(offset_mm));
            let count = axis.points.len();
            println!("grid {grid}, offset {offset_mm}: {ratio:.4} of the ideal, {count} of {n}");
            assert!(ratio < most, "grid {grid}, offset {offset_mm}: {ratio} of the ideal");
            assert!(count < n / share, "grid {grid}, offset {offset_mm}: {count} of {n}");
        }
    }
}

#[test]
fn an_arcs_axis_runs_on_a_wider_arc_about_the_same_centre() {
    for offset in OFFSETS {
        for radius in [0.3, 1.0, 5.0, 40.0] {
            let n = (TAU / f64::sqrt(8.0 * 0.003 / radius)).ceil() as usize;
            let circle = (0..n).map(|i| Point::along(TAU * i as f64 / n as f64) * radius).collect();
            let axis = axis_of(Contour::closed(circle), offset, PI / 2.0);
            let wide = radius.hypot(offset);
            let off = axis.points.iter().map(|p| (p.length() - wide).abs()).fold(0.0, f64::max);
            assert!(off < 0.009, "offset {offset}, radius {radius}: {off}");
        }
    }
}

#[test]
fn corners_swing_in_the_fewest_chords_at_their_exact_radius() {
    for offset in OFFSETS {
        let widest = 2.0 * (3.0 * 0.005 / offset).sqrt();
        for degrees in [8.0, 12.0, 30.0, 90.0, 150.0, -45.0, -120.0] {
            let turn = f64::to_radians(degrees);
            let corner = Point::new(30.0, 0.0);
            let way = [Point::ORIGIN, corner, corner + Point::along(turn) * 30.0];
            let axis = axis_of(Contour::open(way.to_vec()), offset, 0.0);
            let swing: Vec<usize> =
                (0..axis.parts.len()).filter(|&i| axis.parts[i] == Part::Swing).collect();
            let fewest = (turn.abs() / widest).ceil() as usize;
            assert!(swing.len() >= fewest && swing.len() <= fewest + 1 + fewest / 8, "{degrees}");
            let half = turn.abs() / swing.len() as f64 / 2.0;
            let radius = offset * half.sin().atanh() / half.sin();
            for &i in &swing {
                for p in [axis.points[i], axis.points[i + 1]] {
                    assert!((p.distance(corner) - radius).abs() < 1e-9, "{offset}, {degrees}");
                }
            }
            let (first, last) = (axis.points[swing[0]], axis.points[swing[swing.len() - 1] + 1]);
            assert!(wrap_angle((first - corner).angle()).abs() < 1e-9);
            assert!(wrap_angle((last - corner).angle() - turn).abs() < 1e-9);
        }
    }
}

/// A tooth without width on an outline, and on a hole: the half turn at its tip goes round on the side
/// to which the waste lies.
#[test]
fn half_turns_go_to_the_side_of_the_waste() {
    let tooth = [(0., 0.), (20., 0.), (20., 8.), (29., 8.), (20., 8.), (20., 16.), (0., 16.)];
    let outline = points(&tooth);
    let hole: Vec<Point> = outline.iter().rev().copied().collect();
    for offset in OFFSETS {
        for (contour, side) in [(&outline, 1.0), (&hole, -1.0)] {
            let axis = axis_of(Contour::closed(contour.clone()), offset, 0.0);
            let tip = Point::new(29.0, 8.0);
            let about: Vec<Point> =
                axis.points.iter().copied().filter(|p| p.distance(tip) < 1.1 * offset).collect();
            let turn: f64 = about
                .windows(2)
                .map(|w| wrap_angle((w[1] - tip).angle() - (w[0] - tip).angle()))
                .sum();
            assert!((turn - side * PI).abs() < 1e-6, "{offset}: {turn}");
        }
    }
}

/// The tip comes down on a contour's start with the heading that the cut before left, and is turned
/// there: no cut begins beside its line.
#[test]
fn a_contour_is_handed_over_from_the_heading_before() {
    let square = points(&[(0., 0.), (20., 0.), (20., 20.), (0., 20.)]);
    for offset in OFFSETS {
        for heading in [-2.9, -1.2, 0.0, 0.4, 1.6, 3.0] {
            let axis = axis_of(Contour::closed(square.clone()), offset, heading);
            let plunge = axis.points[0];
            assert!(((plunge - square[0]).angle() - heading).abs() < 1e-9, "{heading}");
            let lost = plunge.distance(square[0]) - offset;
            assert!((0.0..0.005).contains(&lost), "{offset}, {heading}: {lost}");
        }
    }
}
