//! The program against its own stand-in on real pseudo-terminals: the rehearsal of the README, a
//! pulled cable with resume, the port's lock, the probe, and the blade that stays up.
#![cfg(target_os = "linux")]

mod program;
mod squares;

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use bladewright::pipeline;
use bladewright::profile::Library;
use program::{program, run};
use squares::job;

/// A stand-in that is ready, and whose motion takes no time.
fn stand_in(folder: &Path, options: &[&str]) -> Child {
    real_stand_in(folder, &[&["--fast"], options].concat())
}

/// A stand-in that is ready: its port has been told.
fn real_stand_in(folder: &Path, options: &[&str]) -> Child {
    let mut child = program(folder)
        .args(["stand-in", "--machine", "flatbed-a4", "--link", "cutter"])
        .args(["--obeyed", "obeyed.hpgl"])
        .args(options)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut line = String::new();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    out.read_line(&mut line).unwrap();
    assert!(line.starts_with("/dev/"), "{line}");
    // Keeps the pipe open: the machine goes on talking.
    std::thread::spawn(move || for _ in out.lines() {});
    child
}

fn end(mut child: Child) {
    let _ = child.stdin.as_mut().unwrap().write_all(b"end\n");
    child.wait().unwrap();
}

fn send(folder: &Path, options: &[&str]) -> Output {
    program(folder)
        .args(["send", "job.hpgl", "--machine", "flatbed-a4", "--port", "cutter", "--yes"])
        .args(options)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned() + &String::from_utf8_lossy(&output.stdout)
}

fn cuts(bytes: &[u8]) -> Vec<Vec<(i64, i64)>> {
    let machine = Library::with_folder("/nowhere".into()).machine("flatbed-a4").unwrap();
    let back = pipeline::read_back(bytes, &machine, 0.0);
    let units = |mm: f64| (mm / 0.025).round() as i64;
    let cuts = back.simulation.cuts.iter();
    cuts.map(|cut| cut.axis.iter().map(|p| (units(p.x), units(p.y))).collect()).collect()
}

#[test]
fn a_pulled_cable_and_a_resume_make_every_cut_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(120)).unwrap();
    let machine = stand_in(path, &["--baud", "38400", "--when", "2000:hang-up"]);
    let options = ["--baud", "38400", "--handshake", "software"];
    let first = send(path, &options);
    assert_eq!(first.status.code(), Some(3), "{}", said(&first));
    assert!(said(&first).contains("vanished"), "{}", said(&first));
    assert!(said(&first).contains("of 120 cuts are finished for certain"), "{}", said(&first));
    assert!(said(&first).contains("--resume goes on there"), "{}", said(&first));
    // The machine is a pen plotter whose sheet lies still.
    assert!(said(&first).contains("The pen and the carriage will move"), "{}", said(&first));
    let second = send(path, &[&options[..], &["--resume"]].concat());
    assert_eq!(second.status.code(), Some(0), "{}", said(&second));
    assert!(said(&second).contains("the machine tells so"), "{}", said(&second));
    assert!(said(&second).contains("has done everything"), "{}", said(&second));
    let third = send(path, &[&options[..], &["--resume"]].concat());
    assert_eq!(third.status.code(), Some(1), "{}", said(&third));
    assert!(said(&third).contains("nothing to resume"), "{}", said(&third));
    end(machine);
    let made = cuts(&std::fs::read(path.join("obeyed.hpgl")).unwrap());
    for cut in cuts(job(120).as_bytes()) {
        assert_eq!(made.iter().filter(|made| **made == cut).count(), 1, "{cut:?}");
    }
}

#[test]
fn every_handshake_of_a_three_wire_line_brings_the_whole_job() {
    let whole = cuts(job(60).as_bytes());
    for (handshake, baud) in
        [("xon-xoff", "4800"), ("enq-ack", "19200"), ("software", "19200"), ("auto", "19200")]
    {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        std::fs::write(path.join("job.hpgl"), job(60)).unwrap();
        let of_the_machine = if handshake == "auto" { "xon-xoff" } else { handshake };
        let machine = stand_in(path, &["--baud", baud, "--handshake", of_the_machine]);
        let output = send(path, &["--baud", baud, "--handshake", handshake]);
        assert_eq!(output.status.code(), Some(0), "{handshake}: {}", said(&output));
        std::thread::sleep(Duration::from_millis(200));
        end(machine);
        let made = cuts(&std::fs::read(path.join("obeyed.hpgl")).unwrap());
        assert!(made == whole, "{handshake}");
    }
}

/// The stand-in moves in its own time: what is foretold in the middle of a job must come true.
#[test]
fn the_time_left_comes_true() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(60)).unwrap();
    let machine = real_stand_in(path, &["--baud", "9600", "--handshake", "software"]);
    let output = send(path, &["--baud", "9600", "--handshake", "software", "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    end(machine);
    let events: Vec<serde_json::Value> =
        said(&output).lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
    let progress: Vec<(f64, f64)> = events
        .iter()
        .filter(|event| event["event"] == "progress")
        .map(|event| (event["elapsed_s"].as_f64().unwrap(), event["left_s"].as_f64().unwrap()))
        .collect();
    assert!(progress.len() >= 9, "{}", said(&output));
    let (whole, last) = *progress.last().unwrap();
    assert!(whole > 5.0 && last < 1.0, "{progress:?}");
    for (elapsed, left) in &progress {
        assert!((elapsed + left - whole).abs() < 2.0 + 0.2 * whole, "{progress:?}");
    }
}

#[test]
fn the_blade_stays_up_when_rehearsed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(20)).unwrap();
    let machine = stand_in(path, &["--baud", "38400"]);
    let output = send(path, &["--baud", "38400", "--blade-up", "--handshake", "software"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    end(machine);
    let obeyed = std::fs::read(path.join("obeyed.hpgl")).unwrap();
    assert!(cuts(&obeyed).is_empty() && obeyed.len() > 500);
    assert!(!path.join("job.hpgl.sending.json").exists(), "nothing was cut, nothing is entered");
}

#[test]
fn a_probe_tells_what_the_machine_answers() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    let machine = stand_in(path, &["--buffer", "777"]);
    let output = run(path, &["ports", "--probe", "cutter", "--machine", "roll-15"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    end(machine);
    std::fs::write(path.join("found.toml"), &output.stdout).unwrap();
    let text = path.join("found.toml").display().to_string();
    let found = Library::with_folder(path.into()).machine(&text).unwrap();
    assert_eq!(found.serial.unwrap().buffer_bytes, 777);
    // The stand-in's limits: an A4 sheet on the 7470A, not those of the profile it began with.
    assert_eq!(found.hard_clip.unwrap().x_max, 10900);
    assert!(said(&output).contains("FLATBED-A4"), "{}", said(&output));
    let clip: Vec<&String> = found.source.keys().filter(|k| k.starts_with("hard_clip")).collect();
    assert_eq!(clip, ["hard_clip"], "what the profile said of other limits is gone");
}

#[test]
fn two_sends_never_mix() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(30)).unwrap();
    let machine = stand_in(path, &["--baud", "9600"]);
    let mut first = program(path)
        .args(["send", "job.hpgl", "--machine", "flatbed-a4", "--port", "cutter", "--yes"])
        .stderr(Stdio::null())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    // Until it has the lock.
    let since = Instant::now();
    while !path.join("job.hpgl.sending.json").exists() && since.elapsed() < Duration::from_secs(20)
    {
        std::thread::sleep(Duration::from_millis(5));
    }
    let refused = send(path, &[]);
    assert_eq!(refused.status.code(), Some(3), "{}", said(&refused));
    assert!(said(&refused).contains("another send uses"), "{}", said(&refused));
    let waited = send(path, &["--wait"]);
    assert_eq!(waited.status.code(), Some(0), "{}", said(&waited));
    assert_eq!(first.wait().unwrap().code(), Some(0));
    std::thread::sleep(Duration::from_millis(200));
    end(machine);
    let made = cuts(&std::fs::read(path.join("obeyed.hpgl")).unwrap());
    assert!(made == [cuts(job(30).as_bytes()), cuts(job(30).as_bytes())].concat());
}

/// From a cut that is named, with two passes of a drawing, and a line for every tenth where there is no
/// terminal.
#[test]
fn it_begins_where_it_is_told_and_passes_as_often() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(40)).unwrap();
    let square = r#"<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm">
        <path d="M9 9h100v100H9z"/></svg>"#;
    std::fs::write(path.join("square.svg"), square).unwrap();
    let machine = stand_in(path, &["--baud", "38400"]);
    let options = ["--baud", "38400", "--handshake", "software"];
    let from = send(path, &[&options[..], &["--from-cut", "31"]].concat());
    assert_eq!(from.status.code(), Some(0), "{}", said(&from));
    assert!(said(&from).contains("Begins at cut 31 of 40."), "{}", said(&from));
    for tenth in ["80 %: about", "90 %: about", "% of the line's)"] {
        assert!(said(&from).contains(tenth), "{}", said(&from));
    }
    let none = send(path, &[&options[..], &["--from-cut", "41"]].concat());
    assert_eq!(none.status.code(), Some(2), "{}", said(&none));
    assert!(said(&none).contains("there is no cut 41; the job has 40"), "{}", said(&none));
    let twice = program(path)
        .args(["send", "square.svg", "--machine", "flatbed-a4", "--port", "cutter", "--yes"])
        .args(options)
        .args(["--passes", "2"])
        .output()
        .unwrap();
    assert_eq!(twice.status.code(), Some(0), "{}", said(&twice));
    end(machine);
    let made = cuts(&std::fs::read(path.join("obeyed.hpgl")).unwrap());
    assert_eq!(made[..10], cuts(job(40).as_bytes())[30..]);
    // Twice around a square of 100 px, 1058 units a side.
    let length = |cut: &Vec<(i64, i64)>| -> i64 {
        cut.windows(2).map(|w| (w[0].0 - w[1].0).abs() + (w[0].1 - w[1].1).abs()).sum()
    };
    let around: i64 = made[10..].iter().map(length).sum();
    assert!((8450..8550).contains(&around), "{around}: {:?}", &made[10..]);
}

/// The first Ctrl-C stops at an instruction's end; with a machine that takes nothing that takes time,
/// and the second leaves at once.
#[test]
fn a_second_interrupt_leaves_at_once() {
    use rustix::process::{Pid, Signal, kill_process};
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(120)).unwrap();
    let machine = stand_in(path, &["--baud", "9600", "--when", "700:pause"]);
    let mut child = begun(path, &[]);
    std::thread::sleep(Duration::from_secs(2));
    let number = Pid::from_child(&child);
    kill_process(number, Signal::INT).unwrap();
    std::thread::sleep(Duration::from_millis(500));
    assert!(child.try_wait().unwrap().is_none(), "it tries to lift the tool");
    let since = Instant::now();
    kill_process(number, Signal::INT).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(130));
    assert!(since.elapsed() < Duration::from_secs(10));
    end(machine);
}

/// A send that has begun: its journal is there.
fn begun(folder: &Path, options: &[&str]) -> Child {
    let child = program(folder)
        .args(["send", "job.hpgl", "--machine", "flatbed-a4", "--port", "cutter", "--yes"])
        .args(options)
        .stdin(Stdio::null())
        .stderr(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let (journal, since) = (folder.join("job.hpgl.sending.json"), Instant::now());
    while !journal.exists() && since.elapsed() < Duration::from_secs(20) {
        std::thread::sleep(Duration::from_millis(5));
    }
    child
}

/// A stand-in with its own port, beside the first.
fn second_stand_in(folder: &Path) -> Child {
    let mut child = program(folder)
        .args(["stand-in", "--machine", "flatbed-a4", "--link", "other", "--fast"])
        .args(["--obeyed", "other.hpgl", "--baud", "38400"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    out.read_line(&mut String::new()).unwrap();
    std::thread::spawn(move || for _ in out.lines() {});
    child
}

/// One job to two machines at a time would be two sends in one journal.
#[test]
fn two_sends_never_share_a_journal() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(30)).unwrap();
    let machines = [stand_in(path, &["--baud", "9600"]), second_stand_in(path)];
    let mut first = begun(path, &[]);
    let other = ["--port", "other", "--baud", "38400"];
    let mut command = program(path);
    command.args(["send", "job.hpgl", "--machine", "flatbed-a4", "--yes"]).args(other);
    let refused = command.stdin(Stdio::null()).output().unwrap();
    assert_eq!(refused.status.code(), Some(3), "{}", said(&refused));
    assert!(said(&refused).contains("another send uses job.hpgl"), "{}", said(&refused));
    let rehearsed = command.arg("--blade-up").output().unwrap();
    assert_eq!(rehearsed.status.code(), Some(0), "it keeps no journal: {}", said(&rehearsed));
    assert_eq!(first.wait().unwrap().code(), Some(0));
    machines.into_iter().for_each(end);
    assert!(cuts(&std::fs::read(path.join("other.hpgl")).unwrap()).is_empty());
    let made = cuts(&std::fs::read(path.join("obeyed.hpgl")).unwrap());
    assert!(made == cuts(job(30).as_bytes()));
}

/// A journal that is no whole one any more is told in plain words, and takes nobody's word for what is in the
/// machine's buffer.
#[test]
fn a_damaged_journal_is_told_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(5)).unwrap();
    let whole = r#"{"format":1,"job":"00","cuts":5,"finished":9,"perhaps":9,"state":"running"}"#;
    for broken in ["", "{\"format\":1,", "[]", whole] {
        std::fs::write(path.join("job.hpgl.sending.json"), broken).unwrap();
        let resumed = run(path, &["send", "job.hpgl", "-m", "flatbed-a4", "--dry-run", "--resume"]);
        assert_eq!(resumed.status.code(), Some(1), "{broken}");
        let said = said(&resumed);
        for wanted in ["job.hpgl.sending.json is damaged", "--from-cut"] {
            assert!(said.contains(wanted), "{broken}: {said}");
        }
        assert!(!said.contains("line 1"), "{said}");
        assert_eq!(std::fs::read_to_string(path.join("job.hpgl.sending.json")).unwrap(), broken);
    }
}

/// Who waits can be called off, and has sent nothing; who is killed keeps nobody waiting.
#[test]
fn waiting_ends_with_the_other_send_or_with_a_stop() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(400)).unwrap();
    std::fs::write(path.join("short.hpgl"), job(10)).unwrap();
    let machine = stand_in(path, &["--baud", "2400"]);
    let mut first = begun(path, &["--baud", "2400"]);
    let waiting = || {
        let mut child = program(path)
            .args(["send", "short.hpgl", "--machine", "flatbed-a4", "--port", "cutter", "--yes"])
            .args(["--baud", "2400", "--wait", "--handshake", "software"])
            .stdin(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut said = BufReader::new(child.stderr.take().unwrap());
        let mut line = String::new();
        while !line.contains("waiting for another send") {
            line.clear();
            assert!(said.read_line(&mut line).unwrap() > 0, "it does not wait");
        }
        (child, said)
    };
    let (mut called_off, said) = waiting();
    let number = rustix::process::Pid::from_child(&called_off);
    rustix::process::kill_process(number, rustix::process::Signal::INT).unwrap();
    let last = said.lines().map_while(Result::ok).last().unwrap();
    assert!(last.contains("nothing was sent"), "{last}");
    assert_eq!(called_off.wait().unwrap().code(), Some(130));
    let (mut patient, said) = waiting();
    first.kill().unwrap();
    first.wait().unwrap();
    let all: Vec<String> = said.lines().map_while(Result::ok).collect();
    assert_eq!(patient.wait().unwrap().code(), Some(0), "{all:?}");
    end(machine);
    let made = cuts(&std::fs::read(path.join("obeyed.hpgl")).unwrap());
    assert!(made.ends_with(&cuts(job(10).as_bytes())), "{made:?}");
}

#[test]
fn a_machine_at_another_rate_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(20)).unwrap();
    let machine = stand_in(path, &["--baud", "4800"]);
    // At the wrong rate nothing is understood.
    let deaf = send(path, &["--baud", "19200", "--handshake", "software"]);
    assert_eq!(deaf.status.code(), Some(3), "{}", said(&deaf));
    assert!(said(&deaf).contains("nothing answers"), "{}", said(&deaf));
    let output = send(path, &["--handshake", "auto"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    for line in ["9600 bits/s: no answer", "4800 bits/s: the machine answers"] {
        assert!(said(&output).contains(line), "{}", said(&output));
    }
    let probe = ["ports", "--probe", "cutter", "--machine", "flatbed-a4"];
    let probe = program(path).args(probe).output().unwrap();
    assert!(said(&probe).contains("baud = 4800"), "{}", said(&probe));
    end(machine);
    let obeyed = std::fs::read(path.join("obeyed.hpgl")).unwrap();
    assert!(cuts(&obeyed) == cuts(job(20).as_bytes()), "only the job has moved it");
}

#[test]
fn a_port_that_another_program_has_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(20)).unwrap();
    let machine = stand_in(path, &[]);
    // Another program (this one) with the customary lock on the device: flock(2).
    let held = std::fs::File::options().read(true).write(true).open(path.join("cutter")).unwrap();
    rustix::fs::flock(&held, rustix::fs::FlockOperation::NonBlockingLockExclusive).unwrap();
    let output = send(path, &[]);
    drop(held);
    end(machine);
    assert_eq!(output.status.code(), Some(3), "{}", said(&output));
    let number = format!("(process {})", std::process::id());
    assert!(said(&output).contains(&number), "{}", said(&output));
    assert!(said(&output).contains("close that program"), "{}", said(&output));
}

/// Another program (this one) keeps all others out: TIOCEXCL, ioctl_tty(2). The kernel lets root pass,
/// so a test that root runs sends as nobody.
#[test]
fn a_port_that_another_program_keeps_for_itself_is_told() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(20)).unwrap();
    let machine = stand_in(path, &[]);
    let port = path.join("cutter").canonicalize().unwrap();
    let held = std::fs::File::options().read(true).write(true).open(&port).unwrap();
    rustix::termios::ioctl_tiocexcl(&held).unwrap();
    let own = path.join("program");
    std::fs::copy(env!("CARGO_BIN_EXE_bladewright"), &own).unwrap();
    let mut command = Command::new(&own);
    command
        .args(["send", "job.hpgl", "--machine", "flatbed-a4", "--port"])
        .arg(&port)
        .args(["--yes", "--handshake", "paced"])
        .current_dir(path)
        .env("BLADEWRIGHT_PROFILES", path)
        .env("TMPDIR", path);
    if rustix::process::geteuid().is_root() {
        for (file, mode) in [(path, 0o777), (&port, 0o666), (&own, 0o755)] {
            std::fs::set_permissions(file, std::fs::Permissions::from_mode(mode)).unwrap();
        }
        command.uid(65534).gid(65534);
    }
    let output = command.output().unwrap();
    drop(held);
    end(machine);
    assert_eq!(output.status.code(), Some(3), "{}", said(&output));
    assert!(said(&output).contains("is in use by"), "{}", said(&output));
    assert!(said(&output).contains("close that program"), "{}", said(&output));
}

/// What `number` copies of `job` cut, `step` units apart.
fn copies(job: &str, number: i64, step: i64) -> Vec<Vec<(i64, i64)>> {
    let moved = |n: i64| {
        let copy = cuts(job.as_bytes()).into_iter();
        copy.map(move |cut| cut.into_iter().map(|(x, y)| (x + n * step, y)).collect::<Vec<_>>())
    };
    (0..number).flat_map(moved).collect()
}

/// 255 mm wide on a machine that reaches 817 mm: three copies, then the film is fed by hand. The
/// cable is pulled in the second.
#[test]
fn copies_follow_one_another_along_the_feed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    let wide = job(30).replace("PU0,0;SP0;", "PU10000,0;PD10000,400;PU0,0;SP0;");
    std::fs::write(path.join("job.hpgl"), &wide).unwrap();
    let roll = |command: &str, options: &[&str]| {
        let mut program = program(path);
        program.args([command, "--machine", "roll-15", "--handshake", "software"]);
        program.args(["--baud", "38400"]).args(options);
        program
    };
    let when = format!("{}:hang-up", wide.len() * 3 / 2);
    let mut machine = roll("stand-in", &["--link", "cutter", "--fast", "--obeyed", "obeyed.hpgl"])
        .args(["--when", &when])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut out = BufReader::new(machine.stdout.take().unwrap());
    out.read_line(&mut String::new()).unwrap();
    std::thread::spawn(move || for _ in out.lines() {});
    let send = |more: &[&str]| {
        let options = ["job.hpgl", "--port", "cutter", "--yes", "--copies", "4"];
        let mut program = roll("send", &options);
        program.args(more).stdin(Stdio::null()).output().unwrap()
    };
    let cut_off = send(&[]);
    assert_eq!(cut_off.status.code(), Some(3), "{}", said(&cut_off));
    assert!(said(&cut_off).contains("after every 3 you are asked"), "{}", said(&cut_off));
    let third = send(&["--resume"]);
    assert!(said(&third).contains("in copy 2 of 4"), "{}", said(&third));
    assert_eq!(third.status.code(), Some(1), "{}", said(&third));
    assert!(said(&third).contains("does not reach copy 4 of 4"), "{}", said(&third));
    let fourth = send(&["--resume"]);
    assert_eq!(fourth.status.code(), Some(0), "{}", said(&fourth));
    assert!(said(&fourth).contains("Goes on with copy 4 of 4."), "{}", said(&fourth));
    let none = send(&["--resume"]);
    assert!(said(&none).contains("nothing to resume"), "{}", said(&none));
    end(machine);
    // 10000 units and a gap of 5 mm.
    let wanted = [copies(&wide, 3, 10200), copies(&wide, 1, 0)].concat();
    let made = cuts(&std::fs::read(path.join("obeyed.hpgl")).unwrap());
    for cut in &wanted {
        let times = |all: &[Vec<(i64, i64)>]| all.iter().filter(|made| *made == cut).count();
        assert_eq!(times(&made), times(&wanted), "{cut:?}");
    }
}

#[test]
fn a_machine_that_never_answers_is_sent_to_as_its_profile_says() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(20)).unwrap();
    let machine = stand_in(path, &["--mute", "ESC.E,OI"]);
    let output = send(path, &["--handshake", "auto"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(said(&output).contains("answers at no rate"), "{}", said(&output));
    std::thread::sleep(Duration::from_millis(500));
    end(machine);
    let obeyed = std::fs::read(path.join("obeyed.hpgl")).unwrap();
    assert!(cuts(&obeyed) == cuts(job(20).as_bytes()));
}

/// A cable pulled within a number: what was read of it must not become a cut of the next send.
#[test]
fn half_an_instruction_is_dropped_before_a_send_that_begins_elsewhere() {
    let whole = cuts(job(120).as_bytes());
    for byte in [2006, 2018, 2030] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        std::fs::write(path.join("job.hpgl"), job(120)).unwrap();
        let machine = stand_in(path, &["--baud", "38400", "--when", &format!("{byte}:hang-up")]);
        let options = ["--baud", "38400", "--handshake", "software"];
        let first = send(path, &options);
        assert_eq!(first.status.code(), Some(3), "{}", said(&first));
        let next = send(path, &[&options[..], &["--from-cut", "100"]].concat());
        assert_eq!(next.status.code(), Some(0), "{}", said(&next));
        end(machine);
        // Besides whole cuts there is the beginning of the one in hand, broken off at one of its points.
        for cut in cuts(&std::fs::read(path.join("obeyed.hpgl")).unwrap()) {
            assert!(whole.iter().any(|whole| whole.starts_with(&cut)), "{byte}: {cut:?}");
        }
    }
}

#[test]
fn a_machine_that_answers_nothing_is_to_be_cleared_by_hand_before_any_send_after_a_broken_one() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(120)).unwrap();
    let machine = stand_in(path, &["--baud", "38400", "--when", "2000:hang-up"]);
    let first = send(path, &["--baud", "38400"]);
    assert_eq!(first.status.code(), Some(3), "{}", said(&first));
    // A rehearsal would carry the tool lowered to wherever the half instruction ends.
    let lifted = send(path, &["--baud", "38400", "--blade-up"]);
    assert!(said(&lifted).contains("clear its buffer at its keys"), "{}", said(&lifted));
    let next = send(path, &["--baud", "38400", "--from-cut", "100"]);
    assert!(said(&next).contains("clear its buffer at its keys"), "{}", said(&next));
    let again = send(path, &["--baud", "38400", "--from-cut", "100"]);
    assert!(!said(&again).contains("clear its buffer"), "{}", said(&again));
    end(machine);
}
