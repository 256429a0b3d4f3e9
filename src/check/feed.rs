//! How far a roll's film is fed back, read from where the tool goes.

use crate::finding::{Finding, Place};
use crate::geometry::Point;
use crate::profile::FeedAxis;
use crate::simulate::Simulation;

/// The longest way back along the feed, from the farthest place that was reached before, mm, and where
/// it ends. What comes after the last cut does not count.
pub fn longest_back_feed(simulation: &Simulation, axis: FeedAxis) -> (f64, Point) {
    let places = simulation.cuts.iter().flat_map(|cut| cut.travel.iter().chain(&cut.axis));
    let mut farthest = f64::NEG_INFINITY;
    let mut worst = (0.0, Point::ORIGIN);
    for &place in places {
        farthest = farthest.max(axis.of(place));
        if farthest - axis.of(place) > worst.0 {
            worst = (farthest - axis.of(place), place);
        }
    }
    worst
}

/// Tells when the film is fed back over more than `most_mm`, and more than the longest line needs.
pub fn fed_back(
    simulation: &Simulation,
    axis: FeedAxis,
    (most_mm, longest_line_mm): (f64, f64),
) -> Option<Finding> {
    let (back_mm, place) = longest_back_feed(simulation, axis);
    if back_mm <= most_mm.max(longest_line_mm) {
        return None;
    }
    let text = format!(
        "The film is fed back over {back_mm:.1} mm, farther than the longest back-feed of {most_mm} mm: \
         what is made there comes after the rest by its kind (another tool, weeding, a cut that turns \
         the blade)."
    );
    let hint = "Make each kind a job of its own, or part the work into panels.";
    Some(Finding::warning("fed-back", text).at(Place::sheet(place)).hint(hint))
}
