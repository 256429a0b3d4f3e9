//! The place where the tip is furthest from its line, enlarged below a still picture: what is wanted,
//! and what the tip cuts. A ring on the sheet shows where it is.

use std::f64::consts::TAU;
use std::fmt::Write;

use super::picture::{BLACK, Frame, Pen, RULER, SKY};
use super::{Lens, View};
use crate::geometry::{Bounds, Point};

/// Side of the enlarged place, in heights of letters.
pub(super) const SIDE: f64 = 26.0;
/// Lines across the enlarged place that would fill it: they keep their look.
const LINES: f64 = 240.0;

const WANTED: Pen = Pen { colour: SKY, width: 5.0, dashes: "" };
const CUT_BY_TIP: Pen = Pen { colour: BLACK, width: 1.6, dashes: "" };
const RING: Pen = Pen { colour: BLACK, width: 1.6, dashes: "4 2" };
const INK: Pen = Pen { colour: BLACK, width: 0.9, dashes: "" };

/// Draws what `view` enlarges, if it does.
pub(super) fn draw(frame: &Frame, view: &View, svg: &mut String) {
    let Some(lens) = &view.lens else { return };
    let side = frame.letter * SIDE;
    let left = frame.sheet.min.x - frame.margin() * 0.5;
    let top = frame.sheet.min.y - frame.margin() * 1.1 - frame.letter * 5.2;
    let place = Bounds::of(&[Point::new(left, top - side), Point::new(left + side, top)]);
    enlarged(frame, (view, lens), place, svg);
    let Bounds { min, max } = place;
    let edge = [min, Point::new(max.x, min.y), max, Point::new(min.x, max.y), min];
    frame.draw([&edge[..]].into_iter(), &RULER, svg);
    let turn = |i: u32| Point::along(TAU * f64::from(i) / 24.0) * frame.letter;
    let ring: Vec<Point> = (0..=24).map(|i| lens.at + turn(i)).collect();
    frame.draw([&ring[..]].into_iter(), &RING, svg);
    words(frame, lens, place, svg);
}

/// The lines within the lens' window, clipped to `place` by an inner picture.
fn enlarged(frame: &Frame, (view, lens): (&View, &Lens), place: Bounds, svg: &mut String) {
    let window = Bounds::of(&[lens.at]).grown(lens.half_mm);
    let (side, width) = (place.width(), window.width());
    // Writing into a string cannot fail.
    let _ = writeln!(
        svg,
        "<svg x=\"{:.3}\" y=\"{:.3}\" width=\"{side:.3}\" height=\"{side:.3}\" \
         viewBox=\"{:.4} {:.4} {width:.4} {width:.4}\">",
        place.min.x, -place.max.y, window.min.x, -window.max.y
    );
    let inner = Frame { line: width / LINES, ..*frame };
    let wanted = lens.wanted.iter().flat_map(|line| inside(line, window));
    inner.draw(wanted, &WANTED, svg);
    let tips = view.simulation.cuts.iter().flat_map(|cut| inside(cut.tip(), window));
    inner.draw(tips, &CUT_BY_TIP, svg);
    svg.push_str("</svg>\n");
}

/// What is shown, how large, and what the lines are, beside `place`.
fn words(frame: &Frame, lens: &Lens, place: Bounds, svg: &mut String) {
    let (letter, step) = (frame.letter * 0.8, Point::new(0.0, frame.letter * 1.6));
    let mut at = place.max + Point::new(frame.letter, -frame.letter);
    for text in [
        format!("RINGED: CUT {} AT {:.1}, {:.1} MM", lens.cut, lens.at.x, lens.at.y),
        format!("TIP OFF BY {:.3} MM", lens.error_mm),
        format!("{:.0} TIMES AS LARGE", place.width() / (2.0 * lens.half_mm)),
    ] {
        frame.text(&text, at, letter, &INK, svg);
        at = at - step;
    }
    for (pen, name) in [(&WANTED, "WANTED"), (&CUT_BY_TIP, "CUT BY THE TIP")] {
        let left = at + Point::new(0.0, letter / 2.0);
        let line = [left, left + Point::new(frame.letter * 3.0, 0.0)];
        frame.draw([&line[..]].into_iter(), pen, svg);
        frame.text(name, at + Point::new(frame.letter * 3.6, 0.0), letter, &INK, svg);
        at = at - step;
    }
}

/// The stretches of a line that come into a window.
fn inside(line: &[Point], window: Bounds) -> Vec<&[Point]> {
    let comes_in = |w: &[Point]| Bounds::of(w).touches(window);
    let mut all = Vec::new();
    let mut from = 0;
    for to in 0..line.len() {
        if !line.get(to..to + 2).is_some_and(comes_in) {
            all.extend((to > from).then(|| &line[from..=to]));
            from = to + 1;
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_comes_into_the_window_is_drawn() {
        let line: Vec<Point> = (0..10).map(|i| Point::new(f64::from(i), 0.0)).collect();
        let window = Bounds::of(&[Point::new(4.2, -1.0), Point::new(5.1, 1.0)]);
        assert_eq!(inside(&line, window), [&line[4..=6]]);
        assert!(inside(&line, window.grown(-5.0)).is_empty());
        assert!(inside(&line[..1], window).is_empty());
    }
}
