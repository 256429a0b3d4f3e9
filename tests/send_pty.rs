//! `send` over real pseudo-terminals: every byte in order, held by Xoff, stopped by Ctrl-C, unplugged.
#![cfg(target_os = "linux")]

use std::fs::File;
use std::io::{Read, Write};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

/// The machine's end of a line, and the name of the sender's end.
fn line() -> (File, String) {
    let machine = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
    grantpt(&machine).unwrap();
    unlockpt(&machine).unwrap();
    let name = ptsname(&machine, Vec::new()).unwrap().into_string().unwrap();
    (File::from(machine), name)
}

fn job() -> Vec<u8> {
    let mut text = String::from("IN;SP1;");
    for i in 0..120 {
        let x = i * 40;
        text += &format!("PU{x},0;PD{},0,{},30,{x},30,{x},0;PU;", x + 30, x + 30);
    }
    (text + "SP0;").into_bytes()
}

fn sender(folder: &std::path::Path, port: &str, baud: &str) -> Command {
    std::fs::write(folder.join("job.hpgl"), job()).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_bladewright"));
    command
        .args([
            "send",
            "job.hpgl",
            "--machine",
            "flatbed-a4",
            "--baud",
            baud,
            "--yes",
            "--port",
            port,
        ])
        .current_dir(folder)
        .env("BLADEWRIGHT_PROFILES", folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// Reads until `enough` says so or nothing comes for ten seconds.
fn read_until(machine: &mut File, enough: impl Fn(&[u8]) -> bool) -> Vec<u8> {
    let (send, receive) = std::sync::mpsc::channel();
    let mut reader = machine.try_clone().unwrap();
    std::thread::spawn(move || {
        let mut part = [0; 256];
        while let Ok(n) = reader.read(&mut part) {
            if n == 0 || send.send(part[..n].to_vec()).is_err() {
                break;
            }
        }
    });
    let mut all = Vec::new();
    while !enough(&all) {
        match receive.recv_timeout(Duration::from_secs(10)) {
            Ok(part) => all.extend(part),
            Err(_) => break,
        }
    }
    all
}

#[test]
fn every_byte_arrives() {
    let folder = tempfile::tempdir().unwrap();
    let (mut machine, port) = line();
    let mut child = sender(folder.path(), &port, "115200").spawn().unwrap();
    let got = read_until(&mut machine, |all| all.len() >= job().len());
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert_eq!(got, job());
}

#[test]
fn xoff_holds_and_xon_releases() {
    let folder = tempfile::tempdir().unwrap();
    let (mut machine, port) = line();
    let mut child = sender(folder.path(), &port, "115200").spawn().unwrap();
    let mut part = [0; 64];
    let mut got = Vec::new();
    while got.len() < 200 {
        let n = machine.read(&mut part).unwrap();
        got.extend_from_slice(&part[..n]);
    }
    machine.write_all(&[19]).unwrap();
    std::thread::sleep(Duration::from_millis(700));
    assert!(child.try_wait().unwrap().is_none(), "the sender did not hold");
    machine.write_all(&[17]).unwrap();
    got.extend(read_until(&mut machine, |all| 200 + all.len() >= job().len()));
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert!(got.starts_with(&job()[..200]) && got.ends_with(b"SP0;"));
    assert_eq!(got, job());
}

#[test]
fn an_interrupt_ends_the_instruction_and_lifts() {
    let folder = tempfile::tempdir().unwrap();
    let (mut machine, port) = line();
    let mut child = sender(folder.path(), &port, "9600").spawn().unwrap();
    let mut part = [0; 64];
    let mut got = Vec::new();
    while got.len() < 100 {
        let n = machine.read(&mut part).unwrap();
        got.extend_from_slice(&part[..n]);
    }
    let pid = rustix::process::Pid::from_raw(child.id() as i32).unwrap();
    rustix::process::kill_process(pid, rustix::process::Signal::INT).unwrap();
    got.extend(read_until(&mut machine, |all| all.ends_with(b";PU;")));
    assert_eq!(child.wait().unwrap().code(), Some(130));
    assert!(got.ends_with(b"PU;"), "{}", String::from_utf8_lossy(&got));
    assert!(got.len() < job().len());
    // The list in hand may have been ended early, after a whole pair.
    let before = &got[..got.len() - 3];
    assert!(before.ends_with(b";") && job().starts_with(&before[..before.len() - 1]));
}

/// Ended by somebody else than the person at the keys: a sentence and exit code of its own.
#[test]
fn being_ended_lifts_and_is_told() {
    use rustix::process::{Pid, Signal, kill_process};
    for (signal, sentence) in [(Signal::TERM, "(SIGTERM)"), (Signal::HUP, "(SIGHUP)")] {
        let folder = tempfile::tempdir().unwrap();
        let (mut machine, port) = line();
        let child = sender(folder.path(), &port, "9600").spawn().unwrap();
        let mut got = vec![0; 100];
        machine.read_exact(&mut got).unwrap();
        kill_process(Pid::from_raw(child.id() as i32).unwrap(), signal).unwrap();
        got.extend(read_until(&mut machine, |all| all.ends_with(b";PU;")));
        let output = child.wait_with_output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(3), "{said}");
        assert!(said.contains(sentence), "{said}");
        assert!(got.ends_with(b"PU;") && got.len() < job().len());
    }
}

#[test]
fn an_unplugged_port_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let (mut machine, port) = line();
    let child = sender(folder.path(), &port, "115200").spawn().unwrap();
    let mut part = [0; 64];
    machine.read_exact(&mut part).unwrap();
    drop(machine);
    let since = Instant::now();
    let output = child.wait_with_output().unwrap();
    assert!(since.elapsed() < Duration::from_secs(30));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("vanished"), "{said}");
}

#[test]
fn what_is_no_port_is_told() {
    let folder = tempfile::tempdir().unwrap();
    for (port, why) in [
        ("job.hpgl", "it is no device"),
        (".", "it is no device"),
        ("/dev/null", "(it is a device without a line)"),
    ] {
        let output = sender(folder.path(), port, "9600").output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(3), "{said}");
        assert!(said.contains("cannot be opened as a serial port"), "{said}");
        assert!(said.contains(why) && said.contains("`bladewright ports` lists"), "{said}");
        assert_eq!(std::fs::read(folder.path().join("job.hpgl")).unwrap(), job());
    }
    let output = sender(folder.path(), "", "9600").output().unwrap();
    assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn a_missing_port_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let output = sender(folder.path(), "/dev/ttyNOWHERE", "9600").output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("there is no port /dev/ttyNOWHERE"), "{said}");
}
