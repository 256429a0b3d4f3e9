//! What is cut is what is seen: every drawing in `tests/drawings/` is read, its visible ink merged
//! and filled, and laid over a picture by an independent renderer.
//!
//! Referee: resvg 0.49 (alpha of its picture). Edges are allowed to differ by a pixel: only a block
//! of 3 x 3 pixels that is ink in one picture and bare in the other counts as wrong. At 1000 pixels
//! for the longer side that finds anything wider than three thousandths of the page.

use std::path::{Path, PathBuf};

use bladewright::drawing::{self, ReadSettings};
use bladewright::ink::{InkSettings, visible};
use resvg::tiny_skia::{FillRule, Paint, PathBuilder, Pixmap, Transform};
use resvg::usvg;

/// Longer side of the pictures, pixels.
const SIDE: f32 = 1000.0;

#[test]
fn ink_cut_equals_ink_seen() {
    let files = drawings();
    assert!(files.len() >= 40, "{}", files.len());
    for file in files {
        let bytes = std::fs::read(&file).unwrap();
        let (seen, scale) = picture(&bytes);
        let cut = filled(&bytes, &seen, scale);
        let wrong = wrong_blocks(&seen, &cut);
        assert_eq!(wrong, 0, "{}", file.display());
        assert!(inked(&cut) > 500, "{}", file.display());
    }
}

#[test]
fn the_comparison_notices_a_missing_part() {
    let whole = b"<svg xmlns='http://www.w3.org/2000/svg' width='100mm' height='100mm' \
        viewBox='0 0 100 100'><path d='M10 10h40v40h-40z'/><path d='M70 70h.5v20h-.5z'/></svg>";
    let part = String::from_utf8_lossy(whole).replace("<path d='M70 70h.5v20h-.5z'/>", "");
    let (seen, scale) = picture(whole);
    assert_eq!(wrong_blocks(&seen, &filled(whole, &seen, scale)), 0);
    assert!(wrong_blocks(&seen, &filled(part.as_bytes(), &seen, scale)) > 100);
}

/// Referee: resvg's colours on white paper, of which nine levels of 255 count as ink.
#[test]
fn gradients_end_where_they_can_no_longer_be_told_from_the_paper() {
    for paint in [
        "<linearGradient id='g' x2='0' y2='1' spreadMethod='reflect'>@</linearGradient>",
        "<linearGradient id='g' x2='.2' spreadMethod='repeat' gradientTransform='rotate(20)'>@</linearGradient>",
        "<radialGradient id='g' fx='.3' fy='.4'>@</radialGradient>",
        "<radialGradient id='g' r='.3' spreadMethod='reflect' gradientTransform='skewX(20)'>@</radialGradient>",
    ] {
        let stops = "<stop stop-color='#fff'/><stop offset='1' stop-color='#036'/>";
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='100mm' height='100mm' \
             viewBox='0 0 100 100'>{}<path d='M0 0H100V40H0z'/>\
             <path d='M10 10H90V90H10z' fill='url(#g)'/></svg>",
            paint.replace('@', stops)
        );
        let (mut seen, scale) = picture(svg.as_bytes());
        on_white_paper(&mut seen);
        let cut = filled_on(svg.as_bytes(), &seen, scale, Some([255; 3]));
        assert_eq!(wrong_blocks(&seen, &cut), 0, "{paint}");
        assert!(inked(&cut) > 100_000 && inked(&cut) < 900_000, "{paint}");
    }
}

/// Referee: resvg's colours on white paper, of which nine levels of 255 count as ink.
#[test]
fn plain_paint_that_cannot_be_told_from_the_paper_is_paper() {
    let page = |inside: &str| {
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='100mm' height='100mm' \
             viewBox='0 0 100 100'><path d='M5 5H30V30H5z'/>{inside}</svg>"
        )
    };
    for inside in [
        "<path d='M40 40H90V90H40z' fill='#fffffe'/><path d='M40 5H60V20H40z' fill='#f6f6f6'/>",
        "<path d='M40 40H90V90H40z' opacity='.02'/><path d='M40 5H60V20H40z' opacity='.05'/>",
        "<path d='M40 40H90V90H40z'/><g opacity='.999'><circle cx='60' cy='60' r='9' fill='#fff'/></g>",
        "<path d='M40 40H90V90H40z'/><circle cx='60' cy='60' r='9' fill='#fff' opacity='.9'/>",
        "<mask id='m'><path d='M0 0H99V99H0z' fill='#010101'/><circle cx='60' cy='60' r='9' \
         fill='#fff'/></mask><path d='M40 40H90V90H40z' mask='url(#m)'/>",
        "<mask id='m'><path d='M0 0H99V99H0z' fill='#fff'/><circle cx='60' cy='60' r='9' \
         fill='#020202' opacity='.99'/></mask><path d='M40 40H90V90H40z' mask='url(#m)'/>",
    ] {
        let svg = page(inside);
        let (mut seen, scale) = picture(svg.as_bytes());
        on_white_paper(&mut seen);
        let cut = filled_on(svg.as_bytes(), &seen, scale, Some([255; 3]));
        assert_eq!(wrong_blocks(&seen, &cut), 0, "{inside}");
    }
    let svg = page("<path d='M40 40H90V90H40z' fill='#fffffe'/>");
    let (drawing, _) = drawing::read(svg.as_bytes(), &ReadSettings::default()).unwrap();
    let (_, told) = visible(&drawing, &InkSettings::default()).unwrap();
    assert!(told.iter().any(|f| f.code == "nearly-paper"), "{told:?}");
}

/// Turns a picture into one whose alpha is full where its colour is not white on white paper.
fn on_white_paper(picture: &mut Pixmap) {
    for pixel in picture.pixels_mut() {
        let bare = 255 - pixel.alpha();
        let least = [pixel.red(), pixel.green(), pixel.blue()].into_iter().min().unwrap_or(0);
        let ink = 255 - (least + bare) > 8;
        let alpha = if ink { 255 } else { 0 };
        *pixel = resvg::tiny_skia::PremultipliedColorU8::from_rgba(0, 0, 0, alpha).unwrap();
    }
}

/// Every drawing but the one that holds what the referee shows otherwise.
fn drawings() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/drawings");
    let mut files = Vec::new();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    let mut folders = vec![root, demo];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            match path.extension().and_then(|e| e.to_str()) {
                None => folders.push(path),
                Some("svg") if !path.ends_with("beyond.svg") => files.push(path),
                Some(_) => {}
            }
        }
    }
    files.sort();
    files
}

/// The referee's picture, and pixels per CSS pixel.
fn picture(bytes: &[u8]) -> (Pixmap, f32) {
    let tree = usvg::Tree::from_data(bytes, &usvg::Options::default()).unwrap();
    let (width, height) = (tree.size().width(), tree.size().height());
    let scale = SIDE / width.max(height);
    let side = |s: f32| ((s * scale).ceil() as u32).max(1);
    let mut pixmap = Pixmap::new(side(width), side(height)).unwrap();
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixmap.as_mut());
    (pixmap, scale)
}

/// Our regions, filled on a picture of the same size. Every colour is ink, as for the referee.
fn filled(bytes: &[u8], like: &Pixmap, scale: f32) -> Pixmap {
    filled_on(bytes, like, scale, None)
}

fn filled_on(bytes: &[u8], like: &Pixmap, scale: f32, paper: Option<[u8; 3]>) -> Pixmap {
    let settings = ReadSettings { system_fonts: false, ..ReadSettings::default() };
    let (drawing, _) = drawing::read(bytes, &settings).unwrap();
    let (ink, _) = visible(&drawing, &InkSettings { paper, ..InkSettings::default() }).unwrap();
    let per_mm = f64::from(scale) * 96.0 / 25.4;
    let mut path = PathBuilder::new();
    for contour in ink.films.iter().flat_map(|f| &f.regions).flat_map(|r| r.region.contours()) {
        for (i, p) in contour.points.iter().enumerate() {
            let (x, y) = ((p.x * per_mm) as f32, (p.y * per_mm) as f32);
            if i == 0 { path.move_to(x, y) } else { path.line_to(x, y) }
        }
        path.close();
    }
    let mut pixmap = Pixmap::new(like.width(), like.height()).unwrap();
    let mut paint = Paint::default();
    paint.set_color_rgba8(0, 0, 0, 255);
    if let Some(path) = path.finish() {
        pixmap.fill_path(&path, &paint, FillRule::EvenOdd, Transform::identity(), None);
    }
    pixmap
}

/// Opacity from which a pixel of the referee counts as ink: faint paint is ink as well.
const FAINT: u8 = 2;

fn wrong_blocks(seen: &Pixmap, cut: &Pixmap) -> usize {
    let (width, height) = (seen.width() as usize, seen.height() as usize);
    let difference: Vec<i8> = seen
        .pixels()
        .iter()
        .zip(cut.pixels())
        .map(|(a, b)| i8::from(a.alpha() > FAINT) - i8::from(b.alpha() > 127))
        .collect();
    let block = |x: usize, y: usize| {
        let first = difference[y * width + x];
        let same = |dx: usize, dy: usize| difference[(y + dy) * width + x + dx] == first;
        first != 0 && (0..9).all(|i| same(i % 3, i / 3))
    };
    (0..height.saturating_sub(2))
        .map(|y| (0..width.saturating_sub(2)).filter(|x| block(*x, y)).count())
        .sum()
}

fn inked(pixmap: &Pixmap) -> usize {
    pixmap.pixels().iter().filter(|p| p.alpha() > 127).count()
}
