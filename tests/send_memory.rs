//! A job of 20 MB is looked through, taken apart and sent in the memory that one of 3 MB takes: what the
//! system says of this process, and what it allows the program.
#![cfg(target_os = "linux")]

use std::fs::File;
use std::io::{BufWriter, Write};
use std::process::Command;
use std::time::Duration;

use bladewright::blade::BladeSettings;
use bladewright::follow::Setup;
use bladewright::profile::{Handshake, Library, Machine};
use bladewright::send::{
    self, Ending, Link, LinkError, MarksAlong, SendSettings, Shift, Spool, StopFlag, Survey,
};

/// A line that takes everything at its pace, and counts.
#[derive(Default)]
struct Sink {
    bytes: u64,
    sum: u64,
    now: Duration,
}

impl Link for Sink {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
        self.bytes += bytes.len() as u64;
        self.sum = summed(self.sum, bytes);
        Ok(bytes.len())
    }
    fn read(&mut self) -> Result<Vec<u8>, LinkError> {
        Ok(Vec::new())
    }
    fn may_send(&mut self) -> Result<bool, LinkError> {
        Ok(true)
    }
    fn unsent(&mut self) -> Result<usize, LinkError> {
        Ok(0)
    }
    fn drain(&mut self) -> Result<(), LinkError> {
        Ok(())
    }
    fn now(&self) -> Duration {
        self.now
    }
    fn pause(&mut self, time: Duration) {
        self.now += time.max(Duration::from_micros(50));
    }
}

fn summed(sum: u64, bytes: &[u8]) -> u64 {
    bytes.iter().fold(sum, |sum, &b| sum.wrapping_mul(31).wrapping_add(u64::from(b)))
}

/// The most memory that this process ever had, kB.
fn most_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    line.trim().trim_end_matches(" kB").parse().unwrap()
}

/// A job of small squares on a sheet of 16 x 12 m, as long as asked for; every so often a list of points
/// as long as one in `LONG_SHARE` of the job.
fn job(bytes: u64, out: &mut dyn Write) -> std::io::Result<()> {
    let (mut written, mut i) = (0, 0u64);
    let mut put = |text: &str, written: &mut u64| {
        *written += text.len() as u64;
        out.write_all(text.as_bytes())
    };
    put("IN;SP1;VS20;", &mut written)?;
    while written < bytes {
        let (x, y) = (400 * (i % 60), 30 + 400 * (i / 60 % 60));
        let square =
            format!("PU{x},{y};PD{},{y},{},{},{x},{},{x},{y};", x + 300, x + 300, y + 300, y + 300);
        put(&square, &mut written)?;
        i += 1;
        if i == 2000 {
            put("PU0,0;PD0,10", &mut written)?;
            for k in 0..bytes / LONG_SHARE / 9 {
                put(&format!(",{},{}", 100 + k % 800, 10 + k % 17), &mut written)?;
            }
            put(";", &mut written)?;
        }
    }
    put("PU0,0;SP0;", &mut written)
}

const LONG_SHARE: u64 = 3;

fn spool(bytes: u64) -> Spool {
    Spool::written(&mut |out| job(bytes, out)).unwrap()
}

/// All that `send` does with a job but for opening a port.
fn all_of_it(job: &Spool, machine: &Machine) {
    let setup = Setup::of(machine, 0.25);
    let survey = Survey::of(job, setup).unwrap();
    assert!(survey.cuts > 10_000 && survey.findings.iter().any(|f| f.code == "not-compared"));
    send::moved(job, Shift { x: 10, y: 0 }).unwrap();
    send::lifted(job).unwrap();
    let blade =
        BladeSettings { offset_mm: 0.25, limits: machine.limits_mm(), ..Default::default() };
    let taken = send::from_cut(job, survey.cuts - 1, (setup, &blade)).unwrap();
    assert!(job.len() - taken.job_byte < 200);
    let settings = SendSettings {
        rate_bytes_s: 11_520.0,
        handshake: Handshake::XonXoff,
        buffer_bytes: 1024,
        stall: Duration::from_secs(600),
    };
    let (mut sink, mut most, mut finished) = (Sink::default(), 0, 0);
    let mut marks = MarksAlong::new(job, setup);
    let stop = StopFlag::new();
    let ending = send::send(&mut job.from(0), &settings, &mut sink, &stop, &mut |progress| {
        most = most.max(progress.sent);
        finished = marks.up_to(progress.sent, progress.obeyed).finished(progress.obeyed);
    });
    assert_eq!(ending, Ok(Ending::Done));
    assert_eq!((sink.bytes, most), (job.len(), job.len()));
    assert_eq!(marks.whole(most), Some(survey.cuts));
    assert!(survey.cuts - finished < 30, "{finished} of {}", survey.cuts);
    let mut sum = 0;
    job.each_block(&mut |block| {
        sum = summed(sum, block);
        true
    })
    .unwrap();
    assert_eq!(sink.sum, sum);
}

#[test]
fn twenty_megabytes_take_no_more_memory_than_three() {
    let machine = Library::with_folder("/nowhere".into()).machine("roll-24").unwrap();
    all_of_it(&spool(3_000_000), &machine);
    let before = most_kb();
    all_of_it(&spool(20_000_000), &machine);
    let grown = most_kb() - before;
    assert!(grown < 4096, "{grown} kB more");
}

/// The program may have so much memory of its own, kB: what it shares with other programs (its code) is
/// not counted.
const ALLOWED_KB: u64 = 40_000;

/// As much as is allowed, whether cuts are compared with each other (2 MB) or not; the port is looked
/// for when the job has been looked through.
#[test]
fn the_program_keeps_to_forty_megabytes() {
    let folder = tempfile::tempdir().unwrap();
    for bytes in [1_700_000, 20_000_000] {
        let file = folder.path().join("job.plt");
        let mut out = BufWriter::new(File::create(&file).unwrap());
        job(bytes, &mut out).unwrap();
        out.into_inner().unwrap();
        let program = env!("CARGO_BIN_EXE_bladewright");
        let line = "ulimit -d $1; exec \"$2\" send \"$3\" --port /dev/nowhere --blade-up --yes";
        let mut command = Command::new("sh");
        command.args(["-c", line, "sh", &ALLOWED_KB.to_string(), program]).arg(&file);
        let said = command.output().unwrap();
        let text = String::from_utf8_lossy(&said.stderr).into_owned();
        assert_eq!(said.status.code(), Some(3), "{text}");
        assert!(text.contains("there is no port /dev/nowhere"), "{text}");
    }
}
