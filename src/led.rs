//! A simulated job → what it was written for: the offset of the blade that its axis leads, if its corners
//! show one.
//!
//! A trailing blade is led past the end C of a straight line by its offset d, swung about C, and led on
//! from C: the axis goes from C + d·u (u along the line that ends) to C + d·v (v along the one that
//! begins), all at the distance d from C, and C is where both lines cross. A tool that cuts where it
//! is sent stays on the near side of C, also where a corner is drawn round. So each corner between two
//! straight lines tells d, whatever offset is set; of all that do the middle one is taken.
//!
//! Where corners show nothing, swings and closed cuts tell ([`proof::written_for`]). Method: plane geometry
//! of a bar that turns about its trailing end; ours.

use std::ops::Range;

use crate::finding::Finding;
use crate::geometry::{Point, wrap_angle};
use crate::proof::{self, WrittenFor};
use crate::simulate::Simulation;

/// A straight line is at least so long, mm: rounded to 0.025 mm it turns by 1.5 degrees at most.
const STRAIGHT_MM: f64 = 1.0;
/// Where both lines cross is known well enough only at such angles, radians.
const TURNS: Range<f64> = 0.5..2.7;
/// Points between two lines that are still taken for one swing: a half turn in chords of 2 degrees.
const MOST_POINTS: usize = 90;
/// Rounded positions lie off the circle by so many plotter units: a diagonal.
const ROUNDED_UNITS: f64 = 1.45;
/// A smaller offset shows no more than rounding does, plotter units.
const LEAST_UNITS: f64 = 1.2;
/// A larger one is no blade's, mm.
const MOST_MM: f64 = 3.0;
/// So many corners have to agree, at least.
const LEAST_CORNERS: usize = 3;

/// Corners show the offset within so much, mm, and within a plotter unit.
const KNOWN_MM: f64 = 0.03;

/// What a job was written for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Written {
    /// For the blade that is set, or for a tool that cuts where it is sent.
    For(WrittenFor),
    /// For a blade of another offset, mm.
    OtherOffset(f64),
}

/// What a job was written for that counts in steps of `unit_mm`, where `set_mm` is the offset that is set.
pub fn written_for(simulation: &Simulation, unit_mm: f64, set_mm: f64) -> Written {
    let known = KNOWN_MM.max(unit_mm);
    match corners(simulation, unit_mm) {
        Corners::Led(led) if (led - set_mm).abs() > known => Written::OtherOffset(led),
        Corners::Led(_) if set_mm > 0.0 => Written::For(WrittenFor::TrailingBlade),
        Corners::Led(_) | Corners::Plain => Written::For(WrittenFor::Axis),
        Corners::Nothing => Written::For(proof::written_for(simulation, set_mm)),
    }
}

/// Says that a job leads a blade of another offset than the one that is set.
pub fn other_offset(led_mm: f64, set_mm: f64) -> Finding {
    let text = format!(
        "The job leads a blade whose offset is about {led_mm:.2} mm, and {set_mm:.3} mm is set: what the \
         tip of that blade would cut counts as wanted, what one of {set_mm:.3} mm cuts is told."
    );
    let hint = format!(
        "Say --blade-offset {led_mm:.2}mm if the blade is that one; write the job anew for another."
    );
    Finding::warning("offset-differs", text).hint(hint)
}

/// Says that a job is not for the blade that is set, in front of one who is about to cut it.
pub fn unfit(simulation: &Simulation, unit_mm: f64, set_mm: f64) -> Option<Finding> {
    if set_mm <= 0.0 {
        return None;
    }
    let (text, hint) = match corners(simulation, unit_mm) {
        Corners::Led(led_mm) if (led_mm - set_mm).abs() > KNOWN_MM.max(unit_mm) => (
            format!("The job leads a blade whose offset is about {led_mm:.2} mm, and {set_mm:.3} mm is set."),
            format!("Say --blade-offset {led_mm:.2}mm if the blade is that one; write the job anew for another."),
        ),
        Corners::Plain => (
            format!(
                "The job leads no trailing blade, and one of {set_mm:.3} mm is set: it would cut corners round \
                 and beside their place."
            ),
            "Tuning sheets are so on purpose. Write any other job anew for this blade, or say --blade-offset 0 \
             if the machine turns the blade by itself."
                .to_owned(),
        ),
        _ => return None,
    };
    Some(Finding::warning("offset-differs", text).hint(hint))
}

/// What a job's corners show.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Corners {
    /// They lead a blade of this offset, mm.
    Led(f64),
    /// The tool is sent along them: no blade is led.
    Plain,
    /// There are too few, or they differ.
    Nothing,
}

/// What the corners of a job show that counts in steps of `unit_mm`.
fn corners(simulation: &Simulation, unit_mm: f64) -> Corners {
    let (mut led, mut plain) = (Vec::new(), 0);
    for corner in simulation.cuts.iter().flat_map(|cut| corners_of(&cut.axis, unit_mm)) {
        match corner {
            Some(offset) => led.push(offset),
            None => plain += 1,
        }
    }
    led.sort_by(f64::total_cmp);
    let Some(&middle) = led.get(led.len() / 2).filter(|_| led.len() > plain) else {
        return if plain >= LEAST_CORNERS { Corners::Plain } else { Corners::Nothing };
    };
    let agree = led.iter().filter(|d| (**d - middle).abs() <= ROUNDED_UNITS * unit_mm).count();
    let sure = agree >= LEAST_CORNERS && 2 * agree > led.len();
    if sure { Corners::Led(middle) } else { Corners::Nothing }
}

/// The offset that each swing between two straight lines of `axis` tells; `None` for a corner in which
/// they meet.
fn corners_of(axis: &[Point], unit_mm: f64) -> Vec<Option<f64>> {
    let ends = (1..axis.len()).filter(|&end| axis[end - 1].distance(axis[end]) >= STRAIGHT_MM);
    let mut told = Vec::new();
    let mut last: Option<usize> = None;
    for end in ends {
        if let Some(start) = last {
            let lines = [axis[start] - axis[start - 1], axis[end] - axis[end - 1]];
            let turn = wrap_angle(lines[1].angle() - lines[0].angle()).abs();
            match end - start {
                _ if !TURNS.contains(&turn) => {}
                1 => told.push(None),
                2..=MOST_POINTS => told.extend(swing(&axis[start..end], lines, unit_mm).map(Some)),
                _ => {}
            }
        }
        last = Some(end);
    }
    told
}

/// How far all `points` from one line to the next stand from where both cross, if they do so beyond it.
fn swing(points: &[Point], [before, after]: [Point; 2], unit_mm: f64) -> Option<f64> {
    let (first, last) = (*points.first()?, *points.last()?);
    let (u, v) = (before * before.length().recip(), after * after.length().recip());
    let beyond = (last - first).cross(v) / u.cross(v);
    let center = first + u * beyond;
    let far = [(first - center).dot(u), (last - center).dot(v)];
    let offset = (far[0] + far[1]) / 2.0;
    let is_near = |mm: f64| (mm - offset).abs() <= ROUNDED_UNITS * unit_mm;
    let round = far.into_iter().chain(points.iter().map(|p| p.distance(center))).all(is_near);
    (round && (LEAST_UNITS * unit_mm..MOST_MM).contains(&offset)).then_some(offset)
}
