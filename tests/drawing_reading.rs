//! Reading drawings: what is taken over, what is told, and what is refused, at library level.
//!
//! Outside referees: SVG 2 (W3C Candidate Recommendation 2018) for what is visible, CSS for units
//! (96 px to the inch), resvg's renderer for what the eye sees (`tests/drawings/SOURCES.md` names
//! the origin of every drawing).

use std::io::Write;
use std::time::{Duration, Instant};

use bladewright::drawing::limits::{MAX_NESTING, MAX_TEXT_BYTES, MAX_TEXT_CHARS};
use bladewright::drawing::{ClipKind, Drawing, PaintSource, ReadError, ReadSettings, Shape, read};
use bladewright::finding::{Finding, Place, Severity};
use kurbo::{ParamCurve, Point, Shape as _};

/// A page of 100 x 100 mm in millimetres around some elements. They begin in row 2.
fn page(content: &str) -> String {
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' \
         width='100mm' height='100mm' viewBox='0 0 100 100'>\n{content}\n</svg>"
    )
}

/// Without the machine's fonts, so that results are the same everywhere.
fn settings() -> ReadSettings {
    ReadSettings { system_fonts: false, ..ReadSettings::default() }
}

fn take(svg: &str) -> (Drawing, Vec<Finding>) {
    read(svg.as_bytes(), &settings()).unwrap_or_else(|e| panic!("{e}: {svg}"))
}

/// The time is a guard against hanging, not a measure: busy machines are slow.
fn refuse(bytes: &[u8]) -> ReadError {
    let start = Instant::now();
    let error = read(bytes, &settings()).expect_err("this must be refused");
    assert!(start.elapsed() < Duration::from_secs(120), "{error} took {:?}", start.elapsed());
    let sentence = error.to_string();
    assert!(sentence.len() > 15 && !sentence.contains("nvalid"), "{sentence}");
    error
}

fn told(findings: &[Finding], code: &str) -> Finding {
    findings.iter().find(|f| f.code == code).cloned().unwrap_or_else(|| {
        panic!("{code} is not among {:?}", findings.iter().map(|f| f.code).collect::<Vec<_>>())
    })
}

fn codes(content: &str) -> Vec<&'static str> {
    take(&page(content)).1.iter().map(|f| f.code).collect()
}

fn page_box(shape: &Shape) -> kurbo::Rect {
    (shape.to_page * shape.path.clone()).bounding_box()
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-4
}

// ---------------------------------------------------------------------------------------------
// Refused as a whole

#[test]
fn what_is_no_drawing_is_refused_with_a_sentence_and_a_place() {
    assert_eq!(refuse(b""), ReadError::Empty);
    assert_eq!(refuse(b"\n\n  "), ReadError::Empty);
    assert!(matches!(refuse(b"IN;SP1;PU0,0;"), ReadError::OtherFormat(_)));
    assert!(matches!(refuse(b"just words"), ReadError::OtherFormat(_)));
    assert_eq!(refuse(b"<html><svg/></html>").code(), "drawing-not-svg");
    assert_eq!(refuse(b"<svg>\n <g>\n</svg>").place(), Place::text(3, 1));
    assert_eq!(refuse(b"<svg>\n  <g a=1/></svg>").place().row, Some(2));
    assert_eq!(refuse(b"<svg").code(), "drawing-xml");
    assert_eq!(refuse("<svg><g/>".as_bytes()).code(), "drawing-xml");
    assert_eq!(refuse(b"<svg>&bad;</svg>").place(), Place::text(1, 6));
    assert_eq!(refuse(b"\xff\xfe<\0\x00\xd8/\0>\0").code(), "drawing-encoding");
    assert_eq!(refuse(b"\xff\xfe\0\0<\0\0\0").code(), "drawing-encoding");
    assert_eq!(refuse(b"<svg>\xe4</svg>").code(), "drawing-encoding");
}

#[test]
fn a_page_without_size_is_refused() {
    let svg = |w: &str| {
        format!("<svg xmlns='http://www.w3.org/2000/svg' {w}><path d='M0 0h5v5z'/></svg>")
    };
    assert_eq!(refuse(svg("width='0' height='10'").as_bytes()).code(), "page-size");
    assert_eq!(refuse(svg("width='-5mm' height='10mm'").as_bytes()).code(), "page-size");
    for beyond in ["1e-40", "1e-40mm", "1e300", "1e12in"] {
        let text = svg(&format!("width='{beyond}' height='10mm'"));
        assert_eq!(refuse(text.as_bytes()).code(), "page-size", "{beyond}");
    }
    assert_eq!(refuse(svg("viewBox='0 0 1e-40 5'").as_bytes()).code(), "page-size");
    assert!(read(svg("width='NaN' height='10mm'").as_bytes(), &settings()).is_ok());
}

#[test]
fn bombs_are_refused_in_time() {
    // Entities ten to the ninth.
    let mut entities = String::from("<!DOCTYPE svg [<!ENTITY a0 'aaaaaaaaaa'>");
    for i in 1..10 {
        let refs = format!("&a{};", i - 1).repeat(10);
        entities.push_str(&format!("<!ENTITY a{i} '{refs}'>"));
    }
    entities.push_str("]><svg xmlns='http://www.w3.org/2000/svg'><text>&a9;</text></svg>");
    assert_eq!(refuse(entities.as_bytes()).code(), "drawing-xml");
    // Clones of clones: ten to the tenth.
    let mut clones = String::from("<g id='g0'><path d='M0 0h1v1z'/></g>");
    for i in 1..=10 {
        let uses = format!("<use href='#g{}'/>", i - 1).repeat(10);
        clones.push_str(&format!("<g id='g{i}'>{uses}</g>"));
    }
    assert_eq!(refuse(page(&clones).as_bytes()).code(), "drawing-too-many-elements");
    // Markers on markers, masks on masks, patterns in patterns.
    for (open, close, refers) in [
        ("<marker id='@'>", "</marker>", "marker-mid"),
        ("<mask id='@'>", "</mask>", "mask"),
        ("<pattern id='@' width='1' height='1'>", "</pattern>", "fill"),
        ("<clipPath id='@'>", "</clipPath>", "clip-path"),
    ] {
        let mut bomb = String::new();
        for i in 0..12 {
            let next = i + 1;
            let path = format!("<path d='M0 0h1v1h1v1h1v1z' {refers}='url(#m{next})'/>").repeat(10);
            bomb.push_str(&open.replace('@', &format!("m{i}")));
            bomb.push_str(&path);
            bomb.push_str(close);
        }
        bomb.push_str(&format!("<path d='M0 0h9v9z' {refers}='url(#m0)'/>"));
        assert_eq!(refuse(page(&bomb).as_bytes()).code(), "drawing-too-many-elements", "{refers}");
    }
}

#[test]
fn deep_nesting_and_long_chains_do_not_end_the_program() {
    let nested =
        |n: usize| page(&format!("{}<path d='M0 0h5v5z'/>{}", "<g>".repeat(n), "</g>".repeat(n)));
    assert_eq!(take(&nested(MAX_NESTING - 2)).0.shapes.len(), 1);
    assert_eq!(refuse(nested(MAX_NESTING + 1).as_bytes()).place().row, Some(2));
    assert_eq!(refuse(nested(1_000_000).as_bytes()).code(), "drawing-too-deep");
    // Depth that only entities make.
    let opens = "<g>".repeat(MAX_NESTING / 2);
    let shuts = "</g>".repeat(MAX_NESTING / 2);
    let entities = format!(
        "<!DOCTYPE svg [<!ENTITY a '{opens}<path/>{shuts}'><!ENTITY b '{opens}&a;{shuts}'>\
         <!ENTITY c '{opens}&b;{shuts}'>]><svg xmlns='http://www.w3.org/2000/svg'>&c;</svg>"
    );
    refuse(entities.as_bytes());
    let chain: String = (0..5_000)
        .map(|i| {
            format!(
                "<clipPath id='c{i}' clip-path='url(#c{})'><path d='M0 0h9v9z'/></clipPath>",
                i + 1
            )
        })
        .collect();
    let chained = page(&(chain + "<path d='M0 0h9v9z' clip-path='url(#c0)'/>"));
    assert_eq!(refuse(chained.as_bytes()).code(), "drawing-too-deep");
    let texts = page(&format!("<text>{}x{}</text>", "<tspan>".repeat(300), "</tspan>".repeat(300)));
    read(texts.as_bytes(), &settings()).unwrap();
}

#[test]
fn floods_of_points_attributes_and_style_rules_are_refused_in_time() {
    let points = page(&format!("<path d='M0 0{}'/>", "h1v1".repeat(5_000_000)));
    assert_eq!(refuse(points.as_bytes()).code(), "drawing-too-many-elements");
    let cloned = page(&format!(
        "<defs><path id='p' d='M0 0{}'/></defs>{}",
        "h1v1".repeat(100_000),
        "<use href='#p'/>".repeat(1_000)
    ));
    assert_eq!(refuse(cloned.as_bytes()).code(), "drawing-too-many-elements");
    let attributes: String = (0..50_000).map(|i| format!(" a{i}='1'")).collect();
    assert_eq!(refuse(page(&format!("<g{attributes}/>")).as_bytes()).place().row, Some(2));
    let rules = "g path{fill:red} ".repeat(20_000);
    let styled = page(&format!("<style>{rules}</style>{}", "<path/>".repeat(20_000)));
    assert_eq!(refuse(styled.as_bytes()).code(), "drawing-too-many-styles");
    // A text that would have to be searched again and again for an unused id.
    let ids = page(&format!("<desc>{}-</desc><path d='M0 0h5v5z'/>", "e".repeat(1_000_000)));
    assert_eq!(take(&ids).0.shapes.len(), 1);
}

#[test]
fn compressed_drawings_are_read_and_compressed_bombs_refused() {
    let pack = |data: &[u8]| {
        let mut e = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        e.write_all(data).unwrap();
        e.finish().unwrap()
    };
    let svg = page("<path d='M0 0h5v5z'/>");
    let (drawing, _) = read(&pack(svg.as_bytes()), &settings()).unwrap();
    assert_eq!(drawing.shapes.len(), 1);
    assert_eq!(refuse(&pack(&vec![b' '; MAX_TEXT_BYTES + 1])), ReadError::TooLarge);
    assert_eq!(refuse(&pack(svg.as_bytes())[..40]), ReadError::Gzip);
}

// ---------------------------------------------------------------------------------------------
// Left out in part, and told

#[test]
fn numbers_beyond_all_bounds_are_told_with_their_place() {
    for bad in [
        "<path d='M0 0L1e308 1e308L5 0z'/>",
        "<path d='M0 0l1e308 0l1e308 0z'/>",
        "<circle r='1e300'/>",
        "<polygon points='0 0 1e200 0 5 5'/>",
        "<rect width='1e39' height='5'/>",
        "<g transform='translate(1e9 0)'><rect width='5' height='5'/></g>",
    ] {
        let (drawing, findings) = take(&page(bad));
        let finding = told(&findings, "coordinate-out-of-range");
        assert_eq!((finding.severity, finding.place.row), (Severity::Error, Some(2)), "{bad}");
        assert!(drawing.shapes.is_empty(), "{bad}");
    }
    for bad in [
        "<rect width='NaN' height='5'/>",
        "<g transform='scale(1e308)'><rect width='5' height='5'/></g>",
        "<g transform='scale(NaN)'><path d='M0 0L9 9' stroke='red' stroke-miterlimit='1e99'/></g>",
        "<g transform='matrix(1e200 0 0 1e200 1e300 0)'><circle r='5'/></g>",
        "<svg viewBox='0 0 1e308 1e308'><circle r='5'/></svg>",
        "<svg viewBox='NaN 0 5 5'><circle r='5'/></svg>",
        "<path d='M0 0h9' stroke='red' stroke-width='1e38' stroke-dasharray='1e-300'/>",
        "<path d='M0 0h9' stroke='red' stroke-dasharray='1e308 NaN'/>",
        "<path d='M0 0h9v9' stroke='red' stroke-miterlimit='NaN' opacity='NaN'/>",
        "<path d='M NaN NaN'/>",
    ] {
        let result = read(page(bad).as_bytes(), &settings());
        let Ok((drawing, _)) = result else { continue };
        for shape in &drawing.shapes {
            let b = page_box(shape);
            assert!(b.x0.is_finite() && b.y1.is_finite(), "{bad}");
        }
    }
}

#[test]
fn everything_that_is_not_cut_is_told_with_row_and_column() {
    let cases = [
        ("layer-hidden", "<g display='none'><title>Sketch</title><path d='M0 0h5v5z'/></g>"),
        ("layer-hidden", "<g style='display:none' id='a'><path d='M0 0h5v5z'/></g>"),
        ("hidden", "<g><path style='display:none' d='M0 0h5v5z'/></g>"),
        ("invisible", "<path visibility='hidden' d='M0 0h5v5z'/>"),
        ("transparent", "<path opacity='0' d='M0 0h5v5z'/>"),
        ("transparent", "<path fill-opacity='0' d='M0 0h5v5z'/>"),
        ("nothing-painted", "<path fill='none' d='M0 0h5v5z'/>"),
        ("no-area", "<line x1='1' y1='1' x2='50' y2='9'/>"),
        ("no-area", "<path d='M1 1L50 9'/>"),
        ("image-not-cut", "<image href='photo.jpg' width='9' height='9'/>"),
        ("image-not-cut", "<image xlink:href='data:image/png;base64,AAAA' width='9' height='9'/>"),
        ("clip-missing", "<path clip-path='url(#gone)' d='M0 0h5v5z'/>"),
        ("mask-missing", "<path mask='url(#gone)' d='M0 0h5v5z'/>"),
        ("filter-missing", "<path filter='url(#gone)' d='M0 0h5v5z'/>"),
        ("marker-missing", "<path marker-end='url(#gone)' d='M0 0h5v5z'/>"),
        ("paint-missing", "<path fill='url(#gone)' d='M0 0h5v5z'/>"),
        (
            "coordinate-out-of-range",
            "<image width='5099999999' height='5' href='data:image/svg+xml,x'/>",
        ),
        ("far-from-origin", "<g transform='translate(-5000000 0)'><path d='M5000000 0h5v5z'/></g>"),
        ("link-missing", "<use href='#gone'/>"),
        ("link-outside", "<use href='other.svg#part'/>"),
        ("path-broken", "<path d='M0 0L5 5Lx'/>"),
        ("points-broken", "<polygon points='0,0 5,5 9'/>"),
        ("points-broken", "<polygon points='0,0 5,5 9,0 then'/>"),
        ("attribute-unreadable", "<rect width='wide' height='5'/>"),
        ("foreign-content", "<foreignObject width='5' height='5'/>"),
        ("element-unknown", "<flowRoot>words</flowRoot>"),
        ("script", "<script>go()</script>"),
        ("animation", "<path d='M0 0h5v5z'><animate attributeName='d'/></path>"),
        ("filter-ignored", "<filter id='f'/><path filter='url(#f)' d='M0 0h5v5z'/>"),
        ("filter-ignored", "<path style='filter:blur(2px)' d='M0 0h5v5z'/>"),
        (
            "mask-as-region",
            "<mask id='m'><path d='M0 0h9v9z'/></mask><path mask='url(#m)' d='M0 0h5v5z'/>",
        ),
        (
            "gradient-solid",
            "<linearGradient id='l'><stop/><stop offset='1'/></linearGradient><path fill='url(#l)' d='M0 0h5v5z'/>",
        ),
        ("gradient-empty", "<radialGradient id='l'/><path fill='url(#l) red' d='M0 0h5v5z'/>"),
        ("join-miter-clip", "<path stroke='red' stroke-linejoin='miter-clip' d='M0 0h5v5z'/>"),
        ("join-arcs", "<path stroke='red' stroke-linejoin='arcs' d='M0 0h5v5z'/>"),
        ("vector-effect-ignored", "<path vector-effect='fixed-position' d='M0 0h5v5z'/>"),
        ("blending-ignored", "<path style='mix-blend-mode:multiply' d='M0 0h5v5z'/>"),
        ("number-too-large", "<path d='M0 0h5v5z' stroke='red' stroke-miterlimit='1e300'/>"),
        ("not-drawn", "<g transform='scale(0)'><path d='M0 0h5v5z'/></g>"),
        ("not-drawn", "<clipPath id='c'/><path clip-path='url(#c)' d='M0 0h5v5z'/>"),
        ("font-missing", "<text x='5' y='50' font-family='Gull'>Tern Lane</text>"),
        ("unit-ex", "<rect width='9ex' height='9'/>"),
        (
            "mask-linear",
            "<mask id='m' color-interpolation='linearRGB'><path d='M0 0h9v9z'/></mask>\
             <path mask='url(#m)' d='M0 0h5v5z'/>",
        ),
        ("style-geometry", "<rect style='width:9px;height:9px'/>"),
        ("clip-ignored", "<path style='clip-path:circle(4px)' d='M0 0h5v5z'/>"),
        ("style-rule-ignored", "<style>@import url(a.css);</style>"),
        ("style-rule-ignored", "<style>path:nth-child(2){fill:none}</style>"),
        ("text-too-long", &format!("<text>{}</text>", "a".repeat(MAX_TEXT_CHARS + 1))),
    ];
    for (code, content) in cases {
        let (_, findings) = take(&page(content));
        let finding = told(&findings, code);
        assert_eq!(finding.place.row, Some(2), "{code}: {finding}");
        assert!(finding.place.column.is_some_and(|c| c >= 1), "{code}");
        assert!(finding.text.ends_with('.') && !finding.text.contains("nvalid"), "{finding}");
    }
}

/// SVG 2, chapter Basic Shapes: half a point at the end is dropped; a value that is no list of
/// numbers counts as not given, and such a shape is not drawn.
#[test]
fn points_that_break_off_are_drawn_as_the_standard_says() {
    for (points, shapes) in [("0,0 50,50 90,0", 1), ("0,0 50,50 90,0 5", 1), ("0,0 50,50 9,x", 0)] {
        let (drawing, _) = take(&page(&format!("<polygon points='{points}'/>")));
        assert_eq!(drawing.shapes.len(), shapes, "{points}");
    }
}

/// SVG 2, chapter Paint Servers: a gradient without stops paints as if `none` were given; the
/// fallback colour is only for paints that do not exist.
#[test]
fn a_gradient_without_colours_paints_nothing() {
    for (stops, shapes) in [("", 0), ("<stop stop-color='red'/>", 1)] {
        let content = format!(
            "<linearGradient id='a' href='#b'/><linearGradient id='b'>{stops}</linearGradient>\
             <path fill='url(#a) green' d='M0 0h5v5z'/>"
        );
        let (drawing, _) = take(&page(&content));
        let painted = drawing.shapes.iter().filter(|s| s.fill.is_some_and(|f| f.paint.alpha > 0.0));
        assert_eq!(painted.count(), shapes, "{stops}");
    }
}

#[test]
fn texts_are_bounded_one_by_one_and_together() {
    let text = format!("<text>{}</text>", "a".repeat(MAX_TEXT_CHARS));
    let (_, findings) = take(&page(&text.repeat(6)));
    let long: Vec<_> = findings.iter().filter(|f| f.code == "text-too-long").collect();
    assert_eq!(long.len(), 1, "{long:?}");
}

#[test]
fn clean_drawings_have_nothing_to_tell() {
    let clean = "<g id='a'><title>Wheel</title><circle cx='50' cy='50' r='20' fill='none' stroke='#000'/>\
                 <path d='M5 5A9 9 0 0 1 20 20Z'/></g>\
                 <path d='M0 0h100v100h-100z' fill='none' stroke='none'/>";
    assert_eq!(codes(clean), Vec::<&str>::new());
}

#[test]
fn a_flood_of_findings_is_counted() {
    let content = "<use href='#gone'/>".repeat(500);
    let (_, findings) = take(&page(&content));
    assert!(findings.len() < 30, "{}", findings.len());
    assert!(findings.iter().any(|f| f.text.contains("480 more")));
}

// ---------------------------------------------------------------------------------------------
// Size, layers, visibility

#[test]
fn the_page_has_its_physical_size() {
    let svg = |attributes: &str| {
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' {attributes}><path d='M0 0h50v25z'/></svg>"
        )
    };
    // CSS Values 4: 1in = 96px = 2.54cm = 72pt = 6pc, 1Q = 1/40 cm.
    let known = [
        ("width='100mm' height='50mm'", (100.0, 50.0)),
        ("width='10cm' height='5cm'", (100.0, 50.0)),
        ("width='1in' height='72pt'", (25.4, 25.4)),
        ("width='96px' height='6pc'", (25.4, 25.4)),
        ("width='400Q' height=' 50 mm '", (100.0, 50.0)),
        ("width='100mm' viewBox='0 0 2 1'", (100.0, 50.0)),
        ("style='width:100mm;height:50mm' viewBox='0 0 2 1'", (100.0, 50.0)),
    ];
    for (attributes, size) in known {
        let (drawing, findings) = take(&svg(attributes));
        assert!(drawing.page_known, "{attributes}");
        assert!(
            close(drawing.page_mm.0, size.0) && close(drawing.page_mm.1, size.1),
            "{attributes}: {:?}",
            drawing.page_mm
        );
        assert!(!findings.iter().any(|f| f.code == "page-size-assumed"));
    }
    let assumed = [
        ("width='96' height='48'", (25.4, 12.7)),
        ("viewBox='0 0 96 48'", (25.4, 12.7)),
        ("width='100%' height='100%' viewBox='0 0 96 48'", (25.4, 12.7)),
        ("", (50.0 * 25.4 / 96.0, 25.0 * 25.4 / 96.0)),
    ];
    for (attributes, size) in assumed {
        let (drawing, findings) = take(&svg(attributes));
        assert!(!drawing.page_known, "{attributes}");
        assert!(
            close(drawing.page_mm.0, size.0) && close(drawing.page_mm.1, size.1),
            "{attributes}: {:?}",
            drawing.page_mm
        );
        let text = told(&findings, "page-size-assumed").text;
        assert!(text.contains(&format!("{:.2} x {:.2} mm", size.0, size.1)), "{text}");
    }
}

#[test]
fn layers_are_the_top_level_groups_by_title_label_id() {
    let content = "<g id='a'><title> Frame\n decal </title><path d='M0 0h5v5z'/></g>\
        <path d='M0 0h5v5z'/>\
        <g id='b' xmlns:e='urn:editor' e:label='Wheel'><g><path d='M0 0h5v5z' id='deep'/></g></g>\
        <g display='none' id='h'><path d='M0 0h5v5z'/></g>\
        <g id='c' transform='scale(2)'><use href='#deep'/></g>\
        <g><rect width='5' height='5' opacity='.5'/></g>\
        <svg width='50' height='50'><circle r='5'/></svg>";
    let (drawing, _) = take(&page(content));
    let names: Vec<&str> = drawing.layers.iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names, ["Frame decal", "outside layers", "Wheel", "c", "layer 4"]);
    let of: Vec<&str> = drawing.shapes.iter().map(|s| names[s.layer]).collect();
    assert_eq!(of, ["Frame decal", "outside layers", "Wheel", "c", "layer 4", "outside layers"]);
    assert_eq!(drawing.layers[0].place, Place::text(2, 1));
    assert_eq!(drawing.shapes[2].id.as_deref(), Some("deep"));
}

#[test]
fn transforms_written_in_css_are_read() {
    let content = "<style>.a{transform: translate(10px, 0) rotate(90deg)}</style>\
        <path class='a' d='M0 0h5v3z'/><path style='transform:translate(20px,1px);fill:red' d='M0 0h5v3z'/>";
    let (drawing, findings) = take(&page(content));
    let first = page_box(&drawing.shapes[0]);
    assert!(close(first.x0, 7.0) && close(first.y1, 5.0), "{first:?}");
    assert!(close(page_box(&drawing.shapes[1]).x0, 20.0));
    assert!(findings.is_empty(), "{findings:?}");
}

#[test]
fn what_entities_stand_for_is_drawn_each_time() {
    let svg = "<!DOCTYPE svg [<!ENTITY star '<path d=\"M0 0A5 5 0 0 1 10 0z\"/>'>]>\
        <svg xmlns='http://www.w3.org/2000/svg' width='20mm' height='20mm'>&star;<g id='a'>&star;</g></svg>";
    let (drawing, findings) = take(svg);
    assert_eq!(drawing.shapes.len(), 2);
    assert_eq!(drawing.layers.len(), 2);
    assert!(findings.is_empty(), "{findings:?}");
}

#[test]
fn entities_that_hold_the_unusable_are_refused() {
    let svg = |part: &str| {
        format!(
            "<!DOCTYPE svg [<!ENTITY star '{part}'>]>\
             <svg xmlns='http://www.w3.org/2000/svg' width='20mm' height='20mm'>&star;</svg>"
        )
    };
    let arc = svg("<path d=\"M0 0A5 5 0 0 1 -1e38 0z\"/>");
    assert_eq!(refuse(arc.as_bytes()).code(), "drawing-entity");
    let text = svg(&format!("<text>{}</text>", "a".repeat(MAX_TEXT_CHARS + 1)));
    assert_eq!(refuse(text.as_bytes()).code(), "drawing-entity");
}

#[test]
fn lengths_in_units_of_css_are_understood() {
    // CSS Values 4: Q is a fortieth of a centimetre, vw a hundredth of the page's width, rem the
    // root's font size. The page is 200 x 100 px, one user unit a pixel.
    let svg = "<svg xmlns='http://www.w3.org/2000/svg' width='200' height='100' font-size='20'>\
        <rect width='40Q' height='1in'/><rect width='30vw' height='30vh'/>\
        <rect width='2rem' height='.5rem' font-size='7'/><rect width='10vmax' height='10vmin'/></svg>";
    let (drawing, _) = take(svg);
    let mm = 25.4 / 96.0;
    let sizes =
        [(10.0, 25.4), (60.0 * mm, 30.0 * mm), (40.0 * mm, 10.0 * mm), (20.0 * mm, 10.0 * mm)];
    for (shape, (width, height)) in drawing.shapes.iter().zip(sizes) {
        let b = page_box(shape);
        assert!(close(b.width(), width) && close(b.height(), height), "{b:?} {width} {height}");
    }
    assert_eq!(drawing.shapes.len(), 4);
}

#[test]
fn opacity_of_groups_goes_into_the_paint() {
    let content = "<g opacity='.5'><path opacity='.5' fill-opacity='.5' d='M0 0h5v5z'/></g>\
        <g opacity='0'><path d='M0 0h5v5z'/></g><path fill='rgba(1,2,3,0)' d='M0 0h5v5z'/>\
        <path d='M0 0h5v5z' fill='#102030' stroke='red' stroke-opacity='0'/>";
    let (drawing, _) = take(&page(content));
    assert_eq!(drawing.shapes.len(), 2);
    assert!((drawing.shapes[0].fill.unwrap().paint.alpha - 0.125).abs() < 1e-6);
    assert_eq!(drawing.shapes[1].fill.unwrap().paint.rgb, [0x10, 0x20, 0x30]);
    assert_eq!(drawing.shapes[1].stroke, None);
}

#[test]
fn classes_current_colour_and_switch_are_obeyed() {
    let content = "<style>.no{display:none} path{fill:currentColor}</style>\
        <g color='#0000ff'><path class='no' d='M0 0h5v5z'/><path d='M0 0h5v5z'/></g>\
        <switch><path systemLanguage='xx' d='M0 0h9v9z'/><path d='M0 0h7v7z'/><path d='M0 0h8v8z'/></switch>";
    let (drawing, _) = take(&page(content));
    assert_eq!(drawing.shapes.len(), 2);
    assert_eq!(drawing.shapes[0].fill.unwrap().paint.rgb, [0, 0, 255]);
    assert!(close(page_box(&drawing.shapes[1]).x1, 7.0));
}

// ---------------------------------------------------------------------------------------------
// Precision

/// Largest distance of a shape's outline from an ellipse on the page, mm.
fn off_ellipse(shape: &Shape, center: Point, radii: (f64, f64)) -> f64 {
    let path = shape.to_page * shape.path.clone();
    let mut worst = 0.0f64;
    for segment in path.segments() {
        for i in 0..=40 {
            let p = segment.eval(f64::from(i) / 40.0) - center;
            let (x, y) = (p.x / radii.0, p.y / radii.1);
            worst = worst.max((x.hypot(y) - 1.0).abs() * radii.0.max(radii.1));
        }
    }
    worst
}

#[test]
fn curves_of_circles_and_arcs_are_true_to_three_micrometres() {
    let square = |unit: &str, size: f64, view: f64, content: &str| {
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='{size}{unit}' height='{size}{unit}' \
             viewBox='0 0 {view} {view}'>{content}</svg>"
        )
    };
    let arc = "<path d='M9 5A4 4 0 1 1 1 5 4 4 0 1 1 9 5Z'/>";
    let cases = [
        // Page of 10 in, drawn in inches: a radius of 4 units is 101.6 mm.
        (square("in", 10.0, 10.0, "<circle cx='5' cy='5' r='4'/>"), (101.6, 101.6)),
        (square("in", 10.0, 10.0, arc), (101.6, 101.6)),
        (
            square(
                "in",
                10.0,
                10.0,
                "<g id='a'><use href='#b'/></g><defs><circle id='b' cx='5' cy='5' r='4'/></defs>",
            ),
            (101.6, 101.6),
        ),
        (
            square("in", 10.0, 10.0, "<rect x='1' y='1' width='8' height='8' rx='4'/>"),
            (101.6, 101.6),
        ),
        (
            square("in", 10.0, 10.0, "<rect x='10%' y='10%' width='80%' height='80%' rx='40%'/>"),
            (101.6, 101.6),
        ),
        (
            square(
                "in",
                10.0,
                10.0,
                "<style>circle{fill:red}</style><circle cx='50%' cy='5' r='4'/>",
            ),
            (101.6, 101.6),
        ),
        // 1 m page in millimetres.
        (square("mm", 1000.0, 1000.0, "<circle cx='500' cy='500' r='366'/>"), (366.0, 366.0)),
        (
            square("mm", 1000.0, 1000.0, "<ellipse cx='500' cy='500' rx='366' ry='120'/>"),
            (366.0, 120.0),
        ),
        // Stretched.
        (
            square(
                "cm",
                100.0,
                100.0,
                "<g transform='translate(50 50) scale(12 4) translate(-50 -50)'><circle cx='50' cy='50' r='4'/></g>",
            ),
            (480.0, 160.0),
        ),
    ];
    for (svg, radii) in cases {
        let (drawing, _) = take(&svg);
        let (w, h) = drawing.page_mm;
        let worst = off_ellipse(&drawing.shapes[0], Point::new(w / 2.0, h / 2.0), radii);
        assert!(worst < 0.003, "{worst} mm: {svg}");
    }
}

#[test]
fn nested_transforms_are_multiplied_in_double_precision() {
    // Three nested groups that cancel out; the point lies 25 m away.
    let content = "<g transform='scale(3)'><g transform='scale(.1)'><g transform='translate(0.7 0)'>\
        <path d='M10 10h20v20z'/></g></g></g>";
    let (drawing, _) = take(&page(content));
    let b = page_box(&drawing.shapes[0]);
    assert!((b.x0 - 0.3 * 10.7).abs() < 1e-6, "{}", b.x0);
}

// ---------------------------------------------------------------------------------------------
// Clips, masks, patterns, lines

#[test]
fn clip_paths_nest_and_keep_their_rules() {
    let content = "<clipPath id='a'><rect width='50' height='50'/></clipPath>\
        <clipPath id='b' clip-path='url(#a)'><path clip-rule='evenodd' d='M0 0h9v9h-9zM3 3h3v3h-3z'/></clipPath>\
        <g clip-path='url(#b)' transform='scale(2)'><path d='M0 0h5v5z'/><path d='M0 0h6v6z'/></g>";
    let (drawing, _) = take(&page(content));
    assert_eq!(drawing.shapes[0].clips, drawing.shapes[1].clips);
    let clip = &drawing.clips[drawing.shapes[0].clips[0]];
    assert_eq!(clip.kind, ClipKind::Painted);
    assert_eq!(clip.shapes[0].fill.unwrap().rule, bladewright::drawing::FillRule::EvenOdd);
    assert!(close(page_box(&clip.shapes[0]).x1, 18.0));
    assert!(clip.clips.iter().all(|c| *c < drawing.shapes[0].clips[0]));
    assert!(close(page_box(&drawing.clips[clip.clips[0]].shapes[0]).x1, 100.0));
}

#[test]
fn patterns_are_written_out_tile_by_tile() {
    let content = "<pattern id='p' width='10' height='10' patternUnits='userSpaceOnUse'>\
        <circle cx='5' cy='5' r='3' fill='#ff0000'/></pattern><rect width='40' height='30' fill='url(#p)'/>";
    let (drawing, _) = take(&page(content));
    assert_eq!(drawing.shapes.len(), 12);
    let last = page_box(&drawing.shapes[11]);
    assert!(close(last.x0, 32.0) && close(last.y0, 22.0), "{last:?}");
    // Each shows inside the painted rectangle; no tile clip is needed, as nothing sticks out.
    assert_eq!(drawing.shapes[11].clips.len(), 1);
    let fine = content.replace("width='10'", "width='.01'");
    let (drawing, findings) = take(&page(&fine));
    assert_eq!(drawing.shapes.len(), 1);
    assert_eq!(drawing.shapes[0].fill.unwrap().paint.source, PaintSource::Pattern);
    told(&findings, "pattern-solid");
}

#[test]
fn line_widths_that_do_not_scale_are_css_pixels() {
    let content = "<g transform='scale(4 1)'><path id='a' d='M1 1h9' stroke='red' stroke-width='2' \
        vector-effect='non-scaling-stroke'/></g><use href='#a' x='5'/>";
    let (drawing, _) = take(&page(content));
    for shape in &drawing.shapes {
        let scale = shape.to_page.determinant().abs().sqrt();
        let width = shape.stroke.as_ref().unwrap().width * scale;
        assert!(close(width, 2.0 * 25.4 / 96.0), "{width}");
    }
    assert!(close(page_box(&drawing.shapes[0]).x1, 40.0));
}

#[test]
fn dashes_count_in_the_length_that_the_author_gave() {
    let content = "<path d='M0 0h50' pathLength='100' stroke='red' stroke-dasharray='10'/>";
    let (drawing, _) = take(&page(content));
    let dashes = &drawing.shapes[0].stroke.as_ref().unwrap().dashes;
    assert!(close(dashes[0], 5.0) && dashes.len() == 2, "{dashes:?}");
}

#[test]
fn svg_pictures_inside_are_read_and_files_are_not() {
    let content = "<image x='10' y='10' width='20' height='20' href=\"data:image/svg+xml,\
        %3Csvg xmlns='http://www.w3.org/2000/svg' width='10' height='10'%3E\
        %3Ccircle cx='5' cy='5' r='4'/%3E%3C/svg%3E\"/>";
    let (drawing, findings) = take(&page(content));
    assert_eq!(drawing.shapes.len(), 1);
    assert!(close(page_box(&drawing.shapes[0]).x0, 12.0));
    assert!(findings.is_empty(), "{findings:?}");
}

// ---------------------------------------------------------------------------------------------
// Fonts

#[test]
fn without_fonts_texts_are_errors_that_name_the_text_and_the_font() {
    let (drawing, findings) = take(&page("<text y='9' font-family='Gull, serif'>Tern Lane</text>"));
    let finding = told(&findings, "font-missing");
    assert!(finding.text.contains("Tern Lane") && finding.text.contains("Gull"), "{finding}");
    assert!(finding.hint.contains("No font is installed at all"), "{finding}");
    assert_eq!(finding.severity, Severity::Error);
    assert!(drawing.shapes.is_empty());
}

/// Copies in a drawing often keep the id of what they were copied from. DOM, 4.2.4: an id stands for the first
/// element in tree order; CSS Selectors 4, 6.2: a rule for an id applies to every element that has it.
#[test]
fn elements_of_the_same_id_stay_in_their_own_layers() {
    let two = "<g id='tag'><title>A</title><path id='p' d='M0 0h5v5z'/></g>\n\
               <g id='tag'><title>B</title><path id='p' d='M9 0h5v5z'/></g><use href='#p' y='20'/>";
    let (drawing, findings) = take(&page(two));
    let layer = |shape: &Shape| drawing.layers[shape.layer].name.clone();
    let layers: Vec<_> = drawing.shapes.iter().map(layer).collect();
    assert_eq!(layers, ["A", "B", "outside layers"]);
    assert_eq!(drawing.shapes[1].place, Place::text(3, 29));
    assert_eq!(drawing.shapes[1].id.as_deref(), Some("p"));
    assert!(findings.is_empty(), "{findings:?}");
    assert!(close(page_box(&drawing.shapes[2]).x0, 0.0));
    let (drawing, _) = take(&page(&format!("<style>#p{{fill:red}}</style>{two}")));
    let red = |shape: &Shape| shape.fill.is_some_and(|fill| fill.paint.rgb == [255, 0, 0]);
    assert!(drawing.shapes.iter().all(red));
}

/// What helps one text helps all that ask for the same font, so they are told once.
#[test]
fn texts_without_their_font_are_told_once() {
    let text = "<text y='9' font-family='Gull, serif'>Tern Lane</text>";
    let (_, findings) = take(&page(&[text, text, text].concat()));
    assert_eq!(findings.len(), 1, "{findings:?}");
    assert!(findings[0].text.contains("“Tern Lane” (and 2 more texts)"), "{}", findings[0]);
    assert_eq!(findings[0].place, Place::text(2, 1));
}

/// Drawing programs keep dozens of hidden sketches, and give every shape a filter of its own.
#[test]
fn many_of_a_kind_are_counted() {
    let sketch = "<g display='none'><path d='M0 0h5v5z'/></g>";
    let (_, findings) = take(&page(&sketch.repeat(60)));
    assert_eq!(findings.len(), 6, "{findings:?}");
    assert!(findings.iter().any(|f| f.text.contains("55 more of this kind")), "{findings:?}");
    let shadow = |i| {
        format!("<filter id='f{i}'><feOffset/></filter><path filter='url(#f{i})' d='M0 0h5v5z'/>")
    };
    let (_, findings) = take(&page(&(0..40).map(shadow).collect::<String>()));
    assert_eq!(findings.len(), 1, "{findings:?}");
    assert!(findings[0].text.ends_with("(40 places)."), "{}", findings[0]);
}

// ---------------------------------------------------------------------------------------------
// Whatever comes

proptest::proptest! {
    #![proptest_config(proptest::test_runner::Config { cases: 150, ..Default::default() })]

    #[test]
    fn random_bytes_never_panic(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..400)) {
        let _ = read(&bytes, &settings());
    }

    #[test]
    fn damaged_drawings_never_panic(at in 0usize..4000, byte in 32u8..127, cut in 0usize..60) {
        let mut bytes = TORTURE.as_bytes().to_vec();
        let at = at % bytes.len();
        bytes[at] = byte;
        let end = (at + cut % 7).min(bytes.len());
        if cut > 30 {
            bytes.drain(at..end);
        }
        if let Err(ReadError::Internal(text)) = read(&bytes, &settings()) {
            panic!("{text}: {at} {byte} {cut}");
        }
    }
}

const TORTURE: &str = include_str!("drawings/torture.svg");

/// XML 1.0, 4.3.3 and appendix F; Encoding Standard, index windows-1252 (0xfc is ü). Places are those of the
/// decoded text.
#[test]
fn drawings_in_other_encodings_are_read() {
    let text = |encoding: &str| {
        format!(
            "<?xml version='1.0' encoding='{encoding}'?>\n<svg xmlns='http://www.w3.org/2000/svg' width='9mm' \
             height='9mm'>\n<g id='Räder für Türen'/><g id='tür'><path d='M0 0h9v9z'/></g><use href='#gone'/></svg>"
        )
    };
    let latin: Vec<u8> = text("ISO-8859-1").chars().map(|c| u8::try_from(c).unwrap()).collect();
    let utf16: Vec<u8> =
        format!("\u{feff}{}", text("UTF-16")).encode_utf16().flat_map(u16::to_be_bytes).collect();
    for bytes in [latin, utf16, text("UTF-8").into_bytes()] {
        let (drawing, findings) = read(&bytes, &ReadSettings::default()).unwrap();
        assert!(drawing.layers.iter().any(|layer| layer.name == "tür"), "{:?}", drawing.layers);
        let gone = findings.iter().find(|f| f.code == "link-missing").unwrap();
        assert_eq!(gone.place, Place::text(3, 63), "{gone:?}");
    }
}
