//! The program as a newcomer meets it: good input, wrong input, exit codes, no half-written files.

mod program;

use std::process::Output;

use program::run;

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

const SIGN: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">
  <g id="lines"><path d="M10 10h40v30" fill="none" stroke="#000" stroke-width="4"/></g>
  <g id="ring"><circle cx="30" cy="30" r="10" fill="none" stroke="#a00" stroke-width="3"/></g>
</svg>"##;

#[test]
fn a_drawing_becomes_a_job_with_a_report() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sign.svg"), SIGN).unwrap();
    let output = run(folder.path(), &["write", "sign.svg", "--json", "--picture", "sign.png"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let report: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(report["format"], 1);
    assert_eq!(report["contours"], 3);
    assert!(report["tip_error_mm"].as_f64().unwrap() < 0.025);
    assert!(report["time_s"].as_f64().unwrap() > 1.0);
    let job = std::fs::read(folder.path().join("sign.hpgl")).unwrap();
    assert_eq!(report["bytes"].as_u64().unwrap(), job.len() as u64);
    assert!(job.starts_with(b"IN;"));
    let picture = std::fs::read(folder.path().join("sign.png")).unwrap();
    assert!(picture.starts_with(b"\x89PNG"));
    // A second run gives the same bytes.
    run(folder.path(), &["write", "sign.svg", "-o", "again.hpgl"]);
    assert_eq!(std::fs::read(folder.path().join("again.hpgl")).unwrap(), job);
    let check = run(folder.path(), &["check", "sign.hpgl", "--strict"]);
    assert_eq!(check.status.code(), Some(0), "{}", said(&check));
}

#[test]
fn a_pen_follows_the_contours_exactly() {
    let folder = tempfile::tempdir().unwrap();
    let square = r##"<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm"
        viewBox="0 0 40 30"><rect x="10" y="5" width="20" height="15"/></svg>"##;
    std::fs::write(folder.path().join("square.svg"), square).unwrap();
    let arguments = [
        "write",
        "square.svg",
        "--machine",
        "plain-hpgl",
        "--blade-offset",
        "0",
        "--overcut",
        "0",
        "-o",
        "-",
    ];
    let output = run(folder.path(), &arguments);
    let job = String::from_utf8(output.stdout).unwrap();
    // 10 mm = 400 units; the page is 30 mm high, so the square lies from 10 to 25 mm.
    let corners = ["400,400", "1200,400", "1200,1000", "400,1000"];
    assert!(corners.iter().all(|c| job.contains(c)), "{job}");
    assert_eq!(job.matches("PD").count(), 1, "{job}");
}

#[test]
fn layers_and_colours_get_jobs_of_their_own() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sign.svg"), SIGN).unwrap();
    let output = run(folder.path(), &["write", "sign.svg", "--sheets", "layer", "-o", "job.hpgl"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    for name in ["job-lines.hpgl", "job-ring.hpgl"] {
        assert!(folder.path().join(name).is_file(), "{name}");
    }
    let wrong = run(folder.path(), &["write", "sign.svg", "--layers", "rang"]);
    assert_eq!(wrong.status.code(), Some(1));
    assert!(said(&wrong).contains("lines, ring"), "{}", said(&wrong));
}

/// Names that look the same in a file's name would overwrite each other's job.
#[test]
fn layers_with_like_names_get_files_of_their_own() {
    let folder = tempfile::tempdir().unwrap();
    let square = |i: usize, id: &str| format!("<g id='{id}'><path d='M{} 5h9v9h-9z'/></g>", i * 12);
    let names = ["A/B", "A B", "a-b", "A-B-2", "-", "+"];
    let layers: String = names.iter().enumerate().map(|(i, id)| square(i, id)).collect();
    let drawing = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='80mm' height='20mm' viewBox='0 0 80 20'>{layers}</svg>"
    );
    std::fs::write(folder.path().join("like.svg"), drawing).unwrap();
    let picture = ["write", "like.svg", "--sheets", "layer", "--picture", "like.png"];
    let output = run(folder.path(), &picture);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let files = || std::fs::read_dir(folder.path()).unwrap().flatten().map(|e| e.path());
    for ending in ["hpgl", "png"] {
        let own = files().filter(|path| path.extension().is_some_and(|e| e == ending));
        assert_eq!(own.count(), names.len(), "{ending}: {:?}", files().collect::<Vec<_>>());
    }
    let text = String::from_utf8(output.stdout).unwrap();
    for name in ["like-A-B.hpgl", "like-A-B-3.hpgl", "like-a-b-4.hpgl", "like-A-B-2.hpgl"] {
        assert_eq!(text.matches(&format!("{name}\n")).count(), 1, "{name}: {text}");
    }
}

#[test]
fn wrong_input_is_told_and_leaves_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    let page = |body: &str| {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"80mm\" height=\"60mm\" viewBox=\"0 0 80 60\">{body}</svg>"
        )
    };
    let bomb = "<!DOCTYPE svg [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\">\
                <!ENTITY c \"&b;&b;&b;&b;&b;&b;&b;&b;\"><!ENTITY d \"&c;&c;&c;&c;&c;&c;&c;&c;\">\
                <!ENTITY e \"&d;&d;&d;&d;&d;&d;&d;&d;\"><!ENTITY f \"&e;&e;&e;&e;&e;&e;&e;&e;\">\
                <!ENTITY g \"&f;&f;&f;&f;&f;&f;&f;&f;\"><!ENTITY h \"&g;&g;&g;&g;&g;&g;&g;&g;\">]>\
                <svg xmlns=\"http://www.w3.org/2000/svg\"><text>&h;&h;&h;&h;</text></svg>";
    let cases: Vec<(&str, String, i32)> = vec![
        ("empty.svg", String::new(), 1),
        ("words.svg", "no drawing at all".into(), 1),
        ("other.svg", "<html><body/></html>".into(), 1),
        ("bomb.svg", bomb.into(), 1),
        ("nothing.svg", page(""), 1),
        ("hidden.svg", page("<g display='none'><rect width='9' height='9'/></g>"), 1),
        ("far.svg", page("<rect x='1e30' width='9' height='9'/>"), 1),
        ("huge.svg", page("<rect x='1e308' width='1e308' height='9'/>"), 1),
        ("nan.svg", page("<path d='M NaN 0 L 5 5 L 9 0'/>"), 1),
        ("large.svg", page("<rect width='9000' height='9000'/>"), 1),
    ];
    for (name, text, code) in cases {
        std::fs::write(path.join(name), text).unwrap();
        let output = run(path, &["write", name, "-o", "out.hpgl"]);
        let talk = said(&output);
        assert_eq!(output.status.code(), Some(code), "{name}: {talk}");
        assert!(talk.contains("error:") && !talk.contains("panicked"), "{name}: {talk}");
        assert!(!path.join("out.hpgl").exists(), "{name}");
    }
    let left: Vec<_> = std::fs::read_dir(path).unwrap().flatten().map(|e| e.file_name()).collect();
    assert!(left.iter().all(|n| n.to_string_lossy().ends_with(".svg")), "{left:?}");
}

#[test]
fn wrong_usage_is_told_with_exit_2() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sign.svg"), SIGN).unwrap();
    for (arguments, words) in [
        (vec!["write", "sign.svg", "--machine", "rool-24"], "did you mean \"roll-24\"?"),
        (vec!["write", "sign.svg", "--blade-offset", "-1mm"], "it must be 0 to 50mm"),
        (vec!["write", "sign.svg", "--width", "wide"], "is no length"),
        (vec!["check", "sign.svg", "--width", "-5mm"], "--width -5mm: it must be above 0"),
        (vec!["check", "sign.svg", "--height", "0mm"], "--height 0mm: it must be above 0"),
        (vec!["write", "sign.svg", "--scale", "-1"], "--scale -1: it must be above 0"),
        (vec!["write", "sign.svg", "--paper", "snow"], "is no colour"),
        (vec!["write", "sign.svg", "-o", "sign.svg"], "would overwrite"),
        (vec!["preview", "sign.svg", "-o", "sign.txt"], "sign.txt"),
        (vec!["write"], "required"),
    ] {
        let output = run(folder.path(), &arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {}", said(&output));
        assert!(said(&output).contains(words), "{arguments:?}: {}", said(&output));
    }
    let missing = run(folder.path(), &["write", "nowhere.svg"]);
    assert_eq!(missing.status.code(), Some(1));
    assert!(said(&missing).contains("no such file"), "{}", said(&missing));
    let directory = run(folder.path(), &["check", "."]);
    assert_eq!(directory.status.code(), Some(1));
    assert!(said(&directory).contains("folder"), "{}", said(&directory));
}

/// What is no number is told in words, whatever its option.
#[test]
fn numbers_that_are_none_are_told_with_what_to_write() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sign.svg"), SIGN).unwrap();
    for (option, value, told) in [
        ("--rotate", "a quarter", "write a number such as 1.5"),
        ("--rotate", "nan", "write a number such as 1.5"),
        ("--scale", "inf", "write a number such as 1.5"),
        ("--most-crossings", "-3", "write a whole number, 0 or more"),
        ("--pack-turns", "-2", "write a whole number from 1 to 72"),
    ] {
        let output = run(folder.path(), &["write", "sign.svg", option, value]);
        assert_eq!(output.status.code(), Some(2), "{option} {value}");
        let text = said(&output);
        assert!(text.contains(told) && text.contains(option), "{option} {value}: {text}");
        assert!(!folder.path().join("sign.hpgl").exists());
    }
}

#[test]
fn what_is_left_out_matters_with_strict() {
    let folder = tempfile::tempdir().unwrap();
    let text = r##"<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">
        <rect x="5" y="5" width="30" height="30"/><foreignObject width="9" height="9"/></svg>"##;
    std::fs::write(folder.path().join("a.svg"), text).unwrap();
    assert_eq!(run(folder.path(), &["check", "a.svg"]).status.code(), Some(0));
    let strict = run(folder.path(), &["check", "a.svg", "--strict"]);
    assert_eq!(strict.status.code(), Some(4), "{}", said(&strict));
    assert!(said(&strict).contains("a.svg:2:"), "{}", said(&strict));
}

#[test]
fn one_piece_is_it_and_more_are_them() {
    let folder = tempfile::tempdir().unwrap();
    let sign = |pieces: &str| {
        let head = r#"<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">"#;
        std::fs::write(folder.path().join("s.svg"), format!("{head}{pieces}</svg>")).unwrap();
        said(&run(folder.path(), &["check", "s.svg", "-m", "plain-hpgl"]))
            .replace(char::is_numeric, "")
    };
    let dot = "<path d='M5 5h1v1h-1z'/>";
    let neck = "<path d='M5 20h9v4h5v-4h9v9h-9v-4.5h-5v4.5h-9z'/>";
    let one = sign(&[dot, neck].concat());
    for words in ["It lies around", "or leave it out.", "Draw it wider."] {
        assert!(one.contains(words), "{words}: {one}");
    }
    let more = |piece: &str, by: u32| format!("<g transform='translate({by})'>{piece}</g>");
    let two = sign(&[dot, neck, &more(dot, 30), &more(neck, 30)].concat());
    for words in ["They lie around", "or leave them out.", "Draw them wider."] {
        assert!(two.contains(words), "{words}: {two}");
    }
    let many: String = (0..6)
        .map(|i| format!("<g transform='scale(.4) translate({})'>{neck}</g>", 30 * i))
        .collect();
    assert!(sign(&many).contains("; and more. Draw them wider."), "{}", sign(&many));
}

/// Common practice, no source: lines for a cutter are drawn as thin as the drawing program lets them.
#[test]
fn hairlines_are_told_with_the_way_to_cut_them() {
    let folder = tempfile::tempdir().unwrap();
    let check = |width: &str, more: &str, options: &[&str]| {
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='80mm' height='60mm' viewBox='0 0 80 60'>\n\
             <path d='M5 50h70' stroke='#000' stroke-width='{width}'/>{more}</svg>"
        );
        std::fs::write(folder.path().join("h.svg"), svg).unwrap();
        run(folder.path(), &[&["check", "h.svg"], options].concat())
    };
    let piece = "<path d='M5 5h20v20h-20z' stroke='#000' stroke-width='.001'/>";
    for width in ["1e-5", "0.001", "0.0035278", "0.009"] {
        let output = check(width, piece, &["--strict"]);
        assert_eq!(output.status.code(), Some(4), "{width}: {}", said(&output));
        assert!(said(&output).contains("h.svg:2:1: One line is a hairline"), "{}", said(&output));
        assert!(said(&output).contains("--trace lines"), "{}", said(&output));
        let alone = check(width, "", &[]);
        assert_eq!(alone.status.code(), Some(1), "{width}");
        assert!(said(&alone).contains("--trace lines"), "{}", said(&alone));
        let followed = check(width, "", &["--trace", "lines"]);
        assert_eq!(followed.status.code(), Some(0), "{}", said(&followed));
    }
    // Wider ones have an outline, which no machine of such steps can follow.
    let alone = check("0.015", "", &[]);
    assert_eq!(alone.status.code(), Some(1), "{}", said(&alone));
    assert!(
        said(&alone).contains("thinner than a step of the machine (0.025 mm)"),
        "{}",
        said(&alone)
    );
    let wide = check("0.02", piece, &[]);
    assert!(said(&wide).contains("thinner than a step"), "{}", said(&wide));
    assert!(said(&wide).contains("--trace lines"), "{}", said(&wide));
    assert!(!said(&check("0.1", piece, &[])).contains("--trace lines"));
}

/// A circle in two closed lines that cross: followed, it comes before both, and the bytes are checked for it.
#[test]
fn what_lies_in_lines_that_cross_comes_before_both() {
    let folder = tempfile::tempdir().unwrap();
    let drawing = "<svg xmlns='http://www.w3.org/2000/svg' width='80mm' height='60mm' \
                   viewBox='0 0 80 60' fill='none' stroke='#000'>\
                   <ellipse cx='40' cy='30' rx='15' ry='12'/>\
                   <rect x='30' y='25' width='40' height='10'/><circle cx='40' cy='30' r='2'/></svg>";
    std::fs::write(folder.path().join("bell.svg"), drawing).unwrap();
    for (machine, order) in [("roll-24", "best"), ("roll-24", "nearest"), ("flatbed-a4", "best")] {
        let options = ["-m", machine, "--order", order, "--trace", "lines", "--strict"];
        let write = [&["write", "bell.svg", "-o", "bell.hpgl"], &options[..]].concat();
        let output = run(folder.path(), &[&write[..], &["--blade-offset", "0"]].concat());
        assert_eq!(output.status.code(), Some(0), "{machine} {order}: {}", said(&output));
        assert!(!said(&output).contains("lies inside"), "{machine} {order}: {}", said(&output));
    }
}

/// What would change a drawing changes no job that is written: passing over it would cost film.
#[test]
fn a_job_is_taken_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let drawing = "<svg xmlns='http://www.w3.org/2000/svg' width='60mm' height='60mm' \
                   viewBox='0 0 60 60'><rect x='10' y='10' width='40' height='30'/></svg>";
    std::fs::write(folder.path().join("tag.svg"), drawing).unwrap();
    let options = ["--machine", "roll-15", "--width", "30mm"];
    for command in
        [["write", "tag.svg", "-o", "tag.hpgl"], ["check", "tag.svg", "--save-job", "tag.toml"]]
    {
        let output = run(folder.path(), &[&command, &options[..]].concat());
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    }
    let commands: [&[&str]; 4] = [
        &["check", "tag.hpgl"],
        &["preview", "tag.hpgl", "-o", "tag.svg.html"],
        &["preview", "tag.hpgl", "-o", "picture.svg"],
        &["send", "tag.hpgl", "--dry-run"],
    ];
    for command in commands {
        let with = |options: &[&str]| run(folder.path(), &[command, options].concat());
        assert_eq!(with(&["--machine", "roll-15"]).status.code(), Some(0), "{command:?}");
        for options in [
            &["--width", "80mm"][..],
            &["--mirror"],
            &["--trace", "lines"],
            &["--weed-border", "5mm"],
            &["--order", "drawn"],
        ] {
            let output = with(options);
            assert_eq!(output.status.code(), Some(2), "{command:?} {options:?}");
            let told = format!("{}: a job is taken as it is", options[0]);
            assert!(said(&output).contains(&told), "{}", said(&output));
        }
        // A job file is about the drawing, and names the machine for both.
        assert_eq!(with(&["--job", "tag.toml"]).status.code(), Some(0), "{command:?}");
    }
    let copies = ["send", "tag.hpgl", "--dry-run", "--copies", "3", "--gap", "8mm"];
    assert_eq!(run(folder.path(), &copies).status.code(), Some(0));
}

/// An option that does nothing without another one is refused and not passed over; a job file may hold it.
#[test]
fn options_without_their_partner_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sign.svg"), SIGN).unwrap();
    for (lonely, partner) in [
        (["--pack-turns", "8"], &["--pack"][..]),
        (["--gap", "2mm"], &["--copies", "2"]),
        (["--gap", "2mm"], &["--pack"]),
        (["--panel-width", "60mm"], &["--panels"]),
        (["--panel-overlap", "2mm"], &["--panels"]),
        (["--weed-shape", "outline"], &["--weed-border", "3mm"]),
        (["--weed-clearance", "2mm"], &["--weed-lines", "40mm"]),
        (["--covered", "keep"], &["--sheets", "colour"]),
        (["--effort", "long"], &["--order", "best"]),
        (["--order-for", "time"], &["--order", "nearest"]),
    ] {
        // The usual order is searched.
        let lone: &[&str] = if partner[0] == "--order" { &["--order", "drawn"] } else { &[] };
        for command in [&["write", "sign.svg", "-o", "job.hpgl"][..], &["check", "sign.svg"]] {
            let alone = run(folder.path(), &[command, &lonely, lone].concat());
            assert_eq!(alone.status.code(), Some(2), "{lonely:?}: {}", said(&alone));
            let told = format!("{} works with --", lonely[0]);
            assert!(said(&alone).contains(&told), "{}", said(&alone));
            let both = run(folder.path(), &[command, &lonely, partner].concat());
            assert_eq!(both.status.code(), Some(0), "{lonely:?}: {}", said(&both));
        }
        let value = match lonely[1].parse::<u32>() {
            Ok(number) => number.to_string(),
            Err(_) => format!("\"{}\"", lonely[1]),
        };
        let job = format!("{} = {value}", lonely[0].trim_start_matches('-'));
        std::fs::write(folder.path().join("job.toml"), job).unwrap();
        let filed = run(folder.path(), &["check", "sign.svg", "--job", "job.toml"]);
        assert_eq!(filed.status.code(), Some(0), "{lonely:?}: {}", said(&filed));
    }
}

/// Two results in one file would lose the first, and a result in the place of what is read would lose that.
#[test]
fn no_result_takes_the_place_of_another_file_of_the_run() {
    let folder = tempfile::tempdir().unwrap();
    let job = "IN;SP1;PU400,400;PD2400,400,2400,2400,400,2400,400,400;PU;SP0;";
    for (name, text) in [("sign.svg", SIGN), ("a.plt", job), ("b.plt", job)] {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    for twice in [
        &["write", "sign.svg", "-o", "x.svg", "--picture", "./x.svg"][..],
        &["write", "sign.svg", "-o", "x.hpgl", "--save-job", "x.hpgl"],
        &["preview", "sign.svg", "-o", "x.svg", "--save-job", "x.svg"],
        &["tune", "sheet", "--pattern", "circles", "-o", "x.html", "--page", "x.html"],
        &["compare", "a.plt", "b.plt", "--page", "b.plt"],
        &["compare", "a.plt", "b.plt", "--page", "a.plt"],
    ] {
        let output = run(folder.path(), twice);
        assert_eq!(output.status.code(), Some(2), "{twice:?}: {}", said(&output));
        let told = said(&output);
        assert!(
            told.contains("file of its own") || told.contains("overwrite what is read"),
            "{told}"
        );
        assert!(!["x.svg", "x.hpgl", "x.html"].iter().any(|x| folder.path().join(x).exists()));
        assert_eq!(std::fs::read_to_string(folder.path().join("b.plt")).unwrap(), job);
    }
    let stdout = ["write", "sign.svg", "-o", "-", "--save-job", "-"];
    assert_eq!(run(folder.path(), &stdout).status.code(), Some(0));
}

/// What cannot have the wanted effect is told: a folder that is not there, a feed back on a flat bed,
/// copies within one another, an order that is not shown.
#[test]
fn options_without_effect_or_sense_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sign.svg"), SIGN).unwrap();
    for (wrong, why) in [
        (&["stand-in", "--link", "sign.svg"][..], "something that is no link is there"),
        (&["stand-in", "--link", "nowhere/cutter"], "there is no such folder"),
        (&["check", "sign.svg", "--font-dir", "nowhere"], "there is no such folder"),
        (&["check", "sign.svg", "--max-back-feed", "9mm", "-m", "flatbed-a4"], "feeds nothing"),
        (&["check", "sign.svg", "--copies", "2", "--gap", "-3mm"], "--gap -3mm: it must be 0"),
        (&["check", "sign.svg", "--weed-border", "-3mm"], "--weed-border -3mm: it must be above 0"),
        (&["check", "sign.svg", "--panels", "--panel-overlap", "-3mm"], "--panel-overlap -3mm"),
        (&["compare", "sign.svg", "--order", "drawn"], "--order works with --page"),
        (
            &["send", "sign.svg", "--dry-run", "--bound"],
            "--bound works with the commands check, write",
        ),
        (
            &["preview", "sign.svg", "-o", "x.svg", "--bound"],
            "--bound works with the commands check",
        ),
    ] {
        let output = run(folder.path(), wrong);
        assert_eq!(output.status.code(), Some(2), "{wrong:?}: {}", said(&output));
        assert!(said(&output).contains(why), "{}", said(&output));
    }
    let none = ["check", "sign.svg", "--max-back-feed", "none", "-m", "flatbed-a4"];
    assert_eq!(run(folder.path(), &none).status.code(), Some(0));
    let page = ["compare", "sign.svg", "--order", "drawn", "--page", "x.html", "--effort", "quick"];
    assert_eq!(run(folder.path(), &page).status.code(), Some(0));
}

/// Somebody about to cut is told that the job is for another blade than the one that is set, or for none.
#[test]
fn a_job_for_another_blade_is_told_before_it_is_sent() {
    let folder = tempfile::tempdir().unwrap();
    let boxes: String = (0..6).map(|i| format!("<path d='M{0} 5h8v8h-8z'/>", 5 + 12 * i)).collect();
    let size = "width='80mm' height='20mm' viewBox='0 0 80 20'";
    let drawing = format!("<svg xmlns='http://www.w3.org/2000/svg' {size}>{boxes}</svg>");
    std::fs::write(folder.path().join("tags.svg"), drawing).unwrap();
    let sent = |offset: &str, set: &str| {
        let write = ["write", "tags.svg", "-o", "tags.hpgl", "--blade-offset", offset];
        assert_eq!(run(folder.path(), &write).status.code(), Some(0));
        said(&run(folder.path(), &["send", "tags.hpgl", "--dry-run", "--blade-offset", set]))
    };
    let other = sent("0.5mm", "0.25mm");
    assert!(
        other.contains("leads a blade whose offset is about 0.50 mm, and 0.250 mm is set"),
        "{other}"
    );
    assert!(other.contains("Say --blade-offset 0.50mm if the blade is that one"), "{other}");
    let none = sent("0", "0.25mm");
    assert!(none.contains("leads no trailing blade, and one of 0.250 mm is set"), "{none}");
    for (offset, set) in [("0.5mm", "0.5mm"), ("0.25mm", "0.25mm"), ("0", "0"), ("0.25mm", "0")] {
        let told = sent(offset, set);
        assert!(!told.contains("The job leads"), "{offset} {set}: {told}");
    }
}

/// Each profile is looked at, and one whose header or trailer spoils the work is no profile to cut with.
#[test]
fn a_profile_that_lowers_the_tool_before_the_work_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sign.svg"), SIGN).unwrap();
    let shown = run(folder.path(), &["profiles", "show", "roll-15"]);
    let text = String::from_utf8(shown.stdout).unwrap();
    let bad = text.replacen("header = [\"IN\"]", "header = [\"IN\", \"PD\"]", 1);
    assert_ne!(bad, text);
    std::fs::create_dir(folder.path().join("machines")).unwrap();
    std::fs::write(folder.path().join("machines/bad.toml"), bad).unwrap();
    std::fs::write(folder.path().join("good.toml"), &text).unwrap();
    let files = ["nowhere.toml", "machines", "machines/bad.toml", "good.toml"];
    let checked = run(folder.path(), &[&["profiles", "check", "machine"], &files[..]].concat());
    assert_eq!(checked.status.code(), Some(1));
    let told = said(&checked) + &String::from_utf8_lossy(&checked.stdout);
    for line in [
        "nowhere.toml cannot be read: there is no such file",
        "machines cannot be read: it is a folder; name a file in it",
        "machines/bad.toml: language.header holds \"PD\": it lowers the tool",
        "good.toml: good",
    ] {
        assert!(told.contains(line), "{told}");
    }
    let cut = run(folder.path(), &["write", "sign.svg", "-m", "bad", "-o", "x.hpgl"]);
    assert_eq!(cut.status.code(), Some(2));
    assert!(said(&cut).contains("lowers the tool") && !folder.path().join("x.hpgl").exists());
    let list = run(folder.path(), &["profiles", "list"]);
    let list = String::from_utf8_lossy(&list.stdout).into_owned();
    assert!(list.contains("cannot be used: bad: language.header"), "{list}");
}

/// Where a row of copies is too long, fewer of them are named as a way out.
#[test]
fn fewer_copies_are_advised_where_many_are_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sign.svg"), SIGN).unwrap();
    let many = said(&run(folder.path(), &["check", "sign.svg", "--copies", "20"]));
    assert!(many.contains("fits with fewer copies, with --scale"), "{many}");
    let large = said(&run(folder.path(), &["check", "sign.svg", "--width", "2000mm"]));
    assert!(large.contains("fits with --scale") && !large.contains("copies"), "{large}");
}

/// The floor is told beside another true offset as well.
#[test]
fn a_bound_is_told_beside_a_true_offset() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sign.svg"), SIGN).unwrap();
    let both = run(folder.path(), &["check", "sign.svg", "--bound", "--true-offset", "0.3mm"]);
    let told = String::from_utf8_lossy(&both.stdout).into_owned();
    assert!(told.contains("with any starts") && told.contains("simulated as if"), "{told}");
}

/// Fills (RA, WG: HP, PCL 5 quick reference, p. 30) and labels (LB: HP 7470A manual, p. 1-7) are no lines to cut along.
#[test]
fn a_job_of_fills_alone_is_told_as_such() {
    let folder = tempfile::tempdir().unwrap();
    let told = |job: &str| {
        std::fs::write(folder.path().join("job.hpgl"), job).unwrap();
        let output = run(folder.path(), &["check", "job.hpgl"]);
        assert_eq!(output.status.code(), Some(1));
        said(&output)
    };
    for job in ["IN;SP1;PU0,0;RA400,400;WG100,0,90;SP0;", "IN;SP1;PU9,9;LBhello\u{3};SP0;"] {
        let text = told(job);
        assert!(text.contains("only fills areas or letters") && text.contains("byte "), "{text}");
    }
    assert!(told("no drawing at all?").contains("neither an SVG drawing"));
}

#[test]
fn an_empty_file_is_told_alike_by_every_command() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("empty.svg"), "").unwrap();
    for arguments in [
        &["check", "empty.svg"][..],
        &["write", "empty.svg"],
        &["preview", "empty.svg", "-o", "page.html"],
        &["compare", "empty.svg"],
        &["send", "empty.svg", "--dry-run"],
    ] {
        let output = run(folder.path(), arguments);
        assert_eq!(output.status.code(), Some(1), "{arguments:?}");
        let told = said(&output);
        assert!(told.contains("empty.svg: the file is empty; save the drawing again"), "{told}");
    }
}

/// The order with the least travel from line to line may show more than another once a blade's turns are in.
#[test]
fn compare_tells_where_the_blades_turns_change_who_comes_first() {
    let folder = tempfile::tempdir().unwrap();
    let box_at = |x: &str, y: &str, w: &str, h: &str| {
        format!(r#"<rect x="{x}" y="{y}" width="{w}" height="{h}"/>"#)
    };
    let boxes = [
        box_at("22.8", "32.1", "2.2", "2.4"),
        box_at("30.4", "18.9", "3.1", "2.6"),
        box_at("19.5", "35.7", "3.2", "3.8"),
    ];
    let svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">{}</svg>"#,
        boxes.concat()
    );
    std::fs::write(folder.path().join("boxes.svg"), svg).unwrap();
    let told = |offset: &str, overcut: &str| {
        let blade = ["--blade-offset", offset, "--overcut", overcut];
        let arguments =
            [&["compare", "boxes.svg", "--machine", "flatbed-cutter"], &blade[..], &["--csv"]]
                .concat();
        let travels: Vec<f64> = String::from_utf8_lossy(&run(folder.path(), &arguments).stdout)
            .lines()
            .skip(1)
            .filter_map(|row| row.split(',').nth(1)?.parse().ok())
            .collect();
        let talk = said(&run(folder.path(), &arguments[..8]));
        assert_eq!(travels.len(), 3, "{travels:?}");
        (travels[2] > travels[1], talk.contains("from line to line, before the blade"))
    };
    assert_eq!(told("0.25mm", "0.5mm"), (true, true));
    assert_eq!(told("0mm", "0mm"), (false, false));
}
