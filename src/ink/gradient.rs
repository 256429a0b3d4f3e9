//! Gradients → where they are ink, where paper, where a mask hides.
//!
//! A gradient has no edge of its own: it ends where the eye no longer tells it from the paper. Here
//! that is where what it paints differs from the paper by no more than [`FAINT`] of the 255 levels
//! of an 8-bit picture, in any of red, green and blue. In grey that is a CIE 1976 difference of
//! 2.8; about 2.3 can just be noticed (Mahy, Van Eycken and Oosterlinck, "Evaluation of uniform
//! color spaces", 1994; from memory).
//!
//! Method: a gradient's parameter is known exactly: linear over the page, or growing over nested
//! circles. So the edge is found in the parameter, by halving, and then drawn as straight lines or
//! circles. Colours are mixed unpremultiplied in sRGB, as SVG 2, chapter Paint Servers, defines.

use kurbo::{Affine, Point as On};

use crate::drawing::{Drawing, Gradient, GradientForm, Spread};
use crate::geometry::{Bounds, Point};
use crate::merge::Area;

/// Levels of 255 that count as no difference: what rounds to nine is one.
const FAINT: f64 = 8.5;
/// Between two stops, changes closer than this share of their distance may be missed.
const SAMPLES: usize = 64;
/// The most edges that one gradient may have; beyond, it is cut as solid.
const MOST_EDGES: usize = 500;
/// The most edges that all gradients share out among each other, and what each has in any case.
const ALL_EDGES: usize = 20_000;
const FEWEST_EDGES: usize = 16;

/// How finely gradients are looked at.
#[derive(Debug, Clone, Copy)]
pub(super) struct Detail {
    /// How far a drawn circle may deviate, mm.
    tolerance: f64,
    /// Beyond so many edges a gradient is cut as solid.
    most_edges: usize,
}

impl Detail {
    pub(super) fn of(drawing: &Drawing, tolerance: f64) -> Self {
        let share = ALL_EDGES / drawing.gradients.len().max(1);
        Self { tolerance, most_edges: share.clamp(FEWEST_EDGES, MOST_EDGES) }
    }
}

/// A part of the plane.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Part {
    All,
    Nothing,
    Some(Area),
    /// Too many edges, or a shape that has no nested circles.
    Unknown,
}

/// What is asked of a colour (red, green, blue from 0 to 255) and its opacity.
pub(super) type Asks<'a> = &'a dyn Fn([f64; 3], f64) -> bool;

/// Whether paint can be told from `paper` (from nothing, without paper).
pub(super) fn is_ink(paper: Option<[u8; 3]>) -> impl Fn([f64; 3], f64) -> bool {
    move |colour, alpha| match paper {
        Some(paper) => alpha * difference(colour, paper) > FAINT,
        None => alpha * 255.0 > FAINT,
    }
}

/// Whether paint makes anything that lies under it look like `paper`.
pub(super) fn is_paper(paper: [u8; 3]) -> impl Fn([f64; 3], f64) -> bool {
    move |colour, alpha| (1.0 - alpha) * 255.0 + alpha * difference(colour, paper) <= FAINT
}

/// Whether a mask shows by this paint (CSS Masking 1: by its luminance).
pub(super) fn is_bright(colour: [f64; 3], alpha: f64) -> bool {
    alpha * luminance(colour) > FAINT
}

/// Whether a mask hides by this paint what it shows by others under it.
pub(super) fn is_dark(colour: [f64; 3], alpha: f64) -> bool {
    (1.0 - alpha) * 255.0 + alpha * luminance(colour) <= FAINT
}

fn luminance([r, g, b]: [f64; 3]) -> f64 {
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

fn difference(colour: [f64; 3], other: [u8; 3]) -> f64 {
    colour.iter().zip(other).map(|(c, o)| (c - f64::from(o)).abs()).fold(0.0, f64::max)
}

/// Where within `bounds` (mm) the gradient's paint is what is asked for.
pub(super) fn part(gradient: &Gradient, bounds: Bounds, detail: Detail, asks: Asks<'_>) -> Part {
    let Some(scale) = Scale::new(gradient) else { return Part::Unknown };
    let corners = corners(bounds);
    let reach = corners.iter().map(|c| scale.parameter(*c));
    let least = scale.least(&corners);
    let range = [least, reach.fold(least, f64::max)];
    let Some(edges) = edges(gradient, range, detail.most_edges, asks) else {
        return Part::Unknown;
    };
    let runs = runs(gradient, range, &edges, asks);
    match runs[..] {
        [] => Part::Nothing,
        [run] if run == range => Part::All,
        _ => runs
            .iter()
            .try_fold(Area::default(), |all, run| {
                let open = [run[0] > range[0], run[1] < range[1]];
                Some(all.plus(scale.between(*run, open, &corners, detail.tolerance)?))
            })
            .map_or(Part::Unknown, Part::Some),
    }
}

/// The box's corners, a hair further out.
fn corners(bounds: Bounds) -> [Point; 4] {
    let Bounds { min, max } = bounds.grown(0.01);
    [min, Point::new(max.x, min.y), max, Point::new(min.x, max.y)]
}

/// The parameters in `range` at which the answer may change, ascending; `None` for too many.
fn edges(
    gradient: &Gradient,
    [from, to]: [f64; 2],
    most: usize,
    asks: Asks<'_>,
) -> Option<Vec<f64>> {
    let own = own_edges(gradient, asks);
    if gradient.spread == Spread::Pad {
        return Some(own.into_iter().filter(|e| *e > from && *e < to).collect());
    }
    let periods = to.ceil() - from.floor();
    if !periods.is_finite() || periods * (own.len() + 1) as f64 > most as f64 {
        return None;
    }
    let mut edges = Vec::new();
    for period in from.floor() as i64..to.ceil() as i64 {
        let back = gradient.spread == Spread::Reflect && period.rem_euclid(2) == 1;
        edges.push(period as f64);
        edges.extend(own.iter().map(|e| period as f64 + if back { 1.0 - e } else { *e }));
    }
    edges.retain(|e| *e > from && *e < to);
    edges.sort_by(f64::total_cmp);
    Some(edges)
}

/// The same between the first stop and the last.
fn own_edges(gradient: &Gradient, asks: Asks<'_>) -> Vec<f64> {
    let answer = |t: f64| ask(gradient, t, asks);
    let mut edges = Vec::new();
    for pair in gradient.stops.windows(2) {
        let at = |i: usize| {
            let share = i as f64 / SAMPLES as f64;
            pair[0].offset + (pair[1].offset - pair[0].offset) * share
        };
        for i in 0..SAMPLES {
            let (mut near, mut far) = (at(i), at(i + 1));
            if answer(near) == answer(far) {
                continue;
            }
            for _ in 0..40 {
                let middle = (near + far) / 2.0;
                if answer(middle) == answer(near) { near = middle } else { far = middle }
            }
            edges.push(far);
        }
    }
    edges
}

/// The stretches of `range` where the answer is yes.
fn runs(gradient: &Gradient, range: [f64; 2], edges: &[f64], asks: Asks<'_>) -> Vec<[f64; 2]> {
    let mut runs: Vec<[f64; 2]> = Vec::new();
    let mut from = range[0];
    for to in edges.iter().copied().chain([range[1]]) {
        if ask(gradient, folded(gradient.spread, (from + to) / 2.0), asks) {
            match runs.last_mut() {
                Some(last) if last[1] == from => last[1] = to,
                _ => runs.push([from, to]),
            }
        }
        from = to;
    }
    runs
}

/// The parameter between 0 and 1 that has the same colour.
fn folded(spread: Spread, t: f64) -> f64 {
    match spread {
        Spread::Pad => t.clamp(0.0, 1.0),
        Spread::Repeat => t.rem_euclid(1.0),
        Spread::Reflect => 1.0 - (t.rem_euclid(2.0) - 1.0).abs(),
    }
}

/// The answer for the colour at `t`, from 0 to 1.
fn ask(gradient: &Gradient, t: f64, asks: Asks<'_>) -> bool {
    let after = gradient.stops.partition_point(|s| s.offset < t).min(gradient.stops.len() - 1);
    let (a, b) = (&gradient.stops[after.saturating_sub(1)], &gradient.stops[after]);
    let length = b.offset - a.offset;
    let share = if length > 0.0 { ((t - a.offset) / length).clamp(0.0, 1.0) } else { 1.0 };
    let mix = |x: f64, y: f64| x + (y - x) * share;
    let colour = [0, 1, 2].map(|i| mix(f64::from(a.rgb[i]), f64::from(b.rgb[i])));
    asks(colour, mix(f64::from(a.alpha), f64::from(b.alpha)))
}

/// A gradient's parameter as a function of the place.
struct Scale {
    form: GradientForm,
    to_page: Affine,
    from_page: Affine,
}

impl Scale {
    /// `None` if the parameter is not known everywhere: a line or a map of no extent, a focal
    /// circle that is not inside the other one.
    fn new(gradient: &Gradient) -> Option<Self> {
        let regular = match gradient.form {
            GradientForm::Linear { from, to } => from != to,
            GradientForm::Radial { center, radius, focus, focal_radius } => {
                center.distance(focus) < (radius - focal_radius) * 0.9999
            }
        };
        let to_page = gradient.to_page;
        let from_page = to_page.inverse();
        let finite = from_page.as_coeffs().iter().all(|c| c.is_finite());
        (regular && finite && !gradient.stops.is_empty()).then_some(Self {
            form: gradient.form,
            to_page,
            from_page,
        })
    }

    /// The parameter at a place on the page. On a circle's the larger solution of |p - c(t)| = r(t).
    fn parameter(&self, p: Point) -> f64 {
        let p = self.from_page * On::new(p.x, p.y);
        match self.form {
            GradientForm::Linear { from, to } => (p - from).dot(to - from) / (to - from).hypot2(),
            GradientForm::Radial { center, radius, focus, focal_radius } => {
                let (q, d, growth) = (p - focus, center - focus, radius - focal_radius);
                let a = growth * growth - d.hypot2();
                let b = q.dot(d) + focal_radius * growth;
                let c = q.hypot2() - focal_radius * focal_radius;
                (-b + (b * b + a * c).max(0.0).sqrt()) / a
            }
        }
    }

    /// The least parameter among the `corners`; on circles that of the point they grow from.
    fn least(&self, corners: &[Point]) -> f64 {
        match self.form {
            GradientForm::Linear { .. } => {
                corners.iter().map(|c| self.parameter(*c)).fold(f64::INFINITY, f64::min)
            }
            GradientForm::Radial { radius, focal_radius, .. } => {
                -focal_radius / (radius - focal_radius)
            }
        }
    }

    /// Where the parameter is between two values, each of which bounds only if it is `open`.
    fn between(
        &self,
        [low, high]: [f64; 2],
        open: [bool; 2],
        corners: &[Point],
        tolerance: f64,
    ) -> Option<Area> {
        match self.form {
            GradientForm::Linear { .. } => {
                let mut ring = corners.to_vec();
                if open[0] {
                    ring = cut(&ring, |p| self.parameter(p) - low);
                }
                if open[1] {
                    ring = cut(&ring, |p| high - self.parameter(p));
                }
                area(ring)
            }
            GradientForm::Radial { .. } => {
                let outer =
                    if open[1] { self.disc(high, corners, tolerance) } else { corners.into() };
                let outer = area(outer)?;
                if !open[0] {
                    return Some(outer);
                }
                Some(outer.minus(&area(self.disc(low, corners, tolerance))?))
            }
        }
    }

    /// The circle of a parameter, as far as it lies in the box of the `corners`.
    fn disc(&self, t: f64, corners: &[Point], tolerance: f64) -> Vec<Point> {
        let GradientForm::Radial { center, radius, focus, focal_radius } = self.form else {
            return Vec::new();
        };
        let (at, r) = (focus + (center - focus) * t, focal_radius + (radius - focal_radius) * t);
        let on_page = r * super::paint::stretch(self.to_page);
        let step = 2.0 * (1.0 - tolerance / on_page).clamp(0.0, 1.0).acos();
        let count = (std::f64::consts::TAU / step).ceil().clamp(16.0, 20_000.0) as usize;
        let ring = (0..count).map(|i| {
            let (sin, cos) = (std::f64::consts::TAU * i as f64 / count as f64).sin_cos();
            let p = self.to_page * (at + kurbo::Vec2::new(cos, sin) * r);
            Point::new(p.x, p.y)
        });
        let (min, max) = (corners[0], corners[2]);
        let ring = cut(&ring.collect::<Vec<_>>(), |p| p.x - min.x);
        let ring = cut(&ring, |p| max.x - p.x);
        let ring = cut(&ring, |p| p.y - min.y);
        cut(&ring, |p| max.y - p.y)
    }
}

/// The part of a convex ring on which a linear function is not negative (Sutherland and Hodgman,
/// "Reentrant polygon clipping", 1974).
fn cut(ring: &[Point], side: impl Fn(Point) -> f64) -> Vec<Point> {
    let mut out = Vec::with_capacity(ring.len() + 2);
    for (i, &a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        let (da, db) = (side(a), side(b));
        if da >= 0.0 {
            out.push(a);
        }
        if (da > 0.0 && db < 0.0) || (da < 0.0 && db > 0.0) {
            out.push(a.lerp(b, da / (da - db)));
        }
    }
    out
}

/// A convex ring as an area; `None` if it lies beyond all reach.
fn area(mut ring: Vec<Point>) -> Option<Area> {
    if ring.len() < 3 {
        return Some(Area::default());
    }
    if crate::geometry::Contour::closed(ring.clone()).signed_area() < 0.0 {
        ring.reverse();
    }
    Area::swept(&[ring]).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::GradientStop;

    const DETAIL: Detail = Detail { tolerance: 0.01, most_edges: MOST_EDGES };
    const BOX: Bounds = Bounds { min: Point::new(0.0, 0.0), max: Point::new(100.0, 10.0) };

    fn linear(spread: Spread, to: f64) -> Gradient {
        let stop = |offset, level| GradientStop { offset, rgb: [level; 3], alpha: 1.0 };
        Gradient {
            to_page: Affine::IDENTITY,
            form: GradientForm::Linear { from: On::ZERO, to: On::new(to, 0.0) },
            spread,
            stops: vec![stop(0.0, 255), stop(1.0, 0)],
        }
    }

    fn ink(gradient: &Gradient) -> Part {
        part(gradient, BOX, DETAIL, &is_ink(Some([255; 3])))
    }

    fn bounds(part: Part) -> Bounds {
        let Part::Some(area) = part else { panic!("{part:?}") };
        area.bounds()
    }

    #[test]
    fn a_fade_ends_nine_levels_from_the_paper() {
        let ink = bounds(ink(&linear(Spread::Pad, 100.0)));
        assert!((ink.min.x - 100.0 * 8.5 / 255.0).abs() < 2e-3, "{ink:?}");
        assert!(ink.max.x > 100.0);
        let paper = part(&linear(Spread::Pad, 100.0), BOX, DETAIL, &is_paper([255; 3]));
        assert!((bounds(paper).max.x - ink.min.x).abs() < 2e-3);
    }

    #[test]
    fn a_gradient_that_never_comes_near_the_paper_is_ink_all_over() {
        let mut grey = linear(Spread::Repeat, 3.0);
        grey.stops[0].rgb = [200; 3];
        assert_eq!(ink(&grey), Part::All);
        grey.stops.iter_mut().for_each(|s| s.rgb = [250; 3]);
        assert_eq!(ink(&grey), Part::Nothing);
        assert_eq!(ink(&linear(Spread::Repeat, 1e-3)), Part::Unknown);
        assert_eq!(ink(&linear(Spread::Pad, 0.0)), Part::Unknown);
    }

    #[test]
    fn repeated_and_reflected_gradients_fade_again_and_again() {
        let holes = |spread| {
            let Part::Some(ink) = ink(&linear(spread, 10.0)) else { panic!() };
            let at = |x: f64| {
                let spot = Bounds { min: Point::new(x, 4.0), max: Point::new(x + 0.01, 5.0) };
                !ink.within(&Area::rectangle(spot).unwrap()).is_empty()
            };
            [0.2, 9.8, 10.2, 19.8, 20.2].map(at)
        };
        assert_eq!(holes(Spread::Repeat), [false, true, false, true, false]);
        assert_eq!(holes(Spread::Reflect), [false, true, true, false, false]);
    }

    #[test]
    fn circles_about_a_focus_are_where_the_parameter_says() {
        let radial = Gradient {
            form: GradientForm::Radial {
                center: On::new(50.0, 5.0),
                radius: 40.0,
                focus: On::new(40.0, 5.0),
                focal_radius: 0.0,
            },
            ..linear(Spread::Pad, 1.0)
        };
        let scale = Scale::new(&radial).unwrap();
        assert!((scale.parameter(Point::new(90.0, 5.0)) - 1.0).abs() < 1e-12);
        assert!((scale.parameter(Point::new(10.0, 5.0)) - 1.0).abs() < 1e-12);
        let t: f64 = 8.5 / 255.0;
        let paper = bounds(part(&radial, BOX, DETAIL, &is_paper([255; 3])));
        assert!((paper.max.x - (40.0 + 10.0 * t + 40.0 * t)).abs() < 0.01, "{paper:?}");
        assert!((paper.min.x - (40.0 + 10.0 * t - 40.0 * t)).abs() < 0.01, "{paper:?}");
    }
}
