//! Every handshake, buffer and rate against the stand-in cutter, on a line with its own clock:
//! nothing is lost, nothing is early, every trouble ends in a sentence.

mod virtual_line;

use std::time::Duration;

use bladewright::hpgl::{self, TraceSettings};
use bladewright::profile::Handshake;
use bladewright::send::{self, Ending, Link, LinkError, SendError, StopFlag};
use virtual_line::{Dice, Line, Mishaps, machine, send_settings, stand_in};

const ALL: [Handshake; 6] = [
    Handshake::XonXoff,
    Handshake::RtsCts,
    Handshake::DtrDsr,
    Handshake::EnqAck,
    Handshake::Software,
    Handshake::Paced,
];

/// Short strokes and long ones, so that the machine is now faster and now slower than the line.
fn job(seed: u64, cuts: usize) -> Vec<u8> {
    let mut dice = Dice(seed);
    let mut text = String::from("IN;SP1;VS20;");
    for _ in 0..cuts {
        let far = if dice.next(4) == 0 { 4000 } else { 60 };
        let (x, y) = (dice.next(6000), dice.next(3000));
        text += &format!("PU{x},{y};PD");
        let count = 1 + dice.next(12);
        for i in 0..count {
            let comma = if i > 0 { "," } else { "" };
            text += &format!("{comma}{},{}", x + dice.next(far), y + dice.next(far));
        }
        text.push(';');
    }
    (text + "PU0,0;SP0;").into_bytes()
}

fn steps(bytes: &[u8]) -> Vec<hpgl::StepKind> {
    let (commands, _) = hpgl::read(bytes);
    let (trace, _) = hpgl::trace(&commands, &TraceSettings::default());
    trace.steps.into_iter().map(|step| step.kind).collect()
}

#[test]
fn nothing_is_lost_by_any_handshake_buffer_and_rate() {
    let job = job(1, 30);
    let wanted = steps(&job);
    for handshake in ALL {
        for buffer in [60, 255, 1024, 65536] {
            for baud in [1200, 9600, 115_200] {
                let machine = machine(handshake, buffer, baud);
                // Nothing holds a paced sender back: the machine has to keep up.
                let stand_in = stand_in(&machine, handshake == Handshake::Paced);
                let settings = send_settings(&machine);
                let mishaps = Mishaps {
                    pauses: (handshake != Handshake::Paced)
                        .then_some((701, Duration::from_millis(1300))),
                    ..Mishaps::default()
                };
                let mut line = Line::new(stand_in.clone(), &settings, mishaps);
                let case = format!("{handshake:?} {buffer} {baud}");
                let ending =
                    send::send(&mut &job[..], &settings, &mut line, &StopFlag::new(), &mut |_| ())
                        .expect(&case);
                assert_eq!(ending, Ending::Done, "{case}");
                let after = line.now + Duration::from_secs(600);
                let mut machine = stand_in.borrow_mut();
                machine.pause(false);
                machine.advance(after);
                assert_eq!(machine.lost(), 0, "{case}");
                assert!(steps(machine.obeyed()) == wanted, "{case}");
                assert!(!machine.tool().1, "{case}");
            }
        }
    }
}

/// Late and spoilt answers cost time, never a byte.
#[test]
fn late_and_spoilt_answers_lose_nothing() {
    let job = job(2, 25);
    let wanted = steps(&job);
    for handshake in [Handshake::Software, Handshake::EnqAck] {
        for (late_ms, spoilt) in [(300, None), (2500, None), (5, Some(9)), (900, Some(25))] {
            let machine = machine(handshake, 255, 9600);
            let stand_in = stand_in(&machine, false);
            let settings = send_settings(&machine);
            let late = Duration::from_millis(late_ms);
            let mishaps = Mishaps { late, spoilt, ..Mishaps::default() };
            let mut line = Line::new(stand_in.clone(), &settings, mishaps);
            let case = format!("{handshake:?} {late_ms} {spoilt:?}");
            match send::send(&mut &job[..], &settings, &mut line, &StopFlag::new(), &mut |_| ()) {
                Ok(ending) => assert_eq!(ending, Ending::Done, "{case}"),
                // A machine whose answers take longer than its line allows counts as silent.
                Err(SendError::Silent) if late_ms > 2000 => continue,
                Err(error) => panic!("{case}: {error}"),
            }
            let mut machine = stand_in.borrow_mut();
            machine.advance(line.now + Duration::from_secs(600));
            assert_eq!(machine.lost(), 0, "{case}");
            assert!(steps(machine.obeyed()) == wanted, "{case}");
        }
    }
}

/// Nothing but garble is a fault of the line, and told as that.
#[test]
fn answers_that_are_always_garbled_are_told() {
    let job = job(2, 25);
    for handshake in [Handshake::Software, Handshake::EnqAck] {
        let machine = machine(handshake, 255, 9600);
        let stand_in = stand_in(&machine, false);
        let settings = send_settings(&machine);
        let mishaps = Mishaps { spoilt_after: Some(10), ..Mishaps::default() };
        let mut line = Line::new(stand_in.clone(), &settings, mishaps);
        let result = send::send(&mut &job[..], &settings, &mut line, &StopFlag::new(), &mut |_| ());
        let error = result.unwrap_err();
        assert!(matches!(error, SendError::Garbled { .. }), "{handshake:?}: {error}");
        assert!(line.now < Duration::from_secs(400), "{handshake:?}: {:?}", line.now);
        assert_eq!(stand_in.borrow().lost(), 0, "{handshake:?}");
    }
}

/// A machine that says anything at all, at any time: garbled, late, in floods. Nothing breaks, nothing
/// waits for ever, and what arrives is a beginning of the job.
#[test]
fn no_answer_whatever_upsets_the_sender() {
    let job = job(8, 12);
    let mut done = 0;
    for seed in 0..120 {
        let handshake = ALL[seed as usize % ALL.len()];
        let machine = machine(handshake, 255, 9600);
        let mut settings = send_settings(&machine);
        settings.stall = Duration::from_secs(20);
        let mut line = Babbler { got: Vec::new(), now: Duration::ZERO, dice: Dice(seed) };
        let result = send::send(&mut &job[..], &settings, &mut line, &StopFlag::new(), &mut |_| ());
        let got: Vec<u8> = without_requests(&line.got);
        let same = job.iter().zip(&got).take_while(|(a, b)| a == b).count();
        match result {
            Ok(_) => {
                done += 1;
                assert_eq!(same, job.len(), "{handshake:?} {seed}");
            }
            // What follows lifts the tool or asks for errors.
            Err(error) => {
                assert!(got.len() - same < 8, "{handshake:?} {seed}: {error}");
                assert!(!error.to_string().is_empty());
            }
        }
    }
    assert!(done > 20, "{done}");
}

/// The bytes of the job among all that was sent: no ENQ, no device control, no `OE;`.
fn without_requests(all: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(all).replace(['\u{5}', '\r'], "");
    let mut parts = text.split("\x1b.");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |all, part| all + part.get(1..).unwrap_or_default()).into_bytes()
}

/// A line at whose end somebody babbles: digits, line ends, holds, floods, or the answer wanted.
struct Babbler {
    got: Vec<u8>,
    now: Duration,
    dice: Dice,
}

impl Link for Babbler {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
        let taken = (1 + self.dice.next(bytes.len() as u64) as usize).min(bytes.len());
        self.got.extend_from_slice(&bytes[..taken]);
        Ok(taken)
    }
    fn read(&mut self) -> Result<Vec<u8>, LinkError> {
        let said: &[u8] = match self.dice.next(24) {
            0 => b"0\r",
            1 => b"255\r",
            2 => b"\x06",
            3 => b"\x11",
            4 if self.dice.next(4) == 0 => b"\x13",
            5 => b"99999999999999999999999999\r",
            6 => b"-1\r\n",
            7 => b"\xff\xfe?\r",
            8 => b"17",
            9 if self.dice.next(20) == 0 => return Ok(vec![b'7'; 100_000]),
            _ => b"",
        };
        Ok(said.to_vec())
    }
    fn may_send(&mut self) -> Result<bool, LinkError> {
        Ok(self.dice.next(3) > 0)
    }
    fn unsent(&mut self) -> Result<usize, LinkError> {
        Ok(self.dice.next(3) as usize)
    }
    fn drain(&mut self) -> Result<(), LinkError> {
        Ok(())
    }
    fn now(&self) -> Duration {
        self.now
    }
    fn pause(&mut self, time: Duration) {
        self.now += time.max(Duration::from_micros(100));
    }
}

#[test]
fn a_machine_that_falls_asleep_is_a_stall_and_says_why() {
    let job = job(3, 60);
    for handshake in ALL.into_iter().filter(|h| *h != Handshake::Paced) {
        let machine = machine(handshake, 255, 9600);
        let mut settings = send_settings(&machine);
        settings.stall = Duration::from_secs(30);
        let mishaps = Mishaps { sleeps_after: Some(400), ..Mishaps::default() };
        let stand_in = stand_in(&machine, false);
        let mut line = Line::new(stand_in.clone(), &settings, mishaps);
        let mut halted = None;
        let result =
            send::send(&mut &job[..], &settings, &mut line, &StopFlag::new(), &mut |progress| {
                halted = halted.or(progress.halted);
            });
        let error = result.unwrap_err();
        assert!(matches!(error, SendError::Stalled { .. }), "{handshake:?}: {error}");
        assert_eq!(stand_in.borrow().lost(), 0, "{handshake:?}");
        if handshake == Handshake::Software {
            assert!(error.to_string().contains("paused at its own keys"), "{error}");
            assert!(halted.is_some());
        }
    }
}

#[test]
fn a_stop_at_any_time_lifts_and_ends_between_points() {
    let job = job(4, 40);
    let wanted = steps(&job);
    for handshake in ALL {
        for at in (0..20).map(|i| i * 61) {
            let machine = machine(handshake, 255, 9600);
            let stand_in = stand_in(&machine, handshake == Handshake::Paced);
            let settings = send_settings(&machine);
            let mut line = Line::new(stand_in.clone(), &settings, Mishaps::default());
            let stop = StopFlag::new();
            let ending = send::send(&mut &job[..], &settings, &mut line, &stop, &mut |progress| {
                if progress.sent >= at {
                    stop.raise();
                }
            });
            let case = format!("{handshake:?} {at}");
            assert_eq!(ending.expect(&case), Ending::Stopped, "{case}");
            let mut machine = stand_in.borrow_mut();
            machine.advance(line.now + Duration::from_secs(600));
            assert_eq!(machine.lost(), 0, "{case}");
            assert!(!machine.tool().1, "{case}");
            // What it did is a beginning of the job: no point was changed. The last step lifts.
            let mut done = steps(machine.obeyed());
            if done.last() == Some(&hpgl::StepKind::Raise) {
                done.pop();
            }
            assert!(wanted.starts_with(&done), "{case}");
        }
    }
}

#[test]
fn errors_of_the_machine_are_told_in_words() {
    let machine = machine(Handshake::Software, 255, 9600);
    let settings = send_settings(&machine);
    let mut line = Line::new(stand_in(&machine, true), &settings, Mishaps::default());
    let result = send::send(
        &mut &b"IN;QQ;PU10,10;"[..],
        &settings,
        &mut line,
        &StopFlag::new(),
        &mut |_| (),
    );
    let text = result.unwrap_err().to_string();
    assert!(text.contains("does not know an instruction"), "{text}");

    let stand_in = stand_in(&machine, false);
    let mut line = Line::new(stand_in.clone(), &settings, Mishaps::default());
    let mut once = Some(());
    let result =
        send::send(&mut &job(5, 80)[..], &settings, &mut line, &StopFlag::new(), &mut |progress| {
            if progress.sent > 500 && once.take().is_some() {
                stand_in.borrow_mut().garbled();
            }
        });
    let text = result.unwrap_err().to_string();
    assert!(text.contains("garbled"), "{text}");
    assert!(!stand_in.borrow().tool().1);
}

#[test]
fn a_raised_lever_is_told() {
    let machine = machine(Handshake::Software, 255, 9600);
    let mut settings = send_settings(&machine);
    settings.stall = Duration::from_secs(30);
    let stand_in = stand_in(&machine, false);
    let mut line = Line::new(stand_in.clone(), &settings, Mishaps::default());
    let mut once = Some(());
    let mut halted = None;
    let whole = job(5, 80);
    let result =
        send::send(&mut &whole[..], &settings, &mut line, &StopFlag::new(), &mut |progress| {
            halted = halted.or(progress.halted);
            if progress.sent > 500 && once.take().is_some() {
                stand_in.borrow_mut().lever(true);
            }
        });
    let text = result.unwrap_err().to_string();
    assert!(text.contains("pinch rollers"), "{text}");
    assert!(halted.is_some_and(|why| why.contains("lever")), "{halted:?}");
}

/// A job whose rest can't be read: the disk of its copy is gone.
struct Breaks<'a>(&'a [u8]);

impl std::io::Read for Breaks<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        match self.0.read(into)? {
            0 => Err(std::io::Error::other("input/output error")),
            count => Ok(count),
        }
    }
}

#[test]
fn a_job_that_breaks_off_lifts_the_tool() {
    let whole = job(8, 40);
    for handshake in ALL {
        let machine = machine(handshake, 255, 9600);
        let stand_in = stand_in(&machine, handshake == Handshake::Paced);
        let mut line = Line::new(stand_in.clone(), &send_settings(&machine), Mishaps::default());
        let settings = send_settings(&machine);
        let mut half = Breaks(&whole[..whole.len() / 2 + 3]);
        let result = send::send(&mut half, &settings, &mut line, &StopFlag::new(), &mut |_| ());
        let error = result.unwrap_err();
        assert!(error.to_string().contains("input/output error"), "{handshake:?}: {error}");
        let mut machine = stand_in.borrow_mut();
        machine.advance(line.now + Duration::from_secs(600));
        assert!(!machine.tool().1 && machine.lost() == 0, "{handshake:?}");
    }
}

#[test]
fn nobody_there_is_told() {
    let machine = machine(Handshake::Software, 255, 9600);
    let settings = send_settings(&machine);
    let stand_in = stand_in(&machine, true);
    let late = Duration::from_secs(3600);
    let mut line = Line::new(stand_in, &settings, Mishaps { late, ..Mishaps::default() });
    let result =
        send::send(&mut &job(6, 3)[..], &settings, &mut line, &StopFlag::new(), &mut |_| ());
    assert_eq!(result.unwrap_err(), SendError::Silent);
}

/// Share of the line's rate at which the second half of a job goes, to a machine that keeps up: greeting
/// and farewell, which are asked and not sent, are the same for the first half alone.
fn share(handshake: Handshake, buffer: u32, baud: u32, late: Duration) -> f64 {
    let cuts = if baud == 9600 { 100 } else { 700 };
    let machine = machine(handshake, buffer, baud);
    let settings = send_settings(&machine);
    let took = |job: &[u8]| {
        let stand_in = stand_in(&machine, true);
        let mut line =
            Line::new(stand_in.clone(), &settings, Mishaps { late, ..Mishaps::default() });
        send::send(&mut &job[..], &settings, &mut line, &StopFlag::new(), &mut |_| ()).unwrap();
        assert_eq!(stand_in.borrow().lost(), 0, "{handshake:?} {buffer} {baud}");
        line.now.as_secs_f64()
    };
    let (half, whole) = (job(7, cuts), job(7, 2 * cuts));
    let seconds = took(&whole) - took(&half);
    (whole.len() - half.len()) as f64 / (seconds * settings.rate_bytes_s)
}

/// Of what the line could carry, what was carried while the machine kept up. Questions take their part
/// of the line: `ESC.B` 3 bytes in 163 and ENQ 1 in 41 with a buffer of 255.
#[test]
fn the_line_is_used_to_97_percent() {
    for (handshake, buffer, least) in [
        (Handshake::XonXoff, 255, 0.995),
        (Handshake::RtsCts, 1024, 0.995),
        (Handshake::DtrDsr, 1024, 0.995),
        (Handshake::Paced, 255, 0.995),
        (Handshake::Software, 65536, 0.995),
        (Handshake::Software, 1024, 0.99),
        (Handshake::Software, 255, 0.975),
        (Handshake::EnqAck, 255, 0.97),
    ] {
        for baud in [9600, 115_200] {
            let share = share(handshake, buffer, baud, Duration::ZERO);
            assert!(share > least && share < 1.001, "{handshake:?} {buffer} {baud}: {share:.4}");
        }
    }
}

/// An answer is met before what was granted last is used up: the line does not wait for those that
/// take some milliseconds, as with a sender that looks only now and then.
#[test]
fn the_line_does_not_wait_for_answers() {
    for (handshake, late_ms, least) in
        [(Handshake::Software, 4, 0.975), (Handshake::EnqAck, 2, 0.97)]
    {
        let share = share(handshake, 255, 115_200, Duration::from_millis(late_ms));
        assert!(share > least, "{handshake:?}: {share:.4}");
    }
}
