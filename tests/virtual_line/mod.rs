//! A serial line without a computer around it: its own clock, a stand-in cutter at its end.
//!
//! Every byte takes its time, answers come back later by as much as is asked for, and the cable can
//! be pulled after any byte. Hours pass in a moment and twice the same.
#![allow(dead_code)]

#[path = "../random/mod.rs"]
mod random;

use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::time::Duration;

use bladewright::profile::{Handshake, Library, Machine};
use bladewright::send::{Link, LinkError, SendSettings};
use bladewright::stand_in::{StandIn, StandInSettings};

pub use random::Dice;

/// What happens on the line.
#[derive(Default, Clone)]
pub struct Mishaps {
    /// The cable is pulled after so many bytes.
    pub cut_after: Option<u64>,
    /// Answers come so much later.
    pub late: Duration,
    /// One in so many answered bytes is spoilt.
    pub spoilt: Option<u64>,
    /// Whatever is answered after so many bytes is spoilt.
    pub spoilt_after: Option<u64>,
    /// The machine is paused for this long whenever so many bytes have come.
    pub pauses: Option<(u64, Duration)>,
    /// The machine falls asleep for good after so many bytes.
    pub sleeps_after: Option<u64>,
}

pub struct Line {
    pub machine: Rc<RefCell<StandIn>>,
    pub now: Duration,
    byte: Duration,
    /// Written, not yet on the wire.
    out: VecDeque<u8>,
    /// When the wire is free.
    free: Duration,
    /// On its way back.
    back: VecDeque<(Duration, u8)>,
    /// When the way back is free.
    back_free: Duration,
    /// The system's driver heeds the machine's wire, but a FIFO of 16 bytes runs on.
    driver_heeds_wire: bool,
    fifo: usize,
    mishaps: Mishaps,
    dice: Dice,
    wake: Option<Duration>,
    brought: u64,
    answered: u64,
    pub gone: bool,
    /// Longest queue that the sender left in the system.
    pub most_ahead: usize,
}

impl Line {
    pub fn new(machine: Rc<RefCell<StandIn>>, settings: &SendSettings, mishaps: Mishaps) -> Self {
        Self {
            machine,
            now: Duration::ZERO,
            byte: Duration::from_secs_f64(1.0 / settings.rate_bytes_s),
            out: VecDeque::new(),
            free: Duration::ZERO,
            back: VecDeque::new(),
            back_free: Duration::ZERO,
            driver_heeds_wire: settings.handshake == Handshake::RtsCts,
            fifo: 0,
            mishaps,
            dice: Dice(7),
            wake: None,
            brought: 0,
            answered: 0,
            gone: false,
            most_ahead: 0,
        }
    }

    /// Plugs the cable of a machine that has run on meanwhile into a new line.
    pub fn plugged_at(mut self, now: Duration) -> Self {
        (self.now, self.free) = (now, now);
        self
    }

    fn run(&mut self, until: Duration) {
        while self.now < until {
            let step = (self.now + self.byte.min(Duration::from_millis(1))).min(until);
            self.now = step;
            self.wire();
            self.machine.borrow_mut().advance(self.now);
            if self.wake.is_some_and(|wake| wake <= self.now) {
                self.wake = None;
                self.machine.borrow_mut().pause(false);
            }
            self.hear();
        }
    }

    /// Brings what the wire has carried by now.
    fn wire(&mut self) {
        loop {
            if self.out.is_empty() {
                self.free = self.free.max(self.now);
                return;
            }
            if self.free + self.byte > self.now {
                return;
            }
            if self.driver_heeds_wire {
                if self.machine.borrow().wire_up() {
                    self.fifo = 16;
                } else if self.fifo == 0 {
                    self.free = self.now;
                    return;
                } else {
                    self.fifo -= 1;
                }
            }
            self.free += self.byte;
            let byte = self.out.pop_front().unwrap();
            if self.gone {
                continue;
            }
            self.machine.borrow_mut().receive(byte, self.free);
            self.hear();
            self.brought += 1;
            self.mishap();
        }
    }

    fn mishap(&mut self) {
        let brought = self.brought;
        if self.mishaps.cut_after == Some(brought) {
            self.gone = true;
        }
        if self.mishaps.sleeps_after == Some(brought) {
            self.machine.borrow_mut().pause(true);
        }
        if let Some((every, how_long)) = self.mishaps.pauses
            && brought.is_multiple_of(every)
        {
            self.machine.borrow_mut().pause(true);
            self.wake = Some(self.now + how_long);
        }
    }

    fn hear(&mut self) {
        let said = self.machine.borrow_mut().said();
        for mut byte in said {
            if let Some(one_in) = self.mishaps.spoilt
                && self.dice.next(one_in) == 0
            {
                byte = b'?';
            }
            self.answered += 1;
            if self.mishaps.spoilt_after.is_some_and(|after| self.answered > after) {
                byte = b'?';
            }
            self.back_free = self.back_free.max(self.now) + self.byte;
            self.back.push_back((self.back_free + self.mishaps.late, byte));
        }
    }
}

impl Link for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
        if self.gone {
            return Err(LinkError("Input/output error".into()));
        }
        // The kernel takes about 20 kB before anybody reads.
        let taken = bytes.len().min(20_000 - self.out.len());
        self.out.extend(&bytes[..taken]);
        self.most_ahead = self.most_ahead.max(self.out.len());
        Ok(taken)
    }

    fn read(&mut self) -> Result<Vec<u8>, LinkError> {
        if self.gone {
            return Err(LinkError("Input/output error".into()));
        }
        let mut bytes = Vec::new();
        while let Some(&(at, byte)) = self.back.front() {
            if at > self.now {
                break;
            }
            self.back.pop_front();
            bytes.push(byte);
        }
        Ok(bytes)
    }

    fn may_send(&mut self) -> Result<bool, LinkError> {
        Ok(self.machine.borrow().wire_up())
    }

    /// As a pseudo-terminal, which says nothing; where a driver heeds a wire it does say.
    fn unsent(&mut self) -> Result<usize, LinkError> {
        if self.gone {
            return Err(LinkError("Input/output error".into()));
        }
        Ok(if self.driver_heeds_wire { self.out.len() } else { 0 })
    }

    fn drain(&mut self) -> Result<(), LinkError> {
        let until = self.now + self.byte * self.out.len() as u32;
        self.run(until);
        Ok(())
    }

    fn now(&self) -> Duration {
        self.now
    }

    fn pause(&mut self, time: Duration) {
        let until = self.now + time.max(Duration::from_micros(100));
        self.run(until);
    }
}

/// An A4 pen plotter as wired by `handshake`, with so much buffer, at so many bits a second.
pub fn machine(handshake: Handshake, buffer: u32, baud: u32) -> Machine {
    let library = Library::with_folder("/nowhere".into());
    let mut machine = library.machine("flatbed-a4").unwrap();
    let serial = machine.serial.as_mut().unwrap();
    (serial.handshake, serial.buffer_bytes, serial.baud) = (handshake, buffer, baud);
    machine
}

pub fn stand_in(machine: &Machine, fast: bool) -> Rc<RefCell<StandIn>> {
    let settings = StandInSettings { fast, ..StandInSettings::of(machine) };
    Rc::new(RefCell::new(StandIn::new(settings)))
}

pub fn send_settings(machine: &Machine) -> SendSettings {
    SendSettings::of(machine.serial.as_ref().unwrap())
}
