//! Circles, ellipses and rounded rectangles, made anew from their few exact points.
//!
//! The SVG library draws their quarters with a fixed tolerance of a tenth of a user unit. Its path
//! still holds where each quarter begins and ends, so the quarters are drawn again here, in as many
//! cubics as keep the error on the page below [`TOLERANCE_MM`]. A cubic over an angle `a` is off by
//! 2.7e-4 r (a / 90 degrees)^6 (the classical 4/3 tan(a/4) handles).

use kurbo::{Affine, BezPath, PathEl, Point, Vec2};

/// Largest error of a quarter on the page, mm.
const TOLERANCE_MM: f64 = 0.0005;

/// The same outline with finer quarters. The path must come from a circle, an ellipse or a rounded
/// rectangle; anything else comes back unchanged.
pub(super) fn refined(path: BezPath, to_page: &Affine) -> BezPath {
    let curves = runs(&path);
    let has_lines = path.elements().iter().any(|e| matches!(e, PathEl::LineTo(_)));
    let quarters: Option<Vec<Quarter>> = match (curves.as_slice(), has_lines) {
        ([whole], false) => split_in_four(whole),
        (runs, true) if runs.len() == 4 => runs.iter().map(|run| Quarter::new(run)).collect(),
        _ => None,
    };
    match quarters {
        Some(quarters) => rebuilt(&path, &quarters, to_page),
        None => path,
    }
}

/// How much a map stretches at most: its largest singular value.
pub(super) fn largest_scale(map: &Affine) -> f64 {
    let [a, b, c, d, _, _] = map.as_coeffs();
    let sum = (a + d).hypot(b - c);
    let difference = (a - d).hypot(b + c);
    (sum + difference) / 2.0
}

/// Points of each stretch of cubics: its start, then three for each cubic.
fn runs(path: &BezPath) -> Vec<Vec<Point>> {
    let mut runs: Vec<Vec<Point>> = Vec::new();
    let mut last = Point::ZERO;
    let mut in_run = false;
    for element in path.elements() {
        match *element {
            PathEl::CurveTo(a, b, p) => {
                if !in_run {
                    runs.push(vec![last]);
                }
                if let Some(run) = runs.last_mut() {
                    run.extend([a, b, p]);
                }
                in_run = true;
                last = p;
            }
            PathEl::MoveTo(p) | PathEl::LineTo(p) => {
                in_run = false;
                last = p;
            }
            _ => in_run = false,
        }
    }
    runs
}

fn split_in_four(run: &[Point]) -> Option<Vec<Quarter>> {
    let each = (run.len() - 1) / 4;
    if each == 0 || !each.is_multiple_of(3) || each * 4 + 1 != run.len() {
        return None;
    }
    (0..4).map(|i| Quarter::new(&run[i * each..=(i + 1) * each])).collect()
}

/// A quarter of an ellipse along the axes.
struct Quarter {
    center: Point,
    /// From the centre to its start and to its end.
    from: Vec2,
    to: Vec2,
    /// How many cubics it was drawn with.
    pieces: usize,
}

impl Quarter {
    /// The points of its cubics: the tangent at the start runs along one axis.
    fn new(run: &[Point]) -> Option<Self> {
        let (start, handle, end) = (*run.first()?, *run.get(1)?, *run.last()?);
        let tangent = handle - start;
        let center = if tangent.x.abs() > tangent.y.abs() {
            Point::new(start.x, end.y)
        } else {
            Point::new(end.x, start.y)
        };
        Some(Self { center, from: start - center, to: end - center, pieces: (run.len() - 1) / 3 })
    }

    /// Cubics that keep within the tolerance on the page.
    fn pieces_for(&self, scale: f64) -> usize {
        let radius = self.from.hypot().max(self.to.hypot()) * scale;
        let ratio = (2.7e-4 * radius / TOLERANCE_MM).max(1.0);
        (ratio.powf(1.0 / 6.0).ceil() as usize).clamp(1, 32).max(self.pieces)
    }

    fn draw(&self, pieces: usize, out: &mut BezPath) {
        let step = std::f64::consts::FRAC_PI_2 / pieces as f64;
        let handle = 4.0 / 3.0 * (step / 4.0).tan();
        let at = |c: f64, s: f64| self.center + self.from * c + self.to * s;
        for i in 0..pieces {
            let (s0, c0) = (step * i as f64).sin_cos();
            let (s1, c1) = (step * (i + 1) as f64).sin_cos();
            let end = if i + 1 == pieces { self.center + self.to } else { at(c1, s1) };
            out.curve_to(
                at(c0 - handle * s0, s0 + handle * c0),
                at(c1 + handle * s1, s1 - handle * c1),
                end,
            );
        }
    }
}

fn rebuilt(path: &BezPath, quarters: &[Quarter], to_page: &Affine) -> BezPath {
    let scale = largest_scale(to_page);
    let mut out = BezPath::new();
    let mut quarters = quarters.iter();
    let mut skip = 0;
    for element in path.elements() {
        match element {
            PathEl::CurveTo(..) if skip > 0 => skip -= 1,
            PathEl::CurveTo(..) => {
                if let Some(quarter) = quarters.next() {
                    quarter.draw(quarter.pieces_for(scale), &mut out);
                    skip = quarter.pieces - 1;
                }
            }
            other => out.push(*other),
        }
    }
    out
}
