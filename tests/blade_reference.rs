//! The propagator against values that were computed without it.
//!
//! Source: `tests/data/knife-check-vectors.json` (40-digit closed forms; see the README beside it).
//! Every record of the kinds tested here must hold to 1e-12; `time` belongs to the motion model.

use std::f64::consts::{PI, TAU};

use bladewright::blade::TrailingBlade;
use bladewright::geometry::{Point, wrap_angle};
use serde_json::Value;

const EPS: f64 = 1e-12;

fn records(kind: &str) -> Vec<Value> {
    let text = include_str!("data/knife-check-vectors.json");
    let all: Value = serde_json::from_str(text).unwrap();
    all[kind].as_array().unwrap().clone()
}

fn number(record: &Value, key: &str) -> f64 {
    record[key].as_f64().unwrap_or_else(|| panic!("{key} in {record}"))
}

#[track_caller]
fn close(found: f64, wanted: f64, record: &Value) {
    assert!((found - wanted).abs() < EPS, "{found} instead of {wanted} in {record}");
}

#[test]
fn straight_pulls() {
    let all = records("line");
    assert_eq!(all.len(), 48);
    for r in all {
        let heading = number(&r, "heading0_deg").to_radians();
        let mut blade = TrailingBlade::new(number(&r, "d"), Point::ORIGIN, heading);
        blade.line_to(Point::new(number(&r, "s"), 0.0));
        close(blade.heading(), number(&r, "heading"), &r);
        close(blade.tip().x, number(&r, "tip_x"), &r);
        close(blade.tip().y, number(&r, "tip_y"), &r);
    }
}

#[test]
fn arcs_wider_than_equal_to_and_tighter_than_the_offset() {
    let all = records("arc");
    assert_eq!(all.len(), 63);
    for r in all {
        let sweep = number(&r, "alpha_deg").to_radians();
        let heading = PI / 2.0 + number(&r, "rel_heading0_deg").to_radians();
        let start = Point::new(number(&r, "R"), 0.0);
        let mut blade = TrailingBlade::new(number(&r, "d"), start, heading);
        blade.arc(Point::ORIGIN, sweep);
        let travel = PI / 2.0 + sweep;
        close(wrap_angle(blade.heading() - travel - number(&r, "rel_heading")), 0.0, &r);
        close(blade.tip().x, number(&r, "tip_x"), &r);
        close(blade.tip().y, number(&r, "tip_y"), &r);
    }
}

#[test]
fn swings_with_a_wrong_offset() {
    let all = records("swing_wrong_offset");
    assert_eq!(all.len(), 72);
    for r in all {
        let (d, tau) = (number(&r, "d"), number(&r, "tau_deg").to_radians());
        let set = Point::new(d + number(&r, "e"), 0.0);
        let mut blade = TrailingBlade::new(d, set, 0.0);
        blade.arc(Point::ORIGIN, tau);
        let out = Point::along(tau);
        close(wrap_angle(blade.heading() - tau - number(&r, "heading_error")), 0.0, &r);
        close(blade.tip().dot(out), number(&r, "along"), &r);
        close(out.cross(blade.tip()), number(&r, "lateral_left"), &r);
    }
}

#[test]
fn chorded_swings_end_on_the_wanted_heading() {
    let all = records("chord_swing_radius");
    assert_eq!(all.len(), 8);
    for r in all {
        let (d, step) = (0.25, number(&r, "step_deg").to_radians());
        let radius = d * number(&r, "radius_over_d");
        // Half a step before the first vertex the blade points at it from the tip's rest.
        let mut blade = TrailingBlade::new(d, Point::new(radius, 0.0), 0.0);
        let rest = blade.tip();
        blade.line_to(Point::along(step) * radius);
        close(wrap_angle(blade.heading() - step), 0.0, &r);
        // The tip ends where it began, seen from the turned blade.
        close(rest.length(), blade.tip().length(), &r);
    }
}

#[test]
fn regular_polygons_pull_the_tip_to_a_fixed_radius() {
    let all = records("discrete_circle");
    assert_eq!(all.len(), 4);
    for r in all {
        let (radius, n) = (number(&r, "R"), number(&r, "n"));
        let mut blade = TrailingBlade::new(number(&r, "d"), Point::new(radius, 0.0), PI / 2.0);
        for i in 1..(400.0 * n) as usize {
            blade.line_to(Point::along(TAU * i as f64 / n) * radius);
        }
        close(blade.tip().length(), number(&r, "tip_radius_at_vertex"), &r);
    }
}

#[test]
fn residual_heading_errors_die_as_foretold() {
    let all = records("residual_recursion");
    assert_eq!(all.len(), 4);
    for r in all {
        let d = number(&r, "d");
        let mut wanted = 0.0;
        let mut corner = Point::ORIGIN;
        let start = number(&r, "delta0_deg").to_radians();
        let mut blade = TrailingBlade::new(d, Point::new(d, 0.0), start);
        for leg in r["legs"].as_array().unwrap() {
            let (length, turn) = (leg[0].as_f64().unwrap(), leg[1].as_f64().unwrap().to_radians());
            corner = corner + Point::along(wanted) * length;
            blade.line_to(corner + Point::along(wanted) * d);
            blade.arc(corner, turn);
            wanted += turn;
        }
        close(wrap_angle(blade.heading() - wanted - number(&r, "delta_end")), 0.0, &r);
    }
}

#[test]
fn uncompensated_circles_leave_smaller_holes() {
    let all = records("uncompensated_circle");
    assert_eq!(all.len(), 20);
    for r in all {
        let start = Point::new(number(&r, "R"), 0.0);
        let mut blade = TrailingBlade::new(number(&r, "d"), start, PI / 2.0);
        blade.arc(Point::ORIGIN, 40.0 * TAU);
        close(2.0 * blade.tip().length(), number(&r, "hole_diameter"), &r);
    }
}

#[test]
fn many_short_pulls_are_one_long_pull() {
    let mut long = TrailingBlade::new(0.4, Point::ORIGIN, 3.0);
    let mut short = long;
    long.line_to(Point::new(3.0, 4.0));
    for i in 1..=1000 {
        short.line_to(Point::new(0.003 * f64::from(i), 0.004 * f64::from(i)));
    }
    assert!(long.tip().distance(short.tip()) < EPS);
}

#[test]
fn a_blade_that_is_driven_straight_back_stays_so() {
    let mut blade = TrailingBlade::new(0.25, Point::ORIGIN, 0.0);
    blade.line_to(Point::new(-100.0, 0.0));
    assert_eq!(blade.heading(), 0.0);
    blade.arc(Point::new(-100.0, 0.25), 50.0);
    assert!(blade.tip().is_finite());
}

/// The furthest that chords of a sampled track leave the tip's way along a straight pull, mm, and how
/// many points the track has.
fn sampled(start: TrailingBlade, to: Point, tolerance_mm: f64) -> (f64, usize) {
    let mut track = vec![start.tip()];
    let mut blade = start;
    blade.line_to_sampled(to, tolerance_mm, &mut track);
    let length = start.axis().distance(to);
    // All along the way, and at its beginning, where the blade turns.
    let along = (0..=2000).map(|i| f64::from(i) / 2000.0);
    let first = (0..=400).map(|i| f64::from(i) * 0.02 * start.offset_mm() / length);
    let far = along.chain(first.filter(|share| *share <= 1.0)).map(|share| {
        let mut b = start;
        b.line_to(start.axis().lerp(to, share));
        track
            .windows(2)
            .map(|w| bladewright::geometry::distance_to_segment(b.tip(), w[0], w[1]))
            .fold(f64::INFINITY, f64::min)
    });
    let far = far.fold(0.0, f64::max);
    let mut whole = start;
    whole.line_to(to);
    assert!(whole.tip().distance(blade.tip()) < EPS);
    (far, track.len())
}

#[test]
fn sampled_tracks_stay_within_the_tolerance() {
    for (d, heading) in [(0.25, 3.0), (0.9, 2.0), (0.1, -3.1), (1.0, 0.4)] {
        let start = TrailingBlade::new(d, Point::ORIGIN, heading);
        let (far, points) = sampled(start, Point::new(6.0, 1.0), 0.001);
        assert!(points < 200, "{points} points");
        assert!(far < 0.001, "{far} mm off with offset {d}");
    }
    // All angles to the way, ways of a tenth of an offset to a hundred thousand.
    for i in 0..240 {
        let d = [0.1, 0.25, 0.9][i % 3];
        let angle = f64::from(i as u32) * 1.3;
        let to = Point::along(0.7) * (d * 0.1 * 1e6f64.powf(f64::from(i as u32 % 40) / 40.0));
        for tolerance in [0.001, 0.02 * d] {
            let (far, _) = sampled(TrailingBlade::new(d, Point::ORIGIN, angle), to, tolerance);
            assert!(far < tolerance, "{far} mm off with offset {d}, {angle}, {to:?}");
        }
    }
}

#[test]
fn a_pen_is_where_its_axis_is() {
    let mut pen = TrailingBlade::new(0.0, Point::ORIGIN, 1.0);
    pen.line_to(Point::new(0.0, 2.0));
    assert_eq!(pen.tip(), Point::new(0.0, 2.0));
    assert!((pen.heading() - PI / 2.0).abs() < EPS);
}
