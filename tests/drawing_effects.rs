//! Effects, references and texts that the SVG library passes over or takes otherwise than the standards ask.
//!
//! Outside referees: SVG 2 (W3C Candidate Recommendation 2018) and CSS, chapters named beside each check;
//! a browser (Chromium) drew each of these drawings so.

use bladewright::drawing::{Drawing, ReadSettings, read};
use bladewright::finding::Finding;
use bladewright::ink::{InkSettings, visible};
use kurbo::Shape;

/// A page of 100 x 100 mm in millimetres around some elements.
fn take(content: &str) -> (Drawing, Vec<Finding>) {
    let svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='100mm' height='100mm' viewBox='0 0 100 100'>\
         {content}</svg>"
    );
    let settings = ReadSettings { system_fonts: false, ..ReadSettings::default() };
    read(svg.as_bytes(), &settings).unwrap_or_else(|e| panic!("{e}: {svg}"))
}

/// What is cut, mm².
fn area(content: &str) -> f64 {
    let (ink, _) = visible(&take(content).0, &InkSettings::default()).unwrap();
    let regions = ink.films.iter().flat_map(|film| &film.regions);
    let contours = regions.flat_map(|r| r.region.contours());
    contours.map(|contour| contour.signed_area()).sum::<f64>().abs()
}

fn codes(content: &str) -> Vec<&'static str> {
    take(content).1.iter().map(|f| f.code).collect()
}

fn near(area: f64, wanted: f64) {
    assert!((area - wanted).abs() < 0.05 + 1e-3 * wanted, "{area} instead of {wanted}");
}

/// SVG 2, 14.2.2: where both ends are the same, the last colour paints all.
#[test]
fn a_gradient_along_no_line_is_its_last_colour() {
    let painted = |first: &str, last: &str| {
        area(&format!(
            "<linearGradient id='g' x1='.5' x2='.5'><stop stop-color='{first}'/><stop offset='1' \
             stop-color='{last}'/></linearGradient><path d='M80 80h5v5h-5z'/>\
             <path d='M10 10h20v20h-20z' fill='url(#g)'/>"
        ))
    };
    near(painted("#000", "#fff"), 25.0);
    near(painted("#fff", "#000"), 25.0 + 400.0);
}

/// CSS Masking 1, 5.1 and 6.1: what is named and is no clip path, or no mask, bounds nothing.
#[test]
fn what_is_no_clip_path_bounds_nothing() {
    for (given, code) in [
        ("clip-path='url(#c)'", "clip-missing"),
        ("style='clip-path:url(#c)'", "clip-missing"),
        ("style='fill:#000;mask:url(#c);'", "mask-missing"),
        ("clip-path='url(#c)' font-weight='bolder'", "clip-missing"),
        ("style='clip-path:url(#c);' font-weight='bolder'", "clip-missing"),
    ] {
        let content = format!("<linearGradient id='c'/><path d='M10 10h20v20h-20z' {given}/>");
        near(area(&content), 400.0);
        assert_eq!(codes(&content), [code], "{given}");
    }
}

/// CSS Color 4, 4.2: opacity holds for markers and for parts of a text, too.
#[test]
fn fully_transparent_markers_and_letters_are_not_cut() {
    let drawn = |given: &str| {
        format!(
            "<marker id='m' {given} refX='5' refY='5' markerWidth='10' markerHeight='10' \
             markerUnits='userSpaceOnUse'><path d='M0 0h10v10h-10z'/></marker>\
             <path d='M20 60h40' stroke='#000' marker-end='url(#m)'/>"
        )
    };
    near(area(&drawn("opacity='.5'")), 40.0 + 100.0 - 5.0);
    for given in ["opacity='0'", "style='opacity:0%'"] {
        near(area(&drawn(given)), 40.0);
        assert!(codes(&drawn(given)).contains(&"hidden"), "{given}");
    }
    let text = "<text x='9' y='9'>a<tspan opacity='0'>b</tspan></text>";
    assert!(codes(text).contains(&"hidden"));
}

/// CSS Masking 1; SVG 2, 5.5, 11.6.2 and chapter Geometry.
#[test]
fn what_is_passed_over_is_told() {
    let marker = "refX='5' refY='5'><path d='M0 0h9v9z'/></marker>\
                  <path d='M20 60h40' stroke='#000' marker-end='url(#m)'/>";
    let clip = "<clipPath id='c'><path d='M0 0h5v5z'/></clipPath><mask id='k'><path d='M0 0h5v5z'/></mask>";
    let square = "<defs><rect id='r' width='9' height='9'/></defs>";
    let line = "fill='none' stroke='#000' marker-mid='url(#m)' marker-end='url(#m)'/>";
    let points =
        |d: &str| format!("<marker id='m'><path d='M0 0h1v1z'/></marker><path d='{d}' {line}");
    for (content, wanted) in [
        (format!("{clip}<marker id='m' clip-path='url(#c)' {marker}"), vec!["clip-ignored"]),
        (format!("{clip}<marker id='m' style='mask:url(#k)' {marker}"), vec!["clip-ignored"]),
        (format!("{square}<use href='#r' style='x:30px'/>"), vec!["style-geometry"]),
        (format!("{square}<use href='#r' style='r:30px'/>"), vec![]),
        (
            "<symbol id='s' transform='scale(2)'><path d='M0 0h5v5z'/></symbol><use href='#s'/>"
                .into(),
            vec!["symbol-transform"],
        ),
        (points("M20 60H40M60 60"), vec!["marker-on-point"]),
        (points("M9 9M20 60H40"), vec!["marker-on-point"]),
        (points("M20 60H40M60 60V80"), vec![]),
        (points("M20 60H40z"), vec![]),
    ] {
        assert_eq!(codes(&content), wanted, "{content}");
    }
}

/// CSS Masking 1, 7: `mask` is a shorthand.
#[test]
fn masks_with_words_are_read_and_other_ways_to_mask_told() {
    let masked = |style: &str| {
        format!(
            "<mask id='m'><path d='M10 10h5v5h-5z' fill='#fff'/></mask>\
             <path d='M10 10h20v20h-20z' style='{style}'/>"
        )
    };
    near(area(&masked("mask:url(#m) luminance;fill:#000")), 25.0);
    near(area(&masked("mask:url(#m)")), 25.0);
    assert!(codes(&masked("mask:url(#m);mask-mode:alpha")).contains(&"style-mask"));
    assert_eq!(codes(&masked("mask-image:url(#m)")), ["style-mask"]);
    assert_eq!(codes(&masked("mask-image:none")), [""; 0]);
}

/// SVG 2, 11.8.3: a text on a path begins at an offset in the path's own length; what follows stands at the
/// path's end.
#[test]
fn texts_on_paths_that_viewers_set_elsewhere_are_told() {
    let told = |path: &str, text: &str| {
        let content = format!("<defs><path id='p' d='M9 9h80' {path}/></defs><text>{text}</text>");
        codes(&content).contains(&"text-property-ignored")
    };
    let scaled = "pathLength='10'";
    assert!(told(scaled, "<textPath href='#p' startOffset='2'>a</textPath>"));
    assert!(!told(scaled, "<textPath href='#p' startOffset='20%'>a</textPath>"));
    assert!(!told("", "<textPath href='#p' startOffset='2'>a</textPath>"));
    assert!(told("", "<textPath href='#p'>a</textPath> b"));
    assert!(told("", "<textPath href='#p'>a</textPath> <tspan>b</tspan>"));
    assert!(!told("", "<textPath href='#p'>a</textPath> <tspan x='9' y='9'>b</tspan>"));
}

/// CSS Fonts 4, 2.7: the height of lines stands behind a slash.
#[test]
fn a_font_with_a_height_of_lines_is_read() {
    for font in [
        "bold 14px/2 Nowhere Sans",
        "14px / 120% \"Nowhere Sans\"",
        "14px/20px Nowhere Sans, serif",
    ] {
        let (_, findings) =
            take(&format!("<text x='9' y='9' style='font:{font};fill:#000'>a</text>"));
        assert!(findings.iter().any(|f| f.text.contains("Nowhere Sans")), "{font}: {findings:?}");
        assert!(findings.iter().all(|f| f.code != "value-unreadable"), "{font}: {findings:?}");
    }
}

/// CSS Transforms 1, 13.3: `skew` with one angle slants along x.
#[test]
fn one_angle_of_skew_is_along_x() {
    let (drawing, told) = take("<path d='M0 0H10V10H0z' style='transform:skew(45deg)'/>");
    assert_eq!(told.len(), 0, "{told:?}");
    let shape = &drawing.shapes[0];
    let at = shape.to_page * kurbo::Point::new(0.0, 10.0);
    assert!((at.x - 10.0).abs() < 1e-4 && (at.y - 10.0).abs() < 1e-4, "{at:?}");
}

/// CSS Masking 1, 7.4 and 7.10: what stands behind a mask's name goes before what the mask says of itself.
#[test]
fn words_that_measure_a_mask_otherwise_are_told() {
    let masked = |kind: &str, words: &str| {
        format!(
            "<mask id='m' style='mask-type:{kind}'><path d='M10 10h5v5h-5z' fill='#000'/>\
             <path d='M15 10h5v5h-5z' fill='#fff'/></mask>\
             <path d='M10 10h20v20h-20z' style='mask:url(#m) {words}'/>"
        )
    };
    for (kind, words, wanted, is_told) in [
        ("alpha", "luminance", 50.0, true),
        ("alpha", "alpha", 50.0, false),
        ("alpha", "match-source", 50.0, false),
        ("luminance", "alpha", 25.0, true),
        ("luminance", "luminance", 25.0, false),
    ] {
        let content = masked(kind, words);
        near(area(&content), wanted);
        assert_eq!(codes(&content).contains(&"style-mask"), is_told, "{content}");
    }
}

/// Compositing 1, 10.1: white multiplied with anything is that.
#[test]
fn white_that_is_multiplied_is_told() {
    let blended = |fill: &str, mode: &str| {
        let content = format!(
            "<path d='M0 0h40v40h-40z'/><path style='mix-blend-mode:{mode}' fill='{fill}' d='M9 9h9v9z'/>"
        );
        take(&content).1.iter().map(|f| f.text.contains("the white in")).collect::<Vec<_>>()
    };
    assert_eq!(blended("#fff", "multiply"), [true]);
    assert_eq!(blended("white", "darken"), [true]);
    assert_eq!(blended("white", "screen"), [false]);
    assert_eq!(blended("red", "multiply"), [false]);
}

/// SVG 2, 9.6.1 and 13.7.1: what `pathLength` says of a line's dashes holds for its copies, too.
#[test]
fn dashes_of_copies_go_by_the_path_length() {
    let line = "<path id='p' d='M10 10H60' stroke='#000' stroke-width='4' pathLength='10' \
                stroke-dasharray='1'/>";
    for (content, wanted) in [
        (format!("<defs>{line}</defs><use href='#p' y='20'/>"), 100.0),
        (format!("<symbol id='s'>{line}</symbol><use href='#s'/>"), 100.0),
        (
            format!(
                "<marker id='m' overflow='visible' markerUnits='userSpaceOnUse'>{line}</marker>\
                 <path d='M10 30h5' marker-end='url(#m)'/>"
            ),
            100.0,
        ),
        (
            format!(
                "<clipPath id='c'><path d='M0 0h35v90h-35z'/></clipPath><symbol id='s'>{}</symbol>\
                 <use href='#s'/>",
                line.replace("/>", " clip-path='url(#c)'/>")
            ),
            60.0,
        ),
        (
            format!(
                "<defs>{}</defs><use href='#p' stroke-dasharray='1'/>",
                line.replace("stroke-dasharray='1'", "")
            ),
            100.0,
        ),
    ] {
        near(area(&content), wanted);
        assert!(codes(&content).iter().all(|code| !code.starts_with("clip")), "{content}");
    }
}

/// SVG 2, 13.7.1: a clone's markers are those of its original.
#[test]
fn markers_of_copies_are_turned_like_those_of_the_original() {
    let marker = "<marker id='m' orient='auto-start-reverse' refY='1' markerWidth='9' \
                  markerUnits='userSpaceOnUse'><path d='M0 0h9l-9 2z'/></marker>";
    let ends = "marker-start='url(#m)' marker-mid='url(#m)' marker-end='url(#m)'";
    for data in ["M20 20L60 30V60z", "M20 20A20 20 0 0 1 60 30L40 50", "M20 20H40V30zM50 50H60"] {
        let line = format!("<path id='p' d='{data}' fill='none' {ends}/>");
        let drawn = |content: String| {
            let shapes = take(&format!("{marker}{content}")).0.shapes;
            let boxes = shapes.iter().map(|s| (s.to_page * s.path.clone()).bounding_box());
            boxes.map(|b| [b.x0, b.y0, b.x1, b.y1]).collect::<Vec<_>>()
        };
        let original = drawn(line.clone());
        assert!(!original.is_empty());
        for copy in [
            format!("<defs>{line}</defs><use href='#p'/>"),
            format!("<symbol id='s'>{line}</symbol><use href='#s'/>"),
        ] {
            let copy = drawn(copy);
            assert_eq!(copy.len(), original.len(), "{data}");
            for (a, b) in copy.as_flattened().iter().zip(original.as_flattened()) {
                assert!((a - b).abs() < 1e-3, "{data}: {a} {b}");
            }
        }
    }
}

/// SVG 2, 8.9, and a browser for what stands in symbols: percentages in definitions are of the `svg` element
/// around the definition, wherever it is used; those of shapes in a symbol are of its view box.
#[test]
fn percentages_are_of_the_viewport_around_them() {
    // Used in a viewport of 20 x 10 units, twice as large on the page.
    let (view, shape) = ("viewBox='0 0 20 10' overflow='visible'", "d='M0 0h40v40h-40z'");
    let all = "<path d='M0 0h400v400h-400z' fill='#fff'/>";
    for (definition, used, outside, inside) in [
        (
            format!("<mask id='m' maskUnits='userSpaceOnUse' width='20%' height='20%'>{all}</mask>"),
            "mask",
            // From the default of minus a tenth on.
            [10.0, 10.0],
            [2.0, 1.0],
        ),
        (
            "<mask id='m' maskUnits='userSpaceOnUse'><path d='M-9-9h400v400h-400z' fill='#fff'/></mask>"
                .into(),
            "mask",
            [40.0, 40.0],
            [22.0, 11.0],
        ),
        (
            "<clipPath id='m'><rect width='20%' height='20%'/></clipPath>".into(),
            "clip-path",
            [20.0, 20.0],
            [4.0, 2.0],
        ),
        (
            "<pattern id='m' patternUnits='userSpaceOnUse' width='90' height='90'>\
             <rect width='20%' height='20%'/></pattern>"
                .into(),
            "fill",
            [20.0, 20.0],
            [4.0, 2.0],
        ),
    ] {
        let shape = format!("<path {shape} {used}='url(#m)'/>");
        let sides = |[a, b]: [f64; 2]| a * b * 4.0;
        for (content, wanted) in [
            (format!("{definition}<svg width='40' height='20' {view}>{shape}</svg>"), outside),
            (format!("<svg width='40' height='20' {view}>{definition}{shape}</svg>"), inside),
            (
                format!(
                    "<symbol id='s' {view}>{definition}{shape}</symbol>\
                     <use href='#s' width='40' height='20'/>"
                ),
                outside,
            ),
        ] {
            near(area(&content), sides(wanted));
        }
    }
    let in_symbol = |view: &str| {
        let rect = "<rect width='50%' height='50%'/>";
        format!("<symbol id='s' {view}>{rect}</symbol><use href='#s' width='40' height='20'/>")
    };
    near(area(&in_symbol(view)), 20.0 * 10.0);
    near(area(&in_symbol("overflow='visible'")), 20.0 * 10.0);
    // Of a clone's own size in percent, too.
    let in_percent = in_symbol(view).replace("width='40' height='20'", "width='40%' height='20%'");
    near(area(&in_percent), 20.0 * 10.0);
}

/// SVG 2, 8.9: a clone's own percentages are of the viewport around the clone (a browser drew all of these so).
#[test]
fn percentages_of_clones_are_of_the_viewport_around_the_clone() {
    let symbol = "<symbol id='s' viewBox='0 0 20 10' overflow='visible'>\
                  <rect width='50%' height='50%'/></symbol>";
    let within = |around: &str| {
        let clone = "<use href='#s' x='10%' y='10%' width='40%' height='50%'/>";
        format!("{symbol}<svg x='10' y='10' {around}>{clone}</svg>")
    };
    // A clone of 16 x 15 or 24 x 25 that the view box fits into, a quarter of it painted; scaled by 2.
    let box_of_40 = within("width='80' height='60' viewBox='0 0 40 30'");
    let (own, named) = (within("width='60' height='50'"), within("id='q' width='60' height='50'"));
    for (content, wanted) in
        [(box_of_40, 16.0 * 8.0), (own, 24.0 * 12.0 / 4.0), (named, 24.0 * 12.0 / 4.0)]
    {
        near(area(&content), wanted);
        assert_eq!(codes(&content), [""; 0], "{content}");
    }
    // Of what is cloned into another viewport, of that one.
    let inner = "<svg width='80' height='60' viewBox='0 0 40 30'><use href='#g'/></svg>";
    let (rect, clone) = ("<rect id='r' width='5' height='5'/>", "<use href='#r' x='30%' y='50%'/>");
    near(area(&format!("<defs><g id='g'>{rect}{clone}</g></defs>{inner}")), 200.0);
    let share = "<defs><g id='g'><use href='#s' width='40%' height='20%'/></g></defs>";
    let sized = share.replace("40%", "40").replace("20%", "20");
    assert_eq!(codes(&format!("{symbol}{share}{inner}")), ["clone-size"]);
    assert_eq!(codes(&format!("{symbol}{sized}{inner}")), [""; 0]);
    let content = format!("{symbol}{share}<use href='#g'/>");
    assert_eq!(codes(&content), [""; 0]);
    near(area(&content), 20.0 * 10.0);
}

/// SVG 2, 12.2 and 8.6, CSS Images 3, 5.2: the frame is the viewport of an SVG picture and bounds it; what has no
/// view box, or asks for no proportions, fills it each way (a browser drew all of these so but those told).
#[test]
fn pictures_are_fitted_into_their_frames() {
    let picture = |given: &str, root: &str, path: &str| {
        format!(
            "<image x='5' width='60' height='30' {given} href=\"data:image/svg+xml;utf8,&lt;svg \
             xmlns='http://www.w3.org/2000/svg' {root}>&lt;path d='{path}'/>&lt;/svg>\"/>"
        )
    };
    let (view, size) = ("viewBox='0 0 20 20'", "width='20' height='20'");
    let (slice, whole, half) =
        ("preserveAspectRatio='xMidYMid slice'", "M0 0h20v20h-20z", "M0 0h10v20h-10z");
    for (given, root, path, wanted) in [
        ("", view.to_owned(), whole, 900.0),
        ("", format!("{view} {size}"), whole, 900.0),
        ("", size.into(), whole, 1800.0),
        ("", size.into(), half, 900.0),
        (slice, size.into(), half, 900.0),
        ("", format!("{view} preserveAspectRatio='none'"), whole, 1800.0),
        ("", String::new(), whole, 400.0),
        ("", "width='100%' height='100%'".into(), whole, 400.0),
        ("", "width='40'".into(), whole, 1.5 * 400.0),
        // Beyond the view box, up to the frame.
        ("", view.into(), "M0 0h99v99h-99z", 45.0 * 30.0),
    ] {
        let content = picture(given, &root, path);
        near(area(&content), wanted);
        assert_eq!(codes(&content), [""; 0], "{root}");
    }
    near(area(&picture(slice, view, whole)), 1800.0);
    assert_eq!(codes(&picture(slice, view, whole)), ["image-fit"]);
    let unsized_one = picture("", "", whole).replace("height='30'", "");
    assert_eq!(codes(&unsized_one), ["image-size"]);
    let in_percent = picture("", size, whole).replace("width='60'", "width='60%'");
    near(area(&in_percent), 1800.0);
}

/// CSS Display 3, appendix B: an element that only its contents are shown of does nothing to them; what can't be
/// without itself is not drawn (a browser drew all of these so).
#[test]
fn contents_are_shown_without_their_element() {
    let rect = "<rect x='10' y='10' width='20' height='10' fill='#000'/>";
    let defined = format!(
        "<defs><g id='d'>{rect}</g><clipPath id='c'><path d='M0 0h15v15z'/></clipPath></defs>"
    );
    for element in [
        "<g style='display:contents' transform='scale(2)'>R</g>",
        "<g display='contents' clip-path='url(#c)'>R</g>",
        "<g style='opacity:0;transform:scale(2);display:contents'>R</g>",
        "<style>g{display:contents;opacity:0}</style><g transform='scale(3)'>R</g>",
        "<use href='#d' x='400' transform='scale(2)' style='display:contents'/>",
        "<clipPath id='k' display='contents'><rect width='90' height='90'/></clipPath><g clip-path='url(#k)'>R</g>",
    ] {
        let content = format!("{defined}{}", element.replace('R', rect));
        near(area(&content), 200.0);
        assert_eq!(codes(&content), [""; 0], "{element}");
    }
    for element in
        ["<a display='contents'>R</a>", "<rect width='9' height='9' style='display:contents'/>"]
    {
        let content = format!("{rect}{}", element.replace('R', rect));
        near(area(&content), 200.0);
        assert_eq!(codes(&content), ["hidden"], "{element}");
    }
    // A viewport stays one, which is told.
    assert_eq!(codes(&format!("<svg display='contents'>{rect}</svg>")), ["display-contents"]);
}
