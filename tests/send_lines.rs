//! The sender on real pseudo-terminals, in real time: every handshake that such a line can have, with
//! each buffer at each rate, to a stand-in cutter that is paused in the middle. Nothing is lost.
//! Modem wires do not exist there: `send_handshakes` has them on a line with its own clock.
#![cfg(unix)]

use std::sync::mpsc::{Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

use bladewright::hpgl::{self, StepKind, TraceSettings};
use bladewright::profile::{Handshake, Library, Machine};
use bladewright::send::{self, Ending, SendSettings, SerialLink, StopFlag};
use bladewright::stand_in::{self, Event, Port, StandIn, StandInSettings, Trouble};

/// How long each job lasts on its line, s.
const LASTS_S: f64 = 1.2;

/// Small rectangles, at least so many bytes.
fn job(bytes: usize) -> Vec<u8> {
    let mut text = String::from("IN;SP1;");
    let mut i = 0;
    while text.len() < bytes {
        let (x, y) = (60 * (i % 100), 70 * (i / 100 % 100));
        text += &format!("PU{x},{y};PD{},{y},{},{},{x},{y};", x + 40, x + 40, y + 50);
        i += 1;
    }
    (text + "PU0,0;SP0;").into_bytes()
}

/// What a machine does that gets these bytes.
fn steps(bytes: &[u8]) -> Vec<StepKind> {
    let (commands, _) = hpgl::read(bytes);
    let (trace, _) = hpgl::trace(&commands, &TraceSettings::default());
    trace.steps.iter().map(|step| step.kind).collect()
}

/// A machine on its way: its port, what gives it orders, and what it did: bytes lost, bytes obeyed, tool
/// down.
type Cutter = (String, Sender<Trouble>, JoinHandle<(u64, Vec<u8>, bool)>);

fn cutter(machine: Machine) -> Cutter {
    let (give, orders) = channel();
    let (name, named) = channel();
    let cutter = std::thread::spawn(move || {
        let settings = StandInSettings { fast: true, ..StandInSettings::of(&machine) };
        let baud = machine.serial.as_ref().map(|serial| serial.baud);
        let port = Port { rate_bytes_s: settings.rate_bytes_s, baud, ..Port::default() };
        let mut stand_in = StandIn::new(settings);
        let mut tell = |event: &Event| {
            if let Event::Open(port) = event {
                name.send(port.clone()).unwrap();
            }
        };
        stand_in::serve(&mut stand_in, &port, &orders, &mut tell).unwrap();
        (stand_in.lost(), stand_in.obeyed().to_vec(), stand_in.tool().1)
    });
    (named.recv().unwrap(), give, cutter)
}

fn one(handshake: Handshake, buffer: u32, baud: u32) {
    let case = format!("{handshake:?}, {buffer} bytes, {baud} bits/s");
    let mut machine = Library::with_folder("/nowhere".into()).machine("flatbed-a4").unwrap();
    let serial = machine.serial.as_mut().unwrap();
    (serial.handshake, serial.buffer_bytes, serial.baud) = (handshake, buffer, baud);
    let serial = serial.clone();
    let job = job((LASTS_S * serial.bytes_per_s()) as usize);
    let (port, give, cutter) = cutter(machine);
    let mut link = SerialLink::open(&port, &serial).unwrap();
    let settings = SendSettings::of(&serial);
    let orders = give.clone();
    let mut paused = handshake == Handshake::Paced;
    let third = job.len() as u64 / 3;
    let ending =
        send::send(&mut &job[..], &settings, &mut link, &StopFlag::new(), &mut |progress| {
            if progress.sent > third && !std::mem::replace(&mut paused, true) {
                orders.send(Trouble::Pause).unwrap();
                let orders = orders.clone();
                std::thread::spawn(move || {
                    std::thread::sleep(Duration::from_millis(700));
                    orders.send(Trouble::Go).unwrap();
                });
            }
        });
    assert_eq!(ending, Ok(Ending::Done), "{case}");
    std::thread::sleep(Duration::from_millis(900));
    give.send(Trouble::End).unwrap();
    let (lost, obeyed, down) = cutter.join().unwrap();
    assert_eq!((lost, down), (0, false), "{case}");
    assert!(steps(&obeyed) == steps(&job), "{case}");
}

#[test]
fn nothing_is_lost_on_real_lines() {
    for handshake in [Handshake::XonXoff, Handshake::EnqAck, Handshake::Software, Handshake::Paced]
    {
        let mut all = Vec::new();
        for buffer in [60, 255, 1024, 65536] {
            for baud in [1200, 9600, 115_200] {
                all.push(std::thread::spawn(move || one(handshake, buffer, baud)));
            }
        }
        for each in all {
            each.join().unwrap();
        }
    }
}
