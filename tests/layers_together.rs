//! Layers on one film: what lies twice is cut once, single layers are followed along their lines, names
//! may hold commas and equals signs; what a material that is cut from its back does.
//!
//! The bytes are read here by splitting them at their semicolons (HP 7470A manual, p. 1-6).

mod program;

use std::path::Path;

use program::run;
use serde_json::Value;

const PAGE: &str =
    "<svg xmlns='http://www.w3.org/2000/svg' width='100mm' height='60mm' viewBox='0 0 100 60'>";

/// The report and the job of `body`.
fn made(folder: &Path, body: &str, options: &[&str]) -> (Value, String) {
    std::fs::write(folder.join("d.svg"), format!("{PAGE}{body}</svg>")).unwrap();
    again(folder, &[&["d.svg"], options].concat())
}

fn again(folder: &Path, options: &[&str]) -> (Value, String) {
    let all = [&["write", "-o", "d.hpgl", "--json"], options].concat();
    let output = run(folder, &all);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{options:?}: {said}");
    let job = std::fs::read_to_string(folder.join("d.hpgl")).unwrap();
    (serde_json::from_slice(&output.stdout).unwrap(), job)
}

fn codes(report: &Value) -> Vec<&str> {
    let findings = report["findings"].as_array().unwrap();
    findings.iter().map(|finding| finding["code"].as_str().unwrap()).collect()
}

/// Length of everything that the job cuts, mm.
fn cut_mm(job: &str) -> f64 {
    let (mut at, mut down, mut length) = ((0.0f64, 0.0f64), false, 0.0);
    for instruction in job.split(';') {
        match instruction.get(..2) {
            Some("PD") => down = true,
            Some("PU") => down = false,
            Some("PA") => {}
            _ => continue,
        }
        let numbers: Vec<f64> =
            instruction[2..].split(',').filter_map(|n| n.parse().ok()).collect();
        for pair in numbers.chunks_exact(2) {
            let to = (pair[0] * 0.025, pair[1] * 0.025);
            length += if down { (to.0 - at.0).hypot(to.1 - at.1) } else { 0.0 };
            at = to;
        }
    }
    length
}

const NO_BLADE: [&str; 6] = ["-m", "plain-hpgl", "--blade-offset", "0mm", "--overcut", "0mm"];

#[test]
fn a_line_on_two_layers_is_cut_once() {
    let folder = tempfile::tempdir().unwrap();
    let side = "<path fill='none' stroke='#000' stroke-width='.5' d='M20 10H70'/>";
    let body = format!("<g id='Front'>{side}</g><g id='Back'>{side}</g>");
    // Along the lines: once, and said so.
    let (report, job) =
        made(folder.path(), &body, &[&NO_BLADE[..], &["--trace", "lines"]].concat());
    assert!((cut_mm(&job) - 50.0).abs() < 0.05, "{}", cut_mm(&job));
    assert!(codes(&report).contains(&"lines-doubled"));
    // As outlines both are one piece.
    let (report, job) = made(folder.path(), &body, &NO_BLADE);
    assert!((cut_mm(&job) - 101.0).abs() < 0.05, "{}", cut_mm(&job));
    assert_eq!(report["contours"], 1);
    // With a film each, each film has its own.
    let options = [&NO_BLADE[..], &["--trace", "lines", "--sheets", "layer"]].concat();
    std::fs::write(folder.path().join("d.svg"), format!("{PAGE}{body}</svg>")).unwrap();
    let all = [&["write", "d.svg", "-o", "f.hpgl"], &options[..]].concat();
    assert_eq!(run(folder.path(), &all).status.code(), Some(0));
    for film in ["Front", "Back"] {
        let job = std::fs::read_to_string(folder.path().join(format!("f-{film}.hpgl"))).unwrap();
        assert!((cut_mm(&job) - 50.0).abs() < 0.05);
    }
    // Cut in different ways, the line is cut both ways, which is told.
    let depth = ["--material", "card-200g", "--trace", "lines", "--depth", "Back=through"];
    let (report, job) = made(folder.path(), &body, &[&NO_BLADE[..], &depth].concat());
    assert!(cut_mm(&job) > 149.0, "{}", cut_mm(&job));
    assert!(codes(&report).contains(&"cut-twice"), "{:?}", codes(&report));
}

/// Drawn lines are cut as drawn, where they cross as well: each closed path for its own length, as SVG
/// has it (SVG 2, 9.3.5: a closed path ends where it began), and none is joined with another.
#[test]
fn drawn_lines_that_cross_or_go_back_are_cut_whole() {
    let folder = tempfile::tempdir().unwrap();
    let lines = [&NO_BLADE[..], &["--trace", "lines"]].concat();
    let line = |d: &str| format!("<path fill='none' stroke='#000' d='{d}'/>");
    let across = 2.0 * 40f64.hypot(40.0);
    for (drawn, contours, mm) in [
        // Two squares over each other.
        (line("M10 10H50V50H10Z") + &line("M30 30H70V70H30Z"), 2, 320.0),
        // A closed path that crosses itself.
        (line("M10 10L50 50V10L10 50Z"), 1, 80.0 + across),
        // There and back.
        (line("M10 10H50L70 30L50 10Z"), 1, 80.0 + 2.0 * 20f64.hypot(20.0)),
    ] {
        let (report, job) = made(folder.path(), &drawn, &lines);
        assert_eq!(report["contours"], contours, "{drawn}");
        assert!((cut_mm(&job) - mm).abs() < 0.2, "{drawn}: {} of {mm}", cut_mm(&job));
    }
}

#[test]
fn one_layer_is_followed_along_its_lines() {
    let folder = tempfile::tempdir().unwrap();
    let body = "<g id='Tag'><rect x='10' y='10' width='60' height='40'/></g>\
                <g id='Fold'><path fill='none' stroke='#00f' stroke-width='.6' d='M40 10V50'/></g>";
    let (_, job) = made(folder.path(), body, &[&NO_BLADE[..], &["--trace", "Fold=lines"]].concat());
    assert!((cut_mm(&job) - 240.0).abs() < 0.1, "{}", cut_mm(&job));
    // Perforated: 10 periods of 4 mm, less their bridges of 1 mm.
    let dashed = ["--trace", "Fold=lines", "--dash", "Fold=3mm,1mm"];
    let (_, job) = made(folder.path(), body, &[&NO_BLADE[..], &dashed].concat());
    assert!((cut_mm(&job) - 231.0).abs() < 1.5, "{}", cut_mm(&job));
    // And the other way round.
    let other = ["--trace", "lines", "--trace", "Fold=outlines"];
    let (_, job) = made(folder.path(), body, &[&NO_BLADE[..], &other].concat());
    assert!((cut_mm(&job) - (200.0 + 81.2)).abs() < 0.1, "{}", cut_mm(&job));
    let wrong = run(folder.path(), &["write", "d.svg", "--trace", "Fold=middle", "-o", "-"]);
    assert_eq!(wrong.status.code(), Some(2));
    let film = ["write", "d.svg", "--sheets", "colour", "--trace", "#0000ff=lines", "-o", "-"];
    assert_eq!(run(folder.path(), &film).status.code(), Some(1));
}

#[test]
fn names_with_commas_and_equals_signs_are_layers_like_others() {
    let folder = tempfile::tempdir().unwrap();
    let layer = |name: &str, x: u32| {
        format!("<g id='{name}'><rect x='{x}' y='10' width='10' height='10'/></g>")
    };
    let body = [layer("Cut, front", 10), layer("size=L", 30), layer("Plain", 50)].concat();
    let cut = |options: &[&str]| {
        let all = [&NO_BLADE[..], options].concat();
        made(folder.path(), &body, &all).0["contours"].as_u64().unwrap()
    };
    assert_eq!(cut(&[]), 3);
    assert_eq!(cut(&["--layers", "Cut\\, front"]), 1);
    assert_eq!(cut(&["--layers", "Cut\\, front,size=L"]), 2);
    assert_eq!(cut(&["--layers", "Plain", "--layers", "size=L"]), 2);
    assert_eq!(cut(&["--as", "size=L=skip", "--as", "Cut, front=skip"]), 1);
    // Kept in a job file as names, and taken up again.
    let options =
        ["--layers", "Cut\\, front,size=L", "--as", "size=L=cut", "--save-job", "job.toml"];
    cut(&options);
    let saved = std::fs::read_to_string(folder.path().join("job.toml")).unwrap();
    assert!(saved.contains(r#"layers = ["Cut, front", "size=L"]"#), "{saved}");
    assert_eq!(again(folder.path(), &["--job", "job.toml"]).0["contours"], 2);
    let unknown = run(folder.path(), &["write", "d.svg", "--layers", "Cut, front", "-o", "-"]);
    assert_eq!(unknown.status.code(), Some(1));
    let said = String::from_utf8_lossy(&unknown.stderr).into_owned();
    assert!(said.contains("no layer \"Cut\"") && said.contains("Cut\\, front"), "{said}");
}

#[test]
fn colours_that_are_not_there_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let body =
        "<rect width='9' height='9' fill='#d90'/><path d='M20 20h9' fill='none' stroke='#00f'/>";
    std::fs::write(folder.path().join("d.svg"), format!("{PAGE}{body}</svg>")).unwrap();
    let wrong = run(folder.path(), &["write", "d.svg", "--colours", "#dd9900,#00f0ff", "-o", "-"]);
    assert_eq!(wrong.status.code(), Some(1));
    let said = String::from_utf8_lossy(&wrong.stderr).into_owned();
    assert!(said.contains("the colour #00f0ff; it shows: #0000ff, #dd9900"), "{said}");
    let many = run(folder.path(), &["write", "d.svg", "--copies", "200x200", "-o", "-"]);
    assert_eq!(many.status.code(), Some(2));
    let (report, _) = made(folder.path(), body, &[&NO_BLADE[..], &["--join", "0.1mm"]].concat());
    assert!(codes(&report).contains(&"join-no-lines"));
}

/// The waste within a frame is parted after the frame is cut, as it should: nothing is told of it.
#[test]
fn weed_lines_within_a_frame_are_no_late_pieces() {
    let folder = tempfile::tempdir().unwrap();
    let body =
        "<path fill-rule='evenodd' d='M5 5H95V55H5ZM8 8V52H92V8Z'/><circle cx='50' cy='30' r='9'/>";
    let options = ["-m", "roll-24", "--weed-lines", "12mm"];
    let (report, job) = made(folder.path(), body, &options);
    let known = codes(&report);
    assert!(!known.contains(&"inner-after-outer") && !known.contains(&"cuts-cross"), "{known:?}");
    assert!(job.matches("PD").count() > 8, "{job}");
}

/// The tool-down paths of a job, plotter units.
fn paths(job: &str) -> Vec<Vec<(i64, i64)>> {
    let (mut at, mut all, mut down) = ((0, 0), Vec::<Vec<(i64, i64)>>::new(), false);
    for instruction in job.split(';').filter(|i| i.starts_with("PU") || i.starts_with("PD")) {
        if instruction.starts_with("PD") && !down {
            all.push(vec![at]);
        }
        down = instruction.starts_with("PD");
        let numbers: Vec<i64> =
            instruction[2..].split(',').filter_map(|n| n.parse().ok()).collect();
        for pair in numbers.chunks_exact(2) {
            at = (pair[0], pair[1]);
            all.last_mut().filter(|_| down).into_iter().for_each(|path| path.push(at));
        }
    }
    all
}

/// Pieces first, then the lines that part the waste, the border last.
#[test]
fn the_border_is_cut_last_and_pieces_first() {
    let folder = tempfile::tempdir().unwrap();
    let body = "<circle cx='25' cy='30' r='9'/><rect x='60' y='8' width='20' height='40'/>";
    let options = [&NO_BLADE[..], &["--weed-border", "5mm", "--weed-lines", "15mm"]].concat();
    let (_, job) = made(folder.path(), body, &options);
    let paths = paths(&job);
    let kind = |path: &Vec<(i64, i64)>| {
        let low = path.iter().map(|p| p.0).min().unwrap();
        match (path.first() == path.last(), low) {
            (false, _) => 'w',
            // 16 mm is where the circle begins, 5 mm before it the border.
            (true, 440) => 'b',
            (true, _) => 'p',
        }
    };
    let kinds: String = paths.iter().map(kind).collect();
    let strips = kinds.len() - 3;
    assert!(strips > 3, "{kinds}");
    assert_eq!(kinds, format!("pp{}b", "w".repeat(strips)), "{job}");
}

/// A flag with its staff on the left: where the staff is shows whether the work was turned over.
#[test]
fn a_material_cut_from_its_back_turns_the_work_over() {
    let folder = tempfile::tempdir().unwrap();
    let body = "<g id='Flag'><path d='M10 10H60V20H15V50H10Z'/></g>";
    let staff_on_left = |job: &str| {
        let points: Vec<(f64, f64)> = job
            .split(';')
            .filter(|i| i.starts_with("PD") || i.starts_with("PU"))
            .flat_map(|i| {
                let n: Vec<f64> = i[2..].split(',').filter_map(|n| n.parse().ok()).collect();
                n.chunks_exact(2).map(|p| (p[0], p[1])).collect::<Vec<_>>()
            })
            .filter(|p| *p != (0.0, 0.0))
            .collect();
        let most = points.iter().map(|p| p.0).fold(f64::MIN, f64::max);
        let low = points.iter().map(|p| p.1).fold(f64::MAX, f64::min);
        let foot = points.iter().find(|p| p.1 == low).unwrap();
        foot.0 < most / 2.0
    };
    for (options, left, code) in [
        (&["--material", "vinyl-cast"][..], true, None),
        (&["--material", "vinyl-cast", "--mirror"], false, None),
        (&["--material", "transfer-flex"], false, Some("mirrored")),
        (&["--material", "transfer-flock"], false, Some("mirrored")),
        (&["--material", "transfer-flex", "--mirror"], true, Some("mirror-undone")),
    ] {
        let all = [&NO_BLADE[..], options].concat();
        std::fs::write(folder.path().join("d.svg"), format!("{PAGE}{body}</svg>")).unwrap();
        let (report, job) = again(folder.path(), &[&["d.svg"], &all[..]].concat());
        assert_eq!(staff_on_left(&job), left, "{options:?}");
        let said = codes(&report).into_iter().find(|code| code.starts_with("mirror"));
        assert_eq!(said, code, "{options:?}");
    }
}

/// Lines that are followed are trimmed at the page as areas are, and it is told.
#[test]
fn followed_lines_are_trimmed_at_the_page() {
    let folder = tempfile::tempdir().unwrap();
    let body = "<g fill='none' stroke='#000'><path d='M-30 30H130'/><path d='M50 -7V20'/>\
                <path d='M200 200H300'/><circle cx='100' cy='30' r='10'/></g>";
    let options = [&NO_BLADE[..], &["--trace", "lines", "--crop", "page"]].concat();
    let (report, job) = made(folder.path(), body, &options);
    let half_circle = std::f64::consts::PI * 10.0;
    assert!((cut_mm(&job) - (100.0 + 20.0 + half_circle)).abs() < 0.1, "{}", cut_mm(&job));
    let findings = report["findings"].as_array().unwrap();
    let told = findings.iter().find(|f| f["code"] == "past-page").unwrap();
    assert!(told["text"].as_str().unwrap().contains("trimmed at its edge"), "{told}");
    assert_eq!(paths(&job).len(), 3);
}

/// A wish for what is usual anyway sets no layer apart: shapes of both layers melt into one piece.
#[test]
fn wishing_for_the_usual_parts_no_layers() {
    let folder = tempfile::tempdir().unwrap();
    let body = "<g id='A'><rect x='10' y='10' width='30' height='20'/></g>\
                <g id='B'><rect x='30' y='10' width='30' height='20'/></g>";
    for wish in [
        &["--tool", "A=1"][..],
        &["--depth", "A=kiss"],
        &["--trace", "A=outlines"],
        &["--layer-material", "A=vinyl-calendered"],
        &["--dash", "9mm,1mm", "--dash", "A=9mm,1mm"],
    ] {
        let (_, job) = made(folder.path(), body, &[&NO_BLADE[..], wish].concat());
        let bridges_mm = if wish.len() > 2 { 14.0 } else { 0.0 };
        assert!((cut_mm(&job) - (140.0 - bridges_mm)).abs() < 0.1, "{wish:?}: {job}");
    }
}

/// Where one layer goes through the carrier and another one does not, marks and the border do not either;
/// where all do, the border comes last, since nothing is held after it.
#[test]
fn the_border_goes_through_the_carrier_last_if_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let body = "<g id='A'><rect x='20' y='10' width='30' height='20'/></g>\
                <g id='B'><rect x='60' y='10' width='20' height='20'/></g>";
    let border = |job: &str| {
        let left = |path: &Vec<(i64, i64)>| path.iter().map(|p| p.0).min().unwrap();
        let paths = paths(job);
        let least = paths.iter().map(left).min().unwrap();
        paths.iter().map(|path| left(path) == least).collect::<Vec<bool>>()
    };
    let some =
        ["--weed-border", "3mm", "--depth", "A=through", "--depth", "B=kiss", "--tool", "B=1"];
    let kiss = ["--weed-border", "3mm", "--depth", "A=through", "--layer-material", "B=paper-80g"];
    for options in [&some[..], &kiss] {
        let (_, job) = made(folder.path(), body, &[&NO_BLADE[..], options].concat());
        // The border once, before the other layer's two passes.
        let border = border(&job);
        assert_eq!(border.iter().filter(|is| **is).count(), 1, "{options:?}: {job}");
        assert!(!border[border.len() - 1], "{options:?}: {job}");
    }
    let all = ["--weed-border", "3mm", "--depth", "A=through", "--depth", "B=through"];
    let (report, job) = made(folder.path(), body, &[&NO_BLADE[..], &all].concat());
    assert!(!codes(&report).contains(&"inner-after-outer"), "{report}");
    let border = border(&job);
    assert!(border[border.len() - 1] && !border[0], "{job}");
}
