//! How fast HPGL is read, obeyed, simulated, checked and written.
//!
//! Wanted: 100 MB read in under 3 s, that is 34 MB/s; the tip error of 10,000 contours in under 0.5 s.

use std::hint::black_box;

use bladewright::blade::Part;
use bladewright::check::{self, Followed};
use bladewright::geometry::{Contour, Point};
use bladewright::hpgl::{self, TraceSettings};
use bladewright::job::{Job, JobPath, Units};
use bladewright::profile::{EncodedLines, Language, Library, Lists};
use bladewright::simulate::{self, SimulateSettings};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

/// Rings of 60 short edges all over a sheet.
fn job(rings: usize) -> Job {
    let ring = |i: usize| {
        let (x, y) = ((i % 100) as f64 * 300.0 + 200.0, (i / 100) as f64 * 300.0 + 200.0);
        let points: Vec<Units> = (0..=60)
            .map(|k| {
                let (sin, cos) = (std::f64::consts::TAU * f64::from(k) / 60.0).sin_cos();
                Units { x: (x + 140.0 * cos).round() as i32, y: (y + 140.0 * sin).round() as i32 }
            })
            .collect();
        JobPath { parts: vec![Part::Cut; 60], points, tool: 1, ..JobPath::default() }
    };
    Job { unit_mm: 0.025, paths: (0..rings).map(ring).collect(), park: None }
}

fn language(c: &mut Criterion) {
    let job = job(5000);
    let mut group = c.benchmark_group("hpgl");
    group.sample_size(10);
    let forms = [
        ("absolute", Language::default()),
        ("relative", Language { lists: Lists::Relative, ..Language::default() }),
        ("encoded", Language { encoded: EncodedLines::Base64, ..Language::default() }),
    ];
    for (name, language) in forms {
        let bytes = hpgl::write(&job, &language).bytes;
        group.throughput(Throughput::Bytes(bytes.len() as u64));
        group.bench_function(format!("write {name}"), |b| {
            b.iter(|| hpgl::write(black_box(&job), &language));
        });
        group.bench_function(format!("read {name}"), |b| b.iter(|| hpgl::read(black_box(&bytes))));
    }
    let bytes = hpgl::write(&job, &Language::default()).bytes;
    let (commands, _) = hpgl::read(&bytes);
    group.throughput(Throughput::Bytes(bytes.len() as u64));
    group.bench_function("trace", |b| {
        b.iter(|| hpgl::trace(black_box(&commands), &TraceSettings::default()));
    });
    let (trace, _) = hpgl::trace(&commands, &TraceSettings::default());
    group.bench_function("simulate with a trailing tip", |b| {
        b.iter(|| {
            simulate::run(black_box(&trace).steps.iter().copied(), bytes.len() as u64, &TRAILING)
        });
    });
    group.finish();
}

/// A trailing blade on a machine of which nothing else is known.
const TRAILING: SimulateSettings = SimulateSettings {
    unit_mm: 0.025,
    blade_offset_mm: 0.25,
    of_tool_mm: [None; 17],
    heading: 0.0,
    motion: None,
    line_bytes_s: None,
};

/// Rings as wanted, and as a trailing tip cuts them that was not compensated.
fn checks(c: &mut Criterion) {
    let job = job(10_000);
    let bytes = hpgl::write(&job, &Language::default()).bytes;
    let (commands, _) = hpgl::read(&bytes);
    let (trace, _) = hpgl::trace(&commands, &TraceSettings::default());
    let simulation = simulate::run(trace.steps.iter().copied(), bytes.len() as u64, &TRAILING);
    let wanted: Vec<Contour> = simulation
        .cuts
        .iter()
        .map(|cut| Contour::closed(cut.axis[1..].iter().map(|p| *p * 1.00001).collect()))
        .collect();
    let tips: Vec<[&[Point]; 1]> = simulation.cuts.iter().map(|cut| [cut.tip()]).collect();
    let lines = wanted.iter().zip(&tips);
    let lines: Vec<_> = lines.map(|(wanted, tracks)| Followed { wanted, tracks }).collect();
    let machine = Library::default().machine("plain-hpgl").expect("it is built in");
    let mut heard = check::Heard::default();
    commands.iter().for_each(|instruction| heard.hear(instruction, &machine));
    let mut group = c.benchmark_group("checks of 10,000 contours");
    group.sample_size(10);
    group.bench_function("tip error", |b| b.iter(|| check::tip_error(black_box(&lines))));
    group.bench_function("all findings", |b| {
        b.iter(|| check::check(black_box(&simulation), &heard, &machine));
    });
    group.finish();
}

criterion_group!(benches, language, checks);
criterion_main!(benches);
