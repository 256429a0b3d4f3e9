//! Stroke outlines against the definition of the stroke's shape.
//!
//! Referee: W3C SVG 2, chapter Painting, "Computing the shape of the stroke", put into practice by
//! another method than the library's: a point belongs to the stroke when it lies in one of many
//! small pieces (the quadrilateral between two dense samples, a join's wedge, a cap). No polygon
//! is ever built, no union computed, nothing is shared with the code under test. A turn inside a
//! curve counts as round (the limit of finite curvature).

use bladewright::drawing::{Cap, Join, Paint, Stroke};
use bladewright::geometry::{Point, distance_to_segment};
use bladewright::outline::outline;
use kurbo::{BezPath, ParamCurve, ParamCurveDeriv, PathSeg};

/// A deviation up to this distance is not judged: it covers the flattening tolerance and the
/// referee's own sampling.
const BAND: f64 = 0.1;
const TOLERANCE: f64 = 0.01;

/// A small linear congruential generator (Knuth's MMIX constants): the same strokes everywhere.
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
    fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }
    fn point(&mut self) -> (f64, f64) {
        (self.within(0.0, 40.0), self.within(0.0, 40.0))
    }
}

#[derive(Clone, Copy)]
struct Sample {
    p: Point,
    t: Point,
}

/// The definition: pieces whose union is the stroke.
struct Referee {
    quads: Vec<[Point; 4]>,
    discs: Vec<Point>,
    polygons: Vec<Vec<Point>>,
    /// Half discs: centre and outward direction.
    halves: Vec<(Point, Point)>,
    /// Sectors between two directions, on the outer side of a corner.
    sectors: Vec<(Point, Point, Point)>,
    r: f64,
}

impl Referee {
    fn new(path: &BezPath, stroke: &Stroke) -> Self {
        let mut me = Self {
            quads: vec![],
            discs: vec![],
            polygons: vec![],
            halves: vec![],
            sectors: vec![],
            r: stroke.width / 2.0,
        };
        let mut subpath: Vec<PathSeg> = vec![];
        let mut closed = false;
        let mut start = kurbo::Point::ORIGIN;
        let mut here = start;
        for element in path.elements() {
            match *element {
                kurbo::PathEl::MoveTo(p) => {
                    me.subpath(&subpath, closed, start, stroke);
                    (subpath, closed, start, here) = (vec![], false, p, p);
                }
                kurbo::PathEl::LineTo(p) => {
                    subpath.push(PathSeg::Line(kurbo::Line::new(here, p)));
                    here = p;
                }
                kurbo::PathEl::QuadTo(a, p) => {
                    subpath.push(PathSeg::Quad(kurbo::QuadBez::new(here, a, p)));
                    here = p;
                }
                kurbo::PathEl::CurveTo(a, b, p) => {
                    subpath.push(PathSeg::Cubic(kurbo::CubicBez::new(here, a, b, p)));
                    here = p;
                }
                kurbo::PathEl::ClosePath => {
                    subpath.push(PathSeg::Line(kurbo::Line::new(here, start)));
                    closed = true;
                    here = start;
                }
            }
        }
        me.subpath(&subpath, closed, start, stroke);
        me
    }

    fn subpath(
        &mut self,
        segments: &[PathSeg],
        closed: bool,
        start: kurbo::Point,
        stroke: &Stroke,
    ) {
        let legs: Vec<Vec<Sample>> = segments.iter().filter_map(samples).collect();
        if legs.is_empty() {
            if !segments.is_empty() {
                self.dot(Point::new(start.x, start.y), stroke);
            }
            return;
        }
        for leg in &legs {
            for pair in leg.windows(2) {
                let (n0, n1) =
                    (pair[0].t.perpendicular() * self.r, pair[1].t.perpendicular() * self.r);
                self.quads.push([pair[0].p - n0, pair[1].p - n1, pair[1].p + n1, pair[0].p + n0]);
                if pair[0].t.dot(pair[1].t) < 0.9 {
                    self.discs.push(pair[1].p);
                }
            }
        }
        for pair in legs.windows(2) {
            self.corner(pair[0][pair[0].len() - 1], pair[1][0], stroke);
        }
        let (first, last) = (legs[0][0], *legs.last().unwrap().last().unwrap());
        if closed {
            self.corner(last, first, stroke);
        } else {
            self.cap(last.p, last.t, stroke);
            self.cap(first.p, first.t * -1.0, stroke);
        }
    }

    fn dot(&mut self, p: Point, stroke: &Stroke) {
        match stroke.cap {
            Cap::Butt => {}
            Cap::Round => self.discs.push(p),
            Cap::Square => self.polygons.push(
                [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
                    .map(|(x, y)| p + Point::new(x, y) * self.r)
                    .to_vec(),
            ),
        }
    }

    fn cap(&mut self, p: Point, out: Point, stroke: &Stroke) {
        let (side, ahead) = (out.perpendicular() * self.r, out * self.r);
        match stroke.cap {
            Cap::Butt => {}
            Cap::Round => self.halves.push((p, out)),
            Cap::Square => {
                self.polygons.push(vec![p - side, p - side + ahead, p + side + ahead, p + side]);
            }
        }
    }

    fn corner(&mut self, a: Sample, b: Sample, stroke: &Stroke) {
        let turn = a.t.cross(b.t).atan2(a.t.dot(b.t));
        let sign = if turn > 0.0 { -1.0 } else { 1.0 };
        let (from, to) = (a.t.perpendicular() * sign, b.t.perpendicular() * sign);
        let v = b.p;
        self.polygons.push(vec![v, v + from * self.r, v + to * self.r]);
        let ratio = 1.0 / (turn.abs() / 2.0).cos();
        match stroke.join {
            // Straight back: the sector is the half disc ahead.
            Join::Round if turn.abs() > std::f64::consts::PI - 1e-6 => self.halves.push((v, a.t)),
            Join::Round => self.sectors.push((v, from, to)),
            Join::Miter if ratio <= stroke.miter_limit => {
                let tip = v + (from + to) * (self.r / (1.0 + from.dot(to)));
                self.polygons.push(vec![v, v + from * self.r, tip, v + to * self.r]);
            }
            _ => {}
        }
    }

    fn holds(&self, q: Point) -> bool {
        self.quads.iter().any(|quad| crossings(quad, q) % 2 == 1)
            || self.polygons.iter().any(|polygon| crossings(polygon, q) % 2 == 1)
            || self.discs.iter().any(|c| c.distance(q) < self.r)
            || self.halves.iter().any(|(c, out)| c.distance(q) < self.r && (q - *c).dot(*out) > 0.0)
            || self.sectors.iter().any(|(c, a, b)| {
                let d = q - *c;
                let between = a.cross(d) * a.cross(*b) >= 0.0 && d.cross(*b) * a.cross(*b) >= 0.0;
                d.length() < self.r && between && d.dot(*a + *b) > 0.0
            })
    }
}

fn samples(segment: &PathSeg) -> Option<Vec<Sample>> {
    let cubic = match segment {
        PathSeg::Line(line) => {
            let (a, b) = (Point::new(line.p0.x, line.p0.y), Point::new(line.p1.x, line.p1.y));
            let length = a.distance(b);
            let t = (b - a) * (1.0 / length);
            return (length > 1e-9).then(|| vec![Sample { p: a, t }, Sample { p: b, t }]);
        }
        PathSeg::Quad(quad) => quad.raise(),
        PathSeg::Cubic(cubic) => *cubic,
    };
    let (n, slope) = (600, cubic.deriv());
    let of = |p: kurbo::Point| Point::new(p.x, p.y);
    let mut all = vec![];
    for i in 0..=n {
        let at = i as f64 / n as f64;
        let d = of(slope.eval(at.clamp(1e-7, 1.0 - 1e-7)));
        if d.length() > 1e-9 {
            all.push(Sample { p: of(cubic.eval(at)), t: d * (1.0 / d.length()) });
        }
    }
    (all.len() > 1).then_some(all)
}

fn crossings(polygon: &[Point], q: Point) -> usize {
    (0..polygon.len())
        .filter(|&i| {
            let (a, b) = (polygon[i], polygon[(i + 1) % polygon.len()]);
            (a.y > q.y) != (b.y > q.y) && q.x < (b.x - a.x) * (q.y - a.y) / (b.y - a.y) + a.x
        })
        .count()
}

fn winding(contours: &[Vec<Point>], q: Point) -> i32 {
    let mut total = 0;
    for contour in contours {
        for i in 0..contour.len() {
            let (a, b) = (contour[i], contour[(i + 1) % contour.len()]);
            let left = (b - a).cross(q - a);
            if a.y <= q.y && b.y > q.y && left > 0.0 {
                total += 1;
            } else if a.y > q.y && b.y <= q.y && left < 0.0 {
                total -= 1;
            }
        }
    }
    total
}

fn stroke(width: f64, cap: Cap, join: Join) -> Stroke {
    let paint = Paint::BLACK;
    Stroke { width, cap, join, miter_limit: 4.0, dashes: vec![], dash_offset: 0.0, paint }
}

/// Places where the outline says otherwise than the definition, beyond the band.
fn wrong_places(path: &BezPath, stroke: &Stroke, tries: usize, dice: &mut Dice) -> Vec<Point> {
    let result = outline(path, stroke, TOLERANCE);
    let referee = Referee::new(path, stroke);
    let all: Vec<Point> = referee.quads.iter().flatten().copied().collect();
    let bounds = bladewright::geometry::Bounds::of(&all).grown(stroke.width);
    let mut wrong = vec![];
    for _ in 0..tries {
        let q = Point::new(
            dice.within(bounds.min.x, bounds.max.x),
            dice.within(bounds.min.y, bounds.max.y),
        );
        let count = winding(&result.contours, q);
        let (ours, theirs) = (count != 0, referee.holds(q));
        let sure = || {
            (0..16).all(|k| {
                let ring = Point::along(f64::from(k) * std::f64::consts::TAU / 16.0) * BAND;
                referee.holds(q + ring) == theirs && referee.holds(q + ring * 0.5) == theirs
            })
        };
        if (ours != theirs || count < 0) && sure() {
            wrong.push(q);
        }
    }
    wrong
}

fn random_path(dice: &mut Dice, kind: usize) -> BezPath {
    let mut path = BezPath::new();
    let start = dice.point();
    path.move_to(start);
    let mut here = start;
    for _ in 0..1 + dice.below(4) {
        let near = |dice: &mut Dice, reach: f64| {
            (here.0 + dice.within(-reach, reach), here.1 + dice.within(-reach, reach))
        };
        match kind {
            0 => path.line_to(dice.point()),
            1 => path.line_to(near(dice, 3.0)),
            2 => path.quad_to(dice.point(), dice.point()),
            3 => path.curve_to(dice.point(), dice.point(), dice.point()),
            4 => {
                let (a, b, c) = (near(dice, 6.0), near(dice, 6.0), near(dice, 3.0));
                path.curve_to(a, b, c);
            }
            _ => match dice.below(3) {
                0 => path.line_to(near(dice, 5.0)),
                1 => path.quad_to(dice.point(), near(dice, 8.0)),
                _ => path.curve_to(near(dice, 5.0), dice.point(), near(dice, 5.0)),
            },
        }
        let end = path.elements().last().and_then(kurbo::PathEl::end_point).unwrap();
        here = (end.x, end.y);
    }
    if dice.below(3) == 0 {
        path.close_path();
    }
    path
}

#[test]
fn of_360_random_strokes_none_differs_from_the_definition() {
    let mut dice = Dice(20_260_101);
    let mut failures = vec![];
    for i in 0..360 {
        let cap = [Cap::Butt, Cap::Round, Cap::Square][i % 3];
        let join = [Join::Miter, Join::Round, Join::Bevel][(i / 3) % 3];
        let style = stroke(dice.within(0.5, 8.0), cap, join);
        let path = random_path(&mut dice, (i / 9) % 6);
        let wrong = wrong_places(&path, &style, 300, &mut dice);
        if !wrong.is_empty() {
            failures.push(format!("{i}: {} {style:?} {wrong:?}", path.to_svg()));
        }
    }
    assert!(failures.is_empty(), "{} of 360:\n{}", failures.len(), failures.join("\n"));
}

/// A wavy line round a middle, of cubics that join smoothly, some of them a fiftieth as long as others.
fn smooth_path(dice: &mut Dice) -> BezPath {
    let (waves, shift) = (2.0 + 4.0 * dice.unit(), dice.within(0.0, 6.0));
    let place =
        |turn: f64| kurbo::Vec2::from_angle(turn) * (10.0 + 0.8 * (waves * turn + shift).sin());
    let along = |turn: f64| (place(turn + 1e-5) - place(turn - 1e-5)).normalize();
    let mut turn = 0.0;
    let mut path = BezPath::new();
    path.move_to(place(turn).to_point());
    while turn < 5.5 {
        let next = turn + [0.01, 0.1, 0.4][dice.below(3)] * (1.0 + dice.unit());
        let arm = (place(next) - place(turn)).hypot() / 3.0;
        let (a, b) = (place(turn) + along(turn) * arm, place(next) - along(next) * arm);
        path.curve_to(a.to_point(), b.to_point(), place(next).to_point());
        turn = next;
    }
    path
}

#[test]
fn spans_over_smooth_joints_keep_within_the_tolerance() {
    let mut dice = Dice(20_261_128);
    let (mut joints, mut all_off) = (0, vec![]);
    for i in 0..60 {
        let path = smooth_path(&mut dice);
        joints += path.elements().len() - 2;
        let r = [0.04, 0.06, 0.1][i % 3];
        let contours = outline(&path, &stroke(2.0 * r, Cap::Butt, Join::Round), TOLERANCE).contours;
        let [contour] = &contours[..] else { panic!("{}", path.to_svg()) };
        let edges = |q: Point| {
            let n = contour.len();
            let near = (0..n).map(|i| distance_to_segment(q, contour[i], contour[(i + 1) % n]));
            near.fold(f64::INFINITY, f64::min)
        };
        let all: Vec<Sample> = path.segments().filter_map(|s| samples(&s)).flatten().collect();
        let aside = |sample: &Sample, r: f64| sample.p + Point::new(-sample.t.y, sample.t.x) * r;
        for sample in all.iter().step_by(7) {
            let off = edges(aside(sample, r)).max(edges(aside(sample, -r)));
            assert!(off < 1.06 * TOLERANCE, "{off} at {:?}: {}", sample.p, path.to_svg());
            all_off.push(off);
        }
        for &q in contour {
            let near = all.iter().map(|sample| q.distance(sample.p)).fold(f64::INFINITY, f64::min);
            let off = (near - r).abs();
            assert!(off < 1.06 * TOLERANCE, "{off} at {q:?}: {}", path.to_svg());
        }
    }
    assert!(joints > 600, "{joints}");
    // Spans are looked at in a few places: one in a thousand may stray a little more in between.
    all_off.sort_by(f64::total_cmp);
    let usual = all_off[all_off.len() * 999 / 1000];
    assert!(usual < 1.02 * TOLERANCE && usual > 0.9 * TOLERANCE, "{usual}");
}

/// Of how many cubics a circle is made should not matter.
#[test]
fn a_circle_has_as_few_points_in_many_cubics_as_in_four() {
    let points = |pieces: usize| {
        let step = std::f64::consts::TAU / pieces as f64;
        let arm = 4.0 / 3.0 * (step / 4.0).tan() * 10.0;
        let spoke = |i: usize| kurbo::Vec2::from_angle(step * i as f64) * 10.0;
        let along = |i: usize| kurbo::Vec2::from_angle(step * i as f64).turn_90() * arm;
        let mut path = BezPath::new();
        path.move_to(spoke(0).to_point());
        for i in 0..pieces {
            let (a, b) = (spoke(i) + along(i), spoke(i + 1) - along(i + 1));
            path.curve_to(a.to_point(), b.to_point(), spoke(i + 1).to_point());
        }
        path.close_path();
        let contours = outline(&path, &stroke(2.0, Cap::Butt, Join::Miter), TOLERANCE).contours;
        contours.iter().map(Vec::len).sum::<usize>()
    };
    let few = points(4);
    assert!([12, 40, 200].into_iter().all(|many| points(many) <= few + 3), "{few} {}", points(200));
}

#[test]
fn the_hard_cases_agree_with_the_definition() {
    let mut dice = Dice(7);
    let cases = [
        ("M0 0h10v5", 3.0),
        ("M0 0h.2v.2h.2v.2h.2v.2", 3.0),
        ("M0 0L10 0L0 .5", 2.0),
        ("M0 0L10 0L0 0", 2.0),
        ("M0 0Q20 0 5 0", 4.0),
        ("M0 0C20 0 -10 0 10 0", 4.0),
        ("M0 0C30 20 -20 20 10 0", 3.0),
        ("M0 0C20 20 -10 20 10 0", 3.0),
        ("M0 0C10 10 0 10 10 0", 4.0),
        ("M0 0C0 0 10 0 10 10", 3.0),
        ("M0 0C10 0 10 10 10 10", 3.0),
        ("M1 0A1 1 0 0 1 -1 0A1 1 0 0 1 1 0Z", 4.0),
        ("M1.9 0A1.9 1.9 0 0 1 -1.9 0A1.9 1.9 0 0 1 1.9 0Z", 4.0),
        ("M0 0A1 1 0 0 1 2 0", 4.0),
        ("M0 0h10v10h-10z", 2.0),
        ("M0 0h1v1h-1z", 4.0),
        ("M0 0h1e-5h1e-5v1e-5h8", 4.0),
        ("M5 5h0", 4.0),
        ("M5 5z", 4.0),
        ("M0 0h5zM20 0h5", 2.0),
    ];
    for (data, width) in cases {
        let path = BezPath::from_svg(data).unwrap();
        for cap in [Cap::Butt, Cap::Round, Cap::Square] {
            for join in [Join::Miter, Join::Round, Join::Bevel] {
                let wrong = wrong_places(&path, &stroke(width, cap, join), 1500, &mut dice);
                assert!(wrong.is_empty(), "{data} {cap:?} {join:?}: {wrong:?}");
            }
        }
    }
}

#[test]
fn a_circle_narrower_than_its_stroke_has_no_hole() {
    let path = BezPath::from_svg("M1 0A1 1 0 0 1 -1 0A1 1 0 0 1 1 0Z").unwrap();
    let result = outline(&path, &stroke(4.0, Cap::Butt, Join::Miter), 0.01);
    assert!(winding(&result.contours, Point::ORIGIN) > 0);
    let result = outline(&path, &stroke(1.0, Cap::Butt, Join::Miter), 0.01);
    assert_eq!(winding(&result.contours, Point::ORIGIN), 0);
}

/// SVG 2: a dash of length zero is a dot under round and square caps, nothing under butt caps.
#[test]
fn dots_are_dots() {
    let path = BezPath::from_svg("M0 0h20").unwrap();
    for (cap, dots) in [(Cap::Round, 5), (Cap::Square, 5), (Cap::Butt, 0)] {
        let style = Stroke { dashes: vec![0.0, 4.5], ..stroke(2.0, cap, Join::Miter) };
        let result = outline(&path, &style, 0.01);
        let inside = (0..5)
            .filter(|k| winding(&result.contours, Point::new(4.5 * f64::from(*k) + 0.5, 0.5)) > 0);
        assert_eq!(inside.count(), dots, "{cap:?}");
        assert_eq!(winding(&result.contours, Point::new(2.25, 0.5)), 0);
    }
}

#[test]
fn a_million_dashes_are_refused_not_drawn() {
    let path = BezPath::from_svg("M0 0h1000000").unwrap();
    let style = Stroke { dashes: vec![0.1, 0.1], ..stroke(2.0, Cap::Butt, Join::Miter) };
    let result = outline(&path, &style, 0.01);
    assert!(result.dashes_dropped);
    assert_eq!(result.contours.len(), 1);
    let path = BezPath::from_svg("M0 0h10").unwrap();
    let style = Stroke { dashes: vec![0.009, 0.009], ..stroke(2.0, Cap::Butt, Join::Miter) };
    assert!(outline(&path, &style, 0.01).dashes_dropped);
    assert!(!outline(&path, &style, 0.001).dashes_dropped);
}

/// An arm of a ten-millionth of the curve is no direction, one of a thousandth is; there the curve
/// turns within a small part of the width, which is told. Radii as usual in icons are not.
#[test]
fn tight_turns_are_told_and_vanishing_arms_left_out() {
    let paint = Paint::BLACK;
    let stroke = Stroke {
        width: 20.0,
        cap: Cap::Butt,
        join: Join::Miter,
        miter_limit: 4.0,
        dashes: vec![],
        dash_offset: 0.0,
        paint,
    };
    let along = |data: &str| outline(&BezPath::from_svg(data).unwrap(), &stroke, TOLERANCE);
    let bare = along("M20 160C20.00001 160 160 20 160.00001 20");
    let box_of = |contours: &[Vec<Point>]| {
        let points = contours.iter().flatten();
        points.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| {
            (low.min(p.x), high.max(p.x))
        })
    };
    // The ends are cut off square to the chord, which rises at 45 degrees.
    let (low, high) = box_of(&bare.contours);
    let half = 10.0 * std::f64::consts::FRAC_1_SQRT_2;
    assert!((low - (20.0 - half)).abs() < 0.02 && (high - (160.0 + half)).abs() < 0.02);
    assert_eq!(bare.tight_turn, None);
    // Handles that are all but drawn back make hooks; those are told and not followed.
    let hooks = along("M20 160C20.1 160 160 20 160.1 20");
    assert!(hooks.tight_turn.is_some());
    let (low, high) = box_of(&hooks.contours);
    assert!((low - (20.0 - half)).abs() < 0.1 && (high - (160.1 + half)).abs() < 0.1);
    assert_eq!(along("M20 160C60 160 120 20 160 20").tight_turn, None);
    assert_eq!(along("M0 0h50a2 2 0 0 1 2 2v50").tight_turn, None);
}
