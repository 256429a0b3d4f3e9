//! Caps and joins (W3C SVG 2, chapter Painting: "Computing the shape of the stroke").
//!
//! Both sides of a corner are handed to the two chains at once. The inner side runs through the
//! vertex itself: a direct link between the two offsets would take area away wherever the edges
//! are shorter than half the width.

use crate::drawing::{Cap, Join};
use crate::geometry::Point;

use super::Brush;
use super::chain::Chains;
use super::curve::Station;

/// What is known of the two segments that meet.
pub(super) struct Corner {
    /// The end of the segment before.
    pub before: Station,
    /// The start of the segment after.
    pub after: Station,
    /// Length of the shorter neighbour if both are straight, else 0: how far an inner shortcut
    /// may reach.
    pub room: f64,
    /// Both lie on one smooth curve that turns sharply there (a cusp): round, whatever the style.
    pub cusp: bool,
}

/// Adds the corner to both chains.
pub(super) fn join(corner: &Corner, brush: &Brush, chains: &mut Chains) {
    let v = corner.after.p;
    let (n0, n1) = (corner.before.n(), corner.after.n());
    let turn = corner.before.t.cross(corner.after.t).atan2(corner.before.t.dot(corner.after.t));
    if turn.abs() * brush.r < brush.tolerance * 0.1 {
        chains.left.push(v + n1 * brush.r);
        chains.right.push(v - n1 * brush.r);
        return;
    }
    // On a left turn the outer side is the right one.
    let outer_sign = if turn > 0.0 { -1.0 } else { 1.0 };
    let (outer, inner) = if turn > 0.0 {
        (&mut chains.right, &mut chains.left)
    } else {
        (&mut chains.left, &mut chains.right)
    };
    outer.push(v + n0 * (brush.r * outer_sign));
    outer_join(corner, brush, turn, outer);
    outer.push(v + n1 * (brush.r * outer_sign));

    let reach = brush.r * (turn.abs() / 2.0).tan();
    if reach < 0.49 * corner.room {
        let bisector = n0 + n1;
        inner.push(v - bisector * (brush.r * outer_sign / (1.0 + n0.dot(n1))));
    } else {
        inner.push(v - n0 * (brush.r * outer_sign));
        inner.push(v);
        inner.push(v - n1 * (brush.r * outer_sign));
    }
}

/// The points of the outer side between the two offsets.
fn outer_join(corner: &Corner, brush: &Brush, turn: f64, out: &mut Vec<Point>) {
    let v = corner.after.p;
    let sign = if turn > 0.0 { -1.0 } else { 1.0 };
    let from = corner.before.n() * sign;
    if corner.cusp || brush.style.join == Join::Round {
        brush.arc(v, from, turn, out);
        return;
    }
    let to = corner.after.n() * sign;
    let cosine = (turn / 2.0).cos();
    let within = cosine * brush.style.miter_limit >= 1.0;
    match brush.style.join {
        Join::Miter | Join::MiterClip if within => {
            out.push(v + (from + to) * (brush.r / (1.0 + from.dot(to))));
        }
        Join::MiterClip => clipped_miter(corner, brush, turn, out),
        _ => {}
    }
}

/// A miter cut off square to its bisector at half the miter limit times the width.
fn clipped_miter(corner: &Corner, brush: &Brush, turn: f64, out: &mut Vec<Point>) {
    let v = corner.after.p;
    let sign = if turn > 0.0 { -1.0 } else { 1.0 };
    let half = turn.abs() / 2.0;
    // How far each edge runs on beyond its end until it meets the clipping line.
    let limit = brush.style.miter_limit * brush.r;
    let run_on = (limit - brush.r * half.cos()) / half.sin();
    if run_on > 0.0 {
        out.push(v + corner.before.n() * (brush.r * sign) + corner.before.t * run_on);
        out.push(v + corner.after.n() * (brush.r * sign) - corner.after.t * run_on);
    }
}

/// The cap at `end`, whose tangent points out of the line: from the right side to the left.
pub(super) fn cap(end: &Station, brush: &Brush, out: &mut Vec<Point>) {
    let side = end.n() * brush.r;
    out.push(end.p - side);
    match brush.style.cap {
        Cap::Butt => {}
        Cap::Round => brush.arc(end.p, end.n() * -1.0, std::f64::consts::PI, out),
        Cap::Square => {
            let ahead = end.t * brush.r;
            out.push(end.p - side + ahead);
            out.push(end.p + side + ahead);
        }
    }
    out.push(end.p + side);
}

/// What a subpath of length zero paints: a dot, a square along the axes, or nothing.
pub(super) fn dot(at: Point, brush: &Brush) -> Option<Vec<Point>> {
    let r = brush.r;
    match brush.style.cap {
        Cap::Butt => None,
        Cap::Round => {
            let mut circle = vec![at + Point::new(r, 0.0)];
            brush.arc(at, Point::new(1.0, 0.0), std::f64::consts::TAU, &mut circle);
            Some(circle)
        }
        Cap::Square => {
            Some([(-r, -r), (r, -r), (r, r), (-r, r)].map(|(x, y)| at + Point::new(x, y)).to_vec())
        }
    }
}
