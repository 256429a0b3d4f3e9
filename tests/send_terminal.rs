//! What a person sees of `send`, and what a script: the program's own terminal is a pseudo-terminal, the
//! machine's line another. Cautions and question before anything moves, a bar on the terminal, a line for
//! each tenth elsewhere, events for scripts, and what a dry run tells.
#![cfg(target_os = "linux")]

mod program;
mod squares;

use std::fs::File;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};
use squares::job;

/// A pseudo-terminal: its master, what came out of it until now, and its other end's name.
struct Pty {
    master: File,
    said: Arc<Mutex<Vec<u8>>>,
    name: String,
}

impl Pty {
    fn new() -> Self {
        let master =
            openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let size = Winsize { ws_row: 30, ws_col: 110, ws_xpixel: 0, ws_ypixel: 0 };
        tcsetwinsize(&master, size).unwrap();
        let name = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
        let master = File::from(master);
        let said = Arc::new(Mutex::new(Vec::new()));
        let (mut from, into) = (master.try_clone().unwrap(), Arc::clone(&said));
        std::thread::spawn(move || {
            let mut part = [0; 512];
            loop {
                match from.read(&mut part) {
                    Ok(count) if count > 0 => into.lock().unwrap().extend(&part[..count]),
                    Ok(_) => return,
                    // Nobody has opened the other end yet, or nobody has it any more.
                    Err(_) => std::thread::sleep(Duration::from_millis(5)),
                }
            }
        });
        Self { master, said, name }
    }

    /// The program's end.
    fn end(&self) -> File {
        File::options().read(true).write(true).open(&self.name).unwrap()
    }

    fn text(&self) -> String {
        String::from_utf8_lossy(&self.said.lock().unwrap()).into_owned()
    }

    fn bytes(&self) -> Vec<u8> {
        self.said.lock().unwrap().clone()
    }

    /// Waits until `what` was said.
    fn wait_for(&self, what: &str) {
        let since = Instant::now();
        while !self.text().contains(what) {
            assert!(since.elapsed() < Duration::from_secs(20), "no {what:?} in {}", self.text());
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

/// `send job.hpgl` over `line`.
fn send(folder: &Path, line: &Pty, options: &[&str]) -> Command {
    let program = Command::new(env!("CARGO_BIN_EXE_bladewright"));
    let mut command = program::placed(program, folder);
    command
        .args(["send", "job.hpgl", "--machine", "flatbed-a4", "--port", &line.name])
        .args(options)
        .env("TERM", "xterm");
    command
}

/// The same with a person at a terminal.
fn at_a_terminal(mut command: Command, terminal: &Pty) -> Child {
    let ends = [terminal.end(), terminal.end()].map(Stdio::from);
    let [stdin, stderr] = ends;
    command.stdin(stdin).stderr(stderr).stdout(Stdio::piped()).spawn().unwrap()
}

/// The same without.
fn unattended(mut command: Command) -> Output {
    command.stdin(Stdio::null()).output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Waits until the line has brought all of it.
fn arrives(line: &Pty, wanted: &str) {
    let since = Instant::now();
    while line.bytes().len() < wanted.len() && since.elapsed() < Duration::from_secs(10) {
        std::thread::sleep(Duration::from_millis(5));
    }
    assert!(line.bytes() == wanted.as_bytes());
}

const CAUTIONS: [&str; 5] = [
    "hands, hair and sleeves clear",
    "Stay with the machine",
    "its stop key is the only sure stop",
    "--blade-up",
    "The machine's manual comes first",
];

/// What will move, where and for how long, and the cautions: before anything has gone to the machine.
#[test]
fn cautions_come_before_anything_moves_and_no_is_no() {
    for answer in ["n\n", "\n", "\u{4}"] {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("job.hpgl"), job(20)).unwrap();
        let (line, mut terminal) = (Pty::new(), Pty::new());
        let child = at_a_terminal(send(folder.path(), &line, &[]), &terminal);
        terminal.wait_for("Send it now? [y/N]");
        // The terminal may wrap: it does not break words.
        let text = terminal.text().replace(['\r', '\n'], " ");
        for words in CAUTIONS {
            assert!(text.contains(words), "{words}: {text}");
        }
        let port = line.name.clone();
        for words in ["29.5 x 1.2 mm at 0.0, 0.0 mm, 20 cuts,", "Flat-bed pen plotter, A4", &port] {
            assert!(text.contains(words), "{words}: {text}");
        }
        std::thread::sleep(Duration::from_millis(200));
        assert!(line.bytes().is_empty(), "nothing goes out before the answer");
        terminal.master.write_all(answer.as_bytes()).unwrap();
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{}", terminal.text());
        terminal.wait_for("not sent; nothing has moved");
        assert!(line.bytes().is_empty());
        assert!(!folder.path().join("job.hpgl.sending.json").exists());
    }
}

#[test]
fn a_bar_shows_how_far_it_is_on_a_terminal() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("job.hpgl"), job(80)).unwrap();
    let (line, mut terminal) = (Pty::new(), Pty::new());
    let child = at_a_terminal(send(folder.path(), &line, &["--baud", "19200"]), &terminal);
    terminal.wait_for("Send it now? [y/N]");
    terminal.master.write_all(b"y\n").unwrap();
    arrives(&line, &job(80));
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", terminal.text());
    assert!(String::from_utf8_lossy(&output.stdout).contains("% of the line's)"));
    let after = terminal.text().split("[y/N]").nth(1).unwrap().to_owned();
    // Drawn again and again in the same line, and taken away at the end: ECMA-48's "erase in line".
    let drawn: Vec<&str> = after.split('\r').filter(|part| part.contains("about ")).collect();
    assert!(drawn.len() > 5, "{after:?}");
    for part in &drawn {
        assert!(part.contains(" left; "), "{part:?}");
    }
    assert!(after.contains("of 80 cuts finished for certain"), "{after:?}");
    let full = |part: &str| part.chars().filter(|&c| c == '█').count();
    let (first, last) = (full(drawn[0]), full(drawn[drawn.len() - 1]));
    assert!(first < last && last >= 15, "{first} and {last} of 20: {after:?}");
    assert!(after.trim_end().ends_with("\u{1b}[2K") || after.contains("\u{1b}[2K"), "{after:?}");
    assert!(!after.contains("0 %: about"), "no lines beside the bar: {after:?}");
}

/// A line for every tenth of the time where there is no terminal, in order, none twice.
#[test]
fn a_line_for_every_tenth_where_there_is_no_terminal() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("job.hpgl"), job(120)).unwrap();
    let line = Pty::new();
    let output = unattended(send(folder.path(), &line, &["--baud", "19200", "--yes"]));
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    arrives(&line, &job(120));
    let text = said(&output);
    for words in CAUTIONS {
        assert!(text.contains(words), "--yes tells them, too: {text}");
    }
    let tenths: Vec<u32> =
        text.lines().filter_map(|line| line.split_once(" %: about ")?.0.parse().ok()).collect();
    assert!(tenths.len() >= 5 && tenths.is_sorted_by(|a, b| a < b), "{text}");
    assert!(tenths.iter().all(|tenth| tenth.is_multiple_of(10)), "{text}");
    assert!(!text.contains('\u{1b}') && !text.contains('█'), "no bar: {text:?}");
}

#[test]
fn events_for_scripts_are_one_a_line_even_on_a_terminal() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("job.hpgl"), job(120)).unwrap();
    let (line, terminal) = (Pty::new(), Pty::new());
    let options = ["--baud", "19200", "--yes", "--json"];
    let child = at_a_terminal(send(folder.path(), &line, &options), &terminal);
    let output = child.wait_with_output().unwrap();
    arrives(&line, &job(120));
    assert_eq!(output.status.code(), Some(0), "{}", terminal.text());
    let text = terminal.text();
    let events: Vec<serde_json::Value> = text
        .lines()
        .filter(|line| line.starts_with('{'))
        .map(|line| serde_json::from_str(line.trim_end()).unwrap())
        .collect();
    assert!(events.len() >= 5, "{text}");
    let sent: Vec<u64> = events.iter().map(|event| event["sent_bytes"].as_u64().unwrap()).collect();
    assert!(sent.is_sorted() && *sent.last().unwrap() <= job(120).len() as u64, "{text}");
    // On stdout stands what was sent, and nothing else.
    let stdout = String::from_utf8(output.stdout).unwrap();
    let whole: serde_json::Value = serde_json::from_str(&stdout).unwrap();
    assert_eq!((&whole["format"], &whole["event"]), (&1.into(), &"sent".into()), "{stdout}");
    assert_eq!(
        (&whole["bytes"], &whole["copies"]),
        (&job(120).len().into(), &1.into()),
        "{stdout}"
    );
    for event in &events {
        assert_eq!((&event["format"], &event["event"]), (&1.into(), &"progress".into()), "{text}");
        assert_eq!((&event["cuts"], &event["copies"]), (&120.into(), &1.into()), "{text}");
        assert!(event["left_s"].as_f64().unwrap() >= 0.0, "{text}");
    }
    assert!(!text.contains('█') && !text.contains(" %: about"), "{text:?}");
}

/// Nobody to ask, and nobody said yes.
#[test]
fn without_an_answer_nothing_is_sent() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("job.hpgl"), job(20)).unwrap();
    let line = Pty::new();
    let output = unattended(send(folder.path(), &line, &[]));
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("nobody is there to ask; give --yes"), "{}", said(&output));
    assert!(line.bytes().is_empty());
}

/// A copy that was begun lies where it has to: nobody is asked to feed the film on when it goes on, even
/// where its first cut was in hand.
#[test]
fn a_copy_that_is_begun_is_not_fed_again() {
    use bladewright::send::{Journal, JournalWriter, Spool, State, Survey};
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("job.hpgl");
    std::fs::write(&file, job(20)).unwrap();
    let machine = bladewright::profile::Library::with_folder("/nowhere".into());
    let machine = machine.machine("flatbed-a4").unwrap();
    let spool = Spool::of(&mut job(20).as_bytes()).unwrap();
    let survey = Survey::of(&spool, bladewright::follow::Setup::of(&machine, 0.0)).unwrap();
    let begun = Journal { copy: 2, copies: 2, state: State::Failed, ..Journal::new(&survey, 0) };
    let writer = JournalWriter::begin(Journal::path(&file), &begun).unwrap();
    writer.end(&begun).unwrap();
    let (line, terminal) = (Pty::new(), Pty::new());
    let options = ["--baud", "38400", "--yes", "--resume", "--copies", "2"];
    let child = at_a_terminal(send(folder.path(), &line, &options), &terminal);
    arrives(&line, &job(20));
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", terminal.text());
    assert!(terminal.text().contains("That is in copy 2 of 2."), "{}", terminal.text());
    assert!(!terminal.text().contains("does not reach copy"), "{}", terminal.text());
}

/// Ctrl-C at the question, or the terminal closed over it, ends it at once: nothing goes out.
#[test]
fn a_stop_at_the_question_sends_nothing() {
    use rustix::process::{Pid, Signal, kill_process};
    for (signal, code) in [(Signal::INT, 130), (Signal::HUP, 3)] {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("job.hpgl"), job(20)).unwrap();
        let (line, terminal) = (Pty::new(), Pty::new());
        let mut command = send(folder.path(), &line, &[]);
        let temporary = folder.path().join("temporary");
        std::fs::create_dir(&temporary).unwrap();
        command.env("TMPDIR", &temporary);
        let child = at_a_terminal(command, &terminal);
        terminal.wait_for("Send it now? [y/N]");
        // The port's lock and the journal's.
        assert_eq!(std::fs::read_dir(&temporary).unwrap().count(), 2);
        // The question stands before the answer is waited for.
        std::thread::sleep(Duration::from_millis(200));
        kill_process(Pid::from_child(&child), signal).unwrap();
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(code), "{}", terminal.text());
        terminal.wait_for("at the question; nothing more was sent");
        assert!(line.bytes().is_empty(), "{}", terminal.text());
        assert_eq!(std::fs::read_dir(&temporary).unwrap().count(), 0);
    }
}

/// A dry run tells what would be sent and how; no port is opened (there is none of that name), nothing
/// written beside the job.
#[test]
fn a_dry_run_tells_what_would_be_sent() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    std::fs::write(path.join("job.hpgl"), job(40)).unwrap();
    let dry = |options: &[&str]| {
        let all = ["send", "job.hpgl", "--machine", "flatbed-a4", "--dry-run"];
        program::run(path, &[&all[..], options].concat())
    };
    let output = dry(&["--port", "/dev/ttyNOWHERE", "--baud", "4800"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(said(&output).contains("no port was opened, nothing was sent"), "{}", said(&output));
    let text = String::from_utf8(output.stdout).unwrap();
    let bytes = format!("{} bytes", job(40).len());
    for words in [
        "59.5 x 1.2 mm at 0.0, 0.0 mm",
        "cuts  40\n",
        // A triangle has sides of 40 and 50 units, and its hypotenuse.
        &format!("cut  {:.1} mm\n", 40.0 * (40.0 + 50.0 + 4100f64.sqrt()) * 0.025),
        &bytes,
        "/dev/ttyNOWHERE, 4800 bits/s, 8 data bits, no parity, 1 stop bit",
        "handshake  xon-xoff",
        "buffer of 255 bytes",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let output = dry(&["--from-cut", "31", "--handshake", "auto", "--json", "--copies", "3"]);
    let told: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let ten = 10.0 * (40.0 + 50.0 + 4100f64.sqrt()) * 0.025;
    assert!((told["cut_mm"].as_f64().unwrap() - ten).abs() < 0.01, "{told}");
    for (key, value) in [
        ("from_cut", 31.into()),
        ("cuts", 40.into()),
        ("copies", 3.into()),
        ("port", serde_json::Value::Null),
        ("handshake", "xon-xoff".into()),
        ("handshake_asked", true.into()),
        ("baud", 9600.into()),
    ] {
        assert_eq!(told[key], value, "{key}: {told}");
    }
    let lifted = dry(&["--blade-up"]);
    let text = String::from_utf8(lifted.stdout).unwrap();
    assert!(text.contains("the tool is lifted throughout") && text.contains(&bytes), "{text}");
    for (options, code, words) in [
        (&["--from-cut", "41"][..], 2, "there is no cut 41"),
        (&["--resume"], 2, "there is no journal"),
        (&["--machine", "plain-hpgl"], 2, "has no [serial] table"),
    ] {
        let all = [&["send", "job.hpgl", "--dry-run", "--machine", "flatbed-a4"], options].concat();
        let all = if options[0] == "--machine" { [&all[..3], options].concat() } else { all };
        let output = program::run(path, &all);
        assert_eq!(output.status.code(), Some(code), "{}", said(&output));
        assert!(said(&output).contains(words), "{}", said(&output));
    }
    assert_eq!(std::fs::read_dir(path).unwrap().count(), 1, "nothing was left beside the job");
}

/// Every port that is told is a device, known to the kernel (sysfs: /sys/class/tty) as a device;
/// where there is none, that is a sentence. No line of the listing is printed twice.
#[test]
fn the_ports_that_there_are_are_listed() {
    let folder = tempfile::tempdir().unwrap();
    let output = program::run(folder.path(), &["ports"]);
    let text = String::from_utf8(output.stdout.clone()).unwrap();
    if text.is_empty() {
        assert_eq!(output.status.code(), Some(3));
        assert!(said(&output).contains("no serial port was found; plug in the adapter"));
        return;
    }
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let names: Vec<&str> = text.lines().map(|line| line.split("  ").next().unwrap()).collect();
    assert!(names.is_sorted_by(|a, b| a < b), "{text}");
    for name in names {
        let of_kernel = Path::new("/sys/class/tty").join(name.trim_start_matches("/dev/"));
        assert!(of_kernel.exists(), "{name}");
    }
}
