//! Whether a track comes back to its beginning: film hangs on where it does not.
//!
//! Its end need not meet its very start: a led blade may be set down a little beside the line, and
//! overcut crosses what was cut first. Whoever says that a cut closes asks here.

use crate::geometry::{Bounds, Point, distance_to_segment, is_longer};

/// How much of a track's beginning its end may come back to, mm: the longest stray start of a blade
/// for thick stock (offset 1 mm, 4 offsets).
const BEGINNING_MM: f64 = 4.0;
/// Beyond this the distance does not matter any more, mm.
const REACH_MM: f64 = 20.0;

/// Whether the later half of a track comes so near to its beginning: [`closing_gap`], but for most tracks
/// told by their last few edges, which come back to the very start.
pub fn comes_back(track: &[Point], within_mm: f64) -> bool {
    let Some(&start) = track.first() else { return false };
    let mut walked = 0.0;
    let last = track.windows(2).rev().take_while(|w| {
        walked += w[0].distance(w[1]);
        walked <= BEGINNING_MM
    });
    let mut at_start = last.map(|w| distance_to_segment(start, w[0], w[1]) <= within_mm);
    (is_longer(track, 2.0 * BEGINNING_MM) && at_start.any(|near| near))
        || closing_gap(track) <= within_mm
}

/// How near the later half of a track comes to its beginning; 0 where they cross.
pub fn closing_gap(track: &[Point]) -> f64 {
    let length: f64 = track.windows(2).map(|w| w[0].distance(w[1])).sum();
    let beginning = BEGINNING_MM.min(length / 4.0);
    let (mut early, mut late, mut along) = (Vec::new(), track.len(), 0.0);
    let mut middle = Point::ORIGIN;
    for (i, w) in track.windows(2).enumerate() {
        let step = w[0].distance(w[1]);
        // The part of the edge between two distances along the track.
        let share = |at: f64| if step > 0.0 { ((at - along) / step).clamp(0.0, 1.0) } else { 1.0 };
        if along < beginning {
            early.push((w[0], w[0].lerp(w[1], share(beginning))));
        }
        if along + step > length / 2.0 {
            (late, middle) = (i, w[0].lerp(w[1], share(length / 2.0)));
            break;
        }
        along += step;
    }
    let mut gap = REACH_MM;
    let bounds = early.iter().fold(Bounds::EMPTY, |b, (p, q)| b.union(Bounds::of(&[*p, *q])));
    for i in (late..track.len().saturating_sub(1)).rev() {
        let (a, b) = (if i == late { middle } else { track[i] }, track[i + 1]);
        if bounds.grown(gap).touches(Bounds::of(&[a, b])) {
            gap = early.iter().map(|&(p, q)| between((a, b), (p, q))).fold(gap, f64::min);
        }
        if gap == 0.0 {
            break;
        }
    }
    gap
}

/// Distance of two straight edges.
fn between((a, b): (Point, Point), (p, q): (Point, Point)) -> f64 {
    let parted =
        |a: Point, b: Point, p: Point, q: Point| (b - a).cross(p - a) * (b - a).cross(q - a) < 0.0;
    if parted(a, b, p, q) && parted(p, q, a, b) {
        return 0.0;
    }
    let ends = [(p, a, b), (q, a, b), (a, p, q), (b, p, q)];
    ends.into_iter().map(|(e, a, b)| distance_to_segment(e, a, b)).fold(REACH_MM, f64::min)
}
