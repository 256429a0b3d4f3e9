//! The stand-in on a pseudo-terminal: a port that any program can open.
//!
//! Bytes are fetched from the kernel as fast as the line would bring them and no faster, so what a
//! sender writes ahead waits where it would wait with a real port. Pseudo-terminals have no modem
//! wires: RTS/CTS and DTR/DSR can't be rehearsed on one, only the pace of the line.

use std::collections::VecDeque;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use super::StandIn;

/// What can be done to the machine on request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// Its pause key is pressed.
    Pause,
    /// Its pause key is let go.
    Go,
    /// Its lever is raised.
    LeverUp,
    /// Its lever is lowered.
    LeverDown,
    /// A byte comes garbled.
    Garble,
    /// The cable is pulled; a new port stands ready at once.
    HangUp,
    /// The person at the machine ends the rehearsal.
    End,
}

impl FromStr for Trouble {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Ok(match text.trim() {
            "pause" => Self::Pause,
            "go" => Self::Go,
            "lever-up" => Self::LeverUp,
            "lever-down" => Self::LeverDown,
            "garble" => Self::Garble,
            "hang-up" => Self::HangUp,
            "end" => Self::End,
            other => {
                return Err(format!(
                    "\"{other}\" is nothing that can be done to the machine; there are pause, go, \
                     lever-up, lever-down, garble, hang-up, end"
                ));
            }
        })
    }
}

/// Trouble after so many bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct When {
    /// Bytes received by then.
    pub byte: u64,
    /// What happens.
    pub trouble: Trouble,
}

impl FromStr for When {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("\"{text}\": write BYTES:WHAT, for example 500:pause");
        let (byte, trouble) = text.split_once(':').ok_or_else(wrong)?;
        Ok(Self { byte: byte.parse().map_err(|_| wrong())?, trouble: trouble.parse()? })
    }
}

/// What is told while the machine runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// A port is open under this name.
    Open(String),
    /// The buffer was full: so many bytes are lost by now.
    Lost(u64),
    /// Trouble on request.
    Trouble(Trouble),
    /// The sender's end is set to this rate, bits a second, which is not this line's.
    WrongRate(u32),
}

/// Where the machine is reached.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Port {
    /// Also reachable under this name (a symbolic link, set anew after a hang-up).
    pub link: Option<PathBuf>,
    /// Ends when a sender has closed the port and everything is done.
    pub once: bool,
    /// Trouble to come.
    pub when: Vec<When>,
    /// Bytes a second on its line.
    pub rate_bytes_s: f64,
    /// Bits a second that the other end must be set to; another rate brings only framing errors. Any
    /// will do when `None`.
    pub baud: Option<u32>,
}

/// How long the loop rests: short against the time that a margin of 32 bytes lasts at 9600 baud.
const REST: Duration = Duration::from_micros(500);

/// Runs `machine` on a pseudo-terminal until `orders` say [`Trouble::End`] (or, with `once`, until
/// a job is done).
///
/// # Errors
/// What the system says when it gives no pseudo-terminal.
pub fn serve(
    machine: &mut StandIn,
    port: &Port,
    orders: &Receiver<Trouble>,
    tell: &mut dyn FnMut(&Event),
) -> io::Result<()> {
    let mut run = Run {
        machine,
        port,
        terminal: Terminal::open(port)?,
        start: Instant::now(),
        line: Duration::ZERO,
        back: VecDeque::new(),
        back_free: Duration::ZERO,
        lost: 0,
        served: 0,
        wrong_rate: None,
        tell,
    };
    (run.tell)(&Event::Open(run.terminal.name.clone()));
    loop {
        while let Ok(trouble) = orders.try_recv() {
            if trouble == Trouble::End {
                return Ok(());
            }
            run.trouble(trouble)?;
        }
        let closed = run.turn()?;
        if closed && port.once && run.machine.received() > 0 && run.machine.is_idle() {
            return Ok(());
        }
        std::thread::sleep(REST);
    }
}

struct Terminal {
    file: File,
    name: String,
}

impl Terminal {
    fn open(port: &Port) -> io::Result<Self> {
        let machine = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
        grantpt(&machine)?;
        unlockpt(&machine)?;
        let mut settings = tcgetattr(&machine)?;
        settings.make_raw();
        tcsetattr(&machine, OptionalActions::Now, &settings)?;
        fcntl_setfl(&machine, fcntl_getfl(&machine)? | OFlags::NONBLOCK)?;
        let name = ptsname(&machine, Vec::new())?;
        let name = name.to_string_lossy().into_owned();
        if let Some(link) = &port.link {
            relink(link, &name)?;
        }
        Ok(Self { file: File::from(machine), name })
    }
}

/// Lets `link` lead to `name`; only a link is ever replaced.
fn relink(link: &std::path::Path, name: &str) -> io::Result<()> {
    if std::fs::symlink_metadata(link).is_ok_and(|about| about.is_symlink()) {
        std::fs::remove_file(link)?;
    }
    std::os::unix::fs::symlink(name, link)
}

struct Run<'a> {
    machine: &'a mut StandIn,
    port: &'a Port,
    terminal: Terminal,
    start: Instant,
    /// When the line has brought what was fetched.
    line: Duration,
    /// What is on its way back, and when its last byte will be there.
    back: VecDeque<(Duration, u8)>,
    back_free: Duration,
    lost: u64,
    /// How many of the port's troubles have come.
    served: usize,
    /// The rate of the sender's end when that was last wrong.
    wrong_rate: Option<u32>,
    tell: &'a mut dyn FnMut(&Event),
}

impl Run<'_> {
    /// Fetches what the line has brought by now, and says what is to be said. True when nobody
    /// has the port open.
    fn turn(&mut self) -> io::Result<bool> {
        let now = self.start.elapsed();
        let mut closed = false;
        let byte_s = 1.0 / self.port.rate_bytes_s;
        let room = (now.saturating_sub(self.line).as_secs_f64() / byte_s) as usize;
        let mut bytes = vec![0; room.min(65536)];
        let count = match self.terminal.file.read(&mut bytes) {
            Ok(count) => count,
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => 0,
            // Nobody has the other end open.
            Err(_) => {
                closed = true;
                0
            }
        };
        let wrong = count > 0 && self.is_at_a_wrong_rate();
        for &byte in bytes.iter().take(count) {
            self.line += Duration::from_secs_f64(byte_s);
            if wrong {
                self.machine.garbled();
                continue;
            }
            self.machine.receive(byte, self.line);
            self.on_the_byte()?;
        }
        if count < room {
            // The line was idle.
            self.line = now;
        }
        self.machine.advance(now);
        self.say(now);
        Ok(closed)
    }

    /// Whether the sender's end is set to another rate than this line has; told once for each rate.
    fn is_at_a_wrong_rate(&mut self) -> bool {
        let Some(baud) = self.port.baud else { return false };
        // Both ends of a pseudo-terminal share their settings.
        let set = tcgetattr(&self.terminal.file).map_or(baud, |settings| settings.output_speed());
        let wrong = (set != baud).then_some(set);
        if wrong != self.wrong_rate {
            self.wrong_rate = wrong;
            wrong.into_iter().for_each(|set| (self.tell)(&Event::WrongRate(set)));
        }
        wrong.is_some()
    }

    /// Lets the line carry what the machine says.
    fn say(&mut self, now: Duration) {
        let byte = Duration::from_secs_f64(1.0 / self.port.rate_bytes_s);
        for said in self.machine.said() {
            self.back_free = self.back_free.max(now) + byte;
            self.back.push_back((self.back_free, said));
        }
        let due = self.back.iter().take_while(|(at, _)| *at <= now).count();
        let bytes: Vec<u8> = self.back.drain(..due).map(|(_, byte)| byte).collect();
        if !bytes.is_empty() {
            // Nobody there to listen: the answer is lost, as on a real line.
            let _ = self.terminal.file.write_all(&bytes);
        }
        if self.machine.lost() > self.lost {
            self.lost = self.machine.lost();
            (self.tell)(&Event::Lost(self.lost));
        }
    }

    fn on_the_byte(&mut self) -> io::Result<()> {
        while let Some(when) = self.port.when.get(self.served).copied() {
            if self.machine.received() < when.byte {
                break;
            }
            self.served += 1;
            self.trouble(when.trouble)?;
        }
        Ok(())
    }

    fn trouble(&mut self, trouble: Trouble) -> io::Result<()> {
        match trouble {
            Trouble::Pause => self.machine.pause(true),
            Trouble::Go => self.machine.pause(false),
            Trouble::LeverUp => self.machine.lever(true),
            Trouble::LeverDown => self.machine.lever(false),
            Trouble::Garble => self.machine.garbled(),
            Trouble::HangUp => {
                self.terminal = Terminal::open(self.port)?;
                (self.tell)(&Event::Open(self.terminal.name.clone()));
            }
            Trouble::End => {}
        }
        (self.tell)(&Event::Trouble(trouble));
        Ok(())
    }
}
