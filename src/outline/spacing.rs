//! How far apart the stations of a curve stand: as far as the tolerance allows for its sides.
//!
//! Between its ends the straight line of a span lies inside of the side's bend. So the stations of a
//! single side are lifted off it, out of the bend, by up to the tolerance: the outline then strays
//! from the side by as much on either hand, and its spans may be 1.4 times as long. The first and the
//! last station stay where they are, for corners and caps.

use kurbo::{CubicBez, ParamCurve, ParamCurveDeriv};

use crate::geometry::{Point, nearest_on_segment};

use super::curve::{Station, point, runs_backwards, unit};

/// Normals further apart than this (cosine) within one span mean that the span is too long.
const SPAN_COSINE: f64 = 0.5;
/// What share of the tolerance a span is meant to use, as the square root of it.
const AIM: f64 = 0.98;
/// A span is tried again longer only where its side might rise so many times as high: it becomes 8 % longer then.
const WORTH_TRYING: f64 = 1.2145;
/// The shortest span tried, as a share of the curve; below it the curve has a cusp.
const SHORTEST: f64 = 1.0 / 16384.0;
/// A side that is shorter than this share of the line bends about a centre near to it: it is looked at
/// more closely, and not lifted.
const SHRUNK: f64 = 0.5;
/// Where a span is looked at beside its middle, as shares of it.
const BESIDE: [f64; 4] = [0.125, 0.25, 0.75, 0.875];
/// Where the middle of a span is further than this from where its ends would have it, in tolerances, these
/// places are looked up on the curve.
const DOUBTED: f64 = 0.1;

/// Stations spaced as far as the tolerance allows for the curves at these `sides`, distances from the
/// line (left above 0); at least two.
pub(super) fn spaced(probe: &Probe, sides: &[f64], tolerance: f64) -> Vec<Station> {
    let mut from = probe.start();
    let mut stations = vec![from];
    let (mut t, mut step) = (0.0, 0.25);
    while t < 1.0 {
        let found = Span { probe, from, t, sides, tolerance }.longest(step);
        (t, step, from) = (found.end, found.step, found.to);
        stations.push(from);
    }
    stations
}

/// Where the next span begins, and how far it may stray.
struct Span<'a> {
    probe: &'a Probe<'a>,
    from: Station,
    /// The parameter of `from`.
    t: f64,
    sides: &'a [f64],
    tolerance: f64,
}

/// A span that was tried.
struct Reach {
    step: f64,
    /// The parameter of its end.
    end: f64,
    to: Station,
    /// How far the outline strays, in tolerances; infinite where the curve turns too far.
    stray: f64,
    /// How many times as high the side might rise above the line to stray by the tolerance.
    room: f64,
}

impl Reach {
    /// How many times as long the span should be.
    fn factor(&self) -> f64 {
        AIM * self.room.sqrt()
    }
}

impl Span<'_> {
    /// The longest span that keeps within the tolerance, about: what it strays grows with the square of
    /// its length, so from what a `guess` does a better one follows.
    fn longest(&self, guess: f64) -> Reach {
        let mut good = self.reach(guess);
        while good.stray > 1.0 && good.step > SHORTEST {
            good = self.reach(good.step * good.factor().clamp(0.5, 0.95));
        }
        // Where nothing strays that tells nothing: twice as long at once.
        while good.end < 1.0 && good.stray <= 1.0 && good.room > WORTH_TRYING {
            let longer = self.reach(good.step * good.factor().min(2.0));
            if longer.stray > 1.0 {
                break;
            }
            good = longer;
        }
        good
    }

    /// The span of length `step`, at most to the curve's end and at least [`SHORTEST`].
    fn reach(&self, step: f64) -> Reach {
        let step = step.min(1.0 - self.t).max(SHORTEST);
        let end = self.t + step;
        let end = if end > 1.0 - SHORTEST { 1.0 } else { end };
        let to = if end == 1.0 { self.probe.end() } else { self.probe.at(end) };
        let mut reach = Reach { step, end, to, stray: f64::INFINITY, room: 0.0 };
        let middle = self.between(end, 0.5);
        if self.from.t.dot(to.t) < SPAN_COSINE || self.from.t.dot(middle.t) <= SPAN_COSINE {
            return reach;
        }
        match *self.sides {
            [r] if self.keeps_its_sense(r, &to) => self.lift(r, &middle, &mut reach),
            _ => self.look_closely(&middle, &mut reach),
        }
        reach
    }

    fn between(&self, end: f64, share: f64) -> Station {
        self.probe.at(self.t + (end - self.t) * share)
    }

    fn keeps_its_sense(&self, r: f64, to: &Station) -> bool {
        let line = to.p - self.from.p;
        let side = to.true_side(r) - self.from.true_side(r);
        side.dot(line) > SHRUNK * line.length_squared()
    }

    /// Lifts the end of `reach` and tells how far the lifted line then strays from the side at `r`.
    ///
    /// Looked at are the side's middle and the places [`BESIDE`] it, these on the cubic (Hermite) that runs
    /// through both ends in their directions, where its middle is that of the side.
    fn lift(&self, r: f64, middle: &Station, reach: &mut Reach) {
        let (from, to, tolerance) = (&self.from, reach.to, self.tolerance);
        let start = from.true_side(r);
        let side = to.true_side(r) - start;
        let length = side.length();
        // How far along the straight line a point is, as a share, and how high above it, to the left.
        let over = |between: &Station| {
            let p = between.true_side(r) - start;
            (side.dot(p) / (length * length), side.cross(p) / length)
        };
        let (middle, height) = over(middle);
        let (rising, falling) = (side.cross(from.t), to.t.cross(side));
        let is_cubic = ((rising + falling) / 8.0 - height).abs() <= DOUBTED * tolerance;
        let others = BESIDE.map(|along| {
            if !is_cubic {
                return over(&self.between(reach.end, along));
            }
            let rest = 1.0 - along;
            (along, along * rest * (rising * rest + falling * along))
        });
        let is_last = reach.end == 1.0;
        let a = from.lift;
        let b = if is_last { 0.0 } else { height.clamp(-tolerance, tolerance) };
        // A parabola of this height rises highest above the lifted line a little beside its middle.
        let slope = a - b;
        let beside =
            if slope.abs() < 4.0 * height.abs() { slope * slope / (16.0 * height) } else { 0.0 };
        let off = |(along, height): (f64, f64)| (height - a + slope * along).abs();
        let strays = others.map(off).into_iter().chain([off((middle, height + beside))]);
        reach.to.lift = b;
        reach.stray = strays.fold(0.0, f64::max) / tolerance;
        // The same the other way round: how high the side may be, so lifted, to stray by the tolerance.
        let (a, b) = (a * height.signum(), if is_last { 0.0 } else { tolerance });
        let rise = tolerance + (a + b) * 0.5;
        let at_most = (rise + (rise * rise - (a - b) * (a - b) * 0.25).max(0.0).sqrt()) * 0.5;
        reach.room = at_most / height.abs();
    }

    /// Tells how far the straight lines of `reach` stray from all sides, at the middle and the quarters.
    fn look_closely(&self, middle: &Station, reach: &mut Reach) {
        let (from, to) = (&self.from, &reach.to);
        let mut worst = 0.0_f64;
        let quarter = |share| self.between(reach.end, share);
        for between in [*middle, quarter(0.25), quarter(0.75)] {
            if from.t.dot(between.t) <= SPAN_COSINE {
                return;
            }
            for &r in self.sides {
                let mut stray = |p: Point, a: Point, b: Point| {
                    let on_line = nearest_on_segment(p, a, b);
                    worst = worst.max((p - on_line).length_squared());
                };
                stray(between.true_side(r), from.side(r), to.side(r));
                // What a side that runs backwards sweeps has its edge where normals meet, somewhere
                // between the line and the side: as near to its place as both of them.
                if runs_backwards(from, to, r) {
                    stray(between.p, from.p, to.p);
                }
            }
        }
        reach.stray = worst.sqrt() / self.tolerance;
        reach.room = 1.0 / reach.stray;
    }
}

/// A curve that is looked up by its parameter.
pub(super) struct Probe<'a> {
    curve: &'a CubicBez,
    derivative: kurbo::QuadBez,
    speck: f64,
}

impl<'a> Probe<'a> {
    /// Parts of it up to `speck` long have no direction.
    pub fn new(curve: &'a CubicBez, speck: f64) -> Self {
        Self { curve, derivative: curve.deriv(), speck }
    }

    fn at(&self, t: f64) -> Station {
        let p = point(self.curve.eval(t));
        let slope = point(self.derivative.eval(t));
        Station::new(p, unit(slope).unwrap_or_else(|| self.chord_direction(t)))
    }

    /// Direction across a place where the derivative vanishes.
    fn chord_direction(&self, t: f64) -> Point {
        let (a, b) = ((t - 1e-4).max(0.0), (t + 1e-4).min(1.0));
        let chord = point(self.curve.eval(b)) - point(self.curve.eval(a));
        unit(chord).unwrap_or_else(|| self.start().t)
    }

    fn start(&self) -> Station {
        let c = self.curve;
        Station::new(point(c.p0), self.first_direction(c.p0, [c.p1, c.p2, c.p3], 1.0))
    }

    fn end(&self) -> Station {
        let c = self.curve;
        Station::new(point(c.p3), self.first_direction(c.p3, [c.p2, c.p1, c.p0], -1.0))
    }

    /// Direction from `from` to the first of `others` that does not coincide with it.
    fn first_direction(&self, from: kurbo::Point, others: [kurbo::Point; 3], sign: f64) -> Point {
        others
            .into_iter()
            .map(|q| (point(q) - point(from)) * sign)
            .find(|v| v.length() > self.speck)
            .and_then(unit)
            .unwrap_or(Point::new(1.0, 0.0))
    }
}
