//! Measures the whole program and each of its stages on generated sheets. Prints tables.
//!
//! `cargo bench --bench whole [-- SHEET... | stages | large-peer]`, a sheet being `strokes:10000` (see
//! [`SHEETS`]). Each run is a process of its own: wall time, processor time (`/proc/self/stat`, in
//! steps of 10 ms) and peak memory (`VmHWM` of `/proc/PID/status`); the median of five runs, or of as
//! many as `BLADEWRIGHT_BENCH_RUNS` says. Beside them, in the same run:
//!
//! - `plain`: nearest neighbour, no blade, as the peer; `blade`: as anybody types it, the best order and
//!   a trailing blade compensated; both proven by simulation;
//! - the floor: the SVG library alone reads the drawing (processor time);
//! - one core (`taskset -c 0`) against all;
//! - the peer that a person would script with general libraries (svgelements, shapely on GEOS, nearest
//!   neighbour; no blade, no proof), once; above 10 000 only with `large-peer`, it takes minutes.
//!
//! Generator and peer are no part of this project: `gen_scale.py` and `peer_pipeline.py` are looked for
//! in the folder that `BLADEWRIGHT_BENCH_TOOLS` names, or in `../shared/tools`. Without them the sheets
//! are made here (strokes and lattice only) and there is no peer. The peer's Python is
//! `BLADEWRIGHT_BENCH_PYTHON`, or that of `.venv`, which `.ci/run` makes.

#[path = "../tests/random/mod.rs"]
mod random;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use bladewright::blade::{self, BladeSettings, TipPath};
use bladewright::drawing::{self, ReadSettings};
use bladewright::ink;
use bladewright::job::{self, Pace};
use bladewright::order::{self, OrderSettings, Strategy};
use bladewright::pipeline::{self, PlanSettings};
use bladewright::profile::Library;
use bladewright::{check, contour_tree, hpgl, place, proof, rounding};
use random::Dice;

/// What is measured by default: kind and size.
const SHEETS: [&str; 8] = [
    "strokes:1000",
    "strokes:10000",
    "strokes:100000",
    "cells:10000",
    "lattice:100",
    "lattice:200",
    "plate:100",
    "blocks:10000",
];
/// The largest sheet that the peer is given unasked.
const PEER_SIZE: usize = 10_000;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    let named: Vec<&str> = words.iter().map(String::as_str).filter(|w| w.contains(':')).collect();
    let sheets: Vec<&str> = if named.is_empty() { SHEETS.to_vec() } else { named };
    let folder = tempfile::tempdir().expect("a folder for sheets and jobs");
    if !words.iter().any(|word| word == "stages") {
        whole(&sheets, folder.path(), words.iter().any(|word| word == "large-peer"));
    }
    stages(&sheets, folder.path());
}

fn tools() -> Option<PathBuf> {
    let named = std::env::var_os("BLADEWRIGHT_BENCH_TOOLS").map(PathBuf::from);
    let beside = ["../shared/tools", "../../shared/tools"].map(PathBuf::from);
    named.into_iter().chain(beside).find(|folder| folder.join("gen_scale.py").is_file())
}

fn runs() -> usize {
    let asked = std::env::var("BLADEWRIGHT_BENCH_RUNS").ok();
    asked.and_then(|text| text.parse().ok()).unwrap_or(5).max(1)
}

/// The drawing `name` as a file in `folder`; `None` when nobody here can make it.
fn sheet(name: &str, folder: &Path) -> Option<PathBuf> {
    let file = folder.join(name.replace(':', "-")).with_extension("svg");
    if file.is_file() {
        return Some(file);
    }
    let (kind, size) = name.split_once(':')?;
    let text = match tools() {
        Some(tools) => {
            let script = tools.join("gen_scale.py");
            Command::new("python3").arg(script).args([kind, size]).output().ok()?.stdout
        }
        None => own_sheet(kind, size.parse().ok()?)?.into_bytes(),
    };
    std::fs::write(&file, text).ok()?;
    Some(file)
}

/// Short strokes anywhere, or a lattice of crossing ones; the unit is 1 mm.
fn own_sheet(kind: &str, size: usize) -> Option<String> {
    let mut dice = Dice(1);
    let (side, paths): (f64, String) = match kind {
        "strokes" => {
            let side = (40.0 * size as f64).sqrt();
            let mut near = |p: f64, reach: f64| p + (dice.roll() - 0.5) * reach;
            let path = |_| {
                let (x, y) = (near(side / 2.0, side - 12.0), near(side / 2.0, side - 12.0));
                let mut at = || format!("{:.3} {:.3}", near(x, 10.0), near(y, 10.0));
                format!("<path d='M{x:.3} {y:.3}C{} {} {}'/>\n", at(), at(), at())
            };
            (side, (0..size).map(path).collect())
        }
        "lattice" => {
            let end = size * 5 + 5;
            let bars = |i| format!("<path d='M5 {0}H{end}M{0} 5V{end}'/>\n", 5 + i * 5);
            (end as f64 + 5.0, (0..=size).map(bars).collect())
        }
        _ => return None,
    };
    Some(format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='{side}mm' height='{side}mm' \
         viewBox='0 0 {side} {side}'><g fill='none' stroke='#000' stroke-linecap='round'>\n{paths}\
         </g></svg>"
    ))
}

/// What a process took.
#[derive(Clone, Copy, Default)]
struct Took {
    wall_s: f64,
    cpu_s: f64,
    peak_mb: f64,
}

/// Runs `command` to its end; `None` when it fails.
fn run(command: &mut Command) -> Option<Took> {
    let (since, before) = (Instant::now(), children_seconds());
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().ok()?;
    let status = format!("/proc/{}/status", child.id());
    let mut peak_mb = 0.0;
    let ended = loop {
        peak_mb = peak_of(&status).unwrap_or(peak_mb);
        match child.try_wait().ok()? {
            Some(ended) => break ended,
            None => std::thread::sleep(Duration::from_millis(2)),
        }
    };
    let wall_s = since.elapsed().as_secs_f64();
    ended.success().then(|| Took { wall_s, cpu_s: children_seconds() - before, peak_mb })
}

/// Peak memory in MB; `None` once the process has ended.
fn peak_of(status: &str) -> Option<f64> {
    let text = std::fs::read_to_string(status).ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.split_whitespace().next()?.parse::<f64>().ok()? / 1024.0)
}

/// Processor time of the children that were waited for, s: fields 16 and 17 of proc(5), 100 ticks a
/// second on Linux.
fn children_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = text.rsplit(')').next().unwrap_or_default().split_whitespace();
    fields.skip(13).take(2).filter_map(|field| field.parse::<f64>().ok()).sum::<f64>() / 100.0
}

/// Processor time of this process, s.
fn own_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = text.rsplit(')').next().unwrap_or_default().split_whitespace();
    fields.skip(11).take(2).filter_map(|field| field.parse::<f64>().ok()).sum::<f64>() / 100.0
}

/// The run with the median wall time, its peak that of all.
fn median(mut once: impl FnMut() -> Option<Took>) -> Option<Took> {
    let mut all: Vec<Took> = (0..runs()).map(|_| once()).collect::<Option<_>>()?;
    all.sort_by(|a, b| a.wall_s.total_cmp(&b.wall_s));
    let peak_mb = all.iter().fold(0.0, |peak, took| took.peak_mb.max(peak));
    Some(Took { peak_mb, ..all[all.len() / 2] })
}

/// `bladewright`, on one core or on all.
fn program(one_core: bool) -> Command {
    let path = env!("CARGO_BIN_EXE_bladewright");
    if !one_core {
        return Command::new(path);
    }
    let mut command = Command::new("taskset");
    command.args(["-c", "0", path]);
    command
}

/// One without limits: large sheets fit.
const MACHINE: [&str; 2] = ["--machine", "plain-hpgl"];
/// Without a blade, as the peer: nothing to compensate.
const NO_BLADE: [&str; 6] = ["--order", "nearest", "--blade-offset", "0", "--overcut", "0"];
/// As anybody types it.
const EVERYDAY: [&str; 2] = ["--order", "best"];

fn write(file: &Path, options: &[&str], one_core: bool) -> Option<Took> {
    let job = file.with_extension("hpgl");
    let options = [&MACHINE, options].concat();
    median(|| run(program(one_core).arg("write").arg(file).arg("-o").arg(&job).args(&options)))
}

fn whole(sheets: &[&str], folder: &Path, large_peer: bool) {
    println!(
        "Whole `write`, {} cores, median of {} runs: s wall / s processor",
        std::thread::available_parallelism().map_or(1, usize::from),
        runs()
    );
    println!(
        "{:<15} {:>6} {:>15} {:>8} {:>8} {:>8} {:>15} {:>8} {:>14} {:>8} {:>8}",
        "sheet",
        "floor",
        "plain",
        "x floor",
        "MB",
        "1 core",
        "blade",
        "MB",
        "peer (MB)",
        "x plain",
        "x blade"
    );
    let mut grown: Vec<(String, f64, f64)> = Vec::new();
    for name in sheets {
        let Some(file) = sheet(name, folder) else {
            println!("{name:<15} nobody here makes it");
            continue;
        };
        let floor = floor_s(&file);
        let near = write(&file, &NO_BLADE, false).unwrap_or_default();
        let one = write(&file, &NO_BLADE, true).unwrap_or_default();
        let best = write(&file, &EVERYDAY, false).unwrap_or_default();
        let size = name.rsplit(':').next().and_then(|n| n.parse().ok()).unwrap_or(0);
        let peer = if size <= PEER_SIZE || large_peer { peer(&file) } else { None };
        let told = |took: Took| format!("{:.2} / {:.2}", took.wall_s, took.cpu_s);
        let times =
            |took: Took| peer.map_or("-".into(), |p| format!("{:.1}", p.wall_s / took.wall_s));
        println!(
            "{name:<15} {floor:>6.2} {:>15} {:>8.1} {:>8.0} {:>8.2} {:>15} {:>8.0} {:>14} {:>8} {:>8}",
            told(near),
            near.cpu_s / floor,
            near.peak_mb,
            one.wall_s / near.wall_s,
            told(best),
            best.peak_mb,
            peer.map_or("-".into(), |p| format!("{:.1} ({:.0})", p.wall_s, p.peak_mb)),
            times(near),
            times(best)
        );
        looks(&file);
        grown.push(((*name).to_owned(), near.cpu_s, best.cpu_s));
    }
    growth(&grown);
}

/// What looking at the result takes.
fn looks(file: &Path) {
    let (job, page) = (file.with_extension("hpgl"), file.with_extension("html"));
    let told = |took: Option<Took>| took.map_or("failed".into(), |t| format!("{:.2} s", t.wall_s));
    let check = run(program(false).arg("check").arg(&job).args(MACHINE));
    let preview = run(program(false).arg("preview").arg(&job).arg("-o").arg(&page).args(MACHINE));
    println!("{:>15} check {}, preview {}", "the job:", told(check), told(preview));
}

/// The exponent of growth between sheets of one kind, ten times apart.
fn growth(grown: &[(String, f64, f64)]) {
    let kind = |name: &str| name.split(':').next().unwrap_or_default().to_owned();
    let size = |name: &str| name.split(':').nth(1).and_then(|n| n.parse::<f64>().ok());
    for pair in grown.windows(2).filter(|pair| kind(&pair[0].0) == kind(&pair[1].0)) {
        let (Some(a), Some(b)) = (size(&pair[0].0), size(&pair[1].0)) else { continue };
        let power = |x: f64, y: f64| (y / x).ln() / (b / a).ln();
        println!(
            "{} to {}: processor time grows as n^{:.2} (plain), n^{:.2} (blade)",
            pair[0].0,
            pair[1].0,
            power(pair[0].1, pair[1].1),
            power(pair[0].2, pair[1].2)
        );
    }
    println!();
}

/// Processor time of the SVG library alone, s.
fn floor_s(file: &Path) -> f64 {
    let bytes = std::fs::read(file).unwrap_or_default();
    let (before, mut count) = (own_seconds(), 0);
    // Long enough for a clock of 10 ms.
    while count < runs() || own_seconds() - before < 0.5 {
        let tree = usvg::Tree::from_data(&bytes, &usvg::Options::default());
        assert!(tree.is_ok(), "{}", file.display());
        count += 1;
    }
    (own_seconds() - before) / count as f64
}

/// The peer, once.
fn peer(file: &Path) -> Option<Took> {
    let script = tools()?.join("peer_pipeline.py");
    let named = std::env::var_os("BLADEWRIGHT_BENCH_PYTHON").map(PathBuf::from);
    let python = named.unwrap_or_else(|| ".venv/bin/python".into());
    let job = file.with_extension("peer.hpgl");
    run(Command::new(python).arg(script).arg(file).arg("-o").arg(job))
}

fn stages(sheets: &[&str], folder: &Path) {
    println!("Stages, nearest, with blade: ms wall, all cores");
    println!(
        "{:<15} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7}",
        "sheet",
        "read",
        "ink",
        "place",
        "settle",
        "tree",
        "order",
        "blade",
        "write",
        "back",
        "check",
        "proof"
    );
    for name in sheets {
        let Some(file) = sheet(name, folder) else { continue };
        match stages_of(&std::fs::read(file).unwrap_or_default()) {
            Ok(times) => {
                let times: Vec<String> = times.iter().map(|ms| format!("{ms:>7.0}")).collect();
                println!("{name:<15} {}", times.join(" "));
            }
            Err(error) => println!("{name:<15} {error}"),
        }
    }
}

/// Milliseconds of each stage in turn.
fn stages_of(svg: &[u8]) -> Result<Vec<f64>, Box<dyn std::error::Error>> {
    let library = Library::default();
    let (machine, material) = (library.machine("plain-hpgl")?, library.material("vinyl-cast")?);
    let settings = PlanSettings::new(machine.clone(), material);
    let offset_mm = settings.material.blade_offset_mm;
    let (mut times, mut since) = (Vec::new(), Instant::now());
    let mut lap = || {
        times.push(since.elapsed().as_secs_f64() * 1e3);
        since = Instant::now();
    };
    let (drawing, _) = drawing::read(svg, &ReadSettings::default())?;
    lap();
    let (ink, _) = ink::visible(&drawing, &settings.ink)?;
    lap();
    let (layout, _) = place::layout(&ink.films[0], drawing.page_mm, &settings.placement, &machine)?;
    lap();
    let (layout, _) = rounding::settle(layout, machine.unit_mm);
    lap();
    let lines: Vec<_> = layout.lines.iter().map(|line| line.contour.clone()).collect();
    let tree = contour_tree::build(&lines);
    lap();
    let nearest = OrderSettings { strategy: Strategy::Nearest, ..OrderSettings::default() };
    let (order, _) = order::plan(&lines, &tree, &nearest);
    lap();
    let path = |visit: &order::Visit| {
        let line = &layout.lines[visit.line];
        let contour = visit.tip_path(&line.contour);
        TipPath { line: Some(visit.line), role: line.role, contour }
    };
    let paths: Vec<TipPath> = order.visits.iter().map(path).collect();
    let unit_mm = Some(machine.unit_mm);
    let blade_settings = BladeSettings { offset_mm, unit_mm, ..BladeSettings::default() };
    let (axis, _) = blade::compensate(&paths, &blade_settings);
    lap();
    let pace = Pace {
        tool: 1,
        velocity_cm_s: None,
        force: None,
        swing_velocity_cm_s: None,
        swing_force: None,
    };
    let job = job::build(&axis, &machine, |_| pace)?;
    let written = hpgl::write(&job, &machine.language);
    lap();
    let back = pipeline::read_back(&written.bytes, &machine, offset_mm);
    lap();
    check::check(&back.simulation, &back.heard, &machine);
    lap();
    proof::of_plan(&back.simulation, &job, (&layout, &order));
    lap();
    Ok(times)
}
