//! Path data with elliptical arcs -> the same path with fine cubic curves in their place.
//!
//! The SVG library turns arcs into cubics with a fixed tolerance of a tenth of a user unit
//! (measured: 0.0995 units at a radius of 366), which is a tenth of a millimetre in a drawing made
//! in millimetres and more in one made in inches. Here each cubic spans so few degrees ([`TURNS`]) that it
//! is off by less than a thousandth of a unit: by 2.7e-4 r (a / 90 degrees)^6 over an angle `a`.
//!
//! Numbers are written with the fewest digits that lead to the nearest 32-bit number, which is all
//! that the library keeps of a coordinate: longer ones cost it time and change nothing. (It reads
//! them in 64 bits first. Tried with every 32-bit number: all come back but one, 7.04e-26, which is
//! off by its last bit.)
//!
//! The text is rewritten whole in absolute commands, up to the first error as SVG 2 asks
//! (chapter Paths, error handling); smooth commands are resolved, because they mirror the control
//! point of the command before, which may have been an arc.

use kurbo::{Arc, Point, SvgArc, Vec2};
use svgtypes::{PathParser, PathSegment};
use usvg::roxmltree::{Document, Node};

use crate::parallel;

/// The widest angle that one cubic spans, radians, on arcs with radii up to so many user units.
///
/// A drawing may be in inches, or scaled: so the share of the radius counts too, at most 4.2e-6.
const TURNS: [(f64, f64); 3] = [
    (100.0, std::f64::consts::PI / 4.0),
    (2_000.0, std::f64::consts::PI / 6.0),
    (f64::INFINITY, std::f64::consts::PI / 12.0),
];

/// How the joints between the cubics of one arc are told from the path's own vertices, which alone
/// carry markers: after each joint comes a segment without length, a line or, where the path has a
/// marker at its start, a quadratic curve (`drawing/markers.rs` reads that back).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) enum Joints {
    /// Not at all: no marker stands at vertices.
    #[default]
    Plain,
    Marked,
    MarkedAfterStart,
}

/// What a path's data are worth.
#[derive(Debug, Default, PartialEq)]
pub(super) struct PathReport {
    /// The data with cubics in place of arcs, if there was an arc.
    pub(super) rewritten: Option<String>,
    /// Characters before the first error, if there is one.
    pub(super) broken_at: Option<usize>,
    /// Largest coordinate that occurs; infinite or NaN values included.
    pub(super) largest: f64,
    /// How many commands were read.
    pub(super) commands: usize,
}

/// What the data of all paths of a drawing are worth without markers, in its order: read on all cores.
pub(super) struct Inspected(Vec<(u32, Option<PathReport>)>);

impl Inspected {
    pub(super) fn of(doc: &Document<'_>) -> Self {
        let paths = doc.descendants().filter(|node| node.tag_name().name() == "path");
        let data: Vec<_> =
            paths.filter_map(|path| Some((path.id().get(), path.attribute("d")?))).collect();
        let report = |i: usize| {
            let (id, data): (u32, &str) = data[i];
            (id, Some(inspect(data, Joints::Plain)))
        };
        Self(parallel::map(data.len(), report))
    }

    /// The report on `path`, once.
    pub(super) fn take(&mut self, path: Node<'_, '_>) -> Option<PathReport> {
        let at = self.0.binary_search_by_key(&path.id().get(), |(id, _)| *id).ok()?;
        self.0[at].1.take()
    }
}

/// Reads path data once.
pub(super) fn inspect(data: &str, joints: Joints) -> PathReport {
    let mut report = PathReport::default();
    let mut pen = Pen { writing: has_arc(data), joints, ..Pen::default() };
    for segment in PathParser::from(data) {
        match segment {
            Ok(segment) => {
                pen.take(segment);
                report.commands += 1;
            }
            Err(error) => {
                report.broken_at = Some(position(&error).unwrap_or(data.chars().count()));
                break;
            }
        }
    }
    report.largest = pen.largest;
    if pen.arcs > 0 {
        report.rewritten = Some(pen.text);
    }
    report
}

/// Whether the path, which goes somewhere, also moves to a point and nowhere from there. The SVG library drops
/// such points, which are vertices (SVG 2, 11.6.2).
pub(super) fn has_bare_move(data: &str) -> bool {
    let is_move = |segment: PathSegment| matches!(segment, PathSegment::MoveTo { .. });
    let moves: Vec<bool> = PathParser::from(data).map_while(Result::ok).map(is_move).collect();
    let bare = moves.windows(2).any(|pair| pair[0] && pair[1]) || moves.last() == Some(&true);
    bare && moves.contains(&false)
}

/// Whether an arc may stand in the data.
fn has_arc(data: &str) -> bool {
    data.bytes().any(|b| matches!(b, b'a' | b'A'))
}

fn position(error: &svgtypes::Error) -> Option<usize> {
    match error {
        svgtypes::Error::UnexpectedData(at)
        | svgtypes::Error::InvalidChar(_, at)
        | svgtypes::Error::InvalidString(_, at)
        | svgtypes::Error::InvalidNumber(at) => Some(at.saturating_sub(1)),
        _ => None,
    }
}

/// Follows the path in absolute coordinates and writes it down.
#[derive(Default)]
struct Pen {
    text: String,
    at: Point,
    start: Point,
    /// Control point that a smooth cubic or quadratic mirrors, if the command before had one.
    cubic: Option<Point>,
    quad: Option<Point>,
    closed: bool,
    arcs: usize,
    largest: f64,
    writing: bool,
    joints: Joints,
    /// Writes numbers several times as fast as `write!`.
    digits: zmij::Buffer,
}

impl Pen {
    fn take(&mut self, segment: PathSegment) {
        let (cubic, quad) = (self.cubic.take(), self.quad.take());
        let here = self.at;
        let to = |abs: bool, x: f64, y: f64| -> Point {
            if abs { Point::new(x, y) } else { Point::new(here.x + x, here.y + y) }
        };
        match segment {
            PathSegment::MoveTo { abs, x, y } => self.move_to(to(abs, x, y)),
            PathSegment::LineTo { abs, x, y } => self.line_to(to(abs, x, y)),
            PathSegment::HorizontalLineTo { abs, x } => {
                self.line_to(Point::new(to(abs, x, 0.0).x, here.y));
            }
            PathSegment::VerticalLineTo { abs, y } => {
                self.line_to(Point::new(here.x, to(abs, 0.0, y).y));
            }
            PathSegment::CurveTo { abs, x1, y1, x2, y2, x, y } => {
                self.curve_to([to(abs, x1, y1), to(abs, x2, y2), to(abs, x, y)]);
            }
            PathSegment::SmoothCurveTo { abs, x2, y2, x, y } => {
                self.curve_to([mirror(here, cubic), to(abs, x2, y2), to(abs, x, y)]);
            }
            PathSegment::Quadratic { abs, x1, y1, x, y } => {
                self.quad_to(to(abs, x1, y1), to(abs, x, y));
            }
            PathSegment::SmoothQuadratic { abs, x, y } => {
                self.quad_to(mirror(here, quad), to(abs, x, y));
            }
            PathSegment::EllipticalArc { abs, rx, ry, x_axis_rotation, large_arc, sweep, x, y } => {
                self.arc_to(&SvgArc {
                    from: here,
                    to: to(abs, x, y),
                    radii: Vec2::new(rx, ry),
                    x_rotation: x_axis_rotation.to_radians(),
                    large_arc,
                    sweep,
                })
            }
            PathSegment::ClosePath { .. } => self.close(),
        }
    }

    fn move_to(&mut self, p: Point) {
        self.closed = false;
        self.start = p;
        self.write('M', &[p]);
    }

    fn line_to(&mut self, p: Point) {
        self.reopen();
        self.write('L', &[p]);
    }

    fn curve_to(&mut self, points: [Point; 3]) {
        self.reopen();
        self.write('C', &points);
        self.cubic = Some(points[1]);
    }

    fn quad_to(&mut self, control: Point, p: Point) {
        self.reopen();
        self.write('Q', &[control, p]);
        self.quad = Some(control);
    }

    /// SVG 2, 9.5.1: a zero radius makes a line, too small radii are scaled up (kurbo does both).
    fn arc_to(&mut self, arc: &SvgArc) {
        self.arcs += 1;
        self.reopen();
        match Arc::from_svg_arc(arc) {
            Some(round) if round.sweep_angle.is_finite() => self.cubics(&round, arc.to),
            _ => self.write('L', &[arc.to]),
        }
    }

    fn cubics(&mut self, arc: &Arc, end: Point) {
        let radius = arc.radii.x.abs().max(arc.radii.y.abs());
        let (_, turn) = *TURNS.iter().find(|(up_to, _)| radius <= *up_to).unwrap_or(&TURNS[2]);
        let pieces = (arc.sweep_angle.abs() / turn).ceil().clamp(1.0, 24.0) as usize;
        let step = arc.sweep_angle / pieces as f64;
        let all = Pieces::new(arc, step);
        for i in 0..pieces {
            let mut points = all.cubic(arc.start_angle + step * i as f64);
            if i + 1 == pieces {
                points[2] = end;
            }
            self.write('C', &points);
            if i + 1 < pieces {
                self.joint(points[2]);
            }
        }
    }

    fn joint(&mut self, p: Point) {
        match self.joints {
            Joints::Plain => {}
            Joints::Marked => self.write('L', &[p]),
            Joints::MarkedAfterStart => self.write('Q', &[p, p]),
        }
    }

    fn close(&mut self) {
        if self.writing {
            self.text.push('Z');
        }
        self.at = self.start;
        self.closed = true;
    }

    /// A command after `Z` begins a new subpath at the start of the one before.
    fn reopen(&mut self) {
        if std::mem::take(&mut self.closed) {
            self.write('M', &[self.start]);
        }
    }

    fn write(&mut self, command: char, points: &[Point]) {
        for p in points {
            self.largest = larger(larger(self.largest, p.x), p.y);
        }
        if self.writing {
            self.text.push(command);
            for x in points.iter().flat_map(|p| [p.x, p.y]) {
                self.text.push_str(self.digits.format(x as f32));
                self.text.push(' ');
            }
        }
        self.at = points.last().copied().unwrap_or(self.at);
    }
}

/// The larger of two magnitudes; NaN counts as infinite.
pub(super) fn larger(a: f64, b: f64) -> f64 {
    if b.is_nan() { f64::INFINITY } else { a.max(b.abs()) }
}

fn mirror(here: Point, control: Option<Point>) -> Point {
    control.map_or(here, |c| here + (here - c))
}

/// Makes the cubics for pieces of an elliptical arc that all turn by the same angle (the classical
/// 4/3 tan(angle/4) handles).
struct Pieces<'a> {
    arc: &'a Arc,
    /// The angle of a piece, and the length of its handles on a unit circle.
    step: f64,
    handle: f64,
    /// Sine and cosine of the ellipse's own turn.
    turned: (f64, f64),
}

impl<'a> Pieces<'a> {
    fn new(arc: &'a Arc, step: f64) -> Self {
        let handle = 4.0 / 3.0 * (step / 4.0).tan();
        Self { arc, step, handle, turned: arc.x_rotation.sin_cos() }
    }

    /// Control points and end of the piece that begins at an angle.
    fn cubic(&self, from: f64) -> [Point; 3] {
        let handle = self.handle;
        let (s0, c0) = from.sin_cos();
        let (s1, c1) = (from + self.step).sin_cos();
        [
            self.place(c0 - handle * s0, s0 + handle * c0),
            self.place(c1 + handle * s1, s1 - handle * c1),
            self.place(c1, s1),
        ]
    }

    /// Where a point of the unit circle lies.
    fn place(&self, x: f64, y: f64) -> Point {
        let (sin_r, cos_r) = self.turned;
        let (x, y) = (x * self.arc.radii.x, y * self.arc.radii.y);
        self.arc.center + Vec2::new(x * cos_r - y * sin_r, x * sin_r + y * cos_r)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::{BezPath, ParamCurve, Shape};

    fn plain(data: &str) -> PathReport {
        inspect(data, Joints::Plain)
    }

    fn radial_error(path: &BezPath, radius: f64) -> f64 {
        let mut worst = 0.0f64;
        for seg in path.segments() {
            for i in 0..=32 {
                let p = seg.eval(f64::from(i) / 32.0);
                worst = worst.max((p.to_vec2().hypot() - radius).abs());
            }
        }
        worst
    }

    #[test]
    fn arcs_stay_on_the_circle() {
        for r in [1.0, 10.0, 100.0, 366.0, 2_000.0, 12_500.0] {
            let data = format!("M{r} 0A{r} {r} 0 0 1 -{r} 0A{r} {r} 0 0 1 {r} 0Z");
            let fine = BezPath::from_svg(&plain(&data).rewritten.unwrap()).unwrap();
            let error = radial_error(&fine, r);
            assert!(error < 8e-4 && error < 4.5e-6 * r, "r {r}: {error}");
        }
    }

    #[test]
    fn everything_else_keeps_its_meaning() {
        // One piece is a zero-radius arc, that is a line. The referee is the simplifying parser of
        // the SVG library.
        let data = "m1 2l3 4h5v-6c1 2 3 4 5 6s7 8 9 1q1 2 3 4t5 6a0 0 0 0 1 4 4z l2 2s1 1 3 0t2 1 \
                    m1 1 2 2z m4 4h1";
        let simple = |text: &str| -> Vec<_> {
            svgtypes::SimplifyingPathParser::from(text).map(Result::unwrap).collect()
        };
        let ours = plain(data).rewritten.unwrap();
        assert_eq!(simple(&ours), simple(data));
    }

    #[test]
    fn numbers_lead_to_the_nearest_in_32_bits() {
        for x in [1.0 / 3.0, -123_456.789_012_345, 1e-9 / 7.0, 16_777_217.0, 9.87e14] {
            let ours = plain(&format!("M{x} 0A1 1 0 0 1 4 4")).rewritten.unwrap();
            let Some(Ok(PathSegment::MoveTo { x: read, .. })) = PathParser::from(&*ours).next()
            else {
                panic!("{ours}")
            };
            assert_eq!(read as f32, x as f32, "{ours}");
        }
    }

    #[test]
    fn a_turned_ellipse_has_its_area() {
        let data = "M10 0A10 5 30 1 1 9.9 0Z";
        let fine = BezPath::from_svg(&plain(data).rewritten.unwrap()).unwrap();
        let reference = Arc::from_svg_arc(&SvgArc {
            from: Point::new(10.0, 0.0),
            to: Point::new(9.9, 0.0),
            radii: Vec2::new(10.0, 5.0),
            x_rotation: 30f64.to_radians(),
            large_arc: true,
            sweep: true,
        })
        .unwrap();
        let mut path = reference.to_path(1e-9);
        path.close_path();
        let off = (fine.area() / path.area() - 1.0).abs();
        assert!(off < 5e-6, "{} {}", fine.area(), path.area());
    }

    #[test]
    fn tells_where_data_break() {
        assert_eq!(plain("M0 0L10 10").broken_at, None);
        assert_eq!(plain("").broken_at, None);
        let report = plain("M0 0L10 10 Lx 5");
        assert_eq!((report.broken_at.is_some(), report.commands), (true, 2));
        assert!(report.broken_at.is_some_and(|at| (11..=13).contains(&at)), "{report:?}");
        assert_eq!(plain("M0 0L1e308 1e308l1e308 0").largest, f64::INFINITY);
    }
}
