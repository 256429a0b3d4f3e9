//! Compensated paths, run through the exact propagator from an unknown heading, against the lines
//! that were wanted. The propagator itself is held against outside values in `blade_reference.rs`.

use std::f64::consts::{PI, TAU};

use bladewright::blade::{AxisPath, BladeSettings, Part, TipPath, TrailingBlade, compensate};
use bladewright::geometry::{Contour, Point, distance_to_segment};
use bladewright::place::Role;

const UNIT_MM: f64 = 0.025;

/// What the tip did, beside what was wanted, mm.
#[derive(Debug, Default, Clone, Copy)]
struct Outcome {
    off_line: f64,
    uncut: f64,
}

impl Outcome {
    fn worse(self, other: Self) -> Self {
        Self { off_line: self.off_line.max(other.off_line), uncut: self.uncut.max(other.uncut) }
    }
}

fn settings(offset_mm: f64, unit_mm: Option<f64>) -> BladeSettings {
    BladeSettings { offset_mm, overcut_mm: 2.0 * offset_mm, unit_mm, ..BladeSettings::default() }
}

fn tip_path(line: usize, contour: Contour) -> TipPath {
    TipPath { line: Some(line), role: Role::Design, contour }
}

/// The tip's track for each axis path, the blade starting at `heading`.
fn tracks(axis: &[AxisPath], offset: f64, heading: f64) -> Vec<Vec<Point>> {
    let mut blade = TrailingBlade::new(offset, Point::ORIGIN, heading);
    axis.iter()
        .map(|path| {
            blade.carry_to(path.points[0]);
            let mut tips = vec![blade.tip()];
            for &to in &path.points[1..] {
                blade.line_to_sampled(to, 0.0005, &mut tips);
            }
            tips
        })
        .collect()
}

/// Points along a line, no further apart than `step`.
fn dense(points: &[Point], step: f64) -> Vec<Point> {
    let mut all = vec![points[0]];
    for w in points.windows(2) {
        let n = (w[0].distance(w[1]) / step).ceil().max(1.0);
        all.extend((1..=n as usize).map(|i| w[0].lerp(w[1], i as f64 / n)));
    }
    all
}

fn farthest(from: &[Point], to: &[Point]) -> f64 {
    let nearest = |p: Point| {
        if to.len() == 1 {
            return p.distance(to[0]);
        }
        to.windows(2).map(|w| distance_to_segment(p, w[0], w[1])).fold(f64::INFINITY, f64::min)
    };
    dense(from, 0.04).into_iter().map(nearest).fold(0.0, f64::max)
}

fn ring(contour: &Contour) -> Vec<Point> {
    let mut points = contour.points.clone();
    if contour.closed {
        points.push(points[0]);
    }
    points
}

fn rounded(points: &[Point]) -> Vec<Point> {
    points
        .iter()
        .map(|p| Point::new((p.x / UNIT_MM).round() * UNIT_MM, (p.y / UNIT_MM).round() * UNIT_MM))
        .collect()
}

/// Cuts `contours` with compensation; the worst of all, orienting cut left out.
fn cut(
    contours: &[Contour],
    settings: &BladeSettings,
    wanted: impl Fn(&[Point]) -> Vec<Point>,
) -> Outcome {
    let paths: Vec<_> = contours.iter().cloned().enumerate().map(|(i, c)| tip_path(i, c)).collect();
    let (axis, _) = compensate(&paths, settings);
    let mut worst = Outcome::default();
    for (track, path) in tracks(&axis, settings.offset_mm, 2.5).iter().zip(&axis) {
        let Some(line) = path.line else { continue };
        let wanted = wanted(&ring(&contours[line]));
        worst = worst
            .worse(Outcome { off_line: farthest(track, &wanted), uncut: farthest(&wanted, track) });
    }
    worst
}

/// A small seeded generator (xorshift, G. Marsaglia 2003), 0 up to 1.
struct Random(u64);
impl Random {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }
}

/// An arc in chords of sagitta `tolerance`, its first point left out.
fn arc(points: &mut Vec<Point>, center: Point, radius: f64, (from, sweep): (f64, f64)) {
    let n = (sweep.abs() / (2.0 * (1.0 - 0.01 / radius).acos())).ceil();
    points.extend(
        (1..=n as usize).map(|i| center + Point::along(from + sweep * i as f64 / n) * radius),
    );
}

/// A stroke with round caps, as an outline.
fn pill(a: Point, b: Point, radius: f64) -> Contour {
    let way = (b - a).angle();
    let mut points = Vec::new();
    points.push(b + Point::along(way - PI / 2.0) * radius);
    arc(&mut points, b, radius, (way - PI / 2.0, PI));
    points.push(a + Point::along(way + PI / 2.0) * radius);
    arc(&mut points, a, radius, (way + PI / 2.0, PI));
    Contour::closed(points)
}

fn circle(center: Point, radius: f64) -> Contour {
    let mut points = Vec::new();
    arc(&mut points, center, radius, (0.3, TAU));
    Contour::closed(points)
}

/// A random simple polygon: sorted directions, random distances.
fn polygon(random: &mut Random, size: f64) -> Contour {
    let n = 3 + (random.next() * 9.0) as usize;
    let center = Point::new(random.between(20.0, 80.0), random.between(20.0, 80.0));
    Contour::closed(
        (0..n)
            .map(|i| {
                let angle = TAU * (i as f64 + random.between(0.0, 0.8)) / n as f64;
                center + Point::along(angle) * (size * random.between(0.35, 1.0))
            })
            .collect(),
    )
}

/// A wavy closed curve, sampled as a flattener with 0.01 mm tolerance would.
fn blob(random: &mut Random, size: f64) -> Contour {
    let (a, b) = (random.between(0.0, 0.3), random.between(0.0, TAU));
    let center = Point::new(random.between(20.0, 80.0), random.between(20.0, 80.0));
    let lobes = (2.0 + random.next() * 4.0).floor();
    let n = (TAU * size / (8.0 * 0.01 * size / 3.0).sqrt()).ceil() as usize;
    Contour::closed(
        (0..n)
            .map(|i| {
                let t = TAU * i as f64 / n as f64;
                center + Point::along(t) * (size * (1.0 + a * (lobes * t + b).sin()))
            })
            .collect(),
    )
}

/// Icons: outlines of strokes with round caps, rings, frames with round corners.
fn icons(random: &mut Random) -> Vec<Contour> {
    (0..6)
        .map(|i| {
            let at = |r: &mut Random| Point::new(r.between(5.0, 60.0), r.between(5.0, 60.0));
            let (a, b) = (at(random), at(random));
            let radius = random.between(0.5, 3.0);
            if i % 3 == 0 { circle(a, radius) } else { pill(a, b, radius) }
        })
        .collect()
}

#[test]
fn survey() {
    for offset in [0.25, 0.9] {
        for fit in [0.005, 0.0075] {
            let mut lines = Vec::new();
            for (name, kind) in [("icons", 0), ("polygons", 1), ("blobs", 2), ("small", 3)] {
                let mut random = Random(88172645463325252);
                let (mut exact, mut grid, mut grid2, mut points) =
                    (Outcome::default(), Outcome::default(), Outcome::default(), 0);
                for _ in 0..6 {
                    let contours = match kind {
                        0 => icons(&mut random),
                        1 => vec![polygon(&mut random, 12.0)],
                        2 => vec![blob(&mut random, 8.0)],
                        _ => vec![polygon(&mut random, 1.5), blob(&mut random, 1.0)],
                    };
                    let s = BladeSettings { fit_tolerance_mm: fit, ..settings(offset, None) };
                    exact = exact.worse(cut(&contours, &s, |p| p.to_vec()));
                    let s = BladeSettings { unit_mm: Some(UNIT_MM), ..s };
                    grid = grid.worse(cut(&contours, &s, |p| p.to_vec()));
                    grid2 = grid2.worse(cut(&contours, &s, rounded));
                    let paths: Vec<_> =
                        contours.iter().cloned().enumerate().map(|(i, c)| tip_path(i, c)).collect();
                    points +=
                        compensate(&paths, &s).0.iter().map(|a| a.points.len()).sum::<usize>();
                }
                lines.push(format!(
                    "{name}: exact {:.4}/{:.4} grid {:.4}/{:.4} vs rounded {:.4}/{:.4} pts {points}",
                    exact.off_line, exact.uncut, grid.off_line, grid.uncut, grid2.off_line, grid2.uncut
                ));
            }
            for l in lines {
                println!("d {offset} fit {fit} {l}");
            }
        }
    }
}
