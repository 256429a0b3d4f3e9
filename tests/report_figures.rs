//! The report's figures of points and facets, against the bytes split at their semicolons (HP 7470A
//! manual, p. 1-6) and closed forms of circles.

mod program;

use program::run;
use serde_json::Value;

/// A ring drawn as a polygon of 360 sides, radius 40 mm.
fn ring() -> String {
    let corner = |i: i32| {
        let (y, x) = f64::from(i).to_radians().sin_cos();
        format!("{:.4},{:.4} ", 50.0 + 40.0 * x, 50.0 + 40.0 * y)
    };
    let points: String = (0..360).map(corner).collect();
    format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100"><polygon points="{points}"/></svg>"#
    )
}

/// The report and the job of `drawing`.
fn reported(drawing: &str, options: &[&str]) -> (Value, String) {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("d.svg"), drawing).unwrap();
    let all = [&["write", "d.svg", "-o", "d.hpgl", "--json"], options].concat();
    let output = run(folder.path(), &all);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let job = std::fs::read_to_string(folder.path().join("d.hpgl")).unwrap();
    (serde_json::from_slice(&output.stdout).unwrap(), job)
}

const NO_BLADE: [&str; 6] =
    ["--machine", "plain-hpgl", "--blade-offset", "0mm", "--overcut", "0mm"];

/// Places that `job` leads the tool to while it is down, where it is lowered included.
fn led_to(job: &str) -> usize {
    let (mut down, mut places) = (false, 0);
    for instruction in job.split(';') {
        let numbers = instruction.get(2..).unwrap_or_default().split(',');
        let numbers = numbers.filter(|n| n.parse::<f64>().is_ok()).count();
        match instruction.get(..2) {
            Some("PD") => {
                places += usize::from(!down) + numbers / 2;
                down = true;
            }
            Some("PA" | "PR") if down => places += numbers / 2,
            Some("PU") => down = false,
            _ => {}
        }
    }
    places
}

#[test]
fn points_are_counted_before_and_after() {
    for (options, before) in [(vec![], 360), (vec!["--copies", "2x2"], 1440)] {
        for tolerance in ["0.01mm", "0.1mm"] {
            let tolerance = ["--tolerance", tolerance];
            let (report, job) = reported(&ring(), &[&NO_BLADE[..], &tolerance, &options].concat());
            assert_eq!(report["points_before"], before);
            assert_eq!(report["points"], led_to(&job), "{job}");
            assert!(led_to(&job) < before);
        }
    }
    // With a blade, its swings are points too.
    let (report, job) = reported(&ring(), &["--machine", "plain-hpgl"]);
    assert_eq!(report["points"], led_to(&job));
}

/// A chord of a circle of radius r turns by 2 acos(1 - s/r) where it leaves it by s.
#[test]
fn a_circle_turns_as_its_tolerance_allows() {
    let circle = r#"<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100"><circle cx="50" cy="50" r="40"/></svg>"#;
    for (tolerance, mm) in [("0.01mm", 0.01), ("0.05mm", 0.05), ("0.5mm", 0.5)] {
        let (report, _) = reported(circle, &[&NO_BLADE[..], &["--tolerance", tolerance]].concat());
        let turn = report["facet_turn_deg"].as_f64().unwrap();
        // Flattened once and thinned once, each within the tolerance, on units of 0.025 mm.
        let most = 2.0 * (1.0 - (2.0 * f64::max(mm, 0.0125) + 0.025) / 40.0f64).acos().to_degrees();
        let sides = report["points"].as_f64().unwrap() - 1.0;
        assert!(turn <= most, "{tolerance}: {turn} degrees, at most {most}");
        assert!(turn >= 0.99 * 360.0 / sides, "{tolerance}: {turn} degrees with {sides} sides");
    }
}

/// The longest way back along x from the farthest place before, mm, of a job of absolute lists in units
/// of 0.025 mm.
fn fed_back_mm(job: &str) -> f64 {
    let (mut farthest, mut back) = (0i64, 0i64);
    // What comes after the last cut moves no film that is cut again.
    let cut = &job[..job.rfind("PD").unwrap()];
    for instruction in cut.split(';').filter(|text| text.starts_with(['P'])) {
        let numbers = instruction.get(2..).unwrap_or_default().split(',');
        for x in numbers.step_by(2).filter_map(|n| n.parse::<i64>().ok()) {
            farthest = farthest.max(x);
            back = back.max(farthest - x);
        }
    }
    back as f64 * 0.025
}

/// A roll's film is fed back no farther than asked, by the written bytes; where a line alone or a kind of
/// lines that comes later needs more, that is told.
#[test]
fn film_is_fed_back_no_farther_than_asked() {
    let bars: String = (0..60)
        .map(|i| (f64::from(i * 37 % 60) * 5.0, f64::from(i * 11 % 60), f64::from(10 + i % 5 * 7)))
        .map(|(x, y, w)| format!("<rect x='{x}' y='{}' width='{w}' height='1.5'/>", y * 3.0))
        .collect();
    let sheet = |more: &str| {
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='340mm' height='190mm' viewBox='0 0 340 190'><g id='Bars'>{bars}</g>{more}</svg>"
        )
    };
    let long = "<rect x='20' y='184' width='150' height='3'/>";
    let late = "<g id='Late'><rect x='20' y='184' width='15' height='3'/></g>";
    for (more, options, most, told) in [
        ("", &["--blade-offset", "0.5mm"][..], 45.0, None),
        ("", &["--order", "nearest"], 45.0, None),
        ("", &["--order", "drawn"], 45.0, None),
        (long, &[], 150.6, Some("band-too-low")),
        (late, &["--depth", "Late=through"], 340.0, Some("fed-back")),
    ] {
        let roll = ["--machine", "roll-24", "--max-back-feed", "45mm"];
        let (report, job) = reported(&sheet(more), &[&roll[..], options].concat());
        let back = fed_back_mm(&job);
        assert!(back > 20.0 && back <= most, "{options:?}: {back} mm");
        let all = report["findings"].as_array().unwrap();
        let is_told = |code: &str| all.iter().any(|finding| finding["code"] == code);
        assert_eq!(is_told("band-too-low"), told == Some("band-too-low"), "{options:?}");
        assert_eq!(is_told("fed-back"), told == Some("fed-back"), "{options:?}");
    }
}
