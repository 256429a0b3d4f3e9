//! A drawing that is read is planned, or refused with a sentence. Of each plan holds:
//!
//! 1. what was written is what is read back, point by point, and ends with the tool up;
//! 2. every position lies in the machine's area;
//! 3. contours of the ink are closed, have an area in plotter units, and do not cross, themselves
//!    or each other;
//! 4. every line is cut, what is inside before what is around it;
//! 5. the tip keeps to its lines, or that is told; every figure is a number;
//! 6. the same settings with more threads give the same bytes.

use std::sync::LazyLock;

use bladewright::blade::TOLD_ERROR_MM;
use bladewright::drawing::{self, ReadSettings};
use bladewright::geometry::{Contour, Point};
use bladewright::hpgl::{self, StepKind, TraceSettings};
use bladewright::ink::Trace;
use bladewright::job::Units;
use bladewright::order::{Effort, Strategy};
use bladewright::pipeline::{self, Plan, PlanSettings};
use bladewright::place::Role;
use bladewright::profile::{EncodedLines, Library, Lists};
use rayon::{ThreadPool, ThreadPoolBuilder};

use super::recipe;

/// Longer texts only take longer.
const MOST_BYTES: usize = 1 << 14;
/// Plans with more edges are not judged pair by pair.
const MOST_EDGES: usize = 4000;

/// One thread, and three.
static ALONE: LazyLock<ThreadPool> = LazyLock::new(|| pool(1));
static THREE: LazyLock<ThreadPool> = LazyLock::new(|| pool(3));

fn pool(threads: usize) -> ThreadPool {
    ThreadPoolBuilder::new().num_threads(threads).build().expect("a few threads can begin")
}

/// `bytes` as an SVG or SVGZ drawing.
pub fn drawing(bytes: &[u8]) {
    if bytes.len() <= MOST_BYTES {
        planned(bytes, &settings(bytes));
    }
}

/// `bytes` as a recipe for a drawing.
pub fn sheet(bytes: &[u8]) {
    planned(recipe::drawing(bytes).as_bytes(), &settings(bytes));
}

/// Settings that depend on the bytes, so that every sort of job is tried.
fn settings(bytes: &[u8]) -> PlanSettings {
    let how = bytes.iter().fold(0u8, |sum, &byte| sum.wrapping_mul(31).wrapping_add(byte));
    let library = Library::default();
    let (machine, material) = [
        ("plain-hpgl", "pen"),
        ("roll-24", "vinyl-cast"),
        ("flatbed-a4", "pen"),
        ("roll-15", "card-200g"),
    ][usize::from(how % 4)];
    let mut machine = library.machine(machine).expect("it is built in");
    let material = library.material(material).expect("it is built in");
    machine.language.lists = if how & 4 != 0 { Lists::Relative } else { Lists::Absolute };
    machine.language.encoded =
        [EncodedLines::Never, EncodedLines::Base32, EncodedLines::Base64, EncodedLines::Never]
            [usize::from(how >> 3 & 3)];
    let mut settings = quick(PlanSettings::new(machine, material));
    if how >> 5 == 7 {
        settings.ink.trace = Trace::CentreLines;
    }
    if how >> 5 == 6 {
        settings.strategy = Strategy::Best;
    }
    settings
}

/// The same, with what takes long left out.
pub fn quick(settings: PlanSettings) -> PlanSettings {
    let mut settings = settings;
    settings.strategy = Strategy::Nearest;
    settings.effort = Effort::Quick;
    settings
}

/// Plans `svg` and judges what comes out.
pub fn planned(svg: &[u8], settings: &PlanSettings) {
    let read = ReadSettings { system_fonts: false, ..ReadSettings::default() };
    let (drawing, findings) = match drawing::read(svg, &read) {
        Ok(read) => read,
        Err(error) => return assert!(error.to_string().len() > 10),
    };
    let plan = || pipeline::plan(&drawing, &findings, settings);
    let plans = match ALONE.install(plan) {
        Ok(plans) => plans,
        Err(error) => return assert!(error.to_string().len() > 10),
    };
    for plan in &plans {
        is_read_back(plan, settings);
        is_in_reach(plan, settings);
        keeps_order(plan);
        keeps_to_lines(plan);
        if settings.ink.trace == Trace::Outlines {
            is_closed(plan, settings);
            crosses_nothing(plan);
        }
    }
    let again = THREE.install(plan).expect("it was planned before");
    let bytes = |plans: &[Plan]| plans.iter().map(|p| p.written.bytes.clone()).collect::<Vec<_>>();
    assert!(bytes(&plans) == bytes(&again), "three threads give other bytes");
}

/// 1. Only where the header is the usual: a profile's own may scale or turn everything.
fn is_read_back(plan: &Plan, settings: &PlanSettings) {
    assert!(plan.simulation.totals.bytes == plan.written.bytes.len() as u64);
    let language = &settings.machine.language;
    let usual = |text: &String| ["IN", "DF", "PA", "SP0", "SP1"].contains(&text.as_str());
    if !language.header.iter().chain(&language.trailer).all(usual) {
        return;
    }
    assert!(!plan.simulation.left_down);
    let (commands, findings) = hpgl::read(&plan.written.bytes);
    assert!(findings.is_empty(), "{findings:?}");
    let (trace, findings) = hpgl::trace(&commands, &TraceSettings::default());
    assert!(findings.is_empty(), "{findings:?}");
    let (mut cuts, mut at, mut down) = (Vec::new(), Point::ORIGIN, false);
    for step in trace.steps {
        match step.kind {
            StepKind::Lower if !down => {
                down = true;
                cuts.push(vec![at]);
            }
            StepKind::Raise => down = false,
            StepKind::Move(to) => {
                at = to;
                if down && let Some(cut) = cuts.last_mut() {
                    cut.push(at);
                }
            }
            _ => {}
        }
    }
    let point = |units: &Units| Point::new(f64::from(units.x), f64::from(units.y));
    let wanted = plan.job.paths.iter().filter(|path| !path.points.is_empty());
    let wanted: Vec<Vec<Point>> =
        wanted.map(|path| path.points.iter().map(point).collect()).collect();
    assert!(cuts == wanted, "read back: {cuts:?}\nwritten: {wanted:?}");
}

/// 2.
fn is_in_reach(plan: &Plan, settings: &PlanSettings) {
    let Some(clip) = settings.machine.hard_clip else { return };
    for p in plan.job.paths.iter().flat_map(|path| &path.points).chain(&plan.job.park) {
        let inside =
            (clip.x_min..=clip.x_max).contains(&p.x) && (clip.y_min..=clip.y_max).contains(&p.y);
        assert!(inside, "{p:?} is not in {clip:?}");
    }
}

/// Design contours in whole plotter units.
fn rings(plan: &Plan) -> Vec<Vec<(i64, i64)>> {
    let unit = plan.job.unit_mm;
    let units = |p: &Point| ((p.x / unit).round() as i64, (p.y / unit).round() as i64);
    let design = plan.layout.lines.iter().filter(|line| line.role == Role::Design);
    design
        .map(|line| {
            let mut ring: Vec<(i64, i64)> = line.contour.points.iter().map(units).collect();
            ring.dedup();
            ring
        })
        .collect()
}

/// 3, closed.
fn is_closed(plan: &Plan, settings: &PlanSettings) {
    for line in plan.layout.lines.iter().filter(|line| line.role == Role::Design) {
        assert!(line.contour.closed && line.contour.points.len() > 2, "{line:?}");
        assert!(line.contour.points.iter().all(|p| p.is_finite()));
    }
    for ring in rings(plan) {
        let area: i128 = (0..ring.len())
            .map(|i| (ring[i], ring[(i + 1) % ring.len()]))
            .map(|(a, b)| i128::from(a.0) * i128::from(b.1) - i128::from(b.0) * i128::from(a.1))
            .sum();
        assert!(area != 0, "no area: {ring:?}");
    }
    if settings.offset_mm() > 0.0
        || settings.overcut_mm.unwrap_or(settings.material.overcut_mm) > 0.0
    {
        assert!(plan.proof.bridges == 0 || told(plan), "{:?} {:?}", plan.proof, plan.findings);
        return;
    }
    for path in &plan.job.paths {
        assert!(path.points.len() > 3 && path.points.first() == path.points.last(), "{path:?}");
    }
}

/// 3, crossing.
fn crosses_nothing(plan: &Plan) {
    let rings = rings(plan);
    let edges: Vec<[(i64, i64); 2]> = rings
        .iter()
        .flat_map(|ring| (0..ring.len()).map(|i| [ring[i], ring[(i + 1) % ring.len()]]))
        .collect();
    if edges.len() > MOST_EDGES {
        return;
    }
    for (i, a) in edges.iter().enumerate() {
        for b in &edges[..i] {
            assert!(!cross(a, b), "{a:?} and {b:?} cross");
        }
    }
}

/// Whether two edges share a point that is an end of neither.
fn cross([a, b]: &[(i64, i64); 2], [p, q]: &[(i64, i64); 2]) -> bool {
    let side = |a: &(i64, i64), b: &(i64, i64), p: &(i64, i64)| {
        let (x, y) = (i128::from(b.0 - a.0), i128::from(b.1 - a.1));
        (x * i128::from(p.1 - a.1) - y * i128::from(p.0 - a.0)).signum()
    };
    side(a, b, p) * side(a, b, q) < 0 && side(p, q, a) * side(p, q, b) < 0
}

/// 4.
fn keeps_order(plan: &Plan) {
    let lines = &plan.layout.lines;
    let mut when = vec![None; lines.len()];
    for (i, visit) in plan.order.visits.iter().enumerate() {
        assert!(when[visit.line].replace(i).is_none(), "line {} is cut twice", visit.line);
    }
    assert!(when.iter().all(Option::is_some), "a line is not cut");
    let edges: usize = lines.iter().map(|line| line.contour.points.len()).sum();
    if edges > MOST_EDGES {
        return;
    }
    for (i, inner) in lines.iter().enumerate() {
        for (o, outer) in lines.iter().enumerate() {
            if i != o && is_inside(&inner.contour, &outer.contour) {
                assert!(when[i] < when[o], "line {o} is cut before {i}, which is inside");
            }
        }
    }
}

/// Whether all of `inner` lies inside `outer`, well off its boundary.
fn is_inside(inner: &Contour, outer: &Contour) -> bool {
    let clear = |p: &Point| {
        let off = |(a, b)| bladewright::geometry::distance_to_segment(*p, a, b) > 0.01;
        outer.surrounds(*p) && outer.edges().all(off)
    };
    outer.closed && !inner.points.is_empty() && inner.points.iter().all(clear)
}

/// 5.
fn keeps_to_lines(plan: &Plan) {
    let worst = plan.proof.tip.worst().mm;
    assert!(worst.is_finite());
    assert!(worst <= TOLD_ERROR_MM || told(plan), "{worst} mm, not told: {:?}", plan.findings);
    let totals = &plan.simulation.totals;
    assert!(totals.cut_mm.is_finite() && totals.travel_mm.is_finite());
    assert!(totals.time_s.is_none_or(|s| s.is_finite() && s >= 0.0), "{totals:?}");
}

fn told(plan: &Plan) -> bool {
    plan.findings.iter().any(|finding| finding.code == "tip-off-line")
}
