//! The patterns themselves, as tests in rows with a number beside each.

use std::f64::consts::{PI, TAU};

use super::build::Builder;
use super::{Pattern, Sheet, SheetSettings};
use crate::blade::Part;
use crate::geometry::{Contour, Point};

/// Turns of each circle: the blade settles on its track in the first.
pub(super) const TURNS: usize = 3;
/// Vertices of each circle per turn, at least.
const FEWEST_VERTICES: f64 = 24.0;
/// Chords of circles, mm: short against the radius, long against a plotter unit.
const CHORD_MM: f64 = 0.1;
/// How many tests a row of values has.
const TESTS: usize = 9;
/// How many circles: each a fifth larger than the one before, 0.125 to 2.8 mm.
const CIRCLES: usize = 18;
/// How many opposing strokes: 0.4 mm to either side of what is expected.
const TICKS: usize = 17;
/// Slanted start of uncompensated strokes, mm: a blade that happens to point straight back would
/// be pushed the wrong way round for the whole stroke.
const HOOK_MM: f64 = 0.8;
/// From one pair of opposing strokes to the next, mm.
const TICK_PITCH_MM: f64 = 5.0;
/// Side of the squares, mm: weeds easily, and twenty offsets long even for thick-stock blades.
const SQUARE_MM: f64 = 5.0;
/// Least side of a ladder's squares, in offsets: what a swing with a wrong offset leaves of a slant
/// has died by e^-5 at the side's end.
const LADDER_SIDE: f64 = 5.0;
/// Length of the stroke before a ladder's square, in offsets: the blade comes to it compensated, so
/// that less than a quarter turn is to be settled, and e^-6 of that is 0.2 degrees.
const LADDER_LEAD: f64 = 6.0;
/// Room for two digits, mm.
const DIGITS_MM: f64 = 4.0;
/// From the end of that stroke to the square, mm, and least in offsets: the axis, which runs ahead
/// of the stroke, has to go on to the right and down, further than any play, before it plunges.
const LADDER_GAP_MM: f64 = 2.0;
/// See [`LADDER_GAP_MM`].
const LADDER_GAP: f64 = 2.0;
/// Run that settles a blade, in offsets: 12 leave a ten-thousandth of a quarter turn.
const SETTLING: f64 = 12.0;
/// Width of a line of tests, mm: fits an A4 sheet.
const LINE_MM: f64 = 160.0;
/// Room between tests, mm.
const GAP_MM: f64 = 3.0;
/// From the sheet's lower edge (where the blade is turned) to the first test, mm.
const FOOT_MM: f64 = 5.0;
/// Room for a number above a test, mm.
const LABEL_MM: f64 = 3.5;

/// Lays out a sheet.
pub fn sheet(settings: &SheetSettings) -> Sheet {
    let mut builder = Builder::new(settings);
    match settings.pattern {
        Pattern::Circles => circles(&mut builder, settings),
        Pattern::Vernier => vernier(&mut builder, settings),
        Pattern::Eyelets => eyelets(&mut builder, settings),
        Pattern::Ladder => ladder(&mut builder, settings),
        Pattern::Overcut | Pattern::Force | Pattern::Speed => squares(&mut builder, settings),
    }
    builder.finish()
}

/// Circles of growing axis radius, each led into along its tangent, three turns.
fn circles(builder: &mut Builder, settings: &SheetSettings) {
    let (first, growth) = settings.first_and_step();
    let unit = settings.unit_mm;
    let lead = (8.0 * settings.offset_mm).max(3.0);
    let (mut x, mut y, mut row_height) = (0.0, FOOT_MM, 0.0_f64);
    for k in 0..CIRCLES {
        let radius = (first * growth.powi(k as i32) / unit).round() * unit;
        let height = HOOK_MM + lead + 2.0 * radius + LABEL_MM + GAP_MM;
        if x + 2.0 * radius > LINE_MM {
            (x, y, row_height) = (0.0, y + row_height, 0.0);
        }
        row_height = row_height.max(height);
        let center = snapped(Point::new(x + radius, y + HOOK_MM + lead + radius), unit);
        let label = center + Point::new(-1.0, radius + 1.0);
        builder.mark(radius, center, label);
        builder.drag(&circle(center, radius, lead), Part::Cut);
        x += 2.0 * radius + GAP_MM + 1.5;
    }
}

/// The axis of one circle, about `center`: straight in from below on its right, then the turns.
pub(super) fn circle(center: Point, radius: f64, lead: f64) -> Vec<Point> {
    let n = (TAU * radius / CHORD_MM).max(FEWEST_VERTICES).ceil() as usize;
    let start = center + Point::new(radius, -lead);
    let turn = |i: usize| center + Point::along(TAU * i as f64 / n as f64) * radius;
    let hook = start + Point::new(HOOK_MM, -HOOK_MM);
    [hook, start].into_iter().chain((0..=TURNS * n).map(turn)).collect()
}

/// Strokes from both sides whose ends pass one another by a growing amount, along x, then along y.
fn vernier(builder: &mut Builder, settings: &SheetSettings) {
    let (first, step) = settings.first_and_step();
    let run = (SETTLING * settings.offset_mm).max(4.0);
    for upright in [false, true] {
        let place = |along: f64, across: f64| {
            if upright {
                Point::new(
                    across,
                    along + run + HOOK_MM + FOOT_MM + TICK_PITCH_MM * (TICKS + 2) as f64,
                )
            } else {
                Point::new(along + run + HOOK_MM, across + FOOT_MM)
            }
        };
        for k in 0..TICKS {
            let (value, across) = (first + step * k as f64, TICK_PITCH_MM * k as f64);
            let label = place(run + 1.5, across) - Point::new(if upright { 1.0 } else { 0.0 }, 1.0);
            builder.mark(value, place(0.0, across), label);
            let hook = place(-run - HOOK_MM, across - HOOK_MM);
            builder.drag(&[hook, place(-run, across), place(0.0, across)], Part::Cut);
            let far = place(run - value, across + 0.6);
            let hook = place(run - value + HOOK_MM, across + 0.6 + HOOK_MM);
            builder.drag(&[hook, far, place(-value, across + 0.6)], Part::Cut);
        }
    }
}

/// Strokes that run out, turn half round and come back on the same line: to the left, then right.
fn eyelets(builder: &mut Builder, settings: &SheetSettings) {
    let (first, step) = settings.first_and_step();
    let run = (SETTLING * settings.offset_mm).max(6.0);
    for (row, left) in [true, false].into_iter().enumerate() {
        for k in 0..TESTS {
            let value = first + step * k as f64;
            let y = FOOT_MM + LABEL_MM * (row * (TESTS + 1) + k) as f64;
            let number = builder.mark(value, Point::new(run, y), Point::new(run + 3.0, y - 1.2));
            // Back on the line but for a hair, which says to which side the blade turns.
            let hair = if left { 1e-3 } else { -1e-3 };
            let points = vec![Point::new(0.0, y), Point::new(run, y), Point::new(0.5, y + hair)];
            builder.cut(Contour::open(points), value, 0.0, Some(number));
        }
    }
}

/// Squares, each cut with its own offset, from the lower left corner to the same corner.
///
/// Before each one a stroke turns the blade along the first side, so that no swing begins the square,
/// and it is reached from the left and above, as the last side reaches its end from above: the play
/// of the machine stands the same way at both ends and drops out. The first side begins and the last
/// one ends off by just what the offset is off; what closes is the blade's own offset.
fn ladder(builder: &mut Builder, settings: &SheetSettings) {
    let (first, step) = settings.first_and_step();
    let unit = settings.unit_mm;
    let side = SQUARE_MM.max(LADDER_SIDE * settings.offset_mm);
    let lead = (LADDER_LEAD * settings.offset_mm).max(DIGITS_MM);
    let from_lead = LADDER_GAP_MM.max(LADDER_GAP * settings.offset_mm);
    let pitch = lead + from_lead + side + GAP_MM;
    let in_line = ((LINE_MM / pitch) as usize).max(1);
    for k in 0..TESTS {
        let (column, line) = ((k % in_line) as f64, (k / in_line) as f64);
        let corner = Point::new(column * pitch + lead + from_lead, FOOT_MM);
        let corner = snapped(corner + Point::new(0.0, line * (side + LABEL_MM + GAP_MM)), unit);
        let stroke_end = corner + Point::new(-from_lead, from_lead);
        let stroke_start = stroke_end - Point::new(lead, 0.0);
        let value = first + step * k as f64;
        let number = builder.mark(value, corner, stroke_start + Point::new(0.2, 1.0));
        let stroke = Contour::open(vec![stroke_start, stroke_end]);
        builder.cut(stroke, settings.offset_mm, 0.0, None);
        builder.cut(square(corner, (side, 0.0)), value, 0.0, Some(number));
    }
}

/// Squares, each with its own overcut, force or speed.
fn squares(builder: &mut Builder, settings: &SheetSettings) {
    let (first, step) = settings.first_and_step();
    let most = settings.most.unwrap_or(f64::INFINITY);
    let values = (0..TESTS).map(|k| first + step * k as f64).take_while(|value| *value <= most);
    for (k, value) in values.enumerate() {
        let corner = Point::new(k as f64 * (SQUARE_MM + GAP_MM + 1.0), FOOT_MM);
        let number = builder.mark(value, corner, corner + Point::new(0.5, SQUARE_MM + 1.5));
        let overcut = match settings.pattern {
            Pattern::Overcut => value,
            _ => 2.0 * settings.offset_mm,
        };
        builder.cut(square(corner, (SQUARE_MM, 0.5)), settings.offset_mm, overcut, Some(number));
    }
}

/// A square that begins at a share of its lower side.
fn square(corner: Point, (side_mm, start): (f64, f64)) -> Contour {
    let side = |i: usize| Point::along(PI / 2.0 * i as f64) * side_mm;
    let [a, b, c, d] = [corner, corner + side(0), corner + side(0) + side(1), corner + side(1)];
    let points = if start > 0.0 { vec![a.lerp(b, start), b, c, d, a] } else { vec![a, b, c, d] };
    Contour::closed(points)
}

fn snapped(p: Point, unit: f64) -> Point {
    Point::new((p.x / unit).round() * unit, (p.y / unit).round() * unit)
}
