//! A stand-in for an old cutter: [`StandIn`] takes bytes as such a machine would, and answers.
//!
//! What it is modelled on: HP 7470A Interfacing and Programming Manual (07470-90001), chapters 7
//! and 10. Its tests compare it with that manual, not with this project's sender.
//!
//! ```text
//!   line --bytes--> device control (at once)                       --answers--> line
//!              \--> buffer (finite; what does not fit is lost) --> words --> motion, answers
//! ```
//!
//! Invariants:
//! 1. It has no clock: whoever owns it says what time it is, so that a test can play hours in
//!    seconds and twice the same.
//! 2. A byte that finds the buffer full is lost, counted, and sets error 16.
//! 3. A byte leaves the buffer when it is read as part of an instruction; nothing is read while the
//!    tool moves, the machine is paused, or its lever is up.
//! 4. One answer at a time: whoever asks while an answer is going out gets none, and error 10.
//! 5. What it cut is what its interpreter obeyed, kept as HPGL ([`StandIn::obeyed`]).
//!
//! Simplified: a move takes its length at the profile's speed, without the slow corners; delays of
//! `ESC.M` are not kept; modem wires exist only for tests that call [`StandIn::wire_up`].

mod answers;
mod control;
#[cfg(unix)]
mod terminal;
mod words;

use std::collections::VecDeque;
use std::time::Duration;

use crate::geometry::Point;
use crate::hpgl::{self, Interpreter, StepKind, TraceSettings};
use crate::profile::{Handshake, Machine, Motion};
use control::{Control, Controls};
use words::{Piece, Words};

#[cfg(unix)]
pub use terminal::{Event, Port, Trouble, When, serve};

/// What machine it stands in for.
#[derive(Debug, Clone, PartialEq)]
pub struct StandInSettings {
    /// The machine: its limits, motion and line.
    pub machine: Machine,
    /// Bytes that its buffer takes.
    pub buffer_bytes: usize,
    /// How it holds a sender back, as if set on its front panel.
    pub handshake: Handshake,
    /// Bytes a second on its line.
    pub rate_bytes_s: f64,
    /// Motion takes no time.
    pub fast: bool,
    /// Requests that it does not answer, for example `OH` or `ESC.B`.
    pub mute: Vec<String>,
}

impl StandInSettings {
    /// As `machine` says; 9600 baud and 255 bytes where it says nothing.
    pub fn of(machine: &Machine) -> Self {
        let serial = machine.serial.as_ref();
        Self {
            machine: machine.clone(),
            buffer_bytes: serial.map_or(255, |s| s.buffer_bytes as usize),
            handshake: serial.map_or(Handshake::XonXoff, |s| s.handshake),
            rate_bytes_s: serial.map_or(960.0, crate::profile::Serial::bytes_per_s),
            fast: false,
            mute: Vec::new(),
        }
    }
}

/// The machine.
pub struct StandIn {
    settings: StandInSettings,
    now: Duration,
    buffer: VecDeque<u8>,
    controls: Controls,
    words: Words,
    interpreter: Interpreter,
    /// Until when the tool moves.
    busy: Duration,
    /// Since when something is there to be obeyed.
    ready: Duration,
    velocity_mm_s: Option<f64>,
    at_mm: Point,
    /// Answers that nobody has fetched.
    said: Vec<u8>,
    /// Until when an answer goes out.
    saying: Duration,
    /// Waits for an empty buffer: `ESC.L` was asked.
    size_asked: bool,
    /// Enquiries that wait for room.
    room_asked: bool,
    /// Xoff was sent.
    holding: bool,
    paused: bool,
    lever_up: bool,
    /// For `ESC.E` and `OE`.
    control_error: u8,
    error: u8,
    initialised: bool,
    lost: u64,
    received: u64,
    obeyed: Vec<u8>,
}

/// Motion of a machine whose profile says nothing: a leisurely roll cutter. Our own choice.
const MOTION: Motion = Motion {
    cut_mm_s: 200.0,
    travel_mm_s: 300.0,
    acceleration_mm_s2: 2000.0,
    corner_jump_mm_s: 20.0,
    lift_s: 0.03,
    lower_s: 0.04,
};

impl StandIn {
    /// Switched on, at time 0.
    pub fn new(settings: StandInSettings) -> Self {
        let mut controls = Controls::default();
        controls.handshake = answers::front_panel(&settings);
        Self {
            settings,
            now: Duration::ZERO,
            buffer: VecDeque::new(),
            controls,
            words: Words::default(),
            interpreter: Interpreter::new(TraceSettings::default()),
            busy: Duration::ZERO,
            ready: Duration::ZERO,
            velocity_mm_s: None,
            at_mm: Point::ORIGIN,
            said: Vec::new(),
            saying: Duration::ZERO,
            size_asked: false,
            room_asked: false,
            holding: false,
            paused: false,
            lever_up: false,
            control_error: 0,
            error: 0,
            initialised: true,
            lost: 0,
            received: 0,
            obeyed: Vec::new(),
        }
    }

    /// A byte arrives at time `now`.
    pub fn receive(&mut self, byte: u8, now: Duration) {
        self.advance(now);
        self.received += 1;
        let byte = if self.eight_bits() { byte } else { byte & 0x7f };
        if self.controls.wants(byte) {
            if let Some(control) = self.controls.take(byte) {
                self.control(control);
            }
        } else if self.controls.handshake.enquiry == Some(byte) {
            self.room_asked = true;
        } else if self.buffer.len() >= self.settings.buffer_bytes {
            self.lost += 1;
            self.control_error = 16;
        } else {
            self.buffer.push_back(byte);
        }
        self.advance(now);
    }

    /// Obeys what the buffer holds until time `now`.
    pub fn advance(&mut self, now: Duration) {
        self.now = self.now.max(now);
        while !self.stands() && self.busy <= self.now && self.saying <= self.now {
            let Some(byte) = self.buffer.pop_front() else { break };
            for piece in self.words.take(byte) {
                self.piece(piece);
            }
        }
        if self.buffer.is_empty() || self.stands() {
            self.ready = self.now;
        }
        self.hold_back();
        if self.size_asked && self.buffer.is_empty() && self.saying <= self.now {
            self.size_asked = false;
            let size = self.settings.buffer_bytes.to_string();
            self.answer(&size);
        }
    }

    /// What it has said since this was last called.
    pub fn said(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.said)
    }

    /// Whether its wire tells the sender to go on (p. 10-26).
    pub fn wire_up(&self) -> bool {
        let handshake = &self.controls.handshake;
        !handshake.wire || self.free() >= answers::level(&self.settings, handshake)
    }

    /// When it reads on, if it moves now.
    pub fn busy_until(&self) -> Option<Duration> {
        let until = self.busy.max(self.saying);
        (until > self.now).then_some(until)
    }

    /// Whether everything it took is done.
    pub fn is_idle(&self) -> bool {
        self.buffer.is_empty() && self.busy <= self.now
    }

    /// Presses its pause key, or lets go.
    pub fn pause(&mut self, on: bool) {
        self.paused = on;
    }

    /// Raises its pinch rollers, or lowers them.
    pub fn lever(&mut self, up: bool) {
        if up && self.busy > self.now {
            // A vector while the pinch wheels are raised: p. 7-6.
            self.error = 8;
        }
        self.lever_up = up;
    }

    /// A byte came garbled: error 15 (p. 10-27).
    pub fn garbled(&mut self) {
        self.control_error = 15;
    }

    /// Bytes that found the buffer full.
    pub fn lost(&self) -> u64 {
        self.lost
    }

    /// Bytes that came in.
    pub fn received(&self) -> u64 {
        self.received
    }

    /// Where the tool is, plotter units, and whether it is down.
    pub fn tool(&self) -> (Point, bool) {
        self.interpreter.tool()
    }

    /// What it obeyed, as HPGL: lists are written pair by pair.
    pub fn obeyed(&self) -> &[u8] {
        &self.obeyed
    }

    fn eight_bits(&self) -> bool {
        self.settings.machine.serial.as_ref().is_none_or(|serial| serial.data_bits == 8)
    }

    fn stands(&self) -> bool {
        self.paused || self.lever_up
    }

    fn free(&self) -> usize {
        self.settings.buffer_bytes.saturating_sub(self.buffer.len())
    }

    fn piece(&mut self, piece: Piece) {
        match piece {
            Piece::Obey(text) if text.first() == Some(&b'O') && text.len() == 3 => {
                self.asked(text[1]);
            }
            Piece::Obey(text) => self.obey(&text),
            Piece::Unknown(_) | Piece::Stray => self.error = 1,
            Piece::Odd => self.error = 2,
        }
    }

    fn obey(&mut self, text: &[u8]) {
        let (commands, _) = hpgl::read(text);
        for located in &commands {
            if answers::out_of_range(&located.command, self.settings.machine.sixteen_bit) {
                // The point is left out: 7470A manual, p. 3-6.
                self.error = 3;
                continue;
            }
            let mut steps = Vec::new();
            self.interpreter.obey(located, &mut steps);
            for step in steps {
                self.step(step.kind);
            }
        }
        if text.starts_with(b"IN") {
            (self.error, self.initialised) = (0, true);
        }
        self.obeyed.extend_from_slice(text);
    }

    fn step(&mut self, kind: StepKind) {
        let motion = self.settings.machine.motion.unwrap_or(MOTION);
        let down = self.interpreter.tool().1;
        let seconds = match kind {
            StepKind::Lower => motion.lower_s,
            StepKind::Raise => motion.lift_s,
            StepKind::Move(units) => {
                let to = units * self.settings.machine.unit_mm;
                let length = self.at_mm.distance(to);
                self.at_mm = to;
                let cut =
                    self.velocity_mm_s.map_or(motion.cut_mm_s, |v| v.clamp(3.8, motion.cut_mm_s));
                length / if down { cut } else { motion.travel_mm_s }
            }
            StepKind::Velocity(cm_s) => {
                self.velocity_mm_s = cm_s.map(|v| v * 10.0);
                0.0
            }
            StepKind::Tool(_) | StepKind::Force(_) => 0.0,
        };
        if !self.settings.fast && seconds > 0.0 {
            self.busy = self.busy.max(self.ready) + Duration::from_secs_f64(seconds.min(3600.0));
        }
    }

    fn control(&mut self, control: Control) {
        match control {
            Control::Ask(letter) => self.control_asked(letter),
            Control::DropAnswers => {
                self.said.clear();
                (self.saying, self.size_asked, self.room_asked) = (self.now, false, false);
            }
            Control::DropBuffer => {
                self.buffer.clear();
                self.words.forget();
            }
            Control::Set | Control::Nothing => {}
            Control::Wrong(number) => self.control_error = number,
        }
    }
}
