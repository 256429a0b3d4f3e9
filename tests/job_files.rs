//! Job files: what they hold is what is cut, what is typed takes precedence, slips are explained.

use assert_cmd::Command;

fn run(arguments: &[&str]) -> (Option<i32>, String, Vec<u8>) {
    let mut command = Command::cargo_bin("bladewright").unwrap();
    let output = command.current_dir(env!("CARGO_MANIFEST_DIR")).args(arguments).output().unwrap();
    (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned(), output.stdout)
}

#[test]
fn a_saved_job_gives_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job.toml");
    let job = job.to_str().unwrap();
    let typed = [
        "write",
        "demo/frame-decal.svg",
        "-m",
        "roll-15",
        "--width",
        "120mm",
        "--copies",
        "1x2",
        "--layers",
        "Lettering,Bird",
        "--mirror",
        "-o",
        "-",
    ];
    let (code, said, first) = run(&[&typed[..], &["--save-job", job]].concat());
    assert_eq!(code, Some(0), "{said}");
    let (code, said, again) = run(&["write", "--job", job]);
    assert_eq!(code, Some(0), "{said}");
    assert!(first.len() > 1000 && first == again);
    // What is typed takes precedence, also over an option that excludes it.
    let (code, said, larger) = run(&["write", "--job", job, "--scale", "0.8", "--copies", "1"]);
    assert_eq!(code, Some(0), "{said}");
    assert_ne!(first, larger);
    let (_, _, expected) = run(&[
        "write",
        "demo/frame-decal.svg",
        "-m",
        "roll-15",
        "--scale",
        "0.8",
        "--layers",
        "Lettering,Bird",
        "--mirror",
        "-o",
        "-",
    ]);
    assert_eq!(larger, expected);
}

#[test]
fn the_demo_job_can_be_cut() {
    let (code, said, bytes) = run(&["write", "--job", "demo/price-tags.toml", "-o", "-"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("24 pieces take"), "{said}");
    assert!(bytes.starts_with(b"IN;"));
}

/// One file serves every command: what only another one knows is passed over.
#[test]
fn a_saved_job_is_taken_by_the_other_commands() {
    let folder = tempfile::tempdir().unwrap();
    let [job, out] = ["job.toml", "out.hpgl"].map(|name| folder.path().join(name));
    let [job, out] = [&job, &out].map(|path| path.to_str().unwrap());
    let (code, said, _) = run(&["write", "demo/price-tags.svg", "-o", out, "--save-job", job]);
    assert_eq!(code, Some(0), "{said}");
    assert!(std::fs::read_to_string(job).unwrap().contains("output = "));
    for command in [&["check", "--job", job][..], &["send", "--dry-run", "--job", job]] {
        let (code, said, _) = run(command);
        assert_eq!(code, Some(0), "{command:?}: {said}");
    }
}

#[test]
fn slips_in_a_job_are_explained() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job.toml");
    let told = |text: &str| {
        std::fs::write(&job, text).unwrap();
        let (code, said, _) = run(&["write", "--job", job.to_str().unwrap(), "-o", "-"]);
        assert_eq!(code, Some(2), "{text}: {said}");
        said
    };
    assert!(told("machin = \"roll-15\"").contains("did you mean \"machine\"?"));
    assert!(told("pack = \"yes\"").contains("pack = true"));
    assert!(told("width = \"wide\"\ndrawing = \"x.svg\"").contains("wide"));
    assert!(told("width = { mm = 3 }").contains("width must be a text or a number"));
    assert!(told("gap = \"2mm\"\nwidth = = 3").contains("row 2"));
    let missing = folder.path().join("none.toml");
    let (code, said, _) = run(&["write", "--job", missing.to_str().unwrap()]);
    assert_eq!(code, Some(1), "{said}");
}
