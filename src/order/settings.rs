//! What an order is asked for: [`OrderSettings`].

use crate::geometry::{Bounds, Point};
use crate::profile::{FeedAxis, Motion};

/// How the order is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum Strategy {
    /// As drawn, except that inner lines come before those around them.
    Drawn,
    /// Always the nearest line that may be cut next.
    Nearest,
    /// The shortest order that the search finds.
    #[default]
    Best,
}

/// How long [`Strategy::Best`] searches: a number of kicks per line, never a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum Effort {
    /// A fifth to a third of the normal number.
    Quick,
    /// A kick for each line of a large order, more of small ones: some tenths of a second.
    #[default]
    Normal,
    /// Ten times the normal number or a little more.
    Long,
}

/// What a move with the tool up costs.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Cost {
    /// Its length, mm.
    #[default]
    Travel,
    /// Its longer side, mm: both axes move at once at the same speed.
    Chebyshev,
    /// Its time, s, both axes at once: speed up, run, slow down.
    Time {
        /// Top speed of an axis, mm/s.
        speed_mm_s: f64,
        /// Acceleration of an axis, mm/s².
        acceleration_mm_s2: f64,
    },
}

impl Cost {
    /// The time on a machine that moves as `motion` says; without it the longer side stands for
    /// time, which loses about 1 % of it.
    pub fn time(motion: Option<&Motion>) -> Self {
        match motion {
            Some(m) if m.travel_mm_s > 0.0 && m.acceleration_mm_s2 > 0.0 => {
                Self::Time { speed_mm_s: m.travel_mm_s, acceleration_mm_s2: m.acceleration_mm_s2 }
            }
            _ => Self::Chebyshev,
        }
    }
}

/// Where the tool goes after the last cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum End {
    /// To this point.
    At(Point),
    /// Nowhere: it stays where the last cut ended.
    Anywhere,
    /// Straight along one axis to this coordinate, mm.
    Past {
        /// The axis along which it goes.
        axis: FeedAxis,
        /// Where it stops on that axis, mm.
        at_mm: f64,
    },
}

/// Bands along the feed, for film that creeps when it is fed back far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bands {
    /// The axis along which the film moves.
    pub axis: FeedAxis,
    /// The longest feed back, mm.
    pub height_mm: f64,
    /// How far the tool's axis may go past the ends of a line, mm.
    pub beyond_mm: f64,
}

impl Bands {
    /// From where to where along the feed the tool goes while it follows a line within `bounds`, mm;
    /// the second below the first where there is no line.
    pub fn reach(&self, bounds: &Bounds) -> (f64, f64) {
        let [low, high] = [bounds.min, bounds.max].map(|p| self.axis.of(p));
        (low - self.beyond_mm, high + self.beyond_mm)
    }
}

/// Where a closed contour may be begun, and how.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct EntrySettings {
    /// Price of turning the blade between two cuts, mm of travel per radian; 0 for pens. 0.1 to 0.3
    /// keeps the swings small for about 1 % of travel.
    pub heading_mm_per_rad: f64,
    /// Straight run that has to lie around a start, mm: blade offset + overcut. 0 for pens: starts
    /// are then vertices only.
    pub keep_off_corners_mm: f64,
    /// Closed contours are cut in their own sense only.
    pub one_sense: bool,
}

/// What an order is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderSettings {
    /// How the order is found.
    pub strategy: Strategy,
    /// How long the search lasts.
    pub effort: Effort,
    /// What is made small.
    pub cost: Cost,
    /// Where the tool stands before the first cut, mm.
    pub start: Point,
    /// Where it goes after the last one.
    pub end: End,
    /// A number for each line; lines of a lower one are cut first. Empty: all at once. A line waits
    /// for what is inside it, whatever its own number.
    pub stages: Vec<u32>,
    /// Starts of closed contours.
    pub entries: EntrySettings,
    /// Bands along the feed, finished in turn; `None` for sheets that hold still.
    pub bands: Option<Bands>,
}

impl Default for OrderSettings {
    fn default() -> Self {
        Self {
            strategy: Strategy::Best,
            effort: Effort::Normal,
            cost: Cost::Travel,
            start: Point::ORIGIN,
            end: End::At(Point::ORIGIN),
            stages: Vec::new(),
            entries: EntrySettings::default(),
            bands: None,
        }
    }
}
