//! [`send`]: the state machine of [`super`], from the first byte to the last.

use std::io::Read;
use std::time::Duration;

use super::handshake::Gate;
use super::link::{Link, LinkError, ask, begin_anew};
use super::stream::{self, Sentence};
use super::{Ending, Progress, SendError, SendSettings, StopFlag, words};

/// How long an answer may take that is given at once; a slow line and a turn-around come to less.
const AT_ONCE: Duration = Duration::from_secs(2);
/// How often a machine that answers is asked for errors.
const ANY_ERROR: Duration = Duration::from_secs(5);
/// How often progress is told while nothing moves.
const TELL_AGAIN: Duration = Duration::from_millis(500);
/// How long a stopping sender tries to bring the lifting instruction through.
/// A machine with a full buffer makes room only as fast as it cuts; a second Ctrl-C ends the wait.
const LIFT_PATIENCE: Duration = Duration::from_secs(60);

/// Bytes of the job that are held to look ahead.
const AHEAD: usize = 4096;

/// Sends what `job` gives over `link`; `progress` is told how far it is.
///
/// # Errors
/// [`SendError`] when the port vanishes, the machine stalls or reports an error, or the job can't be
/// read to its end.
pub fn send(
    job: &mut dyn Read,
    settings: &SendSettings,
    link: &mut dyn Link,
    stop: &StopFlag,
    progress: &mut dyn FnMut(Progress),
) -> Result<Ending, SendError> {
    let mut settings = settings.clone();
    if settings.answers() {
        greet(&mut settings, link)?;
    }
    let mut feeder = Feeder::new(&settings, link, progress);
    let mut job = Coming::new(job);
    loop {
        job.fill();
        let rest = job.rest();
        if stop.is_up() {
            return feeder.stop(&mut job);
        }
        if rest.is_empty() {
            break;
        }
        let piece = &rest[..feeder.gate.piece(rest.len().min(settings.piece()), feeder.sent)];
        if !feeder.wait(piece.len(), settings.stall, Some(stop))? {
            continue;
        }
        let taken = feeder.put(piece, settings.stall)?;
        job.passed(taken);
        feeder.job += taken as u64;
        feeder.tell();
        feeder.look_for_errors()?;
    }
    if let Some(why) = job.trouble.take() {
        feeder.stop(&mut job)?;
        return Err(SendError::Unreadable { sent: feeder.sent, why });
    }
    if feeder.drain(settings.stall, Some(stop))? && feeder.finish(stop)? {
        return Ok(Ending::Done);
    }
    feeder.stop(&mut job)
}

/// The bytes of the job that come next, and what the bytes before them have begun.
struct Coming<'a> {
    job: &'a mut dyn Read,
    held: Vec<u8>,
    /// So many of them went out.
    gone: usize,
    /// Nothing follows what is held.
    is_last: bool,
    sentence: Sentence,
    /// Why nothing follows, if that is not the job's end.
    trouble: Option<String>,
}

impl<'a> Coming<'a> {
    fn new(job: &'a mut dyn Read) -> Self {
        let held = Vec::with_capacity(2 * AHEAD);
        Self { job, held, gone: 0, is_last: false, sentence: Sentence::default(), trouble: None }
    }

    /// Reads on when little is left.
    fn fill(&mut self) {
        if self.is_last || self.rest().len() >= AHEAD / 2 {
            return;
        }
        self.held.drain(..std::mem::take(&mut self.gone));
        let wanted = (AHEAD - self.held.len()) as u64;
        let before = self.held.len();
        let read = (&mut *self.job).take(wanted).read_to_end(&mut self.held);
        self.trouble = read.err().map(|error| error.to_string());
        self.is_last = self.held.len() == before || self.trouble.is_some();
    }

    fn rest(&self) -> &[u8] {
        &self.held[self.gone..]
    }

    /// So many went out.
    fn passed(&mut self, count: usize) {
        self.sentence.sent(&self.held[self.gone..self.gone + count]);
        self.gone += count;
    }
}

/// Whether anybody answers, and how large the buffer is.
fn greet(settings: &mut SendSettings, link: &mut dyn Link) -> Result<(), SendError> {
    begin_anew(link).map_err(|e| SendError::Vanished { sent: 0, why: e.0 })?;
    let mut put = |request: &[u8]| {
        let answer = ask(link, request, AT_ONCE);
        answer.map_err(|e| SendError::Vanished { sent: 0, why: e.0 })
    };
    // The first answer tells of errors that are none of this job's.
    if put(b"\x1b.E")?.is_none() {
        return Err(SendError::Silent);
    }
    // `ESC.L` is answered when the buffer is empty; a late answer would be taken for another one.
    let bits: Option<u32> = put(b"\x1b.O")?.and_then(|text| text.parse().ok());
    if bits.is_none_or(|bits| bits & 8 == 0) {
        return Ok(());
    }
    let size = put(b"\x1b.L")?.and_then(|text| text.parse().ok());
    if let Some(size) = size.filter(|size| (16..=1 << 24).contains(size)) {
        settings.buffer_bytes = size;
    }
    Ok(())
}

struct Feeder<'a> {
    settings: &'a SendSettings,
    link: &'a mut dyn Link,
    progress: &'a mut dyn FnMut(Progress),
    gate: Gate,
    sent: u64,
    /// Bytes of the job among them.
    job: u64,
    obeyed: u64,
    /// When the line will have carried what was written.
    wire_free: Duration,
    /// When the line last took something.
    moved: Duration,
    /// When errors were last asked for.
    asked: Duration,
    /// When progress was last told.
    told: Duration,
    /// Why the machine stands, if it said so.
    halted: Option<&'static str>,
}

impl<'a> Feeder<'a> {
    fn new(
        settings: &'a SendSettings,
        link: &'a mut dyn Link,
        progress: &'a mut dyn FnMut(Progress),
    ) -> Self {
        let now = link.now();
        let gate = Gate::new(settings);
        Self {
            settings,
            link,
            progress,
            gate,
            sent: 0,
            job: 0,
            obeyed: 0,
            wire_free: now,
            moved: now,
            asked: now,
            told: now,
            halted: None,
        }
    }

    /// Waits until the line and the machine can take `bytes`; false when a stop was asked for.
    fn wait(
        &mut self,
        bytes: usize,
        limit: Duration,
        stop: Option<&StopFlag>,
    ) -> Result<bool, SendError> {
        let ahead_s =
            (self.settings.ahead().saturating_sub(bytes)) as f64 / self.settings.rate_bytes_s;
        let may_be_ahead = Duration::from_secs_f64(ahead_s);
        loop {
            if stop.is_some_and(StopFlag::is_up) {
                return Ok(false);
            }
            let open = self.gate_open(bytes)?;
            let ahead = self.wire_free.saturating_sub(self.link.now());
            if ahead > may_be_ahead {
                self.link.pause((ahead - may_be_ahead).min(Duration::from_millis(50)));
                continue;
            }
            if open && self.unsent()? + bytes <= self.settings.ahead() {
                return Ok(true);
            }
            self.rest(limit)?;
            self.ask_why()?;
        }
    }

    /// Whether the machine can take `bytes`; asks it where that is due.
    fn gate_open(&mut self, bytes: usize) -> Result<bool, SendError> {
        let open = self.gate.open(self.link, bytes, self.sent);
        let asked = self.gate.put();
        self.occupy(asked);
        open.map_err(|e| self.vanished(&e))
    }

    /// The line carries `bytes` more.
    fn occupy(&mut self, bytes: usize) {
        if bytes > 0 {
            let seconds = bytes as f64 / self.settings.rate_bytes_s;
            let free = self.wire_free.max(self.link.now());
            self.wire_free = free + Duration::from_secs_f64(seconds);
        }
    }

    /// A short pause, unless the line has taken nothing for `limit`.
    fn rest(&mut self, limit: Duration) -> Result<(), SendError> {
        if self.link.now().saturating_sub(self.moved) > limit {
            let (sent, why) = (self.sent, self.halted);
            return Err(SendError::Stalled { why, sent, seconds: limit.as_secs() });
        }
        if self.gate.hears_garble(self.link.now()) {
            return Err(SendError::Garbled { sent: self.sent });
        }
        if self.link.now().saturating_sub(self.told) > TELL_AGAIN {
            self.tell();
        }
        self.link.pause(self.settings.look_again());
        Ok(())
    }

    /// A machine that answers is asked why it takes nothing.
    fn ask_why(&mut self) -> Result<(), SendError> {
        let now = self.link.now();
        let waits = now.saturating_sub(self.moved.max(self.asked)) > AT_ONCE;
        if waits && self.settings.answers() && self.gate.is_quiet() {
            self.asked = now;
            let bits = self.ask_number(b"\x1b.O")?;
            self.halted = bits.and_then(words::halt);
            self.tell();
        }
        Ok(())
    }

    /// Asks now and then whether the machine has met an error.
    fn look_for_errors(&mut self) -> Result<(), SendError> {
        let now = self.link.now();
        let due = now.saturating_sub(self.asked) > ANY_ERROR;
        if !(due && self.settings.answers() && self.gate.is_quiet()) {
            return Ok(());
        }
        self.asked = now;
        let number = self.ask_number(b"\x1b.E")?.unwrap_or(0);
        match words::line_error(number) {
            None => Ok(()),
            Some(meaning) => {
                // What the buffer holds is not to be trusted.
                self.bring(&[b"\x1b.K", stream::LIFT].concat(), false)?;
                Err(SendError::Machine { sent: self.sent, number, meaning })
            }
        }
    }

    fn ask_number(&mut self, request: &[u8]) -> Result<Option<u32>, SendError> {
        let answer = ask(self.link, request, AT_ONCE).map_err(|e| self.vanished(&e))?;
        Ok(answer.and_then(|text| text.parse().ok()))
    }

    /// Writes some of `bytes`; returns how much.
    fn put(&mut self, bytes: &[u8], limit: Duration) -> Result<usize, SendError> {
        let taken = self.link.write(bytes).map_err(|e| self.vanished(&e))?;
        if taken == 0 {
            self.rest(limit)?;
            return Ok(0);
        }
        self.sent += taken as u64;
        (self.moved, self.halted) = (self.link.now(), None);
        self.occupy(taken);
        Ok(taken)
    }

    fn tell(&mut self) {
        self.told = self.link.now();
        let held = self.settings.buffer_bytes as u64 + self.settings.ahead() as u64;
        let at_least = self.sent.saturating_sub(held);
        self.obeyed = self.obeyed.max(self.gate.obeyed()).max(at_least);
        let (sent, obeyed, halted) = (self.job, self.obeyed.min(self.job), self.halted);
        (self.progress)(Progress { sent, obeyed, halted });
    }

    /// Ends the instruction in hand and lifts the tool.
    fn stop(&mut self, job: &mut Coming) -> Result<Ending, SendError> {
        self.moved = self.link.now();
        let lifted = if self.settings.answers() && self.job > 0 {
            // It answers ESC. sequences: drop its buffer and what it has read of an instruction.
            self.bring(&[b"\x1b.K", stream::LIFT].concat(), false)
        } else {
            self.end_instruction(job)
        };
        match lifted {
            Err(SendError::Stalled { sent, .. } | SendError::Garbled { sent }) => {
                Err(SendError::NotLifted { sent })
            }
            other => other.map(|()| Ending::Stopped),
        }
    }

    /// Sends on to the first place where the instruction in hand can end, and what ends it.
    fn end_instruction(&mut self, job: &mut Coming) -> Result<(), SendError> {
        loop {
            job.fill();
            let until = job.sentence.until_end(job.rest(), job.is_last);
            let count = until.unwrap_or(job.rest().len());
            self.bring(&job.rest()[..count], true)?;
            job.passed(count);
            self.job += count as u64;
            if until.is_some() {
                break;
            }
        }
        self.bring(&job.sentence.ending(), true)?;
        self.tell();
        Ok(())
    }

    /// Sends the last bytes, asking the machine for room or not.
    fn bring(&mut self, last: &[u8], ask: bool) -> Result<(), SendError> {
        let mut rest = last;
        while !rest.is_empty() {
            let piece = &rest[..rest.len().min(self.settings.piece())];
            if ask {
                self.wait(piece.len(), LIFT_PATIENCE, None)?;
            }
            let taken = self.put(piece, LIFT_PATIENCE)?;
            rest = &rest[taken..];
        }
        self.drain(LIFT_PATIENCE, None).map(|_| ())
    }

    /// Waits until everything is on the wire; false when a stop was asked for.
    fn drain(&mut self, limit: Duration, stop: Option<&StopFlag>) -> Result<bool, SendError> {
        let mut before = usize::MAX;
        loop {
            let unsent = self.unsent()?;
            if unsent == 0 {
                break;
            }
            if stop.is_some_and(StopFlag::is_up) {
                return Ok(false);
            }
            if unsent < before {
                (before, self.moved) = (unsent, self.link.now());
            }
            self.rest(limit)?;
        }
        self.link.drain().map_err(|e| self.vanished(&e))?;
        let left = self.wire_free.saturating_sub(self.link.now());
        self.link.pause(left);
        // A cable pulled meanwhile is told now or never.
        self.unsent()?;
        Ok(true)
    }

    /// Waits until a machine that answers has done everything, and asks for its errors; false when
    /// a stop was asked for.
    fn finish(&mut self, stop: &StopFlag) -> Result<bool, SendError> {
        if !self.settings.answers() {
            return Ok(true);
        }
        self.moved = self.link.now();
        self.gate.forget();
        let all = self.settings.buffer_bytes as usize - super::handshake::SPARE;
        while !self.gate_open(all)? {
            if stop.is_up() {
                return Ok(false);
            }
            let before = self.obeyed;
            self.tell();
            if self.obeyed > before {
                self.moved = self.link.now();
            }
            self.rest(self.settings.stall)?;
            self.ask_why()?;
        }
        // The buffer is empty: only the last move keeps the answer back.
        for (request, meaning) in
            [(&b"OE;"[..], words::language_error as fn(u32) -> _), (b"\x1b.E", words::line_error)]
        {
            let answer = ask(self.link, request, LIFT_PATIENCE).map_err(|e| self.vanished(&e))?;
            let number = answer.and_then(|text| text.parse().ok()).unwrap_or(0);
            if let Some(meaning) = meaning(number) {
                return Err(SendError::Machine { sent: self.sent, number, meaning });
            }
        }
        self.obeyed = self.sent;
        self.tell();
        Ok(true)
    }

    fn unsent(&mut self) -> Result<usize, SendError> {
        self.link.unsent().map_err(|e| self.vanished(&e))
    }

    fn vanished(&self, error: &LinkError) -> SendError {
        SendError::Vanished { sent: self.sent, why: error.0.clone() }
    }
}
