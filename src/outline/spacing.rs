//! How far apart the stations of a curve stand: as far as the tolerance allows for its sides.
//!
//! Between its ends the straight line of a span lies inside of the side's bend. So the stations of a
//! single side are lifted off it, out of the bend, by up to the tolerance: the outline then strays
//! from the side by as much on either hand, and its spans may be 1.4 times as long. The first and the
//! last station stay where they are, for corners and caps. Cubics that join smoothly are one curve:
//! spans run on over their joints.

use kurbo::ParamCurve;

use crate::geometry::{Point, nearest_on_segment};

use super::curve::{Cubic, Station, point, runs_backwards, unit};

/// Normals further apart than this (cosine) within one span mean that the span is too long.
const SPAN_COSINE: f64 = 0.5;
/// What share of the tolerance a span is meant to use, as the square root of it.
const AIM: f64 = 0.98;
/// A span is tried again longer only where its side might rise so many times as high: it becomes 8 % longer then.
const WORTH_TRYING: f64 = 1.2145;
/// The shortest span tried, as a share of a cubic; below it the curve has a cusp.
const SHORTEST: f64 = 1.0 / 16384.0;
/// A side that is shorter than this share of the line bends about a centre near to it: it is looked at
/// more closely, and not lifted.
const SHRUNK: f64 = 0.5;
/// Where a span is looked at beside its middle, as shares of it.
const BESIDE: [f64; 6] = [0.125, 0.25, 0.375, 0.625, 0.75, 0.875];
/// Where the middle of a span is further than this from where its ends would have it, in tolerances, these
/// places are looked up on the curve.
const DOUBTED: f64 = 0.1;

/// Stations spaced as far as the tolerance allows for the curves at these `sides`, distances from the
/// line (left above 0); at least two.
pub(super) fn spaced(probe: &Probe, sides: &[f64], tolerance: f64) -> Vec<Station> {
    let mut from = probe.start();
    let mut stations = vec![from];
    let (mut t, mut step) = (0.0, 0.25);
    while t < probe.last() {
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
        while good.end < self.probe.last() && good.stray <= 1.0 && good.room > WORTH_TRYING {
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
        let last = self.probe.last();
        let step = step.min(last - self.t).max(SHORTEST);
        let end = self.t + step;
        let end = if end > last - SHORTEST { last } else { end };
        let to = if end == last { self.probe.end() } else { self.probe.at(end) };
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
    /// Looked at are the middle of the side and places beside it ([`Self::beside`]); where cubics join within
    /// the span the bend may change at once, so there it is each part's middle and places, and the joints.
    fn lift(&self, r: f64, middle: &Station, reach: &mut Reach) {
        let (from, to, tolerance) = (&self.from, reach.to, self.tolerance);
        let start = from.true_side(r);
        let side = to.true_side(r) - start;
        let length = side.length();
        // How far along the straight line a point is, as a share, and how high above it, to the left.
        let over = |p: Point| {
            let p = p - start;
            (side.dot(p) / (length * length), side.cross(p) / length)
        };
        let over_parts: Vec<(f64, f64)> = self.in_parts(r, reach).into_iter().map(over).collect();
        let higher = |a: (f64, f64), b: &(f64, f64)| if a.1.abs() >= b.1.abs() { a } else { *b };
        let (top, height) = over_parts.iter().fold(over(middle.true_side(r)), higher);
        let is_last = reach.end == self.probe.last();
        let a = from.lift;
        // Out of the bend at the end, be it another than before it: a parabola that comes down so steeply is as high.
        let bend = to.t.cross(side) * 0.25;
        let b = if is_last { 0.0 } else { bend.clamp(-tolerance, tolerance) };
        // A parabola of this height rises highest above the lifted line a little beside its middle.
        let slope = a - b;
        let beside =
            if slope.abs() < 4.0 * height.abs() { slope * slope / (16.0 * height) } else { 0.0 };
        let off = |(along, height): (f64, f64)| (height - a + slope * along).abs();
        let mut stray = off((top, height + beside));
        if over_parts.is_empty() {
            let beside = self.beside(r, (self.t, from), (reach.end, &to), middle);
            stray = beside.map(|p| off(over(p))).into_iter().fold(stray, f64::max);
        }
        stray = over_parts.into_iter().map(off).fold(stray, f64::max);
        reach.to.lift = b;
        reach.stray = stray / tolerance;
        // The same the other way round: how high the side may be, so lifted, to stray by the tolerance.
        let (a, b) = (a * height.signum(), if is_last { 0.0 } else { tolerance });
        let rise = tolerance + (a + b) * 0.5;
        let at_most = (rise + (rise * rise - (a - b) * (a - b) * 0.25).max(0.0).sqrt()) * 0.5;
        reach.room = at_most / height.abs();
    }

    /// From where to where each cubic runs in a span up to `end`; none where it has no joint.
    fn parts(&self, end: f64) -> impl Iterator<Item = (f64, f64)> {
        let joints = self.t as usize + 1..end.ceil() as usize;
        let last = (!joints.is_empty()).then_some(end);
        let mut from = self.t;
        let ends = joints.map(|joint| joint as f64).chain(last);
        ends.map(move |to| (std::mem::replace(&mut from, to), to))
    }

    /// Points of the side at `r` on all parts of a span with joints, and at these; none where it has no joint.
    fn in_parts(&self, r: f64, reach: &Reach) -> Vec<Point> {
        let mut places = Vec::new();
        let mut from = self.from;
        for (t, end) in self.parts(reach.end) {
            let to = if end == reach.end { reach.to } else { self.probe.at(end) };
            let middle = self.probe.at(t.midpoint(end));
            places.extend(self.beside(r, (t, &from), (end, &to), &middle));
            places.extend([&middle, &to].map(|station| station.true_side(r)));
            from = to;
        }
        places
    }

    /// Points of the side at `r` between two stations told with their parameters, at the shares [`BESIDE`]: on
    /// the cubic (Hermite) that runs through both in their directions, where its middle is that of the side.
    fn beside(
        &self,
        r: f64,
        (t, from): (f64, &Station),
        (end, to): (f64, &Station),
        middle: &Station,
    ) -> [Point; 6] {
        let start = from.true_side(r);
        let side = to.true_side(r) - start;
        let up = side.perpendicular() * (1.0 / side.length());
        let (rising, falling) = (side.cross(from.t), to.t.cross(side));
        let height = up.dot(middle.true_side(r) - start);
        let is_cubic = ((rising + falling) / 8.0 - height).abs() <= DOUBTED * self.tolerance;
        BESIDE.map(|along| {
            if !is_cubic {
                return self.probe.at(t + (end - t) * along).true_side(r);
            }
            let rest = 1.0 - along;
            start + side * along + up * (along * rest * (rising * rest + falling * along))
        })
    }

    /// Tells how far the straight lines of `reach` stray from all sides, at the middle and the quarters, and of each
    /// part at its middle and its end.
    fn look_closely(&self, middle: &Station, reach: &mut Reach) {
        let (from, to) = (&self.from, &reach.to);
        let mut worst = 0.0_f64;
        let quarter = |share| self.between(reach.end, share);
        let parts = self.parts(reach.end);
        let of_parts = parts.flat_map(|(t, end)| [t.midpoint(end), end].map(|t| self.probe.at(t)));
        for between in [*middle, quarter(0.25), quarter(0.75)].into_iter().chain(of_parts) {
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

/// A curve that is looked up by its parameter: cubics that join smoothly, the first from 0 to 1, the next from
/// there to 2, and so on.
pub(super) struct Probe<'a> {
    cubics: &'a [Cubic],
}

impl<'a> Probe<'a> {
    /// There is at least one cubic.
    pub fn new(cubics: &'a [Cubic]) -> Self {
        Self { cubics }
    }

    /// The parameter of its end.
    fn last(&self) -> f64 {
        self.cubics.len() as f64
    }

    /// The cubic at a parameter, and its own parameter there.
    fn part(&self, t: f64) -> (&Cubic, f64) {
        let number = (t as usize).min(self.cubics.len() - 1);
        (&self.cubics[number], t - number as f64)
    }

    fn at(&self, t: f64) -> Station {
        let (cubic, own) = self.part(t);
        let p = point(cubic.curve.eval(own));
        let slope = point(cubic.derivative.eval(own));
        Station::new(p, unit(slope).unwrap_or_else(|| self.chord_direction(t)))
    }

    /// Direction across a place where the derivative vanishes.
    fn chord_direction(&self, t: f64) -> Point {
        let place = |t: f64| {
            let (cubic, own) = self.part(t);
            point(cubic.curve.eval(own))
        };
        let chord = place((t + 1e-4).min(self.last())) - place((t - 1e-4).max(0.0));
        unit(chord).unwrap_or_else(|| self.start().t)
    }

    fn start(&self) -> Station {
        self.cubics[0].start()
    }

    fn end(&self) -> Station {
        self.cubics[self.cubics.len() - 1].end()
    }
}
