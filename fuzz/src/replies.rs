//! A machine that says anything, at any time, to a sender, a probe and a question for its place:
//!
//! 1. all of it ends, in the line's own time;
//! 2. what goes out is the job in its order, requests aside, and a stop leaves whole instructions
//!    and a lifted tool;
//! 3. progress never runs back, nor ahead of what was sent;
//! 4. a profile made of answers can be written and read back.

use std::time::Duration;

use bladewright::follow::Setup;
use bladewright::hpgl;
use bladewright::pipeline;
use bladewright::profile::{Handshake, Library, Machine, machine_from_text};
use bladewright::send::{
    self, Ending, Link, LinkError, MarksAlong, Progress, SendError, SendSettings, Spool, StopFlag,
};

/// Longer than any of these jobs may take, in the line's time.
const FOR_EVER: Duration = Duration::from_secs(48 * 3600);

/// A line whose far end says what `script` holds: for each reply how late it is, how long, and its
/// bytes.
struct Line<'a> {
    script: &'a [u8],
    now: Duration,
    /// What is on its way, and when it comes.
    coming: Vec<(Duration, u8)>,
    written: Vec<u8>,
    /// The far end speaks unasked.
    talks: bool,
    /// The line takes nothing after so many bytes.
    full_after: usize,
    /// The line is gone after so many bytes.
    gone_after: usize,
}

impl Line<'_> {
    fn reply(&mut self) {
        let [late, length, rest @ ..] = self.script else { return };
        let said = rest.len().min(usize::from(length % 24));
        let at = self.now + Duration::from_millis(u64::from(*late) * 10);
        self.coming.extend(rest[..said].iter().map(|&byte| (at, byte)));
        self.script = &rest[said..];
    }

    fn check(&self) -> Result<(), LinkError> {
        if self.written.len() > self.gone_after { Err(LinkError("gone".into())) } else { Ok(()) }
    }
}

impl Link for Line<'_> {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
        self.check()?;
        let taken = bytes.len().min(self.full_after.saturating_sub(self.written.len()));
        self.written.extend_from_slice(&bytes[..taken]);
        let asks = bytes[..taken].iter().any(|b| [5, 27, b'O'].contains(b));
        if asks {
            self.reply();
        }
        if taken == 0 {
            self.pause(Duration::from_millis(1));
        }
        Ok(taken)
    }
    fn read(&mut self) -> Result<Vec<u8>, LinkError> {
        self.check()?;
        if self.talks && self.coming.is_empty() {
            self.reply();
        }
        let now = self.now;
        let due = self.coming.iter().filter(|(at, _)| *at <= now).map(|(_, byte)| *byte).collect();
        self.coming.retain(|(at, _)| *at > now);
        Ok(due)
    }
    fn may_send(&mut self) -> Result<bool, LinkError> {
        self.check()?;
        Ok(!self.now.as_millis().is_multiple_of(7))
    }
    fn unsent(&mut self) -> Result<usize, LinkError> {
        self.check().map(|()| 0)
    }
    fn drain(&mut self) -> Result<(), LinkError> {
        self.check()
    }
    fn now(&self) -> Duration {
        self.now
    }
    fn pause(&mut self, time: Duration) {
        self.now += time.max(Duration::from_micros(100));
        assert!(self.now < FOR_EVER, "it does not end");
    }
}

/// Small closed contours; no letter or byte of it is part of a request.
fn job() -> String {
    let mut text = String::from("IN;SP1;");
    for i in 0..12 {
        let x = 40 * i;
        text += &format!("PU{x},0;PD{},0,{},30,{x},0;", x + 20, x + 20);
    }
    text + "PU0,0;"
}

pub fn replies(bytes: &[u8]) {
    let [how, size, end, stop, script @ ..] = bytes else { return };
    let library = Library::default();
    let mut machine = library.machine("flatbed-a4").expect("it is built in");
    let serial = machine.serial.as_mut().expect("it has a port");
    serial.handshake = [
        Handshake::Software,
        Handshake::EnqAck,
        Handshake::XonXoff,
        Handshake::Software,
        Handshake::DtrDsr,
        Handshake::Paced,
    ][usize::from(how % 6)];
    serial.buffer_bytes = 16 + u32::from(*size);
    let settings = SendSettings { stall: Duration::from_secs(3), ..SendSettings::of(serial) };
    let line = || Line {
        script,
        now: Duration::ZERO,
        coming: Vec::new(),
        written: Vec::new(),
        talks: how & 8 != 0,
        full_after: if end % 4 == 1 { usize::from(*end) * 4 } else { usize::MAX },
        gone_after: if end % 4 == 2 { usize::from(*end) * 4 } else { usize::MAX },
    };
    sent(line(), &settings, usize::from(*stop), &machine);
    asked(line(), &machine);
}

fn sent(mut line: Line<'_>, settings: &SendSettings, stop_after: usize, machine: &Machine) {
    let job = job();
    let stop = StopFlag::new();
    let (mut told, mut last) = (0, Progress { sent: 0, obeyed: 0, halted: None });
    let ending = send::send(&mut job.as_bytes(), settings, &mut line, &stop, &mut |progress| {
        assert!(progress.sent >= last.sent && progress.sent <= job.len() as u64);
        assert!(progress.obeyed >= last.obeyed, "{progress:?} after {last:?}");
        last = progress;
        told += 1;
        if told == stop_after {
            stop.raise();
        }
    });
    let out = without_requests(&line.written);
    let common = out.iter().zip(job.as_bytes()).take_while(|(a, b)| a == b).count();
    match ending {
        Ok(Ending::Done) => assert_eq!(out, job.as_bytes()),
        Ok(Ending::Stopped) => is_lifted(&line.written, job.as_bytes(), machine),
        // The machine's error is answered by lifting the tool.
        Err(SendError::Machine { .. } | SendError::NotLifted { .. }) => {}
        Err(error) => {
            assert!(
                stop.is_up() || common == out.len(),
                "{error}: {}",
                String::from_utf8_lossy(&out)
            );
            assert!(error.to_string().len() > 20);
        }
    }
    let spool = Spool::of(&mut job.as_bytes()).expect("a small file can be written");
    let back = pipeline::read_back(job.as_bytes(), machine, 0.0);
    let whole =
        MarksAlong::new(&spool, Setup::of(machine, 0.0)).whole(last.sent).expect("it can be read");
    let in_them = back.simulation.cuts.iter().filter(|cut| cut.end <= last.sent).count();
    assert_eq!(whole, in_them);
}

/// After a stop: a machine that was told to forget its buffer (`ESC.K`) got what lifts the tool, any
/// other one whole instructions.
fn is_lifted(written: &[u8], job: &[u8], machine: &Machine) {
    let forgets = written.windows(3).rposition(|bytes| bytes == b"\x1b.K");
    let (before, after) = written.split_at(forgets.unwrap_or(0));
    let out = without_requests(after);
    assert!(job.starts_with(&without_requests(before)));
    assert!(out.ends_with(b"PU;"), "{}", String::from_utf8_lossy(&out));
    let (_, findings) = hpgl::read(&out);
    assert!(findings.is_empty(), "{findings:?}");
    assert!(!pipeline::read_back(&out, machine, 0.0).simulation.left_down);
    let common = out.iter().zip(job).take_while(|(a, b)| a == b).count();
    assert!(out.len() - common <= b";PU;".len());
}

/// What is left of `written` without `ESC.` requests, ENQ and output instructions.
fn without_requests(written: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    let mut rest = written;
    while let Some(&byte) = rest.first() {
        let request = match byte {
            27 => 3,
            5 => 1,
            b'O' => 3,
            _ => 0,
        };
        if request == 0 {
            out.push(byte);
        }
        rest = &rest[request.max(1).min(rest.len())..];
    }
    out
}

fn asked(mut line: Line<'_>, machine: &Machine) {
    // A line that is gone is told, and no matter here.
    let _ = send::anybody_there(&mut line);
    if let Ok(found) = send::probe(&mut line) {
        let profile = found.profile(machine);
        let text = toml::to_string(&profile).expect("a profile can be written");
        assert_eq!(machine_from_text(&text, "found").as_ref(), Ok(&profile), "{text}");
    }
    if let Ok(Some(place)) = send::place(&mut line, Duration::from_secs(5)) {
        let job = job();
        let cuts = pipeline::read_back(job.as_bytes(), machine, 0.0).simulation.cuts.len();
        let spool = Spool::of(&mut job.as_bytes()).expect("a small file can be written");
        let found = send::finished_at(place, &spool, (2, cuts), Setup::of(machine, 0.0));
        let found = found.expect("it can be read");
        assert!(found.is_none_or(|n| (2..=cuts).contains(&n)), "{found:?}");
    }
}
