//! The font of the demo drawings, `demo/fonts/tern-lane.ttf`, is what its list of strokes
//! (`demo/fonts/tern-lane.txt`) makes today, and reads as a font.
//!
//! `BLADEWRIGHT_RENEW=1 cargo test --test demo_font` makes it anew. Referees: skrifa, a font library;
//! `tests/outside/font_check.py` compares its outlines with those that GEOS makes of the strokes.

mod font;
mod pen;

use std::path::PathBuf;

use bladewright::geometry::{Contour, Point};
use font::{Face, Glyph, Knot};
use kurbo::{Affine, BezPath, Shape};
use skrifa::instance::{LocationRef, Size};
use skrifa::outline::{DrawSettings, OutlinePen};
use skrifa::raw::{TableProvider, tables::compute_checksum};
use skrifa::{FontRef, MetadataProvider};

/// Units of an em, and of one unit of the list: capitals are 0.7 em high.
const EM: i16 = 4000;
const UNIT: f64 = 240.0;
/// The pen, in units of the list, and the height of the capitals' strokes.
const PEN: f64 = 1.7;
const FOOT: f64 = 10.0;
/// Small letters' strokes against those of capitals.
const SMALL: f64 = 0.74;

fn folder() -> PathBuf {
    [env!("CARGO_MANIFEST_DIR"), "demo", "fonts"].iter().collect()
}

/// A line of the list.
struct Letter {
    character: char,
    left: f64,
    right: f64,
    strokes: BezPath,
}

fn letters() -> Vec<Letter> {
    let list = std::fs::read_to_string(folder().join("tern-lane.txt")).unwrap();
    let lines = list.lines().filter(|line| !line.starts_with('#') && !line.is_empty());
    lines.map(letter).collect()
}

fn letter(line: &str) -> Letter {
    let mut words = line.splitn(4, ' ');
    let mut next = || words.next().unwrap_or("");
    let name = next();
    let character = if name == "space" { ' ' } else { name.chars().next().unwrap() };
    assert!(name == "space" || name.chars().count() == 1, "{line}");
    let [left, right] = [next(), next()].map(|room| room.parse().unwrap());
    Letter { character, left, right, strokes: BezPath::from_svg(next()).unwrap() }
}

impl Letter {
    /// The same as a small letter.
    fn small(&self) -> Option<Self> {
        let character =
            self.character.is_ascii_uppercase().then(|| self.character.to_ascii_lowercase())?;
        // Its room is that of the pen, whole, and of the letter, smaller.
        let room = |room: f64| PEN / 2.0 + (room - PEN / 2.0) * (1.0 + SMALL) / 2.0;
        let lower =
            Affine::translate((0.0, FOOT)) * Affine::scale(SMALL) * Affine::translate((0.0, -FOOT));
        let (left, right) = (room(self.left), room(self.right));
        Some(Self { character, left, right, strokes: lower * self.strokes.clone() })
    }

    /// Its strokes in units of the font, y up, where they stand; and how wide it is.
    fn set(&self) -> (BezPath, u16) {
        let bounds = self.strokes.bounding_box();
        let (left, width) = if self.strokes.elements().is_empty() {
            (0.0, 0.0)
        } else {
            (bounds.x0, bounds.width())
        };
        let map = Affine::new([
            UNIT,
            0.0,
            0.0,
            -UNIT,
            (self.left - left) * UNIT,
            (FOOT + PEN / 2.0) * UNIT,
        ]);
        (map * self.strokes.clone(), ((self.left + width + self.right) * UNIT).round() as u16)
    }

    fn painted(&self) -> Vec<Contour> {
        pen::painted(&self.set().0, PEN * UNIT)
    }

    fn glyph(&self) -> Glyph {
        let contours = self.painted().iter().map(pen::fitted).collect();
        Glyph { character: Some(self.character), advance: self.set().1, contours }
    }
}

/// What stands for a character that the font lacks: a frame.
fn lacking() -> Glyph {
    let [right, top, pen] = [6.6 + PEN, FOOT + PEN, PEN].map(|units| (units * UNIT) as i16);
    let at = |x: i16, y: i16| Knot { x: x + 200, y, on: true };
    let outer = vec![at(0, 0), at(0, top), at(right, top), at(right, 0)];
    let inner =
        vec![at(pen, pen), at(right - pen, pen), at(right - pen, top - pen), at(pen, top - pen)];
    Glyph { character: None, advance: (right + 400) as u16, contours: vec![outer, inner] }
}

fn all() -> Vec<Letter> {
    let capitals = letters();
    let small: Vec<Letter> = capitals.iter().filter_map(Letter::small).collect();
    let mut all: Vec<Letter> = capitals.into_iter().chain(small).collect();
    all.sort_by_key(|letter| letter.character);
    all
}

fn made() -> Vec<u8> {
    let height = |share: f64| ((FOOT * share + PEN) * UNIT).round() as i16;
    let letters = all();
    font::write(&Face {
        family: "Tern Lane",
        typographic: None,
        em: EM,
        ascent: 3400,
        descent: -800,
        capital: height(1.0),
        small: height(SMALL),
        raised: 1400,
        lowered: 560,
        glyphs: [lacking()].into_iter().chain(letters.iter().map(Letter::glyph)).collect(),
    })
}

#[test]
fn the_font_is_current() {
    let file = folder().join("tern-lane.ttf");
    let fresh = made();
    if std::env::var_os("BLADEWRIGHT_RENEW").is_some() {
        std::fs::write(&file, &fresh).unwrap();
    }
    assert!(
        std::fs::read(&file).ok() == Some(fresh),
        "out of date; renew it as the head of this test says"
    );
}

/// A path as skrifa draws it.
#[derive(Default)]
struct Drawn(BezPath);

impl OutlinePen for Drawn {
    fn move_to(&mut self, x: f32, y: f32) {
        self.0.move_to((f64::from(x), f64::from(y)));
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.0.line_to((f64::from(x), f64::from(y)));
    }
    fn quad_to(&mut self, a: f32, b: f32, x: f32, y: f32) {
        self.0.quad_to((f64::from(a), f64::from(b)), (f64::from(x), f64::from(y)));
    }
    fn curve_to(&mut self, _: f32, _: f32, _: f32, _: f32, _: f32, _: f32) {
        panic!("a cubic in a TrueType font");
    }
    fn close(&mut self) {
        self.0.close_path();
    }
}

fn drawn(font: &FontRef, c: char) -> BezPath {
    let glyph = font.outline_glyphs().get(font.charmap().map(c).unwrap()).unwrap();
    let mut path = Drawn::default();
    glyph
        .draw(DrawSettings::unhinted(Size::unscaled(), LocationRef::default()), &mut path)
        .unwrap();
    path.0
}

/// No point of an outline is further than a unit and a half from the polygon it was made of, nor is any
/// of the polygon's from the outline (a unit is 1/4000 em, 1/400 mm in letters 7 mm high): the fit's
/// tolerance, the rounding of points to units, and the steps in which this test goes along curves.
#[test]
fn outlines_are_the_painted_strokes() {
    let bytes = made();
    let font = FontRef::new(&bytes).unwrap();
    for letter in all() {
        let painted = letter.painted();
        let outline = drawn(&font, letter.character);
        let mut rings: Vec<Vec<Point>> = Vec::new();
        kurbo::flatten(&outline, 0.05, |element| match element {
            kurbo::PathEl::MoveTo(p) => rings.push(vec![Point::new(p.x, p.y)]),
            kurbo::PathEl::LineTo(p) => rings.last_mut().unwrap().push(Point::new(p.x, p.y)),
            _ => {}
        });
        let rings: Vec<Contour> = rings.into_iter().map(Contour::closed).collect();
        // Both wind the same way, holes against it.
        let area = |rings: &[Contour]| rings.iter().map(Contour::signed_area).sum::<f64>();
        let length: f64 = painted.iter().map(Contour::length).sum();
        let off = (area(&rings) - area(&painted)).abs();
        assert!(off < 0.5 * length + 1e-9, "{}: {off}", letter.character);
        for (points, lines) in [(&rings, &painted), (&painted, &rings)] {
            for p in points.iter().flat_map(|ring| &ring.points) {
                let to = |(a, b)| bladewright::geometry::distance_to_segment(*p, a, b);
                let off =
                    lines.iter().flat_map(Contour::edges).map(to).fold(f64::INFINITY, f64::min);
                assert!(off < 1.5, "{}: {off} at {p:?}", letter.character);
            }
        }
    }
}

/// Every printable ASCII letter and digit is there; heights, widths and bearings are those of the outlines.
#[test]
fn measures_are_those_of_the_outlines() {
    let bytes = made();
    let font = FontRef::new(&bytes).unwrap();
    let metrics = font.metrics(Size::unscaled(), LocationRef::default());
    let top = |c: char| drawn(&font, c).bounding_box().y1;
    assert_eq!(metrics.cap_height.map(f64::from), Some(top('H')));
    assert!((f64::from(metrics.x_height.unwrap()) - top('x')).abs() <= 1.0);
    let glyphs = font.glyph_metrics(Size::unscaled(), LocationRef::default());
    for c in ('a'..='z').chain('A'..='Z').chain('0'..='9') {
        let glyph = font.charmap().map(c).unwrap();
        let bounds = drawn(&font, c).bounding_box();
        let left = f64::from(glyphs.left_side_bearing(glyph).unwrap());
        assert!((left - bounds.x0).abs() <= 1.0, "{c}: {left} {}", bounds.x0);
        let right = f64::from(glyphs.advance_width(glyph).unwrap()) - bounds.x1;
        assert!(bounds.x0 > 0.0 && right > 0.0, "{c}: {} {right}", bounds.x0);
        assert!((bounds.y0 - 0.0).abs() <= 60.0, "{c}: {}", bounds.y0);
    }
    for missing in ['%', 'é', '\u{FFFF}'] {
        assert!(font.charmap().map(missing).is_none_or(|glyph| glyph.to_u32() == 0));
    }
}

/// OpenType 1.9, chapter "OpenType font file": each table's sum, and 0xB1B0AFBA for the whole file.
#[test]
fn checksums_are_right() {
    let bytes = made();
    let font = FontRef::new(&bytes).unwrap();
    assert_eq!(compute_checksum(&bytes), 0xB1B0_AFBA);
    for record in font.table_directory().table_records() {
        let mut data = font.table_data(record.tag()).unwrap().as_bytes().to_vec();
        if record.tag() == skrifa::Tag::new(b"head") {
            data[8..12].fill(0);
        }
        assert_eq!(compute_checksum(&data), record.checksum(), "{}", record.tag());
    }
    assert!(font.head().is_ok() && font.os2().is_ok() && font.post().is_ok());
}
