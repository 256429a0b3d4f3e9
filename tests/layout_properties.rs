//! Whatever is laid out: pieces keep their area, packed pieces keep their gap and stay on the film,
//! weed lines never come near a piece and reach the border.
//!
//! The measuring below is its own: distances by densely walked edges, not by the code under test.

use bladewright::geometry::{Contour, Point, Region, distance_to_segment};
use bladewright::ink::{Film, FilmLine, FilmRegion, Treatment};
use bladewright::place::{
    CutLine, Placement, Role, WeedLines, WeedShape, Weeding, layout, layouts,
};
use bladewright::profile::{Library, Machine};
use proptest::prelude::*;

fn machine(name: &str) -> Machine {
    Library::default().machine(name).unwrap()
}

/// A star-shaped piece with a hole, somewhere on the page.
fn star(center: Point, radii: &[f64]) -> Region {
    let n = radii.len() as f64;
    let ring = |factor: f64| {
        let turn = |i: usize| std::f64::consts::TAU * i as f64 / n;
        let point = |(i, r): (usize, &f64)| center + Point::along(turn(i)) * (r * factor);
        Contour::closed(radii.iter().enumerate().map(point).collect())
    };
    Region { outer: ring(1.0), holes: vec![ring(0.5).reversed()] }
}

/// Stars on a grid wide enough that they do not overlap.
fn film(stars: &[Vec<f64>]) -> Film {
    let at = |i: usize| Point::new(20.0 + 45.0 * (i % 4) as f64, 20.0 + 45.0 * (i / 4) as f64);
    let region =
        |(i, radii): (usize, &Vec<f64>)| FilmRegion { region: star(at(i), radii), layer: i };
    Film { regions: stars.iter().enumerate().map(region).collect(), ..Film::default() }
}

const PAGE: (f64, f64) = (200.0, 150.0);

fn stars() -> impl Strategy<Value = Vec<Vec<f64>>> {
    prop::collection::vec(prop::collection::vec(4.0..20.0f64, 3..12), 1..9)
}

fn area(lines: &[CutLine]) -> f64 {
    let design = lines.iter().filter(|line| line.role == Role::Design);
    design.map(|line| line.contour.signed_area()).sum()
}

/// Smallest distance between two lines that do not cross: a corner of one is nearest.
fn apart(a: &Contour, b: &Contour) -> f64 {
    let one_way = |a: &Contour, b: &Contour| {
        let points = a.points.iter();
        let all = points.flat_map(|&p| b.edges().map(move |(q, r)| distance_to_segment(p, q, r)));
        all.fold(f64::INFINITY, f64::min)
    };
    one_way(a, b).min(one_way(b, a))
}

/// Points along a line, dense.
fn walked(line: &Contour) -> Vec<Point> {
    let steps = (0..200).map(|i| f64::from(i) / 199.0);
    line.edges().flat_map(|(a, b)| steps.clone().map(move |t| a.lerp(b, t))).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn any_layout_keeps_the_pieces_area(
        stars in stars(), turn in 0.0..360.0f64, mirror: bool, columns in 1u32..4, pack: bool,
    ) {
        let film = film(&stars);
        let placement = Placement {
            rotate_deg: turn,
            mirror,
            copies: (columns, 1),
            pack_turns: pack.then_some(4),
            ..Placement::default()
        };
        let mut machine = machine("roll-24");
        if let Some(clip) = &mut machine.hard_clip {
            clip.x_max = 200_000;
        }
        let (laid, _) = layout(&film, PAGE, &placement, &machine).unwrap();
        let drawn: f64 = film.regions.iter().map(|r| r.region.area()).sum();
        prop_assert!((area(&laid.lines) - drawn * f64::from(columns)).abs() < 1e-6 * drawn);
    }

    #[test]
    fn packed_pieces_keep_their_gap(stars in stars(), gap in 0.0..8.0f64, turns in 1u32..9) {
        let placement = Placement { pack_turns: Some(turns), gap_mm: gap, ..Placement::default() };
        let machine = machine("roll-15");
        let (laid, findings) = layout(&film(&stars), PAGE, &placement, &machine).unwrap();
        prop_assert!(machine.limits_mm().unwrap().holds(laid.bounds()));
        prop_assert_eq!(findings[0].code, "film-used");
        let outers: Vec<&Contour> =
            laid.lines.iter().map(|l| &l.contour).filter(|c| c.signed_area() > 0.0).collect();
        prop_assert_eq!(outers.len(), stars.len());
        for (i, a) in outers.iter().enumerate() {
            for b in &outers[i + 1..] {
                prop_assert!(!a.surrounds(b.points[0]) && !b.surrounds(a.points[0]));
                prop_assert!(apart(a, b) > gap - 1e-6, "{} {gap}", apart(a, b));
            }
        }
    }

    #[test]
    fn weed_lines_never_touch_a_piece(
        stars in stars(), spacing in 8.0..60.0f64, other in prop::option::of(8.0..60.0f64),
        clearance in 0.5..3.0f64, follow: bool,
    ) {
        let shape = if follow { WeedShape::Outline } else { WeedShape::Box };
        let lines = Some(match other {
            Some(height_mm) => WeedLines::Fields { width_mm: spacing, height_mm },
            None => WeedLines::Strips(spacing),
        });
        let weeding = Weeding { border_mm: Some(5.0), shape, lines, clearance_mm: clearance };
        let placement = Placement { weeding, ..Placement::default() };
        let (laid, _) = layout(&film(&stars), PAGE, &placement, &machine("plain-hpgl")).unwrap();
        let of = |role: Role| laid.lines.iter().filter(move |l| l.role == role).map(|l| &l.contour);
        let pieces: Vec<&Contour> = of(Role::Design).collect();
        let borders: Vec<&Contour> = of(Role::Weed).filter(|c| c.closed).collect();
        prop_assert!(!borders.is_empty());
        for line in of(Role::Weed).filter(|c| !c.closed) {
            for p in walked(line) {
                let inside = pieces.iter().filter(|c| c.surrounds(p)).count();
                prop_assert!(inside % 2 == 0, "inside a piece");
                for (a, b) in pieces.iter().flat_map(|c| c.edges()) {
                    prop_assert!(distance_to_segment(p, a, b) > clearance - 1e-6);
                }
            }
        }
        for border in borders {
            for (a, b) in pieces.iter().flat_map(|c| c.edges()) {
                for (p, q) in border.edges() {
                    let mid = p.lerp(q, 0.5);
                    prop_assert!(distance_to_segment(mid, a, b) > 4.85);
                }
            }
        }
    }
}

/// Two plates of 100 x 40 mm: lines every 20 mm at most part the waste round and between them.
#[test]
fn strips_reach_from_border_to_border() {
    let plate = |y: f64| {
        let corners = [(0.0, y), (100.0, y), (100.0, y + 40.0), (0.0, y + 40.0)];
        let outer = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
        FilmRegion { region: Region { outer, holes: vec![] }, layer: 0 }
    };
    let film = Film { regions: vec![plate(0.0), plate(50.0)], ..Film::default() };
    let weeding = Weeding {
        border_mm: Some(10.0),
        lines: Some(WeedLines::Strips(20.0)),
        ..Weeding::default()
    };
    let placement = Placement { weeding, ..Placement::default() };
    let (laid, _) = layout(&film, (100.0, 90.0), &placement, &machine("plain-hpgl")).unwrap();
    let strips: Vec<&Contour> =
        laid.lines.iter().map(|l| &l.contour).filter(|c| !c.closed).collect();
    // 120 mm in six strips: five lines, each in three stretches: 9 mm, 8 mm and 9 mm long.
    assert_eq!(strips.len(), 15);
    let lengths: Vec<f64> = strips.iter().map(|s| s.length()).collect();
    for three in lengths.chunks(3) {
        assert!((three[0] - 9.0).abs() < 1e-9 && (three[1] - 8.0).abs() < 1e-9, "{three:?}");
        assert!((three[2] - 9.0).abs() < 1e-9, "{three:?}");
    }
    let border = laid.bounds();
    assert!((strips[0].points[0].y - border.min.y).abs() < 1e-9);
    assert!((strips[2].points[1].y - border.max.y).abs() < 1e-9);
}

/// 24 squares of 50 mm with 2 mm between them: seven abreast on 357 mm, so four rows of 52 mm less
/// one gap; the raster may cost a cell a row.
#[test]
fn squares_pack_close_to_what_counting_gives() {
    let square = |i: usize| {
        let (x, y) = (60.0 * i as f64, 0.0);
        let corners = [(x, y), (x + 50.0, y), (x + 50.0, y + 50.0), (x, y + 50.0)];
        let outer = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
        FilmRegion { region: Region { outer, holes: vec![] }, layer: 0 }
    };
    let film = Film { regions: (0..24).map(square).collect(), ..Film::default() };
    let placement = Placement { pack_turns: Some(4), gap_mm: 2.0, ..Placement::default() };
    let (laid, findings) = layout(&film, (1500.0, 50.0), &placement, &machine("roll-15")).unwrap();
    let length = laid.bounds().width();
    assert!((206.0..=4.0 * 50.0 + 3.0 * 2.0 + 4.0 * 3.0).contains(&length), "{length}");
    assert!(findings[0].text.starts_with("24 pieces take"), "{}", findings[0].text);
}

fn film_used(region: impl Fn(usize) -> Region, count: usize, turns: u32) -> f64 {
    let regions = (0..count).map(|i| FilmRegion { region: region(i), layer: 0 }).collect();
    let film = Film { regions, ..Film::default() };
    let placement = Placement { pack_turns: Some(turns), gap_mm: 0.5, ..Placement::default() };
    let (laid, _) = layout(&film, (1500.0, 50.0), &placement, &machine("roll-15")).unwrap();
    laid.bounds().width()
}

/// Right triangles of 40 x 30 mm pair up to rectangles: 24 of them need twelve rectangles, nine
/// abreast on 357 mm lying, eleven standing. More directions never need more film.
#[test]
fn more_directions_never_need_more_film() {
    let shape = |corners: &[(f64, f64)], i: usize| {
        let at = |&(x, y): &(f64, f64)| Point::new(x + 60.0 * i as f64, y);
        Region { outer: Contour::closed(corners.iter().map(at).collect()), holes: vec![] }
    };
    let triangle = |i| shape(&[(0.0, 0.0), (40.0, 0.0), (40.0, 30.0)], i);
    let angle = |i| {
        let corners =
            [(0.0, 0.0), (50.0, 0.0), (50.0, 10.0), (10.0, 10.0), (10.0, 50.0), (0.0, 50.0)];
        shape(&corners, i)
    };
    let mut before = [f64::INFINITY; 2];
    for turns in [1, 2, 4, 8] {
        let used = [film_used(triangle, 24, turns), film_used(angle, 18, turns)];
        assert!(used[0] <= before[0] && used[1] <= before[1], "{turns}: {used:?} {before:?}");
        before = used;
    }
    // The area alone needs 40.3 and 45.4 mm.
    assert!(before[0] < 80.0 && before[1] < 110.0, "{before:?}");
}

#[test]
fn what_cannot_be_packed_is_told() {
    let film = film(&[vec![500.0, 500.0, 500.0, 500.0]]);
    let placement = Placement { pack_turns: Some(4), ..Placement::default() };
    let told =
        |name: &str| layout(&film, PAGE, &placement, &machine(name)).unwrap_err().to_string();
    assert!(told("plain-hpgl").contains("--machine"), "{}", told("plain-hpgl"));
    assert!(told("roll-15").contains("does not fit across"), "{}", told("roll-15"));
}

/// Two films of one drawing lie about the same origin, whatever each of them holds; their marks are
/// the same and outside all work.
#[test]
fn films_register() {
    let whole = film(&[vec![10.0; 6], vec![12.0; 5], vec![8.0; 4]]);
    let part = |range: std::ops::Range<usize>| Film {
        regions: whole.regions[range].to_vec(),
        ..Film::default()
    };
    let (left, right) = (part(0..1), part(1..3));
    let at = |at| Placement { at, copies: (2, 1), marks: true, ..Placement::default() };
    for placement in [at(None), at(Some(Point::new(30.0, 10.0)))] {
        let machine = machine("roll-24");
        let both = layouts(&[&left, &right], PAGE, &placement, &machine).unwrap();
        let (together, _) = layout(&whole, PAGE, &placement, &machine).unwrap();
        let of = |lines: &[CutLine], role: Role| -> Vec<CutLine> {
            lines.iter().filter(|line| line.role == role).cloned().collect()
        };
        let marks = of(&together.lines, Role::Mark);
        assert_eq!(marks.len(), 3);
        let mut apart = Vec::new();
        for sheet in &both {
            assert_eq!(of(&sheet.lines, Role::Mark), marks);
            apart.extend(of(&sheet.lines, Role::Design));
        }
        let design = of(&together.lines, Role::Design);
        assert_eq!(apart.len(), design.len());
        assert!(design.iter().all(|line| apart.contains(line)));
        let box_of = |lines: &[CutLine]| {
            let all = lines.iter().flat_map(|l| l.contour.points.clone()).collect::<Vec<_>>();
            bladewright::geometry::Bounds::of(&all)
        };
        let work = box_of(&design);
        assert!(marks.iter().all(|mark| !work.grown(4.9).touches(mark.contour.bounds())));
    }
}

/// A rectangle as it is drawn: y down, either way round.
fn rectangle([x, y]: [f64; 2], [wide, high]: [f64; 2], against: bool) -> Contour {
    let corners = [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)];
    let drawn = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
    if against { drawn.reversed() } else { drawn }
}

fn line(contour: Contour, treatment: Treatment) -> FilmLine {
    FilmLine { contour, layer: 0, treatment }
}

/// Folds that run from edge to edge of a card, past its edges, or in from one of them, stay on it when
/// it is packed: their ends keep their distances from its corners. A slit that meets nothing is a
/// piece of its own.
#[test]
fn packed_folds_stay_on_their_card() {
    let ends = |a: (f64, f64), b: (f64, f64)| {
        Contour::open([a, b].map(|(x, y)| Point::new(x, y)).to_vec())
    };
    let folds = [
        ends((10.0, 30.0), (70.0, 30.0)),
        ends((20.0, 5.0), (20.0, 55.0)),
        ends((50.0, 50.0), (50.0, 40.0)),
        ends((30.0, 9.99), (30.0, 2.0)),
    ];
    let card = rectangle([10.0, 10.0], [60.0, 40.0], false);
    for reversed in [false, true] {
        let mut lines = vec![
            line(rectangle([90.0, 10.0], [30.0, 85.0], true), Treatment::Cut),
            line(card.clone(), Treatment::Cut),
            line(ends((150.0, 10.0), (150.0, 40.0)), Treatment::Cut),
        ];
        lines.extend(folds.iter().map(|fold| line(fold.clone(), Treatment::Score)));
        if reversed {
            lines.reverse();
        }
        let film = Film { lines, ..Film::default() };
        let placement = Placement { pack_turns: Some(4), ..Placement::default() };
        let (laid, findings) = layout(&film, PAGE, &placement, &machine("roll-15")).unwrap();
        assert!(findings[0].text.starts_with("3 pieces take"), "{}", findings[0].text);
        assert_eq!(laid.lines.len(), 7);
        let corners = |c: &Contour| c.closed && (c.signed_area().abs() - 2400.0).abs() < 1e-6;
        let laid_card = laid.lines.iter().map(|l| &l.contour).find(|c| corners(c)).unwrap();
        let distances = |p: Point, card: &Contour| {
            let mut all: Vec<f64> = card.points.iter().map(|q| p.distance(*q)).collect();
            all.sort_by(f64::total_cmp);
            all
        };
        for fold in &folds {
            for end in &fold.points {
                let want = distances(*end, &card);
                let scored = laid.lines.iter().filter(|l| l.role == Role::Score);
                let kept = scored.flat_map(|l| &l.contour.points).any(|p| {
                    let have = distances(*p, laid_card);
                    have.iter().zip(&want).all(|(a, b)| (a - b).abs() < 1e-6)
                });
                assert!(kept, "{fold:?}");
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Lines that are followed bound pieces too, whichever way round they are drawn: no weed line runs
    /// into one, nor into what is scored on it, and the waste in a large hole is parted all the same.
    #[test]
    fn weed_lines_spare_followed_lines(
        ways in prop::collection::vec(any::<bool>(), 4), mirror: bool, spacing in 12.0..30.0f64,
    ) {
        let lines = vec![
            line(rectangle([10.0, 10.0], [100.0, 100.0], ways[0]), Treatment::Cut),
            line(rectangle([25.0, 25.0], [70.0, 70.0], ways[1]), Treatment::Cut),
            line(rectangle([120.0, 10.0], [75.0, 90.0], ways[2]), Treatment::Cut),
            line(rectangle([125.0, 15.0], [65.0, 80.0], ways[3]), Treatment::Score),
        ];
        let film = Film { lines, ..Film::default() };
        let fields = WeedLines::Fields { width_mm: spacing, height_mm: spacing };
        let weeding = Weeding { lines: Some(fields), ..Weeding::default() };
        let placement = Placement { weeding, mirror, ..Placement::default() };
        let (laid, _) = layout(&film, PAGE, &placement, &machine("plain-hpgl")).unwrap();
        let is_cut = |l: &&CutLine| l.role == Role::Design;
        let cut: Vec<&Contour> = laid.lines.iter().filter(is_cut).map(|l| &l.contour).collect();
        let weed = laid.lines.iter().filter(|l| l.role == Role::Weed && !l.contour.closed);
        let mut in_hole = 0;
        for p in weed.flat_map(|l| walked(&l.contour)) {
            let around = cut.iter().filter(|c| c.surrounds(p)).count();
            prop_assert!(around % 2 == 0, "inside a piece at {p:?}");
            in_hole += usize::from(around == 2);
        }
        prop_assert!(in_hole > 0);
    }
}
