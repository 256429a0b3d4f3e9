//! `compare` and the page of `preview` on the command line; the page itself is worked by
//! `tests/browser/`.

mod program;

use std::process::Output;

use program::run;

/// Twelve squares, drawn in an order that wanders to and fro.
fn sheet() -> String {
    let square = |i: usize| {
        let place = i * 5 % 12;
        format!(r#"<rect x="{}" y="{}" width="8" height="8"/>"#, place % 4 * 20, place / 4 * 20)
    };
    let squares: String = (0..12).map(square).collect();
    let size = r#"width="80mm" height="60mm" viewBox="0 0 80 60""#;
    format!(r#"<svg xmlns="http://www.w3.org/2000/svg" {size}>{squares}</svg>"#)
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sheet.svg"), sheet()).unwrap();
    folder
}

fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn three_orders_of_a_drawing_stand_above_their_floors() {
    let folder = folder();
    let output = run(folder.path(), &["compare", "sheet.svg", "--json", "-m", "plain-hpgl"]);
    assert_eq!(output.status.code(), Some(0));
    let told = json(&output);
    let jobs = told["jobs"].as_array().unwrap();
    let names: Vec<_> = jobs.iter().map(|job| job["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["drawn", "nearest", "best"]);
    let travel: Vec<f64> = jobs.iter().map(|job| job["travel_mm"].as_f64().unwrap()).collect();
    assert!(travel[2] <= travel[1] && travel[1] < travel[0], "{travel:?}");
    for job in jobs {
        assert!(job["above_chosen_percent"].as_f64().unwrap() > -1e-6, "{job}");
        assert!(job["above_any_percent"].as_f64().unwrap() > -1e-6, "{job}");
    }
}

/// Each row of `compare` is what `write` says of the same order.
#[test]
fn the_figures_are_those_of_write() {
    let folder = folder();
    let jobs = json(&run(folder.path(), &["compare", "sheet.svg", "--json"]));
    for (i, order) in ["drawn", "nearest", "best"].into_iter().enumerate() {
        let arguments = ["write", "sheet.svg", "--json", "--order", order, "-o", "sheet.hpgl"];
        let report = json(&run(folder.path(), &arguments));
        for key in ["travel_mm", "cut_mm", "lifts", "time_s", "bytes"] {
            assert_eq!(jobs["jobs"][i][key], report[key], "{order} {key}");
        }
    }
}

#[test]
fn jobs_from_anywhere_are_compared_with_the_first() {
    let folder = folder();
    let job = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    job("far.hpgl", "IN;PU4000,0;PD4400,0;PU0,0;PD400,0;PU0,0;");
    job("near.hpgl", "IN;PU0,0;PD400,0;PU4000,0;PD4400,0;PU0,0;");
    let arguments = ["compare", "far.hpgl", "near.hpgl", "--csv", "-m", "plain-hpgl"];
    let output = run(folder.path(), &arguments);
    let text = String::from_utf8(output.stdout).unwrap();
    let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split(',').collect()).collect();
    // 100 + 110 + 10 mm, and 90 + 110 mm.
    assert_eq!(&rows[1][..3], ["far.hpgl", "220.0", "0.0"]);
    assert_eq!(&rows[2][..3], ["near.hpgl", "200.0", "-9.09"]);
}

#[test]
fn a_page_is_one_file_that_is_the_same_each_time() {
    let folder = folder();
    let page = || {
        let output = run(folder.path(), &["preview", "sheet.svg", "-o", "sheet.html"]);
        assert_eq!(output.status.code(), Some(0));
        std::fs::read_to_string(folder.path().join("sheet.html")).unwrap()
    };
    let first = page();
    assert_eq!(first, page());
    assert!(first.contains("default-src 'none'"));
    assert!(first.contains("bladewright write sheet.svg --order nearest"));
}

#[test]
fn wrong_places_and_endings_are_told() {
    let folder = folder();
    let usage = [
        &["preview", "sheet.svg", "-o", "sheet.pdf"][..],
        &["preview", "sheet.svg", "-o", "sheet.svg"],
        &["compare"],
        &["compare", "sheet.svg", "--json", "--csv"],
    ];
    for arguments in usage {
        assert_eq!(run(folder.path(), arguments).status.code(), Some(2), "{arguments:?}");
    }
    std::fs::write(folder.path().join("empty.hpgl"), "IN;").unwrap();
    assert_eq!(run(folder.path(), &["compare", "empty.hpgl"]).status.code(), Some(1));
    assert_eq!(run(folder.path(), &["compare", "none.hpgl"]).status.code(), Some(1));
    assert_eq!(std::fs::read_to_string(folder.path().join("sheet.svg")).unwrap(), sheet());
}

/// The floors lie below what was found, the one for any starts below the other; a roll's bands cost
/// something, a drawing that needs none pays nothing.
#[test]
fn the_least_travel_is_told_with_what_bands_cost() {
    let report = |machine: &str| -> serde_json::Value {
        let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/opening-hours.svg");
        let arguments = ["check", demo, "--bound", "--json", "--machine", machine];
        let output = assert_cmd::Command::cargo_bin("bladewright")
            .unwrap()
            .args(arguments)
            .output()
            .unwrap();
        serde_json::from_slice(&output.stdout).unwrap()
    };
    let (roll, flat) = (report("roll-24"), report("plain-hpgl"));
    for said in [&roll, &flat] {
        let mm = |key: &str| said[key].as_f64().unwrap();
        assert!(mm("floor_any_mm") <= mm("floor_chosen_mm"));
        assert!(mm("floor_chosen_mm") <= mm("ordered_mm"));
    }
    assert!(roll["unbanded_mm"].as_f64() < roll["ordered_mm"].as_f64());
    assert!(flat["unbanded_mm"].is_null());
}

/// The films of a drawing have nothing to do with each other's orders.
#[test]
fn each_film_is_held_against_its_own_first_order() {
    let folder = folder();
    let two = sheet()
        .replace("</svg>", r##"<rect x="5" y="5" width="1" height="1" fill="#cc0000"/></svg>"##);
    std::fs::write(folder.path().join("two.svg"), two).unwrap();
    let output = run(folder.path(), &["compare", "two.svg", "--sheets", "colour", "--json"]);
    let told = json(&output);
    let drawn = |job: &&serde_json::Value| job["name"].as_str().unwrap().ends_with("drawn");
    let first: Vec<_> = told["jobs"].as_array().unwrap().iter().filter(drawn).collect();
    assert_eq!(first.len(), 2);
    assert!(first.iter().all(|job| job["travel_change_percent"] == 0.0), "{first:?}");
    assert_ne!(first[0]["travel_mm"], first[1]["travel_mm"]);
}
