//! What disks, pipes, other programs and impatient people do to a run: a full disk, a closed stdout,
//! a drawing that changes, a folder that takes nothing, a kill at any moment, two runs at once.
//!
//! Always: the old result or the whole new one stands in the place, nothing else is left behind, and
//! the person is told. The system itself is the referee: its limits (setrlimit(2)), its full device
//! (full(4)), its permissions and its signals.
#![cfg(target_os = "linux")]

mod program;
mod random;

use std::fs;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

use bladewright::geometry::Point;
use bladewright::pipeline;
use bladewright::profile::Library;
use bladewright::send::Journal;
use program::{placed, program, run};
use random::Dice;

const OLD: &[u8] = b"what stood here before";

/// Rings in rows: a job of about so many times 500 bytes.
fn drawing(rings: usize) -> String {
    let ring = |i: usize| {
        let (x, y) = (10 + i % 20 * 9, 10 + i / 20 * 9);
        format!("<circle cx='{x}' cy='{y}' r='3'/>")
    };
    let rings: String = (0..rings).map(ring).collect();
    let size = "width='200mm' height='200mm' viewBox='0 0 200 200'";
    format!("<svg xmlns='http://www.w3.org/2000/svg' {size}>{rings}</svg>")
}

fn folder(rings: usize) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("sign.svg"), drawing(rings)).unwrap();
    folder
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The names in `folder`, sorted.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// The program under a shell's limit of so many blocks of 512 bytes for any file it writes; a write
/// beyond fails, or kills it with SIGXFSZ.
fn limited(folder: &Path, blocks: usize, killed: bool, arguments: &[&str]) -> Output {
    let trap = if killed { "" } else { "trap '' XFSZ;" };
    let script = format!("{trap} ulimit -f {blocks}; exec \"$0\" \"$@\"");
    let mut shell = Command::new("sh");
    shell.args(["-c", &script, env!("CARGO_BIN_EXE_bladewright")]);
    placed(shell, folder).args(arguments).output().unwrap()
}

#[test]
fn a_disk_that_fills_at_any_byte_leaves_the_old_file() {
    let folder = folder(120);
    let path = folder.path();
    let arguments =
        ["write", "sign.svg", "-o", "sign.hpgl", "-m", "plain-hpgl", "--order", "drawn"];
    assert_eq!(run(path, &arguments).status.code(), Some(0));
    let whole = fs::read(path.join("sign.hpgl")).unwrap();
    assert!(whole.len() > 20_000, "{}", whole.len());
    for blocks in [0, 1, 2, 7, 16, whole.len() / 512] {
        for killed in [false, true] {
            fs::write(path.join("sign.hpgl"), OLD).unwrap();
            let output = limited(path, blocks, killed, &arguments);
            assert_eq!(fs::read(path.join("sign.hpgl")).unwrap(), OLD, "{blocks} {killed}");
            if killed {
                assert_eq!(output.status.code(), None, "{}", said(&output));
            } else {
                assert_eq!(output.status.code(), Some(1), "{}", said(&output));
                assert!(said(&output).contains("sign.hpgl cannot be written"), "{}", said(&output));
                assert!(said(&output).contains("larger than the system"), "{}", said(&output));
                let left: Vec<_> =
                    names(path).into_iter().filter(|n| !n.starts_with('.')).collect();
                assert_eq!(left, ["sign.hpgl", "sign.svg"]);
            }
        }
    }
    let output = limited(path, whole.len() / 512 + 2, false, &arguments);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert_eq!(fs::read(path.join("sign.hpgl")).unwrap(), whole);
}

#[test]
fn every_file_that_cannot_be_written_is_told() {
    let folder = folder(2);
    let path = folder.path();
    let calls: [&[&str]; 7] = [
        &["write", "sign.svg", "-o", "out"],
        &["write", "sign.svg", "-o", "-", "--picture", "out.png"],
        &["write", "sign.svg", "-o", "-", "--save-job", "out"],
        &["preview", "sign.svg", "-o", "out.html"],
        &["compare", "sign.svg", "--page", "out.html"],
        &["check", "sign.svg", "--picture", "out.svg"],
        &["tune", "sheet", "--pattern", "circles", "-o", "out"],
    ];
    for call in calls {
        let output = limited(path, 0, false, call);
        assert_eq!(output.status.code(), Some(1), "{call:?}: {}", said(&output));
        assert!(said(&output).contains("cannot be written: "), "{call:?}: {}", said(&output));
        assert_eq!(names(path), ["sign.svg"], "{call:?}");
    }
}

/// Commands that talk on stdout.
const TALKERS: [&[&str]; 9] = [
    &["write", "sign.svg", "-o", "-"],
    &["write", "sign.svg", "--json", "-o", "sign.hpgl"],
    &["check", "sign.svg"],
    &["compare", "sign.svg"],
    &["profiles", "list"],
    &["profiles", "show", "pen"],
    &["completions", "bash"],
    &["man"],
    &["tune", "read", "--hole", "7=0.52,8=0.61,9=0.70"],
];

#[test]
fn a_full_stdout_is_told() {
    let folder = folder(30);
    for call in TALKERS {
        let full = fs::File::options().write(true).open("/dev/full").unwrap();
        let output = program(folder.path()).args(call).stdout(full).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{call:?}: {}", said(&output));
        assert!(said(&output).contains("the output cannot be written"), "{call:?}");
        assert!(said(&output).contains("the disk is full"), "{call:?}: {}", said(&output));
    }
}

#[test]
fn a_reader_that_goes_away_ends_it_quietly() {
    let folder = folder(30);
    for call in TALKERS {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let output = program(folder.path()).args(call).stdout(writer).output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{call:?}: {}", said(&output));
        assert!(!said(&output).contains("error:"), "{call:?}: {}", said(&output));
    }
}

#[test]
fn a_stderr_that_takes_nothing_changes_nothing() {
    let folder = folder(30);
    let calls = [("sign.svg", Some(0)), ("missing.svg", Some(1))];
    for (file, code) in calls {
        let full = fs::File::options().write(true).open("/dev/full").unwrap();
        let mut command = program(folder.path());
        let status = command.args(["check", file]).stdout(Stdio::null()).stderr(full).status();
        assert_eq!(status.unwrap().code(), code, "full");
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let mut command = program(folder.path());
        let status = command.args(["check", file]).stdout(Stdio::null()).stderr(writer).status();
        assert_eq!(status.unwrap().code(), code, "closed");
    }
}

/// Two drawings take turns in one file, each written over the other.
#[test]
fn a_drawing_that_changes_gives_one_of_its_states_or_none() {
    let folder = folder(4);
    let path = folder.path();
    let texts = [drawing(200), drawing(5)];
    let arguments = ["write", "sign.svg", "-o", "-", "-m", "plain-hpgl", "--order", "drawn"];
    let jobs = texts.clone().map(|text| {
        fs::write(path.join("sign.svg"), text).unwrap();
        run(path, &arguments).stdout
    });
    let done = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for text in texts.iter().cycle() {
                if done.load(std::sync::atomic::Ordering::Relaxed) {
                    break;
                }
                let mut file = fs::File::create(path.join("sign.svg")).unwrap();
                for piece in text.as_bytes().chunks(2000) {
                    file.write_all(piece).unwrap();
                }
            }
        });
        for _ in 0..15 {
            let output = run(path, &arguments);
            match output.status.code() {
                Some(0) => assert!(jobs.contains(&output.stdout)),
                Some(1) => assert!(said(&output).starts_with("error: "), "{}", said(&output)),
                other => panic!("{other:?} {}", said(&output)),
            }
        }
        done.store(true, std::sync::atomic::Ordering::Relaxed);
    });
}

/// A pipe has no length: it is read to its end, however slowly that comes.
#[test]
fn a_drawing_may_come_through_a_pipe() {
    let folder = folder(2);
    let path = folder.path();
    let made = Command::new("mkfifo").arg(path.join("pipe.svg")).status().unwrap();
    assert!(made.success());
    let child = program(path)
        .args(["check", "pipe.svg"])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut pipe = fs::File::options().write(true).open(path.join("pipe.svg")).unwrap();
    let text = drawing(40);
    for piece in text.as_bytes().chunks(500) {
        pipe.write_all(piece).unwrap();
        std::thread::sleep(Duration::from_millis(1));
    }
    drop(pipe);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
}

#[test]
fn a_pipe_as_result_stays_one() {
    use std::os::unix::fs::FileTypeExt;
    let folder = folder(30);
    let path = folder.path();
    let made = Command::new("mkfifo").arg(path.join("out.hpgl")).status().unwrap();
    assert!(made.success());
    let arguments = ["write", "sign.svg", "-o", "out.hpgl", "-m", "plain-hpgl"];
    let mut child = program(path).args(arguments).stdout(Stdio::null()).spawn().unwrap();
    let mut bytes = Vec::new();
    fs::File::open(path.join("out.hpgl")).unwrap().read_to_end(&mut bytes).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert!(bytes.starts_with(b"IN;") && bytes.len() > 1000);
    assert!(fs::metadata(path.join("out.hpgl")).unwrap().file_type().is_fifo());
}

/// As nobody in particular: whoever administers the machine may write anywhere.
fn as_nobody(folder: &Path, arguments: &[&str]) -> Output {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;
    let administers = fs::metadata("/proc/self").unwrap().uid() == 0;
    let command = if administers {
        // Where everybody can run it; by a program of its own, since a file that this one still has
        // open for writing in any of its children cannot be run.
        let copy = folder.join("program");
        let mut install = Command::new("cp");
        install.arg("-f").arg(env!("CARGO_BIN_EXE_bladewright")).arg(&copy);
        assert!(install.status().unwrap().success());
        fs::set_permissions(folder, fs::Permissions::from_mode(0o755)).unwrap();
        let mut command = Command::new(copy);
        command.uid(65534).gid(65534);
        command
    } else {
        Command::new(env!("CARGO_BIN_EXE_bladewright"))
    };
    placed(command, folder).args(arguments).output().unwrap()
}

#[test]
fn a_folder_or_file_that_takes_nothing_is_told_before_the_work() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder(30);
    let path = folder.path();
    let locked = path.join("locked");
    fs::create_dir(&locked).unwrap();
    fs::set_permissions(&locked, fs::Permissions::from_mode(0o555)).unwrap();
    let told = |output: Output, name: &str| {
        assert_eq!(output.status.code(), Some(1), "{}", said(&output));
        assert!(said(&output).contains(name), "{}", said(&output));
        assert!(said(&output).contains("you are not allowed to"), "{}", said(&output));
    };
    // Even a drawing that does not exist: the result's place is looked at first.
    let call = ["write", "missing.svg", "-o", "locked/sign.hpgl"];
    told(as_nobody(path, &call), "locked/sign.hpgl cannot be written");
    fs::write(path.join("kept.hpgl"), OLD).unwrap();
    fs::set_permissions(path.join("kept.hpgl"), fs::Permissions::from_mode(0o444)).unwrap();
    told(run(path, &["write", "sign.svg", "-o", "kept.hpgl"]), "kept.hpgl cannot be written");
    assert_eq!(fs::read(path.join("kept.hpgl")).unwrap(), OLD);
    fs::write(path.join("secret.svg"), drawing(2)).unwrap();
    fs::set_permissions(path.join("secret.svg"), fs::Permissions::from_mode(0o000)).unwrap();
    told(as_nobody(path, &["check", "secret.svg"]), "secret.svg cannot be read");
    assert_eq!(names(&locked), Vec::<String>::new());
}

#[test]
fn a_link_to_the_result_stays_one() {
    let folder = folder(2);
    let path = folder.path();
    fs::create_dir(path.join("jobs")).unwrap();
    fs::write(path.join("jobs/sign.hpgl"), OLD).unwrap();
    std::os::unix::fs::symlink("jobs/sign.hpgl", path.join("latest.hpgl")).unwrap();
    let output = run(path, &["write", "sign.svg", "-o", "latest.hpgl"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(path.join("latest.hpgl").is_symlink());
    assert!(fs::read(path.join("jobs/sign.hpgl")).unwrap().starts_with(b"IN;"));
}

fn write(path: &Path) -> Child {
    program(path)
        .args([
            "write",
            "sign.svg",
            "-o",
            "sign.hpgl",
            "--picture",
            "sign.svg.png",
            "-m",
            "roll-24",
        ])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

#[test]
fn a_kill_at_any_moment_leaves_the_old_file_or_the_new_one() {
    let folder = folder(70);
    let path = folder.path();
    let since = std::time::Instant::now();
    assert!(write(path).wait().unwrap().success());
    let usual = since.elapsed().as_secs_f64();
    let whole = fs::read(path.join("sign.hpgl")).unwrap();
    let picture = fs::read(path.join("sign.svg.png")).unwrap();
    let mut dice = Dice(41);
    for trial in 0..16 {
        fs::write(path.join("sign.hpgl"), OLD).unwrap();
        fs::remove_file(path.join("sign.svg.png")).unwrap_or_default();
        let mut child = write(path);
        std::thread::sleep(Duration::from_secs_f64(usual * 1.2 * dice.roll()));
        child.kill().unwrap();
        child.wait().unwrap();
        let now = fs::read(path.join("sign.hpgl")).unwrap();
        assert!(now == OLD || now == whole, "{trial}: {} bytes", now.len());
        let now = fs::read(path.join("sign.svg.png")).unwrap_or_else(|_| picture.clone());
        assert!(now == picture, "{trial}: {} bytes of the picture", now.len());
    }
}

#[test]
fn two_runs_at_once_leave_one_whole_result() {
    let folder = folder(60);
    let path = folder.path();
    fs::write(path.join("other.svg"), drawing(40)).unwrap();
    let call = |drawing| ["write", drawing, "-o", "same.hpgl", "-m", "plain-hpgl"];
    let jobs = ["sign.svg", "other.svg"].map(|drawing| {
        assert_eq!(run(path, &call(drawing)).status.code(), Some(0));
        fs::read(path.join("same.hpgl")).unwrap()
    });
    for _ in 0..4 {
        let both = ["sign.svg", "other.svg"].map(|drawing| {
            program(path).args(call(drawing)).stdout(Stdio::null()).spawn().unwrap()
        });
        for mut child in both {
            assert_eq!(child.wait().unwrap().code(), Some(0));
        }
        assert!(jobs.contains(&fs::read(path.join("same.hpgl")).unwrap()));
    }
    assert_eq!(names(path), ["other.svg", "same.hpgl", "sign.svg"]);
}

/// A job of small squares.
fn job(cuts: usize) -> String {
    let square = |i: usize| {
        let (x, y) = (60 * (i % 40), 70 * (i / 40));
        format!("PU{x},{y};PD{0},{y},{0},{1},{x},{y};", x + 40, y + 50)
    };
    format!("IN;SP1;{}PU0,0;SP0;", (0..cuts).map(square).collect::<String>())
}

fn send(path: &Path, resume: bool) -> Child {
    let mut command = program(path);
    command.args(["send", "job.hpgl", "--machine", "flatbed-a4", "--port", "cutter", "--yes"]);
    command.args(["--baud", "38400", "--handshake", "software"]);
    command.args(resume.then_some("--resume"));
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap()
}

/// The stand-in cutter is the machine; a killed sender leaves a journal that can be gone on with.
#[test]
fn a_send_that_is_killed_at_any_moment_goes_on() {
    let mut dice = Dice(5);
    for trial in 0..4 {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        fs::write(path.join("job.hpgl"), job(120)).unwrap();
        let mut machine = program(path)
            .args(["stand-in", "--machine", "flatbed-a4", "--link", "cutter", "--fast"])
            .args(["--baud", "38400", "--obeyed", "obeyed.hpgl"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut port = [0; 5];
        machine.stdout.as_mut().unwrap().read_exact(&mut port).unwrap();
        let mut first = send(path, false);
        std::thread::sleep(Duration::from_secs_f64(0.3 + dice.roll()));
        first.kill().unwrap();
        first.wait().unwrap();
        let file = Journal::path(&path.join("job.hpgl"));
        let journal = Journal::read(&file).unwrap_or_else(|told| panic!("{trial}: {told}"));
        assert!(journal.as_ref().is_none_or(|j| j.finished <= j.cuts), "{trial}: {journal:?}");
        let again = send(path, journal.is_some()).wait_with_output().unwrap();
        // Where the machine's place does not tell, the person is asked: that is no answer of its own.
        let asks = said(&again).contains("finished for certain");
        let done = again.status.code() == Some(0) || said(&again).contains("nothing to resume");
        assert!(done || asks, "{trial}: {}", said(&again));
        assert!(names(path).iter().all(|name| !name.ends_with(".tmp")));
        machine.stdin.as_mut().unwrap().write_all(b"end\n").unwrap();
        machine.wait().unwrap();
        let obeyed = fs::read(path.join("obeyed.hpgl")).unwrap();
        let flatbed = Library::with_folder("/nowhere".into()).machine("flatbed-a4").unwrap();
        let cuts = |bytes: &[u8]| -> Vec<Vec<Point>> {
            let back = pipeline::read_back(bytes, &flatbed, 0.0);
            back.simulation.cuts.into_iter().map(|cut| cut.axis).collect()
        };
        let made = cuts(&obeyed);
        for (i, cut) in cuts(job(120).as_bytes()).iter().enumerate() {
            let times = made.iter().filter(|made| *made == cut).count();
            assert!(times == 1 || times == 0 && asks, "{trial}: cut {} made {times} times", i + 1);
            let finished = journal.as_ref().map_or(0, |journal| journal.finished);
            assert!(times == 1 || i >= finished, "{trial}: cut {} is not finished", i + 1);
        }
    }
}

/// `send` works from a copy; where there is no room for one, that is told.
#[test]
fn a_job_that_cannot_be_copied_is_told() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("job.hpgl"), job(20)).unwrap();
    let output = program(folder.path())
        .args(["send", "job.hpgl", "--machine", "flatbed-a4", "--port", "/dev/nowhere", "--yes"])
        .env("TMPDIR", "/nowhere/at/all")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    for part in
        ["job.hpgl cannot be copied", "/nowhere/at/all", "there is no such folder", "TMPDIR"]
    {
        assert!(said(&output).contains(part), "{}", said(&output));
    }
}
