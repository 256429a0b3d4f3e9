//! Layers with a treatment, a tool, a material and a depth of their own, as somebody types it: what the
//! bytes do with each, in which order; what is refused; jobs that are saved and taken up again.
//!
//! The bytes are read here by splitting them at their semicolons (HP 7470A manual, p. 1-6: a terminator
//! ends an instruction), not by the reader of the program.

mod program;

use std::path::Path;

use program::run;
use serde_json::Value;

/// A tag to cut with a hole, a frame drawn around everything, a fold, an arrow; the frame surrounds
/// what is cut, the fold crosses it.
const TAG: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">
  <g id="Outline"><path fill="#d90" fill-rule="evenodd" d="M10 10h60v40h-60zM15 15h6v6h-6z"/></g>
  <g id="Fold"><path fill="none" stroke="#00f" stroke-width=".4" d="M40 5V55"/></g>
  <g id="Ink"><rect x="5" y="5" width="70" height="50" fill="none" stroke="#000"/>
    <path fill="none" stroke="#000" stroke-width="2" d="M45 20H60V40"/></g>
</svg>"##;

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("tag.svg"), TAG).unwrap();
    folder
}

fn written(folder: &Path, options: &[&str]) -> (String, String) {
    let all = [&["write", "tag.svg", "-o", "-"], options].concat();
    let output = run(folder, &all);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{options:?}: {said}");
    (String::from_utf8(output.stdout).unwrap(), said)
}

fn refused(folder: &Path, options: &[&str]) -> String {
    let output = run(folder, &[&["write", "tag.svg", "-o", "-"], options].concat());
    assert!(matches!(output.status.code(), Some(1 | 2)), "{options:?}");
    assert!(output.stdout.is_empty(), "{options:?}");
    String::from_utf8(output.stderr).unwrap()
}

/// A tool-down path: the tool, and positions in mm.
type Path1 = (u32, Vec<(f64, f64)>);

/// The tool-down paths of absolute jobs, and whether the tool was always up when it was changed.
fn paths(job: &str) -> (Vec<Path1>, bool) {
    let (mut tool, mut at, mut down, mut up_for_change) = (0, (0.0, 0.0), false, true);
    let mut all: Vec<Path1> = Vec::new();
    for instruction in job.split(';') {
        let (name, rest) = instruction.split_at(instruction.len().min(2));
        let numbers: Vec<f64> = rest.split(',').filter_map(|n| n.parse().ok()).collect();
        match name {
            "SP" => {
                up_for_change &= !down;
                tool = numbers[0] as u32;
            }
            "PU" | "PD" => {
                if name == "PD" && !down {
                    all.push((tool, vec![at]));
                }
                down = name == "PD";
                for pair in numbers.chunks(2) {
                    at = (pair[0] * 0.025, pair[1] * 0.025);
                    if down {
                        all.last_mut().unwrap().1.push(at);
                    }
                }
            }
            _ => {}
        }
    }
    (all, up_for_change)
}

const LAYERED: [&str; 8] =
    ["-m", "flatbed-cutter", "--material", "card-200g", "--as", "Fold=score", "--as", "Ink=draw"];

#[test]
fn drawn_first_then_scored_then_cut_each_with_its_tool() {
    let folder = folder();
    let (job, _) = written(folder.path(), &LAYERED);
    let (paths, up) = paths(&job);
    assert!(up, "the tool is down at SP: {job}");
    let tools: Vec<u32> = paths.iter().map(|path| path.0).collect();
    // Frame and arrow with the pen; the fold; turning the knife, hole, outline.
    assert_eq!(tools, [3, 3, 2, 1, 1, 1]);
    assert!(!job.contains("SP3;PD") && job.starts_with("IN;SP3;") && job.ends_with("SP0;"));
    // What is drawn and scored is the drawn line itself, to half a unit, y turned up.
    let near = |p: (f64, f64), q: (f64, f64)| (p.0 - q.0).hypot(p.1 - q.1) < 0.0178;
    let along = |path: &Path1, line: &[(f64, f64)]| {
        let back: Vec<(f64, f64)> = line.iter().rev().copied().collect();
        [line, &back[..]].iter().any(|line| {
            path.1.len() == line.len() && path.1.iter().zip(*line).all(|(p, q)| near(*p, *q))
        })
    };
    assert!(paths[..2].iter().any(|path| along(path, &[(45.0, 40.0), (60.0, 40.0), (60.0, 20.0)])));
    assert!(along(&paths[2], &[(40.0, 55.0), (40.0, 5.0)]));
    // The knife's axis runs ahead of its tip: it leaves the outline's box by the offset.
    let most = |path: &Path1| path.1.iter().map(|p| p.0).fold(0.0, f64::max);
    assert!((most(&paths[5]) - 70.5).abs() < 0.05, "{}", most(&paths[5]));
    // Turned in the waste: outside the tag.
    assert!(
        paths[3].1.iter().all(|p| !(10.0..=70.0).contains(&p.0) || !(10.0..=50.0).contains(&p.1))
    );
}

#[test]
fn the_report_tells_each_tools_share_and_judges_only_the_knife() {
    let folder = folder();
    let output = run(folder.path(), &[&["check", "tag.svg", "--json"], &LAYERED[..]].concat());
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    let shares: Vec<(&str, u64, u64)> = report["works"]
        .as_array()
        .unwrap()
        .iter()
        .map(|work| {
            let number = |key: &str| work[key].as_u64().unwrap();
            (work["done"].as_str().unwrap(), number("tool"), number("contours"))
        })
        .collect();
    assert_eq!(shares, [("drawn", 3, 2), ("scored", 2, 1), ("kiss cut", 1, 2)]);
    let drawn = report["works"][0]["cut_mm"].as_f64().unwrap();
    assert!((drawn - (2.0 * 120.0 + 35.0)).abs() < 0.1, "{drawn}");
    assert!(report["tip_error_mm"].as_f64().unwrap() < 0.025);
    // Contours are numbered over all tools: the first three are not the knife's.
    assert!(report["tip_error_contour"].as_u64().unwrap() > 3);
    assert_eq!(report["findings"].as_array().unwrap().len(), 0, "{}", report["findings"]);
    // Another blade changes nothing for pen and creasing tool, and the outline by what a swing misses.
    let off = [&["check", "tag.svg", "--json", "--true-offset", "0.8mm"], &LAYERED[..]].concat();
    let report: Value = serde_json::from_slice(&run(folder.path(), &off).stdout).unwrap();
    assert!(report["tip_error_mm"].as_f64().unwrap() > 0.1);
    assert!(report["tip_error_contour"].as_u64().unwrap() > 3);
}

/// The bytes alone, checked with the same machine: the pen's lines need no blade.
#[test]
fn a_written_job_is_read_with_its_tools() {
    let folder = folder();
    let (job, _) = written(folder.path(), &LAYERED);
    std::fs::write(folder.path().join("tag.hpgl"), &job).unwrap();
    let arguments =
        ["check", "tag.hpgl", "-m", "flatbed-cutter", "--material", "card-200g", "--json"];
    let report: Value = serde_json::from_slice(&run(folder.path(), &arguments).stdout).unwrap();
    let codes: Vec<&str> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["code"].as_str().unwrap())
        .collect();
    assert!(
        !codes.contains(&"inner-after-outer") && !codes.contains(&"heading-assumed"),
        "{codes:?}"
    );
    assert_eq!(report["uncut_bridges"], 0);
}

#[test]
fn what_a_machine_cannot_do_is_refused_with_a_way_out() {
    let folder = folder();
    let refused = |options: &[&str]| refused(folder.path(), options);
    let knife = refused(&["--as", "Ink=draw"]);
    assert!(
        knife.contains("tool 1 of roll-24 is a knife") && knife.contains("--sheets layer"),
        "{knife}"
    );
    let none = refused(&["--tool", "Ink=2"]);
    assert!(none.contains("asks for tool 2, but roll-24 has 1"), "{none}");
    let pen = refused(&["-m", "flatbed-cutter", "--tool", "Outline=3"]);
    assert!(pen.contains("\"Outline\" is cut, but tool 3 of flatbed-cutter is a pen"), "{pen}");
    let name = refused(&["--as", "Inc=draw"]);
    assert!(name.contains("no layer \"Inc\"") && name.contains("Outline, Fold, Ink"), "{name}");
    assert!(refused(&["--as", "Ink=paint"]).contains("cut, score, draw or skip"));
    assert!(refused(&["--as", "draw"]).contains("the layer's name"));
    assert!(refused(&["--as", "Ink=draw", "--as", "Ink=cut"]).contains("given twice"));
    let twice = ["--layer-material", "#FFaa00=pen", "--layer-material", "#ffAA00=pen"];
    assert!(refused(&twice).contains("given twice"));
    assert!(refused(&["--tool", "Ink=0"]).contains("a number from 1 on"));
    let deep = refused(&["--material", "window-tint", "--depth", "Outline=through"]);
    assert!(deep.contains("[through]"), "{deep}");
    let mirrored = refused(&["--layer-material", "Ink=transfer-flex"]);
    assert!(mirrored.contains("mirrored"), "{mirrored}");
    assert!(refused(&["--layer-material", "Ink=gold-leaf"]).contains("gold-leaf"));
    assert!(refused(&["--underlap", "1mm"]).contains("--sheets colour"));
}

#[test]
fn a_knife_that_scores_no_lighter_is_told_and_a_layer_skipped_named() {
    let folder = folder();
    let base = ["--material", "card-200g", "--as", "Ink=skip"];
    let (_, said) = written(folder.path(), &[&base[..], &["--as", "Fold=score"]].concat());
    assert!(said.contains("may be cut through") && said.contains("about 60 gf"), "{said}");
    assert!(said.contains("Left out as asked: Ink."), "{said}");
    let dashed = ["--as", "Fold=score", "--dash", "Fold=3mm,1mm"];
    let (job, said) = written(folder.path(), &[&base[..], &dashed].concat());
    assert!(!said.contains("may be cut through"), "{said}");
    // 50 mm in twelve periods: thirteen cuts of the fold, hole, outline, turning.
    assert_eq!(paths(&job).0.len(), 13 + 3);
}

/// A machine that takes force: the fold lighter, the outline through the carrier at the force and in the
/// passes of the material, the hole a kiss cut before it.
#[test]
fn depth_is_force_and_passes() {
    let folder = folder();
    let machine = run(folder.path(), &["profiles", "show", "roll-15"]);
    let text = String::from_utf8(machine.stdout).unwrap();
    let text = text
        .replace("name = \"roll-15\"", "name = \"mine\"")
        .replace("velocity = true", "velocity = true\nforce = true\nforce_range = [1, 400]");
    std::fs::write(folder.path().join("mine.toml"), text).unwrap();
    let card = run(folder.path(), &["profiles", "show", "card-200g"]);
    let text = String::from_utf8(card.stdout).unwrap();
    let text = text.replace("force_gf = 150.0", "force_gf = 150.0\nmachine_force = 150.0");
    std::fs::write(folder.path().join("card.toml"), text).unwrap();
    let options = [
        "-m",
        "./mine.toml",
        "--material",
        "./card.toml",
        "--as",
        "Ink=skip",
        "--as",
        "Fold=score",
        "--depth",
        "Outline=through",
    ];
    let (job, said) = written(folder.path(), &options);
    assert!(said.contains("Outline is cut through its carrier"), "{said}");
    assert!(!said.contains("may be cut through"), "{said}");
    // 60 gf of 150 gf: so much of the machine's own number.
    let (light, full) = (job.find("FS60;").unwrap(), job.find("FS150;").unwrap());
    assert!(light < full);
    // The turning cut, the fold once, hole and outline twice each.
    assert_eq!(paths(&job).0.len(), 1 + 1 + 2 * 2);
}

/// The marks of a film that is scored are scored, too; that is told once, with the layer's name.
#[test]
fn a_scored_film_with_marks_is_told_once() {
    let folder = folder();
    let options = ["--material", "card-200g", "--as", "Fold=score", "--marks", "--sheets", "layer"];
    let write = [&["write", "tag.svg", "-o", "job.hpgl"], &options[..]].concat();
    let output = run(folder.path(), &write);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert_eq!(said.matches("no lighter force").count(), 1, "{said}");
    assert!(said.contains("The layer Fold is scored"), "{said}");
}

#[test]
fn each_film_of_layers_has_its_own_tool_and_the_same_origin() {
    let folder = folder();
    let options = [
        "write",
        "tag.svg",
        "-o",
        "job.hpgl",
        "--material",
        "card-200g",
        "--sheets",
        "layer",
        "--as",
        "Ink=draw",
        "--marks",
        "--layer-material",
        "Ink=pen",
    ];
    let output = run(folder.path(), &options);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("for a pen in the holder of roll-24"), "{said}");
    let read = |film: &str| {
        paths(&std::fs::read_to_string(folder.path().join(format!("job-{film}.hpgl"))).unwrap()).0
    };
    // No knife in the film that is drawn: no turning cut, and the marks exactly where they belong.
    let ink = read("Ink");
    assert_eq!(ink.len(), 2 + 3);
    let corner = |path: &Path1| {
        let least = |pick: fn(&(f64, f64)) -> f64| path.1.iter().map(pick).fold(f64::MAX, f64::min);
        (least(|p| p.0), least(|p| p.1))
    };
    let low = |paths: &[Path1]| {
        paths.iter().map(corner).min_by(|a, b| (a.0 + a.1).total_cmp(&(b.0 + b.1))).unwrap()
    };
    let (drawn, cut) = (low(&ink), low(&read("Outline")));
    // The knife runs ahead of the mark's edge by its offset at most.
    assert!((drawn.0 - cut.0).abs() < 0.6 && (drawn.1 - cut.1).abs() < 0.6, "{drawn:?} {cut:?}");
}

#[test]
fn all_options_of_layers_are_saved_and_taken_up_again() {
    let folder = folder();
    let typed = [
        &LAYERED[..],
        &[
            "--tool",
            "Ink=3",
            "--layer-material",
            "Ink=pen",
            "--depth",
            "Outline=through",
            "--dash",
            "Outline=12mm,0.5mm",
            "--dash",
            "8mm,1mm",
            "--depth",
            "kiss",
            "--layers",
            "Outline,Fold,Ink",
            "--marks",
            "--at",
            "20mm,20mm",
        ],
    ]
    .concat();
    let (first, _) = written(folder.path(), &[&typed[..], &["--save-job", "job.toml"]].concat());
    let saved = std::fs::read_to_string(folder.path().join("job.toml")).unwrap();
    for line in
        ["[layer.Ink]", "as = \"draw\"", "tool = 3", "material = \"pen\"", "dash = \"8mm,1mm\""]
    {
        assert!(saved.contains(line), "{line}: {saved}");
    }
    let again = |more: &[&str]| {
        let output = run(folder.path(), &[&["write", "--job", "job.toml"], more].concat());
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(0), "{said}");
        String::from_utf8(output.stdout).unwrap()
    };
    assert_eq!(again(&[]), first);
    // Saved from the saved one, it is the same file.
    again(&["--save-job", "again.toml"]);
    let twice = std::fs::read_to_string(folder.path().join("again.toml")).unwrap();
    assert_eq!(twice, saved);
    // What is typed for one layer leaves the others as they were.
    let skipped = again(&["--as", "Ink=skip"]);
    assert!(!skipped.contains("SP3;") && skipped.contains("SP2;"), "{skipped}");
    // Every cut layer has bridges of its own here, so those for all others change nothing.
    assert_eq!(again(&["--dash", "20mm,1mm"]), first);
    let fewer = again(&["--dash", "Outline=30mm,1mm"]);
    assert!(fewer.len() < first.len() && fewer.contains("SP3;"));
}

#[test]
fn slips_in_a_layers_table_are_explained() {
    let folder = folder();
    let told = |text: &str| {
        std::fs::write(folder.path().join("job.toml"), text).unwrap();
        let output = run(folder.path(), &["write", "--job", "job.toml", "-o", "-"]);
        assert_eq!(output.status.code(), Some(2), "{text}");
        String::from_utf8(output.stderr).unwrap()
    };
    let key = told("drawing = \"tag.svg\"\n[layer.Ink]\ndept = \"kiss\"");
    assert!(key.contains("did you mean \"depth\"?"), "{key}");
    assert!(told("as = [\"Ink=draw\"]").contains("[layer.\"NAME\"]"));
    assert!(told("layer = 3").contains("write a table for each layer"));
    assert!(told("[layer]\nInk = 3").contains("write a table for each layer"));
    assert!(told("[layer.Ink]\ntool = [1]").contains("must be a text or a number"));
    let value = told("drawing = \"tag.svg\"\n[layer.Ink]\nas = \"paint\"");
    assert!(value.contains("cut, score, draw or skip"), "{value}");
}

/// Arcs are drawn with knife and pen alike, each judged by its own offset.
#[test]
fn arcs_are_sent_to_tools_of_different_offsets() {
    let folder = folder();
    let svg = r##"<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">
      <g id="Outline"><circle cx="30" cy="30" r="22" fill="#d90"/></g>
      <g id="Ink"><circle cx="30" cy="30" r="15" fill="none" stroke="#000"/></g></svg>"##;
    std::fs::write(folder.path().join("tag.svg"), svg).unwrap();
    let machine = include_str!("../machine-profiles/machines/flatbed-cutter.toml");
    let fine = "[language]\narcs = \"fine\"\nfinest_chord_deg = 0.5\n";
    let machine = machine.replace("[language]\n", fine);
    std::fs::write(folder.path().join("fine.toml"), machine).unwrap();
    let options = ["-m", "fine.toml", "--material", "card-200g", "--as", "Ink=draw"];
    let (job, _) = written(folder.path(), &options);
    let (drawn, cut) = job.split_once("SP1;").unwrap();
    assert!(drawn.contains("SP3;") && drawn.contains("AA"), "{job}");
    assert!(cut.contains("AA"), "{job}");
    let check = [&["check", "tag.svg", "--json"], &options[..]].concat();
    let report: Value = serde_json::from_slice(&run(folder.path(), &check).stdout).unwrap();
    assert!(report["tip_error_mm"].as_f64().unwrap() <= 0.025, "{report}");
    assert_eq!(report["uncut_bridges"], 0);
}

/// Packed films lie each at the beginning of its own sheet: that they do not register is told, on
/// each; one film packed alone has nothing to register with.
#[test]
fn films_packed_apart_are_told() {
    let folder = folder();
    let said = |options: &[&str]| {
        let all = [&["write", "tag.svg", "-o", "out.hpgl", "--pack"], options].concat();
        let output = run(folder.path(), &all);
        assert_eq!(output.status.code(), Some(0));
        String::from_utf8(output.stderr).unwrap()
    };
    assert_eq!(said(&["--sheets", "layer"]).matches("do not register").count(), 3);
    let one = said(&["--layers", "Outline"]);
    assert!(!one.contains("register") && one.contains("One piece takes"), "{one}");
}

/// What is scored or drawn follows its lines and stays above the carrier: wishes for something else are
/// refused and not passed over.
#[test]
fn wishes_that_contradict_each_other_are_refused() {
    let folder = folder();
    for (options, why) in [
        (["--as", "Fold=score", "--depth", "Fold=through"], "what is scored is not cut through"),
        (["--as", "Ink=draw", "--depth", "Ink=through"], "what is drawn is not cut through"),
        (["--as", "Ink=draw", "--trace", "Ink=outlines"], "what is drawn follows the drawn lines"),
    ] {
        let told = refused(folder.path(), &[&["-m", "flatbed-cutter"], &options[..]].concat());
        assert!(told.contains(why), "{told}");
    }
    for options in
        [["--as", "Fold=score", "--depth", "through"], ["--as", "Ink=draw", "--trace", "Ink=lines"]]
    {
        written(
            folder.path(),
            &[&["-m", "flatbed-cutter", "--material", "card-200g"], &options[..]].concat(),
        );
    }
}

/// A speed or a force beyond what the machine's profile says is sent as far as it goes, and told.
#[test]
fn values_beyond_the_machine_are_told() {
    let folder = folder();
    let shown = |name: &str| {
        String::from_utf8(run(folder.path(), &["profiles", "show", name]).stdout).unwrap()
    };
    let fast = "velocity_cm_s = 90.0\nmachine_force = 80.0\n";
    let material = shown("vinyl-cast").replacen("velocity_cm_s = 30.0\n", fast, 1);
    let strong = "tools = 1\nforce = true\nforce_range = [1.0, 8.0]\n";
    let machine = shown("roll-24").replacen("tools = 1\n", strong, 1);
    for (name, text) in [("fast.toml", material), ("strong.toml", machine)] {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let (job, told) = written(folder.path(), &["-m", "./strong.toml", "--material", "./fast.toml"]);
    assert!(job.contains("VS60;") && job.contains("FS8;"), "{job}");
    let speed = "note: Cast vinyl film asks for a speed of 90 cm/s, which roll-24 does not take: 60 cm/s is sent.";
    assert_eq!(told.matches(speed).count(), 1, "{told}");
    let force =
        "warning: Cast vinyl film asks for a force of 80, which roll-24 does not take: 8 is sent.";
    assert_eq!(told.matches(force).count(), 1, "{told}");
    let (_, plain) = written(folder.path(), &["--material", "vinyl-cast"]);
    assert!(!plain.contains("asks for"), "{plain}");
}

/// A colour's film is meant whichever way its digits are written; one that the drawing does not show is named.
#[test]
fn wishes_for_films_of_colours_are_never_passed_over() {
    let folder = folder();
    let films = |options: &[&str]| {
        let all =
            [&["write", "tag.svg", "--sheets", "colour", "-o", "film.hpgl"], options].concat();
        let output = run(folder.path(), &all);
        (output.status.code(), String::from_utf8(output.stderr).unwrap())
    };
    let bytes = || std::fs::read(folder.path().join("film-dd9900.hpgl")).unwrap();
    assert_eq!(films(&["--layer-material", "#dd9900=card-200g"]).0, Some(0));
    let card = bytes();
    assert_eq!(films(&["--layer-material", "#DD9900=card-200g"]).0, Some(0));
    assert_eq!(bytes(), card);
    assert_eq!(films(&[]).0, Some(0));
    assert_ne!(bytes(), card);
    for stray in ["#dd9901", "#d90", "#"] {
        let (code, told) = films(&["--layer-material", &format!("{stray}=card-200g")]);
        assert_eq!(code, Some(1), "{stray}: {told}");
        assert!(
            told.contains(&format!("shows nothing in the colour {stray}; it shows: #")),
            "{told}"
        );
    }
    // A job file names the materials of all films, and one film is cut.
    let one = ["--layer-material", "#0000ff=card-200g", "--colours", "#dd9900"];
    assert_eq!(films(&one).0, Some(0));
}
