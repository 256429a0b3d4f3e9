//! How high letters are, by closed forms: a font made here (`font/`), whose letters are rectangles of known
//! height; by which names a font is found; and what is asked of texts and not followed.

mod font;
mod program;

use font::{Face, Glyph, Knot};
use program::run;
use serde_json::Value;

/// Units of an em; heights of the H and of the x; how far superscript is raised, and subscript lowered.
const EM: i16 = 1000;
const CAPITAL: i16 = 700;
const SMALL: i16 = 500;
const RAISED: i16 = 350;
const LOWERED: i16 = 75;

/// A font of the family `name`; with `told` it tells the heights of its letters.
fn font(name: &str, told: bool) -> Vec<u8> {
    let [capital, small] = if told { [CAPITAL, SMALL] } else { [0, 0] };
    let glyphs =
        vec![upright(None, CAPITAL), upright(Some('H'), CAPITAL), upright(Some('x'), SMALL)];
    font::write(&Face { capital, small, ..face((name, None), glyphs) })
}

/// A font of a family, and of a typographic family where that has a name of its own.
fn face<'a>((family, typographic): (&'a str, Option<&'a str>), glyphs: Vec<Glyph>) -> Face<'a> {
    Face {
        family,
        typographic,
        em: EM,
        ascent: 800,
        descent: -200,
        capital: 0,
        small: 0,
        raised: RAISED,
        lowered: LOWERED,
        glyphs,
    }
}

/// A rectangle as a letter.
fn upright(character: Option<char>, height: i16) -> Glyph {
    let corners = [(100, 0), (100, height), (500, height), (500, 0)];
    let contour = corners.map(|(x, y)| Knot { x, y, on: true }).to_vec();
    Glyph { character, advance: 600, contours: vec![contour] }
}

/// The findings of `body` on a page of 100 x 50 mm, its fonts ours, and the size of what is cut.
fn checked(body: &str, options: &[&str]) -> (Vec<Value>, Value) {
    let folder = tempfile::tempdir().unwrap();
    let page = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"100mm\" height=\"50mm\" viewBox=\"0 0 100 50\">\n{body}</svg>"
    );
    std::fs::write(folder.path().join("d.svg"), page).unwrap();
    // A face with a name for programs that know few faces of a family; and one whose such name is another
    // font's family, read before that or after it. Their H is lower.
    let low = |family: &str, typographic: &str| {
        let glyphs = vec![upright(None, SMALL), upright(Some('H'), SMALL)];
        font::write(&face((family, Some(typographic)), glyphs))
    };
    for (name, file) in [
        ("a-twin", low("Tern Told", "Tern Twin")),
        ("slim", low("Tern Slim Light", "Tern Slim")),
        ("told", font("Tern Told", true)),
        ("silent", font("Tern Silent", false)),
        ("z-twin", low("Tern Told", "Tern Twin")),
    ] {
        std::fs::write(folder.path().join(format!("{name}.ttf")), file).unwrap();
    }
    let plain = ["-m", "plain-hpgl", "--blade-offset", "0mm", "--overcut", "0mm"];
    let all = [&["check", "d.svg", "--json", "--font-dir", "."], &plain[..], options].concat();
    let output = run(folder.path(), &all);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(matches!(output.status.code(), Some(0 | 1)), "{said}");
    let report: Value = serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{said}"));
    (report["findings"].as_array().unwrap().clone(), report["sheet_mm"].clone())
}

fn told(findings: &[Value], code: &str) -> Vec<String> {
    let of_code = findings.iter().filter(|finding| finding["code"] == code);
    of_code.map(|finding| finding["text"].as_str().unwrap().to_owned()).collect()
}

/// Millimetres that a letter of so many units is high in a size of `size` mm.
fn high(units: i16, size: f64) -> f64 {
    f64::from(units) / f64::from(EM) * size
}

#[test]
fn letters_are_measured_where_they_stand() {
    for family in ["Tern Told", "Tern Silent"] {
        for (transform, factor) in [
            ("", 1.0),
            ("scale(1,.5)", 0.5),
            ("rotate(30)", 1.0),
            ("skewX(40)", 1.0),
            ("scale(3)", 3.0),
        ] {
            let text = format!(
                "<text x='5' y='10' font-family='{family}' font-size='4' transform='{transform}'>Hx</text>"
            );
            let (findings, _) = checked(&text, &["--material", "magnetic"]);
            let low = told(&findings, "letters-low");
            let wanted = format!(
                "has small letters {:.1} mm and capitals {:.1} mm high; below 12 mm",
                high(SMALL, 4.0) * factor,
                high(CAPITAL, 4.0) * factor
            );
            assert!(low.len() == 1 && low[0].contains(&wanted), "{wanted}: {low:?}");
        }
    }
}

#[test]
fn the_size_on_the_sheet_counts_and_the_place_is_told() {
    let text =
        "<g id='Sign'><text x='5' y='30' font-family='Tern Told' font-size='10'>H</text></g>";
    // 7 mm high: the material's 5 mm are reached as drawn, and not at half the size.
    let (findings, size) = checked(text, &[]);
    assert_eq!(told(&findings, "letters-low"), [""; 0]);
    assert!((size[1].as_f64().unwrap() - high(CAPITAL, 10.0)).abs() < 0.06, "{size}");
    let (findings, _) = checked(text, &["--scale", "0.5"]);
    let low = findings.iter().find(|finding| finding["code"] == "letters-low").unwrap();
    assert_eq!((&low["row"], &low["column"]), (&2.into(), &14.into()));
    assert!(low["text"].as_str().unwrap().contains("capitals 3.5 mm high"), "{low}");
    assert_eq!(low["hint"], "It would have to be 1.5 times as large.");
    // What is drawn with a pen, left out, or cut from another material is not weeded at 5 mm.
    for options in
        [["--as", "Sign=draw"], ["--material", "pen"], ["--layer-material", "Sign=vinyl-cast"]]
    {
        let (findings, _) = checked(text, &[&options[..], &["--scale", "0.6"]].concat());
        assert_eq!(told(&findings, "letters-low"), [""; 0], "{options:?}");
    }
    let film = ["--sheets", "colour", "--layer-material", "#000000=vinyl-cast", "--scale", "0.6"];
    assert_eq!(told(&checked(text, &film).0, "letters-low"), [""; 0]);
}

#[test]
fn a_face_that_the_font_lacks_is_told() {
    let text = |style: &str| {
        format!(
            "<text x='5' y='30' font-family='Tern Told' font-size='20' style='{style}'>Hx</text>"
        )
    };
    for (style, lacks) in [
        ("font-weight:bold", "bold"),
        ("font-style:italic", "slanted"),
        ("font-variant:small-caps", "small-capital"),
    ] {
        let said = told(&checked(&text(style), &[]).0, "font-face-missing");
        assert!(
            said.len() == 1 && said[0].contains(&format!("asks for {lacks} letters")),
            "{said:?}"
        );
    }
    assert_eq!(told(&checked(&text(""), &[]).0, "font-face-missing"), [""; 0]);
}

#[test]
fn what_is_asked_of_a_text_and_not_followed_is_told_once() {
    let text = |style: &str, more: &str| {
        let text =
            format!("<text x='50' y='30' font-family='Tern Told' font-size='20' {more}>H x</text>");
        format!("<g style=\"{style}\">{text}{text}</g>")
    };
    for (style, says) in [
        ("text-transform: uppercase", "cut as they are typed"),
        ("direction: rtl; text-anchor: start", "from left to right from its anchor on"),
        ("unicode-bidi: bidi-override", "keep their own direction"),
        ("font-variant-caps: all-small-caps", "the font's usual letters"),
        ("font-feature-settings: 'ss01'", "the font's usual letters"),
        ("text-decoration: underline wavy", "cut plain"),
        ("text-decoration-line: underline", "no line is cut"),
        ("inline-size: 30px", "not wrapped"),
    ] {
        let (findings, _) = checked(&text(style, ""), &[]);
        let said = told(&findings, "text-property-ignored");
        assert!(said.len() == 1 && said[0].contains(says), "{style}: {said:?}");
        let finding = findings.iter().find(|f| f["code"] == "text-property-ignored").unwrap();
        assert_eq!((&finding["row"], &finding["column"]), (&2.into(), &1.into()));
    }
    for style in [
        "direction: ltr; text-transform: none; font-variant: normal; white-space: pre",
        "text-decoration: underline; text-decoration-line: underline",
        "fill: red",
    ] {
        let said = told(&checked(&text(style, ""), &[]).0, "text-property-ignored");
        assert_eq!(said, [""; 0], "{style}");
    }
    // By the font's measures, where viewers take others.
    for (style, says) in [
        ("text-decoration: underline", "as thick and where the font tells"),
        ("baseline-shift: super", "as far as the font tells"),
    ] {
        let said = told(&checked(&text(style, ""), &[]).0, "text-by-font");
        assert!(said.len() == 1 && said[0].contains(says), "{style}: {said:?}");
    }
    // Where there is no text, nothing is lost.
    let (findings, _) = checked("<g style='direction: rtl'><rect width='9' height='9'/></g>", &[]);
    assert_eq!(told(&findings, "text-property-ignored"), [""; 0]);
}

/// SVG 2, 11.5: `underline` below the baseline; CSS Inline 3: `sub` and `super` move the baseline. These are
/// followed: the line under the word is there, the raised letter higher.
#[test]
fn underline_and_shifted_baselines_are_cut() {
    let size = |inner: &str, style: &str| {
        let text = format!(
            "<text x='5' y='30' font-family='Tern Told' font-size='20' style='{style}'>{inner}</text>"
        );
        checked(&text, &[]).1[1].as_f64().unwrap()
    };
    let plain = size("HH", "");
    assert!((plain - high(CAPITAL, 20.0)).abs() < 0.06, "{plain}");
    assert!(size("HH", "text-decoration: underline") > plain + 0.5);
    for (shift, by) in [("super", RAISED), ("sub", LOWERED)] {
        let raised = size(&format!("H<tspan baseline-shift='{shift}'>H</tspan>"), "");
        assert!((raised - plain - high(by, 20.0)).abs() < 0.06, "{shift}: {raised}");
    }
    // Of a whole text, which a browser follows (CSS Inline 3: text content elements), it is told.
    for (of, shift, count) in [
        ("text", "3", 1),
        ("text", "super", 1),
        ("text", "baseline", 0),
        ("text", "0", 0),
        ("g", "3", 0),
        ("tspan", "3", 0),
    ] {
        let given = |tag: &str| match tag == of {
            true => format!("<{tag} baseline-shift='{shift}'"),
            false => format!("<{tag}"),
        };
        let (g, set, part) = (given("g"), given("text"), given("tspan"));
        let text = format!(
            "{g}>{set} x='5' y='30' font-family='Tern Told' font-size='20'>H{part}>H</tspan></text></g>"
        );
        let (findings, _) = checked(&text, &[]);
        let ignored = told(&findings, "text-property-ignored").len();
        assert_eq!((ignored, told(&findings, "text-by-font").len()), (count, 0), "{of} {shift}");
    }
}

/// SVG 2, 11.5, `textLength`: the sum of the advances becomes that long, be it set in one piece; where it is
/// set in several, it keeps the length of its letters (0.6 em each here), and that is told.
#[test]
fn a_length_is_followed_or_told() {
    let set = |more: &str, inner: &str| {
        let text =
            format!("<text y='30' font-family='Tern Told' font-size='10' {more}>{inner}</text>");
        let (findings, size) = checked(&text, &[]);
        (told(&findings, "text-length-ignored").len(), size[0].as_f64().unwrap())
    };
    // Letters are 4 mm wide in 6 mm of room, 1 mm on the left and on the right.
    let inked = |length: f64| length - 2.0;
    for (more, inner, ignored, wide) in [
        ("x='5' textLength='40'", "HHHH", 0, inked(40.0)),
        ("x='5' textLength='20' lengthAdjust='spacing'", "HHHH", 0, inked(20.0)),
        ("x='5'", "<tspan textLength='40'>HHHH</tspan>", 0, inked(40.0)),
        ("x=' 5 ' textLength='40'", "<title>Sign</title>HHHH", 0, inked(40.0)),
        ("x='5' textLength='40'", "HH<!-- two more -->HH", 1, inked(24.0)),
        ("x='5' textLength='40'", "H<tspan font-weight='400'>H</tspan>HH", 1, inked(24.0)),
        ("x='5' textLength='40'", "<tspan>HHHH</tspan>", 1, inked(24.0)),
        ("x='5 30' textLength='40'", "HH", 1, 25.0 + inked(6.0)),
    ] {
        let (said, width) = set(more, inner);
        assert!(said == ignored && (width - wide).abs() < 0.06, "{more} {inner}: {said} {width}");
    }
}

/// SVG 2, 11.5: gaps count into the length of a text. A browser (Chromium) counts them, the SVG library does not.
#[test]
fn a_length_beside_gaps_is_told() {
    for (gaps, count) in [
        ("letter-spacing='2'", 1),
        ("style='letter-spacing:2px'", 1),
        ("letter-spacing='0'", 0),
        ("dx='0 2'", 1),
        ("dx='2'", 0),
    ] {
        let text = format!(
            "<text x='5' y='30' font-family='Tern Told' font-size='10' textLength='40' {gaps}>HHHH</text>"
        );
        let (findings, _) = checked(&text, &[]);
        assert_eq!(told(&findings, "text-spacing").len(), count, "{gaps}");
        if !gaps.starts_with("dx") {
            // CSS Text 3, 8.2: gaps are inherited.
            let (findings, _) = checked(&format!("<g {gaps}>{}</g>", text.replace(gaps, "")), &[]);
            assert_eq!(told(&findings, "text-spacing").len(), count, "{gaps} around");
        }
    }
}

/// OpenType 1.9, table name: ID 1 is a family of at most four faces, ID 16 the whole one, ID 4 a face's
/// full name. Drawings hold any of them.
#[test]
fn a_font_is_found_by_each_of_its_names() {
    for (family, height) in [
        ("Tern Slim", SMALL),
        ("tern slim light", SMALL),
        ("Tern Slim Regular", SMALL),
        ("Tern Twin", SMALL),
        ("Tern Twin Regular", SMALL),
        // Also what an older program calls the twin, but a family all the same.
        ("Tern Told", CAPITAL),
    ] {
        let text =
            format!("<text x='5' y='30' font-family='{family}, serif' font-size='20'>H</text>");
        let (findings, size) = checked(&text, &[]);
        let lost: Vec<_> = findings.iter().filter(|f| f["code"] != "letters-low").collect();
        assert!(
            lost.iter().all(|f| !f["code"].as_str().unwrap().starts_with("font")),
            "{family}: {lost:?}"
        );
        let high = high(height, 20.0);
        assert!((size[1].as_f64().unwrap() - high).abs() < 0.06, "{family}: {size}");
    }
}

/// What a font lacks comes from another; the SVG library then sets all of the text in that, if it can.
#[test]
fn a_text_that_is_set_in_another_font_is_told_whole_with_its_place() {
    let said = |text: &str| {
        let (findings, _) = checked(
            &format!("<text x='5' y='30' font-family='Tern Slim' font-size='20'>{text}</text>"),
            &[],
        );
        let told = findings.iter().filter(|f| f["code"] == "glyph-substituted");
        let place = |f: &Value| (f["row"].clone(), f["column"].clone());
        told.map(|f| (f["text"].as_str().unwrap().to_owned(), place(f))).collect::<Vec<_>>()
    };
    assert_eq!(said("HH"), []);
    for (text, wanted) in [
        (
            "HxH",
            "the font asked for lacks \u{201c}x\u{201d}, so all of \u{201c}HxH\u{201d} is set in",
        ),
        ("x", "the font asked for lacks \u{201c}x\u{201d}, taken from"),
    ] {
        let all = said(text);
        assert_eq!(all.len(), 1, "{all:?}");
        assert!(all[0].0.starts_with(wanted), "{all:?}");
        assert_eq!(all[0].1, (2.into(), 1.into()), "{all:?}");
    }
}
