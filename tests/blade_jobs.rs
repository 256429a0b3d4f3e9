//! Whole jobs with a trailing blade, judged by what their written bytes do: each pass, each tool,
//! machines that turn the blade themselves, speed and force around swings.

use bladewright::blade::Part;
use bladewright::check::{Followed, tip_error};
use bladewright::drawing::{self, Drawing, ReadSettings};
use bladewright::finding::Finding;
use bladewright::geometry::Point;
use bladewright::hpgl::{self, StepKind, TraceSettings};
use bladewright::order::Strategy;
use bladewright::pipeline::{self, Plan, PlanSettings};
use bladewright::place::Dash;
use bladewright::profile::{EncodedLines, Library, Machine, Material, Tool};

const UNIT_MM: f64 = 0.025;

/// Decal outlines for a bicycle frame: corners, curves, a ring, a part of a millimetre.
const DECAL: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="60mm"
  viewBox="0 0 90 60">
  <path d="M20 20h30l6 12-6 12h-30z"/><circle cx="70" cy="30" r="9"/>
  <circle cx="70" cy="30" r="4" fill="#fff"/><path d="M20 50q12-9 24 0t24 0v6h-48z"/>
  <rect x="60" y="8" width="1.5" height="1.5"/>
</svg>"##;

fn machine(name: &str) -> Machine {
    Library::default().machine(name).unwrap()
}

fn material(name: &str) -> Material {
    Library::default().material(name).unwrap()
}

fn plan(settings: &PlanSettings) -> Plan {
    let (drawing, findings) = drawing::read(DECAL.as_bytes(), &ReadSettings::default()).unwrap();
    pipeline::plan(&drawing, &findings, settings).unwrap().remove(0)
}

/// For each path of the job its line and how far its own tip strays from it or leaves it uncut, mm.
fn errors(plan: &Plan) -> Vec<(usize, f64)> {
    let cuts = plan.simulation.cuts.iter().zip(&plan.job.paths);
    let of_line = cuts.filter_map(|(cut, path)| Some((path.line?, cut)));
    of_line
        .map(|(line, cut)| {
            let wanted = &plan.layout.lines[line].contour;
            (line, tip_error(&[Followed { wanted, tracks: &[cut.tip()] }]).worst().mm)
        })
        .collect()
}

#[test]
fn every_pass_takes_the_blade_over_from_the_one_before() {
    for offset in [0.1, 0.25, 0.5, 0.9] {
        let mut thick = material("card-200g");
        thick.passes = 3;
        let mut settings = PlanSettings::new(machine("roll-24"), thick);
        settings.blade_offset_mm = Some(offset);
        let plan = plan(&settings);
        let errors = errors(&plan);
        assert_eq!(errors.len(), 3 * plan.layout.lines.len());
        for passes in errors.chunks(3) {
            assert!(passes.iter().all(|p| p.0 == passes[0].0), "{passes:?}");
            assert!(passes.iter().all(|p| p.1 < UNIT_MM), "offset {offset}: {passes:?}");
        }
        let orienting = plan.job.paths.iter().filter(|p| p.line.is_none()).count();
        assert_eq!(orienting, 1, "the blade is turned once, not once a pass");
        let codes: Vec<_> = plan.findings.iter().map(|f| f.code).collect();
        for code in ["cut-twice", "cuts-cross", "inner-after-outer"] {
            assert!(!codes.contains(&code), "{codes:?}");
        }
        // The second pass of a contour begins with the blade as the first left it.
        let differ = plan.job.paths.windows(2).filter(|w| w[0].line == w[1].line);
        assert!(differ.clone().any(|w| w[0].points != w[1].points));
    }
}

/// The simulator has the last word: a job whose passes were copies strays from its lines.
#[test]
fn passes_that_are_mere_copies_would_start_beside_the_line() {
    let mut thick = material("card-200g");
    thick.passes = 2;
    let mut settings = PlanSettings::new(machine("roll-24"), thick);
    settings.blade_offset_mm = Some(0.9);
    let mut plan = plan(&settings);
    for i in 1..plan.job.paths.len() {
        let [before, path] = &mut plan.job.paths[i - 1..=i] else { unreachable!() };
        if path.line.is_some() && path.line == before.line {
            path.points.clone_from(&before.points);
            path.parts.clone_from(&before.parts);
        }
    }
    let machine = &settings.machine;
    plan.written = hpgl::write(&plan.job, &machine.language);
    plan.simulation = pipeline::read_back(&plan.written.bytes, machine, 0.9).simulation;
    let worst = errors(&plan).iter().map(|e| e.1).fold(0.0, f64::max);
    assert!(worst > 2.0 * UNIT_MM, "{worst}");
}

#[test]
fn a_pens_passes_are_the_same_line_again() {
    let mut twice = material("pen");
    twice.passes = 2;
    let plan = plan(&PlanSettings::new(machine("flatbed-a4"), twice));
    assert_eq!(plan.job.paths.len(), 2 * plan.layout.lines.len());
    for pair in plan.job.paths.chunks(2) {
        assert_eq!(pair[0], pair[1]);
    }
    let starts: Vec<Point> = plan.simulation.cuts.iter().map(|c| c.tip()[0]).collect();
    assert!(starts.chunks(2).all(|p| p[0] == p[1]));
}

/// Open lines are cut once from end to end: nothing closes what a start leaves uncut.
#[test]
fn stretches_between_bridges_begin_and_end_where_they_should() {
    for offset in [0.1, 0.25, 0.5, 0.9, 1.0] {
        let mut settings = PlanSettings::new(machine("roll-24"), material("card-200g"));
        settings.blade_offset_mm = Some(offset);
        settings.placement.dash = Some(Dash { cut_mm: 3.0, bridge_mm: 1.0 });
        let plan = plan(&settings);
        let errors = errors(&plan);
        assert!(errors.len() > 60, "{}", errors.len());
        for (line, error) in errors {
            assert!(error <= UNIT_MM, "offset {offset}, line {line}: {error}");
        }
    }
}

/// What the bytes say of speed and force at each move with the tool down, in order.
fn paces(plan: &Plan) -> Vec<(Option<f64>, Option<f64>)> {
    let (commands, _) = hpgl::read(&plan.written.bytes);
    let (trace, _) = hpgl::trace(&commands, &TraceSettings::default());
    let (mut velocity, mut force, mut down, mut all) = (None, None, false, Vec::new());
    for step in &trace.steps {
        match step.kind {
            StepKind::Velocity(v) => velocity = v,
            StepKind::Force(f) => force = f,
            StepKind::Lower => down = true,
            StepKind::Raise => down = false,
            StepKind::Move(_) if down => all.push((velocity, force)),
            StepKind::Move(_) | StepKind::Tool(_) => {}
        }
    }
    all
}

#[test]
fn swings_are_slower_and_lighter_where_the_machine_takes_it() {
    let mut taking = machine("roll-24");
    (taking.language.force, taking.language.force_range) = (true, Some([1.0, 33.0]));
    let mut stiff = material("sandblast-thin");
    (stiff.machine_force, stiff.swing_force) = (Some(80.0), Some(12.0));
    for encoded in [EncodedLines::Never, EncodedLines::Base64] {
        taking.language.encoded = encoded;
        let plan = plan(&PlanSettings::new(taking.clone(), stiff.clone()));
        let parts = plan.job.paths.iter().flat_map(|path| &path.parts);
        let paces = paces(&plan);
        assert_eq!(paces.len(), parts.clone().count());
        // 80 is more than the machine takes.
        let (cut, swing) = ((Some(5.0), Some(33.0)), (Some(2.5), Some(12.0)));
        for (part, pace) in parts.zip(&paces) {
            assert_eq!(*pace, if *part == Part::Swing { swing } else { cut }, "{part:?}");
        }
        assert!(paces.contains(&swing) && paces.contains(&cut));
        assert!(plan.proof.tip.worst().mm <= UNIT_MM, "{:?}", plan.proof);
    }
}

#[test]
fn a_machine_that_takes_neither_speed_nor_force_gets_neither() {
    let mut settings = PlanSettings::new(machine("plain-hpgl"), material("sandblast-thin"));
    (settings.material.machine_force, settings.material.swing_force) = (Some(30.0), Some(12.0));
    let text = String::from_utf8(plan(&settings).written.bytes).unwrap();
    assert!(!text.contains("VS") && !text.contains("FS"), "{text}");
    // A swing's force alone would stay on for the rest of the job.
    let mut taking = settings;
    (taking.machine.language.force, taking.material.machine_force) = (true, None);
    assert!(!String::from_utf8(plan(&taking).written.bytes).unwrap().contains("FS"));
}

/// Firmware compensation, motor-turned blade, pen: the contours themselves are sent, whatever offset
/// the material or the command line names, and simulated as such.
#[test]
fn nothing_is_compensated_twice() {
    let blade = machine("plain-hpgl");
    let itself = Machine { compensates: true, ..blade.clone() };
    let tangential = Machine { tool: Tool::TangentialBlade, ..blade.clone() };
    let pen = Machine { tool: Tool::Pen, ..blade.clone() };
    let bytes = |machine: &Machine, offset| {
        let mut settings = PlanSettings::new(machine.clone(), material("vinyl-cast"));
        settings.blade_offset_mm = offset;
        let plan = plan(&settings);
        let told = plan.findings.iter().any(|f| f.code == "offset-not-used");
        assert_eq!(told, offset.is_some_and(|o| o > 0.0) && !machine.needs_compensation());
        assert!(plan.proof.tip.worst().mm <= UNIT_MM, "{:?}", plan.proof);
        plan.written.bytes
    };
    let uncompensated = bytes(&blade, Some(0.0));
    for machine in [itself, tangential, pen] {
        for offset in [None, Some(0.0), Some(0.25), Some(0.9)] {
            assert_eq!(bytes(&machine, offset), uncompensated, "{:?} {offset:?}", machine.tool);
        }
    }
    assert_ne!(bytes(&blade, None), uncompensated);
}

/// Every drawing of the tests, from the thinnest to the thickest blade.
#[test]
fn the_tip_keeps_within_a_unit_on_every_drawing() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/drawings");
    let mut count = 0;
    for (file, drawing, findings) in drawings(&folder) {
        for offset in [0.1, 0.25, 0.5, 1.0] {
            let mut settings = PlanSettings::new(machine("plain-hpgl"), material("vinyl-cast"));
            settings.blade_offset_mm = Some(offset);
            settings.overcut_mm = Some(2.0 * offset);
            settings.strategy = Strategy::Nearest;
            for plan in pipeline::plan(&drawing, &findings, &settings).unwrap_or_default() {
                let worst = plan.proof.tip.worst();
                let told = plan.findings.iter().any(|f| f.code == "tip-off-line");
                assert!(!told && worst.mm <= UNIT_MM, "{file}, offset {offset}: {worst:?}");
                assert_eq!(plan.proof.bridges, 0, "{file}, offset {offset}: {:?}", plan.proof);
                count += 1;
            }
        }
    }
    assert!(count > 100, "{count}");
}

/// All drawings below `folder` that can be read.
fn drawings(folder: &std::path::Path) -> Vec<(String, Drawing, Vec<Finding>)> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(drawings(&path));
        } else if path.extension().is_some_and(|e| e == "svg")
            && let Ok((drawing, findings)) =
                drawing::read(&std::fs::read(&path).unwrap(), &ReadSettings::default())
        {
            all.push((path.display().to_string(), drawing, findings));
        }
    }
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

/// Squares whose sides end just where the overcut does: what is left of it by rounding has no
/// direction, and once sent the axis to no number at all.
#[test]
fn an_overcut_that_ends_at_a_corner_leads_nowhere_else() {
    let squares: String = (0..150)
        .map(|i| {
            let (x, y) = (f64::from(i * 37 % 150) * 1.317 + 0.197, f64::from(i) * 1.103 + 0.402);
            format!("<path d='M{x:.3} {y:.3}h.2v.2h-.2z'/>")
        })
        .collect();
    let svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='200mm' height='200mm' \
         viewBox='0 0 200 200'>{squares}</svg>"
    );
    let (drawing, findings) = drawing::read(svg.as_bytes(), &ReadSettings::default()).unwrap();
    let settings = PlanSettings {
        strategy: Strategy::Drawn,
        ..PlanSettings::new(machine("roll-24"), material("vinyl-cast"))
    };
    let plans = pipeline::plan(&drawing, &findings, &settings).unwrap();
    assert_eq!(plans[0].layout.lines.len(), 150);
}
