//! The HPGL reader against worked examples of the language's references.
//!
//! `tests/data/hpgl-vectors.json`: inputs from HP's 7470A and PCL 5 manuals and LaserJet support
//! documents as named in each vector; expected polylines computed with ezdxf 1.4.5 (MIT), a general
//! CAD library, with its known faults corrected, and compared with the figures in the manuals.

use bladewright::geometry::{Point, distance_to_segment};
use bladewright::hpgl::{self, Command, StepKind, TraceSettings};
use proptest::prelude::*;

struct Drawn {
    lines: Vec<Vec<Point>>,
    end: Point,
    down: bool,
}

fn draw(bytes: &[u8], settings: &TraceSettings) -> Drawn {
    let (commands, _) = hpgl::read(bytes);
    let (trace, _) = hpgl::trace(&commands, settings);
    let mut drawn = Drawn { lines: vec![], end: Point::ORIGIN, down: false };
    for step in trace.steps {
        match step.kind {
            StepKind::Lower => {
                drawn.down = true;
                drawn.lines.push(vec![drawn.end]);
            }
            StepKind::Raise => drawn.down = false,
            StepKind::Move(p) => {
                drawn.end = p;
                if drawn.down {
                    drawn.lines.last_mut().unwrap().push(p);
                }
            }
            _ => {}
        }
    }
    drawn.lines.retain(|line| line.len() > 1);
    drawn
}

fn point(value: &serde_json::Value) -> Point {
    Point::new(value[0].as_f64().unwrap(), value[1].as_f64().unwrap())
}

#[test]
fn the_references_examples_draw_what_they_say() {
    let text = include_str!("data/hpgl-vectors.json");
    let all: serde_json::Value = serde_json::from_str(text).unwrap();
    let vectors = all["vectors"].as_array().unwrap();
    assert!(vectors.len() >= 22);
    for vector in vectors {
        let name = vector["name"].as_str().unwrap();
        let input: Vec<u8> =
            vector["input_latin1"].as_str().unwrap().chars().map(|c| c as u8).collect();
        let mut settings = TraceSettings::default();
        if let Some(points) = vector["default_p1p2"].as_array() {
            settings.p1p2 = [point(&points[0]), point(&points[1])];
        }
        let drawn = draw(&input, &settings);
        let expected: Vec<Vec<Point>> = vector["polylines_plu"]
            .as_array()
            .unwrap()
            .iter()
            .map(|line| line.as_array().unwrap().iter().map(point).collect())
            .collect();
        assert_eq!(drawn.lines.len(), expected.len(), "{name}");
        for (ours, theirs) in drawn.lines.iter().zip(&expected) {
            // Curves may be chorded elsewhere: compare as curves, 2 units for Beziers.
            let band = if input.windows(2).any(|w| w == b"BR" || w == b"BZ") { 2.5 } else { 1e-3 };
            if band < 1.0 {
                assert_eq!(ours.len(), theirs.len(), "{name}");
            }
            let near = |p: &Point, line: &[Point]| {
                line.windows(2)
                    .map(|w| distance_to_segment(*p, w[0], w[1]))
                    .fold(f64::INFINITY, f64::min)
                    <= band
            };
            assert!(ours.iter().all(|p| near(p, theirs)), "{name}");
            assert!(theirs.iter().all(|p| near(p, ours)), "{name}");
        }
        assert!(drawn.end.distance(point(&vector["end_plu"])) < 1e-3, "{name}: {:?}", drawn.end);
        assert_eq!(drawn.down, vector["pen_down"].as_bool().unwrap(), "{name}");
    }
}

#[test]
fn text_runs_to_its_terminator() {
    let (commands, findings) = hpgl::read(b"LBPD99,99;PU\x03PD;DT#LBa;b#SM*;COxyz;PU;");
    let names: Vec<String> = commands
        .iter()
        .map(|c| match &c.command {
            Command::Plain(m, _) => m.to_string(),
            Command::Text(m, text) => format!("{m}={}", String::from_utf8_lossy(text)),
            other => format!("{other:?}"),
        })
        .collect();
    assert_eq!(names, ["LB=PD99,99;PU", "PD", "DT=#", "LB=a;b", "SM=*", "CO=xyz", "PU"]);
    assert!(findings.is_empty(), "{findings:?}");
}

#[test]
fn a_window_draws_only_what_lies_inside() {
    let drawn = draw(b"IN;SP1;IW0,0,100,100;PU-50,50;PD150,50;PU;", &TraceSettings::default());
    assert_eq!(drawn.lines.len(), 1);
    assert_eq!(drawn.lines[0], [Point::new(0.0, 50.0), Point::new(100.0, 50.0)]);
}

#[test]
fn unknown_instructions_are_named_with_their_byte() {
    let (commands, _) = hpgl::read(b"IN;QZ1,2;PU;");
    let (_, findings) = hpgl::trace(&commands, &TraceSettings::default());
    assert_eq!(findings.len(), 1);
    assert_eq!(findings[0].place.byte, Some(3));
}

/// Plot files for printers begin so: `PAPER` would be PA and an encoded line up to the next semicolon.
#[test]
fn lines_for_a_printer_are_passed_over_and_told_once() {
    let lines =
        b"\x1b%-12345X@PJL SET PAPER=A4\r\n@PJL ENTER LANGUAGE=HPGL2\r\nIN;SP1;PU0,0;PD400,0;PU;";
    let (commands, findings) = hpgl::read(lines);
    let plain = hpgl::read(b"IN;SP1;PU0,0;PD400,0;PU;").0;
    let all = |list: &[hpgl::Located]| list.iter().map(|c| c.command.clone()).collect::<Vec<_>>();
    assert_eq!(all(&commands)[1..], all(&plain));
    let told: Vec<_> = findings.iter().map(|f| (f.code, f.place.byte)).collect();
    assert_eq!(told, [("printer-lines", Some(9))]);
    let mut reader = hpgl::Reader::default();
    let mut read = Vec::new();
    lines.iter().for_each(|&byte| read.extend(reader.take(&[byte])));
    let (last, findings) = reader.end();
    read.extend(last);
    assert_eq!((all(&read), findings.len()), (all(&commands), 1));
}

/// A page advance (PCL 5 manual, part II: `PG`) ends most jobs; in the midst of one, what follows lies on
/// other film. `LT` alone means solid lines, which is how all are drawn.
#[test]
fn film_that_moves_on_amid_a_job_is_told_once() {
    let codes = |text: &str| {
        let (commands, _) = hpgl::read(text.as_bytes());
        let (_, findings) = hpgl::trace(&commands, &TraceSettings::default());
        findings.iter().map(|finding| (finding.code, finding.place.byte)).collect::<Vec<_>>()
    };
    let line = "PU0,0;PD400,0;PU;";
    assert_eq!(codes(&format!("IN;PG;LT;{line}PG;")), []);
    // HP-GL/2 has MC (merge control) among its set-up instructions, and CAD programs send it.
    assert_eq!(codes(&format!("IN;MC0;{line}PG;")), []);
    for advance in ["PG;", "AF;", "AH;", "FR;"] {
        let pages = format!("IN;{line}{advance}PU;{line}{advance}{line}{advance}");
        assert_eq!(codes(&pages), [("film-advanced", Some(20))], "{pages}");
    }
    assert_eq!(codes(&format!("IN;LT2;{line}")), [("instruction-unknown", Some(3))]);
}

#[test]
fn device_control_may_stand_inside_a_list() {
    let drawn = draw(b"PU0,0;PD10,0,\x1b.B10,10;PU;", &TraceSettings::default());
    assert_eq!(drawn.lines[0].len(), 3);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]
    #[test]
    fn any_bytes_are_read_without_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        draw(&bytes, &TraceSettings::default());
    }

    #[test]
    fn bytes_that_look_like_hpgl_are_read_without_panic(
        text in "([A-Z]{2}(-?[0-9]{1,6}(\\.[0-9]+)?,?){0,9};?|PE[<=>:7?-~]{0,9};|PM[0-2];|SC;){0,12}"
    ) {
        draw(text.as_bytes(), &TraceSettings::default());
    }
}
