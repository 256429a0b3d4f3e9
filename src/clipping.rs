//! Lines → what of them lies between two limits: [`clipped`]. Lines stay lines; nothing is closed along a
//! limit.
//!
//! Method: every edge is cut at the limits by its parameter (Liang and Barsky, 1984, for one axis).

use crate::geometry::{Contour, Point};

/// The stretches of `line` whose place, as `on` tells it, lies between the limits; a closed line that is cut
/// becomes open ones.
pub fn clipped(line: &Contour, [from, to]: [f64; 2], on: impl Fn(Point) -> f64) -> Vec<Contour> {
    let mut stretches: Vec<Vec<Point>> = Vec::new();
    let mut whole = true;
    for (a, b) in line.edges() {
        let (s, e) = (on(a), on(b));
        let at = |limit: f64| ((limit - s) / (e - s)).clamp(0.0, 1.0);
        let (mut first, mut last) = (0.0, 1.0);
        for (limit, sign) in [(from, 1.0), (to, -1.0)] {
            match ((s - limit) * sign < 0.0, (e - limit) * sign < 0.0) {
                (true, true) => last = -1.0,
                (true, false) => first = f64::max(first, at(limit)),
                (false, true) => last = f64::min(last, at(limit)),
                (false, false) => {}
            }
        }
        whole &= first == 0.0 && last == 1.0;
        if first >= last {
            continue;
        }
        let (start, end) = (a.lerp(b, first), a.lerp(b, last));
        match stretches.last_mut() {
            Some(stretch) if stretch.last() == Some(&start) => stretch.push(end),
            _ => stretches.push(vec![start, end]),
        }
    }
    if whole {
        return vec![line.clone()];
    }
    // A closed line begins in the middle of a stretch: its last one runs on into its first.
    if line.closed
        && stretches.len() > 1
        && stretches[0].first() == stretches[stretches.len() - 1].last()
    {
        let first = stretches.remove(0);
        if let Some(last) = stretches.last_mut() {
            last.extend(first.into_iter().skip(1));
        }
    }
    stretches.into_iter().map(Contour::open).collect()
}
