//! Films of colours: together they are the ink that is seen, each point on one film alone; with an
//! underlap a film reaches under the one above it, only where that covers it, and no further.
//!
//! Referees: the painter's rule on discs and upright rectangles, whose points need no geometry library
//! (SVG 2, chapter Rendering model: later elements lie on top); resvg's pixels for a real drawing.

mod random;

use bladewright::drawing::{self, ReadSettings};
use bladewright::geometry::{Point, distance_to_segment};
use bladewright::ink::{Film, InkSettings, Sheets, visible};
use random::Dice;
use resvg::tiny_skia::{Pixmap, PremultipliedColorU8, Transform};
use resvg::usvg;

const COLOURS: [[u8; 3]; 3] = [[0xe6, 0x9f, 0x00], [0x00, 0x72, 0xb2], [0x00, 0x9e, 0x73]];
const SIDE: f64 = 60.0;

/// A painted shape: a disc, or an upright rectangle with its half sides.
struct Painted {
    center: Point,
    half: Point,
    disc: bool,
    colour: usize,
}

impl Painted {
    fn random(dice: &mut Dice) -> Self {
        let center = Point::new(8.0 + 44.0 * dice.roll(), 8.0 + 44.0 * dice.roll());
        let half = Point::new(2.0 + 10.0 * dice.roll(), 2.0 + 10.0 * dice.roll());
        Self { center, half, disc: dice.next(2) == 0, colour: dice.next(3) as usize }
    }

    /// Distance to the edge, mm; below 0 inside. Outside corners of rectangles it is a little less.
    fn distance(&self, p: Point) -> f64 {
        let d = p - self.center;
        if self.disc {
            return d.length() - self.half.x;
        }
        (d.x.abs() - self.half.x).max(d.y.abs() - self.half.y)
    }

    fn svg(&self) -> String {
        let [r, g, b] = COLOURS[self.colour];
        let (c, h) = (self.center, self.half);
        if self.disc {
            return format!(
                "<circle cx='{}' cy='{}' r='{}' fill='rgb({r},{g},{b})'/>",
                c.x, c.y, h.x
            );
        }
        let (x, y) = (c.x - h.x, c.y - h.y);
        let (w, h) = (2.0 * h.x, 2.0 * h.y);
        format!("<rect x='{x}' y='{y}' width='{w}' height='{h}' fill='rgb({r},{g},{b})'/>")
    }
}

fn films(svg: &[u8], underlap_mm: f64) -> Vec<Film> {
    let (drawing, _) = drawing::read(svg, &ReadSettings::default()).unwrap();
    let settings = InkSettings { sheets: Sheets::Colour, underlap_mm, ..InkSettings::default() };
    visible(&drawing, &settings).unwrap().0.films
}

fn film_of(films: &[Film], colour: usize) -> Option<&Film> {
    films.iter().find(|film| film.rgb == Some(COLOURS[colour]))
}

fn holds(film: Option<&Film>, p: Point) -> bool {
    film.is_some_and(|film| {
        film.regions.iter().any(|r| {
            r.region.outer.surrounds(p) && !r.region.holes.iter().any(|hole| hole.surrounds(p))
        })
    })
}

/// The place of the film's edge nearest to `p`, and how far it is.
fn nearest_edge(film: &Film, p: Point) -> f64 {
    let edges = film.regions.iter().flat_map(|r| r.region.contours()).flat_map(|c| c.edges());
    edges.map(|(a, b)| distance_to_segment(p, a, b)).fold(f64::INFINITY, f64::min)
}

#[test]
fn films_tile_the_ink_and_reach_under_the_covering_colour_only() {
    let mut dice = Dice(20);
    // Flattening and simplifying, each 0.0125 mm at most.
    let slack = 0.03;
    let (mut shared, mut reached) = (0, 0);
    for _ in 0..25 {
        let shapes: Vec<Painted> = (0..7).map(|_| Painted::random(&mut dice)).collect();
        let body: String = shapes.iter().map(Painted::svg).collect();
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='{SIDE}mm' height='{SIDE}mm' \
             viewBox='0 0 {SIDE} {SIDE}'>{body}</svg>"
        );
        let underlap = 0.3 + dice.roll();
        let (apart, under) = (films(svg.as_bytes(), 0.0), films(svg.as_bytes(), underlap));
        for _ in 0..1500 {
            let p = Point::new(SIDE * dice.roll(), SIDE * dice.roll());
            if shapes.iter().any(|shape| shape.distance(p).abs() < slack) {
                continue;
            }
            let top = shapes.iter().rev().find(|shape| shape.distance(p) < 0.0).map(|s| s.colour);
            for colour in 0..3 {
                // Without an underlap: the film of the colour that is seen, and no other.
                let (plain, grown) = (film_of(&apart, colour), film_of(&under, colour));
                assert_eq!(holds(plain, p), top == Some(colour), "{p:?} {colour} {svg}");
                let within = holds(grown, p);
                if top == Some(colour) {
                    assert!(within, "{p:?} {colour}: lost by the underlap: {svg}");
                } else if within {
                    // Below what is seen, and near enough to where it is seen itself.
                    shared += 1;
                    assert!(top.is_some(), "{p:?} {colour}: shows on bare paper: {svg}");
                    let reach = nearest_edge(plain.unwrap(), p);
                    assert!(
                        reach <= underlap + slack,
                        "{p:?} {colour}: {reach} > {underlap}: {svg}"
                    );
                }
            }
        }
        // Just inside every cover's edge, over a film that is seen just outside: it reaches there.
        for (i, cover) in shapes.iter().enumerate().filter(|(_, shape)| shape.disc) {
            for k in 0..40 {
                let out = Point::along(std::f64::consts::TAU * f64::from(k) / 40.0);
                let at = |mm: f64| cover.center + out * (cover.half.x + mm);
                let (seen, hidden) = (at(slack), at(-0.8 * underlap));
                let on_top = |p: Point| shapes.iter().rposition(|s| s.distance(p) < 0.0);
                let Some(below) = on_top(seen).filter(|&below| below < i) else { continue };
                let whole = (1..=16).all(|k| {
                    on_top(cover.center + out * (cover.half.x - underlap * f64::from(k) / 16.0))
                        == Some(i)
                });
                let colour = shapes[below].colour;
                let clear = shapes.iter().all(|s| s.distance(seen).abs() > slack / 2.0);
                if colour != cover.colour && whole && clear && cover.half.x > underlap {
                    reached += 1;
                    assert!(holds(film_of(&under, colour), hidden), "{hidden:?} {underlap}: {svg}");
                }
            }
        }
    }
    assert!(shared > 100 && reached > 100, "{shared} {reached}");
}

/// A gap of bare paper between two films: the lower one must not turn up again as a sliver under the
/// upper one, and a colour that is covered wholly has no film.
#[test]
fn no_slivers_beyond_a_gap_and_no_film_of_what_is_hidden() {
    let svg = "<svg xmlns='http://www.w3.org/2000/svg' width='60mm' height='30mm' viewBox='0 0 60 30'>\
        <path fill='#e69f00' d='M5 5h10v20h-10z'/><path fill='#009e73' d='M40 8h10v10h-10z'/>\
        <path fill='#0072b2' d='M15.2 5h10v20h-10zM39 7h12v12h-12z'/></svg>";
    let films = films(svg.as_bytes(), 0.5);
    let names: Vec<&str> = films.iter().map(|film| film.name.as_str()).collect();
    assert_eq!(names, ["#e69f00", "#0072b2"]);
    assert_eq!(films[0].regions.len(), 1);
    assert!((films[0].regions[0].region.area() - 200.0).abs() < 0.1);
}

/// The frame decal as resvg paints it, 10 pixels to the millimetre: each film covers as much as there
/// are pixels of its colour.
#[test]
fn films_cover_what_a_renderer_paints() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/frame-decal.svg");
    let svg = std::fs::read(path).unwrap();
    let tree = usvg::Tree::from_data(&svg, &usvg::Options::default()).unwrap();
    let mm = 96.0 / 25.4;
    let scale = 10.0 / mm;
    let (width, height) = (tree.size().width() * scale, tree.size().height() * scale);
    let mut picture = Pixmap::new(width.ceil() as u32, height.ceil() as u32).unwrap();
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut picture.as_mut());
    let films = films(&svg, 0.0);
    assert_eq!(films.len(), 2);
    let colours: Vec<[u8; 3]> = films.iter().map(|film| film.rgb.unwrap()).collect();
    // A pixel on an edge belongs to whom more than half of it is painted by: the colour nearest to it.
    let nearest = |pixel: &PremultipliedColorU8| {
        let seen = pixel.demultiply();
        let seen = [seen.red(), seen.green(), seen.blue()].map(i32::from);
        let apart = |colour: &&[u8; 3]| -> i32 {
            colour.iter().zip(seen).map(|(a, b)| (i32::from(*a) - b).pow(2)).sum()
        };
        (pixel.alpha() >= 128).then(|| colours.iter().min_by_key(apart).unwrap())
    };
    for film in &films {
        let own = picture.pixels().iter().filter(|pixel| nearest(pixel) == film.rgb.as_ref());
        let painted = own.count() as f64 / 100.0;
        let contours = film.regions.iter().flat_map(|r| r.region.contours());
        let edge: f64 = contours.map(|c| c.length()).sum();
        let cut: f64 = film.regions.iter().map(|r| r.region.area()).sum();
        // A tenth of a pixel all along the edge; 0.08 are measured.
        let most = 0.01 * edge;
        assert!((painted - cut).abs() < most, "{}: {painted} {cut} {most}", film.name);
    }
}

/// Area of the film of a colour, mm².
fn area(films: &[Film], colour: usize) -> f64 {
    film_of(films, colour).map_or(0.0, |f| f.regions.iter().map(|r| r.region.area()).sum())
}

/// Two plates of 20 x 20 mm drawn as one path, one of them under a square of 6 x 6 mm: what reaches
/// half a millimetre under that square leaves 5 x 5 mm of it free. Both plates stay. By hand.
#[test]
fn an_underlap_loses_no_part_of_a_shape() {
    let svg = "<svg xmlns='http://www.w3.org/2000/svg' width='60mm' height='30mm' viewBox='0 0 60 30'>\
               <path d='M5 5h20v20h-20zM30 5h20v20h-20z' fill='rgb(230,159,0)'/>\
               <rect x='12' y='12' width='6' height='6' fill='rgb(0,114,178)'/></svg>";
    for (underlap, free) in [(0.0, 36.0), (0.5, 25.0)] {
        let films = films(svg.as_bytes(), underlap);
        let plates = area(&films, 0);
        assert!((plates - (800.0 - free)).abs() < 0.1, "{underlap}: {plates}");
        assert!((area(&films, 1) - 36.0).abs() < 1e-6);
    }
}

/// A ring around a disc, 0.2 mm away from it: the disc reaches nowhere under it, and no sliver is cut
/// beyond the gap.
#[test]
fn an_underlap_leaps_no_gap() {
    let svg = "<svg xmlns='http://www.w3.org/2000/svg' width='30mm' height='30mm' viewBox='0 0 30 30'>\
               <circle cx='15' cy='15' r='5' fill='rgb(230,159,0)'/>\
               <circle cx='15' cy='15' r='6.2' fill='none' stroke='rgb(0,114,178)' stroke-width='2'/></svg>";
    let films = films(svg.as_bytes(), 0.5);
    let regions = film_of(&films, 0).map_or(0, |film| film.regions.len());
    assert_eq!(regions, 1);
    assert!((area(&films, 0) - std::f64::consts::PI * 25.0).abs() < 0.4);
}

/// A plate under a bar of 4 mm, whatever the bar's slope: either part of the plate reaches half a
/// millimetre under it, all along its edge, and round its ends at most by half a disc more. By hand.
#[test]
fn an_underlap_holds_along_slanted_edges() {
    for degrees in (0..45).step_by(2).map(f64::from) {
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='60mm' height='60mm' viewBox='0 0 60 60'>\
             <path d='M20 20h20v20h-20z' fill='rgb(230,159,0)'/>\
             <path d='M-10 30H70' transform='rotate({degrees} 30.1 29.7)' stroke='rgb(0,114,178)' \
             stroke-width='4'/></svg>"
        );
        let seen = area(&films(svg.as_bytes(), 0.0), 0);
        let reach = area(&films(svg.as_bytes(), 0.5), 0) - seen;
        let edges = 2.0 * 0.5 * 20.0;
        assert!(reach > 0.8 * edges, "{degrees}: {reach}");
        let longest = edges / degrees.to_radians().cos() + std::f64::consts::PI * 0.5;
        assert!(reach < longest, "{degrees}: {reach} {longest}");
    }
}
