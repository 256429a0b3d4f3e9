//! Work in panels: put together again it is the work, and it lies double exactly where it overlaps.
//!
//! Areas are measured by point sampling and signed sums here, not by the Boolean library under test.

use bladewright::finding::Finding;
use bladewright::geometry::{Bounds, Contour, Point, Region};
use bladewright::ink::{Film, FilmLine, FilmRegion, Treatment};
use bladewright::place::{CutLine, Panel, Panels, Placement, Role, layout, panels};
use bladewright::profile::{Library, Machine};
use proptest::prelude::*;

fn machine(name: &str) -> Machine {
    Library::default().machine(name).unwrap()
}

fn star(center: Point, radii: &[f64]) -> Region {
    let ring = |factor: f64| {
        let turn = |i: usize| std::f64::consts::TAU * i as f64 / radii.len() as f64;
        let point = |(i, r): (usize, &f64)| center + Point::along(turn(i)) * (r * factor);
        Contour::closed(radii.iter().enumerate().map(point).collect())
    };
    Region { outer: ring(1.0), holes: vec![ring(0.5).reversed()] }
}

fn film(regions: impl IntoIterator<Item = Region>) -> Film {
    let region = |region| FilmRegion { region, layer: 0 };
    Film { regions: regions.into_iter().map(region).collect(), ..Film::default() }
}

/// Stars on a page of 300 x 900 mm, wider than a roll of 15 inches when it lies.
fn scattered(stars: &[Vec<f64>]) -> Film {
    let at = |i: usize| Point::new(70.0 + 150.0 * (i % 2) as f64, 70.0 + 130.0 * (i / 2) as f64);
    film(stars.iter().enumerate().map(|(i, radii)| star(at(i), radii)))
}

const PAGE: (f64, f64) = (300.0, 900.0);

fn stars() -> impl Strategy<Value = Vec<Vec<f64>>> {
    prop::collection::vec(prop::collection::vec(10.0..65.0f64, 3..9), 12..14)
}

fn of(lines: &[CutLine], role: Role) -> impl Iterator<Item = &CutLine> {
    lines.iter().filter(move |line| line.role == role)
}

fn area(lines: &[CutLine]) -> f64 {
    of(lines, Role::Design).map(|line| line.contour.signed_area()).sum()
}

fn is_ink(lines: &[CutLine], p: Point) -> bool {
    of(lines, Role::Design).filter(|line| line.contour.surrounds(p)).count() % 2 == 1
}

fn near_edge(lines: &[CutLine], p: Point) -> bool {
    let edges = of(lines, Role::Design).flat_map(|line| line.contour.edges());
    edges.into_iter().any(|(a, b)| bladewright::geometry::distance_to_segment(p, a, b) < 0.01)
}

fn moved(lines: &[CutLine], by: Point) -> Vec<CutLine> {
    let shifted = |line: &CutLine| {
        let mut line = line.clone();
        line.contour.points.iter_mut().for_each(|p| *p = *p + by);
        line
    };
    lines.iter().map(shifted).collect()
}

fn lowest(lines: &[CutLine], role: Role) -> Vec<Point> {
    let mut corners: Vec<Point> = of(lines, role).map(|line| line.contour.bounds().min).collect();
    corners.sort_by(|a, b| a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x)));
    corners
}

/// The panels laid on one another by their marks, as a person would, the first one left where it is.
fn joined(all: &[Panel]) -> Vec<Vec<CutLine>> {
    let mut laid: Vec<Vec<CutLine>> = Vec::new();
    for panel in all {
        let own = lowest(&panel.layout.lines, Role::Mark);
        let shift = match laid.last() {
            None => Point::ORIGIN,
            Some(before) => {
                // The upper marks of the panel before (across is y) are the lower ones of this one.
                let marks = lowest(before, Role::Mark);
                let (there, here) = (marks[marks.len() - 2], own[0]);
                let (other_there, other_here) = (marks[marks.len() - 1], own[1]);
                assert!(((other_there - there) - (other_here - here)).length() < 1e-9);
                there - here
            }
        };
        assert!(laid.is_empty() || shift.x.abs() < 1e-9, "along the film nothing moves");
        laid.push(moved(&panel.layout.lines, shift));
    }
    laid
}

fn seam_of(laid: &[CutLine]) -> f64 {
    lowest(laid, Role::Mark).last().unwrap().y + 2.0
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn panels_put_together_are_the_work(
        stars in stars(), overlap in 0.0..30.0f64, width in prop::option::of(150.0..300.0f64),
        mirror: bool, seed in prop::collection::vec((0.0..300.0f64, 0.0..900.0f64), 200),
    ) {
        let film = scattered(&stars);
        let machine = machine("roll-15");
        let wanted = Panels { width_mm: width, overlap_mm: overlap };
        let placement = Placement { panels: Some(wanted), mirror, ..Placement::default() };
        let all = panels(&[&film], PAGE, &placement, &machine).unwrap();
        let limits = machine.limits_mm().unwrap();
        for panel in &all {
            let bounds = panel.layout.bounds();
            prop_assert!(limits.holds(bounds), "{bounds:?}");
            prop_assert!(bounds.height() <= width.unwrap_or(f64::INFINITY));
            prop_assert_eq!(panel.findings[0].code, "panel-seam");
        }
        let laid = joined(&all);
        let free = Placement { panels: None, ..placement };
        let (whole, _) = layout(&film, PAGE, &free, &self::machine("plain-hpgl")).unwrap();
        // The first panel's lowest work is the work's.
        let low = |lines: &[CutLine]| {
            of(lines, Role::Design).fold(Bounds::EMPTY, |b, l| b.union(l.contour.bounds())).min
        };
        let everything: Vec<CutLine> = laid.iter().flatten().cloned().collect();
        let whole = moved(&whole.lines, low(&everything) - low(&whole.lines));
        let seams: Vec<f64> = laid[..laid.len() - 1].iter().map(|l| seam_of(l)).collect();
        let offset = low(&whole);
        for (x, y) in seed {
            let p = offset + Point::new(x, y);
            if laid.iter().any(|l| near_edge(l, p)) {
                continue;
            }
            let count = laid.iter().filter(|lines| is_ink(lines, p)).count();
            let ink = is_ink(&whole, p);
            prop_assert_eq!(count > 0, ink, "{:?}", p);
            let doubled = seams.iter().any(|seam| (p.y - seam).abs() < overlap / 2.0);
            prop_assert!(count <= 1 + usize::from(doubled), "{:?} {} {:?}", p, count, seams);
        }
    }

    /// One plate: the areas of the panels exceed the plate's by the overlap's, exactly.
    #[test]
    fn a_plate_lies_double_by_the_overlap(overlap in 0.0..40.0f64, length in 400.0..2000.0f64) {
        let plate = Contour::closed(
            [(0.0, 0.0), (100.0, 0.0), (100.0, length), (0.0, length)]
                .map(|(x, y)| Point::new(x, y)).to_vec(),
        );
        let film = film([Region { outer: plate, holes: vec![] }]);
        let wanted = Panels { width_mm: None, overlap_mm: overlap };
        let placement = Placement { panels: Some(wanted), ..Placement::default() };
        let all = panels(&[&film], (100.0, length), &placement, &machine("roll-15")).unwrap();
        let total: f64 = all.iter().map(|panel| area(&panel.layout.lines)).sum();
        let doubled = (all.len() - 1) as f64 * overlap * 100.0;
        prop_assert!((total - 100.0 * length - doubled).abs() < 0.3 * all.len() as f64);
    }
}

/// The centers of all marks, from left to right.
fn marks(lines: &[CutLine]) -> Vec<Point> {
    let mut marks: Vec<Point> =
        of(lines, Role::Mark).map(|l| l.contour.bounds().center()).collect();
    marks.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    marks
}

/// The two marks of a panel's first or last seam across x, the lower one first. In a row the marks of
/// its own seams stand out above and below.
fn column_marks(lines: &[CutLine], last: bool) -> [Point; 2] {
    let marks = marks(lines);
    let low = marks.iter().map(|p| p.y).fold(f64::MAX, f64::min);
    let high = marks.iter().map(|p| p.y).fold(f64::MIN, f64::max);
    let at = |y: f64| {
        let mut row = marks.iter().filter(|p| (p.y - y).abs() < 1e-6);
        *if last { row.next_back() } else { row.next() }.unwrap()
    };
    [at(low), at(high)]
}

/// The marks at the left and right ends of a row by which it is laid on the next or the last one.
fn row_marks(lines: &[CutLine], next: bool) -> [Point; 2] {
    let marks = marks(lines);
    let end = |x: f64| {
        let mut column = marks.iter().filter(|p| (p.x - x).abs() < 1e-6);
        *if next { column.next_back() } else { column.next() }.unwrap()
    };
    [end(marks[0].x), end(marks[marks.len() - 1].x)]
}

/// How far the second pair of marks has to be moved to cover the first.
fn covering(there: [Point; 2], here: [Point; 2]) -> Point {
    assert!(((there[1] - there[0]) - (here[1] - here[0])).length() < 1e-9, "{there:?} {here:?}");
    there[0] - here[0]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// Too large both ways: the panels of each row laid on one another, then the rows.
    #[test]
    fn rows_of_panels_put_together_are_the_work(
        radii in prop::collection::vec(30.0..78.0f64, 20), overlap in 0.0..20.0f64,
        seed in prop::collection::vec((0.0..1000.0f64, 0.0..700.0f64), 200),
    ) {
        let at = |i: usize| Point::new(100.0 + 200.0 * (i % 5) as f64, 100.0 + 160.0 * (i / 5) as f64);
        let shape = |(i, r): (usize, &f64)| star(at(i), &[*r, r * 0.7, *r, r * 0.8, *r]);
        let film = film(radii.iter().enumerate().map(shape));
        let machine = machine("flatbed-a3");
        let wanted = Panels { width_mm: None, overlap_mm: overlap };
        let placement = Placement { panels: Some(wanted), ..Placement::default() };
        let all = panels(&[&film], (1000.0, 700.0), &placement, &machine).unwrap();
        let limits = machine.limits_mm().unwrap();
        let numbers: Vec<usize> = all.iter().filter_map(|panel| panel.number).collect();
        prop_assert_eq!(numbers, (1..=all.len()).collect::<Vec<_>>());
        let mut rows: Vec<(String, Vec<Vec<CutLine>>)> = Vec::new();
        for panel in &all {
            prop_assert!(limits.holds(panel.layout.bounds()), "{:?}", panel.layout.bounds());
            let row = panel.findings.iter().find(|f| f.code == "panel-row").unwrap();
            let name = row.text.split(',').next().unwrap().to_owned();
            let lines = &panel.layout.lines;
            match rows.last_mut() {
                Some((known, laid)) if *known == name => {
                    let there = column_marks(&laid[laid.len() - 1], true);
                    laid.push(moved(lines, covering(there, column_marks(lines, false))));
                }
                _ => rows.push((name, vec![lines.clone()])),
            }
        }
        prop_assert!(rows.len() > 1 && all.len() > rows.len());
        let mut laid: Vec<Vec<CutLine>> = rows[0].1.clone();
        let mut before: Vec<CutLine> = laid.concat();
        for (_, row) in &rows[1..] {
            let shift = covering(row_marks(&before, true), row_marks(&row.concat(), false));
            before = moved(&row.concat(), shift);
            laid.extend(row.iter().map(|panel| moved(panel, shift)));
        }
        let free = Placement { panels: None, ..placement };
        let (whole, _) =
            layout(&film, (1000.0, 700.0), &free, &self::machine("plain-hpgl")).unwrap();
        let low = |lines: &[CutLine]| {
            of(lines, Role::Design).fold(Bounds::EMPTY, |b, l| b.union(l.contour.bounds())).min
        };
        let whole = moved(&whole.lines, low(&laid.concat()) - low(&whole.lines));
        for (x, y) in seed {
            let p = low(&whole) + Point::new(x, y);
            if laid.iter().any(|l| near_edge(l, p)) || near_edge(&whole, p) {
                continue;
            }
            let count = laid.iter().filter(|lines| is_ink(lines, p)).count();
            prop_assert_eq!(count > 0, is_ink(&whole, p), "{:?}", p);
        }
    }
}

fn plates(ends: &[[f64; 2]]) -> Film {
    film(ends.iter().map(|&[from, to]| {
        let corners = [(0.0, from), (80.0, from), (80.0, to), (0.0, to)];
        Region {
            outer: Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec()),
            holes: vec![],
        }
    }))
}

fn seams(film: &Film, page: (f64, f64)) -> (Vec<Panel>, Vec<Finding>) {
    let wanted = Panels { width_mm: None, overlap_mm: 5.0 };
    let placement = Placement { panels: Some(wanted), ..Placement::default() };
    let all = panels(&[film], page, &placement, &machine("roll-15")).unwrap();
    let told = all.iter().flat_map(|panel| panel.findings.clone()).collect();
    (all, told)
}

/// Three plates with gaps of 8 mm and of 1 mm: both seams lie in gaps, and nothing is cut.
#[test]
fn seams_lie_in_gaps() {
    let film = plates(&[[0.0, 250.0], [258.0, 320.0], [321.0, 600.0], [601.0, 850.0]]);
    let (all, told) = seams(&film, (80.0, 850.0));
    assert_eq!(all.len(), 3);
    assert!(told.iter().all(|f| f.text.contains("cuts 0 pieces")), "{told:?}");
    let pieces: usize = all.iter().map(|p| of(&p.layout.lines, Role::Design).count()).sum();
    assert_eq!(pieces, 4);
}

/// A large plate and a column of small ones beside each other: whatever the seam does it cuts the
/// large plate; it spares the small ones.
#[test]
fn small_pieces_are_spared() {
    let mut film = plates(&[[0.0, 600.0]]);
    for i in 0..20 {
        let from = f64::from(i) * 30.0;
        let corners = [(90.0, from), (100.0, from), (100.0, from + 20.0), (90.0, from + 20.0)];
        let outer = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
        film.regions.push(FilmRegion { region: Region { outer, holes: vec![] }, layer: 0 });
    }
    let (all, told) = seams(&film, (100.0, 600.0));
    assert_eq!(all.len(), 2);
    assert!(told.iter().all(|f| f.text.contains("cuts 1 piece")), "{told:?}");
    // Each told once with its place on its own sheet.
    for panel in &all {
        let place = panel.findings[0].place;
        let p = Point::new(place.x_mm.unwrap(), place.y_mm.unwrap());
        assert!(is_ink(&panel.layout.lines, p), "{p:?}");
    }
}

/// Work that fits stays on one sheet; work that is too long is parted along the film; a machine without
/// limits is told.
#[test]
fn what_fits_is_not_parted() {
    let (all, told) = seams(&plates(&[[0.0, 200.0]]), (80.0, 200.0));
    assert_eq!((all.len(), all[0].number, told[0].code), (1, None, "panels-one"));
    let limits = machine("flatbed-a4").limits_mm().unwrap();
    let long = plates(&[[0.0, limits.width() + 50.0]]);
    let wanted = Panels { width_mm: None, overlap_mm: 5.0 };
    let placement =
        |rotate_deg| Placement { panels: Some(wanted), rotate_deg, ..Placement::default() };
    for degrees in [0.0, 90.0] {
        let page = (80.0, limits.width() + 50.0);
        let all = panels(&[&long], page, &placement(degrees), &machine("flatbed-a4")).unwrap();
        assert_eq!(all.len(), 2, "{degrees}");
    }
    let none = panels(&[&long], (80.0, 400.0), &placement(0.0), &machine("plain-hpgl"));
    assert!(none.unwrap_err().to_string().contains("--panel-width"));
    let narrow = Panels { width_mm: Some(10.0), overlap_mm: 5.0 };
    let placement = Placement { panels: Some(narrow), ..Placement::default() };
    let told = panels(&[&long], (80.0, 400.0), &placement, &machine("roll-15")).unwrap_err();
    assert!(told.to_string().contains("too narrow"), "{told}");
}

/// Two plates far apart: the panels between them are empty, and carry the marks that lead from one to the
/// other.
#[test]
fn empty_panels_carry_marks() {
    let (all, told) = seams(&plates(&[[0.0, 100.0], [1200.0, 1300.0]]), (80.0, 1300.0));
    let numbers: Vec<Option<usize>> = all.iter().map(|panel| panel.number).collect();
    assert_eq!(numbers, (1..=all.len()).map(Some).collect::<Vec<_>>());
    let empty = all.iter().filter(|p| of(&p.layout.lines, Role::Design).next().is_none()).count();
    assert!(empty > 0 && empty == told.iter().filter(|f| f.code == "panel-empty").count());
    let laid = joined(&all).concat();
    let ends = of(&laid, Role::Design).fold(Bounds::EMPTY, |b, l| b.union(l.contour.bounds()));
    assert!((ends.height() - 1300.0).abs() < 1e-6, "{ends:?}");
}

/// Drawn lines are clipped as lines: no panel draws along the seam.
#[test]
fn drawn_lines_are_clipped_not_closed() {
    let ring = plates(&[[0.0, 600.0]]).regions[0].region.outer.clone();
    let open = Contour::open(vec![Point::new(10.0, 10.0), Point::new(70.0, 590.0)]);
    let whole = ring.length() + open.length();
    let line = |contour| FilmLine { contour, layer: 0, treatment: Treatment::Cut };
    let film = Film { lines: vec![line(ring), line(open.clone())], ..Film::default() };
    let (all, _) = seams(&film, (80.0, 600.0));
    assert_eq!(all.len(), 2);
    let lines: Vec<&CutLine> =
        all.iter().flat_map(|panel| of(&panel.layout.lines, Role::Design)).collect();
    let length: f64 = lines.iter().map(|line| line.contour.length()).sum();
    // 5 mm of both sides and of the slanted line lie double.
    let doubled = 2.0 * 5.0 + 5.0 * open.length() / 580.0;
    assert!((length - whole - doubled).abs() < 1e-6, "{length} {whole}");
    assert!(lines.iter().all(|line| !line.contour.closed));
    assert_eq!(lines.len(), 4);
}

/// Films of one drawing are parted at the same places and marked alike.
#[test]
fn seams_are_the_same_on_every_film() {
    let film = plates(&[[0.0, 250.0], [258.0, 520.0], [530.0, 850.0]]);
    let part = |i: usize| Film { regions: vec![film.regions[i].clone()], ..Film::default() };
    let (first, second, third) = (part(0), part(1), part(2));
    let wanted = Panels { width_mm: None, overlap_mm: 5.0 };
    let placement = Placement { panels: Some(wanted), ..Placement::default() };
    let films = [&first, &second, &third];
    let all = panels(&films, (80.0, 850.0), &placement, &machine("roll-15")).unwrap();
    let numbers: std::collections::BTreeSet<_> = all.iter().map(|panel| panel.number).collect();
    assert_eq!(numbers.len(), 3);
    for number in numbers {
        let same: Vec<&Panel> = all.iter().filter(|panel| panel.number == number).collect();
        let marks = |panel: &Panel| lowest(&panel.layout.lines, Role::Mark);
        assert!(same.iter().all(|panel| marks(panel) == marks(same[0])));
    }
}

/// Work that fits across the film, but not with the marks of the seams that part it along the film, is
/// parted both ways: every panel lies within what the machine reaches, and none of it is missing.
#[test]
fn marks_find_room_on_every_panel() {
    let machine = machine("roll-24");
    let reach = machine.limits_mm().unwrap();
    let placement = Placement {
        panels: Some(Panels { width_mm: None, overlap_mm: 0.0 }),
        ..Placement::default()
    };
    for (wide, high) in
        [(1000.0, 560.0), (1000.0, 580.0), (1000.0, 586.0), (812.0, 580.0), (810.0, 600.0)]
    {
        let corners = [(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)];
        let outer = Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec());
        let film = film([Region { outer, holes: vec![] }]);
        let laid = panels(&[&film], (wide, high), &placement, &machine).unwrap();
        assert!(laid.iter().all(|panel| reach.holds(panel.layout.bounds())), "{wide} x {high}");
        let whole: f64 = laid.iter().map(|panel| area(&panel.layout.lines)).sum();
        assert!((whole - wide * high).abs() < 1.0, "{wide} x {high}: {whole}");
    }
}
