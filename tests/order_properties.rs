//! What every order has to keep, whatever the drawing: each line once, inner before outer at any
//! depth, no longer than the nearest-neighbour order, the same for a moved or mirrored drawing.
//! Drawings are made by proptest; known optima come from lattices (a closed tour through an even
//! lattice of n points at pitch p is n·p long) and the random-uniform constant of the literature.

use bladewright::contour_tree::{self, ContourTree};
use bladewright::geometry::{Contour, Point};
use bladewright::order::{self, CutOrder, Effort, End, OrderSettings, Strategy};
use proptest::prelude::*;

fn polygon(center: Point, radius: f64, corners: u32, turn: f64) -> Contour {
    let corner = |i: u32| {
        center
            + Point::along(turn + f64::from(i) * std::f64::consts::TAU / f64::from(corners))
                * radius
    };
    Contour::closed((0..corners).map(corner).collect())
}

/// A pseudo-random number below 1 for each call (SplitMix64, Steele, Lea and Flood 2014).
struct Dice(u64);
impl Dice {
    fn roll(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Rings, polygons with holes and strokes, anywhere.
fn drawing(seed: u64, parts: usize) -> Vec<Contour> {
    let mut dice = Dice(seed);
    let mut lines = Vec::new();
    for _ in 0..parts {
        let center = Point::new(dice.roll() * 200.0, dice.roll() * 150.0);
        let (size, kind) = (1.0 + dice.roll() * 8.0, (dice.roll() * 4.0) as u32);
        match kind {
            0 => lines
                .push(Contour::open(vec![center, center + Point::new(size, dice.roll() * size)])),
            1 => lines.extend((1..=4).map(|k| polygon(center, size * f64::from(k) / 4.0, 12, 0.0))),
            2 => {
                lines.push(polygon(center, size, 4, dice.roll()));
                lines.push(polygon(center + Point::new(size / 4.0, 0.0), size / 5.0, 6, 0.0));
                lines.push(polygon(center - Point::new(size / 4.0, 0.0), size / 5.0, 6, 0.0));
            }
            _ => lines.push(polygon(center, size, 5, dice.roll())),
        }
    }
    lines
}

fn settings(strategy: Strategy) -> OrderSettings {
    OrderSettings { strategy, ..OrderSettings::default() }
}

fn travel(lines: &[Contour], wanted: &OrderSettings) -> f64 {
    order::plan(lines, &contour_tree::build(lines), wanted).1.travel_mm
}

fn check_kept(lines: &[Contour], tree: &ContourTree, found: &CutOrder) {
    let mut time = vec![usize::MAX; lines.len()];
    for (t, visit) in found.visits.iter().enumerate() {
        assert_eq!(time[visit.line], usize::MAX, "line {} is visited twice", visit.line);
        time[visit.line] = t;
        assert!((0.0..1.0).contains(&visit.along));
        assert!(visit.vertex < lines[visit.line].points.len().max(1));
        let middle = !lines[visit.line].closed && visit.along > 0.0;
        assert!(!middle, "an open line is begun at an end");
    }
    assert!(time.iter().all(|&t| t != usize::MAX), "a line is missing");
    for line in 0..lines.len() {
        assert!(tree.ancestors(line).all(|a| time[line] < time[a]), "line {line} comes too late");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, failure_persistence: None, max_shrink_iters: 20, ..ProptestConfig::default() })]

    #[test]
    fn every_order_keeps_the_rules(seed in any::<u64>(), parts in 0usize..40) {
        let lines = drawing(seed, parts);
        let tree = contour_tree::build(&lines);
        for strategy in [Strategy::Drawn, Strategy::Nearest, Strategy::Best] {
            let wanted = settings(strategy);
            let (found, report) = order::plan(&lines, &tree, &wanted);
            check_kept(&lines, &tree, &found);
            let again = order::plan(&lines, &tree, &wanted);
            prop_assert_eq!(&found, &again.0);
            let measured = order::travel_mm(&lines, &found, wanted.start, wanted.end);
            prop_assert!((report.travel_mm - measured).abs() < 1e-9);
        }
        let best = travel(&lines, &settings(Strategy::Best));
        prop_assert!(best <= travel(&lines, &settings(Strategy::Nearest)) + 1e-9);
    }

    #[test]
    fn moved_and_mirrored_drawings_travel_as_far(seed in any::<u64>()) {
        let lines = drawing(seed, 24);
        let through = |change: &dyn Fn(Point) -> Point| {
            let change_all = |l: &Contour| Contour {
                points: l.points.iter().map(|&p| change(p)).collect(), closed: l.closed,
            };
            let moved: Vec<Contour> = lines.iter().map(change_all).collect();
            let wanted = OrderSettings {
                start: change(Point::ORIGIN), end: End::At(change(Point::ORIGIN)),
                effort: Effort::Normal, ..OrderSettings::default()
            };
            travel(&moved, &wanted)
        };
        let plain = through(&|p| p);
        for other in [through(&|p| p + Point::new(31.4, -27.1)), through(&|p| Point::new(-p.x, p.y))] {
            prop_assert!((other / plain - 1.0).abs() < 0.005, "{plain} against {other}");
        }
    }
}

#[test]
fn odd_drawings_are_ordered_too() {
    let square = polygon(Point::new(5.0, 5.0), 2.0, 4, 0.3);
    let empty = Contour::closed(vec![]);
    let dot = Contour::open(vec![Point::new(1.0, 1.0)]);
    let concentric: Vec<Contour> =
        (1..30).map(|k| polygon(Point::ORIGIN, f64::from(k), 24, 0.0)).collect();
    let collinear: Vec<Contour> =
        (0..30).map(|k| polygon(Point::new(f64::from(k) * 3.0, 0.0), 1.0, 4, 0.0)).collect();
    let sets: [Vec<Contour>; 8] = [
        vec![],
        vec![square.clone()],
        vec![empty.clone(), dot.clone(), empty],
        vec![square.clone(); 20],
        vec![dot; 20],
        concentric,
        collinear,
        vec![square, polygon(Point::new(9.0, 5.0), 2.0, 4, 0.3)],
    ];
    for lines in &sets {
        let tree = contour_tree::build(lines);
        for strategy in [Strategy::Drawn, Strategy::Nearest, Strategy::Best] {
            check_kept(lines, &tree, &order::plan(lines, &tree, &settings(strategy)).0);
        }
    }
}

#[test]
fn stages_are_finished_in_turn_but_wait_for_what_is_inside() {
    let lines: Vec<Contour> = (0..20)
        .map(|k| polygon(Point::new(f64::from(k % 5) * 10.0, f64::from(k / 5) * 10.0), 2.0, 6, 0.0))
        .chain([polygon(Point::new(0.0, 0.0), 1.0, 6, 0.0)])
        .collect();
    let mut stages: Vec<u32> = (0..21).map(|i| i % 2).collect();
    stages[20] = 2; // lies inside line 0
    let wanted = OrderSettings { stages: stages.clone(), ..OrderSettings::default() };
    let (found, report) = order::plan(&lines, &contour_tree::build(&lines), &wanted);
    stages[0] = 2;
    let turns: Vec<u32> = found.visits.iter().map(|v| stages[v.line]).collect();
    assert!(turns.is_sorted());
    assert_eq!(report.turns, 3);
    assert_eq!(report.findings[0].code, "stage-waits");
}
