//! [`Clock`]: how long a job that is being sent still takes.
//!
//! In: the simulation's times of each cut, and what [`Progress`] tells. Out: seconds left. The machine
//! is taken to obey at the simulation's pace, but is never behind what it must have taken out of its
//! buffer, nor ahead of what has been sent; both correct the pace: a machine that took twice as long
//! as simulated until now takes twice as long for the rest. The first half minute counts as if it had
//! gone as simulated, so that a few bytes do not upset the figure. Time in which a machine says that
//! it stands is left out, and so is time in which it takes nothing though all that it has should long
//! be done: it is paused and cannot say so. Where the machine's motion is unknown, the line's rate sets the pace.
//! The method is our own.
//!
//! Invariant: the place only moves forward. No clock of its own: whoever asks says what time it is.

use std::time::Duration;

use super::Progress;
use super::course::Course;

/// Seconds that count as if they had gone as simulated.
const TRUST_S: f64 = 30.0;
/// For so long a machine that takes nothing more may only be slower than simulated, s.
const SLOW_S: f64 = 10.0;

/// The time of a job on its way.
#[derive(Debug, Clone)]
pub struct Clock {
    course: Course,
    /// Sets the pace where the course has no times.
    rate_bytes_s: f64,
    from_s: f64,
    /// How far the machine is, s of the simulation.
    at_s: f64,
    /// Time that has passed and counts.
    ran_s: f64,
    /// What time it was last.
    now: Duration,
    /// Bytes sent and obeyed by then.
    before: (u64, u64),
    /// How long nothing has moved though all that was sent should be done, s.
    still_s: f64,
}

impl Clock {
    /// For the job whose course is `course`, from its byte `from` on, at time 0; `rate_bytes_s` is the
    /// line's.
    pub fn new(course: Course, from: u64, rate_bytes_s: f64) -> Self {
        let (before, now) = ((from, from), Duration::ZERO);
        let mut clock = Self {
            course,
            rate_bytes_s,
            from_s: 0.0,
            at_s: 0.0,
            ran_s: 0.0,
            now,
            before,
            still_s: 0.0,
        };
        clock.from_s = clock.seconds(from);
        clock.at_s = clock.from_s;
        clock
    }

    /// At time `now` the job is as far as `progress` says, in bytes of the whole job.
    pub fn tell(&mut self, now: Duration, progress: Progress) {
        let passed = now.saturating_sub(self.now).as_secs_f64();
        self.now = self.now.max(now);
        let most = self.seconds(progress.sent);
        let before = std::mem::replace(&mut self.before, (progress.sent, progress.obeyed));
        let still = before == self.before && self.at_s >= most;
        self.still_s = if still { self.still_s + passed } else { 0.0 };
        let mut at_s = self.at_s;
        if progress.halted.is_none() && !self.stands() {
            at_s += passed / self.pace();
            self.ran_s += passed;
        }
        let least = self.seconds(progress.obeyed).max(self.at_s);
        self.at_s = at_s.min(most).max(least);
    }

    /// Whether the machine seems to be paused, without saying so.
    pub fn stands(&self) -> bool {
        self.still_s > SLOW_S
    }

    /// Seconds until the last byte is obeyed.
    pub fn left_s(&self) -> f64 {
        (self.total_s() - self.at_s) * self.pace()
    }

    /// How much of the job's time is over, 0 to 1.
    pub fn share(&self) -> f64 {
        if self.total_s() > 0.0 { self.at_s / self.total_s() } else { 1.0 }
    }

    /// Seconds that one second of the simulation takes.
    fn pace(&self) -> f64 {
        (self.ran_s + TRUST_S) / (self.at_s - self.from_s + TRUST_S)
    }

    fn total_s(&self) -> f64 {
        self.seconds(self.course.whole().byte)
    }

    /// By when so many bytes are obeyed, s of the simulation.
    fn seconds(&self, byte: u64) -> f64 {
        if self.course.is_timed() {
            self.course.by(byte).seconds
        } else {
            byte as f64 / self.rate_bytes_s.max(1.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::follow::Setup;
    use crate::profile::{Library, Motion};
    use crate::send::{Spool, Survey};

    /// Two strokes of 1 m at 100 mm/s, 1 m apart at 500 mm/s: 10 + 2 + 10 s and the way back.
    fn clock(from: u64) -> (Clock, u64) {
        let job = b"IN;SP1;PD40000,0;PU40000,40000;PD0,40000;PU0,0;";
        let motion = Motion {
            cut_mm_s: 100.0,
            travel_mm_s: 500.0,
            acceleration_mm_s2: 1e9,
            corner_jump_mm_s: 1e9,
            lift_s: 0.0,
            lower_s: 0.0,
        };
        let mut machine = Library::with_folder("/nowhere".into()).machine("roll-24").unwrap();
        (machine.motion, machine.serial) = (Some(motion), None);
        let survey =
            Survey::of(&Spool::of(&mut &job[..]).unwrap(), Setup::of(&machine, 0.0)).unwrap();
        (Clock::new(survey.course, from, 960.0), job.len() as u64)
    }

    /// The byte that lowers the tool for the second stroke.
    const SECOND: u64 = 31;

    fn told(clock: &mut Clock, at: u64, sent: u64, obeyed: u64, halted: Option<&'static str>) {
        clock.tell(Duration::from_secs(at), Progress { sent, obeyed, halted });
    }

    #[test]
    fn time_is_left_by_the_simulation_not_by_bytes_or_distance() {
        let (mut clock, bytes) = clock(0);
        assert!((clock.left_s() - 24.0).abs() < 1e-3, "{}", clock.left_s());
        told(&mut clock, 11, bytes, 0, None);
        assert!((clock.left_s() - 13.0).abs() < 1e-3, "{}", clock.left_s());
        // 10 of 24 s of cutting and 1 of 2 s of the way: 46 %, though 1.5 of 4 m.
        assert!((clock.share() - 11.0 / 24.0).abs() < 1e-4);
    }

    #[test]
    fn what_the_machine_confirms_corrects_it() {
        let (mut fast, bytes) = clock(0);
        let second = SECOND;
        told(&mut fast, 2, bytes, second, None);
        assert!((fast.at_s - 12.0).abs() < 0.01 && fast.left_s() < 12.0 * 33.0 / 42.0);
        // A machine that has not been sent the second cut cannot be in it, and is slow.
        let (mut slow, _) = clock(0);
        told(&mut slow, 42, second, 0, None);
        assert!((slow.at_s - 12.0).abs() < 0.01, "{}", slow.at_s);
        assert!((slow.left_s() - 12.0 * 72.0 / 42.0).abs() < 0.01, "{}", slow.left_s());
    }

    #[test]
    fn a_pause_does_not_count() {
        let (mut clock, bytes) = clock(0);
        told(&mut clock, 11, bytes, 0, None);
        told(&mut clock, 500, bytes, 0, Some("it is paused"));
        assert!((clock.left_s() - 13.0).abs() < 1e-3, "{}", clock.left_s());
        told(&mut clock, 501, bytes, 0, None);
        assert!((clock.left_s() - 12.0).abs() < 1e-3, "{}", clock.left_s());
    }

    #[test]
    fn neither_does_one_that_the_machine_does_not_tell() {
        let (mut clock, _) = clock(0);
        let second = SECOND;
        (0..612).for_each(|at| told(&mut clock, at, second, 0, None));
        // Ten minutes after what it was sent: ten seconds of them count.
        assert!(clock.stands());
        assert!((clock.left_s() - 12.0 * 53.0 / 42.0).abs() < 0.5, "{}", clock.left_s());
        told(&mut clock, 613, second + 2, 0, None);
        assert!(!clock.stands());
    }

    #[test]
    fn a_resumed_job_begins_where_it_goes_on() {
        let second = SECOND;
        let (clock, _) = clock(second);
        assert!((clock.left_s() - 12.0).abs() < 0.01, "{}", clock.left_s());
    }
}
