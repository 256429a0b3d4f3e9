//! Work in panels: a fold goes where its card goes, also one that sticks out past it or runs over several.
//!
//! Judged by points along the folds as they were drawn, not by the clipping under test.

use bladewright::geometry::{Contour, Point, distance_to_segment};
use bladewright::ink::{Film, FilmLine, Treatment};
use bladewright::place::{CutLine, Panel, Panels, Placement, Role, panels};
use bladewright::profile::Library;
use proptest::prelude::*;

const PAGE: (f64, f64) = (70.0, 1000.0);

fn parted(lines: Vec<(Contour, Treatment)>, wanted: Panels) -> Vec<Panel> {
    let machine = Library::default().machine("roll-15").unwrap();
    let line = |(contour, treatment)| FilmLine { contour, layer: 0, treatment };
    let film = Film { lines: lines.into_iter().map(line).collect(), ..Film::default() };
    let placement = Placement { panels: Some(wanted), ..Placement::default() };
    panels(&[&film], PAGE, &placement, &machine).unwrap()
}

fn of(lines: &[CutLine], role: Role) -> Vec<&Contour> {
    lines.iter().filter(|line| line.role == role).map(|line| &line.contour).collect()
}

/// A card as drawn, y down.
fn card([left, right]: [f64; 2], [from, to]: [f64; 2]) -> Contour {
    let corners = [(left, from), (right, from), (right, to), (left, to)];
    Contour::closed(corners.map(|(x, y)| Point::new(x, y)).to_vec())
}

/// Two cards with a fold beside each of the edges between them, wherever the seam lies, which may be
/// within a card by half the overlap: a fold is on the panel that holds its card, and nowhere else.
#[test]
fn folds_go_where_their_card_goes() {
    let card = |from: f64, to: f64| card([0.0, 60.0], [from, to]);
    let fold = |y: f64| Contour::open(vec![Point::new(0.0, y), Point::new(60.0, y)]);
    for edge in (0..14).map(|i| 96.75 + 0.5 * f64::from(i)) {
        let lines = [(card(0.0, edge), Treatment::Cut), (card(edge + 1.0, 200.0), Treatment::Cut)]
            .into_iter()
            .chain([edge - 0.8, edge + 1.8].map(|y| (fold(y), Treatment::Score)))
            .collect();
        let laid = parted(lines, Panels { width_mm: Some(120.0), overlap_mm: 5.0 });
        assert_eq!(laid.len(), 2);
        for panel in laid {
            let lines = &panel.layout.lines;
            let (cards, folds) = (of(lines, Role::Design), of(lines, Role::Score));
            assert_eq!((cards.len(), folds.len()), (1, 1), "{edge}");
            let middle = folds[0].bounds().center();
            assert!(cards[0].surrounds(middle), "{edge}");
        }
    }
}

/// Cards in a column with the gaps after them, and folds: from which card to which, how far they stick out
/// at either end, and where they lie across.
#[derive(Debug, Clone)]
struct Work {
    cards: Vec<[f64; 2]>,
    folds: Vec<(usize, usize, [f64; 2], [f64; 2])>,
}

fn work() -> impl Strategy<Value = Work> {
    let card = (25.0..60.0f64, 0.3..9.0f64).prop_map(|(height, gap)| [height, gap]);
    let fold = (0..9usize, 0..3usize, [-6.0..12.0f64, -6.0..12.0f64], [2.0..58.0f64, 2.0..58.0f64]);
    let folds = prop::collection::vec(fold, 1..12);
    (prop::collection::vec(card, 9), folds).prop_map(|(cards, folds)| {
        let last = |first: usize, more: usize| (first + more.saturating_sub(1)).min(8);
        let fold = |(first, more, out, x)| (first, last(first, more), out, x);
        Work { cards, folds: folds.into_iter().map(fold).collect() }
    })
}

impl Work {
    fn cards(&self) -> Vec<Contour> {
        let mut from = 20.0;
        let place = |(i, &[height, gap]): (usize, &[f64; 2])| {
            // No two are of one height.
            let to: f64 = from + height + 0.01 * i as f64;
            let placed = card([0.0, height + 3.0], [from, to]);
            from = to + gap;
            placed
        };
        self.cards.iter().enumerate().map(place).collect()
    }

    fn folds(&self) -> Vec<Contour> {
        let cards = self.cards();
        let fold = |&(first, last, out, x): &(usize, usize, [f64; 2], [f64; 2])| {
            let from = cards[first].bounds().min.y - out[0];
            let to = cards[last].bounds().max.y + out[1];
            Contour::open(vec![Point::new(x[0], from), Point::new(x[1], to)])
        };
        self.folds.iter().map(fold).collect()
    }
}

/// As it stands on a sheet whose place on the page is `shift`: y up.
fn upright(line: &Contour, shift: Point) -> Contour {
    let points = line.points.iter().map(|p| Point::new(p.x, -p.y) + shift);
    Contour { points: points.collect(), closed: line.closed }
}

/// The place of the page, told by a card that lies on the panel whole: it is known by its height.
fn shift_of(cards: &[Contour], on_panel: &[&Contour]) -> Option<Point> {
    cards.iter().find_map(|card| {
        let wanted = card.bounds();
        let same = |found: &&&Contour| (found.bounds().height() - wanted.height()).abs() < 1e-9;
        let found = on_panel.iter().find(same)?.bounds();
        Some(found.min - Point::new(wanted.min.x, -wanted.max.y))
    })
}

fn samples(line: &Contour) -> impl Iterator<Item = Point> + '_ {
    line.edges().flat_map(|(a, b)| (0..=200).map(move |i| a.lerp(b, f64::from(i) / 200.0)))
}

fn is_on(p: Point, lines: &[impl std::borrow::Borrow<Contour>]) -> bool {
    let mut edges = lines.iter().flat_map(|line| line.borrow().edges());
    edges.any(|(a, b)| distance_to_segment(p, a, b) < 1e-6)
}

/// Well inside: not where a card's edge may have been cut.
fn is_inside(p: Point, card: &Contour) -> bool {
    card.bounds().grown(-0.1).holds(bladewright::geometry::Bounds { min: p, max: p })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn every_fold_is_where_its_card_is(
        work in work(), overlap in 0.0..20.0f64, width in 110.0..260.0f64,
    ) {
        let (cards, folds) = (work.cards(), work.folds());
        let lines = cards.iter().map(|card| (card.clone(), Treatment::Cut));
        let scored = folds.iter().map(|fold| (fold.clone(), Treatment::Score));
        let wanted = Panels { width_mm: Some(width), overlap_mm: overlap };
        let laid = parted(lines.chain(scored).collect(), wanted);
        let mut scored_mm = 0.0;
        for panel in &laid {
            let bounds = panel.layout.bounds();
            prop_assert!(bounds.height() <= width + 1e-9, "{} > {width}", bounds.height());
            let lines = &panel.layout.lines;
            let (on_panel, scored) = (of(lines, Role::Design), of(lines, Role::Score));
            scored_mm += scored.iter().map(|line| line.length()).sum::<f64>();
            let Some(shift) = shift_of(&cards, &on_panel) else { continue };
            let upright = |line: &Contour| upright(line, shift);
            let (cards, folds) = (cards.iter().map(upright), folds.iter().map(upright));
            let (cards, folds): (Vec<_>, Vec<_>) = (cards.collect(), folds.collect());
            let whole = |card: &&Contour| on_panel.iter().any(|c| {
                c.closed && (c.bounds().min - card.bounds().min).length() < 1e-6
                    && (c.bounds().max - card.bounds().max).length() < 1e-6
            });
            for p in folds.iter().flat_map(samples) {
                let card = cards.iter().find(|card| is_inside(p, card)).filter(whole);
                prop_assert!(card.is_none() || is_on(p, &scored), "a fold is missing at {p:?}");
            }
            for p in scored.iter().copied().flat_map(samples) {
                prop_assert!(is_on(p, &folds), "no fold is drawn at {p:?}");
                let card = cards.iter().find(|card| is_inside(p, card)).filter(|card| {
                    !on_panel.iter().any(|line| line.bounds().touches(card.bounds().grown(-0.1)))
                });
                prop_assert!(card.is_none(), "a fold without its card at {p:?}");
            }
        }
        let told: Vec<&str> =
            laid.iter().flat_map(|panel| &panel.findings).map(|f| f.text.as_str()).collect();
        let parted = |text: &&str| text.matches("cuts").count() > text.matches("cuts 0 pieces").count();
        if !told.iter().any(parted) {
            let drawn_mm: f64 = folds.iter().map(Contour::length).sum();
            prop_assert!((scored_mm - drawn_mm).abs() < 1e-6, "{scored_mm} of {drawn_mm} mm");
        }
    }
}
