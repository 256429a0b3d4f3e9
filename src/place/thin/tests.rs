//! Closed forms: strips, wedges, rings and letters whose widths are known.

use super::*;
use crate::geometry::Bounds;

const BELOW: f64 = 1.0;

fn ring(points: &[(f64, f64)]) -> Contour {
    Contour::closed(points.iter().map(|&(x, y)| Point::new(x, y)).collect())
}

fn rectangle(width: f64, height: f64) -> Contour {
    ring(&[(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])
}

fn circle(radius: f64, center: Point) -> Contour {
    let turn = |i: u32| std::f64::consts::TAU * f64::from(i) / 720.0;
    Contour::closed((0..720).map(|i| center + Point::along(turn(i)) * radius).collect())
}

fn turned(contour: &Contour, degrees: f64) -> Contour {
    let (sin, cos) = degrees.to_radians().sin_cos();
    let turn = |p: &Point| Point::new(p.x * cos - p.y * sin, p.x * sin + p.y * cos);
    Contour::closed(contour.points.iter().map(turn).collect())
}

fn found(lines: &[Contour]) -> Vec<ThinPlace> {
    thin_places(lines.iter(), BELOW)
}

/// The one place of `lines`.
fn only(lines: &[Contour]) -> ThinPlace {
    let places = found(lines);
    assert_eq!(places.len(), 1, "{places:?}");
    places[0]
}

#[test]
fn a_rectangle_is_as_wide_as_its_shorter_side() {
    for width in [0.05, 0.4, 0.99] {
        for degrees in [0.0, 17.0, 45.0, 90.0, 211.0] {
            let place = only(&[turned(&rectangle(30.0, width), degrees)]);
            assert!((place.width_mm - width).abs() < 1e-9, "{place:?}");
            assert!((place.length_mm - 30.0).abs() < 1.0 && !place.pointed, "{place:?}");
        }
    }
    for width in [1.0, 1.01, 5.0] {
        assert_eq!(found(&[rectangle(30.0, width)]), []);
    }
}

/// An I with serifs: its stem is thin, its serifs are not.
#[test]
fn the_stem_of_a_letter_is_found() {
    let letter = ring(&[
        (0.0, 0.0),
        (6.0, 0.0),
        (6.0, 2.0),
        (3.3, 2.0),
        (3.3, 10.0),
        (6.0, 10.0),
        (6.0, 12.0),
        (0.0, 12.0),
        (0.0, 10.0),
        (2.7, 10.0),
        (2.7, 2.0),
        (0.0, 2.0),
    ]);
    let place = only(&[letter]);
    assert!((place.width_mm - 0.6).abs() < 1e-9 && !place.pointed, "{place:?}");
    assert!((place.length_mm - 8.0).abs() < 1.0, "{place:?}");
    assert!((place.at.x - 3.0).abs() < 1e-9 && (2.0..=10.0).contains(&place.at.y), "{place:?}");
}

/// The wall of an eccentric ring is thinnest on the line through both centres.
#[test]
fn the_wall_of_a_ring_is_measured() {
    for (hole, shift, width) in [(9.5, 0.0, 0.5), (8.0, 1.7, 0.3), (8.0, 1.05, 0.95)] {
        let inner = circle(hole, Point::new(shift, 0.0)).reversed();
        let place = only(&[circle(10.0, Point::ORIGIN), inner.clone()]);
        assert!((place.width_mm - width).abs() < 1e-3, "{place:?} {width}");
        if shift > 0.0 {
            assert!((place.at.y).abs() < 0.6 && place.at.x > 9.0, "{place:?}");
        } else {
            assert!((place.length_mm - 9.75 * std::f64::consts::TAU).abs() < 1.0, "{place:?}");
        }
    }
    let inner = circle(8.0, Point::new(0.9, 0.0)).reversed();
    assert_eq!(found(&[circle(10.0, Point::ORIGIN), inner]), []);
}

/// Two arcs of 5 mm curve towards each other: the neck is as wide as they are apart.
#[test]
fn a_round_neck_is_as_wide_as_its_arcs_are_apart() {
    for width in [0.2, 0.5, 0.9] {
        let arc = |up: f64| {
            let angle = move |i: i32| std::f64::consts::PI * f64::from(i) / 180.0;
            (0..=180).map(move |i| {
                Point::new(0.0, up * (5.0 + width / 2.0))
                    + Point::new(-angle(i).cos(), -up * angle(i).sin()) * 5.0
            })
        };
        let mut points: Vec<Point> = arc(1.0).rev().collect();
        points.insert(0, Point::new(9.0, 5.0 + width / 2.0));
        points.push(Point::new(-9.0, 5.0 + width / 2.0));
        points.push(Point::new(-9.0, -5.0 - width / 2.0));
        points.extend(arc(-1.0));
        points.push(Point::new(9.0, -5.0 - width / 2.0));
        let place = only(&[Contour::closed(points)]);
        assert!((place.width_mm - width).abs() < 1e-9, "{place:?} {width}");
        assert!(place.at.length() < 0.2, "{place:?}");
    }
}

/// Notches of a right angle from both sides, and from one.
#[test]
fn necks_between_notches_are_found_wherever_they_fall() {
    for shift in 0..20 {
        let x = 5.0 + f64::from(shift) * 0.037;
        let both = ring(&[
            (0.0, 0.0),
            (x - 4.7, 0.0),
            (x, 4.7),
            (x + 4.7, 0.0),
            (20.0, 0.0),
            (20.0, 10.0),
            (x + 4.7, 10.0),
            (x, 5.3),
            (x - 4.7, 10.0),
            (0.0, 10.0),
        ]);
        let place = only(&[both]);
        assert!((place.width_mm - 0.6).abs() < 1e-9, "{place:?}");
        let one = ring(&[
            (0.0, 0.0),
            (20.0, 0.0),
            (20.0, 10.0),
            (x + 3.0, 10.0),
            (x, 0.9),
            (x - 3.0, 10.0),
            (0.0, 10.0),
        ]);
        let place = only(&[one]);
        assert!((place.width_mm - 0.9).abs() < 1e-9, "{place:?}");
        assert!(place.at.distance(Point::new(x, 0.45)) < 1e-9);
    }
}

/// A wedge of the angle α is thinner than `BELOW` for `BELOW` / (2 tan(α/2)).
#[test]
fn wedges_taper_to_a_point() {
    for degrees in [6.0f64, 12.0, 20.0] {
        let half = 30.0 * (degrees / 2.0).to_radians().tan();
        let place = only(&[ring(&[(0.0, 0.0), (30.0, -half), (30.0, half)])]);
        let length = BELOW / (2.0 * (degrees / 2.0).to_radians().tan());
        assert!(place.pointed && (place.length_mm - length).abs() < 1.0, "{place:?} {length}");
    }
    for degrees in [40.0f64, 60.0, 90.0, 100.0] {
        let half = 30.0 * (degrees / 2.0).to_radians().tan();
        assert_eq!(found(&[ring(&[(0.0, 0.0), (30.0, -half), (30.0, half)])]), [], "{degrees}");
    }
}

/// A strip keeps its width although its end is cut off at a slant.
#[test]
fn a_slanted_end_does_not_make_a_strip_a_point() {
    let place = only(&[ring(&[(0.0, 0.0), (30.0, 0.0), (27.0, 0.6), (3.0, 0.6)])]);
    assert!(!place.pointed && (place.width_mm - 0.6).abs() < 1e-9, "{place:?}");
}

#[test]
fn what_is_wide_is_not_told() {
    assert_eq!(found(&[circle(4.0, Point::ORIGIN)]), []);
    // A bump and a dent on a wide piece.
    let bump = [(0.0, 0.0), (9.0, 0.0), (9.0, -0.2), (9.2, -0.2), (9.2, 0.0), (20.0, 0.0)];
    let mut points = bump.to_vec();
    points.extend([(20.0, 10.0), (9.2, 10.0), (9.2, 9.8), (9.0, 9.8), (9.0, 10.0), (0.0, 10.0)]);
    assert_eq!(found(&[ring(&points)]), []);
    // Two pieces with a narrow gap between them.
    let beside = Contour::closed(
        rectangle(5.0, 5.0).points.iter().map(|&p| p + Point::new(5.1, 0.03)).collect(),
    );
    assert_eq!(found(&[rectangle(5.0, 5.0), beside]), []);
}

#[test]
fn odd_lines_are_passed_over() {
    let dot = Contour::closed(vec![Point::ORIGIN; 4]);
    let pair = Contour::closed(vec![Point::ORIGIN, Point::new(1.0, 0.0)]);
    let open = Contour::open(rectangle(9.0, 0.2).points);
    let flat = ring(&[(0.0, 0.0), (9.0, 0.0), (4.0, 0.0)]);
    found(&[dot, pair, open, flat, Contour::closed(vec![])]);
    assert_eq!(found(&[]), []);
}

/// Strips of several pieces are places of their own, wherever they lie.
#[test]
fn every_piece_has_its_own_place() {
    let at = |i: u32| {
        let shift = Point::new(0.0, f64::from(i) * 0.7);
        Contour::closed(rectangle(20.0, 0.4).points.iter().map(|&p| p + shift).collect())
    };
    let strips: Vec<Contour> = (0..50).map(at).collect();
    let places = found(&strips);
    assert_eq!(places.len(), 50);
    for (place, strip) in places.iter().zip(&strips) {
        let Bounds { min, max } = strip.bounds();
        assert!((place.at.y - (min.y + max.y) / 2.0).abs() < 1e-9);
        assert!((place.width_mm - 0.4).abs() < 1e-9);
    }
}

/// The hole of a piece that is too small to be looked at bounds none of the material around that piece.
#[test]
fn small_pieces_are_left_out_with_their_holes() {
    let material =
        crate::profile::Library::with_folder("/nowhere".into()).material("vinyl-cast").unwrap();
    let moved = |contour: &Contour, x: f64, y: f64| {
        let by = Point::new(x, y);
        Contour::closed(contour.points.iter().map(|&p| p + by).collect())
    };
    let hole = |contour: &Contour| Contour::closed(contour.points.iter().rev().copied().collect());
    // Two flat rings, a tenth of a millimetre apart, and a large piece with a slot beside its edge.
    let mut contours = Vec::new();
    for y in [0.0, 1.0] {
        contours.push(moved(&rectangle(3.0, 0.9), 0.0, y));
        contours.push(hole(&moved(&rectangle(2.6, 0.5), 0.2, y + 0.2)));
    }
    let told = |contours: &[Contour]| {
        let line = |contour: &Contour| CutLine {
            contour: contour.clone(),
            role: Role::Design,
            layer: 0,
            tool: 1,
        };
        let lines: Vec<CutLine> = contours.iter().map(line).collect();
        thin_pieces(lines.iter(), &material)
    };
    assert_eq!(told(&contours), []);
    contours.push(moved(&rectangle(20.0, 20.0), 30.0, 0.0));
    contours.push(hole(&moved(&rectangle(15.0, 0.5), 32.0, 0.5)));
    let findings = told(&contours);
    assert_eq!(findings.len(), 1, "{findings:?}");
    assert!(findings[0].hint.starts_with("0.50 mm wide for 1"), "{findings:?}");
}
