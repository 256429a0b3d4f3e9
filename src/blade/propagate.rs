//! [`TrailingBlade`]: where the tip of a freely turning blade is, exactly, for any path of its axis.
//!
//! In: offset, axis position, heading, then moves of the axis along lines and arcs. Out: the same
//! state after each move, and the tip's track. The one place that knows where a trailing tip is;
//! compensation, hand-over, simulation and tuning all ask here.
//!
//! Model: the edge forbids the tip to move sideways, so the heading β (direction tip → axis) obeys
//! β' = sin(φ − β)/d for travel direction φ and offset d. With θ = β − φ the half-angle vector
//! (sin θ/2, cos θ/2) obeys a linear equation with constant coefficients on lines and arcs; its
//! matrix exponential is the whole propagator: no step size, no pole at 180°, and radii below the
//! offset are nothing special. (Riccati form and circular case: S. Dunbar, R. Bosman, S. Nooij,
//! "The track of a bicycle back tire", 2001; heading map as a Möbius map: R. L. Foote, "Geometry
//! of the Prytz planimeter", 1998; speed does not matter: G. Prince, S. Dubois, 2008.)
//!
//! Invariants: the heading vector has length 1 after any number of moves (it is rebuilt from each
//! move's direction, so nothing drifts); a move of length 0 changes nothing.

use crate::geometry::Point;

/// A tip path drawn through sampled points leaves the true one by less than this, mm.
///
/// A twenty-fifth of the usual plotter unit: far below anything a figure or picture shows.
pub const SAMPLE_TOLERANCE_MM: f64 = 0.001;
/// Halvings at most while sampling one move; 2^20 pieces are never reached by finite moves.
const MAX_HALVINGS: u32 = 20;
/// Floor for the decay of one pull: its square is still a number, so that a blade driven straight
/// back keeps a direction, and a settled one is off by far less than the last digit.
const SMALLEST_DECAY: f64 = 1e-150;

/// A straight move of the axis, made ready for all the blades that make it from the same place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pull {
    to: Point,
    length: f64,
    /// Unit vector along the move; `None` for a move of length 0.
    travel: Option<Point>,
    /// What is left of the tangent of half the angle between blade and travel.
    decay: f64,
}

impl Pull {
    /// From `from` to `to`, for blades whose tip is `offset_mm` behind their axis.
    pub fn new(from: Point, to: Point, offset_mm: f64) -> Self {
        let way = to - from;
        let length = way.length();
        let travel = (length > 0.0).then(|| way * (1.0 / length));
        Self { to, length, travel, decay: decay(length, offset_mm) }
    }

    /// As much again, in the same direction, which ends at `to`.
    pub fn onward(self, to: Point) -> Self {
        Self { to, ..self }
    }

    /// Its first half, from `from`. The root of the decay is its own, but not that of the floor.
    fn halved(&self, from: Point, offset_mm: f64) -> Self {
        let (to, length) = (from.lerp(self.to, 0.5), self.length / 2.0);
        let is_floor = self.decay <= SMALLEST_DECAY;
        let decay = if is_floor { decay(length, offset_mm) } else { self.decay.sqrt() };
        Self { to, length, travel: self.travel, decay }
    }
}

/// What is left of the tangent of half the angle between blade and travel after a straight pull.
fn decay(length: f64, offset_mm: f64) -> f64 {
    (-length / offset_mm).exp().max(SMALLEST_DECAY)
}

/// A blade whose tip trails behind the axis about which it turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrailingBlade {
    offset_mm: f64,
    axis: Point,
    /// Unit vector from tip to axis.
    heading: Point,
}

impl TrailingBlade {
    /// A blade with its axis at `axis` and its tip `offset_mm` behind along `heading` (radians).
    ///
    /// An offset of 0 (or less, or not a number) is a pen: the tip is the axis, and the heading
    /// follows each move.
    pub fn new(offset_mm: f64, axis: Point, heading: f64) -> Self {
        Self { offset_mm: offset_mm.max(0.0), axis, heading: Point::along(heading) }
    }
    /// Distance of tip and axis, mm.
    pub fn offset_mm(&self) -> f64 {
        self.offset_mm
    }
    /// Where the axis is, mm.
    pub fn axis(&self) -> Point {
        self.axis
    }
    /// Where the tip is, mm.
    pub fn tip(&self) -> Point {
        self.axis - self.heading * self.offset_mm
    }
    /// Direction from tip to axis, radians, −π to π.
    pub fn heading(&self) -> f64 {
        self.heading.angle()
    }
    /// Direction from tip to axis as a unit vector.
    pub fn heading_vector(&self) -> Point {
        self.heading
    }
    /// The blade is lifted, carried and lowered with its axis at `axis`: the heading stays.
    pub fn carry_to(&mut self, axis: Point) {
        self.axis = axis;
    }

    /// Pulls the axis along a straight line.
    pub fn line_to(&mut self, to: Point) {
        self.pull(&Pull::new(self.axis, to, self.offset_mm));
    }

    /// Makes `pull`, which begins where the axis is and was made ready for a blade of this offset.
    pub(super) fn pull(&mut self, pull: &Pull) {
        if let Some(travel) = pull.travel {
            self.pull_from(half_angle(travel, self.heading), (pull, travel));
        }
    }

    /// Makes `pull` along `travel`, from which the blade points away by a known angle.
    fn pull_from(&mut self, (p, q): (f64, f64), (pull, travel): (&Pull, Point)) {
        self.axis = pull.to;
        self.heading =
            if self.offset_mm > 0.0 { turned(travel, p * pull.decay, q) } else { travel };
    }

    /// Pulls the axis along an arc about `center`; `sweep` in radians, counter-clockwise above 0.
    pub fn arc(&mut self, center: Point, sweep: f64) {
        let spoke = self.axis - center;
        let radius = spoke.length();
        if radius == 0.0 || sweep == 0.0 {
            return;
        }
        let travel = spoke.perpendicular() * (sweep.signum() / radius);
        let turn = Point::along(sweep);
        let end_travel = rotated(travel, turn);
        let (p, q) = half_angle(travel, self.heading);
        self.axis = center + rotated(spoke, turn);
        self.heading = if self.offset_mm > 0.0 {
            let curvature = sweep.signum() / radius;
            let (p, q) = pull((p, q), self.offset_mm, curvature, radius * sweep.abs());
            turned(end_travel, p, q)
        } else {
            end_travel
        };
    }

    /// Pulls the axis along a straight line and appends the tip's track to `tips`: without the
    /// tip's place before the move, with that after it.
    ///
    /// Chords between the points leave the true track by less than `tolerance_mm`: between two
    /// points the track is convex, so it lies in the triangle of its end tangents, whose height is
    /// at most half the chord times the tangent of half the turn. Where the tip turns back (blade
    /// at 90° to the travel) the track has a cusp; a point is put there.
    pub fn line_to_sampled(&mut self, to: Point, tolerance_mm: f64, tips: &mut Vec<Point>) {
        let pull = Pull::new(self.axis, to, self.offset_mm);
        let begin = *self;
        if let Some(travel) = pull.travel {
            let half = half_angle(travel, self.heading);
            // Where it ends up is the same however finely it is looked at, to the last bit.
            self.pull_from(half, (&pull, travel));
            // A blade less than 90° from the travel has no cusp: most moves.
            if half.0.abs() > half.1.abs()
                && let Some(cusp) = begin.cusp_before(&pull, half)
            {
                let mut turning = begin;
                let before = Pull::new(begin.axis, cusp, self.offset_mm);
                turning.pull(&before);
                begin.sample((&turning, &before), (tolerance_mm, MAX_HALVINGS), tips);
                tips.push(turning.tip());
                let after = Pull::new(cusp, to, self.offset_mm);
                turning.sample((self, &after), (tolerance_mm, MAX_HALVINGS), tips);
            } else {
                begin.sample((self, &pull), (tolerance_mm, MAX_HALVINGS), tips);
            }
        }
        tips.push(self.tip());
    }

    /// Sets the blade down where `axis` begins and pulls it to its end: the tip's track, as
    /// [`Self::line_to_sampled`] gives it within [`SAMPLE_TOLERANCE_MM`]; nothing for no points.
    pub fn track(&mut self, axis: impl IntoIterator<Item = Point>) -> Vec<Point> {
        let mut axis = axis.into_iter();
        let Some(first) = axis.next() else { return Vec::new() };
        self.carry_to(first);
        // Most moves are short, and add one place; room for some more.
        let mut tips = Vec::with_capacity(axis.size_hint().0 * 5 / 4 + 8);
        tips.push(self.tip());
        axis.for_each(|to| self.line_to_sampled(to, SAMPLE_TOLERANCE_MM, &mut tips));
        tips
    }

    /// Appends the tip's places on `pull`, which brings it to where it is in `end`, without those two.
    fn sample(
        &self,
        (end, pull): (&Self, &Pull),
        (tolerance_mm, halvings): (f64, u32),
        tips: &mut Vec<Point>,
    ) {
        if halvings == 0 || self.is_flat(end, tolerance_mm) {
            return;
        }
        let first = pull.halved(self.axis, self.offset_mm);
        let second = first.onward(pull.to);
        let mut middle = *self;
        middle.pull(&first);
        self.sample((&middle, &first), (tolerance_mm, halvings - 1), tips);
        tips.push(middle.tip());
        middle.sample((end, &second), (tolerance_mm, halvings - 1), tips);
    }

    /// Whether the chord to the tip's place in `end` leaves its way there by less than `tolerance_mm`.
    fn is_flat(&self, end: &Self, tolerance_mm: f64) -> bool {
        let (p, q) = half_angle(self.heading, end.heading);
        let chord_squared = (self.tip() - end.tip()).length_squared();
        chord_squared / 4.0 * (p * p) <= tolerance_mm * tolerance_mm * (q * q)
    }

    /// Where on the way of `pull` the blade stands at right angles to it, if it does.
    fn cusp_before(&self, pull: &Pull, (p, q): (f64, f64)) -> Option<Point> {
        let until = self.offset_mm * (p / q).abs().ln();
        let is_before = until > 0.0 && until < pull.length;
        is_before.then(|| self.axis.lerp(pull.to, until / pull.length))
    }
}

/// A multiple of (sin θ/2, cos θ/2) for the angle θ from `travel` to `heading` (unit vectors).
///
/// Two forms of the same ratio, each used where it loses no digits.
fn half_angle(travel: Point, heading: Point) -> (f64, f64) {
    let (sin, cos) = (travel.cross(heading), travel.dot(heading));
    if cos >= 0.0 { (sin, 1.0 + cos) } else { (1.0 - cos, sin) }
}

/// `travel` turned by the angle whose half-angle vector is (p, q).
fn turned(travel: Point, p: f64, q: f64) -> Point {
    let square = p * p + q * q;
    if square == 0.0 {
        return travel;
    }
    rotated(travel, Point::new((q * q - p * p) / square, 2.0 * p * q / square))
}

/// `v` turned by the angle whose cosine and sine are in `by`.
fn rotated(v: Point, by: Point) -> Point {
    Point::new(v.x * by.x - v.y * by.y, v.x * by.y + v.y * by.x)
}

/// The half-angle vector after a pull of `length` with constant curvature, up to a factor.
///
/// exp(sM) for M = ½[[−1/d, −κ], [κ, 1/d]], whose square is μ² = ¼(1/d² − κ²) times the unit
/// matrix. The factor e^(−μs) is taken out so that long pulls do not overflow.
fn pull((p, q): (f64, f64), offset: f64, curvature: f64, length: f64) -> (f64, f64) {
    let pull = 1.0 / offset;
    let mu_squared = 0.25 * (pull - curvature.abs()) * (pull + curvature.abs());
    let (even, odd) = if mu_squared > 0.0 {
        let mu = mu_squared.sqrt();
        let less = (-2.0 * mu * length).exp_m1();
        (1.0 + less / 2.0, -less / (2.0 * mu))
    } else if mu_squared < 0.0 {
        let (sin, cos) = ((-mu_squared).sqrt() * length).sin_cos();
        (cos, sin / (-mu_squared).sqrt())
    } else {
        (1.0, length)
    };
    let (mp, mq) = (-0.5 * (pull * p + curvature * q), 0.5 * (curvature * p + pull * q));
    (even * p + odd * mp, even * q + odd * mq)
}
