//! Jobs for machines that take arcs: what the written `AA` do to the tip, simulated as the language
//! defines them (HP 7470A manual, pp. 3-12 to 3-17: chord rule; `hpgl_language.rs` holds our reader
//! against worked examples), and as a machine does that rounds every chord to its units.

use bladewright::blade::{SAMPLE_TOLERANCE_MM, TrailingBlade};
use bladewright::check::{Followed, tip_error};
use bladewright::drawing::{self, ReadSettings};
use bladewright::geometry::Point;
use bladewright::hpgl::{self, Command};
use bladewright::order::Strategy;
use bladewright::pipeline::{self, Plan, PlanSettings};
use bladewright::profile::{Arcs, Library, Machine, machine_from_text};

const UNIT_MM: f64 = 0.025;

/// A wheel's rim and hub, a saddle's curve, a frame with round corners, a lettering stroke.
const WHEEL: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="90mm"
  viewBox="0 0 120 90">
  <circle cx="40" cy="45" r="32"/><circle cx="40" cy="45" r="27.3" fill="#fff"/>
  <circle cx="40" cy="45" r="4.1"/><circle cx="40" cy="45" r="0.9" fill="#fff"/>
  <rect x="78" y="6" width="30" height="18" rx="4.2"/>
  <path d="M80 60c6-12 18-16 26-2s-4 26-14 22-20-6-12-20z"/>
  <path fill="none" stroke="#000" stroke-width="2.6" stroke-linecap="round" d="M80 36q14-8 28 2"/>
</svg>"##;

fn machine(arcs: Arcs) -> Machine {
    let mut machine = Library::default().machine("plain-hpgl").unwrap();
    machine.language.arcs = arcs;
    machine
}

fn plan(svg: &str, offset_mm: f64, machine: Machine) -> Plan {
    let (drawing, findings) = drawing::read(svg.as_bytes(), &ReadSettings::default()).unwrap();
    let material = Library::default().material("vinyl-cast").unwrap();
    let settings = PlanSettings {
        blade_offset_mm: Some(offset_mm),
        overcut_mm: Some(2.0 * offset_mm),
        strategy: Strategy::Nearest,
        ..PlanSettings::new(machine, material)
    };
    pipeline::plan(&drawing, &findings, &settings).unwrap().remove(0)
}

fn arcs_in(plan: &Plan) -> Vec<Vec<f64>> {
    let commands = hpgl::read(&plan.written.bytes).0.into_iter();
    let numbers = commands.filter_map(|located| match located.command {
        Command::Plain(mnemonic, numbers) if &mnemonic.0 == b"AA" => Some(numbers),
        _ => None,
    });
    numbers.collect()
}

/// How far the tip strays on a machine that rounds the end of every chord, mm.
fn rounded_error_mm(plan: &Plan, offset_mm: f64) -> f64 {
    let mut blade = TrailingBlade::new(offset_mm, Point::ORIGIN, 0.0);
    let snap = |v: f64| (v / UNIT_MM).round() * UNIT_MM;
    let tracks = plan.simulation.cuts.iter().map(|cut| {
        blade.carry_to(cut.axis[0]);
        let mut track = vec![blade.tip()];
        for p in &cut.axis[1..] {
            let to = Point::new(snap(p.x), snap(p.y));
            blade.line_to_sampled(to, SAMPLE_TOLERANCE_MM, &mut track);
        }
        track
    });
    let tracks: Vec<Vec<Point>> = tracks.collect();
    let of_line = tracks.iter().zip(&plan.job.paths).filter_map(|(track, path)| {
        let wanted = &plan.layout.lines.get(path.line?)?.contour;
        Some(tip_error(&[Followed { wanted, tracks: &[track] }]).worst().mm)
    });
    of_line.fold(0.0, f64::max)
}

#[test]
fn arcs_keep_the_tip_within_a_unit_and_shorten_the_job() {
    for offset in [0.0, 0.1, 0.25, 0.5, 0.9, 1.0] {
        let chords = plan(WHEEL, offset, machine(Arcs::Never));
        let arcs = plan(WHEEL, offset, machine(Arcs::Fine));
        let (written, replaced) = (arcs_in(&arcs), arcs.job.paths.iter().map(|p| p.arcs.len()));
        println!(
            "offset {offset}: {} arcs, {} bytes instead of {}, tip {:.4} mm instead of {:.4}, rounded {:.4}",
            written.len(),
            arcs.written.bytes.len(),
            chords.written.bytes.len(),
            arcs.proof.tip.worst().mm,
            chords.proof.tip.worst().mm,
            rounded_error_mm(&arcs, offset)
        );
        assert!(arcs_in(&chords).is_empty());
        assert!(written.len() >= 8, "offset {offset}: {} arcs", written.len());
        assert_eq!(written.len(), replaced.sum::<usize>());
        assert!(arcs.written.bytes.len() < chords.written.bytes.len() * 7 / 10);
        assert!(arcs.proof.tip.worst().mm <= UNIT_MM, "offset {offset}: {:?}", arcs.proof);
        assert_eq!(arcs.proof.bridges, 0);
        assert!(rounded_error_mm(&arcs, offset) <= UNIT_MM, "offset {offset}");
        let codes: Vec<_> = arcs.findings.iter().map(|f| f.code).collect();
        assert!(!codes.contains(&"instruction-newer") && !codes.contains(&"tip-off-line"));
    }
}

/// What the first machines of the language take: whole numbers of 16 bits.
#[test]
fn arcs_are_written_in_whole_numbers() {
    for numbers in arcs_in(&plan(WHEEL, 0.25, machine(Arcs::Fine))) {
        let [x, y, sweep, chord] = numbers[..] else { panic!("{numbers:?}") };
        assert!([x, y, sweep, chord].iter().all(|n| n.fract() == 0.0), "{numbers:?}");
        assert!(x.abs() <= 32767.0 && y.abs() <= 32767.0, "{numbers:?}");
        assert!((1.0..=350.0).contains(&sweep.abs()) && (1.0..=30.0).contains(&chord));
    }
}

/// The job knows what the machine does: each position of a path is one move of the simulation.
#[test]
fn positions_of_a_path_are_the_moves_of_the_machine() {
    let plan = plan(WHEEL, 0.25, machine(Arcs::Fine));
    for (path, cut) in plan.job.paths.iter().zip(&plan.simulation.cuts) {
        assert_eq!(path.points.len(), cut.axis.len());
        assert_eq!(path.parts.len() + 1, path.points.len());
        for (p, at) in path.points.iter().zip(&cut.axis) {
            let p = Point::new(f64::from(p.x), f64::from(p.y)) * UNIT_MM;
            assert!(p.distance(*at) < 0.71 * UNIT_MM, "{p:?} {at:?}");
        }
    }
}

#[test]
fn every_drawing_keeps_its_proof_with_arcs() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    let mut arcs = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if !name.ends_with(".svg") || name.ends_with("-job.svg") {
            continue;
        }
        let svg = std::fs::read_to_string(&path).unwrap();
        let plan = plan(&svg, 0.25, machine(Arcs::Fine));
        assert!(plan.proof.tip.worst().mm <= UNIT_MM, "{name}: {:?}", plan.proof);
        assert!(rounded_error_mm(&plan, 0.25) <= UNIT_MM, "{name}");
        arcs += arcs_in(&plan).len();
    }
    assert!(arcs > 50, "{arcs}");
}

#[test]
fn a_profile_says_whether_arcs_can_be_sent() {
    let text = include_str!("../machine-profiles/machines/plain-hpgl.toml");
    let with = |keys: &str| {
        let text = text.replace("[language]\n", &format!("[language]\n{keys}\n"));
        machine_from_text(&text, "mine.toml")
    };
    let fine = with("arcs = \"fine\"\nfinest_chord_deg = 0.5").unwrap();
    assert_eq!((fine.language.arcs, fine.language.finest_chord_deg), (Arcs::Fine, 0.5));
    let encoded = with("arcs = \"fine\"\nencoded = \"base64\"").unwrap_err().to_string();
    assert!(encoded.contains("needs lists = \"absolute\""), "{encoded}");
    let coarse = with("finest_chord_deg = 0").unwrap_err().to_string();
    assert!(coarse.contains("finest_chord_deg is 0"), "{coarse}");
}
