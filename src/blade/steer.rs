//! Pieces of the wanted line → the axis positions that pull the tip along them.
//!
//! In: a chain of [`Piece`]s (the overcut already appended) and the heading at the plunge. Out:
//! [`Waypoint`]s, exact, not yet rounded. Axis = tip + offset × tangent: a line's axis is the line
//! moved ahead, an arc of radius r has an axis arc of radius √(r² + d²) about the same centre,
//! chorded with vertices pushed out by (1 + h²/3) so that the tip's mean radius is r; where the
//! tangent jumps, a swing. Compensation of this form corrects itself: a heading error dies with
//! e^(−s/d) along the tip's path. (Circular case: S. Dunbar, R. Bosman, S. Nooij 2001; chord and
//! swing radii: own derivation, checked in `tests/blade_reference.rs`.)

use std::f64::consts::PI;

use super::fit::{Fitted, Piece, turned_about};
use super::swing::{Swing, step};
use super::{BladeSettings, Part};
use crate::geometry::{Point, wrap_angle};

/// Of the swing tolerance, the share that an axis arc's chords may be away from the arc.
const CHORD_SHARE: f64 = 0.6;
/// The least of it that they may be away where the arc itself is off by nearly all.
const LEAST_CHORD_SHARE: f64 = 0.15;
/// Of the swing tolerance, the share that is used: where what a swing and what a fitted line are
/// off by fall on the same side, the rest takes it up.
const USED_SHARE: f64 = 0.94;
/// Of the sagitta of an axis arc's chords, the most that the tip leaves the arc: vertices stand off
/// by two thirds of it, middles by a third the other way.
const SAGITTA_SHARE: f64 = 2.0 / 3.0;
/// Turns closer to a half turn than this go to the side asked for, radians.
const HALF_TURN_SLACK: f64 = 1e-6;
/// A corner whose two axis positions are closer than this share of a plotter unit gets one.
const ONE_POINT_SHARE: f64 = 0.2;

/// At a corner that turns by less, the tip need not rest exactly: along the line is along either
/// side, radians.
const SHALLOW: f64 = 0.5;

/// An axis position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Waypoint {
    /// Where, mm.
    pub at: Point,
    /// What the way to it is for.
    pub part: Part,
    /// Index of the piece that the tip is on when the axis arrives.
    pub piece: usize,
    /// The vertex of the contour that the tip has then reached, about.
    pub vertex: usize,
    /// Where the tip rests when the axis arrives, if it is a corner or an end.
    pub rest: Option<Point>,
}

/// What the steering of one line starts from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Course<'a> {
    /// The wanted line, overcut included.
    pub line: &'a Fitted,
    /// Index of the first piece that is overcut.
    pub overcut_from: usize,
    /// Heading of the blade at the plunge, radians; `None` when unknown.
    pub heading: Option<f64>,
    /// The side to which exact half turns go: above 0 is to the left.
    pub half_turn_side: f64,
}

/// The axis positions from plunge to lift.
pub(super) fn steer(course: &Course<'_>, settings: &BladeSettings) -> Vec<Waypoint> {
    let mut steering = Steering { course, settings, way: Vec::new() };
    let Some(first) = course.line.pieces.first() else { return Vec::new() };
    steering.hand_over(first);
    for (i, piece) in course.line.pieces.iter().enumerate() {
        if let Piece::Arc { .. } = piece {
            steering.arc(i);
        }
        match course.line.pieces.get(i + 1) {
            Some(next) => steering.join(i, piece, next),
            None => steering.end(i, piece),
        }
    }
    steering.way
}

struct Steering<'a> {
    course: &'a Course<'a>,
    settings: &'a BladeSettings,
    way: Vec<Waypoint>,
}

impl Steering<'_> {
    /// Plunges with the tip on the start and turns about it into the line's direction.
    fn hand_over(&mut self, first: &Piece) {
        let (start, tangent) = (first.start(), first.start_tangent());
        let heading = self.course.heading.unwrap_or(tangent.angle());
        let plunge = Waypoint { vertex: 0, ..self.at_end(0) };
        self.corner(plunge, (start, heading), tangent);
    }

    /// From the end of piece `i` into the next one.
    fn join(&mut self, i: usize, piece: &Piece, next: &Piece) {
        let tangent = piece.end_tangent();
        self.corner(self.at_end(i), (piece.end(), tangent.angle()), next.start_tangent());
    }

    /// The last position: the tip at the end of the last piece.
    fn end(&mut self, i: usize, piece: &Piece) {
        let at = piece.end() + piece.end_tangent() * self.settings.offset_mm;
        // An overcut may end anywhere along its line.
        let rest = (i < self.course.overcut_from).then(|| piece.end());
        self.push(Waypoint { at, part: self.part(i), rest, ..self.at_end(i) });
    }

    /// Positions about `corner`, from `heading` to `tangent`; the first one ends the way to `reached`.
    fn corner(&mut self, reached: Waypoint, (corner, heading): (Point, f64), tangent: Point) {
        let i = reached.piece;
        let offset = self.settings.offset_mm;
        let turn = self.turn(heading, tangent.angle());
        let begins = reached.vertex == 0 && self.is_cut_once();
        let one_point = ONE_POINT_SHARE * self.settings.unit_mm.unwrap_or(0.0);
        if turn.abs() * offset <= one_point {
            let at = corner + Point::along(heading + turn / 2.0) * offset;
            let rest = begins.then_some(corner);
            self.push(Waypoint { at, part: self.part(i), rest, ..reached });
            return;
        }
        let tolerance = USED_SHARE * self.settings.swing_tolerance_mm;
        let smooth = reached.vertex == 0 && self.starts_smoothly();
        let rests = begins || turn.abs() > SHALLOW && !smooth;
        let swing = Swing { corner, from: heading, turn };
        for (k, at) in swing.vertices(offset, tolerance).into_iter().enumerate() {
            let part = if k == 0 { self.part(i) } else { Part::Swing };
            self.push(Waypoint { at, part, rest: rests.then_some(corner), ..reached });
        }
    }

    /// Whether nothing of the line is cut again: then it has to begin where it begins.
    fn is_cut_once(&self) -> bool {
        self.course.overcut_from >= self.course.line.pieces.len()
    }

    /// Whether the line closes smoothly on its start and is cut there again: then the tip may
    /// begin a little before or after it.
    fn starts_smoothly(&self) -> bool {
        let pieces = &self.course.line.pieces;
        let overcut = self.course.overcut_from < pieces.len();
        let ends = pieces.first().zip(pieces.get(self.course.overcut_from.wrapping_sub(1)));
        overcut
            && ends.is_some_and(|(first, last)| {
                let turn = wrap_angle(first.start_tangent().angle() - last.end_tangent().angle());
                turn.abs() <= SHALLOW
            })
    }

    /// The shorter way round; exact half turns to the side asked for.
    fn turn(&self, from: f64, to: f64) -> f64 {
        let turn = wrap_angle(to - from);
        if PI - turn.abs() < HALF_TURN_SLACK { PI * self.course.half_turn_side } else { turn }
    }

    /// Positions within an arc, its ends left to the corners.
    fn arc(&mut self, i: usize) {
        let Piece::Arc { from, center, sweep, .. } = self.course.line.pieces[i] else { return };
        let offset = self.settings.offset_mm;
        let radius = from.distance(center).hypot(offset);
        let tolerance = self.chord_tolerance_mm(i);
        let widest = (8.0 * tolerance / radius).sqrt().min(step(offset, tolerance));
        let steps = (sweep.abs() / widest).ceil().max(1.0);
        let half = sweep.abs() / steps / 2.0;
        let ahead = from
            + (from - center).perpendicular() * (sweep.signum() * offset / from.distance(center));
        let first = center + (ahead - center) * (1.0 + half * half / 3.0);
        let (begin, end) = (self.course.line.begin(i), self.course.line.ends[i]);
        for k in 1..steps as usize {
            let at = turned_about(first, center, sweep * k as f64 / steps);
            let vertex = begin + (end - begin) * k / steps as usize;
            self.push(Waypoint { at, part: self.part(i), piece: i, vertex, rest: None });
        }
    }

    /// How far an axis arc's chords may be away from it: what the arc is off its vertices by, and
    /// what the tip then is off the arc by, may add up.
    fn chord_tolerance_mm(&self, i: usize) -> f64 {
        let all = self.settings.swing_tolerance_mm;
        let left = (USED_SHARE * all - self.course.line.off_mm(i)) / SAGITTA_SHARE;
        left.clamp(LEAST_CHORD_SHARE * all, CHORD_SHARE * all)
    }

    fn part(&self, i: usize) -> Part {
        if i >= self.course.overcut_from { Part::Overcut } else { Part::Cut }
    }

    /// What all positions at the end of piece `i` have in common.
    fn at_end(&self, i: usize) -> Waypoint {
        let vertex = self.course.line.ends[i];
        Waypoint { at: Point::ORIGIN, part: Part::Swing, piece: i, vertex, rest: None }
    }

    fn push(&mut self, waypoint: Waypoint) {
        if self.way.last().is_none_or(|last| last.at != waypoint.at) {
            self.way.push(waypoint);
        }
    }
}
