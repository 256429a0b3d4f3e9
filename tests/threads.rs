//! The same bytes and the same findings, on however many threads: on pools of one, two and five, and
//! by the program with one core and with all (`RAYON_NUM_THREADS`).

mod program;

use bladewright::drawing::{self, ReadSettings};
use bladewright::pipeline::{self, PlanSettings};
use bladewright::profile::Library;

/// Strokes across one another, closed and open, enough of them for every step to be shared out.
fn heap() -> String {
    let line = |i: usize| {
        let (x, y) = (i * 37 % 180, i * 53 % 120);
        let (dx, dy) = (9 + i * 7 % 11, 5 + i * 3 % 9);
        let width = 1.0 + 0.4 * (i % 4) as f64;
        let end = if i.is_multiple_of(5) { "z" } else { "" };
        format!(r#"<path d="M{x} {y}q{dx} {dy} {dy} {dx}l-{dy} 2{end}" stroke-width="{width}"/>"#)
    };
    let lines: String = (0..400).map(line).collect();
    let size = r#"width="200mm" height="140mm" viewBox="0 0 200 140""#;
    format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" {size}><g fill="none" stroke="black">{lines}</g></svg>"#
    )
}

#[test]
fn any_number_of_threads_writes_the_same_job() {
    let library = Library::default();
    let machine = library.machine("roll-24").unwrap();
    let settings = PlanSettings::new(machine, library.material("vinyl-cast").unwrap());
    let (drawing, findings) = drawing::read(heap().as_bytes(), &ReadSettings::default()).unwrap();
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let plan = || pipeline::plan(&drawing, &findings, &settings).unwrap().remove(0);
        let plan = pool.install(plan);
        (plan.written.bytes, plan.findings)
    };
    let alone = on(1);
    assert!(alone.0.len() > 10_000, "{}", alone.0.len());
    for threads in [2, 5] {
        assert_eq!(on(threads), alone, "{threads}");
    }
}

#[test]
fn one_core_writes_and_reports_what_all_do() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("heap.svg"), heap()).unwrap();
    let arguments = ["write", "heap.svg", "--json", "-o", "-"];
    let all = program::run(folder.path(), &arguments);
    let mut alone = program::program(folder.path());
    alone.env("RAYON_NUM_THREADS", "1").args(arguments);
    let alone = alone.output().unwrap();
    assert!(all.status.success() && all.stdout.len() > 10_000);
    assert!((alone.stdout, alone.stderr) == (all.stdout, all.stderr));
}
