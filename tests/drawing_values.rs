//! Values that the SVG library reads otherwise than the standards ask.
//!
//! Outside referees: SVG 2 (W3C Candidate Recommendation 2018) and CSS, chapters named beside each check;
//! a browser (Chromium) drew each of these drawings so.

use bladewright::drawing::{Drawing, ReadSettings, read};
use bladewright::finding::{Finding, Place};
use bladewright::ink::{InkError, InkSettings, Trace, visible};
use kurbo::Shape as _;

/// A page of 100 x 100 mm in millimetres around some elements. They begin in row 2.
fn take(content: &str) -> (Drawing, Vec<Finding>) {
    let svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' \
         width='100mm' height='100mm' viewBox='0 0 100 100'>\n{content}\n</svg>"
    );
    let settings = ReadSettings { system_fonts: false, ..ReadSettings::default() };
    read(svg.as_bytes(), &settings).unwrap_or_else(|e| panic!("{e}: {svg}"))
}

/// What is cut, mm².
fn area(content: &str) -> f64 {
    let (drawing, _) = take(content);
    let (ink, _) = visible(&drawing, &InkSettings::default()).unwrap();
    let regions = ink.films.iter().flat_map(|film| &film.regions);
    regions
        .flat_map(|r| r.region.contours())
        .map(|contour| contour.signed_area())
        .sum::<f64>()
        .abs()
}

fn told(content: &str) -> Vec<(&'static str, Place)> {
    take(content).1.iter().map(|f| (f.code, f.place)).collect()
}

fn near(area: f64, wanted: f64) {
    assert!((area - wanted).abs() < 0.05 + 1e-3 * wanted, "{area} instead of {wanted}");
}

/// CSS Color 4, 6.3: the keyword is `currentcolor`, in any case.
#[test]
fn the_current_colour_is_known_in_any_case() {
    for word in ["currentColor", "currentcolor", "CURRENTCOLOR"] {
        let line = format!(
            "<g color='#fff'><path d='M0 0H50V50H0z' fill='#000'/><path d='M10 10h10v10h-10z' \
             fill='{word}'/></g><path d='M60 60h30' stroke-width='2' style='stroke:{word}'/>"
        );
        near(area(&line), 2500.0 - 100.0 + 60.0);
        let sheet = format!("<style>path{{stroke:{word}}}</style><path d='M60 60h30'/>");
        near(area(&sheet), 30.0);
    }
}

/// SVG 2, chapter Painting; CSS Syntax 3, 2.2: a declaration with a fault is dropped whole.
#[test]
fn dashes_and_widths_with_a_fault_count_as_not_given() {
    for dashes in ["5 foo", "5,,3", "5,3,", ",5", "5 -2"] {
        let attribute = format!("<path d='M10 10h80' stroke='#000' stroke-dasharray='{dashes}'/>");
        near(area(&attribute), 80.0);
        assert_eq!(told(&attribute), [("attribute-unreadable", Place::text(2, 1))], "{dashes}");
        let style = format!("<path d='M10 10h80' style='stroke:#000;stroke-dasharray:{dashes}'/>");
        near(area(&style), 80.0);
        assert_eq!(told(&style), [("value-unreadable", Place::text(2, 40))], "{dashes}");
        let sheet = format!(
            "<style>path{{stroke:#000;stroke-dasharray:{dashes}}}</style><path d='M10 10h80'/>"
        );
        near(area(&sheet), 80.0);
        assert_eq!(told(&sheet), [("value-unreadable", Place::text(2, 25))], "{dashes}");
    }
    for dashes in ["5 3", "5,3", " 5 , 3 ", "5px 3px", "none", "1q 1rem", "5% 3%"] {
        let path = format!("<path d='M10 10h80' stroke='#000' stroke-dasharray='{dashes}'/>");
        assert_eq!(told(&path), [], "{dashes}");
        assert_eq!(area(&path) < 79.0, dashes != "none", "{dashes}");
    }
    let path = "<g stroke-width='3'><path d='M10 10h80' stroke='#000' stroke-width='-2'/></g>";
    near(area(path), 240.0);
    assert_eq!(told(path), [("attribute-unreadable", Place::text(2, 21))]);
}

/// CSS Syntax 3, 5.4: a declaration that can't be read is dropped, and no other for it.
#[test]
fn a_faulty_declaration_takes_no_other_with_it() {
    for fault in ["fill none", ";", ":red", "stroke-width:thick", "stroke-width:3 4", "/*;*/"] {
        let style = format!("<path d='M10 10h80v9z' style='{fault};fill:none;stroke:#000'/>");
        let sheet =
            format!("<style>path{{{fault};fill:none;stroke:#000}}</style><path d='M10 10h80v9z'/>");
        for content in [style, sheet] {
            near(area(&content), area("<path d='M10 10h80v9z' fill='none' stroke='#000'/>"));
            let silent = matches!(fault, ";" | "/*;*/");
            let codes: Vec<_> = told(&content).into_iter().map(|(code, _)| code).collect();
            assert_eq!(codes, if silent { vec![] } else { vec!["value-unreadable"] }, "{content}");
        }
    }
    let unknown = "<g stroke-width='3'><path d='M10 10h80' stroke='#000' stroke-width='.3ch'/></g>";
    near(area(unknown), 240.0);
    let undone = "<path d='M10 10h80' stroke='#000' stroke-width='2' style='stroke-width:unset'/>";
    assert_eq!(told(undone), [("value-unreadable", Place::text(2, 59))]);
}

/// CSS Syntax 3, 1.2 and 5.4.6: names and `!important` are the same in any case; CSS Cascade 4, 7.3.1:
/// `initial` is the value that the property's definition names.
#[test]
fn names_and_words_of_styles_are_known_in_any_case() {
    for style in [
        "STROKE-WIDTH: 3; Stroke: #000; FILL: NONE",
        "stroke:#000;stroke-width:3 ! IMPORTANT;fill:none!Important",
        "stroke:BLACK;stroke-width:3px;fill:None",
        "stroke:#000;stroke-width:3;fill:red;fill:none;opacity:INITIAL;stroke-linecap:initial",
    ] {
        near(area(&format!("<path d='M10 10h80' style='{style}'/>")), 240.0);
        near(area(&format!("<style>path{{{style}}}</style><path d='M10 10h80'/>")), 240.0);
    }
    near(area("<g fill='#fff'><path d='M10 10h80v10h-80z' style='fill:initial'/></g>"), 800.0);
    near(area("<path d='M10 10h80' stroke='#000' stroke-width='initial' fill='NONE'/>"), 80.0);
    let hidden = "<path d='M10 10h80v10z'/><path d='M10 50h80v10z' display='NONE'/>";
    near(area(hidden), 400.0);
}

/// Media Queries 4, 2.3; CSS Nesting 1; CSS Variables 1, 3.
#[test]
fn rules_for_screens_and_variables_of_the_root_are_read() {
    let sheet = |css: &str| format!("<style>{css}</style><path d='M10 10h80' stroke='#000'/>");
    for css in [
        "@media screen{path{stroke-width:3}}",
        "@media print{path{stroke-width:9}}path{stroke-width:3}",
        "@MEDIA all , print {@media screen{path{stroke-width:3}}}",
        "@charset 'utf-8';path{stroke-width:3}",
        ":root{--wide:3}path{stroke-width:var(--wide)}",
        "path{stroke-width:3;&amp; g{stroke-width:9}}",
    ] {
        near(area(&sheet(css)), 240.0);
    }
    let codes = |css: &str| told(&sheet(css)).into_iter().map(|(code, _)| code).collect::<Vec<_>>();
    assert_eq!(codes("@media print{path{stroke-width:9}}"), ["style-media"]);
    assert_eq!(codes("path{fill:red;&amp; g{fill:blue}}"), ["style-rule-ignored"]);
    assert_eq!(codes("@media (min-width:9px){path{stroke-width:9}}"), ["style-rule-ignored"]);
}

/// Selectors 4, 3.9: a selector that is none takes the whole rule with it; Chromium draws all of these so.
#[test]
fn a_rule_with_a_faulty_selector_holds_for_nothing() {
    let rect = "<rect x='10' y='10' width='20' height='10'/>";
    let sheet = |list: &str| {
        format!("<style>{list}{{fill:none}}</style>{rect}<path d='M50 10h20v20h-20z'/>")
    };
    for list in ["rect:foo,path", "path,rect::foo", "path,", "path,,rect", "rect!,path", "path,#1"]
    {
        near(area(&sheet(list)), 600.0);
        let all = told(&sheet(list));
        let of_rule = all.iter().filter(|(code, _)| *code == "style-rule-ignored");
        assert_eq!(of_rule.count(), 1, "{list}: {all:?}");
    }
    // Selectors 4, 4.2: what stands in brackets is one selector, which is not read; its neighbours are.
    for (list, seen) in
        [(":is(rect,path)", 600.0), ("g:not(.a,path,.b)", 600.0), ("path, :is(rect,g)", 200.0)]
    {
        near(area(&sheet(list)), seen);
        let all = told(&sheet(list));
        let of_rule = all.iter().filter(|(code, _)| *code == "style-rule-ignored");
        assert_eq!(of_rule.count(), 1, "{list}: {all:?}");
    }
    near(area(&sheet("rect:hover,path")), 200.0);
    near(area(&sheet("rect:last-child,path")), 200.0);
}

/// CSS Variables 1, 3: what stands behind the comma is taken where a variable is given nowhere; a root's style and
/// attributes count.
#[test]
fn variables_stand_in_everywhere() {
    let square = |fill: &str| format!("<path d='M10 10h20v20h-20z' {fill}/>");
    let under = "<path d='M0 0h50v50h-50z'/>";
    for (fill, seen) in [
        ("fill='var(--tyre, white)'", 2100.0),
        ("fill='var(--tyre, #333)'", 2500.0),
        ("style='fill:var(--tyre, rgb(255,255,255))'", 2100.0),
        ("style='fill:var(--tyre, var(--hub, White))'", 2100.0),
    ] {
        let content = format!("{under}{}", square(fill));
        near(area(&content), seen);
        assert_eq!(told(&content), [], "{fill}");
        let sheet = format!("<style>svg{{--paper:#fff}}</style>{under}");
        near(area(&format!("{sheet}{}", square("fill='var(--paper, #123)'"))), 2100.0);
    }
    let anew =
        "<style>:root{--k:#fff}.hub{--k:#000}</style><path d='M0 0h9v9h-9z' fill='var(--k)'/>";
    let codes: Vec<_> = told(anew).into_iter().map(|(code, _)| code).collect();
    assert_eq!(codes, ["style-variable"]);
    let elsewhere = "<g style='--k:#fff'><path d='M0 0h9v9h-9z' fill='var(--k, #fff)'/></g>";
    let codes: Vec<_> = told(elsewhere).into_iter().map(|(code, _)| code).collect();
    assert_eq!(codes, ["value-unreadable"]);
}

/// CSS Color 4, 4.2 and 5: channels and opacity are numbers or percentages at will.
#[test]
fn colours_are_read_in_any_notation() {
    for (colour, seen) in [
        ("rgb(0 0 0 / 80%)", true),
        ("rgba(0, 0, 0, 80%)", true),
        ("rgb(0 0 0 / 0%)", false),
        ("hsl(210 100 20)", true),
        ("hsl(210 100 100)", false),
        ("rgb(100% 0 none)", true),
        ("color(srgb 1 1 1)", false),
        ("rebeccapurple", true),
    ] {
        for given in [
            format!("<path d='M10 10h80' stroke-width='2' stroke='{colour}'/>"),
            format!("<path d='M10 10h80' stroke-width='2' style='stroke: {colour} !important'/>"),
            format!("<style>path{{stroke:{colour}}}</style><path d='M10 10h80' stroke-width='2'/>"),
        ] {
            let beside = "<rect width='5' height='5' stroke='none' style='stroke:none'/>";
            near(area(&format!("{given}{beside}")), 25.0 + if seen { 160.0 } else { 0.0 });
            let unread = told(&given).iter().any(|(code, _)| code.ends_with("unreadable"));
            assert!(!unread, "{given}");
        }
    }
}

/// CSS Transforms 1, 11: functions for one axis.
#[test]
fn functions_for_one_axis_are_followed() {
    let place = |transform: &str| {
        let (drawing, told) =
            take(&format!("<path d='M0 0H10V10H0z' style='transform:{transform}'/>"));
        assert_eq!(told.len(), 0, "{told:?}");
        let shape = &drawing.shapes[0];
        shape.to_page.transform_rect_bbox(shape.path.bounding_box())
    };
    for (transform, wanted) in [
        ("translateX(30px)", [30.0, 0.0, 40.0, 10.0]),
        ("translateY(30px) translateX(5px)", [5.0, 30.0, 15.0, 40.0]),
        ("scaleX(3)", [0.0, 0.0, 30.0, 10.0]),
        ("translateX(2px) scaleY(3)", [2.0, 0.0, 12.0, 30.0]),
    ] {
        let b = place(transform);
        for (side, wanted) in [b.x0, b.y0, b.x1, b.y1].into_iter().zip(wanted) {
            assert!((side - wanted).abs() < 1e-4, "{transform}: {b:?}");
        }
    }
}

/// SVG 2: 8.10 (the box of a shape is of its geometry alone), 9.3.9 (numbers), 8.13 (lines that keep their
/// width), A browser shows each otherwise than it is cut.
#[test]
fn what_viewers_show_otherwise_is_told() {
    let defs = "<marker id='k' orient='auto'><path d='M0 0H3V3z'/></marker>\
        <clipPath id='c' clipPathUnits='objectBoundingBox'><path d='M0 0H1V1H0z'/></clipPath>\
        <mask id='m'><path d='M0 0H99V99H0z' fill='#fff'/></mask>\
        <mask id='u' maskUnits='userSpaceOnUse' x='0' y='0' width='99' height='99'>\
        <path d='M0 0H99V99H0z' fill='#fff'/></mask>";
    for (content, code) in [
        ("<path d='M9 9h9v9' marker-end='url(#k)' clip-path='url(#c)'/>", "marker-bounds"),
        ("<path d='M9 9h9v9' marker-end='url(#k)' style='mask:url(#m)'/>", "marker-bounds"),
        ("<path d='M9. 9h9v9z'/>", "path-number"),
        ("<text clip-path='url(#c)'>A</text>", "text-bounds"),
        ("<text mask='url(#m)'>A</text>", "text-bounds"),
        // CSS Cascade 4, 6.4: the last of equals, and a style's before a sheet's.
        (
            "<style>path{fill:red!important}</style><path d='M9 9h9v9z' style='fill:none!important'/>",
            "style-important",
        ),
        ("<text vector-effect='non-scaling-stroke'>A</text>", "text-property-ignored"),
    ] {
        let codes: Vec<_> = told(&format!("{defs}{content}")).into_iter().map(|t| t.0).collect();
        assert!(codes.contains(&code), "{content}: {codes:?}");
    }
    for content in [
        "<path d='M9 9h9v9' marker-end='url(#k)' mask='url(#u)'/>",
        "<path d='M9.5.5h9v9z' mask='url(#m)'/>",
    ] {
        let codes: Vec<_> = told(&format!("{defs}{content}")).into_iter().map(|t| t.0).collect();
        assert!(!codes.contains(&"marker-bounds") && !codes.contains(&"path-number"), "{codes:?}");
    }
}

/// SVG 2, chapter Paths: zero scales every dash to infinity, a negative length is an error.
#[test]
fn a_path_length_of_zero_leaves_no_gap() {
    let path = |length: &str, dashes: &str| {
        format!(
            "<path d='M10 10h80' pathLength='{length}' stroke='#000' stroke-dasharray='{dashes}'/>"
        )
    };
    near(area(&path("0", "5 5")), 80.0);
    near(area(&path("16", "1 1")), 40.0);
    near(area(&path("-4", "5 5")), 40.0);
    assert_eq!(told(&path("0", "5 5")), []);
    assert_eq!(told(&path("-4", "5 5")), [("attribute-unreadable", Place::text(2, 1))]);
    assert_eq!(told(&path("long", "5 5")), [("attribute-unreadable", Place::text(2, 1))]);
}

/// SVG 2, 8.2 and 8.6: no width, no height or such a view box disables rendering.
#[test]
fn a_nested_drawing_without_size_is_not_drawn() {
    let rest = "<path d='M60 60h20v20h-20z'/>";
    for nested in [
        "<svg width='0' height='40'><rect width='50' height='50'/></svg>",
        "<svg viewBox='0 0 0 10'><rect width='50' height='50'/></svg>",
        "<use href='#s' width='30' height='0'/>",
    ] {
        let content = format!(
            "{nested}{rest}<symbol id='s' viewBox='0 0 1 1'><rect width='1' height='1'/></symbol>"
        );
        near(area(&content), 400.0);
        assert_eq!(told(&content), [("not-drawn", Place::text(2, 1))], "{nested}");
    }
}

/// SVG 2, 5.5 and 5.6: a symbol's own width and height count unless the clone gives others.
#[test]
fn a_symbol_has_the_size_that_it_gives_itself() {
    let symbol = "<symbol id='s' viewBox='0 0 10 10' width='10' height='20'>\
                  <path d='M0 0H10V10H0z'/></symbol>";
    near(area(&format!("{symbol}<use href='#s' x='50' y='5'/>")), 100.0);
    near(area(&format!("{symbol}<use href='#s' width='auto' height='auto'/>")), 100.0);
    near(area(&format!("{symbol}<use href='#s' width='30'/>")), 400.0);
    near(area(&format!("{symbol}<use xlink:href='#s' width='30' height='30'/>")), 900.0);
}

/// SVG 2, 6.4 (`media` of `style`): what is seen on a screen is cut.
#[test]
fn style_sheets_for_other_media_are_not_read() {
    let sheet = |media: &str| {
        format!("<style media='{media}'>path{{display:none}}</style><path d='M0 0H10V10H0z'/>")
    };
    near(area(&sheet("print")), 100.0);
    assert_eq!(told(&sheet("print")), [("style-media", Place::text(2, 1))]);
    for media in ["", "all", "screen", "print, Screen", "only screen"] {
        assert_eq!(take(&sheet(media)).0.shapes.len(), 0, "{media}");
    }
}

/// SVG 2, chapter Painting (marker-mid): markers stand at vertices, and an arc has none but its ends.
#[test]
fn arcs_have_no_markers_between_their_ends() {
    let dots = |id: &str, side: u32, more: &str| {
        format!(
            "<marker id='{id}' markerUnits='userSpaceOnUse' markerWidth='9' markerHeight='9' {more}>\
             <path d='M0 0h{side}v{side}h-{side}z'/></marker>"
        )
    };
    let arcs = "M20 50A20 30 20 0 1 80 50L80 80a10 10 0 0 1 -20 0";
    for orient in ["", "orient='auto'", "orient='auto' overflow='visible'"] {
        let marks = [dots("s", 1, orient), dots("m", 2, orient), dots("e", 3, orient)].concat();
        for (which, wanted) in [
            ("marker-mid='url(#m)'", 8.0),
            ("marker-mid='url(#m)' marker-start='url(#s)'", 9.0),
            ("marker-mid='url(#m)' marker-end='url(#e)'", 17.0),
            ("marker-mid='url(#m)' marker-start='url(#s)' marker-end='url(#e)'", 18.0),
            ("marker-end='url(#e)'", 9.0),
            ("style='marker:url(#m)'", 16.0),
            ("style='marker:url(#m);paint-order:markers'", 16.0),
            ("style='marker:url(#m);paint-order:fill markers;fill:#fff'", 16.0),
        ] {
            let path = format!("<path id='p' fill='none' d='{arcs}' {which}/>");
            near(area(&format!("{marks}{path}")), wanted);
            let clones =
                format!("{marks}<defs>{path}</defs><use href='#p'/><use href='#p' x='200'/>");
            near(area(&clones), 2.0 * wanted);
        }
        let group = format!("{marks}<g fill='none' marker-mid='url(#m)'><path d='{arcs}'/></g>");
        near(area(&group), 8.0);
    }
}

/// SVG 2, chapters Painting (marker-start, -mid, -end) and Paths (directionality): every vertex between the
/// first and the last has a marker, also the one where a subpath closes; there it is turned halfway between
/// the last direction and the first. Chromium draws as many, turned so.
#[test]
fn markers_where_a_line_closes_are_turned_halfway() {
    let turned = |marker: &str, line: &str, orient: &str| -> Vec<f64> {
        let content = format!(
            "<marker id='m' orient='{orient}'><path d='M0 0h2v1z'/></marker>\
             <path fill='none' {line} {marker}='url(#m)'/>"
        );
        let turn = |shape: &bladewright::drawing::Shape| {
            let [a, b, ..] = shape.to_page.as_coeffs();
            (b.atan2(a).to_degrees() * 1000.0).round() / 1000.0
        };
        take(&content).0.shapes.iter().map(turn).collect()
    };
    let once = "d='M10 10h20v20z'";
    assert_eq!(turned("marker-start", once, "auto"), [-67.5]);
    assert_eq!(turned("marker-end", once, "auto"), [-67.5]);
    assert_eq!(turned("marker-start", once, "auto-start-reverse"), [112.5]);
    assert_eq!(turned("marker-end", once, "auto-start-reverse"), [-67.5]);
    assert_eq!(turned("marker-end", once, "30"), [30.0]);
    let twice = "d='M10 10h20v20zM50 10h20v20z'";
    let each = [45.0, 157.5, -67.5];
    assert_eq!(turned("marker-mid", twice, "auto"), [&each[..], &[-67.5, 45.0, 157.5]].concat());
    // There and back: both ways round are as short, and SVG 2 names neither; the mean of 0 and 180 degrees.
    assert_eq!(turned("marker-end", "d='M10 10h-20z'", "auto"), [90.0]);
    assert_eq!(turned("marker-end", "d='M10 10h20z'", "auto"), [90.0]);
    // The last vertex before: between the curve's end and the closing line.
    let (open, closed) = ("d='M0 0q10 0 10 10'", "d='M0 0v9h10q0 0 10 0z'");
    assert_eq!(turned("marker-end", open, "auto"), [90.0]);
    let back = (9.0_f64 / 20.0).atan().to_degrees() / 2.0 - 90.0;
    let last = turned("marker-mid", closed, "auto").pop().unwrap();
    assert!((last - back).abs() < 0.01, "{last} instead of {back}");
    // What follows a closing line begins at its end, without a vertex of its own.
    let further = "d='M10 10h20v20zl20 30'";
    assert_eq!(turned("marker-mid", further, "auto"), each);
    assert_eq!(turned("marker-end", further, "auto"), [56.31]);
    // An arc has no vertex amid; a closing line of no length goes on as the arc before it.
    let disc = "d='M50 20A10 10 0 0 1 70 20A10 10 0 0 1 50 20z'";
    assert_eq!(turned("marker-end", disc, "auto"), [-90.0]);
    assert_eq!(turned("marker-mid", disc, "auto").len(), 2);
}

/// SVG 2, 3.6 (groups): a group's opacity holds for all of it at once, so that white in it covers what lies
/// under it there, and nothing outside. A browser shows these so.
#[test]
fn white_covers_the_ink_of_its_own_group_whatever_the_group_s_opacity() {
    let black = "<path d='M10 10h40v40h-40z'/>";
    let white = "<path d='M20 20h10v10h-10z' fill='#fff'/>";
    near(area(&format!("<g opacity='.5'>{black}{white}</g>")), 1500.0);
    near(area(&format!("{black}<g opacity='.5'>{white}</g>")), 1600.0);
    near(area(&format!("<g opacity='.5'>{black}<g opacity='.9'>{white}</g></g>")), 1600.0);
    near(area(&format!("<g opacity='.5'><g opacity='.9'>{black}</g>{white}</g>")), 1500.0);
    let ring = "<path d='M20 20h10v10h-10z' fill='#fff' stroke='#000' stroke-width='4'";
    near(area(&format!("{ring} paint-order='stroke' opacity='.3'/>")), 14.0 * 14.0 - 100.0);
    near(area(&format!("{ring} opacity='.3'/>")), 14.0 * 14.0 - 36.0);
}

/// SVG 2, 13.7.1 (markerUnits): the unit is the width of the painted line in the shape's own coordinates; one
/// that does not scale is so many CSS pixels of the page wide.
#[test]
fn markers_of_lines_that_do_not_scale_are_as_large_as_the_line_is_wide() {
    let area = |units: &str, scale: &str| {
        area(&format!(
            "<marker id='m' {units} overflow='visible'><path d='M0 0h2v2h-2z'/></marker>\
             <g transform='scale({scale})'><path stroke='none' fill='none' stroke-width='6' \
             vector-effect='non-scaling-stroke' d='M3 3L9 6' marker-end='url(#m)'/></g>"
        ))
    };
    let px: f64 = 25.4 / 96.0;
    near(area("", "4"), (12.0 * px).powi(2));
    near(area("", "1"), (12.0 * px).powi(2));
    near(area("markerUnits='userSpaceOnUse'", "4"), 64.0);
}

/// Common practice, no source: lines for a cutter are drawn as thin as the drawing program lets them. What is
/// told as not cut is not cut, whatever the paint of the inside.
#[test]
fn nothing_is_cut_along_hairlines_and_specks() {
    let line = "d='M10 10h80v40h-80z' stroke='#000' stroke-width='.001'";
    let piece = "<path d='M60 60h10v10h-10z'/>";
    for fill in ["none", "#fff"] {
        let content = format!("<path {line} fill='{fill}'/>{piece}");
        near(area(&content), 100.0);
        let (_, findings) = visible(&take(&content).0, &InkSettings::default()).unwrap();
        assert_eq!(findings.iter().map(|f| f.code).collect::<Vec<_>>(), ["hairline"]);
    }
    let content = format!("<path {line}/>{piece}");
    near(area(&content), 3300.0);
    // Pi times the square of 4 and of 9 micrometres.
    let dots =
        "<circle cx='5' cy='5' r='.004'/><circle cx='-9' cy='5' r='.004'/><circle r='.009'/>";
    let (_, findings) =
        visible(&take(&(dots.to_owned() + piece)).0, &InkSettings::default()).unwrap();
    let specks: Vec<_> = findings.iter().filter(|f| f.code == "speck").collect();
    assert_eq!(specks[0].place, Place::text(2, 1));
    assert!(specks.len() == 1 && specks[0].text.starts_with("2 shapes are specks"), "{specks:?}");
}

/// SVG 2, chapter Painting: markers apply to all shapes, and turn halfway where a line closes.
#[test]
fn markers_that_viewers_show_otherwise_are_told() {
    let marker = "<marker id='m' orient='auto'><path d='M0 0h2v2h-2z'/></marker>";
    let codes = |shape: &str| -> Vec<&str> {
        take(&format!("{marker}{shape}")).1.iter().map(|f| f.code).collect()
    };
    let line = "stroke='#000' fill='none' marker-end='url(#m)'";
    assert_eq!(codes(&format!("<rect width='9' height='9' {line}/>")), ["marker-on-shape"]);
    assert_eq!(codes(&format!("<path d='M9 9h9v9z' {line}/>")), [""; 0]);
    assert_eq!(codes(&format!("<path d='M9 9h9v9L9 9z' {line}/>")), ["marker-at-closing"]);
    assert_eq!(codes(&format!("<path d='M9 9h9v9' {line}/>")), [""; 0]);
}

/// Every finding has its place: also of values that only the SVG library fails to read.
#[test]
fn unreadable_paints_are_told_with_their_place() {
    for (content, column) in [
        ("<g/><path d='M0 0h9v9' fill='var(--k)'/>", 5),
        ("<g/><g/><path d='M0 0h9v9' style='stroke:var(--k)'/>", 9),
        ("<g/><style>path{fill:var(--k)}</style><path d='M0 0h9v9'/>", 5),
    ] {
        assert_eq!(told(content), [("value-unreadable", Place::text(2, column))], "{content}");
    }
}

/// XML 1.0, 2.5: comments are no part of the character data.
#[test]
fn comments_do_not_end_a_style_sheet() {
    for sheet in [
        "<!-- made by hand -->path{stroke:#000}",
        "path{fill:none}<!-- and -->path{stroke:#000}",
        "path{fill:none;<!-- and -->stroke:#000}",
        "<!-- one --><![CDATA[path{stroke:#000}]]><!-- two -->",
    ] {
        near(area(&format!("<style>{sheet}</style><path d='M10 10h80'/>")), 80.0);
    }
}

#[test]
fn what_was_never_there_is_not_missed_and_a_layer_without_a_name_has_none() {
    assert_eq!(told("<text x='5' y='9'/><text> <tspan/></text><path d='M0 0h9v9z'/>"), []);
    let (_, findings) = take("<g display='none'><path d='M0 0h9v9z'/></g>");
    assert_eq!(findings[0].text, "a layer without a name is hidden and is not cut.");
}

#[test]
fn dots_are_no_lines_to_follow() {
    let (drawing, _) =
        take("<path d='M9 9z' stroke='#000' stroke-width='5' stroke-linecap='round'/>");
    let follow = InkSettings { trace: Trace::CentreLines, ..InkSettings::default() };
    assert!(matches!(visible(&drawing, &follow), Err(InkError::NoLine)));
    let (drawing, _) = take("<path d='M9 9h9v9z' fill='none'/>");
    assert!(matches!(visible(&drawing, &follow), Err(InkError::Nothing)));
}

/// CSS Values 4, 6 and 7: units of angles and lengths in transforms; the same as the attribute's numbers.
#[test]
fn transforms_take_the_units_of_css() {
    let boxed = |content: &str| {
        let (drawing, findings) = take(content);
        assert!(findings.is_empty(), "{content}: {findings:?}");
        let shape = &drawing.shapes[0];
        (shape.to_page * shape.path.clone()).bounding_box()
    };
    for (css, plain) in [
        ("translate(40px,10px) rotate(.125turn)", "translate(40 10) rotate(45)"),
        ("translate(1in, -5mm) rotate(50grad)", "translate(96 -18.897638) rotate(45)"),
        ("skewX(0.5rad) scale(2)", "skewX(28.647890) scale(2)"),
        ("none", ""),
    ] {
        let wanted = boxed(&format!("<path d='M0 0h20v10z' transform='{plain}'/>"));
        for content in [
            format!("<path d='M0 0h20v10z' style='transform: {css}'/>"),
            format!("<style>path{{transform:{css}}}</style><path d='M0 0h20v10z'/>"),
        ] {
            let is = boxed(&content);
            let off = [is.x0 - wanted.x0, is.y0 - wanted.y0, is.x1 - wanted.x1, is.y1 - wanted.y1];
            assert!(off.iter().all(|off| off.abs() < 1e-4), "{css}: {is:?} {wanted:?}");
        }
    }
}

/// What a browser obeys and is not read here.
#[test]
fn selectors_transforms_and_names_that_are_not_read_are_told() {
    let path = "<path d='M9 9h9v9z'/>";
    for selector in
        ["path[d^=M]", "[id]", ".\u{e9}", "path:not(.k)", "g ~ path", ".a\\:b", "path:nth-child(2)"]
    {
        let sheet = format!("<style>{selector}{{fill:none}}</style>{path}");
        let (_, findings) = take(&sheet);
        let text = format!("the style rule \u{201c}{selector}\u{201d} is not read.");
        assert!(findings.iter().any(|f| f.text == text), "{selector}: {findings:?}");
    }
    for selector in [
        "path",
        "*",
        "g > path, .k",
        "a:hover",
        "path:first-child",
        "[d~=x]",
        "path[d]",
        "#a.b + g",
    ] {
        let sheet = format!("<style>{selector}{{stroke-width:2}}</style>{path}");
        assert_eq!(told(&sheet), [], "{selector}");
    }
    for style in ["translate:9px", "rotate:9deg", "scale:2", "transform-box:fill-box"] {
        let content = format!("<path d='M9 9h9v9z' style='{style}'/>");
        assert_eq!(told(&content), [("style-transform", Place::text(2, 1))], "{style}");
    }
    assert_eq!(told(&format!("{path}<path d='M9 9h9v9z' style='rotate:none'/>")), []);
    let clone = format!("{path}<defs><path id='a b' d='M9 9h9v9z'/></defs><use href='#a b'/>");
    assert_eq!(told(&clone), []);
}

/// CSS Syntax 3, 2.2: a value that can't be read is dropped, so what is inherited holds.
#[test]
fn values_that_mean_nothing_leave_what_is_inherited() {
    let ring = "d='M10 10h40v40h-40zM20 20h20v20h-20z'";
    let line = "d='M10 50h40' stroke='#000' stroke-width='10'";
    for (around, given, path, wanted) in [
        ("fill-rule='evenodd'", "fill-rule", ring, 1200.0),
        ("fill='none'", "fill", ring, 0.0),
        ("visibility='hidden'", "visibility", ring, 0.0),
        ("stroke-linecap='square'", "stroke-linecap", line, 500.0),
        (
            "stroke-linejoin='bevel' fill='none' stroke='#000' stroke-width='20'",
            "stroke-linejoin",
            "d='M20 20h40v40'",
            1550.0,
        ),
        ("stroke='#000' stroke-width='10'", "stroke", "d='M10 50h40'", 400.0),
        (
            "color='#fff'",
            "color",
            "fill='currentColor' stroke='#000' stroke-width='2' d='M10 10h40v40h-40z'",
            320.0,
        ),
        ("fill-opacity='0'", "fill-opacity", ring, 0.0),
    ] {
        let attribute = format!("<g {around}><path {given}='blurple' {path}/></g>");
        let column = 5 + around.len() as u32;
        assert_eq!(told(&attribute)[0], ("attribute-unreadable", Place::text(2, column)));
        let style = format!("<g {around}><path style='{given}:blurple' {path}/></g>");
        let sheet = format!("<style>path{{{given}:blurple}}</style><g {around}><path {path}/></g>");
        for content in [&style, &sheet] {
            assert_eq!(told(content)[0].0, "value-unreadable", "{content}");
        }
        for content in [attribute, style, sheet] {
            let found = if wanted == 0.0 && blank(&content) { 0.0 } else { area(&content) };
            near(found, wanted);
        }
    }
}

/// Whether nothing is to be seen, which is told apart.
fn blank(content: &str) -> bool {
    matches!(visible(&take(content).0, &InkSettings::default()), Err(InkError::Nothing))
}

/// CSS Syntax 3, 4.3.3 and 4.3.12: a unit stands right behind its number, a digit behind its point.
#[test]
fn lengths_with_a_blank_or_a_bare_point_are_not_given() {
    let square = "<path d='M60 60h20v20h-20z'/>";
    for fault in ["40 px", "2.e1", "40.", "40.px", "40 %"] {
        for (shape, wanted) in [
            (format!("<rect width='{fault}' height='40'/>"), 400.0),
            (format!("<circle cx='20' cy='20' r='{fault}'/>"), 400.0),
            (format!("<path d='M5 5h40' stroke='#000' stroke-width='{fault}'/>"), 440.0),
            (format!("<path d='M5 5h40' style='stroke:#000;stroke-width:{fault}'/>"), 440.0),
            (format!("<path d='M5 5h40' stroke='#000' stroke-dasharray='{fault}'/>"), 440.0),
        ] {
            let content = format!("{shape}{square}");
            near(area(&content), wanted);
            let codes: Vec<_> = told(&content).into_iter().map(|(code, _)| code).collect();
            assert!(codes.iter().all(|code| code.ends_with("-unreadable")), "{content}: {codes:?}");
            assert_eq!(codes.len(), 1, "{content}: {codes:?}");
        }
    }
}

/// The same of the page, whose size is clear; a browser shows it as large as its window.
#[test]
fn a_page_s_size_with_a_blank_is_told() {
    for (size, is_told) in [("20 mm", true), ("2.e1mm", true), (" 20mm ", false)] {
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='{size}' height='20mm'><path d='M0 0h9v9z'/></svg>"
        );
        let (drawing, findings) = read(svg.as_bytes(), &ReadSettings::default()).unwrap();
        assert!((drawing.page_mm.0 - 20.0).abs() < 1e-4, "{size}: {:?}", drawing.page_mm);
        assert_eq!(findings.iter().any(|f| f.code == "page-size-loose"), is_told, "{size}");
    }
}

/// SVG 2, 5.8: `requiredFeatures` is gone.
#[test]
fn required_features_are_no_condition() {
    let content = "<switch><path requiredFeatures='http://example.org/none' d='M0 0h20v20h-20z'/>\
                   <path d='M0 0h40v20h-40z'/></switch>";
    near(area(content), 400.0);
    assert_eq!(told(content), []);
}

/// URL Standard, fragments: names in links are percent-encoded UTF-8.
#[test]
fn links_are_decoded() {
    let parts = "<defs><path id='tür' d='M0 0h20v20h-20z'/></defs><clipPath id='ö'><path d='M0 0h20v20h-20z'/></clipPath>";
    let page = "d='M0 0H90V90H0z'";
    for content in [
        "<use href='#t%C3%BCr'/>",
        "<use xlink:href='#t%c3%bcr'/>",
        &format!("<path {page} clip-path='url(#%C3%B6)'/>"),
        &format!("<path {page} style='clip-path:url(\"#%C3%B6\");fill:#000'/>"),
        &format!("<style>.a{{clip-path:url(#%C3%B6)}}</style><path class='a' {page}/>"),
    ] {
        near(area(&format!("{parts}{content}")), 400.0);
        assert_eq!(told(&format!("{parts}{content}")), [], "{content}");
    }
}

/// The same of blanks, and CSS Syntax 3, 4.3.6: without quotation marks, no link has one (a browser drew all of
/// these so).
#[test]
fn links_find_names_with_blanks() {
    let parts = "<defs><path id='a b' d='M0 0h20v20h-20z'/></defs><clipPath id='c d'><path d='M0 0h20v20h-20z'/></clipPath>";
    let page = "d='M0 0H90V90H0z'";
    for content in [
        "<use href='#a%20b'/>",
        "<use xlink:href=' #a b '/>",
        &format!("<path {page} clip-path='url(#c%20d)'/>"),
        &format!("<path {page} clip-path='url( \"#c d\" )'/>"),
        &format!("<path {page} style=\"clip-path:url(&quot;#c d&quot;)\"/>"),
        &format!("<style>.a{{clip-path:url('#c d')}}</style><path class='a' {page}/>"),
    ] {
        near(area(&format!("{parts}{content}")), 400.0);
        assert_eq!(told(&format!("{parts}{content}")), [], "{content}");
    }
    let bare = format!("{parts}<path {page} clip-path='url(#c d)'/>");
    near(area(&bare), 8100.0);
    assert_eq!(told(&bare)[0].0, "clip-missing");
    // A name that is written like a code is none to a link with that code.
    let coded = "<defs><path id='a%20b' d='M0 0h20v20h-20z'/></defs>";
    assert_eq!(told(&format!("{coded}<use href='#a%20b'/>"))[0].0, "link-missing");
    near(area(&format!("{coded}<use href='#a%2520b'/>")), 400.0);
}

/// XML 1.0, 3.3.2; a browser follows such defaults.
#[test]
fn defaults_of_the_document_type_are_told() {
    for (list, name) in [
        ("path fill CDATA 'none'", Some("fill")),
        ("path id ID #IMPLIED fill-rule (nonzero|evenodd) \"evenodd\"", Some("fill-rule")),
        ("path fill CDATA #FIXED 'none'", Some("fill")),
        ("path fill CDATA #IMPLIED", None),
        ("svg xmlns CDATA #FIXED 'http://www.w3.org/2000/svg' xmlns:x CDATA 'a'", None),
    ] {
        let svg = format!(
            "<!DOCTYPE svg [\n<!-- <!ATTLIST g fill CDATA 'none'> -->\n  <!ATTLIST {list}>\n]>\n\
             <svg xmlns='http://www.w3.org/2000/svg' width='9mm' height='9mm'><path d='M0 0h9v9z'/></svg>"
        );
        let (_, findings) = read(svg.as_bytes(), &ReadSettings::default()).unwrap();
        let told: Vec<_> = findings.iter().map(|f| (f.code, f.place)).collect();
        match name {
            Some(name) => {
                assert_eq!(told, [("default-ignored", Place::text(3, 3))], "{list}");
                assert!(findings[0].text.contains(&format!("gives {name} a value")), "{list}");
            }
            None => assert_eq!(told, [], "{list}"),
        }
    }
}
