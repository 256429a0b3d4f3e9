//! `tune` on the command line: a sheet of every pattern, what was seen on it, the value kept.
//! How good the answers are is measured in `tuning.rs`.

mod program;

use std::path::Path;
use std::process::Output;

use program::run;

fn tune(folder: &Path, arguments: &[&str]) -> Output {
    run(folder, &[&["tune"], arguments].concat())
}

fn said(output: &Output) -> String {
    let both = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    String::from_utf8(both).unwrap()
}

#[test]
fn every_pattern_has_a_job_and_a_page() {
    let folder = tempfile::tempdir().unwrap();
    for pattern in ["circles", "vernier", "eyelets", "ladder", "overcut", "speed"] {
        let output = tune(folder.path(), &["sheet", "--pattern", pattern]);
        assert!(output.status.success(), "{}", said(&output));
        assert!(said(&output).contains("Tune on scrap"), "{}", said(&output));
        let job = std::fs::read(folder.path().join(format!("tune-{pattern}.hpgl"))).unwrap();
        let (commands, findings) = bladewright::hpgl::read(&job);
        assert!(commands.len() > 50 && findings.is_empty(), "{pattern}");
        let page = folder.path().join(format!("tune-{pattern}.html"));
        let page = std::fs::read_to_string(page).unwrap();
        assert!(page.contains("default-src 'none'") && page.contains("<svg"), "{pattern}");
        let command = "Then type <code>bladewright tune ";
        assert!(page.contains(command) && said(&output).contains("then: bladewright"), "{pattern}");
    }
    let force = tune(folder.path(), &["sheet", "--pattern", "force", "--machine", "roll-24"]);
    assert!(!force.status.success() && said(&force).contains("force"), "{}", said(&force));
}

#[test]
fn what_was_seen_becomes_an_offset() {
    let folder = tempfile::tempdir().unwrap();
    let offset = |arguments: &[&str]| {
        let output = tune(folder.path(), &[&["read", "--json"], arguments].concat());
        assert!(output.status.success(), "{}", said(&output));
        let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        let mm = |key: &str| answer[key].as_f64().unwrap();
        assert!(mm("uncertainty_mm") > 0.0 && mm("uncertainty_mm") < 0.08, "{answer}");
        mm("blade_offset_mm")
    };
    // The ladder's squares go up in steps: so do the answers.
    let step = offset(&["--square", "5"]) - offset(&["--square", "4"]);
    assert!(step > 0.01 && step < 0.1, "{step}");
    // Of a circle that the blade cuts uncompensated a hole is left that is smaller than drawn; a
    // larger hole in the same circle means a smaller offset.
    assert!(offset(&["--hole", "7=0.5"]) > offset(&["--hole", "7=0.6"]));
    let end = tune(folder.path(), &["read", "--square", "9"]);
    assert!(
        said(&end).contains("end of its row") && !said(&end).contains("keep it"),
        "{}",
        said(&end)
    );
    assert!(said(&end).contains("--pattern ladder --blade-offset 0.35"), "{}", said(&end));
    // A number means what it means on the sheet that was cut; the page's value needs no sheet.
    let (number, value) = (["--square", "6", "--blade-offset", "0.3mm"], ["--square", "0.325mm"]);
    assert_eq!(offset(&number), offset(&value));
    let none = tune(folder.path(), &["read", "--square", "wide"]);
    assert!(said(&none).contains("neither a test's number nor its value"), "{}", said(&none));
    let coarse =
        ["read", "--pattern", "ladder", "--first", "0.1", "--step", "0.1", "--square", "3"];
    assert!(
        said(&tune(folder.path(), &coarse)).contains("--pattern ladder --blade-offset 0.300mm")
    );
    // Readings that no machine explains are no answer to keep.
    for wrong in [["--tick-x", "9mm"], ["--tick-x", "17"], ["--tick-y", "34"], ["--square", "9mm"]]
    {
        let output = tune(folder.path(), &[&["read", "--hole", "7=0.52"], &wrong[..]].concat());
        let told = said(&output);
        assert!(told.contains("contradicts itself") && !told.contains("keep it"), "{told}");
    }
    let fits = tune(folder.path(), &["read", "--hole", "7=0.52,8=0.68", "--eyelet", "4"]);
    assert!(said(&fits).contains("keep it"), "{}", said(&fits));
    for other in ["overcut", "force", "speed"] {
        let output = tune(folder.path(), &["read", "--pattern", other, "--square", "3"]);
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains(&format!("tune save --{other}")), "{}", said(&output));
    }
    let nothing = tune(folder.path(), &["read"]);
    assert!(!nothing.status.success() && said(&nothing).contains("nothing was read"));
    let none = tune(folder.path(), &["read", "--square", "900"]);
    assert!(!none.status.success() && said(&none).contains("900"), "{}", said(&none));
}

#[test]
fn a_tuned_value_is_kept_with_all_else_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let save = |more: &[&str]| {
        let start = ["save", "--material", "vinyl-cast", "--blade-offset", "0.27mm"];
        let output = tune(folder.path(), &[&start[..], more].concat());
        assert!(output.status.success(), "{}", said(&output));
        said(&output)
    };
    let file = folder.path().join("materials/vinyl-cast.toml");
    let empty = tune(folder.path(), &["save", "--material", "vinyl-cast"]);
    assert_eq!(empty.status.code(), Some(2));
    assert!(said(&empty).contains("nothing was given to keep"), "{}", said(&empty));
    assert!(save(&["--dry-run"]).contains("0.25 -> 0.27"));
    assert!(!file.exists());
    assert!(save(&[]).contains("0.25 -> 0.27"));
    let own = std::fs::read_to_string(&file).unwrap();
    let built_in = include_str!("../machine-profiles/materials/vinyl-cast.toml");
    // Line by line the same, comments too, but for the value and its source.
    let (now, then): (Vec<&str>, Vec<&str>) = (own.lines().collect(), built_in.lines().collect());
    assert_eq!(now.len(), then.len());
    let changed: Vec<&str> =
        now.iter().zip(&then).filter(|(a, b)| a != b).map(|(a, _)| *a).collect();
    assert!(changed.contains(&"blade_offset_mm = 0.27"), "{changed:?}");
    assert!(changed.iter().all(|line| line.starts_with("blade_offset_mm")), "{changed:?}");
    assert!(own.starts_with('#'), "the head comment is gone");

    std::fs::write(&file, own.replace("# ", "# mine: ")).unwrap();
    let again = tune(
        folder.path(),
        &["save", "--material", "vinyl-cast", "--blade-offset", "0.3mm", "--overcut", "0.5mm"],
    );
    assert!(said(&again).contains("0.27 -> 0.3"), "{}", said(&again));
    assert!(std::fs::read_to_string(&file).unwrap().starts_with("# mine: "));
}

/// The commands that sheet and reading name lead from one to the next as they are.
#[test]
fn each_step_names_the_next_as_it_is_typed() {
    let folder = tempfile::tempdir().unwrap();
    let with = ["--machine", "roll-15", "--material", "card-200g"];
    let sheet = tune(folder.path(), &[&["sheet", "--pattern", "ladder"], &with[..]].concat());
    let read = "bladewright tune read --square NUMBER --blade-offset 0.5mm --machine roll-15 --material card-200g";
    assert!(said(&sheet).contains(read), "{}", said(&sheet));
    let words = |line: &str| line.split(' ').skip(2).map(str::to_owned).collect::<Vec<_>>();
    let typed = words(&read.replace("NUMBER", "4"));
    let answer = tune(folder.path(), &typed.iter().map(String::as_str).collect::<Vec<_>>());
    let answer = said(&answer);
    assert!(answer.contains("0.475 mm ±"), "{answer}");
    let next = answer.lines().find_map(|line| line.strip_prefix("cut next  ")).unwrap();
    assert!(next.contains("eyelets") && next.ends_with(&with.join(" ")), "{next}");
    let keep = answer.lines().find_map(|line| line.strip_prefix("keep it   ")).unwrap();
    for line in [next, keep] {
        let done = tune(folder.path(), &words(line).iter().map(String::as_str).collect::<Vec<_>>());
        assert!(done.status.success(), "{line}: {}", said(&done));
    }
    assert!(folder.path().join("materials/card-200g.toml").exists());
}

/// What does not count is told; where two rows end, neither is taken for sure.
#[test]
fn what_tells_nothing_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let read = |arguments: &[&str]| {
        let all = [&["read", "--material", "vinyl-cast"], arguments].concat();
        said(&tune(folder.path(), &all))
    };
    let small = read(&["--hole", "7=0.2"]);
    assert!(small.contains("less than half as wide as its circle"), "{small}");
    assert!(!small.contains("give the diameters"), "{small}");
    let beside = read(&["--hole", "7=0.2,9=0.9"]);
    assert!(beside.contains("one hole is not counted"), "{beside}");
    assert!(!read(&["--hole", "9=0.9"]).contains("not counted"));
    // Beside numbers as they are typed, no others.
    let wrong = read(&["--hole", "6=0.75"]);
    assert!(
        wrong.contains("a hole of 0.750 mm") && wrong.contains("a circle of 0.300 mm"),
        "{wrong}"
    );
    assert!(read(&["--hole", "7=nan"]).contains("write number=diameter"));
    // Nothing is smaller than the first circle: the answer is as wide as what it answers.
    let first = read(&["--opened", "1"]);
    assert!(first.contains("nothing to keep") && !first.contains("keep it"), "{first}");
    assert!(read(&["--opened", "7"]).contains("keep it"));
    let range = |text: &str| -> f64 {
        let line = text.lines().next().unwrap();
        line.split_once('±').unwrap().1.trim().trim_end_matches("mm").trim().parse().unwrap()
    };
    let both = read(&["--square", "9", "--eyelet", "1"]);
    assert!(both.contains("the ladder sheet stands at the end"), "{both}");
    assert!(both.contains("the eyelets sheet stands at the end"), "{both}");
    assert!(range(&both) > 0.1, "{both}");
}

/// A machine with a force of 1 to 8 and a speed of 1 to 60 is sent nothing beyond, and the page names none.
#[test]
fn a_row_ends_where_the_machine_ends() {
    let folder = tempfile::tempdir().unwrap();
    let shown = run(folder.path(), &["profiles", "show", "roll-15"]);
    let text = String::from_utf8(shown.stdout).unwrap();
    let text =
        text.replacen("tools = 1\n", "tools = 1\nforce = true\nforce_range = [1.0, 8.0]\n", 1);
    std::fs::write(folder.path().join("shop.toml"), text).unwrap();
    let values = |instruction: &str, arguments: &[&str]| {
        let all = [&["sheet", "-m", "./shop.toml", "-o", "row.hpgl"], arguments].concat();
        let output = tune(folder.path(), &all);
        assert!(output.status.success(), "{}", said(&output));
        let job = std::fs::read_to_string(folder.path().join("row.hpgl")).unwrap();
        let values = job.split(';').filter_map(|part| part.strip_prefix(instruction)?.parse().ok());
        values.collect::<Vec<f64>>()
    };
    let all: Vec<f64> = (1..=8).map(f64::from).collect();
    assert_eq!(values("FS", &["--pattern", "force"]), all);
    let page = std::fs::read_to_string(folder.path().join("tune-force.html")).unwrap();
    assert!(page.contains("<td>8</td>") && !page.contains("<td>9</td>"));
    assert_eq!(
        values("FS", &["--pattern", "force", "--first", "6", "--step", "1"]),
        [6.0, 7.0, 8.0]
    );
    let fast = values("VS", &["--pattern", "speed", "--first", "40", "--step", "5"]);
    assert!(fast.contains(&60.0) && fast.iter().all(|v| *v <= 60.0), "{fast:?}");
    for beyond in [["100", "10"], ["0.5", "1"], ["60", "1"]] {
        let row = ["--first", beyond[0], "--step", beyond[1]];
        let arguments = [&["sheet", "-m", "./shop.toml", "--pattern", "speed"][..], &row].concat();
        let output = tune(folder.path(), &arguments);
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains("takes a speed from 1 to 60"), "{}", said(&output));
    }
}

/// A vernier tells twice the offset plus the play, so the command of its sheet asks for the circles as well.
#[test]
fn a_vernier_is_read_together_with_the_circles() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = tune(folder.path(), &["sheet", "--pattern", "vernier", "-m", "roll-15"]);
    let told = said(&sheet);
    let command = told.lines().find_map(|line| line.strip_prefix("then: bladewright ")).unwrap();
    let command = command.replacen("NUMBER=MM,NUMBER=MM", "7=0.52,8=0.71,9=0.90", 1);
    let command = command.replacen("NUMBER", "9", 1).replacen("NUMBER", "26", 1);
    let read = run(folder.path(), &command.split(' ').collect::<Vec<_>>());
    assert!(read.status.success() && said(&read).contains("play along y"), "{}", said(&read));
    let alone = tune(folder.path(), &["read", "--tick-x", "9", "--tick-y", "26"]);
    assert!(said(&alone).contains("only together with the play"), "{}", said(&alone));
}
