//! The proof on the command line: what the report states of a job's truth, what a wrong offset would
//! do, jobs from elsewhere, and the tolerance that makes `check` fail.
//!
//! Expected figures: trailing-knife table of wrong offsets and of the uncompensated corner, computed
//! from the closed form of the tractrix (swing with a blade of another offset; blade dragged around
//! a corner of 90°: missed by 0.663 d).

mod program;

use std::path::Path;
use std::process::Output;

use program::run;
use serde_json::Value;

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A price tag with a hole.
const TAG: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm"
  viewBox="0 0 60 40"><path fill-rule="evenodd" d="M10 8h36v24h-36zM16 17h6v6h-6z"/></svg>"##;

/// A square of 20 mm, cut as it was drawn from the middle of a side, by a program that knows no blade.
const PLAIN_SQUARE: &str =
    "IN;SP1;PU800,400;PD1200,400,1200,1200,400,1200,400,400,800,400;PU0,0;SP0;";

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("tag.svg"), TAG).unwrap();
    std::fs::write(folder.path().join("square.hpgl"), PLAIN_SQUARE).unwrap();
    folder
}

fn report(folder: &Path, arguments: &[&str]) -> Value {
    let output = run(folder, &[&["check"], arguments, &["--json"]].concat());
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", said(&output));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn number(report: &Value, key: &str) -> f64 {
    report[key].as_f64().unwrap_or_else(|| panic!("{key} in {report}"))
}

#[test]
fn the_report_states_how_true_the_cut_is_and_where_it_is_not() {
    let folder = folder();
    let report = report(folder.path(), &["tag.svg"]);
    assert!(number(&report, "tip_error_mm") < 0.025);
    // The first cut turns the blade.
    let contour = report["tip_error_contour"].as_u64().unwrap();
    assert!((2..=3).contains(&contour));
    let [x, y] = [0, 1].map(|i| report["tip_error_at_mm"][i].as_f64().unwrap());
    let [left, low] = [0, 1].map(|i| report["at_mm"][i].as_f64().unwrap());
    assert!(x >= left - 0.1 && x <= left + 37.0 && y >= low - 0.1 && y <= low + 25.0, "{report}");
    assert!(number(&report, "start_gap_mm") < 0.025);
    assert!(number(&report, "closing_gap_mm") < 0.025);
    assert_eq!(report["uncut_bridges"], 0);
    assert_eq!(report["longest_stray_mm"], 0.0);
    assert!(report["longest_stray_at_mm"].is_null());
    let text = run(folder.path(), &["check", "tag.svg"]);
    let text = String::from_utf8(text.stdout).unwrap();
    assert!(text.contains("mm at most, simulated, at ") && text.contains("(cut "), "{text}");
    assert!(text.contains("every contour closes, to 0.0"), "{text}");
}

#[test]
fn a_true_offset_shows_the_corners_that_it_would_cut() {
    let folder = folder();
    // True offset, set offset, largest deviation at corners of 90°.
    for (set, expected) in [(0.15, 0.088), (0.20, 0.056), (0.30, 0.074), (0.35, 0.141)] {
        let offset = format!("{set}mm");
        let arguments = ["tag.svg", "--blade-offset", &offset, "--true-offset", "0.25mm"];
        let report = report(folder.path(), &arguments);
        let error = number(&report, "tip_error_mm");
        // Swings in chords and positions on the grid of 0.025 mm.
        assert!((error - expected).abs() < 0.025, "set {set}: {error}, expected {expected}");
        assert_eq!(number(&report, "true_offset_mm"), 0.25);
        assert!(number(&report, "longest_stray_mm") > 0.05, "{report}");
    }
    let right = ["tag.svg", "--blade-offset", "0.25mm", "--true-offset", "0.25mm"];
    assert!(number(&report(folder.path(), &right), "tip_error_mm") < 0.025);
}

#[test]
fn a_picture_shows_what_the_tip_would_do() {
    let folder = folder();
    let picture = |name: &str, more: &[&str]| {
        let arguments = [&["check", "tag.svg", "--picture", name], more].concat();
        let output = run(folder.path(), &arguments);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        std::fs::read(folder.path().join(name)).unwrap()
    };
    let (right, wrong) = (picture("a.svg", &[]), picture("b.svg", &["--true-offset", "0.4mm"]));
    assert!(right.starts_with(b"<") && right != wrong);
    assert!(picture("c.png", &["--true-offset", "0.4mm"]).starts_with(b"\x89PNG"));
    let text = run(folder.path(), &["check", "tag.svg", "--picture", "a.txt"]);
    assert_eq!(text.status.code(), Some(2), "{}", said(&text));
}

#[test]
fn a_job_from_elsewhere_is_judged_by_its_own_lines() {
    let folder = folder();
    let arguments = ["square.hpgl", "--machine", "plain-hpgl", "--blade-offset"];
    for offset in [0.25, 0.5] {
        let length = format!("{offset}mm");
        let report = report(folder.path(), &[&arguments[..], &[&length]].concat());
        let error = number(&report, "tip_error_mm");
        assert!((error / offset - 0.663).abs() < 0.01, "{error}");
        assert_eq!(report["tip_error_contour"], 1);
        let codes: Vec<_> =
            report["findings"].as_array().unwrap().iter().map(|f| &f["code"]).collect();
        assert!(codes.contains(&&Value::from("lines-assumed")), "{codes:?}");
        assert!(codes.contains(&&Value::from("tip-off-line")), "{codes:?}");
    }
    let pen = report(folder.path(), &[&arguments[..], &["0"]].concat());
    assert_eq!(number(&pen, "tip_error_mm"), 0.0);
    assert_eq!(pen["uncut_bridges"], 0);
}

/// Round pieces are begun in the direction of the blade, so that nothing has to be swung: what was led
/// is told from what was not by where the tip begins.
#[test]
fn round_pieces_need_no_swing_to_be_known_as_led() {
    let folder = folder();
    let told = |code: &str, report: &Value| {
        report["findings"].as_array().unwrap().iter().any(|f| f["code"] == code)
    };
    for (number, radius) in [(1, 1.0), (1, 5.0), (3, 5.0), (3, 20.0), (1, 40.0)] {
        let pitch = 2.0 * radius + 4.0;
        let circle = |i: i32| {
            format!("<circle cx='{}' cy='{}' r='{radius}'/>", (f64::from(i) + 0.5) * pitch, pitch)
        };
        let circles: String = (0..number).map(circle).collect();
        let (width, height) = (pitch * f64::from(number), 2.0 * pitch);
        let drawing = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='{width}mm' height='{height}mm' \
             viewBox='0 0 {width} {height}'>{circles}</svg>"
        );
        std::fs::write(folder.path().join("round.svg"), drawing).unwrap();
        for (options, led) in [
            (&["--machine", "roll-24"][..], true),
            (&["--machine", "plain-hpgl", "--blade-offset", "0", "--overcut", "0"], false),
        ] {
            let arguments = [&["write", "round.svg", "-o", "round.hpgl"], options].concat();
            let output = run(folder.path(), &arguments);
            assert_eq!(output.status.code(), Some(0), "{}", said(&output));
            let check = ["check", "round.hpgl", "--machine", "roll-24", "--json"];
            let output = run(folder.path(), &check);
            let report: Value = serde_json::from_slice(&output.stdout).unwrap();
            assert!(told("lines-assumed", &report));
            assert_eq!(told("tip-off-line", &report), !led, "{number} of {radius}: {report}");
        }
    }
}

/// With a small offset the plotter's units are coarse against a swing; what was led is known all the same, and
/// what was not is not taken for it.
#[test]
fn swings_of_a_few_units_are_known_as_such() {
    let folder = folder();
    let lens = "M20 60A50 50 0 0 1 100 60A50 50 0 0 1 20 60z";
    let star = "M60 20L66 50L98 48L70 64L84 92L60 72L36 92L50 64L22 48L54 50z";
    for shape in [lens, "M20 20H60V60H20z", star, "M20 20L90 24L20 28z"] {
        let drawing = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='120mm' height='120mm' \
             viewBox='0 0 120 120'><path d='{shape}'/></svg>"
        );
        std::fs::write(folder.path().join("few.svg"), drawing).unwrap();
        for offset in ["0.1mm", "0.12mm", "0.15mm"] {
            for machine in ["roll-15", "plain-hpgl"] {
                for (written, led) in [(offset, true), ("0", false)] {
                    let named = ["--machine", machine, "--blade-offset"];
                    let write = ["write", "few.svg", "-o", "few.hpgl"];
                    let output = run(folder.path(), &[&write, &named[..], &[written]].concat());
                    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
                    let check = ["check", "few.hpgl"];
                    let output = run(folder.path(), &[&check, &named[..], &[offset]].concat());
                    let known = said(&output).contains("The job leads a trailing blade");
                    assert_eq!(known, led, "{shape} {offset} {machine}: {}", said(&output));
                }
            }
        }
    }
}

#[test]
fn a_bridge_that_is_left_uncut_is_counted() {
    let folder = folder();
    let open = PLAIN_SQUARE.replace("400,400,800,400;", "400,400,788,400;");
    std::fs::write(folder.path().join("open.hpgl"), open).unwrap();
    let pen = ["open.hpgl", "--machine", "plain-hpgl", "--blade-offset", "0"];
    let report = report(folder.path(), &pen);
    assert_eq!(report["uncut_bridges"], 1);
    assert!((number(&report, "closing_gap_mm") - 0.3).abs() < 1e-9, "{report}");
    assert_eq!(report["closing_gap_contour"], 1);
    let text =
        String::from_utf8(run(folder.path(), &[&["check"], &pen[..]].concat()).stdout).unwrap();
    assert!(text.contains("1 contour does not close and hangs on, by 0.300 mm"), "{text}");
}

/// A line from here to there has no end that was to come back, in one stroke or in many.
#[test]
fn open_lines_need_not_close() {
    let folder = folder();
    for line in ["900,100", "300,100,500,100,900,100", "900,100,900,900"] {
        let job = format!("IN;SP1;PU100,100;PD{line};PU;SP0;");
        std::fs::write(folder.path().join("line.hpgl"), job).unwrap();
        let report =
            report(folder.path(), &["line.hpgl", "--machine", "plain-hpgl", "--blade-offset", "0"]);
        assert_eq!(report["uncut_bridges"], 0, "{line}");
    }
}

#[test]
fn our_own_jobs_are_known_by_their_swings() {
    let folder = folder();
    let blade = ["--machine", "plain-hpgl", "--blade-offset", "0.5mm"];
    run(folder.path(), &[&["write", "tag.svg", "-o", "tag.hpgl"], &blade[..]].concat());
    let own = report(folder.path(), &[&["tag.hpgl"], &blade[..]].concat());
    assert!(own["tip_error_mm"].is_null(), "its own tip cannot be wrong: {own}");
    assert!(number(&own, "closing_gap_mm") < 0.025);
    let really = [&["tag.hpgl", "--true-offset", "0.6mm"], &blade[..]].concat();
    let really = report(folder.path(), &really);
    assert!(number(&really, "tip_error_mm") > 0.05, "{really}");
    let axis = report(folder.path(), &[&["tag.hpgl", "--wanted", "axis"], &blade[..]].concat());
    assert!(number(&axis, "tip_error_mm") > 0.3, "{axis}");
}

#[test]
fn a_tolerance_makes_it_fail() {
    let folder = folder();
    let code = |arguments: &[&str]| {
        let output = run(folder.path(), &[&["check"], arguments].concat());
        (output.status.code(), said(&output))
    };
    let plain = ["square.hpgl", "--machine", "plain-hpgl", "--blade-offset", "0.25mm"];
    let (fails, why) = code(&[&plain[..], &["--tip-tolerance", "0.05mm"]].concat());
    assert_eq!(fails, Some(1), "{why}");
    assert!(why.contains("strays by 0.166 mm, more than the 0.050 mm"), "{why}");
    assert_eq!(code(&[&plain[..], &["--tip-tolerance", "0.2mm"]].concat()).0, Some(0));
    assert_eq!(code(&["tag.svg", "--tip-tolerance", "0.025mm", "--strict"]).0, Some(0));
    let wrong = ["tag.svg", "--true-offset", "0.4mm", "--tip-tolerance", "0.025mm"];
    assert_eq!(code(&wrong).0, Some(1));
    let (usage, why) = code(&["tag.svg", "--tip-tolerance", "0mm"]);
    assert_eq!(usage, Some(2), "{why}");
}

#[test]
fn a_true_offset_needs_a_blade_that_trails() {
    let folder = folder();
    let pen = ["check", "tag.svg", "--machine", "flatbed-a4", "--true-offset", "0.3mm"];
    let output = run(folder.path(), &pen);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("changes nothing"), "{}", said(&output));
}

/// The corners of a job show for which offset it was led, whatever is set: what another blade makes of it
/// is the table of wrong offsets at the head.
#[test]
fn a_job_that_leads_another_blade_is_told() {
    let folder = folder();
    for (led, set, expected) in [(0.20, 0.25, 0.056), (0.15, 0.25, 0.088), (0.35, 0.25, 0.141)] {
        let offsets = [led, set].map(|mm| format!("{mm}mm"));
        let write = ["write", "tag.svg", "-o", "led.hpgl", "--blade-offset", &offsets[0]];
        assert_eq!(run(folder.path(), &write).status.code(), Some(0));
        let report = report(folder.path(), &["led.hpgl", "--blade-offset", &offsets[1]]);
        let error = number(&report, "tip_error_mm");
        assert!((error - expected).abs() < 0.025, "{led} {set}: {error}");
        let findings = report["findings"].as_array().unwrap();
        let told = findings.iter().find(|f| f["code"] == "offset-differs").unwrap();
        let text = told["text"].as_str().unwrap();
        let near = |mm: f64| text.contains(&format!("is about {mm:.2} mm"));
        assert!(near(led) || near(led - 0.01) || near(led + 0.01), "{led}: {text}");
        assert!(findings.iter().all(|f| f["code"] != "lines-assumed"), "{report}");
    }
    let pen = run(folder.path(), &["check", "led.hpgl", "--blade-offset", "0"]);
    assert!(said(&pen).contains("leads a blade whose offset is about 0.35 mm"), "{}", said(&pen));
}

/// Two plotter units are an offset, too; and narrow pieces that a wide blade turns about lead none.
#[test]
fn the_smallest_offsets_are_led_and_narrow_pieces_are_not() {
    let folder = folder();
    let write = ["write", "tag.svg", "-o", "led.hpgl", "--blade-offset", "0.05mm"];
    assert_eq!(run(folder.path(), &write).status.code(), Some(0));
    let own = run(folder.path(), &["check", "led.hpgl", "--blade-offset", "0.05mm"]);
    assert!(said(&own).contains("taken as written for an offset of 0.050 mm"), "{}", said(&own));
    let strips: String = (0..8)
        .map(|i| format!("PU{0},2000;PD{1},2000,{1},2400,{0},2400,{0},2000;", i * 80, i * 80 + 32))
        .collect();
    let job = PLAIN_SQUARE.replace("PU0,0;", &strips);
    std::fs::write(folder.path().join("strips.hpgl"), job).unwrap();
    let plain = run(folder.path(), &["check", "strips.hpgl", "--blade-offset", "0.9mm"]);
    assert!(said(&plain).contains("leads no trailing blade"), "{}", said(&plain));
}

#[test]
fn what_is_wanted_of_a_drawing_is_known() {
    let folder = folder();
    let output = run(folder.path(), &["check", "tag.svg", "--wanted", "axis"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("--wanted is about a job"), "{}", said(&output));
}
