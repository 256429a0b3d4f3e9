//! Measures the cut order: gap to known optima, gain over the nearest neighbour, price of inner
//! first, gap to the floor, and how time grows. Prints a table.
//!
//! `cargo bench --bench ordering [-- SECTION...]` with sections `points gtsp cutting sheets lattice
//! growth large moved`. The public data sets (TSPLIB; GTSPLIB; precedence-constrained sheet cutting) state no
//! licence and are not part of this project: they are read from the folder that the environment
//! variable `BLADEWRIGHT_ORDERING_DATA` names, or from `../shared/reference/ordering`, and skipped
//! when neither is there. Optima: `best-known.csv` beside the files.
//!
//! Time is processor time of all threads (`/proc/self/stat`, in steps of 10 ms), wall time where that
//! is missing.

#[path = "../tests/random/mod.rs"]
mod random;

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::time::Instant;

use bladewright::contour_tree;
use bladewright::geometry::{Contour, Point};
use bladewright::order::cost::{Matrix, Metric};
use bladewright::order::neighbours::Neighbours;
use bladewright::order::problem::Problem;
use bladewright::order::solve::{self, Suggested};
use bladewright::order::{self, Effort, End, OrderSettings, Strategy};
use random::Dice;

fn main() {
    let wanted: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    let runs = |section: &str| wanted.is_empty() || wanted.iter().any(|w| w == section);
    match data_folder() {
        Some(folder) => {
            if runs("points") {
                points(&folder.join("tsplib"));
            }
            if runs("gtsp") {
                clusters(&folder.join("gtsplib"));
            }
            if runs("cutting") {
                cutting(&folder.join("pcgtsp"));
            }
        }
        None => println!(
            "No ordering data found; set BLADEWRIGHT_ORDERING_DATA to measure against it.\n"
        ),
    }
    if runs("sheets") {
        sheets(10_000);
    }
    if runs("lattice") {
        ring_lattice();
    }
    if runs("growth") {
        growth();
    }
    if runs("large") {
        large();
    }
    if runs("moved") {
        moved();
    }
}

fn data_folder() -> Option<PathBuf> {
    let named = std::env::var_os("BLADEWRIGHT_ORDERING_DATA").map(PathBuf::from);
    let beside =
        ["../shared/reference/ordering", "../../shared/reference/ordering"].map(PathBuf::from);
    named.into_iter().chain(beside).find(|folder| folder.is_dir())
}

/// Runs `work`, tells the seconds it took.
fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let (wall, cpu) = (Instant::now(), processor_seconds());
    let result = work();
    let seconds = match (cpu, processor_seconds()) {
        (Some(before), Some(after)) => after - before,
        _ => wall.elapsed().as_secs_f64(),
    };
    (result, seconds)
}

fn processor_seconds() -> Option<f64> {
    // Fields 14 and 15 of proc(5): user and system time in ticks, 100 a second on Linux.
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    let mut ticks = text.rsplit(')').next()?.split_whitespace().skip(11);
    let mut next = || ticks.next()?.parse::<f64>().ok();
    Some((next()? + next()?) / 100.0)
}

fn best_known(folder: &Path) -> HashMap<String, f64> {
    let text = std::fs::read_to_string(folder.join("best-known.csv")).unwrap_or_default();
    let row = |line: &str| {
        let (name, value) = line.split_once(',')?;
        Some((name.to_owned(), value.trim().parse().ok()?))
    };
    text.lines().filter_map(row).collect()
}

fn files(folder: &Path, ending: &str) -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|e| e == ending))
        .filter_map(|p| {
            Some((p.file_stem()?.to_str()?.to_owned(), std::fs::read_to_string(&p).ok()?))
        })
        .collect();
    found.sort_by_key(|(name, text)| (text.len(), name.clone()));
    found
}

/// The numbers of a section of a TSPLIB-like file, up to the next word.
fn section(text: &str, title: &str) -> Vec<f64> {
    let Some(from) = text.find(title) else { return Vec::new() };
    text[from + title.len()..].split_whitespace().map_while(|word| word.parse().ok()).collect()
}

fn coordinates(text: &str) -> Vec<Point> {
    section(text, "NODE_COORD_SECTION").chunks_exact(3).map(|c| Point::new(c[1], c[2])).collect()
}

/// Lists of the form `key a b c -1`.
fn lists(text: &str, title: &str) -> Vec<(u32, Vec<u32>)> {
    let numbers = section(text, title);
    let rows = numbers.split(|&n| n == -1.0).filter(|row| !row.is_empty());
    rows.map(|row| (row[0] as u32, row[1..].iter().map(|&n| n as u32).collect())).collect()
}

/// TSPLIB's EUC_2D: rounded to the nearest whole number (Reinelt 1991).
fn rounded(a: Point, b: Point) -> f64 {
    (a.distance(b) + 0.5).floor()
}

fn square(at: Point, side: f64) -> Contour {
    let corner = |x: f64, y: f64| at + Point::new(x * side, y * side);
    Contour::closed(vec![corner(0.0, 0.0), corner(1.0, 0.0), corner(1.0, 1.0), corner(0.0, 1.0)])
}

/// TSPLIB points as tiny squares through `plan`.
fn points(folder: &Path) {
    println!("TSPLIB points as tiny squares: gap to the optimum, processor seconds");
    println!(
        "{:<10} {:>6} {:>8} {:>15} {:>15} {:>15}",
        "", "n", "nearest", "quick", "normal", "long"
    );
    let optimum = best_known(folder);
    for (name, text) in files(folder, "tsp") {
        let cities = coordinates(&text);
        let Some(&best) = optimum.get(&name) else { continue };
        let lines: Vec<Contour> = cities.iter().map(|&c| square(c, 0.001)).collect();
        let tree = contour_tree::build(&lines);
        let gap = |strategy, effort| {
            let end = End::At(cities[0]);
            let wanted = OrderSettings {
                strategy,
                effort,
                start: cities[0],
                end,
                ..OrderSettings::default()
            };
            let ((found, _), seconds) = timed(|| order::plan(&lines, &tree, &wanted));
            let stops: Vec<Point> = found.visits.iter().map(|v| cities[v.line]).collect();
            let n = stops.len();
            let length: f64 = (0..n).map(|i| rounded(stops[i], stops[(i + 1) % n])).sum();
            (100.0 * (length / best - 1.0), seconds)
        };
        let nearest = gap(Strategy::Nearest, Effort::Quick).0;
        print!("{name:<10} {:>6} {nearest:>7.1}%", cities.len());
        for effort in [Effort::Quick, Effort::Normal, Effort::Long] {
            let (percent, seconds) = gap(Strategy::Best, effort);
            print!(" {percent:>6.2}% {seconds:>6.2}s");
        }
        println!();
    }
    println!();
}

/// Rounded lengths; the tour closes.
#[derive(Clone)]
struct Rounded;
impl Metric for Rounded {
    type Spot = Point;
    fn between(&self, a: Point, b: Point) -> f64 {
        rounded(a, b)
    }
    fn to_end(&self, _: Point) -> f64 {
        0.0
    }
}

/// GTSPLIB: clusters of points, one point of each.
fn clusters(folder: &Path) {
    println!("GTSPLIB through the library: found, best known");
    let known = best_known(folder);
    for (name, text) in files(folder, "gtsp") {
        let cities = coordinates(&text);
        let sets: Vec<Vec<Point>> = lists(&text, "GTSP_SET_SECTION")
            .iter()
            .map(|(_, set)| set.iter().map(|&i| cities[i as usize - 1]).collect())
            .collect();
        let mut problem = Problem::new(Rounded, &sets[0]);
        for set in &sets[1..] {
            problem.add(set);
        }
        let kicks = 300_000;
        let near = Neighbours::of_all_pairs(&problem, 12);
        let (route, seconds) =
            timed(|| solve::solve(&problem, &near, Suggested::default(), kicks, &|| {}));
        let (found, best) = (problem.total(&route), known.get(&name).copied().unwrap_or(f64::NAN));
        println!(
            "{name:<12} {found:>8} {best:>8} {:>6.2}% {seconds:>6.2}s",
            100.0 * (found / best - 1.0)
        );
    }
    println!();
}

/// Real sheet-cutting jobs with precedence, as matrices. Proven optima: the sets' README.
fn cutting(folder: &Path) {
    println!("Sheet cutting with precedence (matrices): found, optimum or best known");
    let known = [
        ("e3x_2", 1578),
        ("e5x_1", 1847),
        ("e1x_6", 1513),
        ("e1x_7", 1732),
        ("e3x_1", 1176),
        ("ec_8", 918),
        ("ec_5", 1529),
        ("p5xj_9a", 7372),
    ];
    for (name, text) in files(folder, "pcglns") {
        let problem = cutting_problem(&text);
        let near = Neighbours::of_all_pairs(&problem, 12);
        let kicks = 300_000;
        let (route, seconds) =
            timed(|| solve::solve(&problem, &near, Suggested::default(), kicks, &|| {}));
        assert!(problem.is_kept_by(&route), "{name}: the order breaks precedence");
        let best = known.iter().find(|k| k.0 == name).map_or(0, |k| k.1);
        println!("{name:<12} {:>8} {best:>8} {seconds:>6.2}s", problem.total(&route));
    }
    println!();
}

fn cutting_problem(text: &str) -> Problem<Matrix> {
    let cost = section(text, "EDGE_WEIGHT_SECTION");
    let size = (cost.len() as f64).sqrt() as usize;
    let sets = lists(text, "GTSP_SET_SECTION");
    let spots: Vec<Vec<u32>> =
        sets.iter().map(|(_, set)| set.iter().map(|i| i - 1).collect()).collect();
    // -1 marks moves inside a set, and moves that would break precedence; those have their price in
    // the other direction.
    let price = |i: usize| match cost[i].max(cost[i % size * size + i / size]) {
        known if known >= 0.0 => known,
        _ => 1e5,
    };
    let cost = (0..cost.len()).map(price).collect();
    let mut problem = Problem::new(Matrix { size, cost, home: spots[0][0] }, &spots[0]);
    for set in &spots[1..] {
        problem.add(set);
    }
    let mut around: HashMap<u32, Vec<u32>> = HashMap::new();
    for (outer_last, outers) in lists(text, "GTSP_SET_ORDERING") {
        around.insert(outer_last, outers);
    }
    for (inner, outers) in &around {
        // The direct parent is the one that has the most sets around itself.
        let depth = |set: &u32| around.get(set).map_or(0, Vec::len);
        if let Some(parent) = outers.iter().max_by_key(|o| depth(o)) {
            problem.set_parent(inner - 1, parent - 1);
        }
    }
    problem
}

fn ring(center: Point, radius: f64, corners: u32) -> Contour {
    let corner = |i: u32| {
        center + Point::along(f64::from(i) * std::f64::consts::TAU / f64::from(corners)) * radius
    };
    Contour::closed((0..corners).map(corner).collect())
}

/// The kinds of sheets that are measured, by name.
const SHEETS: [&str; 9] =
    ["points", "dots", "parts3", "parts8", "tags", "mixed", "panels", "nest4", "strokes"];

/// A sheet of about `count` contours: see each arm.
fn sheet(kind: &str, count: usize) -> Vec<Contour> {
    let mut dice = Dice(7);
    let per_cell = match kind {
        "parts3" | "nest4" => 4,
        "parts8" => 9,
        "mixed" | "tags" => 2,
        _ => 1,
    };
    let side = ((count / per_cell) as f64).sqrt().round() as usize;
    let mut lines = Vec::new();
    for cell in 0..side * side {
        let (column, row) = ((cell % side) as f64, (cell / side) as f64);
        let center = Point::new(column * 10.0 + 5.0, row * 10.0 + 5.0);
        let anywhere = Point::new(dice.roll(), dice.roll()) * (side as f64 * 10.0);
        let jitter = Point::new(dice.roll() - 0.5, dice.roll() - 0.5);
        match kind {
            "points" => lines.push(square(anywhere, 0.001)),
            "dots" => lines.push(ring(anywhere, 1.0, 16)),
            "strokes" => {
                let tip = anywhere + Point::along(dice.roll() * std::f64::consts::TAU) * 5.0;
                lines.push(Contour::open(vec![anywhere, tip]));
            }
            "nest4" => lines.extend((1..=4).map(|k| ring(center + jitter * 0.2, f64::from(k), 24))),
            "tags" => {
                // 9 x 5 mm with a hole at the left, in rows of 6 mm.
                let corner = Point::new(column * 10.0, row * 6.0);
                let at = |x: f64, y: f64| corner + Point::new(x, y);
                lines.push(Contour::closed(vec![at(0., 0.), at(9., 0.), at(9., 5.), at(0., 5.)]));
                lines.push(ring(at(1.0, 2.5), 0.4, 12));
            }
            "mixed" => {
                let size = 0.6 + dice.roll() * 3.8;
                lines.push(ring(center + jitter, size, 24));
                if dice.roll() < 0.5 {
                    lines.push(ring(center + jitter, size * 0.4, 24));
                } else {
                    lines.push(ring(center + Point::new(4.6, 4.6), 0.3, 24));
                }
            }
            "panels" => {
                lines.push(ring(center + jitter * 2.0, 3.0, 15));
                if (cell % side).is_multiple_of(25) && (cell / side).is_multiple_of(25) {
                    let reach =
                        (side as f64 - column).min(side as f64 - row).min(25.0) * 10.0 - 0.5;
                    let corner = Point::new(column * 10.0, row * 10.0) + Point::new(0.2, 0.2);
                    lines.push(square(corner, reach));
                    lines.push(square(corner + Point::new(0.1, 0.1), reach - 0.2));
                }
            }
            _ => {
                let holes = per_cell - 1;
                lines.push(ring(center + jitter * 0.2, 4.6, 15));
                let hole = |k: usize| {
                    let around = Point::along(k as f64 * std::f64::consts::TAU / holes as f64);
                    ring(center + jitter * 0.2 + around * 2.8, 0.8, 15)
                };
                lines.extend((0..holes).map(hole));
            }
        }
    }
    lines
}

/// Travel of one order in mm, and the seconds it took.
fn travel(lines: &[Contour], strategy: Strategy, effort: Effort) -> (f64, f64) {
    let tree = contour_tree::build(lines);
    let wanted = OrderSettings { strategy, effort, ..OrderSettings::default() };
    let ((_, report), seconds) = timed(|| order::plan(lines, &tree, &wanted));
    (report.travel_mm, seconds)
}

fn sheets(count: usize) {
    println!(
        "Sheets of about {count} contours, park position (0, 0): travel in m, processor seconds"
    );
    println!(
        "{:<8} {:>7} {:>9} {:>9} {:>17} {:>9} above the floor for chosen, any starts",
        "", "lines", "drawn", "nearest", "best", "saved"
    );
    for kind in SHEETS {
        let lines = sheet(kind, count);
        let metres = |strategy, effort| {
            let (mm, seconds) = travel(&lines, strategy, effort);
            (mm / 1000.0, seconds)
        };
        let drawn = metres(Strategy::Drawn, Effort::Normal).0;
        let nearest = metres(Strategy::Nearest, Effort::Normal).0;
        let (best, seconds) = metres(Strategy::Best, Effort::Normal);
        let floor = floors(&lines);
        println!(
            "{kind:<8} {:>7} {drawn:>9.2} {nearest:>9.2} {best:>9.3} {seconds:>6.2}s {:>8.1}% {floor}",
            lines.len(),
            100.0 * (1.0 - best / nearest)
        );
    }
    println!();
}

/// How far the best order is above its certified floors, and the seconds that takes.
fn floors(lines: &[Contour]) -> String {
    let tree = contour_tree::build(lines);
    let wanted = OrderSettings::default();
    let (found, report) = order::plan(lines, &tree, &wanted);
    let (floors, seconds) = timed(|| order::floors(lines, &tree, &found, &wanted, true));
    let above = |floor: f64| 100.0 * (report.travel_mm / floor - 1.0);
    format!("{:>5.2}% {:>5.1}% {seconds:>5.2}s", above(floors.chosen), above(floors.any))
}

/// What inner-first costs on 22 × 22 cells of four nested rings.
fn ring_lattice() {
    let lines = sheet("nest4", 22 * 22 * 4);
    let kept = travel(&lines, Strategy::Best, Effort::Long).0;
    let free_tree = contour_tree::ContourTree { parent: vec![None; lines.len()] };
    let wanted = OrderSettings { effort: Effort::Long, ..OrderSettings::default() };
    let free = order::plan(&lines, &free_tree, &wanted).1.travel_mm;
    println!(
        "22 x 22 x 4 rings: {kept:.0} mm, without inner-first {free:.0} mm: {:+.2}%\n",
        100.0 * (kept / free - 1.0)
    );
}

/// How time grows.
fn growth() {
    println!("Growth, normal effort: processor seconds of tree + order");
    for count in [1_000, 10_000, 100_000] {
        print!("{count:>7}");
        for kind in ["points", "parts3", "nest4", "strokes"] {
            let lines = sheet(kind, count);
            let (_, tree_seconds) = timed(|| contour_tree::build(&lines));
            let nearest = travel(&lines, Strategy::Nearest, Effort::Normal).0;
            let (best, seconds) = travel(&lines, Strategy::Best, Effort::Normal);
            print!(
                "  {kind} {tree_seconds:.3}+{seconds:.2}s (-{:.1}%)",
                100.0 * (1.0 - best / nearest)
            );
        }
        println!();
    }
}

/// About 85,900 random points: how far above 0.7124 √(n A), the length of the shortest tour through many
/// (D. S. Johnson, L. A. McGeoch, E. E. Rothberg, SODA 1996; on a square of this many points the border
/// adds about 0.2 %).
fn large() {
    let lines = sheet("points", 85_900);
    let side = 10.0 * (lines.len() as f64).sqrt();
    let shortest = 0.7124 * (lines.len() as f64).sqrt() * side;
    println!("{} random points: above 0.7124 sqrt(n A), wall and processor seconds", lines.len());
    for effort in [Effort::Quick, Effort::Normal, Effort::Long] {
        let clock = Instant::now();
        let (mm, seconds) = travel(&lines, Strategy::Best, effort);
        let (gap, wall) = (100.0 * (mm / shortest - 1.0), clock.elapsed().as_secs_f64());
        println!("{effort:?}: {gap:.2}%, {wall:.1} s, {seconds:.1} s");
    }
}

/// How far travel differs between equal sheets of 10,000 contours: as drawn, moved, mirrored, turned.
fn moved() {
    println!(
        "Sheets of about 10000 contours: travel in m as drawn, moved, mirrored, turned; spread"
    );
    for kind in SHEETS {
        let lines = sheet(kind, 10_000);
        let most = |of: fn(&Point) -> f64| {
            lines.iter().flat_map(|l| &l.points).map(of).fold(0.0, f64::max)
        };
        let (width, height) = (most(|p| p.x), most(|p| p.y));
        let changes: [&dyn Fn(Point) -> Point; 4] =
            [&|p| p, &|p| p + Point::new(0.77, 0.37), &|p| Point::new(width - p.x, p.y), &|p| {
                Point::new(height - p.y, p.x)
            }];
        let metres = changes.map(|change| {
            let changed = |l: &Contour| Contour {
                points: l.points.iter().map(|&p| change(p)).collect(),
                closed: l.closed,
            };
            let all: Vec<Contour> = lines.iter().map(changed).collect();
            travel(&all, Strategy::Best, Effort::Normal).0 / 1000.0
        });
        let (least, most) =
            metres.iter().fold((f64::MAX, 0.0f64), |a, &m| (a.0.min(m), a.1.max(m)));
        println!("{kind:<8} {metres:>8.3?} {:>6.2}%", 100.0 * (most / least - 1.0));
    }
    println!();
}
